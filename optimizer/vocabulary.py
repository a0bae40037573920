"""One table of every quantity and one of every key: what drives parsing, headers, JSON units, limits and documents.

`QUANTITIES` names each figure, mass and dimension with its meaning and display units. `MOTOR_KEYS` lists every key of
a motor file with its kind, allowed range (SI), default and the column of `physics.motors.Motors` that it fills.
`SHORT_KEYS` gives the short names by which a study or a tolerance refers to a key. Imports nothing of ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from physics.figures import FIGURES, FLIGHT, FLIGHT_FIGURES, MASS, PRESSURE


@dataclass(frozen=True)
class Quantity:
    """A quantity: `digits` are the significant digits shown; units are texts that `optimizer.units` reads."""

    name: str
    meaning: str
    dimension: str
    si_unit: str
    metric_unit: str
    imperial_unit: str
    digits: int = 4


_UNITS: Mapping[str, tuple[str, str, str]] = {
    "length": ("m", "mm", "in"),
    "time": ("s", "s", "s"),
    "mass": ("kg", "kg", "lb"),
    "pressure": ("Pa", "MPa", "psi"),
    "specific energy": ("J/kg", "MJ/kg", "MJ/kg"),
    "temperature": ("K", "degC", "degF"),
    "angle": ("rad", "deg", "deg"),
    "force": ("N", "N", "lbf"),
    "speed": ("m/s", "m/s", "ft/s"),
    "acceleration": ("m/s^2", "m/s^2", "ft/s^2"),
    "height": ("m", "m", "ft"),
    "dynamic pressure": ("Pa", "kPa", "psi"),
    "rate": ("m/s", "mm/s", "in/s"),
    "impulse": ("N*s", "N*s", "lbf*s"),
    "pressure integral": ("Pa*s", "MPa*s", "psi*s"),
    "density": ("kg/m^3", "kg/m^3", "lb/in^3"),
    "mass flow": ("kg/s", "kg/s", "lb/s"),
    "mass flux": ("kg/m^2/s", "kg/m^2/s", "lb/in^2/s"),
    "molar mass": ("kg/mol", "g/mol", "g/mol"),
    "per temperature": ("1/K", "1/K", "1/degF"),
    "area": ("m^2", "mm^2", "in^2"),
    "volume": ("m^3", "cm^3", "in^3"),
    "specific impulse": ("s", "s", "s"),
    "ratio": ("", "", ""),
}


_SHOWN_AS = {"rate": "speed", "specific impulse": "time", "height": "length", "dynamic pressure": "pressure"}
"""Units of their own for what is of another dimension: a height is a length, and not shown in millimetres."""


def _quantities(rows: Iterable[tuple[str, str, str]]) -> dict[str, Quantity]:
    table = {}
    for name, units, meaning in rows:
        dimension = _SHOWN_AS.get(units, units)
        table[name] = Quantity(name, meaning, dimension, *_UNITS[units])
    return table


_DIMENSION_OF = {"1": "ratio", "s": "time"} | {
    si: name for name, (si, _, _) in _UNITS.items() if si and si != "s" and name not in ("height", "dynamic pressure")
}

FIGURE_NAMES: dict[str, Quantity] = _quantities(
    (name, _DIMENSION_OF[figure.unit], figure.meaning) for name, figure in FIGURES.items()
)
"""Figures of the kernels; every one may be a limit or an objective."""

DESIGN_NAMES: dict[str, Quantity] = _quantities(
    (
        ("maximum_expected_pressure", "pressure", "highest head pressure over soak temperatures and tolerances"),
        ("smallest_factor", "ratio", "smallest factor of the ladder's pressures over the maximum expected pressure"),
        ("loaded_mass", "mass", "mass of the loaded motor, of all parts known"),
        ("case_mass", "mass", "mass of the case tube"),
        ("liner_mass", "mass", "mass of the liner"),
        ("forward_closure_mass", "mass", "mass of the forward closure"),
        ("aft_closure_mass", "mass", "mass of the aft closure"),
        ("nozzle_mass", "mass", "mass of the nozzle"),
        ("propellant_mass_fraction", "ratio", "propellant mass over loaded mass"),
        ("outer_diameter", "length", "outer diameter of the case"),
        ("motor_length", "length", "length of the case, or of the grains where there is no case"),
        ("clearance", "length", "room left in the airframe, on the diameter"),
        ("length_clearance", "length", "room left in the airframe, along the motor"),
        ("expansion_ratio", "ratio", "exit area over throat area"),
        ("chance_of_failure", "ratio", "chance that a rung fails under the tolerances, upper end of its interval"),
    )
)
"""What the design as a whole gives beside the kernel's figures; every one may be a limit or an objective."""

