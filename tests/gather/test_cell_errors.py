"""The error of a plane told by the survey's points: on simulated clouds of known scatter the stated interval holds the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyproj
import pytest

from tests.gather.made import EAST, NORTH, UTM, middle_deg, plane
from tunnelsite.core.elevation_error import CELL_ERROR
from tunnelsite.core.grid import Grid, local_crs, transformer
from tunnelsite.core.house import House
from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.site import Frame
from tunnelsite.gather.gridded import CellGrid, ground_cells
from tunnelsite.kernels.terrain.planes import rectangle_planes
from tunnelsite.scan.localise import warped
from tunnelsite.scan.pitch_error import pitch_error, pitch_errors, stated_error

HALF_M = 75.0
HOUSE = House(6.0, 14.0)


def _cloud(per_m2: float, noise_m: float, seed: int):
    """Ground points on a plane; a quarter of them as dense in the western half."""
    random = np.random.default_rng(seed)
    count = int(per_m2 * (2 * HALF_M) ** 2)
    east, north = EAST + random.uniform(-HALF_M, HALF_M, count), NORTH + random.uniform(-HALF_M, HALF_M, count)
    kept = (east > EAST) | (random.random(count) < 0.25)
    east, north = east[kept], north[kept]
    return east, north, plane(east, north) + random.normal(0, noise_m, east.size)


def _frame(points, cell_m: float) -> Frame:
    """The gathered ground and its errors on a working grid, turned a little as land is to every ridge."""
    lattice = CellGrid.over(*points[:2], cell_m)
    found = ground_cells(*points, lattice)
    heights = SourceRaster((found.height - 200.0).astype(np.float32), lattice.affine, pyproj.CRS(UTM))
    side = round(1.7 * HALF_M / cell_m)
    here = local_crs(pyproj.CRS(UTM), *middle_deg()).to_wkt()
    grid = Grid(here, cell_m, side, side, -0.85 * HALF_M, 0.85 * HALF_M, 97.0)
    layers = {"ground": warped(heights, grid), CELL_ERROR: warped(replace(heights, values=found.error), grid)}
    frame = Frame(grid, 200.0, layers, {}, np.empty(0, object), [], -75.0, 43.0, dem_cell_m=cell_m)
    frame.error = stated_error(frame, None, None)
    return frame


def _true_ground(grid: Grid) -> np.ndarray:
    at = grid.to_map(*grid.centre(*np.indices(grid.shape)))
    return plane(*transformer(grid.crs_wkt, UTM).transform(*at)) - 200.0


def _off(frame: Frame) -> np.ndarray:
    """How far the slopes of houses side by side are off, in the standard errors that are stated of them [2, houses]."""
    cell, mask = frame.grid.cell_m, np.zeros(frame.grid.shape, bool)
    rows, cols = ((np.arange(reach, size * cell - reach, 2 * reach) / cell).astype(int)
                  for reach, size in zip((4, 8), mask.shape, strict=True))  # fmt: skip
    mask[np.ix_(rows, cols)] = True
    sizes = HOUSE.length_m / cell, HOUSE.width_m / cell, cell
    grounds = frame.ground, _true_ground(frame.grid).astype(np.float32)
    seen, true = (rectangle_planes(ground, *sizes) for ground in grounds)
    errors = pitch_errors(frame, HOUSE, frame.error, (0, frame.grid.rows), mask).both
    off = (seen.slope_along - true.slope_along)[mask], (seen.slope_across - true.slope_across)[mask]
    return np.array(off) / np.array(errors)


@pytest.mark.parametrize(("per_m2", "noise_m", "cell_m"), [(8.0, 0.03, 1.0), (2.0, 0.10, 1.0), (4.0, 0.06, 0.5)])
def test_nine_in_ten_slopes_lie_within_the_stated_interval(per_m2: float, noise_m: float, cell_m: float) -> None:
    off = np.concatenate([_off(_frame(_cloud(per_m2, noise_m, seed), cell_m)) for seed in range(3)], axis=1)
    assert off.shape[1] > 300
    assert 0.85 < np.mean(np.abs(off) < 1.645) < 0.95


def test_where_points_are_few_the_error_is_larger() -> None:
    frame = _frame(_cloud(4.0, 0.06, 5), 1.0)
    middle, cols = frame.grid.rows // 2, frame.grid.cols
    west, east = (pitch_error(frame, HOUSE, (middle, col), frame.error) for col in (cols // 4, 3 * cols // 4))
    assert west.elevation[0] > 1.5 * east.elevation[0]
    assert "by the scatter of the survey's points" in west.counted.words


def test_a_stated_error_rules() -> None:
    frame = _frame(_cloud(4.0, 0.06, 5), 1.0)
    stated = stated_error(frame, 0.2, 4.0)
    assert (stated.sd_m, stated.range_m, stated.measured) == (0.2, 4.0, False)


def test_where_no_cell_has_an_error_that_of_lidar_is_assumed() -> None:
    frame = _frame(_cloud(4.0, 0.06, 5), 1.0)
    bare = replace(frame, layers=frame.layers | {CELL_ERROR: frame.layers[CELL_ERROR].copy()})
    bare.layers[CELL_ERROR][:, : bare.grid.cols // 2] = np.nan
    at = bare.grid.rows // 2, bare.grid.cols // 5
    assumed = replace(bare, layers={"ground": bare.ground}, error=None, step_m=0.0)
    wanted = replace(stated_error(assumed, 0.10, 5.0))
    found = [pitch_error(one, HOUSE, at, error).elevation for one, error in ((bare, bare.error), (assumed, wanted))]
    assert found[0][0] >= 0.9 * found[1][0]
