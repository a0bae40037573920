"""Liners that melt: PVC at the aft end in both limits against a separate solution, and the others' numbers beside a library.

The motor is the invented starter, 2 mm of PVC in place of its liner. The depths were had from a receding-liner solver
written apart from this project, on the same gas side: they compare models, not hardware; no measured liner of a small
motor was found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.commands.new import create
from optimizer.inputs import load_motor
from physics.ballistics.kernel import evaluate
from physics.heat import liner, marches, places, properties, through
from physics.heat.liner import Exposure
from physics.heat.places import Setting
from physics.materials import material, names
from physics.motors import Array, Motors, Situation

THICKNESS = 2e-3


@dataclass(frozen=True)
class Lining:
    motors: Motors
    situation: Situation
    at: Setting


def lined(folder: Path, name: str) -> Lining:
    create(folder / "start")
    motors = load_motor(folder / "start" / "motor.toml").motors
    assert motors.liner is not None
    motors = replace(motors, liner=replace(motors.liner, material=material(name, "liner")))
    figures = evaluate(motors, curve=True)
    situation = Situation("", figures, figures["peak_head_pressure"])
    return Lining(motors, situation, places.setting(motors, situation, held=False))


@pytest.fixture(scope="module")
def pvc(tmp_path_factory: pytest.TempPathFactory) -> Lining:
    return lined(tmp_path_factory.mktemp("pvc"), "PVC")


def stripped(pvc: Lining, film: Array, heat: float, emissivity: float) -> tuple[float, float]:
    """Depth gone [m] and time through [s] at the aft end, all char carried off; heat per kilogram with the warming."""
    hot = places.liner_of(pvc.motors)
    sleeve = marches.sleeve(pvc.at, hot, places.STRIPPED)
    front, warming = hot.front.likely, hot.specific_heat.likely
    sleeve = replace(sleeve, heat=np.full(1, heat - warming * (front - properties.ROOM)))
    burning = np.where(pvc.at.now.pressure > 0.0, emissivity, 0.0)
    gas = pvc.at.gas
    found = liner.strip_march(sleeve, Exposure(pvc.at.now.time, film, burning, gas.temperature, gas.specific_heat))
    return THICKNESS - float(found.left[-1, 0]), float(found.through[0])


def test_pvc_stripped_likely(pvc: Lining) -> None:
    # separate solution: behind the enlargement, 1.4 MJ/kg, emissivity 0.5: 1.92 of 2 mm gone, it just holds
    depth, when = stripped(pvc, pvc.at.enlarged, 1.4e6, 0.5)
    assert depth == pytest.approx(1.92e-3, rel=0.06) and np.isinf(when)


def test_pvc_stripped_hot_corner(pvc: Lining) -> None:
    # the same: the relation of Bartz at the port, 0.65 MJ/kg, emissivity 0.7: through at 0.43 s
    _, when = stripped(pvc, pvc.at.bartz, 0.65e6, 0.7)
    assert when == pytest.approx(0.43, rel=0.15)


def test_pvc_stripped_mild_corner(pvc: Lining) -> None:
    # the same: half of the pipe's film, 2.5 MJ/kg, emissivity 0.2: 0.45 mm gone
    depth, when = stripped(pvc, 0.5 * pvc.at.pipe, 2.5e6, 0.2)
    assert depth == pytest.approx(0.45e-3, rel=0.10) and np.isinf(when)


def test_heat_on_the_aft_end(pvc: Lining) -> None:
    # the same: integral of the film 1.93 behind the enlargement, 4.18 kJ/m2K by Bartz at the port
    step = np.diff(pvc.at.now.time, axis=0)
    assert float((pvc.at.enlarged * step).sum()) == pytest.approx(1.93e3, rel=0.08)
    assert float((pvc.at.bartz * step).sum()) == pytest.approx(4.18e3, rel=0.02)


def test_pvc_in_both_limits(pvc: Lining) -> None:
    """It goes where gas runs and its foam is blown off; were all of it to stay, a quarter would char (section above: likely)."""
    wanted = [("aft end", corner) for corner in (places.LIKELY, places.STRIPPED, places.STAYS)]
    found = marches.marched(pvc.motors, pvc.situation, False, wanted)
    likely, goes, stays = (THICKNESS - float(found[ask].left[-1, 0]) for ask in wanted)
    assert likely == goes > 1.8e-3 and 0.3e-3 < stays < 0.9e-3
    assert "with all char stripped" in through.liner_note(pvc.motors, pvc.situation)


@pytest.mark.parametrize("name", ["PVC", "polycarbonate", "polyethylene", "polypropylene", "nylon", "ABS"])
def test_what_melts_is_stripped_where_gas_runs(name: str) -> None:
    found = properties.hot_liner(material(name, "liner"))
    assert found is not None and found.char_depth.high == 0.0
    assert 0.5e6 < found.heat.low < found.heat.likely < found.heat.high < 3.5e6


@pytest.mark.parametrize("name", names("liner"))
def test_every_liner_has_hot_numbers(name: str) -> None:
    found = properties.hot_liner(material(name, "liner"))
    assert found is not None
    assert properties.front_heat(found.heat.low, found.specific_heat.high, found.front.high) > 0.0


@pytest.mark.parametrize(
    ("name", "theirs"),
    # read at second hand: the general heat transfer library ht, its ISO 10456 style table
    [
        ("polycarbonate", "Plastics, polycarbonates"),
        ("polyethylene", "Plastics, polyethylene / polythene, high density"),
        ("polypropylene", "Plastics, polypropylene"),
        ("nylon", "Plastics, polyamide (nylon)"),
    ],
)
def test_numbers_beside_a_reference_library(name: str, theirs: str) -> None:
    insulation = pytest.importorskip("ht.insulation")
    found = material(name)
    assert found.density == pytest.approx(insulation.rho_material(theirs), rel=0.03)
    assert found.conductivity == pytest.approx(insulation.k_material(theirs), rel=0.03)
    assert found.specific_heat == pytest.approx(insulation.Cp_material(theirs), rel=0.03)


def test_heat_of_a_polyolefin() -> None:
    # read at second hand: 2.51 (polyethylene) and 2.54 MJ/kg (polypropylene) from 25 degC, Stoliarov and Walters 2008 as cited
    for name, heat in (("polyethylene", 2.51e6), ("polypropylene", 2.54e6)):
        found = properties.hot_liner(material(name, "liner"))
        assert found is not None and found.heat.low < heat < found.heat.high
        assert found.heat.likely == pytest.approx(heat, rel=0.10)
