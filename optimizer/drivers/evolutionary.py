"""The heuristic driver, for spaces beyond any screen: Optuna proposes outsides, each solved as a whole family.

Owns the loop of asking for many outsides, evaluating them as one block and telling what each family came to; its
record and replay; and the shared search of several machines through a PostgreSQL database. What it finds is not proven
to be the front of the space, and says so: the hypervolume over evaluations, and what an exact screen of a coarser space
reached, stand beside it. May import families, finalists, relax, screen, front and store.

On one machine the record is ours: the loop is a function of the seed and of what evaluations gave, so a resumed search
asks the same questions again and takes the answers from the record. On several machines the finished trials in the
database are the record. A worker shows a beat; a trial whose worker's beat has stood still for `STALE` seconds goes
back to the pool. Every constraint is written by name for every trial, because a trial with none counts as feasible.
"""

from __future__ import annotations

import json
import math
import os
import socket
import time
import uuid
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates import limits
from optimizer.candidates.families import Block, Families
from optimizer.candidates.judges import Judge
from optimizer.candidates.pareto import Archive, hypervolume
from optimizer.candidates.space import digits_of
from optimizer.drivers.blocks import Block as StoredBlock
from optimizer.drivers.blocks import MemoryStore, Store
from optimizer.drivers.exhaustive import FIRST_OTHER, Progress, Screened, State, finish, judges_for
from optimizer.drivers.fingerprint import fingerprint
from optimizer.drivers.relaxation import inner_excess, outer_excess
from optimizer.results import OutputError

if TYPE_CHECKING:
    import optuna

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

BATCH = 100
SHARED_BATCH = 16
MOST_LOSSES = 20
"""Times that a worker loses its database before it gives up, so that an error that stays is told and not repeated."""
PATIENCE = 60.0
"""Seconds for which a worker waits for a database that has gone away."""
STALE = 60.0
"""Seconds for which a worker's beat may stand still before its trials go back to the pool."""
COARSE = 4096
"""Families of the coarser space that is screened exactly, first of all; a quarter of the budget at most."""
_LOCK = 7346211
"""Our number among the database's advisory locks."""
GEOMETRY = "geometry"
FAR = 1e3
"""What stands for an excess that is not known; a sampler learns nothing from an infinite one."""
UNKNOWN = 1e12


@dataclass
class Evolved:
    """What the heuristic came to."""

    screened: Screened
    families: int
    convergence: list[tuple[int, float]]
    proof: str


@dataclass(frozen=True)
class EvaluatedFamilies:
    """What Optuna learns of each outside: objectives (n, m), constraints by name (n, c) and the stored rows."""

    values: Floats
    constraints: Floats
    block: Block


