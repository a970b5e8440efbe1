"""Writes small rasters and vectors for tests of whole runs from files."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import rasterio
import shapely
from rasterio.transform import Affine


def write_dem(path: Path, heights: np.ndarray, transform: Affine, crs, **profile) -> Path:
    """A GeoTIFF of heights."""
    shape = {"height": heights.shape[0], "width": heights.shape[1]}
    with rasterio.open(
        path, "w", driver="GTiff", count=1, dtype=heights.dtype, crs=crs, transform=transform, **shape, **profile
    ) as file:
        file.write(heights, 1)
    return path


def write_parcels(path: Path, shapes: list, crs, **columns) -> Path:
    """A GeoPackage of polygons."""
    geopandas.GeoDataFrame(
        columns or {"parcel": [f"p{k}" for k in range(len(shapes))]}, geometry=shapes, crs=crs
    ).to_file(path, engine="pyogrio")
    return path


def gentle(rows: int = 80, cols: int = 100, seed: int = 1) -> np.ndarray:
    """A gentle field with a little noise, float32 metres."""
    r, c = np.mgrid[0:rows, 0:cols]
    noise = np.random.default_rng(seed).normal(0, 0.01, (rows, cols))
    return (200 + 0.006 * c - 0.004 * r + 0.05 * np.sin(c / 9) + noise).astype(np.float32)


UTM17 = "EPSG:32617"
WEST, NORTH = 700_000.0, 4_700_000.0


def plain_farm(folder: Path, heights: np.ndarray | None = None, **profile) -> tuple[Path, Path]:
    """(DEM, parcels) of a field in UTM 17 N, one parcel over nearly all of it."""
    heights = gentle() if heights is None else heights
    rows, cols = heights.shape
    dem = write_dem(folder / "dem.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17, **profile)
    parcel = shapely.box(WEST + 3, NORTH - rows + 3, WEST + cols - 3, NORTH - 3)
    return dem, write_parcels(folder / "parcels.gpkg", [parcel], UTM17)
