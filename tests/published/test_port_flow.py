"""Head-to-nozzle pressure along a port, against momentum balance and published Rayleigh values."""

from __future__ import annotations

import gas
import numpy as np
import pytest
from pygasflow.solvers import rayleigh_solver
from scipy.integrate import solve_ivp

from physics.ballistics import nozzle


def head_over_aft_static(port_ratio, gamma):
    """Static head pressure over static pressure at the port's aft end, from our two functions."""
    ratio, gamma = np.array(port_ratio), np.array(gamma)
    mach, head = nozzle.port_mach_and_head_ratio(ratio, gamma)
    return head / nozzle.pressure_ratio(mach, gamma)


# derived: momentum with mass addition in a port of constant area, p_head/p_aft = 1 + γM² (Price; Shapiro vol. 1), and
# the area relation: Mach number, p_head/p_aft and stagnation pressure at the aft end over head pressure
@pytest.mark.parametrize(
    ("gamma", "ratio", "mach", "static", "stagnation"),
    [
        (1.2, 5.0, 0.11934, 1.01709, 0.99163),
        (1.2, 4.0, 0.14984, 1.02694, 0.98696),
        (1.2, 3.0, 0.20180, 1.04887, 0.97694),
        (1.2, 2.5, 0.24472, 1.07186, 0.96698),
        (1.2, 2.0, 0.31224, 1.11699, 0.94892),
        (1.2, 1.5, 0.43821, 1.23043, 0.91097),
        (1.2, 1.25, 0.56194, 1.37893, 0.87391),
        (1.2, 1.0, 1.0, 2.2, 0.80526),
        (1.4, 4.0, 0.14655, 1.03007, 0.98548),
        (1.4, 2.0, 0.30590, 1.13101, 0.94345),
    ],
)
def test_port_table(gamma, ratio, mach, static, stagnation):
    found, head = nozzle.port_mach_and_head_ratio(np.array(ratio), np.array(gamma))
    assert float(found) == pytest.approx(mach, abs=6e-6)
    assert float(head_over_aft_static(ratio, gamma)) == pytest.approx(static, abs=6e-6)
    assert 1 / float(head) == pytest.approx(stagnation, abs=6e-6)


# read: p/p* of Rayleigh flow in the tests of pygasflow (c5009b3), γ = 1.4, M = 0.5 and 0.75: the same momentum
# balance, so that p_head/p_aft = (1 + γ)/(p/p*)
@pytest.mark.parametrize(("mach", "printed", "expected"), [(0.5, 1.777778, 1.35), (0.75, 1.342657, 1.7875)])
def test_rayleigh_flow(mach, printed, expected):
    ratio = float(gas.area_ratio(np.array(mach), np.array(1.4)))
    found = float(head_over_aft_static(ratio, 1.4))
    assert found == pytest.approx(expected, rel=1e-6)
    assert 2.4 / found == pytest.approx(printed, rel=1e-6)


@pytest.mark.parametrize("gamma", [1.13, 1.2, 1.3])
@pytest.mark.parametrize("mach", [0.1, 0.3, 0.6, 0.9])
def test_against_a_gas_dynamics_library(gamma, mach):
    library = float(np.ravel(rayleigh_solver("m", mach, gamma=gamma)[1])[0])
    ratio = float(gas.area_ratio(np.array(mach), np.array(gamma)))
    assert (1 + gamma) / float(head_over_aft_static(ratio, gamma)) == pytest.approx(library, rel=1e-9)


# independent: mass added evenly along a port, the differential form of Shapiro's influence coefficients for mass
# addition at right angles, dM²/dm = 2·M²·(1 + γM²)·(1 + (γ−1)/2·M²)/((1 − M²)·m), dp/p = −2·γM²·(1 + (γ−1)/2·M²)/(1 −
# M²)·dm/m, by scipy's adaptive integrator
@pytest.mark.parametrize("ratio", [1.2, 1.5, 2.0, 4.0])
def test_against_integration_along_the_port(ratio):
    gamma = 1.2
    last = float(nozzle.port_mach_and_head_ratio(np.array(ratio), np.array(gamma))[0])

    def change(log_flow, y):
        square = y[0]
        warm = 1 + (gamma - 1) / 2 * square
        return [
            2 * square * (1 + gamma * square) * warm / (1 - square),
            -2 * gamma * square * warm / (1 - square),
        ]

    run = solve_ivp(change, (0.0, -14.0), [last**2, 0.0], method="DOP853", rtol=1e-12, atol=1e-16)
    assert np.exp(run.y[1, -1]) == pytest.approx(float(head_over_aft_static(ratio, gamma)), rel=1e-8)


# derived: choked mass balance, G = p_0·(A_t/A_p)/c*, at p_0 = 6.9 MPa and c* = 1550 m/s
@pytest.mark.parametrize(("throat_over_port", "expected"), [(1 / 2, 2225.81), (1 / 3, 1483.87)])
def test_mass_flux_from_port_ratio(throat_over_port, expected):
    """The same flux from our Mach number: G = p·M·√(γ/(R·T)) with c* = √(R·T_0)/Γ."""
    gamma = np.array(1.2)
    mach, _ = nozzle.port_mach_and_head_ratio(np.array(1 / throat_over_port), gamma)
    stagnation = 1550.0 * nozzle.vandenkerckhove(gamma)
    flux = (
        6.9e6
        * nozzle.pressure_ratio(mach, gamma)
        * mach
        * np.sqrt(gamma)
        / (stagnation * np.sqrt(gas.temperature_ratio(mach, gamma)))
    )
    assert float(flux) == pytest.approx(expected, rel=3e-6)