_PART_NAMES = _quantities(
    (
        ("impulse", "impulse", "total impulse"),
        ("pressure", "pressure", "pressure"),
        ("chamber_pressure", "pressure", "chamber pressure"),
        ("head_pressure", "pressure", "head-end pressure"),
        ("time", "time", "time from ignition"),
        ("thrust", "force", "thrust"),
        ("mass_flow", "mass flow", "mass flow"),
        ("mass_flux", "mass flux", "mass flux"),
        ("kn", "ratio", "burning area over throat area"),
        ("factor", "ratio", "factor over what is expected"),
        ("required", "ratio", "factor required"),
        ("ratio", "ratio", "ratio"),
        ("mass", "mass", "mass"),
        ("loaded", "mass", "loaded mass"),
        ("regression", "length", "web burnt"),
        ("count", "ratio", "number"),
        ("screw_count", "ratio", "number of screws of each closure"),
        ("grain_count", "ratio", "number of equal grains of the first row"),
        ("aft_count", "ratio", "number of grains of the last row"),
        ("length", "length", "length"),
        ("grain_length", "length", "length of one grain"),
        ("stack_length", "length", "length of all grains"),
        ("room_left", "length", "room left in the case by rings, plate, grains and nozzle"),
        ("head_room", "length", "room for what stands out of the case, a screw's head for one"),
        ("inner_diameter", "length", "inside diameter"),
        ("grain_outer_diameter", "length", "outer diameter of the grains"),
        ("case_length", "length", "length of the case tube"),
        ("liner_thickness", "length", "thickness of the liner"),
        ("gap_behind", "length", "room between liner and case"),
        ("decomposition_temperature", "temperature", "temperature of the liner's receding front"),
        ("heat_of_ablation", "specific energy", "heat per kilogram of liner consumed"),
        ("regression_rate", "rate", "measured rate at which the liner is worn away"),
        ("regression_at", "pressure", "pressure at which regression_rate was measured"),
        ("regression_exponent", "ratio", "power of pressure that the liner's wear goes as"),
        ("ambient_pressure", "pressure", "pressure of the surroundings"),
        ("seal_gap", "length", "radial gap of each seal at rest"),
        ("snap_ring_shear_strength", "pressure", "shear strength of the snap ring"),
        ("core_diameter", "length", "core diameter"),
        ("spread_speed", "speed", "how fast the flame runs along the grains"),
        ("covered_to", "length", "diameter up to which a cap leaves an end face bare"),
        ("forward_covered_to", "length", "diameter up to which a cap leaves the forward faces of the grains bare"),
        ("aft_covered_to", "length", "diameter up to which a cap leaves the aft faces of the grains bare"),
        ("core_diameter_aft", "length", "core diameter of the last row of grains"),
        ("burning_ends", "ratio", "bare end faces of a grain"),
        ("throat_diameter", "length", "throat diameter"),
        ("exit_diameter", "length", "exit diameter"),
        ("half_angle", "angle", "half angle of the divergent cone"),
        ("efficiency", "ratio", "efficiency on the momentum term of thrust"),
        ("throat_recession", "rate", "recession of the throat radius"),
        ("throat_recession_at", "pressure", "pressure at which the recession is given"),
        ("seat_diameter", "length", "seat diameter"),
        ("insert_diameter", "length", "insert diameter"),
        ("insert_length", "length", "insert length"),
        ("length_in_case", "length", "nozzle from the last grain to the aft ring"),
        ("wall", "length", "wall of the case tube"),
        ("bore", "length", "inside diameter of the case tube"),
        ("service_temperature", "temperature", "temperature of the case when loaded"),
        ("heat_affected_reach", "length", "reach of the heat-affected zone"),
        ("thickness", "length", "thickness"),
        ("gap", "length", "gap"),
        ("edge_distance", "length", "hole centre to the end of the case"),
        ("ring_edge_distance", "length", "hole centre to the end of the ring"),
        ("ring_thickness", "length", "thickness of the ring at the screws"),
        ("flush_length", "length", "screw from the outside of the case inwards"),
        ("hole_diameter", "length", "screw hole"),
        ("diameter", "length", "diameter"),
        ("pitch", "length", "thread pitch"),
        ("tensile_strength", "pressure", "tensile strength"),
        ("screw_strength", "pressure", "tensile strength of the screws"),
        ("load_sharing", "ratio", "share of the screws that carries the load"),
        ("fitting_factor", "ratio", "fitting factor of the joint"),
        ("thread_diameter", "length", "major diameter of the ring's thread"),
        ("thread_pitch", "length", "pitch of the ring's thread"),
        ("engagement", "length", "loaded length of the thread"),
        ("ring_width", "length", "threaded ring from its opening to the crests of its thread"),
        ("groove_depth", "length", "depth of the snap ring's groove"),
        ("snap_ring_thickness", "length", "thickness of the snap ring"),
        ("edge_margin", "length", "groove to the end of the case"),
        ("bearing_diameter", "length", "circle on which a ring bears against the plate"),
        ("socket_depth", "length", "depth of a set screw's socket"),
        ("socket_across_flats", "length", "hexagon of a set screw's socket"),
        ("offset", "length", "axis of a plug from that of its plate"),
        ("weld_leg", "length", "leg of the fillet that holds a lip"),
        ("weld_arm", "length", "middle of the wall to the circle on which a welded lip is loaded"),
        ("weld_distance", "length", "outer face of a welded lip to the end of the case"),
        ("lip_thickness", "length", "thickness of a welded lip"),
        ("plate_thickness", "length", "thickness of the closure plate"),
        ("shoulder_thickness", "length", "thickness of the closure shoulder"),
        ("cross_section", "length", "cross section of the O-ring"),
        ("gland_depth", "length", "depth of the gland"),
        ("gland_width", "length", "width of the gland"),
        ("hardness", "ratio", "hardness of the seal, Shore A"),
        ("rings", "ratio", "number of O-rings"),
        ("backup_rings", "ratio", "number of backup rings"),
        ("from_gas", "length", "gas side of a part to the near wall of a gland"),
        ("density", "density", "density"),
        ("characteristic_velocity", "speed", "characteristic velocity"),
        ("gamma", "ratio", "ratio of specific heats"),
        ("molar_mass", "molar mass", "molar mass of the gas"),
        ("reference_temperature", "temperature", "temperature at which the rate law is given"),
        ("expansion", "per temperature", "linear thermal expansion"),
        ("temperature_sensitivity", "per temperature", "sensitivity of the rate to temperature at constant pressure"),
        ("rate", "rate", "burning rate"),
        ("from", "pressure", "lower end of a rate row"),
        ("to", "pressure", "upper end of a rate row"),
        ("rate_from", "pressure", "lower end of a rate row"),
        ("rate_to", "pressure", "upper end of a rate row"),
        ("at", "pressure", "pressure at which the rate is given"),
        ("exponent", "ratio", "pressure exponent"),
        ("strength", "pressure", "crushing strength of the grain"),
        ("temperature", "temperature", "temperature of air and propellant"),
        ("soak", "temperature", "temperatures that the propellant must bear"),
        ("drag_coefficient", "ratio", "drag coefficient of the rocket, on its largest section"),
        ("drag_coefficient_thrusting", "ratio", "the same while the motor burns"),
        ("centre_of_mass", "length", "centre of mass of the rocket without the motor, from the nose's tip"),
        ("motor_end", "length", "where the motor's nozzle end lies, from the nose's tip"),
        ("centre_of_pressure", "length", "centre of pressure, from the nose's tip"),
        ("skin_limit", "temperature", "what the airframe bears where it touches the case"),
        ("mach", "ratio", "Mach number"),
        ("coefficient", "ratio", "drag coefficient at a Mach number"),
        ("rail_length", "length", "guided travel"),
        ("elevation", "angle", "elevation of the rail above the horizon"),
        ("altitude", "height", "altitude of the site above sea level"),
        ("empty", "mass", "the motor without propellant, as weighed"),
        ("hole_elongation", "length", "how much longer than new a screw hole is"),
        ("characterised_pressure", "pressure", "pressures that the rate law covers"),
    )
)

