"""Writing: whole or not at all, JSON without NaN, CSV that is safe to open."""

import csv
import errno
import io
import json
import math
import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer import results
from optimizer.results import (
    OutputError,
    csv_text,
    digest,
    file_digest,
    json_text,
    plain,
    write_bytes,
    write_csv,
    write_text,
)


class TestAtomicWrites:
    def test_folders_on_the_way_are_made(self, tmp_path):
        write_text(tmp_path / "a" / "b" / "c.txt", "whole – ½\n")
        assert (tmp_path / "a" / "b" / "c.txt").read_text(encoding="utf-8") == "whole – ½\n"

    def test_nothing_is_left_beside_the_file(self, tmp_path):
        write_bytes(tmp_path / "x", b"one")
        write_bytes(tmp_path / "x", b"two")
        assert (tmp_path / "x").read_bytes() == b"two"
        assert [path.name for path in tmp_path.iterdir()] == ["x"]

    @pytest.mark.parametrize("call", ["write", "fsync", "replace", "close", "open"])
    def test_a_fault_at_any_call_leaves_the_old_file(self, tmp_path, monkeypatch, call):
        target = tmp_path / "pareto.csv"
        write_text(target, "old")
        real = getattr(os, call)

        def fail(*args, **kwargs):
            if call == "close":
                real(*args, **kwargs)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        with monkeypatch.context() as patch:
            patch.setattr(results.os, call, fail)
            with pytest.raises(OutputError, match=r"pareto\.csv: the disk is full"):
                write_text(target, "new")
        assert target.read_text() == "old"
        assert [path.name for path in tmp_path.iterdir()] == ["pareto.csv"]

    def test_short_writes_are_carried_on(self, tmp_path, monkeypatch):
        real = os.write
        monkeypatch.setattr(results.os, "write", lambda handle, view: real(handle, bytes(view)[:7]))
        write_bytes(tmp_path / "x", b"0123456789" * 10)
        assert (tmp_path / "x").read_bytes() == b"0123456789" * 10

    def test_a_disk_that_loses_bytes_is_caught(self, tmp_path, monkeypatch):
        real = os.write

        def lossy(handle, view):
            real(handle, bytes(view)[:-1])
            return len(view)

        monkeypatch.setattr(results.os, "write", lossy)
        with pytest.raises(OutputError):
            write_bytes(tmp_path / "x", b"0123456789")
        assert not list(tmp_path.iterdir())

    def test_a_disk_that_takes_nothing_is_caught(self, tmp_path, monkeypatch):
        monkeypatch.setattr(results.os, "write", lambda handle, view: 0)
        with pytest.raises(OutputError, match="full"):
            write_bytes(tmp_path / "x", b"0123456789")

    def test_interrupted_writes_leave_nothing(self, tmp_path, monkeypatch):
        def stop(handle):
            raise KeyboardInterrupt

        monkeypatch.setattr(results.os, "fsync", stop)
        with pytest.raises(KeyboardInterrupt):
            write_bytes(tmp_path / "x", b"new")
        assert not list(tmp_path.iterdir())

    def test_a_file_in_the_way_is_said(self, tmp_path):
        (tmp_path / "results").write_text("a file")
        with pytest.raises(OutputError, match=r"--out"):
            write_text(tmp_path / "results" / "pareto.csv", "x")

    def test_a_folder_in_the_way_is_said(self, tmp_path):
        (tmp_path / "run.json").mkdir()
        with pytest.raises(OutputError, match=r"a folder stands"):
            write_text(tmp_path / "run.json", "x")

    def test_nothing_takes_the_place_of_a_device_or_a_pipe(self, tmp_path):
        os.mkfifo(tmp_path / "run.json")
        for write in (write_text, lambda path, text: results.write_together(path.parent, {path.name: text})):
            with pytest.raises(OutputError, match=r"run\.json: a device or a pipe stands"):
                write(tmp_path / "run.json", "x")
        assert (tmp_path / "run.json").is_fifo() and [path.name for path in tmp_path.iterdir()] == ["run.json"]

    def test_our_own_output_is_not_cut_off(self, tmp_path):
        code = (
            "import sys\nfrom optimizer.results import OutputError, write_text\nprint('first', flush=True)\n"
            "try: write_text(sys.argv[1], 'x')\nexcept OutputError as error: print(error)"
        )
        with open(tmp_path / "said", "w") as said:
            subprocess.run([sys.executable, "-c", code, "/dev/stdout"], stdout=said, check=True)
        assert (tmp_path / "said").read_text().startswith("first\n/dev/stdout: a device or a pipe stands")

    def test_a_link_stays_a_link(self, tmp_path):
        (tmp_path / "real.csv").write_text("old")
        (tmp_path / "link.csv").symlink_to("real.csv")
        write_text(tmp_path / "link.csv", "new")
        assert (tmp_path / "link.csv").is_symlink() and (tmp_path / "real.csv").read_text() == "new"

    def test_a_place_is_looked_at_without_a_trace(self, tmp_path):
        results.look_at_place(tmp_path / "a" / "b")
        results.look_at_place(tmp_path / "a", tmp_path / "a" / "c.csv")
        (tmp_path / "file").write_text("x")
        for folder in (tmp_path / "file", tmp_path / "file" / "b" / "c", tmp_path / ("x" * 300)):
            with pytest.raises(OutputError, match="--out"):
                results.look_at_place(folder)
        with pytest.raises(OutputError, match="a folder stands"):
            results.look_at_place(tmp_path.parent, tmp_path)
        assert [path.name for path in tmp_path.iterdir()] == ["file"]

    def test_a_name_with_a_nul_is_said(self, tmp_path):
        with pytest.raises(OutputError):
            write_text(tmp_path / "a\0b", "x")

    def test_long_names_are_written(self, tmp_path):
        write_text(tmp_path / ("x" * 250), "x")
        assert (tmp_path / ("x" * 250)).read_text() == "x"


