"""The short way of the steady kernel, for burns of one smooth stretch: most of a search.

Owns which motors burn so, and their findings without a list of pieces: one row of equal cored grains, one row of the
rate law, sonic flow. The general way (`physics.ballistics.steady`) gives the same figures for them, to 1e-9 where they are exact
and to the error of the quadrature where not. Which way a motor goes depends on that motor alone. Source: derived here, from
the balance in `physics.ballistics.propellant`. Imports findings, grain, nozzle, portflow, propellant, quadrature, regimes,
stretches and motors.

Shapes: n motors of a lean block (`Columns.lean`), what all of them share (1,). Every function works on all motors of the
block; what it says of those that are not smooth means nothing, and may be NaN.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from physics.ballistics import grain, nozzle
from physics.ballistics.burn_summary import Findings, Integrals, Pressures
from physics.ballistics.port_flow import EqualGrains, PortExtremes
from physics.ballistics.propellant import RateLaw, segment_table
from physics.ballistics.quadrature import accuracy, gauss_order, nearest_zero, orders_among, slowness, summed, swept
from physics.ballistics.regimes import Regimes, attached_thrust, detached_impulse, near_sonic, regimes, thrust
from physics.ballistics.stretches import Columns, Mask, stretches
from physics.motors import Array

ORDERS = (8, 16, 32, 128)
"""Gauss-Legendre orders: the first for nearly all burns; fewer nodes for some cost more than they save."""

_ZERO = np.zeros(1)


def may_be_smooth(table: Columns) -> bool:
    """Whether any motor of a batch can be: one row of grains, one row of the rate law.

    Parameters
    ----------
    table : Columns
        Of n motors, SI, without caps.
    """
    return bool(table.count.shape[1] == 1 and table.exponent.shape[1] == 1)


def smooth_findings(lean: Columns) -> tuple[Findings, Regimes, Mask]:
    """What is found of the motors of a lean block, and which of them are smooth burns.

    Parameters
    ----------
    lean : Columns
        Of n motors, SI, what all share as one entry.

    Returns
    -------
    findings : Findings
        SI; of those that are not smooth they mean nothing.
    flow : Regimes
        Their nozzles.
    smooth : ndarray
        Mask, (n,).
    """
    with np.errstate(all="ignore"):  # for those that are not
        one, state, smooth = smooth_burns(lean)
        flow = regimes(lean)
        burn, peak_thrust = _burn(one, state, smooth, lean, flow)
        port, mach, ratio = _port(one, lean, smooth)
        found = Findings(
            mass=lean.density * grain.initial_volume(lean.grains)[:, 0],
            kn_at_ignition=one.constant,
            pressures=state,
            peak_thrust=peak_thrust,
            burn=burn,
            action_time=burn.time,
            port=port,
            mach=mach,
            head_ratio=ratio,
        )
    return found, flow, smooth


def smooth_head_pressure(lean: Columns) -> tuple[Array, Mask]:
    """Highest head-end pressure of the motors of a lean block, and which of them are smooth burns.

    Parameters
    ----------
    lean : Columns
        Of n motors, SI, what all share as one entry.

    Returns
    -------
    pressure : ndarray
        (n,). [Pa]
    smooth : ndarray
        Mask, (n,): of the others the pressure means nothing.
    """
    with np.errstate(all="ignore"):  # for those that are not
        one, _, smooth = smooth_burns(lean)
        return np.exp(_highest_head(one, smooth)[0]), smooth


@dataclass(frozen=True)
class SmoothBurns(EqualGrains):
    """Burns of one smooth stretch, from 0 to `web` [m], Kn largest at `top` [m]; (n,), or (1,) where shared.

    `log_initial` is the log of the pressure [Pa] at ignition.
    """

    web: Array
    top: Array
    log_initial: Array

    def log_pressure(self, x: Array) -> Array:
        """Logarithm of the chamber pressure at regressions.

        Parameters
        ----------
        x : ndarray
            Regressions [m], (n,).

        Returns
        -------
        ndarray
            log of the pressure in Pa, (n,). [-]
        """
        return np.asarray(self.slope * np.log(self.kn(x)) + self.offset)

    def kn_at(self, pressure: Array) -> Array:
        """Kn at a pressure.

        Parameters
        ----------
        pressure : ndarray
            Chamber pressure [Pa], (n,).

        Returns
        -------
        ndarray
            (n,). [-]
        """
        return np.asarray(np.exp((np.log(pressure) - self.offset) / self.slope))

    @property
    def flux_may_rise(self) -> Mask:
        """Whether p/J may rise after ignition: Kn'·bore is never above 2·Kn, so that it takes a slope above 2."""
        return np.asarray(self.slope > 2.0)


