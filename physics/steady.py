"""The steady kernel: quadrature over web, for screening millions of candidates.

Owns `evaluate`. At regression x all grains share one pressure p with ρ·A_b(x)·r(p) = p·A_t/c*, the lowest stable root
(`physics.propellant`), and dt = dx/r. The burn is cut into smooth pieces (`physics.stretches`) and integrated by
Gauss-Legendre on each, to better than 1e-6; areas, pressures and their peaks are exact. Source: derived here from that
balance. Imports the physics files that it is made of.

A burn of one smooth stretch (one row of equal cored grains, one row of the rate law, sonic flow), which is most of a
search, takes a shorter way to the same figures: `_smooth_block`. Which way a motor goes depends on that motor alone.

Limits of the model. No filling, no blow-down, no erosive burning and no throat recession: where the motor names them,
flags say so. The chamber is never below ambient pressure: where the balance would be, the propellant burns at ambient
pressure and gives no thrust. Only a motor that hardly works gets there, and it is flagged as not choked. The transient
kernel alone judges chuffing. Port and head-end pressure: one-dimensional flow with mass addition and no friction, each
row's port at its own diameter, by the narrowest effective port (`port_to_throat_area`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics import grain, nozzle
from physics.constants import STANDARD_GRAVITY
from physics.motors import Array, Curve, Figures, Motors
from physics.portflow import PortExtremes, port_extremes, pressure_and_port
from physics.propellant import RateLaw, segment_table
from physics.stretches import Balance, Columns, Index, Mask, Pieces, Stretches, balance, columns, pieces, stretches

BLOCK = 4096
"""Motors a block: few enough to stay in the cache, enough to outweigh the calls. Measured flat from 4096 to 16384.

Smooth burns, which keep less at a time, go four blocks at once: measured a third faster than one, flat up to eight.
"""

_ORDERS = (4, 6, 8, 12, 16, 24, 32, 64, 128)
_DETACHED_ORDER = 12
"""The least for separated flow, whose thrust bends towards sonic."""
_RULES = {order: np.polynomial.legendre.leggauss(order) for order in _ORDERS}
_SLOW = 0
"""Stands for the rule of flow that is not sonic: thrust starts as a square root there."""
_ANGLES, _ANGLE_WEIGHTS = np.polynomial.legendre.leggauss(32)
_RULES[_SLOW] = (np.sin(0.5 * np.pi * _ANGLES), 0.5 * np.pi * np.cos(0.5 * np.pi * _ANGLES) * _ANGLE_WEIGHTS)
_CURVE_POINTS = 320


def evaluate(motors: Motors, curve: bool = False) -> Figures:
    """Figures and flags of a batch by the steady kernel; names in `physics.kernel`, all (n,), SI.

    With `curve` also the histories over the burn, (n, T), NaN behind the end; a step at a grain's burnout stands as two
    points of one time. A motor with nothing to burn has zero pressure and impulse, NaN means and the flag
    `extinguished`. A core as wide as its grain, or wider, gives NaN throughout.
    """
    table = columns(motors)
    values, flags = _figures(table)
    size = motors.size
    flags["recession_ignored"] = np.broadcast_to(np.asarray(motors.nozzle.throat_recession) > 0.0, (size,)).copy()
    flags["erosive_burning_ignored"] = np.full(size, motors.propellant.erosive != "none")
    flags["chuffing_risk"] = np.zeros(size, dtype=bool)
    return Figures(values, flags, "steady", _curve(table) if curve else None)


def peak_head_pressure(motors: Motors, temperature: Array | None = None) -> Array:
    """Highest head-end pressure [Pa] of each motor, (n,), at propellant `temperature` [K]; no integration over time."""
    table = columns(motors, temperature)
    peaks = np.empty(motors.size)
    rest = np.arange(motors.size)
    if _may_be_smooth(table):
        for some in _slices(motors.size, 4 * BLOCK):
            with np.errstate(all="ignore"):
                one, _, smooth = _smooth(table.block(some).lean())
                peaks[some] = np.exp(_highest_head(one, smooth)[0])
            rest[some][smooth] = -1
        rest = rest[rest >= 0]
    for some in _slices(rest.size, BLOCK):
        batch = table.block(rest[some])
        burn, law = stretches(batch), balance(batch)
        cuts = pieces(burn, law, np.empty((batch.gamma.size, 0)))
        head = port_extremes(cuts, burn, law, batch).head_pressure
        peaks[rest[some]] = np.where(_impossible(batch), np.nan, head)
    return peaks


def _figures(table: Columns) -> tuple[dict[str, Array], dict[str, Mask]]:
    """Values and flags of a batch: the smooth burns first, all others piece by piece."""
    size = table.gamma.size
    values: dict[str, Array] = {}
    flags: dict[str, Mask] = {}
    rest = np.arange(size)
    if _may_be_smooth(table):
        for some in _slices(size, 4 * BLOCK):
            some_values, some_flags, smooth = _smooth_block(table.block(some).lean())
            _store(values, some_values, some, size)
            _store(flags, some_flags, some, size)
            rest[some][smooth] = -1
        rest = rest[rest >= 0]
    for some in _slices(rest.size if values else max(rest.size, 1), BLOCK):
        some_values, some_flags = _block(table.block(rest[some]))
        _store(values, some_values, rest[some], size)
        _store(flags, some_flags, rest[some], size)
    return values, flags


def _slices(size: int, block: int) -> list[slice]:
    """The blocks that `size` motors are worked in."""
    return [slice(at, min(at + block, size)) for at in range(0, size, block)]


def _store(whole: dict[str, NDArray[Any]], part: dict[str, NDArray[Any]], some: slice | Index, size: int) -> None:
    """Write one block's columns into those of the batch, made when first met (all at once: large pages are cheap)."""
    if not whole:
        whole.update(zip(part, np.empty((len(part), size), dtype=next(iter(part.values())).dtype), strict=True))
    for name, column in part.items():
        whole[name][some] = column


