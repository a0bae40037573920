"""From one iteration to the next: what changed, what each change did, and whether it fixed what governed.

Owns the difference of two motor files key by key, the evaluation of each change alone, and the plain answer. A part
or a row that comes or goes is one change. Imports inputs, units, vocabulary and physics.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np

from optimizer.candidates.batch import assessed_together, content_of
from optimizer.cautions import NOT_DESCRIBED
from optimizer.inputs import InputError, MotorFile, motor_from_document
from optimizer.ladder_view import RungView, rungs_of
from optimizer.results import ANSWER_SCHEMA
from optimizer.units import QuantityError, parse_quantity, show
from optimizer.vocabulary import MOTOR_KEYS
from physics.assessment import Assessment, assess
from physics.failure.chances import Key, first_to_fail
from physics.failure.evidence import model_with_tests
from physics.failure.ladder import ADVICE

SAME = 1e-9
"""Relative difference up to which two values are one."""
MOVED = 0.01
"""A factor that changed by less than this share has stayed."""
WORTH_TELLING = 0.01
"""Share of the first to fail from which a rung is told of."""
CLOSURES = ("forward_closure", "aft_closure")
FACES = ("forward_face", "aft_face")
PARTS = ("case", "liner", *CLOSURES, "airframe")
ALWAYS_THERE = ("ambient", "factors", "tolerances")
"""Tables that a motor has whether its file says so or not; they are compared key by key."""
IGNORED = ("schema", "name", "propellant.use")

Value = float | str | bool | None


@dataclass(frozen=True)
class RungState:
    """A rung as a comparison shows it; `pressure` [Pa] or `time` [s], None where it is not of that kind."""

    mode: str
    part: str
    pressure: float | None
    time: float | None
    factor: float | None
    required: float
    ok: bool
    kind: str = ""

    @property
    def name(self) -> str:
        """Mode and part."""
        return f"{self.mode}, {self.part}"

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return dict(vars(self))


@dataclass(frozen=True)
class MotorState:
    """What one motor comes to: figures by name and rungs, lowest first (pressures, then times)."""

    figures: Mapping[str, float | None]
    rungs: tuple[RungState, ...]
    not_assessed: tuple[tuple[str, str, str], ...]
    ok: bool
    described: bool = True

    def rung(self, name: str) -> RungState | None:
        """The rung of that name ("mode, part"), or None."""
        return next((rung for rung in self.rungs if rung.name == name), None)

    @property
    def governing(self) -> RungState | None:
        """The pressure rung that is reached first, None where there is none."""
        found = [rung for rung in self.rungs if rung.pressure is not None and rung.kind != ADVICE]
        return found[0] if found else None

    @property
    def concern(self) -> RungState | None:
        """What a redesign has to answer for: the governing rung, or the one furthest short where that one is not."""
        governing = self.governing
        if governing is None or governing.ok:
            return min(self.short, key=lambda rung: (rung.factor or 0.0) / rung.required, default=governing)
        return governing

    @property
    def short(self) -> list[RungState]:
        """The rungs below their required factor."""
        return [rung for rung in self.rungs if not rung.ok]


@dataclass(frozen=True)
class Change:
    """One difference: the file key (or the part), its values in SI or as text, and both as written in the files.

    `alone` is the first motor with this change only, None where that motor cannot be, with the reason in `why`. Of a part
    that was rebuilt, and of values that changed together, `lines` are key, before and after of each value that differs.
    """

    key: str
    before: Value
    after: Value
    before_text: str
    after_text: str
    meaning: str = ""
    alone: MotorState | None = None
    why: str = ""
    lines: tuple[tuple[str, str, str], ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The entry of `compare --json`."""
        return {
            "key": self.key,
            "from": self.before,
            "to": self.after,
            "from_text": self.before_text,
            "to_text": self.after_text,
            "meaning": self.meaning,
            "alone": None if self.alone is None else dict(self.alone.figures),
            "alone_ladder": None if self.alone is None else [rung.as_json() for rung in self.alone.rungs],
            "why": self.why,
            "lines": [{"key": key, "from": before, "to": after} for key, before, after in self.lines],
        }


