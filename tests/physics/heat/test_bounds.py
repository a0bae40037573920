"""Places that are not marched, against marching every place: an adversary of random motors, and what is then left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scenario import AFT, AMBIENT, CASE, FORWARD, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, SEAL, changed, named

from optimizer.inputs import motor_from_text
from physics.ballistics import kernel
from physics.heat import bounds, seats, softening, through, walls
from physics.heat.marches import kept
from physics.heat.places import PLACES
from physics.motors import Situation

LINERS = ("PVC", "kraft paperboard", "paper-phenolic", "phenolic resin", "G10", "epoxy resin", "EPDM", "canvas phenolic liner")
METALS = ("6061-T6", "7075-T6", "4130 normalized")
RINGS = SEAL + 'material = "NBR"\n'
MODES = {
    "liner burn-through": (through.liner_burn_through, through.burn_through_by_place),
    "case softening": (softening.case_softening, softening.case_softening_by_place),
    "case yield hot": (softening.case_yield_hot, softening.case_yield_hot_by_place),
}


def alike(left, right) -> bool:
    """The same but for rounding: where a motor stands in a batch moves the last digits of what is read off its history."""
    return np.allclose(left, right, rtol=1e-9, atol=0.0)


def text_of(liner: str, metal: str, more: str = "") -> str:
    return "\n" + "".join(
        (
            named("Invented"), PROPELLANT, changed(RATE, ("0.7 MPa", "0.1 MPa"), ("9 MPa", "12 MPa")), GRAINS, NOZZLE,
            changed(CASE, ('"6061-T6"', f'"{metal}"'), ("330 mm", "900 mm")),
            changed(LINER, ('"paper-phenolic"', f'"{liner}"')) + more, FORWARD + RINGS,
            AFT + RINGS.replace("forward", "aft"), AMBIENT,
        )
    )  # fmt: skip


def drawn(liner: str, metal: str, count: int, seed: int, more: str = ""):
    """Random motors of two materials that burn, with a few walls among them, figures and histories."""
    draw = np.random.default_rng(seed)
    one = motor_from_text(text_of(liner, metal, more), Path("one.toml")).motors
    batch = one.repeat(count)
    wall = draw.choice(draw.uniform(1e-3, 6e-3, 1), count)
    thickness = draw.choice(draw.uniform(0.4e-3, 5e-3, 2), count)
    outer = 57.2e-3 - 2.0 * wall - 2.0 * thickness
    core = draw.uniform(0.25, 0.6, count) * outer
    grain = replace(
        batch.grain,
        count=draw.integers(1, 9, count).astype(float)[:, None],
        length=draw.uniform(1.0, 2.2, count)[:, None] * outer[:, None],
        outer_diameter=outer[:, None],
        core_diameter=core[:, None],
    )
    throat = draw.uniform(0.4, 0.95, count) * core
    nozzle = replace(batch.nozzle, throat_diameter=throat, exit_diameter=2.5 * throat)
    case = replace(batch.case, wall=wall)
    batch = replace(batch, grain=grain, nozzle=nozzle, case=case, liner=replace(batch.liner, thickness=thickness))
    figures = kernel.evaluate(batch, curve=True)
    rows = np.flatnonzero(np.isfinite(figures["action_time"]) & (figures["action_time"] > 0.0))
    return batch.take(rows), figures.take(rows), draw


def asked(motors, figures, until: float, enough=None, end: str = "", short=None) -> Situation:
    return Situation(end, figures, 1.15 * figures["peak_head_pressure"], {}, until, enough, short)


def same_verdicts(liner: str, metal: str, count: int, seed: int, more: str = "") -> tuple[int, int]:
    """Ask every rung with places left out and with none left out; gives back how many places there were and how many of
    them were marched."""
    motors, figures, draw = drawn(liner, metal, count, seed, more)
    until = float(draw.uniform(1.0, 2.2))
    expected = 1.15 * figures["peak_head_pressure"]
    enough = expected * draw.uniform(0.5, 3.0, motors.size)
    spare, full = asked(motors, figures, until, enough), asked(motors, figures, until)
    for mode, (rung, by_place) in MODES.items():
        quick = rung(motors, spare)
        exact = np.min(list(by_place(motors, full).values()), axis=0)
        most = enough if mode == "case yield hot" else until * figures["action_time"]
        matters = exact < most
        assert alike(quick[matters], exact[matters]), mode
        assert not (quick[~matters] < most[~matters] * (1.0 - 1e-9)).any(), mode
        factor = 0.9 * until
        failing = factor * (expected if mode == "case yield hot" else figures["action_time"])
        told = rung(motors, asked(motors, figures, until, np.maximum(enough, failing), short=factor))
        assert ((told < failing) == (exact < failing)).all(), mode
    for end in ("forward", "aft")[: 2 if seed % 3 == 0 else 0]:  # the soak takes as long as all else
        spare_end = replace(spare, end=end)
        quick = seats.seal_overheating(motors, spare_end)
        exact = np.min(list(seats.seal_overheating_by_way(motors, replace(full, end=end)).values()), axis=0)
        matters = exact < until * figures["action_time"]
        assert alike(quick[matters], exact[matters])
        assert not (quick[~matters] < until * figures["action_time"][~matters] * (1.0 - 1e-9)).any()
    holds(motors, figures, full)
    marched = sum(len(part[0]) for place in PLACES for part in spare.kept.get(f"part {place}", []))
    return len(PLACES) * motors.size, marched


def holds(motors, figures, whole: Situation) -> None:
    """The theorem itself, at every place of every motor: no liner is through sooner than the hotter wall says, and no bore
    gets hotter."""
    known = bounds.least(motors, whole)
    times = through.burn_through_by_place(motors, whole)
    bores = softening._bores(motors, whole, True, softening.LIKELY)
    for place in PLACES:
        assert (times[place] >= known.through[place]).all(), place
        for share in (0.3, 0.7, 1.0, whole.until):
            when = share * figures["action_time"]
            time, top, _ = bores[place]
            reached = np.array([np.interp(when[n], time[:, n], top[:, n]) for n in range(motors.size)])
            assert (reached <= known.bores(place, when) + 1e-9).all(), place


@pytest.mark.parametrize("liner", [LINERS[0], *(pytest.param(liner, marks=pytest.mark.slow) for liner in LINERS[1:])])
def test_what_is_left_out_changes_no_verdict(liner):
    """Some two thousand random motors: 8 liners, 2 metals, liners of 0.4 to 5 mm, 1 to 8 grains."""
    every, marched = (
        sum(column)
        for column in zip(*(same_verdicts(liner, metal, 110, seed) for seed, metal in enumerate(METALS[:2])), strict=True)
    )
    assert 0 < marched < 0.8 * every, "nothing was left out"


def test_a_weak_char_under_a_strong_film():
    """What an adversary found where the hotter wall's own steps were too coarse: 0.2 mm of char that stays, 7 kW/m2K."""
    motors, figures, _ = drawn("kraft paperboard", "6061-T6", 150, 1002)
    wall = replace(motors.liner, thickness=np.full(motors.size, 2.448e-3))
    motors = replace(motors, liner=wall, case=replace(motors.case, wall=np.full(motors.size, 2.8e-3)))
    whole = asked(motors, figures, 2.0)
    holds(motors, figures, whole)
    assert (bounds.least(motors, whole).through["aft end"] < 1.4).all()  # 1.96 s with 120 steps


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 120))
@pytest.mark.parametrize("liner", LINERS)
def test_what_is_left_out_changes_no_verdict_of_a_hundred_thousand(liner, seed):
    """Of many more of them, gaps among them."""
    for metal in METALS:
        same_verdicts(liner, metal, 200, seed, '[[liner.gap]]\nplace = "forward end"\nwidth = "1 mm"\n' if seed % 4 == 0 else "")


