"""What heat does to the liner, the case and the seals: failure modes that are times, not pressures.

Owns the gas-side correlations, how long each place of the wall is bare, and the rungs `liner burn-through`,
`case softening`, `seal overheating` and `case yield hot`. The wall itself is marched by `physics.heat.conduction`.

Places. A grain protects the wall behind it until its own web is gone (`mid-grain wall`). The `joint` between two
grains, the `forward end` and the `aft end` are bare from ignition; burning ends only widen them. A gap in the liner
leaves the case itself bare at all three, since the file does not say at which of them it is. The worst place governs.

Gas side. `aft end`: the relation of Bartz at the port area of the last grain. `joint` and `mid-grain wall`: the
pipe-flow relation of Dittus and Boelter at the local mass flux, for the joint that of the narrowest port.
`forward end`, where little flows: the same with what the first end face gives off, joined with natural convection.
The wall in a slot beside the port sees less than the port does, so joint and aft end are on the safe side. Radiation
is added everywhere with the effective emissivity `GAS_EMISSIVITY`, an assumption.

Held exposure. A wall that outlasts the burn by a hair and one that outlasts it tenfold must not look alike. The rungs
of liner and case therefore hold the mean conditions of the burn beyond its end, up to `HELD` times the action time:
the time they give is the one this wall would last if the burn went on. The seal is followed through the real soak.

Behind the liner. Where the case is judged, the liner touches it perfectly. Where the liner is judged, still air fills
a slip fit of `GAP_BEHIND_LINER`: a sleeve that is bonded, greased or pressed home by the gas does better, one that
hangs looser does worse, down to what an insulated back gives (`back="insulated"`), about a sixth less time for a
sixteenth of an inch. The liner counts as burnt through when nothing of it is left below its char temperature, worn or
not. Char that stays where it is still shields the case, so this ends the liner's duty before it endangers the case;
`case softening` says when that comes.

On the safe side: plane wall, no heat taken up by decomposition, none carried off by the gas that it blows. On the
unsafe side: char conducts better than the virgin material does once it glows, and this is left out too; no figure of
either was found that could be cited for these laminates. The two work against each other. Not modelled: sideways
conduction, jets of hot gas through a leak, erosion by particles, smouldering after the burn, delamination.

Sources: Bartz 1957, Dittus and Boelter, Churchill and Chu, each beside its formula; exposures are derived here.

Imports physics.failure.case, conduction, constants, grain, materials, modes and motors.
"""

from __future__ import annotations

import weakref
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from physics.ballistics.grain import area_coefficients, web
from physics.constants import GAS_CONSTANT, STANDARD_GRAVITY, ZERO_CELSIUS
from physics.heat.conduction import Face, Layer, Thermal, first_crossing, march
from physics.materials import Material
from physics.missing import NotComputable
from physics.motors import Array, Case, Figures, Liner, Motors, Propellant, Situation
from physics.vessels import first_yield_pressure

GAS_EMISSIVITY = 0.5
"""Effective emissivity of the hot gas with its particles: an assumption, no source. Clear gas in a small chamber lies
near 0.2, a dense cloud of particles near 1."""

HELD = 4.0
"""How many action times the conditions of the burn are held for, to see how far away a failure is."""

GAP_BEHIND_LINER = 0.1e-3
"""Width of the still air between a slip-fit liner and the case: an assumption, no source. [m]"""

_AIR = (0.0336, 0.88, 1014.0)  # air at 400 K and 1 atm: W/(m K), kg/m3, J/(kg K); Incropera Table A.4 (remembered)

SOAK = 300.0
"""Seconds after the burn through which the seal seats are followed."""

PLACES = ("forward end", "joint", "aft end", "mid-grain wall")

