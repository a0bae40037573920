"""A record held against what its motor can do, before anything is measured on it: units, signs, torn cables.

Owns the questions asked of each column and the refusals that come of them. A column that is far off is refused with the
unit that would make it fit; where none does, only what is far beyond any doubt is. Imports record, asfired, traces,
inputs, units and physics.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.cautions import Caution
from optimizer.firings import traces
from optimizer.firings.as_fired import ambient_of, motors_of
from optimizer.firings.record import Channel, Record
from optimizer.inputs import Firing, InputError, Problem
from optimizer.problems import plain_file
from optimizer.units import DIMENSIONS, show, to_si
from physics.ballistics.kernel import evaluate

Array = NDArray[np.float64]

FAR, FITS, BEYOND = 3.5, 2.0, 30.0
"""A column is asked about where it is so many times off and another unit brings it within `FITS`; past `BEYOND` it is
refused whatever the unit. Our judgement: two units that a shop confuses lie 4.4 apart or more, or else too near."""
POSSIBLE = {"time": (0.02, 60.0), "pressure": (0.1e6, 50e6), "thrust": (0.5, 1e6)}
"""What any such motor does, where its file says no more: burn [s], height of pressure [Pa], thrust [N]; our judgement."""
TORN = 0.05
"""Readings further below a vacuum than this share of the burn's height are no pressure."""
COLD, FROZEN = 40.0, 120.0
"""A thermometer so far from the air before ignition is asked about where another unit fits, or whatever the unit. [K]"""
_SAID = {"time": "the burn lasts", "pressure": "the pressure rises by", "thrust": "the thrust is"}


@dataclass(frozen=True)
class _Shape:
    """A channel in short: how far it goes up and down from its level at rest, its highest, how long the burn lasts."""

    up: float
    down: float
    highest: float
    lasts: float


def held_against_motor(firing: Firing, record: Record) -> Record:
    """The record with what cannot be a reading left out.

    Raises InputError, with the likely slip, where a column cannot be what the firing file says it is.
    """
    ambient, expected = ambient_of(firing), _expected(firing)
    cautions = list(record.cautions)
    channels: list[Channel] = []
    problems: list[Problem] = []
    lasts: list[float] = []
    for channel in record.channels:
        if channel.kind == "temperature":
            problems += _warm(firing, channel)
            channels.append(channel)
            continue
        if channel.kind == "pressure":
            channel = _mended(firing, record.time, channel, ambient, cautions)
        shape = _shape(record.time, channel.values)
        if shape is None:
            raise InputError([_problem(firing, channel.name, "", _NO_BURN, _CHECK)])
        lasts.append(shape.lasts)
        problems += _sign(firing, channel, shape)
        if not problems:
            nominal = ambient if channel.kind == "pressure" and not channel.gauge else 0.0
            # A record that starts or ends within the burn has no level at rest; one with an offset has no zero.
            seen = (max(shape.up, shape.down), shape.highest - nominal)
            problems += _unit(firing, channel.kind, channel.name, seen, expected)
        channels.append(channel)
    if lasts and not problems:
        clock = firing.columns["time"].name if "time" in firing.columns else "time"
        problems += _unit(firing, "time", clock, (max(lasts),), expected)
    if problems:
        raise InputError(problems)
    return replace(record, channels=tuple(channels), cautions=tuple(cautions))


_NO_BURN = "the record holds no burn that stands out of the noise"
_CHECK = "check the column, its unit and that the record covers the firing"


def _problem(firing: Firing, key: str, value: str, problem: str, fix: str) -> Problem:
    where = firing.record if firing.record is not None else firing.path
    return Problem(plain_file(where), 0, plain_file(key[:60]), value, problem, fix, "E160")


def _expected(firing: Firing) -> dict[str, tuple[float, float]]:
    """Lowest and highest that each kind may show: what the motor file predicts, else what any motor does."""
    motors = motors_of(firing)
    if motors is None:
        return dict(POSSIBLE)
    figures = evaluate(motors, "steady")
    found = {}
    for kind, names in (
        ("time", ("burn_time", "action_time")),
        ("pressure", ("peak_pressure", "peak_head_pressure")),
        ("thrust", ("peak_thrust",)),
    ):
        values = [float(np.ravel(figures[name])[0]) for name in names]
        good = [value for value in values if math.isfinite(value) and value > 0.0]
        found[kind] = (min(good), max(good)) if good else POSSIBLE[kind]
    return found


def _shape(time: Array, values: Array) -> _Shape | None:
    """None where nothing stands out: three samples together, more than eight times the noise."""
    known = np.isfinite(values)
    v = traces.despike(values).values[known]
    t = time[known]
    if v.size < 12:
        return None
    rest, low, high = _rest(v), float(np.min(v)), float(np.max(v))
    up, down = high - rest, rest - low
    height = max(up, down)
    bend = v[1:-1] - 0.5 * (v[:-2] + v[2:])  # without the digitiser's step: a trace of few levels is no noise
    if not height > 8.0 * traces.NORMAL_FROM_MEDIAN * float(np.median(np.abs(bend))):
        return None
    side = (v - rest) if up >= down else (rest - v)
    stretches = [(a, b) for a, b in traces.runs(side > 0.1 * height) if b - a >= 3]
    if not stretches:
        return None
    return _Shape(up, down, high, float(t[stretches[-1][1] - 1] - t[stretches[0][0]]))


