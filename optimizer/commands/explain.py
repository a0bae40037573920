"""A failed firing: which rungs of the ladder fit what was found, how likely each is, and what would tell them apart.

Owns the weighing of the evidence; what each mode leaves behind stands in `trails`. Imports inputs, record, traces,
spread, trails and physics.

How it weighs. A mode's share is the product of three things: how likely the part let go at the pressure (or time) of
the failure, given that every part had held until then, how well the mode produces what was found, and how well its
place fits the end that failed. Strengths scatter log-normally about a median above the specification minimum, by
the bands of the ladder and the motor file's own tolerances together; one part in twenty is taken to be faulty and may let go at
anything from a quarter of its strength up, and one rung in ten is taken to be put wrongly altogether. So a rung that
was passed long before the failure loses by it and takes nothing from the others. Heat is one-sided: a wall that is
through may let go then or at any time after, and a predicted time of 0 means from the start; the same holds for what
does not end a firing by itself. Nothing is certain here: the shares say what to look at first.
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

from optimizer.candidates.samples import deviation, scattered, unit_points
from optimizer.cautions import Caution
from optimizer.firings import traces
from optimizer.firings.as_fired import motors_of
from optimizer.firings.plausible import held_against_motor
from optimizer.firings.record import read_record
from optimizer.firings.signatures import PLACES, PLAIN, TRAILS, Trail
from optimizer.inputs import FINDINGS, Firing, InputError, Problem
from optimizer.results import ANSWER_SCHEMA
from optimizer.units import show
from physics.assessment import Assessment, assess
from physics.ballistics import grain
from physics.ballistics import kernel as kernels
from physics.failure.ladder import ADVICE, assess_ladder, plain_part
from physics.failure.scatter import table as certainty_table
from physics.heat.marches import gap_widths
from physics.heat.places import NEAR, place_at
from physics.heat.places import PLACES as WALL
from physics.heat.softening import GAS_AT, case_softening_by_place
from physics.heat.through import burn_through_by_place
from physics.missing import NotComputable
from physics.motors import Motors, Rung, Situation

Array = NDArray[np.float64]

NARROWEST = 0.02
"""No rung is known better than this (scatter of the logarithm), whatever its band; our judgement."""
HEAT = certainty_table()["any other heat"]
"""Bias and scatter of the heat that is weighed by place."""
FAULTY, FAULTY_FROM = 0.05, 0.25
"""Share of parts taken to be faulty, and the lowest share of its strength at which one may let go; our judgement."""
WRONG, WIDE = 0.10, 0.50
"""Share of rungs taken to be put wrongly, and the scatter (of the logarithm) that they then have; our judgement."""
LINGERS, HOT_LINGERS = 1.0, 2.0
"""Chance for each unit of the logarithm of pressure, or of time for heat, that what happened earlier shows itself now; our
judgement: a bare wall in the gas does not last long."""
THE_LINERS = 0.75
"""Share of a softened case that is laid to a liner which was through before; our judgement."""
NEAR_END = 0.2
"""Share of the case's length that counts as one of its ends; our judgement."""
DEPARTS = 1.12
"""A recorded pressure that is so many times the predicted one, or below one over it, is told apart from it."""
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
class Departure:
    """How the recorded pressure differs from the predicted one up to the failure, and what would make it.

    `recorded` and `predicted` are the highest until then [Pa], `exponent` that of the rate law there. `burning_area` and
    `throat_area` are the ratios, each alone, that make one of the other at equilibrium: (p/p0)^(1−n) and (p/p0)^(n−1).
    `flaws` are what one crack or one lost sleeve of this motor would give in burning area, as ratios at ignition.
    """

    recorded: float
    predicted: float
    exponent: float
    burning_area: float
    throat_area: float
    flaws: tuple[tuple[str, float], ...]

    @property
    def ratio(self) -> float:
        """Recorded over predicted."""
        return self.recorded / self.predicted

    def as_json(self) -> dict[str, Any]:
        """The entry of `explain --json`."""
        return {
            "recorded": self.recorded,
            "predicted": self.predicted,
            "ratio": self.ratio,
            "burning_area": self.burning_area,
            "throat_area": self.throat_area,
            "flaws": [{"flaw": name, "burning_area": ratio} for name, ratio in self.flaws],
        }


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


