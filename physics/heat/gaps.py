"""The slot between two grains, and any other gap that gas looks into from the side: what its floor meets.

Owns the share of the port's film that reaches the floor of a slot, the film of the gas that the slot's own faces give
off, and how far the gas in it glows. At ignition a slot is deep and narrow and its floor sees little of the port; as the
faces burn back it opens, until its floor is swept like the port itself.

Sources: beside each function; sizes are geometry. Imports numpy and physics.motors (the Array type).
"""

from __future__ import annotations

import numpy as np

from physics.motors import Array

OWN_SPEED = (0.3, 1.0, 1.5)
"""Speed of a slot's own gas over that at its faces, low, likely and high: an assumption."""

REATTACHED = 8.0
"""Width over depth from which the flow meets the floor again (remembered). [-]"""


def floor_share(depth: Array, width: Array) -> Array:
    """Share of the film at the slot's mouth that its floor sees, min(1, exp(−1.00604 − 0.96104·ln(D/W))). [-]

    Parameters
    ----------
    depth, width : Array
        Of the slot [m]; arrays broadcast. Over `REATTACHED` times as wide as deep the flow falls on the floor, and the
        share is 1.5 (remembered); with no depth it is 1.

    Notes
    -----
    An in-line gap under laminar flow at supersonic speed, windward wall. Turbulent flow reached less far into single
    gaps (under 2 % deeper than four widths) and at most 10 % of the way down tile arrays. A slot that makes gas of its
    own was not measured.

    References
    ----------
    Christensen and Kipp 1974/75; J. E. Throckmorton, NASA TN D-7939; D. E. Avery, NASA TP-1187: read at second hand in a
    survey.

    Examples
    --------
    >>> floor_share(np.array([0.2, 0.5, 1.0, 2.0, 4.0, 10.0]), 1.0).round(3).tolist()
    [1.0, 0.712, 0.366, 0.188, 0.096, 0.04]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.asarray(depth, dtype=float) / width
        share = np.minimum(1.0, np.exp(-1.00604 - 0.96104 * np.log(np.maximum(ratio, 1e-12))))
    return np.where((ratio > 0.0) & (ratio < 1.0 / REATTACHED), 1.5, share)


def slot_size(
    width_at_ignition: Array, regression: Array, outer_diameter: Array, core_diameter: Array, faces: Array | float = 2.0
) -> tuple[Array, Array]:
    """Depth and width of a slot whose `faces` burn back, while the cores that open into it widen. [m]

    Parameters
    ----------
    width_at_ignition, outer_diameter, core_diameter : Array
        Of the slot along the axis, and of the grains beside it [m]; (n,).
    regression : Array
        How far the burning surfaces have receded [m]; broadcasts against the others.
    faces : Array or float
        How many of the slot's two faces burn.
    """
    width = width_at_ignition + faces * regression
    depth = np.maximum(0.5 * (outer_diameter - core_diameter) - regression, 0.0)
    return np.asarray(depth), np.asarray(width)


def own_gas_coefficient(
    propellant_density: Array,
    rate: Array,
    width: Array,
    viscosity: Array,
    conductivity: Array,
    prandtl: Array,
    speed: Array | float = 1.0,
) -> Array:
    """Film of the gas that a slot's own faces give off, 0.664·√Re·Pr^(1/3)·k/(W/2) on half its width W. [W/(m2 K)]

    Parameters
    ----------
    propellant_density, rate : Array
        [kg/m3] and burning rate [m/s]; the mass flux of a face is their product.
    width : Array
        Of the slot [m].
    viscosity, conductivity, prandtl : Array
        Of the gas [Pa s], [W/(m K)], [-].
    speed : Array or float
        Of the gas along the floor over that at the faces, see `OWN_SPEED`.

    Notes
    -----
    Laminar flow along a plate (any text on heat transfer) with a length and a speed that are assumed: a bound derived
    here, not a measured relation.
    """
    half = 0.5 * np.asarray(width, dtype=float)
    reynolds = speed * propellant_density * rate * half / viscosity
    return np.asarray(0.664 * np.sqrt(reynolds) * np.cbrt(prandtl) * conductivity / np.maximum(half, 1e-9))


def slot_emissivity(chamber: Array | float, width: Array, outer_diameter: Array) -> Array:
    """Emissivity of the gas in a slot from that over the chamber, 1 − exp(−1.8·κ·W), κ = −ln(1 − ε)/(0.9·D). [-]

    Parameters
    ----------
    chamber : Array or float
        Emissivity over the chamber, below 1 [-].
    width : Array
        Of the slot [m].
    outer_diameter : Array
        Of the grain [m].

    Returns
    -------
    Array
        Never over `chamber` [-]; arrays broadcast.

    Notes
    -----
    The gas absorbs alike everywhere and glows over a mean length of 1.8 widths between two faces, 0.9 diameters in the
    chamber (mean beam lengths, remembered). `chamber` below 1, `width` of the slot and `outer_diameter` of the grain
    [m]; never over `chamber`.
    """
    absorbed = -np.log1p(-np.asarray(chamber, dtype=float)) / (0.9 * outer_diameter)
    return np.asarray(np.minimum(-np.expm1(-1.8 * absorbed * width), chamber))
