"""Inputs in memory are read as the same content from files is."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import xarray
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, plain_farm
from tunnelsite import read_site
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.io.read.given import features_of, heights_given


def _array(values: np.ndarray, **attributes: object) -> xarray.DataArray:
    rows, cols = values.shape
    places = {"northing": NORTH - np.arange(rows) - 0.5, "easting": WEST + np.arange(cols) + 0.5}
    return xarray.DataArray(values, places, ("northing", "easting"), attrs={"crs": UTM17} | attributes)


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("given")
    plain_farm(folder)
    return folder


def test_a_site_in_memory_is_that_of_the_files(farm: Path) -> None:
    named = read_site(str(farm / "dem.tif"), str(farm / "parcels.gpkg"))
    with rasterio.open(farm / "dem.tif") as file:
        array = _array(file.read(1), units="m")
    frame = geopandas.read_file(farm / "parcels.gpkg")
    given = read_site(array, frame)
    assert np.allclose(given.dem.values + given.dem.datum_m, named.dem.values + named.dem.datum_m, atol=1e-4)
    assert given.dem.affine == pytest.approx(named.dem.affine)
    assert [a.equals(b) for a, b in zip(given.parcels.geometry, named.parcels.geometry, strict=True)] == [True]
    assert given.dem.sha256 and given.parcels.sha256


def test_a_path_may_be_a_path(farm: Path) -> None:
    assert read_site(farm / "dem.tif", farm / "parcels.gpkg").dem.name == "dem.tif"


def test_rows_from_the_south_are_turned() -> None:
    up = _array(np.arange(20.0).reshape(4, 5), units="m")
    found = heights_given(up.isel(northing=slice(None, None, -1)), "DEM", None, None)
    assert np.array_equal(found.values + found.datum_m, up.values)


def test_what_the_layers_of_a_result_look_like_can_be_given_back() -> None:
    values = np.arange(20.0).reshape(4, 5)
    place = {"crs_wkt": UTM17, "GeoTransform": f"{WEST} 0.8 0.6 {NORTH} 0.6 -0.8"}
    array = xarray.DataArray(values, {"spatial_ref": ((), 0, place)}, ("across", "along"), attrs={"units": "m"})
    assert heights_given(array, "DEM", None, None).affine == (0.8, 0.6, WEST, 0.6, -0.8, NORTH)


def test_feet_are_read_and_asked_for() -> None:
    feet = _array(np.full((4, 5), 100.0), units="ft")
    assert heights_given(feet, "DEM", None, None).datum_m + heights_given(feet, "DEM", None, None).values[
        0, 0
    ] == pytest.approx(30.48)
    unsaid = _array(np.full((4, 5), 100.0), crs="EPSG:2994")
    with pytest.raises(InputRefused, match="units"):
        heights_given(unsaid, "DEM", None, None)
    assert heights_given(unsaid, "DEM", "ft", None).unit == "ft"
    for words, unit in (("foot", "ft"), ("US survey foot", "us-ft"), ("metres", "m")):
        assert heights_given(feet.assign_attrs(units=words), "DEM", None, None).unit == unit
    above_datum = feet.assign_attrs(
        units="", crs="EPSG:6346+6360"
    )  # NAD83(2011), UTM 17N, with NAVD88 height (ftUS), EPSG registry
    assert heights_given(above_datum, "DEM", None, None).unit == "us-ft"


def test_an_unknown_unit_is_never_taken_for_metres() -> None:
    with pytest.raises(UsageError, match="fathom"):
        heights_given(_array(np.full((4, 5), 100.0), units="fathom"), "DEM", None, None)


def test_open_datasets_are_read_as_their_files(farm: Path) -> None:
    named = read_site(farm / "dem.tif", farm / "parcels.gpkg")
    with rasterio.open(farm / "dem.tif") as file:
        assert read_site(file, farm / "parcels.gpkg").dem.sha256 == named.dem.sha256
    with rasterio.MemoryFile((farm / "dem.tif").read_bytes()) as memory, memory.open() as file:
        found = read_site(file, farm / "parcels.gpkg").dem
    assert found.affine == named.dem.affine and found.unit == named.dem.unit
    assert np.allclose(found.values + found.datum_m, named.dem.values + named.dem.datum_m, atol=1e-4)


def test_far_land_own_layers_and_bare_geometries_may_be_in_memory(farm: Path) -> None:
    frame = geopandas.read_file(farm / "parcels.gpkg")
    acid = np.full((4, 5), 6.5)
    acid[0, 0] = -1.0
    far, soil = _array(np.full((4, 5), 100.0), units="m"), _array(acid, units="pH", _FillValue=-1.0)
    site = read_site(farm / "dem.tif", frame.geometry, far_dem=far, layers={"soil_ph": soil, "beds": frame})
    assert site.parcels.geometry[0].equals(frame.geometry[0])
    assert site.far_dem is not None and site.far_dem.datum_m + site.far_dem.values[0, 0] == pytest.approx(100.0)
    own = site.own_rasters["soil_ph"]
    assert (own.unit, np.isnan(own.values[0, 0]), own.values[1, 1]) == ("pH", True, 6.5)
    assert len(site.own_features["beds"]) == len(frame) and own.sha256


@pytest.mark.parametrize(
    ("array", "words"),
    [
        (_array(np.ones((4, 5))).assign_attrs(crs=""), "coordinate system"),
        (_array(np.ones((4, 5))).assign_attrs(crs="somewhere"), "coordinate system"),
        (_array(np.ones((2, 5))), "shape"),
        (_array(np.ones((4, 5))).drop_vars("easting"), "no coordinates"),
        (_array(np.ones((4, 5))).assign_coords(easting=[1.0, 2, 3, 4, 9]), "evenly"),
    ],
)
def test_what_has_no_place_is_refused(array: xarray.DataArray, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        heights_given(array, "DEM", None, None)


def test_other_things_are_refused_in_words(farm: Path) -> None:
    with pytest.raises(UsageError, match=r"DataArray"):
        read_site(np.ones((4, 5)), str(farm / "parcels.gpkg"))  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="GeoDataFrame"):
        features_of([1, 2], "parcels", kinds=("polygon",))  # type: ignore[arg-type]
    with pytest.raises(InputRefused, match="CRS"):
        features_of(geopandas.GeoDataFrame(geometry=[]), "parcels", kinds=("polygon",))


def test_layers_are_rasters_for_others(farm: Path, tmp_path: Path) -> None:
    rioxarray = pytest.importorskip("rioxarray")
    assert rioxarray
    from tunnelsite import House, screen

    result = screen(read_site(str(farm / "dem.tif"), str(farm / "parcels.gpkg")), House.parse("30x96ft"))
    ground = result.layers["ground"]
    ground.rio.to_raster(tmp_path / "ground.tif")
    with rasterio.open(tmp_path / "ground.tif") as back, rasterio.open(farm / "dem.tif") as dem:
        assert back.transform.almost_equals(Affine(*result.frame.grid.affine), 1e-6)
        assert abs(float(np.nanmean(back.read(1))) - float(dem.read(1).mean())) < 1.0
    assert heights_given(ground, "DEM", None, None).values.shape == ground.shape
    for name, layer in result.layers.items():  # half precision and true or false too
        layer.rio.to_raster(tmp_path / f"{name}.tif")
