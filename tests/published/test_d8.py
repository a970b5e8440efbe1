"""Published D8 grids [@d8-classic]."""

import numpy as np

from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells

CLASSIC = np.array(
    [[78, 72, 69, 71, 58, 49], [74, 67, 56, 49, 46, 50], [69, 53, 44, 37, 38, 48],
     [64, 58, 55, 22, 31, 24], [68, 61, 47, 21, 16, 19], [74, 53, 34, 12, 11, 12]], float,
)  # fmt: skip


def test_classic_grid_has_no_depression():
    assert np.array_equal(filled(CLASSIC), CLASSIC)


def test_directions_of_the_classic_grid():
    """Classic 6x6 grid (NWS/NOAA OHD GIS pages; rule of O'Callaghan & Mark 1984 / Jenson & Domingue 1988).

    The outlet is 0 or 4 by convention; here 0.
    """
    want = [[2, 2, 2, 4, 4, 8], [2, 2, 2, 4, 4, 8], [1, 1, 2, 4, 8, 4],
            [128, 128, 1, 2, 4, 8], [2, 2, 1, 4, 4, 4], [1, 1, 1, 1, 0, 16]]  # fmt: skip
    for dtype in (np.float32, np.float64, np.int16):
        assert np.array_equal(flow_direction(CLASSIC.astype(dtype), 30.0), want)


def test_interior_directions_as_printed():
    """Inner 4x4 of the same grid, as printed."""
    want = [[2, 2, 4, 4], [1, 2, 4, 8], [128, 1, 2, 4], [2, 1, 4, 4]]
    assert np.array_equal(flow_direction(CLASSIC, 1.0)[1:5, 1:5], want)


def test_accumulation_of_the_classic_grid():
    """Same grid, cells including the cell itself."""
    want = [[1, 1, 1, 1, 1, 1], [1, 2, 2, 3, 3, 1], [1, 4, 8, 6, 5, 1],
            [1, 1, 1, 21, 1, 2], [1, 1, 1, 2, 25, 1], [1, 3, 5, 8, 36, 2]]  # fmt: skip
    cells, open_edge = upslope_cells(flow_direction(CLASSIC, 1.0))
    assert np.array_equal(cells, want)
    # by hand: inside, only what springs and stays inside is not a lower bound
    assert np.argwhere(~open_edge).tolist() == [[3, 1], [3, 2], [3, 4], [4, 1], [4, 2], [4, 3]]


def test_plane_grid_drains_north():
    """Plane of 16 cells, inner cells all north: 64 here, by inspection."""
    plane = np.arange(10, 170, 10, dtype=float).reshape(4, 4)
    assert (flow_direction(plane, 1.0)[1:3, 1:3] == 64).all()