FLIGHT_NAMES: dict[str, Quantity] = _quantities((name, *said) for name, said in FLIGHT_FIGURES.items())
"""Figures of the rocket's flight, where the motor file names a rocket."""

QUANTITIES: dict[str, Quantity] = {**_PART_NAMES, **FLIGHT_NAMES, **FIGURE_NAMES, **DESIGN_NAMES}
"""Every quantity by name."""

LIMIT_NAMES: tuple[str, ...] = (*FIGURE_NAMES, *FLIGHT_NAMES, *DESIGN_NAMES)
"""Names that a study may limit or aim for."""

RENAMED: Mapping[str, str] = {
    "initial_kn": "kn_at_ignition",
    "peak_kn": "highest_kn",
    "port_to_throat_area": "port_over_throat",
    "peak_mass_flux": "highest_mass_flux",
    "peak_port_mach": "highest_port_mach",
}
"""Names that figures had in older files, and what they are called now."""

MOST_SAMPLES = 1 << 16
"""Samples of one motor at the most: the memory of a run grows with them, by some 2.5 kB each."""
CHANCE = "chance_of_failure"
FACTOR = "factor"
"""Table of the objectives, by mode: the factor of one rung and not of the weakest."""
SCATTERED_NAMES: tuple[str, ...] = (*FIGURE_NAMES, "smallest_factor")
"""Names of which a study may ask a percentile over the tolerances."""


def at_percentile(name: str, percentile: float) -> str:
    """The column that holds a percentile of a quantity over the tolerances.

    >>> at_percentile("total_impulse", 5)
    'total_impulse_p5'
    """
    return f"{name}_p{percentile:g}"


def find_quantity(name: str) -> Quantity | None:
    """A quantity by name, also as a percentile or by the last part of a dotted key; None where there is none.

    >>> find_quantity("total_impulse_p5").si_unit, find_quantity("case.wall").si_unit, find_quantity("colour")
    ('N*s', 'm', None)
    """
    if name.startswith(f"{FACTOR}."):
        return QUANTITIES[FACTOR]
    found = QUANTITIES.get(name) or QUANTITIES.get(_PERCENTILE.sub("", name))
    return found or QUANTITIES.get(name.rsplit(".", 1)[-1])


def group_of(name: str) -> str:
    """The title of the group in which a figure or a mass is shown, also as a percentile; empty for what has none.

    >>> group_of("highest_mass_flux"), group_of("total_impulse_p5"), group_of("maximum_expected_pressure"), group_of("wall")
    ('port', 'thrust and impulse', 'pressure', '')
    """
    bare = _PERCENTILE.sub("", name)
    if bare in FIGURES:
        return FIGURES[bare].group
    if bare in FLIGHT_FIGURES:
        return FLIGHT
    return PRESSURE if bare == "maximum_expected_pressure" else MASS if bare.endswith("_mass") else ""


def spoken(name: str) -> str:
    """A name as it is said in a sentence: the same words on the terminal, on pages and on drawings.

    >>> spoken("highest_kn"), spoken("forward_closure.edge_distance"), spoken("highest_port_mach")
    ('highest Kn', 'forward closure edge distance', 'highest port Mach')
    """
    words = name.replace(".", " ").replace("_", " ")
    return re.sub(r"\bmach\b", "Mach", re.sub(r"\bkn\b", "Kn", words))


_PERCENTILE = re.compile(r"_p\d{1,3}(\.\d+)?$")


@dataclass(frozen=True)
class KeySpec:
    """One key of a file.

    `kind` is quantity, quantities (a list), number, whole, choice, text, flag, material, screw or grade. `low` and
    `high` are the allowed range in SI, ends included unless `open_low`; what lies outside is refused as unlikely.
    `column` is the dotted column of Motors that the key fills; empty where it fills none.
    """

    key: str
    kind: str
    meaning: str
    dimension: str = "ratio"
    low: float = 0.0
    high: float = 0.0
    required: bool = False
    default: str | float | bool | None = None
    choices: tuple[str, ...] = ()
    column: str = ""
    open_low: bool = False
    open_high: bool = False
    example: str = ""


MM = 1e-3
MPA = 1e6


def _length(key: str, low: float, high: float, meaning: str, column: str = "", required: bool = False) -> KeySpec:
    return KeySpec(key, "quantity", meaning, "length", low * MM, high * MM, required, column=column)


