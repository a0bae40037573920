"""The record of a search: finished blocks in one SQLite file, each whole or absent, checked when it is read.

What it promises. A kill at any instant loses at most the block in flight, and the same command goes on to the same
answer. A full disk is reported and leaves the record valid. Two processes on one record never corrupt it and never
count a block twice. Damage is never used in silence: a damaged file is set aside untouched, its sound blocks are
carried over, and the others are computed again. Blocks of changed inputs or changed code never mix, because every
block carries the hash of what it was computed from. Process crashes are tested; safety at a loss of power rests on
SQLite's FULL mode. May import results and inputs.
"""

from __future__ import annotations

import json
import os
import sqlite3
import struct
import time
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from optimizer.results import OutputError

SCHEMA = 1
FILE_NAME = "record.db"
PATIENCE = 30.0
"""Seconds for which a process waits for another one that writes."""
_HEADER = struct.Struct("<4sIII")
_MAGIC = b"GWB1"
_NETWORK_FILE_SYSTEMS = ("nfs", "nfs4", "cifs", "smb3", "fuse.sshfs", "9p", "afs")
_FULL_OR_BROKEN = ("disk is full", "disk I/O error")

Value = TypeVar("Value")


class StoreError(OutputError):
    """The record cannot be written or read; the machine's fault, not the study's."""


class OtherStudyError(Exception):
    """The folder holds the results of another study; `folder` and `name` say which."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self.name = folder, name
        super().__init__(
            f"{folder} holds the results of another study, {name}; nothing there was touched. "
            "Delete that folder if they are no longer wanted"
        )


@dataclass(frozen=True)
class Block:
    """One finished block: `notes` are its counts (JSON), `rows` its kept candidates as float64 columns."""

    number: int
    notes: Mapping[str, Any]
    rows: NDArray[np.float64]


def pack(block: Block) -> bytes:
    """A block as bytes; the same block always gives the same bytes."""
    notes = json.dumps(block.notes, sort_keys=True, separators=(",", ":")).encode()
    rows = np.ascontiguousarray(block.rows, dtype="<f8")
    if rows.ndim != 2:
        raise ValueError(f"rows of a block are a table, not of shape {rows.shape}")
    return _HEADER.pack(_MAGIC, len(notes), *rows.shape) + notes + rows.tobytes()


def unpack(number: int, data: bytes) -> Block:
    """The block that `pack` wrote; ValueError where the bytes do not add up."""
    if len(data) < _HEADER.size:
        raise ValueError("shorter than its header")
    magic, notes_length, count, width = _HEADER.unpack_from(data)
    if magic != _MAGIC or len(data) != _HEADER.size + notes_length + 8 * count * width:
        raise ValueError("its length is not what its header says")
    end = _HEADER.size + notes_length
    rows = np.frombuffer(data, dtype="<f8", offset=end).reshape(count, width)
    return Block(number, json.loads(data[_HEADER.size : end]), rows.astype(np.float64))


def checksum(number: int, study: str, data: bytes) -> int:
    """CRC-32 over the block's number, the hash of its inputs and its bytes."""
    return zlib.crc32(data, zlib.crc32(f"{number}:{study}:".encode()))


class MemoryStore:
    """The same interface without a file, for a search that keeps nothing."""

    def __init__(self) -> None:
        self._blocks: dict[int, bytes] = {}
        self.messages: list[str] = []

    def finished(self) -> set[int]:
        """Numbers of the blocks that are there."""
        return set(self._blocks)

    def read(self, number: int) -> Block | None:
        """The block, or None where it is not there."""
        data = self._blocks.get(number)
        return None if data is None else unpack(number, data)

    def write(self, block: Block) -> None:
        """Keep a block."""
        self._blocks[block.number] = pack(block)

    def blocks(self) -> Iterator[Block]:
        """All blocks in order of number."""
        for number in sorted(self._blocks):
            yield unpack(number, self._blocks[number])

    def close(self) -> None:
        """Nothing to do."""


