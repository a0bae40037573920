"""O-rings: the closed loop of gap and pressure, and the proportions of a gland."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import multivariate_normal, norm

from optimizer import load_motor
from physics.failure import chances
from physics.failure.ladder import assess_ladder
from physics.failure.seals import (
    INCH,
    MAKERS,
    PSI,
    MakersTable,
    allowed_pressure,
    backup_ring_advised,
    gland_figures,
    gland_warnings,
    seal_extrusion,
    service_limits,
    squeeze_band,
)
from physics.materials import material
from physics.missing import NotComputable
from physics.motors import Motors, Seal, Situation

gaps = st.floats(0.0, 6e-4)
growths = st.floats(0.0, 2e-11)
shores = st.floats(60.0, 95.0)
sections = st.sampled_from([1.78e-3, 2.62e-3, 3.53e-3, 5.33e-3, 6.99e-3])


@given(st.sampled_from(MAKERS), gaps, growths, shores)
def test_the_loop_is_closed(table: MakersTable, gap: float, growth: float, hardness: float) -> None:
    """Against a root finder over the table read the slow way: at the pressure found the grown gap is what is allowed."""
    found = float(allowed_pressure(table, np.asarray(hardness), np.asarray(gap), np.asarray(growth)))

    def allowed(pressure: float) -> float:
        rows = [np.interp(pressure / PSI, table.pressures, row) for row in table.gaps]
        widest = float(np.interp(hardness, table.hardness, rows)) * INCH
        least = table.pressures[0] * PSI
        return widest if pressure >= least else widest * least / pressure

    top = table.pressures[-1] * PSI
    room = lambda p: allowed(p) - 2.0 * (gap + growth * p)  # noqa: E731
    expected = top if room(top) >= 0.0 else brentq(room, 1.0, top, xtol=1e-3, rtol=1e-13)
    assert found == pytest.approx(expected, rel=1e-6)


@given(gaps, growths, shores, sections, st.floats(1.001, 3.0))
def test_a_wider_or_softer_gland_never_bears_more(gap: float, growth: float, hardness: float, section: float, more: float) -> None:
    def limits(gap: float, growth: float, hardness: float) -> np.ndarray:
        own = seal(gap=gap, hardness=hardness, cross_section=section)
        return service_limits(own, np.asarray(growth))

    base = limits(gap, growth, hardness)
    assert np.all(limits(gap * more, growth, hardness) <= base)
    assert np.all(limits(gap, growth * more, hardness) <= base)
    assert np.all(limits(gap, growth, max(60.0, hardness / more)).min(axis=0) <= base.min(axis=0))


def test_a_backup_ring_counts_as_ninety_shore() -> None:
    hard = service_limits(seal(hardness=90.0), np.asarray(0.0))
    np.testing.assert_array_equal(service_limits(seal(backup_rings=1.0), np.asarray(0.0)), hard)


def held(**changes: object) -> float:
    """Leak pressure of the starter motor's forward seal with some columns changed. [Pa]"""
    motors = load_motor(files("optimizer") / "starter" / "motor.toml").motors.with_values(changes)
    return float(np.ravel(seal_extrusion(motors, Situation("forward")))[0])


def test_a_fifth_of_the_section_on_one_side_is_the_end() -> None:
    section = load_motor(files("optimizer") / "starter" / "motor.toml").motors.forward_closure.seal.cross_section
    assert held(**{"forward_closure.seal.gap": 0.2 * section}) == 0.0
    assert 0.0 < held(**{"forward_closure.seal.gap": 0.19 * section}) < 0.2 * held()


def test_a_ring_too_cold_is_given_nothing_and_says_why() -> None:
    rubber = material("fluoroelastomer", "seal")  # stiff below -15 degC
    changes = {"forward_closure.seal.material": rubber, "ambient.soak": np.array([[253.15, 300.0]])}
    assert held(**changes) == 0.0 < held(**changes | {"ambient.soak": np.array([[263.15, 300.0]])})
    motors = load_motor(files("optimizer") / "starter" / "motor.toml").motors.with_values(changes)
    rung = next(r for r in assess_ladder(motors).rungs if (r.mode, r.part) == ("seal extrusion", "forward closure"))
    assert "stiffens below -15 degC" in rung.note and not rung.ok[0]


def test_one_by_one_is_the_batch() -> None:
    rng = np.random.default_rng(3)
    n = 60
    columns = {
        "forward_closure.seal.gap": rng.uniform(0.0, 8e-4, n), "forward_closure.seal.hardness": rng.uniform(58.0, 97.0, n),
        "forward_closure.seal.cross_section": rng.uniform(1.7e-3, 7e-3, n),
        "ambient.soak": rng.uniform(230.0, 250.0, (n, 1)), "forward_closure.seal.material": material("nitrile", "seal"),
    }  # fmt: skip
    base = load_motor(files("optimizer") / "starter" / "motor.toml").motors
    batch = replace(base.repeat(n), size=n).with_values(columns)
    for mode in (seal_extrusion, backup_ring_advised):
        together = np.broadcast_to(mode(batch, Situation("forward")), (n,))
        for i in range(n):
            try:
                alone = float(np.ravel(mode(batch.take([i]), Situation("forward")))[0])
            except NotComputable:
                alone = np.nan
            np.testing.assert_equal(together[i], alone)
    assert np.isnan(together).any() and (together > 0.0).any()


