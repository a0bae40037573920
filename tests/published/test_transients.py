"""Filling, emptying and stability of a chamber against closed forms (derived) and published definitions."""

from __future__ import annotations

import numpy as np
import pytest

from physics.ballistics import transient
from physics.ballistics.transient.figures import chuffing_limit
from physics.ballistics.transient.layout import Options, layout_of
from physics.ballistics.transient.march import filling_time, unburnt_state
from physics.ballistics.transient.stages import geometry
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant


def chamber(
    density: float, rate: float, start: float, throat: float = 0.012, velocity: float = 1500.0, web: float = 0.02
) -> Motors:
    """One straight core of 200 cm³ with inhibited ends, n = 0.35; `rate` at 1 MPa in m/s, `start` the outside in Pa.

    A dense, slow propellant makes gas as fast as a real one and leaves the volume and the surface as they were.
    """

    def column(value: float) -> np.ndarray:
        return np.array([float(value)])

    table = [np.array([[v]]) for v in (1e5, 1e8, rate, 1e6, 0.35)]
    core, volume = 0.05, 200e-6
    length = volume / (np.pi / 4.0 * core**2)
    grains = Grains(*(np.array([[v]]) for v in (1.0, length, core + 2.0 * web, core, 0.0)))
    propellant = Propellant(column(density), column(velocity), column(1.2), column(0.025), *table, column(293.15), column(0.0))
    nozzle = Nozzle(*(column(v) for v in (throat, 2.0 * throat, 0.0, 1.0, 0.0, 1e6)))
    return Motors(1, propellant, grains, nozzle, Ambient(column(start), column(293.15), np.array([[293.15]])))


def held(pressure: float, density: float = 1e6, web: float = 1.3e-6) -> Motors:
    """The chamber with the rate at which its unburnt surface holds `pressure` (vacuum outside, lumped).

    The web is so thin that surface and volume stay as they were, and so dense that it lasts some twenty filling times.
    """
    base = chamber(density, 1e-9, 0.0)
    surface = np.pi * float(base.grain.core_diameter[0, 0]) * float(base.grain.length[0, 0])
    throat = np.pi / 4.0 * 0.012**2
    rate = pressure * throat / (1500.0 * density * surface) / (pressure / 1e6) ** 0.35
    return chamber(density, rate, 0.0, web=web)


def test_filling_time_and_chamber_length() -> None:
    # derived: tau = V c*/(R T At) = L*/(Gamma^2 c*); V = 200 cm³, 12 mm throat, c* = 1500 m/s, gamma = 1.2
    layout = layout_of(chamber(1750.0, 5e-3, 101325.0), Options())
    throat = np.pi * layout.throat_radius**2
    assert throat[0] == pytest.approx(1.1309734e-4, rel=1e-6)
    assert layout.free_volume[0] / throat[0] == pytest.approx(1.768388, rel=1e-6)
    assert layout.gas_constant_temperature[0] == pytest.approx(946333.53, rel=1e-6)
    state = unburnt_state(layout)
    shape = geometry(layout, state.core, state.head, state.aft)
    assert filling_time(layout, state, shape)[0] == pytest.approx(2.803010e-3, rel=1e-6)


TAU = 2.803010e-3


def test_filling_history() -> None:
    # derived: p = peq [1 − (1 − (p0/peq)^(1−n)) e^(−(1−n)t/tau)]^(1/(1−n)), Bernoulli's equation; peq = 5 MPa,
    # n = 0.35, here from the 1 kPa at which the kernel starts in a vacuum
    curve = transient.evaluate(held(5e6), curve=True, rate_pressure="chamber", tolerance=5e-4).curve
    assert curve is not None
    steps = np.array([0.5, 1.0, 2.0, 3.0, 5.0])
    start = (1e3 / 5e6) ** 0.65
    expected = 5e6 * (1.0 - (1.0 - start) * np.exp(-0.65 * steps)) ** (1.0 / 0.65)
    found = np.interp(steps * TAU, curve.time[0], curve.chamber_pressure[0])
    np.testing.assert_allclose(found, expected, rtol=1e-3)


