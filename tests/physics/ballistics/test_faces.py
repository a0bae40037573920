"""Faces covered from the outside in: against points of a grid, and against what burns in all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.ballistics import faces, grain
from physics.motors import Array, Grains


def one(core: float, outer: float, length: float, forward: float, aft: float) -> faces.CoveredGrain:
    return faces.CoveredGrain(*(np.array(value) for value in (core, outer, length, forward, aft)))


GRAINS = (
    one(0.010, 0.025, 0.100, 0.018, 0.025),
    one(0.010, 0.025, 0.100, 0.020, 0.0),
    one(0.010, 0.025, 0.020, 0.015, 0.012),
    one(0.0, 0.025, 0.050, 0.010, 0.0),
    one(0.010, 0.025, 0.030, 0.025, 0.015),
)


def unburnt(each: faces.CoveredGrain, x: float, cells: int = 600) -> float:
    """Volume of the points farther than x from every bare surface, ring by ring: knows nothing of fronts."""
    core, outer, length = float(each.core), float(each.outer), float(each.length)
    r = core + (np.arange(cells) + 0.5) * (outer - core) / cells
    z = (np.arange(cells) + 0.5) * length / cells
    radius, along = np.meshgrid(r, z)
    away = np.full(radius.shape, np.inf) if core == 0.0 else radius - core
    for bare_to, depth in ((float(each.forward), along), (float(each.aft), length - along)):
        if bare_to > core:
            away = np.minimum(away, np.hypot(np.maximum(radius - bare_to, 0.0), depth))
    return float((2 * np.pi * radius * (away > x)).sum() * (outer - core) / cells * length / cells)


@pytest.mark.parametrize("each", GRAINS)
def test_what_burns_is_the_grain(each: faces.CoveredGrain) -> None:
    x = np.linspace(0.0, float(faces.burnt_out(each)) * (1 - 1e-12), 20001)
    whole = np.pi * float(each.outer**2 - each.core**2) * float(each.length)
    assert np.trapezoid(faces.burning_area(each, x), x) == pytest.approx(whole, rel=3e-5)


@pytest.mark.parametrize("each", GRAINS)
@pytest.mark.parametrize("share", [0.25, 0.5, 0.8])
def test_what_is_left_is_what_lies_farther_than_the_fire_has_come(each: faces.CoveredGrain, share: float) -> None:
    x = np.linspace(0.0, share * float(faces.burnt_out(each)), 8001)
    whole = np.pi * float(each.outer**2 - each.core**2) * float(each.length)
    left = whole - np.trapezoid(faces.burning_area(each, x), x)
    assert left == pytest.approx(unburnt(each, float(x[-1])), rel=0.01, abs=1e-3 * whole)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.004, 0.012), st.floats(0.02, 0.03), st.floats(0.03, 0.2), st.integers(0, 2), st.floats(0.0, 0.9))
def test_without_caps_it_is_the_plain_grain(core: float, outer: float, length: float, ends: int, share: float) -> None:
    plain = Grains(*(np.array([[v]]) for v in (1.0, length, 2 * outer, 2 * core, float(ends))))
    each = one(core, outer, length, outer if ends == 2 else 0.0, outer if ends >= 1 else 0.0)
    web = float(grain.web(plain)[0, 0])
    x = np.array(share * web)
    assert float(faces.burnt_out(each)) == pytest.approx(web)
    assert float(faces.burning_area(each, x)) == pytest.approx(float(grain.burning_area(plain, x)[0, 0]), rel=1e-9)


def test_a_cap_keeps_the_wall_until_the_fire_comes_round() -> None:
    each = one(0.010, 0.025, 0.100, 0.020, 0.025)
    forward, aft = faces.bare_wall(each, np.array([0.004, 0.005, 0.013]))
    assert forward.round(6).tolist() == [0.0, 0.0, 0.012]  # 5, 12, 13
    assert aft.tolist() == [0.004, 0.005, 0.013]


def test_the_first_stretch_is_one_quadratic() -> None:
    each = one(0.010, 0.025, 0.100, 0.018, 0.025)
    last = float(faces.first_change(each))
    assert last == pytest.approx(0.007)
    x = np.linspace(0.0, last, 9)
    area = faces.burning_area(each, x)
    third: Array = np.diff(area, 3)
    assert np.abs(third).max() < 1e-12 * area.max()
