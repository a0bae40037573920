"""Firing files: where a record is, what its columns are, what the instruments can do, what was seen.

Imports the motor files and the tables.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from optimizer.inputs.motor import MotorFile, load_motor
from optimizer.inputs.tables import Table, check_schema, read_text, sub_table, type_name
from optimizer.inputs.text import read_document
from optimizer.problems import InputError, Problems, nearest, plain_file, shown_value
from optimizer.units import DIMENSIONS, QuantityError, unit
from optimizer.vocabulary import SECTIONS, KeySpec

CHANNEL = re.compile(r"(pressure|thrust)(_[a-z0-9]+)?")
OUTSIDE = "case_temperature"
"""The columns of thermometers on the outside of the case: a list of tables, each with its position."""
DIMENSION_OF = {"time": "time", "pressure": "pressure", "thrust": "force", "temperature": "temperature"}
TAPS = ("head", "chamber")
"""Where pressure is taken: at the head end, or at the nozzle end."""
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
    "weld torn",
    "hot spot",
    "burn-through",
    "liner charred",
    "liner gone",
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
    """A column of the record: `key` as in the file ("pressure", "thrust_2", "case_temperature.1"), and its `kind`.

    `kind` is "time", "pressure", "thrust" or "temperature"; `name` the heading in the CSV, `unit` its unit's text, `gauge`
    whether readings are over ambient pressure. `place` says where a pressure was taken ("head", "chamber", "" where the
    file does not say), `position` how far from the forward end of the case a thermometer sits. [m]
    """

    key: str
    kind: str
    name: str
    unit: str
    gauge: bool = False
    place: str = ""
    position: float | None = None


@dataclass(frozen=True)
class Instrument:
    """What a channel's instrument can do: `range` in SI, `accuracy` as a fraction of the range (0.005 for 0.5 %)."""

    range: float | None = None
    accuracy: float | None = None


@dataclass(frozen=True)
class Sighting:
    """Something found at a place: `position` from the forward end of the case [m], `clock` hour; None where not said."""

    found: str
    position: float | None = None
    clock: float | None = None


@dataclass(frozen=True)
class Observed:
    """What was seen of a failure; what is not known is None or empty. `at` says where; what stands there is in `found`."""

    time_of_failure: float | None = None
    pressure: float | None = None
    end: str = ""
    found: tuple[str, ...] = ()
    at: tuple[Sighting, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.time_of_failure is not None or self.pressure is not None or self.end or self.found)


