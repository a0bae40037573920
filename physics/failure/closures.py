"""Closures: threaded rings, snap rings, plates, shoulders, and the nozzle's seat in its carrier.

Owns every mode of an end that is not a radial screw or a seal. Circular plates follow thin-plate theory: small
deflections, thickness below about a quarter of the radius. Sources: FED-STD-H28/2B (threads), Timoshenko and Roark
(plates), each beside its formula; of the modes in `physics.failure.ladder.MODES`. Imports numpy and, from physics, case, modes,
motors and threads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.failure.case import (
    closure,
    end_load_area,
    end_load_note,
    joint_strength,
    other_part_note,
    pressure_text,
    seal_diameter,
    sentences,
    strength,
    throat_area,
)
from physics.failure.plates import bearing_plate_factor, ring_rolling_stress, small_hole_factor
from physics.failure.threads import basic_pitch_diameter, root_diameter, unified_limits
from physics.materials import Material
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, Plug, Situation, SnapRing, ThreadedRing

SHEAR_YIELD = 0.577
"""Shear over tensile yield strength, von Mises; NASA-TM-106943 p. 18 (read)."""


# --- threaded ring ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ThreadShearAreas:
    """Areas [m2] that shear when a thread strips, at minimum material: of the internal and of the external thread."""

    internal: Array
    external: Array


def internal_thread_shear_area(engagement: Array, pitch: Array, major_minimum: Array, pitch_maximum: Array) -> Array:
    """Area that shears when an internal thread strips, at minimum material.

    Parameters
    ----------
    engagement : Array
        Loaded length [m].
    pitch : Array
        [m].
    major_minimum, pitch_maximum : Array
        Least major diameter of the external, largest pitch diameter of the internal thread [m].

    Returns
    -------
    Array
        [m2]; broadcasts.

    Notes
    -----
    π·n·LE·d_min·[1/(2n) + 0.57735·(d_min − D2_max)], n = 1/P. Valid for 60 degree threads.

    References
    ----------
    FED-STD-H28/2B Table II.B.1, formula 2a (read).
    """
    grip = 0.5 * pitch + 0.57735 * (major_minimum - pitch_maximum)
    return np.asarray(np.pi * engagement / pitch * major_minimum * grip)


def external_thread_shear_area(engagement: Array, pitch: Array, minor_maximum: Array, pitch_minimum: Array) -> Array:
    """Area that shears when an external thread strips, at minimum material.

    Parameters
    ----------
    engagement : Array
        Loaded length [m].
    pitch : Array
        [m].
    minor_maximum, pitch_minimum : Array
        Largest minor diameter of the internal, least pitch diameter of the external thread [m].

    Returns
    -------
    Array
        [m2]; broadcasts.

    Notes
    -----
    π·n·LE·D1_max·[1/(2n) + 0.57735·(d2_min − D1_max)], n = 1/P. Valid for 60 degree threads.

    References
    ----------
    FED-STD-H28/2B Table II.B.1, formula 4a (read).
    """
    grip = 0.5 * pitch + 0.57735 * (pitch_minimum - minor_maximum)
    return np.asarray(np.pi * engagement / pitch * minor_maximum * grip)


def thread_shear_areas(diameter: Array, pitch: Array, engagement: Array) -> ThreadShearAreas:
    """Both stripping areas of a 60 degree thread.

    Parameters
    ----------
    diameter, pitch, engagement : Array
        Major diameter, pitch and loaded length [m].

    Returns
    -------
    ThreadShearAreas
        Of the internal and of the external thread [m2]; broadcasts.

    Notes
    -----
    Class 2A in 2B; metric pitches are held to it too.

    References
    ----------
    `internal_thread_shear_area`, `external_thread_shear_area`, `physics.failure.threads.unified_limits`.
    """
    limits = unified_limits(diameter, pitch)
    return ThreadShearAreas(
        internal_thread_shear_area(engagement, pitch, limits.major_minimum, limits.internal_pitch_maximum),
        external_thread_shear_area(engagement, pitch, limits.internal_minor_maximum, limits.pitch_minimum),
    )


def held_by(motors: Motors, end: str, retention: str) -> bool:
    """Whether an end is held that way, or may be: nothing is said of it.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".
    retention : str
        Such as "threaded-ring".

    Returns
    -------
    bool
        Whether it is.
    """
    part = motors.forward_closure if end == "forward" else motors.aft_closure
    return part is None or part.retention == retention


def has_threaded_ring(motors: Motors, end: str) -> bool:
    """Whether an end is held by a threaded ring, or may be.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    bool
        Whether it is.
    """
    return held_by(motors, end, "threaded-ring")


def has_snap_ring(motors: Motors, end: str) -> bool:
    """Whether an end is held by an internal snap ring, or may be.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    bool
        Whether it is.
    """
    return held_by(motors, end, "snap-ring")


def _threaded(motors: Motors, end: str) -> ThreadedRing:
    ring = closure(motors, end).threaded_ring
    if ring is None:
        raise NotComputable(f"{end}_closure.thread_diameter is not given")
    return ring


def ring_thread_shear_both(motors: Motors, situation: Situation) -> tuple[Array, Array]:
    """Head pressures at which the ring's own thread and that of the case strip.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    tuple of Array
        Of the ring and of the case, in this order, [Pa], (n,) each.

    Notes
    -----
    Load even along the thread; the first turns of a real one carry more, and give before they strip.

    References
    ----------
    `thread_shear_areas`; shear strength as `physics.failure.case.strength` has it.
    """
    end = situation.end
    ring = _threaded(motors, end)
    need(motors, "case")
    stripped = thread_shear_areas(ring.thread_diameter, ring.thread_pitch, ring.engagement)
    own = strength(motors, need(motors, f"{end}_closure.ring_material"), "shear")
    area = end_load_area(motors, end)
    return (
        np.asarray(own * stripped.external / area),
        np.asarray(joint_strength(motors, end, "shear", 0.0) * stripped.internal / area),
    )


def ring_thread_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the weaker of the two threads of a threaded ring strips.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    References
    ----------
    `ring_thread_shear_both`.
    """
    return np.asarray(np.minimum(*ring_thread_shear_both(motors, situation)))


