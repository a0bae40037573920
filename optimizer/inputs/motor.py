"""Motor and propellant files: from TOML to a batch of one motor in SI, every slip told at once.

Imports the tables, the vocabulary and the types, materials and screws of the kernel.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.inputs.closures import read_closure, read_seals
from optimizer.inputs.erosive import read_constants
from optimizer.inputs.evidence import read_evidence
from optimizer.inputs.materials import MaterialShelf
from optimizer.inputs.rocket import check_body, check_site, read_launch, read_rocket, read_weighed, site_pressure
from optimizer.inputs.tables import Table, check_schema, dotted, path_in, read_value, sub_table, sub_tables
from optimizer.inputs.text import Document, parse_document, plain_data, read_document, toml_text
from optimizer.inputs.tolerances import read_tolerances
from optimizer.inputs.wear import read_wear
from optimizer.problems import InputError, Problems, plain_file
from optimizer.units import show_dimension
from optimizer.vocabulary import CLOSURES, FACTOR_KINDS, OLD_FACTOR_KINDS, SECTIONS
from physics.assembly import SHAPES
from physics.failure.evidence import Evidence
from physics.heat.places import MEASURED_NAMES, REMAINING
from physics.motors import (
    Airframe,
    Ambient,
    Array,
    Case,
    Grains,
    Launch,
    Liner,
    LinerFactors,
    Motors,
    Nozzle,
    Propellant,
    Startup,
)  # fmt: skip

MOST_GRAIN_ROWS = 40
MOST_RATE_ROWS = 40
MOTOR_TABLES = (
    "propellant",
    "grain",
    "nozzle",
    "case",
    "liner",
    *CLOSURES,
    "airframe",
    "rocket",
    "evidence",
    "wear",
    "launch",
    "masses",
    "ambient",
    "startup",
    "factors",
    "tolerances",
    "materials",
)
TOUCHING = 1e-6
"""Relative difference up to which the end of a rate row and the start of the next are one pressure."""


@dataclass(frozen=True)
class PropellantFile:
    """A propellant as read: `document` is its table as plain data, `provenance` says where its numbers come from."""

    path: Path
    name: str
    propellant: Propellant
    document: Mapping[str, Any]
    provenance: Mapping[str, str] = field(default_factory=dict)
    digest: str = ""


@dataclass(frozen=True)
class MotorFile:
    """A motor file as read: `motors` is a batch of one.

    `document` is the file as plain data; `propellant_document` the propellant's table, also where another file holds
    it. `digest` covers every file read; `sources` lists them as (path, SHA-256). `units` are those the file asks for in
    its output, "" where it does not say. `evidence` is what tests of this very hardware have shown.
    """

    path: Path
    name: str
    motors: Motors
    document: dict[str, Any]
    text: str
    digest: str
    sources: tuple[tuple[str, str], ...]
    propellant_document: Mapping[str, Any] = field(default_factory=dict)
    units: str = ""
    evidence: tuple[Evidence, ...] = ()


def load_motor(path: str | Path) -> MotorFile:
    """Read a motor file and the propellant file that it names.

    Raises InputError with every problem found.
    """
    document = read_document(path, "a motor file (TOML)")
    return _motor_file(document)


def motor_from_document(document: Mapping[str, Any], path: str | Path) -> MotorFile:
    """A motor from data as a TOML parser gives it; `path` names it and roots its relative paths.

    Raises InputError with every problem found; lines are those of the file as `toml_text` would write it.
    """
    return _motor_file(parse_document(toml_text(dict(document)), path))


def motor_from_text(text: str, path: str | Path) -> MotorFile:
    """A motor from TOML text; `path` names it and roots its relative paths. InputError as in `load_motor`."""
    return _motor_file(parse_document(text, path))


def load_propellant(path: str | Path) -> PropellantFile:
    """Read a propellant file: the keys of [propellant], at the top level or in a [propellant] table.

    Raises InputError with every problem found.
    """
    problems = Problems()
    found = _propellant_file(Path(path), problems)
    problems.stop_if_any(plain_file(path))
    assert found is not None
    return found


def propellant_from_text(text: str, path: str | Path) -> PropellantFile:
    """A propellant from TOML text, as `path` would hold it. InputError as in `load_propellant`."""
    problems = Problems()
    found = _propellant_document(parse_document(text, path), Path(path), problems)
    problems.stop_if_any(plain_file(path))
    assert found is not None
    return found


def _motor_file(document: Document) -> MotorFile:
    problems = Problems()
    reader = _MotorReader(document, problems)
    motors = reader.read()
    problems.stop_if_any(document.file)
    assert motors is not None
    sources = ((str(document.path), document.digest), *reader.other_sources)
    return MotorFile(
        path=document.path,
        name=str(document.data.get("name") or document.path.stem),
        motors=motors,
        document=plain_data(document.data),
        text=document.text,
        digest=hashlib.sha256("".join(digest for _, digest in sources).encode()).hexdigest(),
        sources=sources,
        propellant_document=reader.propellant_document,
        units=str(document.data.get("units", "")),
        evidence=reader.evidence,
    )


def column(value: float | None) -> Array | None:
    """A leaf of a batch of one."""
    return None if value is None else np.array([value], dtype=float)


class _MotorReader:
    """Reads the tables of one motor file in order; each part is None after a problem was noted in it."""

    def __init__(self, document: Document, problems: Problems) -> None:
        self.document, self.problems = document, problems
        self.root = Table(document, (), document.data, problems)
        self.other_sources: list[tuple[str, str]] = []
        self.propellant_document: Mapping[str, Any] = {}
        self.evidence: tuple[Evidence, ...] = ()

    def read(self) -> Motors | None:
        root = self.root
        check_schema(root, "motor")
        root.refuse_unknown([spec.key for spec in SECTIONS[""]], MOTOR_TABLES, _ELSEWHERE)
        root.read([spec for spec in SECTIONS[""] if spec.key != "schema"])
        self.shelf = MaterialShelf(root)
        parts: dict[str, Any] = {
            "propellant": self._propellant(),
            "grain": self._grains(),
            "nozzle": self._nozzle(),
            "launch": (launch := read_launch(root)),
            "ambient": self._ambient(launch),
            "case": self._case(),
            "liner": self._liner(),
            "airframe": self._airframe(),
            "rocket": read_rocket(root),
            "masses": read_weighed(root),
            "startup": self._startup(),
            "factors": self._factors(),
        }
        for end in CLOSURES:
            table = sub_table(root, end)
            parts[end] = None if table is None else read_closure(table, self.shelf)
        parts["case"] = self._softened(parts)
        self._check_fit(parts)
        check_body(root, parts["rocket"], parts["case"], parts["airframe"])
        if not all(parts[name] is not None for name in ("propellant", "grain", "nozzle", "ambient")):
            return None
        self._check_shapes(Motors(size=1, **parts))
        self.evidence = read_evidence(root, float(parts["ambient"].pressure[0]))
        parts["wear"] = read_wear(root, Motors(size=1, **parts))
        parts["tolerances"] = read_tolerances(root, Motors(size=1, **parts))
        return Motors(size=1, **parts)

    def _required(self, name: str) -> Table | None:
        if name not in self.root.data:
            self.root.missing(name, f"add a [{name}] table; a motor needs [propellant], [[grain]] and [nozzle]")
            return None
        return sub_table(self.root, name)

    def _propellant(self) -> Propellant | None:
        table = self._required("propellant")
        if table is None:
            return None
        if "use" not in table.data:
            self.propellant_document = plain_data(table.data)
            return read_propellant(table)
        return self._propellant_elsewhere(table)

    def _propellant_elsewhere(self, table: Table) -> Propellant | None:
        others = [key for key in table.data if key != "use"]
        if others:
            table.problem(others[0], "stands beside use", "keep either use or the propellant's own keys", "E115")
        name = table.data["use"]
        if not isinstance(name, str) or not name.strip():
            table.problem("use", "is not the name of a file", 'write use = "propellants/NAME.toml"', "E108")
            return None
        found = _propellant_file(self.document.path.parent / name, self.problems, table)
        if found is None:
            return None
        self.other_sources.append((str(found.path), found.digest))
        self.propellant_document = found.document
        return found.propellant

    def _grains(self) -> Grains | None:
        if "grain" not in self.root.data:
            self.root.missing("grain", "add a [[grain]] table; a motor needs [propellant], [[grain]] and [nozzle]")
            return None
        tables = sub_tables(self.root, "grain", MOST_GRAIN_ROWS)
        if not tables and not self.problems:
            self.root.problem("grain", "is an empty list", "add a [[grain]] table", "E112")
        rows = [_grain_row(table) for table in tables]
        for place, (table, row) in enumerate(zip(tables, rows, strict=True)):
            _check_vent(table, row, first=place == 0)
        if not rows or any(row is None for row in rows):
            return None
        names = ["count", "length", "outer_diameter", "core_diameter", "burning_ends", "forward_bare"]
        names += [name for name in _CAPS.values() if any(name in row for row in rows if row)]
        return Grains(**{name: np.array([[row.get(name, np.nan) for row in rows if row]], dtype=float) for name in names})

    def _nozzle(self) -> Nozzle | None:
        table = self._required("nozzle")
        if table is None:
            return None
        specs = SECTIONS["nozzle"]
        table.refuse_unknown([spec.key for spec in specs], ("seal", "seals"), _ELSEWHERE)
        values = table.read(specs)
        seal = read_seals(table, self.shelf)
        throat, exit_ = values.get("throat_diameter"), values.get("exit_diameter")
        if throat is not None and exit_ is not None and exit_ < throat:
            table.problem(
                "exit_diameter",
                f"is smaller than the throat, {_mm(throat)}",
                "the exit is at least as wide as the throat",
                "E131",
            )
        recession = values.get("throat_recession", 0.0)
        if recession and recession > 0 and "throat_recession_at" not in table.data:
            table.missing("throat_recession_at", 'add the pressure at which it was measured: throat_recession_at = "... MPa"')
        material = self.shelf.material(table, "material", values.pop("material", None))
        needed = ("throat_diameter", "exit_diameter", "half_angle", "efficiency", "throat_recession")
        if any(values.get(name) is None for name in needed):
            return None
        values.setdefault("throat_recession_at", 5e6)  # without effect: the recession is zero
        return Nozzle(material=material, seal=seal, **{name: column(value) for name, value in values.items()})  # type: ignore[arg-type]

    def _case(self) -> Case | None:
        table = sub_table(self.root, "case")
        if table is None:
            return None
        table.refuse_unknown([spec.key for spec in SECTIONS["case"]], (), _ELSEWHERE)
        values = table.read(SECTIONS["case"])
        outer, wall = values.get("outer_diameter"), values.get("wall")
        if outer is not None and wall is not None and 2 * wall >= outer:
            table.problem(
                "wall",
                f"is half the outer diameter of {_mm(outer)} or more",
                "the wall is less than half the diameter",
                "E135",
            )
            return None
        material = self.shelf.material(table, "material", values.pop("material", None))
        if material is None or outer is None or wall is None:
            return None
        texts = {name: values.pop(name) for name in ("heat_affected", "heat_affected_end") if name in values}
        return Case(material=material, **texts, **{name: column(value) for name, value in values.items()})  # type: ignore[arg-type]

    def _softened(self, parts: Mapping[str, Any]) -> Case | None:
        """The case, heat-affected at its welded ends where the file does not say whether it is."""
        case: Case | None = parts["case"]
        welded = [end for end in CLOSURES if parts[end] is not None and parts[end].retention == "welded-lip"]
        if case is None or not welded or "heat_affected" in self.root.data["case"]:
            return case
        where = "both" if len(welded) > 1 else welded[0].removesuffix("_closure")
        if "heat_affected_end" in self.root.data["case"]:
            where = case.heat_affected_end
        return replace(case, heat_affected=True, heat_affected_end=where)

    def _liner(self) -> Liner | None:
        table = sub_table(self.root, "liner")
        if table is None:
            return None
        specs = SECTIONS["liner"]
        table.refuse_unknown([spec.key for spec in specs], ("measured",), _ELSEWHERE)
        tables = isinstance(table.data.get("gap"), list | dict)
        values = table.read([spec for spec in specs if not (tables and spec.key == "gap")])
        material = self.shelf.material(table, "material", values.pop("material", None))
        gaps = _gaps(table) if tables else {}
        if "regression_rate" not in values:
            for key in ("regression_at", "regression_exponent"):
                if key in values:
                    table.problem(key, "says nothing without regression_rate", "add regression_rate, or leave it out", "E112")
        if material is None or "thickness" not in values:
            return None
        columns = {name: column(value) for name, value in values.items()}
        return Liner(material=material, measured=_measured(table), **columns | gaps)

    def _airframe(self) -> Airframe | None:
        table = sub_table(self.root, "airframe")
        if table is None:
            return None
        table.refuse_unknown([spec.key for spec in SECTIONS["airframe"]], (), _ELSEWHERE)
        values = table.read(SECTIONS["airframe"])
        if "inner_diameter" not in values or "clearance" not in values:
            return None
        return Airframe(**{name: column(value) for name, value in values.items()})  # type: ignore[arg-type]

    def _ambient(self, launch: Launch | None) -> Ambient | None:
        data = self.root.data.get("ambient", {})
        table = (
            sub_table(self.root, "ambient")
            if "ambient" in self.root.data
            else Table(self.document, ("ambient",), data, self.problems)
        )
        if table is None:
            return None
        table.refuse_unknown([spec.key for spec in SECTIONS["ambient"]], (), _ELSEWHERE)
        values = table.read(SECTIONS["ambient"])
        soak = values.get("soak")
        if soak and any(late < early for early, late in pairwise(soak)):
            table.problem("soak", "runs from warm to cold", "write the coldest first", "E136")
        if "pressure" not in values or "temperature" not in values:
            return None
        if "pressure" not in table.data:
            values["pressure"] = site_pressure(launch) or values["pressure"]
        check_site(table, launch, values["pressure"])
        soak = soak or [values["temperature"]]
        return Ambient(np.array([values["pressure"]]), np.array([values["temperature"]]), np.array([soak], dtype=float))

    def _startup(self) -> Startup | None:
        table = sub_table(self.root, "startup")
        if table is None:
            return None
        table.refuse_unknown([spec.key for spec in SECTIONS["startup"]], (), _ELSEWHERE)
        speed = table.read(SECTIONS["startup"]).get("spread_speed")
        return None if speed is None else Startup(np.array([float(speed)]))

    def _factors(self) -> dict[str, float]:
        table = sub_table(self.root, "factors")
        if table is None:
            return {}
        table.refuse_unknown(FACTOR_KINDS, tuple(OLD_FACTOR_KINDS))
        given = table.read(SECTIONS["factors"])
        for old, new in OLD_FACTOR_KINDS.items():
            if old in given and new in given:
                table.problem(old, f"is the older name of {new}, which is given too", f"remove {old}", "E114")
        return {OLD_FACTOR_KINDS.get(kind, kind): value for kind, value in given.items()}

    def _check_fit(self, parts: Mapping[str, Any]) -> None:
        """Whether grains and liner go into the case."""
        case, grain, liner = parts["case"], parts["grain"], parts["liner"]
        if case is None or grain is None or ("liner" in self.root.data and liner is None):
            return
        room = float(case.bore[0]) - (2.0 * float(liner.thickness[0]) if liner else 0.0)
        if room <= 0:
            table = Table(self.document, ("liner",), self.root.data["liner"], self.problems)
            table.problem("thickness", f"fills the bore of {_mm(float(case.bore[0]))}", "a thinner liner or a wider case", "E133")
            return
        lengths = grain.count[0] * grain.length[0]
        for row, outer in enumerate(grain.outer_diameter[0]):
            if outer > room * (1 + 1e-9):
                fix = f"at most {_mm(room)} (bore {_mm(float(case.bore[0]))}{', less the liner twice' if liner else ''})"
                self._grain(row).problem("outer_diameter", f"is wider than the room in the case, {_mm(room)}", fix, "E133")
        if case.length is not None and lengths.sum() > float(case.length[0]) * (1 + 1e-9):
            table = Table(self.document, ("case",), self.root.data["case"], self.problems)
            fix = "fewer or shorter grains, or a longer case"
            table.problem("length", f"is shorter than the grains, {_mm(float(lengths.sum()))} together", fix, "E134")

    def _check_shapes(self, motors: Motors) -> None:
        """What geometry does not allow, each at the key that would mend it."""
        case, tube = motors.case, ""
        if case is not None:
            tube = f" (bore {_mm(float(case.bore[0]))}, wall {_mm(float(case.wall[0]))}"
            tube += ")" if case.length is None else f", length {_mm(float(case.length[0]))})"
        for shape in SHAPES:
            which = shape.which(motors)
            if which is None or not which.any():
                continue
            path = path_in(self.root.data, shape.key)
            if any(problem.key == dotted(path) for problem in self.problems.found):
                continue  # what is told already is not told twice
            data: Any = self.root.data
            for name in path[:-1]:
                data = data[name] if isinstance(name, int) else data.get(name, {})
            reason = shape.reason.rpartition(": ")[2]
            throat = f" (throat {_mm(float(motors.nozzle.throat_diameter[0]))})"
            cure = shape.cure + (throat if path[-1] == "exit_diameter" else tube)
            Table(self.document, path[:-1], data, self.problems).problem(path[-1], f"cannot be: {reason}", cure, "E138")

    def _grain(self, row: int) -> Table:
        data = self.root.data["grain"]
        if isinstance(data, dict):
            return Table(self.document, ("grain",), data, self.problems)
        return Table(self.document, ("grain", row), data[row], self.problems)


def _mm(value: float) -> str:
    return f"{show_dimension(value, 'length')} ({show_dimension(value, 'length', 'imperial')})"


def _elsewhere() -> dict[str, str]:
    """Which table a key belongs to, for keys that belong to one only."""
    homes: dict[str, set[str]] = {}
    for section, specs in SECTIONS.items():
        for spec in specs:
            if section != "wear" or spec.key not in homes:  # a log says again what was measured, and is no home of it
                homes.setdefault(spec.key, set()).add(section)
    return {key: next(iter(names)) for key, names in homes.items() if len(names) == 1 and "" not in names}


_ELSEWHERE = _elsewhere()


def _grain_row(table: Table) -> dict[str, float] | None:
    specs = SECTIONS["grain"]
    table.refuse_unknown([spec.key for spec in specs], (), _ELSEWHERE)
    faces, caps = _faces(table)
    values = table.read([spec for spec in specs if spec.key not in _FACE_KEYS])
    values |= _bare(table, faces, values.get("burning_ends"), values.get("core_diameter"))
    outer, core, ends = (values.get(name) for name in ("outer_diameter", "core_diameter", "burning_ends"))
    if outer is not None and core is not None and core >= outer:
        table.problem(
            "core_diameter",
            f"is not inside the grain of {_mm(outer)}",
            "a core smaller than the outer diameter",
            "E130",
        )
    if core == 0.0 and ends == 0 and not caps:
        table.problem(
            "burning_ends",
            "leaves nothing to burn: no core and no bare end",
            "burning_ends = 1, or give a core",
            "E137",
        )
    _check_caps(table, caps, outer, core)
    values |= {_CAPS[face]: to for face, to in caps.items()}
    needed = ("count", "length", "outer_diameter", "core_diameter", "burning_ends", "forward_bare")
    return values if all(name in values for name in needed) else None


_FACE_KEYS = ("forward_face", "aft_face")
_CAPS = {"forward_face": "forward_covered_to", "aft_face": "aft_covered_to"}
"""The column of each face that a cap covers in part."""


def _faces(table: Table) -> tuple[dict[str, str], dict[str, float]]:
    """What the file says of the end faces, a cap counted as no bare face, and how far open a cap leaves its face."""
    found: dict[str, str] = {}
    caps: dict[str, float] = {}
    for spec in SECTIONS["grain"]:
        if spec.key not in _FACE_KEYS or spec.key not in table.data:
            continue
        if isinstance(table.data[spec.key], Mapping):
            cap = Table(table.document, (*table.path, spec.key), table.data[spec.key], table.problems)
            specs = SECTIONS[f"grain.{spec.key}"]
            cap.refuse_unknown([one.key for one in specs])
            read = cap.read(specs)
            found[spec.key] = "covered"
            if "covered_to" in read:
                caps[spec.key] = float(read["covered_to"])
            continue
        value = read_value(table, spec.key, table.data[spec.key], spec)
        if value is not None:
            found[spec.key] = str(value)
    return found, caps


def _check_caps(table: Table, caps: Mapping[str, float], outer: float | None, core: float | None) -> None:
    """A cap ends on its face: no further in than the core, no further out than the grain."""
    if outer is None or core is None:
        return
    for face, to in caps.items():
        if not core <= to <= outer:
            where = f"inside the core of {_mm(core)}" if to < core else f"outside the grain of {_mm(outer)}"
            cure = f"between {_mm(core)}, which covers the whole face, and {_mm(outer)}, which leaves it bare"
            table.problem((face, "covered_to"), f"lies {where}", cure, "E137")


def _bare(table: Table, faces: Mapping[str, str], ends: int | None, core: float | None) -> dict[str, float]:
    """Number of bare faces and whether a single one is the forward one; empty after a problem was noted."""
    if len(faces) == 2:
        bare = sum(face == "bare" for face in faces.values())
        if ends is not None and ends != bare:
            table.problem("burning_ends", f"is {ends}, and the faces leave {bare} bare", "remove it, or mend a face", "E138")
        return {"burning_ends": bare, "forward_bare": float(bare == 1 and faces["forward_face"] == "bare")}
    if ends is None:
        if not any(key in table.data for key in _FACE_KEYS):
            table.missing("burning_ends", "add burning_ends = 2, or forward_face and aft_face")
        elif faces:
            other = next(key for key in _FACE_KEYS if key not in table.data) if len(table.data.keys() & {*_FACE_KEYS}) == 1 else ""
            if other:
                table.missing(other, f'add {other} = "bare", "inhibited" or {{covered_to = "30 mm"}}')
        return {}
    if "covered" in faces.values():
        other = next(key for key in _FACE_KEYS if key not in faces)
        if other not in table.data:
            table.missing(other, f'add {other} = "bare" or "inhibited": beside a cap the faces say what is bare')
        return {}
    if ends == 1 and not faces and core is not None and core > 0.0:
        fix = 'say which: forward_face = "inhibited" and aft_face = "bare", or the other way round'
        table.problem("burning_ends", "is 1, and does not say which end is bare", fix, "E137")
        return {}
    said = next(iter(faces.items()), None)
    if said is None:
        return {"burning_ends": ends, "forward_bare": 0.0}
    if (ends == 2 and said[1] != "bare") or (ends == 0 and said[1] == "bare"):
        table.problem("burning_ends", f"is {ends}, and {said[0]} is {said[1]}", "mend one of the two", "E138")
    return {"burning_ends": ends, "forward_bare": float(ends == 1 and (said[0] == "forward_face") == (said[1] == "bare"))}


def _check_vent(table: Table, row: dict[str, float] | None, first: bool) -> None:
    """A grain without a core lets no gas past: one such grain, at the head end, burning towards the nozzle."""
    if row is None or row["core_diameter"] > 0.0:
        return
    forward = row["forward_bare"] > 0.0 or row["burning_ends"] > 1 or row.get("forward_covered_to", 0.0) > 0.0
    if not forward and row["burning_ends"] < 1 and not row.get("aft_covered_to", 0.0) > 0.0:
        return
    cure = 'an end burner is one grain at the head end with burning_ends = 1; else give a core: core_diameter = "16 mm"'
    if row["count"] > 1:
        table.problem("count", "grains without a core, and the gas of all but the last cannot get out", cure, "E139")
    elif not first:
        table.problem("core_diameter", "shuts in the gas of the grains ahead of this one", cure, "E139")
    elif forward:
        table.problem("burning_ends", "without a core, the gas of the head-end face cannot get out", cure, "E139")


def _propellant_file(path: Path, problems: Problems, user: Table | None = None) -> PropellantFile | None:
    """A propellant file; where a motor names one that cannot be read, the motor's line is told too."""
    try:
        document = read_document(path, "a propellant file (TOML)")
    except InputError as error:
        if user is None:
            raise
        for item in error.problems:
            if item.code in ("E142", "E143"):
                user.problem("use", f"{item.problem}: {plain_file(path)}", item.fix, item.code)
            else:
                problems.found.append(item)
        return None
    return _propellant_document(document, path, problems)


