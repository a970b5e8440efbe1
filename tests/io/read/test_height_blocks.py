"""Heights read window by window are those of the raster read whole, to the bit: datum, voids, notes and all."""

from __future__ import annotations

import numpy as np
import pytest
from rasterio import Affine

from tests.io.rasters_made import hill, write
from tunnelsite.io.read import height_blocks as module
from tunnelsite.io.read.height_blocks import height_blocks
from tunnelsite.io.read.mosaic import mosaic
from tunnelsite.io.read.rasters import raster_header, read_raster


def gaps(values: np.ndarray, value: float) -> np.ndarray:
    values = values.copy()
    values[5:9, 3:30] = value
    values[30, :] = value
    return values


SOUTH_UP, MIRRORED, UPSIDE = (
    Affine(1, 0, 500000, 0, 1, 4599960),
    Affine(-1, 0, 500050, 0, -1, 4600000),
    Affine(-1, 0, 500050, 0, 1, 4599960),
)
LOW = (hill() - 300).round().astype("int16")  # near sea level: zeros are ground
MADE = {
    "plain": (hill(), {}),
    "declared": (gaps(hill(), -9999), {"nodata": -9999}),
    "undeclared": (gaps(hill(), -32768), {}),
    "nan": (gaps(hill(), np.nan), {"nodata": np.nan}),
    "zeros that are voids": (gaps(hill(), 0), {}),
    "zeros that are kept": (gaps(hill() - 297, 0), {}),
    "whole numbers with voids": (gaps(hill().astype("int16"), 0), {"units": ["m"]}),
    "whole numbers near the sea": (LOW, {"units": ["m"]}),
    "declared zeros": (gaps(hill(), 0), {"nodata": 0}),
    "doubles in feet": (gaps(hill().astype("float64"), -1e30), {"units": ["ft"]}),
    "scaled": ((hill() * 10).astype("int16"), {"scales": [0.1], "offsets": [3.0], "nodata": -1}),
    "masked": (hill(), {"mask": np.where(hill() > 301, 0, 255).astype("uint8")}),
    "nothing": (np.full((40, 50), -9999, "float32"), {"nodata": -9999}),
    "south up": (gaps(hill(), -9999), {"nodata": -9999, "transform": SOUTH_UP}),
    "mirrored": (hill(), {"transform": MIRRORED}),
    "upside down": (hill(), {"transform": UPSIDE}),
    "turned": (hill(), {"transform": Affine.translation(500000, 4600000) @ Affine.rotation(-20) @ Affine.scale(1, -1)}),
}


@pytest.mark.parametrize("asked", [{}, {"zero_is_nodata": True}], ids=["judged", "zeros are voids"])
@pytest.mark.parametrize("made", MADE, ids=str)
def test_windows_equal_the_whole(tmp_path, monkeypatch, made, asked):
    monkeypatch.setattr(module, "SURVEY_CELLS", 350)
    values, profile = MADE[made]
    path = write(tmp_path / "d.tif", values, tiled=True, blockxsize=16, blockysize=16, **profile)
    whole = read_raster(raster_header(path), **asked)
    blocks = height_blocks(mosaic(str(path)), **asked)
    assert (blocks.shape, blocks.affine, blocks.datum_m) == (whole.shape, whole.affine, whole.datum_m)
    assert sorted(blocks.notes) == sorted(whole.notes)
    for rows, cols in ((slice(0, 40), slice(0, 50)), (slice(3, 17), slice(11, 50)), (slice(39, 40), slice(0, 1))):
        part = blocks.near(rows, cols).read(rows, cols)
        assert part.dtype == np.float32 and part.flags.c_contiguous
        np.testing.assert_array_equal(part, whole.values[rows, cols])
    placed = blocks.georeferenced(whole.values)
    assert (placed.crs, placed.unit, placed.name, placed.sha256) == (whole.crs, whole.unit, whole.name, whole.sha256)


def test_the_datum_of_a_large_raster_is_that_of_evenly_spread_cells(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "SURVEY_CELLS", 9_000)
    row, col = np.mgrid[0:301, 0:330]
    values = (200 + 3 * np.sin(row / 9) + np.where(col % 2, 40, 0)).astype(
        "float32"
    )  # the median hangs on which are taken
    path = write(tmp_path / "d.tif", values)
    assert height_blocks(mosaic(str(path))).datum_m == read_raster(raster_header(path)).datum_m
