"""Requests to the server with bytes, members and values changed: answered or refused in the words of the standard, in time, and
never with "the request could not be served". No job is run: what a job makes of its inputs is tested with the readers.

Longer campaigns of such changes (16 000 requests) met no other outcome; these few keep it so.
"""

from __future__ import annotations

import base64
import copy
import json
import random
import time
from pathlib import Path

import geopandas
import pytest

pytest.importorskip("pygeoapi", reason="pygeoapi is not installed")

from tests.io.mutations import mutated
from tests.whole_run.files import gentle, plain_farm
from tunnelsite.core import catalogue
from tunnelsite.hosts.server.application import application
from tunnelsite.hosts.server.configuration import configuration
from tunnelsite.hosts.server.datasets import datasets_in
from tunnelsite.hosts.server.job_limits import Limits
from tunnelsite.hosts.server.offers import SCREENING
from tunnelsite.hosts.server.store import JobStore

SLOWEST_S = 10.0  # far above what any of them takes, on the busiest machine
URL = "http://127.0.0.1:5000"
REFUSALS = {400, 403, 404, 405, 406, 411, 413, 415, 422}
VALUES = (
    None, True, -1, 0, 1e308, 10**400, "", " ", "\0", "x" * 5000, "../../etc/passwd", "file:///etc/passwd", "/vsicurl/http://x/", [], {}, [[]],
    {"value": None}, {"value": {"dataset": "../dem"}}, {"value": {"dataset": ["dem"]}}, {"href": "http://127.0.0.1/"}, {"value": 1, "href": "x"},
    {"value": "AAAA", "mediaType": 5}, {"value": "A", "encoding": "base64"}, {"type": "FeatureCollection", "features": 5}, "\u202e", {"bbox": [1]},
    float("nan"), {"value": {"type": "FeatureCollection", "features": [None]}}, ["30x96ft"] * 50,
)  # fmt: skip


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    _, parcels = plain_farm(folder, gentle(20, 24))
    geopandas.read_file(parcels).to_crs("OGC:CRS84").to_file(folder / "land.geojson", driver="GeoJSON")
    return folder


@pytest.fixture(scope="module")
def client(farm):
    """A client of the application inside this process; a job that is accepted is never started."""
    patch = pytest.MonkeyPatch()
    patch.setattr(JobStore, "start", lambda store, job, task: job.done.set())
    names = [SCREENING, *(process.id for process in catalogue.processes())]
    told = configuration(URL, Limits(body_bytes=200_000), datasets_in(farm), names, 5000)
    app, manager = application(told, lambda text: None)
    yield app.test_client()
    manager.close()
    patch.undo()


@pytest.fixture(scope="module")
def requests(farm) -> dict[str, dict]:
    """Requests that are right."""
    dem = {
        "value": base64.b64encode((farm / "dem.tif").read_bytes()).decode(),
        "mediaType": "image/tiff; application=geotiff",
        "encoding": "base64",
    }
    land = {"value": json.loads((farm / "land.geojson").read_text()), "mediaType": "application/geo+json"}
    screening = {"dem": dem, "parcels": land, "house": ["6x15m", "30x96ft"], "top": 3, "azimuths": 8, "crop_months": "10-01:04-30",
                 "service": {"value": {"water": land["value"]}}, "bearing": 90, "keep_water_like": True}  # fmt: skip
    return {
        "slope": {"inputs": {"ground": dem, "as_unit": "deg"}, "outputs": {"slope": {"transmissionMode": "value"}}, "response": "document"},
        SCREENING: {"inputs": screening, "outputs": {"summary": {}}, "response": "raw"},
    }  # fmt: skip


def sent(client, process: str, body: bytes, **headers: str):
    started = time.monotonic()
    heads = {"Content-Type": "application/json", "Prefer": "respond-async", "Host": "127.0.0.1:5000"} | headers
    said = client.post(f"/processes/{process}/execution", data=body, headers=heads)
    assert time.monotonic() - started < SLOWEST_S
    return said