WHY_FIRST = ("why the pressure rose", "why the pressure was low", "pressure or part")


@dataclass(frozen=True)
class Explanation:
    """Candidates, most likely first, and what is left over for causes that are not on the ladder.

    `pressure_words` is the pressure at the failure with its source, `plausible` its 5th and 95th percentile [Pa],
    `moment` the time of the failure, or of the pressure taken for it where no time is known [s from ignition].
    `departure` is how a recorded pressure differs from the predicted one, `pressure_or_part` the shares of "the pressure
    was wrong" (`pressure`), "the part was weak" (`part`) and "both as they should be" (`neither`) for the first candidate,
    None where that is not a matter of pressure.
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
    departure: Departure | None = None
    pressure_or_part: Mapping[str, float] | None = None

    @property
    def why_first(self) -> list[str]:
        """What is to be said before any part is looked at: why the pressure was not the predicted one, and what that means."""
        return [item.text for item in self.cautions if item.about in WHY_FIRST]

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
            "departure": None if self.departure is None else self.departure.as_json(),
            "pressure_or_part": None if self.pressure_or_part is None else dict(self.pressure_or_part),
            "candidates": [candidate.as_json() for candidate in self.candidates],
            "ruled_out": [item.as_json() for item in self.ruled_out],
            "not_assessed": [
                {"mode": mode, "part": part, "why": why, "would_fit": fits} for mode, part, why, fits in self.not_assessed
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
    firing = _with_end(firing, motors, notes, units)
    recorded = _history(firing, assessment)
    pressure = _pressure(firing, assessment, recorded, notes)
    rungs = [rung for rung in assessment.ladder.rungs if rung.kind != ADVICE and math.isfinite(_level(rung))]
    weighed = _weigh(firing, assessment, rungs, _scatters(motors, rungs), pressure, units)
    departure = _departure(firing, assessment, recorded)
    shares = _pressure_or_part(weighed, pressure, assessment, departure)
    notes[:0] = [*_departure_notes(departure, units), *_weighed_notes(weighed, shares)]
    explanation = _explanation(firing, assessment, weighed, pressure, notes)
    explanation = replace(explanation, departure=departure, pressure_or_part=shares)
    return _pictured(explanation, assessment, recorded, _pressure_words(pressure, units))


def _with_end(firing: Firing, motors: Motors, notes: list[Caution], units: str) -> Firing:
    """The firing with the end that failed told by where things were found, where nobody said it."""
    length = None if motors.case is None else motors.case.length
    places = [one.position for one in firing.observed.at if one.position is not None]
    if firing.observed.end or not places or length is None:
        return firing
    share = sum(places) / len(places) / float(np.ravel(length)[0])
    end = "forward" if share < NEAR_END else "aft" if share > 1.0 - NEAR_END else "middle"
    where = ", ".join(show(place, "length", units) for place in places)
    told = f"Found at {where} from the forward end of the case: taken as {'the middle' if end == 'middle' else f'the {end} end'}."
    notes.append(Caution("where it was found", told))
    return replace(firing, observed=replace(firing.observed, end=end))


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
        return Pressure(peak, PREDICTED_ERROR, "predicted peak; neither time nor pressure of the failure is known", False, ABNORMAL)
    t, p = predicted.time, predicted.pressure
    here = float(np.interp(time, t, p))
    if time > t[-1]:
        notes.append(Caution("time of failure", f"The motor is predicted to have burnt out at {t[-1]:.2f} s, before the failure."))
    fallen = bool(here < 0.9 * np.max(p[t <= time], initial=here))
    return Pressure(max(here, 1e4), PREDICTED_ERROR, "predicted at the time of the failure", True, ABNORMAL, fallen)


def _predicted(assessment: Assessment) -> History | None:
    """Head pressure as the kernel has it."""
    curve = assessment.figures.curve
    if curve is None:
        return None
    known = np.isfinite(curve.time[0]) & np.isfinite(curve.head_pressure[0])
    return History(curve.time[0][known], curve.head_pressure[0][known]) if known.any() else None


def _history(firing: Firing, assessment: Assessment) -> History | None:
    """The recorded head pressure, absolute, on a clock that starts at ignition; None without a pressure on record.

    What was read at the nozzle end is raised by the port's drop at ignition.
    """
    if firing.record is None or not any(column.kind == "pressure" for column in firing.columns.values()):
        return None
    record = held_against_motor(firing, read_record(firing))
    channel = record.of("pressure")[0]
    values = traces.despike(channel.values).values
    known = np.isfinite(values)
    t, p = record.time[known], values[known]
    low = traces.level(p[: max(len(p) // 50, 8)])
    if channel.gauge or low < 5e4:
        p = p + 101325.0
        low += 101325.0
    if channel.place == "chamber":
        drop = float(np.ravel(assessment.figures["head_pressure_ratio"])[0])
        p = p * max(drop, 1.0) if math.isfinite(drop) else p
    rising = np.flatnonzero(p > low + 0.1 * (np.max(p) - low))
    return History(t - float(t[rising[0]]), p) if rising.size else None


def _recorded(record: History, time: float | None, notes: list[Caution]) -> Pressure:
    """Pressure on the record at the failure: `time` counts from ignition; without one, the highest reading."""
    t, p = record.time, record.pressure
    if time is None:
        return Pressure(max(float(np.max(p)), 1e4), RECORDED_ERROR, "highest on the record", True, 0.0)
    before = (t >= 0.0) & (t <= time)
    if time > t[-1] or not before.any():
        notes.append(Caution("record", "The record does not reach the time of the failure; its highest reading is used."))
        return Pressure(max(float(np.max(p)), 1e4), RECORDED_ERROR, "highest on the record", True, 0.0)
    # The last readings before a failure may already be falling: the highest of the last fiftieth of a second counts.
    last = before & (t >= time - 0.02)
    here = float(np.max(p[last if last.any() else before]))
    fallen = here < 0.9 * float(np.max(p[before]))
    return Pressure(max(here, 1e4), RECORDED_ERROR, "on the record at the time of the failure", True, 0.0, fallen)


# --- recorded against predicted --------------------------------------------------------------------------------------


def _departure(firing: Firing, assessment: Assessment, recorded: History | None) -> Departure | None:
    """None without a record, or where it goes with the prediction."""
    predicted = _predicted(assessment)
    if recorded is None or predicted is None:
        return None
    until = firing.observed.time_of_failure
    high, due = (
        float(np.max(one.pressure[one.time <= until], initial=0.0)) if until else float(np.max(one.pressure))
        for one in (recorded, predicted)
    )
    if not (high > 2e5 and due > 2e5) or 1.0 / DEPARTS < high / due < DEPARTS:
        return None
    law = assessment.motors.propellant
    rows = [np.ravel(leaf) for leaf in (law.rate_from, law.exponent)]
    row = max(int(np.count_nonzero(rows[0] <= high)) - 1, 0)
    exponent = float(rows[1][min(row, rows[1].size - 1)])
    ratio = high / due
    return Departure(
        high, due, exponent, ratio ** (1.0 - exponent), ratio ** (exponent - 1.0), tuple(_grain_flaws(assessment.motors))
    )


def _grain_flaws(motors: Motors) -> Iterator[tuple[str, float]]:
    """What one flaw of the longest grain adds to the burning area at ignition, as a ratio; plain geometry."""
    rows = motors.grain
    whole = float(np.sum(grain.burning_area(rows, np.array(0.0))))
    length, outer, core = (np.ravel(leaf) for leaf in (rows.length, rows.outer_diameter, rows.core_diameter))
    i = int(np.argmax(length))
    web = 0.5 * float(outer[i] - core[i])
    if whole > 0.0:
        yield "one grain cracked through its web along its length", 1.0 + 2.0 * web * float(length[i]) / whole
        yield "one grain alight on its outside", 1.0 + math.pi * float(outer[i]) * float(length[i]) / whole


def _departure_notes(departure: Departure | None, units: str) -> Iterator[Caution]:
    if departure is None:
        return
    high, due = (show(value, "pressure", units) for value in (departure.recorded, departure.predicted))
    area, throat = 100.0 * (departure.burning_area - 1.0), 100.0 * (departure.throat_area - 1.0)
    flaws = ", ".join(f"{name} {100.0 * (ratio - 1.0):+.0f} %" for name, ratio in departure.flaws)
    if departure.ratio > 1.0:
        yield Caution(
            "why the pressure rose",
            f"The record goes to {high} where {due} is predicted. At an exponent of {departure.exponent:.2f} that takes "
            f"{area:+.0f} % of burning area, or a throat {-throat:.0f} % smaller, or a faster propellant (hotter, another lot). "
            f"For this motor: {flaws}. Find out which before looking for a weak part.",
        )
    else:
        yield Caution(
            "why the pressure was low",
            f"The record goes to {high} where {due} is predicted: {area:+.0f} % of burning area, a throat {throat:.0f} % larger, "
            "a leak, a slower propellant, or the motor let go on its way up. A part that failed at this pressure was weak or hot.",
        )


def _weighed_notes(weighed: Sequence[_Weighed], shares: Mapping[str, float] | None) -> Iterator[Caution]:
    """Whether the pressure was wrong or the part was weak, in words."""
    if shares is None:
        return
    first = max(weighed, key=lambda item: item.weight).rung
    told = [
        words if shares[name] >= 0.995 else f"{words} {100.0 * shares[name]:.0f} %"
        for name, words in (
            ("pressure", "the pressure was too high for a sound part"),
            ("part", "the part was weak at a pressure it was made for"),
            ("both", "a weak part met too high a pressure"),
            ("neither", "neither: a sound part has too little margin there"),
        )
        if shares[name] >= 0.01
    ]
    yield Caution("pressure or part", f"If it was {first.mode} ({first.part}): {'; '.join(told)}.")


def _pressure_or_part(
    weighed: Sequence[_Weighed], pressure: Pressure, assessment: Assessment, departure: Departure | None
) -> dict[str, float] | None:
    """For the first candidate: whether a sound part met too high a pressure, or a weak part the one it was made for."""
    first = max(weighed, key=lambda item: item.weight, default=None)
    if first is None or first.rung.pressure is None:
        return None
    grid = _pressure_grid(pressure)
    centre = math.log(float(np.ravel(assessment.figures["peak_head_pressure"])[0]))
    weights = _near_weights(pressure, grid)
    high = ndtr((grid - centre - math.log(DEPARTS)) / max(PREDICTED_ERROR / 3.0, 1e-6))
    if departure is None and not pressure.abnormal:
        high = np.zeros(grid.size)  # recorded, and as predicted
    sound = first.strength.sound(grid)
    weak = np.maximum(first.strength.density(grid) - sound, 0.0)
    parts = {
        "pressure": float(np.sum(weights * high * sound)),
        "part": float(np.sum(weights * (1.0 - high) * weak)),
        "neither": float(np.sum(weights * (1.0 - high) * sound)),
        "both": float(np.sum(weights * high * weak)),
    }
    total = sum(parts.values())
    return {name: value / total for name, value in parts.items()} if total > 0.0 else None


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
    moving = {key: one for key, one in sorted(motors.tolerances.items()) if one.minus or one.plus or one.standard_deviation}
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

    def sound(self, log_level: Array) -> Array:
        """The part of `density` that parts without a fault have."""
        away = (log_level - math.log(self.median)) / self.sigma
        return np.asarray((1.0 - FAULTY) * np.exp(-0.5 * away**2) / (self.sigma * math.sqrt(2.0 * math.pi)))

    def put_wrongly(self, log_level: Array) -> Array:
        """Density of a rung whose figure is far off, to either hand."""
        wide = math.hypot(self.sigma, WIDE)
        away = (log_level - math.log(self.median)) / wide
        return np.asarray(np.exp(-0.5 * away**2) / (wide * math.sqrt(2.0 * math.pi)))

    def density(self, log_level: Array) -> Array:
        """Probability density over the logarithm of pressure or time."""
        low = math.log(FAULTY_FROM * self.median)
        faulty = np.where((log_level > low) & (log_level < math.log(self.median)), -1.0 / math.log(FAULTY_FROM), 0.0)
        return np.asarray(self.sound(log_level) + FAULTY * faulty)

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
        return math.exp(brentq(lambda level: float(self.gone(np.array(level))) - chance, centre - reach, centre + reach))


def _strength(rung: Rung, scatters: Mapping[tuple[str, str], float]) -> _Strength:
    """The rung's own band as `check` shows it, with what the file's tolerances scatter."""
    ratio = 1.0 if rung.certainty is None else rung.certainty.ratio
    return _Strength(
        ratio * max(_level(rung), LEAST), max(math.hypot(rung.scatter, scatters.get((rung.mode, rung.part), 0.0)), NARROWEST)
    )


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
    hot, seen = _hot_places(firing, assessment), _seen_at(firing, assessment.motors)
    weighed = []
    for rung, strength, chance in zip(rungs, strengths, physics, strict=True):
        trail = TRAILS.get(rung.mode, PLAIN)
        places = hot.get(rung.mode) or PLACES.get(plain_part(rung.part), {})
        if places.get(_LOCAL_SHARE, 0.0) > 0.5:
            trail = _local(trail)
        found = _findings(firing.observed.found, trail)
        place = places.get(firing.observed.end, 1.0 / 3.0) if firing.observed.end else 1.0
        place = places.get(seen, place) if seen else place
        words = _words(firing, rung, strength, trail, pressure, assessment, units, places)
        weighed.append(_Weighed(rung, trail, strength, chance, found, place, words))
    return _behind_the_liner(weighed)


def _behind_the_liner(weighed: list[_Weighed]) -> list[_Weighed]:
    """A case that softens where the liner was through before it is the liner's failure: most of its share goes there."""
    liner = next((item for item in weighed if item.rung.mode == "liner burn-through"), None)
    soft = next((item for item in weighed if item.rung.mode == "case softening"), None)
    if liner is None or soft is None or liner.weight <= 0.0 or _level(liner.rung) > _level(soft.rung):
        return weighed
    more = 1.0 + THE_LINERS * soft.weight / liner.weight
    moved = {id(liner): replace(liner, physics=more * liner.physics)}
    moved[id(soft)] = replace(soft, physics=(1.0 - THE_LINERS) * soft.physics)
    return [moved.get(id(item), item) for item in weighed]


