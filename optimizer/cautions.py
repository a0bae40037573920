"""What a builder should be told beside the figures, once and plainly.

Owns the table of cautions: a condition on an assessment and the words for it. May import physics and units.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from optimizer.units import show, show_dimension
from physics.assembly import LOOSE_SHARE, at_end
from physics.assessment import Assessment
from physics.ballistics.erosion import LAWS
from physics.ballistics.grain import has_caps
from physics.failure.ladder import ADVICE
from physics.failure.proof import proof_of
from physics.failure.seals import gland_warnings
from physics.failure.wear import FELT, RETIRE, Worn, bulging_pressure, cycles, worn
from physics.fit import fit, hot_fits
from physics.flight.mission import ASSUMED_DRAG, COLDEST, Flights
from physics.flight.practice import SLOW_OFF_RAIL, WEAK
from physics.flight.trajectory import FLIGHT_FLAGS
from physics.heat.paths import OUT, GasPath
from physics.heat.walls import LASTING_LOSS
from physics.motors import Rung

PORT_RULE = 2.0
"""Port to throat area below which a small motor tends to burn erosively; common practice, no source."""

NOT_DESCRIBED = "The port chokes: the pressures and factors here are outside the model. Do not use them."
"""What is said in place of a verdict, and in one with rungs that fall short."""

# One entry for each flag a kernel raises: what it is about, and what it means for the figures above it.
_FLAGS: dict[str, tuple[str, str]] = {
    "port_choked": (
        "port choked",
        "The gas reaches the speed of sound in the port, before the throat: the port is no wider than the throat for "
        "the flow it carries. Expect a pressure spike at ignition; the pressures here are outside the model.",
    ),
    "flow_separated": (
        "nozzle flow separates",
        "For part of the burn the exit pressure is so far below ambient that the flow leaves the wall (Schmucker's "
        "criterion); thrust there is taken at the point of separation.",
    ),
    "outside_characterised_pressure": (
        "outside the characterised pressures",
        "For part of the burn the pressure lies outside the rows of the burning-rate law; the nearest row is extended. "
        "Figures from there are extrapolated, not known.",
    ),
    "several_equilibria": (
        "more than one equilibrium pressure",
        "The burning-rate law allows a second, higher stable pressure. The lower one is shown, the one reached while "
        "the motor fills; a disturbance could carry the motor to the higher one.",
    ),
    "nozzle_unchoked": (
        "nozzle not choked",
        "For part of the burn the chamber pressure is too low to choke the throat; figures from there are rough.",
    ),
    "recession_ignored": (
        "throat recession",
        "The steady kernel holds the throat; use --kernel transient to see what recession does.",
    ),
    "erosive_burning_ignored": (
        "erosive burning",
        "The steady kernel leaves erosive burning out; use --kernel transient, which includes the law the propellant file names.",
    ),
    "chuffing_risk": (
        "low-pressure instability",
        "Characteristic length and pressure are so low that the motor may chuff or go out.",
    ),
    "extinguished": ("extinguished", "The motor goes out before the propellant is used up."),
}


@dataclass(frozen=True)
class Caution:
    """One caution: what it is about, and the text."""

    about: str
    text: str


def cautions(assessment: Assessment, units: str = "metric") -> list[Caution]:
    """Everything to be said of a batch of one, the caution for people last.

    Parameters
    ----------
    assessment : Assessment
        Of one motor.
    units : str
        "metric" or "imperial", for the numbers in the texts.
    """
    raised = [name for name, flag in assessment.figures.flags.items() if name in _FLAGS and np.any(flag)]
    found = [Caution(*_FLAGS[name]) for name in raised]
    found += _erosion(assessment)
    if not np.isfinite(assessment.figures["total_impulse"][0]):
        found.append(Caution("no figures", "The simulation did not reach burnout; no figures are available."))
    found += _port(assessment)
    found += _caps(assessment)
    if assessment.motors.airframe is not None and assessment.motors.case is None:
        found.append(Caution("fit not assessed", "The file gives an airframe and no [case], so nothing is said of the fit."))
    found += _structure(assessment, units)
    found += _glands(assessment)
    found += _gas_paths(assessment, units)
    found += _advice(assessment, units)
    found += _stack(assessment, units)
    found += _fits(assessment, units)
    found += _airframe(assessment, units)
    found += _flight(assessment, units)
    found += _skin(assessment, units)
    found += _reuse(assessment, units)
    found += _people(assessment, units)
    return found


def _gas_paths(assessment: Assessment, units: str) -> Iterator[Caution]:
    """Ways for gas behind the liner that heat the tube where it enters, or lead out."""
    told = assessment.heat
    hot = [path for path in (() if told is None else told.gas_paths) if math.isfinite(path.hot_after) or path.end == OUT]
    if hot:
        text = path_sentence(hot[0], units)
        if hot[0].end == OUT:
            cure = "What passes gas fails at once: in hot gas at the speed of sound an edge is gone in a tenth of a second"
        else:
            cure = "A loose liner with two openings is a flow path that goes with the cube of its room: bond it, or close one"
        yield Caution("gas behind the liner", f"{text[0].upper()}{text[1:]}. {cure}.")


def path_sentence(path: GasPath, units: str) -> str:
    """A way for gas behind the liner, in a sentence."""
    room = show_dimension(path.room, "length", units, 2)
    limit = show_dimension(LASTING_LOSS, "temperature", units, 3)
    hot = "" if math.isinf(path.hot_after) else f"; the tube is over {limit} there after {path.hot_after:.2g} s"
    end = path.end if path.end == OUT else f"the gap at the {path.end}"
    return (
        f"way for gas behind the liner from the gap at the {path.start} to {end}: {1e3 * path.flow:.2g} g/s, "
        f"{1e-3 * path.power:.2g} kW, through {room} of room{' (assumed)' if path.assumed else ''}{hot}"
    )


def _erosion(assessment: Assessment) -> Iterator[Caution]:
    law = assessment.motors.propellant.erosive
    if law != "none" and assessment.figures.kernel == "transient":
        text = f"The law {law} holds for {LAWS[law].range}. Without constants fitted to this propellant it shows a trend."
        yield Caution("erosive burning", text)


def _port(assessment: Assessment) -> Iterator[Caution]:
    ratio = float(assessment.figures["port_over_throat"][0])
    if np.isfinite(ratio) and ratio < PORT_RULE:
        text = (
            f"The port is {ratio:.2f} times the throat area at ignition; under about {PORT_RULE:g} erosive burning is "
            "likely (common practice, no source). Open the core, at least of the nozzle-end grains."
        )
        if ratio <= 1.0:
            text += " A port no wider than the throat chokes."
        yield Caution("narrow port", text)


def _caps(assessment: Assessment) -> Iterator[Caution]:
    if has_caps(assessment.motors.grain):
        yield Caution(
            "caps over grain faces",
            "The burn takes each cap to last until its grain is gone, with no gas under it ahead of the fire; the flaw "
            '"cap lost" says what one that lets go brings. Heat takes a face with a cap as an inhibited one.',
        )


def _structure(assessment: Assessment, units: str) -> Iterator[Caution]:
    motors = assessment.motors
    if motors.case is not None and motors.case.heat_affected:
        yield Caution(
            "heat-affected case",
            "The case is welded or brazed near its loaded region: its strength there is that of the heat-affected "
            "zone, not of the temper it was bought in.",
        )
    if motors.liner is not None and np.any(motors.liner.thickness > 0.0):
        yield Caution(
            "liner",
            "A liner that has stood a flame in open air is not proven: in the motor the gas moves fast and under "
            "pressure. Check the liner after each firing, joints and bulkheads first.",
        )
    for end, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure)):
        if closure is None or closure.screws is None:
            continue
        if not np.any(closure.screws.threads_in_plane):
            yield Caution(
                f"{end} screws",
                "The plain shank is taken to lie across the joint. Measure it: where the threads reach into the shear "
                "plane, a coarse screw carries only about half as much.",
            )
    if motors.case is not None and "typical" in motors.case.material.name:
        yield Caution("typical strength", "The case is judged by a typical strength, not by the specification minimum.")


def _glands(assessment: Assessment) -> Iterator[Caution]:
    """O-ring glands out of proportion, at the expected pressure's dilation too."""
    motors = assessment.motors
    for end, closure in (("forward", motors.forward_closure), ("aft", motors.aft_closure)):
        if closure is None or closure.seal is None or motors.case is None:
            continue
        warnings = gland_warnings(motors, end, assessment.maximum_expected_pressure)
        if warnings:
            yield Caution(f"{end} seal", "; ".join(warnings) + ".")


