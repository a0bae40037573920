"""The trade-off: rows and columns for the picture and its table, picks from the front, what nearly was feasible.

Imports values.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from optimizer.candidates.limits import ALIASES
from optimizer.output.report.values import meaning, number_text, unit_text, value_text
from optimizer.vocabulary import SHORT_KEYS, group_of, spoken

View = Mapping[str, Any]


def value_of(design: View, name: str) -> Any:
    """A design's result or variable of a name, None where it has neither."""
    results, variables = design.get("results") or {}, design.get("variables") or {}
    return results[name] if name in results else variables.get(name)


def _number(value: Any) -> float:
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else math.nan


def thinned_designs(designs: Sequence[View], most: int, view: View) -> list[View]:
    """All designs, or `most` of them spread evenly along the first objective with the best of each kept."""
    if len(designs) <= most:
        return list(designs)
    objectives = view.get("objectives") or ()
    kept: set[int] = set()
    for objective in objectives:
        order = _ranked(designs, objective)
        kept.update(order[:1])
    order = _ranked(designs, objectives[0]) if objectives else list(range(len(designs)))
    step = len(order) / (most - len(kept))
    kept.update(order[int(k * step)] for k in range(most - len(kept)))
    return [designs[k] for k in sorted(kept)]


def _ranked(designs: Sequence[View], objective: View) -> list[int]:
    sign = -1.0 if objective["direction"] == "max" else 1.0

    def key(index: int) -> tuple[bool, float]:
        value = sign * _number(value_of(designs[index], objective["name"]))
        return (math.isnan(value), value)

    return sorted(range(len(designs)), key=key)


def picks_of(designs: Sequence[View], objectives: Sequence[View]) -> list[dict[str, str]]:
    """The best design of each objective, and the one nearest to the best of all of them at once.

    Nearness: every objective runs from 0 at its best on the front to 1 at its worst; the sum of squares decides.
    """
    if not designs or not objectives:
        return []
    picks: list[dict[str, str]] = []
    if len(objectives) > 1:
        columns = []
        for objective in objectives:
            sign = -1.0 if objective["direction"] == "max" else 1.0
            column = [sign * _number(value_of(design, objective["name"])) for design in designs]
            known = [value for value in column if not math.isnan(value)]
            low, high = (min(known), max(known)) if known else (0.0, 0.0)
            columns.append([(value - low) / (high - low) if high > low else 0.0 for value in column])
        sums = [sum(column[k] ** 2 for column in columns) for k in range(len(designs))]
        balanced = min(range(len(designs)), key=lambda k: (math.isnan(sums[k]), sums[k]))
        why = "nearest to the best of every objective at once, each scaled from its best to its worst on the front"
        picks.append({"id": str(designs[balanced]["id"]), "title": "balanced", "why": why})
    for objective in objectives:
        best = _ranked(designs, objective)[0]
        word = "highest" if objective["direction"] == "max" else "lowest"
        name = spoken(objective["name"])
        picks.append({"id": str(designs[best]["id"]), "title": f"{word} {name}", "why": f"{word} {name} on the front"})
    return picks


_FIRST = ("core_diameter", "throat_diameter")
"""Variables that stand first in the table: what is cast and what is bored."""


def table_data(designs: Sequence[View], view: View, picks: Sequence[View], units: str) -> dict[str, Any]:
    """What the script needs: columns, rows of texts, which columns are the objectives, and the picks."""
    objectives = [objective["name"] for objective in view.get("objectives") or ()]
    direction = {objective["name"]: objective["direction"] for objective in view.get("objectives") or ()}
    variables = list(view.get("variables") or dict.fromkeys(k for d in designs for k in d.get("variables") or {}))
    results = dict.fromkeys(k for d in designs for k in d.get("results") or {})
    variables.sort(key=lambda name: next((place for place, word in enumerate(_FIRST) if word in name), len(_FIRST)))
    names = list(dict.fromkeys([*objectives, *variables, *(name for name in results if name not in variables)]))
    columns = []
    for name in names:
        values = [value_of(design, name) for design in designs]
        is_text = any(isinstance(value, str) for value in values)
        columns.append(
            {
                "key": name,
                "label": spoken(name),
                "unit": "" if is_text else unit_text(name, units),
                "meaning": meaning(name),
                "group": group_of(name),
                "text": is_text,
                "role": "objective" if name in objectives else "variable" if name in variables else "result",
                "best": direction.get(name, ""),
            }
        )
    rows = [[number_text(value_of(design, name), name, units) for name in names] for design in designs]
    return {
        "columns": columns,
        "rows": rows,
        "ids": [str(design["id"]) for design in designs],
        "files": [str(design.get("motor_file") or "") for design in designs],
        "picks": [{"id": str(p["id"]), "title": str(p["title"]), "why": str(p.get("why") or "")} for p in picks],
    }


