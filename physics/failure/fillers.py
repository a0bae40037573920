"""Weld metals by their filler: strengths, where they come from, and how they were had.

Owns the two tables. Imports nothing.
"""

from __future__ import annotations

MPA = 1e6
PSI = 6894.757293168

FILLERS: dict[str, tuple[float, str, str]] = {
    "4043": (170.0 * MPA, "EN 1999-1-1 Table 8.8, filler 4043A on 6061", "remembered"),
    "5356": (190.0 * MPA, "EN 1999-1-1 Table 8.8, filler 5356 on 6061", "remembered"),
    "ER70S-2": (482.6 * MPA, "AWS A5.18, least tensile strength 70 ksi", "remembered"),
    "ER70S-6": (482.6 * MPA, "AWS A5.18, least tensile strength 70 ksi", "remembered"),
    "ER80S-D2": (551.6 * MPA, "AWS A5.28, least tensile strength 80 ksi", "remembered"),
    "ER308L": (517.0 * MPA, "AWS A5.9 asks for none; 75 ksi is what makers state", "remembered"),
}
"""Strength of weld metal by its filler: Pa, where it comes from, and how it was had."""

ADM_SHEAR: dict[str, float] = {"4043": 11.5e3 * PSI, "5356": 17.0e3 * PSI}
"""Shear strength of filler metal [Pa], Aluminum Design Manual Table J.2.1 (remembered)."""
