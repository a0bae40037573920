"""The sheet for the test stand: instruments, mounting, restraint, temperatures, and what the gas holds.

Imports stand, plates, sheet and the assessment.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.output.drawing.geometry import grain_rows
from optimizer.output.drawing.plates import FOOT, MARGIN, Labels, foot, plain_table, shown_in
from optimizer.output.drawing.sheet import FAINT, PAPERS, Sheet
from optimizer.output.drawing.stand import (
    ASSUMED,
    AT_START,
    MOUNT_OVER_THRUST,
    RESTRAINT_FACTOR,
    RESTRAINT_PUSH,
    SAMPLES,
    Stand,
    stand,
    sticker_wait,
)
from optimizer.units import display_unit, from_si, pretty

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
        y -= 5.2
        if rows and len(rows[0]) > 2:
            shares = [share * width for share in PLACED]
            y = sheet.table(MARGIN, y, shares, rows, size - 0.6, range(1, len(PLACED) - 1)) - 0.5
        else:
            y = plain_table(sheet, MARGIN, y, width, [(row[0], row[1]) for row in rows], size) - 0.5
        for text in texts:
            y = sheet.paragraph(MARGIN, y, width, text, size - 0.9, color=FAINT)
        y -= 3.2
    foot(sheet, labels, "test stand", "–")
    return sheet, y


_Block = tuple[str, Sequence[Sequence[str]], Sequence[str]]
PLACED = (0.21, 0.12, 0.11, 0.14, 0.11, 0.09, 0.09, 0.13)
"""Widths of the columns of the temperatures, as shares."""


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
        f"recorded, much more and resolution is lost. {_rise_told(facts)} Take {SAMPLES:g} samples in it, 1000 a second at least "
        "(common practice, no source). Start recording before arming and go on for 5 minutes.",
        "Transducer at the forward closure, where pressure is highest and nothing flows past. Line short, narrow and "
        "packed with grease "
        f"up to the diaphragm; {labels.length(LINE * 1e3, 0)} of it with air inside rings near {ring:.0f} Hz and lets hot "
        "gas in. A "
        "gauge instrument reads pressure above the surroundings, an absolute one above nothing: note which in the firing file.",
    ]
    return "Instruments", rows, texts


def _rise_told(facts: Stand) -> str:
    """The quickest change of thrust and where it comes from, as a sentence."""
    takes = f"{facts.fastest * 1e3:.0f} ms"
    if facts.fastest_from == ASSUMED:
        return (
            f"The thrust is assumed to rise in {takes} (our judgement): the equilibrium kernel starts at full thrust; draw with "
            "--kernel transient to have the filling of the chamber in its place."
        )
    if facts.fastest_from == AT_START:
        return f"The thrust rises in {takes} as the chamber fills in the transient kernel, every surface lit at once."
    return f"The quickest change of thrust takes {takes}: its fall at the end of the burn, as the kernel has it."


def _mounting(facts: Stand, labels: Labels) -> _Block:
    rows = [
        ("what the thrust holds goes up to", f"{facts.thrust_frequency:.0f} Hz"),
        ("lowest natural frequency of motor, cradle and load cell, at least", f"{facts.mount_frequency:.0f} Hz"),
    ]
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
        f"{MOUNT_OVER_THRUST:g} times what the thrust holds, that is 0.35 over its quickest change of {facts.fastest * 1e3:.0f} ms"
        f"{', assumed' if facts.fastest_from == ASSUMED else ''} (common practice, no source). Tap the loaded "
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
    """Where thermocouples or stickers go, what is predicted there, and when a sticker is read."""
    wait = sticker_wait(assessment)
    unit = display_unit("temperature", labels.units)
    told = {} if assessment.heat is None else {place.place: place for place in assessment.heat.outside}
    rows = [
        ["place on the outside", "from fwd end", "likely peak", "limits", "hottest at", "at 60 s", f"at {wait:.0f} s", "measured"]
    ]
    for name, place, x in _places(assessment):
        known = told.get(place)
        row = [name, labels.length(x, 0)]
        if known is None:
            row += ["not told", "–", "–", "–", "–"]
        else:
            peak = float(known.readings.peak[0])
            at = f"{float(known.readings.at[0]):.0f} s" if known.warms else "cold"
            later = (float(np.interp(when, known.time, known.history)) for when in (60.0, wait))
            row += [_degrees(peak, unit), f"{_degrees(known.low, unit, False)} to {_degrees(known.high, unit)}", at]
            row += [_degrees(value, unit) for value in later]
        rows.append([*row, ""])
    missing = () if assessment.heat is None else assessment.heat.missing
    texts = [
        f"Read stickers, and log thermocouples, until {wait:.0f} s after ignition: the outside is hottest long after burnout, as "
        "heat goes on through the liner, and a sticker keeps the highest. Peaks are those of the heat model in free air, no wind; "
        "limits by how the liner goes. Put one of each on opposite sides at every place, clean metal, under tape; note the reading "
        "in the firing file (case_temperature, position from the forward end). Nobody approaches before the range officer says so."
    ]
    if not told:
        texts.append(f"No temperature is predicted: {'; '.join(missing) or 'the motor file does not give what heat asks for'}.")
    return "Temperature of the case", rows, texts


def _places(assessment: Assessment) -> list[tuple[str, str, float]]:
    """Where to measure: name, place of the heat model, distance from the forward end of the case [mm]."""
    motors, placed = assessment.motors, assessment.assembly
    front, face = float(placed.plate_end[0]) * 1e3, float(placed.nozzle_face[0]) * 1e3
    found = [("forward end", "forward end", front + 5.0)]
    grains = [row["length"] for row in grain_rows(motors) for _ in range(round(row["count"]))]
    if len(grains) > 1:
        found.append(("first joint of grains" if len(grains) > 2 else "joint of grains", "joint", front + grains[0]))
    if len(grains) > 2:
        found.append(("last joint of grains", "joint", front + sum(grains[:-1])))
    if grains:
        found.append(("middle of the last grain", "mid-grain wall", front + sum(grains) - grains[-1] / 2))
    return [*found, ("just ahead of the nozzle", "aft end", face - 5.0)]


def _degrees(kelvin: float, unit: str, with_unit: bool = True) -> str:
    """A temperature in whole degrees."""
    number = f"{float(from_si(kelvin, unit)):.0f}"
    return pretty(f"{number} {unit}") if with_unit else number


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
