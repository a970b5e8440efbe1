"""`python -m tests.mutation collect`, then `python -m tests.mutation run [--count 150] [--seed 1] [--workers 2]`.

Outside CI: it takes minutes. Needs the packages of the extra `mutation`. `collect` runs the tests once under coverage, one context
a test function; `run` breaks a copy of the program in one sampled place after the other and runs the tests that run there.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.mutants import Mutant, Tests, sampled

ROOT = Path(__file__).resolve().parents[2]
DATA = Path(tempfile.gettempdir()) / "tunnelsite-mutation-coverage"
SUITES = (
    "core",
    "criteria",
    "scan",
    "plans",
    "sun",
    "published",
    "decisions",
    "processes",
    "screening",
    "settings",
    "io/read",
    "drawing",
)
COPIED = ("tunnelsite", "tests", "sample_data", "docs", "pyproject.toml", "README.md", "DEVELOPERS.md")
# Imported once, before the forks: a mutant then costs the tests and no more.
HEAVY = (
    "numpy",
    "scipy.optimize",
    "scipy.ndimage",
    "pandas",
    "shapely",
    "pyproj",
    "numba",
    "pvlib",
    "rasterio",
    "hypothesis",
    "pytest",
)
MOST_TESTS, LIMIT_S = 25, 240.0
PASSED, CAUGHT, TIMED_OUT, UNRUN = "survived", "caught", "caught by the clock", "not run by any test"


def collect(suites: list[str]) -> int:
    """The tests once, under coverage, suite by suite; what was collected before is kept."""
    DATA.mkdir(exist_ok=True)
    status = 0
    for suite in suites:
        settings = f"[run]\nsource = tunnelsite\ndata_file = {DATA / suite.replace('/', '-')}\n"
        rules = DATA / "settings.ini"
        rules.write_text(settings)
        words = [
            "-m",
            "coverage",
            "run",
            f"--rcfile={rules}",
            "-m",
            "pytest",
            "-q",
            "-p",
            "tests.mutation.contexts",
            f"tests/{suite}",
        ]
        status |= subprocess.run([sys.executable, *words], cwd=ROOT, check=False).returncode
    return status


def outcome(tree: Path, tests: list[str]) -> str:
    """What tests say of a tree, in a fork of this process that has imported nothing of the program."""
    if not tests:
        return UNRUN
    child = os.fork()
    if child == 0:
        os.setsid()
        os.chdir(tree)
        sys.path.insert(0, str(tree))
        for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", "tunnelsite")]:
            del sys.modules[name]
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        import pytest

        os._exit(int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", *tests])))
    end = time.monotonic() + LIMIT_S
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            if code == 5:  # of pytest: nothing was run; 4 is a test module that can no longer be imported
                raise RuntimeError(f"these are no tests: {tests}")
            return PASSED if code == 0 else CAUGHT
        time.sleep(0.05)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return TIMED_OUT


def copied(folder: Path) -> Path:
    """A copy of the program and its tests; compiled kernels with it, compiled modules without."""
    tree = Path(tempfile.mkdtemp(dir=folder))
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("*.pyc"))
        else:
            shutil.copy2(ROOT / name, tree / name)
    return tree


def failing(tests: list[str]) -> set[str]:
    """Those of the tests that fail on the program as it is: they would notice every mutant."""
    words = ["-m", "pytest", "-q", "--tb=no", "-rf", "-p", "no:cacheprovider", *tests]
    done = subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True, check=False)
    return {line.split()[1].partition("[")[0] for line in done.stdout.splitlines() if line.startswith("FAILED ")}


@dataclass(frozen=True)
class Share:
    """One worker's part: mutants with the tests that run there, and its own tree."""

    mutants: list[tuple[Mutant, list[str]]]
    tree: Path


def worked(share: Share) -> list[str]:
    """The outcome of each mutant of a share."""
    sys.dont_write_bytecode = True
    found = []
    for mutant, tests in share.mutants:
        target = share.tree / mutant.path
        target.write_text(mutant.code(ROOT), "utf-8")
        found.append(outcome(share.tree, tests))
        target.write_text((ROOT / mutant.path).read_text("utf-8"), "utf-8")
        print(f"{found[-1]} ({len(tests)} tests): {mutant.words(ROOT)}", flush=True)
    return found


def run(count: int, seed: int, workers: int) -> int:
    """Every sampled mutant; prints each and the share that was caught."""
    tests = Tests(ROOT, DATA)
    chosen = [(mutant, tests.of(mutant, MOST_TESTS)) for mutant in sampled(ROOT, count, seed)]
    broken = failing(sorted({test for _, several in chosen for test in several}))
    print(f"left out, since they fail as it is: {', '.join(sorted(broken)) or 'none'}", flush=True)
    without = [f"--deselect={test}" for test in sorted(broken)]
    chosen = [(mutant, [*(test for test in several if test not in broken), *without]) for mutant, several in chosen]
    for name in HEAVY:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as folder:
        shares = [Share(chosen[k::workers], copied(Path(folder))) for k in range(workers)]
        with multiprocessing.get_context("fork").Pool(workers) as pool:
            results = [what for part in pool.map(worked, shares, chunksize=1) for what in part]
    caught = sum(what in (CAUGHT, TIMED_OUT) for what in results)
    print(f"{caught} of {len(results)} caught ({caught / len(results):.0%}), seed {seed}")
    return 0 if caught >= 0.9 * len(results) else 1


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("what", choices=("collect", "run"))
    parser.add_argument("suites", nargs="*", default=SUITES, help="folders of tests for `collect`")
    parser.add_argument("--count", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    return collect(given.suites) if given.what == "collect" else run(given.count, given.seed, given.workers)


if __name__ == "__main__":
    sys.exit(main())
