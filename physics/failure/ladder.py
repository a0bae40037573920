"""The failure ladder: every mode of failure on one scale.

Owns the table of modes with their required factors and bases, and makes the factors in one place. Adding a rung is one
function ``(motors, situation) -> pressure [Pa] or time [s], (n,)`` and one row of `MODES`. Imports the families of
modes above it: case, screws, closures, seals, support and heat, and of `scatter`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.ballistics.corners import Ask, Corner, Corners, moved
from physics.ballistics.kernel import evaluate, seen_tolerances
from physics.failure import case, closures, grain_support, plugs, screws, seals, welds
from physics.failure.case import pressure_text
from physics.failure.scatter import Ground, certainty
from physics.heat import rungs as heat_rungs
from physics.heat import seats, softening, through
from physics.heat.soaked import burn_at, other_soaks
from physics.missing import Beyond, NotComputable, file_key
from physics.motors import Array, Figures, Ladder, Motors, NotAssessed, Rung, Situation

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
    burn through the wall, which takes some hundred times as long as a formula: a search asks it of finalists only. `rings`
    says how many rungs a mode of a seal has there, one for each ring that stands behind another: its functions then take
    the number of the ring, and `behind` stands in place of `function` for all but the first.
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
    rings: Callable[[Motors, str], int] | None = None
    behind: Callable[[Motors, Situation], Array] | None = None

    def at_ring(self, ring: int) -> Mode:
        """The same mode for one ring of several, counted from 0 at the gas.

        Parameters
        ----------
        ring : int
            Which ring.

        Returns
        -------
        Mode
            Of that ring.
        """
        if not ring:
            return self
        own: Callable[..., Array] = self.behind or self.function
        said: Callable[..., str] | str | None = self.note
        note = partial(said, ring=ring) if callable(said) else said
        return replace(self, function=partial(own, ring=ring), note=note)


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
    Mode(
        "yield away from weld",
        "case",
        "yield",
        _VON_MISES + ", metal not heat-affected",
        case.yield_away_from_weld,
        applies=case.is_heat_affected,
    ),
    Mode(
        "burst away from weld",
        "case",
        "rupture",
        _FAUPEL + ", metal not heat-affected",
        case.burst_away_from_weld,
        applies=case.is_heat_affected,
    ),
    Mode(
        "net section",
        "closure",
        "rupture",
        "Su on the case's section less its holes, over the end load",
        screws.net_section,
        screws.net_note,
        screws.has_screws,
    ),
    Mode(
        "stress at screw holes",
        "closure",
        "yield",
        "Sy on the case's section less its holes, over the end load",
        screws.stress_at_holes,
        screws.hole_edge_note,
        screws.has_screws,
    ),
    Mode("screw shear", "closure", "rupture", screws.shear_basis, screws.screw_shear, screws.shear_note, screws.has_screws),
    Mode("bearing in case", "closure", "rupture", _BEARING, screws.bearing_in_case, screws.bearing_note, screws.has_screws),
    Mode("bearing in ring", "closure", "rupture", _BEARING, screws.bearing_in_ring, screws.ring_joint_note, screws.has_screws),
    Mode("tear-out of case", "closure", "rupture", _TEAR_OUT, screws.tear_out_of_case, screws.tear_out_note, screws.has_screws),
    Mode("tear-out of ring", "closure", "rupture", _TEAR_OUT, screws.tear_out_of_ring, screws.ring_joint_note, screws.has_screws),
    Mode(
        "ring thread shear",
        "closure",
        "rupture",
        "Ssu on the stripping areas of FED-STD-H28/2B, the weaker thread, load even along it",
        closures.ring_thread_shear,
        closures.thread_note,
        closures.has_threaded_ring,
    ),
    Mode(
        "net section at thread", "closure", "rupture", _ANNULUS, closures.net_section_at_thread, applies=closures.has_threaded_ring
    ),
    Mode(
        "groove shear",
        "closure",
        "yield",
        "0.577 Sy on the ligament between groove and end, over the end load",
        closures.groove_shear,
        closures.groove_note,
        closures.has_snap_ring,
    ),
    Mode(
        "groove bearing",
        "closure",
        "yield",
        "Sy on the groove's face, over the end load; a maker's form, read",
        closures.groove_bearing,
        applies=closures.has_snap_ring,
    ),
    Mode(
        "snap ring shear",
        "closure",
        "rupture",
        "ring's shear strength on pi D t; a maker's form, read, for a square shoulder: play or a chamfer under the ring takes some",
        closures.snap_ring_shear,
        applies=closures.has_snap_ring,
    ),
    Mode("net section at groove", "closure", "rupture", _ANNULUS, closures.net_section_at_groove, applies=closures.has_snap_ring),
    Mode(
        "groove ligament yield",
        "closure",
        "yield",
        "Sy on the wall left under the groove, times sqrt(1 + 4 e^2) - 2 e for its offset e, half the groove over that wall; "
        "plastic limit in tension and bending",
        closures.groove_ligament_yield,
        applies=closures.has_snap_ring,
    ),
    Mode(
        "weld yield",
        "closure",
        "yield",
        "axial stress, bending 6 M/t^2 by the lip's arm and hoop stress by von Mises reach heat-affected Sy; M all at the tube's "
        "end, half each way where it goes on, Hetenyi",
        welds.weld_yield,
        welds.weld_note,
        welds.is_welded,
    ),
    Mode(
        "weld hinge",
        "closure",
        "rupture",
        "as weld yield, with heat-affected Su and the plastic bending, 1.5 times the elastic: the wall tears round",
        welds.weld_hinge,
        applies=welds.is_welded,
    ),
    Mode(
        "weld throat",
        "closure",
        "rupture",
        "fw/sqrt 2 on the throat of a fillet from one side, with its bending, or fu,haz/sqrt 3 on its leg; EN 1999-1-1 8.6.3",
        welds.weld_throat,
        welds.throat_note,
        welds.is_welded,
    ),
    Mode(
        "lip bending",
        "closure",
        "yield",
        "6 N lever/h^2 reaches heat-affected Sy of the lip as a strip fixed at the bore",
        welds.lip_bending,
        welds.lip_note,
        welds.is_welded,
    ),
    Mode(
        "lip shear",
        "closure",
        "rupture",
        "heat-affected Ssu on the lip's cylinder at the bore, over the end load",
        welds.lip_shear,
        applies=welds.is_welded,
    ),
    Mode(
        "plate bending",
        "closure",
        "yield",
        "circular plate, simply supported, reaches Sy; Timoshenko, Roark",
        closures.plate_bending,
        closures.plate_note,
    ),
    Mode(
        "ring rolling",
        "closure",
        "yield",
        "6 M r/(w h^2) reaches Sy of a ring rolled by the arm from its bearing circle to the bore; Timoshenko",
        closures.ring_rolling,
        closures.ring_note,
        closures.has_bearing_ring,
    ),
    Mode(
        "ring contact",
        "closure",
        "yield",
        "Sy of the softer of ring and plate on the face they share, over the end load",
        closures.ring_contact,
        applies=closures.has_bearing_ring,
    ),
    Mode(
        "plug thread shear",
        "closure",
        "rupture",
        "Ssu on the stripping areas of FED-STD-H28/2B, the weaker of plug and plate, over the push on the plug",
        plugs.plug_thread_shear,
        plugs.plug_note,
        plugs.has_plug,
    ),
    Mode(
        "plug seal extrusion",
        "closure",
        "leak",
        "as seal extrusion, on the plug's own ring, whose gap does not grow with the case",
        plugs.plug_seal_leak,
        applies=plugs.has_plug,
    ),
    Mode(
        "plug seal overheating",
        "closure",
        "heat",
        "not modelled: no time is given",
        seals.heat_not_modelled,
        applies=plugs.has_plug,
        lasts="action_time",
    ),
    Mode(
        "nozzle seal extrusion",
        "nozzle",
        "leak",
        "as seal extrusion, on the nozzle's own ring",
        seals.nozzle_seal_extrusion,
        seals.seal_note,
        applies=seals.has_nozzle_seal,
        rings=seals.nozzle_rings,
    ),
    Mode(
        "nozzle backup ring advised",
        "nozzle",
        ADVICE,
        "as backup ring advised, on the nozzle's own ring",
        seals.backup_ring_advised,
        seals.advice_note,
        applies=seals.has_nozzle_seal,
        rings=seals.nozzle_rings,
    ),
    Mode(
        "nozzle seal overheating",
        "nozzle",
        "heat",
        "not modelled: no time is given",
        seals.heat_not_modelled,
        applies=seals.has_nozzle_seal,
        lasts="action_time",
        rings=seals.nozzle_rings,
    ),
    Mode(
        "shoulder shear",
        "closure",
        "rupture",
        "Ssu on the cylinder through the shoulder, over its load",
        closures.shoulder_shear,
        closures.ring_note,
    ),
    Mode(
        "backup ring advised",
        "closure",
        ADVICE,
        "the strictest of makers' tables of gaps for service, by hardness, gap and cross-section; gap grown by the case's "
        "dilation at that pressure",
        seals.backup_ring_advised,
        seals.advice_note,
        rings=seals.closure_rings,
    ),
    Mode(
        "seal extrusion",
        "closure",
        "leak",
        "twice the most lenient maker's gap for service, at most where the gap of one side comes to a fifth of the "
        "cross-section (judgement); gap grown by the case's dilation at that pressure",
        seals.seal_extrusion,
        seals.seal_note,
        rings=seals.closure_rings,
    ),
    Mode(
        "seat compression",
        "nozzle",
        "rupture",
        "compressive strength on the annular seat of the insert",
        closures.seat_compression,
        closures.seat_note,
    ),
    Mode(
        "insert shear",
        "nozzle",
        "rupture",
        "shear strength on the cylinder over the seat, insert length long",
        closures.insert_shear,
        closures.insert_note,
    ),
    Mode(
        "grain support",
        "grains",
        "rupture",
        "static drop along the port (momentum with mass addition) on the last grain",
        grain_support.grain_support,
    ),
    Mode(
        "cap burn-through",
        "grains",
        "heat",
        "not computed: neither material nor thickness nor bond of a cap is told",
        grain_support.cap_burn_through,
        applies=grain_support.has_cap,
        marches_heat=True,
    ),
    Mode("case yield hot", "case", "yield", softening.BASIS_HOT, softening.case_yield_hot, marches_heat=True),
    Mode(
        "liner burn-through",
        "liner",
        "heat",
        through.BASIS_LINER,
        through.liner_burn_through,
        through.liner_note,
        lasts="action_time",
        marches_heat=True,
    ),
    Mode(
        "case softening",
        "case",
        "heat",
        softening.BASIS_CASE,
        softening.case_softening,
        softening.case_note,
        lasts="action_time",
        marches_heat=True,
    ),
    Mode(
        "seal overheating",
        "closure",
        "heat",
        seats.BASIS_SEAL,
        seats.seal_overheating,
        seats.seal_note,
        lasts="action_time",
        marches_heat=True,
        rings=seals.closure_rings,
        behind=seals.heat_not_modelled,
    ),
)


def assess_ladder(
    motors: Motors,
    figures: Figures | None = None,
    maximum_expected_pressure: Array | None = None,
    marching: bool = True,
    burn: Burn | None = None,
    kept: dict[str, Any] | None = None,
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
    burn : callable, optional
        Figures of a batch by the kernel that made `figures`: with it a mode that asks how the motor burns is told so at
        each corner of the tolerances, without it as drawn.
    kept : dict, optional
        Where modes leave what they worked out for the motors as drawn, for a `Situation` of the same burn to find.

    Notes
    -----
    Validity is that of each rung. Each stands at its own worst corner of ``motors.tolerances`` (`physics.ballistics.corners`). A
    mode of which something is missing is listed with the reason; what is given and lies beyond its model is taken to
    bear nothing. Required factors: ``motors.factors`` by kind, else `DEFAULT_FACTORS`; 0
    where nothing is required.
    """
    expected = maximum_expected_pressure
    if expected is None and figures is not None:
        expected = figures["peak_head_pressure"]
    rungs: list[Rung] = []
    missing: list[NotAssessed] = []
    bench = Bench(motors, figures, expected, burn, kept)
    found: list[tuple[Mode, str, str, Corner]] = []
    for row, part, end in cells(motors):
        if not row.applies(motors, end) or (row.marches_heat and not marching):
            continue
        try:
            found.append((row, part, end, bench.worst(row, end)))
        except NotComputable as reason:
            missing.append(NotAssessed(row.mode, part, str(reason)))
    for row, part, end, corner in found:  # values first: the walls of corners and those of notes are marched once each
        if motors.size and bool(np.isnan(corner.value).all()):
            missing.append(NotAssessed(row.mode, part, "the burn is outside the model"))
        else:
            rungs.append(_rung(row, part, bench, corner, bench.situation(end)))
    return Ladder(tuple(rungs), tuple(missing))


