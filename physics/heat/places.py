"""Where heat reaches the wall, what the gas does there, and which assumptions are varied for low and high.

Owns what is assumed at each place and how far that may be off. Models of the gas side stand in `physics.heat.walls`,
`gaps` and `gas_side`; the marches made of it in `marches`.

Places. A grain protects the wall behind it until its web is gone (`mid-grain wall`). The `joint` between two grains, the
`forward end` and the `aft end` are bare of grain from ignition. Gas side: `forward end`, what the first face gives off
and natural convection; `joint`, the floor of a slot that opens as its faces burn back; `aft end`, the wall behind a sudden
enlargement; `mid-grain wall`, pipe flow. Radiation everywhere.

Low and high vary one assumption at a time (`CORNERS`), and add up as independent ones do. Not modelled: jets of hot gas,
particles, the igniter, smouldering after the burn, the nozzle's own heat in the tube, properties that change with
temperature. No measured liner of a small motor was found to test any of it against.

Sources: beside the models; what is assumed is said here and is judgement. Imports physics.assembly, the other heat files
below it, materials, missing and motors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.assembly import assemble
from physics.heat import gaps, gas_side, walls
from physics.heat import liner as liners
from physics.heat.properties import Band, HotLiner, hot_liner
from physics.heat.walls import Gas
from physics.materials import Material
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

PLACES = ("forward end", "joint", "aft end", "mid-grain wall")
GAP_PLACES = PLACES[:3]
STILL = ("forward end", "mid-grain wall")
"""Where little flows, and char stays whatever it is made of: judgement."""

JOINT_ROOM = 0.5e-3
"""Width of a joint at ignition: an assumption; grains lie one against the other. [m]"""

CONTACT = Band(100.0, 336.0, 1e4, "0.1 mm of still air behind a slip fit; pressed home or bonded: high", "judgement")
"""Conductance between liner and case. [W/(m2 K)]"""

EMISSIVITY = Band(0.2, walls.GAS_EMISSIVITY, 0.9, "clear gas to a dense cloud of particles", "judgement")
"""Effective emissivity of the gas over the chamber."""

BLOWING = Band(0.2, liners.BLOWING, 0.5, "blowing exponents of films", "remembered")

FILM = {"forward end": (0.6, 1.0, 1.6), "joint": (1.0 / 3.0, 1.0, 3.0), "mid-grain wall": (0.75, 1.0, 1.25)}
"""Film over the likely one, low and high: pipe flow scatters by a quarter, what flows forward is judgement. The aft end
has relations of its own for low and high."""


@dataclass(frozen=True)
class Corner:
    """One set of assumptions: all likely but what is named; `limit` is "likely", "stripped" or "stays".

    `side` is −1, 0 or 1: which end of its band the number named `what` takes.
    """

    what: str = ""
    side: int = 0
    limit: str = "likely"

    def of(self, what: str, band: Band) -> float:
        """The number that this corner takes of a band.

        Parameters
        ----------
        what : str
            The name of the number.
        band : Band
            Its band.

        Returns
        -------
        float
            In the unit of the band.

        Notes
        -----
        The likely number where `what` is not the one that this corner names; else the low end for a side below 0, the high end
        otherwise.
        """
        if what != self.what:
            return band.likely
        return band.low if self.side < 0 else band.high


MEASURED_NAMES = {"forward end": "forward", "joint": "joint", "aft end": "aft", "mid-grain wall": "wall"}
"""The columns of `physics.motors.LinerFactors` by place."""

REMAINING = 1.4
"""Factor either way that stays of the predicted depth where a liner was measured: judgement; of 2.5 without it. [-]"""

LEAST_FACTOR = 0.25
"""No measurement is taken to mean less than a quarter of the predicted depth: judgement; a factor of 2.5 either way is
what the model itself may be off. [-]"""

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

MEASURED_CORNERS: tuple[Corner, Corner] = (Corner("measured", -1), Corner("measured", 1))
"""What is varied at a place where the liner was measured, in place of all the others: how well its factor carries over."""


# --- the liner's numbers --------------------------------------------------------------------------------------------


def liner_of(motors: Motors) -> HotLiner:
    """The hot numbers of the batch's liner material.

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    HotLiner
        The hot numbers of its liner.

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    Where the table has none, the material's own `char_temperature` makes do, with wide bands.
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


def depth_factor(motors: Motors, place: str) -> tuple[Array, Array] | None:
    """Measured over predicted depth of liner lost at a place, and the factor either way that stays, (n,) each. [-]

    Parameters
    ----------
    motors : Motors
        The batch; `liner.measured` has the factors.
    place : str
        One of `PLACES`.

    Returns
    -------
    tuple of Array, or None
        None where the place was not measured.

    Notes
    -----
    A factor under `LEAST_FACTOR` is taken as that. Source: of a factor of 2.5 either way about 1.4 stays (judgement).
    """
    liner = motors.liner
    if liner is None or liner.measured is None:
        return None
    name = MEASURED_NAMES[place]
    factor, within = (getattr(liner.measured, column) for column in (name, f"{name}_within"))
    if factor is None:
        return None
    stays = np.full(motors.size, REMAINING) if within is None else walls.per_motor(motors, within)
    return np.maximum(walls.per_motor(motors, factor), LEAST_FACTOR), stays


