"""What tests have shown of a motor: for each rung how far it is known to hold, what no test has touched, what to test next.

Imports the motor, test and firing files, the reduction and physics.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.firings import liner_left
from optimizer.firings.reduction import clean, reduce_firing
from optimizer.inputs import MotorFile, load_firing, load_motor
from optimizer.inputs.evidence import TestFile, is_firing, load_test
from optimizer.results import ANSWER_SCHEMA
from physics.assessment import Assessment, assess
from physics.ballistics.kernel import evaluate
from physics.failure import chances, proof
from physics.failure.chances import Estimate, Key, Model, Tested
from physics.failure.evidence import Evidence, Shown, highest_held, shown
from physics.failure.ladder import in_order
from physics.heat import bench
from physics.missing import NotComputable
from physics.motors import Figures, Ladder, Motors

TRIED = (1.1, 1.25, 1.5, 1.75, 2.0)
"""Pressures of the next water proof that are weighed, over the maximum expected pressure."""
ENOUGH = 0.9
"""Share of the best reduction (of the logarithm of the chance) that the lowest pressure worth naming must reach."""
COPY_POINTS = 1024
"""Points at which the lots of other copies are taken; without a test of one the chance is an integral, and needs none."""
HARMLESS = frozenset({"no damage", "liner charred", "throat widened"})
"""Findings after which a firing still counts as held."""


@dataclass(frozen=True)
class Vouched:
    """One rung: design and likely value [Pa or s], what it has held and by which test, its chance before and after.

    `band` are the 5 % and the 95 % end after the tests, `failed_at` where it did not hold, by the test `failed_by`.
    """

    mode: str
    part: str
    kind: str
    design: float
    likely: float
    held: float | None
    by: str
    before: Estimate
    after: Estimate
    place: str | None = None
    band: tuple[float, float] = (float("nan"), float("nan"))
    failed_at: float | None = None
    failed_by: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain data, SI."""
        return {
            "mode": self.mode,
            "part": self.part,
            "place": self.place,
            "kind": self.kind,
            "design": clean(self.design),
            "likely": clean(self.likely),
            "band": [clean(end) for end in self.band],
            "held": self.held,
            "by": self.by or None,
            "failed_at": self.failed_at,
            "failed_by": self.failed_by or None,
            "chance_before": clean(self.before.value),
            "chance_after": clean(self.after.value),
        }


@dataclass(frozen=True)
class NextTest:
    """The water proof that would teach most for its pressure [Pa over the surroundings], or why there is none."""

    pressure: float | None
    over_expected: float | None
    now: float
    then: float | None
    why: str

    def as_json(self) -> dict[str, Any]:
        """Plain data, SI."""
        return {
            "kind": "water",
            "plugged": True,
            "pressure": self.pressure,
            "over_expected": self.over_expected,
            "chance_now": clean(self.now),
            "chance_after": None if self.then is None else clean(self.then),
            "text": self.why,
        }


@dataclass(frozen=True)
class Vouching:
    """Everything `vouch` found; `failed` names the tests that did not hold, `notes` what was not used and why.

    `expected` is the maximum expected pressure [Pa], `lasts` how long the parts must last [s], `look` the motor assessed;
    `loaded` counts the rungs that each test loaded, `files` are those read.
    """

    name: str
    expected: float
    lasts: float
    tests: tuple[Evidence, ...]
    rungs: tuple[Vouched, ...]
    before: Estimate
    after: Estimate
    untouched: tuple[Key, ...]
    coverage: tuple[Mapping[str, Any], ...]
    liner: tuple[liner_left.Inspected, ...]
    stickers: tuple[Mapping[str, Any], ...]
    next_test: NextTest
    failed: tuple[str, ...]
    notes: tuple[str, ...]
    loaded: Mapping[str, int]
    files: tuple[Path, ...]
    look: Assessment = field(repr=False)

    def as_json(self) -> dict[str, Any]:
        """Plain data, SI."""
        return {
            "schema": ANSWER_SCHEMA,
            "motor": self.name,
            "maximum_expected_pressure": clean(self.expected),
            "tests": [{"name": one.name, "kind": one.kind, "outcome": one.outcome, "pressure": one.pressure} for one in self.tests],
            "chance_before": clean(self.before.value),
            "chance_after": clean(self.after.value),
            "rungs": [rung.as_json() for rung in self.rungs],
            "untouched": [{"mode": mode, "part": part} for mode, part in self.untouched],
            "coverage": [dict(row) for row in self.coverage],
            "liner": [one.as_json() for one in self.liner],
            "stickers": [dict(row) for row in self.stickers],
            "next_test": self.next_test.as_json(),
            "failed": list(self.failed),
            "notes": list(self.notes),
        }


