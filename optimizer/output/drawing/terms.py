"""The drawing library on its own terms: no file of settings, no variable of the environment has a say in a drawing.

Imports nothing of ours.
"""

from __future__ import annotations

import contextlib
import importlib.util
import os
from collections.abc import Iterator
from pathlib import Path

_NAMES = ("MPLBACKEND", "MATPLOTLIBRC", "SOURCE_DATE_EPOCH")


@contextlib.contextmanager
def library_defaults() -> Iterator[None]:
    """While inside, the library finds its own settings alone; for importing it, and for writing.

    It reads a file of settings where the user stands before any other, so that a step aside is taken if one lies there.
    """
    kept = {name: os.environ.pop(name) for name in _NAMES if name in os.environ}
    spec = importlib.util.find_spec("matplotlib")
    own = Path(spec.origin).parent / "mpl-data" if spec is not None and spec.origin else None
    if own is not None:
        os.environ["MATPLOTLIBRC"] = str(own / "matplotlibrc")
    try:
        with contextlib.chdir(own) if own is not None and os.path.exists("matplotlibrc") else contextlib.nullcontext():
            yield
    finally:
        os.environ.pop("MATPLOTLIBRC", None)
        os.environ.update(kept)
