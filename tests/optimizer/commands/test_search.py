"""The whole search: its results folder, motor files that agree with it, resuming, refusing, and what to relax."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from optimizer.commands import search as searching
from optimizer.commands.search import search
from optimizer.inputs import load_motor
from optimizer.inputs.study import load_study
from optimizer.problems import InputError
from physics.assessment import assess

ROOT = Path(__file__).resolve().parents[3]
PLAIN = {"search": 'throat_diameter = {from = "11 mm", to = "15 mm", step = "1 mm"}\nforward_closure.count = [6, 9]'}


def test_the_results_folder_holds_what_was_found(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path))
    result = search(study, tmp_path / "out")
    found = json.loads((tmp_path / "out" / "pareto.json").read_text())
    assert found["schema"] == 2 and found["exact"] is True
    assert found["space"] == found["evaluated"] == study.size
    assert 0 < found["feasible"] < found["space"]
    assert found["rejected_by"] and all(count > 0 for count in found["rejected_by"].values())
    assert len(found["designs"]) == len(result.designs) > 5
    assert set(found["designs"][0]["variables"]) == set(study.variables)
    rows = list(csv.DictReader((tmp_path / "out" / "pareto.csv").open()))
    assert len(rows) == len(result.designs)
    assert float(rows[0]["loaded_mass [kg]"]) == found["designs"][0]["results"]["loaded_mass"]
    run = json.loads((tmp_path / "out" / "run.json").read_text())
    assert run["seed"] == 1 and run["seconds"] > 0.0 and run["inputs"][0]["sha256"]
    assert sorted(path.name for path in (tmp_path / "out" / "motors").iterdir()) == sorted(
        f"{design.number:02d}.toml" for design in result.designs
    )


def test_check_agrees_with_every_design(cases, tmp_path):
    result = search(load_study(cases.write_study(tmp_path)), tmp_path / "out")
    for design in result.designs[::5]:
        found = assess(load_motor(tmp_path / "out" / design.file).motors, curve=True)
        assert bool(found.ok[0])
        assert design.results["loaded_mass"] == pytest.approx(float(found.masses["loaded"][0]), rel=1e-12)
        assert design.results["smallest_factor"] == pytest.approx(float(found.smallest_factor[0]), rel=1e-9)
        assert design.results["governing"] == found.governing[0]
        for name, column in found.figures.values.items():
            assert design.results[name] == pytest.approx(float(column[0]), rel=1e-9, nan_ok=True), name


def test_exact_ties_are_listed_together_as_one_group(cases, tmp_path):
    search_text = 'throat_diameter = ["13 mm", "14 mm"]\nforward_closure.load_sharing = [0.9, 1.0]'
    objectives = 'loaded_mass = "min"\ntotal_impulse = "max"'
    result = search(load_study(cases.write_study(tmp_path, search=search_text, objectives=objectives)))
    groups = [design.group for design in result.designs]
    assert groups == sorted(groups)
    values = {design.group: design.results["total_impulse"] for design in result.designs}
    assert all(design.results["total_impulse"] == values[design.group] for design in result.designs)
    assert len(result.designs) == 2 * len(values)


@pytest.mark.slow
def test_the_same_study_and_seed_give_the_same_bytes(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path))
    search(study, tmp_path / "a")
    search(study, tmp_path / "b")
    search(study, tmp_path / "b")  # from its own record
    for name in ("pareto.csv", "pareto.json", "motors/01.toml"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_motors_that_fill_with_and_without_a_shorter_grain_keep_their_last_digits(cases, tmp_path):
    """A fresh search, a resumed one and the motor file alone, of a case that only some designs fill with whole grains."""
    ranges = """
