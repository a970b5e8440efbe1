"""Planes and coverage of a rectangle against slow references, closed forms and invariants."""

import itertools

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from tests.kernels import reference
from tunnelsite.kernels.coverage import axis_weights, rectangle_moments
from tunnelsite.kernels.terrain.planes import Planes, rectangle_planes
from tunnelsite.kernels.tiles import TILE_ROWS

SIZES = [
    (7, 3),
    (7.26, 3.144),
    (6, 4),
    (5.0001, 3.9999),
    (1.5, 9.2),
    (12.4, 2.5),
    (3, 1),
    (4.5, 0.7),
    (0.6, 3.0),
]
size = st.floats(1.05, 8.0)


def rough(shape=(16, 21), seed=0, datum=300.0):
    rng = np.random.default_rng(seed)
    r, c = np.mgrid[: shape[0], : shape[1]]
    return datum + 0.08 * c - 0.05 * r + rng.normal(0.0, 0.3, shape)


def assert_planes(got, want, metres=2e-5):
    """float32 of a 300 m elevation is good to 0.015 mm; slopes, rms and crown are small numbers."""
    for name, a, b, tolerance in zip(Planes._fields, got, want, (metres, 1e-7, 1e-7, 1e-7, 2e-6), strict=True):
        np.testing.assert_allclose(a, b, rtol=3e-7, atol=tolerance, err_msg=name)


@given(st.floats(0.05, 60.0))
def test_weights_are_overlaps_and_sum_to_the_size(cells):
    weights = axis_weights(cells)
    assert weights.sum() == pytest.approx(cells, abs=1e-8)
    np.testing.assert_array_equal(weights, weights[::-1])
    np.testing.assert_allclose(weights, reference.coverage(cells)[1], atol=1e-9)


@pytest.mark.parametrize(("cells", "count", "end"), [(29.26, 31, 0.13), (30, 31, 0.5), (29, 29, 1.0), (0.9, 1, 0.9)])
def test_weights_of_known_sizes(cells, count, end):
    weights = axis_weights(cells)
    assert weights.size == count
    assert weights[0] == pytest.approx(end)


def test_a_rounded_unit_conversion_leaves_no_sliver():
    assert axis_weights(9.144 / 0.3048 - 1.0).size == axis_weights(29.0).size == 29


@pytest.mark.parametrize("bad", [0.0, -3.0, np.nan, np.inf])
def test_refuses_sizes_that_are_none(bad):
    with pytest.raises(ValueError, match="positive"):
        axis_weights(bad)


# Every type of ground, with ends of its own or without, is compiled for ten seconds: float64 is tried with such ends alone.
@pytest.mark.parametrize(
    ("size", "dtype"), [*((size, np.float32) for size in SIZES), *((size, np.float64) for size in SIZES if size[0] % 1)]
)
def test_equals_least_squares_at_every_placement(size, dtype):
    ground = rough().astype(dtype)
    want = reference.planes(ground, *size, 0.5)
    if size[1] <= 1:
        want[[2, 4]] = np.nan
    if size[0] <= 1:
        want[1] = np.nan
    assert_planes(rectangle_planes(ground, *size, 0.5), want)


@settings(max_examples=12, deadline=None)
@given(length=size, width=size, seed=st.integers(0, 1000))
def test_equals_least_squares_at_any_size_with_gaps(length, width, seed):
    ground = rough((13, 15), seed)
    ground[np.random.default_rng(seed).random(ground.shape) < 0.01] = np.nan
    assert_planes(rectangle_planes(ground, length, width, 1.0), reference.planes(ground, length, width, 1.0))


@pytest.mark.parametrize("size", [(5, 3), (4.5, 3), (5, 2.5), (5, 1), (1, 3)])
@pytest.mark.parametrize("columns", [5, 6, 11, 12, 13, 68, 69, 70, 133])
def test_any_number_of_placements_in_a_row(size, columns):
    """Rows are cut into eight runs of a multiple of eight: counts below, at and just above that."""
    ground = rough((5, columns), columns).astype(np.float32)
    want = reference.planes(ground, *size, 1.0)
    if size[1] <= 1:
        want[[2, 4]] = np.nan
    if size[0] <= 1:
        want[1] = np.nan
    assert_planes(rectangle_planes(ground, *size, 1.0), want)


