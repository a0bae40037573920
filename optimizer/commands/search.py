"""The search of a study: picks the driver, runs it, proves what it can and says what it did not.

Owns the order of the steps and what comes out of them: designs with their motor files, counts, and with nothing
feasible what to relax. May import the rest of the search, results and inputs.

What `exact` means. Every candidate was checked with the screening kernel, and each design of the front passed every
later judge (heat, and with `kernel = "auto"` the transient kernel): the front is that of all candidates that pass
everything. Objectives and results are those of the screening kernel, which is the one `check` uses unless told
otherwise; what the transient kernel gave stands beside them.
"""

from __future__ import annotations

import math
import sys
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer import results
from optimizer.candidates.buildable import Way, ways_in
from optimizer.candidates.catalogue import CatalogueError
from optimizer.candidates.families import Families
from optimizer.candidates.pareto import spread_out
from optimizer.candidates.space import SpaceError
from optimizer.drivers.blocks import MemoryStore, OtherStudyError, Store
from optimizer.drivers.exhaustive import BLOCK, Screened, State, among, screen
from optimizer.drivers.fingerprint import code_hash, fingerprint, versions
from optimizer.drivers.relaxation import DRAWN, SmallestChanges, misses, smallest_changes
from optimizer.drivers.rounding import roundings
from optimizer.inputs import motor_from_text
from optimizer.inputs.spans import Span
from optimizer.inputs.study import variable_spec
from optimizer.inputs.writing import motor_text
from optimizer.problems import InputError, Problem
from optimizer.vocabulary import FACTOR, spoken
from physics.assessment import Assessment, assess
from physics.designation import designation, impulse_class
from physics.failure.evidence import same_hardware
from physics.flight.mission import COLDEST
from physics.motors import Motors

if TYPE_CHECKING:
    from optimizer.inputs import Study

Integers = NDArray[np.int64]
Progress = Callable[[State], None]

WRITTEN = ("pareto.csv", "pareto.json", "run.json", "report.html")
"""What a search writes beside its motors."""
MOST_FAMILIES = 20_000_000
"""Families up to which `method = "auto"` checks every candidate."""
MOST_SCATTERED = 50_000
"""The same where each family takes the ladder of hundreds of samples."""
MOST_FLOWN = 5_000_000
"""The same where each family's rocket is flown."""
MOST_ASKED = 10_000_000_000
"""Families up to which `method = "exhaustive"` is taken at its word; these take more than a day."""
MOST_TIES = 24
"""Designs shown of one set of candidates whose objectives are exactly the same."""
MOST_DESIGNS = 1000
"""Designs that are written of a larger front, spread evenly over it."""
MOST_LISTED = 400
"""Designs up to which ties are listed one by one; beyond, fewer of each set."""
LONGEST_NAME = 1900
"""Letters of the study's name in that of a design, which a motor file has to take."""
MOST_ROUNDED = 200
"""Designs whose roundings to stock are worked out."""


@dataclass
class Design:
    """One design of the front: its variables (SI numbers or texts), results (SI), and its motor file as text."""

    number: int
    variables: dict[str, Any]
    texts: dict[str, str]
    results: dict[str, Any]
    digits: tuple[int, ...]
    group: int
    motor: str
    assessment: Assessment = field(repr=False)
    row: int = 0
    confirmed: dict[str, Any] | None = None
    roundings: list[dict[str, Any]] = field(default_factory=list)

    @property
    def file(self) -> str:
        """Name of its motor file in the results folder."""
        return f"motors/{self.number:02d}.toml"

    def as_dict(self) -> dict[str, Any]:
        """As in pareto.json."""
        answer: dict[str, Any] = {
            "number": self.number, "motor": self.file, "group": self.group,
            "variables": self.variables, "results": self.results,
        }  # fmt: skip
        if self.confirmed is not None:
            answer["confirmed"] = self.confirmed
        if self.roundings:
            answer["roundings"] = self.roundings
        return answer


