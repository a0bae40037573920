"""The drilling wrap at exactly 1:1: the outside of the tube unrolled, over as many sheets as it takes.

Owns the tiling. Imports geometry, sheet, plates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from optimizer.output.drawing.geometry import DrawingError, Wrap
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, measured
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet

TAB = 10.0  # mm of paper past the seam, to tuck under
OVERLAP = 20.0  # mm that neighbouring sheets share, more where a hole needs it
BEYOND = 14.0  # mm of the tube shown past the centres of the holes
BARS = 74.0  # mm of the sheet kept for the check bars and the notes
_SIDE = 4.0  # mm beside the pattern, for the crop marks


@dataclass(frozen=True)
class Tiling:
    """How a wrap lies on paper: page size and the ranges of the unrolled length shown on each sheet. [mm]"""

    width: float
    height: float
    ranges: tuple[tuple[float, float], ...]
    overlap: float


def tiling(shape: Wrap, paper: str = "A4") -> Tiling:
    """The page orientation with the fewest sheets, portrait where it is a draw.

    Raises DrawingError where the strip is higher than the paper.
    """
    short, long = PAPERS[paper]
    total = shape.circumference + TAB
    tall = shape.edge_distance + BEYOND
    overlap = max(OVERLAP, 1.5 * shape.hole_diameter)
    best: Tiling | None = None
    for width, height in ((short, long), (long, short)):
        room = width - 2 * (MARGIN + _SIDE)
        if tall > height - 2 * MARGIN - FOOT - BARS or room <= overlap:
            continue
        count = 1 if total <= room else 1 + math.ceil((total - room) / (room - overlap) - 1e-9)
        step = room - overlap
        ranges = tuple((k * step, min(k * step + room, total)) for k in range(count))
        if best is None or count < len(best.ranges):
            best = Tiling(width, height, ranges, overlap)
    if best is None:
        raise DrawingError(
            f"the {shape.end} edge distance of {shape.edge_distance:.1f} mm is longer than {paper} paper carries at 1:1"
        )
    return best


def wrap_sheets(shape: Wrap, labels: Labels, paper: str = "A4") -> list[Sheet]:
    """The sheets of one wrap, from the seam onwards."""
    tiles = tiling(shape, paper)
    sheets = []
    for page, (start, stop) in enumerate(tiles.ranges):
        sheet = Sheet(tiles.width, tiles.height)
        _strip(sheet, shape, tiles, page, start, stop, labels)
        count = len(tiles.ranges)
        foot(sheet, labels, f"drilling wrap, {shape.end} end", "1:1", f"{page + 1} of {count}")
        sheets.append(sheet)
    return sheets


def origin(shape: Wrap, tiles: Tiling, page: int = 0) -> tuple[float, float]:
    """Where the seam (x = 0) and the end of the case (y = 0) lie on a sheet, from its lower left corner. [mm]"""
    start = tiles.ranges[page][0]
    return (MARGIN + _SIDE - start, tiles.height - MARGIN - 8.0 - shape.edge_distance - BEYOND)


def _strip(sheet: Sheet, shape: Wrap, tiles: Tiling, page: int, start: float, stop: float, labels: Labels) -> None:
    x0, y0 = origin(shape, tiles, page)
    high = y0 + shape.edge_distance + BEYOND
    end = min(stop, shape.circumference)
    line = y0 + shape.edge_distance
    sheet.line([(x0 + start, y0), (x0 + end, y0)], 0.4)
    sheet.line([(x0 + start, high), (x0 + end, high)], 0.13, FAINT)
    sheet.line([(x0 + start, line), (x0 + end, line)], 0.13, dash=(6, 1.2, 1, 1.2))
    for number, (x, y) in enumerate(shape.holes, 1):
        if x - shape.hole_diameter / 2 < start or x + shape.hole_diameter / 2 > stop:
            continue
        sheet.circle(x0 + x, y0 + y, shape.hole_diameter, 0.25)
        sheet.line([(x0 + x, y0), (x0 + x, high - 1.0)], 0.13, dash=(6, 1.2, 1, 1.2))
        sheet.text(x0 + x + shape.hole_diameter / 2 + 1.0, line + shape.hole_diameter / 2 + 0.8, str(number), 8, bold=True)
    _seam(sheet, shape, start, stop, x0, y0, high)
    _register(sheet, shape, tiles, page, x0, y0, high)
    shift = 22.0 if page else 1.0
    sheet.text(x0 + start + shift, y0 - 3.6, f"END OF CASE, {shape.end.upper()}: this line on the edge of the tube", 7)
    inward = "nozzle" if shape.end == "forward" else "head end"
    sheet.text(x0 + (start + end) / 2, high + 1.5, f"↑ towards the {inward}", 7, "center")
    _edge_dimension(sheet, shape, start, stop, x0, y0, labels)
    _notes(sheet, shape, tiles, y0 - (18.0 if len(tiles.ranges) > 1 else 10.0), labels)


def _seam(sheet: Sheet, shape: Wrap, start: float, stop: float, x0: float, y0: float, high: float) -> None:
    around = shape.circumference
    if start <= 0.0:
        sheet.line([(x0, y0), (x0, high)], 0.4)
        sheet.text(x0 - 1.2, y0 + 1.0, "seam: cut here", 6, turn=90, color=FAINT)
    if start <= around <= stop:
        sheet.line([(x0 + around, y0), (x0 + around, high)], 0.4)
        far = x0 + min(around + TAB, stop)
        sheet.line([(x0 + around, y0), (far, y0), (far, high), (x0 + around, high)], 0.13, FAINT, (1.5, 1.5))
        if stop - around > 6.0:
            sheet.text(x0 + around + TAB / 2 + 0.8, y0 + 1.5, "tuck under", 6, turn=90, color=FAINT)


def _register(sheet: Sheet, shape: Wrap, tiles: Tiling, page: int, x0: float, y0: float, high: float) -> None:
    """Crosses in the middle of what two sheets share, lettered, the same place on both."""
    for joint in range(len(tiles.ranges) - 1):
        if joint not in (page - 1, page):
            continue
        lower, upper = tiles.ranges[joint + 1][0], tiles.ranges[joint][1]
        x = x0 + (lower + upper) / 2
        letter = chr(ord("A") + joint % 26)
        for y in (y0 - 8.0, high + 5.0):
            sheet.line([(x - 3, y), (x + 3, y)], 0.13)
            sheet.line([(x, y - 3), (x, y + 3)], 0.13)
            sheet.circle(x, y, 3.0, 0.13)
            sheet.text(x + 2.2, y + 1.2, letter, 7, bold=True)
        for edge in (lower, upper):
            sheet.line([(x0 + edge, y0 - 5), (x0 + edge, high + 3)], 0.1, FAINT, (1, 1.5))


def _edge_dimension(sheet: Sheet, shape: Wrap, start: float, stop: float, x0: float, y0: float, labels: Labels) -> None:
    """The edge distance and the pitch between the first holes that are whole on this sheet."""
    whole = [x for x, _ in shape.holes if x - shape.hole_diameter >= start and x + shape.hole_diameter <= stop]
    if not whole:
        return
    gap = shape.pitch if len(whole) > 1 else min(2 * (whole[0] - start), shape.pitch)
    if len(whole) > 1:
        y = y0 + shape.edge_distance + BEYOND - 3.2
        measured(sheet, (x0 + whole[0], y), (x0 + whole[1], y), labels.length(shape.pitch))
    x = x0 + whole[0] + gap / 2 if len(whole) > 1 else x0 + whole[0] - gap / 4
    text = labels.length(shape.edge_distance)
    if shape.edge_distance >= 18.0:
        measured(sheet, (x, y0), (x, y0 + shape.edge_distance), text)
    else:
        measured(sheet, (x, y0), (x, y0 + shape.edge_distance), "")
        sheet.text(x + 1.2, y0 + shape.edge_distance / 2, text, 7, level="center", halo=True)


def _notes(sheet: Sheet, shape: Wrap, tiles: Tiling, top: float, labels: Labels) -> None:
    left = MARGIN + 66.0
    width = sheet.width - MARGIN - left
    count = len(shape.holes)
    size = labels.length
    lines = [
        f"{count} holes Ø {size(shape.hole_diameter)} for {shape.designation or 'the screws'}, "
        f"{360.0 / count:.4g}° apart; {size(shape.pitch)} round the tube, {size(shape.chord)} straight across.",
        f"Tube outside Ø {size(shape.outer_diameter)}: the wrap is {size(shape.circumference)} round. Paper has a "
        "thickness: 0.1 mm of it leaves a gap of 0.3 mm at the seam; share it out.",
        "Print at 100 % (no fitting to the page). Measure every bar before drilling: 50 mm and 2 in, both ways.",
        "Punch and drill each hole square to the tube; hole 1 stands half a pitch from the seam.",
    ]
    if shape.ring_edge_distance is not None:
        lines.append(f"In the ring: centres {size(shape.ring_edge_distance)} from the edge on the pressure side.")
    if len(tiles.ranges) > 1:
        lines.append("Lay the lettered crosses of neighbouring sheets on one another and tape.")
    y = top
    for text in lines:
        y = sheet.paragraph(left, y, width, text, 7.5) - 0.8
    sheet.check_bars(MARGIN + 2.0, MARGIN + FOOT + 2.0)
