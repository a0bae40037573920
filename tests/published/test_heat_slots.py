"""What the floor of a slot sees of the port."""

import numpy as np
from numpy.testing import assert_allclose

from physics.heat import gaps


def test_floor():
    # Christensen and Kipp 1974/75, read at second hand in a survey: exp(−1.00604 − 0.96104·ln(D/W)), not over 1; 0.5 %
    depth = np.array([0.2, 0.5, 1.0, 2.0, 4.0, 10.0])
    assert_allclose(gaps.floor_share(depth, 1.0), [1.000, 0.712, 0.366, 0.188, 0.0965, 0.040], rtol=5e-3)
    # the logarithm of the share is a straight line in that of depth over width
    deep = np.log(gaps.floor_share(np.array([1.0, 3.0, 9.0]), 1.0))
    assert_allclose(deep[2] - deep[1], deep[1] - deep[0], rtol=1e-12)
