"""Ends as they are built, from the keys of a motor file to the ladder, the explanation and the drawing."""

import math

import numpy as np
import pytest
from scenario import CASE, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, SEAL, changed, named

from optimizer.actions import check_answer
from optimizer.candidates.space import Space
from optimizer.commands.compare import compare
from optimizer.commands.explain import explain
from optimizer.inputs import InputError, load_firing, load_study
from optimizer.inputs.motor import motor_from_text
from optimizer.inputs.writing import motor_text
from optimizer.live.knobs import knobs_of
from optimizer.live.saving import _search_name
from optimizer.output.drawing.geometry import section
from optimizer.output.drawing.lathe import turned_parts
from optimizer.output.drawing.plates import Labels
from optimizer.output.report import fit_rows
from optimizer.output.report.panels import fits_table
from optimizer.output.terminal.check import fit_lines
from physics.assessment import assess
from physics.failure.ladder import assess_ladder
from physics.failure.seals import gland_warnings
from physics.fit import hot_fits

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


TWO = """[[forward_closure.seals]]
name = "inner"
cross_section = "3.53 mm"
gland_depth = "2.85 mm"
gland_width = "4.8 mm"
gap = "0.15 mm"
material = "nitrile"
[[forward_closure.seals]]
cross_section = "2.62 mm"
gland_depth = "2.1 mm"
gland_width = "3.6 mm"
gap = "0.05 mm"
hardness = 90
material = "nitrile"
"""
ONE = TWO[: TWO.index("[[forward_closure.seals]]\ncross")].replace("[[forward_closure.seals]]", "[forward_closure.seal]")


