"""The hot gas and what the wall meets of it: films, conditions over the burn, and when each place is bare of grain.

Owns the gas of a propellant, the correlations of the film, the conditions over the burn and its soak, the loss of
strength of a warm case, and a slab heated on its face. What the rungs make of it stands in `physics.heat.rungs`.

Held exposure. A wall that outlasts the burn by a hair and one that outlasts it tenfold must not look alike: the mean
conditions of the burn may be held beyond its end, up to `HELD` times the action time.

Sources: Bartz 1957, Dittus and Boelter, Churchill and Chu, each beside its formula; exposures are derived here.

Imports physics.case, conduction, constants, grain, soak, materials, modes and motors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.ballistics.grain import area_coefficients, web
from physics.constants import GAS_CONSTANT, STANDARD_GRAVITY, ZERO_CELSIUS
from physics.heat.conduction import Face, Layer, first_crossing, march
from physics.heat.soak import soak_instants
from physics.materials import Material
from physics.missing import NotComputable
from physics.motors import Array, Figures, Motors, Propellant, Situation
from physics.vessels import first_yield_pressure

GAS_EMISSIVITY = 0.5
"""Effective emissivity of the hot gas with its particles: an assumption, no source. Clear gas in a small chamber lies
near 0.2, a dense cloud of particles near 1."""

HELD = 4.0
"""How many action times the conditions of the burn are held for, to see how far away a failure is."""

BURN_STEPS, HELD_STEPS, SOAK_STEPS = 48, 32, 40
UNTIL_MARGIN = 1.0 / 16.0
"""Action times that conditions go beyond what a situation asks for."""

_SLAB_CELLS = 8


# --- hot gas ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Gas:
    """Combustion gas: temperature [K], viscosity [Pa s], specific_heat [J/(kg K)], prandtl, molar_mass; (n,)."""

    temperature: Array
    viscosity: Array
    specific_heat: Array
    prandtl: Array
    molar_mass: Array

    @property
    def conductivity(self) -> Array:
        """Thermal conductivity, viscosity·specific heat/Pr. [W/(m K)]"""
        return np.asarray(self.viscosity * self.specific_heat / self.prandtl)


def gas_viscosity(molar_mass: Array, temperature: Array) -> Array:
    """Viscosity of combustion gas. [Pa s]

    Parameters
    ----------
    molar_mass : Array
        [kg/mol].
    temperature : Array
        [K].

    Returns
    -------
    Array
        [Pa s]; arrays broadcast.

    Notes
    -----
    molar_mass [kg/mol], temperature [K]; μ = 1.1840811e-7·M^0.5·T^0.6 with M in g/mol. Order of ±10 % for combustion
    products; air at room temperature comes out 6 % high.

    References
    ----------
    Bartz 1957; NASA SP-125 chapter 4 (remembered).

    Examples
    --------
    >>> gas_viscosity(np.array(0.025), np.array(3000.0)).round(9)
    np.float64(7.2214e-05)
    """
    return np.asarray(1.1840811e-7 * np.sqrt(1e3 * molar_mass) * temperature**0.6)


def gas_prandtl(gamma: Array) -> Array:
    """Prandtl number of a gas from its ratio of specific heats, 4γ/(9γ − 5). [-]

    Parameters
    ----------
    gamma : Array
        Ratio of specific heats [-].

    Returns
    -------
    Array
        [-].

    Notes
    -----
    Eucken's form; for gases only.

    References
    ----------
    NASA SP-125 chapter 4 (remembered).

    Examples
    --------
    >>> gas_prandtl(np.array(1.2)).round(6)
    np.float64(0.827586)
    """
    return np.asarray(4.0 * gamma / (9.0 * gamma - 5.0))


def combustion_gas(propellant: Propellant) -> Gas:
    """The gas of a propellant, (n,), from c*, gamma and molar mass: R·T = (c*·Γ)², ideal, of constant composition.

    Parameters
    ----------
    propellant : Propellant
        The propellant, SI.

    Returns
    -------
    Gas
        The gas, (n,).

    Notes
    -----
    The temperature follows from the delivered c*, so it includes the losses of that figure and is that much too low.
    """
    gamma = np.asarray(propellant.gamma, dtype=float)
    specific_constant = GAS_CONSTANT / np.asarray(propellant.molar_mass, dtype=float)
    exponent = (gamma + 1.0) / (2.0 * (gamma - 1.0))
    flow = np.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** exponent
    temperature = (propellant.characteristic_velocity * flow) ** 2 / specific_constant
    return Gas(
        temperature=temperature,
        viscosity=gas_viscosity(propellant.molar_mass, temperature),
        specific_heat=gamma * specific_constant / (gamma - 1.0),
        prandtl=gas_prandtl(gamma),
        molar_mass=np.asarray(propellant.molar_mass, dtype=float),
    )


# --- film coefficients -----------------------------------------------------------------------------------------------


def bartz_coefficient(
    throat_diameter: Array,
    curvature_radius: Array,
    viscosity: Array,
    specific_heat: Array,
    prandtl: Array,
    pressure: Array,
    characteristic_velocity: Array,
    throat_to_local_area: Array | float = 1.0,
) -> Array:
    """Film coefficient in a nozzle before the property correction sigma. [W/(m2 K)]

    Parameters
    ----------
    throat_diameter : Array
        [m].
    curvature_radius : Array
        Of the throat [m].
    viscosity : Array
        Of the gas [Pa s].
    specific_heat : Array
        Of the gas [J/(kg K)].
    prandtl : Array
        Of the gas [-].
    pressure : Array
        Stagnation pressure [Pa].
    characteristic_velocity : Array
        [m/s].
    throat_to_local_area : Array or float, optional
        [-].

    Returns
    -------
    Array
        [W/(m2 K)]; arrays broadcast.

    Notes
    -----
    h = 0.026/Dt^0.2 · (μ^0.2 cp/Pr^0.6) · (p/c*)^0.8 · (Dt/rc)^0.1 · (At/A)^0.9; all arguments in SI units, `pressure`
    the stagnation pressure [Pa]; arrays broadcast. Turbulent boundary layer, no particles; known to read high against
    tests and computed flow.

    References
    ----------
    D. R. Bartz, Jet Propulsion 27(1), 1957; NASA SP-125 chapter 4 (remembered).

    Examples
    --------
    >>> bartz_coefficient(0.012, 0.009, 8e-5, 1900.0, 0.5, 4e6, 1450.0).round(0)
    np.float64(16002.0)
    """
    transport = viscosity**0.2 * specific_heat / prandtl**0.6
    flux = (pressure / characteristic_velocity) ** 0.8
    shape = (throat_diameter / curvature_radius) ** 0.1 * throat_to_local_area**0.9
    return np.asarray(0.026 / throat_diameter**0.2 * transport * flux * shape)


def bartz_correction(wall_to_gas: Array) -> Array:
    """Property correction sigma of the Bartz relation where the gas is slow, (½·Tw/T0 + ½)^−0.68. [-]

    Parameters
    ----------
    wall_to_gas : Array
        Temperature of the wall over that of the gas [-].

    Notes
    -----
    For a viscosity that grows as T^0.6. At a Mach number M the full form is {½(Tw/T0)[1 + (γ−1)/2·M²] + ½}^−0.68 ·
    [1 + (γ−1)/2·M²]^−0.12: never above this one, and at M = 0.4 less than 3 % below.

    References
    ----------
    As for `bartz_coefficient`.

    Examples
    --------
    >>> float(bartz_correction(np.array(0.5)).round(4))
    1.2161
    """
    return np.asarray((0.5 * wall_to_gas + 0.5) ** -0.68)


def dittus_boelter(reynolds: Array, prandtl: Array, exponent: float = 0.3) -> Array:
    """Nusselt number of turbulent flow in a tube, 0.023·Re^0.8·Pr^exponent. [-]

    Parameters
    ----------
    reynolds : Array
        [-].
    prandtl : Array
        Of the gas [-].
    exponent : float, optional
        0.3 where the fluid is cooled, 0.4 where it is heated.

    Returns
    -------
    Array
        [-].

    Notes
    -----
    Exponent 0.3 where the fluid is cooled, as gas by a wall, 0.4 where it is heated. Fitted for Re ≥ 10,000, 0.6 ≤ Pr ≤
    160 and ten diameters or more from the inlet, ±25 %. Below Re 10,000 the value goes on and reads high.

    References
    ----------
    Dittus and Boelter 1930 in the form of Incropera et al., Fundamentals of Heat and Mass Transfer, Eq 8.60
    (remembered).

    Examples
    --------
    >>> dittus_boelter(np.array(1e5), np.array(0.8), 0.4).round(2)
    np.float64(210.36)
    """
    return np.asarray(0.023 * reynolds**0.8 * prandtl**exponent)


def port_coefficient(gas: Gas, mass_flux: Array, diameter: Array) -> Array:
    """Film coefficient of a port [W/(m2 K)] at mass flux [kg/(m2 s)] and hydraulic diameter [m]; `dittus_boelter`.

    Parameters
    ----------
    gas : Gas
        The gas.
    mass_flux : Array
        [kg/(m2 s)].
    diameter : Array
        Hydraulic diameter [m].

    Returns
    -------
    Array
        [W/(m2 K)].
    """
    reynolds = mass_flux * diameter / gas.viscosity
    return np.asarray(dittus_boelter(reynolds, gas.prandtl) * gas.conductivity / diameter)


def still_gas_coefficient(gas: Gas, pressure: Array, wall_temperature: Array | float) -> Array:
    """Film coefficient of turbulent natural convection of chamber gas on an upright wall. [W/(m2 K)]

    Parameters
    ----------
    gas : Gas
        The gas.
    pressure : Array
        [Pa].
    wall_temperature : Array or float
        [K].

    Returns
    -------
    Array
        [W/(m2 K)].

    Notes
    -----
    Nu = 0.10·Ra^(1/3), so that the height drops out; properties at the gas temperature, which reads high by the colder
    film's smaller conductivity and low by its greater density. For 1e9 ≤ Ra ≤ 1e13 at rest, by
    another book from 1e10 only (Çengel Table 9-1, read at second hand); under flight acceleration it is higher.

    References
    ----------
    Incropera et al. Eq 9.24 (remembered).
    """
    density = pressure * gas.molar_mass / (GAS_CONSTANT * gas.temperature)
    film = 0.5 * (gas.temperature + wall_temperature)
    buoyancy = STANDARD_GRAVITY * np.maximum(gas.temperature - wall_temperature, 0.0) / film
    rayleigh_per_cube = buoyancy * (density / gas.viscosity) ** 2 * gas.prandtl
    return np.asarray(0.10 * gas.conductivity * np.cbrt(rayleigh_per_cube))


def cylinder_nusselt(rayleigh: Array, prandtl: Array | float) -> Array:
    """Nusselt number of natural convection around a long horizontal cylinder. [-]

    Parameters
    ----------
    rayleigh : Array
        [-].
    prandtl : Array or float
        Of the gas [-].

    Returns
    -------
    Array
        [-].

    Notes
    -----
    {0.60 + 0.387·Ra^(1/6)/[1 + (0.559/Pr)^(9/16)]^(8/27)}², for Ra ≤ 1e12.

    References
    ----------
    Churchill and Chu, Int. J. Heat Mass Transfer 18, 1975; Incropera et al. Eq 9.34 (remembered).
    """
    spread = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return np.asarray((0.60 + 0.387 * rayleigh ** (1.0 / 6.0) / spread) ** 2)


def outside_coefficient(diameter: Array, ambient_temperature: Array, pressure: Array, surface_rise: float = 100.0) -> Array:
    """Film coefficient in still air around the case [W/(m2 K)], its surface `surface_rise` [K] above the air.

    Parameters
    ----------
    diameter : Array
        Of the case [m].
    ambient_temperature : Array
        [K].
    pressure : Array
        [Pa].
    surface_rise : float, optional
        Of the surface over the air [K].

    Returns
    -------
    Array
        [W/(m2 K)].

    Notes
    -----
    diameter [m], ambient_temperature [K], pressure [Pa]. Air by Sutherland's formula (constants 110.4 K and 194 K,
    remembered), Pr 0.7. Radiation from the case is left out, which keeps it hotter.
    """
    film = ambient_temperature + 0.5 * surface_rise
    viscosity = _sutherland(1.716e-5, 110.4, film)
    conductivity = _sutherland(0.0241, 194.0, film)
    density = pressure * 0.0289647 / (GAS_CONSTANT * film)
    rayleigh = STANDARD_GRAVITY * surface_rise / film * diameter**3 * (density / viscosity) ** 2 * 0.7
    return np.asarray(cylinder_nusselt(rayleigh, 0.7) * conductivity / diameter)


def _sutherland(at_zero: float, constant: float, temperature: Array) -> Array:
    ratio = temperature / ZERO_CELSIUS
    return np.asarray(at_zero * ratio**1.5 * (ZERO_CELSIUS + constant) / (temperature + constant))


LASTING_LOSS = 200.0 + 273.15
"""Above this a tempered aluminium tube keeps less than 95 % of its yield strength after half an hour (MIL-HDBK-5J
Fig 3.6.2.2.1(d), 6061-T6 at 204 °C, read at second hand). [K]"""


# --- what the wall meets ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Conditions:
    """What the chamber does in each step: `time` (steps + 1, n); pressure, mass_flow, regression (steps, n).

    `end` is when pressure has gone (n,), `burnt` when the last web has.
    """

    time: Array
    pressure: Array
    mass_flow: Array
    regression: Array
    end: Array
    burnt: Array


def conditions(motors: Motors, situation: Situation, held: bool) -> Conditions:
    """Chamber conditions over the burn and after it, from the history where there is one, else from the means.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    held : bool
        Whether the mean conditions of the burn are kept up to `HELD` action times.

    Returns
    -------
    Conditions
        Step by step.

    Raises
    ------
    NotComputable
        Without figures.

    Notes
    -----
    `held` keeps the mean conditions of the burn up to `HELD` action times; otherwise the pressure falls as the history
    says, or to nothing at the end of the burn, and `SOAK` seconds of soak follow.
    """
    figures = situation.figures
    if figures is None:
        raise NotComputable("the burn itself was not evaluated")
    burnt = per_motor(motors, figures["burn_time"])
    end = np.maximum(per_motor(motors, figures["action_time"]), burnt)
    part = np.linspace(0.0, 1.0, BURN_STEPS + 1)[:, None] ** 1.5
    later = soak_instants(SOAK_STEPS)[:, None]
    if situation.until is not None and not held:  # the same instants, no more of them than are asked for
        longest = float(np.nanmax((situation.until + UNTIL_MARGIN - 1.0) * end, initial=0.0))
        later = later[: int(np.searchsorted(later[:, 0], longest)) + 1]
    if held:
        tail = (HELD - 1.0) * growing()
        if situation.until is not None:  # the same instants, no more of them than are asked for
            tail = tail[: int(np.searchsorted(1.0 + tail, situation.until + UNTIL_MARGIN)) + 1]
        later = end * tail[:, None]
    time = np.concatenate([end * part, end + later])
    middle = 0.5 * (time[1:] + time[:-1])
    pressure, flow, regression = _burn(motors, figures, middle, end, burnt)
    steps = np.diff(time, axis=0)
    if held:
        for column in (pressure, flow):
            column[BURN_STEPS:] = (column * steps)[:BURN_STEPS].sum(axis=0) / steps[:BURN_STEPS].sum(axis=0)
    return Conditions(time, pressure, flow, regression, end, burnt)


def growing() -> Array:
    """Instants of the burn held on, from 0 (left out) to 1, closer together at first, (HELD_STEPS,); derived here. [-]"""
    part = np.linspace(0.0, 1.0, HELD_STEPS + 1)[1:]
    return np.asarray(np.expm1(3.0 * part) / np.expm1(3.0))


def _burn(motors: Motors, figures: Figures, time: Array, end: Array, burnt: Array) -> tuple[Array, Array, Array]:
    """Pressure, mass flow and regression at instants (steps, n)."""
    curve = figures.curve
    if curve is None or not curve.time.shape[1]:  # no motor of the batch burns
        burning = time < end
        pressure = np.where(burning, per_motor(motors, figures["mean_pressure"]), 0.0)
        flow = np.where(burning, per_motor(motors, figures["propellant_mass"]) / burnt, 0.0)
        return pressure, flow, np.minimum(time / burnt, 1.0) * _webs(motors).max(axis=1)
    read = _Sampled(curve.time, time)
    pressure, flow, regression = (read.column(one) for one in (curve.chamber_pressure, curve.mass_flow, curve.regression))
    over = time > np.fmax.reduce(curve.time, axis=1)
    return np.where(over, 0.0, pressure), np.where(over, 0.0, flow), regression


def port_drop(motors: Motors, figures: Figures, now: Conditions) -> Array:
    """What the static pressure falls from the head end to the nozzle in each step, (steps, n). [Pa]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    figures : Figures
        How it burns, with histories.
    now : Conditions
        Conditions of the burn, step by step.

    Returns
    -------
    Array
        [Pa], (steps, n).

    Notes
    -----
    Beyond the end of the burn held on, its mean over the burn; without histories the difference of the highest
    pressures while it burns, none where the figures lack it. By definition of both pressures.
    """
    middle = 0.5 * (now.time[1:] + now.time[:-1])
    curve = figures.curve
    if curve is None or not curve.time.shape[1]:
        peak = figures.values.get("peak_pressure")
        fall = np.zeros(motors.size) if peak is None else per_motor(motors, figures["peak_head_pressure"] - peak)
        return np.where(now.pressure > 0.0, fall, 0.0)
    read = _Sampled(curve.time, middle)
    fall = read.column(curve.head_pressure) - read.column(curve.chamber_pressure)
    over = middle > np.fmax.reduce(curve.time, axis=1)
    fall = np.where(over, 0.0, fall)
    held = over & (now.pressure > 0.0)
    steps = np.diff(now.time, axis=0)
    mean = (fall * steps)[:BURN_STEPS].sum(axis=0) / np.maximum(steps[:BURN_STEPS].sum(axis=0), 1e-12)
    return np.where(held, mean, fall)


class _Sampled:
    """Rows of (n, T), ended by NaN, read at instants (steps, n) by linear interpolation; the ends are held.

    Where each instant lies is found once for all columns, motor by motor, so that the search stays in the cache.
    """

    def __init__(self, time: Array, instants: Array) -> None:
        rows, width = time.shape
        last = np.fmax.reduce(time, axis=1)[:, None]
        base = 2.0 * np.arange(rows)[:, None]
        scaled = (np.where(np.isnan(time), 1.5, time / last) + base).ravel()
        wanted = np.clip(instants.T / last, 0.0, 1.0) + base
        first = width * np.arange(rows)[:, None]
        self.high = np.clip(np.searchsorted(scaled, wanted), first + 1, first + width - 1)
        self.low = self.high - 1
        span = scaled[self.high] - scaled[self.low]
        self.part = np.clip((wanted - scaled[self.low]) / np.where(span > 0.0, span, 1.0), 0.0, 1.0)

    def column(self, value: Array) -> Array:
        flat = value.ravel()
        low, high = flat[self.low], flat[self.high]
        return np.ascontiguousarray(np.where(np.isnan(high), low, low + self.part * (high - low)).T)


def per_motor(motors: Motors, leaf: Array | float) -> Array:
    """A leaf with one value for each motor, (n,), in the leaf's own SI unit [m, K, Pa, …]; by definition of a batch.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    leaf : Array or float
        One value for all, or one for each motor.

    Returns
    -------
    Array
        (n,).
    """
    return np.array(np.broadcast_to(np.asarray(leaf, dtype=float), (motors.size,)))


def grain_rows(motors: Motors) -> tuple[Array, Array, Array, Array, Array]:
    """Count, length [m], outer and core diameter [m] and burning ends of the grain rows, each (n, rows).

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    tuple[Array, Array, Array, Array, Array]
        (n, rows) each.
    """
    grain = motors.grain
    leaves = (grain.count, grain.length, grain.outer_diameter, grain.core_diameter, grain.burning_ends)
    shape = (motors.size, max(np.asarray(leaf).shape[-1] if np.ndim(leaf) else 1 for leaf in leaves))
    count, length, outer, core, ends = (np.broadcast_to(np.asarray(leaf, dtype=float), shape) for leaf in leaves)
    return count, length, outer, core, ends


def _webs(motors: Motors) -> Array:
    """Web of each row of grains, (n, rows), 0 where the row is absent. [m]"""
    return np.array(np.broadcast_to(web(motors.grain), grain_rows(motors)[0].shape))


def last_face_bare(motors: Motors) -> Array:
    """Whether the aft face of the last grain is bare, 1 or 0, (n,). [-]

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Array
        1 or 0 [-], (n,).

    References
    ----------
    By definition.
    """
    count = grain_rows(motors)[0]
    last = count.shape[1] - 1 - np.argmax(count[:, ::-1] > 0.0, axis=1)
    aft = np.broadcast_to(np.atleast_2d(motors.grain.bare_faces[1]), count.shape)
    return np.asarray(np.take_along_axis(aft, last[:, None], axis=1)[:, 0])


def exposed_from(motors: Motors, conditions: Conditions) -> Array:
    """When the wall behind the first grain to burn through is bare, (n,). [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    conditions : Conditions
        Of the burn, step by step.

    Returns
    -------
    Array
        [s], (n,).
    """
    webs = _webs(motors)
    thinnest = np.where(webs > 0.0, webs, np.inf).min(axis=1)
    middle = 0.5 * (conditions.time[1:] + conditions.time[:-1])
    return np.minimum(first_crossing(middle, conditions.regression, thinnest), conditions.burnt)


def forward_share(motors: Motors) -> Array:
    """Share of the flow that the first grain's forward face gives off at ignition, none where it is not bare, (n,). [-]

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Array
        [-], (n,).
    """
    count, _, outer, core, _ = grain_rows(motors)
    first = np.argmax(count > 0.0, axis=1)[:, None]
    bare = np.broadcast_to(np.atleast_2d(motors.grain.bare_faces[0]), count.shape)
    face = bare * 0.25 * np.pi * (outer**2 - core**2)
    burning = np.broadcast_to(area_coefficients(motors.grain)[0], count.shape).sum(axis=1)
    return np.asarray(np.take_along_axis(face, first, axis=1)[:, 0] / np.where(burning > 0.0, burning, 1.0))


def chamber_bore(motors: Motors) -> Array:
    """Bore that is left when all grains are gone: the largest grain diameter, or the liner's bore where known. [m], (n,)

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Array
        [m], (n,).
    """
    count, _, outer, _, _ = grain_rows(motors)
    grains = np.where(count > 0.0, outer, 0.0).max(axis=1)
    if motors.case is None or motors.liner is None:
        return np.asarray(grains)
    return np.asarray(np.maximum(grains, per_motor(motors, motors.case.bore - 2.0 * motors.liner.thickness)))


# --- what rungs of heat ask of a motor ------------------------------------------------------------------------------


def number(material: Material, name: str, key: str) -> float:
    """A material number, or NotComputable naming material and number.

    Parameters
    ----------
    material : Material
        The material.
    name : str
        Of the number.
    key : str
        What a builder would write for it, for the message.

    Returns
    -------
    float
        In SI.
    """
    value = getattr(material, name)
    if value is None:
        raise NotComputable(f"{key} {material.name!r} has no {name}")
    return float(value)


def thermal(motors: Motors, material: Material, key: str) -> tuple[Array, Array, Array]:
    """Conductivity [W/(m K)], density [kg/m3] and specific heat [J/(kg K)] of a material as columns, (n,).

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    material : Material
        The material.
    key : str
        What a builder would write for it, for the message.

    Returns
    -------
    tuple[Array, Array, Array]
        (n,) each.
    """
    k, rho, c = (number(material, name, key) for name in ("conductivity", "density", "specific_heat"))
    return np.full(motors.size, k), np.full(motors.size, rho), np.full(motors.size, c)


def slab_history(
    slab: Slab, away: Array, now: Conditions, coefficient: Array, emissivity: Array, gas: Array, start: Array
) -> Array:
    """Temperature at a depth of a slab heated on one face, its other one insulated, at `now.time`, (instants, n). [K]

    Parameters
    ----------
    slab : Slab
        The slab, (n,).
    away : Array
        Depth below the heated face [m], (n,).
    now : Conditions
        Conditions of the burn, step by step.
    coefficient : Array
        Film in each step [W/(m2 K)], (steps, n).
    emissivity : Array
        Of the gas in each step [-], (steps, n).
    gas : Array
        Gas temperature [K], (n,).
    start : Array
        Temperature at the start [K], (n,).

    Returns
    -------
    Array
        [K], (instants, n).

    Notes
    -----
    `away` is the depth [m], (n,); film [W/(m2 K)] and emissivity (steps, n); gas and start temperature [K], (n,).
    """
    layers = (
        Layer(away, slab.conductivity, slab.density, slab.specific_heat, _SLAB_CELLS),
        Layer(np.maximum(slab.thickness - away, 1e-4), slab.conductivity, slab.density, slab.specific_heat, _SLAB_CELLS),
    )
    face = Face(coefficient, np.broadcast_to(gas, coefficient.shape), emissivity)
    return march(layers, start, now.time, face).interface


@dataclass(frozen=True)
class Slab:
    """A plate: thickness [m], conductivity [W/(m K)], density [kg/m3], specific_heat [J/(kg K)]; (n,) each."""

    thickness: Array
    conductivity: Array
    density: Array
    specific_heat: Array


def burns(situation: Situation) -> NDArray[np.bool_]:
    """Where the kernel found a burn at all; without one a wall that never gets hot would look safe.

    Parameters
    ----------
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    NDArray[np.bool_]
        (n,).
    """
    assert situation.figures is not None  # conditions() has refused it before
    known = [np.isfinite(situation.figures[name]) for name in ("burn_time", "action_time", "mean_pressure")]
    return np.asarray(np.logical_and.reduce(known))


def needed_pressure(motors: Motors, situation: Situation) -> Array:
    """Head pressure that the case must carry, (n,): the maximum expected, else the peak of the burn. [Pa]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Array
        [Pa], (n,).
    """
    if situation.maximum_expected_pressure is not None:
        return per_motor(motors, situation.maximum_expected_pressure)
    if situation.figures is None:
        raise NotComputable("the burn itself was not evaluated")
    return per_motor(motors, situation.figures["peak_head_pressure"])


def yield_pressure_at(motors: Motors, temperature: Array) -> Array:
    """Head pressure at which the bore of the case yields at a temperature [K], (…, n). [Pa]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    temperature : Array
        Of the bore [K], (…, n).

    Returns
    -------
    Array
        [Pa], (…, n).

    Raises
    ------
    NotComputable
        Where the material has no table.

    Notes
    -----
    `physics.vessels.first_yield_pressure` with the strength of the heat-affected zone where the case is welded. Hotter
    than the material's table reaches, the case is taken to carry nothing.
    """
    case = motors.case
    if case is None:
        raise NotComputable("[case] is not given")
    material = case.material
    strength = number(material, "yield_strength", "case.material")
    if material.derating() is None:
        raise NotComputable(f"case.material {material.name!r} has no table of strength at temperature")
    if case.heat_affected:
        strength *= number(material, "heat_affected_yield_ratio", "case.material")
    kept = np.where(np.isnan(temperature), np.nan, np.nan_to_num(material.yield_ratio(temperature), nan=0.0))
    return first_yield_pressure(strength * kept, case.outer_diameter, case.bore)
