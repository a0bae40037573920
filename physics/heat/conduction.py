"""Transient conduction through a layered wall, many walls at once.

Owns the one-dimensional finite-volume solver that `physics.heat.walls` runs for every motor and place: an inner layer
(the liner) on an outer layer (the case), heated from the inside, cooled from the outside. The wall is taken as
plane, which is on the safe side for a tube heated from within: the tube has more metal behind each square metre of
bore than the plane wall has.

Method: cell-centred finite volumes, stepped in time by TR-BDF2, a one-step pair of implicit solves that is second
order and damps a sudden change of the boundary at once (the Crank-Nicolson scheme alone rings on it).
Source of the scheme: R. E. Bank et al., "Transient simulation of silicon devices and circuits", IEEE Trans. Electron
Devices 32(10), 1985; M. E. Hosea and L. F. Shampine, "Analysis and implementation of TR-BDF2", Appl. Numer. Math. 20,
1996 (remembered).

Imports numpy and physics.motors (the Array type) only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.motors import Array

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018

_GAMMA = 2.0 - np.sqrt(2.0)
_IMPLICIT = _GAMMA / 2.0  # the same weight in both stages, so that one factored matrix serves both
_FROM_STAGE = 1.0 / (_GAMMA * (2.0 - _GAMMA))
_FROM_START = (1.0 - _GAMMA) ** 2 / (_GAMMA * (2.0 - _GAMMA))
_THINNEST = 1e-3  # of its first thickness: what is kept of a consumed layer, so that the matrix stays regular


@dataclass(frozen=True)
class Layer:
    """One layer: thickness [m], conductivity [W/(m K)], density [kg/m3], specific_heat [J/(kg K)], each (n,)."""

    thickness: Array
    conductivity: Array
    density: Array
    specific_heat: Array
    cells: int

    @property
    def diffusivity(self) -> Array:
        """Thermal diffusivity. [m2/s]"""
        return np.asarray(self.conductivity / (self.density * self.specific_heat))


@dataclass(frozen=True)
class Face:
    """What acts on one face of the wall in every step; leaves broadcast to (steps, n).

    The heat that enters is coefficient·(temperature − surface) + emissivity·σ·(temperature⁴ − surface⁴) + flux;
    coefficient in W/(m2 K), temperature in K, flux in W/m2. All zero is an insulated face; a very large coefficient
    (1e9 and up) holds the surface at `temperature`. `wall_exponent` scales the coefficient with the surface
    temperature, (½ Ts/T + ½)^−exponent, the property correction that the Bartz relation carries (0: none).
    """

    coefficient: Array | float = 0.0
    temperature: Array | float = 0.0
    emissivity: Array | float = 0.0
    flux: Array | float = 0.0
    wall_exponent: Array | float = 0.0


INSULATED = Face()


@dataclass(frozen=True)
class Thermal:
    """Temperatures [K] at each instant, (steps + 1, n), and what is left of the inner layer [m].

    `surface` is the heated face, `interface` lies between the two layers (the back face, where there is one layer
    only), `back` is the outer face, `mean` the mean over the outermost layer. `final` holds the cell temperatures
    at the end, (cells, n), from which a later march can go on.
    """

    time: Array
    surface: Array
    interface: Array
    back: Array
    mean: Array
    thickness: Array
    final: Array


class Tridiagonal:
    """Many tridiagonal matrices eliminated once, to be solved for several right-hand sides.

    Unknowns along the first axis, systems along the rest. `lower[0]` and `upper[-1]` are not used. Stable without pivoting
    for diagonally dominant systems, which implicit conduction always gives. Source: the Thomas algorithm, any text on
    numerical analysis.

    >>> system = Tridiagonal(np.array([[0.0], [1.0]]), np.array([[2.0], [3.0]]), np.array([[1.0], [0.0]]))
    >>> system.solve(np.array([[4.0], [7.0]])).ravel()
    array([1., 2.])
    """

    def __init__(self, lower: Array, diagonal: Array, upper: Array) -> None:
        self.inverse: Array = np.empty(diagonal.shape)
        self.upper: Array = np.empty(diagonal.shape)
        pivot = np.array(diagonal[0])
        for row in range(diagonal.shape[0]):
            if row:
                np.multiply(lower[row], self.upper[row - 1], out=pivot)
                np.subtract(diagonal[row], pivot, out=pivot)
            np.divide(1.0, pivot, out=self.inverse[row])
            np.multiply(upper[row], self.inverse[row], out=self.upper[row])
        self.lower = lower * self.inverse

    def solve(self, right: Array) -> Array:
        """The unknowns for one right-hand side.

        Parameters
        ----------
        right : Array
            The right-hand side, in its own unit; unknowns along the first axis, systems along the rest.

        Returns
        -------
        Array
            The unknowns, in the unit of `right` over that of the diagonal; [K] in conduction.
        """
        solution: Array = right * self.inverse
        part = np.empty_like(solution[0])
        for row in range(1, solution.shape[0]):
            np.multiply(self.lower[row], solution[row - 1], out=part)
            solution[row] -= part
        for row in range(solution.shape[0] - 2, -1, -1):
            np.multiply(self.upper[row], solution[row + 1], out=part)
            solution[row] -= part
        return solution


def march(
    layers: tuple[Layer, ...],
    start: Array | float,
    time: Array,
    inner: Face,
    outer: Face = INSULATED,
    recession: Array | float = 0.0,
) -> Thermal:
    """Temperature history of layered plane walls.

    Parameters
    ----------
    layers : tuple[Layer, ...]
        From the heated face outward.
    start : Array or float
        Temperature at the first instant [K], one number, (n,) or (cells, n).
    time : Array
        Instants [s], (steps + 1,) or (steps + 1, n), each wall its own.
    inner : Face
        What acts on the heated face, constant within a step.
    outer : Face, optional
        What acts on the other face.
    recession : Array or float, optional
        Rate at which the inner layer is worn away from the heated side [m/s], (steps, n).

    Returns
    -------
    Thermal
        The temperatures [K].

    Raises
    ------
    ValueError
        Where time runs backwards.

    Notes
    -----
    `layers` from the heated face outward; `start` the temperature at the first instant [K], one number, (n,) or (cells,
    n); `time` the instants [s], (steps + 1,) or (steps + 1, n), each wall its own; `inner` and `outer` what acts on the
    faces, constant within a step; `recession` the rate [m/s] at which the inner layer is worn away from the heated
    side, (steps, n): what is worn off leaves with the heat it holds, and no heat is credited for its decomposition. A
    layer that is consumed stays as a film of a thousandth of its thickness, too thin to protect. Second order in time
    and in cell size.
    """
    time = np.asarray(time, dtype=float)
    if np.any(np.diff(time, axis=0) < 0.0):
        raise ValueError("time must not run backwards")
    wall = _Wall(layers, start, time)
    drive_in, drive_out = _Drive(inner, wall), _Drive(outer, wall)
    rates = np.broadcast_to(np.asarray(recession, dtype=float), (wall.steps, wall.size))
    for step in range(wall.steps):
        wall.advance(step, drive_in, drive_out)
        if rates[step].any():
            wall.wear(rates[step] * wall.interval(step))
        wall.record(step + 1)
    return wall.history()


class _Wall:
    """The walls being marched: cell temperatures, cell sizes and conductances, and what has been recorded."""

    def __init__(self, layers: tuple[Layer, ...], start: Array | float, time: Array) -> None:
        leaves = [leaf for layer in layers for leaf in (layer.thickness, layer.conductivity, layer.density)]
        self.size = int(np.broadcast_shapes(*(np.shape(leaf) for leaf in leaves), np.shape(start)[-1:], time.shape[1:], (1,))[0])
        self.layers = layers
        self.time = time if time.ndim == 2 else time[:, None]
        self.steps = self.time.shape[0] - 1
        self.counts = [layer.cells for layer in layers]
        self.edges = np.concatenate([[0], np.cumsum(self.counts)])
        cells = int(self.edges[-1])
        self.temperature = np.array(np.broadcast_to(np.asarray(start, dtype=float), (cells, self.size)))
        self.first = np.array(np.broadcast_to(layers[0].thickness, (self.size,)), dtype=float)
        self.left = self.first.copy()
        self._measure()
        shape = (self.steps + 1, self.size)
        self.surface, self.interface = np.empty(shape), np.empty(shape)
        self.back, self.mean, self.thickness = np.empty(shape), np.empty(shape), np.empty(shape)
        self.heat_in = np.zeros(self.size)
        self.heat_out = np.zeros(self.size)
        self.record(0)

    def _measure(self) -> None:
        """Cell sizes, capacities and conductances; again after the inner layer has worn."""
        sizes, half, capacity = [], [], []
        for index, layer in enumerate(self.layers):
            thickness = self.left if index == 0 else np.broadcast_to(layer.thickness, (self.size,))
            size = thickness / layer.cells
            sizes.append(np.broadcast_to(size, (layer.cells, self.size)))
            half.append(np.broadcast_to(0.5 * size / layer.conductivity, (layer.cells, self.size)))
            capacity.append(np.broadcast_to(size * layer.density * layer.specific_heat, (layer.cells, self.size)))
        self.half = np.concatenate(half)  # resistance from a cell's centre to its face, m2 K/W
        heat = np.concatenate(capacity)  # J/(m2 K)
        conductance = 1.0 / (self.half[:-1] + self.half[1:])
        # Exchange with the cell before and behind, per capacity [1/s]; none beyond the faces.
        self.before, self.behind = np.zeros_like(heat), np.zeros_like(heat)
        np.divide(conductance, heat[1:], out=self.before[1:])
        np.divide(conductance, heat[:-1], out=self.behind[:-1])
        self.exchange = self.before + self.behind
        self.first_capacity, self.last_capacity = heat[0], heat[-1]

    def interval(self, step: int) -> Array:
        return np.broadcast_to(self.time[step + 1] - self.time[step], (self.size,))

    def advance(self, step: int, inner: _Drive, outer: _Drive) -> None:
        """One TR-BDF2 step of conduction; with M = 1 + w·K both stages solve with the same M."""
        weight = _IMPLICIT * self.interval(step)
        gain_in, load_in = inner.linear(step, self.surface[step], self.half[0])
        gain_out, load_out = outer.linear(step, self.back[step], self.half[-1])
        diagonal = 1.0 + weight * self.exchange
        diagonal[0] += weight * gain_in / self.first_capacity
        diagonal[-1] += weight * gain_out / self.last_capacity
        factored = Tridiagonal(-weight * self.before, diagonal, -weight * self.behind)
        source_in, source_out = weight * load_in / self.first_capacity, weight * load_out / self.last_capacity

        # Trapezoidal part: M·T* = (2 − M)·T + 2·w·b, so T* = M⁻¹·2(T + w·b) − T.
        start = self.temperature
        right = 2.0 * start
        right[0] += 2.0 * source_in
        right[-1] += 2.0 * source_out
        stage = factored.solve(right)
        stage -= start

        stage *= _FROM_STAGE
        stage -= _FROM_START * start
        stage[0] += source_in
        stage[-1] += source_out
        self.temperature = factored.solve(stage)
        self.heat_in = load_in - gain_in * self.temperature[0]
        self.heat_out = load_out - gain_out * self.temperature[-1]

    def wear(self, depth: Array) -> None:
        """Take `depth` off the heated side; the cells of the layer shrink together towards its back."""
        count = self.counts[0]
        left = np.maximum(self.left - depth, _THINNEST * self.first)
        shrink = 1.0 - left / self.left
        # A cell's new centre lies further in, part of the way to the next cell's old centre.
        shift = (count - 0.5 - np.arange(count))[:, None] * shrink
        if count > 1:
            shift = np.minimum(shift, np.arange(count - 1, -1, -1.0)[:, None])
            place = np.arange(count)[:, None] + shift
            low = np.minimum(place.astype(int), count - 2)
            part = place - low
            inner = self.temperature[:count]
            self.temperature[:count] = (
                np.take_along_axis(inner, low, 0) * (1.0 - part) + np.take_along_axis(inner, low + 1, 0) * part
            )
        self.left = left
        self._measure()

    def record(self, index: int) -> None:
        inner = int(self.edges[1])
        self.surface[index] = self.temperature[0] + self.heat_in * self.half[0]
        self.back[index] = self.temperature[-1] + self.heat_out * self.half[-1]
        if len(self.layers) > 1:
            near, far = 1.0 / self.half[inner - 1], 1.0 / self.half[inner]
            self.interface[index] = (near * self.temperature[inner - 1] + far * self.temperature[inner]) / (near + far)
        else:
            self.interface[index] = self.back[index]
        self.mean[index] = self.temperature[self.edges[-2] :].mean(axis=0)
        self.thickness[index] = self.left

    def history(self) -> Thermal:
        time = np.array(np.broadcast_to(self.time, self.surface.shape))
        return Thermal(time, self.surface, self.interface, self.back, self.mean, self.thickness, self.temperature)


class _Drive:
    """A face's heat input as load − gain·(temperature of the first cell)."""

    def __init__(self, face: Face, wall: _Wall) -> None:
        shape = (wall.steps, wall.size)
        self.coefficient, self.temperature, self.emissivity, self.flux, self.wall_exponent = (
            np.broadcast_to(np.asarray(leaf, dtype=float), shape)
            for leaf in (face.coefficient, face.temperature, face.emissivity, face.flux, face.wall_exponent)
        )

    def linear(self, step: int, surface: Array, half: Array) -> tuple[Array, Array]:
        """Gain [W/(m2 K)] and load [W/m2] seen from the first cell's centre, with the surface of the last step."""
        gas = self.temperature[step]
        coefficient = self.coefficient[step]
        if self.wall_exponent[step].any():
            ratio = np.where(gas > 0.0, surface / np.where(gas > 0.0, gas, 1.0), 1.0)
            coefficient = coefficient * (0.5 * ratio + 0.5) ** -self.wall_exponent[step]
        if self.emissivity[step].any():
            mirror = (gas**2 + surface**2) * (gas + surface)
            coefficient = coefficient + self.emissivity[step] * STEFAN_BOLTZMANN * mirror
        through = 1.0 / (1.0 + coefficient * half)
        return coefficient * through, (coefficient * gas + self.flux[step]) * through


