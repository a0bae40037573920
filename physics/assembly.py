"""The assembled motor: one stack along the axis, and what geometry allows.

Owns where every part sits from the forward end of the case (x = 0) to the nozzle's exit, how much of the case is left,
what had to be assumed for it, and the shapes that cannot exist. The room left, a filled case, the free volume, the
liner's length, the section and the cut list all come from here. Source: geometry; what is assumed is common practice, no
source. Imports numpy and motors.

The stack, forward end first: the ring that holds the forward closure (radial screws: from the end of the case to the
holes, and on to the ring's own edge distance beyond them; threaded ring: its engagement; snap ring: the edge margin and
the ring; welded lip: up to its inner face), the plate, the grains one against the other, the nozzle up to the aft ring, the
aft ring. Grains lie against the plate, the nozzle against the aft ring; what is left lies between them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.motors import Array, Closure, Motors, Seal, WeldedLip, as_column

Mask = NDArray[np.bool_]

CONVERGENT = np.pi / 4.0
"""Half angle of the convergent cone where nothing is said of the nozzle's length. [rad]"""
PLATE_SHARE = 0.2
"""Thickness of a forward plate that is not given, over the bore (common practice, no source)."""
EDGE_DIAMETERS = 2.0
"""Edge distance that is not given, in screw diameters (common practice, no source)."""
LAND_SHARE = 0.5
"""Land beside a gland, in cross sections of its O-ring (common practice, no source)."""
GLAND_SHARE = 1.35
"""Width of a gland that is not given, in cross sections of its O-ring (common practice, no source)."""
MOST_RINGS = 4
"""Rings of one part, one behind the other, that are looked at here."""
ROUNDING = 1e-9
"""Length [m] below which a stack that is too long is so by rounding alone."""
LOOSE_SHARE = 0.1
"""Part of the shortest grain from which on the room left lets the grains move (common practice, no source)."""


@dataclass(frozen=True)
class Assumption:
    """A length that the file does not give: the `key` that would settle it, what was taken, and how long [m], (n,)."""

    key: str
    taken: str
    length: Array


@dataclass(frozen=True)
class Assembly:
    """Where the parts of a batch of motors sit along the axis. [m], (n,), grains (n, rows)

    `nozzle_face` is the forward face of the nozzle, `ring_face` that of the aft ring (the end of the case without one),
    `exit` the end of the divergent cone. `case_length` is the stack's own where the file gives none. `chamber_bore` is the
    diameter inside the liner. `left` is the room as drawn, `least_left` that at the worst corner of the tolerances of what
    lies along the axis. `not_assessed` says which key keeps the room from being judged, or is empty. Where the stack is too
    long for its case (`left` below 0) `nozzle_face` lies within the grains.
    """

    forward_ring_end: Array
    plate_end: Array
    grain_start: Array
    grain_end: Array
    nozzle_face: Array
    throat: Array
    ring_face: Array
    exit: Array
    case_length: Array
    chamber_bore: Array
    behind_insert: Array
    stack: Array
    left: Array
    least_left: Array
    assumed: tuple[Assumption, ...]
    not_assessed: str

    @property
    def grains_end(self) -> Array:
        """Where the last grain ends. [m], (n,)"""
        return np.asarray(np.max(self.grain_end, axis=1, initial=0.0))

    @property
    def fits(self) -> Mask:
        """Whether the stack goes into its case whatever the tolerances make of it, (n,); True where that is not assessed,
        False where it is NaN.
        """
        return np.ones(self.stack.shape, dtype=bool) if self.not_assessed else np.asarray(self.least_left >= 0.0)

    @property
    def spans(self) -> Mapping[str, tuple[Array, Array]]:
        """Start and end of each part along the axis, by its name. [m], (n,)"""
        zero = np.zeros_like(self.stack)
        return {
            "case": (zero, self.case_length),
            "forward ring": (zero, self.forward_ring_end),
            "forward plate": (self.forward_ring_end, self.plate_end),
            "grains": (self.plate_end, self.grains_end),
            "room left": (self.grains_end, self.nozzle_face),
            "liner": (self.plate_end, np.maximum(self.nozzle_face, self.plate_end)),
            "nozzle": (self.nozzle_face, self.exit),
            "aft ring": (self.ring_face, self.case_length),
        }


