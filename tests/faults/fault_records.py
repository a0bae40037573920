"""Hostile records: a sound record changed as wrong units, signs, shifts, ramps, clipping, spikes, gaps and torn cables do.

Each must end in figures or in a refusal, and a law that is written must read back.
"""

from __future__ import annotations

import math
import random

import numpy as np

BAD = (1e9, -1e9, 1e3, 0.0, -11.0, math.inf, math.nan, 1e300, 50.0)
FACTORS = (1e-3, 1e3, 14.5038, 1 / 14.5038, 10.0, 0.1, 9.80665, 1e6, 1e-6, 0.01)


def _top(table, column):
    value = float(np.nanmax(np.abs(table[:, column])))
    return value if math.isfinite(value) else 1.0


def unit(table, draw):
    table[:, draw.choice((0, 1, 1, 2))] *= draw.choice(FACTORS)


def sign(table, draw):
    table[:, draw.choice((1, 2))] *= -1.0


def shift(table, draw):
    column = draw.choice((0, 1, 1, 2))
    table[:, column] += draw.uniform(-2.0, 2.0) * _top(table, column)


def ramp(table, draw):
    column = draw.choice((1, 2))
    table[:, column] += np.linspace(0.0, draw.uniform(-2.0, 2.0) * _top(table, column), len(table))


def clip(table, draw):
    column = draw.choice((1, 1, 2))
    level = draw.uniform(-0.1, 1.0) * _top(table, column)
    low, high = (level, math.inf) if draw.random() < 0.3 else (-math.inf, level)
    table[:, column] = np.clip(table[:, column], low, high)


def spikes(table, draw):
    column = draw.choice((0, 1, 1, 2))
    for _ in range(draw.choice((1, 1, 2, 5, 20, 100))):
        table[draw.randrange(len(table)), column] = draw.choice(BAD)


def gap(table, draw):
    start = draw.randrange(len(table))
    stop = start + draw.choice((1, 5, 50, 300))
    if draw.random() < 0.5:
        return np.delete(table, slice(start, stop), 0)
    table[start:stop, draw.choice((0, 1, 2))] = math.nan
    return table


def tear(table, draw):
    column, start = draw.choice((1, 1, 2)), draw.randrange(len(table))
    table[start:, column] = draw.choice((-11.0, 0.0, 1e4, -1e4, math.nan, table[start, column]))


def flat(table, draw):
    column = draw.choice((1, 1, 2))
    table[:, column] = draw.choice((0.0, 1.0, 50.0, -11.0))
    table[draw.randrange(len(table)), column] = draw.choice((50.0, -50.0, 1e6, 1.5, 1.0))


def square(table, draw):
    column = draw.choice((1, 1, 2))
    start, stop = sorted(draw.sample(range(len(table)), 2))
    table[:, column] = draw.choice((0.0, 1.0, -1.0))
    table[start:stop, column] = draw.choice((50.0, 1.0, 1e3, 10.0))


def noise(table, draw):
    column = draw.choice((1, 1, 2))
    size = draw.choice((1e-3, 0.05, 0.5)) * _top(table, column)
    table[:, column] += np.random.default_rng(draw.randrange(2**30)).normal(0.0, min(size, 1e300), len(table))


def coarse(table, draw):
    column, step = draw.choice((0, 1, 1, 2)), draw.choice((0.01, 0.1, 1.0, 10.0, 50.0))
    table[:, column] = np.round(table[:, column] / step) * step


def cut(table, draw):
    start, stop = sorted(draw.sample(range(len(table)), 2))
    return table[start:stop]


def swap(table, draw):
    one, two = draw.sample(range(3), 2)
    table[:, [one, two]] = table[:, [two, one]]


def backwards(table, draw):
    table[:, draw.choice((0, 1, 2))] = table[::-1, draw.choice((0, 1, 2))]


def thin(table, draw):
    return table[:: draw.choice((2, 5, 20, 40))]


def ripple(table, draw):
    column = draw.choice((1, 2))
    table[:, column] *= 1.0 + draw.uniform(0.0, 0.6) * np.sin(np.arange(len(table)) * draw.uniform(0.01, 2.0))


CHANGES = (unit, sign, shift, ramp, clip, spikes, gap, tear, flat, square, noise, coarse, cut, swap, backwards, thin, ripple)


def mutated_record(content: bytes, draw: random.Random) -> bytes:
    """A record of three columns with one to three such changes."""
    head, *rows = content.decode().strip().split("\n")
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    with np.errstate(all="ignore"):
        for _ in range(draw.choice((1, 1, 1, 2, 2, 3))):
            if len(table) < 4 or not np.isfinite(table).any(axis=0).all():
                break
            changed = draw.choice(CHANGES)(table, draw)
            table = table if changed is None else changed
    lines = [",".join("" if math.isnan(value) else f"{value:.6g}" for value in row) for row in table]
    return "\n".join([head, *lines, ""]).encode()


def mutated_columns(firing: bytes, draw: random.Random) -> bytes:
    """A firing file whose columns claim another unit, zero or place."""
    text = firing.decode()
    if draw.random() < 0.3:
        text = text.replace('unit = "bar"', f'unit = "{draw.choice(("psi", "kPa", "MPa", "Pa", "atm"))}"')
    if draw.random() < 0.15:
        text = text.replace('unit = "kgf"', f'unit = "{draw.choice(("N", "lbf", "kN"))}"')
    if draw.random() < 0.15:
        text = text.replace('unit = "s"', f'unit = "{draw.choice(("ms", "min"))}"')
    if draw.random() < 0.3:
        text = text.replace('"absolute"', '"gauge"')
    if draw.random() < 0.4:
        text = text.replace('reference = "', f'place = "{draw.choice(("head", "chamber"))}", reference = "')
    if draw.random() < 0.3:
        text += f'\n[observed]\ntime_of_failure = "{draw.uniform(0.0, 3.0):.3f} s"\nend = "aft"\nfound = ["closure gone"]\n'
    return text.encode()
