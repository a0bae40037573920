"""What the terminal shows: tables and the ladder as a picture, through rich.

Owns layout and words on the screen. Imports rich, units and the result types; knows nothing of files.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal
from unicodedata import category

import numpy as np
from rich.console import Console, ConsoleOptions, Group
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from optimizer.candidates.limits import ALIASES, REASONS
from optimizer.candidates.pareto import spread_out
from optimizer.cautions import NOT_DESCRIBED, Caution
from optimizer.units import display_unit, number_in, show, show_both
from optimizer.vocabulary import CHANCE, FACTOR, SHORT_KEYS, find_quantity, group_of, spoken
from physics.assessment import Assessment
from physics.designation import designation
from physics.failure.ladder import ADVICE
from physics.figures import GROUPS, PRESSURE, in_groups
from physics.flight.trajectory import FLIGHT_FLAGS
from physics.motors import Curve, Ladder, Rung

if TYPE_CHECKING:
    from optimizer.candidates.samples import Chance
    from optimizer.commands.compare import Change, Comparison, Look, RungState
    from optimizer.commands.explain import Explanation, RuledOut
    from optimizer.commands.search import Design, SearchResult
    from optimizer.commands.spread import Smooth, SpreadResult
    from optimizer.firings.rate_fit import Fit, Learned
    from optimizer.firings.reduction import Reduction
    from physics.assembly import Assembly

FIRST = "bold"
SHORT = "bold red"
FAINT = "dim"
MOST_ROWS = 40
"""Designs of a front that the terminal shows."""
NOTED = 6
"""Rungs whose notes are printed, lowest first, beside all that fall short; the page has every note."""

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

_BALLISTICS = (
    "peak_pressure", "peak_head_pressure", "mean_pressure", "highest_kn", "kn_at_ignition", "total_impulse", "peak_thrust",
    "mean_thrust", "burn_time", "action_time", "specific_impulse", "thrust_coefficient", "highest_port_mach",
    "highest_mass_flux", "port_over_throat", "propellant_mass",
)  # fmt: skip


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command line, whose exit code would else say that the answer is "no"."""
        raise BrokenPipeError

    def render(self, renderable: Any, options: ConsoleOptions | None = None) -> Iterator[Segment]:
        """Text without the signs that a terminal would act on, whatever a name in a file holds."""
        for segment in super().render(renderable, options):
            yield segment if segment.control else Segment(_visible(segment.text), segment.style)


def _visible(text: str) -> str:
    """Control characters and marks of direction as question marks; they take a place, so that they are seen."""
    if text.isprintable():
        return text
    return "".join("?" if letter != "\n" and category(letter) in ("Cc", "Cf", "Zl", "Zp") else letter for letter in text)


def console(stderr: bool = False) -> Console:
    """A console as wide as the terminal, 80 columns where there is none; under NO_COLOR it writes text and no escapes."""
    import os
    import shutil

    # The library's own reading of NO_COLOR would still write bold and dim.
    colours: Literal["auto"] | None = None if os.environ.get("NO_COLOR") else "auto"
    width = max(shutil.get_terminal_size((80, 24)).columns, 40)
    return _Console(stderr=stderr, width=width, highlight=False, color_system=colours)


def heading(text: str) -> Text:
    """The line above a block."""
    return Text(text, style=FIRST)


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
    return Group(*lines, table)


def _filled(cells: Iterable[tuple[str, str]], width: int) -> list[Text]:
    """Names and values in lines as full as they go; a name and its value are never parted."""
    lines: list[Text] = []
    for name, value in cells:
        cell = Text(f"{name} ", FAINT) + Text(value, "default")
        if lines and len(lines[-1]) + 3 + len(cell) <= width:
            lines[-1] += Text("   ") + cell
        else:
            lines.append(cell)
    return lines


def rung_order(ladder: Ladder, index: int = 0) -> list[Rung]:
    """Rungs of one motor: pressures, lowest first, then times, soonest first, then advice; what never happens comes last."""

    def place(rung: Rung) -> tuple[int, float]:
        values = rung.pressure if rung.pressure is not None else rung.time
        value = float(np.broadcast_to(np.asarray(values), (index + 1,))[index]) if values is not None else math.nan
        group = 2 if rung.kind == ADVICE else 0 if rung.pressure is not None else 1
        return (group, value if not math.isnan(value) else math.inf)

    return sorted(ladder.rungs, key=place)


def rung_names(rungs: Iterable[tuple[str, str]]) -> str:
    """Rungs (mode, part) as a builder would say them: modes of the same parts together, both closures once.

    >>> rung_names([("screw shear", "forward closure"), ("case burst", "case"), ("screw shear", "aft closure")])
    'screw shear (both closures), case burst (case)'
    """
    parts: dict[str, list[str]] = {}
    for mode, part in rungs:
        parts.setdefault(mode, []).append(part)
    modes: dict[str, list[str]] = {}
    for mode, where in parts.items():
        modes.setdefault(_part_names(where), []).append(mode)
    return ", ".join(f"{', '.join(named)} ({where})" if where else ", ".join(named) for where, named in modes.items())


def _part_names(parts: Sequence[str]) -> str:
    if {"forward closure", "aft closure"} <= set(parts):
        parts = ["both closures", *(part for part in parts if not part.endswith(" closure"))]
    return ", ".join(part for part in parts if part)


def verdict_line(assessment: Assessment) -> Text:
    """Whether the motor holds what was assessed, what falls short, and how much was not assessed."""
    ladder = assessment.ladder
    short = [(rung.mode, rung.part) for rung in rung_order(ladder) if not bool(rung.ok.ravel()[0])]
    unfit = assessment.fit is not None and not bool(np.ravel(np.asarray(assessment.fit["in_airframe"]))[0])
    words = [] if bool(assessment.described[0]) else [NOT_DESCRIBED]
    words += [f"Falls short: {rung_names(short)}."] if short else []
    words += [] if bool(assessment.assembly.fits[0]) else ["The stack is too long for its case."]
    words += ["Does not fit the airframe."] if unfit else []
    if not words and not bool(assessment.fits[0]):
        words.append("Cannot be built.")
    style = SHORT if words else FIRST
    if not words:
        good = "Every rung assessed reaches its required factor."
        words = [good if ladder.rungs else "No rung of the ladder could be assessed."]
    missing = len(ladder.not_assessed)
    if missing:
        words.append(f"{missing} {'mode' if missing == 1 else 'modes'} not assessed, listed below.")
    return Text(" ".join(words), style)


