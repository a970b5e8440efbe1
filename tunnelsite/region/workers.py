"""Dask workers of a run's own: processes on this machine, which end with the run however it ends."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterator
from multiprocessing import resource_tracker
from typing import TYPE_CHECKING

from tunnelsite.core.ending import taken_away
from tunnelsite.io.read.files import available_bytes
from tunnelsite.io.write.scratch import temporary_folder

if TYPE_CHECKING:
    from distributed import Client

GONE_S = 0.3  # how long the end of killed workers is waited for


@contextlib.contextmanager
def own_workers(count: int) -> Iterator[Client]:
    """A client of a new cluster. Arguments: count of workers. Errors: ImportError where Dask is missing."""
    import dask
    from distributed import Client, LocalCluster

    # a farm that kills its worker is told as such, not tried on the others
    quiet = {"distributed.scheduler.allowed-failures": 0, "distributed.logging.distributed": "critical"}
    wanted = {
        "n_workers": count,
        "threads_per_worker": 1,
        "memory_limit": int(0.9 * available_bytes() / count),
        "host": "127.0.0.1",
        "dashboard_address": "127.0.0.1:0",  # a free port: runs side by side do not meet; no pages are served there
        "scheduler_kwargs": {"dashboard": False},
        "silence_logs": 50,
        # passive: between two kernels a worker's threads leave their cores to the other workers
        "env": {"NUMBA_NUM_THREADS": str(threads_of_each(count)), "OMP_WAIT_POLICY": "PASSIVE"},
    }
    kill = _killer()
    _start_tracker()
    with (
        temporary_folder() as folder,
        dask.config.set(quiet | {"temporary-directory": folder}),
        taken_away(kill),
        _at_interrupt(kill),
    ):
        with _deaf():
            cluster = LocalCluster(**wanted)
        with cluster, Client(cluster, set_as_default=False) as client, _at_interrupt(kill):
            yield client


def threads_of_each(count: int) -> int:
    """How many threads each of so many workers may use."""
    return max(1, (os.cpu_count() or 1) // count)


def _killer() -> Callable[[], None]:
    others = set(multiprocessing.active_children())

    def kill() -> None:
        workers = set(multiprocessing.active_children()) - others
        for worker in workers:
            worker.kill()
        end = time.monotonic() + GONE_S
        for worker in workers:
            worker.join(max(0.0, end - time.monotonic()))

    return kill


@contextlib.contextmanager
def _at_interrupt(kill: Callable[[], None]) -> Iterator[None]:
    """Where the run is interrupted its workers are not asked to end: a kernel hears of nothing until it is done."""
    try:
        yield
    except KeyboardInterrupt:
        kill()
        raise


@contextlib.contextmanager
def _deaf() -> Iterator[None]:
    """What is started within does not hear the Ctrl-C of the terminal, which is for the run: it would end with a traceback."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _start_tracker() -> None:
    """The helper by which multiprocessing clears away what a run that was ended leaves; it would also warn of it."""
    before = os.environ.get("PYTHONWARNINGS")
    os.environ["PYTHONWARNINGS"] = "ignore"
    try:
        if os.name == "posix":
            resource_tracker.ensure_running()
    finally:
        if before is None:
            del os.environ["PYTHONWARNINGS"]
        else:
            os.environ["PYTHONWARNINGS"] = before
