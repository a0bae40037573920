"""The water proof: what a closed throat loads, and how high it may go, with tolerances in the file."""

from __future__ import annotations

import numpy as np
import pytest
import scenario

from optimizer.inputs import load_motor
from physics import assess
from physics.failure.case import seal_diameter
from physics.failure.proof import GAUGE_ERROR, proof_of

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
