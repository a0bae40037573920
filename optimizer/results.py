"""Writing results: every file whole or not at all, JSON without NaN, CSV that a spreadsheet opens safely.

A file is written to a temporary one in the same folder, flushed to the disk and renamed over the old one, and the
folder is flushed too; a short write is caught.

Nothing of the builder's is written over. A folder of results lists what was written into it, each file by its digest
(`LISTING`), and only what is listed and unchanged is replaced or removed; whatever was read as an input (`note_input`)
is never written over, by any path or link. Imports nothing of ours.
"""

from __future__ import annotations

import contextlib
import csv
import errno
import hashlib
import io
import json
import math
import os
import re
import secrets
import stat
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextvars import ContextVar
from pathlib import Path
from typing import Any


class OutputError(Exception):
    """A result that the machine could not write: the disk is full, the folder is read-only, the store is gone."""


class UnreachableError(OutputError):
    """A service that a study names does not answer, or is not such as this program can use."""


class InTheWay(Exception):
    """What stands where a result should go is not ours to replace: its `path`, what it is (`problem`), a way out (`fix`)."""

    def __init__(self, path: str | Path, problem: str, fix: str) -> None:
        super().__init__(f"{path} {problem}; {fix}")
        self.path, self.problem, self.fix = Path(path), problem, fix


FULL_DISK = "the disk is full; free some room and run it again"
REASONS = {
    "ENOSPC": FULL_DISK,
    "EFBIG": "the file is larger than this account may write; raise the limit and run it again",
    "EDQUOT": "the disk quota is used up; free some room and run it again",
    "EROFS": "the disk is read-only; name another folder with --out",
    "EACCES": "there is no permission to write there; name another folder with --out",
    "EPERM": "there is no permission to write there; name another folder with --out",
    "EEXIST": "a file stands where a folder should go; remove it or name another folder with --out",
    "ENOTDIR": "a part of the path is a file, not a folder; name another folder with --out",
    "EISDIR": "a folder stands where the file should go; remove it or name another folder with --out",
    "ENAMETOOLONG": "the name is too long; name another folder with --out",
    "EIO": "the disk reported an error; check it before writing again",
    "ENOENT": "there is no such folder and none can be made there; name another one with --out",
    "ELOOP": "its links lead round in a circle; name another folder with --out",
    "ENODEV": "a device or a pipe stands where the file should go; name a plain file",
}


def explain(error: OSError | ValueError, path: str | Path) -> OutputError:
    """An OutputError that says in plain words why `path` could not be written."""
    name = errno.errorcode.get(getattr(error, "errno", None) or 0, "")
    reason = REASONS.get(name) or getattr(error, "strerror", None) or str(error)
    return OutputError(f"{path}: {reason}. What stood there before is unchanged.")


_INPUTS: ContextVar[dict[tuple[int, int], str] | None] = ContextVar("inputs", default=None)


@contextlib.contextmanager
def inputs_kept() -> Iterator[None]:
    """While inside, a file that was read as an input is not written over: `InTheWay` is raised instead."""
    token = _INPUTS.set({})
    try:
        yield
    finally:
        _INPUTS.reset(token)


def note_input(path: str | Path, status: os.stat_result | None = None) -> None:
    """Note that a file is read as an input; it is known again by any path or link to it."""
    inputs = _INPUTS.get()
    if inputs is not None:
        with contextlib.suppress(OSError, ValueError):
            status = status or os.stat(path)
            inputs.setdefault((status.st_dev, status.st_ino), str(path))


def refuse_input(path: str | Path) -> None:
    """Raise InTheWay where a file that is to be written was read as an input."""
    inputs = _INPUTS.get()
    if inputs:
        with contextlib.suppress(OSError, ValueError):
            status = os.stat(path)
            read = inputs.get((status.st_dev, status.st_ino))
            if read is not None:
                what = "is" if read == str(path) else f"is the same file as {read},"
                what += " an input of this command; no output may replace it"
                raise InTheWay(path, what, "name another file, or another folder with --out")


LARGEST_LOOKED_AT = 4_000_000


def refuse_unlike(path: str | Path, sign: bytes, what: str) -> None:
    """Raise InTheWay where a file that the user named is there and is not `what`, which would have `sign` in it."""
    refuse_input(path)
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):
            return  # told by its kind where it is written
        with open(path, "rb") as stream:
            head = stream.read(LARGEST_LOOKED_AT)
    except (OSError, ValueError):
        return  # nothing there, or nothing that could be written: told where it is written
    if head and sign not in head:
        raise InTheWay(path, f"is there already and is not {what}; it is not replaced", "name another file, or move it away")


