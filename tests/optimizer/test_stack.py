"""Motors of searches that fill their case: they go together, their section does not overlap itself, `check` agrees.

The studies are drawn at random over all retentions of both ends. Run by hand it goes on for longer:
`python tests/optimizer/test_stack.py 300` until 300 motors were written.
"""

from __future__ import annotations

import itertools
import json
import math
import random
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from scenario import PROPELLANT, RATE, named

from optimizer.candidates.limits import STACK
from optimizer.candidates.space import Space
from optimizer.cli import main
from optimizer.commands.search import search
from optimizer.inputs import load_motor, load_study, motor_from_text, motor_text
from optimizer.output.drawing.geometry import section
from physics.assembly import assemble
from physics.assessment import assess

RETENTIONS = ("radial-screws", "threaded-ring", "snap-ring")
SOLID = ("case", "liner", "grain", "closure", "ring", "nozzle")


def closure(end: str, retention: str, bore: float, wall: float, draw: random.Random) -> str:
    """One end of an invented motor; sizes in mm."""
    text = f'[{end}_closure]\nretention = "{retention}"\nring_material = "6061-T6"\n'
    if retention == "radial-screws":
        text += f'screw = "M5x0.8"\ngrade = "A2-70"\ncount = {draw.choice((8, 10, 12))}\n'
        text += f'edge_distance = "{draw.uniform(10, 15):.2f} mm"\n' if draw.random() < 0.8 else ""
        text += f'ring_edge_distance = "{draw.uniform(8, 12):.2f} mm"\n' if draw.random() < 0.8 else ""
        text += f'ring_thickness = "{draw.uniform(6, 9):.2f} mm"\n' if draw.random() < 0.8 else ""
    elif retention == "threaded-ring":
        text += f'thread_diameter = "{bore + wall:.2f} mm"\nthread_pitch = "1 mm"\nengagement = "{draw.uniform(9, 15):.2f} mm"\n'
    else:
        text += f'groove_depth = "{0.4 * wall:.3f} mm"\nsnap_ring_thickness = "{draw.uniform(1.5, 2.5):.2f} mm"\n'
        text += f'edge_margin = "{draw.uniform(6, 12):.2f} mm"\nsnap_ring_shear_strength = "900 MPa"\n'
    if end == "forward" and draw.random() < 0.8:
        text += f'plate_thickness = "{draw.uniform(9, 14):.2f} mm"\n'
    if end == "aft" and draw.random() < 0.3:
        text += f'plate_thickness = "{draw.uniform(6, 10):.2f} mm"\n'
    if draw.random() < 0.7:
        text += f'[{end}_closure.seal]\nrings = {draw.choice((1, 2))}\ncross_section = "3.53 mm"\n'
        text += 'gland_depth = "2.85 mm"\ngap = "0.02 mm"\nhardness = 90\nmaterial = "nitrile"\n'
    return text


