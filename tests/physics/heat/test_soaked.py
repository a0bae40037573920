"""Heat at the worst corner: tolerances of the wall and the soak reach the rungs, each soak with its own burn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.commands.new import create
from optimizer.inputs import load_motor
from physics.assessment import assess
from physics.ballistics.kernel import evaluate
from physics.heat.soaked import burn_at, other_soaks
from physics.motors import Motors, Tolerance

HEAT = ("liner burn-through", "case softening", "seal overheating", "case yield hot")


@pytest.fixture(scope="module")
def starter(tmp_path_factory: pytest.TempPathFactory) -> Motors:
    """The invented starter, its liner thin enough that each rung happens; without tolerances and soak."""
    folder = tmp_path_factory.mktemp("start")
    create(folder / "start")
    motors = load_motor(folder / "start" / "motor.toml").motors
    plain = replace(motors, tolerances={}, ambient=replace(motors.ambient, soak=np.array([[293.15]])))
    return plain.with_values({"liner.thickness": np.array([1.4e-3])})


def soaked(motors: Motors, *temperatures: float) -> Motors:
    return replace(motors, ambient=replace(motors.ambient, soak=np.array([temperatures])))


def values(motors: Motors) -> dict[tuple[str, str], float]:
    found = {}
    for rung in assess(motors).ladder.rungs:
        if rung.mode in HEAT:
            found[rung.mode, rung.part] = float(np.ravel(np.asarray(rung.time if rung.pressure is None else rung.pressure))[0])
    return found


@pytest.mark.parametrize("temperature", [263.15, 323.15])
def test_the_burn_of_another_soak_is_the_kernels_own(starter: Motors, temperature: float) -> None:
    drawn = evaluate(starter, curve=True)
    moved = starter.with_values({"ambient.temperature": np.array([temperature])})
    own, passed = evaluate(moved, curve=True), burn_at(starter, drawn, np.array([temperature]))
    for name in ("peak_head_pressure", "mean_pressure", "burn_time", "action_time", "propellant_mass"):
        assert passed[name] == pytest.approx(own[name], rel=2e-3), name
    assert passed.curve is not None and own.curve is not None
    assert np.trapezoid(passed.curve.mass_flow, passed.curve.time) == pytest.approx(
        np.trapezoid(own.curve.mass_flow, own.curve.time), rel=2e-3
    )


@pytest.mark.slow
def test_a_tube_in_the_sun_and_a_slow_cold_burn_are_seen(starter: Motors) -> None:
    plain, cold, hot = values(starter), values(soaked(starter, 253.15, 293.15)), values(soaked(starter, 293.15, 333.15))
    assert other_soaks(starter).size == 0
    assert cold["liner burn-through", "liner"] < plain["liner burn-through", "liner"], "a cold motor burns longer"
    seal = ("seal overheating", "forward closure")
    assert hot[seal] < plain[seal], "a hot seal starts nearer to its limit"
    assert hot["case yield hot", "case"] < plain["case yield hot", "case"] + 1.0


def test_the_rung_says_at_which_soak(starter: Motors) -> None:
    (note,) = [rung.note for rung in assess(soaked(starter, 253.15, 293.15)).ladder.rungs if rung.mode == "liner burn-through"]
    assert "soak at -20 °C" in note and "as drawn" in note


@pytest.mark.slow
@settings(max_examples=6, deadline=None)
@given(st.sampled_from(["liner.thickness", "case.wall", "ambient.soak"]), st.floats(0.0, 0.5), st.floats(0.05, 0.5))
def test_a_worse_tolerance_never_lengthens_a_heat_time(starter: Motors, column: str, part: float, more: float) -> None:
    def reaching(share: float) -> Motors:
        if column == "ambient.soak":
            return soaked(starter, 293.15 - 40.0 * share, 293.15 + 40.0 * share)
        by = 0.5e-3 * share
        return replace(starter, tolerances={column: Tolerance(by, by)})

    better, worse = values(reaching(part)), values(reaching(part + more))
    for key, value in better.items():
        assert worse[key] <= value * (1.0 + 2e-3), key
