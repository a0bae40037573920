"""What the terminal shows: tables and the ladder as a picture, through rich.

Owns layout and words on the screen. Imports rich, units and the result types; knows nothing of files.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console, Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.cautions import Caution
from optimizer.limits import ALIASES
from optimizer.units import display_unit, number_in, show
from optimizer.vocabulary import QUANTITIES
from physics.assessment import Assessment
from physics.motors import Curve, Ladder, Rung

if TYPE_CHECKING:
    from optimizer.compare import Change, Comparison, Look, RungState
    from optimizer.fit_rate import Fit, Learned
    from optimizer.search import Design, SearchResult
    from optimizer.spread import SpreadResult

FIRST = "bold"
SHORT = "bold red"
FAINT = "dim"
NOTED = 6
"""Rungs whose notes are printed, lowest first, beside all that fall short."""

_BALLISTICS = (
    "peak_pressure",
    "peak_head_pressure",
    "mean_pressure",
    "total_impulse",
    "peak_thrust",
    "mean_thrust",
    "burn_time",
    "action_time",
    "specific_impulse",
    "thrust_coefficient",
    "initial_kn",
    "peak_kn",
    "port_to_throat_area",
    "peak_mass_flux",
    "propellant_mass",
)
_WORDS = {
    "peak_pressure": "peak chamber pressure",
    "peak_head_pressure": "peak head pressure",
    "mean_pressure": "mean pressure",
    "total_impulse": "total impulse",
    "peak_thrust": "peak thrust",
    "mean_thrust": "mean thrust",
    "burn_time": "burn time",
    "action_time": "action time",
    "specific_impulse": "specific impulse",
    "thrust_coefficient": "thrust coefficient",
    "initial_kn": "Kn at ignition",
    "peak_kn": "peak Kn",
    "port_to_throat_area": "port / throat area",
    "peak_mass_flux": "peak mass flux",
    "propellant_mass": "propellant",
}


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command line, whose exit code would else say that the answer is "no"."""
        raise BrokenPipeError


def console(stderr: bool = False) -> Console:
    """A console that honours NO_COLOR and the width of the terminal, 80 columns where there is none."""
    import shutil

    return _Console(stderr=stderr, width=max(shutil.get_terminal_size((80, 24)).columns, 40), highlight=False)


def heading(text: str) -> Text:
    """The line above a block."""
    return Text(text, style=FIRST)


def ballistics_table(assessment: Assessment, units: str) -> Table:
    """The figures of one motor in two columns of name and value."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for justify in ("left", "right", "left", "right"):
        table.add_column(justify=justify)
    cells = [
        (_WORDS[name], show(float(assessment.figures[name][0]), name, units))
        for name in _BALLISTICS
        if name in assessment.figures.values
    ]
    half = (len(cells) + 1) // 2
    for left, right in zip(cells[:half], [*cells[half:], ("", "")], strict=False):
        table.add_row(*left, *right)
    return table


def rung_order(ladder: Ladder, index: int = 0) -> list[Rung]:
    """Rungs of one motor: pressures, lowest first, then times, soonest first; what never happens comes last."""

    def place(rung: Rung) -> tuple[int, float]:
        values = rung.pressure if rung.pressure is not None else rung.time
        value = float(np.broadcast_to(np.asarray(values), (index + 1,))[index]) if values is not None else math.nan
        return (0 if rung.pressure is not None else 1, value if not math.isnan(value) else math.inf)

    return sorted(ladder.rungs, key=place)


def ladder_table(assessment: Assessment, units: str, width: int) -> Group:
    """The failure ladder as a picture: one bar a rung, the expected and the required pressure marked on each."""
    expected = float(assessment.maximum_expected_pressure[0])
    rungs = rung_order(assessment.ladder)
    pressures = [rung for rung in rungs if rung.pressure is not None]
    times = [rung for rung in rungs if rung.time is not None]
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
    # The page has every note; on the screen those of the rungs that a builder will look at first.
    near = {id(rung) for rung in pressures[:NOTED]} | {id(rung) for rung in rungs if not bool(rung.ok.ravel()[0])}
    notes = [f"{rung.mode}, {rung.part}: {rung.note}" for rung in rungs if rung.note and id(rung) in near]
    if notes:
        parts.append(Padding(Text("\n".join(notes), FAINT), (1, 0, 0, 0)))
    return Group(*parts)


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
        style = "" if factor >= required else SHORT
        table.add_row(
            Text(rung.mode, style),
            Text(rung.part, style),
            number_in(value, "pressure", units),
            Text(f"×{factor:.2f}", style),
            f"×{required:.2f}",
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
        if 0 <= where < width:
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


def basis_lines(ladder: Ladder) -> Text:
    """The formula and source behind every rung, one line a rung."""
    lines = dict.fromkeys(f"{rung.mode}: {rung.basis}" for rung in rung_order(ladder))
    return Text("\n".join(lines), FAINT)


def masses_table(masses: Mapping[str, Any], unknown: Iterable[str], units: str) -> Group:
    """Masses of the parts known, and the parts whose mass is not."""
    known = {name: float(np.ravel(mass)[0]) for name, mass in masses.items()}
    line = ", ".join(
        f"{name.replace('_', ' ')} {show(mass, 'mass', units)}" for name, mass in known.items() if math.isfinite(mass)
    )
    parts = [Text(line)]
    missing = list(unknown)
    if missing:
        parts.append(Text("not weighed: " + "; ".join(missing), FAINT))
    return Group(*parts)


def fit_line(fit: Mapping[str, Any], units: str) -> Text:
    """Whether the motor goes into the airframe, and with how much room."""
    fits = bool(np.ravel(fit["ok"])[0])
    text = f"{'goes into' if fits else 'does NOT go into'} the airframe: "
    text += f"{show(float(np.ravel(fit['clearance'])[0]), 'length', units)} of room on the diameter"
    length = fit.get("length_clearance")
    if length is not None:
        text += f", {show(float(np.ravel(length)[0]), 'length', units)} along it"
    return Text(text, "" if fits else SHORT)


def cautions_block(found: Iterable[Caution]) -> Table:
    """Cautions, what each is about beside its text."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style=FIRST, ratio=1)
    table.add_column(ratio=4)
    for caution in found:
        table.add_row(Text(caution.about), Text(caution.text))
    return table


