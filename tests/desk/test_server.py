"""The desk on the loopback address: runs, kills, bounds, and the same answer as the command line.

It is a process of its own only where that is what is tested: in this one, what it needs is imported already.
"""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import httpx
import psutil
import pyproj
import pytest
import rasterio
import uvicorn

from tests.desk.fields import FARM
from tests.desk.served import TOKEN, Served
from tests.whole_run.files import gentle, plain_farm
from tunnelsite.desk.application import application
from tunnelsite.desk.project import Project
from tunnelsite.hosts.cli.main import main

LIMIT_S = 180.0  # the first screening may have to compile the kernels


class Client:
    """What a page says to the server, without a browser."""

    def __init__(self, port: int) -> None:
        self.http = httpx.Client(base_url=f"http://127.0.0.1:{port}", headers={"X-Desk": "1"}, timeout=LIMIT_S)
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
            time.sleep(0.05)
        raise AssertionError(state)

    def screened(self) -> dict[str, Any]:
        """Run and wait for the end."""
        self("POST", "/api/run", {}, 202)
        return self.until(lambda state: (state["run"] or {"state": "failed"})["state"] == "failed")


def small_farm(folder: Path) -> Path:
    plain_farm(folder, gentle(80, 100))
    (folder / "farm.toml").write_text(FARM + "draws = 20\n", "utf-8")
    return folder


