"""Reading a firing's record: a CSV of any unit and layout into channels on one rising clock, in SI units.

Owns the table reading and the mending of the clock; what was mended is said, what cannot be mended is refused.
Imports inputs, units and pandas.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.cautions import Caution
from optimizer.inputs import Firing, FiringColumn, InputError, Instrument, Problem
from optimizer.inputs.reading import read_bytes
from optimizer.problems import plain_file
from optimizer.units import to_si

Array = NDArray[np.float64]

NO_READING = 1e15
"""A number in a column from which on it is no reading of anything, whatever its unit (its square must not overflow)."""
FEWEST_SAMPLES = 20
"""A record with fewer usable rows is refused."""
LARGEST_RECORD = 64_000_000
"""Bytes of the largest record that is read."""
MOST_ROWS = 1_000_000
"""Rows of the longest record that is read: 100 s at 10 kHz."""
LONGEST_ROW = 100_000
"""Characters of the longest row that is read."""
HEAD = 1000
"""Bytes at the beginning in which text has no NUL; later ones are what a logger leaves that lost its power."""
WORDS_FOR_BLANK = [
    "",
    "nan",
    "NaN",
    "NAN",
    "-",
    "--",
    "null",
    "None",
    "N/A",
    "NA",
    "#N/A",
    "inf",
    "-inf",
    "OVER",
    "OVLD",
]


@dataclass(frozen=True)
class Channel:
    """One recorded channel in SI units: `kind` is "pressure", "thrust" or "temperature", blanks are NaN.

    `place` says where a pressure was taken: "head", "chamber" (the nozzle end) or "" where nobody said; `position` how
    far from the forward end of the case a thermometer sits [m]. `bound` is the instrument's accuracy (range × accuracy,
    Pa or N) and `limit` its range, None where the firing file gives none. `gauge` says that the readings are over ambient pressure.
    """

    name: str
    kind: str
    values: Array
    bound: float | None = None
    limit: float | None = None
    gauge: bool = False
    place: str = ""
    position: float | None = None


@dataclass(frozen=True)
class Record:
    """Channels on one clock, time rising strictly, and what had to be mended to get there."""

    time: Array
    channels: tuple[Channel, ...]
    cautions: tuple[Caution, ...] = ()

    def of(self, kind: str) -> list[Channel]:
        """The channels of one kind."""
        return [channel for channel in self.channels if channel.kind == kind]


def read_record(firing: Firing) -> Record:
    """The record that a firing file points to.

    Raises
    ------
    InputError
        When the file cannot be read, a column is missing, or too little of it is a number.
    """
    if firing.record is None:
        raise _refusal(firing.path, "record", "", "the firing file names no record", 'add record = "NAME.csv"')
    columns, path = list(firing.columns.values()), firing.record
    text = _text(path)
    cautions: list[Caution] = []
    cells = _cells(path, text, [column.name for column in columns], cautions)
    numbers = {column.key: _numbers(path, column, cells, cautions) for column in columns}
    time = numbers.pop("time")
    order, time = _clock(path, time, cautions)
    channels = []
    for column in columns:
        if column.kind == "time":
            continue
        values = _merged(numbers[column.key][order], time)
        channels.append(_channel(firing, column, values))
    record = Record(np.unique(time), tuple(channels), tuple(cautions))
    _refuse_short(path, record)
    return record


def _channel(firing: Firing, column: FiringColumn, values: Array) -> Channel:
    """The channel with its instrument; a second transducer without one of its own is taken to be like the first."""
    instrument = firing.instruments.get(column.key) or firing.instruments.get(column.kind) or Instrument()
    known = instrument.range is not None and instrument.accuracy is not None
    bound = instrument.range * instrument.accuracy if known else None  # type: ignore[operator]
    return Channel(column.name, column.kind, values, bound, instrument.range, column.gauge, column.place, column.position)


def _text(path: Path) -> str:
    raw = read_bytes(path, LARGEST_RECORD, "a firing's record (CSV)")
    if b"\0" in raw[:HEAD] and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        what = "has NUL bytes where its headings should be: UTF-16 text without a mark, or no text at all"
        raise _refusal(path, "record", "", what, "save it as CSV text in UTF-8")
    wide = raw[:2] in (b"\xff\xfe", b"\xfe\xff")
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise _refusal(path, "record", str(path), "the record is not text", "save it as CSV text")


def _refusal(path: Path, key: str, value: str, problem: str, fix: str, line: int = 0) -> InputError:
    shown = plain_file(value[:60])  # a cell may hold anything
    return InputError([Problem(plain_file(path), line, plain_file(key[:60]), shown, problem, fix, "E160")])


def _cells(path: Path, text: str, wanted: Sequence[str], cautions: list[Caution]) -> dict[str, list[str]]:
    """Columns as text by their names; the header is the first line that holds every wanted name."""
    import pandas as pd

    long_rows: list[object] = []

    rows = max(text.count("\n"), text.count("\r"))  # counted before they take up memory
    if rows > MOST_ROWS:
        fix = "cut it to the firing and its seconds before and after, or thin it to 10 kHz or less"
        raise _refusal(path, "record", "", f"has {rows} rows; the most read is {MOST_ROWS}", fix)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    longest = max(range(len(lines)), key=lambda row: len(lines[row]), default=0)
    if lines and len(lines[longest]) > LONGEST_ROW:
        what = f"a row of {len(lines[longest])} characters; the most read is {LONGEST_ROW}"
        raise _refusal(path, "record", "", what, "check that it is a table with one row a sample", longest + 1)
    for number, line in enumerate(lines):
        if not all(name in line for name in wanted):
            continue  # most lines of a long record; reading each as a table's head would take minutes
        for separator in (",", ";", "\t"):
            names = [name.strip() for name in next(csv.reader([line], delimiter=separator), [])]
            if all(name in names for name in wanted):
                body = [line, *(row for row in lines[number + 1 :] if row.strip() and not row.startswith("#"))]
                table = pd.read_csv(
                    StringIO("\n".join(body)),
                    sep=separator,
                    dtype=str,
                    keep_default_na=False,
                    skipinitialspace=True,
                    on_bad_lines=long_rows.append,
                    index_col=False,
                    engine="python",
                )
                if long_rows:
                    cautions.append(
                        Caution("torn rows", f"{len(long_rows)} rows have more cells than the header and are left out.")
                    )
                table.columns = [str(name).strip() for name in table.columns]
                return {name: _plain(table[name].fillna("").tolist(), separator) for name in wanted}
    raise _missing_column(path, lines, wanted)


def _plain(cells: list[str], separator: str) -> list[str]:
    """Cells without spaces; a decimal comma can only stand where the comma does not separate columns."""
    stripped = [str(cell).strip() for cell in cells]
    return stripped if separator == "," else [cell.replace(",", ".") for cell in stripped]


def _missing_column(path: Path, lines: Sequence[str], wanted: Sequence[str]) -> InputError:
    header = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    separator = max((",", ";", "\t"), key=header.count)
    names = [name.strip() for name in next(csv.reader([header], delimiter=separator), [])]
    missing = [name for name in wanted if name not in names] or list(wanted)
    near = difflib.get_close_matches(missing[0], names[:200], n=1, cutoff=0.5)
    fix = f"did you mean {near[0][:60]!r}? " if near else ""
    shown = ", ".join(repr(name[:40]) for name in names[:12]) or "none"
    return _refusal(path, "columns", missing[0], f"no column {missing[0]!r} in the record", f"{fix}columns there: {shown}")


def _numbers(path: Path, column: FiringColumn, cells: dict[str, list[str]], cautions: list[Caution]) -> Array:
    import pandas as pd

    texts = pd.Series(cells[column.name], dtype=str)
    blank = texts.isin(WORDS_FOR_BLANK)
    read = pd.to_numeric(texts.where(~blank), errors="coerce").to_numpy(dtype=float)
    read = np.where(np.abs(read) < NO_READING, read, np.nan)
    odd = np.flatnonzero(np.isnan(read) & ~blank.to_numpy())
    if odd.size > max(0.2 * read.size, 10):
        sample = cells[column.name][int(odd[0])]
        raise _refusal(
            path,
            column.name,
            sample,
            f"{odd.size} of {read.size} cells of this column are not numbers",
            "write plain numbers with a decimal point, the unit in the firing file",
        )
    if odd.size:
        cautions.append(
            Caution(
                "cells that are no number",
                f"Column {column.name!r}: {odd.size} cells such as "
                f"{cells[column.name][int(odd[0])][:40]!r} are not numbers, or none that is measured, and are left out.",
            )
        )
    gone = int(np.count_nonzero(blank))
    if gone and column.kind != "time":
        cautions.append(
            Caution(
                "blank cells",
                f"Column {column.name!r}: {gone} of {read.size} cells are blank; straight lines bridge them.",
            )
        )
    with np.errstate(over="ignore"):
        converted = np.asarray(to_si(read, column.unit), dtype=float)
    return np.where(np.isfinite(converted), converted, np.nan)


def _clock(path: Path, time: Array, cautions: list[Caution]) -> tuple[NDArray[np.intp], Array]:
    """Rows with a time, in order of time (first come first where times are equal)."""
    known = np.flatnonzero(np.isfinite(time))
    if known.size < FEWEST_SAMPLES:
        raise _refusal(
            path,
            "time",
            str(known.size),
            f"only {known.size} rows have a time",
            "check the time column's name and unit",
        )
    if known.size < time.size:
        cautions.append(Caution("rows without a time", f"{time.size - known.size} rows have no time and are left out."))
    back = np.diff(time[known]) < 0
    if np.count_nonzero(back) > 0.2 * known.size:
        raise _refusal(
            path,
            "time",
            f"{time[known[0]]:g} s …",
            "the time column runs back and forth",
            "map the column that holds the elapsed time",
        )
    if back.any():
        cautions.append(
            Caution(
                "clock ran backwards",
                f"The time steps back in {np.count_nonzero(back)} places; the rows are put in order of time.",
            )
        )
    order = known[np.argsort(time[known], kind="stable")]
    repeated = int(order.size - np.unique(time[order]).size)
    if repeated:
        cautions.append(Caution("repeated times", f"{repeated} rows repeat a time; their readings are averaged."))
    return order, time[order]


def _merged(values: Array, time: Array) -> Array:
    """One value for each distinct time, the mean of what is known there."""
    _, place = np.unique(time, return_inverse=True)
    known = np.isfinite(values)
    count = np.bincount(place, weights=known.astype(float))
    total = np.bincount(place, weights=np.where(known, values, 0.0))
    return np.asarray(np.divide(total, count, out=np.full(count.size, np.nan), where=count > 0))


def _refuse_short(path: Path, record: Record) -> None:
    if record.time.size < FEWEST_SAMPLES:
        raise _refusal(
            path,
            "record",
            str(record.time.size),
            f"only {record.time.size} rows with distinct times",
            f"a firing needs at least {FEWEST_SAMPLES}",
        )
    for channel in record.channels:
        known = channel.values[np.isfinite(channel.values)]
        if channel.kind == "temperature" and known.size:
            continue  # slow thermometers are written down now and then, and one that stays cold has said so
        if known.size < FEWEST_SAMPLES:
            raise _refusal(
                path,
                channel.name,
                str(known.size),
                f"only {known.size} readings of this channel are numbers",
                "leave the column out of [columns], or mend the record",
            )
        if np.ptp(known) <= 0:
            raise _refusal(
                path,
                channel.name,
                f"{known[0]:g}",
                "every reading of this channel is the same",
                "check the column; a dead channel is left out of [columns]",
            )
