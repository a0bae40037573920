"""What carries the grains, and what covers their faces: the pressure drop along the port as an axial load, and caps.

Owns the modes `grain support` and `cap burn-through`. Imports numpy and, from physics, ballistics, modes and motors.
"""

from __future__ import annotations

import numpy as np

from physics.ballistics import grain
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, Situation


def static_drop_share(head_ratio: Array, gamma: Array) -> Array:
    """Static pressure drop along the port over head pressure, from head over nozzle-entry stagnation pressure.

    Parameters
    ----------
    head_ratio : Array
        From 1 to the choked port; above that the choked value [-].
    gamma : Array
        Ratio of specific heats [-].

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    With mass added along a straight port, p_head/p_static = 1 + γM² at the aft end (momentum, no friction) and p_static/p_0 =
    (1 + (γ−1)/2·M²)^(−γ/(γ−1)): M² is found from their product by Newton's method and 1 − 1/(1 + γM²) returned.

    References
    ----------
    Source: momentum with mass addition, Shapiro, Compressible Fluid Flow, ch. 8.

    Examples
    --------
    >>> gamma, mach = 1.2, 0.3
    >>> ratio = (1 + gamma * mach**2) * (1 + 0.5 * (gamma - 1) * mach**2) ** (-gamma / (gamma - 1))
    >>> bool(np.isclose(static_drop_share(np.array(ratio), np.array(gamma)), 1 - 1 / (1 + gamma * mach**2)))
    True
    """
    ratio, gamma = np.broadcast_arrays(np.asarray(head_ratio, dtype=float), np.asarray(gamma, dtype=float))
    power, target = gamma / (gamma - 1.0), np.log(np.maximum(ratio, 1.0))
    square = np.clip(2.0 * target / gamma, 0.0, 1.0)
    for _ in range(40):
        warm, pushed = 1.0 + 0.5 * (gamma - 1.0) * square, 1.0 + gamma * square
        error = np.log(pushed) - power * np.log(warm) - target
        slope = gamma / pushed - 0.5 * gamma / warm
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(slope > 0.0, error / slope, 0.0)
        square = np.clip(square - step, 0.0, 1.0)
        if np.max(np.abs(step), initial=0.0) < 1e-15:
            break
    return np.asarray(1.0 - 1.0 / (1.0 + gamma * square))


def grain_support(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the pressure drop along the port crushes the last grain.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        The burn evaluated.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    The stack rests on the aft closure. Head pressure pushes on its front face and the static pressure at the end of the port on
    its back face; with a straight core the gas adds nothing on the way, so the last grain carries the drop as an even axial
    stress, which reaches `propellant.strength` at p = strength/(1 − 1/(1 + γM²)). Bonded grains, cores that widen and the shock
    of ignition are not counted. Stated dependence: M is that of the burn evaluated, at its largest head-to-nozzle ratio.
    """
    crushing = motors.propellant.strength
    if crushing is None:
        raise NotComputable("propellant.strength is not given")
    crushing = need(motors, "propellant.strength")
    if situation.figures is None:
        raise NotComputable("the burn itself was not evaluated")
    share = static_drop_share(situation.figures["head_pressure_ratio"], motors.propellant.gamma)
    with np.errstate(divide="ignore"):
        return np.asarray(crushing / share)


def has_cap(motors: Motors, end: str) -> bool:
    """Whether a cap covers any end face of the grains in part.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        Not used here.

    Returns
    -------
    bool
        Whether one does.
    """
    return grain.has_caps(motors.grain)


def cap_burn_through(motors: Motors, situation: Situation) -> Array:
    """Time after which a cap no longer keeps the fire from the face that it covers.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    Array
        [s], (n,).

    Raises
    ------
    NotComputable
        Always.

    Notes
    -----
    Never known here: the file tells how far a cap reaches, not what it is made of, how thick it is nor what holds it. The burn
    takes caps to last until the grain is gone.
    """
    raise NotComputable("the material of the caps over the grains' faces is not given; they are taken to last the burn")
