"""How a value is written on a page: number, unit, name. Imports optimizer.units and the vocabulary."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from typing import Any

from optimizer.units import display_unit, from_si, number_in, pretty, quantity, significant

COUNTS = ("count", "rings", "burning_ends")  # last words of names that count things


def meaning(name: str) -> str:
    """What the vocabulary says of a name, empty where it says nothing."""
    try:
        return quantity(name).meaning
    except KeyError:
        return ""


def unit_text(name: str, units: str) -> str:
    """The display unit as printed, empty for a pure number or a name that the vocabulary does not have."""
    try:
        return pretty(display_unit(name, units))
    except KeyError:
        return ""


def number_text(value: Any, name: str, units: str) -> str:
    """A value (SI) as a number in its display unit; text stays as it is, nothing is a dash."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    number = float(value)
    if not math.isfinite(number):
        return "–" if math.isnan(number) else ("∞" if number > 0 else "−∞")
    if name.endswith(COUNTS) and number == round(number):
        return f"{number:.0f}"
    try:
        return number_in(number, name, units)
    except KeyError:
        return significant(number, 4)


def value_text(value: Any, name: str, units: str) -> str:
    """A value (SI) as a number with its unit."""
    number = number_text(value, name, units)
    unit = unit_text(name, units)
    if not unit or isinstance(value, str) or number in ("–", "∞", "−∞"):
        return number
    both = units == "imperial" and unit == unit_text("total_impulse", units)  # classes and certificates are in N·s
    return f"{number} {unit}" + (f" ({value_text(value, name, 'metric')})" if both else "")


def in_display(values: Sequence[float | None], name: str, units: str) -> list[float]:
    """Values (SI) as numbers in the display unit; None becomes NaN."""
    plain = [math.nan if value is None else float(value) for value in values]
    try:
        unit = display_unit(name, units)
    except KeyError:
        return plain
    return [float(value) for value in from_si(plain, unit)] if unit else plain


def change_text(value: float | None, name: str, units: str) -> str:
    """A difference (SI) with its sign; a thermometer's offset plays no part in it."""
    if value is None or not math.isfinite(value):
        return "–"
    if value == 0.0:
        return "0"
    unit = ""
    with contextlib.suppress(KeyError):  # a name that the vocabulary lacks is shown as a plain number
        unit = display_unit(name, units)
    size = abs(float(from_si(value, unit, True))) if unit else abs(value)
    sign = "+" if value > 0 else "−"
    if name.endswith(COUNTS) and size == round(size):
        return f"{sign}{size:.0f}"
    return f"{sign}{significant(size, 3)}" + (f" {pretty(unit)}" if unit else "")


def likelihood_text(value: float) -> str:
    """A share of likelihood in whole percent; never all or nothing, since nothing there is certain.

    >>> likelihood_text(0.684), likelihood_text(0.002), likelihood_text(0.998)
    ('68 %', '< 1 %', '> 99 %')
    """
    return "< 1 %" if value < 0.01 else "> 99 %" if value > 0.99 else f"{100.0 * value:.0f} %"


def percent(share: float, digits: int = 1) -> str:
    """A share of one as a percentage; a small one is never rounded down to nothing.

    >>> percent(0.123), percent(0.0004), percent(0.0)
    ('12.3 %', '0.04 %', '0 %')
    """
    if share == 0.0:
        return "0 %"
    size = 100.0 * share
    return f"{size:.{digits}f} %" if abs(size) >= 10.0**-digits else f"{significant(size, 1)} %"
