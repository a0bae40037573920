"""The worst corner of the tolerances, found by evaluating the quantity in question.

Owns how a toleranced column is moved, and the search for the corner of the tolerances at which a quantity is worst.
Bounds count as they are, a standard deviation three times. Imports numpy and, from physics, motors.

How it is done. Each column is moved alone to both its ends; then all of them to the sides that were worse, and from that
corner each one back to its other side, since effects may turn round where they cross. The worst of all that was
evaluated stands, so it is never better than nominal. Columns that may be worst between their ends (those of a grain, by
name of the caller) are looked at half way too, and the place is then found by golden section. What cannot be computed
at any of these places is not known at all: the answer there is NaN. Lengths [m] and all else in SI units; sides are
shares of a tolerance's reach [-]. Source: interval bounds by evaluation, derived; a check against every corner is kept.

A quantity that is slow to evaluate is sought from a guess (`Corners.worst_from`), the corner that a quick model of it
finds: each column is turned there singly, and from the worst of these again until no turn makes it worse. A guess of
nothing moved starts as the search above does. On 264 random motors with two to eight tolerances the transient kernel's
highest pressure so sought came to that of the search above or up to 0.05 % higher; at worst it was 0.004 % lower.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from physics.motors import RATE_COLUMNS, Array, Motors, Tolerance

Rows = NDArray[np.intp]
Evaluate = Callable[[Motors, Rows], Array]
"""A quantity of a batch made of the motors of these rows of the original batch, (m,)."""

Ask = Callable[[Rows, Array, Rows], Array]
"""A quantity of these rows of a batch at these sides (m, columns), in these settings, (m,)."""

STACKED = 4096
"""Up to so many moved motors are evaluated as one batch."""
SETTLED = 2e-4
"""A search from a guess turns its columns again where a turn made the quantity worse by more than this share."""
_GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)
_STEPS = 16
_ROUNDS = 4
_GUESS, _DRAWN = -1, -2
_GRID = np.array([-0.75, -0.5, -0.25, 0.25, 0.5, 0.75])


@dataclass(frozen=True)
class Corner:
    """Where a quantity is worst: `value` there, `nominal` as drawn, (n,); `sides` (n, columns), −1 to 1, 0 not moved."""

    value: Array
    nominal: Array
    sides: Array


def moves(tolerance: Tolerance) -> bool:
    """Whether a tolerance moves anything at all.

    Parameters
    ----------
    tolerance : Tolerance
        The tolerance.

    Returns
    -------
    bool
    """
    return any(tolerance.reach)


def by_row(column: str) -> bool:
    """Whether a column has one value for each row of grains or of the rate law.

    Parameters
    ----------
    column : str
        The name of the column.

    Returns
    -------
    bool
    """
    return column.startswith("grain.") or column in RATE_COLUMNS


def shifted(motors: Motors, column: str, tolerance: Tolerance, deviation: Array) -> tuple[Array, NDArray[np.bool_]]:
    """One column moved by a deviation; which motors it takes to nothing.

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    column : str
        The name of the column.
    tolerance : Tolerance
        Its tolerance.
    deviation : Array
        (n,), relative [-] or SI as the tolerance is.

    Returns
    -------
    Array
        The column moved, SI.
    ndarray of bool
        Which motors it takes to nothing.

    Notes
    -----
    A dimension of a grain that is zero, such as the core of an end burner, stays so.
    """
    leaf = np.asarray(motors.value(column), dtype=float)
    by = np.asarray(deviation, dtype=float)
    by = by[:, None] if leaf.ndim == 2 or by_row(column) else by
    new = np.asarray(leaf * (1.0 + by) if tolerance.relative else leaf + by)
    if column.startswith("grain."):
        new = np.where(leaf == 0.0, 0.0, new)
    gone = (leaf > 0.0) & (new <= 0.0)
    return new, np.broadcast_to(gone.any(axis=1) if gone.ndim == 2 else gone, (motors.size,))


def moved(motors: Motors, tolerances: Mapping[str, Tolerance], sides: Array) -> tuple[Motors, NDArray[np.bool_]]:
    """A batch at these sides of its tolerances; which motors of it cannot exist.

    Parameters
    ----------
    motors : Motors
        The batch of n motors, SI.
    tolerances : mapping of str to Tolerance
        The tolerances, by column.
    sides : Array
        (n, columns), −1 the lower end, 1 the upper. [-]

    Returns
    -------
    Motors
        The batch moved, SI.
    ndarray of bool
        Which motors cannot exist, a dimension having come to nothing (they stand at nominal).
    """
    values: dict[str, Array] = {}
    none: NDArray[np.bool_] = np.zeros(motors.size, dtype=bool)
    for place, (column, tolerance) in enumerate(tolerances.items()):
        part = sides[:, place]
        if not part.any():
            continue
        minus, plus = tolerance.reach
        values[column], gone = shifted(motors, column, tolerance, np.where(part < 0.0, part * minus, part * plus))
        none |= gone
    if none.any():
        for column, new in values.items():
            leaf = np.asarray(motors.value(column), dtype=float)
            values[column] = np.where(np.reshape(none, (-1, *(1,) * (new.ndim - 1))), leaf, new)
    return motors.with_values(values), none


class Corners:
    """The corners of some tolerances of one batch; what is moved alone is made once for whoever asks next."""

    def __init__(self, motors: Motors, tolerances: Mapping[str, Tolerance], between: Iterable[str] = ()) -> None:
        self.motors, self.tolerances = motors, {name: one for name, one in tolerances.items() if moves(one)}
        inner = set(between)
        self._alone = [
            (place, part) for place, name in enumerate(self.tolerances)
            for part in ((-1.0, -0.5, 0.5, 1.0) if name in inner else (-1.0, 1.0))
        ]  # fmt: skip
        self._between = [place for place, name in enumerate(self.tolerances) if name in inner]
        self._stack: tuple[Motors, Rows, NDArray[np.bool_]] | None = None
        self._boxes: tuple[Motors, Rows, NDArray[np.bool_]] | None = None

    @property
    def names(self) -> list[str]:
        """The columns, in the order of `Corner.sides`."""
        return list(self.tolerances)

    def will_return(self, batch: Motors) -> bool:
        """Whether a batch is one that is made once for whoever asks next.

        Parameters
        ----------
        batch : Motors
            The batch.

        Returns
        -------
        bool
        """
        return any(kept is not None and kept[0] is batch for kept in (self._stack, self._boxes))

    def worst(self, evaluate: Evaluate, highest: bool) -> Corner:
        """The corner at which `evaluate` is highest, or lowest.

        Parameters
        ----------
        evaluate : Evaluate
            The quantity of a batch made of the motors of some rows, (m,).
        highest : bool
            Whether the highest value is the worst.

        Returns
        -------
        Corner
            Value and nominal, (n,), in the unit of `evaluate`; sides (n, columns) [-].

        Notes
        -----
        See the module.
        """
        size, count = self.motors.size, len(self.tolerances)
        sign = 1.0 if highest else -1.0
        if not count or not size:
            nominal = np.asarray(evaluate(self.motors, np.arange(size)), dtype=float)
            return Corner(nominal, nominal, np.zeros((size, count)))

        def at(rows: Rows, sides: Array) -> Array:
            some = self.motors.take(rows)
            batch, none = moved(some, self.tolerances, sides)
            return np.where(none, np.nan, sign * evaluate(batch, rows))

        nominal, alone = self._evaluated_alone(evaluate)
        alone = sign * alone
        best = sign * nominal
        unknown = np.isnan(best) | np.isnan(alone).any(axis=1)
        sides = np.zeros((size, count))
        for place in range(count):
            columns = [at for at, (of, _) in enumerate(self._alone) if of == place]
            parts = np.array([0.0, *(self._alone[column][1] for column in columns)])
            table = np.column_stack([sign * nominal, alone[:, columns]])
            chosen = np.argmax(np.where(np.isnan(table), -np.inf, table), axis=1)
            sides[:, place] = parts[chosen]
            if place in self._between:
                inside = np.flatnonzero((np.abs(sides[:, place]) < 1.0) & (np.ptp(table, axis=1) > 0.0))
                if inside.size:
                    sides[inside, place] = self._golden(at, inside, place, np.where(np.arange(count) == place, sides[inside], 0.0))
        alone = np.where(np.isnan(alone), -np.inf, alone)
        single = np.zeros((len(self._alone), count))
        for row, (place, part) in enumerate(self._alone):
            single[row, place] = part
        better = alone.max(axis=1) > best
        held = np.where(better[:, None], single[alone.argmax(axis=1)], 0.0)
        best = np.where(better, alone.max(axis=1), best)
        self._joined(at, sides, best, held, unknown)
        for place in self._between:
            self._drawn_in(at, place, best, held, unknown)
        return Corner(np.where(unknown, np.nan, sign * best), nominal, np.where(unknown[:, None], 0.0, held))

    def _joined(
        self, at: Callable[[Rows, Array], Array], sides: Array, best: Array, held: Array, unknown: NDArray[np.bool_]
    ) -> None:
        """All columns at their worse sides together, then each turned round; writes into `best`, `held`, `unknown`."""
        many = (sides != 0.0).sum(axis=1)
        inside = ((sides != 0.0) & (np.abs(sides) < 1.0)).any(axis=1)
        rows = np.flatnonzero(((many > 1) | inside) & ~unknown)
        if not rows.size:
            return
        trials = [(rows, sides[rows])]
        for place in range(sides.shape[1]):
            some = rows[(sides[rows, place] != 0.0) & (many[rows] > 1)]
            if some.size:
                turned = sides[some].copy()
                turned[:, place] = -np.sign(turned[:, place])
                trials.append((some, turned))
        for (some, where), found in zip(trials, self._tried(at, trials), strict=True):
            unknown[some] |= np.isnan(found)
            better = found > best[some]
            best[some[better]], held[some[better]] = found[better], where[better]

    def _drawn_in(
        self, at: Callable[[Rows, Array], Array], place: int, best: Array, held: Array, unknown: NDArray[np.bool_]
    ) -> None:
        """Where a column stands at its end and a little less is worse, find how much; writes into its arguments."""
        rows = np.flatnonzero((np.abs(held[:, place]) == 1.0) & ~unknown)
        if not rows.size:
            return
        less = held[rows].copy()
        less[:, place] *= 0.99
        rows = rows[at(rows, less) > best[rows]]
        if not rows.size:
            return
        less = held[rows].copy()
        less[:, place] = self._golden(at, rows, place, held[rows])
        found = at(rows, less)
        better = found > best[rows]
        best[rows[better]], held[rows[better]] = found[better], less[better]

    def worst_from(self, ask: Ask, start: Array, highest: bool, settings: NDArray[np.bool_] | None = None) -> Corner:
        """The corner at which `ask` is highest, or lowest, sought from a guess: as safe as `worst`, with fewer questions.

        Parameters
        ----------
        ask : callable
            The quantity of rows at sides in settings; NaN where it is not known. All questions of a round come at once.
        start : ndarray, (n, columns)
            The guess of each motor, sides [-].
        highest : bool
            Whether the highest value is the worst.
        settings : ndarray of bool, (n, settings), optional
            Which settings beside columns (temperatures, say) each motor is asked in; the first of all.

        Returns
        -------
        Corner
            Value and nominal, (n,), in the unit of `ask`; sides (n, columns) [-].

        Notes
        -----
        Validity: a corner that differs from the guess in two columns that each make it better singly is not seen; a test
        holds the answer against `worst` on random motors.

        References
        ----------
        Derived, a descent by coordinates.
        """
        size = self.motors.size
        which = np.ones((size, 1), dtype=bool) if settings is None else settings  # the first is that of the guess
        climb = _Climb(self, ask, 1.0 if highest else -1.0, which)
        climb.ascend(np.asarray(start, dtype=float))
        value = np.where(climb.unknown, np.nan, climb.sign * climb.best)
        return Corner(value, climb.sign * climb.nominal, np.where(climb.unknown[:, None], 0.0, climb.held))

    @staticmethod
    def _tried(at: Callable[[Rows, Array], Array], trials: list[tuple[Rows, Array]]) -> list[Array]:
        """What each trial comes to; small ones are one batch."""
        lengths = [len(rows) for rows, _ in trials]
        if sum(lengths) > STACKED:
            return [at(rows, where) for rows, where in trials]
        whole = at(np.concatenate([rows for rows, _ in trials]), np.concatenate([where for _, where in trials]))
        return np.split(whole, np.cumsum(lengths)[:-1])

    def _golden(self, at: Callable[[Rows, Array], Array], rows: Rows, place: int, around: Array) -> Array:
        """Where near these sides (rows, columns) one column is worst, the others held, (rows,)."""
        low, high = np.maximum(around[:, place] - 0.5, -1.0), np.minimum(around[:, place] + 0.5, 1.0)
        sides = around.copy()

        def value(part: Array) -> Array:
            sides[:, place] = part
            found = at(rows, sides.copy())
            return np.where(np.isnan(found), -np.inf, found)

        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        on_left, on_right = value(left), value(right)
        for _ in range(_STEPS):
            go_left = on_left > on_right
            low, high = np.where(go_left, low, left), np.where(go_left, right, high)
            fresh = np.where(go_left, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
            found = value(fresh)
            left, right = np.where(go_left, fresh, right), np.where(go_left, left, fresh)
            on_left, on_right = np.where(go_left, found, on_right), np.where(go_left, on_left, found)
        return np.asarray(np.where(on_left > on_right, left, right))

    def _evaluated_alone(self, evaluate: Evaluate) -> tuple[Array, Array]:
        """The quantity at nominal, (n,), and with each column moved alone to each of its places, (n, places)."""
        size, count = self.motors.size, len(self.tolerances)
        if size * (len(self._alone) + 1) <= STACKED:
            if self._stack is None:
                sides = np.zeros((len(self._alone) + 1, count))
                for row, (place, part) in enumerate(self._alone):
                    sides[row + 1, place] = part
                self._stack = self._stacked(sides)
            batch, rows, none = self._stack
            table = np.where(none, np.nan, evaluate(batch, rows)).reshape(size, len(self._alone) + 1)
            return table[:, 0], table[:, 1:]
        nominal = np.asarray(evaluate(self.motors, np.arange(size)), dtype=float)
        found = []
        for place, part in self._alone:
            sides = np.zeros((size, count))
            sides[:, place] = part
            batch, none = moved(self.motors, self.tolerances, sides)
            found.append(np.where(none, np.nan, evaluate(batch, np.arange(size))))
        return nominal, np.column_stack(found)

    def _stacked(self, sides: Array) -> tuple[Motors, Rows, NDArray[np.bool_]]:
        """Every motor at each of these sides, copies of one motor next to each other."""
        size, times = self.motors.size, len(sides)
        batch, none = moved(self.motors.repeat(times), self.tolerances, np.tile(sides, (size, 1)))
        return batch, np.repeat(np.arange(size), times), none

    def worst_of_box(self, evaluate: Evaluate, highest: bool) -> Corner:
        """The same over every corner of the box and nominal, all as one batch that is made once.

        Parameters
        ----------
        evaluate : Evaluate
            The quantity of a batch made of the motors of some rows, (m,).
        highest : bool
            Whether the highest value is the worst.

        Returns
        -------
        Corner
            Value and nominal, (n,), in the unit of `evaluate`; sides (n, columns) [-].
        """
        size, count = self.motors.size, len(self.tolerances)
        if not count or not size:
            nominal = np.asarray(evaluate(self.motors, np.arange(size)), dtype=float)
            return Corner(nominal, nominal, np.zeros((size, count)))
        box = np.array([np.zeros(count), *product((-1.0, 1.0), repeat=count)])
        if self._boxes is None:
            self._boxes = self._stacked(box)
        batch, rows, none = self._boxes
        table = np.where(none, np.nan, evaluate(batch, rows)).reshape(size, len(box))
        place = np.argmax(np.where(np.isnan(table), -np.inf, table if highest else -table), axis=1)
        unknown = np.asarray(np.isnan(table).any(axis=1))
        value, nominal, sides = table[np.arange(size), place], table[:, 0], box[place]
        return Corner(np.where(unknown, np.nan, value), nominal, np.where(unknown[:, None], 0.0, sides))


class _Climb:
    """A search for the highest value of `sign` times a quantity from a guess; see `Corners.worst_from`."""

    def __init__(self, corners: Corners, ask: Ask, sign: float, settings: NDArray[np.bool_]) -> None:
        size, count = corners.motors.size, len(corners.tolerances)
        self.corners, self.ask, self.sign, self.settings = corners, ask, sign, settings
        self.reach = np.array([one.reach for one in corners.tolerances.values()]).reshape(count, 2)
        self.held, self.place = np.zeros((size, count)), np.zeros(size, dtype=np.intp)
        self.nominal, self.best = np.full(size, np.nan), np.full(size, -np.inf)
        self.unknown: NDArray[np.bool_] = np.zeros(size, dtype=bool)
        self._open: dict[int, NDArray[np.bool_]] = {place: np.zeros(size, dtype=bool) for place in corners._between}

    def ascend(self, start: Array) -> None:
        """Round by round until no turn helps, then the places between the ends of a column, and again where those help."""
        rows, sides = np.arange(self.corners.motors.size), start.copy()
        setting = np.zeros(rows.size, dtype=np.intp)
        first = True
        for _ in range(_ROUNDS):
            while rows.size:
                rows = self._round(rows, sides[rows], setting[rows], first)
                sides, setting, first = self.held.copy(), self.place.copy(), False
            before = self.best.copy()
            for place, open_ in self._open.items():
                self._between(place, np.flatnonzero(open_ & ~self.unknown))
            sides, setting = self.held.copy(), self.place.copy()
            rows = np.flatnonzero(self._gained(before, self.best) & ~self.unknown)
            if not rows.size:
                break

    @staticmethod
    def _gained(before: Array, after: Array) -> NDArray[np.bool_]:
        with np.errstate(invalid="ignore"):
            return np.asarray((after - before > SETTLED * np.abs(before)) | (np.isinf(before) & (after > before)))

    def _round(self, rows: Rows, sides: Array, setting: Rows, first: bool) -> Rows:
        """Everything that may be turned at these sides, turned singly; the rows in which that helped."""
        trials: list[tuple[Rows, Array, Rows]] = []
        labels: list[tuple[int, float]] = []

        def add(place: int, part: float, some: Rows, where: Array, at: Rows) -> None:
            trials.append((some, where, at))
            labels.append((place, part))

        for place in range(sides.shape[1]):
            for part, some in self._turns(place, sides[:, place]):
                turned = sides[some].copy()
                turned[:, place] = part
                add(place, part, some, turned, setting[some])
        for number in range(self.settings.shape[1]):
            some = np.flatnonzero(self.settings[rows, number] & (setting != number))
            add(sides.shape[1], number, some, sides[some], np.full(some.size, number))
        if first:
            away = np.flatnonzero(sides.any(axis=1))
            add(_DRAWN, 0.0, away, np.zeros_like(sides[away]), setting[away])
            add(_GUESS, 0.0, np.arange(rows.size), sides, setting)
        if not trials:
            return rows[:0]
        before = self.best[rows]
        found = self._asked([(rows[some], where, at) for some, where, at in trials])
        if first:
            before = found[-1]
            self.nominal[rows] = found[-1]
            self.nominal[rows[trials[-2][0]]] = found[-2]
        for (some, where, at), values in zip(trials, found, strict=True):
            self._note(rows[some], where, at, values)
        return self._joined(rows, sides, setting, before, [
            (place, part, some, values) for (some, _, _), (place, part), values in zip(trials, labels, found, strict=True)
            if place >= 0
        ])  # fmt: skip

    def _joined(self, rows: Rows, sides: Array, setting: Rows, before: Array, turns: list[tuple[int, float, Rows, Array]]) -> Rows:
        """All columns at their worse sides together, after a round; the rows to go on with."""
        count = sides.shape[1]
        joined = np.column_stack([sides, setting])
        top = np.tile(before[:, None], (1, count + 1))
        bottom = top.copy()
        for place, part, some, values in turns:
            better = values > top[some, place]
            top[some[better], place] = values[better]
            bottom[some, place] = np.fmin(bottom[some, place], values)
            joined[some[better], place] = part
        some = np.flatnonzero(((joined != np.column_stack([sides, setting])).sum(axis=1) > 1) & ~self.unknown[rows])
        if some.size:
            at = joined[some, count].astype(np.intp)
            values = self._asked([(rows[some], joined[some, :count], at)])[0]
            self._note(rows[some], joined[some, :count], at, values)
        with np.errstate(invalid="ignore"):
            least = SETTLED * np.abs(before)
            for place, open_ in self._open.items():
                open_[rows] = (np.abs(self.held[rows, place]) < 1.0) & (top[:, place] - bottom[:, place] > 0.01 * least)
        return rows[self._gained(before, self.best[rows]) & ~self.unknown[rows]]

    def _turns(self, place: int, at: Array) -> list[tuple[float, Rows]]:
        """Where a column that stands at these sides is tried: each place, and which of the motors."""
        minus, plus = self.reach[place]
        ends = [(-1.0, minus), (1.0, plus)]
        found = [(end, np.flatnonzero(at != end)) for end, by in ends if by > 0.0]
        if place in self._open:
            for end, by in ends:
                if by > 0.0:
                    found.append((0.99 * end, np.flatnonzero(at == end)))
                    found.append((0.5 * end, np.flatnonzero((at == end) | (np.abs(at) < 0.5))))
        return [(part, some) for part, some in found if some.size]

    def _between(self, place: int, rows: Rows) -> None:
        """The worst place of one column near where it stands, by two rounds of places side by side."""
        width = 0.5
        for _ in range(3):
            if not rows.size:
                return
            around, setting = self.held[rows], self.place[rows]
            trials = []
            for share in _GRID:
                where = around.copy()
                where[:, place] = np.clip(around[:, place] + share * width, -1.0, 1.0)
                trials.append((rows, where, setting))
            for (some, where, at), values in zip(trials, self._asked(trials), strict=True):
                self._note(some, where, at, values)
            width *= 0.25

    def _note(self, rows: Rows, sides: Array, setting: Rows, values: Array) -> None:
        self.unknown[rows] |= np.isnan(values)
        better = values > self.best[rows]
        some = rows[better]
        self.best[some], self.held[some], self.place[some] = values[better], sides[better], setting[better]

    def _asked(self, trials: list[tuple[Rows, Array, Rows]]) -> list[Array]:
        """What each trial comes to, all asked together."""
        rows, sides, setting = (np.concatenate(parts) for parts in zip(*trials, strict=True))
        values = self.sign * np.asarray(self.ask(rows, sides, setting), dtype=float)
        return np.split(values, np.cumsum([len(some) for some, _, _ in trials])[:-1])
