"""The server over HTTP on loopback: OGC API - Processes 1.0, equal results, limits, one client's jobs hidden from others."""

from __future__ import annotations

import base64
import email.message
import email.parser
import email.policy
import json
import os
import re
import signal
import socket
import struct
import time
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import rasterio

pytest.importorskip("pygeoapi", reason="pygeoapi is not installed")
pytest.importorskip("waitress", reason="waitress is not installed")

import jsonschema

from tests.hosts.server.ogc_schemas import SCHEMAS
from tests.hosts.server.served import Client, Said, features, served, tiff
from tests.whole_run.files import plain_farm, write_dem
from tunnelsite import House, Placement, SunChartSettings, read_site, screen, sun_chart
from tunnelsite.core import catalogue
from tunnelsite.core.field_readings import FieldReadings
from tunnelsite.core.layers import Layer
from tunnelsite.core.sources import source_words
from tunnelsite.hosts.server.child import Child
from tunnelsite.hosts.server.job_limits import Limits
from tunnelsite.hosts.server.plan_offer import plan_named
from tunnelsite.hosts.server.refusals import Refused
from tunnelsite.hosts.server.store import JobStore
from tunnelsite.io.read.rasters import raster_header, read_raster
from tunnelsite.settings.model import Settings

HOUSE, AZIMUTHS = "6x15m", 8
LON, LAT = -78.5684, 42.4262  # in the middle of the field
UTM_CORNER = rasterio.Affine(1, 0, 700_000, 0, -1, 4_700_000)
EXCEPTIONS = "http://www.opengis.net/def/exceptions/ogcapi-processes-1/1.0/"


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> tuple[Path, Path]:
    """(DEM, parcels as GeoJSON) of a small field."""
    folder = tmp_path_factory.mktemp("farm")
    dem, parcels = plain_farm(folder)
    geojson = folder / "land.geojson"
    geopandas.read_file(parcels).to_crs("OGC:CRS84").to_file(geojson, driver="GeoJSON", RFC7946="YES")
    return dem, geojson


@pytest.fixture(scope="module")
def client(farm):
    """A server whose jobs may take 1.5 million cells; the farm's own files are offered as data sets."""
    with served(
        "--data",
        str(farm[0].parent),
        "--max-cells",
        "1500000",
        "--sync-cells",
        "100000",
        "--max-jobs",
        "1",
        "--max-waiting",
        "2",
    ) as found:
        yield found


@pytest.fixture(scope="module")
def screened(client, farm) -> tuple[dict, dict]:
    """(status, results document) of a screening over HTTP."""
    inputs = {"dem": tiff(farm[0]), "parcels": features(farm[1]), "house": HOUSE, "top": 3, "azimuths": AZIMUTHS}
    accepted = client.execute("screening", inputs, asynchronous=True, response="document")
    assert accepted.status == 201, accepted.body
    assert accepted.headers["Preference-Applied"] == "respond-async"
    assert accepted.headers["Location"] == f"{client.url}/jobs/{accepted.json['jobID']}"
    valid("statusInfo", accepted.json)
    status = client.finished(accepted.json["jobID"], 400)  # where no kernel has been compiled yet
    assert status["status"] == "successful" and status["progress"] == 100, status
    return status, client.ask(f"/jobs/{status['jobID']}/results").json


def valid(name: str, document) -> None:
    """A document holds to a schema of OGC 18-062r2."""
    jsonschema.Draft202012Validator(SCHEMAS | {"$ref": f"#/$defs/{name}"}).validate(document)


def parts_of(said: Said) -> dict[str, email.message.EmailMessage]:
    """The outputs in a multipart answer by their name."""
    head = f"Content-Type: {said.headers['Content-Type']}\r\n\r\n".encode()
    parts = email.parser.BytesParser(policy=email.policy.HTTP).parsebytes(head + said.body).iter_parts()
    return {part["Content-ID"].strip("<>"): part for part in parts}


