"""Distances to the nearest marked cell against scipy's."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from tunnelsite.kernels.distance import distance_to


@settings(max_examples=60, deadline=None)
@given(
    rows=st.integers(1, 40), cols=st.integers(1, 40), seed=st.integers(0, 10**6),
    share=st.sampled_from([0.0, 0.01, 0.2]), cell=st.sampled_from([(1.0, 1.0), (2.0, 0.7)]),
)  # fmt: skip
def test_distances_are_scipys(rows, cols, seed, share, cell):
    there = np.random.default_rng(seed).random((rows, cols)) < share
    want = np.full(there.shape, 15.0)
    if there.any():
        want = np.minimum(ndimage.distance_transform_edt(~there, sampling=cell[::-1]), 15.0)
    np.testing.assert_allclose(distance_to(there, cell, 15.0), want, atol=1e-4)


def test_more_rows_than_16_bits_hold_are_counted():
    there = np.zeros((40_000, 2), bool)
    there[0, 1] = True
    found = distance_to(there, (1.0, 1.0), 50_000.0)
    assert found[39_000, 1] == 39_000.0 and found[0, 0] == 1.0
