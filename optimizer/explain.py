"""A failed firing: which rungs of the ladder fit what was found, how likely each is, and what would tell them apart.

Owns the weighing of the evidence; what each mode leaves behind stands in `trails`. Imports inputs, record, traces,
spread, trails and physics.

How it weighs. A mode's share is the product of three things: how likely the part let go at the pressure (or time) of
the failure and no other had before it, how well the mode produces what was found, and how well its place fits the
end that failed. Strengths scatter log-normally about a median above the specification minimum, by `SCATTER` and the
motor file's own tolerances together; one part in twenty is taken to be faulty and may let go at anything from a
quarter of its strength up. Nothing is certain here: the shares say what to look at first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from optimizer import traces
from optimizer.asfired import motors_of
from optimizer.cautions import Caution
from optimizer.inputs import FINDINGS, Firing, InputError, Problem
from optimizer.record import read_record
from optimizer.results import ANSWER_SCHEMA
from optimizer.spread import deviation, scattered, unit_points
from optimizer.trails import PLACES, PLAIN, TRAILS, Trail
from optimizer.units import show
from physics import kernel as kernels
from physics.assessment import Assessment, assess
from physics.ladder import assess_ladder
from physics.motors import Motors, Rung

Array = NDArray[np.float64]

SCATTER: dict[str, tuple[float, float]] = {
    "yield": (1.10, 0.10),
    "rupture": (1.10, 0.12),
    "seal": (1.30, 0.35),
    "heat": (1.00, 0.40),
}
"""Median over the ladder's figure, and coefficient of variation, by kind: common practice, no source."""
FAULTY, FAULTY_FROM = 0.05, 0.25
"""Share of parts taken to be faulty, and the lowest share of its strength at which one may let go; our judgement."""
PREDICTED_ERROR, RECORDED_ERROR = 0.15, 0.05
"""Coefficients of variation of a predicted and of a recorded pressure; our judgement."""
ABNORMAL, ABNORMAL_UP_TO = 0.15, 3.0
"""Chance that a pressure nobody recorded was abnormal (cracked grain, blocked port), and how far over prediction."""
STRAY = 0.03
"""Chance of a finding that a mode does not bring about."""
SILENCE = 0.5
"""Chance that a finding which is there is also written down."""
OUT = 0.01
"""A mode with a smaller share is ruled out."""
ELSEWHERE = 0.02
"""Weight of all causes that are not on the ladder, on the scale of one rung."""
SOUND = 1.5
"""A rung this many times above the failure's pressure fails only in a faulty part, or under an abnormal pressure."""
TOLERANCE_POINTS = 128
LEAST = 1e-3
"""A level below this happens at once; its logarithm is taken here. [s or Pa]"""
BAND = (0.05, 0.95)
"""Percentiles between which a level is shown."""


@dataclass(frozen=True)
class Pressure:
    """The pressure at the failure: `value` [Pa], coefficient of variation, and where it comes from.

    `reached` says that the motor is known to have failed there, not merely to have come that far; `fallen` that the
    pressure had been higher before. `abnormal` is the chance of a pressure well over the value.
    """

    value: float
    error: float
    source: str
    reached: bool
    abnormal: float
    fallen: bool = False


@dataclass(frozen=True)
class History:
    """Pressure against time from ignition, up to the failure; [s], [Pa absolute], (T,) each."""

    time: Array
    pressure: Array


@dataclass(frozen=True)
class Candidate:
    """A rung that fits the evidence: its share of likelihood, what speaks for and against it, what would show it.

    `band` holds the 5th and 95th percentile of the pressure [Pa] or time [s] at which such a part lets go, under the
    scatter of strengths, the motor file's tolerances and the share of faulty parts.
    """

    mode: str
    part: str
    likelihood: float
    reasons_for: tuple[str, ...]
    reasons_against: tuple[str, ...]
    would_tell: str
    pressure: float | None
    time: float | None
    band: tuple[float, float] = (math.nan, math.nan)

    def as_json(self) -> dict[str, Any]:
        """The entry of `explain --json`."""
        return {
            "mode": self.mode,
            "part": self.part,
            "likelihood": self.likelihood,
            "for": list(self.reasons_for),
            "against": list(self.reasons_against),
            "would_tell": self.would_tell,
            "pressure": self.pressure,
            "time": self.time,
        }