def test_what_is_announced_is_there(client):
    landing = client.ask("/")
    valid("landingPage", landing.json)
    relations = {link["rel"]: link["href"] for link in landing.json["links"]}
    assert {
        "self",
        "service-desc",
        "conformance",
        "http://www.opengis.net/def/rel/ogc/1.0/processes",
    } <= relations.keys()
    for link in landing.json["links"]:
        assert client.ask(link["href"].removeprefix(client.url)).status == 200, link
    classes = client.ask("/conformance").json
    valid("confClasses", classes)
    part = "http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/"
    assert {part + name for name in ("core", "ogc-process-description", "json", "dismiss", "job-list")} <= set(
        classes["conformsTo"]
    )
    assert not [name for name in classes["conformsTo"] if "html" in name or "collections" in name or "callback" in name]
    paths = client.ask("/openapi").json["paths"]
    assert "/processes/screening/execution" in paths and not [path for path in paths if "collections" in path]


def test_every_process_is_described_as_the_standard_says(client):
    listed = client.ask("/processes").json
    valid("processList", listed)
    names = [item["id"] for item in listed["processes"]]
    assert names == ["screening", *(tool.id for tool in (*catalogue.processes(), *catalogue.plans()))]
    for name in names:
        told = client.ask(f"/processes/{name}").json
        valid("process", told)
        for link in told["links"]:
            assert link["type"] == "application/json" and link["href"].startswith(client.url)
        for item in told["inputs"].values():  # a client's form shows the title alone beside its field
            assert ": " not in item["title"]
    slope = catalogue.process("slope").description
    told = client.ask("/processes/slope").json
    assert told["inputs"]["as_unit"]["schema"] == slope.parameters[0].json_schema()  # said once, in the catalogue
    assert source_words(slope.source) in told["description"]


def test_slope_is_python_s_bit_for_bit(client, farm):
    said = client.execute("slope", {"ground": tiff(farm[0]), "as_unit": "deg", "band": 1})
    assert said.status == 200 and said.headers["Content-Type"].startswith("image/tiff; application=geotiff"), said.body
    raster = read_raster(raster_header(farm[0]))
    layer = Layer(raster.values, "m", "ground", (1.0, 1.0))
    expected = catalogue.process("slope")({"ground": layer}, {"as_unit": "deg"})["slope"].values
    with rasterio.MemoryFile(said.body) as file, file.open() as found:
        assert found.crs.to_epsg() == 32617 and found.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert np.array_equal(found.read(1), expected, equal_nan=True) and np.isfinite(expected).any()
    assert client.ask("/jobs").json["jobs"] == []


def test_a_data_set_is_named_by_its_id_and_results_come_as_multipart_or_document(client, farm):
    told = client.ask("/processes/filled_ground").json["inputs"]["ground"]["schema"]
    assert told["oneOf"][1]["properties"]["dataset"]["enum"] == ["dem"]
    by_name = client.execute("filled_ground", {"ground": {"value": {"dataset": "dem"}}})
    parts = parts_of(by_name)
    assert list(parts) == ["filled", "ponding_m"]
    asked = {"outputs": {"filled": {}}, "response": "document"}
    sent = client.execute("filled_ground", {"ground": tiff(farm[0])}, **asked)
    valid("results", sent.json)
    assert sent.status == 200 and list(sent.json) == ["filled"]
    filled = base64.b64decode(sent.json["filled"]["value"])
    assert filled == parts["filled"].get_payload(decode=True)
    with rasterio.MemoryFile(filled) as file, file.open() as found, rasterio.open(farm[0]) as dem:
        assert (
            found.read(1) >= dem.read(1) - 1e-3
        ).all()  # heights above the sea, not above a datum of the program's own


