"""Air above a launch site: the standard atmosphere, moved to the day's temperature and pressure.

Owns density, pressure and speed of sound over height. Imports constants. Source: [1]_.

References
----------
.. [1] U.S. Standard Atmosphere, 1976, NOAA/NASA/USAF: layers, constants and geopotential height (read at second hand in
   the general library `fluids`, with which a test compares).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from physics.constants import STANDARD_ATMOSPHERE, STANDARD_GRAVITY

Array = NDArray[np.float64]
Index = NDArray[np.intp]

EARTH_RADIUS = 6356766.0
"""Radius that geopotential height and gravity over height rest on [1]_. [m]"""
GAS_CONSTANT_OF_AIR = 8314.32 / 28.9644
"""Specific gas constant of air [1]_. [J/kg/K]"""
RATIO_OF_SPECIFIC_HEATS = 1.4

_BASE_HEIGHT = np.array([0.0, 11e3, 20e3, 32e3, 47e3, 51e3, 71e3])
_LAPSE = np.array([-6.5e-3, 0.0, 1e-3, 2.8e-3, 0.0, -2.8e-3, -2e-3])
_TOP = 84852.0
_BASE_TEMPERATURE = 288.15 + np.concatenate([[0.0], np.cumsum(_LAPSE[:-1] * np.diff(_BASE_HEIGHT))])
_HYDROSTATIC = STANDARD_GRAVITY / GAS_CONSTANT_OF_AIR


class Air(Protocol):
    """Anything that says what the air is like over height."""

    def at(self, height: Array) -> tuple[Array, Array, Array]:
        """Density [kg/m3], pressure [Pa] and speed of sound [m/s] at heights above the site [m], (n,).

        Parameters
        ----------
        height : ndarray
            Height above the site, (n,). [m]

        Returns
        -------
        tuple of three ndarrays
            Density [kg/m3], pressure [Pa] and speed of sound [m/s], (n,) each.
        """

    def take(self, index: Index) -> Air:
        """The air of some of the sites.

        Parameters
        ----------
        index : ndarray of int
            Places of the sites.

        Returns
        -------
        Air
            The air of those sites.
        """


def gravity(altitude: Array, radius: float = EARTH_RADIUS) -> Array:
    """Acceleration of free fall over altitude.

    Parameters
    ----------
    altitude : ndarray
        Height above sea level. [m]
    radius : float
        Radius of the inverse square; infinite for uniform gravity. [m]

    Returns
    -------
    ndarray
        9.80665 m/s2 at sea level, falling with the square of the distance [1]_. [m/s2]

    Examples
    --------
    >>> gravity(np.array([0.0, 10e3])).round(5)
    array([9.80665, 9.77587])
    """
    return np.asarray(STANDARD_GRAVITY / np.square(1.0 + np.asarray(altitude) / radius))


def geopotential(altitude: Array) -> Array:
    """Geopotential height [m] of a geometric altitude [m] [1]_.

    Parameters
    ----------
    altitude : ndarray
        Geometric altitude. [m]

    Returns
    -------
    ndarray
        [m], in the shape of `altitude`.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, NOAA/NASA/USAF: see the head of this module.
    """
    return np.asarray(altitude / (1.0 + np.asarray(altitude) / EARTH_RADIUS))


def standard_temperature(altitude: Array) -> Array:
    """Temperature of the standard atmosphere [K] at geometric altitudes [m] from -5 to 86 km [1]_.

    Parameters
    ----------
    altitude : ndarray
        Geometric altitude, -5 to 86 km. [m]

    Returns
    -------
    ndarray
        [K], at least one-dimensional.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, NOAA/NASA/USAF: see the head of this module.

    Examples
    --------
    >>> standard_temperature(np.array([0.0, 1000.0, 10000.0])).round(3)
    array([288.15 , 281.651, 223.252])
    """
    height = np.atleast_1d(geopotential(altitude))
    layer = _layer(height)
    return np.asarray(_BASE_TEMPERATURE[layer] + _LAPSE[layer] * (height - _BASE_HEIGHT[layer]))


def standard_pressure(altitude: Array) -> Array:
    """Pressure of the standard atmosphere [Pa] at geometric altitudes [m] from -5 to 86 km [1]_.

    Parameters
    ----------
    altitude : ndarray
        Geometric altitude, -5 to 86 km. [m]

    Returns
    -------
    ndarray
        [Pa], at least one-dimensional.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, NOAA/NASA/USAF: see the head of this module.

    Examples
    --------
    >>> standard_pressure(np.array([0.0, 1400.0])).round(1)
    array([101325.,  85602.])
    """
    at = np.atleast_1d(np.asarray(altitude, dtype=float))
    return StandardAir(np.zeros_like(at), np.zeros_like(at)).at(at)[1]


def _layer(height: Array) -> Index:
    return np.asarray(np.clip(np.searchsorted(_BASE_HEIGHT, height, side="right") - 1, 0, None))


def _log_fall(rise: Array, temperature: Array, lapse: Array) -> Array:
    """log of pressure over that at the foot of a layer, `rise` [m] above it, `temperature` [K] there."""
    bend = lapse * rise / temperature
    straight = np.abs(bend) < 1e-12
    mean = np.where(straight, 1.0, np.log1p(bend) / np.where(straight, 1.0, bend))
    return np.asarray(-_HYDROSTATIC * rise / temperature * mean)


@dataclass(frozen=True)
class StandardAir:
    """The standard atmosphere with every temperature moved by one amount, in hydrostatic balance above the site.

    Parameters
    ----------
    altitude : ndarray
        Of the site, above sea level, -5 to 20 km, (n,). [m]
    warmer : ndarray
        What the day is warmer than the standard at the site, at every height alike, (n,). [K]
    pressure : ndarray or None
        At the site, as a barometer there reads it, (n,); the standard's by default. [Pa]

    Notes
    -----
    Above 86 km there is no air. Over some hundred metres real air follows the standard's lapse within a few kelvin.
    """

    altitude: Array
    warmer: Array
    pressure: Array | None = None

    @cached_property
    def _feet(self) -> tuple[Array, Array]:
        """Temperature, and log of pressure over that at the foot of the lowest layer, at the foot of each, (n, 7)."""
        temperature = _BASE_TEMPERATURE + np.asarray(self.warmer, dtype=float)[:, None]
        falls = _log_fall(np.diff(_BASE_HEIGHT), temperature[:, :-1], _LAPSE[:-1])
        return temperature, np.concatenate([np.zeros((temperature.shape[0], 1)), np.cumsum(falls, axis=1)], axis=1)

    @cached_property
    def _log_scale(self) -> Array:
        """log of the pressure that stands at the foot of the lowest layer. [Pa]"""
        site = self._log_pressure(geopotential(self.altitude))[0]
        if self.pressure is not None:
            return np.asarray(np.log(self.pressure) - site)
        nothing = np.zeros_like(np.asarray(self.altitude, dtype=float))
        plain = StandardAir(nothing, nothing)._log_pressure(geopotential(self.altitude))[0]
        return np.asarray(np.log(STANDARD_ATMOSPHERE) + plain - site)

    def _log_pressure(self, height: Array) -> tuple[Array, Array]:
        """log of pressure over that of the lowest foot, and temperature, at geopotential heights (n,)."""
        layer = _layer(height)
        temperature, log_pressure = self._feet
        place = (np.arange(layer.size), layer)
        rise = height - _BASE_HEIGHT[layer]
        foot = temperature[place]
        return log_pressure[place] + _log_fall(rise, foot, _LAPSE[layer]), foot + _LAPSE[layer] * rise

    def at(self, height: Array) -> tuple[Array, Array, Array]:
        """Density [kg/m3], pressure [Pa] and speed of sound [m/s] at heights above the site [m], (n,).

        Parameters
        ----------
        height : ndarray
            Height above the site, (n,). [m]

        Returns
        -------
        tuple of three ndarrays
            Density [kg/m3], pressure [Pa] and speed of sound [m/s], (n,) each.
        """
        up = geopotential(self.altitude + height)
        log_pressure, temperature = self._log_pressure(np.minimum(up, _TOP))
        pressure = np.where(up > _TOP, 0.0, np.exp(self._log_scale + log_pressure))
        density = pressure / (GAS_CONSTANT_OF_AIR * temperature)
        return density, pressure, np.sqrt(RATIO_OF_SPECIFIC_HEATS * GAS_CONSTANT_OF_AIR * temperature)

    def take(self, index: Index) -> StandardAir:
        """The air of some of the sites.

        Parameters
        ----------
        index : ndarray of int
            Places of the sites.

        Returns
        -------
        StandardAir
            The air of those sites.
        """
        pressure = None if self.pressure is None else self.pressure[index]
        some = StandardAir(self.altitude[index], self.warmer[index], pressure)
        # What is known of all is known of some; working it out again would cost more than the flight.
        some.__dict__["_feet"] = tuple(part[index] for part in self._feet)
        some.__dict__["_log_scale"] = self._log_scale[index]
        return some
