"""Static firings: from a noisy record to measured figures, with what each figure is worth.

Owns the definitions of ignition, burn time and action time, the integrals, the throat history and the uncertainties.
Imports record, channels, traces, inputs and physics; the re-fit of the burning rate sits in `fit_rate`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.cautions import Caution
from optimizer.firings import traces
from optimizer.firings.as_fired import ambient_of, computed_mass, mass_of, motors_of, throat_of
from optimizer.firings.channels import Trace, clean_channel
from optimizer.firings.plausible import held_against_motor
from optimizer.firings.record import Channel, Record, read_record
from optimizer.inputs import Firing, InputError, Problem
from optimizer.results import ANSWER_SCHEMA
from optimizer.units import show
from physics import constants
from physics.ballistics import nozzle
from physics.ballistics.kernel import evaluate
from physics.heat.bench import READING, predicted_loss
from physics.heat.places import place_at
from physics.missing import NotComputable
from physics.motors import Motors

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

COVERAGE_FACTOR = 1.96
"""Half width of a stated interval in standard deviations: 95 in 100."""
DISAGREEMENT = 0.05
"""Two transducers that differ by more than this share of the peak for a twentieth of the action time are said."""
LONG_GAP = 10.0
"""A step of the clock this many times the usual one is a gap."""

DEFINITIONS: dict[str, str] = {
    "pressure": "absolute chamber pressure: each channel zeroed to ambient on the quiet stretch before ignition, lone "
    "spikes of one or two samples replaced by the median of eleven, then the mean of the channels",
    "peak_head_pressure": "peak of what was read at the head end, where the record was taken there",
    "peak_pressure": "highest sample of that trace (highest_pressure_sample), less what noise of the size seen "
    "lifts the highest of so many samples near the top; peak_pressure_smoothed is the top of a running "
    "straight-line fit over 2 % of the action time; peak_thrust and highest_thrust_sample likewise",
    "action_time": "between the points at 10 % of peak pressure (of peak thrust where no pressure was recorded)",
    "ignition_time": "last time before the rise, on the record's clock, at which the smoothed trace is within 1 % "
    "of the peak, or three standard deviations of the noise, of its quiet level",
    "burn_time": "from the 10 % point on the rise to the aft tangent-bisector point of the tail-off",
    "mean_pressure": "pressure integral over burn_time, divided by burn_time",
    "mean_thrust": "thrust integral over burn_time, divided by burn_time",
    "pressure_integral": "integral of absolute pressure over the action time; pressure_integral_above_ambient "
    "leaves out ambient pressure",
    "total_impulse": "integral of thrust over the action time, load cell zeroed before ignition, drift not corrected",
    "thrust_coefficient": "total_impulse / (throat area × pressure_integral), the throat as measured before the firing, or "
    "before and after where both are given, growing with pressure to the power 0.8; "
    "thrust_coefficient_above_ambient divides by pressure_integral_above_ambient instead",
    "characteristic_velocity": "throat area × integral of absolute pressure while the nozzle is choked, / "
    "propellant mass of the motor file",
    "propellant_mass": "as weighed, else by the dimensions and density of the motor file",
    "total_impulse_of_record": "integral of thrust from the first to the last sample",
    "specific_impulse": "total_impulse / (propellant mass × standard gravity)",
    "throat_diameter": "from thrust / (pressure × thrust coefficient of the nozzle), scaled to the throat diameter "
    "of the motor file over the first fifth of the burn; final_throat_diameter is that measured after the firing, where given",
    "uncertainty": "half of a 95 % interval, 1.96 standard deviations: instrument accuracy as the half-width of a rectangular "
    "distribution, sampling noise, zero drift, and the spread between transducers; throat and propellant mass are "
    "taken as exact",
}


@dataclass(frozen=True)
class Reduction:
    """What one firing was, measured.

    `time`, `pressure` and `thrust` are the cleaned series (None where not recorded); `throat_diameter` follows
    `throat_time`. `measured` and `uncertainty` map figures to SI values; a figure that the record cannot give is None.
    `pressure` is chamber pressure at the nozzle; where the record was taken at the head end, `head_pressure` is what was
    read there (else None). `outside` holds the thermometers on the case, each with its position, first and highest
    temperature and the time of the highest, from ignition; `liner` the thickness by position, before and after, and the
    loss beside the predicted one.
    `pressure_noise` is one standard deviation of the cleaned pressure, `pressure_bound` its instrument's accuracy.
    """

    firing: Firing
    time: Array
    pressure: Array | None
    thrust: Array | None
    traces: tuple[Trace, ...]
    start: float
    stop: float
    burnout: float | None
    measured: Mapping[str, float | None]
    uncertainty: Mapping[str, float | None]
    cautions: tuple[Caution, ...]
    pressure_noise: float = 0.0
    pressure_bound: float | None = None
    pressure_zero_error: float = 0.0
    throat_time: Array = field(default_factory=lambda: np.empty(0))
    throat_diameter: Array = field(default_factory=lambda: np.empty(0))
    head_pressure: Array | None = None
    outside: tuple[Mapping[str, Any], ...] = ()
    liner: tuple[Mapping[str, Any], ...] = ()

    @property
    def name(self) -> str:
        """The firing's name."""
        return str(self.firing.name)

    def as_json(self) -> dict[str, Any]:
        """The object of `reduce --json`, without a fit."""
        return {
            "schema": ANSWER_SCHEMA,
            "firing": self.name,
            "measured": {key: clean(value) for key, value in self.measured.items()},
            "uncertainty": {key: clean(value) for key, value in self.uncertainty.items()},
            "fit": None,
            "cautions": [{"about": item.about, "text": item.text} for item in self.cautions],
            "channels": [_channel_json(trace, self.time) for trace in self.traces],
            "case_temperature": [dict(one) for one in self.outside],
            "liner": [dict(one) for one in self.liner],
            "definitions": DEFINITIONS,
        }


