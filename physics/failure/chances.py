"""What lets go first, and how likely anything does: strengths and formulas scattered, tests counted.

Owns the estimator. A rung holds where ln(strength) = ln(likely) + s·z + σ·e lies over ln(what it meets): z is shared by
all rungs of one lot (one tube, one box of screws, one bar), e is the rung's own. Over e the chance is the normal distribution
itself, over the z of each lot an integral: at given dimensions lots are independent of each other. So a small chance has a
value and not a bound from counting. What a test has shown cuts e off, and weighs the z: what was held makes weak lots less
likely. Source: derived here. Imports numpy, scipy and, from physics, ladder, motors and scatter.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import ndtr, ndtri, stdtrit

from physics.failure.ladder import MODES, end_of, may_be_first
from physics.failure.scatter import BAND, Certainty, certainty
from physics.motors import Array, Figures, Ladder, Motors, Rung

Key = tuple[str, str]
"""A rung by mode and part."""

SCRAMBLES = 8
"""Independent scrambles of the Sobol points, from which the interval comes."""
POINTS = 4096
"""Points that shares of the first to fail are counted on."""
CONFIDENCE = 0.95
ANOTHER_COPY = "another copy: "
"""What stands before a lot of hardware that is not that of the firing."""


@dataclass(frozen=True)
class Tested:
    """What one test says of one rung: that its strength lies over the level it met, or not.

    `margin` is ln(likely strength at the test over the level met), (n,) or (). `held` False: it failed or leaked there.
    `copy` True: the strength was another lot's, so that only the formula's share learns. `gone`: it was of this lot, and what
    did not hold is replaced; the chances learn as of a copy, the band of what was tested ends there.
    """

    __test__ = False  # no test of this program

    key: Key
    margin: Array
    held: bool = True
    copy: bool = False
    gone: bool = False

    @property
    def of_copy(self) -> bool:
        """Whether the strength it tells of is not that of the hardware that will fire."""
        return self.copy or self.gone


@dataclass(frozen=True)
class Estimate:
    """A chance with the 95 % interval from independent scrambles, and the number of points. NaN: tests contradict it."""

    value: float
    low: float
    high: float
    points: int


@dataclass(frozen=True)
class Model:
    """The rungs of a batch: ln(likely over what is met), (n,) each, and how sure each is.

    NaN margins are not known, and count as failed.
    """

    margins: Mapping[Key, Array]
    certainty: Mapping[Key, Certainty]
    tests: Sequence[Tested] = field(default_factory=tuple)

    def lots(self) -> list[str]:
        """Names of the shared deviates, in a fixed order; those of another copy's tests after them."""
        own = {self.certainty[key].lot for key in self.margins}
        copies = {ANOTHER_COPY + self.certainty[one.key].lot for one in self.tests if one.of_copy and one.key in self.margins}
        return sorted(lot for lot in own | copies if lot and lot != ANOTHER_COPY)

    def masses(self, deviates: Mapping[str, Array]) -> tuple[dict[Key, Array], dict[Key, Array]]:
        """For each rung: what the tests leave of its own deviate, and what of that fails in what it meets.

        Parameters
        ----------
        deviates : mapping
            By lot; arrays broadcast against the margins. [-]

        Returns
        -------
        tuple of dict
            Both by rung. [-]
        """
        allowed, fails = {}, {}
        for key, margin in self.margins.items():
            low, high = _window(self, key, deviates)
            meets = _threshold(margin, self.certainty[key], deviates)
            allowed[key] = np.asarray(_mass(low, high))
            fails[key] = _mass(low, np.clip(np.where(np.isnan(meets), np.inf, meets), low, high))
        return allowed, fails


def _threshold(margin: Array, sure: Certainty, deviates: Mapping[str, Array], copy: str = "") -> Array:
    """The rung's own standard deviate below which it does not hold."""
    z = deviates.get(copy + sure.lot, np.asarray(0.0)) if sure.lot else np.asarray(0.0)
    reach = np.asarray(margin) + sure.strength_scatter * z
    if sure.formula_scatter == 0.0:
        return np.where(reach >= 0.0, -np.inf, np.inf)
    return np.asarray(-reach / sure.formula_scatter)


