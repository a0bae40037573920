"""Input files: what is read, what is refused and how, and that what is written reads back identically."""

# ruff: noqa: E501 - one broken input a line reads better than ten lines for each

import dataclasses
import math
import os
import random
import re
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.inputs import (
    CODES,
    InputError,
    load_firing,
    load_motor,
    load_propellant,
    load_study,
    motor_from_document,
    motor_from_text,
    motor_text,
    propellant_text,
)
from optimizer.inputs.text import key_lines, parse_document, toml_text

MOTOR = """schema = 1
name = "Test"

[propellant]
density = "1700 kg/m^3"
characteristic_velocity = "1480 m/s"
gamma = 1.21
molar_mass = "24 g/mol"
reference_temperature = "20 degC"
temperature_sensitivity = "0.0015 1/K"
erosive = "none"

[[propellant.rate]]
from = "0.7 MPa"
to = "5 MPa"
rate = "6.5 mm/s"
at = "5 MPa"
exponent = 0.33

[[propellant.rate]]
from = "5 MPa"
to = "9 MPa"
rate = "0.256 in/s"
at = "725 psi"
exponent = 0.3

[[grain]]
count = 3
length = "75 mm"
outer_diameter = "46 mm"
core_diameter = "16 mm"
burning_ends = 2

[[grain]]
length = "75 mm"
outer_diameter = "46 mm"
core_diameter = "18 mm"
burning_ends = 1
forward_face = "inhibited"

[nozzle]
throat_diameter = "13.5 mm"
exit_diameter = "34 mm"
half_angle = "14 deg"
efficiency = 0.95
material = "graphite"

[case]
material = "6061-T6"
outer_diameter = "2.25 in"
wall = "0.125 in"
length = "520 mm"

[liner]
material = "paper-phenolic"
thickness = "1.6 mm"

[forward_closure]
retention = "radial-screws"
screw = "#10-24 UNC"
grade = "A2-70"
count = 8
edge_distance = "14 mm"
ring_material = "6061-T6"
plate_thickness = "12 mm"

[forward_closure.seal]
rings = 2
dash = "-222"
gland_depth = "2.8 mm"
gap = "0.05 mm"

[aft_closure]
retention = "snap-ring"
groove_depth = "1.5 mm"
snap_ring_thickness = "1.75 mm"
edge_margin = "6 mm"

[airframe]
inner_diameter = "60 mm"

[ambient]
soak = ["-5 degC", "40 degC"]

[factors]
yield = 1.5

[tolerances]
throat_diameter = {plus_minus = "0.05 mm"}
rate = {standard_deviation = "3 %"}
wall = {minus = "10 %"}
screw_strength = {minus = "5 %"}
temperature = {plus_minus = "2 degC"}
"""

STUDY = """schema = 1
name = "Test study"
motor = "motor.toml"

[target]
impulse_class = "K"

[search]
grain.0.count = {from = 2, to = 8}
grain.0.core_diameter = {stock = "drills-metric", from = "10 mm", to = "20 mm"}
throat_diameter = {from = "9 mm", to = "20 mm", step = "0.25 mm"}
wall = {stock = "tube-6061"}
forward_closure.count = {from = 4, to = 12, step = 2}
forward_closure.screw = ["#8-32 UNC", "#10-24 UNC"]
grain_length = "fill"

[limits]
maximum_pressure = "9 MPa"
minimum_factor = {"screw shear" = 2.0, "case yield" = 1.5}
port_over_throat = {min = 2.0}

[objectives]
loaded_mass = "min"
smallest_factor = "max"

[driver]
seed = 7
"""