_PROPELLANT = (
    KeySpec("use", "text", "a propellant file, relative to this one"),
    KeySpec("name", "text", "name of the propellant"),
    KeySpec("density", "quantity", "density", "density", 500, 6000, True, column="propellant.density"),
    KeySpec(
        "characteristic_velocity",
        "quantity",
        "delivered characteristic velocity",
        "speed",
        200,
        4000,
        True,
        column="propellant.characteristic_velocity",
    ),
    KeySpec(
        "gamma",
        "number",
        "ratio of specific heats",
        "ratio",
        1.0,
        1.7,
        True,
        column="propellant.gamma",
        open_low=True,
        example="1.21",
    ),
    KeySpec("molar_mass", "quantity", "molar mass of the gas", "molar mass", 2e-3, 0.2, True, column="propellant.molar_mass"),
    KeySpec(
        "reference_temperature",
        "quantity",
        "temperature at which the rate law is given",
        "temperature",
        200,
        400,
        default="20 degC",
        column="propellant.reference_temperature",
    ),
    KeySpec(
        "temperature_sensitivity",
        "quantity",
        "sensitivity of the rate to temperature",
        "per temperature",
        0,
        0.03,
        default="0 1/K",
        column="propellant.temperature_sensitivity",
    ),
    KeySpec("erosive", "choice", "erosive burning law", choices=("none", "mukunda-paul", "lenoir-robillard"), default="none"),
    KeySpec("strength", "quantity", "crushing strength of the grain", "pressure", 1e4, 1e8, column="propellant.strength"),
    KeySpec(
        "expansion",
        "quantity",
        "linear thermal expansion of the cured grain, as measured",
        "per temperature",
        0,
        1e-3,
        column="propellant.expansion",
    ),
)

_RATE = (
    KeySpec("from", "quantity", "lower end of the row", "pressure", 0, 200 * MPA, True, column="propellant.rate_from"),
    KeySpec("to", "quantity", "upper end of the row", "pressure", 1e3, 200 * MPA, True, column="propellant.rate_to"),
    KeySpec("rate", "quantity", "burning rate at `at`", "speed", 1e-5, 0.5, True, column="propellant.rate"),
    KeySpec("at", "quantity", "pressure of `rate`", "pressure", 1, 200 * MPA, True, column="propellant.rate_at"),
    KeySpec(
        "exponent",
        "number",
        "pressure exponent",
        "ratio",
        -5.0,
        1.0,
        True,
        column="propellant.exponent",
        open_high=True,
        example="0.33",
    ),
)

FACES = ("bare", "inhibited")

_GRAIN = (
    KeySpec("count", "whole", "equal grains in this row", "ratio", 1, 100, default=1, column="grain.count", example="4"),
    _length("length", 2, 5000, "length of one grain", "grain.length", True),
    _length("outer_diameter", 3, 1000, "outer diameter of the grain", "grain.outer_diameter", True),
    _length("core_diameter", 0, 900, "core diameter", "grain.core_diameter", True),
    KeySpec(
        "burning_ends",
        "whole",
        "end faces left bare; of one the faces say which",
        "ratio",
        0,
        2,
        column="grain.burning_ends",
        example="2",
    ),
    KeySpec("forward_face", "choice", "forward end face of each grain, or {covered_to = ...}", choices=FACES),
    KeySpec("aft_face", "choice", "aft end face of each grain, or {covered_to = ...}", choices=FACES),
)


def _cap(end: str) -> tuple[KeySpec, ...]:
    meaning = f"a cap covers the {end} face of each grain from the outside in to this diameter"
    return (_length("covered_to", 1, 1000, meaning, f"grain.{end}_covered_to", True),)


_NOZZLE = (
    _length("throat_diameter", 0.5, 500, "throat diameter", "nozzle.throat_diameter", True),
    _length("exit_diameter", 0.5, 2000, "exit diameter", "nozzle.exit_diameter", True),
    KeySpec(
        "half_angle",
        "quantity",
        "half angle of the divergent cone",
        "angle",
        0.0,
        0.7853981633974483,
        default="15 deg",
        column="nozzle.half_angle",
    ),
    KeySpec(
        "efficiency",
        "number",
        "efficiency on the momentum term",
        "ratio",
        0.3,
        1.0,
        default=1.0,
        column="nozzle.efficiency",
        example="0.95",
    ),
    KeySpec(
        "throat_recession",
        "quantity",
        "recession of the throat radius",
        "speed",
        0,
        5e-3,
        default="0 mm/s",
        column="nozzle.throat_recession",
    ),
    KeySpec(
        "throat_recession_at",
        "quantity",
        "pressure of `throat_recession`",
        "pressure",
        1e4,
        200 * MPA,
        column="nozzle.throat_recession_at",
    ),
    KeySpec("material", "material", "material of the nozzle"),
    _length("seat_diameter", 1, 1000, "diameter of the seat under the insert", "nozzle.seat_diameter"),
    _length("insert_diameter", 1, 1000, "outer diameter of the insert", "nozzle.insert_diameter"),
    _length("insert_length", 1, 1000, "length of the insert", "nozzle.insert_length"),
    _length("length_in_case", 1, 2000, "from the last grain to the aft ring, or to the case's end", "nozzle.length_in_case"),
)

_CASE = (
    KeySpec("material", "material", "material and temper of the tube", required=True),
    _length("outer_diameter", 5, 1200, "outer diameter of the tube", "case.outer_diameter", True),
    _length("wall", 0.2, 25, "wall of the tube", "case.wall", True),
    _length("length", 10, 20000, "length of the tube", "case.length"),
    KeySpec(
        "service_temperature",
        "quantity",
        "temperature of the case when loaded",
        "temperature",
        200,
        1000,
        column="case.service_temperature",
    ),
    KeySpec("heat_affected", "flag", "welded or brazed near the loaded region", default=False),
    KeySpec(
        "heat_affected_end",
        "choice",
        "end that was welded or brazed",
        choices=("forward", "aft", "both"),
        default="both",
    ),
    _length("heat_affected_reach", 0, 5000, "reach of the heat-affected zone", "case.heat_affected_reach"),
)

_LINER = (
    KeySpec("material", "material", "material of the liner", required=True),
    _length("thickness", 0, 50, "thickness of the liner; 0 mm is a bare case", "liner.thickness", True),
    _length("gap", 0, 200, "bare length of case whose place is not known; [[liner.gap]] says where", "liner.gap"),
    _length("gap_behind", 0, 3, "room between liner and case; 0.1 mm of still air is assumed", "liner.gap_behind"),
    KeySpec("decomposition_temperature", "quantity", "temperature of the fast front that recedes, not of slow charring",
            "temperature", 400, 1500, column="liner.decomposition_temperature"),
    KeySpec("heat_of_ablation", "quantity", "heat per kilogram consumed, the warming from 20 degC included",
            "specific energy", 2e5, 2e7, column="liner.heat_of_ablation"),
    KeySpec("regression_rate", "quantity", "measured rate at which the liner is worn away, in place of the model",
            "speed", 1e-6, 0.02, column="liner.regression_rate"),
    KeySpec("regression_at", "quantity", "pressure at which regression_rate was measured", "pressure", 1e4, 200 * MPA,
            column="liner.regression_at"),
    KeySpec("regression_exponent", "number", "power of pressure that the rate goes as; 0.8 as the film does", low=0.0, high=1.5,
            column="liner.regression_exponent"),
    KeySpec("expansion", "quantity", "linear thermal expansion of the liner round its circumference", "per temperature", 0, 1e-3,
            column="liner.expansion"),
)  # fmt: skip

