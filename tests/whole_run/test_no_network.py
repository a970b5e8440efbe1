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

ROOT = Path(__file__).resolve().parents[2]
FLOW = """
import sys
from pathlib import Path

reached = []
# not those that stay here: a library asks at its import whether the machine knows IPv6 by binding to itself
OUT = ("connect", "sendto", "sendmsg", "getaddrinfo", "gethostbyname", "gethostbyaddr")
OUT = {f"socket.{name}" for name in OUT} | {"urllib.Request", "http.client.connect", "ftplib.connect"}
sys.addaudithook(lambda event, what: reached.append((event, what)) if event in OUT else None)
from tunnelsite.hosts.cli.main import main

dem, parcels, out = sys.argv[1:4]
site = ["--house", "6x15m", "--azimuths", "8", "--halo", "5m", "--crop-months", "12-01:12-31", "--draws", "20", "-q"]
one = ["--sites", f"{out}/s.gpkg", "--rank", "1", "-q"]
for words in (
    ["screen", dem, parcels, *site, "--out", f"{out}/s.gpkg", "--rasters", f"{out}/r", "--keep", f"{out}/k.npz", "--top", "2"],
    ["sunchart", dem, parcels, *one, "--halo", "5m", "--out", f"{out}/sun.svg"],
    ["stakeout", dem, parcels, *one, "--out", f"{out}/s.csv", "--out", f"{out}/s.gpx", "--out", f"{out}/s.html"],
    ["rescore", f"{out}/k.npz", "--weight", "sun=5", "--out", f"{out}/again.gpkg", "-q"],
    ["export", f"{out}/s.gpkg", "--to", f"{out}/h", "--as", "geojson,kml,csv", "-q"],
):
    assert main(words) == 0, words
assert not reached, reached
import socket
try:
    socket.create_connection(("127.0.0.1", 9), 0.1)
except OSError:
    pass
assert reached  # the hook does notice
"""


def _flow(dem: Path, parcels: Path, out: Path, *before: str) -> subprocess.CompletedProcess:
    out.mkdir()
    return subprocess.run(
        [*before, sys.executable, "-c", FLOW, str(dem), str(parcels), str(out)],
        env={**os.environ, "PYTHONPATH": str(ROOT), "SOURCE_DATE_EPOCH": "1790000000", "PROJ_NETWORK": "ON"},
        capture_output=True,
        text=True,
        timeout=500,
        check=False,
    )


def _cut_off() -> tuple[str, ...]:
    """How to run something in a network namespace of its own, or a reason to skip."""
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed")
    ways = (("unshare", "-n"), ("unshare", "-rn"))
    for way in ways:
        if subprocess.run([*way, "true"], capture_output=True, check=False).returncode == 0:
            return way
    pytest.skip("this machine lets nobody make a network namespace")


def test_nothing_is_reached_for_and_cut_off_the_answer_is_the_same(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    whole = _flow(dem, parcels, tmp_path / "a")
    assert whole.returncode == 0, whole.stderr[-3000:]
    alone = _flow(dem, parcels, tmp_path / "b", *_cut_off())
    assert alone.returncode == 0, alone.stderr[-3000:]
    for name in ("s.gpkg", "r/beam_share.tif", "again.gpkg", "sun.svg"):
        sums = {hashlib.sha256((tmp_path / side / name).read_bytes()).hexdigest() for side in "ab"}
        assert len(sums) == 1, name
