"""What liners do in hot gas: the numbers of ``properties.csv`` with their bands, joined with what a motor file gives.

Owns `Band` and `HotLiner`. A number that the builder gives for the material stands in place of the table's, and the band
goes with it in proportion. Imports the standard library and physics.materials only.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields
from functools import lru_cache
from importlib import resources

from physics.materials import Material

CHAR_SPECIFIC_HEAT = 1600.0
"""Specific heat of char (remembered, carbon between 1000 and 2000 K is higher). [J/(kg K)]"""

ROOM = 293.15
"""Temperature from which the table counts the warming that its heat per kilogram includes. [K]"""

STATUSES = ("read", "read at second hand", "remembered", "derived", "judgement")
"""From the surest to the least sure."""


@dataclass(frozen=True)
class Band:
    """Low, likely and high of one number in SI, about its 5, 50 and 95 % points, with `source` and `status`."""

    low: float
    likely: float
    high: float
    source: str = "as given by the user"
    status: str = "read"

    def about(self, likely: float) -> Band:
        """The same band in proportion about another likely value.

        Parameters
        ----------
        likely : float
            Given by the builder, in the unit of the band.

        Returns
        -------
        Band
        """
        scale = likely / self.likely if self.likely else 1.0
        return Band(self.low * scale, likely, self.high * scale)


@dataclass(frozen=True)
class HotLiner:
    """A liner material in hot gas, each number a band, SI.

    `front` and `onset` [K] of fast and slow decomposition; `heat` per kilogram consumed from 20 °C on [J/kg];
    `char_share` of the mass; `char_depth` [m] that stays where gas runs along it.
    """

    name: str
    density: Band
    conductivity: Band
    specific_heat: Band
    front: Band
    onset: Band
    heat: Band
    char_share: Band
    char_conductivity: Band
    char_depth: Band

    @property
    def weakest(self) -> str:
        """The least sure status among its numbers."""
        bands: list[Band] = [getattr(self, name) for name in NUMBERS]
        return max((band.status for band in bands), key=STATUSES.index)


_LEAST_SHARE = 0.05


def front_heat(heat: float, specific_heat: float, front: float) -> float:
    """What a kilogram takes at the front beside its own warming from 20 °C, heat − c·(T − 293 K). [J/kg]

    Parameters
    ----------
    heat : float
        Per kilogram consumed, from 20 °C on [J/kg].
    specific_heat : float
        Of the liner [J/(kg K)].
    front : float
        Temperature of the front [K].

    Returns
    -------
    float
        [J/kg].

    Notes
    -----
    heat [J/kg], specific_heat [J/(kg K)], front [K]. Never under a twentieth of `heat`: low and high ends of the three
    do not go together, and a front that took nothing would have no end.

    Examples
    --------
    >>> round(front_heat(1.1e6, 1500.0, 750.0))
    414725
    """
    return max(heat - specific_heat * (front - ROOM), _LEAST_SHARE * heat)


NUMBERS = tuple(item.name for item in fields(HotLiner) if item.name != "name")


def hot_liner(material: Material) -> HotLiner | None:
    """The hot numbers of a liner material, None where the table has none.

    Parameters
    ----------
    material : Material
        The material.

    Returns
    -------
    HotLiner or None
        None where the table has none.

    Notes
    -----
    Density, conductivity and specific heat that the builder gave stand in place of the table's.

    Examples
    --------
    >>> from physics.materials import material
    >>> found = hot_liner(material("paper-phenolic", "liner"))
    >>> found.front.likely, found.heat.low
    (750.0, 800000.0)
    """
    rows = _table().get(material.name)
    if rows is None:
        return None
    given = {}
    for name in ("density", "conductivity", "specific_heat"):
        own = getattr(material, name)
        if own is not None and name not in material.sources:
            given[name] = rows[name].about(float(own))
    return HotLiner(material.name, **{**rows, **given})


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, Band]]:
    found: dict[str, dict[str, Band]] = {}
    for row in table_rows():
        band = Band(float(row["low"]), float(row["likely"]), float(row["high"]), row["source"], row["status"])
        if not band.low <= band.likely <= band.high or band.status not in STATUSES:
            raise ValueError(f"properties.csv: {row['material']}: {row['quantity']}: not a band, or an unknown status")
        found.setdefault(row["material"], {})[row["quantity"]] = band
    for name, bands in found.items():
        if set(bands) != set(NUMBERS):
            raise ValueError(f"properties.csv: {name}: {sorted(set(NUMBERS) ^ set(bands))}")
    return found


def table_rows() -> list[dict[str, str]]:
    """The rows of ``properties.csv`` as they stand, for tables of sources and for tests."""
    text = resources.files("physics.heat").joinpath("properties.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))