@contextlib.contextmanager
def serving(folder: Path) -> Iterator[Client]:
    """A desk in this process."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        app = application(Project(folder), TOKEN, port)
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="on", ws="none"))
        served = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        served.start()
        try:
            yield Client(port)
        finally:
            server.should_exit = True
            served.join()


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Client]:
    with serving(small_farm(tmp_path)) as client:
        yield client


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Client]:
    with serving(tmp_path) as client:
        yield client


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Client]]:
    """A desk in a process of its own, for all tests that need one."""
    served = Served(small_farm(tmp_path_factory.mktemp("standing")))
    served.start()
    try:
        yield served, Client(served.port)
    finally:
        served.kill()


def tree(lon: float, lat: float, height: Any = "40 ft") -> dict[str, Any]:
    return {
        "geometry": {"type": "Point", "coordinates": [lon, lat]},
        "properties": {"what": "tree", "height_m": height},
    }


def ended(process: psutil.Process) -> bool:
    try:
        return process.status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True


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


def test_run_is_cancelled_at_once_leaves_nothing_and_runs_again(farm: Client, tmp_path: Path) -> None:
    farm.until(lambda state: state["model"]["state"] == "ready")
    farm("POST", "/api/run", {}, 202)
    assert farm("POST", "/api/run", {}, 409)["words"]
    assert farm("DELETE", "/api/run") == {"cancelled": True}
    assert farm("GET", "/api/state")["run"] is None and not (tmp_path / "runs").exists()
    state = farm.screened()
    assert [entry["id"] for entry in state["runs"]] == [state["current"]] and not state["stale"]
    assert {file.name for file in (tmp_path / "runs" / state["current"]).iterdir()} == {
        "sites.gpkg", "run.npz", "farm.toml", "answer.json",
    }  # fmt: skip
    farm("PATCH", "/api/settings", {"set": {"setback": "10ft"}})
    assert farm("GET", "/api/state")["stale"] and "# the usual one" in (tmp_path / "farm.toml").read_text()


@dataclass(frozen=True)
class Drawn:
    """A desk with a tree, a keep-out and a finished run: its id, and what pages heard of it."""

    served: Served
    client: Client
    run: str
    heard: list[str]


@pytest.fixture(scope="module")
def drawn(standing: tuple[Served, Client]) -> Drawn:
    """The first run of the standing desk."""
    served, client = standing
    lon, lat = middle(client.until(lambda state: state["model"]["state"] == "ready"))
    client("PUT", "/api/drawn/maple", tree(lon, lat))
    keep_out = {"type": "LineString", "coordinates": [[lon - 2e-4, lat - 1e-4], [lon - 2e-4, lat + 1e-4]]}
    wanted = {"what": "keep_out", "distance_m": "10 ft"}
    client("PUT", "/api/drawn/line", {"geometry": keep_out, "properties": wanted})
    heard = []
    with client.http.stream("GET", "/api/events") as stream:
        lines = stream.iter_lines()
        heard.append(next(lines))
        client("POST", "/api/run", {}, 202)
        for line in lines:
            heard.append(line)
            if '"state": "done"' in line:
                break
    return Drawn(served, client, client("GET", "/api/state")["current"], heard)


def test_events_tell_of_the_run(drawn: Drawn) -> None:
    assert drawn.heard[0] == "event: hello"
    steps = [line for line in drawn.heard if '"step"' in line and '"share"' in line]
    assert steps and any(line == "event: answer" for line in drawn.heard)


def test_command_line_gives_the_same_answer_with_what_was_drawn(
    drawn: Drawn, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["screen", "--project", str(drawn.served.folder / "farm.toml"), "--out", "cli.gpkg", "-q"]) == 0
    for layer in ("candidates", "pads", "stakes", "rejections"):
        found, wanted = (
            geopandas.read_file(path, layer=layer)
            for path in (drawn.served.folder / "runs" / drawn.run / "sites.gpkg", tmp_path / "cli.gpkg")
        )
        assert len(found) and found.equals(wanted), layer
    options = drawn.client("GET", "/api/answer")["options"]
    table = geopandas.read_file(tmp_path / "cli.gpkg", layer="candidates")
    assert [option["score"] for option in options] == pytest.approx(list(table["score"]))


def test_second_desk_on_the_folder_is_refused_in_words(
    standing: tuple[Served, Client], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(uvicorn.Server, "run", lambda *given, **named: None)  # where it is not refused it ends too
    assert main(["desk", str(standing[0].folder), "--no-browser"]) == 2
    said = capsys.readouterr().err
    assert "another desk has" in said and "Traceback" not in said


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


def test_files_are_dropped_used_and_screened(empty: Client, tmp_path_factory: pytest.TempPathFactory) -> None:
    source = tmp_path_factory.mktemp("source")
    plain_farm(source)
    files = [("file", (name, (source / name).read_bytes())) for name in ("dem.tif", "parcels.gpkg")]
    found = empty.http.post("/api/files", files=files).json()["files"]
    assert [(one["name"], one["used_as"]) for one in found] == [("dem.tif", "dem"), ("parcels.gpkg", "parcels")]
    empty("PATCH", "/api/settings", {"set": {"house": ["20x48ft"], "azimuths": 8, "draws": 20}})
    empty.until(lambda state: state["model"]["state"] == "ready")
    assert empty.screened()["headings"][3]["state"] == "ok"
    images = {layer["id"]: layer for layer in empty("GET", "/api/layers")["layers"]}
    assert {"hillshade", "score", "why_not", "water", "light"} <= set(images)
    for layer in images.values():
        assert empty.http.get(layer["url"]).content.startswith(b"\x89PNG")


def test_field_drawn_on_a_terrain_model_alone_is_screened(
    empty: Client, tmp_path_factory: pytest.TempPathFactory
) -> None:
    source = tmp_path_factory.mktemp("source")
    plain_farm(source)
    empty.http.post("/api/files", files=[("file", ("dem.tif", (source / "dem.tif").read_bytes()))])
    empty("PATCH", "/api/settings", {"set": {"house": ["20x48ft"], "azimuths": 8, "draws": 20}})
    lon, lat = middle(empty.until(lambda state: state["model"]["state"] == "ready"))
    ring = [[lon - 3e-4, lat - 2e-4], [lon + 3e-4, lat - 2e-4], [lon + 3e-4, lat + 2e-4], [lon - 3e-4, lat + 2e-4]]
    field = {
        "geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]},
        "properties": {"what": "field", "name": "Nord"},
    }
    empty("PUT", "/api/drawn/nord", field)
    empty.until(lambda state: state["model"]["state"] == "ready" and "missing" not in state["headings"][0]["line"])
    empty.screened()
    options = empty("GET", "/api/answer")["options"]
    assert options and {option["parcel"] for option in options} == {"Nord"}


def test_question_of_a_foot_map_comes_back_as_a_question(
    empty: Client, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("source") / "dem.tif"
    crs = rasterio.crs.CRS.from_wkt(pyproj.CRS("EPSG:2263").to_wkt())  # New York Long Island, US survey feet
    transform = rasterio.transform.from_origin(1_000_000, 200_000, 3, 3)
    with rasterio.open(
        path, "w", driver="GTiff", width=60, height=50, count=1, dtype="float32", crs=crs, transform=transform
    ) as target:
        target.write(gentle(50, 60), 1)
    empty.http.post("/api/files", files=[("file", ("dem.tif", path.read_bytes()))])
    empty("PATCH", "/api/files/dem.tif", {"use_as": "dem"})
    question = empty.until(lambda state: state["questions"])["questions"][0]
    assert question["id"] == "elevation_unit" and "feet" in question["words"] and len(question["choices"]) >= 3
    empty("POST", "/api/answers/elevation_unit", {"value": "us-ft"})
    state = empty.until(lambda state: state["model"]["state"] == "ready")
    assert not state["questions"] and "US survey feet" in state["headings"][0]["line"]


def test_drawing_and_run_are_there_after_a_kill(drawn: Drawn) -> None:
    served, client, run = drawn.served, drawn.client, drawn.run
    lon, lat = middle(client("GET", "/api/state"))
    for number in range(3):
        client("PUT", f"/api/drawn/tree-{number}", tree(lon + number * 1e-4, lat))
    client("POST", "/api/run", {}, 202)
    workers = psutil.Process(served.process.pid).children(recursive=True)
    os.kill(served.process.pid, signal.SIGKILL)
    served.process.wait()
    served.start()
    client = Client(served.port)
    state = client("GET", "/api/state")
    assert state["current"] == run and len(state["runs"]) == 1
    there = {one["id"] for one in client("GET", "/api/drawn")["features"]}
    assert there == {"maple", "line", "tree-0", "tree-1", "tree-2"}
    assert not list((served.folder / "runs").glob(".*"))
    assert client("GET", "/api/answer")["run"] == run
    until = time.monotonic() + 30
    while not all(ended(worker) for worker in workers):  # by themselves: the desk could not end them
        assert time.monotonic() < until, workers
        time.sleep(0.05)


def test_a_reopened_desk_scores_a_house_by_itself_and_says_what_it_waits_for(tmp_path: Path) -> None:
    """The kept answer holds its numbers only: it is measured again, and no question is lost when the worker changes."""
    folder = small_farm(tmp_path)
    with serving(folder) as client:
        client.screened()
        option = client("GET", "/api/answer")["options"][0]
    with serving(folder) as client:
        client.until(lambda state: state["model"]["state"] == "ready")
        said, end = [], time.monotonic() + LIMIT_S
        while time.monotonic() < end:
            answer = client.http.post("/api/hand", json=option["place"])
            tap = client.http.post("/api/tap", json={name: option["place"][name] for name in ("lon", "lat")})
            assert answer.status_code in (200, 409) and tap.status_code in (200, 409), (
                answer.text,
                tap.text,
            )  # 409: still being read
            if answer.status_code == 200:
                said.append(answer.json())
                if said[-1]["measured"] == "all":
                    break
                assert (
                    said[-1]["score"]["words"] == "no score yet: wait a moment until the kept answer is measured again"
                )
            if tap.status_code == 200 and tap.json()["state"] == "not searched":
                assert tap.json()["words"][0].startswith(
                    "Wait a moment until the kept answer is measured again: then a click"
                )
            time.sleep(0.05)
        assert said[-1]["score"]["steady"] == pytest.approx(option["score"])
