"""The best score in every block of a coarse raster over the whole region."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.grid import horizontal, local_crs, transformer
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.reproject import lonlat_bounds, reprojected

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

MOST_BLOCKS = 400_000_000


@dataclass(frozen=True)
class BlockGrid:
    """Square blocks of `block_m` [m] in the coordinate system `crs_wkt`, their edges on whole multiples of it."""

    crs_wkt: str
    block_m: float


def lattice(parcels: Features, dem_crs: pyproj.CRS, block_m: float) -> BlockGrid:
    """The blocks over all parcels: in the parcels' coordinate system if that is projected in metres, else the DEM's, else a
    transverse Mercator of the region's own. Errors: ResourceShortage for more blocks than can be held."""
    crs = next((c for c in (horizontal(parcels.crs), horizontal(dem_crs)) if _metric(c)), None)
    if crs is None:
        west, south, east, north = lonlat_bounds(parcels)
        crs = local_crs(horizontal(parcels.crs), (west + east) / 2, (south + north) / 2)
    found = BlockGrid(crs.to_wkt(), block_m)
    _, _, rows, cols = _extent(found, parcels)
    if rows * cols > MOST_BLOCKS:
        raise ResourceShortage(
            f"the suitability raster would have {rows} x {cols} blocks of {block_m:g} m",
            f"at most {MOST_BLOCKS:,}",
            "say a larger --suitability",
        )
    return found


def _metric(crs: pyproj.CRS) -> bool:
    return crs.is_projected and math.isclose(crs.axis_info[0].unit_conversion_factor, 1.0)


def _extent(blocks: BlockGrid, parcels: Features) -> tuple[int, int, int, int]:
    """(column of the first block, row of the first block counted up from 0 north, rows, cols) over all parcels."""
    shapes = reprojected(parcels, pyproj.CRS.from_wkt(blocks.crs_wkt)).geometry
    west, south, east, north = shapely.total_bounds(shapes) / blocks.block_m
    left, bottom = math.floor(west), math.floor(south)
    return left, bottom, max(math.ceil(north) - bottom, 1), max(math.ceil(east) - left, 1)


def block_scores(result: Result, blocks: BlockGrid) -> dict[str, list[Any]]:
    """The blocks that hold the centre of a placement that passed, and the best score in each.

    Return: `east`, `north`: numbers of the blocks counted from 0 of the coordinate system, by rising north, then east; `score`.
    """
    found = []
    for scan, scored in zip(result.scans, result.scored, strict=True):
        grid = scan.frame.grid
        known = np.isfinite(scored)
        row, col = np.divmod(scan.index[known], grid.cols)
        change = transformer(grid.crs_wkt, blocks.crs_wkt)
        places = np.array(change.transform(*grid.to_map(*grid.centre(row, col)))).reshape(2, -1)
        found.append((*np.floor(places / blocks.block_m).astype(np.int64), scored[known]))
    east, north, score = (np.concatenate(part) for part in zip(*found, strict=True))
    order = np.lexsort((-score, east, north))
    east, north, score = east[order], north[order], score[order]
    first = np.ones(len(east), bool)
    first[1:] = (np.diff(east) != 0) | (np.diff(north) != 0)
    return {"east": east[first].tolist(), "north": north[first].tolist(), "score": score[first].tolist()}


def suitability_raster(parts: Iterable[dict[str, Any]], blocks: BlockGrid, parcels: Features) -> SourceRaster:
    """All parts' blocks as one raster of the best score, NaN where nothing passed; the order of the parts does not matter."""
    left, bottom, rows, cols = _extent(blocks, parcels)
    values = np.full((rows, cols), np.nan, np.float32)
    for part in parts:
        found = part["suitability"]
        at = (rows - 1 - (np.array(found["north"], np.int64) - bottom), np.array(found["east"], np.int64) - left)
        inside = (at[0] >= 0) & (at[0] < rows) & (at[1] >= 0) & (at[1] < cols)
        at = (at[0][inside], at[1][inside])
        values[at] = np.fmax(values[at], np.array(found["score"], np.float32)[inside])
    size = blocks.block_m
    affine = (size, 0.0, left * size, 0.0, -size, (bottom + rows) * size)
    return SourceRaster(values, affine, pyproj.CRS.from_wkt(blocks.crs_wkt), name="suitability")
