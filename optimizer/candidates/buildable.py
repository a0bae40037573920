"""Where no candidate can be built at all: the smallest change of one thing, or of two, that lets one in.

A search in which geometry, a choked port or a propellant that goes out rules out every candidate has no limit that
could be relaxed; what helps is another range of a variable, or another dimension of the base motor. Both are tried
here by trying: each number of the study and each main dimension of the motor is moved over a wide grid, for some
candidates at once, and what is found is narrowed down. May import space, inputs and the kernel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates.space import Space, SpaceError
from optimizer.inputs.spans import Span, SpanValue
from optimizer.inputs.study import variable_spec
from optimizer.problems import InputError
from optimizer.units import from_si
from optimizer.vocabulary import SHORT_KEYS, KeySpec
from physics.ballistics import kernel as kernels

if TYPE_CHECKING:
    from optimizer.inputs import Study

Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

DIMENSIONS = ("grain_count", "grain_length", "core_diameter", "grain_outer_diameter", "throat_diameter", "exit_diameter",
              "case_length", "outer_diameter", "wall", "liner_thickness")  # fmt: skip
"""What is moved beside the study's own variables: the dimensions of the motor that decide whether it can be built."""
_MOVING = ("outer_diameter", "wall", "liner_thickness")
"""Dimensions with which others move in a search: the grains with the bore."""
STARTS = 24
"""Candidates that a change is tried from."""
WIDEST = 30.0
"""Factor up to which a dimension is moved, either way."""
STEPS, PAIR_STEPS = 240, 40
MOST = 5
"""Changes that are told."""


@dataclass(frozen=True)
class Step:
    """One value to change: the key, what it is now in the study or the motor (nearest end of a range), and what to make it.

    `searched` says that the change is one of the study: the motor file alone does not move what moves with the key.
    """

    key: str
    old: float
    new: float
    searched: bool

    @property
    def size(self) -> float:
        """How large the change is: the logarithm of the ratio; infinite from nothing to something."""
        return abs(math.log(self.new / self.old)) if self.old > 0.0 and self.new > 0.0 else math.inf

    def as_dict(self) -> dict[str, Any]:
        """As in pareto.json."""
        spec, _ = variable_spec(self.key)
        old, new = (int(v) if spec is not None and spec.kind == "whole" else v for v in (self.old, self.new))
        return {"key": self.key, "from": old, "to": new, "in": "study" if self.searched else "motor"}


@dataclass(frozen=True)
class Way:
    """Values that make a candidate buildable together, and the candidate's other variables.

    `study` is the study of that one candidate.
    """

    steps: tuple[Step, ...]
    variables: dict[str, Any]
    study: Study

    def as_dict(self) -> dict[str, Any]:
        """As in pareto.json."""
        return {"changes": [step.as_dict() for step in self.steps], "variables": self.variables}


def ways_in(space: Space, kernel: str) -> list[Way]:
    """The smallest changes that let a candidate be built and burn, the smallest first; pairs where no single one does.

    Nothing where a candidate can be built as it is.
    """
    starts = _starts(space)
    if buildable(space, starts, kernel).any():
        return []
    keys = [key for key in _keys(space) if _movable(space, key)]
    found = [way for key in keys if (way := _by_one(space, kernel, starts, key)) is not None]
    if not found:
        found = [way for pair in combinations(keys, 2) if (way := _by_two(space, kernel, starts, pair)) is not None]
    return sorted(found, key=lambda way: max(step.size for step in way.steps))[:MOST]


def _keys(space: Space) -> list[str]:
    """Numbers of the study, and the motor's own dimensions that none of them sets."""
    own = [variable.name for variable in space.variables if not variable.is_text and variable.values.min() > 0.0]
    taken = {SHORT_KEYS.get(name, name) for name in own}
    return own + [name for name in DIMENSIONS if SHORT_KEYS.get(name, name) not in taken]


def _movable(space: Space, key: str) -> bool:
    study = space.study
    if key == "grain_length" and study.grain_length_mode in ("fill", "neutral"):
        return False
    if (key == "case_length" and study.case_follows) or (key == "exit_diameter" and "expansion_ratio" in space.names):
        return False
    return key in space.names or _base_value(space, key) is not None