def test_a_screening_is_python_s(screened, farm, tmp_path):
    status, results = screened
    valid("results", results)
    assert {link["rel"] for link in status["links"]} == {"self", "http://www.opengis.net/def/rel/ogc/1.0/results"}
    site = read_site(str(farm[0]), str(farm[1]))
    expected = screen(site, settings=Settings(house=[HOUSE], top=3, azimuths=AZIMUTHS)).candidates
    assert len(expected) == 3
    path = tmp_path / "sites.gpkg"
    path.write_bytes(base64.b64decode(results["sites"]["value"]))
    found = pyogrio.read_dataframe(path, layer="candidates")
    assert found.geometry.to_wkb().tolist() == expected.geometry.to_wkb().tolist()
    for name in expected.columns.drop("geometry"):
        one, two = found[name].tolist(), expected[name].astype(object).where(expected[name].notna(), None).tolist()
        assert [None if value != value else value for value in one] == two, name
    geojson = results["candidates"]["value"]
    assert [item["properties"]["rank"] for item in geojson["features"]] == [1, 2, 3]
    assert [item["properties"]["score"] for item in geojson["features"]] == expected.score.tolist()
    ring = np.array(geojson["features"][0]["geometry"]["coordinates"][0])
    assert np.abs(ring[:-1].mean(0) - [expected.lon[0], expected.lat[0]]).max() < 2e-7
    assert "crs" not in geojson and geojson["cautions"]  # RFC 7946, section 4
    summary = results["summary"]["value"]
    assert summary["placements_tried"] > 1000 and any("one-call" in text for text in summary["cautions"])


def test_a_plan_is_python_s(client, farm):
    inputs = {"dem": {"value": {"dataset": "dem"}}, "parcels": {"value": {"dataset": "land"}}, "halo": "20m"}
    inputs |= {
        "lon": LON,
        "lat": LAT,
        "bearing": 90,
        "house": HOUSE,
        "ridge": "12ft",
        "crop_months": "Oct:Apr",
        "days": ["12-21"],
    }
    inputs |= {"field_horizon": [[0, 3], [120, 4.5], [240, 2]], "north": "true"}
    said = client.execute("sun_chart", inputs, response="document")
    assert said.status == 200, said.body
    valid("results", said.json)
    given = {"halo": "20m", "crop_months": "Oct:Apr"}
    place = Placement(LON, LAT, 90.0, House.parse(HOUSE), settings=given)
    readings = FieldReadings((0.0, 120.0, 240.0), (3.0, 4.5, 2.0))
    asked = SunChartSettings(days=((12, 21),), field_horizon=readings, north="true")
    expected = sun_chart(read_site(str(farm[0]), str(farm[1])), place, asked)
    told = said.json["summary"]["value"]
    assert {name: told[name] for name in expected.summary} == json.loads(json.dumps(expected.summary))
    assert told["days"] == [told["days"][0]] and told["crop_months"] == "10-01:04-30" and told["cautions"]
    assert said.json["chart"] == {"value": expected.pictures["chart"], "mediaType": "image/svg+xml"}
    rows = said.json["field"]["value"].splitlines()
    assert len(rows) == 4 and rows[0].startswith("azimuth_deg")
    without = {name: value for name, value in inputs.items() if name not in ("field_horizon", "north")}
    raw = parts_of(client.execute("sun_chart", without))
    assert raw.keys() == said.json.keys() - {"field"}  # optional, and not there
    assert raw["hours"].get_content_type() == "text/csv" and raw["hours"].get_content().startswith("month,day")


def test_a_plan_s_settings_are_checked_before_it_is_accepted(client):
    named = {"dem": {"value": {"dataset": "dem"}}, "parcels": {"value": {"dataset": "land"}}, "lon": LON, "lat": LAT}
    for more, words in (
        ({"house": "3x"}, "house"),
        ({"lat": 91}, "maximum of 90"),
        ({"days": ["02-31"]}, "02-31"),
        ({"north": "true"}, "field horizon"),
        ({"field_horizon": "/etc/passwd"}, "array"),
        ({"apron": "3ft"}, "no input 'apron'"),  # no setting that this plan heeds
    ):
        said = client.execute("sun_chart", named | more, True)
        assert said.status == 400 and words in said.json["detail"], said.body


