"""`list`: every table comes from what the product reads, each row may be written as it says, and nothing breaks at 80."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from optimizer.cli import main
from optimizer.commands import listing
from optimizer.commands.new import create
from optimizer.inputs import load_motor, load_study
from optimizer.inputs.stock import packaged_names
from optimizer.vocabulary import LIMIT_NAMES, MOTOR_KEYS
from physics.failure.ladder import MODES
from physics.materials import names


def run(*words):
    return CliRunner().invoke(main, ["list", *words])


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("table", listing.TABLES)
def test_each_table_is_one_json_object_and_a_table_that_breaks_no_word(table):
    answer = json.loads(run(table, "--json").stdout)
    assert answer["schema"] == 2 and answer["table"] == table and answer["rows"]
    shown = run(table)
    assert shown.exit_code == 0 and "…" not in shown.stdout
    assert all(len(line) <= 80 for line in shown.stdout.splitlines())
    name = next(iter(answer["rows"][0])) if table not in ("keys", "drills", "reamers", "tubes", "bars", "rings") else "name"
    if table != "keys":
        assert all(str(row[name]) in shown.stdout for row in answer["rows"])


def test_the_tables_are_whole():
    rows = {table: listing.rows_of(table) for table in listing.TABLES}
    keys = {f"{row['table']}.{row['key']}".lstrip(".") for row in rows["keys"] if row["file"] == "motor"}
    assert set(MOTOR_KEYS) <= keys
    assert set(LIMIT_NAMES) <= {row["name"] for row in rows["figures"]}
    assert {row["name"] for row in rows["materials"]} == set(names())
    assert {row["name"] for row in rows["grades"]} == set(names("screw"))
    assert [row["mode"] for row in rows["modes"]] == [mode.mode for mode in MODES]
    stocks = {row["stock"] for table in ("drills", "reamers", "tubes", "bars", "rings") for row in rows[table]}
    assert stocks == {name for name in packaged_names() if not name.startswith("screws")}


def test_a_search_for_a_word_narrows_and_none_says_no():
    found = json.loads(run("keys", "--find", "Throat recession", "--json").stdout)["rows"]
    assert found and all("throat" in str(row).casefold() and "recession" in str(row).casefold() for row in found)
    assert len(found) < len(listing.rows_of("keys"))
    nothing = run("screws", "--find", "left-handed unobtainium")
    assert nothing.exit_code == 1 and "nothing" in nothing.stdout


def test_an_unknown_table_names_those_that_there_are():
    result = run("screw")
    assert result.exit_code == 2 and result.stdout == "" and "did you mean screws" in result.stderr
    assert all(table in result.stderr for table in listing.TABLES)


def test_lists_of_ones_own_are_read_from_where_one_stands(tmp_path):
    create(tmp_path / "start")
    (tmp_path / "stock").mkdir()
    (tmp_path / "stock" / "my-drills.csv").write_text("name,diameter [mm]\nsharp one,7.7\n")
    assert {"stock": "my-drills", "name": "sharp one", "diameter": "7.7 mm"} in json.loads(run("drills", "--json").stdout)["rows"]


def test_what_is_listed_may_be_written(tmp_path):
    create(tmp_path / "start")
    motor, study = tmp_path / "start" / "motor.toml", tmp_path / "start" / "study.toml"
    text = motor.read_text()
    for row in listing.rows_of("grades"):
        motor.write_text(re.sub(r'grade = "[^"]*"', f'grade = "{row["name"]}"', text))
        assert load_motor(motor)
    for row in listing.rows_of("screws")[:12]:
        motor.write_text(re.sub(r'screw = "[^"]*"', f'screw = "{row["name"]}"', text))
        load_motor(motor)
    motor.write_text(text)
    asked = study.read_text()
    for row in listing.rows_of("figures"):
        if row["name"] != "maximum_pressure" and row["name"] not in asked and row["may be"] != "limit":
            study.write_text(asked.replace("[limits]", f"[limits]\n{row['name']} = {{max = 1e9}}".replace(
                "1e9", f'"1e9 {row["unit"]}"' if row["unit"] else "1e9"), 1))  # fmt: skip
            load_study(study)


def test_defaults_are_those_of_the_reading(tmp_path):
    create(tmp_path / "start")
    drivers = {row["key"]: row["default"] for row in listing.rows_of("keys") if row["table"] == "driver"}
    text = (tmp_path / "start" / "study.toml").read_text()
    (tmp_path / "start" / "study.toml").write_text(re.sub(r"(?s)\[driver\].*?(?=\n\[|\Z)", "[driver]\n", text))
    read = load_study(tmp_path / "start" / "study.toml").driver
    assert {key: getattr(read, key) for key in drivers} == drivers
