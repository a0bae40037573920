"""The pages without a browser: what they say, what they escape, what they leave out, and their colours."""

from __future__ import annotations

import base64
import copy
import hashlib
import json
import math
import re
import zlib
from html.parser import HTMLParser
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.cli import main
from optimizer.commands.new import create
from optimizer.ladder_view import bar_ceiling
from optimizer.output import report
from optimizer.output.report import panels, pictures, tradeoff, values
from optimizer.output.report.panels import chance, chance_text, ladder

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "</script><script>hacked=1</script><img src=x onerror=hacked=1>\"'&"

DESIGN: dict[str, Any] = {
    "name": "Lapwing",
    "designation": "K843",
    "ok": False,
    "figures": {"peak_head_pressure": 4.8e6, "total_impulse": 1739.0, "peak_thrust": 895.0, "burn_time": 2.06,
                "kn": None},
    "maximum_expected_pressure": 5.4e6,
    "ladder": [
        {"mode": "case burst", "part": "case", "pressure": 38e6, "time": None, "factor": 7.0, "required": 2.0,
         "ok": True, "basis": "Faupel", "note": ""},
        {"mode": "screw shear", "part": "forward closure", "pressure": 9.7e6, "time": None, "factor": 1.8,
         "required": 2.0, "ok": False, "basis": "NASA-STD-5020B Eq 13", "note": "shank: 25 MPa"},
        {"mode": "liner burn-through", "part": "liner", "pressure": None, "time": 3.5, "factor": 1.7, "required": 1.25,
         "ok": True, "basis": "conduction", "note": ""},
        {"mode": "seal overheating", "part": "aft closure", "pressure": None, "time": math.inf, "factor": math.inf,
         "required": 1.25, "ok": True, "basis": "conduction", "note": ""},
    ],
    "not_assessed": [{"mode": "plate bending", "part": "aft closure",
                      "why": "aft_closure.plate_thickness is not given"}],
    "masses": {"propellant": 0.84, "nozzle": None, "loaded": 1.94},
    "unknown_masses": ["nozzle: nozzle.mass is not given"],
    "fit": {"clearance": 0.002, "length_clearance": None, "ok": True},
    "curve": {
        "time": [0.0, 0.1, 1.0, 2.0, math.nan],
        "chamber_pressure": [1e5, 4e6, 4.8e6, 1e5, math.nan],
        "head_pressure": [1e5, 4.1e6, 4.9e6, 1e5, math.nan],
        "thrust": [0.0, 700.0, 895.0, 0.0, math.nan],
        "kn": [240.0, 250.0, 280.0, 0.0, math.nan],
        "mass_flux": [0.0, 900.0, 400.0, 0.0, math.nan],
    },
    "section": None,
}  # fmt: skip
COMMON: dict[str, Any] = {
    "title": "Lapwing",
    "file": "motors/lapwing.toml",
    "units": "metric",
    "kernel": "steady",
    "cautions": [{"about": "people", "text": "Fire remotely."}],
    "inputs": [{"role": "motor", "path": "motors/lapwing.toml", "digest": "ab" * 32}],
    "versions": {"grainwright": "0.1.0"},
}
OBJECTIVES = [{"name": "loaded_mass", "direction": "min"}, {"name": "total_impulse", "direction": "max"}]


def designs(count: int, detail: bool = True) -> list[dict[str, Any]]:
    return [
        {
            "id": k + 1,
            "variables": {"throat_diameter": 0.010 + 1e-5 * k, "forward_closure.screw": "M5x0.8"},
            "results": {"loaded_mass": 2.0 + 0.01 * k, "total_impulse": 1300.0 + 10.0 * k, "peak_pressure": 6e6},
            "motor_file": f"motors/{k + 1:02d}.toml",
            "detail": copy.deepcopy(DESIGN) if detail else None,
        }
        for k in range(count)
    ]


def search(**changes: Any) -> dict[str, Any]:
    view = {
        **COMMON, "objectives": OBJECTIVES, "variables": ["throat_diameter", "forward_closure.screw"],
        "designs": designs(12), "space": 4000, "evaluated": 4000, "feasible": 31, "exact": True,
        "rejected_by": {"maximum_pressure": 3000, "screw shear": 1200}, "rejected_only_by": {"screw shear": 40},
    }  # fmt: skip
    return {**view, **changes}