def _propellant_document(document: Document, path: Path, problems: Problems) -> PropellantFile | None:
    root = Table(document, (), document.data, problems)
    check_schema(root, "propellant")
    inner = sub_table(root, "propellant") if "propellant" in document.data else None
    table = inner or root
    if "propellant" in document.data:
        root.refuse_unknown(("schema", "name"), ("propellant", "provenance"))
        if inner is None:
            return None
    if "use" in table.data:
        table.problem("use", "a propellant file cannot name another", "give the propellant's own keys", "E115")
        return None
    provenance = _provenance(root)
    propellant = read_propellant(table, own_file=inner is None, name=str(document.data.get("name") or path.stem))
    if propellant is None or problems:
        return None
    data = {key: value for key, value in plain_data(table.data).items() if key not in ("schema", "provenance")}
    data.setdefault("name", propellant.name)
    return PropellantFile(path, propellant.name, propellant, data, provenance, document.digest)


def _provenance(root: Table) -> dict[str, str]:
    table = sub_table(root, "provenance")
    if table is None:
        return {}
    return {str(key)[:80]: str(value)[:2000] for key, value in table.data.items()}


def read_propellant(table: Table, own_file: bool = False, name: str = "") -> Propellant | None:
    """A [propellant] table, or the top level of a propellant's own file."""
    specs = [spec for spec in SECTIONS["propellant"] if spec.key != "use"]
    extra = ("schema",) if own_file else ()
    tables = ("rate", "erosive_constants", *(("provenance",) if own_file else ()))
    table.refuse_unknown([*(spec.key for spec in specs), *extra], tables, {} if own_file else _ELSEWHERE)
    values = table.read(specs)
    rows = _rate_rows(table)
    law = values.pop("erosive", "none")
    constants = read_constants(table, law)
    title = values.pop("name", None) or name
    needed = [spec.key for spec in specs if spec.required or spec.default is not None]
    if rows is None or any(key not in values for key in needed if key != "erosive"):
        return None
    columns: dict[str, Any] = {key: column(value) for key, value in values.items()}
    return Propellant(name=title, erosive=law, erosive_constants=constants, **columns, **rows)


