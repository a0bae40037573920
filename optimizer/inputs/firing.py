"""Firing files: where a record is, what its columns are, what the instruments can do, what was seen.

Imports the motor files and the tables.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from optimizer.inputs.motor import MotorFile, load_motor
from optimizer.inputs.tables import Table, check_schema, read_text, sub_table, type_name
from optimizer.inputs.text import read_document
from optimizer.problems import InputError, Problems, nearest, plain_file
from optimizer.units import DIMENSIONS, QuantityError, unit
from optimizer.vocabulary import SECTIONS, KeySpec

CHANNEL = re.compile(r"(pressure|thrust)(_[a-z0-9]+)?")
DIMENSION_OF = {"time": "time", "pressure": "pressure", "thrust": "force"}
ENDS = ("forward", "middle", "aft")
FINDINGS = (
    "case split along the length",
    "case split around",
    "case bulged",
    "closure gone",
    "screws sheared",
    "holes torn out",
    "holes elongated",
    "plate bent",
    "retaining ring gone",
    "hot spot",
    "burn-through",
    "seal leak",
    "nozzle gone",
    "throat widened",
    "propellant ejected",
    "grains broken",
    "no damage",
)
"""What may stand under `found`: plain observations."""
MOST_CHANNELS = 12


@dataclass(frozen=True)
class FiringColumn:
    """A column of the record: `key` as in the file ("pressure", "thrust_2"), `kind` time, pressure or thrust.

    `name` is the heading in the CSV, `unit` its unit's text, `gauge` whether readings are over ambient pressure.
    """

    key: str
    kind: str
    name: str
    unit: str
    gauge: bool = False


@dataclass(frozen=True)
class Instrument:
    """What a channel's instrument can do: `range` in SI, `accuracy` as a fraction of the range (0.005 for 0.5 %)."""

    range: float | None = None
    accuracy: float | None = None


@dataclass(frozen=True)
class Observed:
    """What was seen of a failure; what is not known is None or empty."""

    time_of_failure: float | None = None
    pressure: float | None = None
    end: str = ""
    found: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.time_of_failure is not None or self.pressure is not None or self.end or self.found)


@dataclass(frozen=True)
class Firing:
    """A firing file as read; SI.

    `motor` is None where the file names none, or where the motor file leaves out the propellant or the grains
    (`lacking` names them): figures that need them are then not computed. `measured` holds what was
    weighed and measured beside the record: propellant_mass, throat_diameter_before and _after, ambient_pressure,
    temperature (of the propellant), each only where given.
    """

    path: Path
    name: str
    motor: MotorFile | None
    record: Path | None
    columns: dict[str, FiringColumn]
    instruments: dict[str, Instrument]
    observed: Observed
    measured: dict[str, float] = field(default_factory=dict)
    digest: str = ""
    sources: tuple[tuple[str, str], ...] = ()
    lacking: tuple[str, ...] = ()


LEFT_OUT = ("propellant", "grain")
"""Tables that the motor of a firing may leave out: throat and pressure alone give a thrust coefficient."""

MEASURED = (
    KeySpec("propellant_mass", "quantity", "propellant mass as weighed", "mass", 1e-4, 2000),
    KeySpec("throat_diameter_before", "quantity", "throat diameter before firing", "length", 5e-4, 0.5),
    KeySpec("throat_diameter_after", "quantity", "throat diameter after firing", "length", 5e-4, 0.5),
    KeySpec("ambient_pressure", "quantity", "pressure of the air", "pressure", 1e4, 2e5),
    KeySpec("temperature", "quantity", "temperature of the propellant", "temperature", 200, 373.15),
)


def load_firing(path: str | Path) -> Firing:
    """Read a firing file and the motor it names; the record itself is read by `optimizer.record`.

    Raises InputError with every problem found.
    """
    document = read_document(path, "a firing file (TOML)")
    problems = Problems()
    firing = _read(Table(document, (), document.data, problems))
    problems.stop_if_any(document.file)
    assert firing is not None
    return firing


def _read(root: Table) -> Firing | None:
    check_schema(root, "firing")
    root.refuse_unknown(("schema", "name", "motor", "record"), ("columns", "instruments", "observed", "measured"))
    name = (
        read_text(root, ("name",), root.data["name"], KeySpec("name", "text", "name")) if "name" in root.data else None
    )
    motor, lacking, of_motor = _motor(root)
    record = _record(root)
    columns = _columns(root, record is not None or "record" in root.data)
    instruments = _instruments(root, columns)
    observed = _observed(root)
    measured_table = sub_table(root, "measured")
    measured: dict[str, float] = {}
    if measured_table is not None:
        measured_table.refuse_unknown([spec.key for spec in MEASURED])
        measured = measured_table.read(MEASURED)
    measured = {**of_motor, **measured}
    if "record" not in root.data and "observed" not in root.data:
        root.missing("record", 'add record = "NAME.csv", or say what was seen under [observed]')
    if root.problems:
        return None
    path = root.document.path
    sources = ((str(path), root.document.digest), *(motor.sources if motor else ()))
    total = hashlib.sha256("".join(item for _, item in sources).encode()).hexdigest()
    return Firing(
        path, name or path.stem, motor, record, columns, instruments, observed, measured, total, sources, lacking
    )