def cells(motors: Motors) -> Iterator[tuple[Mode, str, str]]:
    """Every row at every end it may belong to, for each ring of a seal.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Iterator of tuple
        Row, part, end.
    """
    for row in MODES:
        for end in ENDS if row.part == "closure" else ("",):
            part = f"{end} closure" if end else row.part
            count = 1 if row.rings is None else row.rings(motors, end)
            for ring in range(count):
                yield row.at_ring(ring), f"{end or part}{RING}{ring + 1}" if count > 1 else part, end


RING = " seal "
"""What stands between an end, or the nozzle, and the number of its ring, counted from 1 at the gas, where it has several."""


def plain_part(part: str) -> str:
    """The part that a ring belongs to; any other part as it is.

    Parameters
    ----------
    part : str
        A part of the ladder.

    Returns
    -------
    str
        The part.

    Examples
    --------
    >>> plain_part("forward seal 2"), plain_part("nozzle seal 1"), plain_part("case")
    ('forward closure', 'nozzle', 'case')
    """
    own, ring, _ = part.partition(RING)
    return f"{own} closure" if ring and own in ENDS else own


def may_be_first(rung: Rung) -> bool:
    """Whether a rung adds to what may let go first.

    Parameters
    ----------
    rung : Rung
        Of a ladder.

    Returns
    -------
    bool
        Whether it does.

    Notes
    -----
    Not advice, nor a ring behind another, since gas that is past that one is past the first already.
    """
    _, _, number = rung.part.partition(RING)
    return rung.kind != ADVICE and number in ("", "1")


