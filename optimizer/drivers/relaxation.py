"""With nothing feasible: which candidates come nearest, and the smallest change of a limit that would admit one.

Owns a second look at every candidate, asking by how much it misses each limit. For single limits the smallest change
is exact where no limit rests on scatter, heat or the transient kernel, which are asked of a few alone; for pairs it is
the pair whose larger change, as a part of its limit, is smallest. Geometry, a choked port and what lies outside the
model cannot be relaxed. May import families, finalists, limits and patterns.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates import limits
from optimizer.candidates.catalogue import limit_name
from optimizer.candidates.families import Families, OutsideColumns
from optimizer.candidates.judges import Judge, worst_of_each
from optimizer.candidates.limits import Miss, miss
from optimizer.candidates.pareto import non_dominated
from optimizer.candidates.space import digits_of
from physics.mass import unknown_masses
from physics.motors import Motors

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

BLOCK = 4096
NEAREST = 5
"""Candidates named as the nearest."""
POOL, KEPT = 60, 12
"""Candidates looked at for it, and for the change of each single limit, where some limits are not known of all."""
LISTED = 10
"""Changes of limits that are named."""
JUDGED = 2000
"""Candidates that finalists' judges have turned away of which the amounts are worked out."""
MOST_LOOKED = 20_000_000
"""Families up to which every one is looked at; of more, so many as `DRAWN` at random."""
DRAWN = 400_000


@dataclass
class Relaxation:
    """What was found: single limits, pairs and the nearest candidates, each with full digits (n, all variables).

    Of each single limit the `kept` candidates that ask least of it, of the nearest `most`.
    """

    singles: dict[str, list[tuple[float, Integers]]] = field(default_factory=dict)
    pairs: dict[tuple[str, str], tuple[float, Integers]] = field(default_factory=dict)
    nearest: list[tuple[float, Integers]] = field(default_factory=list)
    most: int = NEAREST
    kept: int = 1


@dataclass(frozen=True)
class NearMiss:
    """A candidate that passes but for `misses`, digits (n, all variables)."""

    digits: Integers
    misses: tuple[Miss, ...]

    @property
    def worst(self) -> float:
        """The largest change that it asks of a limit, as a part of it; infinite where no change would do."""
        return max((item.excess for item in self.misses), default=0.0)

    @property
    def limits(self) -> tuple[tuple[str, str], ...]:
        """The limits it misses, by name and side."""
        return tuple(sorted((item.limit, item.side) for item in self.misses))


@dataclass(frozen=True)
class SmallestChanges:
    """The smallest changes of limits that would admit a candidate, and the nearest candidates.

    `passing` is a candidate (digits) that misses nothing, which a heuristic search may have passed by; `whole` says
    whether every candidate was looked at.
    """

    changes: list[NearMiss]
    nearest: list[NearMiss]
    passing: Integers | None
    whole: bool


def smallest_changes(families: Families, judges: tuple[Judge, ...]) -> SmallestChanges:
    """With nothing feasible: the smallest changes of limits that would admit a candidate, and the nearest candidates.

    Every miss of those named is told: by the screen, under the tolerances, by heat and by the transient kernel.
    """
    if families.settled_terms:
        judges = (_heat_judged(families), *(judge for judge in judges if judge.confirm))
    found = what_to_relax(families, known_of_all=not judges and not families.rules.scatter and not families.rules.flown)
    pairs = sorted(found.pairs.values(), key=lambda item: item[0])[:6]
    singles = [item for kept in found.singles.values() for item in kept]
    digits = [row for _, row in (*singles, *pairs, *found.nearest)]
    digits += _turned_away(families, judges)
    every = [NearMiss(row, tuple(items)) for row, items in _all_misses(families, judges, _distinct(digits))]
    passing = next((near.digits for near in every if not near.misses), None)
    every = [near for near in every if near.misses and np.isfinite(near.worst)]
    changes: list[NearMiss] = []
    for near in sorted(every, key=lambda near: (len(near.misses), near.worst)):
        # One that asks for more limits is worth naming only where it asks less of each.
        if not any(set(other.limits) <= set(near.limits) and other.worst <= near.worst for other in changes):
            changes.append(near)
    ordered = sorted(every, key=lambda near: near.worst)
    return SmallestChanges(changes[:LISTED], ordered[:NEAREST], passing, families.outer_size <= MOST_LOOKED)


