"""Port flow through several grains: steps in area, choking inside, and behaviour that must hold for any motor."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.ballistics.nozzle import port_mach_and_head_ratio, rough_port_mach_squared, vandenkerckhove
from physics.ballistics.port import Profile, no_flow, profile, stagnation_ratio

GAMMA = np.array([1.2])


def settled(share: np.ndarray, area: np.ndarray, throat: np.ndarray, sweeps: int = 25) -> Profile:
    found = no_flow(area.shape)
    for _ in range(sweeps):
        found = profile(share, area, throat, np.full(area.shape[0], 1.2), found)
    return found


def two_grains(before: float, after: float) -> tuple[Profile, np.ndarray, np.ndarray]:
    nodes = 6
    share = np.stack([np.linspace(0.0, 0.45, nodes), np.linspace(0.55, 1.0, nodes)])[None]
    area = np.repeat(np.array([before, after])[None, :, None], nodes, axis=2) * 1e-4
    return settled(share, area, np.array([1e-4])), share, area


def test_equal_grains_behave_as_one_long_one() -> None:
    found, share, area = two_grains(1.7, 1.7)
    one = profile(share.reshape(1, 1, -1), area.reshape(1, 1, -1), np.array([1e-4]), GAMMA, no_flow((1, 1, 12)))
    np.testing.assert_allclose(found.log_pressure.ravel(), one.log_pressure.ravel(), rtol=1e-12, atol=1e-13)


def test_enlargement_keeps_the_momentum_with_the_streams_pressure_on_the_annulus() -> None:
    found, _, area = two_grains(1.6, 2.4)
    pressure, square = np.exp(found.log_pressure[0]), found.mach_squared[0]
    before = pressure[0, -1] * area[0, 0, 0] * (1.0 + 1.2 * square[0, -1])
    after = pressure[1, 0] * area[0, 1, 0] * (1.0 + 1.2 * square[1, 0])
    assert after == pytest.approx(before + pressure[0, -1] * (area[0, 1, 0] - area[0, 0, 0]), rel=1e-10)


def test_contraction_loses_half_the_area_step_of_the_dynamic_pressure() -> None:
    found, share, area = two_grains(2.4, 1.6)
    pressure, square = np.exp(found.log_pressure[0]), found.mach_squared[0]
    after = pressure[1, 0] * stagnation_ratio(square[1, 0], GAMMA)
    loss = 0.5 * (1.0 - area[0, 1, 0] / area[0, 0, 0]) * 0.5 * 1.2 * square[1, 0] * pressure[1, 0]
    # the state in the larger core with the gas of the gap already in it: same impulse, stagnation pressure after + loss
    impulse = pressure[0, -1] * (1.0 + 1.2 * square[0, -1])
    flow = share[0, 1, 0] * vandenkerckhove(GAMMA) * 1e-4 / area[0, 0, 0]
    mach = np.linspace(1e-3, 1.0, 200001)
    mixed = impulse / (1.0 + 1.2 * mach**2)
    carried = mixed * mach * np.sqrt(1.2 * (1.0 + 0.1 * mach**2))
    at = np.argmin(np.abs(carried - flow))
    assert float((mixed * stagnation_ratio(mach**2, GAMMA))[at]) == pytest.approx(float((after + loss)[0]), rel=1e-5)


def test_a_narrow_grain_in_the_middle_chokes_and_lifts_only_what_lies_upstream() -> None:
    nodes = 5
    share = np.stack([np.linspace(0.0, 0.3, nodes), np.linspace(0.35, 0.65, nodes), np.linspace(0.7, 1.0, nodes)])[None]
    throat = np.array([1e-4])

    def area(middle: float) -> np.ndarray:
        return np.repeat(np.array([2.5, middle, 2.5])[None, :, None], nodes, axis=2) * 1e-4

    free, choked = settled(share, area(2.5), throat), settled(share, area(0.35), throat)
    assert choked.choked[0]
    assert not free.choked[0]
    np.testing.assert_allclose(choked.log_pressure[0, 2], free.log_pressure[0, 2], rtol=1e-12)
    assert choked.head[0] > 1.3 * free.head[0]
    assert choked.mach_squared[0, 1].max() == pytest.approx(1.0, abs=1e-6)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_never_nan_and_never_supersonic(seed: int) -> None:
    random = np.random.default_rng(seed)
    n, grains, nodes = 6, int(random.integers(1, 7)), int(random.integers(2, 9))
    share = np.sort(random.random((n, grains * nodes)), axis=1).reshape(n, grains, nodes)
    area = np.exp(random.normal(0.5, 1.0, (n, grains, 1)) + random.normal(0.0, 0.1, (n, grains, nodes))) * 1e-4
    with np.errstate(all="raise", under="ignore"):
        found = settled(share, area, np.full(n, 1e-4), sweeps=4)
    for values in (found.log_pressure, found.mach_squared, found.head):
        assert np.isfinite(values).all()
    assert (found.mach_squared <= 1.0 + 1e-9).all()


@pytest.mark.parametrize("gamma", [1.05, 1.2, 1.4])
def test_the_rough_mach_number_is_as_good_as_it_says(gamma: float) -> None:
    ratio = np.concatenate([[0.5, 1.0], np.geomspace(1.0001, 1e3, 400)])
    rough = rough_port_mach_squared(np.log(ratio), np.array(gamma))
    np.testing.assert_allclose(rough, port_mach_and_head_ratio(ratio, np.array(gamma))[0] ** 2, rtol=1.5e-4)
    assert (rough[:2] == 1.0).all()
