"""The state of a burn and its rates: surfaces, port flow, the mass balance, one implicit stage.

Imports numpy, the layout, the nozzle, the port, the propellant and the erosive laws. Model and sources stand in the head
of the package.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from physics.ballistics.erosion import eroded_rate
from physics.ballistics.nozzle import vandenkerckhove
from physics.ballistics.port import Profile, profile
from physics.ballistics.propellant import RateLaw
from physics.ballistics.transient.caps import capped_grains, in_cells, time_to_end
from physics.ballistics.transient.layout import Layout
from physics.motors import Array

RECESSION_EXPONENT = 0.8

_JOIN = 5e-4

_NEAR = 1e-3

_SWEEPS = 2


# --- the state and its rates ------------------------------------------------------------------------------------------


@dataclass
class State:
    """Where every motor stands: log pressure (n,), regressions [m] of cells, head and nozzle faces, throat radius
    [m], and the time since ignition [s] (n,).
    """

    log_pressure: Array
    core: Array
    head: Array
    aft: Array
    throat: Array
    time: Array


@dataclass
class Rates:
    """Burning rates [m/s] of the cells (n, grains, stations) and faces (n, grains), and the local pressure exponent."""

    core: Array
    head: Array
    aft: Array
    exponent: Array


@dataclass
class Geometry:
    """Surfaces [m2] and volumes [m3] at one state: core cells, faces, cells' port area, propellant left (n,)."""

    core: Array
    head: Array
    aft: Array
    port: Array
    diameter: Array
    left: Array

    @property
    def area(self) -> Array:
        """All burning surface [m2], (n,)."""
        return np.asarray(self.core.sum(axis=(1, 2)) + (self.head + self.aft).sum(axis=1))


@dataclass
class Flow:
    """Gas made, `made` [m3 of solid/s] (n,), its exponent in pressure, mass flow of the nozzle [kg/s], and the port."""

    made: Array
    made_exponent: Array
    nozzle: Array
    port: Profile
    exit_share: Array
    rates: Rates


def geometry(layout: Layout, core: Array, head: Array, aft: Array) -> Geometry:
    """Burning surfaces and volume left.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    core : ndarray
        Regression of each cell, (n, grains, stations). [m]
    head, aft : ndarray
        Of the two faces, (n, grains). [m]

    Returns
    -------
    Geometry
        SI; where a cap covers part of a face, of its front and of what is left outside it.
    """
    diameter = layout.bore + 2.0 * np.minimum(core, layout.cell_web)
    hollow = (0.25 * np.pi) * diameter * diameter
    unburnt = core < layout.cell_web
    # Bore and twice the web may round to a hair less than the outer diameter: what is gone must leave no face to burn.
    solid = np.where(unburnt | ~layout.cored[:, :, None], layout.full[:, :, None] - hollow, 0.0)
    surface = np.pi * diameter * unburnt
    n, grains, stations = core.shape
    if layout.bare_aft.any() or layout.bare_head.any():
        start = np.maximum(layout.edge, head[:, :, None])
        end = np.minimum(layout.edge + layout.cell[:, :, None], (layout.length - aft)[:, :, None])
        span = np.maximum(end - start, 0.0)
        remains = layout.length > head + aft
        place = stations * np.arange(n * grains).reshape(n, grains)
        at_head = np.minimum((head * layout.per_cell).astype(np.intp), stations - 1)
        at_aft = np.maximum(stations - 1 - (aft * layout.per_cell).astype(np.intp), 0)
        head_face = layout.bare_head * remains * np.take(solid, place + at_head)
        aft_face = layout.bare_aft * remains * np.take(solid, place + at_aft)
    else:
        span = layout.cell[:, :, None]
        head_face = aft_face = np.zeros((n, grains))
    surface = surface * (span * layout.cored[:, :, None])
    volumes = solid * (span * layout.burnable[:, :, None])
    if layout.capped.any():
        some = layout.capped
        part = in_cells(capped_grains(layout, some), core[some], head[some][:, None], aft[some][:, None])
        surface[some], volumes[some] = part.core, part.volume
        head_face[some], aft_face[some] = part.forward.sum(axis=1), part.aft.sum(axis=1)
    left = volumes.sum(axis=(1, 2))
    port = np.where(layout.cored[:, :, None], hollow, layout.full[:, :, None])
    if layout.first.any():
        lead = np.take_along_axis(port[:, :, 0], layout.first[:, None], axis=1)
        port = np.where(layout.present[:, :, None], port, lead[:, :, None])
    return Geometry(surface, head_face, aft_face, port, diameter, left)


