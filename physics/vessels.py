"""Thick tubes under pressure: stresses, first yield, collapse, burst, growth; formulas on arrays, no motor.

Symbols: K = outer diameter over bore. Sources: Lamé, Nadai, Faupel, each beside its formula. Imports numpy and
the array type of `physics.motors`.
"""

from __future__ import annotations

import numpy as np

from physics.motors import Array

# --- thick-wall theory -----------------------------------------------------------------------------------------------


def first_yield_pressure(yield_strength: Array, outer: Array, bore: Array) -> Array:
    """Pressure [Pa] at which the bore of a closed tube yields, p = (Sy/√3)(1 − 1/K²).

    Parameters
    ----------
    yield_strength : Array
        [Pa].
    outer : Array
        Outer diameter [m].
    bore : Array
        Bore [m].

    Returns
    -------
    Array
        [Pa]; arrays broadcast.

    Notes
    -----
    Von Mises with end load, any wall; exact from Lamé's elastic stresses.

    References
    ----------
    Faupel; Harvey, Pressure Vessel Design (remembered).
    """
    return np.asarray(yield_strength / np.sqrt(3.0) * (1.0 - np.square(np.divide(bore, outer))))


def collapse_pressure(yield_strength: Array, outer: Array, bore: Array) -> Array:
    """Pressure [Pa] at which the whole wall is plastic, p = (2/√3)·Sy·ln K.

    Parameters
    ----------
    yield_strength : Array
        [Pa].
    outer : Array
        Outer diameter [m].
    bore : Array
        Bore [m].

    Returns
    -------
    Array
        [Pa]; arrays broadcast.

    References
    ----------
    Nadai (remembered).
    """
    return np.asarray(2.0 / np.sqrt(3.0) * yield_strength * np.log(np.divide(outer, bore)))


def faupel_burst_pressure(yield_strength: Array, tensile_strength: Array, outer: Array, bore: Array) -> Array:
    """Burst pressure [Pa] of a thick tube, p = (2/√3)·Sy·ln K·(2 − Sy/Su).

    Parameters
    ----------
    yield_strength : Array
        [Pa].
    tensile_strength : Array
        [Pa].
    outer : Array
        Outer diameter [m].
    bore : Array
        Bore [m].

    Returns
    -------
    Array
        [Pa]; arrays broadcast.

    Notes
    -----
    Ductile metals; ±15 % or so.

    References
    ----------
    J. H. Faupel, Trans. ASME 78 (1956) (remembered).
    """
    return collapse_pressure(yield_strength, outer, bore) * (2.0 - np.divide(yield_strength, tensile_strength))


def burst_estimates(tensile_strength: Array, outer: Array, bore: Array) -> dict[str, Array]:
    """Other published estimates of burst [Pa] from the tensile strength alone; they differ by the radius they use.

    Parameters
    ----------
    tensile_strength : Array
        [Pa].
    outer : Array
        Outer diameter [m].
    bore : Array
        Bore [m].

    Returns
    -------
    dict of str to Array
        Estimates [Pa] by name; arrays broadcast.

    Notes
    -----
    "thin wall, bore": Su·t/r_i; "Barlow, outside": 2·Su·t/D; "Turner": Su·ln K; "pressure vessel code form":
    Su·t/(r_i + 0.6·t), with the strength in place of the allowable.

    References
    ----------
    ASME VIII-1 UG-27, for the pressure vessel code form.
    """
    wall, radius = 0.5 * (np.asarray(outer) - bore), 0.5 * np.asarray(bore)
    return {
        "thin wall, bore": np.asarray(tensile_strength * wall / radius),
        "Barlow, outside": np.asarray(2.0 * tensile_strength * wall / outer),
        "Turner": np.asarray(tensile_strength * np.log(np.divide(outer, bore))),
        "pressure vessel code form": np.asarray(tensile_strength * wall / (radius + 0.6 * wall)),
    }


def bore_growth(pressure: Array, outer: Array, bore: Array, modulus: Array, poisson: Array) -> Array:
    """Growth of the bore radius [m] under pressure [Pa], closed ends, elastic.

    Parameters
    ----------
    pressure : Array
        [Pa].
    outer : Array
        Outer diameter [m].
    bore : Array
        Bore [m].
    modulus : Array
        [Pa].
    poisson : Array
        Poisson's ratio [-].

    Returns
    -------
    Array
        [m]; arrays broadcast.

    Notes
    -----
    u = (p·r_i/E)·[(1 − 2ν) + (1 + ν)·K²]/(K² − 1).

    References
    ----------
    Lamé; Roark, thick cylinders, case 1b.

    Examples
    --------
    >>> float(bore_growth(1000.0, 3.0, 2.75, 9.9e6, 0.33).round(6))
    0.001405
    """
    square = np.square(np.divide(outer, bore))
    shape = ((1.0 - 2.0 * poisson) + (1.0 + poisson) * square) / (square - 1.0)
    return np.asarray(0.5 * pressure * bore / modulus * shape)


def outside_growth(pressure: Array, outer: Array, bore: Array, modulus: Array, poisson: Array) -> Array:
    """Growth of the outer radius [m], closed ends, elastic: p·r_o·(2 − ν)/(E·(K² − 1)).

    Parameters
    ----------
    pressure : Array
        [Pa].
    outer : Array
        Outer diameter [m].
    bore : Array
        Bore [m].
    modulus : Array
        [Pa].
    poisson : Array
        Poisson's ratio [-].

    Returns
    -------
    Array
        [m]; arrays broadcast.

    References
    ----------
    As `bore_growth`.
    """
    square = np.square(np.divide(outer, bore))
    return np.asarray(0.5 * pressure * outer / modulus * (2.0 - poisson) / (square - 1.0))
