"""Search benchmarks: prints ratios against something run beside it, never absolute promises.

    python tests/benchmarks/search_speed.py            # everything, half an hour
    python tests/benchmarks/search_speed.py screen     # one part: screen, largest, loop, single, evolutionary, growth, commands

Two studies. `kind`: ninety million candidates, one closure searched, a liner that always holds. `builders`: the study as
builders write it, a case that follows, screws at both ends, a liner whose heat decides, three objectives.

Parts. `screen`: both studies to their proven end, by one core and by all, each in a process of its own, with time,
processor time and peak memory; the table must be the same. `largest`: the same of fifty-one million candidates of the second,
files written. `loop`: the steady kernel against a plain C loop of the same arithmetic (16 Gauss nodes a candidate, cc -O2),
one core each, per ballistic motor and per candidate. `single`: the screen against integrating one candidate at a time with
scipy's adaptive solver. `evolutionary`: time to 99 % of the exact front's hypervolume, against NSGA-II of Optuna and of pymoo on
the same outsides and patterns of both studies, fed one design at a time and in blocks. `growth`: processor time over the size
of the space, as a slope on logarithmic axes. `commands`: processor time of ordinary commands over that of a million burns of
the C loop in the same run.

Absolute times mean little on a shared machine; processor time is used wherever one process does the work.
"""

from __future__ import annotations

import ctypes
import hashlib
import json
import math
import multiprocessing
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from optimizer.candidates.families import Families
from optimizer.candidates.pareto import Archive, hypervolume
from optimizer.candidates.space import digits_of
from optimizer.candidates.workers import cores
from optimizer.commands.search import search
from optimizer.drivers.blocks import MemoryStore
from optimizer.drivers.exhaustive import BLOCK, screen
from optimizer.inputs.study import load_study
from physics.ballistics import kernel

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))
from scenario import (
    AFT,
    AIRFRAME,
    AMBIENT,
    CASE,
    FORWARD,
    GRAINS,
    LINER,
    NOZZLE,
    PROPELLANT,
    RATE,
    changed,
    named,
)

MOTOR = "\n" + "".join(
    (
        named("Invented"),
        changed(PROPELLANT, ('name = "invented"\n', "")) + 'temperature_sensitivity = "0.0015 1/K"\n',
        changed(RATE, ("0.7 MPa", "0.1 MPa"), ("9 MPa", "12 MPa")),
        changed(GRAINS, ("count = 3", "count = 4"), ("46 mm", "44 mm"), ("18 mm", "16 mm")),
        NOZZLE,
        changed(CASE, ("330 mm", "520 mm")),
        changed(LINER, ("1.6 mm", "3 mm")),
        changed(FORWARD, ('shear_plane = "threads"\n', "")),
        AIRFRAME,
        AMBIENT,
    )
)
STUDY = """
schema = 1
name = "Benchmark"
motor = "motor.toml"
[target]
impulse_class = "K"
[search]
grain_count = {{from = 3, to = 6}}
core_diameter = {{from = "14 mm", to = "22 mm", step = "0.5 mm"}}
throat_diameter = {{from = "10 mm", to = "18 mm", step = "{throat} mm"}}
exit_diameter = {{from = "28 mm", to = "36 mm", step = "2 mm"}}
wall = {{from = "2 mm", to = "4.5 mm", step = "0.5 mm"}}
forward_closure.count = {{from = 4, to = 16}}
forward_closure.screw = ["#8-32 UNC", "#10-24 UNC", "1/4-20 UNC"]
forward_closure.grade = ["A2-70", "A4-80"]
forward_closure.edge_distance = {{from = "8 mm", to = "14 mm", step = "1 mm"}}
[limits]
maximum_pressure = "9 MPa"
minimum_factor = {{"screw shear" = 2.0, "case yield" = 1.5}}
port_over_throat = {{min = 1.5}}
[objectives]
loaded_mass = "min"
total_impulse = "max"
smallest_factor = "max"
[driver]
kernel = "steady"
method = "exhaustive"
workers = {workers}
"""

