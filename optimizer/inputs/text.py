"""TOML text: bounded reading, the line of every key, and writing it back.

The parser of the standard library gives values without lines, so `key_lines` walks the same text once more. It may
assume that the text is valid TOML, for the parser has read it before.

Imports `optimizer.problems` and `optimizer.inputs.reading`.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Any

from optimizer.inputs.reading import decode, read_bytes, refuse
from optimizer.problems import InputError, plain_file

DEEPEST = 12
MOST_KEYS = 5000
# The look-behind keeps the search linear: a long word is tried from its start only.
_LONG_DOTS = re.compile(r"(?<![A-Za-z0-9_-])(?:[A-Za-z0-9_-]+[ \t]*\.[ \t]*){16}")

Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class Document:
    """A TOML file as read: `data` (floats as Decimal), its `text` and its SHA-256 `digest`."""

    path: Path
    text: str
    data: dict[str, Any]
    digest: str = ""

    @cached_property
    def lines(self) -> dict[Path_, int]:
        """The lines of its keys, found when a message asks for one."""
        return key_lines(self.text)

    @property
    def file(self) -> str:
        """The file as named in messages."""
        return plain_file(self.path)

    def line(self, path: Path_) -> int:
        """The line of a key, or of the nearest table that holds it."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return 1


def read_document(path: str | Path, what: str = "a TOML file") -> Document:
    """Read and parse a TOML file of bounded size and depth; InputError otherwise."""
    content = read_bytes(path, what=what)
    return parse_document(decode(content, path), path, hashlib.sha256(content).hexdigest())


def parse_document(text: str, path: str | Path, digest: str = "") -> Document:
    """Parse TOML text; `path` names it in messages and roots its relative paths."""
    found = _LONG_DOTS.search(text)
    if found:
        line = text.count("\n", 0, found.start()) + 1
        raise refuse(path, "a key has too many dots", "no key here has more than three parts", "E145", line)
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(error, text, path) from None
    except RecursionError:
        raise refuse(path, "is nested too deeply", f"no table here is deeper than {DEEPEST} levels", "E145") from None
    except (ValueError, ArithmeticError) as error:
        reason = "a number has too many digits" if "digits" in str(error) else str(error)
        raise refuse(path, f"is not TOML: {reason}", "check the numbers and dates", "E140") from None
    keys = _key_count(data)
    if keys > MOST_KEYS:
        raise refuse(path, f"has {keys} keys", f"no file here has more than {MOST_KEYS}", "E155")
    if _depth(data) > DEEPEST:
        raise refuse(path, "is nested too deeply", f"no table here is deeper than {DEEPEST} levels", "E145")
    return Document(Path(path), text, data, digest or hashlib.sha256(text.encode()).hexdigest())


def _not_toml(error: tomllib.TOMLDecodeError, text: str, path: str | Path) -> InputError:
    message = str(error)
    place = re.search(r"\(at line (\d+), column \d+\)", message)
    line = int(place[1]) if place else max(text.count("\n"), 0) + 1
    reason = re.sub(r"\s*\(at .*\)$", "", message)
    reason = reason[:1].lower() + reason[1:]
    lines = text.splitlines()
    shown = lines[line - 1].strip()[:60] if 0 < line <= len(lines) else ""
    quoted = f": {plain_file(shown)}" if shown else ""
    fix = 'every line is a [table], a key = value or a # comment; text and quantities stand in quotes: "13 mm"'
    if "overwrite" in reason or "already" in reason or "twice" in reason:
        reason, fix = f"a key or table is given twice ({reason})", "keep one of the two"
    elif re.search(r"=\s*[-+]?\d[\d.,]*\s*[A-Za-z%\"']", shown):
        fix = 'a quantity stands in quotes: "13 mm"'
    return refuse(path, f"is not TOML: {plain_file(reason)[:120]}{quoted}", fix, "E140", line)


def _depth(data: Any) -> int:
    deepest, level = 0, [data]
    while level and deepest <= DEEPEST:
        deepest += 1
        level = [
            child
            for item in level
            for child in (item.values() if isinstance(item, dict) else item if isinstance(item, list) else ())
            if isinstance(child, (dict, list))
        ]
    return deepest


def _key_count(data: Any) -> int:
    count, waiting = 0, [data]
    while waiting:
        item = waiting.pop()
        if isinstance(item, dict):
            count += len(item)
            waiting += [child for child in item.values() if isinstance(child, (dict, list))]
        elif isinstance(item, list):
            waiting += [child for child in item if isinstance(child, (dict, list))]
    return count


def plain_data(value: Any) -> Any:
    """The same TOML data with floats in place of Decimals."""
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, dict):
        return {key: plain_data(item) for key, item in value.items()}
    if isinstance(value, list):
        return [plain_data(item) for item in value]
    return value


def key_lines(text: str) -> dict[Path_, int]:
    r"""The line of every key, table and array item of valid TOML text, by its path.

    >>> key_lines('[case]\nwall = "3 mm"\n[[grain]]\n[[grain]]\nlength = "1 m"')[("grain", 1, "length")]
    5
    """
    return _Scanner(text.replace("\r\n", "\n")).run()


