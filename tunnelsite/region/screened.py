"""A whole region: planned, run, put together."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from tunnelsite.core import catalogue
from tunnelsite.core.errors import InputRefused, ResourceShortage, TunnelsiteError
from tunnelsite.core.grid import horizontal
from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.notebook import MOST_ROWS, notebook_frames
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.table import Table
from tunnelsite.io.read.files import layer_of
from tunnelsite.io.read.site_features import OPTIONAL
from tunnelsite.io.write.drained_tiles import DrainedTiles
from tunnelsite.plans.run_table import region_run_table
from tunnelsite.region.drainage import FORMAT, is_small, tile_count
from tunnelsite.region.groups import groups_table
from tunnelsite.region.inputs import Region, TaskInputs, own_cell_m, task_inputs
from tunnelsite.region.merging import Done, merged_tables
from tunnelsite.region.one_task import TaskOutputs
from tunnelsite.region.part import unpacked
from tunnelsite.region.running import Failure, PartsFolder, part_path, run_tasks
from tunnelsite.region.suitability import BlockGrid, lattice, suitability_raster
from tunnelsite.region.tasks import RegionPlan, Squares, Task, all_smaller_tasks, smaller_tasks, tasks_of
from tunnelsite.region.whole_dem import drained_region, water_note
from tunnelsite.region.worker_pool import Hands, WorkerPool
from tunnelsite.screening.run_table import LIBRARIES, version_rows
from tunnelsite.settings.model import Settings, keep_out_parts, own_layer_parts
from tunnelsite.settings.paths import PATH_KEYS

if TYPE_CHECKING:
    import pandas

_BROKEN = (ArithmeticError, AttributeError, LookupError, OSError, TypeError, ValueError, shapely.errors.ShapelyError)
# What says where things lie and not what is asked.
NOT_ASKED = {*PATH_KEYS, "overwrite", "service", "layer", "keep_out", "top"}


@dataclass(frozen=True, repr=False)
class RegionResult:
    """A screened region.

    Attributes:
        layers: the layers and tables of its GeoPackage.
        suitability: the raster of the best score in each block, or None.
        manifest: inputs, settings, versions and the state of every task.
        failures: by task number.
        plan: how it was divided.
        settings: as of the screening of each task.
    """

    layers: list[Table]
    suitability: SourceRaster | None
    manifest: dict[str, Any]
    failures: Mapping[int, Failure]
    plan: RegionPlan
    settings: Settings

    def table(self, name: str) -> Table:
        """One layer, with its columns described."""
        return next(table for table in self.layers if table.name == name)

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """Every layer as a GeoDataFrame (`parcels`, `candidates`, `groups` ...), every table as a DataFrame (`tasks`, `run` ...)."""
        return frames_of(self.layers)

    @property
    def pictures(self) -> dict[str, str]:
        """SVG: `groups`, a map of the groups for each house size, where the parcels were grouped."""
        from tunnelsite.region.group_map import group_map

        column = self.manifest["settings"]["group_by"]
        return {} if column is None else {"groups": group_map(self.table("parcels"), self.table("groups"), column)}

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the GeoPackage and, beside it, what else there is of the region. Errors: OutputFailed; what was there stays whole."""
        from tunnelsite.region.saving import region_files, write_region

        write_region(self, region_files(Path(path), self.plan), overwrite=overwrite)
        return Path(path)

    def __repr__(self) -> str:
        parcels, candidates = len(self.table("parcels")), len(self.table("candidates"))
        return f"<RegionResult: {candidates:,} candidates on {parcels:,} parcels>"

    def _repr_html_(self) -> str:
        return notebook_frames(repr(self), first_places(self.table("candidates")))


def first_places(candidates: Table) -> dict[str, pandas.DataFrame]:
    """The first rows of a region's candidates, for a notebook."""
    from tunnelsite.plans.plan import data_frame

    return {"first candidates": data_frame(candidates.first(MOST_ROWS))}


def frames_of(layers: Sequence[Table]) -> dict[str, pandas.DataFrame]:
    """Tables by name: a GeoDataFrame each where there are places, else a DataFrame."""
    from tunnelsite.plans.plan import data_frame
    from tunnelsite.screening.result import frame_of

    return {one.name: data_frame(one) if one.geometry is None else frame_of(one) for one in layers}