def end_of(part: str) -> str:
    """The end that a part of the ladder belongs to: "forward", "aft", or "" for one of no end.

    Parameters
    ----------
    part : str
        A part of the ladder.

    Returns
    -------
    str
        The end.

    Examples
    --------
    >>> end_of("aft seal 1"), end_of("nozzle")
    ('aft', '')
    """
    own = plain_part(part)
    return own.partition(" ")[0] if own.endswith(" closure") else ""


Burn = Callable[[Motors], Figures]


class _Moved(Situation):
    """The situation of motors moved to a corner: how they burn is found out when a mode asks."""

    def __init__(
        self, end: str, expected: Array | None, burn: Callable[[], Figures | None], kept: dict[str, Any], until: float | None,
        enough: Array | None, short: float | None,
    ) -> None:  # fmt: skip
        super().__init__(end, None, expected, kept, until, enough, short)
        object.__setattr__(self, "_ask", lru_cache(maxsize=1)(burn))

    def __getattribute__(self, name: str) -> Any:
        if name == "figures":
            return object.__getattribute__(self, "_ask")()
        return object.__getattribute__(self, name)


class Bench:
    """A batch with how it burns, on which modes are evaluated at their worst corners.

    The motors moved to the ends of their tolerances are made once, for all modes. Modes that march heat see the
    tolerances of the wall alone, each corner of them; the thinnest is tried at the coldest and the hottest soak too, each
    with its own burn, if `burn` is given. `burn` is as in `assess_ladder`; where it is the transient kernel, the corner of a
    mode that asks for it is sought from that which the steady kernel finds.
    """

    def __init__(
        self,
        motors: Motors,
        figures: Figures | None,
        expected: Array | None,
        burn: Burn | None = None,
        kept: dict[str, Any] | None = None,
        until: float | None = None,
        enough: Array | None = None,
        short: float | None = None,
    ) -> None:
        self.motors, self.figures, self.expected, self.burn = motors, figures, expected, burn
        self.until, self.enough, self.short = until, enough, short
        given = {column: one for column, one in motors.tolerances.items() if motors.value(column) is not None}
        wall = {column: one for column, one in given.items() if column.partition(".")[0] in _WALL}
        self.corners = {False: Corners(motors, given), True: Corners(motors, wall)}
        self.soaks: dict[tuple[str, str], Array] = {}
        """By mode and end, the soak [K] at which it is worst, (n,); NaN where that is the temperature as drawn."""
        self._at_soaks: tuple[Motors, Figures, dict[str, Any], Array] | None = None
        self._burns: dict[int, tuple[object, Figures]] = {}
        self._kept: list[tuple[Motors, dict[str, Any]]] = [(motors, {} if kept is None else kept)]

    def worst(self, row: Mode, end: str) -> Corner:
        """The lowest value of a mode over the tolerances.

        Parameters
        ----------
        row : Mode
            A row of `MODES`.
        end : str
            "forward", "aft", or "" for a part of no end.

        Returns
        -------
        Corner
            Pressure [Pa] or time [s], (n,).

        Raises
        ------
        NotComputable
            Where what the mode needs is missing.

        Notes
        -----
        0 where what is given lies beyond the mode's model, NaN where the burn is not known.
        """
        if row.marches_heat:
            return self._over_soaks(row, end, self.corners[True].worst_of_box(self._value(row, end), highest=False))
        if self.burn is None or self.figures is None or self.figures.kernel == "steady":
            return self.corners[False].worst(self._value(row, end), highest=False)
        asked: list[Motors] = []

        def steadily(batch: Motors, rows: NDArray[np.intp]) -> Figures:
            asked.append(batch)
            return self._steady(batch)

        guess = self.corners[False].worst(self._value(row, end, steadily), highest=False)
        return self.corners[False].worst_from(self._asked(row, end), guess.sides, highest=False) if asked else guess

    def _steady(self, batch: Motors) -> Figures:
        """The steady kernel's figures, once for a batch that will be asked about again."""
        kept = self._burns.get(id(batch))
        if kept is not None and kept[0] is batch:
            return kept[1]
        return self._keep(batch, evaluate(batch))

    def _asked(self, row: Mode, end: str) -> Ask:
        """A mode's value at corners, each burnt anew, but once where corners differ in columns alone that no burn sees."""
        corners, burn, figures = self.corners[False], self.burn, self.figures
        assert burn is not None and figures is not None
        seen = {*seen_tolerances(self.motors, "transient"), "ambient.temperature"}
        burning = [place for place, name in enumerate(corners.names) if name in seen]

        def value(rows: NDArray[np.intp], sides: Array, _: NDArray[np.intp]) -> Array:
            batch, none = moved(self.motors.take(rows), corners.tolerances, sides)
            moving = sides[:, burning].any(axis=1)
            _, first, place = np.unique(
                np.column_stack([rows, sides[:, burning]])[moving], axis=0, return_index=True, return_inverse=True
            )
            drawn = _picked(replace(figures, curve=None), rows, self.motors.size)
            values = dict(drawn.values)
            if len(first):
                burnt = burn(batch.take(np.flatnonzero(moving)[first]))
                for name, column in burnt.values.items():
                    values[name] = np.array(values[name])
                    values[name][moving] = column[place.ravel()]
            found = self._value(row, end, lambda *_: replace(drawn, values=values))(batch, rows)
            return np.where(none, np.nan, found)

        return value

    def _over_soaks(self, row: Mode, end: str, corner: Corner) -> Corner:
        """The worst corner of the wall, or the thinnest wall at the coldest or the hottest soak, each with its own burn.

        A time counts over the time that its own burn takes: it stands in terms of the burn as drawn.
        """
        soaks = other_soaks(self.motors)
        if self.burn is None or self.figures is None or self.figures.curve is None or not soaks.size:
            return corner
        if self.short is not None and row.lasts and np.all(corner.value < self.short * self.figures[row.lasts]):
            return corner  # all have failed whatever the soak is
        batch, figures, kept, sides = self._soaked(soaks)
        many = soaks.shape[1]
        expected = None if self.expected is None else np.repeat(np.broadcast_to(self.expected, (self.motors.size,)), many)
        try:
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                enough = None if self.enough is None else np.repeat(self.enough, many)
                found = row.function(batch, Situation(end, figures, expected, kept, self.until, enough, self.short))
                if row.lasts:
                    own = figures[row.lasts].reshape(-1, many)
                    found = found * np.ravel(np.broadcast_to(self.figures[row.lasts], (self.motors.size,))[:, None] / own)
        except Beyond:
            return corner
        table = np.reshape(found, (self.motors.size, many))
        table = np.where(np.isnan(table), np.inf, table)
        lowest = table.argmin(axis=1)
        worst = table[np.arange(self.motors.size), lowest]
        worse = worst < corner.value  # not where the value is NaN
        self.soaks[row.mode, end] = np.where(worse, soaks[np.arange(self.motors.size), lowest], np.nan)
        sides = np.where(worse[:, None], sides, corner.sides)
        return replace(corner, value=np.where(worse, worst, corner.value), sides=sides)

    def _soaked(self, soaks: Array) -> tuple[Motors, Figures, dict[str, Any], Array]:
        """The motors with the thinnest wall and liner and the widest gaps, each at each soak, how they burn, a place for
        what modes work out, and the sides of that corner: the same for all modes, and for whoever asks no later time.
        """
        if self._at_soaks is None:
            assert self.figures is not None
            corners, many = self.corners[True], soaks.shape[1]
            worst = [-1.0 if name in _THIN else 1.0 if name in _WIDE else 0.0 for name in corners.names]
            sides = np.tile(worst, (self.motors.size, 1))
            thin, none = moved(self.motors, corners.tolerances, sides)
            sides[none] = 0.0
            batch, rows = thin.repeat(many), np.repeat(np.arange(self.motors.size), many)
            figures = burn_at(batch, _picked(self.figures, rows, self.motors.size), np.ravel(soaks))
            self._at_soaks = batch.with_values({"ambient.temperature": np.ravel(soaks)}), figures, {}, sides
        return self._at_soaks

    def situation(self, end: str) -> Situation:
        """What a mode may know of the burn of the motors as drawn.

        Parameters
        ----------
        end : str
            "forward", "aft", or "" for a part of no end.

        Returns
        -------
        Situation
            Of the motors as drawn.
        """
        return Situation(end, self.figures, self.expected, self._kept_for(self.motors), self.until)

    def _kept_for(self, batch: Motors) -> dict[str, Any]:
        """Where modes keep what they worked out for a batch that other modes will ask about; else a place of its own."""
        for known, kept in self._kept:
            if known is batch:
                return kept
        fresh: dict[str, Any] = {}
        if any(corners.will_return(batch) for corners in self.corners.values()):
            self._kept.append((batch, fresh))
        return fresh

    def _value(
        self, row: Mode, end: str, burn: Callable[[Motors, NDArray[np.intp]], Figures | None] | None = None
    ) -> Callable[[Motors, NDArray[np.intp]], Array]:
        burns = burn if burn is not None else partial(self._burn, histories=row.marches_heat)

        def value(batch: Motors, rows: NDArray[np.intp]) -> Array:
            expected = None if self.expected is None else np.broadcast_to(self.expected, (self.motors.size,))[rows]
            enough = None if self.enough is None else self.enough[rows]
            about = end, expected, lambda: burns(batch, rows), self._kept_for(batch)
            situation: Situation = _Moved(*about, self.until, enough, self.short)
            try:
                with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                    found = np.asarray(row.function(batch, situation), dtype=float)
            except Beyond:
                return np.zeros(batch.size)
            unknown = False if expected is None else np.isnan(expected)
            return np.where(np.isnan(found) & ~np.broadcast_to(unknown, (batch.size,)), 0.0, found)

        return value

    def _burn(self, batch: Motors, rows: NDArray[np.intp], histories: bool) -> Figures | None:
        """The figures of these rows; the same object for the same batch, by which what is marched is known again."""
        if self.figures is None or batch is self.motors:
            return self.figures
        kept = self._burns.get(id(batch))
        if kept is not None and kept[0] is batch:
            return kept[1]
        if self.burn is not None and not histories:
            return self._keep(batch, self.burn(batch))
        figures = self.figures if histories else replace(self.figures, curve=None)
        return self._keep(batch, _picked(figures, rows, self.motors.size))

    def _keep(self, batch: Motors, figures: Figures) -> Figures:
        """Note the figures of a batch that will be asked about again."""
        if any(corners.will_return(batch) for corners in self.corners.values()):
            self._burns[id(batch)] = batch, figures
        return figures


