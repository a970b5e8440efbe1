"""Mean, extremes and relief under a rectangle against slow references and invariants."""

import itertools

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kernels import reference
from tunnelsite.kernels.tiles import TILE_ROWS
from tunnelsite.kernels.windows import rectangle_max, rectangle_mean, rectangle_min


def slow(layer, length, width):
    out = np.full((4, *layer.shape), np.nan)
    for r, c, z, w, _, _ in reference.windows(layer, length, width):
        out[:, r, c] = np.average(z, weights=w), z.max(), z.min(), z.max() - z.min()
    return out


def rough(shape, seed=0):
    return np.random.default_rng(seed).normal(100.0, 5.0, shape).astype(np.float32)


@pytest.mark.parametrize("size", [(1, 1), (7, 3), (7.3, 3.2), (6, 4), (0.4, 2.5), (16, 1.5), (33.2, 17)])
def test_equals_the_slow_reference(size):
    layer = rough((26, 41))
    layer[11, 20] = np.nan
    mean, high, low, _ = slow(layer, *size)
    np.testing.assert_allclose(rectangle_mean(layer, *size), mean, rtol=1.3e-7)
    np.testing.assert_array_equal(rectangle_max(layer, *size), high)
    np.testing.assert_array_equal(rectangle_min(layer, *size), low)


@settings(max_examples=25, deadline=None)
@given(length=st.floats(0.3, 20.0), width=st.floats(0.3, 12.0), seed=st.integers(0, 99))
def test_equals_the_slow_reference_at_any_size_with_gaps(length, width, seed):
    layer = rough((19, 23), seed)
    layer[np.random.default_rng(seed).random(layer.shape) < 0.01] = np.nan
    mean, high, low, _ = slow(layer, length, width)
    np.testing.assert_allclose(rectangle_mean(layer, length, width), mean, rtol=1.3e-7)
    np.testing.assert_array_equal(rectangle_max(layer, length, width), high)
    np.testing.assert_array_equal(rectangle_min(layer, length, width), low)


def test_mirror_and_sign():
    layer = rough((40, 50))
    np.testing.assert_array_equal(
        rectangle_max(layer[::-1, ::-1].copy(), 7.3, 4)[::-1, ::-1], rectangle_max(layer, 7.3, 4)
    )
    np.testing.assert_array_equal(rectangle_min(-layer, 7.3, 4), -rectangle_max(layer, 7.3, 4))
    np.testing.assert_allclose(
        rectangle_mean(layer[:, ::-1].copy(), 7.3, 4)[:, ::-1], rectangle_mean(layer, 7.3, 4), rtol=1.3e-7
    )


@pytest.mark.parametrize("kernel", [rectangle_mean, rectangle_max, rectangle_min])
def test_any_block_of_rows_and_any_threads_give_the_same_bits(kernel):
    layer = rough((2 * TILE_ROWS + 50, 2200))
    layer[90, 1000:1300] = np.nan
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = kernel(layer, 29.26, 9.144)
    finally:
        numba.set_num_threads(before)
    cuts = [0, 3, 70, TILE_ROWS, 200, layer.shape[0]]
    blocks = [kernel(layer, 29.26, 9.144, (a, b)) for a, b in itertools.pairwise(cuts)]
    np.testing.assert_array_equal(kernel(layer, 29.26, 9.144), one)
    np.testing.assert_array_equal(np.concatenate(blocks), one)


@pytest.mark.parametrize("kernel", [rectangle_mean, rectangle_max, rectangle_min])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_cells_that_are_not_finite_are_no_data(kernel, bad):
    layer = rough((30, 60))
    layer[15, 30] = bad
    blank = np.isnan(kernel(layer, 7, 5))
    assert blank[2:-2, 3:-3].sum() == 35
    assert blank[13:18, 27:34].all()


@pytest.mark.parametrize("kernel", [rectangle_mean, rectangle_max])
def test_rectangle_larger_than_the_array(kernel):
    assert np.isnan(kernel(np.zeros((5, 9), np.float32), 29, 9)).all()
    assert kernel(np.zeros((0, 9), np.float32), 29, 9).shape == (0, 9)


def test_constant_layer():
    layer = np.full((20, 50), 7.25, np.float32)
    inside = np.s_[5:-5, 15:-15]
    for kernel, want in (
        (rectangle_mean, 7.25),
        (rectangle_max, 7.25),
        (rectangle_min, 7.25),
    ):
        assert (kernel(layer, 29.26, 9.144)[inside] == want).all()
