"""Hostile input: mutated and generated motor, study, stock, propellant and firing files through the command line.

Every file must end in exit 0, 1 or 2 within a bounded time and memory, without a traceback; with 0 or 1 stdout is JSON
without NaN or infinity, with 2 it is empty and stderr names the file. Commands run in this process. A file that is
refused is refused by the command itself; of those accepted, some run the whole command and all run the loader.
"""

from __future__ import annotations

import json
import math
import random
import re
import resource
import shutil
import signal
import tomllib
import unicodedata
from collections import Counter
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fault_common import EXHAUSTIVE, MOTOR, ROOT, STUDY, Tally, scratch
from fault_records import mutated_columns, mutated_record

SECONDS = 60
"""Processor seconds after which a file counts as a hang."""
MEMORY = 1_500_000_000
"""Address space that one process may add over all files. [byte]"""
SPAN = 1500
"""Largest space that a mutated study is searched in full for."""

UNITS = ("mm", "in", "m", "MPa", "psi", "bar", "kg", "degC", "degF", "K", "s", "kg/m^3", "m/s", "%", "parsec", "mm mm", "")
NUMBERS = (
    "0", "-0", "-1", "1e400", "-1e400", "1e-400", "nan", "inf", "-inf", "1e308", "5e-324", "9" * 400, "1_000", "0x10",
    "1e99999999999", "00", "1.", ".5", "1,5", "١٢", "1e5", "1e-5", "2147483648", "9223372036854775808", "0.1", "3", "7",
)  # fmt: skip
TEXTS = (
    "", " ", "=1+1", "@SUM(A1)", "<script>alert(1)</script>", "../../../etc/passwd", "; touch pwned", "$(touch pwned)",
    "`touch pwned`", "{{7*7}}", "%s%n%x", "\u202eabc", "e\u0301\u0302" * 20, "\U0001f680", "\x00", "\x1b[31m", "a\nb", "x" * 3000,
    "__import__('os').system('touch pwned')", "/dev/zero", "/dev/stdin", ".", "con", "fill", "neutral", "6061-T6", "2 mm",
)  # fmt: skip