def assemble(motors: Motors) -> Assembly:
    """Place every part of a batch of n motors along the axis.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Assembly
        Positions from the forward end of the case, metres.

    Notes
    -----
    The nozzle takes `nozzle.length_in_case`. Where that is not given it is as long as its convergent (45 degrees from
    the bore inside the liner to the throat), as the glands of the aft closure or as its insert, whichever is longest, and
    behind it comes the aft plate, or the shoulder that carries the seat. An insert counts where it cannot reach into the
    ring: it sits on a seat, or is wider than the ring's opening. The room is not assessed without the length of the case
    or without a closure. Source: geometry; assumptions are common practice, no source.

    Examples
    --------
    Ring 12 + 10, plate 9, grains 3 x 70, convergent (40 - 10)/2, ring 12 + 10: 278 mm (see the tests).
    """
    n = motors.size
    assumed: list[Assumption] = []
    forward = _ring(motors.forward_closure, "forward", assumed)
    plate = forward + _plate(motors, assumed)
    start, end = _grains(motors, plate)
    chamber = _chamber_bore(motors)
    convergent = np.maximum(0.5 * (chamber - motors.nozzle.throat_diameter), 0.0) / np.tan(CONVERGENT)
    behind = _behind_insert(motors)
    nozzle = _nozzle(motors, convergent, behind, assumed)
    aft = _ring(motors.aft_closure, "aft", assumed)
    stack = as_column(np.max(end, axis=1, initial=0.0) + nozzle + aft, n)
    given = None if motors.case is None else motors.case.length
    length = stack if given is None else as_column(given, n)
    left = length - stack
    left = np.where(np.abs(left) < ROUNDING, 0.0, left)
    ring_face = length - aft
    face = ring_face - nozzle
    throat = face + np.minimum(convergent, nozzle)
    spread = 0.5 * (motors.nozzle.exit_diameter - motors.nozzle.throat_diameter)
    mouth = throat + np.maximum(spread, 0.0) / np.tan(np.maximum(motors.nozzle.half_angle, 1e-6))
    longest = at_longest(motors)
    least = left if longest is motors else assemble(longest).left
    columns = (forward, plate, start, end, face, throat, ring_face, mouth, length, chamber, behind, stack, left, least)
    names = [item.name for item in fields(Assembly)][: len(columns)]
    placed = {name: value if np.ndim(value) == 2 else as_column(value, n) for name, value in zip(names, columns, strict=True)}
    return Assembly(**placed, assumed=tuple(assumed), not_assessed=_missing(motors))


_ENDS = ("forward_closure", "aft_closure")
ALONG = (
    "grain.length", "nozzle.length_in_case", "nozzle.insert_length",
    *(f"{end}.{leaf}" for end in _ENDS for leaf in (
        "plate_thickness", "shoulder_thickness", "screws.edge_distance", "screws.ring_edge_distance",
        "threaded_ring.engagement", "snap_ring.edge_margin", "snap_ring.ring_thickness",
        "welded_lip.distance", "welded_lip.thickness",
        *(f"seal{'.behind' * row}.{own}" for row in range(MOST_RINGS) for own in ("gland_width", "cross_section", "from_gas")),
    )),
)  # fmt: skip
"""Dimensions along the axis: the longer one of them is, the longer the stack."""


def at_end(motors: Motors, column: str, upper: bool) -> Array | None:
    """A column at the upper or the lower end of its tolerance, as drawn without one, None where it is not given.

    Parameters
    ----------
    motors : Motors
        The batch, n motors, SI.
    column : str
        Dotted key of the column.
    upper : bool
        The upper end rather than the lower.

    Returns
    -------
    Array or None
        (n,) or (n, rows), in its own SI unit; never below 0.
    """
    value, tolerance = motors.value(column), motors.tolerances.get(column)
    if value is None or tolerance is None:
        return None if value is None else np.asarray(value, dtype=float)
    minus, plus = tolerance.reach
    by = plus if upper else -minus
    leaf = np.asarray(value, dtype=float)
    return np.maximum(leaf * (1.0 + by) if tolerance.relative else leaf + by, 0.0)


