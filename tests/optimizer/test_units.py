"""The grammar of quantities: every unit agrees with the units library, every printed quantity reads back."""

import math
import subprocess
import sys
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.units import (
    DIMENSIONS,
    UNITS,
    QuantityError,
    display_unit,
    from_si,
    number_in,
    parse_exact,
    parse_quantity,
    show,
    split_quantity,
    to_si,
    unit,
    write_quantity,
)
from optimizer.vocabulary import QUANTITIES

REGISTRY = pint.UnitRegistry()
# Names that the library spells differently, or that mean another unit to it.
LIBRARY_NAME = {"mil": "thou", "oz": "ounce", "Btu": "Btu_it", "deg": "degree", "%": "percent", "in": "inch"}
BASE = ("meter", "kilogram", "second", "kelvin", "mole", "radian")
PLAIN = sorted(name for name, item in UNITS.items() if not item.offset)


def library(text: str) -> "pint.Quantity":
    value = REGISTRY.Quantity(1.0)
    sign = 1
    for piece in text.replace("*", " * ").replace("/", " / ").split():
        if piece in "*/":
            sign = 1 if piece == "*" else -1
            continue
        name, _, power = piece.partition("^")
        value = value * REGISTRY.Quantity(1.0, LIBRARY_NAME.get(name, name)) ** (sign * int(power or 1))
    return value.to_base_units()


class TestAgainstTheLibrary:
    @pytest.mark.parametrize("name", PLAIN)
    def test_every_unit(self, name):
        theirs = library(name)
        assert float(UNITS[name].factor) == pytest.approx(theirs.magnitude, rel=1e-12)
        powers = dict(theirs.unit_items())
        assert tuple(int(powers.get(base, 0)) for base in BASE)[:5] == UNITS[name].vector[:5]

    @given(st.lists(st.tuples(st.sampled_from(PLAIN), st.integers(1, 3)), min_size=1, max_size=4), st.data())
    def test_compounds(self, parts, data):
        text = ""
        for place, (name, power) in enumerate(parts):
            mark = data.draw(st.sampled_from("*/")) if place else ""
            text += mark + name + (f"^{power}" if power > 1 else "")
        assert float(unit(text).factor) == pytest.approx(library(text).magnitude, rel=1e-12)

    @given(st.floats(-200, 3000, allow_nan=False), st.sampled_from(["degC", "degF"]))
    def test_thermometers(self, value, name):
        theirs = REGISTRY.Quantity(value, name).to("kelvin").magnitude
        assert parse_quantity(f"{value!r} {name}", "temperature") == pytest.approx(theirs, rel=1e-12)

    def test_every_suggested_unit_is_of_its_dimension(self):
        for item in DIMENSIONS.values():
            for name in item.units:
                assert unit(name).vector == item.vector, (item.name, name)


class TestExactness:
    @given(st.decimals(min_value="0.001", max_value="100000", places=4))
    def test_millimetres_and_metres_are_one_float(self, number):
        assert parse_quantity(f"{number} mm", "length") == parse_quantity(f"{number}e-3 m", "length")
        assert parse_quantity(f"{number} mm", "length") == float(Fraction(number) / 1000)

    @given(
        st.floats(allow_nan=False, allow_infinity=False, min_value=-1e30, max_value=1e30),
        st.sampled_from(["m", "mm", "in", "thou", "ft", "um"]),
    )
    def test_written_lengths_read_back_identically(self, value, name):
        assert parse_quantity(write_quantity(value, name), "length") == value

    @given(st.floats(0.001, 5000.0), st.sampled_from(["K", "degC", "degF"]))
    def test_written_temperatures_read_back_identically(self, value, name):
        assert parse_quantity(write_quantity(value, name), "temperature") == value

    @given(st.floats(1e-30, 1e30), st.sampled_from(["psi", "MPa", "bar", "atm"]))
    def test_written_pressures_read_back_identically(self, value, name):
        assert parse_quantity(write_quantity(value, name), "pressure") == value

    def test_short_numbers_stay_short(self):
        assert write_quantity(0.0135, "mm") == "13.5 mm"
        assert write_quantity(parse_quantity("0.531 in", "length"), "in") == "0.531 in"
        assert write_quantity(6.1e-5, "m/s") == "0.000061 m/s"

    @pytest.mark.parametrize("name", sorted(QUANTITIES))
    @pytest.mark.parametrize("system", ["metric", "imperial"])
    def test_every_shown_quantity_reads_back(self, name, system):
        entry = QUANTITIES[name]
        for value in (0.0123456789, 1.0, 271.8281828, 6.2e6):
            text = show(value, name, system)
            if not entry.metric_unit:
                assert float(text) == pytest.approx(value, rel=1e-3)
                continue
            back = parse_quantity(text, entry.dimension)
            shown_offset = 273.15 if entry.dimension == "temperature" else 0.0
            assert back == pytest.approx(value, rel=1e-3, abs=1e-3 * abs(shown_offset))

    @given(st.sampled_from(sorted(QUANTITIES)), st.floats(1e-6, 1e9), st.sampled_from(["metric", "imperial"]))
    def test_shown_values_read_back_to_their_digits(self, name, value, system):
        entry = QUANTITIES[name]
        text = show(value, name, system)
        if entry.metric_unit and entry.dimension != "temperature":
            assert parse_quantity(text, entry.dimension) == pytest.approx(value, rel=0.6 * 10 ** (1 - entry.digits))


