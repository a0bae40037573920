"""The one door to the ballistics of a batch of motors.

Owns `evaluate`, the tables of what a kernel says (`FIGURES`, `FLAGS`), and the maximum expected pressure (definition:
worst case of soak and tolerances). Imports the kernels. The transient kernel is imported where it is asked for.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from physics import steady
from physics.motors import Array, Figures, Motors, Tolerance
from physics.nozzle import SEPARATION_CRITERION

KERNELS = ("steady", "transient")


class Figure(NamedTuple):
    """What a figure is: its SI unit and its meaning."""

    unit: str
    meaning: str


FIGURES: dict[str, Figure] = {
    "peak_pressure": Figure("Pa", "highest chamber pressure, stagnation at the nozzle entry"),
    "peak_head_pressure": Figure("Pa", "highest static pressure at the head end"),
    "mean_pressure": Figure("Pa", "chamber pressure averaged over the burn time"),
    "burn_time": Figure("s", "ignition to the end of the last web"),
    "action_time": Figure("s", "between the 10 % of peak pressure points"),
    "total_impulse": Figure("N*s", "integral of thrust"),
    "mean_thrust": Figure("N", "total impulse over burn time"),
    "peak_thrust": Figure("N", "highest thrust"),
    "propellant_mass": Figure("kg", "mass of all grains"),
    "specific_impulse": Figure("s", "total impulse over propellant weight at 9.80665 m/s2"),
    "initial_kn": Figure("1", "burning area over throat area at ignition"),
    "peak_kn": Figure("1", "largest burning area over throat area"),
    "port_to_throat_area": Figure("1", "smallest effective port-to-throat area ratio at ignition"),
    "peak_mass_flux": Figure("kg/m^2/s", "highest mass flux in a port"),
    "thrust_coefficient": Figure("1", "total impulse over initial throat area and pressure integral"),
    "initial_pressure": Figure("Pa", "chamber pressure at ignition of all surfaces"),
    "pressure_integral": Figure("Pa*s", "integral of chamber pressure"),
    "peak_port_mach": Figure("1", "highest Mach number in a port, 1 where it chokes"),
    "head_pressure_ratio": Figure("1", "largest head-end over chamber pressure"),
    "final_throat_diameter": Figure("m", "throat diameter at the end of the burn"),
    "peak_mass_flow": Figure("kg/s", "highest mass flow through the nozzle"),
}

FLAGS: dict[str, str] = {
    "port_choked": "a port is narrower than the throat for the flow it carries: the flow chokes there first",
    "flow_separated": f"the nozzle is overexpanded and its flow separates ({SEPARATION_CRITERION})",
    "outside_characterised_pressure": "pressure leaves the rows for which the propellant was characterised",
    "several_equilibria": "a higher stable pressure exists for the same Kn; the lowest was taken",
    "nozzle_unchoked": "pressure falls too low for sonic flow in the throat",
    "recession_ignored": "the throat recedes, and the steady kernel does not follow it",
    "erosive_burning_ignored": "the propellant names an erosive law, and the steady kernel does not apply it",
    "chuffing_risk": "combustion may be unstable at low pressure (judged by the transient kernel alone)",
    "extinguished": "nothing burns, or the fire goes out before the propellant is gone",
}


def evaluate(motors: Motors, kernel: str = "steady", curve: bool = False) -> Figures:
    """Figures of a batch of motors by the named kernel; all (n,), SI, named in `FIGURES` and `FLAGS`.

    Raises ValueError for a kernel that does not exist.
    """
    if kernel == "steady":
        return steady.evaluate(motors, curve=curve)
    if kernel == "transient":
        from physics import transient

        figures: Figures = transient.evaluate(motors, curve=curve)
        return figures
    raise ValueError(f"kernel {kernel!r}: expected one of {', '.join(KERNELS)}")


def maximum_expected_pressure(motors: Motors, kernel: str = "steady", figures: Figures | None = None) -> Array:
    """Highest head-end pressure [Pa], (n,), over ambient and soak temperatures, tolerances at their adverse corner.

    Each toleranced column that ballistics reads is moved, one at a time, to the side that raises the pressure (found
    with the steady kernel at the temperature that burns fastest); then all at once, at every temperature. A tolerance
    of which neither side raises the pressure stays at nominal. Standard deviations count three times. `figures` of the
    same motors and kernel, where they are at hand, save work and change nothing.
    Raises ValueError for a kernel that does not exist.
    """
    if kernel not in KERNELS:
        raise ValueError(f"kernel {kernel!r}: expected one of {', '.join(KERNELS)}")
    hottest = _fastest_temperature(motors)
    if kernel == "steady" and figures is not None and _scales(motors, figures):
        return _scaled(motors, figures, hottest)
    corner = _adverse_corner(motors, hottest)
    if kernel == "steady":
        return steady.peak_head_pressure(corner, hottest)
    return _highest_over_temperatures(corner, kernel)


def _scales(motors: Motors, figures: Figures) -> bool:
    """Whether temperature multiplies every pressure by one factor: one rate row, no tolerance, above ambient."""
    one_row = np.atleast_2d(motors.propellant.exponent).shape[1] == 1
    exact = not any(ballistic_column(key) for key in motors.tolerances)
    alive = bool(np.all(figures["peak_pressure"] > motors.ambient.pressure))
    return figures.kernel == "steady" and one_row and exact and alive


def _scaled(motors: Motors, figures: Figures, temperature: Array) -> Array:
    """Head pressure moved to another temperature, p ∝ exp(σ_p·ΔT/(1 − n)); the place of its maximum stays."""
    rise = motors.propellant.temperature_sensitivity * (temperature - motors.ambient.temperature)
    exponent = np.atleast_2d(motors.propellant.exponent)[:, 0]
    return np.asarray(figures["peak_head_pressure"] * np.exp(rise / (1.0 - exponent)))


def _temperatures(motors: Motors) -> Array:
    """Ambient temperature and the soak temperatures, (n, s + 1)."""
    ambient = np.broadcast_to(np.asarray(motors.ambient.temperature, dtype=float), (motors.size,))
    soak = np.atleast_2d(np.asarray(motors.ambient.soak, dtype=float))
    return np.asarray(np.concatenate([ambient[:, None], np.broadcast_to(soak, (motors.size, soak.shape[1]))], axis=1))


def _fastest_temperature(motors: Motors) -> Array:
    """The temperature at which the propellant burns fastest, (n,): steady pressure grows with the rate throughout."""
    temperatures = _temperatures(motors)
    slow_when_hot = np.asarray(motors.propellant.temperature_sensitivity) < 0.0
    return np.asarray(np.where(slow_when_hot, temperatures.min(axis=1), temperatures.max(axis=1)))


def _highest_over_temperatures(motors: Motors, kernel: str) -> Array:
    temperatures = _temperatures(motors)
    highest = np.full(motors.size, -np.inf)
    for column in range(temperatures.shape[1]):
        if column and bool(np.all(temperatures[:, column] == temperatures[:, 0])):
            continue
        at = motors.with_values({"ambient.temperature": temperatures[:, column]})
        highest = np.fmax(highest, evaluate(at, kernel)["peak_head_pressure"])
    return np.where(np.isneginf(highest), np.nan, highest)


_BALLISTIC = {
    "propellant": ("density", "characteristic_velocity", "gamma", "rate", "exponent", "temperature_sensitivity"),
    "grain": ("length", "outer_diameter", "core_diameter"),
    "nozzle": ("throat_diameter", "exit_diameter", "throat_recession"),
}


def ballistic_column(key: str) -> str | None:
    """The dotted column that a tolerance's key names where ballistics reads it, else None; short names are known too.

    >>> ballistic_column("throat_diameter"), ballistic_column("case.wall")
    ('nozzle.throat_diameter', None)
    """
    part, _, name = key.rpartition(".")
    for table, names in _BALLISTIC.items():
        if name in names and part in ("", table):
            return f"{table}.{name}"
    return None


def _adverse_corner(motors: Motors, temperature: Array) -> Motors:
    """Every toleranced ballistic column at the side that raises the pressure."""
    reach = {ballistic_column(key): tolerance for key, tolerance in motors.tolerances.items()}
    sides = {column: _sides(motors, column, tolerance) for column, tolerance in reach.items() if column is not None}
    if not sides:
        return motors
    nominal = steady.peak_head_pressure(motors, temperature)
    corner = {}
    for column, (low, high) in sides.items():
        below = steady.peak_head_pressure(motors.with_values({column: low}), temperature)
        above = steady.peak_head_pressure(motors.with_values({column: high}), temperature)
        wide = (slice(None), None) if np.ndim(low) == 2 else (slice(None),)
        leaf = np.asarray(motors.value(column), dtype=float)
        worst = np.where((above >= below)[wide], high, low)
        corner[column] = np.where((np.maximum(above, below) > nominal)[wide], worst, leaf)
    return motors.with_values(corner)


def _sides(motors: Motors, column: str, tolerance: Tolerance) -> tuple[Array, Array]:
    """The column at the lower and the upper end of its tolerance; a core that is absent stays so."""
    leaf = np.asarray(motors.value(column), dtype=float)
    minus, plus = tolerance.reach
    scale = np.abs(leaf) if tolerance.relative else np.where(leaf > 0.0, 1.0, 0.0)
    return leaf - minus * scale, leaf + plus * scale
