"""`screen`, `demo` and `check`."""

from __future__ import annotations

import argparse
import os
import time
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.arguments import check_ending
from tunnelsite.hosts.inputs_named import inputs_named
from tunnelsite.hosts.options import project_values
from tunnelsite.hosts.progress import Progress
from tunnelsite.hosts.streams import answer, say

DEFAULT_OUT = "sites.gpkg"
MOST_REASONS = 40  # lines that a person still reads


def screen(given: argparse.Namespace) -> int:
    """Score every placement and write the ranking."""
    from tunnelsite.settings import settings_from

    values = project_values(given)
    settings = settings_from(values)
    progress = Progress(quiet=given.quiet)
    files = (_outputs(settings), inputs_named(given, values))
    if given.dry_run:
        return _dry_run(settings, files, as_json=given.json)
    return _screened(settings, progress, files, as_json=given.json, more=given.verbose)


def check(given: argparse.Namespace) -> int:
    """The dry run under its own name."""
    from tunnelsite.settings import settings_from

    values = project_values(given)
    settings = settings_from(values)
    return _dry_run(settings, (_outputs(settings), inputs_named(given, values)), as_json=given.json)


def demo(given: argparse.Namespace) -> int:
    """Screen the invented farm of sample_data."""
    from tunnelsite.project_file import project_settings
    from tunnelsite.settings import settings_from

    values, _ = project_settings(sample_data() / "farm.toml")
    values |= {"out": given.out, "overwrite": given.overwrite}
    settings = settings_from(values)
    files = (_outputs(settings), inputs_named(given, values))
    return _screened(settings, Progress(quiet=given.quiet), files, as_json=False, more=given.verbose)


def sample_data() -> Path:
    """The folder of the invented farm: beside the package in a checkout, inside it where it was installed."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "sample_data", package.parent / "sample_data"):
        if (folder / "farm.toml").is_file():
            return folder
    raise UsageError("the sample data is missing", "the folder sample_data", "install tunnelsite again")


def _outputs(settings) -> dict[str, Path]:
    """Every file a screening writes, by what it is. Errors: UsageError for a wrong ending or a folder that is none."""
    from tunnelsite.io.result_files import raster_files

    outputs = {"--out": Path(settings.out or DEFAULT_OUT)}
    if settings.keep is not None:
        outputs["--keep"] = Path(settings.keep)
    for option, ending in (("--out", ".gpkg"), ("--keep", ".npz")):
        if option in outputs:
            check_ending(option, outputs[option], ending)
    if settings.rasters is None:
        return outputs
    folder = Path(settings.rasters)
    there = next(place for place in (folder, *folder.absolute().parents) if os.path.lexists(place))
    if not there.is_dir():
        raise UsageError(
            f"--rasters is {folder}, but {there} is no folder", "a folder, new or old", "choose another name"
        )
    return outputs | raster_files(folder)


def _screened(settings, progress: Progress, files, *, as_json: bool, more: bool) -> int:
    from tunnelsite.io.outputs import output_folder, refuse_clashes, reserved_outputs

    outputs, inputs = files
    out, keep = outputs["--out"], outputs.get("--keep")
    rasters = None if settings.rasters is None else Path(settings.rasters)
    start = time.monotonic()
    refuse_clashes(outputs, inputs)  # before so much as a folder is made
    with output_folder(rasters), reserved_outputs(outputs, inputs, overwrite=settings.overwrite):
        from tunnelsite.io.site_reader import inputs_unchanged, site_from
        from tunnelsite.screening import screen as run

        progress("reading", 0.0)
        site = site_from(settings)
        progress("reading", 1.0)
        result = run(site, settings=settings, progress=progress)
        inputs_unchanged(site)
        progress("writing", 0.0)
        result.write(out, overwrite=settings.overwrite)
        if rasters is not None:
            from tunnelsite.io.result_files import write_rasters

            write_rasters(result, rasters, overwrite=settings.overwrite)
        if keep is not None:
            from tunnelsite.io.kept_run import keep_run

            keep_run(result, keep, overwrite=settings.overwrite)
        progress("writing", 1.0)
    summary = summary_of(result, out, time.monotonic() - start)
    answer(summary, lambda told: words_of(told, more), as_json=as_json)
    return 0


def summary_of(result, out: Path, seconds: float) -> dict[str, Any]:
    """What a program wants to know of a run."""
    from tunnelsite.run_table import DOUBT

    columns = result.tables["candidates"].columns
    table = result.tables["candidates"]
    values = {name: table.values(name) for name in columns}
    candidates = [{name: values[name][k] for name in columns} for k in range(len(table.rows))]
    rejections = result.tables["rejections"]
    told = (
        "parcel",
        "house",
        "bearing_deg",
        "rule",
        "tried",
        "rejected",
        "reason",
        "limit_value",
        "nearest_miss",
        "unit",
    )
    values = {name: rejections.values(name) for name in told}
    reasons = [{name: values[name][k] for name in told} for k in range(len(rejections.rows))]
    tried = sum(int(scan.ground.inside.sum()) for scan in result.scans)
    run = result.tables["run"]
    notes = [f"{row['name']}: {row['value']}" for row in run.rows if row["kind"] == "note" and row["name"] != DOUBT]
    return {
        "out": str(out),
        "doubts": result.doubts,
        "seconds": round(seconds, 2),
        "placements_tried": tried,
        "placements_scored": sum(len(scan.index) for scan in result.scans),
        "candidates": candidates,
        "rejections": reasons,
        "notes": notes,
        "cautions": [row["value"] for row in run.rows if row["kind"] == "caution"],
    }


def words_of(summary: dict[str, Any], more: bool) -> str:
    """The summary for people."""
    lines = [f"DOUBT: {text}" for text in summary["doubts"]]
    lines += [
        f"{summary['placements_tried']:,} placements tried, {summary['placements_scored']:,} passed every limit "
        f"({summary['seconds']:.1f} s)."
    ]
    if summary["candidates"]:
        lines += _ranking_words(summary["candidates"])
    if not summary["candidates"] or more:
        lines.append("Why placements were rejected, by parcel:" if more else "No placement passed. Why, by parcel:")
        lines += _rejection_words(summary["rejections"], more)
    if not summary["candidates"]:
        lines.append(
            "`tunnelsite explain --at LON LAT` tells every rule at one place; a project file may set other limits."
        )
    lines += [f"note: {text}" for text in summary["notes"]]
    lines.append(
        f"Written to {summary['out']}. This is a screening, not a survey: level the site in the field, have buried"
    )
    lines.append("utilities marked before digging, and ask the local authority; local codes rule (see the run table).")
    return "\n".join(lines)


def _ranking_words(candidates: list[dict[str, Any]]) -> list[str]:
    """A line for each candidate; the ridge's bearing where candidates differ in it."""
    turned = len({round(row["bearing_deg"], 1) for row in candidates}) > 1  # each place has its own, by a hair
    ridge = "  ridge" if turned else ""
    lines = [
        f"{'rank':>4} {'score':>6}  {'parcel':<20} {'house':<9}{ridge} {'lon':>11} {'lat':>10}  pitch % along/across   cut m3  sun"
    ]
    for row in candidates:
        sun = "   -" if row["beam_share"] is None else f"{row['beam_share']:4.2f}"
        ridge = f"  {row['bearing_deg']:5.1f}" if turned else ""
        pitch = f"{row['pitch_along_pct']:+.2f}/{row['pitch_across_pct']:+.2f}"
        lines.append(
            f"{row['rank']:>4} {row['score']:6.1f}  {row['parcel'][:20]:<20} {row['house']:<9}{ridge} {row['lon']:11.6f} "
            f"{row['lat']:10.6f}  {pitch:<20}  {row['cut_m3']:7.1f} {sun}"
        )
    return lines