MOST_LINES = 45
"""Lines of `check` at 100 columns and more, unless all is asked for."""
FEWEST_RUNGS = 5
NEAR = 2.0
"""Rungs up to this many times the lowest factor are shown."""


def print_check(name: str, assessment: Assessment, found: Sequence[Caution], units: str, whole: bool = False) -> None:
    """What one motor does, the verdict and the ladder first; shortened to what matters unless the whole is asked for."""
    screen = console()
    if whole:
        screen.print(_blocks(_head(name, assessment, units), _whole_check(assessment, found, units, screen.width)))
        return
    for level in range(4):
        blocks = _short_check(assessment, found, units, screen.width, level)
        shown = _blocks(_head(name, assessment, units), blocks, apart=level < 3)
        wide = screen.options.update(width=max(screen.width, 100))
        if len(screen.render_lines(shown, wide, pad=False)) <= MOST_LINES:
            break
    screen.print(shown)


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


def _whole_check(assessment: Assessment, found: Sequence[Caution], units: str, width: int) -> list[tuple[str, Any]]:
    ladder = assessment.ladder
    blocks: list[tuple[str, Any]] = [("Failure ladder", ladder_table(assessment, units, width))]
    if ladder.not_assessed:
        missing = [(item.mode, item.part, item.why) for item in ladder.not_assessed]
        blocks.append(("Not assessed", not_assessed_block(missing)))
    blocks.append(("Ballistics", ballistics_table(assessment, units, width)))
    if assessment.figures.kernel == "transient" and assessment.figures.curve is not None:
        blocks.append(("Histories", history_plot(assessment.figures.curve, units, min(width - 2, 98))))
    blocks.append(_masses_block(assessment, units))
    blocks.append(("Room along the case", Group(*room_lines(assessment.assembly, units))))
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


def _short_check(assessment: Assessment, found: Sequence[Caution], units: str, width: int, level: int) -> list[tuple[str, Any]]:
    """The same in few lines; each level leaves out more, and says where the rest is."""
    ladder = assessment.ladder
    kept = _near(assessment, 12 if level == 3 else None)
    blocks: list[tuple[str, Any]] = [("Failure ladder", ladder_table(assessment, units, width, kept, notes=level < 2))]
    left_out = () if level == 0 else _LESS_ASKED
    blocks.append(("Ballistics", ballistics_table(assessment, units, width, [n for n in _BALLISTICS if n not in left_out])))
    room, (title, masses) = room_lines(assessment.assembly, units), _masses_block(assessment, units, brief=level > 0)
    if level == 0:
        blocks += [("Room along the case", Group(*room)), (title, masses)]
    else:
        blocks.append((f"Room, {title[0].lower()}{title[1:]}", Group(room[0], masses)))
    if assessment.flight is not None:
        blocks.append(("Flight", flight_block(assessment, units, width, FLIGHT_FIRST if level else None)))
    missing = [(item.mode, item.part, item.why) for item in ladder.not_assessed]
    if missing and level == 0:
        blocks.append(("Not assessed", not_assessed_block(missing)))
    elif missing:
        named = rung_names((mode, part) for mode, part, _ in missing)
        blocks.append(("", Text("Not assessed: ", FIRST) + Text(named)))
    told = found if level == 0 else [Caution(item.about, item.text if item is found[-1] else _first(item.text)) for item in found]
    listed = cautions_block(told) if level == 0 else _lines(f"{item.about}: {item.text}" for item in told)
    blocks.append(("Cautions", listed))
    rest = len(ladder.rungs) - len(kept)
    left = f"{rest} more {'rung' if rest == 1 else 'rungs'}, " if rest else ""
    return [*blocks, ("", Text(f"With --all: {left}every reason and note, and the source of each rung.", FAINT))]


def _first(text: str) -> str:
    """The first sentence of a text."""
    end = text.find(". ")
    return text if end < 0 else text[: end + 1]


def _near(assessment: Assessment, most_short: int | None) -> list[Rung]:
    """The rungs that a builder must see: what falls short, what is up to twice the lowest factor, five at least; heat."""
    rungs = rung_order(assessment.ladder)
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


def ladder_table(assessment: Assessment, units: str, width: int, kept: Sequence[Rung] | None = None, notes: bool = True) -> Group:
    """The failure ladder as a picture: one bar a rung, the expected and the required pressure marked on each.

    `kept` are the rungs to show, all where it is not given; `notes` of the lowest and of what falls short stand below.
    """
    expected = float(assessment.maximum_expected_pressure[0])
    rungs = rung_order(assessment.ladder)
    shown = rungs if kept is None else [rung for rung in rungs if any(rung is item for item in kept)]
    pressures = [rung for rung in shown if rung.pressure is not None]
    times = [rung for rung in shown if rung.time is not None]
    parts: list[Any] = []
    if pressures:
        unit = display_unit("pressure", units)
        parts.append(
            Text(
                f"each bar runs to the pressure at which it happens; │ expected {show(expected, 'pressure', units)}, ",
                FAINT,
            )
            + Text("┊ required", FAINT)
        )
        parts.append(_pressure_rungs(pressures, expected, units, unit, width))
    if times:
        parts.append(_time_rungs(times, units))
    if not rungs:
        parts.append(Text("no rung could be assessed; see below", FAINT))
    said = _notes([rung for rung in shown if _is_first(rung, pressures)]) if notes else None
    if said:
        parts.append(Padding(said, (1, 0, 0, 0)))
    return Group(*parts)


def _is_first(rung: Rung, pressures: Sequence[Rung]) -> bool:
    """Whether a rung is one that a builder looks at first: the lowest, and all that fall short."""
    return rung in pressures[:1] or not bool(rung.ok.ravel()[0])


def _notes(rungs: Iterable[Rung]) -> Table | None:
    """Notes of rungs, what several share said once."""
    said: dict[str, list[tuple[str, str]]] = {}
    for rung in rungs:
        if rung.note:
            said.setdefault(rung.note, []).append((rung.mode, rung.part))
    return _lines([f"{rung_names(names)}: {note}" for note, names in said.items()], FAINT) if said else None


