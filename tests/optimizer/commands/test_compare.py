"""Iteration against iteration: what counts as one change, what each does alone, and the plain answer."""

import json
import tomllib

import pytest
from effort import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario import AFT, CASE, FORWARD, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, changed, named

from optimizer.commands.compare import _flat, _lines, compare, state_of
from optimizer.commands.standing import standing
from optimizer.inputs import load_motor
from physics.assessment import assess

MOTOR = "".join(
    (
        named("First"),
        PROPELLANT,
        changed(RATE, ("6.5 mm/s", "9 mm/s"), ("0.33", "0.35")),
        GRAINS,
        NOZZLE,
        CASE,
        LINER,
        FORWARD,
        changed(AFT, ("count = 8", "count = 3")),
    )
)


@pytest.fixture()
def motors(tmp_path):
    """A maker of motor files: replacements on the first motor, and text at the end."""

    def make(*changes, extra=""):
        text = MOTOR
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / f"{len(list(tmp_path.iterdir()))}.toml"
        path.write_text(text + extra)
        return load_motor(path)

    return make


def keys(comparison):
    return [change.key for change in comparison.changes]


MORE_SCREWS = ("count = 3\nedge", "count = 8\nedge")


class TestWhatChanged:
    def test_the_same_motor(self, motors):
        comparison = compare([motors(), motors(('name = "First"', 'name = "Second"'))])
        assert comparison.changes == [] and comparison.steps[0].verdict == "no change"

    def test_another_unit_is_no_change(self, motors):
        other = motors(('"13.5 mm"', '"0.0135 m"'), ('"330 mm"', '"33 cm"'), ('"6061-T6"', '"6061-T6"'))
        assert compare([motors(), other]).changes == []

    def test_a_change_in_the_units_of_the_files(self, motors):
        (change,) = compare([motors(), motors(('"13.5 mm"', '"0.55 in"'))]).changes
        assert change.key == "nozzle.throat_diameter"
        assert change.before == 0.0135 and change.after == pytest.approx(0.01397)
        assert (change.before_text, change.after_text) == ("13.5 mm", "0.55 in")

    def test_every_kind_of_key(self, motors):
        other = motors(
            ("exponent = 0.35", "exponent = 0.4"), ('"9 mm/s"', '"8 mm/s"'), ("count = 8", "count = 10"),
            ('"6061-T6"', '"4130 normalized"'), ('core_diameter = "18 mm"', 'core_diameter = "20 mm"'),
            extra='[ambient]\ntemperature = "30 degC"\npressure = "1013.25 mbar"\nsoak = ["0 degC", "40 degC"]\n'
            '[tolerances]\nrate = {standard_deviation = "3 %"}\n',
        )  # fmt: skip
        comparison = compare([motors(), other])
        assert set(keys(comparison)) == {
            "propellant.rate.exponent", "propellant.rate.rate", "forward_closure.count", "case.material",
            "grain.core_diameter", "ambient.temperature", "ambient.soak", "tolerances.rate",
        }  # fmt: skip
        changes = {change.key: change for change in comparison.changes}
        assert changes["case.material"].after == "4130 normalized"
        assert (changes["ambient.temperature"].before, changes["ambient.temperature"].after) == (293.15, 303.15)
        assert all(change.alone is not None for change in comparison.changes)

    @pytest.mark.slow
    def test_a_row_of_grains_added_is_one_change(self, motors):
        row = '[[grain]]\nlength = "40 mm"\nouter_diameter = "46 mm"\ncore_diameter = "20 mm"\nburning_ends = 2\n'
        comparison = compare([motors(), motors(("[nozzle]", row + "[nozzle]"))])
        (change,) = comparison.changes
        assert change.key == "grain" and change.meaning == "rows changed" and change.after_text.startswith("2 rows")
        mass = comparison.figures["propellant_mass"]
        assert mass[1] > 1.1 * mass[0] and change.alone.figures["propellant_mass"] == mass[1]
        both = [
            motors(("[nozzle]", row + "[nozzle]")),
            motors(("[nozzle]", row.replace("20 mm", "22 mm") + "[nozzle]")),
        ]
        assert keys(compare(both)) == ["grain[2].core_diameter"]

    def test_counts_and_lengths_of_grains_are_one_change(self, motors):
        """Three of 75 mm and two of 112 mm fill the same case; two of 75 mm leave it half empty."""
        both = 'count = 2\nlength = "112 mm"'
        other = motors(('count = 3\nlength = "75 mm"', both), ('"13.5 mm"', '"14 mm"'))
        comparison = compare([motors(), other])
        assert keys(comparison) == ["grain.count and length", "nozzle.throat_diameter"]
        change = comparison.changes[0]
        assert change.alone is not None and (change.before_text, change.after_text) == ("3, 75 mm", "2, 112 mm")
        assert change.lines == (("grain.count", "3", "2"), ("grain.length", "75 mm", "112 mm"))

    @pytest.mark.slow
    def test_a_face_that_is_covered_is_one_change_however_the_other_file_counts_its_ends(self, motors):
        faces = 'forward_face = {covered_to = "28 mm"}\naft_face = "bare"'
        both = ["grain.forward_face", "grain.aft_face"]
        for count, alone in (("burning_ends = 2", both[:1]), ("burning_ends = 0", both)):
            first, second = motors(("burning_ends = 2", count)), motors(("burning_ends = 2", faces))
            comparison = compare([first, second])
            assert keys(comparison) == alone and all(change.alone is not None for change in comparison.changes)
        assert keys(compare([motors(), motors(("burning_ends = 2", 'forward_face = "bare"\naft_face = "bare"'))])) == []
        one = motors(("burning_ends = 2", 'burning_ends = 1\nforward_face = "inhibited"'))
        assert keys(compare([motors(), one])) == ["grain.forward_face"]

    def test_a_closure_of_another_kind_is_told_key_by_key(self, motors):
        ring = 'retention = "threaded-ring"\nthread_diameter = "52 mm"\nthread_pitch = "1.5 mm"\nengagement = "10 mm"\n'
        first = motors().document["forward_closure"]
        assert dict(_flat(first))["retention"] == "radial-screws"
        lines = {key: (old, new) for key, old, new in _lines(first, tomllib.loads(ring))}
        assert lines["retention"] == ("radial-screws", "threaded-ring") and lines["engagement"] == ("–", "10 mm")
        assert lines["count"] == (str(first["count"]), "–")

    def test_a_part_that_goes_is_one_change(self, motors):
        without = motors(('[liner]\nmaterial = "paper-phenolic"\nthickness = "1.6 mm"\n', ""))
        (change,) = compare([motors(), without]).changes
        assert change.key == "liner" and change.meaning == "removed" and change.after is None and change.alone is not None

    def test_another_way_of_holding_a_closure_is_one_change(self, motors):
        start = MOTOR.index("[aft_closure]")
        ring = '[aft_closure]\nretention = "snap-ring"\ngroove_depth = "2 mm"\nsnap_ring_thickness = "2 mm"\n'
        ring += 'edge_margin = "8 mm"\nsnap_ring_shear_strength = "1000 MPa"\nplate_thickness = "12 mm"\n'
        ring += 'ring_material = "6061-T6"\n'
        comparison = compare([motors(), motors((MOTOR[start:], ring))])
        assert keys(comparison) == ["aft_closure"] and comparison.changes[0].meaning == "rebuilt"
        # Screw shear of the aft closure governed; the new motor has no such rung.
        assert comparison.steps[0].verdict == "not known" and "no such rung" in comparison.steps[0].answer

    @pytest.mark.slow
    def test_another_propellant_is_one_change_the_same_with_a_new_rate_is_not(self, motors, tmp_path):
        other = motors(('"invented"', '"another"'), ('"1480 m/s"', '"1400 m/s"'), ("0.35", "0.3"))
        (change,) = compare([motors(), other]).changes
        assert change.key == "propellant" and change.after_text == "another"
        table = MOTOR[MOTOR.index("[propellant]") : MOTOR.index("[[grain]]")]
        (tmp_path / "p.toml").write_text(
            table.replace("[propellant]", "schema = 1").replace("propellant.", "").replace("0.35", "0.3")
        )
        used = motors((table, '[propellant]\nuse = "p.toml"\n'))
        assert keys(compare([motors(), used])) == ["propellant.rate.exponent"]

    def test_a_change_that_cannot_stand_alone(self, motors):
        bigger = motors(('outer_diameter = "46 mm"', 'outer_diameter = "56 mm"'), ('"57.2 mm"', '"66 mm"'))
        changes = {change.key: change for change in compare([motors(), bigger]).changes}
        assert changes["grain.outer_diameter"].alone is None and "wider than the room" in changes["grain.outer_diameter"].why
        assert changes["case.outer_diameter"].alone is not None and changes["case.outer_diameter"].why == ""


