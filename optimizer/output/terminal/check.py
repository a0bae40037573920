"""Figures, masses, fit and histories of one motor on the terminal.

Imports the console, units and the vocabulary.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.cautions import Caution
from optimizer.ladder_view import rung_names
from optimizer.output.heat import heat_rows, heat_sentences
from optimizer.output.terminal.console import FAINT, FIRST, SHORT, _filled, cautions_block, console, heading, lines_of
from optimizer.output.terminal.ladder import (
    basis_lines,
    ladder_table,
    more_notes,
    not_assessed_block,
    verdict_line,
)
from optimizer.units import show, show_both, show_dimension
from optimizer.vocabulary import MOTOR_KEYS, spoken
from physics.assessment import Assessment
from physics.designation import designation
from physics.failure.ladder import ADVICE, in_order
from physics.figures import GROUPS, PRESSURE, in_groups
from physics.fit import Clearance, HotFits, hot_fits
from physics.flight.practice import PRACTICE
from physics.flight.trajectory import FLIGHT_FLAGS
from physics.heat.summary import HeatSummary
from physics.motors import Curve, Rung

if TYPE_CHECKING:
    from optimizer.commands.standing import Standing
    from optimizer.inputs.as_measured import AsBuilt
    from physics.assembly import Assembly

FLIGHT_STAGES: Mapping[str, tuple[str, ...]] = {
    "rail": ("rail_exit_speed", "coldest_rail_exit_speed", "rail_exit_time", "thrust_to_weight", "mean_thrust_to_weight"),
    "boost": ("maximum_acceleration", "maximum_felt_acceleration", "maximum_speed", "maximum_mach", "maximum_dynamic_pressure"),
    "burnout": ("burnout_speed", "burnout_altitude", "maximum_deceleration", "coast_time"),
    "apogee": ("apogee", "apogee_above_sea", "time_to_apogee", "downrange", "speed_at_apogee"),
    "balance": ("liftoff_mass", "centre_of_mass_travel"),
}

"""Figures of a flight by the stage in which they are met."""

FLIGHT_FIRST = ("coldest_rail_exit_speed", "thrust_to_weight", "maximum_mach", "maximum_acceleration", "apogee", "coast_time")

"""Figures of a flight that a screen short of room keeps."""

FLIGHT_LEAST = ("coldest_rail_exit_speed", "thrust_to_weight", "apogee")

"""Those that one without any keeps."""

_BALLISTICS = (
    "peak_pressure", "peak_head_pressure", "mean_pressure", "highest_kn", "kn_at_ignition", "total_impulse", "peak_thrust",
    "mean_thrust", "burn_time", "action_time", "specific_impulse", "thrust_coefficient", "highest_port_mach",
    "highest_mass_flux", "port_over_throat", "propellant_mass",
)  # fmt: skip


def ballistics_table(assessment: Assessment, units: str, width: int, asked: Sequence[str] = _BALLISTICS) -> Table:
    """The figures of one motor, group by group beside their titles."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    longest = max(map(len, GROUPS))
    table.add_column(style=FAINT, no_wrap=True)
    table.add_column(no_wrap=True)
    for group, names in in_groups(name for name in asked if name in assessment.figures.values).items():
        values = {name: float(assessment.figures[name][0]) for name in names}
        if group == PRESSURE:
            values["maximum_expected_pressure"] = float(assessment.maximum_expected_pressure[0])
        cells = [(spoken(name).removesuffix(f" {group}"), show_both(value, name, units)) for name, value in values.items()]
        table.add_row(Text(group), Text("\n").join(_filled(cells, width - longest - 6)))
    return table


