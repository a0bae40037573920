"""What was turned, written back: the builder's own file with other values and all else as it was, and a study around it.

Owns the text of both and the places they go to: the motor's own folder and nowhere else, nothing there written over but
the motor itself where that is asked for and nobody has changed it since. Imports inputs, the knobs and the results.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.inputs import MotorFile, load_study
from optimizer.inputs.text import key_lines, toml_key, toml_value
from optimizer.live.knobs import Knob, Path_, Turned, put, si_of, typed
from optimizer.problems import InputError
from optimizer.results import InTheWay, OutputError, file_digest, inputs_kept, write_bytes
from optimizer.vocabulary import SEAL_ROW_KEYS, SHORT_KEYS

NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .+-]{0,79}\.toml")
AROUND = 0.1
"""Half width of the span of a quantity without a list, as a share."""
NEIGHBOURS = 4
"""Sizes of a list on either side of where a knob stands."""
ALWAYS = ("throat_diameter", "core_diameter")
"""Searched beside what was turned."""


class Refused(Exception):
    """A file that is not written, and why, in words for the page."""


@dataclass(frozen=True)
class Saved:
    """A file written: its place, the keys that differ, and lines whose comments may speak of an old value."""

    path: Path
    changed: tuple[str, ...]
    comments: tuple[str, ...] = ()


def edited_text(text: str, edits: Mapping[Path_, Any]) -> str:
    """TOML text with some of its values replaced; comments, order, spaces and everything else stay.

    Raises
    ------
    OutputError
        Where the text that comes out would not say what it should; the text is then not to be used.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import String, StringType

    try:
        document: Any = tomlkit.parse(text)
        for path, value in edits.items():
            place = document
            for part in path[:-1]:
                place = place[part]
            old = place[path[-1]]
            literal = isinstance(old, String) and old._t == StringType.SLL and "'" not in str(value)
            place[path[-1]] = tomlkit.string(value, literal=literal) if isinstance(value, str) else value
        made = tomlkit.dumps(document)
        wanted = tomllib.loads(text)
        for path, value in edits.items():
            put(wanted, path, value)
        if tomllib.loads(made) != wanted:
            raise OutputError("the file's layout could not be kept with the new values in it; nothing was written")
    except (TOMLKitError, KeyError, IndexError, TypeError) as error:
        raise OutputError(f"the file's layout could not be kept: {error}; nothing was written") from error
    return made


def motor_text_with(file: MotorFile, knobs: Sequence[Knob], made: Turned, folder: Path | None = None) -> str:
    """The motor's own text with what was turned; a propellant named by its path is found from another folder too."""
    known = {knob.name: knob for knob in knobs}
    edits: dict[Path_, Any] = {known[name].path: typed(known[name], text) for name, text in made.texts.items()}
    use = file.document["propellant"].get("use")
    if folder is not None and use is not None and folder.resolve() != file.path.parent.resolve():
        edits[("propellant", "use")] = os.path.relpath(file.path.parent / str(use), folder)
    return edited_text(file.text, edits)


def place_for(folder: Path, name: Any) -> Path:
    """Where a file of this name goes. Refused for what is no plain name of a TOML file."""
    if not isinstance(name, str) or not NAME.fullmatch(name) or ".." in name:
        raise Refused("a name is letters, digits, spaces and . _ + -, without a folder, and ends in .toml")
    return folder / name


def free_name(folder: Path, stem: str, word: str = "") -> str:
    """The first name of a series that no file has yet: curlew-2.toml, curlew-3.toml."""
    stem = re.sub(r"-\d{1,3}$", "", re.sub(r"[^A-Za-z0-9_.+-]", "-", stem).strip("-.") or "motor")[:60]
    for number in range(2, 1000):
        name = f"{stem}{word}-{number}.toml" if number > 2 or not word else f"{stem}{word}.toml"
        if not os.path.lexists(folder / name):
            return name
    raise Refused("no name is free there; name the file yourself")


def save_motor(
    file: MotorFile, knobs: Sequence[Knob], made: Turned, name: Any, over: bool = False, folder: Path | None = None
) -> Saved:
    """Write the motor as turned.

    Parameters
    ----------
    name : str
        A plain name in the folder of the motor (or in `folder`).
    over : bool
        Whether the motor's own file may be written over; only where it is as it was read.

    Raises
    ------
    Refused
        For a name that is none, a file that is there already, or a file changed on disk since it was read.
    OutputError
        Where it could not be written; what was there is then unchanged.
    """
    target = place_for(folder or file.path.parent, name)
    text = motor_text_with(file, knobs, made, folder)
    content = _bytes_like(file.path, text)
    own = target.exists() and file.path.exists() and os.path.samefile(target, file.path)
    if own:
        if not over:
            raise Refused(f"{target.name} is the motor you opened; tick the box to write over it, or give another name")
        if file_digest(file.path) != file.sources[0][1]:
            raise Refused(f"{target.name} was changed on disk since it was opened; it is not written over")
        with inputs_kept():  # the one input that may be replaced, asked for by name
            write_bytes(target, content)
    else:
        _write_new(target, content)
    return Saved(target, tuple(made.texts), tuple(_old_comments(file.text, knobs, made)))


def _bytes_like(path: Path, text: str) -> bytes:
    """Text as bytes, with the byte order mark that the old file may have."""
    try:
        with open(path, "rb") as stream:
            mark = stream.read(3) == b"\xef\xbb\xbf"
    except OSError:
        mark = False
    return (b"\xef\xbb\xbf" if mark else b"") + text.encode()