def _impossible(batch: Columns) -> Mask:
    wide = (batch.core_diameter >= batch.outer_diameter) & (batch.count > 0)
    return np.asarray(wide.any(axis=1))


def _block(batch: Columns) -> tuple[dict[str, Array], dict[str, Mask]]:
    """Values and flags of one block of motors."""
    size = batch.gamma.size
    burn, law = stretches(batch), balance(batch)
    flow = _nozzle(batch)
    state = _pressures(batch, burn, law)
    thresholds = _thresholds(law, state, flow)
    cuts = pieces(burn, law, thresholds)
    integrals = _integrate(cuts, batch, law, flow)
    whole = _Integrals(
        *(_summed(part, cuts.motor, size) for part in (integrals.time, integrals.pressure, integrals.impulse))
    )
    port = port_extremes(cuts, burn, law, batch)
    mach, ratio = nozzle.port_mach_and_head_ratio(port.smallest_ratio, batch.gamma)
    dead = state.peak_kn <= 0.0
    found = _Findings(
        mass=batch.density * grain.volume(batch.grains, np.zeros(1)).sum(axis=1),
        initial_kn=burn.kn_start[np.arange(size), np.argmax(burn.present, axis=1)],
        peak_kn=state.peak_kn,
        initial_pressure=np.where(dead, 0.0, state.initial),
        peak_pressure=np.where(dead, 0.0, state.peak),
        peak_thrust=np.where(dead, 0.0, _thrust(state.peak, batch, flow)),
        burn=whole,
        action_time=_action_time(cuts, integrals.time, whole.time, state, thresholds[:, 0]),
        port=port,
        mach=mach,
        head_ratio=ratio,
    )
    values = _values(batch, found)
    impossible = _impossible(batch)
    for name, value in values.items():
        values[name] = np.where(impossible, np.nan, value)
    return values, _flags(batch, flow, state, port, _several_equilibria(burn, law), dead)


def _summed(part: Array, motor: Index, size: int) -> Array:
    """Sum over the pieces of each motor, (size,)."""
    return np.asarray(np.bincount(motor, weights=part, minlength=size), dtype=float)


@dataclass(frozen=True)
class _Findings:
    """What was found for the motors of a block, (n,) or (1,) each, SI; every figure follows from it."""

    mass: Array
    initial_kn: Array
    peak_kn: Array
    initial_pressure: Array
    peak_pressure: Array
    peak_thrust: Array
    burn: _Integrals
    action_time: Array
    port: PortExtremes
    mach: Array
    head_ratio: Array


def _values(batch: Columns, found: _Findings) -> dict[str, Array]:
    """Every figure of a block."""
    burn, port, mass = found.burn, found.port, found.mass
    with np.errstate(divide="ignore", invalid="ignore"):
        return {
            "peak_pressure": found.peak_pressure,
            "peak_head_pressure": port.head_pressure,
            "mean_pressure": burn.pressure / burn.time,
            "burn_time": burn.time,
            "action_time": found.action_time,
            "total_impulse": burn.impulse,
            "mean_thrust": burn.impulse / burn.time,
            "peak_thrust": found.peak_thrust,
            "propellant_mass": mass,
            "specific_impulse": burn.impulse / (mass * STANDARD_GRAVITY),
            "initial_kn": found.initial_kn,
            "peak_kn": found.peak_kn,
            "port_to_throat_area": port.initial_ratio,
            "peak_mass_flux": port.mass_flux,
            "thrust_coefficient": burn.impulse / (batch.throat_area * burn.pressure),
            "initial_pressure": found.initial_pressure,
            "pressure_integral": burn.pressure,
            "peak_port_mach": found.mach,
            "head_pressure_ratio": found.head_ratio,
            "final_throat_diameter": batch.throat_diameter,
            "peak_mass_flow": found.peak_pressure * batch.throat_area / batch.characteristic_velocity,
        }


@dataclass(frozen=True)
class _Flow:
    """The nozzle of each motor: vacuum coefficient flowing full, and the chamber pressures at which that ends."""

    full: Array
    onset: Array
    near: Array
    sonic: Array

    def pick(self, index: Index) -> _Flow:
        """Some of the motors."""
        return _Flow(*(_picked(leaf, index) for leaf in (self.full, self.onset, self.near, self.sonic)))


