"""Nothing of the builder's is written over, commands keep out of each other's way, and what should not happen is told."""

from __future__ import annotations

import errno
import json
import os
import re
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner
from fault_common import MOTOR, write_study

from optimizer import results
from optimizer.cli import main
from optimizer.commands.new import create


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def process(*words, cwd, close="", **environment):
    line = [sys.executable, "-m", "optimizer.cli", *(str(word) for word in words)]
    root = str(Path(__file__).parents[2])
    told = {**os.environ, "PYTHONPATH": root, **environment}
    shell = " ".join(f"'{word}'" for word in line) + f" {close}"
    return subprocess.run(["sh", "-c", shell], cwd=cwd, env=told, capture_output=True, timeout=120, check=False)


def contents(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture
def start(tmp_path, monkeypatch):
    create(tmp_path / "start")
    monkeypatch.chdir(tmp_path / "start")
    return tmp_path / "start"


# --- places -------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_each_command_has_its_own_page_and_each_motor_its_own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for place in ("a/motors", "b/motors", "results/one/motors"):
        create(tmp_path / place)
    (tmp_path / "a/motors/motor.toml").rename(tmp_path / "a/motors-motor.toml")
    (tmp_path / "a/motors-motor.toml").write_text((tmp_path / "b/motors/motor.toml").read_text().replace(
        "propellant.toml", "../b/motors/propellant.toml"))  # fmt: skip
    (tmp_path / "a/motors/motor.toml").write_text((tmp_path / "b/motors/motor.toml").read_text())
    made = {}
    for motor in ("a/motors/motor.toml", "b/motors/motor.toml", "results/one/motors/motor.toml", "a/motors-motor.toml"):
        for command in (("check",), ("spread", "--samples", "64")) if motor != "b/motors/motor.toml" else (("check",), ("draw",)):
            before = contents(tmp_path / "results")
            assert run(*command, motor).exit_code == 0
            after = contents(tmp_path / "results")
            kept = {name: text for name, text in before.items() if not name.endswith("written.json")}
            assert kept.items() <= after.items(), f"{command} of {motor} changed what another had written"
            made[motor, command[0]] = {Path(name).parts[0] for name in after if after[name] != before.get(name)}
    folders = [made[key] for key in made]
    assert all(len(folder) == 1 for folder in folders) and len(set().union(*folders)) == 4
    assert made["results/one/motors/motor.toml", "check"] == {"one-motors-motor"}
    assert made["a/motors-motor.toml", "check"] == {"a-motors-motor-2"}
    assert run("check", "b/motors/motor.toml").exit_code == 0  # its own it may replace
    assert {"check.html", "section.svg"} <= {path.name for path in Path("results/b-motors-motor").iterdir()}


# --- what is not ours ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_search_beside_the_builders_own_motors_changes_none_of_them(tmp_path):
    study = write_study(tmp_path, throat="2 mm")
    own = tmp_path / "motors"
    own.mkdir()
    for name in ("01.toml", "07.toml", "99.toml", "mine.toml"):
        (own / name).write_text(f"# {name}\n")
    before = contents(tmp_path)
    refused = run("search", study, "--out", tmp_path)
    assert refused.exit_code == 2 and "01.toml" in refused.stderr and "not written here" in refused.stderr
    assert refused.stdout == "" and contents(tmp_path) == before
    for name in ("01.toml", "07.toml", "99.toml"):
        (own / name).unlink()
    assert run("search", study, "--out", tmp_path, "--quiet").exit_code == 0
    assert (own / "mine.toml").read_text() == "# mine.toml\n"
    listed = json.loads((tmp_path / results.LISTING).read_text())["files"]
    assert {"motors/01.toml", "pareto.csv", "report.html", "run.json"} <= set(listed)
    assert run("search", study, "--out", tmp_path, "--quiet").exit_code == 0  # every file its own
    (own / "01.toml").write_text((own / "01.toml").read_text() + "# turned to 1.5 mm by hand\n")
    changed = contents(tmp_path)
    refused = run("search", study, "--out", tmp_path)
    assert refused.exit_code == 2 and "changed since" in refused.stderr and contents(tmp_path) == changed


@pytest.mark.parametrize("name", ["pareto.csv", "report.html", "run.json", results.LISTING])
def test_a_file_of_that_name_that_no_run_wrote_is_a_refusal_before_the_work(tmp_path, monkeypatch, name):
    study = write_study(tmp_path, throat="2 mm")
    out = tmp_path / "out"
    out.mkdir()
    (out / name).write_text("the builder's own")
    monkeypatch.setattr("optimizer.commands.search.Families", lambda *given: pytest.fail("the work had begun"))
    result = run("search", study, "--out", out)
    assert result.exit_code == 2 and name in result.stderr and "--out" in result.stderr
    assert (out / name).read_text() == "the builder's own"


@pytest.mark.parametrize("command", ["check", "spread", "compare", "reduce", "explain", "draw"])
def test_the_pages_of_commands_are_refused_over_a_file_of_the_builders(start, command):
    name = "cut-list.csv" if command == "draw" else f"{command}.html"
    Path("out").mkdir()
    (Path("out") / name).write_text("mine")
    given = {"compare": ("motor.toml", "motor.toml"), "reduce": ("firing.toml",), "explain": ("failed_firing.toml",)}
    result = run(command, *given.get(command, ("motor.toml",)), "--out", "out", "--json")
    assert result.exit_code == 2 and name in result.stderr and result.stdout == ""
    assert contents(Path("out")) == {name: b"mine"}


def linked(kind, source):
    """Another way to say the same file."""
    if kind == "symbolic link":
        Path("way").symlink_to(source)
    elif kind == "hard link":
        os.link(source, "way")
    elif kind == "link to its folder":
        Path("folder").symlink_to(Path.cwd())
        return Path("folder") / source
    else:
        return {"plain": Path(source), "dotted": Path("stock/..") / source, "whole": Path(source).absolute()}[kind]
    return Path("way")


LADDER, CURVE = ("check", "motor.toml", "--ladder"), ("check", "motor.toml", "--curve")
FITTED = ("reduce", "firing.toml", "--propellant")


@pytest.mark.parametrize(
    ("line", "source", "kind"),
    [
        (LADDER, "motor.toml", "plain"), (LADDER, "motor.toml", "dotted"), (LADDER, "motor.toml", "whole"),
        (LADDER, "motor.toml", "symbolic link"), (LADDER, "motor.toml", "hard link"), (LADDER, "motor.toml", "link to its folder"),
        (CURVE, "propellant.toml", "plain"), (FITTED, "firing.csv", "symbolic link"), (FITTED, "firing.toml", "plain"),
        (FITTED, "motor.toml", "hard link"),
    ],
)  # fmt: skip
def test_no_output_is_ever_an_input(start, line, source, kind):
    before = contents(start)
    way = linked(kind, source)
    result = run(*line, way, "--json")
    assert result.exit_code == 2 and "input of this command" in result.stderr and result.stdout == ""
    assert {name: text for name, text in contents(start).items() if name in before} == before


def test_a_result_that_is_the_base_of_its_own_study_is_not_written_over(start):
    Path("out/motors").mkdir(parents=True)
    Path("out/motors/01.toml").write_text(Path("motor.toml").read_text().replace("propellant.toml", "../../propellant.toml"))
    Path("study.toml").write_text(Path("study.toml").read_text().replace('"motor.toml"', '"out/motors/01.toml"'))
    result = run("search", "study.toml", "--out", "out")
    assert result.exit_code == 2 and "input of this command" in result.stderr


@pytest.mark.slow
@pytest.mark.parametrize(("option", "command"), [("--curve", "check"), ("--ladder", "check"), ("--propellant", "reduce")])
def test_a_named_file_that_is_something_else_is_not_replaced(start, option, command):
    given = "motor.toml" if command == "check" else "firing.toml"
    Path("notes.svg").write_text("what I measured on Sunday")
    result = run(command, given, option, "notes.svg", "--json")
    assert result.exit_code == 2 and "already" in result.stderr and Path("notes.svg").read_text() == "what I measured on Sunday"
    if command == "check":
        for _ in range(2):  # its own it may replace
            assert run(command, given, option, "new.svg", "--json").exit_code == 0


def test_a_kill_between_the_files_leaves_both_old_and_new_known(tmp_path, monkeypatch):
    results.write_together(tmp_path, {"a": "old", "b": "old"})
    replace, calls = os.replace, []

    def stop(source, target):
        calls.append(target)
        if len(calls) == 3:  # the listing, the first file, and then
            raise KeyboardInterrupt
        replace(source, target)

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        results.write_together(tmp_path, {"a": "new", "b": "new"})
    monkeypatch.undo()
    assert {(tmp_path / name).read_text() for name in "ab"} == {"old", "new"}
    results.write_together(tmp_path, {"a": "newer", "b": "newer"})
    assert (tmp_path / "a").read_text() == (tmp_path / "b").read_text() == "newer"


# --- what should not happen ---------------------------------------------------------------------------------------------


def test_a_fault_of_ours_ends_in_one_line_and_a_file_with_the_details(start, monkeypatch):
    def fail(*arguments, **options):
        raise ZeroDivisionError("float \x1b[31m division\nby zero")

    monkeypatch.setattr("physics.assessment.assess", fail)
    result = run("check", "motor.toml")
    assert result.exit_code == 3 and result.stdout == "" and len(result.stderr.splitlines()) == 1
    assert "\x1b" not in result.stderr and "ZeroDivisionError" in result.stderr
    details = Path(re.search(r"details are in (\S+)\. What", result.stderr)[1])
    text = details.read_text()
    assert "Traceback" in text and "ZeroDivisionError" in text and details.stat().st_mode & 0o077 == 0
    details.unlink()

    def full(*arguments, **options):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("tempfile.mkstemp", full)
    result = run("check", "motor.toml")
    assert result.exit_code == 3 and "could not be written" in result.stderr and len(result.stderr.splitlines()) == 1


def test_warnings_of_the_libraries_stay_off_the_terminal(start, monkeypatch):
    import warnings

    from optimizer import cautions

    def warn(*arguments, **options):
        warnings.warn("invalid value encountered", RuntimeWarning, stacklevel=1)
        return []

    monkeypatch.setattr(cautions, "cautions", warn)
    result = run("check", "motor.toml")
    assert result.exit_code == 0 and "invalid value" not in result.stderr + result.stdout


@pytest.mark.parametrize(
    "url", ["postgresql://[::1/x", "postgresql://host:many/x", "postgresql://host:99999/x", "postgres://[x]/y"]
)
def test_a_store_that_is_no_address_is_refused(tmp_path, url):
    study = write_study(tmp_path, throat="2 mm", driver=f'method = "evolve"\nbudget = 50\nstore = "{url}"')
    result = run("search", study, "--out", tmp_path / "out", "--json")
    assert result.exit_code == 2 and "driver.store" in result.stderr and not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_closed_standard_output_is_told_before_the_work(start):
    before = contents(start)
    ended = process("check", "motor.toml", "--json", cwd=start, close=">&-")
    assert ended.returncode == 3 and b"standard output is closed" in ended.stderr and ended.stderr.count(b"\n") == 1
    assert contents(start) == before
    assert process("check", "motor.toml", "--quiet", cwd=start, close=">&- 2>&- <&-").returncode == 0
    assert (start / "results" / "motor" / "check.html").stat().st_size > 10_000


@pytest.mark.slow
def test_a_locale_without_the_signs_and_a_clock_that_is_no_number(start):
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "SOURCE_DATE_EPOCH": "abc"}
    (start / "m\u00f6tor.toml").write_text((start / "motor.toml").read_text())
    for line in (("check", "m\u00f6tor.toml"), ("draw", "m\u00f6tor.toml"), ("check", "m\u00f6t.toml")):
        ended = process(*line, cwd=start, **plain)
        assert ended.returncode == (2 if line[1] == "m\u00f6t.toml" else 0), ended.stderr
        assert b"Traceback" not in ended.stderr and b"fault of this program" not in ended.stderr


