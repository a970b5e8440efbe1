"""Hollows in which cold air collects."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.fill import filled
from tunnelsite.kernels.windows import rectangle_mean


def cold_pool_depth(ground: np.ndarray, cell_m: float, scale_m: float) -> np.ndarray:
    """Depth [m] below its rim of the hollow a cell lies in, on ground smoothed to the scale that cold air feels.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data. cell_m [m]. scale_m: side of the square over which heights
    are averaged [m]; not less than a cell is used.
    Return: float32 [rows, cols], 0 on open ground, NaN where the ground is; air leaves over the edge of the data and into
    missing cells alike. The rim is kept as it is, not breached: a bank that has a culvert for water still dams air.
    Averaging n cells brings independent errors of the heights down by the root of n.
    """
    smooth = smoothed(ground, max(scale_m / cell_m, 1.0))
    return filled(smooth) - smooth


def smoothed(ground: np.ndarray, side_cells: float) -> np.ndarray:
    """Mean of the known heights in the square round each known cell: float32 [rows, cols], NaN where the ground is.

    Arguments: ground [rows, cols] [m]; side_cells, side of the square [cells]. At an edge the square is the part inside the
    data; the mean of a plane still falls the way the plane does, so that no hollow is made there.
    """
    reach = int(side_cells / 2 + 1)
    known = np.pad(np.isfinite(ground).astype(np.float32), reach)
    heights = np.pad(np.nan_to_num(np.asarray(ground, np.float32), nan=0.0), reach)
    inner = (slice(reach, -reach), slice(reach, -reach))
    share = rectangle_mean(known, side_cells, side_cells)[inner]
    mean = rectangle_mean(heights, side_cells, side_cells)[inner]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(known[inner] > 0, mean / share, np.float32(np.nan)).astype(np.float32)
