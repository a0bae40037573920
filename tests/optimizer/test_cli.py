"""The commands as a person or a script meets them: exit codes, pure JSON, quick help."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import json
import math
import os
import pty
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


@pytest.mark.parametrize("kernel", ["steady", pytest.param("transient", marks=pytest.mark.slow)])
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


@pytest.mark.slow
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


# --- every command ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def starter(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter folder, with a study of few candidates and a motor that falls short beside its own."""
    folder = tmp_path_factory.mktemp("cli") / "start"
    assert run("new", folder).exit_code == 0
    study = (folder / "study.toml").read_text()
    for key, few in (("grain_count", "[2, 3]"), ("throat_diameter", '["10 mm", "11 mm"]'), ("wall", '["3 mm", "4 mm"]')):
        study, changed = re.subn(rf"^{key} = .*$", f"{key} = {few}", study, flags=re.M)
        assert changed == 1, key
    (folder / "study.toml").write_text(study)
    weak = CURLEW.read_text().replace("count = 10", "count = 4").replace("../propellants", str(ROOT / "studies/propellants"))
    (folder / "weak.toml").write_text(weak)
    return folder


LINES = {
    "search": ("study.toml",),
    "check": ("weak.toml",),
    "compare": ("motor.toml", "motor.toml"),
    "spread": ("motor.toml", "--samples", "16"),
    "reduce": ("firing.toml",),
    "explain": ("failed_firing.toml",),
    "vouch": ("motor.toml",),
    "draw": ("motor.toml",),
    "new": ("fresh",),
    "list": ("modes",),
}


def words(name: str, starter: Path) -> list[str]:
    return [name, *(str(starter / word) if word.endswith(".toml") else word for word in LINES[name])]


def test_every_command_has_a_line_here():
    assert set(LINES) == set(main.commands) - {"live"}  # it answers until it is ended: tests/optimizer/live


COSTLY = ("draw", "reduce", "search")
"""Commands that take seconds."""


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.slow if name in COSTLY else ()) for name in LINES])
def test_every_command_gives_one_json_object(name, starter, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run(*words(name, starter), "--json")
    assert result.exit_code == (1 if name == "check" else 0), result.stderr
    assert isinstance(strict(result.stdout), dict)


# --- terminals ----------------------------------------------------------------------------------------------------------


def on_a_terminal(line: list[str], place: Path, **environment: str) -> tuple[int, str]:
    """A command whose stdout and stderr are both a terminal: its exit code, and all that it writes there."""
    own, other = pty.openpty()
    keep = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "FORCE_COLOR", "CI", "COLUMNS")}
    with subprocess.Popen(
        [sys.executable, "-m", "optimizer.cli", *line], stdout=other, stderr=other, stdin=subprocess.DEVNULL, cwd=place,
        env={**keep, "TERM": "xterm-256color", "PYTHONPATH": str(ROOT), **environment},
    ) as child:  # fmt: skip
        os.close(other)
        found = b""
        with contextlib.suppress(OSError):  # the terminal reports an error at its end
            while part := os.read(own, 65536):
                found += part
    os.close(own)
    return child.returncode, found.decode()


# `reduce` and `draw` are slow, and print through the same console.
@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=() if name in ("list", "new") else pytest.mark.slow)
        for name in LINES
        if name not in ("reduce", "draw")
    ],
)
def test_under_no_color_a_terminal_gets_text_and_no_escapes(name, starter, small_study, tmp_path):
    line = ["search", str(small_study)] if name == "search" else words(name, starter)
    code, text = on_a_terminal(line, tmp_path, NO_COLOR="1")
    assert code == (1 if name == "check" else 0), text
    assert len(text) > 40 and "\x1b" not in text
    if name == "search":
        assert re.search(r"\r\w+: [\d,]+ of [\d,]+, [\d,]+ feasible", text), "the progress is still told, over itself"
        assert re.search(r"\r +\r", text), "and gone at the end"


