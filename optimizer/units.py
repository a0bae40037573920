"""Text to SI and SI to text: the strict grammar of quantities, and the only module that knows the units library.

A quantity is one finite number and one listed unit: ``"13 mm"``, ``"900 psi"``, ``"6.1e-05 m/s"``, ``"1-1/2 in"``.
Factors are exact fractions and the result is rounded once, so ``"13.5 mm"`` and ``"0.0135 m"`` are the same float.
The units library reads more than a motor can bear (it takes a comma decimal for zero and a capital M for mega), so
this grammar stands in front of it; the library is loaded only to explain a unit that is not in the list.

Imports `optimizer.vocabulary` for display units.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np

from optimizer.vocabulary import Quantity, find_quantity

Vector = tuple[int, int, int, int, int, int]
"""Powers of length, mass, time, temperature, amount of substance and angle."""

PURE: Vector = (0, 0, 0, 0, 0, 0)


class QuantityError(ValueError):
    """Text that is not the quantity asked for: `code`, what is wrong (`problem`) and how to mend it (`fix`)."""

    def __init__(self, code: str, problem: str, fix: str) -> None:
        super().__init__(f"{problem}; {fix}")
        self.code, self.problem, self.fix = code, problem, fix


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its `vector`, its `phrase` with an article, and the `units` to suggest for it."""

    name: str
    vector: Vector
    phrase: str
    units: tuple[str, ...]


@dataclass(frozen=True)
class Unit:
    """A unit: SI value = number · `factor` + `offset`; `offset` is not zero for thermometer scales only."""

    text: str
    factor: Fraction
    vector: Vector
    offset: Fraction = Fraction(0)


def _dimension(name: str, vector: Vector, phrase: str, units: str) -> Dimension:
    return Dimension(name, vector, phrase, tuple(units.split()))


DIMENSIONS: dict[str, Dimension] = {
    item.name: item
    for item in (
        _dimension("length", (1, 0, 0, 0, 0, 0), "a length", "m mm cm um in inch thou mil ft"),
        _dimension("area", (2, 0, 0, 0, 0, 0), "an area", "m^2 mm^2 cm^2 in^2"),
        _dimension("volume", (3, 0, 0, 0, 0, 0), "a volume", "m^3 mm^3 cm^3 in^3"),
        _dimension("mass", (0, 1, 0, 0, 0, 0), "a mass", "kg g lb oz"),
        _dimension("time", (0, 0, 1, 0, 0, 0), "a time", "s ms min"),
        _dimension("temperature", (0, 0, 0, 1, 0, 0), "a temperature", "degC degF K"),
        _dimension("temperature difference", (0, 0, 0, 1, 0, 0), "a temperature difference", "K degC degF"),
        _dimension("amount", (0, 0, 0, 0, 1, 0), "an amount of substance", "mol"),
        _dimension("angle", (0, 0, 0, 0, 0, 1), "an angle", "deg rad"),
        _dimension("force", (1, 1, -2, 0, 0, 0), "a force", "N kN lbf kgf"),
        _dimension("pressure", (-1, 1, -2, 0, 0, 0), "a pressure", "Pa kPa MPa bar psi atm"),
        _dimension("speed", (1, 0, -1, 0, 0, 0), "a speed", "m/s mm/s in/s ft/s"),
        _dimension("impulse", (1, 1, -1, 0, 0, 0), "an impulse", "N*s lbf*s"),
        _dimension("pressure integral", (-1, 1, -1, 0, 0, 0), "a pressure times a time", "Pa*s MPa*s bar*s psi*s"),
        _dimension("density", (-3, 1, 0, 0, 0, 0), "a density", "kg/m^3 g/cm^3 lb/in^3"),
        _dimension("mass flow", (0, 1, -1, 0, 0, 0), "a mass flow", "kg/s g/s lb/s"),
        _dimension("mass flux", (-2, 1, -1, 0, 0, 0), "a mass flux", "kg/m^2/s lb/in^2/s"),
        _dimension("molar mass", (0, 1, 0, 0, -1, 0), "a molar mass", "g/mol kg/mol"),
        _dimension("per temperature", (0, 0, 0, -1, 0, 0), "a change per degree", "1/K %/K 1/degC 1/degF"),
        _dimension("conductivity", (1, 1, -3, -1, 0, 0), "a thermal conductivity", "W/m/K"),
        _dimension("specific heat", (2, 0, -2, -1, 0, 0), "a specific heat", "J/kg/K"),
        _dimension("heat transfer coefficient", (0, 1, -3, -1, 0, 0), "a heat transfer coefficient", "W/m^2/K"),
        _dimension("heat flux", (0, 1, -3, 0, 0, 0), "a heat flux", "W/m^2 Btu/in^2/s"),
        _dimension("viscosity", (-1, 1, -1, 0, 0, 0), "a viscosity", "Pa*s"),
        _dimension("energy", (2, 1, -2, 0, 0, 0), "an energy", "J kJ"),
        _dimension("specific energy", (2, 0, -2, 0, 0, 0), "an energy per mass", "J/kg kJ/kg MJ/kg"),
        _dimension("power", (2, 1, -3, 0, 0, 0), "a power", "W kW"),
        _dimension("acceleration", (1, 0, -2, 0, 0, 0), "an acceleration", "m/s^2"),
        _dimension("ratio", PURE, "a pure number", "%"),
    )
}