def more_notes(ladder: Ladder) -> Table | None:
    """Notes of the lowest rungs that do not stand under the ladder already; None where there are none."""
    rungs = rung_order(ladder)
    pressures = [rung for rung in rungs if rung.pressure is not None]
    return _notes([rung for rung in pressures[:NOTED] if not _is_first(rung, pressures)])


def _lines(texts: Iterable[str], style: str = "") -> Table:
    """Texts one under the other, what does not fit in a line indented."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(style=FAINT)
    table.add_column(style=style)
    for text in texts:
        table.add_row("-", Text(text))
    return table


def _pressure_rungs(rungs: Sequence[Rung], expected: float, units: str, unit: str, width: int) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("what lets go", no_wrap=True)
    table.add_column("part", no_wrap=True)
    table.add_column(unit, justify="right", no_wrap=True)
    table.add_column("factor", justify="right", no_wrap=True)
    table.add_column("needs", justify="right", no_wrap=True)
    bar_width = max(width - 62, 12)
    table.add_column("", no_wrap=True)
    # A rung far above the rest would press all others into a corner, so the scale ends at six times what is expected.
    values = [float(np.ravel(rung.pressure)[0]) for rung in rungs if rung.pressure is not None]
    finite = [value for value in values if math.isfinite(value)]
    top = max([expected * 2.2, *(min(value, 6.0 * expected) for value in finite)]) if finite else expected
    for rung, value in zip(rungs, values, strict=True):
        factor, required = float(np.ravel(rung.factor)[0]), float(np.ravel(rung.required)[0])
        style = "" if bool(rung.ok.ravel()[0]) else SHORT
        table.add_row(
            Text(rung.mode, style),
            Text(rung.part, style),
            number_in(value, "pressure", units),
            Text(f"×{factor:.2f}", style),
            f"×{required:.2f}" if required else "advice",
            Text(_bar(value, expected, required * expected, top, bar_width), style),
        )
    return table


def _bar(value: float, expected: float, required: float, top: float, width: int) -> str:
    """A bar to `value` on a scale that ends at `top`, with marks at the expected and required pressures."""
    if not (math.isfinite(value) and top > 0.0):
        return ""
    filled = round(min(value / top, 1.0) * (width - 1))
    cells = ["━" if i < filled else " " for i in range(width)]
    for place, mark in ((required, "┊"), (expected, "│")):
        where = round(place / top * (width - 1))
        if 0 <= where < width and place > 0.0:
            cells[where] = mark
    if value > top:
        cells[-1] = "▸"
    return "".join(cells).rstrip()


def _time_rungs(rungs: Sequence[Rung], units: str) -> Padding:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("what gets too hot", no_wrap=True)
    table.add_column("part", no_wrap=True)
    table.add_column("after", justify="right", no_wrap=True)
    table.add_column("factor", justify="right", no_wrap=True)
    table.add_column("needs", justify="right", no_wrap=True)
    for rung in rungs:
        time, factor = float(np.ravel(np.asarray(rung.time))[0]), float(np.ravel(rung.factor)[0])
        required = float(np.ravel(rung.required)[0])
        style = "" if factor >= required else SHORT
        never = math.isinf(time)
        table.add_row(
            Text(rung.mode, style),
            Text(rung.part, style),
            "does not happen" if never else show(time, "time", units),
            Text("" if never else f"×{factor:.2f}", style),
            "" if never else f"×{required:.2f}",
        )
    return Padding(table, (1, 0, 0, 0))


def basis_lines(ladder: Ladder) -> Table:
    """The formula and source behind every rung; what several modes rest on alike is said once, with their names."""
    modes: dict[str, list[str]] = {}
    for rung in rung_order(ladder):
        for clause in rung.basis.split("; "):
            named = modes.setdefault(clause, [])
            if rung.mode not in named:
                named.append(rung.mode)
    clauses: dict[tuple[str, ...], list[str]] = {}
    for clause, named in modes.items():
        clauses.setdefault(tuple(named), []).append(clause)
    return _lines([f"{', '.join(named)}: {'; '.join(rest)}" for named, rest in clauses.items()], FAINT)


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
    lines = [Text(text, "" if left >= 0.0 else SHORT)]
    if placed.assumed:
        lines.append(Text("assumed: " + "; ".join(assumption_texts(placed, units)), FAINT))
    return lines


def assumption_texts(placed: Assembly, units: str = "metric") -> list[str]:
    """Each length that had to be assumed, after the key that would settle it."""
    return [f"{item.key}: {show(float(np.ravel(item.length)[0]), 'length', units)}, {item.taken}" for item in placed.assumed]


def cautions_block(found: Iterable[Caution]) -> Table:
    """Cautions, what each is about beside its text."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style=FIRST, ratio=1)
    table.add_column(ratio=4)
    for caution in found:
        table.add_row(Text(caution.about), Text(caution.text))
    return table


def not_assessed_block(missing: Iterable[tuple[str, str, str]]) -> Table:
    """What could not be computed (mode, part, why), grouped by the reason."""
    return _lines(f"{rung_names(rungs)}: {why}" for why, rungs in _by_reason(missing).items())


def _by_reason(missing: Iterable[tuple[str, str, str]]) -> dict[str, list[tuple[str, str]]]:
    """Modes by why they were not assessed; what both closures lack alike is one reason."""
    found: dict[str, list[tuple[str, str]]] = {}
    for mode, part, why in missing:
        found.setdefault(why, []).append((mode, part))
    modes = {why: [mode for mode, _ in rungs] for why, rungs in found.items()}
    grouped: dict[str, list[tuple[str, str]]] = {}
    for why, rungs in found.items():
        aft, forward = why.replace("forward_closure", "aft_closure"), why.replace("aft_closure", "forward_closure")
        if aft != why and modes.get(aft) == modes[why]:
            grouped[f"{why} (aft_closure the same)"] = [*rungs, *found[aft]]
        elif forward == why or modes.get(forward) != modes[why]:
            grouped[why] = rungs
    return grouped


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


_FRONT_FIGURES = ("total_impulse", "maximum_expected_pressure", "loaded_mass", "port_over_throat")


