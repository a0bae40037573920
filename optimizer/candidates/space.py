"""The candidate space: search variables, their spans, and motors for any block of candidates by index.

Owns the mixed-radix index (a candidate is one digit a variable, so a billion candidates need no memory), the meaning
of each search variable in terms of the columns of a batch of motors, and the geometry that is impossible before
anything is computed. May import inputs, shop, vocabulary and physics.

What moves with what. A thicker wall takes its room from the bore with `hold = "outer-diameter"`, and the outer
diameter of the grains moves with the bore, liner and clearance unchanged; with `hold = "bore"` the outside grows
instead. A stock tube brings its own outer diameter. `core_diameter`, `grain_length` and the other short names of a grain
are of all rows of the base motor, which are alike in them; ``grain.1.core_diameter`` is of one row, counted from 0 at the
head end, and `grain_count` of the only row (or of the first, as ``grain.0.count``). `core_diameter_aft` with `aft_count`
opens the last grains of the only row. `grain_length = "neutral"` is (3 D + d)/2. `grain_length = "fill"` shares the
length left in the case as assembled, from plate to nozzle, among the searched number of grains of the first row; where no
number is searched, as many whole grains of the base length as go in are followed by one shorter grain, or, where less
than a quarter of a grain would be left, the whole grains are made longer instead. `expansion_ratio` sets the exit
diameter from the throat.
"""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer import vocabulary
from optimizer.candidates.limits import STACK
from optimizer.candidates.tracing import columns_read
from optimizer.inputs.tables import path_in
from physics.assembly import assemble, at_longest, impossible_shapes
from physics.motors import Motors, Propellant

if TYPE_CHECKING:
    from optimizer.inputs import Study

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]
Digits = Sequence[int] | NDArray[np.int64]

GRAIN_VARIABLES = ("grain_count", "grain_length", "core_diameter", "core_diameter_aft", "aft_count")
PROBED = 500
"""Candidates looked at to find one that burns."""
SHORTEST_PART = 0.25
"""Part of a whole grain below which the rest of a filled case is shared out instead of cast as a shorter grain."""

_SHORTEST_GRAIN = vocabulary.MOTOR_KEYS["grain.length"].low
"""What a motor file may say at least; nothing shorter is cast. [m]"""
_FIRST_ROW = ("grain.0.count", "grain.0.length", "grain.0.core_diameter")
_WRITTEN_LEAVES = ("count", "length", "outer_diameter", "core_diameter", "burning_ends")
_CAPS = ("forward_covered_to", "aft_covered_to")
_ROW_LEAVES = (*_WRITTEN_LEAVES, "forward_bare", *_CAPS)
_CLOSURES = ("forward_closure", "aft_closure")
_TEXT_COLUMNS = {
    "screw": (
        "screws.diameter",
        "screws.pitch",
        "screws.metric",
        "screws.hole_diameter",
        "screws.tensile_strength",
        "screws.socket_across_flats",
    ),
    "grade": ("screws.tensile_strength",),
    "shear_plane": ("screws.threads_in_plane",),
    "ring_material": ("ring_material", "plate_material"),  # the plate is of the ring's where the file names none
    "plate_material": ("plate_material",),
    "retention": ("retention",),
    "dash": ("seal.cross_section", "seal.inner_diameter"),
}
_SHORT = {key: short for short, key in vocabulary.SHORT_KEYS.items()}


@dataclass(frozen=True)
class Variable:
    """One search variable: its items, and the columns of Motors that a change of it can change."""

    name: str
    items: Sequence[Any]
    columns: frozenset[str]
    is_text: bool
    values: Floats

    @property
    def count(self) -> int:
        """Number of items."""
        return len(self.items)

    @property
    def meaning(self) -> str:
        """The short name of what it is, whether the study wrote ``wall`` or ``case.wall``, ``grain.0.length`` or so."""
        plain = self.name.replace("grain.0.", "grain.") if self.first_row_only else self.name
        return _SHORT.get(plain, self.name)

    @property
    def first_row_only(self) -> bool:
        """Whether it is a number that the first row of grains is laid out from, named as of that row alone."""
        return self.name in _FIRST_ROW


