"""Filling, flow directions and contributing area against slow references,
invariants and independent libraries.
"""

import math

import matplotlib.cbook
import numba
import numpy as np
import pytest
import richdem as rd
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.kernels.water.fill import filled, ponding_depth
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_area, upslope_cells, upslope_sum, wetness

STEP = {1: (0, 1), 2: (1, 1), 4: (1, 0), 8: (1, -1), 16: (0, -1), 32: (-1, -1), 64: (-1, 0), 128: (-1, 1)}
NEIGHBOURS = list(STEP.values())
ORDER = [1, 4, 16, 64, 2, 8, 32, 128]


def rough(rows, cols, seed, dtype=np.float32, levels=None, gaps=0.0):
    """Noise on hills; levels: so few heights that ties and flats abound; gaps:
    share of cells without data.
    """
    rng = np.random.default_rng(seed)
    ground = rng.normal(size=(rows, cols)) + np.cumsum(rng.normal(size=(rows, cols)), 1) * 0.5 + 300
    if levels:
        ground = rng.integers(0, levels, (rows, cols)).astype(float)
    ground = ground.astype(dtype)
    ground[rng.random((rows, cols)) < gaps] = np.nan
    return ground


def around(array, outside):
    """The eight neighbours of every cell, in the order of NEIGHBOURS."""
    padded = np.pad(array, 1, constant_values=outside)
    rows, cols = array.shape
    return np.stack([padded[1 + r : 1 + r + rows, 1 + c : 1 + c + cols] for r, c in NEIGHBOURS])


def borders_the_unknown(ground):
    return np.isnan(around(ground, np.nan)).any(0) & ~np.isnan(ground)


def filled_slowly(ground):
    """Lower water from the sky until nothing changes: the largest solution of w = max(ground,
    lowest w around).
    """
    ground = np.where(np.isinf(ground), np.nan, ground)
    water = np.where(borders_the_unknown(ground), ground, np.inf).astype(ground.dtype)
    while True:
        lowest = np.nanmin(np.concatenate([around(water, np.inf), water[None]]), axis=0)
        new = np.where(borders_the_unknown(ground), ground, np.fmax(ground, lowest))
        if np.array_equal(new, water):
            return np.where(np.isnan(ground), ground, water)
        water = new


def receiver(direction, r, c):
    """Where one cell drains to, or None."""
    code = int(direction[r, c])
    if code in (0, 255):
        return None
    return r + STEP[code][0], c + STEP[code][1]


def wrapped(ground):
    return rd.rdarray(ground.copy(), no_data=-9999, geotransform=[0, 1, 0, 0, 0, -1])


# ---------------------------------------------------------------- filling


@given(
    rows=st.integers(1, 14), cols=st.integers(1, 14), seed=st.integers(0, 10**6),
    levels=st.sampled_from([None, 2, 5]), gaps=st.sampled_from([0.0, 0.05, 0.4]),
    dtype=st.sampled_from([np.float32, np.float64]),
)  # fmt: skip
def test_filled_equals_the_slow_reference_to_the_bit(rows, cols, seed, levels, gaps, dtype):
    ground = rough(rows, cols, seed, dtype, levels, gaps)
    got = filled(ground)
    assert got.dtype == dtype
    assert np.array_equal(got, filled_slowly(ground), equal_nan=True)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("levels", [None, 3, 40])
def test_filled_equals_richdem_to_the_bit(dtype, levels):
    """Oracle: richdem FillDepressions without epsilon, ground without gaps."""
    ground = rough(311, 277, 5, dtype, levels)
    want = np.asarray(rd.FillDepressions(wrapped(ground), epsilon=False))
    assert (want > ground).mean() > 0.1
    assert np.array_equal(filled(ground), want)


def test_a_hole_in_the_data_is_an_outlet_here_but_a_lake_to_richdem():
    """A known departure: richdem fills a hole of no data inside the raster, no data values included."""
    ground = np.full((9, 9), 10, np.float32)
    ground[1:8, 1:8] = 5
    ground[4, 4] = np.nan
    assert np.array_equal(filled(ground), ground, equal_nan=True)  # drains into the hole
    flooded = np.asarray(
        rd.FillDepressions(wrapped(np.where(np.isnan(ground), np.float32(-9999), ground)), epsilon=False)
    )
    assert (flooded[1:8, 1:8] == 10).all()
    ground[4, 4] = 5
    assert (filled(ground) == 10).all()


