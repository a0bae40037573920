"""What a turn answers: what the file would give, differences, words, heat that follows, refusals as the reader has them."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from optimizer.candidates.batch import assessed_together, joined
from optimizer.inputs import load_motor, motor_from_text
from optimizer.live.bench import HEAT_MODES, Bench, UnknownKnob, order_words
from optimizer.live.remedies import question, remedies
from physics.assessment import assess

STUDIES = Path(__file__).resolve().parents[3] / "studies"
STARTER = Path(__file__).resolve().parents[3] / "optimizer" / "starter"


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("live") / "studies"
    shutil.copytree(STUDIES, folder)
    return Bench.of(folder / "motors" / "curlew.toml")


def plain(markup: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", markup))


def test_a_whole_answer_says_what_a_file_with_those_values_gives(bench):
    values = {"nozzle.throat_diameter": "12.5 mm", "forward_closure.count": "12"}
    text = bench.file.text.replace('"13 mm"', '"12.5 mm"', 1).replace("count = 10", "count = 12", 1)
    told = assess(motor_from_text(text, bench.file.path).motors, curve=True)
    found = bench.answer(values, whole=True)
    assert found["ok"] and found["verdict"] == bool(told.ok[0]) and not found["following"]
    ladder = plain(found["panels"]["ladder"])
    for rung in told.ladder.rungs:
        factor = float(np.ravel(rung.factor)[0])
        if np.isfinite(factor):
            assert f"×{factor:.2f}" in ladder, rung.mode


def test_a_quick_answer_agrees_with_the_whole_one_and_marks_heat_as_following(bench):
    values = {"nozzle.throat_diameter": "12.1 mm"}
    quick, whole = bench.answer(values, tab="fresh"), bench.answer(values, whole=True, tab="fresh")
    assert quick["following"] and not whole["following"]
    rungs = [re.findall(r'data-rung="([^"]+)".*?<span class="at">([^<]*)<', one["panels"]["ladder"]) for one in (quick, whole)]
    told = [{name: at for name, at in found if name.split(", ")[0] not in HEAT_MODES} for found in rungs]
    assert told[0] == told[1] and len(told[0]) > 10
    assert "Heat follows" in quick["panels"]["verdict"] and "Heat follows" not in whole["panels"]["verdict"]


def test_heat_that_follows_is_that_of_the_last_whole_answer(bench):
    bench.answer({"nozzle.throat_diameter": "11.5 mm"}, whole=True, tab="a tab")
    quick = bench.answer({"nozzle.throat_diameter": "11.4 mm"}, tab="a tab")
    rows = re.findall(r'<li class="rung([^"]*)" data-rung="([^"]+)"', quick["panels"]["ladder"])
    marked = {name.split(", ")[0] for style, name in rows if "following" in style}
    assert marked and marked <= HEAT_MODES


def test_nothing_turned_is_the_file(bench):
    found = bench.answer({})
    assert found["ok"] and found["changes"] == [] and found["words"] == []
    assert 'class="start"' not in found["panels"]["ladder"]
    assert bench.answer({"nozzle.throat_diameter": "13 mm"})["changes"] == []


def test_panels_that_are_the_same_are_not_sent_again(bench):
    first = bench.answer({"forward_closure.grade": "A4-70"})
    again = bench.answer({"forward_closure.grade": "A4-70"}, have=first["digests"])
    assert again["panels"] == {} and again["digests"] == first["digests"]


@pytest.mark.parametrize(
    ("name", "text", "knob", "said"),
    [
        ("nozzle.throat_diameter", "13", "nozzle.throat_diameter", "has no unit"),
        ("nozzle.throat_diameter", "13 mmm", "nozzle.throat_diameter", "unit"),
        ("nozzle.throat_diameter", "0,5 in", "nozzle.throat_diameter", ""),
        ("nozzle.throat_diameter", "-3 mm", "nozzle.throat_diameter", "negative"),
        ("nozzle.throat_diameter", "40 mm", "nozzle.exit_diameter", "smaller than the throat"),
        ("forward_closure.count", "many", "forward_closure.count", "whole number"),
        ("grain.0.core_diameter", "47 mm", "grain.0.core_diameter", "not inside the grain"),
        ("grain.0.count", "9", "case.length", "shorter than the grains"),
    ],
)
def test_what_cannot_be_is_refused_in_the_words_of_the_reader(bench, name, text, knob, said):
    found = bench.answer({name: text})
    assert not found["ok"] and "panels" not in found
    assert found["problems"][0]["knob"] == knob
    assert said in found["problems"][0]["problem"] and found["problems"][0]["fix"]


@pytest.mark.parametrize("text", ["0.5 in", "1/2 in", "12.7 mm", "1.27 cm"])
def test_any_quantity_of_the_grammar_is_taken(bench, text):
    found = bench.answer({"nozzle.throat_diameter": text})
    assert found["ok"] and abs(found["values"]["nozzle.throat_diameter"] - 0.0127) < 1e-12


@pytest.mark.parametrize("values", [[], {"propellant.use": "/etc/passwd"}, {"case.wall": 3}, {"case.wall": "3 mm\n"},
                                    {"case.wall": "9" * 200}, {"grain.7.length": "1 mm"}, {"name": "x"}])  # fmt: skip
def test_what_is_no_knob_is_refused(bench, values):
    with pytest.raises(UnknownKnob):
        bench.answer(values)


@pytest.mark.slow
def test_each_change_is_told_with_what_it_does_alone(bench):
    found = bench.answer({"nozzle.throat_diameter": "14 mm", "grain.0.length": "80 mm"}, whole=True)
    changes = {change["knob"]: change for change in found["changes"]}
    assert "13 mm → 14 mm" in changes["nozzle.throat_diameter"]["text"]
    alone = bench.answer({"nozzle.throat_diameter": "14 mm"}, whole=True)["changes"][0]["alone"]
    assert changes["nozzle.throat_diameter"]["alone"] == alone
    assert "maximum expected pressure −" in alone and "total impulse −" in alone


def test_a_pinned_motor_stands_beside(bench):
    found = bench.answer({"nozzle.throat_diameter": "12 mm"}, pinned={"nozzle.throat_diameter": "14 mm"})
    assert 'class="pinned"' in found["panels"]["ladder"]
    assert ">pinned</th>" in found["panels"]["figures"]


def test_order_is_told_in_words():
    def row(mode: str, pressure: float, ok: bool = True) -> dict:
        return {"mode": mode, "part": "case", "pressure": pressure, "time": None, "kind": "yield", "ok": ok}

    before = [row("a", 1.0), row("b", 2.0), row("c", 3.0)]
    after = [row("b", 0.9, False), row("a", 1.0), row("c", 3.0)]
    words = order_words(before, after)
    assert words == ["B (case) is now first to fail; it was a (case).", "B (case) now falls short."]
    assert order_words(before, before) == []
    assert order_words(after, before)[1] == "B (case) no longer falls short."


@pytest.mark.slow
def test_motors_of_one_kind_share_a_batch_and_give_what_they_give_alone(bench):
    texts = [bench.file.text, bench.file.text.replace('"13 mm"', '"12 mm"', 1), bench.file.text.replace("A2-70", "A4-80")]
    motors = [motor_from_text(text, bench.file.path).motors for text in texts]
    looks = assessed_together(motors)
    for one, (look, index) in zip(motors, looks, strict=True):
        alone = assess(one)
        for rung, own in zip(look.ladder.rungs, alone.ladder.rungs, strict=True):
            assert np.allclose(np.broadcast_to(rung.factor, (look.motors.size,))[index], own.factor, rtol=1e-9, equal_nan=True)
    assert looks[0][0] is looks[1][0] and looks[0][0] is not looks[2][0]
    with pytest.raises(ValueError, match="several kinds"):
        joined([motors[0], motors[2]])


@pytest.mark.slow
def test_what_would_mend_it_mends_it(bench):
    values = {"nozzle.throat_diameter": "11 mm"}
    found = remedies(bench, values)
    assert found["short"] and found["steps"]
    best = found["steps"][0]
    assert best["mends"] and not best["breaks"]
    told = bench.motor(bench.turned({**values, best["knob"]: best["value"]}))
    rung = next(r for r in assess(told.motors).ladder.rungs if f"{r.mode}, {r.part}" == found["asked"])
    assert bool(np.ravel(rung.ok)[0])


@pytest.mark.slow
def test_where_nothing_falls_short_the_first_to_fail_is_raised(bench):
    found = remedies(bench, {})
    first = question(assess(bench.file.motors))
    assert first is not None and found["asked"] == first.said and not found["short"]
    assert all(not step["mends"] for step in found["steps"])


@pytest.mark.parametrize("name", ["motors/snipe.toml", "motors/dunlin.toml"])
def test_other_motors_open(name):
    bench = Bench.of(STUDIES / name)
    knob = next(knob for knob in bench.knobs if knob.name == "nozzle.throat_diameter")
    assert bench.answer({knob.name: knob.near(1)})["ok"]


def test_the_starter_opens_and_a_bare_motor_too(tmp_path):
    assert Bench.of(STARTER / "motor.toml").answer({"nozzle.throat_diameter": "10.5 mm"})["ok"]
    text = (STARTER / "motor.toml").read_text().split("[case]")[0]
    (tmp_path / "propellant.toml").write_text((STARTER / "propellant.toml").read_text())
    (tmp_path / "bare.toml").write_text(text)
    bare = Bench.of(tmp_path / "bare.toml")
    found = bare.answer({"nozzle.throat_diameter": "10.5 mm"}, whole=True)
    assert found["ok"] and "seal extrusion" not in found["panels"]["ladder"] and found["panels"]["missing"]
    assert remedies(bare, {})["asked"] == "grain support, grains"


@pytest.mark.slow
def test_a_rocket_flies_and_its_flight_is_compared():
    bench = Bench.of(STUDIES / "motors" / "plover.toml")
    knob = next(knob for knob in bench.knobs if knob.name == "nozzle.throat_diameter")
    assert "flight" not in bench.answer({knob.name: knob.near(1)})["panels"]  # it follows, as heat does
    found = bench.answer({knob.name: knob.near(1)}, whole=True)
    assert "<h3>Flight</h3>" in found["panels"]["flight"]
    assert ">apogee" in found["panels"]["figures"] and ">start</th>" in found["panels"]["figures"]


def test_load_motor_is_the_reader(bench):
    assert bench.file.digest == load_motor(bench.file.path).digest
