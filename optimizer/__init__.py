"""What a builder asks: reads studies, spans the space, calls physics, picks the front, writes and draws.

Owns the names that a Python program takes from here::

    from optimizer import compare, explain, frames, learn, load_firing, load_motor, load_study, search, spread

Each is loaded when it is first asked for, so that one part costs no other and ``grainwright --help`` answers at once.
`search`, `compare`, `spread` and `explain` are files that may be called: each does what its function of that name does.
Imports nothing until asked.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.compare import compare as compare
    from optimizer.drawing import draw as draw
    from optimizer.explain import explain as explain
    from optimizer.fit_rate import learn as learn
    from optimizer.inputs import InputError as InputError
    from optimizer.inputs import load_firing as load_firing
    from optimizer.inputs import load_motor as load_motor
    from optimizer.inputs import load_propellant as load_propellant
    from optimizer.inputs import load_study as load_study
    from optimizer.search import search as search
    from optimizer.spread import spread as spread

_HOMES = {
    "drawing": ("draw",),
    "fit_rate": ("learn",),
    "inputs": ("InputError", "load_firing", "load_motor", "load_propellant", "load_study"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}
_CALLABLE_FILES = ("compare", "explain", "search", "spread")

__all__ = sorted([*_HOME_OF, *_CALLABLE_FILES, "frames"])


class _CallableFile(ModuleType):
    """A file whose function bears its own name; calling the file calls that function."""

    def __call__(self, *args: Any, **options: Any) -> Any:
        return getattr(self, self.__name__.rpartition(".")[2])(*args, **options)


class _Package(ModuleType):
    """The package: a file of `_CALLABLE_FILES` becomes callable on whatever road it was imported."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _CALLABLE_FILES and type(value) is ModuleType:
            value.__class__ = _CallableFile
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    """A public name, loaded from the file that owns it."""
    if name in _HOME_OF:
        value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
        globals()[name] = value
        return value
    if name in __all__:
        return import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
