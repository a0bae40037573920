"""Tubes under pressure against Lamé, Faupel and the pressure vessel code (psi and inches where not said)."""

from __future__ import annotations

import numpy as np
import pytest

from physics.failure.closures import ligament_shear_load
from physics.materials import material
from physics.vessels import (
    bore_growth,
    burst_estimates,
    collapse_pressure,
    faupel_burst_pressure,
    first_yield_pressure,
    outside_growth,
)

OUTER, BORE = np.asarray(3.0), np.asarray(2.75)
SY, SU = np.asarray(35000.0), np.asarray(42000.0)


def lame(pressure: float, radius: float) -> tuple[float, float, float]:
    """Hoop, axial and radial stress at a radius of the tube, from Timoshenko's form: A + B/r2, A, A - B/r2."""
    inside, outside = float(BORE) / 2, float(OUTER) / 2
    uniform = pressure * inside**2 / (outside**2 - inside**2)
    falling = uniform * outside**2 / radius**2
    return uniform + falling, uniform, uniform - falling


def test_first_yield_is_where_the_stresses_at_the_bore_reach_it() -> None:
    # T-9, S4-05, S4-06, derived: 1000 psi in 3.000 x 0.125 makes 11521.7 hoop, 5260.9 axial, von Mises 10844.1 at the bore
    hoop, axial, radial = lame(1000.0, 1.375)
    assert (hoop, axial, radial) == pytest.approx((11521.7, 5260.9, -1000.0), rel=5e-4)
    general = np.sqrt(0.5 * ((hoop - axial) ** 2 + (axial - radial) ** 2 + (radial - hoop) ** 2))
    assert general == pytest.approx(10844.1, rel=5e-4)
    assert first_yield_pressure(SY, OUTER, BORE) == pytest.approx(1000.0 * 35000.0 / general, rel=1e-12)
    # S4-24, derived: margin on yield at a factor of 1.25 is 1.582 at 1000 psi
    assert first_yield_pressure(SY, OUTER, BORE) / 1250.0 - 1.0 == pytest.approx(1.582, rel=0.005)


def test_growth_is_the_hoop_strain_of_the_same_stresses() -> None:
    # derived: u = r (hoop - nu (axial + radial)) / E, at the bore and outside
    modulus, nu, p = np.asarray(9.9e6), np.asarray(0.33), np.asarray(1000.0)
    for radius, growth in ((1.375, bore_growth), (1.5, outside_growth)):
        hoop, axial, radial = lame(1000.0, radius)
        assert growth(p, OUTER, BORE, modulus, nu) == pytest.approx(radius * (hoop - 0.33 * (axial + radial)) / 9.9e6, rel=1e-12)


def test_first_yield() -> None:
    # S4-07, derived; formula remembered (Faupel; Harvey): 3227.5 psi
    assert first_yield_pressure(SY, OUTER, BORE) == pytest.approx(3227.5, rel=0.001)


def test_full_plasticity() -> None:
    # S4-08, derived; formula remembered (Nadai): 3516.5 psi
    assert collapse_pressure(SY, OUTER, BORE) == pytest.approx(3516.5, rel=0.001)


def test_burst() -> None:
    # S4-09, derived; formula remembered (Faupel 1956): 4102.6 psi
    assert faupel_burst_pressure(SY, SU, OUTER, BORE) == pytest.approx(4102.6, rel=0.001)


@pytest.mark.parametrize(
    ("name", "expected"),
    # S4-11, derived: Su ln K, 2 Su t/D, Su t/ri, Su (K - 1)/(0.6 K + 0.4)
    [
        ("Turner", 3654.5),
        ("Barlow, outside", 3500.0),
        ("thin wall, bore", 3818.2),
        ("pressure vessel code form", 3620.7),
    ],
)
def test_other_burst_estimates(name: str, expected: float) -> None:
    assert burst_estimates(SU, OUTER, BORE)[name] == pytest.approx(expected, rel=0.001)


