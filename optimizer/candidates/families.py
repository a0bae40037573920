"""Families of candidates: one outside each (what the kernel sees), with the whole inner catalogue solved inside it.

Owns how a study is split into outer variables (ballistics and geometry) and inner ones (closures, materials, seals),
the evaluation of a block of outsides with every limit counted over the whole family, and the rows that a family puts
forward. Both drivers go through it. May import space, limits, patterns, front and physics.

`rejected` counts candidates, each limit alone: a candidate that breaks three limits counts under each of the three.
Candidates that geometry rules out are counted under that reason and no other. Rungs that march heat ("late" rungs) are
asked of what passes everything else: inside the block where they read no inner variable, else of finalists (`judges`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from optimizer.candidates import limits
from optimizer.candidates.catalogue import (
    Catalogue,
    Patterns,
    Table,
    Term,
    count_within,
    limit_name,
    part_variables,
    probe_columns,
    tabulate,
    variables_of,
)
from optimizer.candidates.heated import heated
from optimizer.candidates.limits import Aim, Bound, Rules, objective_columns, rules_of
from optimizer.candidates.samples import robust_columns, too_wide
from optimizer.candidates.space import Space, SpaceError
from optimizer.candidates.terms import ladder_terms
from optimizer.vocabulary import FACTOR
from physics.assembly import SHAPES, assemble
from physics.ballistics import kernel as kernels
from physics.ballistics.transient.layout import free_volume
from physics.failure import ladder
from physics.figures import FLIGHT_FIGURES
from physics.fit import fit
from physics.flight.mission import Flights, fly_motors
from physics.mass import PARTS, part_mass, unknown_masses
from physics.motors import Figures, Motors

if TYPE_CHECKING:
    from optimizer.inputs import Study

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

REFUSED = "parts that do not fit each other"
SMALL_TABLE = 200_000
MOST_SAMPLED = 500_000
"""Motors of which columns over the tolerances are kept in memory."""
_GEOMETRY = ("case.outer_diameter", "case.wall", "case.length", "liner.thickness", "airframe.")
_ALWAYS_BALLISTIC = ("propellant.", "grain.", "nozzle.throat", "nozzle.exit", "ambient.")


@dataclass(frozen=True)
class Block:
    """What a block of outsides came to.

    `rows` holds the outsides with at least one good pattern, as float64 columns named by `Families.columns`; `rejected`
    and `feasible` count candidates over the whole families.
    """

    rows: Floats
    rejected: Mapping[str, int]
    feasible: int
    evaluated: int


class Families:
    """The families of a study under one kernel."""

    def __init__(self, study: Study, kernel: str = "steady") -> None:
        self.study, self.kernel = study, kernel
        self.space = Space(study)
        self.rules: Rules = rules_of(study)
        self.terms = ladder_terms(self.space)
        self._split()
        late = {number for term in self.terms if term.late for number in term.variables}
        self.late_terms = [term for term in self.terms if term.late]
        self.settled_terms = [term for term in self.late_terms if not term.variables & set(self.inner)]
        self.open_terms = [term for term in self.late_terms if term.variables & set(self.inner)]
        early = [term for term in self.terms if not term.late]
        self.catalogue = Catalogue(self.space, self.rules, early, self.inner, late | self._seen_by_transient())
        self._check_weighed()
        self.outer_terms = [term for term in early if not term.variables & set(self.inner)]
        self._outer_tables = {id(term): self._outer_table(term) for term in self.outer_terms}
        self._outer_parts = [part for part in PARTS if part not in self.catalogue.mass_tables]
        self._check_rules()
        self._known_samples: dict[bytes, Floats] = {}
        self.outer_aims = [aim for aim in self.rules.aims if not self._is_crossed(aim.name)]
        self.columns = [*(f"#{self.space.names[number]}" for number in self.outer), "pressure", "floor", "mass",
                        "propellant", *dict.fromkeys(aim.name for aim in self.outer_aims)]  # fmt: skip

    # --- the split --------------------------------------------------------------------------------------------------

    def _split(self) -> None:
        names = range(len(self.space.variables))
        read = probe_columns(self.space, lambda motors: self._burn(_bare(motors) if self.kernel == "steady" else motors))
        ballistic = set(variables_of(self.space, read))
        outside = {
            number for number in names if any(c.startswith((*_GEOMETRY, *_ALWAYS_BALLISTIC))
                                              for c in self.space.variables[number].columns)
        }  # fmt: skip
        burn = {number for term in self.terms if term.burn and not term.late for number in term.variables}
        flying = self._flown_by()
        burn |= flying
        self._flying = sorted(flying | ballistic)
        ballistic |= {number for number in outside if self._moves_ballistics(number)}
        self.ballistic = sorted(ballistic)
        self.outer = [*self.ballistic, *sorted((outside | burn | self._shaping(outside)) - ballistic)]
        if any(column.of_ladder for column in self.rules.scatter) or self.aimed_modes:
            # Under the tolerances a ladder is no table of a few variables, and where single rungs are aimed for no
            # pattern stands for another: each candidate is a family of its own.
            self.outer += [number for number in names if number not in self.outer]
        # No pattern stands for another in what is aimed for itself.
        self.outer += [number for number in self.aimed_variables.values() if number not in self.outer]
        self.inner = [number for number in names if number not in self.outer]
        self.outer_radices = tuple(self.space.radices[number] for number in self.outer)

    def _flown_by(self) -> set[int]:
        """Variables that a flight depends on: no pattern may hold one, for an apogee is no simple function of a mass."""
        if not self.rules.flown:
            return set()
        name, base = self.rules.flown[0], self.study.motor.motors
        if base.rocket is None or base.launch is None:
            raise SpaceError(name, "needs a rocket that flies", "add [rocket] and [launch] to the motor file")
        missing = [unknown_masses(motors) for _, motors in self.space.probes()]
        if missing and all(missing):
            fix = "give the missing keys, or masses.empty as weighed"
            raise SpaceError(name, f"cannot be told, for the motor's mass is not known ({'; '.join(missing[0])})", fix)
        read = probe_columns(self.space, lambda motors: self._fly(motors, self._burn_to_fly(motors)))
        return set(variables_of(self.space, read))

    def _check_weighed(self) -> None:
        """Refuse a weighed empty mass where what is searched changes what was weighed."""
        if self.study.motor.motors.masses is None:
            return
        for part in PARTS:
            moving = set() if part == "propellant" else part_variables(self.space, part)
            if moving:
                name = self.space.names[min(moving)]
                raise SpaceError(
                    "masses.empty", f"was weighed of one motor, and {name} changes what it weighs",
                    "leave [masses] out, so that the parts are summed, or search what is inside the same hardware",
                )  # fmt: skip

    @property
    def aimed_modes(self) -> list[str]:
        """Modes whose own factor is an objective."""
        return [aim.name.partition(".")[2] for aim in self.rules.aims if aim.name.startswith(f"{FACTOR}.")]

    @property
    def aimed_variables(self) -> dict[str, int]:
        """Variables that are objectives themselves, by name, with their numbers: the fewest screws, say."""
        names = {aim.name for aim in self.rules.aims}
        return {one.name: number for number, one in enumerate(self.space.variables) if one.name in names and not one.is_text}

    def _shaping(self, outside: set[int]) -> set[int]:
        """Variables that decide whether the parts can exist and go together; no pattern may hold such a one.

        A rule that no candidate breaks decides nothing, and its variables may stay inside.
        """
        found: set[int] = set()
        if any(not assemble(motors).not_assessed for _, motors in self.space.probes()):
            found |= variables_of(self.space, probe_columns(self.space, assemble))
        for shape in SHAPES:
            numbers = variables_of(self.space, probe_columns(self.space, shape.which))
            if numbers <= outside | found:
                continue
            size = int(np.prod([self.space.radices[number] for number in numbers], dtype=float))
            broken = partial(_broken, which=shape.which)
            if size > SMALL_TABLE or tabulate(self.space, sorted(numbers), broken).values.any():
                found |= numbers
        return found

    def _moves_ballistics(self, number: int) -> bool:
        return any(column.startswith(_ALWAYS_BALLISTIC) for column in self.space.variables[number].columns)

    def _burn(self, motors: Motors) -> tuple[Figures, Floats]:
        figures = kernels.evaluate(motors, kernel=self.kernel)
        return figures, kernels.maximum_expected_pressure(motors, self.kernel, figures)

    def _seen_by_transient(self) -> set[int]:
        """Inner variables that move what the transient kernel takes as free volume."""
        columns = probe_columns(self.space, free_volume)
        return set(variables_of(self.space, columns)) & set(self.inner)

    def _outer_table(self, term: Term) -> Table | None:
        size = int(np.prod([self.space.radices[number] for number in term.variables], dtype=float))
        if term.burn or size > SMALL_TABLE:
            return None
        return tabulate(self.space, sorted(term.variables), lambda motors: term.pressure(motors, None, None))

    def _is_crossed(self, name: str) -> bool:
        """Whether a column is known only once an outside meets a pattern."""
        if name == "smallest_factor":
            return True
        if name in ("loaded_mass", "propellant_mass_fraction"):
            return bool(self.catalogue.mass_tables)
        return name.removesuffix("_mass") in self.catalogue.mass_tables and name.endswith("_mass")

    def _check_rules(self) -> None:
        known = {
            *kernels.FIGURES,
            "maximum_expected_pressure",
            "smallest_factor",
            *limits.MASS_NAMES,
            *limits.DIMENSIONS,
            *FLIGHT_FIGURES,
            *(column.name for column in self.rules.scatter),
            *(f"{FACTOR}.{mode}" for mode in self.aimed_modes),
            *self.aimed_variables,
        }
        for name in (*(bound.quantity for bound in self.rules.bounds), *(aim.name for aim in self.rules.aims)):
            if name not in known:
                raise SpaceError(name, "cannot be computed in a search", "use a figure of the kernel, a mass or a dimension")
        modes = {term.mode for term in self.terms}
        for mode in self.rules.factors:
            if mode not in modes:
                raise SpaceError(
                    f"limits.minimum_factor.{mode}", "cannot be assessed for the base motor",
                    "give what it needs in the motor file (see `check`), or leave this limit out",
                )  # fmt: skip
        if not self.rules.aims:
            raise SpaceError("objectives", "names nothing", 'add one, for instance loaded_mass = "min"')
        for aim in self.rules.aims:
            self._check_aim(aim)
        for mode in self.aimed_modes:
            own = [term for term in self.terms if term.mode == mode]
            if not own or any(term.late for term in own):
                what = "marches heat, which is judged of finalists only" if own else "cannot be assessed for the base motor"
                raise SpaceError(f"objectives.{FACTOR}.{mode}", what, "aim for another rung, or for smallest_factor")
        for column in self.rules.scatter:
            if column.of_ladder and not any(not term.late for term in self.terms):
                what = "has no rung that can be assessed for every sample"
                raise SpaceError(column.quantity, what, "dimension the parts first")

    def _check_aim(self, aim: Aim) -> None:
        if aim.name != "smallest_factor":
            return
        if not any(not term.late or term.kind != "heat" for term in self.terms):
            raise SpaceError("objectives.smallest_factor", "has no rung that can be assessed", "dimension the parts first")
        if not aim.more:
            raise SpaceError("objectives.smallest_factor", "would look for the weakest motor", 'write "max"')

    # --- sizes and keys ---------------------------------------------------------------------------------------------

    @property
    def outer_size(self) -> int:
        """Number of families."""
        return self.space.size // self.catalogue.size

    def full_digits(self, outer: Integers, pattern: Integers | None = None) -> Integers:
        """Digits over all variables from digits of the outer ones and, where given, pattern numbers."""
        digits = np.zeros((len(outer), len(self.space.variables)), dtype=np.int64)
        digits[:, self.outer] = outer
        if pattern is not None and self.inner:
            digits[:, list(self.catalogue.inner)] = self.catalogue.digits(pattern)
        return digits

    def late_keys(self, keys: Integers) -> Integers:
        """Of candidates (outer digits and pattern number) what late terms depend on: outer and late inner digits."""
        return np.hstack([keys[:, :-1], self.catalogue.late_key(keys[:, -1])])

    # --- a block of outsides ----------------------------------------------------------------------------------------

    def evaluate(self, outer: Integers, heat: bool = True) -> Block:
        """A block of outsides by their digits (n, outer variables); without `heat` the late rungs are not asked."""
        outer = np.asarray(outer, dtype=np.int64).reshape(len(outer), len(self.outer))
        digits = self.full_digits(outer)
        rejected: Counter[str] = Counter()
        rows, feasible = [], 0
        for group in self.space.groups(digits):
            found = self._group(digits[group], rejected, heat)
            if found is not None:
                rows.append(found[0])
                feasible += found[1]
        table = np.vstack(rows) if rows else np.zeros((0, len(self.columns)))
        return Block(table, dict(rejected), feasible, len(outer) * self.catalogue.size)

    def _group(self, digits: Integers, rejected: Counter[str], heat: bool) -> tuple[Floats, int] | None:
        seen = self.outside_columns(digits, rejected)
        if seen is None:
            return None
        good, many = seen.passes, self.catalogue.size
        for name, fails in seen.fails.items():
            rejected[name] += int(fails.sum()) * many
        self._count_crossed(seen, rejected)
        count = np.zeros(len(seen.digits), dtype=np.int64)
        ready = good | np.logical_or.reduce([np.zeros(len(good), dtype=bool), *seen.flight_fails.values()])
        count[ready] = self._good_patterns(seen.take(ready))
        for name, fails in seen.flight_fails.items():  # of the candidates that pass everything else
            rejected[name] += int(count[fails].sum())
        count[~good] = 0
        if heat and self.settled_terms:
            self._settle_heat(seen, count, rejected)
        kept = count > 0
        return self._rows(seen.take(kept)), int(count.sum())

    def _settle_heat(self, seen: OutsideColumns, count: Integers, rejected: Counter[str]) -> None:
        """Ask the late rungs of the outsides that have a good pattern: `count` of those that fail is set to 0, their
        candidates are counted, and `seen.floor` comes down to these rungs.
        """
        rows = np.flatnonzero(count > 0)
        if not len(rows):
            return
        motors, digits = seen.motors.take(rows), seen.digits[rows]
        weakest = np.fmin(seen.floor[rows], self.strongest_pattern(digits))
        found = heated(
            self.settled_terms, self.rules, motors, seen.pressure[rows], weakest,
            lambda part: self._histories(digits[part], motors.take(part)),
        )  # fmt: skip
        for name, fails in found.fails.items():
            rejected[name] += int(count[rows][fails].sum())
        seen.floor[rows] = np.fmin(seen.floor[rows], found.floor)
        count[rows[~found.ok]] = 0

    def strongest_pattern(self, digits: Integers) -> Floats:
        """The lowest pressure of all rungs of the pattern for which it is highest, for each outside, (n,). [Pa]"""
        found = np.full(len(digits), np.inf)
        for patterns, rows in self._outsides(digits):
            found[rows] = np.nanmax(patterns.weakest, initial=-np.inf)
        return found

    def _histories(self, digits: Integers, motors: Motors) -> Figures:
        """Figures with histories, made once for each distinct ballistic motor."""
        bare = _bare(motors) if self.kernel == "steady" else motors
        if len(self.ballistic) == len(self.outer):
            return kernels.evaluate(bare, kernel=self.kernel, curve=True)
        _, first, inverse = np.unique(digits[:, self.ballistic], axis=0, return_index=True, return_inverse=True)
        return kernels.evaluate(bare.take(first), kernel=self.kernel, curve=True).take(inverse.ravel())

    def outside_columns(self, digits: Integers, rejected: Counter[str] | None = None) -> OutsideColumns | None:
        """Everything about outsides with these digits (n, all variables) that no pattern changes; None where none is
        possible. What geometry rules out is left out, and counted.
        """
        from optimizer.problems import InputError

        try:
            candidates = self.space.candidates(digits)
        except InputError:
            if rejected is not None:
                rejected[REFUSED] += len(digits) * self.catalogue.size
            return None
        if rejected is not None:
            for reason, which in candidates.impossible.items():
                if which.any():
                    rejected[reason] += int(which.sum()) * self.catalogue.size
        possible = candidates.possible
        if not possible.any():
            return None
        motors = candidates.motors if possible.all() else candidates.motors.take(possible)
        return self._columns_of(digits[possible], motors)

    def _columns_of(self, digits: Integers, motors: Motors) -> OutsideColumns:
        figures, pressure = self._burn_once(digits, motors)
        columns = self._columns(motors, figures, pressure) | self.varied(digits)
        fails = {bound.name: bound.fails(columns[bound.quantity]) for bound in self.outer_bounds()}
        fails[limits.CHOKED] = np.asarray(figures.flags["port_choked"], dtype=bool)
        fails[limits.OUTSIDE] = ~np.isfinite(pressure)
        if motors.airframe is not None and motors.case is not None:
            fails[limits.FIT] = ~np.broadcast_to(np.asarray(fit(motors)["in_airframe"], dtype=bool), (motors.size,))
        floor = np.full(motors.size, np.inf)
        mode_fails: dict[str, Mask] = {}
        for term in self.outer_terms:
            lowest = self._outer_pressure(term, digits, motors, figures, pressure)
            with np.errstate(invalid="ignore"):
                short = ~(lowest / pressure >= term.required)
            mode_fails[term.mode] = mode_fails.get(term.mode, np.zeros(motors.size, dtype=bool)) | short
            if term.kind != ladder.ADVICE:
                floor = np.fmin(floor, lowest)
            if term.mode in self.aimed_modes:
                name = f"{FACTOR}.{term.mode}"
                columns[name] = np.fmin(columns.get(name, np.full(motors.size, np.inf)), lowest / pressure)
        for mode in self.aimed_modes:  # what is not known cannot be ranked
            fails[self.unranked(mode)] = ~np.isfinite(columns[f"{FACTOR}.{mode}"])
        passes = np.ones(motors.size, dtype=bool)
        for failing in (*fails.values(), *mode_fails.values()):
            passes &= ~failing
        smallest = self.rules.smallest_factor
        if smallest is not None:
            passes &= ~smallest.fails(floor / pressure)
        flight_fails: dict[str, Mask] = {}
        if self.rules.flown:
            passes = self._pass_flown(digits, motors, figures, passes, columns, flight_fails)
        if self.rules.scatter:
            passes = self._pass_scattered(digits, motors, passes, columns, fails)
        return OutsideColumns(digits, motors, figures, pressure, columns, fails, mode_fails, floor, passes, flight_fails)

    def _pass_flown(
        self, digits: Integers, motors: Motors, figures: Figures, passes: Mask, columns: dict[str, Floats],
        fails: dict[str, Mask],
    ) -> Mask:  # fmt: skip
        """Which of those that pass also fly as asked; adds the figures (NaN for the others) and what fails, by name.

        A flight takes some ten times as long as a burn, so it is asked only of what passes everything else.
        """
        for name in self.rules.flown:
            columns[name] = np.full(len(digits), np.nan)
        rows = np.flatnonzero(passes)
        if not len(rows):
            return passes
        # What no flight reads does not ask for another.
        _, first, same = np.unique(digits[rows][:, self._flying], axis=0, return_index=True, return_inverse=True)
        same = same.ravel()
        some = motors.take(rows[first])
        flags = {name: np.broadcast_to(flag, (motors.size,))[rows[first]] for name, flag in figures.flags.items()}
        known = replace(figures, values={}, flags=flags) if self.kernel == "steady" else self._burn_to_fly(some)
        flights = self._fly(some, known)
        for name in self.rules.flown if flights.refused is None else ():
            columns[name][rows] = flights.figures[name][same]
        for name, broken in limits.flight_fails(self.rules, flights, unknown_masses(some), some.size).items():
            fails[name] = np.zeros(len(digits), dtype=bool)
            fails[name][rows] = broken[same]
            passes = passes & ~fails[name]
        return passes

    def _burn_to_fly(self, motors: Motors) -> Figures:
        """Figures with what a flight reads of them: the histories, where the kernel's figures do not stand alone."""
        return kernels.evaluate(motors, kernel=self.kernel, curve=self.kernel != "steady")

    def _fly(self, motors: Motors, figures: Figures) -> Flights:
        return fly_motors(motors, figures, asked=self.rules.flown)

    def flown(self, motors: Motors) -> Flights:
        """The flights of motors, whatever else they miss, with the figures that the study asks for."""
        return self._fly(motors, self._burn_to_fly(motors))

    def _pass_scattered(
        self, digits: Integers, motors: Motors, passes: Mask, columns: dict[str, Floats], fails: dict[str, Mask]
    ) -> Mask:
        """Which of those that pass also pass under the tolerances; adds the columns (NaN for the others) and fails.

        A percentile takes hundreds of evaluations, so it is asked only of what passes everything else. Marching heat for
        each of them takes some twenty times as long and only ever makes the ladder worse, so that comes last of all.
        """
        for column in self.rules.scatter:
            columns[column.name] = np.full(len(digits), np.nan)
        rows = np.flatnonzero(passes)
        for heat in (False, True) if self._heat_scatters else (False,):
            if not len(rows):
                break
            for name, values in self.scattered(digits[rows], motors.take(rows), heat).items():
                columns[name][rows] = values
            short = np.zeros(len(rows), dtype=bool)
            for bound in self.rules.scattered:
                short |= bound.fails(columns[bound.quantity][rows])
            rows = rows[~short]
        for bound in self.rules.scattered:
            fails[bound.name] = passes & bound.fails(columns[bound.quantity])
        unknown = np.logical_or.reduce([np.isnan(columns[column.name]) for column in self.rules.scatter])
        fails[limits.OUTSIDE_SCATTERED] = passes & unknown
        for name in (*(bound.name for bound in self.rules.scattered), limits.OUTSIDE_SCATTERED):
            passes = passes & ~fails[name]
        return passes

    @property
    def _heat_scatters(self) -> bool:
        """Whether a column over the tolerances takes rungs that march heat."""
        return bool(self.late_terms) and any(column.of_ladder for column in self.rules.scatter)

    def scattered(self, digits: Integers, motors: Motors, heat: bool = True) -> dict[str, Floats]:
        """The columns over the tolerances that the study asks for, (n,), from digits (n, all variables) and motors.

        NaN where a tolerance reaches zero; that takes all dimensions to know, while motors of the same burn share their
        figures. Without `heat` the rungs that march it are left out.
        """
        if not self.rules.scatter:
            return {}
        rows = np.flatnonzero(~too_wide(motors, self.study.driver.samples, limits.SCATTER_SEED))
        found = {item.name: np.full(len(digits), np.nan) for item in self.rules.scatter}
        if rows.size:
            for name, values in self._scattered_of(digits[rows], motors.take(rows), heat).items():
                found[name][rows] = values
        return found

    def _scattered_of(self, digits: Integers, motors: Motors, heat: bool) -> dict[str, Floats]:
        found: dict[str, Floats] = {}
        for of_ladder in (False, True):
            asked = {item.name: (item.quantity, item.percentile) for item in self.rules.scatter
                     if item.of_ladder is of_ladder}  # fmt: skip
            if not asked:
                continue
            seen = digits if of_ladder else digits[:, self.ballistic]
            distinct, first, inverse = np.unique(seen, axis=0, return_index=True, return_inverse=True)
            table = self._sampled(distinct, motors, first, asked, heat and of_ladder)
            found |= dict(zip(asked, table[:, inverse.ravel()], strict=True))
        return found

    def _sampled(
        self, distinct: Integers, motors: Motors, first: Integers, asked: Mapping[str, tuple[str, float]], heat: bool
    ) -> Floats:
        """Columns (asked, n) of distinct motors; what was sampled before, in another block, is not sampled again."""
        kind = f"{heat}{''.join(asked)}".encode()
        keys = [kind + row.tobytes() for row in np.ascontiguousarray(distinct)]
        fresh = np.array([place for place, key in enumerate(keys) if key not in self._known_samples], dtype=np.int64)
        if len(fresh):
            if len(self._known_samples) + len(fresh) > MOST_SAMPLED:
                self._known_samples.clear()
                fresh = np.arange(len(keys))
            samples = self.study.driver.samples
            tested = self.study.motor.motors, self.study.motor.evidence
            some = robust_columns(motors.take(first[fresh]), asked, self.kernel, samples, limits.SCATTER_SEED, heat, tested)
            rows = np.stack(list(some.values()), axis=1)
            self._known_samples |= {keys[place]: row for place, row in zip(fresh.tolist(), rows, strict=True)}
        return np.stack([self._known_samples[key] for key in keys], axis=1)

    def _burn_once(self, digits: Integers, motors: Motors) -> tuple[Figures, Floats]:
        """Figures and maximum expected pressure, the kernel run once for each distinct ballistic motor."""
        bare = _bare(motors) if self.kernel == "steady" else motors
        if len(self.ballistic) == len(self.outer) or motors.size < 2:
            return self._burn(bare)
        _, first, inverse = np.unique(digits[:, self.ballistic], axis=0, return_index=True, return_inverse=True)
        inverse = inverse.ravel()
        figures, pressure = self._burn(bare.take(first))
        values = {name: column[inverse] for name, column in figures.values.items()}
        flags = {name: column[inverse] for name, column in figures.flags.items()}
        return replace(figures, values=values, flags=flags), pressure[inverse]

    def _columns(self, motors: Motors, figures: Figures, pressure: Floats) -> dict[str, Floats]:
        columns: dict[str, Floats] = dict(figures.values)
        columns["maximum_expected_pressure"] = pressure
        has_airframe = motors.airframe is not None and motors.case is not None
        columns |= limits.dimension_columns(motors, fit(motors) if has_airframe else None)
        parts = {part: part_mass(motors, part) for part in self._outer_parts}
        loaded = np.zeros(motors.size)
        for values in parts.values():
            loaded = loaded + np.nan_to_num(values)
        if motors.masses is not None:
            loaded = motors.masses.empty + parts["propellant"]
        parts |= {part: np.full(motors.size, np.nan) for part in self.catalogue.mass_tables}
        masses = limits.mass_columns(parts | {"loaded": loaded})
        masses.pop("propellant_mass", None)  # the kernel's own figure is the one that is reported
        return columns | masses

    def outer_bounds(self) -> list[Bound]:
        """Bounds that no pattern can change."""
        masses = [bound for bound in self.rules.masses if not self._is_crossed(bound.quantity)]
        return [*self.rules.figures, *self.rules.dimensions, *masses]

    def unranked(self, mode: str) -> str:
        """What a rejection is called where the mode is an objective and not assessed, as of a material little known."""
        return f"{FACTOR}.{mode} not assessed"

    def limit_name(self, mode: str) -> str:
        """What a rejection by a mode is called."""
        return limit_name(self.rules, mode)

    def possible_rows(self, digits: Integers) -> Mask:
        """Which outsides of a block that shares its text choices geometry allows."""
        return self.space.candidates(digits).possible

    def required(self, mode: str) -> float:
        """The factor that a mode must have."""
        return next(term.required for term in self.terms if term.mode == mode)

    def varied(self, digits: Integers) -> dict[str, Floats]:
        """Columns of the variables that are aimed for, SI, from digits over all variables (n, …)."""
        return {name: self.space.variables[number].values[digits[:, number]] for name, number in self.aimed_variables.items()}

    def mode_floors(self, seen: OutsideColumns) -> dict[str, Floats]:
        """For each mode with rungs that no pattern changes: the highest pressure at which they have their factor."""
        floors: dict[str, Floats] = {}
        for term in self.outer_terms:
            lowest = self._outer_pressure(term, seen.digits, seen.motors, seen.figures, seen.pressure) / term.required
            lowest = np.where(np.isnan(lowest), -np.inf, lowest)
            floors[term.mode] = np.minimum(floors.get(term.mode, np.full(len(lowest), np.inf)), lowest)
        return floors

    def mode_stands(self, seen: OutsideColumns, pattern: int) -> dict[str, float]:
        """For one candidate: the highest maximum expected pressure at which each mode has its factor."""
        modes = list(dict.fromkeys(term.mode for term in self.terms if not term.late))
        outside = tuple(seen.digits[0, list(self.catalogue.shared)].tolist())
        inner = self.catalogue.mode_thresholds(outside, modes)[:, pattern]
        floors = self.mode_floors(seen)
        return {
            mode: min(float(inner[place]), float(floors[mode][0]) if mode in floors else np.inf) for place, mode in enumerate(modes)
        }

    def _outer_pressure(self, term: Term, digits: Integers, motors: Motors, figures: Figures, pressure: Floats) -> Floats:
        table = self._outer_tables[id(term)]
        if table is not None:
            return table.at(digits)
        return np.broadcast_to(term.pressure(motors, figures if term.burn else None, pressure), (motors.size,))

    # --- the catalogue inside ---------------------------------------------------------------------------------------

    def _outsides(self, digits: Integers) -> Iterator[tuple[Patterns, Integers]]:
        """The patterns of each outside that occurs, with the rows that have it."""
        shared = digits[:, list(self.catalogue.shared)]
        if not len(digits):
            return
        distinct, inverse = np.unique(shared, axis=0, return_inverse=True)
        inverse = inverse.ravel()
        order = np.argsort(inverse, kind="stable")
        ends = np.searchsorted(inverse[order], np.arange(len(distinct) + 1))
        for place, outside in enumerate(distinct):
            yield self.catalogue.at(tuple(outside.tolist())), order[ends[place] : ends[place + 1]]

    def _mass_window(self, propellant: Floats, mass: Floats, bounds: list[Bound]) -> tuple[Floats, Floats]:
        """Lowest and highest mass a pattern may add, by limits on loaded mass and on propellant fraction."""
        low, high = np.full(len(mass), -np.inf), np.full(len(mass), np.inf)
        for bound in bounds:
            if bound.quantity == "loaded_mass":
                high = high if bound.maximum is None else np.minimum(high, bound.maximum - mass)
                low = low if bound.minimum is None else np.maximum(low, bound.minimum - mass)
            else:
                high = high if bound.minimum is None else np.minimum(high, propellant / bound.minimum - mass)
                low = low if bound.maximum is None else np.maximum(low, propellant / bound.maximum - mass)
        return low, high

    def crossed_masses(self) -> list[Bound]:
        """Bounds on the mass of the whole that are known only with the pattern."""
        names = ("loaded_mass", "propellant_mass_fraction")
        return [bound for bound in self.rules.masses if bound.quantity in names and self._is_crossed(bound.quantity)]

    def crossed_bounds(self) -> list[Bound]:
        """Every bound on a column that is known only with the pattern: masses and the smallest factor."""
        masses = [bound for bound in self.rules.masses if self._is_crossed(bound.quantity)]
        return masses if self.rules.smallest_factor is None else [*masses, self.rules.smallest_factor]

    def crossed_columns(self, seen: OutsideColumns, rows: Integers, patterns: Patterns, chosen: Integers) -> dict[str, Floats]:
        """The columns of `crossed_bounds` for some rows of `seen` with some patterns of theirs, (rows, chosen)."""
        mass = seen.columns["loaded_mass"][rows][:, None] + patterns.mass[chosen][None, :]
        columns = {f"{part}_mass": np.broadcast_to(values[chosen], mass.shape) for part, values in patterns.parts.items()}
        columns |= {"loaded_mass": mass, "propellant_mass_fraction": seen.columns["propellant_mass"][rows][:, None] / mass}
        weakest = np.fmin(seen.floor[rows][:, None], patterns.weakest[chosen][None, :])
        with np.errstate(invalid="ignore"):
            columns["smallest_factor"] = weakest / seen.pressure[rows][:, None]
        return columns

    def _good_patterns(self, seen: OutsideColumns) -> Integers:
        """How many patterns are good for each outside."""
        found = np.zeros(len(seen.digits), dtype=np.int64)
        low, high = self._mass_window(seen.columns["propellant_mass"], seen.columns["loaded_mass"], self.crossed_masses())
        for patterns, rows in self._outsides(seen.digits):
            if self.crossed_masses():
                found[rows] = count_within(patterns.threshold, patterns.mass, seen.pressure[rows], low[rows], high[rows])
            else:
                below = np.searchsorted(patterns.sorted_threshold, seen.pressure[rows], side="left")
                found[rows] = self.catalogue.size - below
        return found

    def _count_crossed(self, seen: OutsideColumns, rejected: Counter[str]) -> None:
        """Rejections by modes, by the smallest factor and by masses, over all candidates of all families."""
        many = self.catalogue.size
        counted: set[str] = set()
        for count in self.catalogue.counts:
            fails = self.catalogue.failing(count, seen.digits, seen.pressure)
            fails = np.where(seen.mode_fails.get(count.mode, np.zeros(len(fails), dtype=bool)), many, fails)
            rejected[count.name] += int(fails.sum())
            counted.add(count.mode)
        for mode, short in seen.mode_fails.items():
            if mode not in counted:
                rejected[limit_name(self.rules, mode)] += int(short.sum()) * many
        if self.rules.smallest_factor is not None:
            rejected[self.rules.smallest_factor.name] += self._weak(seen, self.rules.smallest_factor)
        for bound in self.rules.masses:
            if self._is_crossed(bound.quantity):
                rejected[bound.name] += self._too_heavy(seen, bound)

    def _weak(self, seen: OutsideColumns, bound: Bound) -> int:
        total = 0
        for patterns, rows in self._outsides(seen.digits):
            weakest = np.sort(patterns.weakest)
            alone = bound.fails(np.fmin(seen.floor[rows], np.inf) / seen.pressure[rows])
            limit = seen.pressure[rows] * (bound.minimum or 0.0)
            total += int(np.where(alone, self.catalogue.size, np.searchsorted(weakest, limit, side="left")).sum())
        return total

    def _too_heavy(self, seen: OutsideColumns, bound: Bound) -> int:
        total = 0
        bounds = [one for one in self.crossed_masses() if one == bound]
        for patterns, rows in self._outsides(seen.digits):
            values = patterns.parts.get(bound.quantity.removesuffix("_mass"))
            if values is not None:
                total += int(bound.fails(values).sum()) * len(rows)
                continue
            low, high = self._mass_window(seen.columns["propellant_mass"][rows], seen.columns["loaded_mass"][rows], bounds)
            mass = np.sort(patterns.mass)
            within = np.searchsorted(mass, high, side="right") - np.searchsorted(mass, low, side="left")
            total += int((self.catalogue.size - np.maximum(within, 0)).sum())
        return total

    def _rows(self, seen: OutsideColumns) -> Floats:
        columns = [
            seen.digits[:, self.outer].astype(float),
            *(column[:, None] for column in (seen.pressure, seen.floor, seen.columns["loaded_mass"])),
            seen.columns["propellant_mass"][:, None],
            *(seen.columns[name][:, None] for name in self.columns[len(self.outer) + 4 :]),
        ]
        return np.hstack(columns) if len(seen.digits) else np.zeros((0, len(self.columns)))

    # --- rows of the front ------------------------------------------------------------------------------------------

    def cross(self, rows: Floats, every: bool = False) -> Iterator[Crossed]:
        """Candidates of stored rows, in parts: each outside with the patterns that matter and are good for it.

        With `every`, with all good patterns.
        """
        wide = len(self.outer)
        digits = self.full_digits(rows[:, :wide].astype(np.int64))
        pressure = rows[:, wide]
        low, high = self._mass_window(rows[:, wide + 3], rows[:, wide + 2], self.crossed_masses())
        for patterns, place in self._outsides(digits):
            chosen = np.arange(self.catalogue.size) if every else patterns.kept
            for part in np.array_split(place, max(1, len(place) * len(chosen) // 500_000)):
                good = patterns.threshold[chosen][None, :] >= pressure[part][:, None]
                mass = patterns.mass[chosen][None, :]
                good &= (mass >= low[part][:, None]) & (mass <= high[part][:, None])
                row, column = np.nonzero(good)
                yield self._crossed(rows[part[row]], patterns, chosen[column])

    def _crossed(self, rows: Floats, patterns: Patterns, pattern: Integers) -> Crossed:
        wide = len(self.outer)
        columns = {name: rows[:, wide + 4 + place] for place, name in enumerate(self.columns[wide + 4 :])}
        columns["smallest_factor"] = np.fmin(rows[:, wide + 1], patterns.weakest[pattern]) / rows[:, wide]
        if self.catalogue.mass_tables:
            columns["loaded_mass"] = rows[:, wide + 2] + patterns.mass[pattern]
            columns["propellant_mass_fraction"] = rows[:, wide + 3] / columns["loaded_mass"]
            columns |= {f"{part}_mass": values[pattern] for part, values in patterns.parts.items()}
        keys = np.hstack([rows[:, :wide].astype(np.int64), pattern[:, None]])
        return Crossed(objective_columns(self.rules.aims, columns), keys, patterns.threshold[pattern], rows[:, wide])


@dataclass(frozen=True)
class Crossed:
    """Candidates: objectives to be minimised (n, m), keys (outer digits and pattern number), the highest maximum
    expected pressure that each pattern stands, and the one it meets.
    """

    points: Floats
    keys: Integers
    threshold: Floats
    pressure: Floats

    def take(self, which: Any) -> Crossed:
        """The candidates picked."""
        return Crossed(self.points[which], self.keys[which], self.threshold[which], self.pressure[which])


@dataclass(frozen=True)
class OutsideColumns:
    """Outsides as evaluated: everything that no pattern changes, one entry each."""

    digits: Integers
    motors: Motors
    figures: Figures
    pressure: Floats
    columns: Mapping[str, Floats]
    fails: Mapping[str, Mask]
    mode_fails: Mapping[str, Mask]
    floor: Floats
    passes: Mask
    flight_fails: Mapping[str, Mask]

    def take(self, which: Any) -> OutsideColumns:
        """The outsides picked; motors and figures stay behind."""
        return replace(
            self,
            digits=self.digits[which],
            pressure=self.pressure[which],
            columns={name: np.asarray(column)[which] for name, column in self.columns.items()},
            fails={name: column[which] for name, column in self.fails.items()},
            mode_fails={name: column[which] for name, column in self.mode_fails.items()},
            floor=self.floor[which],
            passes=self.passes[which],
            flight_fails={name: column[which] for name, column in self.flight_fails.items()},
        )


def _broken(motors: Motors, which: Callable[[Motors], Mask | None]) -> Floats:
    """1 where a rule of geometry is broken, else 0, (n,)."""
    found = which(motors)
    return np.zeros(motors.size) if found is None else np.broadcast_to(found, (motors.size,)).astype(float)


def _bare(motors: Motors) -> Motors:
    """What the steady kernel is about: without case, liner, closures and airframe, so that it cannot depend on them."""
    return replace(motors, case=None, liner=None, forward_closure=None, aft_closure=None, airframe=None)


__all__ = ["Block", "Crossed", "Families", "OutsideColumns", "part_variables"]