def clean(value: float | None) -> float | None:
    """A float for JSON: None where there is no finite value."""
    return float(value) if value is not None and math.isfinite(value) else None


def _channel_json(trace: Trace, time: Array) -> dict[str, Any]:
    return {
        "name": trace.channel.name,
        "kind": trace.channel.kind,
        "peak": clean(trace.peak),
        "integral": clean(traces.integral(time, trace.values, trace.start, trace.stop)),
        "noise": clean(trace.noise),
        "zero": clean(trace.zero),
        "drift": clean(trace.drift),
        "spikes": int(np.count_nonzero(trace.spikes)),
        "blanks": int(np.count_nonzero(~np.isfinite(trace.channel.values))),
        "clipped": int(np.count_nonzero(trace.clipped)),
    }


def reduce_firing(firing: Firing) -> Reduction:
    """Measured figures of a static firing.

    Parameters
    ----------
    firing : Firing
        As `optimizer.inputs.load_firing` gives it.

    Raises
    ------
    InputError
        When the record cannot be read or holds no firing.

    Notes
    -----
    `DEFINITIONS` says what each figure is. Nothing is corrected in silence: zero, spikes, clipping, gaps, drift and
    disagreement are all in the cautions, with their size.
    """
    return reduce_record(firing, held_against_motor(firing, read_record(firing)))


def reduce_record(firing: Firing, record: Record) -> Reduction:
    """As `reduce_firing`, for a record that is read already."""
    notes: list[Caution] = list(record.cautions)
    ambient = ambient_of(firing)
    burning = [channel for channel in record.channels if channel.kind in ("pressure", "thrust")]
    cleaned = tuple(clean_channel(firing, record.time, channel, ambient, notes) for channel in burning)
    tapped = [trace for trace in cleaned if trace.channel.kind == "pressure"]
    pressures, head = _at_nozzle(firing, record.time, tapped, ambient, notes)
    thrusts = [trace for trace in cleaned if trace.channel.kind == "thrust"]
    pressure, thrust = _mean(pressures), _mean(thrusts)
    lead = pressure if pressure is not None else thrust
    assert lead is not None  # inputs refuse a firing file without a channel
    foot = ambient if pressure is not None else 0.0
    frame = _frame(firing, record.time, lead, foot, notes)
    notes += _disagreements(record.time, pressures, frame)
    notes += _gaps(record.time, frame)
    work = _Work(firing, record.time, pressure, thrust, pressures, thrusts, frame, ambient)
    measured, uncertainty = _figures(work)
    if head is not None:
        _head_figures(work, head, measured, uncertainty)
    throat_time, throat = _throat_history(work)
    _throat_figures(work, throat_time, throat, measured, uncertainty, notes)
    notes += _doubts(work, measured)
    return Reduction(
        firing=firing,
        time=record.time,
        pressure=pressure,
        thrust=thrust,
        traces=cleaned,
        start=frame.start,
        stop=frame.stop,
        burnout=frame.burnout,
        measured=measured,
        uncertainty=uncertainty,
        cautions=tuple(notes),
        pressure_noise=_noise(pressures),
        pressure_bound=_bound(pressures),
        pressure_zero_error=zero_error(pressures),
        throat_time=throat_time,
        throat_diameter=throat,
        head_pressure=head,
        outside=tuple(_outside(record, frame)),
        liner=tuple(_liner(firing)),
    )


# --- what was predicted ----------------------------------------------------------------------------------------------

_OF_THE_CLOCK = ("ignition_time", "total_impulse_of_record")
"""Figures that hang on when a record was started and stopped; a prediction has none."""
PREDICTED_SAMPLES = 6000


