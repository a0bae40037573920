"""The commands as a person or a script meets them: exit codes, pure JSON, quick help."""

from __future__ import annotations

import csv
import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import integrate

from optimizer.cli import main

ROOT = Path(__file__).resolve().parents[2]
CURLEW = ROOT / "studies" / "motors" / "curlew.toml"

PLAIN = """
schema = 1
name = "Plain (invented)"
[propellant]
density = "1700 kg/m^3"
characteristic_velocity = "1480 m/s"
gamma = 1.21
molar_mass = "24 g/mol"
reference_temperature = "20 degC"
[[propellant.rate]]
from = "0.7 MPa"
to = "9 MPa"
rate = "6.5 mm/s"
at = "5 MPa"
exponent = 0.33
[[grain]]
count = 4
length = "75 mm"
outer_diameter = "46 mm"
core_diameter = "20 mm"
burning_ends = 2
[nozzle]
throat_diameter = "12 mm"
exit_diameter = "28 mm"
half_angle = "15 deg"
efficiency = 0.95
"""


@pytest.fixture
def plain(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "plain.toml"
    path.write_text(PLAIN)
    return path


def run(*arguments: object):
    return CliRunner().invoke(main, [str(item) for item in arguments])


@pytest.mark.parametrize("command", ["", "search", "check", "compare", "spread", "reduce", "explain", "draw", "new"])
def test_help_loads_nothing_heavy(command):
    line = [command, "--help"] if command else ["--help"]
    code = (
        "import sys\nfrom click.testing import CliRunner\nfrom optimizer.cli import main\n"
        f"assert CliRunner().invoke(main, {line}).exit_code == 0\n"
        "print([name for name in ('numpy', 'pint', 'scipy', 'rich', 'pandas', 'optuna') if name in sys.modules])"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert answer.stdout.strip() == "[]"


@pytest.mark.parametrize("kernel", ["steady", "transient"])
def test_check_gives_one_json_object_and_nothing_else(plain, kernel):
    result = run("check", plain, "--json", "--kernel", kernel)
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    assert answer["kernel"] == kernel
    assert {"ballistics", "ladder", "not_assessed", "masses", "fit", "cautions", "maximum_expected_pressure"} <= set(answer)
    assert answer["fit"] is None  # no airframe in the file


def test_check_agrees_with_an_adaptive_integration(plain):
    # Written from the balance ρ·A_b·r = p·A_t/c* and the ideal momentum term alone, with scipy's adaptive quadrature.
    throat, exit_area = math.pi / 4 * 0.012**2, math.pi / 4 * 0.028**2
    gamma, rate = 1.21, 6.5e-3 / 5e6**0.33

    def pressure(x: float) -> float:
        area = 4 * (math.pi * (0.020 + 2 * x) * (0.075 - 2 * x) + math.pi / 2 * (0.046**2 - (0.020 + 2 * x) ** 2))
        return (1700 * 1480 * rate * area / throat) ** (1 / 0.67)

    def over(what) -> float:
        return integrate.quad(lambda x: what(pressure(x)) / (rate * pressure(x) ** 0.33), 0.0, 0.013, epsrel=1e-10)[0]

    mach = np.linspace(1.0, 6.0, 2_000_001)
    ratio = (2 / (gamma + 1) * (1 + (gamma - 1) / 2 * mach**2)) ** ((gamma + 1) / (2 * (gamma - 1))) / mach
    exit_ratio = (1 + (gamma - 1) / 2 * np.interp(exit_area / throat, ratio, mach) ** 2) ** (-gamma / (gamma - 1))
    ideal = math.sqrt(
        2 * gamma**2 / (gamma - 1) * (2 / (gamma + 1)) ** ((gamma + 1) / (gamma - 1)) * (1 - exit_ratio ** ((gamma - 1) / gamma))
    )
    factor = 0.95 * (1 + math.cos(math.radians(15))) / 2

    def thrust(p: float) -> float:
        return factor * ideal * p * throat + (exit_ratio * p - 101325.0) * exit_area

    found = json.loads(run("check", plain, "--json").stdout)["ballistics"]
    time = over(lambda p: 1.0)
    expected = {
        "burn_time": time,
        "mean_pressure": over(lambda p: p) / time,
        "total_impulse": over(thrust),
        "peak_pressure": max(pressure(x) for x in np.linspace(0.0, 0.013, 20001)),
        "propellant_mass": 1700 * 4 * 0.075 * math.pi / 4 * (0.046**2 - 0.020**2),
    }
    for name, value in expected.items():
        assert found[name] == pytest.approx(value, rel=1e-5), name


def test_curve_has_the_columns_of_the_interface(plain, tmp_path):
    assert run("check", plain, "--json", "--curve", tmp_path / "c.csv").exit_code == 0
    head = (tmp_path / "c.csv").read_text().splitlines()[0]
    assert head == "time_s,chamber_pressure_Pa,head_pressure_Pa,thrust_N,mass_flow_kg_s"


def test_a_motor_that_falls_short_exits_1(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    weak = CURLEW.read_text().replace("count = 10", "count = 4").replace("../propellants", str(ROOT / "studies/propellants"))
    (tmp_path / "weak.toml").write_text(weak)
    result = run("check", "weak.toml", "--json")
    assert result.exit_code == 1
    short = [rung["mode"] for rung in json.loads(result.stdout)["ladder"] if not rung["ok"]]
    assert "screw shear" in short


def test_wrong_input_exits_2_and_says_where(plain):
    plain.write_text(PLAIN.replace('"75 mm"', '"0,75 in"'))
    result = run("check", plain, "--json")
    assert result.exit_code == 2
    assert result.stdout == ""
    for word in ("plain.toml", "grain", "length", "0,75 in", "fix"):
        assert word in result.stderr


def test_a_comparison_needs_two(plain):
    assert run("compare", plain).exit_code == 2


def test_a_folder_in_the_way_exits_3(plain, tmp_path):
    (tmp_path / "taken").write_text("a file")
    assert run("check", plain, "--quiet", "--out", tmp_path / "taken" / "deeper").exit_code == 3
    assert (tmp_path / "taken").read_text() == "a file"


def test_screen_is_plain_when_piped_and_quiet_when_asked(plain):
    loud, quiet = run("check", plain), run("check", plain, "--quiet")
    assert loud.exit_code == 0 and "Failure ladder" in loud.stdout and "\x1b" not in loud.stdout
    assert quiet.stdout == "" and quiet.stderr == ""


def test_imperial_units_on_the_screen(plain):
    assert " psi" in run("check", plain, "--units", "imperial").stdout


# --- search through the command line ------------------------------------------------------------------------------------

SPAN = """
grain_count = {from = 3, to = 4}
core_diameter = ["16 mm", "19 mm"]
throat_diameter = {from = "11 mm", to = "14 mm", step = "1 mm"}
forward_closure.count = [6, 10]
case.material = ["6061-T6", "7075-T6"]
"""


@pytest.fixture
def small_study(cases, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return cases.write_study(tmp_path, search=SPAN)


def strict(text: str):
    """JSON, NaN and infinities refused."""
    return json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))


def test_search_prints_one_json_object_and_its_messages_elsewhere(small_study, tmp_path):
    result = run("search", small_study, "--json", "--out", tmp_path / "out")
    assert result.exit_code == 0
    answer = strict(result.stdout)
    assert answer["exact"] is True and answer["evaluated"] == answer["space"] == 64
    assert answer["seconds"] > 0.0 and "results: " in result.stderr
    written = strict((tmp_path / "out" / "pareto.json").read_text())
    assert written == {key: value for key, value in answer.items() if key != "seconds"}
    inside = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"pareto.csv", "pareto.json", "report.html", "run.json", "motors"} <= inside


def test_search_is_silent_when_asked(small_study, tmp_path):
    result = run("search", small_study, "--quiet", "--out", tmp_path / "out")
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", "")
    assert (tmp_path / "out" / "report.html").stat().st_size > 10_000


def test_search_writes_where_the_user_stands_unless_told_otherwise(small_study, tmp_path):
    assert run("search", small_study, "--quiet").exit_code == 0
    assert (tmp_path / "results" / "study" / "pareto.csv").exists()


def test_search_with_no_feasible_design_exits_1_and_says_what_to_relax(cases, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    study = cases.write_study(tmp_path, search=SPAN, limits='maximum_pressure = "1 MPa"')
    result = run("search", study, "--json", "--out", tmp_path / "out")
    assert result.exit_code == 1
    answer = strict(result.stdout)
    assert answer["designs"] == [] and answer["rejected_by"]["maximum_pressure"] > 0
    assert answer["relaxations"][0]["limit"] == "maximum_pressure"


@pytest.mark.parametrize("kernel", ["steady", "transient"])
def test_every_design_passes_check_with_the_same_figures_to_the_last_digit(cases, tmp_path, monkeypatch, kernel):
    monkeypatch.chdir(tmp_path)
    study = cases.write_study(tmp_path, search=SPAN, driver=f'kernel = "{kernel}"')
    found = strict(run("search", study, "--json", "--out", tmp_path / "out").stdout)
    assert len(found["designs"]) >= 3
    for design in found["designs"]:
        result = run("check", tmp_path / "out" / design["motor"], "--json", "--kernel", kernel)
        assert result.exit_code == 0
        answer = strict(result.stdout)
        for name, value in answer["ballistics"].items():
            assert design["results"][name] == value, name
        assert design["results"]["maximum_expected_pressure"] == answer["maximum_expected_pressure"]
        assert design["results"]["loaded_mass"] == answer["masses"]["loaded"]
        needed = [rung["factor"] / 1.0 for rung in answer["ladder"] if rung["pressure"] is not None]
        assert design["results"]["smallest_factor"] == min(needed)


HOSTILE = ("=1+1", "+cmd|calc", "-2+3", "@SUM(A1)", '=HYPERLINK("http://x","y")')


def test_every_table_written_is_safe_to_open_in_a_spreadsheet(cases, tmp_path, monkeypatch):
    """Names that come from files stand in the tables as text, never as something a spreadsheet would run."""
    monkeypatch.chdir(tmp_path)
    extra = "".join(
        f'[materials.{json.dumps(name)}]\nkind = "metal"\ndensity = "{2700 + place} kg/m^3"\ntensile_strength = "310 MPa"\n'
        f'yield_strength = "276 MPa"\nelastic_modulus = "69 GPa"\nsource = "invented"\n'
        for place, name in enumerate(HOSTILE)
    )
    motor = cases.MOTOR.replace('name = "Invented base"', 'name = "=1+1"') + extra
    study = cases.write_study(
        tmp_path, motor=motor, search=f"case.material = {json.dumps(list(HOSTILE))}\nthroat_diameter = [\"12 mm\", \"13 mm\"]",
        limits="", objectives='total_impulse = "max"',
    )  # fmt: skip
    result = run("search", study, "--json", "--out", tmp_path / "out")
    assert result.exit_code == 0, result.stderr
    first = tmp_path / "out" / strict(result.stdout)["designs"][0]["motor"]
    assert run("draw", first, "--json", "--out", tmp_path / "out").exit_code == 0
    assert run("check", first, "--json", "--curve", tmp_path / "out" / "curve.csv").exit_code in (0, 1)
    tables = sorted((tmp_path / "out").rglob("*.csv"))
    assert {path.name for path in tables} >= {"pareto.csv", "cut-list.csv", "curve.csv"}
    texts = 0
    for path in tables:
        for row in csv.reader(path.read_text().splitlines()):
            for cell in row:
                if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
                    float(cell)  # a number may be negative; anything else that starts so would be run
                texts += cell.startswith("'")
    assert texts, "the names must have come through, made harmless"


# --- terminals ----------------------------------------------------------------------------------------------------------


def test_no_color_is_honoured(plain, tmp_path):
    seen = {}
    (tmp_path / "short.toml").write_text(
        CURLEW.read_text().replace("count = 10", "count = 4").replace("../propellants", str(ROOT / "studies/propellants"))
    )
    for name, extra in (("colour", {}), ("plain", {"NO_COLOR": "1"})):
        environment = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "TERM")}
        answer = subprocess.run(
            [sys.executable, "-m", "optimizer.cli", "check", "short.toml", "--out", "o"],
            env={**environment, "FORCE_COLOR": "1", "TERM": "xterm-256color", "PYTHONPATH": str(ROOT), **extra},
            capture_output=True, text=True, cwd=tmp_path,
        )  # fmt: skip
        assert answer.returncode == 1
        seen[name] = re.findall(r"\x1b\[(?:[0-9]+;)*(?:3[0-7]|9[0-7]|38;[0-9;]+)m", answer.stdout)
    assert seen["colour"] and not seen["plain"]


