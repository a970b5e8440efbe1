"""Start-up: imports of the command line against those of numpy, in fresh processes."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

from tests.benchmarks.table import Figure, show

ROUNDS = 5


def _seconds(*arguments: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    return time.perf_counter() - start


def figures() -> list[Figure]:
    """Help of the command line over `import numpy`."""
    pairs = [(_seconds("-m", "tunnelsite", "--help"), _seconds("-c", "import numpy")) for _ in range(ROUNDS)]
    ours, numpy = (statistics.median(values) for values in zip(*pairs, strict=True))
    detail = f"{ours * 1e3:.0f} ms; import numpy {numpy * 1e3:.0f} ms"
    return [Figure("start: help of the command line / import numpy", ours / numpy, 6, False, detail)]


if __name__ == "__main__":
    show(figures())
