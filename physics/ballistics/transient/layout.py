"""What does not change during a burn: the motor with its grains in their places, and the free volume.

Imports numpy, the motors, the nozzle, the propellant and the erosive laws. Model and sources stand in the head of the
package.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.assembly import assemble
from physics.ballistics.erosion import Erosion, erosion
from physics.ballistics.nozzle import critical_pressure_ratio, vandenkerckhove
from physics.ballistics.propellant import RateLaw, rate_coefficients
from physics.motors import Array, Motors, as_column

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Options:
    """Numerical choices: cells a grain, bound on the curvature h²·(ln p)''/2 of a step, least number of steps a web; and the
    speed [m/s] at which the flame runs along the grains.
    """

    stations: int = 8
    tolerance: float = 6e-3
    web_steps: int = 40
    rate_pressure: str = "static"
    block: int = 512
    spread_speed: float = np.inf


# --- what does not change during the burn ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Lit:
    """Shares of the surfaces that burn, 0 to 1: `core` (n, grains, stations), `head` and `aft` faces (n, grains). [-]"""

    core: Array
    head: Array
    aft: Array


@dataclass(frozen=True)
class Layout:
    """The unburnt motor with grain rows expanded to positions, head end first and right-aligned; batch axis first.

    (n, grains): `length`, `outer`, `core`, `bare_head`, `bare_aft`, `web`, `full` area, `cell` length and its inverse
    `per_cell`, `cored`, `burnable`, `present`, `forward_to` and `aft_to` (radii up to which the faces are bare, 0 where covered),
    `capped` (one of them in part); (n, grains, stations): `bore` diameter, `cell_web`, head-side `edge` of each cell; (n,) the
    rest. `spread_time` (n,) is how long the flame takes from the head end to the end of the last grain, 0 where all lights at once.
    `bare_head` and `bare_aft` are 1 where anything of the face burns. `first` is the position of the first grain.
    """

    length: Array
    outer: Array
    core: Array
    bare_head: Array
    bare_aft: Array
    web: Array
    bore: Array
    cell_web: Array
    full: Array
    cell: Array
    per_cell: Array
    edge: Array
    cored: Mask
    burnable: Mask
    present: Mask
    first: NDArray[np.intp]
    stations: int
    free_volume: Array
    propellant_volume: Array
    density: Array
    gamma: Array
    characteristic_velocity: Array
    gas_constant_temperature: Array
    throat_radius: Array
    exit_area: Array
    recession: Array
    recession_at: Array
    ambient_pressure: Array
    critical: Array
    law: RateLaw
    erosion: Erosion
    local: bool
    spread_time: Array
    forward_to: Array
    aft_to: Array
    capped: Mask

    @property
    def spreads(self) -> bool:
        """Whether the flame takes time to run along any of the motors."""
        return bool((self.spread_time > 0.0).any())

    def lit(self, time: Array) -> Lit:
        """Which part of each surface burns at a time since ignition.

        Parameters
        ----------
        time : ndarray
            (n,). [s]

        Returns
        -------
        Lit
            Of cells (n, grains, stations), head and aft faces (n, grains): 0 before the flame, which starts at the head end and
            runs along the grains at an even speed, 1 behind it; a face lights while the flame runs one cell on.
        """
        stack = self.length.sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            run = np.where(self.spread_time > 0.0, stack * time / self.spread_time, np.inf)[:, None, None]
            start = (np.cumsum(self.length, axis=1) - self.length)[:, :, None]
            cell = np.where(self.cell > 0.0, self.cell, 1.0)[:, :, None]
            run = np.where(self.cored[:, :, None], run, np.inf)  # an end burner has one face, and no port to run along
            core = np.clip((run - start - self.edge) / cell, 0.0, 1.0)
            head = np.clip((run - start) / cell, 0.0, 1.0)[:, :, 0]
            aft = np.clip((run - start - self.length[:, :, None]) / cell + 1.0, 0.0, 1.0)[:, :, 0]
        return Lit(core, head, aft)

    def take(self, index: Any) -> Layout:
        """Some of the motors.

        Parameters
        ----------
        index : Any
            Their places in the batch, as numpy indexes.

        Returns
        -------
        Layout
            Of those motors, in that order.
        """
        size = self.length.shape[0]
        changed: dict[str, Any] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, np.ndarray):
                changed[item.name] = value[index]
            elif isinstance(value, RateLaw):
                changed[item.name] = RateLaw(
                    *(
                        leaf[index] if leaf.shape[0] == size else leaf
                        for leaf in (value.log_coefficient, value.exponent, value.log_bounds)
                    )
                )
            elif isinstance(value, Erosion):
                changed[item.name] = value.take(index)
        return replace(self, **changed)


def layout_of(motors: Motors, options: Options) -> Layout:
    """The motors of a batch laid out, grain by grain.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    options : Options
        Numerical choices.

    Returns
    -------
    Layout
        SI; fewer grains than the longest stack has stand at its end.
    """
    n = motors.size
    grains = motors.grain
    leaves = (grains.count, grains.length, grains.outer_diameter, grains.core_diameter, *grains.burning_faces, *grains.open_to)
    shaped = np.broadcast_arrays(*(np.atleast_2d(leaf) for leaf in leaves), np.empty((n, 1)))
    count, length, outer, core, forward, aft, forward_to, aft_to = shaped[:8]
    count = np.where(impossible_grains(motors)[:, None], 0.0, count)
    total = np.cumsum(np.rint(count).astype(np.intp), axis=1)
    size = max(int(total[:, -1].max(initial=1)), 1)
    position = np.arange(size) - (size - total[:, -1:])
    row = (position[:, :, None] >= total[:, None, :]).sum(axis=2)
    row = np.minimum(np.where(position < 0, row[:, -1:], row), count.shape[1] - 1)
    present = position >= 0
    first = np.argmax(present, axis=1)
    row = np.where(present, row, np.take_along_axis(row, first[:, None], axis=1))

    def at(leaf: Array) -> Array:
        return np.take_along_axis(leaf, row, axis=1)

    length, outer, core = np.where(present, at(length), 0.0), at(outer), at(core)
    forward, aft = np.where(present, at(forward), 0.0), np.where(present, at(aft), 0.0)
    radii = [np.where(burns > 0.5, 0.5 * at(to), 0.0) for burns, to in ((forward, forward_to), (aft, aft_to))]
    capped = np.any([(to > 0.0) & (to < 0.5 * outer) for to in radii], axis=0)
    ends = forward + aft
    cored = present & (core > 0.0)
    web = np.where(cored, 0.5 * (outer - core), 0.0)
    cell = length / options.stations

    def wide(leaf: Array) -> Array:
        return np.repeat(leaf[:, :, None], options.stations, axis=2)

    nozzle, propellant = motors.nozzle, motors.propellant
    gamma = as_column(propellant.gamma, n)
    velocity = as_column(propellant.characteristic_velocity, n)
    temperature = as_column(motors.ambient.temperature, n)
    solid = np.where((core > 0.0) | (ends > 0.0), 0.25 * np.pi * (outer**2 - core**2) * length, 0.0).sum(axis=1)
    return Layout(
        length, outer, core, forward, aft, web, wide(core), wide(web),
        0.25 * np.pi * outer * outer, cell, np.where(cell > 0.0, 1.0 / np.where(cell > 0.0, cell, 1.0), 0.0),
        cell[:, :, None] * np.arange(options.stations), cored, cored | (ends > 0.5), present, first,
        options.stations, free_volume(motors), solid, as_column(propellant.density, n), gamma, velocity,
        (velocity * vandenkerckhove(gamma)) ** 2, 0.5 * as_column(nozzle.throat_diameter, n),
        0.25 * np.pi * as_column(nozzle.exit_diameter, n) ** 2, as_column(nozzle.throat_recession, n),
        as_column(nozzle.throat_recession_at, n), as_column(motors.ambient.pressure, n),
        critical_pressure_ratio(gamma), _law(rate_coefficients(propellant, temperature)),
        erosion(propellant, temperature), options.rate_pressure == "static",
        np.where(cored.any(axis=1), length.sum(axis=1) / options.spread_speed, 0.0), radii[0], radii[1], capped,
    )  # fmt: skip


def impossible_grains(motors: Motors) -> Mask:
    """Motors with a core as wide as its grain, or wider.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    ndarray
        Mask, (n,).
    """
    grains = motors.grain
    wide = (grains.core_diameter >= grains.outer_diameter) & (grains.count > 0.0)
    return np.array(np.broadcast_to(np.atleast_2d(wide).any(axis=1), (motors.size,)))


def _law(law: RateLaw) -> RateLaw:
    size = max(law.log_coefficient.shape[0], law.exponent.shape[0], law.log_bounds.shape[0])
    return RateLaw(*(np.broadcast_to(leaf, (size, leaf.shape[1])) for leaf in (law.log_coefficient, law.exponent, law.log_bounds)))


def free_volume(motors: Motors) -> Array:
    """Gas volume before ignition.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    ndarray
        (n,). [m3]

    Notes
    -----
    With a case and its length: the room inside the liner from the forward plate to the nozzle, and its convergent, as
    assembled (`physics.assembly`), less propellant. Otherwise, and never less than, the cores alone. At least one throat
    diameter of throat area, which an end burner without a case needs. Source: geometry.
    """
    n = motors.size
    grains = motors.grain
    bore_area, outer_area = (0.25 * np.pi * d**2 for d in (grains.core_diameter, grains.outer_diameter))
    cores = np.broadcast_to((grains.count * bore_area * grains.length).sum(axis=-1), (n,))
    throat = np.broadcast_to(0.25 * np.pi * motors.nozzle.throat_diameter**3, (n,))
    volume = np.maximum(cores, throat)
    case = motors.case
    if case is not None and case.length is not None:
        placed = assemble(motors)
        inner, opening = placed.chamber_bore, motors.nozzle.throat_diameter
        inside = np.maximum(placed.nozzle_face - placed.plate_end, 0.0)
        cone = np.pi / 12.0 * (inner**2 + inner * opening + opening**2) * (placed.throat - placed.nozzle_face)
        solid = (grains.count * (outer_area - bore_area) * grains.length).sum(axis=-1)
        volume = np.fmax(volume, 0.25 * np.pi * inner**2 * inside + cone - solid)
    return np.array(np.broadcast_to(volume, (n,)), dtype=float)
