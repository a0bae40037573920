"""What would mend it: single steps of the knobs that raise the lowest rung that falls short, and what each costs.

Every step is a motor read by the reader of motor files; all that can be are reckoned in one batch a kind of motor. Where
one step is not enough, the further steps of those that help are asked once more, together.
Imports the bench, the batch and the knobs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.candidates.batch import assessed_together
from optimizer.inputs import InputError
from optimizer.live.bench import HEAT_MODES, Bench, told_difference, told_figures
from optimizer.live.knobs import Knob, Turned, si_of, turned
from physics.assessment import Assessment
from physics.failure.ladder import ADVICE

MOST = 8
FURTHEST = 12
"""Steps of one knob that are tried where fewer do not mend it."""
HELPS = 0.01
"""A step that raises a factor by less than this share of what is required does not help."""
NOT_ASKED = ("ambient", "shear_plane", "efficiency", "load_sharing", "fitting_factor")
"""Parts and keys whose knobs mend nothing: the weather is not a choice, and what is assumed is not made stronger by a word."""


@dataclass(frozen=True)
class Tried:
    """One knob at another value, and the motor that makes."""

    knob: Knob
    text: str
    steps: int
    direction: int
    made: Turned
    assessment: Assessment
    index: int


@dataclass(frozen=True)
class Question:
    """The rung that is to be mended: of the motor as it is now."""

    mode: str
    part: str
    factor: float
    required: float
    short: bool

    @property
    def said(self) -> str:
        """Mode and part."""
        return f"{self.mode}, {self.part}"


def remedies(bench: Bench, values: Any, follow: bool = True) -> dict[str, Any]:
    """The cheapest single steps from where the knobs stand, for the rung furthest short, else for the lowest one.

    Returns
    -------
    dict
        `asked` (the rung in words, None where there is none), `short` (whether it falls short), `tried` (how many
        motors), `steps`: [{"knob", "value", "text", "gives", "costs", "mends", "breaks"}], best first.

    Raises
    ------
    InputError
        Where the motor cannot be as the knobs stand.
    """
    made = bench.turned(values, follow)
    now = bench.motor(made)
    assessment = assessed_together([now.motors.repeat(2)])[0][0]
    asked = question(assessment)
    if asked is None:
        return {"asked": None, "short": False, "tried": 0, "steps": []}
    marching = asked.mode in HEAT_MODES
    base = dict(made.texts)
    for name in made.derived:
        base.pop(name)
    tried = _tried(bench, base, follow, [(knob, way, 1) for knob in _asked(bench) for way in (-1, 1)], marching)
    helping = [one for one in tried if _gain(one, asked) > HELPS]
    further = [(one.knob, one.direction, steps) for one in helping if not _mends(one, asked) for steps in _enough(one, asked)]
    more = _tried(bench, base, follow, further, marching)
    best = _best([*helping, *more], asked)
    start = told_figures(assessment, 0)
    before = _short(assessment, 0)
    rows = [_row(one, asked, start, before, bench.units) for one in best]
    ranked = sorted(rows, key=lambda row: (not row["mends"], bool(row["breaks"]), row["cost"]))
    return {
        "asked": asked.said,
        "short": asked.short,
        "factor": round(asked.factor, 2),
        "required": round(asked.required, 2),
        "tried": len(tried) + len(more),
        "steps": [{key: value for key, value in row.items() if key != "cost"} for row in ranked[:MOST]],
    }


def question(assessment: Assessment, index: int = 0) -> Question | None:
    """The rung furthest below its required factor, else the one that fails first; None without a rung that is known."""
    found = []
    for rung in assessment.ladder.rungs:
        if rung.kind == ADVICE:
            continue
        factor, required, level = (_at(value, index) for value in (rung.factor, rung.required, rung.pressure))
        if math.isfinite(factor):
            short = required > 0.0 and factor < required
            found.append(
                (not short, factor / required if short else level, Question(rung.mode, rung.part, factor, required, short))
            )
    return min(found, key=lambda one: (one[0], math.inf if math.isnan(one[1]) else one[1]))[2] if found else None


def _at(value: Any, index: int) -> float:
    if value is None:
        return math.nan
    flat = np.atleast_1d(np.asarray(value, dtype=float))
    return float(flat[index if flat.shape[0] > 1 else 0])


def _asked(bench: Bench) -> Iterator[Knob]:
    return (knob for knob in bench.knobs if knob.path[0] not in NOT_ASKED and knob.spec.key not in NOT_ASKED)


def _tried(
    bench: Bench, base: Mapping[str, str], follow: bool, steps: Sequence[tuple[Knob, int, int]], marching: bool
) -> list[Tried]:
    """Every step that makes a motor, assessed together."""
    motors, kept, seen = [], [], set()
    for knob, direction, count in steps:
        text = knob.near(direction, si_of(knob, base.get(knob.name, knob.text)), count)
        if text is None or text == base.get(knob.name, knob.text) or (knob.name, text) in seen:
            continue
        seen.add((knob.name, text))
        made = turned(bench.file, bench.knobs, {**base, knob.name: text}, follow)
        try:
            motors.append(bench.motor(made).motors)
        except InputError:
            continue
        kept.append((knob, text, count, direction, made))
    looks = assessed_together(motors, marching=marching)
    return [Tried(*one, assessment, index) for one, (assessment, index) in zip(kept, looks, strict=True)]


def _enough(one: Tried, asked: Question) -> range:
    """The further steps of a knob worth asking: as many as its gain says are needed, one less and one more."""
    gain = _factor(one, asked) - asked.factor
    if gain <= 0:
        return range(2, 2)
    need = math.ceil((asked.required - asked.factor) / gain) if asked.short else 2
    low = max(2, min(need - 1, FURTHEST))
    return range(low, min(need + 2, FURTHEST) + 1)


def _rung(one: Tried, asked: Question) -> Any:
    return next((r for r in one.assessment.ladder.rungs if (r.mode, r.part) == (asked.mode, asked.part)), None)


def _factor(one: Tried, asked: Question) -> float:
    rung = _rung(one, asked)
    return math.nan if rung is None else _at(rung.factor, one.index)


def _gain(one: Tried, asked: Question) -> float:
    gain = (_factor(one, asked) - asked.factor) / (asked.required or 1.0)
    return gain if math.isfinite(gain) else -math.inf


def _mends(one: Tried, asked: Question) -> bool:
    return _factor(one, asked) >= asked.required


def _best(tried: Sequence[Tried], asked: Question) -> list[Tried]:
    """Of each knob and direction the fewest steps that mend it, else the most that were asked."""
    best: dict[tuple[str, int], Tried] = {}
    for one in sorted(tried, key=lambda one: one.steps):
        key = (one.knob.name, one.direction)
        if key not in best or not (_mends(best[key], asked) if asked.short else True):
            best[key] = one
    return list(best.values())


def _short(assessment: Assessment, index: int) -> set[str]:
    return {
        f"{rung.mode}, {rung.part}"
        for rung in assessment.ladder.rungs
        if not bool(np.broadcast_to(rung.ok, (assessment.motors.size,))[index])
    }


def _row(one: Tried, asked: Question, start: Mapping[str, float | None], before: set[str], units: str) -> dict[str, Any]:
    after = told_figures(one.assessment, one.index)
    factor = _factor(one, asked)
    breaks = sorted(_short(one.assessment, one.index) - before)
    if not bool(np.broadcast_to(one.assessment.fits, (one.assessment.motors.size,))[one.index]):
        breaks.append("it does not fit")
    costs = {name: value for name, value in after.items() if name not in ("maximum_expected_pressure", "smallest_factor")}
    return {
        "knob": one.knob.name,
        "value": one.text,
        "text": f"{one.knob.part}, {one.knob.label}: {one.text}" + (f" ({one.steps} steps)" if one.steps > 1 else ""),
        "gives": f"factor {asked.factor:.2f} → {factor:.2f}",
        "costs": told_difference(start, {**start, **costs}, units),
        "mends": asked.short and factor >= asked.required,
        "breaks": breaks,
        "cost": _cost(start, after),
    }


def _cost(before: Mapping[str, float | None], after: Mapping[str, float | None]) -> float:
    """How far impulse is lost and mass gained, as shares: what a builder pays for a step."""
    total = 0.0
    for name, sign in (("total_impulse", -1.0), ("loaded_mass", 1.0)):
        old, new = before.get(name), after.get(name)
        if old and new is not None:
            total += max(sign * (new / old - 1.0), 0.0) + 0.1 * abs(new / old - 1.0)
    return total
