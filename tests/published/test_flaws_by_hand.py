"""What flaws do to one invented motor, worked by hand: areas in mm², p = (ρ·c*·a·Kn)^(1/(1 − n)), one-dimensional port flow.

Source: own reckoning from geometry and the steady mass balance, with nothing of the product in it. Three grains 75 by 46 by 18 mm,
both ends bare, throat 13.5 mm, 1700 kg/m³, 1480 m/s, 6.5 mm/s at 5 MPa with n = 0.33 and γ = 1.21:

- sound: each grain burns π·(2246 + 78·x − 6·x²); most at x = 6.5 mm, 2499.5·π. Three: 23 557 mm² over 143.14 mm², Kn 164.58,
  1.984 MPa.
- one alight outside too: it burns π·(5696 − 256·x), with two sound ones π·(10188 − 100·x): most at ignition, 1.3587 times the
  sound motor's highest area, 1.3587^(1/0.67) = 1.580 times its pressure.
- throat blocked by a tenth: (1/0.9)^(1/0.67) = 1.170 times.
- one grain cracked through: at x = 5.9 mm, ρ 14.9, its outline is 2·14.9·(π − 0.4072) + 2·(22.230 − 13.682) = 98.58 mm on
  63.2 mm, and each end burns over 964.4 − 97.3 = 867.1 mm²: 7 964 mm² against 7 845 of a sound one. At ignition the slot adds
  2·14·75 mm² to 7 056.
"""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from optimizer.inputs.motor import motor_from_text
from physics.failure import flaws
from physics.motors import Motors
from tests.shared import scenario

L, D, d, THROAT = 75.0, 46.0, 18.0, 13.5
AT = math.pi / 4 * THROAT**2
GAMMA, N = 1.21, 0.33
FACTOR = 1700 * 1480 * 6.5e-3 / 5e6**N


def motor(ends: str = "burning_ends = 2") -> Motors:
    grains = scenario.changed(scenario.GRAINS, ("burning_ends = 2", ends))
    propellant = scenario.PROPELLANT + 'temperature_sensitivity = "0.0015 1/K"\n'
    rate = scenario.changed(scenario.RATE, ("0.7 MPa", "0.1 MPa"))
    parts = (propellant, rate, grains, scenario.NOZZLE, scenario.AMBIENT)
    return motor_from_text("schema = 1\n" + "\n".join(parts), "motor.toml").motors


def sound(x: float, ends: int = 2) -> float:
    """Area of one sound grain."""
    return math.pi * (d + 2 * x) * (L - ends * x) + ends * math.pi / 4 * (D * D - (d + 2 * x) ** 2)


def cracked(x: float) -> float:
    """Bore and slot over what is left of the length, and two ends: the section left is swept out in thin rings."""
    r, outer = d / 2 + x, D / 2
    arc = r * (2 * math.pi - 2 * math.asin(x / r))
    slot = 2 * (math.sqrt(outer**2 - x**2) - math.sqrt(r**2 - x**2))
    rings = [r + (outer - r) * k / 4000 for k in range(4001)]
    section = sum(
        (high - low) * middle * (2 * math.pi - 2 * math.asin(x / middle))
        for low, high in pairwise(rings)
        for middle in (0.5 * (low + high),)
    )
    return (arc + slot) * (L - 2 * x) + 2 * section


def head(area: float, x: float, throat: float = AT) -> float:
    """Head pressure [Pa]: chamber pressure times what the port takes, M from the area ratio by halving."""
    chamber = (FACTOR * area / throat) ** (1 / (1 - N))
    ratio = math.pi / 4 * (d + 2 * x) ** 2 / throat
    low, high = 0.0, 1.0
    for _ in range(60):
        mach = 0.5 * (low + high)
        warm = 1 + 0.5 * (GAMMA - 1) * mach**2
        wide = (2 / (GAMMA + 1) * warm) ** ((GAMMA + 1) / (2 * (GAMMA - 1))) / max(mach, 1e-12)
        low, high = (mach, high) if wide > ratio else (low, mach)
    stagnation = (1 + 0.5 * (GAMMA - 1) * low**2) ** (GAMMA / (GAMMA - 1))
    return chamber * (1 + GAMMA * low**2) / stagnation


STEPS = [14.0 * k / 1400 for k in range(1400)]


@pytest.fixture(scope="module")
def found() -> dict[str, flaws.Flaw]:
    return {one.flaw: one for one in flaws.flaws(motor())}