def flight_block(assessment: Assessment, units: str, width: int, only: Sequence[str] | None = None) -> Group:
    """The flight of one motor's rocket: what speaks against it first, then its figures; one row a stage of the flight.

    With `only` those figures alone, in one row.
    """
    flown = assessment.flight
    assert flown is not None
    if flown.refused is not None:
        return Group(Text(f"not reckoned: {flown.refused}", SHORT))
    lines = [Text(FLIGHT_FLAGS[name], SHORT) for name, raised in flown.flags.items() if raised[0]]
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style=FAINT, no_wrap=True)
    table.add_column(no_wrap=True)
    stages = FLIGHT_STAGES if only is None else {"": only}
    longest = max(map(len, stages))
    for stage, names in stages.items():
        cells = [
            (spoken(name), show(float(flown.figures[name][0]), name, units))
            for name in names
            if np.isfinite(flown.figures[name][0])
        ]
        if stage == "balance":
            cells += [(f"margin at {spoken(name)}", f"{float(margin[0]):.2f} diameters") for name, margin in flown.margins.items()]
        if cells:
            table.add_row(Text(stage), Text("\n").join(_filled(cells, width - longest - 6)))
    return Group(*lines, table, *(_usual_lines() if only is None else ()))


def _usual_lines() -> list[Text]:
    """What is usually asked of rail exit and thrust, and who asks it."""
    asked = [item for item in PRACTICE if item.figure in ("coldest_rail_exit_speed", "mean_thrust_to_weight")]
    lines = [f"  {spoken(item.figure)} {item.asked}: {item.source} ({item.known})" for item in asked]
    return [Text("usual, by practice and no standard:", FAINT), *(Text(line, FAINT) for line in lines)]


MOST_LINES = 45

"""Lines of `check` at 100 columns and more, unless all is asked for."""

FEWEST_RUNGS = 5

NEAR = 2.0

"""Rungs up to this many times the lowest factor are shown."""


