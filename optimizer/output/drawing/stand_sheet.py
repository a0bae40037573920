"""The sheet for the test stand: instruments, mounting, restraint, temperatures, and what the gas holds.

Imports stand, plates, sheet and the assessment.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.output.drawing.geometry import grain_rows, millimetres
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, plain_table, shown_in
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet
from optimizer.output.drawing.stand import MOUNT_OVER_THRUST, RESTRAINT_FACTOR, RESTRAINT_PUSH, SAMPLES, Stand, stand
from physics.heat.soak import wait_for_sticker

if TYPE_CHECKING:
    from physics.assessment import Assessment

SOUND = 340.0  # m/s, air in the line of a transducer; remembered
LINE = 0.05  # m of line to a transducer, as an example
THROWN = 1.0  # kg, what the energy of the gas is likened to


def stand_sheet(assessment: Assessment, labels: Labels, paper: str = "A4") -> Sheet:
    """The page for the test stand; the text shrinks a little where there is much."""
    for size in (8.6, 8.0, 7.4, 6.8):
        sheet, bottom = _drawn(assessment, labels, paper, size)
        if bottom >= MARGIN + FOOT:
            break
    return sheet


def _drawn(assessment: Assessment, labels: Labels, paper: str, size: float) -> tuple[Sheet, float]:
    sheet = Sheet(*PAPERS[paper])
    width = sheet.width - 2 * MARGIN
    facts = stand(assessment)
    y = sheet.height - MARGIN - 6.0
    sheet.text(MARGIN, y, "Test stand", 15, bold=True)
    y -= 8.0
    for heading, rows, texts in (
        _instruments(facts, labels),
        _mounting(facts, labels),
        _restraint(facts, labels),
        _temperatures(assessment, labels),
        _gas(facts, labels),
    ):
        sheet.text(MARGIN, y, heading, size + 2.0, bold=True)
        y = plain_table(sheet, MARGIN, y - 5.2, width, rows, size) - 0.5
        for text in texts:
            y = sheet.paragraph(MARGIN, y, width, text, size - 0.9, color=FAINT)
        y -= 3.2
    foot(sheet, labels, "test stand", "–")
    return sheet, y


_Block = tuple[str, Sequence[tuple[str, str]], Sequence[str]]


def _instruments(facts: Stand, labels: Labels) -> _Block:
    units = labels.units

    def force(value: float) -> str:
        return shown_in(value, "thrust", units)

    def pressure(value: float) -> str:
        return shown_in(value, "pressure", units)

    rows = [
        ("peak thrust, nominal", force(facts.peak_thrust)),
        ("peak thrust at the maximum expected pressure", force(facts.highest_thrust)),
        ("load cell, full scale between", f"{force(facts.load_cell[0])} and {force(facts.load_cell[1])}"),
        ("maximum expected pressure", pressure(facts.expected_pressure)),
        ("transducer, full scale between", f"{pressure(facts.transducer[0])} and {pressure(facts.transducer[1])}"),
        ("record at least", f"{facts.sample_rate:.0f} samples a second, every channel on one clock"),
    ]
    ring = SOUND / (4.0 * LINE)
    texts = [
        "Full scale at 1.5 to 2 times the highest reading expected (common practice, no source): less and an overpressure is not "
        f"recorded, much more and resolution is lost. The quickest change of thrust takes {facts.fastest * 1e3:.0f} ms; "
        f"{SAMPLES:g} "
        "samples in it, 1000 a second at least (common practice, no source). Start recording before arming and go on for "
        "5 minutes.",
        "Transducer at the forward closure, where pressure is highest and nothing flows past. Line short, narrow and "
        "packed with grease "
        f"up to the diaphragm; {labels.length(LINE * 1e3, 0)} of it with air inside rings near {ring:.0f} Hz and lets hot "
        "gas in. A "
        "gauge instrument reads pressure above the surroundings, an absolute one above nothing: note which in the firing file.",
    ]
    return "Instruments", rows, texts


def _mounting(facts: Stand, labels: Labels) -> _Block:
    rows = [("lowest natural frequency of motor, cradle and load cell, at least", f"{facts.mount_frequency:.0f} Hz")]
    known = math.isfinite(facts.moving_mass)
    if known:
        imperial = labels.units == "imperial"
        stiff = f"{round(facts.stiffness / 175.126835, -1):.0f} lbf/in" if imperial else f"{facts.stiffness / 1e6:.2f} kN/mm"
        give = labels.length(facts.highest_thrust / facts.stiffness * 1e3, 2)
        rows.append(
            ("moving mass: the loaded motor, without its cradle", shown_in(facts.moving_mass, "propellant_mass", labels.units))
        )
        rows.append(("stiffness along the axis that this asks for, more with the cradle's mass", stiff))
        rows.append(("which gives way at the highest thrust by", give))
    texts = [
        f"{MOUNT_OVER_THRUST:g} times what the thrust holds, 0.35 over its quickest change (common practice, no source). "
        "Tap the loaded "
        "stand with a mallet, record it, and read the frequency; calibrate the load cell in place with weights, up and "
        "down, through the "
        "whole range; no cable, hose or rail may carry load beside the cell."
        + ("" if known else " The loaded mass is not known: see the review sheet for what the file does not give."),
    ]
    return "Mounting of the load cell", rows, texts


def _restraint(facts: Stand, labels: Labels) -> _Block:
    rows = [
        ("thrust on the restraint, at the maximum expected pressure", shown_in(facts.highest_thrust, "thrust", labels.units)),
        ("restraint good for at least, either way", f"{shown_in(facts.restraint, 'thrust', labels.units)} along the axis"),
    ]
    if facts.closure_force is not None:
        rows.append(("push on the stand if a closure lets go, either way", shown_in(facts.closure_force, "thrust", labels.units)))
    texts = [
        "Build for the one figure in the middle. The push is the maximum expected pressure on the whole bore, for a "
        "moment; it acts "
        f"forwards or backwards. The restraint is {RESTRAINT_FACTOR:g} times the thrust (common practice, no source) or "
        f"{RESTRAINT_PUSH:g} times the push (our judgement), whichever is more. Hold the motor both ways and sideways, "
        "and let nothing "
        "stand in line with either end."
    ]
    return "Restraint", rows, texts


def _temperatures(assessment: Assessment, labels: Labels) -> _Block:
    """Where thermocouples or stickers go, and when a sticker is read."""
    motors, placed = assessment.motors, assessment.assembly
    front = float(placed.plate_end[0]) * 1e3
    face = float(placed.nozzle_face[0]) * 1e3
    rows = [("forward end, from the forward end of the case", labels.length(front + 5.0, 0))]
    grains = [row for row in grain_rows(motors) for _ in range(round(row["count"]))]
    if len(grains) > 1:
        first = front + grains[0]["length"]
        last = front + sum(row["length"] for row in grains[:-1])
        where = labels.length(first, 0) if len(grains) == 2 else f"{labels.length(first, 0)} and {labels.length(last, 0)}"
        rows.append(("joint between grains, the first and the last", where))
    if grains:
        rows.append(
            ("middle of the last grain", labels.length(front + sum(row["length"] for row in grains) - grains[-1]["length"] / 2, 0))
        )
    rows.append(("aft end, just ahead of the nozzle", labels.length(face - 5.0, 0)))
    thick = 0.0 if motors.liner is None else (millimetres(motors.liner.thickness) or 0.0)
    wait = float(np.ravel(wait_for_sticker(np.array([thick * 1e-3])))[0])
    rows.append(("read stickers, and log thermocouples, until", f"{wait:.0f} s after ignition, then the highest of all"))
    texts = [
        "The outside is hottest long after burnout: heat goes on through the liner. Put one of each on opposite sides at "
        "every place, clean "
        "metal, under tape; note the reading of each place in the firing file (case_temperature, position from the "
        "forward end). Nobody "
        "approaches to read before the range officer says so."
    ]
    return "Temperature of the case", rows, texts


def _gas(facts: Stand, labels: Labels) -> _Block:
    if facts.gas_energy is None or facts.volume is None:
        return "Gas in the motor", [("energy at burnout", "not assessed: no case is given")], []
    speed = math.sqrt(2.0 * facts.gas_energy / THROWN)
    imperial = labels.units == "imperial"
    energy = f"{facts.gas_energy * 0.737562149:.0f} ft·lbf" if imperial else f"{facts.gas_energy / 1e3:.1f} kJ"
    mass = "2.2 lb" if imperial else "1 kg"
    thrown = f"{speed * 3.280839895:.0f} ft/s" if imperial else f"{speed:.0f} m/s"
    volume = f"{facts.volume * 61023.7441:.1f} in³" if imperial else f"{facts.volume * 1e6:.0f} cm³"
    rows = [
        ("empty volume at burnout", volume),
        ("energy of the gas in it at the maximum expected pressure", energy),
        (f"as much as {mass} thrown at", thrown),
    ]
    texts = [
        "Isentropic expansion of an ideal gas to the surroundings; a bound for what parts can carry away, burning "
        "propellant not counted. A "
        "barrier stops a closure in line and pieces of the case from the side, from the motor up. Distances are those of "
        "your club's and "
        "your country's tables for this class of motor, which go before anything here; this tool gives none."
    ]
    return "Gas in the motor, for barrier and distance", rows, texts