def prediction(reduction: Reduction, kernel: str) -> Reduction | None:
    """What the motor as fired would have left on a perfect record of the same kinds, reduced like the record itself.

    Pressures are taken where the record's were. None where the firing names no whole motor or the kernel comes to no end
    of the burn.
    """
    motors = motors_of(reduction.firing)
    curve = None if motors is None else evaluate(motors, kernel, curve=True).curve
    if curve is None:
        return None
    known = np.isfinite(curve.time[0]) & np.isfinite(curve.chamber_pressure[0]) & np.isfinite(curve.thrust[0])
    burn = curve.time[0][known]
    rest = {"pressure": ambient_of(reduction.firing), "thrust": 0.0}
    pressure = curve.chamber_pressure if reduction.head_pressure is None else curve.head_pressure
    place = "chamber" if reduction.head_pressure is None else "head"
    histories = {"pressure": pressure[0][known], "thrust": curve.thrust[0][known]}
    kinds = {trace.channel.kind for trace in reduction.traces}
    if burn.size < 2 or not all(np.max(histories[kind]) > 1.2 * rest[kind] for kind in kinds):
        return None
    # Quiet stretches before and after, as on a record, for the zero.
    time = np.linspace(-0.5 * burn[-1], 1.5 * burn[-1], PREDICTED_SAMPLES)
    channels = tuple(
        Channel(kind, kind, np.interp(time, burn, values, left=rest[kind], right=rest[kind]), place=place)
        for kind, values in histories.items()
        if kind in kinds
    )
    try:
        return reduce_record(reduction.firing, Record(time, channels))
    except InputError:
        return None


def foretold(told: Reduction | None) -> dict[str, float | None]:
    """The figures of a prediction that stand beside measured ones."""
    return {} if told is None else {key: value for key, value in told.measured.items() if key not in _OF_THE_CLOCK}


# --- where the pressure was taken -----------------------------------------------------------------------------------


def _at_nozzle(
    firing: Firing, time: Array, tapped: list[Trace], ambient: float, notes: list[Caution]
) -> tuple[list[Trace], Array | None]:
    """Every pressure channel as chamber pressure, and the mean of what was read at the head end (None without any).

    The port's drop is the kernel's for this motor at the same share of the burn: the pressure integral run through over
    that of the whole burn, which is the share of propellant gone and hardly hangs on the rate law.
    """
    head = [trace for trace in tapped if trace.channel.place == "head"]
    if not head:
        return tapped, None
    motors = motors_of(firing)
    curve = None if motors is None else evaluate(motors, kernel="steady", curve=True).curve
    if curve is None:
        notes.append(
            Caution(
                "pressure at the head end",
                "The pressure was read at the head end, and without a whole motor file the port's drop is not known: every "
                "pressure here is that of the head end, and what is made of it leans with it.",
            )
        )
        return tapped, None
    known = np.isfinite(curve.time[0]) & np.isfinite(curve.chamber_pressure[0]) & np.isfinite(curve.head_pressure[0])
    t, chamber = curve.time[0][known], curve.chamber_pressure[0][known]
    ratio = np.maximum(curve.head_pressure[0][known] / np.maximum(chamber, 1.0), 1.0)
    gone = _run_through(t, chamber)
    if t.size < 2 or not np.all(np.isfinite(gone)):
        return tapped, None

    def there(values: Array, start: float, stop: float) -> Array:
        inside = np.isfinite(values) & (time >= start) & (time <= stop)
        share = np.interp(time, time[inside], _run_through(time[inside], values[inside]), left=0.0, right=1.0)
        return np.asarray(np.interp(share, gone, ratio))

    moved = []
    for trace in tapped:
        if trace.channel.place == "head":
            drop = there(trace.values, trace.start, trace.stop)
            # Where nothing flows there is no drop: what stands above ambient comes down to it at most.
            lower = np.maximum(trace.values / drop, np.minimum(trace.values, ambient))
            trace = replace(trace, values=lower)
        moved.append(trace)
    highest = float(np.max(ratio))
    notes.append(
        Caution(
            "pressure at the head end",
            f"The port's drop, up to {100.0 * (highest - 1.0):.1f} % by the motor file, was taken off to come to chamber pressure; "
            "the fit compares the reading with the head pressure that the kernel gives.",
        )
    )
    return moved, _mean(head) if len(head) == len(tapped) else None


def _run_through(time: Array, pressure: Array) -> Array:
    """Share of the pressure integral that is run through at each time."""
    steps = 0.5 * (pressure[1:] + pressure[:-1]) * np.diff(time)
    total = np.concatenate([[0.0], np.cumsum(np.maximum(steps, 0.0))])
    return np.asarray(total / total[-1]) if total[-1] > 0.0 else np.linspace(0.0, 1.0, total.size)


def _head_figures(work: _Work, head: Array, measured: _Table, uncertainty: _Table) -> None:
    """What was read at the head end itself, which the forward closure and the case saw."""
    known = np.isfinite(head)
    best, _ = traces.peak_of(work.time[known], head[known], 0.02 * (work.frame.stop - work.frame.start))
    measured["peak_head_pressure"] = best
    uncertainty["peak_head_pressure"] = uncertainty["peak_pressure"]


# --- beside the burn -------------------------------------------------------------------------------------------------


