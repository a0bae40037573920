"""From plain views (numbers in SI) to what the templates print: texts, places on scales, pictures.

Owns what each panel says. Imports pictures and values.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import Any

from markupsafe import Markup

from optimizer.candidates.samples import chance_words
from optimizer.ladder_view import bar_ceiling
from optimizer.output.heat import heat_rows, heat_sentences
from optimizer.output.report.flight import flight_panel
from optimizer.output.report.pictures import (
    Level,
    Series,
    Span,
    chart,
    failure_picture,
    legend,
    marker,
    scale_marks,
    section_picture,
    share,
    swatch,
)
from optimizer.output.report.values import (
    change_text,
    in_display,
    likelihood_text,
    meaning,
    number_text,
    percent,
    unit_text,
    value_text,
)
from optimizer.units import show, show_dimension
from optimizer.vocabulary import group_of, spoken
from physics.failure.ladder import place_in_ladder
from physics.figures import FLIGHT, GROUPS, MASS, in_groups
from physics.heat.bench import COVERED
from physics.heat.summary import HeatSummary

View = Mapping[str, Any]

ROUNDED = {"maximum_expected_pressure": "expected pressure", "total_impulse": "impulse", "smallest_factor": "factor"}
"""What is told of a rounding to stock, and in which words."""
FIRST_FIGURES = ("total_impulse", "peak_head_pressure", "peak_thrust", "burn_time")
HISTORIES = (
    ("Pressure", "chamber_pressure", ("chamber_pressure", "head_pressure")),
    ("Thrust", "thrust", ("thrust",)),
    ("Burning area over throat area, Kn", "kn", ("kn",)),
    ("Mass flux in the port", "mass_flux", ("mass_flux",)),
)
_SERIES_NAMES = {"chamber_pressure": "chamber", "head_pressure": "head end", "kn": "Kn"}


def fact(name: str, value: Any, units: str, quantity: str | None = None) -> dict[str, str]:
    """One figure: what it is called, its number, its unit, what it means."""
    quantity = quantity or name
    return {
        "name": spoken(name),
        "number": number_text(value, quantity, units),
        "unit": "" if value is None or isinstance(value, str) else unit_text(quantity, units),
        "meaning": meaning(name),
    }


def headline(design: View, units: str) -> list[dict[str, str]]:
    """The few figures at the top of a design."""
    facts = []
    if design.get("designation"):
        facts.append({"name": "designation", "number": design["designation"], "unit": "", "meaning": ""})
    figures = design.get("figures") or {}
    facts += [fact(name, figures.get(name), units) for name in FIRST_FIGURES if name in figures]
    facts.append(fact("maximum_expected_pressure", design.get("maximum_expected_pressure"), units))
    loaded = (design.get("masses") or {}).get("loaded")
    if loaded is not None:
        facts.append(fact("loaded_mass", loaded, units))
    return facts


def figure_table(design: View, units: str, group: str) -> list[dict[str, str]]:
    """The figures of a design that belong to a group."""
    figures = design.get("figures") or {}
    return [fact(name, figures[name], units) for name in in_groups(figures).get(group, ())]


def mass_table(design: View, units: str) -> list[dict[str, str]]:
    """Masses known, and those that are not."""
    rows = [row for row in figure_table(design, units, MASS) if row["name"] != spoken("propellant_mass")]
    rows += [fact(name, value, units, "loaded_mass") for name, value in (design.get("masses") or {}).items()]
    unknown = design.get("unknown_masses") or ()
    if unknown:
        rows.append({"name": "left out of loaded", "number": "; ".join(unknown), "unit": "", "meaning": ""})
    fit = design.get("fit") or {}
    for name in ("clearance", "length_clearance"):
        if fit.get(name) is not None:
            rows.append(fact(name, fit[name], units))
    if design.get("room_left") is not None:
        rows.append(fact("room_left", design["room_left"], units))
    if fit:
        fits = fit.get("in_airframe", fit.get("ok"))
        rows.append({"name": "fits the airframe", "number": "yes" if fits else "NO", "unit": "", "meaning": ""})
    return rows


def fits_table(design: View, units: str) -> list[dict[str, str]]:
    """The room between the parts, cold and hot, and what of it is not assessed."""

    def size(room: float) -> str:
        return show_dimension(room, "length", units, 2)

    rows = []
    for one in design.get("fits") or ():
        if "why" in one:
            rows.append({"name": one["place"], "number": f"not assessed: {one['why']}", "unit": "", "meaning": ""})
            continue
        told = [f"{size(room)} at {show_dimension(at, 'temperature', units, 3)}" for at, room in one["at"]]
        if one["least"] < min(room for _, room in one["at"]) - 1e-9:
            told.append(f"least with the tolerances {size(one['least'])}")
        name = f"{one['place']}, {'on the diameter' if one['across'] else 'along the axis'}"
        rows.append({"name": name, "number": ", ".join(told), "unit": "", "meaning": one["rests_on"]})
    return rows


MASS_TABLE = "mass and fit"
TABLES: tuple[tuple[str, Callable[[View, str], list[dict[str, str]]]], ...] = (
    *((group, partial(figure_table, group=group)) for group in GROUPS if group != MASS),
    (MASS_TABLE, mass_table),
    ("room cold and hot", fits_table),
)
"""The tables of a design, by caption; a further one is a function and a row here."""


def ladder(design: View, units: str) -> dict[str, Any]:
    """The failure ladder as bars: places in percent of the scale, texts beside them."""
    rows = list(design.get("ladder") or ())
    expected = design.get("maximum_expected_pressure")
    pressures = sorted(
        (row for row in rows if row.get("time") is None),
        key=lambda row: place_in_ladder(row.get("kind", ""), _last(row.get("pressure")), None),
    )
    times = sorted(
        (row for row in rows if row.get("time") is not None),
        key=lambda row: place_in_ladder(row.get("kind", ""), None, _last(row["time"])),
    )
    top = bar_ceiling([_last(row.get("pressure")) for row in pressures], expected)
    shown_top = in_display([top], "pressure", units)[0]
    return {
        "top": top,
        "unit": unit_text("pressure", units),
        "expected": value_text(expected, "pressure", units),
        "expected_at": share(expected, top),
        "marks": scale_marks(shown_top),
        "rungs": [_pressure_rung(row, top, expected, units) for row in pressures],
        "times": _time_rungs(times, units),
        "first": [{**one, "share": percent(one["share"], 0)} for one in design.get("first_to_fail") or ()],
        "points": design.get("points"),
    }


def _last(value: float | None) -> float:
    return math.inf if value is None or math.isnan(value) else value


def _pressure_rung(row: View, top: float, expected: float | None, units: str) -> dict[str, Any]:
    pressure, required = row.get("pressure"), row.get("required")
    needed = None if not required or expected is None else required * expected
    place = math.nan if pressure is None else float(pressure)
    return {
        **_rung(row),
        "bar": None if math.isnan(place) else share(place, top) if place <= top else 100.0,
        "cut": place > top,
        "never": False,
        "need": share(needed, top),
        "value": value_text(pressure, "pressure", units),
        **_band(row, top, "pressure", units),
    }


def _band(row: View, top: float, kind: str, units: str) -> dict[str, Any]:
    """Where 90 of 100 such parts let go, in percent of the scale; the part that a test has held; both in words."""
    low, high = row.get("band") or (None, None)
    known = low is not None and high is not None and math.isfinite(_last(low)) and _last(low) < top and low < high
    held = row.get("held")
    words = []
    if known and high is not None:
        end = value_text(high, kind, units) if math.isfinite(high) else "never"
        words.append(
            f"likely {value_text(row.get('likely'), kind, units)}, 90 of 100 between {value_text(low, kind, units)} and {end}"
        )
    if row.get("rests_on"):
        words.append(f"rests on {row['rests_on']}")
    if held is not None:
        words.append(f"held {value_text(held, kind, units)} in a test")
    return {
        "band": [share(low, top), share(min(_last(high), top), top)] if known else None,
        "held": None if held is None else share(min(held, top), top),
        "sure": "; ".join(words),
    }


def _rung(row: View) -> dict[str, Any]:
    factor, required = row.get("factor"), row.get("required")
    text = "–" if factor is None or math.isnan(factor) else "∞" if math.isinf(factor) else f"{factor:.2f}"
    return {
        "mode": row["mode"],
        "part": row["part"],
        "ok": bool(row["ok"]),
        "factor": text,
        "required": "–" if not required else f"{required:.2f}",
        "basis": row.get("basis") or "",
        "note": row.get("note") or "",
    }


def _time_rungs(rows: Sequence[View], units: str) -> dict[str, Any] | None:
    """Times on a scale of their own: the bar ends when it happens, the stroke is what the required factor asks."""
    if not rows:
        return None
    lasts = [row["time"] / row["factor"] for row in rows if _usable(row)]
    needs = [row["required"] * row["time"] / row["factor"] for row in rows if _usable(row) and row.get("required")]
    finite = [row["time"] for row in rows if math.isfinite(_last(row["time"]))]
    must = max(lasts, default=None)
    top = bar_ceiling([*finite, *needs], must)
    rungs = []
    for row in rows:
        never = math.isinf(_last(row["time"]))
        last = row["time"] / row["factor"] if _usable(row) else must
        need = None if last is None or row.get("required") is None else row["required"] * last
        rungs.append(
            {
                **_rung(row),
                "bar": 100.0 if never or row["time"] > top else share(row["time"], top),
                "cut": never or row["time"] > top,
                "need": share(need, top),
                "never": never,
                **_band(row, top, "time", units),
                "value": "not reached in the model" if never else value_text(row["time"], "time", units),
            }
        )
    return {
        "top": top,
        "marks": scale_marks(top),
        "expected_at": share(must, top),
        "expected": "" if must is None else value_text(must, "time", units),
        "rungs": rungs,
    }


def _usable(row: View) -> bool:
    factor = row.get("factor")
    return factor is not None and math.isfinite(factor) and factor > 0 and math.isfinite(_last(row["time"]))


def histories(designs: Sequence[View], units: str, levels: bool = True, names: Sequence[str] | None = None) -> list[dict[str, Any]]:
    """Charts along the burn: one design with its own lines, several laid over one another."""
    panels = []
    several = len(designs) > 1
    for title, quantity, keys in HISTORIES:
        series: list[Series] = []
        for index, design in enumerate(designs):
            curve = design.get("curve")
            if not curve:
                continue
            for step, key in enumerate(keys[:1] if several else keys):
                if curve.get(key) is None:
                    continue
                name = names[index] if names else _SERIES_NAMES.get(key, spoken(key))
                series.append(
                    Series(
                        name,
                        in_display(curve["time"], "time", units),
                        in_display(curve[key], quantity, units),
                        index if several else step,
                    )
                )
        if not series:
            continue
        series = _distinct(series)
        lines: list[Level] = []
        expected = designs[0].get("maximum_expected_pressure")
        if quantity == "chamber_pressure" and levels and not several and expected is not None and math.isfinite(expected):
            lines.append(Level("maximum expected", in_display([expected], "pressure", units)[0]))
        unit = unit_text(quantity, units)
        picture = chart(series, "time, s", unit or spoken(quantity), f"{title} over time", lines)
        panels.append({"title": title, "picture": picture, "legend": legend(series)})
    return panels


def heat(design: View, units: str) -> dict[str, Any] | None:
    """The outside of the case after the burn as a chart and a table, and what else heat does in sentences."""
    summary: HeatSummary | None = design.get("heat")
    if summary is None:
        return None
    warm = [place for place in summary.outside if place.warms]
    series = [
        Series(
            place.place,
            in_display(place.time.tolist(), "time", units),
            in_display(place.history.tolist(), "temperature", units),
            style,
        )
        for style, place in enumerate(warm)
    ]
    unit = unit_text("temperature", units)
    head, *rows = heat_rows(summary, units)
    return {
        "picture": chart(series, "time, s", f"outside, {unit}", "Outside of the case over time") if series else None,
        "legend": legend(series),
        "head": head,
        "rows": rows,
        "sentences": heat_sentences(summary, units),
    }


def _distinct(series: list[Series]) -> list[Series]:
    """Without a second line that is the first one over again (a head pressure that equals the chamber's)."""
    if len(series) == 2 and len(series[0].y) == len(series[1].y):
        pairs = [(a, b) for a, b in zip(series[0].y, series[1].y, strict=True) if math.isfinite(a) and math.isfinite(b)]
        top = max((abs(a) for a, _ in pairs), default=0.0)
        same = all(abs(a - b) <= 1e-6 * top for a, b in pairs)
        if same and series[0].name == "chamber":
            return [Series("chamber and head end", series[0].x, series[0].y, series[0].style)]
    return series


def picture_of(design: View) -> Markup | None:
    """The section of a design, None where its view carries no layout."""
    shape = design.get("section")
    return None if shape is None else section_picture(shape, f"Section of {design.get('name', 'the motor')}, to scale")


def detail(design: View, units: str) -> dict[str, Any]:
    """Everything the page shows of one design."""
    shape = design.get("section")
    return {
        "name": design.get("name", ""),
        "headline": headline(design, units),
        "tables": [{"caption": caption, "rows": rows} for caption, make in TABLES if (rows := make(design, units))],
        "ladder": ladder(design, units),
        "charts": histories([design], units),
        "heat": heat(design, units),
        "section": picture_of(design),
        "assumptions": [] if shape is None else list(shape.assumptions),
        "not_assessed": [dict(item) for item in design.get("not_assessed") or ()],
        "tools": tools(design, units),
        "flight": flight_panel(design, units),
    }


def tools(design: View, units: str) -> list[dict[str, Any]]:
    """The sizes of tools next to what is off stock, and what each would do to the figures that matter."""
    return [
        {
            "variable": spoken(item["variable"]),
            "old": value_text(item["old"], item["variable"], units),
            "new": value_text(item["new"], item["variable"], units),
            "tool": item["tool"],
            "changes": [f"{100.0 * item['changes'][name]:+.1f} %" if name in item["changes"] else "–" for name in ROUNDED],
            "verdict": "passes" if item["ok"] else "no longer passes",
        }
        for item in design.get("roundings") or ()
    ]


def rejected(view: View) -> list[dict[str, Any]]:
    """Bars of how many candidates each limit rejected, most first; alone where the view says so."""
    counts = dict(view.get("rejected_by") or {})
    alone = dict(view.get("rejected_only_by") or {})
    total = max(int(view.get("evaluated") or 0), max(counts.values(), default=0), 1)
    return [
        {
            "name": spoken(name),
            "count": f"{count:,}".replace(",", " "),
            "share": percent(count / total),
            "bar": round(100.0 * count / total, 2),
            "alone": f"{alone[name]:,}".replace(",", " ") if name in alone else "",
            "alone_bar": round(100.0 * alone.get(name, 0) / total, 2),
        }
        for name, count in sorted(counts.items(), key=lambda item: -item[1])
    ]


def shares(view: View) -> list[dict[str, Any]]:
    """Of each figure, the share of its scatter that each tolerance makes, largest first."""
    blocks = []
    for figure, parts in (view.get("shares") or {}).items():
        bars = [
            {"name": spoken(name), "bar": round(100.0 * min(max(value, 0.0), 1.0), 2), "text": percent(max(value, 0.0))}
            for name, value in sorted(parts.items(), key=lambda item: -item[1])
            if value is not None and math.isfinite(value)
        ]
        if bars:
            blocks.append({"figure": spoken(figure), "bars": bars})
    return blocks


def percentiles(view: View, units: str) -> list[dict[str, Any]]:
    """Of each figure, its percentiles as numbers and as a strip from low to high."""
    rows = []
    for name, row in (view.get("figures") or {}).items():
        values = [row.get(key) for key in ("p5", "p50", "p95", "p99")]
        nominal = row.get("nominal")
        known = [value for value in (*values, nominal) if value is not None and math.isfinite(value)]
        if not known:
            continue
        low, high = min(known), max(known)
        pad = 0.06 * (high - low) or abs(high) * 0.01 or 1.0
        low, span = low - pad, high - low + 2 * pad

        def at(value: float | None, low: float = low, span: float = span) -> float | None:
            return None if value is None or not math.isfinite(value) else round(100.0 * (value - low) / span, 2)

        rows.append(
            {
                "name": spoken(name),
                "unit": unit_text(name, units),
                "texts": [number_text(value, name, units) for value in values],
                "nominal": None if nominal is None else number_text(nominal, name, units),
                "places": {key: at(row.get(key)) for key in ("p5", "p50", "p95", "p99", "nominal")},
            }
        )
    return rows


LEAST_CHANCE = 1e-6
"""A chance over scattered strengths below this is told as a bound; our judgement."""
COUNTED = "held at minimum"
"""What a view says of strengths where chances were counted on samples."""


def chance(view: View) -> dict[str, Any]:
    """The chance of failure in words, a bound where nothing failed, and the rungs it comes from."""
    found = view.get("chance_of_failure") or {}
    total = int(view.get("samples") or 0)
    whole = found.get("any") or {}
    rungs = sorted((row for row in found.get("rungs") or ()), key=lambda row: -(row["value"] or 0.0))
    top = max([row["value"] or 0.0 for row in rungs] + [0.0])
    counted = view.get("strengths", COUNTED) == COUNTED
    least = 0.0 if counted else LEAST_CHANCE
    never = sum(row["value"] is not None and row["value"] <= least for row in rungs)
    unknown = [f"{row['mode']} ({row['part']})" for row in rungs if row["value"] is None]
    rungs = [row for row in rungs if row["value"] is not None and row["value"] > least]
    rest = []
    if never:
        noun = "rung" if never == 1 else "rungs"
        each = f"none of {total} samples" if counted else f"below {percent(least)}"
        rest.append(f"{never} {'other ' if rungs else ''}{noun}: {each} each")
    if unknown:
        rest.append("not assessed: " + ", ".join(unknown))
    return {
        "text": chance_text(whole.get("value"), whole.get("low"), whole.get("high"), total),
        "rest": "; ".join(rest),
        "rungs": [
            {
                "mode": row["mode"],
                "part": row["part"],
                "text": percent(row["value"]),
                "bar": round(100.0 * row["value"] / top, 2),
            }
            for row in rungs
        ],
    }


def chance_text(value: float | None, low: float | None, high: float | None, total: int) -> str:
    """A chance in words: no failure among N says only that the chance lies below a bound."""
    if value is None:
        return "not assessed"
    if value == 0.0:
        bound = high if high is not None else 1.0 - 0.05 ** (1.0 / total) if total else None
        known = "" if bound is None else f": the chance is below {percent(bound, 2)} at 95 % confidence"
        return f"none of {total} samples failed{known}"
    if low is None or high is None:
        return percent(value)
    return f"{percent(value)} (between {percent(low)} and {percent(high)} at 95 % confidence)"


def vouched(view: View, units: str) -> dict[str, Any]:
    """What the page of `vouch` shows: tests, each rung with what was held of it, what none has touched, what is next."""
    tests = list(view.get("tests") or ())
    number = {test["name"]: place for place, test in enumerate(tests, start=1)}
    rungs = list(view.get("rungs") or ())
    covered = list(view.get("coverage") or ())
    ratios = list(dict.fromkeys(name for row in covered for name in row.get("ratios") or {}))
    expected, lasts = view.get("maximum_expected_pressure"), view.get("lasts")
    after = view.get("next_test") or {}
    next_facts = [
        fact("pressure on the gauge", after["pressure"], units, "pressure"),
        _words("over the maximum expected", f"×{after['over_expected']:g}"),
        _words("chance now", _chance_text(after.get("chance_now"))),
        _words("chance once it has held", _chance_text(after.get("chance_after"))),
    ] if _teaches(after) else []  # fmt: skip
    return {
        "facts": [
            fact("maximum_expected_pressure", expected, units),
            _words("chance that anything fails, untested", _chance_text(view.get("chance_before"))),
            _words("after what tests have shown", _chance_text(view.get("chance_after"))),
            _words("rungs that a test has loaded", f"{len(rungs) - len(view.get('untouched') or ())} of {len(rungs)}"),
        ],
        "tests": [
            {
                **test,
                "number": place,
                "held": test["outcome"] == "held",
                "outcome": f"{test['outcome']}: {test['mode']}" if test["mode"] else test["outcome"],
                "temperature": "–" if test["temperature"] is None else value_text(test["temperature"], "temperature", units),
            }
            for place, test in enumerate(tests, start=1)
        ],
        "notes": list(view.get("notes") or ()),
        "next": _sentence(after.get("text") or ""),
        "next_facts": next_facts,
        "pressures": _vouched_rungs([row for row in rungs if row["kind"] != "heat"], expected, "pressure", units, number),
        "times": _vouched_rungs([row for row in rungs if row["kind"] == "heat"], lasts, "time", units, number),
        "untouched": [f"{row['mode']} ({row['part']})" for row in view.get("untouched") or ()],
        "ratios": ratios,
        "coverage": [
            {
                "place": row.get("place") or "whole",
                "verdict": row["verdict"],
                "covered": row["verdict"] == COVERED,
                "ratios": [f"{row['ratios'][name]:.2f}" if name in row["ratios"] else "–" for name in ratios],
                "needs": row.get("needs") or "",
            }
            for row in covered
        ],
    }


def _teaches(after: View) -> bool:
    """Whether the next test that is proposed would move the chance by more than a little."""
    now, then = after.get("chance_now"), after.get("chance_after")
    return after.get("pressure") is not None and now is not None and then is not None and then < 0.95 * now


def _words(name: str, text: str) -> dict[str, str]:
    return {"name": name, "number": text, "unit": "", "meaning": ""}


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _chance_text(value: float | None) -> str:
    """A chance in words; None and NaN are what tests contradict."""
    return chance_words(math.nan if value is None else value)


def _vouched_rungs(
    rows: Sequence[View], expected: float | None, kind: str, units: str, number: Mapping[str, int]
) -> dict[str, Any] | None:
    """Rungs of one scale, lowest first, with what a test has held of each."""
    if not rows:
        return None
    top = bar_ceiling([_last(row["design"]) for row in rows], expected)
    shown = []
    for row in rows:
        never = math.isinf(_last(row["design"]))
        held, broke = row.get("held"), row.get("failed_at")
        by = number.get(row.get("by") or "", "")
        shown.append(
            {
                "mode": row["mode"],
                "part": row["part"],
                "place": row.get("place") or "",
                "bar": 100.0 if never or row["design"] > top else share(row["design"], top),
                "cut": never or row["design"] > top,
                "need": None,
                **_band(row, top, kind, units),
                "value": "not reached" if never else value_text(row["design"], kind, units),
                "chance": " → ".join(dict.fromkeys([_chance_text(row["before"]), _chance_text(row["after"])])),
                "held_text": "" if held is None else f"held {value_text(held, kind, units)} ({by})",
                "failed": "" if broke is None else f"did not hold {value_text(broke, kind, units)}",
            }
        )
    return {
        "marks": scale_marks(in_display([top], kind, units)[0]),
        "expected_at": share(expected, top),
        "expected": value_text(expected, kind, units),
        "unit": unit_text(kind, units),
        "rungs": shown,
    }


def first_shares(view: View) -> list[dict[str, Any]]:
    """How often each rung is the first to fail in each motor, as bars and in words."""
    return [
        {
            "mode": row["mode"],
            "part": row["part"],
            "shares": [{"bar": round(100.0 * share, 2), "text": percent(share, 0)} for share in row["shares"]],
        }
        for row in view.get("first_to_fail") or ()
    ]


def compared_ladders(designs: Sequence[View], units: str) -> dict[str, Any]:
    """The rungs of several motors on one pressure scale, a marker a motor."""
    names: dict[tuple[str, str], list[View | None]] = {}
    for index, design in enumerate(designs):
        for row in design.get("ladder") or ():
            if row.get("time") is None:
                names.setdefault((row["mode"], row["part"]), [None] * len(designs))[index] = row
    every = [_last(row.get("pressure")) for rows in names.values() for row in rows if row is not None]
    expected = [design.get("maximum_expected_pressure") for design in designs]
    highest = max((value for value in expected if value is not None and math.isfinite(value)), default=None)
    top = bar_ceiling(every, highest)
    rungs: list[dict[str, Any]] = []
    for (mode, part), rows in names.items():
        marks = []
        for index, row in enumerate(rows):
            if row is None:
                continue
            pressure = row.get("pressure")
            beyond = pressure is not None and math.isfinite(pressure) and pressure > top
            marks.append(
                {
                    "at": 100.0 if beyond else share(pressure, top),
                    "shift": -11 * (len(rows) - 1 - index) if beyond else 0,
                    # A motor a height, so that no mark hides another.
                    "drop": round((index - (len(rows) - 1) / 2) * min(7.0, 16.0 / max(len(rows) - 1, 1)), 1),
                    "shape": Markup(marker(index)),
                    "swatch": swatch(index),
                    "ok": row["ok"],
                    "text": f"{number_text(pressure, 'pressure', units)} ×{_rung(row)['factor']}",
                }
            )
        lowest = min((_last(row.get("pressure")) for row in rows if row is not None), default=math.inf)
        rungs.append({"mode": mode, "part": part, "marks": marks, "lowest": lowest})
    rungs.sort(key=lambda rung: rung["lowest"])
    return {
        "unit": unit_text("pressure", units),
        "marks": scale_marks(in_display([top], "pressure", units)[0]),
        "expected": [
            {"at": share(value, top), "name": design.get("name", ""), "text": value_text(value, "pressure", units)}
            for value, design in zip(expected, designs, strict=True)
        ],
        "rungs": rungs,
        "times": _compared_times(designs, units),
    }


def _compared_times(designs: Sequence[View], units: str) -> list[dict[str, Any]]:
    names: dict[tuple[str, str], list[str]] = {}
    for index, design in enumerate(designs):
        for row in design.get("ladder") or ():
            if row.get("time") is not None:
                texts = names.setdefault((row["mode"], row["part"]), ["–"] * len(designs))
                texts[index] = value_text(row["time"], "time", units) if math.isfinite(row["time"]) else "not reached"
    return [{"mode": mode, "part": part, "texts": texts} for (mode, part), texts in names.items()]


_GROUP_ORDER = (*GROUPS, FLIGHT, "")


def compared_figures(designs: Sequence[View], units: str) -> list[dict[str, Any]]:
    """Figures of several motors side by side, and the change from the first to the last."""
    known = [{**(design.get("figures") or {}), **_flown(design)} for design in designs]
    names = dict.fromkeys(name for figures in known for name in figures)
    rows = []
    for name in sorted(names, key=lambda name: _GROUP_ORDER.index(group_of(name))):
        values = [figures.get(name) for figures in known]
        first, last = values[0], values[-1]
        delta = None if first is None or last is None else last - first
        relative = ""
        if delta is not None and first and math.isfinite(delta / first):
            relative = f"{'+' if delta >= 0 else '−'}{percent(abs(delta / first))}" if delta else "0 %"
        rows.append(
            {
                "name": spoken(name),
                "meaning": meaning(name),
                "group": group_of(name),
                "unit": unit_text(name, units),
                "texts": [number_text(value, name, units) for value in values],
                "change": change_text(delta, name, units),
                "relative": relative,
                "moved": bool(delta),
            }
        )
    return rows


def _flown(design: View) -> Mapping[str, float | None]:
    """The figures of a design's flight that are known; empty without a rocket, or where none was reckoned."""
    flight = design.get("flight") or {}
    return {name: value for name, value in (flight.get("figures") or {}).items() if value is not None}


MOST_TOGETHER = 2
"""Keys changed together that stand in one row."""


def change_rows(view: View, units: str, figures: Iterable[str]) -> list[dict[str, Any]]:
    """What was changed, and what each change does when it is made alone; of a part that was rebuilt, a line a key in `lines`."""
    rows = []
    for change in view.get("changes") or ():
        key = change["key"]
        alone = change.get("alone") or {}
        lines = change.get("lines") or ()
        together = len(lines) <= MOST_TOGETHER
        apart = [] if together else [{"key": spoken(line["key"]), "old": line["from"], "new": line["to"]} for line in lines]
        rows.append(
            {
                "key": spoken(key),
                "old": value_text(change.get("from"), key, units) if together else "",
                "new": value_text(change.get("to"), key, units) if together else "",
                "lines": apart,
                "alone": [change_text(alone.get(name), name, units) for name in figures],
            }
        )
    return rows


def measured_rows(firing: View, units: str) -> list[dict[str, Any]]:
    """Measured figures with their uncertainty beside what was predicted."""
    measured, predicted = firing.get("measured") or {}, firing.get("predicted") or {}
    uncertainty = firing.get("uncertainty") or {}
    rows = []
    for name, value in measured.items():
        told = predicted.get(name)
        apart = None if value is None or told is None or not told else value / told - 1.0
        band = uncertainty.get(name)
        quantity = MEASURED_AS.get(name, name)
        unit = unit_text(quantity, units)
        doubt = "" if band is None or value is None else change_text(abs(band), quantity, units).removesuffix(f" {unit}")
        rows.append(
            {
                "name": spoken(name),
                "meaning": meaning(name),
                "unit": unit,
                "measured": number_text(value, quantity, units),
                "band": doubt.replace("+", "± "),
                "predicted": number_text(told, quantity, units),
                "apart": "–" if apart is None else _apart(apart),
            }
        )
    return rows


def outside_lines(outside: Sequence[View], units: str) -> list[str]:
    """The thermometers on the case: where, how hot, when."""
    lines = []
    for one in outside:
        before = "" if one["before"] is None else f", {show(one['before'], 'temperature', units)} before"
        rising = "; it was still rising when the record ended" if one["still_rising"] else ""
        lines.append(
            f"{one['name']}, {show(one['position'], 'length', units)} from the forward end: highest "
            f"{show(one['peak'], 'temperature', units)} at {show(one['time_of_peak'], 'time', units)} from ignition{before}{rising}"
        )
    return lines


def liner_lines(liner: Sequence[View], units: str) -> list[str]:
    """The liner before and after, place by place."""
    lines = []
    for one in liner:
        told = [
            f"{word} {show(value, 'length', units)}"
            for word, value in (("before", one["before"]), ("after", one["after"]), ("lost", one["loss"]))
            if value is not None
        ]
        if one["factor"] is not None:
            told.append(f"predicted {show(one['predicted'], 'length', units)}, so {one['factor']:.2g} times that ({one['place']})")
        lines.append(f"{show(one['position'] or 0.0, 'length', units)} from the forward end: {', '.join(told)}")
    return lines


def _apart(share: float) -> str:
    text = f"{100.0 * share:+.1f} %".replace("-", "−")
    return "0.0 %" if text in ("+0.0 %", "−0.0 %") else text


MEASURED_AS = {
    "highest_pressure_sample": "pressure",
    "peak_pressure_smoothed": "pressure",
    "pressure_integral_above_ambient": "pressure_integral",
    "highest_thrust_sample": "thrust",
    "total_impulse_of_record": "total_impulse",
    "ignition_time": "time",
}
"""Figures of a record that are another quantity under a name of their own."""


def overlaid(firing: View, units: str) -> list[dict[str, Any]]:
    """Measured and predicted histories laid over one another."""
    panels = []
    for title, key in (("Pressure", "chamber_pressure"), ("Thrust", "thrust")):
        series = []
        for index, source in enumerate(("measured", "predicted", "refitted")):
            curve = firing.get(f"{source}_curve") or {}
            if curve.get(key) is not None:
                series.append(Series(source, in_display(curve["time"], "time", units), in_display(curve[key], key, units), index))
        if series:
            picture = chart(series, "time, s", unit_text(key, units), f"{title} over time, measured and predicted")
            panels.append({"title": title, "picture": picture, "legend": legend(series)})
    return panels


def rate_picture(view: View, units: str) -> dict[str, Any] | None:
    """Burning rate over pressure, both axes logarithmic, one line a law."""
    series = [
        Series(
            line["name"],
            in_display(line["pressure"], "pressure", units),
            in_display(line["rate"], "rate", units),
            index,
        )
        for index, line in enumerate(view.get("rate_lines") or ())
    ]
    if not series:
        return None
    x_label, y_label = f"pressure, {unit_text('pressure', units)}", f"burning rate, {unit_text('rate', units)}"
    picture = chart(series, x_label, y_label, "Burning rate over pressure", log=True)
    return {"title": "Burning rate over pressure", "picture": picture, "legend": legend(series)}


MOST_SPANS, MOST_TIMES = 6, 4
"""Rungs drawn beside a trace and along its clock, the likeliest first."""


def failure_facts(view: View, units: str) -> list[dict[str, str]]:
    """What is known of a failure."""
    failure = view.get("failure") or {}

    def words(name: str, text: Any, meaning: str = "") -> dict[str, str]:
        return {"name": name, "number": str(text or "not known"), "unit": "", "meaning": meaning}

    time = failure.get("time")
    facts = [words("time of failure", None if time is None else value_text(time, "time", units))]
    if failure.get("pressure") is not None:
        facts.append(fact("pressure at the failure", failure["pressure"], units, "pressure"))
        low, high = (number_text(failure.get(key), "pressure", units) for key in ("low", "high"))
        between = f"{low} to {high} {unit_text('pressure', units)}"
        facts.append(words("likely between", between, "5th to 95th percentile"))
    facts.append(words("end that failed", failure.get("end")))
    facts.append(words("found", ", ".join(failure.get("found") or ())))
    return facts


def ranking(view: View, units: str) -> list[dict[str, Any]]:
    """Candidates by likelihood, numbered as in the picture, with where each happens."""
    rows = []
    for number, row in enumerate(view.get("candidates") or (), start=1):
        quantity = "pressure" if row.get("pressure") is not None else "time"
        low, high = (number_text(value, quantity, units) for value in row.get("band") or (None, None))
        rows.append(
            {
                "number": number,
                "mode": row["mode"],
                "part": row["part"],
                "share": likelihood_text(row["likelihood"]),
                "bar": round(100.0 * row["likelihood"], 2),
                "between": f"{low} to {high} {unit_text(quantity, units)}",
                "reasons_for": list(row.get("for") or ()),
                "reasons_against": list(row.get("against") or ()),
                "tell": row.get("would_tell") or "",
            }
        )
    return rows


def failure_chart(view: View, units: str) -> dict[str, Any] | None:
    """The trace up to the failure with where the leading rungs happen; None without a pressure at the failure."""
    failure = view.get("failure") or {}
    if failure.get("pressure") is None:
        return None
    series = []
    for style, name in enumerate(("recorded", "predicted")):
        history = view.get(name)
        if history:
            x, y = in_display(history["time"], "time", units), in_display(history["pressure"], "pressure", units)
            series.append(Series(name, x, y, style))
    pressures: list[Span] = []
    times: list[Span] = []
    for number, row in enumerate(view.get("candidates") or (), start=1):
        kind, spans = ("pressure", pressures) if row.get("pressure") is not None else ("time", times)
        values = [row["band"][0], row[kind], row["band"][1]]
        if all(value is not None for value in values):
            spans.append(Span(str(number), *in_display(values, kind, units)))
    keys = ("low", "pressure", "high")
    words = value_text(failure["pressure"], "pressure", units)
    at = Span(words, *in_display([failure.get(key) for key in keys], "pressure", units))
    title = "Pressure up to the failure, and where the leading rungs happen"
    unit = unit_text("pressure", units)
    moment = failure.get("moment")
    picture = failure_picture(series, moment, at, pressures[:MOST_SPANS], times[:MOST_TIMES], unit, title)
    return {
        "picture": picture,
        "legend": legend(series),
        "recorded": bool(view.get("recorded")),
        "clocked": bool(times),
        "title": title,
    }


def ruled_out_groups(view: View, units: str) -> list[dict[str, Any]]:
    """Rungs that were ruled out, under what speaks most against them; a mode once where all is the same for its parts."""
    groups: dict[str, dict[str, Any]] = {}
    rows: dict[str, dict[tuple[str, ...], list[str]]] = {}
    for row in view.get("ruled_out") or ():
        head, texts = _against(row, view, units)
        groups.setdefault(head["title"], head)
        rows.setdefault(head["title"], {}).setdefault((row["mode"], *texts), []).append(row["part"])
    return [
        {
            **head,
            "rows": [{"mode": mode, "part": _parts(parts), "texts": texts} for (mode, *texts), parts in rows[title].items()],
        }
        for title, head in groups.items()
    ]


def _against(row: View, view: View, units: str) -> tuple[dict[str, Any], list[str]]:
    """The group that a rung ruled out belongs to, with the heads of its columns, and what stands in them."""
    failure = view.get("failure") or {}
    at, level = failure.get("pressure"), row.get("pressure")
    if row.get("ground") == "physics" and level is not None and at:
        heads = [f"happens at, {unit_text('pressure', units)}", "over that at the failure"]
        head = {"title": "The pressure does not fit", "heads": heads, "numbers": True}
        return head, [number_text(level, "pressure", units), f"×{level / at:.1f}"]
    if row.get("ground") == "physics" and row.get("time") is not None:
        head = {"title": "The time does not fit", "heads": ["happens after, s"], "numbers": True}
        return head, [number_text(row["time"], "time", units)]
    if row.get("ground") == "place":
        title = f"The {failure.get('end')} end failed, and the part is elsewhere"
        return {"title": title, "heads": [], "numbers": False}, []
    cause = row.get("cause") or "What was found does not fit"
    heads = ["not reported, though usual"]
    return {"title": cause[:1].upper() + cause[1:], "heads": heads, "numbers": False}, [", ".join(row.get("absent") or ())]


def _parts(parts: Sequence[str]) -> str:
    return "both closures" if set(parts) == {"forward closure", "aft closure"} else ", ".join(parts)
