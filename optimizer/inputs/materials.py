"""Materials, screws and grades by name: those of the kernel's table and those a motor file describes itself.

Imports the tables and the kernel's materials and screws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from optimizer.inputs.tables import Table, sub_table
from optimizer.inputs.text import Path_
from optimizer.problems import nearest
from optimizer.vocabulary import SECTIONS
from physics import materials as table_of_materials
from physics.materials import Material

if TYPE_CHECKING:
    from physics.failure.screws import ScrewSize


class MaterialShelf:
    """The materials that a motor file may name; its own [materials."NAME"] tables come first."""

    def __init__(self, root: Table) -> None:
        self.own: dict[str, Material] = {}
        shelf = sub_table(root, "materials")
        if shelf is None:
            return
        for name in shelf.data:
            inner = sub_table(shelf, name)
            if inner is not None:
                self._add(name, inner)

    def _add(self, name: str, table: Table) -> None:
        specs = SECTIONS["materials"]
        table.refuse_unknown([spec.key for spec in specs])
        values = table.read(specs)
        if "kind" not in values:
            return
        source = values.pop("source", "given in the motor file")
        sources = {key: (str(source), "as given by the user") for key in values if key != "kind"}
        self.own[name] = Material(name=name, basis="as given by the user", sources=sources, **values)
        strength, yield_ = values.get("tensile_strength"), values.get("yield_strength")
        if strength is not None and yield_ is not None and yield_ > strength:
            table.problem("yield_strength", "is above the tensile strength", "check the two", "E138")

    def material(self, table: Table, key: str | Path_, name: Any, kind: str | None = None) -> Material | None:
        """The material named by a key, None where the key is absent or after a problem was noted."""
        if name is None:
            return None
        if name in self.own:
            return self.own[name]
        for wanted in (kind, None):
            try:
                return table_of_materials.material(name, wanted)
            except KeyError:
                continue
        what, code = ("grade", "E122") if "grade" in key else ("material", "E120")
        known = [*self.own, *table_of_materials.names(kind)]
        near = nearest(name, known, 3) or nearest(name, table_of_materials.names(), 3)
        fix = f"did you mean {' or '.join(repr(item) for item in near)}?" if near else f"known: {', '.join(known[:14])}"
        table.problem(key, f"is not a {what} that is known here", f'{fix} or describe it under [materials."NAME"]', code)
        return None

    def strength_of_grade(self, table: Table, name: Any) -> float | None:
        """Tensile strength of a screw grade, Pa; None after a problem was noted."""
        grade = self.material(table, "grade", name, "screw")
        if grade is None:
            return None
        if grade.tensile_strength is None:
            table.problem("grade", "has no tensile strength", f'give tensile_strength under [materials."{name}"]', "E122")
        return grade.tensile_strength


def find_screw(table: Table, key: str | Path_, name: Any) -> ScrewSize | None:
    """The screw size named by a key; None after a problem was noted."""
    if name is None:
        return None
    from physics.failure.screws import screw_size

    try:
        return screw_size(name)
    except (KeyError, ValueError) as error:
        reason = str(error.args[0]) if error.args else ""
        cure = reason.split("; ", 1)[1] if "; " in reason else 'as in "#10-24 UNC", "1/4-20 UNC" or "M5x0.8"'
        table.problem(key, "is not a screw size that is known here", cure, "E121")
        return None
