"""The record of a search: what goes in comes out, what was edited starts afresh, what is another's is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from optimizer.drivers.blocks import Block, MemoryStore, OtherStudyError, Store, StoreError, on_network, pack, unpack


def block(number=3, seed=0):
    rows = np.random.default_rng(seed).random((4, 3))
    return Block(number, {"rejected": {"a limit": 2}, "feasible": 7}, rows)


def same(left, right):
    return left.number == right.number and left.notes == right.notes and np.array_equal(left.rows, right.rows)


@settings(max_examples=60, deadline=None)
@given(
    arrays(float, st.tuples(st.integers(0, 5), st.integers(0, 4)), elements=st.floats(allow_nan=False)),
    st.integers(0, 2**40),
)
def test_a_block_is_read_back_as_it_was(rows, number):
    before = Block(number, {"rejected": {"é": 1}}, rows)
    assert same(unpack(number, pack(before)), before)
    assert pack(before) == pack(unpack(number, pack(before)))


@pytest.mark.parametrize("cut", [0, 3, 15, 30, -1])
def test_bytes_that_do_not_add_up_are_refused(cut):
    with pytest.raises(ValueError):
        unpack(3, pack(block())[:cut])


@pytest.mark.parametrize("kind", ["memory", "file"])
def test_a_store_keeps_blocks_in_order_of_number(tmp_path, kind):
    store = MemoryStore() if kind == "memory" else Store.open(tmp_path, "h", "study.toml")
    for number in (5, 1, 3):
        store.write(block(number, number))
    assert store.finished() == {1, 3, 5}
    assert [found.number for found in store.blocks()] == [1, 3, 5]
    assert same(store.read(3), block(3, 3)) and store.read(2) is None
    store.close()


def test_the_same_study_resumes_and_a_folder_with_spaces_and_signs_will_do(tmp_path):
    folder = tmp_path / "a folder, né Ω" / "deeper"
    first = Store.open(folder, "h", "study.toml", "Mine")
    first.write(block())
    first.close()
    again = Store.open(folder, "h", "study.toml", "Mine")
    assert same(again.read(3), block()) and again.messages == []


def test_an_edited_study_starts_afresh_and_the_old_record_is_kept(tmp_path):
    first = Store.open(tmp_path, "old", "study.toml")
    first.write(block())
    first.close()
    again = Store.open(tmp_path, "new", "study.toml")
    assert again.finished() == set()
    assert "starts afresh" in again.messages[0] and (tmp_path / "record-previous.db").exists()


def test_another_studys_folder_is_refused_with_what_to_do(tmp_path):
    Store.open(tmp_path, "h", "study.toml", "Mine").close()
    with pytest.raises(OtherStudyError, match="results of another study, Mine; nothing there was touched"):
        Store.open(tmp_path, "h", "other.toml", "Yours")
    assert Store.open(tmp_path, "h", "study.toml").messages == [], "the record must be untouched"


def test_the_same_block_twice_is_harmless_and_a_different_one_is_loud(tmp_path):
    store = Store.open(tmp_path, "h", "study.toml")
    store.write(block())
    store.write(block())
    with pytest.raises(StoreError, match="block 3 was computed before with another result"):
        store.write(block(seed=1))
    assert same(store.read(3), block())


def test_two_open_stores_see_each_other(tmp_path):
    one, two = Store.open(tmp_path, "h", "study.toml"), Store.open(tmp_path, "h", "study.toml")
    one.write(block(1))
    two.write(block(2))
    assert one.finished() == two.finished() == {1, 2}


def test_a_file_system_of_this_machine_is_not_taken_for_a_network(tmp_path):
    assert on_network(tmp_path / "record.db") is False
