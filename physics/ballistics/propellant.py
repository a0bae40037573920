"""The burning-rate law and the pressure at which it balances the nozzle.

Owns the piecewise Saint-Robert (Vieille) law, its temperature sensitivity, and the equilibrium of a chamber: at steady
state ρ·A_b·r(p) = p·A_t/c*, so Kn = A_b/A_t = κ(p) with κ(p) = p/(ρ·c*·r(p)). κ rises inside every row (each
exponent is below 1) and may jump between rows. Imports numpy and `physics.motors`.

Which root is taken. Where the law jumps, several pressures can balance one Kn. The root taken is the lowest stable one,
the one a motor reaches that fills from below: the generalised inverse of the running maximum of κ. Where the rate drops
at the end of a row, κ jumps up: the pressure waits on the boundary until Kn has crossed the jump, and the rate there is
whatever balances the nozzle. Where the rate rises, κ jumps down: the pressure leaps over the range that cannot be held.
A falling Kn is given the same root, so the hysteresis of a real motor is not followed; the steady kernel raises
`several_equilibria` where a stable root exists that lies at least 5 % higher. Source: derived here from the balance above.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.motors import Array, Propellant


@dataclass(frozen=True)
class RateLaw:
    """The law at one temperature as r = exp(log_coefficient)·p^exponent in each row, SI.

    `exponent` and `log_coefficient` have shape (n, K) or (1, K); `log_bounds` are the logarithms of the pressures
    between rows, (n, K-1) or (1, K-1). The first row reaches down to zero and the last one up without end.
    """

    log_coefficient: Array
    exponent: Array
    log_bounds: Array

    @property
    def rows(self) -> int:
        """Number of rows of the law."""
        return int(self.exponent.shape[-1])


def rate_coefficients(propellant: Propellant, temperature: Array) -> RateLaw:
    """The rate law at the propellant's temperature, r(T) = r(T_ref)·exp(σ_p·(T − T_ref)).

    Parameters
    ----------
    propellant : Propellant
        Rows in order of pressure that meet, every exponent below 1; SI.
    temperature : Array
        Broadcasts to (n,). [K]

    Returns
    -------
    RateLaw
        r in m/s, p in Pa.

    References
    ----------
    Source: definition of σ_p, e.g. Sutton & Biblarz, Rocket Propulsion Elements, ch. 11.
    """
    rate, rate_at, exponent, start = np.broadcast_arrays(
        *(_rows(leaf) for leaf in (propellant.rate, propellant.rate_at, propellant.exponent, propellant.rate_from))
    )
    shift = np.atleast_1d(propellant.temperature_sensitivity * (temperature - propellant.reference_temperature))
    log_coefficient = np.log(rate) - exponent * np.log(rate_at) + shift[:, None]
    return RateLaw(log_coefficient, exponent, np.log(start[:, 1:]))


def _rows(leaf: Array) -> Array:
    leaf = np.asarray(leaf, dtype=float)
    return leaf[None, :] if leaf.ndim == 1 else np.atleast_2d(leaf)


def burning_rate(propellant: Propellant, pressure: Array, temperature: Array) -> Array:
    """Burning rate at a pressure.

    Parameters
    ----------
    propellant : Propellant
        SI.
    pressure : Array
        (n,) or (n, T). [Pa]
    temperature : Array
        Of the propellant, (n,) or scalar. [K]

    Returns
    -------
    Array
        Of the shape of the pressures. [m/s]

    Notes
    -----
    A boundary belongs to the row below it. Outside the characterised rows the nearest row is extended. Zero pressure
    gives zero rate for a positive exponent.

    Examples
    --------
    >>> law = Propellant(*map(np.array, (1750.0, 1550.0, 1.2, 0.025, [1e5], [1e7], [5e-3], [1e6], [0.35], 293.0, 0.0)))
    >>> burning_rate(law, np.array([4.642188e6]), np.array(293.0)).round(9)
    array([0.00855703])
    """
    law = rate_coefficients(propellant, temperature)
    pressure = np.asarray(pressure, dtype=float)
    columns = np.atleast_1d(pressure)[:, None] if pressure.ndim < 2 else pressure
    with np.errstate(divide="ignore"):
        log_pressure = np.log(columns)
    row = np.zeros(columns.shape, dtype=np.intp)
    for bound in range(law.rows - 1):
        row += log_pressure > law.log_bounds[:, bound, None]
    rate: Array = np.exp(_pick(law.log_coefficient, row) + _pick(law.exponent, row) * log_pressure)
    return _as_given(rate, pressure)


def _as_given(columns: Array, asked: Array) -> Array:
    """Columns (n, T) in the shape asked for: (n, T), (n,), or scalar where one scalar met one motor."""
    if asked.ndim >= 2:
        return columns
    flat = columns[:, 0]
    return np.asarray(flat if asked.ndim or flat.size != 1 else flat[0])


def _pick(table: Array, row: NDArray[np.intp]) -> Array:
    """Entries (n, T) of a table (n, K) or (1, K) at row indices (n, T)."""
    size = max(table.shape[0], row.shape[0])
    table = np.broadcast_to(table, (size, table.shape[1]))
    return np.take_along_axis(table, np.broadcast_to(row, (size, row.shape[1])), axis=1)


@dataclass(frozen=True)
class Switches:
    """Where the root changes row as Kn grows, all in log(Kn), (n, K) each.

    Row k holds for log_lower < log(Kn) <= log_upper; between the upper end of one row and the lower end of the next
    the pressure waits on the boundary. A row that is leapt over has log_lower > log_upper or equal. The last upper end
    is infinite, the first lower end minus infinity. `log_start` is log κ at the foot of each row.
    """

    log_lower: Array
    log_upper: Array
    log_start: Array


def switch_kn(law: RateLaw, log_impedance: Array) -> Switches:
    """The Kn at which the lowest stable root changes row.

    Parameters
    ----------
    law : RateLaw
        Of n motors, SI.
    log_impedance : Array
        log(ρ·c*), SI, (n,) or (1,). [-]

    Returns
    -------
    Switches
        See the head of this file for the choice of root.
    """
    steepness = 1.0 - law.exponent
    base = -law.log_coefficient - np.atleast_1d(log_impedance)[:, None]
    size = base.shape[0]
    infinite = np.full((size, 1), np.inf)
    ends = steepness[:, :-1] * law.log_bounds + base[:, :-1]
    starts = steepness[:, 1:] * law.log_bounds + base[:, 1:]
    log_upper = np.concatenate([np.maximum.accumulate(ends, axis=1), infinite], axis=1)
    log_lower = np.concatenate([-infinite, np.maximum(log_upper[:, :-1], starts)], axis=1)
    return Switches(log_lower, log_upper, np.concatenate([-infinite, starts], axis=1))


def segment_table(law: RateLaw, log_impedance: Array) -> tuple[Array, Array]:
    """Slope and offset of log p = slope·log Kn + offset on each segment of the law.

    Parameters
    ----------
    law : RateLaw
        Of n motors with K rows, SI.
    log_impedance : Array
        log(ρ·c*), SI, (n,) or (1,). [-]

    Returns
    -------
    slope, offset : Array
        (n, 2K − 1), p in Pa: even segments are the rows, odd ones the boundaries on which the pressure waits (slope 0). [-]
    """
    slope = 1.0 / (1.0 - law.exponent)
    offset = slope * (law.log_coefficient + np.atleast_1d(log_impedance)[:, None])
    size, rows = offset.shape
    slopes = np.zeros((size, 2 * rows - 1))
    offsets = np.empty_like(slopes)
    slopes[:, ::2], offsets[:, ::2] = slope, offset
    offsets[:, 1::2] = law.log_bounds
    return slopes, offsets