def first_crossing(time: Array, value: Array, level: Array | float) -> Array:
    """First time at which `value` (steps + 1, n) reaches `level` from below; inf where it never does.

    Parameters
    ----------
    time : Array
        Instants, (steps + 1, n), in their own unit.
    value : Array
        Like `time`, in its own unit.
    level : Array or float
        One number, (n,) or like `value`.

    Returns
    -------
    Array
        In the unit of `time`, (n,); inf where never.

    Notes
    -----
    `level` is one number, (n,) or like `value`. Between instants the difference is taken as linear.

    Examples
    --------
    >>> first_crossing(np.array([[0.0], [1.0], [2.0]]), np.array([[0.0], [1.0], [3.0]]), 2.0)
    array([1.5])
    """
    difference = np.asarray(value - level)
    reached = difference >= 0.0
    index = np.argmax(reached, axis=0)
    ever = reached.any(axis=0)
    before = np.maximum(index - 1, 0)
    columns = np.arange(difference.shape[1])
    low, high = difference[before, columns], difference[index, columns]
    rise = high - low
    part = np.where(rise > 0.0, -low / np.where(rise > 0.0, rise, 1.0), 1.0)
    part = np.where(index == 0, 1.0, np.clip(part, 0.0, 1.0))
    instants = np.broadcast_to(time, difference.shape)
    crossing = instants[before, columns] + part * (instants[index, columns] - instants[before, columns])
    return np.where(ever, crossing, np.inf)
