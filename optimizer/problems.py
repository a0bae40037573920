"""What is wrong with an input file, said so that it can be mended: problems, their codes, the error that carries them.

Imports nothing of ours.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CODES: dict[str, str] = {
    "E101": "a number without its unit",
    "E102": "not a quantity: one number and one unit",
    "E103": "another dimension than expected",
    "E104": "a unit that is not in the list",
    "E105": "not a finite number",
    "E106": "negative, zero or outside what is possible",
    "E107": "of an unlikely size",
    "E108": "another type than expected",
    "E109": "not a whole number",
    "E110": "unknown key",
    "E111": "unknown table",
    "E112": "missing key or table",
    "E113": "not one of the choices",
    "E114": "another version of the layout",
    "E115": "keys that exclude each other",
    "E116": "a file of another kind",
    "E120": "unknown material",
    "E121": "unknown screw",
    "E122": "unknown grade",
    "E123": "unknown stock list",
    "E124": "unknown O-ring",
    "E125": "a stock list that cannot be read",
    "E130": "core not inside the grain",
    "E131": "exit smaller than the throat",
    "E132": "rows of the rate law out of order, overlapping or with a gap",
    "E133": "grain wider than the room in the case",
    "E134": "grains longer than the case",
    "E135": "wall of half the diameter or more",
    "E136": "soak temperatures out of order",
    "E137": "no burning surface",
    "E138": "parts that do not fit each other",
    "E139": "gas that cannot get out",
    "E140": "not TOML",
    "E141": "not UTF-8 text",
    "E142": "no such file",
    "E143": "not a file",
    "E144": "too large",
    "E145": "nested too deeply",
    "E146": "cannot be read",
    "E150": "unknown variable",
    "E151": "unknown limit or mode",
    "E152": "unknown objective",
    "E153": "range not divided by its step",
    "E154": "step that leads nowhere",
    "E155": "too many values",
    "E156": "no values",
    "E157": "bounds the wrong way round",
    "E158": "a tolerance that names nothing or says nothing",
    "E159": "a variable that the base motor has no part for",
    "E160": "a record of a firing that cannot be read",
    "E161": "a results folder that belongs to another study",
    "E162": "something that is not ours stands where a result should go",
}
"""The kinds of problem; a code keeps its meaning from release to release."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong: where (`file`, `line`, 0 where none), what (`key` = `value`), why, and how to mend it."""

    file: str
    line: int
    key: str
    value: str
    problem: str
    fix: str
    code: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        head = f"{place}: {self.key} = {self.value}" if self.value else f"{place}: {self.key}" if self.key else place
        return f"{head}\n    problem: {self.problem} [{self.code}]\n    fix:     {self.fix}"


SHOWN = 25


class InputError(Exception):
    """An input file that was refused: every problem found, and the closing line.

    `problems` holds them all; the text shows the first `SHOWN`.
    """

    def __init__(self, problems: Iterable[Problem], file: str = "") -> None:
        self.problems: list[Problem] = list(problems)
        self.file = file or (self.problems[0].file if self.problems else "")
        super().__init__(self.text())

    def text(self) -> str:
        """The message as printed: problems in order of file and line, then how many there are."""
        parts = [str(problem) for problem in self.problems[:SHOWN]]
        if len(self.problems) > SHOWN:
            parts.append(f"... and {len(self.problems) - SHOWN} more")
        count = len(self.problems)
        files = sorted({problem.file for problem in self.problems}) or [self.file]
        where = files[0] if len(files) == 1 else f"{len(files)} files"
        parts.append(f"{count} problem{'' if count == 1 else 's'} in {where}; nothing was run.")
        return "\n".join(parts)


@dataclass
class Problems:
    """Gathers the problems of one reading, over every file it touches."""

    found: list[Problem] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.found)

    def add(self, file: str, line: int, key: str, value: str, problem: str, fix: str, code: str) -> None:
        """Note a problem; the same one is noted once."""
        new = Problem(file, line, key, value, problem, fix, code)
        if new not in self.found:
            self.found.append(new)

    def stop_if_any(self, file: str) -> None:
        """Raise InputError with everything noted so far, in order of file and line."""
        if self.found:
            order = {name: place for place, name in enumerate(dict.fromkeys(item.file for item in self.found))}
            raise InputError(sorted(self.found, key=lambda item: (order[item.file], item.line)), file)


def nearest(word: str, known: Iterable[str], count: int = 1) -> list[str]:
    """The known names nearest to a word, best first, none where nothing is near."""
    from difflib import get_close_matches

    names = list(known)
    lowered = {name.lower(): name for name in names}
    return [lowered[item] for item in get_close_matches(word.lower()[:80], lowered, n=count, cutoff=0.55)]


def plain_file(path: str | Path) -> str:
    """A path as shown in messages, control characters made visible."""
    return "".join(character if character.isprintable() else repr(character)[1:-1] for character in str(path))


def shown_value(value: Any, longest: int = 60) -> str:
    """A TOML value as shown in a message: one line, printable, not longer than `longest`."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + "".join(c if c.isprintable() else repr(c)[1:-1] for c in value[: longest + 1]) + '"'
    elif isinstance(value, dict):
        text = "{" + ", ".join(f"{plain_file(key)[:24]} = {shown_value(item, 20)}" for key, item in list(value.items())[:6]) + "}"
    elif isinstance(value, list):
        text = "[" + ", ".join(shown_value(item, 20) for item in value[:6]) + (", ...]" if len(value) > 6 else "]")
    else:
        text = str(value)
    return text if len(text) <= longest else text[: longest - 3] + "..."
