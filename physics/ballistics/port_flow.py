"""The extremes of the port flow along a steady burn: head pressure, mass flux, narrowest port.

Owns the search over regression for the highest head-end pressure and mass flux, on the pieces of `physics.ballistics.stretches`.
The effective port ratio J of a row is its port area over (share of the flow that passes its aft end × throat area);
the smallest over rows counts. Head pressure is p·h(J) with h of `nozzle.port_mach_and_head_ratio`, for which
d log h/d log J = −γM²/(1 + γM²), and −1 where the port chokes. Mass flux is p/(c*·J). Imports grain, nozzle,
stretches and motors.

With one row of equal grains J only grows, and the maxima follow from derivatives (`EqualGrains`, which `physics.ballistics.smooth`
shares); with several rows, or a cap over part of a face, each piece is sampled and the maximum inside one refined. Both give the
same numbers where both apply. Source: derived here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Self

import numpy as np

from physics.ballistics import grain, nozzle
from physics.ballistics.stretches import Balance, Columns, Index, Mask, Pieces, Stretches, picked
from physics.motors import Array

_NO_PORT = 1e9
"""Bore that stands for a grain without a port. [m]"""

_CHEBYSHEV = 0.5 - 0.5 * np.cos(np.pi * np.arange(8) / 7)
_SAMPLES = np.sort(np.concatenate([_CHEBYSHEV, [1e-3, 1.0 - 1e-3]]))
"""Places on a piece; the two next to the ends tell a maximum at an end from one just inside it."""


@dataclass(frozen=True)
class PortExtremes:
    """Extremes of each motor along its burn, (n,): Pa, kg/m2/s, and effective port ratios (infinite without a port)."""

    head_pressure: Array
    mass_flux: Array
    smallest_ratio: Array
    initial_ratio: Array


def port_extremes(cuts: Pieces, burn: Stretches, law: Balance, batch: Columns) -> PortExtremes:
    """Extremes of the port flow of every motor of a block.

    Parameters
    ----------
    cuts : Pieces
        Of the burns of n motors, SI.
    burn : Stretches
        That they are cut from.
    law : Balance
        Of the same motors.
    batch : Columns
        Of the same motors.

    Returns
    -------
    PortExtremes
        (n,) each, SI.

    Notes
    -----
    The port of a grain with a cap is its core's own, also where its fronts have met and a wider ring is left. Model and source
    stand in the head of this file.
    """
    if burn.webs.shape[1] == 1 and burn.row_coefficients[0].ndim == 2:
        return _equal_grains(cuts, burn, law, batch)
    return _any_grains(cuts, burn, law, batch)


# One row of equal grains.


@dataclass(frozen=True)
class EqualGrains:
    """Burns, or pieces of burns, of one row of equal cored grains, SI; (s,) each, or (1,) where shared.

    Kn = constant + linear·x + square·x² at regression x; log p = slope·log Kn + offset; port ratio ((core + 2x)/throat)².
    """

    constant: Array
    linear: Array
    square: Array
    slope: Array
    offset: Array
    core: Array
    throat: Array
    gamma: Array

    def pick(self, index: Index) -> Self:
        """Some of them.

        Parameters
        ----------
        index : Index
            Which.

        Returns
        -------
        EqualGrains
            SI.
        """
        return type(self)(**{item.name: picked(getattr(self, item.name), index) for item in fields(self)})

    def kn(self, x: Array) -> Array:
        """Kn at regressions x. [-]

        Parameters
        ----------
        x : Array
            (s,). [m]

        Returns
        -------
        Array
            (s,). [-]
        """
        return np.asarray(self.constant + x * (self.linear + x * self.square))

    def log_port(self, x: Array) -> Array:
        """log of the effective port-to-throat area ratio at regressions x. [-]

        Parameters
        ----------
        x : Array
            (s,). [m]

        Returns
        -------
        Array
            (s,). [-]
        """
        return np.asarray(2.0 * np.log((self.core + 2.0 * x) / self.throat))

    def flux_turning(self) -> tuple[Array, Array, Array]:
        """Where mass flux turns: a quadratic of the sign of d log(p/J)/dx.

        Returns
        -------
        constant, linear, square : ndarray
            Of slope·Kn'·bore − 4·Kn = c + b·x + a·x², (s,) each. [-], [1/m], [1/m2]
        """
        square = 4.0 * self.square * (self.slope - 1.0)
        linear = 2.0 * self.slope * (self.square * self.core + self.linear) - 4.0 * self.linear
        constant = self.slope * self.linear * self.core - 4.0 * self.constant
        return constant, linear, square

    def head_step(self, x: Array, low: Array, high: Array, may_choke: bool) -> Array:
        """One Newton step on d log(p·h)/dx = 0.

        Parameters
        ----------
        x, low, high : ndarray
            Regression, and between which it is kept, (s,). [m]
        may_choke : bool
            Whether the port may choke on the way.

        Returns
        -------
        ndarray
            (s,). [m]

        Notes
        -----
        Where the derivative bends the wrong way the step goes towards an end: half way, or all the way back where the
        port cannot choke. d log h/d log J = −γM²/(1 + γM²) and −1 where it chokes, M to about 1e-4: it places a maximum.
        """
        kn, growth = self.kn(x), self.linear + 2.0 * x * self.square
        growth /= kn
        widening = 4.0 / (self.core + 2.0 * x)
        log_port = self.log_port(x)
        square = nozzle.rough_port_mach_squared(log_port, self.gamma)
        push = self.gamma * square
        pull = push / (1.0 + push)
        fade = pull / (1.0 + push) * (2.0 + (self.gamma - 1.0) * square) / np.maximum(1.0 - square, 1e-3)
        back = low - x
        if may_choke:
            choked = log_port <= 0.0
            pull, fade, back = np.where(choked, 1.0, pull), np.where(choked, 0.0, fade), 0.5 * back
        rise = self.slope * growth - pull * widening
        bend = self.slope * (2.0 * self.square / kn - growth * growth) + widening * widening * (fade + 0.5 * pull)
        aside = np.where(rise < 0.0, back, 0.5 * (high - x))
        step = np.where(bend < 0.0, -rise / np.minimum(bend, -1e-300), aside)
        return np.asarray(np.minimum(np.maximum(x + step, low), high))


def _equal_grains(cuts: Pieces, burn: Stretches, law: Balance, batch: Columns) -> PortExtremes:
    motor = cuts.motor
    solid = batch.core_diameter[:, 0] <= 0.0
    cores = np.where(solid, _NO_PORT, batch.core_diameter[:, 0])
    slope = np.where(cuts.at_ambient, 0.0, cuts.slope)
    offset = np.where(cuts.at_ambient, law.log_ambient[motor], cuts.offset)
    throat, gamma = batch.throat_diameter[motor], batch.gamma[motor]
    grains = EqualGrains(cuts.constant, cuts.linear, cuts.square, slope, offset, cores[motor], throat, gamma)
    spots = np.stack([cuts.start, _steepest(grains, cuts.start, cuts.end)], axis=1)
    log_pressure, log_ratio = _along(spots, grains)
    log_head = log_pressure + nozzle.log_head_ratio(log_ratio, gamma[:, None])
    flux_pressure, flux_ratio = _along(_flux_candidates(grains, cuts.start, cuts.end), grains)
    blocked = solid & (batch.count[:, 0] > 1.0) & (batch.burning_ends[:, 0] > 0.0)
    ratio = np.where(solid | (burn.webs[:, 0] <= 0.0), np.inf, (cores / batch.throat_diameter) ** 2)
    ratio = np.where(blocked, 0.0, ratio)
    head, flux = np.exp(_top(log_head, cuts, batch)), np.exp(_top(flux_pressure - flux_ratio, cuts, batch))
    flux = np.where(blocked, np.inf, np.where(solid, 0.0, flux / batch.characteristic_velocity))
    return PortExtremes(np.where(blocked, np.inf, head), flux, ratio, ratio)


def _top(values: Array, cuts: Pieces, batch: Columns) -> Array:
    """Largest over the pieces of each motor of values (s, T), (n,)."""
    best = values.max(axis=1)
    size = batch.gamma.size
    if best.size == size and bool(np.all(cuts.motor == np.arange(size))):
        return np.asarray(best)
    top = np.full(size, -np.inf)
    np.maximum.at(top, cuts.motor, best)
    return top


def _along(x: Array, grains: EqualGrains) -> tuple[Array, Array]:
    """log p and log J at regressions x, (s, T)."""
    kn = grains.constant[:, None] + x * (grains.linear[:, None] + x * grains.square[:, None])
    log_pressure = np.log(np.maximum(kn, 1e-300))
    log_pressure *= grains.slope[:, None]
    log_pressure += grains.offset[:, None]
    log_ratio = np.log((grains.core[:, None] + 2.0 * x) / grains.throat[:, None])
    log_ratio *= 2.0
    return log_pressure, log_ratio


def _steepest(grains: EqualGrains, start: Array, end: Array) -> Array:
    """Regression of the highest head pressure after the start of each piece.

    Newton steps on d log(p·h)/dx from the place of the highest pressure, which lies at or behind it. The maximum is
    flat, its value errs by the square of what the place errs, so that few steps do; near a choked port it takes more.
    """
    # The step is that of `physics.ballistics.smooth`, the loop is not: there nothing chokes, two steps do for most burns, and
    # either rule to stop would move the other's last digits or cost it steps.
    x = grain.largest_area_regression(grains.constant, grains.linear, grains.square, start, end)
    before = x
    for _ in range(3):
        before, x = x, grains.head_step(x, start, end, may_choke=True)
    rest = np.nonzero(np.abs(x - before) > 1e-4 * (end - start))[0]
    if rest.size:
        some, low, high = grains.pick(rest), start[rest], end[rest]
        for _ in range(12):
            x[rest] = some.head_step(x[rest], low, high, may_choke=True)
    return x


def _flux_candidates(grains: EqualGrains, start: Array, end: Array) -> Array:
    """Regressions at which p/J can be highest: both ends and the roots of d log(p/J)/dx = 0, a quadratic; (s, 4)."""
    constant, linear, square = grains.flux_turning()
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(linear * linear - 4.0 * square * constant)
        half = -0.5 * (linear + np.where(linear < 0.0, -root, root))
        spots = np.stack([start, end, half / square, constant / half], axis=1)
    first = start[:, None]
    return np.where(np.isnan(spots), first, np.clip(spots, first, end[:, None]))


# Several rows.


@dataclass(frozen=True)
class _Line:
    """The grains along each piece: its pressure law, and its rows (s, R), head end first; a row that is gone adds 0.

    Areas are over the throat area, cores over the throat diameter. `solid` marks a grain that blocks the way.
    """

    cuts: Pieces
    offset: Array
    slope: Array
    gamma: Array
    throat: Array
    constant: Array
    linear: Array
    square: Array
    core: Array
    solid: Mask
    blocked: bool

    def pick(self, index: Index) -> _Line:
        """Some of the pieces."""
        arrays = {item.name: getattr(self, item.name)[index] for item in fields(self)[1:-1]}
        return replace(self, cuts=self.cuts.pick(index), **arrays)


def _line(cuts: Pieces, burn: Stretches, law: Balance, batch: Columns) -> _Line:
    motor = cuts.motor
    webs = burn.webs[motor]
    alive = (webs >= burn.end[motor, cuts.stretch][:, None]) & (webs > 0.0)
    throat = batch.throat_diameter[motor]
    area = 0.25 * np.pi * (throat * throat)[:, None]
    constant, linear, square = (np.where(alive, part / area, 0.0) for part in burn.of_rows(motor, cuts.stretch))
    core = batch.core_diameter[motor]
    ahead = np.cumsum(alive, axis=1) > 1
    solid = alive & (core <= 0.0) & (ahead | (batch.count[motor] > 1.0))
    return _Line(
        cuts=cuts,
        offset=np.where(cuts.at_ambient, law.log_ambient[motor], cuts.offset),
        slope=np.where(cuts.at_ambient, 0.0, cuts.slope),
        gamma=batch.gamma[motor],
        throat=throat,
        constant=constant,
        linear=linear,
        square=square,
        core=np.where(alive & (core > 0.0), core, _NO_PORT) / throat[:, None],
        solid=solid,
        blocked=bool(solid.any()),
    )


def pressure_and_port(x: Array, cuts: Pieces, burn: Stretches, law: Balance, batch: Columns) -> tuple[Array, Array]:
    """Chamber pressure and effective port ratio along pieces of burns.

    Parameters
    ----------
    x : ndarray
        Regressions, (s, T). [m]
    cuts : Pieces
        The s pieces, SI.
    burn : Stretches
        That they are cut from.
    law : Balance
        Of the same motors.
    batch : Columns
        Of the same motors.

    Returns
    -------
    log_pressure, log_ratio : ndarray
        ln p with p in Pa, and ln J, infinite without a port, (s, T). [-]
    """
    log_pressure, log_ratio = _rows_along(x, _line(cuts, burn, law, batch))
    return log_pressure, np.where(log_ratio > _PORTLESS, np.inf, log_ratio)


_PORTLESS = float(2.0 * np.log(1e6))
"""log J beyond which there is no port."""


def _rows_along(x: Array, line: _Line) -> tuple[Array, Array]:
    """log p and log J: 1/J is the largest over rows of the flow's share at the row's aft end, A_t over port area."""
    carried, crowding = np.zeros_like(x), np.zeros_like(x)
    opened = 2.0 * x / line.throat[:, None]
    for row in range(line.core.shape[1]):
        constant, linear, square = (part[:, row, None] for part in (line.constant, line.linear, line.square))
        carried = carried + (constant + x * (linear + x * square))
        bore = line.core[:, row, None] + opened
        here = carried / (bore * bore)
        if line.blocked:
            here = np.where(line.solid[:, row, None], np.inf, here)
        crowding = np.maximum(crowding, here)
    log_kn = np.log(np.maximum(carried, 1e-300))
    with np.errstate(divide="ignore"):
        return line.slope[:, None] * log_kn + line.offset[:, None], log_kn - np.log(crowding)


def _any_grains(cuts: Pieces, burn: Stretches, law: Balance, batch: Columns) -> PortExtremes:
    """Sample each piece, and refine a maximum inside one that may be the motor's."""
    line = _line(cuts, burn, law, batch)
    x = cuts.start[:, None] + (cuts.end - cuts.start)[:, None] * _SAMPLES
    log_pressure, log_ratio = _rows_along(x, line)
    rough = log_pressure + nozzle.log_head_ratio(log_ratio, line.gamma[:, None], steps=1)
    head = _highest(rough, _head, x, line, batch)
    flux = np.exp(_highest(log_pressure - log_ratio, _flux, x, line, batch)) / batch.characteristic_velocity
    smallest = np.exp(-_highest(-log_ratio, _crowd, x, line, batch))
    initial = np.full(batch.gamma.size, np.inf)
    firsts = np.nonzero(cuts.start == 0.0)[0]
    initial[cuts.motor[firsts]] = np.exp(log_ratio[firsts, 0])
    portless = np.exp(_PORTLESS)
    return PortExtremes(
        np.exp(head),
        np.where(smallest > portless, 0.0, flux),
        np.where(smallest > portless, np.inf, smallest),
        np.where(initial > portless, np.inf, initial),
    )


