"""Samples of the tolerances: Sobol points, the motors they make, and figures over them as columns.

What is done with them for one motor stands in `optimizer.commands.spread`. Imports the problems, the vocabulary and
physics.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from optimizer.problems import InputError, Problem
from optimizer.vocabulary import BOTH_ENDS, COLUMN_KEYS, MOST_SAMPLES, SHORT_KEYS
from physics.ballistics.kernel import evaluate
from physics.failure import chances
from physics.failure.chances import Key, Tested
from physics.failure.evidence import Evidence, same_hardware, shown
from physics.failure.ladder import MODES, assess_ladder, may_be_first
from physics.failure.scatter import Certainty
from physics.flight.mission import fly_motors
from physics.motors import Figures, Ladder, Motors, Tolerance

Floats = NDArray[np.float64]

Mask = NDArray[np.bool_]

CONFIDENCE = 0.95

PERCENTILES = (1, 5, 50, 95, 99)

FEWEST, MOST = 16, MOST_SAMPLES

BLOCK = 8192

MARCHED = 2048

"""Motors in a block whose walls are marched: their histories take some 20 kB each."""

RATE_COLUMNS = frozenset(f"propellant.{name}" for name in ("rate_from", "rate_to", "rate", "rate_at", "exponent"))


# --- points and columns ----------------------------------------------------------------------------------------------


def unit_points(dimensions: int, samples: int, seed: int) -> Floats:
    """Scrambled Sobol points in the unit cube, (samples, dimensions); `samples` a power of two.

    >>> unit_points(2, 64, 1).mean(axis=0).round(2)
    array([0.5, 0.5])
    """
    from scipy.stats import qmc  # half a second to import, and many commands draw nothing

    engine = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed))
    return np.asarray(engine.random(samples), dtype=float)


def deviation(tolerance: Tolerance, point: Floats) -> Floats:
    """Deviation from nominal at points of (0, 1), relative or in SI units as the tolerance is.

    >>> deviation(Tolerance(minus=0.1, plus=0.3), np.array([0.0, 0.5, 1.0]))
    array([-0.1,  0.1,  0.3])
    """
    sigma = tolerance.standard_deviation
    if sigma == 0.0:
        return np.asarray(-tolerance.minus + (tolerance.minus + tolerance.plus) * point)
    inside = np.clip(point, 1e-12, 1.0 - 1e-12)
    if tolerance.minus == 0.0 and tolerance.plus == 0.0:
        return np.asarray(sigma * ndtri(inside))
    from scipy.stats import truncnorm

    return np.asarray(sigma * truncnorm.ppf(inside, -tolerance.minus / sigma, tolerance.plus / sigma))


def distribution(tolerance: Tolerance) -> str:
    """The distribution that a tolerance stands for, by name."""
    if tolerance.standard_deviation == 0.0:
        return "uniform"
    return "normal" if tolerance.minus == 0.0 and tolerance.plus == 0.0 else "normal, cut off at the bounds"


def scattered(motors: Motors, tolerances: Mapping[str, Tolerance], deviations: Floats) -> Motors:
    """A batch with every toleranced column moved, and no tolerances left; `deviations` (n, tolerances) in the order of
    the mapping.

    A dimension of a grain that is zero, such as the core of an end burner, stays so. Raises InputError where a column
    that must be positive is moved to zero or below.
    """
    columns: dict[str, Floats] = {}
    for index, (column, tolerance) in enumerate(tolerances.items()):
        leaf = np.asarray(motors.value(column), dtype=float)
        wide = leaf.ndim == 2 or column.startswith("grain.") or column in RATE_COLUMNS
        by = deviations[:, index, None] if wide else deviations[:, index]
        moved = leaf * (1.0 + by) if tolerance.relative else leaf + by
        if column.startswith("grain."):
            moved = np.where(leaf == 0.0, 0.0, moved)
        if np.any((leaf > 0.0) & (moved <= 0.0)):
            raise InputError([_too_wide(column)])
        columns[column] = moved
    return replace(motors.with_values(columns), tolerances={})


def tolerance_name(column: str) -> str:
    """What a toleranced column is called under [tolerances], with its end where both closures have it.

    >>> tolerance_name("nozzle.throat_diameter"), tolerance_name("aft_closure.screws.tensile_strength")
    ('throat_diameter', 'aft_closure.screw_strength')
    """
    end, _, rest = column.partition(".")
    if end in ("forward_closure", "aft_closure"):
        short = next((name for name, path in BOTH_ENDS.items() if path == rest), None)  # of a ring behind: its own key
        if short is not None:
            return f"{end}.{short}"
    key = COLUMN_KEYS.get(column, column)
    return next((name for name, full in SHORT_KEYS.items() if full == key), key)


def _needed_tolerances(motors: Motors, file: str) -> dict[str, Tolerance]:
    """The tolerances in a fixed order; InputError with lines to paste where there are none."""
    given = {column: motors.tolerances[column] for column in sorted(motors.tolerances)}
    moving = {column: one for column, one in given.items() if one.minus or one.plus or one.standard_deviation}
    if moving:
        return moving
    lines = [
        "[tolerances]",
        'throat_diameter = {plus_minus = "0.05 mm"}',
        'core_diameter = {plus_minus = "0.1 mm"}',
        'rate = {standard_deviation = "3 %"}',
    ]
    if motors.case is not None:
        lines.append('wall = {minus = "10 %"}')
    shown = "\n             ".join(lines)
    fix = f"say how well each dimension and lot is known, for example (with your own numbers):\n             {shown}"
    what = "nothing scatters: there is no [tolerances] table to sample"
    raise InputError([Problem(file or "the motor file", 0, "tolerances", "", what, fix, "E112")])


def _too_wide(column: str) -> Problem:
    name = tolerance_name(column)
    return Problem(
        "the motor file",
        0,
        f"tolerances.{name}",
        "",
        "is so wide that samples reach zero or less",
        "narrow it, or give a standard deviation together with minus and plus bounds",
        "E107",
    )


def _whole_samples(samples: int) -> int:
    """The next power of two, which Sobol points need to be balanced."""
    if not FEWEST <= samples <= MOST:
        raise InputError(
            [
                Problem(
                    "--samples", 0, "samples", str(samples), f"is not between {FEWEST} and {MOST}", "4096 is a good start", "E106"
                )
            ]
        )
    return 1 << (int(samples) - 1).bit_length()


# --- evaluating ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Outcome:
    """A batch evaluated, (n,) each: figures, flags, and factors by (mode, part) against each motor's own head pressure.

    `times` are the rungs that are times and not pressures. `certainty` is how sure each rung is; that of a heat rung is known of a
    single motor alone, and so is `late`: ln of the time at which a rung happens after all that likely never does, over what it
    must last. `tests` are what each test shows of each rung, by its name and the
    rung, with a margin for each motor.
    """

    figures: dict[str, Floats]
    factors: dict[tuple[str, str], Floats]
    flags: dict[str, Mask]
    times: frozenset[tuple[str, str]] = frozenset()
    not_assessed: tuple[tuple[str, str, str], ...] = ()
    tests: Mapping[tuple[str, Key], Tested] = field(default_factory=dict)
    certainty: Mapping[Key, Certainty] = field(default_factory=dict)
    late: Mapping[Key, float] = field(default_factory=dict)

    @property
    def smallest_factor(self) -> Floats:
        """Smallest factor over the rungs that are pressures, (n,); NaN where one is NaN or there are none."""
        pressures = [values for rung, values in self.factors.items() if rung not in self.times]
        if not pressures:
            return np.full(next(iter(self.figures.values())).shape, np.nan)
        return np.asarray(np.min(pressures, axis=0))

    def failed(self, rung: tuple[str, str]) -> Mask:
        """Which motors fail a rung; one whose factor is not known does."""
        return np.asarray(~(self.factors[rung] >= 1.0))

    @property
    def any_failed(self) -> Mask:
        """Which motors fail at least one rung."""
        return np.asarray(np.logical_or.reduce([self.failed(rung) for rung in self.factors]))


FLOWN = (
    "rail_exit_speed", "coldest_rail_exit_speed", "thrust_to_weight", "mean_thrust_to_weight", "maximum_mach",
    "maximum_acceleration", "maximum_dynamic_pressure", "apogee", "coast_time",
)  # fmt: skip
"""Figures of the flight that are told over the scatter."""


def outcome(motors: Motors, kernel: str, heat: bool = True, fly: bool = False, evidence: Sequence[Evidence] = ()) -> Outcome:
    """Figures and factors of a batch, in blocks. Without `heat` the rungs that march the wall's heat are left out.

    With `fly` the figures `FLOWN` of the rocket's flight stand with the others, where the motor file names a rocket whose
    mass is known. `evidence` are tests of these motors.
    """
    block = MARCHED if heat else BLOCK
    return _joined([
        _outcome_block(motors.take(slice(low, low + block)) if motors.size > block else motors, kernel, heat, fly, evidence)
        for low in range(0, motors.size, block)
    ])  # fmt: skip


def _joined(parts: Sequence[Outcome]) -> Outcome:
    if len(parts) == 1:
        return parts[0]
    rungs = {rung: None for part in parts for rung in part.factors}

    def factors(rung: tuple[str, str]) -> Floats:
        # A block in which a rung is out of range throughout does not list it; there it is not known.
        rows = [part.factors.get(rung, np.full(part.figures["burn_time"].shape, np.nan)) for part in parts]
        return np.concatenate(rows)

    return Outcome(
        {name: np.concatenate([part.figures[name] for part in parts]) for name in parts[0].figures},
        {rung: factors(rung) for rung in rungs},
        {name: np.concatenate([part.flags[name] for part in parts]) for name in parts[0].flags},
        frozenset().union(*(part.times for part in parts)),
        tuple(row for row in parts[0].not_assessed if row[:2] not in rungs),
        _joined_tests(parts),
        parts[0].certainty,
    )


def _joined_tests(parts: Sequence[Outcome]) -> dict[tuple[str, Key], Tested]:
    """What tests show of the motors of several blocks; a block that does not know a rung learns nothing of it."""
    known = {place: one for part in parts for place, one in part.tests.items()}

    def margins(place: tuple[str, Key], one: Tested) -> Floats:
        sizes = [part.figures["burn_time"].shape for part in parts]
        bare = np.inf if one.held else -np.inf
        return np.concatenate([
            np.broadcast_to(part.tests[place].margin if place in part.tests else bare, size)
            for part, size in zip(parts, sizes, strict=True)
        ])  # fmt: skip

    return {place: replace(one, margin=margins(place, one)) for place, one in known.items()}


def _outcome_block(motors: Motors, kernel: str, heat: bool, fly: bool = False, evidence: Sequence[Evidence] = ()) -> Outcome:
    flies = fly and motors.rocket is not None and motors.launch is not None
    burns: Figures = evaluate(motors, kernel=kernel, curve=flies and kernel == "transient")
    figures = replace(burns, curve=None)
    ladder = assess_ladder(motors, figures, figures["peak_head_pressure"], marching=heat)

    flown: Mapping[str, Floats] = {}
    if flies:
        every = fly_motors(motors, burns, asked=FLOWN).figures
        flown = {name: every[name] for name in FLOWN if name in every}

    def column(leaf: Any) -> Any:
        return np.array(np.broadcast_to(leaf, (motors.size,)))

    return Outcome(
        {name: column(np.asarray(leaf, dtype=float)) for name, leaf in {**figures.values, **flown}.items()},
        {(rung.mode, rung.part): column(np.asarray(rung.factor, dtype=float)) for rung in ladder.rungs if may_be_first(rung)},
        {name: column(np.asarray(leaf, dtype=bool)) for name, leaf in figures.flags.items()},
        frozenset((rung.mode, rung.part) for rung in ladder.rungs if rung.time is not None),
        tuple((row.mode, row.part, row.why) for row in ladder.not_assessed),
        {(one.name, item.key): item.bound for one in evidence for item in shown(motors, one, ladder)},
        {(rung.mode, rung.part): rung.certainty for rung in ladder.rungs if rung.certainty is not None},
        _late(ladder, figures) if motors.size == 1 else {},
    )


def _late(ladder: Ladder, figures: Figures) -> dict[Key, float]:
    never = [rung for rung in ladder.rungs if rung.time is not None and np.isinf(np.ravel(rung.likely)[0])]
    lasts = float(figures["action_time"][0])
    return {(rung.mode, rung.part): float(np.log(chances.median_of(rung)[0] / lasts)) for rung in never}


# --- what is said of the samples -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Chance:
    """A share of samples with its interval: Clopper and Pearson at `CONFIDENCE`, one-sided where none or all failed."""

    failed: int
    samples: int

    @property
    def value(self) -> float:
        """Share of the samples that failed."""
        return self.failed / self.samples

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper end. None of N failed: 0 to 1 − 0.05^(1/N), the bound that "3 in N" stands for."""
        if self.failed in (0, self.samples):
            edge = (1.0 - CONFIDENCE) ** (1.0 / self.samples)
            return (0.0, 1.0 - edge) if self.failed == 0 else (edge, 1.0)
        from scipy.stats import binomtest

        found = binomtest(self.failed, self.samples).proportion_ci(CONFIDENCE, method="exact")
        return float(found.low), float(found.high)

    @property
    def text(self) -> str:
        """The chance in words; never "0 %".

        >>> Chance(0, 4096).text
        'below 0.073 % (none of 4096 samples failed, 95 % confidence)'
        >>> Chance(41, 4096).text
        '1 % (0.72 % to 1.4 %)'
        """
        low, high = self.interval
        if self.failed == 0:
            return f"below {_percent(high)} (none of {self.samples} samples failed, 95 % confidence)"
        if self.failed == self.samples:
            return f"above {_percent(low)} (all of {self.samples} samples failed, 95 % confidence)"
        return f"{_percent(self.value)} ({_percent(low)} to {_percent(high)})"

    def as_json(self) -> dict[str, Any]:
        """Value, interval, count and words."""
        low, high = self.interval
        return {"value": self.value, "low": low, "high": high, "failed": self.failed, "text": self.text}


