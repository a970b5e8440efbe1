"""Streams, ditches and sunken ways by their shape: ground that lies below both of its banks, over some length.

A bare-earth model dams a stream at every culvert, and knows nothing of the land beyond its end: how much drains through a channel's
cells is often not known, the channel itself is there to be seen.

Source: the closing of a surface less the surface (black top-hat; Serra 1982, Image Analysis and Mathematical Morphology): 0 on
planes, slopes, steps and terraces, the depth below the lower bank in a trench narrower than the window.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.blocks import block_means

BLOCK_M = 2.0  # finer cells are averaged: a ditch is wider, and the errors of single cells go
WIDEST_M = 20.0  # bank to bank
SHORTEST_M = 60.0  # of a channel, straight from end to end: pits and hollows are shorter
COARSEST_M = 5.0  # wider cells show no channel of that width


def depth_below_banks(ground: np.ndarray, reach: int) -> np.ndarray:
    """Return how deep each cell lies below the lower of its banks.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; reach [cells]: banks are looked for as far as this on either side.
    Return: float32 [rows, cols] [m], 0 or more; NaN where the ground is. Nothing beyond the data counts as a bank.
    """
    known = np.isfinite(ground)
    high = np.pad(np.where(known, ground, -np.inf).astype(np.float32), 2 * reach, constant_values=-np.inf)
    side = 2 * reach + 1
    high = ndimage.maximum_filter(high, side, mode="constant", cval=-np.inf)
    high[np.isneginf(high)] = np.inf
    closed = ndimage.minimum_filter(high, side, mode="constant", cval=np.inf)
    inner = slice(2 * reach, -2 * reach)
    return np.where(known, closed[inner, inner] - ground, np.nan).astype(np.float32)


def cut_channels(ground: np.ndarray, cell_m: float, deep_m: float) -> np.ndarray:
    """Return where the ground is a channel: cut `deep_m` or more below both banks, at most 20 m wide, at least 60 m long.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; cell_m: side of a cell [m]; deep_m [m], above 0.
    Return: bool [rows, cols], to the block of about 2 m; all False where cells are wider than 5 m.
    """
    if cell_m > COARSEST_M:
        return np.zeros(ground.shape, bool)
    side = max(1, int(BLOCK_M // cell_m))
    block_m = side * cell_m
    deep = _deep(block_means(ground, side), max(1, round(WIDEST_M / 2 / block_m)), deep_m)
    labels, count = ndimage.label(deep, np.ones((3, 3)))
    blocks = np.bincount(labels.ravel(), minlength=count + 1)
    long = np.zeros(count + 1, bool)
    for k, (down, right) in enumerate(ndimage.find_objects(labels), 1):
        length = np.hypot(down.stop - down.start, right.stop - right.start)
        long[k] = length * block_m >= SHORTEST_M and blocks[k] <= length**2 / 4  # else a pit
    found: np.ndarray = long[labels].repeat(side, 0).repeat(side, 1)
    return found[: ground.shape[0], : ground.shape[1]]


def _deep(ground: np.ndarray, reach: int, deep_m: float) -> np.ndarray:
    """Which cells lie `deep_m` or more below their banks; a band of rows at a time, each with the rows that its cells depend on."""
    deep = np.empty(ground.shape, bool)
    for rows in bands(ground.shape):
        first = max(rows.start - 2 * reach, 0)
        depth = depth_below_banks(ground[first : rows.stop + 2 * reach], reach)
        deep[rows] = depth[rows.start - first :][: rows.stop - rows.start] >= deep_m
    return deep
