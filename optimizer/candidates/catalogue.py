"""The inner catalogue: screws, grades, counts, edge distances, materials and whatever else no kernel needs.

Owns the terms of the search (every rung of the ladder and every mass as a table over just the variables it depends
on, which is proven by watching what it reads) and, for each shape of the outside, the patterns that no other pattern
beats at any pressure. A pattern dominated there never meets a candidate. May import space, limits, front and physics.

For a given outside a pattern is a few numbers: `threshold`, the highest maximum expected pressure at which every rung
still has its required factor; `weakest`, the lowest pressure at which any rung fails; and masses. At a maximum
expected pressure p it is good when p <= threshold, and its smallest factor is weakest/p.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates.limits import MINIMUM_FACTOR, REQUIRED, Rules
from optimizer.candidates.pareto import non_dominated
from optimizer.candidates.space import Space, digits_of
from optimizer.candidates.tracing import columns_read
from physics.failure.ladder import ADVICE
from physics.mass import PARTS, part_mass
from physics.motors import Motors

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

CHUNK = 8192
LARGEST_TABLE = 20_000_000
FEW_PATTERNS = 64
"""Patterns up to which each outside is held against all of them at once."""
CACHE_NUMBERS = 12_000_000
"""Numbers kept of the patterns of the outsides seen last (some 100 MB)."""


class CatalogueError(ValueError):
    """The inner catalogue is too large to be solved exactly."""


@dataclass(frozen=True)
class Term:
    """One rung of the ladder in the search: `variables` (numbers) it depends on.

    `burn` says that it needs to know how the motor burns, `late` that it marches heat and is left to the finalists.
    `pressure` gives the pressure at which it happens or, where `lasts` names the figure it is held against, the time, for
    motors, figures and maximum expected pressure; where it is late it may be told what pressure is enough, too, and from
    which factor on a value has failed whatever it is.
    """

    mode: str
    part: str
    kind: str
    required: float
    variables: frozenset[int]
    burn: bool
    late: bool
    pressure: Callable[..., Floats]
    lasts: str | None = None


@dataclass(frozen=True)
class Table:
    """Values over the product of some variables, one axis each, in order of the variables' numbers."""

    variables: tuple[int, ...]
    values: Floats

    def at(self, digits: Integers) -> Floats:
        """Values of candidates by their digits (n, all variables)."""
        if not self.variables:
            return np.broadcast_to(self.values.ravel(), (len(digits),))
        return self.values[tuple(digits[:, number] for number in self.variables)]

    def spread(self, fixed: Mapping[int, int], axes: Sequence[int], radices: Sequence[int]) -> Floats:
        """The table at fixed digits of some variables, spread over the product of the others, (product,)."""
        picked = self.values[tuple(fixed[number] if number in fixed else slice(None) for number in self.variables)]
        left = [number for number in self.variables if number not in fixed]
        shape = [radices[place] if number in left else 1 for place, number in enumerate(axes)]
        return np.broadcast_to(picked.reshape(shape), tuple(radices)).ravel()


def tabulate(space: Space, variables: Sequence[int], function: Callable[[Motors], Floats]) -> Table:
    """A function of motors over the product of `variables`; the other variables stand at their first item.

    NaN where the reader of motor files refuses the combination.
    """
    numbers = tuple(sorted(variables))
    radices = [space.radices[number] for number in numbers]
    size = math.prod(radices)
    if size > LARGEST_TABLE:
        raise CatalogueError(f"a rung depends on {size} combinations of {', '.join(space.names[n] for n in numbers)}")
    values = np.full(size, np.nan)
    for start in range(0, size, CHUNK):
        rows = np.arange(start, min(start + CHUNK, size))
        digits = np.zeros((len(rows), len(space.variables)), dtype=np.int64)
        digits[:, list(numbers)] = digits_of(rows, radices)
        for group in space.groups(digits):
            motors = space.motors_or_none(digits[group])
            if motors is not None:
                with np.errstate(all="ignore"):
                    values[rows[group]] = np.broadcast_to(function(motors), (len(group),))
    return Table(numbers, values.reshape(radices))


