"""Every line of the trust table at its quick size; `trust.py` beside this file runs the full sizes."""

from __future__ import annotations

import pytest
import trust
from fault_common import Lacking

SLOW = (
    "four workers, one killed", "clock set back", "little memory", "flat memory", "odd paths", "kill -9 while results are replaced",
)
"""Lines that only `trust.py` runs, to keep the suite short."""


@pytest.mark.parametrize("name", [name for name in trust.LINES if name not in SLOW])
def test_everything_tried_holds(name, lacking):
    try:
        found = trust.tallies(trust.LINES[name][0]())
    except Lacking as why:
        lacking(str(why))
    assert found and all(tally.tried > 0 for tally in found)
    assert [failure for tally in found for failure in tally.failures] == []
