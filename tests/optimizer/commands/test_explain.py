"""A failed firing: the evidence must move the ranking the way a person who looks at the pieces would."""

import json
import math

import numpy as np
import pytest
from scenario import AFT, CASE, FORWARD, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, SEAL, changed, named

from optimizer.commands.explain import _Strength, explain
from optimizer.firings.signatures import PLACES, PLAIN, TRAILS
from optimizer.inputs import FINDINGS, InputError, load_firing
from physics.assessment import Assessment, assess
from physics.failure.ladder import ADVICE, MODES

MOTOR = "".join(
    (
        named("Invented"),
        PROPELLANT,
        changed(RATE, ("9 MPa", "12 MPa"), ("6.5 mm/s", "14 mm/s"), ("0.33", "0.35")),
        changed(GRAINS, ("18 mm", "20 mm")),
        NOZZLE,
        CASE,
        LINER,
        changed(FORWARD, ("count = 8", "count = 4")),
        SEAL,
        AFT,
        '[tolerances]\nthroat_diameter = {plus_minus = "0.05 mm"}\nrate = {standard_deviation = "3 %"}\n',
    )
)


ASSESSED: dict[tuple[str, str], Assessment] = {}
"""What motors come to, by their text: most explanations here are of one motor."""


@pytest.fixture()
def explained(tmp_path, monkeypatch):
    """An explanation from the lines under [observed]."""

    def make(observed, motor=MOTOR, head="", **options):
        def once(motors, kernel="steady", curve=False):
            key = (motor, kernel)
            if key not in ASSESSED:
                ASSESSED[key] = assess(motors, kernel=kernel, curve=curve)
            return ASSESSED[key]

        monkeypatch.setattr("optimizer.commands.explain.assess", once)
        (tmp_path / "motor.toml").write_text(motor)
        (tmp_path / "f.toml").write_text(f'schema = 1\nmotor = "motor.toml"\n{head}[observed]\n{observed}')
        return explain(load_firing(tmp_path / "f.toml"), **options)

    return make


def shares(explanation):
    """Share of likelihood by "mode, part", over candidates and what was ruled out."""
    return {f"{item.mode}, {item.part}": item.likelihood for item in (*explanation.candidates, *explanation.ruled_out)}


SHEARED = 'found = ["closure gone", "screws sheared"]\n'


