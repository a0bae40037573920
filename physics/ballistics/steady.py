"""The steady kernel: quadrature over web, for screening millions of candidates.

Owns `evaluate`, which way each motor goes, and the general way. At regression x all grains share one pressure p with
ρ·A_b(x)·r(p) = p·A_t/c*, the lowest stable root (`physics.ballistics.propellant`), and dt = dx/r. The burn is cut into smooth
pieces
(`physics.ballistics.stretches`) and integrated by Gauss-Legendre on each (`physics.ballistics.quadrature`), to better than 1e-6;
areas,
pressures and their peaks are exact. What is found so becomes figures and flags in `physics.ballistics.burn_summary`. Source:
derived here from that balance. Imports the physics files that it is made of.

A burn of one smooth stretch, which is most of a search, takes a shorter way to the same figures: `physics.ballistics.smooth`. Which
way a motor goes depends on that motor alone. A grain with a cap over part of a face never burns so: its area is exact at the ends
of some dozens of stretches, burns its exact volume in each, and errs within them as `physics.ballistics.faces` says.

Limits of the model. No filling, no blow-down, no erosive burning and no throat recession: where the motor names them,
flags say so. The chamber is never below ambient pressure: where the balance would be, the propellant burns at ambient
pressure and gives no thrust. Only a motor that hardly works gets there, and it is flagged as not choked. The transient
kernel alone judges chuffing. Port and head-end pressure: one-dimensional flow with mass addition and no friction, each
row's port at its own diameter, by the narrowest effective port (`port_over_throat`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from physics.ballistics import burn_summary, grain, nozzle
from physics.ballistics.burn_summary import Findings, Integrals, Pressures
from physics.ballistics.port_flow import port_extremes, pressure_and_port
from physics.ballistics.quadrature import SLOW, gauss_order, kn_middle, orders_among, slowness, summed, swept
from physics.ballistics.regimes import Regimes, detached_impulse, detached_thrust, regimes, thrust
from physics.ballistics.smooth import may_be_smooth, smooth_findings, smooth_head_pressure
from physics.ballistics.stretches import Balance, Columns, Index, Mask, Pieces, Stretches, balance, columns, pieces, stretches
from physics.motors import Array, Curve, Figures, Motors

CAPPED_BLOCK = 256
"""Motors a block where a cap covers part of a face: their burns are cut into a hundred times as many stretches."""

BLOCK = 4096
"""Motors a block: few enough to stay in the cache, enough to outweigh the calls. Measured flat from 4096 to 16384.

Smooth burns, which keep less at a time, go four blocks at once: measured a third faster than one, flat up to eight.
"""

_DETACHED_ORDER = 12
"""The least for separated flow, whose thrust bends towards sonic."""
_SECOND_ROOT = 1.05
"""A higher root counts from so many times the lower one's pressure; the rows of a table miss each other by rounding.