@dataclass(frozen=True)
class RuledOut:
    """A rung whose share is below one in a hundred, and why; `part` as on the ladder.

    `ground` is what speaks most against it: "physics", "findings" or "place". `pressure` [Pa] or `time` [s] is its
    level; `absent` names what it usually leaves and nobody reported.
    """

    mode: str
    part: str
    likelihood: float
    why: str
    ground: str = ""
    pressure: float | None = None
    time: float | None = None
    absent: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The entry of `explain --json`."""
        return {"mode": self.mode, "part": self.part, "likelihood": self.likelihood, "why": self.why}


@dataclass(frozen=True)
class Explanation:
    """Candidates, most likely first, and what is left over for causes that are not on the ladder.

    `pressure_words` is the pressure at the failure with its source, `plausible` its 5th and 95th percentile [Pa],
    `moment` the time of the failure, or of the pressure taken for it where no time is known [s from ignition].
    """

    firing: str
    pressure: Pressure
    time: float | None
    candidates: tuple[Candidate, ...]
    ruled_out: tuple[RuledOut, ...]
    not_assessed: tuple[tuple[str, str, str, bool], ...]
    elsewhere: float
    next_step: str
    cautions: tuple[Caution, ...]
    assumptions: tuple[str, ...] = field(default=())
    end: str = ""
    found: tuple[str, ...] = ()
    pressure_words: str = ""
    plausible: tuple[float, float] = (math.nan, math.nan)
    moment: float | None = None
    recorded: History | None = None
    predicted: History | None = None

    def in_short(self, reasons: Sequence[str]) -> list[str]:
        """Reasons with what is said once for all left out, and those of one kind run together."""
        kinds: dict[str, list[str]] = {}
        for reason in reasons:
            kind, colon, rest = reason.removesuffix(f" ({self.pressure_words})").partition(": ")
            kinds.setdefault(kind, []).extend([rest] if colon else [])
        return [f"{kind}: {', '.join(rest)}" if rest else kind for kind, rest in kinds.items()]

    def as_json(self) -> dict[str, Any]:
        """The object of `explain --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "firing": self.firing,
            "pressure_at_failure": {
                "value": self.pressure.value,
                "coefficient_of_variation": self.pressure.error,
                "source": self.pressure.source,
            },
            "time_of_failure": self.time,
            "candidates": [candidate.as_json() for candidate in self.candidates],
            "ruled_out": [item.as_json() for item in self.ruled_out],
            "not_assessed": [
                {"mode": mode, "part": part, "why": why, "would_fit": fits}
                for mode, part, why, fits in self.not_assessed
            ],
            "not_on_the_ladder": self.elsewhere,
            "next_step": self.next_step,
            "cautions": [{"about": item.about, "text": item.text} for item in self.cautions],
            "assumptions": list(self.assumptions),
        }


def explain(firing: Firing, kernel: str = "steady", units: str = "metric") -> Explanation:
    """Rank the rungs of the ladder by how well they fit a failed firing.

    Parameters
    ----------
    firing : Firing
        With what was seen under [observed], and a motor file.
    kernel : str
        "steady" or "transient", for the pressure where none was recorded.
    units : str
        "metric" or "imperial", for the numbers in the texts.

    Raises
    ------
    InputError
        Without a motor or without anything observed, or when the record cannot be read.
    """
    motors = motors_of(firing)
    if motors is None:
        lacking = " and ".join(f"[{name}]" for name in firing.lacking)
        what = f"lacks {lacking}" if lacking else "is not given"
        fix = f"add {lacking} to the motor file" if lacking else 'add motor = "motors/NAME.toml"'
        raise _refused(firing, "motor", f"{what}; an explanation needs the motor as built", fix)
    if not firing.observed:
        keys = "time_of_failure, pressure, end and found"
        fix = f"add an [observed] table with one or more of {keys} ({', '.join(FINDINGS)})"
        raise _refused(firing, "observed", "says nothing; an explanation needs what was seen", fix)
    assessment = assess(motors, kernel=kernel, curve=True)
    notes: list[Caution] = []
    recorded = _history(firing)
    pressure = _pressure(firing, assessment, recorded, notes)
    rungs = [rung for rung in assessment.ladder.rungs if math.isfinite(_level(rung))]
    weighed = _weigh(firing, assessment, rungs, _scatters(motors, rungs), pressure, units)
    explanation = _explanation(firing, assessment, weighed, pressure, notes)
    return _pictured(explanation, assessment, recorded, _pressure_words(pressure, units))


def _refused(firing: Firing, key: str, problem: str, fix: str) -> InputError:
    return InputError([Problem(str(firing.path), 0, key, "", problem, fix, "E112")])


def _level(rung: Rung) -> float:
    """The rung's pressure, or its time. [Pa or s]"""
    value = rung.pressure if rung.pressure is not None else rung.time
    return float(np.ravel(value)[0]) if value is not None else math.nan


# --- the pressure at the failure -------------------------------------------------------------------------------------


def _pressure(firing: Firing, assessment: Assessment, recorded: History | None, notes: list[Caution]) -> Pressure:
    """As written down, else from the record, else predicted at that time, else the predicted peak."""
    time = firing.observed.time_of_failure
    if firing.observed.pressure is not None:
        return Pressure(firing.observed.pressure, RECORDED_ERROR, "as observed", True, 0.0)
    if recorded is not None:
        return _recorded(recorded, time, notes)
    predicted = _predicted(assessment)
    peak = float(assessment.figures["peak_head_pressure"][0])
    if time is None or predicted is None:
        return Pressure(
            peak, PREDICTED_ERROR, "predicted peak; neither time nor pressure of the failure is known", False, ABNORMAL
        )
    t, p = predicted.time, predicted.pressure
    here = float(np.interp(time, t, p))
    if time > t[-1]:
        notes.append(
            Caution(
                "time of failure", f"The motor is predicted to have burnt out at {t[-1]:.2f} s, before the failure."
            )
        )
    fallen = bool(here < 0.9 * np.max(p[t <= time], initial=here))
    return Pressure(max(here, 1e4), PREDICTED_ERROR, "predicted at the time of the failure", True, ABNORMAL, fallen)


def _predicted(assessment: Assessment) -> History | None:
    """Head pressure as the kernel has it."""
    curve = assessment.figures.curve
    if curve is None:
        return None
    known = np.isfinite(curve.time[0]) & np.isfinite(curve.head_pressure[0])
    return History(curve.time[0][known], curve.head_pressure[0][known]) if known.any() else None


def _history(firing: Firing) -> History | None:
    """The recorded pressure, absolute, on a clock that starts at ignition; None without a pressure on record."""
    if firing.record is None or not any(column.kind == "pressure" for column in firing.columns.values()):
        return None
    record = read_record(firing)
    channel = record.of("pressure")[0]
    values = traces.despike(channel.values).values
    known = np.isfinite(values)
    t, p = record.time[known], values[known]
    low = traces.level(p[: max(len(p) // 50, 8)])
    if channel.gauge or low < 5e4:
        p = p + 101325.0
        low += 101325.0
    rising = np.flatnonzero(p > low + 0.1 * (np.max(p) - low))
    return History(t - float(t[rising[0]]), p) if rising.size else None


def _recorded(record: History, time: float | None, notes: list[Caution]) -> Pressure:
    """Pressure on the record at the failure: `time` counts from ignition; without one, the highest reading."""
    t, p = record.time, record.pressure
    if time is None:
        return Pressure(float(np.max(p)), RECORDED_ERROR, "highest on the record", True, 0.0)
    before = (t >= 0.0) & (t <= time)
    if time > t[-1] or not before.any():
        notes.append(
            Caution("record", "The record does not reach the time of the failure; its highest reading is used.")
        )
        return Pressure(float(np.max(p)), RECORDED_ERROR, "highest on the record", True, 0.0)
    # The last readings before a failure may already be falling: the highest of the last fiftieth of a second counts.
    last = before & (t >= time - 0.02)
    here = float(np.max(p[last if last.any() else before]))
    fallen = here < 0.9 * float(np.max(p[before]))
    return Pressure(here, RECORDED_ERROR, "on the record at the time of the failure", True, 0.0, fallen)


def _pressure_words(pressure: Pressure, units: str) -> str:
    return f"{show(pressure.value, 'pressure', units)}, {pressure.source}"


def _pictured(explanation: Explanation, assessment: Assessment, recorded: History | None, words: str) -> Explanation:
    """The explanation with the histories up to the failure and the range that its pressure may lie in."""
    pressure, predicted = explanation.pressure, _predicted(assessment)
    shown = recorded or predicted
    moment = explanation.time
    if moment is None and shown is not None:
        moment = float(shown.time[np.argmin(np.abs(shown.pressure - pressure.value))])
    grid = _pressure_grid(pressure)
    summed = np.cumsum(_near_weights(pressure, grid))
    low, high = (float(np.exp(np.interp(share, summed, grid))) for share in BAND)
    return replace(
        explanation,
        pressure_words=words,
        plausible=(low, high),
        moment=moment,
        recorded=_until(recorded, moment),
        predicted=_until(predicted, moment),
    )


def _until(history: History | None, moment: float | None) -> History | None:
    """A history up to a moment, from a little before ignition."""
    if history is None or moment is None:
        return history
    kept = (history.time <= moment) & (history.time >= -0.1 * max(moment, 0.1))
    return History(history.time[kept], history.pressure[kept]) if np.count_nonzero(kept) > 1 else None


# --- strengths -------------------------------------------------------------------------------------------------------


def _scatters(motors: Motors, rungs: Sequence[Rung]) -> dict[tuple[str, str], float]:
    """Standard deviation of the logarithm of each rung that the motor file's tolerances give (0 without any)."""
    moving = {
        key: one for key, one in sorted(motors.tolerances.items()) if one.minus or one.plus or one.standard_deviation
    }
    if not moving:
        return {}
    points = unit_points(len(moving), TOLERANCE_POINTS, 1)
    moves = np.stack([deviation(one, points[:, i]) for i, one in enumerate(moving.values())], axis=1)
    batch = scattered(motors.repeat(TOLERANCE_POINTS), moving, moves)
    batch = replace(batch, tolerances={})
    ladder = assess_ladder(batch, kernels.evaluate(batch, "steady"))
    found = {}
    for rung in ladder.rungs:
        values = np.asarray(rung.pressure if rung.pressure is not None else rung.time, dtype=float)
        good = values[np.isfinite(values) & (values > 0)]
        if good.size > TOLERANCE_POINTS // 2:
            found[rung.mode, rung.part] = float(np.std(np.log(good)))
    return found


@dataclass(frozen=True)
class _Strength:
    """Log-normal strength with a share of faulty parts."""

    median: float
    sigma: float

    def density(self, log_level: Array) -> Array:
        """Probability density over the logarithm of pressure or time."""
        away = (log_level - math.log(self.median)) / self.sigma
        sound = np.exp(-0.5 * away**2) / (self.sigma * math.sqrt(2.0 * math.pi))
        low = math.log(FAULTY_FROM * self.median)
        faulty = np.where((log_level > low) & (log_level < math.log(self.median)), -1.0 / math.log(FAULTY_FROM), 0.0)
        return np.asarray((1.0 - FAULTY) * sound + FAULTY * faulty)

    def gone(self, log_level: Array) -> Array:
        """Chance of having let go by that level."""
        sound = ndtr((log_level - math.log(self.median)) / self.sigma)
        low = math.log(FAULTY_FROM * self.median)
        faulty = np.clip((log_level - low) / -math.log(FAULTY_FROM), 0.0, 1.0)
        return np.asarray((1.0 - FAULTY) * sound + FAULTY * faulty)

    def at(self, chance: float) -> float:
        """The level by which that share of parts has let go."""
        reach = 6.0 * self.sigma - math.log(FAULTY_FROM)
        centre = math.log(self.median)
        return math.exp(
            brentq(lambda level: float(self.gone(np.array(level))) - chance, centre - reach, centre + reach)
        )


def _strength(rung: Rung, scatters: Mapping[tuple[str, str], float]) -> _Strength:
    ratio, variation = SCATTER[rung.kind]
    return _Strength(ratio * max(_level(rung), LEAST), math.hypot(variation, scatters.get((rung.mode, rung.part), 0.0)))


# --- weighing --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Weighed:
    """A rung with the three things its share is made of."""

    rung: Rung
    trail: Trail
    strength: _Strength
    physics: float
    findings: float
    place: float
    words: tuple[tuple[str, ...], tuple[str, ...]]

    @property
    def weight(self) -> float:
        return self.physics * self.findings * self.place


def _weigh(
    firing: Firing,
    assessment: Assessment,
    rungs: Sequence[Rung],
    scatters: Mapping[tuple[str, str], float],
    pressure: Pressure,
    units: str,
) -> list[_Weighed]:
    strengths = [_strength(rung, scatters) for rung in rungs]
    physics = _physics(firing, assessment, rungs, strengths, pressure)
    weighed = []
    for rung, strength, chance in zip(rungs, strengths, physics, strict=True):
        trail = TRAILS.get(rung.mode, PLAIN)
        found = _findings(firing.observed.found, trail)
        place = PLACES.get(rung.part, {}).get(firing.observed.end, 1.0 / 3.0) if firing.observed.end else 1.0
        words = _words(firing, rung, strength, trail, pressure, assessment, units)
        weighed.append(_Weighed(rung, trail, strength, chance, found, place, words))
    return weighed


def _findings(found: Sequence[str], trail: Trail) -> float:
    """Chance of what was written down, and of what was not, if this mode happened."""
    chance = 1.0
    for name in FINDINGS:
        there = trail.found.get(name, STRAY)
        chance *= there if name in found else 1.0 - SILENCE * there * (there > STRAY)
    return chance if found else 1.0


def _physics(
    firing: Firing, assessment: Assessment, rungs: Sequence[Rung], strengths: Sequence[_Strength], pressure: Pressure
) -> list[float]:
    """How likely each rung let go at the failure's pressure or time, with no other that ends a firing gone before it.

    Densities are over logarithms, so that pressures and times stand on one scale.
    """
    grid = _pressure_grid(pressure)
    weights = _pressure_weights(pressure, grid)
    standing = [
        1.0 - strength.gone(grid)
        if rung.pressure is not None and TRAILS.get(rung.mode, PLAIN).ends_firing
        else np.ones(grid.size)
        for rung, strength in zip(rungs, strengths, strict=True)
    ]
    everyone = np.prod(standing, axis=0) if standing else np.ones(grid.size)
    held = float(np.sum(weights * everyone) / np.sum(weights))
    chances = []
    for rung, strength, own in zip(rungs, strengths, standing, strict=True):
        if rung.pressure is None:
            chances.append(held * _by_time(firing, assessment, strength))
            continue
        others = everyone / np.maximum(own, 1e-12)
        chance = float(np.sum(weights * strength.density(grid) * others))
        # Past its highest pressure a part that was to fail by pressure would have failed already.
        chances.append(chance * (0.2 if pressure.fallen else 1.0))
    return chances


def _by_time(firing: Firing, assessment: Assessment, strength: _Strength) -> float:
    """How likely heat had done it at the time of the failure, or by the end of the burn where the time is not known."""
    at = np.array(math.log(_time(firing, assessment)))
    return float(strength.density(at) if firing.observed.time_of_failure else strength.gone(at))


def _pressure_grid(pressure: Pressure) -> Array:
    """Logarithms of pressure round the failure's."""
    return np.asarray(np.log(pressure.value) + np.linspace(-1.5, 1.5, 601))


def _near_weights(pressure: Pressure, grid: Array) -> Array:
    """Probability of each pressure of the grid: round the value, with a tail where it may have been abnormal."""
    centre = math.log(pressure.value)
    near = np.exp(-0.5 * ((grid - centre) / pressure.error) ** 2)
    near /= near.sum()
    if pressure.abnormal:
        tail = ((grid > centre) & (grid < centre + math.log(ABNORMAL_UP_TO))).astype(float)
        near = (1.0 - pressure.abnormal) * near + pressure.abnormal * tail / max(tail.sum(), 1.0)
    return np.asarray(near)


def _pressure_weights(pressure: Pressure, grid: Array) -> Array:
    """Probability of each pressure of the grid.

    Where it is only known how far the pressure came, the chance of having come past each level (per grid step).
    """
    near = _near_weights(pressure, grid)
    return near if pressure.reached else np.asarray(np.cumsum(near[::-1])[::-1] * (grid[1] - grid[0]))


def _words(
    firing: Firing,
    rung: Rung,
    strength: _Strength,
    trail: Trail,
    pressure: Pressure,
    assessment: Assessment,
    units: str,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What speaks for a rung and what against it."""
    good: list[str] = []
    bad: list[str] = []
    for name in firing.observed.found:
        (good if trail.found.get(name, 0.0) >= 0.3 else bad).append(
            f"it brings about: {name}"
            if trail.found.get(name, 0.0) >= 0.3
            else f"it does not by itself bring about: {name}"
        )
    if firing.observed.end:
        share = PLACES.get(rung.part, {}).get(firing.observed.end, 1.0 / 3.0)
        if share >= 0.5:
            good.append(f"the {firing.observed.end} end failed, where this part is")
        elif share < 0.1:
            bad.append(f"the {firing.observed.end} end failed, and this part is elsewhere")
    (good if _near(rung, strength, firing, pressure, assessment) else bad).append(
        _margin(rung, firing, pressure, assessment, units)
    )
    missing = _absent(trail, firing.observed.found)
    if missing:
        bad.append(f"not reported, though usual: {', '.join(missing)}")
    if rung.pressure is not None and pressure.fallen:
        bad.append("the pressure had been higher before and the part had held")
    return tuple(good), tuple(bad)


def _near(rung: Rung, strength: _Strength, firing: Firing, pressure: Pressure, assessment: Assessment) -> bool:
    """Whether the failure's pressure or time lies within two standard deviations below the strength, or above it."""
    at = pressure.value if rung.pressure is not None else _time(firing, assessment)
    error = pressure.error if rung.pressure is not None else 0.0
    return math.log(at) > math.log(strength.median) - 2.0 * math.hypot(strength.sigma, error)


def _time(firing: Firing, assessment: Assessment) -> float:
    return firing.observed.time_of_failure or float(assessment.figures["action_time"][0])


def _margin(rung: Rung, firing: Firing, pressure: Pressure, assessment: Assessment, units: str) -> str:
    level = _level(rung)
    if rung.pressure is not None:
        ratio = level / pressure.value
        held = f"{show(level, 'pressure', units)}, {ratio:.2f} times the pressure at the failure"
        return f"the ladder puts it at {held} ({_pressure_words(pressure, units)})"
    time = _time(firing, assessment)
    return f"the ladder puts it at {level:.2f} s; the firing had gone {time:.2f} s"


# --- the answer ------------------------------------------------------------------------------------------------------


def _explanation(
    firing: Firing, assessment: Assessment, weighed: Sequence[_Weighed], pressure: Pressure, notes: list[Caution]
) -> Explanation:
    # What is not on the ladder is taken to leave any finding one time in four, at any pressure.
    elsewhere = ELSEWHERE * (0.25 ** len(firing.observed.found)) * (1.0 / 3.0 if firing.observed.end else 1.0)
    total = sum(item.weight for item in weighed) + elsewhere
    ranked = sorted(weighed, key=lambda item: -item.weight)
    shares = [(item, item.weight / total) for item in ranked]
    candidates = tuple(_candidate(item, share) for item, share in shares if share >= OUT)
    out = tuple(_ruled_out(item, share, weighed, firing.observed.found) for item, share in shares if share < OUT)
    notes += _notes(pressure, candidates, elsewhere / total)
    missing = tuple(
        (item.mode, item.part, item.why, _fits(firing.observed.found, item.mode))
        for item in assessment.ladder.not_assessed
    )
    return Explanation(
        firing=firing.name,
        pressure=pressure,
        time=firing.observed.time_of_failure,
        candidates=candidates,
        ruled_out=out,
        not_assessed=missing,
        elsewhere=elsewhere / total,
        next_step=_next_step(candidates),
        cautions=tuple(notes),
        assumptions=tuple(_assumptions(pressure)),
        end=firing.observed.end,
        found=tuple(firing.observed.found),
    )


def _levels(rung: Rung) -> tuple[float | None, float | None]:
    """Pressure and time of a rung, one of them None. [Pa], [s]"""
    level = _level(rung)
    return (level, None) if rung.pressure is not None else (None, level)


def _candidate(item: _Weighed, share: float) -> Candidate:
    band = item.strength.at(BAND[0]), item.strength.at(BAND[1])
    rung = item.rung
    return Candidate(rung.mode, rung.part, share, *item.words, item.trail.tell, *_levels(rung), band)


def _ruled_out(item: _Weighed, share: float, weighed: Sequence[_Weighed], found: Sequence[str]) -> RuledOut:
    ground = _ground(item, weighed)
    absent = _absent(item.trail, found) if ground == "findings" else ()
    return RuledOut(item.rung.mode, item.rung.part, share, _why_out(item, ground), ground, *_levels(item.rung), absent)


def _absent(trail: Trail, found: Sequence[str]) -> tuple[str, ...]:
    """What a mode usually leaves and nobody reported."""
    return tuple(name for name, chance in trail.found.items() if chance >= 0.8 and name not in found) if found else ()


def _ground(item: _Weighed, weighed: Sequence[_Weighed]) -> str:
    """The weakest of the three things, against the best of the others."""
    best = {name: max(getattr(other, name) for other in weighed) or 1.0 for name in ("physics", "findings", "place")}
    return min(best, key=lambda name: getattr(item, name) / best[name])


def _why_out(item: _Weighed, ground: str) -> str:
    good, bad = item.words
    if ground == "physics":
        return next((text for text in (*bad, *good) if text.startswith("the ladder")), "the pressure does not fit")
    if ground == "place":
        return next((text for text in bad if text.endswith("elsewhere")), "the end that failed does not fit")
    texts = [text for text in bad if text.startswith(("it does not", "not reported"))]
    return "; ".join(texts) or "what was found does not fit"


def _fits(found: Sequence[str], mode: str) -> bool:
    """Whether a mode that was not assessed brings about everything that was found."""
    trail = TRAILS.get(mode)
    return bool(found) and trail is not None and all(trail.found.get(name, 0.0) >= 0.3 for name in found)


def _next_step(candidates: Sequence[Candidate]) -> str:
    """What would tell the first two apart."""
    if len(candidates) < 2:
        return candidates[0].would_tell if candidates else "Nothing on the ladder fits; look for causes outside it."
    first, second = candidates[:2]
    if (first.mode, first.would_tell) == (second.mode, second.would_tell):
        which = "Which end let go first is told by where the pieces lie and by the marks on the closures."
        return f"{first.would_tell} {which}"
    if first.would_tell == second.would_tell:
        return first.would_tell
    return f"{first.would_tell} {second.would_tell}"


def _notes(pressure: Pressure, candidates: Sequence[Candidate], elsewhere: float) -> Iterator[Caution]:
    if pressure.abnormal:
        yield Caution(
            "no pressure record",
            "The pressure at the failure is a prediction. A cracked or unbonded grain, a blocked port or a hot day "
            "raises it, and then a sound part may fail; a record would settle most of this.",
        )
    first = candidates[0] if candidates else None
    if first is not None and first.pressure is not None and first.pressure > SOUND * pressure.value:
        yield Caution(
            "a sound part would have held",
            f"{first.mode} ({first.part}) is put at {first.pressure / pressure.value:.1f} times the pressure at the "
            "failure. If it was that, the part was not what the motor file says (wrong screw, thread in the shear "
            "plane, a missing screw, a scratch, heat), or the pressure was far above what is taken here.",
        )
    if len(candidates) > 1 and candidates[1].likelihood > 0.5 * candidates[0].likelihood:
        yield Caution(
            "close call", "The first two fit about equally well; do what would tell them apart before changing a part."
        )
    if elsewhere > 0.2:
        yield Caution(
            "not on the ladder",
            "Much is left for causes that this tool does not know: assembly, damage, a wrong part, propellant.",
        )
    yield Caution(
        "no certainty",
        "These are shares of likelihood under stated scatter, not a finding. Unburnt propellant in the wreck is live. "
        "Do not fire again on the strength of it: repair what fits, have your club's officer look at the pieces, "
        "proof-test with water; then fire remotely, at your club's distance and under your local codes.",
    )


def _assumptions(pressure: Pressure) -> Iterator[str]:
    for kind, (ratio, variation) in SCATTER.items():
        spread = f"median {ratio:.2f} times the ladder's figure, coefficient of variation {variation:.2f}"
        yield f"{kind}: {spread} (common practice, no source)"
    faulty = f"one part in {1 / FAULTY:.0f} faulty, letting go anywhere from {FAULTY_FROM:.2f} of its strength up"
    yield f"{faulty} (our judgement)"
    yield f"pressure at the failure known to {100 * pressure.error:.0f} % ({pressure.source})"
