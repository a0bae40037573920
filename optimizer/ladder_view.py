"""The failure ladder of one motor as every output shows it: its rungs in order as plain numbers, the scale of its bars, and
whether the motor holds.

Terminal, pages, drawings, JSON, frames and comparisons read a rung here and nowhere else. Imports cautions, numpy and
physics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.cautions import NOT_DESCRIBED
from physics.assessment import Assessment
from physics.failure.ladder import in_order
from physics.motors import Ladder, Rung

FARTHEST = 5.0
"""A scale of bars ends at this many times what is expected: a rung far above would press all others into a corner."""


@dataclass(frozen=True)
class RungView:
    """One rung of one motor, SI: `pressure` [Pa] or `time` [s], None where it is not of that kind; NaN is outside the model.

    `required` is None of advice, of which nothing is asked; a time that is never reached is infinite. `rung` is what it
    was read from.
    """

    rung: Rung
    pressure: float | None
    time: float | None
    factor: float
    required: float | None
    ok: bool
    likely: float | None
    band: tuple[float | None, ...]

    @property
    def mode(self) -> str:
        """What happens."""
        return self.rung.mode

    @property
    def part(self) -> str:
        """To which part."""
        return self.rung.part

    @property
    def kind(self) -> str:
        """What kind of failure it is."""
        return self.rung.kind

    @property
    def name(self) -> str:
        """Mode and part."""
        return f"{self.mode}, {self.part}"

    def row(self) -> dict[str, Any]:
        """Plain data, for pages and sheets."""
        return {
            "mode": self.mode,
            "part": self.part,
            "kind": self.kind,
            "pressure": self.pressure,
            "time": self.time,
            "factor": self.factor,
            "required": self.required,
            "ok": self.ok,
            "likely": self.likely,
            "band": list(self.band),
            "rests_on": self.rung.rests_on,
            "basis": self.rung.basis,
            "note": self.rung.note,
        }


def rungs_of(ladder: Ladder, index: int = 0) -> list[RungView]:
    """The rungs of the motor at `index` of a batch: pressures lowest first, then times, then advice."""
    return [_view(rung, index) for rung in in_order(ladder, index)]


def ladder_rows(ladder: Ladder, index: int = 0) -> list[dict[str, Any]]:
    """The rungs of `rungs_of` as plain data."""
    return [rung.row() for rung in rungs_of(ladder, index)]


def _view(rung: Rung, index: int) -> RungView:
    factor, required = _one(rung.factor, index), _one(rung.required, index)
    return RungView(
        rung,
        _one(rung.pressure, index),
        _one(rung.time, index),
        math.nan if factor is None else factor,
        required or None,
        bool(_one(rung.ok, index)),
        _one(rung.likely, index),
        tuple(_one(end, index) for end in rung.band),
    )


def _one(values: Any, index: int) -> float | None:
    if values is None:
        return None
    flat = np.atleast_1d(np.asarray(values, dtype=float)).ravel()
    return float(flat[index if flat.size > 1 else 0])


def bar_ceiling(values: Sequence[float], expected: float | None) -> float:
    """Where a scale of bars ends: at the highest rung, or at `FARTHEST` times what is expected if that is less.

    `values` and `expected` in one unit; what is not finite is left out.
    """
    finite = [value for value in values if math.isfinite(value)]
    top = 1.04 * max(finite, default=1.0)
    if expected is not None and math.isfinite(expected) and expected > 0:
        top = max(min(top, FARTHEST * expected), 1.3 * expected)
    return top if top > 0.0 else 1.0  # everything fails at nothing: any scale will do


def holds(assessment: Assessment) -> bool | None:
    """Whether all that was assessed of the first motor holds; None where nothing falls short and no rung could be assessed."""
    good = bool(np.ravel(assessment.ok)[0])
    return None if good and not assessment.ladder.rungs else good


def rung_names(rungs: Iterable[tuple[str, str]]) -> str:
    """Rungs (mode, part) as a builder would say them: modes of the same parts together, both closures once.

    >>> rung_names([("screw shear", "forward closure"), ("case burst", "case"), ("screw shear", "aft closure")])
    'screw shear (both closures), case burst (case)'
    """
    parts: dict[str, list[str]] = {}
    for mode, part in rungs:
        parts.setdefault(mode, []).append(part)
    modes: dict[str, list[str]] = {}
    for mode, where in parts.items():
        modes.setdefault(_part_names(where), []).append(mode)
    return ", ".join(f"{', '.join(named)} ({where})" if where else ", ".join(named) for where, named in modes.items())


def _part_names(parts: Sequence[str]) -> str:
    if {"forward closure", "aft closure"} <= set(parts):
        parts = ["both closures", *(part for part in parts if not part.endswith(" closure"))]
    return ", ".join(part for part in parts if part)


def verdict(
    short: Sequence[tuple[str, str]],
    *,
    rungs: int,
    missing: int,
    described: bool = True,
    stack_fits: bool = True,
    left: float = math.nan,
    in_airframe: bool = True,
    fits: bool = True,
) -> tuple[str, bool]:
    """Whether a motor holds, in sentences, and as a yes or no.

    Parameters
    ----------
    short : sequence of tuple of str
        Mode and part of the rungs that fall short, lowest first.
    rungs, missing : int
        How many rungs there are, and how many modes were not assessed.
    described : bool
        Whether the kernels describe the motor.
    stack_fits, in_airframe, fits : bool
        Whether the stack goes into its case at the worst corner of the tolerances, the motor into its airframe, and all of it
        together.
    left : float
        Room left in the case as drawn [m], NaN where it is not known.
    """
    words = [] if described else [NOT_DESCRIBED]
    words += [f"Falls short: {rung_names(short)}."] if short else []
    if not stack_fits:
        words.append(f"The stack is too long for its case{' at the worst corner of the tolerances' if left >= 0.0 else ''}.")
    words += [] if in_airframe else ["Does not fit the airframe."]
    words += ["Cannot be built."] if not words and not fits else []
    good = not words
    if good:
        words = ["Every rung assessed reaches its required factor." if rungs else "No rung of the ladder could be assessed."]
    if missing:
        words.append(f"{missing} {'mode' if missing == 1 else 'modes'} not assessed, listed below.")
    return " ".join(words), good


def brief_verdict(assessment: Assessment) -> str:
    """The verdict of the first motor in few words, for the head of a sheet whose rungs stand below it."""
    if not bool(np.ravel(assessment.described)[0]):
        return "outside the model: the port chokes"
    if bool(np.ravel(assessment.ok)[0]):
        return "every rung assessed reaches its required factor"
    if all(rung.ok for rung in rungs_of(assessment.ladder)):
        return "does not go together: see the cautions"
    return "falls short: see the rungs marked"