REDUCE = {
    **COMMON,
    "firings": [
        {
            "name": "firing 1",
            "measured": {"peak_pressure": 5.6e6, "total_impulse": 2190.0, "burn_time": None},
            "uncertainty": {"total_impulse": 22.0},
            "predicted": {"peak_pressure": 5.9e6},
            "measured_curve": {"time": [0.0, 1.0, 2.0], "chamber_pressure": [1e5, 5e6, None],
                               "thrust": [0.0, 9e2, 0.0]},
            "predicted_curve": DESIGN["curve"],
            "refitted_curve": None,
            "cautions": [{"about": "load drift", "text": "The load cell drifts."}],
        }
    ],
    "fit": {"rate": 6.3e-3, "at": 5e6, "exponent": 0.35, "standard_error": {"rate": 1e-4}, "correlation": -0.4,
            "pressure_range": [1e6, 5.6e6]},
    "rate_lines": [{"name": "motor file", "pressure": [1e6, 9e6], "rate": [3.4e-3, 7.9e-3]}],
}  # fmt: skip
SPREAD = {
    **COMMON,
    "samples": 4096,
    "figures": {"peak_pressure": {"p5": 5.5e6, "p50": 5.9e6, "p95": 6.4e6, "p99": 6.7e6, "nominal": 5.9e6}},
    "chance_of_failure": {
        "any": {"value": 0.0, "low": 0.0, "high": 0.0009},
        "rungs": [{"mode": "case burst", "part": "case", "value": 0.0}],
    },
    "shares": {"peak_pressure": {"throat_diameter": 0.6, "rate": 0.3, "wall": 0.0004}},
    "design": DESIGN,
}
COMPARE = {
    **COMMON,
    "designs": [DESIGN, {**DESIGN, "name": "Lapwing B", "figures": {**DESIGN["figures"], "total_impulse": 1800.0}}],
    "changes": [{"key": "case.wall", "from": 0.0032, "to": 0.0025, "alone": {"total_impulse": 0.0}}],
}
EXPLAIN = {
    **COMMON,
    "failure": {"time": 0.5, "pressure": 4e6, "low": 3.6e6, "high": 4.4e6, "source": "on the record at the time of the failure",
                "moment": 0.5, "end": "forward", "found": ["closure gone"]},
    "candidates": [
        {"mode": "screw shear", "part": "forward closure", "likelihood": 0.704, "for": ["it brings about: closure gone"],
         "against": ["not reported, though usual: screws sheared"], "would_tell": "Look at the holes.", "pressure": 5e6,
         "time": None, "band": [4.5e6, 6e6]},
        {"mode": "tear-out of case", "part": "forward closure", "likelihood": 0.1, "for": [], "against": [],
         "would_tell": "Open slots show it.", "pressure": 2e6, "time": None, "band": [1.5e6, 2.5e6]},
        {"mode": "liner burn-through", "part": "liner", "likelihood": 0.05, "for": [], "against": [],
         "would_tell": "A hole with melted edges shows it.", "pressure": None, "time": 0.6, "band": [0.3, 1.2]},
    ],
    "elsewhere": 0.14,
    "ruled_out": [
        {"mode": "case burst", "part": "case", "ground": "physics", "pressure": 40e6, "time": None, "cause": "x", "absent": []},
        {"mode": "seal overheating", "part": "aft closure", "ground": "physics", "pressure": None, "time": 9.0, "cause": "x",
         "absent": []},
        {"mode": "plate bending", "part": "forward closure", "ground": "findings", "pressure": 8e6, "time": None,
         "cause": "it does not by itself bring about: closure gone", "absent": ["plate bent"]},
        {"mode": "plate bending", "part": "aft closure", "ground": "findings", "pressure": 9e6, "time": None,
         "cause": "it does not by itself bring about: closure gone", "absent": ["plate bent"]},
        {"mode": "net section", "part": "aft closure", "ground": "place", "pressure": 9e6, "time": None, "cause": "x",
         "absent": []},
    ],
    "unweighed": [{"mode": "grain support", "part": "grains", "why": "strength is not given", "would_fit": False},
                  {"mode": "tear-out of ring", "part": "forward closure", "why": "no edge", "would_fit": True}],
    "recorded": {"time": [0.0, 0.1, 0.5], "pressure": [1e5, 3.5e6, 4e6]},
    "predicted": {"time": [0.0, 0.1, 0.5], "pressure": [3e6, 3.1e6, 3.2e6]},
    "next_step": "Look at the holes. Open slots show it.",
    "assumptions": ["yield: median 1.10 times the ladder's figure"],
}  # fmt: skip
VOUCH = {
    **COMMON,
    "maximum_expected_pressure": 5.4e6, "lasts": 2.0, "chance_before": 0.02, "chance_after": 0.004,
    "tests": [
        {"name": "proof", "outcome": "held", "mode": "", "hardware": "this", "temperature": 288.15, "loaded": 2},
        {"name": "old proof", "outcome": "leaked", "mode": "seal extrusion", "hardware": "another copy", "temperature": None,
         "loaded": 1},
    ],
    "rungs": [
        {"mode": "seal extrusion", "part": "aft closure", "kind": "leak", "place": None, "design": 9e6, "likely": 8e6,
         "band": [5e6, 10e6], "held": None, "by": "", "failed_at": 11e6, "failed_by": "old proof", "before": 0.01, "after": 0.03},
        {"mode": "case burst", "part": "case", "kind": "rupture", "place": None, "design": 20e6, "likely": 24e6,
         "band": [20e6, 28e6], "held": 8e6, "by": "proof", "failed_at": None, "failed_by": "", "before": 1e-9, "after": 0.0},
        {"mode": "grain support", "part": "grains", "kind": "rupture", "place": None, "design": 25e6, "likely": 25e6,
         "band": [20e6, 30e6], "held": None, "by": "", "failed_at": None, "failed_by": "", "before": 0.0004, "after": math.nan},
        {"mode": "liner burn-through", "part": "liner", "kind": "heat", "place": "joint", "design": math.inf,
         "likely": math.inf, "band": [3.0, math.inf], "held": None, "by": "", "failed_at": None, "failed_by": "", "before": 0.05,
         "after": 0.05},
    ],
    "untouched": [{"mode": "grain support", "part": "grains"}, {"mode": "liner burn-through", "part": "liner"}],
    "coverage": [
        {"place": "joint", "verdict": "not covered", "ratios": {"shear": 0.62}, "needs": "more flow", "test": "bench"},
        {"place": "aft end", "verdict": "covered", "ratios": {"shear": 1.2}, "needs": "", "test": "bench"},
    ],
    "next_test": {"pressure": 8.1e6, "over_expected": 1.5, "chance_now": 0.004, "chance_after": 0.001, "text": "a water proof"},
    "failed": ["old proof"], "notes": ["bench: stickers is not used"],
}  # fmt: skip
PAGES = {
    "check": lambda: report.render_check({**COMMON, "design": DESIGN}),
    "search": lambda: report.render_search(search()),
    "compare": lambda: report.render_compare(COMPARE),
    "spread": lambda: report.render_spread(SPREAD),
    "reduce": lambda: report.render_reduce(REDUCE),
    "explain": lambda: report.render_explain(EXPLAIN),
    "vouch": lambda: report.render_vouch(VOUCH),
}


