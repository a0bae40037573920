"""A lip welded into the end of the case: its weld, the lip itself, and the wall that the lip's arm bends.

Owns the modes of `retention = "welded-lip"`. The closure pushes on the lip inside of the wall's middle, so the end load bends
the wall beside the weld where the heat of welding has softened it; a fillet from one side carries the same moment over its
throat. Sources: Hetényi and Timoshenko (edge moments), EN 1999-1-1 (fillets, heat-affected metal), each beside its formula;
of the modes in the ladder's table. Imports numpy and, from physics, case, closures, materials, modes and motors.
"""

from __future__ import annotations

import numpy as np

from physics.failure.case import (
    closure,
    end_load_area,
    end_load_note,
    heat_affected_ratio,
    other_part_note,
    pressure_text,
    sentences,
    strength,
    strength_text,
)
from physics.failure.fillers import ADM_SHEAR, FILLERS
from physics.materials import Material
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, Situation, WeldedLip

THROAT_OVER_LEG = 0.5**0.5
"""Throat over leg of a fillet of equal legs; geometry."""

SHEAR_OF_FILLET = 0.5**0.5
"""Load across a fillet that lies along one leg, per throat area and strength of weld metal.

sigma and tau on the throat are each N/(a sqrt 2), and sqrt(sigma² + 3 tau²) <= fw. Source: EN 1999-1-1 8.6.3.3 (remembered).
"""

PLASTIC_OVER_ELASTIC = 1.5
"""Plastic over elastic moment of a rectangular section; exact."""


# --- formulas --------------------------------------------------------------------------------------------------------


def edge_decay(radius: Array, wall: Array, poisson: Array) -> Array:
    """β of an edge disturbance of a cylindrical shell.

    Parameters
    ----------
    radius, wall : Array
        Radius to the middle of the wall, and the wall [m].
    poisson : Array
        [-].

    Returns
    -------
    Array
        [1/m]; broadcasts.

    Notes
    -----
    [3(1 − ν²)]^¼/√(R·t). Thin: t below R/10.

    References
    ----------
    Timoshenko, Theory of Plates and Shells, art. 115; Roark, thin shells (remembered).

    Examples
    --------
    >>> float((edge_decay(1.0, 1.0, 0.3)).round(3))
    1.285
    """
    return np.asarray(np.power(3.0 * (1.0 - np.square(poisson)), 0.25) / np.sqrt(np.multiply(radius, wall)))


def moment_share(beta_distance: Array) -> Array:
    """Largest share of a moment that a ring hands to a long tube at a distance from its end.

    Parameters
    ----------
    beta_distance : Array
        β times the distance, s [-].

    Returns
    -------
    Array
        [-]; broadcasts.

    Notes
    -----
    The tube inwards of the ring takes (1 + A²)/2, that outwards (1 − A²)/2, with A = exp(−s)(cos s + sin s): all of it at the
    end, half from about 2√(R·t) on. Exact for a thin shell that is free to grow at the ring (the ring's own hoop stiffness takes
    a part: on the safe side).

    References
    ----------
    Derived, from the moment on an infinite beam on an elastic foundation and the end conditions of Hetényi, Beams on Elastic
    Foundation, ch. II and III.

    Examples
    --------
    >>> moment_share(np.array([0.0, 10.0])).round(6).tolist()
    [1.0, 0.5]
    """
    s = np.asarray(beta_distance, dtype=float)
    a = np.exp(-s) * (np.cos(s) + np.sin(s))
    return np.asarray(0.5 * (1.0 + np.square(a)))


def bending_stress(moment: Array, thickness: Array) -> Array:
    """Elastic bending stress of a strip.

    Parameters
    ----------
    moment : Array
        Per length [N].
    thickness : Array
        [m].

    Returns
    -------
    Array
        [Pa]; broadcasts.

    Notes
    -----
    6·M/t²; exact.

    References
    ----------
    Elementary beam theory.
    """
    return np.asarray(6.0 * np.divide(moment, np.square(thickness)))


def wall_stress(axial: Array, bending: Array, hoop: Array) -> Array:
    """Larger von Mises stress of the two faces of a wall under axial ± bending stress with hoop stress.

    Parameters
    ----------
    axial, bending, hoop : Array
        [Pa], or all over one pressure.

    Returns
    -------
    Array
        As the stresses; broadcasts.

    Notes
    -----
    Plane stress. The hoop stress that bending brings by Poisson's ratio and by the swelling of a free end is left out: in the
    hand example 5 % more at half the moment, 16 % at a free end that no ring holds.

    References
    ----------
    von Mises, definition.

    Examples
    --------
    >>> float(wall_stress(6.83, 18.9, 13.66).round(1)), float(wall_stress(6.83, 37.8, 13.66).round(1))
    (22.3, 39.6)
    """
    faces = [np.square(a) - a * hoop + np.square(hoop) for a in (np.add(axial, bending), np.subtract(axial, bending))]
    return np.asarray(np.sqrt(np.maximum(*faces)))


