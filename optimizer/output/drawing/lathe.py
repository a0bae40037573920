"""The parts that are turned, each with its profile and everything a machinist asks of it, in millimetres.

Owns what stands on a lathe sheet: profiles, sizes with their tolerances and where these come from, tapped holes, lead-in,
edges, surfaces and what was assumed. Shapes are those of the section, so that sheet and section cannot differ. Imports
geometry, the stock lists and the types of physics.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from optimizer.inputs.stock import load_stock
from optimizer.output.drawing.geometry import MILLIMETRE, Part, Point, Section, grain_rows, millimetres, number, section
from optimizer.output.drawing.plates import Labels
from optimizer.vocabulary import COLUMN_KEYS
from physics.assembly import LAND_SHARE
from physics.motors import Closure, Motors, Plug, Screws, Seal

GENERAL = ((3.0, 0.1), (6.0, 0.1), (30.0, 0.2), (120.0, 0.3), (400.0, 0.5), (1000.0, 0.8), (2000.0, 1.2), (4000.0, 2.0))
"""ISO 2768-1, class m: largest size [mm] of each row and its deviation either way [mm]; remembered."""
SEALING = 0.05
"""Deviation [mm] on a diameter that a ring seals on, where the file gives none; common practice, no source."""
LEAD_ANGLE = 15.0
"""Lead-in for a ring, degrees to the axis: makers ask for 15 to 20; remembered."""
LEAD_REACH = 1.1
"""Opening of the lead-in over what the ring stands proud of the bore; common practice, no source."""
THREAD_SHARE = 0.75
"""Depth of a tapped thread over the full one; common practice, no source."""
FULL_THREAD = 3 * math.sqrt(3) / 8
"""Depth of a full internal thread over the pitch, 5/8 of the height of the sharp triangle; ISO 68-1, derived."""
RING_FIT = (0.05, 0.10)
"""What a ring or a sleeve is turned below the bore as measured, on the diameter [mm]; common practice, no source."""
SLEEVE_FIT = (0.1, 0.3)
"""The same for a liner, which is glued or greased in; common practice, no source."""

SEAL_SURFACE = (
    "Ra 1.6 µm (63 µin) or better where a ring seals, 3.2 µm (125 µin) on groove floors and sides; turned round, no mark "
    "along the axis (ISO 3601-2 for static seals, remembered)"
)
EDGES = "Break all edges 0.2 to 0.4 mm (0.008 to 0.016 in) at 45°; lips of grooves 0.1 to 0.2 mm (0.004 to 0.008 in), no burr."


@dataclass(frozen=True)
class Feature:
    """One size of a part: what it is, how large, how far it may be off, who says so, where it is drawn. [mm]

    `kind` is "axial" (between `start` and `end`), "diameter" (at the axial place `start`), "angle" [deg] or "" for what is
    not drawn. `source` says where the tolerance comes from, `key` under which the size as measured is read back.
    """

    what: str
    size: float
    minus: float
    plus: float
    source: str
    kind: str = ""
    start: float = 0.0
    end: float = 0.0
    key: str = ""
    text: str = ""


@dataclass(frozen=True)
class Turned:
    """A part for the lathe: profile as solids of the upper half, `holes` as boxes through them, sizes and notes. [mm]"""

    name: str
    material: str
    solids: tuple[tuple[Point, ...], ...]
    holes: tuple[tuple[Point, ...], ...]
    features: tuple[Feature, ...]
    notes: tuple[str, ...]
    assumed: tuple[str, ...]
    warnings: tuple[str, ...] = ()

    @property
    def start(self) -> float:
        """Forward end of the part. [mm]"""
        return min(x for solid in self.solids for x, _ in solid)

    @property
    def end(self) -> float:
        """Aft end of the part. [mm]"""
        return max(x for solid in self.solids for x, _ in solid)

    @property
    def radius(self) -> float:
        """Largest radius. [mm]"""
        return max(r for solid in self.solids for _, r in solid)


@dataclass
class _Draft:
    """A part while its sizes come up."""

    motors: Motors
    labels: Labels
    features: list[Feature] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def size(self, length: float, digits: int = 2) -> str:
        """A length in mm as text in the sheet's unit."""
        return self.labels.length(length, digits)

    def value(self, column: str) -> float | None:
        return millimetres(self.motors.value(column))

    def add(self, what: str, column: str, kind: str, start: float, end: float = 0.0, sealing: bool = False) -> None:
        """A size that stands in the file, under its own key; nothing where the file has none."""
        size = self.value(column)
        if size is not None:
            minus, plus, source = allowed(self.motors, column, size, sealing)
            minus = 0.0 if what.endswith("at least") else minus
            self.features.append(Feature(what, size, minus, plus, source, kind, start, end, COLUMN_KEYS.get(column, "")))

    def derive(self, what: str, size: float, kind: str, start: float, end: float = 0.0, sealing: bool = False) -> None:
        """A size that follows from others."""
        minus = plus = SEALING if sealing else general(size)
        minus = 0.0 if what.endswith("at least") else minus
        source = "this sheet" if sealing else "ISO 2768-m"
        self.features.append(Feature(what, size, minus, plus, source, kind, start, end))


def general(size: float) -> float:
    """The general tolerance of a length: ISO 2768-1, class m, either way. [mm]

    >>> general(2.0), general(10.0), general(57.15), general(450.0)
    (0.1, 0.2, 0.3, 0.8)
    """
    return next((deviation for most, deviation in GENERAL if size <= most), GENERAL[-1][1])