def as_asked(motors: Motors, place: str, corner: Corner) -> Corner:
    """The corner that a march at a place stands at: where the liner was measured nothing varies but how its factor
    carries.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    place : str
        One of `places.PLACES`.
    corner : Corner
        The set of assumptions.

    Returns
    -------
    Corner
        The corner in place of it.
    """
    if corner.what in ("gap", "leak"):  # of the ring beside the liner, not of the liner
        return LIKELY
    measured = depth_factor(motors, place) is not None
    return corner if measured is (corner.what == "measured") or corner == LIKELY else LIKELY


def ends_at(motors: Motors, place: str) -> tuple[Corner, Corner]:
    """What is told beside the likely liner at a place: both limits, or, where it was measured, how well that carries.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    place : str
        One of `places.PLACES`.

    Returns
    -------
    tuple[Corner, Corner]
        Two corners.
    """
    return (STRIPPED, STAYS) if depth_factor(motors, place) is None else MEASURED_CORNERS


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
        The batch with its gas side.

    Raises
    ------
    NotComputable
        Naming what is missing.
    """
    now = walls.conditions(motors, situation, held)
    gas = walls.combustion_gas(motors.propellant)
    count, _, outer, core, _ = walls.grain_rows(motors)
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
    faces = joint_faces(motors)
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
            now.mass_flow, np.minimum(aft, bore), bore, aft_reach(motors, now), gas.viscosity, gas.conductivity, pipe
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
    """As `liner_of`, None where something is missing.

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    HotLiner or None
        The hot numbers of its liner.
    """
    try:
        return liner_of(motors)
    except NotComputable:
        return None


def joint_faces(motors: Motors) -> Array:
    """Bare faces of the joint that has most of them, 0 to 2, (n,); 0 without a joint. [-]

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Array
        [-], (n,).

    Notes
    -----
    A joint has the aft face of one grain and the forward face of the next: two grains of one row, or the ends of two
    rows.

    References
    ----------
    By definition.
    """
    count, *_ = walls.grain_rows(motors)
    forward, aft = (np.broadcast_to(np.atleast_2d(faces), count.shape) for faces in motors.grain.bare_faces)
    most = np.where(count > 1.0, forward + aft, 0.0).max(axis=1)
    before = np.full(motors.size, np.nan)  # the aft face of the last grain so far
    for row in range(count.shape[1]):
        here = count[:, row] > 0.0
        most = np.where(here & ~np.isnan(before), np.fmax(most, before + forward[:, row]), most)
        before = np.where(here, aft[:, row], before)
    return np.asarray(most)


def _rate(now: walls.Conditions) -> Array:
    """Burning rate in each step, from how far the surfaces have come in the middle of the steps. [m/s]"""
    middle = 0.5 * (now.time[1:] + now.time[:-1])
    if len(middle) < 2:
        return np.zeros_like(now.regression)
    return np.asarray(np.maximum(np.gradient(now.regression, axis=0), 0.0) / np.maximum(np.gradient(middle, axis=0), 1e-12))


def aft_reach(motors: Motors, now: walls.Conditions) -> Array:
    """Distance from the last grain to the end of the bare wall before the nozzle, (steps, n). [m]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    now : walls.Conditions
        Conditions of the burn, step by step.

    Returns
    -------
    Array
        [m], (steps, n).
    """
    place = assemble(motors)
    room = np.maximum(place.nozzle_face - place.grains_end, 0.0)
    return np.asarray(room + walls.last_face_bare(motors) * now.regression)


def films(at: Setting, corner: Corner) -> dict[str, tuple[Array, Array]]:
    """Film [W/(m2 K)] and emissivity at each place in each step under one set of assumptions, (steps, n) each.

    Parameters
    ----------
    at : Setting
        The batch with its gas side.
    corner : Corner
        The set of assumptions.

    Returns
    -------
    dict[str, tuple[Array, Array]]
        By place: film [W/(m2 K)] and emissivity [-], (steps, n) each.
    """
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
    """Property correction of the relation of Bartz for a wall at the liner's front. [-]"""
    front = 700.0 if at.hot is None else at.hot.front.likely
    return walls.bartz_correction(front / at.gas.temperature)


def places_of(motors: Motors) -> tuple[str, ...]:
    """The places that a single motor has.

    Parameters
    ----------
    motors : Motors
        A single motor, SI.

    Returns
    -------
    tuple[str, ...]
        Of `PLACES`, in their order.
    """
    joint = float(walls.grain_rows(motors)[0].sum(axis=1)[0]) > 1.0
    return tuple(place for place in PLACES if joint or place != "joint")


NEAR = 5e-3
"""How near to the face of a grain a spot on the wall counts as the place there: judgement. [m]"""


def place_at(motors: Motors, position: float, near: float = NEAR) -> str:
    """The place of `PLACES` at a position of a single motor [m from the forward end of the case].

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    position : float
        From the forward end of the case [m].
    near : float, optional
        How near to a face counts as the place there [m].

    Returns
    -------
    str
        One of `PLACES`.

    References
    ----------
    Geometry, `physics.assembly`; within `near` [m] of the faces of two grains it is their joint.
    """
    stack = assemble(motors)
    count, length, *_ = (np.ravel(leaf[0]) for leaf in walls.grain_rows(motors))
    starts, ends = np.ravel(stack.grain_start[0]), np.ravel(stack.grain_end[0])
    faces = [start + k * one for start, one, many in zip(starts, length, count, strict=True) for k in range(int(many))]
    last = float(ends[count > 0.0].max())
    if not faces or position <= min(faces) + near:
        return "forward end"
    if position >= last - near:
        return "aft end"
    return "joint" if any(abs(position - face) <= near for face in faces if face > min(faces)) else "mid-grain wall"
