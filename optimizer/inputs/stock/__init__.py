"""Shop stock: lists of tubes, drills, reamers, screws and O-rings as CSV, ours and the user's own.

A list has lines with `# ` that say where its sizes come from, a header, and one item a row. The first column is the
item's name; the others are dimensions, with the unit in the header (``wall [in]``) or in each cell (``0.125 in``). A list of
the user's own may have a price of one piece as sold, in any currency, in the header (``price [EUR]``) or in the cell.

Imports the units and the reading of files.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

from optimizer.inputs.reading import decode, read_bytes
from optimizer.problems import InputError, Problem, Problems, nearest, plain_file, shown_value
from optimizer.units import QuantityError, parse_quantity, split_quantity

MOST_ITEMS = 20_000
LARGEST_SIZE = 20.0
"""No dimension of a stock item is larger than this. [m]"""
COLUMNS = (
    "diameter",
    "outer_diameter",
    "wall",
    "inner_diameter",
    "cross_section",
    "pitch",
    "length",
    "thickness",
    "clearance_hole",
)
TEXT_COLUMNS = ("note", "supplier", "material", "price")


@dataclass(frozen=True)
class StockItem:
    """One item: `values` in SI and the same as quantities in `texts`, by column."""

    name: str
    values: Mapping[str, float]
    texts: Mapping[str, str]


@dataclass(frozen=True)
class Stock:
    """A stock list: `columns` are its dimensions, `source` what the head of the file says of where they come from."""

    name: str
    path: Path
    columns: tuple[str, ...]
    items: tuple[StockItem, ...]
    source: str
    digest: str

    @property
    def kind(self) -> str:
        """What it lists, by its dimensions: "tubes", "rings", "screws", "bars" or "rounds"; of bars where its name says so."""
        if {"outer_diameter", "wall"} <= set(self.columns):
            return "tubes"
        if "cross_section" in self.columns:
            return "rings"
        if "pitch" in self.columns:
            return "screws"
        return "bars" if re.search(r"(?:^|[-_ ])(?:bar|rod|round)s?(?:[-_ ]|$)", self.name.lower()) else "rounds"


def packaged_names() -> list[str]:
    """Names of the stock lists that come with the tool."""
    folder = resources.files("optimizer.inputs.stock")
    return sorted(item.name.removesuffix(".csv") for item in folder.iterdir() if item.name.endswith(".csv"))


def stock_names(folder: str | Path | None = None) -> list[str]:
    """Names of the lists that `load_stock` finds from a folder: the user's own first."""
    own = [path.stem for place in _own_folders(folder) for path in sorted(place.glob("*.csv"))]
    return list(dict.fromkeys([*own, *packaged_names()]))


def kept_names(folder: str | Path | None = None) -> list[str]:
    """The names of `stock_names` less those of other CSV files that lie beside the study."""
    own = [] if folder is None else [path.stem for path in sorted((Path(folder) / "stock").glob("*.csv"))]
    return list(dict.fromkeys([*own, *packaged_names()]))


def _own_folders(folder: str | Path | None) -> list[Path]:
    return [] if folder is None else [place for place in (Path(folder) / "stock", Path(folder)) if place.is_dir()]


def load_stock(name: str, folder: str | Path | None = None) -> Stock:
    """The stock list NAME: FOLDER/stock/NAME.csv, else FOLDER/NAME.csv, else the one that comes with the tool.

    Raises KeyError with the nearest names where there is none, InputError where a list cannot be read.
    """
    if re.fullmatch(r"[\w][\w. +-]{0,80}", name):
        for place in _own_folders(folder):
            if (place / f"{name}.csv").is_file():
                return read_stock(place / f"{name}.csv")
        if name in packaged_names():
            return _packaged(name)
    names = stock_names(folder)
    near = nearest(name, names, 3)
    guess = f"did you mean {' or '.join(map(repr, near))}? " if near else ""
    listed = ", ".join(kept_names(folder)[:20])
    raise KeyError(f"{guess}lists: {listed}; your own: stock/NAME.csv beside the study")


@lru_cache(maxsize=32)
def _packaged(name: str) -> Stock:
    with resources.as_file(resources.files("optimizer.inputs.stock") / f"{name}.csv") as path:
        return read_stock(path)


def read_stock(path: str | Path) -> Stock:
    """A stock list from a CSV file; InputError with every problem found."""
    content = read_bytes(path, what="a stock list (CSV)")
    text = decode(content, path)
    problems = Problems()
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    source = " ".join(line.lstrip("# ").strip() for _, line in lines if _is_comment(line))
    rows = _rows([(number, line) for number, line in lines if not _is_comment(line)], path)
    if len(rows) < 2:
        raise InputError([Problem(plain_file(path), 1, "", "", "has no items", "a header and one item a row", "E125")])
    if len(rows) > MOST_ITEMS:
        raise InputError([Problem(plain_file(path), 1, "", "", f"has {len(rows)} rows", f"at most {MOST_ITEMS}", "E155")])
    header = _header(rows[0], path, problems)
    problems.stop_if_any(plain_file(path))
    items = [item for row in rows[1:] if (item := _item(row, header, path, problems)) is not None]
    _refuse_twice(items, rows, path, problems)
    problems.stop_if_any(plain_file(path))
    columns = tuple(column for column, _ in header[1:] if column not in TEXT_COLUMNS)
    return Stock(Path(path).stem, Path(path), columns, tuple(items), source, hashlib.sha256(content).hexdigest())


