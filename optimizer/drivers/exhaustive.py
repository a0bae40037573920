"""The exhaustive driver: every candidate checked, block by block, the front growing as it goes.

Owns the seeded, shuffled order of the blocks, the record of finished blocks, and the proof at the end that none is
missing. The kernel runs once for each distinct ballistic motor; inner patterns are crossed with what survives. What
comes out does not depend on the order or the size of the blocks. May import families, finalists, front and store.
"""

from __future__ import annotations

import math
import os
import random
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates.families import Families
from optimizer.candidates.judges import Judge
from optimizer.candidates.pareto import Archive, order, rounded
from optimizer.candidates.space import digits_of
from optimizer.candidates.workers import Crew
from optimizer.drivers.blocks import Block as StoredBlock
from optimizer.drivers.blocks import MemoryStore, Store
from optimizer.drivers.cluster import Cluster

if TYPE_CHECKING:
    from optimizer.inputs import Study

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

BLOCK = 16384
"""Outsides a block."""
JUDGE_ALL = 1500
"""Up to so many keys the judge of heat takes every candidate that is left, and the counts are exact."""
JUDGE_ALL_CROSSED = 20_000_000

Progress = Callable[["State"], None]


@dataclass
class State:
    """How far a search has come; given to the progress callback after each block."""

    stage: str = "screening"
    done: int = 0
    total: int = 0
    feasible: int = 0
    front: int = 0
    archive: Archive = field(default_factory=lambda: Archive(0, 0))


@dataclass
class Screened:
    """The result of a screen: the front (points to be minimised, keys) and what was counted."""

    points: Floats
    keys: Integers
    rejected: Counter[str]
    feasible: int
    evaluated: int
    judges: tuple[Judge, ...]
    counts_are_exact: bool = True
    messages: list[str] = field(default_factory=list)
    rows: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    def listed(self, families: Families, most: int) -> tuple[Integers, Integers, int]:
        """Keys of the designs to list, in order, each set of exact ties together (at most `most` of one set), the
        number of the set of each, and how many ties are left out.

        The front holds one pattern of those that come to the same; here the others are found again.
        """
        if not len(self.points):
            return self.keys, np.zeros(0, dtype=np.int64), 0
        points, keys = [self.points], [self.keys]
        distinct, number = np.unique(self.points, axis=0, return_inverse=True)
        for crossed in families.cross(self.rows, every=True):
            near = among(rounded(crossed.points), distinct)
            crossed = crossed.take(near)
            for judge in self.judges:
                crossed = judge.corrected(crossed)
            again = among(rounded(crossed.points), distinct)
            points.append(rounded(crossed.points)[again])
            keys.append(crossed.keys[again])
        every, place = np.unique(np.vstack(keys), axis=0, return_index=True)
        values = np.vstack(points)[place]
        sequence = order(values, every)
        values, every = values[sequence], every[sequence]
        _, number = np.unique(values, axis=0, return_inverse=True)
        number = number.ravel()
        first = {group: at for at, group in reversed(list(enumerate(number.tolist())))}
        within = np.arange(len(number)) - np.array([first[group] for group in number.tolist()])
        shown = within < most
        ranks = {group: at + 1 for at, group in enumerate(dict.fromkeys(number[shown].tolist()))}
        return every[shown], np.array([ranks[group] for group in number[shown].tolist()]), int((~shown).sum())


