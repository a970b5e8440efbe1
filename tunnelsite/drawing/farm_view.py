"""From the local projection to the map of a report: true north up, whatever the ridge's bearing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.drawing.svg import number

WIDTH = 1000.0
Shapes: TypeAlias = shapely.Geometry | np.ndarray  # one, or an array of them
AROUND_M = 25.0


@dataclass(frozen=True)
class FarmView:
    """Where easting and northing [m] fall on the map.

    Attributes: west_m, north_m: the map's upper left corner. scale: units of the map in a metre. width, height: of the map.
    """

    west_m: float
    north_m: float
    scale: float
    width: float
    height: float

    @classmethod
    def round(cls, grid: Grid, parcels: Iterable[shapely.Geometry], units: float = WIDTH) -> FarmView:
        """The view that holds all parcels, given in the grid's along and across [m]. Arguments: units, of its longer side."""
        points = np.vstack([on_map(grid, parcel) for parcel in parcels if not shapely.is_empty(parcel)])
        west, south = points.min(axis=0) - AROUND_M
        east, north = points.max(axis=0) + AROUND_M
        scale = min(units / (east - west), units / (north - south))
        wide = max((east - west) * scale, units * 0.45)  # a strip of land still leaves room for the scale
        west -= (wide / scale - (east - west)) / 2
        return cls(float(west), float(north), float(scale), float(wide), float((north - south) * scale))

    def points(self, map_m: np.ndarray) -> np.ndarray:
        """Easting and northing [n, 2] [m] on the map."""
        map_m = np.asarray(map_m, float).reshape(-1, 2)
        return np.column_stack(((map_m[:, 0] - self.west_m) * self.scale, (self.north_m - map_m[:, 1]) * self.scale))

    def path(self, rings: Iterable[np.ndarray]) -> str:
        """Closed rings, each [n, 2] easting and northing [m], as path data."""
        shown = ("L".join(f"{number(x)} {number(y)}" for x, y in self.points(ring).tolist()) for ring in rings)
        return "".join(f"M{words}Z" for words in shown)

    def raster_matrix(self, grid: Grid, top: int, left: int, every: int) -> str:
        """The SVG transform that lays an image over the map, one of its pixels for every `every`-th cell.

        Arguments: grid; top, left, the cell of the image's first pixel; every.
        """
        a, b, c, d, e, f = grid.affine
        first = (
            (top, left) if every == 1 else (top - (every - 1) / 2, left - (every - 1) / 2)
        )  # a pixel lies round its cell
        east, north = c + a * first[1] + b * first[0], f + d * first[1] + e * first[0]
        x, y = self.points(np.array([east, north]))[0]
        across, down = self.scale * every, -self.scale * every
        parts = (a * across, d * down, b * across, e * down, float(x), float(y))
        return "matrix(" + " ".join(f"{part:.6g}" for part in parts) + ")"

    def window(self, grid: Grid) -> tuple[slice, slice]:
        """Rows and columns of the grid that the map shows."""
        corners = np.array([(0, 0), (self.width, 0), (0, self.height), (self.width, self.height)]) / self.scale
        along, across = grid.from_map(self.west_m + corners[:, 0], self.north_m - corners[:, 1])
        rows = (grid.north_m - across) / grid.cell_m
        cols = (along - grid.west_m) / grid.cell_m
        top, bottom = max(int(np.floor(rows.min())), 0), min(int(np.ceil(rows.max())), grid.rows)
        left, right = max(int(np.floor(cols.min())), 0), min(int(np.ceil(cols.max())), grid.cols)
        return slice(top, max(bottom, top)), slice(left, max(right, left))


def on_map(grid: Grid, shape: Shapes) -> np.ndarray:
    """The vertices of a shape in along and across [m], as easting and northing [n, 2] [m]."""
    points = shapely.get_coordinates(shape)
    return np.column_stack(grid.to_map(points[:, 0], points[:, 1]))


def rings_on_map(grid: Grid, shape: Shapes) -> list[np.ndarray]:
    """The rings of polygons, the lines of lines, as easting and northing [m]."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    polygons = parts[shapely.get_dimensions(parts) == 2]
    lines = parts[shapely.get_dimensions(parts) == 1]
    return [on_map(grid, ring) for ring in (*shapely.get_rings(polygons), *lines)]
