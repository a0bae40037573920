"""The assembled stack against sums by hand, what was assumed, and the shapes that cannot exist."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from physics.assembly import SHAPES, assemble, impossible_shapes
from physics.assessment import assess
from physics.ballistics.transient.layout import free_volume
from physics.fit import fit
from physics.materials import Material
from physics.motors import (
    Airframe,
    Ambient,
    Case,
    Closure,
    Grains,
    Liner,
    Motors,
    Nozzle,
    Propellant,
    Screws,
    Seal,
    SnapRing,
    ThreadedRing,
    Tolerance,
)

ALLOY = Material("alloy", density=2700.0)


def col(*values):
    return np.array(values, dtype=float)


def screws(**changes) -> Screws:
    given = {"ring_thickness": col(0.008), "ring_edge_distance": col(0.010)} | changes
    edge = given.pop("edge_distance", col(0.012))
    return Screws(
        col(0.005), col(0.0008), col(1), col(7e8), col(8), edge, col(0.0055), col(1), col(1), col(1.15), **given
    )  # fmt: skip


def motor(**changes) -> Motors:
    """Bore 44 mm, liner 2 mm, throat 10 mm, three grains of 70 mm, screws 12 + 10 mm at both ends, plate 9 mm."""
    row = [np.array([[v]]) for v in (1e5, 1e7, 5e-3, 1e6, 0.35)]
    parts = {
        "case": Case(ALLOY, col(0.050), col(0.003), col(0.310)),
        "liner": Liner(Material("paper", density=1350.0), col(0.002)),
        "forward_closure": Closure("radial-screws", screws=screws(), plate_thickness=col(0.009), ring_material=ALLOY),
        "aft_closure": Closure("radial-screws", screws=screws(), ring_material=ALLOY),
        "nozzle": Nozzle(col(0.010), col(0.022), col(np.radians(15)), col(0.95), col(0), col(1e6)),
        "grain": Grains(*(np.array([[float(v)]]) for v in (3, 0.070, 0.039, 0.015, 2))),
    }
    return Motors(
        1,
        Propellant(col(1750), col(1550), col(1.2), col(0.025), *row, col(293), col(0)),
        ambient=Ambient(col(101325), col(293), np.array([[293.0]])),
        **(parts | changes),
    )


class TestTolerances:
    """The stack of 278 mm in a case of 310, as below, at the worst corner of what lies along the axis."""

    @pytest.mark.parametrize(
        ("tolerances", "least"),
        [
            ({"grain.length": Tolerance(0.001, 0.002)}, 32 - 3 * 2),
            ({"grain.length": Tolerance(0.01, 0.01, relative=True)}, 32 - 3 * 0.7),
            ({"grain.length": Tolerance(standard_deviation=0.001)}, 32 - 3 * 3),
            ({"case.length": Tolerance(0.005, 0.001)}, 32 - 5),
            ({"forward_closure.plate_thickness": Tolerance(0.001, 0.001), "case.length": Tolerance(0.005)}, 32 - 1 - 5),
            ({"forward_closure.screws.edge_distance": Tolerance(0.0, 0.0005)}, 32 - 0.5),
            ({"case.wall": Tolerance(0.001, 0.001), "nozzle.throat_diameter": Tolerance(1e-4, 1e-4)}, 32),
        ],
    )
    def test_room_at_the_worst_corner(self, tolerances, least):
        placed = assemble(replace(motor(), tolerances=tolerances))
        assert placed.left[0] * 1e3 == pytest.approx(32) and placed.least_left[0] * 1e3 == pytest.approx(least)
        assert placed.fits[0]

    def test_a_motor_that_goes_together_as_drawn_alone_is_no(self):
        loose = replace(motor(), tolerances={"grain.length": Tolerance(0.011, 0.011)})  # 33 mm of the 32 that are left
        assert assemble(motor()).fits[0] and not assemble(loose).fits[0]
        assert not assess(loose).fits[0] and not assess(loose).ok[0]

    @pytest.mark.parametrize(("column", "within", "beyond"), [("outer_diameter", 0.0009, 0.0011), ("length", 0.09, 0.091)])
    def test_the_case_goes_into_the_airframe_at_the_upper_end(self, column, within, beyond):
        """50 by 310 mm in 52 by 400 mm, 1 mm of clearance asked for."""
        tube = replace(motor(), airframe=Airframe(col(0.052), col(0.001), col(0.400)))
        name = f"case.{column}"
        assert fit(replace(tube, tolerances={name: Tolerance(plus=within)}))["ok"][0]
        assert fit(replace(tube, tolerances={name: Tolerance(minus=beyond)}))["in_airframe"][0]
        assert not fit(replace(tube, tolerances={name: Tolerance(plus=beyond)}))["ok"][0]

    def test_a_closure_is_as_long_as_its_shoulder(self):
        """A plate of 9 mm with a shoulder of 12 takes 3 mm more."""
        base = motor()
        thick = replace(base, forward_closure=replace(base.forward_closure, shoulder_thickness=col(0.012)))
        assert assemble(thick).left[0] * 1e3 == pytest.approx(29)


class TestByHand:
    def test_every_place(self):
        """By hand, mm: ring 12 + 10 = 22; plate to 31; grains to 241; convergent (40 - 10)/2 = 15; aft ring 12 + 10 = 22.

        Stack 22 + 9 + 210 + 15 + 22 = 278 of 310, 32 left; nozzle from 310 - 22 - 15 = 273, throat at 288; the cone is
        (22 - 10)/2/tan 15 = 22.392 long.
        """
        placed = assemble(motor())
        at = {name: [float(x[0] * 1e3) for x in span] for name, span in placed.spans.items()}
        assert at["forward ring"] == pytest.approx([0, 22])
        assert at["forward plate"] == pytest.approx([22, 31])
        assert at["grains"] == pytest.approx([31, 241])
        assert at["room left"] == pytest.approx([241, 273])
        assert at["liner"] == pytest.approx([31, 273])
        assert at["nozzle"] == pytest.approx([273, 288 + 22.392], abs=1e-3)
        assert at["aft ring"] == pytest.approx([288, 310])
        assert placed.stack[0] * 1e3 == pytest.approx(278) and placed.left[0] * 1e3 == pytest.approx(32)
        assert [item.key for item in placed.assumed] == ["nozzle.length_in_case"]
        assert not placed.not_assessed and bool(placed.fits[0])

    def test_length_in_case_stands_in_place_of_the_assumption(self):
        given = motor(nozzle=replace(motor().nozzle, length_in_case=col(0.040)))
        placed = assemble(given)
        assert placed.stack[0] == pytest.approx(0.303) and not placed.assumed
        assert placed.nozzle_face[0] == pytest.approx(0.248) and placed.throat[0] == pytest.approx(0.263)

    def test_threaded_and_snap_rings(self):
        held = motor(
            forward_closure=Closure("threaded-ring", threaded_ring=ThreadedRing(col(0.0465), col(0.0015), col(0.009)),
                                    plate_thickness=col(0.009)),
            aft_closure=Closure("snap-ring", snap_ring=SnapRing(col(0.0015), col(0.00175), col(0.006))),
        )  # fmt: skip
        placed = assemble(held)
        assert placed.forward_ring_end[0] == pytest.approx(0.009)
        assert placed.ring_face[0] == pytest.approx(0.310 - 0.00775)
        assert placed.stack[0] == pytest.approx(0.009 + 0.009 + 0.210 + 0.015 + 0.00775)

    def test_a_seated_insert_lies_ahead_of_what_carries_it(self):
        nozzle = replace(motor().nozzle, seat_diameter=col(0.024), insert_diameter=col(0.030), insert_length=col(0.025))
        aft = Closure("radial-screws", screws=screws(), shoulder_thickness=col(0.006))
        placed = assemble(motor(nozzle=nozzle, aft_closure=aft))
        assert placed.ring_face[0] - placed.nozzle_face[0] == pytest.approx(0.025 + 0.006)

    def test_a_narrow_insert_goes_into_the_ring(self):
        """The ring's opening is 44 - 16 = 28 mm."""
        for wide, length in ((0.027, 0.015), (0.029, 0.025)):
            nozzle = replace(motor().nozzle, insert_diameter=col(wide), insert_length=col(0.025))
            placed = assemble(motor(nozzle=nozzle))
            assert placed.ring_face[0] - placed.nozzle_face[0] == pytest.approx(length)

    def test_what_is_not_given_is_named(self):
        bare = Closure("radial-screws", screws=screws(edge_distance=None, ring_edge_distance=None))
        placed = assemble(motor(forward_closure=bare))
        assert [item.key for item in placed.assumed] == [
            "forward_closure.edge_distance", "forward_closure.ring_edge_distance", "forward_closure.plate_thickness",
            "nozzle.length_in_case",
        ]  # fmt: skip
        assert placed.plate_end[0] == pytest.approx(0.010 + 0.010 + 0.2 * 0.044)

    def test_not_assessed(self):
        assert assemble(motor(aft_closure=None)).not_assessed == "[aft_closure] is not given"
        assert assemble(motor(case=Case(ALLOY, col(0.05), col(0.003)))).not_assessed == "case.length is not given"
        assert bool(assemble(motor(case=None, liner=None)).fits[0])

    def test_a_batch_is_its_motors(self):
        whole = motor().repeat(3).with_values({"nozzle.throat_diameter": col(0.008, 0.010, 0.012)})
        placed = assemble(whole)
        for index in range(3):
            one = assemble(whole.take([index]))
            assert one.left[0] == placed.left[index] and one.throat[0] == placed.throat[index]


