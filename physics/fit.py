"""Whether a motor goes into its airframe, and what room its parts keep in the case, cold and hot.

Owns the clearances between the case and the tube it must go into, and those of grains, liner, closures and the whole stack
in the case at the temperatures that a motor must bear. Sources: definition of the clearances; linear expansion, as any
handbook of physics has it. Imports numpy and, from physics, assembly, materials, missing and motors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from physics.assembly import Assembly, assemble, at_end, at_longest
from physics.materials import ROOM_TEMPERATURE, Material
from physics.missing import NotComputable, need
from physics.motors import Array, Closure, Motors, as_column

DRAWN_AT = ROOM_TEMPERATURE
"""Temperature at which a part has the size of its drawing, 20 °C; ISO 1 (remembered). [K]"""


def fit(motors: Motors, assembly: Assembly | None = None) -> dict[str, Array | NDArray[np.bool_] | None]:
    """How a motor sits in its airframe.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    assembly : Assembly, optional
        That of the motors where it is at hand.

    Returns
    -------
    dict
        (n,) each. `clearance` [m]: airframe's inner less case's outer diameter. `length_clearance` [m]: airframe's length
        less the case's, None where either is not given. `head_room` [m]: how far anything, a screw's head for one, may
        stand out of the case; half of what the diameter leaves. `in_airframe`: the clearance reaches `airframe.clearance`
        and the length suffices, with diameter and length of the case at the upper ends of their tolerances. `ok`: that,
        and the stack goes into the case as far as that is assessed (`physics.assembly`).

    Raises
    ------
    NotComputable
        Where the airframe or the case is not given.

    Notes
    -----
    Screw heads are taken as flush with the case: a head that stands out further than `head_room` does not fit, and the
    file gives no head heights. A nozzle that stands out of the case is not counted in the length.

    References
    ----------
    Definition of the clearances.
    """
    inside, outside = need(motors, "airframe.inner_diameter"), need(motors, "case.outer_diameter")
    clearance = as_column(inside - outside, motors.size)
    wanted = motors.value("airframe.clearance")
    widest = at_end(motors, "case.outer_diameter", upper=True)
    ok = as_column(inside - widest, motors.size) >= (0.0 if wanted is None else wanted)
    length, room = motors.value("case.length"), motors.value("airframe.length")
    left: Array | None = None
    if length is not None and room is not None:
        left = as_column(room - length, motors.size)
        ok = ok & (as_column(room - at_end(motors, "case.length", upper=True), motors.size) >= 0.0)
    placed = assemble(motors) if assembly is None else assembly
    return {
        "clearance": clearance,
        "length_clearance": left,
        "head_room": 0.5 * clearance,
        "in_airframe": ok,
        "ok": ok & placed.fits,
    }


# --- cold and hot ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Clearance:
    """The room between two parts at each temperature; below 0 they press on each other.

    `place` names the parts, `across` says that it is on the diameter and not along the axis. `temperatures` [K], `drawn` and
    `least` [m] are (n, k), 20 °C first; `least` is that at the worst corner of the tolerances. `rests_on` says which
    expansion was taken of each part, and from where; `assumed` what was taken for what the file does not give.
    """

    place: str
    across: bool
    temperatures: Array
    drawn: Array
    least: Array
    rests_on: tuple[str, ...]
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class HotFits:
    """What is known of the room between the parts, cold and hot, and what is not: place and why."""

    clearances: tuple[Clearance, ...]
    not_assessed: tuple[tuple[str, str], ...]


def expanded(length: Array, expansion: Array | float, temperature: Array) -> Array:
    """Size of a part at a temperature, L·(1 + α·(T − 20 °C)).

    Parameters
    ----------
    length : Array
        As drawn, at 20 °C [m].
    expansion : Array
        Mean linear expansion between 20 °C and the temperature [1/K].
    temperature : Array
        [K].

    Returns
    -------
    Array
        [m]; broadcasts.

    Notes
    -----
    One mean value: metals between −40 and 100 °C. Valid where the part is free; a cast propellant that sticks to its sleeve,
    and a fibre sleeve that is stiffer one way, are not free.

    References
    ----------
    Linear expansion, definition of the coefficient.

    Examples
    --------
    >>> float(np.round(expanded(1.0, 23.6e-6, 353.15), 6))
    1.001416
    """
    return np.asarray(length * (1.0 + np.asarray(expansion) * (np.asarray(temperature) - DRAWN_AT)))


def hot_fits(motors: Motors, assembly: Assembly | None = None) -> HotFits:
    """Room of grains in their liner, liner in case, closures in case and stack in case, at 20 °C and at each soak.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units. `propellant.expansion` and `liner.expansion` are the builder's own; metals and graphite
        bring theirs.
    assembly : Assembly, optional
        That of the motors where it is at hand.

    Returns
    -------
    HotFits
        What could be reckoned, and what not and for want of which key.

    Notes
    -----
    All parts at one temperature, as after a soak; what a firing heats is not in it. A liner that would outgrow the bore is
    held by it, and its inside follows. Rings, plate, grains and nozzle add up along the axis, each by its own material.
    Every part is free to expand (`expanded`).

    References
    ----------
    Geometry and linear expansion; expansions of materials stand in ``materials.csv`` with source and status.
    """
    placed = assemble(motors) if assembly is None else assembly
    soak = np.broadcast_to(np.atleast_2d(motors.ambient.soak), (motors.size, np.atleast_2d(motors.ambient.soak).shape[1]))
    at = np.concatenate([np.full((motors.size, 1), DRAWN_AT), soak], axis=1)
    found: list[Clearance] = []
    missing: list[tuple[str, str]] = []
    for place, reckon in (
        ("grain in liner" if motors.liner is not None else "grain in case", _grain_in_liner),
        ("liner in case", _liner_in_case),
        ("forward closure in case", _forward_in_case),
        ("aft closure in case", _aft_in_case),
        ("stack in case", _stack_in_case),
    ):
        try:
            clearance = reckon(motors, placed, at)
        except NotComputable as reason:
            missing.append((place, str(reason)))
        else:
            if clearance is not None:
                found.append(replace(clearance, place=place))
    return HotFits(tuple(found), tuple(missing))


def _expansion(material: Material | None, key: str) -> tuple[float, str]:
    """Expansion of a metal or of graphite, and where it comes from."""
    if material is None:
        raise NotComputable(f"{key} is not given")
    if material.expansion is None:
        raise NotComputable(f"expansion of {material.name} is not known")
    return material.expansion, f"{material.name} {material.expansion * 1e6:.3g} per million and K, {material.source('expansion')}"


def _case(motors: Motors) -> tuple[float, str]:
    need(motors, "case")
    return _expansion(motors.case.material if motors.case is not None else None, "case.material")


def _given(motors: Motors, key: str) -> tuple[Array, str]:
    """An expansion that only the builder knows, as a column beside temperatures."""
    value = np.asarray(need(motors, key), dtype=float)
    text = f"{key.partition('.')[0]} {float(np.ravel(value)[0]) * 1e6:.3g} per million and K, as given"
    return value[:, None] if value.ndim else value, text


def _tight(motors: Motors) -> Motors:
    """The motors at the corner of their tolerances where what lies within the bore is widest and the bore narrowest."""
    ends = {
        "case.outer_diameter": False, "case.wall": True, "liner.thickness": True, "liner.gap_behind": False,
        "grain.outer_diameter": True, "forward_closure.seal.gap": False, "aft_closure.seal.gap": False,
    }  # fmt: skip
    moved = {key: at_end(motors, key, upper) for key, upper in ends.items() if key in motors.tolerances}
    return motors.with_values({key: value for key, value in moved.items() if value is not None})


def _wide(leaf: Array) -> Array:
    """A column (n,) beside temperatures (n, k)."""
    value = np.asarray(leaf, dtype=float)
    return value[:, None] if value.ndim == 1 else value


def _liner_sizes(motors: Motors, at: Array, case: float, own: Array) -> tuple[Array, Array, Array]:
    """Bore of the case, free outside of the liner and its inside, (n, k). [m]"""
    assert motors.case is not None and motors.liner is not None
    bore = expanded(_wide(motors.case.bore), case, at)
    behind = 0.0 if motors.liner.gap_behind is None else _wide(motors.liner.gap_behind)
    free = expanded(_wide(motors.case.bore) - 2.0 * behind, own, at)
    inside = np.minimum(free, bore) - 2.0 * expanded(_wide(motors.liner.thickness), own, at)
    return bore, free, inside


def _grain_in_liner(motors: Motors, placed: Assembly, at: Array) -> Clearance:
    case, said = _case(motors)
    own, grain = _given(motors, "propellant.expansion")
    rests: list[str] = [grain, said]
    assumed: tuple[str, ...] = ()
    liner: Array = np.asarray(0.0)
    if motors.liner is not None:
        liner, told = _given(motors, "liner.expansion")
        rests.append(told)
        if motors.liner.gap_behind is None:
            assumed = ("liner.gap_behind is not given: the liner taken as wide as the bore at 20 °C",)

    def room(some: Motors) -> Array:
        assert some.case is not None
        inside = expanded(_wide(some.case.bore), case, at)
        if some.liner is not None:
            inside = _liner_sizes(some, at, case, liner)[2]
        grains = some.grain
        wide = np.where(np.atleast_2d(grains.count) > 0.0, np.atleast_2d(grains.outer_diameter), 0.0).max(axis=1)
        return np.asarray(inside - expanded(_wide(wide), own, at))

    return Clearance("", True, at, room(motors), room(_tight(motors)), tuple(rests), assumed)


def _liner_in_case(motors: Motors, placed: Assembly, at: Array) -> Clearance | None:
    if motors.liner is None:
        return None
    case, said = _case(motors)
    need(motors, "liner.gap_behind")
    own, told = _given(motors, "liner.expansion")

    def room(some: Motors) -> Array:
        bore, free, _ = _liner_sizes(some, at, case, own)
        return np.asarray(bore - free)

    return Clearance("", True, at, room(motors), room(_tight(motors)), (told, said))


def _forward_in_case(motors: Motors, placed: Assembly, at: Array) -> Clearance | None:
    closure = motors.forward_closure
    material = None if closure is None else closure.plate_material or closure.ring_material
    return _in_case(motors, "forward", closure, material, at)


def _aft_in_case(motors: Motors, placed: Assembly, at: Array) -> Clearance | None:
    return _in_case(motors, "aft", motors.aft_closure, _body(motors)[0], at)


def _body(motors: Motors) -> tuple[Material | None, str]:
    """What the nozzle's body is of: the carrier of an insert, or the nozzle itself; and its key."""
    if motors.nozzle.insert_diameter is not None and motors.nozzle.insert_length is not None:
        return (None if motors.aft_closure is None else motors.aft_closure.ring_material), "aft_closure.ring_material"
    return motors.nozzle.material, "nozzle.material"


