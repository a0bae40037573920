"""Flights against closed forms, printed worked flights and an independent adaptive integration.

Sources
-------
[1] Mandell, Caporaso, Bengen, Topics in Advanced Model Rocketry, 1973, ch. 4, read in a transcription: closed forms (eq. 20,
    21, 64, 67) and worked flights. Printed values to the digits printed.
[2] Closed forms of mechanics: rocket equation, constant force along an incline, terminal-velocity forms (tanh, ln cosh, atan),
    vacuum gravity turn (Culler and Fried 1957, from memory; agreed with the reference below to 1e-11), energy.
[3] Reference: an adaptive integration of the same equations of motion, written apart from the product, rtol 1e-11; two of its
    flights were seen again by a second program to 5e-6. The flights are invented.
[4] US Standard Atmosphere 1976, by the general library `fluids`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from flights import finer
from fluids.atmosphere import ATMOSPHERE_1976
from scipy.integrate import quad

from physics.constants import STANDARD_GRAVITY as G
from physics.flight.atmosphere import EARTH_RADIUS, StandardAir, gravity, standard_pressure, standard_temperature
from physics.flight.balance import (
    Body,
    GrainRows,
    bored_insert,
    burning_grains,
    centre_over_burn,
    static_margin,
    together,
    travel,
    tube,
)
from physics.flight.trajectory import Flight, Push, Rail, Vehicle, fly


def _one(*values: float) -> np.ndarray:
    return np.array(values, dtype=float)


@dataclass
class _Plain:
    """Air of one density, or falling with height by `scale`; no pressure and no sound."""

    density: float
    scale: float = np.inf

    def at(self, height: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return self.density * np.exp(-height / self.scale), np.zeros_like(height), np.full_like(height, 1e9)

    def take(self, index: np.ndarray) -> _Plain:
        return self


_VACUUM = _Plain(0.0)


def _push(time: list[float], thrust: list[float], flow: list[float], exit_area: float = 0.0, holds_at: float = 101325.0) -> Push:
    """The history in about twelve steps, as a search flies it."""
    points = (np.array([values], dtype=float) for values in (time, thrust, flow))
    return finer(Push.through_points(*points, _one(holds_at), _one(exit_area)), -(-12 // (len(time) - 1)))


def _fly(
    push: Push,
    dry: float,
    diameter: float = 0.054,
    drag: float | list[float] = 0.5,
    mach: list[float] | None = None,
    rail: float = 2.0,
    elevation: float = 90.0,
    air: object = _VACUUM,
    altitude: float = 0.0,
    radius: float = np.inf,
) -> Flight:
    coefficient = np.array([drag], dtype=float)
    rocket = Vehicle(_one(dry), _one(diameter), coefficient, None, None if mach is None else np.array([mach], dtype=float))
    return fly(push, rocket, Rail(_one(rail), np.radians(_one(elevation)), _one(altitude)), air, radius)  # type: ignore[arg-type]


def _hold(flight: Flight, tolerance: float, **expected: float) -> None:
    for name, value in expected.items():
        assert flight.figures[name][0] == pytest.approx(value, rel=tolerance), name


class TestClosedForms:
    def test_rocket_equation(self) -> None:
        push = _push([0, 2], [600, 600], [0.3, 0.3])
        _hold(
            _fly(push, 4.4),
            1e-6,
            burnout_speed=236.053443,
            burnout_altitude=230.607802,
            apogee=3071.59978,
            time_to_apogee=26.0707523,
            maximum_acceleration=126.556986,
        )
        exhaust, lost = 600.0 / 0.3, np.log(5.0 / 4.4)
        _hold(_fly(push, 4.4), 1e-8, burnout_speed=exhaust * lost - 2.0 * G)

    def test_thrust_grows_where_the_air_is_gone(self) -> None:
        _hold(_fly(_push([0, 2], [600, 600], [0.3, 0.3], exit_area=3.8e-4), 4.4), 1e-6, burnout_speed=252.460217)

    @pytest.mark.parametrize("elevation", [60.0, 80.0, 84.0, 90.0])
    def test_constant_force_along_the_rail(self, elevation: float) -> None:
        speed = np.sqrt(2.0 * 1.8 * (250.0 / 5.0 - G * np.sin(np.radians(elevation))))
        _hold(_fly(_push([0, 2], [250, 250], [0, 0]), 5.0, rail=1.8, elevation=elevation), 1e-6, rail_exit_speed=speed)

    def test_drag_in_uniform_air(self) -> None:
        """Eq. 20, 21, 64 and 67 of [1]."""
        mass, thrust, burn = 3.0, 400.0, 2.5
        k = 0.5 * 1.225 * 0.5 * 0.25 * np.pi * 0.054**2
        net, terminal = thrust - mass * G, np.sqrt(k * (thrust - mass * G))
        speed = np.sqrt(net / k) * np.tanh(burn / mass * terminal)
        height = mass / k * np.log(np.cosh(burn / mass * terminal))
        top = height + 0.5 * mass / k * np.log1p(k * speed**2 / (mass * G))
        coast = np.sqrt(mass / (G * k)) * np.arctan(speed * np.sqrt(k / (mass * G)))
        flight = _fly(_push([0, burn], [thrust, thrust], [0, 0]), mass, rail=3.0, air=_Plain(1.225))
        _hold(flight, 1e-5, rail_exit_speed=np.sqrt(net / k * -np.expm1(-2.0 * k * 3.0 / mass)))
        _hold(
            flight,
            1e-4,
            burnout_speed=speed,
            burnout_altitude=height,
            apogee=top,
            time_to_apogee=burn + coast,
            coast_time=coast,
            maximum_dynamic_pressure=0.5 * 1.225 * speed**2,
            maximum_deceleration=k * speed**2 / mass + G,
        )
        _hold(flight, 1e-4, burnout_speed=291.486572, apogee=2742.63058)

    def test_gravity_turn_in_vacuum(self) -> None:
        """Twelve steps of half a second turn the path 8e-5 too little; the exact form is reached as they grow shorter."""
        coarse = Push.through_points(np.array([[0.0, 6.0]]), np.full((1, 2), 15.0 * G), np.zeros((1, 2)), _one(101325.0), _one(0.0))
        expected = {"burnout_speed": 123.178106, "apogee": 843.048733, "downrange": 895.354445, "speed_at_apogee": 70.0537286}
        _hold(_fly(finer(coarse, 12), 5.0, elevation=80.0), 1e-3, **expected)
        _hold(_fly(finer(coarse, 120), 5.0, elevation=80.0), 1e-5, **expected)

    def test_coast_on_a_curved_path_in_uniform_air(self) -> None:
        flight = _fly(_push([0, 2.5], [400, 400], [0, 0]), 3.0, rail=3.0, elevation=70.0, air=_Plain(1.225))
        _hold(flight, 1e-4, speed_at_apogee=65.1210431)

    def test_air_that_thins_out(self) -> None:
        flight = _fly(_push([0, 2.5], [400, 400], [0, 0]), 3.0, rail=3.0, air=_Plain(1.225, 8000.0))
        _hold(flight, 1e-5, apogee=2894.05856)

    def test_gravity_that_thins_out(self) -> None:
        flight = _fly(_push([0, 2], [4000, 4000], [0, 0]), 5.0, radius=EARTH_RADIUS)
        _hold(flight, 1e-6, apogee=131592.685)


class TestAir:
    @pytest.mark.parametrize("height", [-400.0, 0.0, 1000.0, 2000.0, 5000.0, 10000.0, 11500.0, 25000.0, 49000.0, 80000.0])
    def test_standard_atmosphere(self, height: float) -> None:
        reference = ATMOSPHERE_1976(height)
        density, pressure, sound = (value[0] for value in StandardAir(_one(0.0), _one(0.0)).at(_one(height)))
        assert density == pytest.approx(reference.rho, rel=5e-6)
        assert pressure == pytest.approx(reference.P, rel=5e-6)
        assert sound == pytest.approx(reference.v_sonic, rel=5e-6)
        assert standard_temperature(_one(height))[0] == pytest.approx(reference.T, rel=5e-6)

    def test_pressure_of_a_high_site(self) -> None:
        assert standard_pressure(_one(1400.0))[0] == pytest.approx(85602.01, rel=1e-7)

    @pytest.mark.parametrize(("warmer", "density", "above"), [(20.0, 0.98718591, 59299.8363), (-20.0, 1.13999971, 56006.6457)])
    def test_a_hot_and_a_cold_day(self, warmer: float, density: float, above: float) -> None:
        air = StandardAir(_one(1500.0), _one(warmer))
        assert air.at(_one(0.0))[0][0] == pytest.approx(density, rel=1e-7)
        assert air.at(_one(3000.0))[1][0] == pytest.approx(above, rel=1e-7)
        weight = quad(lambda h: air.at(_one(h))[0][0] * gravity(_one(1500.0 + h))[0], 0.0, 3000.0)[0]
        assert air.at(_one(0.0))[1][0] - air.at(_one(3000.0))[1][0] == pytest.approx(weight, rel=1e-6)


class TestPrinted:
    """[1]: k = ½ρ·Cd·A is given there, g 9.8 m/s2, uniform air; the flow goes with the thrust."""

    _TIME, _THRUST = [0.0, 0.14, 0.22, 1.20], [0.0, 13.0, 3.5, 3.5]

    def _flight(self, mass: float, k: float, elevation: float, rail: float) -> Flight:
        flow = [thrust * 0.00833 / 5.0 for thrust in self._THRUST]  # 8.33 g in proportion to 5.0 N s
        push = _push(self._TIME, self._THRUST, flow)
        dry = mass - float(push.mass.sum())
        scale = k / (0.5 * 0.25 * np.pi * 0.03**2)  # density one, drag coefficient as large as makes k
        return _fly(push, dry, 0.03, scale, rail=rail, elevation=elevation, air=_Plain(1.0))

    def test_vertical(self) -> None:
        flight = self._flight(0.040, 0.92e-4, 90.0, 0.01)
        _hold(flight, 1.5e-3, burnout_speed=111.4, burnout_altitude=78.1, coast_time=6.46, apogee=343.6)

    @pytest.mark.parametrize(
        ("mass", "k", "printed", "top"),
        [
            (0.021, 0.5e-4, 131, (338.37, 418.33, 7.0723)),
            (0.050, 1.2e-4, 51, (207.38, 193.65, 6.0172)),
            (0.100, 2e-3, 19, (38.77, 32.66, 2.7179)),
        ],
    )
    def test_slanted(self, mass: float, k: float, printed: float, top: tuple[float, float, float]) -> None:
        flight = self._flight(mass, k, 60.0, 1.0)
        assert flight.figures["burnout_altitude"][0] == pytest.approx(printed, abs=0.6)
        _hold(flight, 6e-3, downrange=top[0], apogee=top[1], time_to_apogee=top[2])


_TABLE = {"mach": [0, 0.8, 1, 1.2, 2, 5], "drag": [0.45, 0.47, 0.70, 0.68, 0.50, 0.30]}


class TestWholeFlights:
    """[3]; tolerances for twelve steps each way."""

    def test_constant_thrust(self) -> None:
        flight = _fly(
            _push([0, 2], [400, 400], [0.2, 0.2]),
            3.0,
            rail=1.5,
            elevation=85.0,
            air=StandardAir(_one(0.0), _one(0.0)),
            radius=EARTH_RADIUS,
        )
        _hold(
            flight,
            5e-4,
            rail_exit_speed=18.051423,
            rail_exit_time=0.16647224,
            burnout_speed=223.43416,
            burnout_altitude=220.76687,
            maximum_mach=0.65823232,
            maximum_acceleration=113.05608,
            maximum_felt_acceleration=122.80765,
            maximum_deceleration=21.174117,
            maximum_dynamic_pressure=29934.894,
            maximum_dynamic_pressure_time=2.0,
            apogee=1918.5382,
            time_to_apogee=19.518741,
            downrange=355.76402,
            speed_at_apogee=16.79476,
        )

    def test_through_the_speed_of_sound_from_a_high_hot_site(self) -> None:
        push = _push([0, 0.1, 1, 1.8, 2], [0, 900, 1100, 700, 0], [0, 0.42, 0.51, 0.33, 0], exit_area=4.5e-4)
        flight = _fly(
            push, 2.5, **_TABLE, elevation=88.0, altitude=1400.0, air=StandardAir(_one(1400.0), _one(20.0)), radius=EARTH_RADIUS
        )
        _hold(
            flight,
            1e-3,
            rail_exit_speed=31.963031,
            rail_exit_time=0.17071983,
            thrust_to_weight=20.257257,
            maximum_speed=531.70959,
            maximum_mach=1.5428485,
            maximum_dynamic_pressure=134081.4,
            burnout_altitude=570.77377,
            burnout_speed=529.43663,
            apogee=5139.6644,
            time_to_apogee=28.855129,
        )
        _hold(flight, 2e-2, maximum_dynamic_pressure_time=1.9333)

    def test_a_long_burn_that_passes_its_top_speed(self) -> None:
        push = _push([0, 0.05, 4, 4.5], [0, 1500, 1200, 0], [0, 0.70, 0.56, 0], exit_area=1.2e-3)
        flight = _fly(
            push,
            8.0,
            0.08,
            **_TABLE,
            rail=3.0,
            elevation=86.0,
            altitude=300.0,
            air=StandardAir(_one(300.0), _one(-15.0)),
            radius=EARTH_RADIUS,
        )
        _hold(
            flight,
            1e-3,
            rail_exit_speed=28.081516,
            maximum_speed=484.81254,
            maximum_mach=1.4890364,
            burnout_speed=479.33653,
            apogee=5893.0936,
            time_to_apogee=32.30357,
        )
        _hold(flight, 5e-3, maximum_acceleration=132.05529)

    def test_a_slow_start(self) -> None:
        push = _push([0, 0.5, 1.5, 3, 3.2], [0, 60, 120, 120, 0], [0, 0.03, 0.06, 0.06, 0])
        flight = _fly(push, 4.0, 0.066, 0.6, elevation=80.0, air=StandardAir(_one(0.0), _one(0.0)), radius=EARTH_RADIUS)
        _hold(
            flight,
            1e-3,
            rail_exit_speed=6.6951572,
            rail_exit_time=1.1538394,
            thrust_to_weight=1.8093766,
            apogee=127.75734,
            time_to_apogee=7.1201963,
        )

    def test_a_step_in_the_thrust(self) -> None:
        push = _push([0, 0.6, 0.6, 1.5], [300, 500, 200, 150], [0.15, 0.25, 0.10, 0.075], exit_area=2e-4)
        flight = _fly(push, 2.0, 0.04, 0.45, rail=1.8, air=StandardAir(_one(0.0), _one(0.0)), radius=EARTH_RADIUS)
        _hold(
            flight,
            5e-4,
            rail_exit_speed=22.804526,
            burnout_speed=171.49488,
            burnout_altitude=155.28009,
            maximum_acceleration=228.8871,
            apogee=1375.2484,
            time_to_apogee=16.772244,
        )

    @pytest.mark.parametrize(
        ("flag", "push", "launch"),
        [
            (
                "apogee_under_thrust",
                ([0, 6], [70, 70], [0.035, 0.035]),
                {"diameter": 0.1, "drag": 0.6, "rail": 1.0, "elevation": 60.0},
            ),
            ("never_moves", ([0, 2], [30, 30], [0.02, 0.02]), {}),
            ("never_leaves_rail", ([0, 0.1], [200, 200], [0.1, 0.1]), {"rail": 3.0}),
        ],
    )
    def test_no_flight_is_said_and_has_no_apogee(self, flag: str, push: tuple, launch: dict) -> None:
        flight = _fly(_push(*push), 4.0, **launch, air=StandardAir(_one(0.0), _one(0.0)), radius=EARTH_RADIUS)
        raised = {name for name, values in flight.flags.items() if values[0]}
        assert raised == {flag}
        assert np.isnan(flight.figures["apogee"][0]) and np.isnan(flight.figures["maximum_speed"][0])


class TestBalance:
    """By hand and by slices, exact (derived)."""

    def test_tube(self) -> None:
        body = tube(2700.0, 0.050, 0.044, 0.0, 0.310)
        _near(body, 0.3707613402, 0.155, 0.003071973981, 2.055871632e-4)

    def test_insert(self) -> None:
        body = bored_insert(_one(1780.0), _one(0.030), _one(0.032), _one(0.010), _one(0.022), np.radians(_one(15.0)), _one(0.0))
        _near(body, 0.03052984438, 0.01443773358, 4.501878241e-6, 4.183170988e-6)

    def test_together_is_one(self) -> None:
        halves = together([tube(2700.0, 0.05, 0.044, _one(0.0), 0.155), tube(2700.0, 0.05, 0.044, _one(0.155), 0.155)])
        _near(halves, 0.3707613402, 0.155, 0.003071973981, 2.055871632e-4)

    @pytest.mark.parametrize(
        ("forward", "aft", "mass", "centre"),
        [(1, 1, 0.2624467213, 0.136), (0, 0, 0.2972697491, 0.136), (0, 1, 0.2798582352, 0.13395)],
    )
    def test_grains(self, forward: int, aft: int, mass: float, centre: float) -> None:
        rows = GrainRows(*(np.array([[value]]) for value in (3, 0.070, 0.0396, 0.015, forward, aft, 0.031, 0.070)))
        masses, centres = burning_grains(_one(1750.0), rows, np.array([[0.0, 0.0041]]))
        np.testing.assert_allclose(masses, [[0.3876814085, mass]], rtol=1e-9)
        np.testing.assert_allclose(centres, [[0.136, centre]], rtol=1e-9)

    def test_rocket(self) -> None:
        hardware, place = np.array([2.9]), np.array([(2.0 * 0.6 + 0.9 * 1.0) / 2.9])
        centre = centre_over_burn(hardware, place, np.array([[0.6, 0.54, 0.0]]), np.array([[0.95, 0.95, np.nan]]))
        np.testing.assert_allclose(centre, [[0.7628571429, 0.7595930233, 0.7241379310]], rtol=1e-9)
        assert travel(centre)[0] == pytest.approx(0.0387192118, rel=1e-8)
        np.testing.assert_allclose(static_margin(0.85, centre[0, [0, 2]], 0.054), [1.6137566, 2.3307791], rtol=1e-7)

    def test_travel_is_largest_less_smallest(self) -> None:
        """Rows of unequal web: 5.8 mm inside the burn, 0.16 mm from end to end."""
        x = np.linspace(0.0, 0.0123, 1231)[None, :]
        bores, places = (0.015, 0.024), (0.031, 0.171)
        pairs = ((2, 2), (0.07, 0.07), (0.0396, 0.0396), bores, (1, 1), (1, 1), places, (0.07, 0.07))
        mass, middle = burning_grains(_one(1750.0), GrainRows(*(np.array([pair]) for pair in pairs)), x)
        centre = centre_over_burn(_one(0.9), _one(0.16), mass, middle)
        assert centre[0, 0] == pytest.approx(0.1601595, abs=1e-7) and centre[0, -1] == pytest.approx(0.16, abs=1e-9)
        # By hand, where the second row is gone: 0.094479 kg left at 0.101 m.
        assert centre.min() == pytest.approx((0.9 * 0.16 + 0.0944790 * 0.101) / 0.9944790, abs=2e-7)
        assert travel(centre)[0] == pytest.approx(centre[0, 0] - centre.min())


def _near(body: Body, mass: float, centre: float, transverse: float, axial: float) -> None:
    found = (body.mass, body.centre, body.transverse, body.axial)
    for value, expected in zip(found, (mass, centre, transverse, axial), strict=True):
        assert float(np.squeeze(value)) == pytest.approx(expected, rel=1e-9)
