"""Errors of a plane's slopes: against closed forms, plain loops, and fractal ground made and coarsened on purpose."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from tunnelsite.kernels.terrain.plane_error import EXPONENTS, hidden_ground, second_difference_variance, slope_error
from tunnelsite.kernels.terrain.planes import rectangle_planes


def test_independent_errors_by_hand():
    """sigma / sqrt(sum u^2): 5 rows of u = -5..5 and 11 columns of v = -2..2 on cells of 1 m."""
    along, across = slope_error(11, 5, 1.0, 0.1, 0.0)
    assert (along, across) == pytest.approx((0.1 / np.sqrt(5 * 110), 0.1 / np.sqrt(11 * 10)), rel=1e-9)


def test_slope_error_from_lidar() -> None:
    """0.10 m (3DEP QL2 RMSEz), 29 x 9 independent cells of 1 m: 0.074 % along, 0.24 % across (error propagation; derived)."""
    along, across = slope_error(29, 9, 1.0, 0.10, 0.0)
    assert along == pytest.approx(0.00074, abs=5e-6) and across == pytest.approx(0.0024, abs=5e-5)
    assert along == pytest.approx(0.10 / np.sqrt(9 * 29 * (29**2 - 1) / 12), rel=1e-12)
    assert np.isnan(slope_error(1, 9, 1.0, 0.1, 0.0)[0])  # one cell along: no slope is defined


@pytest.mark.parametrize("size", [(29, 9), (7.5, 4.3)])
def test_slope_errors_match_simulation(size) -> None:
    """Fit pure noise many times: the spread of the slopes is the claimed error. Correlated errors: tests/decisions."""
    noise = np.random.default_rng(4).normal(0.0, 0.1, (900, 900)).astype(np.float32)
    got = rectangle_planes(noise, *size, 2.0)
    want = slope_error(*(2.0 * side for side in size), 2.0, 0.1, 0.0)
    for k, slope in enumerate((got.slope_along, got.slope_across)):
        assert np.nanstd(slope) == pytest.approx(want[k], rel=0.06)


@pytest.mark.parametrize("range_m", [0.0, 6.0])
def test_second_differences_of_errors(range_m: float) -> None:
    """6 - 8 rho + 2 rho(2 lag), by fields filtered from noise (their correlation: tests/decisions)."""
    from scipy.ndimage import gaussian_filter

    field = np.random.default_rng(5).normal(size=(700, 700))
    if range_m:
        field = gaussian_filter(field, range_m / 2, mode="wrap", truncate=6)
        field /= field.std()
    squares = (field[:, 8:] - 2 * field[:, 4:-4] + field[:, :-8]) ** 2
    assert second_difference_variance(4.0, range_m) == pytest.approx(squares.mean(), rel=0.03)


def fractal(exponent: float, side: int, seed: int) -> np.ndarray:
    """Ground with the spectrum k^-(2 + 2 H), periodic over its side."""
    k = np.hypot(*np.meshgrid(np.fft.fftfreq(side), np.fft.fftfreq(side), indexing="ij"))
    k[0, 0] = np.inf
    noise = np.fft.fft2(np.random.default_rng(seed).normal(size=(side, side)))
    return np.fft.ifft2(noise * k ** (-1 - exponent)).real


@pytest.mark.parametrize(("own", "exponent"), [(10, 0.7), (10, 1.2), (24, 0.9)])
def test_what_coarse_cells_hide_of_fractal_ground(own: int, exponent: float) -> None:
    """Fine ground, its means over cells of `own` m, these interpolated to 1 m: how far the slopes of a 29 m x 9 m plane part, per
    second difference of the coarse model, is what the integral over wave numbers says. Two grounds of 1 km: good to 6 %."""
    side, sums = 960, np.zeros(4)
    at = np.meshgrid(*2 * [(np.arange(side) + 0.5) / own - 0.5], indexing="ij")
    inner = slice(own, side - own)
    for seed in (1, 2):
        ground = fractal(exponent, side, seed)
        ground = (ground * (100 / np.ptp(ground))).astype(np.float32)
        blocks = ground.reshape(side // own, own, side // own, own).mean((1, 3))
        coarse = map_coordinates(blocks, at, order=1, mode="grid-wrap")
        true, model = rectangle_planes(ground, 29, 9, 1.0), rectangle_planes(coarse, 29, 9, 1.0)
        for k in (1, 2):
            sums[k - 1] += np.nanmean((true[k] - model[k])[inner, inner].astype(float) ** 2)
        for k, lag in ((2, own), (3, 2 * own)):
            for axis in (0, 1):
                difference = np.roll(coarse, lag, axis) - 2 * coarse + np.roll(coarse, -lag, axis)
                sums[k] += np.mean(difference**2) / 2
    found = hidden_ground(29.0, 9.0, 1.0, float(own))
    assert found.lag_cells == own
    pick = [np.interp(exponent, EXPONENTS, part) for part in (found.along, found.across, found.growth)]
    assert np.sqrt(sums[0] / sums[2]) == pytest.approx(np.sqrt(pick[0]), rel=0.06)
    assert np.sqrt(sums[1] / sums[2]) == pytest.approx(np.sqrt(pick[1]), rel=0.06)
    assert sums[3] / sums[2] == pytest.approx(pick[2], rel=0.1)
    claimed = found.slope_errors(sums[2] / 2, sums[3] / 2)
    assert claimed == pytest.approx(tuple(np.sqrt(sums[:2] / 2)), rel=0.1)


def test_nothing_hides_in_a_plane_and_the_unknown_stays_unknown() -> None:
    found = hidden_ground(30.0, 9.0, 1.0, 1.0)
    assert tuple(found.slope_errors(0.0, 0.0)) == (0.0, 0.0)
    assert np.isnan(found.slope_errors(np.nan, np.nan)).all()
    roughest = found.slope_errors(1.0, np.nan)
    assert roughest == (np.sqrt(found.along[0]), np.sqrt(found.across[0]))
    finer = hidden_ground(30.0, 9.0, 0.25, 1.0)  # cells finer than the model's own repeat it: no more is known
    assert (finer.along > 0.5 * found.along).all() and (finer.across > 0.5 * found.across).all()
