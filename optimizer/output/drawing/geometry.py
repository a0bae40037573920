"""Where every part of one motor sits: outlines of the section and centres of the screw holes, all in millimetres.

Owns the outlines that the report's section, the section drawing, the drilling wrap and the DXF share; the places along
the axis are those of `physics.assembly`. What the motor file does not give is drawn by a stated assumption and listed in
`Section.assumptions`. Imports numpy and, from physics, assembly and motors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from physics.assembly import EDGE_DIAMETERS, Assembly, assemble, body_glands, gland_room, gland_width
from physics.ballistics.grain import settled
from physics.motors import Array, Closure, Motors, Plug, Screws, Seal, WeldedLip

MILLIMETRE = 1e-3
NOZZLE_SKIN = 3.0  # mm of nozzle body round the exit cone, drawn only

Point = tuple[float, float]
Box = tuple[float, float, float]


class DrawingError(ValueError):
    """What the motor file gives cannot be drawn; the text says what is missing or does not fit."""


@dataclass(frozen=True)
class Part:
    """One solid in the upper half of the section: `outline` is a closed polygon of (axial, radial) points. [mm]

    `column` names what of the motor a gland belongs to. What is not `round` lies in the upper half alone.
    """

    kind: str
    outline: tuple[Point, ...]
    name: str = ""
    column: str = ""
    round: bool = True

    @property
    def sides(self) -> tuple[float, ...]:
        """1 for the upper half and -1 for the lower, as far as the part shows there."""
        return (1.0, -1.0) if self.round else (1.0,)


@dataclass(frozen=True)
class Dimension:
    """One dimension of the section: along the axis ("axial") or across it ("diameter"). [mm]

    `start` and `end` are axial positions for "axial"; for "diameter" `start` is the axial position and `end` the
    diameter. `place` is "above" or "below", or "left" or "right" of the motor; `level` counts outwards from it.
    """

    kind: str
    start: float
    end: float
    label: str
    place: str = "below"
    level: int = 1

    @property
    def size(self) -> float:
        """What the dimension measures. [mm]"""
        return self.end - self.start if self.kind == "axial" else self.end


@dataclass(frozen=True)
class Section:
    """The motor cut along its axis, forward end of the case at x = 0, nozzle to the right. [mm]

    `cores` are start, end and core diameter of each row of grains.
    """

    parts: tuple[Part, ...]
    dimensions: tuple[Dimension, ...]
    assumptions: tuple[str, ...]
    start: float
    end: float
    radius: float
    case_length: float
    liner_length: float | None
    aft_face: float
    cores: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Wrap:
    """The outside of the tube unrolled at one end: x round the tube, y from the end of the case. [mm]

    `holes` are centres; hole 1 sits half a pitch from the seam, so that no hole is cut by it.
    """

    end: str
    circumference: float
    outer_diameter: float
    edge_distance: float
    hole_diameter: float
    holes: tuple[Point, ...]
    designation: str
    ring_edge_distance: float | None

    @property
    def pitch(self) -> float:
        """Distance between neighbouring holes along the outside of the tube. [mm]"""
        return self.circumference / len(self.holes)

    @property
    def chord(self) -> float:
        """Straight distance between neighbouring hole centres on the outside, for dividers; 0 for one hole. [mm]"""
        return self.outer_diameter * math.sin(math.pi / len(self.holes))


def number(leaf: object, index: int = 0) -> float | None:
    """One motor's value of a leaf that broadcasts to (n,); None where the leaf is absent or not a number."""
    if leaf is None:
        return None
    values = np.atleast_1d(np.asarray(leaf, dtype=float))
    value = float(values[index if values.shape[0] > 1 else 0])
    return value if math.isfinite(value) else None


def millimetres(leaf: object, index: int = 0) -> float | None:
    """One motor's length in mm, None where absent."""
    value = number(leaf, index)
    return None if value is None else value / MILLIMETRE


