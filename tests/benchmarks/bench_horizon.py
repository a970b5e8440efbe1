"""The horizon engine against a plain march of 200 m on the same surface: time, growth with size, accuracy, memory.

Run with `python -m tests.benchmarks.bench_horizon [side]`. Ratios are medians of interleaved runs in one process.
"""

from __future__ import annotations

import statistics
import sys
import tracemalloc

import numpy as np
import richdem as rd
from numba import njit, prange

from tests.benchmarks.bench_screening import farm_ground
from tests.benchmarks.bench_terrain import quiet, seconds, wrapped
from tests.benchmarks.table import Figure, show
from tunnelsite.kernels.light.horizon import horizon_tangent
from tunnelsite.kernels.light.horizon_share import NODES, folded_share, sector_tables

# Seconds a cell on the machine where the peers were measured side by side: a library that casts the shadow of one sun (98 ms at
# 2000 x 2000), which is not run here, and richdem's slope and aspect (1071 ms at 5000 x 5000), which are.
QUOTED_SHADOW, QUOTED_RICHDEM = 0.098 / 2000**2, 1.071 / 5000**2
AZIMUTHS = (110.0, 148.0, 180.0, 222.0)


@njit(cache=True, parallel=True, error_model="numpy")
def plain_march(surface, observer, cell_m, azimuth, steps):
    """One bilinear sample a cell width along the ray, `steps` of them: the obvious way, with a search radius."""
    rows, cols = surface.shape
    out = np.zeros((rows, cols), np.float32)
    down, right = -np.cos(azimuth), np.sin(azimuth)
    for r in prange(rows):
        for c in range(cols):
            best = np.float32(0.0)
            for k in range(1, steps + 1):
                y, x = r + down * k, c + right * k
                y0, x0 = int(y), int(x)
                if y < 0 or x < 0 or y0 >= rows - 1 or x0 >= cols - 1:
                    break
                fy, fx = np.float32(y - y0), np.float32(x - x0)
                a = surface[y0, x0] + fx * (surface[y0, x0 + 1] - surface[y0, x0])
                b = surface[y0 + 1, x0] + fx * (surface[y0 + 1, x0 + 1] - surface[y0 + 1, x0])
                t = (a + fy * (b - a) - observer[r, c]) / np.float32(k * cell_m)
                best = t if t > best else best
            out[r, c] = best
    return out


def grounds(side: int) -> tuple[np.ndarray, np.ndarray]:
    """(surface with trees, eye 1 m above the ground)."""
    ground = farm_ground(side)
    rng = np.random.default_rng(3)
    surface = ground.copy()
    for _ in range(side // 4):
        r, c = rng.integers(3, side - 3, 2)
        surface[r - 2 : r + 3, c - 2 : c + 3] += np.float32(rng.uniform(5, 18))
    return surface, ground + np.float32(1.0)


def slower_machine(ground: np.ndarray) -> float:
    """How many times slower richdem's slope and aspect are here than on the machine of the quoted figures."""
    inner, took = wrapped(ground), []
    for _ in range(3):
        with quiet():
            took.append(seconds(lambda: [rd.TerrainAttribute(inner, name) for name in ("slope_riserun", "aspect")]))
    return statistics.median(took) / ground.size / QUOTED_RICHDEM


def figures(side: int = 2000) -> list[Figure]:
    """Time, growth, accuracy and memory of the horizon at side x side cells."""
    small, large = grounds(side), grounds(side * 5 // 2)
    horizon_tangent(*grounds(300), 1.0, 148.0)
    plain_march(*grounds(300), 1.0, np.radians(148.0), 200)
    took = []
    for azimuth in AZIMUTHS:  # directions differ: a median of each, and then their mean
        # one kind after the other: a virtual machine may take freed memory back while another kind runs
        kinds = (horizon_tangent, small, azimuth), (horizon_tangent, large, azimuth)
        ours = [statistics.median(seconds(call, *pair, 1.0, way) for _ in range(4)) for call, pair, way in kinds]
        took.append((ours[0], seconds(plain_march, *small, 1.0, np.radians(azimuth), 200), ours[1]))
    a, b, c = (float(mean) for mean in np.mean(took, axis=0))
    full = plain_march(*small, 1.0, np.radians(148.0), 2 * side)
    error = np.degrees(np.arctan(horizon_tangent(*small, 1.0, 148.0))) - np.degrees(np.arctan(full))
    rms = float(np.sqrt(np.mean(error**2)))
    azimuths = np.arange(36) * 10.0
    tables = sector_tables(np.repeat(azimuths, 3), np.tile([10.0, 25.0, 40.0], 36), np.ones(108), azimuths)
    assert tables.shape == (1, 36, NODES)
    folded_share(*grounds(300), 1.0, azimuths, tables)
    tracemalloc.start()
    folded = seconds(folded_share, *small, 1.0, azimuths, tables)
    peak = tracemalloc.get_traced_memory()[1] / small[0].nbytes
    tracemalloc.stop()
    growth = (c / large[0].size) / (a / small[0].size)
    machine = slower_machine(small[0])
    shadow = f"98 ms at 2000 x 2000 quoted and not run, times {machine:.2f}: richdem's slope here over the quoted one"
    return [
        Figure(
            "horizon: a single-sun shadow library / ours", QUOTED_SHADOW * machine * small[0].size / a, 2, detail=shadow
        ),
        Figure(
            f"horizon at {side} x {side}: ours / plain march of 200 m",
            a / b,
            2,
            False,
            f"{1000 * a:.0f} ms a direction",
        ),
        Figure(f"horizon: growth per cell from {side} to {side * 5 // 2}", growth, 1.15, False, f"{c:.2f} s"),
        Figure(
            "horizon: 36 directions folded, ns a cell and direction",
            1e9 * folded / 36 / small[0].size,
            detail=f"{folded:.2f} s",
        ),
        Figure("horizon: 36 directions folded, memory in arrays", peak, 6, False, "result and turned copies"),
        Figure(
            "horizon: rms against a dense march of another surface [deg]", rms, detail="one sample a cell, bilinear"
        ),
    ]


if __name__ == "__main__":
    show(figures(*(int(text) for text in sys.argv[1:2])))
