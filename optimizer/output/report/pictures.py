"""Pictures as inline SVG: charts of histories, the section, the ladder's bars; numbers in, markup out.

Owns our own SVG writer. Text goes through `escape`; numbers are in display units already. Charts carry their axes as
data attributes, so that the page's script can read a value back from the picture without a second copy of the data.
Imports the layout of the section and its key of fills.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape as _entities
from typing import Any
from unicodedata import category

from markupsafe import Markup

from optimizer.output.drawing.geometry import Section

# Okabe and Ito, "Color Universal Design", 2008 (remembered). Dash and marker tell a series too, never colour alone.
OKABE_ITO = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#000000")
DASHES = ("", "7 3", "2 3", "8 3 2 3", "12 3", "4 2", "")
MARKERS = (
    "M-4,0A4,4 0 1 0 4,0A4,4 0 1 0 -4,0Z",
    "M-3.6,-3.6H3.6V3.6H-3.6Z",
    "M0,-4.6L4.3,3.2H-4.3Z",
    "M0,-5L5,0L0,5L-5,0Z",
    "M-4.3,-3.2H4.3L0,4.6Z",
    "M-1.4,-4.4H1.4V-1.4H4.4V1.4H1.4V4.4H-1.4V1.4H-4.4V-1.4H-1.4Z",
    "M-4.4,-4.4L4.4,4.4M4.4,-4.4L-4.4,4.4",
)
# matplotlib's cividis at nine even steps: dark blue to yellow, even in lightness.
CIVIDIS = ("#00224e", "#1a386f", "#434e6c", "#61656f", "#7d7c78", "#9b9476", "#bcae6c", "#dec958", "#fee838")


def escape(text: str) -> str:
    """Text as markup takes it: entities, and no sign that is not allowed there (control characters) or turns the line."""
    return _entities("".join(letter if category(letter) not in _HIDDEN else "�" for letter in str(text)))


_HIDDEN = ("Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp")
WIDTH, HEIGHT = 460.0, 280.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 12.0, 30.0, 42.0
MOST_POINTS = 100


@dataclass(frozen=True)
class Series:
    """One line of a chart, in display units; `style` picks colour, dash and marker together."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    style: int = 0


@dataclass(frozen=True)
class Level:
    """A horizontal line across a chart with its words."""

    name: str
    y: float


