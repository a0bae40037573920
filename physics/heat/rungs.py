"""What heat does to liner, case and seals of a batch: every place, both limits of the liner, low, likely and high.

Owns what is assumed at each place and how far that may be off, the marches of a batch, and the rungs `liner burn-through`,
`case softening`, `case yield hot` and `seal overheating`. The gas side stands in `physics.heat.walls`, `gaps` and
`gas_side`, the walls in `liner` and `ring`.

Places. A grain protects the wall behind it until its web is gone (`mid-grain wall`). The `joint` between two grains, the
`forward end` and the `aft end` are bare of grain from ignition. Gas side: `forward end`, what the first face gives off
and natural convection; `joint`, the floor of a slot that opens as its faces burn back; `aft end`, the wall behind a sudden
enlargement; `mid-grain wall`, pipe flow. Radiation everywhere. Where a gap leaves the case bare of liner, a ring of the
stated width is marched with heat running along the tube.

Two limits of the liner: `stripped`, whatever decomposes is carried off; `stays`, all char stays. Likely is a judgement:
all of it stays at the forward end and behind the grains, where little flows; elsewhere what the material holds in flow.

Held exposure. A wall that outlasts the burn by a hair and one that outlasts it tenfold must not look alike. The times of
liner and case therefore hold the mean conditions of the burn beyond its end, up to `HELD` times the action time: the time
they give is the one this wall would last if the burn went on. Outside temperatures and seals follow the real soak.

Low and high vary one assumption at a time (`CORNERS`), and add up as independent ones do. Not modelled: jets of hot gas,
particles, the igniter, smouldering after the burn, the nozzle's own heat in the tube, properties that change with
temperature. No measured liner of a small motor was found to test any of it against.

Sources: beside the models; what is assumed is said here and is judgement. Imports physics.assembly, case, conduction,
grain, heat, the other heat files, materials, modes and motors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import erfc

from physics.assembly import assemble
from physics.constants import GAS_CONSTANT
from physics.heat import gaps, gas_side, soak, walls
from physics.heat import leak as leaks
from physics.heat import liner as liners
from physics.heat import ring as rings
from physics.heat.conduction import first_crossing
from physics.heat.liner import Char, Exposure, Lined, Sleeve
from physics.heat.properties import CHAR_SPECIFIC_HEAT, Band, HotLiner, front_heat, hot_liner
from physics.heat.ring import Ring, Wall
from physics.heat.walls import BURN_STEPS, HELD, SOAK_STEPS, Gas, Slab
from physics.materials import Material
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

PLACES = ("forward end", "joint", "aft end", "mid-grain wall")
GAP_PLACES = PLACES[:3]

JOINT_ROOM = 0.5e-3
"""Width of a joint at ignition: an assumption; grains lie one against the other. [m]"""

CONTACT = Band(100.0, 336.0, 1e4, "0.1 mm of still air behind a slip fit; pressed home or bonded: high", "judgement")
"""Conductance between liner and case. [W/(m2 K)]"""

STILL_AIR = 0.0336
"""Conductivity of air at 400 K; Incropera Table A.4 (remembered). [W/(m K)]"""

ROOM_BEHIND = 0.1e-3
"""Room between liner and case where the file does not say: an assumption. [m]"""

EMISSIVITY = Band(0.2, walls.GAS_EMISSIVITY, 0.9, "clear gas to a dense cloud of particles", "judgement")
"""Effective emissivity of the gas over the chamber."""

BLOWING = Band(0.2, liners.BLOWING, 0.5, "blowing exponents of films", "remembered")

FILM = {"forward end": (0.6, 1.0, 1.6), "joint": (1.0 / 3.0, 1.0, 3.0), "mid-grain wall": (0.75, 1.0, 1.25)}
"""Film over the likely one, low and high: pipe flow scatters by a quarter, what flows forward is judgement. The aft end
has relations of its own for low and high."""

_RING_STEPS = 16  # of the burn; the burn held on has as many more in each of its lengths


@dataclass(frozen=True)
class Corner:
    """One set of assumptions: all likely but what is named; `limit` is "likely", "stripped" or "stays".

    `side` is −1, 0 or 1: which end of its band the number named `what` takes.
    """

    what: str = ""
    side: int = 0
    limit: str = "likely"

    def of(self, what: str, band: Band) -> float:
        """The number that this corner takes of a band."""
        if what != self.what:
            return band.likely
        return band.low if self.side < 0 else band.high


LIKELY, STRIPPED, STAYS = Corner(), Corner(limit="stripped"), Corner(limit="stays")

CORNERS: tuple[Corner, ...] = (
    STRIPPED,
    STAYS,
    *(
        Corner(what, side)
        for what in ("film", "emissivity", "heat", "front", "conductivity", "blowing", "contact")
        for side in (-1, 1)
    ),
)
"""What is varied for low and high, one at a time."""


# --- the liner's numbers --------------------------------------------------------------------------------------------


def liner_of(motors: Motors) -> HotLiner:
    """The hot numbers of the batch's liner material.

    Where the table has none, the material's own `char_temperature` makes do, with wide bands. Raises NotComputable naming
    what is missing.
    """
    if motors.liner is None:
        raise NotComputable('[liner] is not given (a bare case is a [liner] of thickness = "0 mm")')
    material = motors.liner.material
    for name in ("density", "conductivity", "specific_heat"):
        walls.number(material, name, "liner.material")
    if material.char_temperature is None and material.regression_rate is None and motors.liner.regression_rate is None:
        raise NotComputable(f"liner.material {material.name!r} has neither char_temperature nor regression_rate")
    return hot_liner(material) or _unlisted(material)


_SURFACE = 700.0
"""Temperature of a surface that wears at a measured rate and of which nothing else is known: judgement. [K]"""


def _unlisted(material: Material) -> HotLiner:
    """A material that the table does not have: its own numbers, with bands as wide as the table's widest."""

    def own(name: str, low: float, high: float) -> Band:
        value = getattr(material, name)
        if value is None and name == "char_temperature":
            if material.regression_rate is None:
                raise NotComputable(f"liner.material {material.name!r} has neither char_temperature nor regression_rate")
            value = _SURFACE
        if value is None:
            raise NotComputable(f"liner.material {material.name!r} has no {name}")
        return Band(low * value, float(value), high * value, "as given by the user, band assumed", "judgement")

    def as_others(low: float, likely: float, high: float) -> Band:
        return Band(low, likely, high, "as other liners", "judgement")

    return HotLiner(
        name=material.name,
        density=own("density", 0.95, 1.05),
        conductivity=own("conductivity", 0.8, 1.25),
        specific_heat=own("specific_heat", 0.9, 1.2),
        front=own("char_temperature", 0.95, 1.2),
        onset=own("char_temperature", 0.95, 1.1),
        heat=as_others(0.8e6, 1.2e6, 2.5e6),
        char_share=as_others(0.1, 0.3, 0.5),
        char_conductivity=as_others(0.1, 0.3, 1.0),
        char_depth=as_others(0.0, 0.2e-3, 0.5e-3),
    )