def log_rate(law: RateLaw, log_pressure: Array) -> tuple[Array, Array]:
    """Burning rate and local exponent by the rate law, its rows joined over ±0.05 % of pressure at bounds.

    Parameters
    ----------
    law : RateLaw
        Of n motors.
    log_pressure : ndarray
        ln p with p in Pa, (n, …). [-]

    Returns
    -------
    log_rate, exponent : ndarray
        ln r with r in m/s, and d ln r/d ln p, of the shape of the pressures. [-]
    """
    extra = (1,) * (log_pressure.ndim - 1)

    def column(table: Array, row: int) -> Array:
        return table[:, row].reshape((-1, *extra))

    exponent: Array = column(law.exponent, 0)
    value = column(law.log_coefficient, 0) + exponent * log_pressure
    for row in range(1, law.rows):
        rise = column(law.exponent, row) - column(law.exponent, row - 1)
        jump = column(law.log_coefficient, row) - column(law.log_coefficient, row - 1) + rise * log_pressure
        place = (log_pressure - column(law.log_bounds, row - 1)) / (2.0 * _JOIN) + 0.5
        share = np.clip(place, 0.0, 1.0)
        value = value + share * jump
        exponent = exponent + share * rise + np.where((place > 0.0) & (place < 1.0), jump / (2.0 * _JOIN), 0.0)
    return value, exponent


def nozzle_factor(layout: Layout, pressure: Array) -> Array:
    """Mass flow of the nozzle over the choked one.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    pressure : ndarray
        Of the chamber, broadcasts against (n,). [Pa]

    Returns
    -------
    ndarray
        1 above the critical ratio, isentropic to ambient below; within 0.1 % of ambient it falls to 0 in a straight line, so
        that its slope stays finite. [-]
    """
    over = pressure / np.maximum(layout.ambient_pressure, 1e-9)
    if (over >= layout.critical).all():
        return np.ones_like(over)
    gamma = layout.gamma
    bounded = np.clip(over, 1.0 + _NEAR, layout.critical)
    speed = np.sqrt(2.0 * gamma / (gamma - 1.0) * (1.0 - bounded ** ((1.0 - gamma) / gamma)))
    slow = speed * bounded ** (-1.0 / gamma) / vandenkerckhove(gamma) * np.clip((over - 1.0) / _NEAR, 0.0, 1.0)
    return np.where(over >= layout.critical, 1.0, np.minimum(slow, 1.0))


def flow(layout: Layout, state: State, shape: Geometry, guess: Rates, port: Profile) -> Flow:
    """One sweep of the port flow at a state: shares of the flow from the guessed rates, then pressures, then rates.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    state : State
        Where they stand.
    shape : Geometry
        The surfaces there.
    guess : Rates
        From which the shares are taken.
    port : Profile
        The port flow to start from.

    Returns
    -------
    Flow
        SI; the rates are those of the surface that is alight.
    """
    made = shape.core * guess.core + 1e-15 * layout.length[:, :, None] * shape.port
    at_head, at_aft = shape.head * guess.head, shape.aft * guess.aft
    inside = np.cumsum(made, axis=2)
    each = at_head + inside[:, :, -1] + at_aft
    behind = np.cumsum(each, axis=1)
    entry = behind - each + at_head
    pressure = np.exp(state.log_pressure)
    throat = np.pi * state.throat * state.throat
    factor = nozzle_factor(layout, pressure)
    share, area = _nodes(made), _nodes(shape.port)
    share[:, :, 0], share[:, :, -1] = entry, behind
    share[:, :, 1:-1] = entry[:, :, None] + inside - 0.5 * made
    share *= (factor / np.maximum(behind[:, -1], 1e-300))[:, None, None]
    area[:, :, 0], area[:, :, -1] = shape.port[:, :, 0], shape.port[:, :, -1]
    area[:, :, 1:-1] = shape.port
    port = profile(share, area, throat, layout.gamma, port)
    local = state.log_pressure[:, None, None] + (port.log_pressure[:, :, 1:-1] if layout.local else 0.0 * made)
    choked_flow = pressure * throat / layout.characteristic_velocity
    log_value, exponent = log_rate(layout.law, local)
    rate = base = np.exp(log_value)
    if layout.erosion.law != "none":
        flux = share[:, :, 1:-1] * choked_flow[:, None, None] / shape.port
        rate = eroded_rate(layout.erosion, base, flux, shape.diameter)
        exponent = exponent * (base / rate) + 0.8 * (1.0 - base / rate)
    rates = Rates(rate, layout.bare_head * base[:, :, 0], layout.bare_aft * base[:, :, -1], exponent)
    if layout.spreads:
        lit = layout.lit(state.time)
        rates = Rates(rates.core * lit.core, rates.head * lit.head, rates.aft * lit.aft, exponent)
    total, mean = gas_made(shape, rates)
    return Flow(total, mean, choked_flow * factor, port, share[:, :, -1], rates)


