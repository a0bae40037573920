"""End faces of grains, covered from the outside in: how the fire goes in under a cap, exactly.

Owns the front that starts from a face bare up to a circle: flat where the face is bare, a quarter of a torus under the cap. Every
point burns when the nearest bare surface has come to it, so a grain with such faces is what is left of all its fronts together.
Exact until the fire comes round from elsewhere; caps and the outside are taken to hold. Radii and lengths m, arrays broadcast.
Source: geometry, derived here. Imports numpy and, from physics, motors.

A face that is bare up to no more than the core is covered; one bare up to the outside is bare.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.motors import Array

Mask = NDArray[np.bool_]

HALVINGS = 60
"""Halvings of an interval down to rounding."""


@dataclass(frozen=True)
class CoveredGrain:
    """One grain, its faces bare up to `forward` and `aft`: radii m, length m, all of one shape or broadcasting.

    A core of 0 is a grain without a port.
    """

    core: Array
    outer: Array
    length: Array
    forward: Array
    aft: Array


def front_depth(regression: Array, radius: Array, bare_to: Array, core: Array) -> Array:
    """How deep the front of one face stands at a radius after a regression. [m]

    x where the face is bare, √(x² − (r − c)²) under the cap with c the circle up to which it is bare, 0 beyond the fire.

    >>> front_depth(np.array(5.0), np.array([12.0, 18.0, 30.0]), np.array(15.0), np.array(10.0)).tolist()
    [5.0, 4.0, 0.0]
    """
    under = np.maximum(np.asarray(radius) - bare_to, 0.0)
    depth = np.sqrt(np.maximum(np.square(regression) - np.square(under), 0.0))
    return np.where(_open(bare_to, core), depth, 0.0)


def front_area(regression: Array, inside: Array, outside: Array, bare_to: Array, core: Array) -> Array:
    """Area of the front of one face between two radii. [m2]

    π·(c² − r²) flat, and under the cap 2π·x·[c·(θ2 − θ1) + x·(cos θ1 − cos θ2)] with sin θ = (r − c)/x: Pappus for an arc.

    >>> float(front_area(np.array(1.0), np.array(5.0), np.array(9.0), np.array(5.0), np.array(2.0)).round(4))
    55.6312
    """
    x, inside, outside = (np.asarray(value, dtype=float) for value in (regression, inside, outside))
    edge = np.maximum(bare_to, inside)
    flat = np.pi * np.maximum(np.square(np.minimum(edge, outside)) - np.square(np.minimum(inside, outside)), 0.0)
    with np.errstate(all="ignore"):
        start = np.clip(np.where(x > 0.0, (edge - bare_to) / x, 0.0), 0.0, 1.0)
        end = np.clip(np.where(x > 0.0, (np.maximum(outside, edge) - bare_to) / x, 0.0), 0.0, 1.0)
    turned = bare_to * (np.arcsin(end) - np.arcsin(start)) + x * (np.sqrt(1.0 - start**2) - np.sqrt(1.0 - end**2))
    return np.where(_open(bare_to, core), flat + 2.0 * np.pi * x * np.maximum(turned, 0.0), 0.0)


def _open(bare_to: Array, core: Array) -> Mask:
    return np.asarray(bare_to) > np.asarray(core) * (1.0 + 1e-12)


def burnt_out(grain: CoveredGrain) -> Array:
    """Regression [m] at which nothing of the grain is left; 0 where nothing of it can burn.

    The core reaches the outside, or the fronts of the faces meet there.
    """
    radial = np.where(grain.core > 0.0, grain.outer - grain.core, np.inf)
    any_open = _open(grain.forward, grain.core) | _open(grain.aft, grain.core)
    low = np.zeros(np.broadcast(radial, grain.length, grain.forward, grain.aft).shape)
    high = np.where(any_open, grain.length + grain.outer, 0.0) + low
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        met = _gap(grain, middle, grain.outer) <= 0.0
        low, high = np.where(met, low, middle), np.where(met, middle, high)
    axial = np.where(any_open, 0.5 * (low + high), np.inf)
    both = np.minimum(radial, axial)
    return np.where(np.isfinite(both), both, 0.0)


def _gap(grain: CoveredGrain, x: Array, radius: Array) -> Array:
    """Length left between the fronts of both faces at a radius; negative where they have met. [m]"""
    forward = front_depth(x, radius, grain.forward, grain.core)
    return grain.length - forward - front_depth(x, radius, grain.aft, grain.core)


def _left_from(grain: CoveredGrain, x: Array, bore: Array) -> Array:
    """Radius from which on something is left: the bore, or where the fronts of the faces meet. [m]"""
    low, high = np.broadcast_arrays(bore, grain.outer)
    met = _gap(grain, x, low) <= 0.0
    if not np.any(met):
        return np.array(low)
    low, high = np.array(low), np.array(high)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        gone = _gap(grain, x, middle) <= 0.0
        low, high = np.where(gone, middle, low), np.where(gone, high, middle)
    return np.where(met, high, bore)


def burning_area(grain: CoveredGrain, regression: Array) -> Array:
    """Burning area of one grain [m2] at `regression` [m], 0 once it is gone; exact.

    The core over what is left of its length, and the fronts of both faces from there outwards.

    >>> bare = CoveredGrain(*(np.array(v) for v in (0.01, 0.025, 0.1, 0.025, 0.025)))
    >>> float((burning_area(bare, np.array(0.0075)) * 1e6).round(3))
    11349.003
    """
    x = np.asarray(regression, dtype=float)
    bore = np.where(grain.core > 0.0, np.minimum(grain.core + x, grain.outer), 0.0)
    core = np.where(grain.core > 0.0, 2.0 * np.pi * bore * np.maximum(_gap(grain, x, bore), 0.0), 0.0)
    start = _left_from(grain, x, bore)
    area = core + front_area(x, start, grain.outer, grain.forward, grain.core)
    area = area + front_area(x, start, grain.outer, grain.aft, grain.core)
    return np.where(x < burnt_out(grain), area, 0.0)


def bare_wall(grain: CoveredGrain, regression: Array) -> tuple[Array, Array]:
    """Length of wall that the forward and the aft front have bared beside one grain. [m]"""
    return (
        np.minimum(front_depth(regression, grain.outer, grain.forward, grain.core), grain.length),
        np.minimum(front_depth(regression, grain.outer, grain.aft, grain.core), grain.length),
    )


def first_change(grain: CoveredGrain) -> Array:
    """Regression [m] up to which the area is one exact quadratic: until a front under a cap comes to the outside or the core
    to the cap's edge, or the grain is gone."""
    nearest = burnt_out(grain)
    for bare_to in (grain.forward, grain.aft):
        partly = _open(bare_to, grain.core) & (bare_to < grain.outer)
        for step in (grain.outer - bare_to, np.where(grain.core > 0.0, bare_to - grain.core, np.inf)):
            nearest = np.where(partly & (step > 0.0), np.minimum(nearest, step), nearest)
    return np.asarray(nearest)