def not_assessed_block(ladder: Ladder) -> Table:
    """What could not be computed, grouped by the reason."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(ratio=3)
    table.add_column(ratio=4, style=FAINT)
    grouped: dict[str, list[str]] = {}
    for item in ladder.not_assessed:
        grouped.setdefault(item.why, []).append(f"{item.mode}, {item.part}" if item.part else item.mode)
    for why, modes in grouped.items():
        table.add_row(Text("; ".join(modes)), Text(why))
    return table


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


_FRONT_FIGURES = ("total_impulse", "maximum_expected_pressure", "loaded_mass", "port_to_throat_area")


def print_front(result: SearchResult, units: str, folder: Any) -> None:
    """The Pareto table with each design's governing rung, then what was rejected, proven and is to be heeded."""
    screen = console()
    screen.print(Text(result.study.name, FIRST))
    counted = (
        f"{_count(result.space)} candidates, {_count(result.evaluated)} checked, {_count(result.feasible)} feasible"
    )
    screen.print(f"{counted}, {len(result.designs)} on the front; {result.seconds:.1f} s")
    if result.designs:
        screen.print()
        screen.print(_front_table(result, units, screen.width))
        hidden = len(result.designs) - len({design.group for design in result.designs})
        if hidden:
            screen.print(
                Text(f"{hidden} more come to exactly the same as a row above; they stand in the results folder", FAINT)
            )
    else:
        screen.print()
        screen.print(Text("No candidate meets every limit.", SHORT))
        _print_misses(screen, result, units)
    if result.rejected_by:
        screen.print()
        screen.print(heading("Turned away by"))
        table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
        table.add_column()
        table.add_column(justify="right")
        for name, count in sorted(result.rejected_by.items(), key=lambda item: -item[1]):
            table.add_row(Text(name), _count(count))
        screen.print(Padding(table, (0, 0, 0, 2)))
    screen.print()
    screen.print(Text("proven: " + result.proof if result.exact else "heuristic, not proven: " + result.proof))
    for message in result.messages:
        screen.print(Text(message, FAINT))
    if result.designs:
        screen.print()
        first = folder / result.designs[0].file
        screen.print(Text(f"Each design is a motor file; look at one with: grainwright check {first}"))
    _closing_cautions(screen)


def _count(number: int) -> str:
    """A whole number in groups of three."""
    return f"{number:,}".replace(",", " ")