ENDS_OF = {
    "forward end": "forward",
    "joint": "middle",
    "mid-grain wall": "middle",
    "aft end": "aft",
    "gap at the forward end": "forward",
    "gap at the joint": "middle",
    "gap at the aft end": "aft",
    f"{GAS_AT}forward end": "forward",
    f"{GAS_AT}joint": "middle",
    f"{GAS_AT}aft end": "aft",
}
"""At which end what happens at each place of the wall shows."""


OF_HEAT = frozenset({"burn-through", "hot spot", "liner charred", "liner gone"})
"""Findings that a place of the wall leaves."""
LOCAL = 0.7
"""Chance that a case which softens at a gap, or where gas enters behind the liner, is found burned through: judgement."""


def _seen_at(firing: Firing, motors: Motors) -> str | None:
    """The one place of the wall at which what heat leaves was found, by its positions; None where there is none, or several."""
    anywhere = motors.liner is not None and motors.liner.gap is not None and bool(np.any(motors.liner.gap > 0.0))
    if motors.case is None or anywhere:  # a gap that may lie anywhere may lie there too
        return None
    near = NEAR + 0.5 * max(float(np.max(width)) for width in gap_widths(motors).values())
    positions = [one.position for one in firing.observed.at if one.found in OF_HEAT and one.position is not None]
    seen = {place_at(motors, position, near) for position in positions}
    return seen.pop() if len(seen) == 1 else None


