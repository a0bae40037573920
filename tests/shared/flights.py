"""The push of a motor cut into shorter steps, to see that the flight converges. Imports numpy and physics."""

from __future__ import annotations

import numpy as np

from physics.flight.trajectory import Push


def finer(push: Push, parts: int) -> Push:
    """The same history with each step cut into `parts` equal ones; a level is a parabola with the step's own integral."""
    size, steps = push.impulse.shape
    width = np.diff(push.time, axis=1)
    edges = np.arange(parts + 1) / parts

    def cut(start, end, total):
        mean = np.where(width > 0.0, total / np.where(width > 0.0, width, 1.0), 0.5 * (start + end))
        bulge = 6.0 * (mean - 0.5 * (start + end))
        level = [start + (end - start) * s + bulge * s * (1.0 - s) for s in edges]
        swept = [width * s * (start + s * (0.5 * (end - start) + bulge * (0.5 - s / 3.0))) for s in edges]
        level, swept = np.stack(level, axis=2), np.diff(np.stack(swept, axis=2), axis=2)
        return tuple(part.reshape(size, steps * parts) for part in (level[:, :, :-1], level[:, :, 1:], swept))

    thrust_start, thrust_end, impulse = cut(push.thrust_start, push.thrust_end, push.impulse)
    flow_start, flow_end, mass = cut(push.flow_start, push.flow_end, push.mass)
    inner = (push.time[:, :-1, None] + width[:, :, None] * edges[:-1]).reshape(size, steps * parts)
    return Push(
        np.concatenate([inner, push.time[:, -1:]], axis=1),
        thrust_start,
        thrust_end,
        flow_start,
        flow_end,
        impulse,
        mass,
        np.repeat(push.attached, parts, axis=1),
        push.ambient_pressure,
        push.exit_area,
    )
