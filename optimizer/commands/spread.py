"""What tolerances and lot scatter do to a motor: percentiles, chance of failure, and which tolerance matters.

Owns the sampling of the [tolerances] table and everything that is said of the samples. Imports the problems, the
vocabulary and physics.

How it is done. Each toleranced column is one random number a motor, the same for all its grains and all rows of its
rate law; numbers are independent of each other, those of the two closures too. A tolerance given as bounds is uniform
between them, one given as a standard deviation is normal, one given as both is normal cut off at the bounds. Points
are scrambled Sobol points of a fixed seed, so two designs with the same tolerances see the same points and a
difference between them is design, not luck. All samples are one batch for the kernel. Which tolerance matters is read off a
quadratic through these samples where one follows them, else off further ones (`variance_shares`).

Strengths and formulas scatter too: at each sample the chance over the lots of metal or screws and over what each rung's
formula brings is an integral (`physics.failure.chances`), so that a small chance is a number and not a bound. Its interval comes
from independent scrambles of the points. With
strengths as specified each stands at its minimum and each formula as coded, and failures are counted: a sample fails a
pressure rung when its own highest head pressure exceeds the pressure of that rung in that sample, and a time rung when the
rung's time is shorter than that sample's own action time. A sample that cannot be computed counts as failed. The margins
that the ladder asks for are not part of this: it asks what happens, not what is allowed. What a maker advises for
service is no failure.
What tests of this hardware have shown ([[evidence]]) counts: each sample is one motor with its dimensions and lots, and how
much it weighs is the chance that it would have done in every test what was seen. With strengths as specified no test counts.
The propellant temperature is `ambient.temperature`, scattered where it has a tolerance; the soak range belongs to the
maximum expected pressure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from optimizer.candidates.samples import (
    BLOCK,
    CONFIDENCE,
    FEWEST,
    MARCHED,
    PERCENTILES,
    Chance,
    Floats,
    Outcome,
    _joined,
    _needed_tolerances,
    _outcome_block,
    _percent,
    _whole_samples,
    as_drawn,
    deviations_at,
    distribution,
    model,
    outcome,
    sample_points,
    scattered,
    seen_in_tests,
    tolerance_name,
    unit_points,
)
from physics.failure import chances
from physics.failure.chances import Tested
from physics.failure.evidence import Evidence
from physics.failure.ladder import MODES
from physics.motors import Motors, Tolerance

_FEWEST_FOR_SHARES = 64

FULL_CORNERS = 8

"""Up to so many tolerances every corner of their box is computed; beyond, those that one-at-a-time moves point to."""

INTERVAL_NOTE = (
    "Sobol points lie more evenly than chance would put them, so the true uncertainty is mostly smaller than the "
    "interval. It covers the sampling alone: tolerances that are guessed, and the model itself, are not in it."
)


SMOOTH_NOTE = (
    "The interval comes from independent scrambles of the points. It covers the sampling alone: bias and scatter of "
    "strengths and formulas are partly judgement, tolerances may be guessed, and the model itself is not in it."
)

SCATTERED, AS_SPECIFIED = "scattered", "held at minimum"

"""What is done with strengths and formulas."""


def sampled(
    motors: Motors,
    tolerances: Mapping[str, Tolerance],
    deviations: Floats,
    kernel: str,
    heat: bool = True,
    evidence: Sequence[Evidence] = (),
) -> Outcome:
    """Figures and factors of one motor at these deviations (samples, tolerances), its copies made block by block."""
    length = MARCHED if heat else BLOCK
    blocks = (deviations[low : low + length] for low in range(0, len(deviations), length))
    return _joined([
        _outcome_block(scattered(motors.repeat(len(some)), tolerances, some), kernel, heat, True, evidence) for some in blocks
    ])  # fmt: skip


@dataclass(frozen=True)
class Smooth:
    """A chance over scattered strengths with its 95 % interval from independent scrambles."""

    estimate: chances.Estimate

    @property
    def value(self) -> float:
        """The chance; NaN where what tests have shown contradicts the model."""
        return self.estimate.value

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper end."""
        return self.estimate.low, self.estimate.high

    @property
    def failed(self) -> float:
        """How many of the points that is, which need not be whole; 0 where the chance is told as a bound, all where tests
        contradict the model.
        """
        if np.isnan(self.value):
            return float(self.estimate.points)
        return 0.0 if self.value < LEAST_SHOWN else self.estimate.value * self.estimate.points

    @property
    def text(self) -> str:
        """The chance in words.

        >>> Smooth(chances.Estimate(0.012, 0.011, 0.013, 4096)).text
        '1.2 % (1.1 % to 1.3 %)'
        >>> Smooth(chances.Estimate(3e-9, 2e-9, 4e-9, 4096)).text
        'below 0.0001 %'
        """
        if np.isnan(self.value):
            return "contradicted: no motor of this model does what the tests showed"
        if self.value < LEAST_SHOWN:
            return f"below {_percent(LEAST_SHOWN)}"
        low, high = self.interval
        return f"{_percent(self.value)} ({_percent(low)} to {_percent(high)})"

    def as_json(self) -> dict[str, Any]:
        """Value, interval, the points' number and words."""
        low, high = self.interval
        return {"value": self.value, "low": low, "high": high, "points": self.estimate.points, "text": self.text}


