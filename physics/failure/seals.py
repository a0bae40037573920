"""O-rings: sizes, gland proportions, and extrusion into a gap that the pressure itself opens.

Owns the AS568 sizes, squeeze, fill and stretch with their bands, and the modes `backup ring advised` (what makers'
tables advise for service) and `seal extrusion` (where a ring is taken to leak once). Sources: AS568, Parker ORD 5700
and makers' tables of gaps, each beside its numbers. Imports numpy and, from
physics, case, constants, modes, motors, screws and threads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.assembly import ROUNDING, gland_room
from physics.constants import ZERO_CELSIUS
from physics.failure.case import closure, dilation, pressure_text, sentences, service_temperature
from physics.failure.screws import Proportion
from physics.failure.threads import INCH
from physics.missing import Beyond, NotComputable, need
from physics.motors import Array, Motors, Seal, Situation

# --- sizes -----------------------------------------------------------------------------------------------------------

# AS568 by series: cross-section, its tolerance, then runs of sizes: first dash, its nominal inside diameter, the step
# from dash to dash, last dash. The inside diameter is the nominal less the offset of the series. Inches. Source: AS568
# as restated by three suppliers (read at second hand); the runs reproduce all 104 sizes read.
_SERIES = {
    0: (0.070, 0.003, 0.011, ((10, 0.25, 0.0625, 28), (29, 1.5, 0.125, 41), (42, 3.25, 0.25, 50))),
    1: (0.103, 0.003, 0.013, ((110, 0.375, 0.0625, 149), (150, 2.875, 0.125, 151), (152, 3.25, 0.25, 178))),
    2: (0.139, 0.004, 0.016, ((201, 0.1875, 0.0625, 222), (223, 1.625, 0.125, 258), (259, 6.25, 0.25, 274))),
    3: (0.210, 0.005, 0.025, ((309, 0.4375, 0.0625, 324), (325, 1.5, 0.125, 361), (362, 6.25, 0.25, 381))),
    4: (0.275, 0.006, 0.025, ((425, 4.5, 0.125, 437), (438, 6.25, 0.25, 445), (446, 8.5, 0.5, 464))),
}


@dataclass(frozen=True)
class RingSize:
    """One O-ring size: lengths m."""

    dash: int
    inner_diameter: float
    cross_section: float
    cross_section_tolerance: float


def as568_sizes() -> list[RingSize]:
    """All sizes known, by dash number."""
    return list(_as568_table().values())


def _as568_table() -> dict[int, RingSize]:
    table: dict[int, RingSize] = {}
    for cross_section, tolerance, offset, runs in _SERIES.values():
        for first, nominal, step, last in runs:
            for dash in range(first, last + 1):
                thou = np.floor((nominal + (dash - first) * step - offset) * 1e3 + 1e-6)
                table[dash] = RingSize(dash, float(thou) * 1e-3 * INCH, cross_section * INCH, tolerance * INCH)
    return table


# --- gland proportions -----------------------------------------------------------------------------------------------


def squeeze(cross_section: Array, gland_depth: Array) -> Array:
    """Share of the cross-section that the gland takes.

    Parameters
    ----------
    cross_section, gland_depth : Array
        Of the ring, and from the groove's floor to what it seals on; any one unit of length [m].

    Returns
    -------
    Array
        1 − L/CS [-]; broadcasts.

    References
    ----------
    Definition.
    """
    return np.asarray(1.0 - np.divide(gland_depth, cross_section))


def stretch(groove_diameter: Array, inner_diameter: Array) -> Array:
    """How far the ring is stretched over its groove.

    Parameters
    ----------
    groove_diameter, inner_diameter : Array
        Of the groove's floor, and of the ring as bought; any one unit of length [m].

    Returns
    -------
    Array
        Their ratio less 1 [-]; broadcasts.

    References
    ----------
    Definition.
    """
    return np.asarray(np.divide(groove_diameter, inner_diameter) - 1.0)


def gland_fill(cross_section: Array, gland_depth: Array, gland_width: Array) -> Array:
    """Ring's cross-section over the gland's.

    Parameters
    ----------
    cross_section, gland_depth, gland_width : Array
        Any one unit of length [m].

    Returns
    -------
    Array
        (π/4)·CS²/(G·L) [-]; broadcasts.

    Notes
    -----
    Rubber hardly changes its volume: above 1 the joint cannot be closed.

    References
    ----------
    Geometry.
    """
    return np.asarray(0.25 * np.pi * np.square(cross_section) / (np.asarray(gland_width) * gland_depth))


# Parker ORD 5700 Design Chart 4-2, static radial glands (read at second hand): cross-section, squeeze from, to.
_SQUEEZE_BANDS = (
    (0.070, 0.22, 0.32),
    (0.103, 0.17, 0.24),
    (0.139, 0.16, 0.23),
    (0.210, 0.15, 0.21),
    (0.275, 0.15, 0.20),
)
_CHART = "Parker ORD 5700 Design Chart 4-2, read at second hand"


def squeeze_band(cross_section: Array) -> tuple[float, float]:
    """Least and greatest squeeze for a static radial gland, at the nearest standard cross-section.

    Parameters
    ----------
    cross_section : Array
        [m].

    Returns
    -------
    tuple of float
        [-].

    References
    ----------
    Parker ORD 5700 Design Chart 4-2 (read at second hand).
    """
    thick = float(np.median(cross_section)) / INCH
    _, low, high = min(_SQUEEZE_BANDS, key=lambda row: abs(row[0] - thick))
    return low, high


def gland_figures(seal: Seal, bore: Array, growth: Array | float = 0.0) -> tuple[Proportion, ...]:
    """Squeeze, squeeze under pressure, fill and stretch of a gland with their bands.

    Parameters
    ----------
    seal : Seal
        The ring and its gland.
    bore : Array
        Diameter the ring seals against [m].
    growth : Array
        Radial growth of that bore [m].

    Returns
    -------
    tuple of Proportion
        [-]; what is not given is left out: fill needs `gland_width`, stretch `inner_diameter`.

    References
    ----------
    Parker Design Chart 4-2 for squeeze; 60 to 85 % fill and 0 to 5 % stretch, makers' practice (read at second hand).
    """
    low, high = squeeze_band(seal.cross_section)
    figures = [Proportion("squeeze", squeeze(seal.cross_section, seal.gland_depth), low, high, _CHART)]
    if np.any(np.asarray(growth) > 0.0):
        opened = squeeze(seal.cross_section, seal.gland_depth + growth)
        figures.append(Proportion("squeeze with the bore grown", opened, 0.10, high, "common practice, no source"))
    if seal.gland_width is not None:
        fill = gland_fill(seal.cross_section, seal.gland_depth, seal.gland_width)
        figures.append(Proportion("gland fill", fill, 0.60, 0.85, "O-ring makers' practice, read at second hand"))
    if seal.inner_diameter is not None:
        taken = stretch(bore - 2.0 * seal.gland_depth, seal.inner_diameter)
        figures.append(Proportion("stretch", taken, 0.0, 0.05, "O-ring makers' practice, read at second hand"))
    return tuple(figures)


def gland_warnings(motors: Motors, end: str, pressure: Array | None = None, ring: int | None = None) -> list[str]:
    """What is wrong with the glands of one end of a single motor.

    Parameters
    ----------
    motors : Motors
        A single motor, SI units.
    end : str
        "forward" or "aft".
    pressure : Array, optional
        At which the squeeze is taken too [Pa].
    ring : int, optional
        Which ring, counted from 0 at the gas; all where left out, each then by its number where there are several.

    Returns
    -------
    list of str
        One text a fault.
    """
    part = closure(motors, end)
    if part.seal is None or motors.case is None:
        return []
    growth: Array | float = 0.0
    if pressure is not None:
        try:
            growth = dilation(motors, pressure)
        except NotComputable:
            growth = 0.0
    found = [_room_warning(motors, end)] if end == "forward" and ring in (None, 0) else []
    for row, seal in enumerate(part.seal.series):
        if ring in (None, row):
            said = _own_warnings(motors, seal, growth)
            found += [f"seal {row + 1}: {text}" if ring is None and part.seal.behind is not None else text for text in said]
    return [text for text in found if text]


def _room_warning(motors: Motors, end: str) -> str:
    """What is wrong where the glands of a forward closure take more of its length than its plate has."""
    part = closure(motors, end)
    if part.plate_thickness is None:
        return ""
    plate, room = float(np.max(part.plate_thickness)), float(np.max(gland_room(part)))
    if room <= plate + ROUNDING:
        return ""
    cure = (
        "make ring and plate of one piece, so that the glands reach back, or take fewer rings or a thicker plate"
        if part.screws is not None
        else "take fewer rings, narrower ones, or a thicker plate"
    )
    return f"the glands with their lands need {room * 1e3:.1f} mm of a plate of {plate * 1e3:.1f} mm: {cure}"


def _own_warnings(motors: Motors, seal: Seal, growth: Array | float) -> list[str]:
    bore = _sealed(motors, seal)
    warnings = [figure.warning() for figure in gland_figures(seal, bore, growth)]
    if any(warnings):
        warnings.append(ring_that_fits(seal, bore) or "no AS568 ring fits this groove")
    return [text for text in (*warnings, _cold_warning(motors, seal)) if text]


def _sealed(motors: Motors, seal: Seal) -> Array:
    """Diameter [m] that a ring seals against: its own, or the bore."""
    return seal.diameter if seal.diameter is not None else np.asarray(need(motors, "case").bore)


USUAL_STRETCH = 0.015
"""Of several rings that fit a groove the one stretched nearest to this comes first: with it every groove of Parker's Table 4-2
(read at second hand) is given the ring that it is printed for, but two whose own stretch is over the band. [-]"""


def fitting_rings(bore: float, gland_depth: float, gland_width: float | None = None) -> list[RingSize]:
    """AS568 sizes whose squeeze, fill and stretch lie in their bands for a groove in a plug, the best stretch first.

    Parameters
    ----------
    bore, gland_depth : float
        Diameter sealed; from the groove's floor to it [m].
    gland_width : float, optional
        [m]; without it the fill is not asked.

    Returns
    -------
    list of RingSize
        The one stretched nearest to `USUAL_STRETCH` first.

    References
    ----------
    Bands as `gland_figures`; sizes of AS568.

    Examples
    --------
    >>> [ring.dash for ring in fitting_rings(2.5 * 0.0254, 0.111 * 0.0254, 0.187 * 0.0254)][:1]
    [228]
    """
    found: list[tuple[float, RingSize]] = []
    for ring in as568_sizes():
        column = {"cross_section": ring.cross_section, "gland_depth": gland_depth, "gland_width": gland_width}
        arrays = {name: None if value is None else np.array([value]) for name, value in column.items()}
        own = Seal(
            np.array([1.0]),
            gap=np.array([0.0]),
            hardness=np.array([70.0]),
            inner_diameter=np.array([ring.inner_diameter]),
            **arrays,  # type: ignore[arg-type]
        )
        figures = gland_figures(own, np.array([bore]))
        if all(bool(figure.ok[0] > 0.5) for figure in figures):
            found.append((abs(float(figures[-1].value[0]) - USUAL_STRETCH), ring))
    return [ring for _, ring in sorted(found, key=lambda pair: pair[0])]


def ring_that_fits(seal: Seal, bore: Array) -> str:
    """The AS568 ring that fits the groove of a single motor, in words; empty where none does.

    Parameters
    ----------
    seal : Seal
        The ring and its groove.
    bore : Array
        [m].

    Returns
    -------
    str
        The words.
    """
    width = None if seal.gland_width is None else float(np.ravel(seal.gland_width)[0])
    rings = fitting_rings(float(np.ravel(bore)[0]), float(np.ravel(seal.gland_depth)[0]), width)
    fill = "" if width is not None else " (gland_width is not given: its fill is not known)"
    return f"AS568-{rings[0].dash:03d} fits this groove{fill}" if rings else ""


def _cold_warning(motors: Motors, seal: Seal) -> str:
    if seal.material is None or seal.material.minimum_temperature is None:
        return ""
    coldest = float(np.min(motors.ambient.soak))
    if coldest >= seal.material.minimum_temperature:
        return ""
    least = seal.material.minimum_temperature - ZERO_CELSIUS
    return (
        f"{seal.material.name} stiffens below {least:.0f} degC and the coldest soak is "
        f"{coldest - ZERO_CELSIUS:.0f} degC: the ring may not follow its seat"
    )


# --- extrusion -------------------------------------------------------------------------------------------------------

PSI = 6894.757293168

HARDNESS_RANGE = (60.0, 95.0)
"""Shore A; the makers' tables end at 90, and a harder ring is given no more than that."""

