"""The optional constants of an erosive law, in a [propellant.erosive_constants] table.

Imports the tables and the laws of the kernel.
"""

from __future__ import annotations

from optimizer.inputs.tables import Table, sub_table
from optimizer.vocabulary import KeySpec
from physics.ballistics.erosion import LAWS

SPECS: dict[str, KeySpec] = {
    spec.key: spec
    for spec in (
        KeySpec("coefficient", "number", "coefficient of the law", "ratio", 0.0, 1.0, example="0.023"),
        KeySpec("threshold", "number", "threshold of the law", "ratio", 0.0, 1000.0, example="35"),
        KeySpec("alpha", "number", "convective coefficient in SI", "ratio", 0.0, 1.0, example="1.2e-5"),
        KeySpec("beta", "number", "blowing constant", "ratio", 0.0, 1000.0, example="53"),
        KeySpec("viscosity", "quantity", "viscosity of the gas", "viscosity", 1e-6, 1e-2),
        KeySpec("specific_heat", "quantity", "specific heat of the gas", "specific heat", 100, 20000),
        KeySpec("prandtl", "number", "Prandtl number of the gas", "ratio", 0.05, 10.0, example="0.8"),
        KeySpec("solid_specific_heat", "quantity", "specific heat of the propellant", "specific heat", 100, 10000),
        KeySpec("surface_temperature", "quantity", "temperature of the burning surface", "temperature", 400, 2500),
    )
}


def read_constants(table: Table, law: str) -> dict[str, float]:
    """The constants that the file gives for the law, SI; problems are noted in the table."""
    inner = sub_table(table, "erosive_constants")
    if inner is None:
        return {}
    known = LAWS[law].constants if law in LAWS else ()
    if not known:
        table.problem(
            "erosive_constants",
            f"is of no use with erosive = {law!r}",
            "name the law, or remove the table",
            "E115",
            None,
        )
        return {}
    inner.refuse_unknown(known)
    return inner.read([SPECS[name] for name in known if name in SPECS])