BUILDERS_MOTOR = "\n" + "".join(
    (
        named("Invented"),
        changed(PROPELLANT, ('name = "invented"\n', "")) + 'temperature_sensitivity = "0.0015 1/K"\n',
        changed(RATE, ("0.7 MPa", "0.1 MPa"), ("9 MPa", "12 MPa")),
        changed(GRAINS, ("count = 3", "count = 4"), ("46 mm", "44 mm"), ("18 mm", "16 mm")),
        NOZZLE,
        changed(CASE, ("330 mm", "520 mm")),
        changed(LINER, ("1.6 mm", "1.4 mm")),
        changed(FORWARD, ('shear_plane = "threads"\n', "")),
        changed(AFT, ('shear_plane = "threads"\n', "")),
        AIRFRAME,
        AMBIENT,
    )
)
BUILDERS_STUDY = """
schema = 1
name = "As builders write it"
motor = "motor.toml"
[target]
impulse_class = "K"
[search]
grain_count = {{from = 3, to = 10}}
core_diameter = {{from = "12 mm", to = "22 mm", step = "{core} mm"}}
throat_diameter = {{from = "9 mm", to = "21.5 mm", step = "{throat} mm"}}
wall = {{from = "2 mm", to = "4.25 mm", step = "0.25 mm"}}
forward_closure.count = {{from = 6, to = 15}}
aft_closure.count = {{from = 8, to = 16, step = 2}}
case_length = "follow"
[limits]
maximum_pressure = "9 MPa"
minimum_factor = {{"screw shear" = 2.0, "case yield" = 1.5}}
port_over_throat = {{min = 1.5}}
[objectives]
loaded_mass = "min"
total_impulse = "max"
smallest_factor = "max"
[driver]
kernel = "steady"
method = "exhaustive"
workers = {workers}
"""
STUDIES = {"kind": (MOTOR, STUDY), "builders": (BUILDERS_MOTOR, BUILDERS_STUDY)}
USUAL = {"kind": 0.1, "builders": 0.25}
"""Step of the throat (and the core) in the parts that do not say otherwise: 90 and 8.4 million candidates. [mm]"""
LARGEST = 0.1
"""Step at which the builders' study has fifty-one million candidates. [mm]"""

LOOP = r"""
#include <math.h>
/* The same arithmetic for one candidate after another: burning area, equilibrium pressure, thrust and time at 16 Gauss
   nodes over the web, one rate row, the peak at the nodes. */
void run(long n, const double *count, const double *length, const double *outer, const double *core,
         const double *throat, const double *node, const double *weight, const double *ratio, double rho,
         double cstar, double a, double nexp, double cf, double pa, double *peak, double *impulse, double *burn)
{
    const double pi = 3.14159265358979323846;
    for (long i = 0; i < n; i++) {
        double at = 0.25 * pi * throat[i] * throat[i];
        double web = fmin(0.5 * (outer[i] - core[i]), 0.5 * length[i]);
        double top = 0.0, sum = 0.0, time = 0.0;
        for (int k = 0; k < 16; k++) {
            double x = web * node[k], d = core[i] + 2.0 * x, l = length[i] - 2.0 * x;
            double area = count[i] * pi * (d * l + 0.5 * (outer[i] * outer[i] - d * d));
            double p = pow(rho * cstar * a * area / at, 1.0 / (1.0 - nexp));
            double r = a * pow(p, nexp);
            double dt = web * weight[k] / r;
            if (p > top) top = p;
            time += dt;
            sum += (cf * p - ratio[i] * pa) * at * dt;
        }
        peak[i] = top; impulse[i] = sum; burn[i] = time;
    }
}
"""


def study_of(folder: Path, name: str, step: float, workers: int = 1) -> object:
    folder.mkdir(parents=True, exist_ok=True)
    motor, study = STUDIES[name]
    (folder / "motor.toml").write_text(motor)
    path = folder / f"study-{step}.toml"
    path.write_text(study.format(throat=step, core=step, workers=workers))
    return load_study(path)


def families_of(step: float, name: str = "kind", workers: int = 1) -> Families:
    return Families(study_of(Path(tempfile.mkdtemp(prefix="gw-bench-")), name, step, workers))


