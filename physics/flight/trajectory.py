"""A point mass along its rail and then turning under gravity, in still air; a batch of flights at once.

Owns `fly`. Boost is integrated by a Runge-Kutta method of fourth order along the steps of the motor's history, in each of
which thrust and flow are parabolas through both ends that carry the step's own impulse and mass; a step is cut where the
rocket lifts off and where it leaves the rail. In the coast the climb rate is the independent variable, so that the apogee
is hit without a search. All iterations have fixed numbers of steps: a batch equals its flights one by one. Imports
atmosphere.

Limits of the model: no attitude, no wind, no lift: the apogee is an upper bound. The rail is without friction.
Source: Newton's law along the path [1]_; derived here.

References
----------
.. [1] G. K. Mandell, G. J. Caporaso and W. P. Bengen, Topics in Advanced Model Rocketry, 1973, ch. 4 (read in transcription):
   equations of motion; closed forms and worked flights that the tests compare with.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Self

import numpy as np
from numpy.typing import NDArray

from physics.flight.atmosphere import EARTH_RADIUS, Air, gravity

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]

COAST_STEPS = 12
_NEWTON_STEPS = 6
_BISECTIONS = 50
_AT_THE_END = 1e-9
"""Share of the rail within which its end is met."""
_BLOCK = 4096
_SEPARATED_SHARE = 0.01
"""Share of the impulse from which on a separated nozzle is told: every burn that fills and empties has some."""
_FIRST_TURNS = (4, 2, 1)
"""Parts that the first free steps are cut into: just off the rail the path turns fastest, as g/v."""

FLIGHT_FLAGS: dict[str, str] = {
    "never_moves": "the thrust never exceeds the rocket's weight along the rail: it does not lift off",
    "never_leaves_rail": "the rocket stops on the rail, or never reaches its end",
    "apogee_under_thrust": "the rocket tops out while the motor burns: it turns over under thrust, a hazard",
    "outside_drag_table": "the flight is faster than the last row of the drag table, whose value was held",
    "nozzle_separated": "the nozzle's flow is separated in part of the burn; its thrust was not corrected for height there",
}


class _Columns:
    """A dataclass of columns (n, …) of which some rows can be taken; None stays."""

    def take(self, index: Index) -> Self:
        leaves = {item.name: getattr(self, item.name) for item in fields(self)}  # type: ignore[arg-type]
        return type(self)(**{name: leaf if leaf is None else leaf[index] for name, leaf in leaves.items()})


@dataclass(frozen=True)
class Push(_Columns):
    """What the motor does over the burn, in S steps; histories of unequal length end in steps of no width.

    Parameters
    ----------
    time : ndarray
        Ends of the steps, rising, (n, S + 1). [s]
    thrust_start, thrust_end : ndarray
        At both ends of each step, (n, S): a jump stands between one step's end and the next one's start. [N]
    flow_start, flow_end : ndarray
        Propellant burnt a second, in the same way, (n, S). [kg/s]
    impulse : ndarray
        Of each step, (n, S). [N s]
    mass : ndarray
        Propellant burnt in each step, (n, S). [kg]
    attached : ndarray
        Whether the nozzle flows full during each step, (n, S): only then is its thrust corrected for height.
    ambient_pressure : ndarray
        For which the thrust holds, (n,). [Pa]
    exit_area : ndarray
        Of the nozzle, (n,); 0 leaves the thrust as it is. [m2]
    """

    time: Array
    thrust_start: Array
    thrust_end: Array
    flow_start: Array
    flow_end: Array
    impulse: Array
    mass: Array
    attached: Mask
    ambient_pressure: Array
    exit_area: Array

    @staticmethod
    def through_points(
        time: Array, thrust: Array, mass_flow: Array, ambient_pressure: Array, exit_area: Array, attached: Mask | None = None
    ) -> Push:
        """A history that is linear between its S + 1 points (n, S + 1), NaN behind the end of a burn; SI.

        Parameters
        ----------
        time : Array
            (n, S + 1), NaN behind the end of a burn. [s]
        thrust : Array
            (n, S + 1). [N]
        mass_flow : Array
            (n, S + 1). [kg/s]
        ambient_pressure : Array
            As the field of that name. [Pa]
        exit_area : Array
            As the field of that name. [m2]
        attached : Mask, optional
            As the field of that name, (n, S); true throughout where none is given.

        Returns
        -------
        Push
            The history, S steps for each motor; SI.
        """
        ended = np.isnan(time)
        last = np.where(ended, -np.inf, time).max(axis=1)
        time = np.where(ended, last[:, None], time)
        thrust, flow = (np.where(ended, 0.0, level) for level in (thrust, mass_flow))
        width = np.diff(time, axis=1)
        full = np.ones(width.shape, dtype=bool) if attached is None else attached
        ends = (thrust[:, :-1], thrust[:, 1:], flow[:, :-1], flow[:, 1:])
        impulse, mass = (0.5 * width * (level[:, 1:] + level[:, :-1]) for level in (thrust, flow))
        return Push(time, *ends, impulse, mass, full, ambient_pressure, exit_area)


def _total(steps: Array) -> Array:
    """Sum over the steps, one after the other: what a padded history adds is exactly nothing, (n,)."""
    return np.asarray(np.cumsum(steps, axis=1)[:, -1])


@dataclass(frozen=True)
class Vehicle(_Columns):
    """What is flown, apart from the propellant.

    Parameters
    ----------
    dry_mass : ndarray
        Rocket and motor without propellant, (n,). [kg]
    diameter : ndarray
        Of the largest section, which the drag coefficient is for, (n,). [m]
    drag_coefficient : ndarray
        (n,), or at the Mach numbers `mach`, (n, K). [-]
    drag_coefficient_thrusting : ndarray or None
        The same while the motor burns; the other by default. [-]
    mach : ndarray or None
        Of the rows of the drag table, rising, (n, K), first row held below, last row held above. [-]
    """

    dry_mass: Array
    diameter: Array
    drag_coefficient: Array
    drag_coefficient_thrusting: Array | None = None
    mach: Array | None = None

    def drag(self, mach: Array, thrusting: bool) -> Array:
        """Drag coefficient at Mach numbers (n,). [-]

        Parameters
        ----------
        mach : Array
            Mach number, (n,). [-]
        thrusting : bool
            Whether the motor burns.

        Returns
        -------
        Array
            Drag coefficient, (n,). [-]
        """
        thrust_on = thrusting and self.drag_coefficient_thrusting is not None
        values = self.drag_coefficient_thrusting if thrust_on else self.drag_coefficient
        assert values is not None
        if self.mach is None or values.ndim == 1:
            return values
        found = values[:, 0]
        for row in range(1, values.shape[1]):
            low, high = self.mach[:, row - 1], self.mach[:, row]
            share = np.clip((mach - low) / (high - low), 0.0, 1.0)
            found = found + share * (values[:, row] - values[:, row - 1])
        return found


@dataclass(frozen=True)
class Rail(_Columns):
    """Where it starts: guided travel [m], elevation above the horizon [rad], altitude of the site [m]; (n,) each."""

    length: Array
    elevation: Array
    altitude: Array


@dataclass(frozen=True)
class Flight:
    """Figures of a batch of flights, (n,) each, named in `physics.figures`, and flags, named in `FLIGHT_FLAGS`.

    What a flag rules out is NaN: nothing for a rocket that never moves, nothing beyond the rail for one that stays on it,
    no apogee for one that tops out under thrust. With `track`, the points of the ascent: `time`, `height`, `speed`,
    `mach`, `downrange`, (n, T).
    """

    figures: dict[str, Array]
    flags: dict[str, Mask]
    track: dict[str, Array] | None = None


@dataclass(frozen=True)
class _Parabola:
    """A level over one step in its share s: through both ends, with the step's own integral; (n,) each."""

    start: Array
    end: Array
    bulge: Array
    width: Array

    @staticmethod
    def of(start: Array, end: Array, total: Array, width: Array) -> _Parabola:
        some = width > 0.0
        mean = total / np.where(some, width, 1.0)
        return _Parabola(start, end, np.where(some, 6.0 * (mean - 0.5 * (start + end)), 0.0), width)

    def at(self, share: Array | float) -> Array:
        return self.start + (self.end - self.start) * share + self.bulge * share * (1.0 - share)

    def swept(self, share: Array | float) -> Array:
        """Integral from the step's start, in seconds times level."""
        return self.width * share * (self.start + share * (0.5 * (self.end - self.start) + self.bulge * (0.5 - share / 3.0)))

    def take(self, index: Index) -> _Parabola:
        return _Parabola(self.start[index], self.end[index], self.bulge[index], self.width[index])


