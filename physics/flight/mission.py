"""From a batch of motors to their flights: what pushes, what flies, and how the rocket balances.

Owns `fly_motors`, what keeps a flight from being reckoned, and the centre of mass along the burn. Imports assembly, grain,
mass, motors, steady, and the rest of flight.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.assembly import Assembly, assemble
from physics.ballistics import steady
from physics.ballistics.grain import has_caps
from physics.ballistics.regimes import regimes
from physics.ballistics.stretches import columns
from physics.figures import FLIGHT_FIGURES
from physics.flight.atmosphere import StandardAir, standard_temperature
from physics.flight.balance import GrainRows, bored_insert, burning_grains, centre_over_burn, static_margin, travel
from physics.flight.trajectory import Flight, Push, Rail, Vehicle, fly, rail_exit_speed
from physics.mass import closure_masses, part_mass, unknown_masses
from physics.mass import masses as masses_of
from physics.motors import Array, Curve, Figures, Motors, as_column

Mask = NDArray[np.bool_]

COLDEST = "coldest_rail_exit_speed"
"""The figure that a least rail exit speed is held against, as a highest pressure is at the hottest soak."""
TRAVEL = "centre_of_mass_travel"
ASSUMED_DRAG = 0.5
"""Drag coefficient of a rocket whose builder gives none; told as assumed, with the apogee at others beside it. [-]"""
DRAG_BAND = (0.4, 0.6)
"""Drag coefficients of which the apogees are told beside that of one nobody measured (judgement)."""


@dataclass(frozen=True)
class Flights:
    """The flights of a batch of motors.

    `refused` says why none was reckoned, or is None. `figures` (n,) are those of the flight, the coldest rail exit speed and
    the travel of the centre of mass; `margins` the static margins at lift-off, rail exit and burnout, (n,) each, where a
    centre of pressure is given; `band` the apogees at the drag coefficients of `DRAG_BAND`. `balance` is the centre of mass
    over the burn, `time` s and `centre` m, (n, T): of the rocket from its nose's tip where its own centre is known, else of
    the motor from the forward end of its case.
    """

    refused: str | None
    figures: dict[str, Array]
    flags: dict[str, Mask]
    margins: dict[str, Array]
    band: dict[float, Array]
    track: dict[str, Array] | None = None
    balance: dict[str, Array] | None = None


def fly_motors(
    motors: Motors,
    figures: Figures,
    masses: dict[str, Array] | None = None,
    assembly: Assembly | None = None,
    track: bool = False,
    band: bool = False,
    asked: Collection[str] | None = None,
) -> Flights:
    """Fly each motor of a batch in its rocket.

    Parameters
    ----------
    motors : Motors
        Batch of n motors with `rocket` and `launch`, SI units.
    figures : Figures
        Of the same motors by either kernel; by the transient one with its histories.
    masses : dict of ndarray or None
        As `physics.mass.masses` gives them, where they are at hand. [kg]
    assembly : Assembly or None
        As `physics.assembly.assemble` gives it, where it is at hand.
    track, band : bool
        Whether to keep the points of the ascent, and to fly at the drag coefficients of `DRAG_BAND` too.
    asked : collection of str or None
        Figures that are wanted; all by default. What takes a flight of its own, or a stack, is left out where it is not.

    Returns
    -------
    Flights
        Figures are NaN where a motor is not described by its kernel.

    Notes
    -----
    The air is the standard atmosphere above the site, as much warmer as `ambient.temperature` says, with `ambient.pressure`
    at the site. The propellant has the ambient temperature, and the coldest of the soak for the coldest rail exit speed.
    """
    assert motors.rocket is not None and motors.launch is not None
    missing = unknown_masses(motors)
    if missing:
        return _refused(
            "what the motor weighs is not known, and what is left out would flatter every figure ("
            + "; ".join(missing)
            + "); give the missing keys, or masses.empty as weighed"
        )
    weights = masses_of(motors) if masses is None else masses
    rocket, launch = motors.rocket, motors.launch
    dry = as_column(rocket.mass, motors.size) + weights["loaded"] - weights["propellant"]
    described = ~(_raised(figures, "port_choked", motors) | _raised(figures, "extinguished", motors))
    vehicle = Vehicle(
        np.where(described, dry, np.nan),
        as_column(rocket.diameter, motors.size),
        _drag(rocket.drag_coefficient, motors),
        None if rocket.drag_coefficient_thrusting is None else _drag(rocket.drag_coefficient_thrusting, motors),
        None if rocket.drag_mach is None else _drag(rocket.drag_mach, motors),
    )
    rail = Rail(
        as_column(launch.rail_length, motors.size),
        as_column(launch.elevation, motors.size),
        as_column(launch.altitude, motors.size),
    )
    air = StandardAir(
        rail.altitude,
        as_column(motors.ambient.temperature, motors.size) - standard_temperature(rail.altitude),
        as_column(motors.ambient.pressure, motors.size),
    )
    history = _history(motors, figures)
    flight = fly(history.push, vehicle, rail, air, track=track)
    found = dict(flight.figures)
    margins: dict[str, Array] = {}
    balance: dict[str, Array] | None = None
    if asked is None or COLDEST in asked:
        found[COLDEST] = _coldest(motors, figures.kernel, flight, vehicle, rail, air)
    if asked is None or TRAVEL in asked:
        placed = assemble(motors) if assembly is None else assembly
        course = _centre_of_mass(motors, placed, weights, history)
        found[TRAVEL], margins = travel(course), _margins(motors, course, history, flight)
        balance = {"time": history.push.time, "centre": course}
    apogees = {}
    if band:
        for coefficient in DRAG_BAND:
            other = Vehicle(vehicle.dry_mass, vehicle.diameter, np.full(motors.size, coefficient))
            apogees[coefficient] = fly(history.push, other, rail, air).figures["apogee"]
    found = {name: found[name] for name in FLIGHT_FIGURES if name in found}
    return Flights(None, found, flight.flags, margins, apogees, flight.track, balance if track else None)


def _refused(why: str) -> Flights:
    return Flights(why, {}, {}, {}, {})


def _raised(figures: Figures, flag: str, motors: Motors) -> Mask:
    return np.broadcast_to(np.asarray(figures.flags[flag], dtype=bool), (motors.size,))


def _drag(leaf: Array, motors: Motors) -> Array:
    leaf = np.asarray(leaf, dtype=float)
    return np.broadcast_to(leaf, (motors.size, leaf.shape[-1]) if leaf.ndim == 2 else (motors.size,))


@dataclass(frozen=True)
class _History:
    """A burn as a flight and a balance read it: the push, and the regression (n, S + 1) [m] at the ends of its steps."""

    push: Push
    regression: Array


def _history(motors: Motors, figures: Figures) -> _History:
    if figures.kernel == "steady":
        return _steady_history(motors, None)
    assert figures.curve is not None
    return _from_curve(motors, figures.curve)


def _exit_area(motors: Motors) -> Array:
    return 0.25 * np.pi * np.square(as_column(motors.nozzle.exit_diameter, motors.size))


def _steady_history(motors: Motors, temperature: Array | None) -> _History:
    short = steady.short_history(motors, temperature)
    push = Push(
        short.time,
        short.thrust_start,
        short.thrust_end,
        short.flow_start,
        short.flow_end,
        short.impulse,
        short.mass,
        short.attached,
        as_column(motors.ambient.pressure, motors.size),
        _exit_area(motors),
    )
    return _History(push, short.regression)


def _from_curve(motors: Motors, curve: Curve) -> _History:
    """The points of a transient history, each interval a step; the nozzle flows full where the pressure suffices."""
    full = curve.chamber_pressure >= regimes(columns(motors)).onset[:, None]
    push = Push.through_points(
        curve.time,
        curve.thrust,
        curve.mass_flow,
        as_column(motors.ambient.pressure, motors.size),
        _exit_area(motors),
        full[:, 1:] & full[:, :-1],
    )
    ended = np.isnan(curve.regression)
    held = np.where(ended, np.nanmax(np.where(ended, 0.0, curve.regression), axis=1)[:, None], curve.regression)
    return _History(push, held)


def _coldest(motors: Motors, kernel: str, flight: Flight, vehicle: Vehicle, rail: Rail, air: StandardAir) -> Array:
    """Rail exit speed [m/s] with the propellant at its coldest; by the steady kernel, scaled to the kernel in use."""
    soak = np.atleast_2d(np.asarray(motors.ambient.soak, dtype=float))
    ambient = as_column(motors.ambient.temperature, motors.size)
    speed = flight.figures["rail_exit_speed"]
    if soak.shape[1] == 0:
        return speed
    coldest = np.minimum(ambient, np.broadcast_to(soak, (motors.size, soak.shape[1])).min(axis=1))
    if (coldest == ambient).all():
        return speed
    cold = rail_exit_speed(_steady_history(motors, coldest).push, vehicle, rail, air)
    if kernel != "steady":
        cold = cold + (speed - rail_exit_speed(_steady_history(motors, ambient).push, vehicle, rail, air))
    return np.minimum(speed, cold)


def _centre_of_mass(motors: Motors, placed: Assembly, weights: dict[str, Array], history: _History) -> Array:
    """Centre of mass at the ends of the steps of the burn [m], (n, S + 1), as `Flights.balance` has it; NaN where a part
    has no place.
    """
    hardware, centre = _hardware(motors, placed, weights)
    rocket = motors.rocket
    assert rocket is not None
    grain = motors.grain.mapped(lambda leaf: np.broadcast_to(np.atleast_2d(leaf), (motors.size, np.atleast_2d(leaf).shape[1])))
    forward, aft = (np.broadcast_to(np.atleast_2d(face), grain.count.shape) for face in grain.bare_faces)
    caps = grain.open_to if has_caps(grain) else (None, None)
    rows = GrainRows(
        grain.count,
        grain.length,
        grain.outer_diameter,
        grain.core_diameter,
        forward,
        aft,
        placed.grain_start,
        grain.length,
        *caps,
    )
    propellant, middle = burning_grains(as_column(motors.propellant.density, motors.size), rows, history.regression)
    if rocket.centre_of_mass is not None and rocket.motor_end is not None:
        shift = as_column(rocket.motor_end, motors.size) - placed.exit
        body = as_column(rocket.mass, motors.size)
        centre = (body * as_column(rocket.centre_of_mass, motors.size) + hardware * (centre + shift)) / (body + hardware)
        hardware, middle = body + hardware, middle + shift[:, None]
    return centre_over_burn(hardware, centre, propellant, middle)


def _margins(motors: Motors, course: Array, history: _History, flight: Flight) -> dict[str, Array]:
    """Static margins at lift-off, rail exit and burnout, (n,) each; none without a centre of pressure."""
    rocket = motors.rocket
    assert rocket is not None
    margins: dict[str, Array] = {}
    if rocket.centre_of_pressure is not None and rocket.centre_of_mass is not None and rocket.motor_end is not None:
        behind, wide = as_column(rocket.centre_of_pressure, motors.size), as_column(rocket.diameter, motors.size)
        left = np.stack(
            [
                np.interp(t, clock, line)
                for t, clock, line in zip(flight.figures["rail_exit_time"], history.push.time, course, strict=True)
            ]
        )
        for name, at in (("liftoff", course[:, 0]), ("rail_exit", left), ("burnout", course[:, -1])):
            margins[name] = static_margin(behind, at, wide)
    return margins


def _hardware(motors: Motors, placed: Assembly, weights: dict[str, Array]) -> tuple[Array, Array]:
    """Mass [kg] and centre [m] of the motor without propellant, (n,).

    Each part lies in the middle of its span, an insert by its own shape at the nozzle's end. Of a motor whose empty mass was
    weighed the parts that are known say where it lies.
    """
    spans = placed.spans
    places: list[tuple[Array, Array]] = [(part_mass(motors, "case"), _middle(spans["case"]))]
    if motors.liner is not None:
        places.append((part_mass(motors, "liner"), _middle(spans["liner"])))
    for end in ("forward", "aft"):
        parts = closure_masses(motors, end)
        plate = spans["forward plate"] if end == "forward" else (placed.ring_face - placed.behind_insert, placed.ring_face)
        if motors.value(f"{end}_closure.mass") is not None:
            places.append((part_mass(motors, f"{end}_closure"), _middle(spans[f"{end} ring"])))
        else:
            places += [(mass, _middle(plate if name == "plate" else spans[f"{end} ring"])) for name, mass in parts.items()]
    places.append((part_mass(motors, "nozzle"), _insert_centre(motors, placed)))
    total = sum((np.where(np.isfinite(mass), mass, 0.0) for mass, _ in places), np.zeros(motors.size))
    moment = sum((np.where(np.isfinite(mass), mass * place, 0.0) for mass, place in places), np.zeros(motors.size))
    centre = np.where(total > 0.0, moment / np.where(total > 0.0, total, 1.0), np.nan)
    return weights["loaded"] - weights["propellant"], centre


def _middle(span: tuple[Array, Array]) -> Array:
    return np.asarray(0.5 * (span[0] + span[1]))


def _insert_centre(motors: Motors, placed: Assembly) -> Array:
    nozzle = motors.nozzle
    if nozzle.insert_length is None or nozzle.insert_diameter is None:
        return _middle(placed.spans["nozzle"])
    length = as_column(nozzle.insert_length, motors.size)
    return bored_insert(
        np.ones(motors.size),
        as_column(nozzle.insert_diameter, motors.size),
        length,
        as_column(nozzle.throat_diameter, motors.size),
        as_column(nozzle.exit_diameter, motors.size),
        as_column(nozzle.half_angle, motors.size),
        placed.exit - length,
    ).centre
