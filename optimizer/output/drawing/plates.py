"""What every sheet shares: the strip with names at its foot, lengths as text, and dimension lines.

Imports sheet, geometry and optimizer.units.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.output.drawing.sheet import FAINT, INK, Place, Sheet, fitted, width_of
from optimizer.units import from_si, pretty, show_both

MARGIN = 10.0  # mm; common practice, no source: home printers leave 5 to 6 mm bare
FOOT = 17.0  # mm of the strip at the foot


@dataclass(frozen=True)
class Labels:
    """What the foot of every sheet says: motor, file, digest of the file, system of units."""

    name: str
    file: str = ""
    digest: str = ""
    units: str = "metric"

    @property
    def long_unit(self) -> str:
        """The unit of the lengths on the sheets, written out."""
        return "inches" if self.units == "imperial" else "millimetres"

    def length(self, size: float, digits: int = 2) -> str:
        """A length given in mm as text in the system of units of the sheets."""
        if self.units == "imperial":
            return f"{float(from_si(size * 1e-3, 'in')):.{digits + 1}f} in"
        # A wall of 3.175 mm is not 3.17: one more figure is shown where it is the whole number.
        exact = digits >= 2 and abs(size - round(size, digits + 1)) < 1e-9 < abs(size - round(size, digits))
        return f"{size:.{digits + exact}f} mm"

    def sized(self, text: str) -> str:
        """A sentence that speaks of millimetres, in the system of units of the sheets.

        >>> Labels("x", units="imperial").sized("drawn as 40.0 mm (the longest)")
        'drawn as 1.575 in (the longest)'
        """
        if self.units != "imperial":
            return text
        return re.sub(r"(\d+(?:\.\d+)?) mm\b", lambda found: self.length(float(found[1])), text)


def shown_in(value: float, name: str, units: str) -> str:
    """A value of a quantity in a system of units, with the signs of print; an impulse has its newton seconds too."""
    return pretty(show_both(value, name, units))


def plain_table(sheet: Sheet, x: float, y: float, width: float, rows: Sequence[tuple[str, str]], size: float) -> float:
    """Names at the left, texts at the right, a line under each; returns the baseline after it."""
    step = 1.42 * size * 25.4 / 72
    for name, text in rows:
        label = fitted(name, size, 0.6 * width)
        sheet.text(x, y, label, size, bold=not text, color=FAINT if text else INK)
        sheet.text(x + width, y, fitted(text, size, width - width_of(label, size) - 2.0), size, "right")
        sheet.line([(x, y - 0.32 * step), (x + width, y - 0.32 * step)], 0.06, "#b8bec6")
        y -= step
    return y


def foot(sheet: Sheet, labels: Labels, what: str, scale: str, page: str = "1 of 1") -> None:
    """The strip at the foot of a sheet: motor, sheet, scale, file and its digest."""
    left, right, low = MARGIN, sheet.width - MARGIN, MARGIN - 2.0
    width = right - left
    sheet.box(left, low, width, FOOT - 3.0)
    split = left + 0.52 * width
    scale_at = left + 0.80 * width
    for x in (split, scale_at):
        sheet.line([(x, low), (x, low + FOOT - 3.0)])
    columns = (
        (left, split, "motor", labels.name, " · ".join(text for text in (labels.file, labels.digest[:12]) if text)),
        (split, scale_at, "sheet", what, f"sheet {page}"),
        (scale_at, right, "scale", scale, f"dimensions in {labels.long_unit}"),
    )
    for start, stop, heading, main, under in columns:
        room = stop - start - 3.0
        sheet.text(start + 1.5, low + 10.6, heading, 5.5, color=FAINT)
        sheet.text(start + 1.5, low + 5.9, fitted(main, 10.5, room), 10.5)
        sheet.text(start + 1.5, low + 1.8, fitted(under, 6.5, room), 6.5, color=FAINT)


def arrow(sheet: Sheet, tip: Place, angle: float, size: float = 2.2) -> None:
    """A filled arrow head with its tip at a place, pointing along `angle` (radians)."""
    points = [tip]
    for side in (+1, -1):
        turn = angle + math.pi + side * 0.17
        points.append((tip[0] + size * math.cos(turn), tip[1] + size * math.sin(turn)))
    sheet.polygon(points, INK, 0.05)


def measured(sheet: Sheet, start: Place, end: Place, text: str, size: float = 7.0) -> None:
    """A dimension line between two places with its text on it; short ones get their arrows from outside."""
    angle = math.atan2(end[1] - start[1], end[0] - start[0])
    reach = math.dist(start, end)
    ux, uy = math.cos(angle), math.sin(angle)
    outside = reach < 9.0
    if outside:
        for place, sign in ((start, -1.0), (end, 1.0)):
            sheet.line([(place[0] + sign * 5.0 * ux, place[1] + sign * 5.0 * uy), place], 0.13)
            arrow(sheet, place, angle if sign < 0 else angle + math.pi)
        sheet.line([start, end], 0.13)
    else:
        sheet.line([start, end], 0.13)
        arrow(sheet, start, angle + math.pi)
        arrow(sheet, end, angle)
    turn = math.degrees(angle)
    if outside:
        shift = 6.0
        sheet.text(end[0] + shift * ux, end[1] + shift * uy, text, size, "left", turn=turn, level="center")
    else:
        sheet.text((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, text, size, "center", turn=turn, level="center", halo=True)
