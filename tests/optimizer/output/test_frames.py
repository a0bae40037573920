"""The Python interface: names load on demand, files are doors, and frames carry the numbers of the results."""

from __future__ import annotations

import subprocess
import sys
from importlib import resources

import numpy as np
import pytest

import optimizer
import physics
from optimizer import compare, explain, frames, learn, load_firing, load_motor, load_study, search, spread
from physics import assess, evaluate

STARTER = resources.files("optimizer") / "starter"


@pytest.fixture(scope="module")
def motor():
    return load_motor(STARTER / "motor.toml")


@pytest.fixture(scope="module")
def look(motor):
    return assess(motor.motors.repeat(2).with_values({"nozzle.throat_diameter": np.array([0.010, 0.011])}), curve=True)


class TestNames:
    @pytest.mark.parametrize("package", [physics, optimizer], ids=["physics", "optimizer"])
    def test_every_public_name_is_there(self, package):
        for name in package.__all__:
            assert getattr(package, name) is not None
            assert name in dir(package)

    @pytest.mark.parametrize("package", [physics, optimizer], ids=["physics", "optimizer"])
    def test_a_name_that_is_not_there_says_so(self, package):
        with pytest.raises(AttributeError, match="nothing_like_it"):
            _ = package.nothing_like_it

    @pytest.mark.slow
    @pytest.mark.parametrize("first", ["import optimizer.commands.search", "import optimizer.commands.spread", "pass"])
    def test_whatever_was_imported_first(self, first):
        code = f"{first}\nfrom inspect import isfunction as made\nfrom optimizer import search, spread\n"
        code += "import optimizer\nassert made(search) and made(spread)\nimport optimizer.commands.search as module\n"
        code += "assert optimizer.search is search is module.search"
        subprocess.run([sys.executable, "-c", code], check=True)

    def test_one_part_loads_no_other(self):
        code = "import sys, optimizer; from physics import Motors; print('pandas' in sys.modules)"
        done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
        assert done.stdout.split() == ["False"]


class TestOneMotor:
    def test_figures_have_a_row_a_motor(self, look):
        frame = frames.figures(look)
        assert len(frame) == 2
        np.testing.assert_array_equal(frame["total_impulse"], look.figures["total_impulse"])
        np.testing.assert_array_equal(frame["loaded_mass"], look.masses["loaded"])
        assert frame["ok"].dtype == bool and frame["governing"][0] == look.governing[0]
        assert frame.attrs["units"]["peak_pressure"] == "Pa" and frame.attrs["units"]["loaded_mass"] == "kg"

    def test_figures_of_a_kernel_alone(self, motor):
        burn = evaluate(motor.motors)
        assert frames.figures(burn)["burn_time"][0] == burn["burn_time"][0]

    @pytest.mark.parametrize("index", [0, 1])
    def test_a_ladder_is_in_order_and_of_that_motor(self, look, index):
        frame = frames.ladder(look, index)
        assert len(frame) == len(look.ladder.rungs)
        assert (frame["kind"] == "advice").is_monotonic_increasing  # what nothing is known to happen at comes last
        pressures = frame.loc[frame["kind"] != "advice", "pressure"].dropna()
        assert pressures.is_monotonic_increasing and frame["time"].dropna().is_monotonic_increasing
        assert frame["factor"].iloc[0] == pytest.approx(look.smallest_factor[index])
        assert ((frame["factor"] >= frame["required"]) == frame["ok"]).all()
        assert frame["pressure"].notna().sum() + frame["time"].notna().sum() == len(frame)

    def test_what_was_not_assessed_is_there(self, look):
        frame = frames.not_assessed(look)
        assert len(frame) == len(look.ladder.not_assessed) > 0 and frame["why"].str.len().min() > 5

    def test_a_history_is_indexed_by_time(self, look):
        frame = frames.history(look, 1)
        assert frame.index.name == "time" and frame.index.is_monotonic_increasing
        assert frame["chamber_pressure"].max() == pytest.approx(look.figures["peak_pressure"][1], rel=1e-3)
        impulse = np.trapezoid(frame["thrust"], frame.index)
        assert impulse == pytest.approx(look.figures["total_impulse"][1], rel=5e-3)

    def test_no_history_says_how_to_ask_for_one(self, motor):
        with pytest.raises(ValueError, match="curve=True"):
            frames.history(evaluate(motor.motors))


class TestOtherResults:
    @pytest.mark.slow
    def test_a_spread(self, motor):
        result = spread(motor.motors, samples=32)
        frame = frames.percentiles(result)
        assert frame.loc["peak_pressure", "p50"] == result.figures["peak_pressure"]["p50"]
        assert len(frames.chances(result)) == len(result.rungs)

    @pytest.mark.slow
    def test_a_comparison(self, motor, tmp_path):
        text = (STARTER / "motor.toml").read_text(encoding="utf-8").replace('wall = "3 mm"', 'wall = "2.5 mm"')
        (tmp_path / "motor.toml").write_text(text, encoding="utf-8")
        (tmp_path / "propellant.toml").write_bytes((STARTER / "propellant.toml").read_bytes())
        result = compare([motor, load_motor(tmp_path / "motor.toml")])
        assert frames.comparison(result).shape[1] == 2
        changes = frames.changes(result)
        assert changes["key"].tolist() == ["case.wall"] and changes["to"][0] == 0.0025

    @pytest.mark.slow
    def test_a_reduction(self):
        result = learn([load_firing(STARTER / "firing.toml")])
        frame = frames.measured(result)
        assert frame["peak_pressure"].iloc[0] == result.reductions[0].measured["peak_pressure"]
        assert frame["total_impulse uncertainty"].iloc[0] > 0

    @pytest.mark.slow
    def test_an_explanation(self):
        frame = frames.candidates(explain(load_firing(STARTER / "failed_firing.toml")))
        assert frame["mode"][0] == "screw shear" and frame["likelihood"].is_monotonic_decreasing


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    folder = tmp_path_factory.mktemp("search")
    for name in ("motor.toml", "propellant.toml"):
        (folder / name).write_bytes((STARTER / name).read_bytes())
    study = """
schema = 1
name = "frames"
motor = "motor.toml"
[search]
core_diameter = ["14 mm", "16 mm"]
throat_diameter = ["9 mm", "10 mm", "11 mm"]
[limits]
highest_mass_flux = {max = "1000 kg/m^2/s"}
[objectives]
total_impulse = "max"
smallest_factor = "max"
[driver]
kernel = "steady"
"""
    (folder / "study.toml").write_text(study, encoding="utf-8")
    return search(load_study(folder / "study.toml"))


class TestSearch:
    def test_designs_have_a_row_each(self, result):
        frame = frames.designs(result)
        assert frame.index.tolist() == [design.number for design in result.designs]
        assert set(frame["core_diameter"]) <= {0.014, 0.016} and frame.columns.is_unique
        for design in result.designs:
            assert frame.loc[design.number, "total_impulse"] == design.results["total_impulse"]
        assert frame.attrs["exact"] is True and frame.attrs["units"]["core_diameter"] == "m"

    def test_what_turned_candidates_away(self, result):
        frame = frames.rejected(result)
        assert frame.to_dict() == result.rejected_by and frame.is_monotonic_decreasing