forward_closure.plate_thickness = ["12 mm", "14 mm", "20 mm"]
throat_diameter = ["13 mm", "14 mm"]
grain_length = "fill"
"""
    motor = cases.MOTOR.replace("520 mm", "300 mm") + '[tolerances]\nthroat_diameter = {plus_minus = "0.1 mm"}\n'
    objectives = 'forward_closure_mass = "max"\ntotal_impulse = {sense = "max", percentile = 50}'
    driver = 'kernel = "steady"\nsamples = 16'
    study = load_study(cases.write_study(tmp_path, ranges, "", objectives, driver, motor=motor))
    result = search(study, tmp_path / "out")
    rows = {motor.grain.count.shape[1] for motor in (load_motor(tmp_path / "out" / d.file).motors for d in result.designs)}
    assert rows == {1, 2}, "all or none have a shorter grain: the case proves nothing"
    for design in result.designs:
        alone = assess(load_motor(tmp_path / "out" / design.file).motors, curve=True)
        assert {name: float(column[0]) for name, column in alone.figures.values.items()}.items() <= design.results.items()
    table = (tmp_path / "out" / "pareto.json").read_bytes()
    search(study, tmp_path / "out")
    assert (tmp_path / "out" / "pareto.json").read_bytes() == table


def test_nothing_feasible_says_what_to_relax(cases, tmp_path):
    limits = 'maximum_pressure = "9 MPa"\nport_over_throat = {min = 9.0}'
    study = load_study(cases.write_study(tmp_path, limits=limits, **PLAIN))
    result = search(study, tmp_path / "out")
    assert result.designs == [] and result.exact and result.feasible == 0
    single = next(entry for entry in result.relaxations if entry.get("limit") == "port_over_throat")
    # the widest port over the throat among candidates that pass everything else
    motors = study.motor.motors
    best = max(
        (16.0 / throat) ** 2
        for throat in (11, 12, 13, 14, 15)
        if _others_pass(motors.with_values({"nozzle.throat_diameter": np.array([throat * 1e-3])}))
    )
    assert single["to"] == pytest.approx(best, rel=1e-9) and single["from"] == 9.0
    relaxed = limits.replace("min = 9.0", f"min = {single['to']!r}")
    again = search(load_study(cases.write_study(tmp_path / "relaxed", limits=relaxed, **PLAIN)))
    assert len(again.designs) > 0 and again.designs[0].variables["throat_diameter"] == single["variables"]["throat_diameter"]
    stricter = limits.replace("min = 9.0", f"min = {single['to'] * (1 + 1e-9)!r}")
    assert search(load_study(cases.write_study(tmp_path / "stricter", limits=stricter, **PLAIN))).designs == []
    assert result.nearest[0]["misses"][0]["limit"] == "port_over_throat"
    assert json.loads((tmp_path / "out" / "pareto.json").read_text())["designs"] == []


def _others_pass(motors):
    found = assess(motors.with_values({"forward_closure.screws.count": np.array([9.0])}))
    impulse = float(found.figures["total_impulse"][0])
    return bool(found.ok[0]) and found.maximum_expected_pressure[0] <= 9e6 and 700.0 <= impulse <= 2500.0


def test_a_pair_of_limits_is_relaxed_where_one_will_not_do(cases, tmp_path):
    limits = 'port_over_throat = {min = 9.0}\nouter_diameter = {max = "50 mm"}'
    result = search(load_study(cases.write_study(tmp_path, limits=limits, **PLAIN)))
    assert not [entry for entry in result.relaxations if len(entry["limits"]) == 1]
    pair = next(entry for entry in result.relaxations if set(entry["limits"]) == {"port_over_throat", "outer_diameter"})
    to = {change["limit"]: change["to"] for change in pair["changes"]}
    relaxed = f'port_over_throat = {{min = {to["port_over_throat"]!r}}}\nouter_diameter = {{max = "57.2 mm"}}'
    assert to["outer_diameter"] == pytest.approx(0.0572)
    assert search(load_study(cases.write_study(tmp_path / "again", limits=relaxed, **PLAIN))).designs


def test_a_mode_and_the_airframe_can_be_what_is_in_the_way(cases, tmp_path):
    limits = 'minimum_factor = {"screw shear" = 40.0}'
    result = search(load_study(cases.write_study(tmp_path / "mode", limits=limits, **PLAIN)))
    single = next(entry for entry in result.relaxations if entry.get("limit") == "minimum_factor.screw shear")
    assert 1.0 < single["to"] < single["from"] == 40.0
    motor = cases.MOTOR.replace('inner_diameter = "60 mm"', 'inner_diameter = "58 mm"')
    result = search(load_study(cases.write_study(tmp_path / "tube", motor=motor, **PLAIN)))
    assert result.rejected_by["airframe fit"] == result.space
    single = next(entry for entry in result.relaxations if entry.get("limit") == "airframe fit")
    assert single["from"] == pytest.approx(0.001) and single["to"] == pytest.approx(0.0008)


def test_a_limit_that_cannot_be_assessed_is_refused(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path, limits='minimum_factor = {"groove shear" = 2.0}', **PLAIN))
    with pytest.raises(InputError, match="groove shear"):
        search(study)


def test_another_studys_folder_is_refused(cases, tmp_path):
    search(load_study(cases.write_study(tmp_path, **PLAIN)), tmp_path / "out")
    with pytest.raises(InputError, match="another study"):
        search(load_study(cases.write_study(tmp_path, name="other", **PLAIN)), tmp_path / "out")


def test_an_edited_study_starts_afresh_and_leaves_no_stale_motor(cases, tmp_path):
    first = search(load_study(cases.write_study(tmp_path)), tmp_path / "out")
    again = search(load_study(cases.write_study(tmp_path, **PLAIN)), tmp_path / "out")
    assert len(again.designs) < len(first.designs)
    assert len(list((tmp_path / "out" / "motors").iterdir())) == len(again.designs)
    assert any("starts afresh" in message for message in again.messages)


RUN = """
import sys, time
import optimizer.drivers.exhaustive as screen
from optimizer.inputs.study import load_study
from optimizer.commands.search import search
search_block = int(sys.argv[3])
import optimizer.commands.search
optimizer.commands.search.BLOCK = search_block
screen.BLOCK = search_block
plain = screen.screen
def small(families, store, seed, progress, confirm):
    return plain(families, store, seed, progress, confirm, search_block)