_BURN_STEPS, _TAIL_STEPS = 64, 32
_LINER_CELLS, _CASE_CELLS = 16, 3  # times within 0.5 % of those with sixfold finer cells and steps
_BLOCK = 1024  # walls marched together: enough to fill the vectors, few enough to stay in the cache


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

    molar_mass [kg/mol], temperature [K]; μ = 1.1840811e-7·M^0.5·T^0.6 with M in g/mol. Order of ±10 % for combustion
    products; air at room temperature comes out 6 % high. Source: Bartz 1957; NASA SP-125 chapter 4 (remembered).

    >>> gas_viscosity(np.array(0.025), np.array(3000.0)).round(9)
    np.float64(7.2214e-05)
    """
    return np.asarray(1.1840811e-7 * np.sqrt(1e3 * molar_mass) * temperature**0.6)


def gas_prandtl(gamma: Array) -> Array:
    """Prandtl number of a gas from its ratio of specific heats, 4γ/(9γ − 5). [-]

    Eucken's form; for gases only. Source: NASA SP-125 chapter 4 (remembered).

    >>> gas_prandtl(np.array(1.2)).round(6)
    np.float64(0.827586)
    """
    return np.asarray(4.0 * gamma / (9.0 * gamma - 5.0))


def combustion_gas(propellant: Propellant) -> Gas:
    """The gas of a propellant, (n,), from c*, gamma and molar mass: R·T = (c*·Γ)², ideal, of constant composition.

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

    h = 0.026/Dt^0.2 · (μ^0.2 cp/Pr^0.6) · (p/c*)^0.8 · (Dt/rc)^0.1 · (At/A)^0.9; all arguments in SI units, `pressure`
    the stagnation pressure [Pa]; arrays broadcast. Turbulent boundary layer, no particles; known to read high against
    tests and computed flow. Source: D. R. Bartz, Jet Propulsion 27(1), 1957; NASA SP-125 chapter 4 (remembered).

    >>> bartz_coefficient(0.012, 0.009, 8e-5, 1900.0, 0.5, 4e6, 1450.0).round(0)
    np.float64(16002.0)
    """
    transport = viscosity**0.2 * specific_heat / prandtl**0.6
    flux = (pressure / characteristic_velocity) ** 0.8
    shape = (throat_diameter / curvature_radius) ** 0.1 * throat_to_local_area**0.9
    return np.asarray(0.026 / throat_diameter**0.2 * transport * flux * shape)


def bartz_correction(wall_to_gas: Array, mach: Array, gamma: Array) -> Array:
    """Property correction sigma of the Bartz relation, for a viscosity that grows as T^0.6. [-]

    σ = {½(Tw/T0)[1 + (γ−1)/2·M²] + ½}^−0.68 · [1 + (γ−1)/2·M²]^−0.12. Source: as for `bartz_coefficient`.

    >>> bartz_correction(np.array(0.5), np.array(1.0), np.array(1.2)).round(5)
    np.float64(1.17573)
    """
    rise = 1.0 + 0.5 * (gamma - 1.0) * mach**2
    return np.asarray((0.5 * wall_to_gas * rise + 0.5) ** -0.68 * rise**-0.12)


def dittus_boelter(reynolds: Array, prandtl: Array, exponent: float = 0.3) -> Array:
    """Nusselt number of turbulent flow in a tube, 0.023·Re^0.8·Pr^exponent. [-]

    Exponent 0.3 where the fluid is cooled, as gas by a wall, 0.4 where it is heated. Fitted for Re ≥ 10,000,
    0.6 ≤ Pr ≤ 160 and ten diameters or more from the inlet, ±25 %. Below Re 10,000 the value goes on and reads high.
    Source: Dittus and Boelter 1930 in the form of Incropera et al., Fundamentals of Heat and Mass Transfer, Eq 8.60
    (remembered).

    >>> dittus_boelter(np.array(1e5), np.array(0.8), 0.4).round(2)
    np.float64(210.36)
    """
    return np.asarray(0.023 * reynolds**0.8 * prandtl**exponent)


def port_coefficient(gas: Gas, mass_flux: Array, diameter: Array) -> Array:
    """Film coefficient of a port [W/(m2 K)] at mass flux [kg/(m2 s)] and hydraulic diameter [m]; `dittus_boelter`."""
    reynolds = mass_flux * diameter / gas.viscosity
    return np.asarray(dittus_boelter(reynolds, gas.prandtl) * gas.conductivity / diameter)


def still_gas_coefficient(gas: Gas, pressure: Array, wall_temperature: Array | float) -> Array:
    """Film coefficient of turbulent natural convection of chamber gas on an upright wall. [W/(m2 K)]

    Nu = 0.10·Ra^(1/3), so that the height drops out; properties at the gas temperature, which reads high by the
    colder film's smaller conductivity and low by its greater density. For 1e9 ≤ Ra ≤ 1e13 at rest; under flight
    acceleration it is higher. Source: Incropera et al. Eq 9.24 (remembered).
    """
    density = pressure * gas.molar_mass / (GAS_CONSTANT * gas.temperature)
    film = 0.5 * (gas.temperature + wall_temperature)
    buoyancy = STANDARD_GRAVITY * np.maximum(gas.temperature - wall_temperature, 0.0) / film
    rayleigh_per_cube = buoyancy * (density / gas.viscosity) ** 2 * gas.prandtl
    return np.asarray(0.10 * gas.conductivity * np.cbrt(rayleigh_per_cube))


def cylinder_nusselt(rayleigh: Array, prandtl: Array | float) -> Array:
    """Nusselt number of natural convection around a long horizontal cylinder. [-]

    {0.60 + 0.387·Ra^(1/6)/[1 + (0.559/Pr)^(9/16)]^(8/27)}², for Ra ≤ 1e12. Source: Churchill and Chu, Int. J. Heat
    Mass Transfer 18, 1975; Incropera et al. Eq 9.34 (remembered).
    """
    spread = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return np.asarray((0.60 + 0.387 * rayleigh ** (1.0 / 6.0) / spread) ** 2)


def outside_coefficient(diameter: Array, ambient_temperature: Array, pressure: Array, surface_rise: float = 100.0) -> Array:
    """Film coefficient in still air around the case [W/(m2 K)], its surface `surface_rise` [K] above the air.

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

    `held` keeps the mean conditions of the burn up to `HELD` action times; otherwise the pressure falls as the history
    says, or to nothing at the end of the burn, and `SOAK` seconds of soak follow. Raises NotComputable without figures.
    """
    figures = situation.figures
    if figures is None:
        raise NotComputable("the burn itself was not evaluated")
    burnt = _column(motors, figures["burn_time"])
    end = np.maximum(_column(motors, figures["action_time"]), burnt)
    tail = (HELD - 1.0) * end if held else np.full(motors.size, SOAK)
    part = np.linspace(0.0, 1.0, _BURN_STEPS + 1)[:, None] ** 1.5
    time = np.concatenate([end * part, end + tail * _growing()[:, None]])
    middle = 0.5 * (time[1:] + time[:-1])
    pressure, flow, regression = _burn(motors, figures, middle, end, burnt)
    steps = np.diff(time, axis=0)
    if held:
        for column in (pressure, flow):
            column[_BURN_STEPS:] = (column * steps)[:_BURN_STEPS].sum(axis=0) / steps[:_BURN_STEPS].sum(axis=0)
    return Conditions(time, pressure, flow, regression, end, burnt)


def _growing() -> Array:
    """Instants after the burn, from 0 (left out) to 1, closer together at first."""
    part = np.linspace(0.0, 1.0, _TAIL_STEPS + 1)[1:]
    return np.asarray(np.expm1(4.0 * part) / np.expm1(4.0))


def _burn(motors: Motors, figures: Figures, time: Array, end: Array, burnt: Array) -> tuple[Array, Array, Array]:
    """Pressure, mass flow and regression at instants (steps, n)."""
    curve = figures.curve
    if curve is None or not curve.time.shape[1]:  # no motor of the batch burns
        burning = time < end
        pressure = np.where(burning, _column(motors, figures["mean_pressure"]), 0.0)
        flow = np.where(burning, _column(motors, figures["propellant_mass"]) / burnt, 0.0)
        return pressure, flow, np.minimum(time / burnt, 1.0) * _webs(motors).max(axis=1)
    columns = [curve.chamber_pressure, curve.mass_flow, curve.regression]
    pressure, flow, regression = (_sampled(curve.time, column, time) for column in columns)
    over = time > np.fmax.reduce(curve.time, axis=1)
    return np.where(over, 0.0, pressure), np.where(over, 0.0, flow), regression


def _sampled(time: Array, value: Array, instants: Array) -> Array:
    """Rows of (n, T), ended by NaN, read at instants (steps, n) by linear interpolation; the ends are held."""
    rows, width = time.shape
    last = np.fmax.reduce(time, axis=1)
    scaled = np.where(np.isnan(time), 1.5, time / last[:, None]) + 2.0 * np.arange(rows)[:, None]
    wanted = np.clip(instants / last, 0.0, 1.0) + 2.0 * np.arange(rows)
    first = width * np.arange(rows)
    high = np.clip(np.searchsorted(scaled.ravel(), wanted), first + 1, first + width - 1)
    low = high - 1
    flat_time, flat = scaled.ravel(), value.ravel()
    span = flat_time[high] - flat_time[low]
    part = np.clip((wanted - flat_time[low]) / np.where(span > 0.0, span, 1.0), 0.0, 1.0)
    return np.asarray(np.where(np.isnan(flat[high]), flat[low], flat[low] + part * (flat[high] - flat[low])))


def _column(motors: Motors, leaf: Array | float) -> Array:
    return np.array(np.broadcast_to(np.asarray(leaf, dtype=float), (motors.size,)))


def _rows(motors: Motors) -> tuple[Array, Array, Array, Array, Array]:
    """Count, length, outer and core diameter and burning ends of the grain rows, each (n, rows)."""
    grain = motors.grain
    leaves = (grain.count, grain.length, grain.outer_diameter, grain.core_diameter, grain.burning_ends)
    shape = (motors.size, max(np.asarray(leaf).shape[-1] if np.ndim(leaf) else 1 for leaf in leaves))
    count, length, outer, core, ends = (np.broadcast_to(np.asarray(leaf, dtype=float), shape) for leaf in leaves)
    return count, length, outer, core, ends


def _webs(motors: Motors) -> Array:
    """Web of each row of grains, (n, rows), 0 where the row is absent. [m]"""
    return np.array(np.broadcast_to(web(motors.grain), _rows(motors)[0].shape))


def bare_length(motors: Motors, regression: Array) -> dict[str, Array]:
    """Length of wall bare at the joint and at each end after `regression` [m], (n,), beyond what is bare at ignition.

    A joint widens from both sides, an end from one; grains with inhibited ends widen nothing. [m]
    """
    count, length, _, _, ends = _rows(motors)
    per_face = np.where(count > 0.0, np.minimum(np.asarray(regression)[:, None] * (ends > 0.0), length), 0.0)
    widest = per_face.max(axis=1)
    return {"forward end": widest, "joint": np.where(count.sum(axis=1) > 1.0, 2.0 * widest, 0.0), "aft end": widest}


def exposed_from(motors: Motors, conditions: Conditions) -> Array:
    """When the wall behind the first grain to burn through is bare, (n,). [s]"""
    webs = _webs(motors)
    thinnest = np.where(webs > 0.0, webs, np.inf).min(axis=1)
    middle = 0.5 * (conditions.time[1:] + conditions.time[:-1])
    return np.minimum(first_crossing(middle, conditions.regression, thinnest), conditions.burnt)


def faces(motors: Motors, conditions: Conditions) -> dict[str, Face]:
    """Gas-side boundary of each place, leaves (steps, n)."""
    gas = combustion_gas(motors.propellant)
    present = conditions.pressure > 0.0
    emissivity = np.where(present, GAS_EMISSIVITY, 0.0)
    uncovered = np.clip(
        (conditions.time[1:] - exposed_from(motors, conditions)) / np.maximum(np.diff(conditions.time, axis=0), 1e-12), 0.0, 1.0
    )
    count = _rows(motors)[0].sum(axis=1)
    jointed = np.where(count > 1.0, 1.0, 0.0)
    temperature = np.broadcast_to(gas.temperature, conditions.pressure.shape)
    end, joint, aft, middle = _coefficients(motors, conditions, gas)
    return {
        "forward end": Face(end, temperature, emissivity),
        "joint": Face(jointed * joint, temperature, jointed * emissivity),
        "aft end": Face(aft, temperature, emissivity, wall_exponent=0.68),
        "mid-grain wall": Face(uncovered * middle, temperature, uncovered * emissivity),
    }


def _coefficients(motors: Motors, now: Conditions, gas: Gas) -> tuple[Array, Array, Array, Array]:
    """Film coefficients at forward end, joint, aft end and mid-grain wall, each (steps, n)."""
    count, _, outer, core, ends = _rows(motors)
    bore = _chamber_bore(motors)
    port = np.where(core > 0.0, np.minimum(core + 2.0 * now.regression[:, :, None], outer), bore[:, None])
    port = np.where(count > 0.0, port, np.inf)
    narrowest = port.min(axis=2)
    last = (count.shape[1] - 1 - np.argmax(count[:, ::-1] > 0.0, axis=1))[None, :, None]
    aft = np.take_along_axis(port, np.broadcast_to(last, (*now.regression.shape, 1)), axis=2)[:, :, 0]
    total = count.sum(axis=1)
    throat = motors.nozzle.throat_diameter

    first = np.argmax(count > 0.0, axis=1)[:, None]
    face = np.where(ends > 0.0, 0.25 * np.pi * (outer**2 - core**2), 0.0)
    burning = np.broadcast_to(area_coefficients(motors.grain)[0], count.shape).sum(axis=1)
    share = np.take_along_axis(face, first, axis=1)[:, 0] / np.where(burning > 0.0, burning, 1.0)
    forced = port_coefficient(gas, share * now.mass_flow / (0.25 * np.pi * narrowest**2), narrowest)
    still = still_gas_coefficient(gas, now.pressure, _column(motors, motors.ambient.temperature))

    upstream = now.mass_flow * (total - 1.0) / np.maximum(total, 1.0)
    return (
        np.cbrt(forced**3 + still**3),
        port_coefficient(gas, upstream / (0.25 * np.pi * narrowest**2), narrowest),
        # The radius of curvature is not in the file: one throat diameter; half or double of it makes 7 %.
        bartz_coefficient(
            throat,
            throat,
            gas.viscosity,
            gas.specific_heat,
            gas.prandtl,
            now.pressure,
            motors.propellant.characteristic_velocity,
            (throat / aft) ** 2,
        ),
        port_coefficient(gas, now.mass_flow / (0.25 * np.pi * bore**2), bore),
    )


def _chamber_bore(motors: Motors) -> Array:
    """Bore that is left when all grains are gone: the largest grain diameter, or the liner's bore where known. (n,)"""
    count, _, outer, _, _ = _rows(motors)
    grains = np.where(count > 0.0, outer, 0.0).max(axis=1)
    if motors.case is None or motors.liner is None:
        return np.asarray(grains)
    return np.asarray(np.maximum(grains, _column(motors, motors.case.bore - 2.0 * motors.liner.thickness)))