LEAK_OVER_SERVICE = 2.0
"""Pressure at which a ring is taken to leak once over the most lenient maker's service limit: our judgement. The one
joint measured, whose hardness is not written, held 1.06 to 4.8 times such limits for minutes."""

WIDEST_SHARE = 0.2
"""Gap of one side over the cross-section at which nothing is given for the ring any more: our judgement. The joint
measured held at 9 % a side."""

TABLES_HOLD_TO = 343.15
"""The makers tested up to 70 °C (Ace Seal, after ERIKS, read; a second handbook says 74 °C, read at second hand). [K]"""


@dataclass(frozen=True)
class MakersTable:
    """One maker's widest total diametral gaps for service without a backup ring.

    `pressures` psi rising (K,); `hardness` Shore A rising (H,); `gaps` inches (H, K).
    """

    maker: str
    status: str
    hardness: tuple[float, ...]
    pressures: tuple[float, ...]
    gaps: tuple[tuple[float, ...], ...]


MAKERS = (
    MakersTable(
        # Bands of pressure (500-1000, 1000-1500, 1500-2000, 2000-3000 psi), each read at its lower end.
        "Seal & Design, extrusion limits", "read", (70.0, 90.0), (500.0, 1000.0, 1500.0, 2000.0),
        ((0.010, 0.006, 0.004, 0.002), (0.024, 0.020, 0.016, 0.010)),
    ),
    MakersTable(
        # 60 Shore A at 1500 psi: "consult", taken as no gap at all.
        "Ring Design, ch. 12 of an O-ring maker's guide", "read at second hand", (60.0, 70.0, 80.0, 90.0),
        (500.0, 750.0, 1000.0, 1250.0, 1500.0),
        (
            (0.010, 0.005, 0.002, 0.001, 0.0), (0.015, 0.011, 0.008, 0.004, 0.002),
            (0.020, 0.016, 0.012, 0.009, 0.007), (0.025, 0.023, 0.018, 0.015, 0.012),
        ),
    ),
)  # fmt: skip
"""Makers' tables, total diametral gap; advice for service and for many pressurisations."""

