"""The section of the motor to scale with its dimensions, on one sheet.

Imports geometry, sheet, plates.
"""

from __future__ import annotations

from collections.abc import Callable

from optimizer.output.drawing.geometry import Dimension, Section, grain_rows, millimetres, number, section
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, measured
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet, width_of
from physics.motors import Motors, Seal

# ISO 5455 asks for 1, 2 and 5; the others are common on shop drawings (common practice, no source).
SCALES = (5.0, 2.0, 1.0, 1 / 1.5, 1 / 2, 1 / 2.5, 1 / 3, 1 / 4, 1 / 5, 1 / 7.5, 1 / 10, 1 / 15, 1 / 20, 1 / 50, 1 / 100)

# Fill and hatch of each kind of part; neighbours differ in both, so that a grey print can be read.
LOOK: dict[str, tuple[str, str, str]] = {
    "case": ("#dbe4ec", "////", "case"),
    "liner": ("#ead9b8", "", "liner"),
    "grain": ("#b9bfc6", "", "grain"),
    "cap": ("#3f6f8f", "", "cap over an end face"),
    "closure": ("#cfe3d8", "\\\\\\\\", "forward plate"),
    "plug": ("#e9dfa8", "----", "plug"),
    "ring": ("#f0e3cf", "xxxx", "retaining ring"),
    "nozzle": ("#d9d2e6", "....", "nozzle"),
    "insert": ("#8f8a99", "", "throat insert"),
    "screw": ("#6d7681", "", "screw or snap ring"),
    "gland": ("#ffffff", "", ""),
    "seal": ("#222222", "", "O-ring"),
}
_SIDE, _TOP = 30.0, 22.0  # mm kept free for dimensions beside and above the motor


def scale_text(scale: float) -> str:
    """A scale as it is written on a drawing.

    >>> scale_text(0.4), scale_text(2.0), scale_text(1.0)
    ('1:2.5', '2:1', '1:1')
    """
    return f"{scale:g}:1" if scale > 1 else f"1:{1 / scale:.3g}"


def best_scale(shape: Section, width: float, height: float) -> float:
    """The largest scale of the list at which the section fits into width × height mm."""
    for scale in SCALES:
        if (shape.end - shape.start) * scale <= width and 2 * shape.radius * scale <= height:
            return scale
    return min(width / (shape.end - shape.start), height / (2 * shape.radius))


def section_sheet(motors: Motors, labels: Labels, paper: str = "A4") -> Sheet:
    """The sheet with the section, landscape."""
    height, width = PAPERS[paper]
    sheet = Sheet(width, height)
    shape = section(motors)
    room = width - 2 * MARGIN - 2 * _SIDE
    scale = best_scale(shape, room, 0.34 * height)
    left = MARGIN + _SIDE + (room - (shape.end - shape.start) * scale) / 2
    axis = height - MARGIN - _TOP - shape.radius * scale

    def at(x: float, r: float) -> tuple[float, float]:
        return (left + x * scale, axis + r * scale)

    for part in shape.parts:
        fill, hatch, _ = LOOK[part.kind]
        for side in part.sides:
            sheet.polygon([at(x, side * r) for x, r in part.outline], fill, 0.18, hatch)
    overhang = 6.0
    sheet.line(
        [(left - overhang, axis), (left + (shape.end - shape.start) * scale + overhang, axis)],
        0.13,
        FAINT,
        (6, 1, 1, 1),
    )
    for dimension in shape.dimensions:
        _dimension(sheet, dimension, shape, at, scale, labels)
    for start, end, core in shape.cores:
        text = f"core Ø {labels.length(core)}"
        if core * scale > 4.5 and (end - start) * scale > width_of(text, 7.0) + 4.0:
            sheet.text(at((start + end) / 2, 0)[0], axis, text, 7.0, "center", level="center", halo=True)
    low = axis - shape.radius * scale - 34.0
    _lists(sheet, motors, shape, labels, low)
    foot(sheet, labels, "section through the axis", scale_text(scale))
    return sheet