_WALL = ("case", "liner")
_THIN = frozenset({"case.wall", "liner.thickness"})
_WIDE = frozenset({"liner.gap", "liner.gap_forward", "liner.gap_joint", "liner.gap_aft"})


def _picked(figures: Figures, rows: NDArray[np.intp], size: int) -> Figures:
    """The figures of these rows of a batch of this size."""
    curve = figures.curve
    if curve is not None:
        curve = replace(curve, **{item.name: getattr(curve, item.name)[rows] for item in fields(curve)})
    return replace(
        figures, curve=curve,
        values={name: np.broadcast_to(column, (size,))[rows] for name, column in figures.values.items()},
        flags={name: np.broadcast_to(column, (size,))[rows] for name, column in figures.flags.items()},
    )  # fmt: skip


def _rung(row: Mode, part: str, bench: Bench, corner: Corner, situation: Situation) -> Rung:
    motors = bench.motors
    value = np.broadcast_to(corner.value, (motors.size,))
    sure = certainty(row.mode, row.kind, motors, situation.end)
    ends, place = None, None
    if row.marches_heat and motors.size == 1 and situation.figures is not None:
        low, high, scatter, status = heat_rungs.heat_certainty(row.mode, motors, situation)
        ends = (low, high) if row.lasts else None
        if row.lasts:
            sure = sure.scattered_by(scatter)
        else:
            sure = replace(sure, formula_scatter=float(np.hypot(sure.formula_scatter, scatter)))
        sure = replace(sure, grounds=(*sure.grounds, Ground("what is assumed of heat", status)))
        place = heat_rungs.place_of(row.mode, motors, situation)
    return Rung(
        mode=row.mode,
        part=part,
        kind=row.kind,
        basis=_text(row.basis, motors, situation),
        pressure=None if row.lasts else value,
        time=value if row.lasts else None,
        factor=_factor(value, row, situation),
        required=np.full(motors.size, motors.factors.get(row.kind, DEFAULT_FACTORS[row.kind])),
        note=_note(row, corner, bench, situation) if motors.size == 1 else "",
        nominal=np.broadcast_to(corner.nominal, (motors.size,)),
        certainty=sure,
        ends=ends,
        place=place,
    )


