"""How far a long search has come, drawn on stderr where that is a terminal and told in a line now and then elsewhere.

On a terminal that wants no escapes (NO_COLOR, or a dumb one) it is one line of plain text, written over itself.
Owns the progress display. Imports rich; knows the search only by the numbers it is given.
"""

from __future__ import annotations

import math
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

EVERY = 10.0
"""Seconds between two lines where stderr is no terminal."""
OFTEN = 0.2
"""Seconds between two states of the plain line on a terminal."""


@contextmanager
def shown(quiet: bool = False) -> Iterator[Callable[[Any], None]]:
    """A callback that takes the state of a search (`stage`, `done`, `total`, `feasible`, `front`) and shows it."""
    if quiet:
        yield lambda state: None
    elif sys.stderr.isatty() and (os.environ.get("NO_COLOR") or os.environ.get("TERM") in ("dumb", "unknown")):
        yield from _plain_line()
    elif sys.stderr.isatty():
        yield from _bar()
    else:
        yield _lines()


def _bar() -> Iterator[Callable[[Any], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(),
        TextColumn("{task.fields[found]}"),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        tasks: dict[str, tuple[Any, float, int]] = {}

        def show(state: Any) -> None:
            if state.stage not in tasks:
                task = progress.add_task(state.stage, total=state.total or None, rate="", found="")
                tasks[state.stage] = (task, time.monotonic(), state.done)
            task, started, already = tasks[state.stage]
            elapsed = time.monotonic() - started
            rate = f"{(state.done - already) / elapsed:,.0f}/s" if elapsed > 0.5 else ""
            progress.update(
                task,
                completed=state.done,
                total=state.total or None,
                rate=rate,
                found=f"{state.feasible:,} feasible, {state.front:,} on the front",
            )

        yield show


def _told(state: Any) -> str:
    of = f" of {state.total:,}" if state.total else ""
    return f"{state.stage}: {state.done:,}{of}, {state.feasible:,} feasible, {state.front:,} on the front"


def _plain_line() -> Iterator[Callable[[Any], None]]:
    """One line that is written over itself, and is gone at the end; spaces and returns, no escapes."""
    last, length = -math.inf, 0

    def write(text: str) -> None:
        nonlocal length
        text = text[: shutil.get_terminal_size((80, 24)).columns - 1]
        sys.stderr.write("\r" + text.ljust(length))
        sys.stderr.flush()
        length = len(text)

    def show(state: Any) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= OFTEN:
            last = now
            write(_told(state))

    try:
        yield show
    finally:
        if length:
            write("")
            sys.stderr.write("\r")
            sys.stderr.flush()


def _lines() -> Callable[[Any], None]:
    last = time.monotonic()

    def show(state: Any) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= EVERY:
            last = now
            print(_told(state), file=sys.stderr)

    return show
