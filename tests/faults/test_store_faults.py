"""What the record of a search promises, with the machine against it: kills, damage, full disks, two processes."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pytest

from optimizer.drivers.blocks import FILE_NAME, Block, Store, StoreError

ROOT = Path(__file__).resolve().parents[2]
BLOCKS = 6


def block(number):
    rows = np.random.default_rng(number).random((3, 2))
    return Block(number, {"feasible": number}, rows)


def fill(folder, numbers=range(BLOCKS)):
    store = Store.open(folder, "hash", "study.toml", "Mine")
    for number in numbers:
        store.write(block(number))
    # Without the log the file alone holds everything, so that damage to it is damage to the record.
    store._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return folder / FILE_NAME


def read_all(folder):
    """Every block as a resumed search would have it: read where sound, else computed again."""
    store = Store.open(folder, "hash", "study.toml", "Mine")
    found = {}
    for number in range(BLOCKS):
        stored = store.read(number)
        if stored is None:
            store.write(block(number))
            stored = store.read(number)
        found[number] = (stored.notes, stored.rows.tobytes())
    messages = list(store.messages)
    store.close()
    return found, messages


WANTED = {number: (block(number).notes, block(number).rows.tobytes()) for number in range(BLOCKS)}


def damaged_answer(folder):
    """The answer of a damaged record, or the name of the refusal. Anything but the right answer fails the test."""
    try:
        found, _ = read_all(folder)
    except Exception as error:
        assert type(error).__name__ in ("StoreError", "OtherStudyError"), repr(error)
        assert str(folder) in str(error)
        return type(error).__name__
    assert found == WANTED
    return "same"


def test_a_flipped_byte_anywhere_gives_the_same_answer_or_a_refusal_by_name(tmp_path):
    sound = fill(tmp_path / "sound").read_bytes()
    draw = random.Random(1)
    places = sorted({*range(0, 100, 3), *(draw.randrange(len(sound)) for _ in range(160))})
    for place in places:
        folder = tmp_path / "flipped"
        folder.mkdir()
        content = bytearray(sound)
        content[place] ^= 1 << draw.randrange(8)
        (folder / FILE_NAME).write_bytes(bytes(content))
        damaged_answer(folder)
        shutil.rmtree(folder)


def test_a_record_cut_off_anywhere_gives_the_same_answer_or_a_refusal_by_name(tmp_path):
    sound = fill(tmp_path / "sound").read_bytes()
    for length in [*range(0, 200, 17), *range(200, len(sound), 811)]:
        folder = tmp_path / "cut"
        folder.mkdir()
        (folder / FILE_NAME).write_bytes(sound[:length])
        damaged_answer(folder)
        shutil.rmtree(folder)


def test_damage_in_a_block_is_named_the_rest_is_used_and_the_file_is_kept(tmp_path):
    path = fill(tmp_path)
    content = path.read_bytes()
    place = content.index(block(4).rows.tobytes())
    broken = content[:place] + bytes([content[place] ^ 255]) + content[place + 1 :]
    path.write_bytes(broken)
    found, messages = read_all(tmp_path)
    assert found == WANTED
    assert "block 4" in messages[0] and f"{BLOCKS - 1} sound blocks" in messages[0]
    assert (tmp_path / "record-damaged.db").read_bytes() == broken


WRITER = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    import numpy as np
    from optimizer.drivers.blocks import Block, Store
    store = Store.open(Path(sys.argv[1]), "hash", "study.toml", "Mine")
    print("open", flush=True)
    start = int(sys.argv[2])
    for step in range(400):
        number = (start + step) % 400
        if store.read(number) is None:
            store.write(Block(number, {"feasible": number}, np.random.default_rng(number).random((300, 8))))
    print("done", flush=True)
    """
)


def writer(folder, start=0):
    return subprocess.Popen([sys.executable, "-c", WRITER, str(folder), str(start)], cwd=ROOT, stdout=subprocess.PIPE, text=True)


def check_whole(folder):
    store = Store.open(folder, "hash", "study.toml", "Mine")
    assert store.messages == []
    for number in store.finished():
        stored = store.read(number)
        assert stored.notes == {"feasible": number}
        assert np.array_equal(stored.rows, np.random.default_rng(number).random((300, 8)))
    count = len(store.finished())
    store.close()
    return count


@pytest.mark.slow
def test_killed_writers_leave_whole_blocks_only(tmp_path):
    draw = random.Random(2)
    for round_ in range(6):
        two = [writer(tmp_path, 0), writer(tmp_path, 200)]
        for process in two:
            process.stdout.readline()
        time.sleep(draw.random() * 0.3)
        for process in two:
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
            process.stdout.close()
        assert check_whole(tmp_path) >= 0, round_