def grain_rows(motors: Motors, index: int = 0) -> list[dict[str, float]]:
    """The rows of grains of one motor that are there: count, length, outer and core diameter in mm, bare ends, and the
    diameters in mm up to which the two faces burn from the start.
    """
    grain = settled(motors.grain)
    leaves = {key: getattr(grain, key) for key in ("count", "length", "outer_diameter", "core_diameter", "burning_ends")}
    leaves["forward_bare"] = grain.forward_bare
    leaves["forward_open_to"], leaves["aft_open_to"] = grain.open_to
    columns = {}
    for key, leaf in leaves.items():
        values = np.atleast_2d(np.asarray(leaf, dtype=float))
        columns[key] = values[index if values.shape[0] > 1 else 0]
    rows = max(len(column) for column in columns.values())
    spread = {key: np.broadcast_to(column, (rows,)) for key, column in columns.items()}
    lengths = {"length", "outer_diameter", "core_diameter", "forward_open_to", "aft_open_to"}
    return [
        {key: float(column[row]) / (MILLIMETRE if key in lengths else 1.0) for key, column in spread.items()}
        for row in range(rows)
        if spread["count"][row] > 0
    ]


def wrap(motors: Motors, end: str, index: int = 0) -> Wrap | None:
    """The drilling wrap of one end ("forward" or "aft"), None where that end has no radial screws.

    Raises DrawingError where the screws are there but the case or the edge distance is not, naming the key.
    """
    closure = motors.forward_closure if end == "forward" else motors.aft_closure
    if closure is None or closure.screws is None:
        return None
    screws = closure.screws
    if motors.case is None:
        raise DrawingError("case is not given: the wrap needs case.outer_diameter")
    outer = millimetres(motors.case.outer_diameter, index)
    edge = millimetres(screws.edge_distance, index)
    count = number(screws.count, index)
    hole = millimetres(screws.hole_diameter, index)
    for key, value in (("edge_distance", edge), ("count", count), ("hole_diameter", hole)):
        if value is None:
            raise DrawingError(f"{end}_closure.{key} is not given: the wrap needs it")
    assert outer is not None and edge is not None and count is not None and hole is not None
    around = math.pi * outer
    total = round(count)
    holes = tuple(((k + 0.5) * around / total, edge) for k in range(total))
    ring_edge = millimetres(screws.ring_edge_distance, index)
    return Wrap(end, around, outer, edge, hole, holes, screws.designation, ring_edge)


@dataclass
class _Builder:
    """Parts, dimensions and assumptions as they come up, for one motor of the batch."""

    motors: Motors
    index: int
    parts: list[Part] = field(default_factory=list)
    dimensions: list[Dimension] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    cores: list[tuple[float, float, float]] = field(default_factory=list)

    def mm(self, leaf: object) -> float | None:
        return millimetres(leaf, self.index)

    def box(self, kind: str, x0: float, x1: float, r0: float, r1: float, name: str = "") -> None:
        self.parts.append(Part(kind, ((x0, r0), (x1, r0), (x1, r1), (x0, r1)), name))