@dataclass(frozen=True)
class Step:
    """From one motor to the next: the changes, and the answer to whether it fixed what governed."""

    before: int
    after: int
    changes: tuple[Change, ...]
    verdict: str
    answer: str
    asked_about: str


@dataclass(frozen=True)
class Comparison:
    """Two or more motors side by side, `steps` between neighbours; `first` are the shares of the first to fail of each."""

    names: tuple[str, ...]
    kernel: str
    states: tuple[MotorState, ...]
    steps: tuple[Step, ...]
    first: tuple[Mapping[Key, float], ...] = ()
    motors: tuple[MotorFile, ...] = field(default=(), repr=False)

    @property
    def changes(self) -> list[Change]:
        """The changes of every step, in order."""
        return [change for step in self.steps for change in step.changes]

    @property
    def first_to_fail(self) -> list[tuple[Key, list[float]]]:
        """The rungs that are the first to fail in one point of a hundred of some motor, with the share in each motor."""
        shares = {key: [one.get(key, 0.0) for one in self.first] for one in self.first for key in one}
        return sorted(((key, each) for key, each in shares.items() if max(each) >= WORTH_TELLING), key=lambda row: -max(row[1]))

    @property
    def figures(self) -> dict[str, list[float | None]]:
        """Each figure over the motors."""
        names = dict.fromkeys(name for state in self.states for name in state.figures)
        return {name: [state.figures.get(name) for state in self.states] for name in names}

    def as_json(self) -> dict[str, Any]:
        """The object of `compare --json`; of more than two motors each change says which step it belongs to."""
        changes = []
        for step in self.steps:
            changes += [{**change.as_json(), "step": [step.before, step.after]} for change in step.changes]
        return {
            "schema": ANSWER_SCHEMA,
            "motors": list(self.names),
            "kernel": self.kernel,
            "changes": changes,
            "figures": self.figures,
            "ladders": [[rung.mode for rung in state.rungs] for state in self.states],
            "rungs": [[rung.as_json() for rung in state.rungs] for state in self.states],
            "first_to_fail": [
                [{"mode": mode, "part": part, "share": share} for (mode, part), share in one.items() if share > 0.0]
                for one in self.first
            ],
            "governing": [None if state.governing is None else state.governing.name for state in self.states],
            "not_assessed": [
                [{"mode": mode, "part": part, "why": why} for mode, part, why in state.not_assessed] for state in self.states
            ],
            "ok": [state.ok for state in self.states],
            "answers": [
                {
                    "step": [step.before, step.after],
                    "asked_about": step.asked_about,
                    "verdict": step.verdict,
                    "text": step.answer,
                }
                for step in self.steps
            ],
        }


