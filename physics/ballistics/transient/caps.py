"""Grains whose faces a cap covers in part, in cells: what burns of each cell, what is left, and when the grain is gone.

Owns the geometry of such grains for the transient kernel, whose core burns a little differently in every cell and whose two faces
burn on their own. The fronts are those of `physics.ballistics.faces`; what is left of a cell is what lies outside its own bore
and between both fronts, so that volume and surfaces fit each other exactly. Source: geometry, derived here. Imports numpy, faces
and the layout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.ballistics import faces
from physics.ballistics.faces import CoveredGrain
from physics.ballistics.transient.layout import Layout, Mask
from physics.motors import Array

_HALVINGS = 30
"""Halvings of the time to the end of a grain: a millionth of a millionth of it is left."""


@dataclass(frozen=True)
class InCells:
    """Capped grains in S cells, (m, S) each: surfaces of core and of the two fronts [m2], volume left [m3]."""

    core: Array
    forward: Array
    aft: Array
    volume: Array


def capped_grains(layout: Layout, capped: Mask) -> CoveredGrain:
    """The picked grains of a layout as one column.

    Parameters
    ----------
    layout : Layout
        The motors in stations.
    capped : Mask
        Which grains, (n, grains).

    Returns
    -------
    CoveredGrain
        Radii and lengths [m], (m, 1).
    """
    leaves = (0.5 * layout.core, 0.5 * layout.outer, layout.length, layout.forward_to, layout.aft_to)
    return CoveredGrain(*(leaf[capped][:, None] for leaf in leaves))


def in_cells(grain: CoveredGrain, regression: Array, forward_x: Array, aft_x: Array) -> InCells:
    """What burns and what is left of each cell.

    Parameters
    ----------
    grain : CoveredGrain
        (m, 1). [m]
    regression : ndarray
        Of the core in each cell, from the head end on, (m, S). [m]
    forward_x, aft_x : ndarray
        Of the two faces, (m, 1). [m]

    Returns
    -------
    InCells
        Summed over the cells of one regression throughout it is what `faces.burning_area` and `faces.volume` say.
    """
    stations = regression.shape[1]
    cell = grain.length / stations
    edges = cell * np.arange(stations + 1)
    edge, end = edges[:, :-1], edges[:, 1:]
    bore = np.where(grain.core > 0.0, np.minimum(grain.core + regression, grain.outer), 0.0)
    start = np.minimum(np.maximum(bore, faces.met_at(grain, forward_x, aft_x)), grain.outer)
    front = faces.front_depth(forward_x, bore, grain.forward, grain.core)
    back = faces.front_depth(aft_x, bore, grain.aft, grain.core)
    span = np.minimum(end, grain.length - back) - np.maximum(edge, front)
    there = (grain.core > 0.0) & (bore < grain.outer) & (start <= bore)
    core = np.where(there, 2.0 * np.pi * bore * np.maximum(span, 0.0), 0.0)
    volume = np.pi * (np.square(grain.outer) - np.square(start)) * cell
    areas = []
    ways = ((forward_x, grain.forward, edge, end), (aft_x, grain.aft, grain.length - end, grain.length - edge))
    for x, to, near, far in ways:
        area, eaten = _within(grain, x, to, start, near, far)
        areas.append(area)
        volume = volume - eaten
    return InCells(core, areas[0], areas[1], np.maximum(volume, 0.0))


def _within(grain: CoveredGrain, x: Array, to: Array, start: Array, near: Array, far: Array) -> tuple[Array, Array]:
    """Area of that part of a front which stands between two depths [m2], and what it has eaten between them [m3], (m, S).

    A flat front that has come to where two cells meet stands in the one behind, and in that alone. What is eaten beyond a depth is
    ∫ 2π·r·max(front − depth, 0) dr from `start` to where the front stands no deeper.
    """
    is_open = to > grain.core * (1.0 + 1e-12)
    if not is_open.any():
        return np.zeros_like(start), np.zeros_like(start)
    squared = np.square(x)

    def reach(depth: Array) -> Array:
        round_ = to + np.sqrt(np.maximum(squared - np.square(depth), 0.0))
        return np.where(is_open & (x > depth), np.minimum(np.maximum(round_, start), grain.outer), start)

    flat = np.maximum(start, np.minimum(to, grain.outer))
    at_near, at_far = reach(near), np.where(is_open & (x == far), flat, reach(far))
    outside = np.where(is_open & (x == near), flat, at_near)
    area = np.where(is_open & (x >= near), faces.front_area(x, at_far, np.maximum(outside, at_far), to, grain.core), 0.0)
    by_near, by_far = (faces.front_volume(x, end, to, grain.core) for end in (at_near, at_far))
    disc = np.square(start)
    eaten = by_near - by_far - np.pi * ((np.square(at_near) - disc) * near - (np.square(at_far) - disc) * far)
    return area, eaten


def time_to_end(grain: CoveredGrain, forward_x: Array, aft_x: Array, rates: tuple[Array, Array]) -> Array:
    """Time until the fronts of the two faces meet at the outside, at steady rates.

    Parameters
    ----------
    grain : CoveredGrain
        (m, 1). [m]
    forward_x, aft_x : ndarray
        Regressions of the two faces, (m, 1). [m]
    rates : tuple of ndarray
        Their burning rates, (m, 1); 0 of a face that is covered. [m/s]

    Returns
    -------
    ndarray
        (m, 1); infinite where neither burns. [s]
    """
    fastest = np.maximum(*rates)
    with np.errstate(divide="ignore"):
        high = np.where(fastest > 0.0, (grain.length + grain.outer) / fastest, np.inf)
    low, limit = np.zeros_like(high), np.where(np.isfinite(high), high, 0.0)
    high = limit
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        front = faces.front_depth(forward_x + rates[0] * middle, grain.outer, grain.forward, grain.core)
        back = faces.front_depth(aft_x + rates[1] * middle, grain.outer, grain.aft, grain.core)
        met = front + back >= grain.length
        low, high = np.where(met, low, middle), np.where(met, middle, high)
    return np.where(fastest > 0.0, high, np.inf)
