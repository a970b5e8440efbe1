"""Decisions from stored measures as shares of the screening they follow, in one run.

Run with `python -m tests.benchmarks.bench_decisions [side]`; 800 cells of 1 m by default. Medians of five; the screening once, with
its kernels loaded. Rescoring has to take less than a hundredth of the screening to be worth its name.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from statistics import median

from tests.benchmarks.bench_screening import made_site
from tunnelsite import House, screen
from tunnelsite.core import catalogue
from tunnelsite.scan.firmness.elsewhere import best_everywhere
from tunnelsite.scan.firmness.rank_shares import DrawPlan, rank_shares
from tunnelsite.settings.model import settings_from

REPEATS = 5


def seconds(work: Callable[[], object]) -> float:
    """Median time of some work after one run that loads what it needs."""
    work()
    found = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return median(found)


def main(side: int = 800) -> None:
    """Print the figures."""
    settings = settings_from({"crop_months": "10-01:04-30", "halo": "5m", "kind": "container", "top": 20})
    house, criteria = House.parse("30x96ft"), catalogue.criteria()
    screen(made_site(200), house, settings=settings)
    farm = made_site(side)
    start = time.perf_counter()
    result = screen(farm, house, settings=settings)
    whole = time.perf_counter() - start
    print(
        f"{side} x {side} cells, {len(result.scans[0].index):,} placements, {len(result.choices)} candidates: {whole:.2f} s"
    )
    changes = ({"sun": 5.0, "pitch": 1.0}, {"pitch": {"limit": 4.0}})
    plans = {range_m: DrawPlan(0.10, range_m, draws=200) for range_m in (0.0, 5.0)}
    tasks = {
        "rescore, ranked": lambda: result.rescore(*changes),
        "rescore, every table": lambda: result.rescore(*changes).tables,
        "200 draws, each cell for itself": lambda: rank_shares(result, criteria, plans[0.0]),
        "200 draws, correlated over 5 m": lambda: rank_shares(result, criteria, plans[5.0]),
        "best of all placements, 200 weights": lambda: best_everywhere(result, draws=200),
    }
    for name, work in tasks.items():
        spent = seconds(work)
        print(f"{name:36} {spent:7.3f} s  {spent / whole:7.2%} of the screening")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:2]))
