"""Small water that was not levelled: a calm, level patch inside a rim that rises all round."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.kernels.blocks import block_means, block_scatter

SCATTER_M = (
    0.05  # rms of the heights off their block's mean: the noise of lidar within one flight line, water without breakers
)
RISE_M = 0.02  # from block to block, over three of them
RELIEF_M = 0.25  # from the lowest to the highest block of a patch
RIM_M = 0.15  # by which the rim stands higher: more than the noise of a block's mean
RIM_SHARE = 0.95  # of the rim
LEAST_BLOCKS = 4  # without the shore
_AROUND = 2  # blocks: the shore and the rim


def pond_blocks(
    ground: np.ndarray, side: int, cell_m2: float, sizes_m2: tuple[float, float], wanted: np.ndarray | None = None
) -> np.ndarray:
    """Return which blocks of a ground look like small water.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; side of a block [cells]; cell_m2, area of a cell [m2]; sizes_m2,
        (least, most) area of a patch with its shore [m2]; wanted, bool, of the blocks: patches that hold none of them are left out.
    Return: bool [ceil(rows / side), ceil(cols / side)]: patches of blocks in which heights scatter by less than 5 cm, which fall by
        less than 2 cm from block to block and 25 cm in all, with the block of their shore, whose rim, the block beyond, stands more
        than 15 cm higher nearly everywhere. A terrace falls away on one side and a field runs on, so neither has such a rim. A
        patch at the array's end or beside no data has no rim that is known. The five numbers are ours.
    """
    level = block_means(ground, side)
    rise = np.hypot(*(ndimage.sobel(level, axis) / 8.0 for axis in (0, 1)))
    calm = (block_scatter(ground, level, side) <= SCATTER_M) & (rise <= RISE_M)
    label = ndimage.label(calm)[0]
    blocks = np.bincount(label.ravel())
    likely = (blocks >= LEAST_BLOCKS) & (blocks <= sizes_m2[1] / (side**2 * cell_m2))
    if wanted is not None:
        likely &= np.bincount(label[wanted], minlength=len(likely)) > 0
    label, level = np.pad(label, _AROUND), np.pad(level, _AROUND, constant_values=np.nan)
    found = np.zeros(label.shape, bool)
    for number, box in enumerate(ndimage.find_objects(label), 1):
        if not likely[number]:
            continue
        window = tuple(slice(part.start - _AROUND, part.stop + _AROUND) for part in box)
        patch, heights = label[window] == number, level[window]
        inside = heights[patch]
        if np.ptp(inside) > RELIEF_M:
            continue
        shore = _grown(patch)
        area = shore.sum() * side**2 * cell_m2
        if not sizes_m2[0] <= area <= sizes_m2[1]:
            continue
        rim = heights[_grown(shore) & ~shore]
        if (rim - inside.mean() > RIM_M).mean() >= RIM_SHARE:
            found[window] |= shore
    return found[_AROUND:-_AROUND, _AROUND:-_AROUND]


def _grown(patch: np.ndarray) -> np.ndarray:
    """A patch with the blocks that touch it."""
    tall = patch.copy()  # many are of a few blocks, for which a filter of scipy's takes twenty times as long
    tall[1:] |= patch[:-1]
    tall[:-1] |= patch[1:]
    found = tall.copy()
    found[:, 1:] |= tall[:, :-1]
    found[:, :-1] |= tall[:, 1:]
    return found
