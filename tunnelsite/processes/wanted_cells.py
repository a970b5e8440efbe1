"""Which cells of a raster are wanted: a region's parcels take up a small part of the land that is read round them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.needs import LAYERS
from tunnelsite.core.process import Inputs

WINDOWS = LAYERS["windows"]


@dataclass(frozen=True)
class Wanted:
    """Windows of a raster, int64 [n, 4]: first row, row past the last, first column, column past the last; shape of the raster."""

    windows: np.ndarray
    shape: tuple[int, int]

    @property
    def box(self) -> tuple[int, int, int, int]:
        """The window that holds all of them."""
        (top, _, left, _), (_, bottom, _, right) = self.windows.min(axis=0).tolist(), self.windows.max(axis=0).tolist()
        return top, bottom, left, right

    def cells(self) -> np.ndarray:
        """bool [rows, cols]."""
        return self.blocks(1, 0)

    def blocks(self, side: int, around: int) -> np.ndarray:
        """bool [blocks down, blocks across]: blocks of side x side cells that hold a wanted one, and so many blocks round them."""
        found = np.zeros([-(-count // side) for count in self.shape], bool)
        for top, bottom, left, right in self.windows.tolist():
            rows = slice(max(top // side - around, 0), -(-bottom // side) + around)
            found[rows, max(left // side - around, 0) : -(-right // side) + around] = True
        return found


def wanted_of(inputs: Inputs, shape: tuple[int, int], process: str) -> Wanted | None:
    """What is wanted of a ground, None = all of it.

    Arguments: inputs, perhaps with windows; shape of the ground; process, its id. Errors: UsageError for a window beyond the ground.
    """
    if WINDOWS.id not in inputs:
        return None
    given = np.atleast_2d(inputs[WINDOWS.id].values)
    first, last = given[:, ::2], given[:, 1::2]
    if given.shape[1] != 4 or not given.size or not ((first >= 0) & (first < last) & (last <= shape)).all():
        raise UsageError(
            f"{process}: {WINDOWS.id} is {given.tolist()}",
            f"rows of four numbers, within the {shape[0]} rows and {shape[1]} columns of the ground",
            "correct it, or leave it out for all of the ground",
        )
    return Wanted(given.astype(np.int64), shape)