def count_within(threshold: Floats, mass: Floats, pressure: Floats, low: Floats, high: Floats) -> Integers:
    """For each (pressure, low, high): how many patterns have threshold >= pressure and low <= mass <= high, (n,).

    Patterns are taken in falling order of threshold, in blocks whose masses are sorted: whole blocks are counted by
    bisection, the last one by looking.

    >>> count_within(np.array([3., 2., 1.]), np.array([1., 2., 3.]), np.array([1.5]), np.array([0.]), np.array([1.5]))
    array([1])
    """
    order = np.argsort(-threshold, kind="stable")
    falling, masses = -threshold[order], mass[order]
    reach = np.searchsorted(falling, -pressure, side="right")
    found = np.zeros(len(pressure), dtype=np.int64)
    block = 512
    for start in range(0, len(masses), block):
        part = masses[start : start + block]
        whole = np.flatnonzero(reach >= start + len(part))
        sorted_part = np.sort(part)
        found[whole] += np.searchsorted(sorted_part, high[whole], side="right")
        found[whole] -= np.searchsorted(sorted_part, low[whole], side="left")
        partly = np.flatnonzero((reach > start) & (reach < start + len(part)))
        for rows in np.array_split(partly, max(1, len(partly) // 2048)):
            inside = np.arange(len(part))[None, :] < (reach[rows] - start)[:, None]
            inside &= (part[None, :] <= high[rows][:, None]) & (part[None, :] >= low[rows][:, None])
            found[rows] += inside.sum(axis=1)
    return found


@dataclass(frozen=True)
class Patterns:
    """The catalogue for one outside: numbers of every pattern, and the few that matter (`kept`)."""

    threshold: Floats
    weakest: Floats
    mass: Floats
    parts: Mapping[str, Floats]
    kept: Integers
    sorted_threshold: Floats = field(repr=False)

    @property
    def numbers(self) -> int:
        """How many numbers it holds, for the cache."""
        return 4 * len(self.threshold) + sum(len(values) for values in self.parts.values())


@dataclass(frozen=True)
class ModeCount:
    """Counts the patterns that fail one mode: sorted thresholds for each outside, and how often each stands for."""

    name: str
    mode: str
    shared: tuple[int, ...]
    thresholds: Floats
    times: int


class Catalogue:
    """All patterns of a study's inner variables.

    `inner` are the numbers of the inner variables, `shared` those of the outer variables that inner terms depend on.
    `late` are the inner variables that late terms read: patterns are compared within equal digits of these only.
    """

    def __init__(self, space: Space, rules: Rules, terms: Sequence[Term], inner: Sequence[int], late: set[int]) -> None:
        self.space, self.rules = space, rules
        self.inner = tuple(sorted(inner))
        self.radices = tuple(space.radices[number] for number in self.inner)
        self.size = math.prod(self.radices)
        self.terms = [term for term in terms if term.variables & set(self.inner)]
        self.tables = [tabulate(space, sorted(term.variables), _asks(term)) for term in self.terms]
        self.mass_tables = self._mass_tables()
        touched = {number for table in (*self.tables, *self.mass_tables.values()) for number in table.variables}
        self.shared = tuple(sorted(touched - set(self.inner)))
        self._late = [self.inner.index(number) for number in sorted(late & set(self.inner))]
        self._cache: OrderedDict[tuple[int, ...], Patterns] = OrderedDict()
        self._held = 0
        if self.size > LARGEST_TABLE // 4:
            raise CatalogueError(f"the inner catalogue has {self.size} combinations")
        self.counts = self._mode_counts()

    def _mass_tables(self) -> dict[str, Table]:
        """Masses of the parts that depend on an inner variable."""
        tables = {}
        for part in PARTS:
            variables = part_variables(self.space, part)
            if variables & set(self.inner):
                tables[part] = tabulate(self.space, sorted(variables), partial(part_mass, part=part))
        return tables

    def digits(self, pattern: Integers) -> Integers:
        """Digits (n, inner variables) of patterns by number."""
        return digits_of(pattern, self.radices)

    def late_key(self, pattern: Integers) -> Integers:
        """Digits of the inner variables that late terms read, (n, k)."""
        return self.digits(pattern)[:, self._late]

    @property
    def late_variables(self) -> list[int]:
        """Numbers of the inner variables that late terms read."""
        return [self.inner[place] for place in self._late]

    def at(self, outside: tuple[int, ...]) -> Patterns:
        """The patterns for one outside, by the digits of `shared`."""
        patterns = self._cache.get(outside)
        if patterns is None:
            patterns = self._solve(dict(zip(self.shared, outside, strict=True)))
            self._cache[outside] = patterns
            self._held += patterns.numbers
            while self._held > CACHE_NUMBERS and len(self._cache) > 1:
                self._held -= self._cache.popitem(last=False)[1].numbers
        else:
            self._cache.move_to_end(outside)
        return patterns

    def number(self, digits: Integers) -> int:
        """Number of the pattern with these digits of the inner variables."""
        number = 0
        for digit, radix in zip(digits.tolist(), self.radices, strict=True):
            number = number * radix + digit
        return number

    def mode_thresholds(self, outside: tuple[int, ...], modes: Sequence[str]) -> Floats:
        """For each mode, the highest pressure at which each pattern has its required factor, (modes, patterns)."""
        fixed = dict(zip(self.shared, outside, strict=True))
        found = np.full((len(modes), self.size), np.inf)
        for term, table in zip(self.terms, self.tables, strict=True):
            if term.mode in modes:
                row = found[list(modes).index(term.mode)]
                pressure = table.spread(fixed, self.inner, self.radices) / term.required
                np.minimum(row, _never_nan(pressure), out=row)
        return found

    def _solve(self, fixed: Mapping[int, int]) -> Patterns:
        threshold, weakest = np.full(self.size, np.inf), np.full(self.size, np.inf)
        for term, table in zip(self.terms, self.tables, strict=True):
            pressure = table.spread(fixed, self.inner, self.radices)
            np.minimum(threshold, _never_nan(pressure / term.required), out=threshold)
            if term.kind != ADVICE:
                np.fmin(weakest, pressure, out=weakest)
        if self.rules.smallest_factor is not None and self.rules.smallest_factor.minimum:
            np.minimum(threshold, weakest / self.rules.smallest_factor.minimum, out=threshold)
        parts = {part: table.spread(fixed, self.inner, self.radices) for part, table in self.mass_tables.items()}
        mass = np.zeros(self.size)
        for values in parts.values():
            mass = mass + np.nan_to_num(values)
        for bound in self.rules.masses:
            own = parts.get(bound.quantity.removesuffix("_mass"))
            if own is not None:
                threshold = np.where(bound.fails(own), -np.inf, threshold)
        kept = self._kept(threshold, weakest, mass, parts)
        return Patterns(threshold, weakest, mass, parts, kept, np.sort(threshold))

    def _kept(self, threshold: Floats, weakest: Floats, mass: Floats, parts: Mapping[str, Floats]) -> Integers:
        """Patterns that no other beats in everything that may count, compared within equal late digits."""
        possible = np.flatnonzero(threshold > -np.inf)
        columns = np.stack(self._what_counts(threshold, weakest, mass, parts), axis=1)[possible]
        late = self.late_key(possible)
        if not late.shape[1]:
            return _first_of_ties(possible, columns)
        _, group = np.unique(late, axis=0, return_inverse=True)
        group = group.ravel()
        found = [_first_of_ties(possible[group == g], columns[group == g]) for g in range(int(group.max(initial=-1)) + 1)]
        return np.sort(np.concatenate([np.zeros(0, dtype=np.int64), *found]))

    def _what_counts(self, threshold: Floats, weakest: Floats, mass: Floats, parts: Mapping[str, Floats]) -> list[Floats]:
        """Columns to be minimised by which one pattern may beat another, as the study's aims and limits need them."""
        columns = [-threshold]
        names = {aim.name for aim in self.rules.aims}
        if "smallest_factor" in names or self.rules.smallest_factor is not None:
            signs = {not aim.more for aim in self.rules.aims if aim.name == "smallest_factor"}
            columns += [weakest] if True in signs else []
            columns += [-weakest] if signs != {True} or self.rules.smallest_factor is not None else []
        lighter, heavier = self._mass_directions()
        columns += ([mass] if lighter else []) + ([-mass] if heavier else [])
        for aim in self.rules.aims:
            values = parts.get(aim.name.removesuffix("_mass"))
            if values is not None and aim.name.endswith("_mass"):
                columns.append(-values if aim.more else values)
        return columns

    def _mass_directions(self) -> tuple[bool, bool]:
        """Whether a lighter, and whether a heavier pattern may be wanted for the loaded mass."""
        lighter = heavier = False
        for aim in self.rules.aims:
            if aim.name == "loaded_mass":
                lighter, heavier = lighter or not aim.more, heavier or aim.more
            elif aim.name == "propellant_mass_fraction":
                lighter, heavier = lighter or aim.more, heavier or not aim.more
        for bound in self.rules.masses:
            if bound.quantity in ("loaded_mass", "propellant_mass_fraction"):
                less = bound.maximum if bound.quantity == "loaded_mass" else bound.minimum
                more = bound.minimum if bound.quantity == "loaded_mass" else bound.maximum
                lighter, heavier = lighter or less is not None, heavier or more is not None
        return lighter, heavier

    def _mode_counts(self) -> list[ModeCount]:
        """For each mode with inner terms: the thresholds of what it depends on, sorted for each outside."""
        counts = []
        for mode in dict.fromkeys(term.mode for term in self.terms):
            pairs = [(t, table) for t, table in zip(self.terms, self.tables, strict=True) if t.mode == mode]
            variables = sorted({number for _, table in pairs for number in table.variables})
            inner = [number for number in variables if number in self.inner]
            shared = [number for number in variables if number not in self.inner]
            axes = [*shared, *inner]
            radices = [self.space.radices[number] for number in axes]
            if math.prod(radices) > LARGEST_TABLE:
                raise CatalogueError(f"{mode} depends on {math.prod(radices)} combinations")
            lowest = np.full(math.prod(radices), np.inf)
            for term, table in pairs:
                order = np.argsort([axes.index(number) for number in table.variables])
                arranged = np.transpose(table.values, order)
                shape = [radices[place] if number in table.variables else 1 for place, number in enumerate(axes)]
                spread = np.broadcast_to(arranged.reshape(shape), radices).ravel()
                lowest = np.minimum(lowest, _never_nan(spread / term.required))
            inner_size = math.prod(self.space.radices[number] for number in inner)
            grid = np.sort(lowest.reshape(-1, inner_size), axis=1)
            name = limit_name(self.rules, mode)
            counts.append(ModeCount(name, mode, tuple(shared), grid, self.size // inner_size))
        return counts

    def failing(self, count: ModeCount, digits: Integers, pressure: Floats) -> Integers:
        """How many patterns fail a mode for each candidate outside (digits (n, all variables)), (n,)."""
        place = np.zeros(len(digits), dtype=np.int64)
        for number in count.shared:
            place = place * self.space.radices[number] + digits[:, number]
        found = np.full(len(digits), count.thresholds.shape[1], dtype=np.int64)
        known = np.flatnonzero(~np.isnan(pressure))
        if count.thresholds.shape[1] <= FEW_PATTERNS:
            found[known] = (count.thresholds[place[known]] < pressure[known, None]).sum(axis=1)
            return found * count.times
        known = known[np.argsort(place[known], kind="stable")]
        for here in np.split(known, np.flatnonzero(np.diff(place[known])) + 1):
            if len(here):
                found[here] = np.searchsorted(count.thresholds[place[here[0]]], pressure[here], side="left")
        return found * count.times


def _asks(term: Term) -> Callable[[Motors], Floats]:
    return lambda motors: term.pressure(motors, None, None)


def _never_nan(values: Floats) -> Floats:
    """NaN never passes: it counts as a rung that fails at any pressure."""
    return np.where(np.isnan(values), -np.inf, values)


def _first_of_ties(numbers: Integers, columns: Floats) -> Integers:
    """The non-dominated rows, one of each set of equals. Infinite thresholds (nothing to fail) are made finite."""
    finite = np.nan_to_num(columns, nan=np.finfo(float).max, posinf=np.finfo(float).max, neginf=-np.finfo(float).max)
    rows = np.flatnonzero(non_dominated(finite))
    _, first = np.unique(finite[rows], axis=0, return_index=True)
    return np.sort(numbers[rows[first]])


def limit_name(rules: Rules, mode: str) -> str:
    """What a rejection by a mode is called."""
    return f"{MINIMUM_FACTOR}{mode}" if mode in rules.factors else f"{REQUIRED}{mode}"


def part_variables(space: Space, part: str) -> frozenset[int]:
    """Numbers of the variables that the mass of a part depends on."""
    return variables_of(space, probe_columns(space, lambda motors: part_mass(motors, part)))


def variables_of(space: Space, columns: frozenset[str]) -> frozenset[int]:
    """Numbers of the variables that change any of these columns."""
    return frozenset(number for number, variable in enumerate(space.variables) if variable.columns & columns)


def probe_columns(space: Space, function: Callable[[Motors], object]) -> frozenset[str]:
    """Columns that a function of motors reads anywhere in the space.

    What a function reads is settled by what it has read before, so only changes of columns that were read are probed.
    """
    seen: set[str] = set()
    for number, motors in space.probes():
        if number is None or space.variables[number].columns & seen:
            seen |= columns_read(function, motors)
    return frozenset(seen)


__all__ = ["Catalogue", "CatalogueError", "Patterns", "Table", "Term", "count_within", "tabulate"]
