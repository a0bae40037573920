"""What is saved: the file as it was but for what was turned, nothing written over, a study that can be searched."""

from __future__ import annotations

import difflib
import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.inputs import load_motor, load_study
from optimizer.live.bench import Bench
from optimizer.live.saving import Refused, edited_text, free_name, save_motor, save_study
from optimizer.results import OutputError, inputs_kept
from physics.assessment import assess

STUDIES = Path(__file__).resolve().parents[3] / "studies"


@pytest.fixture
def bench(tmp_path):
    shutil.copytree(STUDIES, tmp_path / "studies")
    with inputs_kept():
        yield Bench.of(tmp_path / "studies" / "motors" / "curlew.toml")


def differing(old: str, new: str) -> list[str]:
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines()) if line[:2] in ("- ", "+ ")]


def test_only_what_was_turned_differs(bench):
    made = bench.turned(
        {"forward_closure.edge_distance": "12 mm", "nozzle.throat_diameter": "0.5 in", "forward_closure.count": "12"}
    )
    saved = save_motor(bench.file, bench.knobs, made, "curlew-2.toml")
    assert differing(bench.file.text, saved.path.read_text()) == [
        '- throat_diameter = "13 mm"',
        '+ throat_diameter = "0.5 in"',
        "- count = 10",
        "+ count = 12",
        '- edge_distance = "11 mm"                # hole centre to the end of the case',
        '+ edge_distance = "12 mm"                # hole centre to the end of the case',
    ]
    assert saved.comments == ("line 39: hole centre to the end of the case",) or len(saved.comments) == 1


@pytest.mark.slow
def test_a_saved_motor_checks_to_the_last_digit(bench):
    values = {"nozzle.throat_diameter": "12.4 mm", "case.wall": "0.12 in"}
    made = bench.turned(values)
    live = assess(bench.motor(made).motors, curve=True)
    read = assess(load_motor(save_motor(bench.file, bench.knobs, made, "again.toml").path).motors, curve=True)
    assert {k: v.tobytes() for k, v in live.figures.values.items()} == {k: v.tobytes() for k, v in read.figures.values.items()}
    assert [r.factor.tobytes() for r in live.ladder.rungs] == [r.factor.tobytes() for r in read.ladder.rungs]


def test_nothing_is_written_over(bench):
    made = bench.turned({"nozzle.throat_diameter": "12 mm"})
    (bench.file.path.parent / "mine.toml").write_text("mine")
    for name in ("mine.toml", "snipe.toml", "curlew.toml"):
        with pytest.raises(Refused):
            save_motor(bench.file, bench.knobs, made, name)
    with pytest.raises(Refused):
        save_motor(bench.file, bench.knobs, made, "snipe.toml", over=True)
    assert (bench.file.path.parent / "mine.toml").read_text() == "mine"


def test_the_file_itself_is_written_over_where_that_is_asked_and_nobody_changed_it(bench):
    made = bench.turned({"nozzle.throat_diameter": "12 mm"})
    save_motor(bench.file, bench.knobs, made, "curlew.toml", over=True)
    assert 'throat_diameter = "12 mm"' in bench.file.path.read_text()
    with pytest.raises(Refused, match="changed on disk"):
        save_motor(bench.file, bench.knobs, made, "curlew.toml", over=True)


NO_NAMES = (
    "../up.toml", "/etc/x.toml", "a/b.toml", "a\\b.toml", "x.txt", "", ".toml", "..toml", "a\x00.toml", "é.toml",
    "x" * 90 + ".toml", None, 3, ["a.toml"], "-rf.toml", " a.toml", "a\n.toml",
)  # fmt: skip


def test_a_name_is_a_name_and_no_path(bench):
    before = sorted(bench.file.path.parent.parent.rglob("*"))
    made = bench.turned({"nozzle.throat_diameter": "12 mm"})
    for name in NO_NAMES:
        with pytest.raises(Refused):
            save_motor(bench.file, bench.knobs, made, name)
        assert sorted(bench.file.path.parent.parent.rglob("*")) == before, name


def test_a_link_in_the_way_is_not_followed(bench, tmp_path):
    (bench.file.path.parent / "link.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(Refused):
        save_motor(bench.file, bench.knobs, bench.turned({"nozzle.throat_diameter": "12 mm"}), "link.toml")
    assert not (tmp_path / "elsewhere.toml").exists()


def test_another_folder_still_finds_the_propellant(bench, tmp_path):
    place = tmp_path / "out"
    place.mkdir()
    saved = save_motor(bench.file, bench.knobs, bench.turned({"nozzle.throat_diameter": "12 mm"}), "x.toml", folder=place)
    assert load_motor(saved.path).motors.nozzle.throat_diameter[0] == pytest.approx(0.012)


def test_names_are_counted_on(bench):
    folder = bench.file.path.parent
    assert free_name(folder, "curlew") == "curlew-2.toml"
    (folder / "curlew-2.toml").write_text("")
    assert free_name(folder, "curlew") == "curlew-3.toml" == free_name(folder, "curlew-2")


def test_a_study_around_is_one_that_can_be_read(bench):
    made = bench.turned({"nozzle.throat_diameter": "12.5 mm", "case.wall": "0.12 in", "forward_closure.count": "12"})
    study, motor = save_study(bench.file, bench.knobs, made, 1500.0)
    read = load_study(study.path)
    assert motor is not None and read.motor.path.name == motor.path.name
    assert {"throat_diameter", "core_diameter", "wall", "forward_closure.count"} <= set(read.variables)
    assert read.target == pytest.approx((1350.0, 1650.0))


STYLES = ['wall = "3 mm"', "wall = '3 mm'", 'wall="3 mm"# close', '"wall" = "3 mm"', 'wall   =   "3 mm"   # far']


@pytest.mark.parametrize("line", STYLES)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_layout_of_a_line_stays(line, end):
    text = f"# head{end}[case]{end}{line}{end}# tail{end}"
    made = edited_text(text, {("case", "wall"): "4 mm"})
    assert made == text.replace("3 mm", "4 mm")


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ('case = {wall = "3 mm", length = "1 m"} # all\n', ("case", "wall")),
        ('case.wall = "3 mm"\ncase.length = "1 m"\n', ("case", "wall")),
        ('[[grain]]\nwall = "1 mm"\n[[grain]]\nwall = "3 mm"\n', ("grain", 1, "wall")),
        ('[a.b]\nx = 1\n[case]\n# c\nwall = "3 mm"\n[a]\ny = 2\n', ("case", "wall")),
    ],
)
def test_every_way_of_writing_a_table_is_kept(text, path):
    assert edited_text(text, {path: "4 mm"}) == text.replace("3 mm", "4 mm")


def test_what_is_not_there_is_not_invented():
    with pytest.raises(OutputError):
        edited_text("[case]\n", {("nozzle", "throat_diameter"): "1 mm"})


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from(["# a comment", "", "x = 1", 'y = "two"  # why', "z = [1, 2,  # inside\n 3]"]), unique=True, max_size=5
    )
)
def test_all_around_a_value_stays(lines):
    head = "\n".join(lines) + "\n"
    text = head + '[nozzle]\nthroat_diameter = "13 mm" # here\n' + "# end\n"
    assert edited_text(text, {("nozzle", "throat_diameter"): "12 mm"}) == text.replace("13 mm", "12 mm")
