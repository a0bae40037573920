"""The nozzle of each motor over chamber pressure: flowing full, separated in the cone, not sonic in the throat.

Owns `Regimes`, the pressures at which one gives way to the next, and in each of them the thrust over pressure, with the
impulse where thrust is not linear in pressure. The relations are those of `physics.ballistics.nozzle`, arranged so that what does
not depend on pressure is worked out once a motor. Source: there; the arrangement is derived here. Imports nozzle,
quadrature, stretches and motors.

Shapes: n motors of a block, T moments; of a lean block (`Columns.lean`) what all motors share is (1,) instead of (n,).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.ballistics import nozzle
from physics.ballistics.quadrature import Burn, log_kn, weighted
from physics.ballistics.stretches import Columns, Index, picked
from physics.motors import Array


@dataclass(frozen=True)
class Regimes:
    """The nozzle of each motor, (n,): thrust coefficient in vacuum flowing full [-], and chamber pressures [Pa].

    Below `onset` the flow separates before the exit, below `near` at less than M = 1.2, below `sonic` the throat is not
    sonic.
    """

    full: Array
    onset: Array
    near: Array
    sonic: Array

    def pick(self, index: Index) -> Regimes:
        """Some of the motors.

        Parameters
        ----------
        index : Index
            Their places in the batch.

        Returns
        -------
        Regimes
            Of those motors, in that order.
        """
        return Regimes(*(picked(leaf, index) for leaf in (self.full, self.onset, self.near, self.sonic)))


def regimes(batch: Columns) -> Regimes:
    """The nozzles of a block.

    Parameters
    ----------
    batch : Columns
        Of n motors, SI.

    Returns
    -------
    Regimes
        Coefficients and the pressures [Pa] at which one regime gives way to the next.
    """
    mach = nozzle.mach_from_area_ratio(batch.expansion_ratio, batch.gamma)
    ratio = nozzle.pressure_ratio(mach, batch.gamma)
    sonic = nozzle.critical_pressure_ratio(batch.gamma) * batch.ambient_pressure
    return Regimes(
        full=nozzle.full_flow_coefficients(mach, ratio, batch.expansion_ratio, batch.gamma, batch.efficiency),
        onset=np.maximum(nozzle.separation_onset(mach, ratio) * batch.ambient_pressure, sonic),
        near=near_sonic(batch),
        sonic=sonic,
    )


def near_sonic(batch: Columns) -> Array:
    """Chamber pressure at which the flow separates at M = 1.2, where the law of separation changes.

    Parameters
    ----------
    batch : Columns
        Of n motors, SI.

    Returns
    -------
    ndarray
        (n,). [Pa]
    """
    return np.asarray(nozzle.near_sonic_pressure_ratio(batch.gamma) * batch.ambient_pressure)


def thrust(pressure: Array, batch: Columns, flow: Regimes) -> Array:
    """Thrust at a chamber pressure, the flow full, separated or not sonic.

    Parameters
    ----------
    pressure : ndarray
        (n,). [Pa]
    batch : Columns
        Of n motors, SI.
    flow : Regimes
        Of the same.

    Returns
    -------
    ndarray
        (n,). [N]
    """
    push = attached_thrust(pressure, batch, flow)
    detached = np.nonzero(pressure < flow.onset)[0]
    if detached.size:
        push[detached] = detached_thrust(pressure[detached], batch.block(detached))
    return push


def attached_thrust(pressure: Array, batch: Columns, flow: Regimes) -> Array:
    """Thrust of a nozzle flowing full.

    Parameters
    ----------
    pressure : ndarray
        (n,) or (T, n). [Pa]
    batch : Columns
        Of n motors, SI.
    flow : Regimes
        Of the same.

    Returns
    -------
    ndarray
        Of the shape of the pressures; wrong below `onset`. [N]
    """
    back = batch.expansion_ratio * batch.ambient_pressure
    return np.asarray(batch.throat_area * (flow.full * pressure - back))


def detached_thrust(pressure: Array, batch: Columns) -> Array:
    """Thrust of separated or unchoked flow.

    Parameters
    ----------
    pressure : ndarray
        (n,) or (T, n). [Pa]
    batch : Columns
        Of n motors, SI.

    Returns
    -------
    ndarray
        Of the shape of the pressures; wrong above `onset`, NaN in vacuum. [N]
    """
    ambient = batch.ambient_pressure
    coefficient = nozzle.detached_coefficient(pressure / ambient, batch.gamma, batch.efficiency)
    return np.asarray(batch.throat_area * ambient * coefficient)


def detached_impulse(burn: Burn, start: Array, width: Array, batch: Columns, order: int, full: Regimes | None = None) -> Array:
    """∫ F dt of separated or unchoked flow over the intervals of a burn.

    Parameters
    ----------
    burn : Burn
        The s intervals, SI.
    start, width : ndarray
        Of each, (s,). [m]
    batch : Columns
        The motor of each interval.
    order : int
        Of the quadrature.
    full : Regimes or None
        Where given, what the flow adds to the impulse of a nozzle flowing full.

    Returns
    -------
    ndarray
        (s,). [N s]
    """
    log_area = log_kn(burn, start, width, order)
    log_pressure = burn.slope * log_area + burn.offset
    pressure = np.exp(log_pressure)
    push = detached_thrust(pressure, batch)
    if full is not None:
        push -= attached_thrust(pressure, batch, full)
    impedance = batch.density * batch.characteristic_velocity
    return np.asarray(0.5 * width * impedance * weighted(push * np.exp(log_area - log_pressure), order))