def _nozzle(batch: Columns) -> _Flow:
    mach = nozzle.mach_from_area_ratio(batch.expansion_ratio, batch.gamma)
    ratio = nozzle.pressure_ratio(mach, batch.gamma)
    sonic = nozzle.critical_pressure_ratio(batch.gamma) * batch.ambient_pressure
    return _Flow(
        full=nozzle.full_flow_coefficients(mach, ratio, batch.expansion_ratio, batch.gamma, batch.efficiency),
        onset=np.maximum(nozzle.separation_onset(mach, ratio) * batch.ambient_pressure, sonic),
        near=nozzle.near_sonic_pressure_ratio(batch.gamma) * batch.ambient_pressure,
        sonic=sonic,
    )


def _thrust(pressure: Array, batch: Columns, flow: _Flow) -> Array:
    """Thrust at a chamber pressure (n,), the flow full, separated or not sonic."""
    push = _attached(pressure, batch, flow)
    detached = np.nonzero(pressure < flow.onset)[0]
    if detached.size:
        push[detached] = _detached(pressure[detached], batch.block(detached))
    return push


def _attached(pressure: Array, batch: Columns, flow: _Flow) -> Array:
    """Thrust of a nozzle flowing full at pressures (n,) or (T, n)."""
    back = batch.expansion_ratio * batch.ambient_pressure
    return np.asarray(batch.throat_area * (flow.full * pressure - back))


def _detached(pressure: Array, batch: Columns) -> Array:
    """Thrust of separated or unchoked flow at pressures (n,) or (T, n)."""
    ambient = batch.ambient_pressure
    coefficient = nozzle.detached_coefficient(pressure / ambient, batch.gamma, batch.efficiency)
    return np.asarray(batch.throat_area * ambient * coefficient)


@dataclass(frozen=True)
class _Pressures:
    """Pressures of each motor over the burn, exact: Kn is concave on every stretch and pressure grows with Kn."""

    peak_kn: Array
    peak: Array
    initial: Array
    lowest: Array


def _pressures(batch: Columns, burn: Stretches, law: Balance) -> _Pressures:
    present = burn.present
    peak_kn = np.where(present, burn.kn_top, 0.0).max(axis=1)
    ends = np.where(present, np.minimum(burn.kn_start, burn.kn_end), np.inf).min(axis=1)
    ends = np.where(np.isfinite(ends), ends, 0.0)
    initial = burn.kn_start[np.arange(peak_kn.size), np.argmax(present, axis=1)]
    pressure = np.exp(law.log_pressure(np.stack([peak_kn, initial, ends], axis=1)))
    return _Pressures(peak_kn, pressure[:, 0], pressure[:, 1], pressure[:, 2])


def _thresholds(law: Balance, state: _Pressures, flow: _Flow) -> Array:
    """Kn at 10 % of peak pressure and where the law of thrust changes, (n, 4); 0 where the burn does not cross it."""
    levels = np.stack([0.1 * state.peak, flow.onset, flow.near, flow.sonic], axis=1)
    crossed = (levels > state.lowest[:, None]) & (levels < state.peak[:, None])
    thresholds = np.zeros_like(levels)
    motor, column = np.nonzero(crossed)
    if motor.size:
        thresholds[motor, column] = law.kn_at(levels[motor, column], motor)
    return thresholds


def _flags(
    batch: Columns, flow: _Flow, state: _Pressures, port: PortExtremes, several: Mask, dead: Mask
) -> dict[str, Mask]:
    slack = 1e-9
    below = state.lowest < batch.characterised_from * (1.0 - slack)
    above = state.peak > batch.characterised_to * (1.0 + slack)
    unchoked = (state.lowest < flow.sonic) & (batch.ambient_pressure > 0.0)
    return {
        "port_choked": np.asarray(port.smallest_ratio < 1.0),
        "flow_separated": np.asarray((state.lowest < flow.onset) & ~dead & (state.peak >= flow.sonic)),
        "outside_characterised_pressure": np.asarray((below | above) & ~dead),
        "several_equilibria": several,
        "nozzle_unchoked": np.asarray(unchoked & ~dead),
        "extinguished": np.asarray(dead),
    }


def _several_equilibria(burn: Stretches, law: Balance) -> Mask:
    """Whether a stable root above the one taken exists at some moment.

    Kn has one exactly if it lies above κ at the foot of a later row and not above the running maximum of κ before it.
    """
    found = np.zeros(burn.start.shape[0], dtype=bool)
    low = np.minimum(burn.kn_start, burn.kn_end)
    for row in range(1, law.law.rows):
        foot = np.exp(law.switches.log_start[:, row, None])
        crest = np.exp(law.switches.log_upper[:, row - 1, None])
        found |= ((crest > foot * (1.0 + 1e-9)) & (burn.kn_top > foot) & (low <= crest) & burn.present).any(axis=1)
    return found