def among(points: Floats, wanted: Floats) -> NDArray[np.bool_]:
    """Which rows stand in `wanted`."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    # -0.0 and 0.0 are one value, and their bytes differ.
    left, right = _bytes(points + 0.0), _bytes(wanted + 0.0)
    return np.isin(left, right)


def _in_rows(rows: Integers, wanted: Integers) -> NDArray[np.bool_]:
    """Which rows stand in `wanted`; both of integers."""
    return np.asarray(np.isin(_bytes(np.asarray(rows, dtype=np.int64)), _bytes(np.asarray(wanted, dtype=np.int64))))


def _bytes(rows: Any) -> Any:
    rows = np.ascontiguousarray(rows)
    return rows.view(np.dtype((np.void, 8 * rows.shape[1]))).ravel()


def shuffled(size: int, seed: int) -> tuple[int, int]:
    """Factor and offset of the seeded shuffle i -> (factor·i + offset) mod size, which meets every index once."""
    draw = random.Random(f"{seed}:{size}")
    factor = draw.randrange(size // 3 + 1, size + 1) if size > 3 else 1
    while math.gcd(factor, size) != 1:
        factor += 1
    return factor, draw.randrange(size)


def indices_of(block: int, size: int, length: int, seed: int) -> Integers:
    """Indices of the outsides of one block, in rising order."""
    factor, offset = shuffled(size, seed)
    start, stop = block * length, min((block + 1) * length, size)
    if size < 2**31:
        return np.sort((np.arange(start, stop, dtype=np.int64) * (factor % size) + offset) % size)
    return np.sort(np.array([(factor * place + offset) % size for place in range(start, stop)], dtype=np.int64))


def screen(
    families: Families,
    store: Store | MemoryStore,
    seed: int = 1,
    progress: Progress | None = None,
    confirm: bool = False,
    block: int = BLOCK,
) -> Screened:
    """Check every candidate, then judge finalists until the front holds none that is unjudged.

    A block already in the store is read, not computed. Another process on the same store works elsewhere in the order.
    """
    size = families.outer_size
    count = -(-size // block)
    state = State("screening", 0, count, 0, 0, _archive(families))
    totals = _Totals()
    for stored in _all_blocks(families, store, size, count, block, seed):
        _take(families, stored, totals, state.archive, ())
        state.done, state.feasible, state.front = totals.blocks, totals.feasible, len(state.archive.points)
        if progress is not None:
            progress(state)
    assert totals.blocks == count, "a block is missing"
    result = Screened(
        state.archive.points, state.archive.keys, totals.rejected, totals.feasible, families.space.size,
        judges_for(families, confirm),
    )  # fmt: skip
    finish(families, store, result, state, progress)
    return result


def judges_for(families: Families, confirm: bool) -> tuple[Judge, ...]:
    """The judges that a front needs: heat where rungs of it read inner variables, and the transient kernel to confirm."""
    judges = (Judge(families), *((Judge(families, confirm=True),) if confirm else ()))
    return tuple(judge for judge in judges if judge.needed)


def finish(families: Families, store: Store | MemoryStore, result: Screened, state: State, progress: Progress | None) -> None:
    """Judge the front until all of it is judged, and note the rows it comes from."""
    if result.judges:
        _settle(families, store, result, state, progress)
    else:
        result.points, result.keys = state.archive.sorted()
    result.rows = _rows_of(families, store, result.keys)


def _rows_of(families: Families, store: Store | MemoryStore, keys: Integers) -> Floats:
    """The stored rows of the outsides of these candidates."""
    wide = len(families.outer)
    wanted = np.unique(keys[:, :wide], axis=0).astype(float)
    found = [np.zeros((0, len(families.columns)))]
    for stored in store.blocks():
        if stored.number < FIRST_OTHER and len(stored.rows) and len(wanted):
            found.append(stored.rows[among(stored.rows[:, :wide], wanted)])
    return np.vstack(found)


@dataclass
class _Totals:
    rejected: Counter[str] = field(default_factory=Counter)
    feasible: int = 0
    blocks: int = 0
    rows: int = 0


def _archive(families: Families) -> Archive:
    return Archive(len(families.rules.aims), len(families.outer) + 1)


def _all_blocks(
    families: Families, store: Store | MemoryStore, size: int, count: int, length: int, seed: int
) -> Iterator[StoredBlock]:
    """Every block once: those in the store first, then the others, computed and stored."""
    finished = store.finished()
    given: set[int] = set()
    for number in sorted(number for number in finished if number < count):
        stored = store.read(number)
        if stored is not None:
            given.add(number)
            yield stored
    # Each process has an order of its own, so that those that share a record seldom compute the same block.
    factor, offset = shuffled(count, os.getpid())
    wanted = [(factor * step + offset) % count for step in range(count)]
    others: list[StoredBlock] = []

    def still_wanted(number: int) -> bool:
        """Whether no other process has finished the block by now."""
        stored = store.read(number)
        if stored is not None:
            others.append(stored)
        return stored is None

    driver = families.study.driver

    def compute(number: int) -> StoredBlock:
        return _computed(families, number, size, length, seed)

    crew: Crew[StoredBlock] | Cluster[StoredBlock] = Crew(compute, driver.workers)
    if driver.cluster:
        common = (families.study, families.kernel, size, length, seed)
        crew = Cluster(driver.cluster, computed_elsewhere, common, compute)
    for _, stored in crew.blocks([number for number in wanted if number not in given], still_wanted):
        store.write(stored)
        yield stored
        while others:
            yield others.pop()
    yield from others
    store.messages += crew.messages


_elsewhere: tuple[tuple[str, ...], Families] | None = None


def computed_elsewhere(study: Study, kernel: str, size: int, length: int, seed: int, number: int) -> StoredBlock:
    """A block in a process that has nothing but the study; its families are made once."""
    global _elsewhere
    key = study.digest, study.motor.digest, kernel
    if _elsewhere is None or _elsewhere[0] != key:
        _elsewhere = key, Families(study, kernel)
    return _computed(_elsewhere[1], number, size, length, seed)


def _computed(families: Families, number: int, size: int, length: int, seed: int) -> StoredBlock:
    found = families.evaluate(digits_of(indices_of(number, size, length, seed), families.outer_radices))
    notes = {"rejected": dict(found.rejected), "feasible": found.feasible, "evaluated": found.evaluated}
    return StoredBlock(number, notes, found.rows)


def _take(
    families: Families, stored: StoredBlock, totals: _Totals | None, archive: Archive, judges: tuple[Judge, ...],
    without: tuple[Judge, Integers] | None = None,
) -> None:  # fmt: skip
    """Add a block to the totals and its candidates to the front."""
    if totals is not None:
        totals.rejected.update(stored.notes["rejected"])
        totals.feasible += stored.notes["feasible"]
        totals.blocks += 1
        totals.rows += len(stored.rows)
    points, keys = [np.zeros((0, archive.objectives))], [np.zeros((0, archive.key_width), dtype=np.int64)]
    for crossed in families.cross(stored.rows):
        for judge in judges:
            crossed = judge.corrected(crossed)
        if without is not None and len(crossed.keys):
            judge, left_out = without
            crossed = crossed.take(~_in_rows(judge.keys(crossed.keys), left_out))
        points.append(crossed.points)
        keys.append(crossed.keys)
    # All of a block at once: a front of thousands is sorted anew at each addition.
    archive.add(np.concatenate(points), np.concatenate(keys))


def _settle(
    families: Families,
    store: Store | MemoryStore,
    result: Screened,
    state: State,
    progress: Progress | None,
) -> None:
    """Judge the members of the front, and draw it again without those that fail, until all have been judged.

    Where members fail, the next round asks further than the front, for what the rounds after it would ask if all that it
    asks failed (`_ahead`): judging many at once costs little more than judging one.
    """
    state.stage = "judging finalists"
    heat = result.judges[0]
    if not heat.confirm:
        _judge_everything(families, store, result, heat)
    archive = _redrawn(families, store, result.judges) if heat.judged else state.archive
    failing: set[bool] = set()
    while True:
        points, keys = archive.sorted()
        fresh = failed = False
        for judge in result.judges:
            unknown = judge.unknown(keys)
            judge.judge(_ahead(families, store, result.judges, judge, unknown) if judge.confirm in failing else unknown)
            fresh |= len(unknown) > 0
            failed |= not all(judge.passes(key) for key in unknown)
            if failed:
                failing.add(judge.confirm)
                break
        state.front = len(points)
        if progress is not None:
            progress(state)
        if not fresh:
            break
        archive = _redrawn(families, store, result.judges)
    result.points, result.keys = points, keys


AHEAD = {True: 48, False: 4096}
"""Up to so many keys a round asks ahead, of the transient kernel and of heat: as many cost little more than one."""
ROUNDS_AHEAD = 8


def _ahead(families: Families, store: Store | MemoryStore, judges: tuple[Judge, ...], judge: Judge, unknown: Integers) -> Integers:
    """These keys, and those that the rounds after them would ask if all of them failed."""
    for _ in range(ROUNDS_AHEAD if len(unknown) else 0):
        if len(unknown) >= AHEAD[judge.confirm]:
            break
        _, keys = _redrawn(families, store, judges, (judge, unknown)).sorted()
        fresh = judge.unknown(keys)
        if not len(fresh):
            break
        unknown = np.vstack([unknown, fresh])
    return unknown


def _redrawn(
    families: Families, store: Store | MemoryStore, judges: tuple[Judge, ...], without: tuple[Judge, Integers] | None = None
) -> Archive:
    """The front of all candidates that pass, as far as is known; `without` those of keys that a judge has not seen yet."""
    archive = _archive(families)
    for stored in store.blocks():
        if stored.number < FIRST_OTHER:
            _take(families, stored, None, archive, judges, without)
    return archive


FIRST_OTHER = 1_000_000_000
"""Blocks from this number on are not of the screen itself."""


def _judge_everything(families: Families, store: Store | MemoryStore, result: Screened, heat: Judge) -> None:
    """Judge heat for all candidates that are left, where they are few, and correct the counts."""
    rows = [stored.rows for stored in store.blocks() if stored.number < FIRST_OTHER]
    table = np.vstack(rows) if rows else np.zeros((0, len(families.columns)))
    late = math.prod(families.space.radices[number] for number in families.catalogue.late_variables)
    if len(table) * late > JUDGE_ALL or len(table) * families.catalogue.size > JUDGE_ALL_CROSSED:
        result.counts_are_exact = False
        return
    feasible, heat.thorough = 0, True
    for crossed in families.cross(table, every=True):
        heat.judge(heat.unknown(crossed.keys))
        feasible += len(heat.corrected(crossed).keys)
        result.rejected.update(_broken_by(heat, crossed.keys))
    result.feasible, heat.thorough = feasible, False


def _broken_by(heat: Judge, keys: Integers) -> Counter[str]:
    """Candidates that break each limit of the judge."""
    broken: Counter[str] = Counter()
    if not len(keys):
        return broken
    distinct, counts = np.unique(heat.keys(keys), axis=0, return_counts=True)
    for key, many in zip(distinct.tolist(), counts.tolist(), strict=True):
        verdict = heat.verdict(key)
        for name in verdict[3] if verdict is not None else ():
            broken[name] += many
    return broken
