"""The flame running along the grains: between nothing and the whole surface at once."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.inputs import InputError
from optimizer.inputs.motor import motor_from_text
from physics.ballistics import transient
from physics.motors import Motors
from tests.shared import scenario


def motor(more: str = "", *pairs: tuple[str, str]) -> Motors:
    grains = scenario.changed(scenario.GRAINS, *pairs)
    parts = (scenario.PROPELLANT, scenario.RATE, grains, scenario.NOZZLE, scenario.CASE, more)
    return motor_from_text("schema = 1\n" + "\n".join(parts), "motor.toml").motors


@pytest.mark.slow
def test_it_comes_to_the_whole_surface_as_the_speed_grows() -> None:
    whole = transient.start_up(motor())
    off = []
    for speed in (30.0, 300.0, 3000.0):
        spread = transient.start_up(motor(), speed)
        assert float(spread.peak_pressure[0]) == pytest.approx(float(whole.peak_pressure[0]), rel=5e-3)
        off.append(float(spread.rise_time[0] - whole.rise_time[0]))
    assert off[0] > off[1] > off[2] > -1e-4 and off[2] < 3e-4
    assert off[0] < 0.225 / 30.0  # no later than the flame needs for the three grains


@pytest.mark.slow
def test_a_slow_flame_is_late_and_low() -> None:
    """At 1 m/s along 225 mm less than half the surface burns after a tenth of a second."""
    whole, spread = transient.start_up(motor()), transient.start_up(motor(), 1.0)
    assert float(spread.peak_pressure[0]) < 0.45 * float(whole.peak_pressure[0])
    assert 0.1 < float(spread.rise_time[0]) < 0.225 + 10 * float(whole.rise_time[0])


def test_nothing_is_lost_on_the_way() -> None:
    """What passes the throat is what the grains weigh, and the air that was there before."""
    subject = motor()
    slow = transient.lit_along(subject, 5.0, curve=True)
    assert slow.curve is not None
    through = slow["pressure_integral"] * np.pi / 4 * 0.0135**2 / 1480
    assert float(through[0]) == pytest.approx(float(slow["propellant_mass"][0]), rel=1e-3)
    at_once = transient.evaluate(subject)
    assert float(slow["total_impulse"][0]) == pytest.approx(float(at_once["total_impulse"][0]), rel=2e-3)
    assert float(slow["burn_time"][0]) > float(at_once["burn_time"][0])
    assert slow.curve.kn[0, 1] < 0.05 * float(at_once["kn_at_ignition"][0])


@pytest.mark.slow
def test_a_batch_is_its_motors_one_by_one() -> None:
    batch = motor().repeat(3).with_values({"grain.length": np.array([0.075, 0.03, 0.06])})
    together = transient.lit_along(batch, 20.0)
    for index in range(3):
        alone = transient.lit_along(batch.take([index]), 20.0)
        for name, value in alone.values.items():
            assert np.array_equal(together[name][index], value[0], equal_nan=True), name


def test_an_end_burner_has_no_port_to_run_along() -> None:
    pairs = (("count = 3", "count = 1"), ('"18 mm"', '"0 mm"'), ("burning_ends = 2", "burning_ends = 1"))
    subject = motor("", *pairs).with_values({"nozzle.throat_diameter": np.array([0.004])})
    whole, spread = transient.start_up(subject), transient.start_up(subject, 1.0)
    assert spread.peak_pressure == whole.peak_pressure and np.array_equal(spread.rise_time, whole.rise_time, equal_nan=True)


def test_the_speed_is_read_and_refused_where_it_is_none() -> None:
    read = motor('[startup]\nspread_speed = "20 m/s"\n')
    assert read.startup is not None and float(read.startup.spread_speed[0]) == 20.0
    assert motor().startup is None
    for wrong in ('spread_speed = "0 m/s"', 'spread_speed = "20 mm"', 'speed = "20 m/s"', ""):
        with pytest.raises(InputError, match="spread_speed"):
            motor(f"[startup]\n{wrong}\n")
    with pytest.raises(ValueError, match="spread_speed"):
        transient.lit_along(motor(), 0.0)
