"""Chances over scattered strengths: against counting, against closed forms, and what tests do to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from physics.failure import chances
from physics.failure.chances import Model, Tested, first_to_fail
from physics.failure.scatter import Certainty


def sure(strength: float, formula: float, lot: str = "") -> Certainty:
    return Certainty(1.0, strength, formula, lot, ())


def model(*rows: tuple[str, float, Certainty], tests: tuple[Tested, ...] = ()) -> Model:
    margins = {(name, "part"): np.array([margin]) for name, margin, _ in rows}
    return Model(margins, {(name, "part"): one for name, _, one in rows}, tests)


def chance(subject: Model, points: int = 0) -> chances.Estimate:
    """Of one motor as drawn: without tests of copies nothing is drawn, and the answer is an integral."""
    return chances.chances(subject, points or (1024 if any(test.of_copy for test in subject.tests) else 8))[0]


def drawn(subject: Model, n: int = 1 << 20) -> tuple[np.ndarray, np.ndarray]:
    """Margins of n motors drawn at random, each rung in a row, and which of them did in all tests what was seen."""
    rng = np.random.default_rng(2)
    z = {lot: rng.standard_normal(n) for lot in subject.lots()}
    rows, seen = [], np.ones(n, dtype=bool)
    for key, margin in subject.margins.items():
        one, e = subject.certainty[key], rng.standard_normal(n)
        rows.append(margin + one.strength_scatter * z.get(one.lot, 0.0) + one.formula_scatter * e)
        for test in subject.tests:
            if test.key == key:
                lot = (chances.ANOTHER_COPY if test.copy else "") + one.lot
                strength = test.margin + one.strength_scatter * z.get(lot, 0.0) + one.formula_scatter * e
                seen &= (strength > 0.0) == test.held
    return np.array(rows), seen


TWO = (("a", 0.12, sure(0.06, 0.05, "tube")), ("b", 0.15, sure(0.06, 0.10, "tube")), ("c", 0.5, sure(0.0, 0.4)))


class TestAgainstCounting:
    @pytest.mark.parametrize(
        "tests",
        [
            (),
            (Tested(("a", "part"), np.array([0.05])),),
            (Tested(("a", "part"), np.array([0.0])), Tested(("c", "part"), np.array([0.1]))),
            (Tested(("b", "part"), np.array([-0.05]), held=False, copy=True),),
            (Tested(("a", "part"), np.array([0.02]), copy=True),),
        ],
    )
    def test_the_chance_is_that_of_a_million_motors(self, tests: tuple[Tested, ...]) -> None:
        subject = model(*TWO, tests=tests)
        rows, seen = drawn(subject)
        counted = float(np.mean((rows[:, seen] < 0.0).any(axis=0)))
        found = chance(subject)
        error = 4.0 * np.sqrt(counted * (1.0 - counted) / seen.sum()) + (found.high - found.low)
        assert abs(found.value - counted) < error and found.high - found.low < 0.02

    @pytest.mark.parametrize("tests", [(), (Tested(("c", "part"), np.array([0.3])),)])
    def test_shares_of_the_first_are_those_of_a_million_motors(self, tests: tuple[Tested, ...]) -> None:
        subject = model(*TWO, tests=tests)
        rows, seen = drawn(subject)
        first = np.argmin(rows[:, seen], axis=0)
        shares = first_to_fail(subject)
        for place, (name, _, _) in enumerate(TWO):
            assert shares[name, "part"] == pytest.approx(np.mean(first == place), abs=0.02)
        assert sum(shares.values()) == pytest.approx(1.0)


class TestAgainstClosedForms:
    def test_one_rung(self) -> None:
        assert chance(model(("a", 0.3, sure(0.0, 0.1)))).value == pytest.approx(norm.cdf(-3.0), rel=1e-12)

    def test_a_tiny_chance_is_a_number(self) -> None:
        # past the points' own reach: no counting on so many points could say more than "below 1 in 1400"
        assert chance(model(("a", 0.8, sure(0.0, 0.1)))).value == pytest.approx(norm.cdf(-8.0), rel=1e-9, abs=0.0)

    @pytest.mark.parametrize("formula", [0.0, 0.005, 0.03, 0.2])
    @pytest.mark.parametrize("margin", [-0.1, 0.05, 0.3, 0.5])
    def test_strength_and_formula_join_as_they_should_in_the_far_tail(self, formula: float, margin: float) -> None:
        """One rung is a normal distribution whatever part of it the lot shares; counting points would miss a weak lot."""
        found = chance(model(("a", margin, sure(0.1, formula, "tube"))), 64).value
        exact = norm.cdf(-margin / np.hypot(0.1, formula))
        # a formula without any scatter is a step, on which trapezoids are half a step wide
        assert found == pytest.approx(exact, rel=0.2 if formula == 0.0 else 0.02 if formula < 0.01 else 1e-6, abs=0.0)

    def test_two_rungs_of_one_lot_are_a_bivariate_normal(self) -> None:
        found = chance(model(*TWO[:2]))
        spread = np.array([[0.06**2 + 0.05**2, 0.06**2], [0.06**2, 0.06**2 + 0.10**2]])
        both = float(multivariate_normal(mean=[0, 0], cov=spread).cdf([0.12, 0.15]))
        assert found.value == pytest.approx(1.0 - both, rel=1e-4)

    def test_a_lot_makes_rungs_fail_together(self) -> None:
        apart = model(*(("a", 0.1, sure(0.06, 0.02, "x")), ("b", 0.1, sure(0.06, 0.02, "y"))))
        together = model(*(("a", 0.1, sure(0.06, 0.02, "x")), ("b", 0.1, sure(0.06, 0.02, "x"))))
        assert chance(together).value < chance(apart).value

    def test_what_is_not_known_fails_and_what_never_comes_does_not(self) -> None:
        unknown = model(("a", float("nan"), sure(0.0, 0.1)))
        assert chance(unknown).value == 1.0 and first_to_fail(unknown) == {}
        assert chance(model(("a", float("inf"), sure(0.0, 0.4)))).value == 0.0
        assert chance(model(("a", float("-inf"), sure(0.0, 0.4)))).value == 1.0


class TestTests:
    @settings(max_examples=40, deadline=None)
    @given(st.floats(-0.3, 0.5), st.sampled_from("abc"), st.booleans())
    def test_a_held_test_never_raises_the_chance(self, margin: float, name: str, copy: bool) -> None:
        before = chance(model(*TWO)).value
        after = chance(model(*TWO, tests=(Tested((name, "part"), np.array([margin]), copy=copy),))).value
        assert after <= before + 2e-4

    def test_held_beyond_what_it_meets_it_cannot_fail(self) -> None:
        rung = ("a", 0.1, sure(0.06, 0.05, "tube"))
        held = Tested(("a", "part"), np.array([0.05]))
        assert chance(model(rung, tests=(held,))).value == pytest.approx(0.0, abs=1e-12)

    def test_another_copy_teaches_less_than_these_very_parts(self) -> None:
        rung = ("a", 0.1, sure(0.06, 0.05, "tube"))
        own, other = (
            chance(model(rung, tests=(Tested(("a", "part"), np.array([0.08]), copy=copy),))).value for copy in (False, True)
        )
        assert own < other < chance(model(rung)).value

    def test_a_failure_raises_it(self) -> None:
        rung = ("a", 0.3, sure(0.06, 0.10, "tube"))
        failed = Tested(("a", "part"), np.array([0.05]), held=False, copy=True)
        assert chance(model(rung, tests=(failed,))).value > chance(model(rung)).value

    def test_what_contradicts_the_model_is_told(self) -> None:
        rung = ("a", 0.1, sure(0.0, 0.01))
        held = Tested(("a", "part"), np.array([0.5]), held=False)
        assert np.isnan(chance(model(rung, tests=(held, Tested(("a", "part"), np.array([-0.5]))))).value)


def test_points_are_the_same_every_time() -> None:
    assert first_to_fail(model(*TWO)) == first_to_fail(model(*TWO))
    assert chance(model(*TWO)) == chance(model(*TWO))


class TestBands:
    RUNG = ("a", 0.3, sure(0.06, 0.10, "tube"))

    def test_without_tests_there_is_none_and_an_idle_test_leaves_the_normal_one(self) -> None:
        assert chances.bands(model(self.RUNG)) == {}
        idle = Tested(("a", "part"), np.array([5.0]))
        low, middle, high = chances.bands(model(self.RUNG, tests=(idle,)))["a", "part"]
        reach = 1.6449 * np.hypot(0.06, 0.10)
        assert (low, middle, high) == pytest.approx((0.3 - reach, 0.3, 0.3 + reach), abs=2e-3)

    @pytest.mark.parametrize("held", [True, False])
    def test_it_is_what_is_left_of_a_million_motors(self, held: bool) -> None:
        test = Tested(("a", "part"), np.array([-0.02 if held else 0.1]), held=held)
        subject = model(self.RUNG, ("b", 0.2, sure(0.06, 0.05, "tube")), tests=(test,))
        rows, seen = drawn(subject)
        found = chances.bands(subject)["a", "part"]
        assert found == pytest.approx(np.percentile(rows[0, seen], (5, 50, 95)), abs=4e-3)
        assert set(chances.bands(subject)) == {("a", "part")}  # b was not in that test, though its tube was

    @pytest.mark.parametrize("gone", [True, False])
    def test_the_band_of_what_failed_or_leaked_ends_there(self, gone: bool) -> None:
        failed = Tested(("a", "part"), np.array([0.05]), held=False, gone=gone)
        low, middle, high = chances.bands(model(self.RUNG, tests=(failed,)))["a", "part"]
        assert low < middle < high <= 0.3 - 0.05

    def test_of_what_is_gone_the_next_one_learns_the_formula_alone(self) -> None:
        there, gone = (Tested(("a", "part"), np.array([0.05]), held=False, gone=gone) for gone in (False, True))
        copied = replace(gone, gone=False, copy=True)
        found = {name: chance(model(self.RUNG, tests=(one,))).value for name, one in (("there", there), ("gone", gone))}
        assert found["gone"] == chance(model(self.RUNG, tests=(copied,))).value
        assert min(found.values()) > 2.0 * chance(model(self.RUNG)).value

    def test_what_contradicts_the_model_leaves_none(self) -> None:
        tests = (Tested(("a", "part"), np.array([3.0]), held=False), Tested(("a", "part"), np.array([-3.0])))
        assert chances.bands(model(("a", 0.1, sure(0.0, 0.01)), tests=tests)) == {}


SCATTERS = st.floats(0.01, 0.3)


class TestAnyHeldTest:
    @settings(max_examples=60, deadline=None)
    @given(
        st.lists(
            st.tuples(st.floats(-0.1, 0.6), SCATTERS, SCATTERS, st.sampled_from(["tube", "screws", ""])), min_size=1, max_size=6
        ),
        st.lists(st.tuples(st.integers(0, 5), st.floats(-0.3, 0.5), st.booleans()), min_size=1, max_size=4),
    )
    def test_one_more_that_held_never_raises_the_chance(self, rows: list, tests: list) -> None:
        """Whatever the rungs and their lots: strengths go up together, so what held speaks for all.

        All that held together never does, and no further test of this very hardware. One more of another copy may, a little,
        after one of this hardware: what speaks for the formula leaves less to say for this tube.
        """
        rungs = [(str(place), margin, sure(s, f, lot)) for place, (margin, s, f, lot) in enumerate(rows)]
        held = tuple(Tested((str(at % len(rungs)), "part"), np.array([margin]), copy=copy) for at, margin, copy in tests)
        here = tuple(test for test in held if not test.copy)
        for before, after in (((), held), (here[:-1], here)):
            old, new = (chance(model(*rungs, tests=some)) for some in (before, after))
            if np.isfinite(new.value):
                assert new.value <= old.value * (1.0 + 1e-9) + (new.high - new.low) + (1e-3 if after is held else 1e-12)

    def test_a_tube_says_nothing_of_screws_and_something_of_its_burst(self) -> None:
        rungs = (
            ("yield", 0.2, sure(0.08, 0.03, "tube")),
            ("burst", 0.2, sure(0.08, 0.07, "tube")),
            ("screws", 0.2, sure(0.08, 0.07, "box")),
        )
        held = Tested(("yield", "part"), np.array([0.05]))

        def each(tests: tuple[Tested, ...]) -> dict:
            return {key[0]: one.value for key, one in chances.chances(model(*rungs, tests=tests), 512)[1].items()}

        bare, known = each(()), each((held,))
        assert known["yield"] < 0.02 * bare["yield"] and known["burst"] < 0.9 * bare["burst"]
        assert known["screws"] == pytest.approx(bare["screws"], rel=0.01)
        copied = each((replace(held, copy=True),))
        assert copied["burst"] == pytest.approx(bare["burst"], rel=0.01)  # another tube says nothing of this one's metal
