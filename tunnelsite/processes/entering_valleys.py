"""Valleys that enter a raster over the end of its data: what drains down them from beyond is not known.

Arrays are [row, col], row 0 = north; directions are the codes of `flow`.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.kernels.blocks import block_means
from tunnelsite.kernels.water.flow import CODE, COL_STEP, OUTLET, ROW_STEP
from tunnelsite.processes.cut_channels import depth_below_banks

BLOCK_M = 10.0
REACH_M = 100.0  # from a valley's middle to its sides
DEEP_M = 1.0  # of its middle below the lower side: errors of the elevations and furrows are less


def entering_valleys(ground: np.ndarray, direction: np.ndarray, open_edge: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the ways that water takes which comes down a valley from beyond the data.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; direction: uint8, codes of the filled ground; open_edge: bool, where
        water may come from beyond the data; cell_m: side of a cell [m].
    Return: bool [rows, cols]: from the lowest cell of each valley in the profile along the end of the data, down to an outlet.
    """
    side = max(1, round(BLOCK_M / cell_m))
    means = block_means(ground, side)
    known = np.isfinite(means)
    rim = np.where(known & ~ndimage.binary_erosion(known, np.ones((3, 3))), means, np.float32(np.nan))
    depth = depth_below_banks(rim, max(1, round(REACH_M / (side * cell_m))))
    labels, count = ndimage.label(np.nan_to_num(depth) >= DEEP_M, np.ones((3, 3)))
    ways = np.zeros(ground.shape, bool)
    for row, col in ndimage.minimum_position(rim, labels, range(1, count + 1)):
        part = np.s_[max((row - 1) * side, 0) : (row + 2) * side, max((col - 1) * side, 0) : (col + 2) * side]
        heights = np.where(_borders(ground, part) & (open_edge[part] > 0), ground[part], np.nan)
        if np.isfinite(heights).any():
            down, right = np.unravel_index(np.nanargmin(heights), heights.shape)
            start = part[0].start + int(down), part[1].start + int(right)
            if direction[start] != OUTLET:  # else water leaves there
                _follow(*start, direction, ways)
    return ways


def _borders(ground: np.ndarray, part: tuple[slice, slice]) -> np.ndarray:
    """Which cells of a part of the raster lie beside no data or at its end."""
    around = np.pad(np.isfinite(ground[part]), 1, mode="edge")
    rows, cols = part
    around[0] &= rows.start > 0
    around[-1] &= rows.stop < ground.shape[0]
    around[:, 0] &= cols.start > 0
    around[:, -1] &= cols.stop < ground.shape[1]
    return np.asarray(~ndimage.binary_erosion(around, np.ones((3, 3)))[1:-1, 1:-1])


def _follow(row: int, col: int, direction: np.ndarray, ways: np.ndarray) -> None:
    """Mark the way down from a cell, as far as none was marked before."""
    steps = {int(code): (int(r), int(c)) for code, r, c in zip(CODE, ROW_STEP, COL_STEP, strict=True)}
    rows, cols = ways.shape
    while 0 <= row < rows and 0 <= col < cols and not ways[row, col]:
        ways[row, col] = True
        down, right = steps.get(int(direction[row, col]), (0, 0))
        row, col = row + down, col + right