def _advice(assessment: Assessment, units: str) -> Iterator[Caution]:
    """Service limits that the motor passes: nothing is known to happen there in one firing."""
    passed: dict[str, list[Rung]] = {}
    for rung in assessment.ladder.rungs:
        if rung.kind == ADVICE and not bool(np.ravel(rung.factor)[0] >= 1.0):
            passed.setdefault(rung.mode, []).append(rung)
    for mode, rungs in passed.items():
        where = ", ".join(
            f"{rung.part} from {show(float(np.ravel(rung.pressure)[0]), 'pressure', units)}"
            for rung in rungs
            if rung.pressure is not None
        )
        yield Caution(
            mode,
            f"{where}: passed at the maximum expected pressure. This is a maker's advice for service, not a pressure at "
            "which a ring is known to fail in one firing; a backup ring or a closer fit answers it.",
        )


def _stack(assessment: Assessment, units: str) -> Iterator[Caution]:
    """A stack too long for its case, room that lets the grains move, or a room that cannot be judged."""
    placed = assessment.assembly
    if placed.not_assessed:
        yield Caution("room in the case not assessed", f"{placed.not_assessed}: whether the parts go together is not known.")
        return
    left = float(placed.left[0])
    if not left >= 0.0:
        yield Caution(
            "stack too long",
            f"Rings, plate, grains and nozzle need {show(float(placed.stack[0]), 'length', units)}, the case has "
            f"{show(float(placed.case_length[0]), 'length', units)}. Give a longer case, or fewer or shorter grains.",
        )
        return
    least = float(placed.least_left[0])
    if not least >= 0.0:
        yield Caution(
            "stack too long",
            f"As drawn {show(left, 'length', units)} of the case is left; at the worst corner of the tolerances the stack is "
            f"{show(-least, 'length', units)} too long. Leave more room, or hold the lengths closer.",
        )
        return
    grain = assessment.motors.grain
    counts, lengths = np.broadcast_arrays(np.atleast_2d(grain.count)[0], np.atleast_2d(grain.length)[0])
    shortest = float(lengths[counts > 0].min())
    if left > LOOSE_SHARE * shortest:
        another = left >= shortest
        cure = "Use another count or length of grains, a shorter case, or a spacer" if another else "Put in a spacer"
        text = f", room for another grain of {show(shortest, 'length', units)}" if another else ""
        yield Caution(
            "room left in the case",
            f"Rings, plate, grains and nozzle leave {show(left, 'length', units)} of the case empty{text}: the grains can "
            f"move, and the aft end sees it. {cure}, so that the stack cannot shift.",
        )


