"""Tiles in two coordinate systems: each parcel is screened on the tiles that know it best, with the others' heights beyond their edge."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from pandas.testing import assert_frame_equal
from rasterio.transform import Affine

from tests.region.farms import SCREENED
from tests.whole_run.files import UTM17, write_dem, write_parcels
from tunnelsite.core.errors import InputRefused
from tunnelsite.hosts.cli.main import main
from tunnelsite.region.inputs import read_region
from tunnelsite.region.screened import planned
from tunnelsite.region.tasks import RegionPlan
from tunnelsite.settings.model import settings_from

UTM18, SIDE, LAT, SEAM = "EPSG:32618", 150, 42.4, -78.0
LOCAL = pyproj.CRS.from_proj4(f"+proj=tmerc +lat_0={LAT} +lon_0={SEAM} +datum=WGS84").to_wkt()
ASKED = [*SCREENED, "--workers", "0", "--group-size", "0m"]


def corner(system: str, lon: float) -> tuple[float, float]:
    """Easting and northing of a place on the parallel of the farms, whole metres."""
    east, north = pyproj.Transformer.from_crs("EPSG:4326", system, always_xy=True).transform(lon, LAT)
    return float(round(east)), float(round(north))


@pytest.fixture(scope="module")
def tiles(tmp_path_factory) -> tuple[Path, Path]:
    """(folder of one tile on either side of the meridian between zones 17 and 18, parcels: one on each)."""
    folder = tmp_path_factory.mktemp("zones") / "tiles"
    folder.mkdir()
    r, c = np.mgrid[0:SIDE, 0:SIDE]
    noise = np.random.default_rng(3).normal(0, 0.01, (2, SIDE, SIDE))
    shapes = []
    for k, (system, lon) in enumerate(((UTM17, -78.003), (UTM18, -77.999))):
        west, north = corner(system, lon)
        heights = (200 + 0.006 * c - 0.004 * r + (0.3 + k) * np.sin(c / 40) + noise[k]).astype(np.float32)
        write_dem(folder / f"{system[-2:]}.tif", heights, Affine(1, 0, west, 0, -1, north), system, nodata=-9999)
        box = shapely.box(west + 20, north - 120, west + 130, north - 20)
        change = pyproj.Transformer.from_crs(system, "EPSG:4326", always_xy=True).transform
        shapes.append(shapely.transform(shapely.segmentize(box, 10), change, interleaved=False))
    return folder, write_parcels(folder.parent / "parcels.gpkg", shapes, "EPSG:4326", parcel=["west", "east"])


def screened(dem: Path, parcels: Path, out: Path) -> dict:
    assert main(["region", str(dem), str(parcels), *ASKED, "--out", str(out), "-q"]) == 0
    return {name: pyogrio.read_dataframe(out, layer=name) for name in ("parcels", "candidates", "run")}


def test_each_parcel_as_on_its_own_tiles(tiles, tmp_path: Path, capsys) -> None:
    folder, parcels = tiles
    both = screened(folder, parcels, tmp_path / "both.gpkg")
    assert both["parcels"].state.tolist() == ["screened", "screened"]
    alone = screened(folder / "18.tif", parcels, tmp_path / "east.gpkg")
    for layer, without in (("parcels", {"task", "reason", "state"}), ("candidates", {"rank"})):
        one, two = (found[layer][found[layer].parcel == "east"].reset_index(drop=True) for found in (both, alone))
        columns = [column for column in one.columns if column not in without]
        assert len(one)
        assert_frame_equal(one[columns], two[columns], check_dtype=False, check_exact=True)
    run = both["run"]
    assert run.value.str.contains("2 coordinate systems").any()
    assert all(run.value.str.contains(f"water was followed over all of {k}.tif").any() for k in (17, 18))
    assert len(run[run.kind == "input"]) == 3
    assert main(["region", str(folder), str(parcels), *ASKED, "--dry-run"]) == 0
    assert "2 parcels in 2 tasks" in capsys.readouterr().out


def seam_ground(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Gentle ground by degrees from the middle of the seam."""
    x, y = (east - SEAM) * 82_300, (north - LAT) * 111_000
    return 200 + 0.005 * x - 0.004 * y + 0.3 * np.sin(x / 25) + 0.2 * np.cos(y / 20)