def test_burst_estimates_agree_within_the_model_spread() -> None:
    # derived: the five published estimates lie within 20 % of one another
    every = [float(v) for v in burst_estimates(SU, OUTER, BORE).values()] + [float(faupel_burst_pressure(SY, SU, OUTER, BORE))]
    assert max(every) / min(every) < 1.2


def test_hot_burst() -> None:
    # S4-12, derived: the half-hour retention at 150 C, 0.820 and 0.793, gives 3282 psi
    tube, psi = material("6061-T6"), 6894.757293168
    ultimate = tube.tensile_strength * tube.ultimate_ratio(423.15)
    hot = faupel_burst_pressure(tube.yield_at(423.15), ultimate, OUTER, BORE) / psi
    assert hot == pytest.approx(3282.0, rel=0.005)


def test_growth_of_bore_and_outside() -> None:
    # S4-13, derived (Roark/Timoshenko), E 9.9e6, nu 0.33: 0.0014050 and 0.0013312 in on the radius
    modulus, nu, p = np.asarray(9.9e6), np.asarray(0.33), np.asarray(1000.0)
    assert bore_growth(p, OUTER, BORE, modulus, nu) == pytest.approx(0.0014050, rel=0.001)
    assert outside_growth(p, OUTER, BORE, modulus, nu) == pytest.approx(0.0013312, rel=0.001)


def test_growth_of_a_thin_tube_is_the_membrane_formula() -> None:
    # S4-13, derived: p r2 (1 - nu/2)/(E t) in the limit of a thin wall
    bore, wall = np.asarray(2.75), 1e-4
    thin = 1000.0 * 1.375**2 * (1 - 0.33 / 2) / (9.9e6 * wall)
    found = bore_growth(np.asarray(1000.0), bore + 2 * wall, bore, np.asarray(9.9e6), np.asarray(0.33))
    assert found == pytest.approx(thin, rel=1e-3)


def test_pressure_vessel_code_form() -> None:
    # S4-15, derived; form read at second hand (ASME VIII-1 UG-27): S 12 000, R 1.375, t 0.125 -> P = 1034.5 psi
    found = burst_estimates(np.asarray(12000.0), OUTER, BORE)["pressure vessel code form"]
    assert found == pytest.approx(1034.5, rel=0.001)
    # the same inverted: t = PR/(S - 0.6 P) = 0.12061 in at 1000 psi
    wall = 1000 * 1.375 / (12000 - 600)
    assert wall == pytest.approx(0.12061, rel=0.001)
    back = burst_estimates(np.asarray(12000.0), BORE + 2 * wall, BORE)["pressure vessel code form"]
    assert back == pytest.approx(1000.0, rel=1e-9)


def test_ligament_shear() -> None:
    # S4-23, derived: pi D z 0.577 Sy; D 2.0, z 0.19, 35 ksi -> 24 109 lbf
    assert ligament_shear_load(np.asarray(2.0), np.asarray(0.19), SY) == pytest.approx(24109.0, rel=0.001)


def test_allowable_of_the_code_basis() -> None:
    # S3-19, derived; the factor 3.5 remembered (ASME II-D): 12.0 ksi drawn, 10.9 ksi extruded
    for name, expected in (("6061-T6", 12.0), ("6061-T6 extrusion", 10.9)):
        tensile = material(name).tensile_strength
        assert tensile is not None and tensile / 3.5 / 6.894757293168e6 == pytest.approx(expected, rel=0.01)


def test_thin_wall_limit_of_first_yield() -> None:
    # derived: for a thin tube von Mises with end load gives p = (2/sqrt 3) Sy t/r
    bore, wall = np.asarray(2.0), 1e-5
    found = first_yield_pressure(SY, bore + 2 * wall, bore)
    assert found == pytest.approx(2 / np.sqrt(3) * 35000 * wall / 1.0, rel=1e-4)
