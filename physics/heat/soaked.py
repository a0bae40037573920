"""How a batch burns at another soak temperature, from the histories at hand: what the heat rungs ask besides the burn as drawn.

Owns the passage from one burn to another. Imports numpy, physics.ballistics (the steady kernel) and physics.motors.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from physics.ballistics import steady
from physics.motors import Array, Curve, Figures, Motors

_TIMES = frozenset({"burn_time", "action_time"})
_PRESSURES = frozenset({
    "mean_pressure", "peak_pressure", "peak_head_pressure", "initial_pressure", "peak_mass_flow", "highest_mass_flux",
    "mean_thrust", "peak_thrust",
})  # fmt: skip
_AS_PRESSURE = frozenset({"chamber_pressure", "head_pressure", "thrust", "mass_flow", "mass_flux"})


def other_soaks(motors: Motors) -> Array:
    """The coldest and the hottest soak of each motor, (n, 2) [K]; (n, 0) where no soak differs from the temperature as
    drawn.

    Parameters
    ----------
    motors : Motors
        The batch, SI.

    Returns
    -------
    Array
        [K], (n, 2) or (n, 0).

    Notes
    -----
    By definition.
    """
    drawn = np.broadcast_to(np.asarray(motors.ambient.temperature, dtype=float), (motors.size,))
    soak = np.atleast_2d(np.asarray(motors.ambient.soak, dtype=float))
    ends = np.broadcast_to(np.stack([soak.min(axis=1), soak.max(axis=1)], axis=1), (motors.size, 2))
    return np.array(ends) if np.any(ends != drawn[:, None]) else np.empty((motors.size, 0))


def burn_at(motors: Motors, figures: Figures, temperature: Array) -> Figures:
    """The burn of each motor with its propellant at a temperature [K], (n,); SI.

    Parameters
    ----------
    motors : Motors
        The batch as it burns in `figures`.
    figures : Figures
        Its burn, with histories where they are wanted.
    temperature : Array
        Of the propellant [K], (n,).

    Returns
    -------
    Figures
        Pressures, flow and thrust times k, times over k; the rest as it is.

    Notes
    -----
    k is the ratio of the steady kernel's highest head pressures at both temperatures. Exact for the steady kernel where one
    row of the rate law covers the burn: the same mass leaves, in proportion to the pressure. NaN where either temperature
    has no equilibrium.

    References
    ----------
    Derived: mass balance with a throat that stays as it is.
    """
    drawn = np.broadcast_to(np.asarray(motors.ambient.temperature, dtype=float), (motors.size,))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = steady.peak_head_pressure(motors, temperature) / steady.peak_head_pressure(motors, drawn)
        values = {
            name: column / ratio if name in _TIMES else column * ratio if name in _PRESSURES else column
            for name, column in figures.values.items()
        }
        curve = figures.curve
        if curve is not None:
            by = ratio[:, None]
            columns = {item.name: getattr(curve, item.name) for item in fields(Curve)}
            columns = {name: column * by if name in _AS_PRESSURE else column for name, column in columns.items()}
            curve = replace(curve, **(columns | {"time": curve.time / by}))
    return replace(figures, values=values, curve=curve)