def one(name: str, step: str, workers: str, written: str) -> None:
    """A search in this process, as a line of JSON: what it found and what it took."""
    folder = Path(tempfile.mkdtemp(prefix="gw-bench-"))
    started = time.perf_counter()
    study = study_of(folder, name, float(step), int(workers))
    if written == "written":
        found = search(study, folder / "results")
        table = hashlib.sha256((folder / "results" / "pareto.csv").read_bytes())
        size, front, feasible = found.space, len(found.designs) + found.designs_not_listed, found.feasible
    else:
        families = Families(study)
        result = screen(families, MemoryStore())
        table = hashlib.sha256(result.points.tobytes() + result.keys.tobytes() + repr(sorted(result.rejected.items())).encode())
        size, front, feasible = families.space.size, len(result.points), result.feasible
    wall = time.perf_counter() - started
    for worker in multiprocessing.active_children():
        worker.join()  # what it took is known from then on
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    print(json.dumps({
        "size": size, "front": front, "feasible": feasible, "table": table.hexdigest(), "wall": wall,
        "processor": sum(each.ru_utime + each.ru_stime for each in used),
        "memory": used[0].ru_maxrss / 1024, "worker": used[1].ru_maxrss / 1024,
    }))  # fmt: skip


def apart(name: str, step: float, workers: int, written: str = "") -> dict:
    """`one` in a process of its own, for its memory and its caches."""
    asked = [sys.executable, __file__, "one", name, str(step), str(workers), written]
    return json.loads(subprocess.run(asked, check=True, capture_output=True, text=True).stdout.splitlines()[-1])


def told(what: str, found: dict) -> None:
    print(
        f"{what}: {found['size']:,} candidates proven, {found['feasible']:,} feasible, {found['front']:,} on the front: "
        f"{found['wall']:.1f} s, {found['processor']:.1f} s of processor, {found['memory']:.0f} MB"
        + (f" and {found['worker']:.0f} MB a worker" if found["worker"] > found["memory"] / 10 else "")
        + f", {found['size'] / found['processor']:,.0f} candidates a second of processor",
        flush=True,
    )


def both(what: str, name: str, step: float, written: str = "") -> None:
    """By one core and by all, which must give the same table."""
    alone, together = apart(name, step, 1, written), apart(name, step, 0, written)
    told(f"{what}: {name}, one core", alone)
    told(f"{what}: {name}, all {cores()} cores", together)
    same = "the same table" if alone["table"] == together["table"] else "DIFFERENT TABLES"
    print(f"{what}: {name}: {same}; one core takes {alone['wall'] / together['wall']:.2f} times as long as all", flush=True)


def screening() -> None:
    for name, step in USUAL.items():
        both("screen", name, step)


def largest() -> None:
    both("largest", "builders", LARGEST, "written")


def loop(print_it: bool = True) -> float:
    """The kernel against the loop; gives back the processor time of a million burns in C. [s]"""
    families = families_of(0.1)
    rows = np.random.default_rng(1).integers(0, families.outer_size, 200_000)
    candidates = families.space.candidates(families.full_digits(digits_of(rows, families.outer_radices)))
    motors = candidates.motors.take(candidates.possible)
    size = motors.size
    with tempfile.TemporaryDirectory() as folder:
        source, library = Path(folder) / "loop.c", Path(folder) / "loop.so"
        source.write_text(LOOP)
        subprocess.run(["cc", "-O2", "-shared", "-fPIC", str(source), "-o", str(library), "-lm"], check=True)
        run = ctypes.CDLL(str(library)).run
    wide = [np.ascontiguousarray(np.broadcast_to(np.ravel(leaf), (size,)), dtype=float) for leaf in (
        motors.grain.count, motors.grain.length, motors.grain.outer_diameter, motors.grain.core_diameter,
        motors.nozzle.throat_diameter)]  # fmt: skip
    node, weight = np.polynomial.legendre.leggauss(16)
    ratio = np.ascontiguousarray((motors.nozzle.exit_diameter / motors.nozzle.throat_diameter) ** 2)
    out = [np.zeros(size) for _ in range(3)]
    real, exponent = ctypes.c_double, 0.33
    rate = 6.5e-3 / 5e6**exponent
    arguments = [
        *wide, np.ascontiguousarray(0.5 + 0.5 * node), np.ascontiguousarray(0.5 * weight), ratio,
    ]  # fmt: skip

    def in_c() -> None:
        run(
            ctypes.c_long(size), *(a.ctypes.data_as(ctypes.c_void_p) for a in arguments), real(1700.0), real(1480.0),
            real(rate), real(exponent), real(1.6), real(101325.0), *(a.ctypes.data_as(ctypes.c_void_p) for a in out),
        )  # fmt: skip

    if not print_it:
        started = time.process_time()
        for _ in range(5):
            in_c()
        return (time.process_time() - started) / (5 * size) * 1e6
    parts = [motors.take(slice(at, at + BLOCK)) for at in range(0, size, BLOCK)]
    whole = ratios(lambda: kernel.evaluate(motors), in_c)
    blocks = ratios(lambda: [kernel.evaluate(part) for part in parts], in_c)
    figures = kernel.evaluate(motors)
    alike = np.nanmedian(np.abs(out[2] / figures["burn_time"] - 1.0))
    many = families.catalogue.size
    print(
        f"loop: {size:,} motors, steady kernel over C loop, processor time of each pair of runs (below 1: the kernel is "
        f"faster); burn times agree to {alike:.1e}"
    )
    print(f"      per ballistic motor, all in one call: {_spread(whole)}")
    print(f"      per ballistic motor, in calls of {BLOCK:,} as the screen makes them: {_spread(blocks)}")
    print(
        f"      per candidate, each motor evaluated once for its {many:,} patterns and the loop run for every candidate: "
        f"{np.median(blocks) / many:.2g} ({many / np.median(blocks):,.0f} times faster; the factoring does that, and a "
        f"loop that factored too would gain as much)"
    )
    print("      the kernel gives ports, mass flux, head pressure, separation, flags and exact peaks; the loop does not")
    return 0.0