def look_at_place(folder: str | Path, file: str | Path | None = None) -> None:
    """Raise OutputError where `folder` (or `file`) can be seen not to be writable; nothing is made or changed.

    Asked before long work, so that its end is not lost; a disk may still fill up meanwhile.
    """
    target = place = Path(folder) if file is None else Path(file)
    try:
        if file is not None:
            place = _plain_target(target).parent
        while not place.exists():
            place = place.parent
        if not place.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
        if not os.access(place, os.W_OK | os.X_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except (OSError, ValueError) as error:
        raise explain(error, target) from error


def _plain_target(path: Path) -> Path:
    """Where a file of that name is written: links are followed; OSError for a folder, a device or a pipe."""
    target = Path(os.path.realpath(path))
    refuse_input(path)
    try:
        there = os.stat(path)
    except FileNotFoundError:
        return target
    if stat.S_ISDIR(there.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    # A rename over a device would put a plain file in its place; one over our own output would cut that off.
    if not stat.S_ISREG(there.st_mode) or any(_is_stream(number, there) for number in (0, 1, 2)):
        raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
    return target


def _is_stream(number: int, there: os.stat_result) -> bool:
    try:
        return os.path.samestat(os.fstat(number), there)
    except OSError:  # closed
        return False


def write_bytes(path: str | Path, content: bytes) -> None:
    """Write a file whole or not at all; folders on the way are made.

    Raises OutputError where that fails; an older file of that name is then unchanged.
    """
    target = Path(path)
    try:
        target = _plain_target(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        _replace(target, content)
    except (OSError, ValueError) as error:
        raise explain(error, path) from error


LISTING = "written.json"
_SIGN = "files that grainwright wrote"
_ABOUT = f"{_SIGN} here and may replace, by SHA-256; what is not listed, or was changed, it leaves alone"


def refuse_foreign(folder: str | Path, names: Iterable[str]) -> None:
    """Raise InTheWay where one of the files that are to be written into `folder` is there already and not ours.

    Ours is what the folder's listing has by its digest. Asked before long work; `write_together` asks again.
    """
    place = Path(folder)
    try:
        listed = _listed(place)
        for name in names:
            refuse_input(place / name)
            _refuse_unlisted(place, name, listed)
    except (OSError, ValueError) as error:
        raise explain(error, place) from error


def made_from(folder: str | Path) -> str:
    """The file that the results of a folder are of, as its listing says; "" where there is no listing."""
    try:
        listing = json.loads((Path(folder) / LISTING).read_bytes())
        return str(listing.get("of", ""))
    except (OSError, ValueError, AttributeError):
        return ""


def _listed(folder: Path) -> dict[str, list[str]]:
    """Digests of what was written into a folder, by name; nothing where there is no listing. InTheWay for one not ours."""
    path = folder / LISTING
    try:
        content = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return {}
    try:
        listing = json.loads(content)
        if listing["about"].startswith(_SIGN):
            return {str(name): [str(item) for item in digests] for name, digests in listing["files"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        pass
    raise InTheWay(path, "is not a list of results as written here", "move it away, or name another folder with --out")


def _refuse_unlisted(folder: Path, name: str, listed: Mapping[str, Sequence[str]]) -> None:
    path = folder / name
    try:
        there = os.stat(path)
    except (FileNotFoundError, NotADirectoryError):
        return
    if not stat.S_ISREG(there.st_mode) or (name in listed and file_digest(path) in listed[name]):
        return  # what is no file is refused where it is written, by its kind
    what = "was changed since it was written here" if name in listed else "was not written here by an earlier run"
    raise InTheWay(path, f"{what}; it is not replaced", "move it away, or name another folder with --out")


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One process at a time writes results into a folder, where the system can lock one."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):  # pragma: no cover - a system that cannot
        yield
        return
    try:
        with contextlib.suppress(OSError):  # network folders that cannot
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def write_together(folder: str | Path, files: Mapping[str, str | bytes], stale: Iterable[str] = (), of: str = "") -> None:
    """Write files that belong together, named by their place in `folder`, and then remove the `stale` ones.

    Each is written and flushed beside its place before any is renamed: where the disk fills up, every older file is
    still there and nothing of the new is. The folder's listing knows old and new while they are exchanged, so that a
    run after a kill takes both for ours; `of` says there what the results are of. A stale file that is not ours stays.
    Raises OutputError where writing fails, InTheWay where something stands there that is not ours to replace.
    """
    target = place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
        with _alone(place):
            _exchange(place, files, stale, of)
    except (OSError, ValueError) as error:
        raise explain(error, target) from error


def _exchange(place: Path, files: Mapping[str, str | bytes], stale: Iterable[str], of: str) -> None:
    staged: list[tuple[Path, Path]] = []
    target = place
    try:
        for inside in (place, *(path for path in place.iterdir() if path.is_dir() and not path.is_symlink())):
            clear_leftovers(inside)
        listed = _listed(place)
        for name in files:
            refuse_input(place / name)
            _refuse_unlisted(place, name, listed)
        gone = [name for name in stale if name not in files and _is_ours(place, name, listed)]
        after = {name: digests for name, digests in listed.items() if name not in gone}
        for name, content in files.items():
            target = place / name
            target = _plain_target(target)  # a folder or a device there is found out before the first rename
            target.parent.mkdir(parents=True, exist_ok=True)
            content = content if isinstance(content, bytes) else content.encode("utf-8", errors="backslashreplace")
            staged.append((_stage(target, content), target))
            after[name] = [digest(content)]
        both = listed | {name: [*listed.get(name, ()), *after[name]] for name in files}
        target = place / LISTING
        _write_listing(place, both, of)
        while staged:
            temporary, target = staged[0]
            os.replace(temporary, target)
            del staged[0]
        for name in gone:
            target = place / name
            target.unlink(missing_ok=True)
        for inside in {(place / name).parent for name in files}:
            sync_folder(inside)
        target = place / LISTING
        _write_listing(place, after, of)
    except (OSError, ValueError) as error:
        raise explain(error, target) from error
    finally:
        for temporary, _ in staged:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def _is_ours(folder: Path, name: str, listed: Mapping[str, Sequence[str]]) -> bool:
    return name in listed and (folder / name).is_file() and file_digest(folder / name) in listed[name]


def _write_listing(folder: Path, listed: Mapping[str, Sequence[str]], of: str) -> None:
    listing = {"schema": 1, "about": _ABOUT, "of": of or made_from(folder), "files": dict(sorted(listed.items()))}
    _replace(_plain_target(folder / LISTING), json_text(listing).encode("utf-8", errors="backslashreplace"))


_LEFTOVER = re.compile(r"\..*\.(\d+)\.[0-9a-f]{8}\.part")


def clear_leftovers(folder: Path) -> None:
    """Remove the temporaries of processes that were killed while they wrote here."""
    for path in folder.glob(".*.part"):
        found = _LEFTOVER.fullmatch(path.name)
        if found and not _alive(int(found[1])):
            path.unlink(missing_ok=True)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def _replace(target: Path, content: bytes) -> None:
    temporary = _stage(target, content)
    try:
        os.replace(temporary, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise
    sync_folder(target.parent)


def _stage(target: Path, content: bytes) -> Path:
    """Write a temporary file beside `target`, whole and flushed, or leave nothing."""
    # The name is cut so that a long one, in any script, stays within what file systems take.
    temporary = target.parent / f".{target.name[:48]}.{os.getpid()}.{secrets.token_hex(4)}.part"
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        try:
            _write_all(handle, content)
            os.fsync(handle)
        finally:
            os.close(handle)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise
    return temporary


def _write_all(handle: int, content: bytes) -> None:
    """Write every byte; a disk that takes a part and reports no error is caught by the next call or by the count."""
    view = memoryview(content)
    done = 0
    while done < len(view):
        written = os.write(handle, view[done:])
        if written <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done += written
    if os.fstat(handle).st_size != len(view):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def sync_folder(folder: str | Path) -> None:
    """Flush a folder's entries to the disk, where the system can."""
    if os.name != "posix":  # pragma: no cover - folders cannot be opened there
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.EBADF, errno.ENOTSUP):  # network folders that cannot
            raise
    finally:
        os.close(handle)


def write_text(path: str | Path, text: str) -> None:
    """Write UTF-8 text whole or not at all, line ends as given."""
    write_bytes(path, text.encode("utf-8", errors="backslashreplace"))


def plain(value: Any) -> Any:
    """Data as JSON has it: arrays as lists, NaN and infinities as None, every key a string."""
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    return str(value)


ANSWER_SCHEMA = 2
"""Version of the layout of JSON answers; files that people write have one of their own."""


def json_text(value: Any) -> str:
    """JSON text of data made `plain`."""
    return json.dumps(plain(value), indent=1, allow_nan=False, ensure_ascii=False) + "\n"


_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""Signs that begin a formula, or end a cell, in one spreadsheet or another; their full-width forms do too."""


def safe_cell(value: Any) -> str:
    r"""A cell as CSV text: numbers as they are, missing ones empty, text that a spreadsheet would run made harmless.

    >>> safe_cell("=1+1"), safe_cell(-2.5), safe_cell("-2.5 mm"), safe_cell(float("nan"))
    ("'=1+1", '-2.5', "'-2.5 mm", '')
    >>> safe_cell("\uff1d1+1")
    "'＝1+1"
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if hasattr(value, "item") and not isinstance(value, str):
        return safe_cell(value.item())
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ""
    text = "".join(character if character.isprintable() else " " for character in str(value))
    plain_forms = unicodedata.normalize("NFKC", text.strip()[:1])
    return "'" + text if str(value).startswith(_DANGEROUS) or plain_forms.startswith(_DANGEROUS) else text


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """CSV text of a header and rows, each cell made safe."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([safe_cell(cell) for cell in header])
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)
    return stream.getvalue()


def write_csv(path: str | Path, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Write a table as CSV, whole or not at all; safe to open in a spreadsheet, numbers stay numbers."""
    write_text(path, csv_text(header, rows))


def digest(value: Any) -> str:
    """SHA-256 of bytes, of text, or of data as canonical JSON.

    >>> digest({"a": 1, "b": 2}) == digest({"b": 2, "a": 1})
    True
    """
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    if isinstance(value, str):
        return hashlib.sha256(value.encode()).hexdigest()
    text = json.dumps(plain(value), sort_keys=True, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def file_digest(path: str | Path) -> str:
    """SHA-256 of a file's bytes."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
