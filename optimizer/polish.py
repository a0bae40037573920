"""Rounding a design to what the shop has: the next drill or reamer up and down, and what each rounding costs.

Owns the neighbours of a design in the stock lists and their proof by the same assessment as any motor. May import
space, shop and physics.
"""

from __future__ import annotations

from collections.abc import Sequence
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
    trials: list[tuple[str, float, float, str, Motors]] = []
    for number, variable in enumerate(space.variables):
        if variable.meaning not in STOCKED or space.study.variables[variable.name].kind == "stock":
            continue
        value = float(variable.values[row[0, number]])
        for size, tool in neighbours(STOCKED[variable.meaning], value, space.study.path.parent):
            motors = _with(space, base, variable.meaning, value, size)
            if motors is not None:
                trials.append((variable.name, value, size, tool, motors))
    if not trials:
        return []
    before = _figures(base, kernel)[0]
    found = []
    for name, value, size, tool, motors in trials:
        after, ok = _figures(motors, kernel)
        changes = {key: after[key] / before[key] - 1.0 for key in SHOWN if before.get(key)}
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


def _with(space: Space, base: Motors, meaning: str, old: float, new: float) -> Motors | None:
    """The design with one size replaced where it stands; None where the core would be as wide as the grain."""
    if meaning == "throat_diameter":
        values: dict[str, Any] = {"nozzle.throat_diameter": np.array([new])}
        if any(variable.meaning == "expansion_ratio" for variable in space.variables):
            values["nozzle.exit_diameter"] = np.asarray(base.nozzle.exit_diameter) * (new / old)
        return base.with_values(values)
    core = np.atleast_2d(base.grain.core_diameter)
    changed = np.where(core == old, new, core)
    if bool((changed >= np.atleast_2d(base.grain.outer_diameter)).any()):
        return None
    return base.with_values({"grain.core_diameter": changed})


def _figures(motors: Motors, kernel: str) -> tuple[dict[str, float], bool]:
    found = assess(motors, kernel=kernel, curve=True)
    values = {name: float(found.figures[name][0]) for name in ("peak_pressure", "total_impulse", "burn_time")}
    values["maximum_expected_pressure"] = float(found.maximum_expected_pressure[0])
    values["smallest_factor"] = float(found.smallest_factor[0])
    choked = bool(found.figures.flags["port_choked"][0])
    return values, bool(found.ok[0]) and not choked
