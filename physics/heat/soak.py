"""The outside of the case after the burn: what a sticker or a hand would find, and when.

Owns the readings at stated times, the peak and how long to wait for it. Derived here. Imports numpy and physics.motors
(the Array type).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.motors import Array

READ_AT = (5.0, 15.0, 30.0, 60.0, 120.0, 300.0)
"""Seconds from ignition at which the outside is told."""

SOAK = 300.0
"""Seconds after the burn through which walls are followed."""


@dataclass(frozen=True)
class Readings:
    """Outside temperature [K] at `READ_AT`, (6, n), its `peak` [K] and when, `at` [s from ignition], (n,)."""

    after: Array
    peak: Array
    at: Array


def readings(time: Array, outside: Array) -> Readings:
    """Readings from a history, (instants, n) [s] and [K]; straight lines between instants, the last held.

    Parameters
    ----------
    time : Array
        Instants [s], (instants, n).
    outside : Array
        Temperature of the outside [K], (instants, n).

    Returns
    -------
    Readings
        What a builder reads.
    """
    time = np.broadcast_to(time, outside.shape)
    columns = range(outside.shape[1])
    after = np.stack([np.interp(READ_AT, time[:, n], outside[:, n]) for n in columns], axis=1)
    top = np.argmax(outside, axis=0)
    return Readings(after, outside[top, list(columns)], time[top, list(columns)])


def soak_instants(count: int = 40, length: float = SOAK) -> Array:
    """Instants after the burn, (count,), the first left out, closer together at first. [s]

    Parameters
    ----------
    count : int, optional
        How many.
    length : float, optional
        Of the soak [s].

    Returns
    -------
    Array
        [s], (count,).
    """
    part = np.linspace(0.0, 1.0, count + 1)[1:]
    return np.asarray(length * np.expm1(5.0 * part) / np.expm1(5.0))


def wait_for_sticker(liner_thickness: Array) -> Array:
    """How long to leave a sticker before it is read, 120 s, 300 s from 3 mm of liner on, (n,). [s]

    Parameters
    ----------
    liner_thickness : Array
        [m].

    Returns
    -------
    Array
        [s], (n,).

    Notes
    -----
    A sticker keeps its highest temperature; the peak comes 17 to 32 s after ignition under 1 mm of liner and 114 to 227
    s under 4 mm. Common practice has no figure; from histories of the full model.
    """
    return np.where(np.asarray(liner_thickness) >= 3e-3, 300.0, 120.0)