def allowed(motors: Motors, column: str, size: float, sealing: bool = False) -> tuple[float, float, str]:
    """How far a size may be below and above [mm], and who says so: the file, this sheet, or the general tolerance."""
    given = motors.tolerances.get(column)
    if given is not None:
        scale = size if given.relative else 1.0 / MILLIMETRE
        minus, plus = (reach * scale for reach in given.reach)
        return minus, plus, "the file" if not given.standard_deviation else "the file, 3 σ"
    if sealing:
        return SEALING, SEALING, "this sheet"
    return general(size), general(size), "ISO 2768-m"


def tap_drill(diameter: float, pitch: float, metric: bool) -> tuple[str, float]:
    """The drill nearest to what leaves three quarters of a full thread, by name and size. [mm]

    Valid for 60 degree threads in aluminium, brass and steel; plastics want a larger one. Source: ISO 68-1 profile, derived.

    >>> tap_drill(6.0, 1.0, True), tap_drill(4.826, 25.4 / 24, False)[0]
    (('5 mm', 5.0), '#25')
    """
    wanted = diameter - 2.0 * THREAD_SHARE * FULL_THREAD * pitch
    drills = load_stock("drills-metric" if metric else "drills-imperial").items
    best = min(drills, key=lambda item: abs(item.values["diameter"] / MILLIMETRE - wanted))
    return (f"{best.name} mm" if metric else best.name), best.values["diameter"] / MILLIMETRE


def turned_parts(motors: Motors, labels: Labels) -> list[Turned]:
    """Every part of one motor that the file describes and a lathe makes, forward end first.

    Raises DrawingError as `section` does.
    """
    shape = section(motors)
    makers: Sequence[Callable[[_Draft, Section], Turned | None]] = (
        _case, _liner, _forward_ring, _plate, _carrier, _insert, _aft_ring,
    )  # fmt: skip
    return [part for make in makers if (part := make(_Draft(motors, labels), shape)) is not None]


# --- profiles --------------------------------------------------------------------------------------------------------


def recessed(chain: Sequence[Point], x0: float, x1: float, radius: float) -> list[Point]:
    """A chain of points along the axis with everything between two places at one radius instead."""
    xs, rs = [x for x, _ in chain], [r for _, r in chain]

    def at(x: float, before: bool) -> float:
        same = [r for where, r in chain if abs(where - x) < 1e-9]
        return (same[0] if before else same[-1]) if same else float(np.interp(x, xs, rs))

    ahead = [(x, r) for x, r in chain if x < x0 - 1e-9]
    behind = [(x, r) for x, r in chain if x > x1 + 1e-9]
    if x0 > xs[0] + 1e-9:
        ahead.append((x0, at(x0, True)))
    if x1 < xs[-1] - 1e-9:
        behind.insert(0, (x1, at(x1, False)))
    return list(dict.fromkeys([*ahead, (x0, radius), (x1, radius), *behind]))


def chains(outline: Sequence[Point]) -> tuple[list[Point], list[Point]]:
    """An outline that begins at its forward inner corner, as its inner and its outer chain, both forward end first."""
    far = max(x for x, _ in outline)
    turn = next(k for k, (x, _) in enumerate(outline) if x == far)
    return list(outline[: turn + 1]), list(reversed(outline[turn + 1 :]))


def _closed(inner: Sequence[Point], outer: Sequence[Point]) -> tuple[Point, ...]:
    return (*inner, *reversed(outer))


def _of_kind(shape: Section, kind: str, low: float = -math.inf, high: float = math.inf) -> list[Part]:
    return [part for part in shape.parts if part.kind == kind and low <= _span(part.outline)[0] < high]


def _span(outline: Sequence[Point]) -> tuple[float, float]:
    return min(x for x, _ in outline), max(x for x, _ in outline)


def _grooved(outer: Sequence[Point], seats: Sequence[tuple[Part, float]], radius: float) -> list[Point]:
    """The outer chain turned to `radius`, to that of each ring's seat as far as half way to the next, with the grooves cut."""
    chain = [(x, min(r, radius)) for x, r in outer]
    ordered = sorted(seats, key=lambda seat: _span(seat[0].outline))
    for (before, low), (after, high) in pairwise(ordered):
        if abs(low - high) > 1e-6:
            step = (_span(before.outline)[1] + _span(after.outline)[0]) / 2
            side = (chain[0][0], step) if low < high else (step, chain[-1][0])
            chain = recessed(chain, *side, min(low, high))
    for gland, _ in ordered:
        x0, x1 = _span(gland.outline)
        chain = recessed(chain, max(x0, chain[0][0]), min(x1, chain[-1][0]), min(r for _, r in gland.outline))
    return chain


# --- sizes that several parts share ----------------------------------------------------------------------------------


def _bore(motors: Motors, shape: Section) -> float:
    bore = None if motors.case is None else millimetres(motors.case.bore)
    return bore if bore is not None else 2 * shape.radius


def _glands(draft: _Draft, glands: Sequence[Part], bore: float, faces: tuple[float, float], gas: float) -> list[tuple[Part, float]]:
    """Sizes of the grooves of one part between its two faces, of which gas meets the one at `gas`.

    Returns each groove with the radius of the part where its ring seals.
    """
    glands = sorted(glands, key=lambda gland: abs(sum(_span(gland.outline)) / 2 - gas))
    columns = list(dict.fromkeys(gland.column for gland in glands))
    seats = []
    for place, column in enumerate(columns, 1):
        own = [gland for gland in glands if gland.column == column]
        which = "" if len(columns) == 1 else f", ring {place}"
        body = _ring_sizes(draft, column, own, bore, which)
        seats += [(gland, body / 2) for gland in own]
        near = min((x for x in _span(own[0].outline)), key=lambda x: abs(x - gas))
        if abs(near - gas) > 1e-9:
            _from_gas(draft, column, near, gas, which)
        if len(own) > 1:
            one, other = sorted(_span(gland.outline)[0] for gland in own)[:2]
            draft.derive(f"groove to groove, {len(own)} grooves{which}", other - one, "axial", one, other)
    _lands(draft, glands, faces)
    draft.notes.append(f"{SEAL_SURFACE}.")
    return seats