# --- the gas side ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Setting:
    """A batch with the conditions of its burn over a grid of steps, and what geometry and gas make of them.

    Films [W/(m2 K)] and diameters [m] are (steps, n): `forward`, `port` (narrowest, what flows past the last joint), `own`
    (gas of the joint's faces), `bartz` (at the last port), `pipe` (all flow in the chamber's bore), `enlarged`. `share` is
    what the joint's floor sees, `joint_width` the slot's width, `uncovered` the part of a step for which the wall behind
    the grains is bare; `jointed` whether there is a joint (n,).
    """

    motors: Motors
    now: walls.Conditions
    gas: Gas
    hot: HotLiner | None
    forward: Array
    port: Array
    own: Array
    bartz: Array
    pipe: Array
    enlarged: Array
    share: Array
    joint_width: Array
    grain_diameter: Array
    uncovered: Array
    jointed: NDArray[np.bool_]
    fluxes: Mapping[str, Array]
    until: float | None = None

    @property
    def size(self) -> int:
        """Number of motors."""
        return self.motors.size


def setting(motors: Motors, situation: Situation, held: bool) -> Setting:
    """The gas side of a batch; `held` as for `physics.heat.walls.conditions`.

    Raises NotComputable naming what is missing.
    """
    now = walls.conditions(motors, situation, held)
    gas = walls.combustion_gas(motors.propellant)
    count, _, outer, core, ends = walls.grain_rows(motors)
    bore = walls.chamber_bore(motors)
    port = np.where(core > 0.0, np.minimum(core + 2.0 * now.regression[:, :, None], outer), bore[:, None])
    port = np.where(count > 0.0, port, np.inf)
    narrowest = port.min(axis=2)
    last = (count.shape[1] - 1 - np.argmax(count[:, ::-1] > 0.0, axis=1))[None, :, None]
    aft = np.take_along_axis(port, np.broadcast_to(last, (*now.regression.shape, 1)), axis=2)[:, :, 0]
    total = count.sum(axis=1)
    area = 0.25 * np.pi * narrowest**2
    head_flow = walls.forward_share(motors) * now.mass_flow
    upstream = now.mass_flow * (total - 1.0) / np.maximum(total, 1.0)
    still = walls.still_gas_coefficient(gas, now.pressure, walls.per_motor(motors, motors.ambient.temperature))
    forced = walls.port_coefficient(gas, head_flow / area, narrowest)
    pipe_flux = now.mass_flow / (0.25 * np.pi * bore**2)
    pipe = walls.port_coefficient(gas, pipe_flux, bore)
    throat = motors.nozzle.throat_diameter
    # The radius of curvature is not in the file: one throat diameter; half or double of it makes 7 %.
    bartz = walls.bartz_coefficient(
        throat,
        throat,
        gas.viscosity,
        gas.specific_heat,
        gas.prandtl,
        now.pressure,
        motors.propellant.characteristic_velocity,
        (throat / aft) ** 2,
    )
    wide = np.where(count > 0.0, outer, 0.0).max(axis=1)
    thin = np.where((count > 0.0) & (core > 0.0), core, np.inf).min(axis=1)
    faces = np.where(count > 0.0, np.minimum(ends, 2.0), 0.0).max(axis=1)
    depth, width = gaps.slot_size(np.asarray(JOINT_ROOM), now.regression, wide, np.where(np.isfinite(thin), thin, wide), faces)
    rate = _rate(now) * (faces > 0.0)
    own = gaps.own_gas_coefficient(motors.propellant.density, rate, width, gas.viscosity, gas.conductivity, gas.prandtl)
    return Setting(
        motors=motors,
        now=now,
        gas=gas,
        hot=None if motors.liner is None else hot_liner_or_none(motors),
        forward=np.cbrt(forced**3 + still**3),
        port=walls.port_coefficient(gas, upstream / area, narrowest),
        own=own,
        bartz=bartz,
        pipe=pipe,
        enlarged=gas_side.enlarged_coefficient(
            now.mass_flow, np.minimum(aft, bore), bore, _aft_reach(motors, now), gas.viscosity, gas.conductivity, pipe
        ),
        share=np.minimum(gaps.floor_share(depth, width), 1.0),
        joint_width=width,
        grain_diameter=wide,
        uncovered=np.clip(
            (now.time[1:] - walls.exposed_from(motors, now)) / np.maximum(np.diff(now.time, axis=0), 1e-12), 0.0, 1.0
        ),
        jointed=total > 1.0,
        fluxes={"forward end": head_flow / area, "joint": upstream / area, "aft end": pipe_flux, "mid-grain wall": pipe_flux},
        until=situation.until,
    )


def hot_liner_or_none(motors: Motors) -> HotLiner | None:
    """As `liner_of`, None where something is missing."""
    try:
        return liner_of(motors)
    except NotComputable:
        return None


