"""O-rings: sizes, gland proportions, and extrusion into a gap that the pressure itself opens.

Owns the AS568 sizes, squeeze, fill and stretch with their bands, and the mode `seal extrusion`.
Sources: AS568, Parker ORD 5700, Trelleborg, each beside its numbers. Imports numpy and, from
physics, case, constants, modes, motors, screws and threads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.case import closure, dilation, pressure_text, sentences
from physics.constants import ZERO_CELSIUS
from physics.modes import NotComputable
from physics.motors import Array, Motors, Seal, Situation
from physics.screws import Proportion
from physics.threads import INCH

MILLIMETRE = 1e-3
MEGAPASCAL = 1e6


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


def as568(dash: int | str) -> RingSize:
    """The size of an AS568 dash number such as 228, "-228" or "AS568-228".

    Raises KeyError for a number outside -010 to -464 or in a gap of the standard.

    >>> ring = as568("-228")
    >>> round(ring.inner_diameter / 0.0254, 3), round(ring.cross_section / 0.0254, 3)
    (2.234, 0.139)
    """
    text = str(dash).strip().casefold().removeprefix("as568").lstrip("a- ")
    number = int(text) if text.isdigit() else -1
    found = _as568_table().get(number)
    if found is None:
        runs = "-010 to -050, -110 to -178, -201 to -274, -309 to -381, -425 to -464"
        raise KeyError(f"no AS568 size {dash!r}; known are {runs}")
    return found


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
    """Share of the cross-section that the gland takes, 1 − L/CS; L from groove floor to bore. Any length unit. [-]"""
    return np.asarray(1.0 - np.divide(gland_depth, cross_section))


def stretch(groove_diameter: Array, inner_diameter: Array) -> Array:
    """How far the ring is stretched over its groove, groove diameter over inside diameter less 1. [-]"""
    return np.asarray(np.divide(groove_diameter, inner_diameter) - 1.0)


def gland_fill(cross_section: Array, gland_depth: Array, gland_width: Array) -> Array:
    """Ring's cross-section over the gland's, (π/4)·CS²/(G·L). [-]"""
    return np.asarray(0.25 * np.pi * np.square(cross_section) / (np.asarray(gland_width) * gland_depth))


# Parker ORD 5700 Design Chart 4-2, static radial glands (read at second hand): cross-section, squeeze from, to.
_SQUEEZE_BANDS = (
    (0.070, 0.22, 0.32), (0.103, 0.17, 0.24), (0.139, 0.16, 0.23), (0.210, 0.15, 0.21), (0.275, 0.15, 0.20),
)
_CHART = "Parker ORD 5700 Design Chart 4-2, read at second hand"


def squeeze_band(cross_section: Array) -> tuple[float, float]:
    """Least and greatest squeeze for a static radial gland, at the nearest standard cross-section [m]."""
    thick = float(np.median(cross_section)) / INCH
    _, low, high = min(_SQUEEZE_BANDS, key=lambda row: abs(row[0] - thick))
    return low, high


def gland_figures(seal: Seal, bore: Array, growth: Array | float = 0.0) -> tuple[Proportion, ...]:
    """Squeeze, squeeze under pressure, fill and stretch of a gland with their bands.

    `bore` [m] is the diameter the ring seals against, `growth` [m] the radial growth of that bore. Fill needs
    `gland_width` and stretch `inner_diameter`; what is not given is left out. Bands: Parker Design Chart 4-2 for
    squeeze, 60 to 85 % fill and 0 to 5 % stretch (makers' practice, read at second hand).
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


def gland_warnings(motors: Motors, end: str, pressure: Array | None = None) -> list[str]:
    """What is wrong with the gland of one end of a single motor, its squeeze taken at `pressure` [Pa] too."""
    part = closure(motors, end)
    if part.seal is None or motors.case is None:
        return []
    bore = part.seal.diameter if part.seal.diameter is not None else motors.case.bore
    growth: Array | float = 0.0
    if pressure is not None:
        try:
            growth = dilation(motors, pressure)
        except NotComputable:
            growth = 0.0
    warnings = [figure.warning() for figure in gland_figures(part.seal, bore, growth)]
    warnings += [_backup_warning(part.seal, pressure), _cold_warning(motors, part.seal)]
    return [text for text in warnings if text]


def _backup_warning(seal: Seal, pressure: Array | None) -> str:
    """Where a maker would ask for a backup ring that is not there."""
    has_backup = seal.backup_rings is not None and float(np.max(seal.backup_rings)) > 0.0
    if pressure is None or has_backup or float(np.max(seal.gap)) <= NEARLY_CLOSED:
        return ""
    if not float(np.max(pressure)) > BACKUP_ADVISED:
        return ""
    return (
        f"above {pressure_text(np.asarray(BACKUP_ADVISED))} a backup ring is advised unless the gap is nearly closed "
        "(Parker ORD 5700 section 4.0, read at second hand)"
    )


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

EXTRUSION_CONSTANT = 1500.0 * 6894.757293168 * 0.008 * INCH
"""Pressure times total diametral gap that a 70 Shore A ring bears, low edge of the band remembered. [N/m]"""

UPPER_EDGE = 0.010 / 0.008
"""Upper over lower edge of that band, in gap."""

BACKUP_ADVISED = 1500.0 * 6894.757293168
"""Above this makers advise a backup ring unless the gap is nearly closed; Parker ORD 5700 section 4.0, read at second
hand. [Pa]"""

NEARLY_CLOSED = 0.0005 * INCH
"""Radial gap taken for nearly closed: our judgement. [m]"""

HARDNESS_RANGE = (65.0, 95.0)
WIDEST_DIAMETRAL_GAP = 0.040 * INCH
"""Where the chart ends. [m]"""

# A second maker's table, static seals in continuous duty: radial gap [mm] a ring of 3 to 5 mm bears at so many MPa.
# Trelleborg O-ring catalogue, remembered.
_SECOND_MAKER = {
    70.0: ((3.5, 0.10), (7.0, 0.08), (10.5, 0.05)),
    90.0: ((3.5, 0.20), (7.0, 0.15), (10.5, 0.10), (14.0, 0.08), (17.5, 0.07), (21.0, 0.05), (35.0, 0.03)),
}


def extrusion_constant(hardness: Array, backup_rings: Array | float = 0.0, factor: Array | float = 1.0) -> Array:
    """Pressure times total diametral gap [N/m] that an O-ring of this hardness [Shore A] bears.

    Low edge of the band of Parker ORD 5700 Fig 3-2 (remembered, a band and no equality): 70 Shore A bears 1500 psi
    across 0.008 to 0.010 in, 90 Shore A about twice that at the same gap, and the curves fall about as 1/gap. Valid for
    65 to 95 Shore A (NaN outside), gaps up to 0.040 in, up to 71 °C, 100 000 cycles in the chart. A backup ring counts
    as 90 Shore A. `factor` 0.5 for silicone (halve the gap, ORD 5700 section 4, read at second hand).

    >>> float((extrusion_constant(70.0) / (0.008 * 0.0254) / 6894.757293168).round(6))
    1500.0
    """
    shore = np.where(np.asarray(backup_rings) > 0.0, np.maximum(hardness, 90.0), hardness)
    inside = (shore >= HARDNESS_RANGE[0]) & (shore <= HARDNESS_RANGE[1])
    return np.where(inside, factor * EXTRUSION_CONSTANT * np.exp2((shore - 70.0) / 20.0), np.nan)


def extrusion_pressure(constant: Array, gap: Array, growth_per_pressure: Array) -> Array:
    """Pressure [Pa] at which an O-ring extrudes into a gap that grows with pressure. Broadcasts.

    Solves p·2·(g + g'·p) = `constant` [N/m] for the radial gap g [m] at rest and its growth g' [m/Pa]: the positive
    root of a quadratic, written so that it holds for g' = 0 and for g = 0. The growth is that of the tube far from its
    ends; where pressure stops at the seal the tube grows half of it, and all of it only at a free end (Timoshenko,
    Theory of Plates and Shells, long cylinder under a step of pressure), so that the gap is never taken too small.

    >>> float(extrusion_pressure(2000.0, 1e-4, 0.0))
    10000000.0
    """
    rest, rise = 2.0 * np.asarray(gap, dtype=float), 2.0 * np.asarray(growth_per_pressure, dtype=float)
    return np.asarray(2.0 * constant / (rest + np.sqrt(rest * rest + 4.0 * rise * constant)))


def second_maker_gap(pressure: Array, hardness: float) -> Array:
    """Radial gap [m] that a second maker allows at a pressure [Pa] for 70 or 90 Shore A; NaN above its table.

    Trelleborg O-ring catalogue, cross-sections of 3 to 5 mm, continuous duty (remembered); linear between its rows.
    """
    at, gap = np.array(_SECOND_MAKER[70.0 if hardness < 90.0 else 90.0]).T
    return np.asarray(np.interp(np.asarray(pressure) / MEGAPASCAL, at, gap, right=np.nan) * MILLIMETRE)


def _seal(motors: Motors, end: str) -> Seal:
    part = closure(motors, end)
    if part.seal is None:
        raise NotComputable(f"[{end}_closure.seal] is not given")
    return part.seal


def _is_silicone(seal: Seal) -> bool:
    return seal.material is not None and seal.material.name == "silicone"


def seal_extrusion(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the O-ring of one end extrudes into its gap, the bore grown by that same pressure. [Pa]

    A second ring adds no pressure: the first one holds it all until it fails. NaN where the hardness or the gap that
    opens lies outside the chart; NotComputable where all do.
    """
    seal = _seal(motors, situation.end)
    backup = 0.0 if seal.backup_rings is None else seal.backup_rings
    constant = extrusion_constant(seal.hardness, backup, 0.5 if _is_silicone(seal) else 1.0)
    if np.all(np.isnan(constant)):
        low, high = HARDNESS_RANGE
        key = f"{situation.end}_closure.seal.hardness"
        raise NotComputable(f"{key} is outside the chart, {low:.0f} to {high:.0f} Shore A")
    growth = dilation(motors, np.asarray(1.0))
    pressure = extrusion_pressure(constant, seal.gap, growth)
    wide = 2.0 * (seal.gap + growth * pressure) > WIDEST_DIAMETRAL_GAP
    if np.all(wide):
        raise NotComputable(f"{situation.end}_closure.seal.gap, with the case grown, is wider than the chart goes")
    return np.where(wide, np.nan, pressure)


def seal_note(motors: Motors, situation: Situation) -> str:
    """The gap at that pressure, what two rings do, the second maker, and what is wrong with the gland."""
    seal = _seal(motors, situation.end)
    extruded = seal_extrusion(motors, situation)
    grown = dilation(motors, extruded)
    upper = extrusion_pressure(
        UPPER_EDGE * 2.0 * extruded * (seal.gap + grown), seal.gap, dilation(motors, np.asarray(1.0))
    )
    backup = seal.backup_rings is not None and float(np.max(seal.backup_rings)) > 0.0
    return sentences(
        f"radial gap {_mm(seal.gap)} at rest and {_mm(grown)} more at that pressure",
        f"upper edge of the band {pressure_text(upper)}",
        "a second ring adds no pressure" if np.max(seal.rings) > 1.5 else "",
        "silicone: half the gap allowed" if _is_silicone(seal) else "",
        "with a backup ring, taken as 90 Shore A" if backup else "",
        _second_note(motors, seal, backup),
        *gland_warnings(motors, situation.end, situation.maximum_expected_pressure),
    )


def _second_note(motors: Motors, seal: Seal, backup: bool) -> str:
    """The pressure by the second maker's table, found where the allowed and the grown gap meet."""
    trial = np.linspace(3.5, 35.0, 631) * MEGAPASCAL
    hard = float(np.min(seal.hardness))
    allowed = second_maker_gap(trial, hard)
    room = allowed - (float(np.max(seal.gap)) + dilation(motors, np.asarray(1.0)) * trial)
    held = trial[np.ravel(room) >= 0.0]
    name = "for continuous duty Trelleborg's table (3 to 5 mm rings, remembered)"
    if not held.size:
        return f"{name} allows no such gap at {pressure_text(np.asarray(3.5e6))}"
    end = float(held[-1])
    last = float(trial[~np.isnan(allowed)][-1])
    at_end = " and ends there" if end >= last else ""
    without = " without the backup ring" if backup else ""
    return f"{name} gives {pressure_text(np.asarray(end))}{at_end}{without}"


def _mm(length: Array) -> str:
    value = float(np.max(length))
    return f"{value * 1e3:.3f} mm ({value / 0.0254:.4f} in)"
