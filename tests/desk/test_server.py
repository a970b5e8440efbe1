"""The desk as a process of its own on the loopback address: runs, kills, bounds, and the same answer as the command line."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas
import httpx
import pyproj
import pytest
import rasterio

from tests.desk.fields import FARM
from tests.desk.served import TOKEN, Served
from tests.whole_run.files import gentle, plain_farm

LIMIT_S = 180.0  # the first screening may have to compile the kernels


class Client:
    """What a page says to the server, without a browser."""

    def __init__(self, served: Served) -> None:
        self.http = httpx.Client(base_url=f"http://127.0.0.1:{served.port}", headers={"X-Desk": "1"}, timeout=LIMIT_S)
        self.http.get(f"/?token={TOKEN}")

    def __call__(self, method: str, path: str, body: Any = None, status: int = 200) -> Any:
        answer = self.http.request(method, path, json=body)
        assert answer.status_code == status, answer.text
        return answer.json()

    def until(self, ready: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The state once it is as wanted."""
        end = time.monotonic() + LIMIT_S
        while time.monotonic() < end:
            state = self("GET", "/api/state")
            if ready(state):
                return state
            time.sleep(0.1)
        raise AssertionError(state)

    def screened(self) -> dict[str, Any]:
        """Run and wait for the end."""
        self("POST", "/api/run", {}, 202)
        return self.until(lambda state: (state["run"] or {"state": "failed"})["state"] == "failed")


def started(folder: Path) -> Iterator[tuple[Served, Client]]:
    served = Served(folder)
    served.start()
    try:
        yield served, Client(served)
    finally:
        served.kill()


def small_farm(folder: Path) -> Path:
    plain_farm(folder, gentle(80, 100))
    (folder / "farm.toml").write_text(FARM, "utf-8")
    return folder


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[tuple[Served, Client]]:
    yield from started(small_farm(tmp_path))


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Client]]:
    """The same for all tests that change nothing in the folder."""
    yield from started(small_farm(tmp_path_factory.mktemp("standing")))


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[tuple[Served, Client]]:
    yield from started(tmp_path)


def tree(lon: float, lat: float, height: Any = "40 ft") -> dict[str, Any]:
    return {
        "geometry": {"type": "Point", "coordinates": [lon, lat]},
        "properties": {"what": "tree", "height_m": height},
    }


def middle(state: dict[str, Any]) -> tuple[float, float]:
    view = state["view"]
    return (view["west"] + view["east"]) / 2, (view["south"] + view["north"]) / 2


def test_it_listens_on_this_machine_alone(standing: tuple[Served, Client]) -> None:
    port = f"{standing[0].port:04X}"
    listening = (
        [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
        if Path("/proc/net/tcp").exists()
        else []
    )
    bound = {row[1].split(":")[0] for row in listening if row[1].endswith(f":{port}") and row[3] == "0A"}
    assert bound <= {"0100007F"}


def test_run_is_cancelled_at_once_leaves_nothing_and_runs_again(farm: tuple[Served, Client]) -> None:
    served, client = farm
    client.until(lambda state: state["model"]["state"] == "ready")
    client("POST", "/api/run", {}, 202)
    assert client("POST", "/api/run", {}, 409)["words"]
    assert client("DELETE", "/api/run") == {"cancelled": True}
    assert client("GET", "/api/state")["run"] is None and not (served.folder / "runs").exists()
    state = client.screened()
    assert [entry["id"] for entry in state["runs"]] == [state["current"]] and not state["stale"]
    assert {file.name for file in (served.folder / "runs" / state["current"]).iterdir()} == {
        "sites.gpkg", "run.npz", "farm.toml", "answer.json",
    }  # fmt: skip
    client("PATCH", "/api/settings", {"set": {"setback": "10ft"}})
    assert client("GET", "/api/state")["stale"] and "# the usual one" in (served.folder / "farm.toml").read_text()


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Client, str]]:
    """A desk with a tree, a keep-out and a finished run."""
    for served, client in started(small_farm(tmp_path_factory.mktemp("drawn"))):
        lon, lat = middle(client.until(lambda state: state["model"]["state"] == "ready"))
        client("PUT", "/api/drawn/maple", tree(lon, lat))
        keep_out = {"type": "LineString", "coordinates": [[lon - 2e-4, lat - 1e-4], [lon - 2e-4, lat + 1e-4]]}
        wanted = {"what": "keep_out", "distance_m": "10 ft"}
        client("PUT", "/api/drawn/line", {"geometry": keep_out, "properties": wanted})
        yield served, client, client.screened()["current"]


