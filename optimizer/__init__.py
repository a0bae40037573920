"""What a builder asks: reads studies, spans the space, calls physics, picks the front, writes and draws.

Owns the names that a Python program takes from here::

    from optimizer import compare, explain, frames, learn, load_firing, load_motor, load_study, search, spread

Each is loaded when it is first asked for, so that one part costs no other and ``grainwright --help`` answers at once.
Imports nothing until asked.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.commands.compare import compare as compare
    from optimizer.commands.explain import explain as explain
    from optimizer.commands.search import search as search
    from optimizer.commands.spread import spread as spread
    from optimizer.firings.rate_fit import learn as learn
    from optimizer.inputs import InputError as InputError
    from optimizer.inputs import load_firing as load_firing
    from optimizer.inputs import load_motor as load_motor
    from optimizer.inputs import load_propellant as load_propellant
    from optimizer.inputs import load_study as load_study
    from optimizer.output import frames as frames
    from optimizer.output.drawing import draw as draw

_HOMES = {
    "commands.compare": ("compare",),
    "commands.explain": ("explain",),
    "commands.search": ("search",),
    "commands.spread": ("spread",),
    "firings.rate_fit": ("learn",),
    "inputs": (
        "InputError",
        "load_firing",
        "load_motor",
        "load_propellant",
        "load_study",
    ),
    "output.drawing": ("draw",),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted([*_HOME_OF, "frames"])


def __getattr__(name: str) -> Any:
    """A public name, loaded from the file that owns it."""
    if name == "frames":
        return import_module(f"{__name__}.output.frames")
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
