"""A liner that recedes, a liner that chars and the soak behind them, against exact solutions and 1-D references.

Exact ones stand against the closed solution, worked out here by scipy as well. "Reference" is an adaptive solution of
the same equations made apart from this project; nobody has published a liner of a small motor with its inputs.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

from physics.heat import conduction, liner
from physics.heat.conduction import Face, Layer
from physics.heat.liner import Char, Exposure, Sleeve
from physics.heat.soak import readings, soak_instants

NEVER = 9e9


def one(value):
    return np.array([float(value)])


def sleeve(
    thickness, conductivity, density, specific_heat, front, heat, radius=np.inf, contact=1e9, case=3e-3, outside=10.0, start=293.15
):
    """On 6061: 167 W/(m K), 2700 kg/m3, 896 J/(kg K)."""
    return Sleeve(
        *(
            one(value)
            for value in (
                thickness,
                conductivity,
                density,
                specific_heat,
                front,
                heat,
                radius,
                contact,
                case,
                167.0,
                2700.0 * 896.0,
                outside,
                start,
            )
        )
    )


def burn(seconds, film, gas, emissivity=0.0, soak=0.0, steps=48, blown=2000.0, blowing=0.4):
    """Constant conditions, then a soak of so many seconds."""
    time = seconds * np.linspace(0.0, 1.0, steps + 1) ** 1.5
    on = np.ones((steps, 1))
    if soak:
        time = np.concatenate([time, seconds + soak_instants(length=soak)])
        on = np.concatenate([on, np.zeros((soak_instants().size, 1))])
    return Exposure(time[:, None], film * on, emissivity * on, one(gas), one(blown), blowing)


def flux(seconds, level, steps=48, front=0.0):
    """A flux that does not care how hot the surface is: weak film, very hot gas; `level` a number or one a step."""
    gas = 1e9
    time = seconds * np.linspace(0.0, 1.0, steps + 1) ** 1.5
    film = np.broadcast_to(np.asarray(level, dtype=float) / (gas - front), (steps,))[:, None]
    return Exposure(time[:, None], film, np.zeros((steps, 1)), one(gas), one(0.0), 1e-12)


def rise(history):
    return history.outside[:, 0] - 293.15


class TestBeforeAnythingRecedes:
    """The march of the wall that stays as it is, and the liner's with a front that is never reached."""

    def test_half_space_under_a_flux(self):
        # Carslaw and Jaeger 2.9 (remembered): 2q·√(at/π)/k = 711.87 K; 0.1 mm deep 382.24 K; tolerance 0.5 %
        k, heat, q, t = 0.25, 1340.0 * 1500.0, 1e6, 0.20
        layer = Layer(one(2e-3), one(k), one(1340.0), one(1500.0), cells=200)
        found = conduction.march((layer,), 0.0, np.linspace(0, t, 201), Face(flux=q))
        deep = np.interp(0.1e-3, (np.arange(200) + 0.5) * 1e-5, found.final[:, 0])
        assert_allclose([found.surface[-1, 0], deep], [711.87, 382.24], rtol=5e-3)
        a = k / heat
        exact = [
            q / k * quad(lambda s, x=x: np.sqrt(a / (np.pi * s)) * np.exp(-(x**2) / (4 * a * s)), 0, t, points=[1e-6, 1e-3])[0]
            for x in (0.0, 0.1e-3)
        ]
        assert_allclose(exact, [711.87, 382.24], rtol=1e-4)

    @pytest.mark.slow
    def test_half_space_under_a_film(self):
        # Carslaw and Jaeger 2.7 (remembered): surface 1810.2 K after 0.05 s, 1375.1 K at 0.2 mm after 0.5 s; 0.5 %
        k, density, heat, film, gas, start = 0.17, 1390.0, 1000.0, 3000.0, 2600.0, 293.15
        layer = Layer(one(3e-3), one(k), one(density), one(heat), cells=300)
        time = np.linspace(0, 1, 401) ** 1.5
        short = conduction.march((layer,), start, 0.05 * time, Face(film, gas)).surface[-1, 0]
        final = conduction.march((layer,), start, 0.5 * time, Face(film, gas)).final[:, 0]
        deep = np.interp(0.2e-3, (np.arange(300) + 0.5) * 1e-5, final)
        assert_allclose([short, deep], [1810.2, 1375.1], rtol=5e-3)
        reach = film * np.sqrt(k / (density * heat) * 0.05) / k
        assert_allclose(gas - (gas - start) * erfcx(reach), 1810.2, rtol=1e-4)

    def test_nothing_recedes_nothing_reacts(self):
        # reference, 1-D cylinder: 2 mm on 3 mm 6061, r 20 mm, 2000 W/m2K, 2650 K, emissivity 0.5, 1.95 s: outside 47.1 at
        # 5 s, 148.4 at 15 s, 196.6 degC at most, at 48 s; tolerance 2 K, time 15 %
        found = liner.strip_march(sleeve(2e-3, 0.25, 1340, 1500, NEVER, 1.0, 20e-3), burn(1.95, 2000.0, 2650.0, 0.5, soak=120.0))
        told = readings(found.time, found.outside)
        assert_allclose(told.after[:2, 0] - 273.15, [47.1, 148.4], atol=2.0)
        assert_allclose(told.peak - 273.15, 196.6, atol=2.0)
        assert_allclose(told.at, 48.0, rtol=0.15)

    def test_soak_loses_nothing(self):
        # energy: 0.30 MJ/m2 into 2 mm of liner on 3 mm of aluminium, plane, all insulated: 26.601 K; tolerance 0.1 %
        wall = sleeve(2e-3, 0.25, 1340, 1500, NEVER, 1.0, outside=0.0)
        heated = flux(1.0, 0.30e6)
        soak = soak_instants(length=500.0)[:, None]
        both = Exposure(
            np.concatenate([heated.time, 1.0 + soak]),
            np.concatenate([heated.coefficient, 0.0 * soak]),
            np.zeros((88, 1)),
            heated.gas,
            heated.blown,
            heated.blowing,
        )
        found = liner.strip_march(wall, both)
        assert_allclose([rise(found)[-1], found.bore[-1, 0] - 293.15], 26.601, rtol=1e-3)


