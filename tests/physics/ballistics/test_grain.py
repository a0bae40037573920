"""Burnback of cored grains."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from physics.ballistics import grain
from physics.motors import Grains


def rows(*grains) -> Grains:
    table = np.array(grains, dtype=float)
    return Grains(*(table[None, :, i] for i in range(5)))


@st.composite
def one_row(draw, cored=True):
    outer = draw(st.floats(0.01, 0.3))
    core = outer * draw(st.floats(0.02, 0.95)) if cored else 0.0
    ends = draw(st.integers(0 if cored else 1, 2))
    return rows((draw(st.integers(1, 9)), outer * draw(st.floats(0.05, 6.0)), outer, core, ends))


class TestVolumeAndArea:
    @settings(max_examples=80, deadline=None)
    @given(st.one_of(one_row(), one_row(cored=False)))
    def test_area_swept_over_the_web_is_the_volume(self, grains):
        last = grain.web(grains)[0, 0]
        swept = quad(lambda x: grain.burning_area(grains, np.array(x))[0, 0], 0, last * (1 - 1e-15), epsrel=1e-12)[0]
        assert swept == pytest.approx(grain.volume(grains, np.array(0.0))[0, 0], rel=1e-9)

    @settings(max_examples=80, deadline=None)
    @given(one_row(), st.floats(0.0, 0.95))
    def test_area_is_the_rate_at_which_volume_goes(self, grains, share):
        x = share * grain.web(grains)[0, 0]
        step = 1e-6 * grain.web(grains)[0, 0]
        lost = grain.volume(grains, np.array(x)) - grain.volume(grains, np.array(x + step))
        middle = grain.burning_area(grains, np.array(x + step / 2))
        assert lost[0, 0] / step == pytest.approx(middle[0, 0], rel=1e-5)

    def test_nothing_is_left_behind_the_web(self):
        grains = rows((4, 0.085, 0.05, 0.02, 2), (1, 0.02, 0.05, 0.02, 2), (0, 0.085, 0.05, 0.02, 2))
        np.testing.assert_allclose(grain.web(grains), [[0.015, 0.01, 0.0]])
        assert (grain.burning_area(grains, np.array(0.0151)) == 0).all()
        assert (grain.volume(grains, np.array(0.0151)) == 0).all()
        assert grain.burning_area(grains, np.array(0.012))[0, 1] == 0
        assert grain.burning_area(grains, np.array(0.0))[0, 2] == 0

    def test_coefficients_are_the_area(self):
        grains = rows((3, 0.07, 0.05, 0.02, 1), (1, 0.07, 0.05, 0.0, 2), (2, 0.07, 0.04, 0.01, 0))
        constant, linear, square = grain.area_coefficients(grains)
        for x in (0.0, 0.004, 0.009):
            np.testing.assert_allclose(constant + linear * x + square * x * x, grain.burning_area(grains, np.array(x)), rtol=1e-13)

    def test_area_never_bends_upwards(self):
        """Every area is concave in the regression, so that its largest value is at the ends or the vertex."""
        _, _, square = grain.area_coefficients(rows((3, 0.07, 0.05, 0.02, 1), (2, 0.3, 0.05, 0.01, 2)))
        assert (square <= 0).all()

    def test_inert_row_keeps_its_volume(self):
        grains = rows((1, 0.1, 0.05, 0.0, 0))
        assert grain.web(grains)[0, 0] == 0.0
        assert grain.volume(grains, np.array(0.0))[0, 0] == pytest.approx(np.pi / 4 * 0.05**2 * 0.1)


class TestPort:
    def test_opens_with_the_regression(self):
        grains = rows((1, 0.1, 0.05, 0.02, 2), (1, 0.1, 0.05, 0.0, 1))
        ports = grain.port_area(grains, np.array(0.005))
        assert ports[0, 0] == pytest.approx(np.pi / 4 * 0.03**2)
        assert np.isnan(ports[0, 1])


class TestNeutralLength:
    @settings(deadline=None)
    @given(st.floats(0.02, 0.2), st.floats(0.1, 0.8))
    def test_same_area_at_both_ends(self, outer, share):
        core = outer * share
        length = 0.5 * (3.0 * outer + core)
        grains = rows((1, length, outer, core, 2))
        web = grain.web(grains)[0, 0]
        first, middle, last = (grain.burning_area(grains, np.array(x))[0, 0] for x in (0.0, web / 2, web * (1 - 1e-13)))
        assert last == pytest.approx(first, rel=1e-9)
        assert middle - first == pytest.approx(1.5 * np.pi * web**2, rel=1e-8)


class TestLargestArea:
    def test_at_the_vertex_or_at_an_end(self):
        constant, linear, square = (np.array(v, dtype=float) for v in ([1, 1, 1, 1], [4, -4, 4, 0], [-1, -1, 0, 0]))
        found = grain.largest_area_regression(constant, linear, square, np.zeros(4), np.array([5.0, 5.0, 5.0, 5.0]))
        np.testing.assert_allclose(found, [2.0, 0.0, 5.0, 0.0])