def _outside(record: Record, frame: _Frame) -> Iterator[dict[str, Any]]:
    """What each thermometer on the case showed, from the forward end backwards; times from ignition."""
    warm = [channel for channel in record.channels if channel.kind == "temperature"]
    for channel in sorted(warm, key=lambda one: one.position or 0.0):
        values = traces.despike(channel.values).values
        known = np.isfinite(values)
        t, v = record.time[known] - frame.ignition, values[known]
        best = int(np.argmax(v))
        before = v[t <= 0.0]
        yield {
            "name": channel.name,
            "position": channel.position,
            "before": float(np.median(before)) if before.size else None,
            "peak": float(v[best]),
            "time_of_peak": float(t[best]),
            "still_rising": bool(best >= 0.98 * (v.size - 1)),
        }


def _liner(firing: Firing) -> Iterator[dict[str, Any]]:
    """The liner before and after at each position measured; the loss where both are known there, beside the predicted."""
    before, after, foretold = dict(firing.liner_before), dict(firing.liner_after), _foretold(firing)
    new = None
    if firing.motor is not None and firing.motor.motors.liner is not None:
        thickness = float(np.ravel(firing.motor.motors.liner.thickness)[0])
        new = thickness if math.isfinite(thickness) else None
    for position in sorted({*before, *after}):
        was, left = before.get(position, new if not before else None), after.get(position)
        loss = was - left if was is not None and left is not None else None
        place = None if firing.motor is None else place_at(firing.motor.motors, position)
        told = {"place": place, "position": position, "before": was, "after": left, "loss": loss}
        predicted = foretold.get(place) if place else None
        factor = loss / predicted if loss is not None and predicted is not None and predicted >= READING else None
        yield told | {"predicted": predicted, "factor": factor}


def _foretold(firing: Firing) -> Mapping[str, float]:
    """Depth of liner that is likely lost at each place; empty where that is not known."""
    if firing.motor is None or not firing.liner_after:
        return {}
    motors = firing.motor.motors
    try:
        return predicted_loss(motors, evaluate(motors, curve=True))
    except NotComputable:
        return {}


# --- all channels together -------------------------------------------------------------------------------------------


def _mean(kind: list[Trace]) -> Array | None:
    """Mean of the channels at each sample, of those that are neither blank nor clipped there (of all, if all are)."""
    if not kind:
        return None
    values = np.stack([trace.values for trace in kind])
    good = np.isfinite(values) & ~np.stack([trace.clipped for trace in kind])
    good = np.where(good.any(axis=0), good, np.isfinite(values))
    count = good.sum(axis=0)
    total = np.where(good, values, 0.0).sum(axis=0)
    return np.asarray(np.divide(total, count, out=np.full(count.size, np.nan), where=count > 0))


def _noise(kind: list[Trace]) -> float:
    return math.sqrt(sum(trace.noise**2 for trace in kind)) / len(kind) if kind else 0.0


def _bound(kind: list[Trace]) -> float | None:
    """Accuracy of the mean: instruments of one make err alike, so the bounds are averaged, not divided."""
    bounds = [trace.channel.bound for trace in kind]
    known = [bound for bound in bounds if bound is not None]
    return sum(known) / len(known) if known and len(known) == len(bounds) else None


@dataclass(frozen=True)
class _Frame:
    """The clock of the burn on the leading trace: 10 % points, ignition, burnout, peaks; errors are one deviation."""

    start: float
    stop: float
    ignition: float
    burnout: float | None
    peak: float
    smoothed_peak: float
    highest: float
    edge_error: float
    burnout_error: float
    step: float


def _frame(firing: Firing, time: Array, lead: Array, foot: float, notes: list[Caution]) -> _Frame:
    known = np.isfinite(lead)
    t, v = time[known], lead[known]
    peak = float(np.max(v))
    noise = traces.noise_of(v)
    above = v >= (0.1 * peak if peak > 1.3 * foot else foot + 0.1 * (peak - foot))
    if peak <= foot + 8.0 * noise or not any(stop - start >= 3 for start, stop in traces.runs(above)):
        where = str(firing.record if firing.record is not None else firing.path)
        problem = "the record holds no burn that stands out of the noise"
        fix = "check the column, its unit and that the record covers the firing"
        raise InputError([Problem(where, 0, "record", "", problem, fix, "E160")])
    noise = traces.noise_of(v)
    level = 0.1 * peak
    if foot > 0.0 and level < 1.2 * foot + 3.0 * noise:
        level = foot + 0.1 * (peak - foot)
        notes.append(
            Caution(
                "low peak",
                "10 % of the peak pressure is about ambient; the 10 % points are taken on the pressure above ambient.",
            )
        )
    start, stop, _ = traces.crossings(t, v, level)
    smoothed = traces.smooth(t, v, 0.02 * (stop - start))
    best, top = traces.peak_of(t, v, 0.02 * (stop - start))
    inner = (t >= start) & (t <= stop)
    noise = traces.noise_of(v[inner])
    width = traces.knee_width(t, v, start, stop, noise)
    knees = [traces.tail_off(t, v, start, stop, foot, factor * width) for factor in (1.0, 0.7, 1.5)]
    if knees[0].time is None:
        notes.append(Caution("burn time", f"{knees[0].why[:1].upper()}{knees[0].why[1:]}; the end of burning is not stated."))
    found = [knee.time for knee in knees if knee.time is not None]
    step = float(np.median(np.diff(t)))
    if np.count_nonzero(inner) < 50:
        notes.append(
            Caution("few samples", f"Only {np.count_nonzero(inner)} samples in the action time; times and peak are rough.")
        )
    return _Frame(
        start=start,
        stop=stop,
        ignition=_ignition(t, smoothed, start, foot, max(0.01 * (peak - foot), 3.0 * noise)),
        burnout=knees[0].time,
        peak=best,
        smoothed_peak=top,
        highest=peak,
        edge_error=step / math.sqrt(12.0) + noise / max(_steepness(t, smoothed, start), 1e-300),
        burnout_error=step / math.sqrt(12.0) + (float(np.std(found)) if len(found) > 1 else 0.0),
        step=step,
    )


