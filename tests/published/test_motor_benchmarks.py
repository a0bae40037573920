"""Whole motors against worked benchmarks, conservation laws and adaptive integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from physics.ballistics import kernel
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant


def motor(grains, throat, expansion=6.0) -> Motors:
    row = [np.array([[value]]) for value in (1e4, 1e8, 5e-3, 1e6, 0.35)]
    table = np.array(grains, dtype=float)
    return Motors(
        1,
        Propellant(
            np.array([1750.0]),
            np.array([1550.0]),
            np.array([1.2]),
            np.array([0.025]),
            *row,
            np.array([293.15]),
            np.array([0.0]),
        ),
        Grains(*(table[None, :, i] for i in range(5))),
        Nozzle(*(np.array([value]) for value in (throat, throat * expansion**0.5, 0.0, 1.0, 0.0, 1e6))),
        Ambient(np.array([101325.0]), np.array([293.15]), np.array([[293.15]])),
    )


NEUTRAL = motor([(4, 0.085, 0.05, 0.02, 2)], 0.016)


# derived: quadrature at 1e-12 of four neutral segments D = 50, d = 20, L = 85 mm on a 16 mm throat, expansion 6
@pytest.mark.parametrize(
    ("figure", "expected", "digits"),
    [
        ("propellant_mass", 0.981355005, 1e-9),
        ("kn_at_ignition", 171.8750, 1e-9),
        ("highest_kn", 192.96875, 1e-9),
        ("initial_pressure", 3.676760e6, 2e-7),
        ("peak_pressure", 4.393497e6, 2e-7),
        ("burn_time", 1.824011277, 1e-9),
        ("pressure_integral", 7565332.03, 1e-9),
        ("peak_thrust", 1355.1680, 1e-7),
        ("total_impulse", 2321.03899, 3e-9),
        ("specific_impulse", 241.17685, 2e-8),
        ("mean_pressure", 4.147634e6, 2e-7),
        ("mean_thrust", 1272.4916, 1e-7),
        ("port_over_throat", 1.5625, 1e-12),
        ("highest_mass_flux", 1518.146, 4e-7),
        ("highest_port_mach", 0.416483, 2e-6),
    ],
)
def test_neutral_motor(figure, expected, digits):
    assert kernel.evaluate(NEUTRAL)[figure][0] == pytest.approx(expected, rel=digits)


# derived, an identity: I = C_F,vac·m·c* − ε·A_t·p_a·t_b for a nozzle that flows full
def test_impulse_in_closed_form():
    figures = kernel.evaluate(NEUTRAL)
    throat = np.pi / 4 * 0.016**2
    expected = 1.672472336 * figures["propellant_mass"] * 1550.0 - 6 * throat * 101325.0 * figures["burn_time"]
    assert figures["total_impulse"][0] == pytest.approx(expected[0], rel=1e-9)


# derived: end burner D = 50, L = 120 mm on a 6 mm throat
@pytest.mark.parametrize(
    ("figure", "expected"),
    [("highest_kn", 69.4444), ("peak_pressure", 0.9119374e6), ("burn_time", 24.786973), ("peak_mass_flow", 0.01663511)],
)
def test_end_burner(figure, expected):
    figures = kernel.evaluate(motor([(1, 0.12, 0.05, 0.0, 1)], 0.006))
    assert figures[figure][0] == pytest.approx(expected, rel=1e-6)
    for same in ("initial_pressure", "mean_pressure", "peak_head_pressure"):
        assert figures[same][0] == pytest.approx(figures["peak_pressure"][0], rel=1e-12)


# derived: I = m·c*·C_F with C_F = 1.45, D = 50, d = 20, L = 100 mm, ρ = 1750, c* = 1500: 0.288634 kg, 627.779 N·s,
# 221.788 s
def test_mass_and_impulse():
    figures = kernel.evaluate(motor([(1, 0.1, 0.05, 0.02, 2)], 0.01))
    mass = figures["propellant_mass"][0]
    assert mass == pytest.approx(0.288634, abs=6e-7)
    assert mass * 1500 * 1.45 == pytest.approx(627.779, abs=6e-4)
    ideal = figures["thrust_coefficient"] * 1550.0 * mass
    assert figures["total_impulse"][0] == pytest.approx(ideal[0], rel=1e-12)


# read: the equivalence p_c·A_t = ṁ·c*, hence c* = A_t·∫p dt/m (R. Nakka, burn rate from a pressure-time trace)
@pytest.mark.parametrize("throat", [0.012, 0.016, 0.02])
def test_pressure_trace_gives_back_the_characteristic_velocity(throat):
    figures = kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2), (1, 0.06, 0.05, 0.025, 2)], throat), curve=True)
    curve = figures.curve
    measured = np.pi / 4 * throat**2 * np.trapezoid(curve.chamber_pressure[0], curve.time[0])
    assert measured / figures["propellant_mass"][0] == pytest.approx(1550.0, rel=1e-4)


# independent: the burn as an initial-value problem in time, by scipy's adaptive Runge-Kutta
def test_against_an_adaptive_initial_value_solver():
    density, velocity, exponent, throat = 1750.0, 1550.0, 0.35, np.pi / 4 * 0.016**2

    def state(x):
        area = 4 * (np.pi * (0.02 + 2 * x) * (0.085 - 2 * x) + np.pi / 2 * (0.05**2 - (0.02 + 2 * x) ** 2))
        pressure = (density * velocity * 5e-3 * 1e6**-exponent * area / throat) ** (1 / (1 - exponent))
        return pressure, 5e-3 * (pressure / 1e6) ** exponent

    def change(_, y):
        pressure, rate = state(y[0])
        return [rate, pressure, throat * (1.672472336 * pressure - 6 * 101325.0)]

    def burnt_out(_, y):
        return y[0] - 0.015

    burnt_out.terminal = True
    run = solve_ivp(change, (0, 10), [0.0, 0.0, 0.0], method="DOP853", rtol=1e-11, atol=1e-12, events=burnt_out)
    figures = kernel.evaluate(NEUTRAL)
    assert figures["burn_time"][0] == pytest.approx(run.t[-1], rel=1e-8)
    assert figures["pressure_integral"][0] == pytest.approx(run.y[1, -1], rel=1e-8)
    assert figures["total_impulse"][0] == pytest.approx(run.y[2, -1], rel=1e-8)


# common practice, no source: a port at least twice the throat is comfortable, one as wide as the throat is trouble
def test_port_as_wide_as_the_throat_is_trouble():
    comfortable, trouble = (kernel.evaluate(motor([(4, 0.085, 0.05, 0.02, 2)], throat)) for throat in (0.0141, 0.02001))
    assert comfortable["port_over_throat"][0] > 2.0
    assert comfortable["head_pressure_ratio"][0] < 1.06
    assert not comfortable.flags["port_choked"][0]
    assert trouble.flags["port_choked"][0]
    assert trouble["head_pressure_ratio"][0] > 1.24
