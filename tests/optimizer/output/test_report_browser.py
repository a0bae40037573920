"""The pages in a browser: no error, no request, no sideways scroll; points select, the table sorts and filters.

Skipped where no browser is installed; a failure with GRAINWRIGHT_TEST_ALL=1.
"""

from __future__ import annotations

import json
import math
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from optimizer.output import report

WIDTHS = (390, 1440)
HOSTILE = "</script><script>window.hacked=1</script><img src=x onerror='window.hacked=1'>"
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    chromium, chromedriver = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or chromedriver is None:
        away = pytest.fail if os.environ.get("GRAINWRIGHT_TEST_ALL") == "1" else pytest.skip
        away("chromium and chromedriver are not installed: the pages were not opened in a browser")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('browser')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(chromedriver))
    yield driver
    driver.quit()


def curve() -> dict[str, list[float]]:
    times = [0.02 * k for k in range(100)]
    rise = [min(1.0, t / 0.1) for t in times]
    return {
        "time": times,
        "chamber_pressure": [5e6 * r * (1 + 0.1 * math.sin(t)) for t, r in zip(times, rise, strict=True)],
        "head_pressure": [5.2e6 * r * (1 + 0.1 * math.sin(t)) for t, r in zip(times, rise, strict=True)],
        "thrust": [900 * r for r in rise],
        "kn": [200 + 10 * t for t in times],
        "mass_flux": [800 * math.exp(-t) for t in times],
    }


def design(name: str) -> dict[str, Any]:
    rung = {"note": HOSTILE, "basis": HOSTILE, "required": 2.0, "ok": True, "time": None}
    return {
        "name": name,
        "designation": "K900",
        "ok": True,
        "figures": {"total_impulse": 1700.0, "peak_head_pressure": 5.7e6, "peak_thrust": 900.0, "burn_time": 2.0},
        "maximum_expected_pressure": 6e6,
        "ladder": [
            {
                **rung,
                "mode": f"mode {k}",
                "part": "forward closure",
                "pressure": 14e6 + 3e6 * k,
                "factor": 2.3 + 0.5 * k,
            }
            for k in range(14)
        ]
        + [{**rung, "mode": "liner burn-through", "part": "liner", "pressure": None, "time": 3.0, "factor": 1.5}],
        "not_assessed": [{"mode": "plate bending", "part": "aft closure", "why": HOSTILE}],
        "masses": {"loaded": 2.0},
        "unknown_masses": [],
        "fit": None,
        "curve": curve(),
        "section": None,
    }


COMMON = {
    "title": f"Lapwing {HOSTILE}",
    "file": "studies/a-rather-long-folder-name/and-another-one/lapwing-with-a-long-name.toml",
    "cautions": [{"about": "people", "text": "Fire remotely."}],
    "inputs": [{"role": "study", "path": "lapwing.toml", "digest": "ab" * 32}],
    "versions": {"grainwright": "0.1.0"},
}


def search_page() -> str:
    rows = [
        {
            "id": k + 1,
            "variables": {
                "throat_diameter": 0.010 + 1e-4 * ((7 * k) % 24),
                "forward_closure.screw": HOSTILE if k == 3 else "M5x0.8",
            },
            "results": {
                "loaded_mass": 2.0 + 0.05 * k,
                "total_impulse": 1300.0 + 25.0 * k,
                "smallest_factor": 3.0 - 0.05 * k,
            },
            "motor_file": f"motors/{k + 1:02d}.toml",
            "detail": design(f"design {k + 1}") if k < 20 else None,
        }
        for k in range(24)
    ]
    return report.render_search(
        {
            **COMMON,
            "objectives": [
                {"name": "loaded_mass", "direction": "min"},
                {"name": "total_impulse", "direction": "max"},
                {"name": "smallest_factor", "direction": "max"},
            ],
            "designs": rows,
            "space": 10**9,
            "evaluated": 10**9,
            "feasible": 24,
            "exact": True,
            "rejected_by": {"maximum_pressure": 7 * 10**8, HOSTILE: 10},
        }
    )