def vouch(file: MotorFile, tests: Sequence[str | Path] = (), kernel: str = "steady") -> Vouching:
    """What the tests of a motor have shown: its own [[evidence]], and test and firing files.

    Chances are those at the maximum expected pressure, dimensions as drawn, strengths and formulas scattered. Raises
    InputError for a file that cannot be read.
    """
    look = assess(file.motors, kernel=kernel, curve=True)
    read = _Tests(file, tests, look)
    known = read.known(look)
    found = {one.name: shown(motors, one, _ladder_of(motors, look, known)) for one, motors in read.used}
    bounds = [item.bound for items in found.values() for item in items]
    plain, tested = _model(look, ()), _model(known, bounds)
    (whole, each), (after, each_after) = _chances(plain), _chances(tested)
    best, bands = highest_held(found, known.ladder), chances.known_bands(tested, known.ladder)
    broke = {item.key: (item.level, name) for name, items in found.items() for item in items if not item.bound.held}
    rungs = []
    for rung in in_order(known.ladder):
        key = (rung.mode, rung.part)
        if key not in each:
            continue
        held, by = best.get(key, (None, ""))
        low, likely, high = bands.get(key, (rung.band[0], rung.likely, rung.band[1]))
        design = float(np.ravel(np.asarray(rung.time if rung.pressure is None else rung.pressure))[0])
        rungs.append(
            Vouched(
                *key, rung.kind, design, _one(likely), held, by, each[key], each_after[key], rung.place,
                (_one(low), _one(high)), *broke.get(key, (None, "")),
            )
        )  # fmt: skip
    touched = {item.key for items in found.values() for item in items}
    touched |= {("liner burn-through", "liner") for one in read.liner if one.carried is not None}
    return Vouching(
        name=file.name,
        expected=float(look.maximum_expected_pressure[0]),
        lasts=float(look.figures["action_time"][0]),
        tests=tuple(one for one, _ in read.used),
        rungs=tuple(rungs),
        before=whole,
        after=after,
        untouched=tuple(key for key in each if key not in touched),
        coverage=tuple(read.coverage),
        liner=tuple(read.liner),
        stickers=tuple(read.stickers),
        next_test=_next_test(file.motors, known, bounds, after),
        failed=tuple(read.failed),
        notes=tuple(read.notes),
        loaded={name: len(items) for name, items in found.items()},
        files=tuple(dict.fromkeys(read.files)),
        look=look,
    )


def _one(value: Any) -> float:
    return float(np.ravel(value)[0])


class _Tests:
    """The tests that count, each with the motor it was of; those that failed; and what was not used."""

    def __init__(self, file: MotorFile, paths: Sequence[str | Path], look: Assessment) -> None:
        self.used: list[tuple[Evidence, Motors]] = [(one, file.motors) for one in file.evidence]
        self.failed = [one.name for one in file.evidence if one.outcome != "held"]
        self.notes: list[str] = []
        self.coverage: list[dict[str, Any]] = []
        self.files: list[Path] = [Path(path) for path in paths]
        self.liner: list[liner_left.Inspected] = []
        self.stickers: list[dict[str, Any]] = []
        self.units = file.units or "metric"
        for path in paths:
            self._firing(file, path, look) if is_firing(path) else self._test(file, path, look)
        for one in file.evidence:
            if one.kind == "bench burn":
                self._uncovered(one.name)

    def _bench_burn(self, look: Assessment, test: TestFile) -> None:
        """What the burn of a liner on the bench covers of the full motor, place by place."""
        if test.motor is None:
            self._uncovered(test.evidence.name)
            return
        motors = load_motor(test.motor).motors
        figures = evaluate(motors, curve=True) if test.nozzle else bench.open_burn(motors)
        name = test.evidence.name
        try:
            found = bench.coverage(bench.loads(look.motors, look.figures), bench.loads(motors, figures), test.in_case)
            self._lined(name, motors, figures, liner_left.losses(motors, test.liner_after), found)
            rows = liner_left.sticker_rows(name, motors, figures, test.stickers, self.units)
        except NotComputable as reason:
            self._uncovered(test.evidence.name, str(reason))
            return
        self.stickers += rows
        self.notes += [f"{name}: sticker at the {row['place']}, {row['says']}" for row in rows]
        self.coverage += [
            {"place": one.place, "verdict": one.verdict, "ratios": dict(one.ratios), "needs": one.needs, "test": test.evidence.name}
            for one in found
        ]
        for one in found:
            needs = f" ({one.needs})" if one.verdict == bench.COVERED else f"; it takes {one.needs}"
            self.notes.append(f"{test.evidence.name}: {one.place} {one.verdict}{needs if one.needs else ''}")

    def _uncovered(self, name: str, why: str = "give the motor file of what burned as motor") -> None:
        self.coverage.append({"place": None, "verdict": "not assessed", "ratios": {}, "test": name})
        self.notes.append(
            f"{name}: a bench burn loads no rung with pressure; whether it covers the liner in the motor is not assessed: {why}"
        )

    def _test(self, file: MotorFile, path: str | Path, look: Assessment) -> None:
        test = load_test(path, float(file.motors.ambient.pressure[0]))
        self.files += [] if test.motor is None else [test.motor]
        if test.evidence.kind == "bench burn":
            self._bench_burn(look, test)
        motors = file.motors if test.motor is None or test.evidence.kind == "bench burn" else load_motor(test.motor).motors
        self.used.append((test.evidence, motors))
        if test.evidence.outcome != "held":
            self.failed.append(test.evidence.name)
        if test.evidence.kind != "bench burn":
            unread = [key for key in ("liner_after", "stickers") if getattr(test, key)]
            self.notes += [f"{test.evidence.name}: {key} is read of a bench burn only" for key in unread]

    def known(self, look: Assessment) -> Assessment:
        """The motor with what the tests have measured of its liner."""
        factors = {one.measured.place: one.carried for one in self.liner if one.carried is not None}
        if not factors:
            return look
        return assess(bench.with_factors(look.motors, factors), kernel=look.figures.kernel, curve=True)

    def _lined(
        self, name: str, motors: Motors, figures: Figures, lost: Mapping[str, float], covered: Sequence[bench.Covered]
    ) -> None:
        """What the liner left after a test says of the model at each place."""
        found = liner_left.inspected(name, motors, figures, lost, {one.place: one.verdict for one in covered})
        self.liner += found
        self.notes += [one.words(self.units) for one in found]

    def _firing(self, file: MotorFile, path: str | Path, look: Assessment) -> None:
        firing = load_firing(path)
        self.files += [Path(str(source)) for source, _ in firing.sources] + ([] if firing.record is None else [firing.record])
        name = f"{firing.name}: firing"
        if firing.observed and not set(firing.observed.found) <= HARMLESS:
            self.failed.append(name)
            self.notes.append(
                f"{name}: it did not hold, and a record does not say which mode it was: ask `explain`, and give its answer as a "
                'test file with outcome = "failed" and mode'
            )
            return
        reduction = reduce_firing(firing)
        peak = reduction.measured.get("peak_head_pressure") or reduction.measured.get("peak_pressure")
        air = firing.measured.get("ambient_pressure", float(file.motors.ambient.pressure[0]))
        lasted = reduction.measured.get("action_time")
        if peak is None and lasted is None:
            self.notes.append(f"{name}: its record gives neither pressure nor time")
            return
        pressure = None if peak is None or not np.isfinite(peak) else float(peak) - air
        motors = file.motors if firing.motor is None else firing.motor.motors
        self.used.append((Evidence("firing", name, pressure, duration=lasted), motors))
        lost = liner_left.losses_of(firing)
        if lost:
            figures = evaluate(motors, curve=True)
            try:
                covered = bench.coverage(bench.loads(look.motors, look.figures), bench.loads(motors, figures))
                self._lined(name, motors, figures, lost, covered)
            except NotComputable as reason:
                self.notes.append(f"{name}: its liner is not compared: {reason}")


