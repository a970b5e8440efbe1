"""Filling by catchments and saddles, and level ground, on the grounds that are hard for them: ties, islands, walks, blocks of rows."""

from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from tests.kernels.water.test_flow import accumulated_slowly, check_directions, filled_slowly
from tunnelsite.kernels.water import catchments, flow
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells

NAN = float("nan")
SHAPES = st.tuples(st.integers(1, 13), st.integers(1, 11))
# Heights that tie, in order and out of it, with cells of no data, infinite ones and both zeros among them.
TIES = st.sampled_from([0.0, -0.0, 1.0, 2.0, 3.0, 3.0, 4.0, 5.0, 7.0, NAN, float("inf")])


def drains(ground):
    """Filled ground, directions and areas are what their slow references say; the filled ground is returned."""
    full = filled(ground)
    np.testing.assert_array_equal(full, filled_slowly(ground))
    direction = flow_direction(full, 1.0)
    check_directions(full, direction, 1.0, 1.0)
    np.testing.assert_array_equal(upslope_cells(direction)[0], accumulated_slowly(direction, np.ones(full.shape)))
    return full


def in_blocks(rows):
    """Blocks of so few rows that small grounds have many of them."""
    return mock.patch.multiple(catchments, _BLOCK=rows), mock.patch.multiple(flow, _BLOCK=rows)


@given(ground=arrays.arrays(np.float32, SHAPES, elements=TIES), rows=st.sampled_from([1, 2, 3, 5, 128]))
def test_ties_gaps_and_blocks(ground, rows):
    fills, flats = in_blocks(rows)
    with fills, flats:
        drains(ground)


@given(ground=arrays.arrays(np.int16, SHAPES, elements=st.integers(-2, 2)), rows=st.sampled_from([1, 2, 128]))
def test_whole_numbers(ground, rows):
    fills, flats = in_blocks(rows)
    with fills, flats:
        assert drains(ground.astype(np.float64)).dtype == np.float64


@given(seed=st.integers(0, 10**6), rows=st.sampled_from([1, 2, 3, 4]))
def test_heights_that_all_differ(seed, rows):
    ground = np.random.default_rng(seed).permutation(11 * 14).reshape(11, 14).astype(np.float32)
    fills, flats = in_blocks(rows)
    with fills, flats:
        drains(ground)


@pytest.mark.parametrize("value", [0.0, -3.5, NAN])
@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (7, 1), (2, 2), (3, 3), (140, 5), (5, 140), (0, 4), (4, 0)])
def test_all_of_one_height(shape, value):
    ground = np.full(shape, value, np.float32)
    full = filled(ground)
    np.testing.assert_array_equal(full, ground)
    if full.size:
        check_directions(full, flow_direction(full, 1.0), 1.0, 1.0)


def test_islands_drain_on_their_own():
    ground = np.full((9, 12), NAN)
    ground[1:6, 1:6], ground[3, 3] = 5.0, 1.0  # a hollow in an island
    ground[7, 9] = 2.0  # one cell
    ground[2:5, 8:11], ground[3, 9] = 4.0, NAN  # a ring: its hole lets water out
    full = drains(ground)
    assert full[3, 3] == 5 and full[7, 9] == 2 and full[2, 8] == 4


def winding(rows, cols, fall):
    """A trench that winds over the whole ground, floor falling (or rising) along it, between walls."""
    ground, height = np.full((rows, cols), 1e6), 1000.0
    for k, row in enumerate(range(1, rows - 1, 2)):
        along = range(1, cols - 1) if k % 2 == 0 else range(cols - 2, 0, -1)
        for col in along:
            height += fall
            ground[row, col] = height
        if row + 2 < rows - 1:
            height += fall
            ground[row + 1, along[-1]] = height
    return ground


@pytest.mark.parametrize("fall", [-1.0, 0.0, 1.0])
@pytest.mark.parametrize("turn", range(4))
def test_long_ways_down(fall, turn):
    ground = winding(27, 12, fall)
    ground[1, 0] = 1000.0  # the one way out
    fills, flats = in_blocks(4)
    with fills, flats:
        drains(np.rot90(ground, turn))


@pytest.mark.parametrize("down", [(1, 1), (1, -1), (-1, 1), (-1, -1), (1, 0), (0, -1)])
def test_planes_fall_every_way(down):
    row, col = np.mgrid[:150, :9]
    ground = (-row * down[0] - col * down[1]).astype(np.float32)
    np.testing.assert_array_equal(filled(ground), ground)


def test_a_lake_over_many_blocks():
    """Level ground wider than a block of rows, with an island, drained over one lip."""
    ground = np.full((300, 20), 9.0, np.float32)
    ground[2:298, 2:18] = np.random.default_rng(3).random((296, 16)) * 4
    ground[140:150, 8:12] = 20
    ground[0:2, 5] = 6  # the lip
    full = filled(ground)
    assert (full[2:298, 2:18] == 6).mean() > 0.98
    direction = flow_direction(full, 1.0)
    check_directions(full, direction, 1.0, 1.0)
    assert upslope_cells(direction)[0][0, 5] > 296 * 16 - 60


def test_parts_of_a_ring():
    """Every set of neighbours: parts that do not touch, found by joining one by one."""
    more, steps = catchments._parts(100)
    at = list(zip(catchments._ROW.tolist(), catchments._COL.tolist(), strict=True))
    for bits in range(256):
        parts = []
        for k in (k for k in range(8) if bits >> k & 1):
            near = [
                part
                for part in parts
                if any(max(abs(at[k][0] - at[j][0]), abs(at[k][1] - at[j][1])) <= 1 for j in part)
            ]
            parts = [part for part in parts if part not in near] + [[k, *(j for part in near for j in part)]]
        assert more[bits] == max(len(parts) - 1, 0)
        firsts = [100 * at[k][0] + at[k][1] for k in sorted(min(part) for part in parts)]
        assert steps[bits, : len(parts)].astype(np.int64).tolist() == firsts