class TestRanking:
    def test_screws_sheared_at_the_forward_end(self, explained):
        explanation = explained('time_of_failure = "0.4 s"\nend = "forward"\n' + SHEARED)
        first = explanation.candidates[0]
        assert (first.mode, first.part) == ("screw shear", "forward closure") and first.likelihood > 0.7
        assert any("screws sheared" in text for text in first.reasons_for)
        assert any("forward end" in text for text in first.reasons_for)
        assert first.would_tell and explanation.next_step

    def test_the_end_matters(self, explained):
        forward, aft = (shares(explained(f'end = "{end}"\n' + SHEARED)) for end in ("forward", "aft"))
        name = "screw shear, aft closure"
        assert aft[name] > 10.0 * forward[name]

    def test_the_finding_matters(self, explained):
        thin = MOTOR.replace('"3.2 mm"', '"1 mm"').replace("count = 4\nedge", "count = 12\nedge")
        split = explained('pressure = "10 MPa"\nend = "middle"\nfound = ["case split along the length"]\n', thin)
        assert split.candidates[0].part == "case" and "case burst" in {item.mode for item in split.candidates[:2]}
        leak = explained('time_of_failure = "0.5 s"\nend = "forward"\nfound = ["seal leak"]\n')
        assert leak.candidates[0].mode == "seal extrusion"

    def test_the_pressure_matters(self, explained):
        """The same wreck at a third of the pressure: the weakest rung is far from it, and other causes gain."""
        high = explained('pressure = "7 MPa"\nend = "forward"\n' + SHEARED)
        low = explained('pressure = "2.5 MPa"\nend = "forward"\n' + SHEARED)
        assert low.elsewhere > 3.0 * high.elsewhere
        assert "a sound part would have held" in {item.about for item in low.cautions}
        assert "a sound part would have held" not in {item.about for item in high.cautions}

    def test_the_time_matters_for_heat(self, explained):
        found = 'end = "middle"\nfound = ["hot spot", "burn-through"]\n'
        late = shares(explained('time_of_failure = "1.2 s"\n' + found))
        early = shares(explained('time_of_failure = "0.05 s"\n' + found))
        assert late["liner burn-through, liner"] > 0.5 > early.get("liner burn-through, liner", 0.0)

    @pytest.mark.slow
    def test_weaker_screws_gain(self, explained):
        line = 'pressure = "7 MPa"\nfound = ["closure gone"]\n'
        few, many = explained(line), explained(line, MOTOR.replace("count = 4\nedge", "count = 12\nedge"))
        name = "screw shear, forward closure"
        assert shares(few)[name] > shares(many)[name]

    def test_shares_are_shares(self, explained):
        explanation = explained('time_of_failure = "0.4 s"\nend = "forward"\n' + SHEARED)
        assert sum(shares(explanation).values()) + explanation.elsewhere == pytest.approx(1.0)
        ranked = [item.likelihood for item in explanation.candidates]
        assert ranked == sorted(ranked, reverse=True) and all(share >= 0.01 for share in ranked)
        assert all(item.likelihood < 0.01 and item.why for item in explanation.ruled_out)

    def test_nothing_but_a_time(self, explained):
        explanation = explained('time_of_failure = "0.4 s"\n')
        assert explanation.candidates and explanation.pressure.source.startswith("predicted at the time")

    def test_an_early_wreck_with_unknown_time_uses_the_peak(self, explained):
        explanation = explained(SHEARED)
        assert "predicted peak" in explanation.pressure.source and not explanation.pressure.reached
        assert explanation.candidates[0].mode == "screw shear"

    def test_a_part_that_goes_at_once_is_weighed_like_the_others(self, explained):
        bare = MOTOR.replace('thickness = "1.6 mm"', 'thickness = "0 mm"')
        explanation = explained('time_of_failure = "0.4 s"\nend = "middle"\nfound = ["burn-through"]\n', bare)
        assert sum(shares(explanation).values()) + explanation.elsewhere == pytest.approx(1.0)
        assert "case yield hot, case" in shares(explanation)  # without a liner it is put at no pressure at all

    def test_no_damage_rules_out_the_violent(self, explained):
        assert shares(explained('pressure = "3 MPa"\nfound = ["no damage"]\n')).get("case burst, case", 0.0) < 0.01