@pytest.mark.parametrize(
    "more", ['[[liner.gap]]\nplace = "aft end"\nwidth = "2 mm"\n', 'regression_rate = "0.3 mm/s"\nregression_at = "4 MPa"\n']
)
def test_gaps_and_measured_wear_are_marched(more):
    same_verdicts("paper-phenolic", "6061-T6", 120, 7, more)


def test_no_wall_of_its_own_for_each_motor():
    """Where nearly every motor has a wall of its own the hotter walls would not repay themselves; the answers are the same."""
    motors, figures, _ = drawn("EPDM", "6061-T6", 60, 3)
    own = replace(motors, liner=replace(motors.liner, thickness=np.linspace(1e-3, 3e-3, motors.size)))
    spare = asked(own, figures, 1.25)
    assert all((bounds.least(own, spare).through[place] == 0.0).all() for place in ("aft end", "forward end"))
    quick, exact = through.liner_burn_through(own, spare), through.burn_through_by_place(own, asked(own, figures, 1.25))
    matters = np.min(list(exact.values()), axis=0) < 1.25 * figures["action_time"]
    assert alike(quick[matters], np.min(list(exact.values()), axis=0)[matters])


def test_the_burn_may_outlast_the_action_time():
    """The hotter bore must hold to the end of the pressure, not of the action time."""
    motors, figures, _ = drawn("EPDM", "6061-T6", 200, 11)
    figures = replace(figures, values={**figures.values, "action_time": 0.7 * figures["burn_time"]})
    enough = 1.15 * figures["peak_head_pressure"] * 1.5
    spare, full = asked(motors, figures, 1.0, enough), asked(motors, figures, 1.0)
    end = kept(motors, full, True).now.end
    assert np.allclose(end, figures["burn_time"]) and (bounds.long_enough(motors, full) > end).all()
    exact = np.min(list(softening.case_yield_hot_by_place(motors, full).values()), axis=0)
    quick = softening.case_yield_hot(motors, spare)
    assert alike(quick[exact < enough], exact[exact < enough]) and (quick[exact >= enough] >= enough[exact >= enough]).all()


def test_a_single_motor_is_told_in_full():
    """Where nothing says what is enough, as in `check`, every place is marched."""
    motors, figures, _ = drawn("paper-phenolic", "6061-T6", 5, 2)
    whole = Situation("", figures, 1.15 * figures["peak_head_pressure"])
    assert not bounds.applies(motors, whole)
    exact = through.burn_through_by_place(motors, whole)
    assert alike(through.liner_burn_through(motors, whole), np.min(list(exact.values()), axis=0))
    assert set(exact) == set(PLACES) and walls.burns(whole).all()
