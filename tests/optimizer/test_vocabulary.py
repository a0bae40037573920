"""The vocabulary: every entry is whole, every column exists, every figure of the kernel has a name."""

import dataclasses

import pytest

from optimizer.units import DIMENSIONS, parse_quantity, unit
from optimizer.vocabulary import (
    BOTH_ENDS,
    COLUMN_KEYS,
    LIMIT_NAMES,
    MOTOR_KEYS,
    QUANTITIES,
    RENAMED,
    SHORT_KEYS,
    at_percentile,
    column_of,
    find_quantity,
)
from physics import motors
from physics.figures import FIGURES, GROUPS, in_groups

PARTS = {
    "propellant": motors.Propellant,
    "grain": motors.Grains,
    "nozzle": motors.Nozzle,
    "case": motors.Case,
    "liner": motors.Liner,
    "forward_closure": motors.Closure,
    "aft_closure": motors.Closure,
    "airframe": motors.Airframe,
    "rocket": motors.Rocket,
    "launch": motors.Launch,
    "masses": motors.Weighed,
    "ambient": motors.Ambient,
    "screws": motors.Screws,
    "seal": motors.Seal,
    "threaded_ring": motors.ThreadedRing,
    "snap_ring": motors.SnapRing,
    "welded_lip": motors.WeldedLip,
    "plug": motors.Plug,
}


@pytest.mark.parametrize("name", sorted(QUANTITIES))
def test_units_of_a_quantity_are_of_its_dimension(name):
    entry = QUANTITIES[name]
    assert entry.meaning and entry.digits >= 3
    for text in (entry.si_unit, entry.metric_unit, entry.imperial_unit):
        assert (not text) == (entry.dimension == "ratio")
        if text:
            assert unit(text).vector == DIMENSIONS[entry.dimension].vector
    if entry.si_unit:
        assert float(unit(entry.si_unit).factor) == 1.0


@pytest.mark.parametrize("key", sorted(MOTOR_KEYS))
def test_key_is_whole_and_its_column_exists(key):
    spec = MOTOR_KEYS[key]
    assert spec.meaning and spec.kind
    if spec.kind in ("quantity", "number", "whole", "quantities"):
        assert spec.low < spec.high or key == "schema"
    if isinstance(spec.default, str) and spec.kind == "quantity":
        assert spec.low <= parse_quantity(spec.default, spec.dimension) <= spec.high
    if spec.column:
        names = spec.column.split(".")
        owner = PARTS[names[-2]]
        assert names[-1] in {item.name for item in dataclasses.fields(owner)}, spec.column


def test_short_keys_name_columns():
    for name, key in SHORT_KEYS.items():
        assert column_of(name) == MOTOR_KEYS[key].column
    for column in BOTH_ENDS.values():
        owner = PARTS[f"forward_closure.{column}".split(".")[-2]]
        assert column.split(".")[-1] in {item.name for item in dataclasses.fields(owner)}


def test_columns_lead_back_to_their_keys():
    assert COLUMN_KEYS["case.wall"] == "case.wall"
    assert COLUMN_KEYS["propellant.rate"] == "propellant.rate.rate"
    assert COLUMN_KEYS["forward_closure.screws.count"] == "forward_closure.count"
    with pytest.raises(KeyError):
        column_of("case.material")


def test_every_figure_of_the_kernel_can_be_limited_and_has_units():
    assert set(FIGURES) <= set(LIMIT_NAMES)
    for name, figure in FIGURES.items():
        assert QUANTITIES[name].meaning == figure.meaning
        assert QUANTITIES[name].si_unit == ("" if figure.unit == "1" else figure.unit)


def test_a_percentile_has_the_units_of_its_quantity():
    assert find_quantity(at_percentile("peak_pressure", 97.5)) is QUANTITIES["peak_pressure"]
    assert find_quantity("factor.screw shear") is QUANTITIES["factor"]
    assert find_quantity("loudness_p5") is None


def test_figures_stand_in_groups_and_what_was_renamed_is_known_by_its_new_name_only():
    names = list(FIGURES)
    assert list(in_groups(names)) == list(GROUPS) and sum(map(len, in_groups(names).values())) == len(names)
    assert set(RENAMED.values()) <= set(FIGURES) and not set(RENAMED) & set(LIMIT_NAMES)


def test_port_and_burning_surface_are_apart_in_every_list():
    """Thrust and impulse stand between them, wherever figures are shown in the table's order."""
    four = ("kn_at_ignition", "highest_kn", "port_over_throat", "highest_mass_flux")
    places = [list(FIGURES).index(name) for name in four]
    assert places != sorted(places) and max(places) - min(places) > len(four)


def test_every_name_that_can_be_searched_is_shown_with_a_unit():
    """A name without a quantity would be printed in SI without saying so: a liner of 0.0016, in inches or in metres?"""
    names = [*SHORT_KEYS, *BOTH_ENDS, *(key for key, spec in MOTOR_KEYS.items() if spec.column)]
    assert len(names) > 80
    assert [name for name in names if find_quantity(name) is None] == []
