"""The standard error of each cell of a DEM, where `gather` made both from one survey's points."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.io.read.gathered import entry_of_content, gathered_entries
from tunnelsite.io.read.georeferencing import unit_named
from tunnelsite.io.read.land_window import window_bounds
from tunnelsite.io.read.rasters import raster_header, values_of

OF_GROUND = "ground-error"  # what such a file is in the record


@dataclass(frozen=True)
class CellErrors:
    """Attributes: raster, errors [m], or None; notes, why they are not used though the record names them."""

    raster: SourceRaster | None = None
    notes: tuple[str, ...] = ()


def cell_errors(dem: object, ground: SourceRaster, land: Features, halo_m: float) -> CellErrors:
    """The errors of a DEM's cells from the file that the record beside it names for this very content.

    Arguments: dem, as given; ground, as read of it; land, the parcels; halo_m round them [m]. A file that is gone, damaged or
    changed is not used, and a note says so.
    """
    if not isinstance(dem, str | os.PathLike) or not ground.sha256:
        return CellErrors()
    folder = Path(dem).parent
    name = _named(folder, ground.sha256)
    if not name:
        return CellErrors()
    try:
        header = raster_header(folder / name, name)
        found = values_of(header, window_bounds(header, land, halo_m))
    except (InputRefused, UsageError) as problem:
        return CellErrors(notes=(f"the errors of its cells are not counted: {problem.given}",))
    unit = unit_named(found.unit)
    if not unit or entry_of_content(folder, found.sha256) is None or header.crs != ground.crs:
        return CellErrors(notes=(f"the errors of its cells are not counted: {name} has changed since it was gathered",))
    values = np.where(found.values > 0, found.values * np.float32(VERTICAL_UNITS_M[unit]), np.float32(np.nan))
    return CellErrors(replace(found, values=values))


def _named(folder: Path, sha256: str) -> str:
    """The file of errors that was gathered from the same points as the DEM of this content, else ``."""
    own = entry_of_content(folder, sha256)
    if own is None or own.get("what") != "ground":
        return ""
    made = (one for one in gathered_entries(folder) if one.get("what") == OF_GROUND)
    beside = next((str(one.get("file")) for one in made if one.get("addresses") == own.get("addresses")), "")
    return beside if Path(beside).name == beside else ""  # a record never leads to another folder
