"""Caps over part of an end face, from the file to the search, the knobs, the drawing and what is not assessed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optimizer import load_motor, load_study
from optimizer.candidates.space import Space
from optimizer.cautions import cautions
from optimizer.inputs import InputError
from optimizer.inputs.motor import motor_from_text
from optimizer.inputs.writing import motor_text
from optimizer.live.knobs import knobs_of
from optimizer.output.drawing.geometry import section
from optimizer.output.drawing.plates import Labels
from optimizer.output.drawing.section_sheet import part_rows
from optimizer.output.drawing.shopping import purchases
from physics import assess, evaluate
from tests.shared import scenario

CAP = 'forward_face = {covered_to = "30 mm"}\naft_face = "bare"'
MOTOR = scenario.changed(scenario.searched(liner=scenario.LINER, seal=scenario.SEAL), ("burning_ends = 2", CAP))
TWO_ROWS = MOTOR.replace("[nozzle]", scenario.changed(scenario.GRAINS, ("count = 3", "count = 1")) + "\n[nozzle]", 1).replace(
    "count = 4", "count = 3", 1
)


def study(folder: Path, variables: str, motor: str = MOTOR) -> Path:
    (folder / "motor.toml").write_text(motor)
    head = 'schema = 1\nmotor = "motor.toml"\n[search]\n'
    tail = '\n[limits]\nmaximum_pressure = "9 MPa"\n[objectives]\ntotal_impulse = "max"\nloaded_mass = "min"\n'
    (folder / "study.toml").write_text(head + variables + tail)
    return folder / "study.toml"


@pytest.mark.parametrize("name", ["forward_covered_to", "grain.forward_face.covered_to", "grain.0.forward_face.covered_to"])
def test_it_varies_in_a_search_and_each_candidate_is_a_motor_file(tmp_path: Path, name: str) -> None:
    found = load_study(study(tmp_path, f'{name} = ["14 mm", "16 mm", "24 mm", "46 mm", "48 mm"]'))
    space = Space(found)
    digits = space.digits(np.arange(space.size))
    candidates = space.candidates(digits)
    assert candidates.possible.tolist() == [False, True, True, True, False]
    figures = evaluate(candidates.motors)
    for place in (1, 2, 3):
        text = motor_text(found.motor, space.changes(digits[place]) | {"grain": space.grain_rows(digits[place])})
        alone = evaluate(motor_from_text(text, "one.toml").motors)
        for figure in ("peak_pressure", "total_impulse", "burn_time"):
            assert alone[figure][0] == figures[figure][place], (figure, text)


def test_a_row_is_named_and_one_without_a_cap_refused(tmp_path: Path) -> None:
    found = load_study(study(tmp_path, 'grain.0.forward_face.covered_to = ["20 mm", "40 mm"]', TWO_ROWS))
    candidates = Space(found).candidates(np.array([[0], [1]]))
    assert candidates.motors.grain.forward_covered_to is not None
    to = candidates.motors.grain.forward_covered_to
    assert to[:, 0].tolist() == [0.02, 0.04] and np.isnan(to[:, 1]).all()
    for variables, says in (
        ('grain.1.forward_face.covered_to = ["20 mm", "40 mm"]', "does not have"),
        ('aft_covered_to = ["20 mm", "40 mm"]', "does not have"),
        ('forward_covered_to = ["20 mm", "40 mm"]', "rows of grains differ"),
        ("grain.0.burning_ends = [0, 1]", "told by the faces"),
    ):
        with pytest.raises(InputError, match=says):
            load_study(study(tmp_path, variables, TWO_ROWS))


def test_a_cap_is_a_knob_and_is_written_back(tmp_path: Path) -> None:
    (tmp_path / "motor.toml").write_text(MOTOR)
    file = load_motor(tmp_path / "motor.toml")
    knob = next(one for one in knobs_of(file) if one.name == "grain.0.forward_face.covered_to")
    assert knob.text == "30 mm" and knob.near(1) == "30.5 mm"
    for key in ("forward_covered_to", "grain.0.forward_face.covered_to"):
        text = motor_text(file, {key: 0.025})
        assert motor_from_text(text, "one.toml").motors.grain.forward_covered_to.tolist() == [[0.025]]  # type: ignore[union-attr]


def test_a_cap_is_drawn_bought_told_and_not_assessed() -> None:
    file = motor_from_text(MOTOR, "motor.toml")
    caps = [part for part in section(file.motors).parts if part.kind == "cap"]
    assert len(caps) == 4 and {round(min(r for _, r in part.outline), 3) for part in caps} == {15.0}
    assert any("caps over end faces are drawn" in text for text in section(file.motors).assumptions)
    bought = [item for item in purchases(file.motors, Labels("invented")) if "cap" in item.what]
    assert [(item.what, item.quantity) for item in bought] == [("forward face caps", "4")]
    assert "30" in bought[0].specification and "not assessed" in bought[0].remark
    assert "forward face covered to 30.00 mm, aft face bare" in "\n".join(
        " ".join(row) for row in part_rows(file.motors, Labels(""))
    )
    look = assess(file.motors)
    missing = {item.mode: item.why for item in look.ladder.not_assessed}
    assert "material of the caps" in missing["cap burn-through"]
    told = {one.about: one.text for one in cautions(look)}
    assert "until its grain is gone" in told["caps over grain faces"]
    plain = assess(motor_from_text(MOTOR.replace(CAP, "burning_ends = 2"), "motor.toml").motors)
    assert "cap burn-through" not in {item.mode for item in plain.ladder.not_assessed}
    assert "caps over grain faces" not in {one.about for one in cautions(plain)}


def test_a_tolerance_on_a_cap_is_read_and_one_on_none_refused() -> None:
    tolerance = '\n[tolerances]\nforward_covered_to = {plus_minus = "0.5 mm"}\n'
    assert list(motor_from_text(MOTOR + tolerance, "one.toml").motors.tolerances) == ["grain.forward_covered_to"]
    with pytest.raises(InputError, match="does not give"):
        motor_from_text(MOTOR + tolerance.replace("forward", "aft"), "one.toml")


def test_the_flight_weighs_what_is_left_under_caps() -> None:
    """A long way from the middle: what a bare forward face burns away moves the centre aft, a covered one less so."""
    from physics.ballistics import faces

    x = np.array([0.004, 0.010])
    bare, capped, shut = (faces.CoveredGrain(*(np.array(v) for v in (0.008, 0.023, 0.075, to, 0.0))) for to in (0.023, 0.015, 0.0))
    assert (faces.middle(shut, x) == pytest.approx(0.0375)) and (faces.middle(bare, x) == pytest.approx(0.0375 + x / 2))
    between = faces.middle(capped, x)
    assert (between > faces.middle(shut, x)).all() and (between < faces.middle(bare, x)).all()


@pytest.mark.slow
def test_the_review_sheet_says_what_a_flaw_would_do() -> None:
    import io

    import pypdf

    from optimizer.output.drawing.review import review_sheets
    from optimizer.output.drawing.sheet import pdf_bytes

    look = assess(motor_from_text(MOTOR, "motor.toml").motors)
    pages = review_sheets(look, Labels("invented"), cautions(look))
    read = pypdf.PdfReader(io.BytesIO(pdf_bytes(pages, "review")))
    text = " ".join(" ".join(page.extract_text() for page in read.pages).split())
    for told in ("grain cracked through", "cap lost", "throat blocked by 10 %", "more burning area"):
        assert told in text, told
