"""The two closures of a motor file: what holds them, their ring and plate, their seal.

Imports the tables, the materials and the types of the kernel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from optimizer.inputs.materials import MaterialShelf, find_screw
from optimizer.inputs.tables import Table, both_systems, sub_table, sub_tables
from optimizer.units import show_dimension
from optimizer.vocabulary import MOST_SEALS, RETENTION_KEYS, RETENTIONS, SECTIONS
from physics.failure.fillers import FILLERS
from physics.failure.threads import ScrewSize, set_screw_socket
from physics.motors import Array, Closure, Plug, Screws, Seal, SnapRing, ThreadedRing, WeldedLip

_LIP_KEYS = {"thickness": "lip_thickness", "distance": "weld_distance"}


def _column(value: Any) -> Array | None:
    return None if value is None else np.array([value], dtype=float)


def read_closure(table: Table, shelf: MaterialShelf) -> Closure | None:
    """One closure; None after a problem that leaves nothing to go on."""
    common = SECTIONS["forward_closure"]
    retention = table.data.get("retention")
    held = RETENTION_KEYS.get(retention, ()) if isinstance(retention, str) else ()
    elsewhere = _keys_of_other_retentions(retention)
    _refuse_other_retention(table, elsewhere)
    known = [spec.key for spec in (*common, *held)]
    inner = ("seal", "seals", "plug") if table.path == ("forward_closure",) else ("seal", "seals")
    table.refuse_unknown([*known, *elsewhere] if retention in RETENTIONS else [*known, *_all_retention_keys()], inner)
    values = table.read((*common, *held))
    holding = _holding(table, values, shelf)
    materials = {key: shelf.material(table, key, values.get(key), "metal") for key in ("ring_material", "plate_material")}
    seal = read_seals(table, shelf)
    plug_table = sub_table(table, "plug") if "plug" in inner else None
    if values.get("retention") is None or holding is None:
        return None
    return Closure(
        retention=values["retention"],
        ring_material=materials["ring_material"],
        plate_material=materials["plate_material"] or materials["ring_material"],
        plate_thickness=_column(values.get("plate_thickness")),
        shoulder_thickness=_column(values.get("shoulder_thickness")),
        mass=_column(values.get("mass")),
        seal=seal,
        bearing_diameter=_column(values.get("bearing_diameter")),
        plug=None if plug_table is None else _plug(plug_table, shelf),
        **holding,
    )


def _all_retention_keys() -> list[str]:
    return [spec.key for specs in RETENTION_KEYS.values() for spec in specs]


def _keys_of_other_retentions(retention: Any) -> dict[str, str]:
    own = {spec.key for spec in RETENTION_KEYS.get(retention, ())} if isinstance(retention, str) else set()
    return {spec.key: kind for kind, specs in RETENTION_KEYS.items() for spec in specs if spec.key not in own}


def _refuse_other_retention(table: Table, elsewhere: Mapping[str, str]) -> None:
    retention = table.data.get("retention")
    if retention not in RETENTIONS:
        return
    for key in table.data:
        if key in elsewhere:
            fix = f'remove it, or write retention = "{elsewhere[key]}"'
            table.problem(key, f"belongs to retention = {elsewhere[key]!r}, not {retention!r}", fix, "E115")


def _holding(table: Table, values: Mapping[str, Any], shelf: MaterialShelf) -> dict[str, Any] | None:
    """What holds the closure, as the one field of Closure that its retention sets."""
    retention = values.get("retention")
    needed = [spec.key for spec in RETENTION_KEYS.get(str(retention), ()) if spec.required]
    if retention == "radial-screws":
        screws = _screws(table, values, shelf)
        return None if screws is None else {"screws": screws}
    if retention is None or any(key not in values for key in needed):
        return None
    if retention == "threaded-ring":
        diameter, pitch, engaged = (np.array([values[key]]) for key in needed)
        return {"threaded_ring": ThreadedRing(diameter, pitch, engaged, _column(values.get("ring_width")))}
    if retention == "welded-lip":
        given = {key: _column(values.get(name)) for key, name in _LIP_KEYS.items()}
        leg, arm = (np.array([values[key]]) for key in needed)
        filler = values.get("filler") or ""
        metal = _column(FILLERS[filler][0]) if filler else None
        return {"welded_lip": WeldedLip(leg, arm, metal_strength=metal, filler=filler, **given)}
    depth, thickness, margin = (np.array([values[key]]) for key in needed)
    return {"snap_ring": SnapRing(depth, thickness, margin, _column(values.get("snap_ring_shear_strength")))}


def _screws(table: Table, values: Mapping[str, Any], shelf: MaterialShelf) -> Screws | None:
    size = find_screw(table, "screw", values.get("screw"))
    strength = shelf.strength_of_grade(table, values.get("grade"))
    hole = values.get("hole_diameter")
    if size is not None and hole is not None and hole < size.diameter:
        fix = f"at least {both_systems(size.diameter, 'length')}"
        table.problem("hole_diameter", f"is smaller than the screw {values['screw']}", fix, "E138")
    socket = _socket(table, values, size)
    socket |= {key: _column(values.get(key)) for key in ("edge_distance", "ring_edge_distance", "ring_thickness", "flush_length")}
    needed = ("count", "shear_plane", "load_sharing", "fitting_factor")
    if size is None or strength is None or any(key not in values for key in needed):
        return None
    return Screws(
        diameter=np.array([size.diameter]),
        pitch=np.array([size.pitch]),
        metric=np.array([float(size.metric)]),
        tensile_strength=np.array([strength]),
        count=np.array([float(values["count"])]),
        hole_diameter=np.array([size.clearance_hole if hole is None else hole]),
        threads_in_plane=np.array([1.0 if values["shear_plane"] == "threads" else 0.0]),
        load_sharing=np.array([values["load_sharing"]]),
        fitting_factor=np.array([values["fitting_factor"]]),
        designation=values["screw"],
        grade=values["grade"],
        **socket,
    )


def _plug(table: Table, shelf: MaterialShelf) -> Plug | None:
    specs = SECTIONS["forward_closure.plug"]
    table.refuse_unknown([spec.key for spec in specs], ("seal",))
    values = table.read(specs)
    size = find_screw(table, "thread", values.get("thread"))
    material = shelf.material(table, "material", values.get("material"), "metal")
    seal_table = sub_table(table, "seal")
    seal = None if seal_table is None else read_seal(seal_table, shelf)
    if size is None:
        return None
    return Plug(
        thread_diameter=np.array([size.diameter]),
        thread_pitch=np.array([size.pitch]),
        engagement=_column(values.get("engagement")),
        offset=_column(values.get("offset")),
        material=material,
        seal=seal,
        thread=size.designation,
    )


def _socket(table: Table, values: Mapping[str, Any], size: ScrewSize | None) -> dict[str, Any]:
    """Kind and socket of the screws; a set screw has no plain shank, and only its socket lies in its body."""
    kind = values.get("screw_kind") or ""
    given = {key: values.get(key) for key in ("socket_depth", "socket_across_flats")}
    if kind != "set screw":
        for key, value in given.items():
            if value is not None:
                table.problem(key, "is asked of set screws only", 'remove it, or write screw_kind = "set screw"', "E115")
        return {"kind": kind}
    if values.get("shear_plane") == "shank":
        table.problem("shear_plane", "is the shank, and a set screw has none", 'shear_plane = "threads"', "E138")
    across = given["socket_across_flats"]
    if across is None and size is not None:
        across = set_screw_socket(size)
        if across is None:
            table.missing("socket_across_flats", 'its socket is in no table here: socket_across_flats = "... mm"')
    if across is not None and size is not None and across >= size.diameter:
        table.problem("socket_across_flats", "is as wide as the screw", "the width across the flats of its key", "E138")
    return {"kind": kind, "socket_depth": _column(given["socket_depth"]), "socket_across_flats": _column(across)}


def read_seals(table: Table, shelf: MaterialShelf) -> Seal | None:
    """The seal of a part, or several one behind the other, the one nearest the gas first.

    None where it has none, and after a problem that leaves nothing to go on.
    """
    if "seals" not in table.data:
        one = sub_table(table, "seal")
        return None if one is None else read_seal(one, shelf)
    part = ".".join(str(name) for name in table.path)
    if "seal" in table.data:
        fix = f"keep one of the two: [{part}.seal] for one kind of ring, [[{part}.seals]] for each of several, gas side first"
        table.problem("seals", f"stands beside [{part}.seal]", fix, "E115", None)
        return None
    rows = sub_tables(table, "seals", MOST_SEALS)
    if not rows and table.data["seals"] == []:
        table.problem("seals", "is an empty list", f"add a [[{part}.seals]] table, or leave it out", "E112")
    found = [read_seal(row, shelf, of_several=True) for row in rows]
    _check_order(rows, found)
    chain: Seal | None = None
    for ring in reversed(found):
        if ring is None:
            return None
        chain = replace(ring, behind=chain)
    return chain


def _check_order(rows: list[Table], found: list[Seal | None]) -> None:
    """Rings stand in the order in which gas meets them; where one says how far from the gas it lies, all do."""
    placed = [None if ring is None or ring.from_gas is None else float(ring.from_gas[0]) for ring in found]
    given = [place is not None for place in placed]
    if any(given) and not all(given) and all(ring is not None for ring in found):
        missing = rows[given.index(False)]
        missing.missing("from_gas", "give it for every ring of the part, or for none")
    for row, before, here in zip(rows[1:], placed, placed[1:], strict=False):
        if before is not None and here is not None and here <= before:
            row.problem(
                "from_gas", "lies no farther from the gas than the ring before", "write the ring nearest the gas first", "E136"
            )


def read_seal(table: Table, shelf: MaterialShelf, of_several: bool = False) -> Seal | None:
    """A table of a seal, or of one of several; None after a problem that leaves nothing to go on."""
    specs = SECTIONS["forward_closure.seals" if of_several else "forward_closure.seal"]
    data = _with_dash(table, table.data.get("dash"))
    table.refuse_unknown([spec.key for spec in specs])
    values = Table(table.document, table.path, {**data, **table.data}, table.problems).read(specs)
    values.pop("dash", None)
    material = shelf.material(table, "material", values.pop("material", None), "seal")
    section, depth = values.get("cross_section"), values.get("gland_depth")
    if section is not None and depth is not None and depth >= section:
        table.problem(
            "gland_depth",
            "does not squeeze the O-ring",
            f"less than the cross section, {show_dimension(section, 'length')}",
            "E138",
        )
    width = values.get("gland_width")
    if section is not None and width is not None and width < section:
        table.problem(
            "gland_width",
            "is narrower than the O-ring",
            f"more than the cross section, {show_dimension(section, 'length')}",
            "E138",
        )
    if of_several and values.get("rings", 1) != 1:
        table.problem("rings", "is more than one in a row that stands for one ring", "a row for each ring, gas side first", "E136")
        values["rings"] = 1
    if any(values.get(key) is None for key in ("rings", "cross_section", "gland_depth", "gap", "hardness")):
        return None
    name = values.pop("name", "")
    columns: dict[str, Any] = {key: np.array([float(value)]) for key, value in values.items()}
    return Seal(material=material, name=name, **columns)


def _with_dash(table: Table, dash: Any) -> dict[str, str]:
    """Cross section and inner diameter of an AS568 size, as quantities."""
    if not isinstance(dash, str):
        return {}
    from optimizer.inputs.stock import load_stock

    wanted = "-" + dash.strip().upper().removeprefix("AS568").strip(" -").zfill(3)
    rings = {item.name: item for item in load_stock("orings-as568").items}
    if wanted not in rings:
        near = sorted(rings, key=lambda name: abs(int(name[1:]) - int(wanted[1:])) if wanted[1:].isdigit() else 0)[:3]
        table.problem("dash", "is not an AS568 size in the list", f"near it: {', '.join(near)}", "E124")
        return {}
    return {key: rings[wanted].texts[key] for key in ("cross_section", "inner_diameter")}
