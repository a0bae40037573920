"""Places that need not be marched: a hotter wall, marched once for many motors, shows that they cannot matter.

Owns the hotter wall, what follows from it, and the order in which places are asked. A search asks of heat only whether
something happens before a given time, or below a given pressure (`Situation.until`, `Situation.enough`); where the hotter
wall holds to there, so does the real one. What the hotter wall leaves open is marched.

Comparison theorem. Take a wall of liner and case as `char_march` has it, under any film h(t) ≥ 0 and radiation from a gas
of temperature Tg, from the start T0 < Tg. Let the hotter wall be the same with its hot face held at Tg from the first
moment of exposure, and with no gas passing through its char. Then at every depth and moment it is at least as hot, and
charred and worn at least as deep. Proof, by the first moment t and depth x at which the two touch. The hotter wall warms at
every depth at all times (held at Tg, shifting its clock gives a hotter wall again, by the same argument), so its charred
share is the one that belongs to its temperature; up to t the real wall has nowhere been hotter, so its share is no greater,
and where they touch it is the same. At the hot face of the hotter wall, which lies at least as deep, the real wall is at most
at Tg. Inside, conduction and capacity are the same where they touch; what gas passes the real char flows towards hotter
char and only cools it. So the real wall does not rise past the hotter one (maximum principle). Film, blowing and the share
of a step that a place is bare do not enter. Before a place is exposed its wall stays at T0, so that the hotter wall's clock
starts with the exposure.

It holds for char that stays, in full or up to a depth; not for a liner that is carried off whole or wears at a measured
rate, whose face moves with the film: these are marched, and so are gaps. Both marches are discrete: times of the hotter wall
are shortened by `EARLY`, its rises lengthened by `HOTTER` and by `MORE` kelvin, since coarse steps smear the first warmth.

References: derived; the maximum principle in any text on parabolic equations. Imports physics.motors and the heat files
below it.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from physics.heat import liner as liners
from physics.heat import walls
from physics.heat.liner import Char, Exposure, Sleeve
from physics.heat.marches import char_of, gap_widths, kept, lines_case, sleeve, strips
from physics.heat.places import GAP_PLACES, LIKELY, PLACES, STILL, Setting, liner_of
from physics.heat.walls import UNTIL_MARGIN
from physics.missing import NotComputable
from physics.motors import Array, Motors, Situation

EARLY, HOTTER, MORE = 0.9, 1.05, 2.0
ORDER = ("aft end", "joint", "forward end", "mid-grain wall")
"""Places in the order in which they are asked: where the first has failed, few others come sooner."""

_FEW = 8
"""Motors a distinct wall from which on the hotter walls repay their march."""
_STEPS = 120
_KEPT = 4096
_hotter: OrderedDict[tuple[bytes, float], _Hotter] = OrderedDict()


@dataclass(frozen=True)
class _Hotter:
    """The hotter wall: instants [s] and bore [K], (steps + 1,), and when it is through [s]."""

    time: Array
    bore: Array
    through: float


@dataclass(frozen=True)
class Least:
    """What no motor of a batch falls short of, by place, (n,) each: when its liner is through [s]; and what no bore passes,
    `bores` by the time asked [s], [K], inf where nothing is known."""

    through: Mapping[str, Array]
    bores: Callable[[str, Array], Array]


def lowest(
    by_place: Callable[[Motors, Situation], Mapping[str, Array]],
    least: Mapping[str, Array],
    motors: Motors,
    situation: Situation,
    enough: Array,
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
    known : Array or None
        A value that is known already and may be the lowest, (n,).

    Returns
    -------
    Array
        Below `enough` the lowest value over all places, to rounding; else that, or inf. NaN where nothing burns.
    """
    found = np.full(motors.size, np.inf) if known is None else known.copy()
    for place in ORDER:
        rows = np.flatnonzero(least[place] < np.minimum(found, enough))
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
        return rows, motors, Situation(situation.end, figures, expected, held, situation.until, None, (place,))
    some = None if expected is None else np.broadcast_to(expected, (motors.size,))[rows]
    picked = None if figures is None else figures.take(rows)
    return rows, motors.take(rows), Situation(situation.end, picked, some, held, situation.until, None, (place,))


def applies(motors: Motors, situation: Situation) -> bool:
    """Whether only times up to a given one are asked for, of motors that have a liner, so that places may be left out."""
    return situation.until is not None and situation.places is None and lines_case(motors)


def lasting(motors: Motors, situation: Situation) -> Array:
    """The time that is asked about, `until` in action times, (n,). [s]"""
    figures, until = situation.figures, situation.until
    if figures is None or until is None:
        raise NotComputable("the burn itself was not evaluated")
    return until * walls.per_motor(motors, figures["action_time"])


def long_enough(motors: Motors, situation: Situation) -> Array:
    """A time not before the one asked about, nor before the pressure has gone, (n,). [s]"""
    until = situation.until
    assert until is not None
    return (until + UNTIL_MARGIN) * kept(motors, situation, True).now.end


def least(motors: Motors, situation: Situation) -> Least:
    """What the hotter wall shows of a batch, worked out once for all rungs that share the situation.

    Raises NotComputable naming what is missing.
    """
    if "least" not in situation.kept:
        situation.kept["least"] = _least(motors, situation)
    found: Least = situation.kept["least"]
    return found


