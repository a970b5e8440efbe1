"""Kernels of a screening compiled in a process of their own, while the first run on a machine is at its first steps.

numba compiles one kernel at a time in a process and keeps what it compiled on disk. Where one of the last step is not there,
a second process compiles the kernels of a screening from the last step to the first; the run finds them on disk when it gets there.
"""

from __future__ import annotations

import contextlib
import gc
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from numba.core import event

from tunnelsite.kernels.first_calls import compile_screening

_COMPILED = "numba:compile"


@contextlib.contextmanager
def compiled_beside(say: Callable[[str], None]) -> Iterator[None]:
    """While kernels are compiled in this block, others are in a process beside it; say(text) is called once, where one has to be."""
    listener = _FirstCompiled(say)
    if not _on_disk():
        listener.begin()  # before the run has imported what it needs
    event.register(_COMPILED, listener)
    try:
        yield
    finally:
        event.unregister(_COMPILED, listener)
        listener.end()


def _on_disk() -> bool:
    """Whether a kernel of the last step was ever compiled for this version of Python; it may be too old to be used."""
    from tunnelsite.kernels.terrain.lone_things import touched

    version = f"py{sys.version_info.major}{sys.version_info.minor}"
    return any(Path(touched.stats.cache_path).glob(f"lone_things.touched-*.{version}*.nbi"))


class _FirstCompiled(event.Listener):
    def __init__(self, say: Callable[[str], None]) -> None:
        self._say, self._beside, self._said = say, None, False

    def on_start(self, event: event.Event) -> None:
        if self._said:
            return
        self._said = True
        self._say("compiling kernels, on the first run only ...")
        self.begin()

    def begin(self) -> None:
        """Start the process, once."""
        if self._beside is not None or (os.cpu_count() or 1) < 2:
            return
        with contextlib.suppress(OSError):  # a run without it is slower, no more
            self._beside = subprocess.Popen(
                [sys.executable, "-P", "-m", "tunnelsite.kernels.first_run"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env=os.environ | {"NUMBA_NUM_THREADS": "1"},
            )

    def on_end(self, event: event.Event) -> None:
        """Nothing: the first one is enough."""

    def end(self) -> None:
        """End the process beside this one, whatever it is at: what it has compiled is whole on disk."""
        if self._beside is not None:
            self._beside.kill()
            self._beside.wait()


def _end_with_the_run() -> None:
    """Where the run is broken off, its end of the pipe closes."""
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    threading.Thread(target=_end_with_the_run, daemon=True).start()
    gc.set_threshold(100_000, 50, 100)  # a compiler keeps most of what it makes
    with contextlib.suppress(Exception):  # the run compiles what is missing, and says what is wrong
        compile_screening(from_the_start="--from-the-start" in sys.argv)