def _mass(low: Array, high: Array) -> Array:
    """Share of a normal deviate between two bounds, kept exact in both tails; 0 where the first lies over the second."""
    flip = low > 0.0
    lower, upper = np.where(flip, -high, low), np.where(flip, -low, high)
    return np.asarray(np.maximum(ndtr(upper) - ndtr(lower), 0.0))


def standard_points(dimensions: int, points: int, seed: int) -> Array:
    """Standard normal deviates at scrambled Sobol points.

    Parameters
    ----------
    dimensions, points : int
        How many deviates a point has, and how many points; a power of two.
    seed : int
        Of the scramble.

    Returns
    -------
    Array
        (points, dimensions) [-].

    References
    ----------
    Sobol 1967 as in scipy.stats.qmc.
    """
    from scipy.stats import qmc  # half a second to import, and many commands draw nothing

    unit = qmc.Sobol(max(dimensions, 1), scramble=True, rng=np.random.default_rng(seed)).random(points)[:, :dimensions]
    return np.asarray(ndtri(np.clip(unit, 1e-12, 1.0 - 1e-12)))


def chances(model: Model, size: int, seed: int = 1) -> tuple[Estimate, dict[Key, Estimate]]:
    """The chance that anything fails, and that each rung does, given what the tests have shown.

    Parameters
    ----------
    model : Model
        Of `size` samples of one motor, `SCRAMBLES` blocks in turn, each a Sobol set of its own; or of one motor as drawn.
    size : int
        How many samples, a power of two.
    seed : int
        Of the points at which lots of other copies are taken; without a test of another copy nothing is drawn.

    Returns
    -------
    Estimate, dict
        Of anything, and of each rung.

    Notes
    -----
    With U_l the chance, at one sample, that the lot l does in every test what was seen and fails all the same, and W_l that it
    does what was seen: Σ over the samples of what is left of Π W_l by Π (W_l − U_l), over Σ Π W_l. The interval is Student's
    over the scrambles. Both are sums over quadrature nodes, of positive terms only, so that nothing is lost to a difference.
    Tests that held never raise the chance of an untested motor, and a further one of this hardware never does; one of another
    copy may raise it a little after one of this hardware, since what speaks for the formula leaves less to be said for this
    metal. Source: conditional probability.
    """
    copies = [lot for lot in model.lots() if lot.startswith(ANOTHER_COPY)]
    drawn = blocks_of_points(len(copies), size, seed + COPIES_APART) if copies else np.zeros((size, 0))
    weight, union = np.ones(size), np.zeros(size)
    each: dict[Key, Array] = {}
    for keys in _by_lot(model):
        parts = [
            _of_lot(model, keys, slice(low, low + CHUNK), {lot: drawn[low : low + CHUNK, k] for k, lot in enumerate(copies)}, size)
            for low in range(0, size, CHUNK)
        ]
        seen, fails = (np.concatenate([part[place] for part in parts]) for place in (0, 1))
        each = {key: failing * seen for key, failing in each.items()}
        each |= {key: weight * np.concatenate([part[2][key] for part in parts]) for key in keys}
        union = union * seen + (weight - union) * fails
        weight = weight * seen
    return estimate(union, weight), {key: estimate(each[key], weight) for key in model.margins}


COPIES_APART = 104729
"""What is added to the seed for lots of hardware that was tested and will not fire."""
CHUNK = 4096
"""Samples that are integrated at once."""
REACH = 8.5
"""Standard deviations to which the deviate of a lot is integrated, and beyond which a rung cannot fail: 1 in 1e17."""
COARSE = 0.25
"""Step of the integral in standard deviations, where the narrowest edge of a lot's rungs is no narrower than twice that."""
FINEST = 0.02
"""The smallest step; a formula without scatter of its own has an edge of no width."""


def _by_lot(model: Model) -> list[list[Key]]:
    """The rungs of each lot; one of no lot stands alone."""
    lots: dict[str, list[Key]] = {}
    for key in model.margins:
        lots.setdefault(model.certainty[key].lot or f"{key[0]}, {key[1]}", []).append(key)
    return list(lots.values())


