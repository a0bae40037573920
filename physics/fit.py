"""Whether a motor goes into its airframe, and its parts into the case.

Owns the clearances between the case and the tube it must go into. Source: definition of the clearances. Imports assembly,
modes and motors.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from physics.assembly import Assembly, assemble, at_end
from physics.missing import need
from physics.motors import Array, Motors


def fit(motors: Motors, assembly: Assembly | None = None) -> dict[str, Array | NDArray[np.bool_] | None]:
    """How a motor sits in its airframe, (n,) each.

    `clearance` [m]: airframe's inner less case's outer diameter. `length_clearance` [m]: airframe's length less the
    case's, None where either is not given. `head_room` [m]: how far anything, a screw's head for one, may stand out of
    the case; half of what the diameter leaves. `in_airframe`: the clearance reaches `airframe.clearance` and the length
    suffices, with diameter and length of the case at the upper ends of their tolerances. `ok`: that, and the stack goes
    into the case as far as that is assessed (`physics.assembly`; `assembly` is that of the motors where it is at hand).
    Screw heads are taken as flush with the case: a head that stands out further than `head_room` does not fit, and the
    file gives no head heights. A nozzle that stands out of the case is not counted in the length.
    Raises NotComputable where the airframe or the case is not given.
    """
    inside, outside = need(motors, "airframe.inner_diameter"), need(motors, "case.outer_diameter")
    clearance = _column(inside - outside, motors.size)
    wanted = motors.value("airframe.clearance")
    widest = at_end(motors, "case.outer_diameter", upper=True)
    ok = _column(inside - widest, motors.size) >= (0.0 if wanted is None else wanted)
    length, room = motors.value("case.length"), motors.value("airframe.length")
    left: Array | None = None
    if length is not None and room is not None:
        left = _column(room - length, motors.size)
        ok = ok & (_column(room - at_end(motors, "case.length", upper=True), motors.size) >= 0.0)
    placed = assemble(motors) if assembly is None else assembly
    return {
        "clearance": clearance,
        "length_clearance": left,
        "head_room": 0.5 * clearance,
        "in_airframe": ok,
        "ok": ok & placed.fits,
    }


def _column(value: Array, size: int) -> Array:
    return np.broadcast_to(np.asarray(value, dtype=float), (size,)).copy()
