"""Ways for gas behind the liner: found from what the file says, with their flow and what they do where they enter.

Owns the search for them; the flow itself stands in `leak`. Sources: beside the models; the room behind the liner where
the file does not give it is an assumption. Imports physics.assembly, constants, motors and the heat files below it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.assembly import assemble
from physics.constants import GAS_CONSTANT
from physics.heat import leak as leaks
from physics.heat import walls
from physics.heat.conduction import first_crossing
from physics.heat.marches import case_wall, gap_widths, kept
from physics.heat.places import GAP_PLACES, Setting
from physics.heat.softening import LASTING_LOSS
from physics.motors import Motors, Situation

ROOM_BEHIND = 0.1e-3
"""Room between liner and case where the file does not say: an assumption. [m]"""

OUT = "the outside"


@dataclass(frozen=True)
class GasPath:
    """A way for gas behind the liner of a single motor, SI.

    From `start` to `end`; `flow` [kg/s] under the highest pressure of the burn, `power` [W] that it brings, `reach` [m] in
    which it gives up all but a third of its heat, `hot_after` [s] until the bore at its entry passes `LASTING_LOSS`, inf
    where it does not in the burn; `room` behind the liner [m], `assumed` where the file does not give it.
    """

    start: str
    end: str
    flow: float
    power: float
    reach: float
    hot_after: float
    room: float
    assumed: bool


def gas_paths(motors: Motors, situation: Situation) -> tuple[GasPath, ...]:
    """The ways for gas behind the liner of a single motor that the file tells of, the strongest flow first.

    From one gap to another, driven by what the pressure falls along the port; out through a gap that lets gas pass. A
    single gap that lets nothing pass only fills. Raises NotComputable naming what is missing.
    """
    widths = gap_widths(motors)
    there = [place for place in GAP_PLACES if float(widths[place][0]) > 0.0]
    liner, figures = motors.liner, situation.figures
    if liner is None or figures is None or (len(there) < 2 and not (there and liner.gap_flow)):
        return ()
    at = kept(motors, situation, False)
    assumed = liner.gap_behind is None
    room = ROOM_BEHIND if liner.gap_behind is None else float(np.ravel(liner.gap_behind)[0])
    stack = assemble(motors)
    forward, aft = float(stack.plate_end[0]), float(stack.nozzle_face[0])
    places = {"forward end": forward, "aft end": aft, "joint": 0.5 * (forward + aft)}
    head = float(np.ravel(figures["peak_head_pressure"])[0])
    drop = max(head - float(np.ravel(figures["peak_pressure"])[0]), 0.0)
    case = motors.case
    assert case is not None  # kept and the wall ask for it
    round_ = np.pi * float(np.ravel(case.bore)[0])
    density = head * at.gas.molar_mass / (GAS_CONSTANT * at.gas.temperature)
    found = []
    for first, start in enumerate(there):
        for end in there[first + 1 :]:
            length = abs(places[end] - places[start])
            share = drop * length / max(aft - forward, 1e-9)
            flow = leaks.bypass_flow(
                density, np.asarray(round_), np.asarray(room), np.asarray(share), at.gas.viscosity, np.asarray(max(length, 1e-3))
            )
            found.append(_path(at, motors, start, end, float(np.ravel(flow)[0]), round_, room, assumed))
    for start in there if liner.gap_flow else ():
        area = np.asarray(round_ * room)
        length = max(min(places[start], float(stack.case_length[0]) - places[start]), 1e-3)
        choked = leaks.choked_leak(np.asarray(head), area, motors.propellant.characteristic_velocity)
        creeping = leaks.narrow_flow(
            np.asarray(head),
            np.asarray(round_),
            np.asarray(room),
            np.asarray(length),
            at.gas.viscosity,
            GAS_CONSTANT / at.gas.molar_mass,
            at.gas.temperature,
        )
        out = float(np.ravel(np.minimum(choked, creeping))[0])
        found.append(_path(at, motors, start, OUT, out, round_, room, assumed))
    return tuple(sorted(found, key=lambda path: -path.flow))


def _path(at: Setting, motors: Motors, start: str, end: str, flow: float, breadth: float, room: float, assumed: bool) -> GasPath:
    """What a flow behind the liner does where it enters."""
    if flow <= 0.0:
        return GasPath(start, end, 0.0, 0.0, 0.0, np.inf, room, assumed)
    cold = walls.per_motor(motors, motors.ambient.temperature)
    gas = at.gas
    stream = leaks.stream(
        np.full(1, flow),
        np.asarray(breadth),
        np.asarray(room),
        gas.viscosity,
        gas.conductivity,
        gas.specific_heat,
        gas.temperature - cold,
        gas.prandtl,
    )
    hot = gas.temperature * np.ones(1)
    time, bore = leaks.entry_history(case_wall(motors), stream, hot, cold, np.maximum(at.now.end, 1e-9))
    after = float(first_crossing(time, bore, LASTING_LOSS)[0])
    return GasPath(start, end, flow, float(stream.power[0]), float(stream.reach[0]), after, room, assumed)
