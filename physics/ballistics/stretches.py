"""The burn of each motor cut into pieces on which everything is smooth.

Owns the columns that the steady kernel reads, the stretches between grain burnouts, and the pieces that the breaks of
the rate law, the nozzle and the 10 % points cut them into. On a stretch the total burning area is one quadratic in the
regression, so every break is a root of a quadratic in closed form. A grain with a cap over part of a face burns as such a
quadratic until the fire has come round, and behind that in many short ones (`physics.ballistics.faces`). Source: derived here.
Imports propellant, grain, faces, nozzle and motors.

Shapes: n motors of a block, R rows of grains, S stretches (at most R without caps), s pieces of all motors in one list.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from physics.ballistics import faces, grain, nozzle
from physics.ballistics.propellant import RateLaw, Switches, rate_coefficients, segment_table, switch_kn
from physics.motors import Array, Grains, Motors

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Columns:
    """What the steady kernel reads of a batch, SI: (n,) each, the rate law (n, K), the grains (n, R).

    `forward_covered_to` and `aft_covered_to` [m] are None where no motor of the batch has a face covered in part.
    """

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
    forward_covered_to: Array | None = None
    aft_covered_to: Array | None = None

    def block(self, some: slice | Index) -> Columns:
        """Some of the motors, as views where `some` is a slice.

        Parameters
        ----------
        some : slice or Index
            Which motors.

        Returns
        -------
        Columns
            SI; the shared columns of a lean batch stay as they are.
        """
        size = self.throat_diameter.shape[0]
        return Columns(**{name: leaf[some] if leaf.shape[0] == size else leaf for name, leaf in self._leaves().items()})

    def _leaves(self) -> dict[str, Array]:
        """The columns that there are."""
        found = ((item.name, getattr(self, item.name)) for item in fields(self))
        return {name: leaf for name, leaf in found if leaf is not None}

    def lean(self) -> Columns:
        """The same with a column that all motors share cut to its one entry; the throats keep theirs.

        What follows from shared columns alone is then worked out once, and the figures are the same bit for bit.
        """
        leaves = self._leaves()
        shared = {name: leaf[:1] for name, leaf in leaves.items() if leaf.strides[0] == 0}
        return Columns(**leaves | shared | {"throat_diameter": self.throat_diameter})

    @property
    def grains(self) -> Grains:
        """The rows of grains."""
        return Grains(
            self.count,
            self.length,
            self.outer_diameter,
            self.core_diameter,
            self.burning_ends,
            forward_covered_to=self.forward_covered_to,
            aft_covered_to=self.aft_covered_to,
        )

    @property
    def capped(self) -> Mask:
        """Motors with a face that a cap covers in part, (n,)."""
        if self.forward_covered_to is None and self.aft_covered_to is None:
            return np.zeros(self.throat_diameter.shape, dtype=bool)
        return np.asarray(faces.capped(self.grains).any(axis=1))

    def split(self) -> tuple[Columns, Index, Columns, Index]:
        """The motors without caps, told without them, and those with, each with their numbers (m,)."""
        capped = self.capped
        plain, rest = np.flatnonzero(~capped), np.flatnonzero(capped)
        bare = replace(self, forward_covered_to=None, aft_covered_to=None)
        return bare.block(plain) if rest.size else bare, plain, self.block(rest), rest

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
_CAPS = ("forward_covered_to", "aft_covered_to")


def picked(leaf: Array, index: Index) -> Array:
    """Entries of a leaf at `index`, in its own unit (SI).

    Parameters
    ----------
    leaf : ndarray
        (n,), or (1,) where all motors share it: then its one entry stays as it is.
    index : ndarray
        Of integers, (m,).
    """
    return leaf if leaf.size == 1 else leaf[index]


def columns(motors: Motors, temperature: Array | None = None) -> Columns:
    """The columns of a batch.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    temperature : ndarray or None
        Of the propellant, (n,) or scalar; the ambient temperature by default. [K]

    Returns
    -------
    Columns
        SI; caps that leave all or nothing of a face open are told as bare and inhibited faces.
    """
    propellant, hole = motors.propellant, motors.nozzle
    law = rate_coefficients(propellant, motors.ambient.temperature if temperature is None else temperature)
    grains = grain.settled(motors.grain)
    leaves = (*_ROWS, *(name for name in _CAPS if getattr(grains, name) is not None))
    rows = np.broadcast_shapes(*(np.atleast_2d(getattr(grains, name)).shape for name in leaves))[1]
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
        **{name: _shared(leaf, motors.size) for name, leaf in single.items()},
        log_coefficient=_wide(law.log_coefficient, motors.size, law.rows),
        exponent=_wide(law.exponent, motors.size, law.rows),
        log_bounds=_wide(law.log_bounds, motors.size, law.rows - 1),
        **{name: _wide(getattr(grains, name), motors.size, rows) for name in leaves},
    )


def _shared(leaf: Array, size: int) -> Array:
    """As `physics.motors.as_column`, a view: what all motors share shows as a stride of 0, which `Columns.lean` looks for."""
    return np.broadcast_to(np.asarray(leaf, dtype=float), (size,))


def _wide(leaf: Array, size: int, rows: int) -> Array:
    leaf = np.asarray(leaf, dtype=float)
    return np.broadcast_to(leaf, (size, rows))


@dataclass(frozen=True)
class Stretches:
    """The burn between grain burnouts, (n, S) each: Kn = constant + linear·x + square·x² from `start` to `end`.

    A stretch of no width is absent. `kn_start`, `kn_end`, `kn_top` are Kn at its ends and its largest, at `top`, and `kn_low` its
    smallest. `row_coefficients` are those of the area of each row, (n, R), or (n, S, R) where a cap makes them change.
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
    kn_low: Array
    webs: Array
    row_coefficients: tuple[Array, Array, Array]

    @property
    def present(self) -> Mask:
        """Which stretches have a width."""
        return np.asarray(self.end > self.start)

    def of_rows(self, motor: Index, stretch: Index) -> tuple[Array, Array, Array]:
        """Coefficients of the area of each row on some stretches. [m2], [m], [-]

        Parameters
        ----------
        motor, stretch : Index
            Of each stretch, (s,).

        Returns
        -------
        constant, linear, square : ndarray
            (s, R) each. [m2], [m], [-]
        """
        if self.row_coefficients[0].ndim == 3:
            constant, linear, square = (part[motor, stretch] for part in self.row_coefficients)
        else:
            constant, linear, square = (part[motor] for part in self.row_coefficients)
        return constant, linear, square