@pytest.mark.parametrize("size", [(29, 9), (95, 29), (29.26, 9.144), (96, 30)])
def test_equals_filters_over_several_tiles(size):
    """Mean, slopes and rms by scipy's filters in float64 (as in the benchmark), on ground of 1500 m with steps in it."""
    ground = rough((300, 2200), 3, 1500.0).astype(np.float32)
    ground[:, 1100:] += 40.0
    got = rectangle_planes(ground, *size, 1.0)
    inside = ~np.isnan(got.mean_m)
    assert inside.sum() == (300 - 2 * (axis_weights(size[1]).size // 2)) * (
        2200 - 2 * (axis_weights(size[0]).size // 2)
    )
    want = filtered_planes(ground.astype(float), *size, 1520.0)
    for a, b, most in zip(got, want, (7e-5, 1e-7, 1e-7, 1e-5), strict=False):
        np.testing.assert_allclose(a[inside], b[inside], rtol=2e-6, atol=most)


def filtered_planes(ground, length, width, datum):
    along, across = axis_weights(length), axis_weights(width)
    u, v = np.arange(along.size) - along.size // 2, np.arange(across.size) - across.size // 2
    moments, z = rectangle_moments(length, width), ground - datum

    def over(layer, down, right):
        return ndimage.correlate1d(ndimage.correlate1d(layer, down, 0, mode="constant"), right, 1, mode="constant")

    mean = over(z, across, along) / moments.area
    slope_u, slope_v = over(z, across, along * u) / moments.along, over(z, across * v, along) / moments.across
    square = over(z * z, across, along) / moments.area - mean**2
    square -= (slope_u**2 * moments.along + slope_v**2 * moments.across) / moments.area
    return mean + datum, slope_u, -slope_v, np.sqrt(np.maximum(square, 0.0))


def test_a_plane_comes_back_exactly():
    r, c = np.mgrid[:60, :80]
    ground = 812.5 + 0.03 * c * 0.5 + 0.011 * -r * 0.5
    got = rectangle_planes(ground, 29.26, 9.144, 0.5)
    inside = ~np.isnan(got.mean_m)
    assert inside.sum() == (60 - 10) * (80 - 30)
    np.testing.assert_allclose(got.slope_along[inside], 0.03, rtol=2e-7)
    np.testing.assert_allclose(got.slope_across[inside], 0.011, rtol=2e-7)  # rows run south: + is up to the north
    assert got.rms_m[inside].max() < 1e-6
    assert np.abs(got.crown_m[inside]).max() < 1e-9


def test_crown_of_a_parabolic_ridge():
    # z = h (1 - (2 v / W)^2): the middle stands h above the long edges, by definition.
    v = np.arange(41) - 20.0
    ground = np.repeat((0.15 * (1 - (2 * v / 9.144) ** 2))[:, None], 50, axis=1)
    assert rectangle_planes(ground, 29.26, 9.144, 1.0).crown_m[20, 25] == pytest.approx(0.15, rel=1e-6)
    assert rectangle_planes(-ground, 29.26, 9.144, 1.0).crown_m[20, 25] == pytest.approx(-0.15, rel=1e-6)


def test_mirror_and_half_turn():
    ground = rough()
    one, east_west = (
        rectangle_planes(ground, 7.3, 4.2, 1.0),
        rectangle_planes(ground[:, ::-1].copy(), 7.3, 4.2, 1.0),
    )
    north_south = rectangle_planes(ground[::-1].copy(), 7.3, 4.2, 1.0)
    signs = {"slope_along": (-1, 1), "slope_across": (1, -1)}
    for k, name in enumerate(Planes._fields):
        a, b = signs.get(name, (1, 1))
        np.testing.assert_allclose(east_west[k][:, ::-1] * a, one[k], rtol=1e-6, atol=1e-8)
        np.testing.assert_allclose(north_south[k][::-1] * b, one[k], rtol=1e-6, atol=1e-8)


def test_lifting_the_ground_by_5000_m_lifts_the_mean_only():
    ground = np.round(rough() * 4096) / 4096  # survives + 5000 m unrounded
    low, high = rectangle_planes(ground, 7.3, 4.2, 1.0), rectangle_planes(ground + 5000.0, 7.3, 4.2, 1.0)
    np.testing.assert_allclose(high.mean_m, low.mean_m.astype(float) + 5000.0, rtol=1.2e-7)
    for k in range(1, 5):
        np.testing.assert_array_equal(high[k], low[k])


def test_feet_and_metres_agree():
    ground = rough()
    metres, feet = (
        rectangle_planes(ground, 7.3, 4.2, 1.0),
        rectangle_planes(ground / 0.3048, 7.3, 4.2, 1.0 / 0.3048),
    )
    for k, scale in enumerate((0.3048, 1.0, 1.0, 0.3048, 0.3048)):
        np.testing.assert_allclose(feet[k] * scale, metres[k], rtol=3e-6, atol=1e-7)


@pytest.mark.parametrize("size", [(29.26, 9.144), (30, 96), (29, 9)])
def test_any_block_of_rows_and_any_threads_give_the_same_bits(size):
    ground = rough((3 * TILE_ROWS + 37, 2300)).astype(np.float32)
    ground[200:204, 900:1100] = np.nan
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = rectangle_planes(ground, *size, 1.0)
    finally:
        numba.set_num_threads(before)
    whole = rectangle_planes(ground, *size, 1.0)
    cuts = [0, 1, 50, TILE_ROWS, TILE_ROWS + 1, 300, 301, ground.shape[0]]
    blocks = [rectangle_planes(ground, *size, 1.0, (a, b)) for a, b in itertools.pairwise(cuts)]
    for k in range(5):
        np.testing.assert_array_equal(one[k], whole[k])
        np.testing.assert_array_equal(np.concatenate([block[k] for block in blocks]), whole[k])
    assert np.isnan(whole.mean_m[196:208, 890:1110]).all()


def test_a_gap_takes_exactly_the_placements_that_cover_it():
    ground = rough((60, 90)).astype(np.float32)
    ground[30, 44] = np.nan
    got = np.isnan(rectangle_planes(ground, 8.5, 3, 1.0).mean_m)
    want = np.ones(ground.shape, bool)
    want[1:-1, 4:-4] = False
    want[29:32, 40:49] = True  # 8.5 cells: 7 whole, 0.75 either end
    np.testing.assert_array_equal(got, want)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, -3.4e38, 1e6])
