"""Limits and objectives as columns.

Owns what a study asks of a candidate: bounds on figures, on masses and on dimensions, required factors of the failure
ladder, the airframe and the impulse target; and what it aims for. Limits are hard: there is no tolerance, and NaN
never passes. May import inputs, vocabulary and physics.

What is always enforced, beside the study's own limits: the fit in the airframe, where the motor file names one; a
port that is not choked (beyond that the kernels do not describe the motor); and the required factor of every rung of
the ladder that can be assessed, because a design that `check` would refuse is no answer. `minimum_factor` replaces the
required factor of its mode. A mode named there that cannot be assessed for the base motor is an error.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer.vocabulary import CHANCE
from physics.figures import FLIGHT_FIGURES
from physics.flight.mission import COLDEST, Flights
from physics.flight.trajectory import FLIGHT_FLAGS
from physics.motors import Motors

if TYPE_CHECKING:
    from optimizer.inputs import Study

Floats = NDArray[np.float64]

MASS_PARTS = ("propellant", "case", "liner", "forward_closure", "aft_closure", "nozzle")
MASS_NAMES = frozenset(f"{part}_mass" for part in MASS_PARTS if part != "propellant") | {
    "loaded_mass",
    "propellant_mass_fraction",
}
FIT_NAMES = ("clearance", "length_clearance")
CHOKED = "port choked (outside the model)"
OUTSIDE = "outside the model"
OUTSIDE_SCATTERED = "outside the model under the tolerances"
FLIGHT_REFUSED = "flight refused"
RAIL_EXIT = "rail_exit_speed"
FIT = "airframe fit"
STACK = "stack too long for the case"
FIT_WIDTH = "airframe fit, inner diameter"
FIT_LENGTH = "airframe fit, length"
TARGET = "target impulse"
ALIASES = {
    "maximum_pressure": "maximum_expected_pressure",
    TARGET: "total_impulse",
    FIT: "clearance",
    FIT_WIDTH: "airframe.inner_diameter",
    FIT_LENGTH: "airframe.length",
}
"""Limits that bear another name than the quantity they bound."""
UNFLOWN = {
    "never_moves": "flight: never moves",
    "never_leaves_rail": "flight: never leaves the rail",
    "apogee_under_thrust": "flight: apogee under thrust",
}
"""What a rejection is called by the flags of a flight that none may have."""
REASONS = {
    **{name: FLIGHT_FLAGS[flag] for flag, name in UNFLOWN.items()},
    CHOKED: "the gas reaches the speed of sound in the port: no throat may be as wide as the port before it",
    OUTSIDE: "the propellant's rate law gives no steady pressure there, or the motor goes out",
    STACK: "rings, plate, grains and nozzle, placed one behind the other, are longer than the case",
    "grains longer than the case": "the grains, all together, are longer than the case",
    "grain without length": "hardly any length, or none, is left for a grain",
    "core as wide as the grain": "a core leaves no propellant",
    "throat wider than the exit": "a nozzle's exit is narrower than its throat",
    "grain wider than the bore": "the grains do not go into the liner",
    "wall leaves no bore": "the wall of the tube is thicker than its radius",
}
"""What a builder is told of a reason that rules a candidate out before any limit is asked."""
SCATTER_SEED = 1
"""The points of `spread` with its own seed, so that a search says the same of a motor."""
MINIMUM_FACTOR = "minimum_factor."
REQUIRED = "required_factor."


@dataclass(frozen=True)
class Bound:
    """A limit on one column: `name` is what a rejection is called, `quantity` the column."""

    name: str
    quantity: str
    minimum: float | None = None
    maximum: float | None = None
    open_minimum: bool = False

    def fails(self, values: Floats) -> NDArray[np.bool_]:
        """Which values lie outside; NaN does."""
        values = np.asarray(values, dtype=float)
        good = ~np.isnan(values)
        if self.minimum is not None:
            good &= values > self.minimum if self.open_minimum else values >= self.minimum
        if self.maximum is not None:
            good &= values <= self.maximum
        return ~good

    def excess(self, values: Floats) -> Floats:
        """How far outside, as a part of the bound: 0 inside, positive outside, infinite where NaN."""
        values = np.asarray(values, dtype=float)
        beyond = np.zeros(values.shape)
        if self.minimum is not None:
            beyond = np.maximum(beyond, (self.minimum - values) / _scale(self.minimum))
        if self.maximum is not None:
            beyond = np.maximum(beyond, (values - self.maximum) / _scale(self.maximum))
        # On the open end itself nothing is missing, and yet it does not pass.
        beyond = np.where(self.fails(values), np.maximum(beyond, np.finfo(float).tiny), 0.0)
        return np.where(np.isnan(values), np.inf, beyond)


@dataclass(frozen=True)
class Miss:
    """One limit missed: what the candidate has (`value`), the bound, and by how much as a part of the bound.

    `kernel` is named where it is not the one that screens.
    """

    limit: str
    value: float
    bound: float
    side: str
    excess: float
    kernel: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The change of this limit that would let the candidate pass."""
        known = {"limit": self.limit, "bound": self.bound, "value": self.value, "side": self.side}
        return known | ({"kernel": self.kernel} if self.kernel else {})


