"""The heat rungs: what they ask for, how they move, and that a batch is the same as one by one."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from physics.heat import bench, marches, paths, places, rungs, seats, softening, summary, through, walls
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
    LinerFactors,
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


def figures(size=1, seconds=2.5, pressure=5e6, curve=None, mass=0.75):
    values = {
        "burn_time": seconds,
        "action_time": seconds,
        "mean_pressure": pressure,
        "propellant_mass": mass,
        "peak_head_pressure": 1.2 * pressure,
    }
    return Figures({name: np.full(size, float(value)) for name, value in values.items()}, {}, "steady", curve)


def burn(size=1, seconds=2.5, pressure=5e6, end="", curve=None, mass=0.75):
    return Situation(end, figures(size, seconds, pressure, curve, mass), np.full(size, 1.3 * pressure))


RUNGS = [through.liner_burn_through, softening.case_softening, softening.case_yield_hot, seats.seal_overheating]
PVC = replace(motor().liner, material=material("PVC", "liner"))


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
    assert_allclose(together, apart, rtol=1e-9)


def test_rungs_of_one_situation_share_their_marches():
    shared, alone = burn(end="aft"), [burn(end="aft") for _ in RUNGS]
    together = [rung(motor(), shared) for rung in RUNGS]
    assert len(shared.kept) >= 4
    assert_allclose(together, [rung(motor(), own) for rung, own in zip(RUNGS, alone, strict=True)], rtol=1e-12)


class TestWeakerPartFailsSooner:
    @settings(max_examples=6, deadline=None)
    @given(st.floats(0.8e-3, 2.4e-3), st.floats(1.05, 1.6))
    def test_thinner_liner(self, thickness, more):
        both = (thickness, more * thickness)
        thin, thick = (through.liner_burn_through(motor(liner__thickness=t), burn()) for t in both)
        assert thin <= thick

    def test_more_flow(self):
        low, high = (
            through.liner_burn_through(motor(liner__thickness=1e-3, propellant__density=density), burn(mass=mass))
            for density, mass in ((1700, 0.75), (2000, 1.5))
        )
        assert high < low

    @pytest.mark.parametrize(("key", "value"), [("decomposition_temperature", 600.0), ("heat_of_ablation", 0.8e6)])
    def test_own_numbers_stand_in_place_of_the_tables(self, key, value):
        subject = motor(liner__thickness=1e-3)
        weak = replace(subject, liner=replace(subject.liner, **{key: one(value)}))
        assert through.liner_burn_through(weak, burn()) < through.liner_burn_through(subject, burn())

    def test_thinner_case(self):
        thin, thick = (
            softening.case_softening(motor(liner__thickness=0.3e-3, case__wall=w), burn(pressure=3e6)) for w in (1.6e-3, 3.2e-3)
        )
        assert thin[0] < thick[0]

    def test_weaker_seal(self):
        subject = motor(forward_closure__plate_thickness=9e-3)
        viton = replace(subject.aft_closure.seal, material=material("fluoroelastomer", "seal"))
        plate = replace(subject.aft_closure, plate_material=material("6061-T6"))
        worse = replace(subject, aft_closure=plate)
        better = replace(subject, aft_closure=replace(plate, seal=viton))
        assert seats.seal_overheating(better, burn(end="aft")) > seats.seal_overheating(worse, burn(end="aft"))

    def test_welded_case(self):
        subject = motor()
        welded = replace(subject, case=replace(subject.case, heat_affected=True))
        assert softening.case_yield_hot(welded, burn())[0] < 0.6 * softening.case_yield_hot(subject, burn())[0]


class TestPlaces:
    def test_grain_protects_the_wall_until_its_web_is_gone(self):
        times = through.burn_through_by_place(motor(liner__thickness=1e-3), burn(seconds=2.5))
        assert times["mid-grain wall"][0] > 2.5
        assert times["aft end"][0] < times["mid-grain wall"][0]
        now = walls.conditions(motor(), burn(seconds=2.5), held=True)
        assert_allclose(walls.exposed_from(motor(), now), 2.5, rtol=1e-6)

    def test_a_thin_row_opens_the_wall_early(self):
        mixed = replace(motor(), grain=Grains(row(2, 2), row(0.075, 0.075), row(0.046, 0.046), row(0.018, 0.032), row(2, 2)))
        now = walls.conditions(mixed, burn(seconds=2.0), held=True)
        assert_allclose(walls.exposed_from(mixed, now), 2.0 * 7 / 14, rtol=2e-3)

    def test_one_grain_has_no_joint(self):
        single = motor(grain__count=1)
        assert np.isinf(through.burn_through_by_place(single, burn())["joint"][0])

    def test_an_absent_row_changes_nothing(self):
        padded = replace(motor(), grain=Grains(row(4, 0), row(0.075, 0), row(0.046, 0), row(0.018, 0), row(2, 0)))
        for place, time in through.burn_through_by_place(motor(), burn()).items():
            assert_allclose(through.burn_through_by_place(padded, burn())[place], time, rtol=1e-12)

    def test_end_burner(self):
        burner = replace(motor(liner__thickness=0.6e-3), grain=Grains(row(1), row(0.06), row(0.046), row(0.0), row(1)))
        assert np.isfinite(through.liner_burn_through(burner, burn(seconds=8.0))[0])

    def test_a_slot_shields_its_floor_at_first(self):
        at = places.setting(motor(), burn(), held=False)
        film = places.films(at, places.LIKELY)["joint"][0][:, 0]
        assert at.share[0, 0] < 0.1 and at.share[47, 0] == 1.0
        assert film[0] < 2.0 * at.own[0, 0] and film[20] < at.port[20, 0]

    def test_every_film_lies_within_its_band(self):
        at = places.setting(motor(), burn(), held=False)
        low, likely, high = (
            places.films(at, corner) for corner in (places.Corner("film", -1), places.LIKELY, places.Corner("film", 1))
        )
        for place in places.PLACES:
            assert (low[place][0] <= likely[place][0] + 1e-9).all() and (likely[place][0] <= high[place][0] + 1e-9).all()


class TestLimits:
    def test_stripped_goes_first_and_likely_lies_between(self):
        subject = motor(liner__thickness=1e-3)
        by = {
            corner: through.burn_through_by_place(subject, burn(), corner)["aft end"][0]
            for corner in (places.STRIPPED, places.LIKELY, places.STAYS)
        }
        assert by[places.STRIPPED] < by[places.LIKELY] <= by[places.STAYS]

    def test_pvc_strips_where_gas_flows_and_chars_where_it_is_still(self):
        subject = replace(motor(), liner=replace(PVC, thickness=one(2e-3)))
        stripped, likely = (through.burn_through_by_place(subject, burn(), corner) for corner in (places.STRIPPED, places.LIKELY))
        assert likely["aft end"] == stripped["aft end"] and likely["joint"] == stripped["joint"]
        assert likely["forward end"] > stripped["forward end"]

    @pytest.mark.parametrize("mode", ["liner burn-through", "case softening", "case yield hot", "seal overheating"])
    def test_low_likely_high(self, mode):
        subject = motor(liner__thickness=1.2e-3, liner__gap=3e-3)
        low, likely, high = rungs.band(mode, subject, burn(end="aft"))
        assert low[0] <= likely[0] <= high[0] and low[0] < high[0]
        _, _, scatter, rests_on = rungs.heat_certainty(mode, subject, burn(end="aft"))
        assert 0.0 < scatter < 2.0 and rests_on == "judgement"


class TestGaps:
    def test_width_and_place(self):
        narrow, wide = motor(liner__gap=2e-3), motor(liner__gap=12e-3)
        times = [softening.case_softening(subject, burn(seconds=2.0))[0] for subject in (narrow, wide)]
        assert times[0] > 1.25 * 2.0  # a narrow gap hands its heat to the tube beside it
        assert times[1] < 2.0

    def test_unknown_means_all_three_and_says_so(self):
        unknown = softening.case_softening_by_place(motor(liner__gap=6e-3), burn())
        assert {place for place in unknown if place.startswith("gap")} == {
            "gap at the forward end",
            "gap at the joint",
            "gap at the aft end",
        }
        known = replace(motor(), liner=replace(motor().liner, gap=None, gap_joint=one(6e-3)))
        found = softening.case_softening_by_place(known, burn())
        assert_allclose(found["gap at the joint"], unknown["gap at the joint"])
        assert "gap at the aft end" not in found
        assert "not known" in softening.case_note(motor(liner__gap=6e-3), burn())
        assert "not known" not in softening.case_note(known, burn())

    def test_no_joint_without_a_second_grain(self):
        single = motor(grain__count=1, liner__gap=6e-3)
        assert np.all(marches.gap_widths(single)["joint"] == 0.0)

    def test_the_widest_gap_is_the_one_that_just_stays_under(self):
        subject = motor()
        width = summary.widest_gap(subject, burn(), "aft end")
        assert 0.5e-3 < width < 20e-3
        at = places.setting(subject, burn(), held=False)
        ring = marches.bare(at, "aft end", one(width), places.Corner("gap", -1), held=False)
        assert_allclose(293.15 + ring.ring.bore.max(), walls.LASTING_LOSS, rtol=0.02)


class TestRegression:
    def worn(self, **changes):
        subject = motor()
        return replace(subject, liner=replace(subject.liner, **changes))

    def test_rate_wears_the_liner_through(self):
        found = through.burn_through_by_place(self.worn(regression_rate=one(0.5e-3)), burn())
        assert_allclose(found["joint"], 1.6e-3 / 0.5e-3, rtol=2e-2)

    @pytest.mark.parametrize(("exponent", "power"), [(None, 0.8), (one(0.5), 0.5)])
    def test_rate_follows_the_pressure(self, exponent, power):
        worn = self.worn(regression_rate=one(0.5e-3), regression_at=one(2.5e6), regression_exponent=exponent)
        found = through.burn_through_by_place(worn, burn(pressure=5e6))
        assert_allclose(found["joint"], 1.6e-3 / (0.5e-3 * 2**power), rtol=2e-2)

    def test_of_the_material(self):
        own = replace(motor().liner.material, regression_rate=0.5e-3)
        found = through.burn_through_by_place(self.worn(material=own), burn())
        assert_allclose(found["joint"], 1.6e-3 / 0.5e-3, rtol=2e-2)

    def test_worn_liner_lets_the_case_heat(self):
        worn = self.worn(regression_rate=one(0.9e-3))
        assert softening.case_yield_hot(worn, burn()) < softening.case_yield_hot(motor(), burn())


def factored(subject, **factors):
    columns = {name: one(value) for name, value in factors.items()}
    return replace(subject, liner=replace(subject.liner, measured=LinerFactors(**columns)))


class TestMeasuredLiner:
    """A depth measured in a test moves the rungs of its place, and narrows them."""

    @pytest.mark.parametrize("factor", [0.5, 1.0, 1.6])
    def test_depth_is_the_model_times_the_factor(self, factor):
        """Of a liner that wears at a given rate the time is exact: thickness over factor times rate."""
        worn = replace(motor(), liner=replace(motor().liner, regression_rate=one(0.5e-3)))
        found = through.burn_through_by_place(factored(worn, joint=factor), burn())
        assert_allclose(found["joint"], 1.6e-3 / (factor * 0.5e-3), rtol=2e-2)
        assert_allclose(found["aft end"], through.burn_through_by_place(worn, burn())["aft end"], rtol=1e-9)

    def test_what_is_left(self):
        plain, known = (
            {place: likely for place, _, likely, _ in summary.heat_summary(subject, burn(seconds=1.5)).liner_left}
            for subject in (motor(liner__thickness=4e-3), factored(motor(liner__thickness=4e-3), aft=1.5))
        )
        assert_allclose(4e-3 - known["aft end"], 1.5 * (4e-3 - plain["aft end"]), rtol=0.02)
        assert known["joint"] == pytest.approx(plain["joint"])

    @settings(max_examples=5, deadline=None)
    @given(st.floats(0.3, 2.0), st.floats(1.05, 1.8))
    def test_more_wear_never_lasts_longer(self, factor, more):
        """Nothing is said of the outside: what is carried off takes its heat along, and less liner may mean a cooler tube."""
        less, worse = (factored(motor(liner__thickness=1.2e-3), aft=f, joint=f) for f in (factor, factor * more))
        for rung in (through.liner_burn_through, softening.case_softening):
            assert rung(worse, burn())[0] <= rung(less, burn())[0] * 1.001

    def test_the_band_is_that_of_the_carrying_over(self):
        everywhere = {"forward": 1.0, "joint": 1.0, "aft": 1.0, "wall": 1.0}
        subject, known = motor(liner__thickness=1.2e-3), factored(motor(liner__thickness=1.2e-3), **everywhere)
        wide, narrow = (rungs.band("liner burn-through", one_of, burn()) for one_of in (subject, known))
        assert narrow[1] == pytest.approx(wide[1])
        assert wide[0] < narrow[0] < narrow[1] < narrow[2] < wide[2]
        worse = through.burn_through_by_place(factored(motor(liner__thickness=1.2e-3), aft=1.4), burn())["aft end"]
        assert narrow[0] == pytest.approx(worse)

    def test_a_note_says_so(self):
        assert "as a test measured: 1.3 times" in through.liner_note(factored(motor(liner__thickness=1.2e-3), aft=1.3), burn())

    def test_a_mild_test_that_goes_well_is_not_carried(self):
        well, ill = (bench.Measured("aft end", 0.0, 1e-3, factor) for factor in (0.6, 1.3))
        assert bench.carried(well, bench.COVERED) == (0.6, 1.4)
        assert bench.carried(well, bench.CHARRING) is None
        assert bench.carried(ill, bench.NOT_COVERED) == (1.3, 2.5)

    def test_factor_of_what_was_predicted_is_one(self):
        subject, hot = motor(), burn().figures
        predicted = bench.predicted_loss(subject, hot)
        found = bench.measured_factors(factored(subject, aft=3.0), hot, predicted)
        assert {one.place for one in found} >= {"forward end", "joint", "aft end"}
        assert all(one.factor == pytest.approx(1.0) and not one.gone for one in found)
        (none,) = bench.measured_factors(subject, hot, {"aft end": 0.0})
        assert none.factor == pytest.approx(bench.READING / predicted["aft end"])


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
        found = walls._Sampled(time, np.array([[0.5, 2.0], [1.5, 3.5], [9.0, 9.0]])).column(value)
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
        thin = motor(liner__gap=3e-3)
        assert softening.case_yield_hot(thin, burn(curve=early)) > softening.case_yield_hot(thin, burn(curve=late))

    def test_worst_moment_is_no_better_than_the_moment_of_the_peak(self):
        shape = 5e6 * np.linspace(1.05, 0.95, 200)
        cold = walls.yield_pressure_at(motor(), one(293.15))
        found = softening.case_yield_hot(motor(liner__gap=3e-3), burn(curve=self.curve(shape)))
        assert found[0] < 0.98 * cold[0]


class TestUntil:
    """What a search asks: whether a time is reached within so many burns; what comes later may be infinite."""

    @pytest.mark.parametrize("rung", [through.liner_burn_through, softening.case_softening])
    @pytest.mark.parametrize("gap", [0.0, 6e-3])
    def test_verdicts_are_those_of_the_whole_time(self, rung, gap):
        walls_ = np.geomspace(0.5e-3, 3e-3, 14)
        batch = motor().repeat(14).with_values({"liner.thickness": walls_, "liner.gap": np.full(14, gap)})
        whole = rung(batch, burn(14))
        for until in (1.0, 1.25, 2.0):
            cut = rung(batch, replace(burn(14), until=until))
            early = whole <= until * 2.5
            assert early.sum() > 0
            assert_allclose(cut[early], whole[early], rtol=1e-9)
            assert (cut[~early] > until * 2.5).all()

    def test_pressure_of_the_hot_case_is_the_same(self):
        subject = motor(liner__thickness=1.2e-3)
        sooner = softening.case_yield_hot(subject, replace(burn(), until=1.25))
        assert sooner == pytest.approx(softening.case_yield_hot(subject, burn()))


class TestGasPaths:
    def paths(self, **changes):
        subject = motor()
        lined = replace(subject, liner=replace(subject.liner, gap=None, **changes))
        hot = figures()
        values = dict(hot.values) | {"peak_pressure": one(5e6), "peak_head_pressure": one(5.1e6)}
        return paths.gas_paths(lined, Situation("", replace(hot, values=values)))

    def test_one_gap_only_fills(self):
        assert self.paths(gap_joint=one(2e-3)) == ()

    def test_two_gaps_are_a_way_and_it_grows_with_the_cube_of_the_room(self):
        thin, wide = (self.paths(gap_forward=one(2e-3), gap_aft=one(2e-3), gap_behind=one(room)) for room in (1e-4, 2e-4))
        assert (thin[0].start, thin[0].end, thin[0].assumed) == ("forward end", "aft end", False)
        assert_allclose(wide[0].flow / thin[0].flow, 8.0)
        assert wide[0].hot_after <= thin[0].hot_after

    def test_room_is_assumed_where_it_is_not_given(self):
        (path,) = self.paths(gap_forward=one(2e-3), gap_joint=one(2e-3))
        assert path.assumed and path.room == paths.ROOM_BEHIND

    def test_a_gap_that_leads_out(self):
        (path,) = self.paths(gap_aft=one(2e-3), gap_flow=("aft end",))
        assert path.end == paths.OUT and path.hot_after < 0.2

    def test_a_gap_that_may_be_anywhere_is_one_gap(self):
        assert self.paths(gap_joint=one(2e-3)) == ()
        subject = motor(liner__gap=2e-3)
        assert paths.gas_paths(subject, burn()) == ()

    @staticmethod
    def rung(*, given=True, flow=(), **widths):
        columns = {"gap_behind": one(0.2e-3)} if given else {}
        columns |= {f"gap_{place}": one(2e-3) for place in widths}
        lined = replace(motor(liner__thickness=4e-3), liner=replace(motor(liner__thickness=4e-3).liner, gap_flow=flow, **columns))
        hot = figures()
        values = dict(hot.values) | {"peak_pressure": one(5e6), "peak_head_pressure": one(5.2e6)}
        now = Situation("", replace(hot, values=values), np.full(1, 6.5e6))
        return softening.case_softening_by_place(lined, now), softening.case_note(lined, now)

    def test_a_way_that_the_file_gives_moves_the_rungs(self):
        one_gap, _ = self.rung(forward=True)
        way, note = self.rung(forward=True, aft=True)
        entry = "gas behind the liner at the forward end"
        assert set(way) - set(one_gap) == {entry, "gap at the aft end"}
        assert way[entry] < min(one_gap.values()) and "gas runs behind the liner from the forward end" in note

    def test_the_seal_beside_the_entry_is_warmed(self):
        seats_of = []
        for places_of_gaps in ({"forward": True}, {"forward": True, "aft": True}):
            columns = {"gap_behind": one(0.2e-3)} | {f"gap_{place}": one(2e-3) for place in places_of_gaps}
            lined = replace(motor(), liner=replace(motor().liner, **columns))
            hot = figures()
            values = dict(hot.values) | {"peak_pressure": one(5e6), "peak_head_pressure": one(5.2e6)}
            now = Situation("forward", replace(hot, values=values), np.full(1, 6.5e6))
            seats_of.append(seats.seat_history(lined, now)["along the tube"][1].max())
        assert seats_of[1] > seats_of[0] + 20.0

    def test_the_outside_opposite_the_entry_is_told(self):
        columns = {"gap_behind": one(0.2e-3), "gap_forward": one(2e-3), "gap_aft": one(2e-3)}
        lined = replace(motor(), liner=replace(motor().liner, **columns))
        hot = figures()
        values = dict(hot.values) | {"peak_pressure": one(5e6), "peak_head_pressure": one(5.2e6)}
        now = Situation("", replace(hot, values=values), np.full(1, 6.5e6))
        entry = paths.entries(lined, now, False)["forward end"]
        forward, *_ = summary.heat_summary(lined, now).outside
        assert forward.readings.peak[0] >= 0.98 * (293.15 + entry.ring.outside.max())

    def test_an_assumed_room_is_told_and_moves_nothing(self):
        assert not any("behind" in place for place in self.rung(given=False, forward=True, aft=True)[0])

    def test_what_leads_out_fails_at_once(self):
        out, _ = self.rung(given=False, flow=("joint",), joint=True)
        assert out["gas behind the liner at the joint"] < 0.3

    def test_the_flow_follows_the_fall_along_the_port(self):
        """Where the pressure falls half as far the flow is half as much, and the entry stays cooler."""
        lined = replace(motor(), liner=replace(motor().liner, gap_forward=one(2e-3), gap_aft=one(2e-3), gap_behind=one(2e-4)))
        flows, tops = [], []
        for fall in (1e5, 2e5):
            hot = figures()
            values = dict(hot.values) | {"peak_pressure": one(5e6), "peak_head_pressure": one(5e6 + fall)}
            now = Situation("", replace(hot, values=values), np.full(1, 6.5e6))
            (way,) = paths.ways(lined, now, False)
            flows.append(way.flow[0] / (5e6 + fall))
            tops.append(paths.entries(lined, now, False)["forward end"].ring.bore.max())
        assert_allclose(flows[1] / flows[0], 2.0, rtol=1e-9)
        assert tops[1] > tops[0] + 20.0


class TestSummary:
    def test_outside_peaks_after_the_burn(self):
        found = summary.heat_summary(motor(), burn(seconds=2.5))
        assert [one.place for one in found.outside] == list(places.PLACES)
        for place in found.outside[:3]:
            assert place.readings.at[0] > 3.0
            assert place.low <= place.readings.peak[0] <= place.high
            assert place.readings.after[0, 0] < place.readings.peak[0] > place.readings.after[-1, 0]

    def test_liner_left(self):
        for _, low, likely, high in summary.heat_summary(motor(), burn()).liner_left:
            assert 0.0 <= low <= likely <= high <= 1.6e-3

    def test_without_a_liner_the_gaps_are_told(self):
        bare = replace(motor(), liner=None)
        found = summary.heat_summary(bare, burn())
        assert not found.outside and len(found.widest_gap) == 3 and "[liner]" in found.missing[0]

    def test_nothing_to_tell(self):
        with pytest.raises(NotComputable, match=r"\[liner\]|\[case\]"):
            summary.heat_summary(replace(motor(), case=None, liner=None), burn())


class TestNotes:
    def test_liner(self):
        text = through.liner_note(motor(liner__thickness=1e-3), burn())
        assert text.startswith("first at the aft end;")
        assert "with all char stripped" in text and "with all of it staying" in text and "judgement" in text

    def test_case(self):
        text = softening.case_note(motor(), burn())
        assert "during the burn" in text and "in the soak" in text
        assert "melting temperature" in softening.case_note(motor(liner__gap=0.03), burn())

    def test_seal(self):
        carried = replace(
            motor(), aft_closure=replace(motor().aft_closure, plate_material=material("6061-T6"), plate_thickness=one(9e-3))
        )
        assert "reached through the carrier" in seats.seal_note(carried, burn(end="aft"))
        assert "not reached" in seats.seal_note(motor(liner__thickness=9e-3), burn(end="forward", seconds=0.3))
        assert "fails at once" in seats.seal_note(motor(), burn(end="aft"))


class TestBench:
    def loads(self, subject, seconds=2.5):
        shape = np.full(200, 5e6)
        time = np.linspace(0.0, seconds, 200)
        total = float(subject.grain.count.sum())
        flow = 0.1875 * total / seconds * np.ones(200)
        columns = [time, shape, shape, shape, flow, flow, flow, 0.014 * time / seconds, flow]
        curve = Curve(*(column[None] for column in columns))
        return bench.loads(subject, figures(1, seconds, 5e6, curve))

    def test_one_grain_for_four(self):
        found = {item.place: item for item in bench.coverage(self.loads(motor()), self.loads(motor(grain__count=1)))}
        assert found["forward end"].verdict == bench.COVERED
        assert found["joint"].verdict == bench.NOT_COVERED and "two grains" in found["joint"].needs
        assert found["aft end"].verdict == bench.CHARRING and found["aft end"].ratios["shear"] < 0.2

    def test_itself(self):
        assert all(item.verdict == bench.COVERED for item in bench.coverage(self.loads(motor()), self.loads(motor())))

    def test_in_the_open(self):
        found = bench.loads(motor(grain__count=1), bench.open_burn(motor(grain__count=1)))
        by = {item.place: item for item in bench.coverage(self.loads(motor()), found, in_case=False)}
        assert by["aft end"].verdict == bench.CHARRING
        assert by["aft end"].ratios["exposed time"] > 1.5 and by["aft end"].ratios["pressure"] == 0.0

    def test_open_burn_consumes_the_propellant(self):
        subject = replace(motor(), grain=Grains(row(2, 1), row(0.075, 0.05), row(0.046, 0.046), row(0.018, 0.03), row(2, 0)))
        burnt = bench.open_burn(subject)
        volume = np.pi / 4 * (2 * 0.075 * (0.046**2 - 0.018**2) + 0.05 * (0.046**2 - 0.03**2))
        assert_allclose(burnt["propellant_mass"], 1700 * volume, rtol=5e-3)


class TestWhatIsMissing:
    def test_no_case(self):
        with pytest.raises(NotComputable, match=r"^\[case\] is not given"):
            softening.case_softening(replace(motor(), case=None), burn())

    @pytest.mark.parametrize("rung", RUNGS)
    def test_no_liner(self, rung):
        with pytest.raises(NotComputable, match=r"\[liner\] is not given|liner is not given"):
            rung(replace(motor(), liner=None), burn(end="forward"))

    def test_no_seal_material(self):
        subject = motor()
        plain = replace(subject.aft_closure, seal=replace(subject.aft_closure.seal, material=None))
        with pytest.raises(NotComputable, match=r"aft_closure\.seal\.material"):
            seats.seal_overheating(replace(subject, aft_closure=plain), burn(end="aft"))

    def test_no_seal(self):
        with pytest.raises(NotComputable, match=r"\[forward_closure\.seal\] is not given"):
            seats.seal_overheating(replace(motor(), forward_closure=None), burn(end="forward"))

    def test_no_figures(self):
        with pytest.raises(NotComputable, match="not evaluated"):
            through.liner_burn_through(motor(), Situation())

    def test_material_without_a_number(self):
        subject = motor()
        poor = replace(subject.liner, material=replace(subject.liner.material, conductivity=None))
        with pytest.raises(NotComputable, match=r"liner\.material 'paper-phenolic' has no conductivity"):
            through.liner_burn_through(replace(subject, liner=poor), burn())

    def test_material_that_neither_chars_nor_wears(self):
        subject = motor()
        poor = replace(subject.liner, material=replace(subject.liner.material, char_temperature=None))
        with pytest.raises(NotComputable, match="neither char_temperature nor regression_rate"):
            through.liner_burn_through(replace(subject, liner=poor), burn())

    def test_case_without_hot_strength(self):
        subject = motor()
        poor = replace(subject.case, material=replace(subject.case.material, deratings={}))
        with pytest.raises(NotComputable, match="no table of strength"):
            softening.case_softening(replace(subject, case=poor), burn())

    def test_bare_case_has_no_liner_to_burn(self):
        with pytest.raises(NotComputable, match=r"liner\.thickness is 0"):
            through.liner_burn_through(motor(liner__thickness=0.0), burn())
        assert softening.case_softening(motor(liner__thickness=0.0), burn())[0] < 2.5


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
