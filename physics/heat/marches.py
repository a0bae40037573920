"""Liner, case and bare rings of a batch, marched at every place under sets of assumptions, each once for all rungs.

Owns what the file says of liner and tube as the solvers take it, gaps of stated width, and what a situation keeps of its
marches. The gas side stands in `places`, the walls in `liner` and `ring`.

Two limits of the liner: `stripped`, whatever decomposes is carried off; `stays`, all char stays. Likely is a judgement:
all of it stays at the forward end and behind the grains, where little flows; elsewhere what the material holds in flow.
Where a gap leaves the case bare of liner, a ring of the stated width is marched with heat running along the tube.

Held exposure. A wall that outlasts the burn by a hair and one that outlasts it tenfold must not look alike. The times of
liner and case therefore hold the mean conditions of the burn beyond its end, up to `HELD` times the action time: the time
they give is the one this wall would last if the burn went on. Outside temperatures and seals follow the real soak.

Sources: beside the models. Imports physics.missing, motors and the heat files below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from physics.heat import gaps, soak, walls
from physics.heat import liner as liners
from physics.heat import ring as rings
from physics.heat.liner import Char, Exposure, Lined, Sleeve
from physics.heat.places import (
    BLOWING,
    CONTACT,
    CORNERS,
    GAP_PLACES,
    LEAST_FACTOR,
    LIKELY,
    PLACES,
    STILL,
    Corner,
    Setting,
    as_asked,
    depth_factor,
    films,
    liner_of,
    places_of,
    setting,
)
from physics.heat.properties import CHAR_SPECIFIC_HEAT, HotLiner, front_heat
from physics.heat.ring import Ring, Wall
from physics.heat.walls import HELD, SOAK_STEPS
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

STILL_AIR = 0.0336
"""Conductivity of air at 400 K; Incropera Table A.4 (remembered). [W/(m K)]"""

RING_STEPS = 16  # of the burn; the burn held on has as many more in each of its lengths


def _front(at: Setting, hot: HotLiner, corner: Corner) -> tuple[Array, Array, Array]:
    """Front temperature [K], heat beside the warming [J/kg] and conductivity [W/(m K)] of a corner, (n,) each."""
    liner = at.motors.liner
    assert liner is not None
    front, total = (
        walls.per_motor(at.motors, band.likely if given is None else given) * corner.of(name, band) / band.likely
        for name, band, given in (("front", hot.front, liner.decomposition_temperature), ("heat", hot.heat, liner.heat_of_ablation))
    )
    least = np.vectorize(front_heat, otypes=[float])(total, hot.specific_heat.likely, front)
    return front, least, np.full(at.size, corner.of("conductivity", hot.conductivity))


def sleeve(at: Setting, hot: HotLiner, corner: Corner) -> Sleeve:
    """Liner and case of the batch under one set of assumptions.

    Parameters
    ----------
    at : Setting
        The batch with its gas side.
    hot : HotLiner
        The hot numbers of the liner.
    corner : Corner
        The set of assumptions.

    Returns
    -------
    Sleeve
        Liner and case, (n,).

    Raises
    ------
    NotComputable
        Where the case's thermal numbers are not known.
    """
    motors = at.motors
    case, liner = motors.case, motors.liner
    if case is None or liner is None:
        raise NotComputable("[case] is not given" if case is None else "[liner] is not given")
    k, rho, c = walls.thermal(motors, case.material, "case.material")
    front, total, conductivity = _front(at, hot, corner)
    start = walls.per_motor(motors, motors.ambient.temperature)
    thickness = walls.per_motor(motors, liner.thickness)
    outside = walls.outside_coefficient(
        walls.per_motor(motors, case.outer_diameter), start, walls.per_motor(motors, motors.ambient.pressure)
    )
    contact = walls.per_motor(motors, corner.of("contact", CONTACT))
    if liner.gap_behind is not None and corner.what != "contact":
        contact = np.minimum(STILL_AIR / np.maximum(walls.per_motor(motors, liner.gap_behind), 1e-6), CONTACT.high)
    return Sleeve(
        thickness,
        conductivity,
        np.full(at.size, hot.density.likely),
        np.full(at.size, hot.specific_heat.likely),
        front,
        total,
        0.5 * walls.per_motor(motors, case.bore) - thickness,
        contact,
        walls.per_motor(motors, case.wall),
        k,
        rho * c,
        outside,
        start,
    )


def char_of(at: Setting, hot: HotLiner, corner: Corner, place: str) -> Char:
    """What the batch's char does at a place under one set of assumptions, SI, (n,) each.

    Parameters
    ----------
    at : Setting
        The batch with its gas side.
    hot : HotLiner
        The hot numbers of the liner.
    corner : Corner
        The set of assumptions.
    place : str
        One of `places.PLACES`.

    Returns
    -------
    Char
        SI, (n,).
    """
    front, _, _ = _front(at, hot, corner)
    half = hot.front.likely - hot.front.low
    deepest = np.inf if corner.limit == "stays" or place in STILL else hot.char_depth.likely
    return Char(
        np.full(at.size, hot.char_conductivity.likely),
        np.full(at.size, hot.char_share.likely * hot.density.likely),
        np.full(at.size, CHAR_SPECIFIC_HEAT),
        front - half,
        front + half,
        np.full(at.size, deepest),
    )


def strips(hot: HotLiner, corner: Corner, place: str) -> bool:
    """Whether a corner's limit at a place is that everything is carried off.

    Parameters
    ----------
    hot : HotLiner
        The hot numbers of the liner.
    corner : Corner
        The set of assumptions.
    place : str
        One of `places.PLACES`.

    Returns
    -------
    bool
        True where nothing of the char stays.
    """
    if corner.limit == "likely":
        return place not in STILL and hot.char_depth.likely <= 0.0
    return corner.limit == "stripped"


Wanted = tuple[str, Corner]
"""A place and a set of assumptions."""


def lined(at: Setting, wanted: Sequence[Wanted]) -> dict[Wanted, Lined]:
    """March liner and case at places under sets of assumptions, all side by side.

    Parameters
    ----------
    at : Setting
        The batch and its gas side.
    wanted : sequence of (place, Corner)
        What to march, as `places.as_asked` gives it.

    Returns
    -------
    dict of Lined
        SI; `left` and `worn` are those of the liner itself.

    Notes
    -----
    Where the liner was measured, its depth is the model's times the measured factor f: a liner of thickness e is through
    when the model's depth in one of e/f is. The tube behind it warms as behind one of e/f where f is over 1 (never too
    cool), else as behind the liner that has as much left at burnout as the measured wear leaves. Raises NotComputable
    naming what is missing.

    References
    ----------
    Derived; depth of a front that does not feel the liner's back is the same whatever the thickness.
    """
    factors = {ask: _factor(at.motors, *ask) for ask in wanted}
    measured = {ask: factor for ask, factor in factors.items() if factor is not None}
    found = _limits(at, wanted, {ask: 1.0 / factor for ask, factor in measured.items()})
    less = {ask: factor for ask, factor in measured.items() if np.any(factor < 1.0)}
    if less:
        full = np.zeros(at.size) if at.motors.liner is None else walls.per_motor(at.motors, at.motors.liner.thickness)
        depth = {ask: full / factor - _at_burnout(at, found[ask]) for ask, factor in less.items()}
        behind = _limits(at, list(less), {ask: 1.0 + (1.0 - less[ask]) * depth[ask] / np.maximum(full, 1e-9) for ask in less})
        for ask, factor in less.items():
            bore, outside = (
                np.where(factor < 1.0, getattr(behind[ask], name), getattr(found[ask], name)) for name in ("bore", "outside")
            )
            found[ask] = replace(found[ask], bore=bore, outside=outside)
    for ask, factor in measured.items():
        found[ask] = replace(found[ask], left=factor * found[ask].left, worn=factor * found[ask].worn)
    return found


def _factor(motors: Motors, place: str, corner: Corner) -> Array | None:
    """Measured over predicted depth under a set of assumptions, (n,); None where not measured. [-]"""
    known = depth_factor(motors, place)
    if known is None:
        return None
    factor, within = known
    side = corner.side if corner.what == "measured" else 0
    return np.maximum(factor * within**-side, LEAST_FACTOR)


def _at_burnout(at: Setting, history: Lined) -> Array:
    """Liner left at the end of the burn, (n,). [m]"""
    return np.asarray([np.interp(at.now.end[n], history.time[:, n], history.left[:, n]) for n in range(at.size)])


def _limits(at: Setting, wanted: Sequence[Wanted], thicker: Mapping[Wanted, Array]) -> dict[Wanted, Lined]:
    """The marches, each in the limit of the liner that its corner asks for; of liners so many times as thick."""
    hot = liner_of(at.motors)
    found: dict[Wanted, Lined] = {}
    for stripped in (True, False):
        some = [ask for ask in dict.fromkeys(wanted) if strips(hot, ask[1], ask[0]) is stripped]
        if not some:
            continue
        gas_side = {corner: films(at, corner) for corner in {corner for _, corner in some}}
        sleeves = _side_by_side([_times(sleeve(at, hot, ask[1]), thicker.get(ask)) for ask in some])
        exposure = Exposure(
            np.tile(at.now.time, (1, len(some))),
            np.concatenate([gas_side[corner][place][0] for place, corner in some], axis=1),
            np.concatenate([gas_side[corner][place][1] for place, corner in some], axis=1),
            np.tile(at.gas.temperature * np.ones(at.size), len(some)),
            np.tile(at.gas.specific_heat * np.ones(at.size), len(some)),
            np.concatenate([np.full(at.size, corner.of("blowing", BLOWING)) for _, corner in some]),
            _measured(at, [place for place, _ in some]),
        )
        if stripped or exposure.rate is not None:
            together = liners.strip_march(sleeves, exposure)
        else:
            chars = _side_by_side([char_of(at, hot, corner, place) for place, corner in some])
            together = liners.char_march(sleeves, chars, exposure)
        for number, ask in enumerate(some):
            part = slice(number * at.size, (number + 1) * at.size)
            found[ask] = Lined(*(getattr(together, item.name)[..., part] for item in fields(Lined)))
    return found


def _times(one: Sleeve, thicker: Array | None) -> Sleeve:
    return one if thicker is None else replace(one, thickness=one.thickness * thicker)


_Leaves = TypeVar("_Leaves", Sleeve, Char)


def _side_by_side(parts: Sequence[_Leaves]) -> _Leaves:
    kind = type(parts[0])
    return kind(*(np.concatenate([getattr(part, item.name) for part in parts]) for item in fields(kind)))


def _measured(at: Setting, places: Sequence[str]) -> Array | None:
    """The measured rate of recession while a place is exposed, (steps, places·n), None where none is given. [m/s]"""
    liner = at.motors.liner
    assert liner is not None
    rate, reference, exponent = liner.regression_rate, liner.regression_at, liner.regression_exponent
    if rate is None:
        if liner.material.regression_rate is None:
            return None
        rate = np.asarray(liner.material.regression_rate)
        reference = None if liner.material.regression_at is None else np.asarray(liner.material.regression_at)
    now = at.now.pressure
    power = 0.8 if exponent is None else exponent
    scale = np.where(now > 0.0, 1.0 if reference is None else (now / reference) ** power, 0.0)
    exposed = {"mid-grain wall": at.uncovered, "joint": np.broadcast_to(1.0 * at.jointed, now.shape)}
    return np.concatenate([rate * scale * exposed.get(place, np.ones_like(now)) for place in places], axis=1)


# --- gaps -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bare:
    """What a gap does: `width` in use [m], (n,); the ring, its wall, and the start temperature [K], (n,).

    `there` says which motors have a gap at this place.
    """

    there: NDArray[np.bool_]
    width: Array
    wall: Wall
    ring: Ring
    start: Array


def gap_widths(motors: Motors) -> dict[str, Array]:
    """Bare length of case at each of `GAP_PLACES` as the file gives it, 0 where none, (n,). [m]

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    dict[str, Array]
        By place [m], (n,); 0 where there is none.

    Notes
    -----
    A gap whose place is not known stands at all three.
    """
    liner = motors.liner
    none = np.zeros(motors.size)
    if liner is None:
        return dict.fromkeys(GAP_PLACES, none)
    anywhere = none if liner.gap is None else walls.per_motor(motors, liner.gap)
    own = {"forward end": liner.gap_forward, "joint": liner.gap_joint, "aft end": liner.gap_aft}
    widths = {place: np.maximum(anywhere, 0.0 if width is None else walls.per_motor(motors, width)) for place, width in own.items()}
    return widths | {"joint": np.where(_jointed(motors), widths["joint"], 0.0)}


def known_gaps(motors: Motors) -> dict[str, Array]:
    """The same of those gaps alone of which the file says where they lie, (n,). [m]

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    dict[str, Array]
        By place [m], (n,); empty without a liner.
    """
    liner = motors.liner
    own = {} if liner is None else {"forward end": liner.gap_forward, "joint": liner.gap_joint, "aft end": liner.gap_aft}
    widths = {place: np.zeros(motors.size) if width is None else walls.per_motor(motors, width) for place, width in own.items()}
    return widths | ({"joint": np.where(_jointed(motors), widths["joint"], 0.0)} if widths else {})


def _jointed(motors: Motors) -> NDArray[np.bool_]:
    return np.asarray(walls.grain_rows(motors)[0].sum(axis=1) > 1.0)


def case_wall(motors: Motors) -> Wall:
    """The tube's wall for a ring bare of liner.

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Wall
        The wall, (n,).

    Raises
    ------
    NotComputable
        Where its thermal numbers are not known.
    """
    if motors.case is None:
        raise NotComputable("[case] is not given")
    k, rho, c = walls.thermal(motors, motors.case.material, "case.material")
    start = walls.per_motor(motors, motors.ambient.temperature)
    outside = walls.outside_coefficient(
        walls.per_motor(motors, motors.case.outer_diameter), start, walls.per_motor(motors, motors.ambient.pressure)
    )
    return Wall(walls.per_motor(motors, motors.case.wall), k, rho * c, 0.5 * walls.per_motor(motors, motors.case.bore), outside)


def bare(at: Setting, place: str, width: Array, corner: Corner, held: bool) -> Bare:
    """March a gap of a width [m], (n,), at a place under one set of assumptions.

    Parameters
    ----------
    at : Setting
        The batch with its gas side.
    place : str
        One of `places.GAP_PLACES`.
    width : Array
        Of the gap as built [m], (n,).
    corner : Corner
        The set of assumptions.
    held : bool
        Whether the mean conditions of the burn are held on beyond its end, see `physics.heat.walls.conditions`.

    Returns
    -------
    Bare
        What the gap does.

    Notes
    -----
    Its sides, as deep as the liner is thick, keep some of the film away unless the corner says otherwise; they recede
    as the liner's face does, which widens it.
    """
    side = corner.side if corner.what == "gap" else 0
    film, glow = films(at, corner)[place]
    hot, liner = at.hot, at.motors.liner
    thickness = np.zeros(at.size) if liner is None else walls.per_motor(at.motors, liner.thickness)
    widened = np.zeros(at.size)
    if hot is not None and liner is not None and side >= 0 and (side > 0 or strips(hot, corner, place)):
        burning = at.now.time[1:] <= at.now.end * (1.0 + 1e-9)
        exposure = Exposure(at.now.time, film * burning, glow * burning, at.gas.temperature, at.gas.specific_heat)
        depth = liners.strip_depth(sleeve(at, hot, corner), exposure)
        widened = (2.0 if side > 0 else 1.0) * np.minimum(depth, thickness)
    used = np.maximum(width + widened, 1e-6)
    sides = 1.0 if side > 0 else np.minimum(gaps.floor_share(thickness, used), 1.0)
    steps, duration, after = ring_steps(at, held)
    start = walls.per_motor(at.motors, at.motors.ambient.temperature)
    wall = case_wall(at.motors)
    ring = rings.ring_march(
        wall,
        used,
        even(at, film * sides, duration, steps),
        at.gas.temperature * np.ones(at.size),
        start,
        np.maximum(duration, 1e-9),
        even(at, glow, duration, steps),
        after,
    )
    return Bare(width > 0.0, used, wall, ring, start)


def ring_steps(at: Setting, held: bool) -> tuple[int, Array, Array | None]:
    """Equal steps of a ring's march, how long they take together (n,) [s], and the seconds after it at which all is told.

    Parameters
    ----------
    at : Setting
        The batch with its gas side.
    held : bool
        Whether the mean conditions of the burn are held on beyond its end, see `physics.heat.walls.conditions`.

    Returns
    -------
    tuple[int, Array, Array or None]
        How many; how long together [s], (n,); seconds after the burn, None where it is held on.
    """
    steps = int(np.ceil(RING_STEPS * min(HELD if at.until is None else at.until, HELD))) if held else RING_STEPS
    return steps, at.now.end * (steps / RING_STEPS), None if held else soak.soak_instants(SOAK_STEPS)[:, None]


def even(at: Setting, column: Array, duration: Array, steps: int) -> Array:
    """What acts in each of equal steps, the mean over the step, (steps, n), in its own unit, SI.

    Parameters
    ----------
    at : Setting
        The batch with its gas side.
    column : Array
        What acts in each step of the burn, in its own unit, (steps of `at`, n).
    duration : Array
        What the equal steps take together [s], (n,).
    steps : int
        Equal steps of the burn.

    Returns
    -------
    Array
        In the same unit, (steps, n).
    """
    swept = np.concatenate([np.zeros((1, at.size)), np.cumsum(column * np.diff(at.now.time, axis=0), axis=0)])
    ends = np.linspace(0.0, 1.0, steps + 1)[:, None] * duration
    there = np.stack([np.interp(ends[:, n], at.now.time[:, n], swept[:, n]) for n in range(at.size)], axis=1)
    return np.asarray(np.diff(there, axis=0) / np.maximum(duration / steps, 1e-12))


# --- once for all rungs ------------------------------------------------------------------------------------------------


def kept(motors: Motors, situation: Situation, held: bool) -> Setting:
    """The setting of a situation, made once for all rungs that share it.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    held : bool
        Whether the mean conditions of the burn are held on beyond its end, see `physics.heat.walls.conditions`.

    Returns
    -------
    Setting
        The same object for all rungs of one situation.
    """
    name = f"heat held {held}"
    if name not in situation.kept:
        situation.kept[name] = setting(motors, situation, held)
    found: Setting = situation.kept[name]
    return found


def marched(motors: Motors, situation: Situation, held: bool, wanted: Sequence[Wanted]) -> dict[Wanted, Lined]:
    """Marches of a situation in SI, each made once for all rungs that share it.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    held : bool
        Whether the mean conditions of the burn are held on beyond its end, see `physics.heat.walls.conditions`.
    wanted : Sequence[Wanted]
        Places and sets of assumptions.

    Returns
    -------
    dict[Wanted, Lined]
        What liner and case do, SI.
    """
    done: dict[Wanted, Lined] = situation.kept.setdefault(f"lined held {held}", {})
    stands = {(place, corner): (place, as_asked(motors, place, corner)) for place, corner in wanted}
    missing = [ask for ask in dict.fromkeys(stands.values()) if ask not in done]
    if missing and motors.size == 1 and not held:
        # Notes, bands and the summary of a single motor ask for these in turn: side by side they cost hardly more than some.
        every = ((place, as_asked(motors, place, corner)) for corner in (LIKELY, *CORNERS) for place in places_of(motors))
        missing = [ask for ask in dict.fromkeys((*missing, *every)) if ask not in done]
    if missing:
        done.update(lined(kept(motors, situation, held), missing))
    return {ask: done[stands[ask]] for ask in wanted}


def gapped(motors: Motors, situation: Situation, held: bool, corner: Corner) -> dict[str, Bare]:
    """The gaps of a situation, marched once for all rungs that share it.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    held : bool
        Whether the mean conditions of the burn are held on beyond its end, see `physics.heat.walls.conditions`.
    corner : Corner
        The set of assumptions.

    Returns
    -------
    dict[str, Bare]
        By place of a gap.
    """
    done: dict[tuple[str, Corner], Bare] = situation.kept.setdefault(f"bare held {held}", {})
    corner = LIKELY if corner.what in ("leak", "measured") else corner
    found = {}
    for place, width in gap_widths(motors).items():
        if not np.any(width > 0.0) or place not in looked_at(situation):
            continue
        if (place, corner) not in done:
            done[place, corner] = bare(kept(motors, situation, held), place, width, corner, held)
        found[place] = done[place, corner]
    return found


def lines_case(motors: Motors) -> bool:
    """Whether any motor of the batch has a liner.

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    bool
        Whether.
    """
    return motors.liner is not None and bool(np.any(walls.per_motor(motors, motors.liner.thickness) > 0.0))


def looked_at(situation: Situation) -> tuple[str, ...]:
    """The places that a situation asks about.

    Parameters
    ----------
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    tuple[str, ...]
        Of `places.PLACES`.
    """
    return PLACES if situation.places is None else situation.places


def worst(values: Mapping[str, Array], situation: Situation) -> Array:
    """The lowest of the values, one a place or a way, (n,), in their unit [s or Pa]; NaN where nothing burns.

    Parameters
    ----------
    values : Mapping[str, Array]
        By place, or by way of the heat, (n,) each.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Array
        (n,), in their unit [s or Pa].
    """
    return np.where(walls.burns(situation), np.min(list(values.values()), axis=0), np.nan)


def first_of(values: Mapping[str, Array]) -> str:
    """Which of the values of a single motor, one a place or a way, is the lowest.

    Parameters
    ----------
    values : Mapping[str, Array]
        By place, or by way of the heat, (n,) each.

    Returns
    -------
    str
        Its name.
    """
    return min(values, key=lambda place: float(values[place][0]))


# --- texts --------------------------------------------------------------------------------------------------------------

GAS_SIDE = (
    "films by Dittus-Boelter (ports), a slot's floor (joint), a sudden enlargement (aft end), radiation at an assumed "
    f"emissivity of {walls.GAS_EMISSIVITY:g}"
)


def seconds(time: float) -> str:
    """A time [s] as a note says it.

    Parameters
    ----------
    time : float
        [s].

    Returns
    -------
    str
        For a person.
    """
    return f"not within {HELD:g} burns" if np.isinf(time) else f"{time:.2g} s"


def celsius(kelvin: float) -> str:
    """A temperature [K] as a note says it.

    Parameters
    ----------
    kelvin : float
        [K].

    Returns
    -------
    str
        For a person.
    """
    celsius = float(kelvin) - 273.15
    return f"{celsius:.0f} °C ({1.8 * celsius + 32.0:.0f} °F)"
