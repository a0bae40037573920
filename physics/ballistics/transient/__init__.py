"""The transient kernel: what a pressure transducer would show, from ignition to blow-down.

Owns the time integration of chamber filling and emptying with quasi-steady port flow, erosive burning, uneven
regression, throat recession and the ends of the burn. Imports numpy, `physics.assembly`, `physics.constants`,
`physics.ballistics.erosion`, `physics.motors`, `physics.ballistics.nozzle`, `physics.ballistics.port`,
`physics.ballistics.propellant`.

Model
-----
- d(ρ_g·V)/dt = ρ·Σ A_b·r − ṁ, ρ_g = p/(R·T) with constant R·T = (c*·Γ)²; p is the stagnation pressure at the nozzle
  entry and stands for the whole free volume in the storage term. ṁ = p·A_t/c*, less by the isentropic factor where
  p/p_ambient is below critical. The whole bare surface burns from t = 0; the chamber starts at ambient pressure (1 kPa
  at least). The igniter's own gas is not modelled. Asked for, the flame runs along the grains from the head end at a stated
  speed instead, each surface burning from when it has come by: `start_up` sets the two beside each other.
- Free volume V: inside of the liner from plate to nozzle, the convergent too, less propellant; without a case or its
  length, the cores alone; one throat diameter of throat area at least. See `free_volume`.
- Port flow: `physics.ballistics.port`. Gas is taken up by storage in proportion to where it is made, so that the flow through a
  station is the share of the burning surface upstream of it. Each grain has `stations` cells of its own regression,
  and each bare face one. With one bare end it is the nozzle end.
- Local rate: r(p_static) at the station's own static pressure, raised by the erosive law of `physics.ballistics.erosion`
  (`rate_pressure="chamber"` gives every surface the chamber pressure instead, the lumped motor). Where rows of the
  rate law meet at a jump, the law is joined across ±0.05 % of pressure.
- Throat: dR/dt = recession·(p/throat_recession_at)^0.8, the exponent of turbulent heat and mass transfer.
- Thrust: `physics.ballistics.nozzle.thrust` with the expansion ratio of the moment.

Numerics
--------
Two-stage, second-order, L-stable diagonally implicit Runge–Kutta (γ = 1 − 1/√2), each motor with its own step. The
unknown is the mass that has left; pressure follows from the mass left in the free volume, so mass is conserved by
construction as far as the stages converge, and filling may be as stiff as it likes. The step is set by the curvature of
log p, by the web and by the next burnout, on which it lands. All motors of a block advance together as columns.

No compiled loops. Measured on two cores with numba 0.68: the sweep along the port alone, four grains of ten nodes, ran
56, 5.5 and 1.4 times as fast compiled as in numpy for 1, 16 and 128 motors; import and compilation took 2.9 s, more
than a whole check may take, and the compiler is some 200 MB to install. A single motor takes a third of a second here
and a search runs batches, where little is left to gain. `tests/benchmarks/transient_speed.py` prints what a batch gains
over one motor at a time and how that stands beside an adaptive lumped integration.

Sources: mass balance and isothermal chamber, Sutton & Biblarz, ch. 12 (remembered). L-stable SDIRK of order 2: R.
Alexander, SIAM J. Numer. Anal. 14 (1977) 1006 (remembered).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from physics.ballistics.transient.figures import curve_of, figures_of, thrusts
from physics.ballistics.transient.layout import Options, layout_of
from physics.ballistics.transient.march import marched
from physics.motors import Array, Curve, Figures, Motors


def evaluate(
    motors: Motors,
    curve: bool = False,
    *,
    stations: int = 8,
    tolerance: float = 6e-3,
    web_steps: int = 40,
    rate_pressure: str = "static",
    block: int = 512,
    histories: int | None = None,
) -> Figures:
    """Figures of every motor of a batch, as the steady kernel names them.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    curve : bool
        Whether to add the histories, (n, T).
    histories : int or None
        Where given, of the first so many motors alone.
    stations : int
        Cells along each grain.
    tolerance : float
        Bound on h²·(ln p)''/2 in a step of h. [-]
    web_steps : int
        Least number of steps over the thinnest web.
    rate_pressure : str
        "static", or "chamber" for the lumped motor.
    block : int
        Motors that advance together; it changes speed alone.

    Returns
    -------
    Figures
        (n,) each, SI; every figure is NaN of a motor that needs more than 20,000 steps.

    Raises
    ------
    ValueError
        For an option out of range.

    Notes
    -----
    Model, validity and sources stand in the head of this file.
    """
    if rate_pressure not in ("static", "chamber"):
        raise ValueError(f"rate_pressure {rate_pressure!r}: expected 'static' or 'chamber'")
    if stations < 1 or web_steps < 1 or block < 1 or not tolerance > 0.0:
        raise ValueError("stations, web_steps and block must be at least 1 and tolerance above 0")
    options = Options(stations, tolerance, web_steps, rate_pressure, block)
    return _evaluated(motors, options, (motors.size if histories is None else histories) if curve else 0)


def lit_along(motors: Motors, spread_speed: float, curve: bool = False) -> Figures:
    """Figures of every motor of a batch with the flame running along the grains.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    spread_speed : float
        Of the flame from the head end on, infinite where the whole surface lights at once. [m/s]
    curve : bool
        Whether to add the histories, (n, T).

    Returns
    -------
    Figures
        As `evaluate` gives them, (n,) each, SI.

    Raises
    ------
    ValueError
        For a speed of 0 or less.

    Notes
    -----
    Each surface burns from when the flame has come by; an end burner, which has no port, lights at once. Source: derived.
    """
    if not spread_speed > 0.0:
        raise ValueError("spread_speed must be above 0")
    return _evaluated(motors, Options(spread_speed=spread_speed), motors.size if curve else 0)


def _evaluated(motors: Motors, options: Options, told: int) -> Figures:
    """The figures, and the histories of the first `told` motors."""
    block = options.block
    parts = [
        _evaluate_block(motors.take(slice(first, first + block)) if motors.size > block else motors, options, told - first)
        for first in range(0, max(motors.size, 1), block)
    ]
    return _joined(parts)


# --- the first moments ------------------------------------------------------------------------------------------------

WINDOW = 0.1
"""What counts as the first moments. [s]"""
RISEN = 0.9
"""Part of the pressure that the whole surface would hold at ignition, from which on a motor is said to be up."""


@dataclass(frozen=True)
class StartUp:
    """The first tenth of a second of a batch of n motors, lit in one way.

    `peak_pressure` and `peak_head_pressure` are the highest in it [Pa], `rise_time` [s] how long chamber pressure takes to
    `RISEN` of what the whole surface would hold at ignition, NaN where it never comes to that; (n,) each.
    """

    peak_pressure: Array
    peak_head_pressure: Array
    rise_time: Array


def start_up(motors: Motors, spread_speed: float = np.inf) -> StartUp:
    """The first tenth of a second with the flame running along the grains at a speed.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    spread_speed : float
        From the head end on; infinite, the default, lights the whole surface at once. [m/s]

    Returns
    -------
    StartUp
        Peaks and rise time.

    Notes
    -----
    The whole surface at once is the upper bound of the peak and the lower one of the rise time. The spread is a bound of the
    other kind only if the speed is one: nothing of how a motor is lit is modelled but that speed, no gas is added, and what
    burns behind the flame burns as in the steady part. Source: derived, the balance of the transient kernel.
    """
    found = lit_along(motors, spread_speed, curve=True)
    curve = found.curve
    assert curve is not None
    peaks = [_highest_until(curve.time, column, WINDOW) for column in (curve.chamber_pressure, curve.head_pressure)]
    level = RISEN * found["initial_pressure"][:, None]
    above = np.nan_to_num(curve.chamber_pressure, nan=-np.inf) >= level
    after = np.argmax(above, axis=1)
    rows, before = np.arange(motors.size), np.maximum(after - 1, 0)
    low, high = (curve.chamber_pressure[rows, place] for place in (before, after))
    early_time, late_time = (curve.time[rows, place] for place in (before, after))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(high > low, (level[:, 0] - low) / (high - low), 0.0)
    rise = np.where(above.any(axis=1), early_time + np.clip(share, 0.0, 1.0) * (late_time - early_time), np.nan)
    return StartUp(peaks[0], peaks[1], np.asarray(rise))


def _highest_until(time: Array, column: Array, end: float) -> Array:
    """Largest of a history up to a time, straight between its points, (n,)."""
    found = np.zeros(len(time))
    for row, known in enumerate(np.isfinite(time)):
        if known.any():
            found[row] = np.interp(end, time[row, known], column[row, known])
    return np.asarray(np.maximum(np.where(time <= end, np.nan_to_num(column), 0.0).max(axis=1), found))


# --- figures ----------------------------------------------------------------------------------------------------------


def _evaluate_block(motors: Motors, options: Options, told: int) -> Figures:
    layout = layout_of(motors, options)
    record = marched(layout, options)
    push, separated = thrusts(motors, record)
    values, flags = figures_of(motors, record, push, separated)
    # A burn that did not end in the steps allowed has no figures: NaN says so, and never passes a limit.
    values = {name: np.where(record.endless, np.nan, column) for name, column in values.items()}
    return Figures(values, flags, "transient", curve_of(record, push, min(told, motors.size)) if told > 0 else None)


def _joined(parts: list[Figures]) -> Figures:
    """Blocks put together; curves are padded with NaN to the longest."""
    if len(parts) == 1:
        return parts[0]
    values = {name: np.concatenate([part.values[name] for part in parts]) for name in parts[0].values}
    flags = {name: np.concatenate([part.flags[name] for part in parts]) for name in parts[0].flags}
    curves = [part.curve for part in parts if part.curve is not None]
    if not curves:
        return Figures(values, flags, "transient")
    longest = max(one.time.shape[1] for one in curves)

    def padded(name: str) -> Array:
        tables = [getattr(one, name) for one in curves]
        return np.concatenate([np.pad(table, ((0, 0), (0, longest - table.shape[1])), constant_values=np.nan) for table in tables])

    return Figures(values, flags, "transient", Curve(**{item.name: padded(item.name) for item in fields(Curve)}))