GAP_PLACES = ("forward end", "joint", "aft end", "unknown")
"""Where the liner may leave the case bare."""

_GAP = (
    KeySpec("place", "choice", "where the bore of the case is bare; unknown is all three", required=True, choices=GAP_PLACES),
    _length("width", 0, 200, "along the axis", required=True),
    KeySpec("flow", "flag", "gas can pass through it to somewhere", default=False),
)

RETENTIONS = ("radial-screws", "threaded-ring", "snap-ring", "welded-lip")
FILLERS = ("4043", "5356", "ER70S-2", "ER70S-6", "ER80S-D2", "ER308L")
"""Weld metals whose strength is known."""

_CLOSURE = (
    KeySpec("retention", "choice", "what holds the closure", required=True, choices=RETENTIONS),
    KeySpec("ring_material", "material", "material of the ring"),
    KeySpec("plate_material", "material", "material of the plate; the ring's where left out"),
    _length("plate_thickness", 0.3, 200, "thickness of the plate", "plate_thickness"),
    _length("shoulder_thickness", 0.2, 200, "thickness of the shoulder", "shoulder_thickness"),
    _length("bearing_diameter", 1, 1200, "circle on which a ring of its own bears against the plate", "bearing_diameter"),
    KeySpec("mass", "quantity", "mass of the closure, as weighed", "mass", 1e-4, 500, column="mass"),
)

_SCREWS: tuple[KeySpec, ...] = (
    KeySpec("screw", "screw", "screw size", required=True, example='"#10-24 UNC"'),
    KeySpec("grade", "grade", "screw grade", required=True, example='"A2-70"'),
    KeySpec("count", "whole", "number of screws", "ratio", 1, 200, True, column="screws.count", example="8"),
    _length("edge_distance", 0.5, 500, "hole centre to the end of the case", "screws.edge_distance"),
    KeySpec("shear_plane", "choice", "what of the screw lies in the joint", choices=("threads", "shank"), default="threads"),
    _length("hole_diameter", 0.5, 100, "hole in the case; the close-fit drill where left out", "screws.hole_diameter"),
    KeySpec(
        "load_sharing",
        "number",
        "share of the screws that carries the load",
        "ratio",
        0.05,
        1.0,
        default=1.0,
        column="screws.load_sharing",
        example="1.0",
    ),
    KeySpec(
        "fitting_factor",
        "number",
        "fitting factor of the joint",
        "ratio",
        1.0,
        3.0,
        default=1.15,
        column="screws.fitting_factor",
        example="1.15",
    ),
    _length("ring_edge_distance", 0.5, 500, "hole centre to the end of the ring", "screws.ring_edge_distance"),
    _length("ring_thickness", 0.3, 200, "thickness of the ring at the screws", "screws.ring_thickness"),
    _length(
        "flush_length",
        0.1,
        100,
        "screw from the outside of the case inwards; less the wall, it bears in the ring",
        "screws.flush_length",
    ),
)

SCREW_KINDS = ("set screw", "cap screw", "button head", "pan head")
_SCREWS += (
    KeySpec("screw_kind", "choice", "kind of screw; a set screw has its socket in its own body", choices=SCREW_KINDS),
    _length("socket_depth", 0.1, 50, "depth of a set screw's socket from its outer end", "screws.socket_depth"),
    _length(
        "socket_across_flats",
        0.3,
        30,
        "hexagon of a set screw's socket; that of its size where left out",
        "screws.socket_across_flats",
    ),
)

_THREADED_RING = (
    _length("thread_diameter", 3, 1200, "major diameter of the thread", "threaded_ring.thread_diameter", True),
    _length("thread_pitch", 0.2, 10, "pitch of the thread", "threaded_ring.thread_pitch", True),
    _length("engagement", 0.5, 500, "loaded length of the thread", "threaded_ring.engagement", True),
    _length("ring_width", 0.5, 200, "threaded ring from its opening to the crests of its thread", "threaded_ring.width"),
)

_SNAP_RING = (
    _length("groove_depth", 0.1, 50, "depth of the groove", "snap_ring.groove_depth", True),
    _length("snap_ring_thickness", 0.2, 50, "thickness of the snap ring", "snap_ring.ring_thickness", True),
    _length("edge_margin", 0.2, 500, "groove to the end of the case", "snap_ring.edge_margin", True),
    KeySpec(
        "snap_ring_shear_strength",
        "quantity",
        "shear strength of the snap ring",
        "pressure",
        1e7,
        3e9,
        column="snap_ring.ring_shear_strength",
    ),
)

_WELDED_LIP = (
    _length("weld_leg", 0.5, 30, "leg of the fillet", "welded_lip.leg", True),
    _length("weld_arm", 0, 200, "middle of the wall to the circle on which the lip is loaded", "welded_lip.arm", True),
    _length("lip_thickness", 0.5, 100, "thickness of the lip along the axis", "welded_lip.thickness"),
    _length("weld_distance", 0, 500, "lip's outer face to the end of the case; at the end where left out", "welded_lip.distance"),
    KeySpec("filler", "choice", "filler of the weld", choices=FILLERS),
)

RETENTION_KEYS: Mapping[str, tuple[KeySpec, ...]] = {
    "radial-screws": _SCREWS,
    "threaded-ring": _THREADED_RING,
    "snap-ring": _SNAP_RING,
    "welded-lip": _WELDED_LIP,
}

