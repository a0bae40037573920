"""What tests have shown: the motor's own evidence, test files, and what to test next."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.cli import main
from optimizer.commands.new import create
from optimizer.commands.standing import standing
from optimizer.commands.vouch import vouch
from optimizer.firings.reduction import reduce_firing
from optimizer.inputs import InputError, load_firing, load_motor, motor_from_text
from optimizer.inputs.evidence import load_test
from optimizer.inputs.writing import motor_text
from physics.assessment import assess
from physics.failure.evidence import WATER_ON_GAS, Evidence, same_hardware, shown
from physics.failure.proof import GAUGE_ERROR

WATER = 'schema = 1\nkind = "water"\npressure = "1200 psi"\ntemperature = "15 degC"\nplugged = true\noutcome = "held"\n'
PSI = 6894.757293168


@pytest.fixture
def motor(tmp_path: Path) -> Path:
    create(tmp_path / "start")
    return tmp_path / "start" / "motor.toml"


def written(folder: Path, text: str, name: str = "test.toml") -> Path:
    path = folder / name
    path.write_text(text)
    return path


def test_a_held_proof_is_counted_and_says_what_it_left_out(motor: Path, tmp_path: Path) -> None:
    found = vouch(load_motor(motor), [written(tmp_path, WATER)])
    assert found.after.value < found.before.value and not found.failed
    by_mode = {(rung.mode, rung.part): rung for rung in found.rungs}
    assert by_mode["case burst", "case"].held == pytest.approx(1200 * PSI * (1 - GAUGE_ERROR))
    seal = by_mode["seal extrusion", "forward closure"]
    assert seal.held == pytest.approx(WATER_ON_GAS * 1200 * PSI * (1 - GAUGE_ERROR))
    untouched = {mode for mode, _ in found.untouched}
    assert {"grain support", "liner burn-through"} <= untouched and "case burst" not in untouched
    assert all(rung.after.value <= rung.before.value + 1e-9 for rung in found.rungs)
    assert found.next_test.pressure and 1.1 <= found.next_test.over_expected <= 2.0


def test_without_the_plug_nothing_aft_is_loaded(motor: Path, tmp_path: Path) -> None:
    found = vouch(load_motor(motor), [written(tmp_path, WATER.replace("plugged = true", "plugged = false"))])
    aft = [rung for rung in found.rungs if rung.part in ("aft closure", "nozzle")]
    assert aft and all(rung.held is None for rung in aft)


def test_a_cold_proof_does_not_prove_a_hot_case(motor: Path) -> None:
    """The same pressure borne at 15 degC by a case that works at 150 degC shows a smaller share of what it then bears."""
    motors = load_motor(motor).motors
    hot = motors.with_values({"case.service_temperature": np.array([423.15])})
    cold_test = Evidence("water", "cold", 8e6, 288.15, plugged=True)
    warm_test = Evidence("water", "hot", 8e6, 423.15, plugged=True)
    ladder = assess(hot).ladder
    cold, warm = ({one.key: one.bound.margin for one in shown(hot, test, ladder)} for test in (cold_test, warm_test))
    assert cold["case yield", "case"] > warm["case yield", "case"]


def test_evidence_of_the_file_is_counted_by_check(motor: Path) -> None:
    rows = WATER.replace("schema = 1\n", "").replace("1200 psi", "2000 psi")
    motor.write_text(motor.read_text() + "\n[[evidence]]\n" + rows)
    file = load_motor(motor)
    look = assess(file.motors, curve=True)
    bare, known = standing(look), standing(look, file.evidence)
    key = ("seal extrusion", "forward closure")
    assert known.held[key][0] > 0.0 and not bare.held and known.first[key] < bare.first[key]


@pytest.mark.slow
def test_a_failed_proof_says_no_and_needs_a_mode(motor: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    failed = WATER.replace('"held"', '"failed"')
    with pytest.raises(InputError, match="what did not hold"):
        vouch(load_motor(motor), [written(tmp_path, failed)])
    path = written(tmp_path, failed.replace("1200", "1900") + 'mode = "screw shear"\n')
    found = vouch(load_motor(motor), [path])
    assert found.failed
    before, after = ({(r.mode, r.part): getattr(r, side).value for r in found.rungs} for side in ("before", "after"))
    assert after["screw shear", "forward closure"] >= before["screw shear", "forward closure"]
    with pytest.raises(SystemExit) as ended:
        main(["vouch", str(motor), str(path), "--json"])
    assert ended.value.code == 1
    answer = json.loads(capsys.readouterr().out)
    assert {"schema", "rungs", "untouched", "coverage", "next_test"} <= set(answer)
    names = {"mode", "part", "place", "design", "likely", "held", "by", "chance_before", "chance_after"}
    assert all(names <= set(rung) for rung in answer["rungs"])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('kind = "water"', 'kind = "wind"', "water"),
        ('pressure = "1200 psi"\n', "", "pressure"),
        ('outcome = "held"', 'outcome = "held"\nmode = "case burst"', "beside an outcome"),
        ('outcome = "held"', 'outcome = "failed"\nmode = "case bursts"', "did you mean 'case burst'"),
        ("plugged", "pluged", "plugged"),
    ],
)
def test_bad_test_files_are_refused(motor: Path, tmp_path: Path, old: str, new: str, said: str) -> None:
    # Read as vouch reads it, which looks at the motor first.
    with pytest.raises(InputError, match=said):
        load_test(written(tmp_path, WATER.replace(old, new)), 101325.0)


def test_vouch_refuses_a_bad_test_file(motor: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="pressure"):
        vouch(load_motor(motor), [written(tmp_path, WATER.replace('pressure = "1200 psi"\n', ""))])


def test_a_bench_burn_proves_no_rung(motor: Path, tmp_path: Path) -> None:
    found = vouch(load_motor(motor), [written(tmp_path, 'schema = 1\nkind = "bench burn"\noutcome = "held"\n')])
    assert found.after.value == found.before.value and found.coverage[0]["verdict"] == "not assessed" and found.notes


BENCH = """schema = 1
kind = "bench burn"
motor = "start/one.toml"
outcome = "held"
liner_after = [{place = "forward end", thickness = "1.0 mm"}, {place = "aft end", thickness = "1.7 mm"}]
stickers = [{place = "aft end", temperature = "250 degC"}]
"""


@pytest.fixture
def one_grain(motor: Path) -> Path:
    """The starter with one grain and a throat for the same pressure."""
    text = motor.read_text()
    for old, new in (("count = 3", "count = 1"), ('"10 mm"', '"5.77 mm"'), ('"22 mm"', '"12.7 mm"'), ('"280 mm"', '"140 mm"')):
        assert old in text
        text = text.replace(old, new, 1)
    path = motor.parent / "one.toml"
    path.write_text(text)
    return path


@pytest.mark.slow
def test_a_measured_liner_goes_over_where_the_test_was_as_hard(motor: Path, one_grain: Path, tmp_path: Path) -> None:
    found = vouch(load_motor(motor), [written(tmp_path, BENCH)])
    by_place = {one.measured.place: one for one in found.liner}
    assert by_place["forward end"].carried is not None and by_place["forward end"].measured.factor > 1.1
    assert by_place["aft end"].carried is None, "a milder burn that went well says nothing of a harder one"
    assert {row["place"]: row["verdict"] for row in found.coverage}["aft end"] == "covered for charring only"
    assert "gas came through" in found.stickers[0]["says"]
    assert ("liner burn-through", "liner") not in found.untouched
    assert any("[[liner.measured]]" in note for note in found.notes)


@pytest.mark.slow
def test_a_firing_of_the_motor_itself_moves_its_rungs(motor: Path, tmp_path: Path) -> None:
    """All of the liner but a fifth lost at the aft end: the rung of that place comes sooner, with a narrower band."""
    text = (motor.parent / "firing.toml").read_text()
    firing = motor.parent / "looked.toml"
    firing.write_text(text + '\n[measured]\nliner_after = [{position = "240 mm", thickness = "0.4 mm"}]\n')
    found = vouch(load_motor(motor), [firing])
    (row,) = reduce_firing(load_firing(firing)).liner
    assert row["place"] == "aft end" and row["loss"] == pytest.approx(1.6e-3)
    (one,) = found.liner
    assert row["factor"] == pytest.approx(one.measured.factor, rel=1e-6)
    assert one.measured.place == "aft end" and one.verdict == "covered" and one.measured.lost == pytest.approx(1.6e-3)
    times = {(rung.mode, rung.part): rung.likely for rung in found.rungs}
    plain = {(rung.mode, rung.part): rung.likely for rung in vouch(load_motor(motor)).rungs}
    key = ("liner burn-through", "liner")
    assert times[key] < 0.75 * plain[key]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('place = "forward end", thickness', "thickness", "says no place"),
        ('place = "forward end", thickness', 'place = "forward end", position = "2 mm", thickness', "or two"),
        ('place = "forward end", thickness', 'place = "front", thickness', "forward end"),
        ('temperature = "250 degC"', 'temperature = "250"', "no unit"),
    ],
)
def test_bad_spots_are_refused(motor: Path, tmp_path: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        vouch(load_motor(motor), [written(tmp_path, BENCH.replace(old, new, 1))])


def test_check_tells_first_to_fail_flaws_and_what_reaches_a_rung(motor: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["check", str(motor), "--json"])
    answer = json.loads(capsys.readouterr().out)
    shares = [row["share"] for row in answer["first_to_fail"]]
    assert sum(shares) == pytest.approx(1.0) and shares == sorted(shares, reverse=True)
    assert {row["kind"] for row in answer["ladder"]} <= {"rupture", "yield", "leak", "heat", "advice"}
    assert all({"likely", "scatter", "rests_on", "held", "band", "place", "first_to_fail"} <= set(row) for row in answer["ladder"])
    assert {"grain cracked through", "hottest soak"} <= {row["flaw"] for row in answer["flaws"]}
    for row in answer["to_reach"]:
        assert row["burning_area_surplus"] > 0.0 and 0.0 < row["throat_blocked"] < 1.0
    head = answer["ballistics"]["peak_head_pressure"]
    exponent = load_motor(motor).motors.propellant.exponent[0, 0]
    lowest = answer["to_reach"][0]
    # derived: within one row of the rate law the surplus is (p/p0)^(1 - n); the port moves it by little
    assert 1.0 + lowest["burning_area_surplus"] == pytest.approx((lowest["likely"] / head) ** (1 - exponent), rel=0.05)


def test_a_design_of_the_same_hardware_keeps_its_water_proof_and_no_firing(motor: Path) -> None:
    """A proof is of case, closures and nozzle: another throat is bored into the same parts, another wall is another tube."""
    proof = WATER.replace("schema = 1\n", "")
    fired = 'kind = "firing"\npressure = "700 psi"\nduration = "2 s"\noutcome = "held"\n'
    motor.write_text(motor.read_text() + f"\n[[evidence]]\n{proof}\n[[evidence]]\n{fired}")
    file = load_motor(motor)
    text = motor_text(file, {"throat_diameter": 0.0135}, tests=lambda table: table.get("kind") == "water")
    assert [one.kind for one in motor_from_text(text, motor).evidence] == ["water"]
    assert "evidence" not in motor_text(file, {"throat_diameter": 0.0135})
    changed = {"nozzle.throat_diameter": 0.0135, "nozzle.exit_diameter": 0.03}
    assert same_hardware(file.motors.with_values({key: np.array([value]) for key, value in changed.items()}), file.motors)[0]
    for column in ("case.wall", "case.length", "forward_closure.screws.count", "aft_closure.seal.gap"):
        other = file.motors.with_values({column: 1.01 * np.asarray(file.motors.value(column))})
        assert not same_hardware(other, file.motors)[0], column
    assert not same_hardware(replace(file.motors, aft_closure=None), file.motors)[0]


@pytest.mark.slow
@pytest.mark.parametrize(("outcome", "gone"), [("leaked", False), ("failed", True)])
def test_what_leaked_is_still_there_and_what_failed_is_not(motor: Path, outcome: str, gone: bool) -> None:
    motors = load_motor(motor).motors
    ladder = assess(motors).ladder
    mode = "seal extrusion" if outcome == "leaked" else "screw shear"
    test = Evidence("water", "test", 9e6, plugged=True, outcome=outcome, mode=mode, part="forward closure")
    found = {one.key: one for one in shown(motors, test, ladder)}
    bound = found[mode, "forward closure"].bound
    assert not bound.held and bound.gone == gone and not bound.copy
    assert found[mode, "aft closure"].bound.held  # the other end bore it
    known = standing(assess(motors, curve=True), [test])
    key = mode, "forward closure"  # as cold and as loaded in the firing as in the test
    assert known.bands[key][2] <= 9e6 * (1 + GAUGE_ERROR) * 1.001 and key not in known.held
