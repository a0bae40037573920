"""A liner looked at after a test: what it lost, place by place, against what was predicted, and what stickers outside say.

Imports the tests, units and physics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.inputs.evidence import Spot
from optimizer.inputs.firing import Firing
from optimizer.units import show
from physics.heat import bench
from physics.heat.places import place_at, places_of
from physics.heat.summary import outside_peaks
from physics.motors import Figures, Motors, Situation

BESIDE = 20.0
"""By how much a reading over both limits is more than their error; 60 s of heat run 65 mm along an aluminium tube. [K]"""
BREACHED = 150.0 + 273.15
"""A sticker over this, and over what either limit of the liner gives, tells of gas that came through: judgement. [K]"""


@dataclass(frozen=True)
class Inspected:
    """One place of a liner after a test: `measured` and, of what goes over to the full motor, factor and `within`."""

    test: str
    measured: bench.Measured
    verdict: str
    carried: tuple[float, float] | None

    def as_json(self) -> dict[str, Any]:
        """Plain data, SI."""
        one = self.measured
        return {
            "test": self.test,
            "place": one.place,
            "lost": one.lost,
            "predicted": one.predicted,
            "factor": one.factor,
            "at_least": one.gone,
            "carried": self.carried is not None,
            "within": None if self.carried is None else self.carried[1],
        }

    def words(self, units: str) -> str:
        """In a line: what was measured, and what it means for the full motor."""
        one = self.measured
        said = f"{self.test}: {one.place}, {factor_words(one, units)}"
        if self.carried is None:
            return f"{said}; not carried over: the place is {self.verdict}, and a milder test that goes well says nothing"
        within = self.carried[1]
        return (
            f"{said}; counted from here on, {within:g} times either way left. For the motor file: [[liner.measured]] "
            f'place = "{one.place}", factor = {one.factor:.3g}, within = {within:g}'
        )


def factor_words(one: bench.Measured, units: str) -> str:
    """What was lost and predicted, and the factor between them."""
    lost, predicted = (show(value, "length", units) for value in (one.lost, one.predicted))
    least = "at least " if one.gone else ""
    return f"{lost} lost, {predicted} predicted: {least}{one.factor:.2g} times the predicted depth"


def losses(motors: Motors, after: Iterable[Spot], before: Mapping[float, float] | None = None) -> dict[str, float]:
    """The deepest loss at each place [m]; without any measured before it is from the thickness of the motor file."""
    found: dict[str, float] = {}
    liner = motors.liner
    if liner is None:
        return found
    new = float(np.ravel(liner.thickness)[0])
    for spot in after:
        place = spot.place or place_at(motors, spot.position)
        was = before.get(spot.position, math.nan) if before and not spot.place else new
        lost = max(was - spot.value, 0.0) if math.isfinite(was) else math.nan
        if math.isfinite(lost):
            found[place] = max(found.get(place, 0.0), lost)
    return found


def losses_of(firing: Firing) -> dict[str, float]:
    """The same of a firing file; empty where it names no motor or measured no liner."""
    if firing.motor is None:
        return {}
    spots = (Spot("", position, thickness) for position, thickness in firing.liner_after)
    return losses(firing.motor.motors, spots, dict(firing.liner_before))


def inspected(
    test: str, motors: Motors, figures: Figures, lost: Mapping[str, float], verdicts: Mapping[str, str]
) -> tuple[Inspected, ...]:
    """What a liner measured after a test says, and what of it goes over to the full motor by the verdict on each place.

    Raises NotComputable naming what is missing.
    """
    found = []
    for one in bench.measured_factors(motors, figures, lost):
        verdict = verdicts.get(one.place, bench.NOT_COVERED)
        found.append(Inspected(test, one, verdict, bench.carried(one, verdict)))
    return tuple(found)


def sticker_rows(test: str, motors: Motors, figures: Figures, stickers: Iterable[Spot], units: str) -> list[dict[str, Any]]:
    """Each sticker beside what was predicted there, and what it says of the liner. SI.

    Raises NotComputable naming what is missing.
    """
    rows = []
    for spot in stickers:
        place = spot.place or place_at(motors, spot.position)
        if place not in places_of(motors):
            continue
        likely, stripped, stays = outside_peaks(motors, Situation("", figures), place)
        rows.append(
            {
                "test": test,
                "place": place,
                "read": spot.value,
                "likely": likely,
                "stripped": stripped,
                "stays": stays,
                "says": _says(spot.value, stripped, stays, units),
            }
        )
    return rows


def _says(read: float, stripped: float, stays: float, units: str) -> str:
    """What a reading says: whether gas came through, and which limit the liner followed; never what is left of it."""
    if read > max(BREACHED, stripped, stays):
        return "hotter than either limit of the liner gives: gas came through there"
    cold, warm = (show(value, "temperature", units) for value in (stripped, stays))
    limits = f"({cold} with all char stripped, {warm} with all of it staying)"
    if read > max(stripped, stays) + BESIDE:
        return f"warmer than either limit of the liner gives {limits}: heat that ran along the tube from a hotter place, or gas"
    if abs(stripped - stays) < 10.0:
        return f"as both limits of the liner give {limits}; it does not tell which"
    which = "carried off" if abs(read - stripped) < abs(read - stays) else "stayed"
    return f"nearer to char that {which} {limits}; what is left it does not tell, a cool tube is no proof"
