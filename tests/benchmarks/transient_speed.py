"""What a batch gains in the transient kernel: `python tests/benchmarks/transient_speed.py`; prints ratios only.

Times 64 motors as one batch, one by one, and as lumped chambers (no port flow) through scipy's adaptive integrator.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

from optimizer.inputs import load_motor
from physics.ballistics import transient

MOTOR = Path(__file__).resolve().parents[2] / "studies" / "motors" / "curlew.toml"
SIZE = 64


def lumped(throat: float) -> float:
    """Peak pressure [Pa] of a chamber that grows with its burnt web, stiff adaptive integration, tolerance 1e-6."""
    area, web, length, core, outer = np.pi / 4 * throat**2, 0.01375, 0.088, 0.019, 0.0465
    speed, density, rate, exponent = 1460.0, 1690.0, 5.8e-3, 0.38
    heat = (speed * 0.6503) ** 2

    def slope(_: float, state: np.ndarray) -> list[float]:
        pressure, burnt = max(state[0], 1e3), min(state[1], web)
        now = core + 2 * burnt
        surface = 4 * (np.pi * now * (length - 2 * burnt) + np.pi / 2 * (outer**2 - now**2)) if burnt < web else 0.0
        speed_of_burning = rate * (pressure / 3e6) ** exponent
        volume = 4 * np.pi / 4 * (outer**2 * length - (outer**2 - now**2) * (length - 2 * burnt))
        return [heat * (density * surface * speed_of_burning - pressure * area / speed) / volume, speed_of_burning]

    return float(solve_ivp(slope, (0.0, 3.0), [101325.0, 0.0], method="LSODA", rtol=1e-6).y[0].max())


def main() -> None:
    """Print the ratios."""
    throats = np.linspace(0.012, 0.015, SIZE)
    batch = load_motor(MOTOR).motors.repeat(SIZE).with_values({"nozzle.throat_diameter": throats})
    transient.evaluate(batch.take([0]))
    started = time.process_time()
    transient.evaluate(batch)
    together = time.process_time() - started
    started = time.process_time()
    for place in range(0, SIZE, 8):
        transient.evaluate(batch.take([place]))
    alone = 8 * (time.process_time() - started)
    started = time.process_time()
    for throat in throats[::8]:
        lumped(float(throat))
    adaptive = 8 * (time.process_time() - started)
    print(f"one by one / batch of {SIZE}: {alone / together:.1f}")
    print(f"lumped adaptive integration, one by one / batch with port flow: {adaptive / together:.2f}")


if __name__ == "__main__":
    main()
