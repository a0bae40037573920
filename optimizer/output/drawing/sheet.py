"""A sheet of paper measured in millimetres, origin at its lower left corner: lines, text, tables, PDF and SVG bytes.

Owns how things get on paper; knows nothing of motors. One axes covers the page, so that a millimetre drawn is a
millimetre printed. Bytes are the same on every run: nothing takes the clock. Imports matplotlib.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any

from optimizer.output.drawing.terms import library_defaults

with library_defaults():
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.lines import Line2D
    from matplotlib.patches import Circle, Polygon
    from matplotlib.text import Text
    from matplotlib.textpath import TextToPath

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
POINT = 25.4 / 72.0  # mm
INK, FAINT, ALARM = "#111111", "#6b7280", "#a33a00"
_STYLE: Any = {
    "svg.hashsalt": "grainwright",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "font.family": "DejaVu Sans",
    "hatch.linewidth": 0.35,
    "text.usetex": False,
}
_OWN: Any = {key: value for key, value in matplotlib.rcParamsDefault.items() if not key.startswith(("backend", "webagg"))} | _STYLE
"""The library's own defaults with ours over them, whatever the host has set."""

Place = tuple[float, float]
_KEPT = re.compile(r"(?<=\d) (?=(?:mm|in|MPa|psi|bar|kPa|N|lbf|kN|s|kg|lb|Hz|J|kJ|°C|°F|%|degC|degF)\b)|(?<=Ø) (?=\d)")
"""The spaces at which no line is broken."""


@cache
def _known(character: str) -> bool:
    return bool(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_char_index(ord(character)))


def printable(text: str) -> str:
    """The text on one line with what the font cannot print shown as a question mark."""
    flat = re.sub(r"\s+", " ", str(text)).strip()
    return "".join(letter if _known(letter) else "?" for letter in flat)


@cache
def width_of(text: str, size: float, bold: bool = False) -> float:
    """Printed width of a text at a size in points. [mm]"""
    font = FontProperties(family="DejaVu Sans", size=size, weight="bold" if bold else "normal")
    width, _, _ = TextToPath().get_text_width_height_descent(text, font, ismath=False)
    return float(width) * POINT


def wrapped(text: str, size: float, width: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than `width` mm, a number with its unit; a word that is wider than a line is broken."""
    lines: list[str] = []
    line = ""
    for word in _KEPT.sub("\u00a0", printable(text)).split(" "):
        trial = f"{line} {word}".strip()
        if width_of(trial, size, bold) <= width:
            line = trial
            continue
        if line:
            lines.append(line)
        while width_of(word, size, bold) > width and len(word) > 1:
            cut = len(word) - 1
            while cut > 1 and width_of(word[:cut], size, bold) > width:
                cut -= 1
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [one.replace("\u00a0", " ") for one in ([*lines, line] if line or not lines else lines)]


def fitted(text: str, size: float, width: float) -> str:
    """The text cut with an ellipsis where it is wider than `width` mm."""
    flat = printable(text)
    if width_of(flat, size) <= width:
        return flat
    while flat and width_of(flat + "…", size) > width:
        flat = flat[:-1]
    return flat + "…"


class Sheet:
    """One page of `width` × `height` mm."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self._texts: list[tuple[float, float, str, dict[str, Any], bool]] = []
        with matplotlib.rc_context(_OWN):
            self.figure = Figure(figsize=(width / 25.4, height / 25.4))
            self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0, width)
        self.axes.set_ylim(0, height)
        self.axes.set_axis_off()

    def line(self, points: Sequence[Place], width: float = 0.25, color: str = INK, dash: Sequence[float] = ()) -> None:
        """A line through points; width and dashes in mm."""
        style: Any = (0, tuple(mark / POINT for mark in dash)) if dash else "-"
        xs, ys = zip(*points, strict=True)
        self.axes.add_line(Line2D(xs, ys, linewidth=width / POINT, color=color, linestyle=style, solid_capstyle="butt"))

    def polygon(self, points: Sequence[Place], fill: str = "none", width: float = 0.25, hatch: str = "") -> None:
        """A closed shape."""
        shape = Polygon(points, closed=True, facecolor=fill, edgecolor=INK, linewidth=width / POINT, joinstyle="miter")
        if hatch:
            shape.set_hatch(hatch)
        self.axes.add_patch(shape)

    def box(self, x: float, y: float, width: float, height: float, fill: str = "none", line: float = 0.25) -> None:
        """A rectangle from its lower left corner."""
        self.polygon([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], fill, line)

    def circle(self, x: float, y: float, diameter: float, width: float = 0.25) -> None:
        """A circle, line only."""
        self.axes.add_patch(Circle((x, y), diameter / 2, facecolor="none", edgecolor=INK, linewidth=width / POINT))

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 9.0,
        align: Any = "left",
        bold: bool = False,
        color: str = INK,
        turn: float = 0.0,
        level: Any = "baseline",
        halo: bool = False,
    ) -> None:
        """One line of text; size in points, `turn` in degrees; `halo` whitens what lies under it."""
        self._texts.append((x, y, printable(text), {
            "fontsize": size, "color": color, "horizontalalignment": align, "verticalalignment": level, "rotation": turn,
            "rotation_mode": "anchor", "fontweight": "bold" if bold else "normal", "parse_math": False,
        }, halo))  # fmt: skip

    def finished(self) -> Figure:
        """The page with its texts set, under the library's settings of the moment: to take ours up for each is slow."""
        for x, y, text, style, halo in self._texts:
            item = Text(x, y, text, **style)
            if halo:
                item.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.8})
            self.axes.add_artist(item)
        self._texts.clear()
        return self.figure

    def paragraph(
        self, x: float, y: float, width: float, text: str, size: float = 9.0, bold: bool = False, color: str = INK
    ) -> float:
        """Wrapped text with its first baseline at `y`; returns the baseline after the last line."""
        for part in wrapped(text, size, width, bold):
            self.text(x, y, part, size, bold=bold, color=color)
            y -= 1.35 * size * POINT
        return y

    def table(
        self,
        x: float,
        y: float,
        widths: Sequence[float],
        rows: Sequence[Sequence[str]],
        size: float = 8.0,
        right: Sequence[int] = (),
        alarmed: Sequence[int] = (),
        wrap: bool = False,
    ) -> float:
        """Rows under a heading row; columns in `right` are set to the right; returns the baseline after the table.

        Rows numbered in `alarmed` (from 0, the heading not counted) are printed in the colour of a warning.
        """
        step = 1.6 * size * POINT
        for count, row in enumerate(rows):
            heading = count == 0
            color = FAINT if heading else ALARM if count - 1 in alarmed else INK
            depth, left = 1, x
            for column, (cell, width) in enumerate(zip(row, widths, strict=True)):
                to_right = column in right
                room = width - (3.5 if to_right else 1.5)
                lines = wrapped(cell, size, room) if wrap else [fitted(cell, size, room)]
                depth = max(depth, len(lines))
                for k, line in enumerate(lines):
                    self.text(
                        left + (room if to_right else 0.0),
                        y - k * step,
                        line,
                        size,
                        "right" if to_right else "left",
                        color=color,
                        bold=heading,
                    )
                left += width
            under = y - (depth - 1) * step - 0.31 * step
            self.line([(x, under), (x + sum(widths), under)], 0.25 if heading else 0.08, INK if heading else FAINT)
            y -= depth * step
        return y

    def check_bars(self, x: float, y: float) -> None:
        """A 50 mm and a 2 in bar along and up the page: measured after printing, they prove the scale."""
        for across in (True, False):
            for step, (size, label) in enumerate(((50.0, "50 mm"), (50.8, "2 in"))):
                offset = 6.0 * step
                start = (x, y + offset) if across else (x + offset, y + 14.0)
                stop = (start[0] + size, start[1]) if across else (start[0], start[1] + size)
                self.line([start, stop], 0.2)
                for end in (start, stop):
                    tick = [(end[0], end[1] - 1.2), (end[0], end[1] + 1.2)]
                    self.line(tick if across else [(end[0] - 1.2, end[1]), (end[0] + 1.2, end[1])], 0.2)
                middle = ((start[0] + stop[0]) / 2, (start[1] + stop[1]) / 2)
                self.text(*middle, label, 6.5, "center", turn=0 if across else 90, level="center", halo=True)


