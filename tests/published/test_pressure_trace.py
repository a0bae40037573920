"""Identities of the pressure trace: c* from the integral, burn rate by inversion, temperature sensitivity.

Sources stand beside each test. The examples of Sutton & Biblarz are remembered, their digits derived; the identities
are derived from the steady mass balance ρ·A_b·r = p·A_t/c*.
"""

from pathlib import Path

import numpy as np
import pytest
from chamber import equilibrium_pressure

from optimizer.firings.rate_fit import inverted
from optimizer.firings.record import Channel, Record
from optimizer.firings.reduction import reduce_record
from optimizer.inputs import Firing, MotorFile, Observed
from physics.ballistics import kernel
from physics.ballistics.propellant import burning_rate
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant

PSI, INCH, DEG_F = 6894.757293168361, 0.0254, 5.0 / 9.0


def law(rate, at, exponent, sensitivity=0.0, density=1750.0, speed=1550.0, reference=293.15):
    one = np.array
    return Propellant(
        one([density]), one([speed]), one([1.2]), one([0.025]), one([[1e5]]), one([[1e8]]), one([[rate]]), one([[at]]),
        one([[exponent]]), one([reference]), one([sensitivity]),
    )  # fmt: skip


def benchmark():
    """The quasi-steady motor: four segments 50/20/85 mm, 16 mm throat, r = 5 mm/s·MPa^-0.35, c* 1550 m/s."""
    leaf, row = (lambda value: np.array([float(value)])), (lambda value: np.array([[float(value)]]))
    grains = Grains(row(4), row(0.085), row(0.05), row(0.02), row(2))
    throat = 0.016
    nozzle = Nozzle(leaf(throat), leaf(throat * np.sqrt(6.0)), leaf(0.0), leaf(1.0), leaf(0.0), leaf(5e6))
    return Motors(1, law(5e-3, 1e6, 0.35), grains, nozzle, Ambient(leaf(101325.0), leaf(293.15), row(293.15)))


def recorded(motors):
    """The steady history as an ideal record, and the firing that it belongs to."""
    curve = kernel.evaluate(motors, curve=True).curve
    known = np.isfinite(curve.time[0])
    time = np.arange(0.0, curve.time[0][known][-1] + 1.0, 5e-4)
    pressure, thrust = (
        np.interp(time - 0.5, curve.time[0][known], history[0][known], left=quiet, right=quiet)
        for history, quiet in ((curve.chamber_pressure, 101325.0), (curve.thrust, 0.0))
    )
    motor = MotorFile(Path("m.toml"), "benchmark", motors, {}, "", "", ())
    firing = Firing(Path("f.toml"), "benchmark", motor, None, {}, {}, Observed())
    return reduce_record(firing, Record(time, (Channel("p", "pressure", pressure), Channel("F", "thrust", thrust))))


class TestIntegral:
    """derived from the mass balance at 1e-12: m 0.981355005 kg, ∫p dt 7565332.03 Pa·s = m·c*/A_t, I 2321.03899 N·s,
    t_b 1.824011277 s, mean p 4.147634 MPa, peak 4.393497 MPa, specific impulse 241.17685 s."""

    def test_c_star_is_throat_area_times_integral_over_mass(self):
        measured = recorded(benchmark()).measured
        assert measured["propellant_mass"] == pytest.approx(0.981355005, rel=1e-8)
        assert measured["characteristic_velocity"] == pytest.approx(1550.0, rel=1e-3)
        assert measured["pressure_integral"] == pytest.approx(7565332.03, rel=1e-3)
        area = 0.25 * np.pi * 0.016**2
        identity = area * measured["pressure_integral"] / measured["propellant_mass"]
        assert measured["characteristic_velocity"] == pytest.approx(identity, rel=1e-3)

    def test_the_other_figures(self):
        measured = recorded(benchmark()).measured
        assert measured["total_impulse"] == pytest.approx(2321.03899, rel=1e-3)
        assert measured["specific_impulse"] == pytest.approx(241.17685, rel=1e-3)
        assert measured["peak_pressure"] == pytest.approx(4.393497e6, rel=1e-4)
        assert measured["action_time"] == pytest.approx(1.824011277, rel=1e-3)
        assert measured["burn_time"] == pytest.approx(1.824011277, rel=5e-3)
        assert measured["mean_pressure"] == pytest.approx(4.147634e6, rel=3e-3)
        coefficient = 2321.03899 / (0.25 * np.pi * 0.016**2 * 7565332.03)
        assert measured["thrust_coefficient"] == pytest.approx(coefficient, rel=1e-3)

    def test_the_rate_from_the_trace(self):
        """read at second hand: R. Nakka, burn rate from a pressure-time trace: p = Kn·ρ·c*·r with c* = A_t·∫p dt/m.

        Rates of the benchmark: 7.886474 mm/s at 3.676760 MPa and 8.393704 mm/s at 4.393497 MPa.
        """
        motors = benchmark()
        reduction = recorded(motors)
        pressure, rate = inverted(reduction, motors, reduction.start + 0.1)
        for at, expected in ((4.393497e6, 8.393704e-3), (3.9e6, 5e-3 * 3.9**0.35)):
            assert rate[np.argmin(np.abs(pressure - at))] == pytest.approx(expected, rel=5e-3)


