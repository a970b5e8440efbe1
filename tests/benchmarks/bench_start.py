"""Start-up in fresh processes: imports of the command line against those of numpy; the demo with and without compiled kernels.

The first start of the demo compiles every kernel it uses into an empty cache of numba's, which takes about a minute of processor time;
after a plain install it finds them compiled, by the same hook that builds the wheel.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import tunnelsite
from tests.benchmarks.table import Figure, show

ROUNDS = 5
PACKAGE = Path(tunnelsite.__file__).parent
BUILD = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location("kernels_ahead", sys.argv[1])
hook = importlib.util.module_from_spec(spec)
spec.loader.exec_module(hook)
hook.compile_in(sys.argv[2])
"""


def _seconds(*arguments: str, **more: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, env=os.environ | more)
    return time.perf_counter() - start


def demo_figures(warm_starts: int = 2) -> list[Figure]:
    """The demo with kernels in numba's cache, and with those of the build, over the demo that has to compile them."""
    with tempfile.TemporaryDirectory() as folder:

        def demo(**more: str) -> float:
            out = str(Path(folder, "sites.gpkg"))
            more = more or {"NUMBA_CACHE_DIR": str(cache)}
            return _seconds("-m", "tunnelsite", "demo", "--out", out, "--overwrite", **more)

        cache = Path(folder, "cache")
        cold = demo()
        kernels = len(list(cache.rglob("*.nbi")))
        if not kernels:
            raise AssertionError("the demo left no kernel in the cache: it did not compile, or not there")
        warm = min(demo() for _ in range(warm_starts))
        build = _built(Path(folder, "build"), Path(folder, "installed"))
        first = demo(PYTHONPATH=str(Path(folder, "installed")), PYTHONSAFEPATH="1")
    detail = f"{warm:.1f} s; cold {cold:.1f} s, {kernels} kernels kept on disk"
    ahead = f"{first:.1f} s; compiled in {build:.1f} s while the wheel is built"
    return [
        Figure("demo: warm start / cold start", warm / cold, 0.25, False, detail),
        Figure("demo: first start after a plain install / warm start", first / warm, 1.3, False, ahead),
    ]


def _built(build: Path, installed: Path) -> float:
    """Compile the kernels in one copy of the package and leave it in another place; return how long the compiling took."""
    shutil.copytree(PACKAGE, build / "tunnelsite", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(PACKAGE.parent / "sample_data", build / "tunnelsite/sample_data")
    took = _seconds("-c", BUILD, str(PACKAGE.parent / ".ci/kernels_ahead.py"), str(build))
    shutil.copytree(build, installed)
    shutil.rmtree(build)
    return took


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
