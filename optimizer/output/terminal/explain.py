"""Which modes fit a failure, on the terminal.

Imports the console, the ladder and units.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.ladder_view import rung_names
from optimizer.output.terminal.console import FAINT, FIRST, console, heading, lines_of
from optimizer.output.terminal.ladder import not_assessed_block
from optimizer.units import show

if TYPE_CHECKING:
    from optimizer.commands.explain import Explanation, RuledOut


def print_explanation(explanation: Explanation, units: str) -> None:
    """Failure modes that fit the evidence, likeliest first; what would tell them apart; those ruled out."""
    screen = console()

    def block(title: str, body: Any) -> None:
        screen.print(heading(title))
        screen.print(Padding(body, (0, 0, 0, 2)))

    screen.print(Text(explanation.firing, FIRST))
    screen.print(Text(evidence_line(explanation)))
    for text in explanation.why_first:
        screen.print(Text(text, FIRST if explanation.departure is not None else ""))
    screen.print(Text("What fits, likeliest first: a ranking under the scatter assumed, not a finding.", FAINT))
    screen.print(_ranking(explanation))
    block("What would tell them apart", lines_of(distinguishing_findings(explanation)))
    if explanation.ruled_out:
        block("Ruled out, each under 1 %", lines_of(ruled_out_lines(explanation, units)))
    if explanation.not_assessed:
        missing = [(mode, part, why) for mode, part, why, _ in explanation.not_assessed]
        block("Not assessed", not_assessed_block(missing))
        fitting = [(mode, part) for mode, part, _, fits in explanation.not_assessed if fits]
        if fitting:
            text = f"Of these, {rung_names(fitting)} would fit what was found: look there too."
            screen.print(Padding(Text(text, FIRST), (0, 0, 0, 2)))
    # What is left for causes beyond the ladder stands in the ranking already.
    said = [item for item in explanation.cautions if item.about != "not on the ladder" and item.text not in explanation.why_first]
    block("Cautions", lines_of(f"{item.about}: {item.text}" for item in said))


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


def distinguishing_findings(explanation: Explanation) -> list[str]:
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
    ends = [part.replace(" closure", "").replace("forward", "fwd") for part in parts]
    told = ["both"] if {"fwd", "aft"} <= set(ends) else ends
    return "".join(f" {end}" for end in told if end == "both" or end.startswith(("fwd", "aft")))