def section(motors: Motors, index: int = 0) -> Section:
    """The section of one motor of the batch, every part where `physics.assembly` puts it.

    Without a case the outside of the grains stands for the bore. Where the stack is too long for its case, the nozzle and
    the aft ring stand out of it by as much, and the assumptions say so.
    """
    build = _Builder(motors, index)
    rows = grain_rows(motors, index)
    placed = assemble(motors.take([index]))

    def at(position: Array) -> float:
        return float(position[0]) / MILLIMETRE

    bore, outer = _tube(build, rows)
    liner = build.mm(motors.liner.thickness) if motors.liner is not None else 0.0
    ring, front, length = at(placed.forward_ring_end), at(placed.plate_end), at(placed.case_length)
    for item in placed.assumed:
        build.assumptions.append(f"{item.key} is not given: drawn as {at(item.length):.1f} mm ({item.taken})")
    if motors.case is not None and motors.case.length is None:
        build.assumptions.append(f"case.length is not given: drawn as {length:.1f} mm, the grains with no slack")
    out = max(-at(placed.left), 0.0)
    if out:
        build.assumptions.append(
            f"the parts need {at(placed.stack):.1f} mm, {out:.1f} mm more than the case has: nozzle and aft ring are drawn "
            "standing out of it"
        )
    if motors.case is not None:
        build.box("case", 0.0, length, bore / 2, outer / 2, motors.case.material.name)
    face, shoulder = at(placed.nozzle_face) + out, at(placed.ring_face) + out
    if motors.liner is not None and liner:
        build.box("liner", front, max(face, front), bore / 2 - liner, bore / 2, motors.liner.material.name)
    _grains(build, rows, front)
    _forward(build, ring, front - ring, bore, outer)
    tail = _Tail(build, placed, face, shoulder, length + out, bore, out)
    tail.draw()
    _aft(build, length + out, tail)
    tip = (at(placed.exit) + out, tail.opening)
    _dimensions(build, rows, length, front, bore, outer, tip)
    return Section(
        parts=tuple(build.parts),
        dimensions=tuple(build.dimensions),
        assumptions=tuple(dict.fromkeys(build.assumptions)),
        start=0.0,
        end=max(x for part in build.parts for x, _ in part.outline),
        radius=max(outer / 2, max(r for part in build.parts for _, r in part.outline)),
        case_length=length,
        liner_length=max(face - front, 0.0) if motors.liner is not None else None,
        aft_face=face,
        cores=tuple(build.cores),
    )


def _tube(build: _Builder, rows: list[dict[str, float]]) -> tuple[float, float]:
    """Bore and outside diameter, mm."""
    case = build.motors.case
    if case is None:
        widest = max(row["outer_diameter"] for row in rows)
        build.assumptions.append("no case is given: only grains and nozzle are drawn")
        return widest, widest
    outer, wall = build.mm(case.outer_diameter), build.mm(case.wall)
    assert outer is not None and wall is not None
    return outer - 2 * wall, outer


def _rings(build: _Builder, seal: Seal | None, column: str) -> list[tuple[Seal, str]]:
    """Every O-ring of a part with its column, the one nearest the gas first."""
    found: list[tuple[Seal, str]] = []
    for row, ring in enumerate(() if seal is None else seal.series):
        found += [(ring, f"{column}.seal{'.behind' * row}")] * round(number(ring.rings, build.index) or 0.0)
    return found


def _seals(build: _Builder, rings: list[tuple[Seal, str]], x0: float, x1: float, bore: float, gas: float) -> None:
    """O-rings in their glands between two axial positions; lands of one width, but for those that say where they lie.

    `gas` is the face of the part that gas meets, at one of its ends.
    """
    if not rings:
        return
    inward = -1.0 if gas >= x1 - 1e-9 else 1.0
    widths = [min(float(np.max(gland_width(ring))) / MILLIMETRE, (x1 - x0) / len(rings)) for ring, _ in rings]
    land = max((x1 - x0 - sum(widths)) / (len(rings) + 1), 0.0)
    near = x0 if inward > 0 else x1
    for (ring, column), width in zip(rings, widths, strict=True):
        near += inward * land
        given = build.mm(ring.from_gas)
        start = near if given is None else gas + inward * given
        _gland(build, ring, column, start + inward * width / 2, width, (build.mm(ring.diameter) or bore) / 2)
        near += inward * width


def _gland(build: _Builder, ring: Seal, column: str, middle: float, width: float, radius: float) -> None:
    """One O-ring in its gland."""
    across = build.mm(ring.cross_section) or 0.0
    depth = build.mm(ring.gland_depth) or across
    box = ((middle - width / 2, radius - depth), (middle + width / 2, radius - depth))
    outline = (*box, (box[1][0], radius), (box[0][0], radius))
    build.parts.append(Part("gland", outline, column=column))
    # A ring in its gland is squeezed to the gland's depth and grows along the axis by as much.
    half, rise = min(across * across / depth / 2, width / 2), depth / 2
    _o_ring(build, ring, (middle, radius - depth / 2), half, rise)


