"""Whether a motor goes into its airframe.

Owns the clearances between the case and the tube it must go into, and the length the closures take.
Source: definition of the clearances. Imports modes and motors.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from physics.modes import need
from physics.motors import Array, Closure, Motors


def fit(motors: Motors) -> dict[str, Array | NDArray[np.bool_] | None]:
    """How a motor sits in its airframe, (n,) each.

    `clearance` [m]: airframe's inner less case's outer diameter. `length_clearance` [m]: airframe's length less the
    case's, None where either is not given. `head_room` [m]: how far anything, a screw's head for one, may stand out of
    the case; half of what the diameter leaves. `ok`: the clearance reaches `airframe.clearance` and the length
    suffices. Screw heads are taken as flush with the case: a head that stands out further than `head_room` does
    not fit, and the file gives no head heights. A nozzle that stands out of the case is not counted in the length.
    Raises NotComputable where the airframe or the case is not given.
    """
    inside, outside = need(motors, "airframe.inner_diameter"), need(motors, "case.outer_diameter")
    clearance = _column(inside - outside, motors.size)
    wanted = motors.value("airframe.clearance")
    ok = clearance >= (0.0 if wanted is None else wanted)
    length, room = motors.value("case.length"), motors.value("airframe.length")
    left: Array | None = None
    if length is not None and room is not None:
        left = _column(room - length, motors.size)
        ok = ok & (left >= 0.0)
    return {"clearance": clearance, "length_clearance": left, "head_room": 0.5 * clearance, "ok": ok}


def closure_reach(closure: Closure | None) -> Array | float:
    """Length [m] that a closure takes from the end of the case inwards, as far as the file gives it; 0 with none.

    The plate, and to it what holds it: the ring of radial screws (twice its edge distance, where that is given, as its
    mass is reckoned), the engagement of a threaded ring, the edge margin and thickness of a snap ring.
    """
    if closure is None:
        return 0.0
    reach: Array | float = 0.0 if closure.plate_thickness is None else closure.plate_thickness
    if closure.screws is not None and closure.screws.ring_edge_distance is not None:
        reach = reach + 2.0 * closure.screws.ring_edge_distance
    elif closure.threaded_ring is not None:
        reach = reach + closure.threaded_ring.engagement
    elif closure.snap_ring is not None:
        reach = reach + closure.snap_ring.edge_margin + closure.snap_ring.ring_thickness
    return reach


def _column(value: Array, size: int) -> Array:
    return np.broadcast_to(np.asarray(value, dtype=float), (size,)).copy()