def at_longest(motors: Motors) -> Motors:
    """The motors at the corner of their tolerances where the stack is longest and the case shortest.

    Parameters
    ----------
    motors : Motors
        The batch, n motors, SI.

    Returns
    -------
    Motors
        The moved batch; the same object where no dimension along the axis has a tolerance.
    """
    given = [name for name in (*ALONG, "case.length") if name in motors.tolerances and motors.value(name) is not None]
    if not given:
        return motors
    moved = {name: at_end(motors, name, upper=name != "case.length") for name in given}
    return replace(motors.with_values(moved), tolerances={})


def _missing(motors: Motors) -> str:
    """The first key without which the room along the case cannot be judged."""
    if motors.case is None:
        return "[case] is not given"
    if motors.case.length is None:
        return "case.length is not given"
    for end in ("forward", "aft"):
        if getattr(motors, f"{end}_closure") is None:
            return f"[{end}_closure] is not given"
    return ""


def ring_length(closure: Closure | None) -> Array | float:
    """How far what holds a closure reaches from the end of the case inwards, as far as the file says. [m], (n,)

    Parameters
    ----------
    closure : Closure or None
        The closure, SI.

    Returns
    -------
    Array or float
        [m], (n,).
    """
    return _ring(closure, "", [])


def _ring(closure: Closure | None, end: str, assumed: list[Assumption]) -> Array | float:
    if closure is None:
        return 0.0
    if closure.screws is not None:
        edge, beyond = closure.screws.edge_distance, closure.screws.ring_edge_distance
        if edge is None:
            edge = EDGE_DIAMETERS * closure.screws.diameter
            assumed.append(Assumption(f"{end}_closure.edge_distance", "twice the screw's diameter", edge))
        if beyond is None:
            beyond = edge
            assumed.append(Assumption(f"{end}_closure.ring_edge_distance", "as the edge distance", beyond))
        return edge + beyond
    if closure.threaded_ring is not None:
        return closure.threaded_ring.engagement
    if closure.snap_ring is not None:
        return closure.snap_ring.edge_margin + closure.snap_ring.ring_thickness
    if closure.welded_lip is not None:
        return _lip_end(closure.welded_lip, end, assumed)
    return 0.0


def _lip_end(lip: WeldedLip, end: str, assumed: list[Assumption]) -> Array:
    """From the end of the case over a fillet to the inner face of the lip."""
    start = lip.leg if lip.distance is None else np.maximum(lip.distance, lip.leg)
    if lip.thickness is not None:
        return np.asarray(start + lip.thickness)
    assumed.append(Assumption(f"{end}_closure.lip_thickness", "as the leg of its weld", lip.leg))
    return np.asarray(start + lip.leg)


def _plate(motors: Motors, assumed: list[Assumption]) -> Array | float:
    """Length of the forward closure behind its ring: its plate, or its shoulder where that is thicker."""
    if motors.forward_closure is None:
        return 0.0
    given, shoulder = motors.forward_closure.plate_thickness, motors.forward_closure.shoulder_thickness
    if given is not None:
        return given if shoulder is None else np.maximum(given, shoulder)
    thickness = PLATE_SHARE * _bore(motors)
    thickness = thickness if shoulder is None else np.maximum(thickness, shoulder)
    assumed.append(Assumption("forward_closure.plate_thickness", "a fifth of the bore", thickness))
    return thickness


def _bore(motors: Motors) -> Array:
    """Inside of the case; without one, the widest grain."""
    if motors.case is not None:
        return motors.case.bore
    grain = motors.grain
    wide = np.where(np.atleast_2d(grain.count) > 0.0, np.atleast_2d(grain.outer_diameter), 0.0)
    return np.asarray(wide.max(axis=1))


def _chamber_bore(motors: Motors) -> Array:
    """Inside of the liner."""
    if motors.case is None or motors.liner is None:
        return _bore(motors)
    return np.asarray(motors.case.bore - 2.0 * motors.liner.thickness)


def _grains(motors: Motors, plate: Array | float) -> tuple[Array, Array]:
    """Start and end of each row of grains, (n, rows)."""
    lengths = np.atleast_2d(motors.grain.count) * np.atleast_2d(motors.grain.length)
    lengths = np.broadcast_to(lengths, (motors.size, lengths.shape[1]))
    end = as_column(plate, motors.size)[:, None] + np.cumsum(lengths, axis=1)
    return end - lengths, end


