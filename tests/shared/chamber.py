"""The steady pressure of a chamber at a given Kn, from the table of segments that the steady kernel reads.

Imports numpy and physics.
"""

from __future__ import annotations

import numpy as np

from physics.ballistics.propellant import rate_coefficients, segment_table, switch_kn


def equilibrium_pressure(propellant, kn, temperature):
    """Lowest stable pressure [Pa] at `kn` (n,) or (n, T), burning area over throat area, in the shape of `kn`."""
    law = rate_coefficients(propellant, temperature)
    log_impedance = np.atleast_1d(np.log(propellant.density * propellant.characteristic_velocity))
    log_kn = np.log(np.asarray(kn, dtype=float))
    columns = log_kn[:, None] if log_kn.ndim == 1 else log_kn
    slope, offset = segment_table(law, log_impedance)
    switches = switch_kn(law, log_impedance)
    ends = np.stack([switches.log_upper[:, :-1], switches.log_lower[:, 1:]], axis=2).reshape(len(switches.log_upper), -1)
    segment = (columns[:, :, None] > ends[:, None, :]).sum(axis=2)
    slope, offset = (np.broadcast_to(table, (len(segment), table.shape[1])) for table in (slope, offset))
    log_pressure = np.take_along_axis(slope, segment, 1) * columns + np.take_along_axis(offset, segment, 1)
    return np.exp(log_pressure).reshape(log_kn.shape)
