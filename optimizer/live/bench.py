"""What a turn of the knobs does: one call from values to the panels of the page, the differences and the words.

`Bench` holds the motor as the file has it, and answers for any values of its knobs. An answer that does not follow heat
comes first; the marches of heat come with `whole`. Nothing here knows of browsers or sockets.
Imports the knobs, the comparison, the report and physics.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from optimizer.candidates.batch import assessed_together
from optimizer.cautions import cautions
from optimizer.inputs import InputError, MotorFile, load_motor, motor_from_document
from optimizer.live.knobs import Knob, Shelf, Turned, key_shown, knobs_of, si_of, turned
from optimizer.live.templates import template
from optimizer.output import report
from optimizer.output.report import panels
from optimizer.output.report.flight import flight_panel
from optimizer.output.report.pictures import share
from optimizer.output.report.values import change_text, value_text
from optimizer.problems import Problem
from optimizer.vocabulary import spoken
from physics.assessment import Assessment, assess
from physics.designation import designation
from physics.failure.ladder import ADVICE, MODES

Row = dict[str, Any]

HEAT_MODES = frozenset(mode.mode for mode in MODES if mode.marches_heat)
TOLD = ("maximum_expected_pressure", "total_impulse", "peak_thrust", "burn_time", "smallest_factor", "loaded_mass")
"""Figures that a change is told by."""
MOST_WORDS = 4
LOWEST = 6
"""Rungs, lowest first, of which it is told who passed whom."""
MOST_KNOBS = 200
LONGEST = 80
"""Signs of a value typed into a knob; what is longer is no quantity."""


class UnknownKnob(Exception):
    """A value for something that is no knob of this motor, or text that no knob takes."""


@dataclass(frozen=True)
class MotorView:
    """One motor as the page shows it: its design as the report has it, the figures that are told, and whether heat was followed."""

    design: Row
    figures: Mapping[str, float | None]
    assessment: Assessment
    whole: bool

    @property
    def rungs(self) -> list[Row]:
        """The rungs of the ladder, lowest first."""
        return list(self.design["ladder"])


@dataclass
class Bench:
    """The motor of a file, its knobs, and what was found of it as it stands there."""

    file: MotorFile
    units: str
    knobs: list[Knob]
    start: MotorView
    _known: dict[str, Knob] = field(default_factory=dict)
    _heat: dict[str, list[Row]] = field(default_factory=dict)
    _pins: dict[str, MotorView] = field(default_factory=dict)

    @classmethod
    def of(cls, path: str | Path, units: str | None = None) -> Bench:
        """Open a motor file. InputError where it cannot be read."""
        file = load_motor(path)
        shown = units or file.units or "metric"
        knobs = knobs_of(file)
        bench = cls(file, shown, knobs, view_of(file, whole=True))
        bench._known = {knob.name: knob for knob in knobs}
        return bench

    # --- values -------------------------------------------------------------------------------------------------------

    def turned(self, values: Any, follow: bool = True) -> Turned:
        """The document with these values. UnknownKnob for what is no mapping from knobs to short texts."""
        if not isinstance(values, Mapping) or len(values) > MOST_KNOBS:
            raise UnknownKnob("values are a table from knobs to texts")
        for name, text in values.items():
            if name not in self._known:
                raise UnknownKnob(f"no knob {str(name)[:60]!r}")
            if not isinstance(text, str) or len(text) > LONGEST or not text.isprintable():
                raise UnknownKnob(f"{name}: a value is one line of at most {LONGEST} signs")
        return turned(self.file, self.knobs, values, follow)

    def motor(self, made: Turned) -> MotorFile:
        """The motor of a document. InputError with every problem found."""
        return motor_from_document(made.document, self.file.path) if made.texts else self.file

    # --- the answer ---------------------------------------------------------------------------------------------------

    def answer(
        self,
        values: Any,
        follow: bool = True,
        pinned: Any = None,
        whole: bool = False,
        have: Mapping[str, str] | None = None,
        tab: str = "",
    ) -> dict[str, Any]:
        """What the motor is with its knobs at these values.

        Parameters
        ----------
        values : mapping
            Name of a knob to text as typed; knobs left out stand as in the file.
        follow : bool
            Whether the grains' outside follows the room in the case.
        pinned : mapping, optional
            Values of a second motor to show beside it.
        whole : bool
            Whether the marches of heat, the cautions and each change alone are reckoned too.
        have : mapping, optional
            Digests of the panels that the asker has; those that are the same are left out.
        tab : str
            Whose question it is: heat of an earlier answer stands in, marked, until the next whole one.

        Returns
        -------
        dict
            Plain data: `ok` (False: the motor cannot be, with `problems`), `panels` (markup by name), `digests`,
            `changes`, `words`, `values` (SI by knob), `steps` (walls, where the outside was turned), `whole`.

        Raises
        ------
        UnknownKnob
            For values that no page of ours sends.
        """
        made = self.turned(values, follow)
        found: dict[str, Any] = {"whole": whole, "texts": dict(made.texts), "derived": list(made.derived)}
        found["changes"] = [self._change(name, text) for name, text in made.texts.items()]
        try:
            file = self.motor(made)
        except InputError as error:
            return found | {"ok": False, "problems": [self._problem(problem) for problem in error.problems[:12]]}
        look = self.start if not made.texts else view_of(file, whole=whole)
        if look.whole:
            self._keep_heat(tab, look)
        pin = self._pin(pinned, follow)
        look, waiting = self._with_heat(look, tab)
        if whole and made.texts:
            self._alone(made, found["changes"])
        found |= {
            "ok": True,
            "following": waiting,
            "words": order_words(*(_settled(rows, waiting) for rows in (self.start.rungs, look.rungs))),
            "verdict": look.design["ok"],
            "values": {name: si_of(self._known[name], text) for name, text in made.texts.items()},
            "steps": self._walls(made),
        }
        parts = self._panels(look, pin, waiting, bool(made.texts))
        digests = {name: hashlib.sha256(text.encode()).hexdigest()[:12] for name, text in parts.items()}
        same = have or {}
        found["digests"] = digests
        found["panels"] = {name: text for name, text in parts.items() if same.get(name) != digests[name]}
        return found

    def _keep_heat(self, tab: str, look: MotorView) -> None:
        if len(self._heat) > 64:
            self._heat.clear()
        self._heat[tab] = [row for row in look.rungs if row["mode"] in HEAT_MODES]

    def _with_heat(self, look: MotorView, tab: str) -> tuple[MotorView, bool]:
        """A look with the heat of the last whole answer in the place of its own, marked, where it did not follow heat."""
        if look.whole:
            return look, False
        kept = self._heat.get(tab)
        if kept is None:
            kept = [row for row in self.start.rungs if row["mode"] in HEAT_MODES]
        if not kept:
            return look, False
        rows = sorted([*look.rungs, *({**row, "following": True} for row in kept)], key=_place)
        design = look.design | {"ladder": rows, "ok": look.design["ok"] and all(row["ok"] for row in kept)}
        return MotorView(design, look.figures, look.assessment, False), True

    def _pin(self, pinned: Any, follow: bool) -> MotorView | None:
        if pinned is None:
            return None
        made = self.turned(pinned, follow)
        key = repr(sorted(made.texts.items()))
        if key not in self._pins:
            if len(self._pins) > 32:
                self._pins.clear()
            try:
                self._pins[key] = view_of(self.motor(made), whole=True)
            except InputError:
                return None
        return self._pins[key]

    def _walls(self, made: Turned) -> dict[str, list[list[Any]]]:
        outer = self._known.get("case.outer_diameter")
        if outer is None or "case.wall" not in self._known or outer.name not in made.texts:
            return {}
        size = si_of(outer, made.texts[outer.name])
        walls = [] if size is None else Shelf(self.file.path.parent).walls(size)
        return {"case.wall": [[step.text, step.value, step.name] for step in walls]}

    def _problem(self, problem: Problem) -> dict[str, str]:
        knob = next((knob for knob in self.knobs if key_shown(knob) == problem.key), None)
        return {
            "knob": "" if knob is None else knob.name,
            "key": "" if knob is None else f"{knob.part}, {knob.label}",
            "problem": problem.problem,
            "fix": problem.fix,
            "code": problem.code,
            "value": problem.value,
        }

    # --- changes ------------------------------------------------------------------------------------------------------

    def _change(self, name: str, text: str) -> dict[str, Any]:
        knob = self._known[name]
        return {"knob": name, "text": f"{knob.part}, {knob.label}: {knob.text} → {text}", "alone": None}

    def _alone(self, made: Turned, changes: Sequence[dict[str, Any]]) -> None:
        """What each change does to the motor of the file when it is made alone, told beside it."""
        singles: list[MotorFile | None] = []
        own = [change for change in changes if change["knob"] not in made.derived]
        for change in own:
            name = change["knob"]
            try:  # the grains follow the change that moved their room, as they do on the page
                singles.append(self.motor(turned(self.file, self.knobs, {name: made.texts[name]}, bool(made.derived))))
            except InputError:
                singles.append(None)
        waiting = iter(assessed_together([file.motors for file in singles if file is not None], marching=False))
        for change in changes:
            change["alone"] = "follows the room in the case" if change["knob"] in made.derived else None
        for change, file in zip(own, singles, strict=True):
            change["alone"] = (
                "cannot be made alone"
                if file is None
                else told_difference(self.start.figures, told_figures(*next(waiting)), self.units)
            )

    # --- panels -------------------------------------------------------------------------------------------------------

    def _panels(self, look: MotorView, pin: MotorView | None, waiting: bool, moved: bool) -> dict[str, str]:
        """The panels of the report page, made by its own templates, with the start's outlines and differences."""
        design, start = look.design, self.start.design
        if not look.whole:
            start = start | {"flight": None}  # flown and compared when the whole answer comes
        module = template("panels.html").module
        ours = template("live_panels.html").module
        ladder = panels.ladder(design, self.units)
        self._mark(ladder, look, pin, moved)
        strip = self._headline(look, moved)
        pair = [("start", start), *([("pinned", pin.design)] if pin else []), ("now", design)]
        shown = pair if moved or pin else pair[-1:]
        names = [name for name, _ in reversed(shown)] if len(shown) > 1 else None
        charts = panels.histories([one for _, one in reversed(shown)], self.units, names=names)
        figures = panels.compared_figures([one | {"figures": _every_figure(one)} for _, one in pair[-len(shown) :]], self.units)
        shape = design.get("section")
        parts = {
            "verdict": ours.verdict(report.verdict_of(design), self._lowest(look), waiting),
            "headline": module.strip(strip),
            "ladder": ours.ladder(ladder),
            "charts": module.chart_grid(charts),
            "section": module.section_panel(panels.picture_of(design), [] if shape is None else list(shape.assumptions)),
            "figures": ours.figures(figures, [name for name, _ in shown], _fit_rows(design, self.units)),
            "missing": module.missing_panel(design["not_assessed"]),
        }
        if look.whole:
            parts["flight"] = module.flight_panel(flight_panel(design, self.units))
            parts["bases"] = module.bases_list(ladder) if ladder["rungs"] or ladder["times"] else ""
            found = [{"about": one.about, "text": one.text} for one in cautions(look.assessment, self.units)]
            parts["cautions"] = ours.cautions(found)
        return {name: " ".join(str(text).split("\n")).strip() for name, text in parts.items()}

    def _lowest(self, look: MotorView) -> str:
        """The rung that fails first, in words."""
        rows = [row for row in look.rungs if row["pressure"] is not None and row["kind"] != ADVICE]
        if not rows:
            return ""
        row = rows[0]
        factor, required = row["factor"], row["required"]
        known = factor is not None and math.isfinite(factor)
        told = f", factor {factor:.2f}" + (f" of {required:.2f}" if required else "") if known else ""
        return f"{_said(_name(row))}, at {value_text(row['pressure'], 'pressure', self.units)}{told}."

    def _headline(self, look: MotorView, moved: bool) -> list[dict[str, str]]:
        facts = panels.headline(look.design, self.units)
        if look.design.get("room_left") is not None:
            facts.append(panels.fact("room_left", look.design["room_left"], self.units))
        if not moved:
            return facts
        before = {fact["name"]: value for fact, value in self._headline_values(self.start)}
        after = {fact["name"]: value for fact, value in self._headline_values(look)}
        for fact in facts:
            old, new = before.get(fact["name"]), after.get(fact["name"])
            if old is not None and new is not None:
                key = fact["name"].replace(" ", "_")
                fact["change"] = change_text(new - old, key, self.units)
        return facts

    def _headline_values(self, look: MotorView) -> Iterable[tuple[dict[str, str], float | None]]:
        values = dict(look.figures) | {"room_left": look.design.get("room_left")}
        for name, value in values.items():
            yield {"name": spoken(name)}, value

    def _mark(self, ladder: dict[str, Any], look: MotorView, pin: MotorView | None, moved: bool) -> None:
        """Outlines of the start and of the pinned motor, and whether a rung's heat is still to follow."""
        times = ladder["times"] or {"rungs": (), "top": 1.0}
        for rungs, kind, top in ((ladder["rungs"], "pressure", ladder["top"]), (times["rungs"], "time", times["top"])):
            before = {_name(row): row.get(kind) for row in self.start.rungs}
            beside = {} if pin is None else {_name(row): row.get(kind) for row in pin.rungs}
            now = {_name(row): row for row in look.rungs}
            for rung in rungs:
                name = _name(rung)
                row = now.get(name)
                if moved:
                    rung["start"] = _outline(before.get(name), top)
                if pin is not None:
                    rung["pinned"] = share(beside.get(name), top)
                rung["basis"] = "" if not look.whole else rung["basis"]
                rung["following"] = bool(row and row.get("following"))


