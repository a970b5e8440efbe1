"""Every ratio in one run of a few minutes: `python -m tests.benchmarks [file.md]` prints them and writes the table.

Peers stand in the same run, calls in turn, medians; a busy machine moves the figures, the load is written with them.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from tests.benchmarks import (
    bench_composed,
    bench_cost,
    bench_horizon,
    bench_region,
    bench_scan,
    bench_screening,
    bench_small_parcels,
    bench_start,
    bench_terrain,
)
from tests.benchmarks.table import Figure, machine, markdown, show


def main(target: str | None = None) -> None:
    """Run all of them."""
    print(machine())
    start, figures = time.monotonic(), list[Figure]()
    for module, arguments in (
        (bench_terrain, (2000, 5)),
        (bench_horizon, (2000,)),
        (bench_scan, (1600, 3)),
        (bench_screening, (2000,)),
        (bench_composed, (2000,)),
        (bench_cost, ((700, 1400, 2000),)),
        (bench_region, (4096,)),
        (bench_small_parcels, (20, 15)),
        (bench_start, ()),
    ):
        found = module.figures(*arguments)
        show(found)
        figures += found
    print(f"{time.monotonic() - start:.0f} s in all")
    if target is not None:
        Path(target).write_text(markdown(figures), "utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:2])