# --- the wall --------------------------------------------------------------------------------------------------------


def _parts(motors: Motors) -> tuple[Case, Liner]:
    if motors.case is None:
        raise NotComputable("[case] is not given")
    if motors.liner is None:
        raise NotComputable('[liner] is not given (a bare case is a [liner] of thickness = "0 mm")')
    return motors.case, motors.liner


def _property(material: Material, name: str, key: str) -> float:
    """A material number, or NotComputable naming material and number."""
    value = getattr(material, name)
    if value is None:
        raise NotComputable(f"{key} {material.name!r} has no {name}")
    return float(value)


def _bare(motors: Motors, liner: Liner, place: str) -> NDArray[np.bool_]:
    """Where the case itself is bare at a place, (n,) bool."""
    bare = np.asarray(_column(motors, liner.thickness) <= 0.0)
    if liner.gap is not None and place != "mid-grain wall":
        bare |= _column(motors, liner.gap) > 0.0
    return bare


def _wall(motors: Motors, place: str) -> tuple[Layer, Layer]:
    """Liner on case at a place; where the case is bare both layers are case and share its wall."""
    case, liner = _parts(motors)
    wall = _column(motors, case.wall)
    bare = _bare(motors, liner, place)
    inside = _LINER_CELLS / (_LINER_CELLS + _CASE_CELLS)
    metal = _thermal(motors, case.material, "case.material")
    sleeve = metal if bare.all() else _thermal(motors, liner.material, "liner.material")
    k, rho, c = (np.where(bare, m, s) for m, s in zip(metal, sleeve, strict=True))
    return (
        Layer(np.where(bare, inside * wall, _column(motors, liner.thickness)), k, rho, c, _LINER_CELLS),
        Layer(np.where(bare, (1.0 - inside) * wall, wall), metal[0], metal[1], metal[2], _CASE_CELLS),
    )