def compare(motors: Sequence[MotorFile], kernel: str = "steady", failed: str | None = None, units: str = "metric") -> Comparison:
    """Compare motors, each with the one before it.

    Parameters
    ----------
    motors : sequence of MotorFile
        Two or more, oldest first.
    kernel : str
        "steady" or "transient".
    failed : str
        Mode that failed in the first motor ("screw shear", or "screw shear, forward closure"); the rung that governs
        it where left out.
    units : str
        "metric" or "imperial", for the numbers in the answers.

    Raises
    ------
    ValueError
        For fewer than two motors, or a mode that the first motor's ladder does not have.
    """
    if len(motors) < 2:
        raise ValueError("a comparison needs two motor files or more")
    differences = [list(_differences(first, second)) for first, second in pairwise(motors)]
    alone = [[_made_alone(motors[place], document) for _, document in found] for place, found in enumerate(differences)]
    states = [state_of(*assessed_together([motor.motors], kernel=kernel, flown=True)[0]) for motor in motors]
    # A change that is all there is makes the second motor, which is known to the last digit; the others are asked together.
    known = {content_of(motor.motors): state for motor, state in zip(motors, states, strict=True)}
    files = {content_of(one.motors): one.motors for found in alone for one in found if isinstance(one, MotorFile)}
    left = {key: motor for key, motor in files.items() if key not in known}
    looks = assessed_together(list(left.values()), kernel=kernel, flown=True)
    known |= {key: state_of(*look) for key, look in zip(left, looks, strict=True)}
    if failed is not None:
        _rung_named(states[0], failed)
    steps = []
    for place, (first, second) in enumerate(pairwise(range(len(motors)))):
        changes = tuple(
            replace(change, why=made) if isinstance(made, str) else replace(change, alone=known[content_of(made.motors)])
            for (change, _), made in zip(differences[place], alone[place], strict=True)
        )
        asked = _rung_named(states[first], failed) if failed and place == 0 else states[first].concern
        sound = asked is not None and asked.ok and not (failed and place == 0)
        verdict, answer = _answer(asked, states[first], states[second], changes, units, sound)
        steps.append(Step(first, second, changes, verdict, answer, "" if asked is None else asked.name))
    shares = tuple(_first_to_fail(motor, kernel) for motor in motors)
    return Comparison(_distinct([motor.name for motor in motors]), kernel, tuple(states), tuple(steps), shares, tuple(motors))


def _first_to_fail(motor: MotorFile, kernel: str) -> dict[Key, float]:
    """Shares of the first to fail of one motor with its own tests, by itself: how sure its heat rungs are is its own."""
    look = assess(motor.motors, kernel=kernel)
    return first_to_fail(
        model_with_tests(look.motors, look.ladder, look.maximum_expected_pressure, look.figures, motor.evidence)[1]
    )  # fmt: skip


def _distinct(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"{name} ({i + 1})" if names.count(name) > 1 else name for i, name in enumerate(names))


def _rung_named(state: MotorState, name: str) -> RungState | None:
    for rung in state.rungs:
        if name in (rung.name, rung.mode):
            return rung
    known = ", ".join(dict.fromkeys(rung.mode for rung in state.rungs)) or "none"
    raise ValueError(f"no rung {name!r} on the ladder of the first motor; there are: {known}")


def state_of(assessment: Assessment, index: int = 0) -> MotorState:
    """One motor of a batch as a comparison shows it."""

    def number(value: Any) -> float | None:
        return None if value is None else _number(np.broadcast_to(np.ravel(value), (assessment.motors.size,))[index])

    figures = {name: number(value) for name, value in assessment.figures.values.items()}
    figures["maximum_expected_pressure"] = number(assessment.maximum_expected_pressure)
    figures["smallest_factor"] = number(assessment.smallest_factor)
    figures.update({f"{name}_mass": number(value) for name, value in assessment.masses.items()})
    if assessment.fit is not None:
        for name in ("clearance", "length_clearance"):
            figures[name] = number(assessment.fit.get(name))
    if assessment.flight is not None:
        figures.update({name: number(value) for name, value in assessment.flight.figures.items()})
    missing = tuple((item.mode, item.part, item.why) for item in assessment.ladder.not_assessed)
    rungs = []
    for rung in rungs_of(assessment.ladder, index):
        if assessment.motors.size > 1 and all(value is None or math.isnan(value) for value in (rung.pressure, rung.time)):
            missing += ((rung.mode, rung.part, "the burn is outside the model"),)  # as of one motor by itself
        else:
            rungs.append(_state(rung))
    return MotorState(figures, tuple(rungs), missing, bool(assessment.ok[index]), bool(assessment.described[index]))


def _number(value: Any) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _state(rung: RungView) -> RungState:
    return RungState(
        rung.mode,
        rung.part,
        _number(rung.pressure),
        _number(rung.time),
        _number(rung.factor),
        rung.required or 0.0,
        rung.ok,
        rung.kind,
    )


# --- what changed ----------------------------------------------------------------------------------------------------


