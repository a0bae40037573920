"""What a kernel says of a motor: the one table of its figures.

Owns names, SI units, meanings and groups; everything that shows, limits or aims for a figure reads them here. Imports nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Figure(NamedTuple):
    """What a figure is: its SI unit ("1" for a pure number), its meaning, and the group it is shown in."""

    unit: str
    meaning: str
    group: str


PRESSURE, SURFACE, THRUST, PORT, MASS = (
    "pressure", "burning surface over throat", "thrust and impulse", "port", "mass",
)  # fmt: skip
GROUPS: tuple[str, ...] = (PRESSURE, SURFACE, THRUST, PORT, MASS)
"""Titles of the groups in which figures are shown, in that order."""

FIGURES: dict[str, Figure] = {
    "peak_pressure": Figure("Pa", "highest chamber pressure (stagnation, at the nozzle entry)", PRESSURE),
    "peak_head_pressure": Figure("Pa", "highest static pressure at the head end", PRESSURE),
    "mean_pressure": Figure("Pa", "mean chamber pressure over the burn time", PRESSURE),
    "initial_pressure": Figure("Pa", "chamber pressure at the start of the burn", PRESSURE),
    "pressure_integral": Figure("Pa*s", "integral of chamber pressure", PRESSURE),
    "head_pressure_ratio": Figure("1", "largest head pressure over chamber pressure", PRESSURE),
    "highest_kn": Figure("1", "largest burning area over throat area", SURFACE),
    "kn_at_ignition": Figure("1", "burning area over throat area at ignition", SURFACE),
    "final_throat_diameter": Figure("m", "throat diameter at burnout", SURFACE),
    "total_impulse": Figure("N*s", "integral of thrust", THRUST),
    "peak_thrust": Figure("N", "highest thrust", THRUST),
    "mean_thrust": Figure("N", "mean thrust over the burn time", THRUST),
    "burn_time": Figure("s", "time until the last web is gone", THRUST),
    "action_time": Figure("s", "time between the 10 % of peak pressure points", THRUST),
    "specific_impulse": Figure("s", "total impulse over propellant weight", THRUST),
    "thrust_coefficient": Figure("1", "total impulse over throat area times the pressure integral", THRUST),
    "highest_port_mach": Figure("1", "largest Mach number in a port", PORT),
    "highest_mass_flux": Figure("kg/m^2/s", "largest mass flux in a port", PORT),
    "port_over_throat": Figure("1", "smallest port area over throat area at ignition", PORT),
    "propellant_mass": Figure("kg", "propellant mass", MASS),
    "peak_mass_flow": Figure("kg/s", "largest mass flow through the nozzle", MASS),
}
"""Every figure of a kernel, in the order in which it is shown and written."""

FLIGHT = "flight"
"""Title of the group of the figures of a flight."""


def in_groups(names: Iterable[str]) -> dict[str, list[str]]:
    """Names of figures by the title of their group, in the table's order.

    Parameters
    ----------
    names : iterable of str
        Names that are no figure are left out.

    Returns
    -------
    dict
        Title of a group to its names.

    Examples
    --------
    >>> in_groups(["port_over_throat", "mean_pressure", "peak_pressure"])
    {'pressure': ['peak_pressure', 'mean_pressure'], 'port': ['port_over_throat']}
    """
    asked = set(names)
    found = {group: [name for name, figure in FIGURES.items() if figure.group == group and name in asked] for group in GROUPS}
    return {group: members for group, members in found.items() if members}


FLIGHT_FIGURES: dict[str, tuple[str, str]] = {
    "liftoff_mass": ("mass", "rocket, motor and propellant at ignition"),
    "thrust_to_weight": ("ratio", "mean thrust over the guided travel over lift-off weight"),
    "mean_thrust_to_weight": ("ratio", "mean thrust of the burn over lift-off weight"),
    "rail_exit_speed": ("speed", "speed at the end of the guided travel"),
    "coldest_rail_exit_speed": ("speed", "the same with the propellant at the coldest soak temperature"),
    "rail_exit_time": ("time", "time from ignition to the end of the guided travel"),
    "burnout_speed": ("speed", "speed when the thrust ends"),
    "burnout_altitude": ("height", "height above ground when the thrust ends"),
    "maximum_speed": ("speed", "highest speed of the ascent"),
    "maximum_mach": ("ratio", "highest Mach number of the ascent"),
    "maximum_acceleration": ("acceleration", "highest rate of change of speed under thrust"),
    "maximum_felt_acceleration": ("acceleration", "the same as an accelerometer along the axis reads it"),
    "maximum_deceleration": ("acceleration", "highest loss of speed a second after burnout"),
    "maximum_dynamic_pressure": ("dynamic pressure", "highest dynamic pressure of the ascent"),
    "maximum_dynamic_pressure_time": ("time", "time of the highest dynamic pressure"),
    "apogee": ("height", "greatest height above ground, an upper bound"),
    "apogee_above_sea": ("height", "greatest height above sea level, an upper bound"),
    "time_to_apogee": ("time", "time from ignition to apogee"),
    "coast_time": ("time", "time from burnout to apogee: the delay"),
    "downrange": ("height", "horizontal distance at apogee, without wind"),
    "speed_at_apogee": ("speed", "speed at apogee, without wind"),
    "centre_of_mass_travel": ("length", "how far the centre of mass moves while the motor burns"),
}
"""Every figure of a flight, in the order in which it is shown: what it is a quantity of, and what it says."""
