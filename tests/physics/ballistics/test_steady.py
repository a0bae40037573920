"""The steady kernel against an independent adaptive integration, and its invariants."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, fields, replace
from itertools import pairwise

import numpy as np
import pytest
from effort import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from physics.ballistics import kernel, smooth, steady
from physics.ballistics.stretches import columns
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant

SINGLE = [(1e5, 12e6, 5e-3, 1e6, 0.35)]
# Rows in the shape of published sugar-propellant fits (remembered): plateaus, negative exponents, jumps at the joins.
PLATEAU = [
    (0.103e6, 0.779e6, 8.875e-3, 1e6, 0.619),
    (0.779e6, 2.572e6, 7.553e-3, 1e6, -0.009),
    (2.572e6, 5.930e6, 3.841e-3, 1e6, 0.688),
    (5.930e6, 8.502e6, 17.20e-3, 1e6, -0.148),
    (8.502e6, 11.20e6, 4.775e-3, 1e6, 0.442),
]
DROPS = [(1e5, 2.5e6, 6e-3, 1e6, 0.3), (2.5e6, 5e6, 4.5e-3, 1e6, 0.45), (5e6, 15e6, 3.5e-3, 1e6, 0.5)]
RISES = [(1e5, 3e6, 5e-3, 1e6, 0.3), (3e6, 15e6, 6.5e-3, 1e6, 0.35)]


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=float)


def motor(
    rows,
    law=SINGLE,
    throat=0.016,
    expansion=6.0,
    gamma=1.2,
    efficiency=0.95,
    half_angle=0.25,
    ambient=101325.0,
    sensitivity=0.0,
    temperature=293.15,
    soak=(293.15,),
    tolerances=None,
    density=1750.0,
    characteristic_velocity=1550.0,
) -> Motors:
    grain = np.array(rows, dtype=float)
    rate = np.array(law, dtype=float).T
    return Motors(
        size=1,
        propellant=Propellant(
            column(density),
            column(characteristic_velocity),
            column(gamma),
            column(0.025),
            *(row[None, :] for row in rate),
            column(293.15),
            column(sensitivity),
        ),
        grain=Grains(*(grain[None, :, i] for i in range(5))),
        nozzle=Nozzle(
            column(throat),
            column(throat * np.sqrt(expansion)),
            column(half_angle),
            column(efficiency),
            column(0.0),
            column(1e6),
        ),
        ambient=Ambient(column(ambient), column(temperature), np.array([soak], dtype=float)),
        tolerances=tolerances or {},
    )


def stacked(motors: list[Motors]) -> Motors:
    """A batch of motors of the same shape."""

    def join(parts):
        first = parts[0]
        if isinstance(first, np.ndarray):
            return np.concatenate(parts)
        if hasattr(first, "__dataclass_fields__"):
            return replace(
                first,
                **{
                    item.name: join([getattr(part, item.name) for part in parts])
                    for item in fields(first)
                    if isinstance(getattr(first, item.name), np.ndarray)
                    or hasattr(getattr(first, item.name), "__dataclass_fields__")
                },
            )
        return first

    return replace(join(motors), size=len(motors))


ROW = ("count", "length", "outer_diameter", "core_diameter", "burning_ends")
"""What the burnback of a row goes by; which of its faces is bare does not matter to it."""


@dataclass
class Adaptive:
    """One motor by plain scalar code and adaptive quadrature; shares nothing with the kernel but the definitions."""

    motors: Motors

    def __post_init__(self):
        g, p, n = self.motors.grain, self.motors.propellant, self.motors.nozzle
        self.rows = [tuple(float(getattr(g, name)[0, i]) for name in ROW) for i in range(g.count.shape[1])]
        warm = np.exp(p.temperature_sensitivity[0] * (self.motors.ambient.temperature[0] - 293.15))
        self.law = [
            tuple(map(float, row))
            for row in zip(p.rate_from[0], p.rate_to[0], p.rate[0] * warm, p.rate_at[0], p.exponent[0], strict=True)
        ]
        self.impedance = float(p.density[0] * p.characteristic_velocity[0])
        self.gamma = float(p.gamma[0])
        self.throat_area = np.pi / 4 * float(n.throat_diameter[0]) ** 2
        self.expansion = float(n.exit_diameter[0] / n.throat_diameter[0]) ** 2
        self.angle = (1 + np.cos(float(n.half_angle[0]))) / 2 * float(n.efficiency[0])
        self.ambient = float(self.motors.ambient.pressure[0])
        self.exit_mach = self.mach(self.expansion, 1.0 + 1e-12, 60.0) if self.expansion > 1 else 1.0

    def web(self, row):
        count, length, outer, core, ends = row
        if not count:
            return 0.0
        choices = ([(outer - core) / 2] if core > 0 else []) + ([length / ends] if ends else [])
        return min(choices) if choices else 0.0

    def row_area(self, row, x):
        count, length, outer, core, ends = row
        if not count or x >= self.web(row):
            return 0.0
        bore = core + 2 * x if core > 0 else 0.0
        port = np.pi * bore * (length - ends * x)
        return count * (port + ends * np.pi / 4 * (outer**2 - bore**2))

    def kn(self, x):
        return sum(self.row_area(row, x) for row in self.rows) / self.throat_area

    def pressure(self, kn):
        """First pressure, coming from below, at which the nozzle passes what burns at `kn`."""
        found = None
        for number, (low, high, rate, at, exponent) in enumerate(self.law):
            low = 0.0 if number == 0 else low
            high = np.inf if number == len(self.law) - 1 else high
            root = (self.impedance * rate * at**-exponent * kn) ** (1 / (1 - exponent))
            if root <= high:
                found = max(root, low)
                break
        return max(found, self.ambient)

    def rate(self, kn):
        pressure = self.pressure(kn)
        if pressure > self.ambient:
            return pressure / (self.impedance * kn)
        for _, high, rate, at, exponent in self.law:
            if pressure <= high:
                return rate * (pressure / at) ** exponent
        raise AssertionError

    def ratio(self, mach):
        return (1 + (self.gamma - 1) / 2 * mach**2) ** (-self.gamma / (self.gamma - 1))

    def area_ratio(self, mach):
        g = self.gamma
        return (2 / (g + 1) * (1 + (g - 1) / 2 * mach**2)) ** ((g + 1) / (2 * (g - 1))) / mach

    def mach(self, ratio, low, high):
        return brentq(lambda m: self.area_ratio(m) - ratio, low, high, xtol=1e-15)

    def thrust(self, pressure):
        g, over = self.gamma, pressure / self.ambient
        critical = ((g + 1) / 2) ** (g / (g - 1))
        if over < critical:
            reach = max(over, 1.0) ** ((g - 1) / g)
            speed = np.sqrt(2 * g / (g - 1) * (1 - 1 / reach))
            return self.angle * pressure * self.throat_area * speed * (2 / (g + 1)) ** ((g + 1) / 2 / (g - 1)) * g**0.5
        mach, area = self.exit_mach, self.expansion
        wall = (1.88 * mach - 1) ** -0.64 if 1.88 * mach > 2 else 1.0
        if self.ratio(mach) * over < wall:
            near = (1.88 * 1.2 - 1) ** -0.64 / self.ratio(1.2)
            if over < near:
                mach = 1 + 0.2 * np.log(over / critical) / np.log(near / critical)
            else:
                mach = brentq(lambda m: self.ratio(m) * over - (1.88 * m - 1) ** -0.64, 1.2, self.exit_mach, xtol=1e-15)
            area = self.area_ratio(mach)
        exit_pressure = pressure * self.ratio(mach)
        return (self.angle * g * mach**2 * exit_pressure + exit_pressure - self.ambient) * area * self.throat_area

    def port_ratio(self, x):
        carried, smallest = 0.0, np.inf
        total = self.kn(x) * self.throat_area
        for row in self.rows:
            area = self.row_area(row, x)
            carried += area
            if area > 0 and row[3] > 0:
                smallest = min(smallest, np.pi / 4 * (row[3] + 2 * x) ** 2 / (carried / total * self.throat_area))
        return smallest

    def head_ratio(self, port_ratio):
        g = self.gamma
        if np.isinf(port_ratio):
            return 1.0
        if port_ratio < 1:
            return (1 + g) / ((g + 1) / 2) ** (g / (g - 1)) / port_ratio
        mach = self.mach(port_ratio, 1e-9, 1.0) if port_ratio > 1 else 1.0
        return (1 + g * mach**2) * self.ratio(mach)

    def stretches(self):
        ends = sorted({0.0, *(self.web(row) for row in self.rows)})
        return [(a, b) for a, b in pairwise(ends) if b > a]

    def integral(self, function):
        total = 0.0
        for start, end in self.stretches():
            marks = np.linspace(start, end, 41)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                total += sum(quad(function, a, b, epsabs=0, epsrel=1e-9, limit=200)[0] for a, b in pairwise(marks))
        return total

    def largest(self, function):
        best = -np.inf
        for start, end in self.stretches():
            inner = end - 1e-12 * (end - start)
            xs = np.linspace(start, inner, 201)
            values = np.array([function(x) for x in xs])
            top = int(np.argmax(values))
            low, high = xs[max(top - 1, 0)], xs[min(top + 1, 200)]
            fine = {"xatol": 1e-12}
            found = minimize_scalar(lambda x: -function(x), bounds=(low, high), method="bounded", options=fine)
            best = max(best, values[top], -found.fun)
        return best

    def figures(self):
        time = self.integral(lambda x: 1 / self.rate(self.kn(x)))
        pressure = self.integral(lambda x: self.pressure(self.kn(x)) / self.rate(self.kn(x)))
        impulse = self.integral(lambda x: self.thrust(self.pressure(self.kn(x))) / self.rate(self.kn(x)))
        highest_kn = self.largest(self.kn)
        mass = self.motors.propellant.density[0] * sum(
            c * np.pi / 4 * (outer**2 - core**2) * length for c, length, outer, core, _ in self.rows
        )
        velocity = float(self.motors.propellant.characteristic_velocity[0])
        return {
            "burn_time": time,
            "pressure_integral": pressure,
            "mean_pressure": pressure / time,
            "total_impulse": impulse,
            "mean_thrust": impulse / time,
            "propellant_mass": mass,
            "highest_kn": highest_kn,
            "kn_at_ignition": self.kn(0.0),
            "peak_pressure": self.pressure(highest_kn),
            "initial_pressure": self.pressure(self.kn(0.0)),
            "peak_thrust": self.thrust(self.pressure(highest_kn)),
            "peak_head_pressure": self.largest(lambda x: self.pressure(self.kn(x)) * self.head_ratio(self.port_ratio(x))),
            "highest_mass_flux": self.largest(lambda x: self.pressure(self.kn(x)) / self.port_ratio(x)) / velocity,
            "port_over_throat": self.port_ratio(0.0),
            "head_pressure_ratio": self.head_ratio(-self.largest(lambda x: -self.port_ratio(x))),
            "specific_impulse": impulse / mass / 9.80665,
            "thrust_coefficient": impulse / self.throat_area / pressure,
        }


def random_motor(seed: int, law, rows: int) -> Motors:
    generator = np.random.default_rng(seed)
    grains = []
    outer = generator.uniform(0.03, 0.1)
    for _ in range(rows):
        core = outer * generator.uniform(0.15, 0.6)
        length = outer * generator.uniform(0.5, 3.0)
        grains.append((float(generator.integers(1, 5)), length, outer, core, float(generator.integers(0, 3))))
    throat = min(row[3] for row in grains) * generator.uniform(0.35, 1.15)
    return motor(
        grains,
        law,
        throat,
        expansion=generator.uniform(1.5, 12.0),
        gamma=generator.uniform(1.1, 1.3),
        sensitivity=0.002,
        temperature=generator.uniform(263.0, 313.0),
        half_angle=generator.uniform(0.1, 0.4),
    )


CASES = [
    (seed, name, law, rows)
    for seed, (name, law, rows) in enumerate(
        (name, law, rows)
        for name, law in (("single", SINGLE), ("plateau", PLATEAU), ("drops", DROPS), ("rises", RISES))
        for rows in (1, 1, 2, 3)
    )
]


class TestAgainstAdaptiveIntegration:
    @pytest.mark.parametrize(("seed", "name", "law", "rows"), CASES)
    def test_random_motor(self, seed, name, law, rows):
        motors = random_motor(seed, law, rows)
        figures, expected = kernel.evaluate(motors), Adaptive(motors).figures()
        for name, value in expected.items():
            assert figures[name][0] == pytest.approx(value, rel=1e-6), name

    @pytest.mark.parametrize(
        "rows",
        [
            [(1, 0.12, 0.05, 0.0, 1)],  # end burner
            [(1, 0.03, 0.05, 0.02, 2)],  # ends meet as the core reaches the outside: the area falls to nothing
            [(3, 0.01, 0.05, 0.01, 2)],  # ends meet first
            [(1, 0.2, 0.05, 0.004, 0)],  # core alone, very progressive: starts under 10 % of peak
            [(2, 0.08, 0.05, 0.02, 2), (0, 0.08, 0.05, 0.02, 2)],  # an absent row
            [(1, 0.06, 0.05, 0.0, 1), (2, 0.08, 0.05, 0.02, 2)],  # end burner ahead of cored grains
        ],
    )
    @pytest.mark.parametrize("throat", [0.006, 0.012])
    def test_shapes(self, rows, throat):
        motors = motor(rows, throat=throat)
        figures, expected = kernel.evaluate(motors), Adaptive(motors).figures()
        for name, value in expected.items():
            assert figures[name][0] == pytest.approx(value, rel=1e-6), name

    def test_a_narrow_port_presses_nearly_as_much_at_ignition_as_later(self):
        """Two crests of the head pressure on one stretch, the lower one at ignition nearer to a sample."""
        rows = [(3, 0.1359, 0.05287, 0.02148, 2), (4, 0.0434, 0.05287, 0.02316, 1), (4, 0.03429, 0.05287, 0.010582, 2)]
        law = [(1e5, 2.434e6, 0.0103294, 5e6, 0.37066), (2.434e6, 12e6, 0.0094481, 2.434e6, 0.114174)]
        motors = motor(rows, law, throat=0.009307, gamma=1.2973, density=1738.0, characteristic_velocity=1013.5, temperature=311.0)
        figures, expected = kernel.evaluate(motors), Adaptive(motors)
        highest = expected.figures()["peak_head_pressure"]
        at_ignition = expected.pressure(expected.kn(0.0)) * expected.head_ratio(expected.port_ratio(0.0))
        assert 1.002 * at_ignition < highest < 1.01 * at_ignition
        assert figures["peak_head_pressure"][0] == pytest.approx(highest, rel=1e-6)


def agree(one, other, index, rel=1e-12):
    for name, value in one.values.items():
        np.testing.assert_allclose(value, other.values[name][index], rtol=rel, atol=0, err_msg=name)
    for name, flag in one.flags.items():
        np.testing.assert_array_equal(flag, other.flags[name][index], err_msg=name)


class TestBatch:
    @pytest.mark.parametrize(("law", "rows"), [(SINGLE, 1), (SINGLE, 2), (PLATEAU, 1), (DROPS, 3)])
    def test_equals_one_by_one(self, law, rows):
        motors = [random_motor(200 + seed, law, rows) for seed in range(40)]
        batch = kernel.evaluate(stacked(motors))
        for index, single in enumerate(motors):
            agree(kernel.evaluate(single), batch, [index])

    def test_any_order_of_rows_and_across_blocks(self, monkeypatch):
        batch = stacked([random_motor(300 + seed, PLATEAU, 2) for seed in range(60)])
        order = np.random.default_rng(5).permutation(60)
        whole = kernel.evaluate(batch)
        monkeypatch.setattr(steady, "BLOCK", 7)
        agree(kernel.evaluate(batch.take(order)), whole, order)

    def test_empty(self):
        empty = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)]).take([]), curve=True)
        assert all(value.shape == (0,) for value in empty.values.values())
        assert all(flag.shape == (0,) for flag in empty.flags.values())
        assert empty.curve.time.shape[0] == 0

    def test_shared_columns_broadcast(self):
        one = motor([(4, 0.085, 0.05, 0.02, 2)])
        throats = np.linspace(0.014, 0.02, 50)
        changes = {"nozzle.throat_diameter": throats, "nozzle.exit_diameter": 2.4 * throats}
        figures = kernel.evaluate(replace(one, size=50).with_values(changes))
        alone = one.with_values({key: values[7:8] for key, values in changes.items()})
        agree(kernel.evaluate(alone), figures, [7])

    def test_scalars_as_leaves(self):
        one = motor([(4, 0.085, 0.05, 0.02, 2)])
        bare = replace(one, ambient=Ambient(np.array(101325.0), np.array(293.15), np.array([[293.15]])))
        agree(kernel.evaluate(bare), kernel.evaluate(one), [0])

    def test_equal_rows_are_one_row(self):
        """Four equal grains as one row, or as two rows: other code for the port, the same motor."""
        for throat in (0.012, 0.016, 0.0195, 0.024):
            one = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)], throat=throat))
            two = kernel.evaluate(motor([(3, 0.085, 0.05, 0.02, 2), (1, 0.085, 0.05, 0.02, 2)], throat=throat))
            agree(one, two, [0], rel=1e-8)

    def test_names(self):
        figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)]))
        assert set(figures.values) == set(kernel.FIGURES)
        assert set(figures.flags) == set(kernel.FLAGS)


def any_single_motor(seed: int) -> Motors:
    """One row of grains, one row of the law: open and choked ports, full, separated and hardly sonic nozzles."""
    draw = np.random.default_rng(seed)
    outer = draw.uniform(0.03, 0.1)
    core = outer * draw.choice([0.0, 1.0], p=[0.03, 0.97]) * draw.uniform(0.1, 0.8)
    rows = [(float(draw.integers(1, 6)), outer * draw.uniform(0.3, 5.0), outer, core, float(draw.integers(0, 3)))]
    law = [(1e5, 12e6, draw.uniform(2e-3, 9e-3), 1e6, draw.uniform(-0.2, 0.75))]
    throat = max(core, 0.3 * outer) * draw.uniform(0.25, 1.3)
    return motor(
        rows,
        law,
        throat,
        expansion=draw.uniform(1.0, 25.0),
        gamma=draw.uniform(1.08, 1.4),
        half_angle=draw.uniform(0.1, 0.4),
        ambient=draw.choice([101325.0, 4e4]),
    )


class TestSmoothBurns:
    """The short way for one stretch of burn, against the long way that cuts every burn into pieces."""

    def test_is_the_long_way(self, monkeypatch):
        late = (2799, 3957, 4729, 5123, 5906, 6019)  # whose head pressure peaks next to where the port opens
        batch = stacked([any_single_motor(seed) for seed in (*range(600, 2100), *late)])
        with np.errstate(all="ignore"):
            short_way = smooth.smooth_burns(columns(batch).lean())[2]
        assert 0.5 < short_way.mean() < 0.95
        short, short_head = kernel.evaluate(batch), steady.peak_head_pressure(batch)
        for flag in ("port_choked", "flow_separated"):
            assert 0.15 < short.flags[flag][short_way].mean() < 0.85, flag
        monkeypatch.setattr(steady, "may_be_smooth", lambda table: False)
        long = kernel.evaluate(batch)
        assert {name: flag.sum() for name, flag in short.flags.items()} == {name: flag.sum() for name, flag in long.flags.items()}
        agree(short, long, np.arange(batch.size), rel=1e-6)
        exact = (
            "peak_pressure",
            "peak_thrust",
            "peak_head_pressure",
            "highest_mass_flux",
            "pressure_integral",
            "highest_port_mach",
            "head_pressure_ratio",
            "propellant_mass",
        )
        for name in exact:
            np.testing.assert_allclose(short[name], long[name], rtol=1e-9, err_msg=name)
        np.testing.assert_allclose(short_head, long["peak_head_pressure"], rtol=1e-9)

    def test_turning_point_in_a_choked_port(self, monkeypatch):
        """A thin sleeve behind a throat wider than itself: its head pressure peaks while the port is choked."""
        sleeve = motor([(1, 0.3, 0.012, 0.010, 2)], [(1e5, 12e6, 5e-3, 1e6, 0.538)], throat=0.013)
        short = kernel.evaluate(sleeve)
        assert smooth.smooth_burns(columns(sleeve).lean())[2].all()
        assert short["peak_head_pressure"][0] == pytest.approx(Adaptive(sleeve).figures()["peak_head_pressure"], rel=1e-9)
        monkeypatch.setattr(steady, "may_be_smooth", lambda table: False)
        agree(short, kernel.evaluate(sleeve), [0], rel=1e-9)

    def test_more_nodes_change_nothing(self, monkeypatch):
        batch = stacked([any_single_motor(3000 + seed) for seed in range(1500)])
        with np.errstate(all="ignore"):
            short_way = smooth.smooth_burns(columns(batch).lean())[2]
        few = kernel.evaluate(batch)
        monkeypatch.setattr(smooth, "ORDERS", (128,))
        many = kernel.evaluate(batch)
        for name in ("burn_time", "total_impulse"):
            np.testing.assert_allclose(few[name][short_way], many[name][short_way], rtol=1e-8, err_msg=name)

    def test_bit_for_bit_whatever_the_batch(self, monkeypatch):
        singles = [any_single_motor(5000 + seed) for seed in range(120)]
        batch = stacked(singles)
        whole = kernel.evaluate(batch)
        for index, single in enumerate(singles):
            agree(kernel.evaluate(single), whole, [index], rel=0.0)
        order = np.random.default_rng(4).permutation(batch.size)
        monkeypatch.setattr(steady, "BLOCK", 7)
        agree(kernel.evaluate(batch.take(order)), whole, order, rel=0.0)

    def test_shared_columns_are_the_same_bit_for_bit(self):
        one = motor([(4, 0.085, 0.05, 0.02, 2)])
        throats = np.linspace(0.008, 0.026, 60)
        changes = {"nozzle.throat_diameter": throats, "nozzle.exit_diameter": 2.4 * throats}
        shared = kernel.evaluate(replace(one, size=60).with_values(changes))
        agree(shared, kernel.evaluate(stacked([one] * 60).with_values(changes)), np.arange(60), rel=0.0)


lengths = st.floats(0.8, 3.0)


@st.composite
def motors_of_any_shape(draw):
    outer = draw(st.floats(0.03, 0.12))
    rows = [
        (
            float(draw(st.integers(1, 5))),
            outer * draw(lengths),
            outer,
            outer * draw(st.floats(0.2, 0.7)),
            float(draw(st.integers(0, 2))),
        )
        for _ in range(draw(st.integers(1, 3)))
    ]
    throat = min(row[3] for row in rows) * draw(st.floats(0.3, 0.9))
    law = draw(st.sampled_from([SINGLE, PLATEAU, DROPS, RISES]))
    return motor(rows, law, throat, expansion=draw(st.floats(1.5, 15.0)))


class TestInvariants:
    @settings(max_examples=examples(60, 25), deadline=None)
    @given(motors_of_any_shape())
    def test_mass_is_conserved(self, motors):
        """What flows out, p·A_t/c*, is what the grains weigh (above ambient pressure, where the balance rules)."""
        figures = kernel.evaluate(motors)
        gone = figures["pressure_integral"] * np.pi / 4 * motors.nozzle.throat_diameter**2 / 1550.0
        if not figures.flags["nozzle_unchoked"]:
            np.testing.assert_allclose(gone, figures["propellant_mass"], rtol=1e-12)

    @settings(max_examples=examples(60, 25), deadline=None)
    @given(motors_of_any_shape(), st.floats(0.2, 5.0))
    def test_geometric_similarity(self, motors, scale):
        bigger = motors.with_values(
            {
                key: motors.value(key) * scale
                for key in (
                    "grain.length",
                    "grain.outer_diameter",
                    "grain.core_diameter",
                    "nozzle.throat_diameter",
                    "nozzle.exit_diameter",
                )
            }
        )
        small, big = kernel.evaluate(motors), kernel.evaluate(bigger)
        powers = {
            "burn_time": 1,
            "action_time": 1,
            "total_impulse": 3,
            "propellant_mass": 3,
            "mean_thrust": 2,
            "peak_thrust": 2,
            "peak_mass_flow": 2,
            "pressure_integral": 1,
            "final_throat_diameter": 1,
        }
        for name, value in small.values.items():
            np.testing.assert_allclose(big[name], value * scale ** powers.get(name, 0), rtol=1e-8, err_msg=name)

    @settings(max_examples=examples(60, 25), deadline=None)
    @given(motors_of_any_shape(), st.floats(1.01, 1.5))
    def test_a_smaller_throat_never_lowers_the_pressure(self, motors, squeeze):
        tight = motors.with_values({key: motors.value(key) / squeeze for key in ("nozzle.throat_diameter", "nozzle.exit_diameter")})
        wide_figures, tight_figures = kernel.evaluate(motors), kernel.evaluate(tight)
        assert tight_figures["highest_kn"] > wide_figures["highest_kn"]
        assert tight_figures["peak_pressure"] >= wide_figures["peak_pressure"] * (1 - 1e-12)
        if motors.propellant.rate.shape[1] < 3:  # the laws whose rate never falls with pressure
            assert tight_figures["burn_time"] <= wide_figures["burn_time"] * (1 + 1e-9)

    @settings(max_examples=examples(60, 25), deadline=None)
    @given(motors_of_any_shape())
    def test_figures_are_finite_and_ordered(self, motors):
        figures = kernel.evaluate(motors)
        assert all(np.isfinite(value).all() and (value >= 0).all() for value in figures.values.values())
        assert figures["peak_head_pressure"] >= figures["peak_pressure"] * (1 - 1e-12)
        assert figures["peak_pressure"] * (1 + 1e-12) >= figures["mean_pressure"]
        assert figures["peak_thrust"] * (1 + 1e-9) >= figures["mean_thrust"]
        assert figures["action_time"] <= figures["burn_time"] * (1 + 1e-12)


class TestCurve:
    @pytest.mark.parametrize("law", [SINGLE, PLATEAU, DROPS])
    def test_integrates_to_the_figures(self, law):
        batch = stacked([random_motor(400 + seed, law, 2) for seed in range(6)])
        figures = kernel.evaluate(batch, curve=True)
        curve = figures.curve
        assert curve.time.shape[1] > 300
        for motor_index in range(batch.size):
            here = ~np.isnan(curve.time[motor_index])
            time = curve.time[motor_index, here]
            assert (np.diff(time) >= 0).all()
            assert time[0] == 0.0
            assert time[-1] == pytest.approx(figures["burn_time"][motor_index], rel=1e-7)
            for history, name in ((curve.thrust, "total_impulse"), (curve.chamber_pressure, "pressure_integral")):
                area = np.trapezoid(history[motor_index, here], time)
                assert area == pytest.approx(figures[name][motor_index], rel=3e-4)
            tops = (
                (curve.chamber_pressure, "peak_pressure"),
                (curve.head_pressure, "peak_head_pressure"),
                (curve.kn, "highest_kn"),
                (curve.mass_flux, "highest_mass_flux"),
                (curve.thrust, "peak_thrust"),
            )
            for history, name in tops:
                assert np.nanmax(history[motor_index]) == pytest.approx(figures[name][motor_index], rel=2e-4), name

    @pytest.mark.parametrize("rows", [1, 3])
    def test_bit_for_bit_whatever_the_batch(self, rows):
        motors = stacked([random_motor(seed, PLATEAU, rows) for seed in range(40)])
        whole = steady.evaluate(motors, curve=True).curve
        lengths = np.isfinite(whole.time).sum(axis=1)
        assert len(np.unique(lengths)) > 1  # burns of more pieces than others among them
        for index in range(motors.size):
            alone = steady.evaluate(motors.take([index]), curve=True).curve
            for item in fields(alone):
                row = getattr(whole, item.name)[index]
                assert row[: lengths[index]].tobytes() == getattr(alone, item.name)[0].tobytes(), item.name
                assert np.isnan(row[lengths[index] :]).all()

    def test_absent_unless_asked_for(self):
        assert kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)])).curve is None


class TestActionTime:
    def test_is_the_burn_time_of_a_flat_burn(self):
        figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)]))
        assert figures["action_time"] == figures["burn_time"]

    def test_leaves_out_the_weak_start_of_a_progressive_core(self):
        """Core alone: Kn grows with the bore; 10 % of peak pressure is where the bore is 10^−(1−n) of its last."""
        motors = motor([(1, 0.2, 0.05, 0.004, 0)], throat=0.008)
        figures = kernel.evaluate(motors)
        start = (0.05 * 0.1**0.65 - 0.004) / 2
        adaptive = Adaptive(motors)
        expected = quad(lambda x: 1 / adaptive.rate(adaptive.kn(x)), start, 0.023 - 1e-15, epsrel=1e-11)[0]
        assert figures["action_time"][0] == pytest.approx(expected, rel=1e-7)
        assert figures["action_time"] < 0.9 * figures["burn_time"]


class TestFlags:
    def test_quiet_on_an_ordinary_motor(self):
        figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)], throat=0.014))
        assert not any(flag.any() for flag in figures.flags.values())

    def test_port_narrower_than_the_throat(self):
        figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.018, 2)], throat=0.02))
        assert figures.flags["port_choked"].all()
        assert figures["highest_port_mach"] == 1.0
        g, ratio = 1.2, 0.81
        expected = (1 + g) / ((g + 1) / 2) ** (g / (g - 1)) / ratio
        assert figures["head_pressure_ratio"][0] == pytest.approx(expected, rel=1e-12)
        assert figures["port_over_throat"][0] == pytest.approx(ratio, rel=1e-12)

    def test_separation(self):
        figures = kernel.evaluate(motor([(2, 0.085, 0.05, 0.02, 2)], throat=0.016, expansion=20.0))
        assert figures.flags["flow_separated"].all()
        assert not figures.flags["nozzle_unchoked"].any()

    def test_throat_far_too_wide(self):
        """The chamber stays at ambient, nothing pushes, nothing is NaN; the propellant burns at ambient pressure."""
        figures = kernel.evaluate(motor([(1, 0.05, 0.05, 0.03, 2)], throat=0.029))
        assert figures.flags["nozzle_unchoked"].all()
        assert figures["peak_pressure"] == pytest.approx(101325.0)
        assert figures["total_impulse"] == 0.0
        assert figures["burn_time"][0] == pytest.approx(0.01 / (5e-3 * 0.101325**0.35), rel=1e-12)

    def test_outside_the_characterised_rows(self):
        """The motor runs from 3.68 to 4.39 MPa."""
        for low, high, expected in ((2e6, 4e6, True), (4e6, 6e6, True), (3.6e6, 4.5e6, False)):
            figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)], [(low, high, 5e-3, 1e6, 0.35)]))
            assert figures.flags["outside_characterised_pressure"][0] == expected

    @staticmethod
    def several(law, kn) -> bool:
        """The flag of a core alone, with no change of area to speak of, that burns at `kn`."""
        throat = np.sqrt(np.pi * 0.05 * 0.12 / kn * 4 / np.pi)
        return bool(kernel.evaluate(motor([(1, 0.12, 0.0501, 0.05, 0)], law, throat)).flags["several_equilibria"][0])

    def test_several_equilibria(self):
        """With a jump up in rate at 3 MPa, Kn just under the leap can also be held above it."""
        impedance = 1750.0 * 1550.0
        foot = 3e6 / (impedance * 6.5e-3 * 3.0**0.35)
        crest = 3e6 / (impedance * 5e-3 * 3.0**0.3)
        for kn, expected in ((0.9 * foot, False), (0.5 * (foot + crest), True), (1.1 * crest, False)):
            assert self.several(RISES, kn) == expected

    @pytest.mark.parametrize(("jump", "expected"), [(1.001, False), (1.049, False), (1.051, True), (1.3, True)])
    @pytest.mark.parametrize("exponent", [-0.1, 0.35, 0.6])
    def test_several_equilibria_only_where_it_matters(self, jump, expected, exponent):
        """Rows of a table miss each other by rounding; the higher root lies `jump` over the lower one at the crest."""
        crest = 3e6 / (1750.0 * 1550.0 * 5e-3 * 3.0**0.3)
        rate = 5e-3 * 3.0**0.3 * jump ** (1.0 - exponent)
        law = [(1e5, 3e6, 5e-3, 1e6, 0.3), (3e6, 15e6, rate, 3e6, exponent)]
        assert self.several(law, crest * (1.0 - 1e-4)) == expected

    def test_several_equilibria_of_a_table_that_rounding_made(self):
        """Rows that miss each other by 0.1 % in rate say nothing at any Kn."""
        rate = 5e-3 * 3.0**0.3 * 1.001
        law = [(1e5, 3e6, 5e-3, 1e6, 0.3), (3e6, 15e6, rate, 3e6, 0.35)]
        crest = 3e6 / (1750.0 * 1550.0 * 5e-3 * 3.0**0.3)
        assert not any(self.several(law, crest * (1.0 + away)) for away in np.linspace(-2e-3, 1e-3, 31))

    def test_several_equilibria_over_narrow_rows_that_are_leapt(self):
        """A rate drawn through many rows, κ a little under its crest at 2 MPa up to 3 MPa: small jumps, a far root."""
        impedance = 1750.0 * 1550.0
        crest = 2e6 / (impedance * 5e-3 * 2.0**0.3)
        ends = 2e6 * 1.03 ** np.arange(15)
        law = [(1e5, 2e6, 5e-3, 1e6, 0.3)]
        law += [(low, high, low / (impedance * crest * 0.9965), low, 0.9) for low, high in pairwise(ends)]
        assert (1 / 0.9965) ** (1 / (1 - 0.9)) < 1.05  # what the rows miss each other by would not be enough
        assert self.several(law, crest * (1.0 - 1e-4))
        assert not self.several(law[:2], crest * (1.0 - 1e-4))

    def test_ignored_by_this_kernel(self):
        plain = motor([(4, 0.085, 0.05, 0.02, 2)])
        worn = plain.with_values({"nozzle.throat_recession": column(1e-4)})
        assert kernel.evaluate(worn).flags["recession_ignored"].all()
        eroding = replace(plain, propellant=replace(plain.propellant, erosive="mukunda-paul"))
        assert kernel.evaluate(eroding).flags["erosive_burning_ignored"].all()

    def test_nothing_to_burn(self):
        figures = kernel.evaluate(motor([(0, 0.085, 0.05, 0.02, 2)]))
        assert figures.flags["extinguished"].all()
        assert figures["total_impulse"] == 0.0
        assert figures["peak_pressure"] == 0.0

    def test_core_wider_than_the_grain_is_no_motor(self):
        figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.051, 2)]))
        assert all(np.isnan(value).all() for value in figures.values.values())

    def test_solid_grains_behind_one_another_cannot_vent(self):
        assert np.isinf(kernel.evaluate(motor([(2, 0.085, 0.05, 0.0, 1)]))["peak_head_pressure"]).all()


class TestVacuum:
    def test_thrust_is_the_vacuum_coefficient(self):
        figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)], ambient=0.0, efficiency=1.0, half_angle=0.0))
        assert figures["thrust_coefficient"][0] == pytest.approx(1.672472336, rel=1e-9)
        assert not figures.flags["nozzle_unchoked"].any()
        assert not figures.flags["flow_separated"].any()
