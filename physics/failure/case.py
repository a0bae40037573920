"""The tube: yield, burst, axial stress, dilation, and what a weld or heat leaves of its strength.

Owns the strength of a part at service temperature, the heat-affected zone, and the end load a closure hands to the case.
Sources of the modes in `physics.failure.ladder.MODES`, of the formulas in `physics.vessels`. Imports numpy and, from
physics, constants, materials, missing, motors, nozzle and vessels.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from physics.ballistics.nozzle import divergence_factor, full_flow_coefficients, mach_from_area_ratio, pressure_ratio
from physics.constants import ZERO_CELSIUS
from physics.materials import ROOM_TEMPERATURE, WARMEST_WITHOUT_TABLE, Material
from physics.missing import Beyond, NotComputable, need
from physics.motors import Array, Case, Closure, Motors, Situation
from physics.vessels import bore_growth, burst_estimates, faupel_burst_pressure, first_yield_pressure

SHEAR_OVER_TENSILE = 0.6

"""Shear over tensile strength where no shear strength is given; 0.60 to 0.68 in the tables (MIL-HDBK-5J ratios)."""

LEAST_AFT_SHARE = 0.25

"""The nozzle's pull is never credited with more than three quarters of the aft end load."""

END_COLUMNS = {"forward": "forward_closure", "aft": "aft_closure"}


# --- strength of a part where it works -------------------------------------------------------------------------------


def service_temperature(motors: Motors) -> Array:
    """Temperature of case and closures at work: `case.service_temperature`, or room temperature where not given.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Array
        [K], (n,) or ().
    """
    given = motors.value("case.service_temperature")
    return np.asarray(ROOM_TEMPERATURE) if given is None else np.asarray(given)


def strength(motors: Motors, material: Material, what: str) -> Array:
    """Strength of a metal part at service temperature.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    material : Material
        Of the part.
    what : str
        "yield", "tensile", "shear" or "modulus".

    Returns
    -------
    Array
        [Pa], (n,) or ().

    Raises
    ------
    NotComputable
        Where the number, or its value at that temperature, is not known.

    Notes
    -----
    Shear falls with temperature as tensile strength does, and is 0.6 of it where the material gives none.
    """
    if material.kind in ("liner", "seal"):
        reason = f"{material.name} is a {material.kind} material, not one that carries load. {material.caution}"
        raise Beyond(reason.strip())
    at = service_temperature(motors)
    if what == "yield":
        _given(material, "yield_strength")
        value = material.yield_at(at)
    elif what == "modulus":
        value = _given(material, "elastic_modulus") * material.modulus_ratio(at)
    elif what == "tensile" or material.shear_strength is None:
        share = 1.0 if what == "tensile" else SHEAR_OVER_TENSILE
        value = share * _given(material, "tensile_strength") * material.ultimate_ratio(at)
    else:
        value = material.shear_strength * material.ultimate_ratio(at)
    if np.size(value) and np.all(np.isnan(value)):
        hot = float(np.min(at, initial=np.inf)) - ZERO_CELSIUS
        raise Beyond(f"the strength of {material.name} at case.service_temperature, {hot:.0f} degC, is not known")
    return np.asarray(value)


def _given(material: Material, name: str) -> float:
    number: float | None = getattr(material, name)
    if number is None:
        raise NotComputable(f"{name} of {material.name} is not known")
    return number


_SYMBOLS = {"yield_strength": "Sy", "tensile_strength": "Su", "shear_strength": "Ssu"}


def strength_note(motors: Motors, material: Material, *names: str) -> str:
    """The strengths used of a metal part in few words: "Su 290 MPa (42.1 ksi) x 0.859 at 120 °C, 6061-T6".

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    material : Material
        Of the part.
    *names : str
        Names of its strengths, as `Material` has them.

    Returns
    -------
    str
        The words.
    """
    at = float(np.max(service_temperature(motors)))
    derated = material.derating() is not None and at > WARMEST_WITHOUT_TABLE
    parts = []
    for name in names:
        number = getattr(material, name)
        if number is None:
            continue
        text = f"{_SYMBOLS[name]} {strength_text(number)}"
        if derated:
            ratio = material.yield_ratio if name == "yield_strength" else material.ultimate_ratio
            text += f" x {float(ratio(at)):.3f} at {at - ZERO_CELSIUS:.0f} °C"
        parts.append(text)
    typical = "" if material.basis == "minimum" else f" ({material.basis} strength)"
    return f"{', '.join(parts)}, {material.name}{typical}" if parts else ""


