"""Tolerances in, percentiles and chances out: against closed forms, a reference library and the kernel itself."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from SALib.analyze import sobol as salib_analyze
from SALib.sample import sobol as salib_sample
from scipy import stats

from optimizer.candidates.samples import (
    Chance,
    Outcome,
    deviation,
    deviations_at,
    distribution,
    model,
    robust_columns,
    sample_points,
    scattered,
    tolerance_name,
    unit_points,
)
from optimizer.commands import spread as spreads
from optimizer.commands.spread import spread
from optimizer.problems import InputError
from physics.ballistics.kernel import FIGURES, evaluate, maximum_expected_pressure
from physics.failure import chances
from physics.failure.chances import certainty_of, median_of
from physics.failure.evidence import Evidence
from physics.failure.ladder import assess_ladder
from physics.failure.proof import GAUGE_ERROR, plugged_motor
from physics.failure.scatter import Certainty
from physics.materials import material
from physics.motors import Ambient, Case, Closure, Grains, Liner, Motors, Nozzle, Propellant, Rung, Screws, Tolerance

EXPONENT = 0.33
SIGMA = 0.03


def one(value):
    return np.array([float(value)])


def row(*values):
    return np.array([values], dtype=float)


def motor(tolerances=None, **changes):
    propellant = Propellant(
        one(1700),
        one(1480),
        one(1.21),
        one(0.024),
        row(7e5),
        row(9e6),
        row(6.5e-3),
        row(5e6),
        row(EXPONENT),
        one(293.15),
        one(0.0015),
    )
    base = Motors(
        1,
        propellant,
        Grains(row(4), row(0.075), row(0.046), row(0.018), row(2)),
        Nozzle(one(0.0135), one(0.034), one(0.24), one(0.95), one(0), one(5e6)),
        Ambient(one(101325), one(293.15), row(293.15)),
        Case(material("6061-T6"), one(0.0572), one(0.0032), one(0.52)),
        tolerances=tolerances or {},
    )
    return base.with_values({key.replace("__", "."): one(value) for key, value in changes.items()})


RATE = {"propellant.rate": Tolerance(standard_deviation=SIGMA, relative=True)}
SEVERAL = {
    "propellant.rate": Tolerance(standard_deviation=0.03, relative=True),
    "nozzle.throat_diameter": Tolerance(minus=5e-5, plus=5e-5),
    "grain.core_diameter": Tolerance(minus=2e-4, plus=2e-4),
    "propellant.density": Tolerance(standard_deviation=0.01, relative=True),
    "case.wall": Tolerance(minus=0.1, relative=True),
}


def weak_case(factor):
    """The motor with a case that yields at `factor` times its nominal head pressure."""
    subject = motor(RATE)
    figures = evaluate(subject)
    rung = assess_ladder(subject, figures, figures["peak_head_pressure"]).rungs[0]
    assert (rung.mode, rung.part) == ("case yield", "case")
    tube = replace(
        subject.case.material, yield_strength=subject.case.material.yield_strength * factor / rung.factor[0], tensile_strength=1e12
    )
    return replace(subject, case=replace(subject.case, material=tube))


class TestDistributions:
    def test_bounds_are_uniform(self):
        found = deviation(Tolerance(minus=0.1, plus=0.2), unit_points(1, 1024, 1)[:, 0])
        assert stats.kstest(found, stats.uniform(-0.1, 0.3).cdf).pvalue > 0.99

    def test_standard_deviation_is_normal(self):
        found = deviation(Tolerance(standard_deviation=0.02), unit_points(1, 1024, 1)[:, 0])
        assert stats.kstest(found, stats.norm(0, 0.02).cdf).pvalue > 0.99
        assert_allclose([found.mean(), found.std()], [0.0, 0.02], atol=2e-4)

    def test_both_are_normal_within_the_bounds(self):
        found = deviation(Tolerance(minus=0.03, plus=0.01, standard_deviation=0.02), unit_points(1, 1024, 1)[:, 0])
        assert found.min() >= -0.03 and found.max() <= 0.01
        assert stats.kstest(found, stats.truncnorm(-1.5, 0.5, 0, 0.02).cdf).pvalue > 0.99

    def test_names(self):
        assert distribution(Tolerance(minus=1.0)) == "uniform"
        assert distribution(Tolerance(standard_deviation=1.0)) == "normal"
        assert distribution(Tolerance(minus=1.0, standard_deviation=1.0)).startswith("normal, cut")

    def test_every_row_moves_together(self):
        grains = Grains(row(2, 1), row(0.075, 0.05), row(0.046, 0.046), row(0.018, 0.0), row(2, 1))
        subject = replace(motor(), grain=grains)
        moved = scattered(subject.repeat(2), {"grain.core_diameter": Tolerance(minus=1e-3, plus=1e-3)}, np.array([[1e-3], [-1e-3]]))
        assert_allclose(moved.grain.core_diameter, [[0.019, 0.0], [0.017, 0.0]])

    def test_relative_and_absolute(self):
        moved = scattered(
            motor().repeat(2),
            {"case.wall": Tolerance(minus=0.1, relative=True), "ambient.temperature": Tolerance(minus=10, plus=10)},
            np.array([[-0.1, 10.0], [0.0, -10.0]]),
        )
        assert_allclose(moved.case.wall, [0.00288, 0.0032])
        assert_allclose(moved.ambient.temperature, [303.15, 283.15])

    def test_plateau_exponent_of_zero_scatters(self):
        moved = scattered(
            motor(propellant__exponent=0.0).repeat(1), {"propellant.exponent": Tolerance(plus=0.1)}, np.array([[0.05]])
        )
        assert_allclose(moved.propellant.exponent, [[0.05]])

    def test_points_are_balanced_and_repeatable(self):
        points = unit_points(5, 256, 3)
        assert_allclose(points, unit_points(5, 256, 3), rtol=0)
        assert not np.allclose(points, unit_points(5, 256, 4))
        for column in points.T:  # one point in each of 256 slices
            assert np.array_equal(np.sort((column * 256).astype(int)), np.arange(256))

    @pytest.mark.parametrize(
        ("column", "name"),
        [
            ("propellant.rate", "rate"),
            ("case.wall", "wall"),
            ("liner.thickness", "liner_thickness"),
            ("forward_closure.screws.tensile_strength", "forward_closure.screw_strength"),
        ],
    )
    def test_names_are_those_of_the_file(self, column, name):
        assert tolerance_name(column) == name


class TestAgainstClosedForms:
    """With one Saint-Robert row p goes as (rate·ρ)^(1/(1−n)): derived from the equilibrium of the chamber."""

    def test_percentiles(self):
        result = spread(motor(RATE), samples=1024)
        found = result.as_json()["figures"]["initial_pressure"]
        for level in (5, 50, 95, 99):
            ratio = (1 + SIGMA * stats.norm.ppf(level / 100)) ** (1 / (1 - EXPONENT))
            assert_allclose(found[f"p{level}"] / found["nominal"], ratio, rtol=2e-3)

    @pytest.mark.parametrize("factor", [1.02, 1.06])
    def test_chance_of_failure(self, factor):
        result = spread(weak_case(factor), samples=2048, as_specified=True)
        exact = stats.norm.sf((factor ** (1 - EXPONENT) - 1) / SIGMA)
        found = result.as_json()["chance_of_failure"]
        assert_allclose(found["any"]["value"], exact, atol=2e-3)
        assert found["any"]["low"] < exact < found["any"]["high"]
        assert found["rungs"][0]["mode"] == "case yield"

    def test_shares_follow_the_elasticities(self):
        both = {
            "propellant.rate": Tolerance(standard_deviation=0.01, relative=True),
            "propellant.density": Tolerance(standard_deviation=0.02, relative=True),
        }
        shares = spread(motor(both), samples=2048).as_json()["shares"]["initial_pressure"]
        assert_allclose([shares["rate"], shares["density"]], [0.2, 0.8], atol=0.02)

    def test_convergence(self):
        """The estimate closes on the exact chance as samples grow, and is shown doing so."""
        rows = spread(weak_case(1.03), samples=4096, as_specified=True).as_json()["convergence"]
        exact = stats.norm.sf((1.03 ** (1 - EXPONENT) - 1) / SIGMA)
        assert [line["samples"] for line in rows] == [256, 512, 1024, 2048, 4096]
        errors = [abs(line["chance"]["value"] - exact) for line in rows]
        assert errors[-1] < 1.5e-3 and errors[-1] <= errors[0] + 1e-12


class TestScatteredStrengths:
    """The chance with strengths and formulas scattered, against counting and against closed forms."""

    @pytest.mark.parametrize("factor", [0.9, 1.02])
    def test_it_is_what_counting_finds(self, factor):
        """2^20 motors drawn at random, each with its own rate, its own tube and its own formula error per rung."""
        subject = weak_case(factor)
        result = spread(subject, samples=4096)
        rng = np.random.default_rng(5)
        n = 1 << 20
        pressure = np.log(1 + SIGMA * rng.standard_normal(n)) / (1 - EXPONENT)
        tube: dict[str, np.ndarray] = {}
        failed = np.zeros(n, dtype=bool)
        counted = {}
        nominal = spreads.outcome(replace(subject, tolerances={}), "steady")
        for key, sure in certainty_of(subject, nominal.factors).items():
            z = tube.setdefault(sure.lot, rng.standard_normal(n)) if sure.lot else 0.0
            own = sure.formula_scatter * rng.standard_normal(n)
            strength = np.log(float(nominal.factors[key][0]) * sure.ratio) + sure.strength_scatter * z + own
            counted[key] = float(np.mean(strength < pressure))
            failed |= strength < pressure
        for value, estimate in (
            (failed.mean(), result.any_failure),
            *((counted[mode, part], chance) for mode, part, chance in result.rungs),
        ):
            error = 4.0 * np.sqrt(value * (1.0 - value) / n) + (estimate.interval[1] - estimate.interval[0]) + 1e-7
            assert abs(estimate.value - value) < error
        assert 0.001 < result.any_failure.value < 0.9

    @pytest.mark.slow
    def test_one_rung_alone_is_a_closed_form(self):
        """ln p and ln strength normal: the chance is Phi of the distance over both scatters together (derived)."""
        subject = replace(weak_case(1.0), tolerances={"propellant.rate": Tolerance(standard_deviation=1e-6, relative=True)})
        result = spread(subject, samples=16384)
        nominal = spreads.outcome(replace(subject, tolerances={}), "steady")
        for mode, part, chance in result.rungs:
            sure, factor = certainty_of(subject, nominal.factors)[mode, part], float(nominal.factors[mode, part][0])
            exact = stats.norm.cdf(-np.log(factor * sure.ratio) / sure.scatter)
            low, high = chance.interval
            assert abs(chance.value - exact) <= 0.02 * exact + 2.0 * (high - low) + 1e-9

    def test_as_specified_is_the_harder_judge(self):
        subject = weak_case(0.98)
        assert spread(subject, samples=512, as_specified=True).any_failure.value > spread(subject, samples=512).any_failure.value
        found = spread(subject, samples=64).as_json()
        assert found["strengths"] == "scattered" and found["chance_of_failure"]["any"]["points"] == 64
        assert spread(subject, samples=64, as_specified=True).as_json()["strengths"] == "held at minimum"


PROOFED = {
    "propellant.rate": Tolerance(standard_deviation=0.03, relative=True),
    "nozzle.throat_diameter": Tolerance(minus=1e-4, plus=1e-4),
    "case.wall": Tolerance(minus=0.1, plus=0.02, relative=True),
}


def thin(wall=0.8e-3, throat=0.0098):
    """A motor whose case is near its limits, with screws at its forward end."""
    screws = Screws(
        one(4.826e-3), one(1.058e-3), one(0), one(700e6), one(10), one(0.012), one(5e-3), one(1), one(1), one(1.15),
        designation="#10-24 UNC", grade="A2-70",
    )  # fmt: skip
    bare = motor(PROOFED, case__wall=wall, nozzle__throat_diameter=throat)
    return replace(bare, forward_closure=Closure("radial-screws", screws=screws))


class TestTests:
    """What tests of this hardware have shown, counted over the tolerances."""

    def water(self, pressure, **changes):
        return Evidence("water", "proof", pressure, plugged=True, **changes)

    def test_it_is_what_counting_a_million_motors_finds(self):
        """Dimensions at the samples, 256 draws of lots and formulas for each, and those thrown out that fail in the proof."""
        subject, proof = thin(), self.water(8.34e6)
        found = spread(subject, samples=4096, evidence=[proof])
        tolerances = {name: PROOFED[name] for name in sorted(PROOFED)}
        batch = scattered(subject.repeat(4096), tolerances, deviations_at(tolerances, sample_points(3, 4096, 1)))
        figures = evaluate(batch)
        hot, cold = (
            {(rung.mode, rung.part): rung for rung in assess_ladder(*of).rungs if rung.kind != "advice"}
            for of in ((batch, figures, figures["peak_head_pressure"]), (plugged_motor(batch),))
        )
        rng, draws = np.random.default_rng(5), 256
        lots = {rung.certainty.lot for rung in hot.values()}
        z = {lot: rng.standard_normal((4096, draws)) * (lot != "") for lot in sorted(lots)}
        failed, borne = np.zeros((4096, draws), bool), np.ones((4096, draws), bool)
        for key in hot:
            sure = hot[key].certainty
            strong = np.exp(sure.strength_scatter * z[sure.lot] + sure.formula_scatter * rng.standard_normal((4096, draws)))
            failed |= hot[key].likely[:, None] * strong < figures["peak_head_pressure"][:, None]
            borne &= cold[key].likely[:, None] * strong > 8.34e6 * (1.0 - GAUGE_ERROR)
        counted, all_of = failed[borne].mean(), failed.mean()
        error = 4.0 * np.sqrt(counted * (1.0 - counted) / borne.sum())
        assert found.any_failure.value == pytest.approx(counted, abs=error + np.ptp(found.any_failure.interval))
        assert found.untested.value == pytest.approx(all_of, abs=2e-3)
        assert counted < 0.7 * all_of and borne.mean() < 0.97 and found.tests == ("proof",)

    @settings(max_examples=12, deadline=None)
    @given(st.floats(5e6, 12e6), st.floats(0.7e-3, 1.0e-3), st.booleans(), st.floats(260.0, 340.0))
    def test_a_proof_that_held_never_raises_the_chance(self, pressure, wall, same, temperature):
        proof = self.water(pressure, same_hardware=same, temperature=temperature)
        found = spread(thin(wall), samples=256, evidence=[proof])
        room = np.ptp(found.any_failure.interval) + np.ptp(found.untested.interval) + 1e-3
        assert np.isnan(found.any_failure.value) or found.any_failure.value <= found.untested.value + room

    def test_what_it_met_higher_and_as_warm_cannot_fail(self):
        subject = replace(thin(), tolerances={"nozzle.throat_diameter": Tolerance(minus=1e-6, plus=1e-6)})
        head = evaluate(subject)["peak_head_pressure"][0]
        found = spread(subject, samples=64, evidence=[self.water(1.1 * head / (1.0 - GAUGE_ERROR))])
        rungs = {mode: chance.value for mode, _, chance in found.rungs}
        assert rungs["case yield"] == pytest.approx(0.0, abs=1e-9) and found.untested.value > 1e-3

    def test_one_that_failed_raises_it_and_a_leak_is_still_there(self):
        failed = spread(thin(), samples=256, evidence=[self.water(8.2e6, outcome="failed", mode="case yield")])
        assert failed.any_failure.value > failed.untested.value

    def test_held_at_minimum_no_test_counts(self):
        bare, known = (spread(thin(), samples=64, as_specified=True, evidence=some) for some in ([], [self.water(9e6)]))
        assert bare.any_failure == known.any_failure and known.untested is None and known.tests == ()

    def test_blocks_do_not_matter(self, monkeypatch):
        whole = spread(thin(), samples=256, evidence=[self.water(9e6)])
        monkeypatch.setattr(spreads, "BLOCK", 64)
        monkeypatch.setattr(spreads, "MARCHED", 64)
        assert spread(thin(), samples=256, evidence=[self.water(9e6)]).any_failure == whole.any_failure

    def test_a_search_counts_them_for_the_same_hardware_alone(self):
        base, proof = thin(), self.water(9e6)
        batch = base.repeat(3).with_values({
            "nozzle.throat_diameter": np.array([0.0098, 0.0099, 0.0098]), "case.wall": np.array([0.8e-3, 0.8e-3, 0.81e-3]),
        })  # fmt: skip
        asked = {"chance": ("chance_of_failure", 50.0)}
        found = robust_columns(batch, asked, samples=128, tested=(base, [proof]))["chance"]
        bare = robust_columns(batch, asked, samples=128)["chance"]
        for place, evidence in enumerate(([proof], [proof], [])):
            single = spread(batch.take([place]), samples=128, evidence=evidence)
            assert_allclose(found[place], single.any_failure.interval[1], rtol=1e-12)
        assert found[0] < bare[0] and found[1] < bare[1]
        assert_allclose(found[2], bare[2], rtol=1e-12)


class TestSharesFromTheSamples:
    """Which tolerance matters, read off a quadratic through the samples at hand instead of further burns."""

    def test_they_are_those_of_further_burns(self):
        subject = motor(SEVERAL)
        deviations = deviations_at(SEVERAL, sample_points(len(SEVERAL), 1024, 1))
        found = spreads.sampled(subject, SEVERAL, deviations, "steady", heat=False)
        ours, ours_total, none = spreads.variance_shares(subject, SEVERAL, "steady", 512, 3, (deviations, found))
        burnt, burnt_total, many = spreads.variance_shares(subject, SEVERAL, "steady", 512, 3)
        assert none == 0 and many == 512 * (len(SEVERAL) + 2) and set(ours) == set(burnt) and "smallest_factor" in ours
        for told, further in ((ours, burnt), (ours_total, burnt_total)):
            for name, shares in further.items():
                assert_allclose(list(told[name].values()), list(shares.values()), atol=4e-3, err_msg=name)

    def test_what_no_quadratic_follows_is_left_to_further_burns(self):
        points = np.random.default_rng(4).uniform(-1.0, 1.0, (1024, 2))
        smooth, rough = 3.0 + points[:, 0] + 0.2 * points[:, 0] * points[:, 1], np.sign(np.sin(9.0 * points[:, 1]))
        found = Outcome({"smooth": smooth, "rough": rough}, {}, {})
        rows, left = spreads._followed(points, found, points[:5])
        assert left and set(rows) == {"smooth"}
        assert_allclose(rows["smooth"], smooth[:5], rtol=1e-9)
        few, left = spreads._followed(points[:32], Outcome({"smooth": smooth[:32]}, {}, {}), points[:5])
        assert not few and left

    def test_the_smallest_factor_is_that_of_the_rungs_though_it_has_a_kink(self):
        points = np.random.default_rng(5).uniform(-1.0, 1.0, (1024, 2))
        factors = {("a", "case"): 2.0 + points[:, 0], ("b", "case"): 2.0 + points[:, 1]}
        rows, left = spreads._followed(points, Outcome({"x": points[:, 0]}, factors, {}), points[:50])
        assert not left
        assert_allclose(rows["smallest_factor"], 2.0 + points[:50].min(axis=1), rtol=1e-9)


class TestAgainstLibraries:
    def test_shares_against_salib(self):
        subject = motor(SEVERAL)
        shares = spread(subject, samples=4096).as_json()
        names = list(dict(sorted(SEVERAL.items())))
        problem = {"num_vars": 5, "names": names, "bounds": [[0, 1]] * 5}
        points = salib_sample.sample(problem, 1024, calc_second_order=False, seed=7)
        moved = np.stack([deviation(SEVERAL[name], points[:, i]) for i, name in enumerate(names)], axis=1)
        batch = scattered(subject.repeat(len(points)), {name: SEVERAL[name] for name in names}, moved)
        figures = evaluate(batch)
        for figure in ("peak_head_pressure", "total_impulse", "burn_time"):
            expected = salib_analyze.analyze(problem, figures[figure], calc_second_order=False, seed=7)
            ours = shares["shares"][figure], shares["total_shares"][figure]
            for found, key in zip(ours, ("S1", "ST"), strict=True):
                assert_allclose([found[tolerance_name(name)] for name in names], expected[key], atol=0.03)

    @pytest.mark.parametrize(("failed", "samples"), [(1, 64), (5, 100), (300, 4096), (63, 64)])
    def test_interval_against_the_beta_distribution(self, failed, samples):
        low, high = Chance(failed, samples).interval  # Clopper and Pearson 1934 in its beta form
        assert_allclose(low, stats.beta.ppf(0.025, failed, samples - failed + 1), rtol=1e-6)
        assert_allclose(high, stats.beta.ppf(0.975, failed + 1, samples - failed), rtol=1e-6)

    def test_none_of_n_is_the_rule_of_three(self):
        assert_allclose(Chance(0, 4096).interval[1], 3 / 4096, rtol=2e-3)  # remembered: the rule of three
        assert Chance(0, 4096).interval[0] == 0.0
        assert "below" in Chance(0, 4096).text and "0 %" not in Chance(0, 4096).text.replace("00 %", "")
        assert Chance(64, 64).interval[1] == 1.0 and "above" in Chance(64, 64).text

    @given(st.integers(1, 2000), st.data())
    def test_interval_holds_its_value(self, samples, data):
        failed = data.draw(st.integers(0, samples))
        low, high = Chance(failed, samples).interval
        assert 0.0 <= low <= failed / samples <= high <= 1.0
        assert high > low


class TestResult:
    @pytest.fixture(scope="class")
    @staticmethod
    def result():
        return spread(motor(SEVERAL), samples=256)

    def test_layout(self, result):
        found = result.as_json()
        assert found["samples"] == 256 and found["seed"] == 1
        assert set(found["figures"]) == set(FIGURES)
        for figure in ("peak_pressure", "total_impulse"):
            assert found["figures"][figure]["p5"] < found["figures"][figure]["p50"] < found["figures"][figure]["p95"]
            assert found["figures"][figure]["p95"] <= found["figures"][figure]["p99"]
        assert set(found["chance_of_failure"]["any"]) >= {"value", "low", "high"}
        assert all({"mode", "part", "value"} <= set(entry) for entry in found["chance_of_failure"]["rungs"])
        assert set(found["shares"]["peak_pressure"]) == {"rate", "throat_diameter", "core_diameter", "density", "wall"}
        json.dumps(found)

    def test_shares_of_the_factor_name_what_pressure_does_not_feel(self, result):
        shares = result.as_json()["shares"]
        assert shares["peak_pressure"]["wall"] < 0.01 < shares["factor: case yield, case"]["wall"]
        assert_allclose(sum(shares["peak_pressure"].values()), 1.0, atol=0.06)

    def test_same_seed_same_answer(self, result):
        again = spread(motor(SEVERAL), samples=256)
        assert again.as_json() == result.as_json()
        other = spread(motor(SEVERAL), samples=256, seed=2)
        assert other.as_json()["figures"] != result.as_json()["figures"]

    def test_order_of_the_table_does_not_matter(self, result):
        backwards = spread(motor(dict(reversed(SEVERAL.items()))), samples=256)
        assert backwards.as_json() == result.as_json()

    def test_samples_round_up_to_a_power_of_two(self):
        assert spread(motor(RATE), samples=100).samples == 128

    def test_worst_corner_is_the_maximum_expected_pressure(self, result):
        corner = result.corners["peak_head_pressure"]["highest"]
        assert_allclose(corner["value"], maximum_expected_pressure(motor(SEVERAL))[0], rtol=1e-6)
        assert corner["at"]["rate"] == "high" and corner["at"]["throat_diameter"] == "low"
        assert "wall" not in corner["at"]  # the pressure does not feel it
        assert result.corners["factor: case yield, case"]["lowest"]["at"]["wall"] == "low"

    def test_corners_of_many_tolerances_are_found_one_at_a_time(self, monkeypatch, result):
        monkeypatch.setattr("optimizer.commands.spread.FULL_CORNERS", 2)
        few = spreads.worst_corners(motor(SEVERAL), dict(sorted(SEVERAL.items())), "steady")
        every = result.corners["peak_head_pressure"]["highest"]["value"]
        assert_allclose(few["peak_head_pressure"]["highest"]["value"], every)

    def test_samples_stay_within_the_corners(self, result):
        bounded = {name: Tolerance(0.01, 0.01, relative=True) for name in ("propellant.rate", "nozzle.throat_diameter")}
        found = spread(motor(bounded), samples=256)
        for name, entry in found.corners.items():
            if name in found.outcome.figures and "kn" not in name:
                values = found.outcome.figures[name]
                assert values.min() >= entry["lowest"]["value"] * (1 - 1e-9)
                assert values.max() <= entry["highest"]["value"] * (1 + 1e-9)

    def test_a_tighter_tolerance_fails_less(self):
        wide = spread(weak_case(1.04), samples=1024, as_specified=True).any_failure
        tight = {"propellant.rate": Tolerance(standard_deviation=0.01, relative=True)}
        narrow = replace(weak_case(1.04), tolerances=tight)
        assert spread(narrow, samples=1024, as_specified=True).any_failure.value < wide.value

    def test_blocks_do_not_matter(self, monkeypatch, result):
        monkeypatch.setattr("optimizer.candidates.samples.BLOCK", 100)
        apart = spread(motor(SEVERAL), samples=256)
        assert_allclose(apart.outcome.figures["peak_pressure"], result.outcome.figures["peak_pressure"], rtol=1e-12)
        assert apart.any_failure == result.any_failure

    def test_screw_strength_scatters(self):
        screws = Screws(one(4.826e-3), one(1.0583e-3), one(0), one(7e8), one(8), one(0.014), one(5e-3), one(1), one(1), one(1.15))
        subject = replace(
            motor(),
            forward_closure=Closure("radial-screws", screws=screws),
            tolerances={"forward_closure.screws.tensile_strength": Tolerance(standard_deviation=0.05, relative=True), **RATE},
        )
        shares = spread(subject, samples=512).as_json()["shares"]
        shear = next(values for name, values in shares.items() if name.startswith("factor: screw shear"))
        assert shear["forward_closure.screw_strength"] > 0.3 and shear["rate"] > 0.2

    def test_heat_rungs_are_part_of_it(self):
        subject = replace(motor(SEVERAL), liner=Liner(material("paper-phenolic", "liner"), one(0.3e-3)))
        result = spread(subject, samples=64)
        burn = next(chance for mode, _, chance in result.rungs if mode == "liner burn-through")
        assert burn.value > 0.98
        assert ("liner burn-through", "liner") in result.outcome.times
        assert np.isfinite(result.outcome.smallest_factor).all()


class TestHeat:
    """A heat rung scatters as its own band says, in a spread as in what `vouch` and `check` say of it."""

    def lined(self, thickness):
        sure = {"nozzle.throat_diameter": Tolerance(minus=1e-7, plus=1e-7)}
        return replace(motor(sure), liner=Liner(material("paper-phenolic", "liner"), one(thickness)))

    def test_one_rung_alone_is_a_closed_form(self):
        subject = self.lined(1.2e-3)
        figures = evaluate(subject, curve=True)
        rungs = {(r.mode, r.part): r for r in assess_ladder(replace(subject, tolerances={}), figures, np.array([5e6])).rungs}
        found = spread(subject, samples=512)
        for mode, part, chance in found.rungs:
            rung = rungs[mode, part]
            if rung.time is not None and np.isfinite(rung.likely[0]):
                exact = stats.norm.cdf(np.log(figures["action_time"][0] / rung.likely[0]) / rung.scatter)
                assert chance.value == pytest.approx(exact, rel=0.02, abs=1e-6), mode
                assert rung.certainty.strength_scatter == pytest.approx(rung.certainty.formula_scatter)

    def test_what_likely_never_comes_has_the_chance_of_its_early_end(self):
        """Likely never, and 5 in 100 by the time it must last: the median is then the one whose 5 % end that is."""
        key, early = ("liner burn-through", "liner"), 2.0
        sure = Certainty(1.0, 0.3, 0.4, "liner", ())
        never = Rung(*key, "heat", "", None, one(np.inf), one(np.inf), one(1.25), certainty=sure, ends=(one(early), one(np.inf)))
        late = float(np.log(median_of(never)[0] / early))
        drawn = Outcome({}, {key: one(np.inf)}, {}, certainty={key: sure}, late={key: late})
        samples = Outcome({}, {key: np.array([np.inf] * 8)}, {})
        assert chances.chances(model(samples, drawn), 8)[0].value == pytest.approx(0.05, rel=1e-6)
        free = Outcome({}, {key: one(np.inf)}, {}, certainty={key: sure})  # its early end never comes either
        assert chances.chances(model(samples, free), 8)[0].value == 0.0

    @pytest.mark.slow
    def test_a_search_gives_the_same_figure(self):
        subject = self.lined(1.2e-3)
        both = subject.repeat(2).with_values({"liner.thickness": np.array([1.2e-3, 1.5e-3])})
        found = robust_columns(both, {"chance": ("chance_of_failure", 50.0)}, samples=64)["chance"]
        for place in range(2):
            single = spread(both.take([place]), samples=64).any_failure
            assert_allclose(found[place], single.interval[1], rtol=1e-9)


class TestRefusals:
    def test_no_tolerances(self):
        with pytest.raises(InputError) as refused:
            spread(motor(), file="motors/demo.toml")
        text = str(refused.value)
        assert "motors/demo.toml" in text and "[tolerances]" in text and 'rate = {standard_deviation = "3 %"}' in text

    def test_tolerances_of_nothing(self):
        with pytest.raises(InputError, match="nothing scatters"):
            spread(motor({"case.wall": Tolerance()}))

    def test_too_wide(self):
        with pytest.raises(InputError, match="zero or less"):
            spread(motor({"case.wall": Tolerance(standard_deviation=0.5, relative=True)}), samples=256)

    @pytest.mark.parametrize("samples", [0, 15, 1 << 21])
    def test_sample_count(self, samples):
        with pytest.raises(InputError, match="samples"):
            spread(motor(RATE), samples=samples)

    def test_more_than_one_motor(self):
        with pytest.raises(ValueError, match="one motor"):
            spread(motor(RATE).repeat(2))


class TestRobustColumns:
    def test_same_as_the_spread_of_each(self):
        batch = motor(SEVERAL).repeat(3).with_values({"nozzle.throat_diameter": np.array([0.0130, 0.0135, 0.0140])})
        asked = {"head": ("peak_head_pressure", 95.0), "weak": ("smallest_factor", 5.0), "chance": ("chance_of_failure", 50.0)}
        found = robust_columns(batch, asked, samples=128)
        for index in range(3):
            single = spread(batch.take([index]), samples=128)
            assert_allclose(found["head"][index], single.figures["peak_head_pressure"]["p95"], rtol=1e-9)
            assert_allclose(found["weak"][index], single.smallest_factor["p5"], rtol=1e-9)
            assert_allclose(found["chance"][index], single.any_failure.interval[1], rtol=1e-12)
        assert np.all(np.diff(found["head"]) < 0)

    def test_blocks_do_not_matter(self, monkeypatch):
        batch = motor(SEVERAL).repeat(5).with_values({"nozzle.throat_diameter": np.linspace(0.013, 0.014, 5)})
        asked = {"peak": ("peak_pressure", 95.0)}
        whole = robust_columns(batch, asked, samples=64)["peak"]
        monkeypatch.setattr("optimizer.candidates.samples.BLOCK", 128)
        assert_allclose(robust_columns(batch, asked, samples=64)["peak"], whole, rtol=1e-12)

    def test_a_small_chance_is_a_number(self):
        subject = replace(motor(SEVERAL), liner=None)
        found = robust_columns(subject, {"chance": ("chance_of_failure", 50.0)}, samples=128)["chance"]
        assert 0.0 <= found[0] < 1e-3

    def test_higher_percentile_is_higher(self):
        found = robust_columns(motor(SEVERAL), {"low": ("peak_pressure", 50.0), "high": ("peak_pressure", 99.0)}, samples=128)
        assert found["low"] < found["high"]

    def test_one_whose_tolerance_reaches_zero_is_not_known(self):
        batch = motor({"case.wall": Tolerance(minus=0.002)}).repeat(2).with_values({"case.wall": np.array([0.001, 0.003])})
        found = robust_columns(batch, {"peak": ("peak_pressure", 95.0)}, samples=64)["peak"]
        assert np.isnan(found[0]) and np.isfinite(found[1])

    def test_unknown_name_and_percentile(self):
        with pytest.raises(KeyError, match="loudness"):
            robust_columns(motor(SEVERAL), {"x": ("loudness", 95.0)}, samples=64)
        with pytest.raises(ValueError, match="0 to 100"):
            robust_columns(motor(SEVERAL), {"x": ("peak_pressure", 950.0)}, samples=64)
