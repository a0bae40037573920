"""Burning-rate law from measured traces: scipy least squares on a kernel, with honest intervals, one firing or several.

Owns the parameters (rate, exponent, characteristic velocity, an erosive constant on request, one start of the clock a
firing), their covariance, and the new propellant file. Imports firing and physics.

How it goes. A first guess comes from inverting the trace: gas made up to a time is the throat area times the pressure
integral over c*, geometry turns that into web burnt, and the rate against pressure is a straight line in logarithms.
Least squares then move the parameters until the kernel's pressure history lies on the record. The rise is left out,
because the spread of the flame is not in any kernel; steep parts weigh less, because there a small error of the
clock is a large one of pressure. The measured throat area × pressure integral / mass stands beside the trace as one
more observation of c*.

What the interval covers. Noise and misfit, with the correlation of neighbouring samples (W. K. Newey and K. D. West,
Econometrica 55 (1987) 703, remembered), and the instrument's accuracy, as an error of span and as a bow. The motor
file's dimensions, density and mass are taken as exact.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from optimizer.cautions import Caution
from optimizer.firings import traces
from optimizer.firings.as_fired import motors_of, throat_of
from optimizer.firings.reduction import COVERAGE_FACTOR, Reduction, clean, foretold, reduce_firing
from optimizer.inputs import Firing, InputError, propellant_from_text, propellant_text
from optimizer.units import show, to_si
from physics.ballistics import grain, transient
from physics.ballistics import kernel as kernels
from physics.ballistics.erosion import erosion
from physics.motors import Array, Curve, Motors

FEWEST = 30
"""Samples that a fit needs of each firing, between the rise and the tail-off."""
NARROW = 0.05
"""Pressures that span less than this share say little about the exponent."""
CLOCK = 0.002
"""Error allowed to the clock, as a share of the action time."""
KNEE = 0.005
"""Error allowed to the end of burning read off a trace, as a share of the action time; for the steady kernel."""
EXPONENTS = (-0.9, 0.98)
KNOWN = {"rate": 0.3, "exponent": 0.4, "characteristic_velocity": 0.3}
"""Half of a 95 % interval (of the value; of the exponent itself) past which a record has said nothing; our judgement."""
MOST_CLIPPED, WORST_MISFIT = 0.1, 0.12
"""Share of the burn that may sit on one highest reading, and misfit over the peak, past which there is no fit."""
FIRST_AND_LAST_ROW = (1e3, 1e9)
"""Pressures between which the kernel burns a law that is tried. [Pa]"""
MISFIT, MISFIT_OVER_NOISE = 0.01, 2.0
"""A misfit (root mean square over the peak) that is said where it is also so many times the noise."""
_KEPT = 6
"""Parameter sets of which a fit keeps the histories: a step that is refused goes back to one of the last."""
LIKELY_EXPONENTS = (0.0, 0.7)
"""Exponents outside these are said: production propellants lie at 0.2 to 0.6 (Sutton & Biblarz, 7th ed., 11.1)."""
COARSE_TO_FINE: tuple[Mapping[str, Any], ...] = ({"stations": 2, "tolerance": 1.6e-2, "web_steps": 30}, {})
"""Options of the transient kernel while a fit looks for its place, and when it settles."""
ERODED_RATES, ERODED_EXPONENTS, ERODED_CONSTANTS = (0.65, 0.75, 0.85, 1.0), (0.2, 0.35, 0.5), (0.5, 1.0, 2.0, 4.0)
"""Where an erosive fit starts: parts of the inverted rate, exponents, multiples of the file's constant."""
EROSIVE_CONSTANT = {"mukunda-paul": "coefficient", "lenoir-robillard": "alpha"}
"""The constant of each erosive law that a fit may move."""


@dataclass(frozen=True)
class Series:
    """Measured against predicted for one firing; (T,) each, Pa on the record's clock.

    `before` is what the motor file's own propellant predicts, `predicted` the fitted one; NaN where the kernel has
    ended.
    `used` flags the samples that the fit looked at.
    """

    name: str
    time: Array
    measured: Array
    predicted: Array
    before: Array
    used: NDArray[np.bool_]


@dataclass(frozen=True)
class Fit:
    """A rate law r = rate·(p/at)^exponent at the propellant's reference temperature, SI.

    `names` orders `covariance`, which is of the values themselves (m/s, -, m/s, …). `pressure_range` is what the
    firings covered while burning; outside it the law is not known.
    """

    rate: float
    at: float
    exponent: float
    characteristic_velocity: float
    erosive_constant: tuple[str, float] | None
    names: tuple[str, ...]
    covariance: Array
    pressure_range: tuple[float, float]
    misfit: float
    samples: int
    kernel: str
    firings: tuple[str, ...]
    series: tuple[Series, ...]
    before: Mapping[str, float]

    @property
    def standard_error(self) -> dict[str, float]:
        """One standard error of each parameter, in its own unit."""
        return {name: float(math.sqrt(self.covariance[i, i])) for i, name in enumerate(self.names)}

    @property
    def correlation(self) -> float:
        """Correlation of rate and exponent."""
        return float(self.covariance[0, 1] / math.sqrt(self.covariance[0, 0] * self.covariance[1, 1]))

    def interval(self, name: str) -> tuple[float, float]:
        """95 % interval of a parameter."""
        value = self.value(name)
        half = COVERAGE_FACTOR * self.standard_error[name]
        return value - half, value + half

    def value(self, name: str) -> float:
        """A parameter by its name in `names`."""
        if self.erosive_constant is not None and name == self.erosive_constant[0]:
            return self.erosive_constant[1]
        return float(getattr(self, name))

    def as_json(self) -> dict[str, Any]:
        """The `fit` object of `reduce --json`."""
        return {
            "rate": self.rate,
            "at": self.at,
            "exponent": self.exponent,
            "characteristic_velocity": self.characteristic_velocity,
            "erosive_constant": None if self.erosive_constant is None else dict([self.erosive_constant]),
            "standard_error": self.standard_error,
            "interval": {name: list(self.interval(name)) for name in self.names},
            "interval_coverage": 0.95,
            "correlation": self.correlation,
            "parameters": list(self.names),
            "covariance": self.covariance.tolist(),
            "pressure_range": list(self.pressure_range),
            "misfit": self.misfit,
            "samples": self.samples,
            "kernel": self.kernel,
            "firings": list(self.firings),
            "before": dict(self.before),
        }