class TestVerdict:
    def test_too_long_is_no(self):
        """20 micrometres too long, and a thousandth of a nanometre, which is rounding."""
        for length, good in ((0.278, True), (0.278 - 1e-12, True), (0.278 - 2e-5, False)):
            look = assess(motor(case=Case(ALLOY, col(0.05), col(0.003), col(length))))
            assert bool(look.fits[0]) is good
            assert bool(look.ok[0]) is False or good

    def test_unknown_is_no(self):
        assert not assemble(motor().with_values({"case.length": col(np.nan)})).fits[0]


def test_free_volume_by_hand():
    """Inside the liner 40 mm, from plate (31) to nozzle (273); a cone to 10 mm over 15 mm; less three grains."""
    inside = np.pi / 4 * 0.040**2 * 0.242
    cone = np.pi / 12 * 0.015 * (0.040**2 + 0.040 * 0.010 + 0.010**2)
    grains = 3 * 0.070 * np.pi / 4 * (0.039**2 - 0.015**2)
    assert free_volume(motor())[0] == pytest.approx(inside + cone - grains, rel=1e-12)


class TestShapes:
    def test_a_sound_motor_breaks_none(self):
        assert impossible_shapes(motor()) == {}

    @pytest.mark.parametrize(
        ("column", "value", "reason"),
        [
            ("forward_closure.screws.ring_thickness", 0.080, "ring thicker than half the bore"),
            ("aft_closure.screws.ring_thickness", 0.018, "ring closes the throat"),
            ("forward_closure.screws.edge_distance", 0.310, "edge distance as long as the case"),
            ("aft_closure.screws.ring_edge_distance", 0.400, "ring edge distance as long as the case"),
            ("forward_closure.plate_thickness", 0.310, "plate as thick as the case is long"),
            ("forward_closure.shoulder_thickness", 0.310, "shoulder as thick as the case is long"),
            ("nozzle.exit_diameter", 0.300, "exit too wide for any nozzle"),
            ("nozzle.seat_diameter", 0.010, "seat no wider than the throat"),
        ],
    )
    def test_each_is_told(self, column, value, reason):
        found = impossible_shapes(motor().with_values({column: col(value)}))
        assert any(reason in name for name in found)

    @pytest.mark.parametrize(("diameter", "good"), [(0.0044, False), (0.0219, False), (0.036, True), (0.044, True), (0.046, False)])
    def test_sealed_diameter(self, diameter, good):
        seal = Seal(col(1), col(0.0035), col(0.0028), col(5e-5), col(70), diameter=col(diameter))
        closure = replace(motor().forward_closure, seal=seal)
        assert (impossible_shapes(motor(forward_closure=closure)) == {}) is good

    @pytest.mark.parametrize(("diameter", "good"), [(0.0440, False), (0.0465, True), (0.050, False), (0.060, False)])
    def test_thread(self, diameter, good):
        ring = ThreadedRing(col(diameter), col(0.0015), col(0.009))
        closure = Closure("threaded-ring", threaded_ring=ring, plate_thickness=col(0.009))
        assert (impossible_shapes(motor(forward_closure=closure)) == {}) is good

    def test_groove(self):
        snap = Closure("snap-ring", snap_ring=SnapRing(col(0.003), col(0.00175), col(0.006)))
        assert "aft closure: groove as deep as the wall" in impossible_shapes(motor(aft_closure=snap))

    def test_an_impossible_ring_never_lightens_a_motor(self):
        look = assess(motor().with_values({"forward_closure.screws.ring_thickness": col(0.080)}))
        assert np.isnan(look.masses["forward_closure"][0]) and np.isnan(look.masses["loaded"][0])
        assert not look.ok[0]

    def test_reasons_are_distinct(self):
        assert len({shape.reason for shape in SHAPES}) == len(SHAPES)
