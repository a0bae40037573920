"""Burnback of cored cylindrical grains.

Owns burning area, volume, port area and web of cored grains, inhibited on the outside, at any regression. Every
function takes `Grains` with leaves (n, rows) and a regression that broadcasts against them: a scalar, (n, 1) or, for a
history, one column at a time. Results are for a whole row: `count` grains. Source: geometry, derived here. Imports
numpy, `physics.motors` and, for faces that a cap covers in part, `physics.ballistics.faces`.

A core of zero with a bare end is an end burner: it has no port, and burns from the bare ends alone. A grain ends when
its core reaches the outside or when its bare ends meet, whichever comes first; one with a cap when nothing of it is left.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from physics.ballistics import faces
from physics.motors import Array, Grains


def settled(grains: Grains) -> Grains:
    """The same grains with caps that leave all or nothing of a face open told as bare and inhibited faces.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.

    Returns
    -------
    Grains
        `burning_ends` and `forward_bare` count wholly bare faces. Rows with a face that is covered in part say of both their faces
        up to which diameter they are open; without one such row in the batch there are no caps. What burns is the same.
    """
    if not grains.caps:
        return grains
    core, outer = np.asarray(grains.core_diameter), np.asarray(grains.outer_diameter)
    forward, aft = grains.open_to
    bare = [np.where((to >= outer) & (to > core), 1.0, 0.0) for to in (forward, aft)]
    partly = ((forward > core) & (forward < outer)) | ((aft > core) & (aft < outer))
    caps = [np.where(partly, to, np.nan) if partly.any() else None for to in (forward, aft)]
    return replace(
        grains,
        burning_ends=bare[0] + bare[1],
        forward_bare=np.where(bare[0] + bare[1] == 1.0, bare[0], 0.0),
        forward_covered_to=caps[0],
        aft_covered_to=caps[1],
    )


def has_caps(grains: Grains) -> bool:
    """Whether any face of a batch is covered in part.

    Parameters
    ----------
    grains : Grains
        Rows of grains, SI.

    Returns
    -------
    bool
        By definition.
    """
    return settled(grains).caps


def web(grains: Grains) -> Array:
    """Regression at which each row is gone.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.

    Returns
    -------
    ndarray
        (n, rows): min of (D − d)/2 and L/ends, with a cap `faces.burnt_out`; 0 where the row is absent, or has neither core
        nor bare end. [m]

    Examples
    --------
    >>> g = Grains(*(np.array([[v]]) for v in (1.0, 0.1, 0.05, 0.02, 2.0)))
    >>> web(g)
    array([[0.015]])
    """
    grains = settled(grains)
    cored = grains.core_diameter > 0.0
    radial = np.where(cored, 0.5 * (grains.outer_diameter - grains.core_diameter), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        axial = np.where(grains.burning_ends > 0, grains.length / grains.burning_ends, np.inf)
    both = np.minimum(radial, axial)
    plain = np.where((grains.count > 0) & np.isfinite(both), both, 0.0)
    if not has_caps(grains):
        return plain
    return np.where(faces.capped(grains), faces.burnt_out(faces.covered_grain(grains)), plain)


def area_coefficients(grains: Grains) -> tuple[Array, Array, Array]:
    """Burning area of each whole row as c + b·x + a·x², for x within the web; with a cap up to `faces.first_change`.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.

    Returns
    -------
    constant, linear, square : ndarray
        (n, rows) each. [m2], [m], [-]

    Notes
    -----
    From A = π(d + 2x)(L − e·x) + e·(π/4)(D² − (d + 2x)²) for a cored grain with e bare ends; e·(π/4)D² without a core.
    """
    grains = settled(grains)
    bore, outside, length, ends = grains.core_diameter, grains.outer_diameter, grains.length, grains.burning_ends
    cored = np.where(bore > 0.0, np.pi * grains.count, 0.0)
    face = 0.25 * np.pi * grains.count * ends
    constant = cored * bore * length + face * (outside * outside - bore * bore)
    linear = cored * 2.0 * (length - ends * bore)
    square = -3.0 * cored * ends
    if not has_caps(grains):
        return constant, linear, square
    some, one = faces.capped(grains), faces.area_coefficients(faces.covered_grain(grains))
    found = (np.where(some, grains.count * new, old) for new, old in zip(one, (constant, linear, square), strict=True))
    return next(found), next(found), next(found)


def burning_area(grains: Grains, regression: Array) -> Array:
    """Burning area of each whole row at a regression; exact.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.
    regression : ndarray
        Broadcasts against them. [m]

    Returns
    -------
    ndarray
        (n, rows); 0 once the row is gone. [m2]

    Examples
    --------
    >>> g = Grains(*(np.array([[v]]) for v in (1.0, 0.1, 0.05, 0.02, 2.0)))
    >>> (burning_area(g, np.array(0.0075)) * 1e6).round(3)
    array([[11349.003]])
    """
    grains = settled(grains)
    plain = replace(grains, forward_covered_to=None, aft_covered_to=None) if grains.caps else grains
    constant, linear, square = area_coefficients(plain)
    area = np.where(regression < web(plain), constant + regression * (linear + regression * square), 0.0)
    if not has_caps(grains):
        return area
    return np.where(faces.capped(grains), grains.count * faces.burning_area(faces.covered_grain(grains), regression), area)


def volume(grains: Grains, regression: Array) -> Array:
    """Volume of propellant left in each whole row at a regression; exact.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.
    regression : ndarray
        Broadcasts against them. [m]

    Returns
    -------
    ndarray
        (n, rows); 0 once the row is gone. A row with nothing that can burn (no core, no bare end) keeps its volume. [m3]
    """
    grains = settled(grains)
    plain = replace(grains, forward_covered_to=None, aft_covered_to=None) if grains.caps else grains
    inert = (grains.core_diameter <= 0.0) & (grains.burning_ends <= 0)
    left = np.where((regression < web(plain)) | inert, _solid(plain, regression), 0.0)
    if not has_caps(grains):
        return left
    return np.where(faces.capped(grains), grains.count * faces.volume(faces.covered_grain(grains), regression), left)


def initial_volume(grains: Grains) -> Array:
    """Volume of propellant in each whole row before ignition, the cores no wider than the grains.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.

    Returns
    -------
    ndarray
        (n, rows). [m3]

    Examples
    --------
    >>> g = Grains(*(np.array([[v]]) for v in (1.0, 0.1, 0.05, 0.02, 2.0)))
    >>> (initial_volume(g) * 1e6).round(3)
    array([[164.934]])
    """
    return _solid(grains, np.zeros(1))


def _solid(grains: Grains, regression: Array) -> Array:
    bore = np.where(grains.core_diameter > 0.0, grains.core_diameter + 2.0 * regression, 0.0)
    outside = grains.outer_diameter
    left = grains.length - grains.burning_ends * regression
    return np.asarray(0.25 * np.pi * grains.count * (outside * outside - bore * bore) * left)


def port_area(grains: Grains, regression: Array) -> Array:
    """Area of the port of one grain of each row.

    Parameters
    ----------
    grains : Grains
        Leaves (n, rows), SI.
    regression : ndarray
        Broadcasts against them. [m]

    Returns
    -------
    ndarray
        (n, rows); NaN without a core, and once the row is gone. [m2]

    Notes
    -----
    The core's own, also where the fronts of a capped grain have met and only a ring of it is left.
    """
    bore = grains.core_diameter + 2.0 * regression
    here = (grains.core_diameter > 0.0) & (regression < web(grains))
    return np.where(here, 0.25 * np.pi * bore * bore, np.nan)


def largest_area_regression(constant: Array, linear: Array, square: Array, start: Array, end: Array) -> Array:
    """Regression of the largest area on start to end for an area c + b·x + a·x².

    Parameters
    ----------
    constant, linear, square : ndarray
        Of the area, (n,). [m2], [m], [-]
    start, end : ndarray
        The stretch, (n,). [m]

    Returns
    -------
    ndarray
        (n,): the vertex, or the end towards which the area rises; of a hollow one the higher end. [m]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        vertex = np.where(square < 0.0, -0.5 * linear / square, np.where(linear > 0.0, np.inf, -np.inf))
    hollow = square > 0.0
    if np.any(hollow):
        vertex = np.where(hollow, np.where(linear + square * (start + end) > 0.0, np.inf, -np.inf), vertex)
    return np.asarray(np.minimum(np.maximum(vertex, start), end))
