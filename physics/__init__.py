"""What a motor does: pure functions on numpy arrays in SI units, batch first.

Owns the names that a Python program takes from here; each is loaded when it is first asked for, so that importing one
part costs no other. ``from physics import Motors, assess, evaluate, material, maximum_expected_pressure`` are the usual
ones; the files beside this one hold the rest. Imports nothing until asked.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from physics.assessment import Assessment as Assessment
    from physics.assessment import assess as assess
    from physics.ballistics.kernel import FLAGS as FLAGS
    from physics.ballistics.kernel import evaluate as evaluate
    from physics.ballistics.kernel import maximum_expected_pressure as maximum_expected_pressure
    from physics.designation import impulse_class as impulse_class
    from physics.failure.ladder import MODES as MODES
    from physics.failure.ladder import Mode as Mode
    from physics.failure.ladder import assess_ladder as assess_ladder
    from physics.figures import FIGURES as FIGURES
    from physics.materials import Material as Material
    from physics.materials import material as material
    from physics.missing import NotComputable as NotComputable
    from physics.missing import need as need
    from physics.motors import Figures as Figures
    from physics.motors import Ladder as Ladder
    from physics.motors import Motors as Motors
    from physics.motors import Rung as Rung
    from physics.motors import Situation as Situation

_HOMES = {
    "assessment": ("Assessment", "assess"),
    "designation": ("impulse_class",),
    "figures": ("FIGURES",),
    "ballistics.kernel": ("FLAGS", "evaluate", "maximum_expected_pressure"),
    "failure.ladder": ("MODES", "Mode", "assess_ladder"),
    "materials": ("Material", "material"),
    "missing": ("NotComputable", "need"),
    "motors": ("Figures", "Ladder", "Motors", "Rung", "Situation"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)


def __getattr__(name: str) -> Any:
    """A public name, loaded from the file that owns it."""
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