def _heat_judged(families: Families) -> Judge:
    """The judge of all late rungs, with what passes everything but these in its memory, up to `JUDGED` of it."""
    heat = Judge(families, settled_too=True)
    for outer in _outsides(families):
        rows = families.evaluate(outer, heat=False).rows
        for crossed in families.cross(rows[: max(0, JUDGED - heat.judged)]):
            heat.judge(heat.unknown(crossed.keys)[: JUDGED - heat.judged])
        if heat.judged >= JUDGED:
            break
    return heat


def _distinct(digits: list[Integers]) -> Integers:
    rows = dict.fromkeys(tuple(int(digit) for digit in row) for row in digits)
    return np.array(list(rows), dtype=np.int64).reshape(len(rows), len(digits[0]) if digits else 0)


def _all_misses(families: Families, judges: tuple[Judge, ...], digits: Integers) -> Iterator[tuple[Integers, list[Miss]]]:
    """Each candidate with everything that it misses, whoever finds it; of one limit, what asks for most."""
    late = [judge.misses_of(digits) if len(digits) else [] for judge in judges]
    for place, row in enumerate(digits):
        yield row, worst_of_each([*misses(families, row), *(item for items in late for item in items[place])])


def _turned_away(families: Families, judges: tuple[Judge, ...]) -> list[Integers]:
    """Of the candidates that only the judges of finalists turned away: for each set of limits the one that misses
    least, and those that miss least of all; full digits.
    """
    best: dict[tuple[str, ...], tuple[float, Integers]] = {}
    every: list[tuple[float, Integers]] = []
    for judge in judges:
        keys = judge.settled(passing=False)[:JUDGED]
        for key, items in zip(keys, judge.misses(keys), strict=True):
            worst, names = max((item.excess for item in items), default=np.inf), tuple(sorted(item.limit for item in items))
            if not np.isfinite(worst):
                continue
            every.append((worst, key))
            if names not in best or worst < best[names][0]:
                best[names] = (worst, key)
    chosen = sorted(best.values(), key=lambda item: item[0])[:LISTED] + sorted(every, key=lambda item: item[0])[:NEAREST]
    rows = [row for _, key in chosen for row in _candidate_of(families, key)]
    return rows + [row for judge in judges if judge.confirm for row in _pressed(families, judge)]


def _candidate_of(families: Families, key: Integers) -> list[Integers]:
    """Full digits of the candidate that passes the screen with this key of a judge and stands the highest pressure."""
    wide, found = len(families.outer), []
    for crossed in families.cross(families.evaluate(key[None, :wide], heat=False).rows):
        digits = families.full_digits(crossed.keys[:, :-1], crossed.keys[:, -1])
        same = np.flatnonzero((families.late_keys(crossed.keys) == key).all(axis=1))
        found += [(float(crossed.threshold[row]), digits[row]) for row in same]
    return [max(found, key=lambda item: item[0])[1]] if found else []


def _pressed(families: Families, judge: Judge) -> list[Integers]:
    """Candidates whose pattern alone does not stand the pressure that a judge expects: those that come nearest to it."""
    keys = judge.settled(passing=True)[:JUDGED]
    if not len(keys):
        return []
    expected = {tuple(key): pressure for key, pressure in zip(keys.tolist(), judge.pressures(keys), strict=True)}
    best: dict[tuple[int, ...], tuple[float, Integers]] = {}
    outer = np.unique(keys[:, : len(families.outer)], axis=0)
    for crossed in families.cross(families.evaluate(outer).rows):
        digits = families.full_digits(crossed.keys[:, :-1], crossed.keys[:, -1])
        for row, key in enumerate(map(tuple, families.late_keys(crossed.keys).tolist())):
            if key in expected:
                short = 1.0 - float(crossed.threshold[row]) / expected[key]
                if key not in best or short < best[key][0]:
                    best[key] = (short, digits[row])
    return [row for _, row in sorted(best.values(), key=lambda item: item[0])[: LISTED + NEAREST]]


