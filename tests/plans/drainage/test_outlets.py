"""Where an arm's water leaves the parcel, and what counts as more of it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tunnelsite.plans.drainage.outlets import Parcel


def parcel(reach: int = 2) -> Parcel:
    cells = np.zeros((12, 12), bool)
    cells[2:9, 2:9] = True
    return Parcel(shapely.box(2, 3, 9, 10), cells, reach, tolerance_m2=50.0)


@pytest.mark.parametrize("cell", [(6, 7), (0, 1), (11, 11), (1, 10)])
def test_near_is_every_cell_within_reach_in_rows_and_columns(cell) -> None:
    rows, cols = np.mgrid[0:12, 0:12]
    near = np.zeros((12, 12), bool)
    near[parcel().near(cell)] = True
    assert np.array_equal(near, (abs(rows - cell[0]) <= 2) & (abs(cols - cell[1]) <= 2))


def test_water_leaves_at_the_last_cell_before_the_edge() -> None:
    way = np.array([[6, 6], [7, 6], [8, 6], [9, 6], [10, 6]])
    assert parcel().exit_of(way) == (8, 6)
    assert parcel().exit_of(way[:3]) is None  # runs off the data inside the parcel
    assert parcel().exit_of(way[3:]) == (9, 6)  # begins outside


def test_more_water_is_more_than_the_tolerance() -> None:
    assert not parcel().more(1000.0, 1050.0)
    assert parcel().more(1000.0, 1050.1)
    assert not parcel().more(1000.0, 100.0)
