"""The starter folder: a commented study, motor, propellant, shop list and firing that run as they are.

The files lie in the folder `optimizer/starter`. Imports the results and the problems.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from optimizer.problems import InputError, Problem, plain_file
from optimizer.results import write_bytes

FILES = {
    "study.toml": "what may vary, within which limits, what is wanted: search",
    "motor.toml": "one motor: check, spread, draw, compare",
    "propellant.toml": "the propellant that the motor names",
    "firing.toml": "a static firing: reduce",
    "firing.csv": "its record",
    "failed_firing.toml": "a firing that failed: explain",
    "stock/shop-tubes.csv": "the tubes that the study chooses from",
}
"""The files of the starter folder, and what each is for."""


def create(folder: str | Path) -> list[Path]:
    """Write the starter files into a folder, made if it is not there; the paths written.

    Raises InputError, with nothing written, where one of the files is there already or the folder is a file, and
    OutputError where the machine cannot write.
    """
    target = Path(folder)
    if target.exists() and not target.is_dir():
        found = Problem(
            plain_file(target),
            0,
            "",
            "",
            "is a file; expected a folder",
            "name a folder that does not exist yet",
            "E143",
        )
        raise InputError([found], plain_file(target))
    there = [name for name in FILES if (target / name).exists()]
    if there:
        fix = "name another folder, or move these files away: " + ", ".join(there)
        found = Problem(plain_file(target), 0, "", "", f"has a {there[0]} already; no file is overwritten", fix, "E115")
        raise InputError([found], plain_file(target))
    source = resources.files("optimizer") / "starter"
    written = []
    for name in FILES:
        place = source
        for part in name.split("/"):
            place = place / part
        write_bytes(target / name, place.read_bytes())
        written.append(target / name)
    return written