optimizer.commands.search.screen = small
def slowly(state):
    print(state.done, flush=True)
    time.sleep(0.01)
search(load_study(sys.argv[1]), sys.argv[2], progress=slowly)
"""


def running(study, out):
    return subprocess.Popen([sys.executable, "-c", RUN, str(study), str(out), "3"], cwd=ROOT, stdout=subprocess.PIPE, text=True)


@pytest.mark.slow
def test_a_killed_search_goes_on_to_the_same_table(cases, tmp_path):
    path = cases.write_study(tmp_path)
    whole = running(path, tmp_path / "whole")
    whole.communicate()
    assert whole.returncode == 0
    for stop in (3, 9):
        process = running(path, tmp_path / "killed")
        while int(process.stdout.readline()) < stop:
            pass
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        process.stdout.close()
        assert not (tmp_path / "killed" / "pareto.csv").exists()
    last = running(path, tmp_path / "killed")
    last.communicate()
    assert last.returncode == 0
    for name in ("pareto.csv", "pareto.json"):
        assert (tmp_path / "whole" / name).read_bytes() == (tmp_path / "killed" / name).read_bytes()


@pytest.mark.slow
def test_two_processes_on_one_study_give_the_same_table(cases, tmp_path):
    path = cases.write_study(tmp_path)
    search_alone = running(path, tmp_path / "alone")
    search_alone.communicate()
    two = [running(path, tmp_path / "both") for _ in range(2)]
    for process in two:
        process.communicate()
        assert process.returncode == 0
    assert (tmp_path / "alone" / "pareto.csv").read_bytes() == (tmp_path / "both" / "pareto.csv").read_bytes()


def test_auto_picks_by_size_and_says_why(cases, tmp_path, monkeypatch):
    study = load_study(cases.write_study(tmp_path, **PLAIN))
    assert search(study).why.endswith("few enough to check every one")
    monkeypatch.setattr(searching, "MOST_FAMILIES", 3)
    result = search(study)
    assert result.method == "evolve" and "too many to check every one" in result.why
    assert result.exact is False and "not proven" in result.proof


def test_roundings_to_stock_are_assessed_and_shown(cases, tmp_path):
    search_text = 'throat_diameter = {from = "13.03 mm", to = "13.43 mm", step = "0.2 mm"}\ncore_diameter = ["16.3 mm"]'
    result = search(load_study(cases.write_study(tmp_path, search=search_text)))
    found = [item for item in result.designs[0].roundings if item["variable"] == "throat_diameter"]
    assert len(found) == 2 and found[0]["new"] < result.designs[0].variables["throat_diameter"] < found[1]["new"]
    # a wider throat lowers the pressure
    assert found[0]["changes"]["maximum_expected_pressure"] > 0.0 > found[1]["changes"]["maximum_expected_pressure"]
    assert "reamers" in found[0]["tool"]
    every = [design.digits for design in result.designs]
    space = searching.Families(result.study).space
    for digits, together in zip(every, searching.roundings(space, every), strict=True):
        assert together == searching.roundings(space, [digits])[0]


def test_a_rounding_that_breaks_a_limit_of_the_study_does_not_pass(cases, tmp_path):
    """Limits as drawn, factors that the study asks for, and limits under the tolerances."""
    ranges = 'throat_diameter = ["13.23 mm"]\ncore_diameter = ["16.3 mm"]'
    motor = cases.MOTOR + '[tolerances]\nthroat_diameter = {plus_minus = "0.1 mm"}\n'
    free = search(load_study(cases.write_study(tmp_path / "free", search=ranges, limits="", motor=motor))).designs[0]
    less = next(item for item in free.roundings if item["variable"] == "throat_diameter" and item["new"] < item["old"])
    assert less["ok"] and less["changes"]["maximum_expected_pressure"] > 0.0
    expected, peak = free.results["maximum_expected_pressure"], free.results["peak_pressure"]
    shear = next(rung for rung in free.assessment.ladder.rungs if rung.mode == "screw shear")
    for limits in (
        f'maximum_pressure = "{expected * 1.0001!r} Pa"',
        f'minimum_factor = {{"screw shear" = {float(shear.factor[0]) * 0.9999}}}',
        f'peak_pressure = {{max = "{peak * 1.0001!r} Pa", percentile = 50}}',
        f"smallest_factor = {{min = {free.results['smallest_factor'] * 0.9999}}}",
    ):
        study = load_study(cases.write_study(tmp_path / "held", search=ranges, limits=limits, motor=motor))
        again = next(item for item in search(study).designs[0].roundings if item["new"] == less["new"])
        assert not again["ok"] and again["changes"] == less["changes"], limits


def test_a_throat_is_not_rounded_beyond_the_exit(cases, tmp_path):
    ranges = 'throat_diameter = ["13.23 mm"]\nexit_diameter = ["13.24 mm"]'
    design = search(load_study(cases.write_study(tmp_path, search=ranges, limits=""))).designs[0]
    assert [item["new"] < item["old"] for item in design.roundings] == [True]


def test_what_turned_candidates_away_is_told_in_one_order(cases, tmp_path):
    limits = 'port_over_throat = {min = 9.0}\nouter_diameter = {max = "50 mm"}'  # each turns all of them away
    study = load_study(cases.write_study(tmp_path, limits=limits, **PLAIN))
    for _ in range(2):  # the second time from its own record
        told = list(search(study, tmp_path / "out").rejected_by.items())
        assert told[:2] == [("outer_diameter", study.size), ("port_over_throat", study.size)]


@pytest.mark.slow
def test_the_ring_s_material_is_the_plate_s_where_the_file_names_none(cases, tmp_path):
    """The plate then bends, and weighs, by the material that is searched for the ring."""
    ranges = """
