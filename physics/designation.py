"""Impulse class and designation of a motor.

Owns the letter system: each class doubles the total impulse of the one before, upper limit inclusive, from 1/4A
(0.625 N·s) to AA and beyond. Imports numpy. Source: NFPA 1125 letter system, ranges A to O as reprinted in
encyclopaedias; beyond O by doubling.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from physics.motors import Array

CLASSES = ("1/4A", "1/2A", *(chr(letter) for letter in range(ord("A"), ord("Z") + 1)))
UPPER_LIMITS = 0.625 * 2.0 ** np.arange(len(CLASSES))
"""Largest total impulse of each class. [N s]"""


def impulse_class(total_impulse: Array) -> NDArray[np.str_]:
    """Letter of each total impulse [N s], any shape; empty where it is NaN, not positive, or beyond the last letter.

    Parameters
    ----------
    total_impulse : Array
        [N s], any shape.

    Returns
    -------
    ndarray of str
        Letters, in the shape of `total_impulse`.

    Examples
    --------
    >>> impulse_class(np.array([160.0, 160.01, 2560.0])).tolist()
    ['G', 'H', 'K']
    """
    impulse = np.asarray(total_impulse, dtype=float)
    place = np.searchsorted(UPPER_LIMITS, impulse, side="left")
    known = (impulse > 0.0) & (place < len(CLASSES))
    return np.asarray(np.where(known, np.asarray(CLASSES)[np.minimum(place, len(CLASSES) - 1)], ""))


def class_range(name: str) -> tuple[float, float]:
    """Total impulse [N s] a class spans: above the first number, up to and including the second.

    Parameters
    ----------
    name : str
        One of `CLASSES`.

    Returns
    -------
    tuple of two floats
        [N s].

    Raises
    ------
    KeyError
        For a name that is no class.

    Examples
    --------
    >>> class_range("K")
    (1280.0, 2560.0)
    """
    if name not in CLASSES:
        raise KeyError(f"no impulse class {name!r}; expected one of {', '.join(CLASSES)}")
    upper = float(UPPER_LIMITS[CLASSES.index(name)])
    return (0.0 if name == CLASSES[0] else 0.5 * upper, upper)


def designation(total_impulse: Array, mean_thrust: Array) -> list[str]:
    """Class letter and mean thrust [N] rounded to whole newtons, one text for each motor; empty where unknown.

    Parameters
    ----------
    total_impulse : Array
        [N s], (n,).
    mean_thrust : Array
        [N], (n,) or a scalar.

    Returns
    -------
    list of str
        One text for each motor.

    Examples
    --------
    >>> designation(np.array([2321.0]), np.array([1272.49]))
    ['K1272']
    """
    letters = np.atleast_1d(impulse_class(total_impulse))
    thrusts = np.broadcast_to(np.asarray(mean_thrust, dtype=float), letters.shape)
    return [
        f"{letter}{thrust:.0f}" if letter and np.isfinite(thrust) else "" for letter, thrust in zip(letters, thrusts, strict=True)
    ]
