"""A study in which nothing can be built, or in which nothing that burns varies: answered, and the advice holds."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from optimizer import load_study, search
from optimizer.candidates.buildable import buildable, ways_in
from optimizer.candidates.space import Space
from optimizer.inputs.study import variable_spec
from optimizer.output import report
from optimizer.output.pages import search_page
from optimizer.output.terminal.search import print_front
from optimizer.units import from_si

AIMS = 'loaded_mass = "min"\nsmallest_factor = "max"'


def written(folder: Path, searched: str, limits: str = "", aims: str = AIMS) -> Path:
    for name in ("motor.toml", "propellant.toml"):
        if not (folder / name).exists():
            (folder / name).write_text((resources.files("optimizer") / "starter" / name).read_text())
    path = folder / "study.toml"
    path.write_text(
        f'schema = 1\nname = "Small"\nmotor = "motor.toml"\n[search]\n{searched}\n[limits]\n{limits}\n[objectives]\n{aims}\n'
        '[driver]\nkernel = "steady"\n'
    )
    return path


NOTHING = {
    "a throat wider than the core": 'throat_diameter = ["16 mm"]',
    "more grains than the case holds": "grain_count = [20]",
    "both": 'throat_diameter = ["16 mm"]\ngrain_count = [20]',
    "ranges": 'throat_diameter = {from = "15.5 mm", to = "30 mm", step = "0.5 mm"}\ncore_diameter = ["10 mm", "15 mm"]',
    "no exit": 'exit_diameter = ["8 mm"]',
    "no propellant": 'core_diameter = ["39.6 mm", "45 mm"]',
    "all wall": 'wall = ["25 mm"]',
    "no room to fill": 'grain_length = "fill"\ngrain_count = [1]\ncase_length = ["20 mm"]',
}


def value_in_file(key: str, number: float) -> str:
    spec, _ = variable_spec(key)
    assert spec is not None
    return f'"{float(from_si(number, "mm")):.9g} mm"' if spec.dimension == "length" else f"{number:g}"


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in ("no exit", "no room to fill") else pytest.mark.slow) for name in NOTHING]
)
def test_the_smallest_change_is_named_and_following_it_lets_one_in(tmp_path, name, capsys):
    searched = NOTHING[name]
    """The advice is written into the study as a builder would, and the study is searched again."""
    study = load_study(written(tmp_path, searched))
    result = search(study)
    assert not result.designs and result.rejected_by and result.ways_in
    assert sum(result.rejected_by.values()) >= result.space, "every candidate is accounted for"
    print_front(result, "metric", Path("results"))
    told = " ".join(capsys.readouterr().out.split())
    assert "Nothing in this study can be built" in told
    # A long name is wrapped in its column: its words stand there, in order.
    assert all(re.search(r".*?".join(re.escape(word) for word in name.split()), told) for name in result.rejected_by)
    page = search_page(result, "metric")
    assert "Nothing in this study can be built" in page and "What would let one in" in page
    for way in result.ways_in:
        values = {key: value_in_file(key, float(value)) for key, value in way["variables"].items()}
        values |= {step["key"]: value_in_file(step["key"], float(step["to"])) for step in way["changes"]}
        lines = [f"{key} = [{value}]" for key, value in values.items()]
        lines += ['grain_length = "fill"'] if "fill" in searched else []
        changed = load_study(written(tmp_path, "\n".join(lines)))
        space = Space(changed)
        assert buildable(space, np.zeros((1, len(space.variables)), dtype=np.int64), "steady").all(), way
        again = search(changed)
        assert not again.ways_in and (not way["misses"]) >= bool(again.designs)


def test_the_change_is_the_smallest_of_its_key(tmp_path):
    """A core of 15 mm: a throat just above it cannot be built, the one that is named can."""
    (way,) = [
        way for way in ways_in(Space(load_study(written(tmp_path, 'throat_diameter = ["16 mm"]'))), "steady")
        if [step.key for step in way.steps] == ["throat_diameter"]
    ]  # fmt: skip
    assert way.steps[0].new == pytest.approx(0.015, abs=1e-9)
    space = Space(load_study(written(tmp_path, 'throat_diameter = ["15.05 mm"]')))
    assert not buildable(space, np.zeros((1, 1), dtype=np.int64), "steady").any()


def test_nothing_is_advised_where_a_candidate_can_be_built(tmp_path):
    study = load_study(written(tmp_path, 'throat_diameter = ["10 mm", "16 mm"]', 'maximum_pressure = "0.2 MPa"'))
    assert ways_in(Space(study), "steady") == []
    result = search(study)
    assert not result.ways_in and result.relaxations


@pytest.mark.slow
@pytest.mark.parametrize(
    ("searched", "count"),
    [
        ("forward_closure.count = {from = 4, to = 12}", 9),
        pytest.param("screw_count = [6, 8]", 2, marks=pytest.mark.slow),
        pytest.param('forward_closure.seal.gap = ["0.05 mm", "0.1 mm"]', 2, marks=pytest.mark.slow),
        ('forward_closure.plate_thickness = ["5 mm", "8 mm", "12 mm"]', 3),
        pytest.param('forward_closure.screw = ["M4x0.7", "M5x0.8", "M6x1"]', 3, marks=pytest.mark.slow),
    ],
)
def test_a_study_of_parts_that_no_burn_reads_is_answered(tmp_path, searched, count):
    result = search(load_study(written(tmp_path, searched)))
    assert (result.space, result.evaluated) == (count, count) and result.exact and result.designs
    assert result.feasible == count - max(result.rejected_by.values(), default=0)


@pytest.mark.parametrize(
    ("searched", "refused"),
    [
        ('hole_diameter = ["4.24 mm", "5.3 mm", "5.5 mm"]', 1),
        pytest.param('aft_closure.seal.gland_depth = ["2.85 mm", "3.6 mm"]', 1, marks=pytest.mark.slow),
        pytest.param('aft_closure.seal.gland_width = ["2 mm", "3 mm", "4.8 mm"]', 2, marks=pytest.mark.slow),
    ],
)
def test_a_part_that_the_motor_file_would_refuse_is_rejected_and_the_others_are_searched(tmp_path, searched, refused):
    result = search(load_study(written(tmp_path, searched)))
    assert result.designs and result.feasible == result.space - refused
    assert max(result.rejected_by.values()) == refused


@pytest.mark.slow
def test_how_many_screws_are_needed(tmp_path):
    """The least that hold at the factor asked for: each screw carries its share, so the number follows by division."""
    eight = search(load_study(written(tmp_path, "forward_closure.count = [8]"))).designs[0]
    shear = {r.part: float(np.ravel(r.factor)[0]) for r in eight.assessment.ladder.rungs if r.mode == "screw shear"}
    asked = shear["forward closure"] * 5.5 / 8.0
    limits = f'minimum_factor = {{"screw shear" = {asked:.6f}}}'
    fewest = 'loaded_mass = "min"\nforward_closure.count = "min"'
    asked_for = written(tmp_path, "forward_closure.count = {from = 3, to = 8}", limits, fewest)
    result = search(load_study(asked_for))
    assert [design.variables["forward_closure.count"] for design in result.designs] == [6]
    assert result.designs[0].results["forward_closure.count"] == 6.0
    assert result.rejected_by["minimum_factor.screw shear"] == 3


def test_what_stands_at_the_end_of_a_range_and_what_is_not_assessed_is_told(tmp_path, capsys):
    result = search(load_study(written(tmp_path, 'throat_diameter = {from = "10 mm", to = "11 mm", step = "1 mm"}\n'
                                                 "forward_closure.count = [8, 9]")))  # fmt: skip
    ends = {(row["variable"], row["end"]): row["of"] for row in result.range_ends}
    assert ends[("throat_diameter", "least")] == ["front"], "less drop along the port, and a shorter liner"
    print_front(result, "metric", Path("results"))
    told = " ".join(capsys.readouterr().out.split())
    assert "The front stands at the end of the range of throat_diameter" in told and "widen it" in told
    assert "Not assessed" in told and "shoulder_thickness is not given" in told
    assert {"plate bending", "shoulder shear"} <= {row["mode"] for row in result.as_dict()["not_assessed"]}
    assert "The front stands at the end of the range of throat_diameter" in search_page(result, "metric")


def test_a_view_without_ways_renders():
    view = {"title": "t", "units": "metric", "designs": [], "space": 1, "evaluated": 1, "feasible": 0, "rejected_by": {}}
    assert "No candidate meets every limit" in report.render_search(view)