def _of_a_gap(name: str) -> bool:
    return name.startswith(("gap at the ", GAS_AT))


def _local(trail: Trail) -> Trail:
    """What is left where heat gets through at one spot."""
    return replace(trail, found={**trail.found, "burn-through": max(LOCAL, trail.found.get("burn-through", 0.0))})


def _hot_places(firing: Firing, assessment: Assessment) -> dict[str, dict[str, float]]:
    """Share of each end, and of each place of the wall, in what heat does, by mode: where the wall is through by then, and a
    little for the others. Under `_LOCAL_SHARE` what part of it a gap has.
    """
    found: dict[str, dict[str, float]] = {}
    situation = Situation(figures=assessment.figures, maximum_expected_pressure=np.asarray(assessment.maximum_expected_pressure))
    ratio, sigma = HEAT.bias, HEAT.scatter
    at = np.array(math.log(max(_time(firing, assessment), LEAST)))
    for mode, by_place in (("liner burn-through", burn_through_by_place), ("case softening", case_softening_by_place)):
        try:
            times = by_place(assessment.motors, situation)
        except NotComputable:
            continue
        ends = dict.fromkeys(("forward", "middle", "aft"), STRAY)
        spots = dict.fromkeys(WALL, STRAY)
        local = whole = STRAY
        for place, value in times.items():
            time, end = float(np.ravel(value)[0]), ENDS_OF[place]
            spot = place.removeprefix("gap at the ").removeprefix(GAS_AT)
            if math.isfinite(time):
                gone = float(_Strength(ratio * max(time, LEAST), sigma).gone(at))
                ends[end], spots[spot] = max(ends[end], STRAY + gone), max(spots[spot], STRAY + gone)
                local, whole = max(local, gone if _of_a_gap(place) else 0.0), max(whole, gone)
        found[mode] = {name: share / sum(part.values()) for part in (ends, spots) for name, share in part.items()}
        found[mode][_LOCAL_SHARE] = local / whole
    return found


