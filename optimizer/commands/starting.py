"""How a motor comes up to pressure: the first tenth of a second between two bounds.

Owns the two ways of lighting that `check` sets side by side where a motor file has a [startup] table: the whole surface at
once, and the flame running along the grains at the builder's own speed. Imports physics and the units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.units import show
from physics.ballistics.transient import RISEN, WINDOW, StartUp, start_up
from physics.motors import Motors


@dataclass(frozen=True)
class Starting:
    """Both ways of lighting one motor, and the speed [m/s] of the flame in the second."""

    spread_speed: float
    whole: StartUp
    spread: StartUp

    def lines(self, units: str) -> list[str]:
        """Both in words, and what the second is not."""
        speed = show(self.spread_speed, "spread_speed", units)
        both = (("whole surface at once", self.whole), (f"flame along the grains at {speed}", self.spread))
        told = [f"{how}: {_told(one, units)}" for how, one in both]
        return [*told, "The speed is yours, and nothing else of how it is lit is modelled; figures and ladder rest on the first."]

    def in_short(self, units: str) -> str:
        """The same in one sentence."""
        speed = show(self.spread_speed, "spread_speed", units)
        return f"all at once {_told(self.whole, units)}; flame at {speed} {_told(self.spread, units)}."


def _told(one: StartUp, units: str) -> str:
    peak, rise = float(one.peak_pressure[0]), float(one.rise_time[0])
    up = f"{RISEN:.0%} of ignition pressure after {1000.0 * rise:.2g} ms".replace("%", " %")
    late = up if math.isfinite(rise) else "never at that of ignition"
    return f"{show(peak, 'pressure', units)} at most in the first {WINDOW:g} s, {late}"


def starting(motors: Motors) -> Starting | None:
    """Both ways of lighting a batch of one; None where the file tells no speed, or where the motor does not burn."""
    if motors.startup is None:
        return None
    speed = float(np.ravel(motors.startup.spread_speed)[0])
    whole = start_up(motors)
    if not whole.peak_pressure[0] > 0.0:
        return None
    return Starting(speed, whole, start_up(motors, speed))


def starting_json(found: Starting | None) -> dict[str, Any] | None:
    """The `start_up` of `check --json`, SI."""
    if found is None:
        return None
    each = {"whole_surface": found.whole, "flame_spread": found.spread}
    return {
        "window": WINDOW,
        "spread_speed": found.spread_speed,
        **{
            how: {name: _number(getattr(one, name)) for name in ("peak_pressure", "peak_head_pressure", "rise_time")}
            for how, one in each.items()
        },
    }


def _number(column: Any) -> float | None:
    value = float(np.ravel(column)[0])
    return value if math.isfinite(value) else None
