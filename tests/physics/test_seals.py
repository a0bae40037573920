"""O-rings: the closed loop of gap and pressure, and the proportions of a gland."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from physics.motors import Seal
from physics.seals import (
    _backup_warning,
    as568,
    extrusion_constant,
    extrusion_pressure,
    gland_figures,
    squeeze_band,
)

gaps = st.floats(1e-6, 3e-4)
growths = st.floats(1e-13, 2e-11)
shores = st.floats(65.0, 95.0)


@given(gaps, growths, shores)
def test_the_loop_is_closed(gap: float, growth: float, hardness: float) -> None:
    """Against a root finder: at the pressure found, pressure times the grown gap is what the ring bears."""
    constant = float(extrusion_constant(np.asarray(hardness)))
    found = float(extrusion_pressure(np.asarray(constant), np.asarray(gap), np.asarray(growth)))
    root = brentq(lambda p: p * 2 * (gap + growth * p) - constant, 1.0, 1e12, xtol=1e-3, rtol=1e-13)
    assert found == pytest.approx(root, rel=1e-9)


@given(gaps, growths, shores, st.floats(1.05, 3.0))
def test_a_wider_or_softer_gland_extrudes_sooner(gap: float, growth: float, hardness: float, more: float) -> None:
    constant = extrusion_constant(np.asarray(hardness))
    base = extrusion_pressure(constant, np.asarray(gap), np.asarray(growth))
    assert extrusion_pressure(constant, np.asarray(gap * more), np.asarray(growth)) < base
    assert extrusion_pressure(constant, np.asarray(gap), np.asarray(growth * more)) < base
    assert extrusion_pressure(constant / more, np.asarray(gap), np.asarray(growth)) < base


@given(gaps, growths)
def test_leaving_out_the_dilation_flatters_the_seal(gap: float, growth: float) -> None:
    constant = extrusion_constant(np.asarray(70.0))
    assert extrusion_pressure(constant, np.asarray(gap), np.asarray(growth)) < extrusion_pressure(
        constant, np.asarray(gap), np.asarray(0.0)
    )


def test_a_closed_gap_that_opens_still_has_an_answer() -> None:
    assert extrusion_pressure(np.asarray(2000.0), np.asarray(0.0), np.asarray(1e-12)) == pytest.approx(np.sqrt(1e15))


def test_a_backup_ring_counts_as_ninety_shore() -> None:
    assert extrusion_constant(np.asarray(70.0), np.asarray(1.0)) == extrusion_constant(np.asarray(90.0))


def seal(**changes: float) -> Seal:
    values = {
        "rings": 1.0, "cross_section": 3.53e-3, "gland_depth": 2.84e-3, "gap": 5e-5, "hardness": 70.0,
        "gland_width": 4.8e-3, "inner_diameter": 44.04e-3,
    } | changes
    return Seal(**{name: np.array([value]) for name, value in values.items()})


def test_a_sound_gland_draws_no_warning() -> None:
    found = gland_figures(seal(), np.array([50.8e-3]), np.array([3e-5]))
    assert [f.name for f in found] == ["squeeze", "squeeze with the bore grown", "gland fill", "stretch"]
    assert [f.warning() for f in found] == ["", "", "", ""]


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"gland_depth": 3.3e-3}, "squeeze"),
        ({"gland_width": 3.6e-3}, "gland fill"),
        ({"inner_diameter": 40e-3}, "stretch"),
    ],
)
def test_each_proportion_is_watched(changes: dict[str, float], name: str) -> None:
    wrong = [f.name for f in gland_figures(seal(**changes), np.array([50.8e-3])) if not f.ok[0]]
    assert name in wrong


def test_a_backup_ring_is_advised_above_fifteen_hundred_psi() -> None:
    # read at second hand: Parker ORD 5700 section 4.0, unless the gap is nearly closed
    def said(pressure: float, **changes: float) -> str:
        return _backup_warning(seal(**changes), np.array([pressure * 6894.757]))

    assert "backup ring is advised" in said(1600.0) and "10.3 MPa (1500 psi)" in said(1600.0)
    assert said(1400.0) == said(1600.0, gap=1e-5) == said(1600.0, backup_rings=1.0) == ""
    assert _backup_warning(seal(), None) == ""


def test_what_is_not_given_is_left_out() -> None:
    bare = Seal(*(np.array([v]) for v in (1.0, 3.53e-3, 2.8e-3, 5e-5, 70.0)))
    assert [f.name for f in gland_figures(bare, np.array([0.05]))] == ["squeeze"]


@pytest.mark.parametrize("wrong", ["051", 9, "-29x", "", 470])
def test_sizes_that_do_not_exist(wrong: int | str) -> None:
    with pytest.raises(KeyError, match="no AS568 size"):
        as568(wrong)


@pytest.mark.parametrize("spelt", [228, "228", "-228", "AS568-228", "AS568A-228"])
def test_spellings_of_a_dash_number(spelt: int | str) -> None:
    assert as568(spelt).dash == 228


def test_bands_follow_the_nearest_section() -> None:
    assert squeeze_band(np.array([5.3e-3])) == (0.15, 0.21)
