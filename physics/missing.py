"""What a failure mode says when it cannot be computed.

Owns the exception and the helper that every failure mode shares: a mode asks for its columns by name, and what the
motor file leaves out is reported by the key a builder would write. Imports `physics.motors`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from physics.motors import Motors

_SPELT = {
    ".snap_ring.ring_": ".snap_ring_",
    ".screws.": ".",
    ".threaded_ring.width": ".ring_width",
    ".threaded_ring.": ".",
    ".snap_ring.": ".",
    ".welded_lip.thickness": ".lip_thickness",
    ".welded_lip.filler": ".filler",
    ".welded_lip.": ".weld_",
}
"""What stands between a part and its key in a column, and what the file writes instead."""


class NotComputable(Exception):
    """A failure mode lacks what it needs, or is outside its range; the text is the reason shown to the builder."""


class Beyond(NotComputable):
    """What a mode needs is given and lies past what its model knows, for every motor of the batch; the text says what.

    Only what is missing is not assessed: what lies beyond is taken to bear nothing. Where it holds for some motors of a
    batch only, the mode says so by NaN.
    """


def file_key(column: str) -> str:
    """The key of the motor file that holds a column.

    Parameters
    ----------
    column : str
        Dotted name in Motors.

    Returns
    -------
    str

    Examples
    --------
    >>> file_key("forward_closure.screws.ring_thickness")
    'forward_closure.ring_thickness'
    >>> file_key("aft_closure.snap_ring.ring_shear_strength"), file_key("case.wall")
    ('aft_closure.snap_ring_shear_strength', 'case.wall')
    >>> file_key("nozzle.seal.behind.gap")
    'nozzle.seals.1.gap'
    """
    if ".behind" in column:
        row = column.count(".behind")
        column = column.replace(".seal" + ".behind" * row, f".seals.{row}")
    for name, written in _SPELT.items():
        column = column.replace(name, written)
    return column


def need(motors: Motors, column: str) -> Any:
    """The leaf named by a dotted column.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    column : str
        Dotted name in Motors.

    Returns
    -------
    Any
        The leaf, as it stands there.

    Raises
    ------
    NotComputable
        Naming the missing key of the motor file where the part or the leaf is absent, or where an array holds nothing but NaN (a
        number that is not known).
    KeyError
        For a name that is no column at all.
    """
    leaf = motors.value(column)
    if leaf is None:
        raise NotComputable(f"{_missing(motors, column)} is not given")
    if isinstance(leaf, np.ndarray) and leaf.size and leaf.dtype.kind == "f" and bool(np.isnan(leaf).all()):
        raise NotComputable(f"{file_key(column)} is not known")
    return leaf


def _missing(motors: Motors, column: str) -> str:
    """The outermost part that is absent, as a file table, or else the key itself."""
    part = column.split(".")[0]
    return f"[{part}]" if motors.value(part) is None else file_key(column)
