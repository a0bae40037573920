"""Masses from dimensions, and what is said of those that are not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from physics.mass import PARTS, masses, part_mass, unknown_masses
from physics.materials import Material
from physics.motors import Ambient, Case, Closure, Grains, Liner, Motors, Nozzle, Propellant, Screws

ALLOY = Material("alloy", density=2700.0)
CARBON = Material("carbon", kind="nozzle", density=1800.0)
PAPER = Material("paper", kind="liner", density=1350.0)


def col(value):
    return np.array([float(value)])


def screws(**changes) -> Screws:
    given = {"ring_thickness": col(0.008), "ring_edge_distance": col(0.01)} | changes
    return Screws(*(col(v) for v in (0.005, 0.0008, 1, 7e8, 8, 0.014, 0.0055, 1, 1, 1.15)), **given)


def closure(**changes) -> Closure:
    given = {"screws": screws(), "ring_material": ALLOY, "plate_material": ALLOY, "plate_thickness": col(0.012)}
    return Closure("radial-screws", **given | changes)


def motor(**parts) -> Motors:
    row = [np.array([[v]]) for v in (1e5, 1e7, 5e-3, 1e6, 0.35)]
    return Motors(
        1,
        Propellant(col(1750), col(1550), col(1.2), col(0.025), *row, col(293), col(0)),
        Grains(*(np.array([[float(v)]]) for v in (4, 0.085, 0.05, 0.02, 2))),
        Nozzle(col(0.016), col(0.036), col(0.25), col(0.95), col(0), col(1e6)),
        Ambient(col(101325), col(293), np.array([[293.0]])),
        **parts,
    )


FULL = {
    "case": Case(ALLOY, col(0.06), col(0.003), col(0.5)),
    "liner": Liner(PAPER, col(0.0015)),
    "forward_closure": closure(),
    "aft_closure": closure(mass=col(0.2)),
}


class TestMasses:
    def test_by_hand(self):
        found = masses(motor(**FULL))
        assert found["propellant"][0] == pytest.approx(4 * 1750 * np.pi / 4 * (0.05**2 - 0.02**2) * 0.085)
        assert found["case"][0] == pytest.approx(2700 * np.pi / 4 * (0.06**2 - 0.054**2) * 0.5)
        # ring 14 + 10 mm and plate 12 mm forward; aft plate 12 mm, ring 24 mm and the convergent, (51 - 16)/2 mm
        lined = 0.5 - 0.024 - 0.012 - 0.012 - 0.024 - 0.0175
        assert found["liner"][0] == pytest.approx(1350 * np.pi / 4 * (0.054**2 - 0.051**2) * lined)
        plate = 2700 * np.pi / 4 * 0.054**2 * 0.012
        ring = 2700 * np.pi / 4 * (0.054**2 - 0.038**2) * 0.024
        assert found["forward_closure"][0] == pytest.approx(plate + ring)
        assert found["aft_closure"][0] == 0.2
        assert np.isnan(found["nozzle"][0])
        known = sum(found[part][0] for part in ("propellant", "case", "liner", "forward_closure", "aft_closure"))
        assert found["loaded"][0] == pytest.approx(known)

    def test_nozzle_insert(self):
        bare = motor(**FULL)
        nozzle = replace(bare.nozzle, material=CARBON, insert_diameter=col(0.05), insert_length=col(0.06))
        found = masses(replace(bare, nozzle=nozzle))["nozzle"][0]
        cone = 0.01 / np.tan(0.25)
        flow = np.pi / 12 * cone * (0.016**2 + 0.016 * 0.036 + 0.036**2) + np.pi / 4 * 0.016**2 * (0.06 - cone)
        assert found == pytest.approx(1800 * (np.pi / 4 * 0.05**2 * 0.06 - flow))

    def test_propellant_is_what_the_kernel_says(self):
        from physics.ballistics import kernel

        bare = motor()
        assert masses(bare)["propellant"][0] == pytest.approx(kernel.evaluate(bare)["propellant_mass"][0], rel=1e-14)

    def test_one_part_alone(self):
        for part in PARTS:
            np.testing.assert_array_equal(part_mass(motor(**FULL), part), masses(motor(**FULL))[part])

    def test_batch(self):
        whole = motor(**FULL).repeat(3).with_values({"case.wall": np.array([0.002, 0.003, 0.004])})
        found = masses(whole)
        for index in range(3):
            one = masses(whole.take([index]))
            for name, mass in found.items():
                np.testing.assert_allclose(mass[index], one[name][0], rtol=1e-14)


class TestUnknown:
    def test_says_what_is_missing(self):
        assert unknown_masses(motor(**FULL)) == ["nozzle: nozzle.insert_diameter is not given"]

    def test_parts_left_out(self):
        said = unknown_masses(motor())
        assert [text.split(":")[0] for text in said] == ["case", "forward closure", "aft closure", "nozzle"]
        assert masses(motor())["loaded"][0] == masses(motor())["propellant"][0]

    def test_half_a_closure(self):
        parts = FULL | {"forward_closure": closure(screws=screws(ring_thickness=None))}
        said = unknown_masses(motor(**parts))
        assert said[0] == "forward closure: forward_closure.ring_thickness is not given"
        assert masses(motor(**parts))["forward_closure"][0] == pytest.approx(2700 * np.pi / 4 * 0.054**2 * 0.012)

    def test_a_material_without_density(self):
        parts = FULL | {"case": replace(FULL["case"], material=Material("mystery"))}
        assert unknown_masses(motor(**parts))[0].startswith("case: the density of case.material")
