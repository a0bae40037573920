"""The liner in a motor file: gaps by place, its own numbers, what is refused, and what `check` says of heat."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from optimizer import load_motor
from optimizer.actions import check_answer
from optimizer.cautions import cautions
from optimizer.commands.new import create
from optimizer.problems import InputError
from physics import assess
from physics.heat.places import PLACES

THICKNESS = 'thickness = "2 mm"\n'


@pytest.fixture
def motor(tmp_path: Path) -> Path:
    create(tmp_path / "start")
    return tmp_path / "start" / "motor.toml"


def lined(motor: Path, more: str) -> Path:
    text = motor.read_text()
    assert text.count(THICKNESS) == 1
    motor.write_text(text.replace(THICKNESS, THICKNESS + more))
    return motor


def test_gaps_by_place_and_own_numbers(motor: Path) -> None:
    own = 'decomposition_temperature = "450 degC"\nheat_of_ablation = "1.1 MJ/kg"\ngap_behind = "0.2 mm"\n'
    rows = (
        '[[liner.gap]]\nplace = "joint"\nwidth = "2 mm"\n[[liner.gap]]\nplace = "joint"\nwidth = "3 mm"\nflow = true\n'
        '[[liner.gap]]\nplace = "unknown"\nwidth = "1 mm"\n'
    )
    liner = load_motor(lined(motor, own + rows)).motors.liner
    assert liner is not None and liner.gap_joint is not None and liner.gap is not None
    assert (float(liner.gap_joint[0]), float(liner.gap[0]), liner.gap_flow) == (3e-3, 1e-3, ("joint",))
    assert liner.gap_forward is None and liner.gap_aft is None
    assert liner.decomposition_temperature is not None and float(liner.decomposition_temperature[0]) == pytest.approx(723.15)
    assert liner.heat_of_ablation is not None and float(liner.heat_of_ablation[0]) == pytest.approx(1.1e6)


def test_the_older_form_means_all_three(motor: Path) -> None:
    liner = load_motor(lined(motor, 'gap = "2 mm"\n')).motors.liner
    assert liner is not None and liner.gap is not None and float(liner.gap[0]) == pytest.approx(2e-3)


def test_what_a_test_measured(motor: Path) -> None:
    rows = (
        '[[liner.measured]]\nplace = "aft end"\nfactor = 1.3\n'
        '[[liner.measured]]\nplace = "mid-grain wall"\nfactor = 0.8\nwithin = 2.0\n'
    )
    found = load_motor(lined(motor, rows)).motors.liner
    assert found is not None and found.measured is not None
    known = found.measured
    assert known.aft is not None and known.aft_within is not None and known.wall_within is not None
    assert (float(known.aft[0]), float(known.aft_within[0]), float(known.wall_within[0])) == (1.3, 1.4, 2.0)
    assert known.joint is None and known.forward is None


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('[[liner.measured]]\nplace = "aft end"\n', "factor"),
        ('[[liner.measured]]\nplace = "aft"\nfactor = 1.3\n', "aft end"),
        ('[[liner.measured]]\nplace = "joint"\nfactor = 1.3\nwithin = 0.5\n', "within"),
        (2 * '[[liner.measured]]\nplace = "joint"\nfactor = 1.3\n', "twice"),
        ('[[liner.gap]]\nplace = "middle"\nwidth = "2 mm"\n', "forward end"),
        ('[[liner.gap]]\nwidth = "2 mm"\n', "place"),
        ('[[liner.gap]]\nplace = "joint"\nwidth = "2"\n', "has no unit"),
        ('regression_at = "4 MPa"\n', "says nothing without regression_rate"),
        ('heat_of_ablation = "1.1 MJ"\n', "energy per mass"),
    ],
)
def test_refused(motor: Path, more: str, told: str) -> None:
    with pytest.raises(InputError) as refused:
        load_motor(lined(motor, more))
    assert told in str(refused.value)


def test_answer_of_check(motor: Path) -> None:
    look = assess(load_motor(lined(motor, '[[liner.gap]]\nplace = "joint"\nwidth = "12 mm"\n')).motors, curve=True)
    answer = json.loads(json.dumps(check_answer("m", look, cautions(look))))
    heat = answer["heat"]
    assert [place["place"] for place in heat["outside"]] == list(PLACES)
    joint = heat["outside"][1]
    assert set(joint["after"]) == {"5", "15", "30", "60", "120", "300"}
    assert joint["low"] <= joint["peak"] <= joint["high"] and joint["peak"] > 500.0
    assert [row["place"] for row in heat["liner_left"]] == list(PLACES)
    assert {row["place"] for row in heat["widest_gap"]} == set(PLACES[:3]) and heat["gas_paths"] == []
    by_mode = {(rung["mode"], rung["part"]): rung for rung in answer["ladder"]}
    assert by_mode["case softening", "case"]["place"] == "joint" and not by_mode["case softening", "case"]["ok"]
    assert by_mode["case yield", "case"]["place"] is None


@pytest.mark.slow
def test_a_loose_liner_with_two_gaps_is_told(motor: Path) -> None:
    rows = "".join(f'[[liner.gap]]\nplace = "{place}"\nwidth = "2 mm"\n' for place in ("forward end", "aft end"))
    look = assess(load_motor(lined(motor, 'gap_behind = "0.3 mm"\n' + rows)).motors, curve=True)
    told = {caution.about: caution.text for caution in cautions(look)}
    assert "flow path" in told["gas behind the liner"]