@dataclass(frozen=True)
class _Integrals:
    """Time [s], pressure integral [Pa s] and impulse [N s] of each piece or motor."""

    time: Array
    pressure: Array
    impulse: Array


def _integrate(cuts: Pieces, batch: Columns, law: Balance, flow: _Flow) -> _Integrals:
    motor = cuts.motor
    impedance = (batch.density * batch.characteristic_velocity)[motor]
    width = cuts.end - cuts.start
    orders = _order(cuts, cuts.start, width)
    pressure_middle = np.exp(cuts.slope * np.log(_kn_middle(cuts, cuts.start, width)) + cuts.offset)
    detached = (pressure_middle < flow.onset[motor]) & ~cuts.still
    time = np.empty(width.size)
    for order in _orders_among(orders):
        chosen = np.nonzero(orders == order)[0]
        time[chosen] = impedance[chosen] * _slowness(cuts.pick(chosen), cuts.start[chosen], width[chosen], order)
    pressure = impedance * _swept(cuts, cuts.start, width)
    still = np.nonzero(cuts.still)[0]
    if still.size:
        time[still] = width[still] / _ambient_rate(law, motor[still])
        pressure[still] = time[still] * batch.ambient_pressure[motor[still]]
    area, ambient = batch.throat_area[motor], batch.ambient_pressure[motor]
    impulse = area * (flow.full[motor] * pressure - batch.expansion_ratio[motor] * ambient * time)
    impulse[cuts.still] = 0.0
    orders = np.where(pressure_middle < flow.sonic[motor], _SLOW, np.maximum(orders, _DETACHED_ORDER))
    orders[~detached] = -1
    for order in _orders_among(orders):
        loose = np.nonzero(orders == order)[0]
        some = batch.block(motor[loose])
        impulse[loose] = _detached_impulse(cuts.pick(loose), cuts.start[loose], width[loose], some, order)
    return _Integrals(time, pressure, impulse)


def _kn_middle(burn: Pieces | _Smooth, start: Array, width: Array) -> Array:
    middle = start + 0.5 * width
    return np.asarray(burn.constant + middle * (burn.linear + middle * burn.square))


def _swept(burn: Pieces | _Smooth, start: Array, width: Array) -> Array:
    """∫ Kn dx from `start` over `width`, about the middle so that nothing cancels."""
    return np.asarray(width * (_kn_middle(burn, start, width) + burn.square * width * width / 12.0))


def _order(
    burn: Pieces | _Smooth, start: Array, width: Array, choice: tuple[int, ...] = _ORDERS
) -> NDArray[np.intp]:
    """Gauss-Legendre order, of those on offer, from `start` over `width`, by how near the zeros of Kn lie to the ends.

    The integrand is Kn^m; its only singularities are the two real zeros of Kn, outside the piece. With the nearer
    one at distance ρ (Bernstein ellipse) the error falls as ρ^(−2·order).
    """
    nearest = _nearest_zero(burn, start, width)
    ellipse = np.log(nearest + np.sqrt(nearest * nearest - 1.0))
    needed = _accuracy(burn) / np.maximum(ellipse, 1e-3)
    return np.asarray(choice)[np.minimum(np.searchsorted(choice, needed), len(choice) - 1)]


def _nearest_zero(burn: Pieces | _Smooth, start: Array, width: Array) -> Array:
    """Distance of the nearer zero of Kn from the middle of the piece, over half its width: 1 to 1e6."""
    half = 0.5 * width
    level = _kn_middle(burn, start, width)
    tilt = np.abs(burn.linear + (2.0 * start + width) * burn.square) * half
    bend = -4.0 * burn.square * half * half * level
    nearest = 2.0 * level / (tilt + np.sqrt(tilt * tilt + bend) + 1e-300)
    return np.asarray(np.minimum(np.maximum(nearest, 1.0), 1e6))


def _accuracy(burn: Pieces | _Smooth) -> Array:
    """What order times log ρ must reach: e^(−2·10) at best, more for a steep power."""
    return np.asarray(10.0 + 1.5 * np.abs(1.0 - burn.slope))


def _orders_among(orders: NDArray[np.intp]) -> list[int]:
    """The orders that occur; −1 stands for none."""
    return np.flatnonzero(np.bincount(orders + 1)[1:]).tolist()


def _log_kn(burn: Pieces | _Smooth, start: Array, width: Array, order: int) -> Array:
    """log Kn at the nodes, (order, s)."""
    x = start + (0.5 + 0.5 * _RULES[order][0][:, None]) * width
    kn = burn.square * x
    kn += burn.linear
    kn *= x
    kn += burn.constant
    return np.asarray(np.log(kn, out=kn))


def _slowness(burn: Pieces | _Smooth, start: Array, width: Array, order: int) -> Array:
    """∫ Kn/p dx = ∫ dx/r/(ρ·c*) from `start` over `width`. [m/Pa]"""
    kn = _log_kn(burn, start, width, order)
    kn *= 1.0 - burn.slope
    kn -= burn.offset
    return np.asarray(0.5 * width * _weighted(np.exp(kn, out=kn), order))


