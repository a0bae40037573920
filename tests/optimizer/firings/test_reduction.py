"""Reduction of static-firing records: invented motors whose truth is known, and every way a record goes wrong."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario import GRAINS, NOZZLE, PROPELLANT, RATE, changed, named

from optimizer.firings import traces
from optimizer.firings.reduction import DEFINITIONS, reduce_firing
from optimizer.inputs import InputError, load_firing
from physics.ballistics import kernel

MOTOR = "".join(
    (
        named("Invented"),
        PROPELLANT + 'reference_temperature = "20 degC"\n',
        changed(RATE, ("6.5 mm/s", "8 mm/s"), ("0.33", "0.35")),
        GRAINS,
        NOZZLE,
    )
)

FIRING = """schema = 1
motor = "motor.toml"
record = "record.csv"
[columns]
time = {name = "time_s", unit = "s"}
pressure = {name = "p_bar", unit = "bar", reference = "absolute"}
thrust = {name = "load_kgf", unit = "kgf"}
[instruments]
pressure = {range = "100 bar", accuracy = "0.5 %"}
thrust = {range = "100 kgf", accuracy = "0.5 %"}
"""
BAR, KGF, AMBIENT = 1e5, 9.80665, 101325.0
TENTH = 0.1


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    """The steady history of the motor, as the truth: figures and time, pressure, thrust."""
    from optimizer.inputs import load_motor

    folder = tmp_path_factory.mktemp("motor")
    (folder / "motor.toml").write_text(MOTOR)
    figures = kernel.evaluate(load_motor(folder / "motor.toml").motors, curve=True)
    curve = figures.curve
    known = np.isfinite(curve.time[0])
    return figures, curve.time[0][known], curve.chamber_pressure[0][known], curve.thrust[0][known]


def sampled(truth, rate=1000.0, lead=0.6, noise=0.0, seed=1, tail=0.8):
    """Time, absolute pressure [Pa] and thrust [N] as an instrument would give them; noise over the peak."""
    _, t, p, force = truth
    time = np.arange(0.0, lead + t[-1] + tail, 1.0 / rate)
    generator = np.random.default_rng(seed)
    pressure = np.interp(time - lead, t, p, left=AMBIENT, right=AMBIENT) + noise * p.max() * generator.normal(size=time.size)
    thrust = np.interp(time - lead, t, force, left=0.0, right=0.0) + noise * force.max() * generator.normal(size=time.size)
    return time, pressure, thrust


def write(folder: Path, columns: dict[str, np.ndarray], firing: str = FIRING, motor: str = MOTOR, separator: str = ","):
    """The three files of a firing; returns the reduction."""
    (folder / "motor.toml").write_text(motor)
    (folder / "firing.toml").write_text(firing)
    rows = zip(
        *([f"{value:.9g}" if np.isfinite(value) else "" for value in values] for values in columns.values()),
        strict=True,
    )
    lines = [separator.join(columns), *(separator.join(row) for row in rows)]
    (folder / "record.csv").write_text("\n".join(lines) + "\n")
    return reduce_firing(load_firing(folder / "firing.toml"))


def usual(time, pressure, thrust):
    return {"time_s": time, "p_bar": pressure / BAR, "load_kgf": thrust / KGF}


def about(reduction, subject: str) -> list[str]:
    """Texts of the cautions about a subject."""
    return [item.text for item in reduction.cautions if item.about == subject]


def near(value, expected, relative):
    assert value == pytest.approx(expected, rel=relative)


class TestFigures:
    def test_a_clean_record_gives_the_truth(self, tmp_path, truth):
        figures = truth[0]
        measured = write(tmp_path, usual(*sampled(truth))).measured
        for name in ("peak_pressure", "peak_thrust", "action_time", "pressure_integral", "total_impulse"):
            near(measured[name], figures[name][0], 2e-3)
        near(measured["burn_time"], figures["burn_time"][0], 5e-3)
        near(measured["mean_pressure"], figures["mean_pressure"][0], 5e-3)
        near(measured["mean_thrust"], figures["mean_thrust"][0], 5e-3)
        near(measured["thrust_coefficient"], figures["thrust_coefficient"][0], 2e-3)
        near(measured["specific_impulse"], figures["specific_impulse"][0], 2e-3)
        near(measured["characteristic_velocity"], 1480.0, 2e-3)
        assert measured["ignition_time"] == pytest.approx(0.6, abs=0.025)

    @pytest.mark.parametrize("noise", [0.003, 0.01])
    def test_noise_hardly_moves_them(self, tmp_path, truth, noise):
        figures = truth[0]
        measured = write(tmp_path, usual(*sampled(truth, noise=noise))).measured
        for name in ("peak_pressure", "pressure_integral", "total_impulse", "action_time"):
            near(measured[name], figures[name][0], max(2e-3, 0.6 * noise))
        # The highest sample alone is too high by three standard deviations and more.
        assert measured["highest_pressure_sample"] > (1.0 + 2.0 * noise) * figures["peak_pressure"][0]

    def test_units_and_headings_are_free(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        usual_way = write(tmp_path, usual(time, pressure, thrust)).measured
        firing = """schema = 1
