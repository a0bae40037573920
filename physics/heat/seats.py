"""`seal overheating`: how hot the seat of a seal gets, along the tube and through the part that carries the ring.

Owns the rung, its basis and its note. The ring lags behind its seat. Neither way has a film of its own at the gland, and
never the throat's flux.

Sources: beside the models. Imports physics.missing, motors and the heat files below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import erfc

from physics.heat import bounds, gaps, walls
from physics.heat import ring as rings
from physics.heat.conduction import first_crossing
from physics.heat.marches import GAS_SIDE, case_wall, celsius, first_of, gapped, kept, marched, worst
from physics.heat.paths import entries
from physics.heat.places import CORNERS, EMISSIVITY, FILM, JOINT_ROOM, LIKELY, PLACES, Corner, Setting, aft_reach, films
from physics.heat.ring import Ring, Wall
from physics.heat.walls import Slab
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

BASIS_SEAL = f"heat along the tube and through the carrier to the gland, soak included; {GAS_SIDE}"

GLAND_AWAY = 5e-3
"""Distance from the hot zone to the gland where the file does not tell it: an assumption. [m]"""


def seat_history(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, tuple[Array, Array]]:
    """Temperature of the seal's seat by the way that heat takes to it: instants [s] and [K], (instants, n) each.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    corner : Corner, optional
        The set of assumptions.

    Returns
    -------
    dict[str, tuple[Array, Array]]
        By way: instants [s] and temperature [K], (instants, n) each.

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    `along the tube`: from the wall under the liner, from a gap at that end and from gas that enters behind the liner
    there. `through the carrier`: through the part that carries the ring, from the gas on its bare face; a disc that
    covers it is not in the file. Neither has a film of its own at the gland, and no gas reaches a dead end of a
    twentieth of a millimetre unless it leaks.
    """
    ways = {"along the tube": _along_tube(motors, situation, corner)}
    carrier = _carried(motors, situation, corner)
    return ways if carrier is None else ways | {"through the carrier": (kept(motors, situation, False).now.time, carrier)}


def _along_tube(motors: Motors, situation: Situation, corner: Corner) -> tuple[Array, Array]:
    """Temperature of the seat by the heat that comes along the tube: instants [s] and [K], (instants, n) each."""
    end = situation.end
    place = f"{end} end"
    away = _gland_away(motors, end)
    wall = case_wall(motors)
    history = marched(motors, situation, False, [(place, corner)])[place, corner]
    reach = 2.0 * np.sqrt(wall.diffusivity * np.maximum(history.time, 1e-9))
    start = walls.per_motor(motors, motors.ambient.temperature)
    rise = 0.5 * erfc(away / reach) * np.maximum.accumulate(history.bore - start, axis=0)
    gap = gapped(motors, situation, False, corner).get(place)
    if gap is not None:
        rise = rise + np.where(gap.there, _beside(gap.ring, gap.width, wall, away, history.time), 0.0)
    entry = entries(motors, situation, False, corner).get(place)
    if entry is not None:
        rise = rise + _beside(entry.ring, np.maximum(entry.width, 1e-6), wall, away, history.time)
    return history.time, start + rise


def _beside(ring: Ring, width: Array, wall: Wall, away: Array, time: Array) -> Array:
    """Rise at a distance from the edge of a ring [m], (n,), at other instants than its own [s], (instants, n). [K]"""
    rise = rings.beside_ring(wall, width, ring, away)
    return np.stack([np.interp(time[:, n], ring.time[:, n], rise[:, n]) for n in range(rise.shape[1])], axis=1)


def _gland_away(motors: Motors, end: str) -> Array:
    """Distance from the face that the gas meets to the middle of the first gland, (n,). [m]"""
    closure = motors.forward_closure if end == "forward" else motors.aft_closure
    plate = None if closure is None else closure.plate_thickness
    if plate is None or closure is None:
        return np.full(motors.size, GLAND_AWAY)
    seal = closure.seal
    section = 0.0 if seal is None else walls.per_motor(motors, seal.cross_section)
    return np.maximum(np.minimum(0.5 * walls.per_motor(motors, plate), GLAND_AWAY + section), 1e-3)


_FACE_CORNERS = (LIKELY, *(corner for corner in CORNERS if corner.what in ("film", "emissivity")))
"""What the face of the carrier may see; the likely one alone, or all that are left at once."""


def _carried(motors: Motors, situation: Situation, corner: Corner) -> Array | None:
    """Temperature of the carrier at the gland, (instants, n); None where its material is not known. [K]"""
    end, key = situation.end, corner if corner in _FACE_CORNERS else LIKELY
    found: dict[Corner, Array | None] = situation.kept.setdefault(f"carrier {end}", {})
    if key not in found:
        alone = key is LIKELY and motors.size > 1  # the band of a single motor asks for the others next
        wanted = (LIKELY,) if alone else tuple(one for one in _FACE_CORNERS if one not in found)
        marched = _carriers(kept(motors, situation, False), end, wanted)
        found.update(dict.fromkeys(wanted) if marched is None else marched)
    return found[key]


def _carriers(at: Setting, end: str, corners: Sequence[Corner]) -> dict[Corner, Array] | None:
    """The part that carries the ring as a slab, heated on its face, at the gland's depth."""
    motors = at.motors
    closure = motors.forward_closure if end == "forward" else motors.aft_closure
    material = None if closure is None else closure.plate_material or closure.ring_material
    if closure is None or material is None:
        return None
    try:
        k, rho, c = walls.thermal(motors, material, f"{end}_closure.plate_material")
    except NotComputable:
        return None
    plate = closure.plate_thickness
    depth = np.full(motors.size, 3.0 * GLAND_AWAY) if plate is None else walls.per_motor(motors, plate)
    room = aft_reach(motors, at.now) if end == "aft" else JOINT_ROOM + at.now.regression
    seen, glows = [], []
    for corner in corners:
        film, _ = films(at, corner)[f"{end} end"]
        if end == "aft":
            throat, bore = motors.nozzle.throat_diameter, walls.chamber_bore(motors)
            film = walls.bartz_coefficient(
                throat,
                throat,
                at.gas.viscosity,
                at.gas.specific_heat,
                at.gas.prandtl,
                at.now.pressure,
                motors.propellant.characteristic_velocity,
                (throat / bore) ** 2,
            )
            film = film * FILM["mid-grain wall"][1 + (corner.side if corner.what == "film" else 0)]
        seen.append(film)
        glows.append(
            np.where(at.now.pressure > 0.0, gaps.slot_emissivity(corner.of("emissivity", EMISSIVITY), room, at.grain_diameter), 0.0)
        )  # the gas between grain and face alone
    count = len(corners)
    slab = Slab(*(np.tile(leaf, count) for leaf in (depth, k, rho, c)))
    now = replace(at.now, time=np.tile(at.now.time, (1, count)))
    seat = walls.slab_history(
        slab,
        np.tile(_gland_away(motors, end), count),
        now,
        np.concatenate(seen, axis=1),
        np.concatenate(glows, axis=1),
        np.tile(at.gas.temperature * np.ones(at.size), count),
        np.tile(walls.per_motor(motors, motors.ambient.temperature), count),
    )
    return {corner: seat[:, number * at.size : (number + 1) * at.size] for number, corner in enumerate(corners)}