@dataclass
class SearchResult:
    """What a search found and what it proved."""

    study: Study
    method: str
    why: str
    kernel: str
    designs: list[Design]
    space: int
    evaluated: int
    feasible: int
    exact: bool
    rejected_by: dict[str, int]
    seed: int
    seconds: float = 0.0
    relaxations: list[dict[str, Any]] = field(default_factory=list)
    nearest: list[dict[str, Any]] = field(default_factory=list)
    ways_in: list[dict[str, Any]] = field(default_factory=list)
    range_ends: list[dict[str, Any]] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    proof: str = ""
    budget_used: int | None = None
    convergence: list[tuple[int, float]] = field(default_factory=list)
    ties_not_listed: int = 0
    designs_not_listed: int = 0

    @property
    def not_assessed(self) -> list[dict[str, str]]:
        """Modes that could be computed for none of the designs listed, with the reason in the first: in no factor here."""
        found: dict[tuple[str, str], str] = {}
        seen: set[int] = set()
        for design in self.designs:
            if id(design.assessment) not in seen:
                seen.add(id(design.assessment))
                for item in design.assessment.ladder.not_assessed:
                    found.setdefault((item.mode, item.part), item.why)
        return [{"mode": mode, "part": part, "why": why} for (mode, part), why in found.items()]

    def as_dict(self) -> dict[str, Any]:
        """The object of pareto.json and of `search --json`."""
        answer: dict[str, Any] = {
            "schema": results.ANSWER_SCHEMA,
            "study": self.study.name,
            "method": self.method,
            "why": self.why,
            "kernel": self.kernel,
            "seed": self.seed,
            "objectives": {aim.name: aim.sense for aim in self.study.objectives},
            "designs": [design.as_dict() for design in self.designs],
            "space": self.space,
            "evaluated": self.evaluated,
            "feasible": self.feasible,
            "exact": self.exact,
            "proof": self.proof,
            "rejected_by": self.rejected_by,
            "relaxations": self.relaxations,
            "nearest": self.nearest,
            "ways_in": self.ways_in,
            "range_ends": self.range_ends,
            "not_assessed": self.not_assessed,
            "ties_not_listed": self.ties_not_listed,
            "designs_not_listed": self.designs_not_listed,
            "messages": self.messages,
        }
        if not self.exact:
            answer["budget_used"] = self.budget_used
            answer["convergence"] = [{"evaluated": count, "hypervolume": volume} for count, volume in self.convergence]
        return answer


def search(
    study: Study,
    out: Path | str | None = None,
    progress: Progress | None = None,
    kernel: str | None = None,
    seed: int | None = None,
    also: Callable[[SearchResult], Mapping[str, str]] | None = None,
) -> SearchResult:
    """Search a study; with `out` the results folder is written and the search can be resumed from it.

    `kernel` and `seed` replace those of the study; `also` gives further files for the folder, written with the rest.
    Raises InputError where the study asks for what cannot be, and OutputError where the machine fails; what was
    finished is then kept. InTheWay, before any work, where something stands in the folder that no run wrote.
    """
    started = time.perf_counter()
    folder = None if out is None else Path(out)
    asked = kernel or study.driver.kernel
    seed = study.driver.seed if seed is None else seed
    if folder is not None:
        results.refuse_foreign(folder, [*WRITTEN, *_numbered_motors(folder)])
    try:
        families = Families(study, "transient" if asked == "transient" else "steady")
        result = _driven(study, families, folder, progress, asked, seed)
    except SpaceError as error:
        raise _refused(study, error.key, error.problem, error.fix, "E159") from error
    except CatalogueError as error:
        fix = "fewer values of the variables that no kernel needs, or fewer such variables"
        raise _refused(study, "search", str(error), fix, "E155") from error
    except OtherStudyError as error:
        raise _refused(study, "--out", str(error), "another folder with --out", "E161") from error
    result.seconds = time.perf_counter() - started
    if folder is not None:
        write_results(result, folder, {} if also is None else also(result))
    return result


