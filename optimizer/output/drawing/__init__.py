"""Papers for the bench: section, wrap at 1:1, lathe sheets, DXF, cut list, review, proof, stand and day sheets.

`draw` makes them all and writes them; the modules beside it own one sheet each. May import everything in optimizer
but the report and the commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from physics.motors import Motors

if TYPE_CHECKING:
    from optimizer.inputs.stock import Stock

TURNED = (
    "case", "liner", "forward-ring", "forward-plate", "forward-closure", "nozzle", "nozzle-carrier", "throat-insert", "aft-ring",
)  # fmt: skip
"""Parts whose profile is a DXF of its own, where a motor has them."""
WRITTEN = (
    "section.svg", "section.pdf", "wrap-forward.pdf", "wrap-forward.dxf", "wrap-aft.pdf", "wrap-aft.dxf",
    "lathe.pdf", *(f"lathe-{part}.dxf" for part in TURNED), "as-measured.csv",
    "cut-list.csv", "cut-list.pdf", "review.pdf", "proof-test.pdf", "test-stand.pdf", "day.pdf",
)  # fmt: skip
"""Every file that a motor's drawings may have."""


def draw(motors: Motors, assessment: Any, folder: Path, **labels: Any) -> list[Path]:
    """Write every drawing of one motor into a folder and return the files, in the order they are listed.

    Parameters
    ----------
    motors, assessment
        As of `sheets`.
    folder : Path
        Made where it is not there.
    **labels
        Paper, units and what the sheets say at their foot, as of `sheets`.

    Raises
    ------
    ValueError
        As from `sheets`.
    OutputError
        Where a file cannot be written; each file is whole or absent, and of an earlier motor's drawings none is left.
    InTheWay
        Where a file of that name stands there that was not written here.
    """
    from optimizer.results import write_together

    made = sheets(motors, assessment, **labels)
    write_together(folder, made, WRITTEN)
    return [Path(folder) / name for name in made]


def sheets(
    motors: Motors,
    assessment: Any,
    paper: str = "A4",
    name: str = "motor",
    *,
    file: str = "",
    digest: str = "",
    units: str = "metric",
    lists: Sequence[Stock] = (),
) -> dict[str, bytes]:
    """The drawings as file names and bytes, nothing written; the same motor gives the same bytes.

    Parameters
    ----------
    motors : Motors
        A batch of one.
    assessment : Assessment or None
        Of the same motor; without it the review sheet and the test-stand page are left out.
    paper : str
        "A4" or "Letter".
    name, file, digest : str
        What the foot of each sheet says; `digest` is of the motor file.
    units : str
        "metric" or "imperial", for the numbers on the sheets; DXF and CSV stay in mm.
    lists : sequence of Stock
        The user's own stock lists, for the shopping list: they go before ours, and prices are theirs.

    Raises
    ------
    ValueError
        For a batch that is not of one or an unknown paper; DrawingError where the motor file lacks what a drawing needs,
        or a wrap is too large for the paper.
    """
    from optimizer.cautions import cautions
    from optimizer.output.drawing.day_sheet import day_sheet
    from optimizer.output.drawing.dxf import wrap_dxf
    from optimizer.output.drawing.geometry import wrap
    from optimizer.output.drawing.plates import Labels
    from optimizer.output.drawing.proof_sheet import proof_sheets
    from optimizer.output.drawing.review import review_sheets
    from optimizer.output.drawing.section_sheet import section_sheet
    from optimizer.output.drawing.sheet import PAPERS, pdf_bytes, svg_bytes
    from optimizer.output.drawing.shopping import cut_list_csv, cut_list_sheets
    from optimizer.output.drawing.stand_sheet import stand_sheet
    from optimizer.output.drawing.wrap_sheet import wrap_sheets
    from physics.designation import designation

    if motors.size != 1:
        raise ValueError(f"drawings are of one motor, not of {motors.size}")
    if paper not in PAPERS:
        raise ValueError(f"no paper {paper!r}: give one of {', '.join(PAPERS)}")
    labels = Labels(name, file, digest, units)
    section = section_sheet(motors, labels, paper)
    found = {
        "section.svg": svg_bytes(section, f"{name}: section"),
        "section.pdf": pdf_bytes([section], f"{name}: section"),
    }
    for end in ("forward", "aft"):
        shape = wrap(motors, end)
        if shape is not None:
            found[f"wrap-{end}.pdf"] = pdf_bytes(wrap_sheets(shape, labels, paper), f"{name}: drilling wrap, {end}")
            found[f"wrap-{end}.dxf"] = wrap_dxf(shape, labels)
    found |= _turned(motors, labels, paper)
    found["cut-list.csv"] = cut_list_csv(motors, labels, lists)
    found["cut-list.pdf"] = pdf_bytes(cut_list_sheets(motors, labels, paper, lists), f"{name}: cut list")
    if assessment is not None:
        told = cautions(assessment, units)
        figures = assessment.figures
        named = designation(figures["total_impulse"], figures["mean_thrust"])[0]
        review = review_sheets(assessment, labels, told, paper, named)
        found["review.pdf"] = pdf_bytes(review, f"{name}: review")
        found["proof-test.pdf"] = pdf_bytes(proof_sheets(assessment, labels, paper), f"{name}: water proof test")
        found["test-stand.pdf"] = pdf_bytes([stand_sheet(assessment, labels, paper)], f"{name}: test stand")
        found["day.pdf"] = pdf_bytes([day_sheet(assessment, labels, paper)], f"{name}: day sheet")
    return found


def _turned(motors: Motors, labels: Any, paper: str) -> dict[str, bytes]:
    """Lathe sheets, the profiles behind them, and the table of what is to be measured."""
    from optimizer.output.drawing.dxf import profile_dxf
    from optimizer.output.drawing.lathe import turned_parts
    from optimizer.output.drawing.lathe_sheet import measured_csv, part_sheet
    from optimizer.output.drawing.sheet import pdf_bytes

    parts = turned_parts(motors, labels)
    if not parts:
        return {}
    pages = [part_sheet(part, labels, paper, f"{count} of {len(parts)}") for count, part in enumerate(parts, 1)]
    found = {"lathe.pdf": pdf_bytes(pages, f"{labels.name}: lathe sheets")}
    for part in parts:
        found[f"lathe-{part.name.replace(' ', '-')}.dxf"] = profile_dxf(part, labels)
    found["as-measured.csv"] = measured_csv(parts, motors, labels)
    return found
