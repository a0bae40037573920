"""The failure ladder as a picture on a sheet of its own size, for PDF and PNG: the look of the page's, drawn here.

Imports sheet. What is drawn comes as plain data, bars and marks in percent of their scale.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from optimizer.output.drawing.sheet import ALARM, FAINT, INK, Sheet, pdf_bytes, png_bytes

WIDTH, NAMES, LANE, RUNG, MARGIN = 246.0, 78.0, 106.0, 6.4, 4.0
"""Widths of the sheet, of what lets go and of its bar; height of a rung; the margin. [mm]"""
BAR, SHORT, TINT = "#0072b2", "#d55e00", "#f4f6f8"
DOTS = 200
"""Dots an inch of a PNG."""


def ladder_bytes(ladder: Mapping[str, Any], title: str, kind: str) -> bytes:
    """The ladder of one motor, as the report's panel gives it, as "pdf" or "png"."""
    blocks = [(ladder, f"head-end pressure, {ladder['unit']}", "max. expected")]
    if ladder["times"]:
        blocks.append((ladder["times"], "time from ignition, s", "must last"))
    blocks = [block for block in blocks if block[0]["rungs"]]
    height = 14.0 + sum(20.0 + RUNG * len(block["rungs"]) for block, _, _ in blocks)
    sheet = Sheet(WIDTH, height)
    sheet.text(MARGIN, height - 7.0, title, 12.0, bold=True)
    told = "a bar ends where it fails, its stroke is what is required"
    sheet.text(WIDTH - MARGIN, height - 7.0, told, 8.0, "right", color=FAINT)
    y = height - 9.0
    for block, caption, label in blocks:
        y = _block(sheet, block, caption, label, y)
    name = f"Failure ladder of {title}"
    return pdf_bytes([sheet], name) if kind == "pdf" else png_bytes(sheet, name, DOTS)


def _block(sheet: Sheet, block: Mapping[str, Any], caption: str, label: str, y: float) -> float:
    top, at = y - 12.0, block["expected_at"]
    bottom = top - RUNG * len(block["rungs"])
    for mark in block["marks"]:
        if at is None or abs(mark["at"] - at) >= 2.5:
            sheet.text(NAMES + LANE * mark["at"] / 100.0, top + 1.5, mark["text"], 8.0, "center", color=FAINT)
    for place, row in enumerate(block["rungs"]):
        _rung(sheet, row, top - RUNG * place, place % 2 == 0)
    if at is not None:
        x = NAMES + LANE * at / 100.0
        sheet.line([(x, top + 5.0), (x, bottom)], 0.4, INK, (1.4, 0.8))
        sheet.text(x + 1.5, top + 6.0, f"{label} {block['expected']}", 9.0)
    sheet.text(NAMES, bottom - 4.2, caption, 8.0, color=FAINT)
    return bottom - 7.0


def _asked(row: Mapping[str, Any]) -> str:
    return "advice" if row["required"] == "–" else f"needs ×{row['required']}"


def _rung(sheet: Sheet, row: Mapping[str, Any], y: float, tinted: bool) -> None:
    middle, color = y - RUNG / 2, INK if row["ok"] else ALARM
    if tinted:
        sheet.polygon([(0.0, y), (WIDTH, y), (WIDTH, y - RUNG), (0.0, y - RUNG)], TINT, 0.0)
    sheet.text(MARGIN, middle, row["mode"], 9.0, bold=True, color=color, level="center")
    sheet.text(NAMES - 3.0, middle, row["part"], 8.0, "right", color=FAINT if row["ok"] else ALARM, level="center")
    if row["bar"] is not None:
        sheet.box(NAMES, middle - 1.7, LANE * row["bar"] / 100.0, 3.4, BAR if row["ok"] else SHORT, 0.0)
    if row["cut"]:
        sheet.text(NAMES + LANE - 1.0, middle, "»", 9.0, "right", color="white", level="center")
    if row["need"] is not None:
        x = NAMES + LANE * row["need"] / 100.0
        sheet.line([(x, y - 0.6), (x, y - RUNG + 0.6)], 1.4, "white")
        sheet.line([(x, y - 0.6), (x, y - RUNG + 0.6)], 0.65, INK)
    number = row["value"] if row["never"] else f"{row['value']} ×{row['factor']}, {_asked(row)}"
    sheet.text(NAMES + LANE + 3.0, middle, number, 9.0, color=color, level="center")
