"""`region`: many parcels, task by task, here or on Dask workers."""

from __future__ import annotations

import argparse
import importlib.util
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.counting import counted, time_words
from tunnelsite.core.ending import say_what_is_kept
from tunnelsite.core.errors import UsageError
from tunnelsite.core.shown import one_line
from tunnelsite.core.units import length_m, whole_number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.kept_regions import pool_of
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import again_path, project_values
from tunnelsite.hosts.cli.region_words import region_lines, region_summary
from tunnelsite.hosts.cli.streams import answer, say

if TYPE_CHECKING:
    from tunnelsite.region.inputs import Region
    from tunnelsite.region.partitions import Partitions
    from tunnelsite.region.screened import RegionResult
    from tunnelsite.region.tasks import RegionPlan
    from tunnelsite.settings.model import Settings

OWN = ("out", "top", "rasters", "keep", "overwrite")
MOST_NOTES = 10  # lines that a person still reads


def region(given: argparse.Namespace) -> int:
    """Screen every parcel of a region, keep what is finished, and put it together."""
    from tunnelsite.io.write.outputs import output_folder, refuse_clashes, reserved_outputs
    from tunnelsite.settings.model import settings_from

    values = project_values(given)
    if given.again is not None:
        _as_before(given)
    settings = settings_from({name: value for name, value in values.items() if name not in OWN})
    plan, pool = _plan(given), pool_of(given)
    outputs, parts = _outputs(given), _parts(given)
    inputs = inputs_named(given, values)
    refuse_clashes(outputs, inputs)
    progress = Progress(quiet=given.quiet)
    from tunnelsite.region.inputs import read_region

    if given.dry_run:
        found = read_region(settings)
        return _dry_run(given, found, settings, _as_spelt(plan, found))
    with reserved_outputs(outputs, inputs, overwrite=bool(given.overwrite)):
        from tunnelsite.region.running import PartsFolder
        from tunnelsite.region.saving import write_region
        from tunnelsite.region.screened import screened_region

        progress("reading", 0.0)
        found = read_region(settings)
        plan = _as_spelt(plan, found)
        progress("reading", 1.0)
        with output_folder(parts, "a folder for finished tasks"):
            say_what_is_kept(f"finished tasks are kept in {one_line(str(parts))}; the same command goes on from there")
            kept = PartsFolder(parts, _partitions(given, outputs, found, settings), plan.keep)
            result = screened_region(found, settings, plan, pool, kept, progress)
            progress("writing", 0.0)
            write_region(result, outputs, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    summary = _summary(result, outputs, parts)
    if given.again is None:
        answer(summary, _words, as_json=given.json)
        return 0
    from tunnelsite.decisions.repeated import repeated

    differs = repeated(given.again, outputs["--out"])
    summary["again"] = differs.summary
    answer(summary, lambda told: f"{_words(told)}\n{differs.words()}", as_json=given.json)
    return 0


def _as_before(given: argparse.Namespace) -> None:
    """Fills in what a region that is repeated was asked for, where the command line does not say it."""
    before = {row["name"]: row["value"] for row in given.origin.run if row["kind"] == "setting"}
    for option, stored, unit in (("top", "top", ""), ("drainage", "drainage", ""), ("group_by", "group_by", ""),
                                 ("group_size", "group_size_m", "m"), ("suitability", "suitability_m", "m")):  # fmt: skip
        if getattr(given, option) is None and stored in before:
            setattr(given, option, before[stored] + unit)
    given.out = given.out or again_path(given.again)


def _as_spelt(plan: RegionPlan, found: Region) -> RegionPlan:
    """The plan with the column of its groups as the parcels spell it. Errors: UsageError for one that they do not have."""
    from tunnelsite.region.groups import check_group_column

    if plan.group_by is None:
        return plan
    return replace(plan, group_by=check_group_column(list(found.parcels.columns), plan.group_by))


def _plan(given: argparse.Namespace) -> RegionPlan:
    from tunnelsite.region.tasks import RegionPlan

    size = None if given.group_size is None else length_m(given.group_size, "--group-size", most_m=20_000.0)
    blocks = (
        None if given.suitability is None else length_m(given.suitability, "--suitability", least_m=1.0, most_m=1e5)
    )
    top = 3 if given.top is None else whole_number(given.top, "--top", 1, 1000)
    return RegionPlan(size, top, blocks, given.drainage or "all", given.group_by, bool(given.keep_runs))


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    out = Path(given.out or "region.gpkg")
    check_ending("--out", out, ".gpkg")
    for option in ("parquet", "partitions"):
        if getattr(given, option) and importlib.util.find_spec("pyarrow") is None:
            raise UsageError(f"--{option}, but pyarrow is not installed", "the extra `parquet`", "install it")
    from tunnelsite.region.saving import region_files

    return region_files(out, _plan(given), parquet=bool(given.parquet))


def _partitions(
    given: argparse.Namespace, outputs: dict[str, Path], region: Region, settings: Settings
) -> Partitions | None:
    if not given.partitions:
        return None
    from tunnelsite.region.partitions import Partitions

    out = outputs["--out"]
    folder = out.with_name(f"{out.stem}-partitions")
    houses = [one.name for one in settings.houses]
    return Partitions(folder, region, houses, overwrite=bool(given.overwrite))


def _parts(given: argparse.Namespace) -> Path:
    out = Path(given.out or "region.gpkg")
    return out.with_name(f"{out.stem}.parts") if given.parts is None else Path(given.parts)


def _summary(result: RegionResult, outputs: dict[str, Path], parts: Path) -> dict[str, Any]:
    return {
        "written": {name: str(path) for name, path in outputs.items()},
        "parts": str(parts),
        **region_summary(result.table("parcels").rows, result.table("candidates").rows),
        "notes": [row["value"] for row in result.table("run").rows if row["kind"] == "note"],
    }


def _words(summary: dict[str, Any]) -> str:
    lines = region_lines(summary)
    lines += [f"note: {text}" for text in summary["notes"][:MOST_NOTES]]
    if len(summary["notes"]) > MOST_NOTES:
        lines.append(f"... and {len(summary['notes']) - MOST_NOTES} more, see the layer `run`")
    lines.append(f"Written to {', '.join(summary['written'].values())}. Finished tasks are kept in {summary['parts']}.")
    lines.append(
        "This is a screening, not a survey: level every site in the field; local codes rule (see the run table)."
    )
    return "\n".join(lines)


def _dry_run(given: argparse.Namespace, region: Region, settings: Settings, plan: RegionPlan) -> int:
    """What would be done and what it would cost; nothing is computed or written."""
    from tunnelsite.region.run_cost import whole_cost
    from tunnelsite.region.screened import planned

    tasks, _ = planned(region, settings, plan)
    cost = whole_cost(region, tasks, settings, plan)
    notes = [*region.dem.whole.notes, *region.parcels.notes]
    found = {"parcels": len(region.parcels), "tasks": len(tasks), **cost, "assumed": notes}
    if given.json:
        answer(found, str, as_json=True)
        return 0
    cells = f"cells of {cost['cell_m']:g} m"
    say(f"{counted(found['parcels'], 'parcel')} in {counted(found['tasks'], 'task')}; {cells}")
    say(
        f"about {time_words(3600 * cost['hours'])} of work on {counted(os.cpu_count() or 1, 'core')} "
        f"({time_words(cost['processor_seconds'])} of processor time, half to twice as much); the largest task takes about "
        f"{time_words(cost['largest_seconds'])} and {cost['largest_memory_bytes'] / 1e9:.1f} GB"
    )
    rows, cols = region.dem.whole.shape
    if plan.drainage == "all":
        say(
            f"of these, water is followed over all of the DEM ({rows:,} x {cols:,} cells) in about "
            f"{time_words(3600 * cost['drainage_hours'])}, with {cost['drainage_memory_bytes'] / 1e9:.2g} GB of memory and "
            f"{cost['drainage_disk_bytes'] / 1e9:.2g} GB of disk; --drainage halo leaves it out, and what comes "
            "from beyond a task's halo with it"
        )
    say(*[f"assumed or found: {text}" for text in notes] or ["nothing had to be assumed"])
    return 0
