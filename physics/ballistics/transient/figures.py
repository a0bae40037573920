"""Figures, flags and histories of a recorded burn.

Imports numpy, the march's record, the nozzle and, for one flag, the steady kernel. Sources stand in the head of the
package, or with the criterion.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from physics.ballistics import steady
from physics.ballistics.nozzle import thrust
from physics.ballistics.transient.layout import Layout, Mask, impossible_grains
from physics.ballistics.transient.march import SDIRK, Record
from physics.ballistics.transient.stages import nozzle_factor
from physics.constants import STANDARD_GRAVITY
from physics.motors import Array, Curve, Motors

SOLID_DIFFUSIVITY = 1.7e-7

"""Thermal diffusivity of solid propellant [m2/s]; textbook middle of 1e-7 to 2.5e-7, remembered."""


def thrusts(motors: Motors, record: Record) -> tuple[dict[str, Array], Mask]:
    """Thrust at both stages of every step.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    record : Record
        Of their burn.

    Returns
    -------
    push : dict
        "inner" and "end", (steps, n). [N]
    separated : ndarray
        Mask of the steps in which the flow leaves the wall, (steps, n).
    """
    layout, rows = record.layout, record.rows
    push, separated = {}, np.zeros(rows["time"].shape, bool)
    for name, pressure, throat in (("inner", "inner_pressure", "inner_throat"), ("end", "pressure", "throat")):
        area = np.pi * rows[throat] ** 2
        taken = np.isfinite(area)
        safe = np.where(taken, rows[pressure], layout.ambient_pressure)
        area = np.where(taken, area, np.pi * layout.throat_radius**2)
        state = thrust(
            safe,
            area,
            np.maximum(layout.exit_area / area, 1.0),
            layout.gamma,
            layout.ambient_pressure,
            motors.nozzle.efficiency,
            motors.nozzle.half_angle,
        )
        push[name] = np.where(taken, state.thrust * nozzle_factor(layout, safe), np.nan)
        separated = state.separated & taken
    return push, separated


def weighted_steps(rows: dict[str, Array], inner: Array, end: Array) -> Array:
    """Integral of a column over each step by the quadrature of the time integration.

    Parameters
    ----------
    rows : dict
        The record, (steps, n) each, SI.
    inner, end : ndarray
        The column at both stages, (steps, n).

    Returns
    -------
    ndarray
        (steps, n), in the column's unit (SI) times s; 0 where no step was taken.
    """
    return np.asarray(np.nan_to_num(rows["step"] * ((1.0 - SDIRK) * inner + SDIRK * end)))


def _total(steps: Array) -> Array:
    """Sum over the steps, (n,), one after the other: a plain sum adds in another order where n is 1."""
    return np.asarray(np.cumsum(steps, axis=0)[-1] if len(steps) else np.zeros(steps.shape[1:]))


def _until(rows: dict[str, Array], integral: Array, end: Array) -> Array:
    """Sum of step integrals up to the time `end`, part of a step in proportion, (n,)."""
    begin = rows["time"] - rows["step"]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip((end - begin) / rows["step"], 0.0, 1.0)
    return _total(np.nan_to_num(share) * integral)


def figures_of(motors: Motors, record: Record, push: dict[str, Array], separated: Mask) -> tuple[dict[str, Array], dict[str, Mask]]:
    """Every figure of `physics.figures`, and every flag.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    record : Record
        Of their burn.
    push, separated : dict, ndarray
        As `thrusts` gives them.

    Returns
    -------
    values, flags : dict
        (n,) each, SI.
    """
    rows, layout = record.rows, record.layout
    dead = record.dead
    burn_time = np.where(dead, 0.0, record.burn_time)
    pressure_steps = weighted_steps(rows, rows["inner_pressure"], rows["pressure"])
    thrust_steps = weighted_steps(rows, push["inner"], push["end"])
    pressure_integral, impulse = _total(pressure_steps), _total(thrust_steps)
    mass = layout.density * layout.propellant_volume
    peak = np.where(dead, 0.0, _largest(rows["pressure"], record.start))
    head = rows["head"] * rows["pressure"]
    throat = np.pi * layout.throat_radius**2
    burning = rows["burning"] > 0.5
    kn_at_ignition = record.kn_at_ignition
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_pressure = _until(rows, pressure_steps, burn_time) / burn_time
        values = {
            "peak_pressure": peak,
            "peak_head_pressure": np.where(dead, 0.0, _largest(head, record.start * record.head)),
            "mean_pressure": mean_pressure,
            "initial_pressure": np.where(dead, 0.0, record.ignition_pressure),
            "pressure_integral": pressure_integral,
            "head_pressure_ratio": _largest(np.where(burning, rows["head"], np.nan), record.head),
            "highest_kn": _largest(np.where(burning, rows["kn"], np.nan), kn_at_ignition),
            "kn_at_ignition": kn_at_ignition,
            "final_throat_diameter": 2.0 * _largest(rows["throat"], layout.throat_radius),
            "total_impulse": impulse,
            "peak_thrust": _largest(push["end"], 0.0),
            "mean_thrust": impulse / burn_time,
            "burn_time": burn_time,
            "action_time": _action_time(rows, record.start, peak),
            "specific_impulse": impulse / (mass * STANDARD_GRAVITY),
            "thrust_coefficient": impulse / (throat * pressure_integral),
            "highest_port_mach": _largest(rows["mach"], 0.0),
            "highest_mass_flux": _largest(rows["flux"], 0.0),
            "port_over_throat": record.port_over_throat,
            "propellant_mass": mass,
            "peak_mass_flow": _largest(rows["flow"], 0.0),
        }
    impossible = impossible_grains(motors)
    values = {name: np.where(impossible, np.nan, value) for name, value in values.items()}
    return values, _flags(motors, record, mean_pressure, separated)


def _largest(table: Array, least: Array | float) -> Array:
    """Largest of each column, not below `least`, (n,)."""
    return np.asarray(np.fmax(np.fmax.reduce(table, axis=0, initial=-np.inf), least))


def _action_time(rows: dict[str, Array], start: Array, peak: Array) -> Array:
    """Time between the first rise to and the last fall below 10 % of peak pressure [s], (n,); straight between steps.

    A pressure that starts above, or never falls below, counts from ignition and to the end of the blow-down.
    """
    time, pressure = _packed(rows["time"], np.zeros_like(start)), _packed(rows["pressure"], start)
    mark = 0.1 * peak
    high = pressure >= mark
    motor, last = np.arange(start.size), pressure.shape[0] - 1
    rise, fall = np.argmax(high, axis=0), last - np.argmax(high[::-1], axis=0)

    def crossing(before: NDArray[np.intp], after: NDArray[np.intp]) -> Array:
        p0, p1 = pressure[before, motor], pressure[after, motor]
        t0, t1 = time[before, motor], time[after, motor]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where((p1 != p0) & np.isfinite(p1), (mark - p0) / (p1 - p0), 0.0)
        return np.asarray(np.where(np.isfinite(t1), t0 + share * (t1 - t0), t0))

    begin = np.where(rise > 0, crossing(np.maximum(rise - 1, 0), rise), 0.0)
    return np.asarray(crossing(fall, np.minimum(fall + 1, last)) - begin)


def _packed(table: Array, start: Array) -> Array:
    """The steps taken of each motor moved together behind its starting value, (steps + 1, n), NaN at the end."""
    order = np.argsort(np.isnan(table), axis=0, kind="stable")
    return np.concatenate([start[None, :], np.take_along_axis(table, order, axis=0)])


def _flags(motors: Motors, record: Record, mean_pressure: Array, separated: Mask) -> dict[str, Mask]:
    """Flags, (n,). Pressure ranges are judged while propellant burns and pressure is above half its mean over the burn:
    filling and tail-off pass through every pressure and say nothing.
    """
    rows, layout, propellant = record.rows, record.layout, motors.propellant
    burning = rows["burning"] > 0.5
    settled = burning & (rows["pressure"] >= 0.5 * mean_pressure)
    pressure = np.where(settled, rows["pressure"], np.nan)
    law_from, law_to = propellant.rate_from, propellant.rate_to
    lowest, highest = np.atleast_2d(law_from)[:, 0], np.atleast_2d(law_to)[:, -1]
    outside = (pressure < lowest) | (rows["head"] * pressure > highest)
    unchoked = pressure < layout.critical * layout.ambient_pressure
    no = np.zeros(layout.density.size, dtype=bool)
    return {
        "port_choked": np.asarray(((rows["choked"] > 0.5) & burning).any(axis=0)),
        "flow_separated": np.asarray((separated & settled).any(axis=0)),
        "outside_characterised_pressure": np.asarray(outside.any(axis=0)),
        "several_equilibria": several_equilibria(motors),
        "nozzle_unchoked": np.asarray(unchoked.any(axis=0)),
        "recession_ignored": no.copy(),
        "erosive_burning_ignored": no.copy(),
        "chuffing_risk": np.asarray((_chuffing(layout, rows) & settled).any(axis=0)),
        "extinguished": np.asarray(record.dead | (_quenched(record) & burning).any(axis=0)),
    }


def several_equilibria(motors: Motors) -> Mask:
    """Whether a stable pressure well above exists for the same Kn at some moment, as the steady kernel judges it.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    ndarray
        Mask, (n,).
    """
    return steady.evaluate(motors).flags["several_equilibria"]


def _chuffing(layout: Layout, rows: dict[str, Array]) -> Mask:
    """Steps near equilibrium whose filling time is shorter than linear theory asks for, (steps, n)."""
    area = np.pi * rows["throat"] ** 2
    filling = rows["volume"] * layout.characteristic_velocity / (layout.gas_constant_temperature * area)
    with np.errstate(divide="ignore", invalid="ignore"):
        drift = np.log(rows["pressure"] / rows["inner_pressure"]) / ((1.0 - SDIRK) * rows["step"])
    slow = np.abs(drift) * filling < 0.1
    return np.asarray(slow & (filling * rows["rate"] ** 2 / SOLID_DIFFUSIVITY < chuffing_limit(rows["exponent"])))


def _quenched(record: Record) -> Mask:
    """Steps in which pressure falls fast enough to put the fire out, with 1 % of the propellant left, (steps, n).

    −d ln p/dt > r²/(n·α): a surface that would have to burn at less than nothing, the criterion of von Elbe (1963),
    remembered. It warns; the kernel goes on burning.
    """
    rows, layout = record.rows, record.layout
    with np.errstate(divide="ignore", invalid="ignore"):
        fall = (1.0 - SDIRK) * rows["step"]
        fall = -np.log(rows["pressure"] / rows["inner_pressure"]) / fall
        limit = rows["rate"] ** 2 / (np.maximum(rows["exponent"], 1e-3) * SOLID_DIFFUSIVITY)
    unburnt = layout.propellant_volume - (rows["volume"] - layout.free_volume)
    return np.asarray((fall > limit) & (unburnt > 0.01 * layout.propellant_volume))


def chuffing_limit(exponent: Array) -> Array:
    """Smallest stable τ·r²/α of a chamber on a propellant of pressure exponent n.

    Parameters
    ----------
    exponent : ndarray
        n, of any shape. [-]

    Returns
    -------
    ndarray
        Of that shape, NaN for NaN. [-]

    Notes
    -----
    τ is the filling time V·c*/(R·T·A_t), r the burning rate, α the thermal diffusivity of the solid. Since τ grows
    with L* and r² with p^(2n), the limit has the form L*·p^(2n) = const of Sehgal and Strand (1964). The constant is
    where linear theory finds neutral stability, (1 + iΩ·τr²/α) = R_p(Ω), with the quasi-steady response R_p = n·A·B/(λ
    + A/λ − (1 + A) + A·B), λ = ½(1 + √(1 + 4iΩ)) (Denison and Baum 1961; Culick 1968; remembered), A = 10 and B = 0.8,
    textbook middles. Real propellants differ by a factor of two either way: a caution, not a verdict. Valid for 0 < n
    < 0.8; 0 where the response never reaches 1 (small n).

    Examples
    --------
    >>> float(chuffing_limit(np.array(0.4)).round(2))
    0.15
    """
    grid, limit = _limit_table()
    return np.asarray(np.interp(exponent, grid, limit))


@lru_cache(maxsize=1)
def _limit_table() -> tuple[Array, Array]:
    exponent = np.linspace(0.0, 0.8, 81)
    frequency = np.geomspace(0.02, 60.0, 4000)
    wave = 0.5 * (1.0 + np.sqrt(1.0 + 4.0j * frequency))
    response = 8.0 / (wave + 10.0 / wave - 11.0 + 8.0)
    limit = np.zeros_like(exponent)
    for place, n in enumerate(exponent):
        above = n * response.real >= 1.0
        if above.any():
            at = int(np.argmax(above))
            limit[place] = n * response.imag[at] / frequency[at]
    return exponent, limit


def curve_of(record: Record, push: dict[str, Array], told: int) -> Curve:
    """Histories from ignition.

    Parameters
    ----------
    record : Record
        Of n motors.
    push : dict
        As `thrusts` gives it.
    told : int
        Of the first so many motors.

    Returns
    -------
    Curve
        (told, T) each, SI, NaN behind the end.
    """
    rows, layout, start = record.rows, record.layout, record.start
    zero = np.zeros_like(start)
    table = {
        "time": (rows["time"], zero),
        "chamber_pressure": (rows["pressure"], start),
        "head_pressure": (rows["head"] * rows["pressure"], record.head * start),
        "thrust": (push["end"], zero),
        "mass_flow": (rows["flow"], zero),
        "kn": (rows["kn"], record.kn_at_ignition),
        "mass_flux": (rows["flux"], zero),
        "regression": (rows["regression"], zero),
        "throat_diameter": (2.0 * rows["throat"], 2.0 * layout.throat_radius),
    }
    packed = {name: _packed(values[:, :told], first[:told]).T for name, (values, first) in table.items()}
    longest = int(np.isfinite(packed["time"]).sum(axis=1).max(initial=1))
    return Curve(**{name: np.ascontiguousarray(values[:, :longest]) for name, values in packed.items()})
