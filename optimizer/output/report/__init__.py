"""The page that each command but `draw` and `new` ends in: one file that opens offline.

Owns the views (plain dicts, numbers in SI) and their rendering. `design_view` makes the commonest one from an
assessment. May import everything in optimizer but the commands.

Every view may carry these keys (all optional but `title`):

- `title` (name of motor, study or firing), `file` (path as the user gave it), `units` ("metric" or "imperial");
- `cautions`: [{"about", "text"}]; `kernel`; `seed`; `seconds`;
- `inputs`: [{"role", "path", "digest"}]; `versions`: {"name": "version"}.

A *design* (`design_view` makes it):

- `name`, `designation`, `ok` (bool or None), `described` (False where the port chokes; True where left out);
- `figures`: {figure name: value or None}; `maximum_expected_pressure` Pa;
- `ladder`: rows with `mode, part, pressure [Pa] or time [s] (the other None), factor, required, ok, basis, note`;
- `not_assessed`: [{"mode", "part", "why"}]; `masses`: {part: kg or None}; `unknown_masses`: [part];
- `fit`: {"clearance", "length_clearance", "in_airframe", "ok"} or None; `room_left` m or None; `fits` as `fit_rows`;
- `curve`: {"time", "chamber_pressure", "head_pressure", "thrust", "kn", "mass_flux"} (lists) or None;
- `section`: `optimizer.output.drawing.geometry.Section` or None.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import re
import zlib
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

if TYPE_CHECKING:
    from physics.assessment import Assessment

View = Mapping[str, Any]

HERE = Path(__file__).parent
MOST_DESIGNS = 3000  # rows in the page; a longer front is thinned for the picture, and the page says so
MOST_PANELS = 200  # designs whose full panels the page carries, packed
_CURVES = ("time", "chamber_pressure", "head_pressure", "thrust", "kn", "mass_flux")


def design_view(assessment: Assessment, name: str, index: int = 0, designation: str = "") -> dict[str, Any]:
    """The view of one motor of an assessed batch."""
    import numpy as np

    from optimizer.ladder_view import ladder_rows
    from optimizer.output.drawing.geometry import number, section
    from optimizer.output.report.flight import flight_view

    def one(values: Any) -> float | None:
        return number(values, index)

    curve = assessment.figures.curve
    fit, flags = assessment.fit, ("ok", "in_airframe")
    return {
        "name": name,
        "designation": designation,
        "ok": bool(np.broadcast_to(assessment.ok, (assessment.motors.size,))[index]),
        "described": bool(np.broadcast_to(assessment.described, (assessment.motors.size,))[index]),
        "figures": {key: one(value) for key, value in assessment.figures.values.items()},
        "maximum_expected_pressure": one(assessment.maximum_expected_pressure),
        "ladder": ladder_rows(assessment.ladder, index),
        "not_assessed": [{"mode": n.mode, "part": n.part, "why": n.why} for n in assessment.ladder.not_assessed],
        "masses": {key: one(value) for key, value in assessment.masses.items()},
        "unknown_masses": list(assessment.unknown_masses),
        "fit": None if fit is None else {key: bool(one(v)) if key in flags else one(v) for key, v in fit.items()},
        "fits": fit_rows(assessment, index),
        "stack_fits": bool(np.broadcast_to(assessment.assembly.fits, (assessment.motors.size,))[index]),
        "room_left": None if assessment.assembly.not_assessed else one(assessment.assembly.left),
        "curve": None if curve is None else {key: [float(v) for v in getattr(curve, key)[index]] for key in _CURVES},
        "section": section(assessment.motors, index),
        "flight": flight_view(assessment, index),
        "heat": assessment.heat,
    }


def fit_rows(assessment: Assessment, index: int = 0) -> list[dict[str, Any]]:
    """The room between the parts cold and hot: place, direction, and temperature and room in SI, coldest first."""
    from physics.fit import hot_fits

    fits = hot_fits(assessment.motors, assessment.assembly)
    rows: list[dict[str, Any]] = []
    for one in fits.clearances:
        pairs = sorted(set(zip(one.temperatures[index].tolist(), one.drawn[index].tolist(), strict=True)))
        least = float(one.least[index].min())
        rows.append({"place": one.place, "across": one.across, "at": pairs, "least": least, "rests_on": "; ".join(one.rests_on)})
    rows += [{"place": place, "why": why} for place, why in fits.not_assessed]
    return rows


def render_check(view: View) -> str:
    """The page of one motor: a common view with `design`, and `shares` as in `render_spread` where they are known."""
    from optimizer.output.report.panels import detail, shares

    units = view.get("units", "metric")
    design = view["design"]
    return _page("check", view, verdict=verdict_of(design), detail=detail(design, units), shares=shares(view))


def verdict_of(design: View) -> dict[str, Any] | None:
    """Whether a design holds, and the same in words; None where the view does not say."""
    ok = design.get("ok")
    if ok is None:
        return None
    from optimizer.ladder_view import verdict

    ladder, fit, left = design.get("ladder") or (), design.get("fit") or {}, design.get("room_left")
    words, _ = verdict(
        [(row["mode"], row["part"]) for row in ladder if not row["ok"]],
        rungs=len(ladder),
        missing=len(design.get("not_assessed") or ()),
        described=design.get("described", True),
        stack_fits=design.get("stack_fits", True),
        left=math.nan if left is None else left,
        in_airframe=fit.get("in_airframe", True),
        fits=bool(ok),
    )
    return {"ok": bool(ok), "text": words}


def render_search(view: View) -> str:
    """The page of a search.

    The view, beside the common keys:

    - `objectives`: [{"name", "direction" ("min" or "max")}]; `variables`: [name]; both name keys of the rows;
    - `designs`: [{"id" (text or number), "variables": {name: SI value or text}, "results": {name: SI value},
      "motor_file" (path or ""), "detail": a design view or None}], best first where it matters which keep detail;
    - `space`, `evaluated`, `feasible` (counts), `exact` (bool), `proof` (a sentence on what is proven, optional);
    - `rejected_by`: {limit: count}; `rejected_only_by`: {limit: count}, candidates that this limit alone turned away;
    - `picks`: [{"id", "title", "why"}], made from the objectives where left out;
    - with nothing feasible: `nearest`: rows as in `designs` with "misses": [{"limit", "value", "bound"}], and
      `relaxations`: [{"changes": [{"limit", "from", "to"}], "variables": {name: value}}], values SI or text, or one
      change alone as {"limit", "from", "to", "admits"};
    - where nothing can be built: `ways_in`: [{"changes": [{"key", "from", "to", "in" ("study" or "motor")}], "variables",
      "misses": [limit] or None}], and `files`: {"study", "motor"}, their names;
    - `shares` as in `render_spread`, optional.
    """
    from optimizer.output.report.panels import rejected, shares
    from optimizer.output.report.tradeoff import nearest_rows, picks_of, relaxation_rows, table_data, thinned_designs, way_rows

    units = view.get("units", "metric")
    designs = list(view.get("designs") or ())
    shown = thinned_designs(designs, MOST_DESIGNS, view)
    picks = view.get("picks") or picks_of(shown, view.get("objectives") or ())
    packed, left_out = _details(shown, picks, units)
    data = table_data(shown, view, picks, units)
    counts = {key: f"{view[key]:,}".replace(",", " ") for key in ("space", "evaluated", "feasible") if view.get(key) is not None}
    verdict = {
        "ok": bool(designs),
        "text": f"{len(designs)} designs on the front."
        if designs
        else "Nothing in this study can be built."
        if view.get("ways_in")
        else "No candidate meets every limit.",
    }
    return _page(
        "search",
        view,
        verdict=verdict,
        data=json_text(data),
        columns=data["columns"],
        packed=packed,
        left_out=left_out,
        thinned=(len(designs), len(shown)) if len(shown) < len(designs) else None,
        counts=counts,
        rejected=rejected(view),
        nearest=nearest_rows(view, units),
        relaxations=relaxation_rows(view, units),
        ways_in=way_rows(view, units),
        shares=shares(view),
        several=len(view.get("objectives") or ()) > 1,
    )


def _details(designs: Sequence[View], picks: Sequence[View], units: str) -> tuple[Markup, int]:
    """Full panels of single designs, packed, the picks first; and how many were left out.

    What the table of the design chosen says already, the figures, is not said again.
    """
    from optimizer.output.report.panels import MASS_TABLE, detail

    first = [str(pick["id"]) for pick in picks]
    rank = {name: place for place, name in reversed(list(enumerate(first)))}
    ordered = sorted(
        (design for design in designs if design.get("detail")),
        key=lambda design: rank.get(str(design["id"]), len(first)),
    )
    panel = _environment().get_template("panels.html").module.design_panel
    kept: dict[str, str] = {}
    for design in ordered[:MOST_PANELS]:
        shown = detail(design["detail"], units)
        shown["tables"] = [table for table in shown["tables"] if table["caption"] == MASS_TABLE]
        kept[str(design["id"])] = str(panel(shown))
    return packed_panels(kept), len(ordered) - len(kept)


def packed_panels(panels: Mapping[str, str]) -> Markup:
    """Panels by id as text for a data block: cut at their sections, each once, like beside like, deflated, in base 64.

    The script that unpacks it is `page.js`: the deflated text is JSON, `{"pieces": [text], "panels": {id: [piece]}}`.
    """
    cut = {name: re.split(r"(?=<section|<details|<figure)", text) for name, text in panels.items()}
    number: dict[str, int] = {}
    for place in range(max((len(pieces) for pieces in cut.values()), default=0)):
        for pieces in cut.values():
            if place < len(pieces):
                number.setdefault(pieces[place], len(number))
    answer = {"pieces": list(number), "panels": {name: [number[piece] for piece in pieces] for name, pieces in cut.items()}}
    text = json.dumps(answer, ensure_ascii=False, separators=(",", ":"))
    return Markup(base64.b64encode(zlib.compress(text.encode(), 9)).decode())


def render_compare(view: View) -> str:
    """The page of a comparison: `designs` (a list of design views, in order) and
    `changes`: [{"key", "from", "to" (SI or text), "alone": {figure: change}, "lines": [{"key", "from", "to"}] of what was
    rebuilt}]; `answers`: a sentence a step;
    `first_to_fail`: [{"mode", "part", "shares": [share a motor]}].
    """
    from optimizer.output.report.flight import drawn_together
    from optimizer.output.report.panels import (
        change_rows,
        compared_figures,
        compared_ladders,
        detail,
        first_shares,
        histories,
        picture_of,
    )
    from optimizer.output.report.pictures import swatch
    from optimizer.output.report.values import unit_text
    from optimizer.vocabulary import spoken

    units = view.get("units", "metric")
    designs = list(view["designs"])
    names = [str(design.get("name", "")) for design in designs]
    figures = list(dict.fromkeys(key for change in view.get("changes") or () for key in change.get("alone") or {}))
    return _page(
        "compare",
        view,
        verdict=None,
        motors=[
            {"name": name, "swatch": swatch(k), "detail": detail(d, units)}
            for k, (name, d) in enumerate(zip(names, designs, strict=True))
        ],
        answers=[str(text) for text in view.get("answers") or ()],
        change_heads=[{"name": spoken(name), "unit": unit_text(name, units)} for name in figures],
        changes=change_rows(view, units, figures),
        figures=compared_figures(designs, units),
        first=first_shares(view),
        ladders=compared_ladders(designs, units),
        charts=[*histories(designs, units, names=names), *drawn_together(designs, units, names)],
        sections=[{"name": name, "picture": picture_of(design)} for name, design in zip(names, designs, strict=True)],
    )


def render_spread(view: View) -> str:
    """The page of a spread.

    `samples`, `figures`: {name: {"p5", "p50", "p95", "p99", "nominal" (optional)}}, `chance_of_failure`:
    {"any": {"value", "low", "high"}, "rungs": [{"mode", "part", "value"}]}, `shares`: {figure: {tolerance: share}},
    `design`: the nominal motor's view, optional.
    """
    from optimizer.output.report.panels import chance, detail, percentiles, shares

    units = view.get("units", "metric")
    design = view.get("design")
    return _page(
        "spread",
        view,
        verdict=None,
        chance=chance(view),
        percentiles=percentiles(view, units),
        shares=shares(view),
        samples=view.get("samples"),
        detail=None if design is None else detail(design, units),
    )


def render_reduce(view: View) -> str:
    """The page of a reduction.

    `firings`: [{"name", "measured": {figure: value}, "uncertainty": {figure: half of a 95 % interval}, "predicted":
    {figure: value}, empty where nothing could be predicted, "predicted_by" (how, in words), "measured_curve",
    "predicted_curve", "refitted_curve" (each like a design's curve, or None), "cautions"}]; `fit`: {"rate", "at",
    "exponent", "interval" (95 %), "correlation", "pressure_range"} or None;
    `fit_why` (why there is no fit); `rate_lines`: [{"name", "pressure": [...], "rate": [...]}].
    """
    from optimizer.output.report.panels import liner_lines, measured_rows, outside_lines, overlaid, rate_picture
    from optimizer.output.report.values import value_text

    units = view.get("units", "metric")
    fit = view.get("fit")
    rows: list[tuple[str, str, str]] = []
    if fit:
        ends = fit.get("interval") or {}
        errors = {name: 0.5 * (high - low) for name, (low, high) in ends.items()}
        for name, quantity in (("rate", "rate"), ("at", "pressure"), ("exponent", "ratio")):
            rows.append(
                (
                    name,
                    value_text(fit.get(name), quantity, units),
                    value_text(errors.get(name), quantity, units) if errors.get(name) is not None else "",
                )
            )
        low, high = fit.get("pressure_range") or (None, None)
        rows.append(("fitted from", value_text(low, "pressure", units), ""))
        rows.append(("fitted to", value_text(high, "pressure", units), ""))
        if fit.get("correlation") is not None:
            rows.append(("correlation of rate and exponent", f"{fit['correlation']:.3f}", ""))
    return _page(
        "reduce",
        view,
        verdict=None,
        firings=[
            {
                "name": firing.get("name", ""),
                "rows": measured_rows(firing, units),
                "told": any(value is not None for value in (firing.get("predicted") or {}).values()),
                "told_by": firing.get("predicted_by") or "",
                "charts": overlaid(firing, units),
                "outside": outside_lines(firing.get("case_temperature") or (), units),
                "liner": liner_lines(firing.get("liner") or (), units),
                "cautions": list(firing.get("cautions") or ()),
            }
            for firing in view.get("firings") or ()
        ],
        fit=rows,
        fit_why=view.get("fit_why") or "",
        rate=rate_picture(view, units),
    )


def render_vouch(view: View) -> str:
    """What tests have shown of a motor.

    - `maximum_expected_pressure` [Pa], `lasts` [s]; `chance_before`, `chance_after` (None: the tests contradict the model);
    - `tests`: [{"name", "outcome", "mode", "hardware", "temperature" [K] or None, "loaded" (count of rungs)}];
    - `rungs`, lowest first: [{"mode", "part", "kind", "place", "design", "likely", "band", "held", "by", "failed_at",
      "failed_by", "before", "after"}], Pa or for a rung of heat s;
    - `untouched`: [{"mode", "part"}]; `coverage`: [{"place", "verdict", "ratios", "needs", "test"}];
    - `next_test`: {"pressure", "over_expected", "chance_now", "chance_after", "text"}; `failed`: [test]; `notes`: [text].
    """
    from optimizer.output.report.panels import vouched

    units = view.get("units", "metric")
    failed, tests = list(view.get("failed") or ()), list(view.get("tests") or ())
    verdict = None
    if failed:
        verdict = {"ok": False, "text": f"Did not hold: {'; '.join(failed)}."}
    elif tests:
        verdict = {"ok": True, "text": "Every test held." if len(tests) > 1 else "The test held."}
    return _page("vouch", view, verdict=verdict, shown=vouched(view, units))


def render_explain(view: View) -> str:
    """The page of a failed firing.

    - `failure`: {"time", "pressure", "low", "high" (5th and 95th percentile of the pressure), "source", "moment" (s),
      "end", "found"};
    - `candidates`: [{"mode", "part", "likelihood", "for", "against", "would_tell", "pressure" or "time", "band"}],
      likeliest first, `band` the 5th and 95th percentile of where it happens; `elsewhere`: the share of all else;
    - `ruled_out`: [{"mode", "part", "ground" ("physics", "findings" or "place"), "pressure" or "time", "cause" (what the
      findings say against it), "absent" (findings it usually leaves)}];
    - `unweighed`: [{"mode", "part", "why", "would_fit"}], the rungs that were not assessed;
    - `recorded`, `predicted`: {"time", "pressure"} up to the failure, or None; `next_step`; `assumptions`.
    """
    from optimizer.output.report.panels import failure_chart, failure_facts, ranking, ruled_out_groups
    from optimizer.output.report.values import likelihood_text

    units = view.get("units", "metric")
    elsewhere = view.get("elsewhere")
    return _page(
        "explain",
        view,
        verdict=None,
        facts=failure_facts(view, units),
        source=(view.get("failure") or {}).get("source") or "",
        candidates=ranking(view, units),
        elsewhere=None if elsewhere is None else {"share": likelihood_text(elsewhere), "bar": round(100.0 * elsewhere, 2)},
        chart=failure_chart(view, units),
        next_step=view.get("next_step") or "",
        ruled_out=ruled_out_groups(view, units),
        unweighed=list(view.get("unweighed") or ()),
        assumptions=list(view.get("assumptions") or ()),
    )


def json_text(data: Any) -> Markup:
    """Data as JSON that is inert inside a script element: no character that could end it or start markup."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


@cache
def _environment() -> Any:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _page(kind: str, view: View, **parts: Any) -> str:
    """The whole page. Its policy lets nothing be fetched and no script run but our own, told by its digest."""
    script = (HERE / "page.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    text = (
        _environment()
        .get_template("page.html")
        .render(
            kind=kind,
            title=str(view["title"]),
            file=view.get("file") or "",
            units=view.get("units", "metric"),
            cautions=list(view.get("cautions") or ()),
            inputs=list(view.get("inputs") or ()),
            versions=dict(view.get("versions") or {}),
            run=[(name, str(view[name])) for name in ("kernel", "seed", "seconds") if view.get(name) is not None],
            style=Markup((HERE / "page.css").read_text(encoding="utf-8")),
            script=Markup(script),
            script_digest=digest,
            view=view,
            **parts,
        )
    )
    return str(text)