def stretches(batch: Columns) -> Stretches:
    """Cut the burn of every motor of a block at the burnouts of its rows, and where a cap changes what burns.

    Parameters
    ----------
    batch : Columns
        Of n motors, SI.

    Returns
    -------
    Stretches
        One stretch for each row at most, (n, R); with a cap in the block one for each of its quadratics too.
    """
    webs = grain.web(batch.grains)
    per_throat = 1.0 / batch.throat_area[:, None]
    if batch.capped.any():
        return _capped_stretches(batch, webs, per_throat)
    by_row = grain.area_coefficients(batch.grains)
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
    low = np.minimum(kn_start, kn_end)
    return Stretches(start, end, constant, linear, square, top, kn_start, kn_end, kn_top, low, webs, by_row)


def _capped_stretches(batch: Columns, webs: Array, per_throat: Array) -> Stretches:
    """The same with every quadratic of every row; rows without a cap have one, and break where they would alone."""
    size, rows = webs.shape
    some = faces.capped(batch.grains)
    edges, parts = faces.pieces(faces.covered_grain(batch.grains.mapped(lambda leaf: np.broadcast_to(leaf, webs.shape))))
    plain = grain.area_coefficients(batch.grains)
    edges[..., 1:] = np.where(some[:, :, None], edges[..., 1:], webs[:, :, None])
    count = np.broadcast_to(batch.count, webs.shape)[:, :, None]
    by_piece = [np.where(some[:, :, None], count * part, whole[:, :, None]) for part, whole in zip(parts, plain, strict=True)]
    end = np.sort(edges[..., 1:].reshape(size, -1), axis=1)
    start = np.concatenate([np.zeros((size, 1)), end[:, :-1]], axis=1)
    by_row = [np.zeros((*start.shape, rows)) for _ in by_piece]
    most = edges.shape[2] - 1
    for row in range(rows):
        place = (edges[:, row, None, 1:] <= start[:, :, None]).sum(axis=2)
        alive = (place < most) & (webs[:, row, None] > 0.0)
        place = np.minimum(place, most - 1)
        for table, part in zip(by_row, by_piece, strict=True):
            table[:, :, row] = np.where(alive, np.take_along_axis(part[:, row], place, axis=1), 0.0)
    constant, linear, square = (part.sum(axis=2) * per_throat for part in by_row)
    top = grain.largest_area_regression(constant, linear, square, start, end)
    with np.errstate(divide="ignore", invalid="ignore"):
        foot = np.where(square > 0.0, np.clip(-0.5 * linear / square, start, end), start)
    kn_start, kn_end, kn_top, kn_foot = (np.maximum(constant + x * (linear + x * square), 0.0) for x in (start, end, top, foot))
    low = np.minimum(np.minimum(kn_start, kn_end), kn_foot)
    coefficients = (by_row[0], by_row[1], by_row[2])
    return Stretches(start, end, constant, linear, square, top, kn_start, kn_end, kn_top, low, webs, coefficients)


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
        """log of chamber pressure at burning area over throat area.

        Parameters
        ----------
        kn : ndarray
            (n, T). [-]

        Returns
        -------
        ndarray
            (n, T): of the lowest stable equilibrium, no lower than ambient pressure; pressure in Pa. [-]
        """
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
        """Burning area over throat area at which motors first reach a pressure.

        Parameters
        ----------
        pressure : ndarray
            (m,). [Pa]
        motor : ndarray
            The number of each motor, (m,).

        Returns
        -------
        ndarray
            (m,): the running maximum of κ there. [-]
        """
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
    """The pressure law of every motor of a block.

    Parameters
    ----------
    batch : Columns
        Of n motors, SI.

    Returns
    -------
    Balance
        Of n motors, SI.

    References
    ----------
    Steady mass balance with the rate law of `physics.ballistics.propellant`.
    """
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
        """Some of the pieces.

        Parameters
        ----------
        mask : Mask or Index
            Which.

        Returns
        -------
        Pieces
            SI.
        """
        return Pieces(**{item.name: getattr(self, item.name)[mask] for item in fields(self)})


def pieces(burn: Stretches, law: Balance, thresholds: Array) -> Pieces:
    """Cut the stretches where Kn crosses an edge of the law, its floor, or a threshold.

    Parameters
    ----------
    burn : Stretches
        Of n motors, SI.
    law : Balance
        Of the same.
    thresholds : ndarray
        Further Kn at which to cut, (n, T). [-]

    Returns
    -------
    Pieces
        In order of regression for each motor.

    References
    ----------
    Roots of a quadratic in closed form.
    """
    motor, stretch = np.nonzero(burn.present)
    limits = np.concatenate([law.edges, law.floor[:, None], thresholds], axis=1)[motor]
    shape = (motor, stretch)
    low = burn.kn_low[shape]
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