_LOCAL_SHARE = "of a gap"


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
    """How likely each rung let go at the failure's pressure or time, given that all had held until then.

    Densities are over logarithms, so that pressures and times stand on one scale. That the others had held is the same
    evidence for every mode and for what is not on the ladder, so it divides out; what is left of it says at which
    pressures, of those that may have been, the failure can have come.
    """
    grid = _pressure_grid(pressure)
    weights = _pressure_weights(pressure, grid)
    ends = [rung.pressure is not None and TRAILS.get(rung.mode, PLAIN).ends_firing for rung in rungs]
    standing = [
        WRONG + (1.0 - WRONG) * (1.0 - strength.gone(grid)) if ending else np.ones(grid.size)
        for ending, strength in zip(ends, strengths, strict=True)
    ]
    everyone = np.prod(standing, axis=0) if standing else np.ones(grid.size)
    near = _near_weights(pressure, grid)
    held = float(np.sum(near * everyone) / np.sum(near))
    chances = []
    for rung, strength, own, ending in zip(rungs, strengths, standing, ends, strict=True):
        if rung.pressure is None:
            chances.append(_by_time(firing, assessment, strength))
            continue
        density = (1.0 - WRONG) * strength.density(grid) + WRONG * strength.put_wrongly(grid)
        if not ending:
            density = np.maximum(density, LINGERS * strength.gone(grid))
        chance = float(np.sum(weights * density * everyone / own)) / held
        # Past its highest pressure a part that was to fail by pressure would have failed already.
        chances.append(chance * (0.2 if pressure.fallen and ending else 1.0))
    return chances