_POUND = Fraction("0.45359237")
_GRAVITY = Fraction("9.80665")
_INCH = Fraction("0.0254")
_POUND_FORCE = _POUND * _GRAVITY
_PSI = _POUND_FORCE / _INCH**2
_DEGREE_F = Fraction(5, 9)
_LENGTH: Vector = (1, 0, 0, 0, 0, 0)
_MASS: Vector = (0, 1, 0, 0, 0, 0)
_TIME: Vector = (0, 0, 1, 0, 0, 0)
_TEMPERATURE: Vector = (0, 0, 0, 1, 0, 0)
_FORCE: Vector = (1, 1, -2, 0, 0, 0)
_PRESSURE: Vector = (-1, 1, -2, 0, 0, 0)
_ENERGY: Vector = (2, 1, -2, 0, 0, 0)

UNITS: dict[str, Unit] = {
    name: Unit(name, Fraction(factor), vector)
    for name, factor, vector in (
        ("m", 1, _LENGTH),
        ("cm", Fraction(1, 100), _LENGTH),
        ("mm", Fraction(1, 1000), _LENGTH),
        ("um", Fraction(1, 10**6), _LENGTH),
        ("in", _INCH, _LENGTH),
        ("inch", _INCH, _LENGTH),
        ("thou", _INCH / 1000, _LENGTH),
        ("mil", _INCH / 1000, _LENGTH),
        ("ft", _INCH * 12, _LENGTH),
        ("kg", 1, _MASS),
        ("g", Fraction(1, 1000), _MASS),
        ("mg", Fraction(1, 10**6), _MASS),
        ("lb", _POUND, _MASS),
        ("oz", _POUND / 16, _MASS),
        ("s", 1, _TIME),
        ("ms", Fraction(1, 1000), _TIME),
        ("us", Fraction(1, 10**6), _TIME),
        ("min", 60, _TIME),
        ("K", 1, _TEMPERATURE),
        ("mol", 1, (0, 0, 0, 0, 1, 0)),
        ("rad", 1, (0, 0, 0, 0, 0, 1)),
        ("deg", Fraction(math.pi) / 180, (0, 0, 0, 0, 0, 1)),
        ("N", 1, _FORCE),
        ("kN", 1000, _FORCE),
        ("lbf", _POUND_FORCE, _FORCE),
        ("kgf", _GRAVITY, _FORCE),
        ("Pa", 1, _PRESSURE),
        ("kPa", 1000, _PRESSURE),
        ("MPa", 10**6, _PRESSURE),
        ("GPa", 10**9, _PRESSURE),
        ("bar", 10**5, _PRESSURE),
        ("mbar", 100, _PRESSURE),
        ("psi", _PSI, _PRESSURE),
        ("ksi", _PSI * 1000, _PRESSURE),
        ("atm", 101325, _PRESSURE),
        ("J", 1, _ENERGY),
        ("kJ", 1000, _ENERGY),
        ("MJ", 1000000, _ENERGY),
        ("Btu", Fraction("1055.05585262"), _ENERGY),
        ("W", 1, (2, 1, -3, 0, 0, 0)),
        ("kW", 1000, (2, 1, -3, 0, 0, 0)),
        ("%", Fraction(1, 100), PURE),
    )
}
UNITS["degC"] = Unit("degC", Fraction(1), _TEMPERATURE, Fraction("273.15"))
UNITS["degF"] = Unit("degF", _DEGREE_F, _TEMPERATURE, Fraction("459.67") * _DEGREE_F)