def _differences(before: MotorFile, after: MotorFile) -> Iterator[tuple[Change, dict[str, Any]]]:
    """Every change, with the first motor's document changed by it alone."""
    old, new = _resolved(before), _resolved(after)
    _write_faces_alike(old["grain"], new["grain"])
    for paths in _together(list(_changed_paths(old, new))):
        document = copy.deepcopy(old)
        for path in paths:
            _put(document, path, _get(new, path))
        changes = [_change(path, _get(old, path), _get(new, path), old) for path in paths]
        yield changes[0] if len(changes) == 1 else _joined(changes), document


def _together(paths: Sequence[Path]) -> Iterator[Sequence[Path]]:
    """Each path by itself, but counts and lengths of grains in one: a case asks for both at once; and the two ways to write
    the seals of a part, of which a file has one.
    """
    stack = [path for path in paths if path[0] == "grain" and path[-1] in ("count", "length") and len(path) == 3]
    seals: dict[Path, list[Path]] = {}
    for path in paths:
        if path[-1] in ("seal", "seals"):
            seals.setdefault(path[:-1], []).append(path)
    for path in paths:
        group = stack if path in stack else seals[path[:-1]] if path[-1] in ("seal", "seals") else [path]
        if path == group[0]:
            yield group


def _joined(changes: Sequence[Change]) -> Change:
    """Several changes as one."""
    before, after = (", ".join(texts) for texts in zip(*((c.before_text, c.after_text) for c in changes), strict=True))
    lines = tuple((change.key, change.before_text, change.after_text) for change in changes)
    keys = [changes[0].key, *(change.key.rsplit(".", 1)[-1] if "[" not in change.key else change.key for change in changes[1:])]
    return Change(" and ".join(keys), before, after, before, after, "changed together", lines=lines)


def _resolved(motor: MotorFile) -> dict[str, Any]:
    """The document with the propellant's own keys in place of the file that holds them."""
    document = copy.deepcopy(motor.document)
    document["propellant"] = copy.deepcopy(dict(motor.propellant_document))
    grains = document.get("grain")
    document["grain"] = [grains] if isinstance(grains, dict) else grains
    rates = document["propellant"].get("rate")
    if isinstance(rates, dict):
        document["propellant"]["rate"] = [rates]
    return document


def _write_faces_alike(old: Any, new: Any) -> None:
    """Faces where one motor counts the bare ends of a row and the other names its faces: one way to write it, one change a face."""
    rows = list(zip(old, new, strict=False)) if isinstance(old, list) and isinstance(new, list) else []
    for pair in rows:
        named = [any(face in row for face in FACES) for row in pair]
        faces = [_faces(row) for row in pair]
        if any(named) and None not in faces:
            for row, both in zip(pair, faces, strict=True):
                row.pop("burning_ends", None)
                row.update(both or {})


def _faces(row: Mapping[str, Any]) -> dict[str, Any] | None:
    """Both faces of a row of grains however it says them; None where it does not."""
    given = {face: row[face] for face in FACES if face in row}
    ends = row.get("burning_ends")
    if ends in (0, 2):
        return dict.fromkeys(FACES, "bare" if ends else "inhibited") | given
    if ends == 1 and len(given) == 1:
        (face, state), other = next(iter(given.items())), {FACES[0]: FACES[1], FACES[1]: FACES[0]}
        return {face: state, other[face]: "inhibited" if state == "bare" else "bare"}
    return given if len(given) == len(FACES) else None


Path = tuple[str | int, ...]


def _changed_paths(old: Mapping[str, Any], new: Mapping[str, Any], path: Path = ()) -> Iterator[Path]:
    for key in dict.fromkeys([*old, *new]):
        here = (*path, key)
        if ".".join(map(str, here)) in IGNORED:
            continue
        a, b = old.get(key), new.get(key)
        if not path and key in ALWAYS_THERE:
            a, b = a or {}, b or {}
        if _whole(here, a, b):
            if not _same(here, a, b):
                yield here
        elif isinstance(a, dict) and isinstance(b, dict):
            yield from _changed_paths(a, b, here)
        elif isinstance(a, list) and isinstance(b, list):
            for row, (first, second) in enumerate(zip(a, b, strict=True)):
                yield from _changed_paths(first, second, (*here, row))


