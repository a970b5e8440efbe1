"""Runs the tasks of a region here or on Dask workers; whatever is finished is kept at once."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import InputRefused, TunnelsiteError, UsageError
from tunnelsite.core.process import Progress
from tunnelsite.io.staging import write_whole
from tunnelsite.region.inputs import TaskInputs, task_site
from tunnelsite.region.one_task import Wanted, screened_part
from tunnelsite.region.part import unpacked
from tunnelsite.region.tasks import Task
from tunnelsite.region.workers import own_workers, threads_of_each
from tunnelsite.settings import Settings

AHEAD = 3  # tasks a worker that are handed over before it asks: it never waits, and little is lost when it dies


@dataclass(frozen=True)
class Crew:
    """Who does the work.

    Attributes: workers, processes of a cluster of our own, 0 = this process; scheduler, address of an existing one or None.
    """

    workers: int
    scheduler: str | None = None


@dataclass(frozen=True)
class Failure:
    """A task that came to nothing: the reason, in words, and the exit status it would have had alone."""

    reason: str
    status: int


def run_task(inputs: TaskInputs, settings: Settings, key: str, wanted: Wanted, threads: int) -> bytes:
    """One task on whatever machine this is: the bytes of its part. Errors: as `screening.screen`."""
    import numba

    numba.set_num_threads(max(1, min(threads, numba.config.NUMBA_NUM_THREADS)))
    return screened_part(task_site(inputs, settings), settings, key, wanted)


def part_path(folder: Path, task: Task) -> Path:
    """Where a task's part lies."""
    return folder / f"{task.key[:32]}.json.gz"


def finished(folder: Path, task: Task) -> bool:
    """Whether the whole part of just this task is there; what is not whole is done again."""
    try:
        unpacked(part_path(folder, task).read_bytes(), task.key)
    except (OSError, InputRefused):
        return False
    return True


def run_tasks(
    tasks: Sequence[Task],
    inputs_of: Callable[[Task], TaskInputs],
    call: tuple[Settings, Wanted],
    crew: Crew,
    folder: Path,
    progress: Progress,
) -> dict[int, Failure]:
    """Run every task whose part is not in the folder yet.

    Arguments: tasks; inputs_of, what a task is given; call = (settings, what is wanted); crew; folder of the parts; progress.
    Return: the failures by task number. Errors: UsageError where Dask is missing or no scheduler answers; OutputFailed.
    """
    todo = [task for task in tasks if not finished(folder, task)]
    failures: dict[int, Failure] = {}
    progress("parcels", (len(tasks) - len(todo)) / max(len(tasks), 1))
    with _outcomes(todo, inputs_of, call, crew) as outcomes:
        for done, (task, outcome) in enumerate(outcomes, len(tasks) - len(todo) + 1):
            if isinstance(outcome, bytes):
                write_whole(part_path(folder, task), outcome, overwrite=True)
            else:
                failures[task.number] = _failure(outcome)
            progress("parcels", done / len(tasks))
    return failures


def _failure(problem: BaseException) -> Failure:
    if isinstance(problem, TunnelsiteError):
        return Failure(str(problem), problem.exit_status)
    if isinstance(problem, MemoryError) or _killed(problem):
        return Failure("the memory of a worker ran out, or it was killed", 4)
    return Failure(f"unexpected: {type(problem).__name__}: {problem}"[:500], 1)


@contextlib.contextmanager
def _outcomes(todo, inputs_of, call, crew: Crew) -> Iterator[Iterator[tuple[Task, Any]]]:
    if not todo:
        yield iter(())
    elif crew.workers == 0 and crew.scheduler is None:
        yield _here(todo, inputs_of, call)
    else:
        with _client(crew, len(todo)) as (client, threads):
            yield _there(todo, inputs_of, (*call, threads), client)


def _here(todo, inputs_of, call) -> Iterator[tuple[Task, Any]]:
    for task in todo:
        try:
            yield task, run_task(inputs_of(task), call[0], task.key, call[1], os.cpu_count() or 1)
        except Exception as problem:  # one farm's trouble is not the region's: told in the parcels layer
            yield task, problem


def _there(todo, inputs_of, call, client) -> Iterator[tuple[Task, Any]]:
    """Outcomes as they come. Few tasks are in flight, so that the memory here does not grow with the region."""
    from distributed import as_completed

    settings, wanted, threads = call
    waiting: dict[str, Task] = {}
    left = iter(todo)

    def submitted(task: Task):
        try:
            inputs = inputs_of(task)
        except TunnelsiteError as problem:
            return client.submit(_raised, problem, key=f"{task.key}-refused", pure=False)
        return client.submit(run_task, inputs, settings, task.key, wanted, threads, key=task.key, pure=False)

    queue = as_completed(loop=client.loop)
    workers = max(len(client.ncores()), 1)
    suspects: list[Task] = []
    for task in _first(left, AHEAD * workers):
        future = submitted(task)
        waiting[future.key] = task
        queue.add(future)
    for future in queue:
        task = waiting.pop(future.key)
        problem = future.exception()
        outcome = future.result() if problem is None else problem
        future.release()
        for more in _first(left, 1):
            new = submitted(more)
            waiting[new.key] = more
            queue.add(new)
        if _killed(outcome):
            suspects.append(task)
        else:
            yield task, outcome
    for task in suspects:  # all that waited at a worker that died are blamed for it: alone, each answers for itself
        again = (inputs_of(task), settings, task.key, wanted, threads)
        future = client.submit(run_task, *again, key=f"{task.key}-alone", pure=False)
        problem = future.exception()
        yield task, future.result() if problem is None else problem
        future.release()


def _killed(outcome: Any) -> bool:
    return type(outcome).__name__ == "KilledWorker"  # by name: Dask is not imported where it is not used


def _first(left: Iterator[Task], count: int) -> list[Task]:
    return [task for _, task in zip(range(count), left, strict=False)]


def _raised(problem: Exception) -> None:
    raise problem


@contextlib.contextmanager
def _client(crew: Crew, count: int):
    """(client, threads a task may use) of an existing scheduler or of a cluster of this run alone, on this machine only."""
    try:
        import distributed
    except ImportError:
        raise UsageError(
            "Dask is not installed", "the extra `region`", "install tunnelsite[region], or say --workers 0"
        ) from None
    if crew.scheduler is None:
        workers = min(crew.workers, count)
        with own_workers(workers) as client:
            yield client, threads_of_each(workers)
        return
    try:
        client = distributed.Client(crew.scheduler, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as problem:
        raise UsageError(
            f"no scheduler answers at {crew.scheduler} ({problem})", "the address of a running one", "correct it"
        ) from None
    with client:
        yield client, 1
