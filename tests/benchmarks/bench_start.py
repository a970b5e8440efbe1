"""Start-up in fresh processes: imports of the command line against those of numpy; the demo with and without compiled kernels.

The first start of the demo compiles every kernel it uses into an empty cache of numba's, which takes about a minute of processor time.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.table import Figure, show

ROUNDS = 5


def _seconds(*arguments: str, **more: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, env=os.environ | more)
    return time.perf_counter() - start


def demo_figures(warm_starts: int = 2) -> list[Figure]:
    """The demo with kernels in numba's cache over the demo that has to compile them."""
    with tempfile.TemporaryDirectory() as folder:

        def demo() -> float:
            out = str(Path(folder, "sites.gpkg"))
            return _seconds("-m", "tunnelsite", "demo", "--out", out, "--overwrite", NUMBA_CACHE_DIR=str(cache))

        cache = Path(folder, "cache")
        cold = demo()
        kernels = len(list(cache.rglob("*.nbi")))
        if not kernels:
            raise AssertionError("the demo left no kernel in the cache: it did not compile, or not there")
        warm = min(demo() for _ in range(warm_starts))
    detail = f"{warm:.1f} s; cold {cold:.1f} s, {kernels} kernels kept on disk"
    return [Figure("demo: warm start / cold start", warm / cold, 0.25, False, detail)]


def help_figures() -> list[Figure]:
    """Help of the command line over `import numpy`."""
    pairs = [(_seconds("-m", "tunnelsite", "--help"), _seconds("-c", "import numpy")) for _ in range(ROUNDS)]
    ours, numpy = (statistics.median(values) for values in zip(*pairs, strict=True))
    detail = f"{ours * 1e3:.0f} ms; import numpy {numpy * 1e3:.0f} ms"
    return [Figure("start: help of the command line / import numpy", ours / numpy, 6, False, detail)]


def figures() -> list[Figure]:
    """Both."""
    return help_figures() + demo_figures()


if __name__ == "__main__":
    show(figures())
