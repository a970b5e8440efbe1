"""Rasters in a local system: a screening of them is refused with the option that mends it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features
from tunnelsite.io.read.site import RasterReading, read_site


def test_a_local_system_is_refused_with_the_option_that_mends_it(tmp_path: Path) -> None:
    path = tmp_path / "dem.tif"
    profile = {
        "width": 60,
        "height": 60,
        "count": 1,
        "dtype": "float32",
        "transform": Affine(1, 0, 500_000, 0, -1, 4_700_000),
    }
    with rasterio.open(
        path, "w", crs=rasterio.CRS.from_wkt('LOCAL_CS["site grid",UNIT["metre",1]]'), **profile
    ) as file:
        file.write(np.full((60, 60), 200.0, np.float32), 1)
    field = shapely.box(500_010, 4_699_950, 500_050, 4_699_990)
    land = Features(np.array([field], object), {}, pyproj.CRS("EPSG:32618"), "land")
    with pytest.raises(InputRefused, match=r"tied to no place on earth.*--dem-crs EPSG"):
        read_site(str(path), land)
    assert read_site(str(path), land, reading=RasterReading(dem_crs="EPSG:32618")).dem.crs.to_epsg() == 32618
