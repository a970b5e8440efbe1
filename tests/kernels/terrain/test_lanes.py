"""Eight numbers at a time against numpy."""

import numpy as np
import pytest
from numba import njit

from tunnelsite.kernels.terrain.lanes import LANES, expect, gathered, lanes_of, load, single_root, spread, store

NONE, FIRST = np.uint64(0), np.uint64(3)


@njit
def turned(source, first, step, target, offset):
    gathered(source, first, step, target, offset)


@njit
def turned_back(source, offset, target, first, step):
    expect(target, first)
    spread(source, offset, target, first, step)


@njit
def formula(a, b, number, out):
    one, other = load(a, FIRST), load(b, NONE)
    store(out, NONE, (one - other) * one + number * other - other * 3.0 + lanes_of(number))


@njit
def root(values, out):
    store(out, NONE, single_root(load(values, NONE)))


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_runs_are_turned_and_turned_back(dtype):
    step, first = 21, 5
    line = np.arange(8 * step + 20, dtype=dtype)
    block = np.full(80, -1, dtype)
    turned(line, np.uint64(first), np.uint64(step), block, np.uint64(9))
    want = np.array([[line[first + run * step + place] for run in range(LANES)] for place in range(8)])
    np.testing.assert_array_equal(block[9:73].reshape(8, 8), want)
    assert (block[:9] == -1).all()
    assert (block[73:] == -1).all()
    back = np.full(line.shape, -1, dtype)
    turned_back(block, np.uint64(9), back, np.uint64(first), np.uint64(step))
    written = np.concatenate([first + run * step + np.arange(8) for run in range(LANES)])
    np.testing.assert_array_equal(back[written], line[written])
    assert (np.delete(back, written) == -1).all()


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_arithmetic_is_float64(dtype):
    rng = np.random.default_rng(0)
    a, b, out = rng.normal(size=11).astype(dtype), rng.normal(size=8).astype(dtype), np.zeros(8)
    formula(a, b, 0.7, out)
    one, other = a[3:].astype(float), b.astype(float)
    np.testing.assert_allclose(out, (one - other) * one + 0.7 * other - 3.0 * other + 0.7, rtol=1e-14, atol=1e-15)
    short = np.zeros(8, np.float32)
    formula(a, b, 0.7, short)
    np.testing.assert_array_equal(short, out.astype(np.float32))


def test_root_of_what_is_above_zero():
    values = np.array([4.0, 0.0, -1.0, -0.0, 1e-12, 2.0, np.nan, 1e10])
    out = np.zeros(8, np.float32)
    root(values, out)
    want = np.sqrt(np.where(values > 0, values, 0).astype(np.float32))
    np.testing.assert_array_equal(out, want)
