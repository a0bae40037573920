"""The one door: tables, dispatch, maximum expected pressure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.ballistics import kernel, steady
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant, Tolerance

SINGLE = ((1e5, 12e6, 5e-3, 1e6, 0.35),)
JUMPS = ((1e5, 3e6, 5e-3, 1e6, 0.3), (3e6, 15e6, 6.5e-3, 1e6, 0.35))


def batch(size=1, law=SINGLE, sensitivity=0.002, soak=(263.15, 313.15), tolerances=None) -> Motors:
    generator = np.random.default_rng(11)
    table = np.array(law, dtype=float).T

    def spread(value, share=0.1):
        return value * generator.uniform(1 - share, 1 + share, size)

    core = spread(0.02)
    throat = core * generator.uniform(0.55, 0.9, size)
    return Motors(
        size,
        Propellant(
            np.array([1750.0]),
            np.array([1550.0]),
            np.array([1.2]),
            np.array([0.025]),
            *(row[None, :] for row in table),
            np.array([293.15]),
            np.array([sensitivity]),
        ),
        Grains(np.full((size, 1), 4.0), spread(0.085)[:, None], np.full((size, 1), 0.05), core[:, None], np.array([[2.0]])),
        Nozzle(throat, 2.4 * throat, np.array([0.25]), np.array([0.95]), np.array([0.0]), np.array([1e6])),
        Ambient(np.array([101325.0]), np.array([293.15]), np.array([soak])),
        tolerances=tolerances or {},
    )


class TestDoor:
    def test_refuses_an_unknown_kernel(self):
        with pytest.raises(ValueError, match="lumpy"):
            kernel.evaluate(batch(), "lumpy")
        with pytest.raises(ValueError, match="lumpy"):
            kernel.maximum_expected_pressure(batch(), "lumpy")

    def test_tables_have_units_and_meanings(self):
        assert all(figure.unit and figure.meaning for figure in kernel.FIGURES.values())
        assert all(kernel.FLAGS.values())


class TestTemperature:
    @pytest.mark.parametrize("law", [SINGLE, JUMPS])
    def test_hottest_soak_governs(self, law):
        motors = batch(30, law)
        hot = motors.with_values({"ambient.temperature": np.array([313.15])})
        np.testing.assert_allclose(kernel.maximum_expected_pressure(motors), kernel.evaluate(hot)["peak_head_pressure"], rtol=1e-12)

    def test_never_below_the_ambient_temperature(self):
        motors = batch(5, soak=(263.15,))
        np.testing.assert_allclose(
            kernel.maximum_expected_pressure(motors), kernel.evaluate(motors)["peak_head_pressure"], rtol=1e-12
        )

    def test_coldest_governs_where_cold_burns_faster(self):
        motors = batch(5, sensitivity=-0.002)
        cold = motors.with_values({"ambient.temperature": np.array([263.15])})
        np.testing.assert_allclose(
            kernel.maximum_expected_pressure(motors), kernel.evaluate(cold)["peak_head_pressure"], rtol=1e-12
        )

    def test_no_soak(self):
        motors = batch(3)
        motors = replace(motors, ambient=replace(motors.ambient, soak=np.empty((1, 0))))
        np.testing.assert_allclose(
            kernel.maximum_expected_pressure(motors), kernel.evaluate(motors)["peak_head_pressure"], rtol=1e-12
        )

    @settings(max_examples=30, deadline=None)
    @given(st.floats(0.0, 0.01), st.floats(0.1, 0.7))
    def test_figures_at_hand_change_nothing(self, sensitivity, exponent):
        motors = batch(8, ((1e5, 12e6, 5e-3, 1e6, exponent),), sensitivity)
        figures = kernel.evaluate(motors)
        np.testing.assert_allclose(
            kernel.maximum_expected_pressure(motors, "steady", figures),
            kernel.maximum_expected_pressure(motors),
            rtol=1e-9,
        )

    def test_a_hopeless_neighbour_does_not_change_the_last_digit(self):
        """A throat far too wide keeps its chamber at ambient pressure; the others take the short way all the same."""
        motors = batch(6)
        throats = motors.nozzle.throat_diameter * np.array([1.0, 1.0, 30.0, 1.0, 1.0, 1.0])
        mixed = motors.with_values({"nozzle.throat_diameter": throats, "nozzle.exit_diameter": 2.4 * throats})
        figures = kernel.evaluate(mixed)
        assert figures.flags["nozzle_unchoked"].tolist() == [False, False, True, False, False, False]
        whole = kernel.maximum_expected_pressure(mixed, "steady", figures)
        for index in range(6):
            one = mixed.take([index])
            alone = kernel.maximum_expected_pressure(one, "steady", kernel.evaluate(one))
            np.testing.assert_array_equal(alone, whole[[index]])
        np.testing.assert_allclose(whole, kernel.maximum_expected_pressure(mixed), rtol=1e-9)


class TestTolerances:
    def corner(self, tolerances, changes, **options):
        motors = batch(20, tolerances=tolerances, **options)
        expected = batch(20, **options).with_values({key: change(motors.value(key)) for key, change in changes.items()})
        np.testing.assert_allclose(kernel.maximum_expected_pressure(motors), kernel.maximum_expected_pressure(expected), rtol=1e-12)
        nominal = kernel.maximum_expected_pressure(batch(20, **options))
        assert (kernel.maximum_expected_pressure(motors) > nominal).all()

    def test_smaller_throat(self):
        self.corner({"nozzle.throat_diameter": Tolerance(minus=1e-4, plus=3e-4)}, {"nozzle.throat_diameter": lambda v: v - 1e-4})

    def test_faster_rate_by_three_standard_deviations(self):
        self.corner(
            {"propellant.rate": Tolerance(standard_deviation=0.03, relative=True)},
            {"propellant.rate": lambda v: v * 1.09},
        )

    def test_all_at_once(self):
        self.corner(
            {
                "nozzle.throat_diameter": Tolerance(minus=1e-4, plus=1e-4),
                "grain.length": Tolerance(minus=1e-3, plus=1e-3),
                "propellant.density": Tolerance(minus=0.02, plus=0.01, relative=True),
            },
            {
                "nozzle.throat_diameter": lambda v: v - 1e-4,
                "grain.length": lambda v: v + 1e-3,
                "propellant.density": lambda v: v * 1.01,
            },
            law=JUMPS,
        )

    def test_the_side_may_differ_from_motor_to_motor(self):
        """A wider core lowers the head pressure of a tight port and may raise the Kn of a stubby grain."""
        tolerances = {"grain.core_diameter": Tolerance(minus=1e-3, plus=1e-3)}
        motors = batch(60, tolerances=tolerances)
        found = kernel.maximum_expected_pressure(motors)
        sides = [
            kernel.maximum_expected_pressure(batch(60).with_values({"grain.core_diameter": motors.grain.core_diameter + shift}))
            for shift in (-1e-3, 0.0, 1e-3)
        ]
        assert (found >= np.max(sides, axis=0) * (1.0 - 1e-12)).all()
        np.testing.assert_allclose(found, np.max(sides, axis=0), rtol=1e-3)  # between the ends it may be a little higher

    def test_what_ballistics_does_not_read_is_left_alone(self):
        motors = batch(5, tolerances={"case.wall": Tolerance(minus=0.1, relative=True), "case.length": Tolerance(minus=1e-4)})
        np.testing.assert_array_equal(kernel.maximum_expected_pressure(motors), kernel.maximum_expected_pressure(batch(5)))

    def test_figures_at_hand_do_not_hide_a_tolerance(self):
        motors = batch(5, tolerances={"propellant.rate": Tolerance(plus=0.05, relative=True)})
        np.testing.assert_array_equal(
            kernel.maximum_expected_pressure(motors, "steady", kernel.evaluate(motors)),
            kernel.maximum_expected_pressure(motors),
        )

    def test_batch_equals_one_by_one(self):
        motors = batch(12, JUMPS, tolerances={"nozzle.throat_diameter": Tolerance(minus=1e-4, plus=1e-4)})
        whole = kernel.maximum_expected_pressure(motors)
        for index in range(12):
            np.testing.assert_allclose(kernel.maximum_expected_pressure(motors.take([index])), whole[index], rtol=1e-12)

    def test_empty(self):
        empty = batch(3, tolerances={"propellant.rate": Tolerance(plus=0.05, relative=True)}).take([])
        assert kernel.maximum_expected_pressure(empty).shape == (0,)


def test_light_path_is_the_full_kernel():
    for law in (SINGLE, JUMPS):
        motors = batch(50, law)
        np.testing.assert_allclose(steady.peak_head_pressure(motors), kernel.evaluate(motors)["peak_head_pressure"], rtol=1e-12)


@pytest.mark.parametrize("name", ["steady", "transient"])
def test_figures_come_in_the_order_of_their_table(name):
    assert list(kernel.evaluate(batch(2), name).values) == list(kernel.FIGURES)
