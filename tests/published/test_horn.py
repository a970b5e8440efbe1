"""Published worked examples of Horn (1981) [@horn-worked]."""

import math

import numpy as np
import pytest

from tunnelsite.kernels.terrain.slope import aspect, hillshade, slope, slope_aspect


def test_slope_example():
    """Worked 3 x 3 window: dz/dx 0.05,
    dz/dy -3.8 (down the rows).
    """
    window = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], float)
    assert slope(window, 5.0)[1, 1] == pytest.approx(math.hypot(0.05, -3.8), rel=1e-12)
    assert slope(window, 5.0)[1, 1] == pytest.approx(3.80032, abs=1e-5)
    assert math.degrees(math.atan(slope(window, 5.0)[1, 1])) == pytest.approx(75.25762, abs=1e-4)
    assert slope(window.astype(np.float32), 5.0)[1, 1] == pytest.approx(3.80032, abs=1e-5)


def test_components_from_slope_and_aspect():
    """Same window: slope and downslope direction together give back dz/dx = 0.05 and dz/dy = -3.8."""
    steepness, downslope = slope_aspect(np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], float), 5.0)
    fall = math.radians(downslope[1, 1])
    assert -steepness[1, 1] * math.sin(fall) == pytest.approx(0.05, abs=1e-6)
    assert steepness[1, 1] * math.cos(fall) == pytest.approx(-3.8, abs=1e-6)


def test_aspect_example():
    """Worked 3 x 3 window: dz/dx -8.125, dz/dy -0.375."""
    window = np.array([[101, 92, 85], [101, 92, 85], [101, 91, 84]], float)
    assert aspect(window, 1.0)[1, 1] == pytest.approx(92.64, abs=0.005)


def test_hillshade_example():
    """Worked 3 x 3 window: 154 (154.0287 without rounding),
    sun at azimuth 315, altitude 45.
    """
    window = np.array([[2450, 2461, 2483], [2452, 2461, 2483], [2447, 2455, 2477]], float)
    assert math.atan(slope(window, 5.0)[1, 1]) == pytest.approx(1.26511, abs=1e-5)
    shade = hillshade(window, 5.0, 315, 45)[1, 1]
    assert shade == pytest.approx(154.0287, abs=1e-4)
    assert round(float(shade)) == 154


def test_noise_of_a_one_cell_slope():
    """Error propagation: independent unit errors give each component a standard deviation of
    sqrt(12)/8.
    """
    noise = np.random.default_rng(7).normal(size=(1500, 1500))
    steepness, downslope = slope_aspect(noise, 1.0)
    inside = (slice(1, -1), slice(1, -1))
    east = -steepness[inside] * np.sin(np.radians(downslope[inside]))
    north = -steepness[inside] * np.cos(np.radians(downslope[inside]))
    for component in (east, north):
        assert component.std() == pytest.approx(math.sqrt(12) / 8, rel=0.005)  # neighbours are correlated