def _whole(path: Path, a: Any, b: Any) -> bool:
    """Whether a difference here is one change: a value, a part that comes or goes, other rows, another build."""
    if isinstance(a, dict) and isinstance(b, dict):
        if path[0] in ("tolerances", "materials") and len(path) == 2:
            return True
        if path[0] == "propellant" and len(path) == 1:
            return a.get("name") is not None and b.get("name") is not None and a["name"] != b["name"]
        return path[-1] in CLOSURES and a.get("retention") != b.get("retention")
    rows = isinstance(a, list) and isinstance(b, list) and all(isinstance(item, dict) for item in [*a, *b])
    return not (rows and len(a) == len(b))


def _same(path: Path, a: Any, b: Any) -> bool:
    if a == b:
        return True
    a, b = _with_default(path, a), _with_default(path, b)
    if isinstance(a, dict) or isinstance(b, dict):
        return isinstance(a, dict) and isinstance(b, dict) and set(a) == set(b) and all(_same((*path, k), a[k], b[k]) for k in a)
    if isinstance(a, list) or isinstance(b, list):
        return (
            isinstance(a, list)
            and isinstance(b, list)
            and len(a) == len(b)
            and all(_same(path, x, y) for x, y in zip(a, b, strict=True))
        )
    first, second = _si(path, a), _si(path, b)
    if isinstance(first, float) and isinstance(second, float):
        return abs(first - second) <= SAME * max(abs(first), abs(second))
    return first == second


def _with_default(path: Path, value: Any) -> Any:
    """The value, or what the key stands for where it is not given."""
    spec = MOTOR_KEYS.get(_spec_key(path))
    return spec.default if value is None and spec is not None else value


def _spec_key(path: Path) -> str:
    return ".".join(str(part) for part in path if not isinstance(part, int))


def _shown_key(path: Path, old: Mapping[str, Any]) -> str:
    """The key as a builder says it; rows are numbered from one where there are several."""
    text = ""
    rows: Any = old
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]" if isinstance(rows, list) and len(rows) > 1 else ""
        else:
            text += f".{part}" if text else part
        rows = (
            rows.get(part)
            if isinstance(rows, Mapping)
            else rows[part]
            if isinstance(rows, list) and isinstance(part, int)
            else None
        )
    return text


