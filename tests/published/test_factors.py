"""Required factors beside published ones, and the cautions that go with them."""

from __future__ import annotations

import pytest

from physics.failure.ladder import DEFAULT_FACTORS

PUBLISHED = {
    # name: (on yield, on rupture); None where the source gives none
    "NASA-STD-5001B, prototype": (1.0, 1.4),  # S7-01, read at second hand
    "NASA-STD-5001B, protoflight": (1.25, 1.4),  # S7-02, read at second hand
    "NASA-TM-106943, untested joint": (1.25, 2.0),  # S7-05, read
    "NASA-TM-106943, tested joint": (1.1, 1.4),  # S7-05, read
    "NASA memorandum of 1963, manned motor case": (None, 1.25),  # S7-06, read at second hand
    "AIAA S-080": (1.25, 1.5),  # S7-08, remembered (weak): proof (1 + 1.5)/2, burst 1.5
    "MIL-STD-1522A approach A": (1.25, 1.5),  # S7-09, remembered (weak)
    "NASA-STD-5012": (1.1, 1.4),  # S7-11, remembered (weak)
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_defaults_are_no_lower_than_flight_practice(name: str) -> None:
    yields, rupture = PUBLISHED[name]
    assert yields is None or DEFAULT_FACTORS["yield"] >= yields
    assert rupture is None or DEFAULT_FACTORS["rupture"] >= rupture


def test_defaults_are_those_of_the_hobby_band() -> None:
    # S7-14, judgement from the rows above, not a citation: 1.5 on yield, 2.0 on rupture
    assert (DEFAULT_FACTORS["yield"], DEFAULT_FACTORS["rupture"]) == (1.5, 2.0)


def test_defaults_are_below_stationary_vessels() -> None:
    # S7-07, S7-12: pneumatic vessels 2.22 on burst (read at second hand), ASME VIII-1 3.5 on tensile (remembered):
    # a motor case is no vessel to stand beside, and the defaults must not be read as if it were
    assert DEFAULT_FACTORS["rupture"] < 2.22 < 3.5


@pytest.mark.parametrize(("burst", "expected"), [(1.5, 1.25), (2.0, 1.5), (4.0, 1.5)])
def test_proof_of_aiaa_s_080_lies_below_first_yield(burst: float, expected: float) -> None:
    # S7-08, remembered (weak): proof = min(1.5, (1 + burst)/2): 1.5 on yield takes it
    proof = min(1.5, (1 + burst) / 2)
    assert proof == expected <= DEFAULT_FACTORS["yield"]