def _motor(root: Table) -> tuple[MotorFile | None, tuple[str, ...], dict[str, float]]:
    """The motor; where it leaves out propellant or grains, what it leaves out, and its throat and ambient pressure."""
    value = root.data.get("motor")
    if not isinstance(value, str) or not value.strip():
        if "motor" in root.data:
            root.problem("motor", "is not the name of a file", 'write motor = "motors/NAME.toml"', "E108")
        elif "record" not in root.data:
            root.missing("motor", 'add motor = "motors/NAME.toml", the motor as built and measured')
        return None, (), {}
    path = root.document.path.parent / value
    try:
        return load_motor(path), (), {}
    except InputError as error:
        if all(item.code == "E112" and item.key in LEFT_OUT for item in error.problems):
            return None, tuple(item.key for item in error.problems), _throat_and_air(path, root.problems)
        for item in error.problems:
            if item.code in ("E142", "E143") and item.file == plain_file(path):
                root.problem("motor", f"{item.problem}: {item.file}", item.fix, item.code)
            else:
                root.problems.found.append(item)
        return None, (), {}


def _throat_and_air(path: Path, problems: Problems) -> dict[str, float]:
    document = read_document(path, "a motor file (TOML)")
    root = Table(document, (), document.data, problems)
    found: dict[str, float] = {}
    for section, key, name in (
        ("nozzle", "throat_diameter", "throat_diameter_before"),
        ("ambient", "pressure", "ambient_pressure"),
    ):
        table = sub_table(root, section) if section in document.data else None
        if table is not None and key in table.data:
            value = table.read([spec for spec in SECTIONS[section] if spec.key == key]).get(key)
            if value is not None:
                found[name] = value
    return found


def _record(root: Table) -> Path | None:
    value = root.data.get("record")
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        root.problem("record", "is not the name of a file", 'write record = "NAME.csv"', "E108")
        return None
    path = root.document.path.parent / value
    try:
        if not path.is_file():
            what = "is a folder" if path.is_dir() else "is not a plain file" if path.exists() else "no such file"
            code = "E143" if path.exists() else "E142"
            root.problem("record", f"{what}: {plain_file(path)}", "name the CSV; paths are relative to this file", code)
            return None
    except OSError as error:
        root.problem("record", f"cannot be read: {error.strerror}", "check the name and the permissions", "E146")
        return None
    return path


def _columns(root: Table, needed: bool) -> dict[str, FiringColumn]:
    table = sub_table(root, "columns")
    if table is None:
        if needed and "columns" not in root.data:
            root.missing("columns", 'add a [columns] table, as in time = {name = "time_s", unit = "s"}')
        return {}
    found: dict[str, FiringColumn] = {}
    for key in table.data:
        kind = "time" if key == "time" else key.split("_")[0] if CHANNEL.fullmatch(key) else ""
        if not kind:
            near = nearest(key, ("time", "pressure", "thrust"))
            fix = (
                f"did you mean {near[0]!r}?"
                if near
                else "columns are time, pressure and thrust; a second one is pressure_2"
            )
            table.problem(key, "is not a column that is known here", fix, "E110")
            continue
        column = _column(table, key, kind)
        if column is not None:
            found[key] = column
    if "time" not in table.data:
        table.missing("time", 'add time = {name = "...", unit = "s"}')
    if not any(key.startswith(("pressure", "thrust")) for key in table.data):
        table.missing("pressure", "add pressure or thrust, or both")
    if len(table.data) > MOST_CHANNELS:
        table.problem(None, f"has {len(table.data)} columns", f"at most {MOST_CHANNELS}", "E155")
    names = [column.name for column in found.values()]
    for key, column in found.items():
        if names.count(column.name) > 1 and column.name == names[-1] and key == list(found)[-1]:
            table.problem((key, "name"), "stands for two columns", "each column has its own heading", "E115")
    return found


