"""Which end face is bare: nothing for the steady kernel, one grain's own end for flow, heat and balance."""

from __future__ import annotations

import pytest

from optimizer.inputs import InputError
from optimizer.inputs.motor import motor_from_text
from physics import evaluate
from physics.heat.places import joint_faces
from physics.heat.walls import forward_share, last_face_bare
from physics.motors import Motors
from tests.shared import scenario

ONE = ("burning_ends = 2", 'burning_ends = 1\nforward_face = "bare"\naft_face = "inhibited"')


def motor(*pairs: tuple[str, str], more: str = "") -> Motors:
    parts = (scenario.PROPELLANT, scenario.RATE, scenario.changed(scenario.GRAINS, *pairs), more, scenario.NOZZLE, scenario.CASE)
    return motor_from_text("schema = 1\n" + "\n".join(parts), "motor.toml").motors


def faces(forward: str, aft: str, ends: str = "") -> tuple[str, str]:
    return ("burning_ends = 2", f'{ends}\nforward_face = "{forward}"\naft_face = "{aft}"')


@pytest.mark.parametrize(
    ("forward", "aft", "ends", "which"),
    [
        ("bare", "bare", 2.0, 0.0),
        ("bare", "inhibited", 1.0, 1.0),
        ("inhibited", "bare", 1.0, 0.0),
        ("inhibited", "inhibited", 0.0, 0.0),
    ],
)
def test_faces_say_how_many_and_which(forward: str, aft: str, ends: float, which: float) -> None:
    grain = motor(faces(forward, aft)).grain
    assert grain.burning_ends.tolist() == [[ends]] and grain.forward_bare.tolist() == [[which]]
    assert [bool(face[0, 0]) for face in grain.bare_faces] == [forward == "bare", aft == "bare"]


@pytest.mark.parametrize(
    ("pair", "says"),
    [
        (("burning_ends = 2", "burning_ends = 1"), "does not say which end is bare"),
        (faces("bare", "bare", "burning_ends = 1"), "the faces leave 2 bare"),
        (("burning_ends = 2", 'burning_ends = 2\naft_face = "inhibited"'), "aft_face is inhibited"),
        (("burning_ends = 2", 'aft_face = {covered_to = "30 mm"}'), "forward_face"),
        (("burning_ends = 2", 'burning_ends = 1\naft_face = {covered_to = "30 mm"}'), "forward_face"),
        (("burning_ends = 2", 'burning_ends = 2\naft_face = {covered_to = "30 mm"}\nforward_face = "bare"'), "leave 1 bare"),
        (("burning_ends = 2", 'aft_face = {covered_to = "16 mm"}\nforward_face = "bare"'), "inside the core"),
        (("burning_ends = 2", 'aft_face = {covered_to = "47 mm"}\nforward_face = "bare"'), "outside the grain"),
        (("burning_ends = 2", 'aft_face = {covered_to = 30}\nforward_face = "bare"'), "covered_to"),
        (("burning_ends = 2", 'aft_face = {covered = "30 mm"}\nforward_face = "bare"'), "covered_to"),
        (("burning_ends = 2", 'aft_face = "bare"'), "forward_face"),
        (("burning_ends = 2", ""), "burning_ends"),
    ],
)
def test_what_contradicts_itself_or_is_not_said_is_refused(pair: tuple[str, str], says: str) -> None:
    with pytest.raises(InputError, match=says):
        motor(pair)


@pytest.mark.parametrize("length", ["75 mm", "12 mm"])
def test_both_kernels_burn_a_forward_face_as_an_aft_one(length: str) -> None:
    """One grain alone, long or burning out along its axis first: the same surface at either end."""
    single = (("count = 3", "count = 1"), ('length = "75 mm"', f'length = "{length}"'), ('throat_diameter = "13.5 mm"', ""))[:2]
    forward, aft = (motor(*single, faces(*pair)) for pair in (("bare", "inhibited"), ("inhibited", "bare")))
    for kernel, near in (("steady", 1e-12), ("transient", 0.02)):
        one, other = evaluate(forward, kernel), evaluate(aft, kernel)
        for name in ("peak_pressure", "total_impulse", "burn_time"):
            assert one[name] == pytest.approx(other[name], rel=near), (kernel, name)


def test_heat_sees_which_faces_a_joint_has() -> None:
    """A joint has the aft face of one grain and the forward face of the next, in one row or in two."""
    assert joint_faces(motor()) == 2.0 and joint_faces(motor(("count = 3", "count = 1"))) == 0.0
    assert joint_faces(motor(faces("bare", "inhibited"))) == 1.0 and joint_faces(motor(faces("inhibited", "inhibited"))) == 0.0
    for first, second, bare in (
        (("bare", "inhibited"), ("inhibited", "bare"), 0.0),
        (("inhibited", "bare"), ("bare", "inhibited"), 2.0),
        (("bare", "bare"), ("inhibited", "bare"), 1.0),
    ):
        more = scenario.changed(scenario.GRAINS, ("count = 3", "count = 1"), faces(*second))
        pair = motor(("count = 3", "count = 1"), faces(*first), more=more)
        assert joint_faces(pair) == bare
        assert (forward_share(pair) > 0.0) == (first[0] == "bare")


def test_heat_sees_the_face_of_the_last_grain() -> None:
    first = (("count = 3", "count = 1"), faces("inhibited", "bare"))
    second = scenario.changed(scenario.GRAINS, ("count = 3", "count = 1"), faces("bare", "inhibited"))
    assert last_face_bare(motor()) == 1.0 and last_face_bare(motor(ONE)) == 0.0
    assert last_face_bare(motor(*first)) == 1.0 and last_face_bare(motor(*first, more=second)) == 0.0
