"""Figures of the flight as limits and objectives: the search against flying each motor file by itself."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scenario import AFT, changed

from optimizer.candidates.families import Families
from optimizer.candidates.pareto import rounded
from optimizer.candidates.space import Space, SpaceError
from optimizer.commands.search import search
from optimizer.drivers.blocks import MemoryStore
from optimizer.drivers.exhaustive import screen
from optimizer.inputs import motor_from_text
from optimizer.inputs.aims import Objective
from optimizer.inputs.study import load_study
from optimizer.inputs.writing import motor_text
from optimizer.problems import InputError
from physics.assessment import assess
from physics.figures import FLIGHT_FIGURES

INSERT = 'efficiency = 0.95\nmaterial = "graphite"\ninsert_diameter = "40 mm"\ninsert_length = "30 mm"\n'
ROCKET = """
[rocket]
mass = "MASS"
diameter = "80 mm"
[launch]
rail_length = "RAIL"
elevation = "ELEVATION"
"""
SEARCH = """
core_diameter = ["15 mm", "19 mm"]
throat_diameter = ["12 mm", "14 mm"]
forward_closure.plate_thickness = ["10 mm", "16 mm"]
forward_closure.grade = ["A2-70", "A4-80"]
case.material = ["6061-T6", "7075-T6"]
"""


def motor(cases, mass="4 kg", rail="2 m", elevation="85 deg"):
    """The invented motor of the search with every mass known, in a rocket."""
    text = changed(cases.MOTOR, ("efficiency = 0.95\n", INSERT)) + AFT + 'mass = "0.2 kg"\n'
    return text + ROCKET.replace("MASS", mass).replace("RAIL", rail).replace("ELEVATION", elevation)


def flown_one_by_one(study, cases):
    """Each candidate that passes all else, from its own motor file: digits, and figures and flags of its flight."""
    on_ground = [limit for limit in study.limits if limit.quantity not in FLIGHT_FIGURES]
    plain = replace(study, limits=on_ground, objectives=[Objective("loaded_mass", "min", "loaded_mass")])
    space = Space(study)
    for digits in cases.brute_force(plain).good:
        text = motor_text(study.motor, space.changes(digits) | {"grain": space.grain_rows(digits)}, "one")
        found = assess(motor_from_text(text, study.motor.path).motors, curve=True)
        values = {name: float(column[0]) for name, column in found.flight.figures.items()}
        values |= {"loaded_mass": float(found.masses["loaded"][0]), "smallest_factor": float(found.smallest_factor[0])}
        yield digits, values, {name for name, raised in found.flight.flags.items() if raised[0]}


REFUSED = {
    "never_moves": "flight: never moves",
    "never_leaves_rail": "flight: never leaves the rail",
    "apogee_under_thrust": "flight: apogee under thrust",
}


def oracle(study, cases):
    """Front, number of feasible ones, and what turns the others away."""
    rejected, good = Counter(), {}
    for digits, values, flags in flown_one_by_one(study, cases):
        broken = {REFUSED[name] for name in flags & REFUSED.keys()}
        for limit in study.limits:
            if limit.quantity in FLIGHT_FIGURES:
                held = "coldest_rail_exit_speed" if limit.name == "rail_exit_speed" else limit.quantity
                low, high = (
                    (-np.inf if limit.minimum is None else limit.minimum),
                    (np.inf if limit.maximum is None else limit.maximum),
                )
                if not low <= values[held] <= high:
                    broken.add(limit.name)
        aims = [values[aim.name] * aim.sign for aim in study.objectives]
        broken |= {f"{aim.name} not known" for aim in study.objectives if not np.isfinite(values[aim.name])}
        rejected.update(broken)
        if not broken:
            good[digits] = rounded(np.array(aims))
    front = {d: tuple(v) for d, v in good.items() if not any((o <= v).all() and (o < v).any() for o in good.values())}
    return front, len(good), rejected


CASES = {
    "highest under a ceiling": (
        {}, 'rail_exit_speed = {min = "16.5 m/s"}\napogee = {max = "1950 m"}\nmaximum_mach = {max = 0.68}',
        'apogee = "max"\nloaded_mass = "min"',
    ),
    "gentle and balanced": (
        {}, 'thrust_to_weight = {min = 8}\nmaximum_dynamic_pressure = {max = "33 kPa"}',
        'maximum_acceleration = "min"\ncentre_of_mass_travel = "min"\nrail_exit_speed = "max"',
    ),
    "too heavy to leave the rail": (
        {"mass": "40 kg", "rail": "20 m"}, "", 'apogee = "max"\nsmallest_factor = "max"',
    ),
    "tops out under thrust": (
        {"mass": "16 kg", "rail": "0.2 m", "elevation": "60 deg"}, 'apogee = {min = "1 m"}',
        'rail_exit_speed = "max"\nsmallest_factor = "max"',
    ),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_front_and_counts_are_those_of_flying_each_motor_file(cases, tmp_path, name):
    rocket, limits, objectives = CASES[name]
    limits = f'maximum_pressure = "9 MPa"\n{limits}'
    study = load_study(cases.write_study(tmp_path, SEARCH, limits, objectives, motor=motor(cases, **rocket)))
    families = Families(study)
    result = screen(families, MemoryStore())
    front, feasible, rejected = oracle(study, cases)
    assert rejected and feasible, "the case would show nothing"
    keys, _, _ = result.listed(families, 10_000)
    assert {tuple(row) for row in families.full_digits(keys[:, :-1], keys[:, -1]).tolist()} == set(front)
    assert {tuple(point) for point in result.points.tolist()} == set(front.values())
    assert result.feasible == feasible
    assert {key: count for key, count in result.rejected.items() if key in rejected or "flight" in key} == {
        **{key: 0 for key in result.rejected if "flight" in key}, **rejected}  # fmt: skip


FEW = 'core_diameter = ["17 mm", "19 mm"]\nforward_closure.plate_thickness = ["10 mm", "12 mm"]'


def few(cases, folder, limits="", objectives='apogee = "max"', text=None, search=FEW, **options):
    return load_study(cases.write_study(folder, search, limits, objectives, motor=text or motor(cases), **options))


@pytest.mark.slow
def test_what_the_transient_kernel_does_not_lift_as_high_is_no_answer(cases, tmp_path):
    alone = 'core_diameter = ["17 mm"]'
    driver = 'kernel = "transient"'
    slow = search(few(cases, tmp_path / "a", search=alone, driver=driver)).designs[0].results["apogee"]
    fast = search(few(cases, tmp_path / "b", search=alone, driver='kernel = "steady"')).designs[0].results["apogee"]
    assert 0.0 < abs(fast / slow - 1.0) < 0.02, "two kernels, one motor"
    edge = f'apogee = {{{"min" if slow < fast else "max"} = "{0.5 * (slow + fast)} m"}}'
    assert search(few(cases, tmp_path / "c", edge, search=alone, driver='kernel = "steady"')).feasible == 1
    both = search(few(cases, tmp_path / "d", edge, search=alone, driver='kernel = "auto"'))
    assert not both.designs and both.relaxations[0]["limits"] == ["apogee"]
    assert both.relaxations[0]["changes"][0]["kernel"] == "transient"
    assert both.relaxations[0]["to"] == pytest.approx(slow, rel=1e-9)


def test_what_would_let_one_in_is_told_in_the_flights_own_figures(cases, tmp_path):
    best = search(few(cases, tmp_path / "a")).designs[0].results["apogee"]
    found = search(few(cases, tmp_path / "b", f'apogee = {{min = "{best * 1.1} m"}}'))
    assert not found.designs and found.rejected_by["apogee"] == found.space
    assert found.relaxations[0]["limit"] == "apogee" and found.relaxations[0]["to"] == pytest.approx(best, rel=1e-9)


def test_a_least_rail_exit_speed_holds_at_the_coldest_and_a_highest_one_as_it_is(cases, tmp_path):
    free = search(few(cases, tmp_path / "a")).designs
    cold, warm = (min(d.results[name] for d in free) for name in ("coldest_rail_exit_speed", "rail_exit_speed"))
    assert cold < warm
    between = 0.5 * (cold + min(warm, max(d.results["coldest_rail_exit_speed"] for d in free)))
    kept = search(few(cases, tmp_path / "b", f'rail_exit_speed = {{min = "{between} m/s", max = "40 m/s"}}'))
    assert all(design.results["coldest_rail_exit_speed"] >= between for design in kept.designs)
    slow = search(few(cases, tmp_path / "c", f'rail_exit_speed = {{min = "1 m/s", max = "{warm * 0.99} m/s"}}'))
    assert not slow.designs and slow.rejected_by["rail_exit_speed, most"] == slow.space


def test_a_motor_whose_mass_is_not_known_is_not_flown_and_says_so(cases, tmp_path):
    unknown = motor(cases).replace('mass = "0.2 kg"\n', "")
    with pytest.raises(InputError, match=r"not known.*aft.closure"):
        search(few(cases, tmp_path, text=unknown))


def test_only_the_candidates_of_unknown_mass_are_refused(cases, tmp_path):
    light = '\n[materials."foil"]\nkind = "metal"\nyield_strength = "250 MPa"\ntensile_strength = "300 MPa"\n'
    study = few(cases, tmp_path, text=motor(cases) + light, search=f'{FEW}\ncase.material = ["6061-T6", "foil"]')
    found = search(study)
    assert {design.variables["case.material"] for design in found.designs} == {"6061-T6"}
    refused = {name: count for name, count in found.rejected_by.items() if name.startswith("flight refused: ")}
    assert refused == {"flight refused: case: the density of case.material is not known": 4}


@pytest.mark.parametrize(("text", "words"), [
    (lambda text: text.split("[rocket]")[0], "needs a rocket"),
    (lambda text: text + '[masses]\nempty = "1.5 kg"\n', "was weighed of one motor, and forward_closure.plate_thickness"),
])  # fmt: skip
def test_what_cannot_be_flown_is_refused_before_the_search(cases, tmp_path, text, words):
    with pytest.raises((InputError, SpaceError), match=words):
        search(few(cases, tmp_path, text=text(motor(cases))))


def test_a_weighed_motor_may_be_searched_inside_its_hardware(cases, tmp_path):
    weighed = motor(cases) + '[masses]\nempty = "1.5 kg"\n'
    for design in search(few(cases, tmp_path, text=weighed, search='core_diameter = ["17 mm", "19 mm"]')).designs:
        found = assess(motor_from_text(design.motor, tmp_path / "one.toml").motors)
        assert design.results["loaded_mass"] == found.masses["loaded"][0] == 1.5 + found.masses["propellant"][0]
        assert design.results["apogee"] == found.flight.figures["apogee"][0]
