"""What is too slow to ask of every candidate: rungs that march heat, and the transient kernel.

Owns the judging of finalists, for what `heated` has not settled inside the blocks. A finalist is a candidate of a front; it
is judged for what it depends on (its outside and the few inner choices that heat and free volume see), and what is known
then corrects every candidate that shares these. The front is drawn again until each of its members has been judged, so that
the answer is the front of all candidates that pass the judge, not of some. May import families, limits and physics.

Why this is exact. Judging only takes candidates away or lowers their smallest factor (a hot rung adds a term to a
minimum), never the other way round, so a candidate that is not on the front before is not missed by not judging it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates import limits
from optimizer.candidates.catalogue import Term, limit_name
from optimizer.candidates.families import Crossed, Families
from optimizer.candidates.heated import asked, weakest_factor, what_matters
from optimizer.candidates.limits import Bound, Miss, miss
from optimizer.candidates.workers import Crew
from physics.ballistics import kernel as kernels
from physics.flight.mission import fly_motors
from physics.mass import unknown_masses
from physics.motors import Figures, Motors

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

BATCH = 2048
CONFIRM_BATCH = 96
"""Finalists that the transient kernel burns at a time: a thousand motors or so, with the corners of their tolerances."""


@dataclass(frozen=True)
class Verdicts:
    """Verdicts on keys: whether they pass, the pressure patterns must stand, the lowest pressure of late rungs.

    `figures`, (n,) each by name, are those of the transient kernel where it judged.
    """

    ok: Mask
    pressure: Floats
    floor: Floats
    broken: tuple[tuple[str, ...], ...]
    figures: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class _Known:
    """Verdicts in order of their keys."""

    keys: Any
    ok: Mask
    pressure: Floats
    floor: Floats

    def places(self, keys: Integers) -> Integers:
        """Place of each key among the verdicts, -1 where it has none."""
        wanted = _as_bytes(keys)
        found = np.minimum(np.searchsorted(self.keys, wanted), len(self.keys) - 1)
        return np.where(self.keys[found] == wanted, found, -1).astype(np.int64)


@dataclass
class Judge:
    """Judges outsides (with the inner choices that matter) by one kernel, and remembers.

    Without `confirm`: the late rungs by the study's own kernel that no block has settled (`settled_too` asks those as well).
    With it: everything again by the transient kernel. `thorough` asks every rung of every key, to count each limit alone;
    else a key that has failed is asked no more.
    """

    families: Families
    confirm: bool = False
    thorough: bool = False
    settled_too: bool = False
    _known: dict[tuple[int, ...], int] = field(default_factory=dict)
    _ok: list[bool] = field(default_factory=list)
    _pressure: list[float] = field(default_factory=list)
    _floor: list[float] = field(default_factory=list)
    _broken: list[tuple[str, ...]] = field(default_factory=list)
    _figures: list[dict[str, float]] = field(default_factory=list)
    _columns: _Known | None = None
    _notes: list[list[Miss]] | None = None
    _patterned: bool = False
    _offset: int = 0
    _rows: Integers = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    @property
    def needed(self) -> bool:
        """Whether there is anything to judge."""
        return self.confirm or bool(self._terms)

    @property
    def _terms(self) -> list[Term]:
        """The late rungs that this judge asks."""
        every = self.confirm or self.settled_too
        return self.families.late_terms if every else self.families.open_terms

    @property
    def judged(self) -> int:
        """How many keys have been judged."""
        return len(self._known)

    @property
    def passed(self) -> tuple[bool, ...]:
        """Whether each key judged passes."""
        return tuple(self._ok)

    def keys(self, keys: Integers) -> Integers:
        """What a verdict on candidates (outer digits and pattern) depends on: outer digits and late inner digits."""
        return self.families.late_keys(keys)

    def unknown(self, keys: Integers) -> Integers:
        """Distinct keys of candidates that have no verdict yet, (n, k)."""
        if not self.needed or not len(keys):
            return np.zeros((0, 0), dtype=np.int64)
        distinct = np.unique(self.keys(keys), axis=0)
        return distinct[[tuple(row) not in self._known for row in distinct.tolist()]]

    def judge(self, keys: Integers) -> None:
        """Judge keys as `unknown` gives them, in batches, by all cores where that repays."""
        size = CONFIRM_BATCH if self.confirm else BATCH
        parts = [keys[start : start + size] for start in range(0, len(keys), size)]
        crew = Crew(lambda number: self._judged(self._digits(parts[number])), self.families.study.driver.workers)
        found = dict(crew.blocks(list(range(len(parts)))))
        for number, part in enumerate(parts):  # in order, whoever was ready first
            self.remember(part, found[number])

    def remember(self, keys: Integers, verdicts: Verdicts) -> None:
        """Keep verdicts on keys."""
        for place, key in enumerate(keys.tolist()):
            if tuple(key) not in self._known:
                self._known[tuple(key)] = len(self._ok)
                self._ok.append(bool(verdicts.ok[place]))
                self._pressure.append(float(verdicts.pressure[place]))
                self._floor.append(float(verdicts.floor[place]))
                self._broken.append(verdicts.broken[place])
                self._figures.append({name: float(column[place]) for name, column in verdicts.figures.items()})

    def verdict(self, key: Sequence[int]) -> tuple[bool, float, float, tuple[str, ...]] | None:
        """What is known of one key: passes, pressure, floor, limits broken."""
        place = self._known.get(tuple(int(digit) for digit in key))
        return None if place is None else (self._ok[place], self._pressure[place], self._floor[place], self._broken[place])

    def settled(self, passing: bool) -> Integers:
        """The keys judged that pass, or those that do not, (n, k), in the order in which they were judged.

        A candidate whose key passes can fail only by its pattern.
        """
        keys = [key for key, place in self._known.items() if self._ok[place] is passing]
        return np.array(keys, dtype=np.int64) if keys else np.zeros((0, 0), dtype=np.int64)

    def pressures(self, keys: Integers) -> Floats:
        """The pressure that patterns must stand for keys that have a verdict, (n,). [Pa]"""
        return np.array([self._pressure[self._known[tuple(key)]] for key in keys.tolist()])

    def figures_of(self, digits: Integers) -> list[dict[str, float]]:
        """Of each candidate, digits (n, all variables): the transient kernel's figures, empty where none were kept."""
        families = self.families
        keys = np.hstack([digits[:, families.outer], digits[:, list(families.catalogue.late_variables)]])
        places = [self._known.get(tuple(key)) for key in keys.tolist()]
        return [{} if place is None else self._figures[place] for place in places]

    def misses(self, keys: Integers) -> list[list[Miss]]:
        """For each key: every limit that this judge finds missed, whatever the pattern, and by how much."""
        return self._missed_of(self._digits(keys), with_pattern=False) if len(keys) else []

    def misses_of(self, digits: Integers) -> list[list[Miss]]:
        """For each candidate, digits (n, all variables): every limit that this judge finds missed, and by how much."""
        return self._missed_of(digits, with_pattern=True)

    def _missed_of(self, digits: Integers, with_pattern: bool) -> list[list[Miss]]:
        notes: list[list[Miss]] = [[] for _ in range(len(digits))]
        kept, self.thorough, self._notes, self._patterned = self.thorough, True, notes, with_pattern
        try:
            for start in range(0, len(digits), BATCH):
                self._offset = start
                self._judged(digits[start : start + BATCH])
        finally:
            self.thorough, self._notes, self._patterned = kept, None, False
        return [worst_of_each(found) for found in notes]

    def passes(self, key: Sequence[int]) -> bool:
        """Whether a key passes, as far as is known."""
        found = self.verdict(key)
        return found is None or found[0]

    def broken(self) -> Mapping[str, int]:
        """How many judged keys break each limit."""
        counts: dict[str, int] = {}
        for names in self._broken:
            for name in names:
                counts[name] = counts.get(name, 0) + 1
        return counts

    def corrected(self, crossed: Crossed) -> Crossed:
        """Candidates with what is known applied: the failing ones left out, the smallest factors lowered."""
        if not self._known or not len(crossed.keys):
            return crossed
        known = self._ordered()
        place = known.places(self.keys(crossed.keys))
        hit = np.flatnonzero(place >= 0)
        if not len(hit):
            return crossed
        keep = np.ones(len(place), dtype=bool)
        keep[hit] = known.ok[place[hit]] & (crossed.threshold[hit] >= known.pressure[place[hit]])
        points = crossed.points.copy()
        for column, aim in enumerate(self.families.rules.aims):
            if aim.name == "smallest_factor":
                points[hit, column] = np.fmax(points[hit, column], -known.floor[place[hit]] / crossed.pressure[hit])
        return Crossed(points[keep], crossed.keys[keep], crossed.threshold[keep], crossed.pressure[keep])

    def _ordered(self) -> _Known:
        """The verdicts as sorted columns, made again only when there are more."""
        if self._columns is None or len(self._columns.keys) != len(self._known):
            keys = _as_bytes(np.array(list(self._known), dtype=np.int64))
            order = np.argsort(keys)
            columns = (np.array(column)[order] for column in (self._ok, self._pressure, self._floor))
            self._columns = _Known(keys[order], *columns)
        return self._columns

    # --- judging ----------------------------------------------------------------------------------------------------

    def _digits(self, keys: Integers) -> Integers:
        """Digits over all variables of keys; inner variables that no verdict depends on stand at 0."""
        families = self.families
        digits = families.full_digits(keys[:, : len(families.outer)])
        for place, number in enumerate(families.catalogue.late_variables):
            digits[:, number] = keys[:, len(families.outer) + place]
        return digits

    def _judged(self, digits: Integers) -> Verdicts:
        families = self.families
        ok, pressure = np.ones(len(digits), dtype=bool), np.zeros(len(digits))
        floor = np.full(len(digits), np.inf)
        broken: list[set[str]] = [set() for _ in range(len(digits))]
        shown: dict[str, Floats] = {}
        for group in families.space.groups(digits):
            motors = families.space.candidates(digits[group]).motors
            self._rows = group + self._offset
            expected, fails, lowest, figures = self._assessed(motors, digits[group])
            pressure[group], floor[group] = expected, lowest
            for name, column in figures.values.items() if self.confirm else ():
                shown.setdefault(name, np.full(len(digits), np.nan))[group] = column
            for name, which in fails.items():
                ok[group] &= ~which
                for row in group[which]:
                    broken[row].add(name)
        if not self.confirm:
            pressure[:] = -np.inf  # the patterns have been held against this pressure already
        else:
            floor[:] = np.inf  # the objectives stay those of the kernel that screens
        return Verdicts(ok, pressure, floor, tuple(tuple(sorted(names)) for names in broken), shown)

    def _assessed(self, motors: Motors, digits: Integers) -> tuple[Floats, Mapping[str, Mask], Floats, Figures]:
        """Maximum expected pressure, what fails by name, the lowest pressure of the late pressure rungs, and the figures."""
        families = self.families
        kernel = "transient" if self.confirm else families.kernel
        figures, expected = kernels.burnt(motors, kernel, curve=True)
        fails: dict[str, Mask] = {}
        floor = np.full(motors.size, np.inf)
        if self.confirm:
            fails |= self._confirmed(motors, figures, expected, floor)
        # The objectives stay those of the kernel that screens, so that the other need only know what fails.
        weakest = -np.inf if self.confirm else families.strongest_pattern(digits)
        enough = None if self._notes is not None else what_matters(self._terms, families.rules, expected, weakest)
        for term in self._terms:
            self._ask_late(term, motors, figures, expected, enough, fails, floor)
        smallest = families.rules.smallest_factor
        if smallest is not None:
            factor = weakest_factor(floor, expected)
            fails[smallest.name] = smallest.fails(factor)
            self._note(smallest, np.arange(motors.size), factor)
        return expected, fails, floor, figures

    def _note(self, bound: Bound, rows: Integers, values: Floats) -> None:
        """Where somebody asks by how much limits are missed: write down what these rows of the batch miss of one."""
        if self._notes is None:
            return
        kernel = "transient" if self.confirm else ""
        for place in np.flatnonzero(bound.fails(values)):
            self._notes[self._rows[rows[place]]].append(miss(bound, float(values[place]), kernel))

    def _ask_late(
        self,
        term: Term,
        motors: Motors,
        figures: Figures,
        expected: Floats,
        enough: Floats | None,
        fails: dict[str, Mask],
        floor: Floats,
    ) -> None:
        """One late rung, asked of those that have not failed yet (of all, to count each limit alone)."""
        gone = np.logical_or.reduce([np.zeros(motors.size, dtype=bool), *fails.values()])
        rows = np.arange(motors.size) if self.thorough else np.flatnonzero(~gone)
        name = limit_name(self.families.rules, term.mode)
        fails.setdefault(name, np.zeros(motors.size, dtype=bool))
        if not len(rows):
            return
        pressure = expected
        if len(rows) < motors.size:  # else the same objects, for which the walls have been marched already
            motors, figures, pressure = motors.take(rows), figures.take(rows), expected[rows]
            enough = None if enough is None else enough[rows]
        value, factor = asked(term, motors, figures, pressure, enough, verdict=self._notes is None)
        fails[name][rows] |= ~(factor >= term.required)
        self._note(Bound(name, term.mode, minimum=term.required), rows, factor)
        if term.lasts is None:
            floor[rows] = np.fmin(floor[rows], value)

    def _confirmed(self, motors: Motors, figures: Figures, expected: Floats, floor: Floats) -> dict[str, Mask]:
        """The limits on figures and the outer rungs, held against the transient kernel; lowers `floor` to these rungs.

        The rungs of the catalogue are asked only of whole candidates: else their thresholds meet `expected` later.
        """
        columns: dict[str, Any] = dict(figures.values) | {"maximum_expected_pressure": expected}
        rules = self.families.rules
        every = np.arange(motors.size)
        fails = {bound.name: bound.fails(columns[bound.quantity]) for bound in rules.figures}
        for bound in rules.figures:
            self._note(bound, every, np.asarray(columns[bound.quantity], dtype=float))
        fails[limits.CHOKED] = np.asarray(figures.flags["port_choked"], dtype=bool)
        fails[limits.OUTSIDE] = ~np.isfinite(expected)
        for name in (limits.CHOKED, limits.OUTSIDE):
            self._note(Bound(name, name, maximum=0.0), every, np.where(fails[name], np.nan, 0.0))
        if rules.flown:
            fails |= self._flown(motors, figures)
        for term in (*self.families.outer_terms, *(self.families.catalogue.terms if self._patterned else ())):
            value = term.pressure(motors, figures if term.burn else None, expected)
            np.fmin(floor, value, out=floor)
            name = limit_name(rules, term.mode)
            with np.errstate(all="ignore"):
                factor = np.broadcast_to(value / expected, (motors.size,))
            fails[name] = fails.get(name, np.zeros(motors.size, dtype=bool)) | ~(factor >= term.required)
            self._note(Bound(name, term.mode, minimum=term.required), every, factor)
        return fails

    def _flown(self, motors: Motors, figures: Figures) -> dict[str, Mask]:
        """The limits on the flight, held against that of the transient kernel's histories."""
        rules = self.families.rules
        flights = fly_motors(motors, figures, asked=rules.flown)
        fails = limits.flight_fails(rules, flights, unknown_masses(motors), motors.size)
        for bound in rules.flights if flights.refused is None else ():
            self._note(bound, np.arange(motors.size), flights.figures[bound.quantity])
        return fails


def worst_of_each(found: Sequence[Miss]) -> list[Miss]:
    """Of each limit the miss that asks for most: both ends of a motor have a rung of the same name."""
    worst: dict[tuple[str, str], Miss] = {}
    for item in found:
        known = worst.get((item.limit, item.side))
        if known is None or item.excess > known.excess:
            worst[item.limit, item.side] = item
    return list(worst.values())


def _as_bytes(rows: Integers) -> Any:
    """Rows of integers as one sortable value each."""
    rows = np.ascontiguousarray(rows, dtype=np.int64)
    return rows.view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()


__all__ = ["BATCH", "Judge", "Verdicts", "worst_of_each"]
