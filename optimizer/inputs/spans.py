"""The spans of a search: lists, ranges and stock, each value by its index.

A range keeps the decimals of the text as integers, so that its items are exact and a long one needs no memory.
Imports the tables, the shop and the vocabulary.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from optimizer.inputs.stock import Stock, load_stock
from optimizer.inputs.tables import (
    Table,
    allowed_text,
    in_range,
    read_exact,
    read_value,
    type_name,
)
from optimizer.problems import InputError, nearest, shown_value
from optimizer.units import QuantityError, parse_quantity, plain_decimal, split_quantity, to_float, unit
from optimizer.vocabulary import MOTOR_KEYS, KeySpec

MOST_VALUES = 1_000_000
RANGE_KEYS = ("from", "to", "step")
STOCK_KEYS = ("stock", "from", "to")
TOOLED = ("core_diameter", "core_diameter_aft", "throat_diameter", "grain.core_diameter", "nozzle.throat_diameter")
"""Variables that are cut with a tool of a size, as a study may write them."""
FINE = 200
"""Steps at least of a range that gives none."""
SAME = 1e-4
"""Two diameters nearer than this are one size of tube: a rounding of inches to millimetres. [m]"""


@dataclass(frozen=True)
class SpanValue:
    """One value of a span: its `text` as a motor file has it, its value in `si` (None for a name).

    `extra` holds what comes with it: the stock item's other dimensions, or a propellant with its file.
    """

    text: str
    si: float | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)


class RangeValues(Sequence[SpanValue]):
    """The values of {from, to, step}, worked out by index from integers."""

    def __init__(self, start: Decimal, step: Decimal, count: int, unit_text: str) -> None:
        self.places = max(0, -int(start.as_tuple().exponent), -int(step.as_tuple().exponent))
        self.start, self.step = int(start.scaleb(self.places)), int(step.scaleb(self.places))
        self.size, self.unit_text = count, unit_text

    def __len__(self) -> int:
        return self.size

    def decimal(self, index: int) -> Decimal:
        """The number at an index, in the unit of the range."""
        return Decimal(self.start + self.step * index).scaleb(-self.places)

    def si(self, index: int) -> float:
        """The value at an index in SI, rounded once from the exact number."""
        exact = Fraction(self.start + self.step * index, 10**self.places)
        if self.unit_text:
            target = unit(self.unit_text)
            exact = exact * target.factor + target.offset
        return to_float(exact)

    @overload
    def __getitem__(self, index: int) -> SpanValue: ...
    @overload
    def __getitem__(self, index: slice) -> list[SpanValue]: ...
    def __getitem__(self, index: int | slice) -> SpanValue | list[SpanValue]:
        if isinstance(index, slice):
            return [self[place] for place in range(*index.indices(self.size))]
        place = index + self.size if index < 0 else index
        if not 0 <= place < self.size:
            raise IndexError(index)
        number = plain_decimal(self.decimal(place))
        return SpanValue(f"{number} {self.unit_text}".strip(), self.si(place))

    def __iter__(self) -> Iterator[SpanValue]:
        return (self[place] for place in range(self.size))


@dataclass(frozen=True)
class Span:
    """What a search variable may be.

    `name` is as in the study, `key` the motor file's key it stands for (the name itself where it stands for more than
    one) and `column` the column of Motors, empty where it is none or more than one. `kind` is "list", "range" or
    "stock"; `dimension` is "" for names.
    """

    name: str
    kind: str
    values: Sequence[SpanValue]
    key: str = ""
    column: str = ""
    dimension: str = ""
    whole: bool = False
    stock: str = ""

    @property
    def count(self) -> int:
        """How many values there are."""
        return len(self.values)

    def item(self, index: int) -> SpanValue:
        """The value at an index."""
        return self.values[index]

    @cached_property
    def si(self) -> NDArray[np.float64]:
        """All values in SI, (count,); NaN where a value is a name."""
        if isinstance(self.values, RangeValues):
            return np.fromiter((self.values.si(place) for place in range(self.count)), float, self.count)
        return np.array([math.nan if value.si is None else value.si for value in self.values])


class SpanReader:
    """Reads the spans of one [search] table."""

    def __init__(self, table: Table, folder: Path) -> None:
        self.table, self.folder = table, folder
        self.stock_used: dict[str, Stock] = {}
        self.cautions: list[str] = []

    def numeric(self, path: tuple[str | int, ...], value: Any, spec: KeySpec, stock_column: str) -> list[Any] | None:
        """[kind, values, stock name] of a span of numbers or quantities; None after a problem was noted."""
        if isinstance(value, list):
            values = self._list(path, value, spec)
            return None if values is None else ["list", values, ""]
        if not isinstance(value, dict):
            one = self._list(path, [value], spec, single=True)
            return None if one is None else ["list", one, ""]
        if "stock" in value:
            found = self._stock(path, value, spec, stock_column)
            return None if found is None else ["stock", found[0], found[1]]
        found_range = self._range(path, value, spec)
        return None if found_range is None else ["range", found_range, ""]

    def _problem(self, path: tuple[str | int, ...], problem: str, fix: str, code: str, value: Any = ...) -> None:
        self.table.problem(path, problem, fix, code, value)

    def _list(
        self, path: tuple[str | int, ...], values: list[Any], spec: KeySpec, single: bool = False
    ) -> tuple[SpanValue, ...] | None:
        if not values:
            self._problem(path, "is an empty list", "give one value or more", "E156")
            return None
        if len(values) > MOST_VALUES:  # pragma: no cover - the size of the file ends before
            self._problem(path, f"has {len(values)} values", f"at most {MOST_VALUES}", "E155", None)
            return None
        found: list[SpanValue] = []
        for place, value in enumerate(values):
            where = path if single else (*path, place)
            read = read_value(self.table, where, value, spec)
            if read is None:
                return None
            text = value.strip() if isinstance(value, str) else shown_value(value)
            found.append(SpanValue(text, float(read)))
        numbers = [value.si for value in found]
        if len(set(numbers)) < len(numbers):
            twice = next(number for number in numbers if numbers.count(number) > 1)
            place = [place for place, number in enumerate(numbers) if number == twice][1]
            self._problem((*path, place), "is given twice", "keep one", "E115")
            return None
        return tuple(found)

    def _range(self, path: tuple[str | int, ...], value: Mapping[str, Any], spec: KeySpec) -> RangeValues | None:
        for key in value:
            if key not in RANGE_KEYS:
                near = nearest(str(key), (*RANGE_KEYS, "stock"))
                fix = f"did you mean {near[0]!r}?" if near else 'write {from = ..., to = ..., step = ...} or {stock = "NAME"}'
                self._problem((*path, key), "unknown key of a span", fix, "E110")
                return None
        missing = [key for key in ("from", "to") if key not in value]
        if missing:
            self._problem(path, f"has no {missing[0]!r}", f"add {missing[0]} = ... to the range", "E112", value)
            return None
        numbers = {key: self._decimal((*path, key), value[key], spec) for key in RANGE_KEYS if key in value}
        if any(number is None for number in numbers.values()):
            return None
        parts = {key: number for key, number in numbers.items() if number is not None}
        units = {text for _, text in parts.values()}
        if len(units) > 1:
            first = parts["from"][1]
            self._problem(path, "mixes units", f"write from, to and step all in {first}", "E153", value)
            return None
        plain = {key: number for key, (number, _) in parts.items()}
        if "step" not in plain:
            plain["step"] = Decimal(1) if spec.kind == "whole" else self._fine_step(path, plain["from"], plain["to"], units)
        return self._stepped(path, value, spec, plain, units.pop())

    def _fine_step(self, path: tuple[str | int, ...], start: Decimal, stop: Decimal, units: set[str]) -> Decimal:
        """The step of a range that is meant to be continuous: the longest power of ten with `FINE` steps or more that
        divides it. Values stay whole numbers of steps, so that a design is the same text wherever it is written.
        """
        span = abs(stop - start)
        step = Decimal(1).scaleb(min(0, int(start.normalize().as_tuple().exponent), int(stop.normalize().as_tuple().exponent)))
        while 0 < span < FINE * step:
            step = step.scaleb(-1)
        text, name = f"{plain_decimal(step)} {next(iter(units))}".strip(), ".".join(str(part) for part in path)
        tools = "; the nearest sizes of tools stand beside each design" if name in TOOLED else ""
        if span:
            self.cautions.append(f"{name} has no step: it is searched as continuous, in steps of {text}{tools}")
        return step

    def _stepped(
        self,
        path: tuple[str | int, ...],
        value: Mapping[str, Any],
        spec: KeySpec,
        number: dict[str, Decimal],
        unit_text: str,
    ) -> RangeValues | None:
        start, stop, step = number["from"], number["to"], number["step"]
        if step <= 0:
            self._problem((*path, "step"), "is zero or negative; the range would never end", "a step above zero", "E154")
            return None
        if stop < start:
            self._problem((*path, "to"), "is below from", "exchange the two", "E157")
            return None
        steps = Fraction(stop - start) / Fraction(step)
        whole = steps.numerator // steps.denominator
        if whole + 1 > MOST_VALUES:
            self._problem(
                path,
                f"has {whole + 1 if whole < 10**12 else 'over 1e12'} values; the most is {MOST_VALUES}",
                "a longer step or a shorter range",
                "E155",
                value,
            )
            return None
        if steps.denominator != 1:
            near = [plain_decimal(start + step * place) for place in (whole, whole + 1)]
            shown = [f'"{text} {unit_text}"' if unit_text else text for text in near]
            self._problem(
                (*path, "to"),
                "is not a whole number of steps from the start",
                f"to = {shown[0]} or to = {shown[1]}",
                "E153",
            )
            return None
        return RangeValues(start, step, whole + 1, unit_text)

    def _decimal(self, path: tuple[str | int, ...], value: Any, spec: KeySpec) -> tuple[Decimal, str] | None:
        """A bound or step as the decimal of the text and its unit; bounds are checked against the key's range."""
        step = path[-1] == "step"
        if spec.kind in ("whole", "number") and not isinstance(value, str):
            return self._bare(path, value, spec, step)
        dimension = "temperature difference" if step and spec.dimension == "temperature" else spec.dimension
        exact = read_exact(self.table, path, value, dimension)
        if exact is None or (not step and in_range(self.table, path, exact, spec) is None):
            return None
        return split_quantity(value)

    def _bare(self, path: tuple[str | int, ...], value: Any, spec: KeySpec, step: bool) -> tuple[Decimal, str] | None:
        checked = spec if not step else KeySpec(spec.key, spec.kind, "step", "ratio", -1e9, 1e9, example="1")
        if read_value(self.table, path, value, checked) is None:
            return None
        return Decimal(value), ""

    def stock_list(self, path: tuple[str | int, ...], value: Mapping[str, Any]) -> Stock | None:
        """The list that a span names; None after a problem was noted."""
        for key in value:
            if key not in STOCK_KEYS:
                near = nearest(str(key), STOCK_KEYS)
                fix = f"did you mean {near[0]!r}?" if near else 'write {stock = "NAME"}, with from and to if wanted'
                self._problem((*path, key), "unknown key of a stock span", fix, "E110")
                return None
        name = value["stock"]
        if not isinstance(name, str):
            self._problem((*path, "stock"), f"is {type_name(name)}; expected the name of a list", 'write stock = "NAME"', "E108")
            return None
        try:
            stock = load_stock(name, self.folder)
        except KeyError as error:
            self._problem((*path, "stock"), "is not a stock list that is known here", str(error.args[0]), "E123")
            return None
        except InputError as error:
            for item in error.problems:
                self.table.problems.add(item.file, item.line, item.key, item.value, item.problem, item.fix, item.code)
            return None
        self.stock_used[name] = stock
        return stock

    def _stock(
        self, path: tuple[str | int, ...], value: Mapping[str, Any], spec: KeySpec, column: str
    ) -> tuple[tuple[SpanValue, ...], str] | None:
        stock = self.stock_list(path, value)
        if stock is None:
            return None
        if spec.dimension != "length" or column not in stock.columns:
            what = f"a list of {stock.kind} has no {column}" if spec.dimension == "length" else "no list holds such a value"
            self._problem(
                (*path, "stock"),
                f"does not suit the {spec.meaning}: {what}",
                f"columns of it: {', '.join(stock.columns)}",
                "E123",
            )
            return None
        bounds: dict[str, float] = {}
        for key in ("from", "to"):
            if key in value:
                exact = read_exact(self.table, (*path, key), value[key], spec.dimension)
                if exact is None:
                    return None
                bounds[key] = to_float(exact)
        low, high = max(spec.low, bounds.get("from", spec.low)), min(spec.high, bounds.get("to", spec.high))
        if low > high:
            self._problem((*path, "to"), "leaves nothing of the list", f"allowed: {allowed_text(spec)}", "E157")
            return None
        items = [item for item in stock.items if column in item.values and low <= item.values[column] <= high]
        if not items:
            self._problem(path, "leaves nothing of the list", f"the list has {_ends(stock, column)}", "E156", value)
            return None
        if stock.kind != "tubes":  # a letter drill may have the size of a fractional one
            items = list({item.values[column]: item for item in reversed(items)}.values())[::-1]
        values = [_from_item(item.name, item.texts, item.values, column) for item in items]
        return tuple(values), stock.name


