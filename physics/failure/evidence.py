"""What a test has shown of each rung: how far it is known to hold, cold or hot, plugged or not.

Owns the passage from a test (a water proof, a firing) to bounds on the rungs' strengths, which `chances` counts. A test loads
a rung with its own pressure at its own temperature; what the rung is likely to bear there is what it bears in the firing times
the ratio of the two design values, so a cold test does not prove a hot case. Imports numpy and, from physics, chances, ladder,
materials, motors and proof.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace

import numpy as np
from numpy.typing import NDArray

from physics.failure.chances import Estimate, Key, Model, Tested, chances, median_of, model_of
from physics.failure.ladder import ADVICE, assess_ladder, plain_part
from physics.failure.proof import GAUGE_ERROR, NOT_IN_PROOF, plugged_motor
from physics.materials import Material
from physics.motors import Array, Figures, Ladder, Motors, Rung

KINDS = ("water", "firing", "bench burn")
OUTCOMES = ("held", "leaked", "failed")

WATER_ON_GAS = 0.5
"""What a ring that held water at a pressure is taken to have held of gas, over that pressure: water says little of gas past a
seal; our judgement."""


@dataclass(frozen=True)
class Evidence:
    """One test of a motor. `pressure` is over the surroundings [Pa], None where none was read; `temperature` [K].

    `plugged`: the throat was closed, so that the aft end bore the whole load. `outcome` is one of `OUTCOMES`; what did not hold
    is `mode` (and `part`, where it has several). `same_hardware` False: another copy was tested. `duration` [s] is that of the
    burn. `seals_as_fired` False: a proof with other seals, which shows nothing of those that will be fired. `name` is what to
    call it.
    """

    kind: str
    name: str
    pressure: float | None = None
    temperature: float | None = None
    duration: float | None = None
    plugged: bool = False
    outcome: str = "held"
    mode: str = ""
    part: str = ""
    same_hardware: bool = True
    seals_as_fired: bool = True


@dataclass(frozen=True)
class Shown:
    """What one test says of one rung: the pressure [Pa] or time [s] it met there, and the bound on its strength.

    `here` says that a rung of this very hardware held, though the liner and the grains that held are burnt.
    """

    key: Key
    level: float
    bound: Tested
    here: bool = False


def shown(motors: Motors, evidence: Evidence, ladder: Ladder) -> tuple[Shown, ...]:
    """What a test shows of the rungs of a batch; empty for a bench burn, which loads no rung with pressure.

    Parameters
    ----------
    motors : Motors
        What was tested, n motors: one, or samples of its tolerances.
    evidence : Evidence
        The test.
    ladder : Ladder
        That of the motors that were tested, as they burn.

    Returns
    -------
    tuple of Shown
        A rung each; the margins of their bounds are (n,). A motor whose rung is not known teaches nothing of it.

    Notes
    -----
    The level is the pressure less the gauge's error (`proof.GAUGE_ERROR`), plus it where the rung failed. Water loads no rung
    of heat or of grains; with the nozzle end closed from outside it loads nothing aft; of a seal it counts for `WATER_ON_GAS`
    of its pressure, and not at all where other seals were in it. A firing loads every pressure rung, and each rung of heat for
    its duration. Of what failed, of another copy, and of the liner and the grains of a firing, only the formula's share is
    learnt: they are gone. What leaked is still there. Source: derived from the load path.
    """
    if evidence.kind == "bench burn":
        return ()
    tested = _ladder_of_test(motors, evidence, ladder)
    culprit = _culprit(tested, evidence)
    found = []
    for key, rung in tested.items():
        held = key != culprit
        level = _level(rung, evidence, failed=not held)
        if level is None or rung.certainty is None:
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            margin = np.log(median_of(rung) / level)
        unknown = np.isnan(margin)
        if unknown.all():
            continue
        margin = np.where(unknown, np.inf if held else -np.inf, margin)
        gone = not held and evidence.outcome == "failed"
        copy = not evidence.same_hardware or _is_burnt(rung)
        found.append(Shown(key, level, Tested(key, margin, held, copy, gone), here=held and evidence.same_hardware))
    return tuple(found)


def model_with_tests(
    motors: Motors, ladder: Ladder, expected: Array, figures: Figures, evidence: Sequence[Evidence] = ()
) -> tuple[dict[str, tuple[Shown, ...]], Model]:
    """What each test shows of a single motor, and the model of its chances with all of them.

    Parameters
    ----------
    motors : Motors
        A batch of one.
    ladder : Ladder
        Its ladder, as it burns.
    expected : Array
        Maximum expected pressure [Pa], (1,).
    figures : Figures
        How it burns.
    evidence : sequence of Evidence
        Tests of it.

    Returns
    -------
    dict, Model
        What is shown by the name of the test; the rungs against what they meet, with the bounds that the tests set.

    Notes
    -----
    Source: `shown` and `physics.failure.chances.model_of`.
    """
    found = {one.name: shown(motors, one, ladder) for one in evidence}
    bounds = tuple(item.bound for items in found.values() for item in items)
    return found, model_of(ladder, expected, figures, bounds)


def _is_burnt(rung: Rung) -> bool:
    """Whether a rung is of what each firing has anew: grains, and the liner before all that gets hot."""
    return rung.pressure is None or rung.part == "grains"


def _ladder_of_test(motors: Motors, evidence: Evidence, ladder: Ladder) -> dict[Key, Rung]:
    """The rungs as the test loads them."""
    rungs = ladder.rungs
    if evidence.kind == "water":
        drawn = plugged_motor(replace(motors, tolerances={}), evidence.temperature)
        rungs = assess_ladder(drawn, marching=False).rungs
        rungs = tuple(rung for rung in rungs if rung.pressure is not None and rung.mode not in NOT_IN_PROOF)
        if not evidence.plugged:
            rungs = tuple(rung for rung in rungs if plain_part(rung.part) not in ("aft closure", "nozzle"))
        if not evidence.seals_as_fired:
            rungs = tuple(rung for rung in rungs if rung.kind != "leak")
    return {(rung.mode, rung.part): rung for rung in rungs if rung.kind != ADVICE}


def _level(rung: Rung, evidence: Evidence, failed: bool) -> float | None:
    if rung.pressure is None:
        return evidence.duration if evidence.kind == "firing" else None
    if evidence.pressure is None:
        return None
    level = evidence.pressure * (1.0 + GAUGE_ERROR if failed else 1.0 - GAUGE_ERROR)
    return level * (WATER_ON_GAS if rung.kind == "leak" and evidence.kind == "water" and not failed else 1.0)


def _culprit(tested: Mapping[Key, Rung], evidence: Evidence) -> Key | None:
    """The rung that did not hold: the one named, and of several parts the likeliest; None where all held."""
    if evidence.outcome == "held":
        return None
    named = [key for key in tested if key[0] == evidence.mode and evidence.part in ("", key[1], plain_part(key[1]))]
    return min(named, key=lambda key: float(np.median(tested[key].likely)), default=None)


_NOT_HARDWARE = frozenset({"service_temperature", "throat_diameter", "exit_diameter", "half_angle", "efficiency"})
"""Leaves of case, closures and nozzle that make no other part of them: a temperature, and what is bored into an insert."""


def same_hardware(motors: Motors, tested: Motors) -> NDArray[np.bool_]:
    """Which motors of a batch have the case, the closures and the nozzle, but for its bore, of a single motor.

    Parameters
    ----------
    motors : Motors
        A batch of n.
    tested : Motors
        A batch of one.

    Returns
    -------
    Array of bool
        (n,).

    Notes
    -----
    By definition: every number equal, every material and name the same. Grains, liner and propellant are burnt each time and
    may differ.
    """
    same = np.ones(motors.size, dtype=bool)
    for part in ("case", "forward_closure", "aft_closure", "nozzle"):
        same &= _alike(getattr(motors, part), getattr(tested, part), motors.size)
    return same


def _alike(one: object, other: object, size: int) -> NDArray[np.bool_]:
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        equal = (one == other) | (np.isnan(one) & np.isnan(other))
        return np.broadcast_to(equal if equal.ndim < 2 else equal.all(axis=1), (size,))
    if isinstance(one, tuple) and isinstance(other, tuple) and len(one) == len(other):
        alike = [_alike(a, b, size) for a, b in zip(one, other, strict=True)]
        return np.asarray(np.logical_and.reduce([np.ones(size, dtype=bool), *alike]))
    if type(one) is not type(other):
        return np.zeros(size, dtype=bool)
    if isinstance(one, Material) or not is_dataclass(one):
        return np.full(size, one == other)
    names = [item.name for item in fields(one) if item.name not in _NOT_HARDWARE]
    return _alike(tuple(getattr(one, name) for name in names), tuple(getattr(other, name) for name in names), size)


@dataclass(frozen=True)
class ProofShows:
    """What a water proof that holds shows: the chance that anything it loads fails in a firing, before and after; each rung's."""

    before: Estimate
    after: Estimate
    rungs: Mapping[Key, tuple[Estimate, Estimate]]


