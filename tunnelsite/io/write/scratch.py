"""Large arrays in scratch files: they are read and written like any array, and leave memory between the steps of a run.

The files lie in the folder for temporary files (the TMPDIR of the system) and have no name, so that nothing is left behind however a run
ends. Their room is taken at once: a disk that is full says so before anything is computed, not in the middle of it.
"""

from __future__ import annotations

import contextlib
import mmap
import os
import shutil
import tempfile
import weakref
from collections.abc import Iterator, Sequence
from typing import IO

import numpy as np

from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.store import GrowingArray, Store
from tunnelsite.io.held_folder import HeldFolder

FROM_BYTES = 1 << 28  # a layer of 8192 x 8192 cells; below it memory is faster and small enough
COLUMNS_SOONER = 1024  # a column goes into a file this many times sooner: there are many, and one is written and read once for each score
_PIECE = 1 << 26


class Scratch(Store):
    """Arrays of `from_bytes` [bytes] or more live in files, smaller ones in memory; columns from a 1024th of it on."""

    def __init__(self, from_bytes: int = FROM_BYTES) -> None:
        self.from_bytes = from_bytes
        self._maps: weakref.WeakSet[mmap.mmap] = weakref.WeakSet()

    def __reduce__(self) -> tuple[type[Scratch], tuple[int]]:
        return type(self), (self.from_bytes,)  # arrays travel as arrays; another process keeps its own files

    def empty(self, shape: tuple[int, ...], dtype: type) -> np.ndarray:
        """A new array to be filled. Errors: ResourceShortage where the disk has no room for it."""
        size = int(np.prod(shape)) * np.dtype(dtype).itemsize
        if size < self.from_bytes or not size:
            return np.empty(shape, dtype)
        with self.file(size) as file:
            return self.mapped(file, dtype).reshape(shape)

    def kept(self, values: np.ndarray) -> np.ndarray:
        """A copy in a file where it is large, else the values. Errors: ResourceShortage."""
        if values.nbytes < self.from_bytes or not values.nbytes or self._is_ours(values):
            return values
        with self.file(values.nbytes) as file:
            rows = max(1, _PIECE * len(values) // values.nbytes)
            for first in range(0, len(values), rows):
                file.write(np.ascontiguousarray(values[first : first + rows]).data)
            return self.mapped(file, values.dtype).reshape(values.shape)

    def columns(self, dtypes: Sequence[type], most: int) -> list[GrowingArray]:
        """Columns that move into one file once they are large; where the disk has no room for what memory holds, they stay there."""
        table = ColumnsFile(self, [most * np.dtype(dtype).itemsize for dtype in dtypes])
        if 8 * most < self.from_bytes and table.size > shutil.disk_usage(tempfile.gettempdir()).free:
            return super().columns(dtypes, most)
        return [ScratchColumn(dtype, most, table, part) for part, dtype in enumerate(dtypes)]

    def rest(self) -> None:
        """Give back the memory of every file; the values stay in the files, and come back when they are looked at."""
        if hasattr(mmap, "MADV_DONTNEED"):
            for one in list(self._maps):
                one.madvise(mmap.MADV_DONTNEED)

    def file(self, size: int = 0) -> IO[bytes]:
        """A new file without a name, of `size` bytes. Errors: ResourceShortage."""
        file = tempfile.TemporaryFile(prefix="tunnelsite-")  # noqa: SIM115 (closed by who asked for it)
        try:
            if hasattr(os, "posix_fallocate") and size:
                os.posix_fallocate(file.fileno(), 0, size)
            else:
                file.truncate(size)
        except OSError as problem:
            file.close()
            raise short_of_disk(size, problem) from None
        return file

    def mapped(self, file: IO[bytes], dtype: type | np.dtype) -> np.ndarray:
        """The whole file as a flat array, which stays when the file is closed."""
        file.flush()
        one = mmap.mmap(file.fileno(), 0)
        self._maps.add(one)
        return np.frombuffer(one, dtype)

    def _is_ours(self, values: np.ndarray) -> bool:
        base: object = values
        while isinstance(base, np.ndarray) and base.base is not None:
            base = base.base
        return any(base is one or getattr(base, "obj", None) is one for one in self._maps)


class ColumnsFile:
    """A file for the columns of a table: one, since a run on many bearings has more columns than a process may have files open.

    Each has a part of its own; only what is written takes room on the disk. Arguments: scratch; sizes, most bytes of each column.
    """

    def __init__(self, scratch: Scratch, sizes: Sequence[int]) -> None:
        self._scratch, self.from_bytes = scratch, scratch.from_bytes / COLUMNS_SOONER
        page = mmap.ALLOCATIONGRANULARITY
        self._starts = np.cumsum([0, *(-(-size // page) * page for size in sizes)]).tolist()
        self.size = int(self._starts[-1])
        self._file: IO[bytes] | None = None
        self._bytes: np.ndarray | None = None

    def write(self, part: int, at: int, values: np.ndarray) -> None:
        """Put values into a column. Arguments: part, which; at, bytes of it that are there; values. Errors: ResourceShortage."""
        if self._file is None:
            self._file = self._scratch.file()
            self._file.truncate(self.size)
        try:
            self._file.seek(self._starts[part] + at)
            self._file.write(np.ascontiguousarray(values).data)
            self._file.flush()
        except OSError as problem:
            raise short_of_disk(at + values.nbytes, problem) from None

    def read(self, part: int, dtype: np.dtype, count: int) -> np.ndarray:
        """A column that was written: the table is mapped when the first is asked for, and goes when the last is not needed."""
        if self._bytes is None:
            assert self._file is not None
            with self._file as file:
                self._bytes = self._scratch.mapped(file, np.uint8)
        start = self._starts[part]
        return self._bytes[start : start + count * dtype.itemsize].view(dtype)


class ScratchColumn(GrowingArray):
    """A column that is written to its part of a table as it comes, once it is large."""

    def __init__(self, dtype: type, most: int, table: ColumnsFile, part: int) -> None:
        super().__init__(dtype, most)
        self._table, self._part, self._written = table, part, 0

    def append(self, values: np.ndarray) -> None:
        """Add a piece. Errors: ResourceShortage."""
        if not self._written:
            super().append(values)
            if not self._alike and self._values[: self._count].nbytes >= self._table.from_bytes:
                first = super().whole()
                self._table.write(self._part, 0, first)
                self._written = len(first)
            return
        values = np.ascontiguousarray(values, self._values.dtype)
        self._table.write(self._part, self._written * values.itemsize, values)
        self._written += len(values)

    def whole(self) -> np.ndarray:
        """All pieces in one array; the columns of a table are asked for once all are full."""
        if not self._written:
            return super().whole()
        count, self._written = self._written, 0
        return self._table.read(self._part, self._values.dtype, count)


@contextlib.contextmanager
def temporary_folder() -> Iterator[str]:
    """A folder for other programs' files, which goes with the block, or with the run where that is ended within it."""
    with HeldFolder("files").until_done() as folder:
        yield str(folder)


def short_of_disk(size: int, problem: OSError) -> ResourceShortage:
    """The refusal where a scratch file finds no room."""
    return ResourceShortage(
        f"a scratch file of {size / 1e9:.1f} GB does not fit into {tempfile.gettempdir()} ({problem.strerror})",
        "room on the disk that holds temporary files",
        "free some, or set TMPDIR to a folder on a larger disk",
    )
