"""The studies and the starter folder: they read, say that they are invented, and have designs that meet the limits."""

import re
from pathlib import Path

import numpy as np
import pytest

from optimizer.candidates.space import Space
from optimizer.cli import main
from optimizer.commands.new import FILES, create
from optimizer.inputs import FINDINGS, InputError, load_firing, load_motor, load_propellant, load_study
from optimizer.inputs.stock import packaged_names, read_stock
from optimizer.results import OutputError
from physics.assessment import assess

STUDIES = Path(__file__).parents[2] / "studies"
WRITTEN = [path for path in sorted(STUDIES.rglob("*.*")) if path.suffix not in (".svg", ".png")]
"""All but the pictures, whose captions stand in the README."""
NAMES = ("fit_airframe", "wall_vs_mass", "grain_count", "highest_flight")


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    folder = tmp_path_factory.mktemp("new") / "motors of mine"
    create(folder)
    return folder


def feasible(study, sample=200):
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
    known = {"maximum_expected_pressure": found.maximum_expected_pressure, **found.figures.values}
    known |= {} if found.flight is None else found.flight.figures
    for limit in study.limits:
        values = known["coldest_rail_exit_speed" if limit.quantity == "rail_exit_speed" else limit.quantity]
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

    @pytest.mark.parametrize(
        "path", [path for path in STUDIES.rglob("*.*") if path.suffix not in (".svg", ".png")], ids=lambda path: path.name
    )
    def test_says_that_it_is_invented(self, path):
        assert "INVENTED" in path.read_text(encoding="utf-8").splitlines()[0]

    @pytest.mark.parametrize("name", NAMES)
    def test_asks_a_question(self, name):
        assert "QUESTION" in (STUDIES / f"{name}.toml").read_text(encoding="utf-8")

    @pytest.mark.parametrize(
        "name", [pytest.param(name, marks=() if name == "grain_count" else pytest.mark.slow) for name in NAMES]
    )
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

    def test_what_is_commented_out_would_be_read(self, tmp_path):
        """Every line of the study that is a commented example, uncommented, in place of what it would double."""
        create(tmp_path)
        path = tmp_path / "study.toml"
        text = path.read_text(encoding="utf-8")
        examples = re.findall(r"^# ([a-z_.]+) = ", text, flags=re.M)
        assert examples == ["expansion_ratio", "forward_closure.count", "total_impulse", "chance_of_failure", "samples"]
        path.write_text(re.sub(r"^# (?=[a-z_.]+ = )", "", text, flags=re.M), encoding="utf-8")
        study = load_study(path)
        assert {"expansion_ratio", "forward_closure.count"} <= set(study.variables)
        assert {"total_impulse_p5", "chance_of_failure"} <= {limit.name for limit in study.limits}
        told = re.search(r"^# or: (.*); of one rung alone: (.*)$", text, flags=re.M)
        path.write_text(text.replace('total_impulse = "max"', f"{told[1]}\n{told[2]}"), encoding="utf-8")
        assert [aim.name for aim in load_study(path).objectives][:2] == ["total_impulse_p5", "factor.screw shear"]

    def test_the_findings_and_lists_that_it_names_are_all_there_are(self, starter):
        text = " ".join((starter / "failed_firing.toml").read_text(encoding="utf-8").replace("# ", "").split())
        assert "What may be found: " + ", ".join(FINDINGS) + "." in text
        told = (starter / "study.toml").read_text(encoding="utf-8")
        missing = [name for name in packaged_names() if name not in told]
        # Bars are for cut lists; O-rings are named by their dash in a motor file.
        assert missing == ["bars-imperial", "bars-metric", "orings-as568"]

    def test_each_command_that_it_tells_is_there(self, starter):
        """The comments name commands, and files that lie in the folder or will be among the results."""
        told = [
            line.split("grainwright ")[1:]
            for path in starter.glob("*.toml")
            for line in path.read_text(encoding="utf-8").splitlines()
            if line.startswith("#") and "grainwright " in line
        ]
        commands = [piece.split() for pieces in told for piece in pieces]
        assert {words[0] for words in commands} >= {"search", "check", "spread", "draw", "compare", "reduce", "explain"}
        for words in commands:
            assert words[0] in main.commands
            assert (starter / words[1]).exists() or words[1].startswith("results/"), words

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