class FamilyEvaluator:
    """Evaluates outsides as families and makes of each what a sampler can learn from."""

    def __init__(self, families: Families, seed: int) -> None:
        self.families, self.seed = families, seed
        self.heat = Judge(families)
        self.archive = Archive(len(families.rules.aims), len(families.outer) + 1)
        self.names = self._names()

    def _names(self) -> list[str]:
        families = self.families
        names = [
            GEOMETRY,
            *(bound.name for bound in families.outer_bounds()),
            limits.CHOKED,
            limits.OUTSIDE,
            limits.FIT,
            limits.FIT_LENGTH,
            *(families.unranked(mode) for mode in families.aimed_modes),
            *(bound.name for bound in families.rules.flights),
            *([limits.FLIGHT_REFUSED, *limits.UNFLOWN.values()] if families.rules.flown else []),
            *(f"{name} not known" for name in families.rules.flown),
            *(bound.name for bound in families.rules.scattered),
            *([limits.OUTSIDE_SCATTERED] if families.rules.scatter else []),
        ]
        names += [families.limit_name(term.mode) for term in families.terms]
        names += [bound.name for bound in families.crossed_bounds()]
        return list(dict.fromkeys(names))

    def evaluate(self, outer: Integers, batch: int) -> EvaluatedFamilies:
        """Evaluate outsides (n, outer variables); `batch` numbers the draw of the weights."""
        families = self.families
        block = families.evaluate(outer)
        values = np.full((len(outer), len(families.rules.aims)), UNKNOWN)
        constraints = self._violations(outer)
        self._learn(block.rows)
        weights = np.random.default_rng([self.seed, batch]).dirichlet(np.ones(values.shape[1]), size=len(outer))
        place = {tuple(row): number for number, row in enumerate(outer.tolist())}
        best: dict[int, float] = {}
        for crossed in families.cross(block.rows):
            crossed = self.heat.corrected(crossed)
            scaled = self._scaled(crossed.points)
            for row, key in enumerate(crossed.keys[:, :-1].tolist()):
                number = place[tuple(key)]
                score = float((scaled[row] * weights[number]).max() + 1e-3 * scaled[row].sum())
                if score < best.get(number, math.inf):
                    best[number] = score
                    values[number] = crossed.points[row]
        for number in range(len(outer)):
            if number in best:
                constraints[number] = 0.0
            elif not (constraints[number] > 0.0).any():
                constraints[number, self._late_place()] = 1.0
        return EvaluatedFamilies(values, constraints, block)

    def _late_place(self) -> int:
        late = self.families.late_terms
        return self.names.index(self.families.limit_name(late[0].mode)) if late else 0

    def _learn(self, rows: Floats) -> None:
        """Take a block's candidates to the front, and judge those that reach it."""
        for crossed in self.families.cross(rows):
            crossed = self.heat.corrected(crossed)
            self.archive.add(crossed.points, crossed.keys)
        fresh = self.heat.unknown(self.archive.keys)
        if not len(fresh):
            return
        self.heat.judge(fresh)
        keep = np.array([self.heat.passes(key) for key in self.heat.keys(self.archive.keys)], dtype=bool)
        self.archive.points, self.archive.keys = self.archive.points[keep], self.archive.keys[keep]

    def _scaled(self, points: Floats) -> Floats:
        known = self.archive.points
        low, reach = np.zeros(points.shape[1]), np.ones(points.shape[1])
        if len(known):
            low, reach = known.min(axis=0), np.ptp(known, axis=0)
        return np.asarray((points - low) / np.where(reach > 0.0, reach, 1.0))

    def _violations(self, outer: Integers) -> Floats:
        """Excess over each limit of the pattern that misses least, finite, (n, names); geometry that cannot be: far."""
        found = np.zeros((len(outer), len(self.names)))
        found[:, self.names.index(GEOMETRY)] = FAR
        digits = self.families.full_digits(outer)
        for group in self.families.space.groups(digits):
            seen = self.families.outside_columns(digits[group])
            if seen is None:
                continue
            rows = group[self.families.possible_rows(digits[group])]
            found[rows, self.names.index(GEOMETRY)] = 0.0
            names, excess = outer_excess(self.families, seen)
            found[rows[:, None], np.array([self.names.index(name) for name in names])] = np.minimum(excess, FAR)
            for which, inner_names, inner, _ in inner_excess(self.families, seen):
                if inner.shape[2]:
                    least = inner.max(axis=2).argmin(axis=1)
                    columns = [self.names.index(name) for name in inner_names]
                    found[rows[which][:, None], np.array(columns)] = np.minimum(inner[np.arange(len(which)), least], FAR)
        return found


