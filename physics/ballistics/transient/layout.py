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
from physics.motors import Array, Motors

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Options:
    """Numerical choices: cells a grain, bound on the curvature h²·(ln p)''/2 of a step, least number of steps a web."""

    stations: int = 8
    tolerance: float = 6e-3
    web_steps: int = 40
    rate_pressure: str = "static"
    block: int = 512


# --- what does not change during the burn ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Layout:
    """The unburnt motor with grain rows expanded to positions, head end first and right-aligned; batch axis first.

    (n, grains): `length`, `outer`, `core`, `bare_head`, `bare_aft`, `web`, `full` area, `cell` length and its inverse
    `per_cell`, `cored`, `burnable`, `present`; (n, grains, stations): `bore` diameter, `cell_web`, head-side `edge` of
    each cell; (n,) the rest. `first` is the position of the first grain.
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

    def take(self, index: Any) -> Layout:
        """The motors at `index`."""
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
    """The motors of a batch laid out, grain by grain, SI."""
    n = motors.size
    grains = motors.grain
    leaves = (grains.count, grains.length, grains.outer_diameter, grains.core_diameter, *grains.bare_faces)
    shaped = np.broadcast_arrays(*(np.atleast_2d(leaf) for leaf in leaves), np.empty((n, 1)))
    count, length, outer, core, forward, aft = shaped[:6]
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
    ends = forward + aft
    cored = present & (core > 0.0)
    web = np.where(cored, 0.5 * (outer - core), 0.0)
    cell = length / options.stations

    def wide(leaf: Array) -> Array:
        return np.repeat(leaf[:, :, None], options.stations, axis=2)

    nozzle, propellant = motors.nozzle, motors.propellant
    gamma = column_of(propellant.gamma, n)
    velocity = column_of(propellant.characteristic_velocity, n)
    temperature = column_of(motors.ambient.temperature, n)
    solid = np.where((core > 0.0) | (ends > 0.0), 0.25 * np.pi * (outer**2 - core**2) * length, 0.0).sum(axis=1)
    return Layout(
        length, outer, core, forward, aft, web, wide(core), wide(web),
        0.25 * np.pi * outer * outer, cell, np.where(cell > 0.0, 1.0 / np.where(cell > 0.0, cell, 1.0), 0.0),
        cell[:, :, None] * np.arange(options.stations), cored, cored | (ends > 0.5), present, first,
        options.stations, free_volume(motors), solid, column_of(propellant.density, n), gamma, velocity,
        (velocity * vandenkerckhove(gamma)) ** 2, 0.5 * column_of(nozzle.throat_diameter, n),
        0.25 * np.pi * column_of(nozzle.exit_diameter, n) ** 2, column_of(nozzle.throat_recession, n),
        column_of(nozzle.throat_recession_at, n), column_of(motors.ambient.pressure, n),
        critical_pressure_ratio(gamma), _law(rate_coefficients(propellant, temperature)),
        erosion(propellant, temperature), options.rate_pressure == "static",
    )  # fmt: skip


def impossible_grains(motors: Motors) -> Mask:
    """Motors with a core as wide as its grain, or wider, (n,)."""
    grains = motors.grain
    wide = (grains.core_diameter >= grains.outer_diameter) & (grains.count > 0.0)
    return np.array(np.broadcast_to(np.atleast_2d(wide).any(axis=1), (motors.size,)))


def column_of(leaf: Any, n: int) -> Array:
    """A leaf of any unit (SI) as its own column, (n,)."""
    return np.array(np.broadcast_to(np.asarray(leaf, dtype=float), (n,)))


def _law(law: RateLaw) -> RateLaw:
    size = max(law.log_coefficient.shape[0], law.exponent.shape[0], law.log_bounds.shape[0])
    return RateLaw(*(np.broadcast_to(leaf, (size, leaf.shape[1])) for leaf in (law.log_coefficient, law.exponent, law.log_bounds)))


def free_volume(motors: Motors) -> Array:
    """Gas volume before ignition [m3], (n,).

    With a case and its length: the room inside the liner from the forward plate to the nozzle, and its convergent, as
    assembled (`physics.assembly`), less propellant. Otherwise, and never less than, the cores alone. At least one throat
    diameter of throat area, which an end burner without a case needs.
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
