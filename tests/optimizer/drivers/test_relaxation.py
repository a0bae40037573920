"""Where nothing is feasible: every change of limits that is named lets a candidate in, and nothing that it misses is left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenario import AFT, changed

from optimizer.commands.search import search
from optimizer.drivers import relaxation
from optimizer.inputs import load_study

SEARCH = """
grain_count = {from = 3, to = 4}
throat_diameter = {from = "12 mm", to = "14 mm", step = "1 mm"}
forward_closure.plate_thickness = ["8 mm", "12 mm"]
forward_closure.count = [6, 9]
"""
AIMS = 'loaded_mass = "min"'


@pytest.fixture
def study_of(cases, tmp_path):
    def make(limits, search=SEARCH, objectives=AIMS, driver=cases.DRIVER, motor=cases.MOTOR):
        return load_study(cases.write_study(tmp_path, search, limits, objectives, driver, motor=motor))

    return make


def relaxed(study, changes, slack=1e-9):
    """The study with these limits moved as told, and a last digit looser."""
    limits, factors = list(study.limits), dict(study.minimum_factor)
    for change in changes:
        name, low = change["limit"], change["side"] == "min"
        to = change["to"] * (1.0 - slack if low else 1.0 + slack)
        if name.startswith(("required_factor.", "minimum_factor.")):
            factors[name.partition(".")[2]] = to
            continue
        places = [place for place, limit in enumerate(limits) if limit.name == name]
        assert places, f"nobody set a limit called {name}"
        limits[places[0]] = replace(limits[places[0]], **{"minimum" if low else "maximum": to})
    return replace(study, limits=limits, minimum_factor=factors)


def admit(study, result):
    assert result.designs == [] and result.relaxations and result.nearest
    for entry in result.relaxations:
        names = [(change["limit"], change["side"]) for change in entry["changes"]]
        assert len(set(names)) == len(names), f"told twice: {names}"
        assert search(relaxed(study, entry["changes"])).designs, entry["changes"]
    return [sorted(change["limit"] for change in entry["changes"]) for entry in result.relaxations]


@pytest.mark.parametrize(
    ("limits", "told"),
    [
        ("smallest_factor = {min = 30}", ["smallest_factor"]),
        ('forward_closure_mass = {max = "0.01 kg"}', ["forward_closure_mass"]),
        ('forward_closure_mass = {min = "9 kg"}\nhighest_mass_flux = {max = "1 kg/m^2/s"}',
         ["forward_closure_mass", "highest_mass_flux"]),
        ('smallest_factor = {min = 30}\ncase_mass = {max = "0.01 kg"}', ["case_mass", "smallest_factor"]),
    ],
)  # fmt: skip
def test_limits_that_meet_a_pattern_are_told_too(study_of, limits, told):
    study = study_of(limits)
    assert admit(study, search(study))[0] == told


def pressed(monkeypatch, times):
    """A transient kernel that is the steady one with so many times the maximum expected pressure."""
    from physics.ballistics import kernel

    expected, plain = kernel.maximum_expected_pressure, kernel.evaluate
    monkeypatch.setattr(kernel, "evaluate", lambda motors, kernel="steady", curve=False: plain(motors, curve=curve))

    def pressure(motors, kernel="steady", *known):
        return (times if kernel == "transient" else 1.0) * expected(motors)

    monkeypatch.setattr(kernel, "maximum_expected_pressure", pressure)
    monkeypatch.setattr(
        kernel, "burnt", lambda motors, kernel="steady", curve=False: (plain(motors, curve=curve), pressure(motors, kernel))
    )


@pytest.mark.parametrize(
    ("limits", "column", "motor"),
    [
        ('maximum_pressure = "1 MPa"', "", ""),  # both kernels find it missed, one by more
        ('minimum_factor = {{"screw shear" = {}}}', "factor.screw shear", ""),  # the searched screws do not stand it
        ("smallest_factor = {{min = {}}}", "smallest_factor", ""),
        ('minimum_factor = {{"screw shear" = {}}}', "factor.screw shear", AFT),  # one name at both ends
    ],
)
def test_what_the_transient_kernel_asks_for_is_told_once_and_in_full(study_of, cases, monkeypatch, limits, column, motor):
    motor = changed(cases.MOTOR, ("[airframe]", motor + "[airframe]"))
    if column:
        aims = 'smallest_factor = "max"\nfactor = {"screw shear" = "max"}'
        best = max(design.results[column] for design in search(study_of("", objectives=aims, motor=motor)).designs)
        limits = limits.format(best / 1.5)  # some pass by the screen, and none under 1.9 times the pressure
    pressed(monkeypatch, 1.9)
    study = study_of(limits, driver='kernel = "auto"', motor=motor)
    admit(study, search(study))


def test_the_smallest_factor_is_held_against_the_transient_kernel_too(study_of, cases, monkeypatch):
    throats = 'throat_diameter = {from = "12 mm", to = "14 mm", step = "0.5 mm"}'
    free = search(study_of("", search=throats, objectives='total_impulse = "max"\nsmallest_factor = "max"'))
    factors = sorted({round(design.results["smallest_factor"], 6) for design in free.designs})
    assert len(factors) > 3
    least = 1.01 * factors[1]  # the third passes by the screen, and pressed by so much it does not
    pressed(monkeypatch, 1.001 * factors[2] / least)
    found = search(study_of(f"smallest_factor = {{min = {least}}}", throats, 'total_impulse = "max"', 'kernel = "auto"'))
    assert found.designs[0].results["smallest_factor"] == pytest.approx(factors[3], rel=1e-5)


def test_a_candidate_whose_tolerance_reaches_zero_is_not_named(study_of, cases):
    """Its percentiles are not known, so that no change of a limit lets it in; those of its neighbours are."""
    tolerances = '[tolerances]\nwall = {minus = "1.5 mm"}\nthroat_diameter = {plus_minus = "0.1 mm"}\n'
    walls = 'hold = "bore"\nwall = ["1.4 mm", "3 mm"]\nforward_closure.count = [9, 12]'
    asked = {"search": walls, "objectives": 'total_impulse = {sense = "max", percentile = 5}', "motor": cases.MOTOR + tolerances}
    free = search(study_of("", driver='kernel = "steady"\nsamples = 16', **asked))
    assert {design.variables["wall"] for design in free.designs} == {0.003}
    study = study_of('loaded_mass = {max = "0.1 kg"}', driver='kernel = "steady"\nsamples = 16', **asked)
    result = search(study)
    admit(study, result)
    assert all(row["variables"]["wall"] == 0.003 for row in (*result.relaxations, *result.nearest))


def test_a_motor_wider_or_longer_than_its_tube_asks_for_another_tube(study_of, cases):
    tube = ('inner_diameter = "60 mm"', 'inner_diameter = "56 mm"')
    motor = changed(cases.MOTOR, tube, ('length = "700 mm"', 'length = "500 mm"'))
    result = search(study_of("", motor=motor))
    moved = {change["limit"]: (change["from"], change["to"]) for change in result.relaxations[0]["changes"]}
    assert moved["airframe fit, inner diameter"] == pytest.approx((0.056, 0.0572 + 0.001))
    assert moved["airframe fit, length"] == pytest.approx((0.5, 0.52))


def test_what_a_short_evolution_passed_by_is_told(study_of):
    space = 'throat_diameter = {from = "12 mm", to = "14 mm", step = "0.01 mm"}'
    every = search(study_of("", search=space, objectives='total_impulse = "max"'))
    best = max(design.results["total_impulse"] for design in every.designs)
    limit = f'total_impulse = {{min = "{best * (1.0 - 1e-9)!r} N*s"}}'
    result = search(study_of(limit, search=space, driver='kernel = "steady"\nmethod = "evolve"\nbudget = 2'))
    assert result.designs == [] and not result.exact
    assert any("passes every limit" in text and "throat_diameter 12" in text for text in result.messages)


def test_a_space_too_large_to_look_at_is_drawn_from(study_of, monkeypatch):
    study = study_of("smallest_factor = {min = 30}", driver='kernel = "steady"\nmethod = "evolve"\nbudget = 2')
    whole = search(study)
    assert not any("drawn at random" in text for text in whole.messages)
    monkeypatch.setattr(relaxation, "MOST_LOOKED", 3)
    monkeypatch.setattr(relaxation, "DRAWN", 64)
    drawn = search(study)
    assert any("drawn at random" in text for text in drawn.messages)
    assert drawn.relaxations[0]["to"] <= whole.relaxations[0]["to"] and np.isfinite(drawn.relaxations[0]["to"])