def _rate_rows(table: Table) -> dict[str, Array] | None:
    """The rows of the rate law, in order, touching."""
    if "rate" not in table.data:
        table.missing("rate", "add a [[propellant.rate]] table with from, to, rate, at and exponent")
        return None
    tables = sub_tables(table, "rate", MOST_RATE_ROWS)
    specs = SECTIONS["propellant.rate"]
    rows: list[dict[str, Any]] = []
    for row in tables:
        row.refuse_unknown([spec.key for spec in specs], (), _ELSEWHERE)
        rows.append(row.read(specs))
    if not rows:
        if isinstance(table.data["rate"], list) and not table.data["rate"]:
            table.problem("rate", "is an empty list", "add a [[propellant.rate]] table", "E112")
        return None
    if any(len(row) != len(specs) for row in rows):
        return None
    _check_rows(tables, rows)
    names = {"from": "rate_from", "to": "rate_to", "rate": "rate", "at": "rate_at", "exponent": "exponent"}
    return {leaf: np.array([[row[key] for row in rows]], dtype=float) for key, leaf in names.items()}


def _check_rows(tables: list[Table], rows: list[dict[str, Any]]) -> None:
    for table, row in zip(tables, rows, strict=True):
        if row["to"] <= row["from"]:
            table.problem("to", "is not above from", "a row runs from a lower to a higher pressure", "E132")
    for place in range(1, len(rows)):
        before, here = rows[place - 1], rows[place]
        difference = here["from"] - before["to"]
        if abs(difference) <= TOUCHING * before["to"]:
            here["from"] = before["to"]
            continue
        end = f"{show_dimension(before['to'], 'pressure')} ({show_dimension(before['to'], 'pressure', 'imperial')})"
        if here["from"] <= before["from"]:
            problem, fix = "stands out of order", "write the rows in order of pressure"
        elif difference > 0:
            problem, fix = (
                f"leaves a gap after the row before, which ends at {end}",
                f"from = {end}, or another row between",
            )
        else:
            problem, fix = f"overlaps the row before, which ends at {end}", f"from = {end}, or end that row sooner"
        tables[place].problem("from", problem, fix, "E132")