@dataclass(frozen=True)
class _Step:
    """One step of the boost of some flights: what pushes, what they weigh, where they are."""

    thrust: _Parabola
    flow: _Parabola
    mass_before: Array
    correction: Array  # exit area where the nozzle flows full, else 0
    reference: Array  # ambient pressure for which the thrust holds
    vehicle: Vehicle
    rail: Rail
    air: Air
    radius: float

    def take(self, index: Index) -> _Step:
        return _Step(
            self.thrust.take(index),
            self.flow.take(index),
            self.mass_before[index],
            self.correction[index],
            self.reference[index],
            self.vehicle.take(index),
            self.rail.take(index),
            self.air.take(index),
            self.radius,
        )

    def mass(self, share: Array | float) -> Array:
        return self.mass_before - self.flow.swept(share)

    def gravity(self, height: Array) -> Array:
        return gravity(self.rail.altitude + height, self.radius)

    def push(self, share: Array | float, pressure: Array) -> Array:
        return self.thrust.at(share) + self.correction * (self.reference - pressure)

    def along(self, share: Array | float, height: Array, speed: Array, thrusting: bool = True) -> tuple[Array, ...]:
        """Axial acceleration without gravity, gravity, dynamic pressure, Mach number, thrust."""
        density, pressure, sound = self.air.at(height)
        dynamic = 0.5 * density * np.square(speed)
        mach = np.where(sound > 0.0, speed / sound, 0.0)
        drag = dynamic * self.vehicle.drag(mach, thrusting) * (0.25 * np.pi) * np.square(self.vehicle.diameter)
        mass, down = self.mass(share), self.gravity(height)
        push = self.push(share, pressure)
        return (push - drag) / mass, down, dynamic, mach, push


