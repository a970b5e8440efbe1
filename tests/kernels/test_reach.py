"""Distances from rectangles to segments against shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.kernels.reach import rectangle_distances

COORDINATE = st.floats(-60, 60).map(lambda value: round(value, 3))


@given(
    st.lists(st.tuples(COORDINATE, COORDINATE, COORDINATE, COORDINATE), min_size=1, max_size=12),
    st.floats(0.5, 20),
    st.floats(0.5, 20),
    st.integers(0, 2**31),
)
def test_against_shapely(ends, half_length: float, half_width: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    along, across = rng.uniform(-50, 50, 40), rng.uniform(-50, 50, 40)
    segments = np.array(ends, float)
    got = rectangle_distances(along, across, half_length, half_width, segments)
    lines = shapely.linestrings(segments.reshape(-1, 2, 2))
    for k in range(len(along)):
        box = shapely.box(
            along[k] - half_length, across[k] - half_width, along[k] + half_length, across[k] + half_width
        )
        # a line of no length is empty ground to GEOS; its point stands for it
        shapes = [
            shapely.Point(s[:2]) if tuple(s[:2]) == tuple(s[2:]) else line
            for s, line in zip(segments, lines, strict=True)
        ]
        assert got[k] == pytest.approx(shapely.distance(box, shapes).min(), abs=1e-5, rel=1e-6)


def test_no_segments_is_no_distance() -> None:
    assert np.isinf(rectangle_distances(np.zeros(3), np.zeros(3), 1.0, 1.0, np.empty((0, 4)))).all()


def test_order_of_segments_and_placements_does_not_matter() -> None:
    rng = np.random.default_rng(5)
    segments = rng.uniform(-500, 500, (300, 4))
    along, across = rng.uniform(-500, 500, 2000), rng.uniform(-500, 500, 2000)
    one = rectangle_distances(along, across, 15.0, 5.0, segments)
    shuffled = rng.permutation(2000)
    two = rectangle_distances(along[shuffled], across[shuffled], 15.0, 5.0, segments[::-1].copy())
    assert np.array_equal(one[shuffled], two)
