"""The rasters of a region by coordinate system: tiles may lie in several, as where a county spans two UTM zones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import horizontal, transformer
from tunnelsite.core.layers import Features
from tunnelsite.io.read.cell_errors import error_files
from tunnelsite.io.read.files import file_name
from tunnelsite.io.read.mosaic import Mosaic
from tunnelsite.io.read.tile_cover import held_shares, known_share
from tunnelsite.region.tasks import DEGREE_M

REACH_M = 1000.0  # of land round a parcel that tells two systems apart, in which it is known alike


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


def land_numbers(lands: Sequence[LandTiles], parcels: Features) -> np.ndarray:
    """Which land knows each parcel best, 0 where none does: int64 [n].

    Where tiles of several lands reach a parcel, that with data in most of it; of those alike the one whose tiles hold most of
    what lies within `REACH_M`, then the first.
    """
    if len(lands) == 1:
        return np.zeros(len(parcels), np.int64)
    boxes = [_boxes(land.dem, parcels) for land in lands]
    held = np.stack([held_shares(land.dem, box) for land, box in zip(lands, boxes, strict=True)])
    round_them = np.stack(
        [held_shares(land.dem, _grown(land.dem, box)) for land, box in zip(lands, boxes, strict=True)]
    )
    for k in np.flatnonzero((held > 0).sum(axis=0) > 1):
        for number in np.flatnonzero(held[:, k]).tolist():
            held[number, k] = known_share(lands[number].dem, boxes[number][k])
    best = held.round(3) == held.round(3).max(axis=0)
    found: np.ndarray = np.where(best, round_them.round(3), -1.0).argmax(axis=0)
    return found


def _boxes(dem: Mosaic, parcels: Features) -> np.ndarray:
    """Boxes of the parcels in the system of a DEM, float64 [n, 4]."""
    change = transformer(horizontal(parcels.crs).to_wkt(), horizontal(dem.whole.crs).to_wkt()).transform
    box: np.ndarray = shapely.bounds(shapely.transform(parcels.geometry, change, interleaved=False))
    return np.where(np.isfinite(box), box, np.nan)


def _grown(dem: Mosaic, boxes: np.ndarray) -> np.ndarray:
    """The boxes and `REACH_M` round them."""
    crs = horizontal(dem.whole.crs)
    reach = REACH_M / (DEGREE_M if crs.is_geographic else crs.axis_info[0].unit_conversion_factor)
    found: np.ndarray = boxes + np.array([-reach, -reach, reach, reach])
    return found
