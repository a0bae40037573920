"""Plates that bear on a circle of their own, with a hole or without, against handbook forms and an equation solver."""

from __future__ import annotations

import numpy as np
import pytest

from physics.failure.plates import bearing_plate_factor, ring_rolling_stress, small_hole_factor, solid_plate_stresses


def test_pressure_all_over() -> None:
    """3(3 + ν)/8: Timoshenko, Theory of Plates and Shells, art. 16; Roark, case 10a (remembered, as the handbook read for the
    plain plate has it)."""
    assert bearing_plate_factor(np.array(1.0), np.array(0.3)) == pytest.approx(1.2375)


@pytest.mark.parametrize(("share", "expected"), [(0.7, 1.01278), (0.5, 0.69650)])
def test_pressure_within_a_smaller_circle(share: float, expected: float) -> None:
    """M = (W/4π)·[(1 + ν)·ln(a/c) + 1 − (1 − ν)·c²/(4a²)]: Timoshenko, art. 16, eq. 82 (remembered); σ = 6·M/t²."""
    load = np.pi * share**2
    moment = load / (4 * np.pi) * (1.3 * np.log(1 / share) + 1 - 0.7 * share**2 / 4)
    assert 6 * moment == pytest.approx(expected, rel=1e-4)
    assert bearing_plate_factor(np.array(share), np.array(0.3)) == pytest.approx(6 * moment)


@pytest.mark.parametrize(
    ("opening", "factor"), [(0.8, 0.592), (0.667, 0.976), (0.5, 1.440), (0.333, 1.880), (0.25, 2.08), (0.2, 2.19)]
)
def test_an_opening(opening: float, factor: float) -> None:
    """Timoshenko, Theory of Plates and Shells, table 3, case 2, ν = 0.3: a/b 1.25, 1.5, 2, 3, 4, 5 (remembered)."""
    assert bearing_plate_factor(np.array(1.0), np.array(0.3), np.array(opening)) == pytest.approx(factor, rel=0.01)


@pytest.mark.parametrize("sealed", [1.2, 1.5])
def test_a_plate_that_reaches_out_over_its_circle(sealed: float) -> None:
    """φ″ + φ′/r − φ/r² = −Q/D by finite differences, 1501 points from the middle to the rim."""
    nu, points = 0.3, 1501
    r = np.linspace(0.0, sealed, points)
    step = r[1]
    inner = r[1:-1]
    shear = np.where(inner < 1.0, inner / 2, (inner**2 - sealed**2) / (2 * inner))
    matrix, right = np.zeros((points, points)), np.zeros(points)
    middle = np.arange(1, points - 1)
    matrix[middle, middle - 1] = 1 / step**2 - 1 / (2 * step * inner)
    matrix[middle, middle] = -2 / step**2 - 1 / inner**2
    matrix[middle, middle + 1] = 1 / step**2 + 1 / (2 * step * inner)
    right[middle] = -shear
    matrix[0, 0] = 1.0
    matrix[-1, -3:] = np.array([0.5, -2.0, 1.5]) / step
    matrix[-1, -1] += nu / sealed
    slope = np.linalg.solve(matrix, right)
    change, over = np.gradient(slope, step), np.append(slope[1] / step, slope[1:] / r[1:])
    largest = 6 * max(np.abs(change + nu * over).max(), np.abs(over + nu * change).max())
    assert bearing_plate_factor(np.array(sealed), np.array(nu)) == pytest.approx(largest, rel=2e-3)


def test_a_small_hole_in_the_middle_doubles_the_stress() -> None:
    """Textbook: a hole under equal stress in both directions doubles it; and the exact annular plate tends to it."""
    nu = np.array(0.3)
    tiny = bearing_plate_factor(np.array(1.0), nu, np.array(1e-4), np.array(1e-8))
    assert tiny == pytest.approx(2 * 1.2375, rel=1e-6)
    assert small_hole_factor(np.array(0.0), nu) == pytest.approx(tiny, rel=1e-6)


def test_stresses_along_the_radius() -> None:
    """Edge of a simply supported plate: no radial stress, hoop stress (3/4)(1 − ν)·q·a²/t² (Timoshenko, art. 16, derived)."""
    radial, hoop = solid_plate_stresses(np.array(1.0), np.array(0.3))
    assert radial == 0.0 and hoop == pytest.approx(0.75 * 0.7)


def test_a_ring_that_rolls() -> None:
    """θ = M·r²/(E·I), I = w·h³/12, stress E·θ·(h/2)/r: Timoshenko, Strength of Materials, part II (remembered)."""
    moment, r, w, h, modulus = 12.0, 0.025, 0.006, 0.012, 7e10
    turned = moment * r**2 / (modulus * w * h**3 / 12)
    assert ring_rolling_stress(moment, r, w, h) == pytest.approx(modulus * turned * h / 2 / r)