def write_study(folder: Path, held: tuple[str, str], seed: int, throats: int = 6) -> Path:
    """A motor and a study of it, both drawn at random."""
    draw = random.Random(seed)
    outer, wall, liner = draw.uniform(45, 80), draw.uniform(3, 5), draw.uniform(1, 2)
    bore = outer - 2 * wall
    grain = bore - 2 * liner - draw.uniform(0, 1)
    nozzle = 'half_angle = "15 deg"\nefficiency = 0.94\nmaterial = "graphite"\n'
    core, throat = 0.38 * grain, 0.3 * grain
    if draw.random() < 0.4:
        wide = draw.uniform(0.6, 0.9) * bore
        nozzle += f'insert_diameter = "{wide:.2f} mm"\ninsert_length = "{draw.uniform(0.4, 0.8) * bore:.2f} mm"\n'
        nozzle += f'seat_diameter = "{0.85 * wide:.2f} mm"\n' if draw.random() < 0.5 else ""
    nozzle += f'length_in_case = "{draw.uniform(0.5, 1.0) * bore:.2f} mm"\n' if draw.random() < 0.3 else ""
    parts = [
        named("Filled (invented)"),
        PROPELLANT + 'reference_temperature = "20 degC"\n',
        RATE,
        f'[[grain]]\ncount = 3\nlength = "{draw.uniform(0.9, 1.6) * grain:.2f} mm"\nouter_diameter = "{grain:.3f} mm"\n'
        f'core_diameter = "{core:.2f} mm"\nburning_ends = 2\n',
        f'[nozzle]\nthroat_diameter = "{throat:.2f} mm"\nexit_diameter = "{draw.uniform(1.8, 2.4) * throat:.2f} mm"\n' + nozzle,
        f'[case]\nmaterial = "6061-T6"\nouter_diameter = "{outer:.3f} mm"\nwall = "{wall:.3f} mm"\n'
        f'length = "{draw.uniform(6, 9) * outer:.2f} mm"\n',
        f'[liner]\nmaterial = "paper-phenolic"\nthickness = "{liner:.3f} mm"\n',
        closure("forward", held[0], bore, wall, draw),
        closure("aft", held[1], bore, wall, draw),
        "[factors]\nyield = 1.0\nrupture = 1.0\nseal = 1.0\nheat = 1.0\n",
    ]
    (folder / "motor.toml").write_text("".join(parts))
    variables = [
        'grain_length = "fill"',
        "throat_diameter = [" + ", ".join(f'"{(1 + 0.05 * k) * throat:.3f} mm"' for k in range(throats)) + "]",
        f'core_diameter = ["{core:.2f} mm", "{1.15 * core:.2f} mm"]',
    ]
    variables += ["grain_count = {from = 2, to = 5}"] if draw.random() < 0.6 else []
    variables += [f'wall = ["{wall:.3f} mm", "{wall + 0.4:.3f} mm"]'] if draw.random() < 0.3 else []
    if held[0] == "radial-screws" and draw.random() < 0.5:
        variables.append('forward_closure.edge_distance = ["11 mm", "13 mm"]')
    if draw.random() < 0.3:
        variables.append('nozzle.length_in_case = ["30 mm", "35 mm"]')
    study = folder / "study.toml"
    study.write_text(
        named("Filled") + 'motor = "motor.toml"\n[target]\nimpulse = ["100 N*s", "60000 N*s"]\n[search]\n'
        + "\n".join(variables)
        + '\n[objectives]\ntotal_impulse = "max"\nloaded_mass = "min"\nsmallest_factor = "max"\n'
    )  # fmt: skip
    return study


def spans(outline, x: float) -> list[tuple[float, float]]:
    """Where a line across the axis at x runs through a closed polygon."""
    cuts = []
    for (x0, r0), (x1, r1) in zip(outline, [*outline[1:], outline[0]], strict=True):
        if (x0 <= x) != (x1 <= x):
            cuts.append(r0 + (r1 - r0) * (x - x0) / (x1 - x0))
    cuts.sort()
    return list(zip(cuts[::2], cuts[1::2], strict=True))


def overlap(one, other) -> float:
    """The widest overlap of two outlines across the axis, looked at within every slab between two of their corners. [mm]"""
    low = max(min(x for x, _ in one.outline), min(x for x, _ in other.outline))
    high = min(max(x for x, _ in one.outline), max(x for x, _ in other.outline))
    stations = sorted({x for part in (one, other) for x, _ in part.outline if low < x < high} | {low, high})
    widest = 0.0
    for start, end in itertools.pairwise(stations):
        if end - start < 1e-6:
            continue
        for share in (0.001, 0.3, 0.5, 0.7, 0.999):
            x = start + share * (end - start)
            for (a, b), (c, d) in itertools.product(spans(one.outline, x), spans(other.outline, x)):
                widest = max(widest, min(b, d) - max(a, c))
    return widest


def overlapping(motors) -> list[tuple[str, str, float]]:
    """Pairs of solid parts of the drawn section that lie in each other, and pairs of glands."""
    parts = section(motors).parts
    solid = [part for part in parts if part.kind in SOLID]
    glands = [part for part in parts if part.kind == "gland"]
    pairs = (*itertools.combinations(solid, 2), *itertools.combinations(glands, 2))
    return [(a.kind, b.kind, wide) for a, b in pairs if (wide := overlap(a, b)) > 1e-6]


