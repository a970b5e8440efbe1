"""Columns and rows of map coordinates."""

from __future__ import annotations

import numpy as np
import pytest
from rasterio.transform import Affine as RasterioAffine

from tunnelsite.core.layers import Affine, cells_at


@pytest.mark.parametrize("affine", [(2.0, 0.0, 500.0, 0.0, -3.0, 900.0), (1.2, 0.7, 500.0, 0.4, -1.5, 900.0)])
def test_cells_of_coordinates_are_those_of_the_inverse(affine: Affine) -> None:
    """Against rasterio's own inverse, of a raster with north up and of a turned one; one place or many."""
    east, north = np.array([500.0, 513.5, 480.0]), np.array([900.0, 880.25, 910.0])
    col, row = cells_at(affine, east, north)
    a, b, c, d, e, f = (~RasterioAffine(*affine))[:6]
    wanted = [(a * x + b * y + c, d * x + e * y + f) for x, y in zip(east, north, strict=True)]
    assert np.allclose(np.column_stack([col, row]), wanted)
    assert cells_at(affine, 513.5, 880.25) == pytest.approx(wanted[1])
