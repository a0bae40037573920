"""What a study asks of its designs: the tables [limits] and [objectives].

Owns bounds, required factors, objectives, and percentiles of them over the tolerances. Imports the tables, the spans
and the vocabulary.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from optimizer.inputs.spans import flat, parse_bound
from optimizer.inputs.tables import Table, read_value, sub_table, type_name
from optimizer.inputs.text import Path_
from optimizer.problems import nearest, shown_value
from optimizer.units import DIMENSIONS
from optimizer.vocabulary import (
    CHANCE,
    FACTOR,
    LIMIT_NAMES,
    MOST_SAMPLES,
    QUANTITIES,
    RENAMED,
    SCATTERED_NAMES,
    KeySpec,
    at_percentile,
)

PRESSURE_LIMIT = "maximum_pressure"
MOST_OBJECTIVES = 8
SMALLEST = "smallest_factor"
SIGNED = ("clearance", "length_clearance")
"""Quantities that may be negative."""
_PERCENTILE = KeySpec(
    "percentile", "number", "percentile over the tolerances", "ratio", 0.0, 100.0, open_low=True, open_high=True, example="5"
)  # fmt: skip


@dataclass(frozen=True)
class Limit:
    """Bounds (SI, ends included) of a figure; `name` is as in the study, `quantity` the figure it bounds.

    With a `percentile` the bound is on that percentile of the figure over the tolerances.
    """

    name: str
    minimum: float | None = None
    maximum: float | None = None
    quantity: str = ""
    percentile: float | None = None


@dataclass(frozen=True)
class Objective:
    """A column and which way is better, "min" or "max"; `quantity` and `percentile` say what the column holds."""

    name: str
    sense: str
    quantity: str = ""
    percentile: float | None = None

    @property
    def sign(self) -> float:
        """+1 to minimise, -1 to maximise."""
        return 1.0 if self.sense == "min" else -1.0


def read_limits(root: Table) -> tuple[list[Limit], dict[str, float]]:
    """The bounds of a study, and the factors it requires by mode."""
    table = sub_table(root, "limits")
    if table is None:
        return [], {}
    limits: list[Limit | None] = []
    factors: dict[str, float] = {}
    for name, value in table.data.items():
        if name == "minimum_factor":
            factors = _factors(table)
        elif name == PRESSURE_LIMIT and isinstance(value, dict):
            bounds = _limit(table, (name,), "maximum_expected_pressure", value)
            limits.append(None if bounds is None else replace(bounds, name=name if bounds.percentile is None else bounds.name))
        elif name == PRESSURE_LIMIT:
            spec = KeySpec(name, "quantity", "maximum expected pressure", "pressure", 1e3, 2e8)
            most = read_value(table, name, value, spec)
            limits.append(None if most is None else Limit(name, None, most, "maximum_expected_pressure"))
        elif name in ("impulse_class", "impulse"):
            fix = 'write it under [target], as in impulse_class = "K" or impulse = ["1500 N*s", "2200 N*s"]; here: total_impulse'
            table.problem(name, "is what a study aims at, and no limit", fix, "E151")
        elif name not in LIMIT_NAMES:
            known = (*LIMIT_NAMES, PRESSURE_LIMIT, "minimum_factor")
            table.problem(name, "is not a figure that can be limited", _meant(name, known), "E151")
        elif isinstance(value, list) and value:
            # The same figure as it is and under scatter: a list of bounds.
            limits += [_limit(table, (name, place), name, item) for place, item in enumerate(value)]
        else:
            limits.append(_limit(table, (name,), name, value))
    found = [limit for limit in limits if limit is not None]
    _refuse_twins(table, found)
    return found, factors


def read_objectives(root: Table) -> list[Objective]:
    """The objectives of a study, in the order of the file."""
    table = sub_table(root, "objectives")
    if table is None:
        if "objectives" not in root.data:
            root.missing("objectives", 'add an [objectives] table, as in loaded_mass = "min"')
        return []
    found: list[Objective | None] = []
    varied = _varied(root.data.get("search"))
    for name, value in table.data.items():
        if name == FACTOR:
            found += _factor_objectives(table)
        else:
            found += [_objective(table, ".".join(path), item, varied, path) for path, item in flat({name: value})]
    if len(found) > MOST_OBJECTIVES:
        table.problem(None, f"has {len(found)} objectives", f"at most {MOST_OBJECTIVES}; make the others limits", "E155")
    elif not table.data:
        table.problem(None, "is empty", 'aim for something, as in loaded_mass = "min"', "E156")
    return [objective for objective in found if objective is not None]


def _varied(search: Any) -> list[str]:
    """Names under [search] that have an order: all but names of materials, screws and the like."""
    if not isinstance(search, dict):
        return []
    return [".".join(path) for path, value in flat(search) if not (isinstance(value, list) and all(map(_is_name, value)))]


def _is_name(value: Any) -> bool:
    return isinstance(value, str) and not value[:1].isdigit() and value[:1] not in "+-."


def fewest_samples(limits: Iterable[Limit]) -> int:
    """Samples without which a limit on the chance of failure could not be met even if none failed; 0 without one.

    At most `MOST_SAMPLES`: what is rarer rests on the scatter of strengths, which is smooth, and not on counting.
    """
    chances = [limit.maximum for limit in limits if limit.quantity == CHANCE and limit.maximum is not None]
    needed = max((math.ceil(math.log(0.05) / math.log1p(-chance)) for chance in chances), default=0)
    return min(needed, MOST_SAMPLES)


def known_modes() -> list[str]:
    """Names of the rungs that a study may ask a factor of."""
    from physics.failure.ladder import MODES

    return list(dict.fromkeys(row.mode for row in MODES))


def _limit(table: Table, path: Path_, name: str, value: Any) -> Limit | None:
    dimension = QUANTITIES[name].dimension
    sample = f'"... {DIMENSIONS[dimension].units[0]}"' if dimension != "ratio" else "..."
    form = f"write {name} = {{min = {sample}, max = {sample}}}, or one of the two"
    if not isinstance(value, dict):
        given = shown_value(value)
        if isinstance(value, (str, int, float)) and not isinstance(value, bool):
            form = f"write {name} = {{max = {given}}}, or {{min = {given}}}"
        table.problem(path, f"is {type_name(value)}; expected bounds", form, "E108")
        return None
    unknown = [key for key in value if key not in ("min", "max", "percentile")]
    if unknown:
        table.problem((*path, unknown[0]), "is neither min, max nor percentile", form, "E110")
        return None
    if not set(value) & {"min", "max"}:
        table.problem(path, "has no bound", form, "E112")
        return None
    bounds = {key: parse_bound(table, (*path, key), item, dimension) for key, item in value.items() if key != "percentile"}
    percentile = _percentile(table, path, name, value)
    if any(bound is None for bound in bounds.values()) or percentile is _WRONG:
        return None
    limit = Limit(name, bounds.get("min"), bounds.get("max"), name, percentile)
    if percentile is not None:
        limit = Limit(at_percentile(name, percentile), limit.minimum, limit.maximum, name, percentile)
    return limit if _bounds_make_sense(table, path, name, limit) else None


def _bounds_make_sense(table: Table, path: Path_, name: str, limit: Limit) -> bool:
    low, high = limit.minimum, limit.maximum
    if low is not None and high is not None and low > high:
        table.problem(path, "has its bounds the wrong way round", "exchange min and max", "E157")
        return False
    may_be_negative = name in SIGNED or QUANTITIES[name].dimension == "temperature"
    if high is not None and high < 0 and not may_be_negative:
        table.problem((*path, "max"), "is negative; nothing can meet it", "a bound above zero", "E106")
        return False
    if name == SMALLEST and high is not None:
        table.problem((*path, "max"), "would turn the stronger motors away", f"write {name} = {{min = 1.5}}", "E106")
        return False
    if name == CHANCE and (high is None or low is not None or not 0.0 < high < 1.0):
        fix = f"write {CHANCE} = {{max = 0.01}}; none failed in N samples proves a small chance, never none"
        table.problem(path, "is no upper bound between 0 and 1", fix, "E106")
        return False
    return True


_WRONG = math.nan
"""A percentile that has been refused."""


def _percentile(table: Table, path: Path_, name: str, value: Mapping[str, Any]) -> float | None:
    """The percentile asked for, None where none is; `_WRONG` where it was refused."""
    if "percentile" not in value:
        return None
    where = (*path, "percentile")
    if name not in SCATTERED_NAMES:
        why = "is a chance, which has no percentile" if name == CHANCE else "is not among what scatters"
        table.problem(where, why, f"percentiles are known of: {', '.join(SCATTERED_NAMES)}", "E151")
        return _WRONG
    found = read_value(table, where, value["percentile"], _PERCENTILE)
    return _WRONG if found is None else float(found)


def _refuse_twins(table: Table, limits: Iterable[Limit]) -> None:
    seen: set[str] = set()
    for limit in limits:
        if limit.name in seen:
            table.problem(limit.quantity, "is bounded twice in the same way", "put both bounds in one pair of braces", "E115")
        seen.add(limit.name)


def _factors(table: Table) -> dict[str, float]:
    inner = sub_table(table, "minimum_factor")
    if inner is None:
        return {}
    factors: dict[str, float] = {}
    for mode, value in inner.data.items():
        if not _is_mode(inner, mode):
            continue
        spec = KeySpec(mode, "number", "minimum factor", "ratio", 0.1, 50.0, example="2.0")
        factor = read_value(inner, mode, value, spec)
        if factor is not None:
            factors[mode] = factor
    return factors


def _is_mode(table: Table, mode: str) -> bool:
    known = known_modes()
    if mode in known:
        return True
    near = nearest(mode, known)
    fix = f"did you mean {near[0]!r}?" if near else f"modes: {', '.join(known)}"
    table.problem(mode, "is not a rung of the failure ladder", fix, "E151")
    return False


def _factor_objectives(table: Table) -> list[Objective | None]:
    """Objectives on the factors of single modes: factor = {"screw shear" = "max"}."""
    inner = sub_table(table, FACTOR)
    if inner is None:
        return []
    found: list[Objective | None] = []
    for mode, value in inner.data.items():
        if not _is_mode(inner, mode):
            continue
        if value != "max":
            inner.problem(mode, "would look for the weakest motor" if value == "min" else "is not a way to be better",
                          f'write {FACTOR} = {{"{mode}" = "max"}}', "E113")  # fmt: skip
            continue
        found.append(Objective(f"{FACTOR}.{mode}", "max", FACTOR))
    return found


def _objective(table: Table, name: str, value: Any, varied: Collection[str] = (), path: Path_ | None = None) -> Objective | None:
    path = path or (name,)
    if name in varied and name not in LIMIT_NAMES:
        if value in ("min", "max"):
            return Objective(name, value, name)
        table.problem(path, "is neither min nor max", f'write {name} = "min" or "max"', "E113")
        return None
    if name not in LIMIT_NAMES:
        cure = _meant(name, (*LIMIT_NAMES, *varied))
        table.problem(path, "is neither a figure that can be aimed for nor a number that [search] varies", cure, "E152")
        return None
    if not isinstance(value, dict):
        if value in ("min", "max"):
            return Objective(name, value, name)
        table.problem(name, "is neither min nor max", f'write {name} = "min" or "max"', "E113")
        return None
    form = f'write {name} = "min"' if name == CHANCE else f'write {name} = {{sense = "max", percentile = 5}}'
    unknown = [key for key in value if key not in ("sense", "percentile")]
    if unknown:
        table.problem((name, unknown[0]), "is neither sense nor percentile", form, "E110")
        return None
    if value.get("sense") not in ("min", "max"):
        key = (name, "sense") if "sense" in value else (name,)
        table.problem(key, "is neither min nor max" if "sense" in value else "does not say which way is better", form, "E113")
        return None
    percentile = _percentile(table, (name,), name, value)
    if percentile is _WRONG:
        return None
    if name == SMALLEST and value["sense"] == "min":
        table.problem((name, "sense"), "would look for the weakest motor", 'write sense = "max"', "E113")
        return None
    column = name if percentile is None else at_percentile(name, percentile)
    return Objective(column, value["sense"], name, percentile)


def _meant(name: str, known: Iterable[str]) -> str:
    """What may have been meant by a name that is not known."""
    if name in RENAMED:
        return f"this figure is now called {RENAMED[name]}: write {RENAMED[name]} in place of {name}"
    names = list(known)
    near = nearest(name, names, 3)
    return f"did you mean {' or '.join(map(repr, near))}?" if near else f"figures: {', '.join(names[:12])}, ..."
