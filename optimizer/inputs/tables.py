"""Reading one table of a file against its specification: quantities, numbers, choices, unknown and missing keys.

Every problem goes to the collector with file, line, key, value and cure; the value is then absent, so that one slip
is told once. Imports the vocabulary, the units and the text of files.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from optimizer.inputs.text import Document, Path_
from optimizer.problems import Problems, nearest, shown_value
from optimizer.units import QuantityError, bare_number_fix, parse_exact, show_dimension, to_float
from optimizer.vocabulary import KeySpec


def dotted(path: Path_) -> str:
    """A path as shown: indexes count from one, as in ``grain[2].length``.

    >>> dotted(("grain", 1, "length"))
    'grain[2].length'
    """
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            name = part if part.isprintable() and " " not in part else shown_value(part, 40)
            text += f".{name[:60]}" if text else name[:60]
    return text


class Table:
    """One table of a document while it is read."""

    def __init__(self, document: Document, path: Path_, data: Any, problems: Problems) -> None:
        self.document, self.path, self.data, self.problems = document, path, data, problems
        self.meant: set[str] = set()
        """Keys that a misspelt one was taken for: it was told, so they are not missing too."""

    def problem(self, key: str | int | Path_ | None, problem: str, fix: str, code: str, value: Any = ...) -> None:
        """Note a problem with a key of this table, or with the table itself where `key` is None."""
        tail = () if key is None else key if isinstance(key, tuple) else (key,)
        path = (*self.path, *tail)
        if value is ...:
            value = self._value_at(tail)
        shown = "" if value is None or (isinstance(value, dict) and not tail) else shown_value(value)
        self.problems.add(self.document.file, self.document.line(path), dotted(path), shown, problem, fix, code)

    def _value_at(self, tail: Path_) -> Any:
        value: Any = self.data
        for part in tail:
            if isinstance(value, Mapping):
                value = value.get(str(part))
            elif isinstance(value, Sequence) and not isinstance(value, str) and isinstance(part, int) and part < len(value):
                value = value[part]
            else:
                return None
        return value

    def refuse_unknown(self, known: Iterable[str], tables: Iterable[str] = (), elsewhere: Mapping[str, str] | None = None) -> None:
        """Note every key that is not in `known`; `elsewhere` tells of keys that belong to another table."""
        names, inner = list(known), list(tables)
        for key, value in self.data.items():
            if key in names or key in inner:
                continue
            is_table = isinstance(value, dict) or (isinstance(value, list) and any(isinstance(v, dict) for v in value))
            code, what = ("E111", "unknown table") if is_table else ("E110", "unknown key")
            # A table is no key that strayed: only its name can be wrong.
            fix, meant = self._unknown_fix(key, names, inner, {} if is_table and nearest(key, inner) else elsewhere or {})
            self.problem(key, what, fix, code)
            if not is_table:
                self.meant.add(meant)

    def _unknown_fix(self, key: str, names: list[str], inner: list[str], elsewhere: Mapping[str, str]) -> tuple[str, str]:
        """How to mend an unknown key, and the key that was meant ("" where that is not known)."""
        near = nearest(key, names + inner)
        if near and (near[0].lower() == key.lower() or key not in elsewhere):
            return f"did you mean {near[0]!r}?", near[0]
        if key in elsewhere:
            return f"{key} belongs under [{elsewhere[key]}]", ""
        listed = ", ".join((names + inner)[:16])
        return (f"keys here: {listed}" if listed else "remove it"), ""

    def missing(self, key: str, fix: str) -> None:
        """Note a required key that is not there."""
        if key in self.meant:
            return
        where = dotted(self.path)
        self.problem(key, f"is missing{f' from [{where}]' if where else ''}", fix, "E112", None)

    def read(self, specs: Iterable[KeySpec]) -> dict[str, Any]:
        """The values of the keys specified, SI; a key left out has its default or is absent."""
        values: dict[str, Any] = {}
        for spec in specs:
            if spec.key in self.data:
                value = read_value(self, spec.key, self.data[spec.key], spec)
            elif spec.required:
                self.missing(spec.key, f"add {spec.key} = {example(spec)}   # {spec.meaning}")
                continue
            else:
                value = default_value(spec)
            if value is not None:
                values[spec.key] = value
        return values


def example(spec: KeySpec) -> str:
    """A value that the key would take, for messages; never a design value."""
    if spec.example:
        return spec.example
    if spec.kind in ("quantity", "quantities"):
        return '"... ' + show_dimension(1.0, spec.dimension).split(" ", 1)[-1] + '"'
    if spec.kind == "choice":
        return f'"{spec.choices[0]}"'
    return {"flag": "false", "whole": "1", "number": "1.0"}.get(spec.kind, '"..."')


def default_value(spec: KeySpec) -> Any:
    """The default of a key in SI, None where it has none."""
    if spec.kind == "quantity" and isinstance(spec.default, str):
        return to_float(parse_exact(spec.default, spec.dimension))
    return spec.default


def read_value(table: Table, key: str | Path_, value: Any, spec: KeySpec) -> Any:
    """One value by its spec, SI; None after a problem was noted."""
    tail: Path_ = key if isinstance(key, tuple) else (key,)
    kind = spec.kind
    if kind == "quantity":
        return read_quantity(table, tail, value, spec)
    if kind == "quantities":
        return _read_quantities(table, tail, value, spec)
    if kind == "number":
        return read_number(table, tail, value, spec)
    if kind == "whole":
        return read_whole(table, tail, value, spec)
    if kind == "flag":
        if isinstance(value, bool):
            return value
        table.problem(tail, "is neither true nor false", f"write {tail[-1]} = true or false, without quotes", "E108")
        return None
    return read_text(table, tail, value, spec)


def read_text(table: Table, key: Path_, value: Any, spec: KeySpec) -> str | None:
    """Text of one line, or one of the choices."""
    if not isinstance(value, str):
        table.problem(key, f"is {type_name(value)}; expected text in quotes", f"write {key[-1]} = {example(spec)}", "E108")
        return None
    if len(value) > 2000 or (spec.kind != "text" and not value.strip()):
        table.problem(key, "is empty" if not value.strip() else "is too long", "write one line of text", "E108")
        return None
    if spec.choices and value not in spec.choices:
        near = nearest(value, spec.choices)
        choices = ", ".join(f'"{item}"' for item in spec.choices)
        fix = f'did you mean "{near[0]}"? choices: {choices}' if near else f"choose one of: {choices}"
        table.problem(key, f"is not a choice for {spec.meaning}", fix, "E113")
        return None
    return value


def type_name(value: Any) -> str:
    """What a TOML value is, with an article."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, (int, float, Decimal)):
        return "a number"
    for kind, name in ((str, "text"), (dict, "a table"), (list, "a list")):
        if isinstance(value, kind):
            return name
    return "a date or time"


