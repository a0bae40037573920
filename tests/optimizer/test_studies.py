"""The studies and the starter folder: they read, say that they are invented, and have designs that meet the limits."""

from pathlib import Path

import numpy as np
import pytest

from optimizer.inputs import InputError, load_firing, load_motor, load_propellant, load_study
from optimizer.results import OutputError
from optimizer.shop import read_stock
from optimizer.space import Space
from optimizer.starter import FILES, create
from physics.assessment import assess

STUDIES = Path(__file__).parents[2] / "studies"
NAMES = ("fit_airframe", "wall_vs_mass", "grain_count")


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    folder = tmp_path_factory.mktemp("new") / "motors of mine"
    create(folder)
    return folder


def feasible(study, sample=400):
    """How many of a seeded sample of candidates meet limits, ladder and target; and the sample's size."""
    space = Space(study)
    count = min(sample, space.size)
    index = np.random.default_rng(1).choice(space.size, count, replace=False)
    candidates = space.candidates(space.digits(index))
    found = assess(candidates.motors, "steady")
    good = np.asarray(candidates.possible).copy()
    impulse = found.figures["total_impulse"]
    low, high = study.target or (0.0, np.inf)
    good &= (impulse > low) & (impulse <= high)
    for limit in study.limits:
        values = (
            found.maximum_expected_pressure
            if limit.quantity == "maximum_expected_pressure"
            else found.figures[limit.quantity]
        )
        good &= values >= (-np.inf if limit.minimum is None else limit.minimum)
        good &= values <= (np.inf if limit.maximum is None else limit.maximum)
    for rung in found.ladder.rungs:
        good &= np.broadcast_to(rung.ok, good.shape)
    return int(good.sum()), count


class TestStudies:
    def test_every_file_is_read(self):
        assert {path.stem for path in STUDIES.glob("*.toml")} == set(NAMES)
        for path in STUDIES.glob("motors/*.toml"):
            assert load_motor(path).motors.size == 1
        for path in STUDIES.glob("propellants/*.toml"):
            assert load_propellant(path).provenance
        for path in STUDIES.glob("stock/*.csv"):
            assert read_stock(path).items

    @pytest.mark.parametrize("path", sorted(STUDIES.rglob("*.*")), ids=lambda path: path.name)
    def test_says_that_it_is_invented(self, path):
        assert "INVENTED" in path.read_text(encoding="utf-8").splitlines()[0]

    @pytest.mark.parametrize("name", NAMES)
    def test_asks_a_question(self, name):
        assert "QUESTION" in (STUDIES / f"{name}.toml").read_text(encoding="utf-8")

    @pytest.mark.parametrize("name", NAMES)
    def test_some_designs_meet_the_limits_and_some_do_not(self, name):
        study = load_study(STUDIES / f"{name}.toml")
        good, count = feasible(study)
        assert 0 < good < count / 2
        assert len(study.objectives) >= 2

    @pytest.mark.parametrize("path", sorted(STUDIES.glob("motors/*.toml")), ids=lambda path: path.stem)
    def test_base_motors_stand(self, path):
        found = assess(load_motor(path).motors, "steady")
        assert len(found.ladder.rungs) > 10
        assert all(rung.ok.all() for rung in found.ladder.rungs)


class TestStarter:
    def test_files_are_written_and_read(self, starter):
        assert sorted(str(path.relative_to(starter)) for path in starter.rglob("*") if path.is_file()) == sorted(FILES)
        study = load_study(starter / "study.toml")
        assert study.variables["wall"].stock == "shop-tubes"
        firing = load_firing(starter / "firing.toml")
        assert firing.record == starter / "firing.csv" and firing.motor is not None
        assert load_firing(starter / "failed_firing.toml").observed

    def test_every_file_is_commented_and_says_that_it_is_no_real_motor(self, starter):
        for path in starter.rglob("*.*"):
            if path.suffix == ".toml" or path.parent.name == "stock":
                text = path.read_text(encoding="utf-8")
                assert "INVENTED" in text or "SIMULATED" in text, path.name
                assert text.startswith("# ")

    def test_motor_stands_and_the_study_has_designs(self, starter):
        found = assess(load_motor(starter / "motor.toml").motors, "steady")
        assert all(rung.ok.all() for rung in found.ladder.rungs)
        good, count = feasible(load_study(starter / "study.toml"))
        assert 0 < good < count

    def test_the_record_is_the_simulated_firing_of_that_motor(self, starter):
        table = np.loadtxt(starter / "firing.csv", delimiter=",", skiprows=1)
        motor = load_motor(starter / "motor.toml").motors
        figures = assess(motor, "steady").figures
        impulse = float(np.trapezoid(table[:, 2], table[:, 0])) * 9.80665
        assert impulse == pytest.approx(float(figures["total_impulse"][0]), rel=0.02)

    def test_nothing_is_written_over(self, tmp_path):
        (tmp_path / "motor.toml").write_text("mine")
        with pytest.raises(InputError, match=r"motor\.toml already"):
            create(tmp_path)
        assert [path.name for path in tmp_path.iterdir()] == ["motor.toml"]
        assert (tmp_path / "motor.toml").read_text() == "mine"

    def test_a_file_in_the_way(self, tmp_path):
        (tmp_path / "x").write_text("")
        with pytest.raises(InputError, match="is a file"):
            create(tmp_path / "x")
        with pytest.raises(OutputError):
            create(tmp_path / "x" / "y")