def _rejection_words(rejections: list[dict[str, Any]], more: bool) -> list[str]:
    """What each rule rejected, with its limit and how near the nearest came; house and ridge where there are several."""
    several = len({(row["house"], row["bearing_deg"]) for row in rejections}) > 1
    found = [row for row in rejections if row["rejected"]]
    lines = []
    for row in found if more else found[:MOST_REASONS]:
        which = f", {row['house']} at {row['bearing_deg']:g} deg" if several else ""
        unit = "" if row["unit"] in (None, "1") else f" {row['unit']}"
        near = (
            ""
            if row["nearest_miss"] is None
            else f" (limit {row['limit_value']:,g}{unit}, nearest {row['nearest_miss']:,.4g}{unit})"
        )
        lines.append(
            f"  {row['parcel']}{which}: {row['rule']} rejected {row['rejected']:,} of {row['tried']:,}: {row['reason']}{near}"
        )
    if len(found) > len(lines):
        lines.append(f"  and {len(found) - len(lines):,} more: -v shows all, and the layer `rejections` holds them")
    return lines


def _dry_run(settings, files, *, as_json: bool) -> int:
    """Check everything, say what was assumed and what the run will cost; compute and write nothing."""
    from tunnelsite.cost import estimated, work_of
    from tunnelsite.io.outputs import refuse_clashes
    from tunnelsite.io.site_reader import site_from
    from tunnelsite.io.staging import check_output_path
    from tunnelsite.scan.data_checks import check_houses
    from tunnelsite.screening import judges_of

    outputs, inputs = files
    refuse_clashes(outputs, inputs)
    for path in outputs.values():
        if path.parent.exists() or not settings.rasters or path.parent != Path(settings.rasters):
            check_output_path(path, overwrite=settings.overwrite)
    site = site_from(settings)
    doubts = check_houses(site, settings.cell_m, settings.houses)
    judges = judges_of(site, settings, settings.kind)
    grid, work = work_of(site, settings, len(judges))
    cost = estimated(work)
    assumed = [f"{item.name}: {note}" for item in site.inputs for note in item.notes] + doubts
    plan = {
        "grid": {"rows": grid.rows, "cols": grid.cols, "cell_m": grid.cell_m},
        "bearings_deg": settings.bearings,
        "houses": [house.name for house in settings.houses],
        "criteria": [judge.id for judge in judges if judge.rubric.weight > 0],
        "limits": [judge.id for judge in judges if judge.rubric.limit is not None],
        "placements": cost.placements,
        "estimated_seconds": round(cost.seconds, 1),
        "estimated_seconds_range": [round(value, 1) for value in cost.seconds_range],
        "estimated_memory_bytes": cost.memory_bytes,
        "estimated_scratch_bytes": cost.scratch_bytes,
        "assumed": assumed,
    }
    if as_json:
        answer(plan, str, as_json=True)
        return 0
    say(
        f"grid: {grid.rows} x {grid.cols} cells of {grid.cell_m:g} m; ridge bearings {', '.join(f'{b:g}' for b in settings.bearings)}"
    )
    say(f"houses: {', '.join(plan['houses'])}; about {cost.placements:,} placements")
    say(f"criteria: {', '.join(plan['criteria'])}; limits on {', '.join(plan['limits'])}")
    low, high = cost.seconds_range
    say(
        f"cost: about {cost.seconds:.0f} s ({low:.0f} to {high:.0f} s; a minute more where the kernels are compiled for the first time), "
        f"{cost.memory_bytes / 1e9:.1f} GB of memory, {cost.scratch_bytes / 1e9:.1f} GB of scratch files"
    )
    say(*[f"assumed or found: {text}" for text in assumed] or ["nothing had to be assumed"])
    return 0
