"""Erosive laws against points worked from their published formulas. The formulas are remembered, the digits derived.

No measured erosive-burning data with a complete set of inputs was at hand: these rows test the arithmetic of the laws,
not the physics of a propellant.
"""

from __future__ import annotations

import numpy as np
import pytest

from physics.ballistics.erosion import Erosion, eroded_rate, erosion, gas_viscosity, heat_transfer_alpha
from physics.motors import Propellant


def law(name: str, **constants: float) -> Erosion:
    numbers = (1750.0, 1550.0, 1.2, 0.025, [[1e5]], [[1e7]], [[5e-3]], [[1e6]], [[0.35]], 293.15, 0.0)
    return erosion(Propellant(*(np.array(v) for v in numbers), erosive=name, erosive_constants=constants), 293.15)


def test_alpha_of_lenoir_and_robillard() -> None:
    # derived from alpha = 0.0288 cp mu^0.2 Pr^(-2/3) (T1 - Ts)/(rho cs (Ts - Tp)), form remembered (Lenoir & Robillard
    # 1957; Sutton & Biblarz ch. 11)
    alpha = heat_transfer_alpha(2000.0, 8e-5, 0.8, 1750.0, 1500.0, 3200.0, 1000.0, 293.0)
    assert float(alpha) == pytest.approx(1.2009395e-5, rel=1e-6)


@pytest.mark.parametrize(
    ("flux", "rate"),
    [(200.0, 8.041793), (500.0, 8.718947), (1000.0, 10.403625), (1500.0, 12.123327), (2000.0, 13.793599)],
)
def test_lenoir_robillard_rate(flux: float, rate: float) -> None:
    # derived: fixed point of the remembered law, r0 = 8 mm/s, d = 25 mm, beta = 53, alpha as above
    constants = law("lenoir-robillard", alpha=1.2009395e-5, beta=53.0)
    found = eroded_rate(constants, np.array([8e-3]), np.array([flux]), np.array([0.025]))
    assert 1e3 * float(found[0]) == pytest.approx(rate, rel=1e-6)


def test_size_of_the_port_acts_as_diameter_to_the_minus_one_fifth() -> None:
    # derived: without blowing (beta = 0) ten times the diameter gives 10^-0.2 = 0.630957 of the increment
    constants = law("lenoir-robillard", alpha=1.2e-5, beta=1e-12)
    base, flux = np.full(2, 8e-3), np.full(2, 1000.0)
    rise = eroded_rate(constants, base, flux, np.array([0.025, 0.25])) - base
    assert rise[1] / rise[0] == pytest.approx(0.630957, rel=1e-6)


@pytest.mark.parametrize(
    ("g", "eta"),
    [
        (20, 1.0),
        (35, 1.0),
        (50, 1.13055),
        (75, 1.33206),
        (100, 1.52030),
        (150, 1.87114),
        (200, 2.19888),
        (300, 2.80973),
    ],
)
def test_mukunda_paul_curve(g: float, eta: float) -> None:
    # derived from eta = 1 + 0.023 (g^0.8 - 35^0.8), form remembered (Mukunda & Paul, Combust. Flame 109 (1997) 224);
    # the viscosity makes Re0 = 1000, so that g is the flux ratio itself
    base, diameter = 8e-3, 0.025
    constants = law("mukunda-paul", viscosity=1750.0 * base * diameter / 1000.0)
    found = eroded_rate(constants, np.array([base]), np.array([g * 1750.0 * base]), np.array([diameter]))
    assert float(found[0]) / base == pytest.approx(eta, abs=1e-5)


@pytest.mark.parametrize(("flux", "eta"), [(500.0, 1.0), (589.275, 1.0), (1000.0, 1.208219), (1500.0, 1.439484)])
def test_mukunda_paul_in_a_small_motor(flux: float, eta: float) -> None:
    # derived: Re0 = 4375, g = 29.6975, 59.3950, 89.0925 at 500, 1000, 1500 kg/m2/s; onset 589.275
    constants = law("mukunda-paul", viscosity=8e-5)
    found = eroded_rate(constants, np.array([8e-3]), np.array([flux]), np.array([0.025]))
    assert float(found[0]) / 8e-3 == pytest.approx(eta, abs=1e-5)


def test_augmentation_stays_within_what_motors_have_shown() -> None:
    # read at second hand: up to about three times in some motors (Sutton, 7th ed., ch. 11)
    for name in ("mukunda-paul", "lenoir-robillard"):
        found = eroded_rate(law(name), np.array([8e-3]), np.array([3000.0]), np.array([0.025]))
        assert 1.2 < float(found[0]) / 8e-3 < 4.0


@pytest.mark.parametrize(
    ("molar_mass", "temperature", "viscosity"),
    [(0.025, 3000.0, 7.221447e-5), (0.03986, 1600.0, 6.253485e-5), (0.02897, 300.0, 1.952668e-5)],
)
def test_viscosity_of_combustion_gas(molar_mass: float, temperature: float, viscosity: float) -> None:
    # derived from 46.6e-10 M^0.5 T^0.6 lb/(in s), NASA SP-125, remembered
    assert float(gas_viscosity(molar_mass, temperature)) == pytest.approx(viscosity, rel=1e-6)
