"""What is sawn: every piece of one motor, the stock that it comes from, and how pieces lie on stock lengths.

Owns the allowances, the choice of tube and bar from stock lists, and the packing. Pieces that are turned are those of the
lathe sheets. Imports geometry, lathe, plates and the stock lists.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from optimizer.inputs.stock import Price, Stock, StockItem, load_stock, price_of
from optimizer.output.drawing.geometry import MILLIMETRE, DrawingError, grain_rows, millimetres
from optimizer.output.drawing.lathe import Turned, turned_parts
from optimizer.output.drawing.plates import Labels
from physics.motors import Motors

# Common practice, no source: lengths in which tube and bar are sold, what a saw takes, what facing an end and what the skin
# of a bar, its bend and the chuck take.
STOCK_LENGTHS = {"metric": (500.0, 1000.0, 2000.0, 3000.0), "imperial": (304.8, 609.6, 914.4, 1828.8, 3657.6)}
KERF = 2.0  # mm
FACING = 1.0  # mm an end
CLEAN_UP = 1.0  # mm on the diameter of a bar
SAME_OUTSIDE, SAME_WALL = 0.06, 0.03  # mm within which a listed tube is the tube of the file
BARS = {"metric": "bars-metric", "imperial": "bars-imperial"}
TUBES = {"tube-metric": ("6061", "6082"), "tube-6061": ("6061",), "tube-4130": ("4130",)}
"""Our lists of tubes, and what the material's name must have in it."""


@dataclass(frozen=True)
class Source:
    """What pieces are sawn from: `profile` as text, `listed` names item and list, `lengths` [mm] in which it is sold.

    `prices` are those of a length, where the list is one of the user's own and has them.
    """

    profile: str
    listed: str = ""
    lengths: tuple[float, ...] = ()
    prices: Mapping[float, Price] = field(default_factory=dict)
    remark: str = ""


@dataclass(frozen=True)
class Cut:
    """Equal pieces to saw: `finished` length, `sawn` with facing; lengths in mm."""

    part: str
    material: str
    source: Source
    pieces: int
    finished: float

    @property
    def sawn(self) -> float:
        """Length to saw, with both ends left to face. [mm]"""
        return self.finished + 2 * FACING


@dataclass(frozen=True)
class Bar:
    """One stock length and what is sawn from it; `left` is the off-cut. [mm]"""

    length: float
    pieces: tuple[float, ...]

    @property
    def left(self) -> float:
        """Off-cut after every saw cut. [mm]"""
        return max(self.length - sum(self.pieces) - KERF * len(self.pieces), 0.0)


def packed(pieces: Sequence[float], stock: Sequence[float]) -> list[Bar]:
    """Pieces on the fewest of the longest stock, longest piece first, each bar then cut down to the shortest that does.

    Raises DrawingError where a piece is longer than the longest stock length.

    >>> [(bar.length, len(bar.pieces), round(bar.left, 1)) for bar in packed([300.0] * 4, (500.0, 1000.0))]
    [(1000.0, 3, 94.0), (500.0, 1, 198.0)]
    """
    longest = max(stock)
    bars: list[list[float]] = []
    for piece in sorted(pieces, reverse=True):
        if piece + KERF > longest:
            raise DrawingError(f"a piece of {piece:.1f} mm is longer than the longest stock length, {longest:.1f} mm")
        for bar in bars:
            if sum(bar) + KERF * len(bar) + piece + KERF <= longest:
                bar.append(piece)
                break
        else:
            bars.append([piece])
    chosen = []
    for bar in bars:
        need = sum(bar) + KERF * len(bar)
        chosen.append(Bar(min(length for length in stock if length >= need), tuple(bar)))
    return chosen


def cuts(motors: Motors, labels: Labels, lists: Sequence[Stock] = ()) -> list[Cut]:
    """Every piece of one motor that is sawn: tube, liner, turned parts, tubes of the grains.

    `lists` are the user's own stock lists, which go before ours.
    """
    size = labels.length
    found: list[Cut] = []
    bore = None
    for part in turned_parts(motors, labels):
        long = part.end - part.start
        if part.name == "case" and motors.case is not None:
            outer, wall = millimetres(motors.case.outer_diameter) or 0.0, millimetres(motors.case.wall) or 0.0
            bore = outer - 2 * wall
            source = tube_source(part.material, outer, wall, labels, lists)
        elif part.name == "liner" and motors.liner is not None:
            thick = millimetres(motors.liner.thickness) or 0.0
            source = liner_source(part, thick, labels, lists)
            bore = 2 * (part.radius - thick)
        else:
            source = bar_source(part, labels, lists)
        found.append(Cut(part.name, part.material, source, 1, long))
    for count, row in enumerate(grain_rows(motors), 1):
        profile = f"tube, inside Ø {size(row['outer_diameter'])}"
        if bore is not None and bore > row["outer_diameter"]:
            profile += f", outside at most {size(bore)}"
        name = "grain tube" if count == 1 else f"grain tube, row {count}"
        source = Source(profile, lengths=STOCK_LENGTHS[labels.units])
        found.append(Cut(name, "–", source, round(row["count"]), row["length"]))
    return found


