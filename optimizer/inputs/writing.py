"""Motor and propellant files written back: the file's own units, every number reading back as the identical float.

Imports the motor files, the text, the units and the vocabulary.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from optimizer.inputs.motor import MotorFile, load_propellant
from optimizer.inputs.tables import path_in
from optimizer.inputs.text import toml_text
from optimizer.problems import nearest
from optimizer.units import QuantityError, display_unit, split_quantity, unit, write_quantity
from optimizer.vocabulary import MOTOR_KEYS, SHORT_KEYS, KeySpec, key_spec

ORDER = (
    "schema",
    "name",
    "propellant",
    "grain",
    "nozzle",
    "case",
    "liner",
    "forward_closure",
    "aft_closure",
    "airframe",
    "rocket",
    "launch",
    "masses",
    "ambient",
    "startup",
    "factors",
    "tolerances",
    "materials",
)


def motor_text(
    motor_file: MotorFile,
    changes: Mapping[str, Any] | None = None,
    name: str | None = None,
    note: str = "",
    tests: Callable[[Mapping[str, Any]], bool] | None = None,
) -> str:
    """A motor file as TOML text, with some keys changed; it stands alone, its propellant written into it.

    Parameters
    ----------
    changes : mapping
        File key to SI number or text: ``case.wall``, ``forward_closure.screw``, a short name (``throat_diameter``),
        ``grain.core_diameter`` (all rows), ``grain.0.length`` (one row, counted from 0; the next new one is appended as
        a copy of the last), ``grain.rows`` (how many rows to keep), ``grain`` (all rows as a list of mappings),
        ``propellant`` (a file, or the table itself). None removes a key.
    name : str
        The motor's new name.
    note : str
        Lines written as comments at the head.
    tests : callable, optional
        Which rows of [[evidence]] are still of this motor; without it none is written.

    Raises
    ------
    KeyError
        For a key that no motor file has.
    """
    document = copy.deepcopy(motor_file.document)
    document["propellant"] = copy.deepcopy(dict(motor_file.propellant_document))
    if isinstance(document.get("grain"), dict):
        document["grain"] = [document["grain"]]
    if name is not None:
        document["name"] = name
    later = ("grain.rows",)
    for key in sorted(changes or {}, key=lambda key: (key in later, key != "grain")):
        _change(document, key, (changes or {})[key], motor_file.path.parent)
    ordered = {key: document[key] for key in ORDER if key in document}
    rows = document.get("evidence", [])
    kept = [row for row in ([rows] if isinstance(rows, dict) else rows) if tests is not None and tests(row)]
    if kept:
        ordered["evidence"] = kept
    head = "".join(f"# {line}\n" for line in note.splitlines())
    return head + toml_text(ordered)


def propellant_text(document: Mapping[str, Any], name: str, provenance: Mapping[str, str] | None = None, note: str = "") -> str:
    """A propellant file as TOML text: `document` is the [propellant] table as plain data, rate rows and all.

    Numbers in SI may stand for quantities; they are written in the display units and read back identically.
    """
    table = {key: value for key, value in document.items() if key not in ("use", "schema", "name", "provenance", "rate")}
    written: dict[str, Any] = {"schema": 1, "name": name}
    for key, value in table.items():
        written[key] = _written(f"propellant.{key}", value, None)
    written["rate"] = [
        {key: _written(f"propellant.rate.{key}", value, None) for key, value in row.items()} for row in document["rate"]
    ]
    if provenance:
        written["provenance"] = {str(key): str(value) for key, value in provenance.items()}
    head = "".join(f"# {line}\n" for line in note.splitlines())
    return head + toml_text(written)


def _change(document: dict[str, Any], key: str, value: Any, folder: Path) -> None:
    """Put one change into a document."""
    if key == "name":
        document["name"] = str(value)
        return
    if key == "propellant":
        document["propellant"] = _propellant_table(value, folder)
        return
    if key == "grain":
        _replace_rows(document, value)
        return
    if key == "grain.rows":
        document["grain"] = document["grain"][: int(value)]
        return
    full = SHORT_KEYS.get(key, key)
    parts = full.split(".")
    if parts[0] == "grain":
        _change_grain(document, parts, value)
    elif full.startswith("propellant.rate."):
        for row in document["propellant"].get("rate", []):
            _put(row, parts[-1], full, value)
    else:
        place: Any = document
        for part in path_in(document, full)[:-1]:
            if isinstance(part, int) and part >= len(place):
                raise KeyError(f"{full}: the motor has {len(place)} seals there, counted from 0")
            place = place[part] if isinstance(part, int) else place.setdefault(part, {})
        _put(place, parts[-1], full, value)


def _propellant_table(value: Any, folder: Path) -> dict[str, Any]:
    """The table of a propellant given as a file's name, or as the table."""
    if isinstance(value, Mapping):
        return copy.deepcopy(dict(value))
    return copy.deepcopy(dict(load_propellant(folder / str(value)).document))