def test_command_line_gives_the_same_answer_with_what_was_drawn(
    drawn: tuple[Served, Client, str], tmp_path: Path
) -> None:
    served, client, run = drawn
    command = [
        sys.executable,
        "-m",
        "tunnelsite",
        "screen",
        "--project",
        str(served.folder / "farm.toml"),
        "--out",
        "cli.gpkg",
        "-q",
    ]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    for layer in ("candidates", "pads", "stakes", "rejections"):
        found, wanted = (
            geopandas.read_file(path, layer=layer)
            for path in (served.folder / "runs" / run / "sites.gpkg", tmp_path / "cli.gpkg")
        )
        assert len(found) and found.equals(wanted), layer
    options = client("GET", "/api/answer")["options"]
    table = geopandas.read_file(tmp_path / "cli.gpkg", layer="candidates")
    assert [option["score"] for option in options] == pytest.approx(list(table["score"]))


def test_drawing_and_run_are_there_after_a_kill(drawn: tuple[Served, Client, str]) -> None:
    served, client, run = drawn
    lon, lat = middle(client("GET", "/api/state"))
    for number in range(3):
        client("PUT", f"/api/drawn/tree-{number}", tree(lon + number * 1e-4, lat))
    client("POST", "/api/run", {}, 202)
    os.kill(served.process.pid, signal.SIGKILL)
    served.process.wait()
    served.start()
    client = Client(served)
    state = client("GET", "/api/state")
    assert state["current"] == run and len(state["runs"]) == 1
    there = {one["id"] for one in client("GET", "/api/drawn")["features"]}
    assert there == {"maple", "line", "tree-0", "tree-1", "tree-2"}
    assert not list((served.folder / "runs").glob(".*"))
    assert client("GET", "/api/answer")["run"] == run