@dataclass(frozen=True)
class Learned:
    """One or more firings reduced, and the law fitted to all of them; `fit` is None with the reason in `cautions`."""

    reductions: tuple[Reduction, ...]
    fit: Fit | None
    cautions: tuple[Caution, ...]

    def as_json(self, told: Sequence[Reduction | None] = ()) -> dict[str, Any]:
        """The object of `reduce --json`; of several firings the first stands on top and all are under `firings`.

        `told` are the predictions of the motor files as fired, in the same order.
        """
        objects = [reduction.as_json() for reduction in self.reductions]
        for one, foretell in zip(objects, told, strict=False):
            one["predicted"] = {key: clean(value) for key, value in foretold(foretell).items()}
        top = dict(objects[0])
        top["fit"] = None if self.fit is None else self.fit.as_json()
        top["cautions"] = top["cautions"] + [{"about": item.about, "text": item.text} for item in self.cautions]
        if len(objects) > 1:
            top["firings"] = [
                {key: item[key] for key in ("firing", "measured", "uncertainty", "predicted", "cautions") if key in item}
                for item in objects
            ]
        return top


def propellant_file(learned: Learned, name: str = "") -> str:
    """The fitted law as a propellant file (TOML text), with where its numbers come from.

    Each fitted number has the digits that its interval supports: what is rounded off is a twentieth of its half width or
    less. Density, gas properties and temperature sensitivity stay those of the motor file; the weighed mass, where given, is
    in the density. Raises ValueError when nothing was fitted, NoFit where the file would not read back.
    """
    fit, first = learned.fit, learned.reductions[0].firing
    motors = motors_of(first)
    if fit is None or motors is None or first.motor is None:
        raise ValueError("nothing was fitted, so there is no propellant file to write")
    document = {key: value for key, value in first.motor.propellant_document.items() if key not in ("rate", "use", "provenance")}
    half = {one: COVERAGE_FACTOR * error for one, error in fit.standard_error.items()}
    document["characteristic_velocity"] = _supported(fit.characteristic_velocity, half["characteristic_velocity"], "m/s")
    if "propellant_mass" in first.measured:
        document["density"] = f"{float(np.ravel(motors.propellant.density)[0]):.5g} kg/m^3"
    if fit.erosive_constant is not None:
        key, value = fit.erosive_constant
        constant = float(_supported(value, half[key], ""))
        document["erosive_constants"] = {**document.get("erosive_constants", {}), key: constant}
    low, high = (_supported(pressure, 0.01 * pressure, "MPa") for pressure in fit.pressure_range)
    row = {"rate": _supported(fit.rate, half["rate"], "mm/s"), "exponent": float(_supported(fit.exponent, half["exponent"], ""))}
    document["rate"] = [{"from": low, "to": high, "at": fit.at, **row}]
    text = propellant_text(
        document,
        name or f"{first.motor.propellant_document.get('name', first.motor.name)}, re-fitted",
        _provenance(learned, fit),
    )
    _read_back(text, fit)
    return text


def _supported(value: float, half: float, unit_text: str) -> str:
    """A number in a unit with the digits that an interval of this half width supports.

    >>> _supported(0.0064056464, 0.00007, "mm/s"), _supported(0.35981, 0.0077, "")
    ('6.406 mm/s', '0.3598')
    """
    scale = float(to_si(1.0, unit_text)) if unit_text else 1.0
    step = math.floor(math.log10(max(half / scale, 1e-12 * abs(value / scale), 1e-300))) - 1
    number = f"{value / scale:.{max(-step, 0)}f}"
    return f"{number} {unit_text}" if unit_text else number


def _read_back(text: str, fit: Fit) -> None:
    """Raise NoFit where the file would be refused, or would not come to the fit within a tenth of its interval."""
    try:
        law = propellant_from_text(text, "the re-fitted propellant").propellant
    except InputError as error:
        raise NoFit(f"the file that it would make is refused: {error.problems[0].key} {error.problems[0].problem}") from None
    read = {"rate": law.rate, "exponent": law.exponent, "characteristic_velocity": law.characteristic_velocity}
    for name, value in read.items():
        if abs(float(np.ravel(value)[0]) - fit.value(name)) > 0.1 * COVERAGE_FACTOR * fit.standard_error[name]:
            raise NoFit(f"the file that it would make reads back another {name}")