Chosen here: next to the scatter of a burning rate less is nothing.
"""
_CURVE_POINTS = 320


def evaluate(motors: Motors, curve: bool = False) -> Figures:
    """Figures and flags of a batch by the steady kernel.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    curve : bool
        Whether to add the histories over the burn, (n, T), NaN behind the end; a step at a grain's burnout stands as two points
        of one time.

    Returns
    -------
    Figures
        (n,) each, SI, by the names of `physics.ballistics.kernel`. A motor with nothing to burn has zero pressure and impulse,
        NaN means and the flag `extinguished`; a core as wide as its grain, or wider, gives NaN throughout.

    Notes
    -----
    Model, accuracy and limits stand in the head of this file.
    """
    table = columns(motors)
    values, flags = _figures(table)
    size = motors.size
    flags["recession_ignored"] = np.broadcast_to(np.asarray(motors.nozzle.throat_recession) > 0.0, (size,)).copy()
    flags["erosive_burning_ignored"] = np.full(size, motors.propellant.erosive != "none")
    flags["chuffing_risk"] = np.zeros(size, dtype=bool)
    return Figures(values, flags, "steady", _curve(table) if curve else None)


def peak_head_pressure(motors: Motors, temperature: Array | None = None) -> Array:
    """Highest head-end pressure of each motor, without integrating over time.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    temperature : ndarray or None
        Of the propellant, (n,) or scalar; the ambient temperature by default. [K]

    Returns
    -------
    ndarray
        (n,), to the last digit that of `evaluate`; NaN where a core is as wide as its grain. [Pa]
    """
    table = columns(motors, temperature)
    plain, numbers, capped, others = table.split()
    peaks = np.empty(motors.size)
    peaks[numbers] = _plain_head_pressure(plain)
    for some in _slices(others.size, CAPPED_BLOCK):
        peaks[others[some]] = _head_pressure(capped.block(some))
    return peaks


def _plain_head_pressure(table: Columns) -> Array:
    size = table.gamma.size
    peaks = np.empty(size)
    rest = np.arange(size)
    if may_be_smooth(table):
        for some in _slices(size, 4 * BLOCK):
            peaks[some], smooth = smooth_head_pressure(table.block(some).lean())
            rest[some][smooth] = -1
        rest = rest[rest >= 0]
    for some in _slices(rest.size, BLOCK):
        peaks[rest[some]] = _head_pressure(table.block(rest[some]))
    return peaks


def _head_pressure(batch: Columns) -> Array:
    burn, law = stretches(batch), balance(batch)
    cuts = pieces(burn, law, np.empty((batch.gamma.size, 0)))
    return np.where(_impossible(batch), np.nan, port_extremes(cuts, burn, law, batch).head_pressure)


def _figures(table: Columns) -> tuple[dict[str, Array], dict[str, Mask]]:
    """Values and flags of a batch: motors without caps first, then those with, whose burns have more pieces."""
    plain, numbers, capped, others = table.split()
    if not others.size:
        return _plain_figures(plain)
    size = table.gamma.size
    values: dict[str, Array] = {}
    flags: dict[str, Mask] = {}
    found = [(numbers, *_plain_figures(plain))] if numbers.size else []
    found += [(others[some], *_block(capped.block(some))) for some in _slices(others.size, CAPPED_BLOCK)]
    for which, some_values, some_flags in found:
        _store(values, some_values, which, size)
        _store(flags, some_flags, which, size)
    return values, flags


def _plain_figures(table: Columns) -> tuple[dict[str, Array], dict[str, Mask]]:
    """Values and flags of a batch without caps: the smooth burns first, all others piece by piece."""
    size = table.gamma.size
    values: dict[str, Array] = {}
    flags: dict[str, Mask] = {}
    rest = np.arange(size)
    if may_be_smooth(table):
        for some in _slices(size, 4 * BLOCK):
            some_values, some_flags, smooth = _short_block(table.block(some).lean())
            _store(values, some_values, some, size)
            _store(flags, some_flags, some, size)
            rest[some][smooth] = -1
        rest = rest[rest >= 0]
    for some in _slices(rest.size if values else max(rest.size, 1), BLOCK):
        some_values, some_flags = _block(table.block(rest[some]))
        _store(values, some_values, rest[some], size)
        _store(flags, some_flags, rest[some], size)
    return values, flags


def _slices(size: int, block: int) -> list[slice]:
    """The blocks that `size` motors are worked in."""
    return [slice(at, min(at + block, size)) for at in range(0, size, block)]


def _store(whole: dict[str, NDArray[Any]], part: dict[str, NDArray[Any]], some: slice | Index, size: int) -> None:
    """Write one block's columns into those of the batch, made when first met (all at once: large pages are cheap)."""
    if not whole:
        whole.update(zip(part, np.empty((len(part), size), dtype=next(iter(part.values())).dtype), strict=True))
    for name, column in part.items():
        whole[name][some] = column


def _impossible(batch: Columns) -> Mask:
    wide = (batch.core_diameter >= batch.outer_diameter) & (batch.count > 0)
    return np.asarray(wide.any(axis=1))


def _short_block(lean: Columns) -> tuple[dict[str, Array], dict[str, Mask], Mask]:
    """Values and flags of a lean block by the short way, and for which motors they hold; the others' mean nothing."""
    found, flow, smooth = smooth_findings(lean)
    with np.errstate(all="ignore"):  # for those others
        values = burn_summary.values(lean, found)
    return values, burn_summary.flags(lean, flow, found, several=np.zeros(1, dtype=bool)), smooth


# The general way, piece by piece.