def _thermal(motors: Motors, material: Material, key: str) -> tuple[Array, Array, Array]:
    """Conductivity, density and specific heat of a material as columns."""
    k, rho, c = (_property(material, name, key) for name in ("conductivity", "density", "specific_heat"))
    return np.full(motors.size, k), np.full(motors.size, rho), np.full(motors.size, c)


def wall_history(motors: Motors, situation: Situation, place: str, held: bool) -> tuple[Conditions, Thermal]:
    """Temperatures of liner and case at one place of `PLACES`; `interface` is the bore of the case.

    Perfect contact between liner and case. At a bare place the bore is `surface`, and `interface` equals it here.
    Raises NotComputable naming what is missing.
    """
    now = conditions(motors, situation, held)
    return now, next(_wall_histories(motors, now, (place,)))


def _wall_histories(motors: Motors, now: Conditions, places: Sequence[str]) -> Iterator[Thermal]:
    case, liner = _parts(motors)
    boundary = faces(motors, now)
    outside = outside_coefficient(
        _column(motors, case.outer_diameter), _column(motors, motors.ambient.temperature), _column(motors, motors.ambient.pressure)
    )
    bare = {place: _bare(motors, liner, place) for place in places}
    found = _march_places(
        motors,
        now,
        [
            _Place(_wall(motors, place), boundary[place], outside, np.where(bare[place], 0.0, _recession(motors, now, place)))
            for place in places
        ],
    )
    for place, history in zip(places, found, strict=True):
        yield replace(history, interface=np.where(bare[place], history.surface, history.interface))


