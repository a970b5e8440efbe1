"""Where large arrays live: in memory, or (see `io.write.scratch`) in files, so that a run needs no memory for what it only keeps."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np


class Column:
    """Values that come in pieces and are wanted in one array at the end.

    Arguments: dtype.
    """

    def __init__(self, dtype: type) -> None:
        self._dtype = np.dtype(dtype)
        self._parts: list[np.ndarray] = []

    def append(self, values: np.ndarray) -> None:
        """Add a piece."""
        self._parts.append(np.asarray(values, self._dtype))

    def whole(self) -> np.ndarray:
        """All pieces in one array; the column is empty afterwards."""
        parts, self._parts = self._parts, []
        return np.concatenate([*parts, np.empty(0, self._dtype)])


class Store:
    """Large arrays kept in memory. `piece`: values that are looked at together."""

    piece = 1 << 16

    def empty(self, shape: tuple[int, ...], dtype: type) -> np.ndarray:
        """A new array to be filled."""
        return np.empty(shape, dtype)

    def kept(self, values: np.ndarray) -> np.ndarray:
        """The same values where they are to stay; what was handed in is not needed any more."""
        return values

    def column(self, dtype: type) -> Column:
        """A new column."""
        return Column(dtype)

    def rest(self) -> None:
        """Between two steps: what is kept but not in use may leave memory."""

    def pieces(self, count: int) -> Iterator[slice]:
        """Slices of `piece` that together cover `count` values; what was looked at may leave memory on the way."""
        for number, first in enumerate(range(0, count, self.piece), 1):
            yield slice(first, first + self.piece)
            if number % 64 == 0:
                self.rest()

    def finite(self, values: np.ndarray) -> int:
        """How many of the values [n] are finite."""
        return sum(int(np.count_nonzero(np.isfinite(values[part]))) for part in self.pieces(len(values)))
