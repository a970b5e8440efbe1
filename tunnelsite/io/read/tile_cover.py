"""How much of a place the tiles of a raster hold."""

from __future__ import annotations

import numpy as np
import shapely
from rasterio.windows import Window

from tunnelsite.core.layers import cells_at
from tunnelsite.io.read.mosaic import Mosaic, joined, near


def held_shares(tiles: Mosaic, boxes: np.ndarray) -> np.ndarray:
    """Share of each box that lies in the tiles, with or without data there: float64 [n], 0 to 1.

    Arguments: boxes (west, south, east, north) in the tiles' system, float64 [n, 4]; NaN lies in none.
    """
    corners = _cells_of(tiles, boxes)
    places = [(col, row, col + h.cols, row + h.rows) for h, (row, col) in zip(tiles.tiles, tiles.places, strict=True)]
    ground = shapely.union_all(shapely.box(*np.array(places, float).T))
    shapely.prepare(ground)
    asked = shapely.box(*corners.T)
    area = np.where(shapely.intersects(ground, asked), shapely.area(shapely.intersection(ground, asked)), 0.0)
    found: np.ndarray = np.divide(area, shapely.area(asked), out=np.zeros(len(boxes)), where=area > 0)
    return found


def known_share(tiles: Mosaic, box: np.ndarray) -> float:
    """Share of the cells of a box that hold data in the first band, 0 to 1. Errors: InputRefused for a file that is damaged."""
    (left, top), (right, bottom) = np.floor(corners := _cells_of(tiles, box[None])[0])[:2], np.ceil(corners)[2:]
    cells = (right - left) * (bottom - top)
    rows, cols = tiles.whole.shape
    first, last = (max(int(top), 0), max(int(left), 0)), (min(int(bottom), rows), min(int(right), cols))
    if first[0] >= last[0] or first[1] >= last[1]:
        return 0.0
    window = Window(first[1], first[0], last[1] - first[1], last[0] - first[0])
    known = np.ones((window.height, window.width), bool)
    for part in joined(near(tiles, window), 1, window)[1]:
        known[part] = False
    return float(known.sum() / cells)


def _cells_of(tiles: Mosaic, boxes: np.ndarray) -> np.ndarray:
    """(left, top, right, bottom) of boxes in cells of the whole, float64 [n, 4]: of turned rasters the box round each."""
    col, row = cells_at(tiles.whole.affine, boxes[:, [0, 0, 2, 2]], boxes[:, [1, 3, 1, 3]])
    return np.column_stack([col.min(axis=1), row.min(axis=1), col.max(axis=1), row.max(axis=1)])
