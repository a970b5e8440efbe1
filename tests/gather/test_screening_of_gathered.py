"""From gathered files to a screening: the points' own errors are counted, and where everything came from is in its pages."""

from __future__ import annotations

import html
from pathlib import Path

import numpy as np
import pytest

from tests.gather.made import cloud, middle_deg
from tests.io.fetch.servers import Site, serving
from tunnelsite import screen
from tunnelsite.core.elevation_error import CELL_ERROR
from tunnelsite.gather.features import Wanted
from tunnelsite.gather.request import GatherRequest, area_around, gather
from tunnelsite.gather.sources import Source
from tunnelsite.io.read.gathered import gathered_entries
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.io.read.site import read_site
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
        points = Source("survey", "points", f"{site.address}/tile.laz", licence="CC0 1.0", datum="invented datum")
        land = Source("county", "features", site.address, collection="parcels", licence="open, with attribution")
        area = area_around(f"{lat},{lon}:50m", 0.0)
        gather(GatherRequest(area, points=((points, points.address),), features=(Wanted("parcels", land),)), folder)
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
