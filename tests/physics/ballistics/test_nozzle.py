"""Isentropic relations, thrust, separation, port flow."""

from __future__ import annotations

import gas
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.ballistics import nozzle

gammas = st.floats(1.05, 1.67)


class TestMachFromAreaRatio:
    @settings(max_examples=200, deadline=None)
    @given(st.floats(1.0, 300.0), gammas, st.sampled_from(["subsonic", "supersonic"]))
    def test_round_trip(self, ratio, gamma, branch):
        mach = nozzle.mach_from_area_ratio(np.array(ratio), np.array(gamma), branch)
        assert float(gas.area_ratio(mach, np.array(gamma))) == pytest.approx(ratio, rel=1e-10)
        assert (mach <= 1.0 + 1e-9) if branch == "subsonic" else (mach >= 1.0 - 1e-9)

    def test_throat_and_impossible(self):
        both = nozzle.mach_from_area_ratio(np.array([1.0, 0.9]), np.array(1.2))
        assert both[0] == 1.0
        assert np.isnan(both[1])

    def test_unknown_branch(self):
        with pytest.raises(ValueError, match="sideways"):
            nozzle.mach_from_area_ratio(np.array(2.0), np.array(1.2), "sideways")


def push(pressure, expansion=8.0, gamma=1.2, ambient=101325.0):
    return nozzle.thrust(np.asarray(pressure), 1e-4, np.array(expansion), np.array(gamma), ambient, 0.95, 0.26)


class TestThrust:
    @settings(max_examples=60, deadline=None)
    @given(st.floats(1.5, 40.0), gammas)
    def test_no_steps_and_never_negative(self, expansion, gamma):
        """Thrust grows with pressure without a step from below ambient through separation to full flow."""
        pressure = np.geomspace(0.5e5, 2e7, 4000)
        result = push(pressure, expansion, gamma)
        assert (result.thrust >= 0).all()
        assert np.isfinite(result.thrust).all()
        rise = np.diff(result.thrust)
        assert (rise >= -1e-9).all()
        assert (rise <= 0.02 * result.thrust[1:] + 0.5).all()

    def test_full_flow_is_the_formula(self):
        mach = nozzle.mach_from_area_ratio(np.array(8.0), np.array(1.2))
        exit_pressure = 5e6 * nozzle.pressure_ratio(mach, np.array(1.2))
        expected = (0.95 * (1 + np.cos(0.26)) / 2 * 1.2 * mach**2 * exit_pressure + exit_pressure - 101325.0) * 8e-4
        result = push(5e6)
        assert float(result.thrust) == pytest.approx(float(expected), rel=1e-12)
        assert not result.separated
        assert not result.unchoked

    def test_separated_flow_beats_full_flow(self):
        """Air let in at the wall relieves an overexpanded cone: full flow would push less."""
        result = push(0.6e6)
        mach = nozzle.mach_from_area_ratio(np.array(8.0), np.array(1.2))
        ratio = nozzle.pressure_ratio(mach, np.array(1.2))
        full = nozzle.full_flow_coefficients(mach, ratio, np.array(8.0), np.array(1.2), 0.95 * (1 + np.cos(0.26)) / 2)
        assert result.separated
        assert float(result.thrust) > float(1e-4 * (full * 0.6e6 - 8 * 101325.0))

    def test_wall_pressure_at_separation_is_the_criterion(self):
        over = np.array([3.0, 5.0, 9.0])
        mach = nozzle.separation_mach(over, np.array(1.2))
        np.testing.assert_allclose(
            over * nozzle.pressure_ratio(mach, np.array(1.2)), nozzle.separation_pressure_ratio(mach), rtol=1e-11
        )

    def test_not_sonic(self):
        result = push(np.array([0.9e5, 1.5e5]))
        assert result.unchoked.all()
        assert result.thrust[0] == 0.0

    def test_vacuum(self):
        result = push(np.array([1e3, 1e6]), ambient=0.0)
        assert not result.separated.any()
        assert not result.unchoked.any()
        assert result.thrust[1] == pytest.approx(1000 * result.thrust[0], rel=1e-12)


class TestPortFlow:
    @settings(max_examples=60, deadline=None)
    @given(gammas)
    def test_head_pressure_falls_as_the_port_opens_without_a_step(self, gamma):
        ratio = np.geomspace(0.3, 100.0, 3000)
        head = nozzle.port_mach_and_head_ratio(ratio, np.array(gamma))[1]
        assert (np.diff(head) < 0).all()
        assert (head[:-1] / head[1:] < 1.01).all()
        assert head[-1] == pytest.approx(1.0, abs=1e-3)

    def test_slope(self):
        """d log h/d log J = −γM²/(1 + γM²), which places the highest head pressure of a burn."""
        gamma, ratio = np.array(1.2), np.array([1.05, 1.5, 3.0])
        step = 1e-5
        wider, tighter = (nozzle.port_mach_and_head_ratio(ratio * (1 + shift), gamma)[1] for shift in (step, -step))
        slope = np.log(wider / tighter) / (2 * step)
        push = gamma * nozzle.port_mach_and_head_ratio(ratio, gamma)[0] ** 2
        np.testing.assert_allclose(slope, -push / (1 + push), rtol=1e-6)

    def test_ends_of_the_range(self):
        head = nozzle.port_mach_and_head_ratio(np.array([0.0, np.inf]), np.array(1.2))[1]
        assert np.isinf(head[0])
        assert head[1] == pytest.approx(1.0, abs=1e-14)
