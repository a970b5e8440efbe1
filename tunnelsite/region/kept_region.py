"""A region that was screened with `--keep`: what its GeoPackage and the folder of its finished tasks hold."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused, TunnelsiteError
from tunnelsite.core.layers import Features
from tunnelsite.core.process import Progress
from tunnelsite.core.table import INTEGER, TEXT, Table
from tunnelsite.io.read.sites_file import digests_of
from tunnelsite.io.read.stored import read_layers
from tunnelsite.region.one_task import run_path
from tunnelsite.region.parcel_columns import SCREENED, parcel_columns
from tunnelsite.region.running import Failure
from tunnelsite.region.tasks import Task
from tunnelsite.region.worker_pool import Hands, RemoteCall, WorkerPool
from tunnelsite.settings.model import settings_from


@dataclass(frozen=True, repr=False)
class KeptRegion:
    """A region whose runs were kept.

    Attributes:
        path: its GeoPackage. folder: where the runs of its tasks lie.
        parcels: its layer `parcels`. run: its table `run`. limits: by criterion, the limit as asked.
        tasks: those that were screened; the parcels of each are rows of `parcels`. others: those that came to nothing, with their
            failures by number.
        houses: sizes as given. top: candidates a parcel.
    """

    path: Path
    folder: Path
    parcels: Table
    run: Table
    limits: Mapping[str, float | None]
    tasks: tuple[Task, ...]
    others: tuple[Task, ...]
    failures: Mapping[int, Failure]
    houses: tuple[str, ...]
    top: int

    def __repr__(self) -> str:
        return f"<KeptRegion: {self.path.name}, {len(self.parcels.rows):,} parcels in {len(self.tasks):,} tasks>"

    @property
    def crs(self) -> pyproj.CRS:
        """Of the parcels."""
        return self.parcels.system

    @property
    def names(self) -> list[str]:
        """Names of the parcels, by row."""
        return self.parcels.values("parcel")

    @property
    def sources(self) -> dict[str, str]:
        """SHA-256 of the inputs, by name."""
        return {name: sorted(found)[0] for name, found in digests_of(self.run.rows).items()}

    @property
    def doubts(self) -> list[str]:
        """What makes its heights doubtful, in words, as its tasks said."""
        return [row["value"] for row in self.run.rows if row["kind"] == "note" and row["value"].startswith("DOUBT: ")]

    @property
    def features(self) -> Features:
        """The parcels with the columns of their own file."""
        ours = parcel_columns(self.houses)
        own = {name: _typed(self.parcels, name) for name in self.parcels.columns if name not in ours}
        return Features(np.array(self.parcels.shapes, object), own, self.crs, self.path.name)

    def outcomes(
        self,
        function: Callable[..., Any],
        more: Callable[[Task], tuple[Any, ...]],
        pool: WorkerPool,
        progress: Progress,
    ) -> dict[int, Any]:
        """What a function makes of the kept run of every task, by task number.

        Arguments: function(path of the run, *more(task)); pool; progress. Errors: the first that one of them ends with.
        """

        def job(task: Task) -> RemoteCall:
            return RemoteCall(
                f"{task.key}-{function.__name__}", function, lambda: (run_path(self.folder, task.key), *more(task))
            )

        by_key = {job(task).key: task for task in self.tasks}
        found: dict[int, Any] = {}
        with Hands(pool, len(self.tasks)) as hands:
            for done, (one, outcome) in enumerate(hands.outcomes([job(task) for task in self.tasks]), 1):
                if isinstance(outcome, BaseException):
                    raise outcome if isinstance(outcome, TunnelsiteError) else _broken(by_key[one.key], outcome)
                found[by_key[one.key].number] = outcome
                progress("kept runs", done / len(self.tasks))
        return found


def kept_region(path: str | os.PathLike[str], parts: str | os.PathLike[str] | None = None) -> KeptRegion:
    """A region that was screened with its runs kept.

    Args:
        path: the GeoPackage of `tunnelsite region --keep`.
        parts: folder of the finished tasks; None = `NAME.parts` beside the GeoPackage.

    Returns:
        KeptRegion, for `sensitivity` and `rescore_region`.

    Raises:
        InputRefused: for another kind of file, or where a run is missing.
    """
    file = Path(path)
    folder = file.with_name(f"{file.stem}.parts") if parts is None else Path(parts)
    layers = read_layers(str(file))
    missing = [name for name in ("parcels", "tasks", "criteria", "run") if name not in layers.tables]
    if missing:
        raise InputRefused(
            f"{file.name} has no layer {missing[0]!r}",
            "the GeoPackage of `tunnelsite region --keep`, or the kept file of `tunnelsite screen --keep`",
            "name one of these",
        )
    try:
        return _kept(file, folder, layers.tables, layers.crs)
    except (AttributeError, KeyError, TypeError, ValueError) as problem:  # a file that another program changed
        raise InputRefused(
            f"{file.name} is not as a region was written ({type(problem).__name__}: {problem})",
            "the GeoPackage of `tunnelsite region --keep`",
            "screen the region again",
        ) from None


def _kept(file: Path, folder: Path, tables: Mapping[str, Table], crs: pyproj.CRS | None) -> KeptRegion:
    parcels, run = replace(tables["parcels"], name="parcels", crs=crs), replace(tables["run"], name="run")
    asked = {row["name"]: row["value"] for row in run.rows if row["kind"] == "setting"}
    settings = settings_from({"house": asked["house"].split("; ")})
    tasks: list[Task] = []
    failures: dict[int, Failure] = {}
    others: list[Task] = []
    rows = np.array(parcels.values("task"), np.int64)
    for row in tables["tasks"].rows:
        task = Task(int(row["task"]), np.flatnonzero(rows == int(row["task"])), str(row["key"]))
        if row["state"] == SCREENED:
            tasks.append(task)
        elif len(task.parcels):
            others.append(task)
            first = parcels.rows[task.parcels[0]]
            failures[task.number] = Failure(str(first["reason"]), 3, str(row["state"]))
    gone = [task for task in tasks if not run_path(folder, task.key).is_file()]
    if gone:
        raise InputRefused(
            f"the run of task {gone[0].number} of {file.name} ({len(gone):,} of {len(tasks):,} tasks) is not in {folder}",
            "a region that was screened with --keep, and its folder of finished tasks",
            "screen the region again with --keep, or name the folder with --parts",
        )
    limits = {str(row["criterion"]): row["limit_value"] for row in tables["criteria"].rows}
    houses = tuple(dict.fromkeys(one.name for one in settings.houses))
    return KeptRegion(
        file, folder, parcels, run, limits, tuple(tasks), tuple(others), failures, houses, int(asked["top"])
    )


def _typed(table: Table, name: str) -> np.ndarray:
    """The values of a column: numbers as numbers, NaN where a number is missing."""
    values, kind = table.values(name), table.columns[name].kind
    if kind == TEXT:
        return np.array(values, object)
    return np.array(values, np.int64 if kind == INTEGER and None not in values else np.float64)


def _broken(task: Task, problem: BaseException) -> InputRefused:
    return InputRefused(
        f"the kept run of task {task.number} cannot be used ({type(problem).__name__}: {problem})"[:400],
        "the runs as `tunnelsite region --keep` wrote them",
        "screen the region again with --keep",
    )
