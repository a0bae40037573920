"""Room between parts cold and hot: sums by hand, and expansions against values of other books."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

from optimizer.inputs.motor import motor_from_text
from physics.fit import Clearance, HotFits, expanded, hot_fits
from physics.materials import material

STARTER = (files("optimizer") / "starter" / "motor.toml").read_text(encoding="utf-8")
PROPELLANT = (files("optimizer") / "starter" / "propellant.toml").read_text(encoding="utf-8")
OWN = {
    "[liner]\n": '[liner]\nexpansion = "15e-6 1/K"\ngap_behind = "0.1 mm"\n',
    'use = "propellant.toml"': 'use = "p.toml"',
}


def fits(tmp_path, *changes: tuple[str, str], expansion: str = 'expansion = "100e-6 1/K"\n') -> HotFits:
    """The starter motor with the builder's own expansions, and other text in place of some of its own."""
    text = STARTER
    for old, new in (*OWN.items(), *changes):
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "p.toml").write_text(PROPELLANT.replace("density =", f"{expansion}density =", 1))
    return hot_fits(motor_from_text(text, tmp_path / "motor.toml").motors)


def named(found: HotFits, place: str) -> Clearance:
    return next(one for one in found.clearances if one.place == place)


@pytest.mark.parametrize(
    ("place", "cold", "hot"),
    [
        # 20 K down, 15 K up. Bore 44·(1 − 472e-6) = 43.97923; sleeve 43.8·(1 − 300e-6) less 4·(1 − 300e-6) = 39.78806;
        # grain 39.6·(1 − 2000e-6) = 39.5208: 0.26726. Hot: 39.8·(1 + 225e-6) − 39.6·(1 + 1500e-6) = 0.149555.
        ("grain in liner", 0.26726, 0.149555),
        # 43.979232 − 43.78686; 44·(1 + 354e-6) − 43.8·(1 + 225e-6).
        ("liner in case", 0.192372, 0.205721),
        # 0.1 less 20 K of 43.9 mm between 23.6 and 2.9 per million: 0.018222; 15 K the other way: 0.013666.
        ("aft closure in case", 0.0817782, 0.1136664),
        # 2 + 20·(−280·23.6 + 53·23.6 + 210·100 + 15·2.9)/1e6, metal 22 + 9 + 22, nozzle 15; hot: three quarters, turned round.
        ("stack in case", 2.313726, 1.7647055),
    ],
)
def test_by_hand(tmp_path, place: str, cold: float, hot: float) -> None:
    found = named(fits(tmp_path), place)
    assert found.temperatures[0].tolist() == [293.15, 273.15, 308.15]
    assert found.drawn[0, 1:] * 1e3 == pytest.approx([cold, hot], abs=2e-6)


def test_a_sleeve_that_outgrows_the_bore_is_held_by_it(tmp_path) -> None:
    """60e-6: at 35 °C 43.99·1.0009 = 44.0296 is more than the bore's 44.0156; the inside is the bore's less two walls."""
    found = fits(
        tmp_path, ('expansion = "15e-6 1/K"', 'expansion = "60e-6 1/K"'), ('gap_behind = "0.1 mm"', 'gap_behind = "0.005 mm"')
    )
    assert named(found, "liner in case").drawn[0, 2] * 1e3 == pytest.approx(-0.014015, abs=2e-6)
    inside = 44 * (1 + 23.6e-6 * 15) - 4 * (1 + 60e-6 * 15)
    assert named(found, "grain in liner").drawn[0, 2] * 1e3 == pytest.approx(inside - 39.6 * 1.0015, abs=2e-6)


def test_tolerances_take_from_the_room(tmp_path) -> None:
    """A grain 0.1 mm wider, a wall 0.05 mm thicker: 0.1 and twice 0.05 less on the diameter."""
    more = '[tolerances]\ngrain_outer_diameter = {plus = "0.1 mm"}\nwall = {plus = "0.05 mm"}\n'
    text = STARTER[: STARTER.rindex("[tolerances]")]
    found = fits(tmp_path, (STARTER[len(text) :], more))
    one = named(found, "grain in liner")
    assert one.drawn[0, 0] - one.least[0, 0] == pytest.approx(0.2e-3, abs=1e-9)


def test_what_is_not_known_is_named(tmp_path) -> None:
    found = fits(tmp_path, expansion="")
    assert dict(found.not_assessed) == dict.fromkeys(("grain in liner", "stack in case"), "propellant.expansion is not given")
    assert {one.place for one in found.clearances} == {"liner in case", "forward closure in case", "aft closure in case"}


@pytest.mark.parametrize(
    ("name", "expansion", "within", "source"),
    [
        ("6061-T6", 23.6e-6, 0.01, "ASM handbook, 20 to 100 degC (remembered)"),
        ("6063-T6", 23.4e-6, 0.01, "ASM handbook, 20 to 100 degC (remembered)"),
        ("7075-T6", 23.6e-6, 0.02, "ASM handbook, 20 to 100 degC (remembered)"),
        ("2024-T3", 23.2e-6, 0.01, "ASM handbook, 20 to 100 degC (remembered)"),
        ("4130 normalised", 12.2e-6, 0.02, "ASM handbook, 0 to 100 degC (remembered)"),
        ("1018 cold drawn", 11.7e-6, 0.02, "ASM handbook, 0 to 100 degC (remembered)"),
        ("304 annealed", 17.3e-6, 0.02, "EN 10088-1 gives 16 to 17.3, ASM 17.2 (remembered)"),
        ("C360 brass", 20.5e-6, 0.03, "Copper Development Association (remembered)"),
    ],
)  # fmt: skip
def test_expansions_are_those_of_other_books(name: str, expansion: float, within: float, source: str) -> None:
    assert material(name).expansion == pytest.approx(expansion, rel=within), source


def test_a_metre_of_aluminium() -> None:
    """100 K make 1 m of pure aluminium, 23.1 per million, 2.31 mm longer; CRC Handbook (remembered)."""
    assert expanded(np.array(1.0), 23.1e-6, np.array(393.15)) - 1.0 == pytest.approx(2.31e-3)