def nice_step(span: float, most: int) -> float:
    """The smallest step of 1, 2 or 5 times a power of ten that divides a span into at most `most` parts.

    >>> nice_step(7.3, 5), nice_step(0.09, 5)
    (2.0, 0.02)
    """
    if not span > 0:
        return 1.0
    rough = span / most
    power = 10.0 ** math.floor(math.log10(rough))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if factor * power >= rough * (1 - 1e-9):
            return float(f"{factor * power:.3g}")
    return 10.0 * power  # pragma: no cover


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Round numbers from low to high."""
    step = nice_step(high - low, most)
    first = math.ceil(low / step - 1e-9)
    return [float(f"{k * step:.10g}") for k in range(first, math.floor(high / step + 1e-9) + 1)]


def log_ticks(low: float, high: float) -> list[float]:
    """1, 2 and 5 times powers of ten from low to high; every whole multiple where those are few, even steps where all are.

    >>> log_ticks(0.8, 30.0), log_ticks(4.2, 5.3)
    ([1.0, 2.0, 5.0, 10.0, 20.0], [4.2, 4.4, 4.6, 4.8, 5.0, 5.2])
    """
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for steps in ((1, 2, 5), range(1, 10)):
        found = [float(f"{m}e{k}") for k in powers for m in steps if low * 0.999 <= float(f"{m}e{k}") <= high * 1.001]
        if len(found) >= 4:
            return found
    return found if len(found) >= 3 else ticks(low, high, 8)


def thinned(x: Sequence[float], y: Sequence[float], most: int = MOST_POINTS) -> tuple[list[float], list[float]]:
    """Finite points, at most about `most`: from each bucket the lowest and the highest, so that no peak is lost."""
    points = [(a, b) for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)]
    if len(points) <= most:
        return [p[0] for p in points], [p[1] for p in points]
    buckets = most // 2
    kept = {0, len(points) - 1}
    for k in range(buckets):
        start, stop = k * len(points) // buckets, (k + 1) * len(points) // buckets
        span = range(start, max(stop, start + 1))
        kept.add(min(span, key=lambda i: points[i][1]))
        kept.add(max(span, key=lambda i: points[i][1]))
    chosen = [points[i] for i in sorted(kept)]
    return [p[0] for p in chosen], [p[1] for p in chosen]


@dataclass(frozen=True)
class _Axis:
    """A stretch of numbers on a stretch of the picture."""

    low: float
    high: float
    start: float
    stop: float
    log: bool = False

    def at(self, value: float) -> float:
        low, high = self.low, self.high
        if self.log:
            low, high, value = math.log10(low), math.log10(high), math.log10(value)
        return self.start + (value - low) / (high - low) * (self.stop - self.start)


def _range(values: Sequence[float], log: bool, zero: bool) -> tuple[float, float]:
    finite = [value for value in values if math.isfinite(value) and (value > 0 or not log)]
    if not finite:
        return (0.1, 1.0) if log else (0.0, 1.0)
    low, high = min(finite), max(finite)
    if log:
        return (low / 1.08, high * 1.08) if high > low else (low / 2, high * 2)
    if zero:
        low = min(low, 0.0)
    if high <= low:
        high = low + (abs(low) or 1.0)
    step = nice_step(high - low, 5)
    if zero and -0.2 * step < low < 0.0:
        return 1.2 * low, math.ceil(high / step - 1e-9) * step  # noise about zero does not earn a whole step
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def chart(
    series: Sequence[Series],
    x_label: str,
    y_label: str,
    title: str,
    levels: Sequence[Level] = (),
    log: bool = False,
    from_zero: bool = True,
) -> Markup:
    """A chart of lines over x with its axes, as one SVG that scales; `log` makes both axes logarithmic.

    Its upright axis starts at zero, or with `from_zero` off near the lowest point.
    """
    xs = [value for item in series for value in item.x]
    ys = [value for item in series for value in item.y] + [level.y for level in levels]
    x_low, x_high = _range(xs, log, zero=True)
    if not log and xs:
        x_high = max((value for value in xs if math.isfinite(value)), default=x_high) or 1.0
    y_low, y_high = _range(ys, log, zero=from_zero)
    across = _Axis(x_low, x_high, LEFT, WIDTH - RIGHT, log)
    up = _Axis(y_low, y_high, HEIGHT - BOTTOM, TOP, log)
    out = [
        f'<svg class="chart" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" tabindex="0" aria-label="{escape(title)}"'
        f' data-x0="{x_low:.6g}" data-x1="{x_high:.6g}" data-y0="{y_low:.6g}" data-y1="{y_high:.6g}"'
        f' data-log="{int(log)}" data-box="{LEFT:g} {TOP:g} {WIDTH - RIGHT:g} {HEIGHT - BOTTOM:g}"'
        f' data-xlabel="{escape(x_label)}" data-ylabel="{escape(y_label)}">'
    ]
    out += _frame(across, up, x_label, y_label, log)
    for level in levels:
        y = up.at(level.y)
        out.append(f'<path class="level" d="M{LEFT:g},{y:.1f}H{WIDTH - RIGHT:g}"/>')
        place = f'x="{WIDTH - RIGHT - 3:g}" y="{y - 6:.1f}" text-anchor="end"'
        out.append(f'<text class="note" {place}>{escape(level.name)}</text>')
    for item in series:
        out += _line(item, across, up, len(series) > 1, log)
    out.append("</svg>")
    return Markup("".join(out))


def _frame(across: _Axis, up: _Axis, x_label: str, y_label: str, log: bool) -> list[str]:
    out: list[str] = []
    x_ticks = log_ticks(across.low, across.high) if log else ticks(across.low, across.high, 6)
    y_ticks = log_ticks(up.low, up.high) if log else ticks(up.low, up.high)
    for value in y_ticks:
        y = up.at(value)
        out.append(f'<path class="grid" d="M{across.start:g},{y:.1f}H{across.stop:g}"/>')
        out.append(f'<text class="tick" x="{across.start - 6:g}" y="{y + 4:.1f}" text-anchor="end">{value:g}</text>')
    labelled = -math.inf
    for value in x_ticks:
        x = across.at(value)
        out.append(f'<path class="grid" d="M{x:.1f},{up.start:g}v4"/>')
        if x - labelled < 30.0:
            continue  # no room for its number
        labelled = x
        out.append(f'<text class="tick" x="{x:.1f}" y="{up.start + 17:g}" text-anchor="middle">{value:g}</text>')
    out.append(f'<path class="axis" d="M{across.start:g},{up.start:g}H{across.stop:g}"/>')
    out.append(f'<text class="axis-name" x="{across.stop:g}" y="{up.start + 34:g}" text-anchor="end">{escape(x_label)}</text>')
    out.append(f'<text class="axis-name" x="2" y="{up.stop - 16:g}">{escape(y_label)}</text>')
    return out


def _line(item: Series, across: _Axis, up: _Axis, marked: bool, log: bool) -> list[str]:
    keep = [(a, b) for a, b in zip(item.x, item.y, strict=True) if not log or (a > 0 and b > 0)]
    x, y = thinned([a for a, _ in keep], [b for _, b in keep])
    if not x:
        return []
    places = [(across.at(a), up.at(b)) for a, b in zip(x, y, strict=True)]
    style = item.style % len(OKABE_ITO)
    path = "M" + "L".join(f"{a:.1f},{b:.1f}" for a, b in places)
    dash = f' stroke-dasharray="{DASHES[style]}"' if DASHES[style] else ""
    out = [f'<path class="series" stroke="{OKABE_ITO[style]}"{dash} data-name="{escape(item.name)}" d="{path}"/>']
    if marked:
        # Markers sit at different places on different lines, so that lines lying on one another can still be told.
        start, stop = places[0][0], places[-1][0]
        for k in range(5):
            wanted = start + (stop - start) * (k + 0.3 + 0.2 * (style % 3)) / 5
            a, b = min(places, key=lambda place: abs(place[0] - wanted))
            out.append(marker(style, f"translate({a:.1f} {b:.1f})"))
    return out


TALL = 330.0
COLUMN = 27.0
"""Width of the place of one rung beside a trace."""


@dataclass(frozen=True)
class Span:
    """Where a rung happens: its name in the picture, the figure of the ladder, and a low and a high percentile."""

    name: str
    low: float
    middle: float
    high: float


def failure_picture(
    lines: Sequence[Series],
    moment: float | None,
    failure: Span,
    pressures: Sequence[Span],
    times: Sequence[Span],
    unit: str,
    title: str,
) -> Markup:
    """A pressure trace up to a failure and, on the same pressure scale, where each rung happens; display units.

    `pressures` stand beside the trace, `times` along its clock.
    """
    room = max(COLUMN * len(pressures) + 10.0, 118.0) if pressures else 0.0
    end = WIDTH - RIGHT - (room + 12.0 if pressures else 0.0)
    xs = [value for item in lines for value in item.x if math.isfinite(value)]
    last = max([*xs, moment or 0.0, 1e-3])
    across = _Axis(min([*xs, 0.0]), 1.04 * last, LEFT, end)
    seen = [value for item in lines for value in item.y if math.isfinite(value)] + [failure.high]
    # A rung far above the rest would press the trace flat; it is cut, with a mark.
    top = min(max([*seen, *(span.high for span in pressures)]), 8.0 * max(seen))
    up = _Axis(*_range([0.0, top], False, True), TALL - BOTTOM, TOP)
    box = f"{LEFT:g} {TOP:g} {end:g} {up.start:g}"
    out = [
        f'<svg class="chart failure" viewBox="0 0 {WIDTH:g} {TALL:g}" role="img" tabindex="0"'
        f' aria-label="{escape(title)}" data-x0="{across.low:.6g}" data-x1="{across.high:.6g}"'
        f' data-y0="{up.low:.6g}" data-y1="{up.high:.6g}" data-log="0" data-box="{box}" data-xlabel="time, s"'
        f' data-ylabel="{escape(unit)}">'
    ]
    low, high = up.at(min(max(failure.low, 0.0), up.high)), up.at(min(failure.high, up.high))
    out.append(f'<rect class="plausible" x="{LEFT:g}" y="{high:.1f}" width="{WIDTH - RIGHT - LEFT:g}"'
               f' height="{max(low - high, 1.0):.1f}"/>')  # fmt: skip
    out += _frame(across, up, "time from ignition, s", unit, False)
    for item in lines:
        out += _line(item, across, up, len(lines) > 1, False)
    y = up.at(min(failure.middle, up.high))
    out.append(f'<path class="level" d="M{LEFT:g},{y:.1f}H{WIDTH - RIGHT:g}"/>')
    x = (end if moment is None else across.at(moment)) - 11.0
    out.append(f'<text class="note halo" x="{x:.1f}" y="{y + 18:.1f}" text-anchor="end">{escape(failure.name)}</text>')
    if moment is not None:
        x = across.at(moment)
        out.append(f'<path class="moment" d="M{x:.1f},{up.start:g}V{y:.1f}"/>')
        out.append(f'<path class="burst" transform="translate({x:.1f} {y:.1f})" d="M-6,-6L6,6M6,-6L-6,6"/>')
    out += _time_spans(times, across, up)
    out += _pressure_spans(pressures, up, end + 12.0)
    out.append("</svg>")
    return Markup("".join(out))


def _pressure_spans(spans: Sequence[Span], up: _Axis, start: float) -> list[str]:
    """One upright bar a rung, its name under it."""
    if not spans:
        return []
    stop = WIDTH - RIGHT
    out = [f'<path class="axis" d="M{start:g},{up.start:g}H{stop:g}"/>']
    out.append(f'<text class="axis-name" x="{stop:g}" y="{up.stop - 16:g}" text-anchor="end">fails at</text>')
    out.append(f'<text class="axis-name" x="{stop:g}" y="{up.start + 34:g}" text-anchor="end">rung, as listed</text>')
    step = (stop - start) / len(spans)
    for index, span in enumerate(spans):
        x = start + (index + 0.5) * step
        if span.low < up.high:
            low, high = up.at(max(span.low, 0.0)), up.at(min(span.high, up.high))
            out.append(f'<rect class="bar light" x="{x - 7:.1f}" y="{high:.1f}" width="14" height="{low - high:.1f}"/>')
        if span.middle <= up.high:
            out.append(f'<path class="median" d="M{x - 10:.1f},{up.at(span.middle):.1f}h20"/>')
        if span.high > up.high:
            out.append(f'<path class="above" transform="translate({x:.1f} {up.stop + 4:g})" d="M-5,6L0,0L5,6M-5,12L0,6L5,12"/>')
        out.append(f'<text class="tick strong" x="{x:.1f}" y="{up.start + 17:g}" text-anchor="middle">{escape(span.name)}</text>')
    return out


def _time_spans(spans: Sequence[Span], across: _Axis, up: _Axis) -> list[str]:
    """One bar a rung along the clock, near the foot of the picture; what lies beyond the clock is left to the list."""
    out = []
    for index, span in enumerate(spans):
        if span.low >= across.high:
            continue
        y = up.start - 14.0 - 20.0 * index
        left, right = across.at(max(span.low, across.low)), across.at(min(span.high, across.high))
        out.append(f'<rect class="bar light" x="{left:.1f}" y="{y - 6:.1f}" width="{right - left:.1f}" height="12"/>')
        if across.low <= span.middle <= across.high:
            out.append(f'<path class="median" d="M{across.at(span.middle):.1f},{y - 8:.1f}v16"/>')
        side = (left - 5, "end") if left > across.start + 22 else (left + 5, "start")
        out.append(
            f'<text class="tick strong halo" x="{side[0]:.1f}" y="{y + 4.5:.1f}" text-anchor="{side[1]}">{escape(span.name)}</text>'
        )
    return out


def marker(style: int, transform: str = "") -> str:
    """A marker of a style, centred where the transform puts it."""
    style %= len(MARKERS)
    move = f' transform="{transform}"' if transform else ""
    line = ' stroke="#000000" stroke-width="2" fill="none"' if style == 6 else f' fill="{OKABE_ITO[style]}"'
    return f'<path class="marker"{move}{line} d="{MARKERS[style]}"/>'


def legend(series: Sequence[Series]) -> Markup:
    """What each line is, with its dash and marker; empty for a single line."""
    if len(series) < 2:
        return Markup("")
    out = ['<ul class="legend">']
    for item in series:
        style = item.style % len(OKABE_ITO)
        dash = f' stroke-dasharray="{DASHES[style]}"' if DASHES[style] else ""
        out.append(
            '<li><svg width="34" height="12" viewBox="0 0 34 12" aria-hidden="true">'
            f'<path d="M0,6H34" stroke="{OKABE_ITO[style]}" stroke-width="2"{dash}/>'
            f"{marker(style, 'translate(17 6)')}</svg>{escape(item.name)}</li>"
        )
    out.append("</ul>")
    return Markup("".join(out))


def swatch(style: int) -> Markup:
    """A marker by itself, for tables."""
    return Markup(f'<svg class="swatch" width="14" height="14" viewBox="-7 -7 14 14" aria-hidden="true">{marker(style)}</svg>')


# Fill of each kind of part on the page, and its name in the key.
FILLS: Mapping[str, tuple[str, str]] = {
    "case": ("#9fb4c7", "case"),
    "liner": ("#d9b36c", "liner"),
    "grain": ("#4d5661", "grain"),
    "cap": ("#2f7fb0", "cap over an end face"),
    "closure": ("#7fb89e", "forward plate"),
    "plug": ("#cdb94f", "plug"),
    "ring": ("#e3c9a0", "retaining ring"),
    "nozzle": ("#b9aacd", "nozzle"),
    "insert": ("#6c5f80", "throat insert"),
    "screw": ("#1f2933", "screw or snap ring"),
    "gland": ("#ffffff", ""),
    "seal": ("#000000", ""),
}


def section_picture(shape: Section, title: str) -> Markup:
    """The motor cut along its axis, to scale, with a key of the parts."""
    pad = 2.0
    width, height = shape.end - shape.start + 2 * pad, 2 * shape.radius + 2 * pad
    out = [
        f'<svg class="section" viewBox="{shape.start - pad:.2f} {-shape.radius - pad:.2f} {width:.2f} {height:.2f}"'
        f' role="img" aria-label="{escape(title)}">'
    ]
    kinds = dict.fromkeys(part.kind for part in shape.parts)
    for part in shape.parts:
        fill, name = FILLS[part.kind]
        label = escape(" ".join(text for text in (name, part.name) if text) or part.name)
        points = "L".join(f"{x:.2f},{r:.2f}" for x, r in part.outline)
        mirrored = "L".join(f"{x:.2f},{-r:.2f}" for x, r in part.outline)
        other = f"M{mirrored}Z" if part.round else ""
        out.append(f'<path fill="{fill}" d="M{points}Z{other}"><title>{label}</title></path>')
    out.append(f'<path class="centre" d="M{shape.start - pad:.2f},0H{shape.end + pad:.2f}"/></svg>')
    out.append('<ul class="legend">')
    for kind in kinds:
        fill, name = FILLS[kind]
        if name:
            out.append(f'<li><i class="fill" style="background:{fill}"></i>{escape(name)}</li>')
    out.append("</ul>")
    return Markup("".join(out))


def share(value: float | None, ceiling: float) -> float | None:
    """A place on a scale in percent, None where it lies outside or is no number."""
    if value is None or not math.isfinite(value) or not 0 <= value <= ceiling * 1.0001:
        return None
    return round(100.0 * value / ceiling, 2)


def scale_marks(ceiling: float, most: int = 5) -> list[dict[str, Any]]:
    """Round numbers along a scale from 0, as {"at": percent, "text": number}."""
    return [{"at": round(100.0 * value / ceiling, 2), "text": f"{value:g}"} for value in ticks(0.0, ceiling, most)]


NAMES, LANE, NUMBERS = 296.0, 400.0, 204.0
"""Widths of the three columns of a ladder's picture: what lets go, its bar, its numbers."""
RUNG = 26.0
_LADDER_STYLE = (
    "text{font:14px system-ui,'Segoe UI',Roboto,'Noto Sans',sans-serif;fill:#14181d}.faint{fill:#55606c;font-size:13px}"
    ".name{font-weight:600}.title{font-size:17px;font-weight:600}.bar{fill:#0072b2}.short .bar{fill:#d55e00;stroke:#14181d}"
    ".short text{fill:#a33a00}.tint{fill:#f4f6f8}.expected{stroke:#14181d;stroke-width:1.5;stroke-dasharray:5 3}"
    ".need{stroke:#14181d;stroke-width:2.5}.under{stroke:#fff;stroke-width:5.5}.beyond{fill:none;stroke:#fff;stroke-width:2}"
)


