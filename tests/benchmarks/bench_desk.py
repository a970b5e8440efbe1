"""Print what the desk's answers take on the sample farm, and hold them to their limits.

Run as `python -m tests.benchmarks.bench_desk [steps]`. Processor time, so that other work on the machine does not count: of the whole
process for the start, the map and the first options (more than what passes on a clock where two threads work), of one thread for a
step and a sun chart, as the desk's worker spends it. The walk goes east by 1 ft a step, as an arrow key moves the house, then turns it
by 5 degrees a step. Exits with 1 where a limit is missed.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.desk.served import Served
from tunnelsite.core.placement import Placement
from tunnelsite.desk.bench import Bench
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.measures import Units
from tunnelsite.desk.project import Project
from tunnelsite.io.read.sample_data import sample_data
from tunnelsite.io.read.site import site_from
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.screening.run import screen
from tunnelsite.settings.model import settings_from
from tunnelsite.settings.project_file import project_settings

STEP_LIMIT_MS, CHART_LIMIT_MS = 100.0, 300.0
START_LIMIT_MS, MAP_LIMIT_MS, OPTIONS_LIMIT_MS = 2000.0, 2000.0, 15_000.0
FOOT_DEG = 3.74e-6  # of longitude at 43 degrees north


def spent_ms(work: Callable[..., object], places: Sequence[tuple]) -> np.ndarray:
    """Processor time of each call [ms]."""
    found = []
    for place in places:
        begun = time.process_time()
        work(*place)
        found.append(1000 * (time.process_time() - begun))
    return np.array(found)


def start_ms() -> float:
    """Processor time of `tunnelsite desk` until it shows its address [ms]."""
    with tempfile.TemporaryDirectory() as folder:
        served = Served(Path(folder))
        before = _children_ms(served)
        served.start()
        spent = _children_ms(served)
        served.kill()
    return spent - before


def _children_ms(served: Served) -> float:
    """Processor time that a running desk has spent [ms]; 0 before it runs."""
    if served.process is None:
        return 0.0
    fields = Path(f"/proc/{served.process.pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return 1000 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def farm_ms() -> dict[str, float]:
    """Processor time from the click on the sample farm to its map, and from the run's begin to the first options [ms]."""
    with tempfile.TemporaryDirectory() as folder:
        project, bench, seen = Project(Path(folder)), Bench(), {}
        begun = time.process_time()
        project.begin("sample")
        bench.look(folder)
        bench.layer("hillshade", None)
        seen["map"] = 1000 * (time.process_time() - begun)
        bench.look_more(folder)
        begun = time.process_time()

        def told(message: dict[str, Any]) -> None:
            if "answer" in message:
                seen.setdefault("first options", 1000 * (time.process_time() - begun))

        bench.screen(folder, "measured", keep=False, told=told)
        seen["exact options"] = 1000 * (time.process_time() - begun)
        seen.setdefault("first options", seen["exact options"])  # where the exact answer is there at once
    return seen


def main(steps: int) -> int:
    """Measure, print, and say whether the limits hold."""
    missed = 0
    farm_ms()  # kernels are compiled or read, images' colours are made
    limits = {"start": START_LIMIT_MS, "map": MAP_LIMIT_MS, "first options": OPTIONS_LIMIT_MS}
    for name, spent in {"start": start_ms(), **farm_ms()}.items():
        limit = limits.get(name)
        print(f"{name:14} {spent:8.0f} ms" + ("" if limit is None else f", limit {limit:.0f} ms"))
        missed += limit is not None and spent > limit
    settings = settings_from(project_settings(sample_data() / "farm.toml")[0])
    result = screen(site_from(settings), settings=settings)
    in_hand, row = InHand(result, Units(True)), result.rows[0]
    lon, lat, house = row["lon"], row["lat"], result.scans[0].house
    walk = [(lon + k * FOOT_DEG, lat, 90.0, house.name) for k in range(steps)]
    turn = [(lon, lat, 90.0 + 5.0 * k, house.name) for k in range(steps)]
    charts = [(Placement(lon + k * FOOT_DEG, lat, 90.0, house),) for k in range(5)]
    with one_thread():
        in_hand.message(*walk[0])  # kernels are compiled and the year's sun is made once
        in_hand.light.chart(*charts[0])
        for name, work, places, limit in (
            ("a step east", in_hand.message, walk, STEP_LIMIT_MS),
            ("a turn", in_hand.message, turn, STEP_LIMIT_MS),
            ("a sun chart", in_hand.light.chart, charts, CHART_LIMIT_MS),
        ):
            found = spent_ms(work, places)
            half, most = float(np.median(found)), float(np.quantile(found, 0.9))
            print(f"{name:14} median {half:6.1f} ms, nine of ten within {most:6.1f} ms, limit {limit:.0f} ms")
            missed += most > limit
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 40))