@contextmanager
def bounded():
    """Address space bounded for what runs inside, so that a runaway allocation fails here and not in the machine."""
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    now = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (now + MEMORY, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


class Hang(BaseException):
    """A file took longer than it may."""


@contextmanager
def timed():
    """Raise Hang after SECONDS of this process's own time."""

    def stop(number, frame):
        raise Hang

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def command(arguments: list[str]) -> tuple[int | None, str]:
    """Run one command line here; its exit code and what is wrong with how it ended, empty where nothing is."""
    from click.testing import CliRunner

    from optimizer.cli import main

    try:
        with timed():
            result = CliRunner().invoke(main, arguments)
    except Hang:
        return None, f"took over {SECONDS} s"
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        return result.exit_code, f"{type(result.exception).__name__}: {str(result.exception)[:200]}"
    if result.exit_code not in (0, 1, 2):
        return result.exit_code, f"exit {result.exit_code}: {result.stderr[:200]}"
    if "Traceback" in result.stderr:
        return result.exit_code, "a traceback"
    hidden = {letter for letter in result.output if letter != "\n" and unicodedata.category(letter) in ("Cc", "Cf", "Zl", "Zp")}
    if hidden:
        return result.exit_code, f"signs that a terminal acts on: {sorted(map(ascii, hidden))}"
    if result.exit_code == 2:
        unclear = bool(result.stdout) or not ("nothing was run" in result.stderr or "Usage" in result.stderr)
        return 2, f"a refusal that is not clear: {result.stdout[:80]!r} {result.stderr[:120]!r}" if unclear else ""
    return result.exit_code, _bad_json(result.stdout)


def _bad_json(text: str) -> str:
    def refuse(name):
        raise ValueError(f"{name} in the JSON")

    try:
        json.loads(text, parse_constant=refuse)
    except ValueError as error:
        return f"stdout is not one JSON object: {error}: {text[:80]!r}"
    return ""


# --- mutations ----------------------------------------------------------------------------------------------------------


def mutated(content: bytes, draw: random.Random) -> bytes:
    """A file with one to four random changes of its bytes, its lines or its values."""
    for _ in range(draw.choice((1, 1, 1, 2, 4))):
        content = draw.choice(MUTATIONS)(content, draw)
    return content


def flip(content: bytes, draw: random.Random) -> bytes:
    out = bytearray(content or b" ")
    for _ in range(draw.choice((1, 1, 3, 10))):
        out[draw.randrange(len(out))] ^= 1 << draw.randrange(8)
    return bytes(out)


def cut(content: bytes, draw: random.Random) -> bytes:
    start, stop = sorted((draw.randrange(len(content) + 1), draw.randrange(len(content) + 1)))
    return draw.choice((content[:start], content[:start] + content[stop:], content[:stop] + content[start:]))


def move_lines(content: bytes, draw: random.Random) -> bytes:
    lines = content.split(b"\n")
    one, two = draw.randrange(len(lines)), draw.randrange(len(lines))
    change = draw.randrange(3)
    if change == 0:
        lines[one], lines[two] = lines[two], lines[one]
    elif change == 1:
        lines.insert(two, lines[one])  # a key twice
    else:
        del lines[one]
    return b"\n".join(lines)


def swap_number(content: bytes, draw: random.Random) -> bytes:
    return _at_random(rb"-?\d+(\.\d+)?([eE][-+]?\d+)?", content, draw, lambda _: draw.choice(NUMBERS).encode())


def scale_number(content: bytes, draw: random.Random) -> bytes:
    def scaled(old: bytes) -> bytes:
        return f"{float(old) * 10 ** draw.uniform(-1.0, 1.0):.4g}".encode()

    return _at_random(rb"\d+\.?\d*", content, draw, scaled)


def swap_unit(content: bytes, draw: random.Random) -> bytes:
    return _at_random(rb"(?<=\d )[A-Za-z%][^\"]*(?=\")", content, draw, lambda _: draw.choice(UNITS).encode())


def swap_text(content: bytes, draw: random.Random) -> bytes:
    def quoted(_: bytes) -> bytes:
        text = draw.choice(TEXTS)
        return (json.dumps(text) if draw.random() < 0.8 else f'"{text}"').encode("utf-8", "surrogatepass")

    return _at_random(rb"\"[^\"\n]*\"", content, draw, quoted)


def swap_word(content: bytes, draw: random.Random) -> bytes:
    words = re.findall(rb"[A-Za-z_]{3,}", content) or [b"x"]
    return _at_random(rb"[A-Za-z_]{3,}", content, draw, lambda _: draw.choice(words))


def insert(content: bytes, draw: random.Random) -> bytes:
    place = draw.randrange(len(content) + 1)
    thing = draw.choice(
        (
            b"\x00", b"\x1b[2J", b"\xff\xfe", b"\xc3\x28", b"\xed\xa0\x80", "\u202e\u200b\ufeff".encode(), b"\r", b"\n[[", b'"""',
            b"\nx = " + b"[" * 3000 + b"]" * 3000, b"\n" + b"a." * 300 + b"b = 1", b"\nx = " + b"{a = " * 400 + b"1" + b"}" * 400,
            b"\n" + b"k = 1\n" * 3, b"\n[a]\n" * 2, b"\n" + b"".join(b"k%d = 1\n" % number for number in range(6000)),
            b"\n[case]\n", b"\n[[grain]]\n" * 200, b"," * 500, b"\n" * 2000, b"#" * 5000,
        )
    )  # fmt: skip
    return content[:place] + thing + content[place:]


def _at_random(pattern: bytes, content: bytes, draw: random.Random, new: Callable[[bytes], bytes]) -> bytes:
    found = list(re.finditer(pattern, content))
    if not found:
        return content
    place = draw.choice(found)
    return content[: place.start()] + new(place[0]) + content[place.end() :]


def replant(content: bytes, draw: random.Random) -> bytes:
    """A value of valid TOML changed for another of any kind, or a key moved to another table; the text stays TOML."""
    from optimizer.inputs.text import toml_text

    try:
        data = tomllib.loads(content.decode())
    except (ValueError, RecursionError):
        return content
    tables = list(_tables(data))
    table = draw.choice(tables)
    if not table:
        return content
    key = draw.choice(list(table))
    change = draw.randrange(5)
    if change == 0:
        other = draw.choice(tables)
        other[key] = table[key] if other is not table else 1
    elif change == 1:
        del table[key]
    elif change == 2:
        kinds = (0, -1, 1.5, True, [], {}, [[]], [{}], ["1 mm", 2], {"from": 1, "to": 10**9}, 10**18, math.inf)
        table[key] = draw.choice(kinds)
    elif change == 3:
        table[key] = draw.choice(TEXTS)
    else:
        table[key + draw.choice(("", "s", "_", "é", " "))] = table.pop(key)
    try:
        return toml_text(data).encode("utf-8", "surrogatepass")
    except (AttributeError, TypeError, ValueError, RecursionError):
        return content


def _tables(data: Any):
    if isinstance(data, dict):
        yield data
        for value in data.values():
            yield from _tables(value)
    elif isinstance(data, list):
        for value in data:
            yield from _tables(value)


MUTATIONS = (
    flip, cut, move_lines, swap_number, scale_number, scale_number, scale_number, swap_unit, swap_text, swap_word, insert,
    replant, replant,
)  # fmt: skip


# --- generated motors ---------------------------------------------------------------------------------------------------


def generated_motor(draw: random.Random) -> bytes:
    """A motor with every number drawn from the whole range that its key allows, parts left out at random."""
    from optimizer.vocabulary import MOTOR_KEYS

    data = tomllib.loads(MOTOR)
    for part in ("case", "liner", "forward_closure", "airframe", "ambient", "tolerances"):
        if part in data and draw.random() < 0.2:
            del data[part]
    near = draw.random() < 0.6
    for name, spec in MOTOR_KEYS.items():
        table: Any = data
        *path, key = name.split(".")
        for step in path:
            table = table.get(step, {}) if isinstance(table, dict) else {}
            table = table[0] if isinstance(table, list) and table else table
        if not isinstance(table, dict) or key not in table or draw.random() < (0.7 if near else 0.3):
            continue
        if spec.kind == "quantity" and spec.low > 0:
            table[key] = f"{math.exp(draw.uniform(math.log(spec.low), math.log(spec.high))):.6g} {_si(spec.dimension)}".strip()
        elif spec.kind == "whole":
            table[key] = draw.randint(int(spec.low), int(min(spec.high, 60)))
        elif spec.kind == "number":
            table[key] = draw.uniform(spec.low, min(spec.high, 50.0))
    return _as_toml(data)


def _si(dimension: str) -> str:
    from optimizer.vocabulary import _UNITS

    return {"speed": "m/s"}.get(dimension) or _UNITS.get(dimension, ("",))[0]


def _as_toml(data: dict[str, Any]) -> bytes:
    from optimizer.inputs.text import toml_text

    return toml_text(data).encode()


# --- kinds of file ------------------------------------------------------------------------------------------------------


class Bench:
    """A folder with the sound files, into which one hostile file at a time is written."""

    def __init__(self, folder: Path, draw: random.Random) -> None:
        self.folder, self.draw = folder, draw
        self.ended: Counter[str] = Counter()
        shutil.copytree(ROOT / "studies", folder, dirs_exist_ok=True)
        shutil.copytree(ROOT / "optimizer" / "starter", folder, dirs_exist_ok=True)
        (folder / "base.toml").write_text(MOTOR)
        study = STUDY.replace("DRIVER", EXHAUSTIVE).replace("THROAT", "2 mm")
        (folder / "small.toml").write_text(study)
        (folder / "tubes.toml").write_text(
            study.replace('wall = {from = "2 mm", to = "4 mm", step = "1 mm"}', 'wall = {stock = "hostile"}')
        )
        use = re.sub(r"\[propellant\].*?\[\[grain\]\]", '[propellant]\nuse = "hostile.toml"\n[[grain]]', MOTOR, flags=re.S)
        (folder / "user.toml").write_text(use)
        self.motors = [MOTOR.encode(), *(path.read_bytes() for path in sorted(folder.glob("motors/*.toml")))]
        self.motors.append((folder / "motor.toml").read_bytes())
        self.studies = [study.encode(), study.encode(), *((ROOT / "studies" / name).read_bytes() for name in self._studies())]
        self.propellants = [path.read_bytes() for path in (*folder.glob("propellants/*.toml"), folder / "propellant.toml")]
        self.stocks = [path.read_bytes() for path in sorted(folder.glob("stock/*.csv"))]
        self.firings = [(folder / name).read_bytes() for name in ("firing.toml", "failed_firing.toml")]
        self.records = [(folder / "firing.csv").read_bytes()]

    @staticmethod
    def _studies() -> list[str]:
        return sorted(path.name for path in (ROOT / "studies").glob("*.toml"))

    def one(self, kind: str, whole: bool) -> str:
        """Write one hostile file of a kind and run it; what is wrong with how that ended, empty where nothing is."""
        path, loader, lines = getattr(self, f"_{kind}")()
        refused = self._refused(loader)
        if refused is None:
            return f"{kind}: the loader took over {SECONDS} s"
        if isinstance(refused, str):
            return f"{kind}: {refused}: {self._kept(path)}"
        if not refused and not whole:
            self.ended["read"] += 1
            return ""
        line = lines[0] if refused else self.draw.choice(lines)
        code, problem = command(line)
        self.ended[str(code)] += 1
        if refused and code != 2 and not problem:
            problem = f"the loader refuses it and the command ends with {code}"
        return f"{kind}: {' '.join(line[:1])}: {problem}: {self._kept(path)}" if problem else ""

    def _refused(self, loader: Callable[[], object]) -> bool | str | None:
        from optimizer.inputs import InputError

        try:
            with timed():
                loader()
        except InputError:
            return True
        except Hang:
            return None
        except Exception as error:
            return f"the loader raises {type(error).__name__}: {str(error)[:200]}"
        return False

    def _kept(self, path: Path) -> str:
        """A copy of the file that went wrong, for the one who mends it."""
        keep = Path("/tmp") / "grainwright-hostile"
        keep.mkdir(exist_ok=True)
        copy = keep / f"{len(list(keep.iterdir()))}-{path.name}"
        shutil.copy(path, copy)
        return str(copy)

    def _write(self, name: str, content: bytes) -> Path:
        path = self.folder / name
        path.write_bytes(content)
        return path

    def _motor(self):
        from optimizer.inputs import load_motor

        generated = self.draw.random() < 0.3
        content = generated_motor(self.draw) if generated else mutated(self.draw.choice(self.motors), self.draw)
        path = self._write("hostile.toml", content)
        base = str(self.folder / "base.toml")
        check = ["check", str(path), "--json"]
        lines = [check] * 8 + [[*check, "--kernel", "transient"], ["spread", str(path), "--samples", "16", "--json"]]
        lines += [["compare", base, str(path), "--json"], ["draw", str(path), "--json", "--out", str(self.folder / "drawn")]]
        return path, lambda: load_motor(path), lines

    def _study(self):
        from optimizer.inputs import load_study

        path = self._write("hostile.toml", mutated(self.draw.choice(self.studies), self.draw))

        out = self.folder / "found"
        shutil.rmtree(out, ignore_errors=True)
        lines = [["search", str(path), "--json", "--out", str(out)]]

        def load():
            study = load_study(path)
            large = study.size > SPAN or study.driver.kernel == "transient"
            if large or study.driver.method == "evolve" or study.driver.store != "local":
                # Too long to search here: that it reads is all that is asked of it.
                lines[0] = ["check", str(self.folder / "base.toml"), "--json"]
            else:
                lines[0] = [*lines[0], "--kernel", "steady"]

        return path, load, lines

    def _propellant(self):
        from optimizer.inputs import load_motor

        path = self._write("hostile.toml", mutated(self.draw.choice(self.propellants), self.draw))
        user = self.folder / "user.toml"
        return path, lambda: load_motor(user), [["check", str(user), "--json"]]

    def _stock(self):
        from optimizer.inputs import load_study

        path = self._write("stock/hostile.csv", mutated(self.draw.choice(self.stocks), self.draw))
        user, out = self.folder / "tubes.toml", self.folder / "found"
        shutil.rmtree(out, ignore_errors=True)
        line = ["search", str(user), "--json", "--out", str(out)]
        return path, lambda: load_study(user), [line]

    def _firing(self):
        from optimizer.firings.record import read_record
        from optimizer.inputs import load_firing

        place = self.draw.randrange(2)
        path = self._write("hostile.toml", mutated(self.firings[place], self.draw))

        def load():
            firing = load_firing(path)
            if not place:
                read_record(firing)

        words = ["reduce", "reduce", "explain"] if not place else ["explain"]
        return path, load, [[word, str(path), "--json"] for word in words]

    def _record(self):
        from optimizer.commands.explain import explain
        from optimizer.firings.record import read_record
        from optimizer.firings.reduction import reduce_firing
        from optimizer.inputs import load_firing

        firing = self.firings[0].replace(b"firing.csv", b"hostile.csv")
        if self.draw.random() < 0.5:
            path = self._write("hostile.csv", mutated(self.records[0], self.draw))
            user = self._write("recorded.toml", firing)
            return path, lambda: read_record(load_firing(user)), [["reduce", str(user), "--json"]]
        path = self._write("hostile.csv", mutated_record(self.records[0], self.draw))
        user = self._write("recorded.toml", mutated_columns(firing, self.draw))
        words = ["explain" if b"[observed]" in user.read_bytes() else "reduce", str(user), "--json"]

        def load():
            found = load_firing(user)
            reduce_firing(found)
            if found.observed:
                explain(found)

        return path, load, [words]


KINDS = ("motor", "motor", "motor", "study", "study", "study", "propellant", "stock", "firing", "record")
DEAR = ("record",)
"""Kinds whose whole command is slow; fewer of them run it."""


def hostile_files(count: int, seed: int = 1, whole: float = 0.25) -> Tally:
    """`count` hostile files of every kind; of those that are accepted the share `whole` runs the whole command."""
    import optimizer.commands.search  # noqa: F401  (the memory bound must not count what imports take)

    tally = Tally("hostile input files")
    draw = random.Random(seed)
    kinds: Counter[str] = Counter()
    with scratch() as folder:
        bench = Bench(folder, draw)
        for line in (["check", "base.toml"], ["explain", "failed_firing.toml"], ["search", "small.toml"]):
            code, problem = command([line[0], str(folder / line[1]), "--json", "--out", str(folder / "warm")])
            assert code in (0, 1) and not problem, (line, problem)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        with bounded():
            for number in range(count):
                kind = KINDS[number % len(KINDS)]
                kinds[kind] += 1
                share = whole / 5 if kind in DEAR else whole
                problem = bench.one(kind, draw.random() < share)
                tally.note(not problem, problem)
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        tally.note(not list(Path.cwd().glob("pwned")) and not list(folder.rglob("pwned")), "a command in a file was run")
    said = ", ".join(f"{number} {kind}" for kind, number in kinds.items())
    codes = ", ".join(f"{'loader alone' if code == 'read' else f'exit {code}'}: {n}" for code, n in sorted(bench.ended.items()))
    tally.remark = f"{said}; {codes}; memory grew by {grown:.0f} MB"
    return tally
