"""Materials against MIL-HDBK-5J, EN 1999, ISO 3506, SAE and ASTM figures; traps of look-alike materials."""

from __future__ import annotations

import pytest

from physics.materials import material

KSI = 6.894757293168e6
POUND_PER_CUBIC_INCH = 27679.904710191


def ksi(*values: float | None) -> list[float]:
    return [round(v / KSI, 6) for v in values if v is not None]


@pytest.mark.parametrize(
    ("name", "tensile", "yields", "shear"),
    [
        ("6061-T6", 42, 35, 27),  # S3-01, read at second hand: MIL-HDBK-5J Table 3.6.2.0(c1), drawn tube
        ("6061-T6 extrusion", 38, 35, 26),  # S3-02, read at second hand: MIL-HDBK-5J Table 3.6.2.0(g)
        ("6061-T4", 30, 16, 20),  # S3-03, read at second hand: MIL-HDBK-5J Table 3.6.2.0(c1)
        ("6063-T6", 30, 25, 19),  # read (tensile, yield): Keymark's alloy table; shear remembered
        ("6063-T5", 22, 16, 13.2),  # read: Keymark's alloy table, up to 0.500 in; shear 0.6 of tensile
        ("4130 normalised", 90, 65, 54),  # read: Team Tube, mechanical tubing data; shear 0.6 of tensile
        ("1026 DOM", 70, 60, 42),  # read: Team Tube, 1020 cold drawn (1026: 85/75, stress relieved 83/70)
        # ASTM B16 H02 rod by diameter, read at second hand: two suppliers' tables
        ("C360 brass up to 1/2 in", 57, 25, 34.2),
        ("C360 brass 1/2 to 1 in", 55, 25, 33),
        ("C360 brass 1 to 2 in", 50, 20, 30),
        ("C360 brass", 45, 15, 27),
        ("C360 brass over 4 in", 40, 15, 24),
        ("2024-T3", 64, 42, 39),  # S3-07, read at second hand: MIL-HDBK-5J Table 3.2.3.0(g)
        ("7075-T6 typical", 83, 73, 48),  # S3-09, read: three suppliers' pages
        ("4130 normalised aircraft tube", 95, 75, 57),  # S3-20, read at second hand: MIL-HDBK-5J Table 2.3.1.0(c1), <= 0.188 in
        ("4130 normalised aircraft heavy wall", 90, 70, 54),  # S3-20, the same over 0.188 in
        ("4130 heat treated 125 ksi", 125, 100, 75),  # S3-21, read at second hand: MIL-HDBK-5J Table 2.3.1.0(c2)
        ("4130 heat treated 180 ksi", 180, 165, 108),  # S3-21
        ("1025 normalised", 55, 36, 35),  # S3-22, read at second hand: MIL-HDBK-5J Table 2.2.1.0(b)
        ("304 annealed", 73, 26, 50),  # S3-24, read at second hand: MIL-HDBK-5J Table 2.7.1.0(b), L
    ],
)
def test_strengths(name: str, tensile: float, yields: float, shear: float) -> None:
    found = material(name)
    assert ksi(found.tensile_strength, found.yield_strength, found.shear_strength) == [tensile, yields, shear]


def test_the_unsafe_side_is_left() -> None:
    """What was remembered better than it is: each figure at most what the source prints."""
    g10 = material("G10", "liner")
    # read, evaluated: NIST cryogenic materials, G-10 CR at 293 K, normal to the cloth, fit error 5 %
    assert g10.conductivity == pytest.approx(0.596, rel=0.01) and g10.specific_heat == pytest.approx(977, rel=0.02)
    assert ksi(g10.tensile_strength) == [35]  # read: Accurate Plastics, crosswise
    graphite = material("graphite", "nozzle")
    # read: xrgraphite, extruded GE-1 35/14 MPa and GE-2 25/10 MPa compressive/flexural; tensile 0.47 to 0.60 of flexural
    assert graphite.compressive_strength == 25e6 and graphite.tensile_strength == pytest.approx(0.47 * 10e6)
    canvas = material("canvas phenolic", "nozzle")
    # read: data charts of three suppliers, NEMA C/CE: 7.0 to 7.5 crosswise, 23.5 edgewise, 11.5 shear
    assert ksi(canvas.tensile_strength, canvas.compressive_strength, canvas.shear_strength) == [7.0, 23.5, 11.5]
    assert material("NEMA CE", "liner").name == "canvas phenolic liner"


