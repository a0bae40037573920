"""Cleaning and measuring one recorded trace: spikes, noise, gaps, clipping, crossings, integrals, the tail-off knee.

Owns the arithmetic on a sampled signal of irregular sampling; knows nothing of motors, files or units. Times rise,
blanks are NaN. Imports numpy and scipy only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.special import ndtri

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SPIKE_REACH = 5
"""Samples to each side that vote on what the trace is at a sample."""
SPIKE_NOISE = 4.0
"""A spike stands this many local standard deviations off the vote."""
SPIKE_LONGEST = 2
"""Longer excursions are taken for real: a feature of three samples or more is never removed."""
NORMAL_FROM_MEDIAN = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution."""


@dataclass(frozen=True)
class Cleaned:
    """A trace with its spikes replaced: `values` (T,), `spikes` (T,) flags, `noise` the standard deviation left."""

    values: Array
    spikes: Flags
    noise: float


def noise_of(values: Array) -> float:
    """Standard deviation of the sample-to-sample noise, by the median of the second differences.

    A slow change of the signal cancels in the second difference, and the median ignores spikes. A record written
    with few digits may repeat itself; half a step is then the least that is returned.
    """
    known = values[np.isfinite(values)]
    if known.size < 5:
        return 0.0
    bend = known[1:-1] - 0.5 * (known[:-2] + known[2:])
    spread = NORMAL_FROM_MEDIAN * float(np.median(np.abs(bend))) / np.sqrt(1.5)
    return float(max(spread, step_of(known) / np.sqrt(12.0)))


def correlation_of(values: Array) -> float:
    """Correlation of neighbours, between 0 and 0.97."""
    away = values - np.mean(values)
    whole = float(np.dot(away, away))
    return min(max(float(np.dot(away[1:], away[:-1])) / whole, 0.0), 0.97) if whole > 0.0 else 0.0


def wander(values: Array) -> float:
    """How much more a mean of these samples wanders than one of independent samples, ≥ 1: √((1 + ρ)/(1 − ρ))."""
    known = values[np.isfinite(values)]
    rho = correlation_of(known) if known.size > 3 else 0.0
    return float(np.sqrt((1.0 + rho) / (1.0 - rho)))


def step_of(values: Array) -> float:
    """Step of the digitiser: the smallest common difference between levels, 0 where the levels are not a grid."""
    levels = np.unique(values[np.isfinite(values)])
    if levels.size < 3 or levels.size > 0.5 * values.size:
        return 0.0
    gaps = np.diff(levels)
    return float(np.median(gaps))


def despike(values: Array) -> Cleaned:
    """Replace lone spikes by the local median.

    A sample is a spike when it stands more than four local standard deviations off the median of the eleven samples
    round it, sticks out from its neighbours on both sides to the same hand, and the excursion lasts no longer than two
    samples. Edges, corners and any peak of three samples or more are kept whole. The local deviation is a median too,
    so that ripple which lifts one sample in eight does not hide itself.
    """
    out = values.copy()
    flags = np.zeros(values.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(values))
    if known.size < 2 * SPIKE_REACH + 1:
        return Cleaned(out, flags, noise_of(values))
    signal = values[known]
    least = max(noise_of(signal), 1e-4 * float(np.ptp(signal)))
    clean = signal.copy()
    lone = np.zeros(signal.size, dtype=bool)
    # A second pass finds what a close pair of spikes hid from the first.
    for _ in range(2):
        middle = median_filter(clean, 2 * SPIKE_REACH + 1, mode="nearest")
        away = clean - middle
        local = NORMAL_FROM_MEDIAN * median_filter(np.abs(away), 6 * SPIKE_REACH + 1, mode="nearest")
        limit = SPIKE_NOISE * np.maximum(local, least)
        found = _lone(clean, away, limit)
        clean[found] = middle[found]
        lone |= found
    out[known] = clean
    flags[known] = lone
    return Cleaned(out, flags, noise_of(clean))


def _lone(signal: Array, away: Array, limit: Array) -> Flags:
    """Runs of at most two samples beyond the limit that stick out from both neighbours to the same hand."""
    found = np.zeros(signal.size, dtype=bool)
    for sign in (1.0, -1.0):
        beyond = sign * away > limit
        for start, stop in runs(beyond):
            if stop - start > SPIKE_LONGEST:
                continue
            lowest = np.min(sign * signal[start:stop])
            sides = [sign * signal[i] for i in (start - 1, stop) if 0 <= i < signal.size]
            if all(lowest - side > 0.5 * limit[start] for side in sides):
                found[start:stop] = True
    return found


def level(values: Array) -> float:
    """Level of a quiet stretch: the mean of the middle four fifths, finer than the step of the digitiser."""
    known = np.sort(values[np.isfinite(values)])
    cut = known.size // 10
    return float(np.mean(known[cut : known.size - cut]))