class Reader(HTMLParser):
    """Tags, attributes and text of a page; elements that a file's text could have opened would show here."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def hostile(part: Any) -> Any:
    """A view with hostile text in place of every text that is not a word of ours."""
    ours = {"units", "direction", "name_of"}
    if isinstance(part, dict):
        return {
            key: value if key in ours or (key == "name" and value in values_known()) else hostile(value)
            for key, value in part.items()
        }
    if isinstance(part, list):
        return [hostile(item) for item in part]
    return HOSTILE if isinstance(part, str) else part


def values_known() -> set[str]:
    return {objective["name"] for objective in OBJECTIVES} | {"throat_diameter", "forward_closure.screw"}


class TestPages:
    """Every page stands by itself."""

    @pytest.mark.parametrize("kind", PAGES)
    def test_nothing_is_fetched_and_only_our_script_runs(self, kind):
        page = PAGES[kind]()
        reader = Reader(page)
        for tag, attributes in reader.tags:
            assert tag not in ("iframe", "object", "embed", "base"), tag
            for name in ("src", "href", "action", "xlink:href", "srcset"):
                assert (attributes.get(name) or "data:,").startswith(("data:", "#")), (tag, attributes)
            assert not [name for name in attributes if name.startswith("on")]
        assert not re.search(r"url\(|@import|fetch\(|XMLHttpRequest", page)
        scripts = re.findall(r"<script>(.*?)</script>", page, re.S)
        assert len(scripts) == 1
        digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
        policy = next(a["content"] for t, a in reader.tags if t == "meta" and a.get("http-equiv"))
        assert policy.startswith("default-src 'none'")
        assert f"script-src 'sha256-{digest}'" in policy

    @pytest.mark.parametrize("kind", PAGES)
    def test_every_page_carries_cautions_and_what_it_was_made_from(self, kind):
        text = Reader(PAGES[kind]()).text
        assert text.count("Fire remotely.") == 1
        assert "ab" * 32 in text and "grainwright 0.1.0" in text

    @pytest.mark.parametrize("kind", PAGES)
    def test_hostile_text_opens_no_element(self, kind):
        honest = Reader(PAGES[kind]())
        views = {
            "check": lambda: report.render_check(hostile({**COMMON, "design": DESIGN})),
            "search": lambda: report.render_search(hostile(search())),
            "compare": lambda: report.render_compare(hostile(COMPARE)),
            "spread": lambda: report.render_spread(hostile(SPREAD)),
            "reduce": lambda: report.render_reduce(hostile(REDUCE)),
            "explain": lambda: report.render_explain(hostile(EXPLAIN)),
            "vouch": lambda: report.render_vouch(hostile(VOUCH)),
        }
        page = views[kind]()
        attacked = Reader(page)
        for tag in ("script", "img"):
            assert [t for t, _ in attacked.tags].count(tag) == [t for t, _ in honest.tags].count(tag)
        assert "<script>hacked" not in page and "onerror=hacked=1>" not in page.replace("&gt;", "")

    def test_a_bare_view_is_enough(self):
        assert "Lapwing" in report.render_check({"title": "Lapwing", "design": {}})
        assert "No design meets every limit" in report.render_search({"title": "x"})
        assert report.render_compare({"title": "x", "designs": [{}, {}]})
        assert report.render_spread({"title": "x"})
        assert "not known" in report.render_explain({"title": "x"})
        assert "No test counts" in report.render_vouch({"title": "x"})
        assert "No fit: no thrust recorded" in report.render_reduce({"title": "x", "fit_why": "no thrust recorded"})

    def test_json_text_survives_any_text(self):
        data = {"a": "</script><!--<script>\u2028\u2029&", "b": [1.5, None]}
        text = str(report.json_text(data))
        assert not set("<>&\u2028\u2029") & set(text)
        assert json.loads(text) == data

    @given(st.text(max_size=60))
    @settings(max_examples=80, deadline=None)
    def test_json_text_round_trips(self, text):
        assert json.loads(str(report.json_text([text]))) == [text]

    def test_nan_never_reaches_the_data(self):
        with pytest.raises(ValueError):
            report.json_text([math.nan])
        page = report.render_search(search(designs=[{**designs(1)[0], "results": {"loaded_mass": math.nan}}]))
        assert "NaN" not in re.search(r'id="data">(.*?)</script>', page, re.S)[1]


class TestCheck:
    """What the page of one motor says."""

    def test_verdict_names_what_is_short(self):
        text = Reader(PAGES["check"]()).text
        assert "Falls short: screw shear (forward closure)." in text
        assert "plate bending (aft closure): aft_closure.plate_thickness is not given" in text

    def test_a_pass_still_counts_what_was_not_assessed(self):
        rows = [row for row in DESIGN["ladder"] if row["ok"]]
        text = Reader(report.render_check({**COMMON, "design": {**DESIGN, "ladder": rows, "ok": True}})).text
        assert "Every rung assessed reaches its required factor. 1 mode not assessed, listed below." in text

    def test_imperial(self):
        text = Reader(report.render_check({**COMMON, "units": "imperial", "design": DESIGN})).text
        assert "psi" in text and "MPa" not in text.replace("25 MPa", "")


class TestLadder:
    """Places on the scale follow from the numbers."""

    def test_order_and_places(self):
        shown = ladder(DESIGN, "metric")
        assert [row["mode"] for row in shown["rungs"]] == ["screw shear", "case burst"]
        top = bar_ceiling([9.7e6, 38e6], 5.4e6)
        assert top == pytest.approx(5 * 5.4e6)
        assert shown["expected_at"] == pytest.approx(100 * 5.4e6 / top, abs=0.01)
        weak, strong = shown["rungs"]
        assert weak["bar"] == pytest.approx(100 * 9.7e6 / top, abs=0.01)
        assert weak["need"] == pytest.approx(100 * 2.0 * 5.4e6 / top, abs=0.01)
        assert weak["bar"] < weak["need"] and not weak["ok"]
        assert strong["cut"] and strong["bar"] == 100.0

    def test_times_have_a_scale_of_their_own(self):
        times = ladder(DESIGN, "metric")["times"]
        assert [row["never"] for row in times["rungs"]] == [False, True]
        assert times["expected"] == values.value_text(3.5 / 1.7, "time", "metric")

    def test_a_rung_that_is_no_number_is_last_and_short(self):
        row = {**DESIGN["ladder"][0], "pressure": math.nan, "factor": math.nan, "ok": False}
        shown = ladder({**DESIGN, "ladder": [row, *DESIGN["ladder"]]}, "metric")["rungs"][-1]
        assert shown["bar"] is None and shown["factor"] == "–" and not shown["ok"]

    @given(st.lists(st.floats(1e5, 1e9), min_size=1, max_size=12), st.floats(1e5, 2e7))
    @settings(max_examples=100, deadline=None)
    def test_the_expected_pressure_is_always_on_the_scale(self, pressures, expected):
        top = bar_ceiling(pressures, expected)
        assert expected < top
        assert all(0.0 <= pictures.share(min(value, top), top) <= 100.0 for value in pressures)


class TestLadderAlone:
    """The ladder as a picture of its own, for `check --ladder`."""

    def drawn(self, design=DESIGN, units="metric", name="Lapwing"):
        return ElementTree.fromstring(pictures.ladder_picture(panels.ladder(design, units), name))

    def rungs(self, picture):
        return picture.findall(f".//{SVG}g")

    def test_each_rung_has_its_name_and_numbers_lowest_first_times_last(self):
        said = [["".join(text.itertext()) for text in rung.findall(f"{SVG}text")] for rung in self.rungs(self.drawn())]
        assert said == [
            ["screw shear forward closure", "9.700 MPa ×1.80 of 2.00"],
            ["case burst case", "38.00 MPa ×7.00 of 2.00"],
            ["liner burn-through liner", "3.500 s ×1.70 of 1.25"],
            ["seal overheating aft closure", "not reached in the model"],
        ]

    def test_what_is_short_is_marked_and_its_bar_ends_before_its_stroke(self):
        short, good = self.rungs(self.drawn())[:2]
        assert short.get("class") == "rung short" and good.get("class") == "rung"
        ends = []
        for rung in (short, good):
            bar = rung.find(f"{SVG}rect[@class='bar']")
            need = float(re.match(r"M([\d.]+),", rung.find(f"{SVG}path[@class='need']").get("d"))[1])
            ends.append(float(bar.get("x")) + float(bar.get("width")) - need)
        assert ends[0] < 0 < ends[1]

    def test_it_stands_alone_in_either_system_and_escapes(self):
        picture = pictures.ladder_picture(panels.ladder(DESIGN, "imperial"), HOSTILE)
        root = ElementTree.fromstring(picture)
        assert "psi" in picture and "MPa" not in picture and "<script" not in picture
        assert root.find(f"{SVG}style") is not None and "url(" not in picture and "href" not in picture
        width = float(root.get("width"))
        assert all(float(text.get("x")) < width for text in root.iter(f"{SVG}text"))

    def test_a_motor_without_rungs_is_an_empty_picture(self):
        assert not self.rungs(self.drawn(DESIGN | {"ladder": []}))

    def test_check_writes_it(self, tmp_path, monkeypatch):
        monkeypatch.chdir(tmp_path)
        create(tmp_path)
        asked = ["check", "motor.toml", "--ladder", "ladder.svg", "--quiet", "--units", "imperial"]
        result = CliRunner().invoke(main, asked)
        assert result.exit_code == 0, result.output
        rungs = self.rungs(ElementTree.parse("ladder.svg").getroot())
        assert len(rungs) > 20 and "psi" in "".join(rungs[0].itertext())
        assert CliRunner().invoke(main, [*asked[:3], "motor.toml/ladder.svg"]).exit_code == 3, "a file is no folder"


def unpacked(page: str) -> dict[str, str]:
    """The panels of single designs, by id."""
    packed = re.search(r'id="panels">(.*?)</script>', page, re.S)[1]
    found = json.loads(zlib.decompress(base64.b64decode(packed)))
    return {name: "".join(found["pieces"][k] for k in which) for name, which in found["panels"].items()}


class TestSearch:
    """The trade-off's data."""

    def test_rows_are_those_of_the_view(self):
        page = report.render_search(search())
        data = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S)[1])
        assert len(data["rows"]) == 12 and data["ids"][0] == "1"
        column = [c["key"] for c in data["columns"]].index("total_impulse")
        assert [float(row[column]) for row in data["rows"]] == [1300.0 + 10 * k for k in range(12)]
        assert data["columns"][0] == {
            "key": "loaded_mass", "label": "loaded mass", "unit": "kg", "text": False, "role": "objective",
            "best": "min", "group": "mass", "meaning": values.meaning("loaded_mass"),
        }  # fmt: skip
        assert set(unpacked(page)) == set(data["ids"])

    def test_panels_come_back_as_they_were_made(self):
        """Unpacked by another way than the page's own; no panel repeats the figures that the table of the chosen says."""
        found = unpacked(report.render_search(search()))
        whole = str(report._environment().get_template("panels.html").module.design_panel(panels.detail(DESIGN, "metric")))
        assert found["3"].count("<section") == whole.count("<section")
        for text in found.values():
            assert "Failure ladder" in text and "mass and fit" in text
            assert not any(f"<caption>{group}</caption>" in text for group in ("pressure", "port"))

    def test_a_hundred_designs_stay_under_a_megabyte(self):
        page = report.render_search(search(designs=[{**one, "detail": DESIGN} for one in designs(100)]))
        assert len(page.encode()) < 1_000_000 and len(unpacked(page)) == 100

    def test_what_is_cast_and_bored_stands_first_of_the_variables(self):
        view = search(variables=["wall", "throat_diameter", "core_diameter"])
        data = json.loads(re.search(r'id="data">(.*?)</script>', report.render_search(view), re.S)[1])
        keys = [column["key"] for column in data["columns"] if column["role"] == "variable"]
        assert keys == ["core_diameter", "throat_diameter", "wall"]

    def test_picks(self):
        picks = tradeoff.picks_of(designs(12), OBJECTIVES)
        assert [pick["title"] for pick in picks] == ["balanced", "lowest loaded mass", "highest total impulse"]
        assert (picks[1]["id"], picks[2]["id"]) == ("1", "12")
        assert picks[0]["id"] in ("6", "7")  # on a straight front the middle is nearest to both bests

    def test_a_long_front_stays_small_and_says_so(self):
        many = designs(3200, detail=False)
        for design in many[:300]:
            design["detail"] = DESIGN
        page = report.render_search(search(designs=many))
        assert len(page.encode()) < 6_000_000
        assert re.search(r"(2999|3000) of 3200 on the front are shown here", Reader(page).text)
        data = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S)[1])
        assert {"1", "3200"} <= set(data["ids"]), "the best of each objective stay"

    def test_details_left_out_are_counted(self, monkeypatch):
        monkeypatch.setattr(report, "MOST_PANELS", 5)
        page = report.render_search(search())
        kept = len(unpacked(page))
        assert kept == 5
        assert f"The full panels of {12 - kept} designs were left out" in Reader(page).text
        assert "12" in unpacked(page), "picks keep their panels"

    def test_nothing_feasible(self):
        view = search(
            designs=[],
            feasible=0,
            nearest=[{**designs(1)[0], "misses": [{"limit": "peak_pressure", "value": 9.4e6, "bound": 9e6}]}],
            relaxations=[
                {"limit": "peak_pressure", "from": 9e6, "to": 9.4e6, "admits": 3},
                {
                    "changes": [
                        {"limit": "target impulse", "from": 1280.0, "to": 1013.0},
                        {"limit": "maximum_pressure", "from": 7e6, "to": 7.5e6},
                    ],
                    "variables": {"throat_diameter": 0.0098},
                },
            ],
        )
        text = Reader(report.render_search(view)).text
        assert "No candidate meets every limit." in text
        assert "peak pressure 9.400 MPa, limit 9.000 MPa" in text
        assert "The smallest change that lets one in" in text
        assert "target impulse 1280 N·s 1013 N·s" in text and "and maximum pressure 7.000 MPa 7.500 MPa" in text
        assert "throat diameter 9.800 mm" in text
        assert "3 000 75.0 %" in text, "what each limit rejected"


