"""A plug screwed through the forward plate: its threads, and its own seal as a second way out for the gas.

Owns the modes of `[forward_closure.plug]`; what its hole does to the plate stands with the plate. Sources: FED-STD-H28/2B
(stripping areas), makers' tables (seals), as `physics.failure.closures` and `physics.failure.seals` have them. Imports numpy and,
from physics, case, closures, missing, motors and seals.
"""

from __future__ import annotations

import numpy as np

from physics.failure.case import end_load_note, pressure_text, sentences, strength
from physics.failure.closures import plate_of, plug_of, thread_shear_areas
from physics.failure.seals import service_leak
from physics.missing import NotComputable, need
from physics.motors import Array, Motors, Plug, Situation


def has_plug(motors: Motors, end: str) -> bool:
    """Whether a plug is screwed through the plate of an end.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    end : str
        "forward" or "aft".

    Returns
    -------
    bool
    """
    return end == "forward" and motors.forward_closure is not None and motors.forward_closure.plug is not None


def _plug(motors: Motors) -> Plug:
    plug = plug_of(motors, "forward")
    if plug is None:
        raise NotComputable("[forward_closure.plug] is not given")
    return plug


def push_area(motors: Motors) -> Array:
    """Push on the plug over head pressure: within its seal, or within its thread.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Array
        [m2], (n,).

    Notes
    -----
    The wider of the two where both are given.

    References
    ----------
    Definition.
    """
    plug = _plug(motors)
    across = plug.thread_diameter
    if plug.seal is not None and plug.seal.diameter is not None:
        across = np.maximum(across, plug.seal.diameter)
    return np.asarray(0.25 * np.pi * np.square(across))


def plug_threads(motors: Motors, situation: Situation) -> tuple[Array, Array]:
    """Head pressures at which the thread of the plug and that of the plate strip.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Which end.

    Returns
    -------
    tuple of Array
        Of the plug and of the plate, in this order, [Pa], (n,) each.

    Notes
    -----
    Load even along the engaged thread.

    References
    ----------
    `physics.failure.closures.thread_shear_areas`.
    """
    plug = _plug(motors)
    if plug.material is None:
        raise NotComputable("forward_closure.plug.material is not given")
    engaged = need(motors, "forward_closure.plug.engagement")
    areas = thread_shear_areas(plug.thread_diameter, plug.thread_pitch, engaged)
    own, tapped = strength(motors, plug.material, "shear"), strength(motors, plate_of(motors, "forward"), "shear")
    area = push_area(motors)
    return np.asarray(own * areas.external / area), np.asarray(tapped * areas.internal / area)


def plug_thread_shear(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the weaker of the plug's and the plate's thread strips.

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

    References
    ----------
    `plug_threads`.
    """
    return np.asarray(np.minimum(*plug_threads(motors, situation)))


def plug_seal_leak(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the plug's own ring is taken to let gas past.

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
    As `seal_extrusion`; its gap does not grow: the plate hardly widens round a plug.

    References
    ----------
    `physics.failure.seals.service_leak`.
    """
    seal = _plug(motors).seal
    if seal is None:
        raise NotComputable("[forward_closure.plug.seal] is not given")
    return service_leak(motors, seal, np.asarray(0.0), "forward_closure.plug.seal")


def plug_note(motors: Motors, situation: Situation) -> str:
    """Both threads, and the share of the end load that goes through the plug.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        At which end the mode asks.

    Returns
    -------
    str
        The words.
    """
    own, tapped = plug_threads(motors, situation)
    return sentences(
        f"thread of the plug {pressure_text(own)}, thread of the plate {pressure_text(tapped)}",
        end_load_note(motors, situation.end, own),
    )