ALIASES: Mapping[str, str] = {"°C": "degC", "°F": "degF", "°": "deg", "µm": "um", "μm": "um", "µs": "us", "μs": "us"}

_HINTS: Mapping[str, tuple[str, str]] = {
    '"': ("the inch mark is not a unit here", 'write in, as in "0.75 in"'),
    "''": ("two marks are not a unit", 'write in, as in "0.75 in"'),
    "'": ("the foot mark is not a unit here", 'write ft, as in "2 ft"'),
    "″": ("the inch mark is not a unit here", 'write in, as in "0.75 in"'),
    "psig": ("gauge pressure is not taken", "give the absolute pressure in psi (gauge plus the ambient pressure)"),
    "psia": ("psia is not in the list of units", "write psi; every pressure here is absolute"),
    "barg": ("gauge pressure is not taken", "give the absolute pressure in bar (gauge plus the ambient pressure)"),
    "bara": ("bara is not in the list of units", "write bar; every pressure here is absolute"),
    "C": ("C is not a thermometer scale here", 'write degC, as in "20 degC"'),
    "F": ("F is not a thermometer scale here", 'write degF, as in "72 degF"'),
    "M": ("M is not a unit", "write m for metres, or MPa for a pressure"),
    "Mm": ("Mm would be a million metres", "write mm for millimetres"),
    "mPa": ("mPa would be a thousandth of a pascal", "write MPa for a million pascals"),
    "lbs": ("lbs is not in the list of units", "write lb for a mass, lbf for a force"),
    "#": ("# is not a unit", "write lb for a mass, lbf for a force"),
    "inches": ("inches is not in the list of units", "write in"),
    "mils": ("mils is not in the list of units", "write mil or thou (a thousandth of an inch)"),
    "tenths": ("tenths is not in the list of units", "write thou, as in 0.1 thou"),
    "sec": ("sec is not in the list of units", "write s"),
    "Ns": ("Ns is not in the list of units", "write N*s"),
    "N-s": ("N-s is not in the list of units", "write N*s"),
    "mps": ("mps is not in the list of units", "write m/s"),
    "fps": ("fps is not in the list of units", "write ft/s"),
    "ips": ("ips is not in the list of units", "write in/s"),
    "gm": ("gm is not in the list of units", "write g"),
    "cc": ("cc is not in the list of units", "write cm^3"),
}

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3}(?!\d))?", re.ASCII)
_FRACTION = re.compile(r"(?:(\d{1,4})-)?(\d{1,3})/(2|4|8|16|32|64|128)(?=\s*[^\W\d]|\s*$|\s+1/)", re.ASCII)
_FACTOR = re.compile(r"([^\s*/^·]+?)(?:\^([+-]?\d)|([⁻]?[⁰¹²³⁴⁵⁶⁷⁸⁹]))?", re.ASCII)
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_LONGEST = 80


def dimension_of(vector: Vector) -> str:
    """The phrase for a vector of powers: "a length", "a pressure", or the units spelled out."""
    for item in DIMENSIONS.values():
        if item.vector == vector:
            return item.phrase
    names = ("m", "kg", "s", "K", "mol", "rad")
    powers = [f"{name}^{power}" if power != 1 else name for name, power in zip(names, vector, strict=True) if power]
    return "a quantity in " + "*".join(powers)


@lru_cache(maxsize=4096)
def unit(text: str) -> Unit:
    """The unit that `text` names: a listed one, or products, quotients and powers of them.

    Raises QuantityError for a unit that is not in the list, with a hint where the slip is a known one.

    >>> float(unit("kg/m^2/s").factor), float(unit("lb/in^3").factor)
    (1.0, 27679.90471020312)
    """
    plain = ALIASES.get(text, text)
    if plain in UNITS:
        return UNITS[plain]
    if plain in _HINTS:
        problem, fix = _HINTS[plain]
        raise QuantityError("E104", problem, fix)
    return _compound(text)


