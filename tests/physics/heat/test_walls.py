"""The heat rungs: what they ask for, how they move, and that a batch is the same as one by one."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from physics.heat import walls as heat
from physics.heat.conduction import first_crossing
from physics.materials import material
from physics.missing import NotComputable
from physics.motors import (
    Ambient,
    Case,
    Closure,
    Curve,
    Figures,
    Grains,
    Liner,
    Motors,
    Nozzle,
    Propellant,
    Seal,
    Situation,
)


def one(value):
    return np.array([float(value)])


def row(*values):
    return np.array([values], dtype=float)


def motor(**changes):
    propellant = Propellant(
        one(1700), one(1480), one(1.21), one(0.024), row(7e5), row(9e6), row(6.5e-3), row(5e6), row(0.33), one(293.15), one(0.0015)
    )
    seal = Seal(one(2), one(3.53e-3), one(2.8e-3), one(5e-5), one(70), material=material("nitrile", "seal"))
    closure = Closure("radial-screws", seal=seal)
    base = Motors(
        1,
        propellant,
        Grains(row(4), row(0.075), row(0.046), row(0.018), row(2)),
        Nozzle(one(0.0135), one(0.034), one(0.24), one(0.95), one(0), one(5e6)),
        Ambient(one(101325), one(293.15), row(293.15)),
        Case(material("6061-T6"), one(0.0572), one(0.0032), one(0.52)),
        Liner(material("paper-phenolic", "liner"), one(1.6e-3), one(0.0)),
        closure,
        closure,
    )
    return base.with_values({key.replace("__", "."): one(value) for key, value in changes.items()})


def figures(size=1, seconds=2.5, pressure=5e6, curve=None):
    values = {
        "burn_time": seconds,
        "action_time": seconds,
        "mean_pressure": pressure,
        "propellant_mass": 0.75,
        "peak_head_pressure": 1.2 * pressure,
    }
    return Figures({name: np.full(size, float(value)) for name, value in values.items()}, {}, "steady", curve)


def burn(size=1, seconds=2.5, pressure=5e6, end="", curve=None):
    return Situation(end, figures(size, seconds, pressure, curve), np.full(size, 1.3 * pressure))


RUNGS = [heat.liner_burn_through, heat.case_softening, heat.case_yield_hot, heat.seal_overheating]


@pytest.mark.parametrize("rung", RUNGS)
def test_positive_and_one_for_each_motor(rung):
    found = rung(motor(), burn(end="aft"))
    assert found.shape == (1,)
    assert found[0] > 0.0


@pytest.mark.parametrize("rung", RUNGS)
def test_batch_equals_one_by_one(rung):
    walls = np.array([1.0e-3, 1.6e-3, 2.0e-3, 0.8e-3])
    gaps = np.array([0.0, 0.0, 0.004, 0.0])
    batch = (
        motor()
        .repeat(4)
        .with_values(
            {"liner.thickness": walls, "liner.gap": gaps, "nozzle.throat_diameter": np.array([0.012, 0.013, 0.014, 0.015])}
        )
    )
    together = rung(batch, burn(4, end="aft"))
    apart = [rung(batch.take([i]), burn(end="aft"))[0] for i in range(4)]
    assert_allclose(together, apart, rtol=1e-12)


def test_blocks_do_not_matter(monkeypatch):
    batch = motor().repeat(5).with_values({"liner.thickness": np.linspace(1e-3, 2e-3, 5)})
    whole = heat.liner_burn_through(batch, burn(5))
    monkeypatch.setattr(heat, "_BLOCK", 2)
    assert_allclose(heat.liner_burn_through(batch, burn(5)), whole, rtol=1e-13)


def test_resolution(monkeypatch):
    """Times stay within 1 % when cells and steps are made three times finer."""
    subject, gapped = motor(), motor(liner__gap=0.003)
    coarse = [
        heat.liner_burn_through(subject, burn())[0],
        heat.seal_overheating(subject, burn(end="aft"))[0],
        heat.case_softening_by_place(gapped, burn())["forward end"][0],
    ]
    for name, times in (("_BURN_STEPS", 192), ("_TAIL_STEPS", 96), ("_LINER_CELLS", 48), ("_CASE_CELLS", 9)):
        monkeypatch.setattr(heat, name, times)
    fine = [
        heat.liner_burn_through(subject, burn())[0],
        heat.seal_overheating(subject, burn(end="aft"))[0],
        heat.case_softening_by_place(gapped, burn())["forward end"][0],
    ]
    assert_allclose(coarse, fine, rtol=0.01)


class TestWeakerPartFailsSooner:
    @settings(max_examples=6, deadline=None)
    @given(st.floats(0.8e-3, 2.4e-3), st.floats(1.05, 1.6))
    def test_thinner_liner(self, thickness, more):
        both = (thickness, more * thickness)
        thin, thick = (heat.liner_burn_through(motor(liner__thickness=t), burn()) for t in both)
        assert thin <= thick

    def test_hotter_pressure(self):
        low, high = (heat.liner_burn_through(motor(), burn(pressure=p)) for p in (2e6, 8e6))
        assert high < low

    def test_earlier_char(self):
        subject = motor()
        weak = replace(subject.liner, material=replace(subject.liner.material, char_temperature=450.0))
        assert heat.liner_burn_through(replace(subject, liner=weak), burn()) < heat.liner_burn_through(subject, burn())

    def test_thinner_case(self):
        thin, thick = (
            heat.case_softening(motor(liner__thickness=0.4e-3, case__wall=w), burn(pressure=3e6)) for w in (1.6e-3, 3.2e-3)
        )
        assert thin[0] < thick[0]

    def test_wider_gap_is_no_safer(self):
        none, some = heat.case_softening(motor(), burn()), heat.case_softening(motor(liner__gap=0.002), burn())
        assert np.isinf(none[0]) and some[0] < 1.0

    def test_weaker_seal(self):
        subject = motor()
        viton = replace(subject.aft_closure.seal, material=material("fluoroelastomer", "seal"))
        better = replace(subject, aft_closure=replace(subject.aft_closure, seal=viton))
        assert heat.seal_overheating(better, burn(end="aft")) > heat.seal_overheating(subject, burn(end="aft"))

    def test_welded_case(self):
        subject = motor()
        welded = replace(subject, case=replace(subject.case, heat_affected=True))
        assert heat.case_yield_hot(welded, burn())[0] < 0.6 * heat.case_yield_hot(subject, burn())[0]


class TestPlaces:
    def test_grain_protects_the_wall_until_its_web_is_gone(self):
        times = heat.burn_through_by_place(motor(), burn(seconds=2.5))
        assert times["mid-grain wall"][0] > 2.5
        assert times["joint"][0] < times["mid-grain wall"][0]
        now = heat.conditions(motor(), burn(seconds=2.5), held=True)
        assert_allclose(heat.exposed_from(motor(), now), 2.5, rtol=1e-6)

    def test_a_thin_row_opens_the_wall_early(self):
        mixed = replace(motor(), grain=Grains(row(2, 2), row(0.075, 0.075), row(0.046, 0.046), row(0.018, 0.032), row(2, 2)))
        now = heat.conditions(mixed, burn(seconds=2.0), held=True)
        assert_allclose(heat.exposed_from(mixed, now), 2.0 * 7 / 14, rtol=1e-3)

    def test_one_grain_has_no_joint(self):
        single = motor(grain__count=1)
        assert np.isinf(heat.burn_through_by_place(single, burn())["joint"][0])

    def test_an_absent_row_changes_nothing(self):
        padded = replace(motor(), grain=Grains(row(4, 0), row(0.075, 0), row(0.046, 0), row(0.018, 0), row(2, 0)))
        for place, time in heat.burn_through_by_place(motor(), burn()).items():
            assert_allclose(heat.burn_through_by_place(padded, burn())[place], time, rtol=1e-12)

    def test_end_burner(self):
        burner = replace(motor(), grain=Grains(row(1), row(0.06), row(0.046), row(0.0), row(1)))
        assert np.isfinite(heat.liner_burn_through(burner, burn(seconds=8.0))[0])

    def test_burning_ends_widen_the_bare_length(self):
        found = heat.bare_length(motor(), one(5e-3))
        assert_allclose([found[place][0] for place in ("forward end", "joint", "aft end")], [5e-3, 10e-3, 5e-3])
        inhibited = heat.bare_length(motor(grain__burning_ends=0), one(5e-3))
        assert all(value[0] == 0.0 for value in inhibited.values())

    def test_gap_bares_the_case_from_ignition(self):
        times = heat.burn_through_by_place(motor(liner__gap=1e-3), burn())
        assert times["joint"][0] == times["forward end"][0] == times["aft end"][0] == 0.0
        assert times["mid-grain wall"][0] > 2.5


class TestRegression:
    def test_rate_wears_the_liner_through(self):
        subject = motor()
        worn = replace(subject.liner, material=replace(subject.liner.material, char_temperature=None, regression_rate=0.5e-3))
        found = heat.burn_through_by_place(replace(subject, liner=worn), burn())
        assert_allclose(found["joint"], 1.6e-3 / 0.5e-3, rtol=1e-6)

    def test_rate_follows_the_pressure(self):
        subject = motor()
        worn = replace(
            subject.liner,
            material=replace(subject.liner.material, char_temperature=None, regression_rate=0.5e-3, regression_at=2.5e6),
        )
        found = heat.burn_through_by_place(replace(subject, liner=worn), burn(pressure=5e6))
        assert_allclose(found["joint"], 1.6e-3 / (0.5e-3 * 2**0.8), rtol=1e-6)

    def test_wear_and_char_together_are_faster_than_either(self):
        subject = motor()
        both = replace(subject.liner, material=replace(subject.liner.material, regression_rate=0.2e-3))
        charred = heat.liner_burn_through(subject, burn())
        assert heat.liner_burn_through(replace(subject, liner=both), burn()) < min(charred[0], 1.6e-3 / 0.2e-3)

    def test_worn_liner_lets_the_case_heat(self):
        subject = motor()
        both = replace(subject.liner, material=replace(subject.liner.material, regression_rate=0.6e-3))
        assert heat.case_yield_hot(replace(subject, liner=both), burn()) < heat.case_yield_hot(subject, burn())


class TestHistory:
    @staticmethod
    def curve(pressure, pad=0):
        time = np.linspace(0.0, 2.5, pressure.size)
        flow = 0.75 / 2.5 * pressure / pressure.mean()
        columns = [time, pressure, pressure, pressure, flow, flow, flow, 0.014 * time / 2.5, flow]
        return Curve(*(np.concatenate([column, np.full(pad, np.nan)])[None] for column in columns))

    def test_flat_history_equals_the_means(self):
        flat = self.curve(np.full(200, 5e6))
        for rung in RUNGS:
            assert_allclose(rung(motor(), burn(end="aft", curve=flat)), rung(motor(), burn(end="aft")), rtol=2e-3)

    def test_padding_is_not_read(self):
        shape = 5e6 * np.linspace(1.3, 0.7, 150)
        for rung in RUNGS:
            assert_allclose(
                rung(motor(), burn(end="aft", curve=self.curve(shape, pad=40))),
                rung(motor(), burn(end="aft", curve=self.curve(shape))),
                rtol=1e-12,
            )

    def test_sampling_of_rows_of_different_length(self):
        time = np.array([[0.0, 1.0, 2.0, np.nan], [0.0, 1.0, 3.0, 4.0]])
        value = np.array([[0.0, 10.0, 0.0, np.nan], [4.0, 3.0, 1.0, 0.0]])
        found = heat._sampled(time, value, np.array([[0.5, 2.0], [1.5, 3.5], [9.0, 9.0]]))
        assert_allclose(found, [[5.0, 2.0], [5.0, 0.5], [0.0, 0.0]])

    @pytest.mark.parametrize("rung", RUNGS)
    def test_a_motor_that_does_not_burn_is_unknown_not_safe(self, rung):
        batch = motor().repeat(2)
        values = {name: np.array([value[0], np.nan]) for name, value in figures(1).values.items()}
        time = np.array([np.linspace(0, 2.5, 20), np.full(20, np.nan)])
        rows = [np.where(np.isnan(time), np.nan, 5e6), np.where(np.isnan(time), np.nan, 0.3), 0.0055 * time]
        curve = Curve(time, rows[0], rows[0], rows[1], rows[1], rows[1], rows[1], rows[2], rows[1])
        for history in (None, curve):
            found = rung(batch, Situation("aft", Figures(values, {}, "steady", history), np.full(2, 6e6)))
            assert np.isnan(found[1]) and found[0] > 0.0

    def test_early_peak_finds_a_cool_case(self):
        early = self.curve(5e6 * np.linspace(1.5, 0.5, 200))
        late = self.curve(5e6 * np.linspace(0.5, 1.5, 200))
        assert heat.case_yield_hot(motor(liner__thickness=0.8e-3), burn(curve=early)) > heat.case_yield_hot(
            motor(liner__thickness=0.8e-3), burn(curve=late)
        )

    def test_worst_moment_is_no_better_than_the_moment_of_the_peak(self):
        shape = 5e6 * np.linspace(1.05, 0.95, 200)
        cold = heat.yield_pressure_at(motor(), one(293.15))
        found = heat.case_yield_hot(motor(liner__thickness=0.6e-3), burn(curve=self.curve(shape)))
        assert found[0] < 0.98 * cold[0]


def test_soak_peaks_after_the_burn():
    now, wall = heat.wall_history(motor(), burn(seconds=2.5), "aft end", held=False)
    hottest = wall.time[np.argmax(wall.interface[:, 0]), 0]
    assert hottest > 3.0
    assert_allclose(now.time[-1], 2.5 + heat.SOAK)
    assert wall.interface[-1, 0] < wall.interface[:, 0].max()


class TestNotes:
    def test_liner(self):
        text = heat.liner_note(motor(), burn())
        assert text.startswith("first at the aft end;")
        assert "chars at 250 °C (482 °F) (remembered)" in text and "with its back insulated" in text
        assert "gap" in heat.liner_note(motor(liner__gap=0.002), burn())

    def test_case(self):
        text = heat.case_note(motor(), burn())
        assert "during the burn (aft end)" in text and "in the soak" in text
        assert "melting temperature" in heat.case_note(motor(liner__gap=0.002), burn())

    def test_seal(self):
        assert "reached after the burn" in heat.seal_note(motor(), burn(end="aft"))
        assert "reached in the burn" in heat.seal_note(motor(liner__gap=0.002), burn(end="aft"))
        assert "not reached" in heat.seal_note(motor(liner__thickness=9e-3), burn(end="forward", seconds=0.3))


class TestWhatIsMissing:
    def test_no_case(self):
        with pytest.raises(NotComputable, match=r"^\[case\] is not given"):
            heat.case_softening(replace(motor(), case=None), burn())

    @pytest.mark.parametrize("rung", RUNGS)
    def test_no_liner(self, rung):
        with pytest.raises(NotComputable, match=r"\[liner\] is not given|liner is not given"):
            rung(replace(motor(), liner=None), burn(end="forward"))

    def test_no_seal_material(self):
        subject = motor()
        plain = replace(subject.aft_closure, seal=replace(subject.aft_closure.seal, material=None))
        with pytest.raises(NotComputable, match=r"aft_closure\.seal\.material"):
            heat.seal_overheating(replace(subject, aft_closure=plain), burn(end="aft"))

    def test_no_seal(self):
        with pytest.raises(NotComputable, match=r"\[forward_closure\.seal\] is not given"):
            heat.seal_overheating(replace(motor(), forward_closure=None), burn(end="forward"))

    def test_no_figures(self):
        with pytest.raises(NotComputable, match="not evaluated"):
            heat.liner_burn_through(motor(), Situation())

    def test_material_without_a_number(self):
        subject = motor()
        poor = replace(subject.liner, material=replace(subject.liner.material, conductivity=None))
        with pytest.raises(NotComputable, match=r"liner\.material 'paper-phenolic' has no conductivity"):
            heat.liner_burn_through(replace(subject, liner=poor), burn())

    def test_material_that_neither_chars_nor_wears(self):
        subject = motor()
        poor = replace(subject.liner, material=replace(subject.liner.material, char_temperature=None))
        with pytest.raises(NotComputable, match="neither char_temperature nor regression_rate"):
            heat.liner_burn_through(replace(subject, liner=poor), burn())

    def test_case_without_hot_strength(self):
        subject = motor()
        poor = replace(subject.case, material=replace(subject.case.material, deratings={}))
        with pytest.raises(NotComputable, match="no table of strength"):
            heat.case_softening(replace(subject, case=poor), burn())

    def test_bare_case_has_no_liner_to_burn(self):
        with pytest.raises(NotComputable, match=r"liner\.thickness is 0"):
            heat.liner_burn_through(motor(liner__thickness=0.0), burn())
        assert heat.case_softening(motor(liner__thickness=0.0), burn())[0] < 2.5


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=20), st.floats(-4, 4))
def test_first_crossing(values, level):
    value = np.array(values)[:, None]
    time = np.arange(len(values), dtype=float)[:, None]
    found = first_crossing(time, value, level)[0]
    reached = np.flatnonzero(value[:, 0] >= level)
    if reached.size == 0:
        assert np.isinf(found)
    else:
        assert max(reached[0] - 1, 0) <= found <= reached[0]