LEAST_SHOWN = 1e-6

"""A chance smaller than this is told as a bound: no model of a motor is that sure of its tails; our judgement."""


@dataclass(frozen=True)
class SpreadResult:
    """Everything `spread` found; `as_json` is what the command prints. `percentiles` of figures and factors by name."""

    samples: int
    seed: int
    kernel: str
    tolerances: tuple[dict[str, Any], ...]
    figures: dict[str, dict[str, float]]
    factors: tuple[dict[str, Any], ...]
    smallest_factor: dict[str, float]
    strengths: str
    any_failure: Chance | Smooth | None
    untested: Chance | Smooth | None
    tests: tuple[str, ...]
    rungs: tuple[tuple[str, str, Chance | Smooth], ...]
    shares: dict[str, dict[str, float]]
    total_shares: dict[str, dict[str, float]]
    share_evaluations: int
    corners: dict[str, dict[str, Any]]
    convergence: tuple[dict[str, Any], ...]
    flags: dict[str, float]
    not_assessed: tuple[tuple[str, str, str], ...]
    outcome: Outcome

    def as_json(self) -> dict[str, Any]:
        """The result as plain data, SI units; NaN is left for the writer to turn into null."""
        return {
            "samples": self.samples,
            "seed": self.seed,
            "kernel": self.kernel,
            "tolerances": list(self.tolerances),
            "figures": self.figures,
            "factors": list(self.factors),
            "smallest_factor": self.smallest_factor,
            "strengths": self.strengths,
            "chance_of_failure": {
                "any": None if self.any_failure is None else self.any_failure.as_json(),
                "without_tests": None if self.untested is None else self.untested.as_json(),
                "tests": list(self.tests),
                "rungs": [{"mode": mode, "part": part, **chance.as_json()} for mode, part, chance in self.rungs],
                "confidence": CONFIDENCE,
                "note": INTERVAL_NOTE if self.strengths == AS_SPECIFIED else SMOOTH_NOTE,
            },
            "shares": self.shares,
            "total_shares": self.total_shares,
            "share_evaluations": self.share_evaluations,
            "worst_corners": self.corners,
            "convergence": list(self.convergence),
            "flags": self.flags,
            "not_assessed": [{"mode": mode, "part": part, "why": why} for mode, part, why in self.not_assessed],
        }


