"""One-dimensional flow along the core of a motor: static pressure, Mach number, mass flux.

Owns the quasi-steady flow with mass addition along many grains that the transient kernel uses. For one constant-area port
the ratio of head to nozzle-entry pressure has a closed form, `head_pressure_ratio`, kept with the isentropic relations and
offered here too. Imports numpy, `physics.motors` and `physics.nozzle`.

Model. Gas of constant stagnation temperature enters at the walls without axial momentum. In a duct of constant area
the impulse pA(1 + γM²) then stays constant (friction neglected), so p_head/p_aft = 1 + γM². Where the area changes
along a grain, d(pA(1 + γM²)) = p dA. At a step to a larger core the pressure of the stream acts on the annulus
(Borda–Carnot); at a step to a smaller core stagnation pressure is lost, K = ½(1 − A₂/A₁) of the dynamic pressure in
the smaller core (sharp edge). A gap between two equal grains is crossed as a free jet: its end faces add mass only.
From the last core to the nozzle entry the flow is isentropic. Where the flow that the nozzle asks for would pass
Mach 1 in the port, the port chokes there and everything upstream is lifted to the pressure that forces the flow through.

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

from physics.motors import Array
from physics.nozzle import head_pressure_ratio, log_mach, vandenkerckhove

__all__ = [
    "Profile", "head_pressure_ratio", "mach_squared_from_impulse", "profile", "stagnation_ratio", "step_impulse_ratio",
    "still",
]


def stagnation_ratio(mach_squared: Array, gamma: Array) -> Array:
    """p₀/p = (1 + (γ−1)/2·M²)^(γ/(γ−1)); broadcasts. [-]"""
    return np.asarray(np.exp(gamma / (gamma - 1.0) * np.log1p(0.5 * (gamma - 1.0) * mach_squared)))


def mach_squared_from_impulse(flow_squared: Array, gamma: Array) -> Array:
    """M² of the subsonic state with y² = M²(1 + (γ−1)/2·M²)/(1 + γM²)²; broadcasts. [-]

    y = ṁ√(RT₀/γ)/F with F the impulse pA(1 + γM²). Closed form, a root of a quadratic; above the choking value
    y² = 1/(2(γ+1)) the sonic state is returned (a caller that cares compares y² first).

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
    `mach_squared` (n, grains, nodes). [-]  `head` (n,): static pressure at the head end over that stagnation pressure. [-]
    `choked` (n,): whether the port chokes somewhere.
    """

    log_pressure: Array
    mach_squared: Array
    head: Array
    choked: NDArray[np.bool_]


def still(shape: tuple[int, int, int]) -> Profile:
    """A profile without flow, (n, grains, nodes): the guess to start `profile` from."""
    return Profile(np.zeros(shape), np.zeros(shape), np.ones(shape[0]), np.zeros(shape[0], bool))


def step_impulse_ratio(
    log_area_ratio: Array, before_square: Array, after_square: Array, flow_ratio: Array, gamma: Array
) -> Array:
    """ln(F₂/F₁) of the impulse pA(1 + γM²) over a gap with a step in core area; broadcasts. [-]

    `log_area_ratio` = ln(A₂/A₁), 2 downstream; `before_square`: M² at the end of area 1; `after_square`: M² at the start of
    area 2; `flow_ratio` = ṁ₂/ṁ₁, the gas of the faces in the gap added. Enlargement: F₂ = F₁ + p₁(A₂ − A₁). Contraction: the
    gas is added at area 1 first, then p₀₁ = p₀₂ + K·½γM₂²p₂, K = ½(1 − A₂/A₁). Without a step F stays as it is.
    """
    growth = np.expm1(log_area_ratio)
    enlarged = np.log1p(growth / (1.0 + gamma * before_square))
    if (growth >= 0.0).all():
        return enlarged
    relative = before_square * (1.0 + 0.5 * (gamma - 1.0) * before_square) / (1.0 + gamma * before_square) ** 2
    mixed = mach_squared_from_impulse(relative * flow_ratio * flow_ratio, gamma)
    loss = -0.25 * growth * gamma * after_square
    upstream = np.log((1.0 + gamma * mixed) / stagnation_ratio(mixed, gamma))
    downstream = np.log((stagnation_ratio(after_square, gamma) + loss) / (1.0 + gamma * after_square))
    return np.asarray(np.where(growth >= 0.0, enlarged, log_area_ratio - upstream - downstream))


def profile(flow: Array, area: Array, throat_area: Array, gamma: Array, guess: Profile) -> Profile:
    """Port flow along the grains, one sweep from the nozzle to the head.

    `flow` (n, grains, nodes): mass flow at each node over p₀·throat_area/c* [-]; `area` (n, grains, nodes): core area [m²];
    `throat_area`, `gamma` (n,) [m², -]; `guess`: a neighbouring profile, whose Mach numbers weigh the changes of area.
    With constant area one sweep is exact; otherwise sweeps converge to the profile, quickly while M² is small. Never
    NaN: a choked port gives M = 1 at the choking node and a raised pressure upstream of it.
    """
    n, grains, nodes = area.shape
    wide = gamma[:, None, None]
    log_area = np.log(area)
    log_factor = np.log(vandenkerckhove(gamma) / np.sqrt(gamma) * throat_area)
    log_flow = np.log(np.maximum(flow, 1e-30)) + log_factor[:, None, None]
    spare = log_area[:, -1, -1] - np.log(throat_area) - log_flow[:, -1, -1] + log_factor
    square = np.exp(2.0 * log_mach(np.minimum(np.maximum(spare, 0.0), 40.0), gamma, subsonic=True))
    aft = log_area[:, -1, -1] + np.log((1.0 + gamma * square) / stagnation_ratio(square, gamma)) - np.minimum(spare, 0.0)

    change = np.zeros((n, grains, nodes))  # ln F(next) − ln F(here); the next of the last node is in the next grain
    weight = 0.5 / (1.0 + wide * guess.mach_squared)
    change[:, :, :-1] = (log_area[:, :, 1:] - log_area[:, :, :-1]) * (weight[:, :, 1:] + weight[:, :, :-1])
    if grains > 1:
        change[:, :-1, -1] = step_impulse_ratio(
            log_area[:, 1:, 0] - log_area[:, :-1, -1], guess.mach_squared[:, :-1, -1], guess.mach_squared[:, 1:, 0],
            np.minimum(flow[:, 1:, 0] / np.maximum(flow[:, :-1, -1], 1e-30), 1e9), gamma[:, None],
        )
    log_impulse = aft[:, None] - np.cumsum(change.reshape(n, -1)[:, ::-1], axis=1)[:, ::-1]
    flat = log_flow.reshape(n, -1)
    missing = flat + 0.5 * np.log(2.0 * (gamma + 1.0))[:, None] - log_impulse
    short = missing > 1e-12
    if short.any():
        lift = np.where(short, missing, 0.0)
        log_impulse = log_impulse + np.maximum.accumulate(lift[:, ::-1], axis=1)[:, ::-1]
    log_impulse = log_impulse.reshape(n, grains, nodes)
    squares = mach_squared_from_impulse(np.exp(2.0 * (log_flow - log_impulse)), wide)
    log_pressure = log_impulse - log_area - np.log1p(wide * squares)
    head = np.exp(log_impulse[:, 0, 0] - log_area[:, 0, 0])
    return Profile(log_pressure, squares, head, short.any(axis=1) | (spare < 0.0))