def _provenance(learned: Learned, fit: Fit) -> dict[str, str]:
    errors = fit.standard_error
    records = [
        f"{item.name} (record {item.firing.record.name if item.firing.record else 'none'}, {item.firing.digest[:12]})"
        for item in learned.reductions
    ]
    half = {name: COVERAGE_FACTOR * errors[name] for name in errors}
    return {
        "method": f"least squares on the {fit.kernel} kernel, {fit.samples} samples, misfit {100 * fit.misfit:.2f} % of the peak",
        "firings": "; ".join(records),
        "rate": f"{show(fit.rate, 'rate')} +- {show(half['rate'], 'rate')} at {show(fit.at, 'pressure')} (95 %)",
        "exponent": f"{fit.exponent:.4f} +- {half['exponent']:.4f} (95 %), correlation with the rate {fit.correlation:+.2f}",
        "characteristic_velocity": f"{show(fit.characteristic_velocity, 'characteristic_velocity')} +- "
        f"{show(half['characteristic_velocity'], 'characteristic_velocity')} (95 %)",
        "pressure_range": f"{show(fit.pressure_range[0], 'pressure')} to {show(fit.pressure_range[1], 'pressure')} "
        f"was fired; outside it the law is a guess",
        "others": "density, gas properties and temperature sensitivity as in the motor file fired",
    }


class NoFit(Exception):
    """Why a fit cannot be made, in words for a caution."""


def _settled(fit: Fit) -> None:
    """Raise NoFit where the least squares ended in a law that the records do not hold."""
    low, high = EXPONENTS
    if not low + 0.01 < fit.exponent < high - 0.01:
        raise NoFit(f"the exponent runs into the end of what was tried ({fit.exponent:.2f}); the records do not hold one")
    for name, most in KNOWN.items():
        half = COVERAGE_FACTOR * fit.standard_error[name]
        share = half if name == "exponent" else half / fit.value(name)
        if not share < most:
            word = name.replace("_", " ")
            raise NoFit(
                f"the {word} is only known to ± {share:.2g}{'' if name == 'exponent' else ' of itself'} (95 %): the records "
                "say too little of it; fit together with a firing at another Kn"
            )
    if fit.misfit > WORST_MISFIT:
        raise NoFit(
            f"the best law misses the trace by {100 * fit.misfit:.0f} % of the peak (root mean square): this motor did not "
            "make this record"
        )


def learn(firings: Sequence[Firing], kernel: str | None = None, erosive: bool = False) -> Learned:
    """Reduce firings and fit the burning-rate law to all of them together; a law that would not read back is no fit.

    Parameters
    ----------
    firings : sequence of Firing
        Of one propellant; the first one's motor file names it.
    kernel : str
        "transient" (also for None) or "steady".
    erosive : bool
        Whether the constant of the propellant's erosive law is fitted too.

    Raises
    ------
    InputError
        When a record cannot be read.
    """
    reductions = tuple(reduce_firing(firing) for firing in firings)
    try:
        fit, notes = fit_rate(reductions, kernel or "transient", erosive)
        learned = Learned(reductions, fit, tuple(notes))
        propellant_file(learned)
    except NoFit as why:
        return Learned(reductions, None, (Caution("no fit", f"The burning rate was not fitted: {why}"),))
    return learned


def fit_rate(reductions: Sequence[Reduction], kernel: str = "transient", erosive: bool = False) -> tuple[Fit, list[Caution]]:
    """The burning-rate law that puts the kernel's pressure on the measured traces.

    Raises NoFit, with the reason, when the motor files or the records lack what it needs.
    """
    targets = [_target(reduction, kernel) for reduction in reductions]
    problem = replace(_problem(targets, kernel, erosive), options=COARSE_TO_FINE[0])
    point = _first_guess(problem)
    # Wide weights and the coarse kernel find the place, sharp weights and the fine kernel settle it.
    stages = COARSE_TO_FINE if kernel == "transient" else ({},)
    for options, far in [(stages[0], True), *((options, False) for options in stages)]:
        problem = replace(problem, options=options, far=far, burnt=problem.burnt if options is problem.options else {})
        point = _solved(problem, point)
    fit = _result(problem, point, kernel, reductions)
    _settled(fit)
    return fit, list(_notes(problem, fit))


def _solved(problem: _Problem, start: Array) -> Array:
    low, high = problem.bounds()
    if not np.all((start > low) & (start < high)):
        raise NoFit("the trace asks for a law that no propellant has; check mass, throat and units")
    # A step that gains less than a hundredth of one squared deviation moves nothing that the interval would notice.
    tolerance = 1e-3 if problem.far else 1e-5
    solved = least_squares(
        problem.residuals,
        start,
        jac=problem.jacobian,
        bounds=problem.bounds(),
        x_scale=problem.scales(),
        xtol=3e-6,
        ftol=tolerance,
        gtol=None,
        max_nfev=40,
    )
    if not np.all(np.isfinite(solved.x)) or solved.status < 0:
        raise NoFit("least squares found no law that the kernel can burn with")
    return np.asarray(solved.x)


# --- what is fitted --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Target:
    """The stretch of a record that a fit looks at: `time`, `pressure` and so on (T,), and the whole trace beside it.

    `head` says that the pressures were read at the head end and are compared with the kernel's there. `sigma` weighs a
    sample; `wide` weighs it while the search is still far off and edges must not rule.
    """

    reduction: Reduction
    motors: Motors
    time: Array
    pressure: Array
    sigma: Array
    wide: Array
    whole_time: Array
    whole_pressure: Array
    burnout: float
    burnout_error: float
    span: float
    peak: float
    characteristic_velocity: float
    characteristic_velocity_error: float
    head: bool = False

    @property
    def rise_end(self) -> float:
        """First time that is looked at. [s]"""
        return float(self.time[0])