_SEAL = (
    KeySpec("rings", "whole", "number of O-rings", "ratio", 1, 6, default=1, column="seal.rings", example="2"),
    KeySpec("dash", "text", "AS568 size; gives cross section and inner diameter", example='"-228"'),
    _length("cross_section", 0.5, 20, "cross section of the O-ring", "seal.cross_section", True),
    _length("gland_depth", 0.3, 20, "depth of the gland", "seal.gland_depth", True),
    _length("gap", 0, 5, "radial gap at rest", "seal.gap", True),
    KeySpec("hardness", "number", "hardness, Shore A", "ratio", 30, 100, default=70.0, column="seal.hardness", example="70"),
    _length("gland_width", 0.3, 60, "width of the gland", "seal.gland_width"),
    _length("inner_diameter", 1, 1200, "inner diameter of the O-ring, as bought", "seal.inner_diameter"),
    _length("diameter", 2, 1200, "sealed diameter; the bore where left out", "seal.diameter"),
    KeySpec("backup_rings", "whole", "number of backup rings", "ratio", 0, 4, column="seal.backup_rings", example="1"),
    KeySpec("material", "material", "material of the seal"),
)

MOST_SEALS = 4
"""Rings that one part may have, one behind the other."""

_SEAL_ROW = (
    KeySpec("name", "text", "what this ring is called on drawings and in notes", example='"outer ring"'),
    _length(
        "from_gas", 0, 500, "gas side of the part to the near wall of the gland; spread evenly where left out", "seal.from_gas"
    ),
    KeySpec("rings", "whole", "a row is one ring, so 1", "ratio", 1, 6, default=1, example="1"),
    *(spec for spec in _SEAL if spec.key != "rings"),
)

_PLUG = (
    KeySpec("thread", "screw", "thread of the plug", required=True, example='"1/2-20 UNF"'),
    _length("engagement", 0.5, 200, "length of thread engaged in the plate", "plug.engagement"),
    _length("offset", 0, 500, "axis of the plug from that of the plate; in the middle where left out", "plug.offset"),
    KeySpec("material", "material", "material of the plug"),
)

_AIRFRAME = (
    _length("inner_diameter", 5, 2000, "inside of the airframe tube", "airframe.inner_diameter", True),
    replace(_length("clearance", 0, 100, "clearance on the diameter", "airframe.clearance"), default="0 mm"),
    _length("length", 10, 20000, "length available to the motor", "airframe.length"),
)

_ROCKET = (
    KeySpec("mass", "quantity", "rocket ready to fly, without the motor", "mass", 0.01, 500, True, column="rocket.mass"),
    _length("diameter", 5, 1000, "largest diameter of the body", "rocket.diameter", True),
    KeySpec(
        "drag_coefficient",
        "number",
        "drag coefficient, on the largest section",
        "ratio",
        0.01,
        3.0,
        column="rocket.drag_coefficient",
        example="0.5",
    ),
    KeySpec(
        "drag_coefficient_thrusting",
        "number",
        "the same while the motor burns",
        "ratio",
        0.01,
        3.0,
        column="rocket.drag_coefficient_thrusting",
        example="0.45",
    ),
    _length("centre_of_mass", 1, 20000, "from the nose's tip, without the motor", "rocket.centre_of_mass"),
    _length("motor_end", 1, 20000, "where the motor's nozzle end lies, from the nose's tip", "rocket.motor_end"),
    _length("centre_of_pressure", 1, 20000, "from the nose's tip", "rocket.centre_of_pressure"),
    KeySpec(
        "skin_limit",
        "quantity",
        "what the airframe bears where it touches the case",
        "temperature",
        250,
        1000,
        column="rocket.skin_limit",
    ),
)

_DRAG = (
    KeySpec("mach", "number", "Mach number of the row", "ratio", 0.0, 20.0, True, example="0.8"),
    KeySpec("coefficient", "number", "drag coefficient there, on the largest section", "ratio", 0.01, 3.0, True, example="0.47"),
)

_LAUNCH = (
    _length("rail_length", 1, 30000, "guided travel, until the upper guide leaves", "launch.rail_length", True),
    KeySpec(
        "elevation",
        "quantity",
        "elevation of the rail above the horizon",
        "angle",
        1.0471975,
        1.5707964,
        default="90 deg",
        column="launch.elevation",
    ),
    KeySpec(
        "altitude",
        "quantity",
        "altitude of the site above sea level",
        "length",
        -430,
        6000,
        default="0 m",
        column="launch.altitude",
    ),
)

_WEIGHED = (
    KeySpec("empty", "quantity", "the motor without propellant, as weighed", "mass", 0.001, 500, True, column="masses.empty"),
)

_AMBIENT = (
    KeySpec(
        "pressure",
        "quantity",
        "pressure of the surroundings",
        "pressure",
        0,
        MPA,
        default="101.325 kPa",
        column="ambient.pressure",
    ),
    KeySpec(
        "temperature",
        "quantity",
        "temperature of air and propellant",
        "temperature",
        200,
        373.15,
        default="20 degC",
        column="ambient.temperature",
    ),
    KeySpec(
        "soak",
        "quantities",
        "temperatures that the propellant must bear, coldest first",
        "temperature",
        200,
        373.15,
        example='["0 degC", "35 degC"]',
    ),
)

FACTOR_KINDS = ("yield", "rupture", "leak", "heat", "advice")
OLD_FACTOR_KINDS = {"seal": "leak"}
"""What older files call a kind of failure, and what it is called now."""

_FACTORS = (
    *(KeySpec(kind, "number", f"required factor against {kind}", "ratio", 1.0, 20.0, example="2.0") for kind in FACTOR_KINDS),
    *(
        KeySpec(old, "number", f"required factor against {new}, as older files call it", "ratio", 1.0, 20.0, example="2.0")
        for old, new in OLD_FACTOR_KINDS.items()
    ),
)

