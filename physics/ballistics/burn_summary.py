"""What the steady kernel finds of a burn, by either of its ways, and every figure and flag that follows from it.

Owns `Findings`, which the general way (`physics.ballistics.steady`) and the short one (`physics.ballistics.smooth`) fill in, and
the arithmetic that makes figures and flags of them, so that the two cannot disagree about what a figure means. Source:
definition of each figure. Imports constants, motors, portflow, regimes and stretches.

Shapes: n motors of a block; of a lean block (`Columns.lean`) what all motors share may be (1,) instead of (n,).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.ballistics.port_flow import PortExtremes
from physics.ballistics.regimes import Regimes
from physics.ballistics.stretches import Columns, Mask
from physics.constants import STANDARD_GRAVITY
from physics.motors import Array


@dataclass(frozen=True)
class Pressures:
    """Chamber pressures [Pa] of each motor over the burn, exact, with the highest Kn [-]; (n,) each.

    Kn is concave on every stretch and pressure grows with Kn, so all of them stand at the ends of a stretch or at its
    top. Where there is nothing to burn `highest_kn` is 0.
    """

    highest_kn: Array
    peak: Array
    initial: Array
    lowest: Array


@dataclass(frozen=True)
class Integrals:
    """Time [s], pressure integral [Pa s] and impulse [N s] of each piece or motor."""

    time: Array
    pressure: Array
    impulse: Array


@dataclass(frozen=True)
class Findings:
    """What was found for the motors of a block, (n,) or (1,) each, SI; every figure and flag follows from it.

    `mach` is the highest Mach number in the port, `head_ratio` the highest ratio of head to chamber pressure.
    """

    mass: Array
    kn_at_ignition: Array
    pressures: Pressures
    peak_thrust: Array
    burn: Integrals
    action_time: Array
    port: PortExtremes
    mach: Array
    head_ratio: Array


def values(batch: Columns, found: Findings) -> dict[str, Array]:
    """Every figure of a block.

    Parameters
    ----------
    batch : Columns
        Of n motors, SI.
    found : Findings
        Of the same.

    Returns
    -------
    dict
        By the names of `physics.figures`, (n,) or (1,), SI. Source: definition of each.
    """
    burn, port, mass, pressures = found.burn, found.port, found.mass, found.pressures
    with np.errstate(divide="ignore", invalid="ignore"):
        return {
            "peak_pressure": pressures.peak,
            "peak_head_pressure": port.head_pressure,
            "mean_pressure": burn.pressure / burn.time,
            "initial_pressure": pressures.initial,
            "pressure_integral": burn.pressure,
            "head_pressure_ratio": found.head_ratio,
            "highest_kn": pressures.highest_kn,
            "kn_at_ignition": found.kn_at_ignition,
            "final_throat_diameter": batch.throat_diameter,
            "total_impulse": burn.impulse,
            "peak_thrust": found.peak_thrust,
            "mean_thrust": burn.impulse / burn.time,
            "burn_time": burn.time,
            "action_time": found.action_time,
            "specific_impulse": burn.impulse / (mass * STANDARD_GRAVITY),
            "thrust_coefficient": burn.impulse / (batch.throat_area * burn.pressure),
            "highest_port_mach": found.mach,
            "highest_mass_flux": port.mass_flux,
            "port_over_throat": port.initial_ratio,
            "propellant_mass": mass,
            "peak_mass_flow": pressures.peak * batch.throat_area / batch.characteristic_velocity,
        }


def flags(batch: Columns, flow: Regimes, found: Findings, several: Mask) -> dict[str, Mask]:
    """Every flag that the steady kernel judges motor by motor.

    Parameters
    ----------
    batch : Columns
        Of n motors, SI.
    flow : Regimes
        Their nozzles.
    found : Findings
        Of the same.
    several : ndarray
        Mask of the motors with several equilibria, (n,) or (1,).

    Returns
    -------
    dict
        Masks by the names of `physics.ballistics.kernel.FLAGS`, (n,) or (1,).
    """
    slack = 1e-9
    state = found.pressures
    dead = state.highest_kn <= 0.0
    below = state.lowest < batch.characterised_from * (1.0 - slack)
    above = state.peak > batch.characterised_to * (1.0 + slack)
    unchoked = (state.lowest < flow.sonic) & (batch.ambient_pressure > 0.0)
    return {
        "port_choked": np.asarray(found.port.smallest_ratio < 1.0),
        "flow_separated": np.asarray((state.lowest < flow.onset) & ~dead & (state.peak >= flow.sonic)),
        "outside_characterised_pressure": np.asarray((below | above) & ~dead),
        "several_equilibria": several,
        "nozzle_unchoked": np.asarray(unchoked & ~dead),
        "extinguished": np.asarray(dead),
    }
