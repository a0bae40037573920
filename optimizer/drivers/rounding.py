"""Rounding a design to what the shop has: the next drill or reamer up and down, and what each rounding costs.

Owns the neighbours of a design in the stock lists and their proof by the same assessment as any motor, against every
limit of the study. May import space, limits, spread, shop and physics.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates import limits
from optimizer.candidates.limits import Rules, rules_of
from optimizer.candidates.samples import robust_columns
from optimizer.candidates.space import Space
from optimizer.inputs.stock import load_stock
from physics.assessment import Assessment, assess
from physics.motors import Motors

if TYPE_CHECKING:
    from optimizer.inputs import Study

STOCKED = {
    "core_diameter": ("drills-metric", "drills-imperial"),
    "core_diameter_aft": ("drills-metric", "drills-imperial"),
    "throat_diameter": ("reamers-metric", "reamers-imperial"),
}
"""Variables that are drilled or reamed, with the lists that their tools come from."""
SAWN_OFF = 1e-3
"""What may be sawn off all grains of a filled case together for a rounded throat: its convergent is longer. [m]"""
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


@dataclass(frozen=True)
class _Trial:
    """One rounding to be tried: of which design of the batch, what is replaced, and with which columns."""

    row: int
    variable: str
    old: float
    new: float
    tool: str
    columns: Mapping[str, Any]


def roundings(space: Space, digits: Sequence[Sequence[int]], kernel: str = "steady") -> list[list[Rounding]]:
    """For each design by its digits: the next stock size up and down for every variable that is cut with a tool and
    does not come from a stock list already; each re-assessed as a motor of its own, `ok` by every rung, the airframe and
    the limits of the study, under the tolerances too.
    """
    rows = np.asarray(digits, dtype=np.int64).reshape(len(digits), len(space.variables))
    found: list[list[Rounding]] = [[] for _ in rows]
    for group in space.groups(rows) if len(rows) else []:
        base = space.candidates(rows[group]).motors
        trials = [trial for row, place in enumerate(group) for trial in _trials(space, base, row, rows[place])]
        if not trials:
            continue
        figures = _figures(_batch(base, trials), kernel, space.study, base.size)
        for trial, (after, ok) in zip(trials, figures[len(group) :], strict=True):
            before = figures[trial.row][0]
            changes = {key: after[key] / before[key] - 1.0 for key in SHOWN if before.get(key)}
            kept = {key: value for key, value in changes.items() if np.isfinite(value)}
            found[group[trial.row]].append(Rounding(trial.variable, trial.old, trial.new, trial.tool, kept, ok))
    return found


def _trials(space: Space, base: Motors, row: int, digits: NDArray[np.int64]) -> Iterator[_Trial]:
    """What can be tried of one design of a batch."""
    one = base.take([row])
    for number, variable in enumerate(space.variables):
        if variable.meaning not in STOCKED or space.study.variables[variable.name].kind == "stock":
            continue
        value = float(variable.values[digits[number]])
        for size, tool in neighbours(STOCKED[variable.meaning], value, space.study.path.parent):
            columns = _changed(space, one, variable.meaning, value, size)
            if columns is not None:
                yield _Trial(row, variable.name, value, size, tool, columns)


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
    """Columns of the design with one size replaced where it stands; None where the core would be as wide as the grain,
    or the throat wider than the exit.
    """
    if meaning == "throat_diameter":
        values: dict[str, Any] = {"nozzle.throat_diameter": np.array([new])}
        if any(variable.meaning == "expansion_ratio" for variable in space.variables):
            values["nozzle.exit_diameter"] = np.asarray(base.nozzle.exit_diameter) * (new / old)
        elif bool((np.asarray(base.nozzle.exit_diameter) < new).any()):
            return None
        return values
    core = np.atleast_2d(base.grain.core_diameter)
    changed = np.where(core == old, new, core)
    if bool((changed >= np.atleast_2d(base.grain.outer_diameter)).any()):
        return None
    return {"grain.core_diameter": changed}


def _batch(base: Motors, trials: Sequence[_Trial]) -> Motors:
    """The designs as they are, and behind them each trial with its columns replaced, one batch."""
    names = dict.fromkeys(name for trial in trials for name in trial.columns)
    whole = base.take([*range(base.size), *(trial.row for trial in trials)])
    values = {}
    for name in names:
        values[name] = np.array(whole.value(name), dtype=float)
        for place, trial in enumerate(trials, base.size):
            if name in trial.columns:
                values[name][place] = trial.columns[name][0]
    return whole.with_values(values)


def _figures(motors: Motors, kernel: str, study: Study, drawn: int) -> list[tuple[dict[str, float], bool]]:
    """Figures of each motor of a batch, and whether it passes; the first `drawn` are designs, which do."""
    found = assess(motors, kernel=kernel, curve=True)
    columns = {name: found.figures[name] for name in ("peak_pressure", "total_impulse", "burn_time")}
    columns |= {"maximum_expected_pressure": found.maximum_expected_pressure, "smallest_factor": found.smallest_factor}
    passes = _passes(found, kernel, study, drawn)
    return [({name: float(column[row]) for name, column in columns.items()}, bool(passes[row])) for row in range(motors.size)]


def _passes(found: Assessment, kernel: str, study: Study, drawn: int) -> NDArray[np.bool_]:
    """Which motors meet every limit that the study sets, (n,)."""
    rules = rules_of(study)
    good = found.described & _fits(found, study) & np.isfinite(found.maximum_expected_pressure)
    for rung in found.ladder.rungs:
        required = rules.factors.get(rung.mode, rung.required)
        good &= np.broadcast_to((rung.factor >= required) | (np.asarray(required) == 0.0), good.shape)
    columns = {**found.figures.values, "maximum_expected_pressure": found.maximum_expected_pressure}
    columns |= {"smallest_factor": found.smallest_factor, **limits.mass_columns(found.masses)}
    columns |= limits.dimension_columns(found.motors, found.fit)
    if rules.flown:
        assert found.flight is not None
        for broken in limits.flight_fails(rules, found.flight, found.unknown_masses, good.size).values():
            good &= ~broken
    for bound in rules.bounds:
        if bound not in (*rules.scattered, *rules.flights):
            good &= ~bound.fails(np.broadcast_to(columns[bound.quantity], good.shape))
    rows = np.flatnonzero(good & (np.arange(good.size) >= drawn))
    if rules.scattered and rows.size:
        good[rows] &= _stands_scatter(found.motors.take(rows), kernel, rules, study)
    return good


def _fits(found: Assessment, study: Study) -> NDArray[np.bool_]:
    """Which motors go together, (n,). Grains that fill the case are sawn to the room that another throat leaves them."""
    if study.grain_length_mode != "fill":
        return found.fits
    beside = True if found.fit is None else np.asarray(found.fit["in_airframe"], dtype=bool)
    return np.asarray(found.fits | (beside & (found.assembly.least_left > -SAWN_OFF)))


def _stands_scatter(motors: Motors, kernel: str, rules: Rules, study: Study) -> NDArray[np.bool_]:
    """Which motors meet the limits under the tolerances, (n,), at the points that the search takes."""
    asked = {item.name: (item.quantity, item.percentile) for item in rules.scatter}
    tested = study.motor.motors, study.motor.evidence
    columns = robust_columns(motors, asked, kernel, study.driver.samples, limits.SCATTER_SEED, tested=tested)
    good = np.ones(motors.size, dtype=bool)
    for bound in rules.scattered:
        good &= ~bound.fails(columns[bound.quantity])
    return good
