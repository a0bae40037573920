"""Integrals over regression of what goes as a power of Kn: volume, time, and the rules they rest on.

Owns the Gauss-Legendre rules of the steady kernel, the choice of order by how near the zeros of Kn lie, and the
integrals that both of its ways share. On every interval Kn = constant + linear·x + square·x² and
log p = slope·log Kn + offset (`Burn`), so that the integrand is analytic but for the zeros of Kn. Source: derived here;
error of Gauss-Legendre over a Bernstein ellipse, L. N. Trefethen, Approximation Theory and Approximation Practice,
ch. 19, remembered. Imports numpy and `physics.motors`.

Shapes: s intervals, each from `start` over `width` [m], (s,) or (1,) where shared; nodes come first, (order, s).
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from physics.motors import Array

ORDERS = (4, 6, 8, 12, 16, 24, 32, 64, 128)
"""Orders there is a rule for, next to `SLOW`."""

SLOW = 0
"""Stands for the rule of flow that is not sonic: thrust starts as a square root there."""

_RULES = {order: np.polynomial.legendre.leggauss(order) for order in ORDERS}
_ANGLES, _ANGLE_WEIGHTS = np.polynomial.legendre.leggauss(32)
_RULES[SLOW] = (np.sin(0.5 * np.pi * _ANGLES), 0.5 * np.pi * np.cos(0.5 * np.pi * _ANGLES) * _ANGLE_WEIGHTS)


class Burn(Protocol):
    """What is integrated, SI: Kn = constant + linear·x + square·x²; log p = slope·log Kn + offset; (s,) or (1,) each."""

    @property
    def constant(self) -> Array:
        """Kn at x = 0. [-]"""

    @property
    def linear(self) -> Array:
        """Growth of Kn at x = 0. [1/m]"""

    @property
    def square(self) -> Array:
        """Half the bend of Kn; above 0 on short pieces of a grain with a cap alone. [1/m2]"""

    @property
    def slope(self) -> Array:
        """Power of Kn that pressure goes as, 1/(1 − n). [-]"""

    @property
    def offset(self) -> Array:
        """log of pressure in Pa at Kn = 1. [-]"""


def kn_middle(burn: Burn, start: Array, width: Array) -> Array:
    """Kn in the middle of each interval. [-]

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]

    Returns
    -------
    ndarray
        (s,). [-]
    """
    middle = start + 0.5 * width
    return np.asarray(burn.constant + middle * (burn.linear + middle * burn.square))


def swept(burn: Burn, start: Array, width: Array) -> Array:
    """∫ Kn dx of each interval, the volume swept over the throat area.

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]

    Returns
    -------
    ndarray
        (s,); exact, and about the middle so that nothing cancels. [m]
    """
    return np.asarray(width * (kn_middle(burn, start, width) + burn.square * width * width / 12.0))


def slowness(burn: Burn, start: Array, width: Array, order: int) -> Array:
    """∫ Kn/p dx = ∫ dx/r/(ρ·c*) of each interval.

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]
    order : int
        Of the rule.

    Returns
    -------
    ndarray
        (s,). [m/Pa]
    """
    kn = log_kn(burn, start, width, order)
    kn *= 1.0 - burn.slope
    kn -= burn.offset
    return np.asarray(0.5 * width * weighted(np.exp(kn, out=kn), order))


def log_kn(burn: Burn, start: Array, width: Array, order: int) -> Array:
    """log Kn at the nodes of a rule.

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]
    order : int
        Of the rule.

    Returns
    -------
    ndarray
        (order, s). [-]
    """
    x = start + (0.5 + 0.5 * _RULES[order][0][:, None]) * width
    kn = burn.square * x
    kn += burn.linear
    kn *= x
    kn += burn.constant
    return np.asarray(np.log(kn, out=kn))


def weighted(values: Array, order: int) -> Array:
    """Sum of values with the weights of a rule on −1..1.

    Parameters
    ----------
    values : ndarray
        (order, s).
    order : int
        Of the rule.

    Returns
    -------
    ndarray
        (s,), in the unit of the values (SI).

    Notes
    -----
    Summed in an order that does not depend on s, so that a motor's figures do not depend on its batch. Spoils `values`.
    """
    total = np.zeros(values.shape[1])
    for value, weight in zip(values, _RULES[order][1], strict=True):
        value *= weight
        total += value
    return total


def gauss_order(burn: Burn, start: Array, width: Array, choice: tuple[int, ...] = ORDERS) -> NDArray[np.intp]:
    """Order each interval needs, by how near the zeros of Kn lie to its ends.

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]
    choice : tuple of int
        The orders there are.

    Returns
    -------
    ndarray
        (s,) of integers. [-]

    Notes
    -----
    The integrand is Kn^m; its only singularities are the two real zeros of Kn, outside the interval. With the nearer
    one at distance ρ (Bernstein ellipse) the error falls as ρ^(−2·order).
    """
    nearest = nearest_zero(burn, start, width)
    ellipse = np.log(nearest + np.sqrt(nearest * nearest - 1.0))
    needed = accuracy(burn) / np.maximum(ellipse, 1e-3)
    return np.asarray(choice)[np.minimum(np.searchsorted(choice, needed), len(choice) - 1)]


def nearest_zero(burn: Burn, start: Array, width: Array) -> Array:
    """Distance of the nearer zero of Kn from the middle of each interval, over half its width.

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]

    Returns
    -------
    ndarray
        (s,), 1 to 1e6. [-]

    Notes
    -----
    Where Kn bends upwards its zeros may be a pair off the axis: their distance then, which is on the safe side.
    """
    half = 0.5 * width
    level = kn_middle(burn, start, width)
    tilt = np.abs(burn.linear + (2.0 * start + width) * burn.square) * half
    bend = -4.0 * burn.square * half * half * level
    hollow = bend < 0.0
    if np.any(hollow):
        inside = tilt * tilt + bend
        pair = np.sqrt(4.0 * level * level / np.where(hollow, -bend, 1.0))
        real = 2.0 * level / (tilt + np.sqrt(np.maximum(inside, 0.0)) + 1e-300)
        nearest = np.where(hollow & (inside < 0.0), pair, real)
        return np.asarray(np.minimum(np.maximum(nearest, 1.0), 1e6))
    nearest = 2.0 * level / (tilt + np.sqrt(tilt * tilt + bend) + 1e-300)
    return np.asarray(np.minimum(np.maximum(nearest, 1.0), 1e6))


def accuracy(burn: Burn) -> Array:
    """What order times log ρ must reach. [-]

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.

    Returns
    -------
    ndarray
        (s,). [-]

    Notes
    -----
    An error of e^(−2·10) at best, more for a steep power.
    """
    return np.asarray(10.0 + 1.5 * np.abs(1.0 - burn.slope))


def orders_among(orders: NDArray[np.intp]) -> list[int]:
    """The orders that occur, ascending.

    Parameters
    ----------
    orders : ndarray of int
        The orders; −1 stands for none. [-]

    Returns
    -------
    list of int
        Ascending. [-]
    """
    return np.flatnonzero(np.bincount(orders + 1)[1:]).tolist()


def summed(part: Array, motor: NDArray[np.intp], size: int) -> Array:
    """Sum over the intervals of each motor.

    Parameters
    ----------
    part : ndarray
        (s,).
    motor : ndarray
        The number of each interval's motor, (s,).
    size : int
        Motors in the batch.

    Returns
    -------
    ndarray
        (size,), in the unit of the parts (SI).
    """
    return np.asarray(np.bincount(motor, weights=part, minlength=size), dtype=float)
