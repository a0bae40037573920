"""What a record said, on the terminal.

Imports the console and units.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.output.terminal.console import FAINT, FIRST, cautions_block, console, heading, lines_of
from optimizer.units import show
from optimizer.vocabulary import spoken

if TYPE_CHECKING:
    from optimizer.firings.rate_fit import Fit, Learned
    from optimizer.firings.reduction import Reduction


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
            screen.print(Padding(lines_of(outside_lines(reduction.outside, units)), (0, 0, 1, 2)))
        if reduction.liner:
            screen.print(heading("Liner"))
            screen.print(Padding(lines_of(liner_lines(reduction.liner, units)), (0, 0, 1, 2)))
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
        # Classes and certificates are in newton seconds, whatever the system.
        for system in dict.fromkeys((units, "metric" if key == "total_impulse" else units)):
            cells = [spoken(key), show(value, key, system), "" if doubt is None else show(doubt, key, system)]
            if predicted:
                apart = "" if not due else f"{100.0 * (value / due - 1.0):+.1f} %"
                cells += ["" if due is None else show(due, key, system), apart]
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
