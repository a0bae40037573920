"""Circular plates as closures have them: pressure within a seal, a bearing circle elsewhere, a hole, a load on its rim.

Owns exact thin-plate solutions for loads and supports that stand on circles: small deflections, thickness below about a
quarter of the radius. Source: Timoshenko, Theory of Plates and Shells, art. 15 to 19; solved here for any order of the
circles at once. Imports numpy and, from physics, motors.

All is in units of the bearing circle's radius and of the pressure. Between two circles the slope is φ = C1·r + C2/r −
α·(r/2)(ln r − ½) − q·r³/16 (times D), the shear per length being q·r/2 + α/r; slope and radial moment are continuous.
"""

from __future__ import annotations

import numpy as np

from physics.motors import Array

_INSIDE = np.linspace(0.0, 1.0, 33)
"""Places between two circles at which stresses are looked at."""


def bearing_plate_factor(sealed: Array, poisson: Array, opening: Array | None = None, rim_load: Array | None = None) -> Array:
    """k in σ = k·q·b²/t², the largest bending stress of a plate that bears on a circle of radius b.

    Parameters
    ----------
    sealed : Array
        Radius within which the pressure q works, over b; above 1 the plate reaches out over its bearing circle [-].
    poisson : Array
        Poisson's ratio [-].
    opening : Array, optional
        Radius of a central hole over b, below 1 and below `sealed`; without it the plate is solid [-].
    rim_load : Array, optional
        Load on the rim of the hole, in units of π·b²·q, 0 where not given [-].

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    Simply supported on the circle, free to turn; metal outside of both circles is left out (on the safe side). Largest of
    radial and hoop stress on either face. Exact for thin plates.

    References
    ----------
    As this file: Timoshenko, Theory of Plates and Shells, art. 15 to 19.

    Examples
    --------
    >>> float(bearing_plate_factor(np.array(1.0), np.array(0.33)).round(4))
    1.2488
    >>> float(bearing_plate_factor(np.array(1.0), np.array(0.3), np.array(0.5)).round(2))
    1.44
    """
    sealed, nu = np.broadcast_arrays(np.asarray(sealed, dtype=float), np.asarray(poisson, dtype=float))
    hole = np.zeros(sealed.shape) if opening is None else np.broadcast_to(np.asarray(opening, dtype=float), sealed.shape)
    rim = 0.0 if rim_load is None else np.asarray(rim_load, dtype=float)
    near, far = np.minimum(sealed, 1.0), np.maximum(sealed, 1.0)
    # Shear per length in each part: q·r/2 + α/r. The rim's load and the missing pressure within the hole come from its edge.
    inner_alpha = np.broadcast_to(0.5 * (rim - np.square(hole)), sealed.shape)
    beyond = sealed > 1.0
    outer_alpha = np.where(beyond, -0.5 * np.square(sealed), inner_alpha + 0.5 * np.square(sealed))
    outer_pressure = np.where(beyond, 1.0, 0.0)
    inner, outer = _constants(hole, near, far, inner_alpha, outer_alpha, outer_pressure, nu, solid=opening is None)
    one = np.ones(sealed.shape)
    parts = (
        (hole, near, inner, inner_alpha, one),
        (near, far, outer, outer_alpha, outer_pressure),
    )
    largest = np.zeros(sealed.shape)
    for start, end, constants, alpha, pressure in parts:
        for share in _INSIDE:
            r = start + share * (end - start)
            largest = np.maximum(largest, _stress(r, constants, alpha, pressure, nu))
    return largest


def _particular(r: Array, alpha: Array, pressure: Array) -> tuple[Array, Array]:
    """Slope over r, and its derivative, of the loads alone; at r = 0 for a solid plate."""
    log = np.log(np.where(r > 0.0, r, 1.0))
    return -0.5 * alpha * (log - 0.5) - pressure * r**2 / 16.0, -0.5 * alpha * (log + 0.5) - 3.0 * pressure * r**2 / 16.0