def _replace_rows(document: dict[str, Any], rows: list[Mapping[str, Any]]) -> None:
    """All grain rows anew; a row keeps the units of the row it replaces, or of the last one."""
    old = document["grain"]
    document["grain"] = [copy.deepcopy(old[min(place, len(old) - 1)]) for place in range(len(rows))]
    for place, row in enumerate(rows):
        for key, value in row.items():
            if key in _CAPS:
                _put_cap(document["grain"][place], _CAPS[key], value)
            else:
                _put(document["grain"][place], key, f"grain.{key}", value)
        if row.keys() & _CAPS.keys():  # the faces say it all
            document["grain"][place].pop("burning_ends", None)
        elif row.get("burning_ends") not in (None, 1, 1.0):  # the number says it all, and faces would contradict it
            for face in ("forward_face", "aft_face"):
                document["grain"][place].pop(face, None)


_CAPS = {"forward_covered_to": "forward_face", "aft_covered_to": "aft_face"}


def _put_cap(row: dict[str, Any], face: str, value: Any) -> None:
    """How far open a cap leaves a face of one row of grains."""
    cap = row.get(face)
    row[face] = cap = dict(cap) if isinstance(cap, Mapping) else {}
    _put(cap, "covered_to", f"grain.{face}.covered_to", value)


def _change_grain(document: dict[str, Any], parts: list[str], value: Any) -> None:
    rows = document["grain"]
    if parts[-1] == "covered_to" and parts[1].isdigit() and int(parts[1]) < len(rows):
        _put_cap(rows[int(parts[1])], parts[-2], value)
        return
    if parts[-1] == "covered_to" and not parts[1].isdigit():
        for row in rows:
            if isinstance(row.get(parts[-2]), Mapping):
                _put_cap(row, parts[-2], value)
        return
    if len(parts) == 3 and parts[1].isdigit():
        place = int(parts[1])
        if place == len(rows):
            rows.append(copy.deepcopy(rows[-1]))
        if place >= len(rows):
            raise KeyError(f"grain.{place}: the motor has {len(rows)} grain rows, counted from 0")
        _put(rows[place], parts[2], f"grain.{parts[2]}", value)
        return
    for row in rows:
        _put(row, parts[-1], ".".join(parts), value)


def _put(table: dict[str, Any], last: str, key: str, value: Any) -> None:
    if key_spec(key) is None and key.split(".")[0] not in ("materials", "tolerances"):
        near = nearest(key, MOTOR_KEYS)
        raise KeyError(f"no key {key!r} in a motor file" + (f"; did you mean {near[0]!r}?" if near else ""))
    if value is None:
        table.pop(last, None)
        return
    table[last] = _written(key, value, table.get(last))


def _written(key: str, value: Any, old: Any) -> Any:
    """A value as the file has it: SI numbers of quantities as text in the old value's unit."""
    spec = key_spec(key)
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, (str, bool, Mapping)) or spec is None:
        return value
    if isinstance(value, (list, tuple)):
        before = old[0] if isinstance(old, list) and old else None
        return [_written(key, item, before) for item in value]
    if spec.kind in ("quantity", "quantities"):
        return write_quantity(float(value), _unit_for(spec, key, old))
    if spec.kind == "whole":
        return int(value) if float(value).is_integer() else float(value)
    return float(value)


def _unit_for(spec: KeySpec, key: str, old: Any) -> str:
    """The unit of the old value, else the metric display unit of the key."""
    if isinstance(old, str):
        try:
            text = split_quantity(old)[1]
            unit(text)
            return text
        except QuantityError:
            pass
    from optimizer.units import DIMENSIONS

    try:
        return display_unit(key) or DIMENSIONS[spec.dimension].units[0]
    except KeyError:
        return DIMENSIONS[spec.dimension].units[0]