def test_a_screening_is_never_waited_for_and_takes_all_layers(client, farm):
    assert client.ask("/processes/screening").json["jobControlOptions"] == ["async-execute", "dismiss"]
    inputs = {
        "dem": {"value": {"dataset": "dem"}},
        "parcels": {"value": {"dataset": "land"}},
        "house": [HOUSE, "5x10m"],
    }
    land = features(farm[1])["value"]
    inputs |= {
        "keep_out": [features(farm[1])],
        "keep_out_distance": ["3 ft"],
        "service": {"value": {"water": land}},
        "azimuths": 8,
    }
    accepted = client.execute("screening", inputs, outputs={"summary": {"transmissionMode": "reference"}})
    assert accepted.status == 201, accepted.body
    status = client.finished(accepted.json["jobID"])
    assert status["status"] == "successful", status
    results = client.ask(f"/jobs/{status['jobID']}/results")
    assert results.status == 204 and f"/jobs/{status['jobID']}/results/summary" in results.headers["Link"]
    summary = client.ask(f"/jobs/{status['jobID']}/results/summary").json
    assert summary["candidates"] == [] and summary["rejections"]  # the whole parcel is kept out
    assert client.ask(f"/jobs/{status['jobID']}/results/sites").status == 404  # not asked for, not made


def big_header() -> bytes:
    """A few bytes that claim 4 million million cells (TIFF 6.0, section 2)."""
    entries = [(256, 4, 2_000_000), (257, 4, 2_000_000), (258, 3, 32), (259, 3, 1)]
    body = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + body + b"\0\0\0\0"


def raw(content: bytes) -> dict[str, str]:
    return {"value": base64.b64encode(content).decode(), "mediaType": "image/tiff", "encoding": "base64"}


VRT = b'<VRTDataset rasterXSize="9" rasterYSize="9"><SRS>EPSG:32617</SRS></VRTDataset>'
WRONG = {
    "a path": ({"ground": "/etc/passwd"}, 400, "no base64"),
    "a file address": ({"ground": {"href": "file:///etc/passwd"}}, 403, "opens no file"),
    "a web address": (
        {"ground": {"href": "https://example.org/dem.tif", "type": "image/tiff"}},
        403,
        "fetches nothing",
    ),
    "a virtual path": ({"ground": {"value": "/vsicurl/https://example.org/dem.tif"}}, 400, "no base64"),
    "a way out of the folder": ({"ground": {"value": {"dataset": "../dem"}}}, 400, "one of: dem"),
    "a vector for a raster": ({"ground": {"value": {"dataset": "land"}}}, 400, "one of: dem"),
    "a VRT": ({"ground": raw(VRT)}, 400, "no TIFF"),
    "a huge header": ({"ground": raw(big_header())}, 413, "at most 1,500,000"),
    "a cut TIFF": ({"ground": raw(b"II*\0\x08\0\0\0")}, 400, "cut off"),
    "a number": ({"ground": 7}, 400, "base64"),
    "another media type": ({"ground": {"value": "", "mediaType": "image/png"}}, 400, "image/tiff"),
    "nothing": ({}, 400, "was not given the input 'ground'"),
    "an unknown input": ({"grund": ""}, 400, "did you mean 'ground'"),
    "no choice": ({"ground": {"value": {"dataset": "dem"}}, "as_unit": "rad"}, 400, "'as_unit'"),
    "text for a number": ({"ground": {"value": {"dataset": "dem"}}, "band": "first"}, 400, "integer"),
    "a path for a coordinate system": (
        {"ground": {"value": {"dataset": "dem"}}, "dem_crs": "/etc/passwd"},
        400,
        "EPSG",
    ),
}


@pytest.mark.parametrize("name", WRONG)
@pytest.mark.parametrize("asynchronous", [False, True], ids=["sync", "async"])
def test_wrong_inputs_are_refused_before_a_job_is_accepted(client, name, asynchronous):
    inputs, status, words = WRONG[name]
    said = client.execute("slope", inputs, asynchronous)
    assert said.status == status, said.body
    valid("exception", said.json)
    assert (
        words in said.json["detail"] and "Expected:" in said.json["detail"] and "Traceback" not in said.json["detail"]
    )
    assert "Location" not in said.headers and said.headers["Content-Type"] == "application/problem+json"
    assert not re.search(r"[^.][.?][.]( |$)", said.json["detail"])