def _block(batch: Columns) -> tuple[dict[str, Array], dict[str, Mask]]:
    """Values and flags of one block of motors."""
    size = batch.gamma.size
    burn, law = stretches(batch), balance(batch)
    flow = regimes(batch)
    state = _pressures(batch, burn, law)
    thresholds = _thresholds(law, state, flow)
    cuts = pieces(burn, law, thresholds)
    integrals = _integrate(cuts, batch, law, flow)
    parts = (integrals.time, integrals.pressure, integrals.impulse)
    whole = Integrals(*(summed(part, cuts.motor, size) for part in parts))
    port = port_extremes(cuts, burn, law, batch)
    mach, ratio = nozzle.port_mach_and_head_ratio(port.smallest_ratio, batch.gamma)
    dead = state.highest_kn <= 0.0
    found = Findings(
        mass=batch.density * grain.volume(batch.grains, np.zeros(1)).sum(axis=1),
        kn_at_ignition=burn.kn_start[np.arange(size), np.argmax(burn.present, axis=1)],
        pressures=replace(state, peak=np.where(dead, 0.0, state.peak), initial=np.where(dead, 0.0, state.initial)),
        peak_thrust=np.where(dead, 0.0, thrust(state.peak, batch, flow)),
        burn=whole,
        action_time=_action_time(cuts, integrals.time, whole.time, state, thresholds[:, 0]),
        port=port,
        mach=mach,
        head_ratio=ratio,
    )
    values = burn_summary.values(batch, found)
    impossible = _impossible(batch)
    for name, value in values.items():
        values[name] = np.where(impossible, np.nan, value)
    return values, burn_summary.flags(batch, flow, found, _several_equilibria(burn, law))


def _pressures(batch: Columns, burn: Stretches, law: Balance) -> Pressures:
    present = burn.present
    highest_kn = np.where(present, burn.kn_top, 0.0).max(axis=1)
    ends = np.where(present, burn.kn_low, np.inf).min(axis=1)
    ends = np.where(np.isfinite(ends), ends, 0.0)
    initial = burn.kn_start[np.arange(highest_kn.size), np.argmax(present, axis=1)]
    pressure = np.exp(law.log_pressure(np.stack([highest_kn, initial, ends], axis=1)))
    return Pressures(highest_kn, pressure[:, 0], pressure[:, 1], pressure[:, 2])


def _thresholds(law: Balance, state: Pressures, flow: Regimes) -> Array:
    """Kn at 10 % of peak pressure and where the law of thrust changes, (n, 4); 0 where the burn does not cross it."""
    levels = np.stack([0.1 * state.peak, flow.onset, flow.near, flow.sonic], axis=1)
    crossed = (levels > state.lowest[:, None]) & (levels < state.peak[:, None])
    thresholds = np.zeros_like(levels)
    motor, column = np.nonzero(crossed)
    if motor.size:
        thresholds[motor, column] = law.kn_at(levels[motor, column], motor)
    return thresholds


def _several_equilibria(burn: Stretches, law: Balance) -> Mask:
    """Whether a stable root well above the one taken exists at some moment.

    Kn has one exactly if it lies above κ at the foot of a later row and not above the running maximum of κ before it,
    the crest. There the lower root stands at the end of the row that has the crest, usually the foot of the later row,
    and the higher one (crest/foot)^(1/(1−n)) above that foot.
    """
    rate, switches = law.law, law.switches
    found = np.zeros(burn.start.shape[0], dtype=bool)
    low = burn.kn_low
    before = held = np.full(found.size, -np.inf)
    for row in range(1, rate.rows):
        foot, crest, bound = switches.log_start[:, row], switches.log_upper[:, row - 1], rate.log_bounds[:, row - 1]
        held, before = np.where(crest > before, bound, held), crest
        higher = bound + (crest - foot) / (1.0 - rate.exponent[:, row])
        matters = (crest > foot + 1e-9) & (higher - held >= np.log(_SECOND_ROOT))
        reached = (burn.kn_top > np.exp(foot)[:, None]) & (low <= np.exp(crest)[:, None]) & burn.present
        found |= matters & reached.any(axis=1)
    return found


