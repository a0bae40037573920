"""A motor as built: sizes as measured in place of those drawn, their tolerances gone, slips told by line."""

from __future__ import annotations

import pytest
from scenario import AFT, CASE, FORWARD, GRAINS, NOZZLE, PROPELLANT, RATE, named

from optimizer.inputs import InputError, motor_from_text
from optimizer.inputs.as_measured import as_measured
from physics.assessment import assess

MOTOR = "\n".join(
    (
        named("Lapwing (invented)"),
        PROPELLANT + 'reference_temperature = "20 degC"\n',
        RATE,
        GRAINS,
        NOZZLE,
        CASE,
        FORWARD,
        AFT,
        '[tolerances]\nwall = {minus = "5 %"}\nthroat_diameter = {plus_minus = "0.05 mm"}\n',
    )
)


@pytest.fixture
def file(tmp_path):
    return motor_from_text(MOTOR, tmp_path / "lapwing.toml")


def table(tmp_path, *rows, header="key,value,unit"):
    path = tmp_path / "measured.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_sizes_take_the_place_of_those_drawn(file, tmp_path):
    """By hand: 0.123 in is 3.1242 mm; a blank value is a box left empty; columns beside the three are passed over."""
    rows = ("case.wall,0.123,in,3.2", "grain.core_diameter,,mm,", "forward_closure.count,7,,", "nozzle.half_angle,14.5,deg,")
    built = as_measured(file, table(tmp_path, *rows, header="key,value,unit,drawn"))
    motors = built.motor.motors
    assert float(motors.case.wall[0]) == pytest.approx(3.1242e-3, rel=1e-12)
    assert float(motors.forward_closure.screws.count[0]) == 7.0
    assert [one.key for one in built.measured] == ["case.wall", "forward_closure.count", "nozzle.half_angle"]
    assert built.measured[0].drawn == float(file.motors.case.wall[0])
    assert motors.grain.core_diameter == file.motors.grain.core_diameter
    assert built.motor.name == "Lapwing (invented), as measured"


def test_what_was_measured_scatters_no_more(file, tmp_path):
    built = as_measured(file, table(tmp_path, "case.wall,3.2,mm")).motor.motors
    assert set(file.motors.tolerances) == {"case.wall", "nozzle.throat_diameter"}
    assert set(built.tolerances) == {"nozzle.throat_diameter"}
    drawn, found = (
        next(float(rung.pressure[0]) for rung in assess(one).ladder.rungs if rung.mode == "case yield")
        for one in (file.motors, built)
    )
    assert found > drawn  # the wall as drawn, and no longer 5 % less at its worst


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("case.wal,3.1,mm", "did you mean 'case.wall'"),
        ("case.wall,3.1,psi", "is a pressure"),
        ("case.wall,3.1,", "E101"),
        ("rocket.mass,1,kg", "names no part of this motor"),
        ("grain.9.length,70,mm", "names no part of this motor"),
        ("case.wall,40,mm", "case.wall"),
        ("case.wall,3.1,mm\ncase.wall,3.2,mm", "is given twice"),
        ("name,Heron,", "is no size of a motor file"),
        ("case.wall,,mm", "has no size filled in"),
    ],
)
def test_slips_are_told_with_their_line(file, tmp_path, row, told):
    with pytest.raises(InputError) as error:
        as_measured(file, table(tmp_path, row))
    assert told in str(error.value)


def test_a_table_of_another_kind_is_refused(file, tmp_path):
    with pytest.raises(InputError, match="a header key,value,unit"):
        as_measured(file, table(tmp_path, "1,2", header="time_s,thrust_N"))
