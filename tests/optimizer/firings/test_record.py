"""Records of firings as files: what is no table, too large, or no file at all is refused by name, within bounded memory."""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path

import pytest

from optimizer.firings import record
from optimizer.firings.record import LARGEST_RECORD, LONGEST_ROW, MOST_ROWS, read_record
from optimizer.inputs import InputError, load_firing

FIRING = """schema = 1
record = "r.csv"
motor = "motor.toml"
[columns]
time = {name = "t", unit = "s"}
pressure = {name = "p", unit = "bar"}
"""
MOTOR = 'schema = 1\nname = "Throat alone"\n[nozzle]\nthroat_diameter = "12 mm"\nexit_diameter = "28 mm"\nhalf_angle = "15 deg"\n'
SOUND = "t,p\n" + "".join(f"{i / 100},{1 + i}\n" for i in range(40))


@pytest.fixture
def firing(tmp_path: Path) -> Path:
    (tmp_path / "motor.toml").write_text(MOTOR)
    (tmp_path / "firing.toml").write_text(FIRING)
    (tmp_path / "r.csv").write_text(SOUND)
    return tmp_path / "firing.toml"


def refusal(firing: Path):
    with pytest.raises(InputError) as caught:
        read_record(load_firing(firing))
    (problem,) = caught.value.problems
    assert "r.csv" in str(problem) and problem.fix and len(str(caught.value)) < 2000
    assert all(character.isprintable() or character == "\n" for character in str(caught.value))
    return problem


def test_the_sound_record_is_read(firing):
    assert read_record(load_firing(firing)).time.size == 40


@pytest.mark.parametrize("cell", ["1e300,20", "-1e200,20", "0.4,1e250"])
def test_a_number_that_is_no_reading_is_left_out_and_told(firing, cell):
    """What a logger writes as it dies: its square is beyond the numbers there are."""
    firing.with_name("r.csv").write_text(SOUND + cell + "\n")
    found = read_record(load_firing(firing))
    assert abs(found.time).max() < 1.0
    assert any("none that is measured" in caution.text for caution in found.cautions)


def test_a_file_too_large_is_refused_unread(firing):
    with open(firing.with_name("r.csv"), "wb") as stream:
        stream.truncate(10**12)  # holes take no room
    tracemalloc.start()
    problem = refusal(firing)
    assert tracemalloc.get_traced_memory()[1] < 5e6
    tracemalloc.stop()
    assert str(LARGEST_RECORD) in problem.problem and problem.code == "E144"


def test_too_many_rows_are_refused_before_they_are_parsed(firing, monkeypatch):
    firing.with_name("r.csv").write_text("t,p\n" + "1,1\n" * (MOST_ROWS + 1))
    monkeypatch.setattr(record, "_numbers", lambda *a: pytest.fail("was parsed"))
    problem = refusal(firing)
    assert str(MOST_ROWS) in problem.problem and "thin it" in problem.fix


def test_a_row_without_end_is_refused_with_its_line(firing):
    firing.with_name("r.csv").write_text("t,p\n0,1\n" + "9" * 3_000_000 + ",1\n")
    problem = refusal(firing)
    assert problem.line == 3 and str(LONGEST_ROW) in problem.problem


@pytest.mark.parametrize("kind", ["folder", "pipe", "device"])
def test_what_is_no_plain_file_is_said_to_be_none(firing, kind):
    place = firing.with_name("r.csv")
    place.unlink()
    if kind == "folder":
        place.mkdir()
    elif kind == "pipe":
        os.mkfifo(place)  # opened for reading it would wait for ever
    else:
        place.symlink_to("/dev/zero")
    problem = refusal(firing)
    assert problem.code == "E143" and problem.key == "record"
    assert problem.problem.startswith("is a folder" if kind == "folder" else "is not a plain file")


@pytest.mark.parametrize(
    "content",
    [b"", b"\0" * 100_000, b"," * 90_000, b"\n" * 90_000, b'"' * 9_999, b't,p\n"' + b"9,\n" * 90_000, bytes(range(256)) * 300,
     b"t,p\n" + b"\x1b[2J,\x07\n" * 60, b"t;p\n" + b"1;\xe2\x80\xae\n" * 60],
    ids=["empty", "nuls", "commas", "line ends", "quotes", "an open quote", "bytes", "escapes", "direction marks"],
)  # fmt: skip
def test_what_is_no_table_is_refused_in_plain_words(firing, content):
    firing.with_name("r.csv").write_bytes(content)
    refusal(firing)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_what_a_spreadsheet_saves_is_read(firing, encoding):
    firing.with_name("r.csv").write_bytes(SOUND.encode(encoding))
    assert read_record(load_firing(firing)).time.size > 20
