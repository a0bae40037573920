"""Screw sizes by their designation, areas as columns, and proportions of a joint."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics.failure.screws import Proportion, areas, screw_size, screw_sizes, tabulated_bearing_strength
from physics.materials import material
from physics.missing import NotComputable


@pytest.mark.parametrize(
    ("text", "designation"),
    [
        ("#10-24 UNC", "#10-24 UNC"),
        ("#10-32", "#10-32 UNF"),
        ("1/4-20", "1/4-20 UNC"),
        ("1/4 - 28 unf", "1/4-28 UNF"),
        ("M5", "M5x0.8"),
        ("m6 x 1", "M6x1"),
        ("M8×1", "M8x1"),
        ("No.8-32", "#8-32 UNC"),
        ("M5x0.8-6g", "M5x0.8"),
    ],
)
def test_designations(text: str, designation: str) -> None:
    assert screw_size(text).designation == designation


@pytest.mark.parametrize("wrong", ["M3.7", "#10-25", "", "1/4", "screw"])
def test_unknown_sizes_are_refused_with_near_ones(wrong: str) -> None:
    with pytest.raises(KeyError, match="did you mean"):
        screw_size(wrong)


@given(st.sampled_from(screw_sizes()))
def test_every_size_reads_back_and_its_hole_clears_it(size) -> None:  # type: ignore[no-untyped-def]
    assert screw_size(size.designation) == size
    assert 1.0 < size.clearance_hole / size.diameter < 1.12
    assert 0.05 < size.pitch / size.diameter < 0.30


@given(st.sampled_from(screw_sizes()))
def test_the_four_areas_are_in_order(size) -> None:  # type: ignore[no-untyped-def]
    found = areas(size.diameter, size.pitch, size.metric)
    assert found.shank > found.tensile_stress > found.basic_minor > found.minimum_minor > 0.4 * found.shank


def test_areas_take_columns() -> None:
    sizes = screw_sizes()
    columns = (np.array([getattr(s, name) for s in sizes], dtype=float) for name in ("diameter", "pitch", "metric"))
    together = areas(*columns)
    for i, size in enumerate(sizes):
        alone = areas(size.diameter, size.pitch, size.metric)
        for name in ("shank", "tensile_stress", "basic_minor", "minimum_minor"):
            assert getattr(together, name)[i] == pytest.approx(float(getattr(alone, name)), rel=1e-12)


def test_coarse_thread_has_less_metal_than_fine() -> None:
    coarse, fine = (areas(screw_size(s).diameter, screw_size(s).pitch) for s in ("1/4-20", "1/4-28"))
    assert coarse.minimum_minor < fine.minimum_minor and coarse.shank == fine.shank


def test_a_proportion_out_of_its_band_says_so() -> None:
    short = Proportion("edge distance over screw diameter", np.array([1.2]), 1.5, float("nan"), "a handbook")
    assert short.warning() == "edge distance over screw diameter is 1.2; at least 1.5 is good practice (a handbook)"
    assert Proportion("fill", np.array([0.7]), 0.6, 0.85, "a handbook").warning() == ""


def test_no_bearing_table_is_said() -> None:
    with pytest.raises(NotComputable, match="bearing_strength of 6063-T6 is not known"):
        tabulated_bearing_strength(material("6063-T6"), np.array([2.0]))
