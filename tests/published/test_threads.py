"""Screw threads against FED-STD-H28/2B, ASME B1.1, ISO 898-1 and published tables (inches where not said)."""

from __future__ import annotations

import numpy as np
import pytest

from physics.failure.closures import external_thread_shear_area, internal_thread_shear_area, thread_shear_areas
from physics.failure.threads import (
    areas,
    basic_pitch_diameter,
    metric_minor_minimum,
    root_diameter,
    screw_size,
    unified_limits,
)

INCH = 0.0254
LBF = 4.4482216152605
KSI = 6.894757293168e6


def unified(size: str) -> tuple[float, float]:
    found = screw_size(size)
    return found.diameter, found.pitch


# size: d2, D1, d3, shank area, As, A(d3), Am, and As as printed
# diameters and areas: derived from FED-STD-H28/2B form 1b and the ASME B1.1 class 2A formulas
# last column: read, ASTM A574 tensile table (maker's data sheet) or NASA-TM-106943 Table I p. 9
SIZES = {
    "#4-40": (0.0958, 0.0849, 0.0795, 0.00985, 0.00603, 0.00497, 0.00457, 0.00604),
    "#6-32": (0.1177, 0.1042, 0.0974, 0.01496, 0.00909, 0.00745, 0.00690, 0.00909),
    "#8-32": (0.1437, 0.1302, 0.1234, 0.02112, 0.01401, 0.01196, 0.01124, 0.0140),
    "#10-24": (0.1629, 0.1449, 0.1359, 0.02835, 0.01753, 0.01450, 0.01359, 0.0175),
    "#10-32": (0.1697, 0.1562, 0.1494, 0.02835, 0.01999, 0.01753, 0.01663, 0.0200),
    "1/4-20": (0.2175, 0.1959, 0.1850, 0.04909, 0.03182, 0.02689, 0.02550, 0.0318),
    "1/4-28": (0.2268, 0.2113, 0.2036, 0.04909, 0.03637, 0.03256, 0.03119, 0.0364),
    "5/16-18": (0.2764, 0.2524, 0.2403, 0.07670, 0.05243, 0.04536, 0.04340, 0.0524),
    "3/8-16": (0.3344, 0.3073, 0.2938, 0.11045, 0.07749, 0.06780, 0.06521, 0.0775),
}


@pytest.mark.parametrize("size", SIZES)
def test_diameters(size: str) -> None:  # S1-01 to S1-09
    d, p = unified(size)
    pitch, _, root = SIZES[size][:3]
    assert basic_pitch_diameter(d, p) / INCH == pytest.approx(pitch, abs=6e-5)
    assert root_diameter(d, p) / INCH == pytest.approx(root, abs=6e-5)


@pytest.mark.parametrize("size", SIZES)
def test_four_areas(size: str) -> None:  # S1-01 to S1-09; T-1
    found = areas(*unified(size))
    shank, stress, minor, least, printed = SIZES[size][3:]
    for value, expected in (
        (found.shank, shank),
        (found.tensile_stress, stress),
        (found.basic_minor, minor),
        (found.minimum_minor, least),
    ):
        assert value / INCH**2 == pytest.approx(expected, rel=0.005)
    assert found.tensile_stress / INCH**2 == pytest.approx(printed, rel=0.005)  # read


def test_four_areas_of_one_screw_span_two_to_one() -> None:
    # T-1, derived: #10-24, shank over least minor area
    found = areas(*unified("#10-24"))
    assert found.shank / found.minimum_minor == pytest.approx(0.02835 / 0.01359, rel=0.005)
    assert found.shank > found.tensile_stress > found.basic_minor > found.minimum_minor


@pytest.mark.parametrize(
    ("size", "dmin", "d2min", "D2max", "D1max", "D1max_printed"),
    [
        # S1-10, S1-11: derived from the ASME B1.1 formulas (read at second hand); 2B values read, UNC 2B sheet
        ("#10-24", 0.1818, 0.1586, 0.1673, 0.1555, 0.1560),
        ("1/4-20", 0.2407, 0.2127, 0.2224, 0.2074, 0.2070),
    ],
)
def test_class_limits(size: str, dmin: float, d2min: float, D2max: float, D1max: float, D1max_printed: float) -> None:
    limits = unified_limits(*unified(size))
    assert limits.major_minimum / INCH == pytest.approx(dmin, abs=1e-4)
    assert limits.pitch_minimum / INCH == pytest.approx(d2min, abs=1e-4)
    assert limits.internal_pitch_maximum / INCH == pytest.approx(D2max, abs=1e-4)
    assert limits.internal_minor_maximum / INCH == pytest.approx(D1max, abs=1e-4)
    assert limits.internal_minor_maximum / INCH == pytest.approx(D1max_printed, abs=6e-4)  # printed to the thousandth


def test_class_2a_is_not_the_chart_that_prints_the_basic_diameter() -> None:
    # T-2: one public chart gives 0.1534 for the least pitch diameter of #10-24; the formula of ASME B1.1 gives 0.1586
    assert abs(unified_limits(*unified("#10-24")).pitch_minimum / INCH - 0.1534) > 0.004


