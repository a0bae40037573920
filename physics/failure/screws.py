"""Radial screws: every way a ring of screws lets go, and the proportions of a sound joint.

Owns the modes of a radial-screw joint. Sizes and areas come from `physics.failure.threads` and are offered here too. Sources:
NASA-STD-5020B, AISC 360-16, MIL-HDBK-5J, each beside its formula; of the modes in `physics.failure.ladder.MODES`. Imports numpy
and, from physics, case, materials, modes, motors and threads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.failure.case import (
    SHEAR_OVER_TENSILE,
    closure,
    end_load_area,
    end_load_note,
    heat_affected_at,
    joint_strength,
    other_part_note,
    plain_digits,
    pressure_text,
    sentences,
    service_temperature,
    strength,
    strength_text,
)
from physics.failure.threads import ScrewSize, ThreadAreas, areas, screw_size, screw_sizes
from physics.materials import WARMEST_WITHOUT_TABLE, Material
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, Screws, Situation

__all__ = ["ScrewSize", "ThreadAreas", "areas", "screw_size", "screw_sizes"]


# --- joint formulas --------------------------------------------------------------------------------------------------


def shear_strength_threads(
    tensile_strength: Array, diameter: Array, pitch: Array, metric: Array, socket: Array | float = 0.0
) -> Array:
    """Shear load of one screw with threads in the plane.

    Parameters
    ----------
    tensile_strength : Array
        [Pa].
    diameter, pitch : Array
        [m].
    metric : Array
        1 for ISO metric, 0 for unified threads.
    socket : Array
        Area of a socket in the plane [m2].

    Returns
    -------
    Array
        [N]; 0 where nothing is left; broadcasts.

    Notes
    -----
    0.6·Su·(A_m − socket), A_m the least minor area that tolerances allow.

    References
    ----------
    NASA-STD-5020B Eq 13 (read); a socket in the plane is taken off the section.
    """
    section = areas(diameter, pitch, metric).minimum_minor - socket
    return np.asarray(SHEAR_OVER_TENSILE * tensile_strength * np.maximum(section, 0.0))


def shear_strength_shank(tensile_strength: Array, diameter: Array) -> Array:
    """Shear load of one screw with its full body in the plane.

    Parameters
    ----------
    tensile_strength : Array
        [Pa].
    diameter : Array
        [m].

    Returns
    -------
    Array
        [N]; broadcasts.

    Notes
    -----
    0.6·Su·(π/4)·D².

    References
    ----------
    NASA-STD-5020B Eq 12 (read).
    """
    return np.asarray(SHEAR_OVER_TENSILE * tensile_strength * 0.25 * np.pi * np.square(diameter))


def socket_area(across_flats: Array) -> Array:
    """Section of a hexagon socket.

    Parameters
    ----------
    across_flats : Array
        [m].

    Returns
    -------
    Array
        [m2]; broadcasts.

    Notes
    -----
    (√3/2)·s².

    References
    ----------
    Geometry.
    """
    return np.asarray(0.5 * np.sqrt(3.0) * np.square(across_flats))


def _socket_in_plane(motors: Motors, screws: Screws) -> Array:
    """Area [m2] that the socket of a set screw takes out of the plane where case and ring meet, 0 where it ends before it.

    The screw is taken as flush with the outside of the case. A socket whose depth is not given is taken to reach the plane.
    """
    if screws.kind != "set screw" or screws.socket_across_flats is None:
        return np.asarray(0.0)
    taken = socket_area(screws.socket_across_flats)
    if screws.socket_depth is None:
        return taken
    return np.where(screws.socket_depth >= need(motors, "case.wall"), taken, 0.0)


def _on_threads(motors: Motors, screws: Screws) -> Array:
    """Shear load of one screw on its threads, less its socket. [N]"""
    socket = _socket_in_plane(motors, screws)
    return shear_strength_threads(screws.tensile_strength, screws.diameter, screws.pitch, screws.metric, socket)


def bearing_strength(tensile_strength: Array, diameter: Array, thickness: Array) -> Array:
    """Load at which a hole elongates.

    Parameters
    ----------
    tensile_strength : Array
        Of the plate [Pa].
    diameter, thickness : Array
        Screw and plate [m].

    Returns
    -------
    Array
        [N]; broadcasts.

    Notes
    -----
    2.4·d·t·Su, which limits the hole's growth in service; its rupture form is 3.0.

    References
    ----------
    AISC 360-16 J3.10 form (transcriptions, read at second hand).
    """
    return np.asarray(2.4 * diameter * thickness * tensile_strength)


def tear_out_strength(tensile_strength: Array, clear_distance: Array, thickness: Array) -> Array:
    """Load at which the metal between hole and edge shears out.

    Parameters
    ----------
    tensile_strength : Array
        [Pa].
    clear_distance, thickness : Array
        From the hole's rim to the edge, and the plate [m].

    Returns
    -------
    Array
        [N]; 0 where nothing is left; broadcasts.

    Notes
    -----
    1.2·l_c·t·Su; its rupture form is 1.5.

    References
    ----------
    AISC 360-16 J3.10 form (transcriptions, read at second hand).
    """
    return np.asarray(1.2 * np.maximum(clear_distance, 0.0) * thickness * tensile_strength)


def tabulated_bearing_strength(material: Material, edge_ratio: Array) -> Array:
    """Bearing strength at an edge ratio, from the tabulated values at 1.5 and 2.0.

    Parameters
    ----------
    material : Material
        Of the plate.
    edge_ratio : Array
        Edge distance over diameter, e/D [-].

    Returns
    -------
    Array
        [Pa]; NaN below 1.5; broadcasts.

    Notes
    -----
    For thickness over diameter of 0.25 to 0.50; above e/D 2 the value at 2 holds.

    References
    ----------
    MIL-HDBK-5J 1.4.7.1 (read at second hand).
    """
    short, full = material.bearing_strength_short, material.bearing_strength
    if short is None or full is None:
        raise NotComputable(f"bearing_strength of {material.name} is not known")
    return np.where(np.asarray(edge_ratio) >= 1.5, np.interp(edge_ratio, [1.5, 2.0], [short, full]), np.nan)


def net_section_area(outer: Array, bore: Array, wall: Array, count: Array, hole: Array) -> Array:
    """Cross-section of the tube less a ring of holes.

    Parameters
    ----------
    outer, bore, wall, hole : Array
        [m].
    count : Array
        Holes [-].

    Returns
    -------
    Array
        [m2]; negative where the holes overlap; broadcasts.

    References
    ----------
    Geometry.
    """
    return np.asarray(0.25 * np.pi * (np.square(outer) - np.square(bore)) - count * hole * wall)


def net_stress_concentration(hole: Array, pitch: Array) -> Array:
    """Peak over net-section stress beside a hole in a strip one pitch wide.

    Parameters
    ----------
    hole, pitch : Array
        [m].

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    2 + (1 − d/s)³. An open hole in tension; a screw that fills its hole and bears on one side raises it further.

    References
    ----------
    Heywood's formula, as in Peterson's Stress Concentration Factors (remembered).
    """
    return np.asarray(2.0 + np.power(1.0 - np.clip(np.divide(hole, pitch), 0.0, 1.0), 3))


# --- the joint of a closure ------------------------------------------------------------------------------------------


def screws_of(motors: Motors, end: str) -> Screws:
    """The radial screws of one closure.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Screws
        As the file gives them.

    Raises
    ------
    NotComputable
        Where the closure or its screws are not given.
    """
    found = closure(motors, end).screws
    if found is None:
        raise NotComputable(f"{end}_closure.screw is not given")
    return found


def has_screws(motors: Motors, end: str) -> bool:
    """Whether an end is held by radial screws, or may be: nothing is said of it.

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
    part = motors.forward_closure if end == "forward" else motors.aft_closure
    return part is None or part.retention == "radial-screws"


