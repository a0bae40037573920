"""Transient conduction against closed solutions and worked examples.

Each check names its source and how it was had. The solver knows none of these formulas.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.linalg import solve_banded
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

from physics.heat.conduction import Face, Layer, Tridiagonal, march

HELD = 1e12  # W/(m2 K): holds the surface at the fluid's temperature


def wall(thickness, conductivity, diffusivity, cells, volumetric=None):
    """One layer of given diffusivity; density 1 and all capacity in the specific heat."""
    heat = conductivity / diffusivity if volumetric is None else volumetric
    return Layer(*(np.array([value]) for value in (thickness, conductivity, 1.0, heat)), cells=cells)


def centres(layer):
    return (np.arange(layer.cells) + 0.5) * layer.thickness[0] / layer.cells


def plane_wall_roots(biot, count=60):
    """Roots of ζ·tan ζ = Bi."""

    def zero(z):
        return z * np.sin(z) - biot * np.cos(z)

    return np.array([brentq(zero, n * np.pi + 1e-12, (n + 0.5) * np.pi) for n in range(count)])


def plane_wall_theta(biot, fourier, place):
    """(T − Tf)/(Ti − Tf) of a plane wall with convection at place 1 and symmetry at 0, the full series."""
    z = plane_wall_roots(biot)
    weight = 4 * np.sin(z) / (2 * z + np.sin(2 * z))
    return float(np.sum(weight * np.exp(-(z**2) * fourier) * np.cos(z * place)))


def at(layer, history, depth):
    return float(np.interp(depth, centres(layer), history.final[:, 0]))


class TestStepSurface:
    """Semi-infinite body, surface held: T = Ts + (Ti − Ts)·erf(x/2√(at))."""

    @pytest.mark.parametrize(
        ("start", "surface", "diffusivity", "seconds", "level", "depth"),
        [
            # read at second hand: Incropera Ex 5.6, water main, 60 days, freezing depth 0.68 m (exact 0.6766)
            (20.0, -15.0, 0.52 / (2050 * 1840), 60 * 86400.0, 0.0, 0.6766),
            # read at second hand: Cengel Ex 4-6, 90 days; the book reads 0.77 m off a chart, exact 0.8009 m
            (15.0, -10.0, 0.15e-6, 90 * 86400.0, 0.0, 0.8009),
        ],
    )
    def test_depth_of_freezing(self, start, surface, diffusivity, seconds, level, depth):
        layer = wall(6 * np.sqrt(diffusivity * seconds), 1.0, diffusivity, 200)
        history = march((layer,), start, np.linspace(0, seconds, 101), Face(HELD, surface))
        rising = history.final[:, 0]
        found = float(np.interp(level, rising, centres(layer)))
        assert_allclose(found, depth, rtol=5e-4)

    def test_time_to_reach(self):
        # read at second hand: Som Ex 4.11, 550 -> 255 degC at 80 mm, surface 50 degC; book 11.54 min, exact 11.48 min
        near, far = wall(0.08, 1.0, 1.6e-5, 40), wall(0.72, 1.0, 1.6e-5, 180)
        history = march((near, far), 550.0, np.linspace(0, 900, 181), Face(HELD, 50.0))
        seconds = float(np.interp(-255.0, -history.interface[:, 0], history.time[:, 0]))
        assert_allclose(seconds / 60, 11.48, rtol=1e-3)

    @pytest.mark.parametrize(("seconds", "depth"), [(1.0, 0.876e-3), (3.0, 1.517e-3), (5.0, 1.959e-3)])
    def test_char_depth_in_phenolic(self, seconds, depth):
        # derived from the erf solution: phenolic resin 20 -> 2500 degC, isotherm 250 degC, no ablation
        layer = wall(6e-3, 0.30, 0.30 / (1300 * 1700), 200)
        history = march((layer,), 20.0, np.linspace(0, seconds, 101), Face(HELD, 2500.0))
        found = float(np.interp(-250.0, -history.final[:, 0], centres(layer)))
        assert_allclose(found, depth, rtol=1e-3)

    def test_profile(self):
        layer = wall(0.5, 1.0, 1.0, 200)
        history = march((layer,), 1.0, np.linspace(0, 0.005, 101), Face(HELD, 0.0))
        assert_allclose(history.final[:, 0], erf(centres(layer) / (2 * np.sqrt(0.005))), atol=5e-5)


class TestSemiInfiniteConvection:
    def test_soil_that_cools(self):
        # read at second hand: Geankoplis Ex 5.3-1: surface 267.982 K after 5 h, freezing to 0.0331 m
        diffusivity, seconds = 4.65e-7, 5 * 3600.0
        layer = wall(0.6, 0.865, diffusivity, 250)
        history = march((layer,), 288.75, np.linspace(0, seconds, 121), Face(11.36, 255.35))
        assert_allclose(history.surface[-1, 0], 267.982, atol=1e-3)
        depth = float(np.interp(273.15, history.final[:, 0], centres(layer)))
        assert_allclose(depth, 0.0331, atol=1e-4)

    @pytest.mark.parametrize("coefficient", [200.0, 2000.0, 10000.0])
    def test_liner_in_hot_gas(self, coefficient):
        """The case that matters here, against θ = erfc(X) − exp(hx/k + h²at/k²)·erfc(X + h√(at)/k) at the surface."""
        conductivity, diffusivity, seconds = 0.25, 1.2e-7, 2.0  # derived from the closed solution, invented inputs
        layer = wall(4e-3, conductivity, diffusivity, 160)
        history = march((layer,), 300.0, np.linspace(0, seconds, 161), Face(coefficient, 2800.0))
        reach = coefficient * np.sqrt(diffusivity * seconds) / conductivity
        assert_allclose(history.surface[-1, 0], 300.0 + 2500.0 * (1.0 - erfcx(reach)), rtol=1e-4)
        depth = 1.0e-3
        exact = erfc(depth / (2 * np.sqrt(diffusivity * seconds)))
        own = depth / (2 * np.sqrt(diffusivity * seconds))
        exact -= np.exp(-(own**2)) * erfcx(own + reach)
        assert_allclose(at(layer, history, depth), 300.0 + 2500.0 * exact, rtol=1e-3)


class TestPlaneWall:
    def test_brass_plate(self):
        # Cengel Ex 4-4, inputs read at second hand; exact surface 279.58 degC, centre 277.18 degC (the chart says 282)
        layer = wall(0.02, 110.0, 33.9e-6, 40)
        history = march((layer,), 20.0, np.linspace(0, 420, 201), Face(120.0, 500.0))
        assert_allclose(history.surface[-1, 0], 279.58, atol=0.02)
        assert_allclose(history.back[-1, 0], 277.18, atol=0.02)

    def test_insulated_pipe_wall(self):
        # remembered: Incropera Ex 5.5, steel pipe wall, hot oil inside: outer 42.9, inner 45.2 degC; exact 43.0 / 45.4
        layer = wall(0.04, 63.9, 18.8e-6, 40)
        history = march((layer,), -20.0, np.linspace(0, 480, 201), Face(500.0, 60.0))
        assert_allclose(history.back[-1, 0], 43.0, atol=0.1)
        assert_allclose(history.surface[-1, 0], 45.4, atol=0.1)

    @pytest.mark.parametrize(
        ("biot", "root", "weight"),
        # remembered: Incropera Table 5.1, agrees to its four digits
        [(0.1, 0.31105, 1.01610), (1.0, 0.86033, 1.11913), (10.0, 1.42887, 1.26196), (100.0, 1.55525, 1.27309)],
    )
    def test_one_term_decay(self, biot, root, weight):
        """Late in time the centre follows C1·exp(−ζ1²·Fo): both constants are read off the march."""
        layer = wall(1.0, 1.0, 1.0, 80)
        time = np.linspace(0, 2.0, 401)
        history = march((layer,), 1.0, time, Face(biot, 0.0))
        early, late = history.back[200, 0], history.back[400, 0]
        decay = np.log(early / late)
        assert_allclose(np.sqrt(decay), root, rtol=2e-4)
        assert_allclose(early * np.exp(decay), weight, rtol=1e-3)

    @pytest.mark.parametrize(("fourier", "centre", "surface"), [(0.5, 0.77253, 0.50452), (1.0, 0.53386, None)])
    def test_series(self, fourier, centre, surface):
        layer = wall(1.0, 1.0, 1.0, 80)  # derived from the full series, Bi = 1
        history = march((layer,), 1.0, np.linspace(0, fourier, 201), Face(1.0, 0.0))
        assert_allclose(history.back[-1, 0], centre, atol=2e-5)
        if surface:
            assert_allclose(history.surface[-1, 0], surface, atol=2e-5)


class TestInsulatedBack:
    def test_step_of_the_inner_face(self):
        # derived from Carslaw & Jaeger 3.3
        numbers = [0.05, 0.1, 0.2, 0.3, 0.5, 1.0]
        expected = [0.99687, 0.94931, 0.77231, 0.60680, 0.37078, 0.10798]
        layer = wall(1.0, 1.0, 1.0, 80)
        history = march((layer,), 1.0, np.linspace(0, 1.0, 401), Face(HELD, 0.0))
        found = np.interp(numbers, history.time[:, 0], history.back[:, 0])
        assert_allclose(found, expected, atol=5e-5)

    @pytest.mark.parametrize(
        ("fourier", "front", "back"),
        # derived from Carslaw & Jaeger 3.8: k(T − Ti)/(qL)
        [(0.1, 0.35683, 0.00789), (0.2, 0.50517, 0.06146), (0.5, 0.83188, 0.33479), (1.0, 1.33332, 0.83334)],
    )
    def test_constant_flux(self, fourier, front, back):
        layer = wall(1.0, 1.0, 1.0, 100)
        history = march((layer,), 0.0, np.linspace(0, fourier, 201), Face(flux=1.0))
        assert_allclose(history.surface[-1, 0], front, atol=3e-5)
        assert_allclose(history.back[-1, 0], back, atol=3e-5)

    def test_thin_case_soaks_evenly(self):
        # derived: 1e5 W/m2 for 3 s into 3.175 mm of 6061 warms it by 39.06 K on average
        layer = Layer(*(np.array([v]) for v in (3.175e-3, 167.0, 2700.0, 896.0)), cells=4)
        history = march((layer,), 293.15, np.linspace(0, 3, 51), Face(flux=1e5))
        assert_allclose(history.mean[-1, 0] - 293.15, 1e5 * 3 / (2700 * 896 * 3.175e-3), rtol=1e-9)
        assert_allclose(history.mean[-1, 0] - 293.15, 39.06, rtol=1e-3)


class TestLayers:
    def test_steady_wall_of_two_layers(self):
        """Late in time the drops share the difference as the resistances 1/h, L1/k1, L2/k2 (any text)."""
        liner = Layer(*(np.array([v]) for v in (2e-3, 0.25, 1340.0, 1500.0)), cells=20)
        case = Layer(*(np.array([v]) for v in (3e-3, 43.0, 7850.0, 470.0)), cells=5)
        history = march((liner, case), 300.0, np.linspace(0, 2000, 101), Face(1000.0, 2000.0), Face(HELD, 300.0))
        resistances = np.array([1 / 1000.0, 2e-3 / 0.25, 3e-3 / 43.0])
        drops = 1700.0 * np.cumsum(resistances) / resistances.sum()
        assert_allclose(history.surface[-1, 0], 2000 - drops[0], rtol=1e-6)
        assert_allclose(history.interface[-1, 0], 2000 - drops[1], rtol=1e-6)

    def test_touching_bodies(self):
        """Two half-spaces brought together share one temperature at once, weighed by √(kρc) (Incropera Eq 5.66)."""
        hot = Layer(*(np.array([v]) for v in (0.02, 0.25, 1340.0, 1500.0)), cells=150)
        cold = Layer(*(np.array([v]) for v in (0.4, 43.0, 7850.0, 470.0)), cells=150)
        start = np.concatenate([np.full((150, 1), 900.0), np.full((150, 1), 300.0)])
        history = march((hot, cold), start, np.linspace(0, 20, 151), Face())
        ours, other = np.sqrt(0.25 * 1340 * 1500), np.sqrt(43.0 * 7850 * 470)
        assert_allclose(history.interface[-1, 0], (900 * ours + 300 * other) / (ours + other), rtol=2e-3)


class TestSurfaceLaws:
    THICK, HEAT = 2e-3, 2700.0 * 896.0

    def plate(self):
        """Thin and a thousand times more conductive than metal: all of it is at one temperature."""
        return Layer(*(np.array([v]) for v in (self.THICK, 1e6, 2700.0, 896.0)), cells=3)

    def test_radiation_to_nothing(self):
        """A lump that radiates: T⁻³ = T0⁻³ + 3·ε·σ·t/(ρ·c·L) (any text; σ from CODATA 2018)."""
        time = np.linspace(0, 60, 2001)
        history = march((self.plate(),), 1500.0, time, Face(emissivity=0.8))
        exact = (1500.0**-3 + 3 * 0.8 * 5.670374419e-8 * time / (self.HEAT * self.THICK)) ** (-1 / 3)
        assert_allclose(history.mean[:, 0], exact, rtol=1e-3)

    def test_property_correction_and_radiation_together(self):
        """The same lump heated by gas, against scipy's integrator of its one equation."""

        def rate(_, temperature):
            film = 1500.0 * (0.5 * temperature / 2700.0 + 0.5) ** -0.68 * (2700.0 - temperature)
            return (film + 0.5 * 5.670374419e-8 * (2700.0**4 - temperature**4)) / (self.HEAT * self.THICK)

        time = np.linspace(0, 4, 801)
        exact = solve_ivp(rate, (0, 4), [300.0], t_eval=time, rtol=1e-10, atol=1e-8).y[0]
        history = march((self.plate(),), 300.0, time, Face(1500.0, 2700.0, 0.5, wall_exponent=0.68))
        assert_allclose(history.mean[:, 0], exact, rtol=2e-3)

    def test_liner_on_case_against_scipy(self):
        """Liner on aluminium in hot gas, against scipy's stiff integrator on a mesh of its own (nodes, not cells)."""
        liner, case, gas, film = (1.6e-3, 0.25, 1340.0 * 1500.0), (3.2e-3, 167.0, 2700.0 * 896.0), 2700.0, 2500.0
        nodes = np.concatenate([np.linspace(0, liner[0], 161), liner[0] + np.linspace(0, case[0], 33)[1:]])
        gaps = np.diff(nodes)
        conductivity = np.where(nodes[1:] <= liner[0] * (1 + 1e-9), liner[1], case[1])
        heat = np.where(nodes[1:] <= liner[0] * (1 + 1e-9), liner[2], case[2]) * gaps / 2
        capacity = np.concatenate([heat, [0.0]]) + np.concatenate([[0.0], heat])
        links = conductivity / gaps

        def rate(_, temperature):
            between = links * -np.diff(temperature)
            into = np.concatenate([[film * (gas - temperature[0])], between]) - np.concatenate([between, [0.0]])
            return into / capacity

        exact = solve_ivp(
            rate,
            (0, 3),
            np.full(nodes.size, 293.15),
            method="LSODA",
            rtol=1e-8,
            atol=1e-8,
            t_eval=[1.0, 2.0, 3.0],
            lband=1,
            uband=1,
        ).y
        layers = (
            Layer(*(np.array([v]) for v in (liner[0], liner[1], 1.0, liner[2])), cells=48),
            Layer(*(np.array([v]) for v in (case[0], case[1], 1.0, case[2])), cells=6),
        )
        history = march(layers, 293.15, np.linspace(0, 3, 151), Face(film, gas))
        for row, instant in enumerate((50, 100, 150)):
            assert_allclose(history.surface[instant, 0], exact[0, row], rtol=5e-4)
            assert_allclose(history.interface[instant, 0] - 293.15, exact[160, row] - 293.15, rtol=5e-3, atol=0.02)


