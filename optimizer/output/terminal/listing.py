"""Tables of what may be written in a file.

Imports the console and units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.output.terminal.console import FAINT, FIRST, console, heading
from optimizer.units import show


def print_rows(rows: Sequence[Mapping[str, Any]], shown: Sequence[str] | None, units: str) -> None:
    """Rows of a listing as a table, SI numbers in the units asked for; what is said at length wraps between words."""
    screen = console()
    if not rows:
        screen.print(Text("nothing there has that word", FAINT))
        return
    names = shown or list(dict.fromkeys(name for row in rows for name in row))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    cells = [[_cell(name, row.get(name), units) for name in names] for row in rows]
    for place, name in enumerate(names):
        numeric = all(isinstance(row.get(name), (int, float, type(None))) for row in rows)
        long = max(len(line[place]) for line in cells) > LONG_CELL
        head = name.removesuffix("_strength").replace("_", " ")
        table.add_column(head, justify="right" if numeric else "left", no_wrap=not long)
    for line in cells:
        table.add_row(*(Text(cell) for cell in line))
    screen.print(table)


LONG_CELL = 30

"""Letters of a cell that is read as words and may take several lines."""


def print_keys(rows: Sequence[Mapping[str, Any]]) -> None:
    """The keys of files, a line each: key, unit and default, then what it means."""
    screen = console()
    if not rows:
        screen.print(Text("no key has that word", FAINT))
    file = None
    for row in rows:
        if row["file"] != file:
            file = row["file"]
            screen.print(heading(f"{file} file"))
        key = f"[{row['table']}] {row['key']}" if row["table"] else row["key"]
        default = row["default"] if row["default"] in ("", "required") else f"default {row['default']}"
        said = ", ".join(text for text in (str(row["unit"]), str(default)) if text)
        line = Text(key, FIRST) + Text(f" ({said})" if said else "", FAINT) + Text(f": {row['meaning']}")
        screen.print(Padding(line, (0, 0, 0, 2)))


def _cell(name: str, value: Any, units: str) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and (name.endswith(("strength", "hole", "density", "diameter", "pitch"))):
        kind = "pressure" if name.endswith("strength") else "density" if name == "density" else "diameter"
        return show(value, kind, units)
    return f"{value:g}" if isinstance(value, float) else str(value)