@pytest.fixture(scope="module")
def filling():
    """A chamber filled in a vacuum, as history."""
    curve = transient.evaluate(held(5e6), curve=True, rate_pressure="chamber", tolerance=5e-4).curve
    assert curve is not None
    return curve


@pytest.mark.parametrize(
    ("steps", "pressure"), [(0.5, 0.928621), (1.0, 1.824876), (2.0, 3.205837), (3.0, 4.028681), (5.0, 4.728049)]
)
def test_filling_from_one_atmosphere(filling, steps: float, pressure: float) -> None:
    # derived, the same formula from 0.101325 MPa: the clock starts where the curve passes that pressure
    keep = np.isfinite(filling.time[0])
    time, found = filling.time[0][keep], filling.chamber_pressure[0][keep]
    rising = slice(0, int(np.argmax(found)) + 1)
    began = np.interp(0.101325e6, found[rising], time[rising])
    assert np.interp(began + steps * TAU, time, found) == pytest.approx(pressure * 1e6, rel=1e-3)
    ninety = np.interp(0.9 * 5e6, found[rising], time[rising])
    assert ninety - began == pytest.approx(11.352422e-3, rel=2e-3)


def test_tail_off_is_exponential() -> None:
    # derived: p = p0 exp(−t/tau) once nothing burns and the throat is sonic, with tau of the empty case
    motors = chamber(1750.0, 5e-3, 0.0, web=0.004)
    curve = transient.evaluate(motors, curve=True, rate_pressure="chamber", tolerance=5e-4).curve
    assert curve is not None
    keep = np.isfinite(curve.time[0])
    time, pressure = curve.time[0][keep], curve.chamber_pressure[0][keep]
    last = int(np.flatnonzero(curve.kn[0][keep] > 0.0)[-1]) + 1
    tau = TAU * (0.058 / 0.05) ** 2
    for steps, left in ((1.0, 1.839397 / 5.0), (2.0, 0.676676 / 5.0), (5.0, 0.033690 / 5.0)):
        found = np.interp(time[last] + steps * tau, time, pressure) / pressure[last]
        assert found == pytest.approx(left, rel=2e-3)


def test_gas_density_in_the_chamber() -> None:
    # derived: ideal gas, 5 MPa, 3000 K, 25 g/mol: 5.011348 kg/m³, a 349th of the solid
    gas = 5e6 / (8.314462618 / 0.025 * 3000.0)
    assert gas == pytest.approx(5.011348, rel=1e-6)
    layout = layout_of(chamber(1750.0, 5e-3, 101325.0), Options())
    # the kernel's R T = (c* Gamma)² at the c* of that gas
    velocity = np.sqrt(8.314462618 / 0.025 * 3000.0) / 0.64853131
    assert layout.gas_constant_temperature[0] * (velocity / 1500.0) ** 2 == pytest.approx(5e6 / gas, rel=1e-6)


def test_chuffing_limit_has_the_published_form() -> None:
    # remembered, moderately: L* p^(2n) = const on the boundary (Sehgal & Strand 1964), low L* and low p unstable. The
    # limit is on tau r²/alpha, and tau grows as L*, r² as p^(2n); it must not depend on anything but n.
    limit = chuffing_limit(np.array([0.3, 0.4, 0.5, 0.6]))
    assert (np.diff(limit) > 0.0).all()
    # derived: neutral stability of the response function at n = 0.4, A = 10, B = 0.8, by a root search
    from scipy.optimize import brentq

    def response(frequency: float) -> complex:
        wave = 0.5 * (1.0 + np.sqrt(1.0 + 4.0j * frequency))
        return complex(0.4 * 8.0 / (wave + 10.0 / wave - 11.0 + 8.0))

    at = brentq(lambda f: response(f).real - 1.0, 1.0, 5.0)
    assert limit[1] == pytest.approx(response(at).imag / at, rel=5e-3)
