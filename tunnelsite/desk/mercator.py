"""From the local grid to Web Mercator, the projection of map pages: which cell every pixel shows, exactly and once for all layers."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from tunnelsite.core.grid import Grid, transformer

WEB_MERCATOR, WGS84 = "EPSG:3857", "EPSG:4326"
MOST_PIXELS = 1800  # of the longer side
LATTICE = 16  # pixels between exact transformations; what lies between is right to a thousandth of a cell


class Sheet:
    """An image of a grid, even in Web Mercator.

    Arguments: grid. Attributes: rows, cols: pixels. bounds: west, south, east, north [m in EPSG:3857].
    """

    def __init__(self, grid: Grid, most_pixels: int = MOST_PIXELS) -> None:
        self.grid = grid
        west, south, east, north = grid.bounds
        rim = np.linspace(0.0, 1.0, 17)
        along = np.concatenate(
            [west + (east - west) * rim, west + (east - west) * rim, np.full(17, west), np.full(17, east)]
        )
        across = np.concatenate([np.full(17, south), np.full(17, north), *[south + (north - south) * rim] * 2])
        change = transformer(grid.crs_wkt, WEB_MERCATOR)
        easting, northing = change.transform(*grid.to_map(along, across))
        self.bounds = float(easting.min()), float(northing.min()), float(easting.max()), float(northing.max())
        wide, high = self.bounds[2] - self.bounds[0], self.bounds[3] - self.bounds[1]
        turned = 1.0 if grid.bearing_deg == 90.0 else 2**0.5
        longest = min(most_pixels, int(max(grid.rows, grid.cols) * turned) + 1)
        self.pixel = max(wide, high) / longest
        self.cols, self.rows = max(1, round(wide / self.pixel)), max(1, round(high / self.pixel))

    @property
    def view(self) -> dict[str, float]:
        """The same bounds in degrees."""
        back = transformer(WEB_MERCATOR, WGS84)
        west, south = back.transform(*self.bounds[:2])
        east, north = back.transform(*self.bounds[2:])
        return {"west": west, "south": south, "east": east, "north": north}

    @cached_property
    def cells(self) -> tuple[np.ndarray, np.ndarray]:
        """Index of the cell under each pixel's middle, int32 [rows, cols], and where there is one, bool."""
        west, south, east, north = self.bounds
        row, col = (np.append(np.arange(0, count, LATTICE), count) for count in (self.rows, self.cols))
        easting = west + (east - west) * col / self.cols
        northing = north - (north - south) * row / self.rows
        back = transformer(WEB_MERCATOR, self.grid.crs_wkt)
        along, across = self.grid.from_map(*back.transform(*np.meshgrid(easting, northing)))
        exact = (self.grid.north_m - across) / self.grid.cell_m, (along - self.grid.west_m) / self.grid.cell_m
        down, right = (_between(values, (row, col), (self.rows, self.cols)) for values in exact)
        inside = (down >= 0) & (right >= 0) & (down < self.grid.rows) & (right < self.grid.cols)
        index = np.where(inside, down.astype(np.int32) * self.grid.cols + right.astype(np.int32), 0)
        return index.astype(np.int32), inside

    def shown(self, values: np.ndarray) -> np.ndarray:
        """A layer's values at the pixels, float32 [rows, cols], NaN beyond the grid."""
        index, inside = self.cells
        found: np.ndarray = values.ravel()[index].astype(np.float32)
        found[~inside] = np.nan
        return found


def _between(values: np.ndarray, knots: tuple[np.ndarray, np.ndarray], shape: tuple[int, int]) -> np.ndarray:
    """Values of a lattice at the middle of every pixel, by straight lines down and across, float32 [rows, cols]."""
    rows, cols = (np.arange(count) + 0.5 for count in shape)
    down = np.array([np.interp(rows, knots[0], column) for column in values.T]).T
    return np.array([np.interp(cols, knots[1], line) for line in down])