def miss(bound: Bound, value: float, kernel: str = "") -> Miss:
    """How one candidate with `value` misses a bound."""
    low = bound.minimum is not None and value <= bound.minimum
    edge = bound.minimum if low else bound.maximum
    side = "min" if low else "max"
    if np.isnan(value):
        edge, side = (bound.maximum, "max") if bound.minimum is None else (bound.minimum, "min")
    return Miss(bound.name, value, float(edge or 0.0), side, float(bound.excess(np.array(value))), kernel)


@dataclass(frozen=True)
class Aim:
    """One objective: a column and whether more of it is better."""

    name: str
    more: bool

    def minimised(self, values: Floats) -> Floats:
        """The values with the sign that makes smaller better."""
        return -values if self.more else values


@dataclass(frozen=True)
class Scattered:
    """A column that tells what the tolerances do: a percentile of a quantity, or the chance of failure."""

    name: str
    quantity: str
    percentile: float = 50.0

    @property
    def of_ladder(self) -> bool:
        """Whether it takes the ladder of every sample, and so every dimension of the motor."""
        return self.quantity in (CHANCE, "smallest_factor")


@dataclass(frozen=True)
class Rules:
    """Everything a study asks, sorted by what it takes to know it.

    `figures`, `dimensions` and `masses` are bounds; `factors` are required factors by mode, replacing those of the
    motor file; `smallest_factor` is a bound on the smallest factor, if there is one; `aims` are the objectives.
    `scatter` are the columns over the tolerances that bounds and aims name, `scattered` the bounds on them; `flights` are
    bounds on figures of the rocket's flight.
    """

    figures: tuple[Bound, ...]
    dimensions: tuple[Bound, ...]
    masses: tuple[Bound, ...]
    smallest_factor: Bound | None
    factors: Mapping[str, float]
    aims: tuple[Aim, ...]
    scattered: tuple[Bound, ...] = ()
    scatter: tuple[Scattered, ...] = ()
    flights: tuple[Bound, ...] = ()

    @property
    def flown(self) -> tuple[str, ...]:
        """Figures of the flight that bounds and aims name."""
        asked = (*(bound.quantity for bound in self.flights), *(aim.name for aim in self.aims))
        return tuple(dict.fromkeys(name for name in asked if name in FLIGHT_FIGURES))

    @property
    def bounds(self) -> tuple[Bound, ...]:
        """All bounds on columns."""
        extra = () if self.smallest_factor is None else (self.smallest_factor,)
        return (*self.figures, *self.dimensions, *self.masses, *self.scattered, *self.flights, *extra)


def _outside(motors: Motors, fit: Mapping[str, Any] | None) -> Any:
    if motors.case is not None:
        return motors.case.outer_diameter
    return np.atleast_2d(motors.grain.outer_diameter).max(axis=1)


def _length(motors: Motors, fit: Mapping[str, Any] | None) -> Any:
    if motors.case is not None and motors.case.length is not None:
        return motors.case.length
    return (np.atleast_2d(motors.grain.count) * np.atleast_2d(motors.grain.length)).sum(axis=1)


def _room(name: str) -> Callable[[Motors, Mapping[str, Any] | None], Any]:
    return lambda motors, fit: np.nan if fit is None or fit.get(name) is None else fit[name]


DIMENSION_COLUMNS: dict[str, Callable[[Motors, Mapping[str, Any] | None], Any]] = {
    "outer_diameter": _outside,
    "motor_length": _length,
    "expansion_ratio": lambda motors, fit: (motors.nozzle.exit_diameter / motors.nozzle.throat_diameter) ** 2,
    "grain_length": lambda motors, fit: np.atleast_2d(motors.grain.length)[:, 0],
    **{name: _room(name) for name in FIT_NAMES},
}
"""What follows from the dimensions alone, by the name that limits and objectives use: (motors, fit) to SI, (n,)."""
DIMENSIONS = DIMENSION_COLUMNS.keys()


