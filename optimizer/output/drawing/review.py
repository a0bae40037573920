"""The review sheet for a safety officer and the page for the test stand.

Owns what is asked of load cell, transducer, restraint and proof test. Imports the assessment, sheet, plates, rungs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.output.drawing.geometry import grain_rows, number
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot
from optimizer.output.drawing.rungs import ladder_rows
from optimizer.output.drawing.sheet import ALARM, FAINT, INK, PAPERS, Sheet, fitted, width_of
from optimizer.units import display_unit, number_in, pretty, show
from optimizer.vocabulary import spoken
from physics.failure.proof import GAUGE_ERROR, PROOF_FACTOR, Proof, proof_of
from physics.figures import PRESSURE, in_groups

if TYPE_CHECKING:
    from physics.assessment import Assessment

PROOF_MARGIN = 1.1  # a rung nearer to the proof pressure than this is pointed out; common practice, no source
INSTRUMENT_HEADROOM = (1.5, 2.0)  # full scale over the expected peak; common practice, no source
RESTRAINT_FACTOR = 4.0  # ultimate strength of the restraint over the load; common practice, no source
RESTRAINT_PUSH = 1.5  # the same over the push of a closure that lets go, for a moment; our judgement
LEAST_PROOF = 1.1  # a proof lower than this over the maximum expected pressure shows too little; our judgement
SAFE, SHORT = "#0072b2", "#d55e00"


@dataclass(frozen=True)
class Stand:
    """What the stand must be ready for, SI: pressures Pa, forces N.

    `rungs` are those of the proof, plugged and cold, with `proof_factor` (over `proof_pressure`), `factor` (in service) and
    `unplugged` (whether a proof without the nozzle end loads them).
    """

    peak_thrust: float
    highest_thrust: float
    expected_pressure: float
    proof_pressure: float
    load_cell: tuple[float, float]
    transducer: tuple[float, float]
    closure_force: float | None
    restraint: float
    proof: Proof
    rungs: tuple[Mapping[str, Any], ...]

    @property
    def failing(self) -> tuple[Mapping[str, Any], ...]:
        """Rungs too low to be proofed over the expected pressure: those that a proof worth doing would reach or pass."""
        least = LEAST_PROOF * self.expected_pressure * (1.0 + GAUGE_ERROR)
        return tuple(rung for rung in self.rungs if rung["kind"] != "advice" and not rung["pressure"] > least)

    @property
    def close(self) -> tuple[Mapping[str, Any], ...]:
        """Rungs that the proof pressure comes within `PROOF_MARGIN` of."""
        return tuple(rung for rung in self.rungs if 1.0 < rung["proof_factor"] < PROOF_MARGIN)


def stand(assessment: Assessment) -> Stand:
    """Loads and ranges for the test stand of a batch of one.

    The highest thrust scales the peak thrust by maximum expected pressure over peak head pressure, as the thrust
    coefficient hardly moves with pressure. The force if a closure lets go is the maximum expected pressure on the bore; the
    restraint bears the more of what either asks.
    """
    expected = float(np.ravel(assessment.maximum_expected_pressure)[0])
    thrust = float(np.ravel(assessment.figures["peak_thrust"])[0])
    head = float(np.ravel(assessment.figures["peak_head_pressure"])[0])
    highest = thrust * max(expected / head, 1.0) if head > 0 else math.nan
    proof = proof_of(assessment.motors, assessment.ladder, expected)
    service = {(row["mode"], row["part"]): row["factor"] for row in ladder_rows(assessment.ladder)}
    rungs = tuple(
        {
            "mode": rung.mode,
            "part": rung.part,
            "kind": rung.kind,
            "pressure": rung.pressure,
            "factor": service.get((rung.mode, rung.part)),
            "proof_factor": rung.pressure / proof.pressure,
            "unplugged": rung.unplugged,
        }
        for rung in proof.rungs
    )
    case = assessment.motors.case
    bore = None if case is None else number(case.bore)
    push = None if bore is None else expected * math.pi / 4 * bore**2
    return Stand(
        peak_thrust=thrust,
        highest_thrust=highest,
        expected_pressure=expected,
        proof_pressure=proof.pressure,
        load_cell=(INSTRUMENT_HEADROOM[0] * highest, INSTRUMENT_HEADROOM[1] * highest),
        transducer=(INSTRUMENT_HEADROOM[0] * expected, INSTRUMENT_HEADROOM[1] * expected),
        closure_force=push,
        restraint=max(RESTRAINT_FACTOR * highest, RESTRAINT_PUSH * (push or 0.0)),
        proof=proof,
        rungs=rungs,
    )


def _shown(value: float, name: str, units: str) -> str:
    return pretty(show(value, name, units))


_REVIEWED = (
    "peak_head_pressure", "peak_pressure", "mean_pressure", "highest_kn", "kn_at_ignition", "peak_thrust", "mean_thrust",
    "total_impulse", "burn_time", "specific_impulse", "highest_port_mach", "highest_mass_flux", "port_over_throat",
)  # fmt: skip


def figure_rows(assessment: Assessment, units: str, designation: str = "") -> list[tuple[str, str]]:
    """The figures a reviewer asks for first, as name and text; a row without a text is the title of those below it."""
    figures, expected = assessment.figures, float(np.ravel(assessment.maximum_expected_pressure)[0])
    rows = [("designation", designation)] if designation else []
    for group, names in in_groups(_REVIEWED).items():
        rows.append((group, ""))
        if group == PRESSURE:
            rows.append((spoken("maximum_expected_pressure"), _shown(expected, "pressure", units)))
        rows += [(spoken(name), _shown(float(np.ravel(figures[name])[0]), name, units)) for name in names]
    return rows


def mass_rows(assessment: Assessment, units: str) -> list[tuple[str, str]]:
    """Masses of the parts; what is not known is named by `mass_gaps`."""
    rows = []
    for name, values in assessment.masses.items():
        value = float(np.ravel(values)[0])
        rows.append((spoken(name), _shown(value, "propellant_mass", units) if math.isfinite(value) else "not known"))
    return rows


def mass_gaps(assessment: Assessment) -> list[str]:
    """What is left out of the loaded mass, as the assessment words it."""
    return [f"mass, left out of loaded: {text}" for text in assessment.unknown_masses]


def review_sheet(
    assessment: Assessment, labels: Labels, cautions: Iterable[Any], paper: str = "A4", designation: str = ""
) -> Sheet:
    """One page for a safety officer; the text shrinks a little where there is much, and says what was left out."""
    cautions = list(cautions)
    for size in (8.0, 7.4, 6.8, 6.2):
        sheet, bottom = _review(assessment, labels, cautions, paper, designation, size)
        if bottom >= MARGIN + FOOT + 30.0:
            break
    return sheet


def _review(
    assessment: Assessment, labels: Labels, cautions: Sequence[Any], paper: str, designation: str, size: float
) -> tuple[Sheet, float]:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    top = sheet.height - MARGIN - 6.0
    good = bool(np.ravel(assessment.ok)[0])
    sheet.text(MARGIN, top, "Review before firing", 15, bold=True)
    verdict = "every rung assessed reaches its required factor" if good else "falls short: see the rungs marked"
    if not good and bool(np.all([rung.ok.ravel()[0] for rung in assessment.ladder.rungs])):
        verdict = "does not go together: see the cautions"
    verdict = verdict if bool(assessment.described[0]) else "outside the model: the port chokes"
    sheet.text(sheet.width - MARGIN, top, verdict, 9.5, "right", bold=True, color=INK if good else ALARM)
    y = top - 8.0
    half = width / 2 - 3.0
    left = _pairs(sheet, MARGIN, y, half, figure_rows(assessment, labels.units, designation), size, "Figures")
    masses = mass_rows(assessment, labels.units)
    rows = grain_rows(assessment.motors)
    masses.append(("grains", ", ".join(f"{row['count']:.0f} × {labels.length(row['length'], 1)}" for row in rows)))
    right = _pairs(sheet, MARGIN + half + 6.0, y, half, masses, size, "Masses and grains")
    y = min(left, right) - 3.5
    y = _ladder(sheet, assessment, labels, y, width, size)
    missing = [f"{item.mode} ({item.part}): {item.why}" for item in assessment.ladder.not_assessed]
    missing += mass_gaps(assessment)
    signatures = MARGIN + FOOT + 28.0
    y = _texts(sheet, "Not assessed", missing or ["every mode of the table was assessed"], y, width, size, signatures)
    warned = [f"{item.about}: {item.text}" for item in cautions]
    y = _texts(sheet, "Cautions", warned, y, width, size, signatures)
    _signatures(sheet, width)
    foot(sheet, labels, "review sheet", "–")
    return sheet, y


def _pairs(sheet: Sheet, x: float, y: float, width: float, rows: Sequence[tuple[str, str]], size: float, heading: str) -> float:
    sheet.text(x, y, heading, size + 1.5, bold=True)
    return _plain_table(sheet, x, y - 4.8, width, rows, size)


def _plain_table(sheet: Sheet, x: float, y: float, width: float, rows: Sequence[tuple[str, str]], size: float) -> float:
    step = 1.42 * size * 25.4 / 72
    for name, text in rows:
        label = fitted(name, size, 0.6 * width)
        sheet.text(x, y, label, size, bold=not text, color=FAINT if text else INK)
        sheet.text(x + width, y, fitted(text, size, width - width_of(label, size) - 2.0), size, "right")
        sheet.line([(x, y - 0.32 * step), (x + width, y - 0.32 * step)], 0.06, "#b8bec6")
        y -= step
    return y


def _ladder(sheet: Sheet, assessment: Assessment, labels: Labels, y: float, width: float, size: float) -> float:
    """Bars on one pressure scale, then the times."""
    rows = ladder_rows(assessment.ladder)
    expected = float(np.ravel(assessment.maximum_expected_pressure)[0])
    unit = display_unit("pressure", labels.units)
    sheet.text(MARGIN, y, f"Failure ladder, first to fail on top ({unit})", size + 1.5, bold=True)
    key = "a bar ends where the part fails; dashed: maximum expected; stroke: what the required factor asks"
    sheet.text(MARGIN + width, y, key, size - 1.4, "right", color=FAINT)
    step = max(1.5 * size * 25.4 / 72, 3.6)
    pressures = [row for row in rows if row["pressure"] is not None and math.isfinite(row["pressure"])]
    label_width, text_width = 62.0, 40.0
    bar = width - label_width - text_width
    # A rung far beyond the rest would squeeze what matters: the scale ends at 4 times the expected pressure at most.
    ceiling = max((row["pressure"] for row in pressures), default=1.0) * 1.02
    if math.isfinite(expected) and expected > 0:
        ceiling = min(ceiling, 4.0 * expected)
        ceiling = max(ceiling, 1.2 * expected)
    x0 = MARGIN + label_width
    y -= 9.0
    top = y + 0.7 * step
    for row in pressures:
        _bar(sheet, row, x0, y, bar, ceiling, expected, size, labels, label_width)
        y -= step
    if math.isfinite(expected) and pressures:
        x = x0 + bar * expected / ceiling
        sheet.line([(x, top), (x, y + 0.75 * step)], 0.35, INK, (1.6, 1.0))
        told = f"max. expected {number_in(expected, 'pressure', labels.units)}"
        sheet.text(x, top + 0.6, told, size - 1.2, "center", halo=True)
    for row in rows:
        if row["time"] is None:
            continue
        never = math.isinf(row["time"])
        text = "not reached in the model" if never else f"at {_shown(row['time'], 'time', labels.units)}"
        factor = "" if never or row["factor"] is None else f", ×{row['factor']:.2f} of {row['required']:.2f} required"
        color = INK if row["ok"] else ALARM
        sheet.text(MARGIN, y, fitted(f"{row['mode']}, {row['part']}", size, label_width - 1), size, color=color)
        sheet.text(x0, y, text + factor + ("" if row["ok"] else "  SHORT"), size, color=color)
        y -= step
    return y - 2.0


def _bar(
    sheet: Sheet,
    row: Mapping[str, Any],
    x0: float,
    y: float,
    bar: float,
    ceiling: float,
    expected: float,
    size: float,
    labels: Labels,
    label_width: float,
) -> None:
    share = min(row["pressure"] / ceiling, 1.0)
    cut = row["pressure"] > ceiling
    good = row["ok"]
    name = fitted(f"{row['mode']}, {row['part']}", size, label_width - 1)
    sheet.text(MARGIN, y, name, size, color=INK if good else ALARM)
    high = 0.55 * size * 25.4 / 72 * 1.3
    sheet.box(x0, y - 0.2, bar * share, high, SAFE if good else SHORT, 0.1)
    if cut:
        sheet.text(x0 + bar, y, "›", size + 2, "right", color="#ffffff", bold=True)
    if row["required"] is not None and math.isfinite(expected):
        needed = row["required"] * expected / ceiling
        if needed <= 1.0:
            x = x0 + bar * needed
            sheet.line([(x, y - 0.9), (x, y + high + 0.5)], 0.5, "#ffffff")
            sheet.line([(x, y - 0.9), (x, y + high + 0.5)], 0.3, INK)
    known = row["factor"] is not None and not math.isnan(row["factor"])
    asked = "advice" if row["required"] is None else f"of {row['required']:.2f}"
    factor = f"×{row['factor']:.2f} {asked}" if known else "–"
    text = f"{number_in(row['pressure'], 'pressure', labels.units)}  {factor}" + ("" if good else "  SHORT")
    sheet.text(MARGIN + bar + label_width + 40.0, y, text, size, "right", color=INK if good else ALARM)


def _texts(sheet: Sheet, heading: str, texts: Sequence[str], y: float, width: float, size: float, floor: float) -> float:
    sheet.text(MARGIN, y, heading, size + 1.5, bold=True)
    y -= 4.6
    for count, text in enumerate(texts):
        if y < floor + 4.0:
            more = f"… and {len(texts) - count} more: see the output of `check`"
            sheet.text(MARGIN, y, more, size, bold=True, color=ALARM)
            return y - 5.0
        y = sheet.paragraph(MARGIN, y, width, "– " + text, size)
    return y - 2.2


def _signatures(sheet: Sheet, width: float) -> None:
    y = MARGIN + FOOT + 5.0
    each = width / 3
    for step, who in enumerate(("builder", "safety officer", "witness to the proof test")):
        x = MARGIN + step * each
        sheet.line([(x, y + 4.0), (x + each - 6.0, y + 4.0)], 0.2)
        sheet.text(x, y, f"{who}: name, signature, date", 6.5, color=FAINT)


def stand_sheet(assessment: Assessment, labels: Labels, paper: str = "A4") -> Sheet:
    """The page for the test stand: instruments, restraint, proof test and where it leaves every rung."""
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    facts = stand(assessment)
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Test stand", 15, bold=True)
    y -= 8.0
    units = labels.units

    def force(value: float) -> str:
        return _shown(value, "thrust", units)

    def pressure(value: float) -> str:
        return _shown(value, "pressure", units)

    rows: list[tuple[str, str]] = [
        ("peak thrust, nominal", force(facts.peak_thrust)),
        ("peak thrust at the maximum expected pressure", force(facts.highest_thrust)),
        ("load cell, full scale between", f"{force(facts.load_cell[0])} and {force(facts.load_cell[1])}"),
        ("maximum expected pressure", pressure(facts.expected_pressure)),
        ("transducer, full scale between", f"{pressure(facts.transducer[0])} and {pressure(facts.transducer[1])}"),
    ]
    y = _plain_section(sheet, "Instruments", rows, y, width)
    y = sheet.paragraph(
        MARGIN,
        y,
        width,
        "Full scale at 1.5 to 2 times the highest reading expected (common practice, no source): less and an "
        "overpressure is not recorded, much more and resolution is lost. Record load cell and transducer on one clock.",
        7.8,
        color=FAINT,
    )
    rows = [
        ("thrust on the restraint, at the maximum expected pressure", force(facts.highest_thrust)),
        ("restraint good for at least, either way", f"{force(facts.restraint)} along the axis"),
    ]
    if facts.closure_force is not None:
        rows.append(("push on the stand if a closure lets go, either way", force(facts.closure_force)))
    y = _plain_section(sheet, "Restraint", rows, y - 4.0, width)
    y = sheet.paragraph(
        MARGIN,
        y,
        width,
        "The push is the maximum expected pressure on the whole bore, for a moment; it acts forwards or backwards. The "
        f"restraint is {RESTRAINT_FACTOR:g} times the thrust (common practice, no source) or {RESTRAINT_PUSH:g} times the push "
        "(our judgement), whichever is more. Hold the motor both ways and "
        "sideways, and let nothing stand in line with either end.",
        7.8,
        color=FAINT,
    )
    y = _proof(sheet, facts, labels, y - 4.0, width)
    foot(sheet, labels, "test stand and proof test", "–")
    return sheet


def _plain_section(sheet: Sheet, heading: str, rows: Sequence[tuple[str, str]], y: float, width: float) -> float:
    sheet.text(MARGIN, y, heading, 11, bold=True)
    return _plain_table(sheet, MARGIN, y - 6.0, width, rows, 9.0) - 0.5


def _proof(sheet: Sheet, facts: Stand, labels: Labels, y: float, width: float) -> float:
    units = labels.units
    shown = _shown(facts.proof_pressure, "pressure", units)
    sheet.text(MARGIN, y, "Proof test", 11, bold=True)
    times, lowest = facts.proof_pressure / facts.expected_pressure, facts.proof.lowest
    why = f"{PROOF_FACTOR:g} times the maximum expected pressure (common practice, no source)"
    if facts.proof.limited and lowest is not None:
        why = (
            f"{times:.2f} times the maximum expected pressure and no higher: {lowest.mode} ({lowest.part}) comes at "
            f"{_shown(lowest.pressure, 'pressure', units)}, cold and plugged, and the gauge may be {GAUGE_ERROR:.0%} low"
        )
    y = sheet.paragraph(
        MARGIN,
        y - 5.5,
        width,
        f"{'Suggested' if times >= LEAST_PROOF else 'At most'}: {shown} on the gauge, {why}. With water, all air bled out, no "
        "propellant in the motor, from behind cover, held for a minute. Measure the case and the holes before and after: a "
        "set that stays means that it yielded.",
        9.0,
    )
    y = sheet.paragraph(
        MARGIN,
        y - 1.0,
        width,
        "With the throat plugged nothing flows: the aft end bears the pressure on its whole seal, without the nozzle's pull "
        "that relieves it in a firing, and every rung below is loaded. With the nozzle end closed by a fixture of the stand "
        "instead, aft closure and nozzle bear nothing and are not proven (marked).",
        8.4,
    )
    if facts.failing:
        names = ", ".join(f"{rung['mode']} ({rung['part']})" for rung in facts.failing)
        y = sheet.paragraph(
            MARGIN,
            y - 1.0,
            width,
            f"WARNING: a proof at {LEAST_PROOF:g} times the maximum expected pressure reaches or passes {len(facts.failing)} of "
            f"the rungs: {names}. Do not proof to it: the motor would fail the test. Strengthen the part or lower the "
            "pressure.",
            9.5,
            bold=True,
            color=ALARM,
        )
    elif facts.close:
        names = ", ".join(f"{rung['mode']} ({rung['part']})" for rung in facts.close)
        text = f"Within {PROOF_MARGIN - 1:.0%} of the proof pressure: {names}."
        y = sheet.paragraph(MARGIN, y - 1.0, width, text, 9.0, bold=True, color=ALARM)
    heads = [
        "rung",
        "part",
        f"plugged, cold, {display_unit('pressure', units)}",
        "in service",
        "left at proof",
        "not plugged",
    ]
    rows = [heads]
    alarmed = []
    room = int((y - MARGIN - FOOT - 16.0) / (1.45 * 8.0 * 25.4 / 72))
    for count, rung in enumerate(facts.rungs[: max(room, 5)]):
        if rung["proof_factor"] < PROOF_MARGIN:
            alarmed.append(count)
        service = "–" if rung["factor"] is None else f"{rung['factor']:.2f}"
        mark = "  FAILS" if not rung["proof_factor"] > 1.0 else ""
        rows.append(
            [
                rung["mode"],
                rung["part"],
                number_in(rung["pressure"], "pressure", units),
                service,
                f"{rung['proof_factor']:.2f}{mark}",
                "loaded" if rung["unplugged"] else "not proven",
            ]
        )
    shares = (0.24, 0.19, 0.17, 0.13, 0.14, 0.13)
    y = sheet.table(MARGIN, y - 3.0, [share * width for share in shares], rows, 8.0, (2, 3, 4, 5), alarmed)
    if len(facts.rungs) > max(room, 5):
        sheet.text(MARGIN, y, f"… and {len(facts.rungs) - max(room, 5)} higher rungs", 8.0)
        y -= 4.0
    return sheet.paragraph(
        MARGIN,
        y - 1.0,
        width,
        "Factors: in service at service temperature and with the nozzle's pull. The proof "
        "test says nothing of heat nor of the grains: liner, hot case, seals and grain support are proven by "
        "firings alone.",
        7.8,
        color=FAINT,
    )