def _weighted(values: Array, order: int) -> Array:
    """Sum of values (order, s) with the rule's weights, in an order that does not depend on s; spoils the values."""
    total = np.zeros(values.shape[1])
    for value, weight in zip(values, _RULES[order][1], strict=True):
        value *= weight
        total += value
    return total


def _ambient_rate(law: Balance, motor: Index) -> Array:
    """Burning rate at ambient pressure, from κ = p/(ρ·c*·r) at the floor."""
    log_rate = law.log_ambient[motor] - law.log_impedance[motor] - np.log(law.floor[motor])
    return np.asarray(np.exp(log_rate))


def _detached_impulse(
    burn: Pieces | _Smooth, start: Array, width: Array, batch: Columns, order: int, full: _Flow | None = None
) -> Array:
    """∫ F dt [N s] of separated or unchoked flow, (s,) for a piece each; with `full` what it adds to a full nozzle's."""
    log_kn = _log_kn(burn, start, width, order)
    log_pressure = burn.slope * log_kn + burn.offset
    pressure = np.exp(log_pressure)
    push = _detached(pressure, batch)
    if full is not None:
        push -= _attached(pressure, batch, full)
    impedance = batch.density * batch.characteristic_velocity
    return np.asarray(0.5 * width * impedance * _weighted(push * np.exp(log_kn - log_pressure), order))


def _action_time(
    cuts: Pieces, time: Array, burn_time: NDArray[Any], state: _Pressures, threshold: Array
) -> Array:
    """Time between the first and the last moment at which pressure is 10 % of its peak."""
    weak = state.lowest < 0.1 * state.peak
    if not weak.any():
        return burn_time.copy()
    middle = _kn_middle(cuts, cuts.start, cuts.end - cuts.start)
    strong = np.nonzero(middle >= threshold[cuts.motor])[0]
    first = np.full(burn_time.size, np.inf)
    last = np.full(burn_time.size, -np.inf)
    np.minimum.at(first, cuts.motor[strong], cuts.start[strong])
    np.maximum.at(last, cuts.motor[strong], cuts.end[strong])
    within = (cuts.start >= first[cuts.motor]) & (cuts.end <= last[cuts.motor])
    action = np.bincount(cuts.motor, weights=time * within, minlength=burn_time.size)
    return np.where(weak, action, burn_time)


# Motors that burn as one smooth stretch, most of a search: the same figures without a list of pieces.

_ZERO = np.zeros(1)
_FEW_ORDERS = (8, 16, 32, 128)
"""Gauss-Legendre orders of smooth burns: the first for nearly all; fewer nodes for some cost more than they save."""


@dataclass(frozen=True)
class _Smooth:
    """Burns of one smooth stretch: one row of equal cored grains, one row of the rate law; (n,), or (1,) where shared.

    SI. Kn = constant + linear·x + square·x² from 0 to `web`, largest at `top`; log p = slope·log Kn + offset, its value
    at ignition `log_initial`; port ratio ((core + 2x)/throat)².
    """

    web: Array
    top: Array
    constant: Array
    linear: Array
    square: Array
    slope: Array
    offset: Array
    log_initial: Array
    core: Array
    throat: Array
    gamma: Array

    def pick(self, index: Index) -> _Smooth:
        """Some of the motors."""
        leaves = {item.name: getattr(self, item.name) for item in fields(self)}
        return _Smooth(**{name: _picked(leaf, index) for name, leaf in leaves.items()})

    def kn(self, x: Array) -> Array:
        """Kn at regression x. [-]"""
        return np.asarray(self.constant + x * (self.linear + x * self.square))

    def log_pressure(self, x: Array) -> Array:
        """log of chamber pressure in Pa."""
        return np.asarray(self.slope * np.log(self.kn(x)) + self.offset)

    @property
    def flux_may_rise(self) -> Mask:
        """Whether p/J may rise after ignition: Kn'·bore is never above 2·Kn, so that it takes a slope above 2."""
        return np.asarray(self.slope > 2.0)

    def kn_at(self, pressure: Array) -> Array:
        """Kn at a pressure [Pa]."""
        return np.asarray(np.exp((np.log(pressure) - self.offset) / self.slope))

    def log_port(self, x: Array) -> Array:
        """log of the effective port-to-throat area ratio."""
        return np.asarray(2.0 * np.log((self.core + 2.0 * x) / self.throat))


def _picked(leaf: Array, index: Index) -> Array:
    return leaf if leaf.size == 1 else leaf[index]


def _may_be_smooth(table: Columns) -> bool:
    return bool(table.count.shape[1] == 1 and table.exponent.shape[1] == 1)


