"""A measure taken on the ground averaged over squares, and carried back to its cells."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tunnelsite.core.layers import Layer
from tunnelsite.kernels.blocks import block_means, spread


def on_blocks(ground: Layer, scale_m: float, measure: Callable[[np.ndarray, float], np.ndarray]) -> np.ndarray:
    """float16 [rows, cols], straight between the middles of squares; NaN where the ground is.

    Arguments: ground; scale_m, side of the squares [m], a cell at least; measure(means, side of a square [m]) -> as many values.
    """
    cell = ground.cell_m[0]
    side = max(1, round(scale_m / cell))
    values: np.ndarray = spread(measure(block_means(ground.values, side), side * cell), side, ground.values)
    return values.astype(np.float16)
