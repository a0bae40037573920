"""What each failure mode leaves behind: one row a mode, from the mode to the findings it brings about.

Owns the table `TRAILS` and the places of parts. The chances are our judgement from how the parts work, no source. A
new rung of the ladder needs one row here; without it the rung is weighed by pressure and place alone. Imports the
list of findings from inputs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.inputs import FINDINGS


@dataclass(frozen=True)
class Trail:
    """What a mode leaves behind: chance of each finding, whether it ends the firing, and what would show it."""

    found: Mapping[str, float]
    ends_firing: bool
    tell: str


def _trail(ends_firing: bool, tell: str, **found: float) -> Trail:
    names = {name.replace(" ", "_").replace("-", "_"): name for name in FINDINGS}
    return Trail({names[key]: chance for key, chance in found.items()}, ends_firing, tell)


_HOLES = (
    "Look at the holes: round holes and cut screws are shear, stretched holes bearing, open slots tear-out, a "
    "tear from hole to hole net section."
)
_BORE = "Measure the case's diameter along its length; a swelling over the whole length is yield, at one place heat."

TRAILS: dict[str, Trail] = {
    "case yield": _trail(False, _BORE, case_bulged=0.8, seal_leak=0.2),
    "case yield hot": _trail(
        False, _BORE, case_bulged=0.8, hot_spot=0.4, case_split_along_the_length=0.2, liner_charred=0.3, liner_gone=0.2
    ),
    "axial stress in case": _trail(False, _BORE, case_split_around=0.4, case_bulged=0.2),
    "yield away from weld": _trail(False, _BORE, case_bulged=0.8),
    "case burst": _trail(
        True,
        "A burst opens along the length with a thick lip and the case swollen beside it; keep the pieces and "
        "measure the wall at the edge.",
        case_split_along_the_length=0.9,
        case_bulged=0.5,
        grains_broken=0.5,
        propellant_ejected=0.5,
    ),
    "burst away from weld": _trail(
        True,
        "Where the split starts, in the weld's zone or away from it, tells which metal gave way.",
        case_split_along_the_length=0.9,
        case_bulged=0.4,
        grains_broken=0.5,
        propellant_ejected=0.5,
        weld_torn=0.2,
    ),
    "net section": _trail(
        True,
        "A tear from hole to hole round the case is net section.",
        case_split_around=0.9,
        closure_gone=0.8,
        propellant_ejected=0.5,
        grains_broken=0.3,
    ),
    "stress at screw holes": _trail(False, _HOLES, holes_elongated=0.5, case_split_around=0.1, seal_leak=0.1),
    "screw shear": _trail(
        True,
        _HOLES,
        screws_sheared=0.9,
        closure_gone=0.9,
        propellant_ejected=0.5,
        grains_broken=0.3,
        holes_elongated=0.2,
        nozzle_gone=0.2,
    ),
    "bearing in case": _trail(False, _HOLES, holes_elongated=0.95, closure_gone=0.2, seal_leak=0.3, screws_sheared=0.1),
    "bearing in ring": _trail(False, _HOLES, holes_elongated=0.8, closure_gone=0.2, seal_leak=0.3, screws_sheared=0.1),
    "tear-out of case": _trail(
        True,
        _HOLES,
        holes_torn_out=0.9,
        closure_gone=0.9,
        holes_elongated=0.4,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "tear-out of ring": _trail(
        True,
        _HOLES,
        holes_torn_out=0.6,
        closure_gone=0.9,
        holes_elongated=0.3,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "ring thread shear": _trail(
        True,
        "Stripped threads in the case or on the ring show it; measure how deep the ring was screwed in.",
        retaining_ring_gone=0.9,
        closure_gone=0.9,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "net section at thread": _trail(
        True,
        "A tear round the case at the root of the thread shows it.",
        case_split_around=0.9,
        closure_gone=0.8,
        retaining_ring_gone=0.6,
        propellant_ejected=0.5,
    ),
    "groove shear": _trail(
        True,
        "The lip between groove and end is gone or folded outward; the ring itself is whole.",
        retaining_ring_gone=0.8,
        closure_gone=0.9,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "groove bearing": _trail(
        False,
        "The groove's face is dished and the ring sits crooked.",
        retaining_ring_gone=0.4,
        closure_gone=0.4,
        seal_leak=0.3,
    ),
    "snap ring shear": _trail(
        True,
        "The ring is cut through round its middle; the groove is whole.",
        retaining_ring_gone=0.9,
        closure_gone=0.9,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "net section at groove": _trail(
        True,
        "A tear round the case at the bottom of the groove shows it.",
        case_split_around=0.9,
        closure_gone=0.8,
        retaining_ring_gone=0.6,
        propellant_ejected=0.5,
    ),
    "groove ligament yield": _trail(
        False,
        "The case is necked or flared at the groove.",
        retaining_ring_gone=0.6,
        closure_gone=0.6,
        seal_leak=0.3,
        case_split_around=0.3,
    ),
    "weld yield": _trail(
        False,
        "A ring of the case beside the weld is flared or dished, the weld whole: measure the bore there.",
        case_bulged=0.3,
        weld_torn=0.3,
        seal_leak=0.3,
    ),
    "weld hinge": _trail(
        True,
        "The tear runs round in the case beside the weld, its lips bent outward; the bead is still on the lip.",
        weld_torn=0.9,
        case_split_around=0.5,
        closure_gone=0.8,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "weld throat": _trail(
        True,
        "The bead itself is split along its throat, part of it on the lip and part on the case: look at root and penetration.",
        weld_torn=0.95,
        retaining_ring_gone=0.6,
        closure_gone=0.8,
        propellant_ejected=0.5,
        nozzle_gone=0.2,
    ),
    "lip bending": _trail(
        False,
        "The lip is dished outward like a saucer, the weld whole.",
        weld_torn=0.2,
        retaining_ring_gone=0.2,
        seal_leak=0.2,
    ),
    "lip shear": _trail(
        True,
        "The weld and a rim of the lip are still in the case, the rest of the lip is gone.",
        retaining_ring_gone=0.8,
        closure_gone=0.8,
        weld_torn=0.2,
        propellant_ejected=0.5,
    ),
    "plate bending": _trail(
        False,
        "Lay a straight edge across the closure.",
        plate_bent=0.95,
        seal_leak=0.4,
        closure_gone=0.1,
    ),
    "ring rolling": _trail(
        False,
        "The ring stands like a saucer: lay it on a flat plate and look for light under its inner or outer rim.",
        retaining_ring_gone=0.2,
        holes_elongated=0.3,
        seal_leak=0.2,
    ),
    "ring contact": _trail(False, "A bright step is pressed into plate or ring where they met.", seal_leak=0.2, plate_bent=0.2),
    "plug thread shear": _trail(
        True,
        "The plug is gone from its hole; which of the two threads is stripped shows in the hole.",
        closure_gone=0.3,
        seal_leak=0.3,
        propellant_ejected=0.2,
    ),
    "plug seal extrusion": _trail(
        False,
        "Soot along the plug's thread, and a nibbled or burnt ring under it, show it.",
        seal_leak=0.9,
        hot_spot=0.3,
        burn_through=0.2,
    ),
    "plug seal overheating": _trail(
        False, "A hard, charred ring under the plug shows it.", seal_leak=0.9, hot_spot=0.3, burn_through=0.2
    ),
    "nozzle seal extrusion": _trail(
        False,
        "Soot between nozzle and case, and a nibbled ring on the nozzle, show it.",
        seal_leak=0.95,
        hot_spot=0.3,
        burn_through=0.2,
    ),
    "nozzle seal overheating": _trail(
        False, "A hard, charred ring on the nozzle with sound edges shows it.", seal_leak=0.95, hot_spot=0.4, burn_through=0.3
    ),
    "shoulder shear": _trail(
        True,
        "A clean step where the shoulder was, on the closure or its ring, shows it.",
        closure_gone=0.8,
        plate_bent=0.2,
        propellant_ejected=0.4,
    ),
    "seal extrusion": _trail(
        False,
        "A nibbled or cut edge on the low-pressure side of the O-ring shows it; a charred ring with sound edges is heat.",
        seal_leak=0.95,
        hot_spot=0.3,
        burn_through=0.2,
    ),
    "seal overheating": _trail(
        False,
        "A hard, charred ring with sound edges shows it; a nibbled edge is extrusion.",
        liner_charred=0.2,
        seal_leak=0.95,
        hot_spot=0.4,
        burn_through=0.3,
    ),
    "seat compression": _trail(
        False,
        "A crushed seat under the insert shows it.",
        nozzle_gone=0.4,
        throat_widened=0.2,
        seal_leak=0.2,
    ),
    "insert shear": _trail(
        True,
        "The outer part of the insert is still in its seat, the middle is gone.",
        nozzle_gone=0.95,
        propellant_ejected=0.3,
    ),
    "grain support": _trail(
        True,
        "Propellant in pieces with unburnt faces, and a spike of pressure before the failure, show it.",
        grains_broken=0.9,
        propellant_ejected=0.6,
        nozzle_gone=0.3,
    ),
    "cap burn-through": _trail(
        False,
        "A face under its cap that burned shows it: a pressure that climbs off its prediction, and caps charred through.",
        case_bulged=0.1,
        propellant_ejected=0.1,
    ),
    "liner burn-through": _trail(
        True,
        "A hole with melted edges over a gap or a thin place of the liner shows it; by a closure, the metal round its seat "
        "is blued and thin.",
        burn_through=0.8,
        hot_spot=0.9,
        liner_gone=0.4,
        liner_charred=0.35,
        closure_gone=0.6,
        propellant_ejected=0.2,
        seal_leak=0.2,
        weld_torn=0.1,
        case_bulged=0.2,
        case_split_along_the_length=0.15,
    ),
    "case softening": _trail(
        True,
        "Blued or sagged metal round a split, thin at the lip, shows it; a cold burst has none.",
        hot_spot=0.9,
        case_split_along_the_length=0.5,
        case_bulged=0.5,
        burn_through=0.2,
        closure_gone=0.35,
        liner_gone=0.4,
        liner_charred=0.5,
        weld_torn=0.2,
    ),
}
"""One row a mode. A mode without a row is weighed by pressure and place alone."""

PLAIN = Trail({}, True, "No trail of its own is known for this mode; look where the part is.")

PLACES: dict[str, dict[str, float]] = {
    "forward closure": {"forward": 0.93, "middle": 0.02, "aft": 0.05},
    "aft closure": {"forward": 0.05, "middle": 0.02, "aft": 0.93},
    "nozzle": {"forward": 0.02, "middle": 0.03, "aft": 0.95},
    "case": {"forward": 0.25, "middle": 0.5, "aft": 0.25},
    "liner": {"forward": 0.3, "middle": 0.4, "aft": 0.3},
    "grains": {"forward": 0.2, "middle": 0.3, "aft": 0.5},
}
"""Chance that a failure of each part shows at each end; our judgement."""
