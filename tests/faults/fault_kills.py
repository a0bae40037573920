"""Searches that are killed at random moments and taken up again: nothing finished is lost, the answer is the same.

A child process runs the search in small blocks. The wrapper round the record writes the number of each block that was
kept into a log; after the kill every number in the log must be in the record, whole. Every result file that is there
must be whole: that of the run before or that of this one, byte for byte.
"""

from __future__ import annotations

import functools
import os
import random
import shutil
import signal
import time
from pathlib import Path

from fault_common import EVOLVE, EXHAUSTIVE, RESULTS, Tally, ended, forked, scratch, write_study

SMALL = 4
"""Outsides a block, so that a small study has many."""


@functools.cache
def code_hash() -> str:
    """The hash of the code, worked out once: an edit while the trials run is not what they are about."""
    from optimizer.drivers.fingerprint import code_hash as plain

    return plain()


def run_search(study: Path, out: Path, log: Path | None = None) -> int:
    """The search of a study in this process, in small blocks; numbers of the blocks kept go to the log."""
    import optimizer.commands.search
    import optimizer.drivers.evolutionary
    import optimizer.drivers.fingerprint
    from optimizer.drivers.blocks import Store
    from optimizer.drivers.exhaustive import screen
    from optimizer.inputs import load_study

    optimizer.commands.search.screen = functools.partial(screen, block=SMALL)
    optimizer.drivers.fingerprint.code_hash = code_hash
    optimizer.drivers.evolutionary.BATCH = 12
    if log is not None:
        handle = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        plain = Store.write

        def write(self, block):
            plain(self, block)
            os.write(handle, f"{block.number}\n".encode())

        Store.write = write
    optimizer.commands.search.search(load_study(study), out)
    return 0


def finished_blocks(out: Path, study: Path) -> tuple[set[int], list[str]]:
    """Blocks of a record that read back whole, and what its opening said."""
    import sqlite3

    from optimizer.drivers.blocks import Store

    if not (out / "record.db").exists():
        return set(), []
    connection = sqlite3.connect(out / "record.db")
    try:
        facts = dict(connection.execute("SELECT key, value FROM meta").fetchall())
    except sqlite3.OperationalError:
        return set(), []
    finally:
        connection.close()
    if "study" not in facts:
        return set(), []
    store = Store.open(out, facts["study"], facts["identity"])
    whole = {number for number in store.finished() if store.read(number) is not None}
    messages = list(store.messages)
    store.close()
    return whole, messages


def killed_searches(kills: int, method: str, seed: int = 1, in_a_row: int = 3) -> Tally:
    """Kill -9 `kills` times, `in_a_row` times on one folder before it is let run to its end."""
    tally = Tally(f"kill -9 at random moments, {method}")
    draw = random.Random(f"{seed}{method}")
    driver = EXHAUSTIVE if method == "exhaustive" else EVOLVE
    code_hash()
    with scratch() as folder:
        study = write_study(folder, driver, "0.25 mm")
        started = time.monotonic()
        assert ended(forked(lambda: run_search(study, folder / "whole"))) == 0
        length = time.monotonic() - started
        wanted = {name: (folder / "whole" / name).read_bytes() for name in RESULTS}
        kept = 0
        while tally.tried < kills:
            out, log = folder / "out", folder / "log"
            shutil.rmtree(out, ignore_errors=True)
            log.unlink(missing_ok=True)
            for _ in range(in_a_row):
                child = forked(functools.partial(run_search, study, out, log))
                time.sleep(draw.random() * length)
                os.kill(child, signal.SIGKILL)
                if ended(child) != -signal.SIGKILL:
                    continue  # it was done before the kill came
                noted = {int(line) for line in log.read_text().split()} if log.exists() else set()
                whole, messages = finished_blocks(out, study)
                kept += len(whole)
                problem = _wrong(out, wanted, noted - whole, messages)
                tally.note(not problem, f"kill {tally.tried + 1}: {problem}")
            code = ended(forked(functools.partial(run_search, study, out, log)))
            after = {name: (out / name).read_bytes() for name in RESULTS if (out / name).exists()}
            if code != 0 or after != wanted:
                tally.failures.append(f"resumed after kill {tally.tried}: exit {code}, the same: {after == wanted}")
            left = [path.name for path in out.rglob("*.part")]
            if left:
                tally.failures.append(f"temporaries are left: {left}")
        tally.remark = f"{kept} finished blocks met after the kills, none lost; every resumed table the same byte for byte"
    return tally


def _wrong(out: Path, wanted: dict[str, bytes], lost: set[int], messages: list[str]) -> str:
    if lost:
        return f"finished blocks are lost: {sorted(lost)[:5]}"
    if messages:
        return f"the record is said to be damaged: {messages}"
    for name, content in wanted.items():
        if (out / name).exists() and (out / name).read_bytes() != content:
            return f"{name} is neither whole nor absent"
    return ""


