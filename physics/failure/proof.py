"""The water proof of one motor: what it loads, cold, with the throat plugged or not, and how high it may go.

Owns the load path of a proof test, which is not that of a firing: nothing flows, so a plugged aft end bears the whole
pressure on its seal and no pull of the nozzle relieves it; the parts are cold. Imports ladder and motors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from physics.failure.ladder import assess_ladder
from physics.motors import Ladder, Motors

PROOF_FACTOR = 1.5
"""Proof pressure over the maximum expected pressure that is aimed for; common practice, no source."""
GAUGE_ERROR = 0.03
"""What the pressure in the motor may lie above the reading: a gauge of class 1.6 read at half its scale or more."""
BELOW = 0.95
"""Share of the lowest loaded rung that the pressure itself may come to; our judgement."""
NOT_IN_PROOF = frozenset({"grain support", "case yield hot"})
"""Rungs that a cold, inert proof does not load: there are no grains in it, and nothing is hot."""
_CLOSED = 1e-3  # of the nozzle's own size: what is left of a plugged throat


@dataclass(frozen=True)
class ProofRung:
    """A rung as a plugged, cold proof loads it: head pressure at which it happens [Pa].

    `unplugged` says whether a proof loads it too whose nozzle end is closed by a fixture outside the motor: then the aft
    closure and the nozzle bear nothing.
    """

    mode: str
    part: str
    kind: str
    pressure: float
    unplugged: bool


@dataclass(frozen=True)
class Proof:
    """`pressure` on the gauge [Pa], what was `wanted`, the lowest rung loaded, and every rung, lowest first.

    `pressure` is the lesser of `wanted` and what the lowest rung leaves: `BELOW` of it, less the gauge's error.
    """

    pressure: float
    wanted: float
    rungs: tuple[ProofRung, ...]

    @property
    def lowest(self) -> ProofRung | None:
        """The rung that a plugged proof reaches first; an advised limit is not one that fails."""
        return next((rung for rung in self.rungs if rung.kind != "advice"), None)

    @property
    def limited(self) -> bool:
        """Whether a rung keeps the proof below what was wanted."""
        return self.pressure < self.wanted


def proof_of(motors: Motors, ladder: Ladder, expected: float) -> Proof:
    """The water proof of a batch of one.

    Parameters
    ----------
    ladder : Ladder
        The motor's own, for what its tolerances take off each rung.
    expected : float
        Maximum expected pressure. [Pa]

    Notes
    -----
    Each rung is computed at room temperature with the throat closed, so that the end load aft is the pressure on the
    whole seal; what the given ladder lies below the rung at nominal dimensions is taken off as well. Valid for water
    without air, held for a minute; it says nothing of heat. Source: derived from the load path.
    """
    hot, cold = assess_ladder(motors), assess_ladder(_plugged(motors))
    given = {(rung.mode, rung.part): _one(rung.pressure) for rung in ladder.rungs if rung.pressure is not None}
    nominal = {(rung.mode, rung.part): _one(rung.pressure) for rung in hot.rungs if rung.pressure is not None}
    rungs = []
    for rung in cold.rungs:
        key = (rung.mode, rung.part)
        if rung.pressure is None or rung.mode in NOT_IN_PROOF or key not in given:
            continue
        share = given[key] / nominal[key] if nominal.get(key) else 1.0
        pressure = _one(rung.pressure) * (min(share, 1.0) if math.isfinite(share) else 1.0)
        aft = rung.part in ("aft closure", "nozzle")
        rungs.append(ProofRung(rung.mode, rung.part, rung.kind, pressure, not aft))
    rungs.sort(key=lambda rung: math.inf if math.isnan(rung.pressure) else rung.pressure)
    found = Proof(PROOF_FACTOR * expected, PROOF_FACTOR * expected, tuple(rungs))
    if found.lowest is None:
        return found
    return replace(found, pressure=min(found.wanted, BELOW * found.lowest.pressure / (1.0 + GAUGE_ERROR)))


def _plugged(motors: Motors) -> Motors:
    """The motor cold and with its throat closed; the nozzle keeps its shape, so that no coefficient runs off."""
    nozzle = replace(
        motors.nozzle,
        throat_diameter=np.asarray(motors.nozzle.throat_diameter) * _CLOSED,
        exit_diameter=np.asarray(motors.nozzle.exit_diameter) * _CLOSED,
    )
    case = None if motors.case is None else replace(motors.case, service_temperature=None)
    return replace(motors, nozzle=nozzle, case=case)


def _one(values: object) -> float:
    return float(np.ravel(np.asarray(values, dtype=float))[0])