BY_SECTION = ((0.070, 0.004), (0.103, 0.005), (0.139, 0.006), (0.210, 0.007), (0.275, 0.010))
"""Widest total diametral gap [in] by cross-section [in] at about 1200 psi, 70 Shore A: Ace Seal after ERIKS (read), the
upper ends of its ranges; linear between sections."""
BY_SECTION_AT = 1200.0 * PSI


def allowed_pressure(table: MakersTable, hardness: Array, gap: Array, growth_per_pressure: Array) -> Array:
    """Highest pressure at which one maker allows a gap that grows with pressure.

    Parameters
    ----------
    table : MakersTable
        Interpolated in hardness and, between its pressures, in gap; no power law.
    hardness : Array
        Shore A. Below the table's softest ring its softest row is used, above the hardest the hardest.
    gap, growth_per_pressure : Array
        Radial gap at rest [m] and its growth [m/Pa]; the table's total diametral gap is twice that, plug in the middle.

    Returns
    -------
    Array
        [Pa]; broadcasts.

    Notes
    -----
    A gap beyond the widest of the table bears less than the table's lowest pressure, in proportion to the gap: there p·gap(p)
    is constant. A gap narrower than its narrowest is given the table's highest pressure and no more. The growth is that of the
    tube far from its ends; where pressure stops at the seal the tube grows half of it, and all of it only at a free end.

    References
    ----------
    Growth near an end: Timoshenko, Theory of Plates and Shells, long cylinder under a step of pressure.

    Examples
    --------
    >>> round(float(allowed_pressure(MAKERS[1], 70.0, 0.004 * 0.0254, 0.0)) / 6894.757293168, 6)
    1000.0
    """
    shore, rest, rise = np.broadcast_arrays(
        np.asarray(hardness, dtype=float), 2.0 * np.asarray(gap, dtype=float), 2.0 * np.asarray(growth_per_pressure)
    )
    at = np.array(table.pressures) * PSI
    rows = np.array(table.gaps) * INCH
    allowed = np.stack([np.interp(shore, table.hardness, column) for column in rows.T])
    excess = np.stack([rest + rise * pressure for pressure in at]) - allowed  # rises along the first axis
    found = np.full(shore.shape, at[-1])
    for k in range(len(at) - 2, -1, -1):
        step = excess[k + 1] - excess[k]
        share = np.divide(-excess[k], step, out=np.zeros(shore.shape), where=step > 0.0)
        found = np.where(excess[k + 1] > 0.0, at[k] + (at[k + 1] - at[k]) * np.clip(share, 0.0, 1.0), found)
    return np.where(excess[0] > 0.0, np.minimum(_in_proportion(at[0] * allowed[0], rest, rise), at[0]), found)


