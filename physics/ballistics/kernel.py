"""The one door to the ballistics of a batch of motors.

Owns `evaluate`, the flags that a kernel raises (`FLAGS`; its figures stand in `figures`), and the maximum expected
pressure (definition: worst case of soak and tolerances). Imports the kernels; the transient one where it is asked for.
"""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from physics.ballistics import steady
from physics.ballistics.corners import STACKED, Corner, Corners, moved, moves, shifted
from physics.ballistics.nozzle import SEPARATION_CRITERION
from physics.figures import FIGURES as FIGURES
from physics.motors import Array, Figures, Motors, Tolerance

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
    """Figures of a batch of motors by the named kernel.

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    kernel : str
        The name of the kernel.
    curve : bool
        Whether to add the histories over the burn.

    Returns
    -------
    Figures
        All (n,), SI, named in `FIGURES` and `FLAGS`.

    Raises
    ------
    ValueError
        For a kernel that does not exist.
    """
    if kernel == "steady":
        return steady.evaluate(motors, curve=curve)
    if kernel == "transient":
        figures: Figures = transient_kernel().evaluate(motors, curve=curve)
        return figures
    raise ValueError(f"kernel {kernel!r}: expected one of {', '.join(KERNELS)}")


def transient_kernel() -> ModuleType:
    """The transient kernel, loaded where it is asked for."""
    from physics.ballistics import transient

    return transient


def maximum_expected_pressure(motors: Motors, kernel: str = "steady", figures: Figures | None = None) -> Array:
    """Highest head-end pressure over ambient and soak temperatures and tolerances, by the named kernel. [Pa]

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    kernel : str
        The name of the kernel.
    figures : Figures, optional
        Of the same motors and kernel, where they are at hand; they save the steady kernel work and change nothing.

    Returns
    -------
    Array
        (n,); NaN where any corner has no equilibrium or cannot be built; never below nominal. [Pa]

    Raises
    ------
    ValueError
        For a kernel that does not exist.

    Notes
    -----
    The worst corner of every tolerance that the kernel can see is found with that kernel (`physics.ballistics.corners`) at the
    temperature that burns fastest; the transient kernel starts from the corner that the steady one finds, turns each column
    there, and tries every temperature. Standard deviations count three times, that of the ambient temperature too.
    """
    return adverse_corner(motors, kernel, figures).value


def burnt(motors: Motors, kernel: str = "steady", curve: bool = False) -> tuple[Figures, Array]:
    """Figures as `evaluate` gives them and the maximum expected pressure, asked together.

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    kernel : str
        The name of the kernel.
    curve : bool
        Whether to add the histories over the burn.

    Returns
    -------
    Figures
        All (n,), SI.
    Array
        The maximum expected pressure, (n,). [Pa]

    Raises
    ------
    ValueError
        For a kernel that does not exist.

    Notes
    -----
    The transient kernel burns the motors as drawn beside their corners, which costs little more than either alone.
    """
    if kernel != "transient":
        figures = evaluate(motors, kernel, curve)
        return figures, maximum_expected_pressure(motors, kernel, figures)
    burns = _Burns(motors, curve)
    expected = burns.adverse_corner().value
    assert burns.figures is not None
    return burns.figures, expected


def adverse_corner(motors: Motors, kernel: str = "steady", figures: Figures | None = None) -> Corner:
    """The same with the corner at which it stands.

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    kernel : str
        The name of the kernel.
    figures : Figures, optional
        Of the same motors and kernel, where they are at hand.

    Returns
    -------
    Corner
        Its value (n,) [Pa]; `Corner.sides` [-] are in the order of `seen_tolerances`.
    """
    if kernel not in KERNELS:
        raise ValueError(f"kernel {kernel!r}: expected one of {', '.join(KERNELS)}")
    if kernel == "steady":
        return _steady_expected(motors, _fastest_temperature(motors), figures)
    return _Burns(motors).adverse_corner()