def _steepness(time: Array, values: Array, at: float) -> float:
    return abs(float(np.interp(at, time, np.gradient(values, time))))


def _ignition(time: Array, smoothed: Array, start: float, foot: float, margin: float) -> float:
    before = np.flatnonzero((time < start) & (smoothed <= foot + margin))
    return float(time[before[-1]]) if before.size else float(time[0])


def _disagreements(time: Array, kind: list[Trace], frame: _Frame) -> Iterator[Caution]:
    for i, first in enumerate(kind):
        for second in kind[i + 1 :]:
            inside = (time >= frame.start) & (time <= frame.stop) & np.isfinite(first.values) & np.isfinite(second.values)
            if np.count_nonzero(inside) < 5:
                continue
            gap = traces.smooth(time[inside], (first.values - second.values)[inside], 0.02 * (frame.stop - frame.start))
            apart = np.abs(gap) > DISAGREEMENT * frame.peak
            if np.mean(apart) < 0.05:
                continue
            when = time[inside][apart]
            worst = float(np.max(np.abs(gap)))
            text = (
                f"{first.channel.name} and {second.channel.name} differ by up to {show(worst, 'pressure')} between "
                f"{when[0]:.3f} s and {when[-1]:.3f} s. Their mean is used; a blocked port or a fault in one of "
                f"them is likely."
            )
            if worst > 0.2 * frame.peak and np.mean(apart) > 0.3:
                text += " They disagree for so much of the burn that no pressure figure here should be relied on."
            yield Caution("transducers disagree", text)


def _gaps(time: Array, frame: _Frame) -> Iterator[Caution]:
    steps = np.diff(time)
    inside = (time[1:] > frame.start) & (time[:-1] < frame.stop)
    long = inside & (steps > LONG_GAP * np.median(steps))
    if long.any():
        share = 100.0 * float(np.sum(steps[long])) / (frame.stop - frame.start)
        yield Caution(
            "gaps",
            f"{np.count_nonzero(long)} gaps of up to {float(np.max(steps[long])):.3f} s, {share:.1f} % of the action "
            "time, are bridged by straight lines; what happened there is not known.",
        )


# --- figures ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Work:
    firing: Firing
    time: Array
    pressure: Array | None
    thrust: Array | None
    pressures: list[Trace]
    thrusts: list[Trace]
    frame: _Frame
    ambient: float


_Table = dict[str, "float | None"]


def _figures(work: _Work) -> tuple[_Table, _Table]:
    frame = work.frame
    burn = None if frame.burnout is None else frame.burnout - frame.start
    measured: _Table = {
        "peak_pressure": None,
        "pressure_integral": None,
        "peak_thrust": None,
        "total_impulse": None,
        "burn_time": burn,
        "action_time": frame.stop - frame.start,
        "mean_pressure": None,
        "thrust_coefficient": None,
        "characteristic_velocity": None,
        "specific_impulse": None,
        "ignition_time": frame.ignition,
    }
    uncertainty: _Table = {
        "action_time": COVERAGE_FACTOR * math.sqrt(2.0) * frame.edge_error,
        "burn_time": None if burn is None else COVERAGE_FACTOR * math.hypot(frame.edge_error, frame.burnout_error),
    }
    if work.pressure is not None:
        _pressure_figures(work, measured, uncertainty)
    if work.thrust is not None:
        _thrust_figures(work, measured, uncertainty)
    _ratios(work, measured, uncertainty)
    return measured, uncertainty


def _level_error(kind: list[Trace]) -> float:
    """One standard deviation of a level that the instruments' accuracy gives."""
    bound = _bound(kind)
    return 0.0 if bound is None else bound / math.sqrt(3.0)


def zero_error(kind: list[Trace]) -> float:
    """One standard deviation of the zero of the mean of channels."""
    return math.sqrt(sum(trace.zero_error**2 for trace in kind)) / len(kind) if kind else 0.0