def allowed_by_section(cross_section: Array, gap: Array, growth_per_pressure: Array) -> Array:
    """Highest pressure by the table that knows the cross-section.

    Parameters
    ----------
    cross_section, gap : Array
        Of the ring; radial, at rest [m].
    growth_per_pressure : Array
        Of the gap [m/Pa].

    Returns
    -------
    Array
        [Pa], infinite where its gap is kept; broadcasts.

    Notes
    -----
    One pressure, `BY_SECTION_AT`, and 70 Shore A; what it says above that pressure is not known. A wider gap bears less in
    proportion.

    References
    ----------
    `BY_SECTION`.
    """
    sections, gaps = np.array(BY_SECTION).T * INCH
    rest, rise = 2.0 * np.asarray(gap), 2.0 * np.asarray(growth_per_pressure)
    allowed = np.interp(cross_section, sections, gaps)
    over = rest + rise * BY_SECTION_AT > allowed
    return np.where(over, _in_proportion(BY_SECTION_AT * allowed, rest, rise), np.inf)


def _in_proportion(constant: Array, rest: Array, rise: Array) -> Array:
    """Pressure p with p·(rest + rise·p) = constant: the positive root, written so that it holds for rise = 0."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return np.asarray(2.0 * constant / (rest + np.sqrt(rest * rest + 4.0 * rise * constant)))


def service_limits(seal: Seal, growth_per_pressure: Array) -> Array:
    """Highest pressure each table advises for a ring in its gap.

    Parameters
    ----------
    seal : Seal
        The ring.
    growth_per_pressure : Array
        Of the gap [m/Pa], (n,).

    Returns
    -------
    Array
        [Pa], (tables, n); the last is that by section. NaN where the hardness lies outside `HARDNESS_RANGE`.

    Notes
    -----
    A backup ring in place counts as 90 Shore A. Silicone: half the gap.

    References
    ----------
    `MAKERS`, `BY_SECTION`; a handbook's page on backup rings (read at second hand); silicone by three makers (read).
    """
    shore = _shore(seal)
    share = 2.0 if _is_silicone(seal) else 1.0
    gap, growth = share * np.asarray(seal.gap), share * np.asarray(growth_per_pressure)
    limits = [allowed_pressure(table, shore, gap, growth) for table in MAKERS]
    by_section = np.where(shore <= 70.0, allowed_by_section(seal.cross_section, gap, growth), np.inf)
    outside = (np.asarray(seal.hardness) < HARDNESS_RANGE[0]) | (np.asarray(seal.hardness) > HARDNESS_RANGE[1])
    return np.stack([np.where(outside, np.nan, row) for row in np.broadcast_arrays(*limits, by_section)])


def _shore(seal: Seal) -> Array:
    backup = 0.0 if seal.backup_rings is None else seal.backup_rings
    return np.where(np.asarray(backup) > 0.0, np.maximum(seal.hardness, 90.0), seal.hardness)


# --- which ring ------------------------------------------------------------------------------------------------------


def closure_rings(motors: Motors, end: str) -> int:
    """How many rings of their own description stand one behind the other at an end, one at least.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    int
        Rings [-].
    """
    part = motors.forward_closure if end == "forward" else motors.aft_closure
    return 1 if part is None or part.seal is None else len(part.seal.series)


def nozzle_rings(motors: Motors, end: str) -> int:
    """How many rings of their own description the nozzle has one behind the other, one at least.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        Not used here.

    Returns
    -------
    int
        Rings [-].
    """
    return 1 if motors.nozzle.seal is None else len(motors.nozzle.seal.series)


def _series(motors: Motors, end: str) -> tuple[Seal, ...]:
    """The rings of one end, or of the nozzle where no end is named, the one nearest the gas first."""
    first = closure(motors, end).seal if end else motors.nozzle.seal
    if first is None:
        raise NotComputable(f"[{_part(end)}.seal] is not given")
    return first.series


def _part(end: str) -> str:
    return f"{end}_closure" if end else "nozzle"


def _key(end: str, rings: tuple[Seal, ...], row: int) -> str:
    """The file's table of one ring."""
    return f"{_part(end)}.seal" if len(rings) == 1 else f"{_part(end)}.seals[{row + 1}]"