def test_absurd_cells_do_not_spoil_their_neighbours(bad):
    clean = rough((60, 400)).astype(np.float32)
    dirty = clean.copy()
    dirty[30, 200] = bad
    a, b = rectangle_planes(clean, 9.5, 5, 1.0), rectangle_planes(dirty, 9.5, 5, 1.0)
    far = ~np.isnan(b.mean_m)
    assert far.sum() == (~np.isnan(a.mean_m)).sum() - 5 * 11
    for k in range(5):
        np.testing.assert_array_equal(a[k][far], b[k][far])


def test_no_drift_along_20000_cells():
    rng = np.random.default_rng(2)
    ground = (1500.0 + np.cumsum(rng.normal(0, 0.2, (40, 20_000)), axis=1)).astype(np.float32)
    got = rectangle_planes(ground, 96, 30, 1.0)
    want = reference.planes(ground[:, -140:], 96, 30, 1.0)
    assert_planes([layer[:, -140:][15:25, 60:80] for layer in got], want[:, 15:25, 60:80], metres=1.3e-4)


@pytest.mark.parametrize("shape", [(3, 50), (50, 3), (0, 5), (1, 1), (9, 29)])
def test_small_arrays(shape):
    got = rectangle_planes(np.zeros(shape, np.float32), 29, 9, 1.0)
    assert (~np.isnan(got.mean_m)).sum() == (1 if shape == (9, 29) else 0)


def test_writes_into_given_arrays_and_refuses_others():
    ground = rough().astype(np.float32)
    out = Planes(*(np.zeros((10, 21), np.float32) for _ in range(5)))
    got = rectangle_planes(ground, 7, 3, 1.0, (3, 13), out)
    assert got.mean_m is out.mean_m
    np.testing.assert_array_equal(got.mean_m, rectangle_planes(ground, 7, 3, 1.0).mean_m[3:13])
    with pytest.raises(ValueError, match="out must hold"):
        rectangle_planes(ground, 7, 3, 1.0, (3, 14), out)
    with pytest.raises(ValueError, match="rows"):
        rectangle_planes(ground, 7, 3, 1.0, (5, 99))
    with pytest.raises(ValueError, match="float32 or float64"):
        rectangle_planes(ground.astype(int), 7, 3, 1.0)
    with pytest.raises(ValueError, match="coarser cell"):
        rectangle_planes(ground, 5000, 3, 1.0)


def test_moments_in_closed_form():
    assert rectangle_moments(29, 9).along == pytest.approx(9 * 29 * (29**2 - 1) / 12)