def _by_time(firing: Firing, assessment: Assessment, strength: _Strength) -> float:
    """How likely heat had done it at the time of the failure, or by the end of the burn where the time is not known.

    A wall that is through may let go at once or later, so having been through for long speaks for it, not against.
    """
    at = np.array(math.log(max(_time(firing, assessment), LEAST)))
    gone = float(strength.gone(at))
    return max(float(strength.density(at)), HOT_LINGERS * gone) if firing.observed.time_of_failure is not None else gone


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
    places: Mapping[str, float],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What speaks for a rung and what against it."""
    good: list[str] = []
    bad: list[str] = []
    for name in firing.observed.found:
        (good if trail.found.get(name, 0.0) >= 0.3 else bad).append(
            f"it brings about: {name}" if trail.found.get(name, 0.0) >= 0.3 else f"it does not by itself bring about: {name}"
        )
    if firing.observed.end:
        share = places.get(firing.observed.end, 1.0 / 3.0)
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
    """Whether the failure's pressure or time lies within two standard deviations below the strength, or above it.

    What ends a firing is near only from below: a rung passed long before has been shown to hold.
    """
    at = pressure.value if rung.pressure is not None else _time(firing, assessment)
    error = pressure.error if rung.pressure is not None else 0.0
    away = (math.log(at) - math.log(strength.median)) / math.hypot(strength.sigma, error)
    passed = rung.pressure is not None and TRAILS.get(rung.mode, PLAIN).ends_firing and away > 3.0
    return away > -2.0 and not passed


def _time(firing: Firing, assessment: Assessment) -> float:
    seen = firing.observed.time_of_failure
    return float(assessment.figures["action_time"][0]) if seen is None else max(seen, LEAST)


def _margin(rung: Rung, firing: Firing, pressure: Pressure, assessment: Assessment, units: str) -> str:
    level = _level(rung)
    if rung.pressure is not None:
        ratio = level / pressure.value
        held = f"{show(level, 'pressure', units)}, {ratio:.2f} times the pressure at the failure"
        return f"the ladder puts it at {held} ({_pressure_words(pressure, units)})"
    time = _time(firing, assessment)
    if level <= LEAST:
        return f"the ladder has it through from the start; the firing had gone {time:.2f} s"
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
        (item.mode, item.part, item.why, _fits(firing.observed.found, item.mode)) for item in assessment.ladder.not_assessed
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
            "The pressure is a prediction; a cracked or unbonded grain, a blocked port or a hot day raises it. "
            "A record would settle this.",
        )
    first = candidates[0] if candidates else None
    if first is not None and first.pressure is not None and first.pressure > SOUND * pressure.value:
        yield Caution(
            "a sound part would have held",
            f"{first.mode} ({first.part}) is put at {first.pressure / pressure.value:.1f} times the pressure at the "
            "failure. If it was that, the part was not what the motor file says (wrong or no screw, thread in the shear "
            "plane, a scratch, heat), or the pressure was far higher.",
        )
    if len(candidates) > 1 and candidates[1].likelihood > 0.5 * candidates[0].likelihood:
        yield Caution("close call", "The first two fit about equally well; do what would tell them apart before changing a part.")
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
    yield "each rung: the likely value and scatter that `check` shows, and what it rests on, physics/failure/scatter.csv"
    yield f"one rung in {1 / WRONG:.0f} put wrongly, with a scatter of {WIDE:.2f} about its figure to either hand (our judgement)"
    faulty = f"one part in {1 / FAULTY:.0f} faulty, letting go anywhere from {FAULTY_FROM:.2f} of its strength up"
    yield f"{faulty} (our judgement)"
    yield f"pressure at the failure known to {100 * pressure.error:.0f} % ({pressure.source})"
