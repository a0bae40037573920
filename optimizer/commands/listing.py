"""What may be written in a file: keys, figures, materials, screws, stock, modes, findings, as rows of plain data.

Owns which tables can be asked for and how a row reads; every row comes from the table that the product itself reads.
Imports inputs, the shop and the tables of physics.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from optimizer.firings.signatures import TRAILS
from optimizer.inputs import FINDINGS
from optimizer.inputs.aims import PRESSURE_LIMIT
from optimizer.inputs.erosive import SPECS as EROSIVE
from optimizer.inputs.evidence import TEST_KEYS
from optimizer.inputs.firing import FIRING_KEYS
from optimizer.inputs.stock import Stock, kept_names, load_stock
from optimizer.inputs.study import STUDY_KEYS
from optimizer.inputs.tolerances import tolerance_names
from optimizer.problems import nearest
from optimizer.units import DIMENSIONS
from optimizer.vocabulary import (
    BOTH_ENDS,
    CLOSURES,
    DESIGN_NAMES,
    FIGURE_NAMES,
    FLIGHT_NAMES,
    QUANTITIES,
    RETENTION_KEYS,
    SCATTERED_NAMES,
    SECTIONS,
    SHORT_KEYS,
    KeySpec,
)
from physics.failure.ladder import DEFAULT_FACTORS, MODES
from physics.failure.threads import screw_sizes
from physics.materials import material, names

Row = dict[str, Any]


class UnknownTable(Exception):
    """A table that there is not; its text names those that there are."""


def rows_of(table: str, word: str = "", folder: Path | None = None) -> list[Row]:
    """The rows of a table in its own order, those alone that have every word of `word` somewhere in them.

    `folder` is where a builder's own stock lists are looked for. Raises UnknownTable.
    """
    if table not in TABLES:
        near = nearest(table, TABLES)
        raise UnknownTable((f"did you mean {near[0]}? " if near else "") + f"tables: {', '.join(TABLES)}")
    wanted = word.casefold().split()
    return [row for row in TABLES[table](folder) if all(part in _flat(row) for part in wanted)]


def _flat(row: Row) -> str:
    return " ".join("" if value is None else str(value) for value in row.values()).casefold()


def table_names() -> list[str]:
    """Names of the tables that can be asked for."""
    return list(TABLES)


# --- keys ---------------------------------------------------------------------------------------------------------------


def _keys(folder: Path | None) -> list[Row]:
    rows = [_key_row("motor", section, spec) for section, specs in SECTIONS.items() for spec in specs]
    for end in CLOSURES:
        for retention, specs in RETENTION_KEYS.items():
            rows += [_key_row("motor", end, spec, f'with retention = "{retention}"') for spec in specs]
    rows += [_key_row("motor", "propellant.erosive_constants", spec) for spec in EROSIVE.values()]
    rows += [_tolerance_row(name) for name in tolerance_names()]
    rows += [_key_row("study", section, spec) for section, specs in STUDY_KEYS.items() for spec in specs]
    rows += [_search_row(name) for name in (*SHORT_KEYS, *BOTH_ENDS)]
    rows += [_key_row("firing", section, spec) for section, specs in FIRING_KEYS.items() for spec in specs]
    rows += [_key_row("test", "", spec) for spec in (*TEST_KEYS, *SECTIONS["evidence"])]
    return rows


def _key_row(file: str, section: str, spec: KeySpec, remark: str = "") -> Row:
    default = spec.default
    if file == "motor" and section == "factors":
        default = DEFAULT_FACTORS.get(spec.key)
    return {
        "file": file,
        "table": section,
        "key": spec.key,
        "unit": _unit(spec),
        "default": "required" if spec.required else _plain(default),
        "meaning": "; ".join(text for text in (spec.meaning, _choices(spec), remark) if text),
    }


def _unit(spec: KeySpec) -> str:
    if spec.kind in ("quantity", "quantities"):
        return DIMENSIONS[spec.dimension].units[0] if spec.dimension != "length" else "mm"
    return {"number": "", "whole": "whole number", "flag": "true or false"}.get(spec.kind, spec.kind)


def _choices(spec: KeySpec) -> str:
    return "one of: " + ", ".join(spec.choices) if spec.choices and len(spec.choices) < 12 else ""


def _plain(value: Any) -> Any:
    return "" if value is None else str(value).lower() if isinstance(value, bool) else value


def _tolerance_row(name: str) -> Row:
    known = QUANTITIES.get(name) or QUANTITIES.get(SHORT_KEYS.get(name, name).rsplit(".", 1)[-1])
    unit = known.metric_unit if known is not None else ""
    said = f"tolerance of {SHORT_KEYS.get(name, name)}" + (" at both ends" if name in BOTH_ENDS else "")
    return {"file": "motor", "table": "tolerances", "key": name, "unit": unit, "default": "", "meaning": said}


def _search_row(name: str) -> Row:
    known = QUANTITIES.get(name)
    target = SHORT_KEYS.get(name)
    said = f"values of {target}" if target else f"values of {BOTH_ENDS[name]} at both ends"
    unit = known.metric_unit if known is not None else ""
    return {"file": "study", "table": "search", "key": name, "unit": unit, "default": "", "meaning": said}


# --- figures, materials, stock --------------------------------------------------------------------------------------------


def _figures(folder: Path | None) -> list[Row]:
    rows = []
    for source, table in (("the burn", FIGURE_NAMES), ("the flight", FLIGHT_NAMES), ("the design", DESIGN_NAMES)):
        for name, quantity in table.items():
            percentile = "limit, objective, percentile" if name in SCATTERED_NAMES else "limit, objective"
            row = {"name": name, "unit": quantity.si_unit, "metric": quantity.metric_unit, "imperial": quantity.imperial_unit}
            rows.append(row | {"of": source, "may be": percentile, "meaning": quantity.meaning})
    top = {"name": PRESSURE_LIMIT, "unit": "Pa", "metric": "MPa", "imperial": "psi", "of": "the design", "may be": "limit"}
    return [*rows, top | {"meaning": "the most that maximum_expected_pressure may be, as a bare quantity"}]


_STRENGTHS = ("density", "yield_strength", "tensile_strength", "shear_strength", "limit_temperature")


def _materials(folder: Path | None, kind: str | None = None) -> list[Row]:
    rows = []
    for name in names(kind):
        found = material(name, kind)
        row: Row = {"name": name, "kind": found.kind, "also": ", ".join(found.aliases)}
        row |= {key: getattr(found, key) for key in _STRENGTHS}
        rows.append(row | {"strengths are": found.basis})
    return rows


def _grades(folder: Path | None) -> list[Row]:
    return [
        {"name": row["name"], "also": row["also"], "tensile_strength": row["tensile_strength"],
         "source": material(row["name"], "screw").source("tensile_strength")}
        for row in _materials(folder, "screw")
    ]  # fmt: skip


def _screws(folder: Path | None) -> list[Row]:
    return [
        {"name": size.designation, "diameter": size.diameter, "pitch": size.pitch, "clearance hole": size.clearance_hole}
        for size in screw_sizes()
    ]


def _stock(of: Callable[[Stock], bool]) -> Callable[[Path | None], list[Row]]:
    def rows(folder: Path | None) -> list[Row]:
        found = []
        for name in kept_names(folder):
            stock = load_stock(name, folder)
            if of(stock):
                found += [{"stock": name, "name": item.name, **item.texts} for item in stock.items]
        return found

    return rows


def _rounds(word: str) -> Callable[[Stock], bool]:
    """A list of rounds whose name says what cuts them; one of the builder's own that says neither is a list of drills."""
    other = {"drill": "reamer", "reamer": "drill"}[word]
    return lambda stock: stock.kind == "rounds" and (word in stock.name or (word == "drill" and other not in stock.name))


