"""Land beyond the DEM that carries the far horizon: a second, coarser DEM on its own cells of the frame's local grid."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import Grid, covering_grid
from tunnelsite.core.layers import STATED, SourceRaster
from tunnelsite.core.site import Frame
from tunnelsite.core.units import FOOT_M
from tunnelsite.scan.localise import dem_bounds, native_cell_m, warped

# The far horizon is kept for every direction, so its cells are this much coarser than the frame's at least: three of the
# frame's rasters for 36 directions.
LEAST_RATIO = 5
CELLS_IN_REACH = 1000  # and no finer than the reach over this, which is plenty at such distances
SPARE_CELLS = 4
LARGEST_SHIFT_M = 100.0  # heights that differ by more are in another unit or of another place
NOTED_SHIFT_M = 0.5
LEAST_HEIGHT_M, SAME_TIMES = 15.0, 0.03  # lower ground, or ratios farther off, say nothing of the unit
DIRECTIONS = ("north", "east", "south", "west")


@dataclass(frozen=True)
class FarGround:
    """Heights beyond the frame.

    Attributes: grid, in the frame's projection and bearing; heights, float32 [rows, cols], metres above the frame's datum, NaN
    where the frame's own ground is known; notes.
    """

    grid: Grid
    heights: np.ndarray
    notes: tuple[str, ...]

    def corner_m(self, grid: Grid) -> tuple[float, float]:
        """How far another grid's outer first corner lies beyond this one's, down the rows and along the columns [m]."""
        return self.grid.north_m - grid.north_m, grid.west_m - self.grid.west_m


def far_ground(
    far: SourceRaster, frame: Frame, reach_m: float, centre_m: tuple[float, float] | None = None
) -> FarGround:
    """The second DEM on coarse cells round the frame, its heights brought to the first one's by their median difference.

    Arguments: far; frame; reach_m, how far beyond the frame [m]; centre_m, along and across of a point that a cell's
    centre is to lie on [m], or None.
    Errors: InputRefused where it does not share cells with the frame, reaches nowhere beyond it, or its heights differ by more than
    `LARGEST_SHIFT_M` in the median (a wrong unit or place).
    """
    grid = _grid(far, frame, reach_m, centre_m)
    heights = warped(far, grid) + np.float32(far.datum_m - frame.datum_m)
    inside = _ground_at(frame, grid)
    both = np.isfinite(inside) & np.isfinite(heights)
    if not both.any():
        raise InputRefused(
            f"{far.name} has no height where the DEM has some",
            "a far DEM that covers the farm as well as the land round it, so that the heights of both can be compared",
            "get the tiles of this place, or leave --far-dem out",
        )
    _refuse_other_unit(far, heights[both] + frame.datum_m, inside[both] + frame.datum_m)
    shift, spread = _difference((heights - inside)[both], far.name)
    heights -= np.float32(shift)
    beyond = np.where(np.isfinite(inside), np.float32(np.nan), heights)
    if not np.isfinite(beyond).any():
        raise InputRefused(
            f"{far.name} does not reach beyond the DEM round the parcels",
            "land farther out, where the far horizon is made",
            "get a larger far DEM, or leave --far-dem out",
        )
    notes = [f"far horizon from {far.name} in cells of {grid.cell_m:.3g} m, {_reach_words(frame.grid, grid, beyond)}"]
    if abs(shift) >= NOTED_SHIFT_M:
        side = "above" if shift > 0 else "below"
        notes.append(
            f"{far.name} lies {abs(shift):.1f} m {side} the DEM in the median (half within {spread:.1f} m of that): it was moved by that"
        )
    missing = 1 - np.isfinite(heights[np.isfinite(inside)]).mean()
    if missing > 0:
        notes.append(f"{far.name} has no data on {missing:.0%} of the land round the parcels")
    return FarGround(grid, beyond, tuple(notes))


def _grid(far: SourceRaster, frame: Frame, reach_m: float, centre_m: tuple[float, float] | None) -> Grid:
    own = native_cell_m(far, frame.lon_deg, frame.lat_deg)
    cell = max(own, LEAST_RATIO * frame.grid.cell_m, reach_m / CELLS_IN_REACH)
    near = np.array(frame.grid.bounds)
    data = dem_bounds(far, frame.grid)
    spare, outward = SPARE_CELLS * cell, np.array([-1.0, -1.0, 1.0, 1.0])
    wide = near + outward * reach_m
    wide = np.concatenate([np.maximum(wide[:2], data[:2]), np.minimum(wide[2:], data[2:])])
    least = near + outward * spare
    bounds = np.concatenate([np.fmin(wide[:2], least[:2]), np.fmax(wide[2:], least[2:])])
    grid = covering_grid(frame.grid.crs, tuple(bounds), cell, frame.grid.bearing_deg)
    if centre_m is None:
        return grid
    off = [(place - corner) / cell - 0.5 for place, corner in ((centre_m[0], grid.west_m), (centre_m[1], grid.north_m))]
    west, north = (
        corner + (part - round(part)) * cell for part, corner in zip(off, (grid.west_m, grid.north_m), strict=True)
    )
    return replace(grid, west_m=west, north_m=north)


def _ground_at(frame: Frame, grid: Grid) -> np.ndarray:
    """The frame's ground at the centres of the coarse cells, NaN where it has none."""
    near = frame.grid
    along = grid.centre(np.zeros(grid.cols), np.arange(grid.cols))[0]
    across = grid.centre(np.arange(grid.rows), np.zeros(grid.rows))[1]
    row = np.floor((near.north_m - across) / near.cell_m).astype(int)
    col = np.floor((along - near.west_m) / near.cell_m).astype(int)
    rows, cols = (row >= 0) & (row < near.rows), (col >= 0) & (col < near.cols)
    found = np.full(grid.shape, np.nan, np.float32)
    found[np.ix_(rows, cols)] = frame.ground[np.ix_(row[rows], col[cols])]
    return found