@given(seed=st.integers(0, 10**6), levels=st.sampled_from([None, 4]))
def test_filled_invariants(seed, levels):
    ground = rough(17, 13, seed, levels=levels, gaps=0.04)
    full = filled(ground)
    assert np.array_equal(filled(full), full, equal_nan=True)
    assert (full >= ground)[~np.isnan(ground)].all()
    for turn in (np.fliplr, np.flipud, np.rot90, np.transpose):
        assert np.array_equal(filled(turn(ground)), turn(full), equal_nan=True)
    whole = np.round(ground)
    assert np.array_equal(filled(whole + 512), filled(whole) + 512, equal_nan=True)
    assert np.array_equal(filled(whole / 4), filled(whole) / 4, equal_nan=True)
    lower = ground.copy()
    lower[8, 6] -= 3
    assert (filled(lower) <= full)[~np.isnan(ground)].all()


def test_a_bowl_ponds_to_its_lip():
    ground = np.full((7, 7), 12.0)
    ground[2:5, 2:5] = 10.0
    ground[3, 3] = 9.0
    ground[0, 0] = ground[1, 1] = 11.25  # the lip, reached over a corner
    depth = ponding_depth(ground)
    assert depth[3, 3] == 2.25 and depth[2, 2] == 1.25 and depth[1, 1] == 0 and depth.sum() == 8 * 1.25 + 2.25
    assert np.array_equal(depth, ponding_depth(ground, filled(ground)))
    assert np.isnan(ponding_depth(np.array([[np.nan, 1.0]]))[0, 0])


def test_filled_leaves_its_input_alone_and_reads_whole_numbers():
    ground = matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"]
    kept = ground.copy()
    full = filled(ground)
    assert np.array_equal(ground, kept) and full.dtype == np.float64
    want = np.asarray(rd.FillDepressions(wrapped(ground.astype(np.float64)), epsilon=False))
    assert np.array_equal(full, want)  # open data: the Jacksboro fault DEM that matplotlib carries
    assert np.array_equal(filled(np.asfortranarray(ground)), full)


# ---------------------------------------------------------------- directions


def check_directions(full, direction, cell_m, cell_north_m):
    """Steepest where anything is lower; else level and by the fewest steps;
    else an outlet that borders the unknown.
    """
    distance = np.array([math.hypot(r * cell_north_m, c * cell_m) for r, c in NEIGHBOURS])
    fall = (full.astype(float) - around(full, np.nan)) / distance[:, None, None]
    steepest = np.nanmax(np.where(np.isnan(fall), -np.inf, fall), axis=0)
    unknown = borders_the_unknown(full)
    steps = np.full(full.shape, -1)  # steps over level ground to a cell that drains
    for r, c in np.ndindex(full.shape):
        if np.isnan(full[r, c]):
            assert direction[r, c] == 255
        elif steepest[r, c] > 0:
            falls = {code: fall[i, r, c] for i, code in enumerate(STEP)}
            ties = [code for code in ORDER if falls[code] == pytest.approx(steepest[r, c], rel=1e-14)]
            assert direction[r, c] == ties[0]
            steps[r, c] = 0
        elif unknown[r, c]:
            assert direction[r, c] == 0
            steps[r, c] = 0
    depth = 0
    while (steps == depth).any():
        for r, c in np.argwhere(steps == depth):
            for dr, dc in NEIGHBOURS:
                to = r + dr, c + dc
                inside = 0 <= to[0] < full.shape[0] and 0 <= to[1] < full.shape[1]
                if inside and steps[to] < 0 and full[to] == full[r, c]:
                    steps[to] = depth + 1
        depth += 1
    for r, c in np.argwhere(steps > 0):  # away from the edge: every neighbour is inside
        at = {code: (r + STEP[code][0], c + STEP[code][1]) for code in ORDER}
        nearer = [code for code, to in at.items() if full[to] == full[r, c] and steps[to] == steps[r, c] - 1]
        assert direction[r, c] == nearer[0]
    assert (steps >= 0)[~np.isnan(full)].all()


@given(
    rows=st.integers(1, 12), cols=st.integers(1, 12), seed=st.integers(0, 10**6),
    levels=st.sampled_from([None, 2, 6]), gaps=st.sampled_from([0.0, 0.1]), north=st.sampled_from([1.0, 1.7]),
)  # fmt: skip
def test_directions_follow_their_definition(rows, cols, seed, levels, gaps, north):
    full = filled(rough(rows, cols, seed, levels=levels, gaps=gaps))
    check_directions(full, flow_direction(full, 1.0, north), 1.0, north)