def vouch_page() -> str:
    rung = {"kind": "rupture", "place": None, "failed_at": None, "failed_by": "", "before": 0.0123, "after": 1e-9}
    rungs = [
        {**rung, "mode": f"nozzle seal extrusion {k}", "part": "forward closure", "design": 14e6 + 3e6 * k,
         "likely": 15e6 + 3e6 * k, "band": [9e6, 30e6], "held": 8e6, "by": HOSTILE}
        for k in range(8)
    ]  # fmt: skip
    rungs[0] |= {"failed_at": 12.345e6, "failed_by": HOSTILE}
    heat = {**rung, "mode": "liner burn-through", "part": "liner", "kind": "heat", "place": "forward end"}
    test = {"name": HOSTILE, "outcome": "leaked", "mode": HOSTILE, "hardware": "this", "temperature": 288.0, "loaded": 8}
    ratios = dict.fromkeys(("recession", "peak flux", "exposed time", "shear", "pressure", "tube"), 0.5)
    return report.render_vouch({
        **COMMON, "maximum_expected_pressure": 5e6, "lasts": 2.0, "chance_before": 0.1, "chance_after": 0.01, "tests": [test] * 3,
        "rungs": [*rungs, {**heat, "design": 3.0, "likely": 4.0, "band": [2.5, math.inf], "held": 2.0, "by": HOSTILE}],
        "untouched": [{"mode": HOSTILE, "part": HOSTILE}], "failed": [HOSTILE], "notes": [HOSTILE],
        "coverage": [{"place": "mid-grain wall", "verdict": "covered for charring only", "ratios": ratios, "needs": HOSTILE}],
        "next_test": {"pressure": 8e6, "over_expected": 1.5, "chance_now": 0.01, "chance_after": 0.001, "text": HOSTILE},
    })  # fmt: skip


def explain_page(count: int = 6) -> str:
    history = {"time": curve()["time"][:60], "pressure": curve()["chamber_pressure"][:60]}
    candidates = [
        {
            "mode": f"mode {k}", "part": "forward closure", "likelihood": 0.4 / (k + 1), "for": [HOSTILE], "against": ["a reason"],
            "would_tell": HOSTILE, "pressure": 3e6 + 2e6 * k, "time": None, "band": [2.5e6 + 2e6 * k, 4e6 + 2e6 * k],
        }
        for k in range(count)
    ]  # fmt: skip
    clocked = {"mode": "liner burn-through", "pressure": None, "time": 1.0, "band": [0.4, 1.9]}
    return report.render_explain(
        {
            **COMMON,
            "failure": {"time": 1.1, "pressure": 5e6, "low": 4.6e6, "high": 5.5e6, "source": HOSTILE, "moment": 1.18,
                        "end": "forward", "found": ["closure gone", HOSTILE]},
            "candidates": [*candidates, {**candidates[0], **clocked}],
            "elsewhere": 0.1,
            "ruled_out": [
                {"mode": f"out {k}", "part": "case", "ground": ("physics", "findings")[k % 2], "pressure": 5e7, "time": None,
                 "cause": HOSTILE, "absent": ["case bulged"]}
                for k in range(12)
            ],
            "unweighed": [{"mode": "plate bending", "part": "aft closure", "why": HOSTILE, "would_fit": True}],
            "recorded": history,
            "predicted": history,
            "next_step": "Look at the holes.",
        }
    )  # fmt: skip


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    shares = {"peak_pressure": {"throat_diameter": 0.6, HOSTILE: 0.4}}
    spread = {
        **COMMON, "samples": 4096, "design": design("nominal"), "shares": shares,
        "figures": {"peak_pressure": {"p5": 5e6, "p50": 5.5e6, "p95": 6e6, "p99": 6.2e6, "nominal": 5.4e6}},
        "chance_of_failure": {"any": {"value": 0.01, "low": 0.005, "high": 0.02},
                              "rungs": [{"mode": "screw shear", "part": "forward closure", "value": 0.01}]},
    }  # fmt: skip
    changes = [{"key": "case.wall", "from": 0.003, "to": 0.002, "alone": {"total_impulse": 3.0, "peak_pressure": 1e5}}]
    reduce = {
        **COMMON,
        "firings": [
            {
                "name": HOSTILE,
                "measured": {"peak_pressure": 5e6, "pressure_integral_above_ambient": 6.671652e6},
                "uncertainty": {"pressure_integral_above_ambient": 1.12e5},
                "predicted": {"peak_pressure": 5.1e6, "pressure_integral_above_ambient": 6.6e6},
                "measured_curve": curve(),
                "predicted_curve": curve(),
            }
        ],
        "fit": {
            "rate": 6e-3,
            "at": 5e6,
            "exponent": 0.3,
            "standard_error": {},
            "correlation": 0.1,
            "pressure_range": [1e6, 6e6],
        },
        "rate_lines": [{"name": HOSTILE, "pressure": [1e6, 6e6], "rate": [3e-3, 7e-3]}],
    }
    made = {
        "explain": explain_page(),
        "check": report.render_check({**COMMON, "design": design(HOSTILE), "shares": shares}),
        "search": search_page(),
        "compare": report.render_compare({**COMMON, "designs": [design(HOSTILE), design("B")], "changes": changes}),
        "spread": report.render_spread(spread),
        "reduce": report.render_reduce(reduce),
        "vouch": vouch_page(),
    }
    paths = {}
    for name, text in made.items():
        paths[name] = folder / f"{name}.html"
        paths[name].write_text(text, encoding="utf-8")
        assert len(text.encode()) < 6_000_000
    return paths