def runs(flags: Flags) -> list[tuple[int, int]]:
    """Start and stop (exclusive) of every run of true flags.

    >>> runs(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def clipped(values: Array, least: int = 5) -> Flags:
    """Samples in a flat top: a run of at least `least` equal readings at the highest level of a trace that else moves.

    A digitiser that never repeats itself anywhere cannot show this by chance; a coarse one can, so a flat top of its
    size must also be longer than any other run of equal readings but the quiet ones below half the height.
    """
    flags = np.zeros(values.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(values))
    if known.size < 3 * least:
        return flags
    signal = values[known]
    top, low = float(np.max(signal)), float(np.min(signal))
    if top <= low:
        return flags
    flat = runs(signal >= top - 1e-9 * (top - low))
    same = np.concatenate([np.diff(signal) == 0.0, [False]]) & (signal > 0.5 * (top + low)) & (signal < top)
    other = max((stop - start + 1 for start, stop in runs(same)), default=1)
    for start, stop in flat:
        if stop - start >= max(least, 2 * other):
            flags[known[start:stop]] = True
    return flags


def smooth(time: Array, values: Array, width: float) -> Array:
    """Local straight-line fit over a window of `width` seconds centred on each sample; keeps slopes, not corners.

    Windowed sums make it exact for irregular sampling. Fewer than three samples in a window: the sample itself.
    """
    left = np.searchsorted(time, time - 0.5 * width, side="left")
    right = np.searchsorted(time, time + 0.5 * width, side="right")

    def total(terms: Array) -> Array:
        summed = np.concatenate([[0.0], np.cumsum(terms)])
        return np.asarray(summed[right] - summed[left])

    shifted = time - time[0]
    count = (right - left).astype(float)
    mean_t, mean_v = total(shifted) / count, total(values) / count
    spread = total(shifted**2) / count - mean_t**2
    slope = np.where(
        (count >= 3) & (spread > 0),
        (total(shifted * values) / count - mean_t * mean_v) / np.maximum(spread, 1e-300),
        0.0,
    )
    line = mean_v + slope * (shifted - mean_t)
    return np.where(count >= 3, line, values)


def integral(time: Array, values: Array, start: float, stop: float) -> float:
    """Integral by trapezoids between two times, blanks bridged by straight lines."""
    known = np.isfinite(values)
    inside = (time > start) & (time < stop) & known
    t = np.concatenate([[start], time[inside], [stop]])
    ends = np.interp([start, stop], time[known], values[known])
    v = np.concatenate([[ends[0]], values[inside], [ends[1]]])
    return float(np.trapezoid(v, t))


def integral_noise(time: Array, start: float, stop: float, noise: float) -> float:
    """Standard deviation that independent sample noise gives the integral between two times."""
    inside = time[(time >= start) & (time <= stop)]
    if inside.size < 2:
        return noise * max(stop - start, 0.0)
    weights = np.zeros(inside.size)
    weights[:-1] += 0.5 * np.diff(inside)
    weights[1:] += 0.5 * np.diff(inside)
    return float(noise * np.sqrt(np.sum(weights**2)))


def crossings(time: Array, values: Array, level: float) -> tuple[float, float, Flags]:
    """First rise through `level` before the peak and last fall through it after, straight lines between samples.

    Only stretches of three samples or more above the level count. Where the trace starts or ends above the level the
    first or last time is returned; the flags (2,) say whether each crossing was really seen.
    """
    above = values >= level
    peak = int(np.argmax(values))
    stretches = [(a, b) for a, b in runs(above) if b - a >= 3 or a <= peak < b]
    first, last = stretches[0][0], stretches[-1][1] - 1
    start = time[first] if first == 0 else _between(time, values, first - 1, first, level)
    stop = time[last] if last == time.size - 1 else _between(time, values, last, last + 1, level)
    return float(start), float(stop), np.array([first > 0, last < time.size - 1])


def _between(time: Array, values: Array, i: int, j: int, level: float) -> float:
    share = (level - values[i]) / (values[j] - values[i])
    return float(time[i] + share * (time[j] - time[i]))


@dataclass(frozen=True)
class Knee:
    """Where the tail-off begins: `time` on the trace by the tangent bisector, or None with the reason in `why`."""

    time: float | None
    why: str = ""


KNEE_WIDTHS = (0.003, 0.004, 0.006, 0.008, 0.01, 0.015, 0.02, 0.03, 0.04)


SLOW_FALL = 0.08
"""A tail-off that lasts longer than this share of the action time is slow."""


def knee_width(time: Array, values: Array, start: float, stop: float, noise: float) -> float:
    """Narrowest smoothing window (over the action time) at which the fall's slope is ten times its noise.

    The slope of a line through N points that span w has a standard deviation of noise·√(12/N)/w. A fall that is slow
    by itself is looked at through a window of a fifth of it, so that its ripple is not taken for its shape.
    """
    span, samples = stop - start, int(np.count_nonzero((time >= start) & (time <= stop)))
    late = time >= start + 0.5 * span
    for width in KNEE_WIDTHS:
        within = width * samples
        if within < 4:
            continue
        fall = -float(np.min(np.gradient(smooth(time, values, width * span), time)[late]))
        if noise * np.sqrt(12.0 / within) / (width * span) < 0.1 * fall:
            break
    fall = -float(np.min(np.gradient(smooth(time, values, KNEE_WIDTHS[-1] * span), time)[late]))
    if not fall > 0.0:
        return width
    lasts = float(np.ptp(values)) / (fall * span)
    return max(width, 0.2 * lasts) if lasts > SLOW_FALL else width


def highest_of(count: float) -> float:
    """Mean of the highest of `count` independent normal deviates, in standard deviations (G. Blom, 1958, remembered).

    >>> round(highest_of(100.0), 2), highest_of(1.0)
    (2.5, 0.0)
    """
    count = max(count, 1.0)
    return float(ndtri((count - 0.375) / (count + 0.25)))


def peak_of(time: Array, values: Array, width: float) -> tuple[float, float]:
    """Peak of a noisy trace, and the top of its smoothed self over `width` seconds.

    The highest sample is high by luck as well; what the highest of so many samples near the top gains from noise of the
    size seen is taken off. Without noise it is the highest sample; a sharp peak has few samples near it and loses
    little.
    """
    smoothed = smooth(time, values, width)
    top = float(np.max(smoothed))
    highest = int(np.argmax(values))
    noise = noise_of(values[smoothed > 0.5 * top])
    near = float(np.count_nonzero(smoothed >= top - noise))
    lifted = float(values[highest]) - noise * highest_of(near)
    return max(lifted, min(top, float(values[highest]))), top


def tail_off(time: Array, values: Array, start: float, stop: float, foot: float, width: float = 0.015) -> Knee:
    """End of burning by the aft tangent bisector.

    One tangent is laid along the trace before the tail-off, one along its steepest fall; the line that halves the
    angle between them meets the trace at the end of burning. The angle depends on the scales, so the axes are taken
    as the fraction of the action time (`start` to `stop`) and of the peak above `foot`. Common practice in reducing
    solid motor firings; the choice of scales is ours. `width` is the smoothing window over the action time.
    """
    span = stop - start
    x = np.linspace(0.0, 1.0, 2001)
    height = float(np.max(values)) - foot
    if not (span > 0.0 and height > 0.0):
        return Knee(None, "the trace does not rise above its foot")
    y = (smooth(time, values, width * span) - foot) / height
    y = np.interp(start + x * span, time, y)
    slope = np.gradient(y, x)
    steep = 1000 + int(np.argmin(slope[1000:]))
    if slope[steep] > -2.0:
        return Knee(None, "the trace has no distinct tail-off")
    # The shoulder is where the fall reaches a third of its steepest; the tangent before it is fitted clear of it.
    gentle = np.flatnonzero(slope[:steep] > slope[steep] / 3.0)
    if gentle.size == 0 or gentle[-1] < 300:
        return Knee(None, "the tail-off takes up the whole trace")
    shoulder = int(gentle[-1])
    before = slice(max(shoulder - 240, 0), max(shoulder - 40, 2))
    slope_before, level_before = np.polyfit(x[before], y[before], 1)
    if slope_before - slope[steep] < 1.0:
        return Knee(None, "the trace has no distinct tail-off")
    corner_x = (y[steep] - slope[steep] * x[steep] - level_before) / (slope_before - slope[steep])
    corner = np.array([corner_x, level_before + slope_before * corner_x])
    back = -np.array([1.0, slope_before]) / np.hypot(1.0, slope_before)
    down = np.array([1.0, slope[steep]]) / np.hypot(1.0, slope[steep])
    return _on_bisector(x, y, corner, back + down, time_at=lambda at: start + at * span)


def _on_bisector(x: Array, y: Array, corner: Array, way: Array, time_at: Callable[[float], float]) -> Knee:
    """First point where the line from the corner along `way` meets the trace."""
    side = (x - corner[0]) * way[1] - (y - corner[1]) * way[0]
    near = np.flatnonzero((side[:-1] * side[1:] <= 0.0) & (np.abs(x[:-1] - corner[0]) < 0.15))
    if near.size == 0:
        return Knee(None, "the tangents of the tail-off do not meet on the trace")
    i = int(near[np.argmin(np.abs(x[near] - corner[0]))])
    share = side[i] / (side[i] - side[i + 1]) if side[i] != side[i + 1] else 0.0
    return Knee(float(time_at(x[i] + share * (x[i + 1] - x[i]))))
