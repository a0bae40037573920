"""Wrong files and a failing machine through the real commands: the exit code, what is wrong, and what to write instead."""

from __future__ import annotations

import errno
import re

import pytest
from click.testing import CliRunner
from fault_common import MOTOR, STUDY

from optimizer.cli import main

SEARCH = re.search(r"\[search\].*?(?=\[limits\])", STUDY, re.S)[0]
WALL = 'wall = {from = "2 mm", to = "4 mm", step = "1 mm"}'
SCREW = 'forward_closure.screw = ["#8-32 UNC", "1/4-20 UNC"]'
FIRING = """schema = 1
motor = "base.toml"
record = "r.csv"
[columns]
time = {name = "t", unit = "s"}
pressure = {name = "p", unit = "bar"}
[observed]
found = ["closure gone"]
"""
STUDIES = [
    ('motor = "base.toml"', "motor = 3", "motor = 3", 'write motor = "motors/NAME.toml"'),
    ('impulse = ["700 N*s", "2500 N*s"]', 'impulse_class = "K"\nimpulse = ["1 N*s", "2 N*s"]', "stands beside", "keep one"),
    ('impulse = ["700 N*s", "2500 N*s"]', 'impulse = "700 N*s"', "is not a pair", 'write impulse = ["'),
    (SEARCH, "[search]\n", "varies nothing", "name what may vary"),
    (WALL, f'{WALL}\ngrain_length = "fill"\ncase_length = "follow"', "cannot fill a case that follows", "keep one of the two"),
    (WALL, "wall = {stock = 3}", "expected the name of a list", 'write stock = "NAME"'),
    (WALL, 'wall = {stock = "tube-6061", form = "2 mm"}', "unknown key of a stock span", "did you mean 'from'?"),
    (WALL, 'wall = {stock = "broken"}', "broken.csv", "fix:"),
    (WALL, "wall = {}", "has no 'from'", "add from"),
    (WALL, f'{WALL}\ncore_diameter_aft = ["18 mm"]', "goes with aft_count", "give both"),
    (SCREW, "forward_closure.screw = []", "is not a list of names", 'write screw = ["'),
    (SCREW, "forward_closure.screw = [3]", "is not a list of names", 'write screw = ["'),
    (SCREW, f"{SCREW}\npropellant = []", "is not a list of propellant files", 'write propellant = ["'),
    (SCREW, f'{SCREW}\npropellant = ["none.toml"]', "no such file: ", "did you mean 'wrong.toml'?"),
]
FIRINGS = [
    ('motor = "base.toml"', "motor = 3", "is not the name of a file", "write motor ="),
    ('record = "r.csv"', 'record = ""', "is not the name of a file", "write record ="),
    ('unit = "bar"', "unit = 3", "expected a unit in quotes", "write unit ="),
    ('unit = "bar"', 'unit = "psig"', "psig", 'reference = "gauge"'),
    ('name = "p"', 'name = "t"', "stands for two columns", "its own heading"),
    ("[observed]", "".join(f'thrust_{n} = {{name = "h{n}", unit = "N"}}\n' for n in range(12)) + "[observed]", "has 14 columns",
     "at most 12"),
    ('found = ["closure gone"]', "found = []", "is an empty list", "closure gone"),
    ('found = ["closure gone"]', 'found = ["closure gon"]', "closure gon", "closure gone"),
    ("[observed]", "[instruments]\npresure = {range = \"1 bar\"}\n[observed]", "names no column", "did you mean 'pressure'?"),
]  # fmt: skip
MOTORS = [
    ("[propellant]\n", "[propellant]\nuse = 3\n", "is not the name of a file", "write use ="),
    ('wall = "3.2 mm"', 'wall = "3.2 mm"\nheat_affected = "yes"', "neither true nor false", "without quotes"),
    ('name = "Invented base"', f'name = "{"x" * 2001}"', "is too long", "one line of text"),
    ("schema = 1\n", f"schema = 1{'0' * 500}\n", "schema", "fix:"),
    ("count = 4\n", "count = 4e9999\n", "is not a finite number", "whole numbers, 1 to 100"),
    ('throat_diameter = {plus_minus = "0.05 mm"}', 'throat_diameter = {plus_minus = "1 mm", plus = "1 mm"}',
     "does not say one thing", "plus_minus"),
    ('throat_diameter = {plus_minus = "0.05 mm"}', 'throat_diameter = {plus_minus = "-1 mm"}', "throat_diameter", "fix:"),
    ('soak = ["-5 degC", "40 degC"]', 'soak = ["40 degC", "-5 degC"]', "from warm to cold", "coldest first"),
    ("[nozzle]", '[materials.soft]\nkind = "metal"\ndensity = "2700 kg/m^3"\ntensile_strength = "1 MPa"\nyield_strength = "2 MPa"\n'
     'elastic_modulus = "69 GPa"\nsource = "invented"\n[nozzle]', "above the tensile strength", "check the two"),
]  # fmt: skip
CASES = [
    *(("search", STUDY, *case) for case in STUDIES),
    *(("explain", FIRING, *case) for case in FIRINGS),
    *(("check", MOTOR, *case) for case in MOTORS),
]