def _nodes(cells: Array) -> Array:
    """Room for the nodes of a profile: the cells and the two faces of each grain."""
    n, grains, stations = cells.shape
    return np.empty((n, grains, stations + 2))


def gas_made(shape: Geometry, rates: Rates) -> tuple[Array, Array]:
    """Gas made and its exponent in pressure.

    Parameters
    ----------
    shape : Geometry
        Of n motors, SI.
    rates : Rates
        Of their surfaces.

    Returns
    -------
    made, exponent : ndarray
        (n,) each; gas as the solid it is made of. [m3/s], [-]
    """
    cells = shape.core * rates.core
    faces = shape.head * rates.head + shape.aft * rates.aft
    made = cells.sum(axis=(1, 2)) + faces.sum(axis=1)
    exponent = rates.exponent
    if exponent.shape[1:] == (1, 1):
        return made, np.broadcast_to(exponent[:, 0, 0], made.shape)
    weighted = (cells * exponent).sum(axis=(1, 2)) + (
        shape.head * rates.head * exponent[:, :, 0] + shape.aft * rates.aft * exponent[:, :, -1]
    ).sum(axis=1)
    return made, weighted / np.where(made > 0.0, made, 1.0)


# --- one step ---------------------------------------------------------------------------------------------------------


@dataclass
class Store:
    """The books of every motor, (n,): gas at the start, and all gas that has left [kg]."""

    gas: Array
    left: Array


@dataclass
class Stage:
    """A solved stage: state, flow and shape there, and the last correction of ln p (n,)."""

    state: State
    flow: Flow
    shape: Geometry
    correction: Array


def advanced(base: State, rates: Rates, recession: Array, step: Array, log_pressure: Array) -> State:
    """A state moved on at steady rates.

    Parameters
    ----------
    base : State
        Of n motors, SI.
    rates : Rates
        Of their surfaces.
    recession : ndarray
        Of the throat's radius, (n,). [m/s]
    step : ndarray
        (n,). [s]
    log_pressure : ndarray
        That of the new state, (n,). [-]
    """
    wide = step[:, None]
    return State(
        log_pressure,
        base.core + wide[:, :, None] * rates.core,
        base.head + wide * rates.head,
        base.aft + wide * rates.aft,
        base.throat + step * recession,
        base.time + step,
    )


def recession_rate(layout: Layout, log_pressure: Array) -> Array:
    """Radial recession of the throat.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    log_pressure : ndarray
        ln p with p in Pa, (n,). [-]

    Returns
    -------
    ndarray
        (n,). [m/s]
    """
    if not layout.recession.any():
        return np.zeros_like(log_pressure)
    return layout.recession * np.exp(RECESSION_EXPONENT * (log_pressure - np.log(layout.recession_at)))


def nozzle_flow(layout: Layout, pressure: Array, throat: Array) -> tuple[Array, Array]:
    """Mass flow of the nozzle and its logarithmic slope in pressure.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    pressure : ndarray
        Of the chamber, (n,). [Pa]
    throat : ndarray
        Radius, (n,). [m]

    Returns
    -------
    flow, slope : ndarray
        (n,) each. [kg/s], [-]
    """
    choked = pressure * np.pi * throat**2 / layout.characteristic_velocity
    factor = nozzle_factor(layout, pressure)
    if (factor >= 1.0).all():
        return choked, np.ones_like(choked)
    power = (layout.gamma - 1.0) / layout.gamma
    over = np.maximum(pressure / np.maximum(layout.ambient_pressure, 1e-9), 1.0 + 1e-9)
    shrunk = over**-power
    slope = 1.0 + np.where(over > 1.0 + _NEAR, 0.5 * power * shrunk / (1.0 - shrunk) - 1.0 / layout.gamma, over / (over - 1.0))
    return choked * factor, np.where(factor >= 1.0, 1.0, slope)


def _balance(layout: Layout, store_gas: Array, store_left: Array, at: Stage, shift: Array, step: Array) -> Array:
    """Change of ln p that closes the mass balance of a stage, by Newton steps on the power law of the made gas."""
    pressure = np.exp(at.state.log_pressure)
    burnt = layout.propellant_volume - at.shape.left + shift
    made, exponent = step * at.flow.made, at.flow.made_exponent
    delta = np.zeros_like(pressure)
    limit = 1.0 / np.maximum(np.abs(exponent), 1.0)  # across a jump of the rate the power law holds for a hair only
    for _ in range(3):
        grown = made * np.exp(exponent * delta)
        here = pressure * np.exp(delta)
        volume = layout.free_volume + burnt + grown - made
        held = here / layout.gas_constant_temperature
        out, out_slope = nozzle_flow(layout, here, at.state.throat)
        residual = held * volume + store_left + step * out - store_gas - layout.density * (burnt + grown - made)
        slope = held * (volume + exponent * grown) + step * out * out_slope - layout.density * exponent * grown
        slope = np.maximum(slope, 0.05 * (held * volume + step * out))
        delta = np.clip(delta - residual / slope, -limit, limit)
    return delta