def _compound(text: str) -> Unit:
    if "**" in text or "(" in text or " " in text.strip():
        raise QuantityError(
            "E104",
            f"{text!r} is not written as units are here",
            "powers m^3, products N*s, quotients kg/m^2/s, no spaces",
        )
    if len(text) > _LONGEST:
        raise _unknown_unit(text)
    pieces = re.split(r"([*/·])", text)
    factor, vector, sign = Fraction(1), list(PURE), 1
    for place, piece in enumerate(pieces):
        if place % 2:
            sign = -1 if piece == "/" else 1
            continue
        if piece == "1" and place == 0 and len(pieces) > 1:
            continue
        base, power = _atom(piece, text)
        factor *= base.factor ** (sign * power)
        vector = [have + sign * power * new for have, new in zip(vector, base.vector, strict=True)]
    return Unit(text, factor, tuple(vector))  # type: ignore[arg-type]


def _atom(piece: str, whole: str) -> tuple[Unit, int]:
    found = _FACTOR.fullmatch(piece)
    if found is None:
        raise QuantityError(
            "E104",
            f"{whole!r} is not written as units are here",
            "powers m^3, products N*s, quotients kg/m^2/s, no spaces",
        )
    name = ALIASES.get(found[1], found[1])
    if name not in UNITS:
        squashed = re.fullmatch(r"([A-Za-z]+)(-?\d)", name)
        if squashed and squashed[1] in UNITS:
            raise QuantityError(
                "E104", f"{name!r} is not written as units are here", f"write the power as {squashed[1]}^{squashed[2]}"
            )
        if name in _HINTS:
            raise QuantityError("E104", *_HINTS[name])
        raise _unknown_unit(name)
    power = found[2] or (found[3] or "1").translate(_SUPERSCRIPTS)
    return UNITS[name], int(power)


def _unknown_unit(text: str) -> QuantityError:
    """The error for a unit that is not listed: wrong case first, then what the units library knows of it."""
    short = text if len(text) <= 24 else text[:21] + "..."
    same = [name for name in UNITS if name.lower() == text.lower()]
    if same:
        return QuantityError("E104", f"{short!r} is not a unit (capitals matter)", f"write {' or '.join(same)}")
    known = _library_unit(text)
    if known:
        return QuantityError("E104", f"{short!r} is not in the list of units", known)
    from difflib import get_close_matches

    near = get_close_matches(text, UNITS, n=2, cutoff=0.6)
    fix = f"did you mean {' or '.join(near)}?" if near else "units are those of SI and of shop and range: mm, in, kg, lb, MPa, psi"
    return QuantityError("E104", f"{short!r} is not in the list of units", fix)


@lru_cache(maxsize=256)
def _library_unit(text: str) -> str:
    """What the units library makes of a plain word, as advice; empty where it knows nothing."""
    if not re.fullmatch(r"[A-Za-z_]{2,24}", text):
        return ""
    try:
        base = registry().Quantity(1.0, registry().parse_units(text)).to_base_units()
    except Exception:  # the library raises many kinds; a word it cannot read has no advice
        return ""
    size = f"{base.magnitude:.12g}"
    powers = str(base.units).replace(" ** ", "^").replace(" ", "")
    spelled = {"meter": "m", "kilogram": "kg", "second": "s", "kelvin": "K", "mole": "mol", "radian": "rad"}
    for long, brief in spelled.items():
        powers = powers.replace(long, brief)
    return f"1 {text} is {size} {powers}; write that" if powers and powers != "dimensionless" else ""


@lru_cache(maxsize=1)
def registry() -> Any:
    """The units library's registry, built on first use (it takes most of a second)."""
    import pint

    return pint.UnitRegistry()