def _refuse_other_unit(far: SourceRaster, far_m: np.ndarray, near_m: np.ndarray) -> None:
    """Errors: InputRefused where heights of the same ground are as many times apart as feet and metres, and no unit was stated.

    Arguments: far_m, near_m, heights above the sea of the same places [m].
    """
    high = np.abs(near_m) >= LEAST_HEIGHT_M
    if any(STATED in note for note in far.notes) or high.sum() < 0.5 * len(near_m):
        return
    times = float(np.median(far_m[high] / near_m[high]))
    for said, option, value in (
        (FOOT_M, "--far-elevation-unit", "ft or us-ft"),
        (1 / FOOT_M, "--elevation-unit", "ft or us-ft"),
    ):
        if abs(times * said - 1) <= SAME_TIMES:
            raise InputRefused(
                f"heights of {far.name} are {times:.2f} times those of the DEM, as feet are to metres",
                "heights of the same ground",
                f"state the unit of the one that is in feet: {option} {value}",
            )


def _difference(differences: np.ndarray, name: str) -> tuple[float, float]:
    """(median, median distance from it) [m]. Errors: InputRefused."""
    shift = float(np.median(differences))
    if abs(shift) > LARGEST_SHIFT_M:
        raise InputRefused(
            f"{name} lies {abs(shift):.0f} m {'above' if shift > 0 else 'below'} the DEM in the median",
            f"heights of the same ground within {LARGEST_SHIFT_M:.0f} m",
            "check the vertical units of both (--elevation-unit, --far-elevation-unit) and that each carries the right coordinate system",
        )
    return shift, float(np.median(np.abs(differences - shift)))


def _reach_words(near: Grid, grid: Grid, beyond: np.ndarray) -> str:
    """How far the known land reaches from the middle of the frame, by true direction."""
    row, col = np.nonzero(np.isfinite(beyond))
    along, across = grid.centre(row, col)
    west, south, east, north = near.bounds
    east_m, north_m = grid.to_map(along - (west + east) / 2, across - (south + north) / 2)
    sector = np.round(np.degrees(np.arctan2(east_m, north_m)) / 90.0).astype(int) % 4
    away = np.maximum(np.abs(east_m), np.abs(north_m))
    reach = [float(away[sector == k].max()) if (sector == k).any() else 0.0 for k in range(4)]
    words = [
        f"{name} {value / 1000:.1f} km" if value else f"{name} not at all"
        for name, value in zip(DIRECTIONS, reach, strict=True)
    ]
    return "reaching " + ", ".join(words)