def _steady_expected(motors: Motors, temperature: Array, figures: Figures | None) -> Corner:
    """The steady kernel's answer, from the figures at hand for each motor of which they say enough."""
    if figures is None or figures.kernel != "steady" or not _law_scales(motors):
        return _found(motors, temperature)
    expected = _scaled(motors, figures, temperature)
    rest = np.flatnonzero(~_above_ambient(motors, figures))
    if rest.size:
        expected[rest] = steady.peak_head_pressure(motors.take(rest), temperature[rest])
    return Corner(expected, expected, np.zeros((motors.size, 0)))


_UNSEEN = frozenset(
    {
        "propellant.strength",
        "nozzle.half_angle",
        "nozzle.efficiency",
        "nozzle.seat_diameter",
        "ambient.temperature",
        "ambient.soak",
        "case.service_temperature",
        "case.heat_affected_reach",
        "liner.gap",
    }
)
"""Columns that no kernel's pressure depends on; temperatures are followed apart."""
_UNSEEN_STEADY = frozenset({
    "nozzle.exit_diameter", "nozzle.throat_recession", "nozzle.throat_recession_at", "nozzle.insert_diameter",
    "nozzle.insert_length",
})  # fmt: skip
_UNSEEN_OF_CLOSURES = (
    "gap", "hardness", "mass", "tensile_strength", "ring_shear_strength", "hole_diameter", "load_sharing",
    "fitting_factor", "thread_diameter", "thread_pitch", "groove_depth", "flush_length",
)  # fmt: skip


def seen_tolerances(motors: Motors, kernel: str) -> dict[str, Tolerance]:
    """The tolerances that may move a kernel's pressure, by column.

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    kernel : str
        The name of the kernel.

    Returns
    -------
    dict of str to Tolerance
        By column.

    Notes
    -----
    Those of the propellant, the grains and the nozzle, and for the transient kernel also those of what bounds its free
    volume.
    """

    def seen(column: str) -> bool:
        part, last = column.partition(".")[0], column.rpartition(".")[2]
        if column in _UNSEEN or part == "airframe":
            return False
        if kernel == "steady":
            return part in ("propellant", "grain", "nozzle", "ambient") and column not in _UNSEEN_STEADY
        return not (part.endswith("closure") and last in _UNSEEN_OF_CLOSURES)

    return {
        column: tolerance for column, tolerance in motors.tolerances.items()
        if moves(tolerance) and seen(column) and motors.value(column) is not None
    }  # fmt: skip


def _found(motors: Motors, temperature: Array) -> Corner:
    """The worst corner by the steady kernel at one temperature of each motor."""
    corners = _corners(motors, "steady")

    def head(batch: Motors, rows: NDArray[np.intp]) -> Array:
        return np.where(_runaway(batch), np.nan, steady.peak_head_pressure(batch, temperature[rows]))

    return corners.worst(head, highest=True)


def _corners(motors: Motors, kernel: str) -> Corners:
    seen = seen_tolerances(motors, kernel)
    return Corners(motors, seen, between=[name for name in seen if name.startswith("grain.")])


def _runaway(motors: Motors) -> NDArray[np.bool_]:
    """Motors of which no pressure is an equilibrium, (n,)."""
    return np.asarray((np.atleast_2d(motors.propellant.exponent) >= 1.0).any(axis=1))


