"""The knobs of a motor file, forward to aft: what may be turned, through which sizes, and the document that a turn makes.

Owns which keys are knobs, their order, the sizes they step through, and how typed text becomes a value of the document.
A motor turned is read by the reader of motor files, so that a knob refuses what a file would refuse, in the same words.
Imports inputs, the stock lists, units and the vocabulary.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from optimizer.inputs import InputError, MotorFile
from optimizer.inputs.stock import Stock, kept_names, load_stock
from optimizer.inputs.tables import dotted
from optimizer.units import QuantityError, parse_quantity, split_quantity, to_si
from optimizer.vocabulary import MOTOR_KEYS, KeySpec, spoken
from physics.failure.threads import screw_sizes
from physics.materials import material, names

Path_ = tuple[str | int, ...]

SAME = 1e-9
"""Relative difference up to which two sizes are one."""


@dataclass(frozen=True)
class Step:
    """A value that a knob stops at: as the file has it, in SI (its place in the list for a choice), and what it is."""

    text: str
    value: float
    name: str = ""


@dataclass(frozen=True)
class Stride:
    """The step of a knob that no list bounds: whole multiples of `size` in `unit`, "" for a pure number."""

    size: float
    unit: str = ""


@dataclass(frozen=True)
class Knob:
    """One key of the motor that may be turned.

    `name` is the dotted key, rows of grains counted from 0; `path` where it lies in the document. `kind` is "quantity",
    "number", "whole" or "choice". `first` says that it stands in the open, not among the further keys of its part.
    """

    name: str
    path: Path_
    part: str
    label: str
    kind: str
    spec: KeySpec
    text: str
    value: float
    first: bool
    steps: tuple[Step, ...] = ()
    stride: Stride | None = None
    source: str = ""

    @property
    def key(self) -> str:
        """The key as the vocabulary has it, without the number of a row."""
        return ".".join(str(part) for part in self.path if not isinstance(part, int))

    def near(self, direction: int, value: float | None = None, count: int = 1) -> str | None:
        """The text `count` steps up or down from a value (the knob's own where left out); None at the end of the list."""
        at = self.value if value is None else value
        if self.stride is not None:
            return self._strides(direction, at, count)
        slack = SAME * max(abs(at), 1e-12)
        ahead = [step for step in self.steps if direction * (step.value - at) > slack]
        if direction < 0:
            ahead.reverse()
        return ahead[min(count, len(ahead)) - 1].text if ahead else None

    def _strides(self, direction: int, value: float, count: int) -> str | None:
        assert self.stride is not None
        size, unit_text = self.stride.size, self.stride.unit
        scale = float(to_si(1.0, unit_text)) - float(to_si(0.0, unit_text)) if unit_text else 1.0
        zero = float(to_si(0.0, unit_text)) if unit_text else 0.0
        at = (value - zero) / scale / size
        place = (math.floor(at + 1e-6) + count) if direction > 0 else (math.ceil(at - 1e-6) - count)
        found = float(f"{place * size:.9g}")
        si = found * scale + zero
        if not self.spec.low - 1e-12 <= si <= self.spec.high * (1 + 1e-12) or (self.spec.open_low and si <= self.spec.low):
            return None
        return f"{found:g} {unit_text}".strip()


PARTS = ("forward_closure", "case", "liner", "grain", "aft_closure", "nozzle", "ambient")
"""Tables whose keys are knobs, as the motor is built, forward to aft; the day it is fired on comes last."""

FIRST_KEYS: Mapping[str, tuple[str, ...]] = {
    "closure": ("screw", "count", "edge_distance", "plate_thickness", "engagement", "groove_depth", "weld_leg",
                "seal.dash", "seal.cross_section", "seal.gland_depth", "seal.hardness"),
    "case": ("outer_diameter", "wall", "length", "material"),
    "liner": ("thickness", "material"),
    "grain": ("count", "length", "outer_diameter", "core_diameter"),
    "nozzle": ("throat_diameter", "exit_diameter"),
    "ambient": ("temperature",),
}  # fmt: skip
"""Keys that stand in the open; the others of a part are folded away below them."""

NO_KNOB = ("retention", "mass", "name", "source", "soak", "screw_kind", "heat_affected_end", "snap_ring_shear_strength")
CUT = ("core_diameter", "throat_diameter", "hole_diameter", "seat_diameter")
"""Keys that a drill or a reamer makes."""
MATERIAL_KIND = {"case": "metal", "liner": "liner", "nozzle": "nozzle", "seal": "seal"}


def knobs_of(file: MotorFile) -> list[Knob]:
    """Every knob of a motor file, forward to aft."""
    shelf = Shelf(file.path.parent)
    found = []
    for path, value in _leaves(file.document):
        knob = _knob(path, value, file, shelf)
        if knob is not None:
            found.append(knob)
    places = {knob.name: place for place, knob in enumerate(found)}
    return sorted(found, key=lambda knob: (PARTS.index(str(knob.path[0])), _row(knob), places[knob.name]))


def _row(knob: Knob) -> int:
    return next((part for part in knob.path if isinstance(part, int)), 0)


def _leaves(document: Mapping[str, Any]) -> Iterator[tuple[Path_, Any]]:
    """The values of the tables that hold knobs, each with its path, in the order of the file."""
    waiting: list[tuple[Path_, Any]] = [((name,), document[name]) for name in PARTS if name in document]
    while waiting:
        path, value = waiting.pop(0)
        if isinstance(value, dict):
            waiting = [((*path, key), item) for key, item in value.items()] + waiting
        elif isinstance(value, list) and all(isinstance(item, dict) for item in value):
            waiting = [((*path, row), item) for row, item in enumerate(value)] + waiting
        elif not isinstance(value, list):
            yield path, value


def _knob(path: Path_, value: Any, file: MotorFile, shelf: Shelf) -> Knob | None:
    key = ".".join(str(part) for part in path if not isinstance(part, int))
    spec = MOTOR_KEYS.get(key)
    if spec is None or spec.key in NO_KNOB or isinstance(value, bool):
        return None
    part = _part_name(path, file.document)
    family = "closure" if str(path[0]).endswith("closure") else str(path[0])
    short = key.split(".", 1)[1]
    ring = path[path.index("seals") + 1] if "seals" in path else 0
    number = f"seal {ring + 1}" if isinstance(ring, int) else "seal"
    knob = Knob(
        name=".".join(str(step) for step in path),
        path=path,
        part=part,
        label=spoken(short).replace("seals", number),
        kind="choice",
        spec=spec,
        text=str(value) if not isinstance(value, float) else f"{value:.12g}",
        value=0.0,
        first=short.replace("seals.", "seal.") in FIRST_KEYS[family],
    )
    try:
        if spec.kind == "quantity":
            return _sized(replace(knob, kind="quantity", value=_si(value, spec)), file, shelf)
        if spec.kind == "whole":
            return replace(knob, kind="whole", value=float(value), stride=Stride(1.0))
        if spec.kind == "number":
            return _numbered(replace(knob, kind="number", value=_si(value, spec)))
    except (QuantityError, TypeError, ValueError):  # pragma: no cover - the reader has taken the value before
        return None
    return _chosen(knob, shelf)


def _part_name(path: Path_, document: Mapping[str, Any]) -> str:
    rows = document.get("grain")
    if path[0] == "grain":
        many = isinstance(rows, list) and len(rows) > 1
        return f"grains, row {int(path[1]) + 1}" if many and isinstance(path[1], int) else "grains"
    return "the day" if path[0] == "ambient" else spoken(str(path[0]))


def _si(value: Any, spec: KeySpec) -> float:
    return parse_quantity(value, spec.dimension) if isinstance(value, str) else float(value)


# --- what a knob steps through --------------------------------------------------------------------------------------------


class Shelf:
    """The stock lists that a motor's folder knows: the builder's own, and those that come with the tool."""

    def __init__(self, folder: Path) -> None:
        self.lists: list[Stock] = []
        for name in kept_names(folder):
            try:
                self.lists.append(load_stock(name, folder))
            except InputError:  # a list of the builder's that cannot be read is told where a study names it
                continue

    def rounds(self, imperial: bool) -> list[Step]:
        """Drills and reamers of one system, with the builder's own lists of rounds."""
        found: dict[float, Step] = {}
        for stock in self.lists:
            ours = stock.name.endswith(("-metric", "-imperial"))
            if stock.kind != "rounds" or (ours and stock.name.endswith("-imperial") != imperial):
                continue
            tool = next((word for word in ("drill", "reamer") if word in stock.name), stock.name)
            for item in stock.items:
                if "diameter" in item.values:
                    size = item.values["diameter"]
                    place = round(size, 9)
                    names = [found[place].name] if place in found else []
                    label = tool if item.name == item.texts["diameter"].split(" ")[0] else f"{tool} {item.name}"
                    text = found[place].text if place in found else plain_text(item.texts["diameter"])
                    found[place] = Step(text, size, ", ".join(dict.fromkeys([*names, label])))
        return [found[place] for place in sorted(found)]

    def tubes(self) -> list[tuple[float, str, float, str, str]]:
        """Tubes as outside and wall, each in SI and as text, and the list they are from."""
        return [
            (item.values["outer_diameter"], plain_text(item.texts["outer_diameter"]),
             item.values["wall"], plain_text(item.texts["wall"]), stock.name)
            for stock in self.lists if stock.kind == "tubes"
            for item in stock.items if {"outer_diameter", "wall"} <= set(item.values)
        ]  # fmt: skip

    def walls(self, outer: float) -> list[Step]:
        """The walls that tubes of this outside come with."""
        found = {
            round(wall, 8): Step(text, wall, f"tube {outside.strip()} x {text}, {name}")
            for size, outside, wall, text, name in self.tubes()
            if abs(size - outer) <= 2e-5
        }
        return [found[place] for place in sorted(found)]

    def outsides(self) -> list[Step]:
        """The outsides that tubes come in."""
        found = {round(size, 8): Step(text, size, name) for size, text, _, _, name in self.tubes()}
        return [found[place] for place in sorted(found)]

    def rings(self) -> list[tuple[str, float, float, str]]:
        """O-rings as name, inner diameter, cross section and its text."""
        return [
            (item.name, item.values["inner_diameter"], item.values["cross_section"], plain_text(item.texts["cross_section"]))
            for stock in self.lists if stock.kind == "rings" for item in stock.items
            if {"inner_diameter", "cross_section"} <= set(item.values)
        ]  # fmt: skip


def plain_text(text: str) -> str:
    """A quantity without the zeros that end its number: "0.7500 in" is "0.75 in".

    >>> plain_text("0.7500 in"), plain_text("16 mm"), plain_text("3/4 in")
    ('0.75 in', '16 mm', '3/4 in')
    """
    number, _, rest = text.partition(" ")
    if "." in number and "e" not in number.lower():
        number = number.rstrip("0").rstrip(".")
    return f"{number} {rest}".strip()


def _sized(knob: Knob, file: MotorFile, shelf: Shelf) -> Knob:
    """A knob of a quantity with its sizes: of a list where one makes or holds such parts, else in round steps."""
    last, unit_text = knob.spec.key, split_quantity(knob.text)[1]
    imperial = knob.spec.dimension == "length" and unit_text in INCHES
    if last in CUT and knob.value > 0.0:
        return replace(knob, steps=tuple(shelf.rounds(imperial)), source="drills and reamers")
    if knob.name == "case.outer_diameter":
        return replace(knob, steps=tuple(shelf.outsides()), source="stock tubes")
    if knob.name == "case.wall":
        walls = shelf.walls(_si(file.document["case"]["outer_diameter"], MOTOR_KEYS["case.outer_diameter"]))
        if walls:
            return replace(knob, steps=tuple(walls), source="stock tubes of this outside")
    if last == "cross_section":
        sizes = {round(section, 8): Step(text, section) for _, _, section, text in shelf.rings()}
        return replace(knob, steps=tuple(sizes[place] for place in sorted(sizes)), source="AS568 cross sections")
    return replace(knob, stride=_stride(knob.value, knob.spec.dimension, unit_text, last.startswith("gland")))


INCHES = ("in", "ft", "thou", "mil")
_STRIDES = ((3e-4, 0.01, 0.001), (1.5e-3, 0.05, 0.002), (0.06, 0.5, 0.03125), (0.2, 1.0, 0.0625), (math.inf, 5.0, 0.25))
"""Up to which length [m] a step is how many millimetres or inches."""


def _stride(value: float, dimension: str, unit_text: str, fine: bool = False) -> Stride:
    """A round step for a quantity: what a lathe, a rule or a thermometer would be set by."""
    if dimension == "length":
        size = 1e-3 if fine else value
        millimetres, inches = next((mm, inch) for most, mm, inch in _STRIDES if size <= most)
        return Stride(inches, "in") if unit_text in INCHES else Stride(millimetres, "mm")
    if dimension == "temperature":
        return Stride(5.0, unit_text)
    if dimension == "angle":
        return Stride(1.0, "deg")
    one = float(to_si(1.0, unit_text)) if unit_text else 1.0
    power = 10.0 ** math.floor(math.log10(abs(value / one) or 1.0))
    return Stride(float(f"{0.1 * power:.3g}"), unit_text)


def _numbered(knob: Knob) -> Knob:
    if knob.spec.key == "hardness":
        return replace(knob, steps=tuple(Step(f"{n}", float(n)) for n in (50, 60, 70, 75, 80, 90)), source="Shore A")
    return replace(knob, stride=Stride(0.01))


def _chosen(knob: Knob, shelf: Shelf) -> Knob | None:
    """A knob that steps through names, in an order that means something: size, strength."""
    spec, part = knob.spec, str(knob.path[0])
    if spec.kind == "screw":
        sizes = screw_sizes()
        own = next((size for size in sizes if size.designation == knob.text), None)
        if own is None:
            return None
        same = sorted((size for size in sizes if size.metric == own.metric), key=lambda size: (size.diameter, -size.pitch))
        return _listed(knob, [(size.designation, "") for size in same], "screws")
    if spec.kind == "grade":
        grades = sorted(names("screw"), key=lambda name: material(name, "screw").tensile_strength or 0.0)
        return _listed(knob, [(name, "") for name in grades], "grades by strength")
    if spec.kind == "material":
        kind = MATERIAL_KIND.get(str(knob.path[-2]), "metal") if spec.key == "material" else "metal"
        return _listed(knob, [(name, "") for name in names(kind)], f"{kind} materials" if kind != "metal" else "metals")
    if spec.key == "dash":
        rings = shelf.rings()
        section = next((round(section, 8) for name, _, section, _ in rings if name == knob.text), None)
        same_section = sorted((inner, name) for name, inner, found, _ in rings if round(found, 8) == section)
        return _listed(knob, [(name, f"{1000 * inner:.4g} mm inside") for inner, name in same_section], "AS568 rings")
    if spec.choices and part:
        return _listed(knob, [(choice, "") for choice in spec.choices], "")
    return None


def _listed(knob: Knob, found: Sequence[tuple[str, str]], source: str) -> Knob | None:
    known = [name for name, _ in found]
    if len(known) < 2 or knob.text not in known:
        return None
    steps = tuple(Step(name, float(place), said) for place, (name, said) in enumerate(found))
    return replace(knob, steps=steps, value=float(known.index(knob.text)), source=source)


# --- from what is typed to a document --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Turned:
    """A document with some knobs turned; `texts` has every value that differs from the file's, derived ones too."""

    document: dict[str, Any]
    texts: Mapping[str, str]
    derived: tuple[str, ...] = ()


def turned(file: MotorFile, knobs: Sequence[Knob], values: Mapping[str, str], follow: bool = True) -> Turned:
    """The file's document with knobs at other values.

    Parameters
    ----------
    values : mapping
        Name of a knob to text as typed.
    follow : bool
        Whether the grains' outside follows the room in the case, the clearance kept, where neither was typed.

    Raises
    ------
    KeyError
        For a name that is no knob.
    """
    known = {knob.name: knob for knob in knobs}
    texts: dict[str, str] = {}
    for name, text in values.items():
        if name not in known:
            raise KeyError(name)
        if text.strip() != known[name].text:
            texts[name] = text.strip()
    derived: tuple[str, ...] = ()
    if follow:
        more = _following(file, known, texts)
        texts |= more
        derived = tuple(more)
    document = copy.deepcopy(file.document)
    for name, text in texts.items():
        put(document, known[name].path, typed(known[name], text))
    return Turned(document, texts, derived)


def put(document: Any, path: Path_, value: Any) -> None:
    """Set one value of a document that has it."""
    for part in path[:-1]:
        document = document[part]
    document[path[-1]] = value


def typed(knob: Knob, text: str) -> Any:
    """What the file would have for a text: a number where the key takes one, else the text for the reader to judge."""
    if knob.kind in ("whole", "number"):
        for kind in (int, float):
            try:
                number = kind(text)
            except ValueError:
                continue
            return number if math.isfinite(number) else text
    return text


ROOM = ("case.outer_diameter", "case.wall", "liner.thickness")


def _following(file: MotorFile, known: Mapping[str, Knob], texts: Mapping[str, str]) -> dict[str, str]:
    """New outsides of the grains where the room in the case has moved; none where a size cannot be read yet."""
    if not any(name in texts for name in ROOM) or "case.outer_diameter" not in known or "case.wall" not in known:
        return {}
    sizes = {}
    for name in ROOM:
        knob = known.get(name)
        if knob is not None:
            try:
                sizes[name] = (knob.value, parse_quantity(texts.get(name, knob.text), "length"))
            except QuantityError:
                return {}
    wider = [sizes["case.outer_diameter"][now] - 2 * sizes["case.wall"][now] for now in (0, 1)]
    if "liner.thickness" in sizes:
        wider = [room - 2 * liner for room, liner in zip(wider, sizes["liner.thickness"], strict=True)]
    if abs(wider[1] - wider[0]) <= SAME:
        return {}
    return {
        name: _rounded_down(knob.value + wider[1] - wider[0], knob.text)
        for name, knob in known.items()
        if knob.path[0] == "grain" and knob.spec.key == "outer_diameter" and name not in texts
    }


def _rounded_down(value: float, like: str) -> str:
    """A length in the unit of another, to what a lathe holds, never larger."""
    unit_text = split_quantity(like)[1]
    one = float(to_si(1.0, unit_text))
    digits = max(0, round(math.log10(one / 1e-5)))
    place = 10.0**digits
    return f"{math.floor(value / one * place + 1e-6) / place:.{digits}f}".rstrip("0").rstrip(".") + f" {unit_text}"


def key_shown(knob: Knob) -> str:
    """The knob's key as messages of the reader have it."""
    return dotted(knob.path)


def si_of(knob: Knob, text: str) -> float | None:
    """The value of a text for a knob: SI, or its place in the list of a choice; None where it is not one."""
    if knob.kind == "choice":
        return next((step.value for step in knob.steps if step.text == text), None)
    try:
        value = typed(knob, text)
        return _si(value, knob.spec) if knob.kind != "whole" else float(value)
    except (QuantityError, TypeError, ValueError):
        return None
