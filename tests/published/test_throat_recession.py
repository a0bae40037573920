"""Throat recession: derived rows of area growth and pressure, and orders of magnitude that the trade reports."""

from __future__ import annotations

import numpy as np
import pytest

from physics.ballistics import transient
from physics.motors import Ambient, Grains, Motors, Nozzle, Propellant


def end_burner(recession: float, at: float, length: float = 0.05) -> Motors:
    """An end burner of constant surface, 50 mm across, over a 6 mm throat; recession of the radius at `at`."""

    def column(value: float) -> np.ndarray:
        return np.array([float(value)])

    table = [np.array([[v]]) for v in (1e5, 1e8, 5e-3, 1e6, 0.35)]
    grains = Grains(*(np.array([[v]]) for v in (1.0, length, 0.05, 0.0, 1.0)))
    propellant = Propellant(*(column(v) for v in (1750.0, 1550.0, 1.2, 0.025)), *table, column(293.15), column(0.0))
    nozzle = Nozzle(*(column(v) for v in (0.006, 0.015, 0.0, 1.0, recession, at)))
    return Motors(1, propellant, grains, nozzle, Ambient(column(101325.0), column(293.15), np.array([[293.15]])))


def test_area_growth_and_pressure_of_a_receding_throat() -> None:
    # derived: 0.1 mm/s of the radius for 2 s on a 12 mm throat: area × 1.067778, pressure × 0.904031 at n = 0.35
    growth = ((12.0 + 2 * 0.1 * 2.0) / 12.0) ** 2
    assert growth == pytest.approx(1.067778, rel=1e-6)
    assert growth ** (-1.0 / 0.65) == pytest.approx(0.904031, rel=1e-6)
    # the kernel on a motor of constant surface: p follows A_t^(−1/(1−n)) of its own throat, quasi-steadily
    curve = transient.evaluate(end_burner(2e-5, 1e6), curve=True).curve
    assert curve is not None
    early, late = (np.interp(t, curve.time[0], curve.throat_diameter[0]) for t in (1.0, 6.0))
    ratio = np.interp(6.0, curve.time[0], curve.chamber_pressure[0]) / np.interp(1.0, curve.time[0], curve.chamber_pressure[0])
    assert late > 1.02 * early
    assert ratio == pytest.approx((late / early) ** (-2.0 / 0.65), rel=2e-3)


def test_radius_recedes_with_pressure_to_the_four_fifths() -> None:
    # derived from dR/dt = rate (p/at)^0.8, the exponent of turbulent transfer (Bartz, remembered); quadrature of the curve
    found = transient.evaluate(end_burner(3e-5, 2e6), curve=True)
    curve = found.curve
    assert curve is not None
    keep = np.isfinite(curve.time[0])
    rate = 3e-5 * (curve.chamber_pressure[0][keep] / 2e6) ** 0.8
    grown = 0.5 * (found["final_throat_diameter"][0] - 0.006)
    assert grown == pytest.approx(np.trapezoid(rate, curve.time[0][keep]), rel=1e-3)
    halved = transient.evaluate(end_burner(3e-5, 4e6))
    assert 0.5 * (halved["final_throat_diameter"][0] - 0.006) == pytest.approx(grown * 2.0**-0.8, rel=0.05)


def test_ordinary_recession_is_a_small_correction() -> None:
    # remembered, moderately: 0.01 to 0.25 mm/s is usual for solid motors (Sutton & Biblarz, ch. 14): over the seconds of
    # a small motor it lowers the pressure by percents, not by half
    none, usual = (transient.evaluate(end_burner(r, 7e6, length=0.015)) for r in (0.0, 1e-4))
    assert 0.7 < usual["mean_pressure"][0] / none["mean_pressure"][0] < 1.0
