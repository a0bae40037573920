"""Any text and any data as an input file: read, or refused with file, line and cure; and records that are not ours."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import fault_inputs
import pytest
from click.testing import CliRunner
from effort import examples
from fault_common import MOTOR, write_study
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.cli import main
from optimizer.inputs import InputError, load_firing, load_motor, load_propellant, load_study, motor_from_text
from optimizer.inputs.stock import read_stock
from optimizer.inputs.text import toml_text

LOADERS = {"motor": load_motor, "study": load_study, "propellant": load_propellant, "firing": load_firing, "stock": read_stock}
ANY = settings(max_examples=examples(150, 40), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

keys = st.sampled_from(
    ["schema", "name", "motor", "propellant", "grain", "nozzle", "case", "search", "limits", "driver", "wall", "count", "from",
     "to", "step", "stock", "rate", "tolerances", "soak", "use", "material", "screw", "columns", "observed", "record"]
) | st.text(max_size=6)  # fmt: skip
values = st.recursive(
    st.integers() | st.floats() | st.booleans() | st.text(max_size=12)
    | st.sampled_from(["13 mm", "0.75 in", "900 psi", "6061-T6", "fill", "motors/x.toml", "NaN m", "1e999 mm", "-3 mm"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=5),
    max_leaves=25,
)  # fmt: skip


def read(kind: str, path: Path) -> None:
    """Read a file; a refusal must name the file and have something to say."""
    try:
        LOADERS[kind](path)
    except InputError as error:
        assert error.problems and all(item.problem and item.file for item in error.problems)
        assert "nothing was run" in str(error)
        assert all(character.isprintable() or character == "\n" for character in str(error)), repr(str(error))


@pytest.mark.parametrize("kind", LOADERS)
@ANY
@given(content=st.text() | st.binary(max_size=400))
def test_any_text_and_any_bytes(tmp_path, kind, content):
    path = tmp_path / "any.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass"))
    read(kind, path)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["motor", "study", "propellant", "firing"])
@ANY
@given(data=st.dictionaries(keys, values, max_size=8))
def test_any_data(tmp_path, kind, data):
    path = tmp_path / "any.toml"
    path.write_bytes(toml_text(data).encode("utf-8", "surrogatepass"))
    read(kind, path)


@ANY
@given(st.integers(0, 2**32 - 1))
def test_a_sound_motor_with_changes(tmp_path, seed):
    import random

    content = fault_inputs.mutated(MOTOR.encode(), random.Random(seed))
    path = tmp_path / "changed.toml"
    path.write_bytes(content)
    read("motor", path)


@pytest.mark.parametrize("seed", range(40))
def test_a_motor_of_any_allowed_numbers_has_figures_or_says_why_not(seed):
    """Numbers from the whole range that each key allows: JSON without NaN, exit 0 or 1, or a refusal."""
    import random

    from optimizer.actions import check_answer
    from optimizer.cautions import cautions
    from optimizer.results import json_text
    from physics.assessment import assess

    text = fault_inputs.generated_motor(random.Random(seed)).decode()
    try:
        file = motor_from_text(text, Path("any.toml"))
    except InputError:
        return
    found = assess(file.motors, curve=True)
    answer = json.loads(json_text(check_answer(file.name, found, cautions(found))))
    for rung in answer["ladder"]:
        asked = rung["required"] is not None  # of advice nothing is
        assert not (rung["ok"] and asked) or rung["factor"] is None or rung["factor"] >= rung["required"], rung


@pytest.mark.slow
@pytest.mark.parametrize("seed", [3, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (0, 1, 2, 4, 5, 6, 7))])
def test_records_changed_as_records_go_wrong(tmp_path, seed):
    """Units, signs, shifts, ramps, clipping, spikes, gaps, torn cables: figures, or a refusal; never a traceback."""
    import random
    import warnings

    from fault_common import ROOT
    from fault_records import mutated_columns, mutated_record

    from optimizer.commands.explain import explain
    from optimizer.firings.reduction import reduce_firing

    starter = ROOT / "optimizer" / "starter"
    for name in ("motor.toml", "propellant.toml"):
        (tmp_path / name).write_bytes((starter / name).read_bytes())
    for number in range(20):
        draw = random.Random(1000 * seed + number)
        (tmp_path / "firing.csv").write_bytes(mutated_record((starter / "firing.csv").read_bytes(), draw))
        (tmp_path / "f.toml").write_bytes(mutated_columns((starter / "firing.toml").read_bytes(), draw))
        with warnings.catch_warnings(), fault_inputs.timed():
            warnings.simplefilter("error", RuntimeWarning)
            try:
                firing = load_firing(tmp_path / "f.toml")
                measured = reduce_firing(firing).as_json()
                json.dumps(measured, allow_nan=False)
                assert measured["measured"]["action_time"] > 0.0
                if firing.observed:
                    shares = explain(firing).as_json()
                    json.dumps(shares, allow_nan=False)
            except InputError as error:
                assert all(item.problem and item.fix for item in error.problems), number


def test_a_case_left_out_under_an_airframe_is_said_and_not_fatal(tmp_path):
    start, stop = MOTOR.index("[case]"), MOTOR.index("[forward_closure]")
    path = tmp_path / "bare.toml"
    path.write_text(MOTOR[:start] + MOTOR[stop:])
    result = CliRunner().invoke(main, ["check", str(path), "--json"])
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    assert answer["fit"] is None and any(caution["about"] == "fit not assessed" for caution in answer["cautions"])
    drawn = CliRunner().invoke(main, ["draw", str(path), "--json", "--out", str(tmp_path / "out")])
    assert drawn.exit_code == 2 and "case.outer_diameter" in drawn.stderr and not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "foreign", ["text", *(pytest.param(one, marks=pytest.mark.slow) for one in ("database", "empty", "truncated"))]
)
def test_a_record_that_is_not_ours_is_kept_and_named(tmp_path, foreign):
    study = write_study(tmp_path, throat="2 mm")
    out = tmp_path / "out"
    out.mkdir()
    record = out / "record.db"
    line = ["search", str(study), "--json", "--out", str(out)]
    if foreign == "text":
        record.write_text("somebody's notes\n" * 400)
    elif foreign == "database":
        made = sqlite3.connect(record)
        made.execute("CREATE TABLE photographs (name TEXT)")
        made.execute("INSERT INTO photographs VALUES ('launch')")
        made.commit()
        made.close()
    elif foreign == "empty":
        record.touch()
    else:
        assert CliRunner().invoke(main, line).exit_code == 0
        record.write_bytes(record.read_bytes()[:6000])
    before = record.read_bytes()
    result = CliRunner().invoke(main, line)
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    if before:
        assert any("record-damaged.db" in message for message in answer["messages"])
        assert (out / "record-damaged.db").read_bytes() == before
    assert answer["designs"] and answer["exact"] is True


@pytest.mark.slow
def test_the_folder_of_another_study_is_refused_with_what_to_do(tmp_path):
    one, two = (write_study(tmp_path / name, throat="2 mm") for name in ("one", "two"))
    out = str(tmp_path / "out")
    assert CliRunner().invoke(main, ["search", str(one), "--quiet", "--out", out]).exit_code == 0
    before = (tmp_path / "out" / "pareto.json").read_bytes()
    result = CliRunner().invoke(main, ["search", str(two), "--quiet", "--out", out])
    assert result.exit_code == 2 and "--out" in result.stderr and "another study" in result.stderr
    assert (tmp_path / "out" / "pareto.json").read_bytes() == before