_State = tuple[Array, ...]
_Look = tuple[Array, Array, Array, Array, Array]
"""Speed, axial acceleration without gravity, gravity against the path, dynamic pressure, Mach number."""


def _runge_kutta(
    rates: Callable[[Array, _State], _State], start: Array, width: Array, state: _State, first: _State | None = None
) -> _State:
    """One step of the classical method of fourth order, `width` in the independent variable, (n,).

    `first` are the rates at the start, where they are known already.
    """
    half = 0.5 * width
    first = rates(start, state) if first is None else first
    second = rates(start + half, _moved(state, half, first))
    third = rates(start + half, _moved(state, half, second))
    fourth = rates(start + width, _moved(state, width, third))
    return tuple(
        value + width / 6.0 * (a + 2.0 * (b + c) + d) for value, a, b, c, d in zip(state, first, second, third, fourth, strict=True)
    )


def _moved(state: _State, width: Array, rate: _State) -> _State:
    return tuple(value + width * slope for value, slope in zip(state, rate, strict=True))


class _Highest:
    """The highest value met of each flight and its time, each step a parabola through its start, middle and end."""

    def __init__(self, size: int) -> None:
        self.value = np.full(size, -np.inf)
        self.time = np.full(size, np.nan)

    def add(self, index: Index, times: tuple[Array, Array], values: tuple[Array, Array, Array]) -> None:
        low, middle, high = values
        bend = 2.0 * (low + high - 2.0 * middle)
        slope = 4.0 * middle - 3.0 * low - high
        turned = bend < 0.0
        share = np.where(turned, np.clip(-slope / np.where(turned, 2.0 * bend, 1.0), 0.0, 1.0), np.where(high > low, 1.0, 0.0))
        found = low + share * (slope + share * bend)
        for value, at in ((found, share), (low, np.zeros_like(low)), (high, np.ones_like(low))):
            higher = value > self.value[index]
            place = index[higher]
            self.value[place] = value[higher]
            self.time[place] = (times[0] + at * (times[1] - times[0]))[higher]