def _bores(motors: Motors, situation: Situation, places: Sequence[str], held: bool) -> tuple[Conditions, dict[str, Array]]:
    """Bore temperature at each of these places, (steps + 1, n); kept for whoever asks next."""
    if situation.figures is None:
        raise NotComputable("the burn itself was not evaluated")
    kept = _kept_for(motors, situation.figures)
    if held not in kept.bores:
        kept.bores[held] = conditions(motors, situation, held), {}
    now, bores = kept.bores[held]
    missing = [place for place in places if place not in bores]
    if missing:
        found = zip(missing, _wall_histories(motors, now, missing), strict=True)
        bores.update({place: history.interface for place, history in found})
    return now, {place: bores[place] for place in places}


@dataclass(frozen=True)
class _Kept:
    """What has been marched for one batch and its figures, which it does not keep alive.

    `bores` by whether the burn is held on, `through` by what lies behind the liner.
    """

    motors: weakref.ref[Motors]
    figures: weakref.ref[Figures]
    bores: dict[bool, tuple[Conditions, dict[str, Array]]] = field(default_factory=dict)
    through: dict[str, dict[str, Array]] = field(default_factory=dict)


# The last walls marched. Rungs and notes of a ladder ask for the same walls; motors and figures are never changed in
# place. Gone as soon as the motors or the figures are.
_last: _Kept | None = None


def _kept_for(motors: Motors, figures: Figures) -> _Kept:
    """What is kept for this batch, empty at first."""
    global _last
    kept = _last
    if kept is None or kept.motors() is not motors or kept.figures() is not figures:
        kept = _last = _Kept(weakref.ref(motors, _forget), weakref.ref(figures, _forget))
    return kept


def _forget(gone: weakref.ref[Motors] | weakref.ref[Figures]) -> None:
    global _last
    if _last is not None and (gone is _last.motors or gone is _last.figures):
        _last = None


@dataclass(frozen=True)
class _Place:
    """What is marched at one place: layers, gas side, coefficient outside (None: insulated), wear (steps, n)."""

    layers: tuple[Layer, ...]
    face: Face
    outside: Array | None
    recession: Array