class TestJson:
    def test_no_nan(self, tmp_path):
        data = {
            "a": math.nan,
            "b": [math.inf, 1.5],
            3: np.array([1.0, np.nan]),
            "c": np.float64(2.0),
            "d": np.bool_(True),
        }
        write_text(tmp_path / "x.json", json_text(data))
        read = json.loads((tmp_path / "x.json").read_text(), parse_constant=lambda name: pytest.fail(name))
        assert read == {"a": None, "b": [None, 1.5], "3": [1.0, None], "c": 2.0, "d": True}

    @given(st.recursive(st.none() | st.booleans() | st.floats() | st.integers() | st.text(), st.lists, max_leaves=20))
    def test_any_data(self, data):
        json.dumps(plain(data), allow_nan=False)

    def test_digests(self, tmp_path):
        write_text(tmp_path / "x", "text")
        assert file_digest(tmp_path / "x") == digest("text") == digest(b"text")
        assert digest([1, 2]) != digest([2, 1])


class TestCsv:
    def test_numbers_stay_numbers(self, tmp_path):
        write_csv(tmp_path / "x.csv", ["a", "b"], [[-1.5e-7, np.float64(0.1)], [3, math.nan]])
        assert (tmp_path / "x.csv").read_text() == "a,b\n-1.5e-07,0.1\n3,\n"

    @pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", " =1", '=HYPERLINK("x")'])
    def test_text_that_a_spreadsheet_would_run_is_made_harmless(self, text):
        cell = next(csv.reader(io.StringIO(csv_text(["x"], [[text]]).split("\n", 1)[1])))[0]
        assert cell.startswith("'")

    @given(st.lists(st.text(), min_size=1, max_size=4))
    def test_rows_stay_rows(self, row):
        read = list(csv.reader(io.StringIO(csv_text(["h"] * len(row), [row]))))
        assert len(read) == 2 and len(read[1]) == len(row)
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in read[1])

    @given(st.floats(allow_nan=False, allow_infinity=False))
    def test_floats_read_back(self, value):
        assert float(csv_text(["x"], [[value]]).splitlines()[1]) == value