def _from_gas(draft: _Draft, column: str, near: float, gas: float, which: str) -> None:
    """How far the first groove of a ring lies from the face that gas meets."""
    what, places = f"pressure side to the groove{which}", (min(near, gas), max(near, gas))
    if draft.value(f"{column}.from_gas") is not None:
        draft.add(what, f"{column}.from_gas", "axial", *places)
    else:
        draft.derive(what, places[1] - places[0], "axial", *places)


def _ring_sizes(draft: _Draft, column: str, glands: Sequence[Part], bore: float, which: str) -> float:
    """Sizes of the grooves of one ring's description; returns the diameter of the part where it seals."""
    seal: Seal = draft.motors.value(column)
    sealed = millimetres(seal.diameter) or bore
    gap, depth = millimetres(seal.gap) or 0.0, millimetres(seal.gland_depth) or 0.0
    body = sealed - 2 * gap
    first, last = _span(glands[0].outline)
    middle = (first + last) / 2
    twice = {"gap": f"outside Ø where it seals{which}", "gland_depth": f"groove floor Ø{which}"}
    named = {leaf: COLUMN_KEYS[f"{column}.{leaf}"] for leaf in ("gap", "gland_depth", "gland_width")}
    if seal.behind is not None:
        named = {leaf: key.replace(".seal.", ".seals.0.") for leaf, key in named.items()}
    for leaf, what in twice.items():
        minus, plus, source = allowed(draft.motors, f"{column}.{leaf}", millimetres(getattr(seal, leaf)) or 0.0)
        if source == "ISO 2768-m":
            minus = plus = SEALING / 2
            source = "this sheet"
        size = body if leaf == "gap" else sealed - 2 * depth
        place = max(_span(gland.outline)[1] for gland in glands) + 0.5 if leaf == "gap" else middle
        text = "half of bore less Ø" if seal.diameter is None else "half of sealed Ø less Ø"
        draft.features.append(Feature(what, size, 2 * plus, 2 * minus, source, "diameter", place, 0.0, named[leaf], text))
    width = millimetres(seal.gland_width)
    if width is None:
        draft.derive(f"groove width{which}", last - first, "axial", first, last)
        draft.assumed.append(f"{named['gland_width']} is not given: 1.35 times the ring's section")
    else:
        draft.add(f"groove width{which}", f"{column}.gland_width", "axial", first, last)
        draft.features[-1] = replace(draft.features[-1], key=named["gland_width"])
    sealing = "the bore" if seal.diameter is None else f"the sealed Ø, {draft.size(sealed)},"
    short = "bore" if seal.diameter is None else "that"
    called = "Turn" if not which else f"{which.removeprefix(', ').capitalize()}{f', {seal.name}' if seal.name else ''}: turn"
    draft.notes.append(
        f"{called} Ø and grooves to {sealing} as measured: Ø = {short} less {draft.size(2 * gap)}, floor = {short} less "
        f"{draft.size(2 * depth)}. Ring: section {draft.size(millimetres(seal.cross_section) or 0.0)}."
    )
    return body


def _lands(draft: _Draft, glands: Sequence[Part], faces: tuple[float, float]) -> None:
    """Say where what stands beside a groove is too thin to hold a ring."""
    least = max(LAND_SHARE * (draft.value(f"{gland.column}.cross_section") or 0.0) for gland in glands)
    spans = [(faces[0], faces[0]), *sorted(_span(gland.outline) for gland in glands), (faces[1], faces[1])]
    lands = [after[0] - before[1] for before, after in pairwise(spans)]
    if lands and min(lands) < least - 1e-6:
        wide = sum((draft.value(f"{gland.column}.gland_width") or 0.0) or _width(gland) for gland in glands)
        more = (len(glands) + 1) * least + wide
        alone = len({gland.column for gland in glands}) == 1
        fewer = f"take one ring ({glands[0].column}.rings)" if alone else "take fewer rings"
        draft.warnings.append(
            f"Only {draft.size(max(min(lands), 0.0))} is left beside a groove; half a ring's section, "
            f"{draft.size(least)}, is usual. Do not "
            f"make it so: {len(glands)} grooves need {draft.size(more)} of thickness, or {fewer}."
        )


def _width(part: Part) -> float:
    start, end = _span(part.outline)
    return end - start


def _tapped(draft: _Draft, end: str, screws: Screws, face: float, hole: float) -> None:
    """The tapped holes of a ring: drill, thread, depth, places."""
    size, pitch = millimetres(screws.diameter) or 0.0, millimetres(screws.pitch) or 0.0
    name, drill = tap_drill(size, pitch, bool(number(screws.metric)))
    count = round(number(screws.count) or 0.0)
    depth = millimetres(screws.ring_thickness)
    draft.add(
        "hole centres to the pressure side", f"{end}_closure.screws.ring_edge_distance", "axial", min(face, hole), max(face, hole)
    )
    draft.features.append(Feature(f"tap drill {name}, {count} holes", drill, 0.0, 0.1, "thread"))
    thread = screws.designation or f"{draft.size(size)} × {draft.size(pitch, 3)}"
    through = f"through, {draft.size(depth, 1)} of ring" if depth is not None else "through"
    draft.notes.append(
        f"{count} holes tapped {thread}, {through}, {360 / count:.4g}° apart, drilled through the case in place: use the wrap."
    )
    if depth is not None and depth < size:
        draft.notes.append(
            f"Only {draft.size(depth, 1)} of thread, less than the screw's diameter of {draft.size(size, 1)}: see the ladder."
        )
    flush, wall = millimetres(screws.flush_length), draft.value("case.wall")
    if flush is not None and wall is not None:
        draft.notes.append(f"Screws reach {draft.size(flush - wall, 1)} into the ring.")