def test_two_processes_finish_one_record_between_them(tmp_path):
    two = [writer(tmp_path, 0), writer(tmp_path, 200)]
    for process in two:
        out, _ = process.communicate()
        assert process.returncode == 0 and out.endswith("done\n")
    assert check_whole(tmp_path) == 400


def test_a_process_killed_with_the_write_lock_does_not_hold_up_the_other(tmp_path):
    Store.open(tmp_path, "hash", "study.toml", "Mine").close()
    holder = (
        "import sqlite3, sys, time; c = sqlite3.connect(sys.argv[1], isolation_level=None); "
        "c.execute('BEGIN IMMEDIATE'); print('held', flush=True); time.sleep(60)"
    )
    process = subprocess.Popen([sys.executable, "-c", holder, str(tmp_path / FILE_NAME)], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "held\n"
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    process.stdout.close()
    store = Store.open(tmp_path, "hash", "study.toml", "Mine")
    store.write(block(0))
    assert store.finished() == {0}


def test_a_full_disk_is_said_and_the_record_goes_on_when_there_is_room(tmp_path):
    store = Store.open(tmp_path, "hash", "study.toml", "Mine")
    store.write(block(0))
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    large = Block(1, {"feasible": 1}, np.zeros((4000, 8)))
    with pytest.raises(StoreError, match=r"full.*run the same command again"):
        store.write(large)
    store._connection.execute("PRAGMA max_page_count = 1000000")
    assert store.finished() == {0}
    store.write(large)
    assert store.finished() == {0, 1}


def test_a_full_file_system_is_said_and_whole_blocks_stay(tmp_path):
    """The same on a real file system of two megabytes, where this machine lets one be made."""
    mount = tmp_path / "small"
    mount.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(mount)], capture_output=True)
    if made.returncode:
        skip_or_fail("no file system can be mounted here")
    try:
        store = Store.open(mount, "hash", "study.toml", "Mine")
        with pytest.raises(StoreError, match=r"run the same command again|can be written"):
            for number in range(400):
                store.write(Block(number, {"feasible": number}, np.random.default_rng(number).random((300, 8))))
        store.close()
        kept = sqlite3.connect(f"file:{mount / FILE_NAME}?mode=ro", uri=True)
        assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert 10 < kept.execute("SELECT COUNT(*) FROM block").fetchone()[0] < 400
        kept.close()
    finally:
        subprocess.run(["umount", str(mount)], check=True)


def skip_or_fail(reason):
    if os.environ.get("GRAINWRIGHT_TEST_ALL") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(StoreError, match="--out"):
        Store.open(tmp_path / "file" / "results", "hash", "study.toml", "Mine")


def changed(folder, statement):
    connection = sqlite3.connect(folder / FILE_NAME)
    with connection:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    ("statement", "says"),
    [("UPDATE meta SET value = '2' WHERE key = 'schema'", "schema 2, this program reads 1"),
     ("DELETE FROM meta WHERE key = 'identity'", "what it belongs to"),
     ("UPDATE block SET data = 'text' WHERE number = 2", "block 2")],
)  # fmt: skip
def test_a_record_of_another_layout_is_set_aside_and_none_is_written_over(tmp_path, statement, says):
    for aside in ("record-damaged.db", "record-damaged-2.db"):
        fill(tmp_path)
        changed(tmp_path, statement)
        found, messages = read_all(tmp_path)
        assert found == WANTED and says in messages[0] and aside in messages[0]
        assert (tmp_path / aside).exists()
        (tmp_path / FILE_NAME).unlink()


def test_damage_while_the_record_is_open_is_met_when_the_block_is_read(tmp_path):
    fill(tmp_path)
    store = Store.open(tmp_path, "hash", "study.toml", "Mine")
    changed(tmp_path, "UPDATE block SET data = zeroblob(40) WHERE number = 3")
    assert store.read(3) is None and "block 3" in store.messages[0]
    store.write(block(3))
    assert store.read(3) is not None
    store.close()


def test_a_block_that_comes_out_otherwise_is_a_loud_error(tmp_path):
    fill(tmp_path)
    store = Store.open(tmp_path, "hash", "study.toml", "Mine")
    with pytest.raises(StoreError, match=r"block 1 was computed before with another result.*Delete it"):
        store.write(Block(1, {"feasible": 2}, block(1).rows))
    assert store.read(1).notes == {"feasible": 1}
    store.close()


def test_a_process_that_does_not_let_go_is_told(tmp_path, monkeypatch):
    fill(tmp_path)
    monkeypatch.setattr("optimizer.drivers.blocks.PATIENCE", 0.2)
    other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    other.execute("PRAGMA journal_mode=DELETE")
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(StoreError, match=r"locked; wait for the other process"):
        Store.open(tmp_path, "hash", "study.toml", "Mine")
    other.close()
    assert read_all(tmp_path) == (WANTED, [])