# --- stock ---------------------------------------------------------------------------------------------------------------


def alike(material: str, item: StockItem) -> bool:
    """Whether a listed item may be of a material: the list does not say, or one name holds the other."""
    listed = _folded(item.texts.get("material", ""))
    wanted = _folded(material)
    return not listed or listed in wanted or wanted in listed


def _folded(text: str) -> str:
    return "".join(text.casefold().split())


def item_price(item: StockItem) -> Price | None:
    """The price of a listed item, None where it has none."""
    return price_of(item.texts["price"]) if item.texts.get("price") else None


def _sold(items: Iterable[tuple[Stock, StockItem]], labels: Labels) -> tuple[tuple[float, ...], dict[float, Price], str]:
    """Lengths in which some equal items are sold, what each costs, and what is to be said of it."""
    lengths: list[float] = []
    prices: dict[float, Price] = {}
    remark = ""
    for _, item in items:
        price = item_price(item)
        if "length" in item.values:
            length = round(item.values["length"] / MILLIMETRE, 3)
            lengths.append(length)
            if price is not None and (length not in prices or price.amount < prices[length].amount):
                prices[length] = price
        elif price is not None:
            remark = f"listed at {price}, without a length: not counted"
    return (tuple(lengths) or STOCK_LENGTHS[labels.units]), prices, remark


def tube_source(material: str, outer: float, wall: float, labels: Labels, lists: Sequence[Stock]) -> Source:
    """The listed tube of a size [mm], the user's own lists first; without one the size alone, and that it is not listed."""
    profile = f"tube Ø {labels.length(outer)} × {labels.length(wall)}"
    ours = [load_stock(name) for name, words in TUBES.items() if any(word in material for word in words)]
    for group in ([stock for stock in lists if stock.kind == "tubes"], ours):
        found = [
            (stock, item)
            for stock in group
            for item in stock.items
            if {"outer_diameter", "wall"} <= set(item.values)
            and abs(item.values["outer_diameter"] / MILLIMETRE - outer) <= SAME_OUTSIDE
            and abs(item.values["wall"] / MILLIMETRE - wall) <= SAME_WALL
            and alike(material, item)
        ]
        if found:
            stock, item = found[0]
            lengths, prices, remark = _sold([pair for pair in found if pair[0] is stock], labels)
            return Source(profile, f"{item.name} of {stock.name}", lengths, prices, remark)
    return Source(profile, lengths=STOCK_LENGTHS[labels.units], remark="no such tube in the lists: ask, or turn and bore to size")


def liner_source(part: Turned, thick: float, labels: Labels, lists: Sequence[Stock]) -> Source:
    """A listed tube that goes into the bore and is as thick as the liner, of the user's own lists; else the size alone."""
    outside = 2 * part.radius
    for stock in (stock for stock in lists if stock.kind == "tubes"):
        found = [
            (stock, item)
            for item in stock.items
            if {"outer_diameter", "wall"} <= set(item.values)
            and abs(item.values["outer_diameter"] / MILLIMETRE - outside) <= 0.2
            and abs(item.values["wall"] / MILLIMETRE - thick) <= 0.1
            and item.texts.get("material")
            and alike(part.material, item)
        ]
        if found:
            item = found[0][1]
            lengths, prices, remark = _sold(found, labels)
            profile = f"tube Ø {labels.length(item.values['outer_diameter'] / MILLIMETRE)} × {labels.length(thick)}"
            return Source(profile, f"{item.name} of {stock.name}", lengths, prices, remark)
    return Source(f"tube Ø {labels.length(outside)} × {labels.length(thick)}", lengths=STOCK_LENGTHS[labels.units])


def bar_source(part: Turned, labels: Labels, lists: Sequence[Stock]) -> Source:
    """The thinnest listed bar that leaves `CLEAN_UP` over the part's largest diameter, the user's own lists first."""
    needed = 2 * part.radius + CLEAN_UP
    for group in ([stock for stock in lists if stock.kind == "bars"], [load_stock(BARS[labels.units])]):
        found = [
            (item.values["diameter"] / MILLIMETRE, stock, item)
            for stock in group
            for item in stock.items
            if item.values.get("diameter", 0.0) / MILLIMETRE >= needed - 1e-9 and alike(part.material, item)
        ]
        if found:
            across, stock, item = min(found, key=lambda one: one[0])
            same = [(stock, other) for width, one, other in found if one is stock and abs(width - across) < 1e-6]
            lengths, prices, remark = _sold(same, labels)
            name = labels.length(across) if labels.units == "metric" or not stock.name.startswith("bars-") else item.name
            return Source(f"bar Ø {name}", f"{item.name} of {stock.name}", lengths, prices, remark)
    return Source(
        f"bar at least Ø {labels.length(needed)}", lengths=STOCK_LENGTHS[labels.units], remark="wider than any bar listed"
    )