def _target(reduction: Reduction, kernel: str) -> _Target:
    motors = motors_of(reduction.firing)
    if reduction.pressure is None:
        raise NoFit(f"{reduction.name} has no pressure channel")
    if motors is None:
        lacking = " and ".join(f"[{name}]" for name in reduction.firing.lacking)
        told = f"the motor file lacks {lacking}" if lacking else "the firing file names no motor"
        raise NoFit(f"{reduction.name}: {told}, so neither web nor mass is known")
    speed = reduction.measured.get("characteristic_velocity")
    if reduction.burnout is None or not speed or speed <= 0:
        raise NoFit(f"{reduction.name}: the record shows no distinct end of burning, so the web cannot be timed")
    head = reduction.head_pressure
    read = reduction.pressure if head is None else head
    known = np.isfinite(read)
    t, p = reduction.time[known], read[known]
    span = reduction.stop - reduction.start
    peak = float(np.max(traces.smooth(t, p, 0.02 * span)))
    smoothed = traces.smooth(t, p, 0.01 * span)
    slope = np.abs(np.gradient(smoothed, t))
    first = _rise_end(t, smoothed, reduction, span, peak)
    last = reduction.stop if kernel == "transient" else reduction.burnout - 0.015 * span
    inside = (t >= first) & (t <= last)
    flat = _clipped(reduction)[known]
    if int(np.count_nonzero(flat & inside)) > MOST_CLIPPED * max(int(np.count_nonzero(inside)), 1):
        share = 100.0 * np.count_nonzero(flat & inside) / np.count_nonzero(inside)
        raise NoFit(f"{reduction.name}: {share:.0f} % of the burn sits on one highest reading, so the pressure is not known there")
    inside = inside & ~flat
    if np.count_nonzero(inside) < FEWEST:
        raise NoFit(
            f"{reduction.name}: only {np.count_nonzero(inside)} samples between the rise and the tail-off; {FEWEST} are needed"
        )
    step = float(np.median(np.diff(t)))
    noise = max(reduction.pressure_noise, 2e-4 * peak)
    sigma = np.hypot(noise, slope * (CLOCK * span + 0.3 * step))
    error = 0.5 * (reduction.uncertainty.get("characteristic_velocity") or 0.0)
    return _Target(
        reduction=reduction,
        motors=_with_recession(motors, reduction),
        time=t[inside],
        pressure=p[inside],
        sigma=sigma[inside],
        wide=np.hypot(0.02 * peak, slope * 0.01 * span)[inside],
        whole_time=t,
        whole_pressure=p,
        burnout=reduction.burnout,
        span=span,
        peak=peak,
        burnout_error=max(KNEE * span, 0.5 * (reduction.uncertainty.get("burn_time") or 0.0)),
        characteristic_velocity=speed,
        characteristic_velocity_error=max(error, 2e-3 * speed),
        head=head is not None,
    )


def _clipped(reduction: Reduction) -> NDArray[np.bool_]:
    """Samples at which every pressure channel sits on its highest reading."""
    flags = [trace.clipped for trace in reduction.traces if trace.channel.kind == "pressure"]
    return np.asarray(np.all(np.stack(flags), axis=0))


def _with_recession(motors: Motors, reduction: Reduction) -> Motors:
    """The motor with the recession that its throat showed, where it was measured before and after."""
    after, before = reduction.firing.measured.get("throat_diameter_after"), throat_of(reduction.firing)
    if after is None or before is None or after <= before or reduction.pressure is None:
        return motors
    known = np.isfinite(reduction.pressure)
    t, p = reduction.time[known], np.maximum(reduction.pressure[known], 0.0)
    at = 1e6
    lasted = traces.integral(t, (p / at) ** 0.8, reduction.start, reduction.stop)
    values = {"nozzle.throat_recession": 0.5 * (after - before) / lasted, "nozzle.throat_recession_at": at}
    return motors.with_values({key: np.array([value]) for key, value in values.items()})


def _rise_end(time: Array, smoothed: Array, reduction: Reduction, span: float, peak: float) -> float:
    """Where the rise has slackened: less than one and a half peaks an action time, above 30 % of the peak."""
    slope = np.gradient(smoothed, time) * span / peak
    calm = (time > reduction.start) & (smoothed > 0.3 * peak) & (slope < 1.5)
    if not calm.any():
        raise NoFit(f"{reduction.name}: the trace has no stretch of steady burning")
    return float(time[np.argmax(calm)]) + 0.01 * span


