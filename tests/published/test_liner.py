"""What is known of liners in small motors, and the material numbers that the heat rungs rest on.

Regression rates that are only remembered are no numbers of the tool: a rate is the user's own. They serve as bands.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from physics.heat import softening, through, walls
from physics.materials import material
from physics.motors import Ambient, Case, Closure, Figures, Grains, Liner, Motors, Nozzle, Propellant, Seal, Situation


def one(value):
    return np.array([float(value)])


def row(*values):
    return np.array([values], dtype=float)


@pytest.fixture
def motor():
    """An invented two-inch class motor on 6061-T6 with a paper-phenolic liner."""
    propellant = Propellant(
        one(1700), one(1480), one(1.21), one(0.024), row(7e5), row(9e6), row(6.5e-3), row(5e6), row(0.33), one(293.15), one(0.0015)
    )
    seal = Seal(one(2), one(3.53e-3), one(2.8e-3), one(5e-5), one(70), material=material("nitrile", "seal"))
    closure = Closure("radial-screws", seal=seal)
    return Motors(
        1,
        propellant,
        Grains(row(4), row(0.075), row(0.046), row(0.018), row(2)),
        Nozzle(one(0.0135), one(0.034), one(0.24), one(0.95), one(0), one(5e6)),
        Ambient(one(101325), one(293.15), row(293.15)),
        Case(material("6061-T6"), one(0.0572), one(0.0032), one(0.52)),
        Liner(material("paper-phenolic", "liner"), one(1.6e-3)),
        closure,
        closure,
    )


def burn(seconds, pressure=5e6, end=""):
    values = {
        "burn_time": seconds,
        "action_time": seconds,
        "mean_pressure": pressure,
        "propellant_mass": 0.75,
        "peak_head_pressure": 1.2 * pressure,
    }
    figures = Figures({name: one(value) for name, value in values.items()}, {}, "steady")
    return Situation(end, figures, one(1.3 * pressure))


@pytest.mark.parametrize(
    ("name", "density", "conductivity", "specific_heat"),
    # read at second hand: table of the general reference library ht 1.2.0
    [
        ("phenolic resin", 1300, 0.30, 1700),
        ("PVC", 1390, 0.17, 900),
        ("EPDM", 1150, 0.25, 1000),
        ("kraft paperboard", 480, 0.072, 1380),
        ("epoxy resin", 1200, 0.20, 1400),
    ],
)
def test_thermal_numbers(name, density, conductivity, specific_heat):
    found = material(name, "liner")
    assert_allclose([found.density, found.conductivity, found.specific_heat], [density, conductivity, specific_heat], rtol=0.03)


@pytest.mark.parametrize("name", ["paper-phenolic", "G10", "EPDM", "kraft paperboard", "PVC", "phenolic resin"])
def test_no_regression_rate_is_taken_from_memory(name):
    assert material(name, "liner").regression_rate is None


def test_paper_liner_with_a_gap_at_the_bulkhead(motor):
    # common practice, no source: a paper liner with a gap at the bulkhead leaves the case bare, and the case goes there
    whole, gapped = (replace(motor, liner=replace(motor.liner, thickness=one(2e-3), gap=gap)) for gap in (None, one(0.012)))
    lasting = burn(2.0)
    assert np.isinf(softening.case_softening(whole, lasting)[0]) or softening.case_softening(whole, lasting)[0] > 2.5
    assert softening.case_softening(gapped, lasting)[0] < 2.0
    assert softening.case_yield_hot(gapped, lasting)[0] < 0.5 * softening.case_yield_hot(whole, lasting)[0]


def test_sixteenth_inch_paper_phenolic_lasts_a_short_burn(motor):
    # common practice, no source: a 1/16 in paper-phenolic liner serves burns of about two to three seconds, not six
    thin = replace(motor, liner=replace(motor.liner, thickness=one(1.5875e-3)))
    assert 2.0 < through.liner_burn_through(thin, burn(3.0))[0] < 6.0


def test_char_depth_band(motor):
    # remembered, weak: phenolic paper chars at 0.1 to 0.3 mm/s and more at first; a band for the mean, nothing more
    for thickness in (1.6e-3, 2.4e-3):
        thick = replace(motor, liner=replace(motor.liner, thickness=one(thickness)))
        rate = thickness / through.liner_burn_through(thick, burn(3.0))[0]
        assert 0.1e-3 < rate < 1.0e-3


def test_bare_case_heats_as_a_lump(motor):
    """A bare aluminium wall is thin to heat: T = Tg − (Tg − Ti)·exp(−h·t/(ρ·c·w)) with convection alone (any text)."""
    coefficient, gas, seconds, wall = 1000.0, 2675.0, 1.0, 3.2e-3
    from physics.heat.conduction import Face, Layer, march

    layer = Layer(one(wall), one(167.0), one(2700.0), one(896.0), cells=8)
    found = march((layer,), 293.15, np.linspace(0, seconds, 201), Face(coefficient, gas)).mean[-1, 0]
    lumped = gas - (gas - 293.15) * np.exp(-coefficient * seconds / (2700 * 896 * wall))
    assert_allclose(found, lumped, rtol=0.01)


def test_softening_temperature_of_the_tube(motor):
    """The yield pressure falls with the tube's own table of strength, and beyond the table nothing is carried."""
    # read at second hand: MIL-HDBK-5J Fig 3.6.2.2.1(b): 6061-T6 keeps 48 % of its yield at 250 degC after half an hour
    cold = walls.yield_pressure_at(motor, one(293.15))
    assert_allclose(walls.yield_pressure_at(motor, one(523.15)) / cold, 0.48, atol=0.02)
    assert walls.yield_pressure_at(motor, one(1000.0))[0] == 0.0