def _rate(now: walls.Conditions) -> Array:
    """Burning rate in each step, from how far the surfaces have come in the middle of the steps. [m/s]"""
    middle = 0.5 * (now.time[1:] + now.time[:-1])
    if len(middle) < 2:
        return np.zeros_like(now.regression)
    return np.asarray(np.maximum(np.gradient(now.regression, axis=0), 0.0) / np.maximum(np.gradient(middle, axis=0), 1e-12))


def _aft_reach(motors: Motors, now: walls.Conditions) -> Array:
    """Distance from the last grain to the end of the bare wall before the nozzle, (steps, n). [m]"""
    place = assemble(motors)
    room = np.maximum(place.nozzle_face - place.grains_end, 0.0)
    return np.asarray(room + walls.last_face_bare(motors) * now.regression)


def films(at: Setting, corner: Corner) -> dict[str, tuple[Array, Array]]:
    """Film [W/(m2 K)] and emissivity at each place in each step under one set of assumptions, (steps, n) each."""
    glow = corner.of("emissivity", EMISSIVITY)
    present = at.now.pressure > 0.0
    radiant = np.where(present, glow, 0.0)

    def factor(place: str) -> float:
        return FILM[place][1 + (corner.side if corner.what == "film" else 0)]

    side = corner.side if corner.what == "film" else 0
    share = np.minimum(at.share * factor("joint"), 1.0)
    own = at.own * gaps.OWN_SPEED[1 + side] ** 0.5
    in_slot = np.where(present, gaps.slot_emissivity(glow, at.joint_width, at.grain_diameter), 0.0)
    aft = {-1: 0.5 * at.pipe, 0: at.enlarged, 1: at.bartz * _wall_factor(at)}[side]
    return {
        "forward end": (factor("forward end") * at.forward, radiant),
        "joint": (at.jointed * np.maximum(share * at.port, own), at.jointed * in_slot),
        "aft end": (aft, radiant),
        "mid-grain wall": (at.uncovered * factor("mid-grain wall") * at.pipe, at.uncovered * radiant),
    }


def _wall_factor(at: Setting) -> Array:
    """Property correction of the relation of Bartz for a wall at the liner's front, (½ Tw/Tg + ½)^−0.68. [-]"""
    front = 700.0 if at.hot is None else at.hot.front.likely
    return np.asarray((0.5 * front / at.gas.temperature + 0.5) ** -0.68)


# --- the marches ----------------------------------------------------------------------------------------------------


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

    Raises NotComputable where the case's thermal numbers are not known.
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


def _char(at: Setting, hot: HotLiner, corner: Corner, place: str) -> Char:
    front, _, _ = _front(at, hot, corner)
    half = hot.front.likely - hot.front.low
    deepest = np.inf if corner.limit == "stays" or place in _STILL else hot.char_depth.likely
    return Char(
        np.full(at.size, hot.char_conductivity.likely),
        np.full(at.size, hot.char_share.likely * hot.density.likely),
        np.full(at.size, CHAR_SPECIFIC_HEAT),
        front - half,
        front + half,
        np.full(at.size, deepest),
    )


_STILL = ("forward end", "mid-grain wall")
"""Where little flows, and char stays whatever it is made of: judgement."""


def _strips(hot: HotLiner, corner: Corner, place: str) -> bool:
    """Whether a corner's limit at a place is that everything is carried off."""
    if corner.limit == "likely":
        return place not in _STILL and hot.char_depth.likely <= 0.0
    return corner.limit == "stripped"


Wanted = tuple[str, Corner]
"""A place and a set of assumptions."""