_MATERIAL = (
    KeySpec("kind", "choice", "what it is used for", required=True, choices=("metal", "liner", "seal", "screw", "nozzle")),
    KeySpec("density", "quantity", "density", "density", 50, 25000),
    KeySpec("tensile_strength", "quantity", "tensile strength", "pressure", 1e5, 5e9),
    KeySpec("yield_strength", "quantity", "yield strength", "pressure", 1e5, 5e9),
    KeySpec("shear_strength", "quantity", "shear strength", "pressure", 1e5, 5e9),
    KeySpec("bearing_strength", "quantity", "bearing strength", "pressure", 1e5, 1e10),
    KeySpec("elastic_modulus", "quantity", "modulus of elasticity", "pressure", 1e5, 1e12),
    KeySpec("poisson", "number", "Poisson's ratio", "ratio", 0.0, 0.5, example="0.33"),
    KeySpec("expansion", "quantity", "thermal expansion", "per temperature", 0, 1e-3),
    KeySpec("conductivity", "quantity", "thermal conductivity", "conductivity", 1e-3, 2000),
    KeySpec("specific_heat", "quantity", "specific heat", "specific heat", 50, 10000),
    KeySpec("melting_temperature", "quantity", "temperature at which it melts", "temperature", 200, 5000),
    KeySpec("char_temperature", "quantity", "temperature at which it chars", "temperature", 200, 5000),
    KeySpec("limit_temperature", "quantity", "highest service temperature", "temperature", 200, 5000),
    KeySpec("source", "text", "where the numbers come from"),
)

_STARTUP = (
    KeySpec(
        "spread_speed",
        "quantity",
        "how fast the flame runs along the grains from the head end: your own number, for the first moments in check",
        "speed",
        0.01,
        1e4,
        True,
        example="20 m/s",
    ),
)

_EVIDENCE = (
    KeySpec("kind", "choice", "what test it was", required=True, choices=("water", "firing", "bench burn")),
    KeySpec("pressure", "quantity", "highest pressure, on the gauge", "pressure", 1e4, 3e8, example="1500 psi"),
    KeySpec("reference", "choice", "whether the pressure is over the surroundings", default="gauge", choices=("gauge", "absolute")),
    KeySpec("temperature", "quantity", "of the parts during the test", "temperature", 200, 600, example="15 degC"),
    KeySpec("duration", "quantity", "how long the pressure stood, or the motor burned", "time", 1e-3, 1e6, example="2 s"),
    KeySpec("plugged", "flag", "the throat was closed: the aft end bore the whole load", default=False),
    KeySpec("outcome", "choice", "what came of it", required=True, choices=("held", "leaked", "failed")),
    KeySpec("mode", "text", "the failure mode that did not hold"),
    KeySpec("part", "text", "its part, where there are several", example='"forward closure"'),
    KeySpec("same_hardware", "flag", "these very parts, not another copy", default=True),
    KeySpec("seals_as_fired", "flag", "the seals were such as will be fired, not others for the proof alone", default=True),
)

_WEAR = (
    KeySpec(
        "after",
        "choice",
        "what was done with this hardware; new: as it came, to compare with",
        required=True,
        choices=("new", "firing", "proof"),
    ),
    KeySpec("count", "whole", "how often since the entry before", "ratio", 1, 1000, default=1, example="1"),
    KeySpec("pressure", "quantity", "highest pressure of them, on the gauge", "pressure", 1e4, 3e8, example="750 psi"),
    _length("outer_diameter", 5, 1200, "largest outside of the tube as measured after it"),
    _length("hole_elongation", 0, 50, "how much longer than new the longest screw hole is"),
    KeySpec("end", "choice", "end of the hole; both where left out", choices=("forward", "aft")),
    _length("throat_diameter", 0.5, 500, "throat as measured after it"),
)

SYSTEMS = ("metric", "imperial")
UNITS_KEY = KeySpec("units", "choice", "units of tables and drawings where --units does not say", choices=SYSTEMS)

_LINER_MEASURED = (
    KeySpec("place", "choice", "where the liner was measured after a test", required=True,
            choices=("forward end", "joint", "aft end", "mid-grain wall")),
    KeySpec("factor", "number", "depth lost, char included, over the depth predicted; `vouch` and `reduce` give it", "ratio",
            0.01, 20.0, True),
    KeySpec("within", "number", "by what factor either way the depth may still be off", "ratio", 1.0, 10.0, default=1.4),
)  # fmt: skip
_TOP = (
    KeySpec("schema", "whole", "version of the file's layout", "ratio", 1, 1, True, example="1"),
    KeySpec("name", "text", "name of the motor"),
    UNITS_KEY,
)


def _rows_of(specs: Iterable[KeySpec]) -> tuple[KeySpec, ...]:
    """Keys of rows: which column each fills follows from its row."""
    return tuple(replace(spec, column="") for spec in specs)


def _closure_columns(end: str, specs: Iterable[KeySpec]) -> tuple[KeySpec, ...]:
    return tuple(replace(spec, column=f"{end}.{spec.column}") if spec.column else spec for spec in specs)


SECTIONS: dict[str, tuple[KeySpec, ...]] = {
    "": _TOP,
    "propellant": _PROPELLANT,
    "propellant.rate": _RATE,
    "grain": _GRAIN,
    "grain.forward_face": _cap("forward"),
    "grain.aft_face": _cap("aft"),
    "nozzle": _NOZZLE,
    "nozzle.seal": _closure_columns("nozzle", _SEAL),
    "nozzle.seals": _rows_of(_SEAL_ROW),
    "case": _CASE,
    "liner": _LINER,
    "liner.gap": _GAP,
    "liner.measured": _LINER_MEASURED,
    "forward_closure": _closure_columns("forward_closure", _CLOSURE),
    "forward_closure.seal": _closure_columns("forward_closure", _SEAL),
    "forward_closure.seals": _rows_of(_SEAL_ROW),
    "forward_closure.plug": _closure_columns("forward_closure", _PLUG),
    "forward_closure.plug.seal": _closure_columns("forward_closure.plug", _SEAL),
    "aft_closure": _closure_columns("aft_closure", _CLOSURE),
    "aft_closure.seal": _closure_columns("aft_closure", _SEAL),
    "aft_closure.seals": _rows_of(_SEAL_ROW),
    "airframe": _AIRFRAME,
    "rocket": _ROCKET,
    "rocket.drag": _DRAG,
    "launch": _LAUNCH,
    "masses": _WEIGHED,
    "ambient": _AMBIENT,
    "startup": _STARTUP,
    "factors": _FACTORS,
    "evidence": _EVIDENCE,
    "wear": _WEAR,
    "materials": _MATERIAL,
}
"""The keys of each table of a motor file; what a closure's retention adds is in `RETENTION_KEYS`."""