def test_settings_are_checked_before_a_screening_is_accepted(client):
    named = {"dem": {"value": {"dataset": "dem"}}, "parcels": {"value": {"dataset": "land"}}}
    for more, words in (
        ({"house": "3x"}, "house"),
        ({"out": "/tmp/x.gpkg"}, "no input 'out'"),
        ({"rasters": "/tmp"}, "no input 'rasters'"),
        ({"top": 0}, "top"),
        ({"keep_out_distance": ["../../x@5"]}, "keep_out_distance"),
        ({"service": {"value": {"../x": {}}}}, "plain word"),
        ({"obstacles": "/etc/passwd"}, "FeatureCollection"),
        ({"wind": {"href": "file:///etc/passwd"}}, "opens no file"),
    ):
        said = client.execute("screening", named | more, True)
        assert said.status in (400, 403) and words in said.json["detail"], said.body


def test_no_setting_that_names_a_file_is_offered_as_text():
    from tunnelsite.hosts.server.screening_offer import FREE_WORDS, screening_offer

    for name, item in screening_offer().inputs.items():
        if item.kind == "literal" and item.schema.get("type") == "string" and "enum" not in item.schema:
            assert name in FREE_WORDS


def test_a_job_of_a_process_imports_no_plan(monkeypatch):
    monkeypatch.setattr(catalogue, "plans", lambda: pytest.fail("all plans are imported, three quarters of a second"))
    assert plan_named("slope") is None


def test_the_gate(client):
    execution = "/processes/slope/execution"
    assert client.ask(execution, b"{", Content_Type="text/plain").status == 415
    for body in (b"{", b"[]", b'{"inputs": []}', b'{"inputs": {}, "x": 1}', b'{"inputs": NaN}', b"[" * 100_000):
        said = client.ask(execution, body)
        assert said.status == 400, body[:20]
        valid("exception", said.json)
    assert client.ask(execution, {"inputs": {}, "subscriber": {"successUri": "http://127.0.0.1/"}}).status == 403
    unknown = client.execute("no_such", {})
    assert (unknown.status, unknown.json["type"]) == (404, EXCEPTIONS + "no-such-process")
    for path in (
        "/jobs/" + "0" * 32,
        "/jobs/..%2f..%2fetc",
        f"/jobs/{'0' * 32}/results",
        f"/jobs/{'0' * 32}/results/x",
    ):
        said = client.ask(path)
        assert said.status == 404 and "Traceback" not in said.body.decode(), path
    assert client.ask("/jobs/" + "0" * 32).json["type"] == EXCEPTIONS + "no-such-job"
    assert client.ask("/processes?f=html").status == 406
    for query in (
        "/processes?limit=x",
        "/processes?limit=-1",
        "/jobs?offset=x",
        "/jobs?limit=0",
        "/?lang=../x",
        "/?lang=%00",
    ):
        said = client.ask(query)
        assert said.status in (200, 400), (query, said.body)
    assert client.ask("/", method="PUT").status == 405
    assert client.ask("/", Host="evil.example").status == 403  # a foreign page whose name was bound to this machine
    answer = client.ask("/collections")
    assert (
        answer.status == 404
        and answer.headers["X-Content-Type-Options"] == "nosniff"
        and "Server" not in answer.headers
    )
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]


def slow(client: Client, folder: Path, name: str = "wait") -> str:
    """The id of a job that takes many seconds."""
    dem = folder / f"{name}.tif"
    heights = np.random.default_rng(3).normal(200, 3, (1200, 1200)).astype(np.float32)
    write_dem(dem, heights, UTM_CORNER, "EPSG:32617", compress="deflate", predictor=3)
    accepted = client.execute(
        "season_light", {"ground": tiff(dem), "surface": tiff(dem), "azimuths": 720}, asynchronous=True
    )
    assert accepted.status == 201, accepted.body
    return accepted.json["jobID"]


