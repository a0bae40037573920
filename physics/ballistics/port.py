"""One-dimensional flow along the core of a motor: static pressure, Mach number, mass flux.

Owns the quasi-steady flow with mass addition along many grains that the transient kernel uses. For one constant-area
port the ratio of head to nozzle-entry pressure has a closed form, `port_mach_and_head_ratio`, kept with the isentropic
relations and offered here too. Imports numpy, `physics.motors` and `physics.ballistics.nozzle`.

Model. Gas of constant stagnation temperature enters at the walls without axial momentum. In a duct of constant area the
impulse pA(1 + γM²) then stays constant (friction neglected), so p_head/p_aft = 1 + γM². Where the area changes along a
grain, d(pA(1 + γM²)) = p dA. At a step to a larger core the pressure of the stream acts on the annulus (Borda–Carnot);
at a step to a smaller core stagnation pressure is lost, K = ½(1 − A₂/A₁) of the dynamic pressure in the smaller core
(sharp edge; steps of less than 1 % of the area are taken as smooth). A gap between two equal grains is crossed as a
free jet: its end faces add mass only. From the last core to the nozzle entry the flow is isentropic. Where the flow
that the nozzle asks for would pass Mach 1 in the port, the port chokes there and everything upstream is lifted to the
pressure that forces the flow through.

Validity: one-dimensional, no friction, no swirl; cores long against their diameter; the nozzle entry close to the
last grain. Waves along the port are not followed.

Sources: A. H. Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow, vol. 1, ch. 8 (simple mass
addition) and ch. 5 (sudden enlargement), remembered; entrance-loss coefficient ½(1 − A₂/A₁), F. M. White, Fluid
Mechanics, minor losses, remembered; the closed form of the Mach number from the impulse is derived here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from physics.ballistics.nozzle import log_mach, vandenkerckhove
from physics.motors import Array

__all__ = [
    "Profile",
    "impulse_before_step",
    "mach_squared_from_impulse",
    "no_flow",
    "profile",
    "stagnation_ratio",
]


def stagnation_ratio(mach_squared: Array, gamma: Array) -> Array:
    """p₀/p = (1 + (γ−1)/2·M²)^(γ/(γ−1)).

    Parameters
    ----------
    mach_squared : Array
        [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]
    """
    return np.asarray(np.exp(gamma / (gamma - 1.0) * np.log1p(0.5 * (gamma - 1.0) * mach_squared)))


def mach_squared_from_impulse(flow_squared: Array, gamma: Array) -> Array:
    """M² of the subsonic state with y² = M²(1 + (γ−1)/2·M²)/(1 + γM²)².

    Parameters
    ----------
    flow_squared : Array
        y² with y = ṁ√(RT₀/γ)/F and F the impulse pA(1 + γM²). [-]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        [-]

    Notes
    -----
    Closed form, a root of a quadratic; above the choking value y² = 1/(2(γ+1)) the sonic state is returned (a caller that
    cares compares y² first).

    Examples
    --------
    >>> float(mach_squared_from_impulse(np.array(0.25 * 1.025 / 1.3**2), np.array(1.2)).round(12))
    0.25
    """
    root = np.sqrt(np.maximum(1.0 - 2.0 * (gamma + 1.0) * flow_squared, 0.0))
    bounded = np.minimum(flow_squared, 0.5 / (gamma + 1.0))
    return np.asarray(2.0 * bounded / (1.0 - 2.0 * gamma * bounded + root))


@dataclass
class Profile:
    """The port flow of a batch at one moment, at the nodes of every grain, head end first along both axes.

    The nodes of a grain are its head face, the middles of its stations, and its nozzle face.
    `log_pressure` (n, grains, nodes): ln of static pressure over the stagnation pressure at the nozzle entry. [-]
    `mach_squared` (n, grains, nodes). [-]  `head` (n,): static pressure at the head end over that stagnation pressure.
    [-]
    `choked` (n,): whether the port chokes somewhere.
    """

    log_pressure: Array
    mach_squared: Array
    head: Array
    choked: NDArray[np.bool_]


def no_flow(shape: tuple[int, int, int]) -> Profile:
    """A profile without flow: the guess to start `profile` from.

    Parameters
    ----------
    shape : tuple of int
        (n, grains, nodes).
    """
    return Profile(np.zeros(shape), np.zeros(shape), np.ones(shape[0]), np.zeros(shape[0], bool))


def impulse_before_step(
    log_impulse: Array, log_area_ratio: Array, log_flow_before: Array, log_flow_after: Array, log_area: Array, gamma: Array
) -> Array:
    """ln F at the nozzle face of a grain from ln F at the head face of the next one.

    Parameters
    ----------
    log_impulse : Array
        ln F₂ of the face downstream, over p₀, (n,). [m2]
    log_area_ratio : Array
        ln(A₂/A₁), (n,). [-]
    log_flow_before, log_flow_after : Array
        ln(ṁ√(RT₀/γ)) of the two faces, over p₀, (n,). [m2]
    log_area : Array
        ln A₁, (n,). [m2]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]

    Returns
    -------
    Array
        ln F₁ over p₀, (n,). [m2]

    Notes
    -----
    Enlargement, and steps of less than 1 % of the area: F₂ = F₁ + p₁(A₂ − A₁). Contraction: the gas made in the gap is added
    at area 1 first, then p₀₁ = p₀₂ + K·½γM₂²p₂, K = ½(1 − A₂/A₁). Both are solved, not iterated; where no subsonic state
    exists face 1 is sonic.
    """
    growth = np.expm1(log_area_ratio)
    widened, beta = 1.0 + growth, 0.5 * (gamma - 1.0)
    square = np.exp(2.0 * (log_flow_before - log_impulse))
    root = np.sqrt(np.maximum(1.0 - 4.0 * widened * square * (gamma - beta * widened), 0.0))
    linear = np.maximum(1.0 - 2.0 * gamma * widened * square + root, 1e-30)
    mach_squared = np.minimum(2.0 * square * widened * widened / linear, 1.0)
    before = log_impulse - np.log1p(growth / (1.0 + gamma * mach_squared))
    narrowed = log_area_ratio < -0.01
    if not narrowed.any():
        return before
    after = mach_squared_from_impulse(np.exp(2.0 * (log_flow_after - log_impulse)), gamma)
    loss = -0.25 * np.minimum(growth, 0.0) * gamma * after
    log_stagnation = (
        log_impulse - log_area - log_area_ratio + np.log((stagnation_ratio(after, gamma) + loss) / (1.0 + gamma * after))
    )
    spare = log_area + log_stagnation - log_flow_after + np.log(vandenkerckhove(gamma) / np.sqrt(gamma))
    mixed = np.exp(2.0 * log_mach(np.clip(spare, 0.0, 40.0), gamma, subsonic=True))
    wide = log_stagnation + log_area + np.log((1.0 + gamma * mixed) / stagnation_ratio(mixed, gamma))
    return np.asarray(np.where(narrowed, wide, before))


def profile(flow: Array, area: Array, throat_area: Array, gamma: Array, guess: Profile) -> Profile:
    """Port flow along the grains, one sweep from the nozzle to the head.

    Parameters
    ----------
    flow : Array
        Mass flow at each node over p₀·throat_area/c*, (n, grains, nodes). [-]
    area : Array
        Of the core, (n, grains, nodes). [m2]
    throat_area : Array
        (n,). [m2]
    gamma : Array
        Ratio of specific heats; arrays broadcast. [-]
    guess : Profile
        A neighbouring profile, whose Mach numbers weigh the changes of area along each grain.

    Returns
    -------
    Profile
        Never NaN: a choked port gives M = 1 at the choking node and a raised pressure upstream of it. [-]

    Notes
    -----
    With cores straight along each grain one sweep is exact; otherwise sweeps converge to the profile, quickly while the cores
    are nearly straight.
    """
    n, grains, nodes = area.shape
    wide = gamma[:, None, None]
    log_area = np.log(area)
    log_factor = np.log(vandenkerckhove(gamma) / np.sqrt(gamma) * throat_area)
    log_flow = np.log(np.maximum(flow, 1e-30)) + log_factor[:, None, None]
    spare = log_area[:, -1, -1] - np.log(throat_area) - log_flow[:, -1, -1] + log_factor
    square = np.exp(2.0 * log_mach(np.minimum(np.maximum(spare, 0.0), 40.0), gamma, subsonic=True))
    push = np.log((1.0 + gamma * square) / stagnation_ratio(square, gamma))

    # ln F(nozzle face) − ln F(node), and the ln F at the nozzle face below which some node from here on would choke
    weight = 0.5 / (1.0 + wide * guess.mach_squared)
    rise = np.zeros((n, grains, nodes))
    rise[:, :, :-1] = (log_area[:, :, 1:] - log_area[:, :, :-1]) * (weight[:, :, 1:] + weight[:, :, :-1])
    rise = np.cumsum(rise[:, :, ::-1], axis=2)[:, :, ::-1]
    least = log_flow + 0.5 * np.log(2.0 * (gamma + 1.0))[:, None, None] + rise
    least = np.maximum.accumulate(least[:, :, ::-1], axis=2)[:, :, ::-1]
    face = np.empty((n, grains))
    face[:, -1] = log_area[:, -1, -1] + push - np.minimum(spare, 0.0)
    for grain in range(grains - 2, -1, -1):
        entry = np.maximum(face[:, grain + 1], least[:, grain + 1, 0]) - rise[:, grain + 1, 0]
        face[:, grain] = impulse_before_step(
            entry,
            log_area[:, grain + 1, 0] - log_area[:, grain, -1],
            log_flow[:, grain, -1],
            log_flow[:, grain + 1, 0],
            log_area[:, grain, -1],
            gamma,
        )
    choked = (least > face[:, :, None] + 1e-12).any(axis=(1, 2)) | (spare < 0.0)
    log_impulse = np.maximum(face[:, :, None], least) - rise
    squares = mach_squared_from_impulse(np.exp(2.0 * (log_flow - log_impulse)), wide)
    log_pressure = log_impulse - log_area - np.log1p(wide * squares)
    head = np.exp(log_impulse[:, 0, 0] - log_area[:, 0, 0])
    return Profile(log_pressure, squares, head, choked)
