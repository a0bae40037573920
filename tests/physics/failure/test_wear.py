"""The log of one set of hardware: what it counts, what yield would leave, what a builder is told."""

from __future__ import annotations

from importlib.resources import files

import pytest

from optimizer.cautions import Caution, cautions
from optimizer.inputs import InputError
from optimizer.inputs.motor import motor_from_text
from optimizer.inputs.writing import motor_text
from physics.assessment import assess
from physics.failure.wear import cycles, worn

FOLDER = files("optimizer") / "starter"
STARTER = (FOLDER / "motor.toml").read_text(encoding="utf-8")
LOG = """
[[wear]]
after = "new"
outer_diameter = "50.00 mm"
[[wear]]
after = "proof"
pressure = "6.6 MPa"
[[wear]]
after = "firing"
count = 3
pressure = "4.1 MPa"
outer_diameter = "50.06 mm"
hole_elongation = "0.15 mm"
end = "forward"
throat_diameter = "10.1 mm"
"""


def read(log: str):
    return motor_from_text(STARTER + log, str(FOLDER / "motor.toml"))


def told(log: str) -> Caution:
    look = assess(read(log).motors)
    return next((one for one in cautions(look) if one.about in ("reuse", "RETIRE THIS CASE")), Caution("", ""))


def test_counts_and_growths() -> None:
    """By hand: 0.06 mm of 50 mm against 0.2 %, 0.1 mm; 0.15 mm of an M5 hole against 2 %, 0.1 mm."""
    motors = read(LOG).motors
    assert (cycles(motors.wear, "firing"), cycles(motors.wear, "proof")) == (3, 1)
    shares = {one.what: one.share for one in worn(motors)}
    assert shares == {"bulge": pytest.approx(0.6), "hole elongation, forward": pytest.approx(1.5)}


def test_the_worst_sign_comes_first_and_the_reasons_last() -> None:
    one = told(LOG)
    assert one.about == "RETIRE THIS CASE" and one.text.startswith(
        "Hole elongation, forward 0.15 mm, 1.5 times what yield would leave"
    )
    assert "3 firings and 1 proof so far, up to 6.600 MPa" in one.text
    assert "write it into nozzle.throat_diameter" in one.text and "common practice, no source" in one.text
    assert "21 % of the pressure at which it should begin" in one.text  # of the bulge: 6.6 of 31.4 MPa


@pytest.mark.slow
def test_a_tube_that_nobody_measured_new_is_told_so_and_not_retired_for_its_mill() -> None:
    unmeasured = LOG.replace('after = "new"\nouter_diameter = "50.00 mm"', 'after = "new"').replace("0.15 mm", "0.02 mm")
    one = told(unmeasured.replace("50.06", "50.30"))
    assert one.about == "reuse" and "nobody measured it new" in one.text
    measured = told(LOG.replace("0.15 mm", "0.02 mm").replace("50.06", "50.30").replace("50.00", "50.26"))
    assert "bulge 0.04 mm, 0.4 times" in measured.text.lower() and measured.about == "reuse"


@pytest.mark.slow
def test_a_sound_case_is_not_retired_and_one_without_a_log_not_spoken_of() -> None:
    sound = LOG.replace("50.06", "50.01").replace("0.15 mm", "0.02 mm")
    one = told(sound)
    assert one.about == "reuse" and "within what a caliper leaves in doubt" in one.text
    assert told("").about == ""
    assert "Nothing measured since" in told('[[wear]]\nafter = "firing"\n').text


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"50.06 mm"', '"60 mm"', "no measure of this tube"),
        ('after = "proof"', 'after = "rain"', "after"),
        ("count = 3", "count = 0", "count"),
        ("count = 3", "counts = 3", "count"),
    ],
)
def test_slips_are_refused(old: str, new: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        read(LOG.replace(old, new))


def test_a_new_design_does_not_inherit_the_log() -> None:
    assert "wear" not in motor_text(read(LOG))
