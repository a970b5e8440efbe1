"""Runs the tasks of a region on a pool; whatever is finished is kept at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tunnelsite.core.errors import InputRefused, NoHeights, TunnelsiteError, UsageError
from tunnelsite.core.process import Progress
from tunnelsite.io.write.staging import write_whole
from tunnelsite.region.inputs import TaskInputs, task_site
from tunnelsite.region.one_task import TaskOutputs, run_path, screened_part
from tunnelsite.region.parcel_columns import FAILED, NO_DATA
from tunnelsite.region.part import unpacked
from tunnelsite.region.tasks import Task
from tunnelsite.region.worker_pool import Hands, RemoteCall, killed
from tunnelsite.settings.model import Settings

if TYPE_CHECKING:
    from tunnelsite.region.partitions import Partitions


@dataclass(frozen=True)
class Failure:
    """A task that came to nothing: the reason, in words, the exit status it would have had alone, and how its parcels are called."""

    reason: str
    status: int
    state: str = FAILED


def run_task(inputs: TaskInputs, settings: Settings, key: str, wanted: TaskOutputs) -> bytes:
    """One task on whatever machine this is: the bytes of its part. Errors: as `screening.screen`."""
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


@dataclass(frozen=True)
class PartsFolder:
    """Where what is finished goes: the folder of the parts, and partitions or None; runs, whether each task's run is kept there too."""

    folder: Path
    partitions: Partitions | None = None
    runs: bool = False

    def finished(self, task: Task) -> bool:
        """Whether all that is wanted of a task is there."""
        return finished(self.folder, task) and not (self.runs and not run_path(self.folder, task.key).is_file())

    def has(self, task: Task) -> bool:
        """Whether a task is done; its partitions are made anew from its part where they are missing."""
        if not self.finished(task):
            return False
        if self.partitions is not None and not self.partitions.has(task):
            self.partitions.write(task, unpacked(part_path(self.folder, task).read_bytes(), task.key))
        return True

    def keep(self, task: Task, data: bytes) -> None:
        """Write what a task found. Errors: OutputFailed."""
        write_whole(part_path(self.folder, task), data, overwrite=True)
        if self.partitions is not None:
            self.partitions.write(task, unpacked(data, task.key))


def run_tasks(
    tasks: Sequence[Task],
    inputs_of: Callable[[Task], TaskInputs],
    call: tuple[Settings, TaskOutputs],
    hands: Hands,
    kept: PartsFolder,
    progress: Progress,
) -> dict[int, Failure]:
    """Run every task whose part is not in the folder yet.

    Arguments: tasks; inputs_of, what a task is given; call = (settings, what is wanted); hands; kept, where; progress.
    Return: the failures by task number. Errors: UsageError where Dask is missing or no scheduler answers; OutputFailed.
    """

    def job(task: Task) -> RemoteCall:
        return RemoteCall(task.key, run_task, lambda: (inputs_of(task), call[0], task.key, call[1]))

    todo = {task.key: task for task in tasks if not kept.has(task)}
    failures: dict[int, Failure] = {}
    ready = len(tasks) - len(todo)
    progress("parcels", ready / max(len(tasks), 1))
    for done, (one, outcome) in enumerate(hands.outcomes([job(task) for task in todo.values()]), ready + 1):
        task = todo[one.key]
        if isinstance(outcome, bytes):
            kept.keep(task, outcome)
        else:
            failures[task.number] = _failure(outcome)
        progress("parcels", done / len(tasks))
    return failures


def may_be_one_parcel(task: Task, failure: Failure) -> bool:
    """Whether a task failed for what may lie in one of its parcels alone: not where it has one, nor for a wrong setting."""
    return len(task.parcels) > 1 and failure.status != UsageError.exit_status


def _failure(problem: BaseException) -> Failure:
    if isinstance(problem, NoHeights):
        return Failure(str(problem), problem.exit_status, NO_DATA)
    if isinstance(problem, TunnelsiteError):
        return Failure(str(problem), problem.exit_status)
    if isinstance(problem, MemoryError) or killed(problem):
        return Failure("the memory of a worker ran out, or it was killed", 4)
    return Failure(f"unexpected: {type(problem).__name__}: {problem}"[:500], 1)
