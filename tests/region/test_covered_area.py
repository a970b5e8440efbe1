"""The union of rectangles round cells, against shapely and by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tunnelsite.region.covered_area import covered_cells


@pytest.mark.parametrize(("length", "width"), [(5.0, 3.0), (7.3, 2.6), (4.2, 0.4), (1.0, 1.0), (12.5, 6.0)])
def test_it_is_the_area_of_the_union(length: float, width: float) -> None:
    rng = np.random.default_rng(4)
    for share in (0.02, 0.2, 0.7):
        rows, cols = np.nonzero(rng.random((23, 31)) < share)
        boxes = shapely.box(cols - length / 2, rows - width / 2, cols + length / 2, rows + width / 2)
        assert covered_cells(rows + 7, cols + 90, length, width) == pytest.approx(
            shapely.area(shapely.union_all(boxes))
        )


def test_one_place_and_none() -> None:
    assert covered_cells(np.array([4]), np.array([9]), 29.3, 9.1) == pytest.approx(29.3 * 9.1)
    assert covered_cells(np.empty(0, int), np.empty(0, int), 29.3, 9.1) == 0.0
