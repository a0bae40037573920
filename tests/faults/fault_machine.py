"""The command line with the machine against it: interrupts, full disks, folders that cannot be written, little memory,
odd paths, a clock that runs backwards, and a reader that goes away. Each line counts what was tried and what held.
"""

from __future__ import annotations

import functools
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from fault_common import EXHAUSTIVE, MOTOR, RESULTS, ROOT, Lacking, Tally, ended, forked, scratch, write_study
from fault_kills import code_hash, finished_blocks

SMALL = 4


def command(arguments: list[str], said: Path, before: Callable[[], None] | None = None, small: bool = True) -> int:
    """A child that runs one command line with its stderr in a file; its process number. `small` makes small blocks."""

    def run() -> None:
        import optimizer.commands.search
        import optimizer.drivers.fingerprint
        from optimizer.cli import main
        from optimizer.drivers.exhaustive import screen

        for number, name in ((1, said.with_suffix(".out")), (2, said)):
            os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        optimizer.drivers.fingerprint.code_hash = code_hash
        if small:
            optimizer.commands.search.screen = functools.partial(screen, block=SMALL)
        if before is not None:
            before()
        main(arguments, prog_name="grainwright")

    return forked(run)


def warmed(folder: Path, throat: str = "0.25 mm") -> tuple[Path, dict[str, bytes], float]:
    """A study, its results where nothing goes wrong, and how long they took."""
    code_hash()
    import optimizer.output.pages  # noqa: F401  (children share what is imported)

    study = write_study(folder, EXHAUSTIVE, throat)
    started = time.monotonic()
    said = folder / "said"
    code = ended(command(["search", str(study), "--out", str(folder / "whole"), "--json"], said))
    assert code == 0, said.read_text()
    return study, {name: (folder / "whole" / name).read_bytes() for name in RESULTS}, time.monotonic() - started


def interrupted(number: int, times: int, seed: int = 1) -> Tally:
    """SIGINT or SIGTERM at random moments of a search: exit 130, one plain message, finished work kept."""
    name = signal.Signals(number).name
    tally = Tally(f"{name} at random moments: exit 130, finished work kept")
    draw = random.Random(seed)
    with scratch() as folder:
        study, wanted, length = warmed(folder)
        late = kept = 0
        while tally.tried < times:
            out, said = folder / f"out{tally.tried}", folder / "said"
            shutil.rmtree(out, ignore_errors=True)
            child = command(["search", str(study), "--out", str(out), "--json"], said)
            while not (out / "record.db").exists():
                time.sleep(0.005)
            time.sleep(draw.random() * length * 0.7)
            os.kill(child, number)
            code = ended(child)
            if code == 0:
                late += 1  # it was done before the signal came
                if late > 3 * times:
                    break
                continue
            text = said.read_text()
            whole, messages = finished_blocks(out, study)
            kept += len(whole)
            again = ended(command(["search", str(study), "--out", str(out), "--json"], said))
            same = all((out / item).read_bytes() == wanted[item] for item in RESULTS)
            held = code == 130 and "what was finished is kept" in text and "Traceback" not in text
            held &= not messages and again == 0 and same and not list(out.rglob("*.part"))
            tally.note(held, f"exit {code}, then {again}, the same {same}, {messages}: {text[-300:]}")
        tally.remark = f"{kept} finished blocks kept; resumed to the same table"
    return tally


# --- full disks ---------------------------------------------------------------------------------------------------------


@contextmanager
def small_disk(size: str) -> Iterator[Path]:
    """A file system in memory of a given size; Lacking where this account may not mount one."""
    with scratch() as folder:
        mount = folder / "disk"
        mount.mkdir()
        made = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(mount)], capture_output=True)
        if made.returncode:
            raise Lacking("no small file system can be mounted by this account")
        try:
            yield mount
        finally:
            subprocess.run(["umount", "-l", str(mount)], check=True)