def _integral_error(work: _Work, kind: list[Trace], start: float, stop: float) -> float:
    """One standard deviation of an integral: accuracy, noise, drift and the spread between channels."""
    span = stop - start
    drifts = [abs(trace.drift) for trace in kind if math.isfinite(trace.drift)]
    drift = max(drifts, default=0.0) * span / math.sqrt(3.0)
    each = [traces.integral(work.time, trace.values, start, stop) for trace in kind]
    apart = float(np.std(each, ddof=1)) / math.sqrt(len(each)) if len(each) > 1 else 0.0
    slow = math.sqrt(sum(trace.slow_noise**2 for trace in kind)) / len(kind)
    noise = traces.integral_noise(work.time, start, stop, slow)
    zero = zero_error(kind) * span
    return math.sqrt((_level_error(kind) * span) ** 2 + drift**2 + apart**2 + noise**2 + zero**2)


def _pressure_figures(work: _Work, measured: _Table, uncertainty: _Table) -> None:
    frame, time, pressure = work.frame, work.time, work.pressure
    assert pressure is not None
    whole = traces.integral(time, pressure, frame.start, frame.stop)
    error = _integral_error(work, work.pressures, frame.start, frame.stop)
    peaks = [trace.peak for trace in work.pressures]
    apart = float(np.std(peaks, ddof=1)) / math.sqrt(len(peaks)) if len(peaks) > 1 else 0.0
    measured["peak_pressure"] = frame.peak
    measured["highest_pressure_sample"] = frame.highest
    measured["peak_pressure_smoothed"] = frame.smoothed_peak
    measured["pressure_integral"] = whole
    measured["pressure_integral_above_ambient"] = whole - work.ambient * (frame.stop - frame.start)
    spread = math.hypot(_level_error(work.pressures), apart, zero_error(work.pressures))
    uncertainty["peak_pressure"] = COVERAGE_FACTOR * math.hypot(spread, 0.5 * _noise(work.pressures))
    uncertainty["peak_pressure_smoothed"] = COVERAGE_FACTOR * spread
    uncertainty["pressure_integral"] = uncertainty["pressure_integral_above_ambient"] = COVERAGE_FACTOR * error
    if frame.burnout is not None:
        span = frame.burnout - frame.start
        measured["mean_pressure"] = traces.integral(time, pressure, frame.start, frame.burnout) / span
        uncertainty["mean_pressure"] = COVERAGE_FACTOR * _integral_error(work, work.pressures, frame.start, frame.burnout) / span


def _thrust_figures(work: _Work, measured: _Table, uncertainty: _Table) -> None:
    frame, time, thrust = work.frame, work.time, work.thrust
    assert thrust is not None
    known = np.isfinite(thrust)
    measured["peak_thrust"], _ = traces.peak_of(time[known], thrust[known], 0.02 * (frame.stop - frame.start))
    uncertainty["peak_thrust"] = COVERAGE_FACTOR * math.hypot(_level_error(work.thrusts), 0.5 * _noise(work.thrusts))
    measured["highest_thrust_sample"] = float(np.max(thrust[known]))
    measured["total_impulse"] = traces.integral(time, thrust, frame.start, frame.stop)
    uncertainty["total_impulse"] = COVERAGE_FACTOR * _integral_error(work, work.thrusts, frame.start, frame.stop)
    measured["total_impulse_of_record"] = traces.integral(time, thrust, float(time[0]), float(time[-1]))
    if frame.burnout is not None:
        span = frame.burnout - frame.start
        measured["mean_thrust"] = traces.integral(time, thrust, frame.start, frame.burnout) / span
        uncertainty["mean_thrust"] = COVERAGE_FACTOR * _integral_error(work, work.thrusts, frame.start, frame.burnout) / span


def _ratios(work: _Work, measured: _Table, uncertainty: _Table) -> None:
    """What needs the throat or the propellant mass beside the record."""
    impulse, integral = measured["total_impulse"], measured["pressure_integral"]
    diameter, mass, motors = throat_of(work.firing), mass_of(work.firing), motors_of(work.firing)
    throat = before = None if diameter is None else 0.25 * math.pi * diameter**2
    if throat is not None and work.pressure is not None and "throat_diameter_after" in work.firing.measured:
        throat *= _mean_growth(work) ** 2
    if impulse is not None and integral is not None and throat is not None:
        share = math.hypot(_relative(measured, uncertainty, "total_impulse"), _relative(measured, uncertainty, "pressure_integral"))
        for name, over in (
            ("thrust_coefficient", integral),
            ("thrust_coefficient_above_ambient", measured["pressure_integral_above_ambient"]),
        ):
            measured[name] = value = impulse / (throat * (over or math.nan))
            uncertainty[name] = value * share
    if impulse is not None and mass is not None:
        measured["specific_impulse"] = value = impulse / (mass * constants.STANDARD_GRAVITY)
        uncertainty["specific_impulse"] = value * _relative(measured, uncertainty, "total_impulse")
    if work.pressure is not None and mass is not None and before is not None:
        measured["characteristic_velocity"] = value = _characteristic_velocity(work, motors, before, mass)
        uncertainty["characteristic_velocity"] = value * _relative(measured, uncertainty, "pressure_integral")
    if mass is not None:
        measured["propellant_mass"] = mass


