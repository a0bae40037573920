"""Static pressure along a port with mass addition against closed forms and tables of Rayleigh flow."""

from __future__ import annotations

import numpy as np
import pytest

from physics.ballistics.nozzle import port_mach_and_head_ratio
from physics.ballistics.port import mach_squared_from_impulse, no_flow, profile, stagnation_ratio


def straight_port(ratio: float, gamma: float, nodes: int = 12) -> tuple[float, float, float]:
    """p_head/p_0, Mach number and p_aft/p_0 at the aft end of one straight core fed evenly, through `profile`."""
    share = np.linspace(0.0, 1.0, nodes)[None, None, :]
    area = np.full((1, 1, nodes), ratio * 1e-4)
    found = profile(share, area, np.array([1e-4]), np.array([gamma]), no_flow((1, 1, nodes)))
    aft = float(np.exp(found.log_pressure[0, 0, -1]))
    return float(found.head[0]), float(np.sqrt(found.mach_squared[0, 0, -1])), aft


@pytest.mark.parametrize(
    ("gamma", "ratio", "mach", "head_over_aft", "stagnation_over_head"),
    [  # derived: p_head/p_aft = 1 + gamma M^2 and the isentropic area relation
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
def test_straight_port(gamma: float, ratio: float, mach: float, head_over_aft: float, stagnation_over_head: float) -> None:
    head, found_mach, aft = straight_port(ratio, gamma)
    assert found_mach == pytest.approx(mach, abs=1e-5)
    assert head / aft == pytest.approx(head_over_aft, rel=1e-5)
    assert 1.0 / head == pytest.approx(stagnation_over_head, rel=1e-5)
    assert head == pytest.approx(float(port_mach_and_head_ratio(np.array(ratio), np.array(gamma))[1]), rel=1e-10)


@pytest.mark.parametrize(("mach", "over_sonic"), [(0.5, 1.777778), (0.75, 1.342657)])
def test_against_rayleigh_flow(mach: float, over_sonic: float) -> None:
    # read: Rayleigh p/p* at gamma = 1.4 in the tests of a gas-dynamics library; p_head/p_aft = 2.4/(p/p*)
    gamma = 1.4
    square = np.array([mach**2])
    relative = square * (1.0 + 0.2 * square) / (1.0 + gamma * square) ** 2
    assert mach_squared_from_impulse(relative, np.array([gamma]))[0] == pytest.approx(mach**2, rel=1e-12)
    assert 1.0 + gamma * mach**2 == pytest.approx(2.4 / over_sonic, rel=1e-6)


def test_pressure_falls_along_the_port_as_the_impulse_demands() -> None:
    # derived: with the flow rising evenly, p(1 + gamma M^2) is the same at every node
    nodes = 30
    share = np.linspace(0.0, 1.0, nodes)[None, None, :]
    found = profile(share, np.full((1, 1, nodes), 1.6e-4), np.array([1e-4]), np.array([1.2]), no_flow((1, 1, nodes)))
    pressure = np.exp(found.log_pressure[0, 0])
    impulse = pressure * (1.0 + 1.2 * found.mach_squared[0, 0])
    np.testing.assert_allclose(impulse, impulse[0], rtol=1e-12)
    assert (np.diff(pressure) < 0.0).all()
    stagnation = pressure * stagnation_ratio(found.mach_squared[0, 0], np.array(1.2))
    assert stagnation[-1] == pytest.approx(1.0, rel=1e-12)


def test_choked_port_lifts_the_head_as_one_over_its_area() -> None:
    # derived: sonic aft end, p_head = p_0 (1 + gamma)/((gamma+1)/2)^(gamma/(gamma-1)) At/Ap
    gamma = 1.2
    sonic = (1.0 + gamma) / (0.5 * (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    for ratio in (0.9, 0.5):
        head, mach, _ = straight_port(ratio, gamma)
        assert mach == pytest.approx(1.0, abs=1e-6)
        assert head == pytest.approx(sonic / ratio, rel=1e-10)
