"""How one motor stands: which rung is the first to fail and how often, what tests have shown, and what a flaw would do.

Imports physics. What is said here goes beside the ladder of `check`, on the terminal, the page and in JSON.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.commands.starting import Starting, starting, starting_json
from optimizer.flaw_view import LOWEST, FlawSeen, Needed, in_short, lines, seen
from physics.assessment import Assessment
from physics.failure import chances
from physics.failure.chances import Key
from physics.failure.evidence import Evidence, highest_held, model_with_tests
from physics.motors import Rung


@dataclass(frozen=True)
class Standing:
    """Shares of the first to fail (largest first) on `points` points, what was held by which test, flaws, what is needed.

    `bands` are the 5 % end, the median and the 95 % end [Pa or s] of each rung that a test has touched; `first` is empty where
    tests contradict the model.
    """

    first: Mapping[Key, float]
    points: int
    held: Mapping[Key, tuple[float, str]]
    bands: Mapping[Key, tuple[float, float, float]]
    flaws: tuple[FlawSeen, ...]
    needed: tuple[Needed, ...]
    start: Starting | None = None

    def top(self, count: int = LOWEST) -> list[tuple[Key, float]]:
        """The rungs that are most often the first to fail."""
        return [(key, share) for key, share in self.first.items() if share > 0.0][:count]

    def likely(self, rung: Rung) -> float:
        """Pressure [Pa] or time [s] at which a rung of a single motor likely happens, after what tests have shown."""
        return self.bands.get((rung.mode, rung.part), (0.0, float(np.ravel(rung.likely)[0]), 0.0))[1]

    def band(self, rung: Rung) -> tuple[float, float]:
        """The 5 % and the 95 % end of a rung's band, after what tests have shown."""
        known = self.bands.get((rung.mode, rung.part))
        low, high = rung.band
        return (float(np.ravel(low)[0]), float(np.ravel(high)[0])) if known is None else (known[0], known[2])

    def flaws_in_short(self, units: str) -> str:
        """What each flaw brings the head pressure to, and what it takes to reach the lowest rung."""
        return in_short(self.flaws, self.needed, units)

    def flaw_lines(self, units: str) -> list[str]:
        """A line a flaw, with the rungs that it comes near, and a line for each of the lowest rungs."""
        return lines(self.flaws, self.needed, units)


def standing(look: Assessment, evidence: Sequence[Evidence] = ()) -> Standing:
    """How a batch of one stands."""
    found, model = model_with_tests(look.motors, look.ladder, look.maximum_expected_pressure, look.figures, evidence)
    return Standing(
        chances.first_to_fail(model), chances.POINTS, highest_held(found, look.ladder), chances.known_bands(model, look.ladder),
        *seen(look), starting(look.motors),
    )  # fmt: skip


def more_json(found: Standing) -> dict[str, Any]:
    """What `check --json` says beside the rungs: flaws, what it takes to reach the lowest rungs, the first moments."""
    return {"flaws": flaws_json(found), "to_reach": needed_json(found), "start_up": starting_json(found.start)}


def flaws_json(found: Standing) -> list[dict[str, Any]]:
    """The `flaws` of `check --json`."""
    return [
        {
            "flaw": one.flaw,
            "burning_area": one.burning_area,
            "throat_area": one.throat_area,
            "peak_head_pressure": one.peak,
            "reaches": [{"mode": mode, "part": part, "share": share} for (mode, part), share in one.reaches],
        }
        for one in found.flaws
    ]


def needed_json(found: Standing) -> list[dict[str, Any]]:
    """What brings each of the lowest rungs, as plain data."""
    return [
        {
            "mode": one.key[0],
            "part": one.key[1],
            "likely": _finite(one.likely),
            "burning_area_surplus": _finite(one.surplus),
            "throat_blocked": _finite(one.blocked),
        }
        for one in found.needed
    ]


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
