"""Erosive burning: how crossflow along the core raises the local burning rate.

Owns the two laws a propellant file can name and their constants. Imports numpy, `physics.constants`, `physics.motors`
and `physics.ballistics.nozzle`.

`mukunda-paul`: r = r₀·[1 + k(g^0.8 − g_th^0.8)] above g_th, g = (G/ρr₀)(Re₀/1000)^−0.125, Re₀ = ρ r₀ d/μ. k = 0.023,
g_th = 35. Source: H. S. Mukunda and P. J. Paul, Combustion and Flame 109 (1997) 224; form well remembered, not read.
Fitted to double-base and composite data, g up to about 300 (±10 % stated there, less surely remembered).

`lenoir-robillard`: r = r₀ + α·G^0.8·d^−0.2·exp(−β·r·ρ/G), implicit in r. β = 53, and
α = 0.0288·c_p·μ^0.2·Pr^(−2/3)·(T₁ − T_s)/(ρ·c_s·(T_s − T_p)) in SI. Source: J. M. Lenoir and G. Robillard, 6th
Symposium on Combustion (1957); Sutton & Biblarz, ch. 11; well remembered, not read. Turbulent flat-plate heat
transfer: for developed turbulent flow (Re_d above some 1e4); it over-predicts in large ports, where d^−0.2 is too weak
a scale effect, and has no threshold. d is the diameter of the core at the station.

Where the file gives no gas properties they are estimated: viscosity 1.184e-7·M^0.5·T^0.6 Pa·s with M in g/mol
(Huzel & Huang, NASA SP-125, ch. 4, remembered), Pr = 4γ/(9γ − 5) (Eucken), c_p = γR/((γ − 1)M), T₁ = (c*Γ)²·M/R from
the delivered c*. Surface temperature 1000 K and solid specific heat 1500 J/kg/K are textbook middles, remembered; they
move α in proportion, so a law without constants of its own tells a trend, not a number.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from physics.ballistics.nozzle import vandenkerckhove
from physics.constants import GAS_CONSTANT
from physics.motors import Array, Propellant

_DEFAULTS = {
    "coefficient": 0.023,
    "threshold": 35.0,
    "beta": 53.0,
    "solid_specific_heat": 1500.0,
    "surface_temperature": 1000.0,
}


@dataclass(frozen=True)
class Erosion:
    """An erosive law with its constants as columns that broadcast against (n,): `law`, `density` and the table."""

    law: str
    density: Array
    constants: Mapping[str, Array]

    def column(self, name: str, dimensions: int) -> Array:
        """One constant, shaped to broadcast against an array of so many dimensions, batch first.

        Parameters
        ----------
        name : str
            The name of the constant.
        dimensions : int
            How many dimensions the array has.

        Returns
        -------
        Array
            SI.
        """
        return _column(self.constants[name], dimensions)

    def take(self, index: Any) -> Erosion:
        """The law for the motors at `index`.

        Parameters
        ----------
        index : Any
            Which motors.

        Returns
        -------
        Erosion
            The law, SI.
        """
        picked = {name: value if value.size == 1 else value[index] for name, value in self.constants.items()}
        return Erosion(self.law, self.density if self.density.size == 1 else self.density[index], picked)


def _column(value: Array, dimensions: int) -> Array:
    return value.reshape(value.shape + (1,) * (dimensions - 1))


def erosion(propellant: Propellant, temperature: ArrayLike) -> Erosion:
    """The propellant's erosive law with defaults filled in.

    Parameters
    ----------
    propellant : Propellant
        The propellant, SI.
    temperature : ArrayLike
        Of the propellant, (n,) or scalar. [K]

    Returns
    -------
    Erosion
        The law, SI.

    Raises
    ------
    ValueError
        For a law or a constant that has no such name, naming those there are.
    """
    law = propellant.erosive
    if law not in LAWS:
        raise ValueError(f"erosive law {law!r}: expected one of {', '.join(LAWS)}")
    given = {name: np.atleast_1d(np.asarray(value, float)) for name, value in propellant.erosive_constants.items()}
    known = LAWS[law].constants
    unknown = sorted(set(given) - set(known))
    if unknown:
        raise ValueError(f"erosive constant {unknown[0]!r}: law {law!r} has {', '.join(known) or 'none'}")
    density = np.atleast_1d(np.asarray(propellant.density, float))
    if law == "none":
        return Erosion(law, density, {})
    filled = _gas(propellant) | {name: np.array([value]) for name, value in _DEFAULTS.items()} | given
    if law == "lenoir-robillard" and "alpha" not in given:
        filled["alpha"] = heat_transfer_alpha(
            filled["specific_heat"],
            filled["viscosity"],
            filled["prandtl"],
            density,
            filled["solid_specific_heat"],
            filled["flame_temperature"],
            filled["surface_temperature"],
            np.atleast_1d(np.asarray(temperature, float)),
        )
    return Erosion(law, density, {name: filled[name] for name in known})


def _gas(propellant: Propellant) -> dict[str, Array]:
    """Properties of the gas estimated from c*, γ and molar mass."""
    gamma, molar = (np.atleast_1d(np.asarray(leaf, float)) for leaf in (propellant.gamma, propellant.molar_mass))
    flame = (propellant.characteristic_velocity * vandenkerckhove(gamma)) ** 2 * molar / GAS_CONSTANT
    return {
        "flame_temperature": flame,
        "viscosity": gas_viscosity(molar, flame),
        "prandtl": 4.0 * gamma / (9.0 * gamma - 5.0),
        "specific_heat": gamma * GAS_CONSTANT / ((gamma - 1.0) * molar),
    }


def gas_viscosity(molar_mass: ArrayLike, temperature: ArrayLike) -> Array:
    """Viscosity of combustion gas. [Pa·s]

    Parameters
    ----------
    molar_mass : ArrayLike
        M [kg/mol].
    temperature : ArrayLike
        T [K].

    Returns
    -------
    Array
        [Pa·s].

    Notes
    -----
    1.18408e-7·M^0.5·T^0.6 with M in g/mol; about 6 % high for air at 300 K.

    References
    ----------
    Huzel & Huang, NASA SP-125, ch. 4, remembered.

    Examples
    --------
    >>> float(gas_viscosity(0.025, 3000.0).round(8))
    7.221e-05
    """
    molar, hot = np.asarray(molar_mass, dtype=float), np.asarray(temperature, dtype=float)
    return np.asarray(1.1840811e-7 * np.sqrt(1e3 * molar) * hot**0.6)


def heat_transfer_alpha(
    specific_heat: ArrayLike,
    viscosity: ArrayLike,
    prandtl: ArrayLike,
    density: ArrayLike,
    solid_specific_heat: ArrayLike,
    flame_temperature: ArrayLike,
    surface_temperature: ArrayLike,
    propellant_temperature: ArrayLike,
) -> Array:
    """α of the Lenoir–Robillard law in SI, so that α·G^0.8·d^−0.2 is in m/s.

    Parameters
    ----------
    specific_heat : ArrayLike
        c_p of the gas [J/(kg K)].
    viscosity : ArrayLike
        μ of the gas [Pa·s].
    prandtl : ArrayLike
        Pr of the gas [-].
    density : ArrayLike
        ρ of the propellant [kg/m3].
    solid_specific_heat : ArrayLike
        c_s [J/(kg K)].
    flame_temperature : ArrayLike
        T₁ [K].
    surface_temperature : ArrayLike
        T_s [K].
    propellant_temperature : ArrayLike
        T_p [K].

    Returns
    -------
    Array
        SI; broadcasts.

    Notes
    -----
    Formula, validity and source stand at the head of this file.

    Examples
    --------
    >>> float(heat_transfer_alpha(2000.0, 8e-5, 0.8, 1750.0, 1500.0, 3200.0, 1000.0, 293.0).round(12))
    1.2009395e-05
    """
    gas = (specific_heat, viscosity, prandtl, density, solid_specific_heat)
    cp, mu, pr, rho, cs = (np.asarray(value, float) for value in gas)
    temperatures = (flame_temperature, surface_temperature, propellant_temperature)
    flame, surface, cold = (np.asarray(value, float) for value in temperatures)
    heat = (flame - surface) / (rho * cs * (surface - cold))
    return np.asarray(0.0288 * cp * mu**0.2 * pr ** (-2.0 / 3.0) * heat)


def eroded_rate(law: Erosion, base_rate: Array, mass_flux: Array, diameter: Array) -> Array:
    """Burning rate with crossflow. [m/s]

    Parameters
    ----------
    law : Erosion
        The erosive law.
    base_rate : Array
        r₀, batch axis first. [m/s]
    mass_flux : Array
        G [kg/m²/s].
    diameter : Array
        Of the core [m].

    Returns
    -------
    Array
        Same shape as `base_rate`. [m/s]

    Notes
    -----
    Never below r₀; r₀ where G is 0.
    """
    return LAWS[law.law].rate(law, base_rate, mass_flux, diameter)


def _uneroded(law: Erosion, base_rate: Array, mass_flux: Array, diameter: Array) -> Array:
    return base_rate


def _mukunda_paul(law: Erosion, base_rate: Array, mass_flux: Array, diameter: Array) -> Array:
    shape = base_rate.ndim
    solid_flux = _column(law.density, shape) * np.maximum(base_rate, 1e-30)
    reynolds = np.maximum(solid_flux * diameter / law.column("viscosity", shape), 1e-30)
    scaled = np.abs(mass_flux) / solid_flux * (reynolds / 1000.0) ** -0.125
    threshold = law.column("threshold", shape)
    excess = np.maximum(scaled, threshold) ** 0.8 - threshold**0.8
    return np.asarray(base_rate * (1.0 + law.column("coefficient", shape) * excess))


def _lenoir_robillard(law: Erosion, base_rate: Array, mass_flux: Array, diameter: Array) -> Array:
    """r = r₀ + W(cK·e^(−c·r₀))/c with c = βρ/G and K = αG^0.8·d^−0.2; W is Lambert's function."""
    shape = base_rate.ndim
    flux = np.maximum(np.abs(mass_flux), 1e-6)
    heat = law.column("alpha", shape) * flux**0.8 * np.maximum(diameter, 1e-6) ** -0.2
    blowing = law.column("beta", shape) * _column(law.density, shape) / flux
    return np.asarray(base_rate + lambert(blowing * heat * np.exp(-blowing * base_rate)) / blowing)