def nearest_rows(view: View, units: str) -> list[dict[str, Any]]:
    """Candidates that came nearest where none is feasible: their variables and by how much they miss."""
    rows = []
    for design in view.get("nearest") or ():
        misses = [
            f"{spoken(miss['limit'])} {_bound(miss.get('value'), miss['limit'], units)}, "
            f"limit {_bound(miss.get('bound'), miss['limit'], units)}"
            for miss in design.get("misses") or ()
        ]
        rows.append({"id": str(design.get("id", "")), "variables": _described(design, units), "misses": misses})
    return rows


def relaxation_rows(view: View, units: str) -> list[dict[str, Any]]:
    """The smallest changes of one limit, or of two together, that would let a candidate in, and which one."""
    return [
        {
            "changes": [
                {
                    "limit": spoken(change["limit"]) + by_kernel(change),
                    **dict(zip(("old", "new"), moved_bound(change, units), strict=True)),
                }
                for change in row.get("changes") or [row]
            ],
            "admits": _described(row, units) or ("" if row.get("admits") is None else str(row["admits"])),
        }
        for row in view.get("relaxations") or ()
    ]


def by_kernel(change: View) -> str:
    """Which kernel finds a limit missed, where it is not the one that screens."""
    return f" ({change['kernel']} kernel)" if change.get("kernel") else ""


def moved_bound(change: View, units: str, shown: Callable[[Any, str, str], str] | None = None) -> tuple[str, str]:
    """A bound and what it would have to be, told apart: where they are shown alike, the step between them is named.

    `shown` writes a value of a limit; by default as the pages do.
    """
    write = shown or _bound
    old, new = (write(change.get(key), change["limit"], units) for key in ("from", "to"))
    if old == new:
        step = abs(float(change["to"]) - float(change["from"]))
        new = f"{new} (by {write(step, change['limit'], units)})"
    return old, new


def _bound(value: Any, limit: str, units: str) -> str:
    """A bound in the unit of the quantity that it bounds, whatever the limit is called."""
    return value_text(value, ALIASES.get(limit, limit), units)


def way_rows(view: View, units: str) -> list[dict[str, Any]]:
    """Where nothing can be built: the changes of the study or the motor that let a candidate in, and what it then is."""
    return [
        {
            "changes": [
                {
                    "name": change["key"],
                    "old": value_text(change["from"], full_key(change["key"]), units),
                    "new": value_text(change["to"], full_key(change["key"]), units),
                    "where": view["files"][change["in"]],
                }
                for change in row["changes"]
            ],
            "variables": _described(row, units),
            "then": once_built(row["misses"]),
        }
        for row in view.get("ways_in") or ()
    ]


def end_lines(ends: Iterable[View], units: str) -> list[str]:
    """What stands at the end of a range, in sentences: the whole front, or the best in an objective."""
    lines, best = [], []
    for row in ends:
        place = as_drilled(row["value"], units) or value_text(row["value"], full_key(row["variable"]), units)
        what, cure = ("range", "widen it") if row["kind"] == "range" else ("list", "give it further values")
        if row["of"] == ["front"]:
            lines.append(f"The front stands at the end of the {what} of {row['variable']} ({place}): {cure}.")
        elif row["of"] != ["nearest"]:
            best.append(f"{row['variable']} {place} (for {' and '.join(spoken(name) for name in row['of'])})")
    if best:
        lines.append(f"Best designs stand at the end of a range or list: {', '.join(best)}. More may lie beyond.")
    return lines


def as_drilled(value: object, units: str) -> str:
    """A length in SI as the fraction by which drills are named, where it is a fine one of an inch; else empty.

    >>> as_drilled(0.01984375, "imperial"), as_drilled(0.0127, "imperial"), as_drilled(0.01984375, "metric")
    ('25/32 in', '', '')
    """
    if units != "imperial" or not isinstance(value, float) or not 0.0 < value < 0.06:
        return ""
    part = Fraction(round(value / 0.0254 * 64), 64)
    if abs(float(part) * 0.0254 - value) > 1e-9 or part.denominator < 16 or part >= 1:
        return ""
    return f"{part} in"


def full_key(key: str) -> str:
    """The last part of the motor file's key behind a short one, by which its quantity is known."""
    return SHORT_KEYS.get(key, key).rpartition(".")[2]


def once_built(misses: Sequence[str] | None) -> str:
    """What is known of a candidate once it can be built."""
    if misses is None:
        return "can be built"
    return f"can be built; misses {', '.join(misses)}" if misses else "can be built and meets every limit (heat is not judged here)"


def _described(row: View, units: str) -> str:
    """The variables of a candidate as one text."""
    return ", ".join(f"{spoken(key)} {value_text(value, key, units)}" for key, value in (row.get("variables") or {}).items())