def _of_lot(
    model: Model, keys: Sequence[Key], rows: slice, copies: Mapping[str, Array], size: int
) -> tuple[Array, Array, dict[Key, Array]]:
    """Chances (n,) over the deviate of one lot: of doing what was seen, of that and failing, and of that and each rung failing."""
    n = min(rows.stop, size) - rows.start
    tests = [replace(one, margin=_rows(one.margin, rows, size)) for one in model.tests if one.key in keys]
    tested = {one.key for one in tests}
    margins = {key: _rows(model.margins[key], rows, size) for key in keys}
    near = [key for key in keys if key in tested or _may_fail(margins[key], model.certainty[key])]
    each = {key: np.zeros(n) for key in keys}
    if not near:
        return np.ones(n), np.zeros(n), each
    z, share = _nodes([model.certainty[key] for key in near])
    part = Model({key: margins[key] for key in near}, model.certainty, tests)
    deviates = {model.certainty[near[0]].lot: z} | {lot: column[:, None] for lot, column in copies.items()}
    allowed, failing = part.masses(deviates)
    seen, union = np.ones((n, 1)), np.zeros((n, 1))
    for key in near:
        union = union * allowed[key] + (seen - union) * failing[key]
        seen = seen * allowed[key]
        others = np.ones((n, 1))
        for other in near:
            others = others * allowed[other] if other != key else others
        each[key] = np.broadcast_to(others * failing[key], (n, len(z))) @ share
    return np.broadcast_to(seen, (n, len(z))) @ share, np.broadcast_to(union, (n, len(z))) @ share, each


def _rows(column: Array, rows: slice, size: int) -> Array:
    return np.asarray(np.broadcast_to(np.ravel(column), (size,))[rows, None])


def _may_fail(margin: Array, sure: Certainty) -> bool:
    """Whether a rung fails in any sample with more than next to no chance."""
    return not bool((margin > REACH * (sure.strength_scatter + sure.formula_scatter)).all())


def _nodes(sures: Sequence[Certainty]) -> tuple[Array, Array]:
    """Standard deviates of a lot and the shares of the normal distribution that they stand for, (m,) each; trapezoids."""
    shared = [sure for sure in sures if sure.lot and sure.strength_scatter > 0.0]
    if not shared:
        return np.zeros(1), np.ones(1)
    edge = min(sure.formula_scatter / sure.strength_scatter for sure in shared)
    half = int(np.ceil(REACH / np.clip(0.5 * edge, FINEST, COARSE)))
    z = np.linspace(-REACH, REACH, 2 * half + 1)
    share = np.exp(-0.5 * z * z)
    return z, share / share.sum()


def estimate(failing: Array, weight: Array) -> Estimate:
    """Ratio of two sums over the samples, with its interval over the scrambles.

    Parameters
    ----------
    failing, weight : Array
        Of each sample, (n,) [-]: how much of it fails, and how much of it does what tests showed.

    Returns
    -------
    Estimate
        NaN where no sample does what the tests showed.

    Notes
    -----
    Student's interval over `SCRAMBLES` blocks, 0 to 1 where fewer than two of them have any weight. Source: textbook.
    """
    size = len(weight)
    total = float(weight.sum())
    if not total > 0.0:
        return Estimate(float("nan"), float("nan"), float("nan"), size)
    value = float(failing.sum()) / total
    blocks = min(SCRAMBLES, size)
    parts = [np.array_split(column, blocks) for column in (failing, weight)]
    sums = [(float(top.sum()), float(bottom.sum())) for top, bottom in zip(*parts, strict=True)]
    ratios = np.array([top / bottom for top, bottom in sums if bottom > 0.0])
    if len(ratios) < 2:
        return Estimate(value, 0.0, 1.0, size)
    reach = float(stdtrit(len(ratios) - 1, 0.5 + 0.5 * CONFIDENCE)) * float(ratios.std(ddof=1)) / np.sqrt(len(ratios))
    return Estimate(value, max(value - reach, 0.0), min(value + reach, 1.0), size)