class TestHeatAndSurvival:
    """Heat is one-sided, and a rung that was passed says nothing against the others."""

    GAP = changed(MOTOR, ('thickness = "1.6 mm"', 'thickness = "1.6 mm"\ngap = "40 mm"'), ("count = 4\nedge", "count = 8\nedge"))

    @pytest.mark.slow
    @pytest.mark.parametrize("found", ['"closure gone"', '"closure gone", "hot spot"', '"closure gone", "liner gone"'])
    @pytest.mark.parametrize("time", ["1.1 s", "1.5 s"])
    def test_a_gap_at_the_failed_end_is_put_first(self, explained, found, time):
        """The case is soft there early, and gone at any time after; the screws stand at twice the pressure."""
        explanation = explained(f'time_of_failure = "{time}"\nend = "aft"\nfound = [{found}]\n', self.GAP)
        first = explanation.candidates[0]
        assert first.mode == "case softening" and first.time < 1.1

    @pytest.mark.parametrize(("position", "end"), [("15 mm", "forward"), ("160 mm", "middle"), ("320 mm", "aft")])
    def test_a_place_tells_the_end_where_nobody_did(self, explained, position, end):
        line = f'time_of_failure = "0.9 s"\nat = [{{found = "burn-through", position = "{position}", clock = 3}}]\n'
        explanation = explained(line, self.GAP)
        assert explanation.end == end and explanation.found == ("burn-through",)
        heat = sum(
            share for name, share in shares(explanation).items() if name.startswith(("case softening", "liner", "case yield hot"))
        )
        if end == "forward":  # 15 mm from the end the seal lies as well, and a leak burns through there too
            assert heat > shares(explanation)["seal extrusion, forward closure"]
        else:
            assert explanation.candidates[0].mode == "case softening" and heat > 0.5

    @pytest.mark.parametrize(
        ("place", "position"),
        [
            ("forward end", "25 mm"),
            pytest.param("joint", "115 mm", marks=pytest.mark.slow),
            pytest.param("aft end", "266 mm", marks=pytest.mark.slow),
        ],
    )
    def test_a_gap_of_two_millimetres_that_gas_passes_is_put_first(self, explained, place, position):
        """Burned through where gas runs behind the liner; a still gap of that width warms by some tens of kelvin alone."""
        line = 'time_of_failure = "0.9 s"\nat = [{{found = "burn-through", position = "{}", clock = 3}}]\n'
        still = changed(
            MOTOR, ('thickness = "1.6 mm"', f'thickness = "1.6 mm"\n[[liner.gap]]\nplace = "{place}"\nwidth = "2 mm"'),
            ("count = 4\nedge", "count = 8\nedge"),
        )  # fmt: skip
        flows = changed(still, ('width = "2 mm"', 'width = "2 mm"\nflow = true'))
        explanation = explained(line.format(position), flows)
        assert explanation.candidates[0].mode == "case softening"
        assert shares(explanation)["case softening, case"] > 0.6
        assert shares(explained(line.format(position), still)).get("case softening, case", 0.0) < 0.1

    def test_sheared_screws_are_still_sheared_screws(self, explained):
        explanation = explained('time_of_failure = "0.9 s"\nend = "forward"\n' + SHEARED, self.GAP)
        assert explanation.candidates[0].mode == "screw shear"

    @pytest.mark.slow
    def test_a_wall_that_is_through_early_loses_nothing_by_waiting(self, explained):
        line = 'time_of_failure = "{}"\nend = "middle"\nfound = ["hot spot", "burn-through"]\n'
        thin = MOTOR.replace('thickness = "1.6 mm"', 'thickness = "0.4 mm"')
        shared = [shares(explained(line.format(time), thin))["liner burn-through, liner"] for time in ("0.6 s", "1.0 s", "1.6 s")]
        assert min(shared) > 0.5

    @pytest.mark.slow
    def test_one_low_rung_takes_nothing_from_the_others(self, explained):
        """Screws that the file makes four times too weak: the case that split at 30 MPa is still found."""
        line = 'pressure = "30 MPa"\nend = "middle"\nfound = ["case split along the length", "case bulged"]\n'
        sound, low = (explained(line, MOTOR.replace("count = 4\nedge", f"count = {count}\nedge")) for count in (24, 4))
        name = "case burst, case"
        assert shares(low)[name] > 0.05 and shares(low)[name] > 0.5 * shares(sound)[name]
        assert low.elsewhere < 0.3


class TestDeparture:
    """Why the recorded pressure is not the predicted one, before any part is blamed."""

    def recorded(self, explained, folder, factor):
        predicted = explained('time_of_failure = "0.6 s"\n').predicted
        time = np.arange(0.0, 0.6, 1.0 / 400.0)
        pressure = factor * np.interp(time, predicted.time, predicted.pressure)
        TestRecord().write(folder, np.repeat(np.concatenate([np.full(100, 101325.0), pressure, np.full(100, 101325.0)]), 1))
        head = TestRecord.HEAD.replace("gauge", "absolute").replace('unit = "MPa"', 'unit = "MPa", place = "head"')
        return explained('time_of_failure = "0.6 s"\nend = "forward"\n' + SHEARED, head=head)

    @pytest.mark.parametrize("factor", [1.4, 0.6])
    def test_area_and_throat_come_from_the_equilibrium(self, explained, tmp_path, factor):
        departure = self.recorded(explained, tmp_path, factor).departure
        # p ∝ (area/throat)^(1/(1 − n)): the equilibrium of Saint-Robert's law, any textbook of rocket propulsion.
        assert departure.burning_area ** (1.0 / (1.0 - 0.35)) == pytest.approx(departure.ratio)
        assert departure.throat_area ** (-1.0 / (1.0 - 0.35)) == pytest.approx(departure.ratio)
        assert departure.ratio == pytest.approx(factor, rel=0.1)

    def test_it_is_said_first(self, explained, tmp_path):
        high = self.recorded(explained, tmp_path, 1.4)
        assert high.cautions[0].about == "why the pressure rose" and "one grain cracked" in high.cautions[0].text
        assert self.recorded(explained, tmp_path, 1.0).departure is None

    def test_pressure_and_part_are_weighed(self, explained):
        weak = explained('pressure = "2.5 MPa"\nend = "forward"\n' + SHEARED).pressure_or_part
        assert weak["part"] > 0.9 and sum(weak.values()) == pytest.approx(1.0)
        strong = MOTOR.replace("count = 4\nedge", "count = 10\nedge")
        unknown = explained('time_of_failure = "0.5 s"\nend = "forward"\n' + SHEARED, strong).pressure_or_part
        assert unknown["pressure"] > 0.5 > unknown["part"]