def print_front(result: SearchResult, units: str, folder: Any) -> None:
    """The Pareto table with each design's governing rung, then what was rejected, proven and is to be heeded."""
    from optimizer.output.report.tradeoff import end_lines

    screen = console()
    screen.print(Text(result.study.name, FIRST))
    counted = f"{_count(result.space)} candidates, {_count(result.evaluated)} checked, {_count(result.feasible)} feasible"
    front = len(result.designs) + result.designs_not_listed
    screen.print(f"{counted}, {_count(front)} on the front; {result.seconds:.1f} s")
    if result.designs:
        screen.print()
        screen.print(_front_table(result, units, screen.width))
        same = _same_in_all(result)
        if same:
            screen.print(Text(f"the same in all of them: {', '.join(same)}", FAINT))
        groups = len({design.group for design in result.designs})
        if groups > MOST_ROWS:
            text = f"{MOST_ROWS} of the {groups} designs in the results folder, spread evenly over the front"
            screen.print(Text(text, FAINT))
        tools = _tool_lines(result)
        if tools:
            screen.print()
            screen.print(heading("Nearest sizes of tools, and what each would change"))
            screen.print(Padding(_lines(tools), (0, 0, 0, 2)))
        hidden = len(result.designs) - groups
        if hidden:
            screen.print(Text(_tied(hidden), FAINT))
        for line in end_lines(result.range_ends, units):
            screen.print(Text(line, FIRST))
    else:
        screen.print()
        if result.ways_in:
            _print_ways_in(screen, result, units)
        else:
            screen.print(Text("No candidate meets every limit.", SHORT))
            _print_misses(screen, result, units)
    if result.rejected_by and not result.ways_in:
        screen.print()
        screen.print(heading("Rejected by"))
        screen.print(Padding(_rejected_table(result), (0, 0, 0, 2)))
    if result.not_assessed:
        screen.print()
        screen.print(heading("Not assessed, and in no factor above"))
        missing = [(row["mode"], row["part"], row["why"]) for row in result.not_assessed]
        screen.print(Padding(not_assessed_block(missing), (0, 0, 0, 2)))
    screen.print()
    screen.print(Text(f"proven: {result.proof}" if result.exact else result.proof))
    for message in result.messages:
        screen.print(Text(message, FAINT))
    if result.designs:
        screen.print()
        first = folder / result.designs[0].file
        screen.print(Text(f"Each design is a motor file; look at one with: grainwright check {first}"))
    _closing_cautions(screen)


def _rejected_table(result: SearchResult, explained: bool = False) -> Table:
    """How many candidates each limit or reason rejected, the most first; with what a reason means where asked for."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column(justify="right")
    table.add_column(style=FAINT)
    for name, count in sorted(result.rejected_by.items(), key=lambda item: -item[1]):
        table.add_row(Text(name), _count(count), Text(REASONS.get(name, "") if explained else ""))
    return table


def _print_ways_in(screen: Console, result: SearchResult, units: str) -> None:
    """Nothing can be built: what ruled out how many, and the smallest changes of the study or the motor that help."""
    from optimizer.output.report.tradeoff import once_built

    candidates = "The one candidate is" if result.space == 1 else f"All {_count(result.space)} candidates are"
    screen.print(Text(f"Nothing in this study can be built. {candidates} ruled out before any limit is asked.", SHORT))
    screen.print()
    screen.print(heading("Ruled out by"))
    screen.print(Padding(_rejected_table(result, explained=True), (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("What would let one in"))
    lines = []
    for way in result.ways_in:
        steps = [
            f"{step['key']} {_value(step['from'], step['key'], units)} → {_value(step['to'], step['key'], units)} "
            f"in {result.study.path.name if step['in'] == 'study' else result.study.motor.path.name}"
            for step in way["changes"]
        ]
        with_ = ", ".join(f"{_short(key)} {_value(value, key, units)}" for key, value in way["variables"].items())
        lines.append(f"{' and '.join(steps)}{f' (with {with_})' if with_ else ''}: {once_built(way['misses'])}")
    screen.print(Padding(_lines(lines), (0, 0, 0, 2)))


def _tied(number: int) -> str:
    words = "more design ties" if number == 1 else "more designs tie"
    return f"{_count(number)} {words} exactly with a row above; see the results folder."


def _same_in_all(result: SearchResult) -> list[str]:
    """The variables that every design of the front has alike; they have no column."""
    design = result.designs[0]
    names = [name for name in design.variables if len({str(each.variables[name]) for each in result.designs}) == 1]
    return [f"{_short(name)} {_variable(design, name)}" for name in names if len(result.designs) > 1]


MOST_TOOLS = 3
"""Designs whose nearest sizes of tools are printed; the results folder has more."""


def _tool_lines(result: SearchResult) -> list[str]:
    """For the first designs off stock: the sizes next to a variable, and what each does to the figures that matter."""
    from optimizer.output.report.panels import ROUNDED

    lines = []
    for design in [each for each in _firsts(result) if each.roundings][:MOST_TOOLS]:
        variables: dict[str, list[str]] = {}
        for item in design.roundings:
            by = item["changes"]
            moved = ", ".join(f"{word} {100.0 * by[name]:+.1f} %" for name, word in ROUNDED.items() if name in by)
            short = "" if item["ok"] else ", and it no longer passes"
            variables.setdefault(item["variable"], []).append(f"{item['tool']}: {moved}{short}")
        told = "; ".join(f"{_short(name)} {_variable(design, name)} → {' or '.join(sizes)}" for name, sizes in variables.items())
        lines.append(f"no. {design.number}: {told}")
    return lines


def _count(number: int) -> str:
    """A whole number in groups of three."""
    return f"{number:,}".replace(",", " ")


def _front_table(result: SearchResult, units: str, width: int) -> Table:
    """One row a design: variables, objectives and the rung that governs it."""
    varied = [name for name in result.designs[0].variables if len({str(design.variables[name]) for design in result.designs}) > 1]
    results = result.designs[0].results
    shown = {"smallest_factor", *result.designs[0].variables}
    needed = [aim.name for aim in result.study.objectives if aim.name in results and aim.name not in shown]
    under = [limit.name for limit in result.study.limits if limit.percentile is not None or limit.quantity == CHANCE]
    needed += [name for name in dict.fromkeys(under) if name in results and name not in needed]
    extra = [name for name in ("designation", *_FRONT_FIGURES) if name in results and name not in needed]
    designs = _shown(result)
    units_of = {name: _common_unit([_variable(design, name) for design in result.designs]) for name in varied}
    columns = [("no.", [str(design.number) for design in designs])]
    for name in varied:
        cells = [_variable(design, name).removesuffix(f" {units_of[name]}") for design in designs]
        columns.append((f"{_short(name)} {units_of[name]}".rstrip(), cells))
    governing = [_governing(design) for design in designs]
    longest = max(len(text) for text in governing)
    left = width - longest - sum(_width(*column) + 1 for column in columns)
    for name in (*needed, *extra):
        column = (_headed(name, units), [_result_cell(design.results[name], name, units) for design in designs])
        wide = _width(*column) + 1
        if name in needed or left >= wide:  # in a narrow terminal what is aimed for comes before what is useful to know
            columns.append(column)
            left -= wide
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    for head, cells in columns:
        whole, least = max(len(text) for text in (head, *cells)), _width(head, cells)
        given = min(whole, least + max(left, 0))
        left -= given - least
        table.add_column(head, justify="right", overflow="fold", width=given)
    table.add_column("first to fail", overflow="fold", width=max(longest + min(left, 0), 12))
    for place, text in enumerate(governing):
        table.add_row(*(Text(cells[place]) for _, cells in columns), Text(text))
    return table


def _width(head: str, cells: Sequence[str]) -> int:
    """What a column needs so that no number and no word of its head is broken."""
    return max(len(text) for text in (*head.split(), *cells))


def _governing(design: Design) -> str:
    """The rung that lets go first, with its factor."""
    rung = design.results["governing"]
    if not rung:
        return "–"
    rung = rung.replace("forward closure", "fwd").replace("aft closure", "aft")
    return f"×{design.results['smallest_factor']:.2f} {rung}"


def _shown(result: SearchResult) -> list[Design]:
    """The designs of the table: one of each set that comes to the same, and not more than a reader takes in."""
    designs = _firsts(result)
    aims = result.study.objectives
    points = np.array([[aim.sign * design.results[aim.name] for aim in aims] for design in designs])
    return [designs[row] for row in spread_out(points, MOST_ROWS)]


def _firsts(result: SearchResult) -> list[Design]:
    """The first of each set of designs that come to exactly the same."""
    first: dict[int, Design] = {}
    for design in result.designs:
        first.setdefault(design.group, design)
    return list(first.values())


def _variable(design: Design, name: str) -> str:
    """A variable as the study wrote it: 19 mm stays 19 mm."""
    return str(design.texts.get(name, design.variables[name]))


def _common_unit(texts: Sequence[str]) -> str:
    """The unit that all of a column's texts end in, so that it can stand in the header; empty where they differ."""
    ends = {text.rpartition(" ")[2] if text[:1].isdigit() and " " in text else "" for text in texts}
    return ends.pop() if len(ends) == 1 else ""