def _is_silicone(seal: Seal) -> bool:
    return seal.material is not None and seal.material.name == "silicone"


def _limits(motors: Motors, end: str, ring: int) -> tuple[Seal, Array]:
    rings = _series(motors, end)
    return rings[ring], _known_limits(rings[ring], dilation(motors, np.asarray(1.0)), _key(end, rings, ring))


def _known_limits(seal: Seal, growth: Array, name: str) -> Array:
    limits = np.where(np.isnan(growth), np.nan, service_limits(seal, growth))  # how far the case grows is not known
    if np.all(np.isnan(limits)):
        low, high = HARDNESS_RANGE
        raise Beyond(f"{name}.hardness is outside the makers' tables, {low:.0f} to {high:.0f} Shore A")
    return limits


LEAST_SQUEEZE = 0.2e-3
"""Squeeze [m] that makers ask of any ring, whatever its section; a maker's figures as quoted in a public repository, read at
second hand."""


def backup_ring_advised(motors: Motors, situation: Situation, ring: int = 0) -> Array:
    """Head pressure from which a maker asks for more than this ring in its gap.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end; "" is the nozzle.
    ring : int
        Which ring of that part, counted from 0 at the gas.

    Returns
    -------
    Array
        [Pa], (n,). NaN where the hardness lies outside the tables.

    Notes
    -----
    The strictest of the makers' tables, the bore grown by that same pressure; 0 for a gland that no maker advises at any
    pressure: squeeze below `LEAST_SQUEEZE`, or the ring's section more than the gland's. Advice for service: nothing is known
    to happen there in one firing.

    References
    ----------
    `MAKERS`, `BY_SECTION`, each with its status; squeeze as `LEAST_SQUEEZE`; a full gland cannot be closed (geometry).
    """
    seal, limits = _limits(motors, situation.end, ring)
    strictest = np.min(limits, axis=0)
    return np.where(_ill_filled(seal) & ~np.isnan(strictest), 0.0, strictest)


