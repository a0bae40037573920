"""Ratios of isentropic flow in the forms that tables print, each made of what the product itself computes.

The product needs the pressure ratio, the Mach number of an area and the flow through a throat; what tables print beside
them (temperature, density, area) follows from those for an isentropic perfect gas. Imports numpy and physics.
"""

from __future__ import annotations

import numpy as np

from physics.ballistics import nozzle


def temperature_ratio(mach, gamma):
    """Static over stagnation temperature, (p/p0)^((γ−1)/γ)."""
    return nozzle.pressure_ratio(mach, gamma) ** ((gamma - 1.0) / gamma)


def density_ratio(mach, gamma):
    """Static over stagnation density, (p/p0)^(1/γ)."""
    return nozzle.pressure_ratio(mach, gamma) ** (1.0 / gamma)


def area_ratio(mach, gamma):
    """Area over sonic area, from the same mass flow through both: Γ·p0·A*/√(R·T0) = ρ·v·A."""
    flux = nozzle.pressure_ratio(mach, gamma) * mach * np.sqrt(gamma / temperature_ratio(mach, gamma))
    return nozzle.vandenkerckhove(gamma) / flux


def exit_pressure_ratio(expansion_ratio, gamma):
    """Exit over chamber pressure of a nozzle flowing full."""
    return nozzle.pressure_ratio(nozzle.mach_from_area_ratio(expansion_ratio, gamma), gamma)


def ideal_thrust_coefficient(expansion_ratio, gamma, ambient_over_chamber):
    """Thrust coefficient of a lossless nozzle flowing full."""
    mach = nozzle.mach_from_area_ratio(expansion_ratio, gamma)
    vacuum = nozzle.full_flow_coefficients(mach, nozzle.pressure_ratio(mach, gamma), expansion_ratio, gamma, np.asarray(1.0))
    return vacuum - ambient_over_chamber * expansion_ratio