class TestSpread:
    """No failure is a bound, not a promise."""

    @pytest.mark.parametrize(
        ("value", "low", "high", "words"),
        [
            (0.0, 0.0, 0.0009, "none of 4096 samples failed: the chance is below 0.09 % at 95 % confidence"),
            (0.0, None, None, "none of 4096 samples failed: the chance is below 0.07 % at 95 % confidence"),
            (0.012, 0.009, 0.016, "1.2 % (between 0.9 % and 1.6 % at 95 % confidence)"),
            (None, None, None, "not assessed"),
        ],
    )
    def test_words(self, value, low, high, words):
        assert chance_text(value, low, high, 4096) == words

    def test_rungs_that_did_not_fail_are_counted_and_unknown_ones_named(self):
        rungs = [{"mode": f"mode {k}", "part": "case", "value": value} for k, value in enumerate((0.0, 0.02, 0.0, None))]
        whole = {"value": 0.02, "low": 0.01, "high": 0.03}
        shown = chance({"samples": 4096, "chance_of_failure": {"any": whole, "rungs": rungs}})
        assert [row["mode"] for row in shown["rungs"]] == ["mode 1"]
        assert shown["rest"] == "2 other rungs: none of 4096 samples each; not assessed: mode 3 (case)"

    def test_shares_are_never_rounded_to_nothing(self):
        assert "0.04 %" in Reader(PAGES["spread"]()).text