def blocks_of_points(dimensions: int, points: int, seed: int) -> Array:
    """`SCRAMBLES` independent Sobol sets, one after the other, standard normal.

    Parameters
    ----------
    dimensions, points, seed : int
        As in `standard_points`; every set has `points` over `SCRAMBLES`.

    Returns
    -------
    Array
        (points, dimensions) [-].

    Notes
    -----
    Source: `standard_points`.
    """
    each = max(points // SCRAMBLES, 1)
    return np.concatenate([standard_points(dimensions, each, seed + 7919 * block) for block in range(SCRAMBLES)])[:points]


def certainty_of(motors: Motors, keys: Iterable[Key]) -> dict[Key, Certainty]:
    """How sure each rung named is, for a batch.

    Parameters
    ----------
    motors : Motors
        The batch; strengths that its tolerances scatter bring nothing of their own.
    keys : iterable of tuple of str
        Rungs by mode and part.

    Returns
    -------
    dict
        `Certainty` by rung.

    Notes
    -----
    Heat rungs are as sure as ``scatter.csv`` says here; a single motor's ladder knows better. Source: ``scatter.csv``.
    """
    rows = {row.mode: row for row in MODES}
    return {(mode, part): certainty(mode, rows[mode].kind, motors, end_of(part)) for mode, part in keys}


def model_of(look: Ladder, expected: Array, figures: Figures, tests: Sequence[Tested] = ()) -> Model:
    """The model of a single motor as drawn: what is likely against the expected pressure or the time it must last.

    Parameters
    ----------
    look : Ladder
        The ladder of a batch of one.
    expected : Array
        Maximum expected pressure [Pa], (1,).
    figures : Figures
        How it burns.
    tests : sequence of Tested
        What tests have shown of it.

    Returns
    -------
    Model
        Without advice: nothing is known to happen there.

    Notes
    -----
    Source: derived; see the module.
    """
    lasts = {row.mode: row.lasts for row in MODES}
    margins, sure = {}, {}
    for rung in look.rungs:
        if not may_be_first(rung) or rung.certainty is None:
            continue
        level = figures[lasts.get(rung.mode) or "action_time"] if rung.pressure is None else expected
        with np.errstate(divide="ignore", invalid="ignore"):
            margins[rung.mode, rung.part] = np.log(median_of(rung) / np.ravel(level)[:1])
        sure[rung.mode, rung.part] = rung.certainty
    return Model(margins, sure, tuple(tests))


def median_of(rung: Rung) -> Array:
    """Median of the log-normal of a rung.

    Parameters
    ----------
    rung : Rung
        With its likely value and band.

    Returns
    -------
    ndarray
        Pressure [Pa] or time [s], (n,).

    Notes
    -----
    Where it likely never happens and may all the same (a heat rung whose early end is a time), the median whose 5 % end that
    is: a time that has to last so long fails in 5 of 100 at least. Source: definition of the band.
    """
    likely, low = np.broadcast_arrays(np.ravel(rung.likely), np.ravel(rung.band[0]))
    if rung.scatter > 0.0:
        return np.where(np.isinf(likely) & np.isfinite(low), low * np.exp(BAND * rung.scatter), likely)
    return np.asarray(likely)


def gone_by(rung: Rung, level: float) -> float:
    """Chance that the rung of a single motor has let go by a level.

    Parameters
    ----------
    rung : Rung
        Of a batch of one.
    level : float
        Pressure [Pa] or time [s], as the rung is.

    Returns
    -------
    float
        The normal distribution of its band [-].

    Notes
    -----
    Source: definition of the band.
    """
    with np.errstate(divide="ignore"):
        away = float(np.log(level / np.ravel(rung.likely)[0]))
    return float(away >= 0.0) if rung.scatter == 0.0 else float(ndtr(away / rung.scatter))


def first_to_fail(model: Model, points: int = POINTS, seed: int = 1) -> dict[Key, float]:
    """Share of parts-as-bought in which each rung is the first to fail as the pressure rises, the largest first.

    Parameters
    ----------
    model : Model
        Of one motor at its own conditions.
    points : int
        How many are drawn, a power of two.
    seed : int
        Of the Sobol points; the answer is the same every time.

    Returns
    -------
    dict
        Share of the points [-] by rung; empty where no rung is known, or tests contradict the model.

    Notes
    -----
    Each point draws every lot and every rung's own deviate; the lowest ratio of strength to what it meets names a rung
    (heat: of time to the time it must last). Tests cut off what they rule out. Source: derived here.
    """
    keys = [key for key in model.margins if not bool(np.isnan(model.margins[key]).any())]
    if not keys:
        return {}
    ratios, weight = _drawn(model, keys, points, seed)
    if not weight.sum() > 0.0:
        return {}
    first = np.argmin(ratios, axis=0)
    counted = np.bincount(first, weights=weight, minlength=len(keys)) / weight.sum()
    order = sorted(range(len(keys)), key=lambda place: (-counted[place], place))
    return {keys[place]: float(counted[place]) for place in order}


def bands(model: Model, points: int = POINTS, seed: int = 1) -> dict[Key, tuple[float, float, float]]:
    """What tests leave of each rung that one of them has touched: the 5 % end, the median and the 95 % end.

    Parameters
    ----------
    model, points, seed
        As in `first_to_fail`.

    Returns
    -------
    dict
        By rung, ln of the strength over what it meets at those three shares [-]; a rung that no test has touched is not in
        it, nor is any where tests contradict the model.

    Notes
    -----
    Of what failed the band is that of the part that was tested: it ends where it failed. Source: conditional probability on
    weighted Sobol points.
    """
    tested = replace(model, tests=tuple(replace(one, gone=False) for one in model.tests))
    touched = {one.key for one in model.tests}
    keys = [key for key in model.margins if key in touched and bool(np.isfinite(model.margins[key]).all())]
    if not keys:
        return {}
    ratios, weight = _drawn(tested, keys, points, seed)
    if not weight.sum() > 0.0:
        return {}
    return {key: _shares_of(row, weight, (0.05, 0.5, 0.95)) for key, row in zip(keys, ratios, strict=True)}


def known_bands(model: Model, ladder: Ladder) -> dict[Key, tuple[float, float, float]]:
    """`bands` of a single motor's ladder: the 5 % end, the median and the 95 % end.

    Parameters
    ----------
    model : Model
        That of `model_of`.
    ladder : Ladder
        Of a batch of one.

    Returns
    -------
    dict
        By rung, pressures [Pa] and times [s]; source as `bands`.
    """
    rungs = {(rung.mode, rung.part): rung for rung in ladder.rungs}
    found = {}
    for key, places in bands(model).items():
        middle, margin = float(median_of(rungs[key])[0]), float(np.ravel(model.margins[key])[0])
        low, likely, high = (middle * float(np.exp(place - margin)) for place in places)
        found[key] = (low, likely, high)
    return found


def _shares_of(values: Array, weight: Array, shares: tuple[float, float, float]) -> tuple[float, float, float]:
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    low, middle, high = np.interp(shares, (below - 0.5 * weight[order]) / below[-1], values[order])
    return float(low), float(middle), float(high)


def _drawn(model: Model, keys: Sequence[Key], points: int, seed: int) -> tuple[Array, Array]:
    """ln of strength over what it meets at Sobol points, (keys, points), and how much each point weighs, (points,)."""
    lots = model.lots()
    unit = standard_points(len(lots) + len(keys), points, seed)
    deviates = {lot: unit[:, place] for place, lot in enumerate(lots)}
    allowed, _ = model.masses(deviates)
    weight = np.ones(points)
    for mass in allowed.values():
        weight = weight * mass
    ratios = np.empty((len(keys), points))
    for place, key in enumerate(keys):
        sure, share = model.certainty[key], ndtr(unit[:, len(lots) + place])
        low, high = _window(model, key, deviates)
        e = ndtri(np.clip(ndtr(low) + share * (ndtr(high) - ndtr(low)), 1e-300, 1.0 - 1e-16))
        z = deviates.get(sure.lot, np.zeros(points)) if sure.lot else np.zeros(points)
        ratios[place] = model.margins[key] + sure.strength_scatter * z + sure.formula_scatter * e
    return ratios, weight


def _window(model: Model, key: Key, deviates: Mapping[str, Array]) -> tuple[Array, Array]:
    low, high = np.asarray(-np.inf), np.asarray(np.inf)
    for one in model.tests:
        if one.key == key:
            at = _threshold(one.margin, model.certainty[key], deviates, ANOTHER_COPY if one.of_copy else "")
            low, high = (np.maximum(low, at), high) if one.held else (low, np.minimum(high, at))
    return low, high