def _ends(stock: Stock, column: str) -> str:
    sizes = sorted((item.values[column], item.texts[column]) for item in stock.items if column in item.values)
    return f"{sizes[0][1]} to {sizes[-1][1]}" if sizes else "no such size"


def _from_item(name: str, texts: Mapping[str, str], values: Mapping[str, float], column: str) -> SpanValue:
    extra: dict[str, Any] = {"item": name}
    extra.update({key: value for key, value in values.items() if key != column})
    extra["texts"] = {key: text for key, text in texts.items() if key != column}
    return SpanValue(_as_named(name, values[column]) or texts[column], values[column], extra)


def _as_named(name: str, value: float) -> str:
    """The item's name where it is its size, as a drill of 23/32 in is named; empty where it is not."""
    try:
        return name if "/" in name and parse_quantity(name, "length") == value else ""
    except QuantityError:
        return ""


def parse_bound(table: Table, path: tuple[str | int, ...], value: Any, dimension: str) -> float | None:
    """A bound of a limit in SI; a bare number where the dimension is a ratio."""
    exact = read_exact(table, path, value, dimension)
    if exact is None:
        return None
    try:
        return to_float(exact)
    except QuantityError as error:
        table.problem(path, error.problem, error.fix, error.code)
        return None


PARTS = tuple(dict.fromkeys(key.split(".")[0] for key in MOTOR_KEYS if "." in key))
"""Tables of a motor file that hold keys of their own."""


def flat(data: Mapping[str, Any], prefix: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Any]]:
    """Dotted names with their spans, in order: a table without a span's keys is a part of a dotted name."""
    items: list[tuple[tuple[str, ...], Any]] = []
    for key, value in data.items():
        part = isinstance(value, dict) and not set(value) & {"from", "to", "step", "stock"} and bool(value)
        if part and (key in PARTS if not prefix else key in ("seal", "seals", "forward_face", "aft_face") or key.isdigit()):
            items += flat(value, (*prefix, key))
        else:
            items.append(((*prefix, key), value))
    return items