def test_the_sound_motor_by_hand() -> None:
    assert 3 * sound(6.5) == pytest.approx(23557, abs=1) and 3 * sound(6.5) / AT == pytest.approx(164.58, abs=0.01)
    chamber = (FACTOR * 164.58) ** (1 / (1 - N))
    assert chamber == pytest.approx(1.984e6, rel=1e-3)


def test_a_grain_alight_outside(found: dict[str, flaws.Flaw]) -> None:
    one = found["grain alight on its outside"]
    assert float(one.burning_area[0]) == pytest.approx(10188 / 7498.5, rel=2e-3)
    assert float(one.peak_head_pressure[0]) == pytest.approx(head(10188 * math.pi, 0.0), rel=2e-3)
    rise = (10188 / 7498.5) ** (1 / 0.67)
    assert rise == pytest.approx(1.580, abs=1e-3)


def test_a_grain_cracked_through(found: dict[str, flaws.Flaw]) -> None:
    assert cracked(0.0) == pytest.approx(sound(0.0) + 2 * 14 * L, rel=1e-9)  # the slot's two faces
    assert cracked(5.9) == pytest.approx(7964, abs=2)
    peak = max(head(2 * sound(x) + cracked(x), x) for x in STEPS[::10])
    assert float(found["grain cracked through"].peak_head_pressure[0]) == pytest.approx(peak, rel=1e-3)
    assert peak > 1.03 * max(head(3 * sound(x), x) for x in STEPS)


def test_a_tenth_of_the_throat_blocked(found: dict[str, flaws.Flaw]) -> None:
    peak = max(head(3 * sound(x), x, 0.9 * AT) for x in STEPS)
    assert float(found["throat blocked by 10 %"].peak_head_pressure[0]) == pytest.approx(peak, rel=1e-4)
    chamber = [(FACTOR * 164.58 / throat) ** (1 / 0.67) for throat in (1.0, 0.9)]
    assert chamber[1] / chamber[0] == pytest.approx(1.170, abs=1e-3)


def test_the_hottest_soak(found: dict[str, flaws.Flaw]) -> None:
    """20 K over the reference at 0.0015 1/K: exp(0.03/0.67) = 1.0458 times."""
    peak = max(head(3 * sound(x), x) for x in STEPS)
    assert float(found["hottest soak"].peak_head_pressure[0]) == pytest.approx(1.0458 * peak, rel=2e-4)


@pytest.mark.parametrize("covered", ['"inhibited"', '{covered_to = "30 mm"}'])
def test_a_lost_cap(covered: str) -> None:
    """The grain that lost it burns as one with two bare ends beside two that kept theirs."""
    ends = f'forward_face = {covered}\naft_face = "bare"'
    lost = next(one for one in flaws.flaws(motor(ends)) if one.flaw == "cap lost")
    to = d if "inhibited" in covered else 30.0

    def kept(x: float) -> float:
        """Core, aft end and what the cap leaves: flat up to 15 mm, a ring of a torus under it, by thin cones."""
        bore, outer, edge = d / 2 + x, D / 2, to / 2
        if to <= d:
            return sound(x, 1)
        deep = x if bore <= edge else math.sqrt(x * x - (bore - edge) ** 2)
        area = 2 * math.pi * bore * (L - x - deep) + math.pi * (outer**2 - bore**2) + math.pi * max(edge**2 - bore**2, 0.0)
        turns = [k / 2000 * math.pi / 2 for k in range(2001)]
        for low, high in pairwise(turns):
            radius = edge + x * math.sin(0.5 * (low + high))
            if bore <= radius <= outer:
                area += 2 * math.pi * radius * x * (high - low)
        return area

    peak = max(head(2 * kept(x) + sound(x), x) for x in STEPS[::20])
    assert float(lost.peak_head_pressure[0]) == pytest.approx(peak, rel=2e-3)


def test_what_it_takes_to_reach_twice_the_pressure() -> None:
    """2^0.67 − 1 = 59.1 % more surface; and 1 − 2^−0.67 = 37.1 % of the throat where the port took nothing: a little more here."""
    peak = max(head(3 * sound(x), x) for x in STEPS)
    reach = flaws.to_reach(motor(), 2 * peak)
    assert float(reach.surplus[0]) == pytest.approx(0.591, abs=2e-3)
    assert float(reach.blocked[0]) == pytest.approx(0.371, abs=5e-3)
