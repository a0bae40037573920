"""Ends as they are built, from the keys of a motor file to the ladder, the explanation and the drawing."""

import numpy as np
import pytest
from scenario import CASE, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, changed, named

from optimizer.commands.explain import explain
from optimizer.inputs import load_firing
from optimizer.inputs.motor import motor_from_text
from optimizer.output.drawing.geometry import section
from physics.failure.ladder import assess_ladder

PSI = 6894.757293168
TUBE = changed(CASE, ('outer_diameter = "57.2 mm"', 'outer_diameter = "2.25 in"'), ('wall = "3.2 mm"', 'wall = "0.065 in"'))
LIP = """[forward_closure]
retention = "welded-lip"
weld_leg = "0.09 in"
weld_arm = "0.06 in"
lip_thickness = "0.19 in"
filler = "4043"
ring_material = "6061-T6"
plate_thickness = "0.5 in"
"""
RING = """[forward_closure]
retention = "radial-screws"
screw = "#8-32"
grade = "A574"
count = 8
edge_distance = "9 mm"
ring_material = "6061-T6"
ring_thickness = "6 mm"
plate_thickness = "0.5 in"
"""


def text(*ends):
    narrow = changed(GRAINS, ('core_diameter = "18 mm"', 'core_diameter = "19 mm"'))
    return "".join((named("Invented"), PROPELLANT, RATE, narrow, NOZZLE, TUBE, *ends))


def rungs(*ends):
    found = assess_ladder(motor_from_text(text(*ends), "motor.toml").motors, None, np.array([4e6]), marching=False)
    return {(rung.mode, rung.part): rung for rung in found.rungs}


def lowest(found):
    return min(found.values(), key=lambda rung: float(rung.likely[0]))


class TestWeldedLip:
    def test_it_lets_go_at_its_weld_first(self):
        """The hand example's tube: at 792 psi it is past yield, and that pressure lies in the band of the hinge."""
        found = rungs(LIP)
        assert lowest(found).mode == "weld yield"
        breaks = lowest({key: rung for key, rung in found.items() if rung.kind == "rupture"})
        assert breaks.mode == "weld hinge"
        low, high = breaks.band
        assert low < 792 * PSI < high and found["weld yield", "forward closure"].likely < 792 * PSI

    def test_a_screwed_ring_in_the_same_tube_does_not(self):
        found = rungs(RING)
        assert not any("weld" in mode for mode, _ in found)
        assert float(lowest(found).likely[0]) > 2 * float(lowest(rungs(LIP)).likely[0])

    def test_the_weld_softens_the_case_unless_the_file_says_otherwise(self):
        welded, aged = (
            motor_from_text(each, "motor.toml").motors.case
            for each in (text(LIP), text(LIP).replace("[case]\n", "[case]\nheat_affected = false\n"))
        )
        assert welded.heat_affected and welded.heat_affected_end == "forward" and not aged.heat_affected

    def test_a_weld_farther_in_shares_its_moment(self):
        near, far = (rungs(LIP + extra)["weld yield", "forward closure"].pressure for extra in ("", 'weld_distance = "20 mm"\n'))
        assert 1.4 * near < far < 2.0 * near

    def test_explain_names_the_weld(self, tmp_path):
        (tmp_path / "motor.toml").write_text(text(LINER, LIP))
        observed = '[observed]\npressure = "5.4 MPa"\nend = "forward"\nfound = ["weld torn", "closure gone"]\n'
        (tmp_path / "f.toml").write_text(f'schema = 1\nmotor = "motor.toml"\n{observed}')
        first = explain(load_firing(tmp_path / "f.toml")).candidates[0]
        assert first.mode in ("weld hinge", "weld throat") and first.part == "forward closure"

    def test_what_is_left_out_is_named(self):
        bare = LIP.replace('filler = "4043"\n', "").replace('lip_thickness = "0.19 in"\n', "")
        found = assess_ladder(motor_from_text(text(bare), "motor.toml").motors, None, np.array([4e6]), marching=False)
        why = {item.mode: item.why for item in found.not_assessed if item.part == "forward closure"}
        assert why["weld throat"] == "forward_closure.filler is not given"
        assert why["lip bending"] == "forward_closure.lip_thickness is not given"

    def test_it_is_drawn(self):
        parts = section(motor_from_text(text(LIP), "motor.toml").motors).parts
        assert [part.name for part in parts if part.name == "weld"] == ["weld"]


def test_a_filler_that_is_not_known_is_refused():
    from optimizer.inputs import InputError

    with pytest.raises(InputError, match="filler"):
        motor_from_text(text(LIP.replace("4043", "9999")), "motor.toml")