def what_to_relax(families: Families, known_of_all: bool = True) -> Relaxation:
    """Look at every candidate again, and keep those that miss one limit, two limits, or least of all.

    Unless all limits are `known_of_all` candidates, more of each are kept, for what is not known may be missed too.
    """
    found = Relaxation() if known_of_all else Relaxation(most=POOL, kept=KEPT)
    for outer in _outsides(families):
        digits = families.full_digits(outer)
        for group in families.space.groups(digits):
            seen = families.outside_columns(digits[group])
            if seen is not None:
                _look(families, seen, found)
    return found


def _outsides(families: Families) -> Iterator[Integers]:
    """Digits of the outsides to look at, in blocks: all of them where they are not too many."""
    size, radices = families.outer_size, families.outer_radices
    if size <= MOST_LOOKED:
        for start in range(0, size, BLOCK):
            yield digits_of(np.arange(start, min(start + BLOCK, size)), radices)
        return
    draw = np.random.default_rng(1)
    for start in range(0, DRAWN, BLOCK):
        yield draw.integers(0, radices, size=(min(BLOCK, DRAWN - start), len(radices)))


def _look(families: Families, seen: OutsideColumns, found: Relaxation) -> None:
    names, outer = outer_excess(families, seen)
    for rows, inner_names, inner, patterns in inner_excess(families, seen):
        for part in np.array_split(np.arange(len(rows)), max(1, len(rows) * inner.shape[1] * 16 // 2_000_000)):
            here = np.concatenate(
                [np.broadcast_to(outer[rows[part]][:, None, :], (len(part), inner.shape[1], len(names))), inner[part]],
                axis=2,
            )
            _keep(families, seen.digits[rows[part]], patterns, [*names, *inner_names], here, found)


def outer_excess(families: Families, seen: OutsideColumns) -> tuple[list[str], Floats]:
    """By how much each outside misses the limits that no pattern changes, (n, limits); infinite: not to be relaxed."""
    excess: dict[str, Floats] = {}
    for bound in families.outer_bounds():
        excess[bound.name] = bound.excess(seen.columns[bound.quantity])
    for bound in families.rules.scattered:  # known only of what passes everything else
        excess[bound.name] = np.where(seen.fails[bound.name], bound.excess(seen.columns[bound.quantity]), 0.0)
    for bound in families.rules.flights:
        fails = seen.flight_fails.get(bound.name, np.zeros(len(seen.digits), dtype=bool))
        excess[bound.name] = np.where(fails, bound.excess(seen.columns[bound.quantity]), 0.0)
    for name, fails in {**seen.fails, **seen.flight_fails}.items():
        name = limits.FLIGHT_REFUSED if name.startswith(limits.FLIGHT_REFUSED) else name
        if name not in excess:
            excess[name] = np.where(fails, np.inf, 0.0)
    if limits.FIT in excess:
        excess |= _fit_excess(seen)
    if not excess:
        return [], np.zeros((len(seen.digits), 0))
    return list(excess), np.stack([np.asarray(values, dtype=float) for values in excess.values()], axis=1)


def _fit_excess(seen: OutsideColumns) -> dict[str, Floats]:
    """By how much each outside misses the airframe, on the diameter and along the motor, as parts of its size."""
    airframe = seen.motors.airframe
    assert airframe is not None
    wide = (airframe.clearance - seen.columns["clearance"]) / airframe.inner_diameter
    long = np.zeros(len(seen.digits)) if airframe.length is None else -seen.columns["length_clearance"] / airframe.length
    return {limits.FIT: np.fmax(wide, 0.0), limits.FIT_LENGTH: np.fmax(long, 0.0)}


def inner_excess(families: Families, seen: OutsideColumns) -> Iterator[tuple[Integers, list[str], Floats, Integers]]:
    """For each outside that occurs: its rows, names of limits on modes and masses, excess (rows, patterns, limits) and
    the pattern numbers. Only patterns that no other beats in every limit are looked at.
    """
    catalogue, crossed = families.catalogue, families.crossed_bounds()
    modes = list(dict.fromkeys([*(term.mode for term in catalogue.terms), *seen.mode_fails]))
    shared = seen.digits[:, list(catalogue.shared)]
    distinct, inverse = np.unique(shared, axis=0, return_inverse=True)
    inverse = inverse.ravel()
    outer_floor = families.mode_floors(seen)
    for place, outside in enumerate(distinct):
        rows = np.flatnonzero(inverse == place)
        thresholds = catalogue.mode_thresholds(tuple(outside.tolist()), modes)
        patterns = catalogue.at(tuple(outside.tolist()))
        parts = [patterns.mass, *(patterns.parts[name] for name in sorted(patterns.parts))]
        # More of a mass may be wanted, or less; the weakest rung follows from those of all modes.
        matter = np.column_stack([-thresholds.T, *parts, *(-mass for mass in parts)]) if crossed else -thresholds.T
        finite = np.clip(np.nan_to_num(matter, nan=np.finfo(float).max), -1e300, 1e300)
        kept = np.flatnonzero(non_dominated(finite)) if finite.shape[1] else np.array([0])
        _, first = np.unique(finite[kept], axis=0, return_index=True)
        kept = kept[np.sort(first)]
        pressure = seen.pressure[rows][:, None]
        layers = []
        for mode_place, mode in enumerate(modes):
            stands = np.minimum(
                thresholds[mode_place][kept][None, :],
                outer_floor.get(mode, np.full(len(seen.digits), np.inf))[rows][:, None],
            )
            with np.errstate(invalid="ignore"):
                layers.append(np.where(stands >= pressure, 0.0, np.where(stands > 0.0, 1.0 - stands / pressure, np.inf)))
        names = [limit_name(families.rules, mode) for mode in modes]
        columns = families.crossed_columns(seen, rows, patterns, kept)
        for bound in crossed:
            layers.append(bound.excess(columns[bound.quantity]))
            names.append(bound.name)
        stack = np.stack(layers, axis=2) if layers else np.zeros((len(rows), len(kept), 0))
        yield rows, names, np.where(np.isnan(stack), np.inf, stack), kept


def _keep(families: Families, digits: Integers, patterns: Integers, names: list[str], excess: Floats, found: Relaxation) -> None:
    """Keep the best of a block of candidates, excess (rows, patterns, limits)."""
    missed = excess > 0.0
    count = missed.sum(axis=2)
    worst = excess.max(axis=2, initial=0.0)
    worst = np.where(np.isfinite(worst), worst, np.inf)

    def full(row: int, column: int) -> Integers:
        whole: Integers = digits[row].copy()
        if families.inner:
            whole[list(families.catalogue.inner)] = families.catalogue.digits(patterns[[column]])[0]
        return whole

    for place in np.argsort(worst, axis=None, kind="stable")[: found.most]:
        row, column = np.unravel_index(place, worst.shape)
        if np.isfinite(worst[row, column]):
            found.nearest.append((float(worst[row, column]), full(int(row), int(column))))
    found.nearest = sorted(found.nearest, key=lambda item: (item[0], item[1].tolist()))[: found.most]
    for place, name in enumerate(names):
        rows, columns = np.nonzero((count == 1) & missed[:, :, place] & np.isfinite(worst))
        values = worst[rows, columns]
        few = np.argsort(values, kind="stable")[: found.kept]
        kept = found.singles.get(name, []) + [(float(values[at]), full(int(rows[at]), int(columns[at]))) for at in few]
        if kept:
            found.singles[name] = sorted(kept, key=lambda item: item[0])[: found.kept]
    rows, columns = np.nonzero((count == 2) & np.isfinite(worst))
    if len(rows):
        which = np.argsort(~missed[rows, columns], axis=1, kind="stable")[:, :2]
        code = which.min(axis=1) * len(names) + which.max(axis=1)
        order = np.lexsort((worst[rows, columns], code))
        _, first = np.unique(code[order], return_index=True)
        for best in order[first]:
            value = float(worst[rows[best], columns[best]])
            low, high = sorted(names[place] for place in which[best])
            key = (low, high)
            if key not in found.pairs or value < found.pairs[key][0]:
                found.pairs[key] = (value, full(int(rows[best]), int(columns[best])))


def misses(families: Families, digits: Integers) -> list[Miss]:
    """By how much one candidate (digits over all variables) misses each limit, in the limits' own terms."""
    seen = families.outside_columns(np.asarray(digits).reshape(1, -1))
    if seen is None:
        return []
    found: list[Miss] = []
    columns = {name: float(np.asarray(column)[0]) for name, column in seen.columns.items()}
    pressure = float(seen.pressure[0])
    outside = tuple(seen.digits[0, list(families.catalogue.shared)].tolist())
    patterns = families.catalogue.at(outside)
    pattern = families.catalogue.number(seen.digits[0, list(families.catalogue.inner)])
    crossed = families.crossed_columns(seen, np.array([0]), patterns, np.array([pattern]))
    columns |= {name: float(values[0, 0]) for name, values in crossed.items()}
    for bound in (*families.outer_bounds(), *families.crossed_bounds()):
        value = columns[bound.quantity]
        if bool(bound.fails(np.array(value))):
            found.append(miss(bound, value))
    for mode, stands in families.mode_stands(seen, pattern).items():
        if not stands >= pressure:
            required = families.required(mode)
            found.append(
                Miss(
                    limit_name(families.rules, mode),
                    required * stands / pressure,
                    required,
                    "min",
                    1.0 - stands / pressure,
                )
            )
    if limits.FIT in seen.fails and bool(seen.fails[limits.FIT][0]):
        found += _fit_misses(seen)
    row = np.asarray(digits).reshape(1, -1)
    return found + _flown_misses(families, row, seen.motors) + _scattered_misses(families, row)


def _flown_misses(families: Families, digits: Integers, motors: Motors) -> list[Miss]:
    """What one candidate's flight misses, whatever else it misses."""
    rules = families.rules
    if not rules.flown:
        return []
    flights = families.flown(motors)
    bounds = {bound.name: bound for bound in rules.flights}
    found = []
    for name, fails in limits.flight_fails(rules, flights, unknown_masses(motors), 1).items():
        if fails[0]:
            bound = bounds.get(name)
            value = np.nan if bound is None else float(flights.figures[bound.quantity][0])
            found.append(Miss(name, np.nan, np.nan, "max", np.inf) if np.isnan(value) or bound is None else miss(bound, value))
    return found


def _scattered_misses(families: Families, digits: Integers) -> list[Miss]:
    """What one candidate misses under the tolerances, whatever else it misses."""
    if not families.rules.scatter:
        return []
    columns = families.scattered(digits, families.space.candidates(digits).motors)
    known = {name: float(values[0]) for name, values in columns.items()}
    if any(np.isnan(value) for value in known.values()):  # no bound can be moved so far that this one passes
        return [Miss(limits.OUTSIDE_SCATTERED, np.nan, np.nan, "max", np.inf)]
    values = ((bound, known[bound.quantity]) for bound in families.rules.scattered)
    return [miss(bound, value) for bound, value in values if bool(bound.fails(np.array(value)))]


def _fit_misses(seen: OutsideColumns) -> list[Miss]:
    airframe = seen.motors.airframe
    assert airframe is not None
    found = []
    clearance, wanted = float(seen.columns["clearance"][0]), float(np.ravel(airframe.clearance)[0])
    inside = float(np.ravel(airframe.inner_diameter)[0])
    if clearance < wanted:
        part = (wanted - clearance) / inside
        # Where not even a bare case would go in, less clearance is no help: the tube has to be wider.
        wider = Miss(limits.FIT_WIDTH, inside + wanted - clearance, inside, "max", part)
        found.append(wider if clearance < 0.0 else Miss(limits.FIT, clearance, wanted, "min", part))
    left = float(seen.columns["length_clearance"][0])
    if left < 0.0:
        assert airframe.length is not None
        length = float(np.ravel(airframe.length)[0])
        found.append(Miss(limits.FIT_LENGTH, length - left, length, "max", -left / length))
    return found
