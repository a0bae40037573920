"""Burnback of cored cylindrical grains.

Owns burning area, volume, port area and web of cored grains, inhibited on the outside, at any regression. Every
function takes `Grains` with leaves (n, rows) and a regression that broadcasts against them: a scalar, (n, 1) or, for a
history, one column at a time. Results are for a whole row: `count` grains. Source: geometry, derived here. Imports
numpy and `physics.motors`.

A core of zero with a bare end is an end burner: it has no port, and burns from the bare ends alone. A grain ends when
its core reaches the outside or when its bare ends meet, whichever comes first.
"""

from __future__ import annotations

import numpy as np

from physics.motors import Array, Grains


def web(grains: Grains) -> Array:
    """Regression [m] at which each row is gone, (n, rows): min of (D − d)/2 and L/ends; 0 where the row is absent.

    A row without a core and without a bare end has no surface to burn and web 0.

    >>> g = Grains(*(np.array([[v]]) for v in (1.0, 0.1, 0.05, 0.02, 2.0)))
    >>> web(g)
    array([[0.015]])
    """
    cored = grains.core_diameter > 0.0
    radial = np.where(cored, 0.5 * (grains.outer_diameter - grains.core_diameter), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        axial = np.where(grains.burning_ends > 0, grains.length / grains.burning_ends, np.inf)
    both = np.minimum(radial, axial)
    return np.where((grains.count > 0) & np.isfinite(both), both, 0.0)


def area_coefficients(grains: Grains) -> tuple[Array, Array, Array]:
    """Burning area of each whole row as c + b·x + a·x² [m2], returned (c, b, a), each (n, rows), for x within the web.

    From A = π(d + 2x)(L − e·x) + e·(π/4)(D² − (d + 2x)²) for a cored grain with e bare ends; e·(π/4)D² without a core.
    """
    bore, outside, length, ends = grains.core_diameter, grains.outer_diameter, grains.length, grains.burning_ends
    cored = np.where(bore > 0.0, np.pi * grains.count, 0.0)
    face = 0.25 * np.pi * grains.count * ends
    constant = cored * bore * length + face * (outside * outside - bore * bore)
    linear = cored * 2.0 * (length - ends * bore)
    square = -3.0 * cored * ends
    return constant, linear, square


def burning_area(grains: Grains, regression: Array) -> Array:
    """Burning area of each whole row [m2], (n, rows), at `regression` [m]; 0 once the row is gone.

    >>> g = Grains(*(np.array([[v]]) for v in (1.0, 0.1, 0.05, 0.02, 2.0)))
    >>> (burning_area(g, np.array(0.0075)) * 1e6).round(3)
    array([[11349.003]])
    """
    constant, linear, square = area_coefficients(grains)
    area = constant + regression * (linear + regression * square)
    return np.where(regression < web(grains), area, 0.0)


def volume(grains: Grains, regression: Array) -> Array:
    """Volume of propellant left in each whole row [m3], (n, rows), at `regression` [m]; 0 once the row is gone.

    A row with nothing that can burn (no core, no bare end) keeps its volume.
    """
    inert = (grains.core_diameter <= 0.0) & (grains.burning_ends <= 0)
    return np.where((regression < web(grains)) | inert, _solid(grains, regression), 0.0)


def initial_volume(grains: Grains) -> Array:
    """Volume of propellant in each whole row before ignition [m3], (n, rows); the cores no wider than the grains.

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
    """Area of the port of one grain of each row [m2], (n, rows); NaN without a core, and once the row is gone."""
    bore = grains.core_diameter + 2.0 * regression
    here = (grains.core_diameter > 0.0) & (regression < web(grains))
    return np.where(here, 0.25 * np.pi * bore * bore, np.nan)


def largest_area_regression(constant: Array, linear: Array, square: Array, start: Array, end: Array) -> Array:
    """Regression of the largest area on [start, end] for a concave or straight area c + b·x + a·x²; all (n,)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        vertex = np.where(square < 0.0, -0.5 * linear / square, np.where(linear > 0.0, np.inf, -np.inf))
    return np.asarray(np.minimum(np.maximum(vertex, start), end))
