"""What the tests of the search share: small invented studies, written into a folder, and a one-by-one oracle."""

from __future__ import annotations

import itertools
from collections import Counter
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scenario import LINER, searched

from physics.failure import ladder

MOTOR = searched(liner="LINER\n")
STUDY = """
schema = 1
name = "Invented study"
motor = "base.toml"
[target]
impulse = ["700 N*s", "2500 N*s"]
[search]
{search}
[limits]
{limits}
[objectives]
{objectives}
[driver]
{driver}
"""
SEARCH = """
grain_count = {from = 3, to = 5}
core_diameter = {from = "15 mm", to = "19 mm", step = "2 mm"}
throat_diameter = {from = "11 mm", to = "15 mm", step = "2 mm"}
wall = {from = "2 mm", to = "4 mm", step = "1 mm"}
forward_closure.count = {from = 4, to = 12, step = 4}
forward_closure.screw = ["#8-32 UNC", "1/4-20 UNC"]
"""
LIMITS = """
maximum_pressure = "9 MPa"
minimum_factor = {"screw shear" = 2.0, "case yield" = 1.5}
port_over_throat = {min = 1.2}
"""
OBJECTIVES = """
loaded_mass = "min"
total_impulse = "max"
smallest_factor = "max"
"""
DRIVER = 'kernel = "steady"'


def write_study(folder: Path, search: str = SEARCH, limits: str = LIMITS, objectives: str = OBJECTIVES,
                driver: str = DRIVER, liner: bool = False, motor: str = MOTOR, name: str = "study"):  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "base.toml").write_text(motor.replace("LINER", LINER if liner else ""))
    path = folder / f"{name}.toml"
    path.write_text(STUDY.format(search=search, limits=limits, objectives=objectives, driver=driver))
    return path


def dominates(left, right):
    return bool((left <= right).all() and (left < right).any())


def brute_force(study):
    """Every candidate one by one through the motor file, as a builder would: front and counts.

    Nothing of the search but the index of a candidate is used."""
    from optimizer.candidates.pareto import rounded
    from optimizer.candidates.space import Space
    from optimizer.inputs import motor_from_text
    from optimizer.inputs.writing import motor_text
    from optimizer.problems import InputError
    from physics.assessment import assess

    space = Space(study)
    good, feasible, impossible, heat = [], 0, 0, Counter()
    for digits in itertools.product(*(range(radix) for radix in space.radices)):
        text = motor_text(study.motor, space.changes(digits) | {"grain": space.grain_rows(digits)}, "one")
        try:
            motors = motor_from_text(text, study.motor.path).motors
        except InputError:
            impossible += 1
            continue
        found = assess(motors, curve=True)
        broken = _heat_broken(study, found)
        if _passes(study, found, broken):
            heat.update(broken)  # of what passes everything else
        if _passes(study, found):
            feasible += 1
            values = [_value(found, aim.name) * (1 if aim.sense == "min" else -1) for aim in study.objectives]
            good.append((digits, rounded(np.array(values))))
    front = {digits: tuple(values) for digits, values in good if not any(dominates(other, values) for _, other in good)}
    return SimpleNamespace(
        front=front, good=[digits for digits, _ in good], feasible=feasible, impossible=impossible, size=space.size, heat=heat
    )


def _heat_broken(study, found):
    """The modes that march heat, or last for a time, of which one candidate has not the factor."""
    late = {row.mode for row in ladder.MODES if row.marches_heat or row.lasts}
    return {rung.mode for rung in found.ladder.rungs if rung.mode in late and not _holds(study, rung)}


def _holds(study, rung):
    return float(rung.factor[0]) >= study.minimum_factor.get(rung.mode, float(rung.required[0]))


def _value(found, name):
    if name == "loaded_mass":
        return float(found.masses["loaded"][0])
    if name == "smallest_factor":
        return float(found.smallest_factor[0])
    if name == "maximum_expected_pressure":
        return float(found.maximum_expected_pressure[0])
    if name.startswith("factor."):
        return min(float(rung.factor[0]) for rung in found.ladder.rungs if rung.mode == name.partition(".")[2])
    if name == "propellant_mass_fraction":
        return float(found.masses["propellant"][0] / found.masses["loaded"][0])
    if name.removesuffix("_mass") in found.masses and name != "propellant_mass":
        return float(found.masses[name.removesuffix("_mass")][0])
    return float(found.figures[name][0])


def _passes(study, found, but=frozenset()):
    if bool(found.figures.flags["port_choked"][0]) or not bool(found.fits[0]):
        return False
    low, high = study.target
    impulse = float(found.figures["total_impulse"][0])
    if not (low < impulse if study.target_open else low <= impulse) or not impulse <= high:
        return False
    for limit in study.limits:
        value = _value(found, limit.quantity)
        if not ((limit.minimum is None or value >= limit.minimum) and (limit.maximum is None or value <= limit.maximum)):
            return False
    return all(rung.mode in but or _holds(study, rung) for rung in found.ladder.rungs)


@pytest.fixture
def cases():
    return SimpleNamespace(
        write_study=write_study, brute_force=brute_force, MOTOR=MOTOR, SEARCH=SEARCH, LIMITS=LIMITS,
        OBJECTIVES=OBJECTIVES, DRIVER=DRIVER,
    )  # fmt: skip
