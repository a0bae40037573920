"""The pressure drop along the port as a load on the stack."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics.failure.grain_support import static_drop_share


@given(st.floats(0.01, 0.95), st.floats(1.1, 1.4))
def test_the_port_mach_number_is_found_again(mach: float, gamma: float) -> None:
    pushed = 1.0 + gamma * mach**2
    ratio = pushed * (1.0 + 0.5 * (gamma - 1.0) * mach**2) ** (-gamma / (gamma - 1.0))
    found = static_drop_share(np.asarray(ratio), np.asarray(gamma))
    assert found == pytest.approx(1.0 - 1.0 / pushed, rel=2e-5, abs=1e-9)


def test_no_flow_no_drop() -> None:
    assert static_drop_share(np.array([1.0, 0.99]), np.array(1.2)) == pytest.approx([0.0, 0.0])


def test_never_beyond_the_choked_port() -> None:
    assert static_drop_share(np.asarray(5.0), np.asarray(1.2)) == pytest.approx(1.2 / 2.2)


@given(st.floats(1.001, 1.2), st.floats(1.001, 1.05))
def test_a_tighter_port_loads_the_stack_more(ratio: float, more: float) -> None:
    gamma = np.asarray(1.2)
    assert static_drop_share(np.asarray(ratio * more), gamma) > static_drop_share(np.asarray(ratio), gamma)


def test_the_static_drop_is_about_twice_the_drop_in_stagnation_pressure() -> None:
    """Derived: for a small Mach number p_head/p = 1 + γM² and p_head/p_0 = 1 + γM²/2."""
    assert static_drop_share(np.asarray(1.01), np.asarray(1.2)) == pytest.approx(0.02, rel=0.03)
