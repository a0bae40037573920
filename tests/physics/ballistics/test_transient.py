"""The transient kernel against independent integrations, its limits, its orders of convergence and its invariants."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from physics.ballistics import kernel, steady, transient
from physics.ballistics.transient.figures import weighted_steps
from physics.ballistics.transient.layout import Options, free_volume, layout_of
from physics.ballistics.transient.march import marched
from physics.motors import Ambient, Case, Grains, Motors, Nozzle, Propellant

SUGAR = (  # rows in the shape of a published sugar-propellant fit (remembered): plateaus and jumps
    [0.103e6, 0.779e6, 2.572e6, 5.930e6, 8.502e6],
    [0.779e6, 2.572e6, 5.930e6, 8.502e6, 11.2e6],
    [8.875e-3, 7.553e-3, 3.841e-3, 17.20e-3, 4.775e-3],
    [1e6] * 5,
    [0.619, -0.009, 0.688, -0.148, 0.442],
)


def motor(size: int = 1, rows: Any = None, erosive: str = "none", case: Case | None = None, **given: Any) -> Motors:
    """Four grains 50 x 20 x 85 mm over a 16 mm throat unless told otherwise; grain values may be lists of rows."""
    values: dict[str, Any] = {
        "count": 4,
        "length": 0.085,
        "outer": 0.05,
        "core": 0.02,
        "ends": 2,
        "throat": 0.016,
        "density": 1750.0,
        "velocity": 1550.0,
        "rate": 5e-3,
        "exponent": 0.35,
        "recession": 0.0,
        "ambient": 101325.0,
    }
    values.update(given)

    def column(value: float) -> np.ndarray:
        return np.full(size, float(value))

    def table(value: Any) -> np.ndarray:
        return np.broadcast_to(np.atleast_2d(np.asarray(value, float)), (size, np.size(value))).copy()

    grains = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(values[k], float)) for k in ("count", "length", "outer", "core", "ends"))
    )
    law = rows or ([1e5], [1e8], [values["rate"]], [1e6], [values["exponent"]])
    propellant = Propellant(
        column(values["density"]),
        column(values["velocity"]),
        column(1.2),
        column(0.024),
        *(table(leaf) for leaf in law),
        column(293.15),
        column(0.0),
        erosive,
    )
    throat = values["throat"]
    exit_diameter = throat * np.sqrt(6.0)
    nozzle = Nozzle(*(column(v) for v in (throat, exit_diameter, 0.0, 1.0, values["recession"], 7e6)))
    ambient = Ambient(column(values["ambient"]), column(293.15), np.array([[293.15]]))
    return Motors(size, propellant, Grains(*(table(leaf) for leaf in grains)), nozzle, ambient, case=case)


@dataclass
class Lumped:
    """An independent lumped motor of equal cored grains, by an adaptive multistep method at tight tolerance."""

    core: float = 0.02
    throat: float = 0.016
    rate: float = 5e-3
    exponent: float = 0.35
    count: float = 4.0
    length: float = 0.085
    outer: float = 0.05

    def area(self, x: float) -> float:
        bore = self.core + 2.0 * x
        return self.count * np.pi * (bore * (self.length - 2.0 * x) + 0.5 * (self.outer**2 - bore**2))

    def solid(self, x: float) -> float:
        return self.count * np.pi / 4.0 * (self.outer**2 - (self.core + 2.0 * x) ** 2) * (self.length - 2.0 * x)

    def run(self) -> dict[str, float]:
        gamma, velocity, density, ambient = 1.2, 1550.0, 1750.0, 101325.0
        choke = np.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** ((gamma + 1.0) / (2.0 * (gamma - 1.0)))
        energy = (choke * velocity) ** 2
        throat = np.pi / 4.0 * self.throat**2
        start = self.count * np.pi / 4.0 * self.core**2 * self.length
        critical = (0.5 * (gamma + 1.0)) ** (gamma / (gamma - 1.0))

        def slope(t: float, y: np.ndarray, lit: bool) -> list[float]:
            p, x = max(y[0], 1.0), y[1]
            over = max(p / ambient, 1.0)
            speed = np.sqrt(2 * gamma / (gamma - 1) * (1 - over ** ((1 - gamma) / gamma)))
            unchoked = speed * over ** (-1 / gamma) / choke
            out = p * throat / velocity * (1.0 if over >= critical else unchoked)
            burn = self.rate * (p / 1e6) ** self.exponent if lit else 0.0
            made = self.area(x) * burn
            volume = start + self.solid(0.0) - (self.solid(x) if lit else 0.0)
            return [((density * made - out) * energy - p * made) / volume, burn, p]

        web = 0.5 * (self.outer - self.core)
        burnt, empty = (lambda t, y, lit: y[1] - web), (lambda t, y, lit: y[0] - 1.02 * ambient)
        burnt.terminal = empty.terminal = True  # type: ignore[attr-defined]
        tight = {"method": "LSODA", "rtol": 1e-10, "atol": [1e-3, 1e-13, 1e-6]}
        first = solve_ivp(slope, (0, 100), [ambient, 0.0, 0.0], args=(True,), events=burnt, dense_output=True, **tight)
        then = solve_ivp(slope, (first.t[-1], 1e3), first.y[:, -1], args=(False,), events=empty, **tight)
        times = np.linspace(0.0, first.t[-1], 20001)
        return {
            "peak_pressure": float(first.sol(times)[0].max()),
            "burn_time": float(first.t[-1]),
            "pressure_integral": float(then.y[2, -1]),
            "mean_pressure": float(first.y[2, -1] / first.t[-1]),
        }


LUMPED = [{}, {"throat": 0.011, "rate": 2e-3}, {"exponent": 0.6, "rate": 3e-3}]


class TestAgainstIndependentIntegration:
    @pytest.mark.parametrize("given", LUMPED)
    def test_lumped_motor(self, given: dict[str, float]) -> None:
        expected = Lumped(**given).run()
        found = transient.evaluate(motor(**given), rate_pressure="chamber")
        for name, value in expected.items():
            assert found[name][0] == pytest.approx(value, rel=5e-4), name

    def test_wide_port_gives_the_lumped_answer(self) -> None:
        expected = Lumped(core=0.03, throat=0.009, rate=2e-3).run()
        found = transient.evaluate(motor(core=0.03, throat=0.009, rate=2e-3))
        assert found["port_over_throat"][0] > 10.0
        for name, value in expected.items():
            assert found[name][0] == pytest.approx(value, rel=1e-3), name

    def test_impulse_is_the_integral_of_thrust_of_the_lumped_curve(self) -> None:
        # constant throat, flow full: F = C_F,vac p At − p_a Ae, so the impulse follows from the pressure integral
        found = transient.evaluate(motor(ambient=1.0), rate_pressure="chamber")
        throat = np.pi / 4.0 * 0.016**2
        assert found["total_impulse"][0] == pytest.approx(1.672472336 * throat * found["pressure_integral"][0], rel=1e-4)

    def test_narrow_port_with_the_same_flow_written_independently(self) -> None:
        expected_peak, expected_integral, expected_head = narrow_port()
        case = motor(count=1, length=0.3, core=0.02, ends=0, throat=0.0185, rate=4e-3)
        found = transient.evaluate(case, curve=True)
        curve = found.curve
        assert curve is not None
        at = np.interp(1.0, curve.time[0], curve.chamber_pressure[0])
        assert at == pytest.approx(expected_peak, rel=1e-3)
        keep = np.isfinite(curve.time[0])
        upto = curve.time[0][keep] <= 1.0
        time, pressure = np.r_[curve.time[0][keep][upto], 1.0], np.r_[curve.chamber_pressure[0][keep][upto], at]
        assert np.trapezoid(pressure, time) == pytest.approx(expected_integral, rel=1e-3)
        head = np.interp(0.2, curve.time[0], curve.head_pressure[0])
        assert head == pytest.approx(expected_head, rel=1e-3)


def narrow_port() -> tuple[float, float, float]:
    """Chamber pressure at 1 s, its integral to 1 s and head pressure at 0.2 s, by lines along one long grain.

    Eight cells, each at its own static pressure; the flow is marched from the nozzle, the Mach number read off tables.
    """
    cells, gamma, velocity, density, ambient = 8, 1.2, 1550.0, 1750.0, 101325.0
    choke = np.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** ((gamma + 1.0) / (2.0 * (gamma - 1.0)))
    energy, throat, cell = (choke * velocity) ** 2, np.pi / 4.0 * 0.0185**2, 0.3 / 8

    square_table = np.linspace(0.0, 1.0, 200001)
    carried_table = np.sqrt(gamma * square_table * (1.0 + 0.5 * (gamma - 1.0) * square_table))
    carried_table /= 1.0 + gamma * square_table
    mach_table = np.linspace(1e-9, 1.0, 200001)
    exponent = -0.5 * (gamma + 1) / (gamma - 1)
    flow_table = np.sqrt(gamma) * mach_table * (1 + 0.5 * (gamma - 1) * mach_table**2) ** exponent

    def state(flow_over_area: float, impulse_over_area: float) -> float:
        """M² with ṁ√(RT₀)/(A·I) given, from a table."""
        return float(np.interp(flow_over_area / impulse_over_area, carried_table, square_table))

    def statics(p: float, bore: np.ndarray, made: np.ndarray, share: float) -> tuple[np.ndarray, float]:
        area = np.pi / 4.0 * bore**2
        part = (np.cumsum(made) - 0.5 * made) / made.sum() * share
        m = float(np.interp(share * choke * throat / area[-1], flow_table, mach_table))
        impulse = area[-1] * (1 + gamma * m * m) * (1 + 0.5 * (gamma - 1) * m * m) ** (-gamma / (gamma - 1))
        pressure, square = np.empty(cells), m * m
        for at in range(cells - 1, -1, -1):
            if at < cells - 1:
                shrink = np.log(area[at + 1] / area[at])
                before = impulse
                guess = square
                for _ in range(6):  # d ln F = d ln A/(1 + γM²), weighed between the two cells
                    impulse = before * np.exp(-shrink * 0.5 * (1 / (1 + gamma * square) + 1 / (1 + gamma * guess)))
                    guess = state(part[at] * choke * throat / area[at], impulse / area[at])
            square = state(part[at] * choke * throat / area[at], impulse / area[at])
            pressure[at] = p * impulse / (area[at] * (1 + gamma * square))
        return pressure, p * impulse / area[0]

    def slope(t: float, y: np.ndarray) -> np.ndarray:
        p, bore = max(y[0], ambient), 0.02 + 2.0 * y[1 : 1 + cells]
        over = p / ambient
        critical = (0.5 * (gamma + 1.0)) ** (gamma / (gamma - 1.0))
        unchoked = np.sqrt(2 * gamma / (gamma - 1) * (1 - over ** ((1 - gamma) / gamma))) * over ** (-1 / gamma) / choke
        share = 1.0 if over >= critical else max(unchoked, 1e-6)
        made = np.pi * bore * cell
        for _ in range(3):
            static, _ = statics(p, bore, made, share)
            rate = 4e-3 * (static / 1e6) ** 0.35
            made = np.pi * bore * cell * rate
        volume = np.pi / 4.0 * (bore**2 * cell).sum()
        flow = share * p * throat / velocity
        return np.r_[((density * made.sum() - flow) * energy - p * made.sum()) / volume, rate, p]

    start = np.r_[ambient * 1.0001, np.zeros(cells), 0.0]
    found = solve_ivp(
        slope, (0.0, 1.0), start, method="LSODA", rtol=1e-6, atol=np.r_[1.0, np.full(cells, 1e-10), 1.0], t_eval=[0.2, 1.0]
    )
    bore = 0.02 + 2.0 * found.y[1:-1, 0]
    static, _ = statics(found.y[0, 0], bore, np.pi * bore * cell, 1.0)
    _, head = statics(found.y[0, 0], bore, bore * static**0.35, 1.0)
    return float(found.y[0, 1]), float(found.y[-1, 1]), head


class TestLimits:
    def test_slow_filling_gives_the_steady_answer_but_for_the_gas_left_behind(self) -> None:
        # end burner: rho Ab r (1 − rho_g/rho) = p At/c*, so p = p_steady (1 − rho_g/rho)^(1/(1−n))
        end_burner = motor(count=1, length=0.12, core=0.0, ends=1, throat=0.006)
        found, quasi = transient.evaluate(end_burner), steady.evaluate(end_burner)
        energy = (1550.0 * 0.64853131) ** 2
        left = found["peak_pressure"][0] / energy / 1750.0
        expected = quasi["peak_pressure"][0] * (1.0 - left) ** (1.0 / 0.65)
        assert found["peak_pressure"][0] == pytest.approx(expected, rel=1e-4)
        assert found["burn_time"][0] == pytest.approx(quasi["burn_time"][0], rel=2e-3)

    @pytest.mark.parametrize("given", [{}, {"rows": SUGAR, "density": 1800.0, "velocity": 910.0, "throat": 0.013}])
    def test_both_kernels_agree_on_a_well_behaved_motor(self, given: dict[str, Any]) -> None:
        found, quasi = transient.evaluate(motor(**given)), steady.evaluate(motor(**given))
        assert set(found.values) == set(quasi.values) == set(kernel.FIGURES)
        assert set(found.flags) == set(quasi.flags) == set(kernel.FLAGS)
        for name in ("propellant_mass", "kn_at_ignition", "port_over_throat"):
            assert found[name][0] == pytest.approx(quasi[name][0], rel=1e-9), name
        for name in ("highest_port_mach", "head_pressure_ratio"):
            assert found[name][0] == pytest.approx(quasi[name][0], rel=1e-3), name
        for name in ("peak_pressure", "total_impulse", "pressure_integral", "highest_mass_flux", "highest_kn"):
            assert found[name][0] == pytest.approx(quasi[name][0], rel=0.02 if name != "highest_mass_flux" else 0.06), name

    def test_free_volume_of_the_case_slows_the_rise(self) -> None:
        from physics.materials import material

        case = Case(material("6061-T6"), np.array([0.06]), np.array([0.003]), length=np.array([0.6]))
        bare, cased = motor(), motor(case=case)
        solid = 4 * np.pi / 4 * (0.05**2 - 0.02**2) * 0.085
        wide, narrow = 0.054, float(cased.nozzle.throat_diameter[0])
        cone = (wide - narrow) / 2  # of 45 degrees: as long as its radius falls
        inside = np.pi / 4 * wide**2 * (0.6 - cone) + np.pi / 12 * cone * (wide**2 + wide * narrow + narrow**2)
        assert free_volume(cased)[0] == pytest.approx(inside - solid, rel=1e-12)
        slow, fast = (transient.evaluate(m, curve=True).curve for m in (cased, bare))
        assert slow is not None and fast is not None
        assert np.interp(0.005, slow.time[0], slow.chamber_pressure[0]) < np.interp(0.005, fast.time[0], fast.chamber_pressure[0])


class TestConvergence:
    def test_second_order_in_time(self) -> None:
        reference = Lumped().run()
        errors = []
        for tolerance, steps in ((0.064, 10), (0.016, 20), (0.004, 40)):
            found = transient.evaluate(motor(), rate_pressure="chamber", tolerance=tolerance, web_steps=steps)
            errors.append(abs(found["mean_pressure"][0] / reference["mean_pressure"] - 1.0))
        order = np.log2(errors[0] / errors[2]) / 2.0
        assert 1.5 < order < 3.0, errors
        assert errors[2] < 2e-5

    def test_second_order_along_the_port(self) -> None:
        case = motor(count=1, length=0.3, ends=0, throat=0.0185, rate=4e-3)
        held = [transient.evaluate(case, stations=n, web_steps=10, tolerance=0.05)["initial_pressure"][0] for n in (4, 8, 16, 64)]
        errors = np.abs(np.array(held[:3]) / held[3] - 1.0)
        assert 1.7 < np.log2(errors[0] / errors[1]) < 2.4
        assert 1.7 < np.log2(errors[1] / errors[2]) < 2.4
        assert errors[1] < 1e-3

    @pytest.mark.slow
    def test_default_steps_lie_close_to_fine_ones_with_erosion(self) -> None:
        case = motor(throat=0.0185, erosive="lenoir-robillard")
        coarse, fine = transient.evaluate(case), transient.evaluate(case, tolerance=1e-3, web_steps=150)
        for name in ("peak_pressure", "peak_head_pressure", "total_impulse", "burn_time", "highest_mass_flux"):
            assert coarse[name][0] == pytest.approx(fine[name][0], rel=1e-3), name


HARD = [
    {"throat": 0.0185, "erosive": "mukunda-paul"},
    {"count": [2, 2], "core": [0.026, 0.018], "throat": 0.017},
    {"throat": 0.021, "core": 0.018},
    {"recession": 2e-4},
    {"rows": SUGAR, "velocity": 910.0, "throat": 0.013},
    {"count": [1, 2], "core": [0.0, 0.02], "ends": [1, 2]},
    {"throat": 0.04},
]


class TestConservation:
    @pytest.mark.parametrize("given", HARD)
    def test_propellant_burnt_is_gas_gone_and_gas_stored(self, given: dict[str, Any]) -> None:
        # the nozzle law summed over the steps, against the propellant that the geometry says is gone; and no warnings
        motors, options = motor(**given), Options()
        layout = layout_of(motors, options)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            record = marched(layout, options)
        rows = record.rows
        gone = weighted_steps(rows, rows["inner_flow"], rows["flow"]).sum()
        last = np.flatnonzero(np.isfinite(rows["pressure"][:, 0]))[-1]
        stored = rows["pressure"][last, 0] * rows["volume"][last, 0] / layout.gas_constant_temperature[0]
        first = 101325.0 * layout.free_volume[0] / layout.gas_constant_temperature[0]
        burnt = steady.evaluate(motors)["propellant_mass"][0]
        assert gone + stored - first == pytest.approx(burnt, rel=1e-6)

    def test_mass_flow_of_the_curve_adds_up_to_the_propellant(self) -> None:
        curve = transient.evaluate(motor(), curve=True, tolerance=1e-3, web_steps=200).curve
        assert curve is not None
        keep = np.isfinite(curve.time[0])
        gone = np.trapezoid(curve.mass_flow[0][keep], curve.time[0][keep])
        assert gone == pytest.approx(steady.evaluate(motor())["propellant_mass"][0], rel=2e-4)


class TestPhysics:
    def test_erosion_raises_the_first_peak_and_opens_the_nozzle_end(self) -> None:
        plain, eroded = (transient.evaluate(motor(throat=0.0185, erosive=law)) for law in ("none", "mukunda-paul"))
        assert eroded["peak_head_pressure"][0] > 1.1 * plain["peak_head_pressure"][0]
        assert eroded["burn_time"][0] < plain["burn_time"][0]

    @pytest.mark.slow
    def test_opening_the_nozzle_end_grains_cures_it(self) -> None:
        given = {"throat": 0.0185, "erosive": "mukunda-paul", "length": 0.085}
        same = transient.evaluate(motor(count=[2, 2], core=[0.02, 0.02], **given))
        opened = transient.evaluate(motor(count=[2, 2], core=[0.02, 0.026], **given))
        assert opened["peak_head_pressure"][0] < 0.95 * same["peak_head_pressure"][0]
        assert opened["port_over_throat"][0] > same["port_over_throat"][0]
        assert opened["highest_port_mach"][0] < same["highest_port_mach"][0]

    def test_choked_port_is_reported_and_finite(self) -> None:
        found = transient.evaluate(motor(throat=0.021, core=0.018))
        assert found.flags["port_choked"][0]
        assert found["highest_port_mach"][0] == pytest.approx(1.0, abs=1e-6)
        assert all(np.isfinite(value).all() for value in found.values.values())

    def test_low_chamber_length_is_flagged_and_a_sound_motor_is_not(self) -> None:
        assert transient.evaluate(motor(count=1, length=0.12, core=0.0, ends=1, throat=0.006)).flags["chuffing_risk"][0]
        assert not transient.evaluate(motor()).flags["chuffing_risk"][0]

    def test_dead_and_impossible_motors(self) -> None:
        nothing, wide = transient.evaluate(motor(core=0.0, ends=0)), transient.evaluate(motor(core=0.06))
        assert nothing.flags["extinguished"][0] and nothing["peak_pressure"][0] == 0.0
        assert np.isnan(wide["peak_pressure"][0])

    def test_vacuum_outside(self) -> None:
        found = transient.evaluate(motor(ambient=0.0))
        assert np.isfinite(found["total_impulse"][0])
        assert not found.flags["nozzle_unchoked"][0]

    @pytest.mark.parametrize("bad", [{"rate_pressure": "head"}, {"stations": 0}, {"tolerance": 0.0}, {"block": 0}])
    def test_options_out_of_range(self, bad: dict[str, Any]) -> None:
        with pytest.raises(ValueError):
            transient.evaluate(motor(), **bad)


def random_batch(seed: int, size: int) -> Motors:
    random = np.random.default_rng(seed)
    base = motor(size, count=[2, 1], core=[0.02, 0.02], erosive="mukunda-paul")
    return base.with_values(
        {
            "grain.count": random.integers(0, 3, (size, 2)) + np.array([0, 1]),
            "grain.core_diameter": random.uniform(0.014, 0.03, (size, 2)),
            "nozzle.throat_diameter": random.uniform(0.01, 0.018, size),
            "nozzle.throat_recession": random.uniform(0.0, 1e-4, size),
            "propellant.exponent": random.uniform(0.2, 0.5, (size, 1)),
        }
    )


class TestBatch:
    @pytest.mark.slow
    @given(seed=st.integers(0, 10**6))
    @settings(max_examples=2, deadline=None)
    def test_batch_equals_one_by_one_and_order_does_not_matter(self, seed: int) -> None:
        batch = random_batch(seed, 3)
        together = transient.evaluate(batch)
        shuffled = transient.evaluate(batch.take(np.array([2, 0, 1])))
        single = transient.evaluate(batch.take(np.array([1])))
        for name, value in together.values.items():
            np.testing.assert_allclose(shuffled[name], value[[2, 0, 1]], rtol=1e-8, err_msg=name)
            np.testing.assert_allclose(single[name], value[[1]], rtol=1e-8, err_msg=name)

    @pytest.mark.slow
    def test_blocks_change_nothing_and_curves_are_padded(self) -> None:
        batch = random_batch(7, 3)
        whole, parts = transient.evaluate(batch, curve=True), transient.evaluate(batch, curve=True, block=2)
        np.testing.assert_allclose(parts["total_impulse"], whole["total_impulse"], rtol=1e-9)
        assert whole.curve is not None and parts.curve is not None
        assert parts.curve.time.shape == whole.curve.time.shape
        time = whole.curve.time
        with np.errstate(invalid="ignore"):
            assert (np.diff(time, axis=1)[np.isfinite(np.diff(time, axis=1))] > 0.0).all()

    def test_empty_batch(self) -> None:
        assert transient.evaluate(motor(2).take(np.array([], dtype=int)))["peak_pressure"].shape == (0,)

    def test_a_burn_that_comes_to_no_end_has_no_figures(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("physics.ballistics.transient.march._MOST_STEPS", 20)
        found = transient.evaluate(motor(2))
        assert all(np.isnan(values).all() for values in found.values.values())
