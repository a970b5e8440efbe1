"""The horizon engine against a plain march of 200 m on the same surface: time, growth with size, accuracy, memory.

Run with `python -m tests.benchmarks.bench_horizon [side]`. Ratios are medians of interleaved runs in one process. Where the library
`insolation` is installed (Corripio 2003: the shadow of one sun, at whole cells), its shadows are cast in the same run.
"""

from __future__ import annotations

import importlib.util
import statistics
import sys
import time
import tracemalloc

import numpy as np
from numba import njit, prange

from tests.benchmarks.bench_screening import farm_ground
from tests.benchmarks.bench_terrain import seconds
from tests.benchmarks.table import Figure, show
from tunnelsite.kernels.light.horizon import horizon_tangent
from tunnelsite.kernels.light.horizon_share import NODES, folded_share, sector_tables
from tunnelsite.sun.position import YEAR, Observer, sun_positions

LATITUDE_DEG = 42.0
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


def suns() -> tuple[np.ndarray, np.ndarray]:
    """Azimuth and elevation [deg] of the sun, while it is up, every 30 minutes of the 21st of each month."""
    months = np.arange(f"{YEAR}-01", f"{YEAR + 1}-01", dtype="datetime64[M]")
    days = (months.astype("datetime64[D]") + np.timedelta64(20, "D")).astype("datetime64[s]").astype(np.int64)
    instants = (days[:, None] + np.arange(0, 86_400, 1800)).ravel().astype(float)
    azimuth, elevation = sun_positions(instants, Observer(LATITUDE_DEG, 0.0))
    return azimuth[elevation > 0], elevation[elevation > 0]


def shadows(surface: np.ndarray, azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """1 where the sun shines, by `insolation`."""
    from insolation.insolf import doshade, normalvector

    return doshade(surface, 1.0, np.asarray(normalvector(90.0 - elevation_deg, azimuth_deg), np.float64))


def against_shadows(pair: tuple[np.ndarray, np.ndarray], ours_s: float) -> list[Figure]:
    """One sun against one direction; the suns of a season, each weighed by the sine of its height, against our directions."""
    if importlib.util.find_spec("insolation") is None:
        return []
    surface = pair[0]
    shadows(grounds(300)[0], 148.0, 25.0)
    one = float(
        np.mean([statistics.median(seconds(shadows, surface, way, 25.0) for _ in range(3)) for way in AZIMUTHS])
    )
    azimuth, elevation = suns()
    energy = np.sin(np.radians(elevation))
    azimuths = np.arange(36) * 10.0
    start, light = time.perf_counter(), np.zeros(surface.shape, np.float32)
    for way, height, weight in zip(azimuth, elevation, energy / energy.sum(), strict=True):
        light += np.float32(weight) * shadows(surface, way, height)
    theirs = time.perf_counter() - start
    start = time.perf_counter()
    share = folded_share(*pair, 1.0, azimuths, sector_tables(azimuth, elevation, energy, azimuths))[0]
    ours = time.perf_counter() - start
    alike = f"{theirs:.1f} against {ours:.1f} s; mean light {light.mean():.3f} and {share.mean():.3f}"
    return [
        Figure("horizon: insolation's shadow of one sun / ours", one / ours_s, 2, detail=f"{1000 * one:.0f} against {1000 * ours_s:.0f} ms"),
        Figure(f"light of a year: insolation's {len(energy)} suns / our 36 directions", theirs / ours, 10, detail=alike),
    ]  # fmt: skip


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
    return [
        *against_shadows(small, a),
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
