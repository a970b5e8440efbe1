"""The local grid stands on the DEM's own cells, wherever the parcels end."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from tests.scan.grounds import features, hills, raster, site
from tunnelsite import House, screen
from tunnelsite.core.grid import local_crs
from tunnelsite.scan.localise import cell_corner, frame_grid
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0


@pytest.mark.parametrize(
    ("crs", "affine"),
    [
        (32617, (2.0, 0.0, 640_001.3, 0.0, -2.0, 4_650_000.7)),
        (32617, (1.2, 1.6, 640_001.3, 1.6, -1.2, 4_650_000.7)),
        (4326, (1e-5, 0.0, -79.30001, 0.0, -1e-5, 42.00002)),
    ],
    ids=["square", "turned", "degrees"],
)
def test_the_corner_is_one_of_the_rasters_and_the_nearest(crs, affine) -> None:
    source = raster(np.zeros((50, 60)), 0.0, 0.0, crs=pyproj.CRS(crs))
    source = type(source)(source.values, affine, source.crs, source.datum_m)
    a, b, c, d, e, f = affine
    to_deg = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    at = np.array([23.37, 31.81])  # column, row
    lon, lat = cell_corner(source, *to_deg.transform(a * at[0] + b * at[1] + c, d * at[0] + e * at[1] + f))
    x, y = to_deg.transform(lon, lat, direction="INVERSE")
    found = np.linalg.solve(np.array([[a, b], [d, e]]), np.array([x - c, y - f]))
    np.testing.assert_allclose(found, [23, 32], atol=1e-3)


@pytest.mark.parametrize("place", [(-79.21234567, 42.01234567), (173.98765432, -41.23456789)])
def test_the_grid_starts_at_that_very_corner(place) -> None:
    """Origins rounded to 6 decimals lay up to 5 cm off it, a ninth of a 0.5 m cell, each by its own amount."""
    crs = local_crs(pyproj.CRS("EPSG:4326"), *place)
    there = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(*place)
    np.testing.assert_allclose(there, 0.0, atol=1e-4)


def test_parcels_that_end_elsewhere_leave_cells_and_placements_where_they_were() -> None:
    ground, field = hills(150, 170, 5), shapely.box(WEST + 20, NORTH - 130, WEST + 150, NORTH - 20)
    settings = settings_from({"azimuths": 8, "kind": "container", "top": 4})
    runs = []
    for further in (0.0, 0.31, 1.7, 4.45):
        sliver = shapely.box(WEST + 155, NORTH - 140 - further, WEST + 156 + further, NORTH - 138)
        runs.append(screen(site(ground, [field, sliver]), House.parse("20x48ft"), settings=settings))
    first = runs[0]
    for other in runs[1:]:
        grids = [run.frame.grid for run in (first, other)]
        apart = np.subtract(*(np.array(grid.lonlat(grid.west_m, grid.north_m)) for grid in grids)) * (82_500, 111_000)
        cells = apart / grids[0].cell_m
        np.testing.assert_allclose(cells, np.round(cells), atol=0.01)
        assert len(other.scans[0].index) == pytest.approx(len(first.scans[0].index), rel=0.02)
        for one, two in zip(first.rows, other.rows, strict=True):
            assert two["score"] == pytest.approx(one["score"], abs=0.3)


def test_a_grid_of_the_dems_own_system_and_cell_has_its_cells() -> None:
    """On the central meridian the local grid is the DEM's, moved: a node of one lies on a node of the other."""
    farm = site(hills(80, 90, 1))
    grid = frame_grid(farm, bearing_deg=90.0, cell_m=None, halo_m=1000.0)
    lon, lat = grid.lonlat(grid.west_m, grid.north_m)
    x, y = pyproj.Transformer.from_crs(4326, 32617, always_xy=True).transform(lon, lat)
    np.testing.assert_allclose([(x - WEST) % 1.0 % 0.9, (y - NORTH) % 1.0 % 0.9], 0.0, atol=0.1)
    assert features([shapely.Point(x, y)]).geometry[0].distance(shapely.Point(WEST, NORTH)) < 3