def fly(push: Push, vehicle: Vehicle, rail: Rail, air: Air, radius: float = EARTH_RADIUS, track: bool = False) -> Flight:
    """Fly a batch of rockets from ignition to apogee.

    Parameters
    ----------
    push : Push
        Histories of n motors; a dozen steps give the accuracy below. SI.
    vehicle, rail, air : Vehicle, Rail, Air
        What is flown, from where, through what; n each. SI.
    radius : float
        Radius of the Earth for gravity; infinite for uniform gravity. [m]
    track : bool
        Whether the points of the ascent are kept.

    Returns
    -------
    Flight
        Figures and flags, (n,) each; a rocket whose mass or thrust is NaN has NaN figures and no flag.

    Notes
    -----
    Against an adaptive integration with twelve steps of boost and of coast: rail exit within 0.02 %, apogee within 0.1 %
    (0.04 % in 95 of 100). Equations of motion as in [1]_, with gravity and air over height.
    """
    size = push.time.shape[0]
    parts = []
    for at in range(0, max(size, 1), _BLOCK):
        index = np.arange(at, min(at + _BLOCK, size))
        parts.append(_fly_block(push.take(index), vehicle.take(index), rail.take(index), air.take(index), radius, track))
    figures = {name: np.concatenate([part.figures[name] for part in parts]) for name in parts[0].figures}
    flags = {name: np.concatenate([part.flags[name] for part in parts]) for name in FLIGHT_FLAGS}
    tracks: dict[str, Array] | None = None
    if track:
        tracks = {}
        for name in parts[0].track or {}:
            longest = max(part.track[name].shape[1] for part in parts if part.track)
            padded = [
                np.pad(p.track[name], ((0, 0), (0, longest - p.track[name].shape[1])), constant_values=np.nan)
                for p in parts
                if p.track
            ]
            tracks[name] = np.concatenate(padded)
    return Flight(figures, flags, tracks)


def rail_exit_speed(push: Push, vehicle: Vehicle, rail: Rail, air: Air, radius: float = EARTH_RADIUS) -> Array:
    """Speed at the end of the guided travel: the figure of `fly`, at a fraction of its cost.

    Parameters
    ----------
    push, vehicle, rail, air, radius
        As in `fly`. SI.

    Returns
    -------
    ndarray
        (n,); NaN where the rocket does not leave its rail. [m/s]

    Notes
    -----
    The same to the last digit; a block is left when its last rocket has left the rail.
    """
    size = push.time.shape[0]
    found = np.full(size, np.nan)
    for at in range(0, size, _BLOCK):
        index = np.arange(at, min(at + _BLOCK, size))
        with np.errstate(all="ignore"):
            ascent = _Ascent(push.take(index), vehicle.take(index), rail.take(index), air.take(index), radius, track=False)
            for step in range(push.time.shape[1] - 1):
                if not (ascent.free | ascent.stopped).all():
                    _boost(ascent, step)
            if not (ascent.free | ascent.stopped).all():
                _coast(ascent)  # leaves its rail after the thrust has ended, or not at all
        known = np.isfinite(ascent.liftoff_mass) & np.isfinite(ascent.push.impulse).all(axis=1)
        found[index] = np.where(known & ascent.free, ascent.exit_speed, np.nan)
    return found


class _Ascent:
    """State of a block of flights on their way, and what has been met so far."""

    def __init__(self, push: Push, vehicle: Vehicle, rail: Rail, air: Air, radius: float, track: bool) -> None:
        size = push.time.shape[0]
        self.push, self.vehicle, self.rail, self.air, self.radius = push, vehicle, rail, air, radius
        self.mass = vehicle.dry_mass + _total(push.mass)
        self.liftoff_mass = self.mass.copy()
        self.sine, self.cosine = np.sin(rail.elevation), np.cos(rail.elevation)
        self.travel, self.speed = np.zeros(size), np.zeros(size)
        self.x, self.height = np.zeros(size), np.zeros(size)
        self.vx, self.vz = np.zeros(size), np.zeros(size)
        self.lifted, self.free = np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
        self.turns, self.turned = np.zeros(size, dtype=int), np.zeros(size, dtype=bool)
        self.stopped, self.topped = np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
        self.exit_speed, self.exit_time = np.full(size, np.nan), np.full(size, np.nan)
        self.guided_impulse, self.liftoff_time = np.zeros(size), np.full(size, np.nan)
        self.top_speed, self.top_mach = _Highest(size), _Highest(size)
        self.gain, self.felt, self.dynamic = _Highest(size), _Highest(size), _Highest(size)
        self.points: list[tuple[Array, Array, Array, Array]] | None = [] if track else None

    def step(self, i: int) -> _Step:
        push = self.push
        width = push.time[:, i + 1] - push.time[:, i]
        return _Step(
            _Parabola.of(push.thrust_start[:, i], push.thrust_end[:, i], push.impulse[:, i], width),
            _Parabola.of(push.flow_start[:, i], push.flow_end[:, i], push.mass[:, i], width),
            self.mass,
            np.where(push.attached[:, i], push.exit_area, 0.0),
            push.ambient_pressure,
            self.vehicle,
            self.rail,
            self.air,
            self.radius,
        )

    def note(self, time: Array) -> None:
        if self.points is not None:
            speed = np.where(self.free, np.hypot(self.vx, self.vz), self.speed)
            self.points.append((time.copy(), self.height.copy(), speed, self.x.copy()))

    def meet(self, index: Index, times: tuple[Array, Array], looks: tuple[_Look, _Look, _Look]) -> None:
        """Take what is met in one step, at its start, middle and end."""
        (speed, axial, along, dynamic, mach), middle, end = looks
        self.top_speed.add(index, times, (speed, middle[0], end[0]))
        self.felt.add(index, times, (axial, middle[1], end[1]))
        self.gain.add(index, times, (axial - along, middle[1] - middle[2], end[1] - end[2]))
        self.dynamic.add(index, times, (dynamic, middle[3], end[3]))
        self.top_mach.add(index, times, (mach, middle[4], end[4]))


