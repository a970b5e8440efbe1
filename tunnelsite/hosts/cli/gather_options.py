"""Options of `gather`, as data."""

from __future__ import annotations

import argparse
from typing import Any

# (option, placeholder, default, what it is); those with a list as default may be given several times
_OPTIONS: tuple[tuple[str, str | None, Any, str], ...] = (
    ("--around", "LAT,LON:RADIUS", None, "a circle, as 43.0124,-78.1502:400m"),
    ("--parcels", "FILE", None, "or the parcels that will be screened"),
    ("--halo", "LENGTH", "300m", "land round them, for shade and water (default 300m)"),
    ("--ground", "SOURCE", None, "bare-ground model: a GeoTIFF or STAC address, or a source by its name"),
    ("--surface", "SOURCE", None, "surface model, likewise"),
    ("--points", "SOURCE", [], "LAS, LAZ or COPC by address, file or name; repeatable"),
    ("--points-crs", "CRS", None, "coordinate system of clouds that state none"),
    ("--unit", "UNIT", None, "unit of heights where the sources do not say: m, ft, us-ft"),
    ("--cell", "LENGTH", "1m", "cell of rasters made from points (default 1m)"),
    ("--features", "NAME=SOURCE", [], "parcels, buildings, roads ... from OGC API - Features (SOURCE/COLLECTION) or a file; repeatable"),
    ("--list", "FILE", [], "CSV or GPX of trees, made by hand; repeatable"),
    ("--sources", "FILE", None, "file of sources (default FOLDER/sources.toml where there is one)"),
    ("--host", "HOST", [], "a further host that a source may lead to; repeatable"),
    ("--most", "MB", "1000", "stop beyond this many megabytes (default 1000)"),
)  # fmt: skip
_FLAGS = (
    ("--standing", "outlines of trees and buildings from surface minus ground"),
    ("--dry-run", "say what would be fetched and how much, fetch nothing"),
    ("--overwrite", "replace files that exist"),
)


def add_options(command: argparse.ArgumentParser) -> None:
    """What is gathered, round which place, into which folder."""
    command.add_argument("folder", metavar="FOLDER", help="project folder, new or old")
    for option, placeholder, default, words in _OPTIONS:
        action = "append" if isinstance(default, list) else "store"
        command.add_argument(option, metavar=placeholder, default=default, action=action, help=words)
    for option, words in _FLAGS:
        command.add_argument(option, action="store_true", help=words)