def test_dismissing_a_job_kills_its_process(client, tmp_path):
    import psutil

    job = slow(client, tmp_path)
    child = psutil.Process(client.child_pid())
    until = time.monotonic() + 30  # on a busy machine the child is seen before it has its own group and folder
    while os.getpgid(child.pid) != child.pid and time.monotonic() < until:
        time.sleep(0.01)
    folder = Path(child.cwd())
    assert child.is_running() and os.getpgid(child.pid) == child.pid and (folder / "inputs").is_dir()
    assert client.ask(f"/jobs/{job}/results").json["type"] == EXCEPTIONS + "result-not-ready"
    start = time.monotonic()
    said = client.ask(f"/jobs/{job}", method="DELETE")
    assert said.status == 200 and said.json["status"] == "dismissed"
    valid("statusInfo", said.json)
    while child.is_running() and child.status() != psutil.STATUS_ZOMBIE:
        assert time.monotonic() - start < 3
        time.sleep(0.02)
    assert client.ask(f"/jobs/{job}").status == 404
    while folder.exists():
        assert time.monotonic() - start < 5
        time.sleep(0.02)


def test_jobs_of_one_client_are_hidden_from_another(client, farm):
    one, two = (Client(client.url, client.pid, client.log, word * 4) for word in ("first", "other"))
    job = one.execute("slope", {"ground": tiff(farm[0])}, asynchronous=True).json["jobID"]
    open_job = client.execute("slope", {"ground": tiff(farm[0])}, asynchronous=True).json["jobID"]
    assert len(job) == 32 and job != open_job  # 128 bit
    assert one.finished(job)["status"] == "successful"
    assert client.finished(open_job)["status"] == "successful"
    listed = one.ask("/jobs").json
    valid("jobList", listed)
    assert [item["jobID"] for item in listed["jobs"]] == [job]
    assert two.ask("/jobs").json["jobs"] == [] and client.ask("/jobs").json["jobs"] == []
    for stranger in (two, client):
        for path, method in (
            (f"/jobs/{job}", "GET"),
            (f"/jobs/{job}/results", "GET"),
            (f"/jobs/{job}/results/slope", "GET"),
            (f"/jobs/{job}", "DELETE"),
        ):
            said = stranger.ask(path, method=method)
            assert (said.status, said.json["type"]) == (404, EXCEPTIONS + "no-such-job")
    assert one.ask(f"/jobs/{job}/results").status == 200 and two.ask(f"/jobs/{open_job}/results").status == 200
    assert one.ask(f"/jobs/{job}", method="DELETE").status == 200 and one.ask("/jobs").json["jobs"] == []
    assert client.ask("/jobs", Authorization="Basic eA==").status == 400
    said = "".join(client.log)
    assert (
        job not in said and open_job not in said and job[:6] in said
    )  # an identifier opens a job, so no log may hold it


def test_a_job_that_is_killed_from_outside_is_told_so(client, tmp_path):
    job = slow(client, tmp_path)
    os.kill(client.child_pid(), signal.SIGKILL)
    status = client.finished(job)
    assert status["status"] == "failed" and "ended from outside (SIGKILL)" in status["message"], status
    assert client.ask(f"/jobs/{job}/results").status == 500


def test_a_band_that_is_not_there_is_refused(client, farm):
    said = client.execute("slope", {"ground": tiff(farm[0]), "band": 7})
    assert said.status == 400 and "1 bands" in said.json["detail"] and "band 7 was chosen" in said.json["detail"], (
        said.json
    )


def test_a_map_in_feet_is_asked_about(client, tmp_path):
    """Heights without a unit on a map in feet: the answer names the input that settles it."""
    heights = np.fromfunction(lambda row, col: 700 + 0.1 * row + 0.02 * col * col, (40, 50)).astype(np.float32)
    feet = tiff(write_dem(tmp_path / "f.tif", heights, rasterio.Affine(3, 0, 984_000, 0, -3, 200_000), "EPSG:2263"))
    said = client.execute("slope", {"ground": feet})
    assert (
        said.status == 400 and "in feet or in metres" in said.json["detail"] and "elevation_unit" in said.json["detail"]
    )
    assert client.execute("slope", {"ground": feet, "elevation_unit": "us-ft"}).status == 200


