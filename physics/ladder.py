"""The failure ladder: every mode of failure on one scale.

Owns the table of modes with their required factors and bases, and makes the factors in one place. Adding a rung is one
function ``(motors, situation) -> pressure [Pa] or time [s], (n,)`` and one row of `MODES`. Imports the families of
modes above it: case, screws, closures, seals, support and heat, and of `scatter`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from physics import case, closures, heat, screws, seals, support
from physics.modes import NotComputable
from physics.motors import Array, Figures, Ladder, Motors, NotAssessed, Rung, Situation
from physics.scatter import certainty

KINDS = ("rupture", "yield", "leak", "heat", "advice")
"""What happens: a part breaks and the motor opens; it stays bent; gas passes a seal; a time is up; a maker's or a code's
service limit is passed, where nothing is known to happen in one firing. Advice is never the first to fail."""

ADVICE = "advice"

DEFAULT_FACTORS = {"yield": 1.5, "rupture": 2.0, "leak": 1.5, "heat": 1.25, ADVICE: 0.0}
"""Required factor per kind of failure where ``[factors]`` gives none: our judgement, within the published practice of
1.25 to 1.5 on yield and 1.4 to 3.5 on rupture (NASA-STD-5001B, AIAA S-080, ASME VIII-1). Nothing is required of advice."""

ENDS = ("forward", "aft")

Text = str | Callable[[Motors, Situation], str]


@dataclass(frozen=True)
class Mode:
    """One row of the ladder's table.

    `part` is "case", "liner", "nozzle", "grains", or "closure" for a mode that each end has. `function` gives a
    pressure or, with `lasts`, a time, which is held against that figure of the burn. `kind` is one of `KINDS`; how sure
    the mode is stands in ``scatter.csv`` under its name. `applies` says whether the motor
    has such a part at that end at all; where it does not, the mode is silently absent. `basis` and `note` are texts or
    functions that make them; notes are made for single motors only. `marches_heat` says that it follows the heat of the
    burn through the wall, which takes some hundred times as long as a formula: a search asks it of finalists only.
    """

    mode: str
    part: str
    kind: str
    basis: Text
    function: Callable[[Motors, Situation], Array]
    note: Text | None = None
    applies: Callable[[Motors, str], bool] = lambda motors, end: True
    lasts: str = ""
    marches_heat: bool = False


_VON_MISES = "p = (Sy/sqrt 3)(1 - 1/K^2), von Mises at the bore with end load, Sy at service temperature"
_FAUPEL = "p = (2/sqrt 3) Sy ln K (2 - Sy/Su), Faupel 1956"
_BEARING = "2.4 d t Su, AISC 360-16 J3.10 form, which limits the hole's growth in service; its rupture form is 3.0"
_TEAR_OUT = (
    "1.2 lc t Su with lc the clear distance, AISC 360-16 J3.10 form, which limits the hole's growth in service; its rupture "
    "form is 1.5"
)
_ANNULUS = "Su on the annulus that is left, over the end load"

MODES: tuple[Mode, ...] = (
    Mode("case yield", "case", "yield", _VON_MISES, case.case_yield, case.yield_note),
    Mode("case burst", "case", "rupture", _FAUPEL, case.case_burst, case.burst_note),
    Mode("axial stress in case", "case", "yield", "p/(K^2 - 1) reaches Sy, closed tube", case.axial_stress),
    Mode("yield away from weld", "case", "yield", _VON_MISES + ", metal not heat-affected", case.yield_away_from_weld,
         applies=case.is_heat_affected),
    Mode("burst away from weld", "case", "rupture", _FAUPEL + ", metal not heat-affected", case.burst_away_from_weld,
         applies=case.is_heat_affected),
    Mode("net section", "closure", "rupture", "Su on the case's section less its holes, over the end load",
         screws.net_section, screws.net_note, screws.has_screws),
    Mode("stress at screw holes", "closure", "yield", "Sy on the case's section less its holes, over the end load",
         screws.stress_at_holes, screws.hole_edge_note, screws.has_screws),
    Mode("screw shear", "closure", "rupture", screws.shear_basis, screws.screw_shear, screws.shear_note,
         screws.has_screws),
    Mode("bearing in case", "closure", "rupture", _BEARING, screws.bearing_in_case, screws.bearing_note,
         screws.has_screws),
    Mode("bearing in ring", "closure", "rupture", _BEARING, screws.bearing_in_ring, screws.ring_joint_note,
         screws.has_screws),
    Mode("tear-out of case", "closure", "rupture", _TEAR_OUT, screws.tear_out_of_case, screws.tear_out_note,
         screws.has_screws),
    Mode("tear-out of ring", "closure", "rupture", _TEAR_OUT, screws.tear_out_of_ring, screws.ring_joint_note,
         screws.has_screws),
    Mode("ring thread shear", "closure", "rupture",
         "Ssu on the stripping areas of FED-STD-H28/2B, the weaker thread, load even along it",
         closures.ring_thread_shear, closures.thread_note, closures.has_threaded_ring),
    Mode("net section at thread", "closure", "rupture", _ANNULUS, closures.net_section_at_thread,
         applies=closures.has_threaded_ring),
    Mode("groove shear", "closure", "yield", "0.577 Sy on the ligament between groove and end, over the end load",
         closures.groove_shear, closures.groove_note, closures.has_snap_ring),
    Mode("groove bearing", "closure", "yield", "Sy on the groove's face, over the end load; makers' form, remembered",
         closures.groove_bearing, applies=closures.has_snap_ring),
    Mode("snap ring shear", "closure", "rupture", "ring's shear strength on pi D t; ring makers' form, remembered",
         closures.snap_ring_shear, applies=closures.has_snap_ring),
    Mode("net section at groove", "closure", "rupture", _ANNULUS, closures.net_section_at_groove,
         applies=closures.has_snap_ring),
    Mode("groove ligament yield", "closure", "yield",
         "Sy on the wall left under the groove, times sqrt(1 + 4 e^2) - 2 e for its offset e, half the groove over that wall; "
         "plastic limit in tension and bending", closures.groove_ligament_yield, applies=closures.has_snap_ring),
    Mode("plate bending", "closure", "yield", "circular plate, simply supported, reaches Sy; Timoshenko, Roark",
         closures.plate_bending, closures.plate_note),
    Mode("shoulder shear", "closure", "rupture", "Ssu on the cylinder through the shoulder, over its load",
         closures.shoulder_shear, closures.ring_note),
    Mode("backup ring advised", "closure", ADVICE,
         "the strictest of makers' tables of gaps for service, by hardness, gap and cross-section; gap grown by the case's "
         "dilation at that pressure", seals.backup_ring_advised, seals.advice_note),
    Mode("seal extrusion", "closure", "leak",
         "twice the most lenient maker's gap for service, at most where the gap of one side comes to a fifth of the "
         "cross-section (judgement); gap grown by the case's dilation at that pressure",
         seals.seal_extrusion, seals.seal_note),
    Mode("seat compression", "nozzle", "rupture", "compressive strength on the annular seat of the insert",
         closures.seat_compression, closures.seat_note),
    Mode("insert shear", "nozzle", "rupture", "shear strength on the cylinder over the seat, insert length long",
         closures.insert_shear, closures.insert_note),
    Mode("grain support", "grains", "rupture",
         "static drop along the port (momentum with mass addition) on the last grain", support.grain_support),
    Mode("case yield hot", "case", "yield", heat.BASIS_HOT, heat.case_yield_hot, marches_heat=True),
    Mode("liner burn-through", "liner", "heat", heat.BASIS_LINER, heat.liner_burn_through, heat.liner_note,
         lasts="action_time", marches_heat=True),
    Mode("case softening", "case", "heat", heat.BASIS_CASE, heat.case_softening, heat.case_note, lasts="action_time",
         marches_heat=True),
    Mode("seal overheating", "closure", "heat", heat.BASIS_SEAL, heat.seal_overheating, heat.seal_note,
         lasts="action_time", marches_heat=True),
)


def assess_ladder(
    motors: Motors,
    figures: Figures | None = None,
    maximum_expected_pressure: Array | None = None,
    marching: bool = True,
) -> Ladder:
    """Every mode of every part of a batch, in the order of `MODES`.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    figures : Figures, optional
        How they burn; modes that need it are not assessed without it.
    maximum_expected_pressure : Array, optional
        Head-end pressure [Pa], (n,), that factors are held against; the figures' peak head pressure where not given,
        and factors are NaN without either.
    marching : bool
        Whether the modes that march heat are asked too; without them their rungs are absent.

    Notes
    -----
    Validity is that of each rung. A mode that cannot be computed is listed with the reason, never passed. Required
    factors: ``motors.factors`` by kind, else `DEFAULT_FACTORS`; 0 where nothing is required.
    """
    expected = maximum_expected_pressure
    if expected is None and figures is not None:
        expected = figures["peak_head_pressure"]
    rungs: list[Rung] = []
    missing: list[NotAssessed] = []
    for row, part, situation in _cells(motors, figures, expected):
        if row.marches_heat and not marching:
            continue
        try:
            rungs.append(_rung(row, part, motors, situation))
        except NotComputable as reason:
            missing.append(NotAssessed(row.mode, part, str(reason)))
    return Ladder(tuple(rungs), tuple(missing))


def _cells(motors: Motors, figures: Figures | None, expected: Array | None) -> Iterator[tuple[Mode, str, Situation]]:
    """Every row at every end it belongs to, where the motor has such a part."""
    for row in MODES:
        for end in ENDS if row.part == "closure" else ("",):
            if row.applies(motors, end):
                yield row, f"{end} closure" if end else row.part, Situation(end, figures, expected)


def _rung(row: Mode, part: str, motors: Motors, situation: Situation) -> Rung:
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.broadcast_to(np.asarray(row.function(motors, situation), dtype=float), (motors.size,))
    if bool(np.isnan(value).all()) and motors.size:
        raise NotComputable("outside the range in which this mode can be computed")
    return Rung(
        mode=row.mode,
        part=part,
        kind=row.kind,
        basis=_text(row.basis, motors, situation),
        pressure=None if row.lasts else value,
        time=value if row.lasts else None,
        factor=_factor(value, row, situation),
        required=np.full(motors.size, motors.factors.get(row.kind, DEFAULT_FACTORS[row.kind])),
        note=_text(row.note, motors, situation) if motors.size == 1 and row.note is not None else "",
        certainty=certainty(row.mode, row.kind, motors, situation.end),
    )


def _factor(value: Array, row: Mode, situation: Situation) -> Array:
    """Distance to what is expected: over the maximum expected pressure, or over the time the part must last."""
    expected = situation.maximum_expected_pressure
    if row.lasts:
        expected = None if situation.figures is None else situation.figures[row.lasts]
    if expected is None:
        return np.full(value.shape, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(value / expected)


def _text(text: Text, motors: Motors, situation: Situation) -> str:
    return text if isinstance(text, str) else text(motors, situation)