# --- drawings of no one's taste but ours ----------------------------------------------------------------------------------


@pytest.mark.slow
def test_settings_of_the_folder_or_the_environment_change_no_drawing(start):
    assert process("draw", "motor.toml", "--out", "one", cwd=start, PYTHONHASHSEED="0").returncode == 0
    (start / "matplotlibrc").write_text("text.usetex: True\nbackend: nonsense\nsavefig.bbox: tight\nlines.linewidth: 9\n")
    other = {"MPLBACKEND": "nonsense", "MATPLOTLIBRC": "matplotlibrc", "SOURCE_DATE_EPOCH": "x"}
    ended = process("draw", "motor.toml", "--out", "two", cwd=start, PYTHONHASHSEED="4", **other)  # 4 turned two classes about
    assert ended.returncode == 0, ended.stderr
    assert b"matplotlibrc" not in ended.stderr
    assert contents(start / "one") == contents(start / "two")


# --- signs that a terminal or a file would act on -------------------------------------------------------------------------

SIGNS = "\x1b[31m\x9b2J\x07\x7f\u202e\u2066\u200f\x85"


def hidden(text):
    return {letter for letter in text if unicodedata.category(letter) in ("Cc", "Cf", "Zl", "Zp")} - {"\n"}


@pytest.mark.slow
def test_no_sign_of_a_name_reaches_the_terminal_or_spoils_a_file(start):
    from xml.dom import minidom

    import ezdxf

    name = f"a{SIGNS}\x00b"
    told = json.dumps(name).replace("\x7f", "\\u007F")
    text = re.sub(r"(?m)^name = .*$", lambda found: f"name = {told}", Path("motor.toml").read_text(), count=1)
    file = f"m{SIGNS}.toml"
    Path(file).write_text(text)
    firing = f"f{SIGNS}.toml"
    Path(firing).write_text(Path("failed_firing.toml").read_text())
    good = [("check", file, "--ladder", "l.svg"), ("check", file, "--json"), ("spread", file, "--samples", "64"),
            ("compare", file, "motor.toml"), ("draw", file, "--out", "drawn"), ("explain", firing)]  # fmt: skip
    wrong = [("check", f"{file}x"), ("check", file, "--curve", file), ("check", file, "--out", file)]
    for line in (*good, *wrong):
        result = run(*line)
        assert result.exit_code == (0 if line in good else 2) or line[2:3] == ("--out",), (line, result.output)
        assert not hidden(result.stdout + result.stderr), (line, hidden(result.stdout + result.stderr))
    minidom.parse("l.svg")
    minidom.parse("drawn/section.svg")
    for path in Path("drawn").glob("*.dxf"):
        ezdxf.readfile(path)
        assert not hidden(path.read_bytes().decode().replace("\r", ""))