@dataclass(frozen=True)
class Firing:
    """A firing file as read; SI.

    `motor` is None where the file names none, or where the motor file leaves out the propellant or the grains
    (`lacking` names them): figures that need them are then not computed. `measured` holds what was
    weighed and measured beside the record: propellant_mass, throat_diameter_before and _after, ambient_pressure,
    temperature (of the propellant), each only where given. `liner_before` and `liner_after` are positions from the forward
    end of the case with the liner's thickness there, (position, thickness) in metres.
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
    liner_before: tuple[tuple[float, float], ...] = ()
    liner_after: tuple[tuple[float, float], ...] = ()


LEFT_OUT = ("propellant", "grain")
"""Tables that the motor of a firing may leave out: throat and pressure alone give a thrust coefficient."""

MEASURED = (
    KeySpec("propellant_mass", "quantity", "propellant mass as weighed", "mass", 1e-4, 2000),
    KeySpec("throat_diameter_before", "quantity", "throat diameter before firing", "length", 5e-4, 0.5),
    KeySpec("throat_diameter_after", "quantity", "throat diameter after firing", "length", 5e-4, 0.5),
    KeySpec("ambient_pressure", "quantity", "pressure of the air", "pressure", 1e4, 2e5),
    KeySpec("temperature", "quantity", "temperature of the propellant", "temperature", 200, 373.15),
)
OBSERVED = (
    KeySpec("time_of_failure", "quantity", "time of the failure", "time", 0.0, 1000.0),
    KeySpec("pressure", "quantity", "pressure at the failure", "pressure", 1e3, 3e8),
    KeySpec("end", "choice", "the end that failed", choices=ENDS),
)
_ACCURACY = KeySpec("accuracy", "number", "accuracy as a part of the range", "ratio", 0.0, 0.5, example='"0.5 %"')
_CHANNELS = "a heading and a unit, of a pressure its reference and place too: {name = ..., unit = ..., place = ...}"
_THERMO = "rows of {name = ..., unit = ..., position = ...}, the position from the forward end of the case, outside"
_LINER = "rows of {position = ..., thickness = ...}, or one thickness"
FIRING_KEYS: dict[str, tuple[KeySpec, ...]] = {
    "": (
        KeySpec("schema", "whole", "version of the file's layout", "ratio", 1, 1, True, example="1"),
        KeySpec("name", "text", "name of the firing"),
        KeySpec("motor", "text", "the motor file, as built and measured"),
        KeySpec("record", "text", "the CSV of the record, relative to this file"),
    ),
    "columns": (
        *(KeySpec(key, "text", _CHANNELS, required=key == "time") for key in ("time", "pressure", "thrust")),
        KeySpec("case_temperature", "text", _THERMO),
    ),
    "instruments.pressure": (KeySpec("range", "quantity", "range of the instrument", "pressure", 1.0, 1e9), _ACCURACY),
    "instruments.thrust": (KeySpec("range", "quantity", "range of the instrument", "force", 1.0, 1e9), _ACCURACY),
    "observed": (
        *OBSERVED,
        KeySpec("found", "text", "what was found, a list; `list found` prints all"),
        KeySpec("at", "text", "where: rows of {found = ..., position = ..., clock = ...}"),
    ),
    "measured": (*MEASURED, *(KeySpec(key, "text", _LINER) for key in ("liner_before", "liner_after"))),
}
"""The keys of a firing by table."""


LINERS = ("liner_before", "liner_after")
POSITION = KeySpec("position", "quantity", "distance from the forward end of the case", "length", 0.0, 20.0)
THICKNESS = KeySpec("thickness", "quantity", "thickness of the liner there", "length", 0.0, 0.1, required=True)
MOST_PLACES = 200


def load_firing(path: str | Path) -> Firing:
    """Read a firing file and the motor it names; the record itself is read by `optimizer.firings.record`.

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
    tables = ("columns", "instruments", "observed", "measured")
    root.refuse_unknown([spec.key for spec in FIRING_KEYS[""]], tables)
    name = read_text(root, ("name",), root.data["name"], KeySpec("name", "text", "name")) if "name" in root.data else None
    motor, lacking, of_motor = _motor(root)
    record = _record(root)
    columns = _columns(root, record is not None or "record" in root.data)
    instruments = _instruments(root, columns)
    observed = _observed(root)
    measured_table = sub_table(root, "measured")
    measured: dict[str, float] = {}
    liners: dict[str, tuple[tuple[float, float], ...]] = {}
    if measured_table is not None:
        measured_table.refuse_unknown([spec.key for spec in MEASURED], LINERS)
        measured = measured_table.read(MEASURED)
        liners = {key: _thicknesses(measured_table, key) for key in LINERS if key in measured_table.data}
    measured = {**of_motor, **measured}
    if "record" not in root.data and "observed" not in root.data:
        root.missing("record", 'add record = "NAME.csv", or say what was seen under [observed]')
    if root.problems:
        return None
    path = root.document.path
    sources = ((str(path), root.document.digest), *(motor.sources if motor else ()))
    total = hashlib.sha256("".join(item for _, item in sources).encode()).hexdigest()
    return Firing(
        path, name or path.stem, motor, record, columns, instruments, observed, measured, total, sources, lacking, **liners
    )


def _tables(table: Table, key: str, what: str) -> list[Table]:
    """The tables of a list of tables; one alone may stand without brackets."""
    value = table.data[key]
    items = value if isinstance(value, list) else [value]
    if not items or len(items) > MOST_PLACES or not all(isinstance(item, dict) for item in items):
        table.problem(key, f"is not a list of tables (1 to {MOST_PLACES})", f"write {key} = [{{{what}}}]", "E108")
        return []
    places = [(key, place) if isinstance(value, list) else (key,) for place in range(len(items))]
    return [Table(table.document, (*table.path, *place), item, table.problems) for place, item in zip(places, items, strict=True)]