class _Scanner:
    """One pass over valid TOML."""

    def __init__(self, text: str) -> None:
        self.text, self.at, self.line = text, 0, 1
        self.lines: dict[Path_, int] = {}
        self.arrays: dict[Path_, int] = {}

    def run(self) -> dict[Path_, int]:
        table: Path_ = ()
        while self._skip_blank():
            if self.text.startswith("[[", self.at):
                table = self._header(2)
            elif self._here() == "[":
                table = self._header(1)
            else:
                self._pair(table)
        return self.lines

    def _here(self) -> str:
        return self.text[self.at : self.at + 1]

    def _skip_blank(self, newlines: bool = True) -> bool:
        """Move over blanks and comments; whether any text is left."""
        while self.at < len(self.text):
            character = self.text[self.at]
            if character == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif character == "\n" and newlines:
                self.line += 1
                self.at += 1
            elif character in " \t\r":
                self.at += 1
            else:
                return True
        return False

    def _header(self, brackets: int) -> Path_:
        self.at += brackets
        names = self._key()
        self._skip_blank(False)
        self.at += brackets
        path = self._resolved(names[:-1]) + (names[-1],)
        if brackets == 2:
            self.arrays[path] = self.arrays.get(path, -1) + 1
            self.lines.setdefault(path, self.line)
            path = (*path, self.arrays[path])
        else:
            path = self._resolved(names)
        self.lines.setdefault(path, self.line)
        return path

    def _resolved(self, names: list[str]) -> Path_:
        """A header's names as a path, with the latest index put in after each array of tables."""
        path: Path_ = ()
        for name in names:
            path = (*path, name)
            self.lines.setdefault(path, self.line)
            if path in self.arrays:
                path = (*path, self.arrays[path])
        return path

    def _key(self) -> list[str]:
        names: list[str] = []
        while True:
            self._skip_blank(False)
            names.append(self._name())
            self._skip_blank(False)
            if self._here() != ".":
                return names
            self.at += 1

    def _name(self) -> str:
        if self._here() in "\"'" and self._here():
            return self._string()
        found = re.compile(r"[A-Za-z0-9_-]+").match(self.text, self.at)
        if found is None:  # pragma: no cover - valid TOML has a name here
            raise ValueError("no key here")
        self.at = found.end()
        return found[0]

    def _pair(self, table: Path_) -> None:
        line = self.line
        names = self._key()
        path = table
        for name in names:
            path = (*path, name)
            self.lines.setdefault(path, line)
        self._skip_blank(False)
        self.at += 1  # the equals sign
        self._skip_blank(False)
        self._value(path)

    def _value(self, path: Path_) -> None:
        character = self._here()
        if character in "\"'" and character:
            self._string()
        elif character == "[":
            self._items(path)
        elif character == "{":
            self._inline(path)
        else:
            found = re.compile(r"[^,\]\}#\n]*").match(self.text, self.at)
            self.at = found.end() if found else self.at + 1

    def _items(self, path: Path_) -> None:
        self.at += 1
        index = 0
        while self._skip_blank() and self._here() != "]":
            if self._here() == ",":
                self.at += 1
                continue
            self.lines.setdefault((*path, index), self.line)
            self._value((*path, index))
            index += 1
        self.at += 1

    def _inline(self, path: Path_) -> None:
        self.at += 1
        while self._skip_blank() and self._here() != "}":
            if self._here() == ",":
                self.at += 1
                continue
            self._pair(path)
        self.at += 1

    def _string(self) -> str:
        """Move over a string of any of the four kinds; its content, escapes read."""
        quote = self._here()
        triple = self.text.startswith(quote * 3, self.at)
        mark = quote * 3 if triple else quote
        start, self.at = self.at, self.at + len(mark)
        while not self.text.startswith(mark, self.at):
            if quote == '"' and self._here() == "\\":
                self.at += 1
            if self._here() == "\n":
                self.line += 1
            self.at += 1
        self.at += len(mark)
        while triple and self._here() == quote:  # up to two quotes may end the content
            self.at += 1
        if triple or "\\" not in self.text[start : self.at]:
            return self.text[start + len(mark) : self.at - len(mark)]
        return str(tomllib.loads("k = " + self.text[start : self.at])["k"])


_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_key(name: str) -> str:
    """A key as TOML writes it, in quotes where it must be."""
    return name if _BARE.fullmatch(name) else toml_string(name)


def toml_string(text: str) -> str:
    """A basic string of TOML."""
    escapes = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return '"' + "".join(escapes.get(c, c if c.isprintable() else f"\\U{ord(c):08X}") for c in text) + '"'


def toml_value(value: Any) -> str:
    """A value as TOML writes it on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml_key(key)} = {toml_value(item)}" for key, item in value.items()) + "}"
    if isinstance(value, Decimal):
        return str(value) if any(mark in str(value) for mark in ".eEnN") else f"{value}.0"
    return repr(value)


def toml_text(data: dict[str, Any], inline: tuple[str, ...] = ("tolerances",)) -> str:
    """TOML text of nested data; the tables inside those named `inline` are written on one line each."""
    lines: list[str] = []
    _write_table(lines, data, (), inline)
    return "\n".join(lines).strip("\n") + "\n"


def _write_table(lines: list[str], table: dict[str, Any], path: tuple[str, ...], inline: tuple[str, ...]) -> None:
    flat = bool(path) and path[-1] in inline
    tables = [] if flat else [key for key, value in table.items() if isinstance(value, dict)]
    arrays = [] if flat else [key for key, value in table.items() if _is_tables(value)]
    for key, value in table.items():
        if key not in tables and key not in arrays:
            lines.append(f"{toml_key(key)} = {toml_value(value)}")
    for key in (key for key in table if key in tables or key in arrays):
        name = ".".join(toml_key(part) for part in (*path, key))
        for item in table[key] if key in arrays else [table[key]]:
            lines += ["", f"[[{name}]]" if key in arrays else f"[{name}]"]
            _write_table(lines, item, (*path, key), inline)


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
