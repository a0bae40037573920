"""`case softening` and `case yield hot`: what the tube loses of its strength behind the liner and at gaps.

Owns the rungs, their basis and their note, and the temperature above which a tempered tube does not regain its strength.
Sources: beside the models. Imports physics.motors and the heat files below it.
"""

from __future__ import annotations

import numpy as np

from physics.heat import bounds, walls
from physics.heat.conduction import first_crossing
from physics.heat.marches import GAS_SIDE, celsius, gapped, kept, looked_at, marched, worst
from physics.heat.paths import entries, gas_paths
from physics.heat.places import LIKELY, PLACES, Corner
from physics.heat.walls import BURN_STEPS, LASTING_LOSS
from physics.motors import Array, Motors, Situation

BASIS_CASE = f"yield at the temperature of the bore behind the liner, or at a gap with heat running along the tube; {GAS_SIDE}"
BASIS_HOT = f"yield at the temperature of the bore when it counts most, scaled to the peak; {GAS_SIDE}"


GAS_AT = "gas behind the liner at the "
"""What opens the name of a place where gas enters behind the liner."""


def _bores(motors: Motors, situation: Situation, held: bool, corner: Corner) -> dict[str, tuple[Array, Array, Array]]:
    """Per place: instants [s], the bore's hottest temperature [K] and that which carries [K], (instants, n) each.

    Places under the liner, the gaps, named "gap at …", and where gas enters behind the liner, `GAS_AT` ….
    """
    found = {}
    for (place, _), history in marched(motors, situation, held, [(place, corner) for place in looked_at(situation)]).items():
        found[place] = (history.time, history.bore, history.bore)
    for place, gap in gapped(motors, situation, held, corner).items():
        top, mean = (gap.start + np.where(gap.there, rise, 0.0) for rise in (gap.ring.bore, gap.ring.carrying))
        found[f"gap at the {place}"] = (gap.ring.time, top, mean)
    for place, entry in entries(motors, situation, held, corner).items():
        if place in looked_at(situation):
            ring, start = entry.ring, entry.start
            found[f"{GAS_AT}{place}"] = (ring.time, start + ring.bore, start + ring.carrying)
    return found


def case_softening_by_place(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """When the case no longer carries the maximum expected pressure at each place, or melts at its bore, (n,). [s]

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
        By place [s], (n,); inf where never.

    Raises
    ------
    NotComputable
        Naming what is missing.
    """
    needed = walls.needed_pressure(motors, situation)
    melting = None if motors.case is None else motors.case.material.melting_temperature
    found = {}
    for place, (time, top, mean) in _bores(motors, situation, True, corner).items():
        when = first_crossing(time, needed - walls.yield_pressure_at(motors, mean), 0.0)
        if melting is not None:
            when = np.minimum(when, first_crossing(time, top, float(melting)))
        found[place] = when
    return found


def case_softening(motors: Motors, situation: Situation) -> Array:
    """Time at which the case has likely softened too far at its worst place, (n,), inf where never. [s]

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
    Criterion: the yield pressure at the temperature of the bore, at a gap that of the length which carries as one,
    falls below the maximum expected pressure; or the bore melts.
    """
    if not bounds.applies(motors, situation):
        return worst(case_softening_by_place(motors, situation), situation)
    needed = walls.needed_pressure(motors, situation)
    end, least = bounds.long_enough(motors, situation), {}
    melting = None if motors.case is None else motors.case.material.melting_temperature
    for place in PLACES:
        top = bounds.least(motors, situation).bores(place, end)
        holds = walls.yield_pressure_at(motors, top) > needed
        least[place] = np.where(holds & (top < (np.inf if melting is None else melting)), np.inf, 0.0)
    return bounds.lowest(case_softening_by_place, least, motors, situation, *bounds.lasting(motors, situation))


def case_yield_hot_by_place(motors: Motors, situation: Situation, corner: Corner = LIKELY) -> dict[str, Array]:
    """Peak head pressure at which the case yields at each place, as hot as it gets while the pressure lasts, (n,). [Pa]

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
        By place [Pa], (n,).

    Raises
    ------
    NotComputable
        Naming what is missing.

    Notes
    -----
    At every moment the yield pressure of the warm case is set against the pressure at that moment; the moment that
    leaves least is scaled to the peak.
    """
    at = kept(motors, situation, True)
    acting = at.now.pressure[:BURN_STEPS]
    scale = np.where(acting > 0.0, acting.max(axis=0) / np.where(acting > 0.0, acting, 1.0), np.inf)
    ends = at.now.time[1 : BURN_STEPS + 1]
    found = {}
    for place, (time, _, mean) in _bores(motors, situation, True, corner).items():
        so_far = np.maximum.accumulate(mean, axis=0)
        hottest = np.stack([np.interp(ends[:, n], time[:, n], so_far[:, n]) for n in range(motors.size)], axis=1)
        hot = walls.yield_pressure_at(motors, hottest)
        found[place] = np.where(np.isinf(scale), np.inf, hot * np.where(np.isinf(scale), 1.0, scale)).min(axis=0)
    return found


def case_yield_hot(motors: Motors, situation: Situation) -> Array:
    """Peak head pressure at which the warm case likely yields at its worst place, (n,). [Pa]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    See `case_yield_hot_by_place`.
    """
    if not bounds.applies(motors, situation):
        return worst(case_yield_hot_by_place(motors, situation), situation)
    end, known = kept(motors, situation, True).now.end, bounds.least(motors, situation)
    least = {place: np.nan_to_num(walls.yield_pressure_at(motors, known.bores(place, end))) for place in PLACES}
    enough = np.full(motors.size, np.inf) if situation.enough is None else situation.enough
    short = np.full(motors.size, -np.inf)
    if situation.short is not None:
        short = situation.short * walls.needed_pressure(motors, situation)
    return bounds.lowest(case_yield_hot_by_place, least, motors, situation, enough, short)


def case_note(motors: Motors, situation: Situation) -> str:
    """How hot the bore of the case gets, at burnout and in the soak after it; for a single motor.

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
    burnout, soak = {}, {}
    end = kept(motors, situation, False).now.end[0] * (1.0 + 1e-9)
    for place, (time, top, _) in _bores(motors, situation, False, LIKELY).items():
        burnout[place], soak[place] = top[time[:, 0] <= end, 0].max(), top[:, 0].max()
    hot, late = max(burnout, key=lambda place: burnout[place]), max(soak, key=lambda place: soak[place])
    assert motors.case is not None  # _bores has refused it before
    melting = motors.case.material.melting_temperature
    lines = []
    if melting is not None and burnout[hot] >= melting:
        lines.append(f"the bore reaches its melting temperature, {celsius(melting)}, during the burn ({hot})")
    else:
        lines.append(
            f"bore up to {celsius(burnout[hot])} during the burn ({hot}), {celsius(soak[late])} in the soak after it ({late})"
        )
        if soak[late] > LASTING_LOSS:
            lines.append("over 200 °C a tempered tube does not regain its strength: retire or test it")
    behind = gas_paths(motors, situation)
    lines += [f"gas runs behind the liner from the {path.start}, {1e3 * path.flow:.2g} g/s" for path in behind[:1] if path.counted]
    if motors.liner is not None and motors.liner.gap is not None and float(walls.per_motor(motors, motors.liner.gap)[0]) > 0.0:
        lines.append("where the gap lies is not known: judged at the forward end, a joint and the aft end")
    return "; ".join(lines)