def _ladder_of(motors: Motors, look: Assessment, known: Assessment) -> Ladder:
    """The ladder of the motor that was tested: the one looked at, with what is known of its liner, or another file's."""
    return known.ladder if motors is look.motors else assess(motors, kernel=look.figures.kernel, curve=True).ladder


def _model(look: Assessment, bounds: Sequence[Tested]) -> Model:
    model = chances.model_of(look.ladder, look.maximum_expected_pressure, look.figures)
    return replace(model, tests=tuple(bound for bound in bounds if bound.key in model.margins))


def _chances(model: Model) -> tuple[Estimate, dict[Key, Estimate]]:
    return chances.chances(model, COPY_POINTS if any(one.of_copy for one in model.tests) else 1)


def _next_test(motors: Motors, look: Assessment, bounds: Sequence[Tested], now: Estimate) -> NextTest:
    """The lowest water proof that gains most of what any allowed one gains."""
    expected = float(look.maximum_expected_pressure[0])
    if not np.isfinite(expected) or motors.case is None:
        return NextTest(None, None, now.value, None, "nothing to proof: no case, or no maximum expected pressure")
    found = proof.proof_of(motors, look.ladder, expected)
    lowest = found.lowest
    loaded = [rung.most for rung in found.rungs if rung.kind != "advice" and np.isfinite(rung.most)]
    most = min(loaded, default=np.inf) / (1.0 + proof.GAUGE_ERROR)
    tried: list[tuple[float, float, float]] = []
    for over in TRIED:
        if over * expected > most:
            continue
        one = Evidence("water", "next", over * expected, plugged=True)
        more = [*bounds, *(item.bound for item in shown(motors, one, look.ladder))]
        tried.append((over, over * expected, _chances(_model(look, more))[0].value))
    if not tried:
        name = "" if lowest is None else f"{lowest.mode}, {lowest.part}"
        return NextTest(None, None, now.value, None, f"no proof worth doing stays below the lowest rung it loads ({name})")
    gains = [float(np.log(max(now.value, 1e-300) / max(then, 1e-300))) for _, _, then in tried]
    place = next(place for place, gain in enumerate(gains) if gain >= ENOUGH * max(gains) - 1e-12)
    over, pressure, then = tried[place]
    share = then / now.value if now.value else 1.0
    does = "would change little" if share > 0.95 else f"would bring the chance to {share:.2g} of what it is"
    return NextTest(pressure, over, now.value, then, f"a water proof at {over:g} times the maximum expected pressure {does}")


__all__ = ["NextTest", "Shown", "Vouched", "Vouching", "vouch"]