def _constants(
    hole: Array, near: Array, far: Array, inner_alpha: Array, outer_alpha: Array, outer_pressure: Array, nu: Array, solid: bool
) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """C1, C2 of the inner and of the outer part, from four conditions on the circles."""
    zero, one = np.zeros(nu.shape), np.ones(nu.shape)

    def slope(r: Array) -> tuple[Array, Array]:
        return one, 1.0 / np.square(r)

    def moment(r: Array) -> tuple[Array, Array]:
        return one * (1.0 + nu), -(1.0 - nu) / np.square(r)

    def load(r: Array, alpha: Array, pressure: Array) -> tuple[Array, Array]:
        over, bend = _particular(r, alpha, pressure)
        return over, bend + nu * over

    rows, right = [], []
    if solid:
        rows.append((zero, one, zero, zero))
        right.append(zero)
    else:
        rows.append((*moment(hole), zero, zero))
        right.append(-load(hole, inner_alpha, one)[1])
    own, other = load(near, inner_alpha, one), load(near, outer_alpha, outer_pressure)
    for place, function in enumerate((slope, moment)):
        first, second = function(near)
        rows.append((first, second, -first, -second))
        right.append(other[place] - own[place])
    rows.append((zero, zero, *moment(far)))
    right.append(-load(far, outer_alpha, outer_pressure)[1])
    matrix = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    found = np.linalg.solve(matrix, np.stack(right, axis=-1)[..., None])[..., 0]
    return (np.asarray(found[..., 0]), np.asarray(zero if solid else found[..., 1])), (
        np.asarray(found[..., 2]),
        np.asarray(found[..., 3]),
    )


def _stress(r: Array, constants: tuple[Array, Array], alpha: Array, pressure: Array, nu: Array) -> Array:
    """6·M/t² of the larger of radial and hoop moment."""
    over, bend = _particular(r, alpha, pressure)
    with np.errstate(divide="ignore", invalid="ignore"):
        second = np.where(constants[1] == 0.0, 0.0, constants[1] / np.square(r))
    over, bend = over + constants[0] + second, bend + constants[0] - second
    return np.asarray(6.0 * np.maximum(np.abs(bend + nu * over), np.abs(over + nu * bend)))


def solid_plate_stresses(place: Array, poisson: Array) -> tuple[Array, Array]:
    """Radial and hoop stress of a solid, simply supported plate, over q·a²/t².

    Parameters
    ----------
    place : Array
        Place over the radius, ρ [-].
    poisson : Array
        [-].

    Returns
    -------
    tuple of Array
        Radial and hoop [-]; broadcast.

    Notes
    -----
    (3/8)·(3 + ν)(1 − ρ²) and (3/8)·[3 + ν − (1 + 3ν)·ρ²]; thin plates.

    References
    ----------
    Timoshenko, Theory of Plates and Shells, art. 16.

    Examples
    --------
    >>> [float(part.round(4)) for part in solid_plate_stresses(np.array(0.0), np.array(0.33))]
    [1.2488, 1.2488]
    """
    square = np.square(place)
    radial = 0.375 * (3.0 + np.asarray(poisson)) * (1.0 - square)
    return np.asarray(radial), np.asarray(0.375 * (3.0 + poisson - (1.0 + 3.0 * np.asarray(poisson)) * square))


def small_hole_factor(place: Array, poisson: Array) -> Array:
    """Largest stress at a small hole off the middle of a plate, over q·a²/t².

    Parameters
    ----------
    place : Array
        Place of the hole over the radius [-].
    poisson : Array
        [-].

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    3·σ1 − σ2 of the stresses where it sits (Kirsch), for a hole that is small beside the plate and beside the distance to its
    edge. In bending the factor of a hole that is wide beside the thickness is smaller for unequal stresses: on the safe side.
    Twice the stress in the middle.

    References
    ----------
    Timoshenko and Goodier, Theory of Elasticity, art. 35 (remembered).

    Examples
    --------
    >>> float((small_hole_factor(np.array(0.0), np.array(0.33)) / 1.24875).round(6))
    2.0
    """
    stresses = np.stack(np.broadcast_arrays(*solid_plate_stresses(place, poisson)))
    return np.asarray(3.0 * stresses.max(axis=0) - stresses.min(axis=0))


def ring_rolling_stress(moment: Array, middle: Array, width: Array, height: Array) -> Array:
    """Hoop stress at the faces of a ring that rolls under a moment spread along it.

    Parameters
    ----------
    moment : Array
        Per length of the middle line [N].
    middle, width, height : Array
        Radius of the middle line; section across and along the axis [m].

    Returns
    -------
    Array
        [Pa]; broadcasts.

    Notes
    -----
    Rotation m·r²·12/(E·w·h³), stress 6·m·r/(w·h²). Thin ring: width below about a third of the radius, where the error is about 5
    %.

    References
    ----------
    Timoshenko, Strength of Materials, part II, twisting of a circular ring by couples (remembered).

    Examples
    --------
    >>> float(ring_rolling_stress(10.0, 0.02, 0.005, 0.01))
    2400000.0
    """
    return np.asarray(6.0 * np.multiply(moment, middle) / (np.asarray(width) * np.square(height)))