# --- modes and findings ---------------------------------------------------------------------------------------------------


def _modes(folder: Path | None) -> list[Row]:
    return [
        {
            "mode": mode.mode,
            "part": mode.part,
            "kind": mode.kind,
            "required": DEFAULT_FACTORS.get(mode.kind),
            "gives": "a time" if mode.lasts else "a pressure",
            "basis": mode.basis if isinstance(mode.basis, str) else "as the motor has it; `check --all` prints it",
        }
        for mode in MODES
    ]


def _findings(folder: Path | None) -> list[Row]:
    return [
        {"found": name, "left by": ", ".join(mode for mode, trail in TRAILS.items() if name in trail.found)} for name in FINDINGS
    ]


TABLES: Mapping[str, Callable[[Path | None], list[Row]]] = {
    "keys": _keys,
    "figures": _figures,
    "materials": _materials,
    "grades": _grades,
    "screws": _screws,
    "drills": _stock(_rounds("drill")),
    "reamers": _stock(_rounds("reamer")),
    "tubes": _stock(lambda stock: stock.kind == "tubes"),
    "bars": _stock(lambda stock: stock.kind == "bars"),
    "rings": _stock(lambda stock: stock.kind == "rings"),
    "modes": _modes,
    "found": _findings,
}
"""The tables that can be asked for, and what makes their rows."""

SAID: Mapping[str, str] = {
    "keys": "every key of every file: unit, default, meaning",
    "figures": "what may be a limit or an objective",
    "materials": "materials of case, liner, seal, screw and nozzle, with their strengths",
    "grades": "grades of screws",
    "screws": "sizes of screws",
    "drills": "drills of the stock lists",
    "reamers": "reamers of the stock lists",
    "tubes": "tubes of the stock lists",
    "bars": "round bars of the stock lists",
    "rings": "O-rings of the stock lists",
    "modes": "modes of failure, with the factor that each kind requires",
    "found": "what may stand under [observed] found, and which modes leave it",
}
"""What each table has, in a line."""


SHOWN: Mapping[str, tuple[str, ...]] = {
    "figures": ("name", "unit", "meaning"),
    "materials": ("name", "kind", "yield_strength", "tensile_strength", "shear_strength"),
    "grades": ("name", "also", "tensile_strength", "source"),
    "modes": ("mode", "part", "kind", "required", "basis"),
}
"""Columns that a terminal shows of a table, where it does not show all."""


def headings(rows: Iterable[Row]) -> list[str]:
    """The columns of some rows, in order, each once."""
    return list(dict.fromkeys(name for row in rows for name in row))
