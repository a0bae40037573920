"""What tolerances do, on the terminal.

Imports the console, units and the vocabulary.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.candidates.samples import FLOWN
from optimizer.output.terminal.console import FAINT, FIRST, closing_cautions, console, heading
from optimizer.units import display_unit, number_in, show
from optimizer.vocabulary import spoken

if TYPE_CHECKING:
    from optimizer.candidates.samples import Chance
    from optimizer.commands.spread import Smooth, SpreadResult


_SPREAD_FIGURES = (
    "peak_pressure",
    "peak_head_pressure",
    "total_impulse",
    "mean_thrust",
    "burn_time",
    "specific_impulse",
    "highest_mass_flux",
    *FLOWN,
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
        # Classes and certificates are in newton seconds, whatever the system.
        for system in dict.fromkeys((units, "metric" if key == "total_impulse" else units)):
            if key in result.figures:
                unit = display_unit(key, system)
                cells = (number_in(result.figures[key][c], key, system) for c in ("p5", "p50", "p95", "p99"))
                table.add_row(f"{spoken(key)}, {unit}" if unit else spoken(key), *cells)
    screen.print()
    screen.print(heading("Figures over the scatter"))
    screen.print(Padding(table, (0, 0, 0, 2)))
    screen.print()
    screen.print(heading("Chance of failure"))
    chances = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    if result.any_failure is not None:
        chances.add_row(Text("any rung", FIRST), Text(result.any_failure.text, FIRST))
    for mode, part, chance in result.rungs:
        if chance.failed:
            chances.add_row(f"{mode}, {part}", chance.text)
    screen.print(Padding(chances, (0, 0, 0, 2)))
    if result.untested is not None:
        told = f"Tests are counted ({'; '.join(result.tests)}); without them any rung: {result.untested.text}."
        screen.print(Padding(Text(told), (0, 0, 0, 2)))
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
    screen.print(Padding(_shares_table(result, ("peak_head_pressure", "total_impulse", "burn_time", "apogee")), (0, 0, 0, 2)))
    closing_cautions(screen)


def _held_words(held: Sequence[Chance | Smooth], rungs: int) -> str:
    """What is known of the rungs that held in every sample; which they are stands on the page and in the JSON."""
    which = f"each of the {rungs} rungs" if len(held) == rungs else f"each of the other {len(held)} rungs"
    return f"{'the other rung' if len(held) == 1 < rungs else which} assessed: {held[0].text}"


_CORNER_FIGURES = ("peak_head_pressure", "total_impulse", "smallest_factor", "coldest_rail_exit_speed", "apogee")


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