@pytest.mark.parametrize(
    "line", [["spread", "MOTOR", "--samples", "16"], ["compare", "MOTOR", "MOTOR"], ["draw", "MOTOR"], ["new", "FOLDER"]],
    ids=lambda line: line[0],
)  # fmt: skip
def test_every_command_gives_pure_json(plain, tmp_path, line):
    words = {"MOTOR": str(CURLEW), "FOLDER": str(tmp_path / "fresh")}
    result = run(*(words.get(word, word) for word in line), "--json", "--out", tmp_path / "o")
    assert result.exit_code in (0, 1), result.stderr
    assert isinstance(strict(result.stdout), dict)


# --- refused before any work --------------------------------------------------------------------------------------------

ABSURD = {
    "a huge count": ('grain_count = {from = 3, to = 4}', "grain_count = {from = 1, to = 4000000000}"),
    "a huge whole number": ('grain_count = {from = 3, to = 4}', f"grain_count = [{'9' * 400}]"),
    "a huge span": ('step = "1 mm"', 'step = "1e-12 mm"'),
    "a zero step": ('step = "1 mm"', 'step = "0 mm"'),
    "a negative step": ('step = "1 mm"', 'step = "-1 mm"'),
    "an exponent beyond reason": ('to = "14 mm"', 'to = "1e999999999 mm"'),
    "a list too deep": ("forward_closure.count = [6, 10]", f"forward_closure.count = {'[' * 5000}{']' * 5000}"),
    "a table too deep": ("forward_closure.count = [6, 10]", f"x = {'{a = ' * 900}1{'}' * 900}"),
    "a key too deep": ("forward_closure.count = [6, 10]", f"{'a.' * 500}b = 1"),
    "a key twice": ("forward_closure.count = [6, 10]", "forward_closure.count = [6]\nforward_closure.count = [8]"),
    "a path to a device": ('motor = "base.toml"', 'motor = "/dev/zero"'),
    "a budget without end": ('kernel = "steady"', 'kernel = "steady"\nbudget = 1000000000000000'),
}


@pytest.mark.parametrize("name", ABSURD)
def test_what_no_machine_can_do_is_refused_before_work_starts(small_study, tmp_path, name):
    old, new = ABSURD[name]
    text = small_study.read_text()
    assert old in text
    small_study.write_text(text.replace(old, new))
    result = run("search", small_study, "--json", "--out", tmp_path / "out")
    assert result.exit_code == 2 and result.stdout == ""
    assert "nothing was run" in result.stderr and str(small_study) in result.stderr
    assert not (tmp_path / "out").exists()