@contextmanager
def _glyphs_alone() -> Iterator[None]:
    """While inside, fonts are cut down without the tables that lay text out, which a page that is laid out never reads.

    Cutting those down takes two thirds of the time that a sheet's fonts take. The list is the font library's own default,
    for which the drawing library has no setting; where it is no more, fonts are only cut down more slowly.
    """
    from fontTools.subset import Options

    tables = getattr(Options, "_drop_tables_default", None)
    if not isinstance(tables, list):
        yield
        return
    Options._drop_tables_default = [*tables, "GSUB", "GPOS", "GDEF", "kern"]
    try:
        yield
    finally:
        Options._drop_tables_default = tables


def pdf_bytes(sheets: Sequence[Sheet], title: str) -> bytes:
    """The sheets as one PDF; the same sheets give the same bytes."""
    buffer = io.BytesIO()
    facts = {"Title": printable(title), "Creator": "Grainwright", "CreationDate": None, "ModDate": None}
    with library_defaults(), matplotlib.rc_context(_OWN), _glyphs_alone(), PdfPages(buffer, metadata=facts) as pages:
        for sheet in sheets:
            pages.savefig(sheet.finished())
    return buffer.getvalue()


def svg_bytes(sheet: Sheet, title: str) -> bytes:
    """The sheet as an SVG of its own size in mm; the same sheet gives the same bytes."""
    buffer = io.BytesIO()
    with library_defaults(), matplotlib.rc_context(_OWN):
        sheet.finished().savefig(buffer, format="svg", metadata={"Title": printable(title), "Date": None})
    text = buffer.getvalue().decode()
    return re.sub(
        r'width="[\d.]+pt" height="[\d.]+pt"', f'width="{sheet.width:g}mm" height="{sheet.height:g}mm"', text, count=1
    ).encode()


def png_bytes(sheet: Sheet, title: str, dots: int) -> bytes:
    """The sheet as a PNG of so many dots an inch; the same sheet gives the same bytes."""
    buffer = io.BytesIO()
    with library_defaults(), matplotlib.rc_context(_OWN):
        sheet.finished().savefig(buffer, format="png", dpi=dots, metadata={"Title": printable(title), "Software": "Grainwright"})
    return buffer.getvalue()
