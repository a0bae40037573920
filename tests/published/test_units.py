"""Units against their definitions: rows UN-01 to UN-10."""

import pytest

from optimizer.units import parse_quantity, unit


def si(text: str, dimension: str) -> float:
    return parse_quantity(text, dimension)


class TestDefinitions:
    def test_pound_per_square_inch(self):
        # read: constants of a fluid-mechanics library and a reference page, lb·g0/in²; NIST SP 811 has 6.894757e3
        assert si("1 psi", "pressure") == pytest.approx(6894.757293168361, rel=1e-12)

    def test_pound_force(self):
        # read: same constants; exact by definition
        assert si("1 lbf", "force") == 4.4482216152605

    @pytest.mark.parametrize(
        ("text", "dimension", "value"),
        [("1 in", "length", 0.0254), ("1 lb", "mass", 0.45359237), ("1 atm", "pressure", 101325.0)],
    )
    def test_exact_definitions(self, text, dimension, value):
        # read: same constants; exact by definition
        assert si(text, dimension) == value

    def test_standard_gravity(self):
        # read: same constants; the kilogram-force is g0 newtons
        assert si("1 kgf", "force") == 9.80665

    @pytest.mark.parametrize(
        ("text", "dimension", "value"),
        [
            ("1000 psi", "pressure", 6.894757e6),
            ("1 lb/in^3", "density", 27679.9047),
            ("0.065 lb/in^3", "density", 1799.194),
        ],
    )
    def test_shop_figures(self, text, dimension, value):
        # derived from the definitions
        assert si(text, dimension) == pytest.approx(value, rel=2e-7)

    def test_feet_per_second(self):
        # derived from the definitions
        assert si("5000 ft/s", "speed") == 1524.0

    def test_heat_flux(self):
        # derived from the international-table Btu, 1055.05585262 J
        assert si("1 Btu/in^2/s", "heat flux") == pytest.approx(1635339.84, rel=1e-7)

    def test_mass_flux(self):
        # derived from the definitions (row ER-16)
        assert si("2 lb/in^2/s", "mass flux") == pytest.approx(1406.1392, rel=1e-7)

    def test_gas_constant_in_foot_pounds(self):
        # derived from 8314.462618 J/(kmol·K): 1545.347 ft·lbf/(lbmol·R)
        per_kelvin = 8.314462618 * float(unit("lb").factor) * 1e3 / float(unit("ft*lbf").factor)
        assert per_kelvin * 5 / 9 == pytest.approx(1545.347, rel=1e-6)


class TestRateCoefficients:
    """A coefficient of r = a·pⁿ changes unit with n; a file gives the rate at a pressure instead, so it need not."""

    @pytest.mark.parametrize(
        ("coefficient", "exponent", "at_1000_psi", "in_mm_and_mpa"),
        [
            (0.060, 0.4, 24.153772e-3, 11.1577692),
            (0.00137, 0.9, 17.440313e-3, 3.0682250),
            (0.0174, 0.4, None, 3.2357531),
            (0.03, 0.35, None, 4.3498404),
        ],
    )
    def test_inch_and_psi_to_metric(self, coefficient, exponent, at_1000_psi, in_mm_and_mpa):
        # derived: a' = a·25.4·(1e6/6894.757293)^n
        rate = si(f"{coefficient} in/s", "speed")
        at = si("1 psi", "pressure")
        if at_1000_psi is not None:
            assert rate * (si("1000 psi", "pressure") / at) ** exponent == pytest.approx(at_1000_psi, rel=1e-7)
        metric = rate * (si("1 MPa", "pressure") / at) ** exponent / si("1 mm/s", "speed")
        assert metric == pytest.approx(in_mm_and_mpa, rel=1e-7)