def _fly_block(push: Push, vehicle: Vehicle, rail: Rail, air: Air, radius: float, track: bool) -> Flight:
    with np.errstate(all="ignore"):  # a motor without figures flies as NaN
        ascent = _Ascent(push, vehicle, rail, air, radius, track)
        ascent.note(push.time[:, 0])
        for i in range(push.time.shape[1] - 1):
            _boost(ascent, i)
            ascent.note(push.time[:, i + 1])
        return _figures(ascent, *_coast(ascent))


def _boost(ascent: _Ascent, i: int) -> None:
    """One step of the history: standing, on the rail and free, each as far as it reaches."""
    push = ascent.push
    some = np.flatnonzero((push.time[:, i + 1] > push.time[:, i]) & ~ascent.stopped & ~ascent.topped)
    if some.size == 0:
        return
    step = ascent.step(i).take(some)
    start = np.zeros(some.size)
    waiting = np.flatnonzero(~ascent.lifted[some])
    if waiting.size:
        start[waiting] = _lift_off(step.take(waiting), ascent.sine[some[waiting]])
        up = waiting[start[waiting] < 1.0]
        ascent.lifted[some[up]] = True
        ascent.liftoff_time[some[up]] = push.time[some[up], i] + start[up] * step.thrust.width[up]
    guided = np.flatnonzero(ascent.lifted[some] & ~ascent.free[some] & (start < 1.0))
    if guided.size:
        start[guided] = _along_rail(ascent, some[guided], step.take(guided), start[guided], push.time[some[guided], i])
    for turns, parts in enumerate(_FIRST_TURNS):
        here = np.minimum(ascent.turns[some], len(_FIRST_TURNS) - 1) == turns
        flying = np.flatnonzero(ascent.free[some] & (start < 1.0) & here)
        if flying.size:
            near, place, from_share = step.take(flying), some[flying], start[flying]
            edges = [from_share + (1.0 - from_share) * (k / parts) for k in range(parts)] + [np.ones(flying.size)]
            for low, high in pairwise(edges):
                _turn(ascent, place, near, low, high, push.time[place, i])
            ascent.turned[place] = True
    ascent.turns[ascent.turned] += 1
    ascent.turned[:] = False
    ascent.mass[some] = step.mass(1.0)


def _lift_off(step: _Step, sine: Array) -> Array:
    """Share of the step at which the thrust first bears the weight along the rail; 1 where it does not. (n,)"""
    ground = np.zeros(sine.size)
    pressure, down = step.air.at(ground)[1], step.gravity(ground)

    def surplus(share: Array | float) -> Array:
        return np.asarray(step.push(share, pressure) - step.mass(share) * down * sine)

    # The first of eight parts in which the sign changes: a thrust that peaks inside a step is not missed.
    low, high = np.ones(sine.size), np.ones(sine.size)
    at_once = surplus(0.0) > 0.0
    if at_once.all():
        return np.zeros(sine.size)
    for part in range(7, -1, -1):
        foot, head = part / 8.0, (part + 1) / 8.0
        rises = surplus(head) > 0.0
        low, high = np.where(rises, foot, low), np.where(rises, head, high)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        positive = surplus(middle) > 0.0
        low, high = np.where(positive, low, middle), np.where(positive, middle, high)
    return np.where(at_once, 0.0, high)


