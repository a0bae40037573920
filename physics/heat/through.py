"""`liner burn-through`: when a liner is worn away or charred down to its back, by place.

Owns the rung, its basis and its note. Sources: beside the marches. Imports physics.missing, motors and the heat files
below it.
"""

from __future__ import annotations

import numpy as np

from physics.heat import bounds, walls
from physics.heat.marches import GAS_SIDE, first_of, lines_case, looked_at, marched, seconds, worst
from physics.heat.places import LIKELY, Corner, depth_factor, ends_at, liner_of, places_of
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

BASIS_LINER = (
    "ablation marched with blowing, char as the material holds it in flow, all of it where little flows (judgement), until "
    f"nothing uncharred is left; the burn held on beyond its end to show the distance; {GAS_SIDE}"
)


def burn_through_by_place(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """When the liner is through at each place under one set of assumptions [s], (n,); inf where it holds.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.
    corner : Corner, optional
        The set of assumptions.

    Returns
    -------
    dict[str, Array]
        By place [s], (n,); inf where it holds.

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    Through is worn away, or charred down to its back.
    """
    if motors.liner is None:
        raise NotComputable('[liner] is not given (a bare case is a [liner] of thickness = "0 mm")')
    if not lines_case(motors):
        raise NotComputable("liner.thickness is 0, there is no liner; see case softening")
    places = looked_at(situation)
    found = marched(motors, situation, True, [(place, corner) for place in places])
    there = walls.per_motor(motors, motors.liner.thickness) > 0.0
    return {place: np.where(there, found[place, corner].through, np.inf) for place in places}


def liner_burn_through(motors: Motors, situation: Situation) -> Array:
    """Time at which the liner is likely gone or charred through at its worst place, (n,), inf where never. [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Array
        [s], (n,); inf where never.

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    See the module for the places, the two limits and what is left out.
    """
    if not bounds.applies(motors, situation):
        return worst(burn_through_by_place(motors, situation), situation)
    least = bounds.least(motors, situation).through
    return bounds.lowest(burn_through_by_place, least, motors, situation, *bounds.lasting(motors, situation))


def liner_note(motors: Motors, situation: Situation) -> str:
    """Where the liner goes first, when elsewhere, and both limits there; for a single motor.

    Parameters
    ----------
    motors : Motors
        A single motor, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    str
        For a person.
    """
    times = burn_through_by_place(motors, situation)
    first = first_of(times)
    others = ", ".join(f"{place} {seconds(times[place][0])}" for place in places_of(motors) if place != first)
    measured = depth_factor(motors, first)
    both = [seconds(burn_through_by_place(motors, situation, corner)[first][0]) for corner in ends_at(motors, first)]
    hot = liner_of(motors)
    liner = motors.liner
    rated = liner is not None and (liner.regression_rate is not None or liner.material.regression_rate is not None)
    source = "recession as measured" if rated else f"hot numbers of {hot.name}: {hot.weakest}"
    if measured is None:
        there = f"there {both[0]} with all char stripped, {both[1]} with all of it staying"
    else:
        there = f"there {both[0]} to {both[1]}, {_factor_words(measured)}"
    return f"first at the {first}; {others}; {there}; {source}"


def _factor_words(measured: tuple[Array, Array]) -> str:
    factor, within = (float(value[0]) for value in measured)
    return f"as a test measured: {factor:.2g} times the predicted depth, {within:.2g} times either way left of that"
