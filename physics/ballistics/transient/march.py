"""From ignition to blow-down: steps of the two-stage integration, each motor with its own, and their record.

Imports numpy, the layout and the stages. Numerics and sources stand in the head of the package.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.ballistics.port import Profile, no_flow
from physics.ballistics.transient.layout import Layout, Mask, Options
from physics.ballistics.transient.stages import (
    Flow,
    Geometry,
    Rates,
    Stage,
    State,
    Store,
    advanced,
    flow,
    geometry,
    next_burnout,
    nozzle_flow,
    recession_rate,
    solve_stage,
)
from physics.motors import Array

SDIRK = 1.0 - np.sqrt(0.5)

LOWEST_START = 1e3

"""Pressure [Pa] from which filling starts where the surroundings have less."""

_CONVERGED = 1e-4

_MOST_STEPS = 20000

_SPREAD_STEPS = 48
"""Least number of steps in which the flame runs along the grains."""


# --- the march --------------------------------------------------------------------------------------------------------

FIELDS = (
    "time",
    "step",
    "inner_pressure",
    "pressure",
    "inner_throat",
    "throat",
    "inner_flow",
    "flow",
    "head",
    "kn",
    "flux",
    "mach",
    "choked",
    "burning",
    "rate",
    "exponent",
    "volume",
    "regression",
)

"""One row of the record a step; "inner" is the first stage of the step. Pressures Pa, head over chamber pressure."""


@dataclass
class March:
    """The moving part of a block: where its motors stand, their books and their next step; first axis the motors."""

    index: NDArray[np.intp]
    layout: Layout
    state: State
    store: Store
    rates: Rates
    port: Profile
    shape: Geometry
    time: Array
    step: Array
    slope: Array
    burning: Mask
    done: Mask

    def take(self, index: Any) -> March:
        """Some of the motors.

        Parameters
        ----------
        index : Any
            Their places in the batch, as numpy indexes.

        Returns
        -------
        March
            Of those motors, in that order.
        """
        return March(*(_taken(getattr(self, item.name), index) for item in fields(self)))


def _taken(part: Any, index: Any) -> Any:
    if isinstance(part, np.ndarray):
        return part[index] if part.shape[0] > 1 or part.ndim == 1 else part
    if isinstance(part, Layout):
        return part.take(index)
    return type(part)(*(_taken(getattr(part, item.name), index) for item in fields(part)))


def _merged(new: Any, old: Any, keep: Mask) -> Any:
    """`new` where `keep`, else `old`, through a dataclass of arrays with the batch first."""
    if keep.all():
        return new
    if isinstance(new, np.ndarray):
        return np.where(keep.reshape((-1,) + (1,) * (new.ndim - 1)), new, old)
    return type(new)(*(_merged(getattr(new, f.name), getattr(old, f.name), keep) for f in fields(new)))


def unburnt_state(layout: Layout) -> State:
    """Every motor before ignition: nothing regressed, at the pressure around it.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    """
    n, grains = layout.length.shape
    start = np.log(np.maximum(layout.ambient_pressure, LOWEST_START))
    faces = np.zeros((n, grains))
    cells = np.zeros((n, grains, layout.stations))
    return State(start, cells, faces, faces.copy(), layout.throat_radius.copy(), np.zeros(n))


def _ignition(layout: Layout, state: State) -> tuple[Array, Flow]:
    """Pressure that the unburnt surface would hold [Pa], (n,), all of it alight, and the flow of the port there."""
    layout = replace(layout, spread_time=np.zeros_like(layout.spread_time))
    shape = geometry(layout, state.core, state.head, state.aft)
    log_pressure = np.full_like(state.log_pressure, np.log(2e6))
    ones = np.ones_like(shape.head)
    n, grains, stations = shape.core.shape
    rates = Rates(np.ones_like(shape.core), ones, ones, np.zeros((n, 1, 1)))
    port = no_flow((n, grains, stations + 2))
    for _ in range(30):
        now = flow(layout, replace(state, log_pressure=log_pressure), shape, rates, port)
        rates, port = now.rates, now.port
        out, slope = nozzle_flow(layout, np.exp(log_pressure), state.throat)
        made = layout.density * now.made
        descent = np.maximum(out * slope - made * now.made_exponent, 0.1 * np.maximum(out, made))
        log_pressure = log_pressure + np.clip((made - out) / np.where(descent > 0.0, descent, 1.0), -1.0, 1.0)
        log_pressure = np.maximum(log_pressure, state.log_pressure)
    return np.exp(log_pressure), now


def _start(layout: Layout, motors_index: NDArray[np.intp], held: Flow) -> March:
    state = unburnt_state(layout)
    shape = geometry(layout, state.core, state.head, state.aft)
    whole = replace(layout, spread_time=np.zeros_like(layout.spread_time))
    now = flow(whole, state, shape, held.rates, held.port)
    pressure = np.exp(state.log_pressure)
    gas = pressure * layout.free_volume / layout.gas_constant_temperature
    with np.errstate(divide="ignore"):
        step = np.where(now.made > 0.0, 0.03 * gas / (layout.density * now.made), 0.0)
    burning = now.made > 0.0
    rates = now.rates
    if layout.spreads:
        lit = layout.lit(state.time)
        rates = Rates(rates.core * lit.core, rates.head * lit.head, rates.aft * lit.aft, rates.exponent)
    return March(
        motors_index,
        layout,
        state,
        Store(gas, np.zeros_like(gas)),
        rates,
        now.port,
        shape,
        np.zeros_like(gas),
        step,
        np.zeros_like(gas),
        burning,
        ~burning,
    )


def filling_time(layout: Layout, state: State, shape: Geometry) -> Array:
    """Time in which a chamber fills, τ = V·c*/(R·T·A_t).

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    state : State
        Where they stand.
    shape : Geometry
        What is left there.

    Returns
    -------
    ndarray
        (n,). [s]
    """
    volume = layout.free_volume + layout.propellant_volume - shape.left
    area = np.pi * state.throat**2
    return volume * layout.characteristic_velocity / (layout.gas_constant_temperature * area)


def _attempt(march: March, options: Options) -> tuple[March, Array, Array]:
    """One step tried by every motor: the march after it, the rows for the record, and the burning time (NaN before)."""
    layout, old, step = march.layout, march.state, march.step
    guess = replace(old, log_pressure=old.log_pressure + np.clip(SDIRK * step * march.slope, -0.5, 0.5))
    first = solve_stage(layout, guess, march.store.left, march.store.gas, SDIRK * step, march.rates, march.port)
    early = recession_rate(layout, first.state.log_pressure)
    ahead = np.clip((first.state.log_pressure - old.log_pressure) / SDIRK, -0.5, 0.5)
    base = advanced(old, first.flow.rates, early, (1.0 - SDIRK) * step, old.log_pressure + ahead)
    early_out, _ = nozzle_flow(layout, np.exp(first.state.log_pressure), first.state.throat)
    stored = march.store.left + (1.0 - SDIRK) * step * early_out
    second = solve_stage(layout, base, stored, march.store.gas, SDIRK * step, first.flow.rates, first.flow.port)
    state = second.state
    shape = geometry(layout, state.core, state.head, state.aft)
    pressure = np.exp(state.log_pressure)
    volume = layout.free_volume + layout.propellant_volume - shape.left
    gas = pressure * volume / layout.gas_constant_temperature
    left = march.store.gas + layout.density * (layout.propellant_volume - shape.left) - gas
    bend = (state.log_pressure - first.state.log_pressure) / (1.0 - SDIRK) - (first.state.log_pressure - old.log_pressure) / SDIRK
    bend = np.abs(bend) / options.tolerance
    off = np.maximum(np.abs(first.correction), np.abs(second.correction)) / _CONVERGED
    measure = np.maximum(bend, off)
    good = (measure <= 2.0) & ~march.done
    area = shape.area
    burning = march.burning & (area > 0.0)
    grown = np.where(march.done, 0.0, _next_step(march, options, second, shape, measure, good, area))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (state.log_pressure - first.state.log_pressure) / ((1.0 - SDIRK) * step)
    late_out, _ = nozzle_flow(layout, pressure, state.throat)
    row = _row(march, first, second, shape, (early_out, late_out))
    end = _burnout_time(march, first, second, good & march.burning & ~burning)
    floor = np.maximum(1.02 * layout.ambient_pressure, LOWEST_START)
    after = March(
        march.index,
        layout,
        _merged(state, old, good),
        Store(march.store.gas, np.where(good, left, march.store.left)),
        _merged(second.flow.rates, march.rates, good),
        _merged(second.flow.port, march.port, good),
        _merged(shape, march.shape, good),
        np.where(good, march.time + step, march.time),
        grown,
        np.where(good, np.nan_to_num(slope), 0.0),
        np.where(good, burning, march.burning),
        march.done | (good & ~burning & (pressure <= floor)),
    )
    return after, np.where(good, row, np.nan), end


def _next_step(march: March, options: Options, second: Stage, shape: Geometry, measure: Array, good: Mask, area: Array) -> Array:
    """The next step of every motor [s]: by curvature, web, convergence, and the next burnout."""
    layout, step, rates = march.layout, march.step, second.flow.rates
    scale = np.clip(0.9 / np.sqrt(np.maximum(measure, 1e-12)), 0.2, 2.0)
    wanted = step * np.where(good, scale, np.minimum(scale, 0.6))
    wanted = np.minimum(wanted, _web_step(layout, rates, shape) / options.web_steps)
    wanted = np.where(march.time < 1.1 * layout.spread_time, np.minimum(wanted, layout.spread_time / _SPREAD_STEPS), wanted)
    filling = filling_time(layout, second.state, shape)
    before = march.shape.area
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = np.where(before > 0.0, np.maximum(1.0 - area / before, 0.0), 0.0)
    wanted = np.where(good & (lost > 0.02), np.minimum(wanted, 0.05 * filling / np.maximum(lost, 0.02)), wanted)
    state = _merged(second.state, march.state, good)
    kept, kept_shape = _merged(rates, march.rates, good), _merged(shape, march.shape, good)
    soonest, _ = next_burnout(layout, state, kept, kept_shape)
    return _landing(layout, state, kept, kept_shape, soonest, wanted, filling)


def _web_step(layout: Layout, rates: Rates, shape: Geometry) -> Array:
    """Time in which the fastest surface would burn the thinnest web of a grain that still burns [s], (n,)."""
    cored = layout.cored & (shape.core > 0.0).any(axis=2)
    closing = layout.bare_head + layout.bare_aft
    with np.errstate(divide="ignore", invalid="ignore"):
        axial = np.where(shape.head + shape.aft > 0.0, layout.length / closing, np.inf)
    thickness = np.minimum(np.where(cored, layout.web, np.inf), axial).min(axis=1)
    cells = np.where(shape.core > 0.0, rates.core, 0.0).max(axis=(1, 2))
    fastest = np.maximum(cells, np.maximum(rates.head, rates.aft).max(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(fastest > 0.0, thickness / fastest, np.inf))


def _landing(layout: Layout, state: State, rates: Rates, shape: Geometry, soonest: Array, wanted: Array, filling: Array) -> Array:
    """Step that meets the next burnout, `soonest` [s] ahead, if that is less than `wanted` [s]; (n,).

    First to just before it, where its time is known better, then on to it. Where little surface goes out together,
    steps of a quarter of the filling time may run over several burnouts; the cells then burn for a part of the step.
    """
    window = (soonest + 0.25 * filling)[:, None, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        going = np.where((layout.cell_web - state.core) < window * rates.core, shape.core, 0.0).sum(axis=(1, 2))
    few = going < 0.15 * shape.core.sum(axis=(1, 2))
    target = np.where(soonest > 0.15 * wanted, 0.92 * soonest, 1.002 * soonest)
    landing = np.maximum(target, np.minimum(np.where(few, 0.25, 0.02) * filling, wanted))
    return np.minimum(landing, wanted)


def _burnout_time(march: March, first: Stage, second: Stage, ended: Mask) -> Array:
    """Time of the last burnout [s] where it happened in this step, else NaN, (n,)."""
    if not ended.any():
        return np.full(ended.shape, np.nan)
    early, late = first.flow.rates, second.flow.rates

    def mean_of(name: str) -> Array:
        return np.asarray((1.0 - SDIRK) * getattr(early, name) + SDIRK * getattr(late, name))

    mean = Rates(mean_of("core"), mean_of("head"), mean_of("aft"), late.exponent)
    _, last = next_burnout(march.layout, march.state, mean, march.shape)
    return np.where(ended, march.time + np.minimum(last, march.step), np.nan)


def _row(march: March, first: Stage, second: Stage, shape: Geometry, outflow: tuple[Array, Array]) -> Array:
    """One line of the record, (fields, n), in the order of `FIELDS`."""
    layout, state, now, step = march.layout, second.state, second.flow, march.step
    pressure = np.exp(state.log_pressure)
    throat = np.pi * state.throat**2
    volume = layout.free_volume + layout.propellant_volume - shape.left
    exits = now.exit_share * (pressure * throat / layout.characteristic_velocity)[:, None] / second.shape.port[:, :, -1]
    web = layout.web[:, :, None]
    weight = (layout.length * layout.cored)[:, :, None]
    total = np.maximum(weight.sum(axis=1)[:, 0] * layout.stations, 1e-300)
    depth = (np.minimum(state.core, web) * weight).sum(axis=(1, 2)) / total
    depth = np.where(layout.cored.any(axis=1), depth, state.aft.max(axis=1))
    return np.array(
        [
            march.time + step,
            step,
            np.exp(first.state.log_pressure),
            pressure,
            first.state.throat,
            state.throat,
            *outflow,
            now.port.head,
            _alight(layout, state, shape) / throat,
            exits.max(axis=1),
            np.sqrt(now.port.mach_squared[:, :, -1].max(axis=1)),
            now.port.choked.astype(float),
            march.burning.astype(float),
            now.rates.core.min(axis=(1, 2)),
            now.made_exponent,
            volume,
            depth,
        ]
    )


def _alight(layout: Layout, state: State, shape: Geometry) -> Array:
    """The surface that burns [m2], (n,): all of it once the flame has run along the grains."""
    if not layout.spreads:
        return shape.area
    lit = layout.lit(state.time)
    return np.asarray((shape.core * lit.core).sum(axis=(1, 2)) + (shape.head * lit.head + shape.aft * lit.aft).sum(axis=1))


@dataclass
class Record:
    """What a block did, (steps, n) a field, NaN where a motor took no step; and what is known once, (n,)."""

    rows: dict[str, Array]
    burn_time: Array
    ignition_pressure: Array
    port_over_throat: Array
    kn_at_ignition: Array
    dead: Mask
    start: Array
    head: Array
    store_left: Array
    layout: Layout
    endless: Mask


def marched(layout: Layout, options: Options) -> Record:
    """The record of every motor from ignition to the end of its blow-down.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    options : Options
        Numerical choices.

    Returns
    -------
    Record
        SI, NaN where a motor took no step.
    """
    n = layout.density.size
    held_pressure, held = _ignition(layout, unburnt_state(layout))
    unburnt = geometry(layout, *(getattr(unburnt_state(layout), name) for name in ("core", "head", "aft")))
    with np.errstate(divide="ignore", invalid="ignore"):
        open_ratio = unburnt.port[:, :, -1] / (held.exit_share * np.pi * layout.throat_radius[:, None] ** 2)
    open_ratio = np.where(layout.cored & (held.exit_share > 0.0), open_ratio, np.inf).min(axis=1)
    march = _start(layout, np.arange(n), held)
    dead = march.done.copy()
    kn_at_ignition = unburnt.area / (np.pi * layout.throat_radius**2)
    burn_time, left, rows = np.where(march.burning, np.nan, 0.0), np.zeros(n), []
    head = march.port.head.copy()
    for _ in range(_MOST_STEPS):
        if march.done.all():
            break
        if march.done.sum() > 0.4 * march.done.size:
            left[march.index] = march.store.left
            march = march.take(np.flatnonzero(~march.done))
        march, row, end = _attempt(march, options)
        burn_time[march.index] = np.where(np.isnan(end), burn_time[march.index], end)
        line = np.full((len(FIELDS), n), np.nan)
        line[:, march.index] = row
        rows.append(line)
    endless = np.zeros(n, bool)
    endless[march.index[~march.done]] = True
    left[march.index] = march.store.left
    table = np.array(rows).reshape(len(rows), len(FIELDS), n)
    start = np.exp(unburnt_state(layout).log_pressure)
    return Record(
        {name: table[:, place] for place, name in enumerate(FIELDS)},
        burn_time,
        held_pressure,
        open_ratio,
        kn_at_ignition,
        dead,
        start,
        head,
        left,
        layout,
        endless,
    )
