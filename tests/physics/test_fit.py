"""Whether a motor goes into its airframe."""

from __future__ import annotations

import numpy as np
import pytest

from physics.fit import fit
from physics.materials import Material
from physics.missing import NotComputable, file_key, need
from physics.motors import Airframe, Ambient, Case, Grains, Motors, Nozzle, Propellant


def col(*values):
    return np.array(values, dtype=float)


def motor(outer=(0.054,), airframe=None, length=0.5) -> Motors:
    row = [np.array([[v]]) for v in (1e5, 1e7, 5e-3, 1e6, 0.35)]
    return Motors(
        len(outer),
        Propellant(col(1750), col(1550), col(1.2), col(0.025), *row, col(293), col(0)),
        Grains(*(np.array([[float(v)]]) for v in (4, 0.085, 0.04, 0.02, 2))),
        Nozzle(col(0.016), col(0.036), col(0.25), col(0.95), col(0), col(1e6)),
        Ambient(col(101325), col(293), np.array([[293.0]])),
        case=Case(Material("alloy"), col(*outer), col(0.003), None if length is None else col(length)),
        airframe=airframe,
    )


def test_diameter_and_length():
    found = fit(motor((0.054, 0.0552, 0.056), Airframe(col(0.0554), col(0.0004), col(0.6))))
    np.testing.assert_allclose(found["clearance"], [0.0014, 0.0002, -0.0006], atol=1e-15)
    np.testing.assert_allclose(found["length_clearance"], [0.1] * 3, atol=1e-15)
    np.testing.assert_allclose(found["head_room"], [0.0007, 0.0001, -0.0003], atol=1e-15)
    assert found["ok"].tolist() == [True, False, False]


def test_too_long():
    found = fit(motor(airframe=Airframe(col(0.06), col(0.0004), col(0.45))))
    assert not found["ok"][0]


def test_length_not_given():
    found = fit(motor(airframe=Airframe(col(0.06), col(0.0004)), length=None))
    assert found["length_clearance"] is None
    assert found["ok"][0]


def test_no_airframe():
    with pytest.raises(NotComputable, match=r"\[airframe\] is not given"):
        fit(motor())


class TestNeed:
    def test_names_the_file_key(self):
        assert file_key("forward_closure.screws.ring_thickness") == "forward_closure.ring_thickness"
        with pytest.raises(NotComputable, match=r"^case.length is not given$"):
            need(motor(length=None), "case.length")

    def test_a_number_that_is_not_known(self):
        unknown = motor().with_values({"case.wall": col(np.nan)})
        with pytest.raises(NotComputable, match=r"^case.wall is not known$"):
            need(unknown, "case.wall")

    def test_returns_the_leaf(self):
        assert need(motor(), "case.wall")[0] == 0.003

    def test_no_such_column(self):
        with pytest.raises(KeyError):
            need(motor(), "case.colour")