def choose(study: Study, families: Families) -> tuple[str, str]:
    """The driver, and why."""
    asked, many = study.driver.method, families.outer_size
    words = f"{families.space.size:,} candidates in {many:,} families that the kernel must see".replace(",", " ")
    if asked != "auto":
        return asked, f"asked for in the study; {words}"
    scattered = any(column.of_ladder for column in families.rules.scatter)
    most = MOST_SCATTERED if scattered else MOST_FLOWN if families.rules.flown else MOST_FAMILIES
    if many <= most:
        return "exhaustive", f"{words}: few enough to check every one"
    under = " with the ladder of every sample" if scattered else ""
    return "evolve", f"{words}: more than {most:,}, too many to check every one{under}".replace(",", " ")


def _refused(study: Study, key: str, problem: str, fix: str, code: str) -> InputError:
    return InputError([Problem(str(study.path), 0, key, "", problem, fix, code)])


def _open(study: Study, folder: Path | None, *parts: object) -> Store | MemoryStore:
    if folder is None:
        return MemoryStore()
    identity = str(Path(study.path).resolve())
    return Store.open(folder, fingerprint(study, *parts), identity, study.name)


def _driven(
    study: Study, families: Families, folder: Path | None, progress: Progress | None, asked: str, seed: int
) -> SearchResult:
    method, why = choose(study, families)
    if method == "exhaustive" and families.outer_size > MOST_ASKED:
        problem = f"asks for every one of {families.outer_size:.3g} families; the most is {MOST_ASKED:.0e}"
        fix = 'a longer step or fewer values, or method = "evolve"'
        raise _refused(study, "driver.method", problem, fix, "E155")
    confirm = asked == "auto"
    local = study.driver.store == "local"
    if method == "exhaustive":
        store = _open(study, folder, "screen", families.kernel, seed, BLOCK)
        try:
            screened = screen(families, store, seed, progress, confirm)
        finally:
            store.close()
        result = _result(study, families, screened, method, why, asked, seed)
        result.exact, result.proof = True, _proof(families, screened, confirm)
        if not local:
            result.messages.append("every candidate is checked here; the database of the study is not needed")
    else:
        from optimizer.drivers.evolutionary import evolve

        store = _open(study, folder if local else None, "evolve", families.kernel, seed, study.driver.budget)
        try:
            evolved = evolve(families, store, seed, study.driver.budget, progress, confirm, study.driver.store)
        finally:
            store.close()
        result = _result(study, families, evolved.screened, method, why, asked, seed)
        result.exact, result.proof = False, evolved.proof
        result.budget_used, result.convergence = evolved.families, evolved.convergence
    result.messages = [
        *study.cautions, *store.messages, *result.messages, *_about_flights(families), *_about_scatter(families),
    ]  # fmt: skip
    return result


def _about_flights(families: Families) -> list[str]:
    """What stands behind figures of the flight."""
    rules = families.rules
    if not rules.flown:
        return []
    text = f"{', '.join(spoken(name) for name in rules.flown)}: flown by the {families.kernel} kernel as a point mass in still"
    text += " air, apogees are upper bounds; only candidates that pass every other limit are flown, and counted there"
    if any(bound.quantity == COLDEST for bound in rules.flights):
        text += "; the least rail exit speed holds with the propellant at the coldest soak temperature"
    return [text]


def _about_scatter(families: Families) -> list[str]:
    """What stands behind columns over the tolerances."""
    columns = families.rules.scatter
    if not columns:
        return []
    names = ", ".join(column.name for column in columns)
    text = f"{names}: {families.study.driver.samples} samples of each design over the base motor's tolerances, at"
    text += f" ambient temperature, by the {families.kernel} kernel; evaluated only for candidates that pass every other limit"
    if any(column.of_ladder for column in columns):
        text += ". Those of the ladder take every rung, heat marched for each sample of what passes without it"
    return [text]