@pytest.mark.parametrize(("command", "sound", "old", "new", "says", "cure"), CASES, ids=lambda text: text[:0])
def test_what_is_wrong_is_named_with_its_cure(tmp_path, command, sound, old, new, says, cure):
    assert old in sound
    text = sound.replace(old, new, 1).replace("THROAT", "2 mm").replace("DRIVER", 'kernel = "steady"')
    (tmp_path / "base.toml").write_text(MOTOR)
    (tmp_path / "r.csv").write_text("t,p\n0,1\n")
    (tmp_path / "stock").mkdir()
    (tmp_path / "stock" / "broken.csv").write_text("colour,taste\nred,sweet\n")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(text)
    result = CliRunner().invoke(main, [command, str(wrong), "--json", "--out", str(tmp_path / "out")])
    assert result.exit_code == 2 and result.stdout == "", result.output
    assert says in result.stderr and cure in result.stderr, result.stderr
    assert re.search(r"(wrong.toml|broken.csv):\d+: ", result.stderr) and "nothing was run" in result.stderr
    assert not (tmp_path / "out").exists()


# --- the machine --------------------------------------------------------------------------------------------------------

ENDS = {
    "memory": (MemoryError(), 3, "out of memory"),
    "a library that does not load": (ImportError("libx.so: failed to map segment from shared object"), 3, "out of memory"),
    "a disk error": (OSError(errno.EIO, "Input/output error"), 3, "the machine failed: [Errno 5]"),
    "no more files": (OSError(errno.EMFILE, "Too many open files"), 3, "the machine failed: [Errno 24]"),
    "an interrupt": (KeyboardInterrupt(), 130, "the same command goes on"),
}


@pytest.mark.parametrize("name", ENDS)
def test_a_machine_that_fails_is_told_in_one_line(tmp_path, monkeypatch, name):
    error, code, says = ENDS[name]

    def fail(*arguments, **options):
        raise error

    monkeypatch.setattr("optimizer.inputs.load_motor", fail)
    result = CliRunner().invoke(main, ["check", str(tmp_path / "any.toml"), "--json"])
    assert result.exit_code == code and result.stdout == ""
    assert says in result.stderr and len(result.stderr.splitlines()) == 1


def test_a_part_that_is_not_installed_is_not_taken_for_little_memory(tmp_path, monkeypatch):
    def fail(*arguments, **options):
        raise ModuleNotFoundError("No module named 'numpy'")

    monkeypatch.setattr("optimizer.inputs.load_motor", fail)
    result = CliRunner().invoke(main, ["check", str(tmp_path / "any.toml")])
    assert result.exit_code == 3 and "No module named 'numpy'" in result.stderr and "memory" not in result.stderr
