"""A coarse elevation model against the fine one of the same ground: how far its pitch may be off, and how far it says so.

The check is by our own kernels on both, so it tests what coarse cells lose, not the kernels. The ground is invented: hills, and
correlated roughness of 2 to 30 cm at scales of 3 to 60 m. docs/regions.md has the same for real ground.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.stats import spearmanr

from tunnelsite.core.elevation_error import error_model
from tunnelsite.kernels.terrain.planes import rectangle_planes
from tunnelsite.scan.pitch_error import pitch_errors

SIDE_M, CELL_M, LENGTH_M, WIDTH_M = 900, 2.0, 30.0, 9.0
EVERY = 23  # of the placements that are looked at: 289 of them


@pytest.fixture(scope="module")
def ground() -> np.ndarray:
    rng = np.random.default_rng(1)
    r, c = np.mgrid[0:SIDE_M, 0:SIDE_M]
    heights = 0.006 * c - 0.004 * r + 0.8 * np.sin(c / 45) + 0.5 * np.cos(r / 38)
    for scale, rms in ((3, 0.02), (8, 0.05), (20, 0.10), (60, 0.30)):
        rough = gaussian_filter(rng.normal(size=heights.shape), scale)
        heights = heights + rms * rough / rough.std()
    return heights + rng.normal(0, 0.02, heights.shape)


def judged(ground: np.ndarray, own_m: int, stated: tuple, error_m: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Pitches along and across [%] and their standard errors, of cells of `own_m` interpolated to the working cell; with errors
    of the cells' heights that are alike over one of them."""
    n = SIDE_M // own_m
    blocks = ground.reshape(n, own_m, n, own_m).mean((1, 3))
    if error_m:  # filtering by a Gaussian of s gives the correlation exp(-d^2 / (4 s^2)): s = range / 2
        error = gaussian_filter(np.random.default_rng(2).normal(size=blocks.shape), 0.5, mode="wrap")
        blocks = blocks + error_m * error / error.std()
    at = (np.arange(int(SIDE_M / CELL_M)) + 0.5) * CELL_M / own_m - 0.5
    fine = map_coordinates(blocks, np.meshgrid(at, at, indexing="ij"), order=1, mode="nearest").astype(np.float32)
    planes = rectangle_planes(fine, LENGTH_M / CELL_M, WIDTH_M / CELL_M, CELL_M)
    places = np.arange(40, fine.shape[0] - 40, EVERY)
    index = (places[:, None] * fine.shape[1] + places).ravel()
    grid = SimpleNamespace(cell_m=CELL_M, cols=fine.shape[1])
    frame = SimpleNamespace(ground=fine, dem_cell_m=own_m, grid=grid)
    model = error_model(*stated, own_m, CELL_M)
    every, house = np.ones(fine.shape, bool), SimpleNamespace(length_m=LENGTH_M, width_m=WIDTH_M)
    found = pitch_errors(frame, house, model, (0, len(fine)), every)
    errors = np.stack([part[index] for part in found.both])
    return 100 * np.stack([planes.slope_along.ravel()[index], planes.slope_across.ravel()[index]]), 100 * errors


def shares(ground: np.ndarray, own_m: int, stated: tuple, error_m: float = 0.0) -> tuple[float, float, float]:
    """Shares of placements whose steeper pitch is within one and two standard errors; rank correlation of the pitch."""
    fine, _ = judged(ground, 2, (0.0, None))
    coarse, error = judged(ground, own_m, stated, error_m)
    assert np.isfinite(fine).all() and np.isfinite(error).all()
    steeper = np.abs(coarse).argmax(0)[None]
    off = np.abs(np.take_along_axis(coarse - fine, steeper, 0)) / np.take_along_axis(error, steeper, 0)
    rank = spearmanr(np.abs(coarse).max(0), np.abs(fine).max(0)).statistic
    print(
        f"{own_m} m: within one {np.mean(off <= 1):.3f}, two {np.mean(off <= 2):.3f}, rank {rank:.3f}, median error {np.median(error):.3f} %"
    )
    return float(np.mean(off <= 1)), float(np.mean(off <= 2)), float(rank)