def _percent(share: float) -> str:
    if 0.0 < share < 1e-4:
        return f"{100.0 * share:.6f}".rstrip("0") + " %"
    return f"{100.0 * share:.2g} %" if share < 0.995 else f"{100.0 * share:.6g} %"


def sample_points(tolerances: int, samples: int, seed: int) -> Floats:
    """Points of the unit cube for tolerances, (samples, tolerances): `SCRAMBLES` Sobol sets in turn."""
    count = min(chances.SCRAMBLES, samples)
    return np.concatenate([unit_points(tolerances, samples // count, seed + 7919 * block) for block in range(count)])


def model(found: Outcome, drawn: Outcome, tests: Sequence[Tested] = ()) -> chances.Model:
    """What the estimator of chances takes: the rungs of samples against what each met, how sure the motor as drawn is, tests.

    A time that never comes in a sample is as late as it may come after all as drawn.
    """
    margins = {}
    for key, values in found.factors.items():
        with np.errstate(divide="ignore", invalid="ignore"):
            margin = np.log(values * drawn.certainty[key].ratio)
        margins[key] = np.where(np.isposinf(margin), drawn.late.get(key, np.inf), margin)
    return chances.Model(margins, drawn.certainty, tuple(one for one in tests if one.key in margins))


def seen_in_tests(found: Outcome, drawn: Outcome) -> tuple[Tested, ...]:
    """What tests show of samples: of these very parts at each sample's own dimensions, of other copies as drawn."""
    own = [one for one in found.tests.values() if not one.of_copy]
    return (*own, *(one for one in drawn.tests.values() if one.of_copy))


def deviations_at(tolerances: Mapping[str, Tolerance], points: Floats) -> Floats:
    """What points of the unit cube are as deviations of each tolerance, (n, tolerances)."""
    return np.stack([deviation(one, points[:, index]) for index, one in enumerate(tolerances.values())], axis=1)


# --- for the search --------------------------------------------------------------------------------------------------


def robust_columns(
    motors: Motors,
    asked: Mapping[str, tuple[str, float]],
    kernel: str = "steady",
    samples: int = 256,
    seed: int = 1,
    heat: bool = True,
    tested: tuple[Motors, Sequence[Evidence]] | None = None,
) -> dict[str, Floats]:
    """Percentiles over the tolerances for each motor of a batch, (n,), all at the same points.

    `asked` names for each column a quantity and a percentile from 0 to 100. A quantity is a figure of the kernel,
    "smallest_factor" (against each sample's own head pressure), or "chance_of_failure", which is no percentile but the
    upper end of its interval, strengths scattered, as `spread` gives it at the same points.
    `tested` is a motor with tests of it: they count for the designs whose hardware is its own, as far as `carried` says.
    A motor of which any sample leaves the figure
    unknown, or whose tolerances reach zero, is NaN. Without `heat` the rungs that march the wall's heat are left out,
    which is some hundred times faster. Raises KeyError for a name that is no figure, ValueError for a percentile that
    is none, and InputError where nothing scatters.
    """
    for _, percentile in asked.values():
        if not 0.0 <= percentile <= 100.0:
            raise ValueError(f"percentile {percentile}: expected 0 to 100")
    samples = _whole_samples(samples)
    tolerances = _needed_tolerances(motors, "")
    by_chance = any(name == "chance_of_failure" for name, _ in asked.values())
    points = sample_points(len(tolerances), samples, seed)
    deviations = deviations_at(tolerances, points)
    evidence = carried(tested[1]) if tested is not None and by_chance else ()
    of_copies = as_drawn(tested[0], kernel, heat, evidence=evidence) if tested and evidence else None
    needs_ladder = any(name in ("chance_of_failure", "smallest_factor") for name, _ in asked.values())
    answer = {column: np.full(motors.size, np.nan) for column in asked}
    rows = np.flatnonzero(~_reaches_zero(motors, tolerances, deviations))

    def columns(few: Motors) -> dict[str, Floats]:
        batch = scattered(few.repeat(samples), tolerances, np.tile(deviations, (few.size, 1)))
        found = outcome(batch, kernel, heat, evidence=evidence) if needs_ladder else _figures_only(batch, kernel)
        tests = () if of_copies is None or tested is None else _tests_where(same_hardware(few, tested[0]), found, of_copies)
        return {
            column: _chances(found, _each_as_drawn(few, kernel, heat), tests, samples, seed)
            if name == "chance_of_failure"
            else _robust(found, name, level, few.size, samples)
            for column, (name, level) in asked.items()
        }

    at_once = max(1, BLOCK // samples)
    for some in (rows[low : low + at_once] for low in range(0, rows.size, at_once)):
        for column, values in columns(motors.take(some)).items():
            answer[column][some] = values
    return answer


def too_wide(motors: Motors, samples: int, seed: int) -> Mask:
    """Of which motors of a batch some sample has a dimension at zero or below, (n,): `robust_columns` knows nothing of them."""
    tolerances = _needed_tolerances(motors, "")
    points = sample_points(len(tolerances), _whole_samples(samples), seed)
    return _reaches_zero(motors, tolerances, deviations_at(tolerances, points))


def _reaches_zero(motors: Motors, tolerances: Mapping[str, Tolerance], deviations: Floats) -> Mask:
    wide = np.zeros(motors.size, dtype=bool)
    for by, (column, tolerance) in zip(deviations.min(axis=0), tolerances.items(), strict=True):
        leaf = np.asarray(motors.value(column), dtype=float)
        gone = (leaf > 0.0) & ((leaf * (1.0 + by) if tolerance.relative else leaf + by) <= 0.0)
        wide |= np.broadcast_to(gone.any(axis=1) if gone.ndim == 2 else gone, wide.shape)
    return wide


def _figures_only(motors: Motors, kernel: str) -> Outcome:
    return Outcome(dict(evaluate(motors, kernel=kernel).values), {}, {})


def as_drawn(motors: Motors, kernel: str, heat: bool = True, fly: bool = False, evidence: Sequence[Evidence] = ()) -> Outcome:
    """`outcome` of the motors without their tolerances, with how sure their rungs are beside what those tolerances bring."""
    found = outcome(replace(motors, tolerances={}), kernel, heat, fly, evidence)
    marched = {row.mode for row in MODES if row.marches_heat}
    sure = {key: one for key, one in found.certainty.items() if key[0] in marched}
    return replace(found, certainty=chances.certainty_of(motors, found.factors) | sure)


def _each_as_drawn(motors: Motors, kernel: str, heat: bool) -> list[Outcome]:
    """Each motor of a batch as drawn, by itself where heat is asked: how sure its heat rungs are is its own."""
    each = [as_drawn(motors.take([row]), kernel, heat) for row in range(motors.size if heat else 1)]
    return each if heat else each * motors.size


def carried(evidence: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """The tests of a motor that count for a design of other grains on the same hardware: water proofs.

    What a firing showed, it showed with grains and a liner that are burnt.
    """
    return tuple(one for one in evidence if one.kind == "water")


def _tests_where(same: Mask, found: Outcome, drawn: Outcome) -> list[Tested]:
    """What tests show of designs whose samples stand one after the other: nothing of those on other hardware."""
    whole = np.repeat(same, len(next(iter(found.figures.values()))) // len(same))
    bare = {True: np.inf, False: -np.inf}
    return [replace(one, margin=np.where(whole, one.margin, bare[one.held])) for one in seen_in_tests(found, drawn)]


def _chances(found: Outcome, drawn: Sequence[Outcome], tests: Sequence[Tested], samples: int, seed: int) -> Floats:
    """Upper end of the chance of each motor of a batch whose samples stand one motor after the other, (n,)."""
    answer = np.full(len(drawn), np.nan)
    for row, one in enumerate(drawn):
        here = slice(row * samples, (row + 1) * samples)
        factors = {key: values[here] for key, values in found.factors.items()}
        seen = [replace(test, margin=np.broadcast_to(test.margin, (len(drawn) * samples,))[here]) for test in tests]
        if factors:
            answer[row] = chances.chances(model(replace(found, factors=factors), one, seen), samples, seed)[0].high
    return answer


def _robust(found: Outcome, name: str, percentile: float, size: int, samples: int) -> Floats:
    if name != "smallest_factor" and name not in found.figures:
        raise KeyError(name)
    values = found.smallest_factor if name == "smallest_factor" else found.figures[name]
    table = np.broadcast_to(values, (size * samples,)).reshape(size, samples)
    known, finite = ~np.isnan(table).any(axis=1), np.isfinite(table).all(axis=1)
    answer = np.full(size, np.nan)
    answer[finite] = np.percentile(table[finite], percentile, axis=1)
    # A time that never comes is infinite: the order of the samples holds, interpolation between them does not.
    endless = known & ~finite
    answer[endless] = np.percentile(table[endless], percentile, axis=1, method="lower")
    return answer


def chance_words(value: float) -> str:
    """A chance as a percentage; what tests contradict is said so."""
    if np.isnan(value):
        return "contradicted"
    return "below 0.0001 %" if value < 1e-6 else f"{100.0 * value:.2g} %"
