"""The water proof of one motor: what it loads, cold, with the throat plugged or not, and how high it may go.

Owns the load path of a proof test, which is not that of a firing: nothing flows, so a plugged aft end bears the whole
pressure on its seal and no pull of the nozzle relieves it; the parts are cold. Imports ladder, materials and motors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np

from physics.failure.ladder import assess_ladder, plain_part
from physics.materials import Material
from physics.motors import Ladder, Motors, Seal

PROOF_FACTOR = 1.5
"""Proof pressure over the maximum expected pressure that is aimed for; common practice, no source."""
GAUGE_ERROR = 0.03
"""What the pressure in the motor may lie above the reading: a gauge of class 1.6 read at half its scale or more."""
BELOW = 0.95
"""Share of the lowest loaded rung that the pressure itself may come to; our judgement."""
NOT_IN_PROOF = frozenset({"grain support", "case yield hot"})
"""Rungs that a cold, inert proof does not load: there are no grains in it, and nothing is hot."""
WATER_BULK = 2.2e9
"""Bulk modulus of water at room temperature [Pa]; handbook value, remembered."""
_CLOSED = 1e-3  # of the nozzle's own size: what is left of a plugged throat


@dataclass(frozen=True)
class ProofRung:
    """A rung as a plugged, cold proof loads it: head pressure at which it happens, `first` the 5 % end of its band [Pa].

    `unplugged` says whether a proof loads it too whose nozzle end is closed by a fixture outside the motor: then the aft
    closure and the nozzle bear nothing.
    """

    mode: str
    part: str
    kind: str
    pressure: float
    unplugged: bool
    first: float = math.inf

    @property
    def most(self) -> float:
        """The pressure in the motor that a proof may come to for this rung's sake: below both. [Pa]"""
        return min(BELOW * self.pressure, self.first)


@dataclass(frozen=True)
class Proof:
    """`pressure` on the gauge [Pa], what was `wanted`, the lowest rung loaded, and every rung, lowest first.

    `pressure` is the lesser of `wanted` and what the rungs leave: `BELOW` of the lowest and no band's 5 % end, less the
    gauge's error. `unplugged` is the same where a fixture outside the motor closes the nozzle end.
    """

    pressure: float
    wanted: float
    rungs: tuple[ProofRung, ...]
    unplugged: float = math.nan

    @property
    def lowest(self) -> ProofRung | None:
        """The rung that a plugged proof reaches first; an advised limit is not one that fails."""
        return next((rung for rung in self.rungs if rung.kind != "advice"), None)

    @property
    def keeps(self) -> ProofRung | None:
        """The rung that leaves a plugged proof the least; None where nothing is loaded."""
        return min((rung for rung in self.rungs if rung.kind != "advice"), key=lambda rung: rung.most, default=None)

    @property
    def limited(self) -> bool:
        """Whether a rung keeps the proof below what was wanted."""
        return self.pressure < self.wanted


@dataclass(frozen=True)
class Remedy:
    """A change of every seal of a motor, in words, and the plugged proof with it [Pa on the gauge]."""

    what: str
    pressure: float


def proof_of(motors: Motors, ladder: Ladder, expected: float) -> Proof:
    """The water proof of a batch of one.

    Parameters
    ----------
    motors : Motors
        A batch of one.
    ladder : Ladder
        The motor's own, for what its tolerances take off each rung.
    expected : float
        Maximum expected pressure. [Pa]

    Returns
    -------
    Proof
        SI.

    Notes
    -----
    Each rung is computed at room temperature with the throat closed, so that the end load aft is the pressure on the
    whole seal; what the given ladder lies below the rung at nominal dimensions is taken off as well. Valid for water
    without air, held for a minute; it says nothing of heat.

    References
    ----------
    Derived from the load path.
    """
    return _proof(motors, _shares(motors, ladder), expected)


def higher(motors: Motors, ladder: Ladder, expected: float) -> tuple[Remedy, ...]:
    """What other seals would let the proof go to, each remedy alone and at every seal; empty where no seal keeps it low.

    Parameters
    ----------
    motors : Motors
        A batch of one.
    ladder : Ladder
        As of `proof_of`.
    expected : float
        Maximum expected pressure. [Pa]

    Returns
    -------
    tuple of Remedy
        SI.

    Notes
    -----
    Only remedies that raise the proof are given. Seals fitted for the proof alone show nothing of those that will be fired.

    References
    ----------
    Derived, as `proof_of`.
    """
    shares = _shares(motors, ladder)
    now = _proof(motors, shares, expected)
    if now.keeps is None or now.keeps.kind != "leak" or not now.limited:
        return ()
    found = []
    for what, change in _REMEDIES:
        pressure = _proof(_with_seals(motors, change), shares, expected).pressure
        if pressure > 1.001 * now.pressure:
            found.append(Remedy(what, pressure))
    return tuple(found)


_REMEDIES: tuple[tuple[str, Callable[[Seal], Seal]], ...] = (
    ("a backup ring at each O-ring", lambda seal: replace(seal, backup_rings=np.maximum(seal.rings, 1.0))),
    ("O-rings of 90 Shore A", lambda seal: replace(seal, hardness=np.maximum(seal.hardness, 90.0))),
    ("half the gap", lambda seal: replace(seal, gap=np.asarray(seal.gap) / 2.0)),
)


