"""The two sky views, which differ by a fifth: name yours."""

import numpy as np
import pytest

from tests.sun.horizons import flat_horizon
from tunnelsite.core.horizon import Horizon

TWELVE = Horizon(np.arange(0, 360, 30.0), np.array([7.9, 17.5, 3.8, 7.8, 10.9, 20.1, 23.8, 13.7, 7.0, 7.4, 21.2, 16.2]))


def test_twelve_horizons():
    """Solid angle, mean of 1 - sin h: 0.7746201. Cosine-weighted, mean of cos^2 h [@sky-view-dozier]: 0.9379188."""
    assert TWELVE.sky_fraction() == pytest.approx(0.7746201, abs=1e-6)
    assert TWELVE.sky_view() == pytest.approx(0.9379188, abs=1e-6)


def test_uniform_horizon():
    """cos^2 h and 1 - sin h at 30 deg: 0.75 and 0.50 (derived)."""
    ring = Horizon(np.arange(0, 360, 5.0), np.full(72, 30.0))
    assert ring.sky_view() == pytest.approx(0.75, abs=1e-12)
    assert ring.sky_fraction() == pytest.approx(0.50, abs=1e-12)
    assert flat_horizon().sky_view() == flat_horizon().sky_fraction() == 1.0


@pytest.mark.parametrize("theta", [5.0, 21.8, 45.0, 70.0])
def test_endless_wall(theta):
    """A wall without end, theta high at its nearest: level plane loses (1 - cos theta) / 2, the sky theta / 180 (closed forms, derived)."""
    azimuth = np.arange(0, 360, 0.25)
    towards = np.maximum(np.cos(np.radians(azimuth - 180)), 0)
    wall = Horizon(azimuth, np.degrees(np.arctan(np.tan(np.radians(theta)) * towards)))
    assert wall.sky_view() == pytest.approx(1 - (1 - np.cos(np.radians(theta))) / 2, abs=1e-6)
    assert wall.sky_fraction() == pytest.approx(1 - theta / 180, abs=1e-5)


def test_two_walls_are_a_street():
    """Both walls theta high: cos theta, the sky view of the middle of an endless street (closed form, derived)."""
    azimuth = np.arange(0, 360, 0.25)
    towards = np.abs(np.cos(np.radians(azimuth)))
    street = Horizon(azimuth, np.degrees(np.arctan(np.tan(np.radians(40.0)) * towards)))
    assert street.sky_view() == pytest.approx(np.cos(np.radians(40.0)), abs=1e-6)