def _least(motors: Motors, situation: Situation) -> Least:
    at = kept(motors, situation, True)
    begins = exposure_begins(at)
    number, hotter = _walls(at, situation)
    gap = gap_widths(motors)
    through = {}
    for place in PLACES:
        known = hotter[place in STILL]
        after = np.array([wall.through for wall in known])[number] if known else np.zeros(motors.size)
        through[place] = np.nan_to_num(begins[place] + EARLY * after, nan=0.0, posinf=np.inf)

    def bores(place: str, asked: Array) -> Array:
        known = hotter[place in STILL]
        if not known:
            return np.where(np.isinf(begins[place]) & _whole(gap, place), _start(motors), np.inf)
        passed = np.where(np.isfinite(begins[place]), np.maximum(asked - begins[place], 0.0), 0.0)
        top = np.full(motors.size, np.inf)
        for one, wall in enumerate(known):
            rows = np.flatnonzero(number == one)
            here = np.searchsorted(wall.time, passed[rows])
            inside = here < len(wall.time)
            top[rows[inside]] = wall.bore[here[inside]]
        start = _start(motors)
        top = np.where(np.isinf(begins[place]), start, start + HOTTER * (top - start) + MORE)
        return np.where(_whole(gap, place) & ~np.isnan(top), top, np.inf)

    return Least(through, bores)


def _whole(gap: Mapping[str, Array], place: str) -> NDArray[np.bool_] | bool:
    """Where the liner has no gap at a place."""
    return gap[place] <= 0.0 if place in GAP_PLACES else True


def _start(motors: Motors) -> Array:
    return walls.per_motor(motors, motors.ambient.temperature)


def exposure_begins(at: Setting) -> dict[str, Array]:
    """The instant of the march from which on each place may meet gas, (n,), inf where it never does. [s]"""
    nothing = np.zeros(at.size)
    bare = at.uncovered > 0.0
    first = np.take_along_axis(at.now.time, np.argmax(bare, axis=0)[None, :], axis=0)[0]
    return {
        "forward end": nothing,
        "aft end": nothing,
        "joint": np.where(at.jointed, 0.0, np.inf),
        "mid-grain wall": np.where(bare.any(axis=0), first, np.inf),
    }


def _walls(at: Setting, situation: Situation) -> tuple[NDArray[np.intp], dict[bool, list[_Hotter]]]:
    """Which of the distinct walls each motor has, and the hotter walls, by whether all char stays; empty: none known."""
    hot = liner_of(at.motors)
    liner = at.motors.liner
    assert liner is not None  # liner_of has refused it
    own = sleeve(at, hot, LIKELY)
    chars = {stays: char_of(at, hot, LIKELY, ORDER[2] if stays else ORDER[0]) for stays in (True, False)}
    gas = at.gas.temperature * np.ones(at.size)
    leaves = [np.broadcast_to(getattr(own, item.name), (at.size,)) for item in fields(Sleeve)]
    columns = np.stack([*leaves, gas, *(getattr(chars[True], item.name) for item in fields(Char))], axis=1)
    if len(np.unique(columns[: 4 * _FEW], axis=0)) * 2 > min(4 * _FEW, at.size):
        return np.zeros(at.size, dtype=np.intp), {True: [], False: []}
    distinct, first, number = np.unique(columns, axis=0, return_index=True, return_inverse=True)
    measured = liner.regression_rate is not None or liner.material.regression_rate is not None
    if measured or len(distinct) * _FEW > at.size or not np.isfinite(columns[:, :-1]).all():
        return np.zeros(at.size, dtype=np.intp), {True: [], False: []}
    reach = float(np.nanmax(long_enough(at.motors, situation), initial=0.0)) / EARLY
    span = float(2.0 ** (np.ceil(2.0 * np.log2(max(reach, 1e-3))) / 2.0))  # few different ones, so that walls are met again
    found: dict[bool, list[_Hotter]] = {True: [], False: []}
    for stays in (True, False):
        if stays or not strips(hot, LIKELY, ORDER[0]):
            found[stays] = _marched(own, chars[stays], gas, columns, first, span)
    return number.ravel(), found


def _marched(own: Sleeve, char: Char, gas: Array, columns: Array, first: NDArray[np.intp], span: float) -> list[_Hotter]:
    """The hotter walls of the rows `first`, marched side by side where they are not known from before."""
    deepest = np.broadcast_to(char.deepest, gas.shape)
    keys = [(columns[row].tobytes() + deepest[row].tobytes(), span) for row in first]
    fresh = [place for place, key in enumerate(keys) if key not in _hotter]
    if fresh:
        rows = first[fresh]
        leaves = {item.name: np.broadcast_to(getattr(own, item.name), gas.shape)[rows] for item in fields(Sleeve)}
        parts = {item.name: getattr(char, item.name)[rows] for item in fields(Char)}
        time = span * np.linspace(0.0, 1.0, _STEPS + 1) ** 1.5
        held = np.full((_STEPS, len(rows)), 1e8)
        exposure = Exposure(time[:, None], held, np.zeros_like(held), gas[rows], np.full(len(rows), 1e-9), 1e-9)
        marched = liners.char_march(replace(own, **leaves), replace(char, **parts), exposure)
        for number, place in enumerate(fresh):
            bore = np.maximum.accumulate(marched.bore[:, number])
            _hotter[keys[place]] = _Hotter(
                time, bore, float(marched.through[number]) if np.isfinite(marched.through[number]) else span
            )
    found = []
    for key in keys:
        _hotter.move_to_end(key)
        found.append(_hotter[key])
    while len(_hotter) > _KEPT:
        _hotter.popitem(last=False)
    return found
