"""The package is typed: mypy, strict, finds nothing but in the folders that pyproject leaves out, and `py.typed` travels with it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_mypy_finds_nothing() -> None:
    asked = [sys.executable, "-m", "mypy", "--cache-dir", os.devnull, "--config-file", str(ROOT / "pyproject.toml")]
    done = subprocess.run(asked, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_package_says_that_it_is_typed() -> None:
    assert (ROOT / "tunnelsite" / "py.typed").is_file()
