"""Materials: strengths, temperature derating, thermal numbers, each with its source.

Owns `Material` and the table in ``materials.csv``. Strengths are specification minimums unless the name says
"typical". Missing numbers are None: a mode that needs one says so instead of guessing. Imports numpy and the standard
library only.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Points = tuple[tuple[float, float], ...]

KINDS = ("metal", "screw", "liner", "seal", "nozzle")
ROOM_TEMPERATURE = 293.15
WARMEST_WITHOUT_TABLE = 313.15
"""Without a derating table a room-temperature strength is used up to here (40 °C) and not beyond. [K]"""


@dataclass(frozen=True)
class Derating:
    """Strength or stiffness over its value at room temperature, as points (temperature [K], ratio [-]) in order."""

    name: str
    yield_ratio: Points = ()
    ultimate_ratio: Points = ()
    modulus_ratio: Points = ()
    source: str = ""
    status: str = ""


@dataclass(frozen=True)
class Material:
    """One material in one temper and form; SI units; None where a number is not known.

    Strengths, moduli Pa; density kg/m3; expansion 1/K; conductivity W/m/K; specific_heat J/kg/K; temperatures K;
    regression_rate m/s at regression_at Pa. `typical_` strengths stand beside minimums: what half of all parts exceed.
    `bearing_strength` holds at an edge ratio e/D of 2.0 and
    `bearing_strength_short` at 1.5. `limit_temperature` is the continuous service limit, `minimum_temperature` the
    coldest at which a seal still follows its seat. `sources` maps a field to (source, "read" | "read at second hand" |
    "remembered" | "derived"). `deratings` is in order of preference: the first table is the default.
    """

    name: str
    kind: str = "metal"
    basis: str = "minimum"
    density: float | None = None
    tensile_strength: float | None = None
    yield_strength: float | None = None
    shear_strength: float | None = None
    compressive_strength: float | None = None
    bearing_strength: float | None = None
    bearing_strength_short: float | None = None
    bearing_yield_strength: float | None = None
    bearing_yield_strength_short: float | None = None
    elastic_modulus: float | None = None
    poisson: float | None = None
    expansion: float | None = None
    conductivity: float | None = None
    specific_heat: float | None = None
    melting_temperature: float | None = None
    limit_temperature: float | None = None
    minimum_temperature: float | None = None
    char_temperature: float | None = None
    typical_tensile_strength: float | None = None
    typical_yield_strength: float | None = None
    regression_rate: float | None = None
    regression_at: float | None = None
    heat_affected_yield_ratio: float | None = None
    heat_affected_ultimate_ratio: float | None = None
    deratings: Mapping[str, Derating] = field(default_factory=dict)
    sources: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    aliases: tuple[str, ...] = ()
    caution: str = ""

    def yield_ratio(self, temperature: ArrayLike, table: str | None = None) -> Array:
        """Yield strength at `temperature` [K] over that at room temperature; NaN where no table reaches. [-]

        Parameters
        ----------
        temperature : ArrayLike
            [K], any shape.
        table : str, optional
            Derating table; the first one where none is named.

        Returns
        -------
        Array
            [-], in the shape of `temperature`.
        """
        return self._ratio(temperature, table, ("yield_ratio",))

    def ultimate_ratio(self, temperature: ArrayLike, table: str | None = None) -> Array:
        """Tensile strength over that at room temperature; the yield ratio where a table has no other. [-]

        Parameters
        ----------
        temperature : ArrayLike
            [K], any shape.
        table : str, optional
            Derating table; the first one where none is named.

        Returns
        -------
        Array
            [-], in the shape of `temperature`.
        """
        return self._ratio(temperature, table, ("ultimate_ratio", "yield_ratio"))

    def modulus_ratio(self, temperature: ArrayLike, table: str | None = None) -> Array:
        """Elastic modulus over that at room temperature; the yield ratio, which is lower, for want of one. [-]

        Parameters
        ----------
        temperature : ArrayLike
            [K], any shape.
        table : str, optional
            Derating table; the first one where none is named.

        Returns
        -------
        Array
            [-], in the shape of `temperature`.
        """
        return self._ratio(temperature, table, ("modulus_ratio", "yield_ratio"))

    def yield_at(self, temperature: ArrayLike, table: str | None = None) -> Array:
        """Yield strength at `temperature` [K]; NaN where it is not known. [Pa]

        Parameters
        ----------
        temperature : ArrayLike
            [K], any shape.
        table : str, optional
            Derating table; the first one where none is named.

        Returns
        -------
        Array
            [Pa], in the shape of `temperature`.

        Examples
        --------
        >>> tube = material("6061-T6")
        >>> (tube.yield_at([293.15, 423.15]) / 1e6).round(1)
        array([241.3, 197.9])
        >>> float((tube.yield_at(423.15, "EN 1999-1-2") / 1e6).round(1))
        219.6
        """
        return _number(self.yield_strength) * self.yield_ratio(temperature, table)

    def derating(self, table: str | None = None) -> Derating | None:
        """The table named, or the first one, or None.

        Parameters
        ----------
        table : str, optional
            Name of the table.

        Returns
        -------
        Derating or None
            The table.

        Raises
        ------
        KeyError
            For a name this material does not have.
        """
        if table is None:
            return next(iter(self.deratings.values()), None)
        if table not in self.deratings:
            known = ", ".join(self.deratings) or "none"
            raise KeyError(f"{self.name} has no derating table {table!r}; it has: {known}")
        return self.deratings[table]

    def source(self, field_name: str) -> str:
        """Where a number comes from and how it was had, ready to print.

        Parameters
        ----------
        field_name : str
            Name of the field that holds the number.

        Returns
        -------
        str
            The source and its status.

        Examples
        --------
        >>> material("A574").source("tensile_strength")
        "ASTM A574 up to 1/2 in, maker's data sheet (read at second hand)"
        """
        if field_name not in self.sources:
            return "as given by the user"
        text, status = self.sources[field_name]
        return f"{text} ({status})"

    def _ratio(self, temperature: ArrayLike, table: str | None, names: tuple[str, ...]) -> Array:
        points = _points(self.derating(table), names)
        kelvin = np.asarray(temperature, dtype=float)
        if not points:
            return np.where(kelvin <= WARMEST_WITHOUT_TABLE, 1.0, np.nan)
        at, ratio = np.array(points, dtype=float).T
        return np.asarray(np.interp(kelvin, at, ratio, right=np.nan))


def _points(derating: Derating | None, names: Iterable[str]) -> Points:
    for name in names:
        points: Points = getattr(derating, name, ())
        if points:
            return points
    return ()


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def material(name: str, kind: str | None = None) -> Material:
    """The material of that name or alias, in any case, with spaces and hyphens alike.

    Parameters
    ----------
    name : str
        Name or alias.
    kind : str, optional
        Kind as in `names`; any where none is given.

    Returns
    -------
    Material
        The material, SI.

    Raises
    ------
    KeyError
        Whose text gives the nearest names.

    Examples
    --------
    >>> material("6061-t6").yield_strength / 6.894757293168e6
    35.0
    >>> material("FKM").name
    'fluoroelastomer'
    """
    index = _index()
    found = [entry for entry in index.get(_plain(name), ()) if kind in (None, entry.kind)]
    if found:
        return found[0]
    known = {_plain(other): entry.name for entry in _table() if kind in (None, entry.kind) for other in _called(entry)}
    matches = difflib.get_close_matches(_plain(name), known, n=5, cutoff=0.5)
    near = list(dict.fromkeys(known[plain] for plain in matches))
    cure = f"did you mean {', '.join(near)}?" if near else f"known: {', '.join(names(kind))}"
    raise KeyError(f"no material {name!r}; {cure}")


def names(kind: str | None = None) -> list[str]:
    """Names of all materials of a kind ("metal", "screw", "liner", "seal", "nozzle"), or of all.

    Parameters
    ----------
    kind : str, optional
        One of the kinds; all where none is given.

    Returns
    -------
    list of str
        Names.

    Examples
    --------
    >>> "A2-70" in names("screw"), "A2-70" in names("metal")
    (True, False)
    """
    return [entry.name for entry in _table() if kind in (None, entry.kind)]


def _plain(name: str) -> str:
    return "".join(c for c in name.casefold() if c not in " -_")


def _called(entry: Material) -> tuple[str, ...]:
    return (entry.name, *entry.aliases)


@lru_cache(maxsize=1)
def _index() -> dict[str, list[Material]]:
    index: dict[str, list[Material]] = {}
    for entry in _table():
        for called in _called(entry):
            index.setdefault(_plain(called), []).append(entry)
    return index


@lru_cache(maxsize=1)
def _table() -> tuple[Material, ...]:
    rows: dict[str, list[dict[str, str]]] = {}
    for row in table_rows():
        rows.setdefault(row["material"], []).append(row)
    return tuple(_read(name, own) for name, own in rows.items())


def table_rows() -> list[dict[str, str]]:
    """The rows of ``materials.csv`` as they stand, for tables of sources and for tests."""
    text = resources.files("physics").joinpath("materials.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))


_NUMBERS = frozenset(f.name for f in fields(Material) if "float" in str(f.type))


def _read(name: str, rows: list[dict[str, str]]) -> Material:
    given: dict[str, Any] = {"name": name, "kind": rows[0]["kind"]}
    sources: dict[str, tuple[str, str]] = {}
    aliases: list[str] = []
    for row in rows:
        what = row["property"]
        if row["table"]:
            continue
        if what == "alias":
            aliases.append(row["as_printed"])
        elif what in _NUMBERS:
            given[what] = float(row["value"])
            sources[what] = (row["source"], row["status"])
        elif what in ("basis", "caution"):
            given[what] = row["as_printed"]
        else:
            raise ValueError(f"materials.csv: {name}: unknown property {what!r}")
    return Material(**given, sources=sources, aliases=tuple(aliases), deratings=_deratings(rows))


def _deratings(rows: list[dict[str, str]]) -> dict[str, Derating]:
    """The derating tables of one material, in the order of the file; a column of the table is a run of rows."""
    points: dict[str, dict[str, list[tuple[float, float]]]] = {}
    sources: dict[str, tuple[str, str]] = {}
    for row in rows:
        if row["table"]:
            columns = points.setdefault(row["table"], {"yield_ratio": [], "ultimate_ratio": [], "modulus_ratio": []})
            columns[row["property"]].append((float(row["temperature"]), float(row["value"])))
            sources.setdefault(row["table"], (row["source"], row["status"]))
    return {
        name: Derating(
            name,
            tuple(columns["yield_ratio"]),
            tuple(columns["ultimate_ratio"]),
            tuple(columns["modulus_ratio"]),
            *sources[name],
        )
        for name, columns in points.items()
    }