class TestWhatItDid:
    def test_one_change_alone_is_the_whole(self, motors):
        comparison = compare([motors(), motors(('"13.5 mm"', '"14 mm"'))])
        (change,) = comparison.changes
        for name, (_, after) in comparison.figures.items():
            assert change.alone.figures[name] == after
        assert change.alone.rungs == comparison.states[1].rungs

    def test_figures_and_ladders_are_those_of_a_check(self, motors):
        pair = [motors(), motors(MORE_SCREWS)]
        comparison = compare(pair)
        for place, motor in enumerate(pair):
            assessment = assess(motor.motors)
            assert comparison.figures["peak_pressure"][place] == assessment.figures["peak_pressure"][0]
            assert comparison.figures["loaded_mass"][place] == assessment.masses["loaded"][0]
            assert comparison.states[place].governing.name == assessment.governing[0]
            pressures = [rung.pressure for rung in comparison.states[place].rungs if rung.pressure is not None]
            assert pressures == sorted(pressures) and len(pressures) > 5

    def test_three_motors_are_two_steps(self, motors):
        comparison = compare([motors(), motors(MORE_SCREWS), motors(MORE_SCREWS, ('"3.2 mm"', '"2.8 mm"'))])
        answer = comparison.as_json()
        assert [(change["key"], change["step"]) for change in answer["changes"]] == [
            ("aft_closure.count", [0, 1]), ("case.wall", [1, 2]),
        ]  # fmt: skip
        assert len(answer["figures"]["peak_pressure"]) == 3 and len(answer["ladders"]) == 3
        assert answer["motors"] == ["First (1)", "First (2)", "First (3)"]

    def test_json(self, motors):
        answer = compare([motors(), motors(MORE_SCREWS)]).as_json()
        json.dumps(answer, allow_nan=False)
        assert {"motors", "changes", "figures", "ladders"} <= set(answer)
        (change,) = answer["changes"]
        assert (change["key"], change["from"], change["to"]) == ("aft_closure.count", 3.0, 8.0)
        assert change["alone"]["peak_pressure"] == answer["figures"]["peak_pressure"][1]
        assert "screw shear" in answer["ladders"][0]

    def test_shares_of_the_first_to_fail_are_those_of_a_check_and_say_how_they_moved(self, motors):
        pair = [motors(), motors(MORE_SCREWS)]
        found = compare(pair)
        for motor, shares in zip(pair, found.first, strict=True):
            stands = standing(assess(motor.motors), motor.evidence)
            assert shares == stands.first and sum(shares.values()) == pytest.approx(1.0)
        before, after = dict(found.first_to_fail)["screw shear", "aft closure"]
        assert before > 0.2 and after < 0.01  # more screws aft: the aft screws are no longer what goes first
        assert {"mode": "screw shear", "part": "aft closure", "share": before} in found.as_json()["first_to_fail"][0]

    @pytest.mark.slow
    @given(st.integers(4, 12), st.sampled_from(["2.6 mm", "3 mm", "3.4 mm"]))
    @settings(max_examples=examples(5, 2), deadline=None)
    def test_comparing_forth_and_back(self, tmp_path_factory, count, wall):
        folder = tmp_path_factory.mktemp("pair")
        (folder / "a.toml").write_text(MOTOR)
        (folder / "b.toml").write_text(MOTOR.replace("count = 3\nedge", f"count = {count}\nedge").replace("3.2 mm", wall))
        pair = [load_motor(folder / "a.toml"), load_motor(folder / "b.toml")]
        forth, back = compare(pair), compare(pair[::-1])
        assert [(c.key, c.before, c.after) for c in forth.changes] == [(c.key, c.after, c.before) for c in back.changes]
        assert forth.states == back.states[::-1]