def _smooth(batch: Columns) -> tuple[_Smooth, _Pressures, Mask]:
    """The burns of a lean block as smooth ones, their pressures, and which of them are smooth.

    Those have a core and sonic flow that separates beyond M = 1.2 if at all, and never fall below 10 % of their peak.
    Nothing found for the others means anything.
    """
    burn = stretches(batch)
    law = RateLaw(batch.log_coefficient, batch.exponent, batch.log_bounds)
    slope, offset = segment_table(law, batch.log_impedance)
    log_kn = np.log(np.stack([burn.kn_start[:, 0], burn.kn_top[:, 0], burn.kn_end[:, 0]]))
    log_pressure = slope[:, 0] * log_kn + offset[:, 0]
    pressure = np.exp(log_pressure)
    state = _Pressures(burn.kn_top[:, 0], pressure[1], pressure[0], np.minimum(pressure[0], pressure[2]))
    core = batch.core_diameter[:, 0]
    near = nozzle.near_sonic_pressure_ratio(batch.gamma) * batch.ambient_pressure
    smooth = (state.lowest > near) & (state.lowest > 0.0) & (state.lowest >= 0.1 * state.peak)
    smooth &= (core > 0.0) & (core < batch.outer_diameter[:, 0]) & burn.present[:, 0]
    one = _Smooth(
        burn.end[:, 0], burn.top[:, 0], burn.constant[:, 0], burn.linear[:, 0], burn.square[:, 0], slope[:, 0],
        offset[:, 0], log_pressure[0], core, batch.throat_diameter, batch.gamma,
    )  # fmt: skip
    return one, state, smooth


def _smooth_block(lean: Columns) -> tuple[dict[str, Array], dict[str, Mask], Mask]:
    """Values and flags of a lean block of motors, and which of them are smooth burns; the others' mean nothing."""
    with np.errstate(all="ignore"):  # for those others
        one, state, smooth = _smooth(lean)
        flow = _nozzle(lean)
        burn, thrust = _smooth_burn(one, state, smooth, lean, flow)
        port, mach, ratio = _smooth_port(one, lean, smooth)
        found = _Findings(
            mass=lean.density * grain.initial_volume(lean.grains)[:, 0],
            initial_kn=one.constant,
            peak_kn=state.peak_kn,
            initial_pressure=state.initial,
            peak_pressure=state.peak,
            peak_thrust=thrust,
            burn=burn,
            action_time=burn.time,
            port=port,
            mach=mach,
            head_ratio=ratio,
        )
        values = _values(lean, found)
    never = np.zeros(1, dtype=bool)
    return values, _flags(lean, flow, state, port, never, never), smooth


def _smooth_burn(
    one: _Smooth, state: _Pressures, smooth: Mask, lean: Columns, flow: _Flow
) -> tuple[_Integrals, Array]:
    """Integrals over the burns, and the highest thrust. [N]

    A full nozzle's thrust is linear in pressure; what separated flow adds to it comes on top where there is any.
    """
    impedance = lean.density * lean.characteristic_velocity
    time = impedance * _smooth_slowness(one, smooth)
    pressure = impedance * _swept(one, _ZERO, one.web)
    back = lean.expansion_ratio * lean.ambient_pressure
    impulse = lean.throat_area * (flow.full * pressure - back * time)
    thrust = _attached(state.peak, lean, flow)
    weak = np.flatnonzero(smooth & (state.lowest < flow.onset))
    if weak.size:
        some, some_flow, peak = lean.block(weak), flow.pick(weak), state.peak[weak]
        impulse[weak] += _separation_gain(one.pick(weak), peak, some, some_flow)
        thrust[weak] = _thrust(peak, some, some_flow)
    return _Integrals(time, pressure, impulse), thrust


def _smooth_slowness(one: _Smooth, smooth: Mask) -> Array:
    """∫ dx/r/(ρ·c*) over each burn [m/Pa], with more nodes where Kn nearly falls to nothing."""
    slowness = _slowness(one, _ZERO, one.web, _FEW_ORDERS[0])
    enough = np.cosh(_accuracy(one) / _FEW_ORDERS[0])
    rest = np.flatnonzero(smooth & (_nearest_zero(one, _ZERO, one.web) < enough))
    if not rest.size:
        return slowness
    some = one.pick(rest)
    orders = _order(some, _ZERO, some.web, _FEW_ORDERS)
    for order in _orders_among(orders):
        chosen = np.flatnonzero(orders == order)
        part = some.pick(chosen)
        slowness[rest[chosen]] = _slowness(part, _ZERO, part.web, order)
    return slowness


def _separation_gain(one: _Smooth, peak: Array, batch: Columns, flow: _Flow) -> Array:
    """∫ (F − F of a full nozzle) dt [N s] where the flow is separated: at the ends of the burn, or throughout."""
    rising, falling = _crossings(one, one.kn_at(flow.onset))
    wholly = peak < flow.onset
    rising = np.where(wholly, one.web, np.minimum(np.maximum(rising, 0.0), one.web))
    falling = np.where(wholly, one.web, np.minimum(np.maximum(falling, 0.0), one.web))
    before, after = np.flatnonzero(rising > 0.0), np.flatnonzero(falling < one.web)
    start = np.concatenate([np.zeros(before.size), falling[after]])
    width = np.concatenate([rising[before], (one.web - falling)[after]])
    motor = np.concatenate([before, after])
    # The thrust is singular just below M = 1.2; it is smooth as the zeros of Kn less Kn at that pressure are far away.
    singular = replace(one, constant=one.constant - one.kn_at(flow.near))
    orders = _order(singular.pick(motor), start, width, _FEW_ORDERS)
    gain = np.empty(motor.size)
    for order in _orders_among(orders):
        chosen = np.flatnonzero(orders == order)
        place = motor[chosen]
        gain[chosen] = _detached_impulse(
            one.pick(place), start[chosen], width[chosen], batch.block(place), order, flow.pick(place)
        )
    return _summed(gain, motor, peak.size)


