"""A region of many small parcels side by side against one screening of them all: processor time, both in one run.

`python -m tests.benchmarks.bench_small_parcels [across] [down]`. What a region does for each parcel (its own options, described and
marked, and its row of the table) must not cost more than the screening itself, however small the parcels. What the dry run says that the
region costs is held against what it took.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import shapely
from rasterio.transform import Affine

from tests.benchmarks.bench_screening import farm_ground
from tests.benchmarks.table import Figure, show
from tests.whole_run.files import NORTH, UTM17, WEST, write_dem, write_parcels

WIDE, DEEP, LANE, EDGE = 50, 40, 5, 300  # a parcel, the way between two, and the land around them [m]
MOST_OF_ONE = 1.25
MOST_OFF = 2.0  # of what the dry run says


def made(folder: Path, across: int, down: int) -> tuple[Path, Path]:
    """(DEM of 1 m cells, parcels) of rolling ground."""
    rows, cols = (count * (size + LANE) + 2 * EDGE for count, size in ((down, DEEP), (across, WIDE)))
    ground = np.float32(0.3) * (farm_ground(max(rows, cols))[:rows, :cols] - 150) + 150
    west, north = WEST + EDGE, NORTH - EDGE
    parcels = [
        shapely.box(left, top - DEEP, left + WIDE, top)
        for left in (west + k * (WIDE + LANE) for k in range(across))
        for top in (north - k * (DEEP + LANE) for k in range(down))
    ]
    dem = write_dem(folder / "dem.tif", ground, Affine(1, 0, WEST, 0, -1, NORTH), UTM17)
    return dem, write_parcels(folder / "parcels.gpkg", parcels, UTM17)


def busy_seconds(*words: str) -> float:
    """Processor time of one command on one thread [s]."""
    before = os.times()
    subprocess.run(
        [sys.executable, "-m", "tunnelsite", *words, "--house", "30x96ft", "-q"],
        check=True,
        capture_output=True,
        env=os.environ | {"NUMBA_NUM_THREADS": "1"},
    )
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def said_seconds(dem: str, parcels: str) -> float:
    """Processor time of the region as its dry run says it [s]."""
    words = ["region", dem, parcels, "--house", "30x96ft", "--dry-run", "--json"]
    done = subprocess.run([sys.executable, "-m", "tunnelsite", *words], check=True, capture_output=True, text=True)
    return float(json.loads(done.stdout)["processor_seconds"])


def figures(across: int = 20, down: int = 15, runs: int = 2) -> list[Figure]:
    """The least of either, in turns; the first of each may load kernels or compile them."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = [str(path) for path in made(folder, across, down)]
        region, screen, said = list[float](), list[float](), said_seconds(files[0], files[1])
        for k in range(runs):
            region.append(busy_seconds("region", *files, "--workers", "0", "--out", str(folder / f"region{k}.gpkg")))
            screen.append(busy_seconds("screen", *files, "--out", str(folder / f"screen{k}.gpkg")))
    what = f"region of {across * down} small parcels / one screening of them, processor time"
    detail = f"{min(region):.1f} against {min(screen):.1f} s, with the start"
    off = max(min(region) / said, said / min(region))
    estimate = f"cost model, region of {across * down} small parcels, off by a factor"
    return [
        Figure(what, min(region) / min(screen), MOST_OF_ONE, False, detail),
        Figure(estimate, off, MOST_OFF, False, f"{said:.1f} s said, {min(region):.1f} s taken"),
    ]


if __name__ == "__main__":
    show(figures(*(int(text) for text in sys.argv[1:3])))
