"""The cut list and the shopping list: what to buy, what to saw, what is left over.

Owns the allowances and the packing of pieces on stock lengths. Imports geometry, sheet, plates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.output.drawing.geometry import MILLIMETRE, DrawingError, grain_rows, millimetres, number, section
from optimizer.output.drawing.plates import MARGIN, Labels, foot
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet
from physics.assembly import ring_length
from physics.motors import Closure, Motors

# Common practice, no source: lengths in which tube and bar are sold, what a saw takes, and what facing an end takes.
STOCK_LENGTHS = {"metric": (500.0, 1000.0, 2000.0, 3000.0), "imperial": (304.8, 609.6, 914.4, 1828.8, 3657.6)}
KERF = 2.0  # mm
FACING = 1.0  # mm an end
SPARE_SHARE, SPARE_LEAST = 0.10, 2  # of screws
SPARE_RINGS = 1  # O-rings a size


@dataclass(frozen=True)
class Cut:
    """Equal pieces to saw: `finished` length, `sawn` with facing; lengths in mm."""

    part: str
    material: str
    profile: str
    pieces: int
    finished: float

    @property
    def sawn(self) -> float:
        """Length to saw, with both ends left to face. [mm]"""
        return self.finished + 2 * FACING


@dataclass(frozen=True)
class Bar:
    """One stock length and what is sawn from it; `left` is the off-cut. [mm]"""

    length: float
    pieces: tuple[float, ...]

    @property
    def left(self) -> float:
        """Off-cut after every saw cut. [mm]"""
        return max(self.length - sum(self.pieces) - KERF * len(self.pieces), 0.0)


@dataclass(frozen=True)
class Purchase:
    """One line of the shopping list."""

    what: str
    specification: str
    quantity: str
    remark: str


def packed(pieces: Sequence[float], stock: Sequence[float]) -> list[Bar]:
    """Pieces on the fewest of the longest stock, longest piece first, each bar then cut down to the shortest that does.

    Raises DrawingError where a piece is longer than the longest stock length.

    >>> [(bar.length, len(bar.pieces), round(bar.left, 1)) for bar in packed([300.0] * 4, (500.0, 1000.0))]
    [(1000.0, 3, 94.0), (500.0, 1, 198.0)]
    """
    longest = max(stock)
    bars: list[list[float]] = []
    for piece in sorted(pieces, reverse=True):
        if piece + KERF > longest:
            raise DrawingError(f"a piece of {piece:.1f} mm is longer than the longest stock length, {longest:.1f} mm")
        for bar in bars:
            if sum(bar) + KERF * len(bar) + piece + KERF <= longest:
                bar.append(piece)
                break
        else:
            bars.append([piece])
    chosen = []
    for bar in bars:
        need = sum(bar) + KERF * len(bar)
        chosen.append(Bar(min(length for length in stock if length >= need), tuple(bar)))
    return chosen


def cuts(motors: Motors, labels: Labels) -> list[Cut]:
    """Tube, liner, grain tubes and plate blanks of one motor."""
    size = labels.length
    shape = section(motors)
    found: list[Cut] = []
    bore = None
    if motors.case is not None:
        outer, wall = millimetres(motors.case.outer_diameter) or 0.0, millimetres(motors.case.wall) or 0.0
        bore = outer - 2 * wall
        profile = f"tube Ø {size(outer)} × {size(wall)}"
        found.append(Cut("case", motors.case.material.name, profile, 1, shape.case_length))
    if motors.liner is not None and bore is not None and shape.liner_length:
        thick = millimetres(motors.liner.thickness) or 0.0
        profile = f"tube Ø {size(bore)} × {size(thick)}"
        found.append(Cut("liner", motors.liner.material.name, profile, 1, shape.liner_length))
        bore -= 2 * thick
    for count, row in enumerate(grain_rows(motors), 1):
        profile = f"tube, inside Ø {size(row['outer_diameter'])}"
        if bore is not None and bore > row["outer_diameter"]:
            profile += f", outside at most {size(bore)}"
        name = "grain tube" if count == 1 else f"grain tube, row {count}"
        found.append(Cut(name, "–", profile, round(row["count"]), row["length"]))
    return found


def purchases(motors: Motors, labels: Labels) -> list[Purchase]:
    """Screws, seals, plates and nozzle stock of one motor, with spares."""
    found: list[Purchase] = []
    for end, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure)):
        if closure is not None:
            found.extend(_closure(end, closure, motors, labels))
    found.extend(_nozzle(motors, labels))
    return found


def _nozzle(motors: Motors, labels: Labels) -> list[Purchase]:
    """The insert and the body that carries it, or one bar for a nozzle of one piece."""
    size, nozzle, shape = labels.length, motors.nozzle, section(motors)
    wide = millimetres(nozzle.exit_diameter) or 0.0
    bore = (None if motors.case is None else millimetres(motors.case.bore)) or 0.0
    throat = f"throat Ø {size(millimetres(nozzle.throat_diameter) or 0.0)}"
    material = nozzle.material.name if nozzle.material is not None else "material not named"
    insert, length = millimetres(nozzle.insert_diameter), millimetres(nozzle.insert_length)
    body_length = shape.end - shape.aft_face
    if insert is None or length is None:
        what = f"{material}, bar at least Ø {size(max(wide, bore))}"
        return [Purchase("nozzle stock", what, "1", f"about {size(body_length, 0)} long as drawn; {throat}")]
    closure = motors.aft_closure
    carrier = "material not named"
    if closure is not None and closure.ring_material is not None:
        carrier = closure.ring_material.name
    return [
        Purchase("throat insert", f"{material}, bar at least Ø {size(insert)}", "1", f"{size(length)} long finished; {throat}"),
        Purchase(
            "nozzle body",
            f"{carrier}, bar at least Ø {size(max(wide, bore))}",
            "1",
            f"about {size(body_length, 0)} long as drawn; carries the insert",
        ),
    ]


def _closure(end: str, closure: Closure, motors: Motors, labels: Labels) -> list[Purchase]:
    size = labels.length
    found: list[Purchase] = []
    bore = None if motors.case is None else millimetres(motors.case.bore)
    if closure.screws is not None:
        screws = closure.screws
        count = round(number(screws.count) or 0.0)
        spare = max(math.ceil(SPARE_SHARE * count), SPARE_LEAST)
        text = f"{screws.designation or size(millimetres(screws.diameter) or 0.0)} {screws.grade}".strip()
        remark = f"{count} and {spare} spare; hole Ø {size(millimetres(screws.hole_diameter) or 0.0)}"
        found.append(Purchase(f"{end} screws", text + _screw_length(closure, motors, labels), str(count + spare), remark))
    if closure.snap_ring is not None and bore is not None:
        thick = millimetres(closure.snap_ring.ring_thickness) or 0.0
        found.append(Purchase(f"{end} snap ring", f"internal, bore {size(bore)}, thickness {size(thick)}", "2", "1 spare"))
    elif closure.welded_lip is not None and bore is not None:
        lip = closure.welded_lip
        material = closure.ring_material.name if closure.ring_material is not None else "material not named"
        height = millimetres(lip.thickness)
        remark = "thickness not given" if height is None else f"{size(height)} thick finished"
        weld = f", filler {lip.filler}" if lip.filler else ""
        found.append(Purchase(f"{end} lip", f"{material}, Ø {size(bore)}{weld}", "1", remark))
    elif bore is not None:
        found.append(_ring(end, closure, motors, labels, bore))
    plate = millimetres(closure.plate_thickness)
    if plate is not None and bore is not None:
        material = closure.plate_material.name if closure.plate_material is not None else "material not named"
        found.append(Purchase(f"{end} plate", f"{material}, bar at least Ø {size(bore)}", "1", f"{size(plate)} thick finished"))
    if closure.plug is not None:
        metal = closure.plug.material.name if closure.plug.material is not None else "material not named"
        found.append(Purchase(f"{end} plug", f"{closure.plug.thread}, {metal}", "1", "its hole is tapped in the plate"))
    if closure.seal is not None:
        seal = closure.seal
        rings = round(number(seal.rings) or 0.0)
        text = f"O-ring, section {size(millimetres(seal.cross_section) or 0.0)}"
        inner = millimetres(seal.inner_diameter)
        sealed = millimetres(seal.diameter) or bore
        if inner is not None:
            text += f", inside Ø {size(inner)}"
        elif sealed is not None:
            text += f", for a bore of {size(sealed)}"
        text += f", {number(seal.hardness) or 0.0:.0f} Shore A"
        text += f", {seal.material.name}" if seal.material is not None else ""
        found.append(Purchase(f"{end} O-rings", text, str(rings + SPARE_RINGS), f"{rings} and {SPARE_RINGS} spare"))
        backups = round(number(seal.backup_rings) or 0.0)
        if backups:
            found.append(Purchase(f"{end} backup rings", "to suit", str(backups + 1), f"{backups} and 1 spare"))
    return found


def _screw_length(closure: Closure, motors: Motors, labels: Labels) -> str:
    """How long the screws are: as given, else through wall and ring; nothing where the ring is not dimensioned."""
    screws = closure.screws
    assert screws is not None
    given = millimetres(screws.flush_length)
    if given is not None:
        return f", {labels.length(given)} from the outside of the case inwards"
    ring, wall = millimetres(screws.ring_thickness), None if motors.case is None else millimetres(motors.case.wall)
    if ring is None or wall is None:
        return ", length not known: ring_thickness is not given"
    return f", at most {labels.length(wall + ring)} from the outside of the case inwards, wall and ring together"


def _ring(end: str, closure: Closure, motors: Motors, labels: Labels, bore: float) -> Purchase:
    """The bar or tube from which the ring of radial screws, or a threaded ring, is turned."""
    size = labels.length
    material = closure.ring_material.name if closure.ring_material is not None else "material not named"
    across, inner = bore, None
    if closure.threaded_ring is not None:
        across = millimetres(closure.threaded_ring.thread_diameter) or bore
    elif closure.screws is not None and closure.screws.ring_thickness is not None:
        inner = bore - 2 * (millimetres(closure.screws.ring_thickness) or 0.0)
    long = float(np.max(ring_length(closure))) / MILLIMETRE
    text = f"{material}, bar at least Ø {size(across)}" + (f", bored Ø {size(inner)}" if inner is not None else "")
    return Purchase(f"{end} ring", text, "1", f"{size(long)} long finished")


def bars_of(cut: Cut, units: str) -> list[Bar] | None:
    """The stock lengths for one line of the cut list, None where a piece is longer than any."""
    try:
        return packed([cut.sawn] * cut.pieces, STOCK_LENGTHS[units])
    except ValueError:
        return None


def stock_text(bars: list[Bar] | None, labels: Labels) -> tuple[str, str]:
    """What to buy and what is left, as text: equal bars counted together."""
    if bars is None:
        return "longer than any stock length: order to length", "–"
    counted: dict[float, int] = {}
    for bar in bars:
        counted[bar.length] = counted.get(bar.length, 0) + 1
    buy = ", ".join(f"{count} × {labels.length(length, 0)}" for length, count in counted.items())
    return buy, ", ".join(labels.length(bar.left, 0) for bar in bars)


def cut_list_csv(motors: Motors, labels: Labels) -> bytes:
    """Both lists as one CSV, safe to open; lengths in mm whatever the system of units, as the headings say."""
    from optimizer.results import csv_text

    header = ["list", "part", "material_or_specification", "profile", "pieces", "finished_mm", "sawn_mm", "buy"]
    header += ["off_cuts", "remark"]
    rows: list[list[object]] = []
    for cut in cuts(motors, labels):
        buy, left = stock_text(bars_of(cut, labels.units), labels)
        size = [f"{cut.finished:.2f}", f"{cut.sawn:.2f}"]
        rows.append(["cut", cut.part, cut.material, cut.profile, cut.pieces, *size, buy, left, ""])
    for item in purchases(motors, labels):
        rows.append(["buy", item.what, item.specification, "", item.quantity, "", "", "", "", item.remark])
    return csv_text(header, rows).encode()


def cut_list_sheet(motors: Motors, labels: Labels, paper: str = "A4") -> Sheet:
    """Both lists on one portrait sheet."""
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Cut list", 14, bold=True)
    rows = [["part", "material", "profile", "pieces", "finished", "saw at", "buy", "off-cuts"]]
    for cut in cuts(motors, labels):
        buy, left = stock_text(bars_of(cut, labels.units), labels)
        rows.append(
            [
                cut.part,
                cut.material,
                cut.profile,
                str(cut.pieces),
                labels.length(cut.finished),
                labels.length(cut.sawn),
                buy,
                left,
            ]
        )
    shares = (0.115, 0.135, 0.225, 0.07, 0.12, 0.115, 0.11, 0.11)
    y = sheet.table(MARGIN, y - 8.0, [share * width for share in shares], rows, 7.2, (3, 4, 5), wrap=True)
    y = sheet.paragraph(
        MARGIN,
        y - 1.5,
        width,
        f"Sawn lengths leave {labels.length(FACING, 1)} an end to face; the saw takes {labels.length(KERF, 1)} a cut. "
        "Grains are cut to their finished length. Allowances and stock lengths: common practice, no source; measure "
        "your own stock.",
        7.0,
        color=FAINT,
    )
    sheet.text(MARGIN, y - 8.0, "Shopping list", 14, bold=True)
    rows = [["for", "what", "pieces", "remark"]]
    rows += [[item.what, item.specification, item.quantity, item.remark] for item in purchases(motors, labels)]
    y = sheet.table(MARGIN, y - 16.0, [share * width for share in (0.15, 0.44, 0.09, 0.32)], rows, 7.6, (2,), wrap=True)
    assumed = [text for text in section(motors).assumptions if "not given" in text]
    if assumed:
        y -= 4.0
        sheet.text(MARGIN, y, "Lengths that rest on an assumption", 8.5, bold=True)
        y -= 5.0
        for text in assumed:
            y = sheet.paragraph(MARGIN, y, width, "– " + text, 7.4)
    foot(sheet, labels, "cut list and shopping list", "–")
    return sheet