FORMULAS = ["=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t=", "\n=", " \uff1d", "\ufe66"]


@pytest.mark.parametrize("start_sign", FORMULAS)
def test_no_cell_begins_a_formula(start_sign):
    cell = results.safe_cell(f"{start_sign}cmd|' /C calc'!A0")
    assert cell.startswith("'") and results.csv_text(["a"], [[f"{start_sign}1"]]).split("\n")[1].lstrip('"').startswith("'")


@pytest.mark.slow
def test_the_longest_name_that_is_read_is_searched_too(tmp_path):
    study = write_study(tmp_path, throat="2 mm")
    text = study.read_text()
    study.write_text(re.sub(r"(?m)^name = .*$", f'name = "{"x" * 1999}"', text, count=1))
    assert run("search", study, "--out", tmp_path / "out", "--json").exit_code == 0
    assert MOTOR


# --- records as loggers write them ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("layout", ["utf-16", "utf-16-be with its mark", "a head of 400 lines"])
def test_a_record_of_another_layout_is_read_alike(start, layout):
    from optimizer.firings.record import read_record
    from optimizer.inputs import load_firing

    plain = read_record(load_firing("firing.toml"))
    text = Path("firing.csv").read_text()
    if layout == "utf-16":
        Path("firing.csv").write_bytes(text.encode("utf-16"))
    elif layout.startswith("utf-16-be"):
        Path("firing.csv").write_bytes(b"\xfe\xff" + text.encode("utf-16-be"))
    else:
        Path("firing.csv").write_text("".join(f"# setting {number}\n" for number in range(400)) + text)
    found = read_record(load_firing("firing.toml"))
    assert len(found.time) == len(plain.time) > 100 and (found.time == plain.time).all()


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-32-le"])
def test_a_record_of_wide_letters_without_a_mark_is_refused_with_its_cure(start, encoding):
    Path("firing.csv").write_bytes(Path("firing.csv").read_text().encode(encoding))
    result = run("reduce", "firing.toml", "--json")
    assert result.exit_code == 2 and "UTF-16" in result.stderr and "save it as CSV text in UTF-8" in result.stderr
