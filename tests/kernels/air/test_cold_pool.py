"""Cold-air pools on grounds worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.air.cold_pool import cold_pool_depth, smoothed
from tunnelsite.kernels.terrain.low_ground import depth_below_surroundings
from tunnelsite.kernels.water.fill import filled


def bowl(depth: float, size: int = 121, radius: float = 40.0) -> np.ndarray:
    r, c = np.mgrid[0:size, 0:size] - size // 2
    return np.minimum(depth * (np.hypot(r, c) / radius) ** 2, depth).astype(np.float32)


def test_a_bowl() -> None:
    """A paraboloid 3 m deep: the middle lies 3 m below the rim less the smoothing, a (s^2 / 6) = 0.03 m for s = 10 m."""
    depth = cold_pool_depth(bowl(3.0), 1.0, 10.0)
    assert depth[60, 60] == pytest.approx(3.0 - 3.0 / 40**2 * 100 / 6, abs=0.01)
    assert depth[10, 10] == pytest.approx(0.0, abs=1e-4)
    assert np.isfinite(depth).all()
    deeper = cold_pool_depth(bowl(4.0), 1.0, 10.0)
    assert (deeper >= depth - 1e-5)[np.isfinite(depth)].all()


def test_noise_of_the_heights_is_no_pool() -> None:
    """Errors of 10 cm on 1 m cells of a level field make hollows of some decimetres; at the scale of 10 m hardly any."""
    ground = np.random.default_rng(1).normal(0, 0.10, (200, 200)).astype(np.float32)
    assert (filled(ground) - ground).max() > 0.3
    assert np.nanmax(cold_pool_depth(ground, 1.0, 10.0)) < 0.1


def test_open_valleys_have_none_and_a_bank_across_dams_one() -> None:
    """[@frost-fao]: banks and roads dam cold air. A valley 4 % steep, bank 2 m high and 8 m wide across it."""
    r, c = np.mgrid[0:240, 0:120]
    valley = (0.04 * (240 - r) + 0.1 * np.abs(c - 60)).astype(np.float32)
    assert np.nanmax(cold_pool_depth(valley, 1.0, 10.0)) < 1e-3
    valley[150:158] += 2.0
    depth = cold_pool_depth(valley, 1.0, 10.0)
    assert 1.0 < depth[140:150, 60].max() < 2.0
    assert np.nanmax(depth[165:]) < 1e-3


def test_cells_of_another_size_and_what_is_unknown() -> None:
    fine = cold_pool_depth(np.repeat(np.repeat(bowl(3.0), 2, 0), 2, 1), 0.5, 10.0)
    assert fine[120:122, 120:122].mean() == pytest.approx(cold_pool_depth(bowl(3.0), 1.0, 10.0)[60, 60], abs=0.02)
    gap = bowl(3.0)
    gap[60, 60] = np.nan
    depth = cold_pool_depth(gap, 1.0, 10.0)
    assert np.isnan(depth[60, 60]) and np.isnan(depth).sum() == 1
    assert np.nanmax(depth) < 1e-6  # air leaves into the unknown: no pool is invented beside it
    coarse = cold_pool_depth(bowl(3.0, 41, 12.0), 30.0, 10.0)  # cells wider than the scale: not smoothed
    assert coarse[20, 20] == pytest.approx(3.0, abs=1e-5)


def test_edges_and_gaps_of_a_slope_make_no_hollow() -> None:
    r, c = np.mgrid[0:70, 0:90]
    slope = (0.08 * r - 0.05 * c).astype(np.float32)
    slope[30:41, 50:57], slope[:, 0] = np.nan, np.nan
    depth = cold_pool_depth(slope, 1.0, 10.0)
    assert np.array_equal(np.isnan(depth), np.isnan(slope)) and np.nanmax(depth) < 1e-4


def test_smoothing_against_the_slow_mean() -> None:
    rng = np.random.default_rng(2)
    ground = rng.normal(3, 1, (25, 30)).astype(np.float32)
    ground[rng.random(ground.shape) < 0.1] = np.nan
    fast = smoothed(ground, 5.0)
    for row in range(25):
        for col in range(30):
            part = ground[max(row - 2, 0) : row + 3, max(col - 2, 0) : col + 3]
            expected = np.nanmean(part) if np.isfinite(ground[row, col]) else np.nan
            assert fast[row, col] == pytest.approx(expected, abs=1e-5, nan_ok=True)


def test_an_infinite_height_is_no_data():
    ground = np.random.default_rng(6).random((30, 40)).astype(np.float32)
    ground[12, 20] = np.nan
    want = cold_pool_depth(ground, 1.0, 6.5)
    ground[12, 20] = np.inf
    np.testing.assert_array_equal(cold_pool_depth(ground, 1.0, 6.5), want)
    assert np.isnan(want).sum() == 1


def test_a_valley_that_stays_open_is_low_ground_and_a_slope_is_not():
    """Sides of 10 % fall to a floor 60 m wide and rise again: the floor lies (mean of the sides within 250 m) lower."""
    r, c = np.mgrid[0:80, 0:80]  # cells of 10 m
    valley = (0.02 * 10 * (80 - r) + 0.1 * np.fmax(np.abs(10.0 * (c - 40)) - 30, 0)).astype(np.float32)
    depth = depth_below_surroundings(valley, 25)
    across = 0.1 * np.fmax(np.abs(10.0 * np.arange(-25, 26)) - 30, 0)
    assert depth[40, 40] == pytest.approx(across.mean(), abs=1e-4)
    assert depth[40, 62] < depth[40, 52] < depth[40, 40]
    half = depth_below_surroundings(
        valley[:, :41], 25
    )  # the data end in the middle of the floor: the side that is known counts
    assert half[40, 40] == pytest.approx(across[:26].mean(), abs=1e-4) and np.isfinite(depth[0, 0])
    strip = np.full((80, 80), np.nan, np.float32)
    strip[38:42] = 1.0
    assert np.isnan(depth_below_surroundings(strip, 25)).all()


def test_low_ground_against_the_slow_mean():
    rng = np.random.default_rng(2)
    ground = rng.normal(300, 1, (25, 30)).astype(np.float32)
    ground[rng.random(ground.shape) < 0.2] = np.nan
    fast = depth_below_surroundings(ground, 3, 0.6)
    for row, col in np.ndindex(ground.shape):
        part = ground[max(row - 3, 0) : row + 4, max(col - 3, 0) : col + 4]
        known = np.isfinite(part).sum() >= 0.6 * 49 and np.isfinite(ground[row, col])
        expected = np.nanmean(part.astype(float)) - ground[row, col] if known else np.nan
        assert fast[row, col] == pytest.approx(expected, abs=1e-4, nan_ok=True)
