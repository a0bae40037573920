"""Non-dominated sets against the definition, on a thousand small problems."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.candidates.pareto import Archive, hypervolume, non_dominated, order, rounded, spread_out, staircase


def by_definition(points):
    finite = np.isfinite(points).all(axis=1)
    keep = finite.copy()
    for row in np.flatnonzero(finite):
        others = points[finite]
        keep[row] = not ((others <= points[row]).all(axis=1) & (others < points[row]).any(axis=1)).any()
    return keep


@pytest.mark.parametrize("objectives", [1, 2, 3, 4])
def test_a_thousand_small_problems_agree_with_the_definition(objectives):
    draw = np.random.default_rng(objectives)
    for _ in range(250):
        points = draw.integers(0, 5, size=(draw.integers(0, 40), objectives)).astype(float)
        if len(points) and draw.random() < 0.3:
            points[draw.integers(len(points)), draw.integers(objectives)] = draw.choice([np.nan, np.inf])
        wanted = by_definition(points)
        assert (non_dominated(points) == wanted).all()
        if objectives <= 3:
            finite = points[np.isfinite(points).all(axis=1)]
            assert (staircase(finite) == by_definition(finite)).all()


def test_the_staircase_refuses_a_fourth_objective():
    with pytest.raises(ValueError, match="up to 3"):
        staircase(np.zeros((2, 4)))


def test_exact_ties_are_all_kept_and_a_nan_row_harms_nobody():
    points = np.array([[1.0, 2.0], [1.0, 2.0], [np.nan, 0.0], [2.0, 3.0]])
    assert non_dominated(points).tolist() == [True, True, False, False]


def test_the_archive_does_not_depend_on_block_size_or_order():
    draw = np.random.default_rng(5)
    points = draw.integers(0, 30, size=(600, 3)).astype(float)
    keys = np.arange(600)[:, None]
    wanted = None
    for block in (1, 7, 100, 600):
        sequence = draw.permutation(600)
        archive = Archive(3, 1)
        for start in range(0, 600, block):
            rows = sequence[start : start + block]
            archive.add(points[rows], keys[rows])
            archive.add(points[rows], keys[rows])  # a block given twice counts once
        found = archive.sorted()
        if wanted is None:
            wanted = found
        assert (found[0] == wanted[0]).all() and (found[1] == wanted[1]).all()
    assert set(wanted[1][:, 0]) == set(np.flatnonzero(by_definition(points)))


def test_rounding_keeps_nine_digits_and_hides_the_last_bit():
    value = 1234.5678901234
    assert rounded(np.array([value]))[0] == rounded(np.array([np.nextafter(value, 2e3)]))[0]
    assert rounded(np.array([1.00000001, 1.0]))[0] != 1.0
    assert rounded(np.array([-2.5e-300, 7e250, np.inf])).tolist() == [-2.5e-300, 7e250, np.inf]


def test_hypervolume_of_a_corner_is_its_box():
    # derived from: volume of a box
    assert hypervolume(np.array([[1.0, 2.0]]), np.array([3.0, 5.0])) == pytest.approx(6.0)
    assert hypervolume(np.array([[1.0, 4.0], [2.0, 2.0], [np.nan, 0.0]]), np.array([3.0, 5.0])) == pytest.approx(4.0)
    assert hypervolume(np.zeros((0, 2)), np.ones(2)) == 0.0


def test_order_is_by_objectives_then_by_key():
    points = np.array([[2.0, 1.0], [1.0, 1.0], [1.0, 1.0]])
    assert order(points, np.array([0, 9, 3])).tolist() == [2, 1, 0]


def test_a_thinned_front_keeps_the_best_of_each_objective_and_leaves_no_wide_gap():
    turn = np.linspace(0.0, np.pi / 2, 2000) ** 1.5
    points = np.stack([1.0 - np.sin(turn), 300.0 * (1.0 - np.cos(turn))], axis=1)
    chosen = spread_out(points, 40)
    assert len(chosen) == 40 == len(set(chosen.tolist())) and (np.diff(chosen) > 0).all()
    assert {int(points[:, 0].argmin()), int(points[:, 1].argmin())} <= set(chosen.tolist())
    scaled = points / np.ptp(points, axis=0)
    gaps = np.linalg.norm(np.diff(scaled[chosen], axis=0), axis=1)
    assert gaps.max() < 2.5 * gaps.min()
    assert spread_out(points[:30], 40).tolist() == list(range(30))