def _along_rail(ascent: _Ascent, index: Index, step: _Step, start: Array, time: Array) -> Array:
    """Move along the rail to its end or to the step's; gives the share of the step at which that is, 1 at its end."""
    sine = ascent.sine[index]
    width = step.thrust.width
    rates = _rail_rates(step, sine)
    state = (ascent.travel[index], ascent.speed[index], ascent.guided_impulse[index])
    full = 1.0 - start
    end = _runge_kutta(rates, start, full, state)
    length = ascent.rail.length[index]
    leaves = end[0] >= length
    reach = full.copy()
    out = np.flatnonzero(leaves)
    if out.size:
        near = step.take(out)
        near_rates = _rail_rates(near, sine[out])
        near_state = tuple(part[out] for part in state)
        # From the path as if both ends' mean acceleration held; Newton's steps on the integration itself follow.
        span = full[out]
        moved = (end[0] - state[0])[out]
        left = length[out] - state[0][out]
        trial = span * np.clip(left / moved, 1e-12, 1.0) ** np.where(near_state[1] > 0.0, 0.75, 0.5)
        for _ in range(_NEWTON_STEPS):
            there = _runge_kutta(near_rates, start[out], trial, near_state)
            trial = np.clip(trial - (there[0] - length[out]) / (there[1] * near.thrust.width), 0.0, span)
        there = _runge_kutta(near_rates, start[out], trial, near_state)
        # One that is past its highest point by the step's end has two places of that height; it left at the first.
        astray = ~((there[1] > 0.0) & (np.abs(there[0] - length[out]) <= _AT_THE_END * length[out]))
        if astray.any():
            low, high = np.zeros(trial.size), span.copy()
            for _ in range(_BISECTIONS):
                middle = 0.5 * (low + high)
                beyond = _runge_kutta(near_rates, start[out], middle, near_state)[0] >= length[out]
                low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
            trial = np.where(astray, high, trial)
            there = _runge_kutta(near_rates, start[out], trial, near_state)
        reach[out] = trial
        for whole, part in zip(end, there, strict=True):
            whole[out] = part
    finish = start + reach
    _meet_rail(ascent, index, step, (start, finish), (state[0], end[0]), (state[1], end[1]), time, sine)
    ascent.travel[index], ascent.speed[index], ascent.guided_impulse[index] = end
    ascent.x[index], ascent.height[index] = end[0] * ascent.cosine[index], end[0] * sine
    back = ~leaves & ~(end[1] > 0.0)
    ascent.stopped[index[back]] = True
    _leave(ascent, index[leaves], (time + finish * width)[leaves])
    return np.where(leaves, finish, 1.0)


def _leave(ascent: _Ascent, index: Index, time: Array) -> None:
    speed = ascent.speed[index]
    ascent.free[index] = True
    ascent.exit_speed[index], ascent.exit_time[index] = speed, time
    ascent.vx[index], ascent.vz[index] = speed * ascent.cosine[index], speed * ascent.sine[index]


def _rail_rates(step: _Step, sine: Array) -> Callable[[Array, _State], _State]:
    width = step.thrust.width

    def rates(share: Array, state: _State) -> _State:
        travel, speed, _ = state
        axial, down, _, _, thrust = step.along(share, travel * sine, speed)
        return width * speed, width * (axial - down * sine), width * thrust

    return rates


def _meet_rail(
    ascent: _Ascent,
    index: Index,
    step: _Step,
    shares: tuple[Array, Array],
    travels: tuple[Array, Array],
    speeds: tuple[Array, Array],
    time: Array,
    sine: Array,
) -> None:
    width = step.thrust.width

    def look(share: Array, travel: Array, speed: Array) -> _Look:
        axial, down, dynamic, mach, _ = step.along(share, travel * sine, speed)
        return speed, axial, down * sine, dynamic, mach

    before, after = (look(*place) for place in zip(shares, travels, speeds, strict=True))
    span = (shares[1] - shares[0]) * width
    middle_speed = 0.5 * (speeds[0] + speeds[1]) + span / 8.0 * ((before[1] - before[2]) - (after[1] - after[2]))
    middle_travel = 0.5 * (travels[0] + travels[1]) + span / 8.0 * (speeds[0] - speeds[1])
    middle = look(0.5 * (shares[0] + shares[1]), middle_travel, middle_speed)
    ascent.meet(index, (time + shares[0] * width, time + shares[1] * width), (before, middle, after))


