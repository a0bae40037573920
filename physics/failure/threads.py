"""Threads: sizes, limits, and the four areas of one screw.

Owns the geometry of 60 degree threads, unified and metric, with their tolerances, and the table of screw sizes.
Imports numpy and `physics.motors`.

Four areas of one screw are told apart here: the shank, the tensile stress area, the basic minor area and the minimum
minor area that tolerances allow. Taking one for another moves a shear strength by up to two.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from physics.motors import Array

INCH = 0.0254
_H = np.sqrt(3.0) / 2.0
"""Height of the sharp 60 degree vee over the pitch."""


# --- sizes -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ScrewSize:
    """One screw size: lengths m; `clearance_hole` is the close fit."""

    designation: str
    diameter: float
    pitch: float
    metric: bool
    clearance_hole: float


# Unified sizes: number or fraction -> (major diameter, close-fit clearance drill) in inches; ASME B1.1, and the close
# fit of ASME B18.2.8 as the trade drills it (remembered; #10 -> #9 drill, 0.196 in).
_UNIFIED = {
    "#2": (0.086, 0.0890),
    "#4": (0.112, 0.1160),
    "#5": (0.125, 0.1285),
    "#6": (0.138, 0.1440),
    "#8": (0.164, 0.1695),
    "#10": (0.190, 0.1960),
    "#12": (0.216, 0.2210),
    "1/4": (0.250, 0.2570),
    "5/16": (0.3125, 0.3230),
    "3/8": (0.375, 0.3860),
    "7/16": (0.4375, 0.4531),
    "1/2": (0.500, 0.5156),
}
_UNIFIED_THREADS = {
    "#2": (56, 64),
    "#4": (40, 48),
    "#5": (40, 44),
    "#6": (32, 40),
    "#8": (32, 36),
    "#10": (24, 32),
    "#12": (24, 28),
    "1/4": (20, 28),
    "5/16": (18, 24),
    "3/8": (16, 24),
    "7/16": (14, 20),
    "1/2": (13, 20),
}  # coarse, fine: ASME B1.1
# Metric: diameter -> (coarse pitch, fine pitches, fine-series clearance hole of ISO 273) in mm; ISO 261 (remembered).
_METRIC: dict[float, tuple[float, tuple[float, ...], float]] = {
    2.0: (0.4, (0.25,), 2.2),
    2.5: (0.45, (0.35,), 2.7),
    3.0: (0.5, (0.35,), 3.2),
    4.0: (0.7, (0.5,), 4.3),
    5.0: (0.8, (0.5,), 5.3),
    6.0: (1.0, (0.75,), 6.4),
    8.0: (1.25, (1.0, 0.75), 8.4),
    10.0: (1.5, (1.25, 1.0, 0.75), 10.5),
    12.0: (1.75, (1.5, 1.25, 1.0), 13.0),
    14.0: (2.0, (1.5,), 15.0),
    16.0: (2.0, (1.5, 1.0), 17.0),
}


# Hexagon across flats of set screws: inches by number or fraction, ASME B18.3; mm by diameter, ISO 4026 (both remembered).
_SOCKETS = {
    "#2": 0.035, "#4": 0.050, "#5": 0.0625, "#6": 0.0625, "#8": 0.078125, "#10": 0.09375, "1/4": 0.125, "5/16": 0.15625,
    "3/8": 0.1875, "7/16": 0.21875, "1/2": 0.25,
}  # fmt: skip
_METRIC_SOCKETS = {2.0: 0.9, 2.5: 1.3, 3.0: 1.5, 4.0: 2.0, 5.0: 2.5, 6.0: 3.0, 8.0: 4.0, 10.0: 5.0, 12.0: 6.0, 16.0: 8.0}


def set_screw_socket(size: ScrewSize) -> float | None:
    """Width across flats of the socket of a set screw of one size.

    Parameters
    ----------
    size : ScrewSize
        The screw.

    Returns
    -------
    float or None
        [m]; None where no table has it.

    References
    ----------
    The tables above: ASME B18.3, ISO 4026 (remembered).

    Examples
    --------
    >>> round(set_screw_socket(screw_size("#10-24")) / 0.0254, 5)
    0.09375
    """
    if size.metric:
        found = _METRIC_SOCKETS.get(round(size.diameter * 1e3, 3))
        return None if found is None else found / 1e3
    found = _SOCKETS.get(size.designation.split("-")[0])
    return None if found is None else found * INCH


def screw_size(designation: str) -> ScrewSize:
    """The size of a designation such as "#10-24 UNC", "1/4-20", "M5" or "M6x1"; case and spaces do not matter.

    Parameters
    ----------
    designation : str
        As a builder writes it.

    Returns
    -------
    ScrewSize
        Lengths [m].

    Raises
    ------
    KeyError
        Whose text gives the nearest sizes.

    References
    ----------
    The tables above: ASME B1.1, ISO 261 (remembered).

    Examples
    --------
    >>> size = screw_size("#10-24 UNC")
    >>> round(size.diameter / 0.0254, 3), round(size.clearance_hole / 0.0254, 3), size.metric
    (0.19, 0.196, False)
    >>> screw_size("M5").designation
    'M5x0.8'
    """
    plain = re.sub(r"\s+", "", designation.replace("×", "x").casefold()).replace("no.", "#")
    plain = re.sub(r"(unc|unf|un|-2a|-3a|-6g)+$", "", plain)
    found = _sizes().get(plain)
    if found is None:
        near = difflib.get_close_matches(plain, _sizes(), n=4, cutoff=0.4)
        offered = ", ".join(dict.fromkeys(_sizes()[name].designation for name in near)) or "#10-24 UNC, M5x0.8"
        raise KeyError(f"no screw size {designation!r}; did you mean {offered}?")
    return found


def screw_sizes() -> list[ScrewSize]:
    """Every size known, unified then metric, smallest first."""
    return list({size.designation: size for size in _sizes().values()}.values())


@lru_cache(maxsize=1)
def _sizes() -> dict[str, ScrewSize]:
    known: dict[str, ScrewSize] = {}
    for name, (diameter, hole) in _UNIFIED.items():
        for series, threads in zip(("UNC", "UNF"), _UNIFIED_THREADS[name], strict=True):
            size = ScrewSize(f"{name}-{threads} {series}", diameter * INCH, INCH / threads, False, hole * INCH)
            known[f"{name}-{threads}"] = size
    for bore, (coarse, fine, hole) in _METRIC.items():
        for pitch in (coarse, *fine):
            size = ScrewSize(f"M{bore:g}x{pitch:g}", bore / 1000.0, pitch / 1000.0, True, hole / 1000.0)
            known[f"m{bore:g}x{pitch:g}"] = size
            if pitch == coarse:
                known[f"m{bore:g}"] = size
    return known


# --- thread geometry -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ThreadLimits:
    """Limits of a 60 degree thread, m: external major, pitch and minor minimum; internal pitch and minor maximum."""

    major_minimum: Array
    pitch_minimum: Array
    minor_minimum: Array
    internal_pitch_maximum: Array
    internal_minor_maximum: Array


def basic_pitch_diameter(diameter: ArrayLike, pitch: ArrayLike) -> Array:
    """Basic pitch diameter of a 60 degree thread.

    Parameters
    ----------
    diameter, pitch : ArrayLike
        [m].

    Returns
    -------
    Array
        d − 0.75·H, H = 0.866025·P [m]; broadcasts.

    References
    ----------
    ASME B1.1, ISO 724.
    """
    return np.asarray(np.asarray(diameter) - 0.75 * _H * np.asarray(pitch))


def root_diameter(diameter: ArrayLike, pitch: ArrayLike, metric: ArrayLike = False) -> Array:
    """Basic root diameter of the screw.

    Parameters
    ----------
    diameter, pitch : ArrayLike
        [m].
    metric : ArrayLike
        True for ISO metric, False for unified threads.

    Returns
    -------
    Array
        D − 1.299038·P unified (UNR), d − 1.226869·P metric [m]; broadcasts.

    References
    ----------
    ASME B1.1 and ISO 898-1 (remembered).
    """
    depth = np.where(np.asarray(metric, dtype=bool), 1.226869, 1.299038)
    return np.asarray(np.asarray(diameter) - depth * np.asarray(pitch))


def unified_limits(diameter: ArrayLike, pitch: ArrayLike, engagement: ArrayLike | None = None) -> ThreadLimits:
    """Class 2A and 2B limits of a unified thread from the tolerance formulas.

    Parameters
    ----------
    diameter, pitch : ArrayLike
        [m].
    engagement : ArrayLike, optional
        [m]; the diameter where left out.

    Returns
    -------
    ThreadLimits
        [m]; broadcasts.

    Notes
    -----
    In inches: Td2 = 0.0015·(D^⅓ + LE^½ + 10·P^⅔), allowance 0.3·Td2, Td = 0.060·P^⅔, TD2 = 1.3·Td2; minor of the internal thread
    0.05·P^⅔ + 0.03·P/D − 0.002 below 1/4 in, else 0.25·P − 0.4·P². Within 0.0005 in of the tables.

    References
    ----------
    ASME B1.1 (read at second hand; the minor-diameter rule remembered).
    """
    major, step = np.asarray(diameter) / INCH, np.asarray(pitch) / INCH
    length = major if engagement is None else np.asarray(engagement) / INCH
    fine = np.cbrt(step * step)
    tolerance = 0.0015 * (np.cbrt(major) + np.sqrt(length) + 10.0 * fine)
    allowance, middle = 0.3 * tolerance, major - 0.75 * _H * step
    small = 0.05 * fine + 0.03 * step / major - 0.002
    large = np.where(step <= 0.25, 0.25 * step - 0.4 * step**2, 0.15 * step)
    inside = np.where(major < 0.25, np.minimum(small, 0.394 * step), large)
    pitch_minimum = middle - allowance - tolerance
    return ThreadLimits(
        major_minimum=np.asarray((major - allowance - 0.060 * fine) * INCH),
        pitch_minimum=np.asarray(pitch_minimum * INCH),
        minor_minimum=np.asarray((pitch_minimum - 0.75 * _H * step) * INCH),
        internal_pitch_maximum=np.asarray((middle + 1.3 * tolerance) * INCH),
        internal_minor_maximum=np.asarray((major - 1.25 * _H * step + inside) * INCH),
    )


_METRIC_RANGES = np.array([0.99, 1.4, 2.8, 5.6, 11.2, 22.4, 45.0, 90.0, 180.0, 355.0])


def metric_minor_minimum(diameter: ArrayLike, pitch: ArrayLike) -> Array:
    """Least minor diameter of an ISO metric screw of tolerance class 6g.

    Parameters
    ----------
    diameter, pitch : ArrayLike
        [m].

    Returns
    -------
    Array
        [m]; broadcasts.

    Notes
    -----
    In µm, P and d in mm: allowance 15 + 11·P, Td2 = 90·P^0.4·d^0.1 with d the geometric mean of its diameter range; root radius
    0.125·P, which lies 0.61603·P under the pitch diameter.

    References
    ----------
    ISO 965-1 and ASME B1.13M (remembered).
    """
    d, p = np.asarray(diameter) * 1e3, np.asarray(pitch) * 1e3
    index = np.clip(np.searchsorted(_METRIC_RANGES, d, side="left"), 1, len(_METRIC_RANGES) - 1)
    mean = np.sqrt(_METRIC_RANGES[index - 1] * _METRIC_RANGES[index])
    tolerance = 90.0 * p**0.4 * mean**0.1
    pitch_minimum = d - 0.75 * _H * p - (15.0 + 11.0 * p + tolerance) * 1e-3
    return np.asarray((pitch_minimum - 0.61603 * p) * 1e-3)


@dataclass(frozen=True)
class ThreadAreas:
    """Cross-sections of one screw, m2: plain shank, tensile stress area, basic and least minor-diameter area."""

    shank: Array
    tensile_stress: Array
    basic_minor: Array
    minimum_minor: Array


def areas(diameter: ArrayLike, pitch: ArrayLike, metric: ArrayLike = False) -> ThreadAreas:
    """The four areas of a screw.

    Parameters
    ----------
    diameter, pitch : ArrayLike
        [m].
    metric : ArrayLike
        1 or 0; which standard the thread follows.

    Returns
    -------
    ThreadAreas
        [m2]; broadcasts.

    Notes
    -----
    Stress area 0.7854·(d − 0.9743·P)² unified (up to 180 ksi) and (π/4)·((d2 + d3)/2)² metric. Least minor area from class 2A or
    6g tolerances.

    References
    ----------
    FED-STD-H28/2B Table II.B.1, form 1b (read); ISO 898-1 (remembered).

    Examples
    --------
    >>> quarter = areas(0.25 * 0.0254, 0.0254 / 20)
    >>> [round(float(a) / 0.0254**2, 5) for a in (quarter.shank, quarter.tensile_stress, quarter.minimum_minor)]
    [0.04909, 0.03182, 0.0255]
    """
    d, p, is_metric = np.asarray(diameter, dtype=float), np.asarray(pitch, dtype=float), np.asarray(metric, dtype=bool)
    root = root_diameter(d, p, is_metric)
    stress = np.where(is_metric, 0.5 * (basic_pitch_diameter(d, p) + root), d - 0.9743 * p)
    least = np.where(is_metric, metric_minor_minimum(d, p), unified_limits(d, p).minor_minimum)
    quarter = 0.25 * np.pi
    return ThreadAreas(
        np.asarray(quarter * d * d),
        np.asarray(quarter * stress * stress),
        np.asarray(quarter * root * root),
        np.asarray(quarter * least * least),
    )
