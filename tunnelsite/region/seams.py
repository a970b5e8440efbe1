"""Land beyond the tiles of one coordinate system, from the tiles of another: heights interpolated where the first hold none."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
from scipy.ndimage import map_coordinates, maximum_filter

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import horizontal, transformer
from tunnelsite.core.layers import SourceRaster, cells_at

ROWS_AT_ONCE = 256
GAP = 2  # cells: tiles of two systems that meet without overlap leave sawteeth of one or two between them
COMPARED = 20_000  # cells that both hold, at most
MOST_STEP_M = 10.0  # more than any two vertical datums in use on one land differ by, ellipsoid heights left out (ours)
STEP_M = 0.05  # a step along the seam that a pad of a few metres across it shows as pitch (ours)

Bounds = tuple[float, float, float, float]


def with_neighbours(raster: SourceRaster, neighbours: Iterable[SourceRaster], bounds: Bounds) -> SourceRaster:
    """A raster grown to `bounds` (west, south, east, north), whose unknown cells take the heights of others.

    Arguments: raster; neighbours in other coordinate systems, the first that knows a cell counts, none of them read where nothing is
    unknown; bounds in the raster's system. Bilinear, and where own and other cells do not quite meet a plane through both, so
    a plane comes through exactly.
    """
    found = _grown(raster, bounds)
    own, notes = np.isfinite(found.values), list(raster.notes)
    if own.all():
        return raster
    for other in neighbours:
        notes += _step_notes(raster, other, _step_m(found, own, other))
        for rows in _bands(found.rows):
            empty = np.isnan(found.values[rows])
            row, col = np.nonzero(empty)
            found.values[rows][empty] = _heights_at(other, found, row + rows.start, col)
    _close(found.values, own)
    return _trimmed(replace(found, notes=tuple(notes)), own)


def _step_notes(raster: SourceRaster, other: SourceRaster, step_m: float | None) -> list[str]:
    """The note on heights that differ, none on small differences. Errors: InputRefused where they cannot be of one unit and datum."""
    if step_m is None or abs(step_m) <= STEP_M:
        return []
    told = (
        f"heights in {other.crs.name} are {abs(step_m):.2f} m {'above' if step_m > 0 else 'below'} those in {raster.crs.name} "
        "where tiles of both hold data (median)"
    )
    if abs(step_m) > MOST_STEP_M:
        raise InputRefused(
            f"{raster.name}: {told}",
            "heights in one unit and of one vertical datum",
            "say the unit in the files that do not say it, or convert these tiles",
        )
    return [f"{told}: there their seam is a step of the ground; check their vertical datums"]


def _grown(raster: SourceRaster, bounds: Bounds) -> SourceRaster:
    """The same on more of its lattice: all whole cells that meet `bounds`; no data where it had no cells."""
    west, south, east, north = bounds
    col, row = cells_at(raster.affine, np.array([west, west, east, east]), np.array([south, north, south, north]))
    low = np.minimum(np.floor(np.array([row.min(), col.min()]) + 1e-6), 0).astype(int)
    high = np.maximum(np.ceil(np.array([row.max(), col.max()]) - 1e-6), raster.shape).astype(int)
    values = np.full(high - low, np.nan, np.float32)
    top, left = -low
    values[top : top + raster.rows, left : left + raster.cols] = raster.values
    a, b, c, d, e, f = raster.affine
    return replace(raster, values=values, affine=(a, b, c - a * left - b * top, d, e, f - d * left - e * top))


def _heights_at(other: SourceRaster, raster: SourceRaster, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Heights of another raster at cells of this one, above the datum of this one; NaN = not known."""
    a, b, c, d, e, f = raster.affine
    change = transformer(horizontal(raster.crs).to_wkt(), horizontal(other.crs).to_wkt())
    along, down = col + 0.5, row + 0.5
    there = change.transform(a * along + b * down + c, d * along + e * down + f)
    col_there, row_there = cells_at(other.affine, *there)
    known = np.isfinite(col_there) & np.isfinite(row_there)
    at = np.where(known, [row_there - 0.5, col_there - 0.5], -9.0)
    found: np.ndarray = map_coordinates(other.values, at, order=1, mode="constant", cval=np.nan)
    return found + np.float32(other.datum_m - raster.datum_m)


def _close(values: np.ndarray, own: np.ndarray) -> None:
    """Fill what lies between own cells and those of others, at most `GAP` cells from either, on the plane nearest to all of these."""
    known = np.isfinite(values)
    size = 2 * GAP + 1
    between = ~known & maximum_filter(own, size) & maximum_filter(known & ~own, size)
    row, col = np.nonzero(between)
    if not len(row):
        return
    down, along = (step.ravel() for step in np.mgrid[-GAP : GAP + 1, -GAP : GAP + 1])
    padded = np.pad(values, GAP, constant_values=np.nan)
    heights = padded[row[:, None] + GAP + down, col[:, None] + GAP + along].astype(np.float64)
    there = np.isfinite(heights)
    basis = np.stack([np.ones(size**2), down, along], axis=1) * there[..., None]
    normal = np.swapaxes(basis, 1, 2) @ basis
    sums = np.swapaxes(basis, 1, 2) @ np.where(there, heights, 0.0)[..., None]
    solved = np.linalg.cond(normal) < 1e6  # three cells in a line bear no plane
    values[row[solved], col[solved]] = np.linalg.solve(normal[solved], sums[solved])[:, 0, 0]


def _trimmed(raster: SourceRaster, own: np.ndarray) -> SourceRaster:
    """The same without rows and columns at its rim that hold nothing but what was empty before."""
    held = np.isfinite(raster.values) | own
    rows, cols = (np.flatnonzero(held.any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return raster
    part = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
    a, b, c, d, e, f = raster.affine
    corner = (a, b, c + a * cols[0] + b * rows[0], d, e, f + d * cols[0] + e * rows[0])
    return replace(raster, values=np.ascontiguousarray(raster.values[part]), affine=corner)


def _step_m(raster: SourceRaster, own: np.ndarray, other: SourceRaster) -> float | None:
    """By how much another raster lies above the own cells of this one where both are known [m], median; None where they never are."""
    known = np.flatnonzero(own)
    some = known[:: max(1, len(known) // COMPARED)]
    row, col = np.divmod(some, raster.cols)
    apart = _heights_at(other, raster, row, col) - raster.values[row, col]
    apart = apart[np.isfinite(apart)]
    return float(np.median(apart)) if len(apart) else None


def _bands(rows: int) -> Iterator[slice]:
    for first in range(0, rows, ROWS_AT_ONCE):
        yield slice(first, min(first + ROWS_AT_ONCE, rows))
