"""The table of the front, and what excluded the rest.

Imports the console, the limits, units and the vocabulary.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.candidates.limits import ALIASES, REASONS
from optimizer.candidates.pareto import spread_out
from optimizer.output.terminal.console import FAINT, FIRST, SHORT, closing_cautions, console, heading, lines_of
from optimizer.output.terminal.ladder import not_assessed_block
from optimizer.units import display_unit, number_in, show
from optimizer.vocabulary import CHANCE, FACTOR, SHORT_KEYS, find_quantity, spoken

if TYPE_CHECKING:
    from optimizer.commands.search import Design, SearchResult

MOST_ROWS = 40

"""Designs of a front that the terminal shows."""


LAST_TO_GO = ("designation", "maximum_expected_pressure")
"""Columns that no terminal is too narrow for."""
LEAST_GOVERNING = 12
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
            text = f"{MOST_ROWS} of {groups} on the front, spread evenly; all of them are in the results folder"
            screen.print(Text(text, FAINT))
        tools = _tool_lines(result)
        if tools:
            screen.print()
            screen.print(heading("Nearest sizes of tools, and what each would change"))
            screen.print(Padding(lines_of(tools), (0, 0, 0, 2)))
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
    closing_cautions(screen)


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
    screen.print(Padding(lines_of(lines), (0, 0, 0, 2)))


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
    designs = _shown(result)
    units_of = {name: _common_unit([_variable(design, name) for design in designs]) for name in varied}
    columns = [("no.", [str(design.number) for design in designs])]
    for name in varied:
        cells = [_variable(design, name).removesuffix(f" {units_of[name]}") for design in designs]
        columns.append((f"{_short(name)} {units_of[name]}".rstrip(), cells))
    governing = [_governing(design) for design in designs]
    longest, least = max(map(len, governing)), max(LEAST_GOVERNING, max(len(word) for text in governing for word in text.split()))
    found = {
        name: (_headed(name, units), [_result_cell(design.results[name], name, units) for design in designs])
        for name in dict.fromkeys((*needed, *LAST_TO_GO, *_FRONT_FIGURES))
        if name in results
    }
    if units == "imperial" and "total_impulse" in found:  # classes and certificates are in newton seconds
        newtons = [_result_cell(design.results["total_impulse"], "total_impulse", "metric") for design in designs]
        found["newton seconds"] = (display_unit("total_impulse", "metric"), newtons)
    # In a narrow terminal what is useful to know goes first, then what is aimed for; pressure and designation stay.
    room = width - least - sum(_width(*column) + 1 for column in columns)
    kept = {name: _width(*found[name]) + 1 for name in (*LAST_TO_GO, *needed, *found) if name in found}
    for name in [name for name in reversed(kept) if name not in LAST_TO_GO]:
        spare = longest - least if name not in needed else 0
        if sum(kept.values()) + spare > room:
            del kept[name]
    order = list(dict.fromkeys((*needed, *LAST_TO_GO, *_FRONT_FIGURES)))
    order.insert(order.index("total_impulse") + 1, "newton seconds")
    columns += [found[name] for name in order if name in kept]
    left = width - longest - sum(_width(*column) + 1 for column in columns)
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=FAINT)
    for head, cells in columns:
        whole, least = max(len(text) for text in (head, *cells)), _width(head, cells)
        given = min(whole, least + max(left, 0))
        left -= given - least
        table.add_column(head, justify="right", overflow="fold", width=given)
    table.add_column("first to fail", overflow="fold", width=max(longest + min(left, 0), least))
    for place, text in enumerate(governing):
        table.add_row(*(Text(cells[place]) for _, cells in columns), Text(text))
    return table


def _width(head: str, cells: Sequence[str]) -> int:
    """What a column needs so that no number and no word of its head is broken."""
    return max(len(text) for text in (*head.split(), *cells))


def _governing(design: Design) -> str:
    """The rung that fails first, with its factor."""
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
                screen.print(Padding(lines_of(words), (0, 0, 0, 4)))
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