def _proof(families: Families, screened: Screened, confirm: bool) -> str:
    text = f"Every candidate was checked with the {families.kernel} kernel."
    if families.late_terms:
        text += " Heat was judged for " + ("every candidate left." if screened.counts_are_exact else "the finalists.")
    if confirm and len(screened.points):
        text += " Every design of the front also passes with the transient kernel."
    return text


def _result(study: Study, families: Families, screened: Screened, method: str, why: str, asked: str, seed: int) -> SearchResult:
    counted = sorted(screened.rejected.items(), key=lambda item: (-item[1], item[0]))  # whatever the order of the blocks
    rejected = {name: count for name, count in counted if count}
    feasible = screened.feasible if len(screened.points) or screened.counts_are_exact else 0
    result = SearchResult(
        study, method, why, families.kernel, [], families.space.size, screened.evaluated, feasible,
        True, rejected, seed, messages=list(screened.messages),
    )  # fmt: skip
    _add_judges(result, screened)
    screened = _thinned(result, screened)
    result.designs, result.ties_not_listed = designs_of(families, screened)
    if asked == "auto":
        _add_confirmed(families, screened, result.designs)
    if not result.designs:
        _add_relaxations(families, screened, result)
    else:
        some = result.designs[:MOST_ROUNDED]
        for design, found in zip(some, roundings(families.space, [d.digits for d in some], families.kernel), strict=True):
            design.roundings = [item.as_dict() for item in found]
    result.range_ends = range_ends(result)
    if result.ties_not_listed:
        result.messages.append(f"{result.ties_not_listed} more candidates have exactly the objectives of a design listed")
    return result


def _thinned(result: SearchResult, screened: Screened) -> Screened:
    """A front of more designs than anybody reads, as with continuous variables, with fewer of them."""
    distinct = np.unique(screened.points, axis=0)
    if len(distinct) <= MOST_DESIGNS:
        return screened
    result.designs_not_listed = len(distinct) - MOST_DESIGNS
    result.messages.append(f"the front has {len(distinct)} designs; {MOST_DESIGNS} of them, spread evenly over it, are listed")
    chosen = among(screened.points, distinct[spread_out(distinct, MOST_DESIGNS)])
    return replace(screened, points=screened.points[chosen], keys=screened.keys[chosen])


def _add_judges(result: SearchResult, screened: Screened) -> None:
    """Say what the judges of finalists did, and which limits they saw broken."""
    for judge in screened.judges:
        broken = dict(judge.broken())
        if judge.confirm and judge.judged:
            failed = sum(not verdict for verdict in judge.passed)
            text = f"{judge.judged} finalists were run through the transient kernel"
            text += f"; {failed} of them pass the steady kernel and not this one ({_listed(broken)})" if failed else ""
            result.messages.append(text)
        elif not judge.confirm and not screened.counts_are_exact:
            result.messages.append(
                f"heat was judged for {judge.judged} finalists and those next in line, not for all; `feasible` counts "
                f"candidates that pass everything else" + (f" ({_listed(broken)} broken)" if broken else "")
            )
            for name, count in broken.items():
                result.rejected_by[name] = result.rejected_by.get(name, 0) + count


def _listed(broken: Mapping[str, int]) -> str:
    return ", ".join(f"{name}: {count}" for name, count in sorted(broken.items(), key=lambda item: -item[1]))


# --- designs --------------------------------------------------------------------------------------------------------


def designs_of(families: Families, screened: Screened) -> tuple[list[Design], int]:
    """The designs of a front in order, with exact ties behind each, and how many ties are left out."""
    digits, groups, left_out = _with_ties(families, screened)
    designs: list[Design] = []
    space = families.space
    for rows in space.groups(digits) if len(digits) else []:
        motors = space.candidates(digits[rows]).motors
        found = assess(motors, kernel=families.kernel, curve=True)
        scattered = families.scattered(digits[rows], motors)
        for place, row in enumerate(rows):
            design = _design(families, digits[row], int(groups[row]), int(row) + 1, found, place)
            design.results |= {name: float(values[place]) for name, values in scattered.items()}
            design.results |= _factors_of(families.aimed_modes, found, place)
            design.results |= {name: float(values[place]) for name, values in families.varied(digits[rows]).items()}
            designs.append(design)
    return sorted(designs, key=lambda design: design.number), left_out