def source_note(motors: Motors, material: Material, name: str) -> str:
    """Where a strength comes from, and the table that temperature takes from it; said once for each material.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    material : Material
        Of the part.
    name : str
        Name of the strength, as `Material` has it.

    Returns
    -------
    str
        The words.
    """
    at = float(np.max(service_temperature(motors)))
    derating = material.derating() if at > WARMEST_WITHOUT_TABLE else None
    if derating is None:
        return material.source(name)
    ratio = material.yield_ratio if name == "yield_strength" else material.ultimate_ratio
    others = [f"{other} {float(ratio(at, other)):.3f}" for other in list(material.deratings)[1:]]
    text = f"at temperature by {derating.name}" + (f" (by {', '.join(others)})" if others else "")
    return sentences(material.source(name), text)


def other_part_note(motors: Motors, material: Material, *names: str) -> str:
    """Strengths of a part beside the case, with their source where the case, which names its own, is another metal.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    material : Material
        Of the part.
    *names : str
        Names of its strengths, as `Material` has them.

    Returns
    -------
    str
        The words.
    """
    case = motors.case
    own = case is None or case.material.name != material.name
    return sentences(strength_note(motors, material, *names), source_note(motors, material, names[0]) if own else "")


# --- heat-affected zone ----------------------------------------------------------------------------------------------


def heat_affected_at(motors: Motors, end: str, distance: Array | float) -> NDArray[np.bool_]:
    """Whether the metal within `distance` of one end of the case is heat-affected.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".
    distance : Array or float
        From the end of the case [m].

    Returns
    -------
    NDArray of bool
        (n,) or ().

    Notes
    -----
    A zone whose reach is not given is taken to cover the joint.
    """
    case = motors.case
    if case is None or not case.heat_affected or case.heat_affected_end not in (end, "both"):
        return np.asarray(False)
    if case.heat_affected_reach is None:
        return np.asarray(True)
    return np.asarray(case.heat_affected_reach > np.maximum(distance, 0.0))


def heat_affected_ratio(material: Material, what: str) -> float:
    """What a weld leaves of "yield" or of "tensile" (and shear) strength.

    Parameters
    ----------
    material : Material
        Of the part.
    what : str
        "yield", or else "tensile".

    Returns
    -------
    float
        [-].

    Raises
    ------
    NotComputable
        Where not known.
    """
    name = "heat_affected_yield_ratio" if what == "yield" else "heat_affected_ultimate_ratio"
    ratio: float | None = getattr(material, name)
    if ratio is None:
        raise NotComputable(f"{name} of {material.name} is not known: what a weld leaves of it cannot be said")
    return ratio


def joint_strength(motors: Motors, end: str, what: str, distance: Array | float) -> Array:
    """Strength of the case at a joint whose loaded metal begins `distance` from the end of the case.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".
    what : str
        "yield", "tensile" or "shear".
    distance : Array or float
        From the end of the case [m].

    Returns
    -------
    Array
        [Pa], (n,) or ().
    """
    material = need(motors, "case.material")
    value = strength(motors, material, what)
    affected = heat_affected_at(motors, end, distance)
    if not affected.any():
        return value
    return np.asarray(np.where(affected, heat_affected_ratio(material, what), 1.0) * value)


def _weakest(motors: Motors, what: str) -> Array:
    """Strength of the weakest ring of the tube: pressure is the same all along it, so that ring governs."""
    material = need(motors, "case.material")
    value = strength(motors, material, what)
    return heat_affected_ratio(material, what) * value if _case(motors).heat_affected else value


def _case(motors: Motors) -> Case:
    case: Case = need(motors, "case")
    return case


def is_heat_affected(motors: Motors, end: str) -> bool:
    """Whether the case has a weld zone at all.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        Not used here.

    Returns
    -------
    bool
        Whether it has.
    """
    return motors.case is not None and motors.case.heat_affected


# --- end load --------------------------------------------------------------------------------------------------------


def closure(motors: Motors, end: str) -> Closure:
    """The closure at "forward" or "aft".

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Closure
        As the file gives it.

    Raises
    ------
    NotComputable
        Names the table where it is not given.
    """
    found: Closure = need(motors, END_COLUMNS[end])
    return found