def _dimension(
    sheet: Sheet, item: Dimension, shape: Section, at: Callable[[float, float], tuple[float, float]], scale: float, labels: Labels
) -> None:
    text = f"{item.label} {labels.length(item.size)}".strip() if item.kind == "axial" else ""
    if item.kind == "axial":
        side = 1.0 if item.place == "above" else -1.0
        edge = at(0, side * shape.radius)[1]
        y = edge + side * (2.0 + 6.5 * item.level)
        for x in (item.start, item.end):
            place = at(x, 0)[0]
            sheet.line([(place, edge + side * 1.0), (place, y + side * 1.2)], 0.1)
        if item.label == "" and item.start > 0:
            # Beside the aft end the text goes inwards, where nothing else stands.
            measured(sheet, (at(item.end, 0)[0], y), (at(item.start, 0)[0], y), "")
            sheet.text(at(item.start, 0)[0] - 6.5, y, text, 7.0, "right", level="center")
        else:
            measured(sheet, (at(item.start, 0)[0], y), (at(item.end, 0)[0], y), text)
        return
    side = -1.0 if item.place == "left" else 1.0
    edge = at(shape.start if side < 0 else shape.end, 0)[0]
    x = edge + side * (1.5 + 6.0 * item.level)
    half = item.size / 2
    for r in (half, -half):
        sheet.line([(at(item.start, 0)[0] + side * 0.8, at(0, r)[1]), (x + side * 1.2, at(0, r)[1])], 0.1)
    text = f"{item.label} Ø {labels.length(item.size)}"
    low, high = at(0, -half), at(0, half)
    if item.size * scale < width_of(text, 7.0) + 9.0:
        # Too short to carry its text, which hangs below the motor's outline and runs outwards, the outermost highest.
        measured(sheet, (x, low[1]), (x, high[1]), "")
        base = at(0, -shape.radius)[1] - 3.0 - 4.2 * (2 - item.level)
        sheet.text(x - side * 1.0, base, text, 6.5, "right" if side < 0 else "left", level="top")
        sheet.line([(x, low[1]), (x, base + 0.5)], 0.08, FAINT)
    else:
        measured(sheet, (x, low[1]), (x, high[1]), text)


def _lists(sheet: Sheet, motors: Motors, shape: Section, labels: Labels, top: float) -> None:
    """Key of the fills, the parts with their sizes, and what was assumed."""
    half = (sheet.width - 2 * MARGIN) / 2
    y = top
    kinds = dict.fromkeys(part.kind for part in shape.parts)
    x = MARGIN
    for kind in kinds:
        fill, hatch, name = LOOK[kind]
        if name:
            sheet.polygon([(x, y), (x + 6, y), (x + 6, y + 3.2), (x, y + 3.2)], fill, 0.15, hatch)
            sheet.text(x + 7.5, y + 0.5, name, 7)
            x += 13.0 + width_of(name, 7)
    y -= 7.0
    rows = [["part", "material", "size"], *part_rows(motors, labels)]
    sheet.table(MARGIN, y, (34.0, 34.0, half + 22.0 - 68.0), rows, 7.0, wrap=True)
    sheet.text(MARGIN + half + 28.0, y, "drawn by assumption, not from the file", 7.0, bold=True, color=FAINT)
    y -= 4.5
    for text in shape.assumptions:
        y = sheet.paragraph(MARGIN + half + 28.0, y, half - 28.0, "– " + labels.sized(text), 6.5)
        if y < MARGIN + FOOT:
            break


def _faces(row: dict[str, float], labels: Labels) -> str:
    """Which end faces of a row are bare, and how far caps leave them open."""
    capped = [end for end in ("forward", "aft") if row["core_diameter"] < row[f"{end}_open_to"] < row["outer_diameter"]]
    if capped:
        said = []
        for end in ("forward", "aft"):
            to = row[f"{end}_open_to"]
            bare = "bare" if to >= row["outer_diameter"] else "inhibited"
            said.append(f"{end} face {f'covered to {labels.length(to)}' if end in capped else bare}")
        return ", ".join(said)
    ends = round(row["burning_ends"])
    which = (", forward" if row["forward_bare"] > 0.5 else ", aft") if ends == 1 else ""
    return f"{ends} bare end{'' if ends == 1 else 's'}{which}"


