"""From gathered files to a screening: the points' own errors are counted, and where everything came from is in its pages."""

from __future__ import annotations

import html
import pickle
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from tests.gather.made import cloud, middle_deg
from tests.io.fetch.servers import Site, serving
from tunnelsite import screen
from tunnelsite.core.elevation_error import CELL_ERROR
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import SourceRaster
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.features import FeatureRequest
from tunnelsite.gather.request import GatherRequest, area_around, gather
from tunnelsite.io.read.gathered import gathered_entries
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.io.read.site import read_site
from tunnelsite.region.inputs import read_region, task_inputs, task_site
from tunnelsite.report.report import make_report
from tunnelsite.report.settings import ReportSettings
from tunnelsite.screening.layers import framed
from tunnelsite.settings.model import Settings

pytest.importorskip("laspy")


def _field() -> dict:
    lon, lat = middle_deg()
    ring = [
        [lon + east, lat + north]
        for east, north in [(-2e-4, -2e-4), (0, -2e-4), (0, 2e-4), (-2e-4, 2e-4), (-2e-4, -2e-4)]
    ]
    return {
        "type": "Feature",
        "properties": {"name": "west field"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    """A folder with a cloud's rasters and a parcel, gathered from two sources with a licence each."""
    folder = tmp_path_factory.mktemp("farm")
    lon, lat = middle_deg()
    with serving(Site({"/tile.laz": cloud(noise_m=0.06)})) as site:
        site.put("/collections/parcels/items", {"type": "FeatureCollection", "features": [_field()], "links": []})
        points = DataSource("survey", "points", f"{site.address}/tile.laz", licence="CC0 1.0", datum="invented datum")
        land = DataSource("county", "features", site.address, collection="parcels", licence="open, with attribution")
        area = area_around(f"{lat},{lon}:50m", 0.0)
        gather(
            GatherRequest(area, points=((points, points.address),), features=(FeatureRequest("parcels", land),)), folder
        )
    return folder


def _read(folder: Path):
    return read_site(str(folder / "ground.tif"), str(folder / "parcels.geojson"), reading=RasterReading(halo_m=20.0))


def test_the_errors_of_the_points_are_read_with_their_dem(farm: Path) -> None:
    site = _read(farm)
    assert site.dem_error is not None and site.inputs[2] is site.dem_error
    frame = framed(site, Settings(dem="x", parcels="y", halo_m=20.0), 90.0)
    assert frame.error.measured and 0.01 < np.nanmedian(frame.layers[CELL_ERROR]) < 0.06
    assert frame.error.sd_m == pytest.approx(np.sqrt(np.nanmean(frame.layers[CELL_ERROR].astype(float) ** 2)))
    stated = framed(site, Settings(dem="x", parcels="y", halo_m=20.0, elevation_error_m=0.2), 90.0)
    assert not stated.error.measured and stated.error.sd_m == 0.2


def test_errors_that_were_changed_or_are_gone_are_not_counted(farm: Path, tmp_path: Path) -> None:
    for name in ("ground.tif", "parcels.geojson", "gathered.json"):
        (tmp_path / name).write_bytes((farm / name).read_bytes())
    gone = _read(tmp_path)
    (tmp_path / "ground-error.tif").write_bytes((farm / "ground-error.tif").read_bytes() + b" ")
    changed = _read(tmp_path)
    for site, words in ((gone, "ground-error.tif"), (changed, "has changed since it was gathered")):
        assert site.dem_error is None
        assert any(words in note and "not counted" in note for note in site.dem.notes)


def test_a_record_leads_to_no_other_folder(farm: Path, tmp_path: Path) -> None:
    for name in ("ground.tif", "parcels.geojson"):
        (tmp_path / name).write_bytes((farm / name).read_bytes())
    record = (farm / "gathered.json").read_text()
    (tmp_path / "gathered.json").write_text(record.replace('"ground-error.tif"', f'"{farm}/ground-error.tif"'))
    assert _read(tmp_path).dem_error is None


def test_where_everything_came_from_is_in_the_run_table_and_the_report(farm: Path) -> None:
    result = screen(_read(farm), settings=Settings(house=("4x6m",), top=1, halo_m=20.0, azimuths=8))
    table = "\n".join(" ".join(map(str, row.values())) for row in result.tables["run"].rows)
    page = html.unescape(make_report(result, ReportSettings(cards=0)).page)
    for text in (table, page):
        for entry in gathered_entries(farm):
            if entry["file"] in ("ground.tif", "ground-error.tif", "parcels.geojson"):
                told = (
                    entry["sha256"],
                    entry["addresses"][0].partition("?")[0],
                    entry["licence"],
                    entry["fetched"][:10],
                )
                assert not [one for one in told if one not in text], entry["file"]
        assert "by the scatter of the survey's points" in text


def _beside(farm: Path, folder: Path) -> Path:
    """A VRT of the gathered ground and of a tile east of it that no record names."""
    with rasterio.open(farm / "ground.tif") as source:
        profile, heights = source.profile, source.read()
        unit = source.units[0]
    step, (rows, cols) = profile["transform"], heights.shape[1:]
    profile |= {"driver": "GTiff", "transform": step * Affine.translation(cols, 0)}
    with rasterio.open(folder / "east.tif", "w", **profile) as file:
        file.write(heights)
        file.set_band_unit(1, unit)
    part = f'<SrcRect xOff="0" yOff="0" xSize="{cols}" ySize="{rows}"/>'
    sources = "".join(
        f"<SimpleSource><SourceFilename>{path}</SourceFilename><SourceBand>1</SourceBand>{part}"
        f'<DstRect xOff="{left}" yOff="0" xSize="{cols}" ySize="{rows}"/></SimpleSource>'
        for path, left in ((farm / "ground.tif", 0), (folder / "east.tif", cols))
    )
    path = folder / "all.vrt"
    path.write_text(
        f'<VRTDataset rasterXSize="{2 * cols}" rasterYSize="{rows}"><SRS>{profile["crs"]}</SRS>'
        f"<GeoTransform>{', '.join(map(str, step.to_gdal()))}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><NoDataValue>{profile["nodata"]}</NoDataValue>{sources}</VRTRasterBand></VRTDataset>'
    )
    return path


def _same(found: SourceRaster, wanted: SourceRaster) -> bool:
    """Whether two rasters tell the same of the cells that both hold."""
    (row, col), (rows, cols) = (
        np.round(~Affine(*found.affine) * (wanted.affine[2], wanted.affine[5]))[::-1].astype(int),
        wanted.shape,
    )
    return np.array_equal(found.values[row : row + rows, col : col + cols], wanted.values, equal_nan=True)


def test_tiles_tell_the_errors_of_those_cells_that_were_gathered(farm: Path, tmp_path: Path) -> None:
    vrt = _beside(farm, tmp_path)
    parcels = str(farm / "parcels.geojson")
    site = read_site(str(vrt), parcels, reading=RasterReading(halo_m=20.0))
    assert np.isfinite(site.dem_error.values).any() and _same(site.dem_error, _read(farm).dem_error)
    assert any("known of 1 of 2 tiles" in note for note in site.dem.notes)


@pytest.mark.parametrize("tiles", [False, True])
def test_tasks_of_a_region_count_the_errors_of_the_points(farm: Path, tmp_path: Path, tiles: bool) -> None:
    dem = _beside(farm, tmp_path) if tiles else farm / "ground.tif"
    settings = Settings(dem=str(dem), parcels=str(farm / "parcels.geojson"), halo_m=20.0)
    region = read_region(settings)
    assert ("dem_error", "ground-error.tif") in [role[:2] for role in region.by_role]
    task = pickle.loads(pickle.dumps(task_inputs(region, np.array([0]), settings)))
    site = task_site(task, settings)
    assert _same(site.dem_error, _read(farm).dem_error)
    assert framed(site, settings, 90.0).error.measured
    assert any("known of 1 of 2 tiles" in note for note in site.dem.notes) == tiles


def test_errors_that_change_while_a_region_runs_are_refused(farm: Path, tmp_path: Path) -> None:
    for path in farm.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    settings = Settings(dem=str(tmp_path / "ground.tif"), parcels=str(tmp_path / "parcels.geojson"), halo_m=20.0)
    task = task_inputs(read_region(settings), np.array([0]), settings)
    (tmp_path / "ground-error.tif").write_bytes(b"other")
    with pytest.raises(InputRefused, match="has changed"):
        task_site(task, settings)