def read_exact(table: Table, key: Path_, value: Any, dimension: str) -> Fraction | None:
    """The exact SI value of a quantity; None after a problem was noted."""
    if isinstance(value, bool) or not isinstance(value, (str, int, float, Decimal)):
        fix = f"write {key[-1]} = {example(KeySpec('', 'quantity', '', dimension))}"
        table.problem(key, f"is {type_name(value)}; expected a quantity with its unit, in quotes", fix, "E108")
        return None
    try:
        if isinstance(value, str):
            return parse_exact(value, dimension)
        if not is_finite(value):
            raise QuantityError("E105", "is not a finite number", "write a number and its unit, in quotes")
        if dimension == "ratio":
            return bounded_fraction(value)
        from optimizer.units import DIMENSIONS

        phrase = DIMENSIONS[dimension].phrase
        fix = bare_number_fix(shown_value(value, 24), dimension)
        if not isinstance(key[-1], int):  # an item of a list has no name
            fix = fix.replace("write ", f"write {key[-1]} = ", 1)
        raise QuantityError("E101", f"is a bare number; expected {phrase} with its unit", fix)
    except QuantityError as error:
        table.problem(key, error.problem, error.fix, error.code)
        return None


def is_finite(value: Any) -> bool:
    """Whether a TOML number is one; a whole number may be longer than a float can hold."""
    return isinstance(value, int) or math.isfinite(value)


def bounded_fraction(value: int | float | Decimal) -> Fraction:
    """A finite TOML number as a fraction; one of an absurd exponent is refused before it fills the memory."""
    if isinstance(value, Decimal) and value != 0 and not -400 < value.adjusted() < 400:
        raise QuantityError("E105", "has an exponent beyond reason", "write the number without it")
    if isinstance(value, int) and value.bit_length() > 1400:
        raise QuantityError("E105", "has too many digits", "write a number of ordinary size")
    return Fraction(value)


def read_quantity(table: Table, key: Path_, value: Any, spec: KeySpec) -> float | None:
    """A quantity inside the range of its spec, SI."""
    exact = read_exact(table, key, value, spec.dimension)
    if exact is None:
        return None
    return in_range(table, key, exact, spec)


