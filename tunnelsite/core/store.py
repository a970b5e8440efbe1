"""Where large arrays live: in memory, or (see `io.write.scratch`) in files, so that a run needs no memory for what it only keeps."""

from __future__ import annotations

import mmap
from collections.abc import Iterator, Sequence

import numpy as np

_RESERVED = 1 << 24  # values at most that a column makes room for beforehand


class GrowingArray:
    """Values that come in pieces and are wanted in one array at the end.

    Arguments: dtype; most, how many it may come to hold. They are put where they are to stay: pieces that lie between those of other
    columns leave holes in memory. As long as all are alike, as where nothing stands anywhere, one is kept for all of them.
    """

    def __init__(self, dtype: type, most: int = 0) -> None:
        self._most, self._count = min(most, _RESERVED), 0
        self._values: np.ndarray = np.empty(0, dtype)
        self._alike = True

    def append(self, values: np.ndarray) -> None:
        """Add a piece."""
        end = self._count + len(values)
        if self._alike:
            one = self._values if self._count else np.array(values[:1], self._values.dtype)
            if np.array_equal(values, np.broadcast_to(one, values.shape) if len(one) else one, equal_nan=True):
                self._values, self._count = one, end
                return
        if self._alike or end > len(self._values):
            self._grow(max(end, self._most, 2 * self._count))
        self._values[self._count : end] = values
        self._count = end

    def _grow(self, count: int) -> None:
        grown = _pages(count, self._values.dtype)
        grown[: self._count] = self._values[: 1 if self._alike else self._count]
        self._values, self._alike = grown, False

    def whole(self) -> np.ndarray:
        """All pieces in one array, not to be written to; the column is empty afterwards."""
        whole = np.broadcast_to(self._values, self._count) if self._alike else self._values[: self._count]
        self._values, self._count, self._alike = np.empty(0, whole.dtype), 0, True
        return whole


def _pages(count: int, dtype: type | np.dtype) -> np.ndarray:
    """Room for values in pages of its own, which take no memory before they are filled."""
    return np.frombuffer(mmap.mmap(-1, max(count, 1) * np.dtype(dtype).itemsize), dtype, count)


class Store:
    """Large arrays kept in memory. `piece`: values that are looked at together."""

    piece = 1 << 15

    def empty(self, shape: tuple[int, ...], dtype: type) -> np.ndarray:
        """A new array to be filled."""
        return np.empty(shape, dtype)

    def kept(self, values: np.ndarray) -> np.ndarray:
        """The same values where they are to stay; what was handed in is not needed any more."""
        return values

    def columns(self, dtypes: Sequence[type], most: int) -> list[GrowingArray]:
        """New columns of one table, of which none comes to hold more than `most` values."""
        return [GrowingArray(dtype, most) for dtype in dtypes]

    def rest(self) -> None:
        """Between two steps: what is kept but not in use may leave memory."""

    def pieces(self, count: int) -> Iterator[slice]:
        """Slices of `piece` that together cover `count` values; what was looked at may leave memory on the way."""
        for first in range(0, count, self.piece):
            yield slice(first, first + self.piece)
            self.rest()

    def finite(self, values: np.ndarray) -> int:
        """How many of the values [n] are finite."""
        return sum(int(np.count_nonzero(np.isfinite(values[part]))) for part in self.pieces(len(values)))