def _write_new(target: Path, content: bytes) -> None:
    """Write a file that is not there yet; the name is claimed first, so that nothing is written over."""
    try:
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
    except FileExistsError:
        raise Refused(f"{target.name} is there already; give another name") from None
    except (OSError, ValueError) as error:
        raise OutputError(f"{target.name}: {getattr(error, 'strerror', None) or error}") from error
    try:
        write_bytes(target, content)
    except (OutputError, InTheWay):
        if target.stat().st_size == 0:
            target.unlink()
        raise


def _old_comments(text: str, knobs: Sequence[Knob], made: Turned) -> list[str]:
    """Comments on the lines that were changed: they may speak of the old value."""
    lines, where = text.splitlines(), key_lines(text)
    known = {knob.name: knob for knob in knobs}
    found = []
    for name in made.texts:
        line = where.get(known[name].path)
        if line is not None and line <= len(lines) and "#" in lines[line - 1]:
            found.append(f"line {line}: {lines[line - 1].split('#', 1)[1].strip()[:80]}")
    return found


# --- a study around where the knobs stand ------------------------------------------------------------------------------


def study_text(file: MotorFile, knobs: Sequence[Knob], made: Turned, motor: str, impulse: float | None) -> tuple[str, list[str]]:
    """A study whose spans lie around the knobs, and the names of what it searches.

    What was turned is searched, throat and core beside it. The target is a band about the impulse the motor has now.
    """
    spans = {}
    for knob in knobs:
        name = _search_name(knob, knobs)
        if name and (name in ALWAYS or knob.name in set(made.texts) - set(made.derived)):
            span = _span(knob, made.texts.get(knob.name, knob.text))
            if span is not None:
                spans[name] = span
    lines = [
        f"# Around {motor}: what was turned, with its neighbours. Widen, narrow or remove spans as you like.",
        "schema = 1",
        f"name = {toml_value(f'Around {Path(motor).stem}')}",
        f"motor = {toml_value(motor)}",
        "",
    ]
    if impulse is not None:
        lines += ["[target]", f'impulse = ["{0.9 * impulse:.4g} N*s", "{1.1 * impulse:.4g} N*s"]', ""]
    lines += ["[search]", *(f"{toml_key_of(name)} = {toml_value(span)}" for name, span in spans.items()), ""]
    lines += ["[limits]", "port_over_throat = {min = 1.5}", ""]
    lines += ["[objectives]", 'total_impulse = "max"', 'loaded_mass = "min"', 'smallest_factor = "max"']
    return "\n".join(lines) + "\n", list(spans)


def toml_key_of(name: str) -> str:
    """A dotted name as keys of TOML."""
    return ".".join(toml_key(part) for part in name.split("."))


def _search_name(knob: Knob, knobs: Sequence[Knob]) -> str:
    """The name by which a study searches a knob; "" where it cannot."""
    if knob.path[0] == "grain" and isinstance(knob.path[1], int):
        rows = {other.path[1] for other in knobs if other.path[0] == "grain" and isinstance(other.path[1], int)}
        if len(rows) > 1:
            return "" if knob.spec.key not in ("core_diameter",) or knob.path[1] else "core_diameter"
    if "seals" in knob.path:  # one ring of several, by its number
        return knob.name if knob.name in SEAL_ROW_KEYS else ""
    short = {full: name for name, full in SHORT_KEYS.items()}
    return short.get(knob.key, knob.key)


def _span(knob: Knob, text: str) -> Any:
    value = si_of(knob, text)
    if value is None:
        return None
    if knob.kind == "whole":
        low, high = max(int(knob.spec.low), int(value) - 2), min(int(knob.spec.high), int(value) + 2)
        return {"from": low, "to": high}
    if knob.stride is not None and knob.kind == "quantity":
        texts = [knob.near(way, value, count) for way, count in ((-1, 2), (-1, 1), (1, 1), (1, 2))]
        found = [*texts[:2], text, *texts[2:]]
    elif knob.steps:
        texts = [knob.near(way, value, count) for way in (-1, 1) for count in range(NEIGHBOURS, 0, -1)]
        found = [*texts, text]
    else:
        return None
    sizes = {si_of(knob, one): one for one in found if one is not None}
    kept = [sizes[size] for size in sorted(size for size in sizes if size is not None)]
    return kept if len(kept) > 1 else None


def save_study(
    file: MotorFile, knobs: Sequence[Knob], made: Turned, impulse: float | None, folder: Path | None = None
) -> tuple[Saved, Saved | None]:
    """Write a study around the knobs, and the motor it starts from where something was turned.

    Each is read back before it counts as written. Raises Refused, OutputError, and InputError where the study that came
    out cannot be read (it is then removed).
    """
    place = folder or file.path.parent
    motor = None
    if made.texts:
        motor = save_motor(file, knobs, made, free_name(place, file.path.stem), folder=folder)
    name = file.path.name if motor is None else motor.path.name
    if motor is None and folder is not None:
        name = os.path.relpath(file.path, folder)
    text, searched = study_text(file, knobs, made, name, impulse)
    target = place / free_name(place, Path(name).stem, "-around")
    _write_new(target, text.encode())
    try:
        load_study(target)
    except InputError:
        target.unlink()
        raise
    return Saved(target, tuple(searched)), motor