def full_disks(steps: int) -> Tally:
    """A search over old results on a disk with ever more room: exit 3 and every old file as it was, or all new."""
    tally = Tally("full disk: exit 3, a clear message, the old results whole")
    ends: Counter[int] = Counter()
    with scratch() as folder, small_disk("48m") as disk:
        study, wanted, _ = warmed(folder, "1 mm")
        first = write_study(folder / "first", EXHAUSTIVE, "2 mm")
        study.write_text(first.read_text())
        said = folder / "said"
        assert ended(command(["search", str(study), "--out", str(disk / "out"), "--json"], said)) == 0, said.read_text()
        write_study(folder, EXHAUSTIVE, "1 mm")
        room = _size(folder / "whole")
        for step in range(steps):
            out = disk / "out"
            keep = folder / "old"
            if not keep.exists():
                shutil.copytree(out, keep)
            shutil.rmtree(out)
            shutil.copytree(keep, out)
            old = _files(out)
            left = int(2.5 * room * step / max(1, steps - 1))
            free = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize
            (disk / "ballast").write_bytes(b"\0" * max(0, free - left))
            code = ended(command(["search", str(study), "--out", str(out), "--json"], said))
            text, now = said.read_text(), _files(out)
            ends[code] += 1
            same = all(now.get(name) == content for name, content in old.items())
            (disk / "ballast").unlink()
            again = ended(command(["search", str(study), "--out", str(out), "--json"], said))
            after = _told(out / "pareto.json") == _told(folder / "whole" / "pareto.json")
            after &= (out / "pareto.csv").read_bytes() == wanted["pareto.csv"]
            if code == 0:
                held = after and again == 0
            else:
                clear = "run it again" in text or "run the same command again" in text
                held = code == 3 and clear and "Traceback" not in text and same and again == 0 and after
            held &= not list(out.rglob("*.part"))
            tally.note(held, f"{left} bytes left: exit {code}, old whole {same}, then {again} {after}: {text[-300:]}")
    tally.remark = ", ".join(f"exit {code}: {count}" for code, count in sorted(ends.items()))
    return tally


def _told(path: Path) -> dict:
    """The object of pareto.json without its messages, which tell what became of the older record."""
    return {key: value for key, value in json.loads(path.read_bytes()).items() if key != "messages"}


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def _files(out: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file() and "record" not in path.name
    }


# --- folders and paths --------------------------------------------------------------------------------------------------


def unwritable_places() -> Tally:
    """Files in the way, folders in the way, no permission, a folder that may not change: exit 2 or 3 and what to do."""
    tally = Tally("places that cannot be written")
    ends: list[str] = []
    with scratch() as folder:
        study, _, _ = warmed(folder, "2 mm")
        motor, said = folder / "base.toml", folder / "said"
        (folder / "a file").write_text("x")
        (folder / "taken" / "pareto.csv").mkdir(parents=True)
        (folder / "page" / "check.html").mkdir(parents=True)
        (folder / "record" / "record.db").mkdir(parents=True)
        cases: list[tuple[str, list[str]]] = []
        for name, line in (("search", ["search", str(study)]), ("check", ["check", str(motor)]), ("draw", ["draw", str(motor)])):
            cases.append((f"{name}, a file on the way", [*line, "--out", str(folder / "a file" / "deeper")]))
        cases += [
            ("search, a file there", ["search", str(study), "--out", str(folder / "a file")]),
            ("search, a folder for a file", ["search", str(study), "--out", str(folder / "taken")]),
            ("search, a folder for the record", ["search", str(study), "--out", str(folder / "record")]),
            ("check, a folder for the page", ["check", str(motor), "--out", str(folder / "page")]),
            ("check, curve under a file", ["check", str(motor), "--curve", str(folder / "a file" / "c.csv")]),
            ("new, a file there", ["new", str(folder / "a file")]),
            ("search, a name too long", ["search", str(study), "--out", str(folder / ("x" * 300))]),
        ]
        for name, line in cases:
            code = ended(command(line, said))
            text = said.read_text()
            advice = any(word in text for word in ("--out", "name a", "check", "remove", "--curve"))
            held = code in (2, 3) and advice and "Traceback" not in text
            ends.append(f"{name}: {code}")
            tally.note(held, f"{name}: exit {code}: {text[-300:]}")
        tally.note((folder / "a file").read_text() == "x", "the file in the way was changed")
        ends += _without_permission(folder, study, motor, tally)
    exits = Counter(item[-1] for item in ends)
    tally.remark = ", ".join(f"exit {code}: {count}" for code, count in sorted(exits.items()))
    return tally


def _without_permission(folder: Path, study: Path, motor: Path, tally: Tally) -> list[str]:
    """The same in a folder that may not change. Root may write everywhere, so it gives that right up first."""
    plain = [sys.executable, "-m", "optimizer.cli"]
    if os.geteuid() == 0:
        if shutil.which("setpriv") is None:
            raise Lacking("this account may write everywhere, and there is no setpriv to give that up")
        plain = ["setpriv", "--bounding-set", "-dac_override,-dac_read_search", "--", *plain]
    closed, ends = folder / "closed", []
    closed.mkdir()
    closed.chmod(0o555)
    for name, line in (("search", ["search", str(study)]), ("check", ["check", str(motor)])):
        for out in (closed, closed / "new"):
            run = subprocess.run([*plain, *line, "--out", str(out)], cwd=ROOT, capture_output=True, text=True)
            held = run.returncode == 3 and "--out" in run.stderr and "Traceback" not in run.stderr
            held &= not list(closed.iterdir())
            ends.append(f"{name}, no permission: {run.returncode}")
            tally.note(held, f"{name} in {out.name}: exit {run.returncode}: {run.stderr[-300:]}")
    closed.chmod(0o755)
    return ends


