"""Drainage tile by tile equals drainage of the whole, to the bit: heights, directions, areas, lower bounds."""

import tracemalloc

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kernels.water.test_flow import rough
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.tile_frame import frame, numbers, perimeter, spots
from tunnelsite.kernels.water.tiled_drainage import tiled_drainage
from tunnelsite.kernels.water.upslope import upslope_cells


@pytest.fixture(autouse=True)
def one_thread():
    """Hundreds of tiny tiles: handing each to several threads takes longer than the work."""
    was = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(was)


def drained(ground, tile, cell_m=(1.0, 1.0)):
    """Heights, directions, counts and lower bounds put together from tiles; how many were looked at again."""
    dtype = np.float32 if ground.dtype == np.float32 else np.float64
    parts = [np.full(ground.shape, 77, kind) for kind in (dtype, np.uint8, np.int64, np.bool_)]
    written = np.zeros(ground.shape, int)

    def write(rows, cols, found):
        written[rows, cols] += 1
        for whole, part in zip(parts, found[1:], strict=True):
            whole[rows, cols] = part

    again = tiled_drainage(lambda rows, cols: ground[rows, cols], write, ground.shape, tile, cell_m)
    assert (written == 1).all()
    return parts, again


def check(ground, tile, cell_m=(1.0, 1.0)):
    parts, again = drained(ground, tile, cell_m)
    full = filled(ground)
    direction = flow_direction(full, *cell_m)
    for part, whole in zip(parts, (full, direction, *upslope_cells(direction)), strict=True):
        np.testing.assert_array_equal(part, whole)
    return parts, again


@settings(max_examples=25, deadline=None)
@given(
    rows=st.integers(1, 24),
    cols=st.integers(1, 24),
    tile=st.integers(2, 15),
    seed=st.integers(0, 10**6),
    levels=st.sampled_from([None, 2, 4, 9]),
    gaps=st.sampled_from([0.0, 0.02, 0.3, 0.9]),
    dtype=st.sampled_from([np.float32, np.float64]),
    north=st.sampled_from([1.0, 0.7]),
)
def test_tiles_equal_the_whole_to_the_bit(rows, cols, tile, seed, levels, gaps, dtype, north):
    check(rough(rows, cols, seed, dtype, levels, gaps), tile, (1.0, north))


def test_a_lake_and_a_bowl_over_many_tiles():
    """A level lake of 7 x 7 tiles with one way out, and a bowl whose only lip lies tiles away from its bottom."""
    lake = np.full((61, 61), 10.0, np.float32)
    lake[[0, -1]], lake[:, [0, -1]] = 20.0, 20.0
    lake[60, 47] = 9.0
    _, again = check(lake, 9)
    assert again > 0
    row, col = np.mgrid[0:61, 0:61]
    bowl = np.hypot(row - 30, col - 30).astype(np.float32)
    bowl[0, 0] = 17.25
    parts, _ = check(bowl, 8)
    assert parts[0][30, 30] == np.float32(30.0)  # the middle of an edge is the lowest lip


def test_a_spiral_that_crosses_every_tile_arrives_whole():
    """One channel winding inwards, falling outwards: all water leaves at its mouth."""
    ground, size = np.full((33, 33), 1000.0), 33
    r, c, dr, dc, path = 1, 0, 0, 1, []
    free = np.ones((size, size), bool)
    free[0] = False
    while True:
        path.append((r, c))
        free[r, c] = False
        ahead = (r + 2 * dr, c + 2 * dc)
        if not (0 < r + dr < size - 1 and 0 <= c + dc < size - 1) or not all(
            free[i, j] for i, j in [ahead] if 0 <= i < size and 0 <= j < size
        ):
            dr, dc = dc, -dr
            i, j = r + 2 * dr, c + 2 * dc
            if not free[r + dr, c + dc] or (0 <= i < size and 0 <= j < size and not free[i, j]):
                break
        r, c = r + dr, c + dc
    ground[tuple(np.array(path).T)] = np.arange(len(path))
    assert len(path) > 300
    parts, _ = check(ground, 4)
    assert parts[2][1, 0] >= len(path)


def test_no_data_at_the_joint_of_tiles_lets_water_out():
    ground = rough(24, 24, 5, np.float64)
    ground[7:9, 7:9] = np.nan  # the corner where four tiles meet
    ground[16, :] = np.inf
    check(ground, 8)


def test_perimeter_cells_are_numbered_once():
    for shape, tile in (((1, 1), 2), ((7, 11), 3), ((5, 1), 4), ((2, 9), 5), ((10, 10), 9)):
        of, found = frame(shape, tile), []
        for spot in spots(of):
            row, col = perimeter(spot.rows, spot.cols)
            assert len(set(zip(row.tolist(), col.tolist(), strict=True))) == row.size
            found.append(numbers(of, row + spot.row, col + spot.col))
        np.testing.assert_array_equal(np.concatenate(found), np.arange(of.first[-1]))
    assert numbers(frame((4, 4), 2), [-1, 4, 0], [0, 0, 4]).tolist() == [-1, -1, -1]


def test_memory_grows_with_the_tile_not_with_the_raster():
    """Heights are made as they are asked for. What Python and numpy hold is counted, what is inside a compiled kernel is not."""

    def heights(rows, cols):
        r, c = np.mgrid[rows, cols]
        return (np.sin(r * 0.11) * np.cos(c * 0.07) * 5 + (r * 7919 + c * 104729) % 13 * 0.05).astype(np.float32)

    def peak(size):
        tracemalloc.start()
        tiled_drainage(heights, lambda rows, cols, found: None, (size, size), 128, (1.0, 1.0))
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(128)  # compiles
    small, large = peak(256), peak(768)
    assert (
        large < small + 40 * 4 * 1024 * 1024 / 128 * 4
    )  # perimeters: a few tens of bytes a cell; cells are 16 times as many


def test_nonsense_is_refused_in_words():
    ground = np.zeros((4, 4))
    for tile in (1, 10**6):
        with pytest.raises(ValueError, match="expected 2 to 30000"):
            drained(ground, tile)
    with pytest.raises(ValueError, match="at least one row"):
        frame((0, 4), 2)
    with pytest.raises(ValueError, match="gave shape"):
        tiled_drainage(lambda rows, cols: ground, print, (4, 4), 2, (1.0, 1.0))
    with pytest.raises(ValueError, match="positive spacing"):
        tiled_drainage(lambda rows, cols: ground, print, (4, 4), 4, (0.0, 1.0))
