"""A whole screening of a made farm: time and peak memory, and the share of each step.

Run with `python -m tests.benchmarks.bench_screening [side] [azimuths]`; 2000 cells of 1 m by default. It prints seconds, the processor
time on one thread as multiples of that of the step `light` (threads that wait for one another count as busy, above all on a machine that
others use), and peak memory over what the imports take, as multiples of the DEM's bytes, so that runs on different machines can be compared.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from tests.benchmarks.table import Figure, show
from tests.scan.grounds import features, site
from tunnelsite import House, screen
from tunnelsite.io.write.scratch import Scratch
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_000.0, 4_701_000.0


def farm_ground(side: int, seed: int = 7) -> np.ndarray:
    """Rolling ground of `side` x `side` metres with lidar-like noise."""
    rng = np.random.default_rng(seed)
    r, c = np.mgrid[0:side, 0:side].astype(np.float32)
    z = 150 + 0.004 * c - 0.003 * r
    for period, height in ((900, 9.0), (410, 3.5), (170, 1.2), (60, 0.25)):
        way, phase = rng.uniform(0, np.pi), rng.uniform(0, 6.28)
        z += np.float32(height) * np.sin((c * np.cos(way) + r * np.sin(way)) * (2 * np.pi / period) + phase).astype(
            np.float32
        )
    return (z + rng.normal(0, 0.02, z.shape)).astype(np.float32)


def resident_bytes() -> int:
    """Resident memory of this process now [bytes]; where that is not told, its peak."""
    pages = Path("/proc/self/statm")
    return int(pages.read_text().split()[1]) * resource.getpagesize() if pages.is_file() else peak_bytes()


def peak_bytes() -> int:
    """Peak resident memory of this process [bytes]."""
    status = Path("/proc/self/status")
    if status.is_file():  # ru_maxrss outlives exec: a child would be told its parent's peak
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def made_site(side: int):
    """A site with four parcels, a surface with woods, and obstacles."""
    ground = farm_ground(side)
    rng = np.random.default_rng(1)
    third = side // 3
    parcels = [
        shapely.box(WEST + a + 10, NORTH - b - third, WEST + a + third, NORTH - b - 10)
        for a in (0, third, 2 * third)
        for b in (0, third, 2 * third)
    ]
    trees = shapely.points(WEST + rng.uniform(0, side, 300), NORTH - rng.uniform(0, side, 300))
    obstacles = features(list(trees), name="trees", height_m=rng.uniform(6, 22, 300))
    made = site(ground, parcels, west=WEST, north=NORTH, obstacles=obstacles)
    return replace(made, store=Scratch())  # as a site that was read


# Of the processor time of `light`. 2.9 and 2.6 were 1.3 times what the first version took that could be called fast; light then came
# to take 0.84 times as long.
MOST_OF_LIGHT = {"container": 3.2, "in-ground": 2.8}
# Of the DEM's bytes. The limits of an in-ground house reject nearly all of this ground, those of a container house a third: the
# measures of the others live in a scratch file, but are looked at in memory.
MOST_MEMORY = {"in-ground": 12.0, "container": 12.5}


def timed_screening(side: int, azimuths: int, kind: str = "container") -> dict:
    """Seconds, seconds and processor time by step, bytes over the start and placements that passed, of one warm run in this process."""
    settings = settings_from({"crop_months": "10-01:04-30", "azimuths": azimuths, "halo": "5m"})
    small = made_site(200)
    screen(small, House.parse("30x96ft", kind), settings=settings)  # compile or load the kernels
    farm = made_site(side)
    before, steps, busy = resident_bytes(), {}, {}
    last = time.perf_counter(), time.process_time()

    def progress(what: str, share: float) -> None:  # a step is told of as it ends, or as a part of it ends
        nonlocal last
        now = time.perf_counter(), time.process_time()
        for spent, since, until in zip((steps, busy), last, now, strict=True):
            spent[what] = spent.get(what, 0.0) + until - since
        last = now

    start = last = time.perf_counter(), time.process_time()
    result = screen(farm, House.parse("30x96ft", kind), settings=settings, progress=progress)
    _ = result.rows
    spent, worked = time.perf_counter() - start[0], time.process_time() - start[1]
    return {
        "seconds": spent,
        "steps": steps,
        "of_light": worked / busy["light"],
        "bytes": peak_bytes() - before,
        "passed": len(result.scans[0].index),
    }


def figures(side: int = 2000, azimuths: int = 36) -> list[Figure]:
    """Each run in a fresh process, so that nobody else's peak is counted."""
    one = _apart(side, azimuths, "container", {})
    alone = {kind: _apart(side, azimuths, kind, {"NUMBA_NUM_THREADS": "1"}) for kind in MOST_OF_LIGHT}
    steps = ", ".join(
        f"{name} {spent:.2f}" for name, spent in sorted(one["steps"].items(), key=lambda pair: -pair[1])[:6]
    )
    what = f"whole screening, {side} x {side}, {azimuths} directions"
    return [
        Figure(f"{what} [s]", one["seconds"], detail=f"{one['passed']:,} passed; {steps} s"),
        *(
            Figure(f"{kind}: processor time / that of light", alone[kind]["of_light"], most, False)
            for kind, most in MOST_OF_LIGHT.items()
        ),
        *(
            Figure(
                f"{kind}: memory over the start / the DEM's bytes",
                alone[kind]["bytes"] / (4 * side * side),
                most,
                False,
            )
            for kind, most in MOST_MEMORY.items()
        ),
    ]


def _apart(side: int, azimuths: int, kind: str, setting: dict[str, str]) -> dict:
    """One timed screening in a process of its own, under more settings of the environment."""
    call = f"import json; from tests.benchmarks.bench_screening import timed_screening as run; print(json.dumps(run({side}, {azimuths}, {kind!r})))"
    done = subprocess.run(
        [sys.executable, "-c", call], check=True, capture_output=True, text=True, env=os.environ | setting
    )
    return json.loads(done.stdout.splitlines()[-1])


if __name__ == "__main__":
    show(figures(*(int(text) for text in sys.argv[1:3])))
