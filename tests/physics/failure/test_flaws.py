"""Flaws: burnback against points of a grid and figures by hand, and the pressures that they bring."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from optimizer.inputs.motor import motor_from_text
from physics.ballistics import steady
from physics.failure import flaws
from physics.motors import Grains, Motors
from tests.shared import scenario

GRAIN = Grains(*(np.array(value) for value in (1.0, 0.1, 0.05, 0.02, 2.0)))


def motor(text: str = "") -> Motors:
    parts = (scenario.PROPELLANT, scenario.RATE, scenario.GRAINS, scenario.NOZZLE, scenario.CASE, text)
    return motor_from_text("schema = 1\n" + "\n".join(parts), "motor.toml").motors


def test_a_cracked_grain_by_hand() -> None:
    """50 by 20 by 100 mm, ends covered, 7.5 mm burnt: ρ 17.5, asin(7.5/17.5) 0.4429, √(625 − 56.25) 23.848, √(306.25 − 56.25)
    15.811; outline 17.5·(6.2832 − 0.8858) + 2·(23.848 − 15.811) = 110.53 mm; 11 053 mm². At ignition 62.83 + 2·15 = 92.83 mm."""
    covered = dataclasses.replace(GRAIN, burning_ends=np.array(0.0))
    area = flaws.cracked_area(covered, np.array([0.0, 0.0075])) * 1e6
    assert area == pytest.approx([9283.2, 11053.0], rel=1e-4)


def test_a_cracked_grain_against_points_of_a_grid() -> None:
    cells, x = 1500, 0.006
    side = (np.arange(cells) + 0.5) / cells * 0.05 - 0.025
    across, up = np.meshgrid(side, side)
    radius = np.hypot(across, up)
    slot = np.where(across > 0.0, np.abs(up), radius)
    left = ((radius <= 0.025) & (radius - 0.010 > x) & (slot > x)).sum() * (0.05 / cells) ** 2
    steps = np.linspace(0.0, x, 4001)
    covered = dataclasses.replace(GRAIN, burning_ends=np.array(0.0))
    burnt = np.trapezoid(flaws.cracked_area(covered, steps), steps) / 0.1
    assert np.pi * (0.025**2 - 0.010**2) - burnt == pytest.approx(left, rel=2e-3)


@pytest.mark.parametrize(("area", "web"), [(flaws.cracked_area, 0.015), (flaws.alight_outside_area, 0.0075)])
@pytest.mark.parametrize("ends", [0.0, 1.0, 2.0])
def test_what_burns_is_the_grain(area: object, web: float, ends: float) -> None:
    each = dataclasses.replace(GRAIN, burning_ends=np.array(ends))
    x = np.linspace(0.0, web * (1 - 1e-12), 20001)
    whole = 0.25 * np.pi * (0.05**2 - 0.02**2) * 0.1
    assert np.trapezoid(area(each, x), x) == pytest.approx(whole, rel=1e-6)  # type: ignore[operator]


def test_the_sound_motor_is_that_of_the_steady_kernel() -> None:
    burn = flaws._burn(motor(), None)
    sound = flaws._peak(burn, burn.areas, np.ones(1))[0]
    assert sound == pytest.approx(steady.peak_head_pressure(motor()), rel=1e-4)


def test_each_flaw_is_told_and_reached_again() -> None:
    found = {flaw.flaw: flaw for flaw in flaws.flaws(motor())}
    assert set(found) == {"grain cracked through", "grain alight on its outside", "throat blocked by 10 %", "hottest soak"}
    sound = steady.peak_head_pressure(motor())
    alight = found["grain alight on its outside"]
    assert alight.burning_area > 1.2 and alight.peak_head_pressure > 1.3 * sound
    blocked = found["throat blocked by 10 %"]
    assert flaws.to_reach(motor(), blocked.peak_head_pressure).blocked == pytest.approx(0.1, rel=1e-6)


def test_a_surplus_follows_the_exponent_within_one_row() -> None:
    """Kn goes as p^(1 − n): 30 % more pressure at n = 0.33 takes 1.3^0.67 − 1 = 19.2 % more surface."""
    sound = steady.peak_head_pressure(motor())
    assert flaws.to_reach(motor(), 1.3 * sound).surplus == pytest.approx(1.3**0.67 - 1.0, rel=1e-3)


def test_a_lost_cap_is_told_where_there_is_one() -> None:
    covered = motor().with_values({"grain.burning_ends": np.array([0.0])})
    found = {flaw.flaw: flaw for flaw in flaws.flaws(covered)}
    assert found["cap lost"].peak_head_pressure > 0.0
    assert flaws.lost_cap_area(GRAIN, np.array(0.0)) == pytest.approx(np.pi * 0.02 * 0.1 + 2 * 0.25 * np.pi * (0.05**2 - 0.02**2))


def test_a_batch_is_its_motors_one_by_one() -> None:
    both = motor().repeat(2).with_values({"grain.core_diameter": np.array([0.016, 0.02])})
    together = flaws.flaws(both)
    for index in range(2):
        for flaw, alone in zip(together, flaws.flaws(both.take([index])), strict=True):
            assert flaw.peak_head_pressure[index] == pytest.approx(alone.peak_head_pressure[0], rel=1e-12)
