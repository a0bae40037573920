"""The burning-rate law and its equilibrium."""

from __future__ import annotations

import numpy as np
import pytest
from chamber import equilibrium_pressure
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from physics.ballistics.propellant import burning_rate, rate_coefficients, switch_kn
from physics.motors import Propellant

COLD = np.array(293.15)


def law(rows, sensitivity=0.0) -> Propellant:
    table = np.array(rows, dtype=float).T
    return Propellant(
        np.array([1750.0]),
        np.array([1550.0]),
        np.array([1.2]),
        np.array([0.025]),
        *(row[None, :] for row in table),
        np.array([293.15]),
        np.array([sensitivity]),
    )


SINGLE = law([(1e5, 12e6, 5e-3, 1e6, 0.35)], 0.002)
RISES = law([(1e5, 3e6, 5e-3, 1e6, 0.3), (3e6, 15e6, 6.5e-3, 1e6, 0.35)])
DROPS = law([(1e5, 2.5e6, 6e-3, 1e6, 0.3), (2.5e6, 15e6, 4.5e-3, 1e6, 0.45)])
PLATEAU = law([(1e5, 1e6, 9e-3, 1e6, 0.6), (1e6, 3e6, 9e-3, 1e6, -0.4), (3e6, 9e6, 4e-3, 1e6, 0.7)])


def impedance_of_kn(propellant, pressure):
    """κ(p) straight from the definition."""
    return pressure / (1750.0 * 1550.0 * burning_rate(propellant, np.atleast_1d(pressure), COLD))


class TestBurningRate:
    def test_row_by_row(self):
        pressure = np.array([[0.5e6, 2e6, 5e6]])
        expected = [9e-3 * 0.5**0.6, 9e-3 * 2**-0.4, 4e-3 * 5**0.7]
        np.testing.assert_allclose(burning_rate(PLATEAU, pressure, COLD)[0], expected, rtol=1e-14)

    def test_a_boundary_belongs_to_the_row_below(self):
        assert burning_rate(RISES, np.array([3e6]), COLD)[0] == pytest.approx(5e-3 * 3**0.3, rel=1e-14)

    def test_nearest_row_outside_the_table(self):
        pressure = np.array([[1e4, 40e6]])
        np.testing.assert_allclose(burning_rate(PLATEAU, pressure, COLD)[0], [9e-3 * 0.01**0.6, 4e-3 * 40**0.7], rtol=1e-14)

    def test_no_pressure_no_rate(self):
        assert burning_rate(SINGLE, np.array([0.0]), COLD)[0] == 0.0

    def test_warm_propellant_burns_faster(self):
        """PC-17: factor exp(0.002·30) = 1.061837 on rate; derived from the definition of σ_p."""
        warm = burning_rate(SINGLE, np.array([5e6]), COLD + 30) / burning_rate(SINGLE, np.array([5e6]), COLD)
        assert warm[0] == pytest.approx(np.exp(0.06), rel=1e-14)

    def test_scalar_batch_and_history_agree(self):
        batch = burning_rate(PLATEAU, np.array([0.5e6, 2e6]), COLD)
        history = burning_rate(PLATEAU, np.array([[0.5e6, 2e6]]), COLD)
        assert float(burning_rate(PLATEAU, np.array(2e6), COLD)) == batch[1] == history[0, 1]
        assert burning_rate(PLATEAU, np.array(2e6), COLD).shape == ()

    def test_a_law_for_every_motor(self):
        rates = law([(1e5, 12e6, 5e-3, 1e6, 0.35)])
        two = Propellant(
            rates.density,
            rates.characteristic_velocity,
            rates.gamma,
            rates.molar_mass,
            rates.rate_from,
            rates.rate_to,
            np.array([[5e-3], [7e-3]]),
            rates.rate_at,
            rates.exponent,
            rates.reference_temperature,
            rates.temperature_sensitivity,
        )
        np.testing.assert_allclose(burning_rate(two, np.array([1e6, 1e6]), COLD), [5e-3, 7e-3], rtol=1e-14)
        np.testing.assert_allclose(burning_rate(two, np.array(1e6), COLD), [5e-3, 7e-3], rtol=1e-14)