def lined(at: Setting, wanted: Sequence[Wanted]) -> dict[Wanted, Lined]:
    """March liner and case at places under sets of assumptions, all side by side."""
    hot = liner_of(at.motors)
    found: dict[Wanted, Lined] = {}
    for strips in (True, False):
        some = [ask for ask in dict.fromkeys(wanted) if _strips(hot, ask[1], ask[0]) is strips]
        if not some:
            continue
        gas_side = {corner: films(at, corner) for corner in {corner for _, corner in some}}
        sleeves = _side_by_side([sleeve(at, hot, corner) for _, corner in some])
        exposure = Exposure(
            np.tile(at.now.time, (1, len(some))),
            np.concatenate([gas_side[corner][place][0] for place, corner in some], axis=1),
            np.concatenate([gas_side[corner][place][1] for place, corner in some], axis=1),
            np.tile(at.gas.temperature * np.ones(at.size), len(some)),
            np.tile(at.gas.specific_heat * np.ones(at.size), len(some)),
            np.concatenate([np.full(at.size, corner.of("blowing", BLOWING)) for _, corner in some]),
            _measured(at, [place for place, _ in some]),
        )
        if strips or exposure.rate is not None:
            together = liners.strip_march(sleeves, exposure)
        else:
            chars = _side_by_side([_char(at, hot, corner, place) for place, corner in some])
            together = liners.char_march(sleeves, chars, exposure)
        for number, ask in enumerate(some):
            part = slice(number * at.size, (number + 1) * at.size)
            found[ask] = Lined(*(getattr(together, item.name)[..., part] for item in fields(Lined)))
    return found


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

    A gap whose place is not known stands at all three.
    """
    liner = motors.liner
    none = np.zeros(motors.size)
    if liner is None:
        return dict.fromkeys(GAP_PLACES, none)
    anywhere = none if liner.gap is None else walls.per_motor(motors, liner.gap)
    own = {"forward end": liner.gap_forward, "joint": liner.gap_joint, "aft end": liner.gap_aft}
    widths = {place: np.maximum(anywhere, 0.0 if width is None else walls.per_motor(motors, width)) for place, width in own.items()}
    jointed = walls.grain_rows(motors)[0].sum(axis=1) > 1.0
    return widths | {"joint": np.where(jointed, widths["joint"], 0.0)}


def case_wall(motors: Motors) -> Wall:
    """The tube's wall for a ring bare of liner. Raises NotComputable where its thermal numbers are not known."""
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

    Its sides, as deep as the liner is thick, keep some of the film away unless the corner says otherwise; they recede as
    the liner's face does, which widens it.
    """
    side = corner.side if corner.what == "gap" else 0
    film, glow = films(at, corner)[place]
    hot, liner = at.hot, at.motors.liner
    thickness = np.zeros(at.size) if liner is None else walls.per_motor(at.motors, liner.thickness)
    widened = np.zeros(at.size)
    if hot is not None and liner is not None and side >= 0 and (side > 0 or _strips(hot, corner, place)):
        burning = at.now.time[1:] <= at.now.end * (1.0 + 1e-9)
        exposure = Exposure(at.now.time, film * burning, glow * burning, at.gas.temperature, at.gas.specific_heat)
        depth = liners.strip_depth(sleeve(at, hot, corner), exposure)
        widened = (2.0 if side > 0 else 1.0) * np.minimum(depth, thickness)
    used = np.maximum(width + widened, 1e-6)
    sides = 1.0 if side > 0 else np.minimum(gaps.floor_share(thickness, used), 1.0)
    steps = int(np.ceil(_RING_STEPS * min(HELD if at.until is None else at.until, HELD))) if held else _RING_STEPS
    lengths = steps / _RING_STEPS
    duration = at.now.end * lengths
    start = walls.per_motor(at.motors, at.motors.ambient.temperature)
    wall = case_wall(at.motors)
    after = None if held else soak.soak_instants(SOAK_STEPS)[:, None]
    ring = rings.ring_march(
        wall,
        used,
        _even(at, film * sides, duration, steps),
        at.gas.temperature * np.ones(at.size),
        start,
        np.maximum(duration, 1e-9),
        _even(at, glow, duration, steps),
        after,
    )
    return Bare(width > 0.0, used, wall, ring, start)


def _even(at: Setting, column: Array, duration: Array, steps: int) -> Array:
    """What acts in each of equal steps, the mean over the step, (steps, n)."""
    swept = np.concatenate([np.zeros((1, at.size)), np.cumsum(column * np.diff(at.now.time, axis=0), axis=0)])
    ends = np.linspace(0.0, 1.0, steps + 1)[:, None] * duration
    there = np.stack([np.interp(ends[:, n], at.now.time[:, n], swept[:, n]) for n in range(at.size)], axis=1)
    return np.asarray(np.diff(there, axis=0) / np.maximum(duration / steps, 1e-12))


# --- rungs ----------------------------------------------------------------------------------------------------------


def _kept(motors: Motors, situation: Situation, held: bool) -> Setting:
    """The setting of a situation, made once for all rungs that share it."""
    name = f"heat held {held}"
    if name not in situation.kept:
        situation.kept[name] = setting(motors, situation, held)
    found: Setting = situation.kept[name]
    return found


def _marched(motors: Motors, situation: Situation, held: bool, wanted: Sequence[Wanted]) -> dict[Wanted, Lined]:
    """Marches of a situation, each made once for all rungs that share it."""
    done: dict[Wanted, Lined] = situation.kept.setdefault(f"lined held {held}", {})
    missing = [ask for ask in wanted if ask not in done]
    if missing:
        done.update(lined(_kept(motors, situation, held), missing))
    return {ask: done[ask] for ask in wanted}


def _gapped(motors: Motors, situation: Situation, held: bool, corner: Corner) -> dict[str, Bare]:
    """The gaps of a situation, marched once for all rungs that share it."""
    done: dict[tuple[str, Corner], Bare] = situation.kept.setdefault(f"bare held {held}", {})
    found = {}
    for place, width in gap_widths(motors).items():
        if not np.any(width > 0.0):
            continue
        if (place, corner) not in done:
            done[place, corner] = bare(_kept(motors, situation, held), place, width, corner, held)
        found[place] = done[place, corner]
    return found


def _lines_case(motors: Motors) -> bool:
    return motors.liner is not None and bool(np.any(walls.per_motor(motors, motors.liner.thickness) > 0.0))


def burn_through_by_place(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """When the liner is through at each place under one set of assumptions [s], (n,); inf where it holds.

    Through is worn away, or charred down to its back. Raises NotComputable naming what is missing.
    """
    if motors.liner is None:
        raise NotComputable('[liner] is not given (a bare case is a [liner] of thickness = "0 mm")')
    if not _lines_case(motors):
        raise NotComputable("liner.thickness is 0, there is no liner; see case softening")
    found = _marched(motors, situation, True, [(place, corner) for place in PLACES])
    there = walls.per_motor(motors, motors.liner.thickness) > 0.0
    return {place: np.where(there, found[place, corner].through, np.inf) for place in PLACES}


def liner_burn_through(motors: Motors, situation: Situation) -> Array:
    """Time at which the liner is likely gone or charred through at its worst place, (n,), inf where never. [s]

    See the module for the places, the two limits and what is left out. Raises NotComputable naming what is missing.
    """
    return _worst(burn_through_by_place(motors, situation), situation)


def _bores(motors: Motors, situation: Situation, held: bool, corner: Corner) -> dict[str, tuple[Array, Array, Array]]:
    """Per place: instants [s], the bore's hottest temperature [K] and that which carries [K], (instants, n) each.

    Places under the liner, and the gaps, named "gap at …".
    """
    found = {}
    for (place, _), history in _marched(motors, situation, held, [(place, corner) for place in PLACES]).items():
        found[place] = (history.time, history.bore, history.bore)
    for place, gap in _gapped(motors, situation, held, corner).items():
        top, mean = (gap.start + np.where(gap.there, rise, 0.0) for rise in (gap.ring.bore, gap.ring.carrying))
        found[f"gap at the {place}"] = (gap.ring.time, top, mean)
    return found


def case_softening_by_place(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """When the case no longer carries the maximum expected pressure at each place, or melts at its bore, (n,). [s]

    Raises NotComputable naming what is missing.
    """
    needed = walls.needed_pressure(motors, situation)
    melting = None if motors.case is None else motors.case.material.melting_temperature
    found = {}
    for place, (time, top, mean) in _bores(motors, situation, True, corner).items():
        when = first_crossing(time, needed - walls.yield_pressure_at(motors, mean), 0.0)
        if melting is not None:
            when = np.minimum(when, first_crossing(time, top, float(melting)))
        found[place] = when
    return found


def case_softening(motors: Motors, situation: Situation) -> Array:
    """Time at which the case has likely softened too far at its worst place, (n,), inf where never. [s]

    Criterion: the yield pressure at the temperature of the bore, at a gap that of the length which carries as one, falls
    below the maximum expected pressure; or the bore melts. Raises NotComputable naming what is missing.
    """
    return _worst(case_softening_by_place(motors, situation), situation)


def case_yield_hot_by_place(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """Peak head pressure at which the case yields at each place, as hot as it gets while the pressure lasts, (n,). [Pa]

    At every moment the yield pressure of the warm case is set against the pressure at that moment; the moment that leaves
    least is scaled to the peak. Raises NotComputable naming what is missing.
    """
    at = _kept(motors, situation, True)
    acting = at.now.pressure[:BURN_STEPS]
    scale = np.where(acting > 0.0, acting.max(axis=0) / np.where(acting > 0.0, acting, 1.0), np.inf)
    ends = at.now.time[1 : BURN_STEPS + 1]
    found = {}
    for place, (time, _, mean) in _bores(motors, situation, True, corner).items():
        so_far = np.maximum.accumulate(mean, axis=0)
        hottest = np.stack([np.interp(ends[:, n], time[:, n], so_far[:, n]) for n in range(motors.size)], axis=1)
        hot = walls.yield_pressure_at(motors, hottest)
        found[place] = np.where(np.isinf(scale), np.inf, hot * np.where(np.isinf(scale), 1.0, scale)).min(axis=0)
    return found


def case_yield_hot(motors: Motors, situation: Situation) -> Array:
    """Peak head pressure at which the warm case likely yields at its worst place, (n,). [Pa]

    See `case_yield_hot_by_place`.
    """
    return _worst(case_yield_hot_by_place(motors, situation), situation)


def _worst(values: Mapping[str, Array], situation: Situation) -> Array:
    return np.where(walls.burns(situation), np.min(list(values.values()), axis=0), np.nan)


# --- seals ----------------------------------------------------------------------------------------------------------

GLAND_AWAY = 5e-3
"""Distance from the hot zone to the gland where the file does not tell it: an assumption. [m]"""


def seat_history(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, tuple[Array, Array]]:
    """Temperature of the seal's seat by the way that heat takes to it: instants [s] and [K], (instants, n) each.

    `along the tube`: from the wall under the liner and from a gap at that end. `through the carrier`: through the part
    that carries the ring, from the gas on its bare face; a disc that covers it is not in the file. Neither has a film of
    its own at the gland, and no gas reaches a dead end of a twentieth of a millimetre unless it leaks. Raises NotComputable
    naming what is missing.
    """
    end = situation.end
    place = f"{end} end"
    away = _gland_away(motors, end)
    wall = case_wall(motors)
    history = _marched(motors, situation, False, [(place, corner)])[place, corner]
    reach = 2.0 * np.sqrt(wall.diffusivity * np.maximum(history.time, 1e-9))
    start = walls.per_motor(motors, motors.ambient.temperature)
    rise = 0.5 * erfc(away / reach) * np.maximum.accumulate(history.bore - start, axis=0)
    gap = _gapped(motors, situation, False, corner).get(place)
    if gap is not None:
        beside = np.where(gap.there, rings.beside_ring(gap.wall, gap.width, gap.ring, away), 0.0)
        rise = rise + np.stack(
            [np.interp(history.time[:, n], gap.ring.time[:, n], beside[:, n]) for n in range(motors.size)], axis=1
        )
    ways = {"along the tube": (history.time, start + rise)}
    carrier = _carried(motors, situation, corner)
    return ways if carrier is None else ways | {"through the carrier": (history.time, carrier)}


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
        wanted = (LIKELY,) if key is LIKELY else tuple(one for one in _FACE_CORNERS if one not in found)
        marched = _carriers(_kept(motors, situation, False), end, wanted)
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
    room = _aft_reach(motors, at.now) if end == "aft" else JOINT_ROOM + at.now.regression
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
    """When the ring reaches its limit by each way of the heat, (n,), inf where it does not. [s]"""
    limit = seal_limit(motors, situation.end)
    lag = ring_lag(motors, situation.end)
    return {
        way: first_crossing(time, _lagging(time, seat, lag), limit)
        for way, (time, seat) in seat_history(motors, situation, corner).items()
    }


def ring_lag(motors: Motors, end: str) -> Array:
    """How far the mean of a ring's section lags behind its seat, d²/(4·5.783·a), (n,); 0 without its thermal numbers. [s]

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
    """The ring's temperature limit at an end. [K] Raises NotComputable naming what is missing."""
    part = f"{end}_closure"
    closure = motors.forward_closure if end == "forward" else motors.aft_closure
    if closure is None or closure.seal is None:
        raise NotComputable(f"[{part}.seal] is not given")
    if closure.seal.material is None:
        raise NotComputable(f"{part}.seal.material is not given")
    return walls.number(closure.seal.material, "limit_temperature", f"{part}.seal.material")