@pytest.mark.parametrize(
    ("size", "internal", "external"),
    [
        # S1-12 to S1-20, in2 per inch of engagement: derived from FED-STD-H28/2B Table II.B.1, 2a and 4a (read)
        ("#4-40", 0.2213, 0.1379),
        ("#6-32", 0.2810, 0.1797),
        ("#8-32", 0.3352, 0.2267),
        ("#10-24", 0.4006, 0.2655),
        ("#10-32", 0.3891, 0.2742),
        ("1/4-20", 0.5385, 0.3656),
        ("1/4-28", 0.5210, 0.3756),
        ("3/8-16", 0.8276, 0.5732),
    ],
)
def test_stripping_areas(size: str, internal: float, external: float) -> None:
    found = thread_shear_areas(*unified(size), engagement=1.0 * INCH)
    assert found.internal / INCH**2 == pytest.approx(internal, rel=0.01)
    assert found.external / INCH**2 == pytest.approx(external, rel=0.01)


@pytest.mark.parametrize(("D1max", "expected"), [(1.390, 0.777), (1.3775, 0.714)])
def test_engagement_of_the_worked_example(D1max: float, expected: float) -> None:
    # S1-21, S1-22, read: FED-STD-H28/2B 90.1 p. 63; 1.500-8UN-2A, bore 0.792, As 1.492, d2min 1.4093
    per_inch = external_thread_shear_area(np.asarray(1.0), np.asarray(1 / 8), np.asarray(D1max), np.asarray(1.4093))
    needed = 2.0 * (1.492 - 0.25 * np.pi * 0.792**2)
    assert needed / per_inch == pytest.approx(expected, rel=0.001)


def test_shear_area_ratio_of_the_worked_example() -> None:
    # S1-23, read: FED-STD-H28/2B 90.2h p. 65; 1 1/8-7UNC: D1min 0.970, dmin 1.1064, D2max 1.0416, R1 = 0.863
    internal = internal_thread_shear_area(np.asarray(1.0), np.asarray(1 / 7), np.asarray(1.1064), np.asarray(1.0416))
    assert 0.75 * 0.970 * np.pi / internal == pytest.approx(0.863, rel=0.002)


@pytest.mark.parametrize(
    ("size", "stress", "printed", "root"),
    [
        # S1-25 to S1-29, mm2: derived; table of ISO 898-1, remembered
        ("M3", 5.031, 5.03, 4.473),
        ("M4", 8.779, 8.78, 7.750),
        ("M5", 14.183, 14.2, 12.683),
        ("M6", 20.123, 20.1, 17.894),
        ("M8", 36.609, 36.6, 32.841),
    ],
)
def test_metric_areas(size: str, stress: float, printed: float, root: float) -> None:
    found = areas(*unified(size), metric=True)
    assert found.tensile_stress * 1e6 == pytest.approx(stress, rel=1e-4)
    assert found.tensile_stress * 1e6 == pytest.approx(printed, rel=0.003)
    assert found.basic_minor * 1e6 == pytest.approx(root, rel=1e-4)
    assert found.minimum_minor < found.basic_minor


@pytest.mark.parametrize(("size", "expected"), [("M1.6x0.35", 1.075), ("M6", 4.596)])
def test_metric_least_minor_diameter(size: str, expected: float) -> None:
    # remembered: ASME B1.13M / ISO 965-1, class 6g least minor diameter, mm; within the rounding of Td2 to R 40 numbers
    d, p = (1.6e-3, 0.35e-3) if size.startswith("M1.6") else unified(size)
    assert metric_minor_minimum(d, p) * 1e3 == pytest.approx(expected, abs=0.002)


def test_strip_load_of_tapped_aluminium() -> None:
    # S1-30, derived: FED-STD-H28/2B 2a times Fsu 27 ksi of MIL-HDBK-5J; #10-24, 0.25 in engaged
    found = thread_shear_areas(*unified("#10-24"), engagement=0.25 * INCH)
    assert found.internal / INCH**2 == pytest.approx(0.1002, rel=0.01)
    assert found.internal * 27.0 * KSI / LBF == pytest.approx(2704.0, rel=0.01)


def test_a_stainless_quarter_inch_screw_quoted_by_its_shank() -> None:
    # common practice, no source: "2200 lbf" for a quarter-inch coarse stainless screw is the plain shank at 0.6 Su;
    # the threads carry about half
    from physics.failure.screws import shear_strength_shank, shear_strength_threads

    d, p = unified("1/4-20")
    strength = np.asarray(75.0 * KSI)  # middle of the 70-80 ksi band commonly stated for 18-8
    shank = shear_strength_shank(strength, np.asarray(d)) / LBF
    threads = shear_strength_threads(strength, np.asarray(d), np.asarray(p), np.asarray(0.0)) / LBF
    assert shank == pytest.approx(2200.0, rel=0.01)
    assert 0.45 < threads / shank < 0.55