def test_second_desk_on_the_folder_is_refused_in_words(standing: tuple[Served, Client]) -> None:
    command = [sys.executable, "-m", "tunnelsite", "desk", str(standing[0].folder), "--no-browser"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "another desk has" in done.stderr and "Traceback" not in done.stderr


def test_bodies_are_bounded_and_wrong_ones_answered_in_words(standing: tuple[Served, Client]) -> None:
    client = standing[1].http
    assert client.put("/api/drawn/x", content=b" " * (17 << 20)).status_code == 413
    for path, body in (("/api/drawn/x", b"[1]"), ("/api/drawn/x", b"{" * 100_000), ("/api/drawn/%2e%2e", b"{}")):
        assert client.put(path, content=body).status_code in (404, 422)
    assert client.post("/api/hand", json={"lon": 1e9, "lat": 0, "bearing_deg": 0, "house": "x"}).status_code == 422
    assert client.patch("/api/settings", json={"set": {"out": "/etc/x"}}).status_code == 422
    assert (
        client.get("/api/layers/nothing.png").status_code in (404, 200)
        and client.get("/api/nothing").status_code == 404
    )


@pytest.mark.parametrize(
    "path",
    ["/files/farm.toml", "/files/../farm.toml", "/files/runs/../farm.toml", "/files/packet/%2e%2e/farm.toml", "/files//etc/passwd",
     "/files/runs/.hidden", "/page/../gate.py", "/page/%2e%2e/gate.py", "/page//etc/passwd"],
)  # fmt: skip
def test_no_file_outside_is_served(standing: tuple[Served, Client], path: str) -> None:
    cookie = f"desk-{standing[0].port}={TOKEN}"
    with socket.create_connection(("127.0.0.1", standing[0].port)) as line:  # a client library would tidy the path
        line.sendall(
            f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{standing[0].port}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n".encode()
        )
        answer = b"".join(iter(lambda: line.recv(65536), b""))
    assert (
        re.match(rb"HTTP/1.1 4\d\d", answer)
        and b"dem =" not in answer
        and b"root:" not in answer
        and b"import" not in answer
    )


def test_files_are_dropped_used_and_screened(
    empty: tuple[Served, Client], tmp_path_factory: pytest.TempPathFactory
) -> None:
    _, client = empty
    source = tmp_path_factory.mktemp("source")
    plain_farm(source)
    files = [("file", (name, (source / name).read_bytes())) for name in ("dem.tif", "parcels.gpkg")]
    found = client.http.post("/api/files", files=files).json()["files"]
    assert [(one["name"], one["used_as"]) for one in found] == [("dem.tif", "dem"), ("parcels.gpkg", "parcels")]
    client("PATCH", "/api/settings", {"set": {"house": ["20x48ft"], "azimuths": 8}})
    client.until(lambda state: state["model"]["state"] == "ready")
    assert client.screened()["headings"][3]["state"] == "ok"
    images = {layer["id"]: layer for layer in client("GET", "/api/layers")["layers"]}
    assert {"hillshade", "score", "why_not", "water", "light"} <= set(images)
    for layer in images.values():
        assert client.http.get(layer["url"]).content.startswith(b"\x89PNG")


def test_field_drawn_on_a_terrain_model_alone_is_screened(
    empty: tuple[Served, Client], tmp_path_factory: pytest.TempPathFactory
) -> None:
    _, client = empty
    source = tmp_path_factory.mktemp("source")
    plain_farm(source)
    client.http.post("/api/files", files=[("file", ("dem.tif", (source / "dem.tif").read_bytes()))])
    client("PATCH", "/api/settings", {"set": {"house": ["20x48ft"], "azimuths": 8}})
    lon, lat = middle(client.until(lambda state: state["model"]["state"] == "ready"))
    ring = [[lon - 3e-4, lat - 2e-4], [lon + 3e-4, lat - 2e-4], [lon + 3e-4, lat + 2e-4], [lon - 3e-4, lat + 2e-4]]
    field = {
        "geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]},
        "properties": {"what": "field", "name": "Nord"},
    }
    client("PUT", "/api/drawn/nord", field)
    client.until(lambda state: state["model"]["state"] == "ready" and "missing" not in state["headings"][0]["line"])
    client.screened()
    options = client("GET", "/api/answer")["options"]
    assert options and {option["parcel"] for option in options} == {"Nord"}


def test_question_of_a_foot_map_comes_back_as_a_question(
    empty: tuple[Served, Client], tmp_path_factory: pytest.TempPathFactory
) -> None:
    _, client = empty
    path = tmp_path_factory.mktemp("source") / "dem.tif"
    crs = rasterio.crs.CRS.from_wkt(pyproj.CRS("EPSG:2263").to_wkt())  # New York Long Island, US survey feet
    transform = rasterio.transform.from_origin(1_000_000, 200_000, 3, 3)
    with rasterio.open(
        path, "w", driver="GTiff", width=60, height=50, count=1, dtype="float32", crs=crs, transform=transform
    ) as target:
        target.write(gentle(50, 60), 1)
    client.http.post("/api/files", files=[("file", ("dem.tif", path.read_bytes()))])
    client("PATCH", "/api/files/dem.tif", {"use_as": "dem"})
    question = client.until(lambda state: state["questions"])["questions"][0]
    assert question["id"] == "elevation_unit" and "feet" in question["words"] and len(question["choices"]) >= 3
    client("POST", "/api/answers/elevation_unit", {"value": "us-ft"})
    state = client.until(lambda state: state["model"]["state"] == "ready")
    assert not state["questions"] and "US survey feet" in state["headings"][0]["line"]


def test_events_tell_of_the_run(standing: tuple[Served, Client]) -> None:
    _, client = standing
    client.until(lambda state: state["model"]["state"] == "ready")
    heard: list[str] = []
    with client.http.stream("GET", "/api/events") as stream:
        lines = stream.iter_lines()
        assert next(lines) == "event: hello"
        client("POST", "/api/run", {}, 202)
        for line in lines:
            heard.append(line)
            if '"state": "done"' in line:
                break
    steps = [line for line in heard if '"step"' in line and '"share"' in line]
    assert steps and any(line == "event: answer" for line in heard)