def seam_tile(path: Path, system: str, keep, size: tuple[int, int] = (320, 220)) -> None:
    """A tile round the middle of the seam, without data where `keep` of the degrees east of the seam is false."""
    cols, rows = size
    west, north = corner(system, SEAM)
    place = Affine(1, 0, west - cols // 2, 0, -1, north + rows // 2)
    col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    change = pyproj.Transformer.from_crs(system, "EPSG:4326", always_xy=True)
    lon, lat = change.transform(place.c + col, place.f - row)
    heights = np.where(keep(lon - SEAM), seam_ground(lon, lat), -9999).astype(np.float32)
    write_dem(path, heights, place, system, nodata=-9999)


def seam_parcels(path: Path) -> Path:
    """Three parcels: across the seam, and one on either side that its halo reaches over."""
    change = pyproj.Transformer.from_crs(LOCAL, "EPSG:4326", always_xy=True).transform
    boxes = [shapely.box(west, -45, west + 80, 45) for west in (-45, -128, 38)]
    shapes = [shapely.transform(shapely.segmentize(box, 10), change, interleaved=False) for box in boxes]
    return write_parcels(path, shapes, "EPSG:4326", parcel=["across", "west", "east"])


@pytest.mark.parametrize("other", [UTM18, "EPSG:5070"])
def test_a_parcel_across_the_seam_as_on_one_raster(other: str, tmp_path: Path) -> None:
    """Tiles that meet at the seam without overlap, against a raster of the same ground in one system."""
    parcels = seam_parcels(tmp_path / "parcels.gpkg")
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
    seam_tile(tmp_path / "one" / "all.tif", LOCAL, lambda east: east == east)
    seam_tile(tmp_path / "two" / "a.tif", UTM17, lambda east: east <= 0)
    seam_tile(tmp_path / "two" / "b.tif", other, lambda east: east >= 0)
    one, two = (screened(tmp_path / name, parcels, tmp_path / f"{name}.gpkg") for name in ("one", "two"))
    expected, found = (each["parcels"].set_index("parcel") for each in (one, two))
    assert found.state.tolist() == ["screened"] * 3
    assert found.feasible_6x15m.tolist() == expected.feasible_6x15m.tolist() == [1, 1, 1]
    assert found.best_score.to_numpy() == pytest.approx(expected.best_score.to_numpy(), abs=2.0)
    assert found.centres_m2.to_numpy() == pytest.approx(expected.centres_m2.to_numpy(), rel=0.03)


def test_a_parcel_goes_with_the_system_that_holds_most_data_of_it(tmp_path: Path) -> None:
    parcels = seam_parcels(tmp_path / "parcels.gpkg")
    (tmp_path / "dem").mkdir()
    seam_tile(tmp_path / "dem" / "a.tif", UTM17, lambda east: east <= 0)  # its rectangle reaches over all three
    seam_tile(tmp_path / "dem" / "b.tif", UTM18, lambda east: east >= -0.0003)
    settings = settings_from({"dem": str(tmp_path / "dem"), "parcels": str(parcels), "house": ["6x15m"]})
    region = read_region(settings)
    assert [region.lands[k].dem.whole.crs.name[-3:] for k in region.land_of] == ["18N", "17N", "18N"]


def test_parcels_of_one_square_are_kept_apart_by_system(tiles) -> None:
    settings = settings_from({"dem": str(tiles[0]), "parcels": str(tiles[1]), "house": ["6x15m"]})
    tasks, _ = planned(read_region(settings), settings, RegionPlan(group_size_m=20_000.0))
    assert [task.parcels.tolist() for task in tasks] == [[0], [1]]


def test_a_surface_in_one_system_alone_is_refused(tiles) -> None:
    given = {"dem": str(tiles[0]), "parcels": str(tiles[1]), "surface": str(tiles[0] / "17.tif"), "house": ["6x15m"]}
    with pytest.raises(InputRefused, match="UTM zone 18N"):
        read_region(settings_from(given))
