"""Gas behind the liner: what a leak or a by-pass brings there, and what it does to the tube.

A liner that is open at one end only fills and is still. Gas runs where there is a way out: past a seal, or from one gap in
the liner to another. Owns the mass flow of both ways, the film in the space that it runs through, and how far it reaches
before it has given up its heat. Not modelled: a jet through a leak that cuts its own way, soot that closes it.

Sources: laminar flow and films between parallel plates, any text on heat transfer (remembered); the rest is derived
here. Imports numpy, physics.heat.ring and physics.motors (the Array type).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from physics.heat.ring import Ring, Wall, ring_march
from physics.motors import Array

DISCHARGE = 0.8
"""Discharge coefficient of a short rough leak: judgement. [-]"""

LAMINAR = 2300.0
"""Reynolds number up to which the flow behind a liner is taken as laminar. [-]"""


@dataclass(frozen=True)
class Stream:
    """Gas running behind the liner, (n,): mass_flow [kg/s], reynolds [-], film [W/(m2 K)], reach [m], power [W].

    `reach` is the way in which it gives up all but a third of its heat, `power` what it carries in.
    """

    mass_flow: Array
    reynolds: Array
    film: Array
    reach: Array
    power: Array


def choked_leak(pressure: Array, area: Array, characteristic_velocity: Array, discharge: float = DISCHARGE) -> Array:
    """Flow of chamber gas out of a small hole, C_d·p·A/c*. [kg/s]

    Parameters
    ----------
    pressure : Array
        [Pa].
    area : Array
        Of the hole [m2].
    characteristic_velocity : Array
        [m/s].
    discharge : float, optional
        Discharge coefficient [-].

    Returns
    -------
    Array
        [kg/s]; arrays broadcast.

    Notes
    -----
    pressure [Pa], area [m2], characteristic_velocity [m/s]; arrays broadcast. Sonic flow, gas not cooled on its way.

    Examples
    --------
    >>> float((1e3 * choked_leak(4e6, 1e-6, 1450.0)).round(4))
    2.2069
    """
    return np.asarray(discharge * np.asarray(pressure, dtype=float) * area / characteristic_velocity)


def narrow_flow(
    pressure: Array, breadth: Array, gap: Array, length: Array, viscosity: Array, specific_constant: Array, temperature: Array
) -> Array:
    """Laminar flow of a gas through a narrow space into nothing, b·g³·p²/(24·μ·R_s·T·l). [kg/s]

    Parameters
    ----------
    pressure : Array
        At the entry [Pa].
    breadth : Array
        Of the space, round the tube [m].
    gap : Array
        Height of the space [m].
    length : Array
        Of the way [m].
    viscosity : Array
        Of the gas [Pa s].
    specific_constant : Array
        R/M of the gas [J/(kg K)].
    temperature : Array
        Of the gas [K].

    Returns
    -------
    Array
        [kg/s]; arrays broadcast.

    Notes
    -----
    pressure [Pa] at its entry; breadth b, gap g and length l [m]; viscosity [Pa s], specific_constant R_s [J/(kg K)] =
    R/M, temperature [K]. Parallel plates, ideal gas, one temperature throughout (any text).
    """
    return np.asarray(breadth * gap**3 * pressure**2 / (24.0 * viscosity * specific_constant * temperature * length))


def bypass_flow(density: Array, breadth: Array, gap: Array, drop: Array, viscosity: Array, length: Array) -> Array:
    """Flow behind a liner from one gap to another under the port's own pressure drop, ρ·b·g³·Δp/(12·μ·l). [kg/s]

    Parameters
    ----------
    density : Array
        Of the gas [kg/m3].
    breadth : Array
        Of the space, round the tube [m].
    gap : Array
        Behind the liner [m].
    drop : Array
        Of the pressure between the gaps [Pa].
    viscosity : Array
        Of the gas [Pa s].
    length : Array
        Between the gaps [m].

    Returns
    -------
    Array
        [kg/s]; arrays broadcast.

    Notes
    -----
    density of the gas [kg/m3], breadth (round the tube), gap behind the liner and length between the gaps [m], drop
    [Pa], viscosity [Pa s]. Laminar flow between parallel plates (any text); it grows with the cube of the gap.
    """
    return np.asarray(density * breadth * gap**3 * drop / (12.0 * viscosity * length))


def stream(
    mass_flow: Array,
    breadth: Array,
    gap: Array,
    viscosity: Array,
    conductivity: Array,
    specific_heat: Array,
    gas_rise: Array,
    prandtl: Array | float = 0.83,
) -> Stream:
    """What a flow behind the liner does there.

    Laminar (Re = 2·m/(b·μ) up to 2300): h = 4.86·k/2g, one side insulated; above: Nu = 0.023·Re^0.8·Pr^0.3 on 2g.

    Parameters
    ----------
    mass_flow : Array
        [kg/s]; arrays broadcast.
    breadth, gap : Array
        Of the space: across the flow and between liner and case [m].
    viscosity, conductivity, specific_heat, prandtl
        Of the gas [Pa s], [W/(m K)], [J/(kg K)], [-].
    gas_rise : Array
        Gas over the tube at the start [K].

    References
    ----------
    Fully developed flow between parallel plates with one side insulated; Dittus and Boelter (any text, remembered).

    Examples
    --------
    >>> found = stream(2.2069e-3, 0.138, 1e-4, 6.7e-5, 0.162, 2000.0, 2356.85)
    >>> float(found.reynolds.round(1)), float(found.film.round(0)), float((1e3 * found.reach).round(3))
    (477.4, 3937.0, 8.125)
    """
    flow = np.asarray(mass_flow, dtype=float)
    reynolds = 2.0 * flow / (breadth * viscosity)
    turbulent = 0.023 * reynolds**0.8 * np.asarray(prandtl) ** 0.3
    film = np.where(reynolds < LAMINAR, 4.86, turbulent) * conductivity / (2.0 * np.asarray(gap, dtype=float))
    return Stream(
        flow,
        np.asarray(reynolds),
        film,
        np.asarray(flow * specific_heat / (film * breadth)),
        np.asarray(flow * specific_heat * gas_rise),
    )


def entry_ring(
    wall: Wall, flow: Stream, share: Array, gas: Array, start: Array, duration: Array, after: Array | None = None
) -> Ring:
    """The tube where the gas meets it, heated as by a ring twice as wide as the gas reaches at its highest flow.

    Parameters
    ----------
    wall : Wall
        The wall, (n,).
    flow : Stream
        What runs behind the liner at its highest, (n,).
    share : Array
        Of it in each of equal steps [-], (steps, n); the film goes with the flow, so that the heat brought does.
    gas : Array
        Gas temperature [K], (n,).
    start : Array
        Temperature at the start [K], (n,).
    duration : Array
        What the steps take together [s], (n,).
    after : Array, optional
        Seconds after the end of the steps at which all is told too, as for `physics.heat.ring.ring_march`.

    Returns
    -------
    Ring
        Rises over the start [K], (instants, n).

    Notes
    -----
    Holds for the entry alone; further on the gas is cooler.

    References
    ----------
    `physics.heat.ring`; the arrangement is derived here.
    """
    return ring_march(
        wall, np.maximum(2.0 * flow.reach, 1e-6), flow.film * share, gas, start, np.maximum(duration, 1e-9), 0.0, after
    )
