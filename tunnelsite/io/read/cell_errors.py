"""The standard error of each cell of a DEM, where `gather` made both from one survey's points."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.io.read.files import sha256
from tunnelsite.io.read.gathered import RECORD, entry_of_content, gathered_entries
from tunnelsite.io.read.georeferencing import unit_named
from tunnelsite.io.read.land_window import window_bounds
from tunnelsite.io.read.mosaic import Mosaic, files_of, has_tiles, mosaic_of, read_numbers
from tunnelsite.io.read.raster_header import RasterHeader, raster_header

OF_GROUND = "ground-error"  # what such a file is in the record


@dataclass(frozen=True)
class ErrorFiles:
    """Attributes: tiles, the files of errors as one raster, or None; notes, why some are not used though a record names them."""

    tiles: Mosaic | None = None
    notes: tuple[str, ...] = ()


def error_files(files: Sequence[tuple[Path, str]], crs: pyproj.CRS) -> ErrorFiles:
    """The files of errors that the records beside a DEM's files name for their very content.

    Arguments: files, (path, SHA-256) of each; `` where that is to be found, which is done only beside a record; crs of the DEM. A file
    of errors that is gone, damaged or changed is not used, and a note says so.
    """
    headers, notes = [], []
    for path, digest in files:
        if not (path.parent / RECORD).is_file():
            continue
        name = _named(path.parent, digest or sha256(path))
        try:
            headers += [_header(path.parent / name, crs)] if name else []
        except (InputRefused, UsageError) as problem:
            notes.append(_not_counted(problem.given))
    if not headers:
        return ErrorFiles(notes=tuple(notes))
    try:
        tiles = mosaic_of(headers, headers[0].path if len(headers) == 1 else headers[0].path.parent)
    except InputRefused as problem:
        return ErrorFiles(notes=(*notes, _not_counted(problem.given)))
    if len(headers) < len(files):
        known = f"{len(headers)} of {len(files)} tiles"
        notes.append(f"the errors of cells are known of {known}; in the others that of airborne lidar is assumed")
    return ErrorFiles(tiles, tuple(notes))


def cell_errors(tiles: Mosaic | None, land: Features, reach_m: float) -> SourceRaster | None:
    """The errors of the cells round some land [m], NaN where they are not known; None where no file reaches it.

    Arguments: tiles, of `error_files`; land, the parcels; reach_m round them [m]. Errors: InputRefused for files that have changed.
    """
    if tiles is None:
        return None
    try:
        bounds = window_bounds(tiles.whole, land, reach_m)
    except InputRefused:
        return None
    found = read_numbers(tiles, bounds)
    scale = np.float32(VERTICAL_UNITS_M[unit_named(found.unit)])
    return replace(found, values=np.where(found.values > 0, found.values * scale, np.float32(np.nan)))


def _header(path: Path, crs: pyproj.CRS) -> RasterHeader:
    """The header of a file of errors. Errors: InputRefused where it is not as it was gathered."""
    header = raster_header(path, path.name)
    whole = entry_of_content(path.parent, sha256(header.path)) is not None
    if not whole or header.crs != crs or not unit_named(header.bands[0].unit):
        raise InputRefused(f"{path.name} has changed since it was gathered")
    return replace(header, path=header.path.absolute())  # a worker of another scheduler was started in another folder


def _not_counted(why: str) -> str:
    return f"the errors of its cells are not counted: {why}"


def _named(folder: Path, digest: str) -> str:
    """The file of errors that was gathered from the same points as the DEM of this content, else ``."""
    own = entry_of_content(folder, digest)
    if own is None or own.get("what") != "ground":
        return ""
    made = (one for one in gathered_entries(folder) if one.get("what") == OF_GROUND)
    beside = next((str(one.get("file")) for one in made if one.get("addresses") == own.get("addresses")), "")
    return beside if Path(beside).name == beside else ""  # a record never leads to another folder


def hashed_files(given: object, sha256: str) -> list[tuple[Path, str]]:
    """(path, SHA-256, `` = not known) of each file of a raster; none of one that is in memory. Arguments: sha256, of one file."""
    if not isinstance(given, str | os.PathLike):
        return []
    path = os.fspath(given)
    return [(file, "") for file in files_of(path)] if has_tiles(path) else [(Path(path), sha256)]