COMMANDS = {
    "check": ["check", "studies/motors/curlew.toml"],
    "check, transient": ["check", "studies/motors/curlew.toml", "--kernel", "transient"],
    "compare": ["compare", "studies/motors/curlew.toml", "studies/motors/snipe.toml"],
    "spread": ["spread", "studies/motors/curlew.toml"],
    "search, wall against mass": ["search", "studies/wall_vs_mass.toml"],
    "search, how many grains": ["search", "studies/grain_count.toml"],
    "search, a K motor (README)": ["search", "studies/fit_airframe.toml"],
}


def commands() -> None:
    million = loop(print_it=False)
    print(f"commands: a million burns of the C loop take {million:.2f} s of processor", flush=True)
    root = Path(__file__).resolve().parents[2]
    for name, words in COMMANDS.items():
        with tempfile.TemporaryDirectory(prefix="gw-bench-") as folder:
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            asked = [sys.executable, "-m", "optimizer.cli", *words, "--out", str(Path(folder) / "out"), "--quiet"]
            code = subprocess.run(asked, cwd=root, capture_output=True).returncode
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        print(f"commands: {name}: {used:.1f} s of processor, {used / million:.1f} million burns (exit {code})", flush=True)


def ratios(ours, theirs, pairs: int = 7) -> np.ndarray:
    """Processor time of `ours` over that of `theirs`, the two run in turn, (pairs,)."""
    times = []
    for action in (ours, theirs) * (pairs + 1):
        started = time.process_time()
        action()
        times.append(time.process_time() - started)
    return np.array(times[2::2]) / np.array(times[3::2])


def _spread(ratio: np.ndarray) -> str:
    return f"{np.median(ratio):.2f} times the loop's time ({ratio.min():.2f} to {ratio.max():.2f})"


def single() -> None:
    from scipy.integrate import quad

    families = families_of(0.1)
    rows = np.random.default_rng(2).integers(0, families.outer_size, 40)
    motors = families.space.candidates(families.full_digits(digits_of(rows, families.outer_radices))).motors
    grain = motors.grain
    columns = (grain.count, grain.length, grain.outer_diameter, grain.core_diameter, motors.nozzle.throat_diameter)
    leaves = [np.broadcast_to(np.ravel(leaf), (motors.size,)) for leaf in columns]
    rate = 6.5e-3 / 5e6**0.33

    def one(count, length, outer, core, throat) -> tuple[float, float]:
        web = min(0.5 * (outer - core), 0.5 * length)
        area = 0.25 * math.pi * throat**2

        def pressure(x: float) -> float:
            bore, left = core + 2 * x, length - 2 * x
            burning = count * math.pi * (bore * left + 0.5 * (outer**2 - bore**2))
            return (1700.0 * 1480.0 * rate * burning / area) ** (1 / (1 - 0.33))

        seconds = quad(lambda x: 1.0 / (rate * pressure(x) ** 0.33), 0.0, web, epsrel=1e-8)[0]
        impulse = quad(lambda x: 1.6 * area * pressure(x) ** 0.67 / rate, 0.0, web, epsrel=1e-8)[0]
        return seconds, impulse

    started = time.process_time()
    for row in range(motors.size):
        if leaves[2][row] > leaves[3][row]:
            one(*(float(leaf[row]) for leaf in leaves))
    each = (time.process_time() - started) / motors.size
    stepped = _in_time(leaves, rate)
    started = time.process_time()
    screen(families, MemoryStore())
    ours = (time.process_time() - started) / families.space.size
    print(f"single: the screen takes {1e6 * ours:.3f} us a candidate, with limits, masses, ladder and front")
    print(f"single: two adaptive quadratures a candidate (quad, time and impulse alone): {each / ours:,.0f} times that")
    print(f"single: adaptive integration in time (solve_ivp, to 1e-8): {stepped / ours:,.0f} times that")


