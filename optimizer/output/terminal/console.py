"""The console itself, headings, lines and cautions, as every command prints them.

Imports rich and the cautions.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Literal
from unicodedata import category

from rich.console import Console, ConsoleOptions
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from optimizer.cautions import Caution

FIRST = "bold"

SHORT = "bold red"

FAINT = "dim"


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command line, whose exit code would else say that the answer is "no"."""
        raise BrokenPipeError

    def render(self, renderable: Any, options: ConsoleOptions | None = None) -> Iterator[Segment]:
        """Text without the signs that a terminal would act on, whatever a name in a file holds."""
        for segment in super().render(renderable, options):
            yield segment if segment.control else Segment(_visible(segment.text), segment.style)


def _visible(text: str) -> str:
    """Control characters and marks of direction as question marks; they take a place, so that they are seen."""
    if text.isprintable():
        return text
    return "".join("?" if letter != "\n" and category(letter) in ("Cc", "Cf", "Zl", "Zp") else letter for letter in text)


def console(stderr: bool = False) -> Console:
    """A console as wide as the terminal, 80 columns where there is none; under NO_COLOR it writes text and no escapes."""
    import os
    import shutil

    # The library's own reading of NO_COLOR would still write bold and dim.
    colours: Literal["auto"] | None = None if os.environ.get("NO_COLOR") else "auto"
    width = max(shutil.get_terminal_size((80, 24)).columns, 40)
    return _Console(stderr=stderr, width=width, highlight=False, color_system=colours)


def heading(text: str) -> Text:
    """The line above a block."""
    return Text(text, style=FIRST)


def _filled(cells: Iterable[tuple[str, str]], width: int) -> list[Text]:
    """Names and values in lines as full as they go; a name and its value are never parted."""
    lines: list[Text] = []
    for name, value in cells:
        cell = Text(f"{name} ", FAINT) + Text(value, "default")
        if lines and len(lines[-1]) + 3 + len(cell) <= width:
            lines[-1] += Text("   ") + cell
        else:
            lines.append(cell)
    return lines


def lines_of(texts: Iterable[str], style: str = "") -> Table:
    """Texts one under the other, what does not fit in a line indented."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(style=FAINT)
    table.add_column(style=style)
    for text in texts:
        table.add_row("-", Text(text))
    return table


def cautions_block(found: Iterable[Caution]) -> Table:
    """Cautions, what each is about beside its text."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style=FIRST, ratio=1)
    table.add_column(ratio=4)
    for caution in found:
        table.add_row(Text(caution.about), Text(caution.text))
    return table


def closing_cautions(screen: Console) -> None:
    """Print what holds for every answer, at its end."""
    screen.print()
    screen.print(
        Text(
            "Fire remotely, at your club's distance and behind a barrier, after a proof test with water, under your "
            "local codes and with a review by your club. These figures come from models with limits.",
            FAINT,
        )
    )
