"""What tests have shown, on the terminal.

Imports the console, the words of the ladder, units and the words of a chance.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.candidates.samples import chance_words
from optimizer.output.terminal.console import FAINT, FIRST, closing_cautions, console
from optimizer.output.terminal.ladder import rung_names
from optimizer.units import show

if TYPE_CHECKING:
    from optimizer.commands.vouch import Vouching

SHOWN_RUNGS = 14
"""Rungs that the terminal shows, the likeliest to fail first."""


def print_vouching(found: Vouching, units: str) -> None:
    """What tests have shown of each rung, the likeliest to fail first; what none has touched; what to test next."""
    screen = console()
    screen.print(Text(found.name, FIRST))
    tests = [f"{one.name}, {one.outcome}" for one in found.tests]
    screen.print("; ".join(tests) if tests else "no test: no [[evidence]] in the motor file, and no test file given")
    screen.print(
        f"chance that anything fails at the maximum expected pressure ({show(found.expected, 'pressure', units)}): "
        f"{chance_words(found.before.value)} before, {chance_words(found.after.value)} after what the tests have shown"
    )
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    for name, justify in (("rung", "left"), ("design", "right"), ("likely", "right"), ("held", "right"), ("before", "right")):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    table.add_column("after", justify="right")
    rows = sorted(found.rungs, key=lambda rung: -rung.after.value)
    for rung in rows[:SHOWN_RUNGS]:
        kind = "time" if rung.kind == "heat" else "pressure"
        level = [
            show(value, kind, units) if value is not None and math.isfinite(value) else "–"
            for value in (rung.design, rung.likely, rung.held)
        ]
        table.add_row(f"{rung.mode}, {rung.part}", *level, chance_words(rung.before.value), chance_words(rung.after.value))
    screen.print(Padding(table, (1, 0, 0, 2)))
    if len(rows) > SHOWN_RUNGS:
        screen.print(Padding(Text(f"{len(rows) - SHOWN_RUNGS} more rungs, each less likely; --json has all.", FAINT), (0, 0, 0, 2)))
    if found.untouched:
        screen.print(Text("No test has touched: ", FIRST) + Text(rung_names(found.untouched)))
    screen.print(Text("Next: ", FIRST) + Text(found.next_test.why))
    for note in found.notes:
        screen.print(f"- {note}")
    closing_cautions(screen)