def print_measured(built: AsBuilt, drawn: Assessment, found: Assessment, units: str) -> None:
    """Sizes as measured beside those drawn, and what they made of the smallest factor."""
    table = Table(box=None, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("as measured", no_wrap=True)
    for name in ("drawn", "measured", "differs by"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in built.measured:
        spec = MOTOR_KEYS[re.sub(r"^grain\.\d+\.", "grain.", one.key)]
        quantity = spec.dimension
        cells = [
            "–" if value is None else f"{value:.0f}" if spec.kind == "whole" else show(value, quantity, units)
            for value in (one.drawn, one.measured, None if one.drawn is None else one.measured - one.drawn)
        ]
        if quantity == "temperature":
            cells[2] = "–"
        table.add_row(one.key, *cells)
    screen = console()
    screen.print(table)
    before, after = float(drawn.smallest_factor[0]), float(found.smallest_factor[0])
    if math.isfinite(before) and math.isfinite(after):
        screen.print(
            Text(f"Smallest factor as drawn {before:.2f} ({drawn.governing[0]}), as measured {after:.2f} ({found.governing[0]}).")
        )
    screen.print(Text("Sizes measured scatter no more: their tolerances are dropped, the others stay.", FAINT))
    screen.print(Text(""))


BARE, BAREST = 4, 5
"""The levels of the short check that leave flaws, and the text of all cautions but that for people, to the whole."""


def print_check(
    name: str,
    assessment: Assessment,
    found: Sequence[Caution],
    units: str,
    whole: bool = False,
    stands: Standing | None = None,
) -> None:
    """What one motor does, the verdict and the ladder first; shortened to what matters unless the whole is asked for."""
    screen = console()
    head = [*_head(name, assessment, units), *([] if stands is None else first_line(stands))]
    if whole:
        blocks = _whole_check(assessment, found, units, screen.width, stands)
        if stands is not None and stands.flaws:
            blocks.insert(1, ("What a flaw would do", lines_of(stands.flaw_lines(units))))
        if stands is not None and stands.start is not None:
            blocks.insert(1, ("Start-up", lines_of(stands.start.lines(units))))
        screen.print(_blocks(head, blocks))
        return
    for level in (0, 1, 2, 3, BARE, BAREST):
        blocks = _short_check(assessment, found, units, screen.width, level, stands)
        if stands is not None and stands.flaws and level < BARE:
            blocks.insert(1, ("", Text("Flaws: ", FIRST) + Text(stands.flaws_in_short(units))))
        if stands is not None and stands.start is not None:
            blocks.insert(1, ("", Text("Start-up: ", FIRST) + Text(stands.start.in_short(units))))
        shown = _blocks(head, blocks, apart=level < 3)
        wide = screen.options.update(width=max(screen.width, 100))
        if len(screen.render_lines(shown, wide, pad=False)) <= MOST_LINES:
            break
    screen.print(shown)


def first_line(stands: Standing) -> list[Text]:
    """The three rungs that are most often the first to fail, with what of them tests have shown."""
    told = [f"{mode} ({part}) {share:.0%}".replace("%", " %") for (mode, part), share in stands.top()]
    if not told:
        return []
    tests = "; what tests have held is counted" if stands.held else ""
    return [Text("First to fail: ", FIRST) + Text(f"{', '.join(told)} of {stands.points} points, strengths scattered{tests}")]


def _head(name: str, assessment: Assessment, units: str) -> list[Any]:
    figures = assessment.figures
    named = designation(figures["total_impulse"][:1], figures["mean_thrust"][:1])[0] or "no class"
    expected = show(float(assessment.maximum_expected_pressure[0]), "pressure", units)
    summary = f"{named}, {figures.kernel} kernel, maximum expected pressure {expected}"
    return [Text(name, FIRST), Text(summary), verdict_line(assessment)]


def _blocks(head: Sequence[Any], blocks: Sequence[tuple[str, Any]], apart: bool = True) -> Group:
    """Blocks under their titles; one without a title goes on with the block before it."""
    parts = list(head)
    for title, body in blocks:
        parts += [*([Text("")] if apart else []), heading(title), Padding(body, (0, 0, 0, 2))] if title else [body]
    return Group(*parts)


def _whole_check(
    assessment: Assessment, found: Sequence[Caution], units: str, width: int, stands: Standing | None
) -> list[tuple[str, Any]]:
    ladder = assessment.ladder
    blocks: list[tuple[str, Any]] = [("Failure ladder", ladder_table(assessment, units, width, stands=stands))]
    if ladder.not_assessed:
        missing = [(item.mode, item.part, item.why) for item in ladder.not_assessed]
        blocks.append(("Not assessed", not_assessed_block(missing)))
    blocks.append(("Ballistics", ballistics_table(assessment, units, width)))
    if assessment.figures.kernel == "transient" and assessment.figures.curve is not None:
        blocks.append(("Histories", history_plot(assessment.figures.curve, units, min(width - 2, 98))))
    if assessment.heat is not None:
        blocks.append(("Heat", heat_block(assessment.heat, units)))
    blocks.append(_masses_block(assessment, units))
    fits = hot_fits(assessment.motors, assessment.assembly)
    blocks.append(("Room along the case", Group(*room_lines(assessment.assembly, units), *fit_lines(fits, units))))
    if assessment.flight is not None:
        blocks.append(("Flight", flight_block(assessment, units, width)))
    notes = more_notes(ladder)
    if notes is not None:
        blocks.append(("More on the lowest rungs", notes))
    if ladder.rungs:
        blocks.append(("Where the rungs come from", basis_lines(ladder)))
    return [*blocks, ("Cautions", cautions_block(found))]


_LESS_ASKED = ("mean_pressure", "action_time", "thrust_coefficient", "highest_port_mach", "propellant_mass")

"""Figures that the short check leaves to the whole."""


def _short_check(
    assessment: Assessment, found: Sequence[Caution], units: str, width: int, level: int, stands: Standing | None
) -> list[tuple[str, Any]]:
    """The same in few lines; each level leaves out more, and says where the rest is."""
    ladder = assessment.ladder
    kept = _near(assessment, 12 if level >= 3 else None)
    table = ladder_table(assessment, units, width, kept, level < 2, stands, apart=level < 3)
    blocks: list[tuple[str, Any]] = [("Failure ladder", table)]
    left_out = () if level == 0 else _LESS_ASKED
    blocks.append(("Ballistics", ballistics_table(assessment, units, width, [n for n in _BALLISTICS if n not in left_out])))
    if assessment.heat is not None:
        blocks.append(("Heat", lines_of(heat_sentences(assessment.heat, units, brief=True)[: max(3 - level, 1)])))
    room, (title, masses) = room_lines(assessment.assembly, units), _masses_block(assessment, units, brief=level > 0)
    fits = hot_fits(assessment.motors, assessment.assembly)
    if level == 0:
        blocks += [("Room along the case", Group(*room, *fit_lines(fits, units))), (title, masses)]
    else:
        blocks.append(
            (
                f"Room, {title[0].lower()}{title[1:]}",
                Group(room[0], *(fit_lines(fits, units, brief=True) if level < 3 else ()), masses),
            )
        )
    if assessment.flight is not None:
        blocks.append(("Flight", flight_block(assessment, units, width, _flight_figures(level))))
    missing = [(item.mode, item.part, item.why) for item in ladder.not_assessed]
    if missing and level == 0:
        blocks.append(("Not assessed", not_assessed_block(missing)))
    elif missing or fits.not_assessed:
        named = [rung_names((mode, part) for mode, part, _ in missing)] if missing else []
        places = f" ({', '.join(place for place, _ in fits.not_assessed)})" if level < 2 else ""
        named += [f"fits cold and hot{places}"] if fits.not_assessed else []
        blocks.append(("", Text("Not assessed: ", FIRST) + Text(", ".join(named))))
    told = found if level == 0 else [Caution(item.about, item.text if item is found[-1] else _first(item.text)) for item in found]
    texts = [f"{item.about}: {item.text}" for item in told]
    if level == BAREST and len(texts) > 2:
        texts = [f"in full with --all: {', '.join(item.about for item in told[:-1])}", texts[-1]]
    blocks.append(("Cautions", cautions_block(told) if level == 0 else lines_of(texts)))
    rest = len(ladder.rungs) - len(kept)
    left = f"{rest} more {'rung' if rest == 1 else 'rungs'}, " if rest else ""
    return [*blocks, ("", Text(f"With --all: {left}every reason and note, and the source of each rung.", FAINT))]


def _flight_figures(level: int) -> Sequence[str] | None:
    """The figures of a flight that a short check shows, all where it has room."""
    return None if level == 0 else FLIGHT_LEAST if level == BAREST else FLIGHT_FIRST


def _first(text: str) -> str:
    """The first sentence of a text."""
    end = text.find(". ")
    return text if end < 0 else text[: end + 1]


def _near(assessment: Assessment, most_short: int | None) -> list[Rung]:
    """The rungs that a builder must see: what falls short, what is up to twice the lowest factor, five at least; heat."""
    rungs = in_order(assessment.ladder)
    pressures = [rung for rung in rungs if rung.pressure is not None]
    factors = [float(np.ravel(rung.factor)[0]) for rung in pressures]
    judged = [factor for rung, factor in zip(pressures, factors, strict=True) if rung.kind != ADVICE and math.isfinite(factor)]
    lowest = min(judged, default=math.inf)
    kept, short = [], 0
    for place, (rung, factor) in enumerate(zip(pressures, factors, strict=True)):
        fails = not bool(rung.ok.ravel()[0])
        short += fails
        if (fails and (most_short is None or short <= most_short)) or (
            not fails and rung.kind != ADVICE and (place < FEWEST_RUNGS or factor <= NEAR * lowest)
        ):
            kept.append(rung)
    return kept + [rung for rung in rungs if rung.time is not None]


def heat_block(summary: HeatSummary, units: str) -> Group:
    """What heat does: the outside at stated times, then sentences."""
    head, *rows = heat_rows(summary, units)
    parts: list[Any] = []
    if rows:
        table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
        for place, name in enumerate(head):
            table.add_column(name, justify="right" if place else "left", no_wrap=place != 0)
        for row in rows:
            table.add_row(*row)
        parts.append(table)
    return Group(*parts, lines_of(heat_sentences(summary, units)))


def _masses_block(assessment: Assessment, units: str, brief: bool = False) -> tuple[str, Any]:
    masses: Mapping[str, Any] = assessment.masses
    unknown: Sequence[str] = assessment.unknown_masses
    if brief:
        masses = {key: value for key, value in masses.items() if key in ("propellant", "case", "loaded")}
        unknown = [f"{len(unknown)} {'part' if len(unknown) == 1 else 'parts'}"] if unknown else []
    parts: list[Any] = [masses_table(masses, unknown, units, "; " if brief else "\n")]
    if assessment.fit is None:
        return "Masses", parts[0]
    return "Masses and airframe", Group(*parts, fit_line(assessment.fit, units))


def masses_table(masses: Mapping[str, Any], unknown: Iterable[str], units: str, between: str = "\n") -> Text:
    """Masses of the parts known, and the parts whose mass is not."""
    known = {name: float(np.ravel(mass)[0]) for name, mass in masses.items()}
    line = ", ".join(f"{name.replace('_', ' ')} {show(mass, 'mass', units)}" for name, mass in known.items() if math.isfinite(mass))
    missing = list(unknown)
    return Text(line) + Text(f"{between}not weighed: {'; '.join(missing)}" if missing else "", FAINT)


def fit_line(fit: Mapping[str, Any], units: str) -> Text:
    """Whether the motor goes into the airframe, and with how much room."""
    fits = bool(np.ravel(fit["in_airframe"])[0])
    text = f"{'goes into' if fits else 'does NOT go into'} the airframe: "
    text += f"{show(float(np.ravel(fit['clearance'])[0]), 'length', units)} of room on the diameter"
    length = fit.get("length_clearance")
    if length is not None:
        text += f", {show(float(np.ravel(length)[0]), 'length', units)} along it"
    return Text(text, "" if fits else SHORT)


def room_lines(placed: Assembly, units: str) -> list[Text]:
    """How long the stack is, what is left of the case, and what was assumed for it."""
    if placed.not_assessed:
        return [Text(f"not assessed: {placed.not_assessed}", FAINT)]
    left = float(placed.left[0])
    text = f"stack {show(float(placed.stack[0]), 'length', units)} in a case of "
    text += f"{show(float(placed.case_length[0]), 'length', units)}: "
    text += f"{show(left, 'length', units)} left" if left >= 0.0 else f"{show(-left, 'length', units)} too long"
    least = float(placed.least_left[0])
    if least < left:
        text += f"; with the tolerances {show(abs(least), 'length', units)} {'left' if least >= 0.0 else 'too long'}"
    lines = [Text(text, "" if least >= 0.0 else SHORT)]
    if placed.assumed:
        lines.append(Text("assumed: " + "; ".join(assumption_texts(placed, units)), FAINT))
    return lines


def fit_lines(fits: HotFits, units: str, brief: bool = False) -> list[Text]:
    """The room between the parts cold and hot, and what of it could not be reckoned; `brief` is one line of the former."""
    if brief:
        return _brief_fits(fits, units)
    lines = []
    for one in fits.clearances:
        text = f"{one.place}, {'on the diameter' if one.across else 'along the axis'}: {', '.join(fit_texts(one, units))}"
        lines.append(Text(text, SHORT if float(one.least[0].min()) < 0.0 else ""))
        lines.append(Text(f"  {'; '.join((*one.rests_on, *one.assumed))}", FAINT))
    by_why: dict[str, list[str]] = {}
    for place, why in fits.not_assessed:
        by_why.setdefault(why, []).append(place)
    told = [f"{', '.join(places)}: {why}" for why, places in by_why.items()]
    return [*lines, *([Text(f"not assessed cold and hot: {'; '.join(told)}", FAINT)] if told else [])]


def _brief_fits(fits: HotFits, units: str) -> list[Text]:
    """What changes with temperature, from the coldest to the hottest, in one line."""
    told, tight = [], False
    ends = ""
    for one in fits.clearances:
        order = np.argsort(one.temperatures[0], kind="stable")
        cold, hot = (float(one.drawn[0, k]) for k in (order[0], order[-1]))
        if abs(hot - cold) < 0.02 * max(abs(cold), abs(hot)):
            continue
        ends = " to ".join(show_dimension(float(one.temperatures[0, k]), "temperature", units, 3) for k in (order[0], order[-1]))
        told.append(f"{one.place} {' to '.join(show_dimension(room, 'length', units, 2) for room in (cold, hot))}")
        tight |= float(one.least[0].min()) < 0.0
    return [Text(f"{ends}: room of {', '.join(told)}", SHORT if tight else "")] if told else []


def fit_texts(one: Clearance, units: str) -> list[str]:
    """A clearance at each temperature, coldest first, and with the tolerances where they take from it."""
    told = []
    for at, room in sorted(set(zip(one.temperatures[0].tolist(), one.drawn[0].tolist(), strict=True))):
        told.append(f"{show_dimension(room, 'length', units, 2)} at {show_dimension(at, 'temperature', units, 3)}")
    least, drawn = float(one.least[0].min()), float(one.drawn[0].min())
    return [*told, f"least with the tolerances {show_dimension(least, 'length', units, 2)}"] if least < drawn - 1e-9 else told


def assumption_texts(placed: Assembly, units: str = "metric") -> list[str]:
    """Each length that had to be assumed, after the key that would settle it."""
    return [f"{item.key}: {show(float(np.ravel(item.length)[0]), 'length', units)}, {item.taken}" for item in placed.assumed]


def history_plot(curve: Curve, units: str, width: int, height: int = 9) -> Group:
    """Pressure and thrust against time as two small plots drawn in braille dots."""
    time = curve.time[0]
    plots = [
        _dots(time, curve.chamber_pressure[0], "chamber pressure", "pressure", units, width, height),
        _dots(time, curve.thrust[0], "thrust", "thrust", units, width, height),
    ]
    return Group(*plots)


def _dots(time: np.ndarray, values: np.ndarray, title: str, quantity: str, units: str, width: int, height: int) -> Text:
    """One plot: a filled curve of braille cells, two dots wide and four high, with its ends labelled."""
    good = np.isfinite(time) & np.isfinite(values)
    time, values = time[good], values[good]
    if time.size < 2 or values.max() <= 0.0:
        return Text(f"{title}: nothing to draw", FAINT)
    columns, rows = max(width - 4, 20) * 2, height * 4
    sampled = np.interp(np.linspace(time[0], time[-1], columns), time, values)
    levels = np.clip(np.round(sampled / values.max() * (rows - 1)), 0, rows - 1).astype(int)
    canvas = np.zeros((rows, columns), dtype=bool)
    for column, level in enumerate(levels):
        before = levels[column - 1] if column else level
        low, high = sorted((before, level))
        canvas[low : high + 1, column] = True
    bits = ((0x40, 0x80), (0x04, 0x20), (0x02, 0x10), (0x01, 0x08))
    lines = []
    for row in range(height - 1, -1, -1):
        cells = []
        for cell in range(columns // 2):
            code = 0x2800
            for dy in range(4):
                for dx in range(2):
                    if canvas[row * 4 + dy, cell * 2 + dx]:
                        code |= bits[dy][dx]
            cells.append(chr(code))
        lines.append("  " + "".join(cells).rstrip("⠀"))
    top = f"{title}, up to {show(float(values.max()), quantity, units)}"
    end = f"{show(float(time[-1]), 'time', units)}"
    return Text(top + "\n" + "\n".join(lines) + "\n  0" + end.rjust(max(columns // 2 - 1, 1)) + "\n")
