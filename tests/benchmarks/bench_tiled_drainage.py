"""Memory and time of drainage by tiles against the whole raster at once: python tests/benchmarks/bench_tiled_drainage.py [size ...]

Each run is a process of its own; its peak is the most memory it ever held, less that of the same process on one small tile.
Heights are made when asked for, so neither run is charged for a file, and results are dropped.
"""

import json
import resource
import subprocess
import sys
import time

import numpy as np

from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.tiled_drainage import tiled_drainage
from tunnelsite.kernels.water.upslope import upslope_cells

TILE = 512
GOAL_BYTES_A_TILE_CELL, GOAL_BYTES_A_PERIMETER_CELL = 150, 200


def heights(rows, cols):
    """Hills of 5 m with 5 cm of noise that depends on the place alone."""
    row, col = np.ogrid[rows, cols]
    mixed = (row.astype(np.uint32) * np.uint32(2654435761)) ^ (col.astype(np.uint32) * np.uint32(2246822519))
    mixed = (mixed ^ (mixed >> np.uint32(15))) * np.uint32(739982445)
    hills = np.sin(row * 0.011) * np.cos(col * 0.007) * 5
    return (hills + (mixed >> np.uint32(16)) * (0.1 / 65536)).astype(np.float32)


def run(how, size):
    """Drain one raster; print its peak memory [bytes] and time [s]."""
    if how == "tiles":
        tiled_drainage(heights, lambda rows, cols, found: None, (TILE // 8, TILE // 8), TILE, (1.0, 1.0))
    else:
        upslope_cells(flow_direction(filled(heights(slice(0, 64), slice(0, 64))), 1.0))
    before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.perf_counter()
    if how == "tiles":
        tiled_drainage(heights, lambda rows, cols, found: None, (size, size), TILE, (1.0, 1.0))
    else:
        upslope_cells(flow_direction(filled(heights(slice(0, size), slice(0, size))), 1.0))
    took = time.perf_counter() - start
    print(json.dumps([1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before), took]))


def main():
    """Report both for every size."""
    sizes = [int(size) for size in sys.argv[1:]] or [1024, 2048, 4096]
    for size in sizes:
        found = {}
        for how in ("tiles", "whole"):
            done = subprocess.run(
                [sys.executable, __file__, how, str(size)], capture_output=True, text=True, check=True
            )
            found[how] = json.loads(done.stdout)
        goal = GOAL_BYTES_A_TILE_CELL * TILE**2 + GOAL_BYTES_A_PERIMETER_CELL * 4 * size * size / TILE
        met = "met" if found["tiles"][0] <= goal else "NOT MET"
        words = [f"{how} {peak / 1e6:.0f} MB, {took:.1f} s" for how, (peak, took) in found.items()]
        print(f"{size} x {size}, tiles of {TILE}: {'; '.join(words)}; goal for tiles <= {goal / 1e6:.0f} MB: {met}")


if __name__ == "__main__":
    if sys.argv[1:2] in (["tiles"], ["whole"]):
        run(sys.argv[1], int(sys.argv[2]))
    else:
        main()