def opened(browser, path: Path, width: int) -> None:
    browser.get("about:blank")
    browser.get_log("performance")
    browser.get_log("browser")
    measures = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", measures)
    browser.get(path.as_uri())


def requests(browser) -> list[str]:
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    return [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]


@pytest.mark.parametrize("kind", ["check", "search", "compare", "spread", "reduce", "explain", "vouch"])
@pytest.mark.parametrize("width", [pytest.param(width, marks=pytest.mark.slow if width < max(WIDTHS) else ()) for width in WIDTHS])
def test_opens_clean(browser, pages, kind, width):
    opened(browser, pages[kind], width)
    browser.execute_script("window.scrollTo(0, document.body.scrollHeight)")
    assert browser.get_log("browser") == []
    asked = [url for url in requests(browser) if not url.startswith("data:")]
    assert asked == [pages[kind].as_uri()]
    assert browser.execute_script("return window.hacked === undefined && !document.querySelector('img')")
    wide = browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1] == width
    assert browser.execute_script("return document.querySelector('h1').textContent") == COMMON["title"]
    small = browser.execute_script(
        """return [...document.querySelectorAll('body *')].filter(n => n.childNodes.length && n.offsetParent !== null &&
           [...n.childNodes].some(c => c.nodeType === 3 && c.textContent.trim()) &&
           parseFloat(getComputedStyle(n).fontSize) < 12).map(n => n.outerHTML.slice(0, 80))"""
    )
    assert small == []
    # Text in a picture shrinks with the picture.
    shrunk = browser.execute_script(
        """return [...document.querySelectorAll('svg text')].filter(n => n.checkVisibility()).map(n =>
           [parseFloat(getComputedStyle(n).fontSize) * n.getScreenCTM().a, n.textContent]).filter(n => n[0] < 11.5)"""
    )
    assert shrunk == []


OVERLAPS = """
const boxes = [...document.querySelectorAll(arguments[0] + ' text')].map(n => [n.textContent, n.getBoundingClientRect()]);
const found = [];
boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
  const w = Math.min(p.right, q.right) - Math.max(p.left, q.left), h = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
  if (w > 1 && h > 3) found.push(a + ' on ' + b);
}));
const frame = document.querySelector(arguments[0]).getBoundingClientRect();
boxes.forEach(([a, p]) => { if (p.left < frame.left - 1 || p.right > frame.right + 1) found.push(a + ' leaves the picture'); });
return [boxes.length, found];
"""


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 2, 6])
@pytest.mark.parametrize("width", WIDTHS)
def test_labels_of_the_failure_lie_apart(browser, tmp_path, width, count):
    path = tmp_path / "explain.html"
    path.write_text(explain_page(count), encoding="utf-8")
    opened(browser, path, width)
    labels, overlapping = browser.execute_script(OVERLAPS, "svg.failure")
    assert labels > 8 + count and overlapping == []


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
def test_the_ladder_of_the_chosen_design_stands_above_its_figures(browser, pages, width):
    from selenium.webdriver.common.by import By

    opened(browser, pages["search"], width)

    def tops() -> list[float]:
        return [
            browser.execute_script(f"return document.querySelector('{place}').getBoundingClientRect().top")
            for place in ("#chosen-detail .strip", "#chosen-detail .ladder", "#chosen-values", "#chosen-detail .charts")
        ]

    assert tops() == sorted(tops())
    # Also after another pick, with one kept, and for a design whose panels are not in the page.
    browser.execute_script("document.getElementById('pin').click()")
    for row in ("3", "23", "4"):
        browser.execute_script(f"document.querySelector('#designs tr[data-row=\"{row}\"] th').click()")
        heads = [cell.text for cell in browser.find_elements(By.CSS_SELECTOR, "#chosen-values thead th")]
        assert len(browser.find_elements(By.ID, "chosen-values")) == 1 and heads[1] == f"design {int(row) + 1}"
        assert len(heads) == 4
    assert tops() == sorted(tops())
    assert browser.get_log("browser") == []


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
def test_measured_and_predicted_are_seen_together(browser, pages, width):
    opened(browser, pages["reduce"], width)
    inside = "const n = document.querySelector('[aria-label=\"Measured figures\"]'); return n.scrollWidth - n.clientWidth"
    assert browser.execute_script(inside) <= 0