def _o_ring(build: _Builder, ring: Seal, at: Point, half: float, rise: float, whole: bool = True) -> None:
    turns = [2 * math.pi * step / 24 for step in range(24)]
    outline = tuple((at[0] + half * math.cos(turn), at[1] + rise * math.sin(turn)) for turn in turns)
    called = f", {ring.name}" if ring.name else ""
    build.parts.append(Part("seal", outline, f"O-ring {build.mm(ring.cross_section) or 0.0:.2f} mm{called}", round=whole))


CAP_DRAWN = 1.0
"""Thickness at which a cap over an end face is drawn. [mm]"""


def _grains(build: _Builder, rows: list[dict[str, float]], front: float) -> None:
    x = front
    caps = False
    for row in rows:
        build.cores.append((x, x + row["count"] * row["length"], row["core_diameter"]))
        for _ in range(round(row["count"])):
            build.box("grain", x, x + row["length"], row["core_diameter"] / 2, row["outer_diameter"] / 2)
            for end, face in (("forward", x), ("aft", x + row["length"] - CAP_DRAWN)):
                to = row[f"{end}_open_to"]
                if row["core_diameter"] < to < row["outer_diameter"]:
                    build.box("cap", face, face + CAP_DRAWN, to / 2, row["outer_diameter"] / 2, f"{end} face, open to {to:.1f} mm")
                    caps = True
            x += row["length"]
    if caps:
        build.assumptions.append(
            f"caps over end faces are drawn {CAP_DRAWN:.0f} mm thick, in the grain: no file tells how thick they are"
        )


def _screws(build: _Builder, screws: Screws, x: float, bore: float, outer: float, ring: float) -> None:
    size = build.mm(screws.diameter) or 0.0
    build.box("screw", x - size / 2, x + size / 2, bore / 2 - ring, outer / 2, screws.designation)


def _ring_thickness(build: _Builder, closure: Closure, bore: float) -> float:
    """Radial thickness of the retaining ring, mm."""
    if closure.screws is not None:
        thick = build.mm(closure.screws.ring_thickness)
        return thick if thick is not None else min(2.5 * (build.mm(closure.screws.diameter) or 3.0), 0.25 * bore)
    if closure.welded_lip is not None and build.motors.case is not None:
        return max(2.0 * (build.mm(closure.welded_lip.arm) or 0.0) - (build.mm(build.motors.case.wall) or 0.0), 0.04 * bore)
    return 0.15 * bore


def _forward(build: _Builder, ring: float, plate: float, bore: float, outer: float) -> None:
    closure = build.motors.forward_closure
    if closure is None:
        return
    name = closure.plate_material.name if closure.plate_material is not None else ""
    build.box("closure", ring, ring + plate, 0.0, bore / 2, name)
    _retaining(build, closure, 0.0, ring, bore, outer, bore / 2 - _ring_thickness(build, closure, bore), "forward")
    start = ring
    if closure.seal is not None and closure.screws is not None:
        room = float(np.max(gland_room(closure))) / MILLIMETRE
        if room > plate:  # in a closure of one piece the glands reach back to the rims of the holes
            hole = build.mm(closure.screws.hole_diameter) or 0.0
            edge = build.mm(closure.screws.edge_distance) or 0.0
            start = max(ring + plate - room, min(edge + hole / 2, ring))
    _seals(build, _rings(build, closure.seal, "forward_closure"), start, ring + plate, bore, ring + plate)
    if closure.plug is not None:
        _plug(build, closure.plug, ring, plate, bore / 2 - _ring_thickness(build, closure, bore))


PLUG_HEAD = (1.6, 0.6)
"""Across and height of a plug's head in diameters of its thread, drawn only."""


