"""The steady kernel: quadrature over web, for screening millions of candidates.

Owns `evaluate`. At regression x all grains share one pressure p with ρ·A_b(x)·r(p) = p·A_t/c*, the lowest stable root
(`physics.propellant`), and dt = dx/r. The burn is cut into smooth pieces (`physics.stretches`) and integrated by
Gauss-Legendre on each, to better than 1e-6; areas, pressures and their peaks are exact. Source: derived here from that
balance. Imports the physics files that it is made of.

Limits of the model. No filling, no blow-down, no erosive burning and no throat recession: where the motor names them,
flags say so. The chamber is never below ambient pressure: where the balance would be, the propellant burns at ambient
pressure and gives no thrust. Only a motor that hardly works gets there, and it is flagged as not choked. The transient
kernel alone judges chuffing. Port and head-end pressure: one-dimensional flow with mass addition and no friction, each
row's port at its own diameter, by the narrowest effective port (`port_to_throat_area`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics import grain, nozzle
from physics.constants import STANDARD_GRAVITY
from physics.motors import Array, Curve, Figures, Motors
from physics.portflow import PortExtremes, port_extremes, pressure_and_port
from physics.stretches import Balance, Columns, Index, Mask, Pieces, Stretches, balance, columns, pieces, stretches

BLOCK = 4096
"""Motors a block: few enough to stay in the cache, enough to outweigh the calls. Measured flat from 4096 to 16384."""

_ORDERS = (4, 6, 8, 12, 16, 24, 32, 64, 128)
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
    values: dict[str, Array] = {}
    flags: dict[str, Mask] = {}
    for at in range(0, max(motors.size, 1), BLOCK):
        some_values, some_flags = _block(table.block(at, at + BLOCK))
        _store(values, some_values, at, motors.size)
        _store(flags, some_flags, at, motors.size)
    size = motors.size
    flags["recession_ignored"] = np.broadcast_to(np.asarray(motors.nozzle.throat_recession) > 0.0, (size,)).copy()
    flags["erosive_burning_ignored"] = np.full(size, motors.propellant.erosive != "none")
    flags["chuffing_risk"] = np.zeros(size, dtype=bool)
    return Figures(values, flags, "steady", _curve(table) if curve else None)


def _store(whole: dict[str, NDArray[Any]], part: dict[str, NDArray[Any]], at: int, size: int) -> None:
    """Write one block's columns into those of the batch, made when first met."""
    for name, column in part.items():
        if name not in whole:
            whole[name] = np.empty(size, dtype=column.dtype)
        whole[name][at : at + column.size] = column


def peak_head_pressure(motors: Motors, temperature: Array | None = None) -> Array:
    """Highest head-end pressure [Pa] of each motor, (n,), at propellant `temperature` [K]; no integration over time."""
    table = columns(motors, temperature)
    peaks = [np.empty(0)]
    for at in range(0, motors.size, BLOCK):
        batch = table.block(at, at + BLOCK)
        burn, law = stretches(batch), balance(batch)
        cuts = pieces(burn, law, np.empty((batch.gamma.size, 0)))
        peaks.append(np.where(_impossible(batch), np.nan, port_extremes(cuts, burn, law, batch).head_pressure))
    return np.concatenate(peaks)


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
    port = port_extremes(cuts, burn, law, batch)
    burn_time, pressure_integral, impulse = (
        np.bincount(cuts.motor, weights=part, minlength=size)
        for part in (integrals.time, integrals.pressure, integrals.impulse)
    )
    mass = batch.density * grain.volume(batch.grains, np.zeros(1)).sum(axis=1)
    dead = state.peak_kn <= 0.0
    mach, ratio = nozzle.port_mach_and_head_ratio(port.smallest_ratio, batch.gamma)
    with np.errstate(divide="ignore", invalid="ignore"):
        values = {
            "peak_pressure": np.where(dead, 0.0, state.peak),
            "peak_head_pressure": port.head_pressure,
            "mean_pressure": pressure_integral / burn_time,
            "burn_time": burn_time,
            "action_time": _action_time(cuts, integrals.time, burn_time, state, thresholds[:, 0]),
            "total_impulse": impulse,
            "mean_thrust": impulse / burn_time,
            "peak_thrust": np.where(dead, 0.0, _thrust(state.peak, batch, flow)),
            "propellant_mass": mass,
            "specific_impulse": impulse / (mass * STANDARD_GRAVITY),
            "initial_kn": burn.kn_start[np.arange(size), np.argmax(burn.present, axis=1)],
            "peak_kn": state.peak_kn,
            "port_to_throat_area": port.initial_ratio,
            "peak_mass_flux": port.mass_flux,
            "thrust_coefficient": impulse / (batch.throat_area * pressure_integral),
            "initial_pressure": np.where(dead, 0.0, state.initial),
            "pressure_integral": pressure_integral,
            "peak_port_mach": mach,
            "head_pressure_ratio": ratio,
            "final_throat_diameter": batch.throat_diameter.copy(),
            "peak_mass_flow": np.where(dead, 0.0, _mass_flow(state, batch)),
        }
    impossible = _impossible(batch)
    for name, value in values.items():
        values[name] = np.where(impossible, np.nan, value)
    return values, _flags(batch, burn, law, flow, state, port, dead)