FIRING = """schema = 1
motor = "motor.toml"
record = "firing.csv"

[columns]
time = {name = "time_s", unit = "s"}
pressure = {name = "p_bar", unit = "bar", reference = "gauge"}
thrust = {name = "load_kgf", unit = "kgf"}

[instruments]
pressure = {range = "100 bar", accuracy = "0.5 %"}

[observed]
time_of_failure = "0.4 s"
end = "forward"
found = ["closure gone", "screws sheared"]
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "motor.toml").write_text(MOTOR)
    (tmp_path / "study.toml").write_text(STUDY)
    (tmp_path / "firing.toml").write_text(FIRING)
    (tmp_path / "firing.csv").write_text("time_s,p_bar,load_kgf\n0,0,0\n")
    return tmp_path


def changed(text, old, new):
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


def problems_of(loader, path):
    with pytest.raises(InputError) as caught:
        loader(path)
    text = str(caught.value)
    count = len(caught.value.problems)
    assert text.splitlines()[-1] == f"{count} problem{'' if count == 1 else 's'} in {path}; nothing was run." or count == 0
    for problem in caught.value.problems:
        assert problem.code in CODES
        assert problem.problem and problem.fix
        assert "pint" not in text and "Traceback" not in text and "pydantic" not in text
    return caught.value.problems


class TestMotor:
    def test_everything_is_read_in_si(self, folder):
        motor = load_motor(folder / "motor.toml").motors
        assert motor.size == 1
        assert motor.case.wall.tolist() == [0.125 * 0.0254]
        assert motor.grain.count.tolist() == [[3.0, 1.0]] and motor.grain.core_diameter.tolist() == [[0.016, 0.018]]
        assert motor.grain.burning_ends.tolist() == [[2.0, 1.0]]
        assert motor.propellant.rate.shape == (1, 2)
        assert motor.propellant.rate[0, 1] == pytest.approx(0.256 * 0.0254)
        assert motor.nozzle.half_angle[0] == pytest.approx(math.radians(14))
        assert motor.nozzle.throat_recession.tolist() == [0.0]
        assert motor.ambient.soak.tolist() == [[268.15, 313.15]] and motor.ambient.pressure.tolist() == [101325.0]
        assert motor.forward_closure.screws.hole_diameter[0] > motor.forward_closure.screws.diameter[0]
        assert motor.forward_closure.screws.fitting_factor.tolist() == [1.15]
        assert motor.forward_closure.plate_material.name == "6061-T6"
        assert motor.forward_closure.seal.cross_section[0] == pytest.approx(0.139 * 0.0254)
        assert motor.forward_closure.seal.inner_diameter[0] == pytest.approx(1.484 * 0.0254)
        assert motor.aft_closure.snap_ring.edge_margin.tolist() == [0.006] and motor.aft_closure.screws is None
        assert motor.airframe.clearance.tolist() == [0.0]
        assert motor.factors == {"yield": 1.5}

    def test_tolerances_go_by_their_columns(self, folder):
        tolerances = load_motor(folder / "motor.toml").motors.tolerances
        assert set(tolerances) == {
            "nozzle.throat_diameter", "propellant.rate", "case.wall", "forward_closure.screws.tensile_strength",
            "ambient.temperature",
        }  # fmt: skip
        assert tolerances["nozzle.throat_diameter"].reach == (5e-5, 5e-5)
        assert tolerances["case.wall"].relative and tolerances["case.wall"].reach == (0.1, 0.0)
        assert tolerances["ambient.temperature"].plus == 2.0

    def test_three_tables_make_a_motor(self, folder):
        short = MOTOR[: MOTOR.index("[case]")]
        motor = motor_from_text(short, folder / "short.toml").motors
        assert motor.case is None and motor.forward_closure is None and motor.airframe is None
        assert motor.ambient.temperature.tolist() == [293.15] and motor.ambient.soak.tolist() == [[293.15]]

    def test_end_burner_and_straight_exit(self, folder):
        text = MOTOR[: MOTOR.index("[case]")]
        for old, new in (
            ('core_diameter = "16 mm"', 'core_diameter = "0 mm"'),
            ("count = 3", "count = 1"),
            ("burning_ends = 2", "burning_ends = 1"),
            ('half_angle = "14 deg"', 'half_angle = "0 deg"'),
        ):
            assert text.count(old) == 1
            text = text.replace(old, new)
        motor = motor_from_text(text, folder / "end.toml").motors
        assert motor.grain.core_diameter[0, 0] == 0.0 and motor.nozzle.half_angle[0] == 0.0

    @pytest.mark.parametrize("first", ["16 mm", "0 mm"])
    def test_an_end_burner_comes_first_and_burns_on_one_face(self, folder, first):
        text = MOTOR[: MOTOR.index("[case]")].replace("count = 3", "count = 1")
        text = text.replace('core_diameter = "16 mm"', f'core_diameter = "{first}"')
        second = '[[grain]]\nlength = "50 mm"\nouter_diameter = "46 mm"\ncore_diameter = "0 mm"\nburning_ends = 1\n'
        (folder / "blocked.toml").write_text(text + second)
        keys = {problem.key for problem in problems_of(load_motor, folder / "blocked.toml") if problem.code == "E139"}
        assert keys == {"grain[3].core_diameter"} | ({"grain[1].burning_ends"} if first == "0 mm" else set())

    def test_a_bare_case_is_a_liner_of_no_thickness(self, folder):
        text = MOTOR.replace('thickness = "1.6 mm"', 'thickness = "0 mm"')
        assert text != MOTOR
        assert motor_from_text(text, folder / "bare.toml").motors.liner.thickness.tolist() == [0.0]

    def test_a_byte_order_mark_and_windows_line_ends(self, folder):
        (folder / "w.toml").write_bytes(b"\xef\xbb\xbf" + MOTOR.replace("\n", "\r\n").encode())
        assert load_motor(folder / "w.toml").motors.case.wall.tolist() == [0.125 * 0.0254]
        (folder / "w.toml").write_bytes(MOTOR.replace('wall = "0.125 in"', "wall = 3").replace("\n", "\r\n").encode())
        assert problems_of(load_motor, folder / "w.toml")[0].line == MOTOR[: MOTOR.index("wall")].count("\n") + 1

    def test_a_material_of_ones_own(self, folder):
        text = changed(MOTOR, 'material = "6061-T6"\nouter', 'material = "club tube"\nouter')
        text += '\n[materials."club tube"]\nkind = "metal"\nyield_strength = "30 ksi"\ntensile_strength = "38 ksi"\n'
        motor = motor_from_text(text, folder / "own.toml")
        assert motor.motors.case.material.yield_strength == pytest.approx(30e3 * 6894.757293168361)
        again = motor_from_text(motor_text(motor), folder / "again.toml")
        assert again.motors.case.material.name == "club tube"

    def test_digest_changes_with_the_propellant_file(self, folder):
        head = "schema = 1\n" + MOTOR[MOTOR.index("density") : MOTOR.index("[[grain]]")].replace("propellant.rate", "rate")
        (folder / "p.toml").write_text(head)
        rest = MOTOR[MOTOR.index("[[grain]]") :]
        (folder / "m.toml").write_text('schema = 1\n[propellant]\nuse = "p.toml"\n' + rest)
        first = load_motor(folder / "m.toml")
        assert first.motors.propellant.name == "p" and len(first.sources) == 2
        (folder / "p.toml").write_text(head + "# a remark\n")
        assert load_motor(folder / "m.toml").digest != first.digest
        motor = load_motor(folder / "motor.toml").motors.propellant
        assert np.array_equal(first.motors.propellant.rate, motor.rate)

    def test_erosive_constants(self, folder):
        text = changed(MOTOR, 'erosive = "none"', 'erosive = "lenoir-robillard"')
        text = changed(
            text,
            "[[propellant.rate]]",
            '[propellant.erosive_constants]\nbeta = 60\nviscosity = "8e-5 Pa*s"\n\n[[propellant.rate]]',
        )
        assert motor_from_text(text, folder / "e.toml").motors.propellant.erosive_constants == {
            "beta": 60.0,
            "viscosity": 8e-5,
        }


def case(old, new, key, value, code, says, cure=""):
    return pytest.param(old, new, key, value, code, says, cure, id=f"{code} {(new.splitlines() or ['-'])[-1][:40]}")


BROKEN_MOTORS = [
    # old, new; then the key, the value as shown, the code, what is said, the cure
    case('wall = "0.125 in"', "wall = 3.2", "case.wall", "3.2", "E101", "bare number", 'wall = "3.2 mm"'),
    case('wall = "0.125 in"', 'wall = "3.2"', "case.wall", '"3.2"', "E101", "no unit", '"3.2 mm"'),
    case('wall = "0.125 in"', 'wall = "0.75 kg"', "case.wall", '"0.75 kg"', "E103", "a mass; expected a length", "mm"),
    case('wall = "0.125 in"', 'wall = "0,125 in"', "case.wall", '"0,125 in"', "E102", "comma", '"0.125 in"'),
    case('wall = "0.125 in"', "wall = '0.125\"'", "case.wall", '"0.125""', "E104", "inch mark", "0.75 in"),
    case('wall = "0.125 in"', 'wall = "3 Mm"', "case.wall", '"3 Mm"', "E104", "million", "mm"),
    case('wall = "0.125 in"', 'wall = "nan mm"', "case.wall", '"nan mm"', "E105", "finite"),
    case('wall = "0.125 in"', 'wall = "inf mm"', "case.wall", '"inf mm"', "E105", "finite"),
    case('wall = "0.125 in"', "wall = nan", "case.wall", "NaN", "E105", "finite"),
    case('wall = "0.125 in"', 'wall = "-3 mm"', "case.wall", '"-3 mm"', "E106", "negative", "0.2 mm to 25 mm"),
    case('wall = "0.125 in"', 'wall = "0 mm"', "case.wall", '"0 mm"', "E106", "zero"),
    case('wall = "0.125 in"', 'wall = "5.1 in"', "case.wall", '"5.1 in"', "E107", "129.5 mm (5.1 in)", "slipped decimal point?"),
    case('wall = "0.125 in"', "wall = true", "case.wall", "true", "E108", "true or false"),
    case('wall = "0.125 in"', "wall = 1979-05-27", "case.wall", "1979-05-27", "E108", "date"),
    case('wall = "0.125 in"', 'wall = ["3 mm"]', "case.wall", '["3 mm"]', "E108", "list"),
    case('wall = "0.125 in"', 'thickness_of_wall = "3 mm"', "case.wall", "", "E112", "missing", "add wall"),
    case("gamma = 1.21", "gamma = 0.9", "propellant.gamma", "0.9", "E106", "out of range", "more than 1"),
    case("gamma = 1.21", "gamma = 121", "propellant.gamma", "121", "E106", "out of range"),
    case("gamma = 1.21", 'gamma = "1.21"', "propellant.gamma", '"1.21"', "E101", "quotes", "1.21 without quotes"),
    case("gamma = 1.21", "gamma = inf", "propellant.gamma", "Infinity", "E105", "finite"),
    case("gamma = 1.21", "gamma = 1e999999999", "propellant.gamma", "1E+999999999", "E105", "finite"),
    case("gamma = 1.21", "gamma = " + "9" * 2000, "propellant.gamma", "999", "E105", "digits"),
    case("exponent = 0.33", "exponent = 1.0", "propellant.rate[1].exponent", "1.0", "E106", "out of range", "less than 1"),
    case("exponent = 0.33", "exponent = 1.4", "propellant.rate[1].exponent", "1.4", "E106", "runs away"),
    case('from = "5 MPa"', 'from = "5.5 MPa"', "propellant.rate[2].from", '"5.5 MPa"', "E132", "gap", "5 MPa"),
    case('from = "5 MPa"', 'from = "4.5 MPa"', "propellant.rate[2].from", '"4.5 MPa"', "E132", "overlaps", "5 MPa"),
    case('from = "5 MPa"\nto = "9 MPa"', 'from = "0.1 MPa"\nto = "0.7 MPa"', "propellant.rate[2].from", '"0.1 MPa"', "E132", "order"),
    case('to = "5 MPa"\nrate', 'to = "0.5 MPa"\nrate', "propellant.rate[1].to", '"0.5 MPa"', "E132", "not above from"),
    case('erosive = "none"', 'erosive = "mukunda"', "propellant.erosive", '"mukunda"', "E113", "choice", "mukunda-paul"),
    case('erosive = "none"', 'erosiv = "none"', "propellant.erosiv", '"none"', "E110", "unknown key", "'erosive'"),
    case('density = "1700 kg/m^3"', 'density = "1.7 kg/m^3"', "propellant.density", '"1.7 kg/m^3"', "E107", "unlikely", "wrong unit?"),
    case('density = "1700 kg/m^3"', 'density = "1700 kg/m3"', "propellant.density", '"1700 kg/m3"', "E104", "m3", "m^3"),
    case('core_diameter = "16 mm"', 'core_diameter = "46 mm"', "grain[1].core_diameter", '"46 mm"', "E130", "46 mm (1.811 in)"),
    case('core_diameter = "16 mm"', 'core_diameter = "60 mm"', "grain[1].core_diameter", '"60 mm"', "E130", "not inside"),
    case('core_diameter = "16 mm"\nburning_ends = 2', 'core_diameter = "0 mm"\nburning_ends = 0', "grain[1].burning_ends", "0", "E137", "nothing to burn"),
    case('core_diameter = "16 mm"\nburning_ends = 2', 'core_diameter = "0 mm"\nburning_ends = 1', "grain[1].count", "3", "E139", "cannot get out", "end burner"),
    case("burning_ends = 2", "burning_ends = 3", "grain[1].burning_ends", "3", "E106", "beyond reason", "0 to 2"),
    case("count = 3", "count = 3.5", "grain[1].count", "3.5", "E109", "whole"),
    case("count = 3", "count = 0", "grain[1].count", "0", "E106", "too few"),
    case("count = 3", "count = -3", "grain[1].count", "-3", "E106", "negative"),
    case("count = 3", "count = 100000", "grain[1].count", "100000", "E106", "beyond reason", "1 to 100"),
    case("count = 3", "count = " + "9" * 400, "grain[1].count", "999", "E106", "beyond reason"),
    case("count = 3", "count = 1e400", "grain[1].count", "1E+400", "E105", "finite"),
    case("count = 3", 'count = "three"', "grain[1].count", '"three"', "E108", "text", "count = 4"),
    case("count = 3", "count = 50", "case.length", '"520 mm"', "E134", "shorter than the grains"),
    case('outer_diameter = "46 mm"', 'outer_diameter = "49 mm"', "grain[1].outer_diameter", '"49 mm"', "E133", "wider than the room", "47.6 mm"),
    case('exit_diameter = "34 mm"', 'exit_diameter = "13 mm"', "nozzle.exit_diameter", '"13 mm"', "E131", "smaller than the throat"),
    case('half_angle = "14 deg"', 'half_angle = "95 deg"', "nozzle.half_angle", '"95 deg"', "E106", "out of range", "0 deg to 45 deg"),
    case('half_angle = "14 deg"', 'half_angle = "-5 deg"', "nozzle.half_angle", '"-5 deg"', "E106", "negative"),
    case('half_angle = "14 deg"', "half_angle = 14", "nozzle.half_angle", "14", "E101", "angle", "deg"),
    case("efficiency = 0.95", "efficiency = 1.05", "nozzle.efficiency", "1.05", "E106", "out of range", "0.3 to 1"),
    case("efficiency = 0.95", 'throat_recession = "0.1 mm/s"', "nozzle.throat_recession_at", "", "E112", "missing"),
    case('wall = "0.125 in"', 'wall = "0.9 in"', "grain[1].outer_diameter", '"46 mm"', "E133", "8.23 mm", "bore 11.43 mm"),
    case('outer_diameter = "2.25 in"\nwall = "0.125 in"', 'outer_diameter = "20 mm"\nwall = "10 mm"', "case.wall", '"10 mm"', "E135", "half"),
    case('thickness = "1.6 mm"', 'thickness = "30 mm"', "liner.thickness", '"30 mm"', "E133", "fills the bore"),
    case('material = "6061-T6"', 'material = "6061-T7"', "case.material", '"6061-T7"', "E120", "not a material", "6061-T6"),
    case('material = "paper-phenolic"', 'material = "paper phenolik"', "liner.material", '"paper phenolik"', "E120", "not a material", "paper-phenolic"),
    case('screw = "#10-24 UNC"', 'screw = "M3.7"', "forward_closure.screw", '"M3.7"', "E121", "not a screw", "M"),
    case('grade = "A2-70"', 'grade = "A2-75"', "forward_closure.grade", '"A2-75"', "E122", "not a grade", "A2-70"),
    case('retention = "radial-screws"', 'retention = "screws"', "forward_closure.retention", '"screws"', "E113", "choice", "radial-screws"),
    case("count = 8", 'count = 8\ngroove_depth = "2 mm"', "forward_closure.groove_depth", '"2 mm"', "E115", "snap-ring"),
    case("count = 8", 'count = 8\nhole_diameter = "4 mm"', "forward_closure.hole_diameter", '"4 mm"', "E138", "smaller than the screw", "4.826 mm"),
    case('dash = "-222"', 'dash = "-999"', "forward_closure.seal.dash", '"-999"', "E124", "AS568"),
    case('gland_depth = "2.8 mm"', 'gland_depth = "3.6 mm"', "forward_closure.seal.gland_depth", '"3.6 mm"', "E138", "squeeze"),
    case("rings = 2", 'rings = 2\ndiameter = "5.1 mm"', "forward_closure.seal.diameter", '"5.1 mm"', "E138", "no bore of this case", "50.8 mm"),
    case("rings = 2", 'rings = 2\ndiameter = "55 mm"', "forward_closure.seal.diameter", '"55 mm"', "E138", "no bore of this case"),
    case("count = 8", 'count = 8\nring_thickness = "80 mm"', "forward_closure.ring_thickness", '"80 mm"', "E138", "thicker than half the bore", "50.8 mm"),
    case('groove_depth = "1.5 mm"', 'groove_depth = "0.13 in"', "aft_closure.groove_depth", '"0.13 in"', "E138", "as deep as the wall", "3.175 mm"),
    case('exit_diameter = "34 mm"', 'exit_diameter = "300 mm"', "nozzle.exit_diameter", '"300 mm"', "E138", "too wide for any nozzle", "13.5 mm"),
    case('half_angle = "14 deg"', 'half_angle = "14 deg"\nlength_in_case = "530 mm"', "nozzle.length_in_case", '"530 mm"', "E138", "as long as the case", "520 mm"),
    case('soak = ["-5 degC", "40 degC"]', 'soak = ["40 degC", "-5 degC"]', "ambient.soak", '["40 degC", "-5 degC"]', "E136", "warm to cold"),
    case('soak = ["-5 degC", "40 degC"]', 'soak = "40 degC"', "ambient.soak", '"40 degC"', "E108", "list"),
    case('soak = ["-5 degC", "40 degC"]', "soak = [-5, 40]", "ambient.soak[1]", "-5", "E101", "temperature"),
    case('soak = ["-5 degC", "40 degC"]', 'soak = ["-5 F", "40 degC"]', "ambient.soak[1]", '"-5 F"', "E104", "thermometer", "degF"),
    case("yield = 1.5", "yeild = 1.5", "factors.yeild", "1.5", "E110", "unknown key", "'yield'"),
    case("yield = 1.5", "yield = 0.5", "factors.yield", "0.5", "E106", "out of range", "1 to 20"),
    case("[factors]", "[factor]", "factor", "{yield = 1.5}", "E111", "unknown table", "'factors'"),
    case("schema = 1", "schema = 2", "schema", "2", "E114", "version", "schema = 1"),
    case("schema = 1", "", "schema", "", "E112", "missing"),
    case("schema = 1", "schema = 1\nthroat_diameter = \"3 mm\"", "throat_diameter", '"3 mm"', "E110", "unknown key", "[nozzle]"),
    case("[nozzle]", "[nozle]", "nozzle", "", "E112", "missing", "[nozzle]"),
    case("throat_diameter = {plus", "throte_diameter = {plus", "tolerances.throte_diameter", '{plus_minus = "0.05 mm"}', "E158", "names nothing", "'throat_diameter'"),
    case('{plus_minus = "0.05 mm"}', '"0.05 mm"', "tolerances.throat_diameter", '"0.05 mm"', "E158", "kind of scatter", "plus_minus"),
    case('{plus_minus = "0.05 mm"}', '{plusminus = "0.05 mm"}', "tolerances.throat_diameter.plusminus", '"0.05 mm"', "E110", "unknown", "plus_minus"),
    case('{plus_minus = "0.05 mm"}', '{plus_minus = "5 mm"}', "tolerances.throat_diameter.plus_minus", '"5 mm"', "", "", ""),
    case('{plus_minus = "0.05 mm"}', '{plus_minus = "9 mm"}', "tolerances.throat_diameter.plus_minus", '"9 mm"', "E107", "67%", "slipped"),
    case('{plus_minus = "0.05 mm"}', '{plus_minus = "-1 mm"}', "tolerances.throat_diameter.plus_minus", '"-1 mm"', "E106", "negative"),
    case('{plus_minus = "0.05 mm"}', '{minus = "1 %", plus = "1 mm"}', "tolerances.throat_diameter", '{minus = "1 %", plus = "1 mm"}', "E158", "mixes"),
    case('temperature = {plus', 'grain_count = {plus', "tolerances.grain_count", '{plus_minus = "2 degC"}', "E158", "names nothing"),
]  # fmt: skip


class TestBrokenMotors:
    @pytest.mark.parametrize(("old", "new", "key", "value", "code", "says", "cure"), BROKEN_MOTORS)
    def test_names_file_line_key_value_and_cure(self, folder, old, new, key, value, code, says, cure):
        text = changed(MOTOR, old, new)
        (folder / "broken.toml").write_text(text)
        if not code:  # the neighbour that is still allowed
            assert load_motor(folder / "broken.toml")
            return
        problems = problems_of(load_motor, folder / "broken.toml")
        found = [item for item in problems if item.code == code and item.key == key]
        assert found, [str(item) for item in problems]
        problem = found[0]
        assert problem.file == str(folder / "broken.toml")
        assert problem.value.startswith(value) if len(value) == 3 else problem.value == value
        assert says in problem.problem
        assert cure in problem.fix
        line = text.splitlines()[problem.line - 1] if problem.line else ""
        name = re.sub(r"\[\d+\]$", "", key).split(".")[-1]
        if value:
            assert name in line, (problem.line, line)
        shown = str(problem)
        assert shown.splitlines()[1].startswith("    problem: ") and shown.splitlines()[2].startswith("    fix:     ")

    def test_at_least_thirty_kinds(self):
        codes = {item.values[4] for item in BROKEN_MOTORS}
        assert len(codes) >= 25 and len(BROKEN_MOTORS) >= 60

    def test_several_are_told_together_in_order(self, folder):
        text = changed(MOTOR, 'wall = "0.125 in"', "wall = 3")
        text = changed(text, 'half_angle = "14 deg"', 'half_angel = "14 deg"')
        text = changed(text, "gamma = 1.21", "gamma = 2.5")
        (folder / "broken.toml").write_text(text)
        problems = problems_of(load_motor, folder / "broken.toml")
        assert [item.code for item in problems] == ["E106", "E110", "E101"]
        assert [item.line for item in problems] == sorted(item.line for item in problems)

    def test_a_flood_is_cut(self, folder):
        (folder / "broken.toml").write_text("schema = 1\n" + "".join(f"key{place} = 1\n" for place in range(500)))
        with pytest.raises(InputError) as caught:
            load_motor(folder / "broken.toml")
        assert len(caught.value.problems) > 500 and len(str(caught.value).splitlines()) < 100
        assert f"{len(caught.value.problems)} problems in" in str(caught.value)

    def test_control_characters_are_not_printed(self, folder):
        text = changed(MOTOR, 'material = "6061-T6"', 'material = "\\u001b[31m\\u0000x"')
        (folder / "broken.toml").write_text(text)
        assert "\x1b" not in str(problems_of(load_motor, folder / "broken.toml")[0])


class TestFiles:
    def refuse(self, path, code, says, line=0):
        (problem,) = problems_of(load_motor, path)
        assert problem.code == code and says in f"{problem.problem} {problem.fix}"
        assert not line or problem.line == line
        return problem

    def test_missing(self, folder):
        self.refuse(folder / "motr.toml", "E142", "did you mean 'motor.toml'")

    def test_missing_folder(self, folder):
        self.refuse(folder / "no" / "motor.toml", "E142", "no folder")

    def test_folder(self, folder):
        self.refuse(folder, "E143", "folder")

    def test_pipe(self, folder):
        os.mkfifo(folder / "pipe")
        self.refuse(folder / "pipe", "E143", "plain file")

    def test_device(self):
        self.refuse(Path("/dev/zero"), "E143", "plain file")

    def test_nul_in_the_name(self):
        with pytest.raises(InputError, match="NUL"):
            load_motor("a\0b")

    def test_name_too_long(self):
        with pytest.raises(InputError, match="E146"):
            load_motor("x" * 5000)

    def test_huge(self, folder):
        (folder / "huge.toml").write_bytes(b"#" * 5_000_000)
        self.refuse(folder / "huge.toml", "E144", "1000000")

    def test_not_utf8(self, folder):
        (folder / "latin.toml").write_bytes(MOTOR.encode() + 'note = "5 °"\n'.encode("latin-1"))
        self.refuse(folder / "latin.toml", "E141", "UTF-8", MOTOR.count("\n") + 1)

    def test_utf16(self, folder):
        (folder / "wide.toml").write_bytes(MOTOR.encode("utf-16"))
        self.refuse(folder / "wide.toml", "E141", "UTF-16")

    def test_empty(self, folder):
        (folder / "empty.toml").write_text("")
        assert {item.key for item in problems_of(load_motor, folder / "empty.toml")} == {
            "schema",
            "propellant",
            "grain",
            "nozzle",
        }

    def test_not_toml(self, folder):
        (folder / "bad.toml").write_text(changed(MOTOR, 'wall = "0.125 in"', "wall = 3 mm"))
        line = MOTOR[: MOTOR.index("wall =")].count("\n") + 1
        self.refuse(folder / "bad.toml", "E140", '"13 mm"', line)

    def test_unended(self, folder):
        (folder / "bad.toml").write_text('schema = 1\nname = "x')
        self.refuse(folder / "bad.toml", "E140", "not TOML", 2)

    def test_key_twice(self, folder):
        (folder / "bad.toml").write_text(changed(MOTOR, 'wall = "0.125 in"', 'wall = "3 mm"\nwall = "4 mm"'))
        self.refuse(folder / "bad.toml", "E140", "twice")

    def test_table_twice(self, folder):
        (folder / "bad.toml").write_text(MOTOR + "\n[case]\n")
        self.refuse(folder / "bad.toml", "E140", "twice")

    @pytest.mark.parametrize("text", ["a = " + "[" * 5000 + "]" * 5000, "a = " + "{a = " * 3000 + "1" + "}" * 3000])
    def test_deep(self, folder, text):
        (folder / "deep.toml").write_text(text)
        assert self.refuse(folder / "deep.toml", "E145", "deep")

    def test_deep_but_parseable(self, folder):
        (folder / "deep.toml").write_text("a = " + "[" * 50 + "]" * 50)
        self.refuse(folder / "deep.toml", "E145", "deep")

    def test_dots(self, folder):
        (folder / "dots.toml").write_text(".".join(["a"] * 300_000) + " = 1\n")
        self.refuse(folder / "dots.toml", "E145", "dots", 1)

    @pytest.mark.slow
    @pytest.mark.parametrize(
        "text",
        [
            "a" * 900_000,
            "#" + "a b" * 300_000,
            "a = '" + "a." * 400_000 + "'",
            "".join(f"k{place} = 1\n" for place in range(80_000)),
            "[[a]]\n" * 150_000,
            "a = [" + "1," * 400_000 + "]",
            'a = """' + '\n""' * 300_000 + '"""',
            "a = " + "1_0" * 300_000,
            " " * 900_000 + "a",
            "a" + " " * 900_000 + ".",
            "a = [" + "{b = 1}, " * 100_000 + "]",
        ],
        ids=range(11),
    )
    def test_a_large_file_is_refused_without_a_long_wait(self, folder, text):
        (folder / "large.toml").write_text(text)
        with pytest.raises(InputError):  # quadratic work would take hours here
            load_motor(folder / "large.toml")

    def test_digits(self, folder):
        (folder / "digits.toml").write_text("a = " + "9" * 100_000)
        self.refuse(folder / "digits.toml", "E140", "digits")

    def test_unreadable(self, folder, monkeypatch):
        def closed(*_):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("builtins.open", closed)
        self.refuse(folder / "motor.toml", "E146", "ermission")

    def test_propellant_missing_is_told_at_the_line_that_names_it(self, folder):
        text = 'schema = 1\n[propellant]\nuse = "propelant.toml"\n' + MOTOR[MOTOR.index("[[grain]]") :]
        (folder / "propellant.toml").write_text("schema = 1\n")
        (folder / "m.toml").write_text(text)
        problem = self.refuse(folder / "m.toml", "E142", "did you mean 'propellant.toml'", 3)
        assert problem.key == "propellant.use"

    def test_propellant_that_is_the_motor_itself(self, folder):
        text = 'schema = 1\n[propellant]\nuse = "m.toml"\n' + MOTOR[MOTOR.index("[[grain]]") :]
        (folder / "m.toml").write_text(text)
        with pytest.raises(InputError):
            load_motor(folder / "m.toml")

    def test_use_beside_other_keys(self, folder):
        (folder / "m.toml").write_text(changed(MOTOR, 'density = "1700 kg/m^3"', 'use = "p.toml"\ndensity = "1700 kg/m^3"'))
        with pytest.raises(InputError, match="E115"):
            load_motor(folder / "m.toml")


BROKEN_STUDIES = [
    case('motor = "motor.toml"', 'motor = "moter.toml"', "motor", '"moter.toml"', "E142", "no such file", "motor.toml"),
    case('impulse_class = "K"', 'impulse_class = "Ж"', "target.impulse_class", '"Ж"', "E113", "impulse class"),
    case('impulse_class = "K"', 'impulse = ["2 kN*s", "1 kN*s"]', "target.impulse", '["2 kN*s", "1 kN*s"]', "E157", "wrong way"),
    case('impulse_class = "K"', 'impulse = ["2 kN", "3 kN"]', "target.impulse[1]", '"2 kN"', "E103", "a force; expected an impulse"),
    case("grain.0.count = {", "grain_cuont = {", "search.grain_cuont", "{from = 2, to = 8}", "E150", "vary", "'grain_count'"),
    case("{from = 2, to = 8}", "{from = 8, to = 2}", "search.grain.0.count.to", "2", "E157", "below from"),
    case("{from = 2, to = 8}", "{from = 2, to = 8.5}", "search.grain.0.count.to", "8.5", "E109", "whole"),
    case("{from = 2, to = 8}", "{from = 2, to = 8, step = 0}", "search.grain.0.count.step", "0", "E154", "never end"),
    case("{from = 2, to = 8}", "{from = 2, to = 8, step = -1}", "search.grain.0.count.step", "-1", "E154", "never end"),
    case("{from = 2, to = 8}", "{from = 2, to = 9, step = 2}", "search.grain.0.count.to", "9", "E153", "steps", "to = 8 or to = 10"),
    case("{from = 2, to = 8}", "{from = 2, to = 999999999}", "search.grain.0.count.to", "999999999", "E106", "beyond reason"),
    case("{from = 2, to = 8}", "{from = 2}", "search.grain.0.count", "{from = 2}", "E112", "no 'to'"),
    case("{from = 2, to = 8}", "{from = 2, two = 8}", "search.grain.0.count.two", "8", "E110", "unknown key", "'to'"),
    case("{from = 2, to = 8}", "[]", "search.grain.0.count", "[]", "E156", "empty"),
    case("{from = 2, to = 8}", "[2, 3, 2]", "search.grain.0.count[3]", "2", "E115", "twice"),
    case("{from = 2, to = 8}", '["two"]', "search.grain.0.count[1]", '"two"', "E108", "text"),
    case('step = "0.25 mm"', 'step = "0.3 mm"', "search.throat_diameter.to", '"20 mm"', "E153", "steps", '"19.8 mm" or to = "20.1 mm"'),
    case('step = "0.25 mm"', 'step = "0 mm"', "search.throat_diameter.step", '"0 mm"', "E154", "never end"),
    case('step = "0.25 mm"', 'step = "-1 mm"', "search.throat_diameter.step", '"-1 mm"', "E154", "never end"),
    case('step = "0.25 mm"', 'step = "0.01 in"', "search.throat_diameter", '{from = "9 mm", to = "20 mm", step = "0.01 in"}', "E153", "mixes units"),
    case('step = "0.25 mm"', 'step = "1e-9 mm"', "search.throat_diameter", '{from = "9 mm", to = "20 mm", step = "1e-9 mm"}', "E155", "values"),
    case('step = "0.25 mm"', "step = 0.25", "search.throat_diameter.step", "0.25", "E101", "bare number"),
    case('to = "20 mm", step', 'to = "20 m", step', "search.throat_diameter.to", '"20 m"', "E107", "unlikely"),
    case('stock = "tube-6061"', 'stock = "tube-6016"', "search.wall.stock", '"tube-6016"', "E123", "stock list", "tube-6061"),
    case('stock = "tube-6061"', 'stock = "drills-metric"', "search.wall.stock", '"drills-metric"', "E123", "suit"),
    case('stock = "tube-6061"', 'stock = "../../etc/passwd"', "search.wall.stock", '"../../etc/passwd"', "E123", "stock list"),
    case('from = "10 mm", to = "20 mm"}', 'from = "20 mm", to = "10 mm"}', "search.grain.0.core_diameter.to", '"10 mm"', "E157", "nothing"),
    case("forward_closure.count = {", "aft_closure.count = {", "search.aft_closure.count", "{from = 4, to = 12, step = 2}", "E159", "does not have", "radial-screws"),
    case('["#8-32 UNC", "#10-24 UNC"]', '["#8-32 UNC", "#9-24 UNC"]', "search.forward_closure.screw[2]", '"#9-24 UNC"', "E121", "screw"),
    case('grain_length = "fill"', 'grain_length = "full"', "search.grain_length", '"full"', "E102", "number"),
    case('grain_length = "fill"', 'hold = "outside"', "search.hold", '"outside"', "E113", "choice", "outer-diameter"),
    case('maximum_pressure = "9 MPa"', 'maximum_presure = "9 MPa"', "limits.maximum_presure", '"9 MPa"', "E151", "limited", "'maximum_pressure'"),
    case('maximum_pressure = "9 MPa"', 'maximum_pressure = {least = "1 MPa"}', "limits.maximum_pressure.least", '"1 MPa"', "E110", "min"),
    case('maximum_pressure = "9 MPa"', 'impulse_class = ["H", "I"]', "limits.impulse_class", '["H", "I"]', "E151", "aims at", "[target]"),
    case('maximum_pressure = "9 MPa"', "maximum_pressure = 9", "limits.maximum_pressure", "9", "E101", "bare number", '"9 MPa"'),
    case("{min = 2.0}", "{min = 3.0, max = 2.0}", "limits.port_over_throat", "{min = 3.0, max = 2.0}", "E157", "wrong way"),
    case("{min = 2.0}", "{minimum = 2.0}", "limits.port_over_throat.minimum", "2.0", "E110", "min"),
    case("{min = 2.0}", "2.0", "limits.port_over_throat", "2.0", "E108", "bounds", "{min ="),
    case("{min = 2.0}", '{min = "2 mm"}', "limits.port_over_throat.min", '"2 mm"', "E103", "a length"),
    case("{min = 2.0}", "{min = nan}", "limits.port_over_throat.min", "NaN", "E105", "finite"),
    case("port_over_throat =", "port_to_throat_area =", "limits.port_to_throat_area", "{min = 2.0}", "E151", "limited", "is now called port_over_throat"),
    case("port_over_throat = {min", "peak_mass_flux = {max", "limits.peak_mass_flux", "{max = 2.0}", "E151", "limited", "is now called highest_mass_flux"),
    case('loaded_mass = "min"', 'peak_kn = "min"', "objectives.peak_kn", '"min"', "E152", "aimed", "is now called highest_kn"),
    case('loaded_mass = "min"', 'initial_kn = "min"', "objectives.initial_kn", '"min"', "E152", "aimed", "is now called kn_at_ignition"),
    case('loaded_mass = "min"', 'peak_port_mach = "min"', "objectives.peak_port_mach", '"min"', "E152", "aimed", "is now called highest_port_mach"),
    case('"screw shear" = 2.0', '"screw sheer" = 2.0', "limits.minimum_factor", "", "E151", "rung", "'screw shear'"),
    case('"screw shear" = 2.0', '"screw shear" = -2.0', "limits.minimum_factor", "", "E106", "negative"),
    case("grain.0.core_diameter = {", "core_diameter = {", "search.core_diameter", "", "E159", "differ in it (16.00 mm, 18.00 mm)", "grain.0.core_diameter, grain.1.core_diameter"),
    case("grain.0.count = {", "grain_count = {", "search.grain_count", "{from = 2, to = 8}", "E159", "2 rows of grains", "grain.0.count, grain.1.count"),
    case('grain_length = "fill"', 'core_diameter_aft = ["19 mm"]\naft_count = [1]', "search.core_diameter_aft", "", "E159", "2 rows of grains", "grain.1.core_diameter"),
    case('loaded_mass = "min"', 'loaded_mas = "min"', "objectives.loaded_mas", '"min"', "E152", "aimed", "'loaded_mass'"),
    case('loaded_mass = "min"', 'loaded_mass = "least"', "objectives.loaded_mass", '"least"', "E113", "min nor max"),
    case("[objectives]", "[goals]", "objectives", "", "E112", "missing"),
    case("[search]", "[serch]", "search", "", "E112", "missing"),
    case("seed = 7", "seed = -7", "driver.seed", "-7", "E106", "negative"),
    case("seed = 7", "budget = 0", "driver.budget", "0", "E106", "too few"),
    case("seed = 7", 'method = "magic"', "driver.method", '"magic"', "E113", "choice", "exhaustive"),
    case("seed = 7", 'store = "mysql://u:secret@h/d"', "driver.store", '"..."', "E113", "store"),
]  # fmt: skip


class TestBrokenStudies:
    @pytest.mark.parametrize(("old", "new", "key", "value", "code", "says", "cure"), BROKEN_STUDIES)
    def test_names_file_line_key_value_and_cure(self, folder, old, new, key, value, code, says, cure):
        text = changed(STUDY, old, new)
        (folder / "broken.toml").write_text(text)
        problems = problems_of(load_study, folder / "broken.toml")
        found = [item for item in problems if item.code == code and item.key.startswith(key)]
        assert found, [str(item) for item in problems]
        problem = found[0]
        assert not value or problem.value == value
        assert says in problem.problem and cure in problem.fix
        assert "secret" not in str(problem)

    def test_problems_of_the_motor_are_told_with_its_file(self, folder):
        (folder / "motor.toml").write_text(changed(MOTOR, 'wall = "0.125 in"', "wall = 3"))
        with pytest.raises(InputError) as caught:
            load_study(folder / "study.toml")
        assert caught.value.problems[0].file == str(folder / "motor.toml")

    def test_no_tube_of_that_diameter(self, folder):
        (folder / "motor.toml").write_text(changed(MOTOR, 'outer_diameter = "2.25 in"', 'outer_diameter = "2.2 in"'))
        (problem,) = problems_of(load_study, folder / "study.toml")
        assert problem.code == "E156" and "2.250 in" in problem.fix


class TestStudy:
    def test_as_written(self, folder):
        study = load_study(folder / "study.toml")
        assert study.target == (1280.0, 2560.0) and study.target_open and study.impulse_class == "K"
        assert list(study.variables) == [
            "grain.0.count", "grain.0.core_diameter", "throat_diameter", "wall", "forward_closure.count", "forward_closure.screw",
        ]  # fmt: skip
        assert study.grain_length_mode == "fill" and study.hold == "outer-diameter" and not study.case_follows
        throats = study.variables["throat_diameter"]
        assert throats.count == 45 and throats.item(1).text == "9.25 mm" and throats.item(44).si == 0.02
        assert throats.column == "nozzle.throat_diameter" and throats.dimension == "length"
        assert study.variables["grain.0.count"].whole and study.variables["grain.0.count"].si.tolist() == [
            2,
            3,
            4,
            5,
            6,
            7,
            8,
        ]
        assert {item.text for item in study.variables["wall"].values} == {
            "0.065 in",
            "0.083 in",
            "0.125 in",
            "0.250 in",
        }
        assert study.variables["wall"].item(0).extra["outer_diameter"] == 2.25 * 0.0254
        assert study.size == 7 * study.variables["grain.0.core_diameter"].count * 45 * 4 * 5 * 2
        assert [(limit.name, limit.quantity, limit.minimum, limit.maximum) for limit in study.limits] == [
            ("maximum_pressure", "maximum_expected_pressure", None, 9e6),
            ("port_over_throat", "port_over_throat", 2.0, None),
        ]
        assert study.minimum_factor == {"screw shear": 2.0, "case yield": 1.5}
        assert [(aim.name, aim.sense, aim.sign) for aim in study.objectives] == [
            ("loaded_mass", "min", 1.0), ("smallest_factor", "max", -1.0),
        ]  # fmt: skip
        assert study.driver.seed == 7 and study.driver.method == "auto" and study.driver.budget == 20000

    def test_digest_covers_motor_and_stock(self, folder):
        first = load_study(folder / "study.toml").digest
        (folder / "motor.toml").write_text(MOTOR + "# a remark\n")
        second = load_study(folder / "study.toml").digest
        (folder / "tube-6061.csv").write_text("name,outer_diameter [in],wall [in]\na,2.25,0.125\n")
        third = load_study(folder / "study.toml")
        assert len({first, second, third.digest}) == 3 and third.variables["wall"].count == 1

    def test_bore_held_takes_walls_without_their_outside(self, folder):
        (folder / "s.toml").write_text(changed(STUDY, 'grain_length = "fill"', 'hold = "bore"'))
        study = load_study(folder / "s.toml")
        assert [item.text for item in study.variables["wall"].values] == ["0.125 in", "0.250 in"] and not study.cautions
        (folder / "motor.toml").write_text(changed(MOTOR, 'wall = "0.125 in"', 'wall = "0.12 in"'))
        study = load_study(folder / "s.toml")
        assert study.variables["wall"].count == 9 and "outer_diameter" not in study.variables["wall"].item(0).extra
        assert "turned, not bought" in study.cautions[0]

    def test_names_and_dotted_rows(self, folder):
        text = changed(STUDY, 'grain_length = "fill"', 'grain_length = "neutral"\ngrain.1.core_diameter = ["16 mm", "18 mm"]')
        text = changed(
            text,
            "wall = {",
            'case.material = ["6061-T6", "2024-T3"]\nexpansion_ratio = {from = 4, to = 6, step = 0.5}\nwall = {',
        )
        (folder / "s.toml").write_text(text)
        study = load_study(folder / "s.toml")
        assert study.variables["case.material"].item(1).extra["material"].name == "2024-T3"
        assert study.variables["expansion_ratio"].si.tolist() == [4.0, 4.5, 5.0, 5.5, 6.0]
        assert study.variables["grain.1.core_diameter"].count == 2 and study.grain_length_mode == "neutral"

    def test_a_long_range_needs_no_memory_and_is_exact(self, folder):
        text = changed(STUDY, 'to = "20 mm", step = "0.25 mm"', 'to = "20 mm", step = "0.00002 mm"')
        (folder / "s.toml").write_text(text)
        span = load_study(folder / "s.toml").variables["throat_diameter"]
        assert span.count == 550_001
        assert span.item(123_457).text == "11.46914 mm" and span.item(123_457).si == float(Decimal("0.01146914"))
        assert span.item(-1).si == 0.02

    @pytest.mark.parametrize(
        ("low", "high", "step", "count"),
        [("9 mm", "20 mm", "0.01 mm", 1101), ("0.4 in", "0.65 in", "0.001 in", 251), ("10 mm", "110.5 mm", "0.1 mm", 1006)],
    )
    def test_a_range_without_a_step_is_as_good_as_continuous(self, folder, low, high, step, count):
        whole = changed(STUDY, '{from = "9 mm", to = "20 mm", step = "0.25 mm"}', f'{{from = "{low}", to = "{high}"}}')
        (folder / "s.toml").write_text(whole)
        study = load_study(folder / "s.toml")
        span = study.variables["throat_diameter"]
        assert span.count == count and span.item(0).text == low and span.item(-1).text == high
        assert any(f"in steps of {step}" in text and text.startswith("throat_diameter") for text in study.cautions)

    @given(
        st.decimals(min_value="1", max_value="100", places=3),
        st.decimals(min_value="0.001", max_value="3", places=3),
        st.integers(0, 60),
    )
    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
    def test_every_item_of_a_range_reads_as_its_text(self, folder, start, step, steps):
        stop = start + step * steps
        text = changed(
            STUDY,
            '{from = "9 mm", to = "20 mm", step = "0.25 mm"}',
            f'{{from = "{start} mm", to = "{stop} mm", step = "{step} mm"}}',
        )
        (folder / "r.toml").write_text(text)
        span = load_study(folder / "r.toml").variables["throat_diameter"]
        assert span.count == steps + 1
        for place in {0, steps // 2, steps}:
            assert span.item(place).si == float((start + step * place) / 1000) == span.si[place]

    def test_propellants_are_read_from_beside_the_study(self, folder):
        head = "schema = 1\n" + MOTOR[MOTOR.index("density") : MOTOR.index("[[grain]]")].replace("propellant.rate", "rate")
        (folder / "p.toml").write_text(head)
        (folder / "s.toml").write_text(changed(STUDY, "wall = {", 'propellant = ["p.toml"]\nwall = {'))
        item = load_study(folder / "s.toml").variables["propellant"].item(0)
        assert item.text == "p.toml" and item.si is None and Path(item.extra["use"]).is_absolute()
        (folder / "s.toml").write_text(changed(STUDY, "wall = {", 'propellant = ["q.toml"]\nwall = {'))
        assert problems_of(load_study, folder / "s.toml")[0].key == "search.propellant[1]"


BROKEN_FIRINGS = [
    case('record = "firing.csv"', 'record = "fireing.csv"', "record", '"fireing.csv"', "E142", "no such file"),
    case('unit = "bar"', 'unit = "barg"', "columns.pressure.unit", '"barg"', "E104", "gauge", 'reference = "gauge"'),
    case('unit = "kgf"', 'unit = "kg"', "columns.thrust.unit", '"kg"', "E103", "force", "kgf"),
    case('unit = "s"', 'unit = "sec"', "columns.time.unit", '"sec"', "E104", "sec", "write s"),
    case('{name = "time_s", unit = "s"}', '"time_s"', "columns.time", '"time_s"', "E101", "unit"),
    case("thrust = {", "load = {", "columns.load", '{name = "load_kgf", unit = "kgf"}', "E110", "column"),
    case('reference = "gauge"', 'reference = "sealed"', "columns.pressure.reference", '"sealed"', "E113", "choice"),
    case('accuracy = "0.5 %"', 'accuracy = "50 bar"', "instruments.pressure.accuracy", '"50 bar"', "E103", "pressure"),
    case('pressure = {range', 'flow = {range', "instruments.flow", '{range = "100 bar", accuracy = "0.5 %"}', "E110", "no column"),
    case('end = "forward"', 'end = "front"', "observed.end", '"front"', "E113", "choice", "forward"),
    case('"closure gone"', '"closure missing"', "observed.found[1]", '"closure missing"', "E113", "choice", "closure gone"),
    case('time_of_failure = "0.4 s"', "time_of_failure = 0.4", "observed.time_of_failure", "0.4", "E101", "bare number"),
]  # fmt: skip


class TestFiring:
    def test_as_written(self, folder):
        firing = load_firing(folder / "firing.toml")
        assert firing.record == folder / "firing.csv" and firing.name == "firing"
        assert firing.columns["pressure"].gauge and not firing.columns["thrust"].gauge
        assert firing.columns["thrust"].kind == "thrust" and firing.columns["thrust"].unit == "kgf"
        assert firing.instruments["pressure"].range == 1e7 and firing.instruments["pressure"].accuracy == 0.005
        assert firing.observed.found == ("closure gone", "screws sheared") and firing.observed.time_of_failure == 0.4
        assert firing.motor is not None and firing.motor.name == "Test"

    def test_two_transducers(self, folder):
        text = changed(FIRING, "thrust = {", 'pressure_2 = {name = "p2", unit = "psi"}\nthrust = {')
        (folder / "f.toml").write_text(text)
        assert load_firing(folder / "f.toml").columns["pressure_2"].kind == "pressure"

    def test_observations_alone(self, folder):
        text = 'schema = 1\nmotor = "motor.toml"\n[observed]\nfound = "hot spot"\n'
        (folder / "f.toml").write_text(text)
        firing = load_firing(folder / "f.toml")
        assert firing.record is None and firing.observed.found == ("hot spot",) and firing.observed

    @pytest.mark.parametrize(("old", "new", "key", "value", "code", "says", "cure"), BROKEN_FIRINGS)
    def test_refused(self, folder, old, new, key, value, code, says, cure):
        (folder / "broken.toml").write_text(changed(FIRING, old, new))
        problems = problems_of(load_firing, folder / "broken.toml")
        found = [item for item in problems if item.code == code and item.key == key]
        assert found, [str(item) for item in problems]
        assert found[0].value == value and says in found[0].problem and cure in found[0].fix

    def test_nothing_to_go_on(self, folder):
        (folder / "f.toml").write_text('schema = 1\nmotor = "motor.toml"\n')
        assert problems_of(load_firing, folder / "f.toml")[0].code == "E112"


def leaves(part, path=""):
    """Every array leaf of a batch by its dotted column."""
    for item in dataclasses.fields(part):
        value = getattr(part, item.name)
        if isinstance(value, np.ndarray):
            yield f"{path}{item.name}", value
        elif dataclasses.is_dataclass(value) and type(value).__module__ == "physics.motors":
            yield from leaves(value, f"{path}{item.name}.")


def same(one, other):
    first, second = dict(leaves(one)), dict(leaves(other))
    assert first.keys() == second.keys()
    for name, value in first.items():
        assert np.array_equal(value, second[name]), name


class TestWriting:
    def test_unchanged_motor_reads_back_identically(self, folder):
        motor = load_motor(folder / "motor.toml")
        again = motor_from_text(motor_text(motor), folder / "again.toml")
        same(motor.motors, again.motors)
        assert again.motors.tolerances == motor.motors.tolerances and again.name == "Test"

    def test_through_the_document(self, folder):
        motor = load_motor(folder / "motor.toml")
        same(motor.motors, motor_from_document(motor.document, folder / "d.toml").motors)

    @given(
        st.floats(5.1e-3, 20e-3),
        st.floats(20e-3, 0.1),
        st.floats(0.005, 0.0159),
        st.floats(1e-6, 3e-6),
        st.floats(0.01, 0.5),
    )
    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None)
    def test_changed_numbers_read_back_to_the_same_float(self, folder, throat, exit_, core, gap, angle):
        motor = load_motor(folder / "motor.toml")
        changes = {
            "throat_diameter": throat, "nozzle.exit_diameter": exit_, "grain.0.core_diameter": core, "half_angle": angle,
            "forward_closure.seal.gap": gap, "case.wall": throat / 5 + 2e-4, "forward_closure.count": np.float64(10),
            "liner.thickness": None, "liner.gap": gap, "temperature": 280.0 + angle,
        }  # fmt: skip
        del changes["liner.thickness"]
        changes["case.wall"] = min(max(changes["case.wall"], 0.00151), 0.0031)
        text = motor_text(motor, changes, name="Changed")
        again = motor_from_text(text, folder / "again.toml").motors
        assert again.nozzle.throat_diameter[0] == throat and again.nozzle.exit_diameter[0] == exit_
        assert again.grain.core_diameter.tolist() == [[core, 0.018]] and again.nozzle.half_angle[0] == angle
        assert again.forward_closure.seal.gap[0] == gap and again.case.wall[0] == changes["case.wall"]
        assert again.forward_closure.screws.count[0] == 10 and again.ambient.temperature[0] == 280.0 + angle
        assert re.search(r'^wall = ".* in"$', text, re.MULTILINE) and re.search(r'^throat_diameter = ".* mm"$', text, re.MULTILINE)

    def test_rows(self, folder):
        motor = load_motor(folder / "motor.toml")
        rows = [
            {"count": 2.0, "length": 0.06, "core_diameter": 0.014},
            {"count": 1, "length": 0.03},
            {"count": 1, "length": 0.02},
        ]
        again = motor_from_text(motor_text(motor, {"grain": rows}), folder / "a.toml").motors.grain
        assert again.count.tolist() == [[2, 1, 1]] and again.length.tolist() == [[0.06, 0.03, 0.02]]
        assert again.core_diameter.tolist() == [[0.014, 0.018, 0.018]]
        text = motor_text(motor, {"grain.2.length": 0.01, "grain.outer_diameter": 0.04})
        again = motor_from_text(text, folder / "a.toml").motors.grain
        assert again.length.tolist() == [[0.075, 0.075, 0.01]] and again.outer_diameter.tolist() == [[0.04] * 3]
        again = motor_from_text(motor_text(motor, {"grain.rows": 1}), folder / "a.toml").motors.grain
        assert again.count.tolist() == [[3]]
        with pytest.raises(KeyError, match="grain rows"):
            motor_text(motor, {"grain.7.length": 0.1})

    def test_names_and_removals(self, folder):
        motor = load_motor(folder / "motor.toml")
        text = motor_text(motor, {"forward_closure.screw": "M5x0.8", "case.length": None}, note="from a study\nof ours")
        assert text.startswith("# from a study\n# of ours\nschema = 1\n")
        again = motor_from_text(text, folder / "a.toml").motors
        assert again.case.length is None and again.forward_closure.screws.designation == "M5x0.8"

    def test_unknown_key(self, folder):
        with pytest.raises(KeyError, match=r"did you mean 'case\.wall'"):
            motor_text(load_motor(folder / "motor.toml"), {"case.wal": 0.003})

    def test_a_motor_with_a_propellant_file_stands_alone(self, folder):
        head = "schema = 1\n" + MOTOR[MOTOR.index("density") : MOTOR.index("[[grain]]")].replace("propellant.rate", "rate")
        (folder / "p.toml").write_text(head + '[provenance]\nfiring = "3"\n')
        (folder / "m.toml").write_text('schema = 1\n[propellant]\nuse = "p.toml"\n' + MOTOR[MOTOR.index("[[grain]]") :])
        motor = load_motor(folder / "m.toml")
        (folder / "elsewhere").mkdir()
        (folder / "elsewhere" / "m.toml").write_text(motor_text(motor))
        same(motor.motors, load_motor(folder / "elsewhere" / "m.toml").motors)

    def test_a_propellant_written_and_read(self, folder):
        document = {
            "density": 1690.5, "characteristic_velocity": 1461.25, "gamma": 1.2, "molar_mass": 0.0245,
            "temperature_sensitivity": "0.16 %/K",
            "rate": [{"from": 5e5, "to": 6.1e6, "rate": 0.0058123, "at": 3e6, "exponent": 0.3812}],
        }  # fmt: skip
        (folder / "p.toml").write_text(propellant_text(document, "Fitted", {"firing": "firing-3"}, note="re-fitted"))
        found = load_propellant(folder / "p.toml")
        assert found.name == "Fitted" and found.provenance == {"firing": "firing-3"}
        assert found.propellant.rate.tolist() == [[0.0058123]] and found.propellant.rate_to.tolist() == [[6.1e6]]
        assert found.propellant.density.tolist() == [1690.5]


KEYS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), min_size=1, max_size=6)
SCALARS = st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=12)
VALUES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3), max_leaves=8)


class TestText:
    def test_lines_of_every_kind_of_key(self):
        text = (
            "a = 1 # [no]\n'q.r'.s = '''\nx = 1\n'''\n[t]\n\"k\\u0020x\" = [\n 1, # one\n {b = \"]\"},\n]\n"
            '[[g]]\n[[g]]\nv = {w = {z = 1}}\n[g.h]\ni = \'#\'\n[[g.n]]\nj = """a"""""\nlast = 2026-01-01T00:00:00Z\n'
        )
        lines = key_lines(text)
        expected = {
            ("a",): 1, ("q.r", "s"): 2, ("t",): 5, ("t", "k x"): 6, ("t", "k x", 0): 7, ("t", "k x", 1, "b"): 8, ("g", 0): 10,
            ("g", 1, "v", "w", "z"): 12, ("g", 1, "h", "i"): 14, ("g", 1, "n", 0, "j"): 16, ("g", 1, "n", 0, "last"): 17,
        }  # fmt: skip
        for path, line in expected.items():
            assert lines[path] == line, path

    @given(st.dictionaries(KEYS, VALUES, max_size=5))
    @settings(deadline=None)
    def test_written_data_reads_back_and_every_key_has_its_line(self, data):
        text = toml_text(data)
        document = parse_document(text, "x.toml") if depth(data) <= 10 else None
        if document is None:
            return
        assert plain(document.data) == data
        for path in paths(data):
            assert path in document.lines, (path, text)

    @given(st.text(max_size=200))
    @settings(deadline=None)
    def test_any_text_is_data_or_a_refusal(self, text):
        try:
            parse_document(text, "x.toml")
        except InputError as error:
            assert error.problems


def plain(value):
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    return [plain(item) for item in value] if isinstance(value, list) else value


def depth(value):
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max((depth(item) for item in inner), default=0)


def paths(value, path=()):
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield (*path, key)
        yield from paths(item, (*path, key))


WORDS = (
    '"', "'", "=", "[", "]", "{", "}", "#", "\n", ".", ",", "nan", "inf", "-", "1e999", "0", "\\", "\0", "é", "😀", "true",
    '"0 mm"', '"-1 mm"', '"1e300 m"', "999999999999", "[[grain]]", "[case]", "1979-05-27", '""', "use = \"motor.toml\"\n",
)  # fmt: skip


def mutated(text, random_):
    for _ in range(random_.randint(1, 4)):
        place = random_.randrange(len(text) + 1)
        kind = random_.randrange(4)
        if kind == 0:
            text = text[:place] + random_.choice(WORDS) + text[place:]
        elif kind == 1:
            text = text[:place] + text[place + random_.randint(1, 30) :]
        elif kind == 2:
            lines = text.splitlines(keepends=True)
            random_.shuffle(lines)
            text = "".join(lines) if random_.random() < 0.1 else text
        else:
            text = re.sub(r"\d+", lambda m: random_.choice(("0", "-1", "1e9", m[0] * 3, "nan")), text, count=random_.randint(0, 6))
    return text


class TestMutations:
    @pytest.mark.parametrize(
        ("loader", "text"),
        [(load_motor, MOTOR), (load_study, STUDY), (load_firing, FIRING)],
        ids=["motor", "study", "firing"],
    )
    def test_anything_is_read_or_refused_by_name(self, folder, loader, text):
        random_ = random.Random(20)
        outcomes = {"read": 0, "refused": 0}
        for _ in range(400):
            path = folder / "mutant.toml"
            path.write_bytes(mutated(text, random_).encode("utf-8", errors="surrogatepass"))
            try:
                found = loader(path)
            except InputError as error:
                outcomes["refused"] += 1
                assert error.problems and all(item.problem and item.fix and item.code in CODES for item in error.problems)
            else:
                outcomes["read"] += 1
                if loader is load_motor:
                    assert all(np.isfinite(value).all() for _, value in leaves(found.motors))
        assert outcomes["read"] > 10 and outcomes["refused"] > 100


class TestAnotherKindOfFile:
    """A file given to the wrong command is told as that, once, with the command it is for."""

    @pytest.mark.parametrize(
        ("load", "given", "told", "cure"),
        [
            (load_motor, "study.toml", "is a study file; expected a motor file", "grainwright search"),
            (load_motor, "firing.toml", "is a firing file; expected a motor file", "grainwright reduce"),
            (load_motor, "propellant.toml", "is a propellant file; expected a motor file", "[propellant]"),
            (load_study, "motor.toml", "is a motor file; expected a study file", "grainwright check"),
            (load_firing, "study.toml", "is a study file; expected a firing file", "grainwright search"),
        ],
    )
    def test_it_is_told_once(self, load, given, told, cure, tmp_path):
        from optimizer.commands.new import create

        create(tmp_path)
        with pytest.raises(InputError) as error:
            load(tmp_path / given)
        [problem] = error.value.problems
        assert problem.problem == told and cure in problem.fix and problem.code == "E116"

    def test_a_tolerance_of_a_part_that_cannot_be_read_is_no_second_problem(self, tmp_path):
        from optimizer.commands.new import create

        create(tmp_path)
        path = tmp_path / "motor.toml"
        text = path.read_text(encoding="utf-8").replace('wall = "3 mm"', 'wall = "3 kg"')
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as error:
            load_motor(path)
        assert [problem.key for problem in error.value.problems] == ["case.wall"]


class TestMessagesThatCanBePasted:
    """What a builder copies from a message is right where it is pasted."""

    def told(self, loader, path, text):
        path.write_text(text)
        return problems_of(loader, path)

    def test_a_misspelt_required_key_is_told_once(self, folder):
        (problem,) = self.told(load_motor, folder / "m.toml", changed(MOTOR, "throat_diameter", "throat_diametre"))
        assert problem.code == "E110" and problem.fix == "did you mean 'throat_diameter'?"

    def test_a_bare_number_in_a_list_has_no_key_to_write(self, folder):
        text = changed(STUDY, '{stock = "drills-metric", from = "10 mm", to = "20 mm"}', "[14, 15]")
        found = self.told(load_study, folder / "s.toml", text)
        assert [problem.fix for problem in found if problem.code == "E101"] == ['write "14 mm" or "14 in"']

    def test_soak_shows_what_it_looks_like(self, folder):
        text = changed(MOTOR, 'soak = ["-5 degC", "40 degC"]', 'soak = "0 degC"')
        (problem,) = self.told(load_motor, folder / "m.toml", text)
        assert problem.fix == 'write soak = ["0 degC", "35 degC"]'

    def test_a_bound_without_braces_is_put_in_them(self, folder):
        (problem,) = self.told(load_study, folder / "s.toml", changed(STUDY, "[limits]", '[limits]\npeak_pressure = "7 MPa"'))
        assert problem.fix == 'write peak_pressure = {max = "7 MPa"}, or {min = "7 MPa"}'

    def test_several_names_come_near(self, folder):
        (problem,) = self.told(load_study, folder / "s.toml", changed(STUDY, "[limits]", '[limits]\nmax_pressure = "7 MPa"'))
        assert "'maximum_pressure'" in problem.fix and "'peak_pressure'" in problem.fix

    def test_a_stock_list_that_is_not_there_names_those_that_are(self, folder):
        (folder / "record.csv").write_text("time,pressure\n0,1\n")  # no list: it is not named as one
        (problem,) = self.told(load_study, folder / "s.toml", changed(STUDY, '"tube-6061"', '"tubes"'))
        assert problem.code == "E123" and "tube-metric" in problem.fix and "record" not in problem.fix

    def test_a_list_without_the_tube_names_one_that_has_it(self, folder):
        (folder / "motor.toml").write_text(changed(MOTOR, 'outer_diameter = "2.25 in"', 'outer_diameter = "60 mm"'))
        (problem,) = self.told(load_study, folder / "s.toml", STUDY)
        assert problem.code == "E156" and "case.outer_diameter in motor.toml" in problem.fix
        assert problem.fix.endswith("or take a list that has it: tube-metric")
