"""The transient kernel: what a pressure transducer would show, from ignition to blow-down.

Owns the time integration of chamber filling and emptying with quasi-steady port flow, erosive burning, uneven
regression, throat recession and the ends of the burn. Imports numpy, `physics.assembly`, `physics.constants`,
`physics.erosion`, `physics.motors`, `physics.nozzle`, `physics.port`, `physics.propellant`.

Model
-----
- d(ρ_g·V)/dt = ρ·Σ A_b·r − ṁ, ρ_g = p/(R·T) with constant R·T = (c*·Γ)²; p is the stagnation pressure at the nozzle
  entry and stands for the whole free volume in the storage term. ṁ = p·A_t/c*, less by the isentropic factor where
  p/p_ambient is below critical. The whole bare surface burns from t = 0; the chamber starts at ambient pressure (1 kPa
  at least). The igniter's own gas and the spread of the flame are not modelled.
- Free volume V: inside of the liner from plate to nozzle, the convergent too, less propellant; without a case or its
  length, the cores alone; one throat diameter of throat area at least. See `free_volume`.
- Port flow: `physics.port`. Gas is taken up by storage in proportion to where it is made, so that the flow through a
  station is the share of the burning surface upstream of it. Each grain has `stations` cells of its own regression,
  and each bare face one. With one bare end it is the nozzle end.
- Local rate: r(p_static) at the station's own static pressure, raised by the erosive law of `physics.erosion`
  (`rate_pressure="chamber"` gives every surface the chamber pressure instead, the lumped motor). Where rows of the
  rate law meet at a jump, the law is joined across ±0.05 % of pressure.
- Throat: dR/dt = recession·(p/throat_recession_at)^0.8, the exponent of turbulent heat and mass transfer.
- Thrust: `physics.nozzle.thrust` with the expansion ratio of the moment.

Numerics
--------
Two-stage, second-order, L-stable diagonally implicit Runge–Kutta (γ = 1 − 1/√2), each motor with its own step. The
unknown is the mass that has left; pressure follows from the mass left in the free volume, so mass is conserved by
construction as far as the stages converge, and filling may be as stiff as it likes. The step is set by the curvature of
log p, by the web and by the next burnout, on which it lands. All motors of a block advance together as columns.

No compiled loops. Measured on two cores with numba 0.68: the sweep along the port alone, four grains of ten nodes, ran
56, 5.5 and 1.4 times as fast compiled as in numpy for 1, 16 and 128 motors; import and compilation took 2.9 s, more
than a whole check may take, and the compiler is some 200 MB to install. A single motor takes a third of a second here
and a search runs batches, where little is left to gain. `tests/benchmarks/transient_speed.py` prints what a batch gains
over one motor at a time and how that stands beside an adaptive lumped integration.

Sources: mass balance and isothermal chamber, Sutton & Biblarz, ch. 12 (remembered). L-stable SDIRK of order 2: R.
Alexander, SIAM J. Numer. Anal. 14 (1977) 1006 (remembered).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics import steady
from physics.assembly import assemble
from physics.constants import STANDARD_GRAVITY
from physics.erosion import Erosion, eroded_rate, erosion
from physics.motors import Array, Curve, Figures, Motors
from physics.nozzle import critical_pressure_ratio, thrust, vandenkerckhove
from physics.port import Profile, profile, still
from physics.propellant import RateLaw, rate_coefficients

Mask = NDArray[np.bool_]

SDIRK = 1.0 - np.sqrt(0.5)
RECESSION_EXPONENT = 0.8
LOWEST_START = 1e3
"""Pressure [Pa] from which filling starts where the surroundings have less."""

SOLID_DIFFUSIVITY = 1.7e-7
"""Thermal diffusivity of solid propellant [m2/s]; textbook middle of 1e-7 to 2.5e-7, remembered."""

_JOIN = 5e-4
_NEAR = 1e-3
_SWEEPS = 2
_CONVERGED = 1e-4
_MOST_STEPS = 20000


@dataclass(frozen=True)
class Options:
    """Numerical choices: cells a grain, bound on the curvature h²·(ln p)''/2 of a step, least number of steps a web."""

    stations: int = 8
    tolerance: float = 6e-3
    web_steps: int = 40
    rate_pressure: str = "static"
    block: int = 128


def evaluate(
    motors: Motors,
    curve: bool = False,
    *,
    stations: int = 8,
    tolerance: float = 6e-3,
    web_steps: int = 40,
    rate_pressure: str = "static",
    block: int = 128,
) -> Figures:
    """Figures of every motor of the batch, each (n,), SI; names as in the steady kernel. See the head of this file.

    `curve` adds the histories. `stations`: cells along each grain. `tolerance`: bound on h²·(ln p)''/2 in a step [-].
    `web_steps`: least number of steps over the thinnest web. `rate_pressure`: "static" or "chamber". `block`: motors
    that advance together; it changes speed alone. Every figure is NaN of a motor that needs more than 20,000 steps. Raises
    ValueError for an option out of range.
    """
    if rate_pressure not in ("static", "chamber"):
        raise ValueError(f"rate_pressure {rate_pressure!r}: expected 'static' or 'chamber'")
    if stations < 1 or web_steps < 1 or block < 1 or not tolerance > 0.0:
        raise ValueError("stations, web_steps and block must be at least 1 and tolerance above 0")
    options = Options(stations, tolerance, web_steps, rate_pressure, block)
    parts = [
        _evaluate_block(motors.take(slice(first, first + block)) if motors.size > block else motors, options, curve)
        for first in range(0, max(motors.size, 1), block)
    ]
    return _joined(parts)


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
                changed[item.name] = RateLaw(*(
                    leaf[index] if leaf.shape[0] == size else leaf
                    for leaf in (value.log_coefficient, value.exponent, value.log_bounds)
                ))
            elif isinstance(value, Erosion):
                changed[item.name] = value.take(index)
        return replace(self, **changed)


def _layout(motors: Motors, options: Options) -> Layout:
    n = motors.size
    grains = motors.grain
    leaves = (grains.count, grains.length, grains.outer_diameter, grains.core_diameter, grains.burning_ends)
    shaped = np.broadcast_arrays(*(np.atleast_2d(leaf) for leaf in leaves), np.empty((n, 1)))
    count, length, outer, core, ends = shaped[:5]
    count = np.where(_impossible(motors)[:, None], 0.0, count)
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
    ends = np.where(present, at(ends), 0.0)
    cored = present & (core > 0.0)
    web = np.where(cored, 0.5 * (outer - core), 0.0)
    cell = length / options.stations

    def wide(leaf: Array) -> Array:
        return np.repeat(leaf[:, :, None], options.stations, axis=2)

    nozzle, propellant = motors.nozzle, motors.propellant
    gamma = _column(propellant.gamma, n)
    velocity = _column(propellant.characteristic_velocity, n)
    temperature = _column(motors.ambient.temperature, n)
    solid = np.where((core > 0.0) | (ends > 0.0), 0.25 * np.pi * (outer**2 - core**2) * length, 0.0).sum(axis=1)
    return Layout(
        length, outer, core, (ends > 1.5).astype(float), (ends > 0.5).astype(float), web, wide(core), wide(web),
        0.25 * np.pi * outer * outer, cell, np.where(cell > 0.0, 1.0 / np.where(cell > 0.0, cell, 1.0), 0.0),
        cell[:, :, None] * np.arange(options.stations), cored, cored | (ends > 0.5), present, first,
        options.stations, free_volume(motors), solid, _column(propellant.density, n), gamma, velocity,
        (velocity * vandenkerckhove(gamma)) ** 2, 0.5 * _column(nozzle.throat_diameter, n),
        0.25 * np.pi * _column(nozzle.exit_diameter, n) ** 2, _column(nozzle.throat_recession, n),
        _column(nozzle.throat_recession_at, n), _column(motors.ambient.pressure, n),
        critical_pressure_ratio(gamma), _law(rate_coefficients(propellant, temperature)),
        erosion(propellant, temperature), options.rate_pressure == "static",
    )


def _impossible(motors: Motors) -> Mask:
    """Motors with a core as wide as its grain, or wider, (n,)."""
    grains = motors.grain
    wide = (grains.core_diameter >= grains.outer_diameter) & (grains.count > 0.0)
    return np.array(np.broadcast_to(np.atleast_2d(wide).any(axis=1), (motors.size,)))


def _column(leaf: Any, n: int) -> Array:
    return np.array(np.broadcast_to(np.asarray(leaf, dtype=float), (n,)))


def _law(law: RateLaw) -> RateLaw:
    size = max(law.log_coefficient.shape[0], law.exponent.shape[0], law.log_bounds.shape[0])
    return RateLaw(*(
        np.broadcast_to(leaf, (size, leaf.shape[1])) for leaf in (law.log_coefficient, law.exponent, law.log_bounds)
    ))


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


# --- the state and its rates ------------------------------------------------------------------------------------------


@dataclass
class State:
    """Where every motor stands: log pressure (n,), regressions [m] of cells, head and nozzle faces, throat radius
    [m]."""

    log_pressure: Array
    core: Array
    head: Array
    aft: Array
    throat: Array


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
    """Burning surfaces and volume left at regressions `core` (n, grains, stations), `head`, `aft` (n, grains) [m]."""
    diameter = layout.bore + 2.0 * np.minimum(core, layout.cell_web)
    hollow = (0.25 * np.pi) * diameter * diameter
    unburnt = core < layout.cell_web
    # Bore and twice the web may round to a hair less than the outer diameter: what is gone must leave no face to burn.
    solid = np.where(unburnt | ~layout.cored[:, :, None], layout.full[:, :, None] - hollow, 0.0)
    surface = np.pi * diameter * unburnt
    n, grains, stations = core.shape
    if layout.bare_aft.any():
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
    left = (solid * (span * layout.burnable[:, :, None])).sum(axis=(1, 2))
    port = np.where(layout.cored[:, :, None], hollow, layout.full[:, :, None])
    if layout.first.any():
        lead = np.take_along_axis(port[:, :, 0], layout.first[:, None], axis=1)
        port = np.where(layout.present[:, :, None], port, lead[:, :, None])
    return Geometry(surface, head_face, aft_face, port, diameter, left)


def log_rate(law: RateLaw, log_pressure: Array) -> tuple[Array, Array]:
    """ln r [m/s] and the local exponent [-] at ln p [Pa], (n, …); rows joined over ±0.05 % of pressure at bounds."""
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
    """Mass flow over the choked one, broadcasts against (n,): 1 above the critical ratio, isentropic to ambient below.

    Within 0.1 % of ambient it falls to 0 in a straight line, so that its slope stays finite. [-]
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
    """One sweep of the port flow at a state: shares of the flow from the guessed rates, then pressures, then rates."""
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
    total, mean = _made(shape, rates)
    return Flow(total, mean, choked_flow * factor, port, share[:, :, -1], rates)