def _integrate(cuts: Pieces, batch: Columns, law: Balance, flow: Regimes) -> Integrals:
    motor = cuts.motor
    impedance = (batch.density * batch.characteristic_velocity)[motor]
    width = cuts.end - cuts.start
    orders = gauss_order(cuts, cuts.start, width)
    pressure_middle = np.exp(cuts.slope * np.log(kn_middle(cuts, cuts.start, width)) + cuts.offset)
    detached = (pressure_middle < flow.onset[motor]) & ~cuts.at_ambient
    time = np.empty(width.size)
    for order in orders_among(orders):
        chosen = np.nonzero(orders == order)[0]
        time[chosen] = impedance[chosen] * slowness(cuts.pick(chosen), cuts.start[chosen], width[chosen], order)
    pressure = impedance * swept(cuts, cuts.start, width)
    at_ambient = np.nonzero(cuts.at_ambient)[0]
    if at_ambient.size:
        time[at_ambient] = width[at_ambient] / _ambient_rate(law, motor[at_ambient])
        pressure[at_ambient] = time[at_ambient] * batch.ambient_pressure[motor[at_ambient]]
    area, ambient = batch.throat_area[motor], batch.ambient_pressure[motor]
    impulse = area * (flow.full[motor] * pressure - batch.expansion_ratio[motor] * ambient * time)
    impulse[cuts.at_ambient] = 0.0
    orders = np.where(pressure_middle < flow.sonic[motor], SLOW, np.maximum(orders, _DETACHED_ORDER))
    orders[~detached] = -1
    for order in orders_among(orders):
        loose = np.nonzero(orders == order)[0]
        some = batch.block(motor[loose])
        impulse[loose] = detached_impulse(cuts.pick(loose), cuts.start[loose], width[loose], some, order)
    return Integrals(time, pressure, impulse)


def _ambient_rate(law: Balance, motor: Index) -> Array:
    """Burning rate at ambient pressure, from κ = p/(ρ·c*·r) at the floor."""
    log_rate = law.log_ambient[motor] - law.log_impedance[motor] - np.log(law.floor[motor])
    return np.asarray(np.exp(log_rate))


def _action_time(cuts: Pieces, time: Array, burn_time: NDArray[Any], state: Pressures, threshold: Array) -> Array:
    """Time between the first and the last moment at which pressure is 10 % of its peak."""
    weak = state.lowest < 0.1 * state.peak
    if not weak.any():
        return burn_time.copy()
    middle = kn_middle(cuts, cuts.start, cuts.end - cuts.start)
    strong = np.nonzero(middle >= threshold[cuts.motor])[0]
    first = np.full(burn_time.size, np.inf)
    last = np.full(burn_time.size, -np.inf)
    np.minimum.at(first, cuts.motor[strong], cuts.start[strong])
    np.maximum.at(last, cuts.motor[strong], cuts.end[strong])
    within = (cuts.start >= first[cuts.motor]) & (cuts.end <= last[cuts.motor])
    action = np.bincount(cuts.motor, weights=time * within, minlength=burn_time.size)
    return np.where(weak, action, burn_time)


# Histories.


def _curve(batch: Columns) -> Curve:
    """Histories of every motor, a few hundred points that include every break of the burn.

    Motors whose burns have as many pieces have histories of one shape, and are made side by side.
    """
    burn, law, flow = stretches(batch), balance(batch), regimes(batch)
    state = _pressures(batch, burn, law)
    thresholds = _thresholds(law, state, flow)
    cuts = pieces(burn, law, thresholds)
    size = batch.gamma.size
    number = np.bincount(cuts.motor, minlength=size)
    parts = _parts(number, _CURVE_POINTS)
    points = np.where(number > 0, number * (parts + 1), 0)
    padded = {name: np.full((size, int(points.max(initial=0))), np.nan) for name in _HISTORIES}
    first = np.cumsum(number) - number
    for many in np.unique(number[number > 0]):
        alike = np.nonzero(number == many)[0]
        for some in _slices(alike.size, _CURVE_BLOCK):
            motors = alike[some]
            rows = (first[motors][:, None] + np.arange(many)).ravel()
            part = _history(cuts.pick(rows), int(many), int(parts[motors[0]]), burn, law, flow, batch)
            for name in _HISTORIES:
                padded[name][motors, : points[motors[0]]] = part[name]
    throat = np.where(np.isnan(padded["time"]), np.nan, batch.throat_diameter[:, None])
    return Curve(**padded, throat_diameter=throat)


