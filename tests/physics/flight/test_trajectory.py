"""Flights as a batch: equal to one by one bit for bit, honest where there is no flight, monotone where physics says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from effort import examples
from flights import finer
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.flight.atmosphere import StandardAir
from physics.flight.trajectory import FLIGHT_FLAGS, Flight, Push, Rail, Vehicle, fly, rail_exit_speed


def _random(size: int, seed: int = 3) -> tuple[Push, Vehicle, Rail, StandardAir]:
    draw = np.random.default_rng(seed)
    points = 13
    time = np.cumsum(draw.uniform(0.0, 0.4, (size, points)), axis=1)
    time -= time[:, :1]
    time[::7, -4:] = np.nan
    thrust = draw.uniform(0.0, 900.0, (size, points)) * draw.uniform(0.05, 1.0, (size, 1))
    push = Push.through_points(
        time, thrust, thrust / 1800.0, np.full(size, 101325.0), draw.uniform(0.0, 1e-3, size), draw.random((size, points - 1)) > 0.3
    )
    mach = np.tile([0.0, 0.8, 1.0, 1.2, 2.0], (size, 1))
    drag = np.array([0.45, 0.47, 0.70, 0.68, 0.50]) * draw.uniform(0.6, 1.4, (size, 1))
    rocket = Vehicle(draw.uniform(1.0, 8.0, size), draw.uniform(0.04, 0.1, size), drag, 0.9 * drag, mach)
    launch = Rail(draw.uniform(0.5, 4.0, size), np.radians(draw.uniform(60.0, 90.0, size)), draw.uniform(0.0, 2000.0, size))
    return push, rocket, launch, StandardAir(launch.altitude, draw.uniform(-20.0, 20.0, size))


def _equal(whole: Flight, index: np.ndarray, part: Flight) -> None:
    for name in whole.figures:
        np.testing.assert_array_equal(whole.figures[name][index], part.figures[name], err_msg=name)
    for name in FLIGHT_FLAGS:
        np.testing.assert_array_equal(whole.flags[name][index], part.flags[name], err_msg=name)


def test_a_batch_equals_its_flights_one_by_one_bit_for_bit() -> None:
    everything = _random(120)
    whole = fly(*everything)
    for one in range(0, 120, 3):
        _equal(whole, np.array([one]), fly(*(part.take(np.array([one])) for part in everything)))
    order = np.random.default_rng(1).permutation(120)
    _equal(whole, order, fly(*(part.take(order) for part in everything)))
    flown = np.isfinite(whole.figures["apogee"])
    flagged = sum(whole.flags[name] for name in ("never_moves", "never_leaves_rail", "apogee_under_thrust"))
    np.testing.assert_array_equal(flown, flagged == 0)  # a figure or a reason, never both, never neither
    assert 20 < flown.sum() < 120 and all(whole.flags[name].any() for name in FLIGHT_FLAGS if name != "outside_drag_table")


def test_steps_of_no_width_change_nothing() -> None:
    push, rocket, launch, air = _random(20, seed=9)
    nothing = np.zeros((20, 5))
    padded = replace(
        push,
        time=np.concatenate([push.time, np.repeat(push.time[:, -1:], 5, axis=1)], axis=1),
        attached=np.concatenate([push.attached, nothing == 0.0], axis=1),
        **{
            name: np.concatenate([getattr(push, name), nothing], axis=1)
            for name in ("thrust_start", "thrust_end", "flow_start", "flow_end", "impulse", "mass")
        },
    )
    _equal(fly(push, rocket, launch, air), np.arange(20), fly(padded, rocket, launch, air))


def test_cutting_the_steps_finer_converges() -> None:
    push, rocket, launch, air = _random(60, seed=4)
    coarse, fine, finest = (fly(finer(push, parts), rocket, launch, air).figures for parts in (1, 3, 9))
    for name in ("rail_exit_speed", "apogee", "maximum_speed"):
        far, near = (np.nanmax(np.abs(some[name] / finest[name] - 1.0)) for some in (coarse, fine))
        assert near < far and near < 4e-3, name


def test_a_rocket_without_a_mass_flies_to_nan_without_a_word() -> None:
    push, rocket, launch, air = _random(4)
    unknown = replace(rocket, dry_mass=np.full(4, np.nan))
    flight = fly(push, unknown, launch, air)
    assert all(np.isnan(values).all() for values in flight.figures.values())
    assert not any(flags.any() for name, flags in flight.flags.items())


def test_a_track_ends_at_the_apogee() -> None:
    everything = _random(30)
    flight = fly(*everything, track=True)
    assert flight.track is not None
    flown = np.isfinite(flight.figures["apogee"])
    np.testing.assert_array_equal(flight.track["height"][flown, -1], flight.figures["apogee"][flown])
    assert np.isnan(flight.track["height"][~flown]).all()
    assert (np.diff(flight.track["time"][flown], axis=1) >= 0.0).all()


@settings(max_examples=examples(20, 6), deadline=None)
@given(more=st.floats(1.001, 1.5), seed=st.integers(0, 1000))
def test_a_heavier_rocket_is_slower_under_a_steady_thrust(more: float, seed: int) -> None:
    # A thrust that rises can lift a heavier rocket later and faster; a steady one cannot.
    push, rocket, launch, air = _random(16, seed=seed)
    level = np.broadcast_to(push.thrust_start.max(axis=1, keepdims=True), push.time.shape)
    steady = Push.through_points(push.time, level, level / 1800.0, push.ambient_pressure, push.exit_area)
    heavy = replace(rocket, dry_mass=rocket.dry_mass * more)
    light, slow = fly(steady, rocket, launch, air).figures, fly(steady, heavy, launch, air).figures
    for which in ("rail_exit_speed", "maximum_speed", "thrust_to_weight", "maximum_felt_acceleration"):
        both = np.isfinite(light[which]) & np.isfinite(slow[which])
        assert (slow[which][both] < light[which][both] * (1.0 + 1e-9)).all()


@pytest.mark.parametrize("rail", [0.5, 3.0])
def test_the_rail_may_end_after_the_burn(rail: float) -> None:
    level = (np.array([[0.0, 0.02]]), np.full((1, 2), 3000.0), np.full((1, 2), 1.0))
    push = finer(Push.through_points(*level, np.array([101325.0]), np.zeros(1)), 6)
    rocket = Vehicle(np.array([2.0]), np.array([0.05]), np.array([0.5]))
    launch = Rail(np.array([rail]), np.radians(np.array([90.0])), np.zeros(1))
    flight = fly(push, rocket, launch, StandardAir(np.zeros(1), np.zeros(1)))
    speed = 60.0 / 2.01  # impulse over mean mass, less weight and drag: 29.5 m/s and falling by 9.8 m/s2
    assert flight.figures["rail_exit_speed"][0] == pytest.approx(speed, rel=0.04)
    assert np.isfinite(flight.figures["apogee"][0])


def test_the_rail_exit_alone_is_that_of_the_whole_flight() -> None:
    everything = _random(300, seed=5)
    whole = fly(*everything).figures["rail_exit_speed"]
    np.testing.assert_array_equal(rail_exit_speed(*everything), whole)
    assert 50 < np.isfinite(whole).sum() < 300
    late = (everything[0], everything[1], replace(everything[2], length=np.full(300, 40.0)), everything[3])
    np.testing.assert_array_equal(rail_exit_speed(*late), fly(*late).figures["rail_exit_speed"])


def test_a_rocket_that_sinks_again_within_a_step_left_the_rail_on_its_way_up() -> None:
    """Drawn with 40 others: 0.96 of its weight in thrust where it leaves, and past its highest point by the step's end."""
    push, rocket, launch, air = _random(40, seed=497)
    upright = replace(launch, elevation=np.full(40, 0.5 * np.pi))
    found = fly(push, rocket, upright, air)
    speed = found.figures["rail_exit_speed"]
    assert 0.0 < speed[22] < 1.0 and found.flags["apogee_under_thrust"][22]
    fine = fly(finer(push, 8), rocket, upright, air).figures
    assert speed[22] == pytest.approx(fine["rail_exit_speed"][22], rel=0.05)
    assert found.figures["rail_exit_time"][22] == pytest.approx(fine["rail_exit_time"][22], rel=0.01)