motor = "motor.toml"
record = "record.csv"
[columns]
time = {name = "t [ms]", unit = "ms"}
pressure = {name = "P1 (psig)", unit = "psi", reference = "gauge"}
thrust = {name = "F", unit = "lbf"}
"""
        columns = {
            "t [ms]": 1e3 * time,
            "P1 (psig)": (pressure - AMBIENT) / 6894.757293168361,
            "F": thrust / 4.4482216152605,
        }
        other_way = write(tmp_path, columns, firing).measured
        for name, value in usual_way.items():
            near(other_way[name], value, 1e-6)

    def test_semicolons_and_decimal_commas(self, tmp_path, truth):
        columns = usual(*sampled(truth, rate=300.0))
        expected = write(tmp_path, columns).measured
        text = (tmp_path / "record.csv").read_text().replace(",", ";").replace(".", ",")
        (tmp_path / "record.csv").write_text("﻿# logger 7\n" + text, encoding="utf-8")
        assert reduce_firing(load_firing(tmp_path / "firing.toml")).measured == expected

    def test_pressure_alone_and_thrust_alone(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth)
        both = write(tmp_path, usual(time, pressure, thrust)).measured
        lines = FIRING.splitlines(keepends=True)
        only = write(tmp_path, {"time_s": time, "p_bar": pressure / BAR}, "".join(x for x in lines if not x.startswith("thrust")))
        assert only.measured["total_impulse"] is None and only.measured["thrust_coefficient"] is None
        near(only.measured["pressure_integral"], both["pressure_integral"], 1e-9)
        assert about(only, "no thrust")
        only = write(
            tmp_path,
            {"time_s": time, "load_kgf": thrust / KGF},
            "".join(x for x in lines if not x.startswith("pressure")),
        )
        assert only.measured["peak_pressure"] is None and only.measured["characteristic_velocity"] is None
        near(only.measured["total_impulse"], both["total_impulse"], 5e-3)
        assert about(only, "no pressure")

    def test_every_figure_is_defined_and_json_has_no_nan(self, tmp_path, truth):
        answer = write(tmp_path, usual(*sampled(truth))).as_json()
        text = json.dumps(answer, allow_nan=False)
        assert json.loads(text)["schema"] == 2
        named = " ".join([*DEFINITIONS, *DEFINITIONS.values()])
        undefined = [name for name in answer["measured"] if name not in named and name.removeprefix("final_") not in named]
        assert undefined == []
        assert set(answer["uncertainty"]) <= set(answer["measured"])

    def test_what_was_weighed_on_the_day_counts(self, tmp_path, truth):
        plain = write(tmp_path, usual(*sampled(truth)))
        mass = plain.measured["propellant_mass"]
        day = f'[measured]\npropellant_mass = "{1.1 * mass} kg"\nthroat_diameter_before = "14 mm"\n'
        day += 'ambient_pressure = "90 kPa"\n'
        other = write(tmp_path, usual(*sampled(truth)), FIRING + day)
        near(other.measured["specific_impulse"], plain.measured["specific_impulse"] / 1.1, 1e-5)
        assert about(other, "propellant mass")
        # The trace is zeroed to the air of the day, a little lower, and the throat is wider.
        assert other.measured["peak_pressure"] == pytest.approx(plain.measured["peak_pressure"] - (AMBIENT - 9e4), rel=1e-3)
        assert other.measured["thrust_coefficient"] < 0.96 * plain.measured["thrust_coefficient"]

    def test_a_motor_file_without_grains_still_gives_a_thrust_coefficient(self, tmp_path, truth):
        nozzle = "schema = 1\n" + MOTOR[MOTOR.index("[nozzle]") :]
        whole = write(tmp_path, usual(*sampled(truth))).measured
        part = write(tmp_path, usual(*sampled(truth)), motor=nozzle)
        near(part.measured["thrust_coefficient"], whole["thrust_coefficient"], 1e-12)
        assert part.measured["characteristic_velocity"] is None and part.measured["specific_impulse"] is None
        assert set(part.firing.lacking) == {"propellant", "grain"}


class TestWhatGoesWrong:
    def test_spikes_are_taken_out_and_counted(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.003)
        clean = write(tmp_path, usual(time, pressure, thrust)).measured
        generator = np.random.default_rng(5)
        spiked = pressure.copy()
        where = generator.choice(time.size, 150, replace=False)
        spiked[where] += generator.uniform(2e5, 20e5, where.size) * np.where(generator.random(where.size) < 0.8, 1.0, -1.0)
        reduction = write(tmp_path, usual(time, spiked, thrust))
        for name in ("peak_pressure", "pressure_integral", "action_time", "burn_time"):
            near(reduction.measured[name], clean[name], 6e-3)
        assert "samples" in about(reduction, "spikes")[0]
        found = np.flatnonzero(reduction.traces[0].spikes)
        assert len(set(found) & set(where)) > 0.9 * where.size
        assert len(set(found) - set(where)) < 0.005 * time.size

    @pytest.mark.parametrize("width", [3, 4, 8])
    def test_a_true_peak_is_not_clipped(self, tmp_path, truth, width):
        time, pressure, thrust = sampled(truth, rate=200.0, noise=0.002)
        start = int(np.argmax(pressure > 1e6)) + 1
        pressure[start : start + width] += 15e5
        expected = pressure[start : start + width].max()
        reduction = write(tmp_path, usual(time, pressure, thrust))
        near(reduction.measured["highest_pressure_sample"], expected, 1e-3)
        near(reduction.measured["peak_pressure"], expected, 1e-2)

    def test_the_first_sample_of_a_sharp_start_stays(self):
        values = np.concatenate([np.zeros(60), 50.0 * np.exp(-np.arange(200) / 60.0)]) + np.random.default_rng(3).normal(
            0, 0.1, 260
        )
        cleaned = traces.despike(values)
        assert not cleaned.spikes[58:64].any()

    def test_drift_is_said_and_covered(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        drifting = thrust + 20.0 * np.clip((time - 0.6) / 1.6, 0.0, 1.0)
        reduction = write(tmp_path, usual(time, pressure, drifting))
        assert "20.0" in about(reduction, "load drift")[0]
        error = abs(reduction.measured["total_impulse"] - truth[0]["total_impulse"][0])
        assert error < reduction.uncertainty["total_impulse"]

    def test_an_offset_is_taken_off(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        expected = write(tmp_path, usual(time, pressure, thrust)).measured
        reduction = write(tmp_path, usual(time, pressure + 2.5e5, thrust - 30.0))
        for name in ("peak_pressure", "total_impulse", "pressure_integral"):
            near(reduction.measured[name], expected[name], 1e-6)
        assert len(about(reduction, "offset")) == 2

    @pytest.mark.parametrize(("said", "shift"), [("absolute", -AMBIENT), ("gauge", 0.0)])
    def test_gauge_taken_for_absolute(self, tmp_path, truth, said, shift):
        time, pressure, thrust = sampled(truth, noise=0.002)
        expected = write(tmp_path, usual(time, pressure, thrust)).measured
        reduction = write(tmp_path, usual(time, pressure + shift, thrust), FIRING.replace('"absolute"', f'"{said}"'))
        assert said in about(reduction, "gauge or absolute")[0]
        near(reduction.measured["peak_pressure"], expected["peak_pressure"], 1e-6)

    def test_late_trigger(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        late = time > 0.75
        reduction = write(tmp_path, usual(time[late], pressure[late], thrust[late]))
        assert any("starts above 10 %" in text for text in about(reduction, "late trigger"))
        assert reduction.measured["pressure_integral"] < truth[0]["pressure_integral"][0]

    def test_record_cut_short_has_no_zero_after(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        early = time < 1.6
        reduction = write(tmp_path, usual(time[early], pressure[early], thrust[early]))
        assert about(reduction, "record cut short") and reduction.measured["burn_time"] is None

    def test_neither_start_nor_end(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        middle = (time > 0.65) & (time < 1.8)
        reduction = write(tmp_path, usual(time[middle], pressure[middle], thrust[middle]))
        assert len(about(reduction, "no zero")) == 2
        near(reduction.measured["peak_pressure"], truth[0]["peak_pressure"][0], 0.01)

    def test_clipping(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.004)
        level = 0.9 * pressure.max()
        reduction = write(tmp_path, usual(time, np.minimum(pressure, level), thrust))
        assert "lower bounds" in about(reduction, "clipped")[0]
        assert not about(write(tmp_path, usual(time, pressure, thrust)), "clipped")

    def test_a_clipped_transducer_leaves_the_word_to_the_other(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.004)
        other = sampled(truth, noise=0.004, seed=8)[1]
        columns = usual(time, np.minimum(pressure, 0.9 * pressure.max()), thrust) | {"p2": other / BAR}
        firing = FIRING.replace("thrust = {name", 'pressure_2 = {name = "p2", unit = "bar"}\nthrust = {name', 1)
        near(write(tmp_path, columns, firing).measured["peak_pressure"], truth[0]["peak_pressure"][0], 0.01)

    def test_transducers_disagree(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        firing = FIRING.replace("thrust = {name", 'pressure_2 = {name = "p2", unit = "bar"}\nthrust = {name', 1)
        blocked = np.where(time < 1.0, AMBIENT, pressure)
        reduction = write(tmp_path, usual(time, pressure, thrust) | {"p2": blocked / BAR}, firing)
        assert "blocked port" in about(reduction, "transducers disagree")[0]
        half = AMBIENT + 0.5 * (pressure - AMBIENT)
        reduction = write(tmp_path, usual(time, pressure, thrust) | {"p2": half / BAR}, firing)
        assert "no pressure figure" in about(reduction, "transducers disagree")[0]
        assert not about(write(tmp_path, usual(time, pressure, thrust) | {"p2": pressure / BAR}, firing), "transducers disagree")

    def test_gaps_blanks_repeats_and_a_clock_that_steps_back(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        expected = write(tmp_path, usual(time, pressure, thrust)).measured
        keep = (time < 1.2) | (time > 1.26)
        time, pressure, thrust = time[keep], pressure[keep].copy(), thrust[keep].copy()
        pressure[300:320] = np.nan
        order = np.arange(time.size)
        order[[700, 701]] = order[[701, 700]]
        order = np.insert(order, 900, 899)
        reduction = write(tmp_path, usual(time[order], pressure[order], thrust[order]))
        for subject in ("gaps", "blank cells", "clock ran backwards", "repeated times"):
            assert about(reduction, subject), subject
        for name in ("peak_pressure", "pressure_integral", "total_impulse", "action_time"):
            near(reduction.measured[name], expected[name], 3e-3)

    def test_a_load_cell_the_other_way_round(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        expected = write(tmp_path, usual(time, pressure, thrust)).measured
        reduction = write(tmp_path, usual(time, pressure, -thrust))
        near(reduction.measured["total_impulse"], expected["total_impulse"], 1e-6)
        assert about(reduction, "thrust sign")

    def test_negative_pressure(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        pressure[-300:-200] -= 4e5
        assert about(write(tmp_path, usual(time, pressure, thrust)), "negative pressure")

    def test_the_wrong_throat_is_noticed(self, tmp_path, truth):
        reduction = write(tmp_path, usual(*sampled(truth)), motor=MOTOR.replace("13.5 mm", "10 mm"))
        assert about(reduction, "thrust coefficient") and about(reduction, "characteristic velocity")

    def test_slow_tail_off_and_none_at_all(self, tmp_path):
        time = np.linspace(0.0, 6.0, 3000)
        triangle = 30e5 * np.clip(1.0 - np.abs(time - 3.0) / 2.5, 0.0, None) + AMBIENT
        reduction = write(tmp_path, usual(time, triangle, triangle / 1e4))
        assert reduction.measured["burn_time"] is None and "burn time" in {item.about for item in reduction.cautions}


class TestRefused:
    def refused(self, folder, columns, firing=FIRING):
        with pytest.raises(InputError) as caught:
            write(folder, columns, firing)
        return caught.value.problems[0]

    def test_a_column_that_is_not_there_names_those_that_are(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, rate=100.0)
        problem = self.refused(tmp_path, {"time_s": time, "p_bars": pressure, "load_kgf": thrust})
        assert problem.value == "p_bar" and "'p_bars'" in problem.fix and problem.file.endswith("record.csv")

    def test_words_where_numbers_belong(self, tmp_path, truth):
        write(tmp_path, usual(*sampled(truth, rate=100.0)))
        text = (tmp_path / "record.csv").read_text().splitlines()
        (tmp_path / "record.csv").write_text("\n".join([text[0], *(line.split(",")[0] + ",fast,1" for line in text[1:])]))
        with pytest.raises(InputError, match="not numbers"):
            reduce_firing(load_firing(tmp_path / "firing.toml"))

    def test_a_few_words_are_left_out(self, tmp_path, truth):
        expected = write(tmp_path, usual(*sampled(truth))).measured
        text = (tmp_path / "record.csv").read_text().splitlines()
        for i in (50, 700, 1200):
            text[i] = text[i].split(",")[0] + ",ERR,1"
        text[60] += ",9,9"
        (tmp_path / "record.csv").write_text("\n".join(text))
        reduction = reduce_firing(load_firing(tmp_path / "firing.toml"))
        assert "'ERR'" in about(reduction, "cells that are no number")[0] and about(reduction, "torn rows")
        near(reduction.measured["pressure_integral"], expected["pressure_integral"], 1e-3)

    def test_too_short_flat_or_without_a_burn(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth)
        assert "rows" in self.refused(tmp_path, usual(time[:9], pressure[:9], thrust[:9])).problem
        assert "the same" in self.refused(tmp_path, usual(time, 0 * pressure, thrust)).problem
        quiet = np.random.default_rng(1).normal(1e5, 1e3, time.size)
        assert "no burn" in self.refused(tmp_path, usual(time, quiet, thrust)).problem

    def test_a_clock_that_is_none(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth)
        assert (
            "back and forth" in self.refused(tmp_path, usual(np.random.default_rng(1).permutation(time), pressure, thrust)).problem
        )

    def test_binary_and_no_record(self, tmp_path, truth):
        write(tmp_path, usual(*sampled(truth)))
        (tmp_path / "record.csv").write_bytes(bytes(range(256)) * 40)
        with pytest.raises(InputError):
            reduce_firing(load_firing(tmp_path / "firing.toml"))
        (tmp_path / "f.toml").write_text('schema = 1\nmotor = "motor.toml"\n[observed]\nend = "aft"\n')
        with pytest.raises(InputError, match="names no record"):
            reduce_firing(load_firing(tmp_path / "f.toml"))


class TestUncertainty:
    @pytest.mark.slow
    def test_stated_uncertainties_are_kept(self, tmp_path, truth):
        """Instruments that err within their accuracy, noise that wanders, an offset: 60 firings, 19 in 20 inside."""
        figures, inside = (
            truth[0],
            {"pressure_integral": 0, "total_impulse": 0, "peak_pressure": 0, "characteristic_velocity": 0},
        )
        expected = {**{name: figures[name][0] for name in list(inside)[:3]}, "characteristic_velocity": 1480.0}
        repeats = 60
        for seed in range(repeats):
            generator = np.random.default_rng(100 + seed)
            time, pressure, thrust = sampled(truth, rate=400.0, noise=0.004, seed=seed)
            span = generator.uniform(-1.0, 1.0, 2)
            pressure = AMBIENT + (pressure - AMBIENT) * (1.0 + 0.005 * 1e7 / 3e6 * span[0]) + generator.uniform(-3e4, 3e4)
            thrust = thrust * (1.0 + 0.005 * 100.0 * KGF / 600.0 * span[1])
            reduction = write(tmp_path, usual(time, pressure, thrust))
            for name in inside:
                inside[name] += abs(reduction.measured[name] - expected[name]) <= reduction.uncertainty[name]
        assert min(inside.values()) >= 0.9 * repeats, inside
        # Not by being wide: about the accuracy of the instruments and no more.
        assert reduction.uncertainty["pressure_integral"] < 0.03 * expected["pressure_integral"]
        assert reduction.uncertainty["total_impulse"] < 0.015 * expected["total_impulse"]

    def test_no_instruments_no_claim(self, tmp_path, truth):
        reduction = write(tmp_path, usual(*sampled(truth)), FIRING[: FIRING.index("[instruments]")])
        assert about(reduction, "pressure instrument") and about(reduction, "thrust instrument")


class TestThroat:
    def test_growth_is_seen_in_thrust_over_pressure(self, tmp_path, truth):
        time, pressure, thrust = sampled(truth, noise=0.002)
        share = np.clip((time - 0.6) / truth[1][-1], 0.0, 1.0)
        reduction = write(tmp_path, usual(time, pressure, thrust * (1.0 + 0.06 * share) ** 2))
        assert reduction.measured["final_throat_diameter"] == pytest.approx(13.5e-3 * 1.052, rel=0.01)
        assert "opened" in about(reduction, "throat")[0]
        assert not about(write(tmp_path, usual(time, pressure, thrust)), "throat")

    def test_a_throat_measured_after_the_firing_goes_into_c_star(self, tmp_path, truth):
        plain = write(tmp_path, usual(*sampled(truth))).measured["characteristic_velocity"]
        worn = write(tmp_path, usual(*sampled(truth)), FIRING + '[measured]\nthroat_diameter_after = "14.5 mm"\n')
        # Half of the growth counts on average: (1 + 0.074/2)² - 1 = 7.5 %.
        assert worn.measured["characteristic_velocity"] / plain == pytest.approx(1.075, abs=0.01)


class TestTraces:
    @given(st.floats(-50.0, 50.0), st.floats(0.2, 5.0))
    @settings(max_examples=25, deadline=None)
    def test_a_shifted_clock_and_a_scaled_trace(self, shift, scale):
        time = np.linspace(0.0, 3.0, 600)
        values = np.where((time > 0.5) & (time < 2.4), 30.0 + 8.0 * np.sin(time), 0.0)
        start, stop, seen = traces.crossings(time, values, 3.0)
        assert seen.all()
        moved = traces.crossings(time + shift, scale * values, 3.0 * scale)
        assert moved[0] - shift == pytest.approx(start, abs=1e-9) and moved[1] - shift == pytest.approx(stop, abs=1e-9)
        whole = traces.integral(time, values, start, stop)
        assert traces.integral(time + shift, scale * values, *moved[:2]) == pytest.approx(scale * whole, rel=1e-9)

    @given(st.lists(st.floats(0.001, 0.02), min_size=50, max_size=120))
    @settings(max_examples=25, deadline=None)
    def test_a_straight_line_stays_under_smoothing_and_integrates_exactly(self, steps):
        time = np.cumsum(steps)
        line = 3.0 + 2.0 * time
        assert traces.smooth(time, line, 0.1) == pytest.approx(line, rel=1e-6)
        a, b = time[5], time[-5]
        assert traces.integral(time, line, a, b) == pytest.approx(3.0 * (b - a) + (b * b - a * a), rel=1e-9)

    def test_noise_is_measured_under_a_moving_signal(self):
        generator = np.random.default_rng(4)
        signal = 40.0 * np.sin(np.linspace(0.0, 3.0, 4000))
        assert traces.noise_of(signal + generator.normal(0.0, 0.5, 4000)) == pytest.approx(0.5, rel=0.05)

    def test_wander(self):
        white = np.random.default_rng(2).normal(size=4000)
        assert traces.wander(white) == pytest.approx(1.0, abs=0.1)
        slow = np.empty(4000)
        slow[0] = 0.0
        for i in range(1, 4000):
            slow[i] = 0.9 * slow[i - 1] + white[i]
        # (1 + rho)/(1 - rho) = 19 for an autoregression of 0.9.
        assert traces.wander(slow) == pytest.approx(math.sqrt(19.0), rel=0.15)

    @pytest.mark.parametrize("fall", [0.002, 0.02, 0.2])
    def test_the_end_of_burning(self, fall):
        """A plateau and an exponential fall: the tangent bisector lies at the corner, within a part of the fall."""
        time = np.linspace(0.0, 4.0, 4000)
        burning = np.where(time < 2.5, 40.0, 40.0 * np.exp(-(np.clip(time - 2.5, 0, None)) / fall))
        values = np.where(time < 0.5, 0.0, burning)
        start, stop, _ = traces.crossings(time, values, 4.0)
        width = traces.knee_width(time, values, start, stop, 0.0)
        assert traces.tail_off(time, values, start, stop, 0.0, width).time == pytest.approx(2.5, abs=0.01 + 0.4 * fall)


class TestWhereItWasTaken:
    """A reading at the head end has the port's drop in it, and says so."""

    NARROW = MOTOR.replace('"18 mm"', '"16 mm"')

    @pytest.fixture
    def narrow(self, tmp_path_factory):
        from optimizer.inputs import load_motor

        folder = tmp_path_factory.mktemp("narrow")
        (folder / "motor.toml").write_text(self.NARROW)
        curve = kernel.evaluate(load_motor(folder / "motor.toml").motors, curve=True).curve
        known = np.isfinite(curve.time[0])
        return curve.time[0][known], curve.head_pressure[0][known], curve.chamber_pressure[0][known], curve.thrust[0][known]

    def reduced(self, folder, narrow, place):
        t, head, chamber, force = narrow
        said = FIRING.replace('reference = "absolute"', f'reference = "absolute"{place}')
        return write(folder, usual(*sampled((None, t, head, force), noise=0.002)), said, self.NARROW), chamber

    def test_the_drop_is_not_read_as_a_worn_throat(self, tmp_path, narrow):
        assert np.max(narrow[1] / narrow[2]) > 1.05, "a port narrow enough to matter"
        reduction, chamber = self.reduced(tmp_path, narrow, ', place = "head"')
        assert not about(reduction, "throat") and not about(reduction, "where the transducer sits")
        near(reduction.measured["final_throat_diameter"], 13.5e-3, 2e-3)
        near(reduction.measured["peak_pressure"], np.max(chamber), 5e-3)
        near(reduction.measured["peak_head_pressure"], np.max(narrow[1]), 5e-3)

    def test_without_a_place_the_drop_is_in_the_doubt_and_no_throat_is_said_to_wear(self, tmp_path, narrow):
        reduction, _ = self.reduced(tmp_path, narrow, "")
        assert not about(reduction, "throat")
        moved = abs(reduction.measured["final_throat_diameter"] - 13.5e-3)
        assert reduction.uncertainty["final_throat_diameter"] > 0.5 * moved

    def test_a_throat_measured_after_the_firing_is_used(self, tmp_path, narrow):
        t, head, _, force = narrow
        said = FIRING + '[measured]\nthroat_diameter_after = "15 mm"\n'
        reduction = write(tmp_path, usual(*sampled((None, t, head, force))), said, self.NARROW)
        assert reduction.measured["final_throat_diameter"] == 15e-3
        assert "measured 15.00 mm" in about(reduction, "throat")[0]
        plain, _ = self.reduced(tmp_path, narrow, "")
        ratio = plain.measured["thrust_coefficient"] / reduction.measured["thrust_coefficient"]
        assert 1.0 < ratio < (15.0 / 13.5) ** 2  # the mean area lies between the two


def test_a_long_burn_leaves_its_quiet_stretch(tmp_path, truth):
    """A tenth of a second before a burn of many seconds is quiet, and is used."""
    figures, t, p, force = truth
    slow = (figures, 8.0 * t, p, (4.6 / 13.5) ** 2 * force)
    time, pressure, thrust = sampled(slow, rate=200.0, lead=0.3, tail=1.5, noise=0.002)
    motor = changed(MOTOR, ('"8 mm/s"', '"1 mm/s"'), ('"13.5 mm"', '"4.6 mm"'))
    reduction = write(tmp_path, usual(time, pressure, thrust), motor=motor)
    assert not about(reduction, "no zero") and not about(reduction, "late trigger")