def _front_table(result: SearchResult, units: str, width: int) -> Table:
    """One row a design: variables, objectives and the rung that governs it."""
    varied = [
        name
        for name in result.designs[0].variables
        if len({str(design.variables[name]) for design in result.designs}) > 1
    ]
    aims = list(dict.fromkeys([aim.name for aim in result.study.objectives] + ["designation", *_FRONT_FIGURES]))
    aims = [name for name in aims if name in result.designs[0].results and name != "smallest_factor"]
    # In a narrow terminal what is aimed for comes before what is merely useful to know.
    most = (width - 36 - 9 * len(varied)) // 9
    aims = aims[: max(most, len(result.study.objectives))]
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    table.add_column("no.", justify="right")
    units_of = {name: _common_unit([_variable(design, name) for design in result.designs]) for name in varied}
    for name in varied:
        table.add_column(f"{_short(name)} {units_of[name]}".rstrip(), justify="right", overflow="fold")
    for name in aims:
        table.add_column(_headed(name, units), justify="right", overflow="fold")
    table.add_column("lets go first", no_wrap=True)
    shown: set[int] = set()
    for design in result.designs:
        if design.group in shown:
            continue
        shown.add(design.group)
        cells = [_variable(design, name).removesuffix(f" {units_of[name]}") for name in varied]
        cells += [_result_cell(design.results[name], name, units) for name in aims]
        governing = "–"
        if design.results["governing"]:
            rung = design.results["governing"].replace("forward closure", "fwd").replace("aft closure", "aft")
            governing = f"×{design.results['smallest_factor']:.2f} {rung}"
        table.add_row(str(design.number), *(Text(cell) for cell in cells), Text(governing))
    return table


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
    words = _WORDS | {
        "maximum_expected_pressure": "expected",
        "designation": "motor",
        "port_to_throat_area": "port/ throat",
    }
    text = words.get(name, name.replace("_", " "))
    unit = display_unit(name, units) if name in QUANTITIES else ""
    return f"{text} {unit}" if unit else text


def _result_cell(value: Any, name: str, units: str) -> str:
    if isinstance(value, str):
        return value
    return number_in(value, name, units) if name in QUANTITIES else f"{value:.4g}"


def _print_misses(screen: Console, result: SearchResult, units: str) -> None:
    """The smallest changes of limits that would let a design in, and the candidates nearest to passing."""
    if result.relaxations:
        screen.print()
        screen.print(heading("What would let one in"))
        for entry in result.relaxations[:8]:
            words = " and ".join(
                f"{change['limit']} {_bound(change['from'], change['limit'], units)}"
                f" → {_bound(change['to'], change['limit'], units)}"
                for change in entry["changes"]
            )
            screen.print(Padding(Text(words), (0, 0, 0, 2)))
    if result.nearest:
        screen.print()
        screen.print(heading("Nearest candidates"))
        for row in result.nearest[:5]:
            variables = ", ".join(
                f"{_short(key)} {_value(value, key, units)}" for key, value in row["variables"].items()
            )
            missed = "; ".join(
                f"{miss['limit']} {_bound(miss['value'], miss['limit'], units)}" for miss in row["misses"]
            )
            screen.print(Padding(Text(f"{variables}: {missed}"), (0, 0, 0, 2)))


