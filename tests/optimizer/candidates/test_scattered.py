"""Limits and objectives under the tolerances: the search against every candidate sampled one by one."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest

from optimizer.candidates.pareto import rounded
from optimizer.candidates.samples import Chance, deviation, outcome, sample_points, scattered
from optimizer.commands.search import search
from optimizer.commands.spread import spread
from optimizer.inputs import InputError, load_motor, load_study
from physics.assessment import assess

TOLERANCES = """
[tolerances]
throat_diameter = {plus_minus = "0.2 mm"}
rate = {standard_deviation = "4 %"}
wall = {minus = "10 %"}
screw_strength = {standard_deviation = "5 %"}
"""
SEARCH = """
grain_count = {from = 3, to = 5}
throat_diameter = {from = "12 mm", to = "14 mm", step = "1 mm"}
wall = {from = "2 mm", to = "3 mm", step = "1 mm"}
forward_closure.count = {from = 6, to = 12, step = 3}
"""
DRIVER = 'kernel = "steady"\nsamples = 64'
FIGURES = {
    "limits": 'total_impulse = [{max = "2000 N*s"}, {min = "1100 N*s", percentile = 5}]',
    "objectives": 'total_impulse = {sense = "max", percentile = 5}\nloaded_mass = "min"',
}
LADDER = {
    "limits": "smallest_factor = {min = 3.5, percentile = 1}\nchance_of_failure = {max = 0.05}",
    "objectives": 'smallest_factor = {sense = "max", percentile = 5}\nloaded_mass = "min"\ntotal_impulse = "max"',
}


@pytest.fixture
def study_of(cases, tmp_path):
    def make(name="study", search=SEARCH, driver=DRIVER, limits="", objectives=cases.OBJECTIVES, motor=cases.MOTOR + TOLERANCES):
        path = cases.write_study(tmp_path / name, search, f'maximum_pressure = "12 MPa"\n{limits}', objectives, driver, motor=motor)
        return load_study(path)

    return make


def sampled(motors, samples):
    """The samples of one motor, each on its own points of the same set that `spread` takes."""
    names = sorted(motors.tolerances)
    points = sample_points(len(names), samples, 1)
    moves = np.stack([deviation(motors.tolerances[name], points[:, place]) for place, name in enumerate(names)], axis=1)
    return outcome(scattered(motors.repeat(samples), {name: motors.tolerances[name] for name in names}, moves), "steady")


def column_of(found, quantity, percentile, samples):
    values = found.smallest_factor if quantity == "smallest_factor" else found.figures[quantity]
    return float(np.percentile(values, percentile))


def oracle(study):
    """Front and number of feasible candidates, each assessed and sampled as a motor of its own."""
    from optimizer.candidates.space import Space

    space, good = Space(study), []
    plain = {"loaded_mass": lambda look: float(look.masses["loaded"][0])}
    for digits in itertools.product(*(range(radix) for radix in space.radices)):
        motors = space.candidates(np.array([digits])).motors
        look = assess(motors, curve=True)
        impulse = float(look.figures["total_impulse"][0])
        fits = bool(np.ravel(look.fit["ok"])[0]) and not bool(look.figures.flags["port_choked"][0])
        if not (bool(look.ok[0]) and fits and 700.0 <= impulse <= 2500.0):
            continue
        scatter = sampled(motors, study.driver.samples)

        def value(item, look=look, scatter=scatter, motors=motors):
            if item.quantity == "chance_of_failure":
                return spread(motors, samples=study.driver.samples).any_failure.interval[1]
            if item.percentile is not None:
                return column_of(scatter, item.quantity, item.percentile, study.driver.samples)
            if item.quantity == "maximum_expected_pressure":
                return float(look.maximum_expected_pressure[0])
            return plain.get(item.quantity, lambda look: float(look.figures[item.quantity][0]))(look)

        bounds = [(limit, value(limit)) for limit in study.limits]
        if all((b.minimum is None or v >= b.minimum) and (b.maximum is None or v <= b.maximum) for b, v in bounds):
            good.append((digits, rounded(np.array([aim.sign * value(aim) for aim in study.objectives]))))
    front = {
        digits for digits, point in good
        if not any((other <= point).all() and (other < point).any() for _, other in good)
    }  # fmt: skip
    return front, len(good)


@pytest.mark.slow
@pytest.mark.parametrize("asked", [FIGURES, LADDER], ids=["figures", "ladder"])
def test_the_front_is_that_of_every_candidate_sampled_alone(study_of, asked):
    study = study_of(**asked)
    result = search(study)
    front, feasible = oracle(study)
    assert result.exact and 0 < result.feasible == feasible < study.size
    assert {design.digits for design in result.designs} == front
    scattered_limits = [limit.name for limit in study.limits if limit.name in result.rejected_by and limit.percentile]
    assert scattered_limits, "the limits under the tolerances turn nothing away: the case proves nothing"


def test_a_tolerance_that_reaches_zero_is_that_of_one_motor_alone(study_of, cases):
    """Motors of the same burn share their figures, and not what a thin wall of one of them makes unknown."""
    tolerances = '[tolerances]\nwall = {minus = "1.5 mm"}\nthroat_diameter = {plus_minus = "0.1 mm"}\n'
    walls = 'hold = "bore"\nwall = ["1.4 mm", "3 mm"]\nforward_closure.count = [9, 12]'
    objectives = 'total_impulse = {sense = "max", percentile = 5}'
    result = search(study_of(search=walls, objectives=objectives, driver=DRIVER, motor=cases.MOTOR + tolerances))
    assert result.feasible == 2 == result.rejected_by["required_factor.case yield"]  # no wall is left at its thinnest
    assert {design.variables["wall"] for design in result.designs} == {0.003}
    assert all(np.isfinite(design.results["total_impulse_p5"]) for design in result.designs)


def test_spread_says_the_same_of_a_design(study_of, tmp_path):
    result = search(study_of(**LADDER), tmp_path / "out")
    written = json.loads((tmp_path / "out" / "pareto.json").read_text())
    assert written["objectives"] == {"smallest_factor_p5": "max", "loaded_mass": "min", "total_impulse": "max"}
    assert "total_impulse [N*s],smallest_factor_p1" not in (tmp_path / "out" / "pareto.csv").read_text().splitlines()[0]
    for design in result.designs[:3]:
        found = spread(load_motor(tmp_path / "out" / design.file).motors, samples=64)
        assert design.results["smallest_factor_p5"] == pytest.approx(found.smallest_factor["p5"], rel=1e-9)
        assert design.results["smallest_factor_p1"] == pytest.approx(found.smallest_factor["p1"], rel=1e-9)
        assert design.results["chance_of_failure"] == pytest.approx(found.any_failure.interval[1], rel=1e-9)
    assert any("64 samples" in text and "heat marched" in text for text in result.messages)


@pytest.mark.slow
def test_heat_counts_in_the_chance_of_a_search(study_of, cases, tmp_path):
    """A liner that lasts as drawn, if barely, is most of what can fail; the search says so as `spread` does."""
    thin = '[liner]\nmaterial = "paper-phenolic"\nthickness = "1.6 mm"\n[factors]\nheat = 1.0\n'
    motor = cases.MOTOR.replace("LINER", thin) + TOLERANCES
    asked = {"limits": "chance_of_failure = {max = 0.999}", "objectives": 'chance_of_failure = "min"\ntotal_impulse = "max"'}
    result = search(study_of(search="forward_closure.count = [9, 12]", motor=motor, **asked), tmp_path / "out")
    assert result.designs
    for design in result.designs:
        found = spread(load_motor(tmp_path / "out" / design.file).motors, samples=64)
        rungs = {mode: chance for mode, _, chance in found.rungs}
        assert rungs["liner burn-through"].value > 0.2, rungs
        assert design.results["chance_of_failure"] == pytest.approx(found.any_failure.interval[1], rel=1e-9)
        assert design.results["chance_of_failure"] >= rungs["liner burn-through"].value


def test_a_percentile_stands_under_its_own_name_with_its_unit(study_of, tmp_path):
    search(study_of(**FIGURES), tmp_path / "out")
    assert "total_impulse_p5 [N*s]" in (tmp_path / "out" / "pareto.csv").read_text().splitlines()[0]


def test_evolving_finds_only_what_passes_under_the_tolerances(study_of):
    study = study_of(driver='method = "evolve"\nbudget = 60\nkernel = "steady"\nsamples = 64', **LADDER)
    result = search(study)
    assert result.designs and not result.exact
    for design in result.designs:
        assert design.results["smallest_factor_p1"] >= 3.5 and design.results["chance_of_failure"] <= 0.05


@pytest.mark.slow
def test_without_a_design_the_percentile_says_how_far_it_must_give(study_of):
    strict = 'total_impulse = {min = "2400 N*s", percentile = 5}'
    result = search(study_of(limits=strict))
    assert result.designs == []
    single = next(entry for entry in result.relaxations if entry.get("limit") == "total_impulse_p5")
    plain = search(study_of("plain", objectives='total_impulse = {sense = "max", percentile = 5}'))
    assert single["to"] == pytest.approx(plain.designs[0].results["total_impulse_p5"], rel=1e-12)


def test_heat_alone_says_how_far_it_must_give(cases, tmp_path):
    thin = cases.MOTOR.replace("LINER", '[liner]\nmaterial = "paper-phenolic"\nthickness = "0.6 mm"\n')
    path = cases.write_study(tmp_path, SEARCH, 'maximum_pressure = "12 MPa"', motor=thin)
    result = search(load_study(path))
    assert result.designs == []
    changes = [change for entry in result.relaxations for change in entry["changes"]]
    liner = [change for change in changes if change["limit"] == "required_factor.liner burn-through"]
    assert liner and all(0.0 < change["to"] < change["from"] for change in liner)


@pytest.mark.parametrize(
    ("limits", "objectives", "motor", "says"),
    [
        ("total_impulse = {min = 1, percentile = 5}", None, None, "limits.total_impulse.min = 1"),
        ('total_impulse = {min = "1 N*s", percentile = 0}', None, None, "more than 0 to less than 100"),
        ('total_impulse = {min = "1 N*s", percentile = true}', None, None, "percentile"),
        ('loaded_mass = {max = "2 kg", percentile = 5}', None, None, "is not among what scatters"),
        ("chance_of_failure = {max = 0.1, percentile = 5}", None, None, "has no percentile"),
        ("chance_of_failure = {max = 0}", None, None, "no upper bound between 0 and 1"),
        ("chance_of_failure = {min = 0.1}", None, None, "no upper bound between 0 and 1"),
        ("chance_of_failure = {max = 0.001}", None, None, "at least 2995"),
        ("smallest_factor = {max = 3}", None, None, "would turn the stronger motors away"),
        ("smallest_factor = {max = 3, percentile = 5}", None, None, "would turn the stronger motors away"),
        ("", 'smallest_factor = {sense = "min", percentile = 5}', None, "would look for the weakest motor"),
        ('peak_thrust = [{max = "9 N"}, {max = "8 N"}]', None, None, "bounded twice"),
        ('peak_thrust = [{max = "9 N", percent = 5}]', None, None, "neither min, max nor percentile"),
        ("peak_thrust = {percentile = 5}", None, None, "has no bound"),
        ("", "total_impulse = {percentile = 5}", None, "does not say which way is better"),
        ("", 'total_impulse = {sense = "most", percentile = 5}', None, "neither min nor max"),
        ("", 'total_impulse = {sense = "max", at = 5}', None, "neither sense nor percentile"),
        ("", 'chance_of_failure = "max"', None, "would look for the weakest motor"),
        ('total_impulse = {min = "1 N*s", percentile = 5}', None, "none", "the base motor has no tolerances"),
        ("", 'chance_of_failure = "min"', "none", "the base motor has no tolerances"),
    ],
)
def test_what_cannot_be_asked_is_refused(study_of, cases, limits, objectives, motor, says):
    asked = {"limits": limits, "motor": cases.MOTOR + ("" if motor else TOLERANCES)}
    with pytest.raises(InputError, match=r"study\.toml") as refused:
        study_of(objectives=objectives or cases.OBJECTIVES, **asked)
    assert says in str(refused.value)
    assert len(refused.value.problems) == 1


def test_a_chance_takes_as_many_samples_as_it_needs(study_of):
    """None of N failed: the chance is below 1 - 0.05^(1/N) (Clopper and Pearson), so 0.5 % takes 598 samples."""
    study = study_of(limits="chance_of_failure = {max = 0.005}", driver="")
    assert study.driver.samples == 1024
    assert Chance(0, 598).interval[1] <= 0.005 < Chance(0, 597).interval[1]


def test_what_is_rarer_than_counting_shows_takes_the_most_samples_there_are(study_of):
    """One in a million by counting takes three million samples; strengths scatter smoothly, so memory is what bounds it."""
    from optimizer.cli import main
    from optimizer.vocabulary import MOST_SAMPLES

    assert study_of(limits="chance_of_failure = {max = 1e-6}", driver="").driver.samples == MOST_SAMPLES
    with pytest.raises(InputError, match="samples"):
        study_of(limits="", driver=f"samples = {2 * MOST_SAMPLES}")
    option = next(item for item in main.commands["spread"].params if item.name == "samples")
    assert option.type.max == MOST_SAMPLES


def test_what_was_sampled_before_is_not_mixed_up(study_of, monkeypatch):
    """Figures and factors asked together, in blocks of a few, and with a memory that overflows, as in one go."""
    from optimizer.candidates import families
    from optimizer.drivers import exhaustive

    asked = {
        "search": 'throat_diameter = {from = "12 mm", to = "14 mm", step = "0.5 mm"}',
        "limits": 'smallest_factor = {min = 1.2, percentile = 1}\ntotal_impulse = {min = "900 N*s", percentile = 5}',
        "objectives": 'total_impulse = {sense = "max", percentile = 5}\nsmallest_factor = {sense = "max", percentile = 5}',
    }
    whole = search(study_of(**asked))
    monkeypatch.setattr(families, "MOST_SAMPLED", 3)
    store = exhaustive.MemoryStore()
    again = exhaustive.screen(families.Families(study_of("again", **asked)), store, block=2)
    assert len(again.points) == len({design.group for design in whole.designs}) > 1
    best = max(design.results["total_impulse_p5"] for design in whole.designs)
    assert -again.points[:, 0].min() == pytest.approx(best, rel=1e-8)