def _mass_flow(state: _Pressures, batch: Columns) -> Array:
    return state.peak * batch.throat_area / batch.characteristic_velocity


@dataclass(frozen=True)
class _Flow:
    """The nozzle of each motor: vacuum coefficient flowing full, and the chamber pressures at which that ends."""

    full: Array
    onset: Array
    near: Array
    sonic: Array


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
    attached = batch.throat_area * (flow.full * pressure - batch.expansion_ratio * batch.ambient_pressure)
    detached = np.nonzero(pressure < flow.onset)[0]
    if detached.size:
        attached[detached] = _detached(pressure[detached], detached, batch)
    return attached


def _detached(pressure: Array, motor: Index, batch: Columns) -> Array:
    """Thrust of separated or unchoked flow; `motor` (m,) indexes the block, pressure (m,) or (m, T)."""
    lift = (slice(None),) + (None,) * (pressure.ndim - 1)
    ambient = batch.ambient_pressure[motor][lift]
    coefficient = nozzle.detached_coefficient(
        pressure / ambient, batch.gamma[motor][lift], batch.efficiency[motor][lift]
    )
    return np.asarray(batch.throat_area[motor][lift] * ambient * coefficient)


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
    batch: Columns, burn: Stretches, law: Balance, flow: _Flow, state: _Pressures, port: PortExtremes, dead: Mask
) -> dict[str, Mask]:
    slack = 1e-9
    below = state.lowest < batch.characterised_from * (1.0 - slack)
    above = state.peak > batch.characterised_to * (1.0 + slack)
    unchoked = (state.lowest < flow.sonic) & (batch.ambient_pressure > 0.0)
    return {
        "port_choked": np.asarray(port.smallest_ratio < 1.0),
        "flow_separated": np.asarray((state.lowest < flow.onset) & ~dead & (state.peak >= flow.sonic)),
        "outside_characterised_pressure": np.asarray((below | above) & ~dead),
        "several_equilibria": _several_equilibria(burn, law),
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
    """Time [s], pressure integral [Pa s] and impulse [N s] of each piece."""

    time: Array
    pressure: Array
    impulse: Array


def _integrate(cuts: Pieces, batch: Columns, law: Balance, flow: _Flow) -> _Integrals:
    motor = cuts.motor
    impedance = (batch.density * batch.characteristic_velocity)[motor]
    width = cuts.end - cuts.start
    swept = _swept(cuts)
    orders = _order(cuts, width)
    pressure_middle = np.exp(cuts.slope * np.log(_kn_middle(cuts)) + cuts.offset)
    detached = cuts.still | (pressure_middle < flow.onset[motor])
    time, impulse = np.empty(width.size), np.zeros(width.size)
    for order in _ORDERS:
        chosen = np.nonzero(orders == order)[0]
        if chosen.size == width.size:
            time = _time(cuts, width, impedance, order)
        elif chosen.size:
            time[chosen] = _time(cuts.pick(chosen), width[chosen], impedance[chosen], order)
    pressure = impedance * swept
    still = np.nonzero(cuts.still)[0]
    if still.size:
        time[still] = width[still] / _ambient_rate(law, motor[still])
        pressure[still] = time[still] * batch.ambient_pressure[motor[still]]
    area, ambient = batch.throat_area[motor], batch.ambient_pressure[motor]
    impulse = area * (flow.full[motor] * pressure - batch.expansion_ratio[motor] * ambient * time)
    impulse[cuts.still] = 0.0
    slow = pressure_middle < flow.sonic[motor]
    if detached.any():
        orders = np.where(slow, _SLOW, np.maximum(orders, 12))
        for order in (12, 16, 24, 32, 64, 128, _SLOW):
            loose = np.nonzero(detached & ~cuts.still & (orders == order))[0]
            if loose.size:
                impulse[loose] = _detached_impulse(cuts.pick(loose), width[loose], impedance[loose], batch, order)
    return _Integrals(time, pressure, impulse)


def _kn_middle(cuts: Pieces) -> Array:
    middle = 0.5 * (cuts.start + cuts.end)
    return np.asarray(cuts.constant + middle * (cuts.linear + middle * cuts.square))


def _swept(cuts: Pieces) -> Array:
    """∫ Kn dx over each piece, about its middle so that nothing cancels."""
    half = 0.5 * (cuts.end - cuts.start)
    return np.asarray(2.0 * half * (_kn_middle(cuts) + cuts.square * half * half / 3.0))


def _order(cuts: Pieces, width: Array) -> Array:
    """Gauss-Legendre order for each piece, from how near the zeros of Kn lie to its ends.

    The integrand is Kn^m; its only singularities are the two real zeros of Kn, outside the piece. With the nearer
    one at distance ρ (Bernstein ellipse) the error falls as ρ^(−2·order).
    """
    half = 0.5 * width
    middle = 0.5 * (cuts.start + cuts.end)
    level = _kn_middle(cuts)
    tilt = np.abs(cuts.linear + 2.0 * middle * cuts.square) * half
    bend = -cuts.square * half * half
    nearest = 2.0 * level / (tilt + np.sqrt(tilt * tilt + 4.0 * bend * level) + 1e-300)
    nearest = np.clip(nearest, 1.0, 1e6)
    ellipse = np.log(nearest + np.sqrt(nearest * nearest - 1.0))
    power = np.abs(1.0 - cuts.slope)
    needed = (10.0 + 1.5 * power) / np.maximum(ellipse, 1e-3)
    return np.asarray(_ORDERS)[np.minimum(np.searchsorted(_ORDERS, needed), len(_ORDERS) - 1)]


def _nodes(cuts: Pieces, width: Array, order: int) -> Array:
    """Kn at the nodes, (s, order)."""
    abscissae = 0.5 * (1.0 + _RULES[order][0])
    x = cuts.start[:, None] + width[:, None] * abscissae
    kn = cuts.square[:, None] * x
    kn += cuts.linear[:, None]
    kn *= x
    kn += cuts.constant[:, None]
    return kn


def _time(cuts: Pieces, width: Array, impedance: Array, order: int) -> Array:
    """∫ dx/r = ρ·c*·∫ Kn/p dx over each piece."""
    kn = _nodes(cuts, width, order)
    np.log(kn, out=kn)
    kn *= (1.0 - cuts.slope)[:, None]
    kn -= cuts.offset[:, None]
    np.exp(kn, out=kn)
    return np.asarray(0.5 * width * impedance * _weighted(kn, order))


def _weighted(values: Array, order: int) -> Array:
    """Sum of values (s, order) with the rule's weights; einsum, whose order of summation does not depend on s."""
    return np.asarray(np.einsum("ij,j->i", values, _RULES[order][1]))


def _ambient_rate(law: Balance, motor: Index) -> Array:
    """Burning rate at ambient pressure, from κ = p/(ρ·c*·r) at the floor."""
    log_rate = law.log_ambient[motor] - law.log_impedance[motor] - np.log(law.floor[motor])
    return np.asarray(np.exp(log_rate))


def _detached_impulse(cuts: Pieces, width: Array, impedance: Array, batch: Columns, order: int) -> Array:
    """∫ F dt over pieces of separated or unchoked flow."""
    log_kn = np.log(_nodes(cuts, width, order))
    log_pressure = cuts.slope[:, None] * log_kn + cuts.offset[:, None]
    push = _detached(np.exp(log_pressure), cuts.motor, batch)
    slowness = np.exp(log_kn - log_pressure)
    return np.asarray(0.5 * width * impedance * _weighted(push * slowness, order))


def _action_time(
    cuts: Pieces, time: Array, burn_time: NDArray[Any], state: _Pressures, threshold: Array
) -> Array:
    """Time between the first and the last moment at which pressure is 10 % of its peak."""
    weak = state.lowest < 0.1 * state.peak
    if not weak.any():
        return burn_time.copy()
    strong = np.nonzero(_kn_middle(cuts) >= threshold[cuts.motor])[0]
    first = np.full(burn_time.size, np.inf)
    last = np.full(burn_time.size, -np.inf)
    np.minimum.at(first, cuts.motor[strong], cuts.start[strong])
    np.maximum.at(last, cuts.motor[strong], cuts.end[strong])
    within = (cuts.start >= first[cuts.motor]) & (cuts.end <= last[cuts.motor])
    action = np.bincount(cuts.motor, weights=time * within, minlength=burn_time.size)
    return np.where(weak, action, burn_time)


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
        push[loose] = _detached(pressure[loose], motor[loose[0]], batch)
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
    time = _time(some, end - start, impedance, order)
    still = some.still
    if still.any():
        time[still] = (end - start)[still] / _ambient_rate(law, some.motor[still])
    return time.reshape(x.shape[0], steps)
