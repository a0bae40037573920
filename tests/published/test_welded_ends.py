"""Lips welded into a tube: hand reckoning, tabulated functions of beams on elastic foundation, fillets of a structural code."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.vocabulary import FILLERS as NAMES
from physics.failure.fillers import FILLERS
from physics.failure.welds import bending_stress, edge_decay, moment_share, throat_load, wall_stress

INCH = 0.0254
PSI = 6894.757293168
LBF = 4.4482216152605


def test_a_lip_by_hand() -> None:
    """2.25 by 0.065 in tube, 444 lbf/in, arm 0.06 in (own reckoning): half the moment bends by 6·13.32/0.065² = 18.9 ksi; axial
    444/0.065 = 6.83 ksi, hoop twice that; √(25.7² − 25.7·13.7 + 13.7²) = 22.3 ksi, all of it at the tube's end 39.6 ksi."""
    line, wall = 444 * LBF / INCH, 0.065 * INCH
    axial = line / wall
    half, whole = (bending_stress(share * line * 0.06 * INCH, wall) for share in (0.5, 1.0))
    assert half / PSI == pytest.approx(18_900, rel=2e-3)
    assert wall_stress(axial, half, 2 * axial) / PSI == pytest.approx(22_300, rel=2e-3)
    assert wall_stress(axial, whole, 2 * axial) / PSI == pytest.approx(39_600, rel=2e-3)


@pytest.mark.parametrize(("place", "a"), [(0.5, 0.8231), (1.0, 0.5083), (1.5, 0.2384), (2.0, 0.0667), (3.0, -0.0423)])
def test_the_shares_of_a_moment_by_tabulated_functions(place: float, a: float) -> None:
    """A(βx) = e^−βx·(cos βx + sin βx): Hetényi, Beams on Elastic Foundation, table I (remembered)."""
    assert moment_share(np.array(place)) == pytest.approx(0.5 * (1 + a**2), abs=1e-4)


@pytest.mark.parametrize("place", [0.0, 0.3, 1.0, 2.5])
def test_the_shares_of_a_moment_by_matching_two_pieces_of_tube(place: float) -> None:
    """w⁗ + 4w = 0 on both sides of the ring, free at the end; slopes, shears and deflections meet, moments differ by one."""
    roots = np.array([1 + 1j, 1 - 1j, -1 + 1j, -1 - 1j])

    def row(order: int, s: float, some: np.ndarray) -> np.ndarray:
        return some**order * np.exp(some * s)

    nothing = np.zeros(2)
    decaying = roots[2:]
    rows = [np.concatenate([row(order, 0.0, roots), nothing]) for order in (2, 3)]
    rows += [np.concatenate([row(order, place, roots), -row(order, place, decaying)]) for order in (0, 1, 3, 2)]
    found = np.linalg.solve(np.array(rows), np.array([0, 0, 0, 0, 0, -1.0], dtype=complex))
    inner = float((found[4:] * row(2, place, decaying)).sum().real)
    assert abs(inner) == pytest.approx(float(moment_share(np.array(place))), rel=1e-9)


def test_the_decay_of_an_edge() -> None:
    """β = 1.285/√(R·t) at ν = 0.3: Timoshenko, Theory of Plates and Shells, art. 115 (remembered)."""
    assert edge_decay(np.array(0.05), np.array(0.002), np.array(0.3)) == pytest.approx(1.285 / np.sqrt(0.05 * 0.002), rel=1e-3)


def test_a_fillet_without_bending() -> None:
    """Both stresses on the throat are N/(a·√2); √(σ² + 3τ²) = fw at N = fw·a/√2: EN 1999-1-1 8.6.3.3, as EN 1993-1-8 4.5.3.2
    has it (remembered). 170 MPa and a leg of 4 mm: a = 2.828 mm, 340 N/mm."""
    assert throat_load(np.array(170e6), np.array(0.004), np.array(0.0)) == pytest.approx(340e3, rel=1e-6)


def test_a_fillet_that_is_bent() -> None:
    """The load at which both uses of the throat come to one: the plastic moment is fw·a²/4."""
    metal, leg, lever = 170e6, 0.004, 0.003
    a = leg / np.sqrt(2)
    load = float(throat_load(np.array(metal), np.array(leg), np.array(lever)))
    assert (load / (metal * a / np.sqrt(2))) ** 2 + load * lever / (metal * a**2 / 4) == pytest.approx(1.0)


def test_every_filler_that_a_file_may_name_has_a_strength() -> None:
    assert set(NAMES) == set(FILLERS)