def _in_time(leaves: list[np.ndarray], rate: float) -> float:
    """Seconds a candidate for the burn integrated in time, regression and impulse as the state."""
    from scipy.integrate import solve_ivp

    started, count = time.process_time(), 10
    for row in range(count):
        number, length, outer, core, throat = (float(leaf[row]) for leaf in leaves)
        web, area = min(0.5 * (outer - core), 0.5 * length), 0.25 * math.pi * throat**2

        def change(_, state, number=number, length=length, outer=outer, core=core, area=area):
            bore, left = core + 2 * state[0], length - 2 * state[0]
            burning = number * math.pi * (bore * left + 0.5 * (outer**2 - bore**2))
            pressure = (1700.0 * 1480.0 * rate * max(burning, 1e-9) / area) ** (1 / (1 - 0.33))
            return [rate * pressure**0.33, 1.6 * area * pressure]

        def burnt(_, state, web=web):
            return state[0] - web

        burnt.terminal = True
        solve_ivp(change, (0.0, 60.0), [0.0, 0.0], events=burnt, rtol=1e-8, atol=1e-10)
    return (time.process_time() - started) / count


GROWING = {"kind": (0.8, 0.4, 0.2, 0.1, 0.05), "builders": (1.25, 0.5, 0.25)}


def growth() -> None:
    for name, steps in GROWING.items():
        sizes, seconds = [], []
        for step in steps:
            families = families_of(step, name)
            started = time.process_time()
            screen(families, MemoryStore())
            seconds.append(time.process_time() - started)
            sizes.append(families.space.size)
            print(f"growth: {name}: {sizes[-1]:>12,} candidates {seconds[-1]:.2f} s of processor", flush=True)
        slope = np.polyfit(np.log(sizes), np.log(seconds), 1)[0]
        print(f"growth: {name}: processor time grows as the size of the space to the power {slope:.2f}", flush=True)