def _plug(build: _Builder, plug: Plug, face: float, plate: float, opening: float) -> None:
    """A plug through the plate, screwed in from outside as far as its thread is engaged, its head within the ring."""
    thread = (build.mm(plug.thread_diameter) or 0.0) / 2
    offset = build.mm(plug.offset) or 0.0
    long = min(build.mm(plug.engagement) or plate, plate)
    across, high = PLUG_HEAD[0] * thread, min(2 * PLUG_HEAD[1] * thread, face)
    head = min(across, max(opening - offset, thread))
    low = (0.0, 0.0) if not offset else (offset - head, offset - thread)
    name = " ".join(text for text in (plug.thread, "" if plug.material is None else plug.material.name) if text)
    outline = (
        (face - high, low[0]), (face, low[0]), (face, low[1]), (face + long, low[1]), (face + long, offset + thread),
        (face, offset + thread), (face, offset + head), (face - high, offset + head),
    )  # fmt: skip
    build.parts.append(Part("plug", tuple(dict.fromkeys(outline)), name, round=not offset))
    if long < plate:  # the hole goes on to the gas
        minor = thread - 0.5 * (build.mm(plug.thread_pitch) or 0.0)
        (x0, r0), (x1, r1) = (face + long, offset - minor if offset else 0.0), (face + plate, offset + minor)
        build.parts.append(Part("gland", ((x0, r0), (x1, r0), (x1, r1), (x0, r1)), round=not offset))
    if plug.seal is not None:
        across = build.mm(plug.seal.cross_section) or 0.0
        own = build.mm(plug.seal.diameter)
        for side in (1.0, -1.0) if offset else (1.0,):
            middle = offset + side * (thread + across / 2 if own is None else own / 2)
            _o_ring(build, plug.seal, (face + across / 2, middle), across / 2, across / 2, whole=not offset)
    build.assumptions.append("the head of the plug and the place of its ring are for the picture only")


def _retaining(
    build: _Builder, closure: Closure, end: float, depth: float, bore: float, outer: float, inner: float, which: str
) -> None:
    """The ring that holds a closure, `depth` mm deep from the end at `end`; `inner` is the radius of its opening."""
    inward = 1.0 if which == "forward" else -1.0
    name = closure.ring_material.name if closure.ring_material is not None else ""
    if closure.snap_ring is not None:
        groove = build.mm(closure.snap_ring.groove_depth) or 0.0
        thickness = build.mm(closure.snap_ring.ring_thickness) or 0.0
        near, far = end + inward * (depth - thickness), end + inward * depth
        build.box("screw", min(near, far), max(near, far), inner, bore / 2 + groove, "snap ring")
        return
    far = end + inward * depth
    if closure.welded_lip is not None:
        _welded_lip(build, closure.welded_lip, far, inward, inner, bore, name)
        return
    build.box("ring", min(end, far), max(end, far), inner, bore / 2, name)
    if closure.screws is not None:
        edge = build.mm(closure.screws.edge_distance)
        size = build.mm(closure.screws.diameter) or 0.0
        at = end + inward * (EDGE_DIAMETERS * size if edge is None else edge)
        _screws(build, closure.screws, at, bore, outer, bore / 2 - inner)


def _welded_lip(build: _Builder, lip: WeldedLip, face: float, inward: float, inner: float, bore: float, name: str) -> None:
    """A lip, its inner face at `face`, and the fillet on its outer one; how far in it reaches is for the picture. [mm]"""
    leg = build.mm(lip.leg) or 1.0
    outside = face - inward * (build.mm(lip.thickness) or leg)
    build.box("ring", min(face, outside), max(face, outside), inner, bore / 2, name)
    corner, reach = (outside, bore / 2), min(leg, bore / 2 - inner)
    build.parts.append(Part("screw", (corner, (outside - inward * leg, bore / 2), (outside, bore / 2 - reach)), "weld"))
    build.assumptions.append("how far a welded lip reaches in is for the picture only: loaded at its middle")


def _aft(build: _Builder, end: float, tail: _Tail) -> None:
    closure = build.motors.aft_closure
    if closure is not None:
        outer = tail.bore if build.motors.case is None else (build.mm(build.motors.case.outer_diameter) or tail.bore)
        _retaining(build, closure, end, end - tail.shoulder, tail.bore, outer, tail.opening, "aft")