@dataclass(frozen=True)
class Candidates:
    """A block of candidates as a batch, and which of them geometry rules out, by reason."""

    motors: Motors
    digits: Integers
    impossible: Mapping[str, NDArray[np.bool_]]

    @property
    def possible(self) -> NDArray[np.bool_]:
        """Those that no reason rules out, (n,)."""
        ruled_out = np.zeros(self.motors.size, dtype=bool)
        for reason in self.impossible.values():
            ruled_out |= reason
        return ~ruled_out


class SpaceError(ValueError):
    """The study asks for something that this base motor cannot give; the text names the key and the cure."""

    def __init__(self, key: str, problem: str, fix: str) -> None:
        self.key, self.problem, self.fix = key, problem, fix
        super().__init__(f"{key}: {problem}; {fix}")


@dataclass
class Space:
    """All candidates of a study, in the order of its variables; the last variable runs fastest."""

    study: Study
    variables: tuple[Variable, ...] = field(init=False)
    radices: tuple[int, ...] = field(init=False)

    def __post_init__(self) -> None:
        self._base: Motors = self.study.motor.motors
        self._variants: dict[tuple[int, ...], Motors] = {}
        self._probes: list[tuple[int | None, Motors]] | None = None
        self._last: tuple[Integers, Motors] | None = None
        self._mode, self._hold = self.study.grain_length_mode, self.study.hold
        self._room_columns = _room_columns(self._base)
        self.variables = tuple(self._variable(name, span) for name, span in self.study.variables.items())
        self.radices = tuple(variable.count for variable in self.variables)
        self._place = {variable.meaning: number for number, variable in enumerate(self.variables)}
        self._text = [number for number, variable in enumerate(self.variables) if variable.is_text]
        self._check()

    @property
    def size(self) -> int:
        """Number of candidates."""
        return math.prod(self.radices)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the variables, in order."""
        return tuple(variable.name for variable in self.variables)

    def digits(self, index: Any) -> Integers:
        """Digits (n, variables) of candidates by index (n,)."""
        return digits_of(index, self.radices)

    def index(self, digits: Integers) -> list[int]:
        """Indices of candidates by digits; Python integers, for a space may hold more than 2⁶³."""
        numbers = [0] * len(digits)
        for column, radix in zip(np.asarray(digits).T.tolist(), self.radices, strict=True):
            numbers = [number * radix + digit for number, digit in zip(numbers, column, strict=True)]
        return numbers

    def described(self, digits: Digits) -> dict[str, Any]:
        """The variables of one candidate as they are reported: SI numbers, or texts where the variable is a choice."""
        said: dict[str, Any] = {}
        for variable, digit in zip(self.variables, digits, strict=True):
            item = variable.items[int(digit)]
            value = item.text if variable.is_text else float(item.si)
            whole = isinstance(value, float) and value.is_integer() and _is_count(variable.name)
            said[variable.name] = int(value) if whole else value
        return said

    def texts(self, digits: Digits) -> dict[str, str]:
        """The variables of one candidate in the words of the study or of the stock list."""
        return {variable.name: str(variable.items[int(digit)].text) for variable, digit in zip(self.variables, digits, strict=True)}

    def candidates(self, digits: Integers) -> Candidates:
        """Motors of the candidates with these digits (n, variables). All share the choices that are texts.

        Raises ValueError where the digits of a text variable differ within the block; see `groups`.
        """
        digits = np.asarray(digits, dtype=np.int64).reshape(len(digits), len(self.variables))
        choices = digits[:1, self._text]
        if (digits[:, self._text] != choices).any():
            raise ValueError("a block shares its choices of material, screw and propellant; split it with `groups`")
        base = self._variant(tuple(choices[0].tolist()) if len(digits) else (0,) * len(self._text))
        return _Build(self, base, digits).candidates()

    def motors_or_none(self, digits: Integers) -> Motors | None:
        """The motors of `candidates`, or None where the reader of motor files refuses these choices together."""
        from optimizer.problems import InputError

        try:
            return self.candidates(digits).motors
        except InputError:
            return None

    def probes(self) -> list[tuple[int | None, Motors]]:
        """Batches of one at a candidate that burns and, one variable at a time, at others: what choices can reach.

        Each with the number of the variable that was changed, None for the first. A text variable is taken through all
        its items, a number to its last (its first, where that is where it stands).
        """
        if self._probes is None:
            start = self._burning()
            rows: list[tuple[int | None, list[int]]] = [(None, start)]
            for number, variable in enumerate(self.variables):
                ends = range(variable.count) if variable.is_text else (variable.count - 1, 0)
                others = [digit for digit in ends if digit != start[number]]
                for digit in others if variable.is_text else others[:1]:
                    rows.append((number, [*start[:number], digit, *start[number + 1 :]]))
            batches = ((number, self.motors_or_none(np.array([row], dtype=np.int64))) for number, row in rows)
            self._probes = [(number, motors) for number, motors in batches if motors is not None]
        return self._probes

    def _burning(self) -> list[int]:
        """Digits of the first candidate, or of the first of a seeded sample, that geometry allows and that burns.

        A candidate that is no motor has no figures: a rung that reads the burn would seem to be assessed nowhere.
        """
        from optimizer.problems import InputError
        from physics.ballistics import kernel

        draw = random.Random(0)
        sample = self.digits([0, *(draw.randrange(self.size) for _ in range(PROBED))])
        allowed: list[int] | None = None
        for block in (sample[:1], *(sample[rows] for rows in self.groups(sample))):
            try:
                found = self.candidates(block)
            except InputError:
                continue
            flags = kernel.evaluate(found.motors).flags
            burns = found.possible & ~np.asarray(flags["extinguished"]) & ~np.asarray(flags["port_choked"])
            if burns.any():
                return [int(digit) for digit in block[burns.argmax()]]
            if allowed is None and found.possible.any():
                allowed = [int(digit) for digit in block[found.possible.argmax()]]
        return allowed or [0] * len(self.variables)

    def groups(self, digits: Integers) -> list[Integers]:
        """Row numbers of `digits`, split so that each part shares its text choices and which grain rows it has.

        A row without grains is left out of a part: the kernels' last digits then are those of the motor as built.
        """
        digits = np.asarray(digits)
        chosen = np.hstack([digits[:, self._text], self._rows_there(digits)])
        parts = _alike(chosen)
        if self._mode == "fill" and "grain_count" not in self._place:
            parts = [part[some] for part in parts for some in self._filled_alike(digits[part])]
        return parts

    def _filled_alike(self, digits: Integers) -> list[Integers]:
        """Row numbers of a block that shares its text choices, split by which have a shorter grain at the end."""
        motors = self.motors_or_none(digits) if len(digits) else None
        if motors is None:
            return [np.arange(len(digits))]
        there = np.atleast_2d(motors.grain.count) > 0
        return _alike(np.broadcast_to(there, (len(digits), there.shape[1])).astype(np.int64))

    def _rows_there(self, digits: Integers) -> Integers:
        """Whether grains are opened, and whether any are not, (n, 2); nothing where the study opens none."""
        if "aft_count" not in self._place:
            return np.zeros((len(digits), 0), dtype=np.int64)
        aft = self._value("aft_count", digits)
        base = float(_by_row(self._base.grain, "count")[0, 0])
        count = self._value("grain_count", digits) if "grain_count" in self._place else np.full(len(digits), base)
        return np.stack([aft > 0, aft < count], axis=1).astype(np.int64)

    def _value(self, meaning: str, digits: Integers) -> Floats:
        number = self._place[meaning]
        return self.variables[number].values[digits[:, number]]

    def changes(self, digits: Digits) -> dict[str, Any]:
        """What a motor file of this candidate changes in the base motor's file: file key to SI number or text.

        Grain rows are numbered from 0: ``grain.0.length``; ``grain.rows`` is the number of rows.
        """
        row = np.asarray(digits, dtype=np.int64).ravel()
        motors = self._single(row)
        changed: dict[str, Any] = {}
        for variable, digit in zip(self.variables, row.tolist(), strict=True):
            if variable.is_text:
                item = variable.items[digit]
                changed[variable.name] = item.extra["document"] if variable.name == "propellant" else item.text
            for column in sorted(variable.columns):
                key = vocabulary.COLUMN_KEYS.get(column)
                if key is None or column.startswith("grain.") or variable.is_text:
                    continue
                leaf = motors.value(column)
                if leaf is not None:
                    changed[key] = float(np.asarray(leaf).ravel()[0])
        return changed

    def grain_rows(self, digits: Digits) -> list[dict[str, float]]:
        """The grain rows of one candidate, head end first, as SI numbers; absent rows are left out."""
        grain = self._single(np.asarray(digits, dtype=np.int64).ravel()).grain
        leaves = {name: np.atleast_2d(np.asarray(getattr(grain, name), dtype=float))[0] for name in _WRITTEN_LEAVES}
        rows = max(len(leaf) for leaf in leaves.values())
        leaves |= {name: np.atleast_2d(getattr(grain, name))[0] for name in _CAPS if getattr(grain, name) is not None}
        leaves = {name: np.broadcast_to(leaf, (rows,)) for name, leaf in leaves.items()}
        told = [{name: float(leaf[row]) for name, leaf in leaves.items()} for row in range(rows) if leaves["count"][row] > 0]
        return [{name: value for name, value in row.items() if not math.isnan(value)} for row in told]

    def _single(self, digits: Integers) -> Motors:
        """One candidate, made once for those who ask of the same in turn."""
        if self._last is None or not np.array_equal(self._last[0], digits):
            self._last = digits.copy(), self.candidates(digits.reshape(1, -1)).motors
        return self._last[1]

    def _variable(self, name: str, span: Any) -> Variable:
        if not span.count:
            raise SpaceError(f"search.{name}", "has no values", "give at least one")
        is_text = span.item(0).si is None
        meaning = _SHORT.get(name.replace("grain.0.", "grain.") if name in _FIRST_ROW else name, name)
        brings_outside = meaning == "wall" and any("outer_diameter" in item.extra for item in span.values)
        columns = frozenset(self._columns(meaning, is_text, brings_outside))
        return Variable(name, span.values, columns, is_text, span.si)

    def _columns(self, name: str, is_text: bool, brings_outside: bool) -> set[str]:
        """The columns that a variable changes, itself and what moves with it."""
        changed = self._own_columns(name, is_text, brings_outside)
        if self._mode == "fill" and (changed & self._room_columns or name == "grain_count"):
            changed |= {"grain.length", "grain.count"}
        if self._mode == "neutral" and changed & {"grain.core_diameter", "grain.outer_diameter"}:
            changed |= {"grain.length"}
        if self.study.case_follows and changed & {"grain.length", "grain.count", *self._room_columns}:
            changed |= {"case.length"}
        return changed

    def _own_columns(self, name: str, is_text: bool, brings_outside: bool) -> set[str]:
        if name == "wall":
            moved = {"case.outer_diameter"} if brings_outside or self._hold == "bore" else set()
            grain = {"grain.outer_diameter"} if brings_outside or self._hold != "bore" else set()
            return {"case.wall"} | moved | grain
        if name in ("outer_diameter", "liner_thickness"):
            return {vocabulary.column_of(name), "grain.outer_diameter"}
        if name in ("core_diameter_aft", "aft_count"):
            return {"grain.count", "grain.core_diameter"}
        if name == "expansion_ratio":
            return {"nozzle.exit_diameter"}
        if name == "throat_diameter":
            follows = "expansion_ratio" in {_SHORT.get(other, other) for other in self.study.variables}
            return {"nozzle.throat_diameter"} | ({"nozzle.exit_diameter"} if follows else set())
        if name == "propellant":
            return {f"propellant.{leaf.name}" for leaf in fields(Propellant)}
        if name in vocabulary.BOTH_ENDS:
            return set(vocabulary.both_ends(name))
        part, _, rest = name.partition(".")
        if part in _CLOSURES and rest in _TEXT_COLUMNS:
            return {f"{part}.{column}" for column in _TEXT_COLUMNS[rest]}
        if is_text:
            return {vocabulary.leaf_of(name)}
        try:
            return {vocabulary.column_of(name if ".seals." in name else _plain(name))}
        except KeyError:
            raise SpaceError(f"search.{name}", "is no key that can be searched", "see the names in the guide") from None

    def _check(self) -> None:
        if self._mode == "fill" and (self._base.case is None or self._base.case.length is None):
            raise SpaceError("search.grain_length", 'is "fill", and the base motor has no case length', "give case.length")
        if "wall" in self._place and self._base.case is None:
            raise SpaceError("search.wall", "the base motor has no [case]", "give one in the motor file")
        if ("core_diameter_aft" in self._place) != ("aft_count" in self._place):
            raise SpaceError("search.core_diameter_aft", "goes with aft_count", "give both: the core and how many grains have it")

    def _variant(self, choice: tuple[int, ...]) -> Motors:
        """The base motor with the text choices made, through the same reader as a motor file."""
        if not self._text:
            return self._base
        if choice not in self._variants:
            document = copy.deepcopy(dict(self.study.motor.document))
            for number, digit in zip(self._text, choice, strict=True):
                variable = self.variables[number]
                set_choice(document, variable.name, variable.items[digit])
            from optimizer import inputs

            self._variants[choice] = inputs.motor_from_document(document, self.study.motor.path).motors
        return self._variants[choice]


def digits_of(index: Any, radices: Sequence[int]) -> Integers:
    """Mixed-radix digits (n, k) of indices (n,), the last radix running fastest.

    >>> digits_of([5, 6], (2, 3, 2)).tolist()
    [[0, 2, 1], [1, 0, 0]]
    """
    rest = np.array(index, dtype=object if math.prod(radices) >= 2**62 else np.int64).ravel()
    columns: list[Any] = []
    for radix in reversed(radices):
        columns.append(rest % radix)
        rest = rest // radix
    if not columns:
        return np.zeros((len(rest), 0), dtype=np.int64)
    return np.stack([np.asarray(column, dtype=np.int64) for column in reversed(columns)], axis=1)


def set_choice(document: dict[str, Any], key: str, item: Any) -> None:
    """Put a choice that is a text into a motor document: a dotted key, or a propellant by its table."""
    if key == "propellant":
        document["propellant"] = copy.deepcopy(dict(item.extra["document"]))
        return
    place: Any = document
    *parts, last = path_in(document, key)
    for part in parts:
        place = place[part] if isinstance(part, int) else place.setdefault(part, {})
    place[last] = item.text


def _alike(rows: Integers) -> list[Integers]:
    """Row numbers, split so that the rows (n, k) of each part are the same."""
    if not rows.shape[1] or not len(rows) or (rows == rows[0]).all():
        return [np.arange(len(rows))]
    _, inverse = np.unique(rows, axis=0, return_inverse=True)
    inverse = inverse.ravel()
    return [np.flatnonzero(inverse == group) for group in range(int(inverse.max()) + 1)]


def _room_columns(motors: Motors) -> frozenset[str]:
    """Columns that decide the length left for the grains."""
    read = columns_read(assemble, motors)
    return frozenset(column for column in read if not column.startswith(("grain.", "nozzle.exit", "nozzle.half")))


def _is_count(name: str) -> bool:
    return name.rpartition(".")[2] in (
        "count",
        "grain_count",
        "aft_count",
        "screw_count",
        "rings",
        "burning_ends",
        "backup_rings",
    )


def _plain(name: str) -> str:
    """`grain.1.core_diameter` without its row."""
    return ".".join(part for part in name.split(".") if not part.isdigit())


class _Build:
    """Columns of one block: made once, used once."""

    def __init__(self, space: Space, base: Motors, digits: Integers) -> None:
        self.space, self.base, self.digits = space, base, digits
        self.size = len(digits)
        self.values: dict[str, Floats] = {
            variable.meaning: variable.values[digits[:, number]]
            for number, variable in enumerate(space.variables)
            if not variable.is_text
        }
        self.impossible: dict[str, NDArray[np.bool_]] = {}
        self.first_row_only = {variable.meaning for variable in space.variables if variable.first_row_only}

    def candidates(self) -> Candidates:
        motors = replace(self.base, size=self.size)
        motors = motors.with_values(self._plain_columns())
        if self.base.case is not None:
            motors = motors.with_values(self._case_columns())
        motors = replace(motors, grain=self._grain(motors))
        motors = motors.with_values(self._nozzle_columns())
        if self.space.study.case_follows:
            motors = motors.with_values({"case.length": self._following_length(motors)})
        self._rule_out(motors)
        return Candidates(motors, self.digits, self.impossible)

    def _plain_columns(self) -> dict[str, Floats]:
        """Variables that fill one column (or the same column of both closures) and move nothing else."""
        handled = {*GRAIN_VARIABLES, "wall", "expansion_ratio"}
        columns: dict[str, Floats] = {}
        for name, values in self.values.items():
            if name in handled or _row_of(name) is not None:
                continue
            if name in vocabulary.BOTH_ENDS:
                deep = "." in vocabulary.BOTH_ENDS[name]
                for column in vocabulary.both_ends(name):
                    if self.base.value(column.rpartition(".")[0] if deep else column) is not None:
                        columns[column] = values
            else:
                columns[vocabulary.column_of(name)] = values
        return columns

    def _case_columns(self) -> dict[str, Floats]:
        """Wall and outer diameter of the tube, by what the study holds or by what the stock tube is."""
        assert self.base.case is not None
        if "wall" not in self.values:
            return {}
        wall, columns = self.values["wall"], {"case.wall": self.values["wall"]}
        number = self.space._place["wall"]
        items = self.space.variables[number].items
        outside = np.array([item.extra.get("outer_diameter", np.nan) for item in items])[self.digits[:, number]]
        if np.isfinite(outside).all():
            columns["case.outer_diameter"] = outside
        elif self.space._hold == "bore":
            columns["case.outer_diameter"] = self.base.case.bore + 2.0 * wall
        return columns

    def _grain(self, motors: Motors) -> Any:
        """The grain rows: the first row as searched, its opened last grains, a shorter grain, then the other rows."""
        rows = self._first_row(motors)
        layers = [rows]
        if "aft_count" in self.values:
            layers = self._opened(rows)
        if self.space._mode == "fill" and "grain_count" not in self.values:
            layers.append(self._shorter(layers[-1]))
        layers = [layer for layer in layers if np.any(np.asarray(layer["count"]) > 0)] or layers[:1]
        leaves = {}
        for name in _leaves_of(motors.grain):
            rest = _by_row(motors.grain, name)[:, 1:]
            if name == "outer_diameter":
                rest = rest + self._moved(motors)[:, None]
            meaning = {"length": "grain_length"}.get(name, name)
            if name in ("length", "core_diameter") and meaning in self.values and meaning not in self.first_row_only:
                rest = np.broadcast_to(self.values[meaning][:, None], (self.size, rest.shape[1]))
            columns = [np.broadcast_to(layer[name], (self.size,))[:, None] for layer in layers]
            leaves[name] = np.hstack([*columns, np.broadcast_to(rest, (self.size, rest.shape[1]))]).copy()
        self._set_rows(leaves, len(layers))
        if self.space._mode == "neutral":
            others = slice(len(layers), None)  # each of the other rows by its own diameters
            leaves["length"][:, others] = _cut(0.5 * (3.0 * leaves["outer_diameter"] + leaves["core_diameter"]))[:, others]
        return replace(motors.grain, **leaves)

    def _moved(self, motors: Motors) -> Floats:
        """How far the room inside the liner, and with it the outer diameter of the grains, has moved. [m]"""
        moved = np.zeros(self.size)
        if motors.case is None or self.base.case is None:
            return moved
        turned = self.space._hold == "bore" and not self._brings_outside()
        # A wall that grows outwards leaves the bore where it was, whatever the last bit says.
        if "outer_diameter" in self.values or ("wall" in self.values and not turned):
            moved = moved + (motors.case.bore - self.base.case.bore)
        if "liner_thickness" in self.values and self.base.liner is not None:
            moved = moved - 2.0 * (self.values["liner_thickness"] - self.base.liner.thickness)
        return moved

    def _brings_outside(self) -> bool:
        number = self.space._place.get("wall")
        return number is not None and any("outer_diameter" in i.extra for i in self.space.variables[number].items)

    def _first_row(self, motors: Motors) -> dict[str, Any]:
        base = motors.grain
        first = {name: _by_row(base, name)[:, 0] for name in _leaves_of(base)}
        first["outer_diameter"] = first["outer_diameter"] + self._moved(motors)
        first["core_diameter"] = self.values.get("core_diameter", first["core_diameter"])
        first["count"] = self.values.get("grain_count", first["count"])
        if "grain_length" in self.values:
            first["length"] = self.values["grain_length"]
        elif self.space._mode == "neutral":
            first["length"] = _cut(0.5 * (3.0 * first["outer_diameter"] + first["core_diameter"]))
        elif self.space._mode == "fill":
            first |= self._filling(motors, first)
        return first

    def _filling(self, motors: Motors, first: Mapping[str, Any]) -> dict[str, Any]:
        share, more = self._longer()
        room = self._room(motors)  # which the grains fill at the longest that their tolerance lets them be

        def drawn(longest: Floats) -> Floats:
            return _cut((longest - more) / share)

        if "grain_count" in self.values:
            return {"length": drawn(room / first["count"])}
        longest = first["length"] * share + more
        whole = np.floor(room / longest * (1.0 + 1e-12))
        rest = drawn(room - whole * longest)
        short = (whole >= 1) & (rest >= SHORTEST_PART * first["length"])
        self._rest = np.where(short, rest, 0.0)
        stretched = drawn(room / np.maximum(whole, 1.0))
        return {"count": np.maximum(whole, 1.0), "length": np.where(short, first["length"], stretched)}

    def _longer(self) -> tuple[float, float]:
        """How much longer than drawn a grain may be: times a share, and by a length [m]."""
        tolerance = self.base.tolerances.get("grain.length")
        if tolerance is None:
            return 1.0, 0.0
        return (1.0 + tolerance.reach[1], 0.0) if tolerance.relative else (1.0, tolerance.reach[1])

    def _room(self, motors: Motors) -> Floats:
        """Length left for the first row between plate and nozzle at the worst corner of the tolerances, the other rows
        taken off. [m]
        """
        placed = assemble(at_longest(motors))
        return placed.left + (placed.grain_end[:, 0] - placed.grain_start[:, 0])

    def _opened(self, row: dict[str, Any]) -> list[dict[str, Any]]:
        """The row split: the last `aft_count` grains with the aft core."""
        aft, core = self.values["aft_count"], self.values["core_diameter_aft"]
        self.impossible["aft_count beyond the grains there are"] = aft > row["count"]
        number = self.space._place["core_diameter_aft"]
        unused = (aft <= 0) & (self.digits[:, number] > 0)
        self.impossible["same motor as another candidate"] = unused | ((aft > 0) & (core == row["core_diameter"]))
        forward = row | {"count": np.maximum(row["count"] - aft, 0.0)}
        return [forward, row | {"count": np.minimum(aft, row["count"]), "core_diameter": core}]

    def _shorter(self, last: Mapping[str, Any]) -> dict[str, Any]:
        short = self._rest > 0.0
        return dict(last) | {"count": short.astype(float), "length": np.where(short, self._rest, last["length"])}

    def _set_rows(self, leaves: dict[str, Floats], first: int) -> None:
        """Variables of one grain row, as in ``grain.1.core_diameter`` (rows counted from 0 at the head end)."""
        for name, values in self.values.items():
            row = _row_of(name)
            if row is not None:
                leaf = vocabulary.column_of(_plain(name)).removeprefix("grain.")
                leaves[leaf][:, 0 if row == 0 else row - 1 + first] = values

    def _nozzle_columns(self) -> dict[str, Floats]:
        if "expansion_ratio" not in self.values:
            return {}
        throat = self.values.get("throat_diameter", self.base.nozzle.throat_diameter)
        return {"nozzle.exit_diameter": throat * np.sqrt(self.values["expansion_ratio"])}

    def _following_length(self, motors: Motors) -> Floats:
        """Case length that keeps the room that the base motor's stack leaves in its case."""
        base = self.space._base
        assert base.case is not None and base.case.length is not None
        return _cut(base.case.length + (assemble(motors).stack - assemble(base).stack))

    def _rule_out(self, motors: Motors) -> None:
        grain, nozzle = motors.grain, motors.nozzle
        there = np.atleast_2d(grain.count) > 0
        core, outside = np.atleast_2d(grain.core_diameter), np.atleast_2d(grain.outer_diameter)
        reasons: dict[str, Any] = {
            "core as wide as the grain": (there & (core >= outside)).any(axis=1),
            "no grain": ~there.any(axis=1),
            "grain without length": (there & ~(np.atleast_2d(grain.length) >= _SHORTEST_GRAIN)).any(axis=1),
            "throat wider than the exit": nozzle.throat_diameter > nozzle.exit_diameter,
        }
        for leaf in _CAPS:
            if (to := getattr(grain, leaf)) is not None:
                end = leaf.partition("_")[0]
                reasons[f"{end} cap opens inside the core"] = (there & (to < core * (1.0 - 1e-9))).any(axis=1)
                reasons[f"{end} cap opens outside the grain"] = (there & (to > outside * (1.0 + 1e-9))).any(axis=1)
        if motors.case is not None:
            bore = np.broadcast_to(motors.case.bore, (self.size,))
            lining = 0.0 if motors.liner is None else 2.0 * motors.liner.thickness
            reasons["wall leaves no bore"] = ~(bore > 0.0)
            clear = bore - lining
            reasons["grain wider than the bore"] = (
                there & (outside > np.broadcast_to(clear, (self.size,))[:, None] * (1.0 + 1e-9))
            ).any(axis=1)
            placed = assemble(motors)
            if not placed.not_assessed:
                reasons[STACK] = ~placed.fits
            elif motors.case.length is not None:
                room = motors.case.length * (1.0 + 1e-9)
                reasons["grains longer than the case"] = _stack(motors) > room
        reasons |= impossible_shapes(motors)
        for reason, which in reasons.items():
            self.impossible[reason] = np.broadcast_to(np.asarray(which, dtype=bool), (self.size,))