class TestStripped:
    PVC = (0.17, 1390.0, 1000.0, 593.15, 1.0e6)  # front 300 K over the start

    def test_onset(self):
        # Carslaw and Jaeger 2.9 solved for the time (remembered): π·k·ρ·c·ΔT²/(4q²) = 66.812 ms at 0.5 MW/m2; 1 %
        found = liner.strip_march(sleeve(0.6e-3, *self.PVC), flux(0.1, 0.5e6, steps=1500, front=593.15))
        begun = found.time[np.argmax(found.worn[:, 0] > 0.0), 0]
        assert_allclose(begun, 66.812e-3, rtol=0.01)

    def test_steady_rate(self):
        # energy, any text: q/(ρ·(Q + c·ΔT)) = 2.767 mm/s at 5 MW/m2; 0.5 %
        assert_allclose(liner.recession_rate(1390.0, 1.3e6, 0.0, 2000.0, 2000.0, 5e6), 2.767e-3, rtol=5e-3)
        found = liner.strip_march(sleeve(4e-3, *self.PVC), flux(0.4, 5e6, steps=400, front=593.15))
        rate = (found.worn[-1, 0] - found.worn[200, 0]) / (found.time[-1, 0] - found.time[200, 0])
        assert_allclose(rate, 2.767e-3, rtol=5e-3)

    def test_heat_ahead_of_the_front(self):
        # profile exp(−v·x/a), any text: k·ΔT/v = 18.431 kJ/m2; 1 %. What came in and is not in what left is there.
        found = liner.strip_march(sleeve(1.8e-3, *self.PVC), flux(0.4, 5e6, steps=800, front=593.15))
        assert_allclose(5e6 * 0.4 - 1390.0 * 1.3e6 * found.worn[-1, 0], 18.431e3, rtol=0.01)
        assert_allclose(quad(lambda x: 1390e3 * 300 * np.exp(-2.767e-3 * x / (0.17 / 1390e3)), 0, 4e-3)[0], 18.431e3, rtol=1e-3)

    def test_flux_that_falls_as_the_root_of_time(self):
        # similarity, exact: λ 0.30 gives q1 = 257.83 kW s^0.5/m2 and 0.29674 mm after 2 s; tolerance 1 %
        k, density, heat, _, latent = self.PVC
        a = k / (density * heat)
        level = density * latent * 0.3 * np.sqrt(a) + k * 300 * np.exp(-0.09) / (np.sqrt(np.pi * a) * erfc(0.3))
        assert_allclose(level, 257.83e3, rtol=1e-4)
        time = 2.0 * np.linspace(0, 1, 49) ** 1.5
        mean = level * 2.0 * np.diff(np.sqrt(time)) / np.diff(time)
        found = liner.strip_march(sleeve(4e-3, *self.PVC), flux(2.0, mean, front=593.15))
        assert_allclose(found.worn[-1, 0], 0.29674e-3, rtol=0.01)

    def test_blowing(self):
        # Couette film, derived: 4.4666 mm/s (8.8545 without blowing), 4.7864 with 1 MW/m2 of radiation; tolerance 0.5 %
        rate = liner.recession_rate
        assert_allclose(rate(1390.0, 1.3e6, 8000.0, 2000.0, 2000.0), 4.4666e-3, rtol=5e-3)
        assert_allclose(rate(1390.0, 1.3e6, 8000.0, 2000.0, 2000.0, blowing=1e-9), 8.8545e-3, rtol=5e-3)
        assert_allclose(rate(1390.0, 1.3e6, 8000.0, 2000.0, 2000.0, 1e6), 4.7864e-3, rtol=5e-3)

        def rest(speed):
            p = 2 * 0.4 * 1390.0 * speed * 2000.0 / 8000.0
            return 8000.0 * 2000.0 * p / np.expm1(p) + 1e6 - 1390.0 * speed * 1.3e6

        assert_allclose(brentq(rest, 1e-3, 1e-2), 4.7864e-3, rtol=1e-4)

    def test_pvc_on_aluminium(self):
        # reference, 1-D: 2.54 mm, h 500 W/m2K, 2295 K, emissivity 0.2, 1.41 s: 0.432 mm gone, it holds; outside at most
        # 34.4 degC, at 64 s; tolerance 3 %, 10 % of the rise, 15 % of the time
        found = liner.strip_march(
            sleeve(2.54e-3, 0.17, 1400, 1550, 620, 0.90e6, 25.4e-3, 2000.0, 1.651e-3), burn(1.41, 500.0, 2295.0, 0.2, 120.0)
        )
        assert np.isinf(found.through[0])
        assert_allclose(found.worn[-1, 0], 0.432e-3, rtol=0.03)
        told = readings(found.time, found.outside)
        assert_allclose(told.peak - 293.15, 14.4, rtol=0.10)
        assert_allclose(told.at, 64.0, rtol=0.15)

    def test_kraft_goes_through(self):
        # reference, 1-D: 1.6 mm on 3 mm 6061, contact 336 W/m2K, r 20 mm, 1500 W/m2K, 2650 K, emissivity 0.5: 0.528 s; 5 %
        found = liner.strip_march(sleeve(1.6e-3, 0.10, 680, 1650, 780, 0.2463e6, 20e-3, 336.0), burn(2.0, 1500.0, 2650.0, 0.5))
        assert_allclose(found.through, 0.528, rtol=0.05)


