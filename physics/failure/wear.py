"""What a case shows after it has been used, against what yield would leave.

Owns the log of uses of one set of hardware and its comparison with the permanent set that defines a yield strength. Fatigue,
corrosion and ageing by heat are not in any model here. Sources: definitions of the offset yield strengths, each beside its
number. Imports numpy and, from physics, case, missing and motors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from physics.failure.case import case_yield
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, Situation, Use

OFFSET = 0.002
"""Permanent strain at which a metal is said to have yielded, 0.2 %; definition of the proof strength, ISO 6892-1 (remembered)."""
HOLE_OFFSET = 0.02
"""Permanent growth of a hole over the pin's diameter at which it is said to have yielded in bearing, 2 %; definition of the
bearing yield strength, MIL-HDBK-5J 1.4.7.1 (remembered)."""
FELT = 0.25
"""Part of what yield leaves from which on a growth is told as more than a caliper's doubt; our judgement."""

NEW = "new"
"""The entry of the log that says how large the hardware was as it came."""

RETIRE = (
    "a bulge that can be measured or felt",
    "a hole that is long, cracked or torn, or a groove or thread that is",
    "a bore that is scored, pitted or burned where a ring seals",
    "bright metal gone dull or coloured, or paint burned: heat has softened it",
    "a crack or a dent anywhere, and any crack beside a weld",
    "a firing above its proof pressure, or a history that nobody knows",
)
"""Why cases are retired, any one of these; common practice, no source."""


@dataclass(frozen=True)
class Worn:
    """One measured growth against what yield would leave there: `measured` and `leaves` [m]. `against_drawing`: from what is
    drawn, since nobody measured it new; a tube as bought is off by more.
    """

    what: str
    measured: float
    leaves: float
    against_drawing: bool = False

    @property
    def share(self) -> float:
        """Measured growth over that of yield. [-] By definition."""
        return self.measured / self.leaves if self.leaves > 0.0 else np.inf


def yield_bulge(motors: Motors) -> Array:
    """Growth of the outside diameter that a case keeps which has just yielded, 0.002·D.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Array
        [m], (n,).

    Notes
    -----
    The permanent set round the tube that defines its yield strength. A tube with closed ends that reaches that strength by
    von Mises keeps somewhat less round it: what is measured up to here has yielded or nearly so.

    References
    ----------
    `OFFSET`.

    Examples
    --------
    50 mm: 0.1 mm.
    """
    return np.asarray(OFFSET * need(motors, "case.outer_diameter"))


def yield_hole_growth(motors: Motors, end: str) -> Array:
    """Growth of a screw hole that has just yielded in bearing, 0.02·d of its screw.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Array
        [m], (n,).

    References
    ----------
    `HOLE_OFFSET`.
    """
    return np.asarray(HOLE_OFFSET * need(motors, f"{end}_closure.screws.diameter"))


def worn(motors: Motors) -> list[Worn]:
    """The largest growths of a single motor's log against what yield would leave.

    Parameters
    ----------
    motors : Motors
        A batch of one, SI.

    Returns
    -------
    list of Worn
        Growths [m]; what cannot be compared is left out. Source: `yield_bulge`, `yield_hole_growth`.
    """
    found, uses = [], motors.wear
    outside = [use.outer_diameter for use in uses if use.outer_diameter is not None and use.what != NEW]
    if outside and motors.case is not None:
        new = as_new(motors)
        base = float(np.ravel(motors.case.outer_diameter)[0]) if new is None else new
        found.append(Worn("bulge", max(outside) - base, float(np.ravel(yield_bulge(motors))[0]), against_drawing=new is None))
    for end in ("forward", "aft"):
        grown = [use.hole_growth for use in uses if use.hole_growth is not None and use.end in (end, "")]
        if not grown:
            continue
        try:
            leaves = float(np.ravel(yield_hole_growth(motors, end))[0])
        except NotComputable:
            continue
        found.append(Worn(f"hole elongation, {end}", max(grown), leaves))
    return found


def as_new(motors: Motors) -> float | None:
    """Outside of a single motor's tube as it came.

    Parameters
    ----------
    motors : Motors
        A batch of one, SI.

    Returns
    -------
    float or None
        [m]; None where the log does not say. By definition.
    """
    given = [use.outer_diameter for use in motors.wear if use.what == NEW and use.outer_diameter is not None]
    return given[0] if given else None


def bulging_pressure(motors: Motors) -> float | None:
    """Head pressure from which a single motor's case keeps a bulge, as drawn.

    Parameters
    ----------
    motors : Motors
        A batch of one, SI.

    Returns
    -------
    float or None
        [Pa]; None where it is not known. Source: the ladder's case yield.
    """
    try:
        value = float(np.ravel(case_yield(motors, Situation()))[0])
    except NotComputable:
        return None
    return value if np.isfinite(value) else None


def cycles(uses: Sequence[Use], what: str) -> int:
    """How many uses of one kind the log counts.

    Parameters
    ----------
    uses : sequence of Use
        The log.
    what : str
        The kind.

    Returns
    -------
    int
    """
    return sum(use.count for use in uses if use.what == what)