def throat_load(metal: Array, leg: Array, lever: Array) -> Array:
    """Load per length at which a fillet from one side parts over its throat: shear, and bending about its own middle.

    Parameters
    ----------
    metal : Array
        Strength of the weld metal [Pa].
    leg, lever : Array
        Leg of the fillet, and the load's distance from the middle of the throat across the load, 0 or more [m].

    Returns
    -------
    Array
        [N/m]; broadcasts.

    Notes
    -----
    Plastic throat: (N/(fw·a/√2))² + N·lever/(fw·a²/4) = 1. The lip's stiffness as a ring is left out: safe side.

    References
    ----------
    EN 1999-1-1 8.6.3.3 for the shear; the bending and its joining to it are textbook plasticity, derived here.
    """
    throat = THROAT_OVER_LEG * np.asarray(leg, dtype=float)
    plain = SHEAR_OF_FILLET * metal * throat
    bent = np.maximum(lever, 0.0) * plain / (0.25 * metal * np.square(throat))
    return np.asarray(plain * 0.5 * (np.sqrt(np.square(bent) + 4.0) - bent))


# --- the motor -------------------------------------------------------------------------------------------------------


def is_welded(motors: Motors, end: str) -> bool:
    """Whether an end is said to be held by a welded lip.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    bool
        Whether it is.
    """
    part = motors.forward_closure if end == "forward" else motors.aft_closure
    return part is not None and part.retention == "welded-lip"


def _lip(motors: Motors, end: str) -> WeldedLip:
    lip = closure(motors, end).welded_lip
    if lip is None:
        raise NotComputable(f"{end}_closure.weld_leg is not given")
    return lip


def _metal(motors: Motors, what: str) -> Array:
    """Strength of the case beside the weld, heat-affected whatever the case says of the rest of itself. [Pa]"""
    own: Material = need(motors, "case.material")
    return np.asarray(heat_affected_ratio(own, what) * strength(motors, own, what))


def _stresses(motors: Motors, end: str) -> tuple[Array, Array, Array]:
    """Axial, bending and hoop stress of the wall beside the weld, over head pressure, (n,) each. [-]"""
    lip, case = _lip(motors, end), need(motors, "case")
    poisson = case.material.poisson
    if poisson is None:
        raise NotComputable(f"poisson of {case.material.name} is not known")
    middle = 0.5 * (case.bore + case.wall)
    line = end_load_area(motors, end) / (2.0 * np.pi * middle)
    distance = 0.0 if lip.distance is None else lip.distance
    share = moment_share(edge_decay(middle, case.wall, poisson) * distance)
    return line / case.wall, bending_stress(share * line * lip.arm, case.wall), middle / case.wall


