"""Several motors in one batch: motors read one by one are joined where they differ in numbers alone.

Imports physics.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.assessment import Assessment, assess
from physics.motors import Motors, Tolerance


def assessed_together(
    motors: Sequence[Motors], marching: bool = True, kernel: str = "steady", flown: bool = False
) -> list[tuple[Assessment, int]]:
    """Every motor's assessment and its place in it, in the order given; one call of the kernel a kind of motor.

    Motors whose choices (materials, retention, parts) differ cannot share a batch; each such kind is a call of its own.
    Nothing flies but where it is asked for.
    """
    kinds: dict[Any, list[int]] = {}
    for place, one in enumerate(motors):
        kinds.setdefault(_kind(one), []).append(place)
    found: list[tuple[Assessment, int] | None] = [None] * len(motors)
    for places in kinds.values():
        batch = joined([motors[place] for place in places])
        batch = batch if flown else dataclasses.replace(batch, rocket=None, launch=None)
        # Notes on the rungs are made for single motors alone, and they are the slow part: a motor goes in twice.
        assessment = assess(batch if batch.size > 1 else batch.repeat(2), kernel=kernel, marching=marching)
        for index, place in enumerate(places):
            found[place] = (assessment, index)
    return [one for one in found if one is not None]


def content_of(part: Any) -> Any:
    """All of a motor, to know it again by."""
    return _kind(part, lambda leaf: (leaf.shape, leaf.tobytes()))


def _kind(part: Any, of_leaf: Callable[[NDArray[Any]], Any] = lambda leaf: leaf.shape[1:]) -> Any:
    """What has to be the same for motors to share a batch: every choice, and the shape of every row."""
    if isinstance(part, np.ndarray):
        return of_leaf(part)
    if dataclasses.is_dataclass(part) and type(part).__module__ == Motors.__module__ and not isinstance(part, Tolerance):
        return tuple(_kind(getattr(part, item.name), of_leaf) for item in dataclasses.fields(part) if item.name != "size")
    return repr(part)


def joined(motors: Sequence[Motors]) -> Motors:
    """One batch of motors of one kind, in order.

    Raises ValueError where they are not of one kind.
    """
    if len({_kind(one) for one in motors}) != 1:
        raise ValueError("motors of several kinds share no batch")
    if len(motors) == 1:
        return motors[0]
    made: Motors = _joined(list(motors), sum(one.size for one in motors))
    return made


def _joined(parts: list[Any], size: int) -> Any:
    first = parts[0]
    new: dict[str, Any] = {}
    for item in dataclasses.fields(first):
        leaves = [getattr(part, item.name) for part in parts]
        if isinstance(leaves[0], np.ndarray):
            new[item.name] = np.concatenate([np.atleast_1d(leaf) for leaf in leaves])
        elif (
            dataclasses.is_dataclass(leaves[0])
            and type(leaves[0]).__module__ == Motors.__module__
            and not isinstance(leaves[0], Tolerance)
        ):
            new[item.name] = _joined(leaves, size)
    if isinstance(first, Motors):
        new["size"] = size
    return dataclasses.replace(first, **new)