def _rest(values: Array) -> float:
    """The level at rest: that before the burn, or the lowest twentieth where the record starts late."""
    count = max(values.size // 50, 8)
    first, last = float(np.median(values[:count])), float(np.median(values[-count:]))
    low, high = float(np.min(values)), float(np.max(values))
    calm = abs(first - last) < 0.25 * (high - low)
    if calm or first < 0.5 * (low + high):
        return first
    return float(np.percentile(values, 5))


def _mended(firing: Firing, time: Array, channel: Channel, ambient: float, cautions: list[Caution]) -> Channel:
    """A pressure channel without what lies below a vacuum for three samples or more, as a torn cable leaves it."""
    values = channel.values
    cleaned = traces.despike(values).values
    known = np.flatnonzero(np.isfinite(cleaned))
    signal = cleaned[known]
    if signal.size < 12:
        return channel
    rest, top = _rest(signal), float(np.max(signal))
    floor = rest - ambient - TORN * max(top - rest, 0.0) - 6.0 * traces.noise_of(signal)
    torn = np.zeros(values.size, dtype=bool)
    for start, stop in traces.runs(signal < floor):
        # A turned sign comes back to rest; a torn cable does not, or jumps.
        if stop - start >= 3 and (stop >= signal.size - 3 or start <= 3):
            torn[known[start:stop]] = True
    if not torn.any():
        return channel
    if np.count_nonzero(torn) > 0.8 * known.size:
        reads = show(float(np.median(values[torn])), "pressure")
        what = f"reads {reads} for most of the record, which no pressure can be"
        raise InputError([_problem(firing, channel.name, "", what, "check the column, its unit and the cable")])
    when, reads = float(time[np.argmax(torn)]), show(float(np.median(values[torn])), "pressure")
    cautions.append(
        Caution(
            "torn cable",
            f"{channel.name}: from {when:.3f} s it reads {reads} in {np.count_nonzero(torn)} samples, below a vacuum by more than "
            "its zero could have moved; they are left out.",
        )
    )
    return replace(channel, values=np.where(torn, np.nan, values))


def _sign(firing: Firing, channel: Channel, shape: _Shape) -> Iterator[Problem]:
    if channel.kind == "pressure" and shape.down > 3.0 * shape.up:
        yield _problem(
            firing,
            channel.name,
            f"{show(-shape.down, 'pressure')} from rest",
            "the pressure falls during the burn: is its sign turned?",
            "turn the sign of the column in the record, or name the right column",
        )


def _unit(
    firing: Firing, kind: str, name: str, sizes: tuple[float, ...], expected: dict[str, tuple[float, float]]
) -> Iterator[Problem]:
    """A column whose size another unit would explain, or none could; of several readings of its size the likeliest."""
    low, high = expected[kind]
    offs = {size: size / high if size > high else size / low if size < low else 1.0 for size in sizes if size > 0.0}
    if not offs:
        return
    seen = min(offs, key=lambda one: abs(math.log(max(offs[one], 1e-300))))
    off = offs[seen]
    size = math.log(max(off, 1e-300))
    # A motor that failed may have stopped at any moment, and at any pressure on the way up.
    failed = bool(firing.observed) and off < 1.0
    if abs(size) < math.log(FAR) or (failed and off > 1e-3):
        return
    column = next((one for one in firing.columns.values() if one.name == name), None)
    stated = column.unit if column is not None else ""
    best = _better(kind, stated, off)
    if best is None and abs(size) < math.log(BEYOND):
        return
    shown = show(seen, kind)
    motor = firing.motor is not None
    due = f"about {show(high, kind)} is what this motor can do"
    if not motor:
        due = f"any motor does {show(low, kind)} to {show(high, kind)}"
    asked = f": is the {kind} in {best}?" if best else ""
    fix = f'write unit = "{best}"' if best else f"check the column, its unit{' and the motor file' if motor else ''}"
    stands = f" (unit {stated!r})" if stated else ""
    yield _problem(firing, name, shown + stands, f"{_SAID[kind]} {shown}{asked}", f"{fix}; {due}")


def _better(kind: str, stated: str, off: float) -> str | None:
    """The unit under which the column would fit, None where none is near."""
    if not stated:
        return None
    factor = float(to_si(1.0, stated))
    near: list[tuple[float, int, str]] = []
    for place, other in enumerate(DIMENSIONS["force" if kind == "thrust" else kind].units):
        away = abs(math.log(off * float(to_si(1.0, other)) / factor))
        if other != stated and away < math.log(FITS):
            near.append((round(away, 1), place, other))  # bar and atm are as good as one
    return min(near)[2] if near else None


def _warm(firing: Firing, channel: Channel) -> Iterator[Problem]:
    """A thermometer that starts far from the air's temperature."""
    known = channel.values[np.isfinite(channel.values)]
    air = firing.measured.get("temperature")
    if air is None:
        air = 293.15 if firing.motor is None else float(np.ravel(firing.motor.motors.ambient.temperature)[0])
    first = float(np.median(known[: max(known.size // 50, 1)]))
    if abs(first - air) < COLD:
        return
    column = next((one for one in firing.columns.values() if one.name == channel.name), None)
    stated = column.unit if column is not None else "K"
    raw = (first - float(to_si(0.0, stated))) / (float(to_si(1.0, stated)) - float(to_si(0.0, stated)))
    near = [other for other in DIMENSIONS["temperature"].units if abs(float(to_si(raw, other)) - air) < 0.5 * COLD]
    if not near and abs(first - air) < FROZEN:
        return
    shown = show(first, "temperature")
    asked = f": is it in {near[0]}?" if near else ""
    fix = f'write unit = "{near[0]}"' if near else "check the column, its unit and the thermometer"
    due = f"the air is at {show(air, 'temperature')}"
    yield _problem(firing, channel.name, shown, f"the case starts at {shown}{asked}", f"{fix}; {due}")