def rules_of(study: Study) -> Rules:
    """The rules of a study."""
    figures: list[Bound] = []
    dimensions: list[Bound] = []
    masses: list[Bound] = []
    scattered: list[Bound] = []
    flights: list[Bound] = []
    smallest: Bound | None = None
    if study.target is not None:
        figures.append(Bound(TARGET, "total_impulse", study.target[0], study.target[1], study.target_open))
    for limit in study.limits:
        bound = Bound(limit.name, limit.quantity or ALIASES.get(limit.name, limit.name), limit.minimum, limit.maximum)
        if _is_scattered(limit):
            scattered.append(replace(bound, quantity=limit.name))
        elif bound.quantity in FLIGHT_FIGURES:
            flights += _flight_bounds(bound)
        elif bound.quantity == "smallest_factor":
            smallest = bound
        elif bound.quantity in MASS_NAMES:
            masses.append(bound)
        elif bound.quantity in DIMENSIONS:
            dimensions.append(bound)
        else:
            figures.append(bound)
    aims = tuple(Aim(aim.name, aim.sense == "max") for aim in study.objectives)
    columns = (_scattered(item) for item in (*study.limits, *study.objectives) if _is_scattered(item))
    return Rules(tuple(figures), tuple(dimensions), tuple(masses), smallest, dict(study.minimum_factor), aims,
                 tuple(scattered), tuple(dict.fromkeys(columns)), tuple(flights))  # fmt: skip


def _flight_bounds(bound: Bound) -> list[Bound]:
    """A least rail exit speed holds with the propellant at the coldest soak temperature; a highest one as it is."""
    if bound.quantity != RAIL_EXIT or bound.minimum is None:
        return [bound]
    least = replace(bound, quantity=COLDEST, maximum=None)
    return [least] if bound.maximum is None else [least, replace(bound, name=f"{bound.name}, most", minimum=None)]


def flight_fails(rules: Rules, flights: Flights, missing: Sequence[str], size: int) -> dict[str, NDArray[np.bool_]]:
    """What keeps motors from being flown, and the limits and objectives that their flights do not meet, by name, (n,).

    `missing` are the parts whose mass is not known, for which no flight is reckoned.
    """
    if flights.refused is not None:
        return {f"{FLIGHT_REFUSED}: {'; '.join(missing)}": np.ones(size, dtype=bool)}
    fails = {name: np.asarray(flights.flags[flag], dtype=bool) for flag, name in UNFLOWN.items()}
    fails |= {bound.name: bound.fails(flights.figures[bound.quantity]) for bound in rules.flights}
    for name in rules.flown:
        if any(aim.name == name for aim in rules.aims):  # what is not known cannot be ranked
            fails[f"{name} not known"] = ~np.isfinite(flights.figures[name])
    return fails


def _is_scattered(asked: Any) -> bool:
    """Whether a limit or objective asks what the tolerances do."""
    return asked.percentile is not None or asked.quantity == CHANCE


def _scattered(asked: Any) -> Scattered:
    column = Scattered(asked.name, asked.quantity)
    return column if asked.percentile is None else replace(column, percentile=asked.percentile)


def objective_columns(aims: Sequence[Aim], columns: Mapping[str, Floats]) -> Floats:
    """The objectives (n, m), all to be minimised."""
    return np.stack([aim.minimised(np.asarray(columns[aim.name], dtype=float)) for aim in aims], axis=1)


def dimension_columns(motors: Motors, fit: Mapping[str, Any] | None) -> dict[str, Floats]:
    """Every dimension of `DIMENSION_COLUMNS`; `fit` is the room in the airframe, if there is one. SI, (n,)."""
    columns = {name: column(motors, fit) for name, column in DIMENSION_COLUMNS.items()}
    return {name: np.broadcast_to(np.asarray(value, dtype=float), (motors.size,)) for name, value in columns.items()}


def mass_columns(masses: Mapping[str, Floats]) -> dict[str, Floats]:
    """Masses under the names that limits and objectives use. kg, (n,)."""
    columns = {f"{part}_mass": masses[part] for part in MASS_PARTS if part in masses}
    columns["loaded_mass"] = masses["loaded"]
    with np.errstate(invalid="ignore", divide="ignore"):
        columns["propellant_mass_fraction"] = masses["propellant"] / masses["loaded"]
    return columns


def _scale(bound: float) -> float:
    return abs(bound) if bound != 0.0 else 1.0
