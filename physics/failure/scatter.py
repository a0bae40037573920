"""How sure a rung is: where it likely happens over its design value, by how much that scatters, and on what it rests.

Owns the table in ``scatter.csv`` and what a strength brings to it. The ladder's figures are design values: minimums of
specifications, formulas as coded. Here stands what a part bought and made by the drawing is likely to do. Imports numpy
and, from physics, case, materials, modes and motors.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources

import numpy as np

from physics.failure.case import is_heat_affected, service_temperature
from physics.failure.fillers import FILLERS
from physics.materials import WARMEST_WITHOUT_TABLE, Material, material
from physics.missing import NotComputable, need
from physics.motors import Motors, Seal

STATUSES = ("read", "derived", "read at second hand", "remembered", "judgement")
"""How a number was had, the surest first."""

EXCEEDED_BY_99 = 2.33
"""Standard deviations between a strength that 99 of 100 exceed (A-basis) and the median; normal distribution."""

BAND = 1.6448536269514722
"""Standard deviations to the 5 % and the 95 % end of a band; normal distribution."""


@dataclass(frozen=True)
class Row:
    """One row of the table: `strength` names what the mode rests on, or is empty."""

    mode: str
    strength: str
    bias: float
    scatter: float
    source: str
    status: str


@dataclass(frozen=True)
class Ground:
    """One thing a rung rests on, with how it was had (one of `STATUSES`)."""

    what: str
    status: str


@dataclass(frozen=True)
class Strength:
    """What a strength brings: likely over design value, scatter of its logarithm, the lot it comes from, its grounds.

    Rungs of one `lot` (one tube, one box of screws, one bar) are strong or weak together; an empty lot stands alone.
    """

    ratio: float = 1.0
    scatter: float = 0.0
    lot: str = ""
    grounds: tuple[Ground, ...] = ()


@dataclass(frozen=True)
class Certainty:
    """How sure one rung is: `ratio` is likely over design value; the scatters are of the logarithm.

    `lot` as in `Strength`; `formula_scatter` is the mode's own.
    """

    ratio: float
    strength_scatter: float
    formula_scatter: float
    lot: str
    grounds: tuple[Ground, ...]

    @property
    def scatter(self) -> float:
        """Standard deviation of the logarithm, strength and formula together. [-]"""
        return math.hypot(self.strength_scatter, self.formula_scatter)

    def scattered_by(self, scatter: float) -> Certainty:
        """The same with another scatter, shared with the lot in the same proportion.

        Parameters
        ----------
        scatter : float
            Of the logarithm in all [-].

        Returns
        -------
        Certainty
        """
        share = self.strength_scatter / self.scatter if self.scatter else 0.0
        return replace(
            self, strength_scatter=share * scatter, formula_scatter=math.sqrt(max(1.0 - share * share, 0.0)) * scatter
        )  # fmt: skip

    @property
    def reach(self) -> float:
        """The 95 % end of the band over the median, and the median over the 5 % end. [-]"""
        return math.exp(BAND * self.scatter)

    @property
    def rests_on(self) -> str:
        """The weakest status of all that the rung uses."""
        return weakest(ground.status for ground in self.grounds)


def weakest(statuses: Iterable[str]) -> str:
    """The least sure of some statuses; "judgement" of none.

    Parameters
    ----------
    statuses : iterable of str
        The statuses.

    Returns
    -------
    str
        The least sure of them.

    Examples
    --------
    >>> weakest(["read", "remembered", "derived"])
    'remembered'
    """
    found = [STATUSES.index(status) for status in statuses]
    return STATUSES[max(found, default=len(STATUSES) - 1)]


@lru_cache(maxsize=1)
def table() -> Mapping[str, Row]:
    """The rows of ``scatter.csv`` by mode."""
    text = resources.files("physics.failure").joinpath("scatter.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return {
        row["mode"]: Row(
            row["mode"], row["strength"], float(row["bias"]), float(row["scatter"] or "nan"), row["source"], row["status"]
        )
        for row in csv.DictReader(lines)
    }


def certainty(mode: str, kind: str, motors: Motors, end: str) -> Certainty:
    """How sure the rung of a mode is, for a whole batch: lots and materials are the batch's.

    Parameters
    ----------
    mode, kind : str
        As in the ladder's table; a mode that ``scatter.csv`` does not list is judged as "any other" of its kind.
    motors : Motors
        The batch.
    end : str
        "forward", "aft" or "".

    Returns
    -------
    Certainty
        Ratio [-] and scatters of the logarithm [-], with all that it rests on.

    Notes
    -----
    Dimensions are taken as drawn: tolerances are not in it.

    References
    ----------
    ``scatter.csv``, row by row.
    """
    row = table().get(mode) or table()[f"any other {kind}"]
    found = _STRENGTHS[row.strength](motors, end)
    grounds = (Ground(f"{row.mode}: {row.source}", row.status), *found.grounds)
    return Certainty(row.bias * found.ratio, found.scatter, row.scatter, found.lot, grounds)


# --- what a strength brings ------------------------------------------------------------------------------------------


def of_material(own: Material, what: str, lot: str, hot: bool = False) -> Strength:
    """What the strength of one material brings.

    Parameters
    ----------
    own : Material
        The material.
    what : str
        "yield", "tensile", "shear" or "compressive"; shear goes with tensile strength.
    lot : str
        Name of the lot that the part comes from.
    hot : bool
        Whether the table that derates it counts among the grounds.

    Returns
    -------
    Strength
        Likely over design value [-] and the scatter of its logarithm [-].

    Notes
    -----
    Where a typical value stands beside the minimum, scatter is ln(typical/minimum)/2.33: a minimum is what 99 of 100 exceed.

    References
    ----------
    Definition of an A-basis value (remembered); ``scatter.csv`` for the rest.
    """
    name = f"{what}_strength"
    if what == "shear" and own.shear_strength is None:
        name = "tensile_strength"
    base = "yield" if what == "yield" else "tensile"
    typical: float | None = getattr(own, f"typical_{base}_strength")
    least: float | None = getattr(own, f"{base}_strength")
    grounds = [_number_ground(own, name)]
    if hot and (derating := own.derating()) is not None:
        grounds.append(Ground(f"{own.name} at temperature: {derating.source}", derating.status))
    if own.basis == "typical":
        row = table()["strength given as typical"]
    elif typical is None or least is None or typical <= least or what == "compressive":
        row = table()["strength with no typical value"]
    else:
        row = table()["strength with a typical value"]
        ratio = typical / least
        grounds += [_number_ground(own, f"typical_{base}_strength"), Ground(row.source, row.status)]
        return Strength(ratio, math.log(ratio) / EXCEEDED_BY_99, lot, tuple(grounds))
    grounds.append(Ground(f"{own.name}: {row.mode}, {row.source}", row.status))
    return Strength(row.bias, row.scatter, lot, tuple(grounds))


def _number_ground(own: Material, name: str) -> Ground:
    source, status = own.sources.get(name, ("as given by the user", ""))
    # What a builder gives from their own certificate is not doubted; that it has no typical value beside it is.
    return Ground(f"{own.name} {name.replace('_', ' ')}: {source}", status if status in STATUSES else "read")


def _hot(motors: Motors) -> bool:
    return bool((service_temperature(motors) > WARMEST_WITHOUT_TABLE).any())


def _of_case(what: str) -> Callable[[Motors, str], Strength]:
    def strength(motors: Motors, end: str) -> Strength:
        own: Material = need(motors, "case.material")
        found = of_material(own, what, f"tube {own.name}", _hot(motors))
        if not is_heat_affected(motors, end):
            return found
        name = f"heat_affected_{'yield' if what == 'yield' else 'ultimate'}_ratio"
        return replace(found, grounds=(*found.grounds, _number_ground(own, name)))

    return strength


def _of_closure(what: str, *fields: str) -> Callable[[Motors, str], Strength]:
    """Strength of a closure's part, the first of `fields` that is given."""

    def strength(motors: Motors, end: str) -> Strength:
        part = need(motors, f"{end}_closure")
        own = next((found for found in (getattr(part, name) for name in fields) if found is not None), None)
        if own is None:
            raise NotComputable(f"{end}_closure.{fields[0]} is not given")
        return of_material(own, what, f"bar {own.name}", _hot(motors))

    return strength


