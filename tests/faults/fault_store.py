"""Damage to the record of a search, and a machine that fails under it: the same answer or a refusal by name.

Damage: every bit of a small record flipped, one bit of every byte of its write-ahead log, and every truncation of both.
Machine: a shim between the program and the system makes the k-th write, flush or rename of a chosen file fail, end
short, or be interrupted, for every k; and a limit on the size of files plays the full disk.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from fault_common import ROOT, Lacking, Tally, ended, forked, scratch

from optimizer.drivers.blocks import FILE_NAME, Block, OtherStudyError, Store, StoreError

BLOCKS = 3


def block(number: int, rows: int = 2) -> Block:
    """A block that its number tells."""
    return Block(number, {"feasible": number}, np.random.default_rng(number).random((rows, 2)))


WANTED = {number: (block(number).notes, block(number).rows.tobytes()) for number in range(BLOCKS)}


def opened(folder: Path) -> Store:
    return Store.open(folder, "hash", "study.toml", "Mine")


def small_record(folder: Path, logged: bool) -> dict[str, bytes]:
    """Files of a small record; `logged` leaves everything in the log, as a kill does."""
    folder.mkdir()
    first = opened(folder)
    if logged:
        first._connection.execute("PRAGMA wal_autocheckpoint = 0")
    for number in range(BLOCKS):
        first.write(block(number))
    if not logged:
        first.close()
        # The smallest pages, so that most bytes of the file mean something.
        again = sqlite3.connect(folder / FILE_NAME)
        again.execute("PRAGMA journal_mode=DELETE")
        again.execute("PRAGMA page_size=512")
        again.execute("VACUUM")
        again.close()
    files = {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.endswith("-shm")}
    if logged:
        first.close()
    return files


def answer(folder: Path) -> str:
    """What a resumed search has of the record: "same", "refused", or what is wrong."""
    try:
        store = opened(folder)
        found = {}
        for number in range(BLOCKS):
            stored = store.read(number)
            if stored is None:
                store.write(block(number))
                stored = store.read(number)
            found[number] = (stored.notes, stored.rows.tobytes()) if stored is not None else None
        store.close()
    except (StoreError, OtherStudyError) as error:
        return "refused" if str(folder) in str(error) else f"a refusal that names no file: {error}"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return "same" if found == WANTED else "a different answer"


def damaged_records(share: float = 1.0, seed: int = 1) -> Iterator[Tally]:
    """Flips and truncations of the record alone and of the record with its log; of each the `share` that chance takes."""
    draw = random.Random(seed)
    with scratch() as folder:
        for logged in (False, True):
            files = small_record(folder / f"sound{logged}", logged)
            flips = Tally("one bit of every byte flipped, log" if logged else "every bit flipped, record")
            cuts = Tally(f"every truncation, {'log' if logged else 'record'}")
            name = FILE_NAME + "-wal" if logged else FILE_NAME
            for tally, change in ((flips, _flip), (cuts, _cut)):
                ends: Counter[str] = Counter()
                places = range(len(files[name]))
                if change is _cut or logged:
                    tries = [(place, draw.randrange(8)) for place in places if draw.random() < share]
                else:
                    tries = [(place, bit) for place in places for bit in range(8) if draw.random() < share]
                for place, bit in tries:
                    out = folder / "damaged"
                    shutil.rmtree(out, ignore_errors=True)
                    out.mkdir()
                    for other, content in files.items():
                        (out / other).write_bytes(change(content, place, bit) if other == name else content)
                    said = answer(out)
                    ends[said] += 1
                    tally.note(said in ("same", "refused"), f"byte {place}, bit {bit}: {said}")
                tally.remark = ", ".join(f"{said}: {count}" for said, count in sorted(ends.items()))
                yield tally


def _flip(content: bytes, place: int, bit: int) -> bytes:
    return content[:place] + bytes([content[place] ^ 1 << bit]) + content[place + 1 :]


def _cut(content: bytes, place: int, bit: int) -> bytes:
    return content[:place]


# --- a machine that fails at the k-th call ------------------------------------------------------------------------------

SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>
static int kind = 0, countdown = 0, error = 0, calls = 0;
static char mark[256] = "";
enum { NONE, WRITE, FLUSH, SHORT, RENAME };
void shim_arm(int what, int at, int number, const char *marked) {
    kind = what; countdown = at; error = number; calls = 0;
    strncpy(mark, marked, sizeof mark - 1);
}
int shim_calls(void) { return calls; }
static int hit(int what, int fd) {
    char link[64], path[4096];
    if (kind != what && !(kind == SHORT && what == WRITE)) return 0;
    if (fd >= 0) {
        snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
        ssize_t length = readlink(link, path, sizeof path - 1);
        if (length < 0) return 0;
        path[length] = 0;
        if (!strstr(path, mark)) return 0;
    }
    return ++calls == countdown;
}
#define REAL(name) static __typeof__(name) *real; if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)
ssize_t write(int fd, const void *data, size_t size) {
    REAL(write);
    if (hit(WRITE, fd)) { if (kind == SHORT) return real(fd, data, size / 2); errno = error; return -1; }
    return real(fd, data, size);
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
    REAL(pwrite);
    if (hit(WRITE, fd)) { if (kind == SHORT) return real(fd, data, size / 2, at); errno = error; return -1; }
    return real(fd, data, size, at);
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    REAL(pwrite64);
    if (hit(WRITE, fd)) { if (kind == SHORT) return real(fd, data, size / 2, at); errno = error; return -1; }
    return real(fd, data, size, at);
}
int fsync(int fd) { REAL(fsync); if (hit(FLUSH, fd)) { errno = error; return -1; } return real(fd); }
int fdatasync(int fd) { REAL(fdatasync); if (hit(FLUSH, fd)) { errno = error; return -1; } return real(fd); }
int rename(const char *from, const char *to) {
    REAL(rename); if (hit(RENAME, -1)) { errno = error; return -1; } return real(from, to);
}
"""
KINDS = {"write": 1, "flush": 2, "short write": 3, "rename": 4}


