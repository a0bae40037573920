"""What clubs, teams and codes ask of a flight: practice, told beside the figures; none of it is a standard of design.

Owns the table. Imports nothing.
"""

from __future__ import annotations

from typing import NamedTuple


class Practice(NamedTuple):
    """One usual demand: the figure it is about, the `least` it asks (SI; NaN where it is not one number), what is asked,
    who asks it, and how that is known ("read", "read at second hand", "remembered").
    """

    figure: str
    least: float
    asked: str
    source: str
    known: str


PRACTICE: tuple[Practice, ...] = (
    Practice("coldest_rail_exit_speed", 15.0, "15 to 20 m/s or more", "a maker of altimeters, on his page", "read"),
    Practice("coldest_rail_exit_speed", 10.0, "10 m/s or more", "flight rules of a club in Manching, Germany", "read"),
    Practice("coldest_rail_exit_speed", 30.48, "more than 100 ft/s", "a student team at the University of Waterloo", "read"),
    Practice("coldest_rail_exit_speed", 30.48, "100 ft/s, or 50 ft/s with proof of stability", "guide of a student competition",
             "remembered"),
    Practice("mean_thrust_to_weight", 5.0, "5; 4 in calm air; below 3 is called unsafe", "a maker of altimeters, on his page",
             "read"),
    Practice("mean_thrust_to_weight", 3.0, "3 or more", "safety codes of high-power rocketry", "remembered"),
    Practice("elevation", 1.2217305, "70 deg or more, in wind up to 20 mph", "California Code of Regulations, title 19, 1036",
             "read"),
    Practice("elevation", 1.0471976, "60 deg or more", "safety code of model rocketry", "read at second hand"),
    Practice("distance", float("nan"), "people a quarter of the highest expected altitude away, at least 1500 ft",
             "14 CFR 101.25(g), United States", "read at second hand"),
    Practice("static_margin", 1.5, "1.5 to 6 diameters", "a student team at the University of Waterloo", "read"),
    Practice("static_margin", 2.0, "2 diameters or more", "guide of a student competition", "remembered"),
)  # fmt: skip
"""Usual demands, the most widely taken first for each figure."""

SLOW_OFF_RAIL = 15.0
"""Rail exit speed below which a caution is due: the lower end of what is widely taken as the least. [m/s]"""
WEAK = 3.0
"""Mean thrust to weight below which a caution is due. [-]"""