def seal(**changes: float) -> Seal:
    values = {
        "rings": 1.0,
        "cross_section": 3.53e-3,
        "gland_depth": 2.84e-3,
        "gap": 5e-5,
        "hardness": 70.0,
        "gland_width": 4.8e-3,
        "inner_diameter": 44.04e-3,
    } | changes
    return Seal(**{name: np.array([value]) for name, value in values.items()})


def test_a_sound_gland_draws_no_warning() -> None:
    found = gland_figures(seal(), np.array([50.8e-3]), np.array([3e-5]))
    assert [f.name for f in found] == ["squeeze", "squeeze with the bore grown", "gland fill", "stretch"]
    assert [f.warning() for f in found] == ["", "", "", ""]


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"gland_depth": 3.3e-3}, "squeeze"),
        ({"gland_width": 3.6e-3}, "gland fill"),
        ({"inner_diameter": 40e-3}, "stretch"),
    ],
)
def test_each_proportion_is_watched(changes: dict[str, float], name: str) -> None:
    wrong = [f.name for f in gland_figures(seal(**changes), np.array([50.8e-3])) if not f.ok[0]]
    assert name in wrong


def test_a_groove_out_of_proportion_is_told_what_fits() -> None:
    motors = load_motor(files("optimizer") / "starter" / "motor.toml").motors
    wrong = motors.with_values({"forward_closure.seal.inner_diameter": np.array([30e-3])})
    assert any("fits this groove" in text for text in gland_warnings(wrong, "forward"))


def test_what_is_not_given_is_left_out() -> None:
    bare = Seal(*(np.array([v]) for v in (1.0, 3.53e-3, 2.8e-3, 5e-5, 70.0)))
    assert [f.name for f in gland_figures(bare, np.array([0.05]))] == ["squeeze"]


def test_bands_follow_the_nearest_section() -> None:
    assert squeeze_band(np.array([5.3e-3])) == (0.15, 0.21)


class TestTwoRings:
    def motors(self, **changes: float) -> Motors:
        base = load_motor(files("optimizer") / "starter" / "motor.toml").motors
        return base.with_values({key.replace("__", "."): np.array([value]) for key, value in changes.items()})

    def test_a_second_ring_in_one_gland_adds_no_pressure_and_the_note_says_so(self) -> None:
        single, double = (self.motors(forward_closure__seal__rings=rings) for rings in (1.0, 2.0))
        found = [
            next(rung for rung in assess_ladder(motors, None, np.array([5e6]), marching=False).rungs
                 if (rung.mode, rung.part) == ("seal extrusion", "forward closure"))
            for motors in (single, double)
        ]  # fmt: skip
        assert found[0].pressure == found[1].pressure
        assert "a second ring adds no pressure" in found[1].note and "second ring" not in found[0].note

    def test_rings_of_one_compound_leak_early_or_late_together(self) -> None:
        """One lot, 0.4 of the scatter of 0.5 shared: the chance of either is nearer to that of one than of two apart."""
        motors = self.motors()
        look = assess_ladder(motors, None, np.array([9e6]), marching=False)
        sure = {rung.part: rung.certainty for rung in look.rungs if rung.mode == "seal extrusion"}
        front, back = sure["forward closure"], sure["aft closure"]
        assert front is not None and back is not None and front.lot == back.lot != "" and front.scatter == pytest.approx(0.5)
        other = assess_ladder(self.motors(aft_closure__seal__hardness=90.0), None, np.array([9e6]), marching=False)
        lots = {rung.certainty.lot for rung in other.rungs if rung.mode == "seal extrusion" and rung.certainty is not None}
        assert len(lots) == 2  # another hardness is another compound
        keys = [("seal extrusion", part) for part in sure]
        margins = dict.fromkeys(keys, np.array([0.5]))
        together = chances.chances(chances.Model(margins, dict(zip(keys, (front, back), strict=True))), 8)[0].value
        apart = chances.chances(chances.Model(margins, {keys[0]: front, keys[1]: replace(back, lot="another")}), 8)[0].value
        alone = float(norm.cdf(-1.0))
        assert apart == pytest.approx(1.0 - (1.0 - alone) ** 2) and alone < together < apart
        cover = np.array([[0.25, 0.16], [0.16, 0.25]])
        assert together == pytest.approx(1.0 - float(multivariate_normal(cov=cover).cdf([0.5, 0.5])), rel=1e-4)
