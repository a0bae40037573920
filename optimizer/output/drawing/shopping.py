"""The cut list and the shopping list: what to saw, what to buy with spares, and what it costs by the user's own lists.

Owns how stock is counted, screws and rings are named, and both lists as a sheet and as CSV. Prices are those of the user's
own stock lists; ours have none. Imports cuts, geometry, sheet, plates and the stock lists.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from optimizer.inputs.stock import Price, Stock, StockItem, load_stock
from optimizer.output.drawing.cuts import CLEAN_UP, FACING, KERF, Bar, Cut, cuts, item_price, packed
from optimizer.output.drawing.geometry import MILLIMETRE, grain_rows, millimetres, number, section
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet
from physics.motors import Closure, Motors, Screws, Seal

# Common practice, no source: what is lost, nicked or dropped.
SPARE_SHARE, SPARE_LEAST = 0.10, 2  # of screws
SPARE_RINGS = 1  # O-rings a size

METRIC_LENGTHS = (3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80)
"""Lengths in which metric screws are sold [mm]: ISO 888 without its bracketed sizes; remembered."""
INCH_LENGTHS = tuple(
    Fraction(sixteenths, 16) for sixteenths in (2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28, 32, 36, 40, 44, 48)
)
"""Lengths in which unified screws are sold [in]: ASME B18.3; remembered."""
SAME_RING = 0.06  # mm within which a ring is one of the list


@dataclass(frozen=True)
class Purchase:
    """One line of the shopping list: what it is for, what to ask for, how many, what to know, and what that costs."""

    what: str
    specification: str
    quantity: str
    remark: str = ""
    cost: Price | None = None


def shopping(motors: Motors, labels: Labels, lists: Sequence[Stock] = ()) -> list[Purchase]:
    """Everything to buy for one motor: lengths of stock, then screws, rings and plugs with spares."""
    return [*stock_lines(cuts(motors, labels, lists), labels), *purchases(motors, labels, lists)]


# --- lengths of stock ------------------------------------------------------------------------------------------------------


def bars_of(pieces: Sequence[Cut]) -> list[Bar] | None:
    """The stock lengths for pieces of one stock, None where a piece is longer than any."""
    try:
        return packed([cut.sawn for cut in pieces for _ in range(cut.pieces)], pieces[0].source.lengths)
    except ValueError:
        return None


def stock_lines(found: Sequence[Cut], labels: Labels) -> list[Purchase]:
    """Lengths of tube and bar to buy: pieces of one stock lie on the same lengths."""
    groups: dict[tuple[str, str, str], list[Cut]] = {}
    for cut in found:
        groups.setdefault((cut.material, cut.source.profile, cut.source.listed), []).append(cut)
    lines = []
    for (material, profile, listed), pieces in groups.items():
        source, bars = pieces[0].source, bars_of(pieces)
        buy, left = stock_text(bars, labels)
        used = sum(bar.length - bar.left for bar in bars or ())
        told = f"{labels.length(used, 0)} used, off-cut {left}" if bars else ""
        remark = "; ".join(text for text in (told, source.remark) if text)
        what = f"{'' if material == '–' else f'{material} '}{profile}" + (f" ({listed})" if listed else "")
        cost = None
        if bars is not None and all(bar.length in source.prices for bar in bars):
            cost = summed([source.prices[bar.length] for bar in bars])
        lines.append(Purchase(", ".join(cut.part for cut in pieces), what, buy, remark, cost))
    return lines


def stock_text(bars: list[Bar] | None, labels: Labels) -> tuple[str, str]:
    """What to buy and what is left, as text: equal bars counted together."""
    if bars is None:
        return "longer than any stock length: order to length", "–"
    counted: dict[float, int] = {}
    for bar in bars:
        counted[bar.length] = counted.get(bar.length, 0) + 1
    buy = ", ".join(f"{count} × {labels.length(length, 0)}" for length, count in counted.items())
    return buy, ", ".join(labels.length(bar.left, 0) for bar in bars)


def summed(prices: Sequence[Price]) -> Price | None:
    """The sum of prices of one currency, None where there is none or several."""
    if not prices or len({price.currency for price in prices}) > 1:
        return None
    return Price(sum(price.amount for price in prices), prices[0].before, prices[0].behind)


# --- screws, rings, plugs ----------------------------------------------------------------------------------------------------


def purchases(motors: Motors, labels: Labels, lists: Sequence[Stock] = ()) -> list[Purchase]:
    """Screws, seals, snap rings and plugs of one motor, with spares."""
    found: list[Purchase] = []
    for end, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure)):
        if closure is not None:
            found += _closure(end, closure, motors, labels, lists)
    if motors.nozzle.seal is not None:
        bore = None if motors.case is None else millimetres(motors.case.bore)
        found += _rings("nozzle", motors.nozzle.seal, bore, labels, lists)
    return found + _caps(motors, labels)


def _caps(motors: Motors, labels: Labels) -> list[Purchase]:
    """What covers end faces in part: its size and number; of what, the file does not tell."""
    found: list[Purchase] = []
    for place, row in enumerate(grain_rows(motors), 1):
        for end in ("forward", "aft"):
            to, outer = row[f"{end}_open_to"], row["outer_diameter"]
            if row["core_diameter"] < to < outer:
                what = f"{end} face caps" if place == 1 else f"{end} face caps, row {place}"
                size = f"ring Ø {labels.length(outer)}, opening Ø {labels.length(to)}"
                remark = "material, thickness and bond are not told: whether they last is not assessed"
                found.append(Purchase(what, size, f"{row['count']:.0f}", remark))
    return found


def _closure(end: str, closure: Closure, motors: Motors, labels: Labels, lists: Sequence[Stock]) -> list[Purchase]:
    size = labels.length
    found: list[Purchase] = []
    bore = None if motors.case is None else millimetres(motors.case.bore)
    if closure.screws is not None:
        found.append(_screws(end, closure.screws, motors, labels, lists))
    if closure.snap_ring is not None and bore is not None:
        thick = millimetres(closure.snap_ring.ring_thickness) or 0.0
        found.append(Purchase(f"{end} snap ring", f"internal, bore {size(bore)}, thickness {size(thick)}", "2", "1 and 1 spare"))
    if closure.welded_lip is not None and closure.welded_lip.filler:
        found.append(Purchase(f"{end} lip", f"filler rod {closure.welded_lip.filler}", "as the welder asks"))
    if closure.plug is not None:
        metal = closure.plug.material.name if closure.plug.material is not None else "material not named"
        found.append(Purchase(f"{end} plug", f"{closure.plug.thread}, {metal}", "1", "its hole is tapped in the plate"))
        if closure.plug.seal is not None:
            found += _rings(f"{end} plug", closure.plug.seal, None, labels, lists)
    if closure.seal is not None:
        found += _rings(end, closure.seal, bore, labels, lists)
    return found


def screw_length(reach: float, metric: bool) -> tuple[str, float] | None:
    """The longest length that screws are sold in and that is no longer than `reach`, as text and in mm.

    >>> [found and found[0] for found in (screw_length(12.175, False), screw_length(12.175, True), screw_length(1.0, True))]
    ['7/16 in', '12 mm', None]
    """
    if metric:
        fitting = [length for length in METRIC_LENGTHS if length <= reach + 0.05]
        return (f"{fitting[-1]} mm", float(fitting[-1])) if fitting else None
    inches = [length for length in INCH_LENGTHS if float(length) * 25.4 <= reach + 0.05]
    if not inches:
        return None
    whole, part = divmod(inches[-1], 1)
    name = "-".join(str(text) for text in (whole, part) if text)
    return f"{name} in", float(inches[-1]) * 25.4


def _screws(end: str, screws: Screws, motors: Motors, labels: Labels, lists: Sequence[Stock]) -> Purchase:
    """The screws of one end, by thread, length, grade and kind."""
    count = round(number(screws.count) or 0.0)
    spare = max(math.ceil(SPARE_SHARE * count), SPARE_LEAST)
    ring, wall = millimetres(screws.ring_thickness), None if motors.case is None else millimetres(motors.case.wall)
    given = millimetres(screws.flush_length)
    reach = given if given is not None else None if ring is None or wall is None else ring + wall
    chosen = None if reach is None else screw_length(reach, bool(number(screws.metric)))
    name = screws.designation or labels.length(millimetres(screws.diameter) or 0.0)
    what = name + (f" × {chosen[0]}" if chosen else "")
    what = ", ".join(text for text in (what, screws.grade, screws.kind) if text)
    remark = f"{count} and {spare} spare; hole Ø {labels.length(millimetres(screws.hole_diameter) or 0.0)}"
    if reach is None:
        remark += "; length not known: ring_thickness is not given"
    elif chosen is None:
        remark += f"; no length as short as {labels.length(reach)} is listed: cut to length"
    elif wall is not None:
        into = f"; reaches {labels.length(chosen[1] - wall)} into the ring"
        remark += into + (f" of {labels.length(ring)}" if ring is not None else "")
        if given is not None and given - chosen[1] > 0.05:
            remark += f"; the file says {labels.length(given)}"
    price = None
    for item in (item for stock in lists if stock.kind == "screws" for item in stock.items):
        long = item.values.get("length")
        if _same_thread(item, screws) and (long is None or (chosen and abs(long / MILLIMETRE - chosen[1]) < 0.05)):
            price = price or item_price(item)
    return Purchase(f"{end} screws", what, str(count + spare), remark, None if price is None else price.times(count + spare))


def _same_thread(item: StockItem, screws: Screws) -> bool:
    diameter, pitch = number(screws.diameter) or 0.0, number(screws.pitch) or 0.0
    return bool(np.allclose([item.values.get("diameter", 0.0), item.values.get("pitch", 0.0)], [diameter, pitch], rtol=1e-3))


def dash_of(section_: float, inner: float | None, floor: float | None) -> tuple[StockItem, float | None] | None:
    """The AS568 ring of a cross section [mm]: that of the inner diameter, else the widest that is stretched on the floor [mm].

    With it the stretch on the floor, where that is known. None where the list has no such ring.
    """
    rings = [
        item for item in load_stock("orings-as568").items
        if abs(item.values["cross_section"] / MILLIMETRE - section_) <= SAME_RING
    ]  # fmt: skip
    if inner is not None:
        rings = [item for item in rings if abs(item.values["inner_diameter"] / MILLIMETRE - inner) <= SAME_RING]
    elif floor is not None:
        rings = [item for item in rings if item.values["inner_diameter"] / MILLIMETRE <= floor][-1:]
    else:
        rings = []
    if not rings:
        return None
    wide = rings[0].values["inner_diameter"] / MILLIMETRE
    return rings[0], None if floor is None else floor / wide - 1.0


def _rings(end: str, first: Seal, bore: float | None, labels: Labels, lists: Sequence[Stock]) -> list[Purchase]:
    """The O-rings of a part, of each ring of its own description, numbered from the gas where there are several."""
    rings = first.series
    names = [end] if len(rings) == 1 else [f"{end} seal {row}" for row in range(1, len(rings) + 1)]
    return [line for name, ring in zip(names, rings, strict=True) for line in _ring(name, ring, bore, labels, lists)]


def _ring(end: str, seal: Seal, bore: float | None, labels: Labels, lists: Sequence[Stock]) -> list[Purchase]:
    """O-rings of one seal by their dash number, and the backup rings that go with them."""
    size = labels.length
    rings = round(number(seal.rings) or 0.0)
    across, inner = millimetres(seal.cross_section) or 0.0, millimetres(seal.inner_diameter)
    sealed = millimetres(seal.diameter) or bore
    depth = millimetres(seal.gland_depth)
    floor = None if sealed is None or depth is None else sealed - 2 * depth
    found = dash_of(across, inner, floor)
    text, remark = "O-ring ", f"{rings} and {SPARE_RINGS} spare"
    if found is not None:
        item, stretch = found
        inner = item.values["inner_diameter"] / MILLIMETRE
        text += f"{item.name} (AS568), "
        remark += "" if stretch is None else f"; stretched {stretch:.1%} on the groove's floor"
    text += f"section {size(across)}"
    text += f", inside Ø {size(inner)}" if inner is not None else f", for a bore of {size(sealed)}" if sealed is not None else ""
    text += f", {number(seal.hardness) or 0.0:.0f} Shore A" + (f", {seal.material.name}" if seal.material is not None else "")
    if found is None and inner is None:
        remark += "; no listed ring of this section fits the groove"
    price = None
    for one in (item for stock in lists if stock.kind == "rings" for item in stock.items):
        listed = [one.values.get(name, 0.0) / MILLIMETRE for name in ("cross_section", "inner_diameter")]
        if inner is not None and np.allclose(listed, [across, inner], atol=SAME_RING, rtol=0.0):
            price = price or item_price(one)
    count = rings + SPARE_RINGS
    lines = [Purchase(f"{end} O-rings", text, str(count), remark, None if price is None else price.times(count))]
    backups = round(number(seal.backup_rings) or 0.0)
    if backups:
        suits = f"to suit {found[0].name}" if found is not None else "to suit the O-ring"
        lines.append(Purchase(f"{end} backup rings", suits, str(backups + 1), f"{backups} and 1 spare"))
    return lines


# --- sheet and CSV -----------------------------------------------------------------------------------------------------------


def totals(lines: Sequence[Purchase]) -> list[str]:
    """What the priced lines come to, one text a currency, and which lines have no price; empty where none has one."""
    currencies = dict.fromkeys(line.cost.currency for line in lines if line.cost is not None)
    if not currencies:
        return []
    sums = [summed([line.cost for line in lines if line.cost is not None and line.cost.currency == name]) for name in currencies]
    bare = [line.what for line in lines if line.cost is None]
    told = [f"Together, what has a price in your lists: {' and '.join(map(str, sums))}."]
    return told + ([f"Without a price: {'; '.join(bare)}."] if bare else [])


def cut_list_csv(motors: Motors, labels: Labels, lists: Sequence[Stock] = ()) -> bytes:
    """Both lists as one CSV, safe to open; lengths in mm whatever the system of units, as the headings say."""
    from optimizer.results import csv_text

    header = ["list", "for", "material_or_specification", "profile", "pieces", "finished_mm", "sawn_mm", "remark", "cost"]
    rows: list[list[object]] = []
    for cut in cuts(motors, labels, lists):
        size = [f"{cut.finished:.2f}", f"{cut.sawn:.2f}"]
        rows.append(["cut", cut.part, cut.material, cut.source.profile, cut.pieces, *size, cut.source.listed, ""])
    for item in shopping(motors, labels, lists):
        rows.append(["buy", item.what, item.specification, "", item.quantity, "", "", item.remark, str(item.cost or "")])
    return csv_text(header, rows).encode()


def cut_list_sheets(motors: Motors, labels: Labels, paper: str = "A4", lists: Sequence[Stock] = ()) -> list[Sheet]:
    """Both lists on one portrait sheet, in smaller letters where there is much."""
    for size in (7.6, 7.0, 6.4, 5.8):
        sheet, bottom = _drawn(motors, labels, paper, lists, size)
        if bottom >= MARGIN + FOOT:
            break
    return [sheet]


def _drawn(motors: Motors, labels: Labels, paper: str, lists: Sequence[Stock], size: float) -> tuple[Sheet, float]:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Cut list", 14, bold=True)
    found = cuts(motors, labels, lists)
    rows = [["part", "material", "from", "pieces", "finished", "saw at"]]
    for cut in found:
        sizes = [labels.length(cut.finished), labels.length(cut.sawn)]
        rows.append([cut.part, cut.material, cut.source.profile, str(cut.pieces), *sizes])
    shares = (0.15, 0.18, 0.32, 0.08, 0.135, 0.135)
    y = sheet.table(MARGIN, y - 8.0, [share * width for share in shares], rows, size, (3, 4, 5), wrap=True)
    y = sheet.paragraph(
        MARGIN,
        y - 1.5,
        width,
        f"Sawn lengths leave {labels.length(FACING, 1)} an end to face; the saw takes {labels.length(KERF, 1)} a cut. Bar is the "
        f"next listed size that leaves {labels.length(CLEAN_UP, 1)} on the finished diameter to clean up. Grain tubes are cut to "
        "their finished length. Allowances and stock lengths: common practice, no source; measure your own stock.",
        size - 0.6,
        color=FAINT,
    )
    sheet.text(MARGIN, y - 7.0, "Shopping list", 14, bold=True)
    lines = shopping(motors, labels, lists)
    priced = any(line.cost is not None for line in lines)
    heads = ["for", "what", "buy", "remark"] + (["cost"] if priced else [])
    rows = [heads]
    rows += [[one.what, one.specification, one.quantity, one.remark] + ([str(one.cost or "–")] if priced else []) for one in lines]
    columns = [0.16, 0.34, 0.13, 0.25, 0.12] if priced else [0.17, 0.39, 0.14, 0.30]
    y = sheet.table(MARGIN, y - 14.5, [share * width for share in columns], rows, size, (4,) if priced else (), wrap=True)
    for text in totals(lines):
        y = sheet.paragraph(MARGIN, y - 1.0, width, text, size, bold=text.startswith("Together"))
    assumed = [text for text in section(motors).assumptions if "not given" in text]
    if assumed:
        y -= 3.0
        sheet.text(MARGIN, y, "Lengths that rest on an assumption", size + 1.0, bold=True)
        y -= 4.6
        for text in assumed:
            y = sheet.paragraph(MARGIN, y, width, "– " + labels.sized(text), size - 0.2)
    foot(sheet, labels, "cut list and shopping list", "–")
    return sheet, y