def spread(
    motors: Motors,
    kernel: str = "steady",
    samples: int = 4096,
    seed: int = 1,
    file: str = "",
    as_specified: bool = False,
    evidence: Sequence[Evidence] = (),
) -> SpreadResult:
    """What the tolerances of one motor do to its figures and its failure ladder.

    `motors` is a batch of one with its tolerances; `samples` is rounded up to a power of two; `file` names the motor
    file in an error. With `as_specified` strengths are held at their minimum and formulas as coded, and `evidence`, tests of
    this motor, does not count.
    Raises InputError where nothing scatters or a tolerance is too wide, ValueError for a kernel that
    does not exist or a batch that is not one motor.
    """
    if motors.size != 1:
        raise ValueError(f"expected one motor, got {motors.size}")
    samples = _whole_samples(samples)
    tolerances = _needed_tolerances(motors, file)
    counted = () if as_specified else tuple(evidence)
    nominal = as_drawn(motors, kernel, fly=True, evidence=counted)
    points = sample_points(len(tolerances), samples, seed)
    deviations = deviations_at(tolerances, points)
    found = sampled(motors, tolerances, deviations, kernel, evidence=counted)
    first, total, evaluations = variance_shares(
        motors, tolerances, kernel, max(_FEWEST_FOR_SHARES, samples // 4), seed, (deviations, found)
    )
    tests = seen_in_tests(found, nominal)
    whole, each = _counted(found, samples) if as_specified else _smooth(found, nominal, samples, seed, tests)
    untested, _ = _smooth(found, nominal, samples, seed) if tests else (None, [])
    return SpreadResult(
        samples=samples,
        seed=seed,
        kernel=kernel,
        tolerances=tuple(_described(motors, column, one) for column, one in tolerances.items()),
        figures={name: _percentiles(values, nominal.figures[name]) for name, values in found.figures.items()},
        factors=tuple(
            {"mode": mode, "part": part, **_percentiles(values, nominal.factors[mode, part])}
            for (mode, part), values in found.factors.items()
        ),
        smallest_factor=_percentiles(found.smallest_factor, nominal.smallest_factor),
        strengths=AS_SPECIFIED if as_specified else SCATTERED,
        any_failure=whole,
        untested=untested,
        tests=tuple(dict.fromkeys(name for name, _ in found.tests)),
        rungs=tuple(sorted(each, key=lambda row: -row[2].failed)),
        shares=first,
        total_shares=total,
        share_evaluations=evaluations,
        corners=worst_corners(motors, tolerances, kernel),
        convergence=tuple(_convergence(found, samples, as_specified)),
        flags={name: float(raised.mean()) for name, raised in found.flags.items() if raised.any()},
        not_assessed=found.not_assessed,
        outcome=found,
    )


Chances = tuple["Chance | Smooth | None", list[tuple[str, str, "Chance | Smooth"]]]


def _counted(found: Outcome, samples: int) -> Chances:
    """Chances as counted: of anything, and of each rung."""
    rungs = [(mode, part, Chance(int(found.failed((mode, part)).sum()), samples)) for mode, part in found.factors]
    return (Chance(int(found.any_failed.sum()), samples) if rungs else None), [*rungs]


def _smooth(found: Outcome, drawn: Outcome, samples: int, seed: int, tests: Sequence[Tested] = ()) -> Chances:
    """Chances over scattered strengths, given what tests showed: of anything, and of each rung."""
    if not found.factors:
        return None, []
    whole, each = chances.chances(model(found, drawn, tests), samples, seed)
    return Smooth(whole), [(mode, part, Smooth(one)) for (mode, part), one in each.items()]


def _described(motors: Motors, column: str, tolerance: Tolerance) -> dict[str, Any]:
    nominal = np.asarray(motors.value(column), dtype=float)
    return {
        "name": tolerance_name(column),
        "distribution": distribution(tolerance),
        "nominal": float(nominal.flat[0]),
        "minus": tolerance.minus,
        "plus": tolerance.plus,
        "standard_deviation": tolerance.standard_deviation,
        "relative": tolerance.relative,
    }


def _percentiles(values: Floats, nominal: Floats) -> dict[str, float]:
    """Percentiles over the samples that could be computed, the nominal value, and how many could not."""
    unknown = int(np.isnan(values).sum())
    known = values[~np.isnan(values)]
    # A time that never comes is infinite: the order of the samples holds, interpolation between them does not.
    points = np.percentile(known, PERCENTILES, method="lower") if known.size else np.full(len(PERCENTILES), np.nan)
    if known.size and np.isfinite(known).all():
        points = np.percentile(known, PERCENTILES)
    row = {f"p{level}": float(point) for level, point in zip(PERCENTILES, points, strict=True)}
    row["nominal"] = float(nominal[0])
    if unknown:
        row["unknown"] = unknown
    return row


def _convergence(found: Outcome, samples: int, as_specified: bool) -> Iterator[dict[str, Any]]:
    """The estimates from the first 1/16, 1/8 … of the points: each such part is a Sobol set of its own."""
    failed = found.any_failed if found.factors and as_specified else None
    head = found.figures["peak_head_pressure"]
    for count in (samples >> shift for shift in (4, 3, 2, 1, 0)):
        if count < FEWEST:
            continue
        known = head[:count][~np.isnan(head[:count])]
        row: dict[str, Any] = {"samples": count}
        for level in PERCENTILES:
            row[f"p{level}"] = float(np.percentile(known, level)) if known.size else float("nan")
        if failed is not None:
            row["chance"] = Chance(int(failed[:count].sum()), count).as_json()
        yield row


# --- which tolerance matters -----------------------------------------------------------------------------------------


def variance_shares(
    motors: Motors, tolerances: Mapping[str, Tolerance], kernel: str, samples: int, seed: int,
    known: tuple[Floats, Outcome] | None = None,
) -> tuple[dict[str, dict[str, float]], dict[str, dict[str, float]], int]:  # fmt: skip
    """First-order and total Sobol indices of every figure and every pressure rung's factor, by tolerance.

    Saltelli's design with `samples` points (a power of two), which asks for samples·(tolerances + 2) motors. A quantity
    that a quadratic in the deviations follows (`_quadratic`) is read off that, fitted to the samples `known`; where one
    is not followed the motors are burnt, and how many were is returned too. A first-order index is the share of the
    variance that goes if that tolerance alone were perfect; sampling leaves small errors, and one that comes out below
    zero is none. A quantity that does not vary, or is not known in every sample, is left out. The heat rungs are left out:
    their times may be infinite.
    """
    count = len(tolerances)
    both = unit_points(2 * count, samples, seed)
    first, second = both[:, :count], both[:, count:]
    mixed = [np.where(np.arange(count) == index, second, first) for index in range(count)]
    deviations = deviations_at(tolerances, np.concatenate([first, second, *mixed]))
    rows, left = ({}, True) if known is None else _followed(*known, deviations)
    burnt = 0
    if left:
        rows = _cold(sampled(motors, tolerances, deviations, kernel, heat=False)) | rows
        burnt = len(deviations)
    varying = {name: values for name, values in rows.items() if np.isfinite(values).all() and _varies(values)}
    if not varying:
        return {}, {}, burnt
    table = np.stack([(values - values.mean()) / values.std() for values in varying.values()])
    cut = np.split(table, count + 2, axis=1)
    from scipy.stats import sobol_indices

    indices = sobol_indices(func={"f_A": cut[0], "f_B": cut[1], "f_AB": np.stack(cut[2:])}, n=samples)
    names = [tolerance_name(column) for column in tolerances]
    return _named(varying, names, indices.first_order), _named(varying, names, indices.total_order), burnt


_HOT = frozenset(mode.mode for mode in MODES if mode.marches_heat)


def _cold(found: Outcome) -> dict[str, Floats]:
    """Figures and factors by the names of the shares, without the rungs that march heat."""
    cold = {rung: values for rung, values in found.factors.items() if rung[0] not in _HOT}
    rows = dict(found.figures) | {f"factor: {mode}, {part}": values for (mode, part), values in cold.items()}
    return rows | {"smallest_factor": replace(found, factors=cold).smallest_factor}


FOLLOWED = 0.99
"""Share of the variance of samples it was not fitted to that a quadratic must account for to stand for a quantity."""
_PER_TERM = 4
"""Samples a coefficient, at least, in the half that is fitted."""


def _followed(deviations: Floats, found: Outcome, wanted: Floats) -> tuple[dict[str, Floats], bool]:
    """Quantities at wanted deviations by quadratics through samples, and whether one was left that none follows.

    A quadratic is fitted to every other sample and held against those between (`FOLLOWED`), then fitted to all. The
    smallest factor is that of the rungs so told.
    """
    rows = _cold(found)
    varying = {name: values for name, values in rows.items() if np.isfinite(values).all() and _varies(values)}
    scale = np.abs(deviations).max(axis=0)
    scale[scale == 0.0] = 1.0
    terms = _quadratic(deviations / scale)
    if len(terms) < 2 * _PER_TERM * terms.shape[1] or not varying:
        return {}, bool(varying)
    table = np.stack(list(varying.values()), axis=1)
    half, fit, check = np.linalg.lstsq(terms[::2], table[::2])[0], np.linalg.lstsq(terms, table)[0], table[1::2]
    missed = np.square(terms[1::2] @ half - check).sum(axis=0) / np.square(check - check.mean(axis=0)).sum(axis=0)
    told = dict(zip(varying, (_quadratic(wanted / scale) @ fit).T, strict=True))
    good = {name for name, share in zip(varying, missed, strict=True) if share <= 1.0 - FOLLOWED}
    pressures = [f"factor: {mode}, {part}" for mode, part in found.factors if mode not in _HOT and (mode, part) not in found.times]
    if pressures and all(name in good or (rows[name] == rows[name][0]).all() for name in pressures):
        least = [told[name] if name in good else np.full(len(wanted), rows[name][0]) for name in pressures]
        told["smallest_factor"] = np.min(least, axis=0)
        good.add("smallest_factor")
    return {name: told[name] for name in varying if name in good}, not set(varying) <= good


def _quadratic(part: Floats) -> Floats:
    """1, each column, and each product of two of them, (n, terms)."""
    count = part.shape[1]
    left, right = np.triu_indices(count)
    return np.column_stack([np.ones(len(part)), part, part[:, left] * part[:, right]])


def _varies(values: Floats) -> bool:
    return bool(np.ptp(values) > 1e-9 * np.abs(values).max())


def _named(rows: Mapping[str, Floats], names: Sequence[str], indices: Floats) -> dict[str, dict[str, float]]:
    values = np.clip(np.reshape(indices, (len(rows), len(names))), 0.0, 1.0)  # scipy drops axes of one
    return {row: dict(zip(names, map(float, values[place]), strict=True)) for place, row in enumerate(rows)}


# --- worst corners ---------------------------------------------------------------------------------------------------


def worst_corners(motors: Motors, tolerances: Mapping[str, Tolerance], kernel: str) -> dict[str, dict[str, Any]]:
    """Lowest and highest value of each figure and smallest factor of each rung with every tolerance at its reach.

    Bounds are taken as they are, a standard deviation three times over. Every corner is computed for up to
    `FULL_CORNERS` tolerances; beyond that those that one-at-a-time moves point to, which misses a corner where the
    effects cross. Each entry names the side, "low" or "high", of every tolerance that matters there.
    """
    signs = _corner_signs(motors, tolerances, kernel)
    found = outcome(scattered(motors.repeat(len(signs)), tolerances, _reached(tolerances, signs)), kernel, fly=True)
    names = [tolerance_name(column) for column in tolerances]

    places = {tuple(corner): index for index, corner in enumerate(signs)}

    def entry(values: Floats, index: int) -> dict[str, Any]:
        sides = {}
        for which, name in enumerate(names):
            across = signs[index].copy()
            across[which] *= -1.0
            other = places.get(tuple(across))
            if other is None or not np.isclose(values[other], values[index], rtol=1e-9, atol=0.0):
                sides[name] = "high" if signs[index, which] > 0 else "low"
        return {"value": float(values[index]), "at": sides}

    corners: dict[str, dict[str, Any]] = {}
    for name, values in found.figures.items():
        if np.isfinite(values).any() and _varies(values[np.isfinite(values)]):
            corners[name] = {
                "lowest": entry(values, int(np.nanargmin(values))),
                "highest": entry(values, int(np.nanargmax(values))),
            }
    for (mode, part), values in found.factors.items():
        if not np.isnan(values).all():
            corners[f"factor: {mode}, {part}"] = {"lowest": entry(values, int(np.nanargmin(values)))}
    return corners


def _corner_signs(motors: Motors, tolerances: Mapping[str, Tolerance], kernel: str) -> Floats:
    """Corners to compute, (corners, tolerances), −1 for the low side and +1 for the high."""
    count = len(tolerances)
    if count <= FULL_CORNERS:
        return np.array(list(product((-1.0, 1.0), repeat=count)))
    single = np.concatenate([np.eye(count), -np.eye(count)])
    found = outcome(scattered(motors.repeat(2 * count), tolerances, _reached(tolerances, single)), kernel, fly=True)
    wanted = []
    for values in (*found.figures.values(), *found.factors.values()):
        up = np.where(values[:count] >= values[count:], 1.0, -1.0)
        wanted += [up, -up]
    return np.unique(np.array(wanted), axis=0)


def _reached(tolerances: Mapping[str, Tolerance], signs: Floats) -> Floats:
    """Deviations with each tolerance at its lower reach (sign −1), at nominal (0) or at its upper reach (+1)."""
    reach = np.array([one.reach for one in tolerances.values()])
    return np.asarray(np.where(signs > 0, reach[:, 1], np.where(signs < 0, -reach[:, 0], 0.0)))