def smooth_burns(lean: Columns) -> tuple[SmoothBurns, Pressures, Mask]:
    """The burns of a lean block as smooth ones, their pressures, and which of them are smooth.

    Parameters
    ----------
    lean : Columns
        Of n motors, SI, what all share as one entry.

    Returns
    -------
    burns : SmoothBurns
        SI.
    pressures : Pressures
        [Pa]
    smooth : ndarray
        Mask, (n,).

    Notes
    -----
    Those have a core and sonic flow that separates beyond M = 1.2 if at all, and never fall below 10 % of their peak.
    """
    burn = stretches(lean)
    law = RateLaw(lean.log_coefficient, lean.exponent, lean.log_bounds)
    slope, offset = segment_table(law, lean.log_impedance)
    log_kn = np.log(np.stack([burn.kn_start[:, 0], burn.kn_top[:, 0], burn.kn_end[:, 0]]))
    log_pressure = slope[:, 0] * log_kn + offset[:, 0]
    pressure = np.exp(log_pressure)
    state = Pressures(burn.kn_top[:, 0], pressure[1], pressure[0], np.minimum(pressure[0], pressure[2]))
    core = lean.core_diameter[:, 0]
    smooth = (state.lowest > near_sonic(lean)) & (state.lowest > 0.0) & (state.lowest >= 0.1 * state.peak)
    smooth &= (core > 0.0) & (core < lean.outer_diameter[:, 0]) & burn.present[:, 0]
    one = SmoothBurns(
        constant=burn.constant[:, 0],
        linear=burn.linear[:, 0],
        square=burn.square[:, 0],
        slope=slope[:, 0],
        offset=offset[:, 0],
        core=core,
        throat=lean.throat_diameter,
        gamma=lean.gamma,
        web=burn.end[:, 0],
        top=burn.top[:, 0],
        log_initial=log_pressure[0],
    )
    return one, state, smooth


# Time, pressure and thrust.


def _burn(one: SmoothBurns, state: Pressures, smooth: Mask, lean: Columns, flow: Regimes) -> tuple[Integrals, Array]:
    """Integrals over the burns, and the highest thrust. [N]

    A full nozzle's thrust is linear in pressure; what separated flow adds to it comes on top where there is any.
    """
    impedance = lean.density * lean.characteristic_velocity
    time = impedance * _whole_slowness(one, smooth)
    pressure = impedance * swept(one, _ZERO, one.web)
    back = lean.expansion_ratio * lean.ambient_pressure
    impulse = lean.throat_area * (flow.full * pressure - back * time)
    push = attached_thrust(state.peak, lean, flow)
    weak = np.flatnonzero(smooth & (state.lowest < flow.onset))
    if weak.size:
        some, some_flow, peak = lean.block(weak), flow.pick(weak), state.peak[weak]
        impulse[weak] += _separation_gain(one.pick(weak), peak, some, some_flow)
        push[weak] = thrust(peak, some, some_flow)
    return Integrals(time, pressure, impulse), push


def _whole_slowness(one: SmoothBurns, smooth: Mask) -> Array:
    """∫ dx/r/(ρ·c*) over each burn [m/Pa], with more nodes where Kn nearly falls to nothing."""
    slow = slowness(one, _ZERO, one.web, ORDERS[0])
    enough = np.cosh(accuracy(one) / ORDERS[0])
    rest = np.flatnonzero(smooth & (nearest_zero(one, _ZERO, one.web) < enough))
    if not rest.size:
        return slow
    some = one.pick(rest)
    orders = gauss_order(some, _ZERO, some.web, ORDERS)
    for order in orders_among(orders):
        chosen = np.flatnonzero(orders == order)
        part = some.pick(chosen)
        slow[rest[chosen]] = slowness(part, _ZERO, part.web, order)
    return slow


def _separation_gain(one: SmoothBurns, peak: Array, batch: Columns, flow: Regimes) -> Array:
    """∫ (F − F of a full nozzle) dt [N s] where the flow is separated: at the ends of the burn, or throughout."""
    rising, falling = _crossings(one, one.kn_at(flow.onset))
    wholly = peak < flow.onset
    rising = np.where(wholly, one.web, np.minimum(np.maximum(rising, 0.0), one.web))
    falling = np.where(wholly, one.web, np.minimum(np.maximum(falling, 0.0), one.web))
    before, after = np.flatnonzero(rising > 0.0), np.flatnonzero(falling < one.web)
    start = np.concatenate([np.zeros(before.size), falling[after]])
    width = np.concatenate([rising[before], (one.web - falling)[after]])
    motor = np.concatenate([before, after])
    # The thrust is singular just below M = 1.2; it is smooth as the zeros of Kn less Kn at that pressure are far away.
    singular = replace(one, constant=one.constant - one.kn_at(flow.near))
    orders = gauss_order(singular.pick(motor), start, width, ORDERS)
    gain = np.empty(motor.size)
    for order in orders_among(orders):
        chosen = np.flatnonzero(orders == order)
        place = motor[chosen]
        gain[chosen] = detached_impulse(one.pick(place), start[chosen], width[chosen], batch.block(place), order, flow.pick(place))
    return summed(gain, motor, peak.size)


