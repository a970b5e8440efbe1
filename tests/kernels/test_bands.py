"""Rows asked for in bands are the rows of the whole, to the bit."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.air.cold_pool import smoothed
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.clear_centres import Lattice, blocked_centres
from tunnelsite.kernels.polygon_mask import polygon_mask

CORNERS = np.array([(3.2, 4.1), (90.7, 10.5), (60.5, 300.5), (80.0, 391.9), (20.3, 340.0), (40.5, 200.5)])
EDGES = np.hstack([CORNERS, np.roll(CORNERS, -1, axis=0)])  # some corners on cell centres: the tie must fall alike


def test_bands_cover_every_row_once_and_start_at_whole_tiles() -> None:
    for shape, cells in (((1, 5), 1), ((128, 9), 1), ((1000, 37), 10_000), ((700, 50_000), 1 << 20)):
        found = list(bands(shape, cells))
        assert [row for part in found for row in range(part.start, part.stop)] == list(range(shape[0]))
        assert all(part.start % 128 == 0 for part in found)


def test_polygon_mask_and_blocked_centres_by_bands() -> None:
    place = Lattice(0.0, 400.0, 1.0, 400, 100)
    inside = polygon_mask(EDGES, 0.0, 400.0, 1.0, (400, 100))
    blocked = blocked_centres(EDGES, 7.3, 2.5, place)
    assert 0.2 < inside.mean() < 0.9 and 0 < blocked.mean() < 0.9
    for rows in ((0, 128), (128, 256), (384, 400), (37, 38), (5, 5)):
        np.testing.assert_array_equal(polygon_mask(EDGES, 0.0, 400.0, 1.0, (400, 100), rows), inside[slice(*rows)])
        np.testing.assert_array_equal(blocked_centres(EDGES, 7.3, 2.5, place, rows), blocked[slice(*rows)])


@pytest.mark.parametrize("side", [1.0, 10.0, 33.3, 300.0])
def test_smoothed_ground_by_bands(side: float) -> None:
    rng = np.random.default_rng(2)
    ground = (200 + rng.normal(0, 1, (900, 60)).cumsum(axis=0)).astype(np.float32)
    ground[300:340, 10:20] = np.nan
    whole = smoothed(ground, side)
    for rows in (slice(0, 128), slice(128, 384), slice(256, 257), slice(768, 900)):
        np.testing.assert_array_equal(smoothed(ground, side, rows), whole[rows])
