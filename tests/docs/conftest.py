"""The first example, run once for all tests of the docs."""

from __future__ import annotations

import contextlib
import io
import runpy
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

DOCS = Path(__file__).resolve().parents[2] / "docs"


@dataclass(frozen=True)
class Ran:
    """A script that ran: its names, what it printed, the folder it wrote to."""

    names: dict[str, Any]
    printed: str
    folder: Path


def ran(script: Path, folder: Path) -> Ran:
    """Run a script as `python SCRIPT FOLDER` would."""
    said = io.StringIO()
    with patch.object(sys, "argv", [str(script), str(folder)]), contextlib.redirect_stdout(said):
        names = runpy.run_path(str(script), run_name="__main__")
    return Ran(names, said.getvalue(), folder)


@pytest.fixture(scope="session")
def first_screening(tmp_path_factory) -> Ran:
    """`docs/examples/first_screening.py`."""
    return ran(DOCS / "examples" / "first_screening.py", tmp_path_factory.mktemp("first_screening"))