def test_richdem_goes_to_the_lowest_neighbour_we_go_down_the_steepest():
    """A known departure from richdem's D8, which leaves the longer way to a diagonal neighbour out of
    account.
    """
    ground = rough(120, 140, 3, np.float64)
    proportions = np.asarray(rd.FlowProportions(wrapped(ground), method="D8"))[1:-1, 1:-1]
    falls = proportions[..., 0] == 0
    theirs = np.array([16, 32, 64, 128, 1, 2, 4, 8])[proportions[..., 1:].argmax(-1)]
    lowest = np.array(list(STEP))[around(ground, np.inf).argmin(0)][1:-1, 1:-1]
    ours = flow_direction(ground, 1.0)
    assert np.array_equal(theirs[falls], lowest[falls])
    check_directions(filled(ground), flow_direction(filled(ground), 1.0), 1.0, 1.0)
    differ = falls & (theirs != ours[1:-1, 1:-1])
    assert np.isin(theirs[differ], (2, 8, 32, 128)).all()  # only where the lowest is a diagonal one
    # with diagonals as near as the others both rules are the same: drain along columns of cells set far apart
    rows_apart = flow_direction(ground, 1e9, 1.0)[1:-1, 1:-1]
    north_south = np.where(ground[:-2] < ground[2:], 64, 4)[:, 1:-1]
    down = np.minimum(ground[:-2], ground[2:])[:, 1:-1] < ground[1:-1, 1:-1]
    assert np.array_equal(rows_apart[down], north_south[down])


def test_level_ground_is_defined_and_repeatable():
    level = np.full((9, 11), 7.0)
    direction = flow_direction(level, 1.0)
    cells, _ = upslope_cells(direction)
    rim = np.ones(level.shape, bool)
    rim[1:-1, 1:-1] = False
    assert (direction[rim] == 0).all() and (direction[~rim] != 0).all()
    assert cells[direction == 0].sum() == level.size
    assert np.array_equal(direction, flow_direction(level, 1.0))
    check_directions(level, direction, 1.0, 1.0)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_level_ground_of_many_heights_over_many_blocks(dtype):
    """Its heights are shared out among threads: each flat in one share, whole, however far it reaches."""
    rng = np.random.default_rng(9)
    ground = np.repeat(np.repeat(rng.integers(-6, 6, (60, 4)), 5, 0), 6, 1).astype(dtype)  # terraces, some of them pits
    ground[:, 12:15] = np.where(rng.random((300, 3)) < 0.5, 0.0, -0.0)  # equal, though their bits are not
    full = filled(ground)
    direction = flow_direction(full, 1.0)
    check_directions(full, direction, 1.0, 1.0)
    pits = flow_direction(ground, 1.0)
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        assert np.array_equal(flow_direction(full, 1.0), direction)
        assert np.array_equal(flow_direction(ground, 1.0), pits)
    finally:
        numba.set_num_threads(threads)


def test_a_pit_that_was_not_filled_is_an_outlet():
    ground = np.array([[5, 5, 5, 5], [5, 1, 1, 5], [5, 5, 5, 5]], float)
    direction = flow_direction(ground, 1.0)
    assert direction[1, 1] == direction[1, 2] == 0
    assert upslope_cells(direction)[0][1, 1:3].sum() == 12


# ---------------------------------------------------------------- contributing area


def accumulated_slowly(direction, weights):
    """Walk every cell's water down to its outlet."""
    total = np.zeros(direction.shape)
    for r, c in np.argwhere(direction != 255):
        at = (r, c)
        while at is not None:
            total[at] += weights[r, c]
            at = receiver(direction, *at)
    return total


@given(
    rows=st.integers(1, 14), cols=st.integers(1, 14), seed=st.integers(0, 10**6),
    levels=st.sampled_from([None, 3]), gaps=st.sampled_from([0.0, 0.1]),
)  # fmt: skip
def test_upslope_equals_the_slow_reference(rows, cols, seed, levels, gaps):
    full = filled(rough(rows, cols, seed, levels=levels, gaps=gaps))
    direction = flow_direction(full, 1.0)
    cells, open_edge = upslope_cells(direction)
    assert np.array_equal(cells, accumulated_slowly(direction, np.ones(full.shape)))
    unknown = borders_the_unknown(full)
    assert np.array_equal(open_edge, accumulated_slowly(direction, unknown.astype(float)) > 0)
    assert cells[direction == 0].sum() == np.isfinite(full).sum()  # nothing is lost: conservation, no loops
    area, same = upslope_area(direction, 2.0, 3.0)
    assert np.array_equal(np.nan_to_num(area), cells * 6.0) and np.array_equal(same, open_edge)
    assert np.array_equal(np.isnan(area), np.isnan(full))


@given(seed=st.integers(0, 10**6))
def test_upslope_sum_of_weights(seed):
    full = filled(rough(13, 12, seed, gaps=0.05))
    weights = np.random.default_rng(seed).integers(0, 100, full.shape) / 8
    direction = flow_direction(full, 1.0)
    got = upslope_sum(direction, weights)
    # eighths add up exactly
    assert np.array_equal(np.nan_to_num(got), accumulated_slowly(direction, weights))
    assert np.array_equal(np.isnan(got), np.isnan(full))


