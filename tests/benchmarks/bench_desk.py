"""Print what a step of the house in the hand and a sun chart take on the sample farm, and hold them to their limits.

Run as `python -m tests.benchmarks.bench_desk [steps]`. Processor time of one thread, as the desk's worker spends it; the walk goes
east by 1 ft a step, as an arrow key moves the house, then turns it by 5 degrees a step. Exits with 1 where a limit is missed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence

import numpy as np

from tunnelsite.core.placement import Placement
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.measures import Units
from tunnelsite.io.read.sample_data import sample_data
from tunnelsite.io.read.site import site_from
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.screening.run import screen
from tunnelsite.settings.model import settings_from
from tunnelsite.settings.project_file import project_settings

STEP_LIMIT_MS, CHART_LIMIT_MS = 100.0, 300.0
FOOT_DEG = 3.74e-6  # of longitude at 43 degrees north


def spent_ms(work: Callable[..., object], places: Sequence[tuple]) -> np.ndarray:
    """Processor time of each call [ms]."""
    found = []
    for place in places:
        begun = time.process_time()
        work(*place)
        found.append(1000 * (time.process_time() - begun))
    return np.array(found)


def main(steps: int) -> int:
    """Measure, print, and say whether the limits hold."""
    settings = settings_from(project_settings(sample_data() / "farm.toml")[0])
    result = screen(site_from(settings), settings=settings)
    in_hand, row = InHand(result, Units(True)), result.rows[0]
    lon, lat, house = row["lon"], row["lat"], result.scans[0].house
    walk = [(lon + k * FOOT_DEG, lat, 90.0, house.name) for k in range(steps)]
    turn = [(lon, lat, 90.0 + 5.0 * k, house.name) for k in range(steps)]
    charts = [(Placement(lon + k * FOOT_DEG, lat, 90.0, house),) for k in range(5)]
    missed = 0
    with one_thread():
        in_hand.told(*walk[0])  # kernels are compiled and the year's sun is made once
        in_hand.light.chart(*charts[0])
        for name, work, places, limit in (
            ("a step east", in_hand.told, walk, STEP_LIMIT_MS),
            ("a turn", in_hand.told, turn, STEP_LIMIT_MS),
            ("a sun chart", in_hand.light.chart, charts, CHART_LIMIT_MS),
        ):
            found = spent_ms(work, places)
            half, most = float(np.median(found)), float(np.quantile(found, 0.9))
            print(f"{name:14} median {half:6.1f} ms, nine of ten within {most:6.1f} ms, limit {limit:.0f} ms")
            missed += most > limit
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 40))