def seal_diameter(motors: Motors, end: str) -> Array:
    """Diameter that the pressure works on at one end: the widest that a seal of it bears on, or the bore.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Array
        [m], (n,).

    Notes
    -----
    Of several rings the widest counts, whichever gas meets first: should that one let go, the pressure works out to the
    next. A ring that gives no diameter seals the bore. Source: definition.
    """
    part = closure(motors, end)
    rings = () if part.seal is None else part.seal.series
    given = [ring.diameter for ring in rings if ring.diameter is not None]
    if len(given) < len(rings) or not rings:
        need(motors, "case")
        given.append(_case(motors).bore)
    widest = given[0]
    for other in given[1:]:
        widest = np.maximum(widest, other)
    return np.asarray(widest)


def vacuum_thrust_coefficient(motors: Motors) -> Array:
    """C_F of the nozzle in vacuum, flowing full.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Array
        [-], (n,).

    Notes
    -----
    (η·λ·γ·M_e² + 1)·(p_e/p)·ε.

    References
    ----------
    `physics.ballistics.nozzle`.
    """
    nozzle, gamma = motors.nozzle, motors.propellant.gamma
    expansion = np.square(nozzle.exit_diameter / nozzle.throat_diameter)
    mach = mach_from_area_ratio(expansion, gamma)
    efficiency = nozzle.efficiency * divergence_factor(nozzle.half_angle)
    return full_flow_coefficients(mach, pressure_ratio(mach, gamma), expansion, gamma, efficiency)


def throat_area(motors: Motors) -> Array:
    """Throat area at ignition.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.

    Returns
    -------
    Array
        [m2], (n,).
    """
    return np.asarray(0.25 * np.pi * np.square(motors.nozzle.throat_diameter))


def plain_end_load_area(motors: Motors, end: str) -> Array:
    """Area inside the seal diameter.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Array
        [m2], (n,).

    Notes
    -----
    (π/4)·d².
    """
    return np.asarray(0.25 * np.pi * np.square(seal_diameter(motors, end)))


def end_load_area(motors: Motors, end: str) -> Array:
    """End load over head-end pressure: what the retention of one end carries for each pascal.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".

    Returns
    -------
    Array
        [m2], (n,).

    Notes
    -----
    Forward, the area inside the seal. Aft, the momentum balance of the gas between the aft seal and the exit: pressure pushes
    the gas aft with p·A_seal and what leaves carries F_vac = C_F,vac·p·A_t, so closure and nozzle together are pushed aft by
    p·(A_seal − C_F,vac·A_t). This counts the drag of the gas on grains that rest on the aft closure, takes the chamber at head
    pressure, and leaves out ambient pressure and the momentum of the gas at the seal, each a few hundredths of the thrust at
    most. Less than a quarter of p·A_seal is never used.

    References
    ----------
    Derived: momentum theorem, as for thrust in Sutton & Biblarz, Rocket Propulsion Elements, ch. 2.
    """
    plain = plain_end_load_area(motors, end)
    if end != "aft":
        return plain
    relieved = plain - vacuum_thrust_coefficient(motors) * throat_area(motors)
    return np.asarray(np.maximum(relieved, LEAST_AFT_SHARE * plain))


def end_load_note(motors: Motors, end: str, pressure: Array) -> str:
    """For the aft end, the pressure that the plain bound p·A_seal would give; forward, nothing.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    end : str
        "forward" or "aft".
    pressure : Array
        That the end bears, the nozzle's pull counted [Pa], (n,).

    Returns
    -------
    str
        The words, or nothing.
    """
    if end != "aft":
        return ""
    bound = pressure * end_load_area(motors, end) / plain_end_load_area(motors, end)
    return f"pull of the nozzle counted; without it {pressure_text(bound)}"


def pressure_text(pressure: Array) -> str:
    """A pressure in both unit systems, for the notes of a single motor; three digits, as sure as any rung is.

    Parameters
    ----------
    pressure : Array
        [Pa]; the first one is told.

    Returns
    -------
    str
        In MPa and psi.

    Examples
    --------
    >>> pressure_text(np.array([71.82e6]))
    '71.8 MPa (10400 psi)'
    """
    value = float(np.ravel(pressure)[0])
    return f"{plain_digits(value / 1e6)} MPa ({plain_digits(value / 6894.757293168)} psi)"


def strength_text(strength: float) -> str:
    """A strength in both unit systems, as the handbooks of each print it.

    Parameters
    ----------
    strength : float
        [Pa].

    Returns
    -------
    str
        In MPa and ksi.

    Examples
    --------
    >>> strength_text(290e6)
    '290 MPa (42.1 ksi)'
    """
    return f"{plain_digits(strength / 1e6)} MPa ({plain_digits(strength / 6894757.293168)} ksi)"


