"""Map images lie where the ground lies: every pixel against an exact transformation (pyproj)."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from tunnelsite.core.grid import Grid, local_crs
from tunnelsite.desk.mercator import Sheet


@pytest.mark.parametrize("bearing", [90.0, 60.0, 0.0])
def test_pixels_show_the_cell_under_their_middle(bearing: float) -> None:
    wkt = local_crs(pyproj.CRS("EPSG:26917"), -78.1, 43.0).to_wkt()
    grid = Grid(wkt, 2.0, 300, 200, -180.0, 320.0, bearing)
    sheet = Sheet(grid)
    index, inside = sheet.cells
    rng = np.random.default_rng(1)
    rows, cols = rng.integers(0, sheet.rows, 500), rng.integers(0, sheet.cols, 500)
    west, south, east, north = sheet.bounds
    easting = west + (cols + 0.5) / sheet.cols * (east - west)
    northing = north - (rows + 0.5) / sheet.rows * (north - south)
    back = pyproj.Transformer.from_crs("EPSG:3857", wkt, always_xy=True)
    along, across = grid.from_map(*back.transform(easting, northing))
    row, col = (grid.north_m - across) / 2.0, (along - grid.west_m) / 2.0
    clear = np.minimum(np.abs(row - np.round(row)), np.abs(col - np.round(col))) > 1e-3  # of a cell's edge
    there = (row >= 0) & (col >= 0) & (row < grid.rows) & (col < grid.cols)
    assert (inside[rows, cols] == there)[clear].all() and there.any()
    chosen = clear & there
    assert (index[rows, cols][chosen] == (row.astype(int) * grid.cols + col.astype(int))[chosen]).all()


def test_sheet_covers_the_grid() -> None:
    wkt = local_crs(pyproj.CRS("EPSG:26917"), -78.1, 43.0).to_wkt()
    sheet = Sheet(Grid(wkt, 1.0, 50, 80, 0.0, 0.0, 30.0))
    index, inside = sheet.cells
    assert len(np.unique(index[inside])) > 0.95 * 50 * 80