MOST_GAPS = 6
_GAP_COLUMNS = {"forward end": "gap_forward", "joint": "gap_joint", "aft end": "gap_aft", "unknown": "gap"}


def _gaps(table: Table) -> dict[str, Any]:
    """[[liner.gap]]: the widest gap of each place as a column, and whether gas can pass through one."""
    found: dict[str, Any] = {}
    flow: list[str] = []
    for row in sub_tables(table, "gap", MOST_GAPS):
        row.refuse_unknown([spec.key for spec in SECTIONS["liner.gap"]])
        values = row.read(SECTIONS["liner.gap"])
        if "place" not in values or "width" not in values:
            continue
        name = _GAP_COLUMNS[values["place"]]
        found[name] = max(found.get(name, 0.0), float(values["width"]))
        flow += [values["place"]] if values.get("flow") else []
    return {name: column(width) for name, width in found.items()} | {"gap_flow": tuple(dict.fromkeys(flow))}


def _measured(table: Table) -> LinerFactors | None:
    """[[liner.measured]]: what tests have shown of the depth that is lost, a row a place."""
    found: dict[str, Any] = {}
    for row in sub_tables(table, "measured", len(MEASURED_NAMES)):
        row.refuse_unknown([spec.key for spec in SECTIONS["liner.measured"]])
        values = row.read(SECTIONS["liner.measured"])
        if "place" not in values or "factor" not in values:
            continue
        name = MEASURED_NAMES[values["place"]]
        if name in found:
            row.problem("place", "is given twice", "one row a place", "E115")
        found |= {name: column(values["factor"]), f"{name}_within": column(values.get("within", REMAINING))}
    return LinerFactors(**found) if found else None