class TestShowing:
    def test_examples(self):
        assert show(0.0135, "throat_diameter") == "13.50 mm"
        assert show(0.0135, "nozzle.throat_diameter", "imperial") == "0.5315 in"
        assert show(6.2e6, "maximum_expected_pressure", "imperial") == "899.2 psi"
        assert show(293.15, "temperature", "imperial") == "68.00 degF"
        assert show(203.3, "kn_at_ignition") == "203.3"

    def test_missing_values_are_a_dash(self):
        assert show(math.nan, "peak_pressure") == "–"
        assert show(math.inf, "time") == "∞"
        assert number_in(math.nan, "wall") == "–"

    def test_unknown_quantity_is_an_error(self):
        with pytest.raises(KeyError, match="no quantity 'peak_presure'"):
            show(1.0, "peak_presure")

    def test_arrays_to_axes_and_back(self):
        assert from_si([0.0254, 0.0508], "in").tolist() == [1.0, 2.0]
        assert to_si([1.0, 2.0], "bar").tolist() == [1e5, 2e5]
        assert display_unit("rate") == "mm/s"


REFUSED = [
    # text, dimension, code, what the message or its cure must say
    ("0,75 in", "length", "E102", "0.75 in"),
    ('0.75"', "length", "E104", "in"),
    ("13 Mm", "length", "E104", "mm"),
    ("900 PSI", "pressure", "E104", "psi"),
    ("900 psig", "pressure", "E104", "absolute"),
    ("9 bara", "pressure", "E104", "absolute"),
    ("9 mPa", "pressure", "E104", "MPa"),
    ("nan mm", "length", "E105", "finite"),
    ("inf mm", "length", "E105", "finite"),
    ("-Infinity mm", "length", "E105", "finite"),
    ("1e9999 mm", "length", "E105", "exponent"),
    ("1e999 mm", "length", "E105", "exponent"),
    ("13", "length", "E101", '"13 mm"'),
    ("13 kg", "length", "E103", "a mass; expected a length"),
    ("3 lb", "force", "E103", "lbf"),
    ("5 lbf", "mass", "E103", "lb"),
    ("", "length", "E102", "empty"),
    ("mm", "length", "E102", "number"),
    ("1 3/8 in", "length", "E102", "1.375 in"),
    ("2 3/4 in", "length", "E102", '"2.75 in"'),
    ("1.5/2 in", "length", "E102", "decimal"),
    ("1/0 in", "length", "E102", "decimal"),
    ("1/3 in", "length", "E102", "0.333333 in"),
    ("9/8 in", "length", "E102", "1.125 in"),
    ("1-1/2-1/2 in", "length", "E102", "decimal"),
    ("1/16/2 in", "length", "E102", "decimal"),
    ("12 mm 13", "length", "E104", "spaces"),
    ("12 mm; rm", "length", "E104", ""),
    ("12 ± 1 mm", "length", "E102", "tolerances"),
    ("10 - 12 mm", "length", "E102", "tolerances"),
    ("1.2.3 mm", "length", "E102", "point"),
    ("12 furlong", "length", "E104", "201.168"),
    ("12 zorkmid", "length", "E104", "list"),
    ("20 C", "temperature", "E104", "degC"),
    ("72 F", "temperature", "E104", "degF"),
    ("5 m3", "volume", "E104", "m^3"),
    ("5 m**3", "volume", "E104", "m^3"),
    ("5 kg m", "length", "E104", "spaces"),
    ("−3 mm", "length", "E102", "minus"),
    ("~3 mm", "length", "E102", "plain"),
    ("1_000 mm", "length", "E104", ""),
    ("0x10 mm", "length", "E104", ""),
    ("٣ mm", "length", "E102", "number"),
    ("3 mils", "length", "E104", "mil"),
    ("3 " + "m" * 100, "length", "E102", "characters"),
    ("0.95", "ratio", "E101", "without quotes"),
    ("__import__('os')", "length", "E102", "number"),
]


