"""How one motor stands: which rung is the first to fail and how often, what tests have shown, and what a flaw would do.

Imports physics. What is said here goes beside the ladder of `check`, on the terminal, the page and in JSON.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.candidates.samples import chance_words
from optimizer.commands.starting import Starting, starting, starting_json
from optimizer.units import show
from physics.assessment import Assessment
from physics.failure import chances
from physics.failure.chances import Key
from physics.failure.evidence import Evidence, highest_held, tested_model
from physics.failure.flaws import flaws, to_reach
from physics.motors import Rung

LOWEST = 3
"""So many of the lowest rungs are told what would reach them."""


@dataclass(frozen=True)
class FlawSeen:
    """One flaw: burning and throat area over the sound ones, the peak head pressure [Pa], the rungs it comes near.

    `reaches` are rungs whose likely pressure lies at or below the peak or whose band begins below it, each with the chance that
    it has let go there.
    """

    flaw: str
    burning_area: float
    throat_area: float
    peak: float
    reaches: tuple[tuple[Key, float], ...]


@dataclass(frozen=True)
class Needed:
    """What brings one of the lowest rungs from the sound peak: burning-area surplus, or blocked share of the throat."""

    key: Key
    likely: float
    surplus: float
    blocked: float


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
        each = ", ".join(f"{one.flaw} {show(one.peak, 'pressure', units)}" for one in self.flaws)
        return f"{each}. {_needed_text(self.needed[0], units)}." if self.needed else f"{each}."

    def flaw_lines(self, units: str) -> list[str]:
        """A line a flaw, with the rungs that it comes near, and a line for each of the lowest rungs."""
        lines = []
        for one in self.flaws:
            near = ", ".join(f"{mode} ({part}) {chance_words(chance)}" for (mode, part), chance in one.reaches[:3])
            area = f", {one.burning_area:.2f} of the burning area" if abs(one.burning_area - 1.0) > 1e-6 else ""
            gone = f"has gone by then: {near}" if near else "no rung near"
            lines.append(f"{one.flaw}: peak head pressure {show(one.peak, 'pressure', units)}{area}; {gone}")
        return lines + [_needed_text(one, units) for one in self.needed]


def _needed_text(one: Needed, units: str) -> str:
    name = f"{one.key[0]} ({one.key[1]}) at its likely {show(one.likely, 'pressure', units)}"
    if not (math.isfinite(one.surplus) and math.isfinite(one.blocked)):
        return f"{name}: what would reach it is not known"
    return f"{name} takes {one.surplus:.0%} more burning area, or {one.blocked:.0%} of the throat blocked".replace("%", " %")


def standing(look: Assessment, evidence: Sequence[Evidence] = ()) -> Standing:
    """How a batch of one stands."""
    found, model = tested_model(look.motors, look.ladder, look.maximum_expected_pressure, look.figures, evidence)
    pressures = sorted(
        (rung for rung in look.ladder.rungs if rung.pressure is not None and rung.kind != "advice"),
        key=lambda rung: float(np.ravel(rung.likely)[0]),
    )
    return Standing(
        chances.first_to_fail(model), chances.POINTS, highest_held(found, look.ladder), chances.known_bands(model, look.ladder),
        *_flaws(look, pressures), starting(look.motors),
    )  # fmt: skip


def _flaws(look: Assessment, pressures: Sequence[Rung]) -> tuple[tuple[FlawSeen, ...], tuple[Needed, ...]]:
    if not np.isfinite(look.figures["peak_head_pressure"][0]):
        return (), ()
    seen = []
    for one in flaws(look.motors):
        peak = float(one.peak_head_pressure[0])
        if not np.isfinite(peak):
            continue
        near = [((rung.mode, rung.part), chances.gone_by(rung, peak)) for rung in pressures]
        reached = tuple(sorted((item for item in near if item[1] >= 0.05), key=lambda item: -item[1]))
        seen.append(FlawSeen(one.flaw, float(one.burning_area[0]), float(one.throat_area[0]), peak, reached))
    needed = []
    for rung in pressures[:LOWEST]:
        likely = np.ravel(rung.likely)[:1]
        found = to_reach(look.motors, likely)
        needed.append(Needed((rung.mode, rung.part), float(likely[0]), float(found.surplus[0]), float(found.blocked[0])))
    return tuple(seen), tuple(needed)


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