class Store:
    """Blocks in one SQLite file of a results folder. Use `Store.open`."""

    def __init__(self, path: Path, study: str, connection: sqlite3.Connection, messages: list[str]) -> None:
        self.path, self.study, self.messages = path, study, messages
        self._connection = connection

    @classmethod
    def open(cls, folder: Path, study: str, identity: str, name: str = "") -> Store:
        """The record in `folder`, made where there is none.

        `study` is the hash of everything the blocks are computed from; `identity` tells one study from another (its
        file), `name` is what a message calls it. An edited study starts a fresh record and the old one is set aside;
        the record of another study raises OtherStudyError. Raises StoreError where the file cannot be used.
        """
        path = folder / FILE_NAME
        identity, name = (text.encode("utf-8", "backslashreplace").decode() for text in (identity, name))
        messages: list[str] = []
        _guarded(path, lambda: folder.mkdir(parents=True, exist_ok=True))
        if path.exists():
            _look_over(path, study, identity, messages)
        connection = _guarded(path, lambda: _connect(path))
        store = cls(path, study, connection, messages)
        _guarded(path, lambda: store._prepare(identity, name))
        return store

    def _prepare(self, identity: str, name: str) -> None:
        with self._connection as inside:
            inside.execute("BEGIN IMMEDIATE")
            inside.execute("CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT NOT NULL)")
            inside.execute(
                "CREATE TABLE IF NOT EXISTS block (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, "
                "study TEXT NOT NULL, data BLOB NOT NULL)"
            )
            facts = {"schema": str(SCHEMA), "study": self.study, "identity": identity, "name": name}
            inside.executemany("INSERT OR IGNORE INTO meta VALUES (?, ?)", facts.items())

    def finished(self) -> set[int]:
        """Numbers of the blocks that are there."""
        query = "SELECT number FROM block WHERE study = ?"
        return {row[0] for row in _guarded(self.path, lambda: self._connection.execute(query, (self.study,)).fetchall())}

    def read(self, number: int) -> Block | None:
        """The block, or None where it is absent; a damaged one is named in `messages` and counts as absent."""
        query = "SELECT crc, data FROM block WHERE number = ? AND study = ?"
        row = _guarded(self.path, lambda: self._connection.execute(query, (number, self.study)).fetchone())
        if row is None:
            return None
        block = _sound(number, self.study, *row)
        if block is None:
            self.messages.append(f"block {number} of {self.path} is damaged; it is computed again")
        return block

    def write(self, block: Block) -> None:
        """Keep a block, in one transaction. A block that is there already must be the same, byte for byte."""
        data = pack(block)
        crc = checksum(block.number, self.study, data)
        _guarded(self.path, lambda: self._insert(block.number, crc, data))

    def _insert(self, number: int, crc: int, data: bytes) -> None:
        with self._connection as inside:
            inside.execute("BEGIN IMMEDIATE")
            there = inside.execute("SELECT crc, study, data FROM block WHERE number = ?", (number,)).fetchone()
            if there is not None:
                old_crc, study, old = there
                if study == self.study and _sound(number, study, old_crc, old) is not None:
                    if old_crc == crc:
                        return
                    raise StoreError(
                        f"{self.path}: block {number} was computed before with another result; the same inputs must "
                        f"give the same block, so this record is not trusted. Delete it and search again."
                    )
            inside.execute("INSERT OR REPLACE INTO block VALUES (?, ?, ?, ?)", (number, crc, self.study, data))

    def blocks(self) -> Iterator[Block]:
        """All sound blocks in order of number."""
        for number in sorted(self.finished()):
            block = self.read(number)
            if block is not None:
                yield block

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()


def _sound(number: int, study: str, crc: Any, data: Any) -> Block | None:
    """The block if its checksum and its length agree, else None."""
    if not isinstance(data, bytes) or crc != checksum(number, study, data):
        return None
    try:
        return unpack(number, data)
    except ValueError:
        return None


def _guarded(path: Path, action: Callable[[], Value]) -> Value:
    """Run an action on the file, turning what the machine refuses into one plain error."""
    try:
        return action()
    except sqlite3.Error as error:
        cure = (
            "make room and run the same command again; what was finished is kept"
            if any(text in str(error) for text in _FULL_OR_BROKEN)
            else "see that no other program holds the file and that the folder can be written, or name another one with --out"
        )
        raise StoreError(f"{path}: {error}; {cure}") from error
    except OSError as error:
        raise StoreError(f"{path}: {error.strerror or error}; choose a folder that can be written with --out") from error


def _connect(path: Path) -> sqlite3.Connection:
    # isolation_level=None: transactions are opened by hand, so that each takes the write lock at once or waits.
    connection = sqlite3.connect(path, timeout=PATIENCE, isolation_level=None)
    mode = "DELETE" if on_network(path) else "WAL"
    until = time.monotonic() + PATIENCE
    while True:
        try:
            connection.execute(f"PRAGMA journal_mode={mode}")
            break
        except sqlite3.OperationalError as error:
            # Where two processes make the record at once, this fails at once and does not wait as other calls do.
            if "locked" not in str(error) or time.monotonic() > until:
                connection.close()
                raise
            time.sleep(0.01)
    connection.execute("PRAGMA synchronous=FULL")
    return connection