def _ill_filled(seal: Seal) -> NDArray[np.bool_]:
    """Whether a gland squeezes its ring less than makers ask of any, or has no room for it."""
    loose = np.asarray(seal.cross_section) - seal.gland_depth < LEAST_SQUEEZE
    if seal.gland_width is None:
        return np.asarray(loose)
    return np.asarray(loose | (gland_fill(seal.cross_section, seal.gland_depth, seal.gland_width) > 1.0))


def seal_extrusion(motors: Motors, situation: Situation, ring: int = 0) -> Array:
    """Head pressure at which gas is taken to be past a ring of one end, the bore grown by that pressure.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.
    ring : int
        Which ring of that end, counted from 0 at the gas.

    Returns
    -------
    Array
        [Pa], (n,). NaN where the hardness lies outside the tables.

    Notes
    -----
    As `service_leak`. Rings in series add no pressure: the one nearest the gas holds it all until it lets go, and only then
    does gas come to the next. So a ring behind others is passed at the highest of their pressures and its own.

    References
    ----------
    As `service_leak`; rings in series, derived.
    """
    return _in_series(motors, situation.end, ring)


def _in_series(motors: Motors, end: str, ring: int) -> Array:
    """Head pressure [Pa] at which gas is past a ring and all before it."""
    rings, growth = _series(motors, end), dilation(motors, np.asarray(1.0))
    found = service_leak(motors, rings[ring], growth, _key(end, rings, ring))
    for row in range(ring):
        try:
            found = np.fmax(found, service_leak(motors, rings[row], growth, _key(end, rings, row)))
        except Beyond:  # a ring of which nothing is known holds nothing back
            continue
    return np.asarray(found)