_HISTORIES = ("time", "chamber_pressure", "head_pressure", "thrust", "mass_flow", "kn", "mass_flux", "regression")

_CURVE_BLOCK = 64
"""Motors whose histories are made at a time: measured, their columns then stay in the cache."""


def _parts(number: Index, least: int) -> Index:
    """Equal parts that each of so many pieces of a burn is cut into, for `least` in all at least."""
    return np.asarray(-(-least // np.maximum(number, 1)))


def _cut(cuts: Pieces, parts: Index) -> tuple[Index, Pieces]:
    """Each piece cut into equal parts of its web, (f,), and which piece each is of: where both histories place their points."""
    fine = np.repeat(np.arange(parts.size), parts)
    place = np.arange(fine.size) - np.repeat(np.cumsum(parts) - parts, parts)
    width = (cuts.end - cuts.start) / parts
    some = cuts.pick(fine)
    start = some.start + place * width[fine]
    end = np.where(place == parts[fine] - 1, some.end, some.start + (place + 1) * width[fine])
    return fine, replace(some, start=start, end=end)


def _history(cuts: Pieces, many: int, steps: int, burn: Stretches, law: Balance, flow: Regimes, batch: Columns) -> dict[str, Array]:
    """Histories of motors of `many` pieces each, (motors, points): piece after piece, both ends of each included."""
    _, fine = _cut(cuts, np.full(cuts.start.size, steps))
    x = np.concatenate([fine.start.reshape(-1, steps), cuts.end[:, None]], axis=1)
    motor = cuts.motor
    kn = np.maximum(cuts.constant[:, None] + x * (cuts.linear[:, None] + x * cuts.square[:, None]), 0.0)
    log_pressure, log_ratio = pressure_and_port(x, cuts, burn, law, batch)
    pressure = np.exp(log_pressure)
    area = batch.throat_area[motor][:, None]
    back = (batch.expansion_ratio * batch.ambient_pressure)[motor][:, None]
    push = area * (flow.full[motor][:, None] * pressure - back)
    loose = np.nonzero(pressure < flow.onset[motor][:, None])
    if loose[0].size:
        push[loose] = detached_thrust(pressure[loose], batch.block(motor[loose[0]]))
    clock = np.concatenate([np.zeros((x.shape[0], 1)), _step_times(fine, law, batch).reshape(-1, steps)], axis=1)
    found = {
        "time": clock,
        "chamber_pressure": pressure,
        "head_pressure": np.exp(log_pressure + nozzle.log_head_ratio(log_ratio, batch.gamma[motor][:, None])),
        "thrust": push,
        "mass_flow": pressure * area / batch.characteristic_velocity[motor][:, None],
        "kn": kn,
        "mass_flux": np.exp(log_pressure - log_ratio) / batch.characteristic_velocity[motor][:, None],
        "regression": x,
    }
    rows = {name: column.reshape(-1, many * (steps + 1)) for name, column in found.items()}
    return rows | {"time": np.cumsum(rows["time"], axis=1)}


@dataclass(frozen=True)
class ShortHistory:
    """A burn in S steps with the whole of its impulse and mass; shorter burns end in steps of no width.

    `time` (n, S + 1) [s]; `thrust_start`, `thrust_end` [N], `flow_start`, `flow_end` [kg/s], `impulse` [N s], `mass` of
    propellant [kg], `attached` (the nozzle flows full), all (n, S): levels at both ends of each step, sums over it;
    `regression` (n, S + 1) [m].
    """

    time: Array
    regression: Array
    thrust_start: Array
    thrust_end: Array
    flow_start: Array
    flow_end: Array
    impulse: Array
    mass: Array
    attached: Mask


def short_history(motors: Motors, temperature: Array | None = None, steps: int = 12) -> ShortHistory:
    """A burn in a dozen steps, for whoever integrates over it: the flights of a million candidates, say.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    temperature : ndarray or None
        Of the propellant, (n,); the ambient temperature by default. [K]
    steps : int
        At least so many a burn, shared equally among its smooth pieces.

    Returns
    -------
    ShortHistory
        Impulse and mass of each step are those of `evaluate` for that part of the burn, to its quadrature's accuracy.

    Notes
    -----
    Validity is that of the kernel; a motor's history does not depend on its batch but for the steps of no width.
    """
    table = columns(motors, temperature)
    parts = [_short_histories(table.block(some), steps) for some in _slices(motors.size, BLOCK)]
    longest = max((part.impulse.shape[1] for part in parts), default=0)
    names = [item.name for item in fields(ShortHistory)]
    return ShortHistory(*(np.concatenate([_lengthened(getattr(part, name), name, longest) for part in parts]) for name in names))


def _lengthened(column: NDArray[Any], name: str, steps: int) -> NDArray[Any]:
    """The column with steps of no width at its end, in which nothing happens."""
    more = steps + (name in ("time", "regression")) - column.shape[1]
    rest = column[:, -1:] if name in ("time", "regression") else np.full_like(column[:, :1], name == "attached")
    return np.concatenate([column, np.repeat(rest, more, axis=1)], axis=1) if more else column


def _short_histories(batch: Columns, steps: int) -> ShortHistory:
    """One block's short histories: each smooth piece of a burn cut into equal parts of its web."""
    burn, law, flow = stretches(batch), balance(batch), regimes(batch)
    state = _pressures(batch, burn, law)
    whole = pieces(burn, law, _thresholds(law, state, flow))
    size = batch.gamma.size
    number = np.bincount(whole.motor, minlength=size)
    each = _parts(number, steps)
    fine, cuts = _cut(whole, each[whole.motor])
    start, end = cuts.start, cuts.end
    integrals = _integrate(cuts, batch, law, flow)
    total = number * each
    spot = (cuts.motor, np.arange(fine.size) - np.repeat(np.cumsum(total) - total, total))
    shape = (size, max(int(total.max(initial=0)), 1))

    def laid(values: NDArray[Any], rest: float | bool = 0.0) -> NDArray[Any]:
        column = np.full(shape, rest, dtype=values.dtype)
        column[spot] = values
        return column

    per_pressure = (batch.throat_area / batch.characteristic_velocity)[cuts.motor]
    levels = [_level(cuts, x, batch, flow) for x in (start, end)]
    middle = _level(cuts, 0.5 * (start + end), batch, flow)[0]
    nothing = np.zeros((size, 1))
    swept_web = np.maximum.accumulate(laid(end), axis=1)
    return ShortHistory(
        time=np.concatenate([nothing, np.cumsum(laid(integrals.time), axis=1)], axis=1),
        regression=np.concatenate([nothing, swept_web], axis=1),
        thrust_start=laid(levels[0][1]),
        thrust_end=laid(levels[1][1]),
        flow_start=laid(levels[0][0] * per_pressure),
        flow_end=laid(levels[1][0] * per_pressure),
        impulse=laid(integrals.impulse),
        mass=laid(integrals.pressure * per_pressure),
        attached=laid(middle >= flow.onset[cuts.motor], True),
    )


def _level(cuts: Pieces, x: Array, batch: Columns, flow: Regimes) -> tuple[Array, Array]:
    """Chamber pressure [Pa] and thrust [N] at one regression of each piece, (s,)."""
    kn = np.maximum(cuts.constant + x * (cuts.linear + x * cuts.square), 0.0)
    with np.errstate(divide="ignore"):
        pressure = np.where(cuts.at_ambient, batch.ambient_pressure[cuts.motor], np.exp(cuts.slope * np.log(kn) + cuts.offset))
    push = thrust(pressure, batch.block(cuts.motor), flow.pick(cuts.motor))
    return pressure, np.where(cuts.at_ambient, 0.0, push)


def _step_times(some: Pieces, law: Balance, batch: Columns) -> Array:
    """Time that each short piece of a history takes, (f,)."""
    order = 6
    width = some.end - some.start
    impedance = (batch.density * batch.characteristic_velocity)[some.motor]
    time = impedance * slowness(some, some.start, width, order)
    at_ambient = some.at_ambient
    if at_ambient.any():
        time[at_ambient] = width[at_ambient] / _ambient_rate(law, some.motor[at_ambient])
    return time