class TestTemperatureSensitivity:
    def pressure(self, propellant, kn, temperature):
        return float(equilibrium_pressure(propellant, np.array([kn]), np.array(temperature))[0])

    def rate(self, propellant, pressure, temperature):
        return float(burning_rate(propellant, np.array([pressure]), np.array(temperature))[0])

    def test_pi_k_is_sigma_p_over_one_less_n(self):
        """derived: π_K = σ_p/(1 − n); Sutton & Biblarz, 11.1 (remembered): π_K 0.5 %/°F and n 0.5 give 0.25 %/°F."""
        step, exponent, sigma = 0.01, 0.5, 0.0025 / DEG_F
        propellant = law(7.62e-3, 1500 * PSI, exponent, sigma)
        pi_k = np.log(self.pressure(propellant, 200.0, 293.15 + step) / self.pressure(propellant, 200.0, 293.15)) / step
        assert pi_k * DEG_F == pytest.approx(0.005, rel=1e-6)

    def test_pressure_at_fifty_degrees_either_way(self):
        """remembered: Sutton & Biblarz, Ex. 11-2: 1500 psi, 0.5 %/°F, ±50 °F, n 0.5, 0.30 in/s, 50 s.

        The book takes the change as a straight line (1125 and 1875 psi); the definition gives exp(π_K·ΔT): 1926.04 and
        1168.20 psi (derived).
        """
        at, exponent = 1500 * PSI, 0.5
        propellant = law(0.30 * INCH, at, exponent, 0.0025 / DEG_F)
        kn = at / (1750.0 * 1550.0 * 0.30 * INCH)
        assert self.pressure(propellant, kn, 293.15) == pytest.approx(at, rel=1e-9)
        hot, cold = (self.pressure(propellant, kn, 293.15 + sign * 50 * DEG_F) for sign in (1, -1))
        assert hot / PSI == pytest.approx(1926.04, rel=1e-5) and cold / PSI == pytest.approx(1168.20, rel=1e-5)
        # The book's line is the first order of that: half the difference of the two against 375 psi.
        assert 0.5 * (hot - cold) / PSI == pytest.approx(375.0, rel=0.015)

    def test_rate_and_time_follow_the_pressure(self):
        """remembered: same example, the book 0.26 and 0.335 in/s, 57.7 and 44.8 s; derived 0.2598, 0.3354, 57.74,
        44.72.

        The book's r = a·p^n with a = 0.007746 is held constant while the pressure moves.
        """
        propellant = law(0.30 * INCH, 1500 * PSI, 0.5)
        assert 0.30 / np.sqrt(1500.0) == pytest.approx(0.007746, rel=1e-4)
        for pressure, rate, time in ((1125.0, 0.2598, 57.74), (1875.0, 0.3354, 44.72)):
            found = self.rate(propellant, pressure * PSI, 293.15) / INCH
            assert found == pytest.approx(rate, rel=3e-4) and 50.0 * 0.30 / found == pytest.approx(time, rel=3e-4)

    def test_thirty_kelvin(self):
        """derived: σ_p 0.002/K, n 0.35, +30 K: pressure and rate both rise by exp(σ_p·ΔT/(1 − n)) = 1.096702."""
        propellant = law(5e-3, 1e6, 0.35, 0.002)
        cold, hot = (self.pressure(propellant, 200.0, temperature) for temperature in (293.15, 323.15))
        assert hot / cold == pytest.approx(1.096702, rel=1e-6)
        ratio = self.rate(propellant, hot, 323.15) / self.rate(propellant, cold, 293.15)
        assert ratio == pytest.approx(1.096702, rel=1e-6)
        assert np.log(hot / cold) / 30.0 == pytest.approx(0.00307692, rel=1e-5)

    @pytest.mark.parametrize("sigma", [0.001, 0.009])
    def test_textbook_range_gives_its_range_of_pi_k(self, sigma):
        """read: Sutton & Biblarz, 7th ed., 11.1: σ_p 0.001 to 0.009 per kelvin. The book's range of π_K, 0.12 to
        0.50 %/K (its labels K and °F look swapped), needs σ_p of no more than 0.0033 at n 0.35; the identity is what
        is held here.
        """
        propellant = law(5e-3, 1e6, 0.35, sigma)
        ratio = self.pressure(propellant, 200.0, 303.15) / self.pressure(propellant, 200.0, 293.15)
        assert np.log(ratio) / 10.0 == pytest.approx(sigma / 0.65, rel=1e-9)
