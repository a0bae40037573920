"""The burn of each motor cut into pieces on which everything is smooth.

Owns the columns that the steady kernel reads, the stretches between grain burnouts, and the pieces that the breaks of
the rate law, the nozzle and the 10 % points cut them into. On a stretch the total burning area is one quadratic in the
regression, so every break is a root of a quadratic in closed form. Source: derived here. Imports propellant, grain,
nozzle and motors.

Shapes: n motors of a block, R rows of grains (as many stretches at most), s pieces of all motors in one list.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from physics.ballistics import grain, nozzle
from physics.ballistics.propellant import RateLaw, Switches, rate_coefficients, segment_table, switch_kn
from physics.motors import Array, Grains, Motors

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Columns:
    """What the steady kernel reads of a batch, SI: (n,) each, the rate law (n, K), the grains (n, R)."""

    density: Array
    characteristic_velocity: Array
    gamma: Array
    log_coefficient: Array
    exponent: Array
    log_bounds: Array
    characterised_from: Array
    characterised_to: Array
    throat_diameter: Array
    expansion_ratio: Array
    efficiency: Array
    ambient_pressure: Array
    count: Array
    length: Array
    outer_diameter: Array
    core_diameter: Array
    burning_ends: Array

    def block(self, some: slice | Index) -> Columns:
        """Some of the motors, as views where `some` is a slice; the shared columns of a lean batch stay as they are."""
        size = self.throat_diameter.shape[0]
        leaves = {item.name: getattr(self, item.name) for item in fields(self)}
        return Columns(**{name: leaf[some] if leaf.shape[0] == size else leaf for name, leaf in leaves.items()})

    def lean(self) -> Columns:
        """The same with a column that all motors share cut to its one entry; the throats keep theirs.

        What follows from shared columns alone is then worked out once, and the figures are the same bit for bit.
        """
        leaves = {item.name: getattr(self, item.name) for item in fields(self)}
        shared = {name: leaf[:1] for name, leaf in leaves.items() if leaf.strides[0] == 0}
        return Columns(**leaves | shared | {"throat_diameter": self.throat_diameter})

    @property
    def grains(self) -> Grains:
        """The rows of grains."""
        return Grains(self.count, self.length, self.outer_diameter, self.core_diameter, self.burning_ends)

    @property
    def throat_area(self) -> Array:
        """Throat area. [m2]"""
        return np.asarray(0.25 * np.pi * self.throat_diameter * self.throat_diameter)

    @property
    def log_impedance(self) -> Array:
        """log(ρ·c*), SI, of Kn = p/(ρ·c*·r)."""
        return np.asarray(np.log(self.density * self.characteristic_velocity))


_ROWS = ("count", "length", "outer_diameter", "core_diameter", "burning_ends")
"""What burns of the rows of grains; which of its faces is bare changes no area."""


def picked(leaf: Array, index: Index) -> Array:
    """Entries of a leaf (n,) at `index`, SI; the one entry of a leaf that all motors share stays as it is."""
    return leaf if leaf.size == 1 else leaf[index]


def columns(motors: Motors, temperature: Array | None = None) -> Columns:
    """The columns of a batch at propellant `temperature` [K], (n,) or scalar; the ambient temperature by default."""
    propellant, hole = motors.propellant, motors.nozzle
    law = rate_coefficients(propellant, motors.ambient.temperature if temperature is None else temperature)
    grains = motors.grain
    rows = np.broadcast_shapes(*(np.atleast_2d(getattr(grains, name)).shape for name in _ROWS))[1]
    single = {
        "density": propellant.density,
        "characteristic_velocity": propellant.characteristic_velocity,
        "gamma": propellant.gamma,
        "characterised_from": np.atleast_2d(propellant.rate_from)[:, 0],
        "characterised_to": np.atleast_2d(propellant.rate_to)[:, -1],
        "throat_diameter": hole.throat_diameter,
        "expansion_ratio": (hole.exit_diameter / hole.throat_diameter) ** 2,
        "efficiency": hole.efficiency * nozzle.divergence_factor(hole.half_angle),
        "ambient_pressure": motors.ambient.pressure,
    }
    return Columns(
        **{name: _tall(leaf, motors.size) for name, leaf in single.items()},
        log_coefficient=_wide(law.log_coefficient, motors.size, law.rows),
        exponent=_wide(law.exponent, motors.size, law.rows),
        log_bounds=_wide(law.log_bounds, motors.size, law.rows - 1),
        **{name: _wide(getattr(grains, name), motors.size, rows) for name in _ROWS},
    )


def _tall(leaf: Array, size: int) -> Array:
    return np.broadcast_to(np.asarray(leaf, dtype=float), (size,))


def _wide(leaf: Array, size: int, rows: int) -> Array:
    leaf = np.asarray(leaf, dtype=float)
    return np.broadcast_to(leaf, (size, rows))


@dataclass(frozen=True)
class Stretches:
    """The burn between grain burnouts, (n, R) each: Kn = constant + linear·x + square·x² from `start` to `end`.

    A stretch of no width is absent. `kn_start`, `kn_end`, `kn_top` are Kn at its ends and its largest, at `top`.
    """

    start: Array
    end: Array
    constant: Array
    linear: Array
    square: Array
    top: Array
    kn_start: Array
    kn_end: Array
    kn_top: Array
    webs: Array
    row_coefficients: tuple[Array, Array, Array]

    @property
    def present(self) -> Mask:
        """Which stretches have a width."""
        return np.asarray(self.end > self.start)


def stretches(batch: Columns) -> Stretches:
    """Cut the burn of every motor at the burnouts of its rows."""
    webs = grain.web(batch.grains)
    by_row = grain.area_coefficients(batch.grains)
    per_throat = 1.0 / batch.throat_area[:, None]
    if webs.shape[1] == 1:
        end, start = webs, np.zeros_like(webs)
        constant, linear, square = (part * per_throat for part in by_row)
    else:
        end = np.sort(webs, axis=1)
        start = np.concatenate([np.zeros_like(end[:, :1]), end[:, :-1]], axis=1)
        alive = (webs[:, None, :] >= end[:, :, None]) & (webs[:, None, :] > 0.0)
        constant, linear, square = (np.where(alive, part[:, None, :], 0.0).sum(axis=2) * per_throat for part in by_row)
    top = grain.largest_area_regression(constant, linear, square, start, end)
    kn_start, kn_end, kn_top = (np.maximum(constant + x * (linear + x * square), 0.0) for x in (start, end, top))
    return Stretches(start, end, constant, linear, square, top, kn_start, kn_end, kn_top, webs, by_row)


@dataclass(frozen=True)
class Balance:
    """The steady pressure of every motor as a function of Kn, with the floor at ambient pressure.

    log p = slope·log Kn + offset on each of the 2K − 1 segments, `edges` (n, 2K − 2) their ascending limits in Kn;
    `floor` the Kn below which the balance would lie under ambient pressure, where the chamber stays at ambient.
    """

    slope: Array
    offset: Array
    edges: Array
    floor: Array
    log_ambient: Array
    law: RateLaw
    switches: Switches
    log_impedance: Array

    def log_pressure(self, kn: Array) -> Array:
        """log of chamber pressure [Pa] at Kn, (n, T)."""
        segment = np.zeros(kn.shape, dtype=np.intp)
        for column in range(self.edges.shape[1]):
            segment += kn > self.edges[:, column, None]
        with np.errstate(divide="ignore"):
            log_kn = np.log(kn)
        if self.slope.shape[1] == 1:
            log_pressure = self.slope * log_kn + self.offset
        else:
            slope = np.take_along_axis(self.slope, segment, axis=1)
            with np.errstate(invalid="ignore"):
                rising = np.where(slope == 0.0, 0.0, slope * log_kn)
            log_pressure = rising + np.take_along_axis(self.offset, segment, axis=1)
        return np.asarray(np.maximum(log_pressure, self.log_ambient[:, None]))

    def kn_at(self, pressure: Array, motor: Index) -> Array:
        """Kn [-] at which each `motor` (m,) first reaches `pressure` [Pa], (m,): the running maximum of κ there."""
        with np.errstate(divide="ignore"):
            log_pressure = np.log(pressure)
        row = np.zeros(pressure.shape, dtype=np.intp)
        for column in range(self.law.rows - 1):
            row += log_pressure > self.law.log_bounds[motor, column]
        log_kappa = (1.0 - self.law.exponent[motor, row]) * log_pressure - self.law.log_coefficient[motor, row]
        log_kappa -= self.log_impedance[motor]
        if self.law.rows > 1:
            before = np.where(row > 0, self.switches.log_upper[motor, np.maximum(row - 1, 0)], -np.inf)
            log_kappa = np.maximum(log_kappa, before)
        return np.asarray(np.exp(log_kappa))


def balance(batch: Columns) -> Balance:
    """The pressure law of every motor."""
    law = RateLaw(batch.log_coefficient, batch.exponent, batch.log_bounds)
    switches = switch_kn(law, batch.log_impedance)
    slope, offset = segment_table(law, batch.log_impedance)
    edges = np.empty((slope.shape[0], slope.shape[1] - 1))
    edges[:, ::2], edges[:, 1::2] = np.exp(switches.log_upper[:, :-1]), np.exp(switches.log_lower[:, 1:])
    with np.errstate(divide="ignore"):
        log_ambient = np.log(batch.ambient_pressure)
    half = Balance(slope, offset, edges, np.empty(0), log_ambient, law, switches, batch.log_impedance)
    floor = half.kn_at(batch.ambient_pressure, np.arange(batch.gamma.size))
    return Balance(slope, offset, edges, floor, log_ambient, law, switches, batch.log_impedance)


@dataclass(frozen=True)
class Pieces:
    """Smooth pieces of the burns of all motors of a block, (s,) each; `motor` and `stretch` index what each belongs to.

    Kn = constant + linear·x + square·x² on start..end; log p = slope·log Kn + offset, or ambient where `at_ambient`.
    """

    motor: Index
    stretch: Index
    start: Array
    end: Array
    constant: Array
    linear: Array
    square: Array
    slope: Array
    offset: Array
    at_ambient: Mask

    def pick(self, mask: Mask | Index) -> Pieces:
        """Some of the pieces."""
        return Pieces(**{item.name: getattr(self, item.name)[mask] for item in fields(self)})


def pieces(burn: Stretches, law: Balance, thresholds: Array) -> Pieces:
    """Cut the stretches where Kn crosses an edge of the law, its floor, or one of `thresholds` (n, T).

    Pieces come in order of regression for each motor.
    """
    motor, stretch = np.nonzero(burn.present)
    limits = np.concatenate([law.edges, law.floor[:, None], thresholds], axis=1)[motor]
    shape = (motor, stretch)
    low = np.minimum(burn.kn_start[shape], burn.kn_end[shape])
    crossed = (limits > low[:, None]) & (limits < burn.kn_top[shape][:, None])
    start, end = burn.start[shape], burn.end[shape]
    cut = np.nonzero(crossed.any(axis=1))[0]
    if cut.size:
        inside = np.where(crossed[cut], limits[cut], np.nan)
        constant, linear, square = (part[shape][cut] for part in (burn.constant, burn.linear, burn.square))
        marks = _breaks(inside, constant, linear, square, start[cut], end[cut])
        order, start, end = _spliced(cut, marks, start, end)
        motor, stretch = motor[order], stretch[order]
    return _with_law(motor, stretch, start, end, burn, law)


def _breaks(inside: Array, constant: Array, linear: Array, square: Array, start: Array, end: Array) -> Array:
    """Ascending ends of the pieces (c, 2T + 2): both roots of Kn(x) = limit, the ends of the stretch around them."""
    shifted = constant[:, None] - inside
    linear, square = linear[:, None], square[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(np.maximum(linear * linear - 4.0 * square * shifted, 0.0))
        half = -0.5 * (linear + np.where(linear < 0.0, -root, root))
        roots = np.concatenate([half / square, shifted / half], axis=1)
    first, last = start[:, None], end[:, None]
    outside = ~((roots > first) & (roots < last))
    roots = np.where(outside, first, roots)
    return np.sort(np.concatenate([first, roots, last], axis=1), axis=1)


def _spliced(cut: Index, marks: Array, start: Array, end: Array) -> tuple[Index, Array, Array]:
    """Replace the stretches `cut` by their pieces, keeping the order; returns source index, starts and ends."""
    piece_start, piece_end = marks[:, :-1], marks[:, 1:]
    wide = piece_end > piece_start
    which, _ = np.nonzero(wide)
    kept = np.ones(start.size, dtype=bool)
    kept[cut] = False
    whole = np.flatnonzero(kept)
    source = np.concatenate([whole, cut[which]])
    starts = np.concatenate([start[whole], piece_start[wide]])
    ends = np.concatenate([end[whole], piece_end[wide]])
    order = np.argsort(source, kind="stable")
    return source[order], starts[order], ends[order]


def _with_law(motor: Index, stretch: Index, start: Array, end: Array, burn: Stretches, law: Balance) -> Pieces:
    constant, linear, square = (part[motor, stretch] for part in (burn.constant, burn.linear, burn.square))
    middle = 0.5 * (start + end)
    kn = constant + middle * (linear + middle * square)
    if law.slope.shape[1] == 1:
        slope, offset = law.slope[motor, 0], law.offset[motor, 0]
    else:
        segment = (kn[:, None] > law.edges[motor]).sum(axis=1)
        slope, offset = law.slope[motor, segment], law.offset[motor, segment]
    return Pieces(motor, stretch, start, end, constant, linear, square, slope, offset, kn <= law.floor[motor])
