"""Flight benchmarks: prints ratios against something run beside it, never absolute promises.

    python tests/benchmarks/flight_speed.py            # both parts, a few minutes
    python tests/benchmarks/flight_speed.py search     # one part: search, batch

Parts. `search`: a study screened with limits and an objective on the flight and the same without; what a candidate that is
flown costs over one that is not, where every candidate is flown and where a pressure limit turns most away before.
`batch`: flights of a batch against the same motors one by one, and against their burns alone.

Absolute times mean little on a shared machine; processor time is used.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from optimizer.candidates.families import Families
from optimizer.candidates.space import digits_of
from optimizer.inputs import load_motor
from optimizer.inputs.study import load_study
from physics.ballistics import kernel
from physics.flight.mission import fly_motors

STUDIES = Path(__file__).resolve().parents[2] / "studies"
SEARCH = """schema = 1
name = "Benchmark"
motor = "{motor}"
[search]
grain_count = {{from = 2, to = 4}}
core_diameter = {{from = "16 mm", to = "24 mm", step = "{core} mm"}}
throat_diameter = {{from = "11 mm", to = "16 mm", step = "{throat} mm"}}
exit_diameter = {{from = "26 mm", to = "34 mm", step = "2 mm"}}
wall = {{from = "2 mm", to = "4 mm", step = "0.5 mm"}}
forward_closure.plate_thickness = {{from = "10 mm", to = "14 mm", step = "1 mm"}}
grain_length = "fill"
hold = "outer-diameter"
[limits]
maximum_pressure = "{pressure}"
minimum_factor = {{"grain support" = 0.1, "screw shear" = 0.1, "seal extrusion" = 0.1, "tear-out of case" = 0.1}}
{limits}
[objectives]
{aim}
smallest_factor = "max"
"""
FLIGHT = 'rail_exit_speed = {min = "18 m/s"}\nmaximum_mach = {max = 0.95}'


def cost(limits: str, aim: str, pressure: str, core: float = 1.0, throat: float = 0.5) -> tuple[float, int, int]:
    """Processor seconds of a screen without its last judges, candidates, and how many pass."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "study.toml"
        # Without tolerances, whose corners would be most of the cost of a candidate.
        text = (STUDIES / "motors" / "plover.toml").read_text().split("[tolerances]")[0]
        motor = Path(folder) / "motor.toml"
        motor.write_text(text.replace("../propellants", str(STUDIES / "propellants")))
        path.write_text(SEARCH.format(motor=motor, limits=limits, aim=aim, pressure=pressure, core=core, throat=throat))
        families = Families(load_study(path))
        started = time.process_time()
        feasible = 0
        for low in range(0, families.outer_size, 16384):
            rows = np.arange(low, min(low + 16384, families.outer_size))
            feasible += families.evaluate(digits_of(rows, families.outer_radices)).feasible
        return time.process_time() - started, families.space.size, feasible


def search() -> None:
    """A screened candidate with its flight over one without."""
    for words, pressure in (("most pass all else", "30 MPa"), ("a pressure limit turns most away", "4.5 MPa")):
        plain, size, _ = cost("", 'loaded_mass = "min"', pressure)
        flown, size, kept = cost(FLIGHT, 'apogee = "max"', pressure)
        shown = f"{size} candidates, {kept} feasible with flights; {plain:.1f} s without, {flown:.1f} s with"
        each = f"{1e6 * flown / size:.1f} us a candidate with flight, {flown / plain:.1f} times one without"
        print(f"search, {words}: {shown}; {each}", flush=True)


def batch() -> None:
    """Flights of a batch against one by one, and against the burns."""
    motor = load_motor(STUDIES / "motors" / "plover.toml").motors
    draw = np.random.default_rng(1)
    for size in (1, 1000, 100_000):
        many = motor.repeat(size).with_values({"nozzle.throat_diameter": 0.013 * draw.uniform(0.9, 1.1, size)})
        started = time.process_time()
        figures = kernel.evaluate(many, "steady")
        burnt = time.process_time()
        fly_motors(many, figures, asked=("apogee",))
        flown = time.process_time()
        fly_motors(many, figures)
        whole = time.process_time()
        each = 1e6 / size
        print(f"batch of {size}: burn {each * (burnt - started):.2f} us, flight {each * (flown - burnt):.2f} us, with the coldest"
              f" rail exit and the balance {each * (whole - flown):.2f} us each; a flight is"
              f" {(flown - burnt) / (burnt - started):.1f} burns")  # fmt: skip


PARTS = {"search": search, "batch": batch}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