def solve_stage(
    layout: Layout, base: State, store_left: Array, store_gas: Array, step: Array, rates: Rates, port: Profile
) -> Stage:
    """Implicit stage: state = base + step·rates(state), with the pressure that closes the mass balance.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    base : State
        What the stage starts from; its pressure is the first guess.
    store_left, store_gas : ndarray
        Gas that has left, and gas at the start, (n,). [kg]
    step : ndarray
        (n,). [s]
    rates : Rates
        First guess.
    port : Profile
        First guess.

    Returns
    -------
    Stage
        SI.

    Notes
    -----
    A fixed number of sweeps, so that a motor's answer does not depend on the company it keeps in the batch; the last
    correction tells how far the stage has converged.
    """
    log_pressure = base.log_pressure
    for _ in range(_SWEEPS):
        state = advanced(base, rates, recession_rate(layout, log_pressure), step, log_pressure)
        shape = geometry(layout, state.core, state.head, state.aft)
        now = flow(layout, state, shape, rates, port)
        before, _ = gas_made(shape, rates)
        stage = Stage(state, now, shape, np.zeros_like(log_pressure))
        delta = _balance(layout, store_gas, store_left, stage, step * (now.made - before), step)
        log_pressure, port = log_pressure + delta, now.port
        rates = _scaled(now.rates, delta)
    state = advanced(base, rates, recession_rate(layout, log_pressure), step, log_pressure)
    return Stage(state, replace(now, rates=rates), shape, delta)


def _scaled(rates: Rates, delta: Array) -> Rates:
    """Rates after a change of ln p by `delta` (n,), by the local power law."""
    growth = np.exp(rates.exponent * delta[:, None, None])
    return Rates(rates.core * growth, rates.head * growth[:, :, 0], rates.aft * growth[:, :, -1], rates.exponent)


def _under_caps(layout: Layout, state: State, rates: Rates, axial: Array, radial: Array) -> tuple[Array, Array, Array]:
    """Times to the end of each grain along its axis, to what comes first there, and to the burnout of each cell [s], anew where
    a cap covers part of a face: there the flat parts meet first, and a ring is left.
    """
    some = layout.capped
    grains = capped_grains(layout, some)
    speeds = (layout.bare_head * rates.head)[some][:, None], (layout.bare_aft * rates.aft)[some][:, None]
    end = time_to_end(grains, state.head[some][:, None], state.aft[some][:, None], speeds)[:, 0]
    flat = axial[some]
    axial, met, radial = axial.copy(), axial.copy(), radial.copy()
    axial[some], met[some] = end, np.where(flat > 0.0, np.minimum(flat, end), end)
    left = (layout.cell_web - state.core)[some]
    with np.errstate(divide="ignore", invalid="ignore"):
        radial[some] = np.where((left > 0.0) & layout.cored[some][:, None], left / rates.core[some], np.nan)
    return axial, met, radial


def next_burnout(layout: Layout, state: State, rates: Rates, shape: Geometry) -> tuple[Array, Array]:
    """Time to the next burnout of a cell or a grain, and to the last.

    Parameters
    ----------
    layout : Layout
        Of n motors, SI.
    state : State
        Where they stand.
    rates : Rates
        Taken as steady.
    shape : Geometry
        The surfaces there.

    Returns
    -------
    soonest, last : ndarray
        (n,) each; inf and 0 where nothing burns. [s]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        radial = np.where(shape.core > 0.0, (layout.cell_web - state.core) / rates.core, np.nan)
        closing = layout.bare_head * rates.head + layout.bare_aft * rates.aft
        axial = np.where(shape.head + shape.aft > 0.0, (layout.length - state.head - state.aft) / closing, np.inf)
    met = axial
    if layout.capped.any():
        axial, met, radial = _under_caps(layout, state, rates, axial, radial)
    ends = np.where(layout.cored, np.fmax.reduce(radial, axis=2), np.inf)
    whole = np.fmin(ends, axial)
    alive = (shape.core > 0.0).any(axis=2) | (shape.head + shape.aft > 0.0)
    soonest = np.fmin(np.fmin.reduce(radial, axis=(1, 2)), np.where(alive, met, np.inf).min(axis=1))
    soonest = np.where(np.isnan(soonest), np.inf, soonest)
    last = np.where(alive, np.where(np.isfinite(whole), whole, 0.0), 0.0).max(axis=1)
    return soonest, last