class TestAnswer:
    """Three aft screws govern the first motor and are short of their factor."""

    def verdict(self, before, after, **options):
        step = compare([before, after], **options).steps[0]
        return step.verdict, step.answer

    def test_the_first_motor(self, motors):
        look = state_of(assess(motors().motors))
        assert look.governing.name == "screw shear, aft closure" and not look.governing.ok

    def test_yes(self, motors):
        verdict, answer = self.verdict(motors(), motors(MORE_SCREWS))
        assert verdict == "yes" and "Yes: this fixes it" in answer
        assert "aft_closure.count alone moves its factor by +167 %" in answer

    def test_not_enough(self, motors):
        verdict, answer = self.verdict(motors(("count = 3\nedge", "count = 2\nedge")), motors())
        assert verdict == "not enough" and "It still governs" in answer and "No: it helps" in answer

    def test_no(self, motors):
        assert self.verdict(motors(), motors(('plate_thickness = "12 mm"', 'plate_thickness = "13 mm"')))[0] == "no"

    def test_worse(self, motors):
        verdict, answer = self.verdict(motors(), motors(('"13.5 mm"', '"12.5 mm"')))
        assert verdict == "worse" and "nozzle.throat_diameter works against it" in answer

    def test_better_only_because_the_pressure_fell(self, motors):
        _, answer = self.verdict(motors(), motors(('"13.5 mm"', '"18 mm"')), failed="screw shear, forward closure")
        assert "The part itself is no stronger; the expected pressure fell by" in answer

    def test_fixed_but_short_elsewhere(self, motors):
        verdict, answer = self.verdict(motors(), motors(MORE_SCREWS, ('"3.2 mm"', '"0.5 mm"')))
        assert verdict == "yes, but" and "Short of what is required" in answer

    @pytest.mark.slow
    def test_a_sound_motor_had_nothing_to_fix(self, motors):
        sound = motors(MORE_SCREWS)
        throat = '"13.5 mm"'
        assert self.verdict(sound, motors(MORE_SCREWS, (throat, '"14 mm"')))[0] == "better"
        verdict, answer = self.verdict(sound, motors(MORE_SCREWS, (throat, '"13.2 mm"')))
        assert verdict == "lower" and "still does, with less in hand" in answer
        assert self.verdict(sound, motors(MORE_SCREWS, ('"14 deg"', '"15 deg"')))[0] == "held"
        verdict, answer = self.verdict(sound, motors(MORE_SCREWS, (throat, '"9 mm"')))
        assert verdict == "short now" and "Short of what is required" in answer

    def test_the_mode_that_failed_can_be_named(self, motors):
        step = compare([motors(), motors(('"3.2 mm"', '"4 mm"'))], failed="case yield").steps[0]
        # The case did meet its factor; who says that it failed is believed.
        assert step.asked_about == "case yield, case" and step.verdict == "yes, but"
        with pytest.raises(ValueError, match="screw shear"):
            compare([motors(), motors()], failed="nothing like it")

    def test_a_bare_motor_has_no_ladder_to_answer_from(self, motors):
        bare = (MOTOR[MOTOR.index("[case]") :], "")
        verdict, answer = self.verdict(motors(bare), motors(bare, ('"13.5 mm"', '"14 mm"')))
        assert verdict == "not assessed" and "nothing to hold" in answer

    def test_one_motor_is_no_comparison(self, motors):
        with pytest.raises(ValueError, match="two"):
            compare([motors()])

    def test_imperial(self, motors):
        assert "psi" in self.verdict(motors(), motors(MORE_SCREWS), units="imperial")[1]
