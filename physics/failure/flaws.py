"""What a flaw would do: the pressure it brings, and how large it must be to reach a rung.

Owns the burnback of a grain that is cracked or alight where it should not be, the peak head pressure of a motor with one such
flaw, and the other way round: the burning-area surplus and the blocked throat that bring a given head pressure. Steady balance,
as the steady kernel's: exact burning areas on a fine grid of regressions, the rate law's lowest stable root, static pressure at
the head end from the port. `flaws` is the one door for what a flaw does, `to_reach` for how much it takes. A flaw in the
propellant that opens under pressure, a crack that spreads, gas that lifts a sleeve further and erosive burning in a slot are not
in it: each would give more. Source: derived here. Imports faces, grain, motors, nozzle, stretches.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from physics.ballistics import faces, grain, nozzle
from physics.ballistics.faces import CoveredGrain
from physics.ballistics.stretches import Balance, Columns, balance, columns
from physics.motors import Array, Grains, Motors

STEPS = 400
"""Regressions at which a burn is looked at; the peak between two is missed by less than 1e-4 of it."""

BLOCKED = 0.10
"""Part of the throat that the flaw of that name covers."""


# --- burnback of one grain with a flaw -------------------------------------------------------------------------------


def cracked_area(grains: Grains, regression: Array) -> Array:
    """Burning area of one grain cracked through the web along its whole length.

    Parameters
    ----------
    grains : Grains
        One row or more, SI; of each row one grain is meant.
    regression : Array
        Broadcasts against them. [m]

    Returns
    -------
    Array
        0 once the web or the length is gone; NaN without a core. [m2]

    Notes
    -----
    The crack is a radial slot of no width from the core to the outside that opens by both its faces at the burning rate. With
    ρ = d/2 + x and R = D/2 the burning outline is ρ·(2π − 2·asin(x/ρ)) + 2·(√(R² − x²) − √(ρ² − x²)), on a length L − e·x, and
    each of e bare ends burns over what is left of the section. Exact: every point burns when the nearest surface has come to it.
    Where a cap covers part of a face the same is summed over rings, each as long as the fronts of the faces leave it, to the
    accuracy of 24 Gauss points between bends. Source: geometry, derived here.

    Examples
    --------
    >>> g = Grains(*(np.array(v) for v in (1.0, 0.1, 0.05, 0.02, 0.0)))
    >>> (cracked_area(g, np.array([0.0, 0.0075])) * 1e6).round(1)
    array([ 9283.2, 11052.8])
    """
    x = np.asarray(regression, dtype=float)
    grains = grain.settled(grains)
    if grains.caps:
        plain = cracked_area(replace(grains, forward_covered_to=None, aft_covered_to=None), x)
        return np.where(faces.capped(grains), _cracked_under_caps(faces.covered_grain(grains), x), plain)
    outer, core = 0.5 * grains.outer_diameter, 0.5 * grains.core_diameter
    bore = np.minimum(core + x, outer)
    with np.errstate(invalid="ignore", divide="ignore"):
        slot = np.sqrt(np.maximum(np.square(outer) - np.square(x), 0.0))
        start = np.sqrt(np.maximum(np.square(bore) - np.square(x), 0.0))
        angle = np.arcsin(np.clip(x / bore, 0.0, 1.0))
        outline = bore * (2.0 * np.pi - 2.0 * angle) + 2.0 * (slot - start)
        strip = x * slot + np.square(outer) * np.arcsin(np.clip(x / outer, 0.0, 1.0))
        strip = strip - (x * start + np.square(bore) * angle)
    section = np.pi * (np.square(outer) - np.square(bore)) - strip
    area = outline * (grains.length - grains.burning_ends * x) + grains.burning_ends * section
    area = np.where(x < grain.web(replace(grains, count=np.ones_like(outer))), area, 0.0)
    return np.where(grains.core_diameter > 0.0, area, np.nan)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


def _cracked_under_caps(one: CoveredGrain, x: Array) -> Array:
    """The same of a grain with a cap: of a ring at r the arc r·(2π − 2·asin(x/r)) is left.

    Core, both faces of the slot and both fronts, the last two by Gauss-Legendre: between the circles at which a front bends, and
    on it over its angle.
    """
    bore = np.minimum(one.core + x, one.outer)
    start = np.minimum(np.maximum(bore, faces.met_at(one, x, x)), one.outer)

    def arc(radius: Array) -> Array:
        return np.asarray(2.0 * np.pi - 2.0 * np.arcsin(np.clip(x / np.maximum(radius, 1e-300), 0.0, 1.0)))

    def length(radius: Array) -> Array:
        fronts = (faces.front_depth(x, radius, to, one.core) for to in (one.forward, one.aft))
        return np.asarray(one.length - sum(fronts))

    total = np.where(start <= bore, bore * arc(bore) * np.maximum(length(bore), 0.0), 0.0)
    bends = [np.clip(place, start, one.outer) for to in (one.forward, one.aft) for place in (to, to + x)]
    marks = np.sort(np.stack(np.broadcast_arrays(start, *bends, one.outer)), axis=0)
    for low, high in pairwise(marks):
        for node, weight in zip(_NODES, _WEIGHTS, strict=True):
            turn = 0.5 * np.pi * (0.5 + 0.5 * node)  # a front goes as a square root at its ends
            radius = low + (high - low) * np.sin(turn) ** 2
            by = 0.5 * weight * 0.5 * np.pi * (high - low) * np.sin(2.0 * turn)
            total = total + by * 2.0 * radius / np.sqrt(np.maximum(radius**2 - x**2, 1e-300)) * np.maximum(length(radius), 0.0)
    for to in (one.forward, one.aft):
        is_open = (to > one.core) & (to >= start)
        inner, outer = np.minimum(start, to), np.minimum(to, one.outer)
        with np.errstate(divide="ignore", invalid="ignore"):
            first = np.arcsin(np.where(x > 0.0, np.clip((start - to) / x, 0.0, 1.0), 0.0))
            last = np.arcsin(np.where(x > 0.0, np.clip((one.outer - to) / x, 0.0, 1.0), 0.0))
        for node, weight in zip(_NODES, _WEIGHTS, strict=True):
            share = 0.5 + 0.5 * node
            radius = inner + (outer - inner) * share
            total = total + np.where(is_open, 0.5 * weight * (outer - inner) * radius * arc(radius), 0.0)
            angle = first + (last - first) * share
            radius = to + x * np.sin(angle)
            round_ = 0.5 * weight * (last - first) * x * radius * arc(radius)
            total = total + np.where(to > one.core, round_, 0.0)
    return np.where((x < faces.burnt_out(one)) & (one.core > 0.0), total, np.where(one.core > 0.0, 0.0, np.nan))


def alight_outside_area(grains: Grains, regression: Array) -> Array:
    """Burning area of one grain that burns on its outside too.

    Parameters
    ----------
    grains : Grains
        One row or more, SI; of each row one grain is meant.
    regression : Array
        Broadcasts against them. [m]

    Returns
    -------
    Array
        0 once the two fronts, or the ends, have met. [m2]

    Notes
    -----
    π·(d + 2x + D − 2x)·(L − e·x) with the ends' ring between the two fronts, until they meet at a quarter of D − d or the ends
    do. Exact, under caps too. Source: geometry, derived here.

    Examples
    --------
    >>> g = Grains(*(np.array(v) for v in (1.0, 0.1, 0.05, 0.02, 0.0)))
    >>> (alight_outside_area(g, np.array([0.0, 0.005])) * 1e6).round(1)
    array([21991.1, 21991.1])
    """
    x = np.asarray(regression, dtype=float)
    grains = grain.settled(grains)
    if grains.caps:
        plain = alight_outside_area(replace(grains, forward_covered_to=None, aft_covered_to=None), x)
        return np.where(faces.capped(grains), _alight_under_caps(faces.covered_grain(grains), x), plain)
    bore = np.where(grains.core_diameter > 0.0, grains.core_diameter + 2.0 * x, 0.0)
    outside = grains.outer_diameter - 2.0 * x
    length = grains.length - grains.burning_ends * x
    area = np.pi * (bore + outside) * length
    area = area + grains.burning_ends * 0.25 * np.pi * (np.square(outside) - np.square(bore))
    return np.where((outside > bore) & (length > 0.0), area, 0.0)


def _alight_under_caps(one: CoveredGrain, x: Array) -> Array:
    """The same of a grain with a cap: core, fronts and outside up to where the outer front stands."""
    bore = np.where(one.core > 0.0, one.core + x, 0.0)
    outside = one.outer - x
    start = np.maximum(bore, faces.met_at(one, x, x))
    length = [one.length - sum(faces.front_depth(x, r, to, one.core) for to in (one.forward, one.aft)) for r in (bore, outside)]
    cored = (one.core > 0.0) & (start <= bore)
    area = np.where(cored, 2.0 * np.pi * bore * np.maximum(length[0], 0.0), 0.0)
    area = area + 2.0 * np.pi * outside * np.maximum(length[1], 0.0)
    for to in (one.forward, one.aft):
        area = area + faces.front_area(x, start, np.maximum(outside, start), to, one.core)
    return np.where(start < outside, area, 0.0)


def lost_cap_area(grains: Grains, regression: Array) -> Array:
    """Burning area of one grain with one covered end face bare after all.

    Parameters
    ----------
    grains : Grains
        One row or more, SI; of each row one grain is meant.
    regression : Array
        Broadcasts against them. [m]

    Returns
    -------
    Array
        As it was where no face is covered. [m2]

    Notes
    -----
    Of two faces that are covered, in part or wholly, the one that leaves less open. Exact. Source: geometry, as
    `physics.ballistics.grain`.
    """
    grains = grain.settled(grains)
    if grains.caps:
        forward, aft = grains.open_to
        lost = forward <= aft
        opened = replace(
            grains,
            count=np.ones_like(np.asarray(grains.count)),
            forward_covered_to=np.where(lost, grains.outer_diameter, forward),
            aft_covered_to=np.where(lost, aft, grains.outer_diameter),
        )
        plain = lost_cap_area(replace(grains, forward_covered_to=None, aft_covered_to=None), regression)
        return np.where(faces.capped(grains), np.asarray(grain.burning_area(opened, regression)), plain)
    bare = np.minimum(grains.burning_ends + 1.0, 2.0)
    one = replace(grains, count=np.ones_like(np.asarray(grains.count)), burning_ends=bare)
    return np.asarray(grain.burning_area(one, regression))


# --- the motor with one flaw -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Flaw:
    """One flaw of a batch of n motors.

    `burning_area` is the burning area at the new peak over the largest without the flaw, `throat_area` the throat's over its own
    (both -, (n,)), `peak_head_pressure` [Pa], (n,); NaN where the motor cannot have the flaw.
    """

    flaw: str
    burning_area: Array
    throat_area: Array
    peak_head_pressure: Array


@dataclass(frozen=True)
class Reach:
    """What brings a head pressure: `surplus` more burning area all along the burn (0.2 is a fifth more), or `blocked` of the
    throat covered; (n,) each, negative where the motor is beyond it already, NaN where no pressure is given.
    """

    surplus: Array
    blocked: Array


@dataclass(frozen=True)
class _Burn:
    """The burn of a batch on a grid of regressions: x (n, T), areas of the rows (n, R, T), the law."""

    x: Array
    areas: Array
    law: Balance
    batch: Columns


def flaws(motors: Motors, temperature: Array | None = None) -> tuple[Flaw, ...]:
    """What each flaw does to a motor, one at a time.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    temperature : Array, optional
        Propellant temperature [K], (n,) or scalar; that of the surroundings where not given. The last entry, "hottest soak",
        is the sound motor at the highest of `ambient.soak` whatever is given.

    Returns
    -------
    tuple of Flaw
        "grain cracked through", "grain alight on its outside", "cap lost" (where a face is covered), "throat blocked by 10 %",
        "hottest soak". Of several rows of grains the one is taken in which the flaw gives the highest peak; the flaw is in one
        grain of that row.

    Notes
    -----
    Steady balance: no filling, no erosive burning. Its sound peak differs from that of `steady` by less than 1e-4. Where the
    flawed motor leaves the characterised rows the nearest row is extended. Source: the parts.
    """
    burn = _burn(motors, temperature)
    sound = _peak(burn, burn.areas, np.ones(motors.size))
    found = [
        _in_one_grain(burn, "grain cracked through", cracked_area, sound),
        _in_one_grain(burn, "grain alight on its outside", alight_outside_area, sound),
    ]
    row = burn.batch.grains
    covered = (row.burning_ends < 2.0) & (row.count > 0.0)
    if covered.any():
        lost = _in_one_grain(burn, "cap lost", lost_cap_area, sound)
        some = covered.any(axis=1)
        found.append(
            replace(
                lost,
                burning_area=np.where(some, lost.burning_area, np.nan),
                peak_head_pressure=np.where(some, lost.peak_head_pressure, np.nan),
            )
        )
    left = np.full(motors.size, 1.0 - BLOCKED)
    choked = _peak(burn, burn.areas, left)
    found.append(Flaw(f"throat blocked by {BLOCKED:.0%}".replace("%", " %"), np.ones(motors.size), left, choked[0]))
    hot = _burn(motors, np.max(np.atleast_2d(motors.ambient.soak), axis=1))
    found.append(Flaw("hottest soak", np.ones(motors.size), np.ones(motors.size), _peak(hot, hot.areas, np.ones(motors.size))[0]))
    return tuple(found)


def to_reach(motors: Motors, head_pressure: Array, temperature: Array | None = None) -> Reach:
    """The burning-area surplus, and the blocked part of the throat, that bring a head pressure.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    head_pressure : Array
        Head pressure to be reached [Pa], (n,) or scalar: the likely pressure of a rung.
    temperature : Array, optional
        Propellant temperature [K], as in `flaws`.

    Notes
    -----
    The surplus multiplies the burning area all along the burn. Within one row of the rate law with exponent n the surplus is
    (p/p0)^(1 − n) − 1, and the part of the throat left (p0/p)^(1 − n) where the port takes no pressure; here the balance is
    solved across rows, and a smaller throat takes less pressure from the port. Source: steady mass balance.
    """
    burn = _burn(motors, temperature)
    wanted = np.broadcast_to(np.asarray(head_pressure, dtype=float), (motors.size,))
    total = burn.areas.sum(axis=1) / burn.batch.throat_area[:, None]
    ratio = np.exp(_log_head_ratio(burn, burn.areas, np.ones(motors.size)))
    with np.errstate(invalid="ignore", divide="ignore"):
        needed = _kn_at(burn.law, wanted[:, None] / ratio)
        factor = np.where(total > 0.0, needed / total, np.inf).min(axis=1)
    factor = np.where(np.isfinite(wanted), factor, np.nan)
    return Reach(factor - 1.0, _blocked(burn, wanted))


def _blocked(burn: _Burn, wanted: Array) -> Array:
    """By halving: the head pressure falls as the throat grows, port and all."""
    low, high = np.full(wanted.shape, -1.0), np.full(wanted.shape, 0.999)
    for _ in range(40):
        middle = 0.5 * (low + high)
        enough = _peak(burn, burn.areas, 1.0 - middle)[0] >= wanted
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return np.where(np.isfinite(wanted), 0.5 * (low + high), np.nan)


def _burn(motors: Motors, temperature: Array | None) -> _Burn:
    batch = columns(motors, temperature)
    webs = grain.web(batch.grains)
    share = np.linspace(0.0, 1.0, STEPS)
    whole = share * webs.max(axis=1, keepdims=True)
    ends = np.concatenate([webs * (1.0 - 1e-9), 0.25 * (batch.outer_diameter - batch.core_diameter) * (1.0 - 1e-9)], axis=1)
    if batch.grains.caps:
        bends = np.where(faces.capped(batch.grains)[:, :, None], faces.breaks(faces.covered_grain(batch.grains)), 0.0)
        ends = np.concatenate([ends, bends.reshape(len(ends), -1) * (1.0 - 1e-9)], axis=1)
    x = np.sort(np.concatenate([whole, ends], axis=1), axis=1)
    return _Burn(x, _rows(batch.grains, x, grain.burning_area), balance(batch), batch)


def _rows(grains: Grains, x: Array, area: Callable[[Grains, Array], Array]) -> Array:
    """Areas (n, R, T) of rows at regressions (n, T)."""
    return area(_tall(grains), x[:, None, :])


def _tall(grains: Grains) -> Grains:
    """The rows with a last axis for regressions."""
    return grains.mapped(lambda leaf: np.atleast_2d(leaf)[:, :, None])


def _in_one_grain(burn: _Burn, name: str, area: Callable[[Grains, Array], Array], sound: tuple[Array, Array]) -> Flaw:
    """The flaw in one grain of the row in which it does most."""
    grains = burn.batch.grains
    flawed = _rows(grains, burn.x, area)
    one = _rows(replace(grains, count=np.ones_like(grains.count)), burn.x, grain.burning_area)
    best = np.full(burn.x.shape[0], np.nan)
    largest = best.copy()
    for row in range(burn.areas.shape[1]):
        areas = burn.areas.copy()
        areas[:, row] += np.where(grains.count[:, row, None] > 0.0, flawed[:, row] - one[:, row], np.nan)
        peak, total = _peak(burn, areas, np.ones(best.shape))
        more = ~(peak <= best) & ~np.isnan(peak)
        best, largest = np.where(more, peak, best), np.where(more, total, largest)
    return Flaw(name, largest / sound[1], np.ones(best.shape), best)


def _peak(burn: _Burn, areas: Array, throat: Array) -> tuple[Array, Array]:
    """Highest head pressure [Pa] and the burning area [m2] there, (n,), with the throat's area times `throat`."""
    total = areas.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        log_pressure = burn.law.log_pressure(total / (burn.batch.throat_area * throat)[:, None])
        head = np.exp(log_pressure + _log_head_ratio(burn, areas, throat))
    spot = np.argmax(np.where(np.isnan(head), -np.inf, head), axis=1)
    at = np.arange(spot.size)
    return head[at, spot], total[at, spot]


def _log_head_ratio(burn: _Burn, areas: Array, throat: Array) -> Array:
    """log of head over chamber pressure, (n, T): the narrowest port for what passes through it, as in the steady kernel."""
    batch = burn.batch
    port = grain.port_area(_tall(batch.grains), burn.x[:, None, :])
    passed = np.cumsum(areas, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = passed / passed[:, -1:]
        ratio = port / (share * (batch.throat_area * throat)[:, None, None])
    ratio = np.where(np.isnan(ratio) | (batch.count[:, :, None] <= 0.0), np.inf, ratio).min(axis=1)
    finite = np.isfinite(ratio)
    log_ratio = nozzle.log_head_ratio(np.log(np.where(finite, ratio, 1e9)), batch.gamma[:, None])
    return np.where(finite, log_ratio, 0.0)


def _kn_at(law: Balance, pressure: Array) -> Array:
    """Kn at which each motor reaches pressures (n, T)."""
    motor = np.broadcast_to(np.arange(pressure.shape[0])[:, None], pressure.shape)
    return np.asarray(law.kn_at(pressure.ravel(), motor.ravel()).reshape(pressure.shape))
