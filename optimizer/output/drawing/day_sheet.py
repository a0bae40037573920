"""The day sheet: the order of steps at the range, with a place for initials, for the club to amend.

Names no step of igniters or propellant beyond who handles them: that is the club's. Imports stand, plates, sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, shown_in
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet, fitted, printable, width_of
from optimizer.output.drawing.stand import Stand, stand, sticker_wait

if TYPE_CHECKING:
    from physics.assessment import Assessment

ROW = 6.6  # mm of a step
SIGNED, WHO = 30.0, 21.0  # mm for clock and initials, and for who signs


def day_sheet(assessment: Assessment, labels: Labels, paper: str = "A4") -> Sheet:
    """One page: steps in order, who signs, blank lines for the club."""
    for row in (ROW, 6.0, 5.4, 5.0):
        sheet, bottom = _drawn(assessment, labels, paper, row)
        if bottom >= MARGIN + FOOT:
            break
    return sheet


def _drawn(assessment: Assessment, labels: Labels, paper: str, row: float) -> tuple[Sheet, float]:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Day sheet: static firing", 15, bold=True)
    y = sheet.paragraph(
        MARGIN,
        y - 7.0,
        width,
        "A proposal for the club to amend. The club's own rules, local codes and the range officer's word go before "
        "every line of it; the "
        "range officer may stop at any step, and then nothing goes on without a new start from the top of that part.",
        8.0,
        color=FAINT,
    )
    y -= 1.5
    for heading, steps in day_steps(assessment, stand(assessment), labels):
        sheet.text(MARGIN, y - 3.4, heading, 9.4, bold=True)
        sheet.text(MARGIN + width, y - 3.4, "clock, initials", 6.5, "right", color=FAINT)
        y -= 5.2
        for who, text in steps:
            sheet.box(MARGIN, y - row, width, row, "none", 0.12)
            sheet.box(MARGIN + 1.5, y - row / 2 - 1.3, 2.6, 2.6)
            room = width - SIGNED - WHO - 8.0
            size = next((size for size in (7.6, 7.2, 6.8, 6.4) if width_of(printable(text), size) <= room), 6.0)
            sheet.text(MARGIN + 6.5, y - row / 2, fitted(text, size, room), size, level="center")
            sheet.text(MARGIN + width - SIGNED - WHO + 1.5, y - row / 2, who, 6.6, color=FAINT, level="center")
            for x in (SIGNED, SIGNED + WHO):
                sheet.line([(MARGIN + width - x, y), (MARGIN + width - x, y - row)], 0.12)
            y -= row
        y -= 1.6
    y = _signed(sheet, y - 8.0, width)
    foot(sheet, labels, "day sheet", "–")
    return sheet, y


_Steps = Sequence[tuple[str, str]]


def day_steps(assessment: Assessment, facts: Stand, labels: Labels) -> list[tuple[str, _Steps]]:
    """The parts of the day, each step with who signs for it."""
    wait = sticker_wait(assessment)
    restraint = shown_in(facts.restraint, "thrust", labels.units)
    pressure = shown_in(facts.expected_pressure, "pressure", labels.units)
    return [
        (
            "At home",
            [
                ("builder", "Review sheet signed; water proof passed with these parts; parts measured and checked as built"),
                ("builder", "Weather, fire risk, permits, insurance and the land owner's word for the day"),
                ("builder", "Spare rings, grease, tools, fire extinguishers, water, first aid, two telephones that work there"),
            ],
        ),
        (
            "Range, before the motor is loaded",
            [
                ("range officer", "Distances by the club's table, barrier, wind, dry growth cleared; spotters and road closed"),
                ("range officer", "Briefing: who is in charge, where all stand, what stops a firing, who calls for help"),
                ("stand", f"Restraint holds {restraint} both ways and sideways; nothing in line with either end"),
                (
                    "instruments",
                    f"Load cell calibrated in place; transducer zeroed, range above {pressure}; one clock; dry run recorded",
                ),
                (
                    "stand",
                    "Firing line laid from cover, checked with a lamp in place of the load, shunted, key with the range officer",
                ),
            ],
        ),
        (
            "Motor",
            [
                ("builder", "Away from people: grains, liner, rings and nozzle as on the review sheet; throat measured and clear"),
                (
                    "second person",
                    "Every screw counted and torqued, rings greased and whole, retention seen by a second pair of eyes",
                ),
                ("builder", "Motor on the stand, nozzle away from people; instruments and stickers on; recording started"),
            ],
        ),
        (
            "Firing",
            [
                (
                    "range officer",
                    "All in cover and counted; only the licensed handler goes to the motor, by the club's own procedure",
                ),
                ("handler", "Handler back in cover; shunt off and key in last"),
                ("range officer", "Sky, road and range clear, called aloud; count of five; fire remotely"),
            ],
        ),
        (
            "After",
            [
                (
                    "range officer",
                    "No start: key out, shunt, wait as the club's rule says, 5 minutes at least; one person goes, then decide",
                ),
                (
                    "range officer",
                    f"Start: key out; nobody approaches before {max(wait, 300.0) / 60:.0f} minutes, nor while it smokes or is hot",
                ),
                ("instruments", f"Record saved twice before anything is moved; stickers read after {wait:.0f} s"),
                (
                    "builder",
                    "Throat, liner, rings, holes and diameters measured and photographed; firing file written the same day",
                ),
            ],
        ),
        ("Of the club", [("", ""), ("", ""), ("", "")]),
    ]


def _signed(sheet: Sheet, y: float, width: float) -> float:
    each = width / 3
    for step, who in enumerate(("builder", "range officer", "licensed or certified member")):
        x = MARGIN + step * each
        sheet.line([(x, y), (x + each - 6.0, y)], 0.2)
        sheet.text(x, y - 3.2, f"{who}: name, signature, date", 6.5, color=FAINT)
    return y - 6.0