def test_upslope_equals_richdem():
    """Oracle: richdem FlowAccumFromProps fed with our directions;
    it lets nothing flow out of the outermost cells.
    """
    full = filled(rough(300, 280, 4))
    direction = flow_direction(full, 1.0)
    direction[[0, -1]], direction[:, [0, -1]] = 0, 0
    proportions = np.full((*full.shape, 9), -1, np.float32)
    proportions[..., 0] = np.where(direction == 0, -1, 0)
    for column, code in enumerate((16, 32, 64, 128, 1, 2, 4, 8), 1):
        proportions[..., column][direction == code] = 1
    want = rd.FlowAccumFromProps(rd.rd3array(proportions, no_data=-2, geotransform=[0, 1, 0, 0, 0, -1]))
    assert np.array_equal(upslope_cells(direction)[0], np.asarray(want))


def test_threads_and_blocks_do_not_change_a_bit():
    ground = rough(500, 60, 21, gaps=0.001)  # several blocks of rows
    full = filled(ground)
    direction = flow_direction(full, 1.0)
    weights = np.random.default_rng(2).random(full.shape)
    many = (direction, *upslope_cells(direction), upslope_sum(direction, weights))
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = (flow_direction(full, 1.0), *upslope_cells(direction), upslope_sum(direction, weights))
    finally:
        numba.set_num_threads(threads)
    for a, b in zip(many, one, strict=True):
        assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f")
    np.testing.assert_allclose(np.nan_to_num(many[3]), accumulated_slowly(direction, weights), rtol=1e-12)


def test_a_river_through_many_blocks_arrives_whole():
    row = np.arange(1000)[:, None]
    ground = 1000.0 - row + 5.0 * np.abs(np.arange(5) - 2)
    cells, open_edge = upslope_cells(flow_direction(ground, 1.0))
    assert cells[-1, 2] == ground.size and open_edge[:, 2].all()
    assert np.array_equal(cells[:, 2], 5 * np.arange(1, 1001))


def test_water_from_beyond_the_edge_is_marked_and_only_that():
    row, col = np.mgrid[:41, :41]
    peak = 100.0 - np.hypot(row - 20, col - 20)  # sheds outwards: nothing comes in
    _, open_edge = upslope_cells(flow_direction(peak, 1.0))
    assert not open_edge[1:-1, 1:-1].any() and open_edge[0].all()
    peak[20, 20] = np.nan
    _, open_edge = upslope_cells(flow_direction(peak, 1.0))
    assert open_edge[19:22, 19:22].sum() == 8 and open_edge[1:-1, 1:-1].mean() > 0.05


# ---------------------------------------------------------------- wetness, refusals


def test_wetness_is_the_log_of_area_over_slope():
    area, tan_b = np.array([[400.0, 100.0, np.nan, 50.0]]), np.array([[0.05, 0.0, 0.1, np.nan]])
    got = wetness(area, tan_b, 2.0)
    assert got[0, 0] == pytest.approx(math.log(400 / 2 / 0.05))
    assert got[0, 1] == pytest.approx(math.log(100 / 2 / 0.001))
    assert np.isnan(got[0, 2:]).all()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: filled(np.zeros(4)), r"1 dimension"),
        (lambda: flow_direction(np.zeros((4, 4)), 0), r"cell_m is 0"),
        (lambda: upslope_cells(np.zeros((4, 4))), r"float64"),
        (lambda: upslope_cells(np.full((4, 4), 3, np.uint8)), r"16 cells hold no direction code"),
        (lambda: upslope_cells(np.array([[1, 16, 16]], np.uint8)), r"loop \(2 cells"),
        (lambda: upslope_sum(np.zeros((4, 4), np.uint8), np.zeros(4)), r"weights have shape \(4,\)"),
        (lambda: ponding_depth(np.zeros((4, 4)), np.zeros((1, 4))), r"shape \(1, 4\)"),
        (lambda: wetness(np.ones((2, 2)), np.ones((2, 2)), 1.0, 0.0), r"least_slope is 0.0"),
        (lambda: wetness(np.ones((2, 2)), np.ones(2), 1.0), r"slope \(2,\)"),
    ],
)
def test_nonsense_is_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize(
    ("trace", "kind"),
    [
        (filled, np.float32),
        (lambda ground: flow_direction(ground, 1.0), np.float32),
        (upslope_cells, np.uint8),
        (lambda codes: upslope_sum(codes, codes), np.uint8),
    ],
)
def test_more_cells_than_can_be_numbered_are_refused_before_any_memory_is_taken(trace, kind):
    """The kernels number cells with 32 bits: one more row than fits, of cells that share one byte."""
    cols = 46_339
    rows = (2**31 - 1) // (cols + 2) - 1
    with pytest.raises(ValueError, match=f"{rows} x {cols} cells are more than the 2147483647 .* use a larger cell"):
        trace(np.broadcast_to(kind(0), (rows, cols)))