def split_quantity(text: str) -> tuple[Decimal, str]:
    """The number and the unit's text of a quantity; "" where the unit is missing.

    Raises QuantityError for anything but one finite number and what may be a unit.

    A fraction of a rule or a drill is a number too, whole inches and a hyphen before it: halves to hundred-and-twenty-eighths,
    which are exact as decimals.

    >>> split_quantity("6.1e-05 m/s"), split_quantity("1-1/2 in")
    ((Decimal('0.000061'), 'm/s'), (Decimal('1.5'), 'in'))
    """
    stripped = text.strip()
    if not stripped:
        raise QuantityError("E102", "is empty", 'write a number and a unit, as in "13 mm"')
    if len(stripped) > _LONGEST:
        raise QuantityError("E102", f"is {len(stripped)} characters long", 'write a number and a unit, as in "13 mm"')
    inches = _FRACTION.match(stripped)
    if inches is not None and int(inches[2]) < int(inches[3]):
        number = Decimal(inches[1] or 0) + Decimal(inches[2]) / Decimal(inches[3])
        return number, stripped[inches.end() :].strip()
    found = _NUMBER.match(stripped)
    if found is None:
        raise _not_a_number(stripped)
    rest = stripped[found.end() :]
    _refuse_second_number(stripped, rest)
    number = Decimal(found[0])
    return number, rest.strip()


def _not_a_number(text: str) -> QuantityError:
    word = re.match(r"[+-]?\s*(nan|inf(?:inity)?)\b", text, re.IGNORECASE)
    if word:
        return QuantityError("E105", "is not a finite number", "write a number that was measured or chosen")
    if re.match(r"[−–—]\s*\d", text):
        return QuantityError("E102", "begins with a dash that is not a minus sign", "write the minus sign as -")
    if re.match(r"[≈~<>≤≥±=]", text):
        return QuantityError("E102", f"begins with {text[0]!r}", "write one plain number and a unit")
    return QuantityError("E102", "does not begin with a number", 'write a number and a unit, as in "13 mm"')


def _as_decimal(text: str) -> str:
    """How to write a fraction such as ``3/8 in`` or ``1 3/8 in``; an example where it is no such thing."""
    found = re.fullmatch(r"(?:(\d{1,4})(?:\s+|\s*-\s*))?(\d{1,4})\s*/\s*(\d{1,4})\s*([^\d\s]\S*)?", text)
    if found is None or int(found[3]) == 0:
        return 'write one decimal, as in "1.375 in" for 1 3/8 in'
    value = int(found[1] or 0) + int(found[2]) / int(found[3])
    return f'write it as a decimal: "{value:.6g} {found[4] or "in"}"'


def _refuse_second_number(text: str, rest: str) -> None:
    number = text[: len(text) - len(rest)]
    if re.match(r",\d", rest):
        mended = (number + rest).replace(",", ".", 1)
        raise QuantityError("E102", "has a comma in the number", f'write the decimal with a point: "{mended}"')
    if re.match(r"\s*[eE][+-]?\d{4,}", rest):
        raise QuantityError("E105", "has an exponent beyond reason", "write the number without it")
    if re.match(r"\s*/\s*\d", rest):
        raise QuantityError("E102", "is a fraction", _as_decimal(text))
    if re.match(r"\s*-?\s*\d+\s*/\s*\d", rest) or re.match(r"\s+\d(?!/)", rest):
        raise QuantityError("E102", "has more than one number", _as_decimal(text))
    if re.match(r"\s*(?:±|\+/-|\.\.|to\b|-\s*\d)", rest):
        raise QuantityError("E102", "has more than one number", "write one number; scatter goes under [tolerances]")
    if rest.startswith("."):
        raise QuantityError("E102", "has a second decimal point", "write one decimal point")


def parse_exact(text: str, dimension: str) -> Fraction:
    """The exact SI value of a quantity; `dimension` is a name in `DIMENSIONS`. Errors as in `parse_quantity`."""
    wanted = DIMENSIONS[dimension]
    number, name = split_quantity(text)
    if not name:
        if dimension == "ratio":
            raise QuantityError("E101", "is a number in quotes", f"write {text.strip()} without quotes, or with %")
        raise QuantityError("E101", f"has no unit; expected {wanted.phrase}", bare_number_fix(text.strip(), dimension))
    found = unit(name)
    if found.vector != wanted.vector:
        raise wrong_dimension(found, wanted, name)
    value = Fraction(number) * found.factor
    if dimension != "temperature difference":
        value += found.offset
    return value


def wrong_dimension(found: Unit, wanted: Dimension, name: str) -> QuantityError:
    """The error for a unit of another dimension, with the slip between mass and force named."""
    fix = f"units for {wanted.phrase}: {', '.join(wanted.units)}"
    if wanted.name == "force" and found.vector == _MASS:
        fix = f"a load is a force: write {name}f" if name in ("lb", "kg") else fix
    elif wanted.name == "mass" and found.vector == _FORCE:
        fix = "a weight in kgf or lbf is a mass in kg or lb"
    return QuantityError("E103", f"is {dimension_of(found.vector)}; expected {wanted.phrase}", fix)