def _nodes(cells: Array) -> Array:
    """Room for the nodes of a profile: the cells and the two faces of each grain."""
    n, grains, stations = cells.shape
    return np.empty((n, grains, stations + 2))


def _made(shape: Geometry, rates: Rates) -> tuple[Array, Array]:
    """Gas made [m3 of solid a second] and its exponent in pressure, (n,)."""
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


def _advanced(base: State, rates: Rates, recession: Array, step: Array, log_pressure: Array) -> State:
    """`base` moved by `step` [s] at `rates`."""
    wide = step[:, None]
    return State(
        log_pressure, base.core + wide[:, :, None] * rates.core, base.head + wide * rates.head,
        base.aft + wide * rates.aft, base.throat + step * recession,
    )


def _recession(layout: Layout, log_pressure: Array) -> Array:
    """Radial recession of the throat [m/s], (n,)."""
    if not layout.recession.any():
        return np.zeros_like(log_pressure)
    return layout.recession * np.exp(RECESSION_EXPONENT * (log_pressure - np.log(layout.recession_at)))


def _nozzle(layout: Layout, pressure: Array, throat: Array) -> tuple[Array, Array]:
    """Mass flow of the nozzle [kg/s] and its logarithmic slope in pressure, (n,)."""
    choked = pressure * np.pi * throat**2 / layout.characteristic_velocity
    factor = nozzle_factor(layout, pressure)
    if (factor >= 1.0).all():
        return choked, np.ones_like(choked)
    power = (layout.gamma - 1.0) / layout.gamma
    over = np.maximum(pressure / np.maximum(layout.ambient_pressure, 1e-9), 1.0 + 1e-9)
    shrunk = over**-power
    slope = 1.0 + np.where(over > 1.0 + _NEAR, 0.5 * power * shrunk / (1.0 - shrunk) - 1.0 / layout.gamma,
                           over / (over - 1.0))
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
        out, out_slope = _nozzle(layout, here, at.state.throat)
        residual = held * volume + store_left + step * out - store_gas - layout.density * (burnt + grown - made)
        slope = held * (volume + exponent * grown) + step * out * out_slope - layout.density * exponent * grown
        slope = np.maximum(slope, 0.05 * (held * volume + step * out))
        delta = np.clip(delta - residual / slope, -limit, limit)
    return delta