class _Tail:
    """The nozzle: its body up to the aft ring, the tail that goes through the ring's opening, and its insert. [mm]"""

    def __init__(
        self, build: _Builder, placed: Assembly, face: float, shoulder: float, end: float, bore: float, out: float
    ) -> None:
        self.build, self.face, self.shoulder, self.end, self.bore = build, face, shoulder, end, bore
        nozzle = build.motors.nozzle
        self.throat = (build.mm(nozzle.throat_diameter) or 0.0) / 2
        self.mouth = (build.mm(nozzle.exit_diameter) or 0.0) / 2
        self.inlet = max(float(placed.chamber_bore[0]) / MILLIMETRE / 2, self.throat)
        self.at_throat, self.tip = (float(x[0]) / MILLIMETRE + out for x in (placed.throat, placed.exit))
        self.slope = math.tan(number(nozzle.half_angle, build.index) or math.radians(15.0))
        self.behind = float(placed.behind_insert[0]) / MILLIMETRE
        self.insert = self._insert_box()
        self.opening = self._opening()

    def cone(self, x: float) -> float:
        """Radius of the divergent."""
        return min(self.throat + max(x - self.at_throat, 0.0) * self.slope, self.mouth)

    def inside(self, x: float) -> float:
        """Radius of the divergent as drawn: within the case it stays inside the ring's opening."""
        return min(self.cone(x), max(self.opening - 0.3, self.throat)) if x <= self.end else self.cone(x)

    def skin(self, x: float) -> float:
        """Outside of the tail just ahead of x, before the ring is asked."""
        radius = self.cone(x)
        if self.insert is not None and x <= self.insert[1]:
            radius = max(radius, self.insert[2])
        return radius + NOZZLE_SKIN

    def _insert_box(self) -> Box | None:
        """Start, end and radius of the insert: about the throat, ahead of what carries it."""
        nozzle, build = self.build.motors.nozzle, self.build
        length, wide = build.mm(nozzle.insert_length), build.mm(nozzle.insert_diameter)
        if not length or not wide:
            return None
        start = self.at_throat - length / 2
        if nozzle.seat_diameter is not None or wide / 2 > self._ring_bore():
            start = min(start, self.shoulder - self.behind - length)
        start = max(start, self.face)
        return (start, start + length, min(wide / 2, self.bore / 2))

    def _ring_bore(self) -> float:
        closure = self.build.motors.aft_closure
        return self.bore / 2 if closure is None else self.bore / 2 - _ring_thickness(self.build, closure, self.bore)

    def _opening(self) -> float:
        """Radius of the ring's opening: as its thickness says, and wider where the tail asks for it."""
        if self.tip <= self.shoulder:
            return self._ring_bore()
        stations = [x for x in (self.shoulder + 1e-6, min(self.end, self.tip)) if self.shoulder < x]
        wanted = max((self.skin(x) for x in stations), default=0.0)
        given = self.build.motors.aft_closure and self.build.motors.aft_closure.screws
        if given and given.ring_thickness is not None:
            wanted = max((self.cone(x) for x in stations), default=0.0) + 0.3
        return max(self._ring_bore(), min(wanted, self.bore / 2 - 0.5))

    def draw(self) -> None:
        """Put the nozzle, its insert and its glands among the parts."""
        build, nozzle = self.build, self.build.motors.nozzle
        outline: list[Point] = [(self.face, self.inlet), (self.at_throat, self.throat)]
        if self.tip > self.end and self.cone(self.end) > self.inside(self.end):
            clipped = self.at_throat + (self.inside(self.end) - self.throat) / self.slope
            outline += [(clipped, self.inside(self.end)), (self.end, self.inside(self.end)), (self.end, self.cone(self.end))]
            build.assumptions.append("the exit cone is wider than the aft ring's opening: check the ring and the exit")
        outline.append((self.tip, self.inside(self.tip)))
        if self.tip <= self.shoulder:
            outline += [(self.shoulder, self.mouth)]
        else:
            outline += self._outside_of_the_tail()
        outline += [(self.shoulder, self.bore / 2), (self.face, self.bore / 2)]
        name = nozzle.material.name if nozzle.material is not None else ""
        build.parts.append(Part("nozzle", tuple(dict.fromkeys(outline)), name))
        if self.insert is not None:
            self._draw_insert(*self.insert)
        build.assumptions.append("the outside of the nozzle and of the rings is for the picture only")
        self._glands()

    def _glands(self) -> None:
        """The rings of the nozzle and of the aft closure: on the insert where the nozzle's are of its size, else on the body."""
        build, closure = self.build, self.build.motors.aft_closure
        own = _rings(build, build.motors.nozzle.seal, "nozzle")
        on_insert = [pair for pair in own if self._of_insert(pair[0])]
        if self.insert is not None:
            start, end, _ = self.insert
            _seals(build, on_insert, start, end, self.bore, start)
        rings = [pair for pair in own if pair not in on_insert]
        rings += _rings(build, None if closure is None else closure.seal, "aft_closure")
        room = float(np.max(body_glands(build.motors))) / MILLIMETRE
        seat = max(self.face, self.shoulder - max(room, 0.4 * (self.shoulder - self.face)))
        _seals(build, rings, seat, self.shoulder, self.bore, self.face)

    def _of_insert(self, ring: Seal) -> bool:
        across = self.build.mm(ring.diameter)
        return self.insert is not None and across is not None and across < 2.1 * self.insert[2] and across < 0.99 * self.bore

    def _outside_of_the_tail(self) -> list[Point]:
        """From the exit back to the aft ring's forward face."""
        step = self.shoulder if self.insert is None else self.insert[1]
        stations = {self.shoulder, min(max(step, self.shoulder), self.tip), self.tip}
        stations |= {self.end} if self.shoulder < self.end < self.tip else set()
        points: list[Point] = []
        for x in sorted(stations, reverse=True):
            for near in (x + 1e-9, x):  # just behind the station, then just ahead of it
                if near <= self.tip:
                    skin = self.skin(near)
                    points.append((x, min(skin, self.opening) if near <= self.end else skin))
        return points

    def _draw_insert(self, start: float, end: float, radius: float) -> None:
        ahead = self.throat
        if start < self.at_throat:
            share = (self.at_throat - start) / max(self.at_throat - self.face, 1e-9)
            ahead = self.throat + share * (self.inlet - self.throat)
        outline = (
            (start, min(ahead, radius)),
            (self.at_throat, self.throat),
            (end, min(self.inside(end), radius)),
            (end, radius),
            (start, radius),
        )
        self.build.parts.append(Part("insert", outline, "throat insert"))