class TestRefusals:
    @pytest.mark.parametrize(("text", "dimension", "code", "says"), REFUSED)
    def test_refused_with_a_cure(self, text, dimension, code, says):
        with pytest.raises(QuantityError) as caught:
            parse_quantity(text, dimension)
        assert caught.value.code == code, caught.value
        assert says in f"{caught.value.problem} {caught.value.fix}"
        assert caught.value.fix

    @given(st.text(max_size=40), st.sampled_from(sorted(DIMENSIONS)))
    def test_any_text_is_a_finite_number_or_a_refusal(self, text, dimension):
        try:
            value = parse_quantity(text, dimension)
        except QuantityError as error:
            assert error.code.startswith("E10") and error.problem and error.fix
        else:
            assert math.isfinite(value)

    @given(st.from_regex(r"[0-9.,eE+\- ]{1,10} ?[a-zA-Z%^/*·°\"']{0,8}", fullmatch=True))
    def test_near_misses(self, text):
        try:
            assert math.isfinite(parse_quantity(text, "length"))
        except QuantityError as error:
            assert error.fix

    @given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e15, max_value=1e15))
    def test_python_floats_are_numbers(self, value):
        assert float(split_quantity(f"{value!r} mm")[0]) == value

    @pytest.mark.parametrize(
        ("text", "dimension", "value"),
        [
            ("6.1e-05 m/s", "speed", 6.1e-5),
            ("13mm", "length", 0.013),
            (".5 in", "length", 0.0127),
            ("+3. mm", "length", 0.003),
            ("0.0015 1/K", "per temperature", 0.0015),
            ("0.15 %/K", "per temperature", 0.0015),
            ("0.0018 1/degF", "per temperature", 0.0018 * 9 / 5),
            ("95 %", "ratio", 0.95),
            ("20 °C", "temperature", 293.15),
            ("2 degC", "temperature difference", 2.0),
            ("5 N·s", "impulse", 5.0),
            ("1000 kg/m²/s", "mass flux", 1000.0),
            ("24 g/mol", "molar mass", 0.024),
            ("180 deg", "angle", math.pi),
            ("12 µm", "length", 12e-6),
        ],
    )
    def test_read(self, text, dimension, value):
        assert parse_quantity(text, dimension) == pytest.approx(value, rel=1e-15)

    @pytest.mark.parametrize(
        ("text", "inches"),
        [("1/16 in", "0.0625"), ("1-1/2 in", "1.5"), ("23/32in", "0.71875"), ("2-3/4 inch", "2.75"), ("127/128 in", "0.9921875")],
    )
    def test_a_fraction_of_a_rule_is_exact(self, text, inches):
        assert parse_exact(text, "length") == Fraction(inches) * Fraction("0.0254")

    def test_exact_values_are_fractions(self):
        assert parse_exact("0.1 in", "length") == Fraction(254, 100000)


class TestLoading:
    def test_reading_a_motor_does_not_load_the_library(self):
        code = (
            "import sys; import optimizer.inputs, optimizer.units as u; u.parse_quantity('13 kg/m^2/s', 'mass flux');"
            "assert 'pint' not in sys.modules"
        )
        assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