def _turn(ascent: _Ascent, index: Index, step: _Step, start: Array, finish: Array, time: Array) -> None:
    """Free flight over a share of the step: thrust and drag along the path."""
    width = step.thrust.width
    share_width = finish - start

    def look(share: Array, state: _State) -> tuple[_Look, _State]:
        _, height, vx, vz = state
        speed = np.hypot(vx, vz)
        axial, down, dynamic, mach, _ = step.along(share, height, speed)
        pull = axial / speed
        slopes = (width * vx, width * vz, width * pull * vx, width * (pull * vz - down))
        return (speed, axial, down * vz / speed, dynamic, mach), slopes

    before = (ascent.x[index], ascent.height[index], ascent.vx[index], ascent.vz[index])
    at_start, rise = look(start, before)
    after = _runge_kutta(lambda share, state: look(share, state)[1], start, share_width, before, rise)
    at_end, fall = look(finish, after)
    middle = tuple(
        0.5 * (a + b) + share_width / 8.0 * (first - last) for a, b, first, last in zip(before, after, rise, fall, strict=True)
    )
    looks = (at_start, look(0.5 * (start + finish), middle)[0], at_end)
    ascent.meet(index, (time + start * width, time + finish * width), looks)
    ascent.x[index], ascent.height[index], ascent.vx[index], ascent.vz[index] = after
    ascent.topped[index[after[3] <= 0.0]] = True


def _coast(ascent: _Ascent) -> tuple[_State, Array, Array, list[_State]]:
    """From burnout to apogee: its state (time, x, height, vx), the first deceleration, the speed it holds for, the points."""
    size = ascent.mass.size
    push = ascent.push
    end = push.time[:, -1]
    unpowered = _Step(
        _Parabola(*(np.zeros(size) for _ in range(4))),
        _Parabola(*(np.zeros(size) for _ in range(4))),
        ascent.mass,
        np.zeros(size),
        push.ambient_pressure,
        ascent.vehicle,
        ascent.rail,
        ascent.air,
        ascent.radius,
    )
    burnout = np.where(ascent.free, np.hypot(ascent.vx, ascent.vz), ascent.speed)
    sine = np.where(ascent.free, ascent.vz / np.where(burnout > 0.0, burnout, 1.0), ascent.sine)
    axial, down, *_ = unpowered.along(0.0, ascent.height, burnout, thrusting=False)
    deceleration = down * sine - axial
    time = end.copy()
    late = np.flatnonzero(ascent.lifted & ~ascent.free & ~ascent.stopped)
    if late.size:
        _roll_out(ascent, late, unpowered.take(late), time)
    climb = np.where(ascent.free, ascent.vz, np.nan)
    width = -climb / COAST_STEPS

    def rates(vz: Array, state: _State) -> _State:
        _, _, height, vx = state
        speed = np.hypot(vx, vz)
        axial, down, *_ = unpowered.along(0.0, height, speed, thrusting=False)
        pull = np.where(speed > 0.0, axial / np.where(speed > 0.0, speed, 1.0), 0.0)
        per_climb = 1.0 / (pull * vz - down)
        return per_climb, vx * per_climb, vz * per_climb, pull * vx * per_climb

    state: _State = (time, ascent.x, ascent.height, ascent.vx)
    points = [(*state, climb)]
    for part in range(COAST_STEPS):
        state = _runge_kutta(rates, climb + part * width, width, state)
        if ascent.points is not None:
            points.append((*state, climb + (part + 1) * width))
    return state, deceleration, burnout, points


def _roll_out(ascent: _Ascent, index: Index, step: _Step, time: Array) -> None:
    """The rest of the rail without thrust, closed with the drag coefficient and the air of where it began."""
    speed, sine = ascent.speed[index], ascent.sine[index]
    left = ascent.rail.length[index] - ascent.travel[index]
    axial, down, *_ = step.along(0.0, ascent.height[index], speed, thrusting=False)
    decay = np.where(speed > 0.0, -2.0 * axial * left / np.square(speed), 0.0)
    mean = np.where(decay > 1e-9, -np.expm1(-decay) / np.where(decay > 1e-9, decay, 1.0), 1.0)
    square = np.square(speed) * np.exp(-decay) - 2.0 * down * sine * left * mean
    out = square > 0.0
    ascent.stopped[index[~out]] = True
    place = index[out]
    after = np.sqrt(square[out])
    time[place] += 2.0 * left[out] / (speed[out] + after)
    ascent.speed[place], ascent.travel[place] = after, ascent.rail.length[place]
    ascent.x[place] = ascent.travel[place] * ascent.cosine[place]
    ascent.height[place] = ascent.travel[place] * sine[out]
    _leave(ascent, place, time[place])