class TestSeveralSeals:
    """Two rings on the forward plate, the wider gap nearest the gas."""

    def test_each_is_a_rung_and_the_first_holds_as_if_alone(self):
        both, alone = rungs(RING, TWO), rungs(RING, ONE.replace('name = "inner"\n', ""))
        first, second = (both["seal extrusion", f"forward seal {place}"] for place in (1, 2))
        assert first.pressure == alone["seal extrusion", "forward closure"].pressure < second.pressure
        assert "hit first" in first.note and "those behind add no pressure" in first.note and first.note.startswith("inner")
        assert "a second barrier" in second.note and {first.kind, second.kind} == {"leak"}
        assert both["backup ring advised", "forward seal 2"].kind == "advice"

    def test_a_weaker_ring_behind_makes_nothing_worse_and_nothing_better(self):
        turned = TWO.replace('gap = "0.05 mm"', 'gap = "0.4 mm"')
        found = rungs(RING, turned)
        first, second = (found["seal extrusion", f"forward seal {place}"] for place in (1, 2))
        assert second.pressure == first.pressure and "no stronger than what stands before it" in second.note

    def test_the_load_is_taken_on_the_widest_circle_whichever_ring_it_is(self):
        inner = TWO.replace('name = "inner"\n', 'diameter = "46 mm"\n')
        plain, wide = rungs(RING, TWO), rungs(RING, inner)
        key = ("screw shear", "forward closure")
        assert (
            wide[key].pressure
            == plain[key].pressure
            < rungs(RING, ONE.replace('name = "inner"\n', 'diameter = "46 mm"\n'))[key].pressure
        )
        assert "widest sealing circle, 53.85 mm" in wide["seal extrusion", "forward seal 1"].note

    def test_heat_at_the_ring_behind_is_not_assessed_by_name(self):
        found = assess_ladder(motor_from_text(text(RING, TWO), "motor.toml").motors, None, np.array([4e6]))
        why = {(item.mode, item.part): item.why for item in found.not_assessed}
        assert "behind another" in why["seal overheating", "forward seal 2"]

    @pytest.mark.parametrize(
        ("rows", "says"),
        [
            (TWO + ONE, "stands beside"),
            (TWO.replace("[[forward_closure.seals]]", "[[forward_closure.seals]]\nrings = 2", 1), "rings"),
            (TWO.replace('name = "inner"', 'from_gas = "2 mm"'), "from_gas"),
            (
                TWO.replace('name = "inner"', 'from_gas = "9 mm"').replace('hardness = 90', 'from_gas = "2 mm"'),
                "no farther from the gas",
            ),
            (TWO.replace('gland_depth = "2.1 mm"', 'gland_depth = "2.9 mm"'), r"seals\[2\]\.gland_depth"),
            (TWO.replace('hardness = 90', 'diameter = "9 mm"'), r"seals\[2\]\.diameter"),
            ("[forward_closure]\nseals = []\n", "seals"),
        ],
    )  # fmt: skip
    def test_what_cannot_be_is_refused_by_its_row(self, rows, says):
        given = text(RING, rows) if not rows.startswith("[forward_closure]") else text(RING + "seals = []\n")
        with pytest.raises(InputError, match=says):
            motor_from_text(given, "motor.toml")

    def test_a_row_may_say_that_it_is_one_ring(self):
        said = TWO.replace("[[forward_closure.seals]]", "[[forward_closure.seals]]\nrings = 1")
        assert rungs(RING, said) == rungs(RING, TWO)

    def test_written_back_by_row(self):
        file = motor_from_text(text(RING, TWO), "motor.toml")
        changes = {"forward_closure.seals.1.gap": 1e-4, "forward_closure.seal.gap": 2e-4}
        again = motor_from_text(motor_text(file, changes), "motor.toml").motors
        assert [float(ring.gap[0]) for ring in again.forward_closure.seal.series] == [2e-4, 1e-4]

    def test_a_tolerance_of_one_row_moves_that_ring_alone(self):
        loose = '[tolerances]\nforward_closure.seals.1.gap = {plus = "0.02 mm"}\n'
        before, after = rungs(RING, TWO), rungs(RING, TWO, loose)
        first, second = (("seal extrusion", f"forward seal {place}") for place in (1, 2))
        assert after[first].pressure == before[first].pressure
        assert after[second].pressure < before[second].pressure and "seals.1.gap high" in after[second].note

    def test_drawn_gas_side_first_and_on_the_lathe_sheet(self):
        motors = motor_from_text(text(RING, TWO), "motor.toml").motors
        glands = {part.column: part.outline for part in section(motors).parts if part.kind == "gland"}
        assert glands["forward_closure.seal"][0][0] > glands["forward_closure.seal.behind"][0][0]
        plate = next(part for part in turned_parts(motors, Labels("x")) if part.name in ("forward plate", "forward closure"))
        sizes = {item.what: item for item in plate.features}
        bore = 57.15 - 2 * 0.065 * 25.4
        assert sizes["groove floor Ø, ring 1"].size == pytest.approx(bore - 5.7)
        assert sizes["groove floor Ø, ring 2"].size == pytest.approx(bore - 4.2)
        assert sizes["groove floor Ø, ring 2"].key == "forward_closure.seals.1.gland_depth"
        assert {round(2 * r, 3) for _, r in plate.solids[0]} >= {round(bore - gap, 3) for gap in (0.3, 0.1, 5.7, 4.2)}

    def test_placed_where_the_file_says(self):
        rows = TWO.replace('name = "inner"', 'from_gas = "1.5 mm"').replace("hardness = 90", 'from_gas = "8 mm"')
        shape = section(motor_from_text(text(RING, rows), "motor.toml").motors)
        gas = next(part for part in shape.parts if part.kind == "closure").outline[1][0]
        near = [max(x for x, _ in part.outline) for part in shape.parts if part.kind == "gland"]
        assert [gas - x for x in near] == pytest.approx([1.5, 8.0])

    def test_the_nozzle_may_have_several_too(self):
        found = rungs(RING, TWO.replace("forward_closure", "nozzle"))
        assert {part for mode, part in found if mode == "nozzle seal extrusion"} == {"nozzle seal 1", "nozzle seal 2"}


def test_a_search_moves_one_ring_of_several(tmp_path):
    (tmp_path / "motor.toml").write_text(text(RING, TWO))
    (tmp_path / "s.toml").write_text(
        'schema = 1\nmotor = "motor.toml"\n[search]\nforward_closure.seals.1.gap = ["0.05 mm", "0.1 mm"]\nseal_gap = ["0.1 mm"]\n'
    )
    with pytest.raises(InputError, match="sets what"):  # one ring under two names
        load_study(tmp_path / "s.toml")
    study = (tmp_path / "s.toml").read_text().replace('seal_gap = ["0.1 mm"]\n', "")
    (tmp_path / "s.toml").write_text(study + '[objectives]\nloaded_mass = "min"\n')
    space = Space(load_study(tmp_path / "s.toml"))
    rings = [space.candidates(np.array([[digit]])).motors.forward_closure.seal.series for digit in (0, 1)]
    assert [[float(np.ravel(ring.gap)[0]) for ring in series] for series in rings] == [[0.15e-3, 0.05e-3], [0.15e-3, 0.1e-3]]
    assert space.changes([1]) == {"forward_closure.seals.1.gap": pytest.approx(1e-4)}


