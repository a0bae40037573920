"""What a builder is told of heat: the outside after the burn, the liner that is left, the gap the tube forgives.

Owns what is told of one motor; `optimizer` puts it into words. Sources: beside the models. Imports physics.missing,
motors and the heat files below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from physics.heat import gaps, soak, walls
from physics.heat import ring as rings
from physics.heat.liner import Lined
from physics.heat.marches import RING_STEPS, Bare, case_wall, even, gapped, kept, marched
from physics.heat.paths import Entry, GasPath, entries, gas_paths
from physics.heat.places import CORNERS, GAP_PLACES, LIKELY, MEASURED_CORNERS, STAYS, STRIPPED, ends_at, films, places_of
from physics.heat.ring import Ring
from physics.heat.walls import LASTING_LOSS
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

FLAT = 0.5
"""Rise below which an outside counts as cold. [K]"""


@dataclass(frozen=True)
class Outside:
    """The case's outside at one place: `readings` of the likely burn; `low` and `high` the peak in the two limits [K].

    `time` [s] and `history` [K] of the likely one, (instants,).
    """

    place: str
    readings: soak.Readings
    low: float
    high: float
    time: Array
    history: Array

    @property
    def warms(self) -> bool:
        """Whether the outside gets warm at all here."""
        return float(self.readings.peak[0]) - float(self.history[0]) > FLAT


@dataclass(frozen=True)
class HeatSummary:
    """What heat does to one motor, in SI: outsides, liner left (low, likely, high) and the widest gap [m] by place.

    `gas_paths` are the ways for gas behind the liner. `missing` says why a part of it is empty.
    """

    outside: tuple[Outside, ...]
    liner_left: tuple[tuple[str, float, float, float], ...]
    widest_gap: tuple[tuple[str, float], ...]
    gas_paths: tuple[GasPath, ...]
    missing: tuple[str, ...]


def heat_summary(motors: Motors, situation: Situation) -> HeatSummary:
    """What heat does to a single motor: the outside after the burn, the liner that is left, and the gap the tube forgives.

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    HeatSummary
        SI.

    Raises
    ------
    NotComputable
        Where there is nothing to tell at all.
    """
    places = places_of(motors)
    corners = (LIKELY, *CORNERS, *MEASURED_CORNERS)
    missing: list[str] = []
    outside: list[Outside] = []
    left: list[tuple[str, float, float, float]] = []
    forgiven: list[tuple[str, float]] = []
    try:
        wanted = [(place, corner) for place in places for corner in corners]
        found = marched(motors, situation, False, wanted)
        bare_rings, gassed = gapped(motors, situation, False, LIKELY), entries(motors, situation, False)
        for place in places:
            shown = [found[place, corner] for corner in (LIKELY, *ends_at(motors, place))]
            outside.append(_outside(place, shown, _rings(place, bare_rings, gassed)))
            ends = {corner: float(found[place, corner].left[-1, 0]) for corner in corners}
            left.append((place, min(ends.values()), ends[LIKELY], max(ends.values())))
    except NotComputable as reason:
        missing.append(str(reason))
    try:
        forgiven = [(place, widest_gap(motors, situation, place)) for place in places if place in GAP_PLACES]
    except NotComputable as reason:
        missing.append(str(reason))
    if not outside and not forgiven:
        raise NotComputable(missing[0] if missing else "nothing of heat can be told")
    paths: tuple[GasPath, ...] = ()
    if not missing:
        paths = gas_paths(motors, situation)
    return HeatSummary(tuple(outside), tuple(left), tuple(forgiven), paths, tuple(dict.fromkeys(missing)))


def _rings(place: str, gaps_there: Mapping[str, Bare], gassed: Mapping[str, Entry]) -> list[tuple[float, Ring]]:
    """The rings that are heated at a place of a single motor, each with its temperature at the start [K]."""
    gap, entry = gaps_there.get(place), gassed.get(place)
    found = [] if gap is None or not bool(gap.there[0]) else [(float(gap.start[0]), gap.ring)]
    return found + ([] if entry is None else [(float(entry.start[0]), entry.ring)])


def _outside(place: str, histories: Sequence[Lined], heated: Sequence[tuple[float, Ring]]) -> Outside:
    """The outside at a place: likely and both ends of it; opposite a ring that is heated the ring where that is hotter."""
    likely, *limits = (history.outside[:, :1] for history in histories)
    time = histories[0].time[:, :1]
    peaks = [float(one.max()) for one in limits]
    for start, ring in heated:
        opposite = start + np.interp(time[:, 0], ring.time[:, 0], ring.outside[:, 0])[:, None]
        likely = np.maximum(likely, opposite)
        peaks = [max(peak, float(opposite.max())) for peak in peaks]
    told_at = soak.readings(time, likely)
    peak = float(told_at.peak[0])
    return Outside(place, told_at, min(*peaks, peak), max(*peaks, peak), time[:, 0], likely[:, 0])


def outside_peaks(motors: Motors, situation: Situation, place: str) -> tuple[float, float, float]:
    """Hottest that the outside of a single motor's case gets at a place: likely, char stripped, char staying. [K]

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    place : str
        One of `places.PLACES`.

    Returns
    -------
    tuple[float, float, float]
        Likely, all char stripped, all of it staying [K].

    Raises
    ------
    NotComputable
        Naming what is missing.

    References
    ----------
    `physics.heat.liner`.
    """
    corners = (LIKELY, STRIPPED, STAYS)
    found = marched(motors, situation, False, [(place, corner) for corner in corners])
    likely, stripped, stays = (float(found[place, corner].outside[:, 0].max()) for corner in corners)
    return likely, stripped, stays


def widest_gap(motors: Motors, situation: Situation, place: str) -> float:
    """Widest gap at a place whose middle stays under `LASTING_LOSS` through the burn, for a single motor. [m]

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    place : str
        One of `places.GAP_PLACES`.

    Returns
    -------
    float
        [m].

    Notes
    -----
    0 where no gap does, inf where any does.
    """
    at = kept(motors, situation, False)
    film, glow = films(at, LIKELY)[place]
    steps = RING_STEPS
    convected, radiant = even(at, film, at.now.end, steps), even(at, glow, at.now.end, steps)
    thickness = np.zeros(1) if motors.liner is None else walls.per_motor(motors, motors.liner.thickness)
    start = walls.per_motor(motors, motors.ambient.temperature)

    def seen(width: Array) -> Array:
        return convected * np.minimum(gaps.floor_share(thickness, width), 1.0)

    return float(
        rings.widest_gap(
            case_wall(motors), seen, at.gas.temperature * np.ones(1), start, at.now.end, np.full(1, LASTING_LOSS), radiant
        )[0]
    )
