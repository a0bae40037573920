"""What every line of the trust table shares: how it is counted, child processes, and small invented studies."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "shared"))  # where this runs as a program, without the test runner

from scenario import SEAL, searched  # noqa: E402

RESULTS = ("pareto.csv", "pareto.json")


class Lacking(Exception):
    """The machine lacks what a line of the table needs; the text says what."""


@dataclass
class Tally:
    """One line of the table: how many were tried, how many held, and what went wrong with the others."""

    line: str
    tried: int = 0
    failures: list[str] = field(default_factory=list)
    remark: str = ""

    def note(self, held: bool, what: str) -> None:
        """Count one try; `what` tells of it where it did not hold."""
        self.tried += 1
        if not held:
            self.failures.append(what)

    @property
    def survived(self) -> int:
        """Tries that held."""
        return self.tried - len(self.failures)

    def __str__(self) -> str:
        return f"{self.line}: {self.survived} of {self.tried} held; {self.remark}; {self.failures[:5]}"


@contextlib.contextmanager
def scratch() -> Iterator[Path]:
    """A folder in memory where the machine has one (flushing to a disk ten thousand times says nothing more)."""
    memory = Path("/dev/shm")
    usable = memory.is_dir() and os.access(memory, os.W_OK)
    folder = Path(tempfile.mkdtemp(prefix="grainwright-", dir=memory if usable else None))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def forked(action: Callable[[], object]) -> int:
    """Run an action in a child that shares what is imported already; its process number."""
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child:
        return child
    code = 70
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        result = action()
        code = result if isinstance(result, int) else 0
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 71
    except BaseException:
        traceback.print_exc()
        sys.stderr.flush()
    os._exit(code)


def ended(child: int, patience: float = 300.0) -> int:
    """The exit code of a child, minus the signal that ended it; a child that hangs is killed and gives -9."""
    until = time.monotonic() + patience
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return -signal.SIGKILL


MOTOR = (
    searched(seal=SEAL)
    + """[tolerances]
throat_diameter = {plus_minus = "0.05 mm"}
rate = {standard_deviation = "3 %"}
"""
)
STUDY = """
schema = 1
name = "Invented study"
motor = "base.toml"
[target]
impulse = ["700 N*s", "2500 N*s"]
[search]
grain_count = {from = 3, to = 5}
core_diameter = {from = "15 mm", to = "19 mm", step = "2 mm"}
throat_diameter = {from = "11 mm", to = "15 mm", step = "THROAT"}
wall = {from = "2 mm", to = "4 mm", step = "1 mm"}
forward_closure.count = {from = 4, to = 12, step = 4}
forward_closure.screw = ["#8-32 UNC", "1/4-20 UNC"]
[limits]
maximum_pressure = "9 MPa"
minimum_factor = {"screw shear" = 2.0, "case yield" = 1.5}
port_over_throat = {min = 1.2}
[objectives]
loaded_mass = "min"
total_impulse = "max"
smallest_factor = "max"
[driver]
DRIVER
"""
EXHAUSTIVE = 'kernel = "steady"\nmethod = "exhaustive"'
EVOLVE = 'kernel = "steady"\nmethod = "evolve"\nbudget = 300'


def write_study(folder: Path, driver: str = EXHAUSTIVE, throat: str = "0.5 mm", name: str = "study") -> Path:
    """A small study and its motor."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "base.toml").write_text(MOTOR)
    path = folder / f"{name}.toml"
    path.write_text(STUDY.replace("DRIVER", driver).replace("THROAT", throat))
    return path