@pytest.mark.parametrize("name", ["search", "check"])
def test_a_terminal_gets_colours_bold_and_a_bar(name, starter, small_study, tmp_path):
    # Without this the test above shows nothing. An empty NO_COLOR is none, as https://no-color.org has it.
    line = ["search", str(small_study)] if name == "search" else words(name, starter)
    _, text = on_a_terminal(line, tmp_path, NO_COLOR="")
    assert "\x1b[1m" in text
    if name == "check":
        assert re.search("\x1b\\[(?:[0-9]+;)*(?:3[0-7]|9[0-7])[;m]", text)


@pytest.mark.slow
def test_a_dumb_terminal_gets_no_escapes(small_study, tmp_path):
    code, text = on_a_terminal(["search", str(small_study)], tmp_path, TERM="dumb")
    assert code == 0 and "feasible" in text and "\x1b" not in text


def test_where_there_is_no_terminal_progress_is_a_line_now_and_then(capsys, monkeypatch):
    from types import SimpleNamespace

    from optimizer.output import progress

    state = SimpleNamespace(stage="screening", done=1200, total=64000, feasible=7, front=2)
    with progress.shown() as show:
        show(state)
        monkeypatch.setattr(progress, "EVERY", 0.0)
        show(state)
        state.total = 0
        show(state)
    with progress.shown(quiet=True) as show:
        show(state)
    assert capsys.readouterr().err.splitlines() == [
        "screening: 1,200 of 64,000, 7 feasible, 2 on the front", "screening: 1,200, 7 feasible, 2 on the front"
    ]  # fmt: skip


# --- refused before any work --------------------------------------------------------------------------------------------

