"""`--scheduler`: workers of a cluster that another process started, and what is said when it cannot be had."""

from __future__ import annotations

import contextlib
import os
import socket
import socketserver
import subprocess
import sys
import threading
import time
from pathlib import Path

import geopandas
import pyogrio
import pytest

from tests.region.farms import ASKED, region_files
from tests.region.valleys import valley, valley_farm
from tunnelsite.hosts.cli.main import main
from tunnelsite.region import running, worker_pool

pytest.importorskip("distributed")
ROOT = Path(__file__).resolve().parents[2]
CLUSTER = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(
        n_workers=int(sys.argv[1]), threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0", silence_logs=50
    ) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """Starts clusters of so many workers in processes of their own, elsewhere; gives their addresses."""
    folder = tmp_path_factory.mktemp("cluster")
    (folder / "start.py").write_text(CLUSTER)
    started = []

    def start(workers: int) -> str:
        started.append(
            subprocess.Popen(
                [sys.executable, "start.py", str(workers)],
                cwd=folder,
                env={**os.environ, "PYTHONPATH": str(ROOT), "NUMBA_NUM_THREADS": "1"},
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
        )
        return started[-1].stdout.readline().strip()

    yield start
    for one in started:
        one.stdin.close()
        one.wait(60)


def asked_of(files, out: Path, *words: str) -> list[str]:
    given = ["--house", "9x30m", "--azimuths", "8", "--crop-months", "12-01:12-31", "--halo", "60m", "-q"]
    return ["region", *map(str, files), *given, "--out", str(out), *words]


def test_workers_of_another_process_give_the_same_bytes(cluster, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")
    files = valley_farm(tmp_path, valley())
    monkeypatch.chdir(tmp_path)  # relative paths: the workers were started elsewhere
    address = cluster(1)
    assert address.startswith("tcp://127.0.0.1:")
    names = [path.name for path in files]
    assert main(asked_of(names, Path("there.gpkg"), "--scheduler", address, "--parts", "parts there")) == 0
    assert main(asked_of(names, Path("here.gpkg"), "--workers", "0")) == 0
    assert Path("there.gpkg").read_bytes() == Path("here.gpkg").read_bytes()
    assert Path("there-manifest.json").read_bytes() == Path("here-manifest.json").read_bytes()
    assert list(Path("parts there").glob("drainage-*/tile-*"))  # written by the worker, where this process sees it

    def other() -> list[dict[str, str]]:
        return [{"kind": "version", "name": "numpy", "value": "0.1"}]

    monkeypatch.setattr(worker_pool, "version_rows", other)
    assert main(asked_of(names, Path("no.gpkg"), "--scheduler", address)) == 2 and not Path("no.gpkg").exists()


@contextlib.contextmanager
def other_service():
    """The port of something that answers, but is no scheduler."""

    class Answer(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            self.request.sendall(b"HTTP/1.0 400 Bad Request\r\n\r\n" * 9)

    with socketserver.TCPServer(("127.0.0.1", 0), Answer) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1]
        server.shutdown()


def test_what_is_said_when_there_is_none(cluster, tmp_path: Path, monkeypatch, capsys) -> None:
    """Soon, in words, with the status of a wrong option, and before anything is written."""
    monkeypatch.setattr(worker_pool, "WORKERS_S", 1.0)
    files = valley_farm(tmp_path, valley())
    with socket.create_server(("127.0.0.1", 0)) as mute, other_service() as other, socket.socket() as free:
        free.bind(("127.0.0.1", 0))  # nobody listens here
        for address, words in {
            f"tcp://127.0.0.1:{free.getsockname()[1]}": "none answers",
            f"tcp://127.0.0.1:{mute.getsockname()[1]}": "none answers",
            f"tcp://127.0.0.1:{other}": "none answers",
            "tcp://127.0.0.1": "none answers",
            "nonsense": "none answers",
            "http://127.0.0.1:8786": "none answers",
            cluster(0): "no worker after",
        }.items():
            monkeypatch.setattr(worker_pool, "ANSWER_S", 1.0 if words == "none answers" else 30.0)
            start = time.monotonic()
            assert main(asked_of(files, tmp_path / "r.gpkg", "--scheduler", address)) == 2
            said = capsys.readouterr().err
            assert f"--scheduler: {'none' if words.startswith('none') else 'the one'}" in said, said
            assert words in said and address in said and "Fix" in said
            assert time.monotonic() - start < 60 and not (tmp_path / "r.gpkg").exists()


def test_a_group_that_fails_fails_the_parcel_at_fault(tmp_path: Path, monkeypatch, capsys) -> None:
    """The others of its group are screened each alone, as with --group-size 0m."""
    (dem, parcels), real = region_files(tmp_path), running.run_task
    geopandas.read_file(parcels).iloc[[3, 4, 5]].to_file(tmp_path / "three.gpkg")
    files = (dem, tmp_path / "three.gpkg")

    def faulty(inputs, settings, key, wanted):
        if "lot 4" in inputs.parcels.columns["parcel"]:
            raise RuntimeError("this outline breaks something")
        return real(inputs, settings, key, wanted)

    monkeypatch.setattr(running, "run_task", faulty)
    asked = [*ASKED[:8], "--workers", "0", "-q"]
    for size in ("2km", "0m"):
        words = ["--group-size", size, "--out", str(tmp_path / f"{size}.gpkg")]
        assert main(["region", *map(str, files), *asked, *words]) == 0
    parcels, tasks, candidates = (
        {size: pyogrio.read_dataframe(tmp_path / f"{size}.gpkg", layer=name) for size in ("2km", "0m")}
        for name in ("parcels", "tasks", "candidates")
    )
    for size in ("2km", "0m"):
        state = parcels[size].set_index("parcel").state
        assert sorted(state.index[state == "failed"]) == ["lot 4"] and len(state) == 3
    split = tasks["2km"][tasks["2km"].state == "split"]
    assert len(split) == 1 and "this outline breaks something" in split.notes.iloc[0]
    last = parcels["2km"].nlargest(int(split.parcels.iloc[0]), "task")  # those of the split group come after all groups
    alone = set(last.parcel[last.state == "screened"])
    assert len(alone) == len(last) - 1 > 0 and "lot 4" in set(last.parcel)
    for name in alone & set(candidates["0m"].parcel):
        one, two = (
            table[table.parcel == name].drop(columns=["rank", "geometry"]).reset_index(drop=True)
            for table in candidates.values()
        )
        assert one.equals(two)
    assert "this outline breaks something" in capsys.readouterr().out
    monkeypatch.setattr("tunnelsite.region.tasks.FEW", 1)  # halves, of which one fails again
    halved = tmp_path / "halved.gpkg"
    assert main(["region", *map(str, files), *asked, "--group-size", "2km", "--out", str(halved)]) == 0
    state = pyogrio.read_dataframe(halved, layer="parcels").set_index("parcel").state
    assert sorted(state.index[state == "failed"]) == ["lot 4"] and len(state) == 3
    assert pyogrio.read_dataframe(halved, layer="tasks").state.tolist().count("split") == 2