def test_bearing_strengths_at_their_edge_ratios() -> None:
    # S3-01, read at second hand; T-6: e/D 1.5 and 2.0 columns are different numbers
    tube = material("6061-T6")
    assert ksi(tube.bearing_strength_short, tube.bearing_strength) == [67, 88]
    assert ksi(tube.bearing_yield_strength_short, tube.bearing_yield_strength) == [49, 56]


def test_typical_is_not_minimum() -> None:
    # S3-04, read at second hand: 310 / 276 MPa typical for 6061-T6
    typical, least = material("6061-T6 typical"), material("6061-T6")
    assert (typical.tensile_strength, typical.yield_strength) == (310e6, 276e6)
    assert typical.basis == "typical" and least.basis == "minimum"
    assert least.yield_strength is not None and least.yield_strength < 276e6
    assert "typical" in typical.caution.casefold()


def test_dom_tube_in_its_band() -> None:
    # read: a trade table, 1020 cold drawn 70/60 ksi, the weaker of what is sold as DOM
    found = material("1020/1026 DOM")
    assert found.tensile_strength is not None and 65 * KSI < found.tensile_strength < 75 * KSI


@pytest.mark.parametrize(
    ("grade", "tensile", "yields", "unit"),
    [
        ("A2-50", 500, 210, 1e6),
        ("A2-70", 700, 450, 1e6),
        ("A4-70", 700, 450, 1e6),
        ("A2-80", 800, 600, 1e6),
        ("A4-50", 500, 210, 1e6),
        # S2-01, read at second hand: ISO 3506-1 in code tables (classes 50, 70 and 80, whatever the steel)
        ("4.8", 420, 340, 1e6),
        ("5.8", 520, 420, 1e6),
        ("8.8", 800, 640, 1e6),
        ("10.9", 1040, 940, 1e6),
        ("12.9", 1220, 1100, 1e6),
        ("F593 CW1", 100, 65, KSI),  # read at second hand: code tables, a supplier's table
        ("SAE gr 2", 74, 57, KSI),
        ("SAE gr 5", 120, 92, KSI),
        ("SAE gr 8", 150, 130, KSI),
        # S2-06 to S2-08, read at second hand: SAE J429 in Shigley and Mischke
        ("A574", 180, 153, KSI),  # S2-09, read at second hand: ASTM A574 up to 1/2 in
        ("A-286", 130, 85, KSI),  # S2-03, read: NASA-TM-106943 Table I note
        ("300-series annealed", 73, 26, KSI),  # S2-02, read: NASA-TM-106943 Table II note
    ],
)
def test_screw_grades(grade: str, tensile: float, yields: float, unit: float) -> None:
    found = material(grade, kind="screw")
    assert found.tensile_strength == pytest.approx(tensile * unit) and found.yield_strength == pytest.approx(yields * unit)


def test_commercial_stainless_screws_are_not_annealed_bar() -> None:
    # S2-05 (trade, remembered, weak: a band of 70-80 ksi; F837 itself asks 80 of cold worked) and T-10
    found = material("18-8").tensile_strength
    assert found is not None and 70 <= round(found / KSI, 6) <= 80
    assert material("18-8").name != material("300-series annealed").name


@pytest.mark.parametrize(
    ("name", "ratio"), [("304 annealed", 0.68), ("6061-T6", 0.64), ("4130 normalised aircraft tube", 0.60), ("2024-T3", 0.61)]
)
def test_shear_over_tensile(name: str, ratio: float) -> None:
    # S2-13, derived from MIL-HDBK-5J tables (read at second hand)
    found = material(name)
    assert found.shear_strength is not None and found.tensile_strength is not None
    assert found.shear_strength / found.tensile_strength == pytest.approx(ratio, rel=0.02)


