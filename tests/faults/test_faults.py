"""Every line of the trust table at its quick size; `trust.py` beside this file runs the full sizes."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import trust

LONG = (
    "four workers, one killed",
    "clock set back",
    "little memory",
    "flat memory",
    "odd paths",
    "kill -9 while results are replaced",
)
"""Lines that only `trust.py` runs."""
QUICK = ("failing system calls", "no room")


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=() if name in QUICK else pytest.mark.slow) for name in trust.LINES if name not in LONG],
)
def test_everything_tried_holds(name, lacking):
    # A process of its own: the children it forks must write to real files, not to what a test runner holds back.
    command = [sys.executable, trust.__file__, "--quick", name]
    root = Path(trust.__file__).parents[2]
    found = {**os.environ, "PYTHONPATH": str(root)}  # the packages beside these tests, installed or not
    run = subprocess.run(command, capture_output=True, text=True, cwd=root, env=found)
    if ": not run, " in run.stdout:
        lacking(run.stdout.strip())
    assert run.returncode == 0, run.stdout + run.stderr
    assert " held; " in run.stdout