@settings(max_examples=examples(8, 3), deadline=None)
@given(more=st.floats(1.02, 3.0), seed=st.integers(0, 1000))
def test_more_drag_is_never_faster_or_higher(more: float, seed: int) -> None:
    push, rocket, launch, air = _random(40, seed=seed)
    upright = replace(launch, elevation=np.full(40, 0.5 * np.pi))
    free = fly(push, rocket, upright, air)
    thick = replace(
        rocket, drag_coefficient=more * rocket.drag_coefficient,
        drag_coefficient_thrusting=None if rocket.drag_coefficient_thrusting is None else more * rocket.drag_coefficient_thrusting,
    )  # fmt: skip
    held = fly(push, thick, upright, air)
    for name in ("rail_exit_speed", "maximum_speed", "apogee", "burnout_altitude"):
        both = np.isfinite(free.figures[name]) & np.isfinite(held.figures[name])
        assert name == "apogee" or (held.figures[name][both] > 0.0).all(), name
        hair = 1e-2 if name == "rail_exit_speed" else 2e-3  # a slow rocket leaves within one coarse step: 0.5 % in 10 000 at worst
        assert (held.figures[name][both] <= free.figures[name][both] * (1.0 + hair)).all(), name


@settings(max_examples=examples(8, 3), deadline=None)
@given(seed=st.integers(0, 1000))
def test_no_rocket_rises_above_what_its_impulse_allows_without_air(seed: int) -> None:
    """At burnout it is no faster than the rocket equation says, and then rises no higher than that speed carries it."""
    push, rocket, launch, air = _random(40, seed=seed)
    push = replace(push, exit_area=np.zeros(40))
    found = fly(push, rocket, launch, air).figures
    burnt = push.mass.sum(axis=1)
    gain = 1800.0 * np.log1p(burnt / rocket.dry_mass)  # every step carries 1800 N s for each kilogram
    known = np.isfinite(found["apogee"])
    assert (found["maximum_speed"][known] <= gain[known] * (1.0 + 5e-3)).all()
    pull = 9.80665 / (1.0 + (launch.altitude + found["apogee"]) / 6356766.0) ** 2
    carried = found["burnout_altitude"] + np.square(found["burnout_speed"]) / (2.0 * pull)
    free = known & np.isfinite(found["burnout_altitude"])  # not known of one that burns out on its rail
    assert free.any() and (found["apogee"][free] <= carried[free] * (1.0 + 1e-3)).all()