def gland_room(closure: Closure | None) -> Array | float:
    """Length that the glands of a closure's rings take, with a land on either side of each; 0 without a seal. [m]

    Parameters
    ----------
    closure : Closure or None
        The closure, SI.

    Returns
    -------
    Array or float
        [m], (n,); 0 without a seal.

    Notes
    -----
    Where the file says how far from the gas each lies, up to the land behind the last.
    """
    return seal_room(None if closure is None else closure.seal)


def seal_room(seal: Seal | None) -> Array | float:
    """Length that the glands of one part take, as `gland_room`. [m]

    Parameters
    ----------
    seal : Seal or None
        The seal, SI.

    Returns
    -------
    Array or float
        [m], (n,).

    References
    ----------
    Geometry.
    """
    if seal is None:
        return 0.0
    rings = seal.series
    widths = [gland_width(ring) for ring in rings]
    lands = [LAND_SHARE * ring.cross_section for ring in rings]
    last = rings[-1]
    if last.from_gas is not None:
        return np.asarray(last.from_gas + widths[-1] + lands[-1])
    total = lands[0]
    for ring, width, land in zip(rings, widths, lands, strict=True):
        total = total + ring.rings * (width + land)
    return np.asarray(total)


def body_glands(motors: Motors) -> Array | float:
    """Length that the glands on the nozzle's body take. [m]

    Parameters
    ----------
    motors : Motors
        The batch, n motors, SI.

    Returns
    -------
    Array or float
        [m], (n,).

    Notes
    -----
    Those of the aft closure, and of the nozzle where its rings seal the bore.

    References
    ----------
    Geometry.
    """
    own, aft = motors.nozzle.seal, gland_room(motors.aft_closure)
    if own is None or own.diameter is not None:
        return aft
    return np.asarray(seal_room(own) + aft)


def gland_width(seal: Seal) -> Array:
    """Width of a ring's gland, or what is taken for it. [m]

    Parameters
    ----------
    seal : Seal
        The ring, SI.

    Returns
    -------
    Array
        [m], (n,).

    References
    ----------
    `GLAND_SHARE`.
    """
    return np.asarray(GLAND_SHARE * seal.cross_section if seal.gland_width is None else seal.gland_width)


def _behind_insert(motors: Motors) -> Array | float:
    """What lies between the insert and the aft ring: the plate, or the shoulder that carries the seat."""
    closure = motors.aft_closure
    if closure is None:
        return 0.0
    plate = 0.0 if closure.plate_thickness is None else closure.plate_thickness
    if closure.shoulder_thickness is None or motors.nozzle.seat_diameter is None:
        return plate
    return np.maximum(plate, closure.shoulder_thickness)


def _nozzle(motors: Motors, convergent: Array, behind: Array | float, assumed: list[Assumption]) -> Array | float:
    """Length of the nozzle from its forward face to the aft ring."""
    given = motors.nozzle.length_in_case
    if given is not None:
        return given
    body = np.maximum(np.maximum(convergent, body_glands(motors)), _insert_ahead(motors))
    length = body + behind
    taken = "the longest of a 45 degree convergent, the glands and a seated insert; the aft plate or shoulder behind it"
    assumed.append(Assumption("nozzle.length_in_case", taken, length))
    return length


def _insert_ahead(motors: Motors) -> Array | float:
    """Length of the insert where all of it lies ahead of the aft ring, else 0."""
    nozzle = motors.nozzle
    if nozzle.insert_length is None:
        return 0.0
    if nozzle.seat_diameter is not None:
        return nozzle.insert_length
    screws = None if motors.aft_closure is None else motors.aft_closure.screws
    if nozzle.insert_diameter is None or screws is None or screws.ring_thickness is None or motors.case is None:
        return 0.0
    opening = motors.case.bore - 2.0 * screws.ring_thickness
    return np.where(nozzle.insert_diameter > opening, nozzle.insert_length, 0.0)


# --- shapes that cannot exist ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shape:
    """One rule of geometry: `which(motors)` are the motors (n,) that break it, None where it cannot be asked.

    `reason` is what a rejection is called, `key` what a builder would change, and `cure` what it may be.
    """

    key: str
    reason: str
    cure: str
    which: Callable[[Motors], Mask | None]


