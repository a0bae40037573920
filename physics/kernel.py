"""The one door to the ballistics of a batch of motors.

Owns `evaluate`, the flags that a kernel raises (`FLAGS`; its figures stand in `figures`), and the maximum expected
pressure (definition: worst case of soak and tolerances). Imports the kernels; the transient one where it is asked for.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from physics import steady
from physics.figures import FIGURES as FIGURES
from physics.motors import Array, Figures, Motors, Tolerance
from physics.nozzle import SEPARATION_CRITERION

KERNELS = ("steady", "transient")


FLAGS: dict[str, str] = {
    "port_choked": "a port is narrower than the throat for the flow it carries: the flow chokes there first",
    "flow_separated": f"the nozzle is overexpanded and its flow separates ({SEPARATION_CRITERION})",
    "outside_characterised_pressure": "pressure leaves the rows for which the propellant was characterised",
    "several_equilibria": "a stable pressure at least 5 % higher exists for the same Kn; the lowest was taken",
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
    if kernel == "steady":
        return _steady_expected(motors, hottest, figures)
    return _highest_over_temperatures(_adverse_corner(motors, hottest), kernel)


def _steady_expected(motors: Motors, temperature: Array, figures: Figures | None) -> Array:
    """The steady kernel's answer, from the figures at hand for each motor of which they say enough."""
    rest = np.arange(motors.size)
    expected = np.empty(motors.size)
    if figures is not None and figures.kernel == "steady" and _law_scales(motors):
        expected[:] = _scaled(motors, figures, temperature)
        rest = np.flatnonzero(~_above_ambient(motors, figures))
    if rest.size:
        some, hot = (motors, temperature) if rest.size == motors.size else (motors.take(rest), temperature[rest])
        expected[rest] = steady.peak_head_pressure(_adverse_corner(some, hot), hot)
    return expected


def _law_scales(motors: Motors) -> bool:
    """Whether temperature multiplies every steady pressure by one factor: one rate row, and no tolerance."""
    one_row = np.atleast_2d(motors.propellant.exponent).shape[1] == 1
    return one_row and not any(ballistic_column(key) for key in motors.tolerances)


def _above_ambient(motors: Motors, figures: Figures) -> NDArray[np.bool_]:
    """Motors whose chamber never waits at ambient pressure, where that factor would not hold: sonic throughout, (n,)."""
    return np.asarray((figures["peak_pressure"] > motors.ambient.pressure) & ~figures.flags["nozzle_unchoked"])


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
    """Highest head pressure at ambient and at each soak temperature, all as one batch, (n,)."""
    temperatures = _temperatures(motors)
    same = (temperatures[:, 1:] == temperatures[:, :1]).all(axis=0)
    temperatures = temperatures[:, [0, *(1 + np.flatnonzero(~same))]]
    each = motors.repeat(temperatures.shape[1]).with_values({"ambient.temperature": temperatures.ravel()})
    found = evaluate(each, kernel)["peak_head_pressure"].reshape(temperatures.shape)
    highest = np.fmax.reduce(found, axis=1, initial=-np.inf)
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
