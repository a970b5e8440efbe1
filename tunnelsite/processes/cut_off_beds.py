"""Ground that may be the bed of a river which the end of the data cuts off: level, low, under a bank, and where water leaves the data.

Lidar shows moving water as smooth, level ground, and beyond the data's end nothing tells how much drains through it.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.banks import BANK_M, BANK_WITHIN_M, BED_SHARE
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.blocks import block_means
from tunnelsite.kernels.water.flow import OUTLET

BLOCK_M = 10.0
LEVEL_SHARE = (
    0.15  # of the bank's height that the ground round a place may rise or fall: on a plain slope it does by more (ours)
)
LEVEL_BLOCKS = 5  # side of what lies round a place


def cut_off_beds(ground: np.ndarray, height: np.ndarray, direction: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the ground that may be the bed of a river, or its flood plain, of which the data show one side.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; height: float32, above the nearest drainage [m], NaN = not known;
        direction: uint8, codes of the filled ground; cell_m: side of a cell [m].
    Return: bool [rows, cols]: patches, to the block of about 10 m, over whose end water leaves the data before it meets a line.
    """
    side = max(1, round(BLOCK_M / cell_m))
    means, drained = block_means(ground, side), np.isfinite(block_means(height, side))
    reach = 2 * max(1, round(BANK_WITHIN_M / (side * cell_m))) + 1
    bank = _highest(means, reach) - means
    lower, uneven = means - _lowest(means, reach), _highest(means, LEVEL_BLOCKS) - _lowest(means, LEVEL_BLOCKS)
    with np.errstate(invalid="ignore"):
        low = ~drained & (bank >= BANK_M) & (lower <= BED_SHARE * bank) & (uneven <= LEVEL_SHARE * bank)
    labels, count = ndimage.label(low, np.ones((3, 3)))
    outlets = direction == OUTLET
    outlets &= np.isfinite(ground)
    down, right = np.nonzero(outlets)
    del outlets
    cut_off = np.zeros(count + 1, bool)
    cut_off[labels[down // side, right // side]] = True
    cut_off[0] = False
    beds: np.ndarray = cut_off[labels].repeat(side, 0).repeat(side, 1)[: ground.shape[0], : ground.shape[1]]
    for rows in bands(ground.shape):
        beds[rows] &= np.isfinite(ground[rows]) & np.isnan(height[rows])
    return beds


def _highest(means: np.ndarray, side: int) -> np.ndarray:
    return np.asarray(ndimage.maximum_filter(np.nan_to_num(means, nan=-np.inf), side, mode="constant", cval=-np.inf))


def _lowest(means: np.ndarray, side: int) -> np.ndarray:
    return np.asarray(ndimage.minimum_filter(np.nan_to_num(means, nan=np.inf), side, mode="constant", cval=np.inf))
