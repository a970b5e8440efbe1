"""Who does the work of a region: this process, Dask workers of its own, or those of a scheduler that is running."""

from __future__ import annotations

import asyncio
import contextlib
import importlib.util
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.region.workers import own_workers, threads_of_each
from tunnelsite.screening.run_table import LIBRARIES, version_rows

if TYPE_CHECKING:
    from dask.typing import Key
    from distributed import Client, Future

AHEAD = 3  # jobs a worker that are handed over before it asks: it never waits, and little is lost when it dies
ANSWER_S = 10.0  # a scheduler that is running answers at once
WORKERS_S = 30.0  # and has workers, or gets them soon


@dataclass(frozen=True)
class WorkerPool:
    """Who does the work.

    Attributes: workers, processes of a cluster of our own, 0 = this process; scheduler, address of an existing one or None.
    """

    workers: int
    scheduler: str | None = None


@dataclass(frozen=True)
class RemoteCall:
    """A function to be called on whatever machine there is: key, one of a kind; arguments, made when it is the job's turn."""

    key: str
    function: Callable[..., Any]
    arguments: Callable[[], tuple[Any, ...]]


class Hands:
    """A pool at work. Workers are started when there is something to do, and go when the `with` block ends.

    Arguments: pool; most, jobs that there can be at a time, so that no more workers are started.
    """

    def __init__(self, pool: WorkerPool, most: int) -> None:
        self._pool, self._most = pool, most
        self._stack = contextlib.ExitStack()
        self._client: Client | None = None
        self._threads = os.cpu_count() or 1

    def __enter__(self) -> Hands:
        return self

    def __exit__(self, *problem: Any) -> None:
        self._stack.__exit__(*problem)

    def outcomes(self, jobs: Sequence[RemoteCall]) -> Iterator[tuple[RemoteCall, Any]]:
        """Every job with what it returned, or the exception it ended with, as they come.

        Errors: UsageError where Dask is missing, or no scheduler answers, or its workers cannot do it.
        """
        if not jobs:
            return iter(())
        if self._pool.workers == 0 and self._pool.scheduler is None:
            return _here(jobs, self._threads)
        if self._client is None:
            self._client, self._threads = self._stack.enter_context(_client(self._pool, self._most))
        return _there(jobs, self._client, self._threads)


def killed(outcome: Any) -> bool:
    """Whether a job ended because its worker did."""
    return type(outcome).__name__ == "KilledWorker"  # by name: Dask is not imported where it is not used


def _called(function: Callable[..., Any], threads: int, arguments: tuple[Any, ...]) -> Any:
    import numba

    most: int = numba.config.NUMBA_NUM_THREADS  # set while numba is imported
    numba.set_num_threads(max(1, min(threads, most)))
    return function(*arguments)


def _here(jobs: Sequence[RemoteCall], threads: int) -> Iterator[tuple[RemoteCall, Any]]:
    for job in jobs:
        try:
            yield job, _called(job.function, threads, job.arguments())
        except Exception as problem:  # one job's trouble is not the others'
            yield job, problem


def _there(jobs: Sequence[RemoteCall], client: Client, threads: int) -> Iterator[tuple[RemoteCall, Any]]:
    """Outcomes as they come. Few jobs are in flight, so that the memory here does not grow with the region."""
    from distributed import as_completed

    waiting: dict[Key, RemoteCall] = {}
    left = iter(jobs)

    def submitted(job: RemoteCall, name: str) -> Future[Any]:
        try:
            arguments = job.arguments()
        except TunnelsiteError as problem:
            return client.submit(_raised, problem, key=f"{name}-refused", pure=False)
        return client.submit(_called, job.function, threads, arguments, key=name, pure=False)

    queue = as_completed(loop=client.loop)
    suspects: list[RemoteCall] = []

    def hand_over(count: int) -> None:
        for job in _first(left, count):
            future = submitted(job, job.key)
            waiting[future.key] = job
            queue.add(future)

    hand_over(AHEAD * max(len(client.ncores()), 1))
    for future in queue:
        job = waiting.pop(future.key)
        outcome = _outcome(future)
        hand_over(1)
        if killed(outcome):
            suspects.append(job)
        else:
            yield job, outcome
    for job in suspects:  # all that waited at a worker that died are blamed for it: alone, each answers for itself
        yield job, _outcome(submitted(job, f"{job.key}-alone"))