ABSURD = {
    "a huge count": ("grain_count = {from = 3, to = 4}", "grain_count = {from = 1, to = 4000000000}"),
    "a huge whole number": ("grain_count = {from = 3, to = 4}", f"grain_count = [{'9' * 400}]"),
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


def test_every_one_of_too_many_is_refused_before_work_starts(cases, tmp_path, monkeypatch):
    monkeypatch.setattr("optimizer.commands.search.screen", lambda *a: pytest.fail("work began"))
    spans = "".join(
        f'{key} = {{from = "{low} mm", to = "{high} mm", step = "0.002 mm"}}\n'
        for key, low, high in (("core_diameter", 16, 20), ("throat_diameter", 11, 15), ("nozzle.exit_diameter", 30, 36))
    )
    study = cases.write_study(tmp_path, search=spans, driver='kernel = "steady"\nmethod = "exhaustive"')
    result = run("search", study, "--json", "--out", tmp_path / "out")
    assert result.exit_code == 2 and result.stdout == "" and not (tmp_path / "out").exists()
    for word in ("driver.method", "1.2e+10 families", "evolve", str(study), "nothing was run"):
        assert word in result.stderr


@pytest.mark.parametrize("line", [["search", "MOTOR"], ["spread", "MOTOR"]], ids=lambda line: line[0])
@pytest.mark.parametrize("seed", ["-1", "9" * 60, "nan"])
def test_a_seed_that_no_generator_takes_is_refused(plain, line, seed):
    result = run(line[0], plain, "--json", "--seed", seed)
    assert result.exit_code == 2 and "--seed" in result.stderr and result.stdout == ""


# --- results that cannot be written are found out before the work -------------------------------------------------------


@pytest.fixture
def no_work(monkeypatch):
    """Any evaluation of a motor fails the test."""
    import physics.assessment

    monkeypatch.setattr(physics.assessment, "assess", lambda *a, **k: pytest.fail("work began"))
    monkeypatch.setattr("optimizer.commands.spread.spread", lambda *a, **k: pytest.fail("work began"))


@pytest.mark.parametrize(
    "line",
    [["check", "PLAIN"], ["spread", "PLAIN"], ["compare", "PLAIN", "PLAIN"], ["draw", "PLAIN"], ["search", "PLAIN"]],
    ids=lambda line: line[0],
)
@pytest.mark.parametrize("place", ["a file/deeper", "x" * 300])
def test_a_place_that_cannot_be_written_is_told_first(plain, tmp_path, no_work, line, place):
    (tmp_path / "a file").write_text("kept")
    result = run(*(plain if word == "PLAIN" else word for word in line), "--out", tmp_path / place)
    assert result.exit_code == 3 and "name another folder with --out" in result.stderr and result.stdout == ""
    assert (tmp_path / "a file").read_text() == "kept"


def test_a_curve_never_takes_the_place_of_a_device_or_a_pipe(plain, tmp_path, no_work):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    (tmp_path / "link.csv").symlink_to(pipe)
    for place in (pipe, tmp_path / "link.csv", Path("/dev/null")):
        for option in ("--curve", "--ladder"):
            result = run("check", plain, "--json", option, place)
            assert result.exit_code == 3 and "name a plain file" in result.stderr
    assert pipe.is_fifo() and (tmp_path / "link.csv").is_symlink() and Path("/dev/null").is_char_device()


def test_the_place_results_go_to_unasked_is_looked_at_too(plain, tmp_path, no_work):
    (tmp_path / "results").write_text("a file")
    assert run("check", plain).exit_code == 3
    assert run("draw", plain, "--json").exit_code == 3


# --- names and terminals of other alphabets -----------------------------------------------------------------------------


@pytest.mark.slow
def test_names_that_are_not_utf_8_are_files_as_any_other(cases, tmp_path):
    place = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    place.mkdir()
    study = cases.write_study(place, search=SPAN)
    for again in range(2):  # the second time goes on from the record
        command = [sys.executable, "-m", "optimizer.cli", "search", study, "--out", place / "out", "--json"]
        answer = subprocess.run(command, capture_output=True, cwd=ROOT)
        assert answer.returncode == 0, (again, answer.stderr)
        assert strict(answer.stdout.decode("utf-8"))["designs"]
    made = [sys.executable, "-m", "optimizer.cli", "new", place / "fresh", "--json"]
    files = strict(subprocess.run(made, capture_output=True, cwd=ROOT, check=True).stdout.decode("utf-8"))["files"]
    assert files and all(Path(name).exists() for name in files)


@pytest.mark.slow
def test_a_terminal_without_the_signs_gets_what_it_can_show(plain):
    command = [sys.executable, "-m", "optimizer.cli", "check", str(plain)]
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    shown = subprocess.run(command, capture_output=True, cwd=plain.parent, env=environment | {"PYTHONPATH": str(ROOT)})
    assert shown.returncode == 0 and b"Failure ladder" in shown.stdout and not shown.stderr.startswith(b"Traceback")
    named = plain.with_name("named.toml")
    named.write_text(PLAIN.replace("Plain", "Ωmega"), encoding="utf-8")
    command = [sys.executable, "-m", "optimizer.cli", "check", str(named), "--json"]
    shown = subprocess.run(command, capture_output=True, cwd=plain.parent, env=environment | {"PYTHONPATH": str(ROOT)})
    assert strict(shown.stdout.decode("ascii"))["motor"].startswith("Ωmega")


# --- what the screen says first ---------------------------------------------------------------------------------------------


@pytest.fixture
def wide(monkeypatch):
    """A terminal of 100 columns."""
    monkeypatch.setenv("COLUMNS", "100")


def flat(text: str) -> str:
    """The words of a screen, however they are broken into lines."""
    return " ".join(text.split())


@pytest.mark.slow
def test_an_explanation_fits_on_a_screen_and_leaves_nothing_out(starter, tmp_path, wide):
    firing = starter / "failed_firing.toml"
    shown = run("explain", firing, "--out", tmp_path / "o").stdout
    assert len(shown.splitlines()) <= 48
    answer, words = strict(run("explain", firing, "--json").stdout), flat(shown)
    for candidate in answer["candidates"]:
        assert f"{100 * candidate['likelihood']:.0f} % {candidate['mode']}, {candidate['part']}" in words
        assert candidate["would_tell"] in words
        for reason in (*candidate["for"], *candidate["against"]):
            # What a mode brings about is told in one list, and the pressure at the failure once for all.
            assert re.sub(r" \([^)]*\)$", "", reason).rpartition(": ")[2] in words
    for item in (*answer["ruled_out"], *answer["not_assessed"]):
        assert re.search(rf"{re.escape(item['mode'])}(?! hot)", words), item
    for reason in {item["why"] for item in answer["not_assessed"] if "aft_closure" not in item["why"]}:
        assert reason in words
    assert answer["next_step"] in words and re.search(r"\d+ % not on the ladder", words)
    source = answer["pressure_at_failure"]["source"]
    assert words.count(source) == 1
    for caution in answer["cautions"]:
        assert words.count(caution["text"]) == (0 if caution["about"] == "not on the ladder" else 1)
    assert words.count("not a finding") == 2 and words.lower().count("fire remotely") == 1


@pytest.mark.slow
def test_an_explanation_writes_its_page_where_the_others_do(starter, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    firing = starter / "failed_firing.toml"
    assert run("explain", firing, "--json").exit_code == 0 and not list(tmp_path.iterdir())
    shown = run("explain", firing, "--units", "imperial")
    page = tmp_path / "results" / f"{starter.name}-failed_firing" / "explain.html"
    assert shown.exit_code == 0 and page.name in shown.stderr and "psi" in shown.stdout and "MPa" not in shown.stdout
    text = page.read_text()
    assert "What fits the evidence" in text and "psi" in text and text.count("Unburnt propellant in the wreck is live") == 1
    for path in (firing, starter / "motor.toml"):
        assert hashlib.sha256(path.read_bytes()).hexdigest() in text, f"the page says that {path.name} was read"
    assert run("explain", firing, "--json", "--out", tmp_path / "named").exit_code == 0
    assert (tmp_path / "named" / "explain.html").stat().st_size > 10_000


@pytest.mark.slow
def test_what_tests_have_shown_has_a_page_and_a_table_that_is_whole_at_80_columns(starter, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    proof = tmp_path / "proof.toml"
    proof.write_text('schema = 1\nkind = "water"\npressure = "1150 psi"\nplugged = true\noutcome = "held"\n')
    leak = tmp_path / "leak.toml"
    leak.write_text(proof.read_text().replace('"held"', '"leaked"\nmode = "seal extrusion"\npart = "aft closure"'))
    motor, firing = starter / "motor.toml", starter / "firing.toml"
    assert run("vouch", motor, proof, "--json").exit_code == 0 and not (tmp_path / "results").exists()
    shown = run("vouch", motor, proof, firing, leak)
    page = tmp_path / "results" / f"{starter.name}-motor" / "vouch.html"
    assert shown.exit_code == 1 and page.name in shown.stderr
    text = page.read_text()
    for path in (motor, proof, firing, starter / "firing.csv", leak):
        assert hashlib.sha256(path.read_bytes()).hexdigest() in text, f"the page says that {path.name} was read"
    lines = shown.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    answer = strict(run("vouch", motor, proof, firing, leak, "--json", "--out", tmp_path / "o").stdout)
    told = [rung for rung in answer["rungs"] if max(rung["chance_before"], rung["chance_after"]) >= 1e-6]
    for rung in told:  # a line each, mode and part together on it
        line = next(line for line in lines if re.match(rf"\s*{rung['mode']}\s+{rung['part']}\s", line))
        assert "…" not in line and line.count("%") == 2
    assert any("not " in line and "(3)" in line for line in lines)  # what leaked, by the third test
    assert (tmp_path / "o" / "vouch.html").exists()


def test_check_opens_with_the_verdict_and_the_ladder(starter, tmp_path, wide):
    text = (starter / "motor.toml").read_text()
    for key in ("plate_thickness", "ring_material", "ring_edge_distance", "ring_thickness"):
        text = re.sub(rf"(?m)^{key}.*\n", "", text)
    text = text.replace('length = "280 mm"', 'length = "285 mm"')  # what is then assumed of ring and plate is longer
    (tmp_path / "bare.toml").write_text(text.replace('use = "propellant.toml"', f'use = "{starter}/propellant.toml"'))
    result = run("check", tmp_path / "bare.toml", "--all", "--out", tmp_path / "o")
    heads = [line for line in result.stdout.splitlines() if line and not line.startswith(" ")]
    assert heads[2].startswith("Every rung assessed reaches its required factor.")
    titles = ["Failure ladder", "Not assessed", "Ballistics", "Heat", "Masses and airframe", "Room along the case",
              "More on the lowest rungs", "Where the rungs come from", "Cautions"]  # fmt: skip
    began = heads.index(titles[0])  # what comes first may take two lines
    assert heads[3].startswith("First to fail: ") and 4 <= began <= 5
    assert heads[began:] == [titles[0], "What a flaw would do", *titles[1:]]
    answer = strict(run("check", tmp_path / "bare.toml", "--json").stdout)
    missing = answer["not_assessed"]
    assert f"{len(missing)} modes not assessed" in heads[2] and len(missing) >= 10
    body = flat(result.stdout.split("\nNot assessed\n")[1].split("\nBallistics\n")[0])
    for item in missing:
        assert item["mode"] in body and (item["why"] in body or item["why"].replace("aft_", "forward_") in body), item
    assert "(both closures)" in body and body.count("ring_edge_distance") == 1
    bases = flat(result.stdout.split("\nWhere the rungs come from\n")[1].split("\nCautions\n")[0])
    for rung in answer["ladder"]:
        for clause in rung["basis"].split("; "):
            assert bases.count(clause) >= 1, clause
    assert bases.count("radiation at an assumed emissivity of 0.5") == 1


@pytest.mark.slow
def test_check_names_what_falls_short_above_the_ladder(tmp_path, wide):
    weak = CURLEW.read_text().replace("count = 10", "count = 4").replace("../propellants", str(ROOT / "studies/propellants"))
    (tmp_path / "weak.toml").write_text(weak)
    result = run("check", tmp_path / "weak.toml", "--all", "--out", tmp_path / "o")
    above, _, below = result.stdout.partition("\nFailure ladder\n")
    assert result.exit_code == 1 and re.search(r"Falls short: .*screw shear", flat(above))
    short = {rung["mode"] for rung in strict(run("check", tmp_path / "weak.toml", "--json").stdout)["ladder"] if not rung["ok"]}
    assert all(mode in above for mode in short)
    # The notes of what falls short stand under the ladder, before anything else.
    assert "one screw: " in flat(below.partition("\nBallistics\n")[0])


@pytest.mark.parametrize("kernel", ["steady", pytest.param("transient", marks=pytest.mark.slow)])
@pytest.mark.parametrize("screws", [4, *(pytest.param(count, marks=pytest.mark.slow) for count in (10, 1))])
def test_check_fits_a_screen_and_keeps_what_matters(tmp_path, monkeypatch, screws, kernel):
    monkeypatch.setenv("COLUMNS", "100")
    text = CURLEW.read_text().replace("count = 10", f"count = {screws}")
    (tmp_path / "m.toml").write_text(text.replace("../propellants", str(ROOT / "studies/propellants")))
    result = run("check", tmp_path / "m.toml", "--kernel", kernel, "--out", tmp_path / "o")
    answer = strict(run("check", tmp_path / "m.toml", "--kernel", kernel, "--json").stdout)
    lines = result.stdout.splitlines()
    assert len(lines) <= 45 and all(len(line) <= 100 for line in lines), len(lines)
    ladder = result.stdout.split("failure mode")[1].split("what gets too hot")[0]
    rungs = [rung for rung in answer["ladder"] if rung["pressure"] is not None and rung["kind"] != "advice"]
    must = [r for r in rungs if not r["ok"] or r["factor"] <= 2.0 * rungs[0]["factor"]] + rungs[:5]
    for rung in must:
        assert re.search(rf"{rung['mode']} +{rung['part']} .*×{rung['factor']:.2f}", ladder), rung
    for word in ("Ballistics", "airframe", "Not assessed", "Fire remotely", "--all"):
        assert word in result.stdout
    whole = run("check", tmp_path / "m.toml", "--kernel", kernel, "--all", "--out", tmp_path / "o").stdout
    assert all(rung["mode"] in whole for rung in answer["ladder"]) and len(whole.splitlines()) > 60


@pytest.mark.parametrize("name", ["plover", *(pytest.param(name, marks=pytest.mark.slow) for name in ("dunlin", "snipe"))])
def test_check_of_every_motor_fits_a_screen(name, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    lines = run("check", ROOT / "studies" / "motors" / f"{name}.toml", "--out", tmp_path / "o").stdout.splitlines()
    assert len(lines) <= 45 and all(len(line) <= 100 for line in lines), len(lines)


PROOFS = """
[[evidence]]
kind = "water"
pressure = "1150 psi"
plugged = true
outcome = "held"

[[evidence]]
kind = "water"
pressure = "1900 psi"
plugged = true
outcome = "leaked"
mode = "seal extrusion"
part = "aft closure"
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("columns", "units"), [(80, "imperial"), (100, "metric"), pytest.param(80, "metric", marks=pytest.mark.slow)]
)
def test_each_rung_says_its_band_what_it_held_and_how_often_it_is_the_first(starter, tmp_path, monkeypatch, columns, units):
    """A line a rung, whole at 80 columns: numbers and words, whether there is room for a bar or not."""
    monkeypatch.setenv("COLUMNS", str(columns))
    motor = tmp_path / "m.toml"
    motor.write_text((starter / "motor.toml").read_text().replace("propellant.toml", str(starter / "propellant.toml")) + PROOFS)
    shown = run("check", motor, "--units", units, "--out", tmp_path / "o").stdout
    answer = strict(run("check", motor, "--json").stdout)
    lines = shown.splitlines()
    assert max(map(len, lines)) <= columns and "…" not in shown and re.search(r" held( first)? *$", shown, re.M)
    told, over = 0, 1e6 if units == "metric" else 6894.757293168
    for rung in answer["ladder"]:
        found = [line for line in lines if re.match(rf"  {rung['mode']} +{rung['part']} ", line)]
        if rung["kind"] == "heat" or not found:
            continue
        told += 1
        low, high = (float(f"{end / over:.4g}") for end in rung["band"])
        band = re.search(r"([\d.]+)–([\d.]+)", found[0])
        assert float(band[1]) == pytest.approx(low, rel=6e-3) and float(band[2]) == pytest.approx(high, rel=6e-3)
        if rung["held"]:
            assert f"{rung['held'] / over:.4g}".rstrip("0") in found[0]
        if rung["first_to_fail"] and rung["first_to_fail"] >= 0.005:
            assert f"{100 * rung['first_to_fail']:.0f} %" in found[0]
    assert told >= 6 and answer["ladder"][0]["held"]
    leaked = next(r for r in answer["ladder"] if (r["mode"], r["part"]) == ("seal extrusion", "aft closure"))
    assert leaked["band"][1] <= 1900 * 6894.757293168 * 1.03 * 1.001 and leaked["band"][0] < leaked["likely"] < leaked["band"][1]
    assert ("▬" in shown) is (columns == 100)


@pytest.mark.slow
def test_a_file_may_ask_for_its_units_and_the_option_stands_above(starter, tmp_path, monkeypatch):
    monkeypatch.chdir(starter)
    motor = starter / "motor.toml"
    motor.write_text('units = "imperial"\n' + motor.read_text())
    asked = run("check", motor).stdout
    assert " psi" in asked and " MPa" not in asked
    assert " MPa" in run("check", motor, "--units", "metric").stdout
    assert "psi" in run("spread", motor, "--samples", "16").stdout
    assert "psi" in run("explain", starter / "failed_firing.toml").stdout
    motor.write_text(motor.read_text().replace("imperial", "furlongs"))
    refused = run("check", motor)
    assert refused.exit_code == 2 and "imperial" in refused.stderr and "units" in refused.stderr