def test_a_full_queue_says_when_to_come_back(client, tmp_path):
    jobs = [slow(client, tmp_path) for _ in range(3)]
    try:
        said = client.execute("slope", {"ground": {"value": {"dataset": "dem"}}})
        assert said.status == 503 and int(said.headers["Retry-After"]) > 0
        valid("exception", said.json)
        statuses = [client.ask(f"/jobs/{job}").json["status"] for job in jobs]
        assert statuses[1:] == ["accepted", "accepted"]
    finally:
        for job in jobs:
            assert client.ask(f"/jobs/{job}", method="DELETE").status == 200


def test_a_client_does_not_wait_for_much(client, tmp_path):
    dem = write_dem(tmp_path / "much.tif", np.zeros((400, 400), np.float32), UTM_CORNER, "EPSG:32617")
    said = client.execute("slope", {"ground": tiff(dem)})
    assert said.status == 400 and "respond-async" in said.json["detail"]


def test_too_little_memory_and_too_large_requests_end_in_words_and_a_dead_server_leaves_no_job(tmp_path):
    import psutil

    flat = np.zeros((3900, 4000), np.float32)  # compresses to a few kB, needs 60 MB and more
    dem = write_dem(tmp_path / "flat.tif", flat, UTM_CORNER, "EPSG:32617", compress="deflate", tiled=True)
    with served("--job-memory", "512", "--max-body", "12", "--max-jobs", "1") as tight:
        too_large = tight.ask("/processes/slope/execution", b" " * (13 << 20))
        assert too_large.status == 413 and "12,582,912" in too_large.json["detail"]
        with socket.create_connection(tuple(tight.url.removeprefix("http://").split(":"))) as plain:
            plain.sendall(
                b"POST /processes/slope/execution HTTP/1.1\r\nHost: x\r\nContent-Length: 999999999999\r\n\r\n"
            )
            assert b" 413 " in plain.recv(100)
        job = tight.execute("contributing_area", {"ground": tiff(dem)}, asynchronous=True).json["jobID"]
        failed = tight.finished(job)
        assert failed["status"] == "failed" and "memory" in failed["message"] and "Fix" in failed["message"]
        said = tight.ask(f"/jobs/{job}/results")
        assert said.status == 507 and said.json["detail"] == failed["message"]
        valid("exception", said.json)
        slow(tight, tmp_path)
        child = psutil.Process(tight.child_pid())
        os.kill(tight.pid, signal.SIGKILL)
        psutil.wait_procs([child], timeout=3)
        assert not child.is_running() or child.status() == psutil.STATUS_ZOMBIE


def test_too_long_a_job_ends_in_words(farm, tmp_path):
    (tmp_path / "outputs").mkdir()
    task = {"process": "slope", "files": {"ground": str(farm[0])}, "values": {}, "outputs": ["slope"]}
    limits = Limits(job_seconds=1)
    child = Child(tmp_path, task, limits)
    os.kill(child.pid, signal.SIGSTOP)  # it will not end by itself
    outcome = child.outcome(lambda percent, what: None)
    assert outcome.status == 507 and "more than 1 s" in outcome.detail and not list((tmp_path / "outputs").iterdir())


def test_a_finished_job_is_forgotten(farm):
    said: list[str] = []
    store = JobStore(Limits(keep_seconds=0), said.append)
    try:
        job = store.accepted("slope", "")
        store.start(job, {"process": "slope", "files": {"ground": str(farm[0])}, "values": {}, "outputs": ["slope"]})
        assert job.done.wait(60) and job.status == "successful", job
        with pytest.raises(Refused):
            store.found(job.identifier, "")
        assert not job.folder.exists() and len(said) == 2 and job.identifier not in "".join(said)
    finally:
        store.close()
    assert not job.folder.parent.exists()


def test_damage_that_only_a_job_finds_is_said_as_well(client, farm):
    content = bytearray(farm[0].read_bytes())
    whole = base64.b64encode(bytes(content[: len(content) // 2]) + b"").decode()
    said = client.execute("slope", {"ground": {"value": whole, "encoding": "base64"}})
    assert said.status == 400 and "Expected:" in said.json["detail"], said.body
    assert "/tmp" not in said.json["detail"] and json.dumps(said.json).count("Traceback") == 0
