"""Ends as they are built, from the keys of a motor file to the ladder, the explanation and the drawing."""

import numpy as np
import pytest
from scenario import CASE, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, SEAL, changed, named

from optimizer.commands.explain import explain
from optimizer.inputs import InputError, load_firing
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
    with pytest.raises(InputError, match="filler"):
        motor_from_text(text(LIP.replace("4043", "9999")), "motor.toml")


SET = RING.replace('screw = "#8-32"', 'screw = "#8-32"\nscrew_kind = "set screw"').replace('"A574"', '"45H"')
PLUG = """[forward_closure.plug]
thread = "1/2-20 UNF"
engagement = "10 mm"
material = "360 brass"
"""


class TestSetScrews:
    def test_the_socket_of_its_size_is_taken_and_told(self):
        rung = rungs(SET)["screw shear", "forward closure"]
        assert "socket_depth is not given" in rung.note and "lock it" in rung.note
        shallow = rungs(SET + 'socket_depth = "1.5 mm"\n')["screw shear", "forward closure"]
        assert shallow.pressure > 1.8 * rung.pressure

    @pytest.mark.parametrize(
        ("line", "says"),
        [
            ('shear_plane = "shank"', "a set screw has none"),
            ('socket_across_flats = "9 mm"', "as wide as the screw"),
        ],
    )
    def test_what_no_set_screw_has_is_refused(self, line, says):
        with pytest.raises(InputError, match=says):
            motor_from_text(text(SET + line + "\n"), "motor.toml")

    def test_a_cap_screw_has_no_socket_in_its_body(self):
        with pytest.raises(InputError, match="set screws only"):
            motor_from_text(text(RING + 'socket_depth = "3 mm"\n'), "motor.toml")


class TestOwnRing:
    def test_the_plate_spans_to_its_bearing_circle_and_the_way_is_told(self):
        ring = RING + 'ring_edge_distance = "9 mm"\nbearing_diameter = "46 mm"\n'
        apart, whole = rungs(ring), rungs(RING)
        bent = apart["plate bending", "forward closure"]
        assert bent.pressure > whole["plate bending", "forward closure"].pressure
        assert "goes through the plate to the ring on 46.0 mm" in bent.note
        assert {"ring rolling", "ring contact"} <= {mode for mode, _ in apart}
        assert not {"ring rolling", "ring contact"} & {mode for mode, _ in whole}


class TestPlug:
    def test_a_hole_in_the_middle_halves_what_the_plate_bears(self):
        plain, bored = (rungs(RING + each)["plate bending", "forward closure"].pressure for each in ("", PLUG))
        assert 0.4 * plain < bored < 0.6 * plain

    def test_off_the_middle_by_hand(self):
        """a 26.92, 8 mm off: ρ² 0.0883; σr 1.2487·0.9117, σθ (3/8)(3.33 − 1.99·0.0883); 3σθ − σr = 2.410 of 1.2487."""
        plain, bored = (
            rungs(RING + each)["plate bending", "forward closure"].pressure for each in ("", PLUG + 'offset = "8 mm"\n')
        )
        assert bored / plain == pytest.approx(1.24875 / 2.4103, rel=2e-3)

    def test_its_threads_and_its_seal(self):
        found = assess_ladder(motor_from_text(text(RING, PLUG), "motor.toml").motors, None, np.array([4e6]), marching=False)
        assert "plug thread shear" in {rung.mode for rung in found.rungs}
        why = {item.mode: item.why for item in found.not_assessed if item.part == "forward closure"}
        assert why["plug seal extrusion"] == "[forward_closure.plug.seal] is not given"
        sealed = PLUG + SEAL.replace("forward_closure.seal", "forward_closure.plug.seal")
        assert "plug seal extrusion" in {mode for mode, _ in rungs(RING, sealed)}


def test_a_seal_on_the_nozzle_and_what_heats_it():
    ring = SEAL.replace("forward_closure.seal", "nozzle.seal")
    base = text(RING, ring)
    found = assess_ladder(motor_from_text(base, "motor.toml").motors, None, np.array([4e6]), marching=False)
    assert ("nozzle seal extrusion", "nozzle") in {(rung.mode, rung.part) for rung in found.rungs}
    why = {(item.mode, item.part): item.why for item in found.not_assessed}
    assert "not in the model" in why["nozzle seal overheating", "nozzle"]
    assert ("nozzle seal extrusion", "nozzle") not in rungs(RING)