def _female_thread(draft: _Draft, end: str, closure: Closure, long: float, bore: float) -> list[tuple[Point, ...]]:
    """Sizes of the thread that a ring screws into, and what it takes out of the tube."""
    ring = closure.threaded_ring
    assert ring is not None
    major, pitch = millimetres(ring.thread_diameter) or 0.0, millimetres(ring.thread_pitch) or 0.0
    minor, deep = major - 2 * FULL_THREAD * pitch, millimetres(ring.engagement) or 0.0
    x0, x1 = (0.0, deep) if end == "forward" else (long - deep, long)
    mouth, inner = (x0, x1) if end == "forward" else (x1, x0)
    bored = Feature(f"{end} thread, bored to Ø", minor, 0.0, 0.1, "thread", "diameter", mouth)
    draft.features.append(bored)
    draft.derive(f"{end} full thread over, at least", deep, "axial", x0, x1)
    draft.notes.append(
        f"{end} thread in the case: Ø {draft.size(major)}, pitch {draft.size(pitch, 3)}, 60°, bored first; run-out of 1.5 pitches "
        f"behind it at {draft.size(inner, 1)} from the forward end (ISO 68-1, derived)."
    )
    return [((x0, bore / 2), (x1, bore / 2), (x1, major / 2), (x0, major / 2))]


def _lead_in(draft: _Draft, ends: Sequence[str], wall: float) -> None:
    """The chamfer that leads a ring into the bore, wide enough that its free outside is caught by nothing."""
    proud = 0.0
    for end in ends:
        closure = getattr(draft.motors, f"{end}_closure")
        rings = () if closure.seal is None else closure.seal.series
        if end == "aft" and draft.motors.nozzle.seal is not None:
            rings += tuple(ring for ring in draft.motors.nozzle.seal.series if ring.diameter is None)
        if not rings:
            continue
        own = max((millimetres(ring.cross_section) or 0.0) - (millimetres(ring.gland_depth) or 0.0) for ring in rings)
        proud = max(proud, own)
        if closure.threaded_ring is not None or closure.snap_ring is not None:
            what = "thread" if closure.threaded_ring is not None else "groove"
            draft.notes.append(
                f"{end}: the ring passes over the {what}: lead-in behind it as well, and push the closure in through a thin sleeve."
            )
    if not proud:
        return
    rise = LEAD_REACH * proud
    long = rise / math.tan(math.radians(LEAD_ANGLE))
    if rise < 0.6 * wall:
        draft.notes.append(
            f"Lead-in for the rings at both ends: {LEAD_ANGLE:g}° to the axis, {draft.size(rise)} deep, "
            f"{draft.size(long, 1)} long, "
            f"polished; a ring stands {draft.size(proud)} proud. It takes {rise / wall:.0%} of the wall at the very end; "
            "the ladder "
            "counts the whole edge distance."
        )
    else:
        draft.notes.append(
            f"A ring stands {draft.size(proud)} proud and the wall is {draft.size(wall)}: no room for a lead-in in the tube. Push "
            f"the closure in through a sleeve bored {LEAD_ANGLE:g}° to the axis."
        )


# --- the parts -------------------------------------------------------------------------------------------------------


def _case(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    if motors.case is None:
        return None
    bore, outer = _bore(motors, shape), 2 * shape.radius
    outer = millimetres(motors.case.outer_diameter) or outer
    wall, long = (outer - bore) / 2, shape.case_length
    draft.add("outside Ø", "case.outer_diameter", "diameter", 0.0)
    less, more, source = allowed(motors, "case.wall", wall)
    source = source if source == "ISO 2768-m" else f"wall, {source}"
    draft.features.append(Feature("bore Ø", bore, 2 * more, 2 * less, source, "diameter", long))
    draft.add("wall", "case.wall", "", 0.0)
    if motors.case.length is not None:
        draft.add("length", "case.length", "axial", 0.0, long)
    else:
        draft.derive("length", long, "axial", 0.0, long)
        draft.assumed.append("case.length is not given: as long as its parts")
    holes, ends = [], []
    for end, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure)):
        if closure is None:
            continue
        ends.append(end)
        if closure.screws is not None:
            holes += _case_holes(draft, end, closure.screws, (long, bore, outer))
        elif closure.threaded_ring is not None:
            holes += _female_thread(draft, end, closure, long, bore)
        elif closure.snap_ring is not None:
            holes += _snap_groove(draft, end, closure, long, bore)
    _lead_in(draft, ends, wall)
    draft.notes.append("Tube as drawn: outside and bore are the mill's; measure both ends, two ways, and turn the closures to it.")
    drilled = any(getattr(motors, f"{end}_closure").screws is not None for end in ends)
    over = " Holes are deburred inside: a ring passes over them." if drilled else ""
    draft.notes.append(f"Bore where the rings seal: {SEAL_SURFACE}.{over}")
    solid = ((0.0, bore / 2), (long, bore / 2), (long, outer / 2), (0.0, outer / 2))
    return _made("case", motors.case.material.name, draft, [solid], holes)


