"""A coarse elevation model against the fine one of the same invented ground: how far its pitch and its standard error hold.

The check is by our own kernels on both, so it tests what coarse cells lose, not the kernels. The ground is invented: hills, and
correlated roughness of 2 to 30 cm at scales of 3 to 60 m. Other ground will give other shares.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.stats import spearmanr

from tunnelsite.kernels.coverage import slope_standard_error
from tunnelsite.kernels.planes import rectangle_planes

SIDE_M, CELL_M, LENGTH_M, WIDTH_M = 900, 2.0, 30.0, 9.0


@pytest.fixture(scope="module")
def ground() -> np.ndarray:
    rng = np.random.default_rng(1)
    r, c = np.mgrid[0:SIDE_M, 0:SIDE_M]
    heights = 0.006 * c - 0.004 * r + 0.8 * np.sin(c / 45) + 0.5 * np.cos(r / 38)
    for scale, rms in ((3, 0.02), (8, 0.05), (20, 0.10), (60, 0.30)):
        rough = gaussian_filter(rng.normal(size=heights.shape), scale)
        heights = heights + rms * rough / rough.std()
    return heights + rng.normal(0, 0.02, heights.shape)


def judged(ground: np.ndarray, own_m: int) -> tuple[np.ndarray, np.ndarray]:
    """Pitches along and across [%] and their standard errors, of cells of `own_m` interpolated to the working cell."""
    n = SIDE_M // own_m
    blocks = ground.reshape(n, own_m, n, own_m).mean((1, 3))
    at = (np.arange(int(SIDE_M / CELL_M)) + 0.5) * CELL_M / own_m - 0.5
    fine = map_coordinates(blocks, np.meshgrid(at, at, indexing="ij"), order=1, mode="nearest").astype(np.float32)
    cells = (LENGTH_M / CELL_M, WIDTH_M / CELL_M)
    _, along, across, rms, _ = rectangle_planes(fine, *cells, CELL_M)
    errors = slope_standard_error(np.asarray(rms), *cells, CELL_M)
    inner = np.s_[40:-40:3, 40:-40:3]
    pitch = 100 * np.stack([along[inner], across[inner]])
    return pitch, 100 * max(1.0, own_m / CELL_M) * np.stack([error[inner] for error in errors])  # as in scan.refine


@pytest.mark.parametrize(("own_m", "least_share", "least_rank"), [(5, 0.95, 0.98), (10, 0.88, 0.94), (30, 0.55, 0.75)])
def test_pitch_of_coarse_cells(ground, own_m: int, least_share: float, least_rank: float) -> None:
    fine, _ = judged(ground, 2)
    coarse, error = judged(ground, own_m)
    assert np.isfinite(fine).all() and np.isfinite(error).all()
    steeper = np.abs(coarse).argmax(0)[None]
    off = np.abs(np.take_along_axis(coarse - fine, steeper, 0))
    share = float(np.mean(off <= 2 * np.take_along_axis(error, steeper, 0)))
    rank = spearmanr(np.abs(coarse).max(0).ravel(), np.abs(fine).max(0).ravel()).statistic
    print(f"{own_m} m: rms {np.sqrt((off**2).mean()):.3f} %, within two standard errors {share:.3f}, rank {rank:.3f}")
    assert share >= least_share and rank >= least_rank
    if own_m == 30:  # docs/regions.md says that the standard error is too small here; a cure must change that page
        assert share < 0.88
