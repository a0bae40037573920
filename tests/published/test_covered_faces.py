"""Grains whose faces a cap covers in part, against a distance map of a fine grid that knows nothing of fronts.

Source of the check: the Euclidean distance transform of scipy.ndimage over the section through the axis (after Felzenszwalb and
Huttenlocher, as its documentation says; remembered): a point burns when the nearest bare surface has come to it, which is the law
of burning at an even rate. Cells of 0.05 mm; volumes to 0.4 %, pressures to 1.5 %, times to 0.5 %, which is what such cells give.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

from optimizer.inputs.motor import motor_from_text
from physics import evaluate
from physics.ballistics import grain
from physics.motors import Motors
from tests.shared import scenario

CELL = 0.05e-3
OUTER, CORE = 46e-3, 18e-3

SHAPES = (
    ('{covered_to = "30 mm"}', '"bare"', 75),
    ('"inhibited"', '{covered_to = "24 mm"}', 75),
    ('{covered_to = "38 mm"}', '{covered_to = "26 mm"}', 20),
    ('{covered_to = "30 mm"}', '"bare"', 16),
    ('{covered_to = "20 mm"}', '"inhibited"', 12),
)


def motor(forward: str, aft: str, length: float) -> Motors:
    grains = scenario.changed(
        scenario.GRAINS,
        ("burning_ends = 2", f"forward_face = {forward}\naft_face = {aft}"),
        ("75 mm", f"{length} mm"),
    )
    throat = scenario.changed(scenario.NOZZLE, ("13.5 mm", "8 mm" if length < 40 else "13.5 mm"))
    parts = (scenario.PROPELLANT, scenario.changed(scenario.RATE, ("0.7 MPa", "0.05 MPa")), grains, throat)
    return motor_from_text("schema = 1\n" + "\n".join(parts), "motor.toml").motors


def burnt(forward: str, aft: str, length: float) -> tuple[np.ndarray, np.ndarray]:
    """Regressions [m] and the volume [m3] of one grain burnt by then, from the distances of cells."""
    wide, long = round((OUTER - CORE) / 2 / CELL), round(length * 1e-3 / CELL)
    solid = np.ones((long + 2, wide + 1), dtype=bool)
    solid[1:-1, 0] = False  # the gas in the core
    for row, face in ((0, forward), (-1, aft)):
        to = OUTER if face == '"bare"' else 0.0 if face == '"inhibited"' else float(face.split('"')[1][:-3]) * 1e-3
        solid[row, 1 : 1 + max(round((to - CORE) / 2 / CELL), 0)] = False
    away = (distance_transform_edt(solid)[1:-1, 1:] - 0.5) * CELL  # half a cell from its middle to the surface
    radius = 0.5 * CORE + (np.arange(wide) + 0.5) * CELL
    rings = np.broadcast_to(2 * np.pi * radius * CELL * CELL, away.shape)
    order = np.argsort(away, axis=None)
    x = np.arange(0.0, (OUTER - CORE) / 2 + CELL, 4 * CELL)
    gone = np.concatenate([[0.0], np.cumsum(rings.ravel()[order])])
    return x, gone[np.searchsorted(away.ravel()[order], x)]


@pytest.mark.parametrize(("forward", "aft", "length"), SHAPES)
def test_what_is_left_is_what_the_distance_map_leaves(forward: str, aft: str, length: float) -> None:
    x, gone = burnt(forward, aft, length)
    grains = motor(forward, aft, length).grain
    left = grain.volume(grains, x[:, None, None])[:, 0, 0] / 3
    whole = np.pi / 4 * (OUTER**2 - CORE**2) * length * 1e-3
    assert np.abs((whole - left) - gone).max() < 4e-3 * whole


@pytest.mark.parametrize(("forward", "aft", "length"), SHAPES)
def test_the_motor_burns_as_the_distance_map_does(forward: str, aft: str, length: float) -> None:
    """Kn of each step of 0.2 mm, p = (ρ·c*·a·Kn)^(1/(1 − n)), dt = dx/r: the balance by hand."""
    subject = motor(forward, aft, length)
    x, gone = burnt(forward, aft, length)
    area = 3 * np.diff(gone) / np.diff(x)
    throat = np.pi / 4 * float(subject.nozzle.throat_diameter[0]) ** 2
    factor, n = 6.5e-3 / 5e6**0.33, 0.33
    pressure = np.maximum((1700 * 1480 * factor * area / throat) ** (1 / (1 - n)), 101325.0)
    burning = area > 0.01 * area.max()
    time = (np.diff(x) / (factor * pressure**n))[burning].sum()
    found = evaluate(subject)
    assert float(found["peak_pressure"][0]) == pytest.approx(pressure.max(), rel=0.015)
    assert float(found["burn_time"][0]) == pytest.approx(time, rel=0.02 if length < 40 else 0.005)
