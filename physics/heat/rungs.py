"""The rungs of heat together: low, likely and high of each, how sure it is, and where it governs.

Owns how the assumptions of `places.CORNERS` make a band. The rungs themselves stand in `through`, `softening` and
`seats`. Sources: beside the models; bands are judgement. Imports physics.motors and the heat files below it.
"""

from __future__ import annotations

import numpy as np

from physics.heat.marches import first_of, gap_widths, marched, worst
from physics.heat.paths import LEAK_CORNERS, ways
from physics.heat.places import CORNERS, LIKELY, MEASURED_CORNERS, PLACES, Corner
from physics.heat.seats import seal_overheating_by_way
from physics.heat.softening import GAS_AT, case_softening_by_place, case_yield_hot_by_place
from physics.heat.through import burn_through_by_place
from physics.motors import Array, Motors, Situation

_FURTHEST = np.log(20.0)
"""How far one assumption may take a rung: beyond it a corner has failed outright, and tells no more of the scatter."""

_BY_PLACE = {
    "liner burn-through": burn_through_by_place,
    "case softening": case_softening_by_place,
    "case yield hot": case_yield_hot_by_place,
    "seal overheating": seal_overheating_by_way,
}


def band(mode: str, motors: Motors, situation: Situation) -> tuple[Array, Array, Array]:
    """Low, likely and high of a heat rung at its worst place, (n,) each; [s], `case yield hot` [Pa].

    Parameters
    ----------
    mode : str
        A heat rung by name.
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    tuple[Array, Array, Array]
        (n,) each, [s or Pa].

    Notes
    -----
    Each corner is the whole rung with one assumption at the end of its band. What they do to the logarithm adds up as
    independent errors do; where the likely value is never, low is the least corner. Infinite corners make the high end
    infinite.
    """
    by_place = _BY_PLACE[mode]
    gapped = any(np.any(width > 0.0) for width in gap_widths(motors).values())
    matter = ("", "film", "emissivity", "contact") if mode == "seal overheating" else tuple({one.what for one in CORNERS})
    corners = [one for one in CORNERS if one.what in matter]
    if gapped and mode != "liner burn-through":
        corners += [Corner("gap", -1), Corner("gap", 1)]
    if gapped and mode != "liner burn-through" and any(way.counted for way in ways(motors, situation, True)):
        corners += LEAK_CORNERS
    if motors.liner is not None and motors.liner.measured is not None:
        corners += MEASURED_CORNERS
    held = mode != "seal overheating"
    ends = (f"{situation.end} end",) if mode == "seal overheating" else PLACES
    marched(motors, situation, held, [(place, corner) for corner in (LIKELY, *corners) for place in ends])
    likely = worst(by_place(motors, situation, LIKELY), situation)
    down, up = np.zeros(motors.size), np.zeros(motors.size)
    least, most = likely.copy(), likely.copy()
    limit_down, limit_up = np.zeros(motors.size), np.zeros(motors.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        for corner in corners:
            value = worst(by_place(motors, situation, corner), situation)
            least, most = np.fmin(least, value), np.fmax(most, value)
            apart = np.clip(np.log(np.maximum(value, 1e-9) / np.maximum(likely, 1e-9)), -_FURTHEST, _FURTHEST)
            apart = np.where(np.isnan(apart), 0.0, apart)
            lower, higher = np.where(apart < 0.0, apart, 0.0), np.where(apart > 0.0, apart, 0.0)
            if not corner.what:  # the two limits are one question
                limit_down, limit_up = np.minimum(limit_down, lower), np.maximum(limit_up, higher)
            else:
                down, up = down + lower**2, up + higher**2
        fell, rose = (np.minimum(np.sqrt(part), _FURTHEST) for part in (down + limit_down**2, up + limit_up**2))
        low = np.where(np.isfinite(likely), likely * np.exp(-fell), least)
        above = np.where(likely > 0.0, likely * np.exp(rose), most)  # of what likely bears nothing: the best corner
        high = np.where(np.isfinite(most) & np.isfinite(likely), above, np.inf)
    if mode == "case yield hot":
        high = np.minimum(high, most)  # no stronger than cold
    return low, likely, high


def heat_certainty(mode: str, motors: Motors, situation: Situation) -> tuple[Array, Array, float, str]:
    """Low and high [s or Pa], (n,), the scatter of the logarithm, and the weakest status of all the rung uses.

    Parameters
    ----------
    mode : str
        A heat rung by name.
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    tuple[Array, Array, float, str]
        Low and high, (n,) each; scatter [-]; status.

    Notes
    -----
    The scatter is ln(high/low)/3.3 where both are finite, ln(likely/low)/1.645 where only low is; else
    `UNKNOWN_SCATTER`. One number stands for a batch: that of its first motor.
    """
    low, likely, high = band(mode, motors, situation)
    first = [float(np.ravel(value)[0]) for value in (low, likely, high)] if motors.size else [np.nan] * 3
    scatter = UNKNOWN_SCATTER
    if first[0] > 0.0 and np.isfinite(first[2]):
        scatter = float(np.log(first[2] / first[0]) / 3.3)
    elif first[0] > 0.0 and np.isfinite(first[1]):
        scatter = float(np.log(first[1] / first[0]) / 1.645)
    return low, high, scatter, "judgement"


UNKNOWN_SCATTER = 0.4
"""Scatter of the logarithm of a time that has no band: judgement. [-]"""


def governing(mode: str, motors: Motors, situation: Situation) -> str:
    """Where a heat rung of a single motor governs: a place, a gap or a way of the heat.

    Parameters
    ----------
    mode : str
        A heat rung by name.
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    str
        A place, a gap or a way of the heat.
    """
    return first_of(_BY_PLACE[mode](motors, situation, LIKELY))


def place_of(mode: str, motors: Motors, situation: Situation) -> str:
    """The place, of `PLACES`, at which a heat rung of a single motor governs.

    Parameters
    ----------
    mode : str
        A heat rung by name.
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    str
        Of `places.PLACES`.
    """
    where = governing(mode, motors, situation).removeprefix("gap at the ").removeprefix(GAS_AT)
    return where if where in PLACES else f"{situation.end} end"