def seal_overheating_by_way(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """When the ring reaches its limit by each way of the heat, (n,), inf where it does not. [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    corner : Corner, optional
        The set of assumptions.

    Returns
    -------
    dict[str, Array]
        By way [s], (n,); inf where never.
    """
    return {way: _reached(motors, situation, *history) for way, history in seat_history(motors, situation, corner).items()}


def _reached(motors: Motors, situation: Situation, time: Array, seat: Array) -> Array:
    """When the ring on a seat with this history reaches its limit, (n,). [s]"""
    lag = ring_lag(motors, situation.end)
    return first_crossing(time, _lagging(time, seat, lag), seal_limit(motors, situation.end))


def ring_lag(motors: Motors, end: str) -> Array:
    """How far the mean of a ring's section lags behind its seat, d²/(4·5.783·a), (n,); 0 without its thermal numbers. [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    end : str
        "forward" or "aft".

    Returns
    -------
    Array
        [s], (n,).

    Notes
    -----
    The first term of a cylinder of the ring's section that touches its seat all round (any text; 5.783 is the square of
    the first zero of J0): rubber conducts badly, and a ring outlasts a short burn on a seat that is over its limit.
    """
    closure = motors.forward_closure if end == "forward" else motors.aft_closure
    if closure is None or closure.seal is None or closure.seal.material is None:
        return np.zeros(motors.size)
    rubber = closure.seal.material
    if rubber.conductivity is None or rubber.density is None or rubber.specific_heat is None:
        return np.zeros(motors.size)
    diffusivity = rubber.conductivity / (rubber.density * rubber.specific_heat)
    return np.asarray(walls.per_motor(motors, closure.seal.cross_section) ** 2 / (4.0 * 5.783 * diffusivity))


def _lagging(time: Array, seat: Array, lag: Array) -> Array:
    """What follows a history with a lag, (instants, n); the seat taken as straight between instants."""
    if not np.any(lag > 0.0):
        return seat
    found = np.empty_like(seat)
    found[0] = seat[0]
    for index in range(1, len(seat)):
        interval = time[index] - time[index - 1]
        ratio = interval / np.maximum(lag, 1e-9)
        decay = np.exp(-ratio)
        slope = (seat[index] - seat[index - 1]) * np.where(ratio > 1e-9, (1.0 - decay) / np.maximum(ratio, 1e-9), 1.0)
        found[index] = seat[index] + (found[index - 1] - seat[index - 1]) * decay - slope
    return found


def seal_limit(motors: Motors, end: str) -> float:
    """The ring's temperature limit at an end. [K]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    end : str
        "forward" or "aft".

    Returns
    -------
    float
        [K].

    Raises
    ------
    NotComputable
        Naming what is missing.
    """
    part = f"{end}_closure"
    closure = motors.forward_closure if end == "forward" else motors.aft_closure
    if closure is None or closure.seal is None:
        raise NotComputable(f"[{part}.seal] is not given")
    if closure.seal.material is None:
        raise NotComputable(f"{part}.seal.material is not given")
    return walls.number(closure.seal.material, "limit_temperature", f"{part}.seal.material")


def seal_overheating(motors: Motors, situation: Situation) -> Array:
    """Time at which the seal's ring likely reaches its limit, (n,), inf where never. [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Array
        [s], (n,); inf where never.

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    Followed through the burn and the soak after it. A time after the burn costs the ring, not the firing.
    """
    limit = seal_limit(motors, situation.end)
    if not bounds.applies(motors, situation):
        return worst(seal_overheating_by_way(motors, situation), situation)
    place, later = f"{situation.end} end", bounds.long_enough(motors, situation)
    start = walls.per_motor(motors, motors.ambient.temperature)
    share = 0.5 * erfc(_gland_away(motors, situation.end) / (2.0 * np.sqrt(case_wall(motors).diffusivity * later)))
    hottest = start + share * (bounds.least(motors, situation).bores(place, later) - start)  # a ring only lags behind it
    least = dict.fromkeys(PLACES, np.full(motors.size, np.inf)) | {place: np.where(hottest < limit, np.inf, 0.0)}
    carrier = _carried(motors, situation, LIKELY)
    known = None if carrier is None else _reached(motors, situation, kept(motors, situation, False).now.time, carrier)

    def by_tube(some: Motors, at_place: Situation) -> dict[str, Array]:
        return {"along the tube": _reached(some, at_place, *_along_tube(some, at_place, LIKELY))}

    return bounds.lowest(by_tube, least, motors, situation, *bounds.lasting(motors, situation), known)


def seal_note(motors: Motors, situation: Situation) -> str:
    """What the seal's limit is, which way the heat comes, and whether the limit is reached under pressure.

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    str
        For a person.
    """
    way = first_of(seal_overheating_by_way(motors, situation))
    reached = float(seal_overheating(motors, situation)[0])
    assert situation.figures is not None  # seal_overheating() has refused it before
    if np.isinf(reached):
        lag = ring_lag(motors, situation.end)
        rings = {way: float(_lagging(time, seat, lag).max()) for way, (time, seat) in seat_history(motors, situation).items()}
        way = max(rings, key=lambda one: rings[one])
        when = f"not reached; the ring gets to {celsius(rings[way])} {way}"
    elif reached > float(walls.per_motor(motors, situation.figures["action_time"])[0]):
        when = f"reached {way} after the burn, replace the ring"
    else:
        when = f"reached {way} in the burn"
    closure = motors.forward_closure if situation.end == "forward" else motors.aft_closure
    assert closure is not None and closure.seal is not None and closure.seal.material is not None
    material = closure.seal.material
    limit = celsius(seal_limit(motors, situation.end))
    return (
        f"{material.name} up to {limit}, {when}; limit: {material.source('limit_temperature')}; a ring that gas passes "
        "fails at once, not by this rung"
    )