def has_nozzle_seal(motors: Motors, end: str) -> bool:
    """Whether the nozzle has a seal of its own.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        Not used here.

    Returns
    -------
    bool
        Whether it has.
    """
    return motors.nozzle.seal is not None


def nozzle_seal_extrusion(motors: Motors, situation: Situation, ring: int = 0) -> Array:
    """Head pressure at which gas is taken to be past a ring of the nozzle's own.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Of no end.
    ring : int
        Which ring of the nozzle, counted from 0 at the gas.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    As `seal_extrusion`. The ring seals the bore, which grows, or with a `diameter` of its own a carrier, which is taken to
    grow as much.

    References
    ----------
    As `seal_extrusion`.
    """
    return _in_series(motors, "", ring)


def heat_not_modelled(motors: Motors, situation: Situation, ring: int = 0) -> Array:
    """Nothing: what gets hot at a seal of a nozzle or a plug, or behind another ring, is not in the model.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.
    ring : int
        Which ring, counted from 0 at the gas.

    Returns
    -------
    Array
        Never [s]; by definition.

    Raises
    ------
    NotComputable
        Always.
    """
    if ring:
        raise NotComputable("heat at a ring behind another is not in the model and not evaluated")
    raise NotComputable("heat at this seal is not in the model and not evaluated: only that of the closures' own seals is")


def service_leak(motors: Motors, seal: Seal, growth_per_pressure: Array, key: str) -> Array:
    """Pressure at which a single ring is taken to let gas past.

    Parameters
    ----------
    motors : Motors
        Batch of n motors: its soak temperatures count.
    seal : Seal
        The ring, lengths m, hardness Shore A, (n,).
    growth_per_pressure : Array
        Growth of the radial gap over pressure [m/Pa], (n,).
    key : str
        The table of the motor file, for what is refused.

    Returns
    -------
    Array
        [Pa], (n,); NaN where the hardness lies outside the tables.

    Raises
    ------
    Beyond
        Where it does for every motor.

    Notes
    -----
    `LEAK_OVER_SERVICE` times the most lenient maker's service limit (what one maker allows for years does not leak once),
    and never beyond the pressure at which the gap of one side, plug in the middle, comes to `WIDEST_SHARE` of the
    cross-section. 0 where the coldest soak is below the rubber's minimum temperature, and where the gland is as deep as the
    ring is thick, which it then does not touch: nothing is given for such a ring.

    References
    ----------
    `MAKERS`, with status; the two shares are judgement, each with what was measured.
    """
    limits = _known_limits(seal, growth_per_pressure, key)
    # Below its softest ring a table says nothing lenient: there only the others count.
    shore = _shore(seal)
    known = [np.where(shore >= table.hardness[0], row, 0.0) for table, row in zip(MAKERS, limits, strict=False)]
    lenient = LEAK_OVER_SERVICE * np.max(known, axis=0)
    room = WIDEST_SHARE * np.asarray(seal.cross_section) - seal.gap
    with np.errstate(divide="ignore", invalid="ignore"):
        widest = np.where(room > 0.0, np.maximum(room, 0.0) / np.asarray(growth_per_pressure), 0.0)
    found = np.where(np.isnan(limits[0]), np.nan, np.minimum(lenient, widest))
    untouched = np.asarray(seal.gland_depth) >= seal.cross_section
    return np.where(np.logical_or(_too_cold(motors, seal), untouched), 0.0, found)


def _too_cold(motors: Motors, seal: Seal) -> Array:
    """Whether the coldest soak of each motor is below what the ring's rubber bears, (n,) or ()."""
    if seal.material is None or seal.material.minimum_temperature is None:
        return np.asarray(False)
    return np.asarray(np.min(np.atleast_2d(motors.ambient.soak), axis=-1) < seal.material.minimum_temperature)


