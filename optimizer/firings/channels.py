"""One recorded channel made fit to measure: sign, spikes, zero, drift, clipping, each said with its size.

Owns the zero of a channel and the doubts that belong to one channel alone; the channels come together in `firing`.
Imports record, traces, inputs and units.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.cautions import Caution
from optimizer.firings import traces
from optimizer.firings.as_fired import mass_of
from optimizer.firings.record import Channel
from optimizer.inputs import Firing, InputError, Problem
from optimizer.units import show
from physics import constants

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

QUIET_SAMPLES = 8
"""Samples before ignition that a zero can be taken from."""
DRIFT = 0.01
"""A zero that moved by more than this share of the peak is said."""


@dataclass(frozen=True)
class Trace:
    """A channel after cleaning: `values` in Pa absolute or N over the whole clock, NaN where blank.

    `zero` is what was taken off the readings, `drift` how far the zero had moved after the firing (NaN where not seen),
    `noise` one standard deviation from sample to sample, `slow_noise` the same for means and integrals, where
    neighbours that err together count; `start` and `stop` are its own 10 % points.
    """

    channel: Channel
    values: Array
    spikes: Flags
    clipped: Flags
    noise: float
    slow_noise: float
    zero: float
    zero_error: float
    drift: float
    start: float
    stop: float

    @property
    def peak(self) -> float:
        """Highest cleaned reading. [Pa or N]"""
        return float(np.nanmax(self.values))


def clean_channel(firing: Firing, time: Array, channel: Channel, ambient: float, notes: list[Caution]) -> Trace:
    """The channel in absolute pressure or net thrust, with its spikes replaced; what was done goes to `notes`.

    Raises InputError when no burn stands out of the noise.
    """
    flat = traces.clipped(channel.values)
    cleaned = traces.despike(channel.values)
    values = cleaned.values
    known = np.isfinite(values)
    if channel.kind == "thrust" and _upside_down(values[known]):
        values = -values
        notes.append(Caution("thrust sign", f"{channel.name}: the load falls below zero during the burn; its sign was turned."))
    start, stop, seen = _ten_percent(firing, channel, time[known], values[known], cleaned.noise)
    span = stop - start
    before = _quiet(values, [known & (time < start - share * span) for share in (0.1, 0.05, 0.02, 0.01)])
    after = _quiet(values, [known & (time > stop + share * span) for share in (0.15, 0.1, 0.05)], late=True)
    zero, drift = _zero(channel, values, before, after, ambient, notes)
    quiet = before if before.any() else after
    target = ambient if channel.kind == "pressure" else 0.0
    height = float(np.nanmax(values)) - zero
    values = values - zero + target
    notes += _channel_notes(firing, channel, values, cleaned, flat, drift, height, seen)
    noise = max(cleaned.noise, traces.noise_of(values[known & (time >= start) & (time <= stop)]))
    slow = _slow_noise(values[quiet], noise) if quiet.any() else noise
    count = int(np.count_nonzero(quiet))
    return Trace(
        channel=channel,
        values=values,
        spikes=cleaned.spikes,
        clipped=flat,
        noise=noise,
        slow_noise=slow,
        zero=zero - target,
        zero_error=slow / math.sqrt(count) if count else 0.0,
        drift=drift,
        start=start,
        stop=stop,
    )


def _quiet(values: Array, stretches: list[Flags], late: bool = False) -> Flags:
    """The first stretch that is quiet, whole or in its half away from the burn; no sample where none is.

    A long burn leaves little before it, so what comes nearer to the burn is tried as well.
    """
    for flags in stretches:
        places = np.flatnonzero(flags)
        half = np.zeros(flags.size, dtype=bool)
        half[places[places.size // 2 :] if late else places[: places.size // 2]] = True
        for some in (flags, half):
            found = _if_quiet(values, some)
            if found.any():
                return found
    return np.zeros(values.size, dtype=bool)


def _if_quiet(values: Array, flags: Flags) -> Flags:
    """The stretch, if it has enough samples and does not go anywhere; else no sample."""
    if np.count_nonzero(flags) >= QUIET_SAMPLES:
        low, high = np.percentile(values[flags], [5, 95])
        top, level, noise = float(np.nanmax(values)), float(np.median(values[flags])), traces.noise_of(values[flags])
        # A record of the burn alone has a calm foot too; a high one must stand far below the top, counted in noise.
        foot = level < 0.5 * top or 6.0 * noise < 0.05 * (top - level)
        if foot and high - low < 6.0 * noise + 0.03 * (top - level):
            return flags
    return np.zeros(flags.size, dtype=bool)


def _slow_noise(quiet: Array, noise: float) -> float:
    """The independent noise that would move a mean as much as what wanders in the quiet stretch does."""
    inner = np.clip(quiet, *np.percentile(quiet, [5, 95]))
    return max(noise, float(np.std(inner)) * 1.1) * traces.wander(inner)


def _upside_down(values: Array) -> bool:
    level = float(np.median(values))
    quiet = float(np.percentile(values, 10)) if level > 0 else float(np.percentile(values, 90))
    low, high = float(np.min(values)), float(np.max(values))
    count = max(values.size // 100, 8)
    first, last = float(np.median(values[:count])), float(np.median(values[-count:]))
    if abs(first - last) < 0.1 * (high - low) and abs(first) < 0.3 * (high - low):
        quiet = first  # both ends are at rest; of a record that is nearly all burn no percentile is
    return (quiet - low) > 3.0 * (high - quiet)


def _ten_percent(firing: Firing, channel: Channel, time: Array, values: Array, noise: float) -> tuple[float, float, Flags]:
    """Own 10 % points of a channel above its quiet level; refuses a channel that holds no burn."""
    quiet = float(np.percentile(values, 5))
    height = float(np.max(values)) - quiet
    level = quiet + 0.1 * height
    if height <= 8.0 * noise or not any(stop - start >= 3 for start, stop in traces.runs(values >= level)):
        raise InputError(
            [
                Problem(
                    file=str(firing.record),
                    line=0,
                    key=channel.name,
                    value=f"{height:g} over a noise of {noise:g} (SI)",
                    problem="the record holds no burn that stands out of the noise",
                    fix="check the column, its unit and that the record covers the firing",
                    code="E160",
                )
            ]
        )
    return traces.crossings(time, values, level)


def _zero(
    channel: Channel, values: Array, before: Flags, after: Flags, ambient: float, notes: list[Caution]
) -> tuple[float, float]:
    """The reading that stands for ambient (or for no load), and how far it had moved after the firing."""
    nominal = 0.0 if channel.gauge or channel.kind == "thrust" else ambient
    if before.any():
        zero = traces.level(values[before])
        drift = traces.level(values[after]) - zero if after.any() else math.nan
    elif after.any():
        zero, drift = traces.level(values[after]), math.nan
        notes.append(
            Caution("late trigger", f"{channel.name}: no quiet stretch before ignition; the zero is taken after the firing.")
        )
    else:
        notes.append(
            Caution(
                "no zero",
                f"{channel.name}: no quiet stretch before or after the firing; readings are taken as recorded, "
                "so an offset of the instrument goes into every figure.",
            )
        )
        return nominal, math.nan
    notes += _zero_notes(channel, zero, nominal, ambient, float(np.nanmax(values)) - zero)
    return zero, drift


def _zero_notes(channel: Channel, zero: float, nominal: float, ambient: float, height: float) -> Iterator[Caution]:
    kind = channel.kind
    if kind == "pressure" and abs(zero - (ambient - nominal)) < 0.3 * ambient and abs(zero - nominal) > 0.6 * ambient:
        said, looks = ("gauge", "absolute") if channel.gauge else ("absolute", "gauge")
        yield Caution(
            "gauge or absolute",
            f"{channel.name}: the firing file says {said}, but the quiet level before ignition reads "
            f"{show(zero, 'pressure')}, as a transducer that reads {looks} would. The record is zeroed to ambient "
            "either way; check the transducer and mend the file.",
        )
        return
    allowed = max(DRIFT * height, channel.bound or 0.0)
    if abs(zero - nominal) > allowed:
        yield Caution(
            "offset",
            f"{channel.name}: reads {show(zero, 'pressure' if kind == 'pressure' else 'thrust')} before ignition where "
            f"{show(nominal, 'pressure' if kind == 'pressure' else 'thrust')} is due; the difference was taken off.",
        )


def _channel_notes(
    firing: Firing,
    channel: Channel,
    values: Array,
    cleaned: traces.Cleaned,
    flat: Flags,
    drift: float,
    height: float,
    seen: Flags,
) -> Iterator[Caution]:
    unit = "pressure" if channel.kind == "pressure" else "thrust"
    count = int(np.count_nonzero(cleaned.spikes))
    if count:
        share = 100.0 * count / cleaned.spikes.size
        yield Caution(
            "spikes",
            f"{channel.name}: {count} samples ({share:.1f} %) are lone spikes of one or two samples and were "
            "replaced by the median of their neighbours. A true feature that short would be lost; record faster to "
            "see it.",
        )
    if flat.any():
        yield Caution(
            "clipped",
            f"{channel.name}: {np.count_nonzero(flat)} samples sit on one highest reading, "
            f"{show(float(np.nanmax(values)), unit)}: "
            "the channel ran out of range. Peak and integrals are lower bounds.",
        )
    elif channel.limit is not None and height > channel.limit:
        yield Caution(
            "over range",
            f"{channel.name}: reads above the range that the firing file gives, {show(channel.limit, unit)}.",
        )
    if math.isfinite(drift) and abs(drift) > DRIFT * height:
        about = "pressure drift" if channel.kind == "pressure" else "load drift"
        yield Caution(about, _drift_text(firing, channel, drift, height))
    if channel.kind == "pressure" and float(np.nanmin(values)) < -3.0 * cleaned.noise - 0.01 * height:
        yield Caution(
            "negative pressure",
            f"{channel.name}: falls to {show(float(np.nanmin(values)), unit)} absolute, which cannot be; check zero and wiring.",
        )
    if not seen[0]:
        yield Caution(
            "late trigger",
            f"{channel.name}: the record starts above 10 % of the peak; the rise is lost and times and integrals are lower bounds.",
        )
    if not seen[1]:
        yield Caution(
            "record cut short",
            f"{channel.name}: the record ends above 10 % of the peak; times and integrals are lower bounds.",
        )


def _drift_text(firing: Firing, channel: Channel, drift: float, height: float) -> str:
    unit = "pressure" if channel.kind == "pressure" else "thrust"
    text = (
        f"{channel.name}: the zero moved by {show(drift, unit)} ({100.0 * drift / height:+.1f} % of the peak) from "
        "before to after the firing. It is not corrected; the uncertainty of the integrals covers it."
    )
    mass = mass_of(firing)
    if channel.kind == "thrust" and mass is not None:
        weight = mass * constants.STANDARD_GRAVITY
        if 0.5 < abs(drift) / weight < 2.0:
            text += f" A vertical stand loses the propellant's weight, {show(weight, 'thrust')}; that may be part of it."
    return text
