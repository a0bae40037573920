"""Rounding a design to what the shop has: the next drill or reamer up and down, and what each rounding costs.

Owns the neighbours of a design in the stock lists and their proof by the same assessment as any motor. May import
space, shop and physics.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.shop import load_stock
from optimizer.space import Space
from physics.assessment import assess
from physics.motors import Motors

STOCKED = {
    "core_diameter": ("drills-metric", "drills-imperial"),
    "core_diameter_aft": ("drills-metric", "drills-imperial"),
    "throat_diameter": ("reamers-metric", "reamers-imperial"),
}
"""Variables that are drilled or reamed, with the lists that their tools come from."""
SHOWN = ("maximum_expected_pressure", "peak_pressure", "total_impulse", "burn_time", "smallest_factor")


@dataclass(frozen=True)
class Rounding:
    """One rounding of one variable of a design: from and to [m], the tool, relative changes of figures, still good."""

    variable: str
    old: float
    new: float
    tool: str
    changes: dict[str, float]
    ok: bool

    def as_dict(self) -> dict[str, Any]:
        """As reported."""
        return dict(vars(self))


def roundings(space: Space, digits: Sequence[int], kernel: str = "steady") -> list[Rounding]:
    """The next stock size up and down for every variable of a design that is cut with a tool and does not come from a
    stock list already; each re-assessed as a motor of its own, `ok` by every rung and the airframe."""
    row = np.asarray(digits, dtype=np.int64).reshape(1, -1)
    base = space.candidates(row).motors
    trials: list[tuple[str, float, float, str]] = []
    columns: list[dict[str, Any]] = []
    for number, variable in enumerate(space.variables):
        if variable.meaning not in STOCKED or space.study.variables[variable.name].kind == "stock":
            continue
        value = float(variable.values[row[0, number]])
        for size, tool in neighbours(STOCKED[variable.meaning], value, space.study.path.parent):
            changed = _changed(space, base, variable.meaning, value, size)
            if changed is not None:
                trials.append((variable.name, value, size, tool))
                columns.append(changed)
    if not trials:
        return []
    before, *after = _figures(_batch(base, columns), kernel)
    found = []
    for (name, value, size, tool), (figures, ok) in zip(trials, after, strict=True):
        changes = {key: figures[key] / before[0][key] - 1.0 for key in SHOWN if before[0].get(key)}
        found.append(Rounding(name, value, size, tool, {k: v for k, v in changes.items() if np.isfinite(v)}, ok))
    return found


def neighbours(lists: Sequence[str], value: float, folder: Any) -> list[tuple[float, str]]:
    """The nearest size below and above `value` [m] in these lists; nothing where the value is in a list already."""
    sizes = [
        (item.values["diameter"], f"{item.name} ({name})")
        for name in lists
        for item in load_stock(name, folder).items
        if "diameter" in item.values
    ]
    if any(abs(size - value) <= 1e-9 for size, _ in sizes):
        return []
    below = [entry for entry in sizes if entry[0] < value]
    above = [entry for entry in sizes if entry[0] > value]
    return ([max(below)] if below else []) + ([min(above)] if above else [])


def _changed(space: Space, base: Motors, meaning: str, old: float, new: float) -> dict[str, Any] | None:
    """Columns of the design with one size replaced where it stands; None where the core would be as wide as the grain."""
    if meaning == "throat_diameter":
        values: dict[str, Any] = {"nozzle.throat_diameter": np.array([new])}
        if any(variable.meaning == "expansion_ratio" for variable in space.variables):
            values["nozzle.exit_diameter"] = np.asarray(base.nozzle.exit_diameter) * (new / old)
        return values
    core = np.atleast_2d(base.grain.core_diameter)
    changed = np.where(core == old, new, core)
    if bool((changed >= np.atleast_2d(base.grain.outer_diameter)).any()):
        return None
    return {"grain.core_diameter": changed}


def _batch(base: Motors, columns: Sequence[Mapping[str, Any]]) -> Motors:
    """The design as it is and with each set of columns replaced, one batch."""
    names = dict.fromkeys(name for changed in columns for name in changed)
    plain = {name: np.asarray(base.value(name)) for name in names}
    values = {name: np.concatenate([plain[name], *(changed.get(name, plain[name]) for changed in columns)]) for name in names}
    return base.repeat(len(columns) + 1).with_values(values)


def _figures(motors: Motors, kernel: str) -> list[tuple[dict[str, float], bool]]:
    """Figures of each motor of a batch, and whether it passes."""
    found = assess(motors, kernel=kernel, curve=True)
    columns = {name: found.figures[name] for name in ("peak_pressure", "total_impulse", "burn_time")}
    columns |= {"maximum_expected_pressure": found.maximum_expected_pressure, "smallest_factor": found.smallest_factor}
    passes = found.ok
    return [
        ({name: float(column[row]) for name, column in columns.items()}, bool(passes[row])) for row in range(motors.size)
    ]
