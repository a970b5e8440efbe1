"""The local grid against pyproj's geodesics and published convergence."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import Grid, covering_grid, local_crs, transformer, true_bearing


def local(lon: float, lat: float, bearing: float = 90.0, source: int = 4326) -> Grid:
    return covering_grid(local_crs(pyproj.CRS(source), lon, lat), (-100, -100, 100, 100), 1.0, bearing)


@pytest.mark.parametrize("lat", [-60.0, -35.0, 0.0, 45.0, 60.0])
@pytest.mark.parametrize("bearing", [90.0, 60.0, 135.0])
def test_the_ridge_bearing_is_true(lat: float, bearing: float) -> None:
    """pyproj.Geod (Karney 2013) as the outside reference."""
    grid = local(-71.3, lat, bearing)
    lon, lats = grid.lonlat(np.array([0.0, 30.0]), np.array([0.0, 0.0]))
    azimuth = pyproj.Geod(ellps="WGS84").inv(lon[0], lats[0], lon[1], lats[1])[0] % 360
    assert azimuth == pytest.approx(bearing, abs=0.002)
    assert true_bearing(grid, 0.0, 0.0) == pytest.approx(bearing, abs=1e-6)


def test_grid_east_strays_by_little_within_5_km() -> None:
    for lat, most in ((45.0, 0.05), (60.0, 0.08)):
        grid = local(10.0, lat)
        assert abs(true_bearing(grid, 5000.0, 0.0) - 90) < most
    assert abs(true_bearing(local(10.0, 45.0), 0.0, 5000.0) - 90) < 1e-6


def test_a_utm_grid_would_have_been_off() -> None:
    """At a zone's edge at 60 deg N UTM east is 2.6 deg off (dlon sin lat); the local grid is not."""
    utm = pyproj.Proj("EPSG:32633")
    assert abs(utm.get_factors(18.0, 60.0).meridian_convergence) == pytest.approx(
        3 * math.sin(math.radians(60)), abs=0.01
    )
    grid = local(18.0, 60.0, source=32633)
    assert true_bearing(grid, 0.0, 0.0) == pytest.approx(90.0, abs=1e-6)


@given(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4), st.floats(0, 359))
def test_turning_there_and_back(along: float, across: float, bearing: float) -> None:
    grid = Grid("", 1.0, 10, 10, 0.0, 0.0, bearing)
    there = grid.to_map(along, across)
    assert grid.from_map(*there) == pytest.approx((along, across), abs=1e-6)
    assert math.hypot(*there) == pytest.approx(math.hypot(along, across), rel=1e-9, abs=1e-9)


def test_affine_agrees_with_centres() -> None:
    grid = local(-80.0, 42.0, 75.0)
    a, b, c, d, e, f = grid.affine
    for row, col in ((0, 0), (3, 17), (199, 5)):
        east, north = grid.to_map(*grid.centre(row, col))
        assert a * (col + 0.5) + b * (row + 0.5) + c == pytest.approx(east)
        assert d * (col + 0.5) + e * (row + 0.5) + f == pytest.approx(north)


def test_covering_grid_has_its_edges_on_whole_cells() -> None:
    grid = covering_grid(local_crs(pyproj.CRS(4326), 0, 50), (-10.2, -3.1, 5.5, 7.7), 0.5, 90)
    assert grid.bounds == (-10.5, -3.5, 5.5, 8.0)
    part = grid.window(2, 3, 4, 5)
    assert part.centre(0, 0) == grid.centre(2, 3)


def test_a_system_without_a_link_to_the_earth_is_refused() -> None:
    engineering = pyproj.CRS.from_wkt(
        'ENGCRS["site",EDATUM["site"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
    )
    with pytest.raises(InputRefused, match="no link"):
        local_crs(engineering, 0.0, 0.0)


@pytest.mark.parametrize("epsg", [2154, 2263, 2994, 3794, 4269, 28992, 31287, 32617, 5498])
def test_any_usual_system_gives_a_local_grid_on_its_own_datum(epsg: int) -> None:
    source = pyproj.CRS(epsg)
    area = source.area_of_use
    lon, lat = (area.west + area.east) / 2, (area.south + area.north) / 2
    grid = covering_grid(local_crs(source, lon, lat), (-50, -50, 50, 50), 1.0, 90)
    assert grid.lonlat(0.0, 0.0) == pytest.approx((round(lon, 6), round(lat, 6)), abs=1e-9)


def test_snyder_example() -> None:
    """Transverse Mercator, [@snyder-1987]: x 127106.5, y 4484124.4, k 0.9997989;
    convergence 0.97430 deg derived with PROJ."""
    text = "+proj=tmerc +a=6378206.4 +es=0.00676866 +lon_0=-75 +lat_0=0 +k=0.9996 +type=crs"
    change = pyproj.Transformer.from_crs(pyproj.CRS(text).geodetic_crs, text, always_xy=True)
    assert change.transform(-73.5, 40.5) == pytest.approx((127106.5, 4484124.4), abs=0.06)
    factors = pyproj.Proj(text).get_factors(-73.5, 40.5)
    assert factors.meridional_scale == pytest.approx(0.9997989, abs=1e-7)
    assert factors.meridian_convergence == pytest.approx(0.97430, abs=1e-4)


def test_transformers_are_kept() -> None:
    wkt = pyproj.CRS(4326).to_wkt()
    assert transformer(wkt, "EPSG:3857") is transformer(wkt, "EPSG:3857")