def _case_holes(draft: _Draft, end: str, screws: Screws, tube: tuple[float, float, float]) -> list[tuple[Point, ...]]:
    long, bore, outer = tube
    found = next(
        (part for part in _of_kind(section(draft.motors), "screw") if (_span(part.outline)[0] < long / 2) == (end == "forward")),
        None,
    )
    if found is None:
        return []
    middle = sum(_span(found.outline)) / 2
    size = millimetres(screws.hole_diameter) or 0.0
    near, far = (0.0, middle) if end == "forward" else (middle, long)
    column = f"{end}_closure.screws"
    if screws.edge_distance is not None:
        draft.add(f"{end} hole centres to the end", f"{column}.edge_distance", "axial", near, far)
    else:
        draft.derive(f"{end} hole centres to the end", far - near, "axial", near, far)
        draft.assumed.append(f"{end}_closure.edge_distance is not given: twice the screw's diameter")
    count = round(number(screws.count) or 0.0)
    size_of = Feature(
        f"{end} holes Ø, {count} of them", size, 0.0, 0.1, "drill", "", key=COLUMN_KEYS.get(f"{column}.hole_diameter", "")
    )
    given = draft.motors.tolerances.get(f"{column}.hole_diameter")
    if given is not None:
        minus, plus, source = allowed(draft.motors, f"{column}.hole_diameter", size)
        size_of = replace(size_of, minus=minus, plus=plus, source=source)
    draft.features.append(size_of)
    draft.notes.append(
        f"{end}: {count} holes {360 / count:.4g}° apart on one circle; print the wrap at 1:1 and centre-punch through it."
    )
    x0, x1 = middle - size / 2, middle + size / 2
    return [((x0, bore / 2), (x1, bore / 2), (x1, outer / 2), (x0, outer / 2))]


def _snap_groove(draft: _Draft, end: str, closure: Closure, long: float, bore: float) -> list[tuple[Point, ...]]:
    snap = closure.snap_ring
    assert snap is not None
    depth, thick = millimetres(snap.groove_depth) or 0.0, millimetres(snap.ring_thickness) or 0.0
    margin = millimetres(snap.edge_margin) or 0.0
    x0 = margin if end == "forward" else long - margin - thick
    x1 = x0 + thick
    column = f"{end}_closure.snap_ring"
    draft.add(f"{end} groove to the end", f"{column}.edge_margin", "axial", *((0.0, x0) if end == "forward" else (x1, long)))
    draft.add(f"{end} groove depth", f"{column}.groove_depth", "", 0.0)
    minus, plus, source = allowed(draft.motors, f"{column}.groove_depth", depth, sealing=True)
    draft.features.append(Feature(f"{end} groove Ø", bore + 2 * depth, 2 * minus, 2 * plus, source, "diameter", (x0 + x1) / 2))
    draft.features.append(Feature(f"{end} groove width", thick, -0.05, 0.15, "this sheet", "", key=""))
    draft.notes.append(
        f"{end} groove: a ring of {draft.size(thick)} in a groove {draft.size(0.05)} to {draft.size(0.15)} wider (common "
        "practice, no source); "
        "square to the axis, radius of the floor as small as the tool."
    )
    return [((x0, bore / 2), (x1, bore / 2), (x1, bore / 2 + depth), (x0, bore / 2 + depth))]