class TestHonesty:
    def test_no_certainty_is_claimed(self, explained):
        explanation = explained('pressure = "7 MPa"\nend = "forward"\n' + SHEARED)
        assert explanation.candidates[0].likelihood < 1.0 and explanation.elsewhere > 0.0
        text = next(item.text for item in explanation.cautions if item.about == "no certainty")
        assert "not a finding" in text and "live" in text
        assert any("judgement" in item for item in explanation.assumptions)

    def test_what_was_not_assessed_is_named_and_whether_it_would_fit(self, explained):
        explanation = explained('end = "forward"\nfound = ["closure gone"]\n')
        missing = {(mode, part): fits for mode, part, _, fits in explanation.not_assessed}
        assert missing["tear-out of ring", "forward closure"] is True
        assert missing["grain support", "grains"] is False

    def test_a_close_call_is_said(self, explained):
        same = MOTOR.replace("count = 4\nedge", "count = 8\nedge")
        explanation = explained('pressure = "9 MPa"\nfound = ["screws sheared"]\n', same)
        assert "close call" in {item.about for item in explanation.cautions}
        assert "Which end" in explanation.next_step

    def test_json(self, explained):
        answer = explained('time_of_failure = "0.4 s"\nend = "forward"\n' + SHEARED).as_json()
        json.dumps(answer, allow_nan=False)
        assert {"mode", "part", "likelihood", "for", "against", "would_tell"} <= set(answer["candidates"][0])
        assert {"mode", "why"} <= set(answer["ruled_out"][0])

    def test_imperial(self, explained):
        texts = explained('time_of_failure = "0.4 s"\n' + SHEARED, units="imperial").candidates[0]
        assert "psi" in " ".join((*texts.reasons_for, *texts.reasons_against))