class TestCompare:
    def test_the_answer_stands_on_top(self):
        text = Reader(report.render_compare({**COMPARE, "answers": ["The screws now hold."]})).text
        assert text.index("The screws now hold.") < text.index("What changed")

    @pytest.mark.parametrize("count", [2, 3, 6])
    def test_equal_motors_do_not_hide_one_another(self, count):
        shown = panels.compared_ladders([DESIGN] * count, "metric")["rungs"]
        for rung in shown:
            places = [(mark["at"], mark["drop"]) for mark in rung["marks"]]
            assert len(set(places)) == count and all(abs(drop) <= 9.0 for _, drop in places)


class TestReduce:
    """Measured beside predicted."""

    def test_differences(self):
        text = Reader(PAGES["reduce"]()).text
        assert "−5.1 %" in text  # 5.6 over 5.9 MPa
        assert "total impulse N·s 2190 ± 22.0" in text

    def test_what_cannot_be_predicted_has_no_columns(self):
        told, silent = copy.deepcopy(REDUCE), copy.deepcopy(REDUCE)
        silent["firings"][0]["predicted"] = {}
        heads = [re.findall(r"<th scope=\"col\"[^>]*>([a-z]+)", report.render_reduce(view)) for view in (told, silent)]
        assert heads[0][:4] == ["figure", "measured", "predicted", "apart"]
        assert heads[1][:2] == ["figure", "measured"] and "predicted" not in heads[1]
        assert "names no motor file that can be evaluated" in Reader(report.render_reduce(silent)).text

    def test_figures_with_names_of_their_own_have_units(self):
        view = copy.deepcopy(REDUCE)
        view["firings"][0]["measured"] = {"highest_pressure_sample": 3.8e6, "ignition_time": 0.985}
        view["firings"][0]["uncertainty"] = {"highest_pressure_sample": 5e4}
        text = Reader(report.render_reduce(view)).text
        assert "highest pressure sample MPa 3.800 ± 0.0500" in text and "ignition time s 0.9850" in text


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    """The starter folder."""
    from optimizer.commands.new import create

    folder = tmp_path_factory.mktemp("starter") / "start"
    create(folder)
    return folder


