"""Wrong files are told by what is most likely wrong with them, not by what went wrong last."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely
from rasterio import Affine

from tests.io.rasters_made import hill, write
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_parcels
from tunnelsite import House, read_site, screen
from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.raster_header import raster_header


@pytest.mark.parametrize(
    ("crs", "cell", "corner", "words"),
    [
        (
            "EPSG:32617",
            1e-5,
            (-79.5, 42.5),
            r"cells of 1e-05 m in 'WGS 84 / UTM zone 17N'.*if they are degrees.*--dem-crs",
        ),
        ("EPSG:32617", 1e-5, (5e5, 4.5e6), "cells of 1e-05 m.*assign the right coordinate system"),
        ("EPSG:4326", 1e-9, (-79.5, 42.5), r"cells of 0\.00011 m"),
    ],
)
def test_cells_that_no_survey_has(tmp_path, crs, cell, corner, words) -> None:
    path = write(tmp_path / "d.tif", hill(), crs=crs, transform=Affine(cell, 0, corner[0], 0, -cell, corner[1]))
    with pytest.raises(InputRefused, match=words):
        raster_header(path)


def test_heights_that_no_land_has_are_told_where_none_is_left(tmp_path) -> None:
    farm = plain_farm(tmp_path, gentle(60, 70) + np.float32(1e6))
    with pytest.raises(InputRefused, match=r"no height inside the parcels.*outside -500 to 9000 m"):
        screen(read_site(*map(str, farm)), House(6.0, 15.0))


@pytest.mark.parametrize("system", ["EPSG:4326", "EPSG:32617", "EPSG:32616"])
def test_swapped_coordinates_are_told(tmp_path, system) -> None:
    dem, _ = plain_farm(tmp_path, gentle(60, 70))
    lot = shapely.box(WEST + 10, NORTH - 50, WEST + 60, NORTH - 10)
    change = pyproj.Transformer.from_crs(UTM17, system, always_xy=True)
    lot = shapely.transform(lot, lambda points: np.column_stack(change.transform(points[:, 0], points[:, 1])))
    swapped = shapely.transform(lot, lambda points: points[:, ::-1])
    with pytest.raises(InputRefused, match=r"(latitude and longitude|easting and northing) of the parcels are swapped"):
        read_site(str(dem), str(write_parcels(tmp_path / "swapped.gpkg", [swapped], system)))
    far = shapely.transform(lot, lambda points: points + (1.0 if system == "EPSG:4326" else 50_000.0))
    with pytest.raises(InputRefused, match="check that each file carries the right coordinate system"):
        read_site(str(dem), str(write_parcels(tmp_path / "far.gpkg", [far], system)))


def test_a_folder_as_dem_lists_what_it_holds(tmp_path) -> None:
    for name in ("b.tif", "a.tif", "notes.txt"):
        (tmp_path / name).write_bytes(b"x")
    with pytest.raises(
        InputRefused, match=r"is a folder.*give one of its files: a\.tif, b\.tif; `tunnelsite region` takes a folder"
    ):
        raster_header(tmp_path)
    for k in range(9):
        (tmp_path / f"t{k}.asc").write_bytes(b"x")
    with pytest.raises(InputRefused, match="and 5 more"):
        raster_header(tmp_path)
