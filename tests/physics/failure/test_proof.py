"""The water proof: what a closed throat loads, and how high it may go, with tolerances in the file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scenario

from optimizer.inputs import load_motor
from physics import assess
from physics.failure.case import seal_diameter
from physics.failure.evidence import Evidence, proof_shows, shown
from physics.failure.proof import GAUGE_ERROR, higher, proof_of

TOLERANCES = """
[tolerances]
throat_diameter = {plus_minus = "0.05 mm"}
wall = {minus = "5 %"}
"""


@pytest.fixture(scope="module")
def looked(tmp_path_factory):
    path = tmp_path_factory.mktemp("proof") / "motor.toml"
    ends = scenario.FORWARD, scenario.SEAL, scenario.AFT, scenario.SEAL.replace("forward", "aft")
    parts = (scenario.named("proofed"), scenario.PROPELLANT, scenario.RATE, scenario.GRAINS, scenario.NOZZLE, scenario.CASE)
    path.write_text("\n".join((*parts, *ends, scenario.AMBIENT, TOLERANCES)), encoding="utf-8")
    return assess(load_motor(path).motors)


def proofed(looked, expected):
    found = proof_of(looked.motors, looked.ladder, expected)
    return found, {(rung.mode, rung.part): rung.pressure for rung in found.rungs}


def test_a_throat_with_a_tolerance_does_not_empty_the_table(looked):
    found, rungs = proofed(looked, 5e6)
    given = {(rung.mode, rung.part): float(rung.pressure[0]) for rung in looked.ladder.rungs if rung.pressure is not None}
    assert ("case yield", "case") in rungs and found.lowest is not None
    assert rungs["case yield", "case"] == pytest.approx(given["case yield", "case"], rel=1e-9)  # its thin wall is taken off


def test_a_closed_throat_loads_the_aft_end_with_the_whole_seal(looked):
    """As drawn the nozzle's own load, within its throat, is off the aft screws: by hand, more than the throat over the seal."""
    _, rungs = proofed(looked, 5e6)
    fired = next(rung for rung in looked.ladder.rungs if (rung.mode, rung.part) == ("screw shear", "aft closure"))
    share = rungs["screw shear", "aft closure"] / float(fired.nominal[0])
    throat = float(looked.motors.nozzle.throat_diameter[0] / seal_diameter(looked.motors, "aft")[0]) ** 2
    assert share < 1.0 - throat
    forward = next(rung for rung in looked.ladder.rungs if (rung.mode, rung.part) == ("screw shear", "forward closure"))
    assert rungs["screw shear", "forward closure"] == pytest.approx(float(forward.pressure[0]), rel=1e-9)


def test_the_proof_stays_below_the_lowest_rung(looked):
    """A motor that just has its 1.5 on the lowest rung is not proofed at 1.5 times."""
    found, _ = proofed(looked, 1e5)
    assert found.lowest is not None and not found.limited
    expected = found.lowest.pressure / 1.5
    tight = proof_of(looked.motors, looked.ladder, expected)
    assert tight.limited and tight.pressure * (1.0 + GAUGE_ERROR) < tight.lowest.pressure < np.nextafter(tight.wanted, np.inf)


def test_a_backup_ring_lets_a_proof_go_higher_and_the_rule_holds_with_it(looked):
    """What a remedy promises is what the motor with it is told, by changing its file's numbers here."""
    expected = 5e6
    now = proof_of(looked.motors, looked.ladder, expected)
    assert now.limited and now.keeps.kind == "leak"
    remedies = {remedy.what: remedy.pressure for remedy in higher(looked.motors, looked.ladder, expected)}
    assert set(remedies) == {"a backup ring at each O-ring", "O-rings of 90 Shore A", "half the gap"}

    def hard(closure):
        return replace(closure, seal=replace(closure.seal, hardness=np.array([90.0])))

    motors = looked.motors
    changed = replace(motors, forward_closure=hard(motors.forward_closure), aft_closure=hard(motors.aft_closure))
    then = proof_of(changed, assess(changed).ladder, expected)
    assert remedies["O-rings of 90 Shore A"] == pytest.approx(then.pressure, rel=1e-9) and then.pressure > now.pressure
    assert all(pressure <= now.wanted for pressure in remedies.values())
    assert higher(changed, assess(changed).ladder, expected) == () or then.limited


def test_a_motor_that_metal_keeps_low_is_told_of_no_rings(looked):
    found = proof_of(looked.motors, looked.ladder, 50e6)
    metal = [rung.most for rung in found.rungs if rung.kind in ("rupture", "yield")]
    assert found.limited and (found.keeps.kind == "leak" or min(metal) == found.keeps.most)
    if found.keeps.kind != "leak":
        assert higher(looked.motors, looked.ladder, 50e6) == ()


def test_a_proof_shows_what_evidence_of_it_would_show(looked):
    """The rungs' chances after it are those that the same proof gives as a row of [[evidence]]; none grows."""
    expected = np.array([5e6])
    found = proof_shows(looked.motors, looked.ladder, looked.figures, expected, 8e6)
    held = shown(looked.motors, Evidence("water", "x", 8e6, plugged=True), looked.ladder)
    assert set(found.rungs) == {one.key for one in held}
    assert 0.0 < found.after.value < found.before.value < 1.0
    assert all(after.value <= before.value + 1e-12 for before, after in found.rungs.values())


def test_other_rings_in_a_proof_show_nothing_of_those_that_will_be_fired(looked):
    for as_fired in (True, False):
        one = Evidence("water", "x", 8e6, plugged=True, seals_as_fired=as_fired)
        modes = {item.key[0] for item in shown(looked.motors, one, looked.ladder)}
        assert ("seal extrusion" in modes) is as_fired and "case yield" in modes


def test_every_ring_of_a_part_is_changed_by_a_remedy(looked):
    """Two rings of different gap behind one another: with both at 90 Shore A the proof is that of the remedy."""
    seal = looked.motors.forward_closure.seal
    behind = replace(seal, gap=np.asarray(seal.gap) * 1.5, name="second")

    def with_rings(hardness):
        rings = replace(seal, hardness=hardness, behind=replace(behind, hardness=hardness))
        return replace(looked.motors, forward_closure=replace(looked.motors.forward_closure, seal=rings))

    soft = with_rings(seal.hardness)
    given = assess(soft).ladder
    found = {remedy.what: remedy.pressure for remedy in higher(soft, given, 5e6)}
    hard = with_rings(np.array([90.0]))
    aft = replace(hard.aft_closure, seal=replace(hard.aft_closure.seal, hardness=np.array([90.0])))
    hard = replace(hard, aft_closure=aft)
    assert found["O-rings of 90 Shore A"] == pytest.approx(proof_of(hard, assess(hard).ladder, 5e6).pressure, rel=1e-9)