def _pressure(motors: Motors, end: str, load_per_screw: Array) -> Array:
    """Head pressure at which a screw of the ring carries `load_per_screw`, uneven sharing and fitting counted."""
    screws = screws_of(motors, end)
    carried = load_per_screw * screws.count * screws.load_sharing / screws.fitting_factor
    return np.asarray(carried / end_load_area(motors, end))


def _ring(motors: Motors, end: str) -> tuple[Material, Array]:
    """Material of the ring and the length over which a screw bears in it."""
    name = f"{end}_closure"
    material: Material = need(motors, f"{name}.ring_material")
    screws = screws_of(motors, end)
    if screws.flush_length is None:
        return material, need(motors, f"{name}.screws.ring_thickness")
    engaged = np.asarray(np.maximum(screws.flush_length - need(motors, "case.wall"), 0.0))
    return material, engaged if screws.ring_thickness is None else np.minimum(screws.ring_thickness, engaged)


def _clear_distance(motors: Motors, end: str) -> Array:
    edge: Array = need(motors, f"{end}_closure.screws.edge_distance")
    return edge - 0.5 * screws_of(motors, end).hole_diameter


def _rim_distance(motors: Motors, end: str) -> Array | float:
    """How far from the end of the case the rims of the holes begin; at the end itself where that is not given."""
    return 0.0 if screws_of(motors, end).edge_distance is None else _clear_distance(motors, end)


