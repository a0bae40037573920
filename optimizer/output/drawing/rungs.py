"""The failure ladder of one motor as plain rows, lowest pressure first, times after the pressures.

Imports numpy and physics.motors.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from physics.failure.ladder import place_in_ladder
from physics.motors import Ladder, Rung


def _one(values: Any, index: int) -> float | None:
    if values is None:
        return None
    flat = np.atleast_1d(np.asarray(values, dtype=float))
    return float(flat[index if flat.shape[0] > 1 else 0])


def ladder_rows(ladder: Ladder, index: int = 0) -> list[dict[str, Any]]:
    """Rows with mode, part, kind, pressure [Pa] or time [s], factor, required, ok, likely, band, rests_on, basis, note.

    A time that is never reached is `inf`; a rung that came out as NaN is kept, last and not ok.
    """
    rows = [_row(rung, index) for rung in ladder.rungs]
    return sorted(rows, key=lambda row: place_in_ladder(row["kind"], row["pressure"], row["time"]))


def _row(rung: Rung, index: int) -> dict[str, Any]:
    factor, required = _one(rung.factor, index), _one(rung.required, index)
    required = required or None  # of advice nothing is asked
    return {
        "mode": rung.mode,
        "part": rung.part,
        "kind": rung.kind,
        "pressure": _one(rung.pressure, index),
        "time": _one(rung.time, index),
        "factor": factor,
        "required": required,
        "ok": bool(_one(rung.ok, index)),
        "likely": _one(rung.likely, index),
        "band": [_one(end, index) for end in rung.band],
        "rests_on": rung.rests_on,
        "basis": rung.basis,
        "note": rung.note,
    }