def _relative(measured: _Table, uncertainty: _Table, name: str) -> float:
    value, error = measured[name], uncertainty[name]
    return abs(error / value) if value and error is not None else 0.0


def _characteristic_velocity(work: _Work, motors: Motors | None, throat: float, mass: float) -> float:
    """c* = ∫ A_t·p dt / m while the throat is choked; the throat opens as measured, or as the motor file says."""
    pressure, time = work.pressure, work.time
    assert pressure is not None
    gamma = 1.2 if motors is None else float(np.ravel(motors.propellant.gamma)[0])
    choked = work.ambient * ((gamma + 1.0) / 2.0) ** (gamma / (gamma - 1.0))
    known = np.isfinite(pressure)
    t, p = time[known], pressure[known]
    smoothed = traces.smooth(t, p, 0.01 * (work.frame.stop - work.frame.start))
    start, stop, _ = traces.crossings(t, smoothed, min(max(choked, work.ambient + 0.02 * work.frame.peak), 0.1 * work.frame.peak))
    area = throat * throat_growth(work.firing, t, p, work.frame.start, work.frame.stop) ** 2
    return traces.integral(t, p * area, start, stop) / mass


def _mean_growth(work: _Work) -> float:
    """Throat diameter over that before the firing, as the pressure integral weighs it."""
    assert work.pressure is not None
    known = np.isfinite(work.pressure)
    t, p = work.time[known], work.pressure[known]
    area = throat_growth(work.firing, t, p, work.frame.start, work.frame.stop) ** 2
    start, stop = work.frame.start, work.frame.stop
    return math.sqrt(traces.integral(t, p * area, start, stop) / traces.integral(t, p, start, stop))


def throat_growth(firing: Firing, time: Array, pressure: Array, start: float, stop: float) -> Array:
    """Throat diameter along the record over the one before the firing, growing at a rate ∝ p^0.8.

    The growth is that of the throat measured before and after, else the recession of the motor file. [-]
    """
    diameter, after = throat_of(firing), firing.measured.get("throat_diameter_after")
    motors = motors_of(firing)
    recession = 0.0 if motors is None else float(np.ravel(motors.nozzle.throat_recession)[0])
    if diameter is None or (after is None and not recession):
        return np.ones(time.size)
    burning = np.where((time >= start) & (time <= stop), np.maximum(pressure, 0.0), 0.0) ** 0.8
    grown = np.concatenate([[0.0], np.cumsum(0.5 * (burning[1:] + burning[:-1]) * np.diff(time))])
    if after is not None:
        return np.asarray(1.0 + (after / diameter - 1.0) * grown / max(grown[-1], 1e-300))
    assert motors is not None
    at = float(np.ravel(motors.nozzle.throat_recession_at)[0])
    return np.asarray(1.0 + 2.0 * recession * at**-0.8 * grown / diameter)


# --- the throat ------------------------------------------------------------------------------------------------------


def _throat_history(work: _Work) -> tuple[Array, Array]:
    """Throat diameter along the burn from thrust and pressure together; empty where one of them is missing.

    A_t = F/(C_F·p) with the nozzle's own C_F at each pressure, scaled so that the first fifth of the burn gives the
    throat of the motor file; so the level of either instrument cancels and only the change is measured. Method: throat
    area from thrust and pressure of hybrid firings, Aerospace 13(7) 575 (2026); read at second hand.
    """
    motors, frame = motors_of(work.firing), work.frame
    empty = np.empty(0)
    if work.pressure is None or work.thrust is None or motors is None or frame.burnout is None:
        return empty, empty
    known = np.isfinite(work.pressure) & np.isfinite(work.thrust)
    t = work.time[known]
    width = 0.03 * (frame.stop - frame.start)
    p = traces.smooth(t, work.pressure[known], width)
    force = traces.smooth(t, work.thrust[known], width)
    margin = 0.05 * (frame.burnout - frame.start)
    inside = (t > frame.start + margin) & (t < frame.burnout - margin) & (p > 0.3 * frame.smoothed_peak)
    if np.count_nonzero(inside) < 20:
        return empty, empty
    t, p, force = t[inside], p[inside], force[inside]
    area = force / (_model_coefficient(motors, p, work.ambient) * p)
    first = t <= t[0] + 0.2 * (t[-1] - t[0])
    start = float(np.mean(area[first]))
    if start <= 0 or np.any(area <= 0):
        return empty, empty
    return t, np.asarray(float(np.ravel(motors.nozzle.throat_diameter)[0]) * np.sqrt(area / start))


def _model_coefficient(motors: Motors, pressure: Array, ambient: float) -> Array:
    """Thrust coefficient of the motor file's nozzle along a pressure history."""
    one = motors.take(0).nozzle
    gamma, throat, exit_, angle, efficiency = (
        np.asarray(float(np.ravel(leaf)[0]))
        for leaf in (motors.propellant.gamma, one.throat_diameter, one.exit_diameter, one.half_angle, one.efficiency)
    )
    flow = nozzle.thrust(pressure, np.asarray(1.0), (exit_ / throat) ** 2, gamma, np.asarray(ambient), efficiency, angle)
    return np.asarray(flow.thrust / pressure)


