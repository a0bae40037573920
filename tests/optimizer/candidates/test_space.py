"""Candidates by index, and what each variable means for the motor."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.candidates.space import Space, SpaceError, columns_of, digits_of
from optimizer.inputs import motor_from_text
from optimizer.inputs.study import load_study
from optimizer.inputs.writing import motor_text
from optimizer.units import write_quantity


def space_of(cases, folder, search, **more):
    return Space(load_study(cases.write_study(folder, search=search, **more)))


def all_of(space):
    return space.candidates(space.digits(np.arange(space.size)))


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(1, 9), min_size=1, max_size=6), st.data())
def test_digits_and_index_are_each_others_inverse(radices, data):
    size = int(np.prod(radices))
    number = data.draw(st.integers(0, size - 1))
    digits = digits_of([number], radices)[0]
    again = 0
    for digit, radix in zip(digits.tolist(), radices, strict=True):
        assert 0 <= digit < radix
        again = again * radix + digit
    assert again == number


def test_an_index_beyond_63_bits_is_exact():
    radices = [10**6] * 5
    number = 123456789012345678901234567890 % 10**30
    digits = digits_of([number], radices)[0].tolist()
    assert sum(d * 10 ** (6 * (4 - place)) for place, d in enumerate(digits)) == number


def test_values_come_from_the_decimals_of_the_text(cases, tmp_path):
    space = space_of(cases, tmp_path, 'throat_diameter = {from = "9.1 mm", to = "9.7 mm", step = "0.1 mm"}')
    throat = all_of(space).motors.nozzle.throat_diameter
    assert throat.tolist() == [0.0091, 0.0092, 0.0093, 0.0094, 0.0095, 0.0096, 0.0097]
    assert space.index(space.digits(np.arange(space.size))) == list(range(7))


def test_a_thicker_wall_takes_bore_and_grain_with_the_outside_held(cases, tmp_path):
    motors = all_of(space_of(cases, tmp_path, 'wall = ["2 mm", "4 mm"]')).motors
    assert np.broadcast_to(motors.case.outer_diameter, (2,)) == pytest.approx([0.0572, 0.0572])
    # derived from: grain 46 mm at a bore of 57.2 - 2*3.2 = 50.8 mm, moved with the bore
    assert motors.grain.outer_diameter[:, 0] == pytest.approx([0.0484, 0.0444])


def test_with_the_bore_held_the_outside_grows(cases, tmp_path):
    motors = all_of(space_of(cases, tmp_path, 'wall = ["2 mm", "4 mm"]\nhold = "bore"')).motors
    assert motors.case.outer_diameter == pytest.approx([0.0548, 0.0588])
    assert (motors.grain.outer_diameter == 0.046).all()


def test_neutral_length_is_three_diameters_and_a_core_over_two(cases, tmp_path):
    # common practice, no source: (3D + d)/2
    motors = all_of(space_of(cases, tmp_path, 'core_diameter = ["16 mm", "20 mm"]\ngrain_length = "neutral"')).motors
    assert motors.grain.length[:, 0] == pytest.approx([0.077, 0.079])


def test_fill_shares_the_room_among_the_searched_grains(cases, tmp_path):
    motors = all_of(space_of(cases, tmp_path, 'grain_count = {from = 4, to = 6}\ngrain_length = "fill"')).motors
    # by hand: case 520 mm less ring, 14 + 9 mm, plate, 12 mm, and convergent, (50.8 - 13.5)/2 mm; no aft closure is given
    assert (motors.grain.count * motors.grain.length)[:, 0] == pytest.approx([0.46635] * 3)


def test_a_filled_length_is_a_number_that_a_file_can_hold(cases, tmp_path):
    motors = all_of(space_of(cases, tmp_path, 'grain_count = {from = 3, to = 7}\ngrain_length = "fill"')).motors
    texts = [write_quantity(float(length), "mm") for length in motors.grain.length[:, 0]]
    assert texts == ["155.45 mm", "116.5875 mm", "93.27 mm", "77.725 mm", "66.6214285 mm"]
    assert ((motors.grain.count * motors.grain.length)[:, 0] <= 0.46635 * (1 + 1e-12)).all(), "never longer than the room"


def test_fill_without_a_count_ends_on_a_shorter_grain_or_stretches(cases, tmp_path):
    # room 466.1 mm: six grains of 70 mm leave 46.1 mm, more than a quarter of a grain
    motor = cases.MOTOR.replace('length = "75 mm"', 'length = "70 mm"')
    space = space_of(cases, tmp_path / "a", 'throat_diameter = ["13 mm"]\ngrain_length = "fill"', motor=motor)
    rows = space.grain_rows([0])
    assert [(row["count"], round(row["length"], 9)) for row in rows] == [(6, 0.07), (1, 0.0461)]
    # six grains of 75 mm leave 16.1 mm: too short to cast, so each gets a sixth of it
    space = space_of(cases, tmp_path / "b", 'throat_diameter = ["13 mm"]\ngrain_length = "fill"')
    rows = space.grain_rows([0])
    assert [(row["count"], round(row["length"], 9)) for row in rows] == [(6, round(0.4661 / 6, 9))]


def test_the_last_grains_are_opened(cases, tmp_path):
    search = 'core_diameter = ["14 mm"]\ncore_diameter_aft = ["16 mm", "18 mm"]\naft_count = {from = 0, to = 5}'
    space = space_of(cases, tmp_path, search)
    found = all_of(space)
    rows = space.grain_rows(space.digits([space.index(np.array([[0, 1, 1]]))[0]])[0])
    assert [(row["count"], row["core_diameter"]) for row in rows] == [(3, 0.014), (1, 0.018)]
    assert found.impossible["aft_count beyond the grains there are"].sum() == 2
    # with no grain opened the aft core changes nothing: one candidate stands for all of them
    assert found.impossible["same motor as another candidate"].sum() == 1


def test_geometry_that_cannot_be_is_named_and_counted(cases, tmp_path):
    search = 'core_diameter = ["16 mm", "50 mm"]\ngrain_count = {from = 4, to = 8}\nthroat_diameter = ["13 mm", "35 mm"]'
    found = all_of(space_of(cases, tmp_path, search))
    assert found.impossible["core as wide as the grain"].sum() == 10
    assert found.impossible["grains longer than the case"].sum() == 8
    assert found.impossible["throat wider than the exit"].sum() == 10
    assert found.possible.sum() == 3


def test_expansion_ratio_sets_the_exit_from_the_throat(cases, tmp_path):
    found = all_of(space_of(cases, tmp_path, 'throat_diameter = ["12 mm", "14 mm"]\nexpansion_ratio = [4, 9]'))
    ratio = (found.motors.nozzle.exit_diameter / found.motors.nozzle.throat_diameter) ** 2
    assert ratio == pytest.approx([4, 9, 4, 9])


def test_a_case_that_follows_keeps_its_spare_room(cases, tmp_path):
    motors = all_of(space_of(cases, tmp_path, 'grain_count = {from = 2, to = 5}\ncase_length = "follow"')).motors
    assert motors.case.length == pytest.approx([0.37, 0.445, 0.52, 0.595])


def test_fill_needs_a_case_length(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path, search="grain_count = {from = 4, to = 6}"))
    bare = study.motor.motors.with_values({"case.length": None})
    broken = type(study)(**{**vars(study), "grain_length_mode": "fill", "motor": _with(study.motor, bare)})
    with pytest.raises(SpaceError, match=r"case\.length"):
        Space(broken)


def _with(motor, motors):
    return type(motor)(**{**vars(motor), "motors": motors})


@pytest.mark.parametrize(
    "search",
    [
        'wall = {from = "2 mm", to = "4 mm", step = "0.1 mm"}\ngrain_length = "neutral"',
        'grain_count = {from = 3, to = 7}\ngrain_length = "fill"\n'
        'wall = {from = "2 mm", to = "3.8 mm", step = "0.3 mm"}',
        'core_diameter_aft = ["17.3 mm", "18.1 mm"]\naft_count = {from = 0, to = 3}\nexpansion_ratio = [4.7, 6.1]',
        'forward_closure.screw = ["#8-32 UNC", "1/4-20 UNC", "M5"]\nforward_closure.grade = ["A2-70", "A4-80"]'
        '\ncase.material = ["6061-T6", "7075-T6"]\nhold = "bore"\nwall = ["2.1 mm", "3.3 mm"]',
        'throat_diameter = ["0.531 in", "0.55 in"]\ngrain_length = "fill"',
    ],
)  # fmt: skip
def test_every_candidate_reads_back_from_its_motor_file_as_the_same_floats(cases, tmp_path, search):
    study = load_study(cases.write_study(tmp_path, search=search))
    space = Space(study)
    for digits in space.digits(np.arange(space.size)):
        found = space.candidates(digits[None])
        if not found.possible.all():
            continue
        text = motor_text(study.motor, space.changes(digits) | {"grain": space.grain_rows(digits)}, "one")
        read, meant = columns_of(motor_from_text(text, study.motor.path).motors), columns_of(found.motors)
        assert read.keys() == meant.keys()
        for key, value in meant.items():
            assert np.array_equal(value, read[key], equal_nan=True), key


def test_a_block_must_share_its_texts(cases, tmp_path):
    space = space_of(cases, tmp_path, 'forward_closure.screw = ["#8-32 UNC", "1/4-20 UNC"]')
    with pytest.raises(ValueError, match="groups"):
        space.candidates(np.array([[0], [1]]))
    assert [rows.tolist() for rows in space.groups(np.array([[0], [1], [0]]))] == [[0, 2], [1]]