class Evaluations:
    """Candidates by all their digits, as an evolutionary search would see them: objectives and total violation."""

    def __init__(self, families: Families) -> None:
        self.families, self.radices = families, np.array(families.space.radices)
        self.archive = Archive(len(families.rules.aims), len(families.outer) + 1)
        self.history: list[tuple[float, np.ndarray]] = []
        self.started = time.process_time()

    def __call__(self, digits: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        families = self.families
        values = np.full((len(digits), len(families.rules.aims)), 1e9)
        violation = np.ones(len(digits))
        outer = digits[:, families.outer]
        pattern = np.array([families.catalogue.number(row) for row in digits[:, list(families.catalogue.inner)]])
        block = families.evaluate(np.unique(outer, axis=0))
        rows = {tuple(row[: len(families.outer)].astype(int)): row for row in block.rows}
        for place, key in enumerate(map(tuple, outer.tolist())):
            row = rows.get(key)
            if row is None:
                continue
            shared = tuple(int(digits[place, number]) for number in families.catalogue.shared)
            patterns = families.catalogue.at(shared)
            if patterns.threshold[pattern[place]] >= row[len(families.outer)]:
                crossed = families._crossed(row[None], patterns, pattern[place : place + 1])
                values[place], violation[place] = crossed.points[0], 0.0
                self.archive.add(crossed.points, crossed.keys)
        self.history.append((time.process_time() - self.started, self.archive.points.copy()))
        return values, violation


def reached(history, reference, wanted: float) -> float:
    for seconds, points in history:
        if len(points) and hypervolume(points, reference) >= wanted:
            return seconds
    return math.inf


def evolutionary(limit: float = 60.0) -> None:
    for name, step in (("kind", 0.2), ("builders", 0.5)):
        _evolved(name, step, limit)


def _evolved(study: str, step: float, limit: float) -> None:
    families = families_of(step, study)
    if study == "kind":  # without heat, which never decides there
        families.late_terms, families.settled_terms, families.open_terms = [], [], []
    started = time.process_time()
    exact = screen(families, MemoryStore())
    ours = time.process_time() - started
    worst = exact.points.max(axis=0)
    reference = worst + 0.1 * np.ptp(exact.points, axis=0)
    wanted = 0.99 * hypervolume(exact.points, reference)
    print(f"evolutionary: {study}: exact screen of {families.space.size:,} candidates ends in {ours:.2f} s with 100 %, proven")
    for name, run in (
        ("Optuna NSGA-II, one at a time", lambda asked: _optuna(asked, 1, limit)),
        ("Optuna NSGA-II, blocks of 100", lambda asked: _optuna(asked, 100, limit)),
        ("pymoo NSGA-II, one at a time", lambda asked: _pymoo(asked, True, limit)),
        ("pymoo NSGA-II, blocks of 200", lambda asked: _pymoo(asked, False, limit)),
    ):
        asked = Evaluations(families)
        run(asked)
        seconds = reached(asked.history, reference, wanted)
        share = hypervolume(asked.archive.points, reference) / (wanted / 0.99) if len(asked.archive.points) else 0.0
        said = (
            f"{seconds:.1f} s, {seconds / ours:.0f} times"
            if math.isfinite(seconds)
            else (f"not within {limit:.0f} s (more than {limit / ours:.0f} times), {100 * share:.1f} % by then")
        )
        print(f"evolutionary: {study}: {name}: 99 % of the hypervolume after {said}", flush=True)


def _optuna(asked: Evaluations, block: int, limit: float) -> None:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    study = optuna.create_study(directions=["minimize"] * 3, sampler=optuna.samplers.NSGAIISampler(population_size=200, seed=1))
    space = {str(n): optuna.distributions.IntDistribution(0, int(r) - 1) for n, r in enumerate(asked.radices)}
    while time.process_time() - asked.started < limit:
        trials = [study.ask(space) for _ in range(block)]
        digits = np.array([[trial.params[name] for name in space] for trial in trials])
        values, violation = asked(digits)
        for trial, value, miss in zip(trials, values, violation, strict=True):
            trial.set_constraint("limits", float(miss))
            study.tell(trial, value.tolist())


def _pymoo(asked: Evaluations, singly: bool, limit: float) -> None:
    from pymoo.algorithms.moo.nsga2 import NSGA2
    from pymoo.core.problem import Problem
    from pymoo.operators.crossover.sbx import SBX
    from pymoo.operators.mutation.pm import PM
    from pymoo.operators.repair.rounding import RoundingRepair
    from pymoo.operators.sampling.rnd import IntegerRandomSampling
    from pymoo.optimize import minimize
    from pymoo.termination.max_time import TimeBasedTermination

    class Candidates(Problem):
        def __init__(self) -> None:
            super().__init__(n_var=len(asked.radices), n_obj=3, n_ieq_constr=1, xl=0, xu=asked.radices - 1, vtype=int)

        def _evaluate(self, x, out, *args, **kwargs) -> None:
            x = np.asarray(x, dtype=np.int64)
            parts = [asked(row[None]) for row in x] if singly else [asked(x)]
            out["F"] = np.vstack([values for values, _ in parts])
            out["G"] = np.concatenate([violation for _, violation in parts])[:, None]

    repair = RoundingRepair()
    algorithm = NSGA2(
        pop_size=200, sampling=IntegerRandomSampling(), crossover=SBX(repair=repair, vtype=float),
        mutation=PM(repair=repair, vtype=float), eliminate_duplicates=True,
    )  # fmt: skip
    minimize(Candidates(), algorithm, TimeBasedTermination(limit), seed=1, verbose=False)


PARTS = {
    "screen": screening, "largest": largest, "loop": loop, "single": single, "growth": growth, "evolutionary": evolutionary,
    "commands": commands,
}  # fmt: skip

if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one(*sys.argv[2:6])
    else:
        for wanted_part in sys.argv[1:] or PARTS:
            PARTS[wanted_part]()