CLOSURES = ("forward_closure", "aft_closure")

MOTOR_KEYS: dict[str, KeySpec] = {
    f"{section}.{spec.key}".lstrip("."): spec for section, specs in SECTIONS.items() for spec in specs
}
"""Every key of a motor file by its dotted name, as in ``forward_closure.count`` or ``propellant.rate.exponent``."""
for _end in CLOSURES:
    for _specs in RETENTION_KEYS.values():
        MOTOR_KEYS.update({f"{_end}.{spec.key}": spec for spec in _closure_columns(_end, _specs)})


def _behind(row: int) -> str:
    """The column of the ring of a row, counted from 0 at the gas: each lies behind the one before."""
    return "seal" + ".behind" * row


SEAL_ROW_KEYS: dict[str, KeySpec] = {
    f"{part}.seals.{row}.{spec.key}": replace(spec, column=spec.column and f"{part}.{_behind(row)}.{spec.column.split('.')[-1]}")
    for part in ("nozzle", *CLOSURES)
    for row in range(MOST_SEALS)
    for spec in _SEAL_ROW
}
"""The keys of one ring of several by its row, counted from 0 at the gas: ``forward_closure.seals.1.gap``."""


def key_spec(key: str) -> KeySpec | None:
    """The specification of a dotted key of the motor file, also of one row of seals; None where there is none.

    >>> key_spec("aft_closure.seals.1.gap").column, key_spec("aft_closure.seals.9.gap")
    ('aft_closure.seal.behind.gap', None)
    """
    return MOTOR_KEYS.get(key) or SEAL_ROW_KEYS.get(key)


def leaf_of(key: str) -> str:
    """The dotted place in Motors of a key of a row of seals that is no column of numbers; any other key as it is.

    >>> leaf_of("nozzle.seals.0.material"), leaf_of("nozzle.seals.2.material"), leaf_of("case.material")
    ('nozzle.seal.material', 'nozzle.seal.behind.behind.material', 'case.material')
    """
    return re.sub(r"\.seals\.(\d+)\.", lambda found: f".{_behind(int(found[1]))}.", key)


SHORT_KEYS: dict[str, str] = {
    "density": "propellant.density",
    "characteristic_velocity": "propellant.characteristic_velocity",
    "gamma": "propellant.gamma",
    "molar_mass": "propellant.molar_mass",
    "temperature_sensitivity": "propellant.temperature_sensitivity",
    "strength": "propellant.strength",
    "rate": "propellant.rate.rate",
    "exponent": "propellant.rate.exponent",
    "grain_count": "grain.count",
    "grain_length": "grain.length",
    "core_diameter": "grain.core_diameter",
    "grain_outer_diameter": "grain.outer_diameter",
    "forward_covered_to": "grain.forward_face.covered_to",
    "aft_covered_to": "grain.aft_face.covered_to",
    "throat_diameter": "nozzle.throat_diameter",
    "exit_diameter": "nozzle.exit_diameter",
    "half_angle": "nozzle.half_angle",
    "efficiency": "nozzle.efficiency",
    "throat_recession": "nozzle.throat_recession",
    "wall": "case.wall",
    "outer_diameter": "case.outer_diameter",
    "case_length": "case.length",
    "liner_thickness": "liner.thickness",
    "temperature": "ambient.temperature",
    "ambient_pressure": "ambient.pressure",
}
"""Short names of motor keys, as used under [search] and [tolerances]."""

BOTH_ENDS: dict[str, str] = {
    "screw_count": "screws.count",
    "screw_strength": "screws.tensile_strength",
    "edge_distance": "screws.edge_distance",
    "hole_diameter": "screws.hole_diameter",
    "plate_thickness": "plate_thickness",
    "gland_depth": "seal.gland_depth",
    "cross_section": "seal.cross_section",
    "seal_gap": "seal.gap",
}
"""Short names that stand for a column of each closure that has it; those of a seal for each of its rings."""


def both_ends(name: str) -> tuple[str, ...]:
    """Every column that a name of `BOTH_ENDS` stands for: of both closures, and of each ring of a seal.

    >>> both_ends("screw_count"), both_ends("seal_gap")[:2]
    (('forward_closure.screws.count', 'aft_closure.screws.count'), ('forward_closure.seal.gap', 'forward_closure.seal.behind.gap'))
    """
    part, _, leaf = BOTH_ENDS[name].rpartition(".")
    paths = [f"{_behind(row)}.{leaf}" for row in range(MOST_SEALS)] if part == "seal" else [BOTH_ENDS[name]]
    return tuple(f"{end}.{path}" for end in CLOSURES for path in paths)


def column_of(key: str) -> str:
    """The Motors column of a short name or dotted key of the motor file; KeyError where there is none.

    >>> column_of("wall"), column_of("rate"), column_of("forward_closure.count")
    ('case.wall', 'propellant.rate', 'forward_closure.screws.count')
    """
    full = SHORT_KEYS.get(key, key)
    spec = key_spec(full)
    if spec is None or not spec.column:
        raise KeyError(key)
    return spec.column


COLUMN_KEYS: dict[str, str] = {spec.column: key for key, spec in (*SEAL_ROW_KEYS.items(), *MOTOR_KEYS.items()) if spec.column}
"""The file key of each Motors column, the other way round."""
