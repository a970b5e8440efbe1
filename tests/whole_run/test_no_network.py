"""The whole flow, from a DEM to a stake-out sheet, without a network: nothing is so much as asked for, and cut off it runs alike."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.whole_run.files import plain_farm
from tunnelsite.hosts.cli.main import main

ROOT = Path(__file__).resolve().parents[2]
OUT = (
    "connect",
    "sendto",
    "sendmsg",
    "getaddrinfo",
    "gethostbyname",
    "gethostbyaddr",
)  # events of Python's socket module
REACHED = """
import socket, sys
from pathlib import Path

reached = []
# not those that stay here: a library asks at its import whether the machine knows IPv6 by binding to itself
OUT = {f"socket.{name}" for name in sys.argv[4].split()} | {"urllib.Request", "http.client.connect", "ftplib.connect"}
sys.addaudithook(lambda event, what: reached.append((event, what)) if event in OUT else None)
from tests.whole_run.test_no_network import flow

flow(*map(Path, sys.argv[1:4]))
assert not reached, reached
try:
    socket.create_connection(("127.0.0.1", 9), 0.1)
except OSError:
    pass
assert reached  # the hook does notice
"""


def flow(dem: Path, parcels: Path, out: Path) -> None:
    """From a DEM to pages, sheets and other formats."""
    site = [
        "--house",
        "6x15m",
        "--azimuths",
        "8",
        "--halo",
        "5m",
        "--crop-months",
        "12-01:12-31",
        "--draws",
        "20",
        "-q",
    ]
    one = ["--sites", f"{out}/s.gpkg", "--rank", "1", "-q"]
    kept = ["--rasters", f"{out}/r", "--keep", f"{out}/k.npz", "--top", "2"]
    sheets = [word for kind in ("csv", "gpx", "html") for word in ("--out", f"{out}/s.{kind}")]
    for words in (
        ["screen", str(dem), str(parcels), *site, "--out", f"{out}/s.gpkg", *kept],
        ["sunchart", str(dem), str(parcels), *one, "--halo", "5m", "--out", f"{out}/sun.svg"],
        ["stakeout", str(dem), str(parcels), *one, *sheets],
        ["rescore", f"{out}/k.npz", "--weight", "sun=5", "--out", f"{out}/again.gpkg", "-q"],
        ["export", f"{out}/s.gpkg", "--to", f"{out}/h", "--as", "geojson,kml,csv", "-q"],
    ):
        assert main(words) == 0, words


def _cut_off() -> tuple[str, ...]:
    """How to run something in a network namespace of its own; nothing where that cannot be."""
    ways = (("unshare", "-n"), ("unshare", "-rn")) if shutil.which("unshare") else ()
    able = (way for way in ways if subprocess.run([*way, "true"], capture_output=True, check=False).returncode == 0)
    return next(able, ())


def test_nothing_is_reached_for_and_cut_off_the_answer_is_the_same(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")
    dem, parcels = plain_farm(tmp_path)
    for side in "ab":
        (tmp_path / side).mkdir()
    flow(dem, parcels, tmp_path / "a")
    command = [sys.executable, "-c", REACHED, str(dem), str(parcels), str(tmp_path / "b"), " ".join(OUT)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PROJ_NETWORK": "ON"}
    alone = subprocess.run(
        [*(before := _cut_off()), *command], env=environment, capture_output=True, text=True, timeout=500, check=False
    )
    assert alone.returncode == 0, alone.stderr[-3000:]
    for name in ("s.gpkg", "r/beam_share.tif", "again.gpkg", "sun.svg"):
        sums = {hashlib.sha256((tmp_path / side / name).read_bytes()).hexdigest() for side in "ab"}
        assert len(sums) == 1, name
    if not before:
        pytest.skip("nothing was asked for; this machine lets no one cut a process off")
