"""The documents are true: their examples run, and the commands, options and files they name are there.

The worked changes of DEVELOPERS.md are applied, just as written, to a copy of the two packages, and what stands under
`then` runs there, in a starter folder whose study is cut down to a few candidates.
"""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import click
import pytest

from optimizer.cli import main
from optimizer.commands.new import create

ROOT = Path(__file__).parents[2]
GUIDE = ROOT / "DEVELOPERS.md"
README = ROOT / "README.md"
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.S | re.M)


def blocks(text: str, language: str) -> list[str]:
    return [body for kind, body in BLOCK.findall(text) if kind == language]


def worked_changes() -> dict[str, list[tuple[str, str]]]:
    """The fenced blocks below each third-level heading of the guide, as (first line, rest)."""
    found: dict[str, list[tuple[str, str]]] = {}
    for part in re.split(r"^### ", GUIDE.read_text(encoding="utf-8"), flags=re.M)[1:]:
        title, _, body = part.partition("\n")
        body = re.split(r"^## ", body, flags=re.M)[0]
        pieces = [block.split("\n", 1) for _, block in BLOCK.findall(body)]
        if pieces:
            found[title] = [(first.removeprefix("# "), rest) for first, rest in pieces]
    return found


CHANGES = worked_changes()


def apply(head: str, body: str, root: Path) -> None:
    """One `add to FILE`, `add to FILE, in TABLE`, `add to FILE, before TEXT` or `change in FILE` block."""
    changed = re.fullmatch(r"change in (\S+)", head)
    if changed:
        old, new = body.strip().split("\n")
        rewrite(root / changed[1], old, new)
        return
    told = re.fullmatch(r"add to ([^,]+)(?:, (in|before) (.+))?", head)
    assert told, f"the guide has a block that says neither where it goes nor `then`: {head!r}"
    path = root / told[1]
    if told[2] is None:
        path.write_text(path.read_text(encoding="utf-8").rstrip() + "\n\n\n" * (path.suffix == ".py") + body, "utf-8")
        if path.suffix == ".csv":
            text = path.read_text(encoding="utf-8").replace(body, "\n" + body)
            path.write_text(text, encoding="utf-8")
        return
    start = re.search(rf"^{re.escape(told[3])}.*\n(?: +[({{]\n)?", path.read_text(encoding="utf-8"), re.M)
    assert start, f"{told[1]} has no line that starts with {told[3]}"
    line = start[0]
    rewrite(path, line, line + body.rstrip("\n") + "\n" if told[2] == "in" else body.rstrip("\n") + "\n\n\n" + line)


