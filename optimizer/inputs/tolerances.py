"""The [tolerances] table: scatter named by the key it belongs to, carried by the column of the batch.

Imports the tables, the vocabulary and the types of the kernel.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from optimizer.inputs.tables import Table, read_exact, sub_table
from optimizer.problems import nearest
from optimizer.units import QuantityError, to_float
from optimizer.vocabulary import BOTH_ENDS, COLUMN_KEYS, MOTOR_KEYS, SHORT_KEYS, both_ends, column_of, key_spec
from physics.motors import Motors, Tolerance

FORMS = 'write {plus_minus = "0.05 mm"}, {minus = "...", plus = "..."} or {standard_deviation = "3 %"}'
KEYS = ("plus_minus", "minus", "plus", "standard_deviation")
LARGEST_RELATIVE = 0.5
UNREAD = ("airframe.", ".mass")
"""Parts of keys whose scatter would move nothing: the room in the rocket, and masses as weighed."""
FLOWN = "rocket.mass"
"""The one mass whose scatter is told: the flight's."""
WHOLE = frozenset({
    "screw_count",
    *(key for key, spec in MOTOR_KEYS.items() if spec.kind == "whole" or (key != FLOWN and any(part in key for part in UNREAD))),
})  # fmt: skip


def tolerance_names() -> list[str]:
    """Every name that a tolerance may have."""
    keys = [key for key, spec in MOTOR_KEYS.items() if spec.column and spec.kind in ("quantity", "number")]
    return [name for name in (*SHORT_KEYS, *BOTH_ENDS, *keys) if SHORT_KEYS.get(name, name) not in WHOLE]


def read_tolerances(root: Table, motors: Motors) -> dict[str, Tolerance]:
    """Tolerances by the dotted column they belong to; a name for both closures gives an entry for each."""
    table = sub_table(root, "tolerances")
    if table is None:
        return {}
    found: dict[str, Tolerance] = {}
    for name, value in _flat(table.data):
        columns = _columns(table, name, motors)
        tolerance = _tolerance(table, name, value, columns, motors) if columns else None
        if tolerance is not None:
            found.update(dict.fromkeys(columns, tolerance))
    return found


def _flat(data: Mapping[str, Any], prefix: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Any]]:
    """Dotted names with their forms: TOML makes nested tables of ``forward_closure.plate_thickness = {...}``."""
    items: list[tuple[tuple[str, ...], Any]] = []
    for key, value in data.items():
        inner = isinstance(value, dict) and value and all(isinstance(item, dict) for item in value.values())
        if inner and not any(form in value for form in KEYS):
            items += _flat(value, (*prefix, key))
        else:
            items.append(((*prefix, key), value))
    return items


def _columns(table: Table, path: tuple[str, ...], motors: Motors) -> list[str]:
    name = ".".join(path)
    if name in BOTH_ENDS and name not in WHOLE:
        columns = list(both_ends(name))
    else:
        try:
            columns = [column_of(name)]
        except KeyError:
            columns = []
        if not columns or SHORT_KEYS.get(name, name) in WHOLE:
            near = nearest(name, tolerance_names())
            fix = f"did you mean {near[0]!r}?" if near else "name a dimension or a propellant value of this file"
            table.problem(path, "names nothing that scatters", fix, "E158", table._value_at(path))
            return []
    present = [column for column in columns if motors.value(column) is not None]
    told_already = all(motors.value(column.split(".")[0]) is None and _given(table, column) for column in columns)
    if not present and not told_already:
        part = ".".join(COLUMN_KEYS.get(columns[0], columns[0]).split(".")[:-1])
        table.problem(path, "names something that this motor does not give", f"give it under [{part}], or remove this", "E158")
    return present


def _given(table: Table, column: str) -> bool:
    """Whether the file has the table of this column, read or not: what is wrong in it has been told there."""
    return column.split(".")[0] in table.document.data


def _tolerance(table: Table, path: tuple[str, ...], value: Any, columns: list[str], motors: Motors) -> Tolerance | None:
    if not isinstance(value, dict):
        table.problem(path, "does not say what kind of scatter it is", FORMS, "E158", value)
        return None
    for key in value:
        if key not in KEYS:
            near = nearest(str(key), KEYS)
            table.problem((*path, key), "unknown key", f"did you mean {near[0]!r}?" if near else FORMS, "E110")
            return None
    if not value or ("plus_minus" in value and len(set(value) & {"minus", "plus"}) > 0):
        table.problem(path, "does not say one thing", FORMS, "E158", value)
        return None
    nominal = float(np.nanmax(np.abs(motors.value(columns[0]))))
    spec = key_spec(COLUMN_KEYS.get(columns[0], ""))
    dimension = spec.dimension if spec else "pressure"
    read = {key: _amount(table, (*path, key), item, dimension, nominal) for key, item in value.items()}
    if any(amount is None for amount in read.values()):
        return None
    amounts = {key: amount[0] for key, amount in read.items() if amount}
    kinds = {amount[1] for amount in read.values() if amount}
    if len(kinds) > 1:
        table.problem(path, "mixes percent and units", "give all in percent, or all in a unit", "E158", value)
        return None
    both = amounts.get("plus_minus", 0.0)
    return Tolerance(
        minus=amounts.get("minus", both),
        plus=amounts.get("plus", both),
        standard_deviation=amounts.get("standard_deviation", 0.0),
        relative=kinds == {True},
    )


def _amount(table: Table, path: tuple[str, ...], value: Any, dimension: str, nominal: float) -> tuple[float, bool] | None:
    """One amount, never negative, and whether it is relative."""
    relative = isinstance(value, str) and value.strip().endswith("%")
    wanted = "ratio" if relative else "temperature difference" if dimension == "temperature" else dimension
    exact = read_exact(table, path, value, wanted)
    if exact is None:
        return None
    try:
        amount = to_float(exact)
    except QuantityError as error:
        table.problem(path, error.problem, error.fix, error.code)
        return None
    if amount < 0:
        table.problem(path, "is negative", "write the amount without a sign; minus and plus say which way", "E106")
        return None
    share = amount if relative else amount / nominal if nominal else 0.0
    most = LARGEST_RELATIVE if dimension != "temperature" or relative else 0.35
    if share > most:
        table.problem(path, f"is {share:.0%} of the value itself", f"at most {most:.0%}; a slipped decimal point?", "E107")
        return None
    return amount, relative