def planned(region: Region, settings: Settings, plan: RegionPlan) -> tuple[list[Task], BlockGrid | None]:
    """The tasks of a region and the blocks of its suitability raster. Errors: ResourceShortage."""
    crs = region.dem.whole.crs
    blocks = None if plan.suitability_m is None else lattice(region.parcels, crs, plan.suitability_m)
    basis = _basis(region, settings, plan, blocks)
    cell_m = settings.cell_m or min(map(own_cell_m, region.lands))
    squares = Squares(plan.group_size_m, settings.halo_m, cell_m)
    return tasks_of(region.parcels, region.names, squares, basis, region.land_of), blocks


def _basis(region: Region, settings: Settings, plan: RegionPlan, blocks: BlockGrid | None) -> dict[str, Any]:
    asked = settings.model_dump(mode="json", exclude=NOT_ASKED)
    keep_outs = [item.distance_m for item in region.keep_outs]
    return {
        "settings": asked, "inputs": region.by_role, "layers": _layers(settings), "keep_outs": keep_outs,
        "plug_ins": catalogue.plug_in_versions(),
        "top": plan.top,
        "blocks": None if blocks is None else [blocks.crs_wkt, blocks.block_m],
        "drainage": FORMAT if plan.drainage == "all" else "halo",
        "versions": [[row["name"], row["value"]] for row in version_rows() if row["name"] in LIBRARIES],
        "crs": horizontal(region.parcels.crs).to_wkt(),
        "places": [[item.whole.crs.to_wkt(), item.whole.affine] for item in region.rasters],
    }  # fmt: skip


def _layers(settings: Settings) -> dict[str, Any]:
    """Which layer of each file is read, where one was named: a digest is of the whole file."""
    single = {name: layer_of(getattr(settings, name))[1] for name in OPTIONAL if getattr(settings, name) is not None}
    services = {name: layer_of(text)[1] for name, text in settings.service.items()}
    services |= {f"layer {name}": layer_of(own_layer_parts(text)[0])[1] for name, text in settings.layer.items()}
    return {**single, "service": services, "keep_out": [layer_of(keep_out_parts(x)[0])[1] for x in settings.keep_out]}


def screened_region(
    region: Region,
    settings: Settings,
    plan: RegionPlan,
    pool: WorkerPool,
    kept: PartsFolder,
    progress: Progress = silent,
) -> RegionResult:
    """Screen every parcel of a region.

    Arguments: region, from `read_region`; settings, as of a screening; plan; pool; kept, with an existing folder for the parts:
    whatever is whole in it already is not done again; progress.
    Errors: that of the first task where every one fails; else as `run_tasks` and `whole_dem.drained_region`.
    """
    tasks, blocks = planned(region, settings, plan)
    wanted = TaskOutputs(plan.top, blocks, kept.folder if kept.runs else None)
    basis = _basis(region, settings, plan, blocks)
    if kept.partitions is not None:
        kept.partitions.begin([*tasks, *all_smaller_tasks(region.parcels, region.names, tasks, basis)])
    lands, land_of = region.lands, region.land_of
    shapes = [land.dem.whole.shape for land in lands]
    tiles = max(1 if is_small(shape) else tile_count(shape) for shape in shapes)
    with Hands(pool, max(len(tasks), tiles)) as hands:
        water: dict[int, DrainedTiles] = {}
        for number, land in enumerate(lands):
            mine = [task for task in tasks if land_of[task.parcels[0]] == number]
            if mine and plan.drainage == "all" and not all(map(kept.finished, mine)):
                water[number] = drained_region(land, settings, mine, kept.folder, hands, progress)

        def run(some: list[Task]) -> dict[int, Failure]:
            def inputs_of(task: Task) -> TaskInputs:
                number = int(land_of[task.parcels[0]])
                return task_inputs(lands[number], task.parcels, settings, water.get(number))

            return run_tasks(some, inputs_of, (settings, wanted), hands, kept, progress)

        done = Done(list(tasks), run(tasks), [])
        while split := done.to_split():
            smaller = smaller_tasks(region.parcels, region.names, split, basis, len(done.tasks))
            done = Done([*done.tasks, *smaller], {**done.failures, **run(smaller)}, [*done.split, *split])
    if kept.partitions is not None:
        kept.partitions.end(task for task in done.last() if task.number not in done.failures)
    return _put_together(region, settings, Division(plan, blocks), done, kept.folder, progress)