def _joint_strength(motors: Motors, end: str, what: str) -> Array:
    """Strength of the case at the ring of holes; the weld zone covers it where it reaches the rims of the holes."""
    return joint_strength(motors, end, what, _rim_distance(motors, end))


def screw_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the screws shear where case and ring meet.

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
    A set screw's socket that reaches the plane takes its hexagon out of the section. Uneven sharing and the fitting factor as the
    file gives them.

    References
    ----------
    `shear_strength_threads`, `shear_strength_shank`.
    """
    need(motors, "case")
    screws = screws_of(motors, situation.end)
    threads = _on_threads(motors, screws)
    shank = shear_strength_shank(screws.tensile_strength, screws.diameter)
    return _pressure(motors, situation.end, np.where(screws.threads_in_plane > 0.5, threads, shank))


def bearing_in_case(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the holes of the case elongate.

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
    `bearing_strength`.
    """
    wall = need(motors, "case.wall")
    screws = screws_of(motors, situation.end)
    tensile = _joint_strength(motors, situation.end, "tensile")
    return _pressure(motors, situation.end, bearing_strength(tensile, screws.diameter, wall))


def bearing_in_ring(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the holes of the closure ring elongate.

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
    The screw bears as far as it reaches into the ring.

    References
    ----------
    `bearing_strength`.
    """
    screws = screws_of(motors, situation.end)
    material, thickness = _ring(motors, situation.end)
    tensile = strength(motors, material, "tensile")
    return _pressure(motors, situation.end, bearing_strength(tensile, screws.diameter, thickness))


def tear_out_of_case(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the screws tear out to the end of the case.

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
    `tear_out_strength`.
    """
    wall = need(motors, "case.wall")
    tensile = joint_strength(motors, situation.end, "tensile", 0.0)
    return _pressure(motors, situation.end, tear_out_strength(tensile, _clear_distance(motors, situation.end), wall))


def tear_out_of_ring(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the screws tear out of the ring, towards the chamber.

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
    The ring's holes are tapped: of the screw's diameter.

    References
    ----------
    `tear_out_strength`.
    """
    screws = screws_of(motors, situation.end)
    edge = need(motors, f"{situation.end}_closure.screws.ring_edge_distance")
    material, thickness = _ring(motors, situation.end)
    clear = edge - 0.5 * screws.diameter
    return _pressure(motors, situation.end, tear_out_strength(strength(motors, material, "tensile"), clear, thickness))


def _net_pressure(motors: Motors, end: str, stress: Array) -> Array:
    screws, case = screws_of(motors, end), need(motors, "case")
    net = net_section_area(case.outer_diameter, case.bore, case.wall, screws.count, screws.hole_diameter)
    return np.asarray(stress * np.maximum(net, 0.0) / end_load_area(motors, end))


def net_section(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the case tears across its ring of holes.

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
    Tensile strength on what the holes leave; ductile, no stress concentration.

    References
    ----------
    `net_section_area`.
    """
    return _net_pressure(motors, situation.end, _joint_strength(motors, situation.end, "tensile"))


def stress_at_holes(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the case has yielded across its ring of holes: the holes stay long.

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
    `net_section_area`.
    """
    return _net_pressure(motors, situation.end, _joint_strength(motors, situation.end, "yield"))


# --- figures and notes -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Proportion:
    """A proportion of a joint or gland with the band good practice keeps it in; arrays (n,), NaN bounds are open."""

    name: str
    value: Array
    low: float
    high: float
    source: str

    @property
    def ok(self) -> Array:
        """Whether the value lies in the band, as 1.0 or 0.0; NaN values are not ok. [-]"""
        above = np.isnan(self.low) | (self.value >= self.low)
        below = np.isnan(self.high) | (self.value <= self.high)
        return np.asarray((above & below & ~np.isnan(self.value)).astype(float))

    def warning(self) -> str:
        """What is wrong with a single joint or gland, or nothing."""
        if bool(np.all(self.ok > 0.5)):
            return ""
        low = "" if np.isnan(self.low) else f"at least {self.low:g}"
        high = "" if np.isnan(self.high) else f"at most {self.high:g}"
        wanted = " and ".join(text for text in (low, high) if text)
        return f"{self.name} is {float(np.ravel(self.value)[0]):.3g}; {wanted} is good practice ({self.source})"


def joint_figures(motors: Motors, end: str) -> tuple[Proportion, ...]:
    """Proportions of a radial-screw joint: edge ratio, spacing, wall over screw diameter, engagement.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    tuple of Proportion
        (n,) each [-].

    Notes
    -----
    Engagement is that of the thread in the ring.

    References
    ----------
    With each proportion.
    """
    screws, case = screws_of(motors, end), need(motors, "case")
    nan = float("nan")
    spacing = np.pi * (case.outer_diameter - case.wall) / screws.count / screws.diameter
    figures = [
        Proportion("screw spacing over diameter", np.asarray(spacing), 8.0 / 3.0, nan, "AISC 360 J3.3, remembered"),
        Proportion("wall over screw diameter", case.wall / screws.diameter, 0.25, nan, "MIL-HDBK-5J 1.4.7.1"),
    ]
    if screws.edge_distance is not None:
        ratio = np.asarray(screws.edge_distance / screws.diameter)
        usual = "MIL-HDBK-5J 1.4.7.1; 2.0 is usual"
        figures.insert(0, Proportion("edge distance over screw diameter", ratio, 1.5, nan, usual))
    if screws.flush_length is not None or screws.ring_thickness is not None:
        engaged = np.inf if screws.flush_length is None else screws.flush_length - case.wall
        deep = np.inf if screws.ring_thickness is None else screws.ring_thickness
        value = np.asarray(np.minimum(engaged, deep) / screws.diameter)
        figures.append(
            Proportion("thread engagement in the ring over diameter", value, LEAST_ENGAGED, nan, "common practice, no source")
        )
    return tuple(figures)


def shear_basis(motors: Motors, situation: Situation) -> str:
    """The formula that applies to the plane the file names.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The formula.
    """
    threads = screws_of(motors, situation.end).threads_in_plane > 0.5
    both = (
        "0.6 Su on the minimum minor-diameter area (threads in the plane), NASA-STD-5020B Eq 13, B1.1 2A or ISO 965 6g",
        "0.6 Su on the body area (shank in the plane), NASA-STD-5020B Eq 12",
    )
    if np.all(threads):
        return both[0]
    return " or ".join(both) if np.any(threads) else both[1]


def shear_note(motors: Motors, situation: Situation) -> str:
    """The pressure with the other part of the screw in the plane, and the strength of one screw both ways.

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
    screws = screws_of(motors, situation.end)
    threads = _on_threads(motors, screws)
    shank = shear_strength_shank(screws.tensile_strength, screws.diameter)
    in_threads = bool(np.all(screws.threads_in_plane > 0.5))
    other = _pressure(motors, situation.end, shank if in_threads else threads)
    name = "the plain shank" if in_threads else "the threads"
    one = f"one screw: {_force_text(threads)} on threads, {_force_text(shank)} on its shank"
    if screws.kind == "set screw":
        one = f"one screw: {_force_text(threads)}"
    own = _pressure(motors, situation.end, threads if in_threads else shank)
    hot = bool(np.any(service_temperature(motors) > WARMEST_WITHOUT_TABLE))
    return sentences(
        "" if screws.kind == "set screw" else f"with {name} in the plane: {pressure_text(other)}",
        *_kind_notes(motors, situation.end),
        one,
        f"Su {strength_text(_least(screws.tensile_strength))} {screws.grade}".strip(),
        f"fitting factor {_least(screws.fitting_factor):.3g}",
        "" if _least(screws.load_sharing) >= 1.0 else f"load sharing {_least(screws.load_sharing):.3g}",
        "the screws at room temperature" if hot else "",
        end_load_note(motors, situation.end, own),
    )


LEAST_ENGAGED = 1.0
"""Thread engagement in the ring, in screw diameters, that good practice asks for (common practice, no source)."""

FIRST_TO_BEAR = 3.0
"""Screws on which a stiff ring rests before any hole has given: three points hold it along and across (derived)."""


def _kind_notes(motors: Motors, end: str) -> tuple[str, ...]:
    """What the kind of screw means: socket, engagement, loosening, flushness, least length, uneven bearing."""
    screws, wall = screws_of(motors, end), need(motors, "case.wall")
    notes = []
    if screws.kind == "set screw":
        taken = _least(_socket_in_plane(motors, screws))
        if taken > 0.0:
            share = taken / _least(areas(screws.diameter, screws.pitch, screws.metric).minimum_minor)
            said = "" if screws.socket_depth is not None else ", socket_depth is not given: taken to reach the plane"
            notes.append(f"the socket takes {share:.0%} of the section{said}")
        notes.append(_engagement_note(screws, wall))
        notes.append(
            "a set screw has no head to be drawn tight, nothing clamps it and it works loose: lock it, flush with the case or "
            "below, and look before each firing; how loose it is, is not assessed"
        )
    elif screws.kind == "cap screw":
        notes.append(_shank_note(screws, wall))
    elif screws.kind in ("button head", "pan head"):
        notes.append("such a screw is mostly threaded up to its head: no shank in the joint (common practice, no source)")
    notes.append(_sharing_note(motors, end, screws))
    return tuple(note for note in notes if note)


def _engagement_note(screws: Screws, wall: Array) -> str:
    """How much of a set screw's thread is in the ring."""
    if screws.flush_length is None:
        return "flush_length is not given: taken to reach through the ring"
    engaged = _least(screws.flush_length - wall)
    if screws.ring_thickness is not None:
        engaged = min(engaged, _least(screws.ring_thickness))
    return f"{max(engaged, 0.0) * 1e3:.1f} mm of thread in the ring, {max(engaged, 0.0) / _least(screws.diameter):.2g} diameters"


def _shank_note(screws: Screws, wall: Array) -> str:
    """From which length on a cap screw has its plain shank in the joint, and whether this one has."""
    long = _shortest_with_shank(screws) + _least(wall)
    text = f"a plain shank reaches the joint from about {long * 1e3:.0f} mm under the head on (thread 2 d + 12 mm)"
    shank = bool(np.any(screws.threads_in_plane < 0.5))
    if shank and screws.flush_length is not None and _least(screws.flush_length) < long:
        text += f"; this one is {_least(screws.flush_length) * 1e3:.0f} mm long: by the standard its thread lies in the joint"
    return text


def _sharing_note(motors: Motors, end: str, screws: Screws) -> str:
    """What holes wider than their screws may do to the sharing of the load, as a bound."""
    play = _least(screws.hole_diameter - screws.diameter)
    if not (play > 0.0 and _least(screws.count) > FIRST_TO_BEAR and _least(screws.load_sharing) >= 1.0):
        return ""
    own, holes = screw_shear_load(motors, end), _pressure_of_holes(motors, end)
    if holes is not None and _least(holes) < _least(own):
        return f"{play * 1e3:.2f} mm of play is evened out by the holes, which give before the screws"
    few = pressure_text(own * FIRST_TO_BEAR / screws.count)
    return f"with {play * 1e3:.2f} mm of play three may bear first and go before the holes even it out: {few}"


def _pressure_of_holes(motors: Motors, end: str) -> Array | None:
    """Head pressure at which the holes of the case elongate, None where that cannot be said."""
    try:
        return bearing_in_case(motors, Situation(end))
    except NotComputable:
        return None


def _shortest_with_shank(screws: Screws) -> float:
    """Threaded length of a socket cap screw, 2·d + 12 mm; ISO 4762 (remembered). [m]"""
    return 2.0 * _least(screws.diameter) + 0.012


def screw_shear_load(motors: Motors, end: str) -> Array:
    """Head pressure at which the screws shear, all of them bearing.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Array
        [Pa], (n,).

    References
    ----------
    `screw_shear`.
    """
    return screw_shear(motors, Situation(end))


def _force_text(force: Array) -> str:
    value = _least(force)
    return f"{plain_digits(value / 1e3)} kN ({plain_digits(value / 4.4482216152605)} lbf)"


def _least(value: Array) -> float:
    return float(np.min(value))


def tear_out_note(motors: Motors, situation: Situation) -> str:
    """The weld zone, and what of the joint is out of proportion.

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
    doubts = [proportion.warning() for proportion in joint_figures(motors, situation.end)]
    return sentences(_weld_note(motors, situation.end), *doubts)


def _weld_note(motors: Motors, end: str) -> str:
    """Whether the heat-affected zone of the case, where there is one, covers the joint."""
    if motors.case is None or not motors.case.heat_affected:
        return ""
    reached = bool(np.any(heat_affected_at(motors, end, _rim_distance(motors, end))))
    return f"the heat-affected zone {'covers' if reached else 'does not reach'} this joint"


def bearing_note(motors: Motors, situation: Situation) -> str:
    """The tabulated bearing strength beside the formula's, and the weld zone.

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
    return sentences(_tabulated_note(motors, situation.end), _weld_note(motors, situation.end))


def _tabulated_note(motors: Motors, end: str) -> str:
    """The pressure by the tabulated bearing allowable, where the material has one and the edge ratio is in range."""
    case, screws = need(motors, "case"), screws_of(motors, end)
    material = case.material
    if screws.edge_distance is None or None in (material.bearing_strength_short, material.bearing_strength):
        return ""
    ratio = screws.edge_distance / screws.diameter
    load = tabulated_bearing_strength(material, ratio) * screws.diameter * case.wall
    if np.all(np.isnan(load)):
        return ""
    thick = float(np.max(case.wall / screws.diameter)) > 0.5
    beyond = ", though that table ends at wall over diameter 0.50" if thick else ""
    pressure = pressure_text(_pressure(motors, end, load))
    return f"by the tabulated bearing strength at e/D {_least(ratio):.2f}: {pressure}{beyond}"


def hole_edge_note(motors: Motors, situation: Situation) -> str:
    """When the rim of the holes first yields, which is local and spreads out.

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
    screws, case = screws_of(motors, situation.end), need(motors, "case")
    pitch = np.pi * (case.outer_diameter - case.wall) / screws.count
    peak = net_stress_concentration(screws.hole_diameter, pitch)
    first = stress_at_holes(motors, situation) / peak
    return (
        f"the rims of the holes begin to yield at {pressure_text(first)} (x {_least(peak):.2f}, Heywood, open hole): "
        "local in a ductile case"
    )


def ring_joint_note(motors: Motors, situation: Situation) -> str:
    """Strength of the ring.

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
    return other_part_note(motors, need(motors, f"{situation.end}_closure.ring_material"), "tensile_strength")


def net_note(motors: Motors, situation: Situation) -> str:
    """Load bound of the aft end, and the weld zone.

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
    own = net_section(motors, situation)
    return sentences(end_load_note(motors, situation.end, own), _weld_note(motors, situation.end))
