"""Motor, propellant, study, stock and firing files, checked and in SI; every problem names file, line, key and cure.

Nothing here evaluates text. Imports the vocabulary, the units, the shop and the types of the kernel.
"""

from optimizer.inputs.aims import Limit, Objective
from optimizer.inputs.firing import FINDINGS, Firing, FiringColumn, Instrument, Observed, Sighting, load_firing
from optimizer.inputs.motor import (
    MotorFile,
    PropellantFile,
    load_motor,
    load_propellant,
    motor_from_document,
    motor_from_text,
    propellant_from_text,
)
from optimizer.inputs.spans import Span, SpanValue
from optimizer.inputs.study import Driver, Study, load_study
from optimizer.inputs.writing import motor_text, propellant_text
from optimizer.problems import CODES, InputError, Problem

__all__ = [
    "CODES",
    "FINDINGS",
    "Driver",
    "Firing",
    "FiringColumn",
    "InputError",
    "Instrument",
    "Limit",
    "MotorFile",
    "Objective",
    "Observed",
    "Problem",
    "PropellantFile",
    "Sighting",
    "Span",
    "SpanValue",
    "Study",
    "load_firing",
    "load_motor",
    "load_propellant",
    "load_study",
    "motor_from_document",
    "motor_from_text",
    "motor_text",
    "propellant_from_text",
    "propellant_text",
]