_Measure = Callable[[Array, Array, Array], Array]


def _head(log_pressure: Array, log_ratio: Array, gamma: Array) -> Array:
    return log_pressure + nozzle.log_head_ratio(log_ratio, gamma)


def _flux(log_pressure: Array, log_ratio: Array, gamma: Array) -> Array:
    return log_pressure - log_ratio


def _crowd(log_pressure: Array, log_ratio: Array, gamma: Array) -> Array:
    return -log_ratio


def _highest(samples: Array, measure: _Measure, x: Array, line: _Line, batch: Columns) -> Array:
    """Largest of a measure over each motor's burn, (n,), from its samples (s, T), which may be rough."""
    best = samples.max(axis=1)
    near = np.nonzero(best >= _top(best[:, None], line.cuts, batch)[line.cuts.motor] - _NEAR)[0]
    some, place = line.pick(near), np.argmax(samples[near], axis=1)[:, None]

    def at(spots: Array, which: _Line) -> Array:
        return measure(*_rows_along(spots, which), which.gamma[:, None])

    exact = at(np.take_along_axis(x[near], place, axis=1), some)[:, 0]
    for crest in (place, _other_crest(samples[near], place)):
        inner = np.nonzero((crest[:, 0] > 0) & (crest[:, 0] < x.shape[1] - 1) & np.isfinite(exact))[0]
        if inner.size:
            spots = np.take_along_axis(x[near[inner]], crest[inner] + np.array([-1, 0, 1]), axis=1)
            exact[inner] = np.maximum(exact[inner], _refined(spots, some.pick(inner), at))
    return _top(exact[:, None], some.cuts, batch)