@dataclass(frozen=True)
class _Problem:
    """Residuals and derivatives. Parameters: ln rate, exponent, ln c*, (ln erosive constant), a start a firing."""

    targets: Sequence[_Target]
    kernel: str
    at: float
    erosive: str | None
    erosive_start: float
    options: Mapping[str, Any] = field(default_factory=dict)
    far: bool = False
    burnt: dict[bytes, list[Curve]] = field(default_factory=dict)

    @property
    def shape(self) -> int:
        """Parameters that the kernel sees."""
        return 3 + (self.erosive is not None)

    def bounds(self) -> tuple[Array, Array]:
        """Lower and upper bounds of the parameters."""
        count = len(self.targets)
        low = [math.log(1e-5), EXPONENTS[0], math.log(200.0)] + [math.log(1e-12)] * (self.shape - 3) + [-np.inf] * count
        high = [math.log(1.0), EXPONENTS[1], math.log(4000.0)] + [math.log(1e6)] * (self.shape - 3) + [np.inf] * count
        return np.array(low), np.array(high)

    def scales(self) -> Array:
        """Sizes at which the parameters matter."""
        return np.array([0.01, 0.02, 0.01] + [0.1] * (self.shape - 3) + [0.01 * target.span for target in self.targets])

    def curves(self, points: Array) -> list[Curve]:
        """Kernel histories of each firing at each parameter set (k, parameters); the clocks do not matter here."""
        return [self._curve(target, points) for target in self.targets]

    def around(self, point: Array) -> list[Curve]:
        """The histories at a parameter set, first, and at steps to both sides of each parameter that the kernel sees.

        A kernel takes a batch in hardly more time than one motor, so what a fit will ask next is burnt beside what it
        asks now; the last few are kept.
        """
        key = point[: self.shape].tobytes()
        if key not in self.burnt:
            while len(self.burnt) >= _KEPT:
                del self.burnt[next(iter(self.burnt))]
            offsets = np.diag(self.steps)
            self.burnt[key] = self.curves(point[: self.shape] + np.concatenate([0.0 * offsets[:1], offsets, -offsets]))
        return self.burnt[key]

    @property
    def steps(self) -> Array:
        """Steps by which derivatives are taken, one a parameter that the kernel sees."""
        return np.array([1e-3, 2e-3, 1e-3] + [1e-2] * (self.shape - 3))

    def _curve(self, target: _Target, points: Array) -> Curve:
        motors = with_law(target.motors, points[:, 0], points[:, 1], points[:, 2], self.at)
        if self.erosive is not None:
            constants = {**motors.propellant.erosive_constants, self.erosive: np.exp(points[:, 3])}
            motors = replace(motors, propellant=replace(motors.propellant, erosive_constants=constants))
        return _history(motors, self.kernel, self.options)

    def residuals(self, point: Array) -> Array:
        """Weighted residuals of one parameter set."""
        return np.concatenate([
            self._one(target, curve, 0, point[self.shape + place], point)
            for place, (target, curve) in enumerate(zip(self.targets, self.around(point), strict=True))
        ])  # fmt: skip

    def jacobian(self, point: Array) -> Array:
        """Their derivatives by central differences."""
        count, steps = len(self.targets), self.steps
        offsets = np.diag(np.concatenate([steps, np.zeros(count)]))[: self.shape]
        points = np.concatenate([point[None, :], point + offsets, point - offsets])
        slopes = []
        for place, (target, curve) in enumerate(zip(self.targets, self.around(point), strict=True)):
            start, clock = point[self.shape + place], 1e-3 * target.span
            each = [self._one(target, curve, k, start, points[k]) for k in range(points.shape[0])]
            slope = np.zeros((each[0].size, point.size))
            for k in range(self.shape):
                slope[:, k] = (each[1 + k] - each[1 + self.shape + k]) / (2.0 * steps[k])
            later, sooner = (self._one(target, curve, 0, start + shift, point) for shift in (clock, -clock))
            slope[:, self.shape + place] = (later - sooner) / (2.0 * clock)
            slopes.append(slope)
        return np.concatenate(slopes)

    def _one(self, target: _Target, curve: Curve, k: int, start: float, point: Array) -> Array:
        predicted, end = _predicted(curve, k, target, start, hold=self.kernel == "steady")
        trace = (predicted - target.pressure) / (target.wide if self.far else target.sigma)
        speed = target.characteristic_velocity
        balance = (math.exp(point[2]) - speed) / target.characteristic_velocity_error
        extra = [balance]
        if self.kernel == "steady":
            # The steady history stops dead at burnout; its end is compared with the measured one.
            extra.append((end - target.burnout) / target.burnout_error)
        return np.concatenate([trace, extra])


def _history(motors: Motors, kernel: str, options: Mapping[str, Any]) -> Curve:
    try:
        if kernel == "transient":
            figures = transient.evaluate(motors, curve=True, **options)
        else:
            figures = kernels.evaluate(motors, kernel=kernel, curve=True)
    except RuntimeError as error:
        raise NoFit(f"the kernel gave up on a law that was tried ({error})") from None
    assert figures.curve is not None
    return figures.curve


def _predicted(curve: Curve, k: int, target: _Target, start: float, hold: bool) -> tuple[Array, float]:
    """Kernel pressure at the target's times, and the time at which the kernel's history ends."""
    known = np.isfinite(curve.time[k])
    t, p = curve.time[k][known] + start, _taken(curve, target)[k][known]
    if t.size < 2:
        return np.full(target.time.size, 1e9), start
    ambient = float(np.ravel(target.motors.ambient.pressure)[0])
    return np.interp(target.time, t, p, left=ambient, right=float(p[-1]) if hold else ambient), float(t[-1])


def _taken(curve: Curve, target: _Target) -> Array:
    """The kernel's pressure where the record was taken."""
    return curve.head_pressure if target.head else curve.chamber_pressure


