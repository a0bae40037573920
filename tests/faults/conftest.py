"""What the fault tests share: the modules beside this file by name, and skips that can be made failures."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def lacking():
    """Skip because the machine lacks something; a failure where GRAINWRIGHT_TEST_ALL=1."""

    def skip(reason):
        if os.environ.get("GRAINWRIGHT_TEST_ALL") == "1":
            pytest.fail(f"{reason}, and GRAINWRIGHT_TEST_ALL=1 allows no skip")
        pytest.skip(reason)

    return skip
