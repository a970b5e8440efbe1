"""The rasters of a region by coordinate system: tiles may lie in several, as where a county spans two UTM zones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import horizontal, transformer
from tunnelsite.io.read.cell_errors import error_files
from tunnelsite.io.read.files import file_name
from tunnelsite.io.read.mosaic import Mosaic, holding


@dataclass(frozen=True)
class LandTiles:
    """The tiles of one coordinate system: dem; surface and dem_error, the errors of the DEM's cells, or None."""

    dem: Mosaic
    surface: Mosaic | None = None
    dem_error: Mosaic | None = None

    @property
    def by_role(self) -> list[tuple[str, str, str]]:
        """(what it is used as, name with the coordinate system, SHA-256) of each."""
        return [
            (role, f"{file_name(item.whole.path)} ({item.whole.crs.name})", item.sha256)
            for role, item in vars(self).items()
            if item is not None
        ]


def lands_of(dems: Sequence[Mosaic], surfaces: Sequence[Mosaic]) -> list[LandTiles]:
    """A land for each coordinate system of the DEM's tiles. Errors: InputRefused where the surface has no tile in one, or more systems."""
    if len(dems) == 1 and len(surfaces) > 1:
        raise InputRefused(
            "--surface: its tiles have several coordinate systems, those of the DEM one",
            "surface and DEM in the same tiles",
            "warp the surface to the DEM's system",
        )
    found = []
    for dem in dems:
        same = [one for one in surfaces if one.whole.crs == dem.whole.crs]
        if not same and len(dems) > 1 and surfaces:
            raise InputRefused(
                f"--surface has no tile in {dem.whole.crs.name}, in which there are tiles of the DEM",
                "surface and DEM in the same tiles",
                "warp the surface to the DEM's systems",
            )
        found.append(_with_errors(dem, next(iter(same or surfaces), None)))
    return found


def _with_errors(dem: Mosaic, surface: Mosaic | None) -> LandTiles:
    """The land with what is known of the errors of its cells."""
    files = [(dem.tiles[0].path, dem.sha256)] if len(dem.tiles) == 1 else [(header.path, "") for header in dem.tiles]
    errors = error_files(files, dem.whole.crs)
    noted = replace(dem, whole=replace(dem.whole, notes=(*dem.whole.notes, *errors.notes)))
    return LandTiles(noted, surface, errors.tiles)


def land_numbers(lands: Sequence[LandTiles], points: np.ndarray, crs: pyproj.CRS | None) -> np.ndarray:
    """Which land holds each point, the first that does, 0 where none does: int64 [n]. Arguments: lands; points [n, 2] in `crs`."""
    found = np.zeros(len(points), np.int64)
    for number, land in reversed(list(enumerate(lands))) if len(lands) > 1 else ():
        change = transformer(horizontal(crs).to_wkt(), horizontal(land.dem.whole.crs).to_wkt())
        found[holding(land.dem, np.column_stack(change.transform(points[:, 0], points[:, 1])))] = number
    return found
