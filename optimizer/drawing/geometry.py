"""Where every part of one motor sits: outlines of the section and centres of the screw holes, all in millimetres.

Owns the one layout that the report's section, the section drawing, the drilling wrap and the DXF share, so that they
cannot disagree. What the motor file does not give is drawn by a stated assumption and listed in `Section.assumptions`.
Imports numpy and physics.motors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from physics.motors import Closure, Motors, Screws

MILLIMETRE = 1e-3
CONVERGENT_ANGLE = math.radians(45.0)  # drawn only; no figure rests on it
NOZZLE_SKIN = 3.0  # mm of nozzle body round the exit cone, drawn only

Point = tuple[float, float]


class DrawingError(ValueError):
    """What the motor file gives cannot be drawn; the text says what is missing or does not fit."""


@dataclass(frozen=True)
class Part:
    """One solid in the upper half of the section: `outline` is a closed polygon of (axial, radial) points. [mm]"""

    kind: str
    outline: tuple[Point, ...]
    name: str = ""


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
    """The rows of grains of one motor that are there: count, length, outer and core diameter in mm, burning ends."""
    grain = motors.grain
    columns = {}
    for key in ("count", "length", "outer_diameter", "core_diameter", "burning_ends"):
        values = np.atleast_2d(np.asarray(getattr(grain, key), dtype=float))
        columns[key] = values[index if values.shape[0] > 1 else 0]
    rows = max(len(column) for column in columns.values())
    spread = {key: np.broadcast_to(column, (rows,)) for key, column in columns.items()}
    lengths = {"length", "outer_diameter", "core_diameter"}
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

    def given(self, leaf: object, fallback: float, what: str) -> float:
        """The leaf in mm, or the fallback with the assumption noted."""
        value = self.mm(leaf)
        if value is None:
            self.assumptions.append(f"{what} is not given: drawn as {fallback:.1f} mm")
            return fallback
        return value

    def box(self, kind: str, x0: float, x1: float, r0: float, r1: float, name: str = "") -> None:
        self.parts.append(Part(kind, ((x0, r0), (x1, r0), (x1, r1), (x0, r1)), name))


def section(motors: Motors, index: int = 0) -> Section:
    """The section of one motor of the batch.

    Without a case the outside of the grains stands for the bore. Grains sit against the forward closure.
    """
    build = _Builder(motors, index)
    rows = grain_rows(motors, index)
    stack = sum(row["count"] * row["length"] for row in rows)
    bore, outer = _tube(build, rows)
    liner = build.mm(motors.liner.thickness) if motors.liner is not None else 0.0
    front_ring = _ring_depth(build, motors.forward_closure, "forward")
    plate = _plate(build, motors.forward_closure, bore)
    front = front_ring + plate
    aft_ring = _ring_depth(build, motors.aft_closure, "aft")
    flange = _flange(build, bore, liner or 0.0)
    length = None if motors.case is None else build.mm(motors.case.length)
    needed = front + stack + flange + aft_ring
    if length is None:
        length = needed
        if motors.case is not None:
            build.assumptions.append(f"case.length is not given: drawn as {length:.1f} mm, the grains with no slack")
    elif needed > length + 0.05:
        build.assumptions.append(
            f"grains and closures as drawn need {needed:.1f} mm, {needed - length:.1f} mm more than the case has; "
            "check the lengths of the closures"
        )
    if motors.case is not None:
        build.box("case", 0.0, length, bore / 2, outer / 2, motors.case.material.name)
    aft_face = length - aft_ring - flange
    if motors.liner is not None and liner:
        build.box("liner", front, max(aft_face, front), bore / 2 - liner, bore / 2, motors.liner.material.name)
    _grains(build, rows, front)
    _forward(build, front_ring, plate, bore, outer)
    tip = _nozzle(build, aft_face, flange, length, bore, liner or 0.0)
    _aft(build, length, aft_ring, aft_face, flange, bore, outer, tip)
    _dimensions(build, rows, length, front, bore, outer, tip)
    return Section(
        parts=tuple(build.parts),
        dimensions=tuple(build.dimensions),
        assumptions=tuple(dict.fromkeys(build.assumptions)),
        start=0.0,
        end=max(length, tip[0]),
        radius=max(outer / 2, max(r for part in build.parts for _, r in part.outline)),
        case_length=length,
        liner_length=max(aft_face - front, 0.0) if motors.liner is not None else None,
        aft_face=aft_face,
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


def _ring_depth(build: _Builder, closure: Closure | None, end: str) -> float:
    """How far the retaining ring reaches into the case, mm."""
    if closure is None:
        return 0.0
    if closure.screws is not None:
        edge = build.mm(closure.screws.edge_distance)
        if edge is None:
            edge = 10.0
            build.assumptions.append(f"{end}_closure.edge_distance is not given: drawn as {edge:.1f} mm")
        ring_edge = build.mm(closure.screws.ring_edge_distance)
        return edge + (edge if ring_edge is None else ring_edge)
    if closure.threaded_ring is not None:
        return build.mm(closure.threaded_ring.engagement) or 0.0
    if closure.snap_ring is not None:
        margin, thick = build.mm(closure.snap_ring.edge_margin), build.mm(closure.snap_ring.ring_thickness)
        return (margin or 0.0) + (thick or 0.0)
    return 0.0


def _plate(build: _Builder, closure: Closure | None, bore: float) -> float:
    """Thickness of the forward plate, mm."""
    if closure is None:
        return 0.0
    return build.given(closure.plate_thickness, round(0.2 * bore, 1), "forward_closure.plate_thickness")


def _flange(build: _Builder, bore: float, liner: float) -> float:
    """Length of the nozzle body ahead of the aft ring, mm: room for the convergent cone and the seals."""
    throat = build.mm(build.motors.nozzle.throat_diameter) or 0.0
    convergent = (_inlet(bore, liner, throat) - throat) / 2 / math.tan(CONVERGENT_ANGLE)
    return max(convergent + 0.3 * throat, _gland_room(build, build.motors.aft_closure))


def _inlet(bore: float, liner: float, throat: float) -> float:
    """Diameter at which the convergent cone starts, mm; drawn only."""
    return max(1.2 * throat, 0.8 * (bore - 2 * liner))


def _gland_room(build: _Builder, closure: Closure | None) -> float:
    if closure is None or closure.seal is None:
        return 0.0
    rings = number(closure.seal.rings, build.index) or 0.0
    section_diameter = build.mm(closure.seal.cross_section) or 0.0
    width = build.mm(closure.seal.gland_width) or 1.35 * section_diameter
    return (rings + (rings + 1) * 0.6) * width


def _seals(build: _Builder, closure: Closure | None, x0: float, x1: float, bore: float) -> None:
    """O-rings in their glands, spread evenly between two axial positions."""
    if closure is None or closure.seal is None:
        return
    seal = closure.seal
    rings = round(number(seal.rings, build.index) or 0.0)
    across = build.mm(seal.cross_section) or 0.0
    depth = build.mm(seal.gland_depth) or across
    width = build.mm(seal.gland_width) or 1.35 * across
    radius = (build.mm(seal.diameter) or bore) / 2
    for k in range(rings):
        middle = x0 + (k + 0.5) * (x1 - x0) / rings
        build.box("gland", middle - width / 2, middle + width / 2, radius - depth, radius)
        turns = [2 * math.pi * step / 24 for step in range(24)]
        # A ring in its gland is squeezed to the gland's depth and grows along the axis by as much.
        half, rise = across * across / depth / 2, depth / 2
        ring = tuple(
            (middle + min(half, width / 2) * math.cos(turn), radius - depth / 2 + rise * math.sin(turn))
            for turn in turns
        )
        build.parts.append(Part("seal", ring, f"O-ring {across:.2f} mm"))


def _grains(build: _Builder, rows: list[dict[str, float]], front: float) -> None:
    x = front
    for row in rows:
        build.cores.append((x, x + row["count"] * row["length"], row["core_diameter"]))
        for _ in range(round(row["count"])):
            build.box("grain", x, x + row["length"], row["core_diameter"] / 2, row["outer_diameter"] / 2)
            x += row["length"]


def _screws(build: _Builder, screws: Screws, x: float, bore: float, outer: float, ring: float) -> None:
    size = build.mm(screws.diameter) or 0.0
    build.box("screw", x - size / 2, x + size / 2, bore / 2 - ring, outer / 2, screws.designation)


def _ring_thickness(build: _Builder, closure: Closure, bore: float) -> float:
    """Radial thickness of the retaining ring, mm."""
    if closure.screws is not None:
        thick = build.mm(closure.screws.ring_thickness)
        return thick if thick is not None else min(2.5 * (build.mm(closure.screws.diameter) or 3.0), 0.25 * bore)
    return 0.15 * bore


def _forward(build: _Builder, ring: float, plate: float, bore: float, outer: float) -> None:
    closure = build.motors.forward_closure
    if closure is None:
        return
    name = closure.plate_material.name if closure.plate_material is not None else ""
    build.box("closure", ring, ring + plate, 0.0, bore / 2, name)
    _retaining(build, closure, 0.0, ring, bore, outer, 0.0, "forward")
    _seals(build, closure, ring, ring + plate, bore)


def _retaining(
    build: _Builder, closure: Closure, end: float, depth: float, bore: float, outer: float, hollow: float, which: str
) -> None:
    """The ring that holds a closure, `depth` mm deep from the case end at `end`; `hollow` is a radius to keep free."""
    inward = 1.0 if which == "forward" else -1.0
    thick = _ring_thickness(build, closure, bore)
    inner = max(bore / 2 - thick, min(hollow, bore / 2 - 0.5))
    name = closure.ring_material.name if closure.ring_material is not None else ""
    if closure.snap_ring is not None:
        groove = build.mm(closure.snap_ring.groove_depth) or 0.0
        thickness = build.mm(closure.snap_ring.ring_thickness) or 0.0
        near, far = end + inward * (depth - thickness), end + inward * depth
        build.box("screw", min(near, far), max(near, far), inner, bore / 2 + groove, "snap ring")
        return
    far = end + inward * depth
    build.box("ring", min(end, far), max(end, far), inner, bore / 2, name)
    if closure.screws is not None:
        edge = build.mm(closure.screws.edge_distance)
        at = end + inward * (10.0 if edge is None else edge)
        _screws(build, closure.screws, at, bore, outer, bore / 2 - inner)


def _nozzle(build: _Builder, face: float, flange: float, length: float, bore: float, liner: float) -> Point:
    """The nozzle body; returns its aft end as (x, outer radius)."""
    nozzle = build.motors.nozzle
    throat = (build.mm(nozzle.throat_diameter) or 0.0) / 2
    exit_radius = (build.mm(nozzle.exit_diameter) or 0.0) / 2
    angle = number(nozzle.half_angle, build.index) or math.radians(15.0)
    inlet = _inlet(bore, liner, 2 * throat) / 2
    at_throat = face + (inlet - throat) / math.tan(CONVERGENT_ANGLE)
    slope = math.tan(angle)
    tip = at_throat + (exit_radius - throat) / slope
    shoulder = face + flange

    insert_length, insert = build.mm(nozzle.insert_length) or 0.0, build.mm(nozzle.insert_diameter) or 0.0
    insert_end = max(at_throat - insert_length / 2, face) + insert_length if insert else face

    def skin(x: float) -> float:
        cone = min(throat + max(x - at_throat, 0.0) * slope, exit_radius)
        return max(cone, insert / 2 if x < insert_end else 0.0) + NOZZLE_SKIN

    outline: list[Point] = [(face, inlet), (at_throat, throat), (tip, exit_radius)]
    if tip > shoulder:
        stations = sorted({shoulder, min(max(insert_end, shoulder), tip), tip}, reverse=True)
        outline += [(x, min(skin(x), bore / 2) if x <= length else skin(x)) for x in stations]
        if shoulder < insert_end < tip:
            outline.insert(-1, (insert_end, min(insert / 2 + NOZZLE_SKIN, bore / 2)))
    else:
        outline += [(tip, bore / 2)]
    outline += [(min(shoulder, tip), bore / 2), (face, bore / 2)]
    name = nozzle.material.name if nozzle.material is not None else ""
    build.parts.append(Part("nozzle", tuple(dict.fromkeys(outline)), name))
    if insert_length and insert:
        _insert(build, at_throat, throat, slope, insert_length, insert / 2, face)
    build.assumptions.append("the outside of the nozzle, its convergent cone and the rings are for the picture only")
    seat = max(face, shoulder - max(_gland_room(build, build.motors.aft_closure), 0.4 * flange))
    _seals(build, build.motors.aft_closure, seat, shoulder, bore)
    within = [r for x, r in outline if shoulder < x <= length] or [min(skin(shoulder), bore / 2)]
    return (tip, max(within))


def _insert(
    build: _Builder, at_throat: float, throat: float, slope: float, length: float, radius: float, face: float
) -> None:
    start = max(at_throat - length / 2, face)
    end = start + length
    outline = (
        (start, throat + (at_throat - start) * math.tan(CONVERGENT_ANGLE)),
        (at_throat, throat),
        (end, throat + (end - at_throat) * slope),
        (end, radius),
        (start, radius),
    )
    build.parts.append(Part("insert", outline, "throat insert"))


def _aft(
    build: _Builder,
    length: float,
    ring: float,
    face: float,
    flange: float,
    bore: float,
    outer: float,
    tip: Point,
) -> None:
    closure = build.motors.aft_closure
    if closure is not None:
        _retaining(build, closure, length, ring, bore, outer, tip[1] + 0.5, "aft")


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