def part_rows(motors: Motors, labels: Labels) -> list[list[str]]:
    """Part, material and size of everything the motor file gives, as text."""
    size = labels.length
    rows: list[list[str]] = []
    case = motors.case
    if case is not None:
        outer, wall, length = (millimetres(leaf) for leaf in (case.outer_diameter, case.wall, case.length))
        text = f"outside {size(outer or 0)}, wall {size(wall or 0)}"
        rows.append(["case", case.material.name, text + (f", length {size(length)}" if length else "")])
    if motors.liner is not None:
        rows.append(["liner", motors.liner.material.name, f"thickness {size(millimetres(motors.liner.thickness) or 0)}"])
    for row in grain_rows(motors):
        rows.append(
            [
                f"grain × {row['count']:.0f}",
                motors.propellant.name,
                f"length {size(row['length'])}, outside {size(row['outer_diameter'])}, "
                f"core {size(row['core_diameter'])}, " + _faces(row, labels),
            ]
        )
    for which, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure)):
        if closure is None:
            continue
        if closure.screws is not None:
            screws = closure.screws
            edge = millimetres(screws.edge_distance)
            text = f"{number(screws.count) or 0:.0f} × {screws.designation} {screws.grade}".strip()
            text += f", hole {size(millimetres(screws.hole_diameter) or 0)}"
            text += f", edge distance {size(edge)}" if edge is not None else ""
            rows.append([f"{which} screws", closure.ring_material.name if closure.ring_material else "–", text])
        elif closure.threaded_ring is not None:
            ring = closure.threaded_ring
            text = f"thread {size(millimetres(ring.thread_diameter) or 0)}"
            text += f" × pitch {size(millimetres(ring.thread_pitch) or 0)}"
            text += f", engagement {size(millimetres(ring.engagement) or 0)}"
            rows.append([f"{which} ring", closure.ring_material.name if closure.ring_material else "–", text])
        elif closure.welded_lip is not None:
            lip = closure.welded_lip
            text = (
                f"fillet leg {size(millimetres(lip.leg) or 0)}, load {size(millimetres(lip.arm) or 0)} from the middle of the wall"
            )
            text += f", filler {lip.filler}" if lip.filler else ""
            rows.append([f"{which} welded lip", closure.ring_material.name if closure.ring_material else "–", text])
        elif closure.snap_ring is not None:
            snap = closure.snap_ring
            text = f"groove {size(millimetres(snap.groove_depth) or 0)} deep"
            margin = millimetres(snap.edge_margin)
            text += f", {size(margin)} from the end" if margin is not None else ""
            rows.append([f"{which} snap ring", closure.ring_material.name if closure.ring_material else "–", text])
        plate = millimetres(closure.plate_thickness)
        if plate is not None:
            material = closure.plate_material.name if closure.plate_material else "–"
            rows.append([f"{which} plate", material, f"thickness {size(plate)}"])
        rows += _seal_rows(f"{which} seal", closure.seal, labels)
        if closure.plug is not None:
            plug = closure.plug
            text = plug.thread
            text += "" if plug.engagement is None else f", engagement {size(millimetres(plug.engagement) or 0)}"
            text += "" if plug.offset is None else f", {size(millimetres(plug.offset) or 0)} off the middle"
            rows.append([f"{which} plug", plug.material.name if plug.material else "–", text])
            rows += _seal_rows(f"{which} plug seal", plug.seal, labels)
    rows += _seal_rows("nozzle seal", motors.nozzle.seal, labels)
    nozzle = motors.nozzle
    angle = number(nozzle.half_angle)
    text = f"throat {size(millimetres(nozzle.throat_diameter) or 0)}, exit {size(millimetres(nozzle.exit_diameter) or 0)}"
    text += f", half angle {angle * 57.29577951308232:.1f}°" if angle is not None else ""
    rows.append(["nozzle", nozzle.material.name if nozzle.material else "–", text])
    return rows


def _seal_rows(which: str, seal: Seal | None, labels: Labels) -> list[list[str]]:
    """A row for each ring of a part, numbered from the gas where there are several."""
    size, rows = labels.length, []
    rings = () if seal is None else seal.series
    for row, ring in enumerate(rings, 1):
        text = f"{number(ring.rings) or 0:.0f} × section {size(millimetres(ring.cross_section) or 0)}"
        text += f", gland {size(millimetres(ring.gland_depth) or 0)} deep, gap {size(millimetres(ring.gap) or 0, 3)}"
        text += f" ({ring.name})" if ring.name else ""
        rows.append([which if len(rings) == 1 else f"{which} {row}", ring.material.name if ring.material else "–", text])
    return rows