def killed_while_replacing(kills: int, seed: int = 1) -> Tally:
    """Kill -9 while a folder with the results of an earlier edit is written over: each file is the old or the new one."""
    tally = Tally("kill -9 while old results are replaced")
    draw = random.Random(seed)
    code_hash()
    with scratch() as folder:
        study = write_study(folder, throat="1 mm")
        for name, throat in (("old", "2 mm"), ("new", "1 mm")):
            write_study(folder, throat=throat)
            assert ended(forked(functools.partial(run_search, study, folder / name))) == 0
        contents = {name: _results(folder / name) for name in ("old", "new")}
        shutil.copytree(folder / "old", folder / "counted")
        assert ended(forked(functools.partial(_killed_at, study, folder / "counted", 0, folder / "calls"))) == 0
        calls = int((folder / "calls").read_text())
        mixed = 0
        for number in range(kills):
            out = folder / "out"
            shutil.rmtree(out, ignore_errors=True)
            shutil.copytree(folder / "old", out)
            child = forked(functools.partial(_killed_at, study, out, draw.randint(1, calls)))
            code = ended(child)
            now = _results(out)
            states = [
                "old" if content == contents["old"].get(name) else "new" if content == contents["new"].get(name) else "?"
                for name, content in now.items()
            ]
            mixed += "old" in states and "new" in states
            broken = [name for name, state in zip(now, states, strict=True) if state == "?" and name != "run.json"]
            code_again = ended(forked(functools.partial(run_search, study, out)))
            same = {k: v for k, v in _results(out).items() if k != "run.json"} == {
                k: v for k, v in contents["new"].items() if k != "run.json"
            }
            tally.note(
                code == -signal.SIGKILL and not broken and code_again == 0 and same,
                f"kill {number + 1}: {code} {broken} {code_again} {same}",
            )
        # Three kills may all miss the moment; where many do, the line shows nothing of it.
        assert mixed or kills < 12, "no kill came between the old files and the new"
        tally.remark = f"{calls} calls; each file old or new, never half, then all of them new ({mixed} met between)"
    return tally


def _results(out: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file() and "record" not in path.name and not path.name.endswith(".part")
    }


def _killed_at(study: Path, out: Path, call: int, told: Path | None = None) -> int:
    """Run the search, and end this process at the `call`-th write, flush or rename of a result file; call 0 ends none.

    How many calls there were goes to the file `told`.
    """
    from optimizer import results

    count = 0

    def counted(plain):
        def run(*arguments):
            nonlocal count
            count += 1
            if count == call:
                os.kill(os.getpid(), signal.SIGKILL)
            return plain(*arguments)

        return run

    class Watched:
        fsync, replace, write = (staticmethod(counted(call)) for call in (os.fsync, os.replace, os.write))

        def __getattr__(self, name):
            return getattr(os, name)

    results.os = Watched()
    code = run_search(study, out)
    if told is not None:
        told.write_text(str(count))
    return code


def workers_on_one_folder(workers: int, rounds: int = 1, kill_one: bool = False, seed: int = 1) -> Tally:
    """Several processes search one study into one folder; each must come to the same table, and one may be killed."""
    tally = Tally(f"{workers} workers on one folder{', one of them killed' if kill_one else ''}")
    draw = random.Random(seed)
    code_hash()
    with scratch() as folder:
        study = write_study(folder, EXHAUSTIVE, "0.25 mm")
        started = time.monotonic()
        assert ended(forked(lambda: run_search(study, folder / "whole"))) == 0
        length = time.monotonic() - started
        wanted = {name: (folder / "whole" / name).read_bytes() for name in RESULTS}
        written = 0
        for number in range(rounds):
            out = folder / f"out{number}"
            logs = [folder / f"log{number}-{worker}" for worker in range(workers)]
            children = [forked(functools.partial(run_search, study, out, log)) for log in logs]
            if kill_one:
                time.sleep(draw.random() * length)
                os.kill(children[0], signal.SIGKILL)
            codes = [ended(child) for child in children]
            wanted_codes = [-9 if kill_one and place == 0 else 0 for place in range(workers)]
            whole, messages = finished_blocks(out, study)
            noted = {int(line) for log in logs if log.exists() for line in log.read_text().split()}
            written += sum(len(log.read_text().split()) for log in logs if log.exists())
            same = all((out / name).exists() and (out / name).read_bytes() == wanted[name] for name in RESULTS)
            ok = all(c == w or (c == 0 and w == -9) for c, w in zip(codes, wanted_codes, strict=True))
            held = same and ok and not messages and noted <= whole
            tally.note(held, f"round {number + 1}: exits {codes}, same {same}, {messages}, lost {noted - whole}")
        blocks = len(finished_blocks(folder / "whole", study)[0])
        tally.remark = f"the same table each time; {written / rounds / blocks:.2f} writes a block"
    return tally


def opened_at_once(rounds: int, processes: int = 4) -> Tally:
    """Several processes make one fresh record at the same instant; each must come to have it open."""
    from optimizer.drivers.blocks import Store

    tally = Tally(f"{processes} processes make one record at once")
    with scratch() as folder:
        for number in range(rounds):
            go, out = folder / f"go{number}", folder / f"out{number}"

            def act(go: Path = go, out: Path = out) -> None:
                while not go.exists():
                    pass
                store = Store.open(out, "hash", "study.toml", "Mine")
                store.finished()
                store.close()

            children = [forked(act) for _ in range(processes)]
            time.sleep(0.02)
            go.touch()
            codes = [ended(child) for child in children]
            tally.note(not any(codes), f"round {number + 1}: exits {codes}")
    tally.remark = "none waits in vain"
    return tally
