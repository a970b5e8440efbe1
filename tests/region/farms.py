"""A small invented region: one ground, whole and in tiles, and a dozen parcels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, write_dem, write_parcels

ROWS, COLS = 240, 330
SCREENED = ["--house", "6x15m", "--azimuths", "8", "--halo", "15m", "--crop-months", "12-01:12-31"]
ASKED = [*SCREENED, "--group-size", "150m", "--suitability", "10m", "--group-by", "Town"]


def ground() -> np.ndarray:
    """Gentle hills with a little noise and a hole, float32 metres."""
    r, c = np.mgrid[0:ROWS, 0:COLS]
    noise = np.random.default_rng(1).normal(0, 0.01, (ROWS, COLS))
    heights = 200 + 0.006 * c - 0.004 * r + 0.5 * np.sin(c / 40) + 0.3 * np.cos(r / 30) + noise
    heights[100:106, 200:206] = -9999
    return heights.astype(np.float32)


def tile(folder: Path, heights: np.ndarray, high: int, wide: int, overlap: int = 0) -> Path:
    """The same heights as GeoTIFF tiles, which may overlap."""
    folder.mkdir()
    for top in range(0, ROWS, high):
        for left in range(0, COLS, wide):
            part = heights[top : top + high + overlap, left : left + wide + overlap]
            if min(part.shape) < 3:
                continue
            place = Affine(1, 0, WEST + left, 0, -1, NORTH - top)
            write_dem(folder / f"{top:04d}_{left:04d}.tif", part, place, UTM17, nodata=-9999)
    return folder


def region_files(folder: Path) -> tuple[Path, Path]:
    """(DEM, parcels): nine parcels on the DEM, one over its edge, one far off it, one off it in a square with others."""
    dem = write_dem(folder / "dem.tif", ground(), Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
    boxes = [
        shapely.box(WEST + 20 + 100 * x, NORTH - 85 - 70 * y, WEST + 105 + 100 * x, NORTH - 20 - 70 * y)
        for y in range(3)
        for x in range(3)
    ]
    boxes.append(shapely.box(WEST + 280, NORTH - 230, WEST + 380, NORTH - 170))
    boxes.append(shapely.box(WEST + 5000, NORTH - 90, WEST + 5080, NORTH - 10))
    boxes.append(shapely.box(WEST + 335, NORTH - 230, WEST + 380, NORTH - 165))
    names = [f"lot {k}" for k in range(9)] + ["over the edge", "far off", "just off"]
    own = {"town": ["Elm", "Fir"] * 6, "acres": [2.5] * 12, "State": ["mapped"] * 12}
    return dem, write_parcels(folder / "parcels.gpkg", boxes, UTM17, parcel=names, **own)