def evolve(
    families: Families,
    store: Store | MemoryStore,
    seed: int,
    budget: int,
    progress: Progress | None = None,
    confirm: bool = False,
    url: str = "local",
) -> Evolved:
    """Search by evolution within a budget of families; see the head of this file. Raises OutputError where the database
    cannot be reached.
    """
    evaluator = FamilyEvaluator(families, seed)
    outer = coarse_grid(families.outer_radices, max(1, min(COARSE, budget // 4)))
    state = State("evolving", 0, budget)
    if url == "local":
        coarse, counted, history, snapshots = _alone(families, store, evaluator, outer, seed, budget, progress, state)
    else:
        store, counted, history, snapshots = _together(families, evaluator, url, budget, progress, state, stale=STALE)
        coarse = families.evaluate(outer)
    screened = _settled(families, store, progress, confirm)
    return _summed(families, screened, counted, snapshots, coarse, history, seed, url)


# --- one machine ----------------------------------------------------------------------------------------------------


def _alone(
    families: Families,
    store: Store | MemoryStore,
    evaluator: FamilyEvaluator,
    coarse: Integers,
    seed: int,
    budget: int,
    progress: Progress | None,
    state: State,
) -> tuple[Block, int, str, list[tuple[int, Floats]]]:
    """Ask, evaluate, tell, until the budget is used or nothing new is asked for. The coarser space comes first."""
    import optuna

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    study = optuna.create_study(directions=["minimize"] * len(families.rules.aims))
    distributions = _distributions(families)
    known: dict[tuple[int, ...], tuple[Floats, Floats]] = {}
    snapshots: list[tuple[int, Floats]] = []
    first = _answered(families, store, evaluator, coarse, 0)
    for key, values, violations in zip(map(tuple, coarse.tolist()), first.values, first.constraints, strict=True):
        known[key] = (values, violations)
        study.add_trial(_as_trial(distributions, key, evaluator.names, values, violations))
    batch, idle, feasible = 1, 0, first.block.feasible
    snapshots.append((len(known) * families.catalogue.size, evaluator.archive.points.copy()))
    while len(known) < min(budget, families.outer_size) and idle < 20:
        # A sampler of its own for each batch: a resumed search draws the same numbers without replaying the draws.
        study.sampler = _sampler(seed, batch, budget)
        trials = [study.ask(distributions) for _ in range(min(BATCH, budget - len(known)))]
        asked = [tuple(int(trial.params[name]) for name in distributions) for trial in trials]
        fresh = [key for key in dict.fromkeys(asked) if key not in known]
        extra = _untried_neighbours(families, evaluator, known, fresh, len(trials) - len(fresh), seed, batch)
        evaluated = _answered(families, store, evaluator, np.array([*fresh, *extra], dtype=np.int64), batch)
        for key, values, violations in zip([*fresh, *extra], evaluated.values, evaluated.constraints, strict=True):
            known[key] = (values, violations)
        for trial, key in zip(trials, asked, strict=True):
            _tell(study, trial, evaluator.names, *known[key])
        for key in extra:
            study.add_trial(_as_trial(distributions, key, evaluator.names, *known[key]))
        idle = 0 if fresh or extra else idle + 1
        batch += 1
        feasible += evaluated.block.feasible
        snapshots.append((len(known) * families.catalogue.size, evaluator.archive.points.copy()))
        _show(progress, state, len(known), feasible, evaluator)
    reason = "" if len(known) >= budget else "; nothing new was asked for any more"
    return first.block, len(known), f"seed {seed}, {len(known)} of {budget} families used{reason}", snapshots


def _answered(
    families: Families, store: Store | MemoryStore, evaluator: FamilyEvaluator, outer: Integers, batch: int
) -> EvaluatedFamilies:
    """What a batch came to, from the record where it is there."""
    names, wide = evaluator.names, len(families.rules.aims)
    answer, rows = store.read(FIRST_OTHER + batch), store.read(batch)
    expected = (len(outer), len(families.outer) + wide + len(names))
    if answer is not None and rows is not None and answer.rows.shape == expected:
        columns = np.split(answer.rows, [len(families.outer), len(families.outer) + wide], axis=1)
        if np.array_equal(columns[0], outer):
            block = Block(rows.rows, rows.notes["rejected"], rows.notes["feasible"], rows.notes["evaluated"])
            evaluator._learn(block.rows)
            return EvaluatedFamilies(columns[1], columns[2], block)
    if not len(outer):
        none = np.zeros((0, len(families.columns)))
        return EvaluatedFamilies(np.zeros((0, wide)), np.zeros((0, len(names))), Block(none, {}, 0, 0))
    evaluated = evaluator.evaluate(outer, batch)
    store.write(StoredBlock(FIRST_OTHER + batch, {}, np.hstack([outer.astype(float), evaluated.values, evaluated.constraints])))
    notes = {
        "rejected": dict(evaluated.block.rejected),
        "feasible": evaluated.block.feasible,
        "evaluated": evaluated.block.evaluated,
    }
    store.write(StoredBlock(batch, notes, evaluated.block.rows))
    return evaluated


def _untried_neighbours(
    families: Families,
    evaluator: FamilyEvaluator,
    known: Mapping[tuple[int, ...], Any],
    fresh: Sequence[tuple[int, ...]],
    number: int,
    seed: int,
    batch: int,
) -> list[tuple[int, ...]]:
    """New outsides in the place of asked ones that are known already: small steps from the front."""
    draw = np.random.default_rng([seed, batch, 1])
    radices = np.array(families.outer_radices)
    taken = set(fresh)
    found: list[tuple[int, ...]] = []
    parents = evaluator.archive.keys[:, :-1]
    for _ in range(8 * number):
        if len(found) >= number:
            break
        if len(parents):
            parent = parents[draw.integers(len(parents))]
            step = draw.integers(-2, 3, size=len(radices)) * (draw.random(len(radices)) < 2.0 / len(radices))
            digits = np.clip(parent + step, 0, radices - 1)
        else:
            digits = draw.integers(0, radices)
        key = tuple(int(digit) for digit in digits)
        if key not in known and key not in taken:
            taken.add(key)
            found.append(key)
    return found


def _distributions(families: Families) -> dict[str, Any]:
    from optuna.distributions import CategoricalDistribution, IntDistribution

    found: dict[str, Any] = {}
    for number in families.outer:
        variable = families.space.variables[number]
        if variable.is_text:
            found[variable.name] = CategoricalDistribution(list(range(variable.count)))
        else:
            found[variable.name] = IntDistribution(0, variable.count - 1)
    return found


def _sampler(seed: int, batch: int, budget: int) -> Any:
    from optuna.samplers import NSGAIISampler

    drawn = int(np.random.default_rng([seed, batch, 2]).integers(2**31))
    return NSGAIISampler(population_size=int(min(200, max(24, budget // 20))), seed=drawn)


def _tell(study: Any, trial: Any, names: Sequence[str], values: Floats, violations: Floats) -> None:
    """Every constraint by name, every time: a trial with none counts as feasible."""
    for name, violation in zip(names, violations, strict=True):
        trial.set_constraint(name, float(violation))
    study.tell(trial, [float(value) for value in values])


def _as_trial(
    distributions: Mapping[str, Any], key: Sequence[int], names: Sequence[str], values: Floats, violations: Floats
) -> optuna.trial.FrozenTrial:
    import optuna

    return optuna.trial.create_trial(
        params=dict(zip(distributions, key, strict=True)),
        distributions=dict(distributions),
        values=[float(value) for value in values],
        constraints={name: float(value) for name, value in zip(names, violations, strict=True)},
    )


def _show(progress: Progress | None, state: State, done: int, feasible: int, evaluator: FamilyEvaluator) -> None:
    state.done, state.feasible, state.front, state.archive = done, feasible, len(evaluator.archive.points), evaluator.archive
    if progress is not None:
        progress(state)


# --- several machines -----------------------------------------------------------------------------------------------


class Shared:
    """One worker on a study in a database: claims trials, shows its beat, gives stale work back to the pool."""

    def __init__(self, url: str, name: str, objectives: int, worker: str = "", stale: float = STALE) -> None:
        import optuna
        import sqlalchemy

        optuna.logging.set_verbosity(optuna.logging.ERROR)
        address = url.replace("postgresql://", "postgresql+psycopg://", 1).replace("postgres://", "postgresql+psycopg://", 1)
        self.worker = worker or f"{socket.gethostname()}-{os.getpid()}-{uuid.uuid4().hex[:8]}"
        self.stale = stale
        self._beats: dict[str, tuple[int, float]] = {}
        self._count = 0
        engine = sqlalchemy.create_engine(address)
        # Two workers that start at once would both make the tables; the second waits here until they are there.
        with engine.connect() as held:
            held.execute(sqlalchemy.text(f"SELECT pg_advisory_lock({_LOCK})"))
            self.storage = optuna.storages.RDBStorage(address, engine_kwargs={"pool_pre_ping": True})
            self.study = optuna.create_study(
                storage=self.storage, study_name=name, directions=["minimize"] * objectives, load_if_exists=True,
                sampler=optuna.samplers.NSGAIISampler(population_size=50),
            )  # fmt: skip
            held.execute(sqlalchemy.text(f"SELECT pg_advisory_unlock({_LOCK})"))
        engine.dispose()

    def beat(self) -> None:
        """Show that this worker lives."""
        self._count += 1
        self.study.set_user_attr(f"beat {self.worker}", self._count)

    def claim(self, trial: Any) -> bool:
        """Put this worker's name on a trial; false where another worker gave it back to the pool in the meantime."""
        import optuna

        try:
            trial.set_user_attr("worker", self.worker)
        except optuna.exceptions.UpdateFinishedTrialError:
            return False
        return True

    def take_back(self, now: float | None = None) -> int:
        """Give the trials of workers whose beat stands still back to the pool; how many.

        Beats are watched by this worker's own clock, so that the clocks of several machines need not agree.
        """
        import optuna

        now = time.monotonic() if now is None else now
        beats = {name[5:]: count for name, count in self.study.user_attrs.items() if name.startswith("beat ")}
        for worker, count in beats.items():
            if self._beats.get(worker, (None, 0.0))[0] != count:
                self._beats[worker] = (count, now)
        running = self.study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.RUNNING,))
        back = 0
        for trial in running:
            worker = trial.user_attrs.get("worker", "")
            # A trial without a name was claimed by a worker that died between asking and signing.
            seen = self._beats.setdefault(worker if worker in beats else f"trial {trial.number}", (0, now))
            if worker != self.worker and now - seen[1] > self.stale and self._give_back(trial):
                back += 1
        return back

    def _give_back(self, trial: Any) -> bool:
        import optuna

        try:
            self.storage.set_trial_state_values(trial._trial_id, state=optuna.trial.TrialState.FAIL)
        except (optuna.exceptions.UpdateFinishedTrialError, RuntimeError):
            return False  # it was finished, or given back by another worker, in the meantime
        if trial.params:
            self.study.enqueue_trial(dict(trial.params), skip_if_exists=False)
        return True

    def finished(self) -> list[Any]:
        """The finished trials."""
        import optuna

        return self.study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.COMPLETE,))


def _together(
    families: Families,
    evaluator: FamilyEvaluator,
    url: str,
    budget: int,
    progress: Progress | None,
    state: State,
    worker: str = "",
    stale: float = STALE,
) -> tuple[MemoryStore, int, str, list[tuple[int, Floats]]]:
    """Work on the shared study until its finished trials have used the budget; then the record of all of them.

    A database that goes away is waited for; what it has as finished is then the record again, and the trials that this
    worker held when it was lost go back to the pool like those of a dead one.
    """
    name = f"grainwright {fingerprint(families.study, 'shared', families.kernel)[:24]}"

    def reach() -> Shared:
        return Shared(url, name, len(families.rules.aims), worker, stale)

    lost, patience = _database_errors(), 0.0
    for losses in range(MOST_LOSSES):
        try:
            shared = _reached(reach, lost, patience)
            state.stage, patience = "evolving", PATIENCE
            return _work(families, evaluator, shared, budget, progress, state)
        except lost as error:
            if losses + 1 == MOST_LOSSES:
                raise _unusable(error) from error
            state.stage = f"waiting for the database ({_reason(error)})"
            if progress is not None:
                progress(state)
    raise AssertionError("the last loss is raised")


def _database_errors() -> tuple[type[Exception], ...]:
    import optuna
    import sqlalchemy.exc

    return (sqlalchemy.exc.SQLAlchemyError, optuna.exceptions.StorageInternalError)


def _reached(reach: Callable[[], Shared], lost: tuple[type[Exception], ...], patience: float) -> Shared:
    """The shared study, tried again for `patience` seconds. Raises OutputError where the database stays away."""
    until = time.monotonic() + patience
    while True:
        try:
            return reach()
        except lost as error:
            if time.monotonic() >= until:
                raise _unusable(error) from error
        time.sleep(1.0)


def _unusable(error: Exception) -> OutputError:
    return OutputError(
        f"the database of the study cannot be used: {_reason(error)}; see that it runs and lets you in, and run the same "
        f"command again: what was finished is kept"
    )


def _reason(error: BaseException) -> str:
    """The first line of what the database itself said."""
    while error.__cause__ is not None:
        error = error.__cause__
    return str(getattr(error, "orig", None) or error).strip().splitlines()[0]


def _work(
    families: Families, evaluator: FamilyEvaluator, shared: Shared, budget: int, progress: Progress | None, state: State
) -> tuple[MemoryStore, int, str, list[tuple[int, Floats]]]:
    distributions = _distributions(families)
    record = MemoryStore()
    known: dict[tuple[int, ...], tuple[Floats, Floats]] = {}
    snapshots: list[tuple[int, Floats]] = []
    taken, turn = set[int](), 0
    while True:
        _gather(families, evaluator, shared, distributions, record, known, taken)
        _show(progress, state, len(known), 0, evaluator)
        snapshots.append((len(known) * families.catalogue.size, evaluator.archive.points.copy()))
        if len(known) >= min(budget, families.outer_size) or turn > 20 * budget:
            break
        shared.beat()
        shared.take_back()
        _one_round(evaluator, shared, distributions, known, min(SHARED_BATCH, budget - len(known)), turn)
        turn += 1
    text = f"{len(known)} of {budget} families used by all workers together; several workers have no common seed"
    return record, len(known), text, snapshots


def _one_round(
    evaluator: FamilyEvaluator,
    shared: Shared,
    distributions: Mapping[str, Any],
    known: Mapping[tuple[int, ...], tuple[Floats, Floats]],
    number: int,
    turn: int,
) -> None:
    """Claim some trials, evaluate those that nobody has evaluated, tell them all."""
    trials = []
    for _ in range(number):
        trial = shared.study.ask(dict(distributions))
        if shared.claim(trial):
            trials.append(trial)
    asked = [tuple(int(trial.params[name]) for name in distributions) for trial in trials]
    fresh = [key for key in dict.fromkeys(asked) if key not in known]
    answers = dict(known)
    packed: dict[tuple[int, ...], str] = {}
    for key in fresh:
        evaluated = evaluator.evaluate(np.array([key], dtype=np.int64), turn)
        shared.beat()  # a slow family must not make this worker look dead
        answers[key] = (evaluated.values[0], evaluated.constraints[0])
        notes = {
            "rejected": dict(evaluated.block.rejected),
            "feasible": evaluated.block.feasible,
            "evaluated": evaluated.block.evaluated,
        }
        packed[key] = json.dumps({"notes": notes, "rows": evaluated.block.rows.tolist()})
    for trial, key in zip(trials, asked, strict=True):
        _tell_if_mine(shared, trial, evaluator.names, answers[key], packed.pop(key, None))


def _tell_if_mine(shared: Shared, trial: Any, names: Sequence[str], answer: tuple[Floats, Floats], family: str | None) -> None:
    """Tell a trial and the family behind it, unless it was taken back because this worker looked dead."""
    import optuna

    try:
        if family is not None:
            trial.set_user_attr("family", family)
        _tell(shared.study, trial, names, *answer)
    except (optuna.exceptions.UpdateFinishedTrialError, ValueError, RuntimeError) as error:
        if trial._trial_id not in {t._trial_id for t in shared.finished()} and "FAIL" not in str(
            shared.storage.get_trial(trial._trial_id).state
        ):
            raise error


def _gather(
    families: Families,
    evaluator: FamilyEvaluator,
    shared: Shared,
    distributions: Mapping[str, Any],
    record: MemoryStore,
    known: dict[tuple[int, ...], tuple[Floats, Floats]],
    taken: set[int],
) -> None:
    """Take in what other workers have finished since. A family counts once, whoever evaluated it."""
    for trial in sorted(shared.finished(), key=lambda trial: trial.number):
        if trial.number in taken:
            continue
        taken.add(trial.number)
        key = tuple(int(trial.params[name]) for name in distributions)
        family = trial.user_attrs.get("family")
        if key in known or family is None:
            continue
        violations = np.array([trial.constraints.get(name, 0.0) for name in evaluator.names])
        known[key] = (np.array(trial.values), violations)
        evaluated = json.loads(family)
        rows = np.array(evaluated["rows"], dtype=float).reshape(-1, len(families.columns))
        record.write(StoredBlock(trial.number, evaluated["notes"], rows))
        evaluator._learn(rows)


# --- what came of it ------------------------------------------------------------------------------------------------


def coarse_grid(radices: Sequence[int], most: int) -> Integers:
    """Digits (n, variables) of a coarser space of at most `most` outsides: items of each variable evenly apart.

    >>> coarse_grid((5, 2), 6).tolist()
    [[0, 0], [0, 1], [2, 0], [2, 1], [4, 0], [4, 1]]
    """
    counts = [1] * len(radices)
    while True:
        larger = [place for place, radix in enumerate(radices) if counts[place] < radix]
        if not larger:
            break
        place = min(larger, key=lambda place: (counts[place], counts[place] / radices[place]))
        if math.prod(counts) // counts[place] * (counts[place] + 1) > most:
            break
        counts[place] += 1
    chosen = [
        np.unique(np.linspace(0, radix - 1, count).round().astype(np.int64)) if count > 1 else np.array([radix // 2])
        for radix, count in zip(radices, counts, strict=True)
    ]
    grid = digits_of(np.arange(math.prod(len(items) for items in chosen)), [len(items) for items in chosen])
    return np.stack([items[grid[:, place]] for place, items in enumerate(chosen)], axis=1)


def _settled(families: Families, store: Store | MemoryStore, progress: Progress | None, confirm: bool) -> Screened:
    """The front of everything evaluated, with its finalists judged; counts over everything evaluated."""
    archive = Archive(len(families.rules.aims), len(families.outer) + 1)
    rejected: Counter[str] = Counter()
    feasible = evaluated = 0
    for stored in store.blocks():
        if stored.number >= FIRST_OTHER:
            continue
        rejected.update(stored.notes["rejected"])
        feasible += stored.notes["feasible"]
        evaluated += stored.notes["evaluated"]
        for crossed in families.cross(stored.rows):
            archive.add(crossed.points, crossed.keys)
    result = Screened(archive.points, archive.keys, rejected, feasible, evaluated, judges_for(families, confirm))
    finish(families, store, result, State("judging finalists", archive=archive), progress)
    return result


def _summed(
    families: Families,
    screened: Screened,
    counted: int,
    snapshots: Sequence[tuple[int, Floats]],
    coarse: Block,
    history: str,
    seed: int,
    url: str,
) -> Evolved:
    convergence: list[tuple[int, float]] = []
    proof = f"A heuristic search, not proven: {history}."
    if len(screened.points):
        reference = _reference(screened.points)
        every = snapshots[:: max(1, len(snapshots) // 40)]
        convergence = [(count, hypervolume(points, reference)) for count, points in every]
        whole = hypervolume(screened.points, reference)
        alone = Archive(len(families.rules.aims), len(families.outer) + 1)
        for crossed in families.cross(coarse.rows):
            for judge in screened.judges:
                crossed = judge.corrected(crossed)
            alone.add(crossed.points, crossed.keys)
        reached = hypervolume(alone.points, reference) / whole if whole > 0.0 else 0.0
        proof += (
            f" An exact screen of a coarser space ({coarse.evaluated} candidates) reaches {100 * reached:.1f} % of its hypervolume."
        )
    return Evolved(screened, counted, convergence, proof)


def _reference(points: Floats) -> Floats:
    """A reference point a tenth of the front's reach beyond its worst values."""
    worst, reach = points.max(axis=0), np.ptp(points, axis=0)
    return np.asarray(worst + 0.1 * np.where(reach > 0.0, reach, np.abs(worst) + 1.0))


__all__ = ["BATCH", "STALE", "Evolved", "FamilyEvaluator", "Shared", "evolve"]
