"""Drilling wraps and profiles of turned parts as DXF R2010 in millimetres.

Imports ezdxf, geometry, lathe.
"""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from typing import Any

import ezdxf as _library
from ezdxf import units as dxf_units
from ezdxf.enums import TextEntityAlignment

from optimizer.output.drawing.geometry import Wrap
from optimizer.output.drawing.lathe import Turned
from optimizer.output.drawing.plates import Labels
from optimizer.output.drawing.wrap_sheet import BEYOND

ezdxf: Any = _library  # its own annotations do not export what its manual tells one to use
CROSS = 3.0  # mm from the rim of a hole to the end of its cross


def wrap_dxf(shape: Wrap, labels: Labels) -> bytes:
    """The unrolled tube of one end, x round the tube from the seam, y from the end of the case. [mm]

    Layers DRILL, OUTLINE and TEXT. The same wrap gives the same bytes: time stamps and identifiers are fixed.
    """
    with _document(("OUTLINE", 7), ("DRILL", 1), ("TEXT", 8)) as (space, stream):
        high = shape.edge_distance + BEYOND
        around = shape.circumference
        outline = [(0.0, 0.0), (around, 0.0), (around, high), (0.0, high)]
        space.add_lwpolyline(outline, close=True, dxfattribs={"layer": "OUTLINE"})
        for number, (x, y) in enumerate(shape.holes, 1):
            space.add_circle((x, y), shape.hole_diameter / 2, dxfattribs={"layer": "DRILL"})
            space.add_point((x, y), dxfattribs={"layer": "DRILL"})
            reach = shape.hole_diameter / 2 + CROSS
            for line in (((x - reach, y), (x + reach, y)), ((x, y - reach), (x, y + reach))):
                space.add_line(*line, dxfattribs={"layer": "TEXT"})
            _text(space, str(number), (x + reach * 0.6, y + reach * 0.6), 2.5)
        rows = (
            f"{labels.name}: drilling wrap, {shape.end} end, 1:1, units mm",
            f"{len(shape.holes)} holes dia {shape.hole_diameter:.3f}, edge distance {shape.edge_distance:.3f}, "
            f"tube outside dia {shape.outer_diameter:.3f}",
            f"bottom edge is the end of the case; {labels.file} {labels.digest[:12]}".rstrip(),
        )
        for step, row in enumerate(rows):
            _text(space, row, (0.0, -6.0 - 4.5 * step), 2.5)
    return stream.getvalue()


def profile_dxf(part: Turned, labels: Labels) -> bytes:
    """The upper half of a turned part, x along the axis from its forward end, y the radius. [mm]

    Layers PROFILE (closed), HOLES, AXIS and TEXT. The same part gives the same bytes.
    """
    with _document(("PROFILE", 7), ("HOLES", 1), ("AXIS", 5), ("TEXT", 8)) as (space, stream):
        for layer, shapes in (("PROFILE", part.solids), ("HOLES", part.holes)):
            for outline in shapes:
                points = [(x - part.start, r) for x, r in outline]
                space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
        space.add_line((-5.0, 0.0), (part.end - part.start + 5.0, 0.0), dxfattribs={"layer": "AXIS"})
        rows = (
            f"{labels.name}: {part.name}, half profile, 1:1, units mm, y is the radius",
            f"{part.material}; sizes as drawn, tolerances and notes on the lathe sheet",
            f"{labels.file} {labels.digest[:12]}".strip(),
        )
        for step, row in enumerate(rows):
            _text(space, row, (0.0, -6.0 - 4.5 * step), 2.5)
    return stream.getvalue()


@contextlib.contextmanager
def _document(*layers: tuple[str, int]) -> Iterator[tuple[Any, io.BytesIO]]:
    """The model space of a new document, and where its bytes are once the block is left."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    written = io.BytesIO()
    try:
        document = ezdxf.new("R2010", setup=True, units=dxf_units.MM)
        for name, color in layers:
            document.layers.add(name, color=color)
        yield document.modelspace(), written
        # The library keeps the classes it requires in a set, whose order changes with the seed of the hashes.
        document.classes.add_required_classes(document.dxfversion)
        document.classes.classes = dict(sorted(document.classes.classes.items()))
        stream = io.StringIO()
        document.write(stream)
        written.write(stream.getvalue().encode(document.output_encoding, errors="dxfreplace"))
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _text(space: Any, text: str, place: tuple[float, float], height: float) -> None:
    # A control character would end the group of the file and a percent sign pair starts a control code of the format.
    flat = " ".join("".join(letter if letter.isprintable() else " " for letter in str(text)).split()).replace("%%", "% %")
    entity = space.add_text(flat, height=height, dxfattribs={"layer": "TEXT"})
    entity.set_placement(place, align=TextEntityAlignment.LEFT)