@dataclass(frozen=True)
class Division:
    """How a region was divided: its plan, and the blocks of the suitability raster, None without one."""

    plan: RegionPlan
    blocks: BlockGrid | None


def _put_together(
    region: Region, settings: Settings, division: Division, done: Done, folder: Path, progress: Progress
) -> RegionResult:
    """The result from the parts. Errors: that of the first task where every one failed."""
    plan, blocks = division.plan, division.blocks
    last = done.last()
    if all(task.number in done.failures for task in last):
        raise _as_error(done.failures[last[0].number], len(last))

    def parts() -> Iterator[tuple[Task, dict[str, Any] | None]]:
        for task in done.tasks:
            failed = task.number in done.failures
            yield task, None if failed else unpacked(part_path(folder, task).read_bytes(), task.key)

    progress("putting together", 0.0)
    raster = None
    try:
        tables = merged_tables(parts(), done, region.parcels, region.names, [one.name for one in settings.houses])
        if blocks is not None:
            raster = suitability_raster((part for _, part in parts() if part is not None), blocks, region.parcels)
    except _BROKEN as problem:  # a part that was changed by hand may raise anything in what reads it
        raise InputRefused(
            f"a part in {folder} is not as this program wrote it ({type(problem).__name__})",
            "the finished tasks of this region",
            "delete that folder and run again",
        ) from None
    if plan.group_by is not None:
        tables.append(groups_table(tables[3], plan.group_by, [one.name for one in settings.houses]))
    notes = [text for row in tables[5].rows for text in str(row.get("notes") or "").splitlines() if text]
    doubts = [text for text in notes if text.startswith("DOUBT: ")]
    water = dict.fromkeys(water_note(land.dem, plan.drainage, settings.halo_m) for land in region.lands)
    told = [*doubts, *systems_note(region), *water, *notes]
    tables.append(region_run_table(region.digests, settings, _plan_record(plan), told))
    return RegionResult(tables, raster, _manifest(region, settings, plan, done), done.failures, plan, settings)


def systems_note(region: Region) -> list[str]:
    """The note on tiles in several coordinate systems; none where there is one."""
    if not region.others:
        return []
    names = ", ".join(land.dem.whole.crs.name for land in region.lands)
    return [
        f"tiles of the DEM have {len(region.lands)} coordinate systems ({names}): each parcel was screened on those of the system "
        "that knows most of it, with heights interpolated from the others beyond their edge; there water is known no farther than the halo"
    ]


def _as_error(failure: Failure, count: int) -> TunnelsiteError:
    kind = ResourceShortage if failure.status == 4 else InputRefused
    return kind(
        f"every one of the {count} tasks failed, the first with: {failure.reason}", "at least one that can be screened"
    )


def _plan_record(plan: RegionPlan) -> dict[str, Any]:
    return {
        "group_size_m": plan.group_size_m,
        "top": plan.top,
        "suitability_m": plan.suitability_m,
        "drainage": plan.drainage,
        "group_by": plan.group_by,
    }


def _manifest(region: Region, settings: Settings, plan: RegionPlan, done: Done) -> dict[str, Any]:
    """What is needed to repeat the run and to see what came of each task; nothing in it depends on when or where it ran."""
    asked = settings.model_dump(mode="json", exclude=NOT_ASKED)
    return {
        "program": "tunnelsite region",
        "versions": {row["name"]: row["value"] for row in version_rows()},
        "inputs": [{"name": name, "sha256": digest} for name, digest in region.digests],
        "settings": json.loads(json.dumps(asked | _plan_record(plan))),
        "seeds": [],  # nothing is drawn at random
        "tasks": [
            {
                "task": task.number,
                "key": task.key,
                "parcels": [region.names[k] for k in task.parcels],
                "state": done.state(task),
                **({"reason": done.failures[task.number].reason} if task.number in done.failures else {}),
            }
            for task in done.tasks
        ],
    }