def _with_seals(part: Any, change: Callable[[Seal], Seal]) -> Any:
    """A motor, or a part of one, with every seal in it changed."""
    if isinstance(part, Seal):
        return replace(change(part), behind=_with_seals(part.behind, change))
    if isinstance(part, tuple):
        return tuple(_with_seals(item, change) for item in part)
    if not is_dataclass(part) or isinstance(part, (type, Material)):
        return part
    changed = {item.name: _with_seals(getattr(part, item.name), change) for item in fields(part)}
    same = all(changed[name] is getattr(part, name) for name in changed)
    return part if same else replace(part, **changed)


def _shares(motors: Motors, ladder: Ladder) -> dict[tuple[str, str], float]:
    """What a motor's tolerances leave of each pressure rung: the given one over that at nominal dimensions, 1 at most. [-]"""
    hot = assess_ladder(replace(motors, tolerances={}))
    given = {(rung.mode, rung.part): _one(rung.pressure) for rung in ladder.rungs if rung.pressure is not None}
    nominal = {(rung.mode, rung.part): _one(rung.pressure) for rung in hot.rungs if rung.pressure is not None}
    shares = {key: pressure / nominal[key] if nominal.get(key) else 1.0 for key, pressure in given.items()}
    return {key: min(share, 1.0) if math.isfinite(share) else 1.0 for key, share in shares.items()}


def _proof(motors: Motors, shares: Mapping[tuple[str, str], float], expected: float) -> Proof:
    """The proof with what the tolerances leave of each rung; a rung without a share is not one of the motor's."""
    rungs = []
    for rung in assess_ladder(plugged_motor(replace(motors, tolerances={}))).rungs:
        key = (rung.mode, rung.part)
        if rung.pressure is None or rung.mode in NOT_IN_PROOF or key not in shares:
            continue
        aft = plain_part(rung.part) in ("aft closure", "nozzle")
        pressure = _one(rung.pressure) * shares[key]
        rungs.append(ProofRung(rung.mode, rung.part, rung.kind, pressure, not aft, _one(rung.band[0])))
    rungs.sort(key=lambda rung: math.inf if math.isnan(rung.pressure) else rung.pressure)
    wanted = PROOF_FACTOR * expected
    loaded = [rung for rung in rungs if rung.kind != "advice"]
    plugged = _allowed(wanted, loaded)
    return Proof(plugged, wanted, tuple(rungs), _allowed(wanted, [rung for rung in loaded if rung.unplugged]))


def _allowed(wanted: float, rungs: list[ProofRung]) -> float:
    """What the gauge may show with these rungs loaded. [Pa]"""
    return min([wanted, *(rung.most / (1.0 + GAUGE_ERROR) for rung in rungs if not math.isnan(rung.most))])


def gas_energy(pressure: float, volume: float, gamma: float, ambient: float) -> float:
    """What a gas gives off when it expands to ambient without heat lost. [J]

    Parameters
    ----------
    pressure : float
        p, absolute. [Pa]
    volume : float
        V [m3].
    gamma : float
        γ [-].
    ambient : float
        p_a, absolute. [Pa]

    Returns
    -------
    float
        [J].

    Notes
    -----
    pV/(γ − 1)·(1 − (p_a/p)^((γ − 1)/γ)); ideal gas, isentropic.

    References
    ----------
    Derived.

    Examples
    --------
    >>> round(gas_energy(10e6, 1e-3, 1.4, 101325.0))
    18268
    """
    return float(pressure * volume / (gamma - 1.0) * (1.0 - (ambient / pressure) ** ((gamma - 1.0) / gamma)))


def water_energy(pressure: float, volume: float) -> float:
    """What pressed water gives off, the stretch of the case left out. [J]

    Parameters
    ----------
    pressure : float
        p, over ambient. [Pa]
    volume : float
        V [m3].

    Returns
    -------
    float
        [J].

    Notes
    -----
    p²V/(2K); linear compression.

    References
    ----------
    Derived.

    Examples
    --------
    >>> round(water_energy(10e6, 1e-3), 1)
    22.7
    """
    return pressure**2 * volume / (2.0 * WATER_BULK)


def plugged_motor(motors: Motors, temperature: float | None = None) -> Motors:
    """The motor at `temperature` and with its throat closed.

    Parameters
    ----------
    motors : Motors
        The motor, SI.
    temperature : float, optional
        Room temperature where not given. [K]

    Returns
    -------
    Motors
        SI.

    Notes
    -----
    The nozzle keeps its shape, so that no coefficient runs off. With a temperature the rubber is as cold as the water.
    """
    nozzle = replace(
        motors.nozzle,
        throat_diameter=np.asarray(motors.nozzle.throat_diameter) * _CLOSED,
        exit_diameter=np.asarray(motors.nozzle.exit_diameter) * _CLOSED,
    )
    at = None if temperature is None else np.array([temperature])
    case = None if motors.case is None else replace(motors.case, service_temperature=at)
    ambient = motors.ambient if at is None else replace(motors.ambient, soak=at[:, None])
    return replace(motors, nozzle=nozzle, case=case, ambient=ambient)


def _one(values: object) -> float:
    return float(np.ravel(np.asarray(values, dtype=float))[0])
