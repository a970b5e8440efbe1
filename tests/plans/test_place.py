"""From cells to distances and windows round one house, at the grid's edges too."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.plans.places import place

PLAIN = place(rows=20, cols=30, length_m=10.0, width_m=6.0)
WEST, SOUTH = -312.0, 740.0  # of the grid's corner
WHERE = replace(PLAIN, grid=replace(PLAIN.grid, west_m=WEST, north_m=SOUTH + 20.0))


@pytest.mark.parametrize(
    ("bounds", "rows", "cols"),
    [
        ((3.5, 2.5, 6.5, 4.5), (15, 18), (3, 7)),
        ((-9.0, -9.0, 6.5, 4.5), (15, 20), (0, 7)),
        ((3.5, 15.5, 99.0, 99.0), (0, 5), (3, 30)),
        ((-9.0, -9.0, 99.0, 99.0), (0, 20), (0, 30)),
    ],
)
def test_a_window_is_what_bounds_touch_of_the_grid(bounds, rows, cols) -> None:
    west, south, east, north = bounds
    found = WHERE.window((WEST + west, SOUTH + south, WEST + east, SOUTH + north))
    assert [(part.start, part.stop) for part in found] == [rows, cols]
    # the same by looking at every cell
    top, left = np.mgrid[0:20, 0:30]
    touched = (left < east) & (left + 1 > west) & (20 - top > south) & (19 - top < north)
    inside = np.zeros((20, 30), bool)
    inside[found] = True
    assert np.array_equal(inside, touched)


@pytest.mark.parametrize("bounds", [(-9.0, -9.0, -5.0, -5.0), (40.0, 30.0, 50.0, 40.0)])
def test_a_window_beyond_the_grid_holds_no_cell(bounds) -> None:
    assert np.zeros(PLAIN.grid.shape)[PLAIN.window(bounds)].size == 0


def test_cells_and_distances_are_each_other_s_inverse() -> None:
    u, v = np.array([-3.5, 0.0, 4.25]), np.array([2.0, 0.0, -1.75])
    assert np.allclose(WHERE.distances(*WHERE.cells(u, v)), (u, v))
    along, across = WHERE.centre
    assert WHERE.cell_at(along, across) == (WHERE.row, WHERE.col)
    rows, cols = WHERE.cell_at(along + np.array([0.0, 1.0]), across + np.array([0.0, 2.0]))
    assert rows.tolist() == [WHERE.row, WHERE.row - 2] and cols.tolist() == [WHERE.col, WHERE.col + 1]
