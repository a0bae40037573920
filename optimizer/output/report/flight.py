"""The flight on a page: its figures stage by stage, height and speed over time, balance along the rocket, usual demands.

Owns the view of a flight and what its panel says. Imports pictures and values.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from optimizer.output.drawing.geometry import number
from optimizer.output.report.pictures import OKABE_ITO, Series, chart, escape, legend
from optimizer.output.report.values import in_display, meaning, number_text, unit_text, value_text
from optimizer.vocabulary import spoken
from physics.assessment import Assessment
from physics.flight.practice import PRACTICE
from physics.flight.trajectory import FLIGHT_FLAGS

View = Mapping[str, Any]

STAGES: Mapping[str, tuple[str, ...]] = {
    "on the rail": ("rail_exit_speed", "coldest_rail_exit_speed", "rail_exit_time", "thrust_to_weight", "mean_thrust_to_weight"),
    "under thrust": ("maximum_acceleration", "maximum_felt_acceleration", "maximum_speed", "maximum_mach",
                     "maximum_dynamic_pressure", "maximum_dynamic_pressure_time"),
    "burnout and coast": ("burnout_speed", "burnout_altitude", "maximum_deceleration", "coast_time"),
    "apogee": ("apogee", "apogee_above_sea", "time_to_apogee", "downrange", "speed_at_apogee"),
    "mass and balance": ("liftoff_mass", "centre_of_mass_travel"),
}  # fmt: skip
FIRST = ("coldest_rail_exit_speed", "mean_thrust_to_weight", "maximum_mach", "maximum_acceleration", "apogee", "coast_time")
"""Figures of the strip on top."""


def flight_view(assessment: Assessment, index: int = 0) -> dict[str, Any] | None:
    """The flight of one motor of an assessment as plain data, SI; None without a rocket.

    `refused`, or None; `flags` in words; `figures`; `margins` by moment; `band` of apogees by drag coefficient; `track` and
    `balance` as lists over time; `rocket` with what the file says of it, None where it does not.
    """
    flown = assessment.flight
    rocket, launch = assessment.motors.rocket, assessment.motors.launch
    if flown is None or rocket is None or launch is None:
        return None

    def one(values: Any) -> float | None:
        return number(values, index)

    def lines(table: Mapping[str, Any] | None) -> dict[str, list[float]] | None:
        return None if table is None else {name: [float(value) for value in rows[index]] for name, rows in table.items()}

    positions = ("centre_of_mass", "motor_end", "centre_of_pressure", "diameter", "mass", "skin_limit")
    return {
        "refused": flown.refused,
        "flags": [FLIGHT_FLAGS[name] for name, raised in flown.flags.items() if raised[index]],
        "figures": {name: one(values) for name, values in flown.figures.items()},
        "margins": {name: one(values) for name, values in flown.margins.items()},
        "band": {f"{drag:g}": one(values) for drag, values in flown.band.items()} if rocket.drag_mach is None else {},
        "track": lines(flown.track),
        "balance": lines(flown.balance),
        "skin": None
        if assessment.skin is None
        else {"limit": assessment.skin.limit, "likely": one(assessment.skin.likely), "hottest": one(assessment.skin.hottest)},
        "rocket": {name: one(getattr(rocket, name)) for name in positions}
        | {"elevation": one(launch.elevation), "motor": one(assessment.assembly.exit)},
    }


def flight_panel(design: View, units: str) -> dict[str, Any] | None:
    """What the panel of the flight shows; None without a rocket."""
    flight = design.get("flight")
    if flight is None:
        return None
    if flight["refused"] is not None:
        return {"refused": flight["refused"], "flags": [], "strip": [], "tables": [], "charts": [], "balance": None, "usual": []}
    figures = flight["figures"]
    rows = {stage: [_fact(name, figures[name], units) for name in names if figures.get(name) is not None]
            for stage, names in STAGES.items()}  # fmt: skip
    rows["apogee"] += [
        {"name": f"apogee at a drag coefficient of {drag}", "number": number_text(value, "apogee", units),
         "unit": unit_text("apogee", units), "meaning": ""}
        for drag, value in flight["band"].items() if value is not None
    ]  # fmt: skip
    rows["mass and balance"] += [
        {"name": f"static margin at {spoken(moment)}", "number": f"{margin:.2f}", "unit": "diameters", "meaning": ""}
        for moment, margin in flight["margins"].items() if margin is not None
    ]  # fmt: skip
    if flight.get("skin") is not None:
        words = {"limit": "bears", "likely": "case outside, likely", "hottest": "case outside, worse limit of the liner"}
        rows["airframe's skin on the case"] = [_bears(word, flight["skin"][key], units) for key, word in words.items()]
    return {
        "refused": None,
        "flags": flight["flags"],
        "strip": [_fact(name, figures[name], units) for name in FIRST if figures.get(name) is not None],
        "tables": [{"caption": stage, "rows": facts} for stage, facts in rows.items() if facts],
        "charts": _charts(flight, units),
        "balance": balance_picture(flight, units),
        "usual": usual_rows(flight, units),
    }


def _bears(word: str, value: float | None, units: str) -> dict[str, str]:
    if value is None:
        return {"name": word, "number": "not assessed", "unit": "", "meaning": ""}
    return {
        "name": word,
        "number": number_text(value, "temperature", units),
        "unit": unit_text("temperature", units),
        "meaning": "",
    }


def _fact(name: str, value: float | None, units: str) -> dict[str, str]:
    return {
        "name": spoken(name),
        "number": number_text(value, name, units),
        "unit": unit_text(name, units),
        "meaning": meaning(name),
    }


def _charts(flight: View, units: str) -> list[dict[str, Any]]:
    """Height and speed over time, and the centre of mass while the motor burns."""
    charts = []
    track = flight["track"]
    if track is not None and any(math.isfinite(value) for value in track["height"]):
        time = in_display(track["time"], "time", units)
        for title, key, quantity in (("Height above ground", "height", "apogee"), ("Speed", "speed", "maximum_speed")):
            line = Series(spoken(key), time, in_display(track[key], quantity, units))
            picture = chart([line], "time from ignition, s", unit_text(quantity, units), f"{title} over time")
            charts.append({"title": title, "picture": picture, "legend": Markup("")})
    balance = flight["balance"]
    if balance is not None and any(math.isfinite(value) for value in balance["centre"]):
        known = flight["rocket"]["centre_of_mass"] is not None
        title = "Centre of mass, from the nose's tip" if known else "Centre of mass of the motor, from the case's forward end"
        line = Series("centre of mass", in_display(balance["time"], "time", units), in_display(balance["centre"], "length", units))
        unit = unit_text("length", units)
        picture = chart([line], "time from ignition, s", unit, f"{title}, while the motor burns", from_zero=False)
        charts.append({"title": title, "picture": picture, "legend": Markup("")})
    return charts


LONG, TALL, ROOM = 900.0, 150.0, 20.0
"""Width and height of the picture of the rocket, and what is left free at both its ends."""


def balance_picture(flight: View, units: str) -> dict[str, Any] | None:
    """The rocket along its axis with its motor, and where its centres lie; None where the file does not place them."""
    rocket, balance = flight["rocket"], flight["balance"]
    end, wide = rocket["motor_end"], rocket["diameter"]
    if balance is None or end is None or rocket["centre_of_mass"] is None or wide is None:
        return None
    centres = [value for value in balance["centre"] if math.isfinite(value)]
    if not centres:
        return None
    pressure = rocket["centre_of_pressure"]
    scale = (LONG - 2.0 * ROOM) / max(end, pressure or 0.0)
    half = max(0.5 * wide * scale, 6.0)
    middle = 78.0

    def at(position: float) -> float:
        return float(ROOM + scale * position)

    nose, tail = at(min(4.0 * wide, 0.3 * end)), at(end)
    front = at(max(end - (rocket["motor"] or 0.0), 0.0))
    body = f"M{ROOM:g},{middle:g}Q{0.55 * nose + 0.45 * ROOM:.1f},{middle - half:.1f} {nose:.1f},{middle - half:.1f}H{tail:.1f}"
    body += f"V{middle + half:.1f}H{nose:.1f}Q{0.55 * nose + 0.45 * ROOM:.1f},{middle + half:.1f} {ROOM:g},{middle:g}Z"
    out = [
        f'<svg class="balance" viewBox="0 0 {LONG:g} {TALL:g}" role="img"'
        ' aria-label="The rocket along its axis, with its centres of mass and pressure">',
        f'<path fill="#f4f6f8" stroke="#14181d" d="{body}"/>',
        f'<rect fill="#9fb4c7" stroke="#14181d" x="{front:.1f}" y="{middle - 0.72 * half:.1f}" width="{tail - front:.1f}"'
        f' height="{1.44 * half:.1f}"/>',
    ]
    marks = [("lift-off", centres[0], 0, -1), ("burnout", centres[-1], 1, 1)]
    low, high = min(centres), max(centres)
    out.append(f'<path stroke="#14181d" stroke-width="5" d="M{at(low):.1f},{middle:g}H{at(high):.1f}"/>')
    if pressure is not None:
        marks.append(("centre of pressure", pressure, 2, -1))
    for name, place, style, side in marks:
        x, tip = at(place), middle + side * (half + 5.0)
        word = name if style == 2 else f"centre of mass, {name}"
        out.append(f'<path stroke="{OKABE_ITO[style]}" stroke-width="2.5" d="M{x:.1f},{middle:g}V{tip + side * 12:.1f}"/>')
        other = centres[0] if style == 2 else math.inf if pressure is None or style == 1 else pressure
        anchor = "start" if x < 0.25 * LONG or other < place else "end"
        beside = x + (5.0 if anchor == "start" else -5.0)
        text = f"{word} {value_text(place, 'length', units)}"
        out.append(f'<text x="{beside:.1f}" y="{tip + side * 14 + (10 if side > 0 else 0):.1f}" text-anchor="{anchor}">'
                   f"{escape(text)}</text>")  # fmt: skip
    out.append(f'<text x="{ROOM:g}" y="{TALL - 6:g}">nose</text>')
    out.append(f'<text x="{tail:.1f}" y="{TALL - 6:g}" text-anchor="end">nozzle {value_text(end, "length", units)}</text>')
    out.append("</svg>")
    travel = value_text(high - low, "length", units)
    return {"picture": Markup("".join(out)), "text": f"The centre of mass moves {travel} while the motor burns."}


def usual_rows(flight: View, units: str) -> list[dict[str, str]]:
    """Each usual demand beside this flight's figure."""
    figures = dict(flight["figures"])
    margins = [margin for margin in flight["margins"].values() if margin is not None]
    figures |= {"elevation": flight["rocket"]["elevation"], "static_margin": min(margins, default=None)}
    apogee = figures.get("apogee")
    figures["distance"] = None if apogee is None else max(0.25 * apogee, 457.2)
    rows = []
    for item in PRACTICE:
        value = figures.get(item.figure)
        if value is None:
            continue
        quantity = {"elevation": "angle", "static_margin": "ratio", "distance": "apogee"}.get(item.figure, item.figure)
        below = not math.isnan(item.least) and value < item.least * (1.0 - 1e-9)
        rows.append({"name": spoken(item.figure), "value": value_text(value, quantity, units), "asked": item.asked,
                     "source": f"{item.source} ({item.known})", "below": "below" if below else ""})  # fmt: skip
    return rows


def drawn_together(designs: Sequence[View], units: str, names: Sequence[str]) -> list[dict[str, Any]]:
    """Heights of several motors' flights over time, laid over one another."""
    series = []
    for index, (design, name) in enumerate(zip(designs, names, strict=True)):
        track = (design.get("flight") or {}).get("track")
        if track is not None and any(math.isfinite(value) for value in track["height"]):
            x, y = in_display(track["time"], "time", units), in_display(track["height"], "apogee", units)
            series.append(Series(name, x, y, index))
    if not series:
        return []
    picture = chart(series, "time from ignition, s", unit_text("apogee", units), "Height over time")
    return [{"title": "Height above ground", "picture": picture, "legend": legend(series)}]
