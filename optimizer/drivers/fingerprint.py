"""What the finished blocks of a search were computed from: the files read, this program, and the settings.

Owns the hashes under which a record may be resumed, and which versions did the work. Imports nothing of ours.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from importlib import metadata, resources
from importlib.resources.abc import Traversable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimizer.inputs import Study

PACKAGES = ("physics", "optimizer")
"""Everything of which a block can be computed: whatever a worker imports or reads of ours lies in these."""
_MADE_BY_PYTHON = ("__pycache__",)


def fingerprint(study: Study, *parts: object) -> str:
    """Hash of everything that the blocks of a search are computed from: files read, this program, and `parts`."""
    digest = hashlib.sha256(f"{study.digest}:{study.motor.digest}:{code_hash()}".encode())
    digest.update(":".join(str(part) for part in parts).encode())
    return digest.hexdigest()


def code_hash() -> str:
    """Hash of this program: all modules and all data files of its packages, however deep they lie.

    No list of what matters is kept: one that is written by hand goes stale in silence, and a search resumed with it
    would mix blocks of two programs. What cannot matter (a page's style) costs a search begun before it, no more.
    """
    digest = hashlib.sha256()
    for package in PACKAGES:
        root = resources.files(package)
        modules = 0
        for name, item in files_of(root, package):
            content = item.read_bytes()
            digest.update(f"{name}:{len(content)}:".encode())
            digest.update(content)
            modules += name.endswith(".py")
        if not modules:
            raise RuntimeError(f"no module of {package} can be read at {root}: a search could not tell what computed it")
    return digest.hexdigest()


def files_of(folder: Traversable, name: str) -> Iterator[tuple[str, Traversable]]:
    """Every file of a package under its path from the package, in an order that no file system decides."""
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        path = f"{name}/{item.name}"
        if item.is_dir():
            if item.name not in _MADE_BY_PYTHON:
                yield from files_of(item, path)
        elif not item.name.endswith((".pyc", ".pyo")):
            yield path, item


def versions(packages: Iterable[str]) -> dict[str, str]:
    """The version of each package, "unknown" where it runs without being installed."""
    found = {}
    for package in packages:
        try:
            found[package] = metadata.version(package)
        except metadata.PackageNotFoundError:
            found[package] = "unknown"
    return found