@pytest.fixture(scope="module")
def rows(starter):
    """Cells of the starter firing's table by figure: measured, predicted, apart."""
    return table_of(page_of(starter / "firing.toml"))


class TestPrediction:
    """What stands under "predicted" is what the motor file says, by the definitions that the record is reduced by."""

    def test_figures_agree_with_the_curve_between_its_own_ten_percent_points(self, rows, starter):
        from optimizer.inputs import load_motor
        from physics.ballistics.kernel import evaluate

        figures = evaluate(load_motor(starter / "motor.toml").motors, "transient", curve=True)
        known = np.isfinite(figures.curve.time[0])
        time, pressure = figures.curve.time[0][known], figures.curve.chamber_pressure[0][known]
        fine = np.linspace(0.0, time[-1], 200_001)
        p, f = np.interp(fine, time, pressure), np.interp(fine, time, figures.curve.thrust[0][known])
        inside = p >= 0.1 * p.max()
        told = {name: float(cells[1]) for name, cells in rows.items() if cells[1] != "–"}
        span = fine[inside][-1] - fine[inside][0]
        # The table prints four digits; the prediction is sampled 6000 times.
        assert told["peak pressure"] == pytest.approx(p.max() / 1e6, rel=1e-3)
        assert told["peak thrust"] == pytest.approx(f.max(), rel=1e-3)
        assert told["action time"] == pytest.approx(span, rel=2e-3)
        assert told["pressure integral"] == pytest.approx(np.trapezoid(p[inside], fine[inside]) / 1e6, rel=2e-3)
        assert told["total impulse"] == pytest.approx(np.trapezoid(f[inside], fine[inside]), rel=2e-3)
        assert told["characteristic velocity"] == pytest.approx(1450.0, rel=5e-3)  # of the starter's propellant

    def test_a_record_simulated_from_the_motor_lies_on_its_prediction(self, rows):
        apart = {name: cells[2] for name, cells in rows.items() if cells[2] != "–"}
        assert len(apart) >= 12
        for name in (
            "peak pressure",
            "pressure integral",
            "total impulse",
            "burn time",
            "action time",
            "mean pressure",
        ):
            assert abs(float(apart[name].removesuffix(" %").replace("−", "-"))) < 1.0, name

    def test_what_was_weighed_on_the_day_moves_the_prediction(self, rows, starter):
        text = (starter / "firing.toml").read_text()
        (starter / "heavy.toml").write_text(text + '\n[measured]\npropellant_mass = "0.410 kg"\n')
        heavy = table_of(page_of(starter / "heavy.toml"))
        assert float(heavy["total impulse"][1]) > 1.05 * float(rows["total impulse"][1])

    def test_without_a_motor_there_is_no_such_column(self, starter):
        text = (starter / "firing.toml").read_text()
        (starter / "bare.toml").write_text(re.sub(r"(?m)^motor = .*$", "", text))
        assert all(len(cells) == 1 for cells in table_of(page_of(starter / "bare.toml")).values())


def page_of(path) -> str:
    """The page of a record reduced without a fit."""
    from optimizer.cautions import Caution
    from optimizer.firings.rate_fit import Learned
    from optimizer.firings.reduction import reduce_firing
    from optimizer.inputs import load_firing
    from optimizer.output.pages import reduce_page

    return reduce_page(Learned((reduce_firing(load_firing(path)),), None, (Caution("no fit", "not tried"),)), "metric")


def table_of(page: str) -> dict[str, list[str]]:
    """Rows of the table of figures: name to the first number of each cell."""
    body = re.search(r'aria-label="Measured figures".*?<tbody>(.*?)</tbody>', page, re.S)[1]
    rows = {}
    for row in re.findall(r"<tr.*?</tr>", body, re.S):
        name, *cells = re.findall(r"<t[hd][^>]*>([^<]*)", row)
        rows[name.strip()] = [cell.strip() for cell in cells]
    return rows