def _solve_stage(
    layout: Layout, base: State, store_left: Array, store_gas: Array, step: Array, rates: Rates, port: Profile
) -> Stage:
    """Implicit stage: state = base + step·rates(state), with the pressure that closes the mass balance.

    `base.log_pressure` is the first guess. A fixed number of sweeps, so that a motor's answer does not depend on the
    company it keeps in the batch; the last correction tells how far the stage has converged.
    """
    log_pressure = base.log_pressure
    for _ in range(_SWEEPS):
        state = _advanced(base, rates, _recession(layout, log_pressure), step, log_pressure)
        shape = geometry(layout, state.core, state.head, state.aft)
        now = flow(layout, state, shape, rates, port)
        before, _ = _made(shape, rates)
        stage = Stage(state, now, shape, np.zeros_like(log_pressure))
        delta = _balance(layout, store_gas, store_left, stage, step * (now.made - before), step)
        log_pressure, port = log_pressure + delta, now.port
        rates = _scaled(now.rates, delta)
    state = _advanced(base, rates, _recession(layout, log_pressure), step, log_pressure)
    return Stage(state, replace(now, rates=rates), shape, delta)


def _scaled(rates: Rates, delta: Array) -> Rates:
    """Rates after a change of ln p by `delta` (n,), by the local power law."""
    growth = np.exp(rates.exponent * delta[:, None, None])
    return Rates(rates.core * growth, rates.head * growth[:, :, 0], rates.aft * growth[:, :, -1], rates.exponent)


