"""The ground round many placements stacked into one tall array, so that a kernel is called once and not once for each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

CELLS = 1 << 22  # of a stack: a few tens of MB, however many placements there are


@dataclass(frozen=True)
class Cutouts:
    """Windows of one size round the cells of placements, one above the other.

    Attributes: part, which of the placements; cells, row and column of every cell, int64 [n, high, wide], those beyond the ground at its
    rim; inside, bool, which are not beyond; ground, float32 [n * (2 * reach + 1), 2 * reach + 1] (reach along rows and columns), heights
    above the middle cell of each window [m], NaN beyond the ground; middle_m, float64 [n], those cells' heights; rows, int64 [n], and
    col: where the middle cells are in the stack.
    """

    part: slice
    cells: tuple[np.ndarray, np.ndarray]
    inside: np.ndarray
    ground: np.ndarray
    middle_m: np.ndarray
    rows: np.ndarray
    col: int

    def stacked(self, layer: np.ndarray) -> np.ndarray:
        """The same windows of another layer, as it is: float32 like `ground`, NaN beyond it."""
        return np.where(self.inside, layer[self.cells], np.nan).astype(np.float32).reshape(self.ground.shape)

    def middles(self) -> np.ndarray:
        """bool like `ground`: the middle cells."""
        found = np.zeros(self.ground.shape, bool)
        found[self.rows, self.col] = True
        return found


def cutouts(ground: np.ndarray, at: tuple[np.ndarray, np.ndarray], reach: tuple[int, int]) -> Iterator[Cutouts]:
    """Stacks of windows, as many placements at a time as memory should hold.

    Arguments: ground, float [rows, cols] [m]; at, row and column of each placement, int64 [n]; reach, cells that a window goes
    to each side, down the rows and along them.
    """
    high, wide = 2 * reach[0] + 1, 2 * reach[1] + 1
    down, right = np.arange(-reach[0], reach[0] + 1)[None, :, None], np.arange(-reach[1], reach[1] + 1)
    step = max(CELLS // (high * wide), 1)
    for first in range(0, len(at[0]), step):
        part = slice(first, min(first + step, len(at[0])))
        row, col = (np.asarray(axis[part], np.int64) for axis in at)
        rows, cols = row[:, None, None] + down, col[:, None, None] + right
        inside = (rows >= 0) & (rows < ground.shape[0]) & (cols >= 0) & (cols < ground.shape[1])
        cells = np.clip(rows, 0, ground.shape[0] - 1), np.clip(cols, 0, ground.shape[1] - 1)
        middle = np.nan_to_num(ground[row, col])  # unknown in the middle, known round it: heights as they are
        stack = np.where(inside, ground[cells] - middle[:, None, None], np.float32(np.nan)).astype(np.float32)
        places = np.arange(len(row)) * high + reach[0]
        yield Cutouts(part, cells, inside, stack.reshape(-1, wide), middle.astype(np.float64), places, reach[1])
