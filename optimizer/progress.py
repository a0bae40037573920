"""How far a long search has come, drawn on stderr where that is a terminal and told in a line now and then elsewhere.

Owns the progress display. Imports rich; knows the search only by the numbers it is given.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

EVERY = 10.0
"""Seconds between two lines where stderr is no terminal."""


@contextmanager
def shown(quiet: bool = False) -> Iterator[Callable[[Any], None]]:
    """A callback that takes the state of a search (`stage`, `done`, `total`, `feasible`, `front`) and shows it."""
    if quiet:
        yield lambda state: None
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


def _lines() -> Callable[[Any], None]:
    last = time.monotonic()

    def show(state: Any) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= EVERY:
            last = now
            of = f" of {state.total:,}" if state.total else ""
            print(
                f"{state.stage}: {state.done:,}{of}, {state.feasible:,} feasible, {state.front:,} on the front",
                file=sys.stderr,
            )

    return show
