"""What a builder asks: reads studies, spans the space, calls physics, picks the front, writes and draws.

Owns the names that a Python program takes from here::

    from optimizer import check, load_motor, load_study, search, to_frame

Each is loaded when it is first asked for, so that a part costs no other and `grainwright --help` answers at once.
`search`, `compare`, `spread`, `explain` and `frames` are both files and doors: the module may be called, and does what
its function of the same name does. Imports nothing until asked.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.actions import check_answer as check_answer
    from optimizer.compare import compare as compare
    from optimizer.explain import explain as explain
    from optimizer.fit_rate import learn as learn
    from optimizer.frames import to_frame as to_frame
    from optimizer.inputs import InputError as InputError
    from optimizer.inputs import load_firing as load_firing
    from optimizer.inputs import load_motor as load_motor
    from optimizer.inputs import load_propellant as load_propellant
    from optimizer.inputs import load_study as load_study
    from optimizer.looking import check as check
    from optimizer.search import search as search
    from optimizer.spread import spread as spread

