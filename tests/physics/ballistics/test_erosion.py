"""The erosive laws: limits, the implicit equation, and constants from the file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import lambertw

from physics.ballistics.erosion import LAWS, eroded_rate, erosion, lambert
from physics.motors import Propellant


def propellant(law: str, **constants: float) -> Propellant:
    numbers = (1750.0, 1550.0, 1.2, 0.025, [[1e5]], [[1e7]], [[5e-3]], [[1e6]], [[0.35]], 293.15, 0.0)
    return Propellant(*(np.array(v) for v in numbers), erosive=law, erosive_constants=constants)


def rate(law: str, base: float, flux: float, diameter: float, **constants: float) -> float:
    columns = (np.array([value]) for value in (base, flux, diameter))
    return float(eroded_rate(erosion(propellant(law, **constants), 293.15), *columns)[0])


def test_lambert_agrees_with_scipy_over_the_whole_range() -> None:
    z = np.r_[np.logspace(-300, 5, 2000)]
    np.testing.assert_allclose(lambert(z), lambertw(z).real, rtol=1e-14)
    assert lambert(np.zeros(1))[0] == 0.0


def test_every_law_states_its_range() -> None:
    assert {"none", "mukunda-paul", "lenoir-robillard"} <= set(LAWS)
    assert all(law.range for law in LAWS.values())


@pytest.mark.parametrize("law", LAWS)
def test_without_flux_the_base_rate_is_left_alone(law: str) -> None:
    assert rate(law, 8e-3, 0.0, 0.025) == 8e-3


@given(base=st.floats(1e-3, 0.03), flux=st.floats(0.0, 4000.0), diameter=st.floats(5e-3, 0.3))
@settings(max_examples=150, deadline=None)
def test_erosion_never_slows_and_grows_with_flux(base: float, flux: float, diameter: float) -> None:
    for law in LAWS:
        slow, fast = rate(law, base, flux, diameter), rate(law, base, 1.1 * flux, diameter)
        assert slow >= base
        assert fast >= slow * (1.0 - 1e-12)


@given(base=st.floats(1e-3, 0.03), flux=st.floats(1.0, 4000.0), diameter=st.floats(5e-3, 0.3))
@settings(max_examples=100, deadline=None)
def test_lenoir_robillard_rate_satisfies_its_implicit_equation(base: float, flux: float, diameter: float) -> None:
    alpha, beta = 1.2e-5, 53.0
    r = rate("lenoir-robillard", base, flux, diameter, alpha=alpha, beta=beta)
    assert r == pytest.approx(base + alpha * flux**0.8 * diameter**-0.2 * np.exp(-beta * r * 1750.0 / flux), rel=1e-10)


def test_mukunda_paul_is_continuous_at_its_threshold() -> None:
    base, diameter, mu = 8e-3, 0.025, 8e-5
    onset = 35.0 * 1750.0 * base * (1750.0 * base * diameter / mu / 1000.0) ** 0.125
    below, above = (rate("mukunda-paul", base, onset * s, diameter, viscosity=mu) for s in (1 - 1e-9, 1 + 1e-9))
    assert below == base
    assert above == pytest.approx(base, rel=1e-8)


def test_constants_of_the_file_replace_the_defaults() -> None:
    default = rate("mukunda-paul", 8e-3, 1500.0, 0.025)
    doubled = rate("mukunda-paul", 8e-3, 1500.0, 0.025, coefficient=0.046)
    assert doubled - 8e-3 == pytest.approx(2.0 * (default - 8e-3), rel=1e-12)


def test_unknown_names_are_refused_and_named() -> None:
    with pytest.raises(ValueError, match="mukunda-paul"):
        erosion(propellant("green"), 293.15)
    with pytest.raises(ValueError, match="coefficient, threshold, viscosity"):
        erosion(propellant("mukunda-paul", alpha=1.0), 293.15)