def _is_comment(line: str) -> bool:
    """A `#` and a space: a screw of a number size begins with a `#` too."""
    return line.strip() == "#" or line.startswith(("# ", "#\t"))


def _rows(lines: Iterable[tuple[int, str]], path: str | Path) -> list[tuple[int, list[str]]]:
    rows = []
    for number, line in lines:
        try:
            cells = next(csv.reader([line], strict=True))
        except (csv.Error, StopIteration) as error:
            found = Problem(plain_file(path), number, "", shown_value(line), f"is not CSV: {error}", "commas between cells", "E125")
            raise InputError([found]) from None
        rows.append((number, [cell.strip() for cell in cells]))
    return rows


def _header(row: tuple[int, list[str]], path: str | Path, problems: Problems) -> list[tuple[str, str]]:
    """Column names with their units, "" where the cells have the unit."""
    line, cells = row
    header: list[tuple[str, str]] = []
    for place, cell in enumerate(cells):
        found = re.fullmatch(r"([a-z_]+)(?:\s*\[([^\]]+)\])?", cell)
        name = found[1] if found else cell
        if place == 0:
            header.append((name, ""))
            continue
        if name not in COLUMNS and name not in TEXT_COLUMNS:
            near = nearest(name, COLUMNS)
            fix = f"did you mean {near[0]!r}?" if near else f"columns: {', '.join((*COLUMNS, *TEXT_COLUMNS))}"
            problems.add(plain_file(path), line, f"column {place + 1}", shown_value(cell), "unknown column", fix, "E125")
        header.append((name, (found[2] or "") if found else ""))
    names = [name for name, _ in header]
    if len(set(names)) < len(names) or not any(name in COLUMNS for name in names[1:]):
        fix = "a name and one dimension or more, as in name,diameter [mm]"
        problems.add(
            plain_file(path),
            line,
            "header",
            shown_value(",".join(cells)),
            "names no dimension, or one twice",
            fix,
            "E125",
        )
    return header


def _item(row: tuple[int, list[str]], header: list[tuple[str, str]], path: str | Path, problems: Problems) -> StockItem | None:
    line, cells = row
    if len(cells) != len(header) or not cells[0]:
        fix = f"{len(header)} cells, the first a name: {', '.join(name for name, _ in header)}"
        problems.add(plain_file(path), line, "row", shown_value(",".join(cells)), f"has {len(cells)} cells", fix, "E125")
        return None
    values: dict[str, float] = {}
    texts: dict[str, str] = {}
    for cell, (column, unit) in zip(cells[1:], header[1:], strict=True):
        if column == "price" and cell:
            texts[column] = _priced(cell, unit)
            if price_of(texts[column]) is None:
                problems.add(plain_file(path), line, column, shown_value(cell), "is not a price", _PRICE, "E102")
                return None
            continue
        if column in TEXT_COLUMNS or not cell:
            texts[column] = cell
            continue
        try:
            text = f"{cell} {unit}" if unit and not split_quantity(cell)[1] else cell
            value = parse_quantity(text, "length")
            if not 0.0 < value <= LARGEST_SIZE:
                raise QuantityError("E106", "is not a size", f"more than zero, at most {LARGEST_SIZE:g} m")
        except QuantityError as error:
            problems.add(plain_file(path), line, column, shown_value(cell), error.problem, error.fix, error.code)
            return None
        values[column], texts[column] = value, text
    if "wall" in values and 2 * values["wall"] >= values.get("outer_diameter", float("inf")):
        problems.add(
            plain_file(path),
            line,
            "wall",
            shown_value(texts["wall"]),
            "fills the tube",
            "less than half the diameter",
            "E135",
        )
        return None
    return StockItem(cells[0], values, texts)


@dataclass(frozen=True)
class Price:
    """What one piece costs; the currency as it was written, before or behind the amount."""

    amount: float
    before: str = ""
    behind: str = ""

    @property
    def currency(self) -> str:
        """The currency as written."""
        return self.before or self.behind

    def times(self, count: float) -> Price:
        """The same of so many pieces."""
        return Price(self.amount * count, self.before, self.behind)

    def __str__(self) -> str:
        return f"{self.before}{self.amount:.2f} {self.behind}".strip()


_PRICE = 'an amount with a point and its currency, as in "12.50 EUR"'


def price_of(text: str) -> Price | None:
    """A price as written in a cell; None where it is none. No currency is known or converted here.

    >>> str(price_of("12.5 EUR")), str(price_of("£4")), price_of("dear"), price_of("-2 EUR")
    ('12.50 EUR', '£4.00', None, None)
    """
    found = re.fullmatch(r"([^\d\s.,+-]*)\s*(\d{1,9}(?:\.\d{1,4})?)\s*([^\d\s.,+-]*)", text.strip())
    if found is None or (found[1] and found[3]):
        return None
    return Price(float(found[2]), found[1], found[3])


def _priced(cell: str, currency: str) -> str:
    return f"{cell} {currency}" if currency and re.fullmatch(r"[\d.,]+", cell) else cell


def _refuse_twice(items: list[StockItem], rows: list[tuple[int, list[str]]], path: str | Path, problems: Problems) -> None:
    seen: set[str] = set()
    lines = {cells[0]: line for line, cells in rows[1:] if cells}
    for item in items:
        if item.name in seen:
            problems.add(plain_file(path), lines[item.name], "name", shown_value(item.name), "is given twice", "keep one", "E125")
        seen.add(item.name)
