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

from optimizer import search as searching
from optimizer.inputs import load_motor
from optimizer.inputs.study import load_study
from optimizer.problems import InputError
from optimizer.search import search
from physics.assessment import assess

ROOT = Path(__file__).resolve().parents[2]
PLAIN = {"search": 'throat_diameter = {from = "11 mm", to = "15 mm", step = "1 mm"}\nforward_closure.count = [6, 9]'}


def test_the_results_folder_holds_what_was_found(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path))
    result = search(study, tmp_path / "out")
    found = json.loads((tmp_path / "out" / "pareto.json").read_text())
    assert found["schema"] == 1 and found["exact"] is True
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


def test_the_same_study_and_seed_give_the_same_bytes(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path))
    search(study, tmp_path / "a")
    search(study, tmp_path / "b")
    search(study, tmp_path / "b")  # from its own record
    for name in ("pareto.csv", "pareto.json", "motors/01.toml"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_nothing_feasible_says_what_to_relax(cases, tmp_path):
    limits = 'maximum_pressure = "9 MPa"\nport_to_throat_area = {min = 9.0}'
    study = load_study(cases.write_study(tmp_path, limits=limits, **PLAIN))
    result = search(study, tmp_path / "out")
    assert result.designs == [] and result.exact and result.feasible == 0
    single = next(entry for entry in result.relaxations if entry.get("limit") == "port_to_throat_area")
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
    assert (
        len(again.designs) > 0
        and again.designs[0].variables["throat_diameter"] == single["variables"]["throat_diameter"]
    )
    stricter = limits.replace("min = 9.0", f"min = {single['to'] * (1 + 1e-9)!r}")
    assert search(load_study(cases.write_study(tmp_path / "stricter", limits=stricter, **PLAIN))).designs == []
    assert result.nearest[0]["misses"][0]["limit"] == "port_to_throat_area"
    assert json.loads((tmp_path / "out" / "pareto.json").read_text())["designs"] == []


def _others_pass(motors):
    found = assess(motors.with_values({"forward_closure.screws.count": np.array([9.0])}))
    impulse = float(found.figures["total_impulse"][0])
    return bool(found.ok[0]) and found.maximum_expected_pressure[0] <= 9e6 and 700.0 <= impulse <= 2500.0


def test_a_pair_of_limits_is_relaxed_where_one_will_not_do(cases, tmp_path):
    limits = 'port_to_throat_area = {min = 9.0}\nouter_diameter = {max = "50 mm"}'
    result = search(load_study(cases.write_study(tmp_path, limits=limits, **PLAIN)))
    assert not [entry for entry in result.relaxations if len(entry["limits"]) == 1]
    pair = next(
        entry for entry in result.relaxations if set(entry["limits"]) == {"port_to_throat_area", "outer_diameter"}
    )
    to = {change["limit"]: change["to"] for change in pair["changes"]}
    relaxed = f'port_to_throat_area = {{min = {to["port_to_throat_area"]!r}}}\nouter_diameter = {{max = "57.2 mm"}}'
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
import optimizer.screen as screen
from optimizer.inputs.study import load_study
from optimizer.search import search
search_block = int(sys.argv[3])
import optimizer.search
optimizer.search.BLOCK = search_block
screen.BLOCK = search_block
plain = screen.screen
def small(families, store, seed, progress, confirm):
    return plain(families, store, seed, progress, confirm, search_block)
optimizer.search.screen = small
def slowly(state):
    print(state.done, flush=True)
    time.sleep(0.01)
search(load_study(sys.argv[1]), sys.argv[2], progress=slowly)
"""


def running(study, out):
    return subprocess.Popen(
        [sys.executable, "-c", RUN, str(study), str(out), "3"], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )


def test_a_killed_search_goes_on_to_the_same_table(cases, tmp_path):
    path = cases.write_study(tmp_path)
    whole = running(path, tmp_path / "whole")
    whole.communicate(timeout=200)
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
    last.communicate(timeout=200)
    assert last.returncode == 0
    for name in ("pareto.csv", "pareto.json"):
        assert (tmp_path / "whole" / name).read_bytes() == (tmp_path / "killed" / name).read_bytes()


def test_two_processes_on_one_study_give_the_same_table(cases, tmp_path):
    path = cases.write_study(tmp_path)
    search_alone = running(path, tmp_path / "alone")
    search_alone.communicate(timeout=200)
    two = [running(path, tmp_path / "both") for _ in range(2)]
    for process in two:
        process.communicate(timeout=200)
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


def test_finalists_are_confirmed_by_the_transient_kernel(cases, tmp_path, monkeypatch):
    """A transient kernel that sees more pressure takes designs away, and what they hid comes forward."""
    from physics import kernel

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
    result = search(study)
    assert calls and result.exact
    assert result.designs and all(design.variables["throat_diameter"] > 0.0125 for design in result.designs)
    assert all(design.confirmed["kernel"] == "transient" for design in result.designs)
    assert any("finalists were run through the transient kernel" in message for message in result.messages)
    # the same front as that of a space without the throats that fail
    search_text = cases.SEARCH.replace('from = "11 mm"', 'from = "13 mm"')
    without = search(load_study(cases.write_study(tmp_path / "without", search=search_text)))
    assert [d.results["total_impulse"] for d in without.designs] == [d.results["total_impulse"] for d in result.designs]


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


def test_single_rungs_can_be_aimed_for(cases, tmp_path):
    objectives = 'loaded_mass = "min"\nfactor = {"screw shear" = "max", "case yield" = "max"}'
    study = load_study(cases.write_study(tmp_path, objectives=objectives))
    result = search(study, tmp_path / "out")
    wanted = cases.brute_force(study)
    assert result.exact and result.feasible == wanted.feasible
    assert {design.digits: design.results["factor.screw shear"] for design in result.designs} == pytest.approx(
        {digits: -point[1] for digits, point in wanted.front.items()}, rel=1e-8
    )
    header = (tmp_path / "out" / "pareto.csv").read_text().splitlines()[0]
    assert "factor.screw shear" in header


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