def _dimensions(
    build: _Builder,
    rows: list[dict[str, float]],
    length: float,
    front: float,
    bore: float,
    outer: float,
    tip: Point,
) -> None:
    motors, add = build.motors, build.dimensions.append
    stack = sum(row["count"] * row["length"] for row in rows)
    pieces = round(sum(row["count"] for row in rows))
    add(Dimension("axial", front, front + stack, f"{pieces} grains" if pieces > 1 else "grain", "above", 1))
    if motors.case is not None:
        add(Dimension("axial", 0.0, length, "case", "below", 2))
    if tip[0] > length + 0.5 or motors.case is None:
        add(Dimension("axial", 0.0, tip[0], "over all", "below", 3))
    for closure, end in ((motors.forward_closure, "forward"), (motors.aft_closure, "aft")):
        if closure is not None and closure.screws is not None:
            edge = build.mm(closure.screws.edge_distance)
            if edge is not None:
                start, stop = (0.0, edge) if end == "forward" else (length - edge, length)
                add(Dimension("axial", start, stop, "", "below", 1))
    if motors.case is not None:
        add(Dimension("diameter", 0.0, outer, "outside", "left", 2))
        add(Dimension("diameter", 0.0, bore, "bore", "left", 1))
    throat, exit_diameter = build.mm(motors.nozzle.throat_diameter), build.mm(motors.nozzle.exit_diameter)
    if throat is not None:
        add(Dimension("diameter", tip[0], throat, "throat", "right", 1))
    if exit_diameter is not None:
        add(Dimension("diameter", tip[0], exit_diameter, "exit", "right", 2))
