"""`screen`, `demo` and `check`."""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.dry_run import dry_run
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import project_values
from tunnelsite.hosts.cli.screening_words import words_of
from tunnelsite.hosts.cli.streams import answer
from tunnelsite.io.read.sample_data import sample_data

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result
    from tunnelsite.settings.model import Settings

DEFAULT_OUT = "sites.gpkg"
REASON = (
    "parcel", "house", "bearing_deg", "rule", "tried", "rejected", "reason", "limit_value", "nearest_miss", "unit",
)  # fmt: skip


def screen(given: argparse.Namespace) -> int:
    """Score every placement and write the ranking."""
    from tunnelsite.settings.model import settings_from

    values = project_values(given)
    settings = settings_from(values)
    progress = Progress(quiet=given.quiet)
    files = (_outputs(settings), inputs_named(given, values))
    if given.dry_run:
        return dry_run(settings, files, as_json=given.json)
    return _screened(settings, progress, files, as_json=given.json, more=given.verbose, then=given.again)


def check(given: argparse.Namespace) -> int:
    """The dry run under its own name."""
    from tunnelsite.settings.model import settings_from

    values = project_values(given)
    settings = settings_from(values)
    settings = settings.model_copy(update={"overwrite": True})  # an output from before is no obstacle: none is written
    return dry_run(settings, (_outputs(settings), inputs_named(given, values)), as_json=given.json)


def demo(given: argparse.Namespace) -> int:
    """Screen the invented farm of sample_data."""
    from tunnelsite.settings.model import settings_from
    from tunnelsite.settings.project_file import project_settings

    values, _ = project_settings(sample_data() / "farm.toml")
    values |= {"out": given.out, "overwrite": given.overwrite}
    settings = settings_from(values)
    files = (_outputs(settings), inputs_named(given, values))
    return _screened(settings, Progress(quiet=given.quiet), files, as_json=False, more=given.verbose)


def _outputs(settings: Settings) -> dict[str, Path]:
    """Every file a screening writes, by what it is. Errors: UsageError for a wrong ending or a folder that is none."""
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
    # imported here: a run without rasters need not wait for all that writes them
    from tunnelsite.screening.saving import raster_files

    return outputs | raster_files(folder, settings)


def _screened(
    settings: Settings,
    progress: Progress,
    files: tuple[Mapping[str, Path], Sequence[str]],
    *,
    as_json: bool,
    more: bool,
    then: str | None = None,
) -> int:
    from tunnelsite.io.write.outputs import output_folder, refuse_clashes, reserved_outputs
    from tunnelsite.kernels.first_run import compiled_beside

    outputs, inputs = files
    out, keep = outputs["--out"], outputs.get("--keep")
    rasters = None if settings.rasters is None else Path(settings.rasters)
    start = time.monotonic()
    refuse_clashes(outputs, inputs)  # before so much as a folder is made
    with (
        output_folder(rasters),
        reserved_outputs(outputs, inputs, overwrite=settings.overwrite),
        compiled_beside(progress.say),
    ):
        from tunnelsite.io.read.site import inputs_unchanged, site_from
        from tunnelsite.screening.run import screen as run

        progress("reading", 0.0)
        site = site_from(settings)
        progress("reading", 1.0)
        result = run(site, settings=settings, progress=progress)
        inputs_unchanged(site)
        if result.choices:
            progress("how firm the lead is", 0.0)
            _ = result.rank_shares  # so that the run table tells it, too
            progress("how firm the lead is", 1.0)
        progress("writing", 0.0)
        result.write(out, overwrite=settings.overwrite)
        if rasters is not None:
            from tunnelsite.screening.saving import write_rasters

            write_rasters(result, rasters, overwrite=settings.overwrite)
        if keep is not None:
            from tunnelsite.screening.kept_run import keep_run

            keep_run(result, keep, overwrite=settings.overwrite)
        progress("writing", 1.0)
    summary = summary_of(result, out, time.monotonic() - start)
    if then is None:
        answer(summary, lambda told: words_of(told, more), as_json=as_json)
        return 0
    from tunnelsite.decisions.repeated import repeated

    differs = repeated(then, out)
    summary["again"] = differs.summary
    answer(summary, lambda told: f"{words_of(told, more)}\n{differs.words()}", as_json=as_json)
    return 0


def summary_of(result: Result, out: Path, seconds: float) -> dict[str, Any]:
    """What a program wants to know of a run."""
    from tunnelsite.scan.firmness.drawn_words import drawn_words
    from tunnelsite.scan.firmness.ties import undecided
    from tunnelsite.scan.firmness.verdict import verdict_record
    from tunnelsite.screening.candidate_rows import unknown_here
    from tunnelsite.screening.not_assessed import where_unknown
    from tunnelsite.screening.parcels_left_out import parcels_left_out
    from tunnelsite.screening.rejection_words import measure_styles, rejection_words
    from tunnelsite.screening.run_table import DOUBT, VERDICT, notes_once

    tables, styles = result.tables, measure_styles(result)
    candidates = tables["candidates"].rows
    run = tables["run"]
    shares = [row["assessed_pct"] for row in candidates]
    return {
        "out": str(out),
        "doubts": result.doubts,
        "seconds": round(seconds, 2),
        "placements_tried": sum(int(scan.ground.inside.sum()) for scan in result.scans),
        "placements_scored": sum(len(scan.index) for scan in result.scans),
        "options_wanted": result.settings.top,
        "shift_m": result.settings.shift_m,
        "apart_m": result.apart_m,
        "per_parcel": result.settings.per_parcel,
        "feet": any(scan.house.feet for scan in result.scans),
        "candidates": candidates,
        "verdict": None if result.verdict is None else verdict_record(result.verdict),
        "drawn": [drawn_words(result, result.rank_shares, row["rank"]) for row in candidates],
        "undecided": undecided(result),
        "parcels_left_out": [asdict(one) for one in parcels_left_out(result)],
        "not_assessed": {
            "assessed_pct": min(shares) if shares else None,
            "gaps": [
                *where_unknown({str(row["rank"]): unknown_here(row) for row in candidates}),
                *(gap.words for gap in result.gaps),
            ],
        },
        "relax": tables["relax"].rows if "relax" in tables else [],
        "compromises": tables["compromises"].rows if "compromises" in tables else [],
        "rejections": [
            {name: row[name] for name in REASON} | {"words": rejection_words(row, styles)}
            for row in tables["rejections"].rows
        ],
        "notes": notes_once([row for row in run.rows if row["kind"] == "note" and row["name"] not in (DOUBT, VERDICT)]),
        "cautions": [row["value"] for row in run.rows if row["kind"] == "caution"],
    }
