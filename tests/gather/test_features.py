"""Features of a service, all pages of it with their attributes, and files by address."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.gather.data_sources import DataSource, read_sources, source_named
from tunnelsite.gather.features import FeatureRequest
from tunnelsite.gather.request import GatherRequest, area_around, gather
from tunnelsite.io.read.vectors import read_features

AREA = area_around("43.0,-75.0:300m", 0.0)


def _square(k: int) -> dict:
    x = -75.0 + 0.001 * k
    ring = [[x, 43.0], [x + 0.0005, 43.0], [x + 0.0005, 43.0005], [x, 43.0]]
    return {
        "type": "Feature",
        "properties": {"name": f"P{k}", "acres": k},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


@pytest.fixture
def site() -> Iterator[Site]:
    with serving(Site()) as found:
        path = "/collections/parcels/items"
        second = [{"rel": "next", "href": f"{found.address}/more"}]
        found.put(
            path,
            {"type": "FeatureCollection", "features": [_square(1), _square(2)], "links": second, "numberMatched": 3},
        )
        found.put("/more", {"type": "FeatureCollection", "features": [_square(3)], "links": [], "numberMatched": 3})
        found.put("/collections", {"collections": [{"id": "parcels"}, {"id": "roads"}]})
        yield found


def _request(site: Site, collection: str = "parcels") -> GatherRequest:
    source = DataSource("county", "features", site.address, collection=collection, licence="open")
    return GatherRequest(AREA, features=(FeatureRequest("parcels", source),))


def test_all_pages_come_with_their_attributes(site: Site, tmp_path: Path) -> None:
    gather(_request(site), tmp_path)
    found = read_features(str(tmp_path / "parcels.geojson"), "parcels")
    assert list(found.columns["name"]) == ["P1", "P2", "P3"]
    assert any("licence: open" in note for note in found.notes)
    assert "bbox=-75.003" in site.asked[0]


def test_fewer_than_announced_is_refused(site: Site, tmp_path: Path) -> None:
    site.put("/more", {"type": "FeatureCollection", "features": [], "links": []})
    with pytest.raises(InputRefused, match="announced 3 features and sent 2"):
        gather(_request(site), tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_missing_collection_lists_those_there_are(site: Site, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="parcels, roads"):
        gather(_request(site, ""), tmp_path)


def test_a_next_link_to_elsewhere_is_refused(site: Site, tmp_path: Path) -> None:
    links = [{"rel": "next", "href": "http://127.0.0.1:9/x"}]
    site.put("/collections/parcels/items", {"type": "FeatureCollection", "features": [_square(1)], "links": links})
    with pytest.raises(InputRefused, match="--host"):
        gather(_request(site), tmp_path)


def test_a_file_by_address_is_whole_or_not_there(site: Site, tmp_path: Path) -> None:
    site.put("/f.geojson", {"type": "FeatureCollection", "features": [_square(1)]})
    wanted = FeatureRequest("fields", DataSource("f", "file", f"{site.address}/f.geojson"))
    gather(GatherRequest(AREA, features=(wanted,)), tmp_path)
    assert (tmp_path / "fields.geojson").read_bytes() == site.files["/f.geojson"]
    site.files["/f.geojson"] = b"<html>sign in</html>"
    with pytest.raises(InputRefused):
        gather(GatherRequest(AREA, features=(wanted,), overwrite=True), tmp_path)
    assert json.loads((tmp_path / "fields.geojson").read_text())["features"]


def test_sources_are_read_and_wrong_ones_refused(tmp_path: Path) -> None:
    path = tmp_path / "sources.toml"
    path.write_text('[relief]\nkind = "stac"\naddress = "https://example.org/stac"\nlicence = "CC BY 4.0"\n')
    known = read_sources(path)
    assert source_named("relief", known, "raster", "--ground").licence == "CC BY 4.0"
    assert source_named("https://example.org/a.tif", known, "stac", "--ground").kind == "raster"
    with pytest.raises(UsageError, match="relief"):
        source_named("releif", known, "raster", "--ground")
    for text in (
        '[a]\nkind = "stac"',
        '[a]\nkind = "x"\naddress = "https://example.org"',
        '[a]\nkind = "stac"\naddress = "file:///x"',
        "[a]\nkinds = 3",
    ):
        path.write_text(text)
        with pytest.raises(UsageError):
            read_sources(path)