def _short(name: str) -> str:
    short = name.replace("forward_closure.", "fwd ").replace("aft_closure.", "aft ").replace("_diameter", " Ø")
    return short.replace("_", " ")


def _headed(name: str, units: str) -> str:
    words = {"maximum_expected_pressure": "expected", "designation": "motor"}
    text = words.get(name, spoken(name))
    if name.startswith(f"{FACTOR}."):  # of one rung alone
        text = f"{name.partition('.')[2]} {FACTOR}"
    unit = display_unit(name, units) if find_quantity(name) else ""
    return f"{text} {unit}" if unit else text


def _result_cell(value: Any, name: str, units: str) -> str:
    if isinstance(value, str):
        return value
    if name == CHANCE:  # the upper end of an interval: none of a few hundred samples is not never
        return f"< {100.0 * value:.2g} %"
    return number_in(value, name, units) if find_quantity(name) else f"{value:.4g}"


def _print_misses(screen: Console, result: SearchResult, units: str) -> None:
    """The smallest changes of limits that would let a design in, and the candidates nearest to passing."""
    from optimizer.output.report.tradeoff import by_kernel, moved_bound

    if result.relaxations:
        screen.print()
        screen.print(heading("What would let one in"))
        for entry in result.relaxations[:8]:
            words = [
                f"{change['limit']}{by_kernel(change)} {' → '.join(moved_bound(change, units, _bound))}"
                for change in entry["changes"]
            ]
            many = len(words) > 2
            screen.print(Padding(Text("all of these together" if many else " and ".join(words)), (0, 0, 0, 2)))
            if many:
                screen.print(Padding(_lines(words), (0, 0, 0, 4)))
    if result.nearest:
        screen.print()
        screen.print(heading("Nearest candidates"))
        for row in result.nearest[:5]:
            variables = ", ".join(f"{_short(key)} {_value(value, key, units)}" for key, value in row["variables"].items())
            missed = "; ".join(
                f"{miss['limit']}{by_kernel(miss)} {_bound(miss['value'], miss['limit'], units)}" for miss in row["misses"]
            )
            screen.print(Padding(Text(f"{variables}: {missed}"), (0, 0, 0, 2)))
        ends = [f"{_short(row['variable'])} at its {row['end']}" for row in result.range_ends if row["of"] == ["nearest"]]
        if ends:
            text = f"All of these stand at an end of what the study allows: {', '.join(ends)}. Widen it there first."
            screen.print(Padding(Text(text, FIRST), (1, 0, 0, 2)))


def _bound(value: Any, name: str, units: str) -> str:
    alias = ALIASES.get(name, name)
    if isinstance(value, (int, float)) and find_quantity(alias):
        return show(float(value), alias, units)
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _value(value: Any, key: str, units: str) -> str:
    name = SHORT_KEYS.get(key, key).rsplit(".", 1)[-1]
    if isinstance(value, float) and find_quantity(name):
        return show(value, name, units)
    return str(value)


