"""Hollows in which cold air collects."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.tiles import TILE_ROWS
from tunnelsite.kernels.water.fill import filled_inside, rimmed
from tunnelsite.kernels.windows import rectangle_mean

_BAND_CELLS = 1 << 24  # a band is a few times as high as its halo of whole tiles


def cold_pool_depth(
    ground: np.ndarray, cell_m: float, scale_m: float, pause: Callable[[], None] = lambda: None
) -> np.ndarray:
    """Depth [m] below its rim of the hollow a cell lies in, on ground smoothed to the scale that cold air feels.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data. cell_m [m]. scale_m: side of the square over which heights
    are averaged [m]; not less than a cell is used. pause(): called while the ground is not looked at, see `fill.filled`.
    Return: float32 [rows, cols], 0 on open ground, NaN where the ground is; air leaves over the edge of the data and into
    missing cells alike. The rim is kept as it is, not breached: a bank that has a culvert for water still dams air.
    Averaging n cells brings independent errors of the heights down by the root of n.
    """
    side_cells = max(scale_m / cell_m, 1.0)
    parts = list(bands(np.shape(ground), _BAND_CELLS))
    padded = rimmed(np.shape(ground), np.float32)
    for rows in parts:
        smooth = smoothed(ground, side_cells, rows)
        padded[rows.start + 1 : rows.stop + 1, 1:-1] = np.where(np.isinf(smooth), np.nan, smooth)
    pause()
    pool = filled_inside(padded)
    del padded
    for rows in parts:  # smoothed again, which is cheaper than the memory of one more array while hollows are filled
        pool[rows] -= smoothed(ground, side_cells, rows)
    return pool


def smoothed(ground: np.ndarray, side_cells: float, rows: slice = slice(None)) -> np.ndarray:
    """Mean of the known heights in the square round each known cell: float32 [rows, cols], NaN where the ground is.

    Arguments: ground [rows, cols] [m]; side_cells, side of the square [cells]; rows, those wanted. At an edge the square is the
    part inside the data; the mean of a plane still falls the way the plane does, so that no hollow is made there. No bit
    depends on `rows`: what is cut out for them keeps whole tiles of `rectangle_mean`, counted from a rim of `reach` cells.
    """
    reach = int(side_cells / 2 + 1)
    first, last, _ = rows.indices(len(ground))
    halo = -(-reach // TILE_ROWS) * TILE_ROWS
    top = max((first + reach) // TILE_ROWS * TILE_ROWS - halo, 0) - reach
    bottom = min(-(-(last + reach) // TILE_ROWS) * TILE_ROWS + halo, len(ground) + 2 * reach) - reach
    part = np.asarray(ground[max(top, 0) : max(bottom, 0)], np.float32)
    above, below = max(-top, 0), max(bottom - len(ground), 0)
    known = np.zeros((above + len(part) + below, part.shape[1] + 2 * reach), np.float32)
    heights, finite = np.zeros_like(known), np.isfinite(part)
    inner = slice(above, above + len(part)), slice(reach, reach + part.shape[1])
    known[inner] = finite
    np.copyto(heights[inner], part, where=finite)
    wanted = (first - top, last - top)
    share = rectangle_mean(known, side_cells, side_cells, wanted)[:, reach:-reach]
    mean = rectangle_mean(heights, side_cells, side_cells, wanted)[:, reach:-reach]
    with np.errstate(divide="ignore", invalid="ignore"):
        np.divide(mean, share, out=mean)
    mean[known[slice(*wanted), reach:-reach] == 0] = np.nan
    return mean
