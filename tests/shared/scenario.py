"""The invented motor of the tests: the sections of its file, to be joined, and changed by replacement.

Every number is made up. A test that rests on a number of its own says so with `changed`, which refuses to replace what
is not there. Imports nothing.
"""

from __future__ import annotations

PROPELLANT = """[propellant]
name = "invented"
density = "1700 kg/m^3"
characteristic_velocity = "1480 m/s"
gamma = 1.21
molar_mass = "24 g/mol"
"""
RATE = """[[propellant.rate]]
from = "0.7 MPa"
to = "9 MPa"
rate = "6.5 mm/s"
at = "5 MPa"
exponent = 0.33
"""
GRAINS = """[[grain]]
count = 3
length = "75 mm"
outer_diameter = "46 mm"
core_diameter = "18 mm"
burning_ends = 2
"""
NOZZLE = """[nozzle]
throat_diameter = "13.5 mm"
exit_diameter = "34 mm"
half_angle = "14 deg"
efficiency = 0.95
"""
CASE = """[case]
material = "6061-T6"
outer_diameter = "57.2 mm"
wall = "3.2 mm"
length = "330 mm"
"""
LINER = """[liner]
material = "paper-phenolic"
thickness = "1.6 mm"
"""
FORWARD = """[forward_closure]
retention = "radial-screws"
screw = "#10-24 UNC"
grade = "A2-70"
count = 8
edge_distance = "14 mm"
shear_plane = "threads"
ring_material = "6061-T6"
plate_thickness = "12 mm"
"""
AFT = FORWARD.replace("forward", "aft")
SEAL = """[forward_closure.seal]
rings = 2
cross_section = "3.53 mm"
gland_depth = "2.8 mm"
gap = "0.05 mm"
hardness = 70
"""


AIRFRAME = """[airframe]
inner_diameter = "60 mm"
clearance = "1 mm"
"""
AMBIENT = """[ambient]
soak = ["-5 degC", "40 degC"]
"""


def named(name: str) -> str:
    """The head of a motor file."""
    return f'schema = 1\nname = "{name}"\n'


def changed(text: str, *pairs: tuple[str, str]) -> str:
    """The text with each old piece, which must stand there once, replaced by its new one.

    >>> changed(CASE, ("330 mm", "420 mm")).splitlines()[-1]
    'length = "420 mm"'
    """
    for old, new in pairs:
        if text.count(old) != 1:
            raise ValueError(f"{old!r} stands there {text.count(old)} times, not once")
        text = text.replace(old, new)
    return text


def searched(liner: str = "", seal: str = "") -> str:
    """The motor that the tests of the search start from."""
    return "\n" + "".join(
        (
            named("Invented base"),
            changed(PROPELLANT, ('"invented"', '"Invented"')) + 'temperature_sensitivity = "0.0015 1/K"\n',
            changed(RATE, ("0.7 MPa", "0.1 MPa"), ("9 MPa", "12 MPa")),
            changed(GRAINS, ("count = 3", "count = 4"), ("18 mm", "16 mm")),
            NOZZLE,
            changed(CASE, ("330 mm", "520 mm")),
            liner,
            changed(FORWARD, ('shear_plane = "threads"', 'ring_edge_distance = "9 mm"\nring_thickness = "8 mm"')),
            seal,
            AIRFRAME + 'length = "700 mm"\n',
            AMBIENT,
        )
    )
