"""The rungs of a study as terms: which can be assessed somewhere in it, what each depends on, and each as a function.

Owns the asking of a mode about a batch, at the worst corner of its tolerances, with walls marched once for all modes. May
import catalogue, space, tracing and physics.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates.catalogue import Term, variables_of
from optimizer.candidates.space import Space, SpaceError
from optimizer.candidates.tracing import watched_mode
from optimizer.vocabulary import FACTOR
from physics.ballistics import kernel as kernels
from physics.ballistics.corners import moved
from physics.failure import ladder
from physics.missing import NotComputable
from physics.motors import Figures, Motors

Floats = NDArray[np.float64]


def ladder_terms(space: Space) -> list[Term]:
    """The rungs that can be assessed somewhere in the space, with the variables each depends on."""
    if not space.probes():
        raise SpaceError("search", "has a first candidate that the motor file's rules refuse", "see `check` on the base motor")
    burns = [kernels.evaluate(motors, curve=True) for _, motors in space.probes()]
    found = (_term(space, *cell, burns) for cell in ladder.cells(space.probes()[0][1]))
    return [term for term in found if term is not None]


NEVER_SHORT = 1e-9
"""Required factor of an advice rung that is aimed for and not limited."""


def _term(space: Space, row: ladder.Mode, part: str, end: str, burns: Sequence[Figures]) -> Term | None:
    """The rung with what it depends on; None where it can be assessed nowhere.

    What a function reads is settled by what it has read before, so only changes of columns that were read are probed.
    Marching heat is slow, and what it reads changes with the choices of material alone: there numbers are not probed.
    """
    kind_factor = space.study.motor.motors.factors.get(row.kind, ladder.DEFAULT_FACTORS[row.kind])
    required = float(space.study.minimum_factor.get(row.mode, kind_factor))
    aimed = any(aim.name == f"{FACTOR}.{row.mode}" for aim in space.study.objectives)
    if row.kind == ladder.ADVICE and not (required or aimed):
        return None  # nothing is asked of it
    required = required or NEVER_SHORT
    read: set[str] = set()
    assessed = False
    late = bool(row.lasts) or row.marches_heat  # a time is held against the burn, which the finalists have
    for (number, motors), figures in zip(space.probes(), burns, strict=True):
        if number is not None:
            variable = space.variables[number]
            if not variable.columns & read or (row.marches_heat and not variable.is_text):
                continue
        if row.applies(motors, end):
            for some in ends_of_tolerances(motors) if not row.marches_heat else (motors,):
                answer, columns = watched_mode(row.function, some, end, figures)
                read |= columns
                assessed |= answer is not None
    if not assessed:
        return None
    burn = late or bool(read & {"situation.figures", "situation.maximum_expected_pressure"})
    variables = variables_of(space, frozenset(read))
    until = max(required if row.lasts else 0.0, ladder.DEFAULT_FACTORS["heat"]) if row.marches_heat and not aimed else None
    return Term(row.mode, part, row.kind, required, variables, burn, late, _Asked(row, end, until), row.lasts or None)


def ends_of_tolerances(motors: Motors) -> Iterator[Motors]:
    """The motors as drawn, and with every toleranced column at its lower and at its upper end: what a mode reads may be
    settled by what it finds.
    """
    yield motors
    given = {column: one for column, one in motors.tolerances.items() if motors.value(column) is not None}
    for side in (-1.0, 1.0) if given else ():
        yield moved(motors, given, np.full((motors.size, len(given)), side))[0]


_bench: ladder.Bench | None = None


def bench_of(
    motors: Motors, figures: Figures | None, pressure: Floats | None, until: float | None = None, enough: Floats | None = None
) -> ladder.Bench:
    """The bench of a batch: the last one where the same objects are asked about again, so that walls are marched once."""
    global _bench
    known = _bench
    if (
        known is None
        or known.motors is not motors
        or known.figures is not figures
        or known.expected is not pressure
        or known.enough is not enough
        or (known.until != until)
    ):
        burn = None if figures is None else partial(kernels.evaluate, kernel=figures.kernel)
        _bench = known = ladder.Bench(motors, figures, pressure, burn, until=until, enough=enough)
    return known


@dataclass(frozen=True)
class _Asked:
    """A rung as a function of motors, figures and maximum expected pressure: its pressure, or its time as it stands.

    `until` is how many action times a time matters for; what comes later is infinite.
    """

    row: ladder.Mode
    end: str
    until: float | None = None

    def __call__(
        self,
        motors: Motors,
        figures: Figures | None,
        pressure: Floats | None,
        enough: Floats | None = None,
        short: float | None = None,
    ) -> Floats:
        """Values (n,); infinite, which never fails, where the mode does not apply or cannot be assessed; pressures of heat
        over `enough` may be infinite too, and what falls `short` of a factor need not be the lowest.
        """
        if not self.row.applies(motors, self.end):
            return np.full(motors.size, np.inf)
        try:
            with np.errstate(all="ignore"):
                bench = bench_of(motors, figures, pressure, self.until, enough)
                bench.short = short
                value = bench.worst(self.row, self.end).value
        except NotComputable:
            return np.full(motors.size, np.inf)
        return np.broadcast_to(value, (motors.size,))