def _throat_figures(work: _Work, time: Array, diameter: Array, measured: _Table, uncertainty: _Table, notes: list[Caution]) -> None:
    if time.size == 0:
        return
    last = time >= time[-1] - 0.1 * (time[-1] - time[0])
    early = time <= time[0] + 0.2 * (time[-1] - time[0])
    final, first = float(np.median(diameter[last])), float(np.mean(diameter[early]))
    given = work.firing.measured.get("throat_diameter_after")
    measured["final_throat_diameter"] = final
    kinds = (work.pressures, work.thrusts)
    moved = [max((abs(t.drift) for t in kind if math.isfinite(t.drift)), default=0.0) for kind in kinds]
    level = [
        float(np.interp(time[-1], work.time, np.nan_to_num(values)))
        for values in (work.pressure, work.thrust)
        if values is not None
    ]
    share = math.hypot(*(drift / max(abs(value), 1e-300) for drift, value in zip(moved, level, strict=True)))
    ripple = float(np.std(diameter[last])) / final
    error = COVERAGE_FACTOR * final * math.hypot(0.5 * share / math.sqrt(3.0), ripple)
    uncertainty["final_throat_diameter"] = error
    if given is not None:
        measured["final_throat_diameter"], uncertainty["final_throat_diameter"] = given, None
        if abs(final - given) > max(error, 0.02 * given):
            notes.append(
                Caution(
                    "throat",
                    f"The throat measured {show(given, 'length')} after the firing; thrust over pressure gives "
                    f"{show(final, 'length')} (± {show(error, 'length')}, 95 %). The measured one is used; thrust, pressure or the "
                    "nozzle's figures do not agree with it.",
                )
            )
        return
    if not any(trace.channel.place for trace in work.pressures):
        drop = _port_drop(work)
        if drop > 1.01:
            error = math.hypot(error, 0.5 * final * (drop - 1.0))
            uncertainty["final_throat_diameter"] = error
    if abs(final - first) > max(error, 0.02 * first):
        word = "opened" if final > first else "closed"
        notes.append(
            Caution(
                "throat",
                f"Thrust over pressure says that the throat {word} from {show(first, 'length')} to "
                f"{show(final, 'length')} (± {show(error, 'length')}, 95 %). Measure it: a worn throat lowers pressure, "
                "slag raises it.",
            )
        )


def _port_drop(work: _Work) -> float:
    """Head pressure over chamber pressure at ignition, by the motor file: what an unknown place of the reading may be."""
    motors = motors_of(work.firing)
    if motors is None:
        return 1.0
    ratio = float(np.ravel(evaluate(motors, kernel="steady")["head_pressure_ratio"])[0])
    return ratio if math.isfinite(ratio) else 1.0


# --- what does not add up --------------------------------------------------------------------------------------------


def _doubts(work: _Work, measured: _Table) -> Iterator[Caution]:
    if work.pressure is None:
        yield Caution(
            "no pressure",
            "Thrust only: pressures, characteristic velocity and thrust coefficient are not measured, and the times "
            "are taken on the thrust.",
        )
    if work.thrust is None:
        yield Caution("no thrust", "Pressure only: impulse, specific impulse and thrust coefficient are not measured.")
    kinds = ("pressure", work.pressures), ("thrust", work.thrusts)
    for name, kind in kinds:
        if kind and _bound(kind) is None:
            yield Caution(
                f"{name} instrument",
                f"[instruments] gives no range and accuracy for {name}; its uncertainty covers noise and drift only.",
            )
    value = measured.get("thrust_coefficient")
    if value is not None and not 0.8 < value < 2.0:
        yield Caution(
            "thrust coefficient",
            f"The thrust coefficient comes out at {value:.2f}; a nozzle gives about 1.2 to 1.7. Check throat "
            f"diameter, units and zero.",
        )
    motors, speed = motors_of(work.firing), measured.get("characteristic_velocity")
    if motors is not None and work.firing.motor is not None and "propellant_mass" in work.firing.measured:
        weighed, computed = work.firing.measured["propellant_mass"], computed_mass(work.firing.motor.motors)
        if abs(weighed / computed - 1.0) > 0.03:
            yield Caution(
                "propellant mass",
                f"Weighed {show(weighed, 'mass')}, dimensions and density give {show(computed, 'mass')}; the weighed one is used.",
            )
    if motors is not None and speed is not None:
        expected = float(np.ravel(motors.propellant.characteristic_velocity)[0])
        if abs(speed / expected - 1.0) > 0.08:
            yield Caution(
                "characteristic velocity",
                f"Throat area × pressure integral / propellant mass gives {show(speed, 'characteristic_velocity')} "
                f"where the propellant file says {show(expected, 'characteristic_velocity')}. Check mass, throat and "
                "pressure before believing either.",
            )
