"""The water proof test as instructions and a form: what it loads, how high, how, and what a passed one writes.

Imports stand, plates, sheet and the assessment.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.candidates.samples import chance_words
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, shown_in
from optimizer.output.drawing.sheet import ALARM, FAINT, INK, PAPERS, Sheet, printable, width_of
from optimizer.output.drawing.stand import LEAST_PROOF, PROOF_MARGIN, Stand, stand
from optimizer.units import display_unit, number_in
from physics.failure.evidence import ProofShows, proof_shows
from physics.failure.proof import BELOW, GAUGE_ERROR, PROOF_FACTOR, Remedy, higher
from physics.vessels import outside_growth

if TYPE_CHECKING:
    from physics.assessment import Assessment

STEPS = (0.25, 0.5, 0.75, 0.9, 1.0)  # of the proof pressure, one hold each; common practice, no source
HOLD = 60.0  # s at each step; common practice, no source
DROP = 0.01  # of the pressure in a hold, more is a leak; our judgement: less cannot be told from a gauge's needle
SET = 0.0005  # of the diameter that stays, more is yield; our judgement: what a micrometer tells from its own error
HOLE_SET = 0.05  # mm of a hole that stays; our judgement


@dataclass(frozen=True)
class Further:
    """What the sheet says beyond the pressure: what a proof that holds shows, and what would let it go higher."""

    shows: ProofShows | None
    remedies: tuple[Remedy, ...]


def proof_sheets(assessment: Assessment, labels: Labels, paper: str = "A4") -> list[Sheet]:
    """Two pages: what is done and why, and the form that is filled while it is done."""
    facts = stand(assessment)
    expected = assessment.maximum_expected_pressure
    shows = proof_shows(assessment.motors, assessment.ladder, assessment.figures, expected, facts.proof_pressure)
    remedies = higher(assessment.motors, assessment.ladder, facts.expected_pressure)
    for size in (8.6, 8.0, 7.4, 6.8, 6.2):
        first, bottom = _instructions(facts, Further(shows, remedies), labels, paper, size)
        if bottom >= MARGIN + FOOT:
            break
    return [first, _form(assessment, facts, labels, paper)]


def _pressure(value: float, labels: Labels) -> str:
    return shown_in(value, "pressure", labels.units)


def _why(facts: Stand, labels: Labels) -> str:
    times, keeps = facts.proof_pressure / facts.expected_pressure, facts.proof.keeps
    start = f"{'' if times >= LEAST_PROOF else 'At most '}{_pressure(facts.proof_pressure, labels)} on the gauge"
    if keeps is None or not facts.proof.limited:
        return f"{start}: {PROOF_FACTOR:g} times the maximum expected pressure (common practice, no source)."
    band = keeps.first < BELOW * keeps.pressure
    what = (
        f"of such parts 5 % have let go at {_pressure(keeps.first, labels)}"
        if band
        else f"it comes at {_pressure(keeps.pressure, labels)}, of which {BELOW:.0%} may be used"
    )
    text = (
        f"{start}: {times:.2f} times the maximum expected pressure and no higher, for {keeps.mode} ({keeps.part}): cold "
        "and plugged "
        f"{what}; the gauge may read {GAUGE_ERROR:.0%} low."
    )
    return text


def _beyond(facts: Stand, further: Further, labels: Labels) -> list[str]:
    """What a passed proof shows of the chances, what keeps it from its aim, and what would let it go there."""
    texts = []
    if further.shows is not None:
        before, after = (chance_words(one.value) for one in (further.shows.before, further.shows.after))
        texts.append(
            "Held, it takes the chance that anything it loads lets go in a firing, at the maximum expected pressure, from "
            f"{before} to {after}; of a seal, water counts for half its pressure as gas (our judgement). That is scatter alone: "
            "what a proof finds besides is what no model counts, a wrong alloy, a missing screw, a cracked part."
        )
    if not facts.proof.limited:
        return texts
    aim = facts.proof.wanted
    asked = aim * (1.0 + GAUGE_ERROR)
    seals = [rung for rung in facts.proof.rungs if rung.kind == "leak" and rung.most < asked]
    metal = [rung for rung in facts.proof.rungs if rung.kind in ("rupture", "yield") and rung.most < asked]
    if metal:
        each = [
            f"{rung.mode} ({rung.part}) at {_pressure(asked / BELOW, labels)}"
            if rung.first >= BELOW * rung.pressure
            else f"5 % of {rung.mode} ({rung.part}) at {_pressure(asked, labels)}"
            for rung in metal
        ]
        texts.append(f"To be proofed at {PROOF_FACTOR:g} times ({_pressure(aim, labels)}) it must be stronger: {'; '.join(each)}.")
    if further.remedies:
        each = [
            f"{one.what}, {_pressure(one.pressure, labels)} ({one.pressure / facts.expected_pressure:.2f} times)"
            for one in further.remedies
        ]
        texts.append(
            "The seals keep it low: a ring that weeps in water hurts nobody, yet it is spoiled. One of these lets it go higher: "
            f"{'; '.join(each)}. Fit it for good, or for a second proof only, after one with the rings that will be fired: the "
            "second shows the metal and says nothing of the seals (seals_as_fired = false)."
        )
    elif seals and not metal:
        texts.append("The seals keep it low, and no other rings would let it go higher.")
    return texts


def _instructions(facts: Stand, further: Further, labels: Labels, paper: str, size: float) -> tuple[Sheet, float]:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Water proof test", 15, bold=True)
    y = sheet.paragraph(MARGIN, y - 8.0, width, _why(facts, labels), size + 1.0, bold=True)
    y = _warned(sheet, facts, y - 0.5, width)
    y = _list(sheet, "How the nozzle end is closed", _ways(facts, labels), y - 2.0, width, size)
    y = _rungs(sheet, facts, further.shows, labels, y - 2.0, width, size)
    y = _list(sheet, "What it shows, and what would let it go higher", _beyond(facts, further, labels), y - 2.0, width, size)
    y = _list(sheet, "Before", _before(facts, labels), y - 2.0, width, size, boxes=True)
    y = _list(sheet, "The test", _during(facts, labels), y - 2.0, width, size, boxes=True)
    y = sheet.paragraph(
        MARGIN,
        y - 1.0,
        width,
        "A proof says nothing of heat nor of the grains: liner, hot case, hot seals and grain support are proven by firings alone.",
        size - 0.6,
        color=FAINT,
    )
    foot(sheet, labels, "water proof test", "–", "1 of 2")
    return sheet, y


def _warned(sheet: Sheet, facts: Stand, y: float, width: float) -> float:
    if facts.failing:
        names = ", ".join(f"{rung['mode']} ({rung['part']})" for rung in facts.failing)
        text = (
            f"WARNING: a proof at {LEAST_PROOF:g} times the maximum expected pressure reaches or passes "
            f"{len(facts.failing)} of the rungs: "
            f"{names}. Do not proof to it: the motor would fail the test. Strengthen the part or lower the pressure."
        )
        return sheet.paragraph(MARGIN, y, width, text, 9.5, bold=True, color=ALARM)
    if facts.proof_pressure < LEAST_PROOF * facts.expected_pressure:
        text = f"WARNING: below {LEAST_PROOF:g} times the maximum expected pressure: passing it shows too little."
        return sheet.paragraph(MARGIN, y, width, text, 9.5, bold=True, color=ALARM)
    return y


def _ways(facts: Stand, labels: Labels) -> list[str]:
    fixture = facts.proof.unplugged
    return [
        f"THROAT PLUGGED, {_pressure(facts.proof_pressure, labels)}: a plug of soft rubber behind a disc, put in from "
        "inside, closes the "
        "convergent. Nothing flows, so the aft end bears the pressure on its whole seal without the nozzle's pull that "
        "relieves it in a "
        "firing: every rung below is loaded.",
        f"NOZZLE END IN A FIXTURE, {_pressure(fixture, labels)}: a plate or a plug with its own seal, held by the stand, "
        "stands in place of the "
        "nozzle. Aft closure and nozzle bear nothing; where the fixture is held to the forward end by rods, the case and "
        "the forward "
        "closure bear no end load either: only what is marked loaded in the last column may be counted, and of that the "
        "hoop alone.",
    ]


def _rungs(sheet: Sheet, facts: Stand, shows: ProofShows | None, labels: Labels, y: float, width: float, size: float) -> float:
    unit = display_unit("pressure", labels.units)
    heads = ["what it loads", "part", f"cold, {unit}", f"5 %, {unit}", "left", "in service", "chance", "after", "fixture"]
    rows, alarmed = [heads], []
    firsts = {(rung.mode, rung.part): rung.first for rung in facts.proof.rungs}
    keeps = facts.proof.keeps
    shown = [rung for rung in facts.rungs if rung["kind"] != "advice"][:10]
    for count, rung in enumerate(shown):
        if rung["proof_factor"] < PROOF_MARGIN:
            alarmed.append(count)
        key = (rung["mode"], rung["part"])
        limits = facts.proof.limited and keeps is not None and key == (keeps.mode, keeps.part)
        known = None if shows is None else shows.rungs.get(key)
        words = ["–", "–"] if known is None else [chance_words(one.value).replace("below ", "<") for one in known]
        rows.append([*_row(rung, firsts[key], labels, limits), *words, "loaded" if rung["unplugged"] else "not"])
    shares = (0.185, 0.14, 0.085, 0.085, 0.105, 0.095, 0.11, 0.11, 0.085)
    right = (2, 3, 4, 5, 6, 7)
    y = sheet.table(MARGIN, y, [share * width for share in shares], rows, size - 0.8, right, alarmed)
    more = len([rung for rung in facts.rungs if rung["kind"] != "advice"]) - len(shown)
    told = "▸ limits the proof; left: over the proof; chance: of letting go in a firing, before and after a proof that held"
    told += f"; {more} higher rungs are loaded too" if more else ""
    sheet.text(MARGIN, y, told, size - 1.6, color=FAINT)
    return y - 4.0


def _row(rung: Mapping[str, Any], first: float, labels: Labels, limits: bool) -> list[str]:
    units = labels.units
    mark = "  FAILS" if not rung["proof_factor"] > 1.0 else ""
    return [
        f"{'▸ ' if limits else ''}{rung['mode']}",
        rung["part"],
        number_in(rung["pressure"], "pressure", units),
        number_in(first, "pressure", units),
        f"×{rung['proof_factor']:.2f}{mark}",
        "–" if rung["factor"] is None else f"×{rung['factor']:.2f}",
    ]


def _before(facts: Stand, labels: Labels) -> list[str]:
    energy = ""
    if facts.water_energy is not None and facts.gas_energy is not None:
        energy = (
            f" Water in it holds about {facts.water_energy:.0f} J at proof pressure; filled with gas it would be "
            f"{facts.gas_energy / facts.water_energy:.0f} times as much."
        )
    low, high = 1.5 * facts.proof_pressure, 2.0 * facts.proof_pressure
    return [
        "The very parts and screws that will be fired, torqued as for a firing. No propellant, no igniter, no liner "
        "(water swells it).",
        f"Liquid only, never air or gas: fill standing up, bleed at the highest point, tap and tilt until no bubble comes.{energy}",
        "Pump by hand through a long hose, with a bleed valve at the pump and a relief valve set at the proof pressure.",
        f"Gauge of class 1.6 or better, full scale between {_pressure(low, labels)} and {_pressure(high, labels)}, "
        "checked within the year.",
        "Water, motor and room at one temperature, 10 to 30 °C (50 to 86 °F), for an hour: warming water alone raises "
        "the pressure.",
        "Motor behind a barrier, read the gauge from its far side; nobody in line with either end or near it while it is "
        "under pressure.",
    ]


def _during(facts: Stand, labels: Labels) -> list[str]:
    return [
        "Measure every station and hole of the form, dry, before.",
        f"Raise by the steps of the form, close the pump's valve, hold {HOLD:.0f} s at each; read at the start and the "
        "end of the hold.",
        "Stop and let off at once if the needle falls back, something creaks or water shows: note the pressure and what was seen.",
        f"Never above {_pressure(facts.proof_pressure, labels)} on the gauge, not for a moment.",
        "Let off to nothing before anybody comes near; then measure all again, take the rings out and look at them under a lens.",
    ]


def _list(sheet: Sheet, heading: str, texts: Sequence[str], y: float, width: float, size: float, boxes: bool = False) -> float:
    sheet.text(MARGIN, y, heading, size + 2.0, bold=True)
    y -= 4.8
    for text in texts:
        if boxes:
            sheet.box(MARGIN, y - 0.3, 2.6, 2.6)
            y = sheet.paragraph(MARGIN + 4.6, y, width - 4.6, text, size) - 0.5
        else:
            y = sheet.paragraph(MARGIN, y, width, text, size) - 0.6
    return y


# --- the form --------------------------------------------------------------------------------------------------------


_HEADINGS = (
    ("date", "place", "water and room, °C / °F", "gauge, number and full scale"),
    ("closed by: □ throat plug  □ fixture", "pumped by", "read by", "range officer"),
)


def _form(assessment: Assessment, facts: Stand, labels: Labels, paper: str) -> Sheet:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Water proof test: record", 15, bold=True)
    y -= 8.0
    for texts in _HEADINGS:
        each = width / len(texts)
        for k, text in enumerate(texts):
            sheet.text(MARGIN + k * each, y, text, 7.0, color=FAINT)
            sheet.line([(MARGIN + k * each, y - 6.5), (MARGIN + (k + 1) * each - 4.0, y - 6.5)], 0.15)
        y -= 12.5
    unit = display_unit("pressure", labels.units)
    rows = [["step", f"gauge, {unit}", "clock", f"at the start, {unit}", f"after {HOLD:.0f} s, {unit}", "drops, weeps, sounds"]]
    rows += [[f"{share:.0%}", number_in(share * facts.proof_pressure, "pressure", labels.units), "", "", "", ""] for share in STEPS]
    rows.append(["0", "0", "", "", "", ""])
    y = boxed(sheet, y, (0.09, 0.15, 0.12, 0.17, 0.17, 0.30), rows, width)
    heads = ["outside Ø at", "from the forward end", "before, one way", "across it", "after, one way", "across it", "grew at proof"]
    y = boxed(sheet, y - 4.0, (0.2, 0.16, 0.13, 0.13, 0.13, 0.13, 0.12), [heads, *_stations(assessment, facts, labels)], width)
    y = _holes(sheet, assessment, y - 4.0, width)
    y = _verdict(sheet, facts, labels, y - 4.0, width)
    _evidence(sheet, facts, labels, y - 2.0, width)
    foot(sheet, labels, "water proof test: record", "–", "2 of 2")
    return sheet


def _holes(sheet: Sheet, assessment: Assessment, y: float, width: float) -> float:
    """Boxes for the holes of each end that has radial screws."""
    motors = assessment.motors
    ends = [
        end
        for end, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure))
        if closure is not None and closure.screws is not None
    ]
    if not ends:
        return y + 4.0
    heads = ["hole, measured along the axis", *(f"{end}, hole {hole}" for end in ends for hole in ("1", "opposite"))]
    blank = [""] * (len(heads) - 1)
    shares = (0.34, *([0.66 / len(blank)] * len(blank)))
    return boxed(sheet, y, shares, [heads, ["before", *blank], ["after", *blank]], width)


def boxed(sheet: Sheet, y: float, shares: Sequence[float], rows: Sequence[Sequence[str]], width: float, high: float = 6.2) -> float:
    """Rows of boxes to fill in under a heading row; returns what is left below."""
    for count, row in enumerate(rows):
        x = MARGIN
        for share, cell in zip(shares, row, strict=True):
            sheet.box(x, y - high, share * width, high, "#eef1f4" if count == 0 else "none", 0.15)
            heading, room = count == 0, share * width - 2.2
            size = next((size for size in (6.8, 6.4, 6.0, 5.6) if width_of(printable(cell), size, heading) <= room), 5.2)
            sheet.text(x + 1.2, y - high / 2, cell, size, bold=heading, color=FAINT if heading else INK, level="center")
            x += share * width
        y -= high
    return y - 2.5


def _stations(assessment: Assessment, facts: Stand, labels: Labels) -> list[list[str]]:
    """Where the outside is measured, and by how much an elastic tube is wider there at proof pressure."""
    motors, placed = assessment.motors, assessment.assembly
    if motors.case is None:
        return []
    front, back = float(placed.plate_end[0]) * 1e3, float(placed.nozzle_face[0]) * 1e3
    metal = motors.case.material
    grown = math.nan
    if metal.elastic_modulus is not None and metal.poisson is not None:
        modulus, poisson = np.array([metal.elastic_modulus]), np.array([metal.poisson])
        sizes = (motors.case.outer_diameter, motors.case.bore)
        grown = 2e3 * float(np.ravel(outside_growth(np.array([facts.proof_pressure]), *sizes, modulus, poisson))[0])
    places = (
        ("forward seal", front - 3.0, False),
        ("a quarter along", front + 0.25 * (back - front), True),
        ("middle", (front + back) / 2, True),
        ("three quarters along", front + 0.75 * (back - front), True),
        ("aft seal", back + 3.0, False),
    )
    return [
        [name, labels.length(x, 0), "", "", "", "", labels.length(grown, 3) if free and math.isfinite(grown) else "–"]
        for name, x, free in places
    ]


def _verdict(sheet: Sheet, facts: Stand, labels: Labels, y: float, width: float) -> float:
    texts = [
        f"No reading fell by more than {DROP:.0%} in a hold, no water showed (a drop with no water: trapped air, or "
        "cooling; bleed, repeat).",
        f"No diameter stays larger by more than {SET:.2%} of itself, no hole by more than {labels.length(HOLE_SET, 2)}: "
        "more is yield, and "
        "the part is scrap. “Grew at proof” is the elastic growth expected while under pressure, for those who measure from cover.",
        "Rings come out whole, no nibbled edge; no crack at holes, grooves and welds (dye, or a lens and a lamp).",
    ]
    y = _list(sheet, "Passed, where all three hold (limits: our judgement)", texts, y, width, 7.8, boxes=True)
    sheet.line([(MARGIN, y - 6.0), (MARGIN + width * 0.45, y - 6.0)], 0.15)
    sheet.line([(MARGIN + width * 0.52, y - 6.0), (MARGIN + width, y - 6.0)], 0.15)
    sheet.text(MARGIN, y - 9.0, "builder: name, signature, date", 6.5, color=FAINT)
    sheet.text(MARGIN + width * 0.52, y - 9.0, "witness: name, signature, date", 6.5, color=FAINT)
    return y - 13.0


def evidence_lines(facts: Stand, labels: Labels) -> list[str]:
    """What a passed test writes into the motor file, with the reading and the temperature of the day to fill in."""
    unit = display_unit("pressure", labels.units)
    temperature = "degF" if labels.units == "imperial" else "degC"
    return [
        "[[evidence]]",
        'kind = "water"',
        f'pressure = "______ {unit}"    # the highest held, gauge; not above {_pressure(facts.proof_pressure, labels)}',
        f'temperature = "____ {temperature}"',
        "plugged = ____            # true: throat plugged; false: nozzle end in a fixture",
        'outcome = "held"          # or "leaked"; "failed", with mode = "…"',
        "same_hardware = true      # the very parts that will be fired",
        "seals_as_fired = true     # false: other rings were in it, for the proof alone",
    ]


def _evidence(sheet: Sheet, facts: Stand, labels: Labels, y: float, width: float) -> None:
    lines = evidence_lines(facts, labels)
    high = 3.6 * len(lines) + 3.0
    sheet.text(MARGIN, y, "What the test writes into the motor file", 9.8, bold=True)
    sheet.box(MARGIN, y - 2.5 - high, width, high, "#f6f7f9", 0.12)
    for count, line in enumerate(lines):
        sheet.text(MARGIN + 2.5, y - 6.4 - 3.6 * count, line, 7.2)
