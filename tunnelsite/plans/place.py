"""Where one house stands: its grid, centre cell, footprint and pad; from cells to distances from the centre and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike

from tunnelsite.core import amounts
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.core.site import segments_of
from tunnelsite.kernels.coverage import axis_weights
from tunnelsite.kernels.polygon_mask import polygon_mask


@dataclass(frozen=True)
class PlacedHouse:
    """One chosen placement.

    Attributes:
        grid: the local grid whose columns run along the ridge. row, col: centre cell.
        house: the house. pad: footprint plus apron, what is graded.
    """

    grid: Grid
    row: int
    col: int
    house: House
    pad: Pad

    @property
    def centre(self) -> tuple[float, float]:
        """Along and across [m] of the centre on the grid."""
        return self.grid.centre(self.row, self.col)

    def cells(self, u_m: ArrayLike, v_m: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Fractional rows and columns (whole = cell centres) of distances along and across from the centre [m]."""
        return self.row - np.asarray(v_m) / self.grid.cell_m, self.col + np.asarray(u_m) / self.grid.cell_m

    def distances(self, rows: ArrayLike, cols: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Distances along and across from the centre [m] of fractional rows and columns."""
        return (np.asarray(cols) - self.col) * self.grid.cell_m, (self.row - np.asarray(rows)) * self.grid.cell_m

    def on_grid(self, geometry: Any) -> Any:
        """A shapely geometry in distances from the centre [m], moved to the grid's along and across [m]."""
        return shapely.transform(geometry, lambda points: points + np.array(self.centre))

    def from_grid(self, geometry: Any) -> Any:
        """A shapely geometry in the grid's along and across [m], moved to distances from the centre [m]."""
        return shapely.transform(geometry, lambda points: points - np.array(self.centre))

    def middle_words(self, line: shapely.LineString) -> str:
        """The middle of a line on the grid in words, see `spot_words`."""
        return self.spot_words(*shapely.get_coordinates(shapely.centroid(line))[0])

    def spot_words(self, along_m: float, across_m: float) -> str:
        """A spot on the grid in words, by true east and north of the centre: `12 m (39 ft) east and 4.0 m (13 ft) north of ...`."""
        here, there = self.grid.to_map(along_m, across_m), self.grid.to_map(*self.centre)
        ways = ((here[0] - there[0], "east", "west"), (here[1] - there[1], "north", "south"))
        parts = [
            f"{amounts.away(abs(by), feet=self.house.feet)} {ahead if by > 0 else back}"
            for by, ahead, back in ways
            if round(by)
        ]
        return f"{' and '.join(parts)} of the middle of the house" if parts else "the middle of the house"

    def window(self, bounds: tuple[float, float, float, float]) -> tuple[slice, slice]:
        """Rows and columns of the cells that touch `bounds` (west, south, east, north) [m] on the grid."""
        west, south, east, north = bounds
        cell, (rows, cols) = self.grid.cell_m, self.grid.shape
        top, bottom = int((self.grid.north_m - north) // cell), int((self.grid.north_m - south) // cell) + 1
        left, right = int((west - self.grid.west_m) // cell), int((east - self.grid.west_m) // cell) + 1
        return slice(max(top, 0), max(min(bottom, rows), 0)), slice(max(left, 0), max(min(right, cols), 0))

    def mask_of(self, outline: shapely.Geometry) -> np.ndarray:
        """Cells [rows, cols] whose centre lies in an outline on the grid."""
        grid = self.grid
        return polygon_mask(segments_of(outline), grid.west_m, grid.north_m, grid.cell_m, grid.shape)

    def cell_at(self, along_m: ArrayLike, across_m: ArrayLike) -> tuple[Any, Any]:
        """Row and column of the cell at a spot on the grid, or of the cells at arrays of spots."""
        row = np.floor((self.grid.north_m - np.asarray(across_m)) / self.grid.cell_m).astype(int)
        col = np.floor((np.asarray(along_m) - self.grid.west_m) / self.grid.cell_m).astype(int)
        return (int(row), int(col)) if row.ndim == 0 else (row, col)

    def pad_cells(self) -> tuple[slice, slice, np.ndarray]:
        """Cells the pad covers and by how much, as in `kernels.terrain.grading`.

        Return: rows, cols (slices into the grid) and weights float64 [rows, cols], the share of each cell.
        Errors: InputRefused where the pad leaves the grid.
        """
        along = axis_weights(self.pad.length_m / self.grid.cell_m)
        across = axis_weights(self.pad.width_m / self.grid.cell_m)
        reach_u, reach_v = along.size // 2, across.size // 2
        rows, cols = self.grid.shape
        inside = reach_v <= self.row < rows - reach_v and reach_u <= self.col < cols - reach_u
        if not inside:
            raise InputRefused(
                f"the pad round row {self.row}, column {self.col} leaves the elevation data ({rows} x {cols} cells)",
                "a pad wholly on known ground",
                "choose a placement further inside, or a larger DEM",
            )
        return (
            slice(self.row - reach_v, self.row + reach_v + 1),
            slice(self.col - reach_u, self.col + reach_u + 1),
            np.outer(across, along),
        )

    def known_pad(self, ground: np.ndarray) -> np.ndarray:
        """Ground [m] of the pad's cells as float64. Errors: InputRefused if a cell has no data or ground has another shape."""
        if ground.shape != self.grid.shape:
            raise InputRefused(
                f"ground has {ground.shape} cells, its grid {self.grid.shape}",
                "one height a cell of the grid",
                "pass the ground of the same frame as the grid",
            )
        rows, cols, weights = self.pad_cells()
        heights: np.ndarray = ground[rows, cols].astype(float)
        missing = int((~np.isfinite(heights) & (weights > 0)).sum())
        if missing:
            raise InputRefused(
                f"{missing} of {weights.size} cells under the pad have no height",
                "a pad wholly on known ground",
                "choose another placement; a gap in the data is unknown ground, not level ground",
            )
        return heights


def box(half_length_m: float, half_width_m: float) -> shapely.Polygon:
    """A rectangle round the centre, in distances along and across [m]."""
    return shapely.box(-half_length_m, -half_width_m, half_length_m, half_width_m)
