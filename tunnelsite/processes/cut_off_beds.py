"""Ground that may be the bed of a river which the end of the data cuts off: level, low, under a bank, and where water leaves the data.

Lidar shows moving water as smooth, level ground, and beyond the data's end nothing tells how much drains through it.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.freeboard import FREEBOARD_M
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.blocks import block_means
from tunnelsite.kernels.water.flow import OUTLET

BLOCK_M = 10.0
BANK_M, BANK_WITHIN_M = 1.5, 100.0  # how high a bank is at least, and how near it stands (ours)
# of a bank's height that the ground within that distance may lie lower, and how much at most (ours)
BED_SHARE, LOWER_M = 0.2, 1.0
# of it that the ground may rise or fall over `LEVEL_BLOCKS` along or across, and how much at most (ours)
LEVEL_SHARE, LEVEL_M = 0.15, 0.3
LEVEL_BLOCKS = 5  # water lies level across a river; a field that falls away from the foot of a slope falls by more
_BESIDE = np.ones((3, 3), bool)


def cut_off_beds(ground: np.ndarray, height: np.ndarray, direction: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the ground that may be the bed of a river, or its flood plain, of which the data show one side.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; height: float32, above the nearest drainage [m], NaN = not known;
        direction: uint8, codes of the filled ground; cell_m: side of a cell [m].
    Return: bool [rows, cols]: patches, to the block of about 10 m, over whose end water leaves the data before it meets a line, and
        what lies within 100 m of one and no more than 1 ft (0.3 m) above it, as between two reaches of a river where it falls faster.
        The end of the data is that of all data: water that leaves into a hole, as under a building, is cut off by nothing.
    """
    side = max(1, round(BLOCK_M / cell_m))
    means = block_means(ground, side)
    reach = 2 * max(1, round(BANK_WITHIN_M / (side * cell_m))) + 1
    low = _low_and_level(means, _block_lows(ground, side), reach)
    low &= ~np.isfinite(block_means(height, side))
    labels, count = ndimage.label(low, _BESIDE)
    outlets = direction == OUTLET
    outlets &= np.isfinite(ground)
    down, right = np.nonzero(outlets)
    del outlets
    down, right = down // side, right // side
    ends = _beside_the_outside(np.isfinite(means))[down, right]
    cut_off = np.zeros(count + 1, bool)
    cut_off[labels[down[ends], right[ends]]] = True
    cut_off[0] = False
    bed = cut_off[labels]
    reached_m = _highest(np.where(bed, means, np.nan), reach) + FREEBOARD_M
    beds = np.empty(ground.shape, bool)
    for rows in bands(ground.shape):
        block = np.arange(*rows.indices(len(ground))) // side
        of = np.ix_(block, np.arange(ground.shape[1]) // side)
        beds[rows] = (bed[of] | (ground[rows] <= reached_m[of])) & np.isfinite(ground[rows]) & np.isnan(height[rows])
    return beds


def _low_and_level(means: np.ndarray, lows: np.ndarray, reach: int) -> np.ndarray:
    """Blocks at the foot of a bank, with hardly any lower ground in the `reach` blocks (odd) round them, were it a ditch, and level
    ground: bool. Arguments: means and lows, of blocks."""
    bank = _highest(means, reach) - means
    with np.errstate(invalid="ignore"):
        found: np.ndarray = bank >= BANK_M
        found &= means - _lowest(lows, reach) <= np.minimum(BED_SHARE * bank, LOWER_M)
        for line in ((LEVEL_BLOCKS, 1), (1, LEVEL_BLOCKS)):
            uneven = _highest(means, line) - _lowest(means, line)
            blocks = ndimage.convolve(np.isfinite(means).astype(float), np.ones(line), mode="constant")
            steps = blocks - 1  # fewer at the end of the data
            found &= uneven <= np.minimum(LEVEL_SHARE * bank, LEVEL_M) * steps / (LEVEL_BLOCKS - 1)
    return found


def _block_lows(ground: np.ndarray, side: int) -> np.ndarray:
    """The lowest known ground of each block, NaN = none."""
    starts = np.arange(0, ground.shape[1], side)
    rows = [np.fmin.reduce(ground[top : top + side]) for top in range(0, len(ground), side)]
    return np.stack([np.fmin.reduceat(row, starts) for row in rows])


def _beside_the_outside(known: np.ndarray) -> np.ndarray:
    """Blocks beside what lies outside all data: seen straight up, down, left or right from there, no more is known. Arguments: known,
    bool [rows, cols]."""
    padded = np.pad(known, 1)
    outside = np.zeros(padded.shape, bool)
    for axis in (0, 1):
        outside |= ~np.maximum.accumulate(padded, axis)
        outside |= ~np.flip(np.maximum.accumulate(np.flip(padded, axis), axis), axis)
    beside: np.ndarray = ndimage.binary_dilation(outside, _BESIDE)[1:-1, 1:-1]
    return beside


def _highest(means: np.ndarray, side: int | tuple[int, ...]) -> np.ndarray:
    return np.asarray(ndimage.maximum_filter(np.nan_to_num(means, nan=-np.inf), side, mode="constant", cval=-np.inf))


def _lowest(means: np.ndarray, side: int | tuple[int, ...]) -> np.ndarray:
    return np.asarray(ndimage.minimum_filter(np.nan_to_num(means, nan=np.inf), side, mode="constant", cval=np.inf))