class _Burns:
    """Burns of the transient kernel, those of motors as drawn (`drawn`, with `curve`) beside those of their corners."""

    def __init__(self, motors: Motors, curve: bool | None = None) -> None:
        self.motors, self.curve = motors, curve
        self.corners = _corners(motors, "transient")
        table = _temperatures(motors)
        self.fastest = _fastest_temperature(motors)
        other = table != self.fastest[:, None]
        self.temperatures = np.column_stack([self.fastest, table[:, other.any(axis=0)]])
        self.asked = np.column_stack([np.ones(motors.size, dtype=bool), other[:, other.any(axis=0)]])
        self.figures: Figures | None = None

    def adverse_corner(self) -> Corner:
        """The worst corner over all temperatures, from that of the steady kernel; `figures` are those as drawn."""
        guess = np.zeros((self.motors.size, len(self.corners.tolerances)))
        with np.errstate(all="ignore"):
            steadily = _found(self.motors, self.fastest)
        for place, name in enumerate(seen_tolerances(self.motors, "steady")):
            guess[:, self.corners.names.index(name)] = steadily.sides[:, place]
        return self.corners.worst_from(self._head, guess, highest=True, settings=self.asked)

    def _head(self, rows: NDArray[np.intp], sides: Array, settings: NDArray[np.intp]) -> Array:
        """Highest head pressure [Pa] of these rows at sides and temperatures; the first time with the motors as drawn."""
        size, temperature = self.motors.size, self.temperatures[rows, settings]
        drawn = 0 if self.curve is None or self.figures is not None else size
        if drawn:
            rows, sides = np.concatenate([np.arange(size), rows]), np.concatenate([np.zeros((size, sides.shape[1])), sides])
            temperature = np.concatenate([np.broadcast_to(self.motors.ambient.temperature, (size,)), temperature])
        found = []
        for first in range(0, len(rows), max(STACKED, drawn)):
            some = slice(first, first + max(STACKED, drawn))
            batch, none = moved(self.motors.take(rows[some]), self.corners.tolerances, sides[some])
            batch = batch.with_values({"ambient.temperature": temperature[some]})
            burns = transient_kernel().evaluate(batch, curve=bool(self.curve) and not first, histories=drawn)
            if drawn and not first:
                self.figures = replace(
                    burns,
                    values={name: column[:drawn] for name, column in burns.values.items()},
                    flags={name: column[:drawn] for name, column in burns.flags.items()},
                )
            found.append(np.where(none | _runaway(batch), np.nan, burns["peak_head_pressure"]))
        return np.concatenate(found)[drawn:]


def _law_scales(motors: Motors) -> bool:
    """Whether temperature multiplies every steady pressure by one factor: one rate row, and no tolerance."""
    one_row = np.atleast_2d(motors.propellant.exponent).shape[1] == 1
    return one_row and not seen_tolerances(motors, "steady")


def _above_ambient(motors: Motors, figures: Figures) -> NDArray[np.bool_]:
    """Motors whose chamber never waits at ambient pressure, where that factor would not hold: sonic throughout, (n,)."""
    return np.asarray((figures["peak_pressure"] > motors.ambient.pressure) & ~figures.flags["nozzle_unchoked"])


def _scaled(motors: Motors, figures: Figures, temperature: Array) -> Array:
    """Head pressure moved to another temperature, p ∝ exp(σ_p·ΔT/(1 − n)); the place of its maximum stays."""
    rise = motors.propellant.temperature_sensitivity * (temperature - motors.ambient.temperature)
    exponent = np.atleast_2d(motors.propellant.exponent)[:, 0]
    return np.asarray(figures["peak_head_pressure"] * np.exp(rise / (1.0 - exponent)))


def _temperatures(motors: Motors) -> Array:
    """Ambient temperature with its tolerance, and the soak temperatures, (n, s)."""
    ambient = np.array(np.broadcast_to(np.asarray(motors.ambient.temperature, dtype=float), (motors.size,)))
    soak = np.atleast_2d(np.asarray(motors.ambient.soak, dtype=float))
    columns = [ambient[:, None], np.broadcast_to(soak, (motors.size, soak.shape[1]))]
    tolerance = motors.tolerances.get("ambient.temperature")
    if tolerance is not None and moves(tolerance):
        for by in (-tolerance.reach[0], tolerance.reach[1]):
            columns.append(shifted(motors, "ambient.temperature", tolerance, np.full(motors.size, by))[0][:, None])
    return np.asarray(np.concatenate(columns, axis=1))


def _fastest_temperature(motors: Motors) -> Array:
    """The temperature at which the propellant burns fastest, (n,): steady pressure grows with the rate throughout."""
    temperatures = _temperatures(motors)
    slow_when_hot = np.asarray(motors.propellant.temperature_sensitivity) < 0.0
    return np.asarray(np.where(slow_when_hot, temperatures.min(axis=1), temperatures.max(axis=1)))