def _base_value(space: Space, key: str) -> float | None:
    spec, _ = variable_spec(key)
    if spec is None or not spec.column:
        return None
    value = space.study.motor.motors.value(spec.column)
    first = math.nan if value is None else float(np.asarray(value, dtype=float).ravel()[0])
    return first if math.isfinite(first) and first > 0.0 else None


def _starts(space: Space) -> Integers:
    """Candidates to start from: the ends of every variable with the rest at their first, and some at random."""
    rows = [[0] * len(space.variables), [radix - 1 for radix in space.radices]]
    for number, radix in enumerate(space.radices):
        for digit in {0, radix // 2, radix - 1}:
            rows.append([digit if place == number else 0 for place in range(len(space.radices))])
    draw = np.random.default_rng(0)
    rows += [[int(draw.integers(radix)) for radix in space.radices] for _ in range(STARTS)]
    rows = [list(row) for row in dict.fromkeys(map(tuple, rows))]
    keep = rows[:2] + [rows[place] for place in draw.permutation(np.arange(2, len(rows)))]
    return np.array(keep[:STARTS], dtype=np.int64).reshape(-1, len(space.variables)) if space.variables else np.zeros(
        (1, 0), dtype=np.int64)  # fmt: skip


def buildable(space: Space, digits: Integers, kernel: str) -> Mask:
    """Which candidates geometry allows, burn, and are within the model, (n,)."""
    good = np.zeros(len(digits), dtype=bool)
    for rows in space.groups(digits):
        try:
            found = space.candidates(digits[rows])
        except InputError:
            continue
        possible = found.possible
        if not possible.any():
            continue
        figures = kernels.evaluate(found.motors.take(possible), kernel)
        pressure = kernels.maximum_expected_pressure(found.motors.take(possible), kernel, figures)
        burns = ~np.asarray(figures.flags["port_choked"]) & ~np.asarray(figures.flags["extinguished"]) & np.isfinite(pressure)
        good[rows[possible]] = burns
    return good


def _moved(space: Space, values: Mapping[str, Sequence[float]]) -> Space | None:
    """The space with other values of some keys; what the base motor fixed becomes a variable."""
    spans = {**space.study.variables, **{key: _span(key, numbers) for key, numbers in values.items()}}
    try:
        return Space(replace(space.study, variables=spans))
    except (InputError, SpaceError, ValueError):
        return None


def _span(key: str, numbers: Sequence[float]) -> Span:
    spec, full = variable_spec(key)
    assert spec is not None
    items = tuple(SpanValue(_text(number, spec), float(number)) for number in numbers)
    return Span(key, "list", items, full, spec.column, spec.dimension, spec.kind == "whole", "")


def _text(number: float, spec: KeySpec) -> str:
    return f"{from_si(number, 'mm'):.6g} mm" if spec.dimension == "length" else f"{number:g}"


def _grid(key: str, low: float, high: float, steps: int) -> list[float]:
    """Values beyond both ends of what is allowed now, the nearest first, within what a motor file may say."""
    spec, _ = variable_spec(key)
    assert spec is not None
    if spec.kind == "whole":
        reach = max(8 if steps == PAIR_STEPS else 40, int(2 * high))
        numbers: Iterator[float] = (float(number) for number in range(max(1, int(spec.low)), reach + 1))
    else:
        away = np.geomspace(1.0, WIDEST, steps + 1)[1:]
        numbers = iter([*(low / away), *(high * away)])
    beyond = [number for number in numbers if not low <= number <= high and spec.low <= number <= spec.high]
    return sorted(beyond, key=lambda number: abs(math.log(number / (low if number < low else high))))


def _ends(space: Space, key: str) -> tuple[float, float]:
    """The least and the most that a key may be now."""
    if key in space.names:
        values = space.variables[space.names.index(key)].values
        return float(values.min()), float(values.max())
    base = _base_value(space, key)
    assert base is not None
    return base, base


def _by_one(space: Space, kernel: str, starts: Integers, key: str) -> Way | None:
    low, high = _ends(space, key)
    grid = _grid(key, low, high, STEPS)
    hit = _first(space, kernel, starts, {key: grid})
    if hit is None:
        return None
    start, (number,) = hit
    spec, _ = variable_spec(key)
    assert spec is not None
    if spec.kind != "whole":
        number = _narrowed(space, kernel, start, key, low if number < low else high, number)
    return _way(space, start, {key: number})


def _by_two(space: Space, kernel: str, starts: Integers, keys: tuple[str, str]) -> Way | None:
    grids = {key: _grid(key, *_ends(space, key), PAIR_STEPS) for key in keys}
    hit = _first(space, kernel, starts[:4], grids)
    if hit is None:
        return None
    start, numbers = hit
    found = dict(zip(keys, numbers, strict=True))
    for key in keys:  # fewer digits, and nearer, one after the other
        spec, _ = variable_spec(key)
        assert spec is not None
        if spec.kind != "whole":
            low, high = _ends(space, key)
            bad = low if found[key] < low else high
            other = {name: [value] for name, value in found.items() if name != key}
            found[key] = _narrowed(space, kernel, start, key, bad, found[key], other)
    return _way(space, start, found)


def _way(space: Space, start: Integers, values: dict[str, float]) -> Way:
    """The way that sets these keys, with the study of the one candidate that it lets in."""
    fixed = {
        variable.name: replace(space.study.variables[variable.name], kind="list", values=(variable.items[int(digit)],))
        for variable, digit in zip(space.variables, start, strict=True)
    }
    study = replace(space.study, variables=fixed | {key: _span(key, [value]) for key, value in values.items()})
    described = {name: value for name, value in space.described(start).items() if name not in values}
    return Way(tuple(_step(space, key, value) for key, value in values.items()), described, study)


def _first(space: Space, kernel: str, starts: Integers, grids: dict[str, list[float]]) -> tuple[Integers, tuple[float, ...]] | None:
    """The smallest change on these grids that makes a start buildable: the start, and the values."""
    if not all(grids.values()):
        return None
    moved = _moved(space, grids)
    if moved is None:
        return None
    radices = [len(grid) for grid in grids.values()]
    changes = np.indices(radices).reshape(len(radices), -1).T
    digits = np.array([_with(space, moved, start, grids, change) for start in starts for change in changes], dtype=np.int64)
    good = buildable(moved, digits, kernel)
    if not good.any():
        return None
    ends = {key: _ends(space, key) for key in grids}
    sizes = [
        max(abs(math.log(grid[place] / min(max(grid[place], ends[key][0]), ends[key][1])))
            for (key, grid), place in zip(grids.items(), change, strict=True))
        for change in changes
    ]  # fmt: skip
    rank = np.where(good.reshape(len(starts), len(changes)), np.array(sizes)[None, :], np.inf)
    start, change = np.unravel_index(int(rank.argmin()), rank.shape)
    return starts[start], tuple(grid[place] for grid, place in zip(grids.values(), changes[change], strict=True))


def _with(space: Space, moved: Space, start: Integers, grids: dict[str, list[float]], change: Any) -> list[int]:
    """Digits in the moved space of a start with one value of each grid."""
    here = dict(zip(space.names, start, strict=True)) | dict(zip(grids, change, strict=True))
    return [int(here[name]) for name in moved.names]


def _narrowed(
    space: Space, kernel: str, start: Integers, key: str, bad: float, good: float, others: dict[str, list[float]] | None = None
) -> float:
    """A value near the boundary between one that cannot be built and one that can, on the good side, of few digits.

    `others` are keys that change too, each with its one value.
    """
    best = good
    for digits in (1, 2, 3):
        # Of all numbers of so few digits between the two, the nearest that can be built.
        scale = 10.0 ** (math.floor(math.log10(max(bad, best))) + 1 - digits)
        between = np.unique(np.round(np.arange(math.floor(min(bad, best) / scale), math.ceil(max(bad, best) / scale) + 1)) * scale)
        inside = [float(f"{number:.12g}") for number in between if min(bad, best) < number < max(bad, best)]
        inside = sorted(inside, key=lambda number: abs(number - bad))[:1000]
        if inside:
            hit = _first(space, kernel, start[None, :], {key: inside} | (others or {}))
            if hit is not None:
                best = hit[1][0]
    return float(best)


def _step(space: Space, key: str, number: float) -> Step:
    low, high = _ends(space, key)
    return Step(key, low if number < low else high, number, key in space.names or key in _MOVING)
