"""What tests have shown, on the terminal.

Imports the console, the words of the ladder, units and the words of a chance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.candidates.samples import chance_words
from optimizer.ladder_view import rung_names
from optimizer.output.terminal.console import FAINT, FIRST, SHORT, closing_cautions, console
from optimizer.units import display_unit, number_in, show

if TYPE_CHECKING:
    from optimizer.commands.vouch import Vouched, Vouching

FEWEST_RUNGS = 6
"""So many rungs are shown at least, and every one whose chance is not below what is told as a bound."""


def print_vouching(found: Vouching, units: str) -> None:
    """What tests have shown of each rung, the likeliest to fail first; what none has touched; what to test next."""
    screen = console()
    screen.print(Text(found.name, FIRST))
    number = {one.name: place for place, one in enumerate(found.tests, start=1)}
    for one in found.tests:
        # A test's name may be as long as a file's; what came of it stands first.
        told = Text(f"({number[one.name]}) {one.outcome}", "" if one.outcome == "held" else SHORT)
        screen.print(told + Text(f": {one.name}{', of another copy' if not one.same_hardware else ''}", "default"))
    if not found.tests:
        screen.print(Text("no test: no [[evidence]] in the motor file, and no test file given"))
    screen.print(
        f"chance that anything fails at the maximum expected pressure ({show(found.expected, 'pressure', units)}): "
        f"{chance_words(found.before.value)} before, {chance_words(found.after.value)} after what the tests have shown"
    )
    ordered = sorted(found.rungs, key=lambda rung: (rung.failed_at is None, -_last(rung.after.value), -_last(rung.before.value)))
    rows = [rung for place, rung in enumerate(ordered) if place < FEWEST_RUNGS or _told(rung)]
    for kind, some in (
        ("pressure", [rung for rung in rows if rung.kind != "heat"]),
        ("time", [rung for rung in rows if rung.kind == "heat"]),
    ):
        if some:
            screen.print(Padding(_rungs_table(some, kind, units, number), (1, 0, 0, 2)))
    left = len(ordered) - len(rows)
    if left:
        bound = chance_words(0.0)
        text = f"{left} more {'rung' if left == 1 else 'rungs'}, {bound} each; the page and --json have all."
        screen.print(Padding(Text(text, FAINT), (0, 0, 0, 2)))
    if found.untouched:
        screen.print(Text("No test has touched: ", FIRST) + Text(rung_names(found.untouched)))
    screen.print(Text("Next: ", FIRST) + Text(found.next_test.why))
    for note in found.notes:
        screen.print(Text(f"- {note}"))
    closing_cautions(screen)


def _last(chance: float) -> float:
    return 2.0 if math.isnan(chance) else chance


def _told(rung: Vouched) -> bool:
    """Whether a rung's chance is more than a bound, before the tests or after them."""
    return rung.failed_at is not None or max(_last(rung.before.value), _last(rung.after.value)) >= 1e-6


def _rungs_table(rungs: Sequence[Vouched], kind: str, units: str, number: Mapping[str, int]) -> Table:
    """Design and likely value, what was held and by which test, the 5 % end that is left, the chance before and after."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column(display_unit(kind, units) or "s", no_wrap=True)
    table.add_column("", no_wrap=True)
    for name in ("design", "likely", "held", "chance", "after"):
        table.add_column(name, justify="right", no_wrap=True)

    def level(value: float | None) -> str:
        return number_in(value, kind, units) if value is not None and math.isfinite(value) else "–"

    for rung in rungs:
        held, style = Text(level(rung.held)), ""
        if rung.held is not None:
            held += Text(f" ({number[rung.by]})", FAINT)
        if rung.failed_at is not None:
            held, style = Text(f"not {level(rung.failed_at)} ({number[rung.failed_by]})", SHORT), SHORT
        chances = [chance_words(one.value).replace("below ", "<") for one in (rung.before, rung.after)]
        table.add_row(
            Text(rung.mode, style), Text(rung.part, style), level(rung.design), level(rung.likely), held, *chances
        )  # fmt: skip
    return table