def _outline(value: float | None, top: float | None) -> float | None:
    if value is None or top is None or math.isnan(value):
        return None
    return 100.0 if value > top else share(value, top)


def _name(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return (row["mode"], row["part"], str(row.get("place") or ""))


def _place(row: Row) -> tuple[int, float]:
    value = row["time"] if row["pressure"] is None else row["pressure"]
    kind = 2 if row["kind"] == ADVICE else 1 if row["pressure"] is None else 0
    return kind, math.inf if value is None or math.isnan(value) else value


def view_of(file: MotorFile, whole: bool) -> MotorView:
    """A motor assessed, as the report shows it; without heat, flight and the notes on the rungs unless `whole`."""
    # Notes are made for single motors alone, and they are the slow part of a ladder without heat.
    motors = file.motors if whole else replace(file.motors, rocket=None, launch=None).repeat(2)
    assessment = assess(motors, curve=True, marching=whole)
    figures = assessment.figures
    design = report.design_view(assessment, file.name, designation=designation(figures["total_impulse"], figures["mean_thrust"])[0])
    return MotorView(design, told_figures(assessment, 0), assessment, whole)


def told_figures(assessment: Assessment, index: int) -> dict[str, float | None]:
    """Figures by name, with those of the design as a whole, of one motor of a batch."""
    import numpy as np

    size = assessment.motors.size
    values: dict[str, Any] = dict(assessment.figures.values)
    values["maximum_expected_pressure"] = assessment.maximum_expected_pressure
    values["smallest_factor"] = assessment.smallest_factor
    values["loaded_mass"] = assessment.masses.get("loaded")
    found: dict[str, float | None] = {}
    for name, value in values.items():
        number = math.nan if value is None else float(np.broadcast_to(np.asarray(value, dtype=float), (size,))[index])
        found[name] = number if math.isfinite(number) else None
    return found


def _every_figure(design: Mapping[str, Any]) -> dict[str, float | None]:
    masses = {f"{name}_mass": value for name, value in (design.get("masses") or {}).items()}
    more = {name: design.get(name) for name in ("maximum_expected_pressure", "room_left")}
    return {**design["figures"], **masses, **more}


def _fit_rows(design: Mapping[str, Any], units: str) -> list[dict[str, str]]:
    """What the table of figures has no room for: how it fits, and the masses that are not known."""
    told = {spoken(name) for name in design.get("masses") or {}} | {spoken("room_left")}
    return [row for row in panels.mass_table(design, units) if row["name"] not in told]


def told_difference(before: Mapping[str, float | None], after: Mapping[str, float | None], units: str) -> str:
    """What moved, in words: name and difference of the figures that are told; or that none did."""
    parts = []
    for name in TOLD:
        old, new = before.get(name), after.get(name)
        if old is None or new is None:
            if old is not new:
                parts.append(f"{spoken(name)} {'not known' if new is None else value_text(new, name, units)}")
            continue
        if abs(new - old) > 5e-4 * max(abs(old), abs(new)):
            parts.append(f"{spoken(name)} {change_text(new - old, name, units)}")
    return ", ".join(parts) if parts else "nothing in the figures"


def _settled(rows: Sequence[Row], waiting: bool) -> list[Row]:
    """The rungs that can be compared now: all, or those that do not wait for heat."""
    return [row for row in rows if not (waiting and row["mode"] in HEAT_MODES)]


def order_words(before: Sequence[Row], after: Sequence[Row]) -> list[str]:
    """What changed in the ladder, in words: what now fails first, what now falls short or no longer does, who passed whom."""
    words: list[str] = []
    old, new = ([row for row in rows if row["pressure"] is not None and row["kind"] != ADVICE] for rows in (before, after))
    names_before, names_after = [_name(row) for row in old], [_name(row) for row in new]
    if names_before and names_after and names_before[0] != names_after[0]:
        words.append(f"{_said(names_after[0])} is now first to fail; it was {_said(names_before[0])}.")
    was = {_name(row): row["ok"] for row in before}
    short = [_said(_name(row)) for row in after if not row["ok"] and was.get(_name(row), True)]
    mended = [_said(_name(row)) for row in after if row["ok"] and not was.get(_name(row), True)]
    if short:
        words.append(f"{_listed_all(short)} now {'falls' if len(short) == 1 else 'fall'} short.")
    if mended:
        words.append(f"{_listed_all(mended)} no longer {'falls' if len(mended) == 1 else 'fall'} short.")
    words += [f"{_said(name)} is no longer assessed." for name in names_before if name not in names_after]
    words += [f"{_said(name)} is assessed now." for name in names_after if name not in names_before]
    words += _passed(names_before, names_after)
    return [word[:1].upper() + word[1:] for word in words[:MOST_WORDS]]


def _passed(before: Sequence[tuple[str, str, str]], after: Sequence[tuple[str, str, str]]) -> list[str]:
    """Who passed whom among the lowest rungs; what changes places far above them says nothing to a builder."""
    words = []
    old = [name for name in before if name in after]
    new = [name for name in after if name in before]
    for place, name in enumerate(new[1:LOWEST], start=1):
        passed = [other for other in new[place + 1 :] if old.index(other) < old.index(name)]
        if passed:
            words.append(f"{_said(name)} now comes before {_listed(passed)}.")
    return words


def _listed_all(told: Sequence[str]) -> str:
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def _listed(names: Sequence[tuple[str, str, str]]) -> str:
    told = [_said(name) for name in names[:2]]
    more = len(names) - len(told)
    return " and ".join(told) if more <= 0 else f"{', '.join(told)} and {more} more"


def _said(name: tuple[str, str, str]) -> str:
    mode, part, place = name
    return f"{mode} ({part}, {place})" if place else f"{mode} ({part})"
