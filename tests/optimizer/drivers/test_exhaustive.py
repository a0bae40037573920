"""The exhaustive driver against brute force, one motor file at a time, and against itself in other blocks."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.candidates.catalogue import count_within
from optimizer.candidates.families import Families
from optimizer.candidates.judges import Judge, Verdicts
from optimizer.candidates.space import digits_of
from optimizer.drivers.blocks import MemoryStore
from optimizer.drivers.exhaustive import _archive, indices_of, screen, shuffled
from optimizer.inputs.study import load_study
from physics.heat import liner


def screened(study, **options):
    families = Families(study)
    return families, screen(families, MemoryStore(), seed=study.driver.seed, **options)


def front_of(families, result):
    """The front with all its ties, by full digits."""
    keys, _, left_out = result.listed(families, 10_000)
    assert left_out == 0
    digits = families.full_digits(keys[:, :-1], keys[:, -1])
    return {tuple(row) for row in digits.tolist()}


STUDIES = {
    "as it is": {},
    "a mass limit and a fraction": {
        "limits": 'maximum_pressure = "9 MPa"\nloaded_mass = {max = "2 kg", min = "1.2 kg"}\n'
        "propellant_mass_fraction = {min = 0.4}",
        "search": 'grain_count = {from = 3, to = 5}\ncore_diameter = ["15 mm", "18 mm"]\n'
        'throat_diameter = ["12 mm", "14 mm"]\nforward_closure.plate_thickness = ["8 mm", "10 mm", "12 mm"]\n'
        "forward_closure.count = [6, 10]\n"
        'case.material = ["6061-T6", "7075-T6"]',
    },
    "a smallest factor asked for": {
        "limits": "smallest_factor = {min = 2.3}",
        "objectives": 'maximum_expected_pressure = "min"\ntotal_impulse = "max"\nforward_closure_mass = "min"',
        "search": 'core_diameter = ["15 mm", "18 mm"]\nthroat_diameter = ["12 mm", "14 mm"]\nwall = ["2 mm", "3 mm"]\n'
        'hold = "bore"\nforward_closure.count = [6, 10, 14]\nforward_closure.ring_thickness = ["6 mm", "8 mm"]',
    },
    "filled cases and opened grains": {
        "search": 'grain_length = "fill"\ngrain_count = {from = 4, to = 6}\ncore_diameter = ["18 mm", "20 mm"]\n'
        'core_diameter_aft = ["20 mm", "22 mm"]\naft_count = {from = 0, to = 2}\nthroat_diameter = ["14 mm", "16 mm"]\n'
        "forward_closure.count = [8, 12]",
    },
    "one objective": {
        "objectives": 'maximum_expected_pressure = "min"',
        "search": 'grain_count = [3, 5]\nthroat_diameter = ["13 mm", "15 mm"]\n'
        'forward_closure.count = {from = 4, to = 12, step = 2}\nforward_closure.screw = ["#8-32 UNC", "1/4-20 UNC"]',
    },
}


QUICK = ("a smallest factor asked for",)


@pytest.mark.parametrize("name", [pytest.param(name, marks=() if name in QUICK else pytest.mark.slow) for name in STUDIES])
def test_the_front_is_that_of_brute_force(cases, tmp_path, name):
    study = load_study(cases.write_study(tmp_path, **STUDIES[name]))
    families, result = screened(study)
    wanted = cases.brute_force(study)
    assert 4 <= len(wanted.front) < wanted.feasible, "the case would show nothing"
    space = families.space
    repeats = {
        digits
        for digits in wanted.good
        if space.candidates(np.array([digits])).impossible.get("same motor as another candidate", np.zeros(1, dtype=bool))[0]
    }
    assert front_of(families, result) == set(wanted.front) - repeats
    assert {tuple(point) for point in result.points.tolist()} == set(wanted.front.values())
    assert result.feasible == wanted.feasible - len(repeats)
    assert result.evaluated == wanted.size


HEATED = {
    "walls": {
        "search": 'core_diameter = ["17 mm", "19 mm"]\nliner.thickness = ["1.6 mm", "2.4 mm", "3 mm"]',
    },
    "patterns inside": {
        "search": 'throat_diameter = ["11 mm", "13 mm", "15 mm"]\ncore_diameter = ["15 mm", "17 mm"]\n'
        'forward_closure.count = [6, 12]\nliner.thickness = ["0.8 mm", "1.6 mm", "2.4 mm"]',
    },
    "many motors of one wall": {
        "search": 'grain_count = {from = 3, to = 5}\nthroat_diameter = {from = "11 mm", to = "15 mm", step = "1 mm"}\n'
        'core_diameter = ["15 mm", "17 mm", "19 mm"]\nforward_closure.count = [6, 12]',
        "limits": 'maximum_pressure = "9 MPa"\nminimum_factor = {"liner burn-through" = 1.0}',
    },
}


@pytest.mark.parametrize("name", ["walls", *(pytest.param(name, marks=pytest.mark.slow) for name in list(HEATED)[1:])])
def test_with_heat_front_and_counts_are_those_of_brute_force(cases, tmp_path, name):
    """Places are left out in the search and none in the oracle, which marches every candidate alone."""
    study = load_study(cases.write_study(tmp_path, liner=True, **{"limits": 'maximum_pressure = "9 MPa"', **HEATED[name]}))
    families, result = screened(study)
    wanted = cases.brute_force(study)
    assert wanted.heat["liner burn-through"] > 0 and wanted.feasible > 0, "heat must turn some away"
    assert wanted.front and front_of(families, result) == set(wanted.front)
    assert result.counts_are_exact and result.feasible == wanted.feasible
    counted = {mode: result.rejected.get(families.limit_name(mode), 0) for mode in {term.mode for term in families.late_terms}}
    assert {mode: count for mode, count in counted.items() if count} == dict(wanted.heat)


MANY = {
    "search": 'grain_count = {from = 3, to = 5}\nthroat_diameter = {from = "11 mm", to = "15 mm", step = "0.5 mm"}\n'
    'core_diameter = ["15 mm", "17 mm"]\nforward_closure.count = [6, 12]\n'
    'liner.thickness = ["1.6 mm", "2 mm", "2.4 mm"]',
    "limits": 'maximum_pressure = "9 MPa"',
}


@pytest.mark.slow
def test_judging_finalists_only_gives_the_same_front_as_judging_all(cases, tmp_path, monkeypatch):
    """Heat in the blocks, and as where late rungs read inner variables: of finalists, and of all that is left."""
    study = load_study(cases.write_study(tmp_path, liner=True, **MANY))
    families, inside = screened(study)
    assert inside.counts_are_exact and not inside.judges

    def late():
        again = Families(study)
        again.open_terms, again.settled_terms = again.late_terms, []
        return again, screen(again, MemoryStore(), seed=study.driver.seed)

    again, every = late()
    monkeypatch.setattr("optimizer.drivers.exhaustive.JUDGE_ALL", 0)
    also, some = late()
    assert every.counts_are_exact and not some.counts_are_exact
    assert some.judges[0].judged <= every.judges[0].judged
    assert len(every.points) > 5 and every.rejected["required_factor.liner burn-through"] > 0
    assert front_of(families, inside) == front_of(again, every) == front_of(also, some)
    assert (inside.points == every.points).all() and (every.points == some.points).all()
    assert (inside.feasible, +inside.rejected) == (every.feasible, +every.rejected)


@pytest.mark.slow
def test_verdicts_on_heat_are_stored_with_the_blocks(cases, tmp_path, monkeypatch):
    """A search that is taken up again marches nothing of the blocks that are there, and each wall once of those that are not."""
    study = load_study(cases.write_study(tmp_path, liner=True, **MANY))
    families, store = Families(study), MemoryStore()  # what rungs read is found out here, by marching
    first = screen(families, store, block=32)
    walls: list[int] = []
    plain = liner.char_march
    monkeypatch.setattr(liner, "char_march", lambda sleeve, *more: walls.append(sleeve.size) or plain(sleeve, *more))
    again = screen(families, store, block=32)
    assert not walls and (again.points == first.points).all() and again.rejected == first.rejected
    del store._blocks[1]
    screen(families, store, block=32)
    rows = len(families.evaluate(digits_of(indices_of(1, families.outer_size, 32, 1), families.outer_radices), heat=False).rows)
    assert 0 < sum(walls) <= 3 * 4 * rows, "four places of each motor, as drawn and at either soak, whatever rungs ask for them"


def test_where_most_finalists_fail_the_front_is_found_in_a_few_rounds(cases, tmp_path, monkeypatch):
    """A judge that turns away two of three, whatever they are: the front of those that pass, by judging all of them."""
    rounds = []

    def verdicts(judge, digits):
        ok = digits.sum(axis=1) % 3 == 0
        return Verdicts(ok, np.zeros(len(ok)), np.full(len(ok), np.inf), tuple(() if good else ("luck",) for good in ok))

    def judged(judge, keys, plain=Judge.judge):
        rounds.append(len(keys))
        plain(judge, keys)

    monkeypatch.setattr(Judge, "_judged", verdicts)
    monkeypatch.setattr(Judge, "judge", judged)
    families = Families(load_study(cases.write_study(tmp_path)))
    store = MemoryStore()
    result = screen(families, store, confirm=True)
    rows = np.vstack([stored.rows for stored in store.blocks()])
    everyone, archive = Judge(families, confirm=True), _archive(families)
    for crossed in families.cross(rows):
        Judge.judge(everyone, everyone.unknown(crossed.keys))
        left = everyone.corrected(crossed)
        archive.add(left.points, left.keys)
    asked = next(judge for judge in result.judges if judge.confirm)
    assert archive.sorted()[1].tolist() == result.keys.tolist()
    assert 0 < sum(asked.passed) < asked.judged < everyone.judged
    assert len(rounds) < asked.judged / 4


def test_what_comes_out_does_not_depend_on_blocks_or_order(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path))
    families, first = screened(study)
    for block, seed in ((1, 1), (7, 2), (10_000, 3)):
        again = screen(families, MemoryStore(), seed=seed, block=block)
        assert (again.points == first.points).all() and (again.keys == first.keys).all()
        assert again.rejected == first.rejected and again.feasible == first.feasible


def test_each_limit_is_counted_alone(cases, tmp_path):
    """Counts against asking every candidate each question apart, by the assessment itself."""
    from physics.assessment import assess

    study = load_study(cases.write_study(tmp_path))
    families, result = screened(study)
    space = families.space
    digits = space.digits(np.arange(space.size))
    counted = dict.fromkeys(result.rejected, 0)
    for rows in space.groups(digits):
        found = space.candidates(digits[rows])
        possible = found.possible
        seen = assess(found.motors)
        pressure = seen.figures["port_over_throat"]
        counted["port_over_throat"] += int((possible & (pressure < 1.2)).sum())
        counted["maximum_pressure"] += int((possible & (seen.maximum_expected_pressure > 9e6)).sum())
        for mode in {rung.mode for rung in seen.ladder.rungs}:
            required = study.minimum_factor.get(mode)
            fails = np.zeros(len(rows), dtype=bool)
            for rung in seen.ladder.rungs:
                if rung.mode == mode:
                    fails |= ~(rung.factor >= (rung.required if required is None else required))
            counted[families.limit_name(mode)] += int((possible & fails).sum())
    for name in (
        "port_over_throat",
        "maximum_pressure",
        *map(families.limit_name, {t.mode for t in families.terms}),
    ):
        assert counted[name] == result.rejected[name], name


@pytest.mark.parametrize("size", [1, 2, 3, 10, 97, 1000])
def test_the_shuffle_meets_every_index_once(size):
    for seed in (1, 2):
        blocks = [indices_of(block, size, 7, seed) for block in range(-(-size // 7))]
        assert sorted(np.concatenate(blocks).tolist()) == list(range(size))
    assert shuffled(1000, 1) != shuffled(1000, 2)


def test_a_first_block_is_spread_over_the_space():
    first = indices_of(0, 100_000, 1000, 1)
    assert np.ptp(first) > 90_000 and np.histogram(first, bins=10, range=(0, 100_000))[0].min() > 50


def test_counting_patterns_agrees_with_counting_them():
    draw = np.random.default_rng(3)
    for size in (0, 1, 50, 513, 2000):
        threshold = draw.integers(0, 20, size).astype(float)
        mass = draw.integers(0, 20, size).astype(float)
        pressure, low = draw.integers(0, 20, 70).astype(float), draw.integers(-1, 12, 70).astype(float)
        high = low + draw.integers(0, 10, 70)
        wanted = [int(((threshold >= p) & (mass >= a) & (mass <= b)).sum()) for p, a, b in zip(pressure, low, high, strict=True)]
        assert count_within(threshold, mass, pressure, low, high).tolist() == wanted


def test_the_kernel_runs_once_for_each_distinct_ballistic_motor(cases, tmp_path, monkeypatch):
    from physics.ballistics import kernel

    search = 'throat_diameter = ["12 mm", "14 mm"]\nhold = "bore"\nwall = ["2 mm", "3 mm", "4 mm"]\n'
    search += "forward_closure.count = [6, 9]"
    families = Families(load_study(cases.write_study(tmp_path, search=search)))
    sizes = []
    plain = kernel.evaluate
    monkeypatch.setattr(kernel, "evaluate", lambda motors, **more: sizes.append(motors.size) or plain(motors, **more))
    screen(families, MemoryStore())
    assert sum(sizes) == 2


def test_a_scaled_screen_of_millions_is_quick_and_small(cases, tmp_path):
    """Two million candidates in one process; the benchmark does fifty million and more, and prints what it took."""
    search = (
        'core_diameter = {from = "15 mm", to = "19 mm", step = "1 mm"}\n'
        'throat_diameter = {from = "11 mm", to = "15 mm", step = "0.2 mm"}\nwall = ["2 mm", "3 mm", "4 mm"]\n'
        "forward_closure.count = {from = 4, to = 16}\n"
        'forward_closure.screw = ["#8-32 UNC", "#10-24 UNC", "1/4-20 UNC"]\n'
        'forward_closure.edge_distance = {from = "8 mm", to = "20 mm", step = "0.1 mm"}\n'
        "forward_closure.load_sharing = [0.8, 1.0]"
    )
    families, result = screened(load_study(cases.write_study(tmp_path, search=search)))
    assert result.evaluated == families.space.size > 2_000_000
    assert len(result.points) > 3 and 0 < result.feasible < result.evaluated
