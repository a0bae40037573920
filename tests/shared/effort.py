"""How much a property test tries: more where everything is asked for (GRAINWRIGHT_TEST_ALL=1), less in a newcomer's run."""

from __future__ import annotations

import os

EVERYTHING = os.environ.get("GRAINWRIGHT_TEST_ALL") == "1"


def examples(full: int, quick: int) -> int:
    """Number of examples of a property."""
    return full if EVERYTHING else quick