def _fits(assessment: Assessment, units: str) -> Iterator[Caution]:
    """Parts that press on each other at a temperature that the motor must bear, though they have room at 20 °C."""
    for one in hot_fits(assessment.motors, assessment.assembly).clearances:
        k = int(np.argmin(one.least[0]))
        least, drawn = float(one.least[0, k]), float(one.drawn[0, k])
        if not least < 0.0:
            continue
        where = "on the diameter" if one.across else "along the axis"
        at = show(float(one.temperatures[0, k]), "temperature", units)
        corner = "" if drawn < 0.0 else "at the worst corner of the tolerances "
        yield Caution(
            f"fit: {one.place}",
            f"At {at} they are {corner}{show(-least, 'length', units)} too large {where} for each other. Give more room, or do "
            "not let the motor come to that temperature.",
        )


def _airframe(assessment: Assessment, units: str) -> Iterator[Caution]:
    """A case that goes into its airframe as drawn, and not at the upper end of its tolerances."""
    motors = assessment.motors
    if assessment.fit is None or bool(np.ravel(np.asarray(assessment.fit["in_airframe"]))[0]):
        return
    if bool(np.ravel(np.asarray(fit(replace(motors, tolerances={}))["in_airframe"]))[0]):
        widest, longest = (at_end(motors, f"case.{name}", upper=True) for name in ("outer_diameter", "length"))
        assert widest is not None
        size = show(float(widest.ravel()[0]), "length", units)
        size += "" if longest is None else f" by {show(float(longest.ravel()[0]), 'length', units)}"
        yield Caution(
            "airframe fit",
            f"As drawn the case goes into the airframe; at the upper ends of its tolerances ({size}) the room that "
            "[airframe] asks for is not there.",
        )


