"""Places that need not be marched: a hotter wall, marched once for many motors, shows that they cannot matter.

Owns the hotter wall, what follows from it, and the order in which places are asked. A search asks of heat only whether
something happens before a given time, or below a given pressure (`Situation.until`, `Situation.enough`); where the hotter
wall holds to there, so does the real one. What the hotter wall leaves open is marched.

Comparison theorem. Take a wall of liner and case as `char_march` has it, under any film h(t) ≥ 0 and radiation from a gas
of temperature Tg, from the start T0 < Tg. Let the hotter wall be the same with no gas passing through its char, under a
constant film that h never exceeds and the strongest radiation, not thinned by blowing; or with its hot face held at Tg, which
is the strongest film of all and the only one allowed where char is taken off the hot face. Then at every depth and moment
of its exposure the hotter wall is at least as hot, and charred and worn at least as deep. Proof, by the first moment and depth
at which the two touch. The hotter wall warms at every depth at all times (under constant conditions shifting its clock
gives a hotter wall again, by the same argument), so its charred share is the one that belongs to its temperature; up to then
the real wall has nowhere been hotter, so its share is no greater, and where they touch it is the same. At the hot face:
where no char is taken off both faces lie at one depth, and at one temperature the hotter wall is given more heat; where it is,
the face of the hotter wall lies at least as deep, at Tg, and nothing in the real wall is hotter than that. Inside,
conduction and capacity are the same where they touch; what gas passes the real char flows towards hotter char and only cools
it. So the real wall does not rise past the hotter one (maximum principle). Before a place is exposed its wall stays at T0, so
that the hotter wall's clock starts with the exposure.

It holds for char that stays, in full or up to a depth; not for a liner that is carried off whole or wears at a measured
rate, whose face moves with the film: these are marched, and so are gaps. Both marches are discrete: times of the hotter wall
are shortened by `EARLY`, its rises lengthened by `HOTTER` and by `MORE` kelvin, since coarse steps smear the first warmth.

References: derived; the maximum principle in any text on parabolic equations. Imports physics.motors and the heat files
below it.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from physics.heat import liner as liners
from physics.heat import walls
from physics.heat.liner import Char, Exposure, Sleeve
from physics.heat.marches import char_of, gap_widths, kept, lines_case, sleeve, strips
from physics.heat.places import EMISSIVITY, GAP_PLACES, LIKELY, PLACES, STILL, Setting, films, liner_of
from physics.heat.walls import UNTIL_MARGIN
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

EARLY, HOTTER, MORE = 0.9, 1.05, 2.0
ORDER = ("aft end", "joint", "forward end", "mid-grain wall")
"""Places in the order in which they are asked: where the first has failed, few others come sooner."""

FILMS = (200.0, 400.0, 800.0, 1600.0, 3200.0, np.inf)
"""Constant films of the hotter walls, the last a hot face at the temperature of the gas. [W/(m2 K)]"""

_FEW = 48
"""Motors a distinct wall from which on the hotter walls repay their march."""
_STEPS = 720
"""So many because coarse steps take char off late, by a quarter at 120: the hotter wall would not be hotter. [-]"""
_KEPT = 8192
_march_of: OrderedDict[tuple[bytes, float, float], tuple[Array, float]] = OrderedDict()
"""Bores and times through of hotter walls met before, by wall, film and span."""


@dataclass(frozen=True)
class _Hotter:
    """Hotter walls: instants [s], (steps + 1,), bores [K], (films, walls, steps + 1), and when they are through [s],
    (films, walls).
    """

    time: Array
    bore: Array
    through: Array


@dataclass(frozen=True)
class Least:
    """What no motor of a batch falls short of, by place, (n,) each: when its liner is through [s]; and what no bore passes,
    `bores` by the time asked [s], [K], inf where nothing is known.
    """

    through: Mapping[str, Array]
    bores: Callable[[str, Array], Array]


def lowest(
    by_place: Callable[[Motors, Situation], Mapping[str, Array]],
    least: Mapping[str, Array],
    motors: Motors,
    situation: Situation,
    enough: Array,
    short: Array,
    known: Array | None = None,
) -> Array:
    """The lowest value of a rung over the places, each place asked only where it may matter, (n,).

    Parameters
    ----------
    by_place : callable
        The rung by place for motors and a situation that names one place [s or Pa].
    least : mapping
        What each place's value is sure not to fall short of, (n,) in the same unit; 0 where nothing is known.
    motors, situation : Motors, Situation
        The batch, (n,).
    enough : Array
        Value from which on nobody asks for it, (n,), inf where every value is asked for.
    short : Array
        Value below which it has failed, whatever it is, (n,), -inf where the lowest is asked for.
    known : Array or None
        A value that is known already and may be the lowest, (n,).

    Returns
    -------
    Array
        Between `short` and `enough` the lowest value over all places, to rounding; below, one that is below; over it that,
        or inf. NaN where nothing burns.
    """
    found = np.full(motors.size, np.inf) if known is None else known.copy()
    for place in ORDER:
        rows = np.flatnonzero((least[place] < np.minimum(found, enough)) & ~(found < short))
        if rows.size:
            for part, some, at_place in _parts(motors, situation, place, rows):
                values = by_place(some, at_place)
                lowest_here = np.min(list(values.values()), axis=0) if values else np.inf
                found[part] = np.minimum(found[part], lowest_here)
    return np.where(walls.burns(situation), found, np.nan)


_Rows = NDArray[np.intp]
_Part = tuple[_Rows, Motors, Situation]


def _parts(motors: Motors, situation: Situation, place: str, rows: _Rows) -> list[_Part]:
    """Batches that hold these rows at a place, with what other rungs have marched of them already, at whatever end."""
    done: list[_Part] = situation.kept.setdefault(f"part {place}", [])
    covered = np.zeros(motors.size, dtype=bool)
    wanted = np.zeros(motors.size, dtype=bool)
    wanted[rows] = True
    useful = []
    for part in done:
        covered[part[0]] = True
        if wanted[part[0]].any():
            useful.append(part)
    fresh = np.flatnonzero(wanted & ~covered)
    if fresh.size:
        done.append(_part(motors, situation, place, fresh))
        useful.append(done[-1])
    return [(rows, some, replace(own, end=situation.end)) for rows, some, own in useful]


def _part(motors: Motors, situation: Situation, place: str, rows: _Rows) -> _Part:
    expected, figures = situation.maximum_expected_pressure, situation.figures
    held: dict[str, object] = {}
    if rows.size == motors.size:
        shared = {name: found for name, found in situation.kept.items() if name.startswith("heat held")}
        held |= shared
        return rows, motors, Situation(situation.end, figures, expected, held, situation.until, places=(place,))
    some = None if expected is None else np.broadcast_to(expected, (motors.size,))[rows]
    picked = None if figures is None else figures.take(rows)
    return rows, motors.take(rows), Situation(situation.end, picked, some, held, situation.until, places=(place,))


def applies(motors: Motors, situation: Situation) -> bool:
    """Whether only times up to a given one are asked for, of motors that have a liner, so that places may be left out.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    bool
        Whether.
    """
    measured = motors.liner is not None and motors.liner.measured is not None  # a factor on the depth, which no wall has
    return situation.until is not None and situation.places is None and lines_case(motors) and not measured


def lasting(motors: Motors, situation: Situation) -> tuple[Array, Array]:
    """The time that is asked about, `until` in action times, and the one before which a part has failed, (n,) each. [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    tuple[Array, Array]
        The time that is asked about, and the one before which it has failed [s], (n,) each; -inf where the lowest
        is asked for.
    """
    figures, until, short = situation.figures, situation.until, situation.short
    if figures is None or until is None:
        raise NotComputable("the burn itself was not evaluated")
    action = walls.per_motor(motors, figures["action_time"])
    return until * action, np.full(motors.size, -np.inf) if short is None else short * action


def long_enough(motors: Motors, situation: Situation) -> Array:
    """A time not before the one asked about, nor before the pressure has gone, (n,). [s]

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Array
        [s], (n,).
    """
    until = situation.until
    assert until is not None
    return (until + UNTIL_MARGIN) * kept(motors, situation, True).now.end


def least(motors: Motors, situation: Situation) -> Least:
    """What the hotter wall shows of a batch, worked out once for all rungs that share the situation.

    Parameters
    ----------
    motors : Motors
        The batch, SI.
    situation : Situation
        How it burns, and at which end a mode asks.

    Returns
    -------
    Least
        By place.

    Raises
    ------
    NotComputable
        Naming what is missing.
    """
    if "least" not in situation.kept:
        situation.kept["least"] = _least(motors, situation)
    found: Least = situation.kept["least"]
    return found


def _least(motors: Motors, situation: Situation) -> Least:
    at = kept(motors, situation, True)
    begins = exposure_begins(at)
    number, hotter = _walls(at, situation)
    gap, start = gap_widths(motors), walls.per_motor(motors, motors.ambient.temperature)
    strongest = {place: film.max(axis=0) for place, (film, _) in films(at, LIKELY).items()}
    sure = np.isfinite(np.array(list(strongest.values()))).all(axis=0)
    level = {place: np.searchsorted(FILMS, np.where(sure, strongest[place], 0.0)) if place in STILL else 0 for place in PLACES}
    through = {}
    for place in PLACES:
        known = hotter.get(place in STILL)
        after = np.zeros(motors.size) if known is None else known.through[level[place], number]
        through[place] = np.where(sure, begins[place] + EARLY * after, 0.0)

    def bores(place: str, asked: Array) -> Array:
        known = hotter.get(place in STILL)
        top = np.full(motors.size, np.inf)
        if known is not None:
            here = np.searchsorted(known.time, np.where(np.isfinite(begins[place]), np.maximum(asked - begins[place], 0.0), 0.0))
            inside = here < len(known.time)
            top = np.where(inside, known.bore[level[place], number, np.minimum(here, len(known.time) - 1)], np.inf)
        top = np.where(np.isinf(begins[place]), start, start + HOTTER * (top - start) + MORE)
        return np.where(sure & _whole(gap, place), top, np.inf)

    return Least(through, bores)


def _whole(gap: Mapping[str, Array], place: str) -> NDArray[np.bool_] | bool:
    """Where the liner has no gap at a place."""
    return gap[place] <= 0.0 if place in GAP_PLACES else True


def exposure_begins(at: Setting) -> dict[str, Array]:
    """The instant of the march from which on each place may meet gas, (n,), inf where it never does. [s]

    Parameters
    ----------
    at : Setting
        The batch with its gas side.

    Returns
    -------
    dict[str, Array]
        By place [s], (n,).
    """
    nothing = np.zeros(at.size)
    bare = at.uncovered > 0.0
    first = np.take_along_axis(at.now.time, np.argmax(bare, axis=0)[None, :], axis=0)[0]
    return {
        "forward end": nothing,
        "aft end": nothing,
        "joint": np.where(at.jointed, 0.0, np.inf),
        "mid-grain wall": np.where(bare.any(axis=0), first, np.inf),
    }


def _walls(at: Setting, situation: Situation) -> tuple[NDArray[np.intp], dict[bool, _Hotter]]:
    """Which of the distinct walls each motor has, and the hotter walls, by whether all char stays; none where they are
    not known or would not repay themselves.
    """
    hot = liner_of(at.motors)
    liner = at.motors.liner
    assert liner is not None  # liner_of has refused it
    none = np.zeros(at.size, dtype=np.intp)
    if liner.regression_rate is not None or liner.material.regression_rate is not None:
        return none, {}
    own = _full(sleeve(at, hot, LIKELY), at.size)
    chars = {stays: _full(char_of(at, hot, LIKELY, STILL[0] if stays else ORDER[0]), at.size) for stays in (True, False)}
    gas = at.gas.temperature * np.ones(at.size)
    numbers = [getattr(own, item.name) for item in fields(Sleeve)] + [getattr(chars[True], item.name) for item in fields(Char)][:-1]
    columns = np.stack([*numbers, gas], axis=1)
    some = columns[: 4 * _FEW]
    if len(np.unique(some, axis=0)) * 2 > len(some) or not np.isfinite(columns).all():
        return none, {}
    distinct, first, number = np.unique(columns, axis=0, return_index=True, return_inverse=True)
    if len(distinct) * _FEW > at.size:
        return none, {}
    reach = float(np.nanmax(long_enough(at.motors, situation), initial=0.0)) / EARLY
    span = float(2.0 ** (np.ceil(2.0 * np.log2(max(reach, 1e-3))) / 2.0))  # few different ones, so that walls are met again
    found = {True: _marched(_some(own, first), _some(chars[True], first), gas[first], FILMS, span)}
    if not strips(hot, LIKELY, ORDER[0]):
        found[False] = _marched(_some(own, first), _some(chars[False], first), gas[first], FILMS[-1:], span)
    return number.ravel(), found


_Leaves = TypeVar("_Leaves", Sleeve, Char)


def _full(part: _Leaves, size: int) -> _Leaves:
    return replace(part, **{item.name: np.broadcast_to(getattr(part, item.name), (size,)) for item in fields(part)})


def _some(part: _Leaves, rows: NDArray[np.intp]) -> _Leaves:
    return replace(part, **{item.name: getattr(part, item.name)[rows] for item in fields(part)})


def _marched(own: Sleeve, char: Char, gas: Array, constant: Sequence[float], span: float) -> _Hotter:
    """Hotter walls under constant films, marched side by side where they are not known from before."""
    leaves = [*(getattr(own, item.name) for item in fields(Sleeve)), *(getattr(char, item.name) for item in fields(Char)), gas]
    wall = [row.tobytes() for row in np.ascontiguousarray(np.stack(leaves, axis=1))]
    time = span * np.linspace(0.0, 1.0, _STEPS + 1) ** 1.5
    keys = [(one, film, span) for film in constant for one in wall]
    fresh = [place for place, key in enumerate(keys) if key not in _march_of]
    if fresh:
        rows = np.array(fresh) % len(wall)
        held = np.array([keys[place][1] for place in fresh])
        film = np.broadcast_to(np.where(np.isinf(held), 1e8, held), (_STEPS, len(fresh)))
        glow = np.broadcast_to(np.where(np.isinf(held), 0.0, EMISSIVITY.likely), film.shape)
        exposure = Exposure(time[:, None], film, glow, gas[rows], np.full(len(fresh), 1e-9), 1e-9)
        marched = liners.char_march(_some(own, rows), _some(char, rows), exposure)
        bore = np.maximum.accumulate(marched.bore, axis=0)
        for column, place in enumerate(fresh):
            _march_of[keys[place]] = bore[:, column].copy(), min(float(marched.through[column]), span)
    for key in keys:
        _march_of.move_to_end(key)
    found = [_march_of[key] for key in keys]
    while len(_march_of) > _KEPT:
        _march_of.popitem(last=False)
    bores, through = np.array([bore for bore, _ in found]), np.array([when for _, when in found])
    return _Hotter(time, bores.reshape(len(constant), len(wall), -1), through.reshape(len(constant), -1))