MOST_EXPANSION = 20.0
"""Exit over throat diameter beyond which no motor is built: an area ratio of 400, that of engines for space alone."""
LEAST_SEAL = 0.5
"""Sealed diameter over bore below which a seal does not seal the bore."""


def _length_rule(leaf: str) -> Callable[[Motors], Mask | None]:
    def which(motors: Motors) -> Mask | None:
        value, length = _leaf(motors, leaf), _leaf(motors, "case.length")
        return None if value is None or length is None else np.asarray(value >= length)

    return which


def _leaf(motors: Motors, name: str) -> Any:
    return motors.value(name)


def _against_bore(leaf: str, least: float, most: float) -> Callable[[Motors], Mask | None]:
    """A leaf held between two parts of the bore, ends included."""

    def which(motors: Motors) -> Mask | None:
        value = _leaf(motors, leaf)
        if value is None or motors.case is None:
            return None
        bore = motors.case.bore
        slack = 1e-9 * bore
        return np.asarray((value < least * bore - slack) | (value > most * bore + slack))

    return which


def _thread_outside(end: str) -> Callable[[Motors], Mask | None]:
    def which(motors: Motors) -> Mask | None:
        value = _leaf(motors, f"{end}.threaded_ring.thread_diameter")
        if value is None or motors.case is None:
            return None
        return np.asarray((value >= motors.case.outer_diameter) | (value <= motors.case.bore))

    return which


def _groove_through(end: str) -> Callable[[Motors], Mask | None]:
    def which(motors: Motors) -> Mask | None:
        depth, wall = _leaf(motors, f"{end}.snap_ring.groove_depth"), _leaf(motors, "case.wall")
        return None if depth is None or wall is None else np.asarray(depth >= wall)

    return which


def _below(leaf: str, least: str, with_itself: bool = False) -> Callable[[Motors], Mask | None]:
    """A leaf that is less than another of the same part; with `with_itself`, one that is no more than it."""

    def which(motors: Motors) -> Mask | None:
        value, other = _leaf(motors, leaf), _leaf(motors, least)
        if value is None or other is None:
            return None
        return np.asarray(value <= other if with_itself else value < other)

    return which


def _throat_closed(motors: Motors) -> Mask | None:
    thickness = _leaf(motors, "aft_closure.screws.ring_thickness")
    if thickness is None or motors.case is None:
        return None
    return np.asarray(motors.case.bore - 2.0 * thickness < motors.nozzle.throat_diameter)


def _wide_exit(motors: Motors) -> Mask:
    return np.asarray(motors.nozzle.exit_diameter > MOST_EXPANSION * motors.nozzle.throat_diameter)


def _narrow_insert(motors: Motors) -> Mask | None:
    wide = motors.nozzle.insert_diameter
    return None if wide is None else np.asarray(wide <= motors.nozzle.throat_diameter)


def _seal_shapes(end: str, row: int) -> tuple[Shape, ...]:
    """The rules of one ring of a closure, the one nearest the gas being row 0."""
    said = end.replace("_", " ") + (f" seal {row + 1}" if row else "")
    key = f"{end}.seals.{row}" if row else f"{end}.seal"
    column = f"{end}.seal{'.behind' * row}"
    return (
        Shape(f"{key}.diameter", f"{said}: sealed diameter is no bore of this case",
              "between half the bore and the bore; leave it out where the ring seals the bore",
              _against_bore(f"{column}.diameter", LEAST_SEAL, 1.0)),
        Shape(f"{key}.gland_depth", f"{said}: gland deeper than the part is wide", "at most half the bore",
              _against_bore(f"{column}.gland_depth", 0.0, 0.5)),
        Shape(f"{key}.gland_depth", f"{said}: gland does not squeeze the O-ring", "less than the cross section",
              _below(f"{column}.cross_section", f"{column}.gland_depth", with_itself=True)),
        Shape(f"{key}.gland_width", f"{said}: gland narrower than the O-ring", "more than the cross section",
              _below(f"{column}.gland_width", f"{column}.cross_section")),
    )  # fmt: skip


