"""The table of materials: every number has a source and a value that matches what it prints; look-up by name."""

from __future__ import annotations

import dataclasses

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics.materials import KINDS, Derating, Material, material, names, table_rows


def test_every_number_converts_from_what_its_source_prints() -> None:
    units = pint.UnitRegistry()
    units.define("Msi = 1e6 psi")
    checked = 0
    for row in table_rows():
        if not row["value"] or row["table"]:
            continue
        number, _, unit = row["as_printed"].partition(" ")
        scale, unit = (1e-6, "1/K") if unit == "1e-6/K" else (1.0, unit.replace("lb/", "pound/"))
        expected = units.Quantity(float(number) * scale, unit or "dimensionless").to_base_units().magnitude
        assert float(row["value"]) == pytest.approx(expected, rel=1e-9), row
        checked += 1
    assert checked > 400


def test_every_number_says_where_it_comes_from_and_how_it_was_had() -> None:
    for row in table_rows():
        if row["value"]:
            assert row["source"], row
            assert row["status"] in ("read", "read at second hand", "remembered", "derived"), row


def test_every_kind_is_there() -> None:
    assert {material(name).kind for name in names()} == set(KINDS)
    assert all(len(names(kind)) >= 4 for kind in KINDS)
    assert len(names()) == len({n.casefold() for n in names()}) > 55


@pytest.mark.parametrize("name", names("metal"))
def test_metals_are_in_the_bounds_of_metals(name: str) -> None:
    found = material(name)
    if found.yield_strength is not None and found.tensile_strength is not None:
        assert 50e6 < found.yield_strength < found.tensile_strength < 1.3e9
    if found.shear_strength is not None and found.tensile_strength is not None:
        assert 0.55 <= found.shear_strength / found.tensile_strength <= 0.70
    assert found.elastic_modulus is not None and 60e9 < found.elastic_modulus < 215e9
    assert found.poisson is not None and 0.25 < found.poisson < 0.36
    assert found.density is not None and 2500 < found.density < 8600
    assert found.basis in ("minimum", "typical")
    assert ("typical" in found.basis) == ("typical" in found.caution.casefold()), name


@pytest.mark.parametrize("name", names("liner"))
def test_liners_have_what_conduction_needs(name: str) -> None:
    found = material(name)
    assert None not in (found.density, found.conductivity, found.specific_heat, found.char_temperature)
    assert found.regression_rate is None  # no published rate was read: a builder's own figure, or none


@pytest.mark.parametrize("name", names("seal"))
def test_seals_have_their_limits(name: str) -> None:
    found = material(name)
    assert found.minimum_temperature is not None and found.limit_temperature is not None
    assert found.minimum_temperature < 273.15 < 350.0 < found.limit_temperature


@pytest.mark.parametrize("name", [n for n in names("metal") if material(n).deratings])
def test_derating_falls_from_one(name: str) -> None:
    for table in material(name).deratings:
        at = np.linspace(250.0, 560.0, 63)
        for ratio in (material(name).yield_ratio(at, table), material(name).ultimate_ratio(at, table)):
            known = ratio[~np.isnan(ratio)]
            assert known[0] == 1.0 and np.all(np.diff(known) <= 1e-12) and np.all(known >= 0.0)


def test_beyond_the_table_is_not_a_number() -> None:
    tube = material("6061-T6")
    assert np.isnan(tube.yield_at(700.0)) and np.isnan(material("6061-T4").yield_at(400.0))
    assert material("6061-T4").yield_at(310.0) == material("6061-T4").yield_strength


def test_the_ultimate_ratio_falls_back_to_the_yield_ratio() -> None:
    tube = material("6061-T6")
    assert tube.ultimate_ratio(423.15, "EN 1999-1-2") == tube.yield_ratio(423.15, "EN 1999-1-2")


@given(st.sampled_from(names()))
def test_case_spaces_and_hyphens_do_not_matter(name: str) -> None:
    for spelt in (name.upper(), name.lower(), name.replace("-", " "), name.replace(" ", "-"), f" {name} "):
        assert material(spelt).name == name


def test_aliases_lead_to_one_material() -> None:
    assert material("NBR").name == "nitrile" and material("FKM").name == "fluoroelastomer"
    assert material("6061-T6 drawn tube").name == "6061-T6" and material("1020 DOM").name == "1026 DOM"
    seen: dict[str, str] = {}
    for name in names():
        for called in (name, *material(name).aliases):
            plain = "".join(c for c in called.casefold() if c not in " -_")
            assert seen.setdefault(plain, name) == name, called


@pytest.mark.parametrize(("wrong", "near"), [("6061-T7", "6061-T"), ("A2-7O", "A2-70"), ("paper fenolic", "paper-phenolic")])
def test_a_misspelt_name_is_answered_with_near_ones(wrong: str, near: str) -> None:
    with pytest.raises(KeyError, match=near):
        material(wrong)


def test_a_kind_narrows_the_search() -> None:
    with pytest.raises(KeyError):
        material("graphite", kind="metal")
    assert material("EPDM").kind == "liner" and material("EPDM seal").kind == "seal"


def test_an_unknown_table_is_named() -> None:
    with pytest.raises(KeyError, match=r"EN 1999-1-2"):
        material("6061-T6").yield_at(400.0, "no such table")


def test_a_material_of_ones_own() -> None:
    own = Material("mine", yield_strength=100e6, deratings={"mine": Derating("mine", yield_ratio=((293.15, 1.0), (393.15, 0.5)))})
    assert own.yield_at(343.15) == pytest.approx(75e6)
    assert own.source("yield_strength") == "as given by the user"
    with pytest.raises(dataclasses.FrozenInstanceError):
        own.name = "other"  # type: ignore[misc]
