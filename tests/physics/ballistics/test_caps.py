"""Faces that a cap covers in part, through both kernels: limits, mass, batches, stations."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from optimizer.inputs.motor import motor_from_text
from physics import evaluate
from physics.ballistics import faces, grain, steady, transient
from physics.ballistics.kernel import maximum_expected_pressure
from physics.ballistics.transient import caps
from physics.failure import flaws
from physics.motors import Array, Motors
from tests.shared import scenario

OUTER, CORE = 0.046, 0.018
SQUARE = faces.CoveredGrain(*(np.array([value]) for value in (0.009, 0.023, 0.046, 0.0, 0.0)))
"""As long as it is wide, both faces inhibited; radii."""
MET = faces.CoveredGrain(*(np.array([value]) for value in (0.03125, 0.0625, 0.0625, 0.0625, 0.0)))
"""Half way its forward front stands just where two of four cells meet."""


def motor(forward: str, aft: str, more: str = "") -> Motors:
    grains = scenario.changed(scenario.GRAINS, ("burning_ends = 2", f"forward_face = {forward}\naft_face = {aft}"))
    parts = (scenario.PROPELLANT, scenario.RATE, grains, scenario.NOZZLE, scenario.CASE, more)
    return motor_from_text("schema = 1\n" + "\n".join(parts), "motor.toml").motors


def cap(to: float) -> str:
    return f'{{covered_to = "{to * 1e3:.6f} mm"}}'


@st.composite
def covered(draw: st.DrawFn) -> faces.CoveredGrain:
    outer = draw(st.floats(0.01, 0.1))
    core = outer * draw(st.floats(0.1, 0.8))

    def face() -> float:
        share = draw(st.one_of(st.sampled_from([0.0, 1.0]), st.floats(0.05, 0.95)))
        return 0.0 if share == 0.0 else core + share * (outer - core)

    leaves = (core, outer, outer * draw(st.floats(0.2, 6.0)), face(), face())
    return faces.CoveredGrain(*(np.array([value]) for value in leaves))


def wide(one: faces.CoveredGrain) -> faces.CoveredGrain:
    return faces.CoveredGrain(*(leaf[:, None] for leaf in vars(one).values()))


@settings(max_examples=60, deadline=None)
@given(covered())
def test_the_quadratics_burn_the_grain_and_nothing_more(one: faces.CoveredGrain) -> None:
    edges, (constant, linear, square) = faces.pieces(one)
    assert (np.diff(edges) >= 0.0).all() and edges[0, -1] == faces.burnt_out(one)[0]
    low, high = edges[:, :-1], edges[:, 1:]
    burnt = constant * (high - low) + linear * (high**2 - low**2) / 2 + square * (high**3 - low**3) / 3
    whole = np.pi * (one.outer**2 - one.core**2) * one.length
    assert burnt.sum() == pytest.approx(float(whole[0]), rel=1e-6)  # short pieces far from 0: rounding
    middle = 0.5 * (low + high)
    exact = faces.burning_area(wide(one), middle)
    there = high - low > 1e-6 * high[:, -1:]
    off = np.abs(constant + linear * middle + square * middle**2 - exact)[there]
    assert off.max() < 2e-3 * exact.max()


@settings(max_examples=60, deadline=None)
@given(covered(), st.floats(0.02, 0.9))
def test_volume_goes_at_the_rate_of_the_area(one: faces.CoveredGrain, share: float) -> None:
    last = faces.burnt_out(one)
    x = np.linspace(0.0, 1.0, 4001)[None, :] ** 3 * last[:, None] * share
    swept = np.trapezoid(faces.burning_area(wide(one), x), x)
    left = faces.volume(wide(one), x)
    assert left[0, 0] - left[0, -1] == pytest.approx(float(swept[0]), rel=2e-3)
    assert faces.middle(wide(one), x).min() >= 0.0 and faces.middle(wide(one), x).max() <= one.length[0]


@settings(max_examples=60, deadline=None)
@given(covered(), st.floats(0.02, 0.98))
def test_cells_of_one_regression_are_the_grain(one: faces.CoveredGrain, share: float) -> None:
    x = share * faces.burnt_out(one)[:, None]
    found = caps.in_cells(wide(one), x * np.ones(7), x, x)
    area = found.core.sum() + found.forward.sum() + found.aft.sum()
    assert area == pytest.approx(float(faces.burning_area(wide(one), x)[0, 0]), rel=1e-5)
    whole = float((np.pi * (one.outer**2 - one.core**2) * one.length)[0])
    assert found.volume.sum() == pytest.approx(float(faces.volume(wide(one), x)[0, 0]), abs=1e-7 * whole)


@settings(max_examples=60, deadline=None)
@example(MET, [0.5] * 6)
@example(MET, [0.5, 0.25, 0.5, 0.5, 0.5, 0.5])
@given(covered(), st.lists(st.floats(0.05, 0.6), min_size=6, max_size=6))
def test_surfaces_of_cells_are_the_slopes_of_what_is_left(one: faces.CoveredGrain, shares: list[float]) -> None:
    last = float(faces.burnt_out(one)[0])
    core, forward, aft = np.array([shares[:4]]) * last, np.full((1, 1), shares[4] * last), np.full((1, 1), shares[5] * last)
    found, h = caps.in_cells(wide(one), core, forward, aft), 1e-6 * last

    def left(*moved: Array) -> float:
        return float(caps.in_cells(wide(one), *moved).volume.sum())

    whole = found.core.sum() + found.forward.sum() + found.aft.sum() + 1e-12
    # Onwards: a front that stands where two cells of unlike bores meet is that of the one behind.
    by = [left(core, forward, aft) - left(core + h, forward, aft), left(core, forward, aft) - left(core, forward + h, aft)]
    for slope, area in zip(by, (found.core, found.forward), strict=True):
        assert slope / h == pytest.approx(area.sum(), abs=2e-2 * whole)


@pytest.mark.parametrize("open_", ["forward", "aft"])
@pytest.mark.parametrize("stations", [3, 4, 7])
def test_a_flat_front_where_two_cells_meet_is_counted_once(open_: str, stations: int) -> None:
    one = replace(SQUARE, **{open_: SQUARE.outer})
    cell = SQUARE.length[0] / stations
    for edges in range(1, stations):
        x = np.full((1, 1), edges * cell if open_ == "forward" else SQUARE.length[0] - (stations - edges) * cell)
        found = caps.in_cells(wide(one), np.zeros((1, stations)), *((x, 0.0 * x) if open_ == "forward" else (0.0 * x, x)))
        ring = np.pi * (one.outer**2 - one.core**2)
        assert getattr(found, open_).sum() == pytest.approx(float(ring[0]), rel=1e-9)


@pytest.mark.parametrize("kernel", ["steady", "transient"])
@pytest.mark.parametrize(("to", "same"), [(OUTER, '"bare"'), (CORE, '"inhibited"')])
def test_a_cap_over_nothing_or_all_is_a_bare_or_an_inhibited_face(kernel: str, to: float, same: str) -> None:
    one, other = evaluate(motor(cap(to), '"bare"'), kernel), evaluate(motor(same, '"bare"'), kernel)
    for name, value in other.values.items():
        assert np.array_equal(one[name], value, equal_nan=True), name


@pytest.mark.parametrize(("to", "same"), [(OUTER, '"bare"'), (CORE, '"inhibited"')])
def test_near_those_ends_it_comes_to_them(to: float, same: str) -> None:
    near = to + (2e-5 if to == CORE else -2e-5)
    one, other = evaluate(motor(cap(near), '"bare"')), evaluate(motor(same, '"bare"'))
    for name in ("peak_pressure", "burn_time", "total_impulse", "peak_head_pressure"):
        assert float(one[name][0]) == pytest.approx(float(other[name][0]), rel=1e-3), name


@pytest.mark.slow
def test_a_batch_is_its_motors_one_by_one() -> None:
    """Bare, capped and inhibited motors together, to the last digit; the history too."""
    to = np.array([CORE, 0.02, 0.03, 0.04, OUTER, 0.035, 0.02])
    lengths = np.array([0.075, 0.07, 0.02, 0.03, 0.02, 0.075, 0.075])
    batch = motor(cap(0.03), cap(0.04)).repeat(7).with_values({"grain.aft_covered_to": to, "grain.length": lengths})
    for kernel in ("steady", "transient"):
        together = evaluate(batch, kernel)
        for index in range(7):
            alone = evaluate(batch.take([index]), kernel)
            for name, value in alone.values.items():
                assert np.array_equal(together[name][index], value[0], equal_nan=True), (kernel, index, name)
            for name, flag in alone.flags.items():
                assert together.flags[name][index] == flag[0], (kernel, index, name)
    heads = steady.peak_head_pressure(batch)
    assert heads.tolist() == evaluate(batch)["peak_head_pressure"].tolist()


def test_rows_with_and_without_a_cap_burn_beside_each_other() -> None:
    two = motor(cap(0.03), '"bare"', scenario.changed(scenario.GRAINS, ("count = 3", "count = 1"), ("18 mm", "22 mm")))
    found = evaluate(two, curve=True)
    mass = 1700 * np.pi / 4 * ((OUTER**2 - CORE**2) * 3 + (OUTER**2 - 0.022**2)) * 0.075
    assert float(found["propellant_mass"][0]) == pytest.approx(mass, rel=1e-9)
    through = found["pressure_integral"] * np.pi / 4 * 0.0135**2 / 1480
    assert float(through[0]) == pytest.approx(mass, rel=1e-6)
    assert found.curve is not None
    last = np.flatnonzero(np.isfinite(found.curve.time[0]))[-1]
    assert found.curve.time[0, last] == pytest.approx(float(found["burn_time"][0]), rel=1e-6)
    assert np.nanmax(found.curve.chamber_pressure) == pytest.approx(float(found["peak_pressure"][0]), rel=1e-3)


@pytest.mark.parametrize(("forward", "aft"), [(0.03, OUTER), (0.024, CORE), (0.03, 0.04)])
def test_the_transient_kernel_lets_out_what_the_grains_weigh_and_agrees(forward: float, aft: float) -> None:
    subject = motor(cap(forward), cap(aft))
    slow, quick = transient.evaluate(subject), steady.evaluate(subject)
    mass = slow["pressure_integral"] * np.pi / 4 * 0.0135**2 / 1480
    assert float(mass[0]) == pytest.approx(float(slow["propellant_mass"][0]), rel=2e-4)
    assert float(slow["peak_pressure"][0]) == pytest.approx(float(quick["peak_pressure"][0]), rel=0.02)
    assert float(slow["burn_time"][0]) == pytest.approx(float(quick["burn_time"][0]), rel=0.015)
    assert float(slow["highest_kn"][0]) == pytest.approx(float(quick["highest_kn"][0]), rel=0.01)


def test_a_tolerance_on_the_cap_moves_the_expected_pressure() -> None:
    """The more a cap leaves open, the less the pressure falls later on: here less opening gives the higher peak."""
    drawn = motor(cap(0.03), '"bare"', '[tolerances]\nforward_covered_to = {plus_minus = "1 mm"}')
    expected = float(maximum_expected_pressure(drawn)[0])
    sides = [float(steady.peak_head_pressure(motor(cap(0.03 + by), '"bare"'))[0]) for by in (-0.001, 0.0, 0.001)]
    assert expected == pytest.approx(max(sides), rel=1e-9) and max(sides) > sides[1]


def test_a_lost_cap_bares_its_face() -> None:
    subject = motor(cap(0.03), '"bare"')
    x = np.linspace(0.0, 0.013, 7)
    lost = flaws.lost_cap_area(subject.grain.mapped(lambda leaf: leaf[:, :, None]), x)[0, 0]
    bare = grain.burning_area(motor('"bare"', '"bare"').grain, x[:, None, None])[:, 0, 0] / 3
    assert lost == pytest.approx(bare, rel=1e-12)


@pytest.mark.parametrize("area", [flaws.cracked_area, flaws.alight_outside_area])
def test_a_flawed_grain_under_caps_burns_whole(area: object) -> None:
    grains = motor(cap(0.03), cap(0.024)).grain.mapped(lambda leaf: leaf[:, :, None])
    web = 0.014 if area is flaws.cracked_area else 0.007
    x = np.linspace(0.0, web, 6001) * (1 - 1e-9)
    whole = np.pi / 4 * (OUTER**2 - CORE**2) * 0.075
    assert np.trapezoid(area(grains, x)[0, 0], x) == pytest.approx(whole, rel=1e-5)  # type: ignore[operator]