@pytest.mark.parametrize(
    ("celsius", "yields", "tensile"),
    [
        # S3-11, S3-12, read at second hand: MIL-HDBK-5J Fig 3.6.2.2.1 (a), (b), half-hour exposure, percent
        (50, 96.6, 96.4),
        (100, 90.0, 89.4),
        (125, 86.6, 85.0),
        (150, 82.0, 79.3),
        (175, 76.3, 73.0),
        (200, 69.3, 65.1),
        (225, 60.3, 55.9),
        (250, 48.0, 45.5),
        (300, 23.1, 25.7),
        (350, 10.8, 13.7),
    ],
)
def test_half_hour_derating(celsius: float, yields: float, tensile: float) -> None:
    found = material("6061-T6")
    assert found.yield_ratio(celsius + 273.15) == pytest.approx(yields / 100, abs=0.002)
    assert found.ultimate_ratio(celsius + 273.15) == pytest.approx(tensile / 100, abs=0.002)


@pytest.mark.parametrize(
    ("celsius", "expected"),
    # S3-10, read at second hand, two transcriptions: EN 1999-1-2 Table 1a; 175 and 225 C between its rows
    [(20, 1.0), (100, 0.95), (150, 0.91), (175, 0.85), (200, 0.79), (225, 0.67), (250, 0.55), (300, 0.31), (350, 0.10)],
)
def test_fire_code_derating(celsius: float, expected: float) -> None:
    assert material("6061-T6").yield_ratio(celsius + 273.15, "EN 1999-1-2") == pytest.approx(expected, abs=0.005)


def test_the_default_derating_is_the_lower_one() -> None:
    # T-5: EN 1999-1-2 is 5 points (100 C) to 10 points (200 C) less conservative than the half-hour curves
    tube = material("6061-T6")
    for celsius, points in ((100, 5), (200, 10)):
        gap = tube.yield_ratio(celsius + 273.15, "EN 1999-1-2") - tube.yield_ratio(celsius + 273.15)
        assert gap * 100 == pytest.approx(points, abs=0.5)


@pytest.mark.parametrize(("fahrenheit", "expected"), [(300, 96), (400, 90), (500, 81), (600, 70)])
def test_modulus_at_temperature(fahrenheit: float, expected: float) -> None:
    # S3-13, read at second hand: MIL-HDBK-5J Fig 3.6.2.2.4, percent
    kelvin = (fahrenheit - 32) / 1.8 + 273.15
    assert material("6061-T6").modulus_ratio(kelvin) * 100 == pytest.approx(expected, abs=1.5)


@pytest.mark.parametrize(("celsius", "expected"), [(20, 70.0), (100, 67.9), (200, 60.2), (300, 47.6), (400, 28.0)])
def test_fire_code_modulus(celsius: float, expected: float) -> None:
    # S3-14, read at second hand: EN 1999-1-2 Table 2, GPa on 70 at 20 C
    assert material("6061-T6").modulus_ratio(celsius + 273.15, "EN 1999-1-2") * 70.0 == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(
    ("name", "yields", "tensile"),
    [
        ("6061-T6", 0.48, 0.67),  # S3-30, read at second hand: EN 1999-1-1 Table 3.2b, 115/240 and 175/260 MPa
        ("6061-T4", 0.86, 0.83),  # S3-31
        ("6063-T6", 0.41, 0.56),  # S3-32, extruded
    ],
)
def test_weld_zone_ratios(name: str, yields: float, tensile: float) -> None:
    found = material(name)
    assert (found.heat_affected_yield_ratio, found.heat_affected_ultimate_ratio) == (yields, tensile)


def test_weld_zone_beside_the_other_code() -> None:
    # S3-33, remembered (weak): Aluminum Design Manual 24/15 ksi welded 6061-T6, ratios 0.63/0.43 on 38/35 ksi; a band
    found = material("6061-T6")
    assert found.heat_affected_ultimate_ratio == pytest.approx(0.63, abs=0.06)
    assert found.heat_affected_yield_ratio == pytest.approx(0.43, abs=0.06)


