"""The failure ladder on the terminal: order, verdict, bars, notes, what was not assessed.

Imports the console, ladder_view, units and physics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.ladder_view import RungView, bar_ceiling, rung_names, rungs_of, verdict
from optimizer.output.terminal.console import FAINT, FIRST, SHORT, lines_of
from optimizer.units import display_unit, number_in, show
from physics.assessment import Assessment
from physics.failure.ladder import in_order
from physics.motors import Ladder, Rung

NOTED = 6

"""Rungs whose notes are printed, lowest first, beside all that fall short; the page has every note."""


def verdict_line(assessment: Assessment) -> Text:
    """Whether the motor holds what was assessed, what falls short, and how much was not assessed."""
    ladder, fit = assessment.ladder, assessment.fit
    words, good = verdict(
        [(rung.mode, rung.part) for rung in rungs_of(ladder) if not rung.ok],
        rungs=len(ladder.rungs),
        missing=len(ladder.not_assessed),
        described=bool(assessment.described[0]),
        stack_fits=bool(assessment.assembly.fits[0]),
        left=float(assessment.assembly.left[0]),
        in_airframe=fit is None or bool(np.ravel(np.asarray(fit["in_airframe"]))[0]),
        fits=bool(assessment.fits[0]),
    )
    return Text(words, FIRST if good else SHORT)


def ladder_table(assessment: Assessment, units: str, width: int, kept: Sequence[Rung] | None = None, notes: bool = True) -> Group:
    """The failure ladder as a picture: one bar a rung, the expected and the required pressure marked on each.

    `kept` are the rungs to show, all where it is not given; `notes` of the lowest and of what falls short stand below.
    """
    expected = float(assessment.maximum_expected_pressure[0])
    rungs = rungs_of(assessment.ladder)
    shown = rungs if kept is None else [rung for rung in rungs if any(rung.rung is item for item in kept)]
    pressures = [rung for rung in shown if rung.pressure is not None]
    times = [rung for rung in shown if rung.time is not None]
    parts: list[Any] = []
    if pressures:
        unit = display_unit("pressure", units)
        parts.append(
            Text(
                f"each bar runs to the pressure at which it happens; │ expected {show(expected, 'pressure', units)}, ",
                FAINT,
            )
            + Text("┊ required", FAINT)
        )
        parts.append(_pressure_rungs(pressures, expected, units, unit, width))
    if times:
        parts.append(_time_rungs(times, units))
    if not rungs:
        parts.append(Text("no rung could be assessed; see below", FAINT))
    said = _notes([rung for rung in shown if _is_first(rung, pressures)]) if notes else None
    if said:
        parts.append(Padding(said, (1, 0, 0, 0)))
    return Group(*parts)


def _is_first(rung: RungView, pressures: Sequence[RungView]) -> bool:
    """Whether a rung is one that a builder looks at first: the lowest, and all that fall short."""
    return rung in pressures[:1] or not rung.ok


def _notes(rungs: Iterable[RungView]) -> Table | None:
    """Notes of rungs, what several share said once."""
    said: dict[str, list[tuple[str, str]]] = {}
    for rung in rungs:
        if rung.rung.note:
            said.setdefault(rung.rung.note, []).append((rung.mode, rung.part))
    return lines_of([f"{rung_names(names)}: {note}" for note, names in said.items()], FAINT) if said else None


def more_notes(ladder: Ladder) -> Table | None:
    """Notes of the lowest rungs that do not stand under the ladder already; None where there are none."""
    pressures = [rung for rung in rungs_of(ladder) if rung.pressure is not None]
    return _notes([rung for rung in pressures[:NOTED] if not _is_first(rung, pressures)])


def _pressure_rungs(rungs: Sequence[RungView], expected: float, units: str, unit: str, width: int) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("failure mode", no_wrap=True)
    table.add_column("part", no_wrap=True)
    table.add_column(unit, justify="right", no_wrap=True)
    table.add_column("factor", justify="right", no_wrap=True)
    table.add_column("needs", justify="right", no_wrap=True)
    bar_width = max(width - 62, 12)
    table.add_column("", no_wrap=True)
    values = [rung.pressure for rung in rungs if rung.pressure is not None]
    top = bar_ceiling(values, expected)
    for rung, value in zip(rungs, values, strict=True):
        factor, required = rung.factor, rung.required or 0.0
        style = "" if rung.ok else SHORT
        table.add_row(
            Text(rung.mode, style),
            Text(rung.part, style),
            number_in(value, "pressure", units),
            Text(f"×{factor:.2f}", style),
            f"×{required:.2f}" if required else "advice",
            Text(_bar(value, expected, required * expected, top, bar_width), style),
        )
    return table


def _bar(value: float, expected: float, required: float, top: float, width: int) -> str:
    """A bar to `value` on a scale that ends at `top`, with marks at the expected and required pressures."""
    if not (math.isfinite(value) and top > 0.0):
        return ""
    filled = round(min(value / top, 1.0) * (width - 1))
    cells = ["━" if i < filled else " " for i in range(width)]
    for place, mark in ((required, "┊"), (expected, "│")):
        where = round(place / top * (width - 1))
        if 0 <= where < width and place > 0.0:
            cells[where] = mark
    if value > top:
        cells[-1] = "▸"
    return "".join(cells).rstrip()


def _time_rungs(rungs: Sequence[RungView], units: str) -> Padding:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("what gets too hot", no_wrap=True)
    table.add_column("part", no_wrap=True)
    table.add_column("after", justify="right", no_wrap=True)
    table.add_column("factor", justify="right", no_wrap=True)
    table.add_column("needs", justify="right", no_wrap=True)
    for rung in rungs:
        time, factor, required = rung.time or 0.0, rung.factor, rung.required or 0.0
        style = "" if factor >= required else SHORT
        never = math.isinf(time)
        table.add_row(
            Text(rung.mode, style),
            Text(rung.part, style),
            "does not happen" if never else show(time, "time", units),
            Text("" if never else f"×{factor:.2f}", style),
            "" if never else f"×{required:.2f}",
        )
    return Padding(table, (1, 0, 0, 0))


def basis_lines(ladder: Ladder) -> Table:
    """The formula and source behind every rung; what several modes rest on alike is said once, with their names."""
    modes: dict[str, list[str]] = {}
    for rung in in_order(ladder):
        for clause in rung.basis.split("; "):
            named = modes.setdefault(clause, [])
            if rung.mode not in named:
                named.append(rung.mode)
    clauses: dict[tuple[str, ...], list[str]] = {}
    for clause, named in modes.items():
        clauses.setdefault(tuple(named), []).append(clause)
    return lines_of([f"{', '.join(named)}: {'; '.join(rest)}" for named, rest in clauses.items()], FAINT)


def not_assessed_block(missing: Iterable[tuple[str, str, str]]) -> Table:
    """What could not be computed (mode, part, why), grouped by the reason."""
    return lines_of(f"{rung_names(rungs)}: {why}" for why, rungs in _by_reason(missing).items())


def _by_reason(missing: Iterable[tuple[str, str, str]]) -> dict[str, list[tuple[str, str]]]:
    """Modes by why they were not assessed; what both closures lack alike is one reason."""
    found: dict[str, list[tuple[str, str]]] = {}
    for mode, part, why in missing:
        found.setdefault(why, []).append((mode, part))
    modes = {why: [mode for mode, _ in rungs] for why, rungs in found.items()}
    grouped: dict[str, list[tuple[str, str]]] = {}
    for why, rungs in found.items():
        aft, forward = why.replace("forward_closure", "aft_closure"), why.replace("aft_closure", "forward_closure")
        if aft != why and modes.get(aft) == modes[why]:
            grouped[f"{why} (aft_closure the same)"] = [*rungs, *found[aft]]
        elif forward == why or modes.get(forward) != modes[why]:
            grouped[why] = rungs
    return grouped
