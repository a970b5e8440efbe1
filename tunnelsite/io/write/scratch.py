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
from collections.abc import Iterator
from typing import IO

import numpy as np

from tunnelsite.core.ending import taken_away
from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.store import GrowingArray, Store

FROM_BYTES = 1 << 28  # a layer of 8192 x 8192 cells; below it memory is faster and small enough
_COLUMNS = 16  # so many columns and layers of this size are kept at a time
_PIECE = 1 << 26


class Scratch(Store):
    """Arrays of `from_bytes` [bytes] or more live in files, smaller ones in memory; columns from a sixteenth of it on."""

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

    def column(self, dtype: type, most: int = 0) -> GrowingArray:
        """A column that moves into a file once it is large."""
        return ScratchColumn(dtype, self)

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


class ScratchColumn(GrowingArray):
    """A column that is written to a file of a `Scratch` as it comes, once it is large."""

    def __init__(self, dtype: type, scratch: Scratch) -> None:
        super().__init__(dtype)
        self._scratch, self._size = scratch, 0
        self._file: IO[bytes] | None = None

    def append(self, values: np.ndarray) -> None:
        """Add a piece. Errors: ResourceShortage."""
        values = np.ascontiguousarray(values, self._values.dtype)
        self._size += values.nbytes
        if self._file is None and self._size < self._scratch.from_bytes / _COLUMNS:
            super().append(values)
            return
        try:
            if self._file is None:
                self._file = self._scratch.file()
                self._file.write(np.ascontiguousarray(super().whole()).data)
            self._file.write(values.data)
        except OSError as problem:
            raise short_of_disk(self._size, problem) from None

    def whole(self) -> np.ndarray:
        """All pieces in one array."""
        if self._file is None or not self._size:
            return super().whole()
        with self._file as file:
            return self._scratch.mapped(file, self._values.dtype)


@contextlib.contextmanager
def temporary_folder() -> Iterator[str]:
    """A folder for other programs' files, which goes with the block, or with the run where that is ended within it."""
    with (
        tempfile.TemporaryDirectory(prefix="tunnelsite-", ignore_cleanup_errors=True) as folder,
        taken_away(lambda: shutil.rmtree(folder, ignore_errors=True)),
    ):
        yield folder


def short_of_disk(size: int, problem: OSError) -> ResourceShortage:
    """The refusal where a scratch file finds no room."""
    return ResourceShortage(
        f"a scratch file of {size / 1e9:.1f} GB does not fit into {tempfile.gettempdir()} ({problem.strerror})",
        "room on the disk that holds temporary files",
        "free some, or set TMPDIR to a folder on a larger disk",
    )