@pytest.mark.parametrize(
    ("name", "expected"),
    # S8-01, read at second hand, lb/in3: MIL-HDBK-5J
    [("6061-T6", 0.098), ("2024-T3", 0.100), ("4130", 0.283), ("1025", 0.284), ("304", 0.286)],
)
def test_densities(name: str, expected: float) -> None:
    assert material(name).density == pytest.approx(expected * POUND_PER_CUBIC_INCH, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    # S8-02, bands: paper phenolic, G10, PVC, EPDM read at second hand; graphite read (two extruded grades of a maker);
    # nitrile, fluoroelastomer remembered
    [
        ("paper-phenolic", 1320, 1360),
        ("G10", 1800, 1850),
        ("PVC", 1390, 1390),
        ("EPDM", 1150, 1150),
        ("graphite", 1600, 1720),
        ("nitrile", 1000, 1200),
        ("fluoroelastomer", 1800, 1850),
    ],
)
def test_density_bands(name: str, low: float, high: float) -> None:
    found = material(name).density
    assert found is not None and low <= found <= high


def test_conductivity_of_aluminium_is_not_its_specific_heat() -> None:
    # T-4: a figure mislabelled K prints 0.20-0.26 Btu/lb-F, and a file has "expansion 167"; S3-40 for the numbers
    found = material("6061-T6")
    assert (found.conductivity, found.specific_heat) == (167.0, 896.0)
    assert found.expansion == pytest.approx(23.6e-6)


def test_diffusivity() -> None:
    # S3-40, derived: 6.90e-5 m2/s on 2700 kg/m3
    found = material("6061-T6 typical")
    assert found.conductivity is not None and found.density is not None and found.specific_heat is not None
    assert found.conductivity / (found.density * found.specific_heat) == pytest.approx(6.90e-5, rel=0.005)


def test_extruded_tube_carries_its_scope_note() -> None:
    # T-8, read: ASTM B221 scope
    assert "not meant to hold fluid pressure" in material("6061-T6 extrusion").caution
    assert material("6061-T6").name != material("6061-T6 extrusion").name


@pytest.mark.parametrize(
    ("name", "theirs"),
    # S6-01, S6-05, S6-06, S6-08: the general heat transfer library ht, its ISO 10456 style table
    [
        ("phenolic resin", "Plastics, phenolic resin"),
        ("PVC", "Plastics, Polyvinylchloride (PVC)"),
        ("EPDM", "Rubber, ethylene propylene diene monomer (EPDM)"),
        ("epoxy resin", "Plastics, epoxy resin"),
        ("kraft paperboard", "Vegetable fiber board, Laminated paperboard"),  # S6-07, ASHRAE
    ],
)
def test_liner_properties_beside_a_reference_library(name: str, theirs: str) -> None:
    insulation = pytest.importorskip("ht.insulation")
    found = material(name)
    assert found.density == pytest.approx(insulation.rho_material(theirs), rel=0.03)
    assert found.conductivity == pytest.approx(insulation.k_material(theirs), rel=0.03)
    assert found.specific_heat == pytest.approx(insulation.Cp_material(theirs), rel=0.03)


@pytest.mark.parametrize("name", ["1026 DOM", "4130 normalised", "1018 cold drawn"])
@pytest.mark.parametrize(
    ("celsius", "proportional", "effective", "modulus"),
    # read at second hand: EN 1993-1-2 Table 3.1 in four transcriptions, k_p, k_y and k_E
    [
        (100, 1.0, 1.0, 1.0), (200, 0.807, 1.0, 0.9), (300, 0.613, 1.0, 0.8), (400, 0.42, 1.0, 0.7), (500, 0.36, 0.78, 0.6),
        (600, 0.18, 0.47, 0.31),
    ],
)  # fmt: skip
def test_steel_hot(name: str, celsius: float, proportional: float, effective: float, modulus: float) -> None:
    found, kelvin = material(name), celsius + 273.15
    assert found.yield_ratio(kelvin) == pytest.approx(proportional) and found.ultimate_ratio(kelvin) == pytest.approx(effective)
    assert found.modulus_ratio(kelvin) == pytest.approx(modulus)