def net_section_at_thread(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the case parts across the root of its thread.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    Tensile strength on the annulus outside of the thread's major diameter; no stress concentration, for a ductile case.

    References
    ----------
    Force over section, definition.
    """
    end = situation.end
    return _annulus_pressure(motors, end, _threaded(motors, end).thread_diameter)


def _annulus_pressure(motors: Motors, end: str, inner: Array) -> Array:
    outer = need(motors, "case.outer_diameter")
    left = 0.25 * np.pi * np.maximum(np.square(outer) - np.square(inner), 0.0)
    return np.asarray(joint_strength(motors, end, "tensile", 0.0) * left / end_load_area(motors, end))


# --- snap ring -------------------------------------------------------------------------------------------------------


def _snap(motors: Motors, end: str) -> SnapRing:
    ring = closure(motors, end).snap_ring
    if ring is None:
        raise NotComputable(f"{end}_closure.groove_depth is not given")
    return ring


def ligament_shear_load(diameter: Array, margin: Array, yield_strength: Array) -> Array:
    """Load at which the metal between a groove and the edge shears.

    Parameters
    ----------
    diameter, margin : Array
        Diameter of the groove's root and metal left to the edge [m].
    yield_strength : Array
        [Pa].

    Returns
    -------
    Array
        [N]; broadcasts.

    Notes
    -----
    π·D·z·0.577·Sy. Shear, no bending: z of three groove depths and more.

    References
    ----------
    `SHEAR_YIELD`; ring makers' form, remembered.
    """
    return np.asarray(np.pi * diameter * margin * SHEAR_YIELD * yield_strength)


def groove_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the case shears off between groove and end.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    References
    ----------
    `ligament_shear_load`.
    """
    end = situation.end
    ring, bore = _snap(motors, end), need(motors, "case").bore
    root, strong = bore + 2.0 * ring.groove_depth, joint_strength(motors, end, "yield", 0.0)
    load = ligament_shear_load(root, ring.edge_margin, strong)
    return np.asarray(load / end_load_area(motors, end))


def groove_bearing(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the wall of the groove yields under the ring.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    π·D·d·Sy over the load, D the bore, d the depth.

    References
    ----------
    Ring makers' form (a maker's product pages, read; K = 2 there is a factor of safety).
    """
    end = situation.end
    ring, bore = _snap(motors, end), need(motors, "case").bore
    face = np.pi * bore * ring.groove_depth
    return np.asarray(face * joint_strength(motors, end, "yield", 0.0) / end_load_area(motors, end))


def snap_ring_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the snap ring itself shears.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    π·D·t·Ss over the load. Holds for a ring that bears square: a chamfer or play in the plate makes it dish, which is not
    modelled.

    References
    ----------
    Ring makers' form (a maker's product pages, read).
    """
    end = situation.end
    ring, bore = _snap(motors, end), need(motors, "case").bore
    ring_strength = need(motors, f"{end}_closure.snap_ring.ring_shear_strength")
    return np.asarray(np.pi * bore * ring.ring_thickness * ring_strength / end_load_area(motors, end))


def net_section_at_groove(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the case parts across the snap-ring groove.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    Tensile strength on the annulus under the groove; no stress concentration.

    References
    ----------
    Force over section, definition.
    """
    end = situation.end
    return _annulus_pressure(motors, end, need(motors, "case").bore + 2.0 * _snap(motors, end).groove_depth)


def offset_ligament(eccentricity: Array) -> Array:
    """Part of its plain yield load that a strip bears under a load off its middle.

    Parameters
    ----------
    eccentricity : Array
        Offset over the strip's thickness, ε [-].

    Returns
    -------
    Array
        √(1 + 4ε²) − 2ε [-]; broadcasts.

    Notes
    -----
    Plastic limit of a rectangular section under tension n and moment m: n² + m = 1 with m = 4·ε·n.

    References
    ----------
    Derived; the interaction is textbook plasticity, remembered.

    Examples
    --------
    >>> float(offset_ligament(np.array(0.5)).round(4))
    0.4142
    """
    return np.asarray(np.sqrt(1.0 + 4.0 * np.square(eccentricity)) - 2.0 * eccentricity)


def groove_ligament_yield(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the wall left under the groove yields, stretched and bent at once.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,); 0 where no wall is left.

    Notes
    -----
    Its middle lies half the groove's depth outside that of the wall, so the end load bends it. The hoop stiffness of the tube on
    either side, which takes part of the bending, is left out: on the safe side.

    References
    ----------
    `offset_ligament`.
    """
    end = situation.end
    case, depth = need(motors, "case"), _snap(motors, end).groove_depth
    left = np.maximum(case.wall - depth, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(left > 0.0, offset_ligament(0.5 * depth / left), 0.0)
    root = case.bore + 2.0 * depth
    section = 0.25 * np.pi * np.maximum(np.square(case.outer_diameter) - np.square(root), 0.0)
    return np.asarray(share * joint_strength(motors, end, "yield", 0.0) * section / end_load_area(motors, end))


# --- plates ----------------------------------------------------------------------------------------------------------


def plate_stress(pressure: Array, radius: Array, thickness: Array, poisson: Array, clamped: bool = False) -> Array:
    """Largest bending stress of a solid circular plate under uniform pressure.

    Parameters
    ----------
    pressure : Array
        [Pa].
    radius, thickness : Array
        [m].
    poisson : Array
        [-].
    clamped : bool
        Whether the edge is held from turning.

    Returns
    -------
    Array
        [Pa]; broadcasts.

    Notes
    -----
    Simply supported, at the centre: 3(3 + ν)·q·a²/(8·t²); clamped, at the edge: 0.75·q·a²/t². Thin plates, small deflections.

    References
    ----------
    Timoshenko, Theory of Plates and Shells, art. 16; Roark, flat circular plates, cases 10a and 10b.

    Examples
    --------
    >>> float(plate_stress(1000.0, 1.375, 0.25, 0.33)), float(plate_stress(1000.0, 1.375, 0.25, 0.33, clamped=True))
    (37774.6875, 22687.5)
    """
    shape = 0.75 if clamped else 0.375 * (3.0 + np.asarray(poisson))
    return np.asarray(shape * pressure * np.square(np.divide(radius, thickness)))


def annular_plate_factor(opening: Array, rim_load: Array, poisson: Array, clamped: bool = False) -> Array:
    """k in σ = k·q·a²/t², the largest stress of a plate with a central opening.

    Parameters
    ----------
    opening : Array
        Opening over outer radius, between 0 and 1 [-].
    rim_load : Array
        Load on the rim of the opening, in units of π·a²·q [-].
    poisson : Array
        [-].
    clamped : bool
        Whether the outer edge is held from turning.

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    Pressure q works on the annulus; the rim is free. Exact thin-plate solution: φ = C1·r + C2/r − [α·(r/2)(ln r − ½) + q·r³/16]/D
    with α from the shear at the rim.

    References
    ----------
    Timoshenko, Theory of Plates and Shells, art. 17, solved here for both loads at once.

    Examples
    --------
    >>> float(annular_plate_factor(0.5, 0.0, 0.3).round(2))
    1.44
    """
    b, nu = np.asarray(opening, dtype=float), np.asarray(poisson, dtype=float)
    shear = 0.5 * (np.asarray(rim_load) - np.square(b))
    radial_outer, radial_rim = _particular(np.asarray(1.0), shear, nu), _particular(b, shear, nu)
    rim = (1.0 + nu, -(1.0 - nu) / np.square(b), radial_rim[1])
    edge = (np.asarray(1.0), np.asarray(1.0), radial_outer[0])
    if not clamped:
        edge = (1.0 + nu, -(1.0 - nu), radial_outer[1])
    determinant = edge[0] * rim[1] - edge[1] * rim[0]
    first = (edge[2] * rim[1] - edge[1] * rim[2]) / determinant
    second = (edge[0] * rim[2] - edge[2] * rim[0]) / determinant
    hoop_rim = first * (1.0 + nu) + second * (1.0 - nu) / np.square(b) - radial_rim[2]
    radial_edge = first * (1.0 + nu) - second * (1.0 - nu) - radial_outer[1]
    return np.asarray(6.0 * np.maximum(np.abs(hoop_rim), np.abs(radial_edge)))


def _particular(r: Array, shear: Array, nu: Array) -> tuple[Array, Array, Array]:
    """Slope, radial and hoop moment of the load alone at radius r (of a = 1), signs turned."""
    log = np.log(r)
    slope = 0.5 * shear * r * (log - 0.5) + r**3 / 16.0
    bend = 0.5 * shear * (log + 0.5) + 3.0 * r**2 / 16.0
    return slope, np.asarray(bend + nu * slope / r), np.asarray(slope / r + nu * bend)


_OPENINGS = np.linspace(0.05, 0.95, 91)


def worst_opening_factor(poisson: float, clamped: bool = False) -> float:
    """Largest `annular_plate_factor` over all openings whose rim carries the pressure on the opening.

    Parameters
    ----------
    poisson : float
        [-].
    clamped : bool
        As there.

    Returns
    -------
    float
        [-].

    Notes
    -----
    Openings of 0.05 to 0.95.

    References
    ----------
    `annular_plate_factor`.
    """
    return float(np.max(annular_plate_factor(_OPENINGS, np.square(_OPENINGS), np.asarray(poisson), clamped)))


def _plate(motors: Motors, end: str) -> tuple[Material, float]:
    part = closure(motors, end)
    material = part.plate_material or part.ring_material
    if material is None:
        raise NotComputable(f"{end}_closure.plate_material is not given")
    if material.poisson is None:
        raise NotComputable(f"poisson of {material.name} is not known")
    return material, material.poisson


def plate_of(motors: Motors, end: str) -> Material:
    """The metal of a closure's plate.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Material
        Of the plate.

    Raises
    ------
    NotComputable
        Where it is not given.
    """
    part = closure(motors, end)
    material = part.plate_material or part.ring_material
    if material is None:
        raise NotComputable(f"{end}_closure.plate_material is not given")
    return material


def plug_of(motors: Motors, end: str) -> Plug | None:
    """The plug through the plate of one end, None without one.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Plug or None
        As the file gives it.
    """
    return closure(motors, end).plug


def _bearing(motors: Motors, end: str) -> Array:
    """Diameter on which the plate bears: the ring's bearing circle, or the seal's. [m]"""
    given = closure(motors, end).bearing_diameter
    return seal_diameter(motors, end) if given is None else given


def _plate_factor(motors: Motors, end: str, clamped: bool) -> Array:
    """k in σ = k·p·b²/t², b the radius of the bearing circle: solid forward, or with a plug's hole; aft with the nozzle's opening,
    whose rim carries the load within it.
    """
    _, poisson = _plate(motors, end)
    plug = plug_of(motors, end)
    if not clamped and (plug is not None or closure(motors, end).bearing_diameter is not None):
        return _bearing_factor(motors, end, np.asarray(poisson), plug)
    if end == "forward":
        return plate_stress(np.asarray(1.0), np.asarray(1.0), np.asarray(1.0), np.asarray(poisson), clamped)
    seat = motors.nozzle.seat_diameter
    if seat is None:
        return np.asarray(worst_opening_factor(poisson, clamped))
    across = seal_diameter(motors, end)
    rim_load = _opening_load_area(motors) / (0.25 * np.pi * np.square(across))
    return annular_plate_factor(seat / across, rim_load, np.asarray(poisson), clamped)


def _bearing_factor(motors: Motors, end: str, poisson: Array, plug: Plug | None) -> Array:
    """k on the bearing circle, the seal's circle apart from it, with a plug's hole or the nozzle's opening."""
    bearing = _bearing(motors, end)
    sealed = seal_diameter(motors, end) / bearing
    if end == "forward":
        plain = bearing_plate_factor(sealed, poisson)
        if plug is None:
            return plain
        hole = plug.thread_diameter / bearing
        middle = bearing_plate_factor(sealed, poisson, hole, np.square(hole))
        if plug.offset is None:
            return middle
        one = np.asarray(1.0)
        aside = small_hole_factor(2.0 * plug.offset / bearing, poisson) * plain / plate_stress(one, one, one, poisson)
        return np.where(np.asarray(plug.offset) > 0.0, np.maximum(aside, plain), middle)
    seat = need(motors, "nozzle.seat_diameter")
    rim_load = _opening_load_area(motors) / (0.25 * np.pi * np.square(bearing))
    return bearing_plate_factor(sealed, poisson, seat / bearing, rim_load)


def plate_pressure(motors: Motors, end: str, clamped: bool) -> Array:
    """Head pressure at which the closure plate of one end first yields in bending.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".
    clamped : bool
        Whether its edge is held from turning.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    Thin-plate theory: thickness below about a quarter of the radius.

    References
    ----------
    `plate_stress`, `annular_plate_factor`, `physics.failure.plates.bearing_plate_factor`.
    """
    material, _ = _plate(motors, end)
    thickness = need(motors, f"{end}_closure.plate_thickness")
    radius = 0.5 * (seal_diameter(motors, end) if clamped else _bearing(motors, end))
    factor = _plate_factor(motors, end, clamped)
    return np.asarray(strength(motors, material, "yield") * np.square(thickness / radius) / factor)


def plate_bending(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the closure plate, simply supported at its bearing circle, first yields.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    The bearing circle is the seal's where no other is given. A plug's hole in the middle is exact, its push a load on the rim;
    off the middle it is a small hole in the stresses of the place. Yield on one face: collapse comes later.

    References
    ----------
    `plate_pressure`.
    """
    return plate_pressure(motors, situation.end, clamped=False)


# --- a ring of its own ------------------------------------------------------------------------------------------------


def has_bearing_ring(motors: Motors, end: str) -> bool:
    """Whether a ring of its own bears against the plate of an end.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    bool
        Whether one does.

    Notes
    -----
    One held by thread or snap always, one held by screws where its circle is given (else it is of one piece with the plate, or
    bears at the rim).
    """
    part = motors.forward_closure if end == "forward" else motors.aft_closure
    if part is None or part.retention == "welded-lip":
        return False
    return part.bearing_diameter is not None or part.retention in ("threaded-ring", "snap-ring")


@dataclass(frozen=True)
class _OwnRing:
    """Section of a ring of its own: width across, height along the axis, outside, and the diameter where it is held. [m]"""

    width: Array
    height: Array
    outside: Array
    held: Array
    opening: Array


def _own_ring(motors: Motors, end: str) -> _OwnRing:
    """The section of a ring that is held by screws or by its thread, without the thread."""
    part = closure(motors, end)
    if part.threaded_ring is not None:
        thread, across = part.threaded_ring, need(motors, f"{end}_closure.threaded_ring.width")
        root = root_diameter(thread.thread_diameter, thread.thread_pitch, True)
        opening = thread.thread_diameter - 2.0 * across
        held = basic_pitch_diameter(thread.thread_diameter, thread.thread_pitch)
        return _OwnRing(0.5 * (root - opening), thread.engagement, root, held, opening)
    if part.screws is None:
        raise NotComputable(f"the section of a ring held by a {part.retention} is not in the file, nor how it dishes in the model")
    width = need(motors, f"{end}_closure.screws.ring_thickness")
    height = need(motors, f"{end}_closure.screws.edge_distance") + need(motors, f"{end}_closure.screws.ring_edge_distance")
    bore = need(motors, "case").bore
    return _OwnRing(width, height, bore, bore, bore - 2.0 * width)


def ring_rolling(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which a ring yields that the load rolls inside out: the plate pushes inside of where it is held.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Raises
    ------
    NotComputable
        Without the bearing circle or the ring's section; a snap ring dishes, which is not modelled.

    Notes
    -----
    Arm from the bearing circle to the bore where screws hold it, to the pitch diameter of a thread. The case, which keeps the
    ring from turning freely, and the flanks of a thread, which do so too, are left out: on the safe side. A thread's height
    counts as far as it is engaged, its section within the roots.

    References
    ----------
    `physics.failure.plates.ring_rolling_stress`.
    """
    end = situation.end
    need(motors, f"{end}_closure.bearing_diameter")
    ring = _own_ring(motors, end)
    middle = 0.5 * (ring.outside - ring.width)
    arm = 0.5 * np.abs(ring.held - _bearing(motors, end))
    moment = end_load_area(motors, end) * np.maximum(arm, 1e-3 * ring.width) / (2.0 * np.pi * middle)
    material = need(motors, f"{end}_closure.ring_material")
    return np.asarray(strength(motors, material, "yield") / ring_rolling_stress(moment, middle, ring.width, ring.height))


def ring_contact(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which plate or ring, the softer, yields where they bear on each other.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    The bearing circle is the middle of the contact, which reaches in to the ring's opening and as far out, no farther than the
    bore. 0 where the circle does not lie on the ring.

    References
    ----------
    Mean pressure on the face, derived; that yield is its limit is common practice, no source.
    """
    end = situation.end
    need(motors, f"{end}_closure.bearing_diameter")
    ring = _own_ring(motors, end)
    circle, bore = _bearing(motors, end), need(motors, "case").bore
    reach = np.minimum(circle - ring.opening, bore - circle)
    face = np.pi * circle * np.maximum(reach, 0.0)
    own = strength(motors, need(motors, f"{end}_closure.ring_material"), "yield")
    softer = np.minimum(own, strength(motors, plate_of(motors, end), "yield"))
    return np.asarray(softer * face / end_load_area(motors, end))


def shoulder_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the shoulder that takes the load shears through.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    π·d·h·Ssu over the load. Forward, the shoulder of the closure at the seal diameter, under the whole end load. Aft, the
    shoulder of the carrier at the seat diameter of the nozzle, under the nozzle's own load. Shear alone: bending of a thin
    shoulder is left out.

    References
    ----------
    Force over section, definition.
    """
    end = situation.end
    part = closure(motors, end)
    material = part.ring_material or part.plate_material
    if material is None:
        raise NotComputable(f"{end}_closure.ring_material is not given")
    height = need(motors, f"{end}_closure.shoulder_thickness")
    if end == "forward":
        across, area = seal_diameter(motors, end), end_load_area(motors, end)
    else:
        across, area = need(motors, "nozzle.seat_diameter"), seat_load_area(motors)
    return np.asarray(np.pi * across * height * strength(motors, material, "shear") / area)


# --- the nozzle in its seat ------------------------------------------------------------------------------------------


def sonic_thrust_coefficient(gamma: Array) -> Array:
    """Vacuum thrust coefficient of a convergent nozzle, its throat sonic.

    Parameters
    ----------
    gamma : Array
        Ratio of specific heats [-].

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    (γ + 1)·(2/(γ + 1))^(γ/(γ − 1)).

    References
    ----------
    Momentum and pressure at a sonic throat, derived; NACA Report 1135 for the flow.

    Examples
    --------
    >>> float(sonic_thrust_coefficient(np.array(1.4)).round(4))
    1.2679
    """
    return np.asarray((gamma + 1.0) * np.power(2.0 / (gamma + 1.0), gamma / (gamma - 1.0)))


def seat_load_area(motors: Motors) -> Array:
    """Load of the nozzle insert on its seat over head pressure.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Array
        [m2], (n,).

    Notes
    -----
    Momentum balance from the insert's entry to the sonic throat, A_insert − C_F(M = 1)·A_t; the pull of the divergent is left
    out, since part of it may be cut in the carrier. A_insert is the insert's outside, or the seat diameter where
    `nozzle.insert_diameter` is not given; at least a quarter of it is used.

    References
    ----------
    Derived; `sonic_thrust_coefficient`.
    """
    seat = need(motors, "nozzle.seat_diameter")
    outside = motors.nozzle.insert_diameter
    plain = 0.25 * np.pi * np.square(seat if outside is None else outside)
    relieved = plain - sonic_thrust_coefficient(motors.propellant.gamma) * throat_area(motors)
    return np.asarray(np.maximum(relieved, 0.25 * plain))


def _opening_load_area(motors: Motors) -> Array:
    """Load that comes from within the seat diameter over head pressure; around it pressure loads the plate. [m2]"""
    plain = 0.25 * np.pi * np.square(need(motors, "nozzle.seat_diameter"))
    relieved = plain - sonic_thrust_coefficient(motors.propellant.gamma) * throat_area(motors)
    return np.asarray(np.maximum(relieved, 0.25 * plain))


def _insert_strength(motors: Motors, name: str) -> float:
    material = need(motors, "nozzle.material")
    number: float | None = getattr(material, name)
    if number is None:
        raise NotComputable(f"{name} of {material.name} is not known")
    return number


def seat_compression(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the insert crushes on its annular seat.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    Sc·(π/4)(d_insert² − d_seat²) over the load; even contact, no bending nor thermal stress.

    References
    ----------
    Force over section, definition; `seat_load_area`.
    """
    seat = need(motors, "nozzle.seat_diameter")
    outside = need(motors, "nozzle.insert_diameter")
    face = 0.25 * np.pi * np.maximum(np.square(outside) - np.square(seat), 0.0)
    return np.asarray(face * _insert_strength(motors, "compressive_strength") / seat_load_area(motors))


def insert_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the insert shears through above its seat.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    π·d_seat·l·Ss over the load; no bending nor thermal stress.

    References
    ----------
    Force over section, definition; `seat_load_area`.
    """
    seat, length = need(motors, "nozzle.seat_diameter"), need(motors, "nozzle.insert_length")
    return np.asarray(np.pi * seat * length * _insert_strength(motors, "shear_strength") / seat_load_area(motors))


# --- notes -----------------------------------------------------------------------------------------------------------


def thread_note(motors: Motors, situation: Situation) -> str:
    """Both threads, and the load bound aft.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    own, tube = ring_thread_shear_both(motors, situation)
    both = f"thread of the ring {pressure_text(own)}, thread of the case {pressure_text(tube)}"
    bound = end_load_note(motors, situation.end, np.minimum(own, tube))
    return sentences(both, bound)


def groove_note(motors: Motors, situation: Situation) -> str:
    """The edge margin in groove depths, and the load bound aft.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    ring = _snap(motors, situation.end)
    margin = float(np.min(ring.edge_margin / ring.groove_depth))
    text = f"edge margin {margin:.2g} groove depths"
    text += ", below the 3 that ring makers ask for (common practice, no source)" if margin < 3.0 else ""
    return sentences(text, end_load_note(motors, situation.end, groove_shear(motors, situation)))


def plate_note(motors: Motors, situation: Situation) -> str:
    """The clamped bound, the opening taken, and the strength used.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    end = situation.end
    material, _ = _plate(motors, end)
    opening = ""
    if end == "aft":
        opening = "opening at nozzle.seat_diameter"
        if motors.nozzle.seat_diameter is None:
            opening = "nozzle.seat_diameter is not given: the worst opening taken"
    thick = float(np.max(need(motors, f"{end}_closure.plate_thickness") / (0.5 * seal_diameter(motors, end))))
    doubt = "thicker than a quarter of its radius, so thin-plate theory is rough" if thick > 0.25 else ""
    clamped = f"clamped edge: {pressure_text(plate_pressure(motors, end, clamped=True))}"
    plug = plug_of(motors, end)
    if plug is not None:
        place = "in the middle" if plug.offset is None else "off the middle, as a small hole"
        opening, clamped = f"with the hole of the plug {place}, its push on the rim", ""
    return sentences(clamped, opening, _way_of_the_push(motors, end), doubt, other_part_note(motors, material, "yield_strength"))


def _way_of_the_push(motors: Motors, end: str) -> str:
    """How the push goes from the gas to the case, in one line."""
    part = closure(motors, end)
    push = float(np.min(end_load_area(motors, end))) * 1e3
    sealed = float(np.min(seal_diameter(motors, end))) * 1e3
    held = {"radial-screws": "its screws", "threaded-ring": "its thread", "snap-ring": "the groove", "welded-lip": "the weld"}
    on = "at its rim" if part.bearing_diameter is None else f"on {float(np.min(part.bearing_diameter)) * 1e3:.1f} mm"
    what = "lip" if part.retention == "welded-lip" else "ring"
    return (
        f"{push:.3g} kN for each MPa within {sealed:.1f} mm goes through the plate to the {what} {on}, and by "
        f"{held[part.retention]} into the case at the bore"
    )


def ring_note(motors: Motors, situation: Situation) -> str:
    """Strength of the closure ring's material.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    part = closure(motors, situation.end)
    material = part.ring_material or part.plate_material
    return "" if material is None else other_part_note(motors, material, "shear_strength")


def seat_note(motors: Motors, situation: Situation) -> str:
    """Strength of the insert.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    str
        The words.
    """
    material = need(motors, "nozzle.material")
    return f"{material.name}: {material.source('compressive_strength')}; even contact, no bending or thermal stress"


def insert_note(motors: Motors, situation: Situation) -> str:
    """Strength of the insert in shear.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    str
        The words.
    """
    material = need(motors, "nozzle.material")
    return f"{material.name}: {material.source('shear_strength')}"