def seal_note(motors: Motors, situation: Situation, ring: int = 0) -> str:
    """Where the ring stands, the gap at that pressure, what each maker allows, and what is wrong with the gland.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end; "" is the nozzle.
    ring : int
        Which ring of that part, counted from 0 at the gas.

    Returns
    -------
    str
        The words.

    Notes
    -----
    The rubber's temperature is told too.
    """
    seal, limits = _limits(motors, situation.end, ring)
    rings = _series(motors, situation.end)
    pressure = service_leak(motors, seal, dilation(motors, np.asarray(1.0)), "")
    cold = bool(np.any(_too_cold(motors, seal)))
    grown = dilation(motors, pressure)
    lenient = float(np.max(limits[: len(MAKERS)]))
    return sentences(
        _place_note(motors, situation.end, rings, ring, pressure),
        _cold_warning(motors, seal) if cold else "",
        f"{LEAK_OVER_SERVICE:g} times the most lenient maker's service limit, {pressure_text(np.asarray(lenient))}",
        f"radial gap {_mm(seal.gap)} at rest and {_mm(grown)} more at that pressure, plug in the middle (a plug pushed "
        "to one side doubles the gap there)",
        "a second ring adds no pressure" if np.max(seal.rings) > 1.5 else "",
        *_common_notes(motors, seal),
        "" if seal.inner_diameter is not None else ring_that_fits(seal, _sealed(motors, seal)),
        *(gland_warnings(motors, situation.end, situation.maximum_expected_pressure, ring) if situation.end else ()),
    )


def _place_note(motors: Motors, end: str, rings: tuple[Seal, ...], ring: int, own: Array) -> str:
    """Which ring gas meets first, what one behind it is worth, and on which circle the load is taken."""
    if len(rings) == 1:
        return ""
    called = f"{rings[ring].name}: " if rings[ring].name else ""
    if ring == 0:
        told = (
            f"nearest the gas of {len(rings)} rings: hit first, and holds all of it until it lets go; those behind add no pressure"
        )
        across = {round(float(np.min(_sealed(motors, one))) * 1e3, 2) for one in rings}
        if len(across) > 1 and end:
            told += f"; the end load is taken on the widest sealing circle, {max(across):g} mm"
        return called + told
    before = float(np.min(_in_series(motors, end, ring - 1)))
    alone = float(np.min(own))
    worth = "a second barrier" if alone > before else "no stronger than what stands before it"
    return f"{called}{worth}: gas comes to it once seal {ring} has let go; alone it would hold {pressure_text(np.asarray(alone))}"


def advice_note(motors: Motors, situation: Situation, ring: int = 0) -> str:
    """What each maker's table allows for this ring in this gap, and whether its gland is one that any maker advises.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end; "" is the nozzle.
    ring : int
        Which ring of that part, counted from 0 at the gas.

    Returns
    -------
    str
        The words.
    """
    seal, limits = _limits(motors, situation.end, ring)
    names = [table.maker for table in MAKERS] + ["Ace Seal after ERIKS, by cross-section"]
    each = []
    for name, row in zip(names, limits, strict=True):
        if np.all(np.isfinite(row)):
            each.append(f"{name}: {pressure_text(row)}")
        elif float(np.max(_shore(seal))) <= 70.0:
            each.append(f"{name}: kept up to {pressure_text(np.asarray(BY_SECTION_AT))}, where it ends")
    ill = "no maker advises this gland: squeeze below 0.2 mm, or more ring than gland" if _ill_filled(seal).any() else ""
    return sentences(ill, "total diametral gap, for service", *each, *_common_notes(motors, seal))


def _common_notes(motors: Motors, seal: Seal) -> tuple[str, ...]:
    backup = seal.backup_rings is not None and float(np.max(seal.backup_rings)) > 0.0
    warmest = float(max(np.max(service_temperature(motors)), np.max(motors.ambient.soak)))
    hot = f", which hold up to {TABLES_HOLD_TO - ZERO_CELSIUS:.0f} °C" if warmest > TABLES_HOLD_TO else ""
    return (
        "silicone: half the gap allowed" if _is_silicone(seal) else "",
        "with a backup ring, taken as 90 Shore A" if backup else "",
        f"rubber at {warmest - ZERO_CELSIUS:.0f} °C at most, by the tables{hot}" if hot else "",
    )


def _mm(length: Array) -> str:
    value = float(np.max(length))
    return f"{value * 1e3:.3f} mm ({value / 0.0254:.4f} in)"
