"""Rasters and features made for the reading tests."""

from __future__ import annotations

import numpy as np
import rasterio
from rasterio import Affine

NORTH_UP = Affine(1, 0, 500000, 0, -1, 4600000)


def hill(rows: int = 40, cols: int = 50) -> np.ndarray:
    """Heights near 300 m, no two rows alike."""
    row, col = np.mgrid[0:rows, 0:cols]
    return (300 + 0.05 * col - 0.03 * row + np.sin(row / 5.0)).astype("float32")


def write(path, values, **profile):
    """A GeoTIFF of `values` [rows, cols] or [bands, rows, cols]; `profile` as for rasterio, plus `units`,
    `scales`, `mask` ..."""
    values = np.asarray(values)
    bands = values if values.ndim == 3 else values[None]
    after = {name: profile.pop(name) for name in ("units", "scales", "offsets", "colorinterp") if name in profile}
    mask = profile.pop("mask", None)
    settings = {
        "driver": "GTiff",
        "count": len(bands),
        "height": bands.shape[1],
        "width": bands.shape[2],
        "dtype": bands.dtype.name,
        "crs": "EPSG:32615",
        "transform": NORTH_UP,
    } | profile
    if settings["transform"] is None:
        del settings["transform"]
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(path, "w", **settings) as target:
        for name, value in after.items():
            setattr(target, name, value)
        target.write(bands)
        if mask is not None:
            target.write_mask(mask)
    return path
