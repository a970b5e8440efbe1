"""A kept region with other weights, curves or limits; no terrain is computed again."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.notebook import notebook_frames
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.table import Table
from tunnelsite.region.kept_region import KeptRegion
from tunnelsite.region.merging import Done, merged_tables
from tunnelsite.region.one_task import TaskOutputs, part_of
from tunnelsite.region.part import unpacked
from tunnelsite.region.screened import first_places, frames_of
from tunnelsite.region.tasks import Task
from tunnelsite.region.worker_pool import WorkerPool
from tunnelsite.screening.kept_run import of_kept_run
from tunnelsite.screening.loose_run import as_asked
from tunnelsite.screening.result import Result

if TYPE_CHECKING:
    import pandas

STATEMENT = "Ranking of a region by tunnelsite from measures that were kept, with other weights, curves or limits; see the run table."


@dataclass(frozen=True)
class Changes:
    """What is asked of a new ranking: `weights` by criterion id; `rubrics`, changes of full_at, none_at, limit or weight by criterion id;
    `top`, candidates a parcel, None = as before."""

    weights: Mapping[str, float]
    rubrics: Mapping[str, Mapping[str, Any]]
    top: int | None = None


@dataclass(frozen=True, repr=False)
class RescoredRegion:
    """A region ranked again.

    Attributes:
        region: as it was kept.
        layers: its new layers and tables.
    """

    region: KeptRegion
    layers: list[Table]

    def table(self, name: str) -> Table:
        """One layer, with its columns described."""
        return next(table for table in self.layers if table.name == name)

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """Every layer as a GeoDataFrame, every table as a DataFrame."""
        return frames_of(self.layers)

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the GeoPackage of the region. Errors: OutputFailed; what was there before stays whole."""
        from tunnelsite.io.write.plan_files import write_plan
        from tunnelsite.region.saving import region_styles

        write_plan(
            path, self.layers, crs=self.region.crs, statement=STATEMENT, sources=self.region.sources,
            styles=region_styles(self.layers), overwrite=overwrite,
        )  # fmt: skip
        return Path(path)

    def __repr__(self) -> str:
        return f"<RescoredRegion: {len(self.table('candidates').rows):,} candidates on {len(self.table('parcels').rows):,} parcels>"

    def _repr_html_(self) -> str:
        return notebook_frames(repr(self), first_places(self.table("candidates")))


def rescore_region(
    region: KeptRegion,
    weights: Mapping[str, float] | None = None,
    rubrics: Mapping[str, Mapping[str, Any]] | None = None,
    top: int | None = None,
    *,
    workers: int | WorkerPool = 0,
    progress: Progress = silent,
) -> RescoredRegion:
    """Rank every parcel of a kept region again with other weights, curves or limits.

    Args:
        region: from `kept_region`.
        weights: by criterion id.
        rubrics: changes by criterion id: full_at, none_at, limit, weight.
        top: candidates a parcel; None = as before.
        workers: processes that work at the same time, 0 = this one; or a `WorkerPool`.
        progress: called with (what is being done, share done 0..1).

    Returns:
        RescoredRegion, as a screening with these settings would have given it.

    Raises:
        UsageError: for unknown names, or a limit more than a quarter looser than it was.
        InputRefused: for a run that is damaged.
    """
    changes = Changes(dict(weights or {}), {name: dict(values) for name, values in (rubrics or {}).items()}, top)
    wanted = TaskOutputs(region.top if top is None else top)

    def more(task: Task) -> tuple[Any, ...]:
        return dict(region.limits), changes, task.key, wanted

    pool = workers if isinstance(workers, WorkerPool) else WorkerPool(workers)
    found = region.outcomes(task_rescored, more, pool, progress)
    tasks = sorted([*region.tasks, *region.others], key=lambda task: task.number)
    parts = ((task, unpacked(found[task.number], task.key) if task.number in found else None) for task in tasks)
    done = Done(tasks, region.failures)
    tables = merged_tables(parts, done, region.features, region.names, region.houses)
    run = region.run.with_rows([*region.run.rows, *_change_rows(changes)])
    return RescoredRegion(region, [*tables, run])


def task_rescored(
    path: Path, limits: Mapping[str, float | None], changes: Changes, key: str, wanted: TaskOutputs
) -> bytes:
    """The part of one task, ranked again. Arguments: path of its kept run; limits as asked; changes; key of the task; wanted."""

    def part(run: Result) -> bytes:
        return part_of(as_asked(run, limits, changes.weights, changes.rubrics), key, wanted)

    return of_kept_run(path, part)


def _change_rows(changes: Changes) -> list[dict[str, str]]:
    told = {f"weight.{name}": value for name, value in changes.weights.items()}
    told |= {
        f"rubric.{name}.{part}": value for name, values in changes.rubrics.items() for part, value in values.items()
    }
    if changes.top is not None:
        told["top"] = changes.top
    return [{"kind": "ranked again", "name": name, "value": f"{value}"} for name, value in told.items()]
