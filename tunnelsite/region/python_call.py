"""A region from Python: one call from the files to the layers."""

from __future__ import annotations

import os
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.core.process import Progress, silent
from tunnelsite.io.write.outputs import output_folder
from tunnelsite.region.groups import check_group_column
from tunnelsite.region.inputs import read_region
from tunnelsite.region.running import PartsFolder
from tunnelsite.region.screened import RegionResult, screened_region
from tunnelsite.region.tasks import RegionPlan
from tunnelsite.region.worker_pool import WorkerPool
from tunnelsite.settings.model import Settings


def screen_region(
    settings: Settings,
    parts: str | os.PathLike[str],
    plan: RegionPlan | None = None,
    workers: int | WorkerPool = 0,
    progress: Progress = silent,
) -> RegionResult:
    """Screen every parcel of a region, task by task; what is finished is kept, and the same call goes on from there.

    Args:
        settings: with `dem` (a raster or a folder of tiles) and `parcels`, and everything else as for `screen`.
        parts: folder for what is finished; made where it does not exist.
        plan: how the region is divided, grouped and kept; None = `RegionPlan()`.
        workers: processes that work at the same time, 0 = this one, without Dask; or a `WorkerPool`.
        progress: called with (what is being done, share done 0..1).

    Returns:
        RegionResult.

    Raises:
        InputRefused: for files that cannot be used, or where every task fails.
        UsageError: for settings that cannot be, or where Dask is missing.
        OutputFailed: where the folder cannot be written to.
    """
    if settings.dem is None or settings.parcels is None:
        raise UsageError("settings without dem or parcels", "both", "Settings(dem=..., parcels=...)")
    plan = plan or RegionPlan()
    region = read_region(settings)
    if plan.group_by is not None:
        check_group_column(list(region.parcels.columns), plan.group_by)
    folder = Path(parts)
    pool = workers if isinstance(workers, WorkerPool) else WorkerPool(workers)
    with output_folder(folder, "a folder for finished tasks"):
        return screened_region(region, settings, plan, pool, PartsFolder(folder, None, plan.keep), progress)