@pytest.mark.parametrize(("own_m", "least_rank"), [(5, 0.98), (10, 0.94), (30, 0.75)])
def test_what_coarse_cells_hide(ground, own_m: int, least_rank: float) -> None:
    """Means of the true ground, known to be without errors of their own. 68 and 95 % would be normal errors."""
    one, two, rank = shares(ground, own_m, (0.0, None))
    assert 0.58 <= one <= 0.93 and two >= 0.93 and rank >= least_rank


@pytest.mark.parametrize(("own_m", "error_m"), [(5, 0.1), (10, 0.3), (30, 0.5)])
@pytest.mark.parametrize("known", [True, False])
def test_errors_of_the_model_itself(ground, own_m: int, error_m: float, known: bool) -> None:
    """The same with errors of the heights, stated and left open: about as many as there should be, not all of them."""
    one, two, _ = shares(ground, own_m, (error_m if known else None, None), error_m)
    assert 0.55 <= one <= 0.93 and two >= 0.93


def lines_of_flight(rng: np.random.Generator, r: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Lines 250 m wide that lie to one another as lidar may [@usgs-swaths], 8 cm (RMS), blended over 10 m [m]."""
    way = rng.uniform(0, np.pi)
    across = (c * np.cos(way) + r * np.sin(way) + rng.uniform(0, 250)) / 250
    line = np.floor(across).astype(int) - int(np.floor(across.min()))
    heights, blend = rng.normal(0, 0.08 / np.sqrt(2), line.max() + 2), np.clip(across % 1 * 250 / 10, 0, 1)
    return heights[line + 1] * blend + heights[line] * (1 - blend)


def swaying(rng: np.random.Generator, r: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Errors of 5 cm, correlated over 80 m [m]."""
    sway = gaussian_filter(rng.normal(size=r.shape), 40 / (c[0, 1] - c[0, 0]), mode="wrap")
    return 0.05 * sway / sway.std()


@pytest.mark.parametrize("cell_m", [1.0, 5.0])
@pytest.mark.parametrize("errors_m", [lines_of_flight, swaying])
def test_a_smooth_model_is_not_taken_for_one_without_errors(cell_m: float, errors_m) -> None:
    """A plane with errors that are correlated over more than a house; of one cell against the next 3 mm show. Before, 0.02 % was stated along, and
    of swaying errors a quarter lay within twice that."""
    off, errors = [], []
    for seed in range(6):
        rng, side = np.random.default_rng(seed), 240
        r, c = np.mgrid[0:side, 0:side] * cell_m
        ground = 0.002 * c - 0.001 * r + errors_m(rng, r, c) + rng.normal(0, 0.003, r.shape)
        ground = ground.astype(np.float32)
        grid = SimpleNamespace(cell_m=cell_m, cols=side)
        frame = SimpleNamespace(ground=ground, dem_cell_m=cell_m, grid=grid)
        house = SimpleNamespace(length_m=LENGTH_M, width_m=WIDTH_M)
        every = np.ones(ground.shape, bool)
        found = pitch_errors(frame, house, error_model(None, None, cell_m, cell_m), (0, side), every)
        planes = rectangle_planes(ground, LENGTH_M / cell_m, WIDTH_M / cell_m, cell_m)
        some = np.s_[20:-20:5, 20:-20:5]
        off.append([planes.slope_along[some] - 0.002, planes.slope_across[some] - 0.001])
        errors.append([part.reshape(ground.shape)[some] for part in found.both])
    share = np.mean(np.abs(np.array(off)) <= 2 * np.array(errors), axis=(0, 2, 3))
    print(f"{errors_m.__name__}, {cell_m} m: within two {share.round(3)}, median {100 * np.median(errors):.3f} %")
    assert (share >= 0.95).all()
    assert np.median(errors) < 0.0017, "and it is not said to be worse than it is"