def _factors_of(modes: Sequence[str], found: Assessment, row: int) -> dict[str, float]:
    """The smallest factor of each of these modes, under the name of its objective."""
    rungs = [(rung.mode, float(np.broadcast_to(rung.factor, (found.motors.size,))[row])) for rung in found.ladder.rungs]
    return {f"{FACTOR}.{mode}": min(factor for name, factor in rungs if name == mode) for mode in modes}


def _with_ties(families: Families, screened: Screened) -> tuple[Integers, Integers, int]:
    """Digits over all variables of the designs to list, in order, the number of their group, and what is left out."""
    distinct = len(np.unique(screened.points, axis=0))
    keys, groups, left_out = screened.listed(families, max(1, min(MOST_TIES, MOST_LISTED // max(1, distinct))))
    return families.full_digits(keys[:, :-1], keys[:, -1]), groups, left_out


def _design(families: Families, digits: Integers, group: int, number: int, found: Assessment, row: int) -> Design:
    space, study = families.space, families.study
    name = f"{study.name[:LONGEST_NAME]}, design {number}"
    changes = space.changes(digits) | {"grain": space.grain_rows(digits)}
    note = f"Design {number} of the study {study.name!r}."
    one = found.motors.take(slice(row, row + 1))
    # A water proof of this very hardware stands in the design's file too; of other hardware nothing has been shown.
    keeps = bool(study.motor.evidence) and bool(same_hardware(one, study.motor.motors)[0])
    text = motor_text(study.motor, changes, name, note, (lambda table: table.get("kind") == "water") if keeps else None)
    _same_motor(motor_from_text(text, study.motor.path).motors, one, number)
    return Design(
        number, space.described(digits), space.texts(digits), figures_of(found, row), tuple(int(d) for d in digits),
        group, text, found, row,
    )  # fmt: skip


def _same_motor(read: Motors, meant: Motors, number: int) -> None:
    """The motor file must read back as the very motor that was assessed: every number the same float."""
    from optimizer.candidates.space import columns_of

    there, wanted = columns_of(read), columns_of(meant)
    for key in sorted(there.keys() | wanted.keys()):
        left, right = there.get(key), wanted.get(key)
        if left is None or right is None or left.shape != right.shape or not np.array_equal(left, right, equal_nan=True):
            raise AssertionError(f"design {number}: the motor file gives {key} = {left}, the search had {right}")


def figures_of(found: Assessment, row: int) -> dict[str, Any]:
    """Results of one motor of an assessment, SI, as in pareto.json."""
    from optimizer.candidates.limits import dimension_columns

    values: dict[str, Any] = {name: float(column[row]) for name, column in found.figures.values.items()}
    values["impulse_class"] = str(np.ravel(impulse_class(values["total_impulse"]))[0])
    values["designation"] = str(np.ravel(designation(values["total_impulse"], values["mean_thrust"]))[0])
    values["maximum_expected_pressure"] = float(found.maximum_expected_pressure[row])
    values["smallest_factor"] = float(found.smallest_factor[row])
    values["governing"] = found.governing[row]
    values["loaded_mass"] = float(found.masses["loaded"][row])
    values |= {f"{part}_mass": float(mass[row]) for part, mass in found.masses.items() if part not in ("loaded", "propellant")}
    values["propellant_mass_fraction"] = values["propellant_mass"] / values["loaded_mass"]
    values |= {name: float(column[row]) for name, column in dimension_columns(found.motors, found.fit).items()}
    values["stack_length"] = _stack(found.motors, row)
    if found.flight is not None and found.flight.refused is None:
        values |= {name: float(column[row]) for name, column in found.flight.figures.items()}
    return values


def _stack(motors: Motors, row: int) -> float:
    count, length = np.atleast_2d(motors.grain.count), np.atleast_2d(motors.grain.length)
    lengths = np.broadcast_to((count * length).sum(axis=1), (motors.size,))
    return float(lengths[row])


def _add_confirmed(families: Families, screened: Screened, designs: Sequence[Design]) -> None:
    """What the transient kernel gives for each design, beside the results of the screen."""
    from physics.ballistics import kernel as kernels

    if not designs:
        return
    digits = np.array([design.digits for design in designs])
    for judge in screened.judges:
        if judge.confirm:
            for design, known in zip(designs, judge.figures_of(digits), strict=True):
                design.confirmed = {"kernel": "transient", **known} if known else None
    left = np.flatnonzero([design.confirmed is None for design in designs])
    for rows in families.space.groups(digits[left]) if len(left) else []:
        motors = families.space.candidates(digits[left][rows]).motors
        figures = kernels.evaluate(motors, kernel="transient")
        for place, row in enumerate(left[rows]):
            values = {name: float(column[place]) for name, column in figures.values.items()}
            designs[row].confirmed = {"kernel": "transient", **values}


# --- nothing feasible -----------------------------------------------------------------------------------------------


def _add_relaxations(families: Families, screened: Screened, result: SearchResult) -> None:
    found = smallest_changes(families, screened.judges)
    for near in found.changes:
        entry: dict[str, Any] = {
            "limits": [item.limit for item in near.misses],
            "changes": [
                {"limit": item.limit, "side": item.side, "from": item.bound, "to": item.value, "part": item.excess}
                | ({"kernel": item.kernel} if item.kernel else {})
                for item in near.misses
            ],
            "variables": families.space.described(near.digits),
        }  # fmt: skip
        if len(near.misses) == 1:
            only = near.misses[0]
            entry |= {"limit": only.limit, "from": only.bound, "to": only.value}
        result.relaxations.append(entry)
    for number, near in enumerate(found.nearest, 1):
        missed = [item.as_dict() for item in near.misses]
        result.nearest.append({"id": number, "variables": families.space.described(near.digits), "misses": missed})
    result.messages += _about_look(families, found)
    if not result.nearest and found.passing is None:
        ways = [way.as_dict() | {"misses": _still_missed(way, families.kernel)} for way in ways_in(families.space, families.kernel)]
        result.ways_in = sorted(ways, key=lambda way: bool(way["misses"]))  # one that meets the limits too comes first


def _still_missed(way: Way, kernel: str) -> list[str] | None:
    """The limits that a candidate misses once it can be built; None where the screen cannot say."""
    try:
        families = Families(way.study, kernel)
    except SpaceError:
        return None
    return [item.limit for item in misses(families, np.zeros(len(families.space.variables), dtype=np.int64))]


def _about_look(families: Families, found: SmallestChanges) -> list[str]:
    """How far the look at what to relax went, and what it saw that the search had not."""
    texts = []
    if not found.whole and found.nearest:
        texts.append(f"what would let one in was looked for among {DRAWN:,} families drawn at random of "
                     f"{families.outer_size:.2g}; smaller changes may do".replace(",", " "))  # fmt: skip
    if found.passing is not None:
        words = families.space.texts(found.passing)
        said = ", ".join(f"{name} {text}" for name, text in words.items())
        texts.append(f"this candidate passes every limit and was not met within the budget: {said}; search with a larger "
                     'budget, or with method = "exhaustive"')  # fmt: skip
    return texts


def range_ends(result: SearchResult) -> list[dict[str, Any]]:
    """Variables at the end of what the study allows: of the whole front, of what is best in one objective, or, with
    nothing feasible, of every candidate named as nearest. What no motor file may exceed is no end of a range.
    """
    study, found = result.study, []
    for name, span in study.variables.items():
        for end, number in _ends_of(name, span):
            if result.designs:
                standing = [_stands(design.variables.get(name), number) for design in result.designs]
                of = ["front"] if all(standing) else _best_standing(result, standing)
            else:
                of = ["nearest"] if result.nearest and all(
                    _stands(row["variables"].get(name), number) for row in result.nearest) else []  # fmt: skip
            if of:
                found.append({"variable": name, "end": end, "value": number, "of": of, "kind": span.kind})
    return found


def _ends_of(name: str, span: Span) -> list[tuple[str, float]]:
    """The least and the most of a variable, where there is something beyond."""
    spec, _ = variable_spec(name)
    if span.count < 2 or span.item(0).si is None or spec is None:
        return []
    ends = [("least", float(np.nanmin(span.si))), ("most", float(np.nanmax(span.si)))]
    return [(end, number) for end, number in ends if not _stands(number, spec.low if end == "least" else spec.high)]


def _stands(value: Any, number: float) -> bool:
    return isinstance(value, (int, float)) and math.isclose(float(value), number, rel_tol=1e-9)


def _best_standing(result: SearchResult, standing: Sequence[bool]) -> list[str]:
    """The objectives of which every best design stands at an end."""
    named = []
    for aim in result.study.objectives:
        values = [aim.sign * design.results[aim.name] for design in result.designs]
        best = [stands for value, stands in zip(values, standing, strict=True) if value <= min(values)]
        if best and all(best):
            named.append(aim.name)
    return named


# --- the results folder ---------------------------------------------------------------------------------------------


def write_results(result: SearchResult, folder: Path, also: Mapping[str, str] | None = None) -> None:
    """Write pareto.csv, pareto.json, run.json, the motor files and `also` together: where one cannot be, none is."""
    files = {design.file: design.motor for design in result.designs}
    files |= {"pareto.csv": pareto_csv(result), "pareto.json": results.json_text(result.as_dict())}
    files |= {"run.json": results.json_text(run_record(result)), **(also or {})}
    results.write_together(folder, files, _numbered_motors(folder), str(result.study.path))


def _numbered_motors(folder: Path) -> list[str]:
    """Motor files of an earlier front, which would be taken for designs of this one."""
    found = (folder / "motors").glob("[0-9]*.toml") if (folder / "motors").is_dir() else ()
    return sorted(f"motors/{path.name}" for path in found if path.stem.isdigit())


def pareto_csv(result: SearchResult) -> str:
    """The designs as CSV: number, variables, results; SI units stand in the header, and every cell is safe to open."""
    from optimizer.vocabulary import find_quantity

    names = list(result.designs[0].variables) if result.designs else list(result.study.variables)
    figures = list(result.designs[0].results) if result.designs else [aim.name for aim in result.study.objectives]

    def headed(name: str) -> str:
        known = find_quantity(name)
        return f"{name} [{known.si_unit}]" if known is not None and known.si_unit else name

    header = ["number", "motor", "group", *(f"variable {name}" for name in names), *(headed(name) for name in figures)]
    rows = (
        [design.number, design.file, design.group, *(design.variables[name] for name in names),
         *(design.results[name] for name in figures)]
        for design in result.designs
    )  # fmt: skip
    return results.csv_text(header, rows)


def run_record(result: SearchResult) -> dict[str, Any]:
    """What was run: inputs with their hashes, versions, seed, time."""
    study = result.study
    used = {"python": sys.version.split()[0]} | versions(("grainwright", "numpy", "scipy", "moocore", "optuna"))
    return {
        "schema": results.ANSWER_SCHEMA,
        "study": study.name,
        "inputs": [{"file": str(path), "sha256": digest} for path, digest in study.sources],
        "code": code_hash(),
        "versions": used,
        "method": result.method,
        "why": result.why,
        "kernel": result.kernel,
        "seed": result.seed,
        "space": result.space,
        "evaluated": result.evaluated,
        "exact": result.exact,
        "proof": result.proof,
        "seconds": result.seconds,
        "rejected_by": dict(Counter(result.rejected_by)),
        "messages": result.messages,
    }
