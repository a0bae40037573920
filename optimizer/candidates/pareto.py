"""Non-dominated sets and hypervolume.

Owns what "better" means: objectives as columns to be minimised, rounded to nine significant digits so that the last
bit of a vectorised sum never decides, and exact ties kept, in order of the candidate's integer key. Domination and
hypervolume come from moocore; the short staircase here is the fallback for up to three objectives and the oracle of
the tests. Imports numpy and moocore.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DIGITS = 9
"""Significant digits in which objectives are compared."""


def rounded(values: Floats) -> Floats:
    """The values to `DIGITS` significant digits, element by element; zeros and non-finite values stay.

    >>> rounded(np.array([1.0000000004, 0.0, 123456.7890123]))
    array([1.00000000e+00, 0.00000000e+00, 1.23456789e+05])
    """
    values = np.asarray(values, dtype=float)
    size = np.abs(values)
    usable = np.isfinite(size) & (size > 0.0)
    exponent = np.floor(np.log10(np.where(usable, size, 1.0)))
    # Powers of ten above and below the one are multiplied and divided by apart: both are exact up to 1e22.
    shift = DIGITS - 1 - exponent
    with np.errstate(over="ignore", invalid="ignore"):
        up, down = 10.0 ** np.maximum(shift, 0.0), 10.0 ** np.maximum(-shift, 0.0)
        nearest = np.rint(values * up / down) / up * down
    return np.where(usable & np.isfinite(nearest), nearest, values)


def non_dominated(points: Floats) -> NDArray[np.bool_]:
    """Which rows of `points` (n, m), all to be minimised, no other row dominates; exact ties are all kept.

    A row that is not finite is never kept and never dominates.
    """
    points = np.asarray(points, dtype=float)
    keep: NDArray[np.bool_] = np.zeros(0, dtype=bool)
    if points.ndim == 2:
        keep = np.asarray(np.isfinite(points).all(axis=1), dtype=bool)
    if keep.sum() <= 1:
        return keep
    finite = points[keep]
    if finite.shape[1] == 1:
        keep[keep] = finite[:, 0] == finite[:, 0].min()
        return keep
    keep[keep] = _kept(finite)
    return keep


def _kept(points: Floats) -> NDArray[np.bool_]:
    try:
        import moocore
    except ImportError:  # pragma: no cover - moocore is a declared dependency
        return staircase(points)
    kept: NDArray[np.bool_] = moocore.is_nondominated(np.ascontiguousarray(points), keep_weakly=True)
    return kept


def staircase(points: Floats) -> NDArray[np.bool_]:
    """The same as `non_dominated` for finite rows of up to three objectives, in plain Python.

    Rows are taken in rising order of the first objective; the others so far form a staircase that is searched by
    bisection. Raises ValueError for more than three objectives.
    """
    points = np.asarray(points, dtype=float)
    if points.shape[1] > 3:
        raise ValueError(f"the staircase sorts up to 3 objectives, not {points.shape[1]}")
    padded = np.hstack([points, np.zeros((points.shape[0], 3 - points.shape[1]))])
    distinct, inverse = np.unique(padded, axis=0, return_inverse=True)
    keep = np.zeros(len(distinct), dtype=bool)
    across: list[float] = []
    height: list[float] = []
    for row, (_, second, third) in enumerate(distinct.tolist()):
        place = bisect.bisect_right(across, second)
        if place and height[place - 1] <= third:
            continue
        keep[row] = True
        start = bisect.bisect_left(across, second)
        end = start
        while end < len(across) and height[end] >= third:
            end += 1
        across[start:end], height[start:end] = [second], [third]
    kept: NDArray[np.bool_] = keep[inverse.ravel()]
    return kept


def hypervolume(points: Floats, reference: Floats) -> float:
    """Volume dominated by `points` (n, m), minimised, up to `reference` (m,); 0 with no finite point."""
    points = np.asarray(points, dtype=float)
    if points.size == 0:
        return 0.0
    points = points[np.isfinite(points).all(axis=1)]
    if not len(points):
        return 0.0
    import moocore

    return float(moocore.hypervolume(np.ascontiguousarray(points), ref=np.asarray(reference, dtype=float)))


def order(points: Floats, keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """Row order of a front for showing: by objectives from the first on, then by key (n, …)."""
    columns = [keys] if keys.ndim == 1 else list(keys.T[::-1])
    return np.lexsort((*columns, *points.T[::-1])).astype(np.int64)


def spread_out(points: Floats, most: int) -> NDArray[np.int64]:
    """At most `most` rows of a front (n, m) that cover it evenly, in rising order: the best of each objective, then
    each time the row farthest from those taken, every objective scaled to its range on the front.

    >>> spread_out(np.array([[0.0, 4.0], [1.0, 3.0], [1.1, 2.9], [2.0, 2.0], [4.0, 0.0]]), 3)
    array([0, 3, 4])
    """
    if len(points) <= most:
        return np.arange(len(points))
    reach = np.ptp(points, axis=0)
    scaled = points / np.where(reach > 0.0, reach, 1.0)
    taken = list(dict.fromkeys(int(row) for row in scaled.argmin(axis=0)))[:most]
    gap = np.min([((scaled - scaled[row]) ** 2).sum(axis=1) for row in taken], axis=0)
    while len(taken) < most:
        taken.append(int(gap.argmax()))
        gap = np.minimum(gap, ((scaled - scaled[taken[-1]]) ** 2).sum(axis=1))
    return np.array(sorted(taken), dtype=np.int64)


@dataclass
class Archive:
    """A front that grows block by block; what it holds at the end does not depend on the order of the blocks.

    `points` (n, m) are minimised; `keys` (n, k) integers that name the candidate of each row.
    """

    objectives: int
    key_width: int
    points: Floats = field(init=False)
    keys: NDArray[np.int64] = field(init=False)

    def __post_init__(self) -> None:
        self.points = np.zeros((0, self.objectives))
        self.keys = np.zeros((0, self.key_width), dtype=np.int64)

    def add(self, points: Floats, keys: NDArray[np.int64]) -> None:
        """Take in rows; drop what is dominated and what is not finite. A key given twice counts once, see `sorted`."""
        points = rounded(np.asarray(points, dtype=float).reshape(-1, self.objectives))
        keys = np.asarray(keys, dtype=np.int64).reshape(-1, self.key_width)
        inside = non_dominated(points)
        points, keys = np.vstack([self.points, points[inside]]), np.vstack([self.keys, keys[inside]])
        kept = non_dominated(points)
        self.keys, self.points = keys[kept], points[kept]

    def sorted(self) -> tuple[Floats, NDArray[np.int64]]:
        """Points and keys in the order in which they are shown, each key once."""
        keys, first = np.unique(self.keys, axis=0, return_index=True)
        self.keys, self.points = keys, self.points[first]
        place = order(self.points, self.keys)
        return self.points[place], self.keys[place]