def with_law(motors: Motors, log_rate: Array, exponent: Array, log_speed: Array, at: float) -> Motors:
    """Copies of a motor, one for each law: a single row r = rate·(p/at)^exponent, with its c*."""
    batch = motors.repeat(log_rate.size)
    column = np.ones((log_rate.size, 1))
    law = replace(
        batch.propellant,
        rate=np.exp(log_rate)[:, None],
        exponent=exponent[:, None],
        rate_at=at * column,
        rate_from=FIRST_AND_LAST_ROW[0] * column,
        rate_to=FIRST_AND_LAST_ROW[1] * column,
        characteristic_velocity=np.exp(log_speed),
    )
    return replace(batch, propellant=law)


def _problem(targets: Sequence[_Target], kernel: str, erosive: bool) -> _Problem:
    pressures = np.concatenate([target.pressure[target.time < target.burnout] for target in targets])
    middle = float(np.exp(np.mean(np.log(np.maximum(pressures, 1e4)))))
    at = float(f"{middle:.2g}")
    if not erosive:
        return _Problem(targets, kernel, at, None, 0.0)
    propellant = targets[0].motors.propellant
    if propellant.erosive not in EROSIVE_CONSTANT:
        raise NoFit("an erosive constant was asked for, but the propellant names no erosive law")
    if kernel != "transient":
        raise NoFit("an erosive constant can only be fitted with the transient kernel")
    name = EROSIVE_CONSTANT[propellant.erosive]
    start = erosion(propellant, targets[0].motors.ambient.temperature).constants[name]
    return _Problem(targets, kernel, at, name, float(np.ravel(start)[0]))


# --- a first guess ---------------------------------------------------------------------------------------------------


def _first_guess(problem: _Problem) -> Array:
    """Parameters by inverting the traces, clocks by laying the ends of burning on each other."""
    logs, rates, speeds = [], [], []
    for target in problem.targets:
        pressure, rate = inverted(target.reduction, target.motors, target.rise_end)
        logs.append(np.log(pressure / problem.at))
        shift = _temperature_shift(target.motors)
        rates.append(np.log(rate) - shift)
        speeds.append(target.characteristic_velocity)
    x, y = np.concatenate(logs), np.concatenate(rates)
    exponent, log_rate = _line(x, y)
    shape = np.array([log_rate, exponent, math.log(float(np.mean(speeds)))])
    tries = shape[None, :] if problem.erosive is None else _erosive_tries(shape, problem.erosive_start)
    return _best_try(problem, tries)


def _erosive_tries(shape: Array, constant: float) -> Array:
    """Laws to start from where crossflow is at work: the inverted rate has the erosion in it and is too high."""
    grid = np.array(list(product(ERODED_RATES, ERODED_EXPONENTS, ERODED_CONSTANTS)))
    speed = np.full(len(grid), shape[2])
    return np.stack([shape[0] + np.log(grid[:, 0]), grid[:, 1], speed, math.log(constant) + np.log(grid[:, 2])], axis=1)