def _other_crest(samples: Array, highest: Index) -> Index:
    """Place (s, 1) of the highest sample that tops both its neighbours, beside the highest of all; 0 where there is none.

    At ignition a narrow port may press as much as Kn at its top does: between the samples that one may be the higher.
    """
    middle = samples[:, 1:-1]
    tops = (middle >= samples[:, :-2]) & (middle >= samples[:, 2:])
    tops &= np.arange(1, samples.shape[1] - 1) != highest
    tops &= middle > samples.max(axis=1)[:, None] - _NEAR
    place = np.argmax(np.where(tops, middle, -np.inf), axis=1) + 1
    return np.where(tops.any(axis=1), place, 0)[:, None]


_NEAR = 0.02
"""A piece whose samples stay this far (in the logarithm) below another's cannot hold the maximum."""


def _refined(xs: Array, line: _Line, at: Callable[[Array, _Line], Array]) -> Array:
    """Largest value near the middle one of three regressions (s, 3).

    Parabolas first; where another row takes over as the narrowest the maximum may be a kink, and halving closes in.
    """
    ys = at(xs, line)
    before = ys[:, 1]
    for _ in range(3):
        guess = _vertex(xs, ys)
        before = ys[:, 1]
        xs, ys = _narrowed(xs, ys, guess, at(guess[:, None], line)[:, 0])
    best = ys[:, 1].copy()
    rest = np.nonzero(best - before > 1e-7)[0]
    if rest.size:
        some, xs, ys = line.pick(rest), xs[rest], ys[rest]
        for _ in range(14):
            left = xs[:, 1] - xs[:, 0] > xs[:, 2] - xs[:, 1]
            guess = 0.5 * (xs[:, 1] + np.where(left, xs[:, 0], xs[:, 2]))
            xs, ys = _narrowed(xs, ys, guess, at(guess[:, None], some)[:, 0])
        best[rest] = ys[:, 1]
    return best