class TestRecord:
    HEAD = """record = "r.csv"
[columns]
time = {name = "t", unit = "s"}
pressure = {name = "p", unit = "MPa", reference = "gauge"}
"""

    def write(self, folder, pressure):
        time = np.arange(pressure.size) / 200.0
        np.savetxt(
            folder / "r.csv",
            np.column_stack([time, pressure / 1e6]),
            delimiter=",",
            header="t,p",
            comments="",
            fmt="%.6g",
        )

    def test_the_pressure_is_read_off_the_record_after_ignition(self, explained, tmp_path):
        rising = np.concatenate([np.zeros(200), np.linspace(1e6, 8e6, 120), np.linspace(8e6, 0.0, 4), np.zeros(200)])
        self.write(tmp_path, rising)
        explanation = explained(f'time_of_failure = "{119 / 200} s"\n{SHEARED}', head=self.HEAD)
        assert explanation.pressure.source.startswith("on the record") and not explanation.pressure.abnormal
        assert explanation.pressure.value == pytest.approx(8.1e6, rel=0.02)
        assert explained(SHEARED, head=self.HEAD).pressure.source == "highest on the record"

    def test_a_fall_before_the_failure_speaks_against_pressure(self, explained, tmp_path):
        hump = np.concatenate([np.zeros(200), np.full(100, 8e6), np.full(200, 5e6), np.zeros(100)])
        self.write(tmp_path, hump)
        explanation = explained(f'time_of_failure = "1.4 s"\n{SHEARED}', head=self.HEAD)
        assert explanation.pressure.fallen
        first = next(item for item in explanation.candidates if item.mode == "screw shear")
        assert any("had been higher before" in text for text in first.reasons_against)

    def test_the_history_starts_at_ignition_and_ends_at_the_failure(self, explained, tmp_path):
        rising = np.concatenate([np.zeros(200), np.linspace(1e6, 8e6, 120), np.linspace(8e6, 0.0, 4), np.zeros(200)])
        self.write(tmp_path, rising)
        shown = explained(f'time_of_failure = "0.4 s"\n{SHEARED}', head=self.HEAD)
        time, pressure = shown.recorded.time, shown.recorded.pressure
        # Ignition is the first sample over 10 % of the peak, here the first of the rise.
        assert shown.moment == 0.4 and time[-1] == pytest.approx(0.4, abs=0.006) and time[0] < 0.0
        slope = 7e6 / (119 / 200)
        assert np.interp(0.2, time, pressure) == pytest.approx(101325.0 + 1e6 + 0.2 * slope, rel=0.02)
        assert shown.predicted.time[-1] <= 0.4
        # Where no time is known, the moment is that of the reading taken for the failure.
        highest = explained(SHEARED, head=self.HEAD)
        assert highest.moment == pytest.approx(119 / 200, abs=0.01) and highest.pressure.value == pytest.approx(8.1e6, rel=0.02)

    def test_a_pressure_written_down_leaves_the_record_to_be_shown(self, explained, tmp_path):
        self.write(tmp_path, np.concatenate([np.zeros(200), np.full(100, 8e6), np.zeros(100)]))
        shown = explained(f'pressure = "9 MPa"\n{SHEARED}', head=self.HEAD)
        assert shown.pressure.source == "as observed" and np.max(shown.recorded.pressure) == pytest.approx(8.1e6, rel=0.01)


class TestShown:
    """What the page and the terminal take beyond the JSON."""

    LINE = 'time_of_failure = "0.4 s"\nend = "forward"\n' + SHEARED

    def test_bands_hold_the_ladder_s_figure_and_widen_with_the_tolerances(self, explained):
        first = explained(self.LINE).candidates[0]
        low, high = first.band
        assert low < 1.1 * first.pressure < high  # the median of screws lies a tenth over their specification
        loose = explained(self.LINE, MOTOR + 'screw_strength = {standard_deviation = "20 %"}\n')
        wide = next(item for item in loose.candidates if (item.mode, item.part) == (first.mode, first.part)).band
        assert wide[1] / wide[0] > 1.2 * high / low

    def test_a_recorded_pressure_is_known_closer_than_a_predicted_one(self, explained):
        for pressure, most in (('pressure = "7 MPa"\n', 1.25), ("", 3.0)):
            shown = explained(pressure + self.LINE)
            low, high = shown.plausible
            assert low < shown.pressure.value < high < most * shown.pressure.value
        assert high > 1.5 * shown.pressure.value, "an abnormal pressure is in the range of a predicted one"

    def test_reasons_in_short_say_nothing_twice_and_leave_nothing_out(self, explained):
        shown = explained(self.LINE)
        first = shown.candidates[0]
        assert shown.in_short(first.reasons_for)[0] == "it brings about: closure gone, screws sheared"
        every = [*first.reasons_for, *first.reasons_against]
        short = " ".join(shown.in_short(every))
        assert shown.pressure_words in " ".join(every) and shown.pressure_words not in short
        for reason in every:
            assert reason.replace(f" ({shown.pressure_words})", "").rpartition(": ")[2] in short

    def test_what_was_ruled_out_knows_on_what_ground_and_at_what_level(self, explained):
        out = {(item.mode, item.part): item for item in explained(self.LINE).ruled_out}
        burst, liner = out["case burst", "case"], out["liner burn-through", "liner"]
        assert burst.ground == "physics" and burst.pressure > 1e7 and burst.time is None
        assert liner.ground == "physics" and liner.time > 0.4 and liner.pressure is None
        hot = explained('pressure = "7 MPa"\nend = "middle"\nfound = ["hot spot", "burn-through"]\n')
        sheared = next(item for item in hot.ruled_out if (item.mode, item.part) == ("screw shear", "aft closure"))
        assert sheared.ground == "findings" and set(sheared.absent) == {"screws sheared", "closure gone"}
        assert all(name in sheared.why for name in sheared.absent)

    def test_the_json_carries_none_of_it(self, explained):
        answer = explained(self.LINE).as_json()
        assert set(answer) == {
            "schema", "firing", "pressure_at_failure", "time_of_failure", "departure", "pressure_or_part",
            "candidates", "ruled_out", "not_assessed",
            "not_on_the_ladder", "next_step", "cautions", "assumptions",
        }  # fmt: skip
        candidate = {"mode", "part", "likelihood", "for", "against", "would_tell", "pressure", "time"}
        assert set(answer["candidates"][0]) == candidate
        assert set(answer["ruled_out"][0]) == {"mode", "part", "likelihood", "why"}