def _next_burnout(layout: Layout, state: State, rates: Rates, shape: Geometry) -> tuple[Array, Array]:
    """Time to the next burnout of a cell or a grain, and to the last [s], (n,); inf and 0 where nothing burns."""
    with np.errstate(divide="ignore", invalid="ignore"):
        radial = np.where(shape.core > 0.0, (layout.cell_web - state.core) / rates.core, np.nan)
        closing = layout.bare_head * rates.head + layout.bare_aft * rates.aft
        axial = np.where(
            (shape.aft > 0.0), (layout.length - state.head - state.aft) / closing, np.inf)
    ends = np.where(layout.cored, np.fmax.reduce(radial, axis=2), np.inf)
    whole = np.fmin(ends, axial)
    alive = (shape.core > 0.0).any(axis=2) | (shape.aft > 0.0)
    soonest = np.fmin(np.fmin.reduce(radial, axis=(1, 2)), np.where(alive, axial, np.inf).min(axis=1))
    soonest = np.where(np.isnan(soonest), np.inf, soonest)
    last = np.where(alive, np.where(np.isfinite(whole), whole, 0.0), 0.0).max(axis=1)
    return soonest, last


# --- the march --------------------------------------------------------------------------------------------------------

_FIELDS = (
    "time", "step", "inner_pressure", "pressure", "inner_throat", "throat", "inner_flow", "flow", "head", "kn", "flux",
    "mach", "choked", "burning", "rate", "exponent", "volume", "regression",
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
        """The motors at `index`."""
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


def _unburnt(layout: Layout) -> State:
    n, grains = layout.length.shape
    start = np.log(np.maximum(layout.ambient_pressure, LOWEST_START))
    faces = np.zeros((n, grains))
    return State(start, np.zeros((n, grains, layout.stations)), faces, faces.copy(), layout.throat_radius.copy())


def _ignition(layout: Layout, state: State) -> tuple[Array, Flow]:
    """Pressure that the unburnt surface would hold [Pa], (n,), and the flow of the port there."""
    shape = geometry(layout, state.core, state.head, state.aft)
    log_pressure = np.full_like(state.log_pressure, np.log(2e6))
    ones = np.ones_like(shape.head)
    n, grains, stations = shape.core.shape
    rates = Rates(np.ones_like(shape.core), ones, ones, np.zeros((n, 1, 1)))
    port = still((n, grains, stations + 2))
    for _ in range(30):
        now = flow(layout, replace(state, log_pressure=log_pressure), shape, rates, port)
        rates, port = now.rates, now.port
        out, slope = _nozzle(layout, np.exp(log_pressure), state.throat)
        made = layout.density * now.made
        descent = np.maximum(out * slope - made * now.made_exponent, 0.1 * np.maximum(out, made))
        log_pressure = log_pressure + np.clip((made - out) / np.where(descent > 0.0, descent, 1.0), -1.0, 1.0)
        log_pressure = np.maximum(log_pressure, state.log_pressure)
    return np.exp(log_pressure), now


def _start(layout: Layout, motors_index: NDArray[np.intp], held: Flow) -> March:
    state = _unburnt(layout)
    shape = geometry(layout, state.core, state.head, state.aft)
    now = flow(layout, state, shape, held.rates, held.port)
    pressure = np.exp(state.log_pressure)
    gas = pressure * layout.free_volume / layout.gas_constant_temperature
    with np.errstate(divide="ignore"):
        step = np.where(now.made > 0.0, 0.03 * gas / (layout.density * now.made), 0.0)
    burning = now.made > 0.0
    return March(
        motors_index, layout, state, Store(gas, np.zeros_like(gas)), now.rates, now.port, shape, np.zeros_like(gas),
        step, np.zeros_like(gas), burning, ~burning,
    )


def _filling_time(layout: Layout, state: State, shape: Geometry) -> Array:
    """τ = V·c*/(R·T·A_t) [s], (n,)."""
    volume = layout.free_volume + layout.propellant_volume - shape.left
    area = np.pi * state.throat**2
    return volume * layout.characteristic_velocity / (layout.gas_constant_temperature * area)


def _attempt(march: March, options: Options) -> tuple[March, Array, Array]:
    """One step tried by every motor: the march after it, the rows for the record, and the burning time (NaN before)."""
    layout, old, step = march.layout, march.state, march.step
    guess = replace(old, log_pressure=old.log_pressure + np.clip(SDIRK * step * march.slope, -0.5, 0.5))
    first = _solve_stage(layout, guess, march.store.left, march.store.gas, SDIRK * step, march.rates, march.port)
    early = _recession(layout, first.state.log_pressure)
    ahead = np.clip((first.state.log_pressure - old.log_pressure) / SDIRK, -0.5, 0.5)
    base = _advanced(old, first.flow.rates, early, (1.0 - SDIRK) * step, old.log_pressure + ahead)
    early_out, _ = _nozzle(layout, np.exp(first.state.log_pressure), first.state.throat)
    stored = march.store.left + (1.0 - SDIRK) * step * early_out
    second = _solve_stage(layout, base, stored, march.store.gas, SDIRK * step, first.flow.rates, first.flow.port)
    state = second.state
    shape = geometry(layout, state.core, state.head, state.aft)
    pressure = np.exp(state.log_pressure)
    volume = layout.free_volume + layout.propellant_volume - shape.left
    gas = pressure * volume / layout.gas_constant_temperature
    left = march.store.gas + layout.density * (layout.propellant_volume - shape.left) - gas
    bend = (state.log_pressure - first.state.log_pressure) / (1.0 - SDIRK) - (
        first.state.log_pressure - old.log_pressure) / SDIRK
    bend = np.abs(bend) / options.tolerance
    off = np.maximum(np.abs(first.correction), np.abs(second.correction)) / _CONVERGED
    measure = np.maximum(bend, off)
    good = (measure <= 2.0) & ~march.done
    area = shape.area
    burning = march.burning & (area > 0.0)
    grown = np.where(march.done, 0.0, _next_step(march, options, second, shape, measure, good, area))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (state.log_pressure - first.state.log_pressure) / ((1.0 - SDIRK) * step)
    late_out, _ = _nozzle(layout, pressure, state.throat)
    row = _row(march, first, second, shape, (early_out, late_out))
    end = _burnout_time(march, first, second, good & march.burning & ~burning)
    floor = np.maximum(1.02 * layout.ambient_pressure, LOWEST_START)
    after = March(
        march.index, layout, _merged(state, old, good),
        Store(march.store.gas, np.where(good, left, march.store.left)),
        _merged(second.flow.rates, march.rates, good), _merged(second.flow.port, march.port, good),
        _merged(shape, march.shape, good), np.where(good, march.time + step, march.time), grown,
        np.where(good, np.nan_to_num(slope), 0.0), np.where(good, burning, march.burning),
        march.done | (good & ~burning & (pressure <= floor)),
    )
    return after, np.where(good, row, np.nan), end


def _next_step(
    march: March, options: Options, second: Stage, shape: Geometry, measure: Array, good: Mask, area: Array
) -> Array:
    """The next step of every motor [s]: by curvature, web, convergence, and the next burnout."""
    layout, step, rates = march.layout, march.step, second.flow.rates
    scale = np.clip(0.9 / np.sqrt(np.maximum(measure, 1e-12)), 0.2, 2.0)
    wanted = step * np.where(good, scale, np.minimum(scale, 0.6))
    wanted = np.minimum(wanted, _web_step(layout, rates, shape) / options.web_steps)
    filling = _filling_time(layout, second.state, shape)
    before = march.shape.area
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = np.where(before > 0.0, np.maximum(1.0 - area / before, 0.0), 0.0)
    wanted = np.where(good & (lost > 0.02), np.minimum(wanted, 0.05 * filling / np.maximum(lost, 0.02)), wanted)
    state = _merged(second.state, march.state, good)
    kept, kept_shape = _merged(rates, march.rates, good), _merged(shape, march.shape, good)
    soonest, _ = _next_burnout(layout, state, kept, kept_shape)
    return _landing(layout, state, kept, kept_shape, soonest, wanted, filling)


def _web_step(layout: Layout, rates: Rates, shape: Geometry) -> Array:
    """Time in which the fastest surface would burn the thinnest web of a grain that still burns [s], (n,)."""
    cored = layout.cored & (shape.core > 0.0).any(axis=2)
    closing = layout.bare_head + layout.bare_aft
    with np.errstate(divide="ignore", invalid="ignore"):
        axial = np.where(shape.aft > 0.0, layout.length / closing, np.inf)
    thickness = np.minimum(np.where(cored, layout.web, np.inf), axial).min(axis=1)
    cells = np.where(shape.core > 0.0, rates.core, 0.0).max(axis=(1, 2))
    fastest = np.maximum(cells, np.maximum(rates.head, rates.aft).max(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(fastest > 0.0, thickness / fastest, np.inf))


def _landing(
    layout: Layout, state: State, rates: Rates, shape: Geometry, soonest: Array, wanted: Array, filling: Array
) -> Array:
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
    _, last = _next_burnout(march.layout, march.state, mean, march.shape)
    return np.where(ended, march.time + np.minimum(last, march.step), np.nan)


def _row(march: March, first: Stage, second: Stage, shape: Geometry, outflow: tuple[Array, Array]) -> Array:
    """One line of the record, (fields, n), in the order of `_FIELDS`."""
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
    return np.array([
        march.time + step, step, np.exp(first.state.log_pressure), pressure, first.state.throat, state.throat, *outflow,
        now.port.head, shape.area / throat, exits.max(axis=1), np.sqrt(now.port.mach_squared[:, :, -1].max(axis=1)),
        now.port.choked.astype(float), march.burning.astype(float), now.rates.core.min(axis=(1, 2)), now.made_exponent,
        volume, depth,
    ])


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


def _march(layout: Layout, options: Options) -> Record:
    n = layout.density.size
    held_pressure, held = _ignition(layout, _unburnt(layout))
    unburnt = geometry(layout, *(getattr(_unburnt(layout), name) for name in ("core", "head", "aft")))
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
        line = np.full((len(_FIELDS), n), np.nan)
        line[:, march.index] = row
        rows.append(line)
    endless = np.zeros(n, bool)
    endless[march.index[~march.done]] = True
    left[march.index] = march.store.left
    table = np.array(rows).reshape(len(rows), len(_FIELDS), n)
    start = np.exp(_unburnt(layout).log_pressure)
    return Record(
        {name: table[:, place] for place, name in enumerate(_FIELDS)}, burn_time, held_pressure, open_ratio, kn_at_ignition,
        dead, start, head, left, layout, endless,
    )


# --- figures ----------------------------------------------------------------------------------------------------------


def _evaluate_block(motors: Motors, options: Options, curve: bool) -> Figures:
    layout = _layout(motors, options)
    record = _march(layout, options)
    push, separated = _thrusts(motors, record)
    values, flags = _figures(motors, record, push, separated)
    # A burn that did not end in the steps allowed has no figures: NaN says so, and never passes a limit.
    values = {name: np.where(record.endless, np.nan, column) for name, column in values.items()}
    return Figures(values, flags, "transient", _curve(record, push) if curve else None)


def _thrusts(motors: Motors, record: Record) -> tuple[dict[str, Array], Mask]:
    """Thrust [N] at both stages of every step, (steps, n), and where the flow is separated."""
    layout, rows = record.layout, record.rows
    push, separated = {}, np.zeros(rows["time"].shape, bool)
    for name, pressure, throat in (("inner", "inner_pressure", "inner_throat"), ("end", "pressure", "throat")):
        area = np.pi * rows[throat] ** 2
        taken = np.isfinite(area)
        safe = np.where(taken, rows[pressure], layout.ambient_pressure)
        area = np.where(taken, area, np.pi * layout.throat_radius**2)
        state = thrust(
            safe, area, np.maximum(layout.exit_area / area, 1.0), layout.gamma, layout.ambient_pressure,
            motors.nozzle.efficiency, motors.nozzle.half_angle,
        )
        push[name] = np.where(taken, state.thrust * nozzle_factor(layout, safe), np.nan)
        separated = state.separated & taken
    return push, separated


def _weighted(rows: dict[str, Array], inner: Array, end: Array) -> Array:
    """Integral over each step by the quadrature of the time integration, (steps, n); 0 where no step was taken."""
    return np.asarray(np.nan_to_num(rows["step"] * ((1.0 - SDIRK) * inner + SDIRK * end)))


def _total(steps: Array) -> Array:
    """Sum over the steps, (n,), one after the other: a plain sum adds in another order where n is 1."""
    return np.asarray(np.cumsum(steps, axis=0)[-1] if len(steps) else np.zeros(steps.shape[1:]))


def _until(rows: dict[str, Array], integral: Array, end: Array) -> Array:
    """Sum of step integrals up to the time `end`, part of a step in proportion, (n,)."""
    begin = rows["time"] - rows["step"]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip((end - begin) / rows["step"], 0.0, 1.0)
    return _total(np.nan_to_num(share) * integral)


def _figures(
    motors: Motors, record: Record, push: dict[str, Array], separated: Mask
) -> tuple[dict[str, Array], dict[str, Mask]]:
    rows, layout = record.rows, record.layout
    dead = record.dead
    burn_time = np.where(dead, 0.0, record.burn_time)
    pressure_steps = _weighted(rows, rows["inner_pressure"], rows["pressure"])
    thrust_steps = _weighted(rows, push["inner"], push["end"])
    pressure_integral, impulse = _total(pressure_steps), _total(thrust_steps)
    mass = layout.density * layout.propellant_volume
    peak = np.where(dead, 0.0, _largest(rows["pressure"], record.start))
    head = rows["head"] * rows["pressure"]
    throat = np.pi * layout.throat_radius**2
    burning = rows["burning"] > 0.5
    kn_at_ignition = record.kn_at_ignition
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_pressure = _until(rows, pressure_steps, burn_time) / burn_time
        values = {
            "peak_pressure": peak,
            "peak_head_pressure": np.where(dead, 0.0, _largest(head, record.start * record.head)),
            "mean_pressure": mean_pressure,
            "initial_pressure": np.where(dead, 0.0, record.ignition_pressure),
            "pressure_integral": pressure_integral,
            "head_pressure_ratio": _largest(np.where(burning, rows["head"], np.nan), record.head),
            "highest_kn": _largest(np.where(burning, rows["kn"], np.nan), kn_at_ignition),
            "kn_at_ignition": kn_at_ignition,
            "final_throat_diameter": 2.0 * _largest(rows["throat"], layout.throat_radius),
            "total_impulse": impulse,
            "peak_thrust": _largest(push["end"], 0.0),
            "mean_thrust": impulse / burn_time,
            "burn_time": burn_time,
            "action_time": _action_time(rows, record.start, peak),
            "specific_impulse": impulse / (mass * STANDARD_GRAVITY),
            "thrust_coefficient": impulse / (throat * pressure_integral),
            "highest_port_mach": _largest(rows["mach"], 0.0),
            "highest_mass_flux": _largest(rows["flux"], 0.0),
            "port_over_throat": record.port_over_throat,
            "propellant_mass": mass,
            "peak_mass_flow": _largest(rows["flow"], 0.0),
        }
    impossible = _impossible(motors)
    values = {name: np.where(impossible, np.nan, value) for name, value in values.items()}
    return values, _flags(motors, record, mean_pressure, separated)


def _largest(table: Array, least: Array | float) -> Array:
    """Largest of each column, not below `least`, (n,)."""
    return np.asarray(np.fmax(np.fmax.reduce(table, axis=0, initial=-np.inf), least))


def _action_time(rows: dict[str, Array], start: Array, peak: Array) -> Array:
    """Time between the first rise to and the last fall below 10 % of peak pressure [s], (n,); straight between steps.

    A pressure that starts above, or never falls below, counts from ignition and to the end of the blow-down.
    """
    time, pressure = _packed(rows["time"], np.zeros_like(start)), _packed(rows["pressure"], start)
    mark = 0.1 * peak
    high = pressure >= mark
    motor, last = np.arange(start.size), pressure.shape[0] - 1
    rise, fall = np.argmax(high, axis=0), last - np.argmax(high[::-1], axis=0)

    def crossing(before: NDArray[np.intp], after: NDArray[np.intp]) -> Array:
        p0, p1 = pressure[before, motor], pressure[after, motor]
        t0, t1 = time[before, motor], time[after, motor]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where((p1 != p0) & np.isfinite(p1), (mark - p0) / (p1 - p0), 0.0)
        return np.asarray(np.where(np.isfinite(t1), t0 + share * (t1 - t0), t0))

    begin = np.where(rise > 0, crossing(np.maximum(rise - 1, 0), rise), 0.0)
    return np.asarray(crossing(fall, np.minimum(fall + 1, last)) - begin)


def _packed(table: Array, start: Array) -> Array:
    """The steps taken of each motor moved together behind its starting value, (steps + 1, n), NaN at the end."""
    order = np.argsort(np.isnan(table), axis=0, kind="stable")
    return np.concatenate([start[None, :], np.take_along_axis(table, order, axis=0)])


def _flags(motors: Motors, record: Record, mean_pressure: Array, separated: Mask) -> dict[str, Mask]:
    """Flags, (n,). Pressure ranges are judged while propellant burns and pressure is above half its mean over the burn:
    filling and tail-off pass through every pressure and say nothing.
    """
    rows, layout, propellant = record.rows, record.layout, motors.propellant
    burning = rows["burning"] > 0.5
    settled = burning & (rows["pressure"] >= 0.5 * mean_pressure)
    pressure = np.where(settled, rows["pressure"], np.nan)
    law_from, law_to = propellant.rate_from, propellant.rate_to
    lowest, highest = np.atleast_2d(law_from)[:, 0], np.atleast_2d(law_to)[:, -1]
    outside = (pressure < lowest) | (rows["head"] * pressure > highest)
    unchoked = pressure < layout.critical * layout.ambient_pressure
    no = np.zeros(layout.density.size, dtype=bool)
    return {
        "port_choked": np.asarray(((rows["choked"] > 0.5) & burning).any(axis=0)),
        "flow_separated": np.asarray((separated & settled).any(axis=0)),
        "outside_characterised_pressure": np.asarray(outside.any(axis=0)),
        "several_equilibria": several_equilibria(motors),
        "nozzle_unchoked": np.asarray(unchoked.any(axis=0)),
        "recession_ignored": no.copy(),
        "erosive_burning_ignored": no.copy(),
        "chuffing_risk": np.asarray((_chuffing(layout, rows) & settled).any(axis=0)),
        "extinguished": np.asarray(record.dead | (_quenched(record) & burning).any(axis=0)),
    }


def several_equilibria(motors: Motors) -> Mask:
    """Whether a stable pressure well above exists for the same Kn at some moment, (n,), as the steady kernel judges it."""
    return steady.evaluate(motors).flags["several_equilibria"]


def _chuffing(layout: Layout, rows: dict[str, Array]) -> Mask:
    """Steps near equilibrium whose filling time is shorter than linear theory asks for, (steps, n)."""
    area = np.pi * rows["throat"] ** 2
    filling = rows["volume"] * layout.characteristic_velocity / (layout.gas_constant_temperature * area)
    with np.errstate(divide="ignore", invalid="ignore"):
        drift = np.log(rows["pressure"] / rows["inner_pressure"]) / ((1.0 - SDIRK) * rows["step"])
    slow = np.abs(drift) * filling < 0.1
    return np.asarray(slow & (filling * rows["rate"] ** 2 / SOLID_DIFFUSIVITY < chuffing_limit(rows["exponent"])))


def _quenched(record: Record) -> Mask:
    """Steps in which pressure falls fast enough to put the fire out, with 1 % of the propellant left, (steps, n).

    −d ln p/dt > r²/(n·α): a surface that would have to burn at less than nothing, the criterion of von Elbe (1963),
    remembered. It warns; the kernel goes on burning.
    """
    rows, layout = record.rows, record.layout
    with np.errstate(divide="ignore", invalid="ignore"):
        fall = (1.0 - SDIRK) * rows["step"]
        fall = -np.log(rows["pressure"] / rows["inner_pressure"]) / fall
        limit = rows["rate"] ** 2 / (np.maximum(rows["exponent"], 1e-3) * SOLID_DIFFUSIVITY)
    unburnt = layout.propellant_volume - (rows["volume"] - layout.free_volume)
    return np.asarray((fall > limit) & (unburnt > 0.01 * layout.propellant_volume))


def chuffing_limit(exponent: Array) -> Array:
    """Smallest stable τ·r²/α [-] of a chamber on a propellant of pressure exponent n; any shape, NaN for NaN.

    τ is the filling time V·c*/(R·T·A_t), r the burning rate, α the thermal diffusivity of the solid. Since τ grows
    with L* and r² with p^(2n), the limit has the form L*·p^(2n) = const of Sehgal and Strand (1964). The constant is
    where linear theory finds neutral stability, (1 + iΩ·τr²/α) = R_p(Ω), with the quasi-steady response R_p = n·A·B/(λ
    + A/λ − (1 + A) + A·B), λ = ½(1 + √(1 + 4iΩ)) (Denison and Baum 1961; Culick 1968; remembered), A = 10 and B = 0.8,
    textbook middles. Real propellants differ by a factor of two either way: a caution, not a verdict. Valid for 0 < n
    < 0.8; 0 where the response never reaches 1 (small n).

    >>> float(chuffing_limit(np.array(0.4)).round(2))
    0.15
    """
    grid, limit = _limit_table()
    return np.asarray(np.interp(exponent, grid, limit))


@lru_cache(maxsize=1)
def _limit_table() -> tuple[Array, Array]:
    exponent = np.linspace(0.0, 0.8, 81)
    frequency = np.geomspace(0.02, 60.0, 4000)
    wave = 0.5 * (1.0 + np.sqrt(1.0 + 4.0j * frequency))
    response = 8.0 / (wave + 10.0 / wave - 11.0 + 8.0)
    limit = np.zeros_like(exponent)
    for place, n in enumerate(exponent):
        above = n * response.real >= 1.0
        if above.any():
            at = int(np.argmax(above))
            limit[place] = n * response.imag[at] / frequency[at]
    return exponent, limit


def _curve(record: Record, push: dict[str, Array]) -> Curve:
    """Histories from ignition, (n, T), NaN behind the end."""
    rows, layout, start = record.rows, record.layout, record.start
    zero = np.zeros_like(start)
    table = {
        "time": (rows["time"], zero),
        "chamber_pressure": (rows["pressure"], start),
        "head_pressure": (rows["head"] * rows["pressure"], record.head * start),
        "thrust": (push["end"], zero),
        "mass_flow": (rows["flow"], zero),
        "kn": (rows["kn"], record.kn_at_ignition),
        "mass_flux": (rows["flux"], zero),
        "regression": (rows["regression"], zero),
        "throat_diameter": (2.0 * rows["throat"], 2.0 * layout.throat_radius),
    }
    packed = {name: _packed(values, first).T for name, (values, first) in table.items()}
    longest = int(np.isfinite(packed["time"]).sum(axis=1).max(initial=1))
    return Curve(**{name: np.ascontiguousarray(values[:, :longest]) for name, values in packed.items()})


def _joined(parts: list[Figures]) -> Figures:
    """Blocks put together; curves are padded with NaN to the longest."""
    if len(parts) == 1:
        return parts[0]
    values = {name: np.concatenate([part.values[name] for part in parts]) for name in parts[0].values}
    flags = {name: np.concatenate([part.flags[name] for part in parts]) for name in parts[0].flags}
    curves = [part.curve for part in parts if part.curve is not None]
    if not curves:
        return Figures(values, flags, "transient")
    longest = max(one.time.shape[1] for one in curves)

    def padded(name: str) -> Array:
        tables = [getattr(one, name) for one in curves]
        return np.concatenate([
            np.pad(table, ((0, 0), (0, longest - table.shape[1])), constant_values=np.nan) for table in tables])

    return Figures(values, flags, "transient", Curve(**{item.name: padded(item.name) for item in fields(Curve)}))
