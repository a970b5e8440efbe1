"""The cost model against real runs, each in a process of its own: `python -m tests.benchmarks.bench_cost [side ...]`."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import asdict

from tests.benchmarks.table import Figure, show

SIDES = (700, 1400, 2000)


def run(side: int, azimuths: int = 36) -> dict:
    """Estimate and truth of one screening in a fresh process: seconds and bytes."""
    call = f"from tests.benchmarks.bench_cost import truth; truth({side}, {azimuths})"
    done = subprocess.run([sys.executable, "-c", call], check=True, capture_output=True, text=True)
    return json.loads(done.stdout.splitlines()[-1])


def truth(side: int, azimuths: int) -> None:
    """Print estimate and truth as JSON; kernels are loaded by a small run first, which the model's start covers."""
    import time

    start = time.perf_counter()
    from tests.benchmarks.bench_screening import made_site, peak_bytes
    from tunnelsite import House, screen
    from tunnelsite.screening.run_cost import estimated, work_of
    from tunnelsite.settings.model import settings_from

    settings = settings_from({"crop_months": "10-01:04-30", "azimuths": azimuths, "halo": "5m", "kind": "container"})
    farm = made_site(side)
    result = screen(farm, House.parse("30x96ft"), settings=settings)
    _ = result.rows
    cost = estimated(work_of(farm, settings, len(result.judges))[1])
    found = {"seconds_true": time.perf_counter() - start, "bytes_true": peak_bytes()}
    print(json.dumps(asdict(cost) | found))


def figures(sides: tuple[int, ...] = SIDES) -> list[Figure]:
    """Truth over estimate of time and memory."""
    found = []
    for side in sides:
        one = run(side)
        for what, true, said, goal in (
            ("time", one["seconds_true"], one["seconds"], 3.0),
            ("memory", one["bytes_true"], one["memory_bytes"], 1.25),
        ):
            unit, scale = ("s", 1) if what == "time" else ("MB", 1e-6)
            detail = f"true {true * scale:.1f} {unit}, estimated {said * scale:.1f} {unit}"
            ratio = max(true / said, said / true)
            found.append(Figure(f"cost model, {what} at {side} x {side}, off by a factor", ratio, goal, False, detail))
    return found


if __name__ == "__main__":
    show(figures(tuple(int(text) for text in sys.argv[1:]) or SIDES))
