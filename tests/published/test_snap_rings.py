"""Retaining rings in their grooves against what ring makers print for rings that are sold (inches, lbf)."""

from __future__ import annotations

import numpy as np
import pytest

from physics.failure import closures
from physics.failure.case import end_load_area
from physics.materials import Material, material
from physics.motors import Ambient, Case, Closure, Grains, Motors, Nozzle, Propellant, Situation, SnapRing

INCH, PSI, LBF = 0.0254, 6894.757293168, 4.4482216152605


def one(value: float) -> np.ndarray:
    return np.array([float(value)])


def row(value: float) -> np.ndarray:
    return np.array([[float(value)]])


def ring(bore: float, groove: float, thickness: float, shear: float = 150e3, housing: float = 45e3) -> Motors:
    """A tube of that bore, its metal yielding at `housing` psi, with a ring in a groove at its forward end."""
    tube = Material("housing", yield_strength=housing * PSI, tensile_strength=1.2 * housing * PSI)
    held = SnapRing(one(groove * INCH), one(thickness * INCH), one(3 * groove * INCH), one(shear * PSI))
    propellant = Propellant(
        one(1700), one(1480), one(1.21), one(0.024), row(1e5), row(2e7), row(6.5e-3), row(5e6), row(0.3), one(293.15), one(0.0015)
    )
    return Motors(
        1, propellant, Grains(row(3), row(0.05), row(0.02), row(0.008), row(2)),
        Nozzle(one(0.008), one(0.02), one(0.24), one(0.95), one(0), one(5e6)), Ambient(one(101325), one(293.15), row(293.15)),
        Case(tube, one((bore + 0.5) * INCH), one(0.25 * INCH)), forward_closure=Closure("snap-ring", snap_ring=held),
    )  # fmt: skip


def load(mode: str, motors: Motors) -> float:
    """The end load [lbf] at which a mode happens."""
    pressure = getattr(closures, mode)(motors, Situation("forward"))
    return float((pressure * end_load_area(motors, "forward"))[0]) / LBF


@pytest.mark.parametrize(
    ("bore", "depth", "safety", "printed"),
    # read: American Ring's product pages, allowable thrust of the groove, B d pi Ys/K at Ys = 45 000 psi, K as printed
    [(1.969, 0.034, 2.0, 4729.0), (2.835, 0.050, 4.0, 5007.0)],
)
def test_the_thrust_of_a_groove(bore: float, depth: float, safety: float, printed: float) -> None:
    # the maker takes pi as 3.14: his figures are 0.05 % lower
    assert load("groove_bearing", ring(bore, depth, 0.062)) / safety == pytest.approx(printed, rel=1e-3)


def test_the_thrust_of_a_ring() -> None:
    # read: the same maker, B t pi Ss/K with Ss = 153 000 psi and K = 3
    assert load("snap_ring_shear", ring(2.835, 0.050, 0.062, shear=153e3)) / 3.0 == pytest.approx(28147.0, rel=1e-3)


@pytest.mark.parametrize("shear", [120e3, 126e3, 150e3, 153e3])
def test_the_shear_strength_taken_is_the_least_that_is_printed(shear: float) -> None:
    # read: the same maker, four products of SAE 1060-1095 spring steel
    found = material("spring steel").shear_strength
    assert found is not None and found / PSI <= shear * (1.0 + 1e-6)


def test_in_an_aluminium_tube_the_groove_goes_long_before_the_ring() -> None:
    """Read (Rotor Clip, formulas): the ring's own figure holds in hardened housings alone; in a soft one the groove decides."""
    for bore, groove, thickness in ((1.969, 0.034, 0.062), (2.835, 0.050, 0.078)):
        soft = ring(bore, groove, thickness, shear=120e3, housing=35e3)
        assert load("groove_bearing", soft) < 0.5 * load("snap_ring_shear", soft)
