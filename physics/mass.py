"""What a motor weighs, as far as its file says.

Owns the masses of propellant, case, liner, closures and nozzle, from their dimensions and the densities of their
materials. Small parts (screws, seals, igniter, grease) are not counted. Source: geometry. Imports assembly, grain, modes
and motors.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from physics.assembly import assemble, ring_length
from physics.ballistics import grain
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, as_column

PARTS = ("propellant", "case", "liner", "forward_closure", "aft_closure", "nozzle")


def masses(motors: Motors) -> dict[str, Array]:
    """Masses of the parts, and of the loaded motor.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    dict of Array
        By part, (n,), and `loaded`, the sum of those that are known; a part that the file leaves out, or does not dimension, is
        NaN and named by `unknown_masses`, and `loaded` then a lower bound. [kg]

    Notes
    -----
    Case: a plain tube. Liner: from the forward plate to the nozzle (`assembly`), never less than the grains it covers.
    Closure: `mass` where given, else its plate over the bore and its ring, from the end of the case to its own end beyond the
    holes. Nozzle: the insert, a cylinder less its conical exit and, ahead of the throat, a bore of the throat's diameter. A
    part that cannot exist (a ring thicker than its bore) would weigh less than nothing: it is NaN, and `loaded` with it. A
    weighed empty motor (`masses.empty`) stands in place of the sum of the parts in `loaded`. Source: geometry.
    """
    found = {part: _mass(motors, part) for part in PARTS}
    known = [mass for mass, _ in found.values() if mass is not None]
    table = {part: as_column(np.nan if mass is None else mass, motors.size) for part, (mass, _) in found.items()}
    table["loaded"] = sum((as_column(mass, motors.size) for mass in known), np.zeros(motors.size))
    if motors.masses is not None:
        table["loaded"] = as_column(motors.masses.empty + table["propellant"], motors.size)
    impossible = np.any([mass < 0.0 for mass in table.values()], axis=0)
    if impossible.any():
        table = {part: np.where(impossible & (mass < 0.0), np.nan, mass) for part, mass in table.items()}
        table["loaded"] = np.where(impossible, np.nan, table["loaded"])
    return table


def part_mass(motors: Motors, part: str) -> Array:
    """Mass of one part, the same number as in `masses`.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    part : str
        One of `PARTS`.

    Returns
    -------
    Array
        (n,); NaN where it is not known. [kg]
    """
    mass, _ = _mass(motors, part)
    weighed = as_column(np.nan if mass is None else mass, motors.size)
    return np.where(weighed < 0.0, np.nan, weighed)


def closure_masses(motors: Motors, end: str) -> dict[str, Array]:
    """Masses of the plate and the ring of a closure.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    dict of Array
        (n,), as far as they are known. [kg]
    """
    found = {}
    for name, build in (("plate", _plate), ("ring", _ring)):
        try:
            found[name] = as_column(build(motors, f"{end}_closure"), motors.size)
        except NotComputable:
            continue
    return found


def unknown_masses(motors: Motors) -> list[str]:
    """What `loaded` does not count, one text a part, with the key that is missing.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    list of str
        Parts that a motor has by nature (case, both closures, nozzle) are listed where the file leaves them out; a motor whose
        empty mass was weighed has none.
    """
    if motors.masses is not None:
        return []
    missing = ((part, _mass(motors, part)[1]) for part in PARTS)
    return [f"{part.replace('_', ' ')}: {why}" for part, why in missing if why]


def _mass(motors: Motors, part: str) -> tuple[Array | None, str]:
    """The mass of a part and why it, or a part of it, is not known; None where nothing is."""
    if part == "liner" and motors.liner is None:
        return None, ""
    try:
        if part.endswith("_closure"):
            return _closure(motors, part)
        return _MASSES[part](motors), ""
    except NotComputable as missing:
        return None, str(missing)


def _propellant(motors: Motors) -> Array:
    volume = grain.volume(motors.grain.mapped(np.atleast_2d), np.zeros(1)).sum(axis=-1)
    return np.asarray(motors.propellant.density * volume, dtype=float)


def _density(motors: Motors, column: str) -> float:
    density = getattr(need(motors, column), "density", None)
    if density is None:
        raise NotComputable(f"the density of {column} is not known")
    return float(density)


def _case(motors: Motors) -> Array:
    outside, length = need(motors, "case.outer_diameter"), need(motors, "case.length")
    bore = outside - 2.0 * need(motors, "case.wall")
    return np.asarray(_density(motors, "case.material") * 0.25 * np.pi * (outside**2 - bore**2) * length)


def _liner(motors: Motors) -> Array:
    need(motors, "case")
    bore, thickness = need(motors, "case.bore"), need(motors, "liner.thickness")
    annulus = np.pi * thickness * (bore - thickness)
    return np.asarray(_density(motors, "liner.material") * annulus * _liner_length(motors))


def _liner_length(motors: Motors) -> Array:
    """From the forward plate to the nozzle; never less than the grains it covers."""
    placed = assemble(motors)
    return np.asarray(np.maximum(placed.nozzle_face, placed.grains_end) - placed.plate_end)


def _closure(motors: Motors, end: str) -> tuple[Array | None, str]:
    need(motors, end)
    given = motors.value(f"{end}.mass")
    if given is not None:
        return np.asarray(given, dtype=float), ""
    total: Array | None = None
    missing = []
    for build in (_plate, _ring):
        try:
            mass = build(motors, end)
            total = mass if total is None else total + mass
        except NotComputable as why:
            missing.append(str(why))
    return total, "; ".join(missing)


def _plate(motors: Motors, end: str) -> Array:
    need(motors, "case")
    thickness, bore = need(motors, f"{end}.plate_thickness"), need(motors, "case.bore")
    material = "plate_material" if motors.value(f"{end}.plate_material") is not None else "ring_material"
    return np.asarray(_density(motors, f"{end}.{material}") * 0.25 * np.pi * bore**2 * thickness)


def _ring(motors: Motors, end: str) -> Array:
    need(motors, "case")
    if motors.value(f"{end}.screws") is None:
        raise NotComputable(f"the retaining ring's section is not in the file; give {end}.mass")
    thickness, bore = need(motors, f"{end}.screws.ring_thickness"), need(motors, "case.bore")
    for column in ("edge_distance", "ring_edge_distance"):
        need(motors, f"{end}.screws.{column}")
    length = ring_length(need(motors, end))
    section = np.pi * thickness * (bore - thickness)
    return np.asarray(_density(motors, f"{end}.ring_material") * section * length)


def _nozzle(motors: Motors) -> Array:
    outside, length = need(motors, "nozzle.insert_diameter"), need(motors, "nozzle.insert_length")
    throat, mouth = motors.nozzle.throat_diameter, motors.nozzle.exit_diameter
    cone = np.minimum(0.5 * (mouth - throat) / np.tan(np.maximum(motors.nozzle.half_angle, 1e-6)), length)
    flow = np.pi / 12.0 * (throat**2 + throat * mouth + mouth**2) * cone + 0.25 * np.pi * throat**2 * (length - cone)
    solid = np.maximum(0.25 * np.pi * outside**2 * length - flow, 0.0)
    return np.asarray(_density(motors, "nozzle.material") * solid)


_MASSES: dict[str, Callable[[Motors], Array]] = {
    "propellant": _propellant,
    "case": _case,
    "liner": _liner,
    "nozzle": _nozzle,
}
