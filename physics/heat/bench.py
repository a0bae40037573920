"""What a bench burn of a liner says of the full motor, place by place.

Owns the loads on a liner that must be matched, the burn of a grain without a nozzle, the verdict, and what a liner
measured after a test says of the model. With the same
propellant, liner stock, bonding and fit a bench burn covers a place of the full motor where it is as hard on it: the heat
that the front takes and its peak (recession), the time exposed at the same thickness (charring), the shear of the flow
(char torn off), the pressure (fit, leaks behind the liner), and where the place exists at all. Long and mild does not
stand for short and hot: a burn in the open over-tests charring and tests nothing else.

Sources: similarity of the equations of `physics.heat.liner`, derived here; the margin is judgement. Imports physics.grain,
heat, the heat files below it, motors and propellant.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from physics.ballistics import grain
from physics.ballistics.propellant import burning_rate
from physics.constants import GAS_CONSTANT
from physics.heat import liner as liners
from physics.heat import marches, places, walls
from physics.heat.conduction import STEFAN_BOLTZMANN
from physics.heat.places import REMAINING
from physics.missing import NotComputable
from physics.motors import Array, Curve, Figures, LinerFactors, Motors, Situation

ENOUGH = 0.95
"""Ratio of bench to full motor from which a load counts as matched: judgement."""

COVERED, CHARRING, NOT_COVERED = "covered", "covered for charring only", "not covered"

RATIOS = ("recession", "peak flux", "exposed time", "shear", "pressure", "tube")


@dataclass(frozen=True)
class Load:
    """What a place of a single motor's liner bears, SI.

    `recession` [J/m2] is what the front takes, film less blowing and radiation, `peak` its highest [W/m2], `exposed` [s],
    `fourier` the exposed time over e²/a [-], `shear` the highest G²/ρ [Pa], `pressure` the highest [Pa], `tube` the heat
    capacity behind it [J/(m2 K)], `web` of the grains beside a joint [m].
    """

    recession: float
    peak: float
    exposed: float
    fourier: float
    shear: float
    pressure: float
    tube: float
    web: float


@dataclass(frozen=True)
class Covered:
    """The verdict on one place, the ratios bench over full by name (of `RATIOS`), and what would cover it."""

    place: str
    verdict: str
    ratios: Mapping[str, float] = field(default_factory=dict)
    needs: str = ""


def open_burn(motors: Motors) -> Figures:
    """The burn of a batch without a nozzle, at ambient pressure: what the gas side reads of it, SI.

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Figures
        Its burn with histories, SI.

    Notes
    -----
    All grains burn at the rate of ambient pressure; derived from the rate law, which a file seldom covers so low.
    """
    pressure = np.broadcast_to(np.asarray(motors.ambient.pressure, dtype=float), (motors.size,))
    rate = burning_rate(motors.propellant, pressure[:, None], np.asarray(motors.ambient.temperature))[:, 0]
    webs = np.broadcast_to(grain.web(motors.grain), (motors.size, grain.web(motors.grain).shape[1]))
    last = webs.max(axis=1)
    regression = last[:, None] * np.linspace(0.0, 1.0, 201)
    parts = [np.broadcast_to(part, webs.shape)[:, :, None] for part in grain.area_coefficients(motors.grain)]
    x = regression[:, None, :]
    area = np.where(x <= webs[:, :, None], parts[0] + x * (parts[1] + x * parts[2]), 0.0).sum(axis=1)
    if motors.grain.caps:
        tall = motors.grain.mapped(lambda leaf: np.atleast_2d(leaf)[:, :, None])
        area = grain.burning_area(tall, x * (1.0 - 1e-12)).sum(axis=1)
    density = np.broadcast_to(np.asarray(motors.propellant.density, dtype=float), (motors.size,))
    flow = density[:, None] * np.maximum(area, 0.0) * rate[:, None]
    time = regression / rate[:, None]
    level = np.broadcast_to(pressure[:, None], time.shape)
    nothing = np.zeros_like(time)
    end = time[:, -1]
    mass = np.trapezoid(flow, time, axis=1)
    values = {
        "burn_time": end,
        "action_time": end,
        "mean_pressure": pressure,
        "peak_pressure": pressure,
        "peak_head_pressure": pressure,
        "propellant_mass": mass,
    }
    curve = Curve(time, level, level, nothing, flow, nothing, nothing, regression, nothing)
    return Figures({name: np.array(value) for name, value in values.items()}, {}, "steady", curve)


def loads(motors: Motors, figures: Figures) -> dict[str, Load]:
    """What each place of a single motor's liner bears in its burn, by place; places that it lacks are left out.

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    figures : Figures
        How it burns, with histories: of its own kernel, or of `open_burn`.

    Returns
    -------
    dict[str, Load]
        By place.

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    `figures` with their histories, of the motor's own kernel or of `open_burn`; SI.
    """
    situation = Situation("", figures)
    at = places.setting(motors, situation, held=False)
    hot = places.liner_of(motors)
    sleeve = marches.sleeve(at, hot, places.LIKELY)
    step = np.diff(at.now.time, axis=0)
    density = at.now.pressure * at.gas.molar_mass / (GAS_CONSTANT * at.gas.temperature)
    count = walls.grain_rows(motors)
    web = float(np.max(np.where(count[0] > 0.0, 0.5 * (count[2] - count[3]), 0.0)))
    tube = float(np.ravel(sleeve.case_thickness * sleeve.case_heat)[0])
    found = {}
    for place in places.places_of(motors):
        film, glow = places.films(at, places.LIKELY)[place]
        taken = _taken(sleeve, film, glow, at.gas.temperature, at.gas.specific_heat)
        exposed = float((((film + glow) > 0.0) * step).sum())
        fourier = exposed * float(
            np.ravel(sleeve.conductivity / (sleeve.density * sleeve.specific_heat * np.maximum(sleeve.thickness, 1e-9) ** 2))[0]
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            shear = np.where(density > 0.0, at.fluxes[place] ** 2 / density, 0.0) * (film > 0.0)
        found[place] = Load(
            float((taken * step).sum()),
            float(taken.max()),
            exposed,
            fourier,
            float(shear.max()),
            float(at.now.pressure.max()),
            tube,
            web,
        )
    return found


def _taken(sleeve: liners.Sleeve, film: Array, glow: Array, gas: Array, blown: Array) -> Array:
    """What the receding front takes in each step, film less blowing and radiation, (steps, n). [W/m2]"""
    total = sleeve.heat + sleeve.specific_heat * (sleeve.front - sleeve.start)
    radiant = glow * STEFAN_BOLTZMANN * (gas**4 - sleeve.front**4)
    rate = liners.recession_rate(sleeve.density, total, film, gas - sleeve.front, blown, radiant)
    return np.asarray(np.where(film + glow > 0.0, sleeve.density * rate * total, 0.0))


def coverage(full: Mapping[str, Load], bench: Mapping[str, Load], in_case: bool = True) -> tuple[Covered, ...]:
    """Which places of the full motor a bench burn covers.

    Parameters
    ----------
    full, bench : Mapping
        Loads by place, from `loads`; the bench's burn without a nozzle from `open_burn`.
    in_case : bool
        Whether the bench's liner stood in a case as the full motor's does; without one pressure and fit are not tested.

    Returns
    -------
    tuple of Covered
        In the order of the full motor's places; ratios are bench over full [-].

    Notes
    -----
    Holds for the same propellant, liner stock, bonding and fit, which is the builder's to see to. A thinner liner on the
    bench, in proportion to the heat, tests recession only. Source: derived; see the module.
    """
    return tuple(_covered(place, load, bench.get(place), in_case) for place, load in full.items())


def _covered(place: str, full: Load, bench: Load | None, in_case: bool) -> Covered:
    if bench is None:
        needs = "two grains at least, so that there is a joint" if place == "joint" else "a burn that has this place"
        return Covered(place, NOT_COVERED, {}, needs)
    pairs = {
        "recession": (bench.recession, full.recession),
        "peak flux": (bench.peak, full.peak),
        "exposed time": (bench.fourier, full.fourier),
        "shear": (bench.shear, full.shear),
        "pressure": (bench.pressure if in_case else 0.0, full.pressure),
        "tube": (bench.tube, full.tube),
    }
    ratios = {name: one / other if other > 0.0 else 1.0 for name, (one, other) in pairs.items()}
    if full.exposed <= 0.0:
        return Covered(place, COVERED, ratios, "the full motor's wall is never bare here")
    slot = place != "joint" or bench.web >= ENOUGH * full.web
    charring = ratios["exposed time"] >= ENOUGH and slot
    short = [name for name in RATIOS[:2] + RATIOS[3:5] if ratios[name] < ENOUGH]
    if charring and not short:
        return Covered(place, COVERED, ratios)
    return Covered(place, CHARRING if charring else NOT_COVERED, ratios, _needs(short, ratios, slot, charring))


def _needs(short: list[str], ratios: Mapping[str, float], slot: bool, charring: bool) -> str:
    """What the bench would have to do for this place."""
    parts = []
    if not slot:
        parts.append("grains of the same web")
    if not charring and ratios["exposed time"] < ENOUGH:
        parts.append(f"a burn {1.0 / max(ratios['exposed time'], 1e-9):.2g} times as long")
    flow = [name for name in short if name in ("recession", "peak flux", "shear")]
    if flow:
        parts.append(f"the full motor's flow past this place ({', '.join(f'{name} {ratios[name]:.2f}' for name in flow)})")
    if "pressure" in short:
        parts.append("the full motor's pressure, in a case")
    return "; ".join(parts)


READING = 0.05e-3
"""How well a depth is measured with a caliper on char: common practice, no source. A smaller loss counts as this. [m]"""

CARRIED = {COVERED: REMAINING, CHARRING: 2.5, NOT_COVERED: 2.5}
"""Factor either way that stays of the predicted depth, by the verdict on the place: judgement."""


@dataclass(frozen=True)
class Measured:
    """A liner measured at one place of a test: depths lost and predicted [m], `factor` measured over predicted [-].

    `gone`: nothing was left, so that the factor is the least that it can be.
    """

    place: str
    lost: float
    predicted: float
    factor: float
    gone: bool = False


def predicted_loss(motors: Motors, figures: Figures) -> dict[str, float]:
    """Depth that the likely liner of a single motor loses in its burn, worn or charred, by place. [m]

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    figures : Figures
        How it burns, with histories: of its own kernel, or of `open_burn`.

    Returns
    -------
    dict[str, float]
        By place [m].

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    `figures` with their histories, of the motor's own kernel or of `open_burn`. What tests have measured of this liner
    is left aside.

    References
    ----------
    `physics.heat.liner`.
    """
    if motors.liner is None:
        raise NotComputable("[liner] is not given")
    plain = replace(motors, liner=replace(motors.liner, measured=None))
    wanted = [(place, places.LIKELY) for place in places.places_of(plain)]
    found = marches.marched(plain, Situation("", figures), False, wanted)
    thickness = float(walls.per_motor(plain, motors.liner.thickness)[0])
    return {place: thickness - float(history.left[-1, 0]) for (place, _), history in found.items()}


def measured_factors(motors: Motors, figures: Figures, lost: Mapping[str, float]) -> tuple[Measured, ...]:
    """What a liner measured after a test says of the model, place by place of a single motor.

    Parameters
    ----------
    motors, figures : Motors, Figures
        What burned, and how; figures with their histories.
    lost : Mapping
        Depth lost by place, what is charred counted as lost [m].

    Returns
    -------
    tuple of Measured
        In the order of `places.PLACES`; a place of which the model predicts no loss that could be read is left out.

    Notes
    -----
    A loss under `READING` counts as that. One burn, one thickness, another film: of a factor of 2.5 either way about
    1.4 stays (judgement). Raises NotComputable naming what is missing.

    References
    ----------
    Derived: one factor on the depth at each place.
    """
    predicted = predicted_loss(motors, figures)
    liner = motors.liner
    assert liner is not None  # predicted_loss has refused it
    thickness = float(walls.per_motor(motors, liner.thickness)[0])
    found = []
    for place in places.PLACES:
        if place not in lost or predicted.get(place, 0.0) < READING:
            continue
        depth = max(lost[place], READING)
        gone = depth >= thickness - READING
        found.append(Measured(place, lost[place], predicted[place], depth / predicted[place], gone))
    return tuple(found)


def carried(measured: Measured, verdict: str) -> tuple[float, float] | None:
    """What of a measured factor goes over to the full motor: the factor, and by what factor either way it may be off. [-]

    Parameters
    ----------
    measured : Measured
        What was measured at a place.
    verdict : str
        On that place, of `coverage`.

    Returns
    -------
    tuple[float, float] or None
        Factor, and by what factor either way it may be off [-]; None where nothing goes over.

    Notes
    -----
    Where the test was as hard on the place as the full motor is, all of it. Where it was not, only what makes the liner
    worse than predicted, and with the whole scatter: a mild burn that went well says nothing of a hard one. None where
    nothing goes over. Judgement.
    """
    if verdict != COVERED and measured.factor <= 1.0:
        return None
    return measured.factor, CARRIED[verdict]


def with_factors(motors: Motors, factors: Mapping[str, tuple[float, float]]) -> Motors:
    """The batch with factors on the depth of its liner by place, each with what it may be off either way. [-]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    factors : Mapping[str, tuple[float, float]]
        By place: the factor, and by what factor either way it may be off [-].

    Returns
    -------
    Motors
        The batch with them.

    Notes
    -----
    Those that the file has of other places stay; of two for one place the later stands. By definition.
    """
    liner = motors.liner
    if liner is None or not factors:
        return motors
    known = liner.measured or LinerFactors()
    columns: dict[str, Array] = {}
    for place, (factor, within) in factors.items():
        name = places.MEASURED_NAMES[place]
        columns |= {name: np.full(motors.size, factor), f"{name}_within": np.full(motors.size, within)}
    return replace(motors, liner=replace(liner, measured=replace(known, **columns)))