def bare_number_fix(number: str, dimension: str) -> str:
    """What to write instead of a bare number, in a metric and an inch or pound unit where there are two."""
    wanted = DIMENSIONS[dimension]
    if dimension == "length":
        return f'write "{number} mm" or "{number} in"'
    if dimension == "pressure":
        return f'write "{number} MPa" or "{number} psi"'
    return " or ".join(f'"{number} {name}"' for name in wanted.units[:2]).join(("write ", ""))


def parse_quantity(text: str, dimension: str) -> float:
    """The SI value of a quantity such as "13 mm"; `dimension` is a name in `DIMENSIONS`.

    Raises QuantityError (a ValueError) with `code`, `problem` and `fix` when the text is not one finite number and
    one listed unit of that dimension.

    >>> parse_quantity("13.5 mm", "length"), parse_quantity("72 degF", "temperature")
    (0.0135, 295.3722222222222)
    """
    return to_float(parse_exact(text, dimension))


def to_float(value: Fraction) -> float:
    """The nearest float; a value too large for one is refused."""
    try:
        return float(value)
    except OverflowError:
        raise QuantityError("E105", "is beyond any number", "check the exponent") from None


def write_quantity(value: float, unit_text: str, difference: bool = False) -> str:
    """The shortest decimal of `value` (SI) in a unit that reads back as the identical float.

    >>> write_quantity(0.0135, "mm"), write_quantity(293.15, "degC")
    ('13.5 mm', '20 degC')
    """
    target = unit(unit_text)
    offset = Fraction(0) if difference else target.offset
    exact = (Fraction(value) - offset) / target.factor
    for digits in range(1, 60):
        number = Context(prec=digits).divide(Decimal(exact.numerator), Decimal(exact.denominator))
        if float(Fraction(number) * target.factor + offset) == value:
            return f"{plain_decimal(number)} {unit_text}"
    raise ValueError(f"no decimal of {value!r} in {unit_text} reads back")  # pragma: no cover


def plain_decimal(number: Decimal) -> str:
    """A decimal without trailing zeros, with an exponent only where it is very small or very large."""
    number = number.normalize()
    if number == 0:
        return "0"
    if -7 <= number.adjusted() < 12:
        return format(number, "f")
    return format(number, "E").replace("E+", "e").replace("E", "e")


def from_si(value: Any, unit_text: str, difference: bool = False) -> Any:
    """SI values (a float or an array) as numbers in a unit, for axes and columns."""
    target = unit(unit_text)
    offset = 0.0 if difference else float(target.offset)
    with np.errstate(over="ignore"):  # a figure beyond all bounds is shown as infinite
        return (np.asarray(value, dtype=float) - offset) / float(target.factor)


def to_si(value: Any, unit_text: str, difference: bool = False) -> Any:
    """Numbers in a unit (a float or an array) as SI values."""
    target = unit(unit_text)
    offset = 0.0 if difference else float(target.offset)
    return np.asarray(value, dtype=float) * float(target.factor) + offset


def quantity(name: str | Quantity) -> Quantity:
    """The entry of the vocabulary for a name; a dotted key is known by its last part too.

    Raises KeyError for a name that the vocabulary does not have.
    """
    if isinstance(name, Quantity):
        return name
    found = find_quantity(name)
    if found is None:
        raise KeyError(f"no quantity {name!r} in the vocabulary")
    return found


def display_unit(name: str | Quantity, system: str = "metric") -> str:
    """The unit in which a quantity is shown: "mm", "psi", "" for a pure number; `system` is metric or imperial."""
    entry = quantity(name)
    return entry.metric_unit if system == "metric" else entry.imperial_unit


def number_in(value: float, name: str | Quantity, system: str = "metric") -> str:
    """A value (SI) as a number in the display unit, without the unit, rounded to the quantity's digits.

    >>> number_in(0.0135, "throat_diameter"), number_in(0.0135, "throat_diameter", "imperial")
    ('13.50', '0.5315')
    """
    entry = quantity(name)
    if value is None or not math.isfinite(value):
        return "–" if value is None or math.isnan(value) else ("∞" if value > 0 else "-∞")
    name_of_unit = display_unit(entry, system)
    shown = value if not name_of_unit else float(from_si(value, name_of_unit, entry.dimension == "temperature difference"))
    return significant(shown, entry.digits)


