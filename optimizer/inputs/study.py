"""Study files: what to search, within which limits, for which objectives, by which driver.

Imports the spans, the motor files, the tables and the vocabulary.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from optimizer.inputs.aims import Limit, Objective, fewest_samples, read_limits, read_objectives
from optimizer.inputs.motor import MotorFile, load_motor, load_propellant
from optimizer.inputs.spans import SAME, Span, SpanReader, SpanValue, flat
from optimizer.inputs.stock import kept_names, load_stock
from optimizer.inputs.tables import Table, check_schema, read_text, read_value, sub_table
from optimizer.inputs.text import Path_, read_document
from optimizer.problems import InputError, Problems, nearest, plain_file
from optimizer.units import show
from optimizer.vocabulary import (
    BOTH_ENDS,
    CHANCE,
    COLUMN_KEYS,
    MOST_SAMPLES,
    MOTOR_KEYS,
    SEAL_ROW_KEYS,
    SHORT_KEYS,
    UNITS_KEY,
    KeySpec,
    both_ends,
    key_spec,
    leaf_of,
)
from physics.designation import CLASSES, class_range

SECTIONS = ("target", "search", "limits", "objectives", "driver")
METHODS = ("auto", "exhaustive", "evolve")
KERNELS = ("auto", "steady", "transient")
HOLDS = ("outer-diameter", "bore")
GRAIN_LEAVES = ("count", "length", "outer_diameter", "core_diameter", "burning_ends", "forward_covered_to", "aft_covered_to")
NAME_KINDS = ("screw", "grade", "material")
SAMPLES = 256
"""Samples of the tolerances for each design, where a study asks for percentiles and does not say how many."""


def _whole(key: str, meaning: str, low: int, high: int, default: int) -> KeySpec:
    return KeySpec(key, "whole", meaning, "ratio", low, high, default=default, example=str(default))


STUDY_KEYS: dict[str, tuple[KeySpec, ...]] = {
    "": (
        KeySpec("schema", "whole", "version of the file's layout", "ratio", 1, 1, True, example="1"),
        KeySpec("name", "text", "name of the study"),
        KeySpec("motor", "text", "the motor file that everything not searched comes from", required=True),
        UNITS_KEY,
    ),
    "target": (
        KeySpec("impulse_class", "choice", "class of total impulse, at most its upper end", choices=tuple(CLASSES)),
        KeySpec("impulse", "quantities", "total impulse, least and most", "impulse", 0.01, 1e7),
    ),
    "search": (KeySpec("hold", "choice", "what stays put when the wall changes", choices=HOLDS, default=HOLDS[0]),),
    "limits": (
        KeySpec("maximum_pressure", "quantity", "the most that the maximum expected pressure may be", "pressure", 1e3, 3e8),
        KeySpec("minimum_factor", "text", 'required factors by mode, as in {"screw shear" = 2.0}'),
        KeySpec("FIGURE", "text", "any figure of `list figures`: {min = ..., max = ..., percentile = ...}"),
    ),
    "objectives": (
        KeySpec("FIGURE", "choice", "any figure of `list figures`: which way is better", choices=("min", "max")),
        KeySpec("factor", "text", 'the factor of one mode, as in {"screw shear" = "max"}'),
    ),
    "driver": (
        KeySpec("method", "choice", "how the space is gone through", choices=METHODS, default="auto"),
        KeySpec("kernel", "choice", "how a motor is burnt; auto confirms with the transient one", choices=KERNELS, default="auto"),
        KeySpec("store", "text", "a file in the results folder, or a PostgreSQL URL that machines share", default="local"),
        _whole("seed", "seed", 0, 2**32 - 1, 1),
        _whole("budget", "number of evaluations", 1, 10**9, 20000),
        _whole("samples", "samples of the tolerances", 16, MOST_SAMPLES, SAMPLES),
        _whole("workers", "processes that search side by side; 0: all cores", 0, 1024, 0),
        KeySpec("cluster", "text", "a Dask scheduler whose workers compute the blocks, tcp://HOST:PORT; it runs what it is sent"),
    ),
}
"""The keys of a study by table; under [search] stand the names of variables, too."""


_SCHEDULER = re.compile(r"(tcp|tls)://[^\s/@]+:\d{1,5}")


@dataclass(frozen=True)
class Driver:
    """How the search runs; `samples` are drawn of the tolerances for each percentile and chance; `workers`
    processes search side by side, 0 for as many as there are cores; the workers of a scheduler at `cluster` take the
    blocks in their place where it is given.
    """

    method: str = "auto"
    seed: int = 1
    budget: int = 20000
    kernel: str = "auto"
    store: str = "local"
    samples: int = SAMPLES
    workers: int = 0
    cluster: str = ""


@dataclass(frozen=True)
class Study:
    """A study as read; every number is SI.

    `target` is a range of total impulse, its low end left out where `target_open` (an impulse class).
    `case_follows` says that the case grows and shrinks with the grains. `variables` are in the order of the file.
    `grain_length_mode` is "given", "fill", "neutral" or "span".
    `cautions` say what was read in a way the user may not expect. `digest` covers every file read. `units` are
    those that the study, or else its motor, asks for in its output.
    """

    path: Path
    name: str
    motor: MotorFile
    variables: dict[str, Span]
    limits: list[Limit]
    minimum_factor: dict[str, float]
    objectives: list[Objective]
    driver: Driver
    target: tuple[float, float] | None = None
    target_open: bool = False
    impulse_class: str = ""
    grain_length_mode: str = "given"
    hold: str = "outer-diameter"
    case_follows: bool = False
    units: str = ""
    digest: str = ""
    sources: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()
    document: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def size(self) -> int:
        """Number of candidates in the space."""
        return math.prod(span.count for span in self.variables.values())


def load_study(path: str | Path) -> Study:
    """Read a study and every file it names; InputError with every problem found."""
    document = read_document(path, "a study file (TOML)")
    problems = Problems()
    reader = _StudyReader(Table(document, (), document.data, problems))
    study = reader.read()
    problems.stop_if_any(document.file)
    assert study is not None
    return study


class _StudyReader:
    """Reads the tables of one study in order."""

    def __init__(self, root: Table) -> None:
        self.root, self.path = root, root.document.path
        self.folder = self.path.parent
        self.cautions: list[str] = []
        self.sources: list[tuple[str, str]] = [(str(self.path), root.document.digest)]

    def read(self) -> Study | None:
        root = self.root
        check_schema(root, "study")
        root.refuse_unknown([spec.key for spec in STUDY_KEYS[""]], SECTIONS)
        name = read_text(root, ("name",), root.data["name"], KeySpec("name", "text", "name")) if "name" in root.data else None
        self.motor = self._motor()
        units = root.read([UNITS_KEY]).get("units") or (self.motor.units if self.motor is not None else "")
        target = self._target()
        self.hold, self.case_follows = "outer-diameter", False
        variables, mode = self._search()
        limits, factors = read_limits(root)
        objectives = read_objectives(root)
        self._check_scatter(limits, objectives)
        driver = self._driver(limits)
        if root.problems or self.motor is None:
            return None
        digest = hashlib.sha256("".join(item for _, item in self.sources).encode()).hexdigest()
        return Study(
            path=self.path,
            name=name or self.path.stem,
            motor=self.motor,
            variables=variables,
            limits=limits,
            minimum_factor=factors,
            objectives=objectives,
            driver=driver,
            target=target[0],
            target_open=target[1],
            impulse_class=target[2],
            grain_length_mode=mode,
            hold=self.hold,
            case_follows=self.case_follows,
            digest=digest,
            units=units,
            sources=tuple(self.sources),
            cautions=tuple(self.cautions),
            document=dict(root.data),
        )

    def _motor(self) -> MotorFile | None:
        value = self.root.data.get("motor")
        if not isinstance(value, str) or not value.strip():
            if "motor" in self.root.data:
                self.root.problem("motor", "is not the name of a file", 'write motor = "motors/NAME.toml"', "E108")
            else:
                self.root.missing("motor", 'add motor = "motors/NAME.toml", the motor that everything not searched comes from')
            return None
        try:
            motor = load_motor(self.folder / value)
        except InputError as error:
            missing = plain_file(self.folder / value)
            for item in error.problems:
                if item.code in ("E142", "E143") and item.file == missing:
                    self.root.problem("motor", f"{item.problem}: {missing}", item.fix, item.code)
                else:
                    self.root.problems.found.append(item)
            return None
        self.sources += motor.sources
        return motor

    def _target(self) -> tuple[tuple[float, float] | None, bool, str]:
        table = sub_table(self.root, "target")
        if table is None:
            return None, False, ""
        table.refuse_unknown([spec.key for spec in STUDY_KEYS["target"]])
        if "impulse_class" in table.data and "impulse" in table.data:
            table.problem("impulse", "stands beside impulse_class", "keep one of the two", "E115")
            return None, False, ""
        if "impulse_class" in table.data:
            value = table.data["impulse_class"]
            if isinstance(value, str) and value.strip().upper() in CLASSES:
                letter = value.strip().upper()
                return class_range(letter), True, letter
            fix = f"one of: {', '.join(CLASSES)}"
            if isinstance(value, (list, dict)):
                fix = 'one class, as in impulse_class = "K"; for a span write impulse = ["1500 N*s", "2200 N*s"]'
            table.problem("impulse_class", "is not an impulse class", fix, "E113")
        elif "impulse" in table.data:
            return self._impulse(table), False, ""
        else:
            table.problem(None, "is empty", 'write impulse_class = "K" or impulse = ["1500 N*s", "2200 N*s"]', "E112")
        return None, False, ""

    def _impulse(self, table: Table) -> tuple[float, float] | None:
        value = table.data["impulse"]
        if not isinstance(value, list) or len(value) != 2:
            table.problem("impulse", "is not a pair", 'write impulse = ["1500 N*s", "2200 N*s"]', "E108")
            return None
        spec = KeySpec("impulse", "quantity", "total impulse", "impulse", 0.01, 1e7)
        low, high = (read_value(table, ("impulse", place), item, spec) for place, item in enumerate(value))
        if low is None or high is None:
            return None
        if low > high:
            table.problem("impulse", "has its bounds the wrong way round", "write the smaller first", "E157")
            return None
        return (low, high)

    def _search(self) -> tuple[dict[str, Span], str]:
        table = sub_table(self.root, "search")
        if table is None:
            if "search" not in self.root.data:
                self.root.missing(
                    "search",
                    "add a [search] table with what may vary, as in grain_count = {from = 2, to = 6}",
                )
            return {}, "given"
        self.hold = self._choice(table, "hold", HOLDS, "outer-diameter", "what stays put when the wall changes")
        self.spans = SpanReader(table, self.folder)
        variables: dict[str, Span] = {}
        mode = "given"
        for path, value in flat(table.data):
            name = ".".join(path)
            if name == "hold":
                continue
            if name in ("case_length", "case.length") and value == "follow":
                self.case_follows = True
                self._check_case_length(table, path, "follow")
                continue
            if name == "grain_length" and value in ("fill", "neutral"):
                mode = value
                if mode == "fill":
                    self._check_case_length(table, path, "fill")
                continue
            span = self._span(table, path, name, value)
            if span is not None:
                variables[name] = span
                mode = "span" if name == "grain_length" else mode
        self._check_aft(table, variables)
        for name in (*variables, *(("grain_length",) if mode == "neutral" else ())):
            self._check_rows(table, name)
        self._refuse_twins(table, variables, mode)
        if self.case_follows and mode == "fill":
            table.problem("grain_length", "cannot fill a case that follows the grains", "keep one of the two", "E115")
        if not variables and mode == "given" and not self.root.problems:
            table.problem(
                None,
                "varies nothing",
                "name what may vary, as in grain_count = {from = 2, to = 6}",
                "E156",
            )
        self.sources += [(str(stock.path), stock.digest) for stock in self.spans.stock_used.values()]
        self.cautions += self.spans.cautions
        return variables, mode

    def _refuse_twins(self, table: Table, variables: Mapping[str, Span], mode: str) -> None:
        """One thing may vary under one name: what a second one says would go nowhere."""
        taken = {"case.length": "case_length"} if self.case_follows else {}
        taken |= {"grain.length": "grain_length"} if mode in ("fill", "neutral") else {}
        for name, span in variables.items():
            moved = _moved_by(name)
            if (leaf := _all_rows(name)) is not None:
                moved |= {f"grain.{row}.{leaf}" for row in range(1, self._rows())}
            if name in ("wall", "case.wall") and (self.hold == "bore" or span.kind == "stock"):
                moved.add("case.outer_diameter")
            twins = [taken[column] for column in sorted(moved) if column in taken]
            if twins:
                table.problem(name, f"sets what {twins[0]} sets already", "keep one of the two", "E115")
            taken |= dict.fromkeys(moved, name)

    def _rows(self) -> int:
        """Rows of grains of the base motor."""
        return 1 if self.motor is None else max(np.atleast_2d(leaf).shape[1] for leaf in self._grain_leaves().values())

    def _grain_leaves(self) -> dict[str, Any]:
        assert self.motor is not None
        leaves = ((name, getattr(self.motor.motors.grain, name)) for name in GRAIN_LEAVES)
        return {name: np.asarray(leaf) for name, leaf in leaves if leaf is not None}

    def _check_rows(self, table: Table, name: str) -> None:
        """A short name is of all rows of grains alike; where they differ in it, it is not one answer."""
        rows, leaf = self._rows(), {"core_diameter_aft": "core_diameter", "aft_count": "count"}.get(name) or _all_rows(name)
        if leaf is None or rows < 2 or leaf not in self._grain_leaves():
            return
        values = np.broadcast_to(np.atleast_2d(self._grain_leaves()[leaf])[0], (rows,))
        alone = name in ("core_diameter_aft", "aft_count") or leaf == "count"  # of one row whatever the others are
        if not alone and (values == values[0]).all():
            return
        whole = leaf in ("count", "burning_ends")
        told = ", ".join(f"{value:g}" if whole else show(float(value), leaf, "metric") for value in values)
        why = f"is of {rows} rows of grains ({told})" if alone else f"is not one answer: the rows of grains differ in it ({told})"
        long = ", ".join(f"grain.{row}.{_key_of(leaf)}" for row in range(rows) if not np.isnan(values[row]))
        fix = f"name the row, counted from 0 at the head end: {long}"
        if name == "grain_length" and isinstance(table.data.get(name), str):
            fix = "make the rows one, or give their lengths"
        table.problem(tuple(name.split(".")), why, fix, "E159")

    def _check_case_length(self, table: Table, path: tuple[str, ...], what: str) -> None:
        if self.motor and (self.motor.motors.case is None or self.motor.motors.case.length is None):
            problem = f"cannot {what}: the base motor gives no case.length"
            table.problem(path, problem, "give case.length in the motor file", "E159")

    def _check_aft(self, table: Table, variables: Mapping[str, Span]) -> None:
        pair = ("core_diameter_aft", "aft_count")
        for name, other in (pair, pair[::-1]):
            if name in variables and other not in table.data:
                table.problem(name, f"goes with {other}", "give both: the core, and how many of the last grains have it", "E159")

    def _span(self, table: Table, path: tuple[str, ...], name: str, value: Any) -> Span | None:
        if name == "propellant":
            return self._propellants(table, path, value)
        spec, key = variable_spec(name)
        if spec is None:
            known = variable_names()
            near = nearest(name, known)
            fix = f"did you mean {near[0]!r}?" if near else f"variables: {', '.join(known[:12])}, or a dotted key of the motor file"
            table.problem(path, "is not something that can vary", fix, "E150", value)
            return None
        if not self._has_part(table, path, name, key, spec):
            return None
        if spec.column == "grain.burning_ends" and self.motor and self.motor.motors.grain.caps:
            fix = 'vary "forward_covered_to" or "aft_covered_to", or tell the faces of the base motor as bare or inhibited'
            table.problem(path, "is told by the faces where a cap covers one of them in part", fix, "E159")
            return None
        if spec.kind in NAME_KINDS:
            return self._names(table, path, name, key, spec, value)
        column = (
            "wall" if key in ("case.wall", "liner.thickness") else "outer_diameter" if key == "case.outer_diameter" else "diameter"
        )
        found = self.spans.numeric(path, value, spec, column)
        if found is None:
            return None
        kind, values, stock = found
        if key == "case.wall" and kind == "stock":
            chosen = self._tubes(table, path, value, values)
            if chosen is None:
                return None
            values = chosen
        return Span(name, kind, values, key, spec.column, spec.dimension, spec.kind == "whole", stock)

    def _has_part(self, table: Table, path: tuple[str, ...], name: str, key: str, spec: KeySpec) -> bool:
        """Whether the base motor has the part that a variable belongs to."""
        if self.motor is None:
            return True
        if name in BOTH_ENDS:
            owners = [column.rpartition(".")[0] for column in both_ends(name)]
        else:
            inside = ".screws" if spec.kind in ("screw", "grade") else ""
            owners = [spec.column.rpartition(".")[0] if spec.column else leaf_of(key).rpartition(".")[0] + inside]
        if spec.column.endswith("_covered_to"):
            return self._has_cap(table, path, name, spec)
        if not owners[0] or any(self._part(owner) is not None for owner in owners):
            return True
        where = key.rpartition(".")[0] or "forward_closure"
        extra = ' with retention = "radial-screws"' if "screws" in owners[0] else ""
        fix = f"give [{where}]{extra} in the motor file, or do not vary it"
        table.problem(path, "belongs to a part that the base motor does not have", fix, "E159")
        return False

    def _has_cap(self, table: Table, path: tuple[str, ...], name: str, spec: KeySpec) -> bool:
        """Whether the rows that a variable is of have a cap on that face."""
        leaf = self._grain_leaves().get(spec.column.removeprefix("grain."))
        row = next((int(part) for part in name.split(".") if part.isdigit()), None)
        there = [] if leaf is None else (~np.isnan(np.atleast_2d(leaf)[0])).tolist()
        if any(there) and (row is None or (row < len(there) and there[row])):
            return True
        face = f"{spec.column.removeprefix('grain.').partition('_')[0]}_face"
        fix = f'give that row {face} = {{covered_to = "30 mm"}} in the motor file, or do not vary it'
        table.problem(path, "is of a cap that the base motor does not have", fix, "E159")
        return False

    def _part(self, name: str) -> Any:
        part: Any = self.motor.motors if self.motor else None
        for step in name.split("."):
            part = getattr(part, step, None)
        return part

    def _names(self, table: Table, path: tuple[str, ...], name: str, key: str, spec: KeySpec, value: Any) -> Span | None:
        """A span of names: screws, grades, materials."""
        from optimizer.inputs.materials import MaterialShelf, find_screw

        stock = ""
        if isinstance(value, dict) and "stock" in value:
            found = self.spans.stock_list(path, value)
            if found is None:
                return None
            stock, names = found.name, [item.name for item in found.items]
        else:
            names = value if isinstance(value, list) else [value]
        if not names or not all(isinstance(item, str) for item in names):
            table.problem(path, "is not a list of names", f'write {path[-1]} = ["...", "..."]', "E108" if names else "E156", value)
            return None
        shelf = MaterialShelf(Table(self.root.document, (), self._base_materials(), Problems()))
        kind = {"grade": "screw", "screw": None}.get(spec.kind, "liner" if key == "liner.material" else "metal")
        values: list[SpanValue] = []
        for place, item in enumerate(names):
            where: Path_ = (*path, place) if isinstance(value, list) else path
            if spec.kind == "screw":
                extra: dict[str, Any] = {"screw": find_screw(table, where, item)}
            else:
                extra = {"material": shelf.material(table, where, item, kind)}
            if next(iter(extra.values())) is None:
                return None
            values.append(SpanValue(item, None, extra))
        return Span(name, "stock" if stock else "list", tuple(values), key, "", "", False, stock)

    def _base_materials(self) -> dict[str, Any]:
        return {} if self.motor is None else {"materials": self.motor.document.get("materials", {})}

    def _propellants(self, table: Table, path: tuple[str, ...], value: Any) -> Span | None:
        names = value if isinstance(value, list) else [value]
        if not names or not all(isinstance(item, str) and item.strip() for item in names):
            table.problem(
                path,
                "is not a list of propellant files",
                'write propellant = ["propellants/A.toml", "propellants/B.toml"]',
                "E108",
                value,
            )
            return None
        values = []
        for place, item in enumerate(names):
            try:
                found = load_propellant(self.folder / item)
            except InputError as error:
                where: Path_ = (*path, place) if isinstance(value, list) else path
                for problem in error.problems:
                    if problem.code in ("E142", "E143"):
                        table.problem(where, f"{problem.problem}: {problem.file}", problem.fix, problem.code)
                    else:
                        table.problems.found.append(problem)
                continue
            self.sources.append((str(found.path), found.digest))
            extra = {"propellant": found.propellant, "document": found.document, "use": str(found.path.resolve())}
            values.append(SpanValue(item, None, extra))
        return Span("propellant", "list", tuple(values), "propellant", "") if len(values) == len(names) else None

    def _tubes(
        self, table: Table, path: tuple[str, ...], value: Any, values: tuple[SpanValue, ...]
    ) -> tuple[SpanValue, ...] | None:
        """The tubes of a list that can be had at what is held: its outside, or its bore."""
        if self.motor is None or self.motor.motors.case is None:
            return values
        case = self.motor.motors.case
        outer, bore = float(case.outer_diameter[0]), float(case.bore[0])
        with_size = [item for item in values if "outer_diameter" in item.extra]
        if self.hold == "outer-diameter":
            kept = [item for item in with_size if abs(item.extra["outer_diameter"] - outer) <= SAME]
            if not kept:
                sizes = sorted({item.extra["outer_diameter"] for item in with_size}, key=lambda size: abs(size - outer))[:3]
                near = ", ".join(
                    dict.fromkeys(
                        next(i.extra["texts"]["outer_diameter"] for i in with_size if i.extra["outer_diameter"] == size)
                        for size in sizes
                    )
                )
                problem = f"has no tube of the base motor's outer diameter, {1e3 * outer:g} mm"
                fix = f"set case.outer_diameter in {self.motor.path.name} to a size of the list; near it: {near}"
                table.problem(path, problem, fix + self._lists_with(outer, value["stock"]), "E156", value)
                return None
            return tuple(kept)
        kept = [item for item in with_size if abs(item.extra["outer_diameter"] - 2 * item.si - bore) <= SAME]  # type: ignore[operator]
        if kept:
            return tuple(kept)
        self.cautions.append(
            f"no tube of {value['stock']} has the bore that is held, {1e3 * bore:g} mm; its walls are taken, "
            "and the outside is the bore and two walls: such a tube is turned, not bought"
        )
        walls = {item.si: replace(item, extra={"item": item.extra["item"]}) for item in reversed(values)}
        return tuple(walls[wall] for wall in sorted(walls, key=lambda wall: wall or 0.0))

    def _lists_with(self, outer: float, besides: str) -> str:
        """Advice naming other lists that have a tube of this outside; empty where none has."""
        having = []
        for name in kept_names(self.folder):
            if name == besides:
                continue
            try:
                items = load_stock(name, self.folder).items
            except InputError:
                continue  # a list that nobody asked for may be as wrong as it likes
            if any("wall" in item.values and abs(item.values.get("outer_diameter", 0.0) - outer) <= SAME for item in items):
                having.append(name)
        return f"; or take a list that has it: {', '.join(having)}" if having else ""

    def _check_scatter(self, limits: list[Limit], objectives: list[Objective]) -> None:
        """Percentiles and chances need tolerances to sample."""
        asked = [("limits", item) for item in limits] + [("objectives", item) for item in objectives]
        for section, item in asked:
            scattered = item.percentile is not None or item.quantity == CHANCE
            if scattered and self.motor is not None and not self.motor.motors.tolerances:
                table = sub_table(self.root, section)
                assert table is not None
                fix = f'add [tolerances] to {self.motor.path.name}, as in throat_diameter = {{plus_minus = "0.05 mm"}}'
                table.problem(item.quantity, "asks what scatter does, and the base motor has no tolerances", fix, "E112")
        for item in objectives:
            if item.quantity == CHANCE and item.sense != "min":
                table = sub_table(self.root, "objectives")
                assert table is not None
                table.problem(CHANCE, "would look for the weakest motor", f'write {CHANCE} = "min"', "E113")

    def _driver(self, limits: list[Limit]) -> Driver:
        needed = fewest_samples(limits)
        table = sub_table(self.root, "driver")
        if table is None:
            return Driver(samples=1 << (max(SAMPLES, needed) - 1).bit_length())
        specs = {spec.key: spec for spec in STUDY_KEYS["driver"]}
        table.refuse_unknown(specs)

        def whole(key: str, default: int | None = None) -> int:
            default = int(specs[key].default or 0) if default is None else default
            found = read_value(table, key, table.data[key], specs[key]) if key in table.data else default
            return default if found is None else int(found)

        samples = whole("samples", max(SAMPLES, needed))
        if samples < needed:
            table.problem("samples", f"is too few: even with none failed the chance is not below the limit on {CHANCE}",
                          f"at least {needed}, or a wider limit", "E106")  # fmt: skip
        samples = 1 << (samples - 1).bit_length()  # points that lie evenly come in powers of two
        return Driver(
            method=self._choice(table, "method", METHODS, "auto", "the method"),
            kernel=self._choice(table, "kernel", KERNELS, "auto", "the kernel"),
            store=self._store(table),
            seed=whole("seed"),
            budget=whole("budget"),
            samples=samples,
            workers=whole("workers"),
            cluster=self._cluster(table),
        )

    def _choice(self, table: Table, key: str, choices: tuple[str, ...], default: str, meaning: str) -> str:
        if key not in table.data:
            return default
        return read_text(table, (key,), table.data[key], KeySpec(key, "choice", meaning, choices=choices)) or default

    def _cluster(self, table: Table) -> str:
        value = table.data.get("cluster", "")
        if not value or (isinstance(value, str) and _SCHEDULER.fullmatch(value)):
            return str(value)
        table.problem("cluster", "is not the address of a scheduler", 'as in cluster = "tcp://192.168.1.10:8786"', "E113")
        return ""

    def _store(self, table: Table) -> str:
        value = table.data.get("store", "local")
        if value == "local" or (isinstance(value, str) and _is_database(value)):
            return str(value)
        fix = 'write store = "local", or a URL "postgresql://USER@HOST/DATABASE"'
        table.problem(
            "store",
            "is not a store that is known here",
            fix,
            "E113",
            "..." if isinstance(value, str) and "@" in value else ...,
        )
        return "local"


def _is_database(text: str) -> bool:
    """Whether a text is a URL of a database that can be asked for: its scheme, a bracket closed, a port that is a number."""
    try:
        parts = urlsplit(text)
        return parts.scheme in ("postgresql", "postgres") and text.isprintable() and (parts.port is None or parts.port > 0)
    except ValueError:
        return False


def _all_rows(name: str) -> str | None:
    """The leaf of the grains that a name moves in every row: ``core_diameter``, ``grain.length``; None for any other.

    >>> _all_rows("core_diameter"), _all_rows("grain.length"), _all_rows("grain.1.length"), _all_rows("wall")
    ('core_diameter', 'length', None, None)
    """
    spec = MOTOR_KEYS.get(SHORT_KEYS.get(name, name))
    part, _, leaf = ("" if spec is None else spec.column).partition(".")
    return leaf if part == "grain" and leaf in GRAIN_LEAVES else None


def _key_of(leaf: str) -> str:
    """The key of a leaf of the grains within its row: ``aft_face.covered_to`` for aft_covered_to."""
    return COLUMN_KEYS[f"grain.{leaf}"].removeprefix("grain.")


def _moved_by(name: str) -> set[str]:
    """The columns that a variable sets itself, under the one name that each has."""
    if name in BOTH_ENDS:
        return set(both_ends(name))
    if name == "expansion_ratio":
        return {"nozzle.exit_diameter"}
    key = SHORT_KEYS.get(name, name).replace("grain.0.", "grain.")
    spec = key_spec(key)
    return {spec.column if spec is not None and spec.column else leaf_of(key)}


def variable_spec(name: str) -> tuple[KeySpec | None, str]:
    """The spec of a search variable and the motor file's key it stands for; (None, "") where there is none."""
    if name == "core_diameter_aft":
        return replace(MOTOR_KEYS["grain.core_diameter"], column="", meaning="core diameter of the last grains"), name
    if name == "expansion_ratio":
        return KeySpec(name, "number", "exit area over throat area", "ratio", 1.0, 400.0, example="5.0"), name
    if name in BOTH_ENDS:
        return _both_ends(name)
    if name == "aft_count":
        return replace(MOTOR_KEYS["grain.count"], column="", low=0.0, meaning="number of the last grains"), name
    key = SHORT_KEYS.get(name, name)
    if key.startswith("grain."):  # grain.1.core_diameter: the second row
        key = ".".join(part for part in key.split(".") if not part.isdigit())
    spec = key_spec(key)
    if spec is None or key.startswith(_GIVEN) or (".seals." in key and key not in SEAL_ROW_KEYS):
        return None, ""
    numeric = spec.kind in ("quantity", "number", "whole") and bool(spec.column)
    return (spec, key) if numeric or spec.kind in NAME_KINDS else (None, "")


_GIVEN = ("propellant.", "ambient.", "factors.", "materials.", "airframe.", "rocket.", "launch.", "masses.", "startup.")
"""Tables of what is given: not the motor's to vary."""


def _both_ends(name: str) -> tuple[KeySpec | None, str]:
    """A name that stands for a column of both closures; its spec is that of the forward one."""
    column = f"forward_closure.{BOTH_ENDS[name]}"
    key = COLUMN_KEYS.get(column, "")
    return (MOTOR_KEYS[key], name) if key else (None, "")


def variable_names() -> list[str]:
    """Names under which something may vary, the short ones first."""
    short = [
        "grain_count",
        "core_diameter",
        "core_diameter_aft",
        "aft_count",
        "throat_diameter",
        "exit_diameter",
        "expansion_ratio",
    ]
    names = [*short, "wall", "grain_length", "propellant", "hold", "case_length", *SHORT_KEYS, *BOTH_ENDS, *MOTOR_KEYS]
    names += SEAL_ROW_KEYS
    return [name for name in dict.fromkeys(names) if name in ("propellant", "hold") or variable_spec(name)[0]]