def weld_yield(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the wall beside the weld begins to yield.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    Axial stress of the end load, the bending that the lip's arm brings, and hoop stress, by von Mises on the worse face of the
    heat-affected wall. Thin-shell theory: wall below a tenth of the radius.

    References
    ----------
    `wall_stress`, `moment_share`.
    """
    return np.asarray(_metal(motors, "yield") / wall_stress(*_stresses(motors, situation.end)))


def weld_hinge(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the wall beside the weld is a plastic hinge at its tensile strength: it tears round.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    As `weld_yield`, with the bending of a rectangle that is plastic through and through, two thirds of the elastic.

    References
    ----------
    `PLASTIC_OVER_ELASTIC`.
    """
    axial, bending, hoop = _stresses(motors, situation.end)
    return np.asarray(_metal(motors, "tensile") / wall_stress(axial, bending / PLASTIC_OVER_ELASTIC, hoop))


def _lever(motors: Motors, end: str) -> Array:
    """How far inside of the bore the lip is loaded. [m]

    At least a tenth of the weld's leg: no load bears on an edge of no width (judgement).
    """
    lip = _lip(motors, end)
    return np.asarray(np.maximum(lip.arm - 0.5 * need(motors, "case.wall"), 0.1 * lip.leg))


def _bore_line(motors: Motors, end: str) -> Array:
    """End load over head pressure per length of the bore's circumference. [m]"""
    return np.asarray(end_load_area(motors, end) / (np.pi * need(motors, "case").bore))


def weld_throat(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the fillet parts: over its throat, or beside it in the heat-affected metal.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    Beside it, the leg along the wall shears at fu,haz/√3. A full and sound weld.

    References
    ----------
    `throat_load`; EN 1999-1-1 8.6.3.4 (remembered).
    """
    end = situation.end
    leg, line = _lip(motors, end).leg, _bore_line(motors, end)
    lever = np.maximum(_lever(motors, end) - 0.25 * leg, 0.0)
    metal = _lip(motors, end).metal_strength
    if metal is None:
        raise NotComputable(f"{end}_closure.filler is not given")
    throat = throat_load(metal, leg, lever)
    beside = leg * _metal(motors, "tensile") / np.sqrt(3.0)
    return np.asarray(np.minimum(throat, beside) / line)


def _lip_metal(motors: Motors, end: str) -> Material:
    part = closure(motors, end)
    found = part.ring_material or part.plate_material
    return found if found is not None else need(motors, "case.material")


def _lip_strength(motors: Motors, end: str, what: str) -> Array:
    own = _lip_metal(motors, end)
    ratio = heat_affected_ratio(own, "yield" if what == "yield" else "tensile")
    return np.asarray(ratio * strength(motors, own, what))


def lip_bending(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the lip yields in bending at the bore, as a strip.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    6·N·lever/h²; its stiffness as a ring is left out, on the safe side.

    References
    ----------
    `bending_stress`.
    """
    end = situation.end
    height = need(motors, f"{end}_closure.welded_lip.thickness")
    stress = bending_stress(_bore_line(motors, end) * _lever(motors, end), height)
    return np.asarray(_lip_strength(motors, end, "yield") / stress)


def lip_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the lip shears through along the bore.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    h·Ssu over the load on a length of it.

    References
    ----------
    Force over section, definition.
    """
    end = situation.end
    height = need(motors, f"{end}_closure.welded_lip.thickness")
    return np.asarray(height * _lip_strength(motors, end, "shear") / _bore_line(motors, end))


# --- notes -----------------------------------------------------------------------------------------------------------


def weld_note(motors: Motors, situation: Situation) -> str:
    """How the bending is shared, the stresses at 1 MPa, and what was used of the heat-affected metal.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    end = situation.end
    lip, case = _lip(motors, end), need(motors, "case")
    middle = 0.5 * (case.bore + case.wall)
    distance = 0.0 if lip.distance is None else float(np.max(lip.distance))
    share = float(np.max(moment_share(edge_decay(middle, case.wall, case.material.poisson) * distance)))
    where = "weld_distance is not given: the weld taken at the tube's end" if lip.distance is None else "by weld_distance"
    axial, bending, hoop = (float(np.max(part)) for part in _stresses(motors, end))
    split = f"axial {axial:.3g}, bending {bending:.3g} and hoop {hoop:.3g} times the pressure"
    metal = (
        f"heat-affected Sy {strength_text(float(np.min(_metal(motors, 'yield'))))}, "
        f"Su {strength_text(float(np.min(_metal(motors, 'tensile'))))}"
    )
    return sentences(
        f"{share:.0%} of the lip's moment in the wall on one side ({where})",
        split,
        metal,
        case.material.source("heat_affected_yield_ratio"),
        end_load_note(motors, end, weld_yield(motors, situation)),
    )


def throat_note(motors: Motors, situation: Situation) -> str:
    """Throat, filler, and the same weld by the shear strength that another code gives.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    end = situation.end
    lip = _lip(motors, end)
    _, source, status = FILLERS.get(lip.filler, (0.0, "as given by the user", "read"))
    metal = float(np.min(need(motors, f"{end}_closure.welded_lip.metal_strength")))
    throat = float(np.min(lip.leg)) * THROAT_OVER_LEG
    other = ""
    if lip.filler in ADM_SHEAR:
        load = ADM_SHEAR[lip.filler] * THROAT_OVER_LEG * lip.leg / _bore_line(motors, end)
        other = f"by the Aluminum Design Manual's shear strength of the filler, without bending: {pressure_text(load)} (remembered)"
    return sentences(
        f"throat {throat * 1e3:.2f} mm, full and sound; filler {lip.filler} {strength_text(metal)} ({source}, {status})",
        other,
    )


def lip_note(motors: Motors, situation: Situation) -> str:
    """Strength of the lip's metal.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    str
        The words.
    """
    own = _lip_metal(motors, situation.end)
    return sentences("heat-affected", other_part_note(motors, own, "yield_strength"))
