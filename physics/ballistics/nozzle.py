"""Isentropic flow, nozzle thrust and separation, and the pressure drop along a port.

Owns the one-dimensional relations of a perfect gas of constant γ. Everything is elementwise and broadcasts. Imports
numpy and `physics.motors`. Source of the isentropic relations: NACA Report 1135; of thrust: Sutton & Biblarz, Rocket
Propulsion Elements, ch. 3. Separation: R. H. Schmucker, 1973 (NASA TM-77396), p_sep/p_a = (1.88·M − 1)^−0.64, a
formula remembered, not read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.motors import Array

SEPARATION_CRITERION = "Schmucker 1973, p_sep/p_a = (1.88 M - 1)^-0.64"


def pressure_ratio(mach: Array, gamma: Array) -> Array:
    """Static over stagnation pressure.

    Parameters
    ----------
    mach : Array
        [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]

    Examples
    --------
    >>> round(float(pressure_ratio(np.array(2.0), np.array(1.4))), 6)
    0.127805
    """
    return np.asarray((1.0 + 0.5 * (gamma - 1.0) * mach * mach) ** (-gamma / (gamma - 1.0)))


def mach_from_area_ratio(ratio: Array, gamma: Array, branch: str = "supersonic") -> Array:
    """Mach number at an area ratio.

    Parameters
    ----------
    ratio : Array
        Area over sonic area, 1 or more. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    branch : str
        "subsonic" or "supersonic".

    Returns
    -------
    Array
        NaN below a ratio of 1. [-]

    Raises
    ------
    ValueError
        For another branch.

    Notes
    -----
    Halley steps on the logarithm of the area relation, which is convex in log M; accurate to about 1e-12.

    Examples
    --------
    >>> mach_from_area_ratio(np.array([1.6875, 1.0]), np.array(1.4)).round(9)
    array([2., 1.])
    """
    if branch not in ("subsonic", "supersonic"):
        raise ValueError(f"branch {branch!r}: expected 'subsonic' or 'supersonic'")
    with np.errstate(invalid="ignore", divide="ignore"):
        log_ratio = np.log(np.asarray(ratio, dtype=float))
        log_ratio = np.where(log_ratio < 0.0, np.nan, log_ratio)
    return np.asarray(np.exp(log_mach(log_ratio, gamma, subsonic=branch == "subsonic")))


def log_mach(log_ratio: Array, gamma: Array, subsonic: bool, steps: int | None = None) -> Array:
    """log M from the logarithm of the area ratio.

    Parameters
    ----------
    log_ratio : Array
        Of an area ratio of 1 or more. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    subsonic : bool
        Which branch.
    steps : int, optional
        Of Halley's method; by default as many as reach 1e-12. One on the subsonic branch leaves 3e-5.

    Returns
    -------
    Array
        Root of F(z) = −z + k·ln((1+βe^2z)·2/(γ+1)) − ln ratio. [-]
    """
    beta = 0.5 * (gamma - 1.0)
    power = 0.5 * (gamma + 1.0) / (gamma - 1.0)
    if subsonic:
        guess = -np.sqrt(log_ratio * (log_ratio + 0.5 * (gamma + 1.0)))
    else:
        near = np.sqrt(0.5 * (gamma + 1.0) * log_ratio)
        guess = near / (1.0 + 0.2 * near)
    # Solved for 2z, for which every constant but one is a plain factor.
    twice, goal = 2.0 * guess, 2.0 * (log_ratio + power * np.log(0.5 * (gamma + 1.0)))
    for _ in range(steps or (2 if subsonic else 3)):
        twice = twice - _halley_step(twice, goal, beta, 2.0 * power)
    return np.asarray(np.minimum(0.5 * twice, 0.0) if subsonic else np.maximum(0.5 * twice, 0.0))


def _halley_step(twice: Array, goal: Array, beta: Array, power: Array) -> Array:
    """Halley's step f·f'/(f'² − f·f''/2) in y = 2·log M on f = power·ln(1 + βe^y) − y − goal, times (1 + βe^y)²."""
    square = np.exp(twice)
    warm = 1.0 + beta * square
    value = power * np.log(warm)
    value -= twice
    value -= goal
    slope = square - 1.0
    # At sonic flow value and slope vanish together; the tiny addend keeps that step at 0.
    below = slope * slope - (0.5 + 0.5 * beta) * square * value + 1e-300
    slope *= warm
    slope *= value
    slope /= below
    return np.asarray(slope)


def vandenkerckhove(gamma: Array) -> Array:
    """Γ(γ) = √γ·(2/(γ+1))^((γ+1)/(2(γ−1))), so that choked mass flow = Γ·p·A_t/√(R·T) and c* = √(R·T)/Γ.

    Parameters
    ----------
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]

    Examples
    --------
    >>> round(float(vandenkerckhove(np.array(1.2))), 6)
    0.648531
    """
    return np.asarray(np.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** (0.5 * (gamma + 1.0) / (gamma - 1.0)))


def critical_pressure_ratio(gamma: Array) -> Array:
    """Stagnation over sonic static pressure, ((γ+1)/2)^(γ/(γ−1)).

    Parameters
    ----------
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        Below it over ambient the throat is not sonic. [-]
    """
    return np.asarray((0.5 * (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def divergence_factor(half_angle: Array) -> Array:
    """Axial share of the momentum of a conical nozzle, λ = (1 + cos α)/2.

    Parameters
    ----------
    half_angle : Array
        [rad]

    Returns
    -------
    Array
        [-]

    Examples
    --------
    >>> round(float(divergence_factor(np.radians(np.array(15.0)))), 5)
    0.98296
    """
    return np.asarray(0.5 * (1.0 + np.cos(half_angle)))


def separation_pressure_ratio(mach: Array) -> Array:
    """Wall pressure at which an overexpanded flow leaves the wall, over ambient, by Schmucker's criterion.

    Parameters
    ----------
    mach : Array
        At the wall. [-]

    Returns
    -------
    Array
        (1.88·M − 1)^−0.64, and 1 below the M = 1.064 at which the formula would exceed 1. [-]

    Notes
    -----
    The formula was fitted to supersonic conical and contoured nozzles, roughly M 1.8 to 4.5; nearer to sonic it is an extension.

    Examples
    --------
    >>> separation_pressure_ratio(np.array([2.0, 3.0])).round(5)
    array([0.52218, 0.37448])
    """
    return np.asarray(np.maximum(1.88 * mach - 1.0, 1.0) ** -0.64)


def separation_mach(pressure_over_ambient: Array, gamma: Array) -> Array:
    """Mach number at which an overexpanded flow separates.

    Parameters
    ----------
    pressure_over_ambient : Array
        Of the chamber, above the critical ratio. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]

    Notes
    -----
    Root of p(M)/p_0·p_0/p_a = (1.88·M − 1)^−0.64 by Halley's steps on M, from a guess fitted to 3 % (10 % at γ 1.67);
    accurate to about 1e-12. Below M = 1.2, where the criterion means little, the station is interpolated between there
    and the throat (M = 1 at critical).
    """
    log_over = np.log(pressure_over_ambient)
    beta, power = 0.5 * (gamma - 1.0), gamma / (gamma - 1.0)
    near = np.log(near_sonic_pressure_ratio(gamma))
    sonic = power * np.log(1.0 + beta)
    rise = np.maximum(log_over - near, 0.0)
    mach = _NEAR_SONIC + rise * (0.608 + 0.701 * (gamma - 1.2) + 0.501 / (rise + 0.283))
    for _ in range(2):
        mach = np.maximum(mach - _separation_step(mach, rise + near, gamma), _NEAR_SONIC)
    between = 1.0 + (_NEAR_SONIC - 1.0) * (log_over - sonic) / (near - sonic)
    return np.asarray(np.where(log_over < near, np.maximum(between, 1.0), mach))


def _separation_step(mach: Array, target: Array, gamma: Array) -> Array:
    """Halley's step in M on f = ln(p_0/p(M)) − 0.64·ln(1.88·M − 1) − target.

    With f' = γM/warm − 0.64·1.88/stretched; in place, as this is most of what a separated burn costs.
    """
    warm, stretched = 1.0 + 0.5 * (gamma - 1.0) * mach * mach, 1.88 * mach
    stretched -= 1.0
    value = np.log(stretched)
    value *= -0.64
    value += gamma / (gamma - 1.0) * np.log(warm)
    value -= target
    fall, pull = gamma / warm, 0.64 * 1.88 / stretched
    bend = 2.0 / warm
    bend -= 1.0
    bend *= fall
    fall *= mach
    fall -= pull
    pull /= stretched
    bend += 1.88 * pull
    bend *= value
    value *= fall
    fall *= fall
    fall -= 0.5 * bend
    value /= fall
    return np.asarray(value)


def near_sonic_pressure_ratio(gamma: Array) -> Array:
    """Chamber over ambient pressure at which the flow separates at M = 1.2; Schmucker's criterion holds above.

    Parameters
    ----------
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]
    """
    return np.asarray((1.88 * _NEAR_SONIC - 1.0) ** -0.64 / pressure_ratio(np.asarray(_NEAR_SONIC), gamma))


_NEAR_SONIC = 1.2


@dataclass(frozen=True)
class Thrust:
    """Thrust [N] with the state of the flow: separated in the cone, or not sonic in the throat."""

    thrust: Array
    separated: NDArray[np.bool_]
    unchoked: NDArray[np.bool_]


def thrust(
    chamber_pressure: Array,
    throat_area: Array,
    expansion_ratio: Array,
    gamma: Array,
    ambient_pressure: Array,
    efficiency: Array,
    half_angle: Array,
) -> Thrust:
    """Thrust of a conical nozzle of fixed expansion, F = η·λ·(ideal momentum term) + (p_e − p_a)·A_e.

    Parameters
    ----------
    chamber_pressure : Array
        [Pa]
    throat_area : Array
        [m2]
    expansion_ratio : Array
        Exit over throat area. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    ambient_pressure : Array
        [Pa]
    efficiency : Array
        η, on the momentum term. [-]
    half_angle : Array
        Of the cone. [rad]

    Returns
    -------
    Thrust
        [N], with the flags `separated` and `unchoked`.

    Notes
    -----
    The mass flow is p·A_t/c*, so the ideal momentum term is γ·M_e²·p_e·A_e. Where the exit pressure lies below
    Schmucker's separation pressure the flow is cut off at the station at which it separates, `separated`. Where
    p/p_a is below critical the throat is not sonic, `unchoked`: the mass flow leaves at the speed of an expansion to
    ambient, without a pressure term; 0 at or below ambient.
    """
    efficiency = efficiency * divergence_factor(half_angle)
    exit_mach = mach_from_area_ratio(expansion_ratio, gamma)
    exit_ratio = pressure_ratio(exit_mach, gamma)
    onset = separation_onset(exit_mach, exit_ratio) * ambient_pressure
    sonic = critical_pressure_ratio(gamma) * ambient_pressure
    full = full_flow_coefficients(exit_mach, exit_ratio, expansion_ratio, gamma, efficiency)
    attached = throat_area * (full * chamber_pressure - expansion_ratio * ambient_pressure)
    unchoked = np.asarray((chamber_pressure < sonic) & (ambient_pressure > 0.0))
    separated = np.asarray((chamber_pressure < onset) & ~unchoked)
    over = np.where(separated | unchoked, chamber_pressure / np.maximum(ambient_pressure, 1e-300), 2.0)
    detached = throat_area * ambient_pressure * detached_coefficient(over, gamma, efficiency)
    return Thrust(np.where(separated | unchoked, detached, attached), separated, unchoked)


def full_flow_coefficients(exit_mach: Array, exit_ratio: Array, expansion_ratio: Array, gamma: Array, efficiency: Array) -> Array:
    """Vacuum thrust coefficient of a nozzle flowing full, (η·λ·γ·M_e² + 1)·(p_e/p)·ε.

    Parameters
    ----------
    exit_mach, exit_ratio : Array
        Mach number and static over stagnation pressure at the exit. [-]
    expansion_ratio : Array
        Exit over throat area. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    efficiency : Array
        On the momentum term, λ included. [-]

    Returns
    -------
    Array
        [-]
    """
    return np.asarray((efficiency * gamma * exit_mach * exit_mach + 1.0) * exit_ratio * expansion_ratio)


def separation_onset(exit_mach: Array, exit_ratio: Array) -> Array:
    """Chamber over ambient pressure below which the flow separates before the exit.

    Parameters
    ----------
    exit_mach, exit_ratio : Array
        Mach number and static over stagnation pressure at the exit; broadcast. [-]

    Returns
    -------
    Array
        [-]
    """
    return np.asarray(separation_pressure_ratio(exit_mach) / exit_ratio)


def detached_coefficient(pressure_over_ambient: Array, gamma: Array, efficiency: Array) -> Array:
    """F/(p_a·A_t) of a nozzle whose flow is separated or not sonic.

    Parameters
    ----------
    pressure_over_ambient : Array
        Of the chamber. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    efficiency : Array
        On the momentum term, λ included. [-]

    Returns
    -------
    Array
        [-]
    """
    over = np.asarray(pressure_over_ambient, dtype=float)
    critical = critical_pressure_ratio(gamma)
    mach = separation_mach(np.maximum(over, critical), gamma)
    log_warm = np.log1p(0.5 * (gamma - 1.0) * mach * mach)
    log_sonic = np.log(0.5 * (gamma + 1.0))
    here = over * np.exp(-gamma / (gamma - 1.0) * log_warm)
    station = np.exp(0.5 * (gamma + 1.0) / (gamma - 1.0) * (log_warm - log_sonic)) / mach
    separated = station * (efficiency * gamma * mach * mach * here + here - 1.0)
    slow = over < critical
    if not slow.any():
        return np.asarray(separated)
    return np.asarray(np.where(slow, efficiency * over * _unchoked_speed(over, gamma), separated))


def _unchoked_speed(pressure_over_ambient: Array, gamma: Array) -> Array:
    """Speed of an expansion to ambient over c*; 0 at or below ambient."""
    reach = np.maximum(pressure_over_ambient, 1.0) ** ((gamma - 1.0) / gamma) - 1.0
    square = 2.0 / (gamma - 1.0) * reach
    return np.asarray(vandenkerckhove(gamma) * np.sqrt(gamma * square / (1.0 + reach)))


def log_head_ratio(log_port_ratio: Array, gamma: Array, steps: int | None = None) -> Array:
    """Logarithm of head over entry pressure from that of the port's ratio.

    Parameters
    ----------
    log_port_ratio : Array
        Of the port's area over the throat's. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    steps : int, optional
        As in `log_mach`; one errs by 1e-5.

    Returns
    -------
    Array
        [-]
    """
    return np.asarray(port_flow(log_port_ratio, gamma, steps)[1])


def port_mach_and_head_ratio(port_ratio: Array, gamma: Array) -> tuple[Array, Array]:
    """Mach number at a port's aft end, and head-end static over nozzle-entry stagnation pressure.

    Parameters
    ----------
    port_ratio : Array
        Area of the port over that of the throat [-].
    gamma : Array
        Ratio of specific heats [-]; arrays broadcast.

    Returns
    -------
    tuple of Array
        Both [-]: 0 and 1 for a port without end, 1 and infinite for one of no area.

    Notes
    -----
    One-dimensional flow of constant area with mass added at right angles and no friction: p_head/p_aft = 1 + γM², so the
    ratio is (1 + γM²)·(1 + (γ−1)/2·M²)^(−γ/(γ−1)) with M from port_ratio = A/A*. Below 1 the port chokes before the throat:
    its aft end is sonic and p_head = p_0·(1 + γ)/((γ+1)/2)^(γ/(γ−1))/port_ratio.

    References
    ----------
    Momentum balance, Shapiro vol. 1; Price.

    Examples
    --------
    >>> (1 / port_mach_and_head_ratio(np.array([5.0, 2.0, 1.0]), np.array(1.2))[1]).round(5)
    array([0.99163, 0.94892, 0.80526])
    """
    with np.errstate(divide="ignore"):
        log_ratio = np.log(np.asarray(port_ratio, dtype=float))
    square, log_head = port_flow(log_ratio, gamma)
    return np.where(np.isposinf(log_ratio), 0.0, np.sqrt(square)), np.asarray(np.exp(log_head))


def port_flow(log_port_ratio: Array, gamma: Array, steps: int | None = None) -> tuple[Array, Array]:
    """M² at a port's aft end, and the logarithm of head over entry pressure.

    Parameters
    ----------
    log_port_ratio : Array
        Of the port's area over the throat's. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    steps : int, optional
        As in `log_mach`.

    Returns
    -------
    square, log_head_ratio : Array
        M² is 1 where the port chokes. [-]
    """
    open_ratio = np.minimum(np.maximum(log_port_ratio, 0.0), 50.0)
    log_speed = log_mach(open_ratio, gamma, subsonic=True, steps=steps)
    square = np.exp(2.0 * log_speed)
    # From the area relation, log(1 + (γ−1)/2·M²) without another logarithm.
    power = 0.5 * (gamma + 1.0) / (gamma - 1.0)
    log_warm = (open_ratio + log_speed) / power + np.log(0.5 * (gamma + 1.0))
    log_head = np.log1p(gamma * square) - gamma / (gamma - 1.0) * log_warm
    return square, np.asarray(log_head - np.minimum(log_port_ratio, 0.0))


def rough_port_mach_squared(log_port_ratio: Array, gamma: Array) -> Array:
    """M² at a port's aft end to about 1e-4: to place a maximum, not to state it.

    Parameters
    ----------
    log_port_ratio : Array
        Of the port's area over the throat's. [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]
    """
    open_ratio = np.maximum(log_port_ratio, 0.0)
    return np.asarray(np.exp(2.0 * log_mach(open_ratio, gamma, subsonic=True, steps=1)))