def _flight(assessment: Assessment, units: str) -> Iterator[Caution]:
    """What the figures of a flight leave out, and what makes a flight a hazard."""
    flown = assessment.flight
    if flown is None or flown.refused is not None:
        return
    for name in ("apogee_under_thrust", "never_leaves_rail", "never_moves"):
        if flown.flags[name][0]:
            yield Caution("hazard in flight", f"{FLIGHT_FLAGS[name][0].upper()}{FLIGHT_FLAGS[name][1:]}. Do not fly it.")
    rocket, launch = assessment.motors.rocket, assessment.motors.launch
    assert rocket is not None and launch is not None
    if any(margin[0] < 0.0 for margin in flown.margins.values()):
        yield Caution("UNSTABLE", "THE CENTRE OF PRESSURE LIES AHEAD OF THE CENTRE OF MASS: THE ROCKET TURNS ROUND IN FLIGHT.")
    stable = "Only the static margin is given" if flown.margins else "Stability is not assessed (no centre of pressure)"
    yield Caution(
        "flight",
        "A point mass in still air that never turns into the wind: the apogee is an upper bound, and no permission; ceiling, "
        f"waiver and separation distances go with the expected altitude. {stable}. Judge the rail exit speed at the coldest "
        "soak against the wind of the day. Flutter, heating, buckling, parachute and joints are not assessed; screws, seals "
        "and other small parts are not in the mass unless it was weighed.",
    )
    yield from _slow(flown, units)
    if abs(float(launch.elevation[0]) - 0.5 * np.pi) < 1e-6:
        text = "The rail is taken to stand upright, as is assumed where launch.elevation is not given; give what it leans by."
        yield Caution("elevation", text)
    if float(launch.elevation[0]) < np.radians(70.0) - 1e-9:
        yield Caution("elevation", "The rail leans more than 20 degrees from the vertical, beyond what high-power codes allow.")
    if flown.band and rocket.drag_mach is None:
        low, high = (show(float(apogee[0]), "apogee", units) for apogee in flown.band.values())
        one, other = flown.band
        drag = f"drag coefficient of {float(rocket.drag_coefficient[0]):g}"
        if float(rocket.drag_coefficient[0]) == ASSUMED_DRAG:
            drag += ", which is assumed where none is given"
        yield Caution("drag", f"The apogee rests on a {drag}; at {one:g} it is {low}, at {other:g} it is {high}.")
    if flown.flags["outside_drag_table"][0]:
        yield Caution("drag table", f"The {FLIGHT_FLAGS['outside_drag_table'][4:]}.")
    if flown.flags["nozzle_separated"][0]:
        yield Caution("separated nozzle in flight", f"The {FLIGHT_FLAGS['nozzle_separated'][4:]}.")


def _skin(assessment: Assessment, units: str) -> Iterator[Caution]:
    """What the airframe bears where it touches the case, against how hot the case gets there."""
    skin = assessment.skin
    if skin is None:
        return
    bears = f"The airframe bears {show(skin.limit, 'temperature', units)} where it touches the case"
    if skin.ok is None:
        yield Caution("airframe's skin", f"{bears}; how hot the case gets outside is not assessed. Measure it with stickers.")
    elif not skin.ok:
        hot, likely = (show(value, "temperature", units) for value in (skin.hottest, skin.likely))
        yield Caution(
            "airframe's skin",
            f"{bears}; at the {skin.place} the case's outside likely reaches {likely}, and {hot} in the worse limit of the "
            "liner; inside a tube it stays hot longer than in the free air that it is reckoned for. Keep the tube off the case, "
            "or give it a skin that bears more.",
        )