@dataclass(frozen=True)
class Law:
    """One erosive law: constants a file may give (SI), the rate it makes, its valid range in words for a caution."""

    constants: tuple[str, ...]
    rate: Callable[[Erosion, Array, Array, Array], Array]
    range: str


LAWS: dict[str, Law] = {
    "none": Law((), _uneroded, "no crossflow effect"),
    "mukunda-paul": Law(
        ("coefficient", "threshold", "viscosity"),
        _mukunda_paul,
        "g from 0 to about 300 (flux over burning flux, corrected for port size); about ±10 %",
    ),
    "lenoir-robillard": Law(
        ("alpha", "beta", "viscosity", "specific_heat", "prandtl", "solid_specific_heat", "surface_temperature"),
        _lenoir_robillard,
        "turbulent ports, Reynolds number above 1e4; over-predicts in ports wider than those fitted",
    ),
}
"""The laws a propellant may name in `erosive`. A further one is a function, a row here, and its name in the
vocabulary."""


def lambert(argument: Array) -> Array:
    """W(z), the root of w·e^w = z for z >= 0. [-]

    Parameters
    ----------
    argument : Array
        z, any shape. [-]

    Returns
    -------
    Array
        Same shape. [-]

    Notes
    -----
    Halley's iteration from a logarithmic guess; relative error below 1e-12.

    References
    ----------
    R. Corless et al., On the Lambert W function, 1996, remembered.

    Examples
    --------
    >>> float(lambert(np.array(np.e)).round(12))
    1.0
    """
    near = np.log1p(argument)
    guess = near * (1.0 - np.log1p(near) / (2.0 + near))
    for _ in range(3):
        power = np.exp(guess)
        value = guess * power - argument
        guess = guess - value / (power * (guess + 1.0) - (guess + 2.0) * value / (2.0 * guess + 2.0))
    return np.asarray(guess)