def assert_in_words(said) -> bool:
    """Whether the request was refused; a refusal is a problem of RFC 7807 that gives nothing of the machine away."""
    if said.status_code in (200, 201):
        return False
    assert said.status_code in REFUSALS, (said.status_code, said.data)
    assert said.headers["Content-Type"] == "application/problem+json"
    problem = json.loads(said.data)
    assert problem["status"] == said.status_code and problem["detail"]
    assert "Traceback" not in problem["detail"] and "/tunnelsite-run-" not in problem["detail"]
    return True


@pytest.mark.parametrize("process", ["slope", SCREENING])
def test_right_requests_are_accepted(client, requests, process) -> None:
    assert sent(client, process, json.dumps(requests[process]).encode()).status_code == 201


@pytest.mark.parametrize("process", ["slope", SCREENING])
def test_changed_bytes(client, requests, process) -> None:
    whole, chance = json.dumps(requests[process]).encode(), random.Random(process)
    refused = sum(assert_in_words(sent(client, process, mutated(whole, chance))) for _ in range(60))
    assert refused > 20


@pytest.mark.parametrize("process", ["slope", SCREENING])
def test_changed_members_and_values(client, requests, process) -> None:
    chance, refused = random.Random(process), 0
    for _ in range(60):
        body = copy.deepcopy(requests[process])
        for _ in range(chance.choice((1, 1, 2))):
            inner = chance.choice([part for part in _objects(body) if part])
            name = chance.choice(list(inner))
            if chance.random() < 0.2:
                inner[chance.choice(("x", "out", "dem", "__proto__", "a/b"))] = inner.pop(name)
            else:
                inner[name] = copy.deepcopy(chance.choice(VALUES))
        refused += assert_in_words(sent(client, process, json.dumps(body).encode()))
    assert refused > 20


def _objects(value) -> list[dict]:
    found = [value] if isinstance(value, dict) else []
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else []
    return found + [one for part in inside for one in _objects(part)]


@pytest.mark.parametrize("path", ["/", "/conformance", "/processes", "/processes/slope", "/jobs", "/openapi"])
def test_a_browser_is_answered_too(client, path) -> None:
    """It asks for HTML first (the header of a common browser) [@html-accept]."""
    asked = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
    said = client.get(path, headers={"Accept": asked, "Host": "127.0.0.1:5000"})
    assert said.status_code == 200 and json.loads(said.data)


def test_changed_paths_headers_and_queries(client, requests) -> None:
    chance, body = random.Random(5), json.dumps(requests["slope"]).encode()
    parts = [
        "processes",
        "jobs",
        "slope",
        "execution",
        "results",
        "..",
        "%2e%2e",
        "%00",
        "%e2%80%ae",
        "0" * 32,
        "x" * 3000,
        "",
        "conformance",
        "openapi",
    ]
    queries = [
        "",
        "?f=json",
        "?f=html",
        "?f=%00",
        "?limit=-1",
        "?offset=1e9",
        "?limit=x",
        "?status=running",
        "?a=" + "b" * 3000,
    ]
    for _ in range(60):
        path = "/" + "/".join(chance.choice(parts) for _ in range(chance.randrange(5))) + chance.choice(queries)
        method = chance.choice(["get", "post", "delete", "put", "patch", "head", "options"])
        said = getattr(client, method)(
            path, headers={"Host": "127.0.0.1:5000"}, data=body if method == "post" else None
        )
        assert said.status_code < 500, (method, path)
    for name, values in {
        "Prefer": ["respond-async;x", "\xff", "a" * 5000, ",,,"], "Authorization": ["Bearer", "Bearer x", "Basic eA==", "\xff" * 20],
        "Host": ["evil.example", "", "127.0.0.1:5000@x"], "Content-Type": ["text/plain", "", "application/json; charset=\xff"],
        "Accept-Language": ["\xff", "x" * 2000], "Accept": ["text/html", "*/*;q=nan"],
    }.items():  # fmt: skip
        for value in values:
            assert_in_words(sent(client, "slope", body, **{name: value})), (name, value)
