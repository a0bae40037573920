"""What a flaw would do to one motor, in words: on the terminal, the page and the review sheet alike.

Owns each flaw with the rungs that it comes near, and what it takes to reach the lowest rungs. Imports physics, units and how a
chance is worded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.candidates.samples import chance_words
from optimizer.units import show
from physics.assessment import Assessment
from physics.failure import chances
from physics.failure.chances import Key
from physics.failure.flaws import flaws, to_reach

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


def seen(look: Assessment) -> tuple[tuple[FlawSeen, ...], tuple[Needed, ...]]:
    """What each flaw would do to one motor, and what it takes to reach its lowest rungs; nothing of one that does not burn."""
    if not np.isfinite(look.figures["peak_head_pressure"][0]):
        return (), ()
    pressures = sorted(
        (rung for rung in look.ladder.rungs if rung.pressure is not None and rung.kind != "advice"),
        key=lambda rung: float(np.ravel(rung.likely)[0]),
    )
    found = []
    for one in flaws(look.motors):
        peak = float(one.peak_head_pressure[0])
        if not np.isfinite(peak):
            continue
        near = [((rung.mode, rung.part), chances.gone_by(rung, peak)) for rung in pressures]
        reached = tuple(sorted((item for item in near if item[1] >= 0.05), key=lambda item: -item[1]))
        found.append(FlawSeen(one.flaw, float(one.burning_area[0]), float(one.throat_area[0]), peak, reached))
    needed = []
    for rung in pressures[:LOWEST]:
        likely = np.ravel(rung.likely)[:1]
        reach = to_reach(look.motors, likely)
        needed.append(Needed((rung.mode, rung.part), float(likely[0]), float(reach.surplus[0]), float(reach.blocked[0])))
    return tuple(found), tuple(needed)


def in_short(found: Sequence[FlawSeen], needed: Sequence[Needed], units: str) -> str:
    """What each flaw brings the head pressure to, and what it takes to reach the lowest rung."""
    each = ", ".join(f"{one.flaw} {show(one.peak, 'pressure', units)}" for one in found)
    return f"{each}. {_needed_text(needed[0], units)}." if needed else f"{each}."


def lines(found: Sequence[FlawSeen], needed: Sequence[Needed], units: str) -> list[str]:
    """A line a flaw, with the rungs that it comes near, and a line for each of the lowest rungs."""
    told = []
    for one in found:
        near = ", ".join(f"{mode} ({part}) {chance_words(chance)}" for (mode, part), chance in one.reaches[:3])
        area = f", {one.burning_area:.2f} of the burning area" if abs(one.burning_area - 1.0) > 1e-6 else ""
        gone = f"has gone by then: {near}" if near else "no rung near"
        told.append(f"{one.flaw}: peak head pressure {show(one.peak, 'pressure', units)}{area}; {gone}")
    return told + [_needed_text(one, units) for one in needed]


def _needed_text(one: Needed, units: str) -> str:
    name = f"{one.key[0]} ({one.key[1]}) at its likely {show(one.likely, 'pressure', units)}"
    if not (math.isfinite(one.surplus) and math.isfinite(one.blocked)):
        return f"{name}: what would reach it is not known"
    return f"{name} takes {one.surplus:.0%} more burning area, or {one.blocked:.0%} of the throat blocked".replace("%", " %")