def _of_screws(motors: Motors, end: str) -> Strength:
    screws = need(motors, f"{end}_closure.screws")
    lot = f"screws {screws.designation} {screws.grade}"
    if f"{end}_closure.screws.tensile_strength" in motors.tolerances:
        return Strength(grounds=_SAMPLED)
    try:
        own = material(screws.grade, "screw")
    except KeyError:
        own = Material(screws.grade or "screws")
    return of_material(own, "tensile", lot)


_SAMPLED = (Ground("strength and scatter as given under [tolerances]", "read"),)
"""Of a strength whose scatter the builder gives: `spread` samples that, and nothing is added."""


def _of_threads(motors: Motors, end: str) -> Strength:
    """The two threads of a joint, the weaker of which strips: the smaller ratio and the larger scatter of the two."""
    tube = _of_case("shear")(motors, end)
    ring = _of_closure("shear", "ring_material", "plate_material")(motors, end)
    return Strength(min(tube.ratio, ring.ratio), max(tube.scatter, ring.scatter), tube.lot, (*tube.grounds, *ring.grounds))


def _of_snap_ring(motors: Motors, end: str) -> Strength:
    if f"{end}_closure.snap_ring.ring_shear_strength" in motors.tolerances:
        return Strength(grounds=_SAMPLED)
    return of_material(Material("snap ring"), "shear", f"snap ring {end}")