def _outcome(future: Future[Any]) -> Any:
    problem = future.exception()
    outcome = future.result() if problem is None else problem
    future.release()
    return outcome


def _first(left: Iterator[RemoteCall], count: int) -> list[RemoteCall]:
    return [job for _, job in zip(range(count), left, strict=False)]


def _raised(problem: Exception) -> None:
    raise problem


@contextlib.contextmanager
def _client(pool: WorkerPool, count: int) -> Iterator[tuple[Client, int]]:
    """(client, threads a job may use) of an existing scheduler or of a cluster of this run alone, on this machine only."""
    _require_dask()
    if pool.scheduler is not None:
        with _found(pool.scheduler) as client:
            yield client, 1
        return
    workers = min(pool.workers, count)
    with own_workers(workers) as client:
        yield client, threads_of_each(workers)


@contextlib.contextmanager
def _found(address: str) -> Iterator[Client]:
    """The client of a scheduler that is running, whose workers are of the same version as this program. Errors: UsageError."""
    from distributed import Client

    check_scheduler(address)
    try:
        client = Client(address, timeout=f"{ANSWER_S:g}s", set_as_default=False)
    except Exception as problem:
        raise _no_answer(address, problem) from None
    with client:
        _check_workers(client, address)
        yield client


def check_scheduler(address: str) -> None:
    """Errors: UsageError where Dask is missing, or no scheduler answers at an address within `ANSWER_S` seconds."""
    _require_dask()
    try:
        asyncio.run(asyncio.wait_for(_greeted(address), ANSWER_S))
    except Exception as problem:  # what listens there may be anything, and answer anything
        raise _no_answer(address, problem) from None


def _no_answer(address: str, problem: Exception) -> UsageError:
    reason = " ".join(str(problem).split()) or "no answer"
    return UsageError(
        f"--scheduler: none answers at {address!r} within {ANSWER_S:g} s ({reason})"[:400],
        "the address of a Dask scheduler that is running, such as tcp://host:8786",
        "correct it, start the scheduler, or use --workers",
    )


def _require_dask() -> None:
    if importlib.util.find_spec("distributed") is None:
        raise UsageError(
            "Dask is not installed", "the extra `region`", "pip install dask distributed pyarrow, or say --workers 0"
        )


async def _greeted(address: str) -> None:
    """Ask who is there: a client would wait for ever for something that listens and does not answer."""
    from distributed.core import rpc
    from distributed.security import Security

    arguments = Security().get_connection_args("client")
    async with rpc(address, timeout=ANSWER_S, connection_args=arguments) as there:
        found = await there.identity()
    if found["type"] != "Scheduler":
        raise ValueError(f"a {found['type'].lower()} answers, no scheduler")


def _check_workers(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WORKERS_S)
    except OSError:
        raise UsageError(
            f"--scheduler: the one at {address!r} has no worker after {WORKERS_S:g} s",
            "at least one worker",
            "start workers: dask worker ADDRESS --nthreads 1",
        ) from None
    own = own_versions()
    try:
        told = client.run(own_versions)
    except Exception as problem:  # whatever a worker without this program answers
        raise UsageError(
            f"--scheduler: a worker of {address!r} cannot run this program ({type(problem).__name__}: {problem})"[:400],
            "workers with the same version of tunnelsite and its libraries",
            "install it where the workers run",
        ) from None
    for worker, versions in told.items():
        other = [
            f"{name} {versions.get(name)} instead of {value}"
            for name, value in own.items()
            if versions.get(name) != value
        ]
        if other:
            raise UsageError(
                f"--scheduler: worker {worker} has {', '.join(other)}",
                "workers of the same version, or results would depend on who made them",
                "install the same versions everywhere",
            )


def own_versions() -> dict[str, str]:
    """What the results of a task depend on, by name: the versions of the program and its libraries here."""
    return {row["name"]: row["value"] for row in version_rows() if row["name"] in LIBRARIES}