def _best_try(problem: _Problem, tries: Array) -> Array:
    """The law with the smallest misfit over all firings, each on its own best clock."""
    clocks = np.zeros((len(tries), len(problem.targets)))
    misfits = np.zeros(len(tries))
    curves = problem.around(tries[0]) if len(tries) == 1 else problem.curves(tries)
    for place, (target, curve) in enumerate(zip(problem.targets, curves, strict=True)):
        for k in range(len(tries)):
            clocks[k, place], misfit = _best_start(target, curve, k, problem.kernel)
            misfits[k] += misfit
    best = int(np.argmin(misfits))
    if not np.isfinite(misfits[best]):
        raise NoFit("the first guess does not burn in the kernel")
    return np.concatenate([tries[best], clocks[best]])


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Slope and intercept of rates over pressures in logarithms; a range too narrow for a slope gets a middling one."""
    if np.ptp(x) > NARROW:
        slope, intercept = np.polyfit(x, y, 1)
        if 0.0 < slope < 0.85:
            return float(slope), float(intercept)
    return 0.35, float(np.mean(y) - 0.35 * np.mean(x))


def _temperature_shift(motors: Motors) -> float:
    propellant = motors.propellant
    shift = propellant.temperature_sensitivity * (motors.ambient.temperature - propellant.reference_temperature)
    return float(np.ravel(shift)[0])


def inverted(reduction: Reduction, motors: Motors, first: float) -> tuple[Array, Array]:
    """Pressure [Pa] and burning rate [m/s] straight from a trace, (T,) each, between `first` and burnout.

    Gas made is A_t·∫p dt/c* with c* from the whole trace, so instrument span cancels out of the rate; geometry gives
    web and area. Quasi-steady, one pressure for all grains. Source: mass balance, as in R. Nakka's burn rate from a
    pressure-time trace (read at second hand).
    """
    assert reduction.pressure is not None and reduction.burnout is not None
    known = np.isfinite(reduction.pressure)
    t, p = reduction.time[known], reduction.pressure[known]
    span = reduction.stop - reduction.start
    p = traces.smooth(t, p, 0.02 * span)
    burning = np.where((t >= reduction.start - 0.02 * span) & (t <= reduction.stop), np.maximum(p, 0.0), 0.0)
    share = np.concatenate([[0.0], np.cumsum(0.5 * (burning[1:] + burning[:-1]) * np.diff(t))])
    share /= share[-1]
    x = np.linspace(0.0, float(np.max(grain.web(motors.grain))), 801)
    left = np.array([float(np.sum(grain.volume(motors.grain, at))) for at in x])
    area = np.array([float(np.sum(grain.burning_area(motors.grain, at))) for at in x])
    total = left[0]
    web = np.interp(share * total, total - left, x)
    inside = (t > first) & (t < reduction.burnout - 0.03 * span)
    made = np.gradient(share * total, t)
    surface = np.interp(web, x[:-1], area[:-1])
    rate = made[inside] / surface[inside]
    good = (rate > 0) & (p[inside] > 0)
    if np.count_nonzero(good) < 5:
        raise NoFit(f"{reduction.name}: the trace gives no burning rate")
    return p[inside][good], rate[good]


def _best_start(target: _Target, curve: Curve, k: int, kernel: str) -> tuple[float, float]:
    """Start of the clock with the smallest misfit, round the one that lines up the ends of burning; and the misfit."""
    known = np.isfinite(curve.time[k])
    t, p = curve.time[k][known], _taken(curve, target)[k][known]
    if t.size < 2:
        return 0.0, math.inf
    end = float(t[np.flatnonzero(p >= 0.5 * np.max(p))[-1]])
    falling = target.whole_pressure >= 0.5 * target.peak
    measured = float(target.whole_time[np.flatnonzero(falling)[-1]])
    starts = measured - end + np.linspace(-0.05, 0.05, 41) * target.span
    misfits = []
    for start in starts:
        predicted, _ = _predicted(curve, k, target, start, kernel == "steady")
        misfits.append(float(np.mean(((predicted - target.pressure) / target.wide) ** 2)))
    best = int(np.argmin(misfits))
    return float(starts[best]), misfits[best]


# --- what it is worth ------------------------------------------------------------------------------------------------


def _result(problem: _Problem, point: Array, kernel: str, reductions: Sequence[Reduction]) -> Fit:
    jacobian, rows = problem.jacobian(point), problem.residuals(point)
    covariance = _covariance(problem, jacobian, rows, point)
    shape = problem.shape
    names = ["rate", "exponent", "characteristic_velocity"] + ([problem.erosive] if problem.erosive else [])
    values = np.concatenate([[math.exp(point[0]), point[1], math.exp(point[2])], np.exp(point[3:shape])])
    scale = np.where(np.arange(shape) == 1, 1.0, values)
    covariance = covariance[:shape, :shape] * scale[:, None] * scale
    burning = [target.pressure[target.time < target.burnout] for target in problem.targets]
    smooth_low = min(float(np.percentile(p, 1)) for p in burning)
    smooth_high = max(float(np.percentile(p, 99)) for p in burning)
    curves = problem.around(point)
    misfits = [
        (_predicted(curve, 0, t, point[shape + i], kernel == "steady")[0] - t.pressure)[t.time < t.burnout - 0.02 * t.span] / t.peak
        for i, (t, curve) in enumerate(zip(problem.targets, curves, strict=True))
    ]
    return Fit(
        rate=float(values[0]),
        at=problem.at,
        exponent=float(values[1]),
        characteristic_velocity=float(values[2]),
        erosive_constant=None if problem.erosive is None else (problem.erosive, float(values[3])),
        names=tuple(names),
        covariance=covariance,
        pressure_range=(smooth_low, smooth_high),
        misfit=float(np.sqrt(np.mean(np.concatenate(misfits) ** 2))),
        samples=sum(target.time.size for target in problem.targets),
        kernel=kernel,
        firings=tuple(reduction.name for reduction in reductions),
        series=tuple(
            _series(t, curve, point[shape + i], problem) for i, (t, curve) in enumerate(zip(problem.targets, curves, strict=True))
        ),
        before=_before(problem.targets[0].motors, problem.at),
    )


def _covariance(problem: _Problem, jacobian: Array, rows: Array, point: Array) -> Array:
    """Sandwich covariance with correlated neighbours, at least that of plain noise, plus the instruments' accuracy."""
    inverse = np.asarray(np.linalg.pinv(jacobian.T @ jacobian), dtype=float)
    middle = np.zeros_like(inverse)
    place, count = 0, 0
    extra = 2 if problem.kernel == "steady" else 1
    for target in problem.targets:
        scores = jacobian[place : place + target.time.size] * rows[place : place + target.time.size, None]
        middle += correlated(scores, rows[place : place + target.time.size])
        place += target.time.size
        alone = jacobian[place : place + extra]
        middle += alone.T @ alone
        place, count = place + extra, count + target.time.size
    sandwich = inverse @ middle @ inverse * count / max(count - point.size, 1)
    spread = np.sqrt(np.maximum(np.diag(sandwich), np.diag(inverse)) / np.maximum(np.diag(sandwich), 1e-300))
    sandwich = sandwich * spread[:, None] * spread
    return np.asarray(sandwich + _instrument(problem, jacobian, inverse))


def correlated(scores: Array, residuals: Array) -> Array:
    """Long-run covariance of the scores (T, k) where neighbours are correlated.

    Whitened by the residuals' own first-order correlation, summed with Bartlett weights over the reach that Andrews
    gives for what is left, and coloured again (D. W. K. Andrews and J. C. Monahan, Econometrica 60 (1992) 953,
    remembered). Without the whitening the intervals would be too narrow where a trace wanders slowly.
    """
    rho = traces.correlation_of(residuals)
    white = scores[1:] - rho * scores[:-1]
    left = traces.correlation_of(residuals[1:] - rho * residuals[:-1])
    alpha = 4.0 * left**2 / ((1.0 - left) ** 2 * (1.0 + left) ** 2)
    reach = int(min(1.1447 * (alpha * len(white)) ** (1.0 / 3.0), len(white) / 8)) + 1
    total = white.T @ white
    for lag in range(1, reach + 1):
        cross = white[lag:].T @ white[:-lag]
        total = total + (1.0 - lag / (reach + 1.0)) * (cross + cross.T)
    return np.asarray(total / (1.0 - rho) ** 2)