def _vertex(xs: Array, ys: Array) -> Array:
    """Abscissa of the top of the parabola through three points, kept between them."""
    left, right = xs[:, 1] - xs[:, 0], xs[:, 2] - xs[:, 1]
    rise, fall = (ys[:, 1] - ys[:, 0]) * right, (ys[:, 1] - ys[:, 2]) * left
    with np.errstate(divide="ignore", invalid="ignore"):
        step = 0.5 * (rise * right - fall * left) / (rise + fall)
    step = np.where(np.isfinite(step), step, 0.0)
    return np.asarray(np.clip(xs[:, 1] + step, xs[:, 0], xs[:, 2]))


def _narrowed(xs: Array, ys: Array, guess: Array, value: Array) -> tuple[Array, Array]:
    """The three points around the larger of the old top and the new one."""
    higher, right = value > ys[:, 1], guess > xs[:, 1]
    points = np.stack([xs[:, 0], np.minimum(guess, xs[:, 1]), np.maximum(guess, xs[:, 1]), xs[:, 2]], axis=1)
    values = np.stack([ys[:, 0], np.where(right, ys[:, 1], value), np.where(right, value, ys[:, 1]), ys[:, 2]], axis=1)
    centre = np.where(higher == right, 2, 1)[:, None] + np.array([-1, 0, 1])
    return np.take_along_axis(points, centre, axis=1), np.take_along_axis(values, centre, axis=1)