class TestGlandTolerances:
    """A gland's tolerances reach what rests on it."""

    def test_a_gland_as_deep_as_its_ring_at_its_worst_holds_nothing(self):
        ring = ONE.replace('name = "inner"\n', "")
        loose = '[tolerances]\nforward_closure.seal.gland_depth = {plus = "0.7 mm"}\n'
        before, after = rungs(RING, ring), rungs(RING, ring, loose)
        key = ("seal extrusion", "forward closure")
        assert after[key].pressure == 0.0 < before[key].pressure and "gland_depth high" in after[key].note

    def test_a_gland_too_narrow_at_its_worst_is_advised_by_nobody(self):
        ring = ONE.replace('name = "inner"\n', "").replace('"4.8 mm"', '"3.6 mm"')
        tight = '[tolerances]\nforward_closure.seal.gland_width = {minus = "0.2 mm"}\n'
        key = ("backup ring advised", "forward closure")
        assert rungs(RING, ring)[key].pressure > 0.0 == rungs(RING, ring, tight)[key].pressure


class TestRingsHeldOtherwise:
    """A ring held by its thread, or a snap ring: rolling is reckoned, or said not to be."""

    THREAD = """[forward_closure]
retention = "threaded-ring"
thread_diameter = "55.5 mm"
thread_pitch = "1 mm"
engagement = "9 mm"
ring_material = "6061-T6"
plate_thickness = "12 mm"
"""

    def test_by_thread(self):
        """Roots at 55.5 − 1.2269, opening 55.5 − 12: section 5.387 by 9; held at 54.85 and loaded at 48: arm 3.425 mm."""
        found = rungs(self.THREAD + 'ring_width = "6 mm"\nbearing_diameter = "48 mm"\n')
        root, opening, held, bore = 54.273131, 43.5, 54.850481, 53.848
        width = (root - opening) / 2
        middle = (root - width) / 2
        moment = math.pi / 4 * bore**2 * (held - 48) / 2 / (2 * math.pi * middle)  # N for each MPa
        stress = 6 * moment * middle / (width * 81)
        assert float(found["ring rolling", "forward closure"].pressure[0]) == pytest.approx(241.3e6 / stress, rel=0.02)
        face = math.pi * 48 * min(48 - opening, bore - 48) / (math.pi / 4 * bore**2)
        assert float(found["ring contact", "forward closure"].pressure[0]) == pytest.approx(241.3e6 * face, rel=0.02)

    @pytest.mark.parametrize(
        ("more", "says"), [("", "bearing_diameter is not given"), ('bearing_diameter = "48 mm"\n', "ring_width is not given")]
    )
    def test_what_a_threaded_ring_lacks_is_named(self, more, says):
        found = assess_ladder(motor_from_text(text(self.THREAD + more), "m.toml").motors, None, np.array([4e6]), marching=False)
        why = {item.mode: item.why for item in found.not_assessed if item.part == "forward closure"}
        assert says in why["ring rolling"] and says in why["ring contact"]

    def test_a_snap_ring_that_dishes_is_not_assessed_by_name(self):
        snap = """[forward_closure]
retention = "snap-ring"
groove_depth = "0.8 mm"
snap_ring_thickness = "2 mm"
edge_margin = "6 mm"
bearing_diameter = "51 mm"
plate_material = "6061-T6"
plate_thickness = "12 mm"
"""
        found = assess_ladder(motor_from_text(text(snap), "m.toml").motors, None, np.array([4e6]), marching=False)
        why = {item.mode: item.why for item in found.not_assessed if item.part == "forward closure"}
        assert "how it dishes" in why["ring rolling"]