def _figures(ascent: _Ascent, top: _State, deceleration: Array, burnout: Array, points: list[_State]) -> Flight:
    push, rail = ascent.push, ascent.rail
    end = push.time[:, -1]
    known = np.isfinite(ascent.liftoff_mass) & np.isfinite(push.impulse).all(axis=1)
    loose = np.cumsum(np.where(push.attached, 0.0, push.impulse), axis=1)[:, -1]
    separated = (push.exit_area > 0.0) & (loose > _SEPARATED_SHARE * _total(push.impulse))
    flags: dict[str, Mask] = {
        "never_moves": known & ~ascent.lifted,
        "never_leaves_rail": known & ascent.lifted & ~ascent.free,
        "apogee_under_thrust": known & ascent.topped,
        "outside_drag_table": np.zeros(known.size, dtype=bool),
        "nozzle_separated": known & separated,
    }
    if ascent.vehicle.mach is not None:
        flags["outside_drag_table"] = known & (ascent.top_mach.value > ascent.vehicle.mach[:, -1])
    weight = ascent.liftoff_mass * gravity(rail.altitude, ascent.radius)
    span = end - push.time[:, 0]
    on_rail = ascent.exit_time - ascent.liftoff_time
    time, x, height, vx = top
    early = ascent.topped
    free, flown = ascent.free & known, ascent.free & ~early & known
    late = ascent.exit_time > end  # left the rail only after the thrust had ended

    def over(where: Mask, value: Array) -> Array:
        return np.where(where & np.isfinite(value), value, np.nan)

    figures = {
        "liftoff_mass": over(known, ascent.liftoff_mass),
        "rail_exit_speed": over(free, ascent.exit_speed),
        "rail_exit_time": over(free, ascent.exit_time),
        "thrust_to_weight": over(free, ascent.guided_impulse / (on_rail * weight)),
        "mean_thrust_to_weight": over(known & ascent.lifted, _total(push.impulse) / (span * weight)),
        "burnout_speed": over(flown, burnout),
        "burnout_altitude": over(flown, _burnout_height(ascent, late)),
        "maximum_speed": over(flown, ascent.top_speed.value),
        "maximum_mach": over(flown, ascent.top_mach.value),
        "maximum_acceleration": over(flown, ascent.gain.value),
        "maximum_felt_acceleration": over(flown, ascent.felt.value),
        "maximum_deceleration": over(flown, deceleration),
        "maximum_dynamic_pressure": over(flown, ascent.dynamic.value),
        "maximum_dynamic_pressure_time": over(flown, ascent.dynamic.time),
        "apogee": over(flown, height),
        "apogee_above_sea": over(flown, height + rail.altitude),
        "time_to_apogee": over(flown, time),
        "coast_time": over(flown, time - end),
        "downrange": over(flown, x),
        "speed_at_apogee": over(flown, np.abs(vx)),
    }
    return Flight(figures, flags, None if ascent.points is None else _track(ascent, flown, points))


def _burnout_height(ascent: _Ascent, late: Mask) -> Array:
    """Height at burnout [m]; NaN where the rocket was on its rail then."""
    return np.where(late, np.nan, ascent.height)


_SHOWN = 4
"""Points of a step of the coast in a track: near the apogee the steps are long in time."""


def _between(before: _State, after: _State, share: float) -> tuple[Array, Array, Array, Array]:
    """Time, height, speed and distance within a step of the coast, a cubic through both ends with their speeds."""
    width = after[0] - before[0]

    def place(index: int, slope: int) -> Array:
        left, right = before[index], after[index]
        bend = share * (1.0 - share) * width
        line = left + (right - left) * share * share * (3.0 - 2.0 * share)
        return np.asarray(line + bend * ((1.0 - share) * before[slope] - share * after[slope]))

    vx, vz = (before[i] + share * (after[i] - before[i]) for i in (3, 4))
    return before[0] + share * width, place(2, 4), np.hypot(vx, vz), place(1, 3)


def _track(ascent: _Ascent, flown: Mask, points: list[_State]) -> dict[str, Array]:
    assert ascent.points is not None
    rows = list(ascent.points)
    for before, after in pairwise(points):
        rows += [_between(before, after, part / _SHOWN) for part in range(1, _SHOWN + 1)]
    time, height, speed, x = (np.stack(part, axis=1) for part in zip(*rows, strict=True))
    sound = np.stack([ascent.air.at(column)[2] for column in height.T], axis=1)
    track = {"time": time, "height": height, "speed": speed, "downrange": x, "mach": speed / sound}
    return {name: np.where(flown[:, None], values, np.nan) for name, values in track.items()}
