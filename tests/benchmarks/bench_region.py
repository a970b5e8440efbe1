"""Following water over a region's DEM, tile by tile with every step kept, against filling and draining it at once.

`python -m tests.benchmarks.bench_region [side]`; processor time of one thread, both in one run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from unittest import mock

import numba
import rasterio
from rasterio.transform import Affine

from tests.benchmarks.bench_tiled_drainage import heights
from tests.benchmarks.table import Figure, show
from tunnelsite.core.process import silent
from tunnelsite.io.read.height_blocks import height_blocks
from tunnelsite.io.read.mosaic import mosaic
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells
from tunnelsite.region import drainage
from tunnelsite.region.drainage import drainage_of, drained
from tunnelsite.region.run_cost import DRAINED_NS, LOOKED_THROUGH_NS
from tunnelsite.region.worker_pool import Hands, WorkerPool


def made(path: Path, side: int) -> Path:
    """A DEM of hills with 10 cm of noise, as lidar products are stored."""
    values = heights(slice(0, side), slice(0, side)) + 100
    shape = {"height": side, "width": side, "count": 1, "dtype": "float32", "crs": "EPSG:32617"}
    place = Affine(1, 0, 700_000, 0, -1, 4_700_000)
    with rasterio.open(path, "w", driver="GTiff", tiled=True, compress="deflate", transform=place, **shape) as file:
        file.write(values, 1)
    return path


def taken(dem: Path, parts: Path) -> tuple[float, float, int]:
    """(seconds of the pass, seconds of the kernels at once, bytes kept)."""
    start = time.process_time()
    blocks = height_blocks(mosaic(str(dem)))
    found = drainage_of(blocks, (1.0, 1.0), "benchmark", parts)
    whole = [(slice(0, blocks.shape[0]), slice(0, blocks.shape[1]))]
    # a DEM of this size would be drained in one piece
    with Hands(WorkerPool(0), 1) as hands, mock.patch.object(drainage, "AT_ONCE", 0):
        hands._threads = 1
        drained(found, whole, hands, silent)
    tiles = time.process_time() - start
    ground = blocks.read(*whole[0])
    start = time.process_time()
    upslope_cells(flow_direction(filled(ground), 1.0))
    at_once = time.process_time() - start
    return tiles, at_once, sum(path.stat().st_size for path in found.tiles.folder.iterdir())


def figures(side: int = 4096) -> list[Figure]:
    """Ratio to the kernels at once, and the cost model against it."""
    numba.set_num_threads(1)
    with tempfile.TemporaryDirectory() as folder:
        for size in (300, side):  # the first compiles
            dem = made(Path(folder) / f"{size}.tif", size)
            parts = Path(folder) / f"parts{size}"
            parts.mkdir()
            tiles, at_once, kept = taken(dem, parts)
    cells = side * side
    off = tiles / (1e-9 * cells * (LOOKED_THROUGH_NS + DRAINED_NS))
    detail = f"{1e9 * tiles / cells:.0f} ns a cell, {kept / cells:.2f} bytes a cell kept"
    return [
        Figure(f"water over a region's DEM, {side} x {side}: tiles kept on disk / at once in memory", tiles / at_once, None, False, detail),
        Figure("cost model, water over a region's DEM, off by a factor", max(off, 1 / off), 3.0, False, ""),
    ]  # fmt: skip


if __name__ == "__main__":
    show(figures(int((sys.argv[1:] or ["4096"])[0])))
