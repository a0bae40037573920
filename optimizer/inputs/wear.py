"""The [[wear]] of a motor file: firings and proofs of this very hardware, and what was measured after them.

Imports the tables, the vocabulary and physics.
"""

from __future__ import annotations

from typing import Any

from optimizer.inputs.tables import Table, sub_tables
from optimizer.units import show_dimension
from optimizer.vocabulary import SECTIONS
from physics.motors import Motors, Use

MOST_USES = 200
LARGEST_BULGE = 0.1
"""Growth of the outside over it that is taken for a slip: a tube of steel is through before."""


def read_wear(root: Table, motors: Motors) -> tuple[Use, ...]:
    """The log of a motor file, in its order."""
    if "wear" not in root.data:
        return ()
    found = []
    for table in sub_tables(root, "wear", MOST_USES):
        table.refuse_unknown([spec.key for spec in SECTIONS["wear"]])
        values: dict[str, Any] = table.read(SECTIONS["wear"])
        _check_outside(table, values, motors)
        if "after" in values and "count" in values:
            found.append(
                Use(
                    values["after"],
                    int(values["count"]),
                    values.get("pressure"),
                    values.get("outer_diameter"),
                    values.get("hole_elongation"),
                    values.get("end", ""),
                    values.get("throat_diameter"),
                )
            )
    return tuple(found)


def _check_outside(table: Table, values: dict[str, Any], motors: Motors) -> None:
    """A measured outside far from the drawn one is a slip, and no bulge."""
    outside = values.get("outer_diameter")
    if outside is None:
        return
    if motors.case is None:
        table.problem("outer_diameter", "cannot be compared: the file gives no [case]", "add [case], or leave it out", "E159")
        return
    drawn = float(motors.case.outer_diameter[0])
    if abs(outside / drawn - 1.0) > LARGEST_BULGE:
        fix = f"the outside as measured, near {show_dimension(drawn, 'length')}; not how much it grew"
        table.problem("outer_diameter", "is no measure of this tube", fix, "E107")