class TestExplain:
    """A ranking that claims nothing as certain, and a picture on one pressure scale."""

    def test_everything_is_said(self):
        text = Reader(PAGES["explain"]()).text
        for words in (
            "0.5000 s", "3.600 to 4.400 MPa", "closure gone", "70 %", "10 %", "5 %", "14 %", "not a finding",
            "4.500 to 6.000 MPa in nine of ten such parts", "not reported, though usual: screws sheared",
            "Look at the holes. Open slots show it.", "The pressure does not fit", "40.00 ×10.0", "The time does not fit",
            "plate bending both closures plate bent", "The forward end failed, and the part is elsewhere",
            "would fit tear-out of ring (forward closure): no edge", "grain support (grains): strength is not given",
            "yield: median 1.10 times",
        ):  # fmt: skip
            assert words in text, words
        assert text.count("Fire remotely.") == 1
        # What would fit the findings comes before what would not.
        assert text.index("tear-out of ring (forward closure)") < text.index("grain support (grains)")

    @pytest.mark.parametrize(("likelihood", "text"), [(0.9999, "> 99 %"), (1.0, "> 99 %"), (0.0, "< 1 %"), (0.5, "50 %")])
    def test_no_share_is_all_or_nothing(self, likelihood, text):
        assert values.likelihood_text(likelihood) == text

    def test_without_a_record_the_page_says_so(self):
        said = "No pressure was recorded"
        assert said not in PAGES["explain"]()
        page = report.render_explain({**EXPLAIN, "recorded": None})
        assert said in page and 'data-name="predicted"' in page and 'data-name="recorded"' not in page

    def test_rungs_and_trace_share_the_pressure_scale(self):
        picture = str(panels.failure_chart(EXPLAIN, "metric")["picture"])
        low, high = (float(re.search(rf'data-{key}="([^"]+)"', picture)[1]) for key in ("y0", "y1"))
        _, top, right, bottom = map(float, re.search(r'data-box="([^"]+)"', picture)[1].split())

        def pressure(y: float) -> float:
            return low + (bottom - y) / (bottom - top) * (high - low)

        upright = re.findall(r'<rect class="bar light" x="([^"]+)" y="([^"]+)" width="14" height="([^"]+)"', picture)
        found = [(pressure(float(y) + float(h)), pressure(float(y))) for _, y, h in upright]
        assert found == [pytest.approx(band, abs=0.02) for band in ((4.5, 6.0), (1.5, 2.5))]
        assert all(float(x) > right for x, _, _ in upright), "beside the trace, not on it"
        strokes = re.findall(r'class="median" d="M[^,]+,([^h"]+)h20"', picture)
        assert [pressure(float(y)) for y in strokes] == pytest.approx([5.0, 2.0], abs=0.02)
        trace = re.search(r'data-name="recorded" d="M([^"]+)"', picture)[1].split("L")
        assert pressure(float(trace[-1].split(",")[1])) == pytest.approx(4.0, abs=0.02)
        grey = re.search(r'class="plausible" x="[^"]+" y="([^"]+)" width="[^"]+" height="([^"]+)"', picture)
        assert pressure(float(grey[1])) == pytest.approx(4.4, abs=0.02)
        assert pressure(float(grey[1]) + float(grey[2])) == pytest.approx(3.6, abs=0.02)
        # The rung that is a time lies along the clock, under its number in the list.
        assert re.search(r'<rect class="bar light" x="[^"]+" y="[^"]+" width="[^"]+" height="12"/>', picture)
        assert re.findall(r'class="tick strong[^>]*>(\d)<', picture) == ["3", "1", "2"]

    def test_a_rung_far_above_does_not_press_the_trace_flat(self):
        far = {**EXPLAIN["candidates"][0], "pressure": 500e6, "band": [400e6, 600e6]}
        picture = str(panels.failure_chart({**EXPLAIN, "candidates": [far]}, "metric")["picture"])
        assert float(re.search(r'data-y1="([^"]+)"', picture)[1]) <= 40.0
        assert 'class="above"' in picture and 'height="-' not in picture

    def test_imperial(self):
        text = Reader(report.render_explain({**EXPLAIN, "units": "imperial"})).text
        assert "psi" in text and "MPa" not in text


class TestSearchOrder:
    def test_the_ladder_s_place_comes_before_the_table_of_figures(self):
        page = report.render_search(search())
        assert page.index('id="chosen-detail"') < page.index('id="chosen-values"')


class TestPictures:
    """The SVG writer."""

    @given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=400))
    @settings(max_examples=60, deadline=None)
    def test_thinning_keeps_the_peaks_and_the_ends(self, ys):
        xs = [float(k) for k in range(len(ys))]
        x, y = pictures.thinned(xs, ys, 60)
        assert (x[0], x[-1]) == (xs[0], xs[-1])
        assert (max(y), min(y)) == (max(ys), min(ys))
        assert len(x) <= 64 and x == sorted(x)

    @given(st.floats(1e-9, 1e9), st.integers(2, 8))
    def test_steps_are_round_and_few(self, span, most):
        step = pictures.nice_step(span, most)
        assert span / step <= most * (1 + 1e-6)
        assert f"{step:e}"[0] in "125"

    def test_a_chart_can_be_read_back(self):
        text = str(pictures.chart([pictures.Series("a", [0.0, 1.0, 2.0], [0.0, 5.0, 3.0])], "t", "p", "title"))
        low, high = (float(re.search(rf'data-{key}="([^"]+)"', text)[1]) for key in ("y0", "y1"))
        left, top, right, bottom = map(float, re.search(r'data-box="([^"]+)"', text)[1].split())
        places = [
            tuple(map(float, p.split(",")))
            for p in re.search(r' d="M([^"]+)"/>$', text.split('<path class="series"')[1].split("</svg>")[0])[1].split("L")
        ]
        heights = [low + (bottom - y) / (bottom - top) * (high - low) for _, y in places]
        assert heights == pytest.approx([0.0, 5.0, 3.0], abs=0.02)
        assert [2.0 * (x - left) / (right - left) for x, _ in places] == pytest.approx([0.0, 1.0, 2.0], abs=0.01)


# ---- colours ----

# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
# IEEE TVCG 15(6), 2009, severity 1.0, on linear RGB (remembered).
DEFICIENCIES = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
FLOOR = 15.0


def linear(colour: str) -> np.ndarray:
    """sRGB text as linear RGB; IEC 61966-2-1 (remembered)."""
    rgb = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIELAB of linear RGB under D65 (remembered)."""
    to_xyz = [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    xyz = np.array(to_xyz) @ np.clip(rgb, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2 (remembered)."""
    a, b = sorted((float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour)) for colour in (one, other)), reverse=True)
    return (a + 0.05) / (b + 0.05)


def script_colours() -> list[str]:
    text = (report.HERE / "page.js").read_text()
    return re.findall(r'\["(#[0-9a-f]{6})", "M', text)


def style_colours() -> dict[str, str]:
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", (report.HERE / "page.css").read_text()))


