"""One sheet a turned part: the part to scale with numbered dimensions, their limits, and boxes for what was measured.

Imports lathe, plates, section_sheet, sheet.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from optimizer.output.drawing.lathe import Feature, Turned
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, measured
from optimizer.output.drawing.section_sheet import SCALES, scale_text
from optimizer.output.drawing.sheet import ALARM, FAINT, PAPERS, Place, Sheet, width_of
from optimizer.results import csv_text
from optimizer.units import from_si
from optimizer.vocabulary import column_of
from physics.motors import Motors

SIDE, BELOW = 34.0, 30.0  # mm kept free for dimensions beside and below the part
HIGHEST = 118.0  # mm of the sheet for the part and its dimensions
STEP = 6.5  # mm between dimension lines
NUMBERS = tuple(f"({count})" for count in range(1, 60))


def plain(size: float, labels: Labels, digits: int = 2) -> str:
    """A length in mm in the unit of the sheet, without the unit."""
    return labels.length(size, digits).rsplit(" ", 1)[0]


def _digits(feature: Feature) -> int:
    """Figures behind the point: one more where a size is held closely."""
    return 3 if max(abs(feature.minus), abs(feature.plus)) < 0.06 else 2


def deviation_text(feature: Feature, labels: Labels) -> str:
    """How far a size may be off, as it stands on a drawing."""
    if feature.kind == "angle":
        return f"±{feature.plus:g}°"
    low, high = (plain(size, labels, _digits(feature)) for size in (feature.minus, feature.plus))
    if low == high:
        return f"±{high}"
    return f"{'+' if feature.plus >= 0 else '−'}{high.lstrip('-')} / {'−' if feature.minus >= 0 else '+'}{low.lstrip('-')}"


def limits_text(feature: Feature, labels: Labels) -> str:
    """The sizes between which a feature is good."""
    if feature.kind == "angle":
        return f"{feature.size - feature.minus:.1f} to {feature.size + feature.plus:.1f}°"
    low, high = (plain(size, labels, _digits(feature)) for size in (feature.size - feature.minus, feature.size + feature.plus))
    return f"{low} to {high}"


def part_sheet(part: Turned, labels: Labels, paper: str = "A4", page: str = "1 of 1") -> Sheet:
    """The sheet of one part; the text shrinks a little where there is much."""
    for size in (8.0, 7.4, 6.8, 6.2):
        sheet, bottom = _drawn(part, labels, paper, page, size)
        if bottom >= MARGIN + FOOT:
            break
    return sheet


def _drawn(part: Turned, labels: Labels, paper: str, page: str, size: float) -> tuple[Sheet, float]:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    top = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, top, part.name[:1].upper() + part.name[1:], 15, bold=True)
    sheet.text(sheet.width - MARGIN, top, f"{part.material} · make 1", 9.5, "right", color=FAINT)
    scale = _scale(part, width)
    low = _picture(sheet, part, labels, scale, top - 9.0)
    y = _table(sheet, part, labels, low - 7.0, width, size)
    for text in part.warnings:
        y = sheet.paragraph(MARGIN, y - 1.0, width, "WARNING: " + text, size, bold=True, color=ALARM)
    y = _listed(sheet, "To be made", part.notes, y - 3.0, width, size)
    y = _listed(sheet, "Assumed, not from the file", part.assumed, y - 2.0, width, size) if part.assumed else y
    foot(sheet, labels, f"lathe: {part.name}", scale_text(scale), page)
    return sheet, y


def _scale(part: Turned, width: float) -> float:
    long, across = part.end - part.start, 2 * part.radius
    for scale in SCALES:
        if long * scale <= width - 2 * SIDE and across * scale <= HIGHEST - BELOW and scale <= 2.0:
            return scale
    return min((width - 2 * SIDE) / long, (HIGHEST - BELOW) / across)


def _picture(sheet: Sheet, part: Turned, labels: Labels, scale: float, top: float) -> float:
    """The part and its dimensions; returns how far down they reach."""
    long, radius = (part.end - part.start) * scale, part.radius * scale
    left, axis = (sheet.width - long) / 2, top - radius - 2.0

    def at(x: float, r: float) -> Place:
        return (left + (x - part.start) * scale, axis + r * scale)

    for side in (1.0, -1.0):
        for solid in part.solids:
            sheet.polygon([at(x, side * r) for x, r in solid], "#dbe4ec", 0.25, "////")
        for hole in part.holes:
            sheet.polygon([at(x, side * r) for x, r in hole], "#ffffff", 0.18)
    for solid in part.solids:
        for x, r in solid:  # edges seen behind the cut
            sheet.line([at(x, r), at(x, -r)], 0.1, FAINT)
    sheet.line([(left - 5.0, axis), (left + long + 5.0, axis)], 0.13, FAINT, (6, 1, 1, 1))
    numbered = list(zip(NUMBERS, part.features, strict=False))
    _diameters(sheet, part, labels, at, numbered)
    return _lengths(sheet, part, labels, at, numbered)


def _diameters(
    sheet: Sheet,
    part: Turned,
    labels: Labels,
    at: Callable[[float, float], tuple[float, float]],
    numbered: Sequence[tuple[str, Feature]],
) -> None:
    middle = (part.start + part.end) / 2
    across = [item for item in numbered if item[1].kind == "diameter"]
    sides: dict[float, list[tuple[str, Feature]]] = {-1.0: [], 1.0: []}
    for item in sorted(across, key=lambda item: abs(item[1].start - middle), reverse=True):
        wanted = -1.0 if item[1].start < middle else 1.0
        sides[wanted if len(sides[wanted]) <= len(sides[-wanted]) else -wanted].append(item)
    for side, items in sides.items():
        edge = at(part.start if side < 0 else part.end, 0)[0]
        for level, (sign, feature) in enumerate(sorted(items, key=lambda item: item[1].size), 1):
            x, half = edge + side * (2.0 + STEP * level), feature.size / 2
            for r in (half, -half):
                sheet.line([at(feature.start, r), (x + side * 1.2, at(0, r)[1])], 0.08, FAINT)
            text = f"{sign} Ø{plain(feature.size, labels, _digits(feature))}"
            measured(sheet, (x, at(0, -half)[1]), (x, at(0, half)[1]), text, 7.0)


def _lengths(
    sheet: Sheet,
    part: Turned,
    labels: Labels,
    at: Callable[[float, float], tuple[float, float]],
    numbered: Sequence[tuple[str, Feature]],
) -> float:
    edge = at(0, -part.radius)[1]
    rows: list[list[tuple[float, float]]] = []
    along = [item for item in numbered if item[1].kind == "axial"]
    for sign, feature in sorted(along, key=lambda item: item[1].end - item[1].start):
        x0, x1 = at(feature.start, 0)[0], at(feature.end, 0)[0]
        text = f"{sign} {plain(feature.size, labels)}"
        short = x1 - x0 < width_of(text, 7.0) + 8.0
        # Arrows stand outside of the very short ones, and the text behind them.
        beside = 6.5 if x1 - x0 < 9.0 else 1.5
        taken = (x0 - 6.0, x1 + (beside + 1.5 + width_of(text, 7.0) if short else 1.0))
        level = next((k for k, row in enumerate(rows) if all(taken[1] < low or taken[0] > high for low, high in row)), len(rows))
        if level == len(rows):
            rows.append([])
        rows[level].append(taken)
        y = edge - 2.0 - STEP * (level + 1)
        for x in (x0, x1):
            sheet.line([(x, edge - 0.8), (x, y - 1.2)], 0.1)
        if not short:
            measured(sheet, (x0, y), (x1, y), text, 7.0)
        else:
            measured(sheet, (x0, y), (x1, y), "")
            sheet.text(x1 + beside, y, text, 7.0, level="center", halo=True)
    return float(edge - 2.0 - STEP * len(rows))


def _table(sheet: Sheet, part: Turned, labels: Labels, y: float, width: float, size: float) -> float:
    """Every size with its limits and a box for what was measured."""
    unit = "in" if labels.units == "imperial" else "mm"
    rows = [["№", f"size, {unit}", "drawn", "tolerance", "good between", "says", "key of the motor file", "measured"]]
    for sign, feature in zip(NUMBERS, part.features, strict=False):
        drawn = f"{feature.size:.1f}°" if feature.kind == "angle" else plain(feature.size, labels, _digits(feature))
        key = f"{feature.key} ({feature.text})" if feature.key and feature.text else feature.key
        rows.append(
            [
                sign,
                feature.what,
                f"{feature.text} {drawn}" if feature.text and not feature.key else drawn,
                deviation_text(feature, labels),
                limits_text(feature, labels),
                feature.source,
                key,
                "",
            ]
        )
    shares = (0.045, 0.185, 0.085, 0.11, 0.13, 0.095, 0.25, 0.10)
    widths = [share * width for share in shares]
    top = y
    y = sheet.table(MARGIN, y, widths, rows, size - 0.8, (2,), wrap=True)
    x = MARGIN + sum(widths[:-1])
    floor = y + 0.69 * 1.6 * (size - 0.8) * 25.4 / 72
    for edge in (x - 1.0, MARGIN + width):
        sheet.line([(edge, top + 2.5), (edge, floor)], 0.15)
    return y - 1.0


def _listed(sheet: Sheet, heading: str, texts: Sequence[str], y: float, width: float, size: float) -> float:
    sheet.text(MARGIN, y, heading, size + 1.5, bold=True)
    y -= 4.4
    for text in texts:
        y = sheet.paragraph(MARGIN, y, width, "– " + text, size)
    return y


def measured_csv(parts: Sequence[Turned], motors: Motors, labels: Labels) -> bytes:
    """The inspection boxes of all sheets as a table to fill: key, value, unit, and what was drawn beside it."""
    rows: list[list[object]] = []
    unit = "in" if labels.units == "imperial" else "mm"
    scale = 1.0 if unit == "mm" else float(from_si(1e-3, "in"))
    seen: set[str] = set()
    for part in parts:
        for feature in part.features:
            if not feature.key or feature.key in seen:
                continue
            seen.add(feature.key)
            drawn = float(motors.value(column_of(feature.key))[0])
            if feature.kind == "angle":
                rows.append([feature.key, "", "deg", f"{math.degrees(drawn):.2f}", part.name])
            else:
                rows.append([feature.key, "", unit, f"{drawn * 1e3 * scale:.4f}", part.name])
    return csv_text(["key", "value", "unit", "drawn", "part"], rows).encode()
