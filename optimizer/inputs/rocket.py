"""What a motor file says of the rocket, its launch and what was weighed.

Imports the tables, the vocabulary and physics.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from optimizer.inputs.tables import Table, sub_table, sub_tables
from optimizer.units import show_dimension
from optimizer.vocabulary import SECTIONS
from physics.flight.atmosphere import standard_pressure
from physics.flight.mission import ASSUMED_DRAG
from physics.motors import Airframe, Array, Case, Launch, Rocket, Weighed

MOST_DRAG_ROWS = 100
PRESSURE_SLACK = 0.04
"""How far the pressure at the site may lie from the standard's there: weather, and no more (judgement)."""


def read_rocket(root: Table) -> Rocket | None:
    """[rocket]: what flies, without the motor."""
    table = sub_table(root, "rocket")
    if table is None:
        return None
    if "launch" not in root.data:
        root.missing("launch", 'add a [launch] table with rail_length = "2 m": the guided travel')
    table.refuse_unknown([spec.key for spec in SECTIONS["rocket"]], ("drag",))
    values = table.read(SECTIONS["rocket"])
    rows = _drag_rows(table)
    if rows is not None and "drag_coefficient" in table.data:
        table.problem("drag_coefficient", "stands beside [[rocket.drag]]", "keep one of the two", "E115")
    if rows is not None and "drag_coefficient_thrusting" in values:
        cure = "leave it out, or give one number each"
        table.problem("drag_coefficient_thrusting", "stands beside [[rocket.drag]]", cure, "E115")
    if "mass" not in values or "diameter" not in values:
        return None
    drag = values.pop("drag_coefficient", ASSUMED_DRAG)
    _check_order(table, values)
    columns: dict[str, Any] = {name: np.array([value], dtype=float) for name, value in values.items()}
    if rows is None:
        return Rocket(drag_coefficient=np.array([drag]), **columns)
    return Rocket(drag_coefficient=rows[1], drag_mach=rows[0], **columns)


def _drag_rows(table: Table) -> tuple[Array, Array] | None:
    if "drag" not in table.data:
        return None
    rows: list[dict[str, float]] = []
    for row in sub_tables(table, "drag", MOST_DRAG_ROWS):
        row.refuse_unknown([spec.key for spec in SECTIONS["rocket.drag"]])
        values = row.read(SECTIONS["rocket.drag"])
        if len(values) == len(SECTIONS["rocket.drag"]):
            if rows and values["mach"] <= rows[-1]["mach"]:
                row.problem("mach", "is not above the row before", "write the rows in order of Mach number", "E132")
            rows.append(values)
    if len(rows) < 2:
        table.problem("drag", "has fewer than two rows", "give two rows, or drag_coefficient = 0.5", "E112")
        return None
    mach, coefficient = (np.array([[row[key] for row in rows]], dtype=float) for key in ("mach", "coefficient"))
    return mach, coefficient


def _check_order(table: Table, values: dict[str, Any]) -> None:
    end = values.get("motor_end")
    if end is not None and values.get("centre_of_mass", 0.0) > end:
        table.problem("centre_of_mass", "lies behind the motor's end", "both run from the nose's tip", "E138")
    if (end is None) != ("centre_of_mass" not in values):
        known, other = ("centre_of_mass", "motor_end") if end is None else ("motor_end", "centre_of_mass")
        table.problem(known, f"says nothing without {other}", f"add {other}, or leave both out", "E112")


def read_launch(root: Table) -> Launch | None:
    """[launch]: where the rocket starts."""
    table = sub_table(root, "launch")
    if table is None:
        return None
    if "rocket" not in root.data:
        root.missing("rocket", "add a [rocket] table with mass and diameter, or leave [launch] out")
    table.refuse_unknown([spec.key for spec in SECTIONS["launch"]])
    values = table.read(SECTIONS["launch"])
    if len(values) < len(SECTIONS["launch"]):
        return None
    return Launch(**{name: np.array([value], dtype=float) for name, value in values.items()})


def read_weighed(root: Table) -> Weighed | None:
    """[masses]: what the scales say."""
    table = sub_table(root, "masses")
    if table is None:
        return None
    table.refuse_unknown([spec.key for spec in SECTIONS["masses"]])
    values = table.read(SECTIONS["masses"])
    return Weighed(np.array([values["empty"]])) if "empty" in values else None


def site_pressure(launch: Launch | None) -> float | None:
    """The standard pressure at the site [Pa]; None where no site is given."""
    return None if launch is None else float(standard_pressure(launch.altitude)[0])


def check_site(table: Table, launch: Launch | None, pressure: float) -> None:
    """Refuse a pressure that cannot be the site's own: one reduced to sea level, as weather reports give it."""
    standard = site_pressure(launch)
    if standard is None or "pressure" not in table.data or abs(pressure / standard - 1.0) <= PRESSURE_SLACK:
        return
    reads = show_dimension(standard, "pressure")
    fix = f"what a barometer at the site reads, about {reads}, not the pressure reduced to sea level (QNH); or leave it out"
    table.problem("pressure", "does not belong to launch.altitude", fix, "E138")


def check_body(root: Table, rocket: Rocket | None, case: Case | None, airframe: Airframe | None) -> None:
    """Refuse a rocket slimmer than what it holds."""
    if rocket is None:
        return
    table = Table(root.document, ("rocket",), root.data["rocket"], root.problems)
    inside = [
        (part, float(width[0]))
        for part, width in (
            ("case.outer_diameter", None if case is None else case.outer_diameter),
            ("airframe.inner_diameter", None if airframe is None else airframe.inner_diameter),
        )
        if width is not None
    ]
    for part, width in inside:
        if float(rocket.diameter[0]) < width:
            problem = f"is less than {part}, {show_dimension(width, 'length')}"
            table.problem("diameter", problem, "the largest diameter of the body", "E138")