ODD_NAMES = (
    "with a space", "über Ω 火箭", "emoji \U0001f680", "new\nline", "tab\there", "'quotes\"", "$(touch pwned)", "-dash", "a;b&c|d",
    "%s%n", "#hash", "=1+1", ".hidden", "dots..", "x" * 100, "Ω" * 60, "\u202eright", "back\\slash", "*?[x]", "~",
)  # fmt: skip


def odd_paths() -> Tally:
    """Folders and files with odd names, for the study, its motor and its results: done as any other."""
    tally = Tally("odd names of files and folders")
    with scratch() as folder:
        _, wanted, _ = warmed(folder, "2 mm")
        for name in ODD_NAMES:
            place = folder / "odd" / name
            study = write_study(place, EXHAUSTIVE, "2 mm", name)
            study.write_text(study.read_text().replace("base.toml", f"{name.replace(chr(10), '')}b.toml")
                             if name.isidentifier() else study.read_text())  # fmt: skip
            if name.isidentifier():
                (place / "base.toml").rename(place / f"{name}b.toml")
            out, said = place / f"{name} out", folder / "said"
            code = ended(command(["search", "--json", "--out", str(out), "--", str(study)], said))
            made = out / "pareto.csv"
            same = made.exists() and made.read_bytes() == wanted["pareto.csv"]
            check = ended(command(["check", "--json", "--", str(out / "motors" / "01.toml")], said))
            stray = [*folder.rglob("pwned"), *Path.cwd().glob("pwned")]
            held = code == 0 and same and check in (0, 1) and not stray
            tally.note(held, f"{name!r}: exit {code}, the same {same}, check {check}, {stray}: {said.read_text()[-300:]}")
    return tally


# --- the machine itself -------------------------------------------------------------------------------------------------

CLOCK = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stddef.h>
#include <sys/time.h>
#include <time.h>
/* The wall clock steps back by a day at every reading; the clock that only runs forward is left alone. */
static long back = 0;
int clock_gettime(clockid_t which, struct timespec *at) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real) real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int done = real(which, at);
    if (which == CLOCK_REALTIME) at->tv_sec -= back = (back + 86400) % 300000000;
    return done;
}
int gettimeofday(struct timeval *at, void *zone) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    at->tv_sec = now.tv_sec; at->tv_usec = now.tv_nsec / 1000;
    return 0;
}
"""


def clock_steps_back() -> Tally:
    """Exhaustive and evolving searches while the wall clock jumps back at each reading, over a record from the future."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        raise Lacking("there is no C compiler for the shim that sets the clock back")
    tally = Tally("wall clock set back at every reading")
    with scratch() as folder:
        (folder / "clock.c").write_text(CLOCK)
        built = subprocess.run([compiler, "-shared", "-fPIC", "-o", folder / "clock.so", folder / "clock.c", "-ldl"])
        if built.returncode:
            raise Lacking("the clock's shim does not compile")
        for method in ("exhaustive", "evolve"):
            driver = f'kernel = "steady"\nmethod = "{method}"\nbudget = 60'
            study = write_study(folder / method, driver, "1 mm")
            tables = []
            for name, extra in (("plain", {}), ("back", {"LD_PRELOAD": str(folder / "clock.so")})):
                out = folder / method / name
                for _ in range(2 if extra else 1):  # the second time resumes, over files that claim to be younger
                    run = subprocess.run(
                        [sys.executable, "-m", "optimizer.cli", "search", str(study), "--out", str(out), "--json"],
                        cwd=ROOT, env={**os.environ, **extra}, capture_output=True, text=True,
                    )  # fmt: skip
                    for path in out.rglob("*") if out.exists() else ():
                        os.utime(path, (4e9, 4e9))
                    held = run.returncode == 0 and "Traceback" not in run.stderr
                    if extra:
                        tally.note(held, f"{method}: exit {run.returncode}: {run.stderr[-300:]}")
                tables.append([(out / name).read_bytes() for name in RESULTS if (out / name).exists()])
            tally.note(tables[0] == tables[1] and len(tables[0]) == 2, f"{method}: another table")
    tally.remark = "the same tables as with a good clock"
    return tally