def ladder_picture(ladder: Mapping[str, Any], title: str) -> Markup:
    """The failure ladder of one motor, as `panels.ladder` gives it, as a picture that stands alone with its own colours."""
    blocks = [(ladder, f"head-end pressure, {ladder['unit']}", "max. expected")]
    if ladder["times"]:
        blocks.append((ladder["times"], "time from ignition, s", "must last"))
    width = NAMES + LANE + NUMBERS
    out: list[str] = []
    y = 34.0
    for block, caption, label in blocks:
        if block["rungs"]:
            y = _ladder_block(out, block, caption, label, y)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {y:g}" width="{width:g}" height="{y:g}" role="img"'
        f' aria-label="Failure ladder of {escape(title)}"><!-- Grainwright --><style>{_LADDER_STYLE}</style>'
        f'<rect width="{width:g}" height="{y:g}" fill="#fff"/><text class="title" x="8" y="23">{escape(title)}</text>'
    )
    told = "a bar ends where it fails, its stroke is what is required"
    foot = f'<text class="faint" text-anchor="end" x="{width - 8:g}" y="23">{told}</text>'
    return Markup("\n".join((head + foot, *out, "</svg>")))


def _ladder_block(out: list[str], block: Mapping[str, Any], caption: str, label: str, y: float) -> float:
    """One scale with its rungs from `y` down; where it ends."""
    top, at = y + 40.0, block["expected_at"]
    for mark in block["marks"]:
        x = NAMES + LANE * mark["at"] / 100.0
        if at is not None and abs(mark["at"] - at) < 2.5:
            continue  # the dashed line would run through the number
        out.append(f'<text class="faint" x="{x:.1f}" y="{top - 6:g}" text-anchor="middle">{mark["text"]}</text>')
    for place, row in enumerate(block["rungs"]):
        out.append(_ladder_rung(row, top + RUNG * place, place % 2 == 0))
    bottom = top + RUNG * len(block["rungs"])
    if at is not None:
        x = NAMES + LANE * at / 100.0
        out.append(f'<path class="expected" d="M{x:.1f},{top - 20:g}V{bottom:g}"/>')
        out.append(f'<text x="{x + 5:.1f}" y="{top - 23:g}">{escape(label)} {escape(block["expected"])}</text>')
    out.append(f'<text class="faint" x="{NAMES:g}" y="{bottom + 16:g}">{escape(caption)}</text>')
    return bottom + 26.0