def _note(row: Mode, corner: Corner, bench: Bench, situation: Situation) -> str:
    """What a single motor's rung has to say, at its worst corner; where that is; and what lies beyond the model."""
    motors = bench.motors
    corners = bench.corners[row.marches_heat]
    if not row.marches_heat:
        motors, _ = moved(motors, corners.tolerances, corner.sides)
    try:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            beyond = bool(np.isnan(np.asarray(row.function(motors, situation), dtype=float)).any())
        reason = "outside the range in which this mode can be computed" if beyond else ""
        said = [] if beyond or row.note is None else [_text(row.note, motors, situation)]
    except Beyond as told:
        reason, said = str(told), []
    if reason:
        said = [f"beyond the model, taken to bear nothing: {reason}"]
    where = [
        f"{file_key(name)} {'low' if side < 0.0 else 'high'}"
        for name, side in zip(corners.names, corner.sides[0], strict=True)
        if side
    ]
    soak = bench.soaks.get((row.mode, situation.end))
    if soak is not None and np.isfinite(soak[0]):
        where.append(f"soak at {soak[0] - 273.15:.0f} °C{', against the burn there' if row.lasts else ''}")
    if where and not reason:
        drawn = float(corner.nominal[0])
        shown = (f"{drawn:.3g} s" if row.lasts else pressure_text(np.asarray(drawn))) if np.isfinite(drawn) else "never"
        said.append(f"worst corner of the tolerances: {', '.join(where)} (as drawn {shown})")
    return "; ".join(text for text in said if text)


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


