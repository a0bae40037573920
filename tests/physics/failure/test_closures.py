"""Threaded rings, plates and seats: how they change with their dimensions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics.failure.closures import (
    annular_plate_factor,
    ligament_shear_load,
    offset_ligament,
    plate_stress,
    thread_shear_areas,
    worst_opening_factor,
)

lengths = st.floats(1e-3, 5e-2)


@given(st.floats(0.02, 0.12), st.floats(1e-3, 3e-3), st.floats(5e-3, 3e-2))
def test_the_internal_thread_has_more_metal_to_shear(diameter: float, pitch: float, engagement: float) -> None:
    found = thread_shear_areas(np.asarray(diameter), np.asarray(pitch), np.asarray(engagement))
    twice = thread_shear_areas(np.asarray(diameter), np.asarray(pitch), np.asarray(2 * engagement))
    assert 0 < found.external < found.internal < np.pi * diameter * engagement
    assert twice.external == pytest.approx(2 * found.external, rel=1e-12)


@given(lengths, lengths, st.floats(1e5, 1e7), st.floats(0.2, 0.4))
def test_a_clamped_plate_is_less_stressed(radius: float, thickness: float, q: float, nu: float) -> None:
    given_ = (np.asarray(q), np.asarray(radius), np.asarray(thickness))
    assert plate_stress(*given_, np.asarray(nu), clamped=True) < plate_stress(*given_, np.asarray(nu))


@given(st.floats(0.1, 0.85), st.floats(0.0, 1.0), st.floats(0.25, 0.35))
def test_a_load_on_the_rim_adds_stress(opening: float, load: float, nu: float) -> None:
    b, poisson = np.asarray(opening), np.asarray(nu)
    bare, loaded = annular_plate_factor(b, np.asarray(0.0), poisson), annular_plate_factor(b, np.asarray(load), poisson)
    assert loaded >= bare > 0


def test_worst_opening_is_worse_than_a_solid_plate() -> None:
    solid = float(plate_stress(np.asarray(1.0), np.asarray(1.0), np.asarray(1.0), np.asarray(0.33)))
    assert 2.0 * solid < worst_opening_factor(0.33) < 3.5 * solid


@given(lengths, lengths, st.floats(5e7, 1e9))
def test_ligament_grows_with_its_margin(diameter: float, margin: float, strength: float) -> None:
    once, twice = (ligament_shear_load(np.asarray(diameter), np.asarray(m), np.asarray(strength)) for m in (margin, 2 * margin))
    assert twice == pytest.approx(2 * once)


def test_offset_ligament_against_a_section_of_fibres() -> None:
    """Independent of the closed form: fibres of a strip, all at yield, the load's line at the offset from its middle.

    The neutral line is sought at which the fibres balance the load about the middle of the strip.
    """
    middles = (np.arange(200_000) + 0.5) / 200_000 - 0.5
    for eccentricity in (0.0, 0.1, 0.5, 1.5, 4.0):
        low, high = -0.5, 0.5  # fibres above the line pull, those below push
        for _ in range(60):
            line = 0.5 * (low + high)
            signs = np.where(middles > line, 1.0, -1.0)
            pull, moment = signs.mean(), (signs * middles).mean()
            low, high = (line, high) if moment < eccentricity * pull else (low, line)
        assert offset_ligament(np.asarray(eccentricity)) == pytest.approx(pull, abs=2e-5)


@given(st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_a_ligament_further_off_bears_less(one: float, other: float) -> None:
    near, far = sorted((one, other))
    assert 0.0 < offset_ligament(np.asarray(far)) <= offset_ligament(np.asarray(near)) <= 1.0