def _in_case(motors: Motors, end: str, closure: Closure | None, material: Material | None, at: Array) -> Clearance | None:
    """Room of a part that seals the bore, from the gap at its seal; None where it has no seal of its own there."""
    if closure is None or closure.seal is None or closure.seal.diameter is not None:
        return None
    case, said = _case(motors)
    own, told = _expansion(material, f"{end}_closure.plate_material" if end == "forward" else _body(motors)[1])

    def room(some: Motors) -> Array:
        gap = some.value(f"{end}_closure.seal.gap")
        assert some.case is not None
        bore = _wide(some.case.bore)
        # Turned to the bore as it is: its tolerance takes the part with it, and the gap has its own.
        return np.asarray(expanded(bore, case, at) - expanded(bore - 2.0 * _wide(gap), own, at))

    return Clearance("", True, at, room(motors), room(_tight(motors)), tuple(dict.fromkeys((told, said))))


def _stack_in_case(motors: Motors, placed: Assembly, at: Array) -> Clearance:
    if placed.not_assessed:
        raise NotComputable(placed.not_assessed)
    case, said = _case(motors)
    assert motors.forward_closure is not None and motors.aft_closure is not None
    forward, aft = motors.forward_closure, motors.aft_closure
    own, grain = _given(motors, "propellant.expansion")
    metals = (
        ("forward_ring_end", "", forward.ring_material or forward.plate_material, "forward_closure.ring_material"),
        ("plate_end", "forward_ring_end", forward.plate_material or forward.ring_material, "forward_closure.plate_material"),
        ("ring_face", "nozzle_face", *_body(motors)),
        ("case_length", "ring_face", aft.ring_material, "aft_closure.ring_material"),
    )
    known, rests = [], [grain, said]
    for end, start, material, key in metals:
        if bool((_span(placed, end, start) > 0.0).any()):
            value, told = _expansion(material, key)
            known.append((end, start, value))
            rests.append(told)

    def room(some: Assembly) -> Array:
        left = expanded(_wide(some.case_length), case, at) - expanded(_wide(some.grains_end - some.plate_end), own, at)
        for end, start, value in known:
            left = left - expanded(_wide(_span(some, end, start)), value, at)
        return np.asarray(left)

    longest = at_longest(motors)
    least = room(placed if longest is motors else assemble(longest))
    assumed = tuple(f"{item.key} is not given: {item.taken}" for item in placed.assumed)
    return Clearance("", False, at, room(placed), least, tuple(dict.fromkeys(rests)), assumed)


def _span(placed: Assembly, end: str, start: str) -> Array:
    """Length of one part of the stack, (n,). [m]"""
    length: Array = getattr(placed, end)
    return length - getattr(placed, start) if start else length
