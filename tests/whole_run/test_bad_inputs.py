"""Hostile and odd inputs through the whole screening. Each test is named after the number of its kind of bad input;
rows on the files themselves are in tests/io."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_dem, write_parcels
from tunnelsite import read_site, screen
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.house import House
from tunnelsite.core.units import FOOT_M, US_SURVEY_FOOT_M
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.settings.model import settings_from

HOUSE = House(6.0, 14.0, kind="container")
SETTINGS = settings_from({"halo": "20m", "top": 3, "kind": "container", "apron": "0.5m"})


def run(dem: Path, parcels: Path, house: House = HOUSE, settings=SETTINGS, reading: RasterReading | None = None):
    return screen(
        read_site(str(dem), str(parcels), reading=reading or RasterReading(halo_m=20.0)), house, settings=settings
    )


def summary(result) -> list[tuple]:
    names = ("score", "lon", "lat", "pitch_along_pct", "pitch_across_pct", "cut_m3", "beam_share", "upslope_m2")
    return [tuple(row[name] for name in names) for row in result.rows]


def notes(result) -> str:
    return " | ".join(row["value"] for row in result.tables["run"].rows if row["kind"] == "note")


def test_crs_03_degrees_are_warped_and_slopes_are_right(tmp_path: Path) -> None:
    lon, lat, step = -79.0, 43.0, 1e-5
    rows, cols = 120, 140
    geod = pyproj.Geod(ellps="WGS84")
    east = geod.inv(lon, lat, lon + step, lat)[2]
    _r, c = np.mgrid[0:rows, 0:cols]
    slope = 0.012
    heights = (150 + slope * east * c).astype(np.float64)
    dem = write_dem(tmp_path / "d.tif", heights, Affine(step, 0, lon, 0, -step, lat), "EPSG:4326")
    parcel = shapely.box(lon + 10 * step, lat - 110 * step, lon + 130 * step, lat - 10 * step)
    result = run(dem, write_parcels(tmp_path / "p.gpkg", [parcel], "EPSG:4326"))
    assert result.rows[0]["pitch_along_pct"] == pytest.approx(100 * slope, rel=0.01)
    assert abs(result.rows[0]["pitch_across_pct"]) < 0.01


@pytest.mark.parametrize(("epsg", "unit"), [(2263, US_SURVEY_FOOT_M), (2222, FOOT_M)])
def test_crs_05_and_09_feet_on_the_map_metres_up(tmp_path: Path, epsg: int, unit: float) -> None:
    """EPSG:2263 counts in US survey feet (0.3048006096 m), EPSG:2222 in international feet."""
    area = pyproj.CRS(epsg).area_of_use
    lon, lat = (area.west + area.east) / 2, (area.south + area.north) / 2
    west, north = pyproj.Transformer.from_crs(4326, epsg, always_xy=True).transform(lon, lat)
    c = np.mgrid[0:120, 0:160][1]
    heights = 30 + 0.01 * 3 * unit * c  # 1 % in true metres per map metre
    dem = write_dem(tmp_path / "d.tif", heights, Affine(3, 0, west, 0, -3, north), f"EPSG:{epsg}")
    parcel = shapely.box(west + 20, north - 340, west + 460, north - 20)
    land = write_parcels(tmp_path / "p.gpkg", [parcel], f"EPSG:{epsg}")
    with pytest.raises(InputRefused, match="are they in feet or in metres"):
        run(dem, land)
    result = run(dem, land, reading=RasterReading(elevation_unit="m", halo_m=20.0))
    factors = pyproj.Proj(f"EPSG:{epsg}").get_factors(lon, lat)
    turn, scale = np.radians(factors.meridian_convergence), factors.meridional_scale
    assert result.rows[0]["pitch_along_pct"] == pytest.approx(1.0 * scale * np.cos(turn), rel=2e-3)


def test_crs_07_the_vertical_unit_is_always_echoed(tmp_path: Path) -> None:
    heights = (gentle() / FOOT_M).astype(np.float32)
    dem, parcels = plain_farm(tmp_path, heights)
    silent = run(dem, parcels)
    assert "assumed metres" in notes(silent)
    stated = run(dem, parcels, reading=RasterReading(elevation_unit="ft", halo_m=20.0))
    assert "as stated" in notes(stated)
    assert np.nanstd(silent.frame.ground) == pytest.approx(np.nanstd(stated.frame.ground) / FOOT_M, rel=1e-3)
    metres = tmp_path / "m"
    metres.mkdir()
    truth = run(*plain_farm(metres))
    assert summary(stated)[0][1:3] == pytest.approx(summary(truth)[0][1:3], abs=1e-6)


def test_crs_11_parcels_in_another_system(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    here = run(dem, parcels)
    change = pyproj.Transformer.from_crs(UTM17, 4326, always_xy=True)
    shape = shapely.segmentize(shapely.box(WEST + 3, NORTH - 77, WEST + 97, NORTH - 3), 10)
    degrees = shapely.transform(shape, lambda p: np.column_stack(change.transform(p[:, 0], p[:, 1])))
    there = run(dem, write_parcels(tmp_path / "q.gpkg", [degrees], "EPSG:4326"))
    assert [a[:3] for a in summary(there)] == [pytest.approx(b[:3], abs=1e-6) for b in summary(here)]
    assert there.crs.to_epsg() == 4326


def test_crs_13_parcels_elsewhere(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    away = write_parcels(tmp_path / "far.gpkg", [shapely.box(WEST + 1e5, NORTH, WEST + 1e5 + 90, NORTH + 90)], UTM17)
    with pytest.raises(InputRefused, match=r"do not meet.*99,900 metres apart"):
        run(dem, away)


def test_crs_15_no_link_to_the_earth(tmp_path: Path) -> None:
    site_crs = 'LOCAL_CS["plant grid",UNIT["metre",1]]'
    dem = write_dem(tmp_path / "d.tif", gentle(), Affine(1, 0, 0, 0, -1, 80), site_crs)
    parcels = write_parcels(tmp_path / "p.gpkg", [shapely.box(WEST, NORTH, WEST + 50, NORTH + 50)], UTM17)
    with pytest.raises(InputRefused, match="coordinate system"):
        run(dem, parcels)


def test_crs_17_beyond_the_zone_true_east_stays_true(tmp_path: Path) -> None:
    """6 degrees off UTM 17's central meridian the grid is 4 deg off true north; the ridge is not."""
    east, north = pyproj.Transformer.from_crs(4326, UTM17, always_xy=True).transform(-75.0, 44.0)
    dem = write_dem(tmp_path / "d.tif", gentle(160, 160), Affine(1, 0, east, 0, -1, north), UTM17)
    parcel = shapely.box(east + 20, north - 140, east + 140, north - 20)
    result = run(dem, write_parcels(tmp_path / "p.gpkg", [parcel], UTM17))
    corners = shapely.get_coordinates(result.tables["candidates"].geometry[0])[:4]
    lon, lat = pyproj.Transformer.from_crs(UTM17, 4326, always_xy=True).transform(corners[:, 0], corners[:, 1])
    geod = pyproj.Geod(ellps="WGS84")
    sides = [geod.inv(lon[k], lat[k], lon[(k + 1) % 4], lat[(k + 1) % 4]) for k in range(4)]
    assert all(azimuth % 180 == pytest.approx(90, abs=0.02) for azimuth, _, length in sides if length > 10)