def _bound(value: Any, name: str, units: str) -> str:
    alias = ALIASES.get(name, name)
    if isinstance(value, (int, float)) and alias in QUANTITIES:
        return show(float(value), alias, units)
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _value(value: Any, key: str, units: str) -> str:
    name = key.rsplit(".", 1)[-1]
    if isinstance(value, float) and name in QUANTITIES:
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
    for column in ("changed", "from", "to"):
        table.add_column(column, overflow="fold")
    for name in _MOVED:
        table.add_column(f"{_WORDS[name]}, alone", justify="right")
    for change in changes:
        cells = [_relative(change.alone, before, name) for name in _MOVED]
        table.add_row(Text(change.key), Text(change.before_text), Text(change.after_text), *cells)
        if change.alone is None:
            table.add_row("", Text(f"cannot stand alone: {change.why}", FAINT))
    return table


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
    for key in (*_BALLISTICS, "maximum_expected_pressure", "loaded_mass"):
        values = comparison.figures.get(key)
        if values is not None:
            cells = ["–" if value is None else show(value, key, units) for value in values]
            table.add_row(_WORDS.get(key, key.replace("_", " ")), *cells)
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
    "peak_mass_flux",
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
            table.add_row(
                _WORDS.get(key, key), *(show(result.figures[key][c], key, units) for c in ("p5", "p50", "p95", "p99"))
            )
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
    held = [(f"{mode}, {part}", chance) for mode, part, chance in result.rungs if not chance.failed]
    if held:
        names = "; ".join(name for name, _ in held)
        screen.print(Padding(Text(f"each {held[0][1].text}: {names}", FAINT), (0, 0, 0, 2)))
    steps = ", ".join(
        f"{show(step['p95'], 'pressure', units)} at {step['samples']}" for step in result.convergence[-3:]
    )
    screen.print(Padding(Text(f"Settling: p95 of the peak head pressure {steps} points.", FAINT), (0, 0, 0, 2)))
    screen.print(
        Padding(
            Text(
                "A share of samples under the tolerances given, not a promise; what is not assessed is not in it.",
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
                    f"{side} {_WORDS.get(name, name.replace('_', ' '))}",
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
        table.add_column(_WORDS[name], justify="right")
    keys = dict.fromkeys(key for name in present for key in result.shares[name])
    ordered = sorted(keys, key=lambda key: -max(result.shares[name].get(key, 0.0) for name in present))
    for key in ordered:
        table.add_row(Text(key), *(f"{100.0 * max(result.shares[name].get(key, 0.0), 0.0):.0f} %" for name in present))
    return table


_MEASURED = (
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
)


def print_reduction(learned: Learned, units: str) -> None:
    """Measured figures with their uncertainty, the fit, and what to be careful with."""
    screen = console()
    for reduction in learned.reductions:
        screen.print(Text(reduction.name, FIRST))
        table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
        for justify in ("left", "right", "right"):
            table.add_column(justify=justify)
        for key in _MEASURED:
            value, doubt = reduction.measured.get(key), reduction.uncertainty.get(key)
            if value is not None:
                doubted = "" if doubt is None else f"± {show(doubt, key, units)}"
                table.add_row(_WORDS.get(key, key.replace("_", " ")), show(value, key, units), doubted)
        screen.print(Padding(table, (0, 0, 1, 2)))
        screen.print(Padding(cautions_block(reduction.cautions), (0, 0, 1, 2)))
    screen.print(heading("Burning rate"))
    if learned.fit is not None:
        screen.print(Padding(_fit_table(learned.fit, units), (0, 0, 1, 2)))
    if learned.cautions:
        screen.print(Padding(cautions_block(learned.cautions), (0, 0, 0, 2)))


def _fit_table(fit: Fit, units: str) -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    errors = fit.standard_error
    table.add_row(
        "rate",
        f"{show(fit.rate, 'rate', units)} ± {show(errors['rate'], 'rate', units)} at {show(fit.at, 'pressure', units)}",
    )
    table.add_row(
        "exponent", f"{fit.exponent:.4f} ± {errors['exponent']:.4f}, correlation with the rate {fit.correlation:+.2f}"
    )
    low, high = fit.pressure_range
    table.add_row(
        "fired between",
        f"{show(low, 'pressure', units)} and {show(high, 'pressure', units)}; outside it the law is not known",
    )
    table.add_row("misfit", f"{100.0 * fit.misfit:.2f} % of the peak, {fit.samples} samples, {fit.kernel} kernel")
    return table


def print_explanation(explanation: Any, units: str) -> None:
    """Failure modes that fit the evidence, likeliest first; those ruled out; what would tell the rest apart."""
    screen = console()
    answer = explanation.as_json()
    screen.print(Text(str(answer.get("firing", "")), FIRST))
    screen.print("What fits the evidence, likeliest first. This is a ranking under the scatter assumed, not a verdict.")
    for candidate in answer["candidates"]:
        screen.print()
        screen.print(Text(f"{100.0 * candidate['likelihood']:.0f} %  {candidate['mode']}, {candidate['part']}", FIRST))
        for word, key in (("for", "for"), ("against", "against")):
            for reason in candidate[key]:
                screen.print(Padding(Text(f"{word}: {reason}"), (0, 0, 0, 2)))
        screen.print(Padding(Text(f"would tell: {candidate['would_tell']}", FAINT), (0, 0, 0, 2)))
    if answer["ruled_out"]:
        screen.print()
        screen.print(heading("Ruled out"))
        table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
        for item in answer["ruled_out"]:
            table.add_row(Text(item["mode"]), Text(str(item.get("part", ""))), Text(item["why"]))
        screen.print(Padding(table, (0, 0, 0, 2)))
    _closing_cautions(screen)


def _closing_cautions(screen: Console) -> None:
    screen.print()
    screen.print(
        Text(
            "Fire remotely, at your club's distance and behind a barrier, after a proof test with water, under your "
            "local codes and with a review by your club. These figures come from models with limits.",
            FAINT,
        )
    )
