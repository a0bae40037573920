"""One iteration of a motor beside the next.

Imports the console, the ladder, units and the vocabulary.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.output.terminal.check import _BALLISTICS
from optimizer.output.terminal.console import FAINT, FIRST, SHORT, closing_cautions, console, heading, lines_of
from optimizer.units import show
from optimizer.vocabulary import group_of, spoken
from physics.figures import FLIGHT, FLIGHT_FIGURES, GROUPS

if TYPE_CHECKING:
    from optimizer.commands.compare import Change, Comparison, MotorState, RungState


def print_comparison(comparison: Comparison, units: str) -> None:
    """The answer first, then what changed, the figures side by side, and the ladders."""
    screen = console()
    screen.print(Text(" → ".join(comparison.names), FIRST))
    for step in comparison.steps:
        screen.print()
        screen.print(Text(step.answer))
        screen.print()
        screen.print(_changes_table(step.changes, comparison.states[step.before], units))
        below = _below(step.changes)
        if below is not None:
            screen.print(Padding(below, (1, 0, 0, 0)))
        cannot = [f"{change.key} cannot stand alone: {_why(change)}" for change in step.changes if change.alone is None]
        if cannot:
            screen.print(Padding(lines_of(cannot, FAINT), (1, 0, 0, 2)))
    if comparison.first_to_fail:
        screen.print()
        screen.print(heading("First to fail, strengths scattered"))
        screen.print(Padding(_first_table(comparison), (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("Figures"))
    screen.print(Padding(_figures_table(comparison, units), (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("Ladders"))
    screen.print(Padding(_ladders_table(comparison, units), (0, 0, 0, 2)))
    closing_cautions(screen)


_MOVED = {"peak_head_pressure": "head pressure", "total_impulse": "impulse", "burn_time": "burn time"}
MOST_TEXT, MOST_WORD, MOST_KEY, MOST_TOGETHER = 24, 11, 24, 2
"""Letters of a value, of a word and of a key, and keys changed together, that the table of changes holds."""


def _changes_table(changes: Sequence[Change], before: MotorState, units: str) -> Table:
    """Each change, and what it does alone to the figures that matter first."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("changed", no_wrap=True)
    shown = [change for change in changes if not _long(change)]
    for column, texts in (("from", [one.before_text for one in shown]), ("to", [one.after_text for one in shown])):
        table.add_column(column, min_width=max(map(_longest_word, [*texts, column])), overflow="fold")
    for name in _MOVED:
        table.add_column(f"{_MOVED[name]} alone", justify="right", min_width=8)
    for change in changes:
        cells = [_relative(change.alone, before, name) for name in _MOVED]
        before_text, after_text = ("below", "") if _long(change) else (change.before_text, change.after_text)
        table.add_row(Text(_head(change)), Text(before_text), Text(after_text), *cells)
    return table


def _head(change: Change) -> str:
    return change.key if len(change.key) <= MOST_KEY else change.key.replace(" and ", "\nand ")


def _long(change: Change) -> bool:
    """Whether a change takes lines of its own, below the table."""
    texts = (change.before_text, change.after_text)
    return len(change.lines) > MOST_TOGETHER or any(len(text) > MOST_TEXT or _longest_word(text) > MOST_WORD for text in texts)


def _below(changes: Sequence[Change]) -> Table | None:
    """Of every change that is too long for the table, a line a key."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
    table.add_column("", no_wrap=True)
    table.add_column("", overflow="fold")
    for change in filter(_long, changes):
        table.add_row(Text(f"{change.key}, {change.meaning}" if change.meaning else change.key, FIRST), "")
        lines = change.lines or (("", change.before_text, change.after_text),)
        for key, before, after in lines:
            table.add_row(Text(f"  {key}"), Text(f"{before} → {after}"))
    return table if table.row_count else None


def _longest_word(text: str) -> int:
    return max((len(word) for word in text.split()), default=0)


def _why(change: Change) -> str:
    return change.why.removeprefix("not possible alone: ")


def _relative(alone: MotorState | None, before: MotorState, name: str) -> str:
    old, new = before.figures.get(name), None if alone is None else alone.figures.get(name)
    if not old or new is None:
        return "–"
    change = 100.0 * (new / old - 1.0)
    return "0 %" if abs(change) < 0.005 else f"{change:+.2f} %"


def _figures_table(comparison: Comparison, units: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    for name in comparison.names:
        table.add_column(Text(name), justify="right")
    for group in (*GROUPS, FLIGHT):
        shown = [
            key for key in (*_BALLISTICS, "maximum_expected_pressure", "loaded_mass", *FLIGHT_FIGURES) if group_of(key) == group
        ]
        present = [key for key in shown if comparison.figures.get(key) is not None]
        if present:
            table.add_row(Text(group, FAINT))
        for key in present:
            cells = ["–" if value is None else show(value, key, units) for value in comparison.figures[key]]
            table.add_row(Text(f"  {spoken(key)}"), *cells)
            if units == "imperial" and key == "total_impulse":  # classes and certificates are in newton seconds
                cells = ["–" if value is None else show(value, key) for value in comparison.figures[key]]
                table.add_row("", *cells)
    return table


MOST_FIRST = 6
"""Rungs whose share of the first to fail is told, the largest first."""


def _first_table(comparison: Comparison) -> Table:
    """How often each rung is the first to fail in each motor; what moved by five points or more is marked."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    for name in (*comparison.names, ""):
        table.add_column(Text(name), justify="right" if name else "left")
    for (mode, part), shares in comparison.first_to_fail[:MOST_FIRST]:
        moved = shares[-1] - shares[0]
        word = "" if abs(moved) < 0.05 else "more often" if moved > 0.0 else "less often"
        table.add_row(Text(f"{mode}, {part}"), *(f"{100.0 * share:.0f} %" for share in shares), Text(word, FIRST))
    return table


def _ladders_table(comparison: Comparison, units: str) -> Table:
    """Every rung of any motor, with its level and factor in each."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    for name in comparison.names:
        table.add_column(Text(name), justify="right")
    names = dict.fromkeys(rung.name for state in comparison.states for rung in state.rungs)
    for name in names:
        cells = []
        for state in comparison.states:
            rung = state.rung(name)
            cells.append(Text("–") if rung is None else _rung_cell(rung, units))
        table.add_row(Text(name), *cells)
    return table


def _rung_cell(rung: RungState, units: str) -> Text:
    if rung.pressure is not None:
        level = show(rung.pressure, "pressure", units)
    elif rung.time is not None and math.isfinite(rung.time):
        level = show(rung.time, "time", units)
    else:
        return Text("does not happen", FAINT)
    factor = "" if rung.factor is None else f" ×{rung.factor:.2f}"
    return Text(level + factor, "" if rung.ok else SHORT)