def test_crs_19_parcels_across_the_date_line_are_refused(tmp_path: Path) -> None:
    dem = write_dem(tmp_path / "d.tif", gentle(), Affine(1e-5, 0, 179.9995, 0, -1e-5, -17.0), "EPSG:4326")
    shapes = [
        shapely.box(179.9996, -17.0007, 179.9999, -17.0001),
        shapely.box(-179.9999, -17.0007, -179.9996, -17.0001),
    ]
    with pytest.raises(InputRefused, match="180 degree meridian"):
        run(dem, write_parcels(tmp_path / "p.gpkg", shapes, "EPSG:4326"))


def test_grid_01_south_up_gives_the_same_bits(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    flipped = write_dem(tmp_path / "up.tif", gentle()[::-1].copy(), Affine(1, 0, WEST, 0, 1, NORTH - 80), UTM17)
    assert summary(run(flipped, parcels)) == summary(run(dem, parcels))


def test_grid_03_cells_that_are_not_square(tmp_path: Path) -> None:
    r, c = np.mgrid[0:60, 0:140]
    heights = 100 + 0.01 * c - 0.02 * 2 * r
    east, north = pyproj.Transformer.from_crs(4326, UTM17, always_xy=True).transform(-81.0, 43.0)
    dem = write_dem(tmp_path / "d.tif", heights, Affine(1, 0, east, 0, -2, north), UTM17)
    parcel = shapely.box(east + 5, north - 115, east + 135, north - 5)
    row = run(dem, write_parcels(tmp_path / "p.gpkg", [parcel], UTM17)).rows[0]
    assert row["pitch_along_pct"] == pytest.approx(1.0 * 0.9996, rel=1e-4)
    assert row["pitch_across_pct"] == pytest.approx(2.0 * 0.9996, rel=1e-4)


def test_grid_07_cells_larger_than_the_house(tmp_path: Path) -> None:
    dem = write_dem(tmp_path / "d.tif", gentle(), Affine(30, 0, WEST, 0, -30, NORTH), UTM17)
    parcels = write_parcels(tmp_path / "p.gpkg", [shapely.box(WEST + 90, NORTH - 500, WEST + 500, NORTH - 90)], UTM17)
    with pytest.raises(InputRefused, match=r"wider than a house.*--cell 2m"):
        run(dem, parcels)
    rough = run(dem, parcels, settings=SETTINGS.model_copy(update={"cell_m": 2.0}))
    assert "cells of d.tif are 30 m and cannot show how level the ground under a house 6 m wide is" in notes(rough)


def test_values_01_and_03_no_data_of_every_kind(tmp_path: Path) -> None:
    """A hole is a hole however it is written, and its neighbours are clean."""
    truth = None
    for name, hole, nodata, dtype in (
        ("nan", np.nan, np.nan, "float32"),
        ("declared", -9999.0, -9999.0, "float32"),
        ("undeclared", -9999.0, None, "float32"),
        ("min", -3.4028234663852886e38, -3.4028234663852886e38, "float32"),
        ("double", -32768.0, -32768.0, "float64"),
    ):
        heights = gentle().astype(dtype)
        heights[30:36, 40:48] = hole
        folder = tmp_path / name
        folder.mkdir()
        result = run(*plain_farm(folder, heights, **({} if nodata is None else {"nodata": nodata})))
        kept = set(result.scans[0].index.tolist())
        truth = truth or kept
        assert kept == truth
        assert result.rows[0]["roughness_m"] < 0.05


def test_values_05_nothing_but_no_data(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path, np.full((80, 100), -9999, np.float32), nodata=-9999)
    with pytest.raises(InputRefused, match=r"no (height|data|valid|cell)"):
        run(dem, parcels)


def test_values_07_a_perfectly_flat_dem(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path, np.full((80, 100), 50.0, np.float32))
    one, two = run(dem, parcels), run(dem, parcels)
    assert summary(one) == summary(two) and len(one.rows) == 3
    assert one.rows[0]["pitch_along_pct"] == 0 and one.rows[0]["cut_m3"] == 0
    marks = [
        {name: mark for name, mark in row.items() if name.startswith("score_") and mark == mark} for row in one.rows
    ]
    known = set.intersection(*(set(row) for row in marks)) - {
        "score_here",
        "score_lowest",
    }  # lines beyond the data are not
    assert len(known) > 10 and all(marks[0][name] == pytest.approx(marks[2][name]) for name in known)
    alike = [row for row, mark in zip(one.rows, marks, strict=True) if mark.keys() == marks[0].keys()]
    assert all(row["score"] == pytest.approx(one.rows[0]["score"], abs=0.05) for row in alike)
    assert all(row["score"] <= one.rows[0]["score"] for row in one.rows)  # what is not known counts half


def test_parcels_05_a_rectangle_never_bridges_two_parts(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    left, right = (
        shapely.box(WEST + 5, NORTH - 70, WEST + 40, NORTH - 5),
        shapely.box(WEST + 40.5, NORTH - 70, WEST + 90, NORTH - 5),
    )
    both = shapely.MultiPolygon([left, right])
    result = run(
        dem, write_parcels(tmp_path / "q.gpkg", [both], UTM17), settings=SETTINGS.model_copy(update={"top": 40})
    )
    assert len(result.rows) > 10
    for pad in result.tables["pads"].geometry:
        assert shapely.buffer(left, 1e-5).covers(pad) != shapely.buffer(right, 1e-5).covers(pad)


def test_parcels_07_overlapping_parcels_list_a_place_once(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    shape = shapely.box(WEST + 5, NORTH - 70, WEST + 90, NORTH - 5)
    twice = run(dem, write_parcels(tmp_path / "q.gpkg", [shape, shape], UTM17))
    once = run(dem, write_parcels(tmp_path / "r.gpkg", [shape], UTM17))
    assert summary(twice) == summary(once)
    assert {row["parcel"] for row in twice.rows} == {"p0"}


def test_parcels_09_too_narrow_says_so(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    strip = shapely.box(WEST + 10, NORTH - 70, WEST + 15, NORTH - 5)
    result = run(dem, write_parcels(tmp_path / "q.gpkg", [strip], UTM17), House(9.144, 29.26, kind="container"))
    assert not result.rows
    reason = next(row["reason"] for row in result.tables["rejections"].rows if row["rule"] == "boundary")
    assert reason.startswith(
        "too narrow: 5.00 m (16 ft 5 in) at its widest, and the house needs 9.14 m (30 ft) (the pad is"
    )


def test_layers_05_an_empty_layer_is_not_a_distance_of_zero(tmp_path: Path) -> None:
    import geopandas

    dem, parcels = plain_farm(tmp_path)
    empty = geopandas.GeoDataFrame({"what": []}, geometry=geopandas.GeoSeries([], crs=UTM17), crs=UTM17)
    empty.to_file(tmp_path / "water.gpkg", engine="pyogrio", geometry_type="Point")
    site = read_site(
        str(dem), str(parcels), services={"water": str(tmp_path / "water.gpkg")}, reading=RasterReading(halo_m=20.0)
    )
    result = screen(site, HOUSE, settings=SETTINGS)
    table = result.tables["candidates"]
    assert table.values("reach_water_m") == [None] * len(table.rows)
    assert "score_reach_water" not in table.columns
    assert "no features" in notes(result)


def test_output_19_threads_and_strips_do_not_change_a_bit(tmp_path: Path, monkeypatch) -> None:
    import numba

    from tunnelsite.scan import engine

    dem, parcels = plain_farm(tmp_path, gentle(200, 150))
    whole = run(dem, parcels)
    monkeypatch.setattr(engine, "STRIP_CELLS", 1)
    strips = run(dem, parcels)
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        single = run(dem, parcels)
    finally:
        numba.set_num_threads(threads)
    for other in (strips, single):
        assert summary(other) == summary(whole)
        assert np.array_equal(other.scans[0].index, whole.scans[0].index)
        for name, values in whole.scans[0].measures.items():
            assert np.array_equal(values, other.scans[0].measures[name], equal_nan=True), name


def test_web_mercator_is_measured_on_the_ground(tmp_path: Path) -> None:
    """EPSG:3857 stretches lengths by 1/cos(latitude), 1.41 at 45 deg: cells, slopes and areas are those of the ground."""
    east, north = pyproj.Transformer.from_crs(4326, 3857, always_xy=True).transform(-78.0, 45.0)
    stretch = 1 / np.cos(np.radians(45.0))
    c = np.mgrid[0:150, 0:200][1]
    heights = 100 + 0.01 * c  # 1 % by the map
    dem = write_dem(tmp_path / "d.tif", heights, Affine(1, 0, east, 0, -1, north), "EPSG:3857")
    parcel = shapely.box(east + 5, north - 145, east + 195, north - 5)
    result = run(dem, write_parcels(tmp_path / "p.gpkg", [parcel], "EPSG:3857"))
    assert result.frame.grid.cell_m == pytest.approx(1 / stretch, rel=0.01)
    assert result.rows[0]["pitch_along_pct"] == pytest.approx(stretch, rel=0.01)
    assert result.rows[0]["upslope_m2"] < 200
    shape = result.tables["candidates"].geometry[0]
    assert shapely.area(shape) == pytest.approx(6 * 14 * stretch**2, rel=0.01)


def test_parcels_that_reach_beyond_the_dem_are_named(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    wide = shapely.box(WEST + 3, NORTH - 77, WEST + 197, NORTH - 3)
    result = run(dem, write_parcels(tmp_path / "w.gpkg", [wide], UTM17))
    assert "49% of p0 lies beyond dem.tif and was not looked at" in notes(
        result
    )  # 97 of 194 m; cells at the edge count
