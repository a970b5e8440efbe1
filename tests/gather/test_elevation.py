"""Windows of GeoTIFFs by address: the cells of the file, whole, with unit and source; put together only where no cell moves."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio

from tests.gather.made import EAST, NORTH, box_deg, item, middle_deg, plane, tiff
from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.features import FeatureRequest
from tunnelsite.gather.request import PARTS, GatherRequest, area_around, door_for, gather
from tunnelsite.io.read.rasters import raster_header, read_raster
from tunnelsite.io.write.staging import OutputExists


@pytest.fixture
def site() -> Iterator[Site]:
    with serving(
        Site({"/west.tif": tiff(EAST - 512, NORTH + 256, 512), "/east.tif": tiff(EAST, NORTH + 256, 512)})
    ) as found:
        yield found


def _area(radius: str = "60m"):
    lon, lat = middle_deg()
    return area_around(f"{lat},{lon}:{radius}", 0.0)


def _heights(path: Path):
    with rasterio.open(path) as file:
        rows, cols = np.indices(file.shape)
        east, north = file.transform @ (cols + 0.5, rows + 0.5)
        return file.read(1), plane(east, north), file.profile, file.units, file.tags()


def _exactly_the_plane(path: Path) -> None:
    found, wanted, *_ = _heights(path)
    assert np.abs(found - wanted).max() < 2e-5


def test_a_window_holds_the_cells_of_the_file(site: Site, tmp_path: Path) -> None:
    source = DataSource("west", "raster", f"{site.address}/west.tif", licence="CC0", datum="invented")
    done = gather(GatherRequest(_area(), ground=source), tmp_path)
    _exactly_the_plane(tmp_path / "ground.tif")
    _, _, profile, units, tags = _heights(tmp_path / "ground.tif")
    assert units == ("metre",) and profile["nodata"] == -9999.0
    assert tags["LICENCE"] == "CC0" and source.address in tags["SOURCE"]
    assert 0 < done.fetched_bytes < 1.2 * len(site.files["/west.tif"])
    read = read_raster(raster_header(tmp_path / "ground.tif"))
    assert any("gathered" in note and "CC0" in note for note in read.notes)


def test_a_changed_file_is_no_longer_said_to_be_gathered(site: Site, tmp_path: Path) -> None:
    gather(GatherRequest(_area(), ground=DataSource("w", "raster", f"{site.address}/west.tif")), tmp_path)
    with rasterio.open(tmp_path / "ground.tif", "r+") as file:
        values = file.read(1)
        file.write(values + 1, 1)
    assert not any("gathered" in note for note in read_raster(raster_header(tmp_path / "ground.tif")).notes)


def test_a_file_that_breaks_off_leaves_nothing(site: Site, tmp_path: Path) -> None:
    request = GatherRequest(_area("200m"), ground=DataSource("w", "raster", f"{site.address}/west.tif"))
    site.broken_after, site.breaks = 60_000, 10_000
    with pytest.raises(InputRefused):
        gather(request, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == []


def test_cut_off_files_are_refused(site: Site, tmp_path: Path) -> None:
    site.files["/west.tif"] = site.files["/west.tif"][:400_000]
    with pytest.raises(InputRefused):
        gather(GatherRequest(_area("200m"), ground=DataSource("w", "raster", f"{site.address}/west.tif")), tmp_path)
    assert not (tmp_path / "ground.tif").exists()


def test_more_than_the_bound_is_refused_before_it_is_fetched(site: Site, tmp_path: Path) -> None:
    request = GatherRequest(
        _area("200m"), ground=DataSource("w", "raster", f"{site.address}/west.tif"), most_bytes=20_000
    )
    with pytest.raises(InputRefused, match="--most"):
        gather(request, tmp_path)


def _catalogue(site: Site) -> DataSource:
    west = box_deg(EAST - 512, NORTH - 256, EAST, NORTH + 256)
    east = box_deg(EAST, NORTH - 256, EAST + 512, NORTH + 256)
    items = [
        item("west", f"{site.address}/west.tif", west, gsd=1.0),
        item("east", f"{site.address}/east.tif", east, gsd=1.0),
        item("west-coarse", f"{site.address}/coarse.tif", west, gsd=10.0),
        item("west-old", f"{site.address}/old.tif", west, gsd=1.0, datetime="2009-05-01T00:00:00Z"),
    ]
    site.put("/page2", {"type": "FeatureCollection", "features": items[2:], "links": []})
    links = [{"rel": "next", "href": f"{site.address}/page2"}]
    site.put("/search", {"type": "FeatureCollection", "features": items[:2], "links": links})
    root = {"type": "Catalog", "stac_version": "1.0.0", "id": "api", "description": "invented"}
    site.put("/", root | {"links": [{"rel": "search", "href": f"{site.address}/search"}]})
    return DataSource("api", "stac", f"{site.address}/", collection="relief")


def test_a_stac_api_is_searched_page_by_page_and_the_finest_latest_files_are_put_together(
    site: Site, tmp_path: Path
) -> None:
    done = gather(GatherRequest(_area(), ground=_catalogue(site)), tmp_path)
    assert [entry.file for entry in done.entries] == ["ground.tif"]
    assert {address.rpartition("/")[2] for address in done.entries[0].addresses} == {"west.tif", "east.tif"}
    assert "2 of 4 files" in done.entries[0].chosen and "1 m cells" in done.entries[0].chosen
    _exactly_the_plane(tmp_path / "ground.tif")
    assert any("/search?bbox=" in path and "collections=relief" in path for path in site.asked)
    assert any(path.startswith("/page2") for path in site.asked)


def test_a_static_catalogue_is_followed(site: Site, tmp_path: Path) -> None:
    west = box_deg(EAST - 512, NORTH - 256, EAST, NORTH + 256)
    site.put("/item.json", item("west", "./west.tif", west, gsd=1.0) | {"collection": None})
    links = [{"rel": "item", "href": "./item.json"}]
    root = {"type": "Catalog", "stac_version": "1.0.0", "id": "c", "description": "invented", "links": links}
    address = site.put("/catalog.json", root)
    gather(GatherRequest(_area("50m"), ground=DataSource("c", "stac", address)), tmp_path)
    found, wanted, *_ = _heights(tmp_path / "ground.tif")
    assert np.abs(found - wanted).max() < 2e-5


@pytest.mark.parametrize(
    "href", ["file:///etc/passwd", "/etc/passwd.tif", "http://127.0.0.1:1/x.tif", "s3://bucket/x.tif", "../../x.tif"]
)
def test_a_catalogue_leads_to_no_other_host_and_no_file(site: Site, tmp_path: Path, href: str) -> None:
    west = box_deg(EAST - 512, NORTH - 256, EAST + 512, NORTH + 256)
    site.put("/search", {"type": "FeatureCollection", "features": [item("x", href, west)], "links": []})
    site.put("/", {"links": [{"rel": "search", "href": f"{site.address}/search"}]})
    with pytest.raises(InputRefused):
        gather(GatherRequest(_area(), ground=DataSource("c", "stac", f"{site.address}/")), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == []


def test_another_host_may_be_named(site: Site, tmp_path: Path) -> None:
    west = box_deg(EAST - 512, NORTH - 256, EAST, NORTH + 256)
    with serving(Site()) as other:
        found = {"type": "FeatureCollection", "features": [item("x", f"{site.address}/west.tif", west)], "links": []}
        other.put("/search", found)
        other.put("/", {"links": [{"rel": "search", "href": f"{other.address}/search"}]})
        source = DataSource("c", "stac", f"{other.address}/", hosts=(site.address.removeprefix("http://"),))
        gather(GatherRequest(_area("50m"), ground=source), tmp_path)
    assert (tmp_path / "ground.tif").is_file()


def test_files_of_another_lattice_stay_apart(site: Site, tmp_path: Path) -> None:
    source = _catalogue(site)
    site.files["/east.tif"] = tiff(EAST + 0.5, NORTH + 256, 511)
    done = gather(GatherRequest(_area(), ground=source), tmp_path)
    assert [entry.file for entry in done.entries] == ["ground.tif", "ground-2.tif"]
    assert "lattice" in done.entries[1].notes[0]


def test_a_gap_without_a_value_for_no_data_is_refused(site: Site, tmp_path: Path) -> None:
    source = _catalogue(site)
    site.files["/west.tif"] = tiff(EAST - 512, NORTH + 256, 512, nodata=None)
    site.files["/east.tif"] = tiff(EAST + 20, NORTH + 256, 492, nodata=None)
    with pytest.raises(InputRefused, match="gap"):
        gather(GatherRequest(_area(), ground=source), tmp_path)


def test_no_part_of_a_file_is_fetched_twice(site: Site, tmp_path: Path) -> None:
    gather(GatherRequest(_area(), ground=DataSource("w", "raster", f"{site.address}/west.tif")), tmp_path)
    assert len(site.parts) > 1 and len(site.parts) == len(set(site.parts))


def test_what_broke_off_is_asked_for_again_and_whole(site: Site, tmp_path: Path) -> None:
    site.broken_after, site.breaks = 60_000, 2
    gather(GatherRequest(_area("200m"), ground=DataSource("w", "raster", f"{site.address}/west.tif")), tmp_path)
    _exactly_the_plane(tmp_path / "ground.tif")


def test_the_same_request_goes_on_after_a_failure(site: Site, tmp_path: Path) -> None:
    ground = DataSource("w", "raster", f"{site.address}/west.tif")
    whole = gather(GatherRequest(_area("200m"), ground=ground), tmp_path / "whole")
    both = GatherRequest(
        _area("200m"),
        ground=ground,
        features=(FeatureRequest("roads", replace(ground, address=f"{site.address}/gone.fgb")),),
    )
    with pytest.raises(InputRefused):
        gather(both, tmp_path / "again")
    (tmp_path / "again" / "ground.tif").unlink()
    again = gather(GatherRequest(_area("200m"), ground=ground), tmp_path / "again")
    _exactly_the_plane(tmp_path / "again" / "ground.tif")
    assert again.fetched_bytes < whole.fetched_bytes / 2  # its start alone
    assert not (tmp_path / "again" / PARTS).exists() and not (tmp_path / "whole" / PARTS).exists()


def test_a_refused_gathering_leaves_nothing_and_later_ones_join_the_record(site: Site, tmp_path: Path) -> None:
    ground = DataSource("w", "raster", f"{site.address}/west.tif")
    both = GatherRequest(_area("200m"), ground=ground, surface=DataSource("e", "raster", f"{site.address}/gone.tif"))
    with pytest.raises(InputRefused):
        gather(both, tmp_path)
    assert not list(tmp_path.glob("*.tif"))
    gather(GatherRequest(_area("200m"), ground=ground), tmp_path)
    gather(GatherRequest(_area("200m"), surface=ground), tmp_path)
    record = json.loads((tmp_path / "gathered.json").read_text())["gathered"]
    assert [entry["file"] for entry in record] == ["ground.tif", "surface.tif"]


def test_what_is_there_already_is_told_before_anything_is_fetched(site: Site, tmp_path: Path) -> None:
    (tmp_path / "ground.tif").write_bytes(b"mine")
    request = GatherRequest(_area(), ground=DataSource("w", "raster", f"{site.address}/west.tif"))
    with pytest.raises(OutputExists, match="--overwrite"):
        gather(request, tmp_path)
    assert not site.asked and (tmp_path / "ground.tif").read_bytes() == b"mine"
    cloud = DataSource("p", "points", f"{site.address}/a.laz")
    with pytest.raises(UsageError, match="--points and --ground"):
        gather(replace(request, points=((cloud, cloud.address),), overwrite=True), tmp_path)


def test_nothing_but_the_named_address_is_asked(site: Site, tmp_path: Path) -> None:
    request = GatherRequest(_area(), ground=DataSource("w", "raster", f"{site.address}/west.tif"))
    gather(request, tmp_path)
    assert set(site.asked) == {"/west.tif"}
    assert door_for(request).hosts == {site.address.removeprefix("http://")}
    assert json.loads((tmp_path / "gathered.json").read_text())["gathered"][0]["addresses"] == [
        f"{site.address}/west.tif"
    ]