def on_network(path: Path) -> bool:
    """Whether the path lies on a network file system, where SQLite's write-ahead log must not be used."""
    try:
        mounts = [line.split()[1:3] for line in Path("/proc/mounts").read_text().splitlines()]
    except OSError:
        return False
    place = os.path.realpath(path)
    holding = [(len(folder), kind) for folder, kind in mounts if place == folder or place.startswith(folder.rstrip("/") + "/")]
    return bool(holding) and max(holding)[1] in _NETWORK_FILE_SYSTEMS


def _look_over(path: Path, study: str, identity: str, messages: list[str]) -> None:
    """Check a record that is there already; set it aside where it is damaged or belongs to an older edit."""
    try:
        facts, blocks, bad = _read_all(path)
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or any(text in str(error) for text in _FULL_OR_BROKEN):
            raise StoreError(f"{path}: {error}; wait for the other process, or make room, and run it again") from error
        if "unable to open" in str(error):  # a folder, or a file that may not be read: no sign of damage
            raise StoreError(f"{path}: {error}; see who may read it, or choose another folder with --out") from error
        facts, blocks, bad = {}, {}, ["the whole file"]
    except (sqlite3.DatabaseError, UnicodeDecodeError, OverflowError):
        facts, blocks, bad = {}, {}, ["the whole file"]
    if facts.get("identity", identity) != identity:
        raise OtherStudyError(path.parent, facts.get("name") or facts["identity"])
    if bad:
        aside = _set_aside(path, "damaged")
        kept = {number: row for number, row in blocks.items() if row[1] == study}
        _guarded(path, lambda: _carry_over(path, kept))
        messages.append(
            f"{path} is damaged ({', '.join(bad)}); it is kept as {aside.name}, {len(kept)} sound blocks are used "
            f"and the rest is computed again"
        )
    elif facts and facts.get("study") != study:
        aside = _set_aside(path, "previous")
        messages.append(
            f"the study, its motor, its stock or this program has changed since the record in {path.parent} was made; "
            f"the old record is kept as {aside.name} and the search starts afresh"
        )


def _read_all(path: Path) -> tuple[dict[str, str], dict[int, tuple[int, str, bytes]], list[str]]:
    """Facts, sound blocks and the names of what is damaged. Raises sqlite3 errors where the file cannot be read."""
    connection = sqlite3.connect(path, timeout=PATIENCE)
    try:
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not {"meta", "block"} <= tables:
            # A process killed before its first transaction leaves an empty file; anything else is damage.
            return {}, {}, (["its tables are missing"] if path.stat().st_size > 0 and tables else [])
        facts: dict[str, str] = dict(connection.execute("SELECT key, value FROM meta").fetchall())
        blocks: dict[int, tuple[int, str, bytes]] = {}
        bad: list[str] = []
        for number, crc, study, data in connection.execute("SELECT number, crc, study, data FROM block"):
            if _sound(number, str(study), crc, data) is None:
                bad.append(f"block {number}")
            else:
                blocks[number] = (crc, study, data)
        if connection.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            bad.append("its inner structure")
        if not {"schema", "study", "identity"} <= set(facts):
            bad.append("what it belongs to")
        elif facts["schema"] != str(SCHEMA):
            bad.append(f"schema {facts['schema']}, this program reads {SCHEMA}")
        return facts, blocks, bad
    finally:
        connection.close()


def _set_aside(path: Path, reason: str) -> Path:
    """Rename the record (and its log) so that nothing of it is lost."""
    aside = path.with_name(f"record-{reason}.db")
    count = 1
    while aside.exists():
        count += 1
        aside = path.with_name(f"record-{reason}-{count}.db")

    def rename() -> None:
        os.replace(path, aside)
        for tail in ("-wal", "-shm"):
            companion = path.with_name(path.name + tail)
            if companion.exists():
                os.replace(companion, aside.with_name(aside.name + tail))

    _guarded(path, rename)
    return aside


def _carry_over(path: Path, blocks: Mapping[int, tuple[int, str, bytes]]) -> None:
    """Write sound blocks into a new record, in one transaction."""
    connection = _connect(path)
    try:
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(
                "CREATE TABLE IF NOT EXISTS block (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, "
                "study TEXT NOT NULL, data BLOB NOT NULL)"
            )
            rows = [(number, *row) for number, row in blocks.items()]
            connection.executemany("INSERT OR REPLACE INTO block VALUES (?, ?, ?, ?)", rows)
    finally:
        connection.close()
