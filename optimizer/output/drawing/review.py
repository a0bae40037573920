"""The review sheets for a safety officer.

Imports the assessment, sheet, plates, rungs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.flaw_view import in_short, seen
from optimizer.ladder_view import bar_ceiling, brief_verdict, ladder_rows
from optimizer.output.drawing.geometry import grain_rows
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, plain_table, shown_in
from optimizer.output.drawing.sheet import ALARM, FAINT, INK, PAPERS, Sheet, fitted, wrapped
from optimizer.units import display_unit, number_in
from optimizer.vocabulary import spoken
from physics.figures import PRESSURE, in_groups

if TYPE_CHECKING:
    from physics.assessment import Assessment

SAFE, SHORT = "#0072b2", "#d55e00"


_REVIEWED = (
    "peak_head_pressure", "peak_pressure", "mean_pressure", "highest_kn", "kn_at_ignition", "peak_thrust", "mean_thrust",
    "total_impulse", "burn_time", "specific_impulse", "highest_port_mach", "highest_mass_flux", "port_over_throat",
)  # fmt: skip


def figure_rows(assessment: Assessment, units: str, designation: str = "") -> list[tuple[str, str]]:
    """The figures a reviewer asks for first, as name and text; a row without a text is the title of those below it."""
    figures, expected = assessment.figures, float(np.ravel(assessment.maximum_expected_pressure)[0])
    rows = [("designation", designation)] if designation else []
    for group, names in in_groups(_REVIEWED).items():
        rows.append((group, ""))
        if group == PRESSURE:
            rows.append((spoken("maximum_expected_pressure"), shown_in(expected, "pressure", units)))
        rows += [(spoken(name), shown_in(float(np.ravel(figures[name])[0]), name, units)) for name in names]
    return rows


def mass_rows(assessment: Assessment, units: str) -> list[tuple[str, str]]:
    """Masses of the parts; what is not known is named by `mass_gaps`."""
    rows = []
    for name, values in assessment.masses.items():
        value = float(np.ravel(values)[0])
        rows.append((spoken(name), shown_in(value, "propellant_mass", units) if math.isfinite(value) else "not known"))
    return rows


def mass_gaps(assessment: Assessment) -> list[str]:
    """What is left out of the loaded mass, as the assessment words it."""
    return [f"mass, left out of loaded: {text}" for text in assessment.unknown_masses]


def review_sheets(
    assessment: Assessment, labels: Labels, cautions: Iterable[Any], paper: str = "A4", designation: str = ""
) -> list[Sheet]:
    """One page for a safety officer, the text a little smaller where there is much; more pages where that is not enough.

    What concerns people stands first among the cautions.
    """
    told = sorted(cautions, key=lambda item: item.about != "people")
    missing = [f"{item.mode} ({item.part}): {item.why}" for item in assessment.ladder.not_assessed]
    missing += mass_gaps(assessment)
    found, needed = seen(assessment)
    blocks = [
        ("Cautions", [f"{item.about}: {item.text}" for item in told]),
        *([("What a flaw would do to the head pressure", [in_short(found, needed, labels.units)])] if found else []),
        ("Not assessed", missing or ["every mode of the table was assessed"]),
    ]
    for size in (8.0, 7.4, 6.8, 6.2):
        sheet, y = _review(assessment, labels, paper, designation, size)
        left = _texts(sheet, blocks, y, size)
        if not left:
            break
    pages = [sheet]
    while left:
        sheet = Sheet(*PAPERS[paper])
        top = sheet.height - MARGIN - 6.0
        sheet.text(MARGIN, top, "Review before firing, continued", 15, bold=True)
        left = _texts(sheet, left, top - 9.0, 8.0)
        pages.append(sheet)
    for count, sheet in enumerate(pages, 1):
        _signatures(sheet, sheet.width - 2 * MARGIN)
        foot(sheet, labels, "review sheet", "–", f"{count} of {len(pages)}")
    return pages


def _review(assessment: Assessment, labels: Labels, paper: str, designation: str, size: float) -> tuple[Sheet, float]:
    """The page down to the ladder, and where what follows begins."""
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    top = sheet.height - MARGIN - 6.0
    good = bool(np.ravel(assessment.ok)[0])
    sheet.text(MARGIN, top, "Review before firing", 15, bold=True)
    sheet.text(sheet.width - MARGIN, top, brief_verdict(assessment), 9.5, "right", bold=True, color=INK if good else ALARM)
    y = top - 8.0
    half = width / 2 - 3.0
    left = _pairs(sheet, MARGIN, y, half, figure_rows(assessment, labels.units, designation), size, "Figures")
    masses = mass_rows(assessment, labels.units)
    rows = grain_rows(assessment.motors)
    masses.append(("grains", ", ".join(f"{row['count']:.0f} × {labels.length(row['length'], 1)}" for row in rows)))
    right = _pairs(sheet, MARGIN + half + 6.0, y, half, masses, size, "Masses and grains")
    return sheet, _ladder(sheet, assessment, labels, min(left, right) - 3.5, width, size)


def _pairs(sheet: Sheet, x: float, y: float, width: float, rows: Sequence[tuple[str, str]], size: float, heading: str) -> float:
    sheet.text(x, y, heading, size + 1.5, bold=True)
    return plain_table(sheet, x, y - 4.8, width, rows, size)


def _ladder(sheet: Sheet, assessment: Assessment, labels: Labels, y: float, width: float, size: float) -> float:
    """Bars on one pressure scale, then the times."""
    rows = ladder_rows(assessment.ladder)
    expected = float(np.ravel(assessment.maximum_expected_pressure)[0])
    unit = display_unit("pressure", labels.units)
    sheet.text(MARGIN, y, f"Failure ladder, first to fail on top ({unit})", size + 1.5, bold=True)
    key = "a bar ends where the part fails; dashed: maximum expected; stroke: what the required factor asks"
    sheet.text(MARGIN + width, y, key, size - 1.4, "right", color=FAINT)
    step = (1.5 if size > 6.5 else 1.38) * size * 25.4 / 72
    pressures = [row for row in rows if row["pressure"] is not None and math.isfinite(row["pressure"])]
    label_width, text_width = 62.0, 40.0
    bar = width - label_width - text_width
    ceiling = bar_ceiling([row["pressure"] for row in pressures], expected)
    x0 = MARGIN + label_width
    y -= 9.0
    top = y + 0.7 * step
    for row in pressures:
        _bar(sheet, row, x0, y, bar, ceiling, expected, size, labels, label_width)
        y -= step
    if math.isfinite(expected) and pressures:
        x = x0 + bar * expected / ceiling
        sheet.line([(x, top), (x, y + 0.75 * step)], 0.35, INK, (1.6, 1.0))
        told = f"max. expected {number_in(expected, 'pressure', labels.units)}"
        sheet.text(x, top + 0.6, told, size - 1.2, "center", halo=True)
    for row in rows:
        if row["time"] is None:
            continue
        never = math.isinf(row["time"])
        text = "not reached in the model" if never else f"at {shown_in(row['time'], 'time', labels.units)}"
        factor = "" if never or row["factor"] is None else f", ×{row['factor']:.2f} of {row['required']:.2f} required"
        color = INK if row["ok"] else ALARM
        sheet.text(MARGIN, y, fitted(f"{row['mode']}, {row['part']}", size, label_width - 1), size, color=color)
        sheet.text(x0, y, text + factor + ("" if row["ok"] else "  SHORT"), size, color=color)
        y -= step
    return y - 2.0


def _bar(
    sheet: Sheet,
    row: Mapping[str, Any],
    x0: float,
    y: float,
    bar: float,
    ceiling: float,
    expected: float,
    size: float,
    labels: Labels,
    label_width: float,
) -> None:
    share = min(row["pressure"] / ceiling, 1.0)
    cut = row["pressure"] > ceiling
    good = row["ok"]
    name = fitted(f"{row['mode']}, {row['part']}", size, label_width - 1)
    sheet.text(MARGIN, y, name, size, color=INK if good else ALARM)
    high = 0.55 * size * 25.4 / 72 * 1.3
    sheet.box(x0, y - 0.2, bar * share, high, SAFE if good else SHORT, 0.1)
    if cut:
        sheet.text(x0 + bar, y, "›", size + 2, "right", color="#ffffff", bold=True)
    if row["required"] is not None and math.isfinite(expected):
        needed = row["required"] * expected / ceiling
        if needed <= 1.0:
            x = x0 + bar * needed
            sheet.line([(x, y - 0.9), (x, y + high + 0.5)], 0.5, "#ffffff")
            sheet.line([(x, y - 0.9), (x, y + high + 0.5)], 0.3, INK)
    known = row["factor"] is not None and not math.isnan(row["factor"])
    asked = "advice" if row["required"] is None else f"of {row['required']:.2f}"
    factor = f"×{row['factor']:.2f} {asked}" if known else "–"
    text = f"{number_in(row['pressure'], 'pressure', labels.units)}  {factor}" + ("" if good else "  SHORT")
    sheet.text(MARGIN + bar + label_width + 40.0, y, text, size, "right", color=INK if good else ALARM)


def _texts(sheet: Sheet, blocks: Sequence[tuple[str, Sequence[str]]], y: float, size: float) -> list[tuple[str, Sequence[str]]]:
    """Lists under their headings, as far as they go above the signatures; what is left comes back."""
    width, floor = sheet.width - 2 * MARGIN, MARGIN + FOOT + 12.0
    line = 1.35 * size * 25.4 / 72
    for number, (heading, texts) in enumerate(blocks):
        for count, text in enumerate(texts):
            needed = len(wrapped("– " + text, size, width)) * line + (4.6 if count == 0 else 0.0)
            if y - needed < floor - 0.2 * line:
                if count or number:
                    sheet.text(MARGIN, floor - 0.4 * line, "continued on the next sheet", size, bold=True, color=ALARM)
                rest = (heading if count == 0 else f"{heading}, continued", texts[count:])
                return [rest, *blocks[number + 1 :]]
            if count == 0:
                sheet.text(MARGIN, y, heading, size + 1.5, bold=True)
                y -= 4.6
            y = sheet.paragraph(MARGIN, y, width, "– " + text, size)
        y -= 2.2
    return []


def _signatures(sheet: Sheet, width: float) -> None:
    y = MARGIN + FOOT + 5.0
    each = width / 3
    for step, who in enumerate(("builder", "safety officer", "witness to the proof test")):
        x = MARGIN + step * each
        sheet.line([(x, y + 4.0), (x + each - 6.0, y + 4.0)], 0.2)
        sheet.text(x, y, f"{who}: name, signature, date", 6.5, color=FAINT)
