"""Wind shelter against the rule in the sources and a slow reference."""

from __future__ import annotations

import math

import numba
import numpy as np
import pytest

from tunnelsite.kernels.air.wind_shelter import _add_shelter, barriers, wind_shelter


def shelter_behind(tangent):
    total = np.zeros(np.shape(tangent))
    _add_shelter(np.size(tangent), np.asarray(tangent, np.float64).ravel(), 1.0, total.reshape(-1))
    return total


def test_the_rule_by_distance_in_heights() -> None:
    """Full within 5 H [@windbreak-nrcs], protected to 10 H, some to 20-30 H [@windbreak-purdue], none beyond."""
    heights = np.array([0.5, 2, 5, 7.5, 10, 20, 30, 31, np.inf])
    assert shelter_behind(1 / heights) == pytest.approx([1, 1, 1, 0.75, 0.5, 0.25, 0, 0, 0], abs=1e-12)
    assert np.isnan(shelter_behind(np.array([np.nan]))).all()
    steps = shelter_behind(np.linspace(0, 1, 500))
    assert (np.diff(steps) >= 0).all()


@pytest.mark.parametrize(
    ("azimuth", "view"),
    [(270, lambda a: a), (90, lambda a: a[:, ::-1]), (0, lambda a: a.T), (180, lambda a: a.T[:, ::-1])],
)
def test_a_long_hedge_across_the_wind(azimuth, view) -> None:
    """Behind a 4 m hedge on level ground: 1 to 20 m, 0.5 at 40 m, 0.25 at 80 m, 0 from 120 m; nothing upwind of it."""
    standing = np.zeros((300, 300), np.float32)
    view(standing)[:, 100] = 4.0
    index = view(wind_shelter(np.zeros_like(standing), standing, 1.0, [azimuth], [1.0]))[150]
    edge = 101  # barriers are one cell wider: distances are to this cell
    for away, expected in ((5, 1.0), (19, 1.0), (40, 0.5), (80, 0.25), (119, 0.0125 / 4), (125, 0.0)):
        assert index[edge + away] == pytest.approx(expected, abs=0.01)
    assert (index[:98] == 0).all()
    assert (np.diff(index[edge:]) <= 1e-7).all()


def slow(ground, standing, azimuth, least=1.0):
    """Rays stepped finely through the widened barriers, heights between cells bilinear where all four stand."""
    top = np.full(ground.shape, np.nan)
    rows, cols = ground.shape
    for r in range(rows):
        for c in range(cols):
            near = [
                ground[i, j] + standing[i, j]
                for i in range(max(r - 1, 0), min(r + 2, rows))
                for j in range(max(c - 1, 0), min(c + 2, cols))
                if standing[i, j] >= least
            ]
            top[r, c] = max(near) if near else np.nan
    dr, dc = -math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))
    best = np.zeros(ground.shape)
    high = top.tolist()  # plain numbers: one at a time they are five times as quick
    for r in range(rows):
        for c in range(cols):
            for d in np.arange(0.5, rows + cols, 0.05).tolist():
                y, x = r + d * dr, c + d * dc
                i, j = math.floor(y), math.floor(x)
                if i < 0 or j < 0 or i + 1 >= rows or j + 1 >= cols:
                    break
                if (i, j) != (r, c):
                    f, g = y - i, x - j
                    z = (1 - f) * ((1 - g) * high[i][j] + g * high[i][j + 1]) + f * (
                        (1 - g) * high[i + 1][j] + g * high[i + 1][j + 1]
                    )
                    if not math.isnan(z):  # all four stand
                        best[r, c] = max(best[r, c], (z - ground[r, c]) / d)
    return top, shelter_behind(best)


@pytest.mark.parametrize("azimuth", [0, 37, 118, 251, 290])
def test_against_slow_rays(azimuth) -> None:
    rng = np.random.default_rng(azimuth)
    ground = (0.02 * np.mgrid[0:40, 0:44][0] + rng.normal(0, 0.1, (40, 44))).astype(np.float32)
    standing = np.zeros_like(ground)
    for _ in range(6):
        r, c = rng.integers(3, 36), rng.integers(3, 38)
        standing[r : r + rng.integers(1, 4), c : c + rng.integers(1, 4)] = rng.uniform(2, 9)
    top, expected = slow(ground, standing, azimuth)
    found = barriers(ground, standing, 1.0)
    assert np.array_equal(np.isnan(found), np.isnan(top)) and np.allclose(found, top, equal_nan=True, atol=1e-5)
    index = wind_shelter(ground, standing, 1.0, [azimuth], [1.0])
    away = np.abs(index - expected)
    assert np.median(away) < 0.002 and (away < 0.05).mean() > 0.93
    assert 0 < (index > 0.5).mean() < 1


def test_a_single_cell_never_slips_between_rays() -> None:
    standing = np.zeros((81, 81), np.float32)
    standing[40, 40] = 8.0
    flat = np.zeros_like(standing)
    for azimuth in range(0, 360, 7):
        index = wind_shelter(flat, standing, 1.0, [azimuth], [1.0])
        lee = math.radians(azimuth + 180)
        r, c = round(40 - 20 * math.cos(lee)), round(40 + 20 * math.sin(lee))
        assert index[r - 1 : r + 2, c - 1 : c + 2].max() == 1.0


def test_height_of_the_ground_counts_and_so_does_what_is_unknown() -> None:
    """On a knoll as high as the hedge there is no shelter; in a hollow of the same depth the hedge is twice as high."""
    standing = np.zeros((5, 200), np.float32)
    standing[:, 20] = 5.0
    ground = np.zeros_like(standing)
    ground[:, 95:], ground[:, 60:64], ground[0, 80] = -5.0, 5.0, np.nan
    index = wind_shelter(ground, standing, 1.0, [270], [1.0])[2]
    assert index[61] == 0.0
    assert index[121] == pytest.approx(0.5, abs=0.01)  # 100 m behind a top 10 m above: 10 H
    assert np.isnan(wind_shelter(ground, standing, 1.0, [270], [1.0])[0, 80])
    low = np.where(standing > 0, np.float32(0.9), np.float32(0))
    assert (wind_shelter(np.zeros_like(low), low, 1.0, [270], [1.0]) == 0).all()


def test_a_rose_is_the_mean_of_its_winds() -> None:
    rng = np.random.default_rng(3)
    ground = rng.normal(0, 0.1, (50, 60)).astype(np.float32)
    standing = np.where(rng.random((50, 60)) < 0.01, 6.0, 0.0).astype(np.float32)
    parts = [wind_shelter(ground, standing, 1.0, [a], [1.0]) for a in (30, 200)]
    both = wind_shelter(ground, standing, 1.0, [30, 200, 90], [3.0, 1.0, 0.0])
    assert np.allclose(both, 0.75 * parts[0] + 0.25 * parts[1], atol=1e-6)
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        assert np.array_equal(both, wind_shelter(ground, standing, 1.0, [30, 200, 90], [3.0, 1.0, 0.0]))
    finally:
        numba.set_num_threads(threads)
    with pytest.raises(ValueError):
        wind_shelter(ground, standing, 1.0, [30], [0.0])
