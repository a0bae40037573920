"""One look at a batch of motors: figures, maximum expected pressure, failure ladder, masses, assembly and fit together.

Owns `assess`, which every command that judges a motor goes through, so that a search, a check and a comparison can
never disagree. Imports the rest of physics.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.assembly import Assembly, assemble, impossible_shapes
from physics.ballistics import kernel as kernels
from physics.failure.ladder import ADVICE, assess_ladder
from physics.fit import fit
from physics.flight.mission import Flights, fly_motors
from physics.heat.summary import HeatSummary, heat_summary
from physics.mass import masses, unknown_masses
from physics.missing import NotComputable
from physics.motors import Array, Figures, Ladder, Motors, Situation


@dataclass(frozen=True)
class Skin:
    """The airframe's skin where it touches the case: what it bears, `limit` [K], and how hot the case's outside gets at the
    `place` where it can get hottest: `likely` and at its `hottest`, in the worse limit of the liner [K]; NaN where that is
    not assessed.
    """

    limit: float
    likely: float
    hottest: float
    place: str

    @property
    def ok(self) -> bool | None:
        """Whether the skin bears it; None where that is not assessed."""
        return None if np.isnan(self.hottest) else bool(self.hottest <= self.limit)


@dataclass(frozen=True)
class Assessment:
    """What is known of a batch of motors; arrays are (n,) in SI units.

    `assembly` says where every part sits and how much of the case is left. `fit` is None without an airframe or without a
    case. `unknown_masses` lists the parts whose mass the file does not give. `flight` is None without a rocket. `heat` is
    what a single motor's outside and liner do, None where it was not asked for or nothing can be told.
    """

    motors: Motors
    figures: Figures
    maximum_expected_pressure: Array
    ladder: Ladder
    masses: Mapping[str, Array]
    unknown_masses: tuple[str, ...]
    fit: Mapping[str, Array | NDArray[np.bool_] | None] | None
    assembly: Assembly
    flight: Flights | None = None
    heat: HeatSummary | None = None

    @property
    def smallest_factor(self) -> Array:
        """Smallest factor over the rungs that are pressures and no advice (definition), (n,); NaN where there is none. [-]"""
        return self._governing()[0]

    @property
    def governing(self) -> list[str]:
        """The rung of the smallest factor of each motor, as "mode, part", or an empty text where there is none."""
        return self._governing()[1]

    def _governing(self) -> tuple[Array, list[str]]:
        rungs = [rung for rung in self.ladder.rungs if rung.pressure is not None and rung.kind != ADVICE]
        size = self.motors.size
        if not rungs:
            return np.full(size, np.nan), [""] * size
        factors = np.stack([np.broadcast_to(rung.factor, (size,)) for rung in rungs])
        lowest = np.nanmin(np.where(np.isnan(factors), np.inf, factors), axis=0)
        names = [f"{rung.mode}, {rung.part}" for rung in rungs]
        index = np.argmin(np.where(np.isnan(factors), np.inf, factors), axis=0)
        return np.where(np.isfinite(lowest), lowest, np.nan), [names[i] for i in index]

    @property
    def skin(self) -> Skin | None:
        """The airframe's skin of a single motor, by the hottest of the case's outsides in either limit of the liner.

        None where the file does not say what the skin bears. Validity: that of the outside temperatures, whose case stands in
        free air; inside a tube it cools more slowly. Source: the heat model.
        """
        rocket = self.motors.rocket
        if rocket is None or rocket.skin_limit is None:
            return None
        limit = float(np.ravel(rocket.skin_limit)[0])
        likely = {} if self.heat is None else {one.place: float(np.ravel(one.readings.peak)[0]) for one in self.heat.outside}
        peaks = [] if self.heat is None else [(max(likely[one.place], one.low, one.high), one.place) for one in self.heat.outside]
        hottest, place = max(peaks, default=(np.nan, ""))
        return Skin(limit, likely.get(place, np.nan), hottest, place)

    @property
    def described(self) -> NDArray[np.bool_]:
        """Whether the kernels describe the motor at all, (n,): where the port chokes, their pressures are not valid."""
        return ~np.broadcast_to(np.asarray(self.figures.flags["port_choked"], dtype=bool), (self.motors.size,))

    @property
    def fits(self) -> NDArray[np.bool_]:
        """Whether the motor can be built and put in its airframe, as far as either is assessed, (n,).

        Its stack goes into its case, it breaks no rule of geometry (`impossible_shapes`), and it has the room it wants.
        """
        good = self.assembly.fits.copy()
        for which in impossible_shapes(self.motors).values():
            good &= ~which
        if self.fit is not None:
            good &= np.broadcast_to(np.asarray(self.fit["ok"], dtype=bool), good.shape)
        return good

    @property
    def ok(self) -> NDArray[np.bool_]:
        """Whether the motor is `described`, every rung assessed reaches its required factor, and the motor fits, (n,).

        A motor without a maximum expected pressure, one corner of its tolerances having no equilibrium, is not.
        """
        good = self.described & self.fits & np.isfinite(np.broadcast_to(self.maximum_expected_pressure, (self.motors.size,)))
        for rung in self.ladder.rungs:
            good &= np.broadcast_to(rung.ok, good.shape)
        return good


def assess(motors: Motors, kernel: str = "steady", curve: bool = False, marching: bool = True) -> Assessment:
    """Everything about a batch of motors: figures, maximum expected pressure, ladder, masses, fit.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    kernel : str
        "steady" or "transient".
    curve : bool
        Whether the figures carry histories, and what heat does is told of a single motor.
    marching : bool
        Whether the modes that march heat are asked too; without them their rungs are absent, and `ok` is silent on them.

    Raises
    ------
    ValueError
        For a kernel that does not exist.

    Notes
    -----
    Validity is that of the kernel and of each rung; flags and `not_assessed` say where it ends. Source: the parts.
    """
    # The heat rungs read the histories, so they are always made: a batch and a single motor then agree to the last
    # digit.
    figures, expected = kernels.burnt(motors, kernel, curve=True)
    assembly = assemble(motors)
    weights = masses(motors)
    flown = motors.rocket is not None and motors.launch is not None
    kept: dict[str, Any] = {}
    return Assessment(
        motors=motors,
        figures=figures if curve else replace(figures, curve=None),
        maximum_expected_pressure=expected,
        ladder=assess_ladder(motors, figures, expected, marching, burn=partial(kernels.evaluate, kernel=kernel), kept=kept),
        masses=weights,
        unknown_masses=tuple(unknown_masses(motors)),
        fit=None if motors.airframe is None or motors.case is None else fit(motors, assembly),
        assembly=assembly,
        flight=fly_motors(motors, figures, weights, assembly, track=curve, band=curve) if flown else None,
        heat=_heat(motors, Situation("", figures, expected, kept)) if curve and marching and motors.size == 1 else None,
    )


def _heat(motors: Motors, situation: Situation) -> HeatSummary | None:
    """What heat does to a single motor, None where nothing can be told; SI."""
    try:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            return heat_summary(motors, situation)
    except NotComputable:
        return None