def little_memory(limits: tuple[int, ...] = (60, 100, 130, 160, 220, 300, 500)) -> Tally:
    """Commands within an address space of so many megabytes: done, or exit 3 and a plain message."""
    tally = Tally("little memory (address space limited)")
    ends: list[str] = []
    with scratch() as folder:
        study = write_study(folder, EXHAUSTIVE, "0.25 mm")
        for line in (["check", str(folder / "base.toml"), "--json"], ["search", str(study), "--json", "--out", str(folder / "o")]):
            for limit in limits:
                run = subprocess.run(
                    ["/bin/sh", "-c", f'ulimit -v {limit * 1024}; exec "$@"', "sh", sys.executable, "-m", "optimizer.cli", *line],
                    cwd=ROOT, env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}, capture_output=True,
                    text=True,
                )  # fmt: skip
                code = run.returncode
                # Both answers are "yes": exit 1 here would be a failure of the machine told as a "no".
                held = (code == 0 or (code == 3 and "memory" in run.stderr)) and "Traceback" not in run.stderr
                ends.append(f"{line[0]} {limit} MB: {code}")
                tally.note(held, f"{line[0]} within {limit} MB: exit {code}: {run.stderr[-300:]}")
    tally.remark = "; ".join(ends)
    return tally


def reader_gone() -> Tally:
    """Every command with a stdout whose reader has gone: quiet, exit 0 (or 1 where the answer is no)."""
    tally = Tally("broken pipe on stdout")
    with scratch() as folder:
        shutil.copytree(ROOT / "optimizer" / "starter", folder / "start")
        start = folder / "start"
        (start / "base.toml").write_text(MOTOR)
        base = str(start / "base.toml")
        lines = [["check", base], ["check", base, "--json"], ["spread", base, "--samples", "16"], ["compare", base, base],
                 ["explain", str(start / "failed_firing.toml")], ["new", str(folder / "fresh")]]  # fmt: skip
        for line in lines:
            reading, writing = os.pipe()
            os.close(reading)
            out = ["--out", str(folder / "out")] if line[0] != "new" else []
            run = subprocess.run(
                [sys.executable, "-m", "optimizer.cli", *line, *out], cwd=ROOT, stdout=writing, stderr=subprocess.PIPE, text=True
            )
            os.close(writing)
            held = run.returncode == 0 and "Traceback" not in run.stderr and "Error" not in run.stderr
            tally.note(held, f"{' '.join(line[:1])}: exit {run.returncode}: {run.stderr[-300:]}")
    return tally


MEASURE = """
import resource, sys
from pathlib import Path
from optimizer.inputs import load_study
from optimizer.commands.search import search
study = load_study(sys.argv[1])
result = search(study, sys.argv[2])
print(study.size, result.feasible, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, result.exact, result.method)
"""


def flat_memory(steps: tuple[str, ...] = ("0.1 mm", "0.01 mm", "0.001 mm")) -> tuple[Tally, list[tuple[int, int, int]]]:
    """Peak memory of searches of spaces ten and a hundred times as large, which admit the same few designs; and the
    (candidates, feasible, kilobytes) of each."""
    tally = Tally("peak memory against the size of the space")
    found = []
    with scratch() as folder:
        for number, step in enumerate(steps):
            study = write_study(folder / str(number), EXHAUSTIVE, step)
            # A narrow target, so that what grows is the space and not the front.
            text = study.read_text().replace('"700 N*s", "2500 N*s"', '"1180 N*s", "1182 N*s"')
            study.write_text(text.replace("{from = 3, to = 5}", "{from = 3, to = 8}"))
            run = subprocess.run(
                [sys.executable, "-c", MEASURE, str(study), str(folder / f"out{number}")],
                cwd=ROOT, capture_output=True, text=True, env={**os.environ, "OMP_NUM_THREADS": "1"},
            )  # fmt: skip
            assert run.returncode == 0, run.stderr[-2000:]
            size, feasible, peak = (int(item) for item in run.stdout.split()[:3])
            assert run.stdout.split()[3:] == ["True", "exhaustive"]
            found.append((size, feasible, peak))
            tally.note(peak < found[0][2] * 1.25 + 20_000, f"{size} candidates: {peak} kB against {found[0][2]} kB")
    tally.remark = "; ".join(f"{size:,} candidates, {feasible:,} feasible: {peak / 1024:.0f} MB" for size, feasible, peak in found)
    return tally, found
