"""Short names on a motor of several rows of grains: of all rows alike, or refused with the long names."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from optimizer import load_study, search
from optimizer.candidates.space import Space
from optimizer.problems import InputError
from physics import evaluate

HALF = """
[[grain]]
count = 1
length = "35 mm"
outer_diameter = "39.6 mm"
core_diameter = "15 mm"
burning_ends = 2
"""


def written(folder: Path, searched: str, first: str = HALF, limits: str = "") -> Path:
    starter = resources.files("optimizer") / "starter"
    (folder / "propellant.toml").write_text((starter / "propellant.toml").read_text())
    motor = (starter / "motor.toml").read_text().replace("count = 3", "count = 2")
    (folder / "motor.toml").write_text(motor.replace("\n[[grain]]", f"{first}\n[[grain]]", 1))
    path = folder / "study.toml"
    path.write_text(
        f'schema = 1\nname = "Rows"\nmotor = "motor.toml"\n[search]\n{searched}\n[limits]\n{limits}\n[objectives]\n'
        'loaded_mass = "min"\nsmallest_factor = "max"\n[driver]\nkernel = "steady"\n'
    )
    return path


def leaf(folder: Path, searched: str, name: str, **how: str) -> np.ndarray:
    space = Space(load_study(written(folder, searched, **how)))
    return np.asarray(getattr(space.candidates(space.digits(range(space.size))).motors.grain, name))


def test_a_short_name_moves_every_row_that_is_alike_in_it(tmp_path):
    cores = leaf(tmp_path, 'core_diameter = ["14 mm", "16 mm"]', "core_diameter")
    assert cores.tolist() == [[0.014, 0.014], [0.016, 0.016]]
    same = HALF.replace("35 mm", "70 mm")
    assert leaf(tmp_path, 'grain_length = ["60 mm"]', "length", first=same).tolist() == [[0.06, 0.06]]
    wide = same.replace('"15 mm"', '"18 mm"')  # each row by its own diameters: (3 D + d)/2
    lengths = leaf(tmp_path, 'grain_length = "neutral"\nthroat_diameter = ["10 mm"]', "length", first=wide)
    assert lengths[0] == pytest.approx([(3 * 39.6 + 18) / 2e3, (3 * 39.6 + 15) / 2e3], abs=1e-9)


@pytest.mark.parametrize(("row", "wanted"), [(0, [0.016, 0.015]), (1, [0.015, 0.016])])
def test_a_long_name_moves_its_row_alone(tmp_path, row, wanted):
    assert leaf(tmp_path, f'grain.{row}.core_diameter = ["16 mm"]', "core_diameter")[0].tolist() == wanted


def test_the_count_of_the_first_row_fills_the_case_under_its_long_name(tmp_path):
    counts = leaf(tmp_path, 'grain_length = "fill"\ngrain.0.count = [1, 2]', "count")
    assert counts.tolist() == [[1, 2], [2, 2]]
    lengths = leaf(tmp_path, 'grain_length = "fill"\ngrain.0.count = [1, 2]', "length")
    assert lengths[0, 0] == pytest.approx(2 * lengths[1, 0]) and (lengths[:, 1] == 0.07).all()


@pytest.mark.parametrize(
    ("searched", "long"),
    [
        ('grain_length = ["60 mm", "65 mm"]', "grain.0.length, grain.1.length"),
        ('grain.length = ["60 mm"]', "grain.0.length, grain.1.length"),
        ("grain_count = [2, 3]", "grain.0.count, grain.1.count"),
        ('core_diameter_aft = ["16 mm"]\naft_count = [1]', "grain.0.core_diameter, grain.1.core_diameter"),
        ('grain_length = "neutral"', "make the rows one"),
    ],
)
def test_what_is_not_one_answer_is_refused_with_the_long_names(tmp_path, searched, long):
    with pytest.raises(InputError) as refused:
        load_study(written(tmp_path, searched))
    assert any(long in problem.fix for problem in refused.value.problems)
    assert all("rows of grains" in problem.problem for problem in refused.value.problems)


def test_a_row_is_not_set_twice(tmp_path):
    with pytest.raises(InputError, match="sets already"):
        load_study(written(tmp_path, 'core_diameter = ["14 mm"]\ngrain.1.core_diameter = ["16 mm"]'))


def test_what_to_relax_is_judged_with_every_row_moved(tmp_path):
    """A wider core in all rows opens the port that is narrowest, wherever it is; the advice names what it then takes."""
    study = load_study(written(tmp_path, 'core_diameter = ["15 mm", "16 mm"]', limits="port_over_throat = {min = 9.0}"))
    result = search(study)
    assert not result.designs
    nearest = result.nearest[0]
    assert nearest["variables"]["core_diameter"] == pytest.approx(0.016)
    space = Space(study)
    widest = evaluate(space.candidates(space.digits([1])).motors)["port_over_throat"][0]
    missed = next(miss for miss in nearest["misses"] if miss["limit"] == "port_over_throat")
    assert missed["value"] == pytest.approx(float(widest))
    assert float(widest) == pytest.approx((16 / 10) ** 2, rel=1e-9)