def rewrite(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{path.name}: {old!r} stands there {text.count(old)} times, not once"
    path.write_text(text.replace(old, new), encoding="utf-8")


def run(code: str, folder: Path, packages: Path) -> str:
    own = f"import optimizer, physics\nassert optimizer.__file__.startswith({str(packages)!r})\n"
    done = subprocess.run(
        [sys.executable, "-c", own + code],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(packages)}, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def small_starter(folder: Path) -> Path:
    """A starter folder with few candidates."""
    create(folder)
    study = folder / "study.toml"
    text = study.read_text(encoding="utf-8")
    text = re.sub(r"^grain_count = .*$", "grain_count = [2, 3]", text, flags=re.M)
    text = re.sub(r"^throat_diameter = .*$", 'throat_diameter = ["10 mm", "11 mm"]', text, flags=re.M)
    study.write_text(re.sub(r"^wall = .*$", 'wall = ["3 mm", "4 mm"]', text, flags=re.M), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def changed_project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the packages with every worked change in it."""
    root = tmp_path_factory.mktemp("changed")
    for package in ("physics", "optimizer"):
        shutil.copytree(ROOT / package, root / package, ignore=shutil.ignore_patterns("__pycache__"))
    for pieces in CHANGES.values():
        for head, body in pieces:
            if head != "then":
                apply(head, body, root)
    return root


def test_the_guide_works_all_eight_changes():
    assert list(CHANGES) == [
        "A failure mode", "A material", "A propellant", "A search variable", "A limit", "An objective",
        "A report panel", "A command",
    ]  # fmt: skip
    assert all(any(head == "then" for head, _ in pieces) for pieces in CHANGES.values())
    for title, pieces in CHANGES.items():
        places = [head for head, _ in pieces if head != "then"]
        assert len(places) <= 2, f"{title} takes {len(places)} edits; the guide promises a file and a row"


LONG = ("A search variable", "A limit", "An objective", "A report panel", "A propellant")


@pytest.mark.parametrize("title", [pytest.param(title, marks=pytest.mark.slow if title in LONG else ()) for title in CHANGES])
def test_a_worked_change_does_what_the_guide_says(title, changed_project, tmp_path):
    folder = small_starter(tmp_path / "start")
    for head, body in CHANGES[title]:
        if head == "then":
            run(body, folder, changed_project)


LINER_MODE = """def liner_tear(motors: Motors, situation: Situation) -> Array:
    \"""Head pressure at which the liner tears; invented, far below any motor's pressure. [Pa], (n,)\"""
    return np.asarray(30e6 * need(motors, "liner.thickness") / need(motors, "case").bore)
"""
LINER_ROW = '    Mode("liner tear", "liner", "rupture", "invented", closures.liner_tear),\n'
LINER_ASKED = """
from pathlib import Path
from optimizer import load_motor, load_study, search
from optimizer.commands.spread import spread

found = spread(load_motor("motor.toml").motors, samples=512)
assert dict(((mode, part), chance.value) for mode, part, chance in found.rungs)["liner tear", "liner"] > 0.99
assert found.any_failure.value > 0.99

text = Path("study.toml").read_text().replace("minimum_factor = {", 'minimum_factor = {"liner tear" = 0.1, ', 1)
text = text.replace('smallest_factor = "max"', "chance_of_failure = 'min'\\nsmallest_factor = {sense = 'max', percentile = 5}", 1)
text = text.replace("[driver]", "[driver]\\nsamples = 64", 1)
Path("torn.toml").write_text(text)
result = search(load_study("torn.toml"))
assert result.designs
assert all(design.results["chance_of_failure"] > 0.99 for design in result.designs)
assert all(design.results["smallest_factor_p5"] < 0.5 for design in result.designs)
"""


@pytest.mark.slow
def test_a_failure_mode_that_reads_the_liner_counts_under_the_tolerances(tmp_path):
    """The same two edits with a mode of the liner, on which every motor fails: neither spread nor search may lose it."""
    root = tmp_path / "house"
    for package in ("physics", "optimizer"):
        shutil.copytree(ROOT / package, root / package, ignore=shutil.ignore_patterns("__pycache__"))
    heads = [head for head, _ in CHANGES["A failure mode"] if head != "then"]
    for head, body in zip(heads, (LINER_MODE, LINER_ROW), strict=True):
        apply(head, body, root)
    run(LINER_ASKED, small_starter(tmp_path / "start"), root)


@pytest.mark.slow
def test_without_the_change_the_example_fails(tmp_path):
    """The examples prove something: on the packages as they are, what the first one shows is not there."""
    folder = small_starter(tmp_path / "start")
    for title, sign in (("A failure mode", "KeyError"), ("A command", "CalledProcessError"), ("A limit", "E151")):
        [body] = [body for head, body in CHANGES[title] if head == "then"]
        with pytest.raises(AssertionError, match=sign):
            run(body, folder, ROOT)


@pytest.mark.slow
def test_the_python_of_the_readme_runs(tmp_path):
    if not README.exists():
        pytest.skip("there is no README.md yet")
    code = "\n".join(blocks(README.read_text(encoding="utf-8"), "python"))
    folder = small_starter(tmp_path / "start")
    shutil.copytree(ROOT / "studies", folder / "studies", ignore=shutil.ignore_patterns("results"))
    said = run(code, folder, ROOT)
    assert "pressure" in said and "loaded_mass" in said and "Every candidate" in said


@pytest.mark.parametrize("path", [README, GUIDE], ids=lambda path: path.name)
def test_commands_and_options_in_the_documents_exist(path):
    if not path.exists():
        pytest.skip(f"there is no {path.name} yet")
    text = path.read_text(encoding="utf-8")
    shared = {option for command in main.commands.values() for option in options_of(command)}
    for name, rest in re.findall(r"grainwright ([a-z]+)([^\n`|]*)", text):
        if f"def {name}(motor: Path" in text:
            continue  # made by a worked change of the guide itself
        assert name in main.commands or not rest, f"{path.name} names a command that is not there: grainwright {name}"
        for option in re.findall(r"(?<![\w-])--[a-z-]+", rest):
            known = options_of(main.commands[name]) | {"--help"}
            assert option in known, f"{path.name}: grainwright {name} has no {option}"
    assert shared >= {"--json", "--units", "--out", "--quiet"}


@pytest.mark.parametrize("name", sorted(main.commands))
def test_help_ends_with_a_line_to_copy(name):
    command = main.commands[name]
    example = re.fullmatch(rf"Example: grainwright {name} (.+)", command.epilog or "")
    assert example, f"grainwright {name} --help shows no example"
    words = example[1].split()
    command.make_context(name, list(words))  # refuses an argument or option that is not there
    assert not any(word.startswith("--") and word not in options_of(command) for word in words)


def options_of(command: click.Command) -> set[str]:
    return {option for parameter in command.params for option in parameter.opts}


def test_every_command_is_in_the_readme():
    if not README.exists():
        pytest.skip("there is no README.md yet")
    text = README.read_text(encoding="utf-8")
    if "grainwright check" not in text:
        pytest.skip("README.md does not describe the commands yet")
    missing = [name for name in main.commands if f"grainwright {name}" not in text]
    assert not missing, f"the README says nothing of: {', '.join(missing)}"


@pytest.mark.parametrize("path", [README, GUIDE], ids=lambda path: path.name)
def test_files_that_the_documents_name_exist(path):
    if not path.exists():
        pytest.skip(f"there is no {path.name} yet")
    text = path.read_text(encoding="utf-8")
    named = set(re.findall(r"(?<![\w./-])((?:tests|physics|optimizer|studies)/[\w./-]*[\w/])", text))
    missing = sorted(name for name in named if not (ROOT / name).exists() and "/results" not in name)
    assert not missing, f"{path.name} names what is not there: {', '.join(missing)}"
    for target in re.findall(r"\]\((?!https?:)([^)#]+)\)", text):
        assert (ROOT / target).exists(), f"{path.name} links to {target}, which is not there"


def test_the_guide_has_a_line_for_every_file():
    text = GUIDE.read_text(encoding="utf-8")
    told = text[text.index("## The map") : text.index("## A change, worked")]
    for package in ("physics", "optimizer"):
        for path in (ROOT / package).rglob("*.py"):
            if path.name != "__init__.py":
                assert f"`{path.name}`" in told, f"{path.relative_to(ROOT)} has no line in DEVELOPERS.md"
    modules = {path.name for package in ("physics", "optimizer") for path in (ROOT / package).rglob("*.py")}
    gone = [name for name in re.findall(r"`([a-z_]+\.py)`", told) if name not in modules]
    assert not gone, f"DEVELOPERS.md has lines for files that are gone: {', '.join(gone)}"


def test_the_anchors_of_the_guide_lead_somewhere():
    text = GUIDE.read_text(encoding="utf-8")
    heads = {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in re.findall(r"^#+ (.+)$", text, flags=re.M)}
    for anchor in re.findall(r"\]\(#([^)]+)\)", text):
        assert anchor in heads, f"no heading for #{anchor}"


def test_the_picture_of_the_readme_is_the_ladder_of_today():
    """The rungs of studies/ladder.svg, their levels and factors are those that `check` gives, in its order."""
    from optimizer.inputs import load_motor
    from optimizer.units import show
    from physics.assessment import assess
    from physics.failure.ladder import in_order

    picture = ROOT / "studies" / "ladder.svg"
    assert "](studies/ladder.svg)" in README.read_text(encoding="utf-8")
    spaces = {"svg": "http://www.w3.org/2000/svg"}
    drawn = []
    for rung in ElementTree.parse(picture).iterfind(".//svg:g", spaces):
        name, number = (" ".join("".join(text.itertext()).split()) for text in rung.iterfind("svg:text", spaces))
        drawn.append((name, number))
    look = assess(load_motor(ROOT / "studies" / "motors" / "curlew.toml").motors)
    expected = []
    for rung in sorted(in_order(look.ladder), key=lambda rung: rung.pressure is None):  # pressures first
        level, kind = (rung.time, "time") if rung.pressure is None else (rung.pressure, "pressure")
        if math.isinf(float(level[0])):
            number = "not reached in the model"
        else:
            asked = f"of {float(rung.required[0]):.2f}" if rung.required[0] else "advice"
            number = f"{show(float(level[0]), kind, 'metric')} ×{float(rung.factor[0]):.2f} {asked}"
        expected.append((f"{rung.mode} {rung.part}", number))
    assert drawn == expected, "make it again: the command stands in DEVELOPERS.md"
    assert len(drawn) > 25 and f"max. expected {show(float(look.maximum_expected_pressure[0]), 'pressure', 'metric')}" in (
        picture.read_text(encoding="utf-8")
    )


def test_the_study_of_the_readme_is_read(tmp_path):
    """The study that the README explains, beside the starter motor with a wall of its list."""
    from optimizer.inputs import load_study

    [text] = [block for block in blocks(README.read_text(encoding="utf-8"), "toml") if block.startswith("[search]")]
    folder = small_starter(tmp_path / "start")
    motor = (folder / "motor.toml").read_text(encoding="utf-8")
    (folder / "motor.toml").write_text(motor.replace('outer_diameter = "50 mm"', 'outer_diameter = "2 in"'), encoding="utf-8")
    (folder / "told.toml").write_text(f'schema = 1\nname = "told"\nmotor = "motor.toml"\n{text}', encoding="utf-8")
    study = load_study(folder / "told.toml")
    assert [limit.name for limit in study.limits if limit.percentile] == ["total_impulse_p5"]
    assert [aim.name for aim in study.objectives] == ["loaded_mass", "total_impulse_p5", "factor.screw shear"]
    assert study.driver.samples == 512 and any("continuous" in caution for caution in study.cautions)
