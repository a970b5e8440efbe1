"""Layers of the user's own on the local grid: units, classes, gaps, features, and a criterion that reads them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

from tests.scan.grounds import UTM17, features, hills, raster, site
from tests.whole_run.files import plain_farm, write_dem
from tunnelsite.core import catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.house import House
from tunnelsite.core.rubric import Rubric
from tunnelsite.io.read.own_layers import own_layers
from tunnelsite.io.read.site import read_site
from tunnelsite.screening.layers import framed
from tunnelsite.screening.run import screen
from tunnelsite.settings.model import Settings, own_layer_parts

WEST, NORTH = 499_900.0, 4_700_100.0  # the corner of `site`
SETTINGS = Settings(halo_m=10, azimuths=8, top=3)


def own(values, cell: float = 1.0, west: float = WEST, unit: str = "", **more):
    found = raster(np.asarray(values, float), west, NORTH, cell, datum_m=0.0)
    return replace(found, name="own.tif", unit=unit, **more)


def reader(name: str, unit: str = "1", measure=None, *, classes: bool = False) -> Criterion:
    spec = (LayerSpec(name, unit, "own", classes=classes),) if measure is None else ()
    return Criterion(
        Description("own_one", "Own", "Own.", reads=spec, source="invented", unit=unit),
        measure or (lambda placements: placements.footprint_mean(name)),
        {"any": Rubric(1.0, 0.0, weight=1.0, source="invented")},
        needs=(f"layer:{name}",),
    )


@pytest.fixture
def offered(monkeypatch):
    """A criterion more in the catalogue, for one test."""
    built_in = catalogue.criteria()

    def put(criterion: Criterion) -> None:
        monkeypatch.setattr(catalogue, "criteria", lambda report=None: [*built_in, criterion])

    return put


def frame_of(values, **more):
    return framed(site(hills(48, 64, 9), own_rasters={"own": own(values, **more)}), SETTINGS, 90.0)


def test_a_plane_comes_through_exactly_and_no_data_stays_unknown() -> None:
    plane = 3.0 + 0.5 * np.mgrid[0:48, 0:64][1]
    plane[20, 30] = np.nan
    layer = frame_of(plane, unit="d").layers["own"]
    along = np.nanmedian(np.diff(layer, axis=1))
    assert along == pytest.approx(0.5, abs=1e-3)  # metres of UTM are 0.04 % off true ones
    assert 1 <= np.isnan(layer[15:25, 25:35]).sum() <= 4


def test_classes_are_never_averaged() -> None:
    values = np.where(np.mgrid[0:48, 0:64][1] % 8 < 4, 2.0, 7.0)
    found = frame_of(values, classes=True)
    assert set(np.unique(found.layers["own"][np.isfinite(found.layers["own"])])) == {2.0, 7.0}
    assert any("nearest cell, as classes" in note for note in found.notes)
    mixed = frame_of(values)
    assert len(np.unique(mixed.layers["own"])) > 3  # bilinear between them


def test_a_criterion_may_say_that_it_reads_classes(offered) -> None:
    offered(reader("own", classes=True))
    values = np.where(np.mgrid[0:48, 0:64][1] % 8 < 4, 2.0, 7.0)
    layer = frame_of(values).layers["own"]
    assert set(np.unique(layer[np.isfinite(layer)])) == {2.0, 7.0}


def test_units_are_converted_or_refused_and_a_missing_one_is_said(offered) -> None:
    offered(reader("own", "m"))
    feet = frame_of(np.full((48, 64), 10.0), unit="ft")
    assert np.nanmax(feet.layers["own"]) == pytest.approx(3.048) and feet.units["own"] == "m"
    assert any("converted from ft to m" in note for note in feet.notes)
    silent = frame_of(np.full((48, 64), 10.0))
    assert any("says no unit: taken as m" in note for note in silent.notes)
    with pytest.raises(InputRefused, match="is in kg"):
        frame_of(np.full((48, 64), 10.0), unit="kg")


@pytest.mark.parametrize("name", ["ground", "beam_share", "far_ground", "slope"])
def test_names_of_the_runs_own_layers_are_refused(name) -> None:
    farm = site(hills(48, 64, 9), own_rasters={name: own(np.zeros((48, 64)))})
    with pytest.raises(UsageError, match="the run makes itself"):
        framed(farm, SETTINGS, 90.0)


def test_a_raster_that_covers_a_part_is_null_beyond_it(offered) -> None:
    offered(reader("own"))
    farm = site(hills(48, 64, 9), own_rasters={"own": own(np.ones((48, 32)))})
    result = screen(farm, House(6, 12), settings=SETTINGS)
    found = result.scans[0].measures["own_one"]
    col = result.scans[0].index % result.frame.grid.cols
    assert (found[col < 24] == 1).all() and np.isnan(found[col > 36]).all()
    assert any("no data on 5" in note for note in result.frame.notes)


def test_features_are_there_for_distances(offered) -> None:
    """A well, and a field that holds a part of the placements: 0 inside it."""
    field = features([shapely.box(WEST + 30, NORTH - 60, WEST + 90, NORTH + 10)], name="field")
    offered(reader("field", "m", lambda placements: placements.distance(placements.features("field"))))
    scan = screen(site(hills(48, 64, 9), own_features={"field": field}), House(6, 12), settings=SETTINGS).scans[0]
    col = scan.index % scan.frame.grid.cols
    away = scan.measures["own_one"]
    assert (away[col > 40] == 0).all() and away[col < 12].min() > 5


def test_the_same_on_every_ridge_bearing(offered) -> None:
    """A raster that falls off round a spot has its top at that spot on a turned grid, too."""
    r, c = np.mgrid[0:48, 0:64]
    farm = site(hills(48, 64, 9), own_rasters={"own": own(100 - np.hypot(r - 23.5, c - 39.5))})
    for bearing in (90.0, 60.0, 15.0):
        frame = framed(farm, SETTINGS, bearing)
        row, col = np.unravel_index(np.nanargmax(frame.layers["own"]), frame.grid.shape)
        east, north = frame.grid.to_map(*frame.grid.centre(row, col))
        lon, lat = pyproj.Transformer.from_crs(frame.grid.crs, UTM17, always_xy=True).transform(east, north)
        assert math.hypot(lon - (WEST + 40), lat - (NORTH - 24)) < 1.0


def test_files_are_read_as_they_are(tmp_path: Path) -> None:
    """Scale, offset, no data and the unit of the band; values that no height could have; features beside rasters."""
    dem, parcels = plain_farm(tmp_path)
    values = np.full((20, 25), 12_000, np.int16)
    values[0, 0] = -32768
    path = write_dem(tmp_path / "ppm.tif", values, Affine(4, 0, 700_000, 0, -4, 4_700_000), "EPSG:32617", nodata=-32768)
    with rasterio.open(path, "r+") as file:
        file.units, file.scales, file.offsets = ("ppm",), (2.0,), (1.0,)
    layers = {"ppm": str(path), "land": str(parcels), "kinds": f"{path}@classes"}
    found = read_site(str(dem), str(parcels), layers=layers)
    ppm = found.own_rasters["ppm"]
    assert ppm.unit == "ppm" and np.nanmax(ppm.values) == 24_001 and np.isnan(ppm.values).sum() == 1
    assert found.own_rasters["kinds"].classes and not ppm.classes and len(ppm.sha256) == 64
    assert len(found.own_features["land"]) == 1
    assert {item.name for item in found.inputs} >= {"ppm.tif", "parcels.gpkg"}


def test_a_raster_of_another_place_is_all_unknown(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    far = write_dem(
        tmp_path / "far.tif", np.ones((9, 9), np.float32), Affine(4, 0, 600_000, 0, -4, 4_600_000), "EPSG:32617"
    )
    frame = framed(read_site(str(dem), str(parcels), layers={"own": f"{far}@d"}), SETTINGS, 90.0)
    assert np.isnan(frame.layers["own"]).all() and any("it has no data here" in note for note in frame.notes)


def test_a_file_that_is_no_layer_is_refused(tmp_path: Path) -> None:
    bad = tmp_path / "bad.txt"
    bad.write_text("hello")
    with pytest.raises(InputRefused, match="--layer own"):
        own_layers({"own": str(bad)})
    with pytest.raises(InputRefused, match="--layer own"):
        own_layers({"own": str(tmp_path / "missing.tif")})


def test_an_at_sign_of_the_files_own_name(tmp_path: Path) -> None:
    path = tmp_path / "a@b.tif"
    path.touch()
    assert own_layer_parts(str(path)) == (str(path), "")
    assert own_layer_parts(f"{path}@pH") == (str(path), "pH") and own_layer_parts("x.tif@classes") == (
        "x.tif",
        "classes",
    )


@pytest.mark.parametrize("name", ["", "Soil", "a b", "9x", "a-b", "x" * 41])
def test_names_that_cannot_be_a_layer(name) -> None:
    with pytest.raises((UsageError, ValueError), match="layer name"):
        Settings(layer={name: "x.tif"})
