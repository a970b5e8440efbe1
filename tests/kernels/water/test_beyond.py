"""Water from beyond a part of a raster: against a slow search, cell by cell, for where each cell's water comes from."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kernels.water.test_flow import rough
from tunnelsite.kernels.water.beyond import carried, inside_cells, raised_edge, reached_from_beyond
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import CODE, COL_STEP, ROW_STEP, flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells

STEPS = {int(code): (int(r), int(c)) for code, r, c in zip(CODE, ROW_STEP, COL_STEP, strict=True)}


def path(direction, row, col):
    """Every cell below one, itself first."""
    found = [(row, col)]
    while direction[found[-1]] in STEPS:
        r, c = STEPS[direction[found[-1]]]
        found.append((found[-1][0] + r, found[-1][1] + c))
    return found


@settings(max_examples=40, deadline=None)
@given(
    rows=st.integers(3, 14),
    cols=st.integers(3, 14),
    seed=st.integers(0, 10**6),
    levels=st.sampled_from([None, 3]),
    gaps=st.sampled_from([0.0, 0.1]),
)
def test_reached_cells_are_those_below_a_cell_outside(rows, cols, seed, levels, gaps):
    direction = flow_direction(filled(rough(rows, cols, seed, np.float32, levels, gaps)), 1.0)
    inside = np.random.default_rng(seed).random((rows, cols)) < 0.7
    slow = np.zeros((rows, cols), bool)
    for row in range(rows):
        for col in range(cols):
            if not inside[row, col] and direction[row, col] != 255:
                for cell in path(direction, row, col):
                    slow[cell] = True
    np.testing.assert_array_equal(reached_from_beyond(direction, inside), slow & inside)


def lattice(shape, row_of, col_of, step):
    """Places of every `step`-th row and column by two plain functions of (row, col)."""
    r, c = np.mgrid[0 : shape[0] + step : step, 0 : shape[1] + step : step].astype(float)
    return row_of(r, c), col_of(r, c), step


def test_the_same_grid_shifted_by_whole_cells_carries_every_value_to_its_place():
    ground = np.ones((20, 30), np.float32)
    ground[3, 4] = np.nan
    values = np.arange(26 * 37, dtype=np.float32).reshape(26, 37) + 1
    reached = np.random.default_rng(2).random(values.shape) < 0.3
    is_open = np.random.default_rng(3).random(values.shape) < 0.3
    there = lattice(values.shape, lambda r, c: r + 0.5 - 4, lambda r, c: c + 0.5 - 5, 8)  # of cell centres
    back = lattice(ground.shape, lambda r, c: r - 0.5 + 4, lambda r, c: c - 0.5 + 5, 8)  # of cell corners
    inside = inside_cells(ground, *there, *values.shape)
    expected = np.zeros(values.shape, bool)
    expected[4:24, 5:35] = np.isfinite(ground)
    np.testing.assert_array_equal(inside, expected)
    area, edge = carried(values, reached & inside, is_open, ground, there, back)
    part = np.s_[4:24, 5:35]
    np.testing.assert_array_equal(area, np.where((reached & inside)[part], values[part], np.nan))
    np.testing.assert_array_equal(edge, is_open[part] & np.isfinite(ground))


def test_no_stream_is_lost_on_a_turned_finer_or_coarser_grid():
    """Whatever the grid, the greatest value of a neighbourhood comes through, and a line of reached cells stays one line."""
    values = np.zeros((60, 60), np.float32)
    reached = np.zeros(values.shape, bool)
    for k in range(8, 52):
        reached[k, 60 - k], values[k, 60 - k] = True, 1000 + k  # a stream down the diagonal
    for cell, degrees in ((1.0, 30.0), (0.4, 12.0), (2.3, 45.0)):
        size = int(40 / cell)
        sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))

        def to_raster(r, c, cell=cell, size=size, sine=sine, cosine=cosine):
            y, x = (r - size / 2) * cell, (c - size / 2) * cell
            return 30 + y * cosine - x * sine - 0.5, 30 + y * sine + x * cosine - 0.5

        def to_grid(r, c, cell=cell, size=size, sine=sine, cosine=cosine):
            y, x = r + 0.5 - 30, c + 0.5 - 30
            return (y * cosine + x * sine) / cell + size / 2, (x * cosine - y * sine) / cell + size / 2

        ground = np.zeros((size, size), np.float32)
        back = lattice(ground.shape, lambda r, c: to_raster(r, c)[0], lambda r, c: to_raster(r, c)[1], 4)
        there = lattice(values.shape, lambda r, c: to_grid(r, c)[0], lambda r, c: to_grid(r, c)[1], 4)
        inside = inside_cells(ground, *there, *values.shape)
        area, _ = carried(values, reached & inside, np.zeros_like(reached), ground, there, back)
        assert set(values[reached & inside]) >= set(area[np.isfinite(area)])
        rows, cols = np.nonzero(reached & inside)
        at = np.floor(np.array(to_grid(rows.astype(float), cols.astype(float)))).astype(int)
        assert (area[tuple(at)] >= values[rows, cols]).all() and len(rows) > 20
        r, c = np.nonzero(np.isfinite(area))
        places = np.array(to_raster(r + 0.5, c + 0.5))
        off = np.abs(places[0] + places[1] - 60) / np.sqrt(2)  # from the diagonal row + col = 60
        assert off.max() <= np.sqrt(0.5) * (1 + cell)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), levels=st.sampled_from([None, 5]))
def test_an_edge_raised_to_the_whole_raster_s_level_fills_hollows_that_are_cut(seed, levels):
    """A window filled with its edge raised is the window of the filled whole."""
    ground = rough(18, 20, seed, np.float64, levels, 0.0)
    depth = filled(ground) - ground
    window = ground[5:14, 4:17].copy()
    back = lattice(window.shape, lambda r, c: r - 0.5 + 5, lambda r, c: c - 0.5 + 4, 4)
    raised = raised_edge(window, depth, *back)
    inner = np.ones(window.shape, bool)
    inner[1:-1, 1:-1] = False
    assert np.array_equal(np.isfinite(raised), inner & (depth[5:14, 4:17] > 0))
    found = filled(np.fmax(window, raised))
    np.testing.assert_allclose(found, filled(ground)[5:14, 4:17], rtol=0, atol=4e-5)  # float32 at 300 m
    assert upslope_cells(flow_direction(found, 1.0))[0].min() >= 1
