"""Ways for gas behind the liner: found from what the file says, with their flow and what they do where they enter.

Owns the search for them and the bore of the case at their entry; the flow itself stands in `leak`. From one gap to the
next one gas runs under what the pressure falls along the port, in step with it; through a gap that lets gas pass it runs
out. A single gap that lets nothing pass only fills (under 0.1 kJ), and a gap of which it is not known where it lies is
one gap, not three.

Sources: beside the models; the room behind the liner where the file does not give it is an assumption. Imports
physics.assembly, constants, motors and the heat files below it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.assembly import assemble
from physics.constants import GAS_CONSTANT
from physics.heat import leak as leaks
from physics.heat import ring as rings
from physics.heat import walls
from physics.heat.conduction import first_crossing
from physics.heat.marches import case_wall, even, gap_widths, kept, known_gaps, ring_steps
from physics.heat.places import GAP_PLACES, LIKELY, Corner, Setting
from physics.heat.walls import LASTING_LOSS
from physics.motors import Array, Motors, Situation

ROOM_BEHIND = 0.1e-3
"""Room between liner and case where the file does not say: an assumption. [m]"""

OUT = "the outside"
UNKNOWN = "unknown"

FLOW_FACTOR = 3.0
"""How far the flow behind a liner may be off either way, since it goes as the cube of the room: judgement. [-]"""

LEAK_CORNERS = (Corner("leak", -1), Corner("leak", 1))
"""What is varied where gas runs behind the liner; low is more of it."""


@dataclass(frozen=True)
class GasPath:
    """A way for gas behind the liner of a single motor, SI.

    From `start` to `end`; `flow` [kg/s] under the highest pressure of the burn, `power` [W] that it brings, `reach` [m] in
    which it gives up all but a third of its heat, `hot_after` [s] until the bore at its entry passes `LASTING_LOSS`, inf
    where it does not in the burn; `room` behind the liner [m], `assumed` where the file does not give it. `counted`: the
    rungs of the case count with it.
    """

    start: str
    end: str
    flow: float
    power: float
    reach: float
    hot_after: float
    room: float
    assumed: bool
    counted: bool


@dataclass(frozen=True)
class Way:
    """A way for gas behind the liners of a batch, from `start` to `end`: its highest `flow` [kg/s], (n,), 0 where there is none.

    `share` of it in each step of the burn (steps, n) [-]; `counted` whether the rungs count with it.
    """

    start: str
    end: str
    flow: Array
    share: Array
    counted: bool


def ways(motors: Motors, situation: Situation, held: bool) -> tuple[Way, ...]:
    """The ways for gas behind the liners of a batch that its file tells of.

    Parameters
    ----------
    motors, situation : Motors, Situation
        The batch and how it burns.
    held : bool
        As for `physics.heat.walls.conditions`.

    Returns
    -------
    tuple of Way
        From gap to gap, the forward one first, then out; empty where there is none.

    Notes
    -----
    Between two gaps: laminar, too much where it is not. Counted where the file gives the room behind the liner or says
    that gas can pass; else told alone. Out: no more than the room round the tube lets through. Raises NotComputable naming
    what is missing.

    References
    ----------
    `physics.heat.leak`; the arrangement is derived here.
    """
    liner = motors.liner
    if liner is None or situation.figures is None:
        return ()
    known = {place: width > 0.0 for place, width in known_gaps(motors).items() if np.any(width > 0.0)}
    out = [place for place in GAP_PLACES if place in liner.gap_flow or UNKNOWN in liner.gap_flow]
    if len(known) < 2 and not out:
        return ()
    at = kept(motors, situation, held)
    drop, falling = _port_drop(at, situation)
    found = []
    for number, start in enumerate(known):
        for end in list(known)[number + 1 :]:
            flow = np.where(known[start] & known[end], _bypass(at, situation, start, end, drop), 0.0)
            counted = liner.gap_behind is not None or start in liner.gap_flow or end in liner.gap_flow
            found.append(Way(start, end, flow, falling, counted))
    acting = at.now.pressure / np.maximum(at.now.pressure.max(axis=0), 1e-9)
    widths = gap_widths(motors)
    found += [Way(start, OUT, np.where(widths[start] > 0.0, _outward(at, situation, start), 0.0), acting, True) for start in out]
    return tuple(found)


def _room(motors: Motors) -> Array:
    """Room behind the liner, (n,). [m]"""
    given = None if motors.liner is None else motors.liner.gap_behind
    return walls.per_motor(motors, ROOM_BEHIND if given is None else given)


def _positions(motors: Motors) -> tuple[dict[str, Array], Array, Array]:
    """Where along the axis each place of a gap lies, from where to where the wall is the chamber's, (n,). [m]"""
    stack = assemble(motors)
    forward, aft = (np.broadcast_to(one, (motors.size,)) for one in (stack.plate_end, stack.nozzle_face))
    return {"forward end": forward, "aft end": aft, "joint": 0.5 * (forward + aft)}, forward, aft


def _port_drop(at: Setting, situation: Situation) -> tuple[Array, Array]:
    """The most that the pressure falls along the port [Pa], (n,), and the share of it in each step, (steps, n) [-]."""
    figures = situation.figures
    assert figures is not None  # ways() has refused it
    fall = walls.port_drop(at.motors, figures, at.now)
    most = np.maximum(fall.max(axis=0), 0.0)
    return most, np.maximum(fall, 0.0) / np.maximum(most, 1e-9)