def _of_insert(what: str) -> Callable[[Motors, str], Strength]:
    """Strength of a brittle insert: its scatter stands in the mode's own row."""

    def strength(motors: Motors, end: str) -> Strength:
        own: Material = need(motors, "nozzle.material")
        return Strength(lot=f"insert {own.name}", grounds=(_number_ground(own, f"{what}_strength"),))

    return strength


def _of_plug(motors: Motors, end: str) -> Strength:
    """The threads of a plug and of its plate, the weaker of which strips."""
    plate = _of_closure("shear", "plate_material", "ring_material")(motors, end)
    own = of_material(need(motors, f"{end}_closure.plug.material"), "shear", f"plug {end}", _hot(motors))
    return Strength(min(plate.ratio, own.ratio), max(plate.scatter, own.scatter), own.lot, (*plate.grounds, *own.grounds))


def _of_weld(motors: Motors, end: str) -> Strength:
    """Strength of the weld metal: what its code gives is a characteristic value."""
    lip = need(motors, f"{end}_closure.welded_lip")
    given = FILLERS.get(lip.filler, (0.0, "weld metal as given by the user", "read"))
    row = table()["strength with no typical value"]
    grounds = (Ground(given[1], given[2]), Ground(f"weld metal: {row.mode}, {row.source}", row.status))
    return Strength(row.bias, row.scatter, f"weld {end}", grounds)


def _of_lip(what: str) -> Callable[[Motors, str], Strength]:
    """Strength of the lip's metal, the case's where it has none of its own."""

    def strength(motors: Motors, end: str) -> Strength:
        part = need(motors, f"{end}_closure")
        own: Material = part.ring_material or part.plate_material or need(motors, "case.material")
        return of_material(own, what, f"bar {own.name}", _hot(motors))

    return strength


_MAKERS = (Ground("makers' tables of gaps", "read at second hand"),)


def _of_seal(find: Callable[[Motors, str], Seal | None]) -> Callable[[Motors, str], Strength]:
    """What the compound of a ring brings: rings of one compound and hardness extrude early or late together."""

    def strength(motors: Motors, end: str) -> Strength:
        seal = find(motors, end)
        row = table()["strength of a compound in its gap"]
        name = "" if seal is None or seal.material is None else seal.material.name
        shore = "" if seal is None else " ".join(f"{one:.0f}" for one in np.ravel(seal.hardness)[:1])
        return Strength(row.bias, row.scatter, f"rubber {name} {shore}", (*_MAKERS, Ground(row.source, row.status)))

    return strength


def _of_grain(motors: Motors, end: str) -> Strength:
    """What the batch of propellant brings: each firing has grains of its own."""
    row = table()["strength of a batch of grains"]
    grounds = (Ground("propellant.strength as given", "read"), Ground(row.source, row.status))
    return Strength(row.bias, row.scatter, f"propellant {motors.propellant.name}", grounds)


def _of_heat(motors: Motors, end: str) -> Strength:
    """What a liner as fitted brings to all that is behind it; a wall without one has the same heat on it."""
    row = table()["strength of a liner as fitted"]
    name = "none" if motors.liner is None else motors.liner.material.name
    return Strength(row.bias, row.scatter, f"liner {name}", (Ground(row.source, row.status),))


_STRENGTHS: dict[str, Callable[[Motors, str], Strength]] = {
    "": lambda motors, end: Strength(),
    "case yield": _of_case("yield"),
    "case tensile": _of_case("tensile"),
    "ring tensile": _of_closure("tensile", "ring_material"),
    "ring yield": _of_closure("yield", "ring_material", "plate_material"),
    "plug threads": _of_plug,
    "ring shear": _of_closure("shear", "ring_material", "plate_material"),
    "plate yield": _of_closure("yield", "plate_material", "ring_material"),
    "screws": _of_screws,
    "threads": _of_threads,
    "snap ring": _of_snap_ring,
    "weld metal": _of_weld,
    "lip yield": _of_lip("yield"),
    "lip shear": _of_lip("shear"),
    "insert compressive": _of_insert("compressive"),
    "insert shear": _of_insert("shear"),
    "makers": lambda motors, end: Strength(grounds=_MAKERS),
    "seal": _of_seal(lambda motors, end: motors.value(f"{end}_closure.seal")),
    "plug seal": _of_seal(lambda motors, end: motors.value(f"{end}_closure.plug.seal")),
    "nozzle seal": _of_seal(lambda motors, end: motors.nozzle.seal),
    "grain": _of_grain,
    "heat": _of_heat,
}