def _liner(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    found = _of_kind(shape, "liner")
    if motors.liner is None or not found:
        return None
    x0, x1 = _span(found[0].outline)
    bore = _bore(motors, shape)
    thick = millimetres(motors.liner.thickness) or 0.0
    low, high = SLEEVE_FIT
    outside = bore - (low + high) / 2
    draft.features.append(Feature("outside Ø", outside, (high - low) / 2, (high - low) / 2, "this sheet", "diameter", x0))
    draft.add("thickness", "liner.thickness", "", 0.0)
    draft.derive("inside Ø", outside - 2 * thick, "diameter", x1)
    draft.derive("length", x1 - x0, "axial", x0, x1)
    draft.assumed.append(f"outside {draft.size(low)} to {draft.size(high)} below the bore as measured, to be glued or greased in")
    draft.assumed.append("length from the forward plate to the nozzle's face; leave no bare bore at either end")
    widest = max((row["outer_diameter"] for row in grain_rows(motors)), default=0.0)
    draft.notes.append(
        "Cut square; no step at a joint. Grains must slide in without force: gauge with the widest, "
        f"Ø {draft.size(widest)} as drawn."
    )
    if widest > outside - 2 * thick:
        draft.warnings.append(
            f"The grains, Ø {draft.size(widest)}, are wider than this liner, Ø {draft.size(outside - 2 * thick)}: fit the liner "
            "closer to the bore, or take smaller grains."
        )
    half = outside / 2
    solid = ((x0, half - thick), (x1, half - thick), (x1, half), (x0, half))
    return _made("liner", motors.liner.material.name, draft, [solid], [])


def _forward_seat(shape: Section) -> list[Part]:
    return sorted(_glands_of(shape, "forward_closure"), key=lambda gland: _span(gland.outline))


def _glands_of(shape: Section, *parts: str) -> list[Part]:
    """The glands that belong to seals of some parts of the motor."""
    return [gland for gland in _of_kind(shape, "gland") if gland.column.partition(".")[0] in parts]


def _one_piece(shape: Section) -> bool:
    """Whether the forward glands reach back over the ring, so that ring and plate are of one piece."""
    plate, glands = _of_kind(shape, "closure"), _forward_seat(shape)
    return bool(plate and glands) and _span(glands[0].outline)[0] < _span(plate[0].outline)[0] - 1e-6


def _plate(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    closure, found = motors.forward_closure, _of_kind(shape, "closure")
    if closure is None or not found:
        return None
    x0, x1 = _span(found[0].outline)
    bore = _bore(motors, shape)
    if closure.plate_thickness is not None:
        draft.add("plate thickness", "forward_closure.plate_thickness", "axial", x0, x1)
    else:
        draft.derive("plate thickness", x1 - x0, "axial", x0, x1)
        draft.assumed.append("forward_closure.plate_thickness is not given: a fifth of the bore")
    inner, outer = [(x0, 0.0), (x1, 0.0)], [(x0, bore / 2), (x1, bore / 2)]
    holes: list[tuple[Point, ...]] = []
    glands, name = _forward_seat(shape), "forward plate"
    if _one_piece(shape):
        name = "forward closure"
        inner, outer, holes = _with_ring(draft, shape, x0, x1, bore)
    body, seats = bore - 2 * RING_FIT[0], []
    if glands:
        seats = _glands(draft, glands, bore, (x0 if name == "forward plate" else 0.0, x1), x1)
        body = max(2 * radius for _, radius in seats)
    else:
        _fitted_outside(draft, bore, x1)
    if closure.plug is not None:
        inner, holes = _plug_hole(draft, closure.plug, shape, inner, holes)
    material = closure.plate_material or closure.ring_material
    left = "" if closure.plug is not None else "; no centre hole left in the pressure side"
    draft.notes.append(f"Both faces square to the outside within 0.05 mm (0.002 in){left}.")
    solid = _closed(inner, _grooved(outer, seats, body / 2))
    return _made(name, material.name if material is not None else "", draft, [solid], holes)


def _plug_hole(
    draft: _Draft, plug: Plug, shape: Section, inner: list[Point], holes: list[tuple[Point, ...]]
) -> tuple[list[Point], list[tuple[Point, ...]]]:
    """The tapped hole of a plug: in the middle it opens the inside of the plate, off it it is a hole through it."""
    plate = _of_kind(shape, "closure")[0]
    x0, x1 = _span(plate.outline)
    size, pitch = millimetres(plug.thread_diameter) or 0.0, millimetres(plug.thread_pitch) or 0.0
    name, drill = tap_drill(size, pitch, plug.thread.upper().startswith("M"))
    draft.features.append(Feature(f"plug's hole, tap drill {name}", drill, 0.0, 0.1, "thread", "diameter", (x0 + x1) / 2))
    through = f"Tapped {plug.thread or draft.size(size)} through the plate for the plug, square to its outer face"
    if plug.engagement is not None:
        draft.add("plug's thread engaged, at least", "forward_closure.plug.engagement", "", 0.0)
    if plug.seal is not None:
        ring = plug.seal
        through += (
            f"; the plug's ring, section {draft.size(millimetres(ring.cross_section) or 0.0)}, wants a gland "
            f"{draft.size(millimetres(ring.gland_depth) or 0.0)} deep and a smooth face or countersink under the head"
        )
    draft.notes.append(through + ".")
    offset = millimetres(plug.offset) or 0.0
    if not offset:
        return [*(point for point in inner if point[1] > 0.0), (x0, drill / 2), (x1, drill / 2)], holes
    draft.add("plug's hole off the middle", "forward_closure.plug.offset", "", 0.0)
    hole = ((x0, offset - drill / 2), (x1, offset - drill / 2), (x1, offset + drill / 2), (x0, offset + drill / 2))
    draft.notes.append("The plug's hole off the middle is one hole, drawn on both sides of the axis.")
    return inner, [*holes, hole]


def _with_ring(
    draft: _Draft, shape: Section, x0: float, x1: float, bore: float
) -> tuple[list[Point], list[Point], list[tuple[Point, ...]]]:
    """Inner and outer chain of a closure whose ring and plate are of one piece, and its tapped holes."""
    ring = _of_kind(shape, "ring", high=x0)
    opening = min(r for _, r in ring[0].outline) if ring else bore / 2
    draft.derive("opening Ø of the ring", 2 * opening, "diameter", 0.0)
    draft.derive("length over all", x1, "axial", 0.0, x1)
    draft.assumed.append("ring and plate of one piece: the glands do not fit on the plate alone")
    inner, outer = [(0.0, opening), (x0, opening), (x0, 0.0), (x1, 0.0)], [(0.0, bore / 2), (x1, bore / 2)]
    return inner, outer, _ring_holes(draft, "forward", shape, x0)


def _ring_holes(draft: _Draft, end: str, shape: Section, face: float) -> list[tuple[Point, ...]]:
    closure = draft.motors.forward_closure if end == "forward" else draft.motors.aft_closure
    screws = None if closure is None else closure.screws
    if screws is None:
        return []
    found = [part for part in _of_kind(shape, "screw") if (_span(part.outline)[0] < face) == (end == "forward")]
    if not found:
        return []
    low, high = _span(found[0].outline)
    middle, size = (low + high) / 2, millimetres(screws.diameter) or 0.0
    _tapped(draft, end, screws, face, middle)
    radii = [r for _, r in found[0].outline]
    bore = _bore(draft.motors, shape) / 2
    return [
        ((middle - size / 2, min(radii)), (middle + size / 2, min(radii)), (middle + size / 2, bore), (middle - size / 2, bore))
    ]


def _fitted_outside(draft: _Draft, bore: float, place: float) -> None:
    low, high = RING_FIT
    draft.features.append(
        Feature("outside Ø", bore - (low + high) / 2, (high - low) / 2, (high - low) / 2, "this sheet", "diameter", place)
    )
    draft.assumed.append(f"outside {draft.size(low)} to {draft.size(high)} below the bore as measured")


def _forward_ring(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    plate = _of_kind(shape, "closure")
    found = _of_kind(shape, "ring", high=_span(plate[0].outline)[0] + 1e-6 if plate else 0.0)
    if motors.forward_closure is None or not found or _one_piece(shape):
        return None
    return _ring(draft, shape, "forward", found[0], motors.forward_closure)


def _aft_ring(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    found = _of_kind(shape, "ring", low=shape.case_length / 2)
    if motors.aft_closure is None or not found:
        return None
    return _ring(draft, shape, "aft", found[-1], motors.aft_closure)


def _ring(draft: _Draft, shape: Section, end: str, part: Part, closure: Closure) -> Turned:
    bore = _bore(draft.motors, shape)
    x0, x1 = _span(part.outline)
    opening = min(r for _, r in part.outline)
    face = x1 if end == "forward" else x0
    if closure.threaded_ring is not None:
        _male_thread(draft, end, closure, (x0, x1))
    else:
        _fitted_outside(draft, bore, x1)
        draft.derive("length", x1 - x0, "axial", x0, x1)
    holes = _ring_holes(draft, end, shape, face)
    if closure.welded_lip is not None:
        leg = draft.size(millimetres(closure.welded_lip.leg) or 0.0)
        filler = f", filler {closure.welded_lip.filler}" if closure.welded_lip.filler else ""
        draft.notes.append(
            f"Welded into the tube by a fillet of leg {leg} on its outer face, all round{filler}; bore and faces after welding."
        )
    if closure.screws is not None and closure.screws.ring_thickness is not None:
        draft.add("radial thickness, at least", f"{end}_closure.screws.ring_thickness", "", 0.0)
    draft.derive("opening Ø", 2 * opening, "diameter", x0)
    if closure.screws is None or closure.screws.ring_thickness is None:
        draft.assumed.append("opening: as the section draws it; the file gives no thickness of the ring")
    draft.notes.append("Pressure side faced square to the outside within 0.05 mm (0.002 in): it bears on the closure all round.")
    material = closure.ring_material.name if closure.ring_material is not None else ""
    radius = (
        (millimetres(closure.threaded_ring.thread_diameter) or bore) / 2
        if closure.threaded_ring is not None
        else bore / 2 - RING_FIT[0] / 2
    )
    solid = ((x0, opening), (x1, opening), (x1, radius), (x0, radius))
    return _made(f"{end} ring", material, draft, [solid], holes)


def _male_thread(draft: _Draft, end: str, closure: Closure, span: tuple[float, float]) -> None:
    column = f"{end}_closure.threaded_ring"
    ring = closure.threaded_ring
    assert ring is not None
    pitch = millimetres(ring.thread_pitch) or 0.0
    draft.add("thread, major Ø", f"{column}.thread_diameter", "diameter", span[1], sealing=True)
    draft.add("engagement, at least", f"{column}.engagement", "axial", *span)
    draft.notes.append(
        f"Thread of pitch {draft.size(pitch, 3)}, 60°; cut it to run free in the case by hand; lead chamfer 45° over one pitch."
    )


def _carrier(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    found = _of_kind(shape, "nozzle")
    if not found:
        return None
    bore, inserts = _bore(motors, shape), _of_kind(shape, "insert")
    inner, outer = chains(found[0].outline)
    x0, x1 = inner[0][0], inner[-1][0]
    if outer[0][0] > x0:  # without a liner the convergent begins at the outside: its edge is a point of both chains
        outer.insert(0, inner[0])
    glands = [gland for gland in _glands_of(shape, "aft_closure", "nozzle") if not _in_insert(gland, inserts)]
    closure = motors.aft_closure
    material = motors.nozzle.material.name if motors.nozzle.material is not None else ""
    name = "nozzle"
    if inserts:
        name, material = "nozzle carrier", _carrier_material(closure)
        inner = _pocket(draft, inner, inserts[0])
    else:
        _throat(draft, motors, inner)
    ring = _of_kind(shape, "ring", low=shape.case_length / 2)
    shoulder = min((_span(part.outline)[0] for part in ring), default=x1)
    body, seats = bore - 2 * RING_FIT[0], []
    if glands:
        seats = _glands(draft, glands, bore, (x0, shoulder), x0)
        body = max(2 * radius for _, radius in seats)
    else:
        _fitted_outside(draft, bore, x0)
    if x0 < shoulder < x1:
        draft.derive("face to the ring's face", shoulder - x0, "axial", x0, shoulder)
    draft.add("exit Ø", "nozzle.exit_diameter", "diameter", x1)
    _half_angle(draft, motors)
    draft.derive("length over all", x1 - x0, "axial", x0, x1)
    draft.assumed.append("outside behind the ring's face and the skin of the exit: for the picture only; leave what the ring asks")
    if motors.nozzle.length_in_case is None:
        draft.assumed.append("nozzle.length_in_case is not given: see the section for what was taken")
    _webs(draft, inner, glands)
    solid = _closed(inner, _grooved(outer, seats, body / 2))
    return _made(name, material, draft, [solid], [])


def _in_insert(gland: Part, inserts: Sequence[Part]) -> bool:
    """Whether a gland is cut in the throat insert and not in what carries it."""
    return gland.column.startswith("nozzle.") and any(
        max(r for _, r in gland.outline) < 1.06 * max(r for _, r in insert.outline)
        and _span(insert.outline)[0] - 1e-6 <= _span(gland.outline)[0]
        and _span(gland.outline)[1] <= _span(insert.outline)[1] + 1e-6
        for insert in inserts
    )


def _webs(draft: _Draft, inner: Sequence[Point], glands: Sequence[Part]) -> None:
    """Say where little is left between a groove's floor and the inside of the part."""
    if not glands:
        return
    xs, rs = [x for x, _ in inner], [r for _, r in inner]
    webs = []
    for gland in glands:
        floor = min(r for _, r in gland.outline)
        places = [*_span(gland.outline), *(x for x in xs if _span(gland.outline)[0] < x < _span(gland.outline)[1])]
        webs += [floor - float(np.interp(x, xs, rs)) for x in places]
    least = max(LAND_SHARE * (draft.value(f"{gland.column}.cross_section") or 0.0) for gland in glands)
    if min(webs) < least:
        draft.warnings.append(
            f"Only {draft.size(max(min(webs), 0.0))} is left between a groove's floor and the inside: do not make it so. A longer "
            "part (nozzle.length_in_case, or its insert) or one ring moves the grooves behind the wide end of the convergent."
        )


def _carrier_material(closure: Closure | None) -> str:
    return closure.ring_material.name if closure is not None and closure.ring_material is not None else ""


def _half_angle(draft: _Draft, motors: Motors) -> None:
    angle = number(motors.nozzle.half_angle)
    if angle is not None:
        degrees = math.degrees(angle)
        draft.features.append(Feature("half angle of the exit", degrees, 1.0, 1.0, "this sheet", "angle", key="nozzle.half_angle"))


def _throat(draft: _Draft, motors: Motors, inner: Sequence[Point]) -> None:
    at = min(inner, key=lambda point: point[1])[0]
    draft.add("throat Ø", "nozzle.throat_diameter", "diameter", at, sealing=True)
    draft.derive("face to the throat", at - inner[0][0], "axial", inner[0][0], at)
    rise = inner[0][1] - min(r for _, r in inner)
    if rise > 0 and at > inner[0][0]:
        turn = math.degrees(math.atan2(rise, at - inner[0][0]))
        draft.features.append(Feature("half angle of the convergent", turn, 2.0, 2.0, "this sheet", "angle"))
    draft.notes.append(
        "Throat: drill under size, ream last, polish along the flow; round its forward edge to a tenth of its diameter or more."
    )


def _pocket(draft: _Draft, inner: list[Point], insert: Part) -> list[Point]:
    """The carrier's inside with the pocket for the insert, and its sizes."""
    x0, x1 = _span(insert.outline)
    radius = max(r for _, r in insert.outline)
    low, high = RING_FIT
    size = 2 * radius + (low + high) / 2
    draft.features.append(Feature("pocket Ø", size, (high - low) / 2, (high - low) / 2, "this sheet", "diameter", (x0 + x1) / 2))
    draft.derive("pocket depth", x1 - x0, "axial", x0, x1)
    draft.assumed.append(
        f"pocket {draft.size(low)} to {draft.size(high)} wider than the insert as measured, for cement or a close sliding fit"
    )
    chain = recessed(inner, x0, x1, radius)
    seat = draft.value("nozzle.seat_diameter")
    if seat is not None:
        draft.add("seat: opening Ø under the insert", "nozzle.seat_diameter", "", 0.0)
        shoulder = draft.value("aft_closure.shoulder_thickness")
        if shoulder is not None:
            draft.add("shoulder under the insert, at least", "aft_closure.shoulder_thickness", "", 0.0)
        cone = float(np.interp(x1, [x for x, _ in inner], [r for _, r in inner]))
        if seat > 2 * cone + 0.2:
            draft.warnings.append(
                f"The seat's opening, Ø {draft.size(seat, 1)}, is wider than the cone where the insert ends, Ø "
                f"{draft.size(2 * cone, 1)}: made so, the exit "
                "has a step. Drawn with the cone carried on; the ladder counts only what lies outside the opening as seat."
            )
        draft.notes.append("The insert bears on the shoulder all round: face it flat, no fillet under the insert's edge.")
    return chain


def _insert(draft: _Draft, shape: Section) -> Turned | None:
    motors = draft.motors
    found = _of_kind(shape, "insert")
    if not found:
        return None
    x0, x1 = _span(found[0].outline)
    inner = list(found[0].outline[:3])
    draft.add("outside Ø", "nozzle.insert_diameter", "diameter", x0, sealing=True)
    draft.add("length", "nozzle.insert_length", "axial", x0, x1)
    _throat(draft, motors, inner)
    draft.derive("entry Ø", 2 * inner[0][1], "diameter", x0)
    draft.derive("aft Ø of the cone", 2 * inner[2][1], "diameter", x1)
    _half_angle(draft, motors)
    outer = max(r for _, r in found[0].outline)
    glands = [gland for gland in _glands_of(shape, "nozzle") if _in_insert(gland, found)]
    solid = found[0].outline
    if glands:
        seats = _glands(draft, glands, _bore(motors, shape), (x0, x1), x0)
        _webs(draft, inner, glands)
        solid = _closed(inner, _grooved([(x0, outer), (x1, outer)], seats, outer))
    if outer - inner[0][1] < 1.0:
        draft.notes.append("The entry runs out to a feather edge: leave a flat of 1 mm (0.04 in) on the forward face.")
    draft.notes.append("Graphite: turn dry with extraction, no coolant; handle clean, and look for cracks under a lamp.")
    material = motors.nozzle.material.name if motors.nozzle.material is not None else ""
    return _made("throat insert", material, draft, [solid], [])


def _made(
    name: str,
    material: str,
    draft: _Draft,
    solids: Sequence[Sequence[Point]],
    holes: Sequence[Sequence[Point]],
) -> Turned:
    notes = (*draft.notes, EDGES)
    return Turned(
        name,
        material or "not named in the file",
        tuple(tuple(solid) for solid in solids),
        tuple(tuple(hole) for hole in holes),
        tuple(draft.features),
        notes,
        tuple(dict.fromkeys(draft.assumed)),
        tuple(draft.warnings),
    )