def _march_places(motors: Motors, now: Conditions, places: Sequence[_Place]) -> Iterator[Thermal]:
    """Histories of several places, whose layers have the same cells; as many side by side as a block takes."""
    group = max(1, _BLOCK // max(motors.size, 1))
    for low in range(0, len(places), group):
        yield from _side_by_side(motors, now, places[low : low + group])


def _side_by_side(motors: Motors, now: Conditions, places: Sequence[_Place]) -> list[Thermal]:
    layers = tuple(
        replace(same[0], **{name: np.concatenate([getattr(layer, name) for layer in same]) for name in _LAYER_LEAVES})
        for same in zip(*(place.layers for place in places), strict=True)
    )
    shape = now.pressure.shape
    face = Face(
        *(np.concatenate([np.broadcast_to(getattr(place.face, name), shape) for place in places], axis=1) for name in _FACE_LEAVES)
    )
    outer = [place.outside for place in places if place.outside is not None]
    start = np.tile(_column(motors, motors.ambient.temperature), len(places))
    together = _march_blocks(
        start,
        layers,
        np.tile(now.time, (1, len(places))),
        face,
        np.concatenate(outer) if outer else None,
        np.concatenate([place.recession for place in places], axis=1),
    )
    columns = [slice(index * motors.size, (index + 1) * motors.size) for index in range(len(places))]
    return [Thermal(*(getattr(together, name)[..., part] for name in _LEAVES)) for part in columns]


def _march_blocks(
    start: Array, layers: tuple[Layer, ...], time: Array, face: Face, outside: Array | None, recession: Array
) -> Thermal:
    """`march` in blocks of walls that fit in the cache; an `outside` of None is an insulated back."""
    done = []
    for low in range(0, start.size, _BLOCK):
        part = slice(low, low + _BLOCK)
        cut = tuple(
            Layer(layer.thickness[part], layer.conductivity[part], layer.density[part], layer.specific_heat[part], layer.cells)
            for layer in layers
        )
        inner = Face(*(np.asarray(getattr(face, name))[:, part] for name in _FACE_LEAVES))
        outer = Face() if outside is None else Face(outside[part], start[part])
        done.append(march(cut, start[part], time[:, part], inner, outer, recession[:, part]))
    if len(done) == 1:
        return done[0]
    return Thermal(*(np.concatenate([getattr(one, name) for one in done], axis=1) for name in _LEAVES))


_LEAVES = ("time", "surface", "interface", "back", "mean", "thickness", "final")
_LAYER_LEAVES = ("thickness", "conductivity", "density", "specific_heat")
_FACE_LEAVES = ("coefficient", "temperature", "emissivity", "flux", "wall_exponent")


def _recession(motors: Motors, now: Conditions, place: str) -> Array:
    """Rate at which the liner is worn away, (steps, n): the material's own figure while the place is bare and hot."""
    _, liner = _parts(motors)
    rate = liner.material.regression_rate
    if rate is None:
        return np.zeros_like(now.pressure)
    exposed = np.where(now.pressure > 0.0, 1.0, 0.0)
    if place == "mid-grain wall":
        exposed = exposed * (now.time[1:] > exposed_from(motors, now))
    if place == "joint":
        exposed = exposed * (_rows(motors)[0].sum(axis=1) > 1.0)
    reference = liner.material.regression_at
    scale = 1.0 if reference is None else (now.pressure / reference) ** 0.8  # as the film coefficient grows
    return np.asarray(rate * scale * exposed)


# --- rungs -----------------------------------------------------------------------------------------------------------


def burn_through_by_place(motors: Motors, situation: Situation, back: str = "slip fit") -> dict[str, Array]:
    """When the liner is through at each place [s], (n,): worn away, or charred down to its back; 0 where it has a gap.

    Charred is what has reached the material's char temperature; worn is what the material's regression rate, where
    there is one, takes. `back` is "slip fit" (still air, then the case) or "insulated", the lower bound; see the
    module. Raises NotComputable naming what is missing.
    """
    kept = {} if situation.figures is None else _kept_for(motors, situation.figures).through
    if back not in kept:
        kept[back] = _burn_through(motors, situation, back)
    return dict(kept[back])


def _burn_through(motors: Motors, situation: Situation, back: str) -> dict[str, Array]:
    _, liner = _parts(motors)
    thickness = _column(motors, liner.thickness)
    if not np.any(thickness > 0.0):
        raise NotComputable("liner.thickness is 0, there is no liner; see case softening")
    material = liner.material
    char = material.char_temperature
    if char is None and material.regression_rate is None:
        raise NotComputable(f"liner.material {material.name!r} has neither char_temperature nor regression_rate")
    now = conditions(motors, situation, held=True)
    boundary = faces(motors, now)
    k, rho, c = _thermal(motors, material, "liner.material")
    layer = Layer(np.where(thickness > 0.0, thickness, 1e-3), k, rho, c, _LINER_CELLS)
    layers = (layer, *(_behind_liner(motors) if back == "slip fit" else ()))
    wear = {place: _recession(motors, now, place) for place in PLACES}
    found = _march_places(motors, now, [_Place(layers, boundary[place], None, wear[place]) for place in PLACES])
    times = {}
    for place, history in zip(PLACES, found, strict=True):
        through = _worn_through(now, wear[place], thickness)
        if char is not None:
            through = np.minimum(through, first_crossing(now.time, history.interface, float(char)))
        gap = _bare(motors, liner, place) & (thickness > 0.0)
        times[place] = np.where(thickness > 0.0, np.where(gap, 0.0, through), np.inf)
    return times


def _behind_liner(motors: Motors) -> tuple[Layer, ...]:
    """Still air and the case, or nothing where the case's thermal numbers are not known: the safe side."""
    case, _ = _parts(motors)
    try:
        metal = _thermal(motors, case.material, "case.material")
    except NotComputable:
        return ()
    width, conductivity, density, heat = (np.full(motors.size, value) for value in (GAP_BEHIND_LINER, *_AIR))
    wall = Layer(_column(motors, case.wall), metal[0], metal[1], metal[2], _CASE_CELLS)
    return Layer(width, conductivity, density, heat, 1), wall


def _worn_through(now: Conditions, wear: Array, thickness: Array) -> Array:
    """When the depth worn away reaches the thickness, (n,); inf where it never does."""
    depth = np.concatenate([np.zeros((1, thickness.size)), np.cumsum(wear * np.diff(now.time, axis=0), axis=0)])
    return np.where(depth[-1] > 0.0, first_crossing(now.time, depth, thickness), np.inf)


def liner_burn_through(motors: Motors, situation: Situation) -> Array:
    """Time at which the liner is consumed or charred through at its worst place, (n,), inf where never. [s]

    See `burn_through_by_place` for the criterion and the module for the places, the gas side and what is left out.
    """
    return _worst(burn_through_by_place(motors, situation), situation)


def case_softening_by_place(motors: Motors, situation: Situation) -> dict[str, Array]:
    """When the case, at the temperature of its bore, no longer carries the maximum expected pressure, (n,). [s]"""
    needed = _needed_pressure(motors, situation)
    now, bores = _bores(motors, situation, PLACES, held=True)
    return {place: first_crossing(now.time, needed - yield_pressure_at(motors, bore), 0.0) for place, bore in bores.items()}


def case_softening(motors: Motors, situation: Situation) -> Array:
    """Time at which the case has softened too far at its worst place, (n,), inf where never. [s]

    Criterion: the yield pressure at the bore temperature falls below the maximum expected pressure. Raises
    NotComputable naming what is missing.
    """
    return _worst(case_softening_by_place(motors, situation), situation)


def case_yield_hot(motors: Motors, situation: Situation) -> Array:
    """Peak head pressure at which the case yields, as hot as it gets while the pressure lasts, (n,). [Pa]

    At every moment the yield pressure of the warm case is set against the pressure at that moment; the moment that
    leaves least is scaled to the peak. Without a pressure history the pressure is the mean throughout, and the end of
    the burn counts. Worst place. Raises NotComputable naming what is missing.
    """
    now, bores = _bores(motors, situation, PLACES, held=True)
    hottest = np.max(list(bores.values()), axis=0)
    acting = now.pressure[:_BURN_STEPS]
    hot = yield_pressure_at(motors, np.maximum(hottest[1:], hottest[:-1])[:_BURN_STEPS])
    scale = np.where(acting > 0.0, acting.max(axis=0) / np.where(acting > 0.0, acting, 1.0), np.inf)
    return np.where(_burns(situation), np.where(np.isinf(scale), np.inf, hot * scale).min(axis=0), np.nan)


def seal_overheating(motors: Motors, situation: Situation) -> Array:
    """Time at which the seal's seat, the bore of the case at that end, reaches the seal's limit, (n,). [s]

    Followed through the burn and `SOAK` seconds after it; inf where the limit is never reached. A time after the burn
    costs the ring, not the firing. Raises NotComputable naming what is missing.
    """
    part = f"{situation.end}_closure"
    closure = motors.forward_closure if situation.end == "forward" else motors.aft_closure
    if closure is None or closure.seal is None:
        raise NotComputable(f"[{part}.seal] is not given")
    if closure.seal.material is None:
        raise NotComputable(f"{part}.seal.material is not given")
    limit = _property(closure.seal.material, "limit_temperature", f"{part}.seal.material")
    now, bores = _bores(motors, situation, ("forward end", "aft end"), held=False)  # the other end is asked next
    return np.where(_burns(situation), first_crossing(now.time, bores[f"{situation.end} end"], limit), np.nan)


def _worst(times: dict[str, Array], situation: Situation) -> Array:
    return np.where(_burns(situation), np.min(list(times.values()), axis=0), np.nan)


def _burns(situation: Situation) -> NDArray[np.bool_]:
    """Where the kernel found a burn at all; without one a wall that never gets hot would look safe."""
    assert situation.figures is not None  # conditions() has refused it before
    known = [np.isfinite(situation.figures[name]) for name in ("burn_time", "action_time", "mean_pressure")]
    return np.asarray(np.logical_and.reduce(known))


def _needed_pressure(motors: Motors, situation: Situation) -> Array:
    if situation.maximum_expected_pressure is not None:
        return _column(motors, situation.maximum_expected_pressure)
    if situation.figures is None:
        raise NotComputable("the burn itself was not evaluated")
    return _column(motors, situation.figures["peak_head_pressure"])


def yield_pressure_at(motors: Motors, temperature: Array) -> Array:
    """Head pressure at which the bore of the case yields at a temperature [K], (…, n). [Pa]

    `physics.vessels.first_yield_pressure` with the strength of the heat-affected zone where the case is welded. Hotter
    than the material's table reaches, the case is taken to carry nothing. Raises NotComputable where the material has
    no table.
    """
    case, _ = _parts(motors)
    material = case.material
    strength = _property(material, "yield_strength", "case.material")
    if material.derating() is None:
        raise NotComputable(f"case.material {material.name!r} has no table of strength at temperature")
    if case.heat_affected:
        strength *= _property(material, "heat_affected_yield_ratio", "case.material")
    kept = np.where(np.isnan(temperature), np.nan, np.nan_to_num(material.yield_ratio(temperature), nan=0.0))
    return first_yield_pressure(strength * kept, case.outer_diameter, case.bore)


# --- notes for a single motor ----------------------------------------------------------------------------------------

_GAS_SIDE = (
    "gas side by Bartz 1957 (aft end; reads high) and Dittus-Boelter (ports), radiation at an assumed emissivity of "
    f"{GAS_EMISSIVITY:g}"
)
BASIS_LINER = (
    f"1-D transient conduction until the char front is through, {GAP_BEHIND_LINER * 1e3:g} mm of still air assumed "
    "between liner and case, and wear; the burn held on beyond its end to show the distance; char left in place still "
    f"shields the case (see case softening); {_GAS_SIDE}"
)
BASIS_CASE = f"1-D transient conduction; yield at the bore's temperature falls to what is needed; {_GAS_SIDE}"
BASIS_HOT = f"yield at the bore's temperature when it counts most, scaled to the peak; 1-D conduction; {_GAS_SIDE}"
BASIS_SEAL = f"1-D transient conduction to the bore under the seal, soak included; {_GAS_SIDE}"


def liner_note(motors: Motors, situation: Situation) -> str:
    """Where the liner goes first, when elsewhere, when it would with its back insulated; for a single motor."""
    _, liner = _parts(motors)
    times = burn_through_by_place(motors, situation)
    first = min(times, key=lambda place: float(times[place][0]))
    others = ", ".join(f"{place} {_seconds(times[place][0])}" for place in PLACES if place != first)
    loose = burn_through_by_place(motors, situation, back="insulated")[first][0]
    lines = [f"first at the {first}; {others}"]
    if loose < times[first][0]:
        lines.append(f"{_seconds(loose)} with its back insulated")
    if liner.material.char_temperature is not None:
        _, status = liner.material.sources.get("char_temperature", ("", "as given"))
        lines.append(f"chars at {_celsius(liner.material.char_temperature)} ({status})")
    if bool(_bare(motors, liner, "joint")[0]) and float(_column(motors, liner.thickness)[0]) > 0.0:
        lines.insert(0, "the liner has a gap: the case is bare there from ignition")
    return "; ".join(lines)


def case_note(motors: Motors, situation: Situation) -> str:
    """How hot the bore of the case gets, at burnout and in the soak after it; for a single motor."""
    burnout, soak = {}, {}
    now, bores = _bores(motors, situation, PLACES, held=False)
    burning = now.time[:, 0] <= now.end[0] * (1.0 + 1e-9)
    for place, bore in bores.items():
        burnout[place], soak[place] = bore[burning, 0].max(), bore[:, 0].max()
    hot, late = max(burnout, key=lambda place: burnout[place]), max(soak, key=lambda place: soak[place])
    melting = _parts(motors)[0].material.melting_temperature
    if melting is not None and burnout[hot] >= melting:
        return f"the bore reaches its melting temperature, {_celsius(melting)}, during the burn ({hot})"
    text = (
        f"bore up to {_celsius(burnout[hot])} during the burn ({hot}), {_celsius(soak[late])} in the soak after it "
        f"({late}; reads high, no heat flows along the tube)"
    )
    if soak[late] > _LASTING_LOSS:
        text += "; over 200 °C a tempered tube does not regain its strength: retire or test it"
    return text


def seal_note(motors: Motors, situation: Situation) -> str:
    """What the seal's limit is, and whether it is reached while there is pressure; for a single motor."""
    time = float(seal_overheating(motors, situation)[0])
    closure = motors.forward_closure if situation.end == "forward" else motors.aft_closure
    assert closure is not None and closure.seal is not None and closure.seal.material is not None
    assert situation.figures is not None  # seal_overheating() has refused all of these before
    material = closure.seal.material
    if np.isinf(time):
        when = "not reached"
    elif time > float(_column(motors, situation.figures["action_time"])[0]):
        when = "reached after the burn, replace the ring"
    else:
        when = "reached in the burn"
    limit = _celsius(material.limit_temperature or 0.0)
    return f"{material.name} up to {limit}, {when}; limit: {material.source('limit_temperature')}"


_LASTING_LOSS = 200.0 + ZERO_CELSIUS
"""Above this a tempered aluminium tube keeps less than 95 % of its yield strength after half an hour (MIL-HDBK-5J
Fig 3.6.2.2.1(d), 6061-T6 at 204 °C, read at second hand). [K]"""


def _seconds(time: float) -> str:
    return f"not within {HELD:g} burns" if np.isinf(time) else f"{time:.2g} s"


def _celsius(kelvin: float) -> str:
    celsius = float(kelvin) - ZERO_CELSIUS
    return f"{celsius:.0f} °C ({1.8 * celsius + 32.0:.0f} °F)"