def proof_shows(motors: Motors, ladder: Ladder, figures: Figures, expected: Array, pressure: float) -> ProofShows | None:
    """What a plugged water proof would show if it holds, None where it loads nothing whose chance is known.

    Parameters
    ----------
    motors : Motors
        A batch of one.
    ladder, figures : Ladder, Figures
        Of that motor as it burns.
    expected : ndarray
        Maximum expected pressure, at which the chances are, (1,). [Pa]
    pressure : float
        Of the proof, on the gauge. [Pa]

    Notes
    -----
    Dimensions as drawn, strengths and formulas scattered; tests made before are not counted. Rungs that the proof does not load
    (heat, grains) are left out. Source: `chances`.
    """
    found = shown(motors, Evidence("water", "proof", pressure, plugged=True), ladder)
    keys = {one.key for one in found}
    loaded = Ladder(tuple(rung for rung in ladder.rungs if (rung.mode, rung.part) in keys), ())
    model = model_of(loaded, expected, figures)
    if not model.margins:
        return None
    before, each = chances(model, 1)
    after, each_after = chances(replace(model, tests=tuple(one.bound for one in found if one.key in model.margins)), 1)
    return ProofShows(before, after, {key: (each[key], each_after[key]) for key in each})


def highest_held(of_tests: Mapping[str, tuple[Shown, ...]], look: Ladder) -> dict[Key, tuple[float, str]]:
    """For each rung, the highest pressure or longest time that this very hardware has borne, and by which test.

    Parameters
    ----------
    of_tests : mapping
        What each test shows, by its name.
    look : Ladder
        Of the motor.

    Returns
    -------
    dict
        By rung the level, [Pa] or [s], and the name of the test; a rung that none has loaded is not in it.

    Notes
    -----
    A pressure is that of the test, as it was: a cold one does not stand for a hot one. Source: `shown`.
    """
    best: dict[Key, tuple[float, str]] = {}
    for rung in look.rungs:
        key = (rung.mode, rung.part)
        levels = [(one.level, name) for name, found in of_tests.items() for one in found if one.key == key and one.here]
        if levels:
            best[key] = max(levels)
    return best