class TestScrewNotes:
    def test_a_set_screw_s_engagement_and_loosening(self):
        note = rungs(SET + 'flush_length = "6 mm"\n')["screw shear", "forward closure"].note
        assert "4.3 mm of thread in the ring" in note and "works loose" in note

    def test_a_short_cap_screw_has_its_thread_in_the_joint(self):
        cap = RING + 'screw_kind = "cap screw"\nshear_plane = "shank"\nflush_length = "10 mm"\n'
        assert "by the standard its thread lies in the joint" in rungs(cap)["screw shear", "forward closure"].note

    def test_play_is_told_as_a_bound_unless_the_holes_give_first(self):
        """Set screws, hollow, go before the holes of the wall; a wall half as thick gives before they do."""
        assert "three may bear first" in rungs(SET)["screw shear", "forward closure"].note
        weak = text(RING).replace('wall = "0.065 in"', 'wall = "0.02 in"')
        found = assess_ladder(motor_from_text(weak, "m.toml").motors, None, np.array([4e6]), marching=False)
        note = next(rung.note for rung in found.rungs if (rung.mode, rung.part) == ("screw shear", "forward closure"))
        assert "evened out by the holes, which give before the screws" in note


class TestPlugDrawn:
    @pytest.mark.parametrize(("offset", "sides"), [("", (1.0, -1.0)), ('offset = "8 mm"\n', (1.0,))])
    def test_in_the_section(self, offset, sides):
        shape = section(motor_from_text(text(RING, PLUG + offset), "motor.toml").motors)
        plug = next(part for part in shape.parts if part.kind == "plug")
        plate = next(part for part in shape.parts if part.kind == "closure")
        assert plug.sides == sides and "1/2-20 UNF" in plug.name
        assert max(x for x, _ in plug.outline) - plate.outline[0][0] == pytest.approx(10.0)  # as far as it is engaged
        middle = 8.0 if offset else 0.0
        assert max(r for x, r in plug.outline if x > plate.outline[0][0] + 1) == pytest.approx(middle + 6.35)

    def test_on_the_lathe_sheet(self):
        made = turned_parts(motor_from_text(text(RING, PLUG), "motor.toml").motors, Labels("x"))
        plate = next(part for part in made if part.name == "forward plate")
        hole = next(item for item in plate.features if item.what.startswith("plug's hole"))
        assert hole.size == pytest.approx(25.4 * 29 / 64) and min(r for _, r in plate.solids[0]) == pytest.approx(hole.size / 2)
        assert not any("no centre hole" in note for note in plate.notes)


def test_glands_that_a_plate_has_no_room_for_are_told():
    """Two glands of 1.35 rings and three lands of half a ring: 4.2 times 3.53 mm."""
    motors = motor_from_text(text(RING.replace('"0.5 in"', '"9 mm"'), SEAL), "motor.toml").motors
    assert any("need 14.8 mm of a plate of 9.0 mm" in told for told in gland_warnings(motors, "forward"))
    one = motor_from_text(text(RING.replace('"0.5 in"', '"9 mm"'), SEAL.replace("rings = 2", "rings = 1")), "motor.toml").motors
    assert not any("need" in told for told in gland_warnings(one, "forward"))


def test_each_ring_of_several_has_its_own_knobs_and_can_be_searched():
    found = {knob.name: knob for knob in knobs_of(motor_from_text(text(RING, TWO), "motor.toml"))}
    assert found["forward_closure.seals.1.gap"].label == "seal 2 gap"
    assert _search_name(found["forward_closure.seals.1.gap"], list(found.values())) == "forward_closure.seals.1.gap"


def test_one_seal_against_several_is_one_change():
    several = motor_from_text(text(LINER, RING, TWO), "b.toml")
    one = motor_from_text(text(LINER, RING, ONE.replace('name = "inner"\n', "")), "a.toml")
    (step,) = compare([one, several]).steps
    (change,) = step.changes
    assert "seal" in change.key and change.alone is not None and change.why == ""
    assert change.alone.rung("seal extrusion, forward seal 2") is not None


def test_the_room_cold_and_hot_is_on_page_screen_and_in_the_answer():
    look = assess(motor_from_text(text(LINER, RING, TWO), "motor.toml").motors, curve=True)
    answer = check_answer("x", look, [])["fits"]
    assert [one["place"] for one in answer["clearances"]] == ["forward closure in case"]
    assert {one["place"]: one["why"] for one in answer["not_assessed"]}["grain in liner"] == "propellant.expansion is not given"
    rows = fits_table({"fits": fit_rows(look)}, "metric")
    assert rows[0]["number"] == "0.3 mm at 20 degC" and any("not assessed" in row["number"] for row in rows)
    assert any("not assessed cold and hot" in line.plain for line in fit_lines(hot_fits(look.motors), "metric"))