def _read_quantities(table: Table, key: Path_, value: Any, spec: KeySpec) -> list[float] | None:
    if not isinstance(value, list) or not 1 <= len(value) <= 16:
        table.problem(
            key,
            f"is {type_name(value)}; expected a list of one to sixteen",
            f"write {key[-1]} = " + (spec.example or '["...", "..."]'),
            "E108",
        )
        return None
    items = [read_quantity(table, (*key, place), item, spec) for place, item in enumerate(value)]
    return None if any(item is None for item in items) else [item for item in items if item is not None]


def in_range(table: Table, key: Path_, exact: Fraction, spec: KeySpec) -> float | None:
    """The float of an exact value, if it lies in the allowed range; the refusal shows it in both unit systems."""
    try:
        value = to_float(exact)
    except QuantityError as error:
        table.problem(key, error.problem, error.fix, error.code)
        return None
    low_ok = value > spec.low if spec.open_low else value >= spec.low
    high_ok = value < spec.high if spec.open_high else value <= spec.high
    if low_ok and high_ok:
        return value
    table.problem(key, *_out_of_range(value, spec))
    return None


def _out_of_range(value: float, spec: KeySpec) -> tuple[str, str, str]:
    allowed = allowed_text(spec)
    article = spec.meaning
    if spec.dimension != "temperature" and value < 0 <= spec.low:
        return f"is negative; {article} cannot be", f"allowed: {allowed}", "E106"
    if spec.dimension != "temperature" and value == 0 and spec.low > 0:
        return f"is zero; {article} must be more than that", f"allowed: {allowed}", "E106"
    if spec.dimension in ("ratio", "angle"):
        extra = _EXTRA.get(spec.key, "")
        return f"is out of range for the {article}{extra}", f"allowed: {allowed}", "E106"
    in_both = both_systems(value, spec.dimension)
    slip = _slip(value, spec)
    return f"is {in_both}, an unlikely size for the {article}", f"allowed: {allowed}{slip}", "E107"


_EXTRA: Mapping[str, str] = {
    "exponent": " (at 1 or more the pressure runs away)",
    "gamma": " (a gas has more than 1)",
    "half_angle": " (it is half the angle of the cone)",
}


def _slip(value: float, spec: KeySpec) -> str:
    for power in (1, 2, 3, -1, -2, -3):
        if spec.dimension != "temperature" and spec.low <= value / 10.0**power <= spec.high:
            if power in (1, 2, -1, -2):
                return "; a slipped decimal point?"
            return "; a wrong unit?"
    return "; a wrong unit?"


def both_systems(value: float, dimension: str) -> str:
    """A value in both unit systems: ``129.5 mm (5.1 in)``."""
    metric, imperial = show_dimension(value, dimension), show_dimension(value, dimension, "imperial")
    return metric if metric == imperial else f"{metric} ({imperial})"


def allowed_text(spec: KeySpec) -> str:
    """The allowed range of a key in both unit systems."""
    if spec.kind == "whole":
        return f"{spec.low:.0f} to {spec.high:.0f}"
    words = ("more than " if spec.open_low else "", "less than " if spec.open_high else "")
    ranges = []
    for system in ("metric", "imperial"):
        low, high = (show_dimension(bound, spec.dimension, system) for bound in (spec.low, spec.high))
        ranges.append(f"{words[0]}{low} to {words[1]}{high}")
    return ranges[0] if ranges[0] == ranges[1] else f"{ranges[0]} ({ranges[1]})"


def read_number(table: Table, key: Path_, value: Any, spec: KeySpec) -> float | None:
    """A pure number: bare, or with %."""
    if isinstance(value, str) and "%" not in value:
        try:
            exact = parse_exact(value, "ratio")
        except QuantityError as error:
            fix = f"write {key[-1]} = {example(spec)}, without quotes" if error.code in ("E102", "E103") else error.fix
            table.problem(key, error.problem, fix, error.code)
            return None
        return in_range(table, key, exact, spec)  # pragma: no cover - a bare number in quotes is refused above
    exact_number = read_exact(table, key, value, "ratio")
    return None if exact_number is None else in_range(table, key, exact_number, spec)