def plain_digits(value: float) -> str:
    """A number to three digits, never with an exponent.

    Parameters
    ----------
    value : float
        Of any unit.

    Returns
    -------
    str
        The digits.

    Examples
    --------
    >>> plain_digits(10416.6), plain_digits(3.456), plain_digits(0.0)
    ('10400', '3.46', '0')
    """
    rounded = float(f"{value:.3g}")
    return f"{rounded:.0f}" if abs(rounded) >= 100.0 or rounded == 0.0 else f"{rounded:.3g}"


def sentences(*texts: str) -> str:
    """The texts that say something, one after the other."""
    return "; ".join(text for text in texts if text)


# --- rungs -----------------------------------------------------------------------------------------------------------


def case_yield(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the bore first yields, at its weakest ring and at service temperature.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    Array
        [Pa], (n,).
    """
    case = _case(motors)
    return first_yield_pressure(_weakest(motors, "yield"), case.outer_diameter, case.bore)


def case_burst(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the tube bursts (Faupel), at its weakest ring.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    Array
        [Pa], (n,).
    """
    case = _case(motors)
    return faupel_burst_pressure(_weakest(motors, "yield"), _weakest(motors, "tensile"), case.outer_diameter, case.bore)


def yield_away_from_weld(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the metal that no weld has touched yields.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    Array
        [Pa], (n,).
    """
    case = _case(motors)
    return first_yield_pressure(strength(motors, case.material, "yield"), case.outer_diameter, case.bore)


def burst_away_from_weld(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the metal that no weld has touched bursts (Faupel).

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    Array
        [Pa], (n,).
    """
    case = _case(motors)
    yields, breaks = strength(motors, case.material, "yield"), strength(motors, case.material, "tensile")
    return faupel_burst_pressure(yields, breaks, case.outer_diameter, case.bore)


def axial_stress(motors: Motors, situation: Situation) -> Array:
    """Head pressure at which the mean axial stress of the plain tube reaches yield.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    Array
        [Pa], (n,).

    Notes
    -----
    The stress is p/(K² − 1).
    """
    case = _case(motors)
    return np.asarray(_weakest(motors, "yield") * (np.square(case.outer_diameter / case.bore) - 1.0))


def dilation(motors: Motors, pressure: Array) -> Array:
    """Growth of the bore radius of the case under a pressure.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    pressure : Array
        [Pa], (n,).

    Returns
    -------
    Array
        [m], (n,).

    Raises
    ------
    NotComputable
        Where E is unknown.
    """
    case = _case(motors)
    modulus = strength(motors, case.material, "modulus")
    return bore_growth(pressure, case.outer_diameter, case.bore, modulus, np.asarray(_given(case.material, "poisson")))


def yield_note(motors: Motors, situation: Situation) -> str:
    """Strength used, where it comes from, and what a weld took; said here once for every rung of the case.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    str
        The words.
    """
    case = _case(motors)
    cold = "" if case.service_temperature is not None else "at room temperature, case.service_temperature is not given"
    return sentences(
        strength_note(motors, case.material, "yield_strength"),
        source_note(motors, case.material, "yield_strength"),
        _weld_note(motors, "yield"),
        cold,
        case.material.caution,
    )


def burst_note(motors: Motors, situation: Situation) -> str:
    """Strengths used, and the spread of other published estimates.

    Parameters
    ----------
    motors : Motors
        Batch of n motors, SI units.
    situation : Situation
        Not used here.

    Returns
    -------
    str
        The words.
    """
    case = _case(motors)
    estimates = burst_estimates(_weakest(motors, "tensile"), case.outer_diameter, case.bore)
    names = sorted(estimates, key=lambda name: float(np.max(estimates[name])))
    low, high = names[0], names[-1]
    from_, to = pressure_text(estimates[low]), pressure_text(estimates[high])
    spread = f"other estimates from {from_} ({low}) to {to} ({high})"
    strengths = strength_note(motors, case.material, "tensile_strength")
    return sentences(spread, strengths, _weld_note(motors, "tensile"))


def _weld_note(motors: Motors, what: str) -> str:
    case = _case(motors)
    if not case.heat_affected:
        return ""
    ratio = heat_affected_ratio(case.material, what)
    name = "heat_affected_yield_ratio" if what == "yield" else "heat_affected_ultimate_ratio"
    return f"x {ratio:.2f} in the heat-affected zone ({case.material.source(name)})"
