"""A motor as built: the motor file with the sizes that were measured in place of those drawn.

Reads the table that the lathe sheets are filled into: CSV with the columns `key`, `value`, `unit`, keys as in the motor
file. Imports motor, the reading of files, units and the vocabulary.
"""

from __future__ import annotations

import copy
import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from optimizer.inputs.motor import MotorFile, motor_from_document
from optimizer.inputs.reading import decode, read_bytes
from optimizer.inputs.tables import path_in
from optimizer.problems import InputError, Problem, Problems, nearest, plain_file, shown_value
from optimizer.results import digest
from optimizer.units import QuantityError, parse_quantity
from optimizer.vocabulary import MOTOR_KEYS, KeySpec, key_spec

COLUMNS = ("key", "value", "unit")
MOST_ROWS = 2000
_FIX = "a header key,value,unit and one size a row, as in case.wall,3.12,mm"


@dataclass(frozen=True)
class Measured:
    """One size that was measured: its key, and in SI what was drawn (None where the file does not say) and measured."""

    key: str
    drawn: float | None
    measured: float


@dataclass(frozen=True)
class AsBuilt:
    """The motor as built, and what was measured of it, in the order of the table."""

    motor: MotorFile
    measured: tuple[Measured, ...]


def as_measured(file: MotorFile, path: str | Path) -> AsBuilt:
    """The motor with the sizes of a table in place of those drawn.

    What was measured scatters no more: its tolerance is dropped. Rows without a value are boxes left empty. Raises
    InputError with every problem of the table, or of the motor that it makes.
    """
    content = read_bytes(path, what="a table of measured sizes (CSV)")
    problems = Problems()
    rows = _rows(decode(content, path), path, problems)
    found: dict[str, tuple[int, str, float, KeySpec]] = {}
    for line, row in rows:
        read = _size(row, line, path, problems)
        if read is not None and read[0] in found:
            problems.add(plain_file(path), line, read[0], shown_value(row["value"]), "is given twice", "keep one", "E125")
        elif read is not None:
            found[read[0]] = (line, *read[1:])
    if not found and not problems:
        problems.add(plain_file(path), 1, "value", "", "has no size filled in", _FIX, "E112")
    problems.stop_if_any(plain_file(path))
    document = copy.deepcopy(file.document)
    for key, (line, text, _, spec) in found.items():
        _put(
            document,
            key,
            spec,
            text,
            Problem(plain_file(path), line, key, shown_value(text), "names no part of this motor", "", "E159"),
        )
    built = motor_from_document(document, file.path)
    drawn = {key: _drawn(file, key, spec) for key, (_, _, _, spec) in found.items()}
    columns = {spec.column for *_, spec in found.values()}
    tolerances = {key: value for key, value in built.motors.tolerances.items() if key not in columns}
    sources = (*file.sources, (str(path), digest(content)))
    motor = replace(
        built,
        name=f"{file.name}, as measured",
        motors=replace(built.motors, tolerances=tolerances),
        text=file.text,
        digest=digest("".join(one for _, one in sources).encode()),
        sources=sources,
        propellant_document=file.propellant_document,
        units=file.units,
    )
    return AsBuilt(motor, tuple(Measured(key, drawn[key], value) for key, (_, _, value, _) in found.items()))


def _rows(text: str, path: str | Path, problems: Problems) -> list[tuple[int, dict[str, str]]]:
    try:
        reader = csv.DictReader(io.StringIO(text), strict=True)
        names = [name.strip() for name in reader.fieldnames or ()]
        if not set(COLUMNS) <= set(names):
            raise csv.Error(f"the columns are {', '.join(names) or 'none'}")
        reader.fieldnames = names
        rows = []
        for row in reader:
            rows.append((reader.line_num, {name: str(row.get(name) or "").strip() for name in COLUMNS}))
            if len(rows) > MOST_ROWS:
                raise csv.Error(f"more than {MOST_ROWS} rows")
        return rows
    except csv.Error as error:
        problems.add(plain_file(path), 1, "", "", f"is not such a table: {error}", _FIX, "E125")
        return []


def _spec(key: str) -> KeySpec | None:
    """The key's specification; a row of grains is counted from one, as in `grain.2.length`, one of seals from 0."""
    parts = key.split(".")
    if len(parts) > 2 and parts[0] == "grain" and parts[1].isdigit():
        parts = [parts[0], *parts[2:]]
    return key_spec(".".join(parts))


def _size(row: Mapping[str, str], line: int, path: str | Path, problems: Problems) -> tuple[str, str, float, KeySpec] | None:
    """One row as key, text, SI value and specification; None where its box is empty or a problem was noted."""
    key, value, unit = (row[name] for name in COLUMNS)
    if not value:
        return None
    spec = _spec(key)
    if spec is None or not spec.column or spec.kind not in ("quantity", "number", "whole"):
        near = nearest(key, [name for name, one in MOTOR_KEYS.items() if one.column])
        fix = f"did you mean {near[0]!r}?" if near else "keys as in the motor file: grainwright list keys"
        problems.add(plain_file(path), line, key or "key", shown_value(value), "is no size of a motor file", fix, "E110")
        return None
    try:
        if spec.kind == "quantity":
            text = f"{value} {unit}".strip()
            return key, text, parse_quantity(text, spec.dimension), spec
        return key, value, float(value), spec
    except QuantityError as error:
        problems.add(plain_file(path), line, key, shown_value(f"{value} {unit}".strip()), error.problem, error.fix, error.code)
    except ValueError:
        problems.add(plain_file(path), line, key, shown_value(value), "is not a number", "a number, without unit", "E102")
    return None


def _put(document: dict[str, Any], key: str, spec: KeySpec, text: str, problem: Problem) -> None:
    """Write one size into the document; InputError with `problem` where the motor has no such part."""
    leaf = key.rpartition(".")[2]
    path = key.split(".")[:-1] if key.startswith("grain.") else path_in(document, key)[:-1]
    place: Any = document
    for name in path:
        if isinstance(name, int):
            place = place[name] if isinstance(place, list) and name < len(place) else None
        elif isinstance(place, list):
            row = int(name) - 1 if name.isdigit() else 0
            place = place[row] if 0 <= row < len(place) else None
        else:
            place = place.get(name) if isinstance(place, dict) else None
        if isinstance(place, list) and path[-1] == name:
            if len(place) != 1:
                raise InputError([replace(problem, problem="is one of several rows", fix=f"say which: grain.1.{leaf}")])
            place = place[0]
    if not isinstance(place, dict):
        raise InputError([replace(problem, fix="measure what the motor file describes, or add the part there")])
    place[leaf] = text if spec.kind == "quantity" else float(text) if spec.kind == "number" else int(float(text))


def _drawn(file: MotorFile, key: str, spec: KeySpec) -> float | None:
    """What the motor file says in SI, None where it does not."""
    leaf = file.motors.value(spec.column)
    if leaf is None:
        return None
    parts = key.split(".")
    column = int(parts[1]) - 1 if len(parts) > 2 and parts[0] == "grain" and parts[1].isdigit() else 0
    return float(leaf[0][column]) if getattr(leaf, "ndim", 1) == 2 else float(leaf[0])