def _crossings(one: SmoothBurns, level: Array) -> tuple[Array, Array]:
    """Regressions at which Kn rises and falls through `level`; beyond the burn, or infinite, where it does not."""
    above = one.constant - level
    root = np.sqrt(np.maximum(one.linear * one.linear - 4.0 * one.square * above, 0.0))
    half = -0.5 * (one.linear + np.where(one.linear < 0.0, -root, root))
    near, far = above / half, half / one.square
    return np.where(one.linear < 0.0, far, near), np.where(one.linear < 0.0, near, far)


# The port.


def _port(one: SmoothBurns, batch: Columns, smooth: Mask) -> tuple[PortExtremes, Array, Array]:
    """Extremes of the port flow, the highest Mach number in the port and head over chamber pressure with it.

    The port only widens: Mach number and pressure ratio are highest at ignition.
    """
    log_head, square, log_rise = _highest_head(one, smooth)
    log_flux = one.log_initial - one.log_port(_ZERO)
    steep = np.flatnonzero(smooth & one.flux_may_rise)
    if steep.size:
        some = one.pick(steep)
        x = _flux_spot(some)
        log_flux[steep] = np.maximum(log_flux[steep], some.log_pressure(x) - some.log_port(x))
    ratio = (one.core / one.throat) ** 2
    flux = np.exp(log_flux) / batch.characteristic_velocity
    return PortExtremes(np.exp(log_head), flux, ratio, ratio), np.sqrt(square), np.exp(log_rise)


def _highest_head(one: SmoothBurns, smooth: Mask) -> tuple[Array, Array, Array]:
    """log of the highest head-end pressure in Pa; M² and log of head over chamber pressure at ignition.

    Highest at ignition, at a turning point while the port is choked (where head pressure goes as mass flux), or at the
    turning point just before the highest chamber pressure.
    """
    opened = 0.5 * (one.throat - one.core)
    low = np.minimum(np.maximum(opened, 0.0), one.web)
    x = _head_spot(one, low, smooth)
    square, log_rise = nozzle.port_flow(np.stack([one.log_port(_ZERO), one.log_port(x)]), one.gamma)
    log_head = np.maximum(one.log_initial + log_rise[0], one.log_pressure(x) + log_rise[1])
    choked = np.flatnonzero(smooth & one.flux_may_rise & (opened > 0.0))
    if choked.size:
        some = one.pick(choked)
        x = np.minimum(_flux_spot(some), low[choked])
        there = some.log_pressure(x) + nozzle.log_head_ratio(some.log_port(x), some.gamma)
        log_head[choked] = np.maximum(log_head[choked], there)
    return log_head, square[0], log_rise[0]


def _head_spot(one: SmoothBurns, low: Array, smooth: Mask) -> Array:
    """Regression of the highest head pressure from `low` on, where the port is not choked.

    Newton steps on d log(p·h)/dx from the place of the highest pressure, which lies at or behind it. The maximum is
    flat, its value errs by the square of what the place errs, so that few steps do; near a choked port it takes more.
    """
    before = one.head_step(np.maximum(one.top, low), low, one.web, may_choke=False)
    x = one.head_step(before, low, one.web, may_choke=False)
    rest = np.flatnonzero(smooth & (np.abs(x - before) > _STEP * one.web))
    for _ in range(12):
        if not rest.size:
            break
        some, before = one.pick(rest), x[rest]
        x[rest] = after = some.head_step(before, low[rest], some.web, may_choke=False)
        rest = rest[np.abs(after - before) > _STEP * some.web]
    return x


_STEP = 1e-3
"""Step, over the web, after which the place errs by some 1e-6 as measured, and the pressure by its square."""


def _flux_spot(one: SmoothBurns) -> Array:
    """Regression of the highest p/J after ignition, where slope·Kn'·bore − 4·Kn falls through zero."""
    constant, linear, square = one.flux_turning()
    root = np.sqrt(linear * linear - 4.0 * square * constant)
    rising = linear >= 0.0
    half = -0.5 * (linear + np.where(rising, root, -root))
    x = np.where(rising, half, constant) / np.where(rising, square, half)
    return np.where(np.isnan(x), 0.0, np.minimum(np.maximum(x, 0.0), one.web))