def place_in_ladder(kind: str, pressure: float | None, time: float | None) -> tuple[int, float]:
    """What rungs of one motor are sorted by: pressures, lowest first, then times, soonest first, then advice.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    pressure : float or None
        [Pa].
    time : float or None
        [s].

    Returns
    -------
    tuple of int and float
        Group, and place in it.

    Notes
    -----
    What is not known, and what never happens, comes last of its group.

    Examples
    --------
    >>> sorted([("leak", None, 3.0), ("leak", 2e6, None)], key=lambda rung: place_in_ladder(*rung))[0]
    ('leak', 2000000.0, None)
    """
    value = time if pressure is None else pressure
    group = 2 if kind == ADVICE else 1 if pressure is None else 0
    return group, np.inf if value is None or np.isnan(value) else value


def in_order(ladder: Ladder, index: int = 0) -> list[Rung]:
    """The rungs of the motor at `index` of a batch, in the order of `place_in_ladder`.

    Parameters
    ----------
    ladder : Ladder
        Of a batch.
    index : int
        Which motor.

    Returns
    -------
    list of Rung
        Sorted.
    """

    def of(column: Array | None) -> float | None:
        if column is None:
            return None
        values = np.ravel(column)
        return float(values[index if values.size > 1 else 0])

    return sorted(ladder.rungs, key=lambda rung: place_in_ladder(rung.kind, of(rung.pressure), of(rung.time)))