@pytest.mark.parametrize("width", WIDTHS)
def test_points_select(browser, pages, width):
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.by import By

    opened(browser, pages["search"], width)
    name = browser.find_element(By.ID, "chosen-name")
    assert "balanced" in name.text
    assert len(browser.find_elements(By.CSS_SELECTOR, "#scatter .dot")) == 24
    dot = browser.find_element(By.CSS_SELECTOR, '#scatter .dot[data-row="16"]')
    ActionChains(browser).move_to_element(dot).perform()
    tip = browser.find_element(By.CSS_SELECTOR, "#scatter .tip")
    assert tip.is_displayed() and tip.text.startswith("Design 17")
    ActionChains(browser).move_to_element(dot).click().perform()
    assert name.text == "Design 17"
    assert browser.find_element(By.ID, "chosen-file").text == "motors/17.toml"
    chosen = browser.find_element(By.CSS_SELECTOR, '#designs tbody tr[aria-selected="true"]')
    assert chosen.get_attribute("data-row") == "16"
    assert browser.current_url.endswith("#design=17")
    # Its own panels: a ladder with a bar a rung, and charts.
    assert len(browser.find_elements(By.CSS_SELECTOR, "#chosen-detail .rungs .rung")) == 15
    assert len(browser.find_elements(By.CSS_SELECTOR, "#chosen-detail svg.chart")) == 4
    assert browser.get_log("browser") == []


@pytest.mark.slow
def test_keyboard_picks_and_keeps(browser, pages):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    opened(browser, pages["search"], 1440)
    name = browser.find_element(By.ID, "chosen-name")
    picture = browser.find_element(By.ID, "scatter")
    start = int(name.text.split()[1].rstrip(":"))
    picture.send_keys(Keys.ARROW_RIGHT)
    picture.send_keys(Keys.ARROW_RIGHT)
    assert int(name.text.split()[1].rstrip(":")) == start + 2  # across is the loaded mass, in order of the numbers
    browser.find_element(By.ID, "pin").click()
    picture.send_keys(Keys.ARROW_LEFT)
    heads = [cell.text for cell in browser.find_elements(By.CSS_SELECTOR, "#chosen-values thead th")]
    assert heads[1:] == [f"design {start + 1}", f"design {start + 2}, kept", "change from it"]
    first = [cell.text for cell in browser.find_elements(By.CSS_SELECTOR, "#chosen-values tbody tr:first-child td")]
    assert first[2] == "−0.05"
    # The table by keyboard: down one row.
    row = browser.find_element(By.CSS_SELECTOR, '#designs tr[aria-selected="true"]')
    row.send_keys(Keys.ARROW_DOWN)
    assert int(name.text.split()[1].rstrip(":")) == start + 2
    # A design whose panels are not in the page says how to get them.
    for _ in range(24):
        picture.send_keys(Keys.ARROW_RIGHT)
    assert "grainwright check motors/24.toml" in browser.find_element(By.ID, "chosen-detail").text
    assert browser.get_log("browser") == []