def significant(value: float, digits: int) -> str:
    """A number rounded to significant digits, written plainly; large whole parts are kept whole.

    >>> significant(1234567.0, 4), significant(0.0123456, 4), significant(0.0, 4)
    ('1234567', '0.01235', '0')
    """
    if value == 0.0:
        return "0"
    rounded = Decimal(format(value, f".{digits - 1}e"))
    decimals = digits - 1 - rounded.adjusted()
    if rounded.adjusted() < -7:
        return format(rounded, "E").replace("E", "e")
    return format(value, f".{max(decimals, 0)}f")


def show(value: float, name: str | Quantity, system: str = "metric") -> str:
    """A value (SI) as text with its unit, in the metric or imperial display unit of the quantity.

    What is printed reads back through `parse_quantity` to the digits shown. NaN is shown as a dash.

    >>> show(6.2e6, "peak_pressure"), show(6.2e6, "peak_pressure", "imperial")
    ('6.200 MPa', '899.2 psi')
    """
    number = number_in(value, name, system)
    name_of_unit = display_unit(name, system)
    return f"{number} {name_of_unit}" if name_of_unit and number not in "–∞-∞" else number


def show_both(value: float, name: str | Quantity, system: str = "metric") -> str:
    """As `show`, an impulse in imperial units with its newton seconds too: classes and certificates are in those.

    >>> show_both(1741.0, "total_impulse"), show_both(1741.0, "total_impulse", "imperial")
    ('1741 N*s', '391.4 lbf*s (1741 N*s)')
    """
    text = show(value, name, system)
    if system == "metric" or quantity(name).dimension != "impulse" or not math.isfinite(value):
        return text
    return f"{text} ({show(value, name)})"


def show_dimension(value: float, dimension: str, system: str = "metric", digits: int = 4) -> str:
    """A value (SI) of a dimension as text, for bounds in messages.

    >>> show_dimension(0.0254, "length"), show_dimension(0.0254, "length", "imperial")
    ('25.4 mm', '1 in')
    """
    metric, imperial = _COMMON_UNITS.get(dimension, (DIMENSIONS[dimension].units[0],) * 2)
    name = metric if system == "metric" else imperial
    if dimension == "ratio":
        return plain_decimal(Decimal(f"{value:.{digits}g}"))
    number = float(from_si(value, name, dimension == "temperature difference"))
    return f"{plain_decimal(Decimal(f'{number:.{digits}g}'))} {name}"


_COMMON_UNITS: Mapping[str, tuple[str, str]] = {
    "length": ("mm", "in"),
    "area": ("mm^2", "in^2"),
    "volume": ("cm^3", "in^3"),
    "mass": ("kg", "lb"),
    "time": ("s", "s"),
    "temperature": ("degC", "degF"),
    "temperature difference": ("K", "degF"),
    "angle": ("deg", "deg"),
    "force": ("N", "lbf"),
    "pressure": ("MPa", "psi"),
    "speed": ("m/s", "ft/s"),
    "impulse": ("N*s", "lbf*s"),
    "pressure integral": ("MPa*s", "psi*s"),
    "density": ("kg/m^3", "lb/in^3"),
    "mass flow": ("kg/s", "lb/s"),
    "mass flux": ("kg/m^2/s", "lb/in^2/s"),
    "molar mass": ("g/mol", "g/mol"),
    "per temperature": ("1/K", "1/degF"),
}


_SIGNS = (("*", "·"), ("^2", "²"), ("^3", "³"), ("degC", "°C"), ("degF", "°F"))


def pretty(text: str) -> str:
    """A quantity's text with the signs of print in place of those of a keyboard.

    >>> pretty("2272 N*s"), pretty("712 kg/m^2/s")
    ('2272 N·s', '712 kg/(m²·s)')
    """
    text = text.replace("kg/m^2/s", "kg/(m^2*s)").replace("lb/in^2/s", "lb/(in^2*s)")
    for plain, printed in _SIGNS:
        text = text.replace(plain, printed)
    return text