def _crossings(one: _Smooth, level: Array) -> tuple[Array, Array]:
    """Regressions at which Kn rises and falls through `level`; beyond the burn, or infinite, where it does not."""
    above = one.constant - level
    root = np.sqrt(np.maximum(one.linear * one.linear - 4.0 * one.square * above, 0.0))
    half = -0.5 * (one.linear + np.where(one.linear < 0.0, -root, root))
    near, far = above / half, half / one.square
    return np.where(one.linear < 0.0, far, near), np.where(one.linear < 0.0, near, far)


def _smooth_port(one: _Smooth, batch: Columns, smooth: Mask) -> tuple[PortExtremes, Array, Array]:
    """Extremes of the port flow, the highest Mach number in the port and head over chamber pressure with it.

    The port only widens: Mach number and pressure ratio are highest at ignition.
    """
    log_head, square, log_rise = _highest_head(one, smooth)
    log_flux = one.log_initial - one.log_port(_ZERO)
    steep = np.flatnonzero(smooth & one.flux_may_rise)
    if steep.size:
        some = one.pick(steep)
        x = _flux_spot(some)
        log_flux[steep] = np.maximum(log_flux[steep], some.log_pressure(x) - some.log_port(x))
    ratio = (one.core / one.throat) ** 2
    flux = np.exp(log_flux) / batch.characteristic_velocity
    return PortExtremes(np.exp(log_head), flux, ratio, ratio), np.sqrt(square), np.exp(log_rise)


def _highest_head(one: _Smooth, smooth: Mask) -> tuple[Array, Array, Array]:
    """log of the highest head-end pressure in Pa; M² and log of head over chamber pressure at ignition.

    Highest at ignition, at a turning point while the port is choked (where head pressure goes as mass flux), or at the
    turning point just before the highest chamber pressure.
    """
    opened = 0.5 * (one.throat - one.core)
    low = np.minimum(np.maximum(opened, 0.0), one.web)
    x = _head_spot(one, low, smooth)
    square, log_rise = nozzle.port_flow(np.stack([one.log_port(_ZERO), one.log_port(x)]), one.gamma)
    log_head = np.maximum(one.log_initial + log_rise[0], one.log_pressure(x) + log_rise[1])
    choked = np.flatnonzero(smooth & one.flux_may_rise & (opened > 0.0))
    if choked.size:
        some = one.pick(choked)
        x = np.minimum(_flux_spot(some), low[choked])
        there = some.log_pressure(x) + nozzle.log_head_ratio(some.log_port(x), some.gamma)
        log_head[choked] = np.maximum(log_head[choked], there)
    return log_head, square[0], log_rise[0]


def _head_spot(one: _Smooth, low: Array, smooth: Mask) -> Array:
    """Regression of the highest head pressure from `low` on, where the port is not choked.

    Newton steps on d log(p·h)/dx from the place of the highest pressure, which lies at or behind it. The maximum is
    flat, its value errs by the square of what the place errs, so that few steps do; near a choked port it takes more.
    """
    before = _head_step(np.maximum(one.top, low), one, low)
    x = _head_step(before, one, low)
    rest = np.flatnonzero(smooth & (np.abs(x - before) > _STEP * one.web))
    for _ in range(12):
        if not rest.size:
            break
        some, before = one.pick(rest), x[rest]
        x[rest] = after = _head_step(before, some, low[rest])
        rest = rest[np.abs(after - before) > _STEP * some.web]
    return x


_STEP = 1e-3
"""Step, over the web, after which the place errs by some 1e-6 as measured, and the pressure by its square."""


def _head_step(x: Array, one: _Smooth, low: Array) -> Array:
    """One Newton step on d log(p·h)/dx between `low` and the web; where it bends the wrong way, towards an end.

    d log h/d log J = −γM²/(1 + γM²) with M the Mach number in the port, here to about 1e-4: it places the maximum.
    """
    kn, growth = one.kn(x), one.linear + 2.0 * x * one.square
    growth /= kn
    widening = 4.0 / (one.core + 2.0 * x)
    open_port = np.maximum(one.log_port(x), 0.0)
    square = np.exp(2.0 * nozzle.log_mach(open_port, one.gamma, subsonic=True, steps=1))
    push = one.gamma * square
    pull = push / (1.0 + push)
    fade = pull / (1.0 + push) * (2.0 + (one.gamma - 1.0) * square) / np.maximum(1.0 - square, 1e-3)
    rise = one.slope * growth - pull * widening
    bend = one.slope * (2.0 * one.square / kn - growth * growth) + widening * widening * (fade + 0.5 * pull)
    aside = np.where(rise < 0.0, low - x, 0.5 * (one.web - x))
    step = np.where(bend < 0.0, -rise / np.minimum(bend, -1e-300), aside)
    return np.asarray(np.minimum(np.maximum(x + step, low), one.web))


