"""What heat does to a motor, in words, in a table and as an answer: outside, liner left, gaps, ways for gas.

Imports units and physics.
"""

from __future__ import annotations

import math
from typing import Any

from optimizer.cautions import path_sentence
from optimizer.units import display_unit, from_si, show_dimension
from physics.heat.soak import READ_AT
from physics.heat.summary import HeatSummary, Outside


def heat_answer(summary: HeatSummary | None) -> dict[str, Any] | None:
    """The `heat` of an answer in JSON, SI: kelvin, seconds from ignition, metres, kg/s; None where nothing can be told."""
    if summary is None:
        return None
    return {
        "outside": [outside_answer(place) for place in summary.outside],
        "liner_left": [
            {"place": place, "low": low, "likely": likely, "high": high} for place, low, likely, high in summary.liner_left
        ],
        "widest_gap": [{"place": place, "width": width if math.isfinite(width) else None} for place, width in summary.widest_gap],
        "gas_paths": [
            {"start": path.start, "end": path.end, "flow": path.flow, "hot_after": _finite(path.hot_after)}
            for path in summary.gas_paths
        ],
        "missing": list(summary.missing),
    }


def outside_answer(place: Outside) -> dict[str, Any]:
    """One place of the outside, SI; `at` is None where it stays cold."""
    return {
        "place": place.place,
        "peak": float(place.readings.peak[0]),
        "at": float(place.readings.at[0]) if place.warms else None,
        "low": place.low,
        "high": place.high,
        "after": {f"{at:g}": float(value) for at, value in zip(READ_AT, place.readings.after[:, 0], strict=True)},
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def heat_rows(summary: HeatSummary, units: str) -> list[list[str]]:
    """A table of the outside, heads first: place, what stands after each time of `READ_AT`, peak, its band and time."""
    unit = display_unit("temperature", units)
    rows = [[f"outside, {unit}", *(f"{at:g} s" for at in READ_AT), "peak", "limits", "at"]]
    for place in summary.outside:
        if place.warms:
            after = [_number(float(value), units) for value in place.readings.after[:, 0]]
            peak, low, high = (_number(value, units) for value in (float(place.readings.peak[0]), place.low, place.high))
            rows.append([place.place, *after, peak, f"{low} to {high}", f"{float(place.readings.at[0]):.0f} s"])
    return rows


def _number(kelvin: float, units: str) -> str:
    """A temperature in whole degrees, without its unit."""
    return _temperature(kelvin, units, 0).split(" ")[0]


def heat_sentences(summary: HeatSummary, units: str, brief: bool = False) -> list[str]:
    """What heat does in sentences: hottest outside, liner left, gaps the tube forgives, ways for gas, what is missing."""
    said = []
    warm = [place for place in summary.outside if place.warms]
    if warm:
        hottest = max(warm, key=lambda place: float(place.readings.peak[0]))
        worst = max(place.high for place in warm)
        said.append(
            f"outside likely at most {_temperature(float(hottest.readings.peak[0]), units)}, "
            f"{float(hottest.readings.at[0]):.0f} s after ignition ({hottest.place}); "
            f"{_temperature(min(place.low for place in warm), units)} to {_temperature(worst, units)} by how the liner goes"
        )
    elif summary.outside:
        said.append("the outside stays cold")
    left = [row for row in summary.liner_left if row[0] != "mid-grain wall" or row[1] < row[3]]
    if left:
        each = [
            f"{place} {_length(likely, units)} ({_length(low, units)} to {_length(high, units)})"
            for place, low, likely, high in (left if not brief else [min(left, key=lambda row: row[2])])
        ]
        said.append(f"liner left uncharred: {', '.join(each)}")
    if summary.widest_gap:
        each = [f"{place} {_gap(width, units)}" for place, width in summary.widest_gap]
        said.append(f"widest gap whose bore stays under {_temperature(473.15, units)}: {', '.join(each)}")
    said += [path_sentence(path, units) for path in summary.gas_paths[: 1 if brief else None]]
    if summary.missing and not brief:
        said.append(f"not told: {'; '.join(summary.missing)}")
    return said


def _temperature(kelvin: float, units: str, places: int = 0) -> str:
    """A temperature in whole degrees."""
    unit = display_unit("temperature", units)
    return f"{from_si(kelvin, unit):.{places}f} {unit}"


def _length(metres: float, units: str) -> str:
    return show_dimension(metres, "length", units, 2)


def _gap(metres: float, units: str) -> str:
    if math.isinf(metres):
        return "any"
    return "none" if metres <= 0.0 else _length(metres, units)