def _si(path: Path, value: Any) -> Value:
    """A file value in SI where its key has a dimension; else as it stands, numbers as floats."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, (int, float)):
        return float(value)
    spec = MOTOR_KEYS.get(_spec_key(path))
    if isinstance(value, str) and spec is not None and spec.kind in ("quantity", "quantities", "number", "whole"):
        try:
            return parse_quantity(value, spec.dimension)
        except QuantityError:
            return value
    return str(value)


def _change(path: Path, a: Any, b: Any, old: Mapping[str, Any]) -> Change:
    spec = MOTOR_KEYS.get(_spec_key(path))
    simple = not any(isinstance(value, (dict, list)) for value in (a, b))
    before, after = (_si(path, _with_default(path, value)) if simple else _words(value) for value in (a, b))
    texts = [_text(value, path) for value in (a, b)]
    meaning = spec.meaning if spec is not None else _structure(a, b)
    return Change(_shown_key(path, old), before, after, texts[0], texts[1], meaning, lines=_lines(a, b))


def _lines(a: Any, b: Any) -> tuple[tuple[str, str, str], ...]:
    """Of a part rebuilt, key by key: what was and what is, where they differ."""
    parts = [part for part in (a, b) if part is not None]
    if not all(isinstance(part, dict) and "density" not in part for part in parts):
        return ()
    old, new = (dict(_flat(part or {})) for part in (a, b))
    keys = dict.fromkeys([*old, *new])
    return tuple((key, old.get(key, "–"), new.get(key, "–")) for key in keys if old.get(key) != new.get(key))


def _flat(part: Mapping[str, Any], ahead: str = "") -> Iterator[tuple[str, str]]:
    for key, value in part.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{ahead}{key}.")
        else:
            yield f"{ahead}{key}", _text(value, ())


def _structure(a: Any, b: Any) -> str:
    if a is None:
        return "added"
    if b is None:
        return "removed"
    return "rebuilt" if isinstance(a, dict) else "rows changed" if isinstance(a, list) else ""


def _words(value: Any) -> str | None:
    return None if value is None else _text(value, ())


def _text(value: Any, path: Path) -> str:
    """A value as the file has it; of a part or a list of rows, a short account."""
    if value is None:
        return "not given" if path and not isinstance(path[0], int) and len(path) > 1 else "none"
    if isinstance(value, dict):
        if "name" in value and "density" in value:
            return str(value["name"])
        return ", ".join(f"{key} {_text(item, ())}" for key, item in value.items() if not isinstance(item, (dict, list)))
    if isinstance(value, list):
        if all(isinstance(item, dict) for item in value):
            return f"{len(value)} row{'' if len(value) == 1 else 's'}: " + "; ".join(_text(item, ()) for item in value)
        return " to ".join(_text(item, ()) for item in value)
    return str(value).lower() if isinstance(value, bool) else str(value)


def _get(document: Any, path: Path) -> Any:
    for part in path:
        if document is None:
            return None
        document = document[part] if isinstance(part, int) else document.get(part)
    return document


def _put(document: Any, path: Path, value: Any) -> None:
    for part in path[:-1]:
        document = document[part] if isinstance(part, int) else document.setdefault(part, {})
    if value is None:
        document.pop(path[-1], None)
    else:
        document[path[-1]] = copy.deepcopy(value)


def _made_alone(motor: MotorFile, document: dict[str, Any]) -> MotorFile | str:
    """The motor of a document with one change, or why there is none."""
    try:
        return motor_from_document(document, motor.path)
    except InputError as error:
        problem = error.problems[0]
        return f"not possible alone: {problem.key} {problem.problem}" if problem.key else f"not possible alone: {problem.problem}"


# --- did it fix it ---------------------------------------------------------------------------------------------------


def _answer(
    asked: RungState | None, before: MotorState, after: MotorState, changes: Sequence[Change], units: str, sound: bool
) -> tuple[str, str]:
    """A verdict in one word or two, and the same in plain sentences; `sound`: nothing had failed or fallen short."""
    if not changes:
        return "no change", "Nothing that this tool reads has changed between the two files."
    if asked is None:
        return (
            "not assessed",
            "No rung of the first motor could be assessed, so there is nothing to hold the redesign against.",
        )
    then = after.rung(asked.name)
    role = "governed" if asked == before.governing else "was in question"
    opening = f"{_sentence(asked.name)} {role}: {_level(asked, units)}."
    if then is None:
        missing = next((why for mode, part, why in after.not_assessed if f"{mode}, {part}" == asked.name), None)
        told = f"it is not assessed in the new one ({missing})" if missing else "the new motor has no such rung"
        return "not known", f"{opening} Whether that is fixed is not known: {told}."
    if not after.described:
        return "not known", f"{opening} Whether the new motor is better cannot be said. {NOT_DESCRIBED}"
    verdict = _sound_verdict(asked, then, after) if sound else _verdict(asked, then, after)
    sentences = [opening, _what_became(asked, then, units), _why_it_moved(asked, before, after, changes, units)]
    sentences += [_what_governs(then, after, units), _closing(verdict)]
    return verdict, " ".join(sentence for sentence in sentences if sentence)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _level(rung: RungState, units: str) -> str:
    size = (
        show(rung.pressure, "pressure", units)
        if rung.pressure is not None
        else (show(rung.time, "time", units) if rung.time is not None else "never")
    )
    factor = "factor not known" if rung.factor is None else f"factor {rung.factor:.2f} of the {rung.required:.2f} required"
    return f"{size}, {factor}"


def _verdict(asked: RungState, then: RungState, after: MotorState) -> str:
    if asked.factor is None or then.factor is None:
        return "yes" if then.ok and not asked.ok else "not known"
    if then.factor < asked.factor * (1.0 - MOVED):
        return "worse"
    if then.factor <= asked.factor * (1.0 + MOVED):
        return "no"
    if not then.ok:
        return "not enough"
    return "yes" if not after.short else "yes, but"


def _sound_verdict(asked: RungState, then: RungState, after: MotorState) -> str:
    """The verdict where the first motor met what is required: there was nothing to fix, only something to keep."""
    if asked.factor is None or then.factor is None:
        return "not known"
    if after.short:
        return "short now"
    moved = then.factor / asked.factor - 1.0
    return "better" if moved > MOVED else "lower" if moved < -MOVED else "held"


def _what_became(asked: RungState, then: RungState, units: str) -> str:
    return f"Now: {_level(then, units)}."


def _why_it_moved(asked: RungState, before: MotorState, after: MotorState, changes: Sequence[Change], units: str) -> str:
    """Whether the part or the pressure moved, and which change did most."""
    then = after.rung(asked.name)
    assert then is not None
    parts = []
    if asked.pressure and then.pressure:
        strength = then.pressure / asked.pressure - 1.0
        old, new = (state.figures.get("maximum_expected_pressure") for state in (before, after))
        load = new / old - 1.0 if old and new else 0.0
        if abs(strength) < MOVED and load < -MOVED:
            parts.append(f"The part itself is no stronger; the expected pressure fell by {-100 * load:.0f} %.")
        elif abs(strength) >= MOVED or abs(load) >= MOVED:
            parts.append(f"The part holds {_percent(strength)}, the expected pressure is {_percent(load)}.")
    effects = []
    for change in changes:
        rung = None if change.alone is None else change.alone.rung(asked.name)
        if rung is not None and rung.factor is not None and asked.factor:
            effects.append((rung.factor / asked.factor - 1.0, change.key))
    helped = max(effects, default=(0.0, ""))
    hurt = min(effects, default=(0.0, ""))
    if helped[0] > MOVED:
        parts.append(f"{helped[1]} alone moves its factor by {100 * helped[0]:+.0f} %.")
    if hurt[0] < -MOVED:
        parts.append(f"{hurt[1]} works against it, {100 * hurt[0]:+.0f} % alone.")
    return " ".join(parts)


def _percent(share: float) -> str:
    return "the same" if abs(share) < MOVED else f"{abs(100 * share):.0f} % {'more' if share > 0 else 'less'}"


def _what_governs(then: RungState, after: MotorState, units: str) -> str:
    governing, text = after.governing, ""
    if governing is not None and governing.name == then.name:
        text = "It still governs."
    elif governing is not None:
        text = f"{_sentence(governing.name)} governs now: {_level(governing, units)}."
    others = [rung.name for rung in after.short if rung.name != then.name]
    if others:
        text += f" Short of what is required: {'; '.join(others)}."
    return text.strip()


def _closing(verdict: str) -> str:
    return {
        "yes": "Yes: this fixes it, and every rung assessed reaches its required factor.",
        "yes, but": "It fixes that one, but the motor still falls short elsewhere.",
        "not enough": "No: it helps, but not enough.",
        "no": "No: the redesign leaves it where it was.",
        "worse": "No: the redesign makes it worse.",
        "short now": "No: the first motor met what is required, and this one does not.",
        "better": "It met what is required before; now there is more in hand.",
        "lower": "It met what is required before and still does, with less in hand.",
        "held": "It met what is required before and still does; nothing was gained or lost there.",
        "not known": "Whether it is fixed cannot be said.",
    }[verdict]
