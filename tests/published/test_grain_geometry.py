"""Burnback geometry against published and exact values."""

from __future__ import annotations

import numpy as np
import pytest

from physics.ballistics import grain, kernel
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant

MM2, MM3 = 1e-6, 1e-9


def rows(count, length, outer, core, ends) -> Grains:
    return Grains(*(np.array([[float(value)]]) for value in (count, length, outer, core, ends)))


def motor(grains: Grains, throat: float) -> Motors:
    row = [np.array([[value]]) for value in (1e4, 1e8, 5e-3, 1e6, 0.35)]
    return Motors(
        1,
        Propellant(
            np.array([1750.0]),
            np.array([1550.0]),
            np.array([1.2]),
            np.array([0.025]),
            *row,
            np.array([293.15]),
            np.array([0.0]),
        ),
        grains,
        Nozzle(*(np.array([value]) for value in (throat, throat * 6**0.5, 0.0, 1.0, 0.0, 1e6))),
        Ambient(np.array([101325.0]), np.array([293.15]), np.array([[293.15]])),
    )


# read: encyclopaedia article on the USAF's system of cored cylinders inhibited outside: neutral at L = (3D + d)/2
# derived: the lengths of four ordinary sizes, and largest over smallest area
@pytest.mark.parametrize(
    ("outer", "core", "length", "swing"),
    [(38, 12, 63, 1.18030), (54, 20, 91, 1.14084), (75, 28, 126.5, 1.13893), (98, 38, 166, 1.12996)],
)
def test_neutral_length(outer, core, length, swing):
    assert 0.5 * (3 * outer + core) == length
    burning = rows(1, length, outer, core, 2)
    web = grain.web(burning)[0, 0]
    areas = [grain.burning_area(burning, np.array(x))[0, 0] for x in np.linspace(0, web * (1 - 1e-12), 2001)]
    assert areas[-1] == pytest.approx(areas[0], rel=1e-9)
    assert max(areas) / min(areas) == pytest.approx(swing, abs=6e-6)


# derived from geometry: D = 50, d = 20, L = 100 mm
@pytest.mark.parametrize(
    ("x", "area", "volume"),
    [
        (0.0, 9581.858, 164933.614),
        (3.75, 10730.502, 126682.269),
        (7.5, 11349.003, 85117.526),
        (11.25, 11437.361, 42227.423),
        (15.0 - 1e-9, 10995.574, 0.0),
    ],
)
def test_area_and_volume(x, area, volume):
    burning = rows(1, 0.1, 0.05, 0.02, 2)
    assert grain.burning_area(burning, np.array(x * 1e-3))[0, 0] / MM2 == pytest.approx(area, abs=6e-4)
    assert grain.volume(burning, np.array(x * 1e-3))[0, 0] / MM3 == pytest.approx(volume, abs=6e-4)


# derived: neutral grain D = 50, d = 20, L = 85 mm; the middle exceeds the ends by 1.5·π·w²
def test_middle_of_a_neutral_burn():
    burning = rows(1, 0.085, 0.05, 0.02, 2)
    first, middle = (grain.burning_area(burning, np.array(x))[0, 0] / MM2 for x in (0.0, 0.0075))
    assert (first, middle) == (pytest.approx(8639.3798, abs=6e-5), pytest.approx(9699.6673, abs=6e-5))
    assert middle / first == pytest.approx(1.122727, abs=6e-7)
    assert middle - first == pytest.approx(1.5 * np.pi * 15**2, rel=1e-9)


# derived: largest area at x = (L − 2d)/6, here 10 mm, 11466.813 mm²
def test_largest_area():
    coefficients = (part[0] for part in grain.area_coefficients(rows(1, 0.1, 0.05, 0.02, 2)))
    at = grain.largest_area_regression(*coefficients, np.array([0.0]), np.array([0.015]))
    assert at[0] == pytest.approx(0.010, rel=1e-12)
    assert kernel.evaluate(motor(rows(1, 0.1, 0.05, 0.02, 2), 0.01))["highest_kn"][0] * np.pi / 4 * 100 == pytest.approx(
        11466.813, rel=1e-7
    )


# derived: end burner D = 50, L = 120 mm at 5 mm/s: 1963.495 mm², 24 s
def test_end_burner():
    burning = rows(1, 0.12, 0.05, 0.0, 1)
    assert grain.burning_area(burning, np.array(0.05))[0, 0] / MM2 == pytest.approx(1963.495, abs=6e-4)
    assert grain.web(burning)[0, 0] / 5e-3 == pytest.approx(24.0, rel=1e-12)


# derived: core alone, D/d = 2.5, n = 0.35: pressure at the end over the start = (D/d)^(1/(1−n)) = 4.094637
def test_core_alone():
    figures = kernel.evaluate(motor(rows(1, 0.1, 0.05, 0.02, 0), 0.008))
    assert (figures["peak_pressure"] / figures["initial_pressure"])[0] == pytest.approx(4.094637, abs=6e-7)


# read: the USAF's 68-70 lb grain varied less than 3 % in area over its burn (encyclopaedia); a long thin web does that
def test_a_thin_web_is_flat():
    figures = kernel.evaluate(motor(rows(1, 0.5 * (3 * 0.3 + 0.2), 0.3, 0.2, 2), 0.06))
    assert 1.0 < (figures["highest_kn"] / figures["kn_at_ignition"])[0] < 1.03
