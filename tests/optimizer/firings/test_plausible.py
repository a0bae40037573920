"""A record held against what its motor can do: slips of unit and sign are named, sound records pass untouched."""

import re
from pathlib import Path

import numpy as np
import pytest

from optimizer.commands.explain import explain
from optimizer.firings.reduction import reduce_firing
from optimizer.inputs import InputError, load_firing

STARTER = Path(__file__).parents[3] / "optimizer" / "starter"


@pytest.fixture()
def bench(tmp_path):
    """The starter's firing, its columns and its file changed."""
    table = np.loadtxt(STARTER / "firing.csv", delimiter=",", skiprows=1)
    for name in ("motor.toml", "propellant.toml"):
        (tmp_path / name).write_bytes((STARTER / name).read_bytes())

    def make(change=lambda table: table, firing=lambda text: text, head="time_s,pressure_bar,load_kgf"):
        rows = change(table.copy())
        np.savetxt(tmp_path / "firing.csv", rows, delimiter=",", header=head, comments="", fmt="%.7g")
        (tmp_path / "f.toml").write_text(firing((STARTER / "firing.toml").read_text()))
        return load_firing(tmp_path / "f.toml")

    return make


def scaled(column, factor):
    def change(table):
        table[:, column] *= factor
        return table

    return change


def refusal(firing):
    with pytest.raises(InputError) as refused:
        reduce_firing(firing)
    return refused.value.problems[0]


class TestUnits:
    # What the record holds beside what the file says: exact factors of the units.
    @pytest.mark.parametrize(
        ("column", "factor", "asked"),
        [
            (0, 1000.0, "is the time in ms?"),
            (1, 14.5038, "is the pressure in psi?"),
            (1, 0.1, "is the pressure in MPa?"),
            (1, 100.0, "is the pressure in kPa?"),
            (1, 1e5, "is the pressure in Pa?"),
            (2, 9.80665, "is the thrust in N?"),
        ],
    )
    def test_the_unit_that_fits_is_asked_for(self, bench, column, factor, asked):
        told = refusal(bench(scaled(column, factor)))
        assert asked in told.problem and told.fix.startswith('write unit = "')
        named = re.search(r'unit = "(\w+)"', told.fix)[1]
        column_name = ("time", "pressure", "thrust")[column]
        right = bench(scaled(column, factor), lambda text: _with_unit(text, column_name, named))
        assert reduce_firing(right).measured["total_impulse"] == pytest.approx(741.0, rel=0.01)

    def test_a_sound_record_passes_whole(self, bench):
        firing = bench()
        assert "torn cable" not in {item.about for item in reduce_firing(firing).cautions}

    def test_a_propellant_that_burns_at_twice_the_pressure_is_no_slip(self, bench):
        assert reduce_firing(bench(scaled(1, 2.0))).measured["peak_pressure"] > 7e6

    def test_a_turned_sign(self, bench):
        assert "is its sign turned?" in refusal(bench(scaled(1, -1.0))).problem

    def test_a_thermometer_in_another_unit(self, bench):
        def warm(table):
            return np.column_stack([table, 68.0 + 10.0 * table[:, 0]])

        column = 'case_temperature = [{name="t", unit="degC", position="0.1 m"}]\n[instruments]'
        told = refusal(bench(warm, lambda text: text.replace("[instruments]", column), "time_s,pressure_bar,load_kgf,t"))
        assert "is it in degF?" in told.problem


def _with_unit(text, column, unit):
    return re.sub(rf'({column} = {{name = "\w+", unit = )"\w+"', rf'\1"{unit}"', text)


class TestTornAndFlat:
    def test_a_torn_cable_is_left_out_and_said(self, bench):
        def torn(table):
            table[table[:, 0] > 1.5, 1] = -11.0
            return table

        reduction = reduce_firing(bench(torn))
        assert any("-1.1" in item.text for item in reduction.cautions if item.about == "torn cable")
        assert np.nanmin(reduction.pressure) > -1e5 and 3.4e6 < reduction.measured["peak_pressure"] < 3.8e6
        observed = '\n[observed]\ntime_of_failure = "1.2 s"\nend = "aft"\n'
        assert explain(bench(torn, lambda text: text + observed)).pressure.value > 2e6

    @pytest.mark.parametrize("level", [0.0, 1.0])
    def test_flat_with_one_spike_holds_no_burn(self, bench, level):
        def flat(table):
            table[:, 1] = level
            table[300, 1] = 50.0
            return table

        assert "no burn" in refusal(bench(flat)).problem

    def test_a_square_pulse_has_figures_or_a_reason(self, bench):
        def square(table):
            table[:, 1] = 1.0
            table[150:450, 1] = 40.0
            return table

        try:
            assert reduce_firing(bench(square)).measured["peak_pressure"] == pytest.approx(4e6, rel=0.03)
        except InputError as refused:
            assert refused.problems[0].fix

    def test_an_empty_heading_is_refused(self, bench):
        with pytest.raises(InputError, match="is empty"):
            bench(firing=lambda text: text.replace('"pressure_bar"', '""'))


class TestBesideTheBurn:
    def test_thermometers_and_liner_are_read_and_summed_up(self, bench):
        def warm(table):
            t = table[:, 0]
            return np.column_stack([table, 20.0 + 60.0 * np.exp(-((t - 3.0) ** 2)), 20.0 + 10.0 * t])

        columns = (
            'case_temperature = [{name = "t1", unit = "degC", position = "120 mm"}, '
            '{name = "t2", unit = "degC", position = "20 mm"}]\n[instruments]'
        )
        measured = (
            '\n[measured]\nliner_before = [{position = "20 mm", thickness = "2 mm"}]\n'
            'liner_after = [{position = "20 mm", thickness = "1.2 mm"}, {position = "60 mm", thickness = "1.5 mm"}]\n'
        )
        reduction = reduce_firing(
            bench(warm, lambda text: text.replace("[instruments]", columns) + measured, "time_s,pressure_bar,load_kgf,t1,t2")
        )
        first, second = reduction.outside
        assert (first["name"], second["name"]) == ("t2", "t1"), "in order from the forward end"
        assert second["peak"] == pytest.approx(273.15 + 80.0, abs=0.5)
        assert second["time_of_peak"] == pytest.approx(3.0 - reduction.measured["ignition_time"], abs=0.02)
        assert first["still_rising"] and not second["still_rising"]
        assert reduction.liner[0]["loss"] == pytest.approx(0.8e-3) and reduction.liner[1]["before"] is None
        answer = reduction.as_json()
        assert answer["case_temperature"][1]["position"] == 0.12 and answer["liner"][0]["position"] == 0.02
