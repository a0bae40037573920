"""What must hold for any motor: mass, similarity, the limit the two kernels share, and batches that change nothing.

The checks go through the whole assessment: figures of both kernels, the failure ladder and the masses together.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from effort import examples
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.assessment import assess
from physics.ballistics import kernel, steady, transient
from physics.materials import material
from physics.motors import Ambient, Case, Closure, Grains, Motors, Nozzle, Propellant, Screws, Seal

RATES = (
    ((1e5, 12e6, 6.5e-3, 5e6, 0.33),),
    ((1e5, 2.5e6, 6e-3, 1e6, 0.3), (2.5e6, 5e6, 4.5e-3, 1e6, 0.45), (5e6, 15e6, 3.5e-3, 1e6, 0.5)),
    # In the shape of published sugar-propellant fits (remembered): a plateau, falling exponents, jumps at the joins.
    ((0.103e6, 0.779e6, 8.875e-3, 1e6, 0.619), (0.779e6, 2.572e6, 7.553e-3, 1e6, -0.009), (2.572e6, 5.93e6, 3.841e-3, 1e6, 0.688)),
)
LENGTHS = (
    "grain.length", "grain.outer_diameter", "grain.core_diameter", "nozzle.throat_diameter", "nozzle.exit_diameter",
    "case.outer_diameter", "case.wall", "case.length", "forward_closure.plate_thickness",
)  # fmt: skip
SCREWS = (
    "diameter", "pitch", "edge_distance", "hole_diameter", "ring_edge_distance", "ring_thickness",
)  # fmt: skip
READ_THE_BURN = {"grain support", "case yield hot"}
"""Rungs that read the flow or the heat of the burn, and so may move with it."""


def batch(draws: np.ndarray, law: tuple = RATES[0]) -> Motors:
    """Motors of one shape of table from draws (n, 8) in [0, 1]: proportions of ordinary small motors, all parts given."""
    size = len(draws)
    part = iter(draws.T)

    def between(low: float, high: float) -> np.ndarray:
        return low + (high - low) * next(part)

    outer = between(0.03, 0.09)
    core = outer * between(0.3, 0.6)
    length = outer * between(1.2, 2.2)
    throat = core * between(0.45, 0.8)
    wall = between(0.0015, 0.004)
    count = np.round(between(2.0, 10.0))
    gap = between(1e-5, 1e-4)
    expansion = between(3.0, 9.0)
    column = np.ones(size)
    rate = np.array(law).T
    diameter = 0.0048 * column
    screws = Screws(
        diameter, 0.0008 * column, column, 7e8 * column, count, 0.014 * column, 0.005 * column, column, column,
        1.15 * column, 0.009 * column, 0.008 * column,
    )  # fmt: skip
    seal = Seal(2 * column, 0.00353 * column, 0.0028 * column, gap, 70 * column)
    aluminium = material("6061-T6")
    rows = np.stack([3 * column, length, outer, core, 2 * column])[:, :, None]
    return Motors(
        size=size,
        propellant=Propellant(
            1700 * column, 1480 * column, 1.21 * column, 0.024 * column, *(row[None, :] for row in rate), 293.15 * column,
            0.0015 * column,
        ),
        grain=Grains(*rows),
        nozzle=Nozzle(throat, throat * np.sqrt(expansion), 0.25 * column, 0.95 * column, 0 * column, 5e6 * column),
        ambient=Ambient(101325 * column, 293.15 * column, np.array([[268.15, 313.15]])),
        case=Case(aluminium, outer + 2 * wall + 0.004, wall, 3 * length + 0.1),
        forward_closure=Closure(
            "radial-screws", screws, ring_material=aluminium, plate_material=aluminium, plate_thickness=0.012 * column, seal=seal
        ),
    )  # fmt: skip


def drawn(seed: int, size: int) -> np.ndarray:
    return np.random.default_rng(seed).random((size, 8))


seeds = st.integers(0, 2**32 - 1)
laws = st.sampled_from(RATES)


def numbers(found) -> dict[str, np.ndarray]:
    """Every number of an assessment by a name of its own."""
    columns = {f"figure {name}": value for name, value in found.figures.values.items()}
    columns |= {f"flag {name}": value for name, value in found.figures.flags.items()}
    columns["maximum expected pressure"] = found.maximum_expected_pressure
    for rung in found.ladder.rungs:
        for name in ("pressure", "time", "factor", "ok"):
            value = getattr(rung, name)
            if value is not None:
                columns[f"{rung.mode}, {rung.part}: {name}"] = np.broadcast_to(value, (found.motors.size,))
    return columns | {f"mass of {name}": value for name, value in found.masses.items()}


class TestMass:
    @settings(max_examples=examples(25, 8), deadline=None)
    @given(seeds, laws)
    def test_steady_passes_through_the_throat_what_the_grains_weigh(self, seed, law):
        motors = batch(drawn(seed, 6), law)
        found = steady.evaluate(motors)
        gone = found["pressure_integral"] * np.pi / 4 * motors.nozzle.throat_diameter**2 / motors.propellant.characteristic_velocity
        burning = ~found.flags["nozzle_unchoked"] & ~found.flags["extinguished"]
        np.testing.assert_allclose(gone[burning], found["propellant_mass"][burning], rtol=1e-11)
        hollow = np.pi / 4 * (motors.grain.outer_diameter**2 - motors.grain.core_diameter**2) * motors.grain.length
        weight = 1700 * (motors.grain.count * hollow).sum(axis=1)
        np.testing.assert_allclose(found["propellant_mass"], weight, rtol=1e-12)

    @pytest.mark.slow
    @settings(max_examples=5, deadline=None)
    @given(seeds)
    def test_transient_lets_out_what_the_grains_weigh(self, seed):
        found = transient.evaluate(batch(drawn(seed, 3)), curve=True)
        assert found.curve is not None
        for row in range(3):
            time, flow = found.curve.time[row], found.curve.mass_flow[row]
            known = np.isfinite(time)
            out = np.trapezoid(flow[known], time[known])
            if not (found.flags["port_choked"][row] or found.flags["extinguished"][row]):
                assert out == pytest.approx(found["propellant_mass"][row], rel=0.01)


POWERS = {
    "burn_time": 1, "action_time": 1, "pressure_integral": 1, "final_throat_diameter": 1, "total_impulse": 3,
    "propellant_mass": 3, "mean_thrust": 2, "peak_thrust": 2, "peak_mass_flow": 2,
}  # fmt: skip
"""How each figure of a motor k times as large goes with k; the others do not change."""


class TestSimilarity:
    """A motor k times as large has the same Kn and pressures; times go with k, impulse and masses with k cubed."""

    @staticmethod
    def larger(motors: Motors, scale: float) -> Motors:
        names = [*LENGTHS, *(f"forward_closure.screws.{name}" for name in SCREWS)]
        return motors.with_values({name: motors.value(name) * scale for name in names})

    @settings(max_examples=examples(25, 8), deadline=None)
    @given(seeds, st.floats(0.3, 4.0), laws)
    def test_steady_with_case_and_screws(self, seed, scale, law):
        motors = batch(drawn(seed, 4), law)
        # The tolerances of threads and the chart of seals have sizes of their own; a shank has none.
        closure = motors.forward_closure
        screws = replace(closure.screws, threads_in_plane=np.zeros(4))
        motors = replace(motors, forward_closure=replace(closure, seal=None, screws=screws))
        small, large = numbers(assess(motors)), numbers(assess(self.larger(motors, scale)))
        assert {"screw shear, forward closure: pressure", "case burst, case: pressure"} <= set(small)
        for name, value in small.items():
            kind, _, rest = name.partition(" ")
            power = POWERS.get(rest, 0) if kind == "figure" else 3 if kind == "mass" else 0
            if kind == "flag" or name.endswith(": ok"):
                continue
            np.testing.assert_allclose(large[name], value * scale**power, rtol=1e-8, err_msg=name)

    @pytest.mark.slow
    @settings(max_examples=4, deadline=None)
    @given(seeds, st.floats(0.5, 3.0))
    def test_transient(self, seed, scale):
        motors = batch(drawn(seed, 2))
        small, large = transient.evaluate(motors), transient.evaluate(self.larger(motors, scale))
        for name, value in small.values.items():
            # The ignition transient ends at a fixed ambient pressure and the steps are chosen in scaled time.
            np.testing.assert_allclose(large[name], value * scale ** POWERS.get(name, 0), rtol=1e-6, err_msg=name)


class TestLimitOfTheKernels:
    @pytest.mark.slow
    def test_a_denser_slower_propellant_brings_the_transient_to_the_steady_answer(self):
        """Density times k and rate over k leave pressure and flow alone and stretch the burn by k, so that filling and
        blow-down matter k times less. With the rate at chamber pressure nothing else tells the two kernels apart."""
        motors = batch(drawn(7, 3))
        gaps = []
        for factor in (1.0, 4.0, 16.0, 64.0):
            slow = motors.with_values({
                "propellant.density": motors.propellant.density * factor, "propellant.rate": motors.propellant.rate / factor,
            })  # fmt: skip
            quasi, full = steady.evaluate(slow), transient.evaluate(slow, rate_pressure="chamber", web_steps=160)
            names = ("total_impulse", "pressure_integral", "burn_time", "peak_pressure")
            gaps.append([np.abs(full[name] / quasi[name] - 1.0).max() for name in names])
        table = np.array(gaps)
        assert (table[0] > 1e-4).any(), "there must be something to close"
        assert (table[-1] < 1.5e-3).all(), table
        assert (table[-1] <= np.maximum(table[0], 1e-4)).all(), table

    @pytest.mark.slow
    def test_what_is_burnt_is_gone_to_the_last_bit(self):
        """Bore and twice the web may round to less than the outer diameter; such a hair must not burn on for seconds."""
        for seed in (9000, 9003, 9006):
            motors = batch(drawn(seed, 64))
            found, quasi = transient.evaluate(motors), steady.evaluate(motors)
            np.testing.assert_allclose(found["burn_time"], quasi["burn_time"], rtol=0.05)


class TestLadder:
    @settings(max_examples=examples(25, 8), deadline=None)
    @given(seeds, st.floats(0.7, 1.3))
    def test_pressures_at_which_parts_fail_do_not_know_the_operating_pressure(self, seed, squeeze):
        motors = batch(drawn(seed, 4))
        other = motors.with_values({
            "nozzle.throat_diameter": motors.nozzle.throat_diameter * squeeze,
            "propellant.rate": motors.propellant.rate * 0.9,
        })  # fmt: skip
        one, two = assess(motors), assess(other)
        assert (np.abs(one.maximum_expected_pressure / two.maximum_expected_pressure - 1.0) > 1e-3).any()
        seen = 0
        for left, right in zip(one.ladder.rungs, two.ladder.rungs, strict=True):
            if left.pressure is not None and left.mode not in READ_THE_BURN:
                np.testing.assert_array_equal(left.pressure, right.pressure, err_msg=left.mode)
                seen += 1
        assert seen >= 10

    @settings(max_examples=examples(25, 8), deadline=None)
    @given(seeds)
    def test_factors_fall_where_the_expected_pressure_rises(self, seed):
        motors = batch(drawn(seed, 4))
        tight = motors.with_values({"nozzle.throat_diameter": motors.nozzle.throat_diameter * 0.9})
        one, two = assess(motors), assess(tight)
        higher = two.maximum_expected_pressure > one.maximum_expected_pressure
        for left, right in zip(one.ladder.rungs, two.ladder.rungs, strict=True):
            if left.pressure is not None and left.mode not in READ_THE_BURN:
                assert (np.broadcast_to(right.factor < left.factor, higher.shape) == higher).all(), left.mode


class TestBatches:
    @pytest.mark.parametrize("kind", ["steady", pytest.param("transient", marks=pytest.mark.slow)])
    def test_order_and_size_of_a_batch_change_no_digit(self, kind):
        motors = batch(drawn(11, 7 if kind == "transient" else 40), RATES[1])
        whole = numbers(assess(motors, kernel=kind))
        order = np.random.default_rng(3).permutation(motors.size)
        shuffled = numbers(assess(motors.take(order), kernel=kind))
        for name, value in whole.items():
            np.testing.assert_array_equal(shuffled[name], value[order], err_msg=name)
        for row in range(0, motors.size, 3):
            alone = numbers(assess(motors.take(slice(row, row + 1)), kernel=kind))
            for name, value in whole.items():
                np.testing.assert_array_equal(alone[name], value[row : row + 1], err_msg=name)

    @settings(max_examples=examples(10, 4), deadline=None)
    @given(seeds, st.integers(1, 30), laws)
    def test_the_block_of_the_steady_kernel_changes_no_digit(self, seed, block, law):
        motors = batch(drawn(seed, 25), law)
        whole = kernel.evaluate(motors)
        before, steady.BLOCK = steady.BLOCK, block
        try:
            parts = kernel.evaluate(motors)
        finally:
            steady.BLOCK = before
        for name, value in whole.values.items():
            np.testing.assert_array_equal(parts[name], value, err_msg=name)
