"""Thick-wall theory: invariants that hold for every tube."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics.failure.case import pressure_text, sentences
from physics.vessels import (
    bore_growth,
    burst_estimates,
    collapse_pressure,
    faupel_burst_pressure,
    first_yield_pressure,
    outside_growth,
)

bores = st.floats(0.01, 0.2)
ratios = st.floats(1.005, 2.0)
strengths = st.floats(5e7, 1e9)


@given(bores, ratios, strengths)
def test_yield_pressure_inverts_the_stress(bore: float, ratio: float, strength: float) -> None:
    outer = np.asarray(bore * ratio)
    pressure = first_yield_pressure(np.asarray(strength), outer, np.asarray(bore))
    # Lamé at the bore with end load: hoop p (K2 + 1)/(K2 - 1), axial p/(K2 - 1), radial -p
    hoop, axial = (float(pressure) * part / (ratio**2 - 1.0) for part in (ratio**2 + 1.0, 1.0))
    radial = -float(pressure)
    general = np.sqrt(0.5 * ((hoop - axial) ** 2 + (axial - radial) ** 2 + (radial - hoop) ** 2))
    assert general == pytest.approx(strength, rel=1e-9)


@given(bores, ratios, strengths)
def test_yield_then_collapse_then_burst(bore: float, ratio: float, strength: float) -> None:
    outer, inner, sy = np.asarray(bore * ratio), np.asarray(bore), np.asarray(strength)
    yields, collapses = first_yield_pressure(sy, outer, inner), collapse_pressure(sy, outer, inner)
    assert yields < collapses < faupel_burst_pressure(sy, 1.2 * sy, outer, inner)


@given(bores, ratios, st.floats(0.2, 0.4))
def test_growth_is_linear_and_larger_inside(bore: float, ratio: float, poisson: float) -> None:
    given_ = (np.asarray(bore * ratio), np.asarray(bore), np.asarray(7e10), np.asarray(poisson))
    once, twice = bore_growth(np.asarray(1e6), *given_), bore_growth(np.asarray(2e6), *given_)
    assert twice == pytest.approx(2.0 * once, rel=1e-12)
    assert once > outside_growth(np.asarray(1e6), *given_) > 0.0


@given(bores, ratios, strengths, st.floats(1.05, 3.0))
def test_thicker_is_stronger(bore: float, ratio: float, strength: float, more: float) -> None:
    inner, sy = np.asarray(bore), np.asarray(strength)
    thin, thick = np.asarray(bore * ratio), np.asarray(bore * (1 + (ratio - 1) * more))
    assert first_yield_pressure(sy, thick, inner) > first_yield_pressure(sy, thin, inner)
    for name, low in burst_estimates(sy, thin, inner).items():
        assert burst_estimates(sy, thick, inner)[name] > low


def test_texts() -> None:
    assert pressure_text(np.array([1e7])) == "10 MPa (1450 psi)"
    assert sentences("a", "", "b") == "a; b"