def judge(folder: Path, held: tuple[str, str], seed: int, throats: int = 6) -> int:
    """Search one random study; every motor it writes is looked at. How many there were."""
    folder.mkdir(parents=True, exist_ok=True)
    search(load_study(write_study(folder, held, seed, throats)), folder / "out")
    designs = json.loads((folder / "out" / "pareto.json").read_text())["designs"]
    for design, path in zip(designs, sorted((folder / "out" / "motors").glob("*.toml")), strict=False):
        motors = load_motor(path).motors
        look = assess(motors)
        where = f"{held} {seed} {path.name}"
        assert look.assembly.not_assessed == "", where
        assert look.assembly.left[0] >= 0.0, where
        assert look.assembly.left[0] < 1e-6, where  # filled, and no more than that
        assert bool(look.ok[0]), where
        assert not overlapping(motors), f"{where}: {overlapping(motors)}"
        found = {
            "total_impulse": look.figures["total_impulse"],
            "maximum_expected_pressure": look.maximum_expected_pressure,
            "loaded_mass": look.masses["loaded"],
            "smallest_factor": look.smallest_factor,
        }
        for name, value in found.items():
            if name in design["results"]:
                assert float(value[0]) == pytest.approx(design["results"][name], rel=1e-9), f"{where}: {name}"
    return len(designs)


EACH = [("radial-screws", "snap-ring"), ("snap-ring", "threaded-ring"), ("threaded-ring", "radial-screws")]


@pytest.mark.slow
@pytest.mark.parametrize("held", EACH)
def test_what_a_filled_search_writes_can_be_built(held, tmp_path):
    assert judge(tmp_path, held, seed=3, throats=2) > 0


def test_a_section_that_overlaps_is_seen():
    """The measure itself: a box in a box, a box beside a box, and a tilted face."""
    from optimizer.output.drawing.geometry import Part

    box = Part("grain", ((0.0, 0.0), (10.0, 0.0), (10.0, 5.0), (0.0, 5.0)))
    assert overlap(box, Part("grain", ((9.0, 4.0), (20.0, 4.0), (20.0, 8.0), (9.0, 8.0)))) == pytest.approx(1.0)
    assert overlap(box, Part("grain", ((10.0, 0.0), (20.0, 0.0), (20.0, 5.0), (10.0, 5.0)))) == 0.0
    assert overlap(box, Part("nozzle", ((5.0, 5.0), (10.0, 4.0), (10.0, 6.0)))) == pytest.approx(1.0, rel=0.01)


def fixed(folder: Path, variables: str, motor_changes=(), held=("radial-screws", "radial-screws")) -> Path:
    """A study with its own variables over the random motor of one seed, filled by hand."""
    study = write_study(folder, held, 28)
    motor = folder / "motor.toml"
    text = motor.read_text()
    for old, new in motor_changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    motor.write_text(text)
    head, _, tail = study.read_text().partition("[search]\n")
    study.write_text(head + "[search]\n" + variables + "\n" + tail[tail.index("[objectives]") :])
    return study


@pytest.mark.slow
def test_a_stack_that_is_too_long_is_turned_away_under_its_name(tmp_path):
    """Of one to nine grains some fit by the sum that `check` prints, and those only."""
    study = load_study(fixed(tmp_path, "grain_count = {from = 1, to = 12}"))
    found = Space(study).candidates(np.arange(12)[:, None])
    rest = assess(study.motor.motors).assembly
    one = float(study.motor.motors.grain.length[0, 0])
    fitting = math.floor((float(rest.left[0]) + 3 * one) / one)
    assert 1 <= fitting < 12
    assert found.impossible[STACK].tolist() == [count > fitting for count in range(1, 13)]
    assert search(study).rejected_by[STACK] == 12 - fitting


@pytest.mark.slow
def test_shapes_that_cannot_be_are_counted_and_never_win(tmp_path):
    """A ring of 80 mm in its bore would weigh less than nothing, and once won every search for least mass."""
    variables = 'forward_closure.ring_thickness = ["7 mm", "8 mm", "80 mm"]\ngrain_count = {from = 2, to = 3}'
    study = load_study(fixed(tmp_path, variables))
    result = search(study)
    assert result.rejected_by["forward closure: ring thicker than half the bore"] == 2
    assert result.designs
    assert all(design.variables["forward_closure.ring_thickness"] < 0.01 for design in result.designs)