def _instrument(problem: _Problem, jacobian: Array, inverse: Array) -> Array:
    """What the instruments add: an error of span and a bow, alike in all firings, and each firing's own zero."""
    sizes = [target.time.size + (2 if problem.kernel == "steady" else 1) for target in problem.targets]
    places = np.concatenate([[0], np.cumsum(sizes)])
    span, bow = np.zeros(places[-1]), np.zeros(places[-1])
    patterns = [span, bow]
    for target, first in zip(problem.targets, places[:-1], strict=True):
        here = slice(int(first), int(first) + target.time.size)
        balance = int(first) + target.time.size
        bound = (target.reduction.pressure_bound or 0.0) / math.sqrt(3.0)
        share = target.pressure / target.peak
        span[here], bow[here] = bound * share / target.sigma, bound * 4.0 * share * (1.0 - share) / target.sigma
        # The measured c* is made of the same pressures, so it moves with them.
        mean = float(np.mean(target.pressure))
        per_pressure = target.characteristic_velocity / target.characteristic_velocity_error / mean
        span[balance] = bound * float(np.mean(share)) * per_pressure
        bow[balance] = bound * float(np.mean(4.0 * share * (1.0 - share))) * per_pressure
        zero = np.zeros(places[-1])
        zero[here] = target.reduction.pressure_zero_error / target.sigma
        zero[balance] = target.reduction.pressure_zero_error * per_pressure
        patterns.append(zero)
    total = np.zeros_like(inverse)
    for pattern in patterns:
        shift = inverse @ (jacobian.T @ pattern)
        total += np.outer(shift, shift)
    return total


def _series(target: _Target, curve: Curve, start: float, problem: _Problem) -> Series:
    def on_record(history: Curve, at: float) -> Array:
        known = np.isfinite(history.time[0])
        t, p = history.time[0][known] + at, _taken(history, target)[0][known]
        return np.asarray(np.interp(target.whole_time, t, p, left=np.nan, right=np.nan))

    before = _history(target.motors, problem.kernel, problem.options)
    used = (target.whole_time >= target.time[0]) & (target.whole_time <= target.time[-1])
    return Series(
        name=target.reduction.name,
        time=target.whole_time,
        measured=target.whole_pressure,
        predicted=on_record(curve, start),
        before=on_record(before, start),
        used=used,
    )


def _before(motors: Motors, at: float) -> dict[str, float]:
    """The motor file's own law at the fit's pressure."""
    from physics.ballistics.propellant import burning_rate

    propellant = motors.propellant
    step = 1.001
    low, high = (
        float(np.ravel(burning_rate(propellant, np.array([p]), np.asarray(propellant.reference_temperature)))[0])
        for p in (at / step, at * step)
    )
    return {
        "rate": math.sqrt(low * high),
        "exponent": math.log(high / low) / (2.0 * math.log(step)),
        "characteristic_velocity": float(np.ravel(propellant.characteristic_velocity)[0]),
    }


def _notes(problem: _Problem, fit: Fit) -> list[Caution]:
    notes = []
    low, high = fit.pressure_range
    notes.append(
        Caution(
            "range of the fit",
            f"The law is known from {show(low, 'pressure')} to {show(high, 'pressure')} and for the grain "
            "temperature of the firing; outside that it is a guess.",
        )
    )
    if high < (1.0 + 3.0 * NARROW) * low:
        notes.append(
            Caution(
                "narrow range",
                "The firing covers too little pressure to say much of the exponent; fit it together with one at another Kn.",
            )
        )
    if not LIKELY_EXPONENTS[0] < fit.exponent < LIKELY_EXPONENTS[1]:
        notes.append(
            Caution(
                "unlikely exponent",
                f"An exponent of {fit.exponent:.2f} is outside what propellants usually show; more likely the "
                "grains or the throat of the motor file are not those that were fired.",
            )
        )
    noise = max(target.reduction.pressure_noise / target.peak for target in problem.targets)
    if fit.misfit > max(MISFIT, MISFIT_OVER_NOISE * noise):
        notes.append(
            Caution(
                "misfit",
                f"The fitted curve misses the trace by {100 * fit.misfit:.1f} % of the peak (root mean square): the "
                "kernel leaves something out (slow ignition, erosive burning, a throat that moves, uneven grains). "
                "Read the law with care.",
            )
        )
    if abs(fit.correlation) > 0.95:
        notes.append(Caution("correlated", "Rate and exponent can trade against each other here; use them together or not at all."))
    unknown = [target for target in problem.targets if not any(one.channel.place for one in target.reduction.traces)]
    ratio = max((_head_ratio(target.motors) for target in unknown), default=1.0)
    if ratio > 1.02:
        notes.append(
            Caution(
                "where the transducer sits",
                f"Head pressure is up to {100 * (ratio - 1):.0f} % above chamber pressure in this motor; the record "
                "is taken as chamber pressure. A transducer at the head end reads high at first, and the fitted law "
                'leans with it: say which with place = "head" or "chamber" in the pressure column.',
            )
        )
    return notes


def _head_ratio(motors: Motors) -> float:
    return float(np.ravel(kernels.evaluate(motors, kernel="steady")["head_pressure_ratio"])[0])