def _reuse(assessment: Assessment, units: str) -> Iterator[Caution]:
    """What the hardware has been through and shows, against what yield would leave, and when a case is retired."""
    motors = assessment.motors
    wear = motors.wear
    if not wear:
        return
    fired, proofs = cycles(wear, "firing"), cycles(wear, "proof")
    highest = max((use.pressure for use in wear if use.pressure is not None), default=None)
    told = f"{fired} {'firing' if fired == 1 else 'firings'} and {proofs} {'proof' if proofs == 1 else 'proofs'} so far"
    told += "" if highest is None else f", up to {show(highest, 'pressure', units)}"
    grown = sorted(worn(motors), key=lambda one: -one.share)
    yields = bulging_pressure(motors)
    signs = [_worn_text(one, highest, yields if one.what == "bulge" else None, units) for one in grown]
    throats = [use.throat_diameter for use in wear if use.throat_diameter is not None]
    if throats:
        drawn = float(np.ravel(motors.nozzle.throat_diameter)[0])
        wider = throats[-1] / drawn - 1.0
        text = f"throat {show(throats[-1], 'throat_diameter', units)} as last measured, {100 * wider:+.1f} % of the one judged here"
        signs.append(text + (": write it into nozzle.throat_diameter" if abs(wider) > 0.002 else ""))
    gone = any(one.share >= 1.0 and not one.against_drawing for one in grown)
    head = "RETIRE THIS CASE" if gone else "reuse"
    signs = signs or ["nothing measured since: measure outside, holes and throat after each firing"]
    shown = "; ".join(signs)
    yield Caution(
        head,
        f"{shown[0].upper()}{shown[1:]}. It has seen {told}. Fatigue, corrosion and what heat did to the metal are not "
        f"assessed. Retire it for any of these: {'; '.join(RETIRE)} (common practice, no source).",
    )


def _worn_text(one: Worn, highest: float | None, yields: float | None, units: str) -> str:
    """One growth in words: how much of what yield would leave it is, and whether the pressure borne explains it."""
    size, leaves = (show_dimension(value, "length", units, 2) for value in (one.measured, one.leaves))
    if one.measured <= FELT * one.leaves:
        return f"{one.what} {size}, within what a caliper leaves in doubt (yield would leave {leaves})"
    text = f"{one.what} {size}, {one.share:.1f} times what yield would leave ({leaves})"
    if one.against_drawing:
        return text + ", against the drawing: nobody measured it new, and a tube as bought is off by more"
    if highest is not None and yields is not None and highest < yields:
        text += (
            f", at {highest / yields:.0%} of the pressure at which it should begin ({show(yields, 'pressure', units)}): softer "
            "metal, heat, or a pressure nobody read"
        ).replace("%", " %")
    return text


def _slow(flown: Flights, units: str) -> Iterator[Caution]:
    """A rocket that leaves its rail slower, or with less thrust, than is usual."""
    speed, ratio = (float(flown.figures[name][0]) for name in (COLDEST, "mean_thrust_to_weight"))
    if speed < SLOW_OFF_RAIL:
        text = f"At the coldest soak it leaves the rail at {show(speed, COLDEST, units)}; {show(SLOW_OFF_RAIL, COLDEST, units)}"
        yield Caution("slow off the rail", f"{text} or more is usual (practice, no standard). It turns into the wind from there.")
    if ratio < WEAK:
        text = f"The mean thrust is {ratio:.1f} times the lift-off weight; safety codes ask {WEAK:g} (practice, remembered)."
        yield Caution("weak motor for this rocket", text)


def _people(assessment: Assessment, units: str) -> Iterator[Caution]:
    expected = float(assessment.maximum_expected_pressure[0])
    load = ""
    if np.isfinite(expected):
        proof = proof_of(assessment.motors, assessment.ladder, expected)
        times, keeps = proof.pressure / expected, proof.keeps
        load = f" at {times:.2f} times the maximum expected pressure ({show(proof.pressure, 'pressure', units)})"
        if proof.limited and keeps is not None:
            load += f", no higher: {keeps.mode} ({keeps.part}) may come from {show(keeps.most, 'pressure', units)} on"
        if times < 1.0:
            load = ""
    advised = f"proof-test the empty motor with water{load}, inert and from behind cover"
    yield Caution(
        "people",
        f"Metal cases throw fragments. Fire remotely, at your club's distance and behind a barrier; before that, "
        f"{advised}. Follow your local codes and have a licensed or certified member of your club review the design. "
        "These figures come from models with limits; what is listed as not assessed has not been looked at.",
    )