def _thicknesses(table: Table, key: str) -> tuple[tuple[float, float], ...]:
    """Positions and thicknesses of the liner, in order of position."""
    specs = (replace(POSITION, required=True), THICKNESS)
    found = []
    for one in _tables(table, key, 'position = "...", thickness = "..."'):
        one.refuse_unknown([spec.key for spec in specs])
        values = one.read(specs)
        if len(values) == len(specs):
            found.append((float(values["position"]), float(values["thickness"])))
    if len({place for place, _ in found}) < len(found):
        table.problem(key, "gives one position twice", "give each place once", "E115", None)
    return tuple(sorted(found))


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
        if key == OUTSIDE:
            found.update(_outside(table))
            continue
        kind = "time" if key == "time" else key.split("_")[0] if CHANNEL.fullmatch(key) else ""
        if not kind:
            near = nearest(key, ("time", "pressure", "thrust", OUTSIDE))
            fix = (
                f"did you mean {near[0]!r}?"
                if near
                else f"columns are time, pressure, thrust and {OUTSIDE}; a second one is pressure_2"
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
    if len(found) > MOST_CHANNELS:
        table.problem(None, f"has {len(found)} columns", f"at most {MOST_CHANNELS}", "E155")
    names = [column.name for column in found.values()]
    for name in sorted({name for name in names if names.count(name) > 1}):
        keys = " and ".join(key for key, column in found.items() if column.name == name)
        table.problem(None, f"{shown_value(name)} stands for two columns: {keys}", "each column has its own heading", "E115")
    return found


def _outside(table: Table) -> dict[str, FiringColumn]:
    """The thermometers on the case, each with its position."""
    found = {}
    for place, inner in enumerate(_tables(table, OUTSIDE, 'name = "t1", unit = "degC", position = "120 mm"')):
        inner.refuse_unknown(("name", "unit", "position"))
        values = inner.read((replace(POSITION, required=True),))
        heading = _heading(inner, "temperature")
        if heading is not None and values:
            key = f"{OUTSIDE}.{place + 1}"
            found[key] = FiringColumn(key, "temperature", *heading, position=float(values["position"]))
    return found


def _column(table: Table, key: str, kind: str) -> FiringColumn | None:
    inner = sub_table(table, key)
    if inner is None:
        if isinstance(table.data[key], str):
            table.problem(key, "does not say its unit", f'write {key} = {{name = "{table.data[key]}", unit = "..."}}', "E101")
        return None
    allowed = ("name", "unit", "reference", "place") if kind == "pressure" else ("name", "unit")
    inner.refuse_unknown(allowed)
    heading = _heading(inner, kind)
    reference, place = "absolute", ""
    if "place" in inner.data:
        spec = KeySpec("place", "choice", "where the pressure is taken (nozzle end: chamber)", choices=TAPS)
        place = read_text(inner, ("place",), inner.data["place"], spec) or ""
    if "reference" in inner.data:
        spec = KeySpec("reference", "choice", "the zero of the gauge", choices=("absolute", "gauge"))
        reference = read_text(inner, ("reference",), inner.data["reference"], spec) or "absolute"
    return None if heading is None else FiringColumn(key, kind, *heading, reference == "gauge", place)


def _heading(table: Table, kind: str) -> tuple[str, str] | None:
    """The heading in the CSV and the unit's text."""
    for wanted in ("name", "unit"):
        if wanted not in table.data:
            table.missing(wanted, f'add {wanted} = "..."')
    if not {"name", "unit"} <= set(table.data):
        return None
    name = read_text(table, ("name",), table.data["name"], KeySpec("name", "text", "heading"))
    if name is not None and not name.strip():
        table.problem("name", "is empty", "write the heading that the column has in the record", "E108")
        return None
    unit_text = _unit(table, kind)
    return None if name is None or unit_text is None else (name.strip(), unit_text)


def _unit(table: Table, kind: str) -> str | None:
    value = table.data["unit"]
    if not isinstance(value, str) or not value.strip():
        table.problem("unit", f"is {type_name(value)}; expected a unit in quotes", f'write unit = "{_units(kind)[0]}"', "E108")
        return None
    wanted = DIMENSIONS[DIMENSION_OF[kind]]
    try:
        found = unit(value.strip())
        if found.vector == wanted.vector and (kind == "temperature" or not found.offset):
            return value.strip()
        mass = found.vector == DIMENSIONS["mass"].vector and kind == "thrust"
        fix = f"a load cell's kg is a force here: write {value.strip()}f" if mass and value.strip() in ("kg", "lb") else ""
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
            near = nearest(key, [name for name, column in columns.items() if column.kind in ("pressure", "thrust")])
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
        values = inner.read(FIRING_KEYS[f"instruments.{kind}"])
        found[key] = Instrument(values.get("range"), values.get("accuracy"))
    return found


def _observed(root: Table) -> Observed:
    table = sub_table(root, "observed")
    if table is None:
        return Observed()
    table.refuse_unknown([spec.key for spec in FIRING_KEYS["observed"] if spec.key != "at"], ("at",))
    values: dict[str, Any] = table.read(OBSERVED)
    found: tuple[str, ...] = ()
    if "found" in table.data:
        found = _found(table, table.data["found"])
    at = _sightings(table) if "at" in table.data else ()
    found = tuple(dict.fromkeys((*found, *(one.found for one in at))))
    observed = Observed(values.get("time_of_failure"), values.get("pressure"), values.get("end") or "", found, at)
    if not table.data:
        table.problem(None, "is empty", f"say what was found, one or more of: {', '.join(FINDINGS)}", "E156")
    return observed


def _sightings(table: Table) -> tuple[Sighting, ...]:
    """What was found at a place."""
    specs = (
        KeySpec("found", "choice", "what was found", choices=FINDINGS, required=True),
        POSITION,
        KeySpec("clock", "number", "hour on the clock, looking forward", "ratio", 0.0, 12.0),
    )
    seen = []
    for one in _tables(table, "at", 'found = "burn-through", position = "20 mm", clock = 3'):
        one.refuse_unknown([spec.key for spec in specs])
        values = one.read(specs)
        if "found" in values:
            seen.append(Sighting(values["found"], values.get("position"), values.get("clock")))
    return tuple(seen)


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
