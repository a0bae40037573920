"""Results as pandas frames: a row a motor, a rung, a moment or a design; SI numbers, units in ``attrs["units"]``.

Owns the shape of these frames and nothing else: every number is the one that the result itself carries. Imports
pandas, the vocabulary and the result types.

>>> from importlib.resources import files
>>> from optimizer import frames, load_motor
>>> from physics import assess
>>> look = assess(load_motor(files("optimizer") / "starter" / "motor.toml").motors)
>>> ladder = frames.ladder(look)
>>> ladder.columns.tolist()[:6], bool(ladder["ok"].all()), ladder.attrs["units"]["pressure"]
(['mode', 'part', 'kind', 'pressure', 'time', 'factor'], True, 'Pa')
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from optimizer.ladder_view import rungs_of
from optimizer.vocabulary import find_quantity
from physics.assessment import Assessment
from physics.motors import Curve, Figures

if TYPE_CHECKING:
    from optimizer.commands.compare import Comparison
    from optimizer.commands.explain import Explanation
    from optimizer.commands.search import SearchResult
    from optimizer.commands.spread import SpreadResult
    from optimizer.firings.rate_fit import Learned

_HISTORY_UNITS = {"time": "s", "regression": "m", "throat_diameter": "m"}


def _with_units(frame: pd.DataFrame, names: Iterable[Any] | None = None, **units: str) -> pd.DataFrame:
    """The frame with the SI units of what the vocabulary knows, and of what is said here."""
    named = frame.columns if names is None else names
    found = {name: find_quantity(str(name)) for name in named}
    known = {name: one.si_unit for name, one in found.items() if one is not None}
    frame.attrs["units"] = {**known, **units}
    return frame


def figures(look: Assessment | Figures) -> pd.DataFrame:
    """A row a motor: every figure and flag of the kernel; of an assessment also ladder, masses and fit."""
    burn = look.figures if isinstance(look, Assessment) else look
    columns: dict[str, Any] = {**burn.values, **burn.flags}
    if isinstance(look, Assessment):
        columns["maximum_expected_pressure"] = look.maximum_expected_pressure
        columns["smallest_factor"] = look.smallest_factor
        columns["governing"] = look.governing
        columns |= {f"{part}_mass": mass for part, mass in look.masses.items()}
        for name, value in (look.fit or {}).items():
            if value is not None:
                columns["fits" if name == "ok" else name] = value
        columns["room_left"] = look.assembly.left if not look.assembly.not_assessed else np.full(look.motors.size, np.nan)
        columns["ok"] = look.ok
    size = len(next(iter(burn.values.values())))
    return _with_units(pd.DataFrame({name: _column(values, size) for name, values in columns.items()}))


def _column(values: Any, size: int) -> Any:
    return values if isinstance(values, list) else np.broadcast_to(np.asarray(values), (size,))


def ladder(look: Assessment, index: int = 0) -> pd.DataFrame:
    """A row a rung of the motor at `index`: pressures lowest first, then times, then advice; the one that does not apply is NaN."""
    rows = [
        {
            "mode": rung.mode,
            "part": rung.part,
            "kind": rung.kind,
            "pressure": _or_nan(rung.pressure),
            "time": _or_nan(rung.time),
            "factor": rung.factor,
            "required": rung.required or 0.0,
            "ok": rung.ok,
            "likely": _or_nan(rung.likely),
            "scatter": rung.rung.scatter,
            "rests_on": rung.rung.rests_on,
            "basis": rung.rung.basis,
            "note": rung.rung.note,
        }
        for rung in rungs_of(look.ladder, index)
    ]
    names = ["mode", "part", "kind", "pressure", "time", "factor", "required", "ok", "likely", "scatter", "rests_on"]
    names += ["basis", "note"]
    return _with_units(pd.DataFrame(rows, columns=names))


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


def not_assessed(look: Assessment) -> pd.DataFrame:
    """A row a mode that could not be computed, with the reason."""
    rows = [(item.mode, item.part, item.why) for item in look.ladder.not_assessed]
    return pd.DataFrame(rows, columns=["mode", "part", "why"])


def history(look: Assessment | Figures, index: int = 0) -> pd.DataFrame:
    """Pressures, thrust and flow of the motor at `index`, by time; ValueError where no histories were asked for."""
    curve = (look.figures if isinstance(look, Assessment) else look).curve
    if curve is None:
        raise ValueError("no histories: ask for them with evaluate(motors, curve=True) or assess(motors, curve=True)")
    columns = {item.name: getattr(curve, item.name)[index] for item in fields(Curve)}
    frame = pd.DataFrame(columns).dropna(subset="time").set_index("time")
    return _with_units(frame, **_HISTORY_UNITS)


def designs(result: SearchResult) -> pd.DataFrame:
    """A row a design of the front, by its number: motor file, variables, results; `attrs` holds what was proven."""
    rows = [
        {"number": design.number, "motor": design.file, **design.variables, **_unlike(design.results, design.variables)}
        for design in result.designs
    ]
    frame = _with_units(pd.DataFrame(rows).set_index("number") if rows else pd.DataFrame())
    frame.attrs |= {"exact": result.exact, "proof": result.proof, "space": result.space, "feasible": result.feasible}
    return frame


def _unlike(results: dict[str, Any], variables: dict[str, Any]) -> dict[str, Any]:
    """Results under names that no variable bears already."""
    return {name: value for name, value in results.items() if name not in variables}


def rejected(result: SearchResult) -> pd.Series[int]:
    """How many candidates each limit rejected, the most first."""
    counts = pd.Series(result.rejected_by, dtype="int64", name="candidates").rename_axis("limit")
    return counts.sort_values(ascending=False)


def percentiles(result: SpreadResult) -> pd.DataFrame:
    """A row a figure under the tolerances: its percentiles and what else the spread says of it."""
    frame = pd.DataFrame.from_dict(result.figures, orient="index").rename_axis("figure")
    return _with_units(frame, frame.index)


def chances(result: SpreadResult) -> pd.DataFrame:
    """A row a rung: the chance that it fails under the tolerances, with its interval."""
    rows = [{"mode": mode, "part": part, **chance.as_json()} for mode, part, chance in result.rungs]
    return pd.DataFrame(rows, columns=["mode", "part", "value", "low", "high", "failed", "text"])


def comparison(result: Comparison) -> pd.DataFrame:
    """A row a figure, a column a motor."""
    frame = pd.DataFrame.from_dict(result.figures, orient="index").rename_axis("figure")
    frame.columns = pd.Index(result.names)
    return _with_units(frame, frame.index)


def changes(result: Comparison) -> pd.DataFrame:
    """A row a change between motors: key, from, to, and what the change alone does to each figure."""
    rows = []
    for change in result.as_json()["changes"]:
        rows.append({key: change[key] for key in ("key", "from", "to")} | (change.get("alone") or {}))
    return _with_units(pd.DataFrame(rows))


def measured(result: Learned) -> pd.DataFrame:
    """A row a firing: measured figures, and their standard uncertainties under ``NAME uncertainty``."""
    rows = {
        firing.name: {**firing.measured, **{f"{name} uncertainty": value for name, value in firing.uncertainty.items()}}
        for firing in result.reductions
    }
    return _with_units(pd.DataFrame.from_dict(rows, orient="index").rename_axis("firing"))


def candidates(result: Explanation) -> pd.DataFrame:
    """A row a failure mode that fits the evidence of a failed firing, the likeliest first."""
    return _with_units(pd.DataFrame([candidate.as_json() for candidate in result.candidates]))