@pytest.mark.slow
def test_table_sorts_and_filters_in_step(browser, pages):
    from selenium.webdriver.common.by import By

    opened(browser, pages["search"], 1440)

    def column(number: int) -> list[float]:
        cells = browser.find_elements(By.CSS_SELECTOR, f"#designs tbody tr td:nth-of-type({number})")
        return [float(cell.get_attribute("textContent")) for cell in cells]

    def shown() -> int:
        return len(browser.find_elements(By.CSS_SELECTOR, "#scatter .dot:not(.out)"))

    heads = browser.find_elements(By.CSS_SELECTOR, "#designs thead th[aria-sort] button")
    labels = [head.text.split("\n")[0] for head in heads]
    throat = labels.index("throat diameter")
    heads[throat].click()
    assert column(throat + 1) == sorted(column(throat + 1)) and len(column(throat + 1)) == 24
    heads[throat].click()
    assert column(throat + 1) == sorted(column(throat + 1), reverse=True)
    assert browser.find_elements(By.CSS_SELECTOR, "th[aria-sort]")[throat].get_attribute("aria-sort") == "descending"
    box = browser.find_element(By.CSS_SELECTOR, 'input[aria-label="total impulse min"]')
    box.send_keys("1700")
    impulses = column(2)
    assert impulses and min(impulses) >= 1700.0
    assert shown() == len(impulses) == 8
    assert browser.find_element(By.ID, "count").text == "8 of 24 designs"
    box.clear()
    browser.find_element(By.ID, "clear").click()
    assert shown() == 24
    browser.find_element(By.ID, "find").send_keys("window.hacked")
    assert shown() == 1 and browser.execute_script("return window.hacked === undefined")
    browser.find_element(By.ID, "clear").click()
    # Another axis: the picture is drawn anew and still selects.
    axis = browser.find_element(By.ID, "axis-y")
    axis.find_elements(By.TAG_NAME, "option")[2].click()
    assert "smallest factor" in browser.find_element(By.ID, "scatter").get_attribute("textContent")
    assert shown() == 24
    assert browser.get_log("browser") == []


@pytest.mark.slow
def test_a_long_table_is_built_in_part(browser, tmp_path):
    from selenium.webdriver.common.by import By

    rows = [
        {"id": k, "variables": {"throat_diameter": 0.01}, "results": {"loaded_mass": 1.0 + k, "total_impulse": 1.0 + k}}
        for k in range(900)
    ]
    objectives = [{"name": "loaded_mass", "direction": "min"}, {"name": "total_impulse", "direction": "max"}]
    path = tmp_path / "long.html"
    path.write_text(report.render_search({**COMMON, "objectives": objectives, "designs": rows}), encoding="utf-8")
    opened(browser, path, 1440)
    browser.execute_script("location.hash = '#design=880'")
    browser.refresh()
    assert len(browser.find_elements(By.CSS_SELECTOR, "#scatter .dot")) == 900
    lines = browser.find_elements(By.CSS_SELECTOR, "#designs tbody tr")
    assert len(lines) <= 200
    chosen = browser.find_element(By.CSS_SELECTOR, '#designs tr[aria-selected="true"]')
    assert chosen.get_attribute("data-row") == "880"
    more = browser.find_element(By.ID, "more")
    assert more.text == "show all 900 rows"
    more.click()
    assert len(browser.find_elements(By.CSS_SELECTOR, "#designs tbody tr")) == 900
    assert not more.is_displayed()


@pytest.mark.slow
def test_charts_are_read_with_the_keyboard(browser, pages):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    opened(browser, pages["check"], 1440)
    chart = browser.find_element(By.CSS_SELECTOR, "svg.chart")
    browser.execute_script("arguments[0].focus()", chart)
    browser.switch_to.active_element.send_keys(Keys.ARROW_RIGHT)
    text = browser.find_element(By.CSS_SELECTOR, ".readout").text
    words = text.split(" · ")
    assert words[0].startswith("time ") and words[1].startswith("chamber ") and words[2].startswith("head end ")
    time, pressure = float(words[0].split()[1]), float(words[1].split()[1])
    assert pressure == pytest.approx(5.0 * (1 + 0.1 * math.sin(time)), rel=0.01)


@pytest.mark.slow
def test_a_link_to_a_design_opens_it(browser, pages):
    from selenium.webdriver.common.by import By

    opened(browser, pages["check"], 1440)
    browser.get(pages["search"].as_uri() + "#design=5")
    assert browser.find_element(By.ID, "chosen-name").text == "Design 5"


@pytest.mark.slow
def test_everything_has_a_name(browser, pages):
    opened(browser, pages["search"], 1440)
    nameless = browser.execute_script(
        """return [...document.querySelectorAll('button, input, select, [role=img], [tabindex="0"]')].filter(n =>
           !(n.getAttribute('aria-label') || n.textContent.trim() || n.closest('label')))
           .map(n => n.outerHTML.slice(0, 90))"""
    )
    assert nameless == []
    assert browser.execute_script("return document.documentElement.lang") == "en"


@pytest.mark.slow
def test_prints(browser, pages):
    opened(browser, pages["search"], 1440)
    sheet = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": True})
    import base64
    import io

    import pypdf

    reader = pypdf.PdfReader(io.BytesIO(base64.b64decode(sheet["data"])))
    text = " ".join(page.extract_text() for page in reader.pages)
    assert "Failure ladder" in text and "Fire remotely." in text
    assert len(reader.pages) < 12