def _ladder_rung(row: Mapping[str, Any], y: float, tinted: bool) -> str:
    middle = y + RUNG / 2
    width = NAMES + LANE + NUMBERS
    parts = [f'<rect class="tint" y="{y:g}" width="{width:g}" height="{RUNG:g}"/>'] if tinted else []
    parts.append(
        f'<text x="8" y="{middle + 5:g}"><tspan class="name">{escape(row["mode"])}</tspan>'
        f' <tspan class="faint">{escape(row["part"])}</tspan></text>'
    )
    if row["bar"] is not None:
        long = LANE * row["bar"] / 100.0
        parts.append(f'<rect class="bar" x="{NAMES:g}" y="{middle - 7:g}" width="{long:.1f}" height="14"/>')
    if row["cut"]:
        end = NAMES + LANE
        parts.append(f'<path class="beyond" d="M{end - 14:g},{middle - 5:g}l5,5l-5,5m6,-10l5,5l-5,5"/>')
    if row["need"] is not None:
        x = NAMES + LANE * row["need"] / 100.0
        line = f'd="M{x:.1f},{y + 2:g}V{y + RUNG - 2:g}"'
        parts.append(f'<path class="under" {line}/><path class="need" {line}/>')
    number = escape(row["value"]) if row["never"] else f"{escape(row['value'])} ×{row['factor']}"
    if not row["never"]:
        asked = "advice" if row["required"] == "–" else f"of {row['required']}"
        number += f' <tspan class="faint">{asked}</tspan>'
    parts.append(f'<text class="number" x="{NAMES + LANE + 8:g}" y="{middle + 5:g}">{number}</text>')
    return f'<g class="rung{"" if row["ok"] else " short"}">{"".join(parts)}</g>'
