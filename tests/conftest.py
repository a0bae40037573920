"""What the whole suite shares: tests marked `slow` run where everything is asked for, or where they are named.

A test is slow that takes more than some two seconds and whose promise a quicker test holds too, in part: full fault
lines, several processes at work, browser sweeps, large property runs. GRAINWRIGHT_TEST_ALL=1 runs everything.
"""

from __future__ import annotations

import pytest
from effort import EVERYTHING, examples
from hypothesis import settings

# Of a property that states no number of its own.
settings.register_profile("grainwright", max_examples=examples(100, 30), deadline=None)
settings.load_profile("grainwright")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the slow tests out, unless all are asked for or the command chooses by marker, name or node."""
    chosen = config.option.markexpr or config.option.keyword or any("::" in word for word in config.args)
    if chosen or EVERYTHING:
        return
    slow = [item for item in items if item.get_closest_marker("slow")]
    if slow:
        config.hook.pytest_deselected(items=slow)
        items[:] = [item for item in items if not item.get_closest_marker("slow")]
