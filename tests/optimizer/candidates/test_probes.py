"""What the search learns from single candidates before it starts must not hang on which candidate comes first."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.candidates.families import Families
from optimizer.drivers.blocks import MemoryStore
from optimizer.drivers.exhaustive import screen
from optimizer.inputs.study import load_study

MODES = {"grain support", "case yield", "screw shear", "liner burn-through", "case softening"}
FIRST = {
    "a core wider than the grain": ('core_diameter = ["60 mm", "17 mm", "19 mm"]', 'throat_diameter = ["12 mm", "14 mm"]'),
    "a throat that chokes the port": ('core_diameter = ["15 mm", "17 mm"]', 'throat_diameter = ["40 mm", "12 mm", "14 mm"]'),
    "a throat too wide to burn at all": ('core_diameter = ["17 mm", "19 mm"]', 'throat_diameter = ["44 mm", "14 mm"]'),
}


@pytest.fixture
def motor(cases):
    """The base motor with a grain that can be crushed, so that a rung reads the flow of the burn."""
    return cases.MOTOR.replace("gamma = 1.21", 'gamma = 1.21\nstrength = "2 MPa"')


@pytest.mark.parametrize("name", FIRST)
def test_every_rung_is_judged_whatever_the_first_candidate_is(cases, tmp_path, motor, name):
    search = "\n".join(FIRST[name])
    study = load_study(cases.write_study(tmp_path, search=search, limits="", motor=motor, liner=True))
    assert {term.mode for term in Families(study).terms} >= MODES


@pytest.mark.slow
def test_the_front_is_that_of_brute_force_behind_a_first_candidate_that_is_no_motor(cases, tmp_path, motor):
    search = "\n".join(FIRST["a core wider than the grain"]) + "\nforward_closure.count = [6, 10]\ngrain_count = {from = 4, to = 6}"
    limits = 'minimum_factor = {"grain support" = 3.0}'
    study = load_study(cases.write_study(tmp_path, search=search, limits=limits, motor=motor))
    families = Families(study)
    found = screen(families, MemoryStore(), seed=1)
    wanted = cases.brute_force(study)
    keys, _, left_out = found.listed(families, 10_000)
    assert left_out == 0
    digits = families.full_digits(keys[:, :-1], keys[:, -1])
    assert wanted.front and {tuple(row) for row in digits.tolist()} == set(wanted.front)
    assert found.rejected[families.limit_name("grain support")] > 0, "the rung must turn some away"
    assert np.isfinite(found.points).all()