class TestEquilibrium:
    @settings(deadline=None)
    @given(st.floats(5.0, 900.0), st.sampled_from([SINGLE, RISES, DROPS, PLATEAU]))
    def test_nothing_below_balances(self, kn, propellant):
        """The root is the lowest stable one: under it the propellant makes more than the nozzle passes."""
        pressure = equilibrium_pressure(propellant, np.array([kn]), COLD)[0]
        below = pressure * np.linspace(1e-3, 1 - 1e-9, 400)
        made = kn * 1750.0 * 1550.0 * burning_rate(propellant, below[None, :], COLD)[0]
        assert (made > below).all()
        above = pressure * (1 + 1e-9)
        assert kn * 1750.0 * 1550.0 * burning_rate(propellant, np.array([above]), COLD)[0] < above * (1 + 1e-12)

    def test_single_row_in_closed_form(self):
        kn = np.array([200.0])
        root = brentq(lambda p: impedance_of_kn(SINGLE, p)[0] - 200.0, 1e5, 2e7, xtol=1e-6)
        assert equilibrium_pressure(SINGLE, kn, COLD)[0] == pytest.approx(root, rel=1e-12)

    def test_waits_on_a_boundary_where_the_rate_drops(self):
        low, high = (impedance_of_kn(DROPS, 2.5e6 * shift)[0] for shift in (1 - 1e-12, 1 + 1e-12))
        assert high > low * 1.1
        kn = np.linspace(low * 1.0001, high * 0.9999, 9)[None, :]
        np.testing.assert_allclose(equilibrium_pressure(DROPS, kn, COLD)[0], 2.5e6, rtol=1e-14)
        assert equilibrium_pressure(DROPS, np.array([high * 1.001]), COLD)[0] > 2.5e6

    def test_leaps_where_the_rate_rises(self):
        crest = impedance_of_kn(RISES, 3e6)[0]
        before, after = equilibrium_pressure(RISES, np.array([[crest * (1 - 1e-9), crest * (1 + 1e-9)]]), COLD)[0]
        assert before == pytest.approx(3e6, rel=1e-7)
        assert after > 4e6
        assert impedance_of_kn(RISES, after)[0] == pytest.approx(crest, rel=1e-8)

    def test_a_row_can_be_leapt_over(self):
        hidden = law([(1e5, 3e6, 5e-3, 1e6, 0.3), (3e6, 3.2e6, 7e-3, 1e6, 0.3), (3.2e6, 15e6, 9e-3, 1e6, 0.3)])
        crest = 3e6 / (1750.0 * 1550.0 * 5e-3 * 3**0.3)
        after = equilibrium_pressure(hidden, np.array([crest * 1.0001]), COLD)[0]
        assert after == pytest.approx((1750 * 1550 * 9e-3 * 1e6**-0.3 * crest * 1.0001) ** (1 / 0.7), rel=1e-12)

    @settings(deadline=None)
    @given(st.sampled_from([SINGLE, RISES, DROPS, PLATEAU]))
    def test_pressure_never_falls_with_kn(self, propellant):
        kn = np.geomspace(5.0, 900.0, 2000)[None, :]
        assert (np.diff(equilibrium_pressure(propellant, kn, COLD)[0]) >= 0).all()

    def test_warm_propellant(self):
        """p ∝ exp(σ_p·ΔT/(1−n))."""
        kn = np.array([200.0])
        factor = equilibrium_pressure(SINGLE, kn, COLD + 30)[0] / equilibrium_pressure(SINGLE, kn, COLD)[0]
        assert factor == pytest.approx(np.exp(0.06 / 0.65), rel=1e-12)


class TestSwitches:
    def test_in_order_and_open_at_the_ends(self):
        switches = switch_kn(rate_coefficients(DROPS, COLD), np.log(np.array([1750.0 * 1550.0])))
        assert switches.log_lower[0, 0] == -np.inf
        assert switches.log_upper[0, -1] == np.inf
        assert switches.log_upper[0, 0] < switches.log_lower[0, 1]
        assert np.exp(switches.log_upper[0, 0]) == pytest.approx(impedance_of_kn(DROPS, 2.5e6)[0], rel=1e-12)