class TestCharThatStays:
    @pytest.mark.parametrize("thickness", [1.6e-3, 2.5e-3, 4e-3])
    def test_two_phases(self, thickness):
        # Neumann; Carslaw and Jaeger 11.2 (remembered): 2300 K over a front at 600 K and a start at 300 K, 0.6 MJ/kg of 1340
        # kg/m3: x 0.80681, 0.56908 mm after 1 s; tolerance 2 %
        a, stefan = 0.25 / (1340 * 1500), 1500 / 0.6e6

        def rest(x):
            hot = 1700 * np.exp(-(x**2)) / erf(x)
            return hot - 300 * np.exp(-(x**2)) / erfc(x) - np.sqrt(np.pi) * x / stefan

        root = brentq(rest, 0.1, 2.0)
        assert_allclose([root, 2e3 * root * np.sqrt(a)], [0.80681, 0.56908], rtol=1e-4)
        char = Char(*(one(value) for value in (0.25, 1340, 1500, 590, 610, np.inf)))
        found = liner.char_march(
            sleeve(thickness, 0.25, 1340, 1500, 0, 0.6e6, start=300.0), char, burn(1.0, 1e8, 2300.0, steps=64, blown=0.0)
        )
        assert_allclose(thickness - found.left[-1, 0], 0.56908e-3, rtol=0.02)

    @pytest.mark.parametrize(("stefan", "root"), [(1.0, 0.62006), (0.5, 0.46479), (4.0, 0.99573)])
    def test_one_phase(self, stefan, root):
        # √π·x·exp(x²)·erf(x) = St: 0.6201 for St 1 in printed tables (memory); root to 1e-4, the march to 2 %
        assert_allclose(brentq(lambda x: np.sqrt(np.pi) * x * np.exp(x**2) * erf(x) - stefan, 0.01, 3), root, rtol=1e-4)
        char = Char(*(one(value) for value in (0.25, 1340, 1500, 600.0, 601.0, np.inf)))
        wall = sleeve(4e-3, 0.25, 1340, 1500, 0, 1500 * 1700 / stefan, start=599.99, outside=0.0)
        found = liner.char_march(wall, char, burn(1.0, 1e8, 2300.0, steps=64, blown=0.0))
        assert_allclose(4e-3 - found.left[-1, 0], 2 * root * np.sqrt(0.25 / (1340 * 1500)), rtol=0.02)

    def test_paper_phenolic(self):
        # reference, 1-D plane: 2 mm, contact 336, 1000 W/m2K, 2650 K, emissivity 0.5, 1.95 s: 0.839 mm charred at burnout,
        # outside at most 101.1 degC, at 54 s; tolerance 10 % of depth and rise
        char = Char(*(one(value) for value in (0.5, 540, 1600, 650, 850, np.inf)))
        found = liner.char_march(
            sleeve(2e-3, 0.25, 1340, 1500, 0, 0.4e6, contact=336.0), char, burn(1.95, 1000.0, 2650.0, 0.5, soak=120.0)
        )
        assert_allclose(2e-3 - found.left[48, 0], 0.839e-3, rtol=0.10)
        told = readings(found.time, found.outside)
        assert_allclose(told.peak - 293.15, 81.1, rtol=0.10)
        assert_allclose(told.at, 54.0, rtol=0.15)
