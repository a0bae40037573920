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
    """The port flow of a batch at one moment; head end first along the grain and station axes.

    `pressure` (n, grains, stations): static pressure over the stagnation pressure at the nozzle entry. [-]
    `mach_squared` (n, grains, stations); `exit_mach_squared`, `entry_mach_squared` (n, grains). [-]
    `head` (n,): static pressure at the head end over that stagnation pressure. [-]
    `choked` (n,): whether the port chokes somewhere.
    """

    pressure: Array
    mach_squared: Array
    exit_mach_squared: Array
    entry_mach_squared: Array
    head: Array
    choked: NDArray[np.bool_]


def still(shape: tuple[int, int, int]) -> Profile:
    """A profile without flow, the guess to start `profile` from."""
    n, grains, _ = shape
    return Profile(
        np.ones(shape), np.zeros(shape), np.zeros((n, grains)), np.zeros((n, grains)), np.ones(n), np.zeros(n, bool)
    )


def step_impulse_ratio(before: Array, after: Array, before_square: Array, after_square: Array, gamma: Array) -> Array:
    """ln(F₂/F₁) of the impulse pA(1 + γM²) over a step in core area; broadcasts. [-]

    `before`, `after`: areas [m²] up- and downstream; `before_square`: M² in the area before, `after_square`: M² in the
    area after. Enlargement: F₂ = F₁ + p₁(A₂ − A₁). Contraction: p₀₁ = p₀₂ + K·½γM₂²p₂, K = ½(1 − A₂/A₁).
    """
    growth = after / before - 1.0
    enlarged = np.log1p(np.maximum(growth, 0.0) / (1.0 + gamma * before_square))
    loss = -0.25 * np.minimum(growth, 0.0) * gamma * after_square
    upstream = np.log((1.0 + gamma * before_square) / stagnation_ratio(before_square, gamma))
    downstream = np.log((stagnation_ratio(after_square, gamma) + loss) / (1.0 + gamma * after_square))
    narrowed = np.log(after / before) - upstream - downstream
    return np.asarray(np.where(growth >= 0.0, enlarged, narrowed))


def profile(
    entry_flow: Array, centre_flow: Array, exit_flow: Array, area: Array, throat_area: Array, gamma: Array, guess: Profile
) -> Profile:
    """Port flow along the grains, one sweep from the nozzle to the head.

    `entry_flow`, `exit_flow` (n, grains), `centre_flow` (n, grains, stations): mass flow at the head face, at the nozzle
    face and at the middle of each station, over p₀·throat_area/c* [-]; `area` (n, grains, stations): core area [m²];
    `throat_area` (n,) [m²]; `gamma` (n,) [-]; `guess`: a neighbouring profile, whose Mach numbers weigh the changes of
    area. With constant area one sweep is exact; otherwise sweeps converge to the profile, quickly while M² is small.
    Never NaN: a choked port gives M = 1 at the choking station and a raised pressure upstream of it.
    """
    n, grains, stations = area.shape
    g1, g2, g3 = gamma, gamma[:, None], gamma[:, None, None]
    factor = vandenkerckhove(gamma) / np.sqrt(gamma) * throat_area
    last = area[:, -1, -1]
    flow = np.maximum(exit_flow[:, -1], 1e-12)
    square = np.exp(2.0 * log_mach(np.log(np.maximum(last / (flow * throat_area), 1.0)), g1, subsonic=True))
    aft = np.maximum(last * (1.0 + g1 * square) / stagnation_ratio(square, g1), factor * flow * np.sqrt(2.0 * (g1 + 1.0)))

    change = np.empty((n, grains, stations))  # ln F(next) − ln F(here); the last station's next is the next grain
    inner = np.log(area[:, :, 1:] / area[:, :, :-1])
    weight = 1.0 / (1.0 + g3 * guess.mach_squared)
    change[:, :, :-1] = 0.5 * inner * (weight[:, :, 1:] + weight[:, :, :-1])
    change[:, :, -1] = 0.0
    if grains > 1:
        change[:, :-1, -1] = step_impulse_ratio(
            area[:, :-1, -1], area[:, 1:, 0], guess.exit_mach_squared[:, :-1], guess.entry_mach_squared[:, 1:], g2
        )
    flat = change.reshape(n, -1)
    log_impulse = np.log(aft)[:, None] - np.cumsum(flat[:, ::-1], axis=1)[:, ::-1]
    scaled = factor[:, None] * np.abs(centre_flow.reshape(n, -1))
    least = np.sqrt(2.0 * (g2 + 1.0)) * scaled
    least[:, stations - 1 :: stations] *= np.maximum(exit_flow / np.maximum(centre_flow[:, :, -1], 1e-300), 1.0)
    impulse = np.exp(log_impulse)
    short = least > impulse * (1.0 + 1e-12)
    if short.any():
        missing = np.where(short, np.log(np.maximum(least, 1e-300)) - log_impulse, 0.0)
        impulse = impulse * np.exp(np.maximum.accumulate(missing[:, ::-1], axis=1)[:, ::-1])
    squares = mach_squared_from_impulse((scaled / impulse) ** 2, g2).reshape(n, grains, stations)
    impulse = impulse.reshape(n, grains, stations)
    pressure = impulse / (area * (1.0 + g3 * squares))
    exits = mach_squared_from_impulse((factor[:, None] * exit_flow / impulse[:, :, -1]) ** 2, g2)
    entries = mach_squared_from_impulse((factor[:, None] * entry_flow / impulse[:, :, 0]) ** 2, g2)
    head = impulse[:, 0, 0] / area[:, 0, 0]
    choked = short.any(axis=1) | (last < flow * throat_area)
    return Profile(pressure, squares, exits, entries, head, choked)