class TestWornSurface:
    def test_steady_ablation(self):
        """A held surface that recedes at v: (T − Ti)/(Ts − Ti) = exp(−v·x/a) once settled (Carslaw & Jaeger 15.2)."""
        speed, diffusivity = 5e-4, 1.2e-7
        layer = wall(8e-3, 0.25, diffusivity, 160)
        history = march((layer,), 300.0, np.linspace(0, 8, 401), Face(HELD, 1000.0), recession=speed)
        left = history.thickness[-1, 0]
        assert_allclose(left, 4e-3, rtol=1e-9)
        depth = (np.arange(160) + 0.5) * left / 160
        theta = (history.final[:, 0] - 300.0) / 700.0
        assert_allclose(theta, np.exp(-speed * depth / diffusivity), atol=0.025)

    @pytest.mark.slow
    def test_error_shrinks_with_the_cells(self):
        speed, diffusivity = 5e-4, 1.2e-7
        errors = []
        for cells in (40, 80, 120):
            layer = wall(8e-3, 0.25, diffusivity, cells)
            history = march((layer,), 300.0, np.linspace(0, 8, 4 * cells + 1), Face(HELD, 1000.0), recession=speed)
            depth = (np.arange(cells) + 0.5) * history.thickness[-1, 0] / cells
            theta = (history.final[:, 0] - 300.0) / 700.0
            errors.append(np.abs(theta - np.exp(-speed * depth / diffusivity)).max())
        assert errors[2] < 0.85 * errors[1] < 0.85 * 0.75 * errors[0]