def seal_overheating(motors: Motors, situation: Situation) -> Array:
    """Time at which the seal's ring likely reaches its limit, (n,), inf where never. [s]

    Followed through the burn and the soak after it. A time after the burn costs the ring, not the firing. Raises
    NotComputable naming what is missing.
    """
    return _worst(seal_overheating_by_way(motors, situation), situation)


# --- low, likely, high ----------------------------------------------------------------------------------------------

_FURTHEST = np.log(20.0)
"""How far one assumption may take a rung: beyond it a corner has failed outright, and tells no more of the scatter."""

_BY_PLACE = {
    "liner burn-through": burn_through_by_place,
    "case softening": case_softening_by_place,
    "case yield hot": case_yield_hot_by_place,
    "seal overheating": seal_overheating_by_way,
}


def band(mode: str, motors: Motors, situation: Situation) -> tuple[Array, Array, Array]:
    """Low, likely and high of a heat rung at its worst place, (n,) each; [s], `case yield hot` [Pa].

    Each corner is the whole rung with one assumption at the end of its band. What they do to the logarithm adds up as
    independent errors do; where the likely value is never, low is the least corner. Infinite corners make the high end
    infinite.
    """
    by_place = _BY_PLACE[mode]
    gapped = any(np.any(width > 0.0) for width in gap_widths(motors).values())
    matter = ("", "film", "emissivity", "contact") if mode == "seal overheating" else tuple({one.what for one in CORNERS})
    corners = [one for one in CORNERS if one.what in matter]
    if gapped and mode != "liner burn-through":
        corners += [Corner("gap", -1), Corner("gap", 1)]
    held = mode != "seal overheating"
    ends = (f"{situation.end} end",) if mode == "seal overheating" else PLACES
    _marched(motors, situation, held, [(place, corner) for corner in (LIKELY, *corners) for place in ends])
    likely = _worst(by_place(motors, situation, LIKELY), situation)
    down, up = np.zeros(motors.size), np.zeros(motors.size)
    least, most = likely.copy(), likely.copy()
    limit_down, limit_up = np.zeros(motors.size), np.zeros(motors.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        for corner in corners:
            value = _worst(by_place(motors, situation, corner), situation)
            least, most = np.fmin(least, value), np.fmax(most, value)
            apart = np.clip(np.log(np.maximum(value, 1e-9) / np.maximum(likely, 1e-9)), -_FURTHEST, _FURTHEST)
            apart = np.where(np.isnan(apart), 0.0, apart)
            lower, higher = np.where(apart < 0.0, apart, 0.0), np.where(apart > 0.0, apart, 0.0)
            if not corner.what:  # the two limits are one question
                limit_down, limit_up = np.minimum(limit_down, lower), np.maximum(limit_up, higher)
            else:
                down, up = down + lower**2, up + higher**2
        fell, rose = (np.minimum(np.sqrt(part), _FURTHEST) for part in (down + limit_down**2, up + limit_up**2))
        low = np.where(np.isfinite(likely), likely * np.exp(-fell), least)
        high = np.where(np.isfinite(most) & np.isfinite(likely), likely * np.exp(rose), np.inf)
    if mode == "case yield hot":
        high = np.minimum(high, most)  # no stronger than cold
    return low, likely, high


def heat_certainty(mode: str, motors: Motors, situation: Situation) -> tuple[Array, Array, float, str]:
    """Low and high [s or Pa], (n,), the scatter of the logarithm, and the weakest status of all the rung uses.

    The scatter is ln(high/low)/3.3 where both are finite, ln(likely/low)/1.645 where only low is; else `UNKNOWN_SCATTER`.
    One number stands for a batch: that of its first motor.
    """
    low, likely, high = band(mode, motors, situation)
    first = [float(np.ravel(value)[0]) for value in (low, likely, high)] if motors.size else [np.nan] * 3
    scatter = UNKNOWN_SCATTER
    if first[0] > 0.0 and np.isfinite(first[2]):
        scatter = float(np.log(first[2] / first[0]) / 3.3)
    elif first[0] > 0.0 and np.isfinite(first[1]):
        scatter = float(np.log(first[1] / first[0]) / 1.645)
    return low, high, scatter, "judgement"


UNKNOWN_SCATTER = 0.4
"""Scatter of the logarithm of a time that has no band: judgement. [-]"""


# --- what a builder is told -----------------------------------------------------------------------------------------


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


@dataclass(frozen=True)
class GasPath:
    """A way for gas behind the liner of a single motor, SI.

    From `start` to `end`; `flow` [kg/s] under the highest pressure of the burn, `power` [W] that it brings, `reach` [m] in
    which it gives up all but a third of its heat, `hot_after` [s] until the bore at its entry passes `LASTING_LOSS`, inf
    where it does not in the burn; `room` behind the liner [m], `assumed` where the file does not give it.
    """

    start: str
    end: str
    flow: float
    power: float
    reach: float
    hot_after: float
    room: float
    assumed: bool


@dataclass(frozen=True)
class Told:
    """What heat does to one motor, in SI: outsides, liner left (low, likely, high) and the widest gap [m] by place.

    `gas_paths` are the ways for gas behind the liner. `missing` says why a part of it is empty.
    """

    outside: tuple[Outside, ...]
    liner_left: tuple[tuple[str, float, float, float], ...]
    widest_gap: tuple[tuple[str, float], ...]
    gas_paths: tuple[GasPath, ...]
    missing: tuple[str, ...]


LASTING_LOSS = 200.0 + 273.15
"""Above this a tempered aluminium tube keeps less than 95 % of its yield strength after half an hour (MIL-HDBK-5J
Fig 3.6.2.2.1(d), 6061-T6 at 204 °C, read at second hand). [K]"""


def places_of(motors: Motors) -> tuple[str, ...]:
    """The places that a single motor has."""
    joint = float(walls.grain_rows(motors)[0].sum(axis=1)[0]) > 1.0
    return tuple(place for place in PLACES if joint or place != "joint")


def told(motors: Motors, situation: Situation) -> Told:
    """What heat does to a single motor: the outside after the burn, the liner that is left, and the gap the tube forgives.

    Raises NotComputable where there is nothing to tell at all.
    """
    places = places_of(motors)
    corners = (LIKELY, STRIPPED, STAYS)
    missing: list[str] = []
    outside: list[Outside] = []
    left: list[tuple[str, float, float, float]] = []
    gaps: list[tuple[str, float]] = []
    try:
        wanted = [(place, corner) for place in places for corner in (*corners, *CORNERS)]
        found = _marched(motors, situation, False, wanted)
        bare_rings = _gapped(motors, situation, False, LIKELY)
        for place in places:
            outside.append(_outside(place, [found[place, corner] for corner in corners], bare_rings.get(place)))
            ends = {corner: float(found[place, corner].left[-1, 0]) for corner in (*corners, *CORNERS)}
            left.append((place, min(ends.values()), ends[LIKELY], max(ends.values())))
    except NotComputable as reason:
        missing.append(str(reason))
    try:
        gaps = [(place, widest_gap(motors, situation, place)) for place in places if place in GAP_PLACES]
    except NotComputable as reason:
        missing.append(str(reason))
    if not outside and not gaps:
        raise NotComputable(missing[0] if missing else "nothing of heat can be told")
    paths: tuple[GasPath, ...] = ()
    if not missing:
        paths = gas_paths(motors, situation)
    return Told(tuple(outside), tuple(left), tuple(gaps), paths, tuple(dict.fromkeys(missing)))


def _outside(place: str, histories: Sequence[Lined], gap: Bare | None) -> Outside:
    """The outside at a place: likely, stripped, all char stays; opposite a gap the ring where that is hotter."""
    likely, *limits = (history.outside[:, :1] for history in histories)
    time = histories[0].time[:, :1]
    peaks = [float(one.max()) for one in limits]
    if gap is not None and bool(gap.there[0]):
        ring = gap.start[0] + np.interp(time[:, 0], gap.ring.time[:, 0], gap.ring.outside[:, 0])[:, None]
        likely = np.maximum(likely, ring)
        peaks = [max(peak, float(ring.max())) for peak in peaks]
    told_at = soak.readings(time, likely)
    peak = float(told_at.peak[0])
    return Outside(place, told_at, min(*peaks, peak), max(*peaks, peak), time[:, 0], likely[:, 0])


def widest_gap(motors: Motors, situation: Situation, place: str) -> float:
    """Widest gap at a place whose middle stays under `LASTING_LOSS` through the burn, for a single motor. [m]

    0 where no gap does, inf where any does.
    """
    at = _kept(motors, situation, False)
    film, glow = films(at, LIKELY)[place]
    steps = _RING_STEPS
    even, radiant = _even(at, film, at.now.end, steps), _even(at, glow, at.now.end, steps)
    thickness = np.zeros(1) if motors.liner is None else walls.per_motor(motors, motors.liner.thickness)
    start = walls.per_motor(motors, motors.ambient.temperature)

    def seen(width: Array) -> Array:
        return even * np.minimum(gaps.floor_share(thickness, width), 1.0)

    return float(
        rings.widest_gap(
            case_wall(motors), seen, at.gas.temperature * np.ones(1), start, at.now.end, np.full(1, LASTING_LOSS), radiant
        )[0]
    )


OUT = "the outside"


def gas_paths(motors: Motors, situation: Situation) -> tuple[GasPath, ...]:
    """The ways for gas behind the liner of a single motor that the file tells of, the strongest flow first.

    From one gap to another, driven by what the pressure falls along the port; out through a gap that lets gas pass. A
    single gap that lets nothing pass only fills. Raises NotComputable naming what is missing.
    """
    widths = gap_widths(motors)
    there = [place for place in GAP_PLACES if float(widths[place][0]) > 0.0]
    liner, figures = motors.liner, situation.figures
    if liner is None or figures is None or (len(there) < 2 and not (there and liner.gap_flow)):
        return ()
    at = _kept(motors, situation, False)
    assumed = liner.gap_behind is None
    room = ROOM_BEHIND if liner.gap_behind is None else float(np.ravel(liner.gap_behind)[0])
    stack = assemble(motors)
    forward, aft = float(stack.plate_end[0]), float(stack.nozzle_face[0])
    places = {"forward end": forward, "aft end": aft, "joint": 0.5 * (forward + aft)}
    head = float(np.ravel(figures["peak_head_pressure"])[0])
    drop = max(head - float(np.ravel(figures["peak_pressure"])[0]), 0.0)
    case = motors.case
    assert case is not None  # _kept and the wall ask for it
    round_ = np.pi * float(np.ravel(case.bore)[0])
    density = head * at.gas.molar_mass / (GAS_CONSTANT * at.gas.temperature)
    found = []
    for first, start in enumerate(there):
        for end in there[first + 1 :]:
            length = abs(places[end] - places[start])
            share = drop * length / max(aft - forward, 1e-9)
            flow = leaks.bypass_flow(
                density, np.asarray(round_), np.asarray(room), np.asarray(share), at.gas.viscosity, np.asarray(max(length, 1e-3))
            )
            found.append(_path(at, motors, start, end, float(np.ravel(flow)[0]), round_, room, assumed))
    for start in there if liner.gap_flow else ():
        area = np.asarray(round_ * room)
        length = max(min(places[start], float(stack.case_length[0]) - places[start]), 1e-3)
        choked = leaks.choked_leak(np.asarray(head), area, motors.propellant.characteristic_velocity)
        creeping = leaks.narrow_flow(
            np.asarray(head),
            np.asarray(round_),
            np.asarray(room),
            np.asarray(length),
            at.gas.viscosity,
            GAS_CONSTANT / at.gas.molar_mass,
            at.gas.temperature,
        )
        out = float(np.ravel(np.minimum(choked, creeping))[0])
        found.append(_path(at, motors, start, OUT, out, round_, room, assumed))
    return tuple(sorted(found, key=lambda path: -path.flow))


def _path(at: Setting, motors: Motors, start: str, end: str, flow: float, breadth: float, room: float, assumed: bool) -> GasPath:
    """What a flow behind the liner does where it enters."""
    if flow <= 0.0:
        return GasPath(start, end, 0.0, 0.0, 0.0, np.inf, room, assumed)
    cold = walls.per_motor(motors, motors.ambient.temperature)
    gas = at.gas
    stream = leaks.stream(
        np.full(1, flow),
        np.asarray(breadth),
        np.asarray(room),
        gas.viscosity,
        gas.conductivity,
        gas.specific_heat,
        gas.temperature - cold,
        gas.prandtl,
    )
    hot = gas.temperature * np.ones(1)
    time, bore = leaks.entry_history(case_wall(motors), stream, hot, cold, np.maximum(at.now.end, 1e-9))
    after = float(first_crossing(time, bore, LASTING_LOSS)[0])
    return GasPath(start, end, flow, float(stream.power[0]), float(stream.reach[0]), after, room, assumed)


# --- texts ----------------------------------------------------------------------------------------------------------

_GAS_SIDE = (
    "films by Dittus-Boelter (ports), a slot's floor (joint), a sudden enlargement (aft end), radiation at an assumed "
    f"emissivity of {walls.GAS_EMISSIVITY:g}"
)
BASIS_LINER = (
    "ablation marched with blowing, char as the material holds it in flow, all of it where little flows (judgement), until "
    f"nothing uncharred is left; the burn held on beyond its end to show the distance; {_GAS_SIDE}"
)
BASIS_CASE = f"yield at the temperature of the bore behind the liner, or at a gap with heat running along the tube; {_GAS_SIDE}"
BASIS_HOT = f"yield at the temperature of the bore when it counts most, scaled to the peak; {_GAS_SIDE}"
BASIS_SEAL = f"heat along the tube and through the carrier to the gland, soak included; {_GAS_SIDE}"


def governing(mode: str, motors: Motors, situation: Situation) -> str:
    """Where a heat rung of a single motor governs: a place, a gap or a way of the heat."""
    values = {place: float(value[0]) for place, value in _BY_PLACE[mode](motors, situation, LIKELY).items()}
    return min(values, key=lambda place: values[place])


def place_of(mode: str, motors: Motors, situation: Situation) -> str:
    """The place, of `PLACES`, at which a heat rung of a single motor governs."""
    where = governing(mode, motors, situation).removeprefix("gap at the ")
    return where if where in PLACES else f"{situation.end} end"


def liner_note(motors: Motors, situation: Situation) -> str:
    """Where the liner goes first, when elsewhere, and both limits there; for a single motor."""
    times = burn_through_by_place(motors, situation)
    first = governing("liner burn-through", motors, situation)
    others = ", ".join(f"{place} {_seconds(times[place][0])}" for place in places_of(motors) if place != first)
    both = [_seconds(burn_through_by_place(motors, situation, corner)[first][0]) for corner in (STRIPPED, STAYS)]
    hot = liner_of(motors)
    liner = motors.liner
    measured = liner is not None and (liner.regression_rate is not None or liner.material.regression_rate is not None)
    source = "recession as measured" if measured else f"hot numbers of {hot.name}: {hot.weakest}"
    return f"first at the {first}; {others}; there {both[0]} with all char stripped, {both[1]} with all of it staying; {source}"


def case_note(motors: Motors, situation: Situation) -> str:
    """How hot the bore of the case gets, at burnout and in the soak after it; for a single motor."""
    burnout, soak = {}, {}
    end = _kept(motors, situation, False).now.end[0] * (1.0 + 1e-9)
    for place, (time, top, _) in _bores(motors, situation, False, LIKELY).items():
        burnout[place], soak[place] = top[time[:, 0] <= end, 0].max(), top[:, 0].max()
    hot, late = max(burnout, key=lambda place: burnout[place]), max(soak, key=lambda place: soak[place])
    assert motors.case is not None  # _bores has refused it before
    melting = motors.case.material.melting_temperature
    lines = []
    if melting is not None and burnout[hot] >= melting:
        lines.append(f"the bore reaches its melting temperature, {_celsius(melting)}, during the burn ({hot})")
    else:
        lines.append(
            f"bore up to {_celsius(burnout[hot])} during the burn ({hot}), {_celsius(soak[late])} in the soak after it ({late})"
        )
        if soak[late] > LASTING_LOSS:
            lines.append("over 200 °C a tempered tube does not regain its strength: retire or test it")
    if motors.liner is not None and motors.liner.gap is not None and float(walls.per_motor(motors, motors.liner.gap)[0]) > 0.0:
        lines.append("where the gap lies is not known: judged at the forward end, a joint and the aft end")
    return "; ".join(lines)


def seal_note(motors: Motors, situation: Situation) -> str:
    """What the seal's limit is, which way the heat comes, and whether the limit is reached under pressure."""
    way = governing("seal overheating", motors, situation)
    reached = float(seal_overheating(motors, situation)[0])
    assert situation.figures is not None  # seal_overheating() has refused it before
    if np.isinf(reached):
        lag = ring_lag(motors, situation.end)
        rings = {way: float(_lagging(time, seat, lag).max()) for way, (time, seat) in seat_history(motors, situation).items()}
        way = max(rings, key=lambda one: rings[one])
        when = f"not reached; the ring gets to {_celsius(rings[way])} {way}"
    elif reached > float(walls.per_motor(motors, situation.figures["action_time"])[0]):
        when = f"reached {way} after the burn, replace the ring"
    else:
        when = f"reached {way} in the burn"
    closure = motors.forward_closure if situation.end == "forward" else motors.aft_closure
    assert closure is not None and closure.seal is not None and closure.seal.material is not None
    material = closure.seal.material
    limit = _celsius(seal_limit(motors, situation.end))
    return (
        f"{material.name} up to {limit}, {when}; limit: {material.source('limit_temperature')}; a ring that gas passes "
        "fails at once, not by this rung"
    )


def _seconds(time: float) -> str:
    return f"not within {HELD:g} burns" if np.isinf(time) else f"{time:.2g} s"


def _celsius(kelvin: float) -> str:
    celsius = float(kelvin) - 273.15
    return f"{celsius:.0f} °C ({1.8 * celsius + 32.0:.0f} °F)"