def _end_shapes(end: str) -> tuple[Shape, ...]:
    said = end.replace("_", " ")
    half = "at most half the bore"
    inside = "shorter than the case"
    return (
        *(shape for row in range(MOST_RINGS) for shape in _seal_shapes(end, row)),
        Shape(f"{end}.hole_diameter", f"{said}: hole smaller than the screw", "at least the screw's diameter",
              _below(f"{end}.screws.hole_diameter", f"{end}.screws.diameter")),
        Shape(f"{end}.ring_thickness", f"{said}: ring thicker than half the bore", half,
              _against_bore(f"{end}.screws.ring_thickness", 0.0, 0.5)),
        Shape(f"{end}.thread_diameter", f"{said}: thread is not in the wall",
              "more than the bore and less than the outer diameter of the case", _thread_outside(end)),
        Shape(f"{end}.groove_depth", f"{said}: groove as deep as the wall", "less than the wall", _groove_through(end)),
        Shape(f"{end}.edge_distance", f"{said}: edge distance as long as the case", inside,
              _length_rule(f"{end}.screws.edge_distance")),
        Shape(f"{end}.ring_edge_distance", f"{said}: ring edge distance as long as the case", inside,
              _length_rule(f"{end}.screws.ring_edge_distance")),
        Shape(f"{end}.engagement", f"{said}: engagement as long as the case", inside,
              _length_rule(f"{end}.threaded_ring.engagement")),
        Shape(f"{end}.edge_margin", f"{said}: edge margin as long as the case", inside,
              _length_rule(f"{end}.snap_ring.edge_margin")),
        Shape(f"{end}.snap_ring_thickness", f"{said}: snap ring as thick as the case is long", inside,
              _length_rule(f"{end}.snap_ring.ring_thickness")),
        Shape(f"{end}.weld_arm", f"{said}: weld arm as long as half the bore", half,
              _against_bore(f"{end}.welded_lip.arm", 0.0, 0.5)),
        Shape(f"{end}.weld_distance", f"{said}: weld as far from the end as the case is long", inside,
              _length_rule(f"{end}.welded_lip.distance")),
        Shape(f"{end}.shoulder_thickness", f"{said}: shoulder as thick as the case is long", inside,
              _length_rule(f"{end}.shoulder_thickness")),
        Shape(f"{end}.plate_thickness", f"{said}: plate as thick as the case is long", inside,
              _length_rule(f"{end}.plate_thickness")),
    )  # fmt: skip


SHAPES: tuple[Shape, ...] = (
    *_end_shapes("forward_closure"),
    *_end_shapes("aft_closure"),
    Shape("aft_closure.ring_thickness", "aft closure: ring closes the throat",
          "thin enough that the throat's diameter stays open", _throat_closed),
    Shape("nozzle.length_in_case", "nozzle as long as the case", "shorter than the case", _length_rule("nozzle.length_in_case")),
    Shape("nozzle.insert_diameter", "insert wider than the bore", "at most the bore of the case",
          _against_bore("nozzle.insert_diameter", 0.0, 1.0)),
    Shape("nozzle.insert_diameter", "insert no wider than the throat", "more than the throat's diameter", _narrow_insert),
    Shape("nozzle.seat_diameter", "seat wider than the bore", "less than the bore of the case",
          _against_bore("nozzle.seat_diameter", 0.0, 1.0)),
    Shape("nozzle.seat_diameter", "seat no wider than the throat", "more than the throat's diameter",
          _below("nozzle.seat_diameter", "nozzle.throat_diameter", with_itself=True)),
    Shape("nozzle.seat_diameter", "seat as wide as its insert", "less than the insert's diameter",
          _below("nozzle.insert_diameter", "nozzle.seat_diameter", with_itself=True)),
    Shape("nozzle.exit_diameter", "exit too wide for any nozzle", "at most 20 throat diameters (an area ratio of 400)", _wide_exit),
)  # fmt: skip
"""Every rule of geometry that one motor file can break beside those of grains, liner and wall."""


def impossible_shapes(motors: Motors) -> dict[str, Mask]:
    """Which motors of a batch cannot exist, by the reason, (n,) each; reasons that hold for none are left out.

    Parameters
    ----------
    motors : Motors
        The batch, n motors, SI.

    Returns
    -------
    dict of str to Mask
        Masks (n,) by the reason.
    """
    found = {}
    for shape in SHAPES:
        which = shape.which(motors)
        if which is not None and which.any():
            found[shape.reason] = np.array(np.broadcast_to(which, (motors.size,)))
    return found
