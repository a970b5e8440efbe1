"""Features of a real OGC API - Features server (pygeoapi) on the loopback address: pages, a window, attributes, an unknown collection."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("pygeoapi", reason="pygeoapi is not installed")
pytest.importorskip("waitress", reason="waitress is not installed")

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.features import FeatureRequest
from tunnelsite.gather.request import GatherRequest, area_around, gather
from tunnelsite.io.read.gathered import gathered_entries
from tunnelsite.io.read.vectors import read_features

SIDE, STEP_DEG, PAGE = 8, 0.001, 10  # 64 parcels, of which a page holds 10


def _parcels() -> dict:
    found = []
    for k in range(SIDE * SIDE):
        west, south = -75.0 + STEP_DEG * (k % SIDE), 43.0 + STEP_DEG * (k // SIDE)
        east, north = west + 0.0008, south + 0.0008
        ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
        about = {"parcel": f"P{k}", "acres": k / 10, "remark": "Ufer–Weg «3»" if k == 9 else None}
        shape = {"type": "Polygon", "coordinates": [ring]}
        found.append({"type": "Feature", "id": k, "properties": about, "geometry": shape})
    return {"type": "FeatureCollection", "features": found}


def _collection(path: Path) -> dict:
    return {
        "type": "collection", "title": "Parcels", "description": "invented", "keywords": ["parcels"], "links": [],
        "extents": {"spatial": {"bbox": [-180, -90, 180, 90], "crs": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}},
        "providers": [{"type": "feature", "name": "GeoJSON", "data": str(path), "id_field": "id"}],
    }  # fmt: skip


def _configuration(address: str, path: Path) -> dict:
    return {
        "server": {
            "bind": {"host": "127.0.0.1", "port": 0}, "url": address, "mimetype": "application/json; charset=UTF-8", "encoding": "utf-8",
            "language": "en-US", "limits": {"default_items": PAGE, "max_items": PAGE}, "map": {"url": "", "attribution": ""},
        },
        "logging": {"level": "ERROR"},
        "metadata": {
            "identification": {"title": "Invented county", "description": "invented", "keywords": ["parcels"], "keywords_type": "theme",
                               "terms_of_service": "none", "url": address},
            "license": {"name": "CC0", "url": "https://creativecommons.org/publicdomain/zero/1.0/"},
            "provider": {"name": "invented", "url": address}, "contact": {"name": "invented"},
        },
        "resources": {"parcels": _collection(path)},
    }  # fmt: skip


def _application(address: str, path: Path):
    """The server's answers to `/collections` and `/collections/ID/items` as a WSGI application."""
    from pygeoapi.api import API, APIRequest
    from pygeoapi.api import describe_collections as collections
    from pygeoapi.api.itemtypes import get_collection_items

    api = API(_configuration(address, path), {"openapi": "3.0.2", "paths": {}, "info": {}})

    def answer(environ, start):
        from werkzeug.wrappers import Request, Response

        asked = Request(environ)
        request = APIRequest.from_flask(asked, api.locales)
        parts = asked.path.strip("/").split("/")
        if parts == ["collections"]:
            headers, status, content = collections(api, request)
        else:
            headers, status, content = get_collection_items(api, request, parts[1])
        return Response(content, status, headers)(environ, start)

    return answer


@pytest.fixture(scope="module")
def address(tmp_path_factory) -> Iterator[str]:
    from waitress.server import create_server

    path = tmp_path_factory.mktemp("county") / "parcels.geojson"
    path.write_text(json.dumps(_parcels()), "utf-8")
    later: list = []
    server = create_server(lambda environ, start: later[0](environ, start), host="127.0.0.1", port=0, threads=2)
    found = f"http://127.0.0.1:{server.effective_port}"
    later.append(_application(found, path))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield found
    server.close()


def _gathered(address: str, folder: Path, radius: str = "2000m", collection: str = "parcels"):
    source = DataSource("county", "features", address, collection=collection, licence="CC0")
    request = GatherRequest(area_around(f"43.004,-74.996:{radius}", 0.0), features=(FeatureRequest("parcels", source),))
    gather(request, folder)
    return read_features(str(folder / "parcels.geojson"), "parcels")


def test_all_pages_come_whole_with_their_attributes(address: str, tmp_path: Path) -> None:
    found = _gathered(address, tmp_path)
    assert sorted(found.columns["parcel"]) == sorted(f"P{k}" for k in range(SIDE * SIDE))
    row = list(found.columns["parcel"]).index("P9")
    assert (found.columns["remark"][row], found.columns["acres"][row]) == ("Ufer–Weg «3»", 0.9)
    assert found.geometry[row].bounds == pytest.approx((-74.999, 43.001, -74.9982, 43.0018))
    entry = gathered_entries(tmp_path)[0]
    assert entry["licence"] == "CC0" and entry["addresses"][0].startswith(f"{address}/collections/parcels/items?bbox=")


def test_only_what_meets_the_window_comes(address: str, tmp_path: Path) -> None:
    found = _gathered(address, tmp_path, "100m")
    assert 1 <= len(found) < 10
    assert all(shape.distance(found.geometry[0]) < 0.003 for shape in found.geometry)


def test_an_unknown_collection_is_refused_and_a_missing_one_listed(address: str, tmp_path: Path) -> None:
    with pytest.raises(InputRefused):
        _gathered(address, tmp_path, collection="roads")
    with pytest.raises(UsageError, match="parcels"):
        _gathered(address, tmp_path, collection="")
    assert not os.listdir(tmp_path)
