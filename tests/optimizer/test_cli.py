"""The commands as a person or a script meets them: exit codes, pure JSON, quick help."""

from __future__ import annotations

import json
import math
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


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom click.testing import CliRunner\nfrom optimizer.cli import main\n"
        "assert CliRunner().invoke(main, ['--help']).exit_code == 0\n"
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