class TestOrder:
    """Halving cell and step together cuts the error by four."""

    @pytest.mark.parametrize("place", ["surface", "back"])
    def test_second_order(self, place):
        exact = plane_wall_theta(2.0, 0.4, 1.0 if place == "surface" else 0.0)
        errors = []
        for cells in (10, 20, 40, 80):
            history = march((wall(1.0, 1.0, 1.0, cells),), 1.0, np.linspace(0, 0.4, 2 * cells + 1), Face(2.0, 0.0))
            errors.append(abs(getattr(history, place)[-1, 0] - exact))
        orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
        assert np.all(np.abs(orders - 2.0) < 0.1), orders

    def test_a_sudden_change_does_not_ring(self):
        """One huge step onto a held surface must not overshoot, where Crank-Nicolson alone would oscillate."""
        history = march((wall(1.0, 1.0, 1.0, 50),), 0.0, np.linspace(0, 1, 3), Face(HELD, 1.0))
        assert history.final.min() >= -1e-3
        assert history.final.max() <= 1.02

    def test_tridiagonal_against_scipy(self):
        random = np.random.default_rng(5)
        lower, upper, right = random.normal(size=(3, 12, 7))
        diagonal = 4.0 + np.abs(lower) + np.abs(upper)
        found = Tridiagonal(lower, diagonal, upper).solve(right)
        for column in range(7):
            bands = np.zeros((3, 12))
            bands[0, 1:], bands[1], bands[2, :-1] = upper[:-1, column], diagonal[:, column], lower[1:, column]
            assert_allclose(found[:, column], solve_banded((1, 1), bands, right[:, column]), rtol=1e-12)
