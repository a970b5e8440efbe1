"""A long invented valley with one farm at its lower end: nearly all of its water comes from far beyond any halo."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, write_dem, write_parcels

ROWS, COLS, CELL_M = 500, 160, 4.0
ASKED = {"house": "9x30m", "crop_months": "12-01:12-31", "azimuths": 8}


def valley(hollow: bool = False) -> np.ndarray:
    """A valley that winds between two ridges, falls by 1 % to the south from its head and has noise of 2 cm, float32 metres; or one
    with a wide hollow in it. The raster's edge lies beyond ridges and head, so no water comes over it."""
    r, c = np.mgrid[0:ROWS, 0:COLS].astype(float)
    middle = COLS / 2 + 12 * np.sin(r / 60)
    walls = 60 - np.abs(np.abs(c - middle) - 60)
    heights = 250 - 0.01 * CELL_M * np.abs(r - 20) + 0.03 * CELL_M * walls
    if hollow:
        heights -= 12 * np.exp(-(((r - 400) / 60) ** 2) - ((c - COLS / 2) / 40) ** 2)
    return (heights + np.random.default_rng(5).normal(0, 0.02, heights.shape)).astype(np.float32)


def valley_farm(folder: Path, heights: np.ndarray) -> tuple[Path, Path]:
    """(DEM, parcels): a farm of 160 m on the stream, 400 rows down."""
    dem = write_dem(folder / "dem.tif", heights, Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH), UTM17)
    east, north = WEST + COLS * CELL_M / 2, NORTH - 400 * CELL_M
    box = shapely.box(east - 80, north - 80, east + 80, north + 80)
    return dem, write_parcels(folder / "parcels.gpkg", [box], UTM17, parcel=["farm"])