def _column(table: Table, key: str, kind: str) -> FiringColumn | None:
    inner = sub_table(table, key)
    if inner is None:
        if isinstance(table.data[key], str):
            table.problem(
                key, "does not say its unit", f'write {key} = {{name = "{table.data[key]}", unit = "..."}}', "E101"
            )
        return None
    allowed = ("name", "unit", "reference") if kind == "pressure" else ("name", "unit")
    inner.refuse_unknown(allowed)
    for wanted in ("name", "unit"):
        if wanted not in inner.data:
            inner.missing(wanted, f'add {wanted} = "..."')
    if not {"name", "unit"} <= set(inner.data):
        return None
    name = read_text(inner, ("name",), inner.data["name"], KeySpec("name", "text", "heading"))
    unit_text = _unit(inner, kind)
    reference = "absolute"
    if "reference" in inner.data:
        spec = KeySpec("reference", "choice", "the zero of the gauge", choices=("absolute", "gauge"))
        reference = read_text(inner, ("reference",), inner.data["reference"], spec) or "absolute"
    if name is None or unit_text is None:
        return None
    return FiringColumn(key, kind, name, unit_text, reference == "gauge")


def _unit(table: Table, kind: str) -> str | None:
    value = table.data["unit"]
    if not isinstance(value, str) or not value.strip():
        table.problem(
            "unit", f"is {type_name(value)}; expected a unit in quotes", f'write unit = "{_units(kind)[0]}"', "E108"
        )
        return None
    wanted = DIMENSIONS[DIMENSION_OF[kind]]
    try:
        found = unit(value.strip())
        if found.vector == wanted.vector and not found.offset:
            return value.strip()
        mass = found.vector == DIMENSIONS["mass"].vector and kind == "thrust"
        fix = (
            f"a load cell's kg is a force here: write {value.strip()}f"
            if mass and value.strip() in ("kg", "lb")
            else ""
        )
        raise QuantityError("E103", f"is not a unit of {wanted.phrase}", fix or f"units: {', '.join(_units(kind))}")
    except QuantityError as error:
        fix = error.fix
        if value.strip() in ("psig", "barg"):
            fix = f'write unit = "{value.strip()[:-1]}" and reference = "gauge"'
        table.problem("unit", error.problem, fix, error.code)
        return None


def _units(kind: str) -> tuple[str, ...]:
    return DIMENSIONS[DIMENSION_OF[kind]].units


def _instruments(root: Table, columns: dict[str, FiringColumn]) -> dict[str, Instrument]:
    table = sub_table(root, "instruments")
    if table is None:
        return {}
    found: dict[str, Instrument] = {}
    for key in table.data:
        kind = key.split("_")[0] if CHANNEL.fullmatch(key) else ""
        if not kind or (columns and key not in columns):
            near = nearest(key, [name for name in columns if name != "time"])
            table.problem(
                key,
                "names no column of the record",
                f"did you mean {near[0]!r}?" if near else "pressure or thrust",
                "E110",
            )
            continue
        inner = sub_table(table, key)
        if inner is None:
            continue
        inner.refuse_unknown(("range", "accuracy"))
        specs = (
            KeySpec("range", "quantity", "range of the instrument", DIMENSION_OF[kind], 1.0, 1e9),
            KeySpec("accuracy", "number", "accuracy as a part of the range", "ratio", 0.0, 0.5, example='"0.5 %"'),
        )
        values = inner.read(specs)
        found[key] = Instrument(values.get("range"), values.get("accuracy"))
    return found


def _observed(root: Table) -> Observed:
    table = sub_table(root, "observed")
    if table is None:
        return Observed()
    table.refuse_unknown(("time_of_failure", "pressure", "end", "found"))
    specs = (
        KeySpec("time_of_failure", "quantity", "time of the failure", "time", 0.0, 1000.0),
        KeySpec("pressure", "quantity", "pressure at the failure", "pressure", 1e3, 3e8),
        KeySpec("end", "choice", "the end that failed", choices=ENDS),
    )
    values: dict[str, Any] = table.read(specs)
    found: tuple[str, ...] = ()
    if "found" in table.data:
        found = _found(table, table.data["found"])
    observed = Observed(values.get("time_of_failure"), values.get("pressure"), values.get("end") or "", found)
    if not table.data:
        table.problem(None, "is empty", f"say what was found, one or more of: {', '.join(FINDINGS)}", "E156")
    return observed


def _found(table: Table, value: Any) -> tuple[str, ...]:
    items = value if isinstance(value, list) else [value]
    spec = KeySpec("found", "choice", "what was found", choices=FINDINGS)
    read = [
        read_text(table, ("found", place) if isinstance(value, list) else ("found",), item, spec)
        for place, item in enumerate(items)
    ]
    if not items:
        table.problem("found", "is an empty list", f"one or more of: {', '.join(FINDINGS)}", "E156")
    return tuple(dict.fromkeys(item for item in read if item))
