"""The rocket in a motor file: what is read, what is refused, what `check` says of the flight."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from optimizer import load_motor
from optimizer.actions import check_answer
from optimizer.cautions import cautions
from optimizer.commands.compare import compare
from optimizer.commands.new import create
from optimizer.commands.spread import spread
from optimizer.inputs.writing import motor_text
from optimizer.problems import InputError
from physics import assess

ROCKET = """
[rocket]
mass = "1.6 kg"
diameter = "54 mm"
[launch]
rail_length = "1.5 m"
[masses]
empty = "0.62 kg"
"""


@pytest.fixture
def motor(tmp_path: Path) -> Path:
    create(tmp_path / "start")
    return tmp_path / "start" / "motor.toml"


def _with(motor: Path, more: str, instead: tuple[str, str] = ("", "")) -> Path:
    text = motor.read_text() + more
    motor.write_text(text.replace(*instead) if instead[0] else text)
    return motor


def test_check_says_how_it_flies(motor: Path) -> None:
    look = assess(load_motor(_with(motor, ROCKET)).motors, curve=True)
    told = cautions(look)
    flight = check_answer("x", look, told)["flight"]
    assert json.loads(json.dumps(flight))["refused"] is None
    assert 15.0 < flight["coldest_rail_exit_speed"] < flight["rail_exit_speed"] < 22.0
    assert flight["apogee_at_drag"]["0.6"] < flight["apogee"] < flight["apogee_at_drag"]["0.4"]
    assert flight["static_margin"] == {}
    texts = {item.about: item.text for item in told}
    assert "upper bound" in texts["flight"] and "not assessed (no centre of pressure)" in texts["flight"]
    assert "drag coefficient of 0.5" in texts["drag"]


def test_a_table_of_drag_is_read_and_written_back(motor: Path) -> None:
    rows = "".join(f"[[rocket.drag]]\nmach = {mach}\ncoefficient = {drag}\n" for mach, drag in ((0, 0.45), (0.8, 0.5), (1.1, 0.7)))
    file = load_motor(_with(motor, ROCKET.replace("[launch]", f"{rows}[launch]")))
    rocket = file.motors.rocket
    assert rocket is not None and rocket.drag_mach is not None
    np.testing.assert_array_equal(rocket.drag_coefficient, [[0.45, 0.5, 0.7]])
    (motor.parent / "again.toml").write_text(motor_text(file))
    again = load_motor(motor.parent / "again.toml").motors
    np.testing.assert_array_equal(again.rocket.drag_mach, rocket.drag_mach)  # type: ignore[union-attr]
    assert again.masses is not None and again.launch is not None


def test_the_pressure_of_a_high_site_is_the_standards_where_none_is_given(motor: Path) -> None:
    high = ROCKET.replace('rail_length = "1.5 m"', 'rail_length = "1.5 m"\naltitude = "1400 m"')
    motor.write_text("\n".join(line for line in motor.read_text().splitlines() if not line.startswith("pressure")))
    assert load_motor(_with(motor, high)).motors.ambient.pressure[0] == pytest.approx(85602.01, rel=1e-6)


def test_without_the_empty_mass_the_flight_is_refused_and_the_rest_is_not(motor: Path) -> None:
    look = assess(load_motor(_with(motor, ROCKET.split("[masses]")[0])).motors, curve=True)
    flight = check_answer("x", look, cautions(look))["flight"]
    assert "nozzle.insert_diameter" in flight["refused"] and flight["apogee"] is None


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        (('rail_length = "1.5 m"', ""), "rail_length", "missing"),
        (('[launch]\nrail_length = "1.5 m"\n', ""), "launch", "missing"),
        (('diameter = "54 mm"', 'diameter = "30 mm"'), "rocket.diameter", "less than"),
        (('rail_length = "1.5 m"', 'rail_length = "1.5 m"\nelevation = "50 deg"'), "launch.elevation", "60 deg to 90 deg"),
        (('diameter = "54 mm"', 'diameter = "54 mm"\ncentre_of_mass = "0.5 m"'), "rocket.centre_of_mass", "motor_end"),
        (('diameter = "54 mm"', 'diameter = "54 mm"\ndrag_coefficient = 0'), "rocket.drag_coefficient", ""),
        (("[launch]", "[[rocket.drag]]\nmach = 0\ncoefficient = 0.5\n[launch]"), "rocket.drag", "two rows"),
        (
            ("[launch]", "[[rocket.drag]]\nmach = 1\ncoefficient = 0.5\n[[rocket.drag]]\nmach = 1\ncoefficient = 0.6\n[launch]"),
            "mach",
            "not above",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(motor: Path, change: tuple[str, str], key: str, words: str) -> None:
    assert change[0] in ROCKET
    with pytest.raises(InputError) as refused:
        load_motor(_with(motor, ROCKET.replace(*change)))
    told = [item for item in refused.value.problems if key in item.key]
    assert told and any(words in f"{item.problem} {item.fix}" for item in told), refused.value


def test_a_pressure_reduced_to_sea_level_is_refused(motor: Path) -> None:
    high = ROCKET.replace('rail_length = "1.5 m"', 'rail_length = "1.5 m"\naltitude = "1400 m"')
    assert 'pressure = "101.325 kPa"' in motor.read_text()
    with pytest.raises(InputError, match="QNH"):
        load_motor(_with(motor, high))


SPREAD = '\n[tolerances]\nrocket.mass = {plus_minus = "100 g"}\n'


def _without_tolerances(motor: Path) -> Path:
    motor.write_text(motor.read_text().split("\n[tolerances]")[0])
    return motor


@pytest.mark.slow
def test_the_apogee_over_the_scatter_of_one_mass_is_that_at_its_percentiles(motor: Path) -> None:
    file = load_motor(_with(_without_tolerances(motor), ROCKET + SPREAD))
    found = spread(file.motors, samples=1024)
    for level in (5, 95):  # uniform over 1.5 to 1.7 kg, and the lighter rocket leaves its rail faster
        at = file.motors.with_values({"rocket.mass": np.array([1.5 + 0.2 * (100 - level) / 100])})
        flown = assess(at).flight
        assert flown is not None
        for name in ("coldest_rail_exit_speed", "maximum_acceleration"):
            assert found.figures[name][f"p{level}"] == pytest.approx(flown.figures[name][0], rel=1e-3)
    assert found.shares["apogee"]["rocket.mass"] == pytest.approx(1.0, abs=0.02)
    assert "apogee" in found.corners and "total_impulse" not in found.shares


@pytest.mark.slow
def test_a_comparison_says_what_a_heavier_rocket_does_to_its_flight(motor: Path) -> None:
    light = load_motor(_with(motor, ROCKET))
    (motor.parent / "heavy.toml").write_text(motor.read_text().replace('mass = "1.6 kg"', 'mass = "1.9 kg"'))
    heavy = load_motor(motor.parent / "heavy.toml")
    answer = compare([light, heavy]).as_json()
    before, after = answer["figures"]["rail_exit_speed"]
    assert before > after
    assert [change["key"] for change in answer["changes"]] == ["rocket.mass"]
    assert answer["changes"][0]["alone"]["rail_exit_speed"] == after


@pytest.mark.slow
@pytest.mark.parametrize(("limit", "ok"), [("25 degC", False), ("690 degC", True)])
def test_the_airframes_skin_is_held_against_the_hottest_outside_of_the_case(motor: Path, limit: str, ok: bool) -> None:
    rocket = ROCKET.replace('diameter = "54 mm"', f'diameter = "54 mm"\nskin_limit = "{limit}"')
    motors = load_motor(_with(motor, rocket)).motors
    look = assess(motors, curve=True)
    told = cautions(look)
    skin = check_answer("x", look, told)["flight"]["skin"]
    assert look.heat is not None and skin["ok"] is ok
    assert skin["hottest"] == max(max(one.low, one.high, float(one.readings.peak[0])) for one in look.heat.outside)
    assert ("airframe's skin" in {item.about for item in told}) is not ok
    alone = assess(motors)  # where heat is not told, the skin is not judged
    assert alone.skin is not None and alone.skin.ok is None
    assert "not assessed" in next(item.text for item in cautions(alone) if item.about == "airframe's skin")
