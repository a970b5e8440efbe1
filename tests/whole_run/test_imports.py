"""What commands may import of the libraries that take tenths of a second of every process."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.whole_run.files import plain_farm

PROGRAM = """
import sys
from tunnelsite.hosts.cli.main import main

status = main(sys.argv[1:])
print(status, *sys.modules)
"""
HEAVY = {"dask", "distributed", "pvlib", "richdem", "xarray", "scipy.integrate", "scipy.interpolate", "scipy.ndimage", "scipy.optimize",
         "scipy.signal", "scipy.spatial", "scipy.special", "scipy.stats"}  # fmt: skip


def imported(*command: object) -> set[str]:
    """The heavy ones that a command has imported in a process of its own."""
    program = [sys.executable, "-c", PROGRAM, *map(str, command)]
    done = subprocess.run(program, capture_output=True, text=True, check=True)
    status, *modules = done.stdout.splitlines()[-1].split()
    assert status == "0", done.stderr
    return HEAVY & set(modules)


def test_commands_import_no_more_than_they_need(tmp_path: Path) -> None:
    sites = tmp_path / "sites.gpkg"
    words = ("--house", "6x15m", "--azimuths", 8, "--halo", "5m", "--draws", 10, "-q", "--out", sites)
    assert imported("screen", *plain_farm(tmp_path), *words) <= {"scipy.ndimage", "scipy.special"}
    assert imported("sunchart", sites, "--rank", 1, "-q", "--out", tmp_path / "chart.svg") == set()
