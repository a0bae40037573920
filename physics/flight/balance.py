"""Centres of mass along the axis, of the motor while it burns and of the rocket with it.

Owns mass and centre of tubes, nozzles and burning grains, and what follows for the rocket's balance. Positions run from the
forward end of the case, or from the rocket's nose where it says so. Imports the faces of grains. Source: derived, geometry.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from physics.ballistics import faces

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Body:
    """A body of revolution on the axis: mass [kg], centre along the axis [m], moments of inertia through it [kg m2]."""

    mass: Array
    centre: Array
    transverse: Array
    axial: Array


def tube(density: Array, outer_diameter: Array, inner_diameter: Array, start: Array, length: Array) -> Body:
    """A tube, or with no bore a rod.

    Parameters
    ----------
    density : ndarray
        [kg/m3]
    outer_diameter, inner_diameter, start, length : ndarray
        Diameters, position of the forward end, length. [m]

    Returns
    -------
    Body
        Of the shapes' broadcast.

    Examples
    --------
    >>> body = tube(2700.0, 0.050, 0.044, 0.0, 0.310)
    >>> round(float(body.mass), 6), round(float(body.centre), 3)
    (0.370761, 0.155)
    """
    outer, inner = np.square(0.5 * np.asarray(outer_diameter)), np.square(0.5 * np.asarray(inner_diameter))
    mass = density * np.pi * (outer - inner) * length
    transverse = mass * (3.0 * (outer + inner) + np.square(length)) / 12.0
    centre = start + 0.5 * np.asarray(length)
    return Body(*(np.asarray(part) for part in (mass, centre, transverse, 0.5 * mass * (outer + inner))))


def bored_insert(
    density: Array,
    outer_diameter: Array,
    length: Array,
    throat_diameter: Array,
    exit_diameter: Array,
    half_angle: Array,
    start: Array,
) -> Body:
    """A cylindrical insert whose bore is the throat's diameter and opens in a cone to the exit at its aft end.

    Parameters
    ----------
    density : ndarray
        [kg/m3]
    outer_diameter, length, throat_diameter, exit_diameter, start : ndarray
        [m]; `start` is the position of the forward face.
    half_angle : ndarray
        Of the cone. [rad]

    Returns
    -------
    Body
        The insert. A cone longer than the insert is cut at the forward face.

    Notes
    -----
    The cone's integrals are exact by Gauss-Legendre quadrature of four nodes (polynomials of degree six at most).
    """
    outer, length = 0.5 * np.asarray(outer_diameter, dtype=float), np.asarray(length, dtype=float)
    slope = np.tan(half_angle)
    cone = np.minimum((0.5 * np.asarray(exit_diameter) - 0.5 * np.asarray(throat_diameter)) / slope, length)
    straight = tube(density, outer_diameter, throat_diameter, np.zeros(1), length - cone)
    nodes, weights = np.polynomial.legendre.leggauss(4)
    share, weight = 0.5 * (nodes + 1.0), 0.5 * weights
    x = (length - cone)[..., None] + cone[..., None] * share
    bore = 0.5 * np.asarray(exit_diameter)[..., None] - (length[..., None] - x) * np.asarray(slope)[..., None]
    line = np.asarray(density)[..., None] * np.pi * (np.square(outer)[..., None] - np.square(bore)) * cone[..., None] * weight
    mass = line.sum(axis=-1)
    centre = (line * x).sum(axis=-1) / np.where(mass > 0.0, mass, 1.0)
    rings = 0.25 * (np.square(outer)[..., None] + np.square(bore))
    flare = Body(
        mass,
        np.where(mass > 0.0, centre, length),
        (line * (rings + np.square(x - centre[..., None]))).sum(axis=-1),
        2.0 * (line * rings).sum(axis=-1),
    )
    whole = together([straight, flare])
    return Body(whole.mass, whole.centre + start, whole.transverse, whole.axial)


def together(bodies: list[Body]) -> Body:
    """Several bodies as one; moments of inertia through the common centre.

    Parameters
    ----------
    bodies : list of Body
        The bodies, SI.

    Returns
    -------
    Body
        The whole, SI.
    """
    mass = sum((body.mass for body in bodies), start=np.zeros(1))
    heavy = np.where(mass > 0.0, mass, 1.0)
    centre = sum((body.mass * body.centre for body in bodies), start=np.zeros(1)) / heavy
    transverse = sum((body.transverse + body.mass * np.square(body.centre - centre) for body in bodies), start=np.zeros(1))
    shape = np.broadcast_shapes(*(np.shape(body.mass) for body in bodies))
    axial = sum((body.axial for body in bodies), start=np.zeros(1))
    return Body(*(np.asarray(part).reshape(shape) for part in (mass, centre, transverse, axial)))


@dataclass(frozen=True)
class GrainRows:
    """Rows of equal cored grains, (n, R) each: counts, dimensions [m], bare faces (1 or 0), and where they lie [m].

    `start` is the forward face of a row's first grain, `pitch` the distance from one grain's to the next. `forward_to` and
    `aft_to` are the diameters [m] up to which the faces are open, where a cap covers any of them in part.
    """

    count: Array
    length: Array
    outer_diameter: Array
    core_diameter: Array
    forward_bare: Array
    aft_bare: Array
    start: Array
    pitch: Array
    forward_to: Array | None = None
    aft_to: Array | None = None


def burning_grains(density: Array, rows: GrainRows, regression: Array) -> tuple[Array, Array]:
    """Mass and centre of the propellant at a regression.

    Parameters
    ----------
    density : ndarray
        (n,). [kg/m3]
    rows : GrainRows
        Of the motors, (n, R).
    regression : ndarray
        (n, T). [m]

    Returns
    -------
    mass, centre : ndarray
        (n, T); the centre of what is burnt out is NaN. [kg], [m]
    """
    x = regression[:, None, :]
    leaves = {item.name: getattr(rows, item.name) for item in fields(GrainRows)}
    row = GrainRows(**{name: np.asarray(leaf, dtype=float)[:, :, None] for name, leaf in leaves.items() if leaf is not None})
    left = np.maximum(row.length - x * (row.forward_bare + row.aft_bare), 0.0)
    bore = np.minimum(row.core_diameter + 2.0 * x, row.outer_diameter)
    one = np.asarray(density)[:, None, None] * 0.25 * np.pi * (np.square(row.outer_diameter) - np.square(bore)) * left
    middle = row.start + 0.5 * row.length + 0.5 * x * (row.forward_bare - row.aft_bare)
    if row.forward_to is not None and row.aft_to is not None:
        one, middle = _under_caps(np.asarray(density)[:, None, None], row, x, one, middle)
    middle = middle + 0.5 * np.maximum(row.count - 1.0, 0.0) * row.pitch
    mass = (row.count * one).sum(axis=1)
    moment = (row.count * one * middle).sum(axis=1)
    return mass, np.where(mass > 0.0, moment / np.where(mass > 0.0, mass, 1.0), np.nan)


def _under_caps(density: Array, row: GrainRows, x: Array, mass: Array, middle: Array) -> tuple[Array, Array]:
    """Mass of one grain [kg] and its middle [m], taken anew where a cap covers part of a face."""
    to = [np.asarray(face) for face in (row.forward_to, row.aft_to)]
    core, outer = 0.5 * row.core_diameter, 0.5 * row.outer_diameter
    radii = [np.where(face > row.core_diameter, 0.5 * face, 0.0) for face in to]
    each = faces.CoveredGrain(core, outer, row.length, *radii)
    some = np.any([(face > row.core_diameter) & (face < row.outer_diameter) for face in to], axis=0)
    covered = row.start + faces.middle(each, x)
    return np.where(some, density * faces.volume(each, x), mass), np.where(some, covered, middle)


def centre_over_burn(hardware: Array, hardware_centre: Array, propellant: Array, propellant_centre: Array) -> Array:
    """Common centre [m] of hardware (n,) and of propellant (n, T), positions from one origin.

    Parameters
    ----------
    hardware : Array
        Mass of the hardware, (n,). [kg]
    hardware_centre : Array
        Its centre, (n,). [m]
    propellant : Array
        Mass of the propellant, (n, T). [kg]
    propellant_centre : Array
        Its centre, (n, T). [m]

    Returns
    -------
    Array
        Common centre, (n, T). [m]
    """
    moment = np.where(propellant > 0.0, propellant * propellant_centre, 0.0)
    return np.asarray((hardware[:, None] * hardware_centre[:, None] + moment) / (hardware[:, None] + propellant))


def travel(centre: Array) -> Array:
    """How far the centre of mass moves over the burn. [m]

    Parameters
    ----------
    centre : Array
        Centre of mass over the burn, (n, T). [m]

    Returns
    -------
    Array
        (n,). [m]

    Notes
    -----
    Largest less smallest, not end less start.
    """
    return np.asarray(np.max(centre, axis=1) - np.min(centre, axis=1))


def static_margin(centre_of_pressure: Array, centre: Array, diameter: Array) -> Array:
    """Distance of the centre of pressure behind the centre of mass over the body's diameter. [-]

    Parameters
    ----------
    centre_of_pressure : Array
        Position from the nose. [m]
    centre : Array
        Centre of mass, position from the nose. [m]
    diameter : Array
        Diameter of the body. [m]

    Returns
    -------
    Array
        [-]; arrays broadcast.
    """
    return np.asarray((centre_of_pressure - centre) / diameter)
