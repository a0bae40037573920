"""Physical constants, SI.

Owns the numbers that belong to nature or to a convention, never to a motor. Imports nothing.
Sources: CODATA 2018 (gas constant, exact), CGPM 1901 (standard gravity, exact), ISO 2533 (standard atmosphere, exact).
"""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall. [m/s2]"""

GAS_CONSTANT = 8.314462618
"""Molar gas constant. [J/mol/K]"""

STANDARD_ATMOSPHERE = 101325.0
"""Standard atmosphere. [Pa]"""

ZERO_CELSIUS = 273.15
"""0 degrees Celsius. [K]"""