def _bypass(at: Setting, situation: Situation, start: str, end: str, drop: Array) -> Array:
    """Highest flow behind the liner from one gap to the other, (n,). [kg/s]"""
    places, forward, aft = _positions(at.motors)
    length = np.maximum(np.abs(places[end] - places[start]), 1e-3)
    density = _head(at, situation) * at.gas.molar_mass / (GAS_CONSTANT * at.gas.temperature)
    along = drop * length / np.maximum(aft - forward, 1e-9)
    return leaks.bypass_flow(density, _round(at.motors), _room(at.motors), along, at.gas.viscosity, length)


def _outward(at: Setting, situation: Situation, start: str) -> Array:
    """Highest flow behind the liner from a gap to the outside, (n,). [kg/s]"""
    motors = at.motors
    places, *_ = _positions(motors)
    length = np.maximum(np.minimum(places[start], assemble(motors).case_length - places[start]), 1e-3)
    head, breadth, room = _head(at, situation), _round(motors), _room(motors)
    choked = leaks.choked_leak(head, breadth * room, motors.propellant.characteristic_velocity)
    creeping = leaks.narrow_flow(
        head, breadth, room, length, at.gas.viscosity, GAS_CONSTANT / at.gas.molar_mass, at.gas.temperature
    )
    return np.minimum(choked, creeping)


def _head(at: Setting, situation: Situation) -> Array:
    assert situation.figures is not None  # ways() has refused it
    return walls.per_motor(at.motors, situation.figures["peak_head_pressure"])


def _round(motors: Motors) -> Array:
    """Way round the case's bore, (n,). [m]"""
    return np.pi * 2.0 * case_wall(motors).radius


def _stream(at: Setting, flow: Array) -> leaks.Stream:
    gas = at.gas
    cold = walls.per_motor(at.motors, at.motors.ambient.temperature)
    return leaks.stream(
        flow,
        _round(at.motors),
        _room(at.motors),
        gas.viscosity,
        gas.conductivity,
        gas.specific_heat,
        gas.temperature - cold,
        gas.prandtl,
    )


@dataclass(frozen=True)
class Entry:
    """The tube where gas enters behind the liner: the `ring` that it heats, the `width` of that [m] and `start` [K], (n,)."""

    ring: rings.Ring
    width: Array
    start: Array


def entries(motors: Motors, situation: Situation, held: bool, corner: Corner = LIKELY) -> dict[str, Entry]:
    """The tube where gas enters behind the liner, by the gap that it enters by.

    Parameters
    ----------
    motors, situation, held
        As for `ways`.
    corner : Corner
        "leak" varies the flow by `FLOW_FACTOR`.

    Returns
    -------
    dict of Entry
        SI.

    Notes
    -----
    The tube is heated as by a ring twice as wide as the gas reaches at its highest flow, the film in step with the flow.
    Raises NotComputable naming what is missing.

    References
    ----------
    `physics.heat.leak` and `physics.heat.ring`.
    """
    name = f"entries held {held} {corner.side if corner.what == 'leak' else 0}"
    if name not in situation.kept:
        situation.kept[name] = _entries(motors, situation, held, corner)
    found: dict[str, Entry] = situation.kept[name]
    return found


def _entries(motors: Motors, situation: Situation, held: bool, corner: Corner) -> dict[str, Entry]:
    counted = [way for way in ways(motors, situation, held) if way.counted]
    factor = FLOW_FACTOR ** -(corner.side if corner.what == "leak" else 0)
    found = {}
    for start in dict.fromkeys(way.start for way in counted):
        at = kept(motors, situation, held)
        flow = factor * np.sum([way.flow * way.share for way in counted if way.start == start], axis=0)
        most = flow.max(axis=0)
        stream = _stream(at, most)
        ring, cold = _ring(at, stream, flow / np.maximum(most, 1e-12), held)
        found[start] = Entry(ring, 2.0 * stream.reach, cold)
    return found


def _ring(at: Setting, stream: leaks.Stream, share: Array, held: bool) -> tuple[rings.Ring, Array]:
    """The tube at the entry, the flow a share of its highest in each step of the burn, and the start temperature, (n,). [K]"""
    steps, duration, after = ring_steps(at, held)
    cold = walls.per_motor(at.motors, at.motors.ambient.temperature)
    hot = at.gas.temperature * np.ones(at.size)
    return leaks.entry_ring(case_wall(at.motors), stream, even(at, share, duration, steps), hot, cold, duration, after), cold


def gas_paths(motors: Motors, situation: Situation) -> tuple[GasPath, ...]:
    """The ways for gas behind the liner of a single motor that the file tells of, the strongest flow first, SI.

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    tuple[GasPath, ...]
        The strongest flow first.

    Raises
    ------
    NotComputable
        Naming what is missing.

    References
    ----------
    As for `ways`.
    """
    found = []
    for way in ways(motors, situation, False):
        at = kept(motors, situation, False)
        flow = float(way.flow[0])
        stream = _stream(at, way.flow)
        after = np.inf
        if flow > 0.0:
            ring, cold = _ring(at, stream, way.share, False)
            after = float(first_crossing(ring.time, cold + ring.bore, LASTING_LOSS)[0])
        found.append(
            GasPath(
                way.start,
                way.end,
                flow,
                float(stream.power[0]),
                float(stream.reach[0]),
                after,
                float(_room(motors)[0]),
                motors.liner is None or motors.liner.gap_behind is None,
                way.counted,
            )
        )
    return tuple(sorted(found, key=lambda path: -path.flow))
