"""Which columns of a batch of motors a function reads.

Owns the tracing by which the search proves what depends on what: a function that has not read a column cannot depend
on it, so its values may be tabulated over the variables that move the columns it did read. A copy that reads a whole
part counts as reading all of it, which costs speed and never truth. May import physics.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from physics.missing import Beyond, NotComputable
from physics.motors import Figures, Motors, Situation


def columns_read(function: Callable[[Motors], Any], motors: Motors) -> frozenset[str]:
    """Dotted columns that `function(motors)` reads. What the function raises is passed on."""
    return watched(function, motors)[1]


def watched(function: Callable[[Motors], Any], motors: Motors) -> tuple[Any, frozenset[str]]:
    """What `function(motors)` returns, and the dotted columns that it read.

    >>> from physics.motors import Case
    >>> case = Case(material=None, outer_diameter=np.array([0.05]), wall=np.array([0.003]))
    >>> sorted(columns_read(lambda case: case.bore, case))
    ['outer_diameter', 'wall']
    """
    log: set[str] = set()
    answer = function(_wrapped(motors, log, ""))
    return answer, frozenset(log)


def _is_part(value: Any) -> bool:
    return is_dataclass(value) and not isinstance(value, type) and type(value).__module__ == Motors.__module__


def _wrapped(part: Any, log: set[str], prefix: str) -> Any:
    """A copy of a part that writes into `log` what is read of it."""
    copy: Any = object.__new__(_watching(type(part), log, prefix))
    for item in fields(part):
        value = getattr(part, item.name)
        object.__setattr__(copy, item.name, _wrapped(value, log, f"{prefix}{item.name}.") if _is_part(value) else value)
    return copy


def _watching(kind: type, log: set[str], prefix: str) -> type:
    """A subclass of one of the dataclasses of a motor that notes each leaf that is read, by name or all at once."""
    names = frozenset(item.name for item in fields(kind))

    def read(self: Any, name: str) -> Any:
        value = object.__getattribute__(self, name)
        if name in names and not _is_part(value):
            log.add(prefix + name)
        elif name == "__dict__":
            log.update(prefix + leaf for leaf in names if not _is_part(value.get(leaf)))
        return value

    body: dict[str, Any] = {"__getattribute__": read, "__module__": Motors.__module__, "_plain_kind": kind}
    if kind is Motors:
        body["take"] = lambda self, index: _wrapped(Motors.take(_plain(self), index), log, prefix)
        body["repeat"] = lambda self, times: _wrapped(Motors.repeat(_plain(self), times), log, prefix)
    return type(f"Watched{kind.__name__}", (kind,), body)


def _plain(part: Any) -> Any:
    """The part without its watch; nothing counts as read."""
    kind = getattr(type(part), "_plain_kind", type(part))
    leaves = {item.name: object.__getattribute__(part, item.name) for item in fields(kind)}
    return kind(**{name: _plain(value) if _is_part(value) else value for name, value in leaves.items()})


def watched_mode(
    function: Callable[[Motors, Situation], Any], motors: Motors, end: str, figures: Figures
) -> tuple[Any, frozenset[str]]:
    """A failure mode called under watch: its answer (None where something is missing, NaN beyond its model) and what it
    read.

    What it reads of the situation is named ``situation.figures`` and ``situation.maximum_expected_pressure``. `figures`
    are those of the motors, with histories where the mode asks for them.
    """
    log: set[str] = set()
    situation = _wrapped(Situation(end, figures, figures["peak_head_pressure"]), log, "situation.")
    try:
        with np.errstate(all="ignore"):
            answer = function(_wrapped(motors, log, ""), situation)
    except Beyond:
        answer = np.nan
    except NotComputable:
        answer = None
    return answer, frozenset(_head(name) for name in log)


def _head(name: str) -> str:
    """`situation.figures.values` is a reading of the figures."""
    return ".".join(name.split(".")[:2]) if name.startswith("situation.") else name
