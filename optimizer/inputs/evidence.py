"""Tests of a motor: the [[evidence]] of its own file, and test files.

Imports the tables, the vocabulary, the motor and firing files and physics.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.inputs.tables import Table, check_schema, sub_tables
from optimizer.inputs.text import read_document
from optimizer.problems import Problems, nearest
from optimizer.units import show
from optimizer.vocabulary import SECTIONS, KeySpec
from physics.failure.evidence import Evidence
from physics.failure.ladder import ADVICE, MODES
from physics.heat.places import PLACES

MOST_TESTS = 60
MOST_SPOTS = 200
TEST_KEYS = (
    KeySpec("schema", "whole", "version of the file's layout", "ratio", 1, 1, True, example="1"),
    KeySpec("name", "text", "name of the test"),
    KeySpec("motor", "text", "the motor file of what was tested; of a bench burn, the small motor"),
    KeySpec("record", "text", "the record, for reference"),
    KeySpec("nozzle", "flag", "false: a bench burn without a nozzle, in the open", default=True),
    KeySpec("in_case", "flag", "false: the liner of a bench burn stood in no case", default=True),
    KeySpec("liner_after", "text", "liner left, char not counted: rows of {place or position = ..., thickness = ...}"),
    KeySpec("stickers", "text", "outside the case: rows of {place or position = ..., temperature = ...}"),
)
"""What a test file may hold beside the keys of [[evidence]]."""
ALSO_IN_FILES = tuple(spec.key for spec in TEST_KEYS)

_PLACE = KeySpec("place", "choice", "where on the wall", choices=PLACES)
_POSITION = KeySpec("position", "quantity", "distance from the forward end of the case", "length", 0.0, 20.0)
SPOTS = {
    "liner_after": KeySpec("thickness", "quantity", "liner that is left there, char not counted", "length", 0.0, 0.1, True),
    "stickers": KeySpec("temperature", "quantity", "highest temperature that the sticker shows", "temperature", 200, 1500, True),
}
"""What is measured at a spot of the wall after a test: rows of a place or a position, and a value."""


@dataclass(frozen=True)
class Spot:
    """A value at a spot of the wall, SI: its `place`, or where empty its `position` from the forward end of the case [m]."""

    place: str
    position: float
    value: float


@dataclass(frozen=True)
class TestFile:
    """A test file as read; `motor` is the motor file that was tested, None where it names none.

    Of a bench burn `nozzle` False says that it burned in the open, `in_case` False that its liner stood in no case.
    `liner_after` is what was left of the liner [m], `stickers` what they showed on the outside of the case [K].
    """

    __test__ = False

    path: Path
    evidence: Evidence
    motor: Path | None
    nozzle: bool = True
    in_case: bool = True
    liner_after: tuple[Spot, ...] = ()
    stickers: tuple[Spot, ...] = ()


def read_evidence(root: Table, ambient_pressure: float) -> tuple[Evidence, ...]:
    """The [[evidence]] of a motor file."""
    if "evidence" not in root.data:
        return ()
    found = []
    for place, table in enumerate(sub_tables(root, "evidence", MOST_TESTS)):
        table.refuse_unknown([spec.key for spec in SECTIONS["evidence"]])
        one = evidence_of(table, ambient_pressure, f"evidence {place + 1}")
        if one is not None:
            found.append(one)
    return tuple(found)


def evidence_of(table: Table, ambient_pressure: float, name: str) -> Evidence | None:
    """One test from its table; None after a problem was noted."""
    values: dict[str, Any] = table.read(SECTIONS["evidence"])
    kind, outcome = values.get("kind"), values.get("outcome")
    if kind is None or outcome is None:
        return None
    pressure = values.get("pressure")
    if pressure is None and kind == "water":
        table.missing("pressure", 'add pressure = "1500 psi", the highest that was read')
        return None
    if pressure is not None and values.get("reference") == "absolute":
        pressure -= ambient_pressure
    if outcome == "held" and "mode" in values:
        table.problem("mode", "stands beside an outcome that held", "leave it out, or say what outcome it was", "E115")
    if outcome != "held" and not _known_mode(table, values.get("mode")):
        return None
    shown = "" if pressure is None else f" to {show(pressure, 'pressure', 'metric')}"
    return Evidence(
        kind=kind,
        name=f"{name}: {kind}{shown}",
        pressure=pressure,
        temperature=values.get("temperature"),
        duration=values.get("duration"),
        plugged=bool(values.get("plugged")),
        outcome=outcome,
        mode=values.get("mode", ""),
        part=values.get("part", ""),
        same_hardware=bool(values.get("same_hardware", True)),
        seals_as_fired=bool(values.get("seals_as_fired", True)),
    )


def _known_mode(table: Table, mode: object) -> bool:
    known = [row.mode for row in MODES if row.kind != ADVICE]
    if mode in known:
        return True
    if mode is None:
        table.missing("mode", 'say what did not hold, as in mode = "screw shear"; `list modes` prints all')
    else:
        near = nearest(str(mode), known, 3)
        fix = f"did you mean {' or '.join(repr(one) for one in near)}?" if near else "`list modes` prints all"
        table.problem("mode", "is not a failure mode", fix, "E113")
    return False


def load_test(path: str | Path, ambient_pressure: float) -> TestFile:
    """Read a test file: the keys of [[evidence]] at the top level, with the motor that was tested.

    Raises InputError with every problem found.
    """
    document = read_document(path, "a test file (TOML)")
    problems = Problems()
    root = Table(document, (), document.data, problems)
    check_schema(root, "test")
    root.refuse_unknown([spec.key for spec in SECTIONS["evidence"]], ALSO_IN_FILES)
    kept = {key: value for key, value in document.data.items() if key not in ALSO_IN_FILES}
    found = evidence_of(Table(document, (), kept, problems), ambient_pressure, document.path.name)
    motor = document.data.get("motor")
    if motor is not None and not isinstance(motor, str):
        root.problem("motor", "is not the name of a file", 'write motor = "motors/NAME.toml"', "E108")
    spots = {key: _spots(root, key, spec) for key, spec in SPOTS.items()}
    problems.stop_if_any(document.file)
    assert found is not None
    where = None if motor is None else document.path.parent / str(motor)
    nozzle, in_case = (document.data.get(key, True) is not False for key in ("nozzle", "in_case"))
    return TestFile(document.path, found, where, nozzle, in_case, spots["liner_after"], spots["stickers"])


def _spots(root: Table, key: str, spec: KeySpec) -> tuple[Spot, ...]:
    """Rows of {place or position, value}."""
    found = []
    for row in sub_tables(root, key, MOST_SPOTS):
        row.refuse_unknown([_PLACE.key, _POSITION.key, spec.key])
        values = row.read((_PLACE, _POSITION, spec))
        if ("place" in values) is ("position" in values):
            row.problem(None, "says no place, or two", f'place = "{PLACES[0]}", or position = "120 mm", not both', "E112")
        elif spec.key in values:
            found.append(Spot(values.get("place", ""), float(values.get("position", 0.0)), float(values[spec.key])))
    return tuple(found)


def is_firing(path: str | Path) -> bool:
    """Whether a file is a firing file: it says what the columns of its record are, or what was seen of a failure."""
    data = read_document(path, "a test file (TOML)").data
    return bool({"columns", "observed"} & set(data))
