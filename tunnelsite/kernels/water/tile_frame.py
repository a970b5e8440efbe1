"""Numbering of the cells on the perimeters of tiles: all that is kept in memory of a raster drained tile by tile.

Tiles are squares of `tile` cells from the north-west corner on, the last ones smaller. The perimeter cells of a tile are
numbered along its north row, its south row, its west column, its east column; those of all tiles follow each other, tile
by tile, row by row. A value for each of them stands in one flat array.
"""

from typing import NamedTuple

import numpy as np


class TileGrid(NamedTuple):
    """Tiles of a raster.

    Attributes: shape, (rows, cols) of the raster; tile, cells along a tile's side; first, index of the first perimeter cell
    of each tile [tiles + 1], so the last entry is how many there are.
    """

    shape: tuple[int, int]
    tile: int
    first: np.ndarray


class TilePlace(NamedTuple):
    """One tile: its number, first row and column, and how many rows and columns it has."""

    number: int
    row: int
    col: int
    rows: int
    cols: int


def frame(shape, tile):
    """Return the tiles of a raster.

    Arguments: shape: (rows, cols); tile: cells along a tile's side, at least 2.
    Raises: ValueError: no cells, or a tile that is too small or does not fit a single kernel call.
    """
    rows, cols = (int(n) for n in shape)
    if rows < 1 or cols < 1:
        raise ValueError(f"shape is {shape}; expected at least one row and one column")
    if not 2 <= tile <= 30_000:
        raise ValueError(f"tile is {tile} cells; expected 2 to 30000")
    tile = int(tile)
    high = [min(tile, rows - k) for k in range(0, rows, tile)]
    wide = [min(tile, cols - k) for k in range(0, cols, tile)]
    counts = [_count(h, w) for h in high for w in wide]
    return TileGrid((rows, cols), tile, np.concatenate([[0], np.cumsum(counts)]).astype(np.int64))


def spots(of):
    """Return every tile of a frame, row by row from the north-west."""
    rows, cols = of.shape
    corners = [(r, c) for r in range(0, rows, of.tile) for c in range(0, cols, of.tile)]
    return [TilePlace(k, r, c, min(of.tile, rows - r), min(of.tile, cols - c)) for k, (r, c) in enumerate(corners)]


def perimeter(rows, cols):
    """Return (row, col) in its tile of each perimeter cell of a tile, two arrays in the order of the module."""
    east, south = np.arange(cols), np.arange(1, rows - 1)
    row, col = [np.zeros(cols, np.int64)], [east]
    if rows > 1:
        row, col = [*row, np.full(cols, rows - 1)], [*col, east]
    row, col = [*row, south], [*col, np.zeros(south.size, np.int64)]
    if cols > 1:
        row, col = [*row, south], [*col, np.full(south.size, cols - 1)]
    return np.concatenate(row), np.concatenate(col)


def mine(of, spot):
    """Return the slice of a tile's perimeter cells in a flat array."""
    return slice(int(of.first[spot.number]), int(of.first[spot.number + 1]))


def numbers(of, row, col):
    """Return the index in a flat array of perimeter cells given by row and column of the raster, -1 outside the raster."""
    row, col = np.asarray(row, np.int64), np.asarray(col, np.int64)
    inside = (row >= 0) & (row < of.shape[0]) & (col >= 0) & (col < of.shape[1])
    row, col = np.where(inside, row, 0), np.where(inside, col, 0)
    tile_row, tile_col = row // of.tile, col // of.tile
    along = -(-of.shape[1] // of.tile)
    high = np.minimum(of.tile, of.shape[0] - tile_row * of.tile)
    wide = np.minimum(of.tile, of.shape[1] - tile_col * of.tile)
    row, col = row - tile_row * of.tile, col - tile_col * of.tile
    side = 2 * wide + np.where(col == 0, 0, high - 2) + row - 1
    place = np.where(row == 0, col, np.where(row == high - 1, wide + col, side))
    return np.where(inside, of.first[tile_row * along + tile_col] + place, -1)


def rim(of, spot):
    """Return the cells just outside a tile: (row, col) in the tile grown by one cell all round, and their index, -1 outside
    the raster.
    """
    row, col = perimeter(spot.rows + 2, spot.cols + 2)
    return row, col, numbers(of, row + spot.row - 1, col + spot.col - 1)


def grown(of, spot, inner, around, outside):
    """Return a tile grown by one cell all round.

    Arguments: inner: (rows, cols) the tile; around: flat array of all perimeters; outside: value beyond the raster.
    """
    window = np.full((spot.rows + 2, spot.cols + 2), outside, inner.dtype)
    window[1:-1, 1:-1] = inner
    row, col, index = rim(of, spot)
    known = index >= 0
    window[row[known], col[known]] = around[index[known]]
    return window


def _count(rows, cols):
    return rows * cols if rows <= 2 or cols <= 2 else 2 * (rows + cols) - 4