def failing_calls() -> Tally:
    """Every write, flush and rename of the record and of results made to fail once, each in turn."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        raise Lacking("there is no C compiler for the shim that makes system calls fail")
    with scratch() as folder:
        source, shim = folder / "shim.c", folder / "shim.so"
        source.write_text(SHIM)
        built = subprocess.run([compiler, "-shared", "-fPIC", "-o", str(shim), str(source), "-ldl"], capture_output=True, text=True)
        if built.returncode:
            raise Lacking(f"the shim does not compile: {built.stderr[:200]}")
        environment = {**os.environ, "LD_PRELOAD": str(shim), "OMP_NUM_THREADS": "1"}
        run = subprocess.run(
            [sys.executable, __file__, str(shim), str(folder)], env=environment, cwd=ROOT, capture_output=True, text=True,
        )  # fmt: skip
        if run.returncode:
            raise AssertionError(run.stderr[-2000:])
        told = json.loads(run.stdout)
    tally = Tally("write, flush or rename fails, ends short or is interrupted")
    tally.tried, tally.failures, tally.remark = told["tried"], told["failures"], told["remark"]
    return tally


def _under_the_shim(library: str, folder: Path) -> None:
    """Runs with the shim loaded: arm it, act, look at what stands on the disk. Prints the tally as JSON."""
    shim = ctypes.CDLL(library)
    tally, ends = Tally(""), Counter()
    faults = [("write", errno.EIO), ("write", errno.ENOSPC), ("write", errno.EINTR), ("flush", errno.EIO),
              ("flush", errno.EINTR), ("short write", 0), ("rename", errno.EIO)]  # fmt: skip
    for what, number in faults:
        for action in (_record_action, _result_action, _together_action):
            for at in range(1, 400):
                out = folder / "out"
                shutil.rmtree(out, ignore_errors=True)
                out.mkdir()
                act, look = action(out)
                shim.shim_arm(KINDS[what], at, number, str(out).encode())
                try:
                    said = act()
                finally:
                    calls = shim.shim_calls()
                    shim.shim_arm(0, 0, 0, b"")
                if calls < at:
                    break  # there are no more calls of that kind to fail
                problem = look(said)
                ends[said.split(":")[0]] += 1
                name = f"{action.__name__[1:]}, {what} {at} ({errno.errorcode.get(number, 'half')})"
                tally.note(not problem, f"{name}: {problem} ({said})")
    remark = ", ".join(f"{said}: {count}" for said, count in sorted(ends.items()))
    print(json.dumps({"tried": tally.tried, "failures": tally.failures, "remark": remark}))


def _record_action(out: Path):
    """Fill a record; blocks told as kept before the fault must be there after it."""
    kept: list[int] = []

    def act() -> str:
        try:
            store = opened(out)
            for number in range(BLOCKS):
                store.write(block(number, 300))
                kept.append(number)
            store.close()
        except StoreError as error:
            return f"refused: {error}"
        except Exception as error:
            return f"{type(error).__name__}: {error}"
        return "went on"

    def look(said: str) -> str:
        if not said.startswith(("refused", "went on")):
            return "not a refusal"
        store = opened(out)
        found = {number: store.read(number) for number in sorted(store.finished())}
        messages = list(store.messages)
        store.close()
        if any(b is None or not np.array_equal(b.rows, block(n, 300).rows) for n, b in found.items()):
            return "a block is not whole"
        if not set(kept) <= set(found):
            return f"kept blocks are lost: {set(kept) - set(found)} {messages}"
        return ""

    return act, look


def _result_action(out: Path):
    """Write one result over an older one."""
    from optimizer import results

    target = out / "pareto.csv"
    results.write_text(target, "old" * 1000)

    def act() -> str:
        try:
            results.write_text(target, "new" * 5000)
        except results.OutputError as error:
            return f"refused: {error}"
        except Exception as error:
            return f"{type(error).__name__}: {error}"
        return "went on"

    def look(said: str) -> str:
        now = target.read_text()
        left = [path.name for path in out.iterdir() if path.name != "pareto.csv"]
        # The very last step flushes the folder: a refusal there comes after the new file is in its place, whole.
        wanted = {"new" * 5000} if said == "went on" else {"old" * 1000, "new" * 5000}
        bad = not said.startswith(("refused", "went on"))
        return "not a refusal" if bad else "half a file" if now not in wanted else f"left {left}" if left else ""

    return act, look


def _together_action(out: Path):
    """Write three results that belong together over older ones."""
    from optimizer import results

    names = ("pareto.csv", "motors/01.toml", "run.json")
    for name in names:
        results.write_text(out / name, "old" * 1000)

    def act() -> str:
        try:
            results.write_together(out, dict.fromkeys(names, "new" * 2000))
        except results.OutputError as error:
            return f"refused: {error}"
        except Exception as error:
            return f"{type(error).__name__}: {error}"
        return "went on"

    def look(said: str) -> str:
        now = [(out / name).read_text() for name in names]
        left = [path.name for path in out.rglob("*.part")]
        if not said.startswith(("refused", "went on")) or left:
            return f"not a refusal, or left {left}"
        if any(text not in ("old" * 1000, "new" * 2000) for text in now):
            return "half a file"
        return "old files after success" if said == "went on" and "old" * 1000 in now else ""

    return act, look


# --- no room ------------------------------------------------------------------------------------------------------------


def no_room(limits: int = 12) -> Tally:
    """A limit on the size of files in place of a full disk, at sizes from nothing up, for the record and for results."""
    tally, ends = Tally("no room for the record: refusal, and what was kept stays"), Counter()
    with scratch() as folder:
        for step in range(limits):
            size, out = 512 * 3**step if step < 8 else 4096 * 5 * (step - 6), folder / f"out{step}"
            told = folder / f"told{step}"
            child = forked(lambda size=size, out=out, told=told: _fill_within(size, out, told))
            code = ended(child)
            kept = {int(line) for line in told.read_text().split()} if told.exists() else set()
            try:
                store = opened(out)
                found = {number for number in store.finished() if store.read(number) is not None}
                messages = store.messages
                store.close()
            except StoreError as error:
                found, messages = set(), [str(error)]
            held = code in (0, 3) and kept <= found and not messages
            ends[code] += 1
            tally.note(held, f"limit {size}: exit {code}, lost {kept - found}, {messages}")
    tally.remark = ", ".join(f"exit {code}: {count}" for code, count in sorted(ends.items()))
    return tally


def _fill_within(size: int, out: Path, told: Path) -> int:
    out.mkdir()
    kept = []
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    try:
        store = opened(out)
        for number in range(40):
            store.write(block(number, 200))
            kept.append(number)
        return 0
    except StoreError as error:
        return 3 if str(out) in str(error) else 4
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        told.write_text("\n".join(map(str, kept)))


if __name__ == "__main__":
    _under_the_shim(sys.argv[1], Path(sys.argv[2]))
