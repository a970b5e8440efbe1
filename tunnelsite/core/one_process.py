"""A process that was forked from one that has computed cannot compute: OpenMP's threads do not come with it."""

from __future__ import annotations

import functools
import os

from tunnelsite.core.errors import ResourceShortage


def refuse_forked() -> None:
    """To be called before kernels are run: GNU's OpenMP, which is not safe to fork (Numba, "The Threading Layers"), would end the process.

    Errors: ResourceShortage in a process that was forked from one that had run kernels already.
    """
    if _first_to_compute() != os.getpid():
        raise ResourceShortage(
            "this process was forked from one that has computed already, and its threads did not come with it",
            "a process of its own",
            "start workers by 'spawn' or 'forkserver' (multiprocessing.get_context), or with joblib, or before the first screening",
        )


@functools.cache
def _first_to_compute() -> int:
    return os.getpid()
