"""What the finished blocks of a search were computed from: the files read, this program, and the settings.

Owns the hashes under which a record may be resumed. Imports nothing of ours.
"""

from __future__ import annotations

import hashlib
from importlib import resources
from typing import Any

_BLOCKS = ("space", "limits", "patterns", "families", "screen", "evolve", "finalists", "spread", "watch", "front")
"""The modules of optimizer on which a block depends, beside all of physics."""


def fingerprint(study: Any, *parts: object) -> str:
    """Hash of everything that the blocks of a search are computed from: files read, this program, and `parts`."""
    digest = hashlib.sha256(f"{study.digest}:{study.motor.digest}:{code_hash()}".encode())
    digest.update(":".join(str(part) for part in parts).encode())
    return digest.hexdigest()


def code_hash() -> str:
    """Hash of the code that computes blocks: all of physics, and the search."""
    digest = hashlib.sha256()
    for package in ("physics", "optimizer"):
        for item in sorted(resources.files(package).iterdir(), key=lambda item: item.name):
            name, _, kind = item.name.rpartition(".")
            if kind in ("py", "csv") and (package == "physics" or name in _BLOCKS):
                digest.update(item.name.encode())
                digest.update(item.read_bytes())
    return digest.hexdigest()
