"""What the gas does to the wall behind the last grain: the film where the port opens into the chamber.

Owns the film of a sudden enlargement with its low and high bounds. The relations of Bartz, Dittus and Boelter and of
natural convection stand in `physics.heat.walls`. Imports numpy and physics.motors (the Array type).
"""

from __future__ import annotations

import numpy as np

from physics.motors import Array

PEAK_STEPS = 8.0
"""Step heights behind an enlargement at which the film is highest (remembered)."""

AT_STEP = 0.3
"""Share of the highest film at the step itself: judgement."""


def enlarged_coefficient(
    mass_flow: Array,
    port_diameter: Array,
    bore: Array,
    distance: Array,
    viscosity: Array,
    conductivity: Array,
    pipe: Array,
) -> Array:
    """Film on the wall of a pipe behind a sudden enlargement. [W/(m2 K)]

    Highest 8 step heights behind the step, Nu = 0.20·Re^(2/3) with Nu on the wide and Re on the narrow bore; 0.3 of it at
    the step, rising evenly; kept at its highest beyond; never under half of what pipe flow gives in the wide bore.

    Parameters
    ----------
    mass_flow : Array
        Through the port [kg/s]; arrays broadcast.
    port_diameter, bore : Array
        Narrow and wide [m].
    distance : Array
        From the end of the port along the wall [m].
    viscosity, conductivity : Array
        Of the gas [Pa s], [W/(m K)].
    pipe : Array
        Film of pipe flow in the wide bore [W/(m2 K)].

    Notes
    -----
    For turbulent flow in the port. Half of the pipe's film is the low bound, the relation of Bartz at the port the high
    one: with scatter of three either way.

    References
    ----------
    P. P. Zemanick and R. S. Dougall, J. Heat Transfer 92, 1970 (remembered). The rise from the step and the floor are
    judgement.
    """
    reynolds = 4.0 * np.asarray(mass_flow, dtype=float) / (np.pi * port_diameter * viscosity)
    peak = 0.20 * np.cbrt(reynolds) ** 2 * conductivity / bore
    step = np.maximum(0.5 * (bore - port_diameter), 1e-9)
    rising = AT_STEP + (1.0 - AT_STEP) * np.minimum(distance / (PEAK_STEPS * step), 1.0)
    return np.asarray(np.maximum(peak * rising, 0.5 * pipe))
