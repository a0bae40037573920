"""A PostgreSQL that goes away while two workers search, and comes back: nothing finished is lost, and it goes on.

The server is one of our own on a free port, gone afterwards. It refuses to run as root, so root hands it to another
account.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fault_common import ROOT, Lacking, Tally, scratch, write_study

ACCOUNTS = ("postgres", "nobody")


class Server:
    """A PostgreSQL in a folder; `start`, `stop` (at once, as in a crash)."""

    def __init__(self, programs: Path, folder: Path, port: int, owner: list[str]) -> None:
        self.programs, self.folder, self.port, self.owner = programs, folder, port, owner

    @property
    def url(self) -> str:
        """Where a study finds it."""
        return f"postgresql://grain@127.0.0.1:{self.port}/postgres"

    def run(self, program: str, *arguments: str) -> None:
        command = [*self.owner, str(self.programs / program), *arguments]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/")

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1"
        log = str(self.folder / "log")
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-l", log, "-w", "-o", options, "start")

    def stop(self) -> None:
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")


@contextmanager
def server() -> Iterator[Server]:
    """A running server; Lacking where none is installed or none can be run."""
    places = [*Path("/usr/lib/postgresql").glob("*/bin"), Path(shutil.which("pg_ctl") or "/none").resolve().parent]
    programs = next((place for place in places if (place / "initdb").exists() and (place / "pg_ctl").exists()), None)
    if programs is None:
        raise Lacking("no PostgreSQL server is installed here")
    folder = Path(tempfile.mkdtemp(prefix="grainwright-database-", dir="/tmp"))
    owner: list[str] = []
    if os.geteuid() == 0:
        account = next((name for name in ACCOUNTS if subprocess.run(["id", name], capture_output=True).returncode == 0), None)
        if account is None or shutil.which("runuser") is None:
            raise Lacking("PostgreSQL does not run as root, and there is no other account to run it")
        shutil.chown(folder, account)
        owner = ["runuser", "-u", account, "--"]
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Server(programs, folder, port, owner)
    try:
        made.run("initdb", "-D", str(folder / "data"), "-U", "grain", "-A", "trust")
        made.start()
        yield made
    finally:
        with contextlib.suppress(subprocess.CalledProcessError):  # it may be stopped already
            made.stop()
        shutil.rmtree(folder, ignore_errors=True)


def finished(url: str) -> set[int]:
    """Numbers of the trials that the database has as finished, with their families."""
    import psycopg

    with psycopg.connect(url) as connection:
        rows = connection.execute(
            "SELECT t.number FROM trials t JOIN trial_user_attributes a ON a.trial_id = t.trial_id "
            "WHERE t.state = 'COMPLETE' AND a.key = 'family'"
        ).fetchall()
    return {row[0] for row in rows}


WORKER = """
import optimizer.drivers.evolutionary, sys
from optimizer.cli import main
optimizer.drivers.evolutionary.PATIENCE = float(sys.argv.pop(1))
optimizer.drivers.evolutionary.STALE = 10.0
main(prog_name="grainwright")
"""


def worker(study: Path, out: Path, patience: float) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WORKER, str(patience), "search", str(study), "--out", str(out), "--json"],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env={**os.environ, "OMP_NUM_THREADS": "1"},
    )  # fmt: skip


def database_goes_away(rounds: int, workers: int = 2, budget: int = 160, seed: int = 1) -> Tally:
    """Stop the server under running workers, as in a crash. By turns it comes back while they wait for it, and they end
    with 0; or it stays away longer than they wait, they end with 3, and the same commands are run again."""
    tally = Tally(f"PostgreSQL crashes under {workers} workers and comes back")
    draw = random.Random(seed)
    kept, ends = 0, []
    with scratch() as folder, server() as database:
        for number in range(rounds):
            returns = number % 2 == 0
            driver = f'kernel = "steady"\nmethod = "evolve"\nbudget = {budget}\nstore = "{database.url}"'
            study = write_study(folder / f"study{number}", driver, "0.1 mm")
            study.write_text(study.read_text().replace('"700 N*s"', f'"{700 + number} N*s"'))
            before = _count(database.url)
            outs = [folder / f"out{number}-{place}" for place in range(workers)]
            team = [worker(study, out, 120.0 if returns else 2.0) for out in outs]
            until = time.monotonic() + 120
            while _count(database.url) < before + budget // 8 and time.monotonic() < until:
                time.sleep(0.2)
            time.sleep(draw.random())
            there = finished(database.url)
            database.stop()
            if returns:
                time.sleep(1.0 + 2.0 * draw.random())
                database.start()
            first = [_end(process) for process in team]
            if not returns:
                database.start()
                again = [_end(process) for process in [worker(study, out, 120.0) for out in outs]]
            else:
                again = first
            lost = there - finished(database.url)
            kept += len(there)
            codes = [code for code, _ in first]
            if not returns and 0 in codes:
                continue  # a worker was done before the crash came
            ends += codes
            calm = all(code == (0 if returns else 3) and "Traceback" not in text for code, text in first)
            clear = returns or all("database of the study" in text and "is kept" in text for _, text in first)
            done = all(code == 0 and "Traceback" not in text for code, text in again)
            tally.note(calm and clear and done and not lost, f"round {number + 1}: {first}, then {again}, lost {lost}")
    tally.remark = f"exits {ends}; {kept} finished trials, none lost"
    return tally


def _count(url: str) -> int:
    import psycopg

    try:
        return len(finished(url))
    except psycopg.Error:
        return 0  # no study has made its tables yet


def _end(process: subprocess.Popen[str]) -> tuple[int, str]:
    try:
        _, text = process.communicate()
    except subprocess.TimeoutExpired:
        process.kill()
        return -1, "hangs: " + process.communicate()[1][-300:]
    return process.returncode, text[-600:]