def test_check_says_no_to_a_stack_that_is_too_long(tmp_path):
    study = load_study(fixed(tmp_path, "grain_count = [3]"))
    length = float(assess(study.motor.motors).assembly.stack[0])
    answers = {}
    for spare in (-0.002, 0.0, 0.030):
        text = motor_text(study.motor, {"case.length": length + spare})
        path = tmp_path / "tried.toml"
        path.write_text(text)
        result = CliRunner().invoke(main, ["check", str(path), "--json"])
        answers[spare] = json.loads(result.stdout)
        room = answers[spare]["room"]
        assert room["left"] == pytest.approx(spare, abs=1e-9)
        assert room["available"] - room["stack"] == pytest.approx(room["left"], abs=1e-9)
        if spare < 0:
            assert result.exit_code == 1 and answers[spare]["ok"] is False
    about = [{caution["about"] for caution in answers[spare]["cautions"]} for spare in (-0.002, 0.0, 0.030)]
    assert "stack too long" in about[0]
    assert not {"stack too long", "room left in the case"} & about[1]
    assert "room left in the case" in about[2]


@pytest.mark.parametrize("count", ["grain_count = {from = 2, to = 5}", ""])
@pytest.mark.parametrize(
    "tolerance",
    ['grain_length = {plus_minus = "0.5 mm"}', 'grain_length = {plus = "1 %", minus = "2 %"}', 'case.length = {minus = "2 mm"}'],
)
def test_what_fills_a_case_leaves_what_the_tolerances_may_take(tolerance, count, tmp_path):
    study = load_study(
        fixed(
            tmp_path,
            f'grain_length = "fill"\nthroat_diameter = ["0.5 in", "0.6 in"]\n{count}',
            [("[factors]\n", f"[tolerances]\n{tolerance}\n[factors]\n")],
        )
    )
    space = Space(study)
    found = space.candidates(space.digits(np.arange(space.size)))
    assert found.possible.any() and STACK not in [name for name, which in found.impossible.items() if which.any()]
    placed = assemble(found.motors.take(found.possible))
    assert (placed.left > 1e-4).all()
    assert (placed.least_left >= 0.0).all() and (placed.least_left < 1e-6).all()


@pytest.mark.parametrize("length", ['"neutral"', '["71.3 mm", "2.917 in"]'])
def test_a_case_that_follows_reads_back_to_the_last_bit(length, tmp_path):
    """The search itself compares every motor it writes with the one it looked at; the room stays that of the base motor."""
    study = load_study(fixed(
        tmp_path, f'grain_count = {{from = 2, to = 4}}\ngrain_length = {length}\ncase_length = "follow"\n'
        'throat_diameter = ["0.7 in", "0.77 in"]'))  # fmt: skip
    space = Space(study)
    every = space.digits(np.arange(space.size))
    found = space.candidates(every)
    left = assemble(found.motors).left
    assert left == pytest.approx(np.full(space.size, assemble(study.motor.motors).left[0]), abs=1e-9)
    for digits in every[found.possible]:
        text = motor_text(study.motor, space.changes(digits) | {"grain": space.grain_rows(digits)})
        motors = motor_from_text(text, study.motor.path).motors
        assert motors.case.length[0] == space.candidates(digits[None]).motors.case.length[0]


if __name__ == "__main__":
    import collections
    import tempfile

    wanted, written, by = int(sys.argv[1]), 0, collections.Counter()
    with tempfile.TemporaryDirectory() as place:
        for number in itertools.count(100):
            held = (RETENTIONS[number % 3], RETENTIONS[number // 3 % 3])
            many = judge(Path(place) / str(number), held, number)
            by[held] += many
            written += many
            if written >= wanted and len(by) == 9:
                break
    print(f"{written} motors of {number - 99} studies: each goes together, none overlaps itself, check agrees", dict(by))