def read_whole(table: Table, key: Path_, value: Any, spec: KeySpec) -> int | None:
    """A whole number inside the range of its spec."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        fix = f"write {key[-1]} = {example(spec)}, without quotes"
        table.problem(key, f"is {type_name(value)}; expected a whole number", fix, "E108")
        return None
    if not is_finite(value):
        table.problem(key, "is not a finite number", f"allowed: whole numbers, {allowed_text(spec)}", "E105")
        return None
    if isinstance(value, float | Decimal) and abs(float(value)) < 1e15 and value != int(value):
        table.problem(key, "is not a whole number", f"allowed: whole numbers, {allowed_text(spec)}", "E109")
        return None
    size: Any = abs(value)
    number = int(value) if size < 10**15 else 10**15 * (-1 if str(value).startswith("-") else 1)
    if not spec.low <= number <= spec.high:
        what = "is beyond reason" if number > spec.high else "is negative" if number < 0 else "is too few"
        table.problem(key, f"{what} for the {spec.meaning}", f"allowed: {allowed_text(spec)}", "E106")
        return None
    return number


def sub_table(table: Table, key: str) -> Table | None:
    """An inner table, None where it is absent or not a table (which is noted)."""
    if key not in table.data:
        return None
    value = table.data[key]
    if not isinstance(value, dict):
        head = f"[[{key}]]" if isinstance(value, list) else f"[{key}]"
        table.problem(
            key,
            f"is {type_name(value)}; expected one table",
            f"write it as [{dotted((*table.path, key))}], not {head}",
            "E108",
        )
        return None
    return Table(table.document, (*table.path, key), value, table.problems)


def sub_tables(table: Table, key: str, most: int) -> list[Table]:
    """An array of inner tables; a single one is taken for an array of one."""
    value = table.data.get(key, [])
    if isinstance(value, dict):
        return [Table(table.document, (*table.path, key), value, table.problems)]
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        name = dotted((*table.path, key))
        table.problem(key, f"is {type_name(value)}; expected tables", f"write each as [[{name}]]", "E108")
        return []
    if len(value) > most:
        table.problem(key, f"has {len(value)} tables; the most is {most}", "join equal ones with count", "E155", None)
        return []
    return [Table(table.document, (*table.path, key, place), item, table.problems) for place, item in enumerate(value)]


def path_in(data: Mapping[str, Any], key: str) -> Path_:
    """Where a dotted key of a motor file stands in its data: a row of seals by its number, counted from 0 at the gas.

    What is said of the one seal of a part is, in a file that lists them, of the first.

    >>> path_in({"nozzle": {"seals": [{}, {}]}}, "nozzle.seals.1.gap"), path_in({"nozzle": {"seals": [{}]}}, "nozzle.seal.gap")
    (('nozzle', 'seals', 1, 'gap'), ('nozzle', 'seals', 0, 'gap'))
    """
    path: list[str | int] = []
    place: Any = data
    for name in key.split("."):
        steps: list[str | int] = [name]
        if isinstance(place, Mapping) and name == "seal" and "seals" in place:
            steps = ["seals", 0]
        elif path[-1:] == ["seals"] and name.isdigit():
            steps = [int(name)]
        for step in steps:
            if isinstance(place, Mapping) and isinstance(step, int):
                continue  # one table stands for a list of one
            path.append(step)
            listed = isinstance(place, list) and isinstance(step, int) and step < len(place)
            place = place[step] if listed else place.get(step) if isinstance(place, Mapping) else None
    return tuple(path)


_SIGNS = {
    "study": (("search", "objectives"), "run: grainwright search {file}"),
    "firing": (("record", "observed"), "run: grainwright reduce {file}, or grainwright explain {file}"),
    "motor": (("grain", "nozzle"), "run: grainwright check {file}"),
    "propellant": (("rate",), 'a motor names it: [propellant] with use = "{file}"'),
    "test": (("kind", "outcome"), "run: grainwright vouch MOTOR {file}"),
}
"""Tables that only one kind of file has, and what that kind is for."""


def check_schema(table: Table, what: str) -> None:
    """Refuse a file of another layout version; InputError at once for a file of another kind, not one for each key."""
    signs = {kind: set(names) & set(table.data) for kind, (names, _) in _SIGNS.items()}
    kind = next((kind for kind, seen in signs.items() if seen), what)
    if kind != what and not signs[what] and not (what == "propellant" and "propellant" in table.data):
        file = table.document.file
        table.problem(None, f"is a {kind} file; expected a {what} file", _SIGNS[kind][1].format(file=file), "E116")
        table.problems.stop_if_any(file)
    value = table.data.get("schema")
    if value is None:
        table.missing("schema", f"add schema = 1 as the first line of the {what} file")
    elif value != 1 or isinstance(value, bool):
        table.problem("schema", "is not a version that this release reads", "this release reads schema = 1", "E114")