def print_comparison(comparison: Comparison, units: str) -> None:
    """The answer first, then what changed, the figures side by side, and the ladders."""
    screen = console()
    screen.print(Text(" → ".join(comparison.names), FIRST))
    for step in comparison.steps:
        screen.print()
        screen.print(Text(step.answer))
        screen.print()
        screen.print(_changes_table(step.changes, comparison.looks[step.before], units))
        cannot = [f"{change.key} cannot stand alone: {_why(change)}" for change in step.changes if change.alone is None]
        if cannot:
            screen.print(Padding(_lines(cannot, FAINT), (1, 0, 0, 2)))
    screen.print()
    screen.print(heading("Figures"))
    screen.print(Padding(_figures_table(comparison, units), (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("Ladders"))
    screen.print(Padding(_ladders_table(comparison, units), (0, 0, 0, 2)))
    _closing_cautions(screen)


_MOVED = ("peak_head_pressure", "total_impulse", "burn_time")


def _changes_table(changes: Sequence[Change], before: Look, units: str) -> Table:
    """Each change, and what it does alone to the figures that matter first."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("changed", no_wrap=True)
    for column in ("from", "to"):
        table.add_column(column, overflow="fold")
    for name in _MOVED:
        table.add_column(f"{spoken(name)}, alone", justify="right")
    for change in changes:
        cells = [_relative(change.alone, before, name) for name in _MOVED]
        table.add_row(Text(change.key), Text(change.before_text), Text(change.after_text), *cells)
    return table


def _why(change: Change) -> str:
    return change.why.removeprefix("not possible alone: ")


def _relative(alone: Look | None, before: Look, name: str) -> str:
    old, new = before.figures.get(name), None if alone is None else alone.figures.get(name)
    if not old or new is None:
        return "–"
    change = 100.0 * (new / old - 1.0)
    return "0 %" if abs(change) < 0.005 else f"{change:+.2f} %"


def _figures_table(comparison: Comparison, units: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    for name in comparison.names:
        table.add_column(Text(name), justify="right")
    for group in GROUPS:
        shown = [key for key in (*_BALLISTICS, "maximum_expected_pressure", "loaded_mass") if group_of(key) == group]
        present = [key for key in shown if comparison.figures.get(key) is not None]
        if present:
            table.add_row(Text(group, FAINT))
        for key in present:
            cells = ["–" if value is None else show(value, key, units) for value in comparison.figures[key]]
            table.add_row(Text(f"  {spoken(key)}"), *cells)
    return table


def _ladders_table(comparison: Comparison, units: str) -> Table:
    """Every rung of any motor, with its level and factor in each."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    for name in comparison.names:
        table.add_column(Text(name), justify="right")
    names = dict.fromkeys(rung.name for look in comparison.looks for rung in look.rungs)
    for name in names:
        cells = []
        for look in comparison.looks:
            rung = look.rung(name)
            cells.append(Text("–") if rung is None else _rung_cell(rung, units))
        table.add_row(Text(name), *cells)
    return table


def _rung_cell(rung: RungState, units: str) -> Text:
    if rung.pressure is not None:
        level = show(rung.pressure, "pressure", units)
    elif rung.time is not None and math.isfinite(rung.time):
        level = show(rung.time, "time", units)
    else:
        return Text("does not happen", FAINT)
    factor = "" if rung.factor is None else f" ×{rung.factor:.2f}"
    return Text(level + factor, "" if rung.ok else SHORT)


_SPREAD_FIGURES = (
    "peak_pressure",
    "peak_head_pressure",
    "total_impulse",
    "mean_thrust",
    "burn_time",
    "specific_impulse",
    "highest_mass_flux",
)


def print_spread(name: str, result: SpreadResult, units: str) -> None:
    """Percentiles, chances of failure, and which tolerance to tighten first."""
    screen = console()
    screen.print(Text(name, FIRST))
    screen.print(f"{result.samples} points, seed {result.seed}, {result.kernel} kernel")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    for column in ("p5", "p50", "p95", "p99"):
        table.add_column(column, justify="right")
    for key in _SPREAD_FIGURES:
        if key in result.figures:
            table.add_row(spoken(key), *(show(result.figures[key][c], key, units) for c in ("p5", "p50", "p95", "p99")))
    screen.print()
    screen.print(heading("Figures over the scatter"))
    screen.print(Padding(table, (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("Chance that it lets go"))
    chances = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    if result.any_failure is not None:
        chances.add_row(Text("any rung", FIRST), Text(result.any_failure.text, FIRST))
    for mode, part, chance in result.rungs:
        if chance.failed:
            chances.add_row(f"{mode}, {part}", chance.text)
    screen.print(Padding(chances, (0, 0, 0, 2)))
    held = [chance for _, _, chance in result.rungs if not chance.failed]
    if held:
        screen.print(Padding(Text(_held_words(held, len(result.rungs)), FAINT), (0, 0, 0, 2)))
    steps = ", ".join(f"{show(step['p95'], 'pressure', units)} at {step['samples']}" for step in result.convergence[-3:])
    screen.print(Padding(Text(f"Settling: p95 of the peak head pressure {steps} points.", FAINT), (0, 0, 0, 2)))
    screen.print(
        Padding(
            Text(
                f"Under the tolerances given, strengths and formulas {result.strengths}; not a promise, and what is not "
                "assessed is not in it.",
                FAINT,
            ),
            (0, 0, 0, 2),
        )
    )
    screen.print()
    screen.print(heading("Corners"))
    screen.print(Padding(_corners_table(result, units), (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("Which tolerance matters (share of the variance)"))
    screen.print(Padding(_shares_table(result, ("peak_head_pressure", "total_impulse", "burn_time")), (0, 0, 0, 2)))
    _closing_cautions(screen)


def _held_words(held: Sequence[Chance | Smooth], rungs: int) -> str:
    """What is known of the rungs that held in every sample; which they are stands on the page and in the JSON."""
    which = f"each of the {rungs} rungs" if len(held) == rungs else f"each of the other {len(held)} rungs"
    return f"{'the other rung' if len(held) == 1 < rungs else which} assessed: {held[0].text}"


_CORNER_FIGURES = ("peak_head_pressure", "total_impulse", "smallest_factor")


def _corners_table(result: SpreadResult, units: str) -> Table:
    """The least and the most that the tolerances reach together, and with which of them where."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for name in _CORNER_FIGURES:
        for side in ("lowest", "highest"):
            corner = result.corners.get(name, {}).get(side)
            if corner is not None and corner["value"] is not None:
                at = ", ".join(f"{key} {where}" for key, where in corner["at"].items())
                table.add_row(
                    f"{side} {spoken(name)}",
                    show(corner["value"], name, units),
                    Text(at, FAINT),
                )
    return table


def _shares_table(result: SpreadResult, figures: Sequence[str]) -> Table:
    """Share of the variance of a few figures that each tolerance explains, the largest first."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    table.add_column("")
    present = [name for name in figures if name in result.shares]
    for name in present:
        table.add_column(spoken(name), justify="right")
    keys = dict.fromkeys(key for name in present for key in result.shares[name])
    ordered = sorted(keys, key=lambda key: -max(result.shares[name].get(key, 0.0) for name in present))
    for key in ordered:
        table.add_row(Text(key), *(f"{100.0 * max(result.shares[name].get(key, 0.0), 0.0):.0f} %" for name in present))
    return table


_MEASURED = (
    "peak_head_pressure",
    "peak_pressure",
    "mean_pressure",
    "pressure_integral",
    "peak_thrust",
    "total_impulse",
    "burn_time",
    "action_time",
    "specific_impulse",
    "characteristic_velocity",
    "thrust_coefficient",
    "final_throat_diameter",
)


def print_reduction(learned: Learned, units: str, told: Sequence[Reduction | None] = (), kernel: str = "") -> None:
    """Measured figures with their uncertainty beside what was predicted, the fit, and what to be careful with."""
    from optimizer.output.report.panels import liner_lines, outside_lines

    screen = console()
    for place, reduction in enumerate(learned.reductions):
        screen.print(Text(reduction.name, FIRST))
        screen.print(Padding(_measured_table(reduction, told[place] if place < len(told) else None, units), (0, 0, 1, 2)))
        if place < len(told) and told[place] is not None:
            words = f"Predicted: the motor file as fired on the day, {kernel} kernel, reduced by the same definitions."
            screen.print(Padding(Text(words, FAINT), (0, 0, 1, 2)))
        if reduction.outside:
            screen.print(heading("Outside of the case"))
            screen.print(Padding(_lines(outside_lines(reduction.outside, units)), (0, 0, 1, 2)))
        if reduction.liner:
            screen.print(heading("Liner"))
            screen.print(Padding(_lines(liner_lines(reduction.liner, units)), (0, 0, 1, 2)))
        screen.print(Padding(cautions_block(reduction.cautions), (0, 0, 1, 2)))
    screen.print(heading("Burning rate"))
    if learned.fit is not None:
        screen.print(Padding(_fit_table(learned.fit, units), (0, 0, 1, 2)))
    if learned.cautions:
        screen.print(Padding(cautions_block(learned.cautions), (0, 0, 0, 2)))


def _measured_table(reduction: Reduction, told: Reduction | None, units: str) -> Table:
    from optimizer.firings.reduction import foretold

    predicted = foretold(told)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    heads = ["", "measured", "± 95 %", *(("predicted", "apart") if predicted else ())]
    for place, head in enumerate(heads):
        table.add_column(head, justify="right" if place else "left", no_wrap=True)
    for key in _MEASURED:
        value, doubt, due = reduction.measured.get(key), reduction.uncertainty.get(key), predicted.get(key)
        if value is None:
            continue
        cells = [spoken(key), show(value, key, units), "" if doubt is None else show(doubt, key, units)]
        if predicted:
            apart = "" if not due else f"{100.0 * (value / due - 1.0):+.1f} %"
            cells += ["" if due is None else show(due, key, units), apart]
        table.add_row(*cells)
    return table


def _fit_table(fit: Fit, units: str) -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    half = {name: 0.5 * (high - low) for name in fit.names for low, high in [fit.interval(name)]}
    table.add_row(
        "rate",
        f"{show(fit.rate, 'rate', units)} ± {show(half['rate'], 'rate', units)} (95 %) at {show(fit.at, 'pressure', units)}",
    )
    table.add_row(
        "exponent",
        f"{fit.exponent:.4f} ± {half['exponent']:.4f} (95 %), correlation with the rate {fit.correlation:+.2f}",
    )
    speed = "characteristic_velocity"
    table.add_row(
        "characteristic velocity", f"{show(fit.characteristic_velocity, speed, units)} ± {show(half[speed], speed, units)} (95 %)"
    )
    low, high = fit.pressure_range
    table.add_row(
        "fired between",
        f"{show(low, 'pressure', units)} and {show(high, 'pressure', units)}; outside it the law is not known",
    )
    table.add_row("misfit", f"{100.0 * fit.misfit:.2f} % of the peak, {fit.samples} samples, {fit.kernel} kernel")
    return table


def print_explanation(explanation: Explanation, units: str) -> None:
    """Failure modes that fit the evidence, likeliest first; what would tell them apart; those ruled out."""
    screen = console()

    def block(title: str, body: Any) -> None:
        screen.print()
        screen.print(heading(title))
        screen.print(Padding(body, (0, 0, 0, 2)))

    screen.print(Text(explanation.firing, FIRST))
    screen.print(Text(evidence_line(explanation)))
    for text in explanation.why_first:
        screen.print(Text(text, FIRST if explanation.departure is not None else ""))
    screen.print(Text("What fits, likeliest first: a ranking under the scatter assumed, not a finding.", FAINT))
    screen.print(_ranking(explanation))
    block("What would tell them apart", _lines(tells(explanation)))
    if explanation.ruled_out:
        block("Ruled out, each under 1 %", _lines(ruled_out_lines(explanation, units)))
    if explanation.not_assessed:
        missing = [(mode, part, why) for mode, part, why, _ in explanation.not_assessed]
        block("Not assessed", not_assessed_block(missing))
        fitting = [(mode, part) for mode, part, _, fits in explanation.not_assessed if fits]
        if fitting:
            text = f"Of these, {rung_names(fitting)} would fit what was found: look there too."
            screen.print(Padding(Text(text, FIRST), (0, 0, 0, 2)))
    # What is left for causes beyond the ladder stands in the ranking already.
    said = [item for item in explanation.cautions if item.about != "not on the ladder" and item.text not in explanation.why_first]
    block("Cautions", _lines(f"{item.about}: {item.text}" for item in said))


def evidence_line(explanation: Explanation) -> str:
    """What is known of the failure, in a sentence or two."""
    when = "" if explanation.time is None else f" after {explanation.time:.2f} s"
    where = {"": "", "middle": " in the middle"}.get(explanation.end, f" at the {explanation.end} end")
    found = f"; found: {', '.join(explanation.found)}" if explanation.found else ""
    return f"Failed{when}{where}{found}. Pressure there: {explanation.pressure_words}."


def _ranking(explanation: Explanation) -> Table:
    """Shares of likelihood, with what speaks for and against each."""
    from optimizer.output.report.values import likelihood_text

    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(width=7, justify="right")
    table.add_column()
    for candidate in explanation.candidates:
        table.add_row(Text(likelihood_text(candidate.likelihood), FIRST), Text(f"{candidate.mode}, {candidate.part}", FIRST))
        for word, reasons in (("for", candidate.reasons_for), ("against", candidate.reasons_against)):
            if reasons:
                table.add_row(Text(word, FAINT), Text("; ".join(explanation.in_short(reasons))))
    left = "not on the ladder: assembly, damage, a wrong part, propellant"
    table.add_row(Text(likelihood_text(explanation.elsewhere), FIRST), Text(left, FIRST))
    return table


def tells(explanation: Explanation) -> list[str]:
    """What would tell the first two apart, then what would show each of the others, alike ones together."""
    others: dict[str, list[tuple[str, str]]] = {}
    for candidate in explanation.candidates[2:]:
        if candidate.would_tell not in explanation.next_step:
            others.setdefault(candidate.would_tell, []).append((candidate.mode, candidate.part))
    return [explanation.next_step, *(f"{rung_names(rungs)}: {text}" for text, rungs in others.items())]


def ruled_out_lines(explanation: Explanation, units: str) -> list[str]:
    """A line for each reason, with the rungs it speaks against and what is particular to each."""
    groups: dict[str, list[RuledOut]] = {}
    for item in explanation.ruled_out:
        groups.setdefault(_ground(item, explanation), []).append(item)
    return [f"{words}: {_particulars(items, explanation, units)}" for words, items in groups.items()]


def _ground(item: RuledOut, explanation: Explanation) -> str:
    """The reason that a rung shares with others."""
    if item.ground == "physics":
        return "the time does not fit" if item.time is not None else "the pressure does not fit (level over it)"
    if item.ground == "place":
        return f"the {explanation.end} end failed, and the part is elsewhere"
    causes = [text for text in explanation.in_short(item.why.split("; ")) if text.startswith("it does not")]
    return causes[0].replace(": ", " ") if causes else "not reported, though usual"


def _particulars(items: Sequence[RuledOut], explanation: Explanation, units: str) -> str:
    """Rungs of one reason, a mode once, each part with its own level; what was not reported in brackets."""
    told: dict[str, dict[str, list[str]]] = {}
    for item in items:
        level = ""
        if item.ground == "physics" and item.pressure is not None:
            level = f" ×{item.pressure / explanation.pressure.value:.1f}"
        elif item.ground == "physics" and item.time is not None:
            level = f" {show(item.time, 'time', units)}"
        absent = f" (no {', '.join(item.absent)})" if item.absent else ""
        told.setdefault(item.mode, {}).setdefault(level + absent, []).append(item.part)
    return "; ".join(
        f"{mode}{','.join(_closures(parts) + level for level, parts in levels.items())}" for mode, levels in told.items()
    )


def _closures(parts: Sequence[str]) -> str:
    """Which closures, in short; other parts are plain from the mode."""
    ends = [part.replace("forward closure", "fwd").replace("aft closure", "aft") for part in parts]
    return "".join(f" {end}" for end in (["both"] if {"fwd", "aft"} <= set(ends) else ends) if end in ("both", "fwd", "aft"))


def _closing_cautions(screen: Console) -> None:
    screen.print()
    screen.print(
        Text(
            "Fire remotely, at your club's distance and behind a barrier, after a proof test with water, under your "
            "local codes and with a review by your club. These figures come from models with limits.",
            FAINT,
        )
    )


def print_rows(rows: Sequence[Mapping[str, Any]], shown: Sequence[str] | None, units: str) -> None:
    """Rows of a listing as a table, SI numbers in the units asked for; what is said at length wraps between words."""
    screen = console()
    if not rows:
        screen.print(Text("nothing there has that word", FAINT))
        return
    names = shown or list(dict.fromkeys(name for row in rows for name in row))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=FAINT)
    cells = [[_cell(name, row.get(name), units) for name in names] for row in rows]
    for place, name in enumerate(names):
        numeric = all(isinstance(row.get(name), (int, float, type(None))) for row in rows)
        long = max(len(line[place]) for line in cells) > LONG_CELL
        head = name.removesuffix("_strength").replace("_", " ")
        table.add_column(head, justify="right" if numeric else "left", no_wrap=not long)
    for line in cells:
        table.add_row(*(Text(cell) for cell in line))
    screen.print(table)


LONG_CELL = 30
"""Letters of a cell that is read as words and may take several lines."""


def print_keys(rows: Sequence[Mapping[str, Any]]) -> None:
    """The keys of files, a line each: key, unit and default, then what it means."""
    screen = console()
    if not rows:
        screen.print(Text("no key has that word", FAINT))
    file = None
    for row in rows:
        if row["file"] != file:
            file = row["file"]
            screen.print(heading(f"{file} file"))
        key = f"[{row['table']}] {row['key']}" if row["table"] else row["key"]
        default = row["default"] if row["default"] in ("", "required") else f"default {row['default']}"
        said = ", ".join(text for text in (str(row["unit"]), str(default)) if text)
        line = Text(key, FIRST) + Text(f" ({said})" if said else "", FAINT) + Text(f": {row['meaning']}")
        screen.print(Padding(line, (0, 0, 0, 2)))


def _cell(name: str, value: Any, units: str) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and (name.endswith(("strength", "hole", "density", "diameter", "pitch"))):
        kind = "pressure" if name.endswith("strength") else "density" if name == "density" else "diameter"
        return show(value, kind, units)
    return f"{value:g}" if isinstance(value, float) else str(value)
