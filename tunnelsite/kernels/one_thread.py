"""Kernels in one thread, where the work is less than what waking the others takes."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import numba


@contextlib.contextmanager
def one_thread() -> Iterator[None]:
    """Run the kernels that this thread calls without the others. Results are the same; other threads keep theirs."""
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        yield
    finally:
        numba.set_num_threads(before)