def _cut(length: Any) -> Floats:
    """A length cut to ten decimals, so that a motor file says 87 mm and not 87.00000000000001 mm. [m]"""
    return np.asarray(np.floor(np.asarray(length) * 1e10 + 1e-3) / 1e10)


def _leaves_of(grain: Any) -> tuple[str, ...]:
    """The leaves that these grains have: caps where there are any."""
    return tuple(name for name in _ROW_LEAVES if getattr(grain, name) is not None)


def _by_row(grain: Any, name: str) -> Floats:
    """A leaf of the grains with every row in it, (1 or n, rows)."""
    leaf = np.atleast_2d(getattr(grain, name))
    rows = max(np.atleast_2d(getattr(grain, other)).shape[1] for other in _leaves_of(grain))
    return np.broadcast_to(leaf, (leaf.shape[0], rows))


def _row_of(name: str) -> int | None:
    parts = name.split(".")
    return int(parts[1]) if len(parts) > 2 and parts[0] == "grain" and parts[1].isdigit() else None


def _stack(motors: Motors) -> Floats:
    """Length of all grains, (n,). [m]"""
    lengths: Floats = (np.atleast_2d(motors.grain.count) * np.atleast_2d(motors.grain.length)).sum(axis=1)
    return lengths


def columns_of(motors: Motors) -> dict[str, Floats]:
    """Every number of a batch by its dotted column, each with all its rows; absent grain rows are left out."""
    found: dict[str, Floats] = {}
    there = _by_row(motors.grain, "count")[0] > 0

    def walk(part: Any, prefix: str) -> None:
        for item in fields(part):
            leaf = getattr(part, item.name)
            if isinstance(leaf, np.ndarray):
                by_row = np.atleast_2d(leaf) if prefix == "grain." else leaf
                found[prefix + item.name] = np.asarray(by_row[:, there] if prefix == "grain." else by_row).ravel()
            elif is_dataclass(leaf) and type(leaf).__module__ == Motors.__module__:
                walk(leaf, f"{prefix}{item.name}.")

    walk(motors, "")
    return found
