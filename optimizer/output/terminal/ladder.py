"""The failure ladder on the terminal: order, verdict, bars, notes, what was not assessed.

Imports the console, ladder_view, units and physics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

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

if TYPE_CHECKING:
    from optimizer.commands.standing import Standing

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


def ladder_table(
    assessment: Assessment,
    units: str,
    width: int,
    kept: Sequence[Rung] | None = None,
    notes: bool = True,
    stands: Standing | None = None,
    apart: bool = True,
) -> Group:
    """The failure ladder as a picture: one bar a rung, the expected and the required pressure marked on each.

    `kept` are the rungs to show, all where it is not given; `notes` of the lowest and of what falls short stand below. With
    `stands` each rung says where 90 of 100 such parts let go, how far tests have held it, and how often it is the first.
    Times stand a line `apart` from the pressures.
    """
    expected = float(assessment.maximum_expected_pressure[0])
    rungs = rungs_of(assessment.ladder)
    shown = rungs if kept is None else [rung for rung in rungs if any(rung.rung is item for item in kept)]
    pressures = [rung for rung in shown if rung.pressure is not None]
    times = [rung for rung in shown if rung.time is not None]
    parts: list[Any] = []
    if pressures:
        table = _rungs_table(pressures, "pressure", units, stands, expected, width)
        parts += [_told(stands, show(expected, "pressure", units), table.columns[-1].header == ""), table]
    if times:
        table = _rungs_table(times, "time", units, stands, expected, width)
        parts.append(Padding(table, (int(apart and bool(pressures)), 0, 0, 0)))
    if not rungs:
        parts.append(Text("no rung could be assessed; see below", FAINT))
    said = _notes([rung for rung in shown if _is_first(rung, pressures)]) if notes else None
    if said:
        parts.append(Padding(said, (1, 0, 0, 0)))
    return Group(*parts)


def _told(stands: Standing | None, expected: str, bars: bool) -> Text:
    """What the columns and the marks of the bars say, on one line."""
    if not bars:
        text = Text(f"expected {expected}", FAINT)
    elif stands is None:
        return Text(f"each bar runs to the pressure at which it happens; │ expected {expected}, ┊ required", FAINT)
    else:
        text = Text(f"│ expected {expected}, ┊ required{', ▬ held in a test' if stands.held else ''}", FAINT)
    return text if stands is None else text + Text("; 90 of 100 let go within 5-95 %", FAINT)


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


_HEADS = {"pressure": "failure mode", "time": "what gets too hot"}

LEAST_BAR = 10
"""Signs of the shortest bar that is worth drawing; a screen without room for it shows the numbers alone."""


def _rungs_table(
    rungs: Sequence[RungView], kind: str, units: str, stands: Standing | None, expected: float, width: int
) -> Table:  # fmt: skip
    """Rungs of one scale, a line each, with as many of the columns as fit; the mode, the level and the factor always do."""
    unit = display_unit(kind, units) or "s"
    columns: dict[str, list[Text]] = {
        _HEADS[kind]: [Text(rung.mode, _style(rung)) for rung in rungs],
        "part": [Text(rung.part, _style(rung)) for rung in rungs],
        unit: [Text(_level(rung.pressure if kind == "pressure" else rung.time, kind, units)) for rung in rungs],
        "factor": [Text("" if math.isinf(rung.factor) else f"×{rung.factor:.2f}", _style(rung)) for rung in rungs],
        "needs": [Text(f"×{rung.required:.2f}" if rung.required else "advice") for rung in rungs],
    }
    if stands is not None:
        columns |= {
            "5-95 %": [Text("–".join(_level(end, kind, units, short=True) for end in stands.band(rung.rung))) for rung in rungs],
            "held": [Text(_held(rung, kind, units, stands)) for rung in rungs],
            "first": [Text(_share(rung, stands)) for rung in rungs],
        }
        if not any(cell.plain for cell in columns["held"]):
            del columns["held"]

    def taken() -> int:
        return sum(max(len(head), *(cell.cell_len for cell in cells)) + 1 for head, cells in columns.items())

    for least in ("first", "needs", "held"):  # which is the first stands above the ladder too
        if taken() > width - 2:
            columns.pop(least, None)
    room = width - 2 - taken()
    if kind == "pressure" and room >= LEAST_BAR:
        columns[""] = _bars(rungs, expected, room, stands)
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    for place, head in enumerate(columns):
        table.add_column(head, justify="left" if place < 2 or not head else "right", no_wrap=True)
    for row in zip(*columns.values(), strict=True):
        table.add_row(*row)
    return table


def _style(rung: RungView) -> str:
    return "" if rung.ok else SHORT


def _level(value: float | None, kind: str, units: str, short: bool = False) -> str:
    """A pressure or a time without its unit; a short one in three digits, a time that does not come in words."""
    if value is None or math.isnan(value):
        return "?"
    if math.isinf(value):
        return "∞" if short else "never"
    text = number_in(value, kind, units)
    return f"{float(text.replace(' ', '')):.3g}" if short and abs(float(text.replace(" ", ""))) < 1000 else text


def _held(rung: RungView, kind: str, units: str, stands: Standing) -> str:
    level = stands.held.get((rung.mode, rung.part))
    return "" if level is None else _level(level[0], kind, units)


def _share(rung: RungView, stands: Standing) -> str:
    share = stands.first.get((rung.mode, rung.part), 0.0)
    return "" if share < 0.005 else f"{100.0 * share:.0f} %"


def _bars(rungs: Sequence[RungView], expected: float, width: int, stands: Standing | None) -> list[Text]:
    values = [rung.pressure if rung.pressure is not None else math.nan for rung in rungs]
    top = bar_ceiling(values, expected)
    held = {} if stands is None else stands.held
    return [
        Text(
            _bar(value, expected, (rung.required or 0.0) * expected, top, width, held.get((rung.mode, rung.part), (0.0, ""))[0]),
            _style(rung),
        )
        for rung, value in zip(rungs, values, strict=True)
    ]


def _bar(value: float, expected: float, required: float, top: float, width: int, held: float = 0.0) -> str:
    """A bar to `value` on a scale that ends at `top`, with marks at the expected and required pressures.

    The part of it that a test has held is drawn heavier.
    """
    if not (math.isfinite(value) and top > 0.0):
        return ""
    filled, heavy = (round(min(level / top, 1.0) * (width - 1)) for level in (value, min(held, value)))
    cells = ["▬" if i < heavy else "━" if i < filled else " " for i in range(width)]
    for place, mark in ((required, "┊"), (expected, "│")):
        where = round(place / top * (width - 1))
        if 0 <= where < width and place > 0.0:
            cells[where] = mark
    if value > top:
        cells[-1] = "▸"
    return "".join(cells).rstrip()


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
