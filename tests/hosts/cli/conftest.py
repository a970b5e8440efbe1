"""The demo, run once for the tests of all commands that go on from it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> tuple[Path, subprocess.CompletedProcess]:
    """(its GeoPackage, which is for reading only; the ended process)."""
    out = tmp_path_factory.mktemp("demo") / "sites.gpkg"
    done = subprocess.run(
        [sys.executable, "-m", "tunnelsite", "demo", "--out", str(out)],
        capture_output=True, text=True, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=300, check=False,
    )  # fmt: skip
    return out, done
