"""Blocks of a search computed in several processes of this machine.

Owns when workers repay their start, and what happens where one is lost: its blocks are computed here. A block is computed
from its number alone, so the answer does not depend on how many workers there are, nor on the order in which they end.
One process, this one, writes the record. Imports nothing of ours.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Generic, TypeVar

Found = TypeVar("Found")

REPAYS = 2.0
"""Seconds of work left from which on the start of workers is repaid (measured: under half a second for each)."""
_AHEAD = 2
"""Blocks a worker that are asked for at a time: none waits, and little is lost at an interrupt."""
_WATCH = 1.0


def cores() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Crew(Generic[Found]):
    """Computes blocks by number, alone at first, and with workers once what is left repays their start.

    `workers` 0 means all cores. Where processes cannot be forked all is computed in this one.
    """

    def __init__(self, compute: Callable[[int], Found], workers: int = 0) -> None:
        self.compute = compute
        self.messages: list[str] = []  # as of a crew elsewhere; here nothing is to be told
        self.workers = (workers or cores()) if "fork" in multiprocessing.get_all_start_methods() else 1

    def blocks(self, numbers: list[int], still_wanted: Callable[[int], bool] = lambda number: True) -> Iterator[tuple[int, Found]]:
        """Each block with its number, in no promised order; one that is no longer wanted (another process has it) is not
        computed and not given.
        """
        left = list(numbers)
        while left:
            started = time.monotonic()
            number = left.pop(0)
            if not still_wanted(number):
                continue
            yield number, self.compute(number)
            if self.workers > 1 and len(left) > 1 and (time.monotonic() - started) * len(left) > REPAYS:
                yield from self._together(left, still_wanted)
                return

    def _together(self, numbers: list[int], still_wanted: Callable[[int], bool]) -> Iterator[tuple[int, Found]]:
        global _compute
        _compute = self.compute  # what is forked has it; nothing of it is sent
        waiting: dict[Future[Found], int] = {}
        left = iter(numbers)
        done: set[int] = set()
        pool = ProcessPoolExecutor(self.workers, multiprocessing.get_context("fork"), initializer=_begin, initargs=(os.getpid(),))
        try:
            for number in left:
                if still_wanted(number):
                    waiting[pool.submit(_work, number)] = number
                if len(waiting) < _AHEAD * self.workers:
                    continue
                yield from _finished(waiting, done)
            while waiting:
                yield from _finished(waiting, done)
        except BrokenProcessPool:
            # A worker was killed, by a lack of memory for one; what it had is computed here, where a fault is told.
            for number in numbers:
                if number not in done and still_wanted(number):
                    yield number, self.compute(number)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _finished(waiting: dict[Future[Found], int], done: set[int]) -> Iterator[tuple[int, Found]]:
    ready, _ = wait(waiting, return_when=FIRST_COMPLETED)
    for future in ready:
        found = future.result()
        number = waiting.pop(future)
        done.add(number)
        yield number, found


_compute: Callable[[int], object] | None = None


def _begin(parent: int) -> None:
    """A worker leaves interrupts to the process that began it, and ends when that is gone, however it went."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_WATCH)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _work(number: int) -> Found:  # type: ignore[type-var]
    assert _compute is not None
    return _compute(number)  # type: ignore[return-value]
