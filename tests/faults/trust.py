"""Break things on purpose and print how many tries held: `python tests/faults/trust.py` (`--quick` for small sizes).

Owns the table of lines and their sizes; the faults themselves are in the modules beside it.
"""

from __future__ import annotations

import argparse
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import fault_database
import fault_inputs
import fault_kills
import fault_machine
import fault_store
from fault_common import Lacking, Tally

# Name, then what is run at the quick and at the full size.
LINES: dict[str, tuple[Callable[[], object], Callable[[], object]]] = {
    "hostile files": (lambda: fault_inputs.hostile_files(800, whole=0.03), lambda: fault_inputs.hostile_files(10_000, whole=0.1)),
    "kill -9, exhaustive": (
        lambda: fault_kills.killed_searches(3, "exhaustive"),
        lambda: fault_kills.killed_searches(100, "exhaustive"),
    ),
    "kill -9, evolving": (lambda: fault_kills.killed_searches(3, "evolve"), lambda: fault_kills.killed_searches(100, "evolve")),
    "kill -9 while results are replaced": (
        lambda: fault_kills.killed_while_replacing(3),
        lambda: fault_kills.killed_while_replacing(40),
    ),
    "two workers": (lambda: fault_kills.workers_on_one_folder(2), lambda: fault_kills.workers_on_one_folder(2, 5)),
    "four workers, one killed": (
        lambda: fault_kills.workers_on_one_folder(4, 1, True),
        lambda: fault_kills.workers_on_one_folder(4, 5, True),
    ),
    "opened at once": (lambda: fault_kills.opened_at_once(15), lambda: fault_kills.opened_at_once(200)),
    "SIGINT": (lambda: fault_machine.interrupted(signal.SIGINT, 2), lambda: fault_machine.interrupted(signal.SIGINT, 20)),
    "SIGTERM": (lambda: fault_machine.interrupted(signal.SIGTERM, 1), lambda: fault_machine.interrupted(signal.SIGTERM, 10)),
    "database goes away": (
        lambda: fault_database.database_goes_away(1, budget=48),
        lambda: fault_database.database_goes_away(6, budget=80),
    ),
    "full disk": (lambda: fault_machine.full_disks(3), lambda: fault_machine.full_disks(20)),
    "unwritable places": (fault_machine.unwritable_places, fault_machine.unwritable_places),
    "reader gone": (fault_machine.reader_gone, fault_machine.reader_gone),
    "damaged record": (lambda: fault_store.damaged_records(0.01), lambda: fault_store.damaged_records(1.0)),
    "failing system calls": (fault_store.failing_calls, fault_store.failing_calls),
    "no room": (lambda: fault_store.no_room(3), lambda: fault_store.no_room(12)),
    "odd paths": (fault_machine.odd_paths, fault_machine.odd_paths),
    "clock set back": (fault_machine.clock_steps_back, fault_machine.clock_steps_back),
    "little memory": (fault_machine.little_memory, fault_machine.little_memory),
    "flat memory": (lambda: fault_machine.flat_memory(("0.1 mm", "0.01 mm")), fault_machine.flat_memory),
}


def tallies(found: object) -> Iterator[Tally]:
    """The tallies in what a line gives, as they come: one, several, or one with its figures."""
    items = [found] if isinstance(found, Tally) else found
    yield from (item for item in items if isinstance(item, Tally))  # type: ignore[attr-defined]


def main() -> int:
    """Run the lines asked for; 0 where every try held."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes, a few minutes in all")
    parser.add_argument("only", nargs="*", help=f"lines to run; all where left out: {', '.join(LINES)}")
    options = parser.parse_args()
    bad = 0
    for name in options.only or LINES:
        started = time.perf_counter()
        try:
            for tally in tallies(LINES[name][0 if options.quick else 1]()):
                bad += len(tally.failures)
                print(f"{name}: {tally} ({time.perf_counter() - started:.0f} s)", flush=True)
        except Lacking as why:
            print(f"{name}: not run, {why}", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
