"""What a kernel says of a motor: the one table of its figures.

Owns names, SI units and meanings; everything that shows, limits or aims for a figure reads them here. Imports nothing.
"""

from __future__ import annotations

from typing import NamedTuple


class Figure(NamedTuple):
    """What a figure is: its SI unit ("1" for a pure number) and its meaning."""

    unit: str
    meaning: str


FIGURES: dict[str, Figure] = {
    "peak_pressure": Figure("Pa", "highest chamber pressure (stagnation, at the nozzle entry)"),
    "peak_head_pressure": Figure("Pa", "highest static pressure at the head end"),
    "mean_pressure": Figure("Pa", "mean chamber pressure over the burn time"),
    "initial_pressure": Figure("Pa", "chamber pressure at the start of the burn"),
    "burn_time": Figure("s", "time until the last web is gone"),
    "action_time": Figure("s", "time between the 10 % of peak pressure points"),
    "total_impulse": Figure("N*s", "integral of thrust"),
    "mean_thrust": Figure("N", "mean thrust over the burn time"),
    "peak_thrust": Figure("N", "highest thrust"),
    "propellant_mass": Figure("kg", "propellant mass"),
    "specific_impulse": Figure("s", "total impulse over propellant weight"),
    "initial_kn": Figure("1", "burning area over throat area at ignition"),
    "peak_kn": Figure("1", "largest burning area over throat area"),
    "port_to_throat_area": Figure("1", "smallest port area over throat area at ignition"),
    "peak_mass_flux": Figure("kg/m^2/s", "largest mass flux in a port"),
    "peak_mass_flow": Figure("kg/s", "largest mass flow through the nozzle"),
    "peak_port_mach": Figure("1", "largest Mach number in a port"),
    "head_pressure_ratio": Figure("1", "largest head pressure over chamber pressure"),
    "thrust_coefficient": Figure("1", "total impulse over throat area times the pressure integral"),
    "pressure_integral": Figure("Pa*s", "integral of chamber pressure"),
    "final_throat_diameter": Figure("m", "throat diameter at burnout"),
}
