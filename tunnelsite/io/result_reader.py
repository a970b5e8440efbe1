"""Reads a finished `sites.gpkg` back: its candidates, settings and inputs."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features
from tunnelsite.io.files import checked_file
from tunnelsite.io.vectors import read_features


@dataclass(frozen=True)
class FinishedRun:
    """A screening as its GeoPackage tells it: candidates with their columns; settings and inputs (sha256) by name."""

    candidates: Features
    settings: dict[str, str]
    inputs: dict[str, str]


def read_run(path: str | Path) -> FinishedRun:
    """The candidates and the run table of a screening. Errors: InputRefused for a file that is none."""
    file = checked_file(path, "screening")
    candidates = read_features(f"{file}#candidates", "screening", kinds=("polygon",), may_be_empty=True)
    try:
        with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as database:
            rows = database.execute("select kind, name, value from run order by rowid").fetchall()
    except sqlite3.Error as problem:
        raise InputRefused(
            f"{file} has no run table ({problem})", "a GeoPackage of `tunnelsite screen`", "name that file"
        ) from None
    settings = {name: value for kind, name, value in rows if kind == "setting"}
    inputs = {name: value for kind, name, value in rows if kind == "input"}
    return FinishedRun(candidates, settings, inputs)
