"""Rungs that march heat, asked of outsides inside their block, so that the verdict is stored with it.

Owns how a late rung is asked of a batch, and the verdict on outsides where late rungs read no inner variable: what each
limit breaks, counted alone, and the lowest pressure of these rungs. May import the catalogue, limits and physics.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates.catalogue import Term, limit_name
from optimizer.candidates.limits import Rules
from physics.motors import Figures, Motors

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

PART = 1024
"""Outsides of which histories and marches are held at a time."""


@dataclass(frozen=True)
class Heated:
    """What late rungs say of outsides: which fail, by the limit's name, and the lowest pressure of these rungs. [Pa]"""

    fails: Mapping[str, Mask]
    floor: Floats

    @property
    def ok(self) -> Mask:
        """Which outsides break none of the limits."""
        broken = np.logical_or.reduce([np.zeros(len(self.floor), dtype=bool), *self.fails.values()])
        return np.asarray(~broken, dtype=bool)


def asked(
    term: Term, motors: Motors, figures: Figures, expected: Floats, enough: Floats | None = None, verdict: bool = False
) -> tuple[Floats, Floats]:
    """A late rung's values (a pressure or a time) and its factors, (n,) each; a pressure over `enough` may be infinite.

    With `verdict` a value that fails need not be the lowest.
    """
    value = term.pressure(motors, figures, expected, enough, term.required if verdict else None)
    with np.errstate(all="ignore"):
        factor = np.broadcast_to(value / (expected if term.lasts is None else figures[term.lasts]), (motors.size,))
    return value, factor


def what_matters(terms: Sequence[Term], rules: Rules, expected: Floats, weakest: Floats | float) -> Floats | None:
    """The pressure from which on a late rung neither fails nor lowers a smallest factor, (n,); None where each value does.

    `weakest` is the lowest pressure of all other rungs, at least. [Pa]
    """
    smallest = rules.smallest_factor
    if smallest is not None and smallest.maximum is not None:
        return None
    required = max((term.required for term in terms if term.lasts is None), default=0.0)
    return np.asarray(np.fmax(weakest, max(required, (smallest.minimum or 0.0) if smallest is not None else 0.0) * expected))


def weakest_factor(floor: Floats, expected: Floats) -> Floats:
    """The smallest factor that late rungs leave, (n,); the greatest number where there is none."""
    return np.where(np.isinf(floor), np.finfo(float).max, floor / expected)


def heated(
    terms: Sequence[Term],
    rules: Rules,
    motors: Motors,
    expected: Floats,
    weakest: Floats,
    burn: Callable[[Integers], Figures],
) -> Heated:
    """The verdict of late terms on motors at their maximum expected pressures (n,), every rung asked of every motor.

    `weakest` is the lowest pressure of all other rungs with the best pattern: what lies over it lowers no smallest factor,
    and counts as infinite. `burn` gives the figures of some of the motors with their histories.
    """
    matters, smallest = what_matters(terms, rules, expected, weakest), rules.smallest_factor
    fails = {limit_name(rules, term.mode): np.zeros(motors.size, dtype=bool) for term in terms}
    floor = np.full(motors.size, np.inf)
    for start in range(0, motors.size, PART):
        rows = np.arange(start, min(start + PART, motors.size))
        some, figures, pressure = motors.take(rows), burn(rows), expected[rows]  # the same objects for every rung
        enough = None if matters is None else matters[rows]
        for term in terms:
            value, factor = asked(term, some, figures, pressure, enough, verdict=True)
            fails[limit_name(rules, term.mode)][rows] |= ~(factor >= term.required)
            if term.lasts is None:
                floor[rows] = np.fmin(floor[rows], value)
    if smallest is not None:
        fails[smallest.name] = smallest.fails(weakest_factor(floor, expected))
    # Of what passes, whether it was worked out or not: what is stored does not depend on what was marched.
    return Heated(fails, floor if matters is None else np.where(floor < matters, floor, np.inf))


__all__ = ["Heated", "asked", "heated", "weakest_factor", "what_matters"]