def _flux_spot(one: _Smooth) -> Array:
    """Regression of the highest p/J after ignition, where slope·Kn'·bore − 4·Kn falls through zero."""
    square = 4.0 * one.square * (one.slope - 1.0)
    linear = 2.0 * one.slope * (one.square * one.core + one.linear) - 4.0 * one.linear
    constant = one.slope * one.linear * one.core - 4.0 * one.constant
    root = np.sqrt(linear * linear - 4.0 * square * constant)
    rising = linear >= 0.0
    half = -0.5 * (linear + np.where(rising, root, -root))
    x = np.where(rising, half, constant) / np.where(rising, square, half)
    return np.where(np.isnan(x), 0.0, np.minimum(np.maximum(x, 0.0), one.web))


def _curve(batch: Columns) -> Curve:
    """Histories of every motor, a few hundred points that include every break of the burn."""
    burn, law, flow = stretches(batch), balance(batch), _nozzle(batch)
    state = _pressures(batch, burn, law)
    thresholds = _thresholds(law, state, flow)
    cuts = pieces(burn, law, thresholds)
    number = np.bincount(cuts.motor, minlength=batch.gamma.size)
    histories: list[dict[str, Array]] = []
    for motor in range(batch.gamma.size):
        mine = np.nonzero(cuts.motor == motor)[0]
        steps = -(-_CURVE_POINTS // max(int(number[motor]), 1))
        histories.append(_history(cuts.pick(mine), steps, burn, law, flow, batch))
    longest = max((part["time"].size for part in histories), default=0)
    names = ("time", "chamber_pressure", "head_pressure", "thrust", "mass_flow", "kn", "mass_flux", "regression")
    padded = {name: np.full((batch.gamma.size, longest), np.nan) for name in names}
    for motor, part in enumerate(histories):
        for name in names:
            padded[name][motor, : part[name].size] = part[name]
    throat = np.where(np.isnan(padded["time"]), np.nan, batch.throat_diameter[:, None])
    return Curve(**padded, throat_diameter=throat)


def _history(cuts: Pieces, steps: int, burn: Stretches, law: Balance, flow: _Flow, batch: Columns) -> dict[str, Array]:
    """One motor's histories, piece after piece, both ends of each piece included."""
    share = np.linspace(0.0, 1.0, steps + 1)
    x = cuts.start[:, None] + (cuts.end - cuts.start)[:, None] * share
    x[:, -1] = cuts.end
    motor = cuts.motor
    kn = np.maximum(cuts.constant[:, None] + x * (cuts.linear[:, None] + x * cuts.square[:, None]), 0.0)
    log_pressure, log_ratio = pressure_and_port(x, cuts, burn, law, batch)
    pressure = np.exp(log_pressure)
    area = batch.throat_area[motor][:, None]
    back = (batch.expansion_ratio * batch.ambient_pressure)[motor][:, None]
    push = area * (flow.full[motor][:, None] * pressure - back)
    loose = np.nonzero(pressure < flow.onset[motor][:, None])
    if loose[0].size:
        push[loose] = _detached(pressure[loose], batch.block(motor[loose[0]]))
    clock = np.concatenate([np.zeros((x.shape[0], 1)), _step_times(cuts, x, law, batch)], axis=1)
    clock = np.cumsum(clock.ravel()).reshape(clock.shape)
    return {
        "time": clock.ravel(),
        "chamber_pressure": pressure.ravel(),
        "head_pressure": np.exp(log_pressure + nozzle.log_head_ratio(log_ratio, batch.gamma[motor][:, None])).ravel(),
        "thrust": push.ravel(),
        "mass_flow": (pressure * area / batch.characteristic_velocity[motor][:, None]).ravel(),
        "kn": kn.ravel(),
        "mass_flux": (np.exp(log_pressure - log_ratio) / batch.characteristic_velocity[motor][:, None]).ravel(),
        "regression": x.ravel(),
    }


def _step_times(cuts: Pieces, x: Array, law: Balance, batch: Columns) -> Array:
    """Time from each point of a history to the next, (s, steps)."""
    order = 6
    steps = x.shape[1] - 1
    fine = np.repeat(np.arange(x.shape[0]), steps)
    some = cuts.pick(fine)
    start, end = x[:, :-1].ravel(), x[:, 1:].ravel()
    some = Pieces(some.motor, some.stretch, start, end, some.constant, some.linear, some.square, some.slope,
                  some.offset, some.still)
    impedance = (batch.density * batch.characteristic_velocity)[some.motor]
    time = impedance * _slowness(some, start, end - start, order)
    still = some.still
    if still.any():
        time[still] = (end - start)[still] / _ambient_rate(law, some.motor[still])
    return time.reshape(x.shape[0], steps)
