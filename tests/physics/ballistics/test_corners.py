"""Worst corners: by hand, against every corner, and what worse input may never do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scenario
from effort import examples
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.inputs import load_motor
from physics import assess
from physics.ballistics import kernel, steady, transient
from physics.ballistics.corners import Corners, moved
from physics.failure.ladder import assess_ladder
from physics.motors import Tolerance

PSI, INCH = 6894.757293168, 0.0254
INSERT = 'material = "graphite"\nseat_diameter = "24 mm"\ninsert_diameter = "34 mm"\ninsert_length = "15 mm"\n'
SHOULDER = 'ring_edge_distance = "9 mm"\nring_thickness = "8 mm"\nshoulder_thickness = "5 mm"\n'


@pytest.fixture(scope="module")
def motor(tmp_path_factory):
    """The invented motor with everything on it."""
    text = "\n".join((
        scenario.named("whole"),
        scenario.PROPELLANT + 'temperature_sensitivity = "0.0015 1/K"\nstrength = "3 MPa"\n',
        scenario.changed(scenario.RATE, ("0.7 MPa", "0.1 MPa"), ("9 MPa", "12 MPa")), scenario.GRAINS,
        scenario.NOZZLE + INSERT, scenario.CASE, scenario.LINER, scenario.FORWARD + SHOULDER, scenario.SEAL,
        scenario.AFT + SHOULDER, scenario.SEAL.replace("forward", "aft"), scenario.AIRFRAME, scenario.AMBIENT,
    ))  # fmt: skip
    path = tmp_path_factory.mktemp("corners") / "motor.toml"
    path.write_text(text, encoding="utf-8")
    return load_motor(path).motors


def rung(ladder, mode, part="case"):
    return next(item for item in ladder.rungs if (item.mode, item.part) == (mode, part))


def test_a_thin_wall_lowers_the_yield_pressure_as_by_hand(motor):
    """2.25 in by 0.125 in of 35 ksi: (Sy/sqrt 3)(1 - 1/K^2) is 4241 psi, and 3839 psi at nine tenths of the wall."""
    material = replace(motor.case.material, yield_strength=35e3 * PSI)
    case = replace(motor.case, material=material, outer_diameter=np.array([2.25 * INCH]), wall=np.array([0.125 * INCH]))
    drawn = replace(motor, case=case)
    loose = replace(drawn, tolerances={"case.wall": Tolerance(minus=0.1, relative=True)})
    nominal, found = (rung(assess_ladder(item, None, np.array([1e6])), "case yield") for item in (drawn, loose))
    assert nominal.pressure[0] / PSI == pytest.approx(4241.0, abs=0.5)
    assert found.pressure[0] / PSI == pytest.approx(3839.0, abs=0.5)
    assert found.nominal[0] == nominal.pressure[0] and "case.wall low" in found.note


def test_the_corner_is_the_worst_of_all_corners(motor):
    tolerances = {
        "case.wall": Tolerance(minus=2e-4, plus=1e-4), "case.outer_diameter": Tolerance(1e-4, 1e-4),
        "forward_closure.screws.edge_distance": Tolerance(5e-4, 5e-4), "nozzle.throat_diameter": Tolerance(1e-4, 1e-4),
    }  # fmt: skip
    loose = replace(motor, tolerances=tolerances)
    found = {(r.mode, r.part): r.pressure[0] for r in assess_ladder(loose, None, np.array([1e6])).rungs}
    sides = np.array(list(np.ndindex(*(3,) * len(tolerances))))
    moved = {column: np.asarray(motor.value(column)) + np.choose(sides[:, place], (0.0, -one.minus, one.plus))
             for place, (column, one) in enumerate(tolerances.items())}  # fmt: skip
    corners = assess_ladder(motor.repeat(len(sides)).with_values(moved), None, np.full(len(sides), 1e6))
    lowest = {(r.mode, r.part): r.pressure.min() for r in corners.rungs}
    for name in found:
        assert found[name] == pytest.approx(lowest[name], rel=1e-12), name


def test_a_place_between_the_ends_is_found():
    motors = replace(_grained(), tolerances={})
    corners = Corners(motors, {"grain.length": Tolerance(0.2, 0.2, relative=True)}, between=["grain.length"])
    top = 1.03 * float(motors.grain.length[0, 0])
    found = corners.worst(lambda batch, rows: -np.square(batch.grain.length[:, 0] - top), highest=True)
    assert found.value[0] == pytest.approx(0.0, abs=1e-9) and found.sides[0, 0] == pytest.approx(0.15, abs=1e-3)


def _grained():
    from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant

    def one(value):
        return np.array([value])

    def wide(value):
        return np.array([[value]])

    return Motors(
        1,
        Propellant(one(1700.0), one(1480.0), one(1.21), one(0.024), wide(1e5), wide(12e6), wide(6.5e-3), wide(5e6),
                   wide(0.33), one(293.15), one(0.0015)),
        Grains(wide(3.0), wide(0.075), wide(0.046), wide(0.018), wide(2.0)),
        Nozzle(one(0.0135), one(0.034), one(0.24), one(0.95), one(0.0), one(7e6)),
        Ambient(one(101325.0), one(293.15), np.array([[268.15, 313.15]])),
    )  # fmt: skip


TOLERANCES = {
    "nozzle.throat_diameter": Tolerance(1e-4, 1e-4), "grain.core_diameter": Tolerance(3e-4, 3e-4),
    "grain.length": Tolerance(1e-3, 1e-3), "case.wall": Tolerance(0.1, 0.05, relative=True),
    "propellant.rate": Tolerance(standard_deviation=0.03, relative=True), "propellant.rate_at": Tolerance(2e5, 2e5),
    "propellant.exponent": Tolerance(standard_deviation=0.02, relative=True), "ambient.temperature": Tolerance(40.0, 40.0),
    "propellant.reference_temperature": Tolerance(5.0, 5.0), "forward_closure.plate_thickness": Tolerance(2e-4, 2e-4),
    "forward_closure.seal.gap": Tolerance(0.3, 0.3, relative=True), "propellant.strength": Tolerance(0.2, 0.2, relative=True),
    "aft_closure.screws.ring_thickness": Tolerance(3e-4, 3e-4), "case.service_temperature": Tolerance(10.0, 10.0),
    "ambient.pressure": Tolerance(5e3, 5e3),
}  # fmt: skip


@pytest.mark.parametrize("name", ["propellant.rate_at", "ambient.temperature", "propellant.reference_temperature"])
def test_each_name_that_moves_the_burn_moves_the_expected_pressure(motor, name):
    loose = replace(motor, tolerances={name: TOLERANCES[name]})
    assert kernel.maximum_expected_pressure(loose)[0] > kernel.maximum_expected_pressure(motor)[0] * 1.005


def test_a_corner_without_an_equilibrium_is_no(motor):
    """An exponent of 0.7 with nine per cent has an equilibrium at each corner; with fifteen it passes one."""
    steep = motor.with_values({"propellant.exponent": np.array([[0.7]]), "nozzle.throat_diameter": np.array([0.0165])})
    spread = {name: replace(steep, tolerances={"propellant.exponent": Tolerance(standard_deviation=share, relative=True)})
              for name, share in (("within", 0.09), ("past", 0.15))}  # fmt: skip
    assert np.isfinite(assess(spread["within"]).maximum_expected_pressure[0])
    past = assess(spread["past"])
    assert np.isnan(past.maximum_expected_pressure[0]) and not past.ok[0]


def test_what_lies_beyond_the_model_is_no_alone_and_in_any_batch(motor):
    temperatures = np.array([300.0, 620.0, 900.0])
    hot = motor.repeat(3).with_values({"case.service_temperature": temperatures})
    whole = assess(hot)
    for row in range(3):
        alone = assess(hot.take([row]))
        assert not [item for item in alone.ladder.not_assessed if "service_temperature" in item.why]
        for item in whole.ladder.rungs:
            own = rung(alone.ladder, item.mode, item.part)
            np.testing.assert_allclose(own.factor[0], item.factor[row], rtol=1e-12)
    last = rung(alone.ladder, "case yield")
    assert last.pressure[0] == 0.0 and not last.ok[0] and not alone.ok[0] and "627 degC" in last.note


def _random(motor, rng, size):
    """Motors of all kinds, sound and hopeless."""

    def between(low, high):
        return rng.uniform(low, high, size)

    core = between(0.010, 0.028)
    values = {
        "grain.core_diameter": core[:, None], "nozzle.throat_diameter": core * between(0.5, 0.95),
        "grain.length": between(0.02, 0.075)[:, None], "propellant.rate": between(3e-3, 12e-3)[:, None],
        "propellant.exponent": between(0.1, 0.75)[:, None], "case.wall": between(1.2e-3, 4e-3),
        "case.service_temperature": np.where(rng.random(size) < 0.7, between(290.0, 420.0), between(400.0, 750.0)),
        "propellant.strength": between(0.2e6, 4e6), "liner.thickness": between(0.3e-3, 1.6e-3),
    }  # fmt: skip
    for end in ("forward_closure", "aft_closure"):
        values |= {
            f"{end}.plate_thickness": between(3e-3, 14e-3), f"{end}.screws.count": np.round(between(3.0, 13.0)),
            f"{end}.screws.edge_distance": between(3e-3, 16e-3), f"{end}.screws.ring_thickness": between(3e-3, 9e-3),
            f"{end}.seal.gap": between(0.02e-3, 0.3e-3), f"{end}.screws.tensile_strength": between(4e8, 9e8),
        }  # fmt: skip
    return motor.repeat(size).with_values(values)


SCREWED = {"screw shear", "bearing in case", "bearing in ring", "tear-out of case", "tear-out of ring"}


def _worse(motors, rng):
    """One input made worse: name, motors, the modes that must not rise (None is all)."""
    share = rng.uniform(0.6, 0.99, motors.size)
    for column in ("case.wall", "forward_closure.plate_thickness", "aft_closure.screws.ring_thickness",
                   "forward_closure.screws.edge_distance", "aft_closure.screws.tensile_strength", "propellant.strength",
                   "forward_closure.shoulder_thickness", "nozzle.insert_length"):  # fmt: skip
        yield column, motors.with_values({column: np.asarray(motors.value(column)) * share}), None
    yield "gap", motors.with_values({"forward_closure.seal.gap": np.asarray(motors.forward_closure.seal.gap) / share}), None
    hotter = np.asarray(motors.case.service_temperature) + 200.0 * share
    yield "hotter", motors.with_values({"case.service_temperature": hotter}), None
    fewer = np.maximum(np.asarray(motors.aft_closure.screws.count) - 1.0, 1.0)
    yield "fewer", motors.with_values({"aft_closure.screws.count": fewer}), SCREWED
    faster = np.asarray(motors.propellant.rate) * (2.0 - share[:, None])
    yield "faster", motors.with_values({"propellant.rate": faster}), set()
    for column, one in motors.tolerances.items():
        wider = Tolerance(one.minus * 1.6, one.plus * 1.6, one.standard_deviation * 1.6, one.relative)
        yield f"looser {column}", replace(motors, tolerances={**motors.tolerances, column: wider}), None


@settings(max_examples=examples(3, 1), deadline=None)
@given(st.integers(0, 10_000))
def test_worse_input_never_looks_better(motor, seed):
    rng = np.random.default_rng(seed)
    chosen = rng.choice(sorted(TOLERANCES), 4, replace=False)
    motors = replace(_random(motor, rng, 8), tolerances={name: TOLERANCES[name] for name in chosen})
    old, ladder = _judged(motors)
    for name, worse, modes in _worse(motors, rng):
        new, after = _judged(worse)
        assert not (np.isfinite(new) & np.isnan(old)).any() and not (new < old * (1.0 - 1e-6)).any(), name
        for item in ladder.rungs:
            other = rung(after, item.mode, item.part)
            if modes is None or item.mode in modes:
                assert not (other.pressure > item.pressure * (1.0 + 1e-9)).any(), (name, item.mode, item.part)
                assert not (other.ok & ~item.ok).any(), (name, item.mode, item.part)


def _judged(motors):
    figures = kernel.evaluate(motors)
    expected = kernel.maximum_expected_pressure(motors, "steady", figures)
    return expected, assess_ladder(motors, figures, expected, marching=False, burn=kernel.evaluate)


@pytest.mark.slow
def test_a_looser_core_never_lowers_the_transient_expected_pressure(motor):
    """Six grains and a throat near the core: the narrow core is the worse one, though the steady kernel picks the wide."""
    narrow = {"grain.count": np.array([[6.0]]), "grain.core_diameter": np.array([[0.014]]),
              "nozzle.throat_diameter": np.array([0.013])}  # fmt: skip
    motors = replace(motor, case=None, liner=None, forward_closure=None, aft_closure=None).with_values(narrow)
    drawn = float(kernel.evaluate(motors, "transient")["peak_head_pressure"][0])
    found = [drawn]
    for reach in (1e-4, 4e-4):
        loose = replace(motors, tolerances={"grain.core_diameter": Tolerance(reach, reach)})
        found.append(float(kernel.maximum_expected_pressure(loose, "transient")[0]))
    assert found == sorted(found) and found[2] > found[1] > drawn


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_a_search_from_a_guess_ends_where_no_turn_is_worse(seed):
    """Whatever the guess: at least as bad as the search without one, as every single turn, and as the guess itself."""
    rng = np.random.default_rng(seed)
    motors, names = _grained().repeat(6), ["nozzle.throat_diameter", "nozzle.exit_diameter", "grain.length", "propellant.density"]
    corners = Corners(motors, dict.fromkeys(names, Tolerance(0.1, 0.1, relative=True)), between=["grain.length"])
    slopes, cross = rng.normal(size=(6, 4)), 0.2 * rng.normal(size=(6, 4, 4))
    bend = np.where(rng.random(6) < 0.5, rng.uniform(0.0, 3.0, 6), 0.0)

    def ask(rows, sides, setting):
        value = 10.0 + (slopes[rows] * sides).sum(axis=1) + np.einsum("ni,nij,nj->n", sides, cross[rows], sides)
        return value - bend[rows] * np.square(sides[:, 2] - 0.3) + 0.01 * setting

    guess = rng.choice([-1.0, 0.0, 1.0], (6, 4))
    found = corners.worst_from(ask, guess, highest=True, settings=np.ones((6, 2), dtype=bool))
    every = np.arange(6)
    np.testing.assert_allclose(found.value, ask(every, found.sides, np.ones(6)), rtol=1e-12)
    assert (found.value >= ask(every, guess, np.ones(6))).all()
    for place in range(4):
        for part in (-1.0, 1.0):
            turned = found.sides.copy()
            turned[:, place] = part
            assert (ask(every, turned, np.ones(6)) <= found.value * (1.0 + 2.5e-4)).all()
    alone = [ask(every, np.eye(4)[[place] * 6] * part, np.zeros(6)) for place in range(4) for part in (-1.0, 0.0, 1.0)]
    cold = corners.worst_from(ask, np.zeros((6, 4)), highest=True)
    assert (cold.value >= np.max(alone, axis=0)).all() and (np.abs(cold.nominal - ask(every, np.zeros((6, 4)), 0.0)) < 1e-12).all()


@pytest.mark.slow
def test_the_transient_kernel_finds_the_corner_of_the_full_search():
    """Random motors, ports near choking and long webs among them: from the steady kernel's corner it comes to what the
    full search with its own evaluations finds, to a part in ten thousand, with a third of the burns."""
    rng, size = np.random.default_rng(3), 10
    outer = rng.uniform(0.03, 0.09, size)
    core = outer * rng.uniform(0.25, 0.6, size)
    motors = _grained().repeat(size).with_values({
        "grain.outer_diameter": outer[:, None], "grain.core_diameter": core[:, None],
        "grain.length": (outer * rng.uniform(0.8, 2.6, size))[:, None],
        "grain.count": np.round(rng.uniform(1.0, 7.0, size))[:, None],
        "nozzle.throat_diameter": core * rng.uniform(0.45, 0.98, size),
        "propellant.rate": rng.uniform(4e-3, 1e-2, size)[:, None],
        "propellant.exponent": rng.uniform(0.1, 0.65, size)[:, None],
    })  # fmt: skip
    loose = replace(motors, tolerances={name: TOLERANCES[name] for name in (
        "nozzle.throat_diameter", "grain.core_diameter", "grain.length", "propellant.rate")})  # fmt: skip
    hot = np.full(size, 313.15)
    between, burns = ["grain.core_diameter", "grain.length"], []

    def head(batch, rows):
        burns.append(batch.size)
        warm = batch.with_values({"ambient.temperature": hot[rows]})
        return transient.evaluate(warm, stations=3, web_steps=15, tolerance=2e-2)["peak_head_pressure"]

    corners = Corners(loose, loose.tolerances, between)
    full, asked = corners.worst(head, highest=True), sum(burns)
    guess = corners.worst(lambda batch, rows: steady.peak_head_pressure(batch, hot[rows]), highest=True)
    burns.clear()
    found = corners.worst_from(
        lambda rows, sides, _: head(moved(loose.take(rows), corners.tolerances, sides)[0], rows), guess.sides, highest=True
    )
    assert (found.value >= full.value * (1.0 - 1e-4)).all() and sum(burns) < asked
