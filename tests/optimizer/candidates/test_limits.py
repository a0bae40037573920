"""Limits are hard, NaN never passes, and an excess says by how much."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.candidates.limits import Bound, rules_of
from optimizer.inputs.study import load_study


def test_bounds_are_hard_and_nan_never_passes():
    bound = Bound("x", "x", 1.0, 2.0)
    values = np.array([np.nextafter(1.0, 0.0), 1.0, 2.0, np.nextafter(2.0, 3.0), np.nan])
    assert bound.fails(values).tolist() == [True, False, False, True, True]
    assert (bound.excess(values) > 0.0).tolist() == [True, False, False, True, True]
    assert np.isinf(bound.excess(values)[-1])


def test_an_open_end_does_not_pass_and_misses_by_next_to_nothing():
    bound = Bound("target impulse", "total_impulse", 1280.0, 2560.0, open_minimum=True)
    assert bound.fails(np.array([1280.0, 1280.1, 2560.0])).tolist() == [True, False, False]
    assert 0.0 < bound.excess(np.array([1280.0]))[0] < 1e-300


def test_excess_is_a_part_of_the_bound():
    assert Bound("x", "x", maximum=8.0).excess(np.array([10.0]))[0] == pytest.approx(0.25)
    assert Bound("x", "x", minimum=8.0).excess(np.array([6.0]))[0] == pytest.approx(0.25)
    assert Bound("x", "x", minimum=0.0).excess(np.array([-2.0]))[0] == pytest.approx(2.0)


def test_rules_sort_what_a_study_asks(cases, tmp_path):
    limits = cases.LIMITS + 'loaded_mass = {max = "3 kg"}\nouter_diameter = {max = "60 mm"}\nsmallest_factor = {min = 1.1}'
    rules = rules_of(load_study(cases.write_study(tmp_path, limits=limits)))
    assert [bound.quantity for bound in rules.figures] == [
        "total_impulse", "maximum_expected_pressure", "port_over_throat",
    ]  # fmt: skip
    assert [bound.quantity for bound in rules.masses] == ["loaded_mass"]
    assert [bound.quantity for bound in rules.dimensions] == ["outer_diameter"]
    assert rules.smallest_factor is not None and rules.smallest_factor.minimum == 1.1
    assert rules.factors == {"screw shear": 2.0, "case yield": 1.5}
    assert [(aim.name, aim.more) for aim in rules.aims] == [
        ("loaded_mass", False), ("total_impulse", True), ("smallest_factor", True),
    ]  # fmt: skip
