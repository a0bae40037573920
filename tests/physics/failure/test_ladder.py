"""The ladder as a whole: one contract that every rung keeps, and what is said where a rung cannot be computed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from effort import examples
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.failure import ladder
from physics.failure.ladder import ADVICE, DEFAULT_FACTORS, KINDS, MODES, Mode, assess_ladder
from physics.failure.seals import heat_not_modelled
from physics.materials import Material, material
from physics.missing import NotComputable
from physics.motors import (
    Ambient,
    Array,
    Case,
    Closure,
    Figures,
    Grains,
    Liner,
    Motors,
    Nozzle,
    Plug,
    Propellant,
    Rung,
    Screws,
    Seal,
    Situation,
    SnapRing,
    ThreadedRing,
    WeldedLip,
)


def one(value: float) -> Array:
    return np.array([value])


def seal() -> Seal:
    return Seal(
        rings=one(2.0),
        cross_section=one(3.53e-3),
        gland_depth=one(2.84e-3),
        gap=one(5e-5),
        hardness=one(70.0),
        gland_width=one(4.8e-3),
        inner_diameter=one(44e-3),
        material=material("nitrile"),
    )


def screws() -> Screws:
    return Screws(
        diameter=one(4.826e-3),
        pitch=one(25.4e-3 / 24),
        metric=one(0.0),
        tensile_strength=one(700e6),
        count=one(8.0),
        edge_distance=one(12e-3),
        hole_diameter=one(4.98e-3),
        threads_in_plane=one(1.0),
        load_sharing=one(1.0),
        fitting_factor=one(1.15),
        ring_edge_distance=one(9e-3),
        ring_thickness=one(7e-3),
        grade="A2-70",
    )


def lip() -> WeldedLip:
    return WeldedLip(one(4e-3), one(4e-3), one(6e-3), one(8e-3), one(170e6), "4043")


def closure(retention: str = "radial-screws") -> Closure:
    return Closure(
        retention=retention,
        screws=screws() if retention == "radial-screws" else None,
        threaded_ring=ThreadedRing(one(53e-3), one(1.5e-3), one(10e-3), one(6e-3)) if retention == "threaded-ring" else None,
        snap_ring=SnapRing(one(1.2e-3), one(1.6e-3), one(5e-3), one(827e6)) if retention == "snap-ring" else None,
        welded_lip=lip() if retention == "welded-lip" else None,
        ring_material=material("6061-T6 extrusion"),
        plate_material=material("6061-T6 extrusion"),
        plate_thickness=one(8e-3),
        shoulder_thickness=one(5e-3),
        seal=seal(),
        bearing_diameter=one(48e-3),
    )


ENDS = ("forward closure", "aft closure")


def plugged(part: Closure) -> Closure:
    plug = Plug(one(12.7e-3), one(25.4e-3 / 20), one(8e-3), None, material("6061-T6 extrusion"), seal(), "1/2-20 UNF")
    return dataclasses.replace(part, plug=plug)


def motor(retention: str = "radial-screws") -> Motors:
    """An invented motor with every part that a rung may ask for."""
    return Motors(
        size=1,
        propellant=Propellant(
            density=one(1700.0),
            characteristic_velocity=one(1480.0),
            gamma=one(1.21),
            molar_mass=one(0.024),
            rate_from=one(7e5)[:, None],
            rate_to=one(9e6)[:, None],
            rate=one(6.5e-3)[:, None],
            rate_at=one(5e6)[:, None],
            exponent=one(0.33)[:, None],
            reference_temperature=one(293.15),
            temperature_sensitivity=one(0.0015),
            strength=one(2e6),
        ),
        grain=Grains(*(one(v)[:, None] for v in (4.0, 75e-3, 46e-3, 16e-3, 2.0))),
        nozzle=Nozzle(
            *(one(v) for v in (13.5e-3, 34e-3, np.radians(14.0), 0.95, 0.0, 5e6)),
            material=material("graphite"),
            seat_diameter=one(20e-3),
            insert_diameter=one(36e-3),
            insert_length=one(25e-3),
            seal=seal(),
        ),
        ambient=Ambient(one(101325.0), one(293.15), np.array([[268.15, 313.15]])),
        case=Case(
            material("6061-T6"),
            one(57.2e-3),
            one(3.2e-3),
            one(0.52),
            one(373.15),
            heat_affected=True,
            heat_affected_end="both",
            heat_affected_reach=one(15e-3),
        ),
        liner=Liner(material("paper-phenolic"), one(1.6e-3)),
        forward_closure=plugged(closure(retention)),
        aft_closure=closure(retention),
    )


def burn(size: int = 1) -> Figures:
    """Figures of an invented burn, enough for every rung that asks."""
    names = {
        "peak_pressure": 5.8e6,
        "peak_head_pressure": 6.0e6,
        "mean_pressure": 5.0e6,
        "burn_time": 2.0,
        "action_time": 2.2,
        "highest_mass_flux": 800.0,
        "head_pressure_ratio": 1.04,
        "highest_port_mach": 0.26,
        "peak_mass_flow": 0.7,
        "initial_pressure": 5.0e6,
        "total_impulse": 2000.0,
        "propellant_mass": 1.0,
        "pressure_integral": 1.1e7,
        "final_throat_diameter": 13.5e-3,
    }
    return Figures({name: np.full(size, value) for name, value in names.items()}, {}, "steady")


RETENTIONS = ("radial-screws", "threaded-ring", "snap-ring", "welded-lip")


def scaled(material_: Material, factor: float) -> Material:
    """The material with every strength, and its ratio-free stiffness left alone, times a factor."""
    fields = [f.name for f in dataclasses.fields(Material) if f.name.endswith("_strength") or "_strength_short" in f.name]
    return dataclasses.replace(material_, **{f: getattr(material_, f) * factor for f in fields if getattr(material_, f)})


def weaker(motors: Motors, factor: float = 0.8) -> Motors:
    """The motor with every strength scaled: metals, screws, ring, rubber (by its hardness), insert and grain."""
    assert motors.case is not None
    changes: dict[str, object] = {
        "case.material": scaled(motors.case.material, factor),
        "nozzle.material": scaled(material("graphite"), factor),
        "propellant.strength": motors.propellant.strength * factor,
    }
    for end in ("forward_closure", "aft_closure"):
        part = motors.value(end)
        changes[f"{end}.ring_material"] = scaled(part.ring_material, factor)
        changes[f"{end}.plate_material"] = scaled(part.plate_material, factor)
        changes[f"{end}.seal.hardness"] = changes["nozzle.seal.hardness"] = np.array([66.0])
        if part.plug is not None:
            changes[f"{end}.plug.material"] = scaled(part.plug.material, factor)
            changes[f"{end}.plug.seal.hardness"] = np.array([66.0])
        if part.screws is not None:
            changes[f"{end}.screws.tensile_strength"] = part.screws.tensile_strength * factor
        if part.welded_lip is not None:
            changes[f"{end}.welded_lip.metal_strength"] = part.welded_lip.metal_strength * factor
        if part.snap_ring is not None:
            changes[f"{end}.snap_ring.ring_shear_strength"] = part.snap_ring.ring_shear_strength * factor
    return motors.with_values(changes)


UNMODELLED = {row.mode for row in MODES if row.function is heat_not_modelled}
STRUCTURE = tuple(row for row in MODES if not row.marches_heat and row.mode not in UNMODELLED)


@pytest.fixture(autouse=True)
def structure_only(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """The heat rungs march through time and have tests of their own; most tests here leave them out."""
    if "whole_ladder" not in request.node.name:
        monkeypatch.setattr(ladder, "MODES", STRUCTURE)


def rungs(motors: Motors) -> dict[tuple[str, str], Rung]:
    """The rungs of structure and seals by mode and part."""
    found = assess_ladder(motors, burn(motors.size), np.full(motors.size, 6e6)).rungs
    return {(r.mode, r.part): r for r in found}


class TestEveryRung:
    """The contract of a rung; the count makes sure none is left out."""

    def test_every_mode_of_structure_and_seals_is_reached(self) -> None:
        seen = {mode for retention in RETENTIONS for mode, _ in rungs(motor(retention))}
        assert seen == {row.mode for row in STRUCTURE}
        assert len(seen) == 37

    def test_nothing_is_left_unassessed_when_everything_is_given(self) -> None:
        for retention in RETENTIONS:
            found = assess_ladder(motor(retention), burn(), one(6e6)).not_assessed
            rings = {("ring rolling", end) for end in ENDS} | {("ring contact", end) for end in ENDS}
            assert {(item.mode, item.part) for item in found} == (rings if retention == "snap-ring" else set())

    @pytest.mark.parametrize("retention", RETENTIONS)
    def test_positive_finite_named_and_in_unit(self, retention: str) -> None:
        checked = 0
        for (mode, part), rung in rungs(motor(retention)).items():
            assert rung.pressure is not None and rung.pressure.shape == (1,)
            # Pascal: the pressures at which small parts of metal, rubber or graphite fail lie within these bounds.
            assert 1e6 < rung.pressure[0] < 1e10, (mode, part)
            assert rung.time is None
            assert rung.factor[0] == pytest.approx(rung.pressure[0] / 6e6)
            assert rung.required[0] == DEFAULT_FACTORS[rung.kind]
            assert len(rung.basis) > 15
            assert bool(rung.ok[0]) == (rung.factor[0] >= rung.required[0])
            checked += 1
        assert checked == {"radial-screws": 38, "threaded-ring": 28, "snap-ring": 30, "welded-lip": 30}[retention]

    @pytest.mark.parametrize("retention", RETENTIONS)
    def test_falls_when_the_part_is_weaker(self, retention: str) -> None:
        strong, weak = rungs(motor(retention)), rungs(weaker(motor(retention)))
        assert strong.keys() == weak.keys()
        for key, rung in strong.items():
            assert weak[key].pressure[0] < rung.pressure[0], key  # type: ignore[index]

    @pytest.mark.parametrize("retention", RETENTIONS)
    def test_strengths_scale_the_pressure_in_proportion(self, retention: str) -> None:
        strong, weak = rungs(motor(retention)), rungs(weaker(motor(retention), 0.8))
        for key, rung in strong.items():
            if rung.kind not in ("leak", "advice"):
                assert weak[key].pressure == pytest.approx(0.8 * rung.pressure, rel=1e-12), key  # type: ignore[operator]

    @pytest.mark.parametrize("retention", RETENTIONS)
    def test_batch_equals_one_by_one(self, retention: str) -> None:
        rng = np.random.default_rng(4)
        n = 7
        columns = {
            "case.outer_diameter": rng.uniform(56e-3, 60e-3, n),
            "case.wall": rng.uniform(2.2e-3, 3.6e-3, n),
            "case.service_temperature": rng.uniform(293.15, 420.0, n),
            "case.heat_affected_reach": rng.uniform(0, 20e-3, n),
            "nozzle.throat_diameter": rng.uniform(10e-3, 15e-3, n),
            "nozzle.seat_diameter": rng.uniform(18e-3, 24e-3, n),
            "forward_closure.plate_thickness": rng.uniform(5e-3, 12e-3, n),
            "aft_closure.seal.gap": rng.uniform(0, 1e-4, n),
            "aft_closure.seal.hardness": rng.uniform(70.0, 90.0, n),
        }
        if retention == "radial-screws":
            columns |= {
                "forward_closure.screws.count": rng.integers(4, 13, n).astype(float),
                "aft_closure.screws.diameter": rng.uniform(3e-3, 6e-3, n),
                "aft_closure.screws.threads_in_plane": rng.integers(0, 2, n).astype(float),
                "aft_closure.screws.metric": rng.integers(0, 2, n).astype(float),
                "aft_closure.screws.edge_distance": rng.uniform(8e-3, 15e-3, n),
            }
        batch = dataclasses.replace(motor(retention).repeat(n), size=n).with_values(columns)
        together = rungs(batch)
        for i in range(n):
            alone = rungs(batch.take([i]))
            assert alone.keys() == together.keys()
            for key, rung in alone.items():
                np.testing.assert_allclose(together[key].pressure[i], rung.pressure[0], rtol=1e-12, err_msg=str(key))  # type: ignore[index]

    def test_an_empty_batch_gives_empty_rungs(self) -> None:
        nothing = motor().take(np.zeros(0, dtype=int)) if motor().size else motor()
        for rung in assess_ladder(nothing, None, np.zeros(0)).rungs:
            assert rung.factor.shape == (0,)

    def test_rows_are_distinct_and_of_a_known_kind(self) -> None:
        assert len({row.mode for row in MODES}) == len(MODES) == 44
        assert {row.kind for row in MODES} == set(KINDS) == set(DEFAULT_FACTORS)
        assert {row.part for row in MODES} == {"case", "closure", "liner", "nozzle", "grains"}


class TestOneFunctionAndOneRow:
    def test_a_new_rung_is_one_function_and_one_row(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def lid_blows_off(motors: Motors, situation: Situation) -> Array:
            return np.full(motors.size, 12e6)

        monkeypatch.setattr(ladder, "MODES", (*MODES, Mode("lid blows off", "closure", "rupture", "12 MPa", lid_blows_off)))
        found = [r for r in assess_ladder(motor(), None, one(6e6)).rungs if r.mode == "lid blows off"]
        assert [r.part for r in found] == ["forward closure", "aft closure"]
        assert [float(r.factor[0]) for r in found] == [2.0, 2.0]


class TestNotAssessed:
    def reason(self, motors: Motors, mode: str, part: str, figures: Figures | None = None) -> str:
        found = [m for m in assess_ladder(motors, figures, one(6e6)).not_assessed if (m.mode, m.part) == (mode, part)]
        assert len(found) == 1, (mode, part)
        return found[0].why

    @pytest.mark.parametrize(
        ("column", "mode", "part", "why"),
        [
            (
                "forward_closure.screws.ring_thickness",
                "bearing in ring",
                "forward closure",
                "forward_closure.ring_thickness is not given",
            ),
            (
                "aft_closure.screws.edge_distance",
                "tear-out of case",
                "aft closure",
                "aft_closure.edge_distance is not given",
            ),
            (
                "forward_closure.screws.ring_edge_distance",
                "tear-out of ring",
                "forward closure",
                "forward_closure.ring_edge_distance is not given",
            ),
            (
                "forward_closure.plate_thickness",
                "plate bending",
                "forward closure",
                "forward_closure.plate_thickness is not given",
            ),
            ("aft_closure.seal", "seal extrusion", "aft closure", "[aft_closure.seal] is not given"),
            ("nozzle.seat_diameter", "seat compression", "nozzle", "nozzle.seat_diameter is not given"),
            ("nozzle.material", "seat compression", "nozzle", "nozzle.material is not given"),
            ("propellant.strength", "grain support", "grains", "propellant.strength is not given"),
            ("forward_closure.ring_material", "shoulder shear", "forward closure", ""),
        ],
    )
    def test_names_the_missing_key(self, column: str, mode: str, part: str, why: str) -> None:
        changes: dict[str, object] = {column: None}
        if not why:  # the ring's material alone can be replaced by the plate's
            changes["forward_closure.plate_material"] = None
            why = "forward_closure.ring_material is not given"
        assert self.reason(motor().with_values(changes), mode, part, burn()) == why

    def test_a_motor_without_case_assesses_no_structure_and_lists_it_all(self) -> None:
        bare = dataclasses.replace(motor(), case=None, forward_closure=None, aft_closure=None)
        found = assess_ladder(bare, burn(), one(6e6))
        assert {r.mode for r in found.rungs} == {"seat compression", "insert shear", "grain support"}
        listed = {m.mode for m in found.not_assessed}
        needs_welded_case = {
            row.mode
            for row in STRUCTURE
            if row.mode.startswith(("weld ", "lip ", "ring ro", "ring co", "plug ")) or "away from weld" in row.mode
        }
        assert listed | {r.mode for r in found.rungs} == {row.mode for row in STRUCTURE} - needs_welded_case

    def test_modes_of_other_retentions_are_silent(self) -> None:
        found = assess_ladder(motor("radial-screws"), burn(), one(6e6))
        said = {r.mode for r in found.rungs} | {m.mode for m in found.not_assessed}
        assert "groove shear" not in said and "ring thread shear" not in said

    def test_pvc_is_refused_as_a_case(self) -> None:
        rung = rungs(motor().with_values({"case.material": material("PVC")}))["case yield", "case"]
        assert "not one that carries load" in rung.note and "shards" in rung.note and not rung.ok[0]

    def test_a_weld_on_a_material_of_unknown_weld_strength(self) -> None:
        why = self.reason(motor().with_values({"case.material": material("2024-T3")}), "case yield", "case")
        assert "heat_affected_yield_ratio of 2024-T3 is not known" in why

    def test_beyond_the_derating_table(self) -> None:
        rung = rungs(motor().with_values({"case.service_temperature": one(700.0)}))["case yield", "case"]
        assert "the strength of 6061-T6 at case.service_temperature, 427 degC, is not known" in rung.note
        assert rung.pressure is not None and rung.pressure[0] == 0.0 and not rung.ok[0]

    def test_without_a_burn(self) -> None:
        assert self.reason(motor(), "grain support", "grains") == "the burn itself was not evaluated"

    def test_hardness_outside_the_chart(self) -> None:
        soft = motor().with_values({"forward_closure.seal.hardness": one(40.0)})
        assert "outside the makers' tables" in rungs(soft)["seal extrusion", "forward closure"].note

    def test_a_gap_wider_than_the_tables_is_assessed_and_falls_short(self) -> None:
        mixed = dataclasses.replace(motor().repeat(2), size=2)
        mixed = mixed.with_values({"aft_closure.seal.gap": np.array([5e-5, 0.8e-3])})
        rung = rungs(mixed)["seal extrusion", "aft closure"]
        assert rung.pressure is not None and rung.pressure[0] > 2.0 * rung.pressure[1] >= 0.0
        assert rung.ok[0] and not rung.ok[1]

    def test_no_mode_swallows_another_error(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def broken(motors: Motors, situation: Situation) -> Array:
            raise ValueError("a defect")

        monkeypatch.setattr(ladder, "MODES", (Mode("broken", "case", "yield", "none", broken),))
        with pytest.raises(ValueError, match="a defect"):
            assess_ladder(motor())


class TestFactors:
    def test_over_the_maximum_expected_pressure(self) -> None:
        low, high = (assess_ladder(motor(), None, one(p)).rungs[0].factor[0] for p in (5e6, 10e6))
        assert low == pytest.approx(2.0 * high)

    def test_the_peak_head_pressure_where_no_other_is_given(self) -> None:
        rung = assess_ladder(motor(), burn()).rungs[0]
        assert rung.factor[0] == pytest.approx(rung.pressure[0] / 6.0e6)  # type: ignore[index]

    def test_nothing_to_compare_with_never_passes(self) -> None:
        found = assess_ladder(motor()).rungs
        assert found and all(np.isnan(r.factor[0]) and (not r.ok[0] or r.kind == ADVICE) for r in found)

    def test_required_factors_of_the_file(self) -> None:
        asked = dataclasses.replace(motor(), factors={"rupture": 3.0})
        required = {r.mode: r.required[0] for r in assess_ladder(asked, None, one(6e6)).rungs}
        assert required["case burst"] == 3.0 and required["case yield"] == 1.5

    @settings(max_examples=examples(25, 5), deadline=None)
    @given(st.floats(1e6, 3e7), st.floats(1.01, 3.0))
    def test_factors_fall_as_the_expected_pressure_rises(self, pressure: float, more: float) -> None:
        calm, hard = (assess_ladder(motor(), None, one(p)).rungs for p in (pressure, pressure * more))
        assert len(calm) == len(hard) > 20
        assert all(b.factor[0] < a.factor[0] for a, b in zip(calm, hard, strict=True) if a.pressure is not None)

    @pytest.mark.slow
    @settings(max_examples=examples(20, 3), deadline=None)
    @given(st.floats(0.3, 4.0), st.sampled_from(RETENTIONS))
    def test_similar_motors_fail_at_the_same_pressure(self, scale: float, retention: str) -> None:
        """All lengths times a factor leaves every pressure as it was, bar tolerances and charts in absolute lengths."""
        base = motor(retention)
        keys = [
            "case.outer_diameter",
            "case.wall",
            "case.heat_affected_reach",
            "nozzle.throat_diameter",
            "nozzle.exit_diameter",
            "nozzle.seat_diameter",
            "nozzle.insert_diameter",
            "nozzle.insert_length",
        ]
        for end in ("forward_closure", "aft_closure"):
            keys += [f"{end}.{k}" for k in ("plate_thickness", "shoulder_thickness", "bearing_diameter")]
            if base.value(f"{end}.plug") is not None:
                keys += [f"{end}.plug.{k}" for k in ("thread_diameter", "thread_pitch", "engagement")]
            names = {
                "radial-screws": (
                    "screws.diameter",
                    "screws.pitch",
                    "screws.edge_distance",
                    "screws.hole_diameter",
                    "screws.ring_edge_distance",
                    "screws.ring_thickness",
                ),
                "threaded-ring": (
                    "threaded_ring.thread_diameter",
                    "threaded_ring.thread_pitch",
                    "threaded_ring.engagement",
                    "threaded_ring.width",
                ),
                "snap-ring": ("snap_ring.groove_depth", "snap_ring.ring_thickness", "snap_ring.edge_margin"),
                "welded-lip": tuple(f"welded_lip.{k}" for k in ("leg", "arm", "thickness", "distance")),
            }[retention]
            keys += [f"{end}.{k}" for k in names]
        grown = base.with_values({key: base.value(key) * scale for key in keys})
        for key, rung in rungs(grown).items():
            if rung.kind not in ("leak", "advice") and key[0] not in ("ring thread shear", "screw shear", "plug thread shear"):
                np.testing.assert_allclose(rung.pressure, rungs(base)[key].pressure, rtol=1e-9, err_msg=str(key))


class TestNotes:
    def test_every_note_of_a_single_motor_can_be_made(self) -> None:
        for retention in RETENTIONS:
            for rung in assess_ladder(motor(retention), burn(), one(6e6)).rungs:
                assert isinstance(rung.note, str) and "nan" not in rung.note.split(), rung.note

    def test_the_other_part_of_the_screw_is_shown(self) -> None:
        note = rungs(motor())["screw shear", "forward closure"].note
        assert "with the plain shank in the plane" in note and "lbf" in note

    def test_clamped_plate_is_shown(self) -> None:
        assert "clamped edge" in rungs(motor())["plate bending", "aft closure"].note

    def test_the_plain_bound_is_shown_aft_only(self) -> None:
        found = rungs(motor())
        assert "pull of the nozzle counted; without it" in found["screw shear", "aft closure"].note
        assert "pull of the nozzle" not in found["screw shear", "forward closure"].note

    def test_batches_carry_no_notes(self) -> None:
        two = motor().repeat(2)
        assert all(r.note == "" for r in assess_ladder(two, burn(2), np.full(2, 6e6)).rungs)


def test_whole_ladder_holds_times_against_the_action_time() -> None:
    found = assess_ladder(motor(), burn(), one(6e6))
    said = {r.mode for r in found.rungs} | {m.mode for m in found.not_assessed}
    assert {"liner burn-through", "case softening", "seal overheating", "case yield hot"} <= said
    times = [r for r in found.rungs if r.time is not None]
    assert times
    for rung in times:
        assert rung.pressure is None and rung.kind == "heat"
        np.testing.assert_allclose(rung.factor, rung.time / 2.2)  # type: ignore[operator]


def test_mode_functions_raise_only_what_the_ladder_understands() -> None:
    """Every function, asked of a motor that has nothing, says what is missing."""
    bare = dataclasses.replace(
        motor(),
        case=None,
        forward_closure=None,
        aft_closure=None,
        liner=None,
        nozzle=dataclasses.replace(motor().nozzle, material=None, seat_diameter=None, insert_diameter=None),
        propellant=dataclasses.replace(motor().propellant, strength=None),
    )
    asked: list[Callable[[Motors, Situation], Array]] = [row.function for row in MODES]  # heat's too
    for function in asked:
        with pytest.raises(NotComputable, match=r"is not given|not evaluated"):
            function(bare, Situation("forward"))