class TestColours:
    """Seen by everyone: apart under colour blindness, even ramps, readable text."""

    @pytest.mark.parametrize("sight", DEFICIENCIES)
    @pytest.mark.parametrize("palette", ["lines", "picks", "bars"])
    def test_apart_under_colour_blindness(self, sight, palette):
        style = style_colours()
        colours = {
            "lines": list(pictures.OKABE_ITO),
            "picks": script_colours(),
            "bars": [style["safe"], style["short"]],
        }[palette]
        assert len(colours) == {"lines": 7, "picks": 6, "bars": 2}[palette]
        seen = [lab(np.array(DEFICIENCIES[sight]) @ linear(colour)) for colour in colours]
        least = min(np.linalg.norm(a - b) for k, a in enumerate(seen) for b in seen[k + 1 :])
        assert least > FLOOR

    def test_the_floor_would_catch_a_poor_palette(self):
        poor = [lab(np.array(DEFICIENCIES["deuteranopia"]) @ linear(colour)) for colour in ("#d62728", "#2ca02c")]
        strong = [lab(linear(colour)) for colour in ("#d62728", "#2ca02c")]
        assert np.linalg.norm(poor[0] - poor[1]) < 0.5 * np.linalg.norm(strong[0] - strong[1])

    def test_ramp_is_even_in_lightness_and_the_same_in_the_script(self):
        import matplotlib

        lightness = [lab(linear(colour))[0] for colour in pictures.CIVIDIS]
        steps = np.diff(lightness)
        assert (steps > 0).all() and steps.max() < 2.0 * steps.min()
        ramp = matplotlib.colormaps["cividis"]
        assert list(pictures.CIVIDIS) == [matplotlib.colors.to_hex(ramp(k / 8)) for k in range(9)]
        text = (report.HERE / "page.js").read_text()
        assert json.loads(re.search(r"RAMP = (\[.*?\])", text)[1]) == list(pictures.CIVIDIS)

    def test_text_and_marks_have_contrast(self):
        style = style_colours()
        for text in ("ink", "soft", "alarm"):
            for ground in ("ground", "tint"):
                assert contrast(style[text], style[ground]) >= 4.5, (text, ground)
        for mark in ("safe", "short"):
            assert contrast(style[mark], style["ground"]) >= 3.0
            assert contrast(style[mark], style["tint"]) >= 3.0
        assert contrast("#00568a", style["ground"]) >= 4.5  # the summaries one can open

    def test_each_line_has_a_marker_and_a_dash_of_its_own(self):
        pairs = list(zip(pictures.MARKERS, pictures.OKABE_ITO, strict=True))
        assert len(set(pairs)) == len(set(pictures.MARKERS)) == 7
        assert len(set(pictures.DASHES[:6])) == 6


class TestValues:
    """Numbers as they are written."""

    def test_counts_are_whole(self):
        assert values.number_text(8.0, "forward_closure.count", "metric") == "8"
        assert values.change_text(-2.0, "grain_count", "metric") == "−2"

    def test_a_change_of_temperature_has_no_offset(self):
        assert values.change_text(10.0, "temperature", "metric") == "+10.0 °C"
        assert values.change_text(10.0, "temperature", "imperial") == "+18.0 °F"

    def test_names_that_are_not_known_are_plain_numbers(self):
        assert values.value_text(1.5, "no such name", "metric") == "1.500"
        assert values.value_text(None, "pressure", "metric") == "–"


class TestNearestTools:
    def test_what_each_tool_would_do_stands_in_the_panels_of_a_design(self):
        rounding = {
            "variable": "throat_diameter", "old": 0.01403, "new": 0.014, "tool": "14 mm (reamers-metric)", "ok": False,
            "changes": {"maximum_expected_pressure": 0.0061, "total_impulse": -0.004},
        }  # fmt: skip
        (row,) = panels.tools({"roundings": [rounding]}, "metric")
        assert row["old"] == "14.03 mm" and row["new"] == "14.00 mm" and row["verdict"] == "no longer passes"
        assert row["changes"] == ["+0.6 %", "-0.4 %", "–"]
        assert panels.tools({}, "metric") == []


class TestVouch:
    """What tests have shown, rung by rung."""

    def rung(self, page: str, name: str) -> str:
        return re.search(rf'<li class="rung[^>]*data-rung="{name}".*?</li>', page, re.S).group(0)

    def test_what_was_held_is_filled_otherwise_up_to_where_it_was(self):
        page = report.render_vouch(VOUCH)
        burst = self.rung(page, "case burst, case")
        bar, held = (float(re.search(rf'class="{kind}" x="0" y="6" width="([\d.]+)%"', burst).group(1)) for kind in ("bar", "held"))
        assert held / bar == pytest.approx(8 / 20, rel=0.01) and "held 8.000 MPa (1)" in burst
        assert 'class="held"' not in self.rung(page, "grain support, grains") and "no test" in self.rung(
            page, "grain support, grains"
        )

    def test_a_rung_that_did_not_hold_says_so_in_words_and_its_band_ends_there(self):
        leak = self.rung(report.render_vouch(VOUCH), "seal extrusion, aft closure")
        assert "did not hold 11.00 MPa" in leak and 'class="rung compared short"' in leak and "1.0 % → 3.0 %" not in leak
        assert re.search(r"1 % → 3 %", leak) and 'class="band"' in leak

    def test_the_rest_of_it(self):
        text = Reader(report.render_vouch(VOUCH)).text
        assert "Did not hold: old proof." in text and "2 of 4" in text and "below 0.0001 %" in text
        assert "0.04 % → contradicted" in text and "15.00 °C" in text and "another copy" in text
        assert "grain support (grains)" in text and "not covered" in text and "0.62" in text and "A water proof." in text
        held = {**VOUCH, "failed": [], "tests": VOUCH["tests"][:1], "next_test": {**VOUCH["next_test"], "chance_after": 0.0039}}
        text = Reader(report.render_vouch(held)).text
        assert "✓ The test held." in text and "chance once it has held" not in text  # it would teach nothing
