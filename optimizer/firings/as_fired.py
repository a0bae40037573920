"""The motor as it was fired: the motor file with what was weighed and measured on the day in its place.

Imports inputs and physics.
"""

from __future__ import annotations

import numpy as np

from optimizer.inputs import Firing
from physics import constants
from physics.mass import masses
from physics.motors import Motors


def motors_of(firing: Firing) -> Motors | None:
    """The motor as fired: the motor file with what was weighed and measured on the day put in its place.

    A weighed propellant mass is put into the density, a throat measured before the firing into the throat.
    """
    if firing.motor is None:
        return None
    motors, day = firing.motor.motors, firing.measured
    names = {
        "throat_diameter_before": "nozzle.throat_diameter",
        "ambient_pressure": "ambient.pressure",
        "temperature": "ambient.temperature",
    }
    motors = motors.with_values({column: np.array([day[name]]) for name, column in names.items() if name in day})
    if "propellant_mass" in day:
        ratio = day["propellant_mass"] / computed_mass(motors)
        motors = motors.with_values({"propellant.density": motors.propellant.density * ratio})
    return motors


def computed_mass(motors: Motors) -> float:
    """Propellant mass by dimensions and density. [kg]"""
    return float(np.ravel(masses(motors)["propellant"])[0])


def ambient_of(firing: Firing) -> float:
    """Pressure of the air at the firing: as measured, else of the motor file, else standard. [Pa]"""
    if "ambient_pressure" in firing.measured:
        return firing.measured["ambient_pressure"]
    return constants.STANDARD_ATMOSPHERE if firing.motor is None else float(np.ravel(firing.motor.motors.ambient.pressure)[0])


def throat_of(firing: Firing) -> float | None:
    """Throat diameter before the firing: as measured, else of the motor file. [m]"""
    if "throat_diameter_before" in firing.measured:
        return firing.measured["throat_diameter_before"]
    return None if firing.motor is None else float(np.ravel(firing.motor.motors.nozzle.throat_diameter)[0])


def mass_of(firing: Firing) -> float | None:
    """Propellant mass: as weighed, else of the motor file. [kg]"""
    if "propellant_mass" in firing.measured:
        return firing.measured["propellant_mass"]
    return None if firing.motor is None else computed_mass(firing.motor.motors)