forward_closure.ring_material = ["6061-T6", "304 annealed"]
forward_closure.plate_thickness = ["4 mm", "5 mm", "6 mm"]
throat_diameter = ["13 mm", "14 mm"]
"""
    study = load_study(cases.write_study(tmp_path, search=ranges, limits='forward_closure_mass = {max = "0.4 kg"}'))
    result, wanted = search(study), cases.brute_force(study)
    assert result.rejected_by["required_factor.plate bending"] and 0 < result.feasible == wanted.feasible < study.size
    assert {design.digits for design in result.designs} == set(wanted.front)


@pytest.mark.parametrize(
    "twins",
    [
        'throat_diameter = ["12 mm", "13 mm"]\nnozzle.throat_diameter = ["13 mm"]',
        'grain_length = "fill"\ngrain.length = ["70 mm", "75 mm"]',
        'plate_thickness = ["10 mm"]\nforward_closure.plate_thickness = ["12 mm", "8 mm"]',
        'expansion_ratio = [4, 5]\nexit_diameter = ["30 mm", "34 mm"]',
        'outer_diameter = ["57.2 mm", "58 mm"]\nwall = ["3 mm", "3.2 mm"]\nhold = "bore"',
        'core_diameter = ["15 mm"]\ngrain.0.core_diameter = ["16 mm"]',
    ],
)
def test_one_thing_varies_under_one_name(cases, tmp_path, twins):
    with pytest.raises(InputError, match="sets already") as refused:
        load_study(cases.write_study(tmp_path, search=twins))
    assert len(refused.value.problems) == 1


def test_finalists_are_confirmed_by_the_transient_kernel(cases, tmp_path, monkeypatch):
    """A transient kernel that sees more pressure takes designs away, and what they hid comes forward."""
    from physics.ballistics import kernel

    study = load_study(cases.write_study(tmp_path, driver='kernel = "auto"'))
    calls = []
    expected, plain = kernel.maximum_expected_pressure, kernel.evaluate

    def raised(motors, kernel="steady", *known):
        pressure = expected(motors)
        if kernel == "transient":
            calls.append(motors.size)
            throat = np.broadcast_to(motors.nozzle.throat_diameter, (motors.size,))
            return np.where(throat < 0.0125, 3.0 * pressure, pressure)
        return pressure

    monkeypatch.setattr(kernel, "maximum_expected_pressure", raised)
    monkeypatch.setattr(kernel, "evaluate", lambda motors, kernel="steady", curve=False: plain(motors, curve=curve))
    monkeypatch.setattr(
        kernel, "burnt", lambda motors, kernel="steady", curve=False: (plain(motors, curve=curve), raised(motors, kernel))
    )
    result = search(study)
    assert calls and result.exact
    assert result.designs and all(design.variables["throat_diameter"] > 0.0125 for design in result.designs)
    assert all(design.confirmed["kernel"] == "transient" for design in result.designs)
    assert any("finalists were run through the transient kernel" in message for message in result.messages)
    # the same front as that of a space without the throats that fail
    search_text = cases.SEARCH.replace('from = "11 mm"', 'from = "13 mm"')
    without = search(load_study(cases.write_study(tmp_path / "without", search=search_text)))
    assert [d.results["total_impulse"] for d in without.designs] == [d.results["total_impulse"] for d in result.designs]


@pytest.mark.slow
def test_the_real_transient_kernel_confirms_a_small_front(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path, driver='kernel = "auto"', **PLAIN))
    started = time.perf_counter()
    result = search(study)
    assert result.designs and result.kernel == "steady"
    design = result.designs[0]
    steady, transient = design.results["total_impulse"], design.confirmed["total_impulse"]
    assert transient == pytest.approx(steady, rel=0.05), time.perf_counter() - started


def test_a_front_longer_than_anybody_reads_is_thinned_and_says_so(cases, tmp_path, monkeypatch):
    study = load_study(cases.write_study(tmp_path))
    whole = search(study)
    monkeypatch.setattr(searching, "MOST_DESIGNS", 4)
    result = search(study, tmp_path / "out")
    points = {design.group: (design.results["loaded_mass"], design.results["total_impulse"]) for design in whole.designs}
    assert len({design.group for design in result.designs}) == 4 and result.designs_not_listed == len(points) - 4 > 0
    assert min(design.results["loaded_mass"] for design in result.designs) == min(mass for mass, _ in points.values())
    assert max(design.results["total_impulse"] for design in result.designs) == max(top for _, top in points.values())
    assert {design.digits for design in result.designs} <= {design.digits for design in whole.designs}
    assert any("4 of them, spread evenly" in text for text in result.messages) and result.feasible == whole.feasible


@pytest.mark.slow
def test_single_rungs_can_be_aimed_for(cases, tmp_path):
    objectives = 'loaded_mass = "min"\nfactor = {"screw shear" = "max", "case yield" = "max"}'
    search_text = 'grain_count = [3, 5]\nthroat_diameter = ["13 mm", "15 mm"]\nwall = ["2 mm", "4 mm"]\n'
    search_text += 'forward_closure.count = [4, 12]\nforward_closure.screw = ["#8-32 UNC", "1/4-20 UNC"]'
    study = load_study(cases.write_study(tmp_path, search=search_text, objectives=objectives))
    result = search(study, tmp_path / "out")
    wanted = cases.brute_force(study)
    assert result.exact and result.feasible == wanted.feasible > len(wanted.front) > 1
    assert {design.digits: design.results["factor.screw shear"] for design in result.designs} == pytest.approx(
        {digits: -point[1] for digits, point in wanted.front.items()}, rel=1e-8
    )
    header = (tmp_path / "out" / "pareto.csv").read_text().splitlines()[0]
    assert "factor.screw shear" in header


@pytest.mark.parametrize("method", ["exhaustive", "evolve"])
def test_a_candidate_whose_aimed_rung_is_not_assessed_is_turned_away_by_name(cases, tmp_path, method):
    little = '[materials."little known"]\nkind = "metal"\ndensity = "1000 kg/m^3"\ntensile_strength = "400 MPa"\n'
    little += 'shear_strength = "200 MPa"\n'
    rings = 'forward_closure.ring_material = ["6061-T6", "little known"]\nthroat_diameter = ["13 mm", "14 mm"]'
    objectives = 'loaded_mass = "min"\nfactor = {"plate bending" = "max"}'
    driver = f'kernel = "steady"\nmethod = "{method}"\nbudget = 4'
    path = cases.write_study(tmp_path, rings, "", objectives, driver, motor=cases.MOTOR + little)
    result = search(load_study(path))
    assert result.evaluated == 4 and result.feasible == 2 == result.rejected_by["factor.plate bending not assessed"]
    assert {design.variables["forward_closure.ring_material"] for design in result.designs} == {"6061-T6"}


@pytest.mark.parametrize(
    ("objectives", "says"),
    [
        ('factor = {"screw sheer" = "max"}', "did you mean 'screw shear'"),
        ('factor = {"screw shear" = "min"}', "would look for the weakest motor"),
        ('factor = {"screw shear" = 2}', "is not a way to be better"),
        ('factor = "max"', "not [factor]"),
        ('factor = {"groove shear" = "max"}', "cannot be assessed for the base motor"),
    ],
)
def test_a_rung_that_cannot_be_aimed_for_is_refused(cases, tmp_path, objectives, says):
    with pytest.raises(InputError) as refused:
        search(load_study(cases.write_study(tmp_path, objectives=objectives)))
    assert says in str(refused.value)
