"""Height above and distance from drainage against slow references (a library: test_by_pyflwdir.py)."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kernels.water.test_beyond import path
from tests.kernels.water.test_flow import rough
from tunnelsite.kernels.water.drainage_lines import distance_from_drainage, height_above_drainage
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.flow_beside import Water, flow_beside
from tunnelsite.kernels.water.upslope import upslope_cells


def drained(ground):
    """(ground, ponding, direction, contributing area in cells) as the process is given them."""
    full = filled(ground)
    direction = flow_direction(full, 1.0)
    cells = upslope_cells(direction)[0].astype(np.float32)
    cells[cells == 0] = np.nan
    return ground, full - ground, direction, cells


def slow_height(ground, ponding, direction, area, least, enough):
    found = np.full(ground.shape, np.nan)
    for row, col in np.argwhere(np.isfinite(ground)):
        way = path(direction, row, col)
        line = next((cell for cell in way if area[cell] >= least), None)
        end = way[-1] if line is None else line
        above = ground[row, col] - (ground[end] + ponding[end])
        if line is not None or above >= enough:
            found[row, col] = above
    return found


@settings(max_examples=60, deadline=None)
@given(
    rows=st.integers(1, 16), cols=st.integers(1, 16), seed=st.integers(0, 10**6),
    levels=st.sampled_from([None, 3]), gaps=st.sampled_from([0.0, 0.1]), least=st.integers(2, 40),
)  # fmt: skip
def test_height_is_that_of_the_path_followed_cell_by_cell(rows, cols, seed, levels, gaps, least):
    layers = drained(rough(rows, cols, seed, np.float32, levels, gaps))
    got = height_above_drainage(*layers[:3], layers[3] >= least, 1.0)
    np.testing.assert_allclose(got, slow_height(*layers, least, 1.0), atol=1e-4)


def test_a_valley_by_hand():
    """Sides of 5 % and a bed of 1 %: 20 cells from the bed lie 1 m above it, and a line 8 ha large begins where 8 ha drain."""
    r, c = np.mgrid[0:200, 0:101]
    ground = (0.01 * (200 - r) + 0.05 * abs(c - 50)).astype(np.float32)
    layers = drained(ground)
    line = layers[3] >= 5000.0
    height = height_above_drainage(*layers[:3], line, 1.5)
    assert height[150, 50] == 0.0
    assert height[100, 30] == pytest.approx(1.0, abs=0.15)  # water goes down a little on its way to the bed
    away = distance_from_drainage(line, np.isfinite(layers[3]), (1.0, 1.0), 200.0, 10.0)
    assert away[150, 30] == 20.0 and away[150, 50] == 0.0
    assert np.isnan(away[150, 0]) and np.isnan(away[0, 20])  # the edge is nearer: a line may run just beyond it


def test_heights_take_one_array_of_their_own_and_rasters_may_leave_memory_on_the_way(monkeypatch):
    monkeypatch.setattr("tunnelsite.kernels.water.drainage_lines._BAND_CELLS", 1 << 16)
    layers, rests = drained(rough(1500, 900, 2, np.float32, None, 0.0)), []
    line = layers[3] >= 500.0
    height_above_drainage(*layers[:3], line, 1.0)  # kernels are loaded
    tracemalloc.start()
    try:
        height = height_above_drainage(*layers[:3], line, 1.0, lambda: rests.append(1))
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 1.7 * height.nbytes and len(rests) > 20


def test_where_the_way_leaves_the_data_only_a_sufficient_bound_is_given():
    ground = np.tile(np.linspace(5, 0, 51, dtype=np.float32), (9, 1))  # falls 0.1 m a cell to the east, no line
    height = height_above_drainage(*drained(ground)[:3], np.zeros(ground.shape, bool), 1.5)
    assert np.isnan(height[4, 40]) and height[4, 20] == pytest.approx(3.0, abs=1e-4)


def test_directions_that_lead_nowhere_are_refused():
    ground = np.ones((4, 5), np.float32)
    loop = np.zeros((4, 5), np.uint8)
    loop[1, 1], loop[1, 2] = 1, 16
    out = [np.full((4, 5), code, np.uint8) for code in (1, 4, 16, 64, 2, 8, 32, 128)]
    for wrong in (loop, *out, np.full((4, 5), 3, np.uint8)):
        with pytest.raises(ValueError, match="nowhere"):
            height_above_drainage(ground, ground * 0, wrong, ground > 100, 1.0)
    with pytest.raises(ValueError, match="one shape"):
        height_above_drainage(ground, ground * 0, loop[:2], ground > 100, 1.0)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), length=st.floats(1, 9), width=st.floats(1, 6), reach=st.floats(0, 5))
def test_flow_beside_is_the_largest_of_all_cells_looked_at_one_by_one(seed, length, width, reach):
    rng = np.random.default_rng(seed)
    ground, area = rng.random((30, 25)).astype(np.float32), rng.random((30, 25)).astype(np.float32) ** 8 * 100
    area[rng.random(area.shape) < 0.05] = np.nan
    level = rng.random((12, 25)).astype(np.float32)
    level[3, 4] = np.nan
    got = flow_beside(Water(ground, area, 5.0, 0.3), level, (9, 21), (length, width), reach)
    r, c = np.mgrid[0:30, 0:25]
    for row in range(12):
        for col in range(25):
            off = np.fmax(abs(r - row - 9) - width / 2, 0), np.fmax(abs(c - col) - length / 2, 0)
            counts = (np.hypot(*off) <= reach) & (ground + np.float32(0.3) >= level[row, col]) & (area >= 5)
            want = np.nan if np.isnan(level[row, col]) else area[counts].max(initial=0.0)
            assert got[row, col] == pytest.approx(want, nan_ok=True)