class TestRefused:
    def test_nothing_observed(self, tmp_path):
        (tmp_path / "motor.toml").write_text(MOTOR)
        np.savetxt(tmp_path / "r.csv", np.ones((3, 2)), delimiter=",", header="t,p", comments="")
        (tmp_path / "f.toml").write_text(f'schema = 1\nmotor = "motor.toml"\n{TestRecord.HEAD}')
        with pytest.raises(InputError, match="observed"):
            explain(load_firing(tmp_path / "f.toml"))

    def test_a_motor_without_grains(self, explained):
        start, stop = MOTOR.index("[[grain]]"), MOTOR.index("[nozzle]")
        with pytest.raises(InputError, match=r"lacks \[grain\]"):
            explained(SHEARED, MOTOR[:start] + MOTOR[stop:])


class TestTables:
    def test_every_rung_has_a_row_and_every_row_a_rung(self):
        assert set(TRAILS) == {mode.mode for mode in MODES if mode.kind != ADVICE}

    def test_every_finding_is_brought_about_by_something(self):
        found = {name for trail in TRAILS.values() for name, chance in trail.found.items() if chance >= 0.2}
        assert set(FINDINGS) - found == {"no damage"}
        assert {name for trail in TRAILS.values() for name in trail.found} <= set(FINDINGS)

    def test_chances_are_chances(self):
        assert all(0.0 < chance < 1.0 for trail in TRAILS.values() for chance in trail.found.values())
        assert all(trail.tell for trail in (*TRAILS.values(), PLAIN))
        for places in PLACES.values():
            assert sum(places.values()) == pytest.approx(1.0)
        assert {mode.part for mode in MODES} - {"closure"} <= set(PLACES)

    def test_a_mode_without_a_row_is_still_weighed(self, explained, monkeypatch):
        monkeypatch.delitem(TRAILS, "screw shear")
        explanation = explained('pressure = "7 MPa"\nend = "forward"\nfound = ["closure gone"]\n')
        assert "screw shear, forward closure" in shares(explanation)


class TestStrength:
    def test_density_and_chance_belong_together(self):
        strength = _Strength(10e6, 0.1)
        grid = np.linspace(math.log(1e6), math.log(3e7), 40001)
        summed = np.cumsum(strength.density(grid)) * (grid[1] - grid[0])
        assert summed == pytest.approx(strength.gone(grid), abs=2e-3)
        assert strength.gone(np.array(math.log(1e9))) == pytest.approx(1.0)
        # Half of the sound parts have gone by the median, and all the faulty ones.
        assert strength.gone(np.array(math.log(10e6))) == pytest.approx(0.95 * 0.5 + 0.05)

    @pytest.mark.parametrize("sigma", [0.02, 0.1, 0.6])
    def test_a_percentile_is_where_that_share_has_gone(self, sigma):
        strength = _Strength(10e6, sigma)
        for share in (0.01, 0.05, 0.5, 0.95):
            assert strength.gone(np.array(math.log(strength.at(share)))) == pytest.approx(share, abs=1e-9)
        # Faulty parts reach further down than sound ones scatter, and no further up.
        assert strength.at(0.05) < 10e6 * math.exp(-1.645 * sigma) and strength.at(0.95) < 10e6 * math.exp(1.645 * sigma)
