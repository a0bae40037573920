"""Knobs: which keys turn, through which sizes, and what a turn does to the document."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.inputs import InputError, load_motor, motor_from_document
from optimizer.live.knobs import knobs_of, si_of, turned

STUDIES = Path(__file__).resolve().parents[3] / "studies" / "motors"


@pytest.fixture(scope="module")
def curlew():
    file = load_motor(STUDIES / "curlew.toml")
    return file, {knob.name: knob for knob in knobs_of(file)}


def test_knobs_stand_as_the_motor_is_built(curlew):
    _, knobs = curlew
    parts = list(dict.fromkeys(knob.part for knob in knobs.values()))
    assert parts == ["forward closure", "case", "liner", "grains", "aft closure", "nozzle", "the day"]


def test_a_core_steps_through_drills_and_reamers(curlew):
    """ISO 235 has drills every 0.5 mm from 14 to 32 mm; no tool of the metric lists lies between 19 and 19.5 mm."""
    _, knobs = curlew
    core = knobs["grain.0.core_diameter"]
    assert (core.near(-1), core.near(1), core.near(1, count=10)) == ("18.5 mm", "19.5 mm", "24 mm")
    assert any("drill" in step.name for step in core.steps)


def test_a_wall_steps_through_the_tubes_of_its_outside(curlew):
    _, knobs = curlew
    wall = knobs["case.wall"]
    assert wall.near(-1) == "0.12 in" and wall.near(1) == "0.25 in"  # 2-1/4 in tube; 3.175 mm is its 0.125 in
    assert wall.near(1, value=si_of(wall, "0.25 in")) is None


def test_a_ring_steps_through_as568(curlew):
    """AS568: -223, -224, -225 are neighbours of one cross section, 0.139 in."""
    _, knobs = curlew
    assert (knobs["forward_closure.seal.dash"].near(-1), knobs["forward_closure.seal.dash"].near(1)) == ("-223", "-225")


def test_screws_are_whole_and_within_the_key_s_range(curlew):
    _, knobs = curlew
    count = knobs["forward_closure.count"]
    assert (count.near(-1), count.near(1), count.near(1, count=10)) == ("9", "11", "20")
    assert count.near(-1, value=1.0) is None


def test_every_knob_that_is_stepped_is_read_as_the_step_says(curlew):
    """What a step puts into the document is what the reader of motor files makes of it, where it can be at all."""
    file, knobs = curlew
    moved = 0
    for knob in knobs.values():
        for way in (-1, 1):
            text = knob.near(way)
            if text is None:
                continue
            made = turned(file, list(knobs.values()), {knob.name: text})
            try:
                read = motor_from_document(made.document, file.path)
            except InputError:
                continue
            moved += 1
            if knob.kind == "choice" or not knob.spec.column:
                continue
            value = read.motors.value(knob.spec.column)
            assert value is not None and abs(float(value.ravel()[0]) - (si_of(knob, text) or 0.0)) <= 1e-12
    assert moved > 60


def test_grains_follow_the_room_in_the_case_and_keep_their_clearance(curlew):
    file, knobs = curlew
    made = turned(file, list(knobs.values()), {"case.wall": "0.25 in"})
    assert made.derived == ("grain.0.outer_diameter",)
    assert made.texts["grain.0.outer_diameter"] == "40.15 mm"  # 46.5 mm less twice 3.175 mm
    kept = turned(file, list(knobs.values()), {"case.wall": "0.25 in"}, follow=False)
    assert "grain.0.outer_diameter" not in kept.texts
    own = turned(file, list(knobs.values()), {"case.wall": "0.25 in", "grain.0.outer_diameter": "40 mm"})
    assert own.texts["grain.0.outer_diameter"] == "40 mm" and not own.derived


def test_the_file_s_document_is_not_touched(curlew):
    file, knobs = curlew
    before = repr(file.document)
    turned(file, list(knobs.values()), {"case.wall": "0.25 in", "nozzle.throat_diameter": "0.5 in"})
    assert repr(file.document) == before
