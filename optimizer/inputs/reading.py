"""Reading a file that a user named: a plain file, of bounded size, in UTF-8; anything else is refused by name.

Each file read is noted as an input, so that no output of the same command replaces it. Imports problems and results.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from optimizer.problems import InputError, Problem, nearest, plain_file
from optimizer.results import note_input

LARGEST_FILE = 1_000_000


def refuse(path: str | Path, problem: str, fix: str, code: str, line: int = 0) -> InputError:
    """An InputError with one problem about a whole file."""
    return InputError([Problem(plain_file(path), line, "", "", problem, fix, code)], plain_file(path))


def read_bytes(path: str | Path, largest: int = LARGEST_FILE, what: str = "an input file") -> bytes:
    """The bytes of a plain file of bounded size.

    Raises InputError where there is none, where it is a folder, a device or a pipe, too large or unreadable.
    """
    if "\0" in str(path):
        raise refuse(path, "the name has a NUL character", "name a file", "E142")
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise refuse(path, f"is a folder; expected {what}", "name a file in it", "E143")
        if not stat.S_ISREG(status.st_mode):
            raise refuse(path, f"is not a plain file; expected {what}", "name a plain file", "E143")
        if status.st_size > largest:
            raise refuse(path, f"is {status.st_size} bytes large; the most read is {largest}", f"check that it is {what}", "E144")
        note_input(path, status)
        with open(path, "rb") as stream:
            content = stream.read(largest + 1)
    except (FileNotFoundError, NotADirectoryError):
        raise refuse(path, "no such file", _near_file(Path(path)), "E142") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(path, f"cannot be read: {reason}", "check the name and the permissions", "E146") from None
    if len(content) > largest:
        raise refuse(path, f"is larger than {largest} bytes", f"check that it is {what}", "E144")
    return content


def _near_file(path: Path) -> str:
    try:
        if not path.parent.is_dir():
            return f"there is no folder {plain_file(path.parent)} either; check the path"
        names = [item.name for item in sorted(path.parent.iterdir())[:2000] if item.suffix == path.suffix]
    except OSError:
        names = []
    near = nearest(path.name, names)
    return f"did you mean {plain_file(near[0])!r}?" if near else "check the name; paths in a file are relative to that file"


def decode(content: bytes, path: str | Path) -> str:
    """The text of a file in UTF-8, with or without a byte order mark; InputError otherwise."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refuse(path, "is UTF-16 text; expected UTF-8", "save it as UTF-8", "E141", 1)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise refuse(path, f"byte {content[error.start]:#04x} is not UTF-8 text", "save the file as UTF-8", "E141", line) from None
