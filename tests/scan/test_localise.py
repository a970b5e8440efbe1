"""Where a DEM lies: its zone, its cell on the ground, and how far it is from parcels that it misses."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
import shapely
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from tunnelsite.core.grid import Grid, covering_grid, local_crs
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.site import Site
from tunnelsite.scan.localise import apart, native_cell_m, nearest, utm_name, warped

DEGREES = pyproj.CRS("EPSG:4326")


def raster(affine: tuple[float, ...], crs: pyproj.CRS = DEGREES, shape: tuple[int, int] = (100, 400)) -> SourceRaster:
    return SourceRaster(np.zeros(shape, np.float32), affine, crs)


@pytest.mark.parametrize(
    ("lon_deg", "lat_deg"), [(-78.15, 43.0), (-75.0, -9.0), (11.9, 0.2), (179.9, -44.0), (-179.9, 52)]
)
def test_utm_zone_of_the_raster_s_middle_is_pyproj_s(lon_deg: float, lat_deg: float) -> None:
    cell = 1e-4  # 400 columns and 100 rows: the corner lies 0.02 deg west and 0.005 deg north of the middle
    found = utm_name(raster((cell, 0, lon_deg - 200 * cell, 0, -cell, lat_deg + 50 * cell)))
    point = AreaOfInterest(lon_deg, lat_deg, lon_deg, lat_deg)
    listed = query_utm_crs_info(datum_name="WGS 84", area_of_interest=point)
    assert found in {f"{one.auth_name}:{one.code}" for one in listed}


def test_the_middle_decides_and_not_a_corner() -> None:
    cell = 0.01
    assert utm_name(raster((cell, 0, -2.5, 0, -cell, 40.0))) == "EPSG:32630"  # -2.5 to 1.5: the middle is -0.5
    assert utm_name(raster((cell, 0, -1.5, 0, -cell, 40.0))) == "EPSG:32631"  # -1.5 to 2.5: the middle is 0.5
    assert utm_name(raster((cell, 0, 10, 0, -cell, 0.6))).startswith("EPSG:326")  # 0.6 to -0.4: the middle is 0.1
    assert utm_name(raster((cell, 0, 10, 0, -cell, 0.4))).startswith("EPSG:327")


@pytest.mark.parametrize("lat_deg", [0.0, 43.0, -60.0])
def test_a_cell_in_degrees_is_as_wide_as_the_parallel_says(lat_deg: float) -> None:
    cell, radius_m = 1 / 3600, 6_371_000.0
    expected = radius_m * math.radians(cell) * math.cos(math.radians(lat_deg))
    assert native_cell_m(raster((cell, 0, 0, 0, -cell, 0)), 10.0, lat_deg) == pytest.approx(expected, rel=0.01)


def test_a_projected_cell_is_its_nominal_side_but_for_web_mercator() -> None:
    feet = pyproj.CRS("EPSG:2263")  # US survey feet
    assert native_cell_m(raster((3, 0, 0, 0, -3, 0), feet), -74.0, 40.7) == pytest.approx(3 * 1200 / 3937)
    web = pyproj.CRS("EPSG:3857")
    expected = 10 * math.cos(math.radians(60.0))
    assert native_cell_m(raster((10, 0, 0, 0, -10, 0), web), 10.0, 60.0) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(
    ("parcels", "gap_km"),
    [
        ((6000, 0, 6500, 500), "5.0"),  # east of the DEM
        ((-3500, 0, -2000, 500), "2.0"),
        ((0, 5000, 500, 6000), "4.0"),
        ((0, -1500, 500, -1200), "1.2"),
        ((4000, 5000, 5000, 5100), "5.0"),  # 3 km east, 4 km north
    ],
)
def test_parcels_that_miss_the_dem_are_refused_with_the_gap(parcels: tuple[float, ...], gap_km: str) -> None:
    box = Features(np.array([shapely.box(*parcels)], object), name="parcels.gpkg")
    refused = apart(Site(raster((1, 0, 0, 0, -1, 0)), box), np.array(parcels, float), np.array([0.0, 0, 1000, 1000]))
    words = str(refused)
    assert f"they are {gap_km} km apart" in words
    west, south, east, north = parcels
    assert f"the parcels span {west}..{east}, {south}..{north} and the DEM 0..1000, 0..1000" in words


def turned(turn_deg: float, values: np.ndarray, cell: float = 2.0) -> SourceRaster:
    """A raster in UTM 17 N turned about its middle, which stands 500 km east and 4,760 km north."""
    c, s = cell * math.cos(math.radians(turn_deg)), cell * math.sin(math.radians(turn_deg))
    corner = 500_000.0 - 110 * (c + s), 4_760_000.0 - 110 * (s - c)
    return SourceRaster(values, (c, s, corner[0], s, -c, corner[1]), pyproj.CRS("EPSG:32617"))


def local_grid(cell_m: float = 1.0) -> Grid:
    crs = local_crs(pyproj.CRS("EPSG:32617"), -80.998, 42.9925)
    return covering_grid(crs, (-40.0, -40.0, 40.0, 40.0), cell_m, 90.0)


def places(raster: SourceRaster, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """Fractional (row, col) of the raster at every cell centre of the grid, one transformation a cell."""
    across, along = np.meshgrid(
        grid.north_m - (np.arange(grid.rows) + 0.5) * grid.cell_m,
        grid.west_m + (np.arange(grid.cols) + 0.5) * grid.cell_m,
        indexing="ij",
    )
    change = pyproj.Transformer.from_crs(pyproj.CRS(grid.crs_wkt), raster.crs, always_xy=True)
    east, north = change.transform(*grid.to_map(along, across))
    a, b, c, d, e, f = raster.affine
    col, row = np.linalg.solve(np.array([[a, b], [d, e]]), np.stack([(east - c).ravel(), (north - f).ravel()]))
    return row.reshape(grid.shape) - 0.5, col.reshape(grid.shape) - 0.5


@pytest.mark.parametrize("turn_deg", [0.0, 12.0, -35.0])
def test_a_turned_raster_s_plane_comes_through_and_its_classes_stay_whole(turn_deg: float) -> None:
    rows, cols = np.mgrid[0:220, 0:220]
    grid = local_grid()
    heights = turned(turn_deg, (0.05 * cols - 0.03 * rows).astype(np.float32))
    row, col = places(heights, grid)
    inside = (row > 0) & (row < 219) & (col > 0) & (col < 219)
    assert inside.mean() > 0.5
    assert warped(heights, grid)[inside] == pytest.approx((0.05 * col - 0.03 * row)[inside], abs=2e-3)
    classes = turned(turn_deg, (1000.0 * rows + cols).astype(np.float32))
    at = np.floor(np.stack([row, col]) + 0.5)
    sure = (
        inside
        & (np.abs(np.stack([row, col]) + 0.5 - at) > 0.01).all(0)
        & (np.abs(np.stack([row, col]) - 0.5 - at) > 0.01).all(0)
    )
    assert np.array_equal(nearest(classes, grid)[sure], (1000 * at[0] + at[1])[sure])
