"""What a test stand must be ready for: loads, ranges, rates, the proof test and what the gas holds.

Owns what is asked of load cell, transducer, restraint and proof test, as numbers. Imports the assessment and physics.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.ladder_view import ladder_rows
from optimizer.output.drawing.geometry import number
from physics.failure.proof import GAUGE_ERROR, Proof, gas_energy, proof_of, water_energy
from physics.heat.soak import wait_for_sticker

if TYPE_CHECKING:
    from physics.assessment import Assessment

PROOF_MARGIN = 1.1  # a rung nearer to the proof pressure than this is pointed out; common practice, no source
INSTRUMENT_HEADROOM = (1.5, 2.0)  # full scale over the expected peak; common practice, no source
RESTRAINT_FACTOR = 4.0  # ultimate strength of the restraint over the load; common practice, no source
RESTRAINT_PUSH = 1.5  # the same over the push of a closure that lets go, for a moment; our judgement
LEAST_PROOF = 1.1  # a proof lower than this over the maximum expected pressure shows too little; our judgement
RISE = 0.35  # bandwidth times the rise from a tenth to nine tenths, a system of first order; derived, ln 9 / 2π
ASSUMED_RISE = 0.02  # s, where the histories show no start: ignition over all surfaces at once; our judgement
ASSUMED, AT_START, AT_END = RISES = ("assumed", "start", "end")
"""Where the quickest change of thrust comes from."""
SHORTEST_RISE = 2e-3  # s; what is shorter is the model's own step
MOUNT_OVER_THRUST = 5.0  # natural frequency of the mount over what the thrust holds; common practice, no source
SAMPLES = 20.0  # in the quickest rise; common practice, no source
LEAST_RATE = 1000.0  # samples a second; common practice, no source


@dataclass(frozen=True)
class Stand:
    """What the stand must be ready for, SI: pressures Pa, forces N, energies J.

    `rungs` are those of the proof, plugged and cold, with `proof_factor` (over `proof_pressure`), `factor` (in service) and
    `unplugged` (whether a proof without the nozzle end loads them). `fastest` is the quickest rise or fall of thrust from
    tenth to nine tenths [s], `fastest_from` one of `RISES`, `moving_mass` what moves on the load cell [kg], NaN where it is
    not known; `volume` is what the proof is filled with [m3].
    """

    peak_thrust: float
    highest_thrust: float
    expected_pressure: float
    proof_pressure: float
    load_cell: tuple[float, float]
    transducer: tuple[float, float]
    closure_force: float | None
    restraint: float
    proof: Proof
    rungs: tuple[Mapping[str, Any], ...]
    fastest: float
    fastest_from: str
    moving_mass: float
    volume: float | None
    gas_energy: float | None
    water_energy: float | None

    @property
    def thrust_frequency(self) -> float:
        """Up to where the thrust has anything to show, from its quickest change. [Hz]"""
        return RISE / self.fastest

    @property
    def mount_frequency(self) -> float:
        """Lowest natural frequency of motor, cradle and load cell that still shows the thrust as it is. [Hz]"""
        return MOUNT_OVER_THRUST * self.thrust_frequency

    @property
    def stiffness(self) -> float:
        """Stiffness of cradle and load cell along the axis that gives it, k = (2π f)² m. [N/m]"""
        return (2.0 * math.pi * self.mount_frequency) ** 2 * self.moving_mass

    @property
    def sample_rate(self) -> float:
        """Samples a second that put `SAMPLES` into the quickest rise, `LEAST_RATE` at least, in round hundreds. [1/s]"""
        return max(LEAST_RATE, math.ceil(SAMPLES / self.fastest / 100.0) * 100.0)

    @property
    def failing(self) -> tuple[Mapping[str, Any], ...]:
        """Rungs too low to be proofed over the expected pressure: those that a proof worth doing would reach or pass."""
        least = LEAST_PROOF * self.expected_pressure * (1.0 + GAUGE_ERROR)
        return tuple(rung for rung in self.rungs if rung["kind"] != "advice" and not rung["pressure"] > least)

    @property
    def close(self) -> tuple[Mapping[str, Any], ...]:
        """Rungs that the proof pressure comes within `PROOF_MARGIN` of."""
        return tuple(rung for rung in self.rungs if 1.0 < rung["proof_factor"] < PROOF_MARGIN)


def stand(assessment: Assessment) -> Stand:
    """Loads and ranges for the test stand of a batch of one.

    The highest thrust scales the peak thrust by maximum expected pressure over peak head pressure, as the thrust
    coefficient hardly moves with pressure. The force if a closure lets go is the maximum expected pressure on the bore; the
    restraint bears the more of what either asks.
    """
    expected = float(np.ravel(assessment.maximum_expected_pressure)[0])
    thrust = float(np.ravel(assessment.figures["peak_thrust"])[0])
    head = float(np.ravel(assessment.figures["peak_head_pressure"])[0])
    highest = thrust * max(expected / head, 1.0) if head > 0 else math.nan
    proof = proof_of(assessment.motors, assessment.ladder, expected)
    service = {(row["mode"], row["part"]): row["factor"] for row in ladder_rows(assessment.ladder)}
    rungs = tuple(
        {
            "mode": rung.mode,
            "part": rung.part,
            "kind": rung.kind,
            "pressure": rung.pressure,
            "factor": service.get((rung.mode, rung.part)),
            "proof_factor": rung.pressure / proof.pressure,
            "unplugged": rung.unplugged,
        }
        for rung in proof.rungs
    )
    motors = assessment.motors
    case = motors.case
    volume = None if case is None else empty_volume(assessment)
    gamma = float(np.ravel(motors.propellant.gamma)[0])
    bore = None if case is None else number(case.bore)
    fastest, fastest_from = quickest(assessment)
    push = None if bore is None else expected * math.pi / 4 * bore**2
    return Stand(
        peak_thrust=thrust,
        highest_thrust=highest,
        expected_pressure=expected,
        proof_pressure=proof.pressure,
        load_cell=(INSTRUMENT_HEADROOM[0] * highest, INSTRUMENT_HEADROOM[1] * highest),
        transducer=(INSTRUMENT_HEADROOM[0] * expected, INSTRUMENT_HEADROOM[1] * expected),
        closure_force=push,
        restraint=max(RESTRAINT_FACTOR * highest, RESTRAINT_PUSH * (push or 0.0)),
        proof=proof,
        rungs=rungs,
        fastest=fastest,
        fastest_from=fastest_from,
        moving_mass=float(np.ravel(assessment.masses.get("loaded", math.nan))[0]),
        volume=volume,
        gas_energy=None if volume is None else gas_energy(expected, volume, gamma, float(np.ravel(motors.ambient.pressure)[0])),
        water_energy=None if volume is None else water_energy(proof.pressure, volume),
    )


def empty_volume(assessment: Assessment) -> float:
    """What is inside between plate and nozzle with no grains in it, liner in place. [m3]"""
    placed = assessment.assembly
    long = max(float(placed.nozzle_face[0] - placed.plate_end[0]), 0.0)
    return math.pi / 4 * float(placed.chamber_bore[0]) ** 2 * long


def quickest(assessment: Assessment) -> tuple[float, str]:
    """The quickest change of thrust between a tenth and nine tenths of its peak [s], and where it is, one of `RISES`.

    Where the history starts at full thrust, as the steady kernel's does, `ASSUMED_RISE` stands for the start.
    """
    curve = assessment.figures.curve
    if curve is None:
        return ASSUMED_RISE, ASSUMED
    time, thrust = curve.time[0], curve.thrust[0]
    there = np.isfinite(time) & np.isfinite(thrust)
    time, thrust = time[there], thrust[there]
    if thrust.size < 3 or not thrust.max() > 0:
        return ASSUMED_RISE, ASSUMED
    low, high = 0.1 * thrust.max(), 0.9 * thrust.max()
    found = {ASSUMED: ASSUMED_RISE}
    for where, values, clock in ((AT_START, thrust, time), (AT_END, thrust[::-1], -time[::-1])):
        above = int(np.argmax(values >= high))
        below = np.flatnonzero(values[:above] <= low)
        if below.size and above > 0:
            rise = float(np.interp(high, values[above - 1 : above + 1], clock[above - 1 : above + 1]) - clock[below[-1]])
            found[where] = max(rise, SHORTEST_RISE)
            if where == AT_START:
                del found[ASSUMED]
    where = min(found, key=lambda name: found[name])
    return found[where], where


def sticker_wait(assessment: Assessment) -> float:
    """When stickers may be read, from ignition: past the rule for the liner and past the last peak predicted, full 10 s. [s]"""
    liner = assessment.motors.liner
    wait = float(np.ravel(wait_for_sticker(np.array([0.0]) if liner is None else np.asarray(liner.thickness)))[0])
    warm = [] if assessment.heat is None else [place for place in assessment.heat.outside if place.warms]
    return max([wait, *(math.ceil(float(place.readings.at[0]) / 10.0) * 10.0 for place in warm)])
