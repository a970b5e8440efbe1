"""`robustness` and `rescore` of a region that was screened with `--keep`."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number, whole_number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.region_words import region_lines, region_summary
from tunnelsite.hosts.cli.streams import answer, say

if TYPE_CHECKING:
    from tunnelsite.region.worker_pool import WorkerPool
    from tunnelsite.settings.model import Settings

# Options that only a region, or only a screening, knows.
REGION_ONLY = ("limit_range", "parts", "workers", "scheduler")
SCREENING_ONLY = ("elevation_error", "error_range")


def add_pool_options(command: argparse.ArgumentParser) -> None:
    """Who works on a region."""
    text = "processes that work at the same time (default: one a core); 0 = this one alone, without Dask"
    command.add_argument("--workers", metavar="NUMBER", help=text)
    command.add_argument("--scheduler", metavar="ADDRESS", help="a Dask scheduler that is running, as tcp://host:8786")
    text = "folder of a region's finished tasks, from which a broken run goes on (default: NAME.parts beside the GeoPackage)"
    command.add_argument("--parts", metavar="DIR", help=text)


def pool_of(given: argparse.Namespace) -> WorkerPool:
    """The pool that was asked for. Errors: UsageError."""
    from tunnelsite.region.worker_pool import WorkerPool

    workers = (os.cpu_count() or 1) if given.workers is None else whole_number(given.workers, "--workers", 0, 1000)
    if given.scheduler is not None and given.workers is not None:
        raise UsageError("both --workers and --scheduler were given", "one of them", "a scheduler has its own workers")
    if given.scheduler is not None:
        from tunnelsite.region.worker_pool import check_scheduler

        check_scheduler(given.scheduler)  # before hours of reading
    return WorkerPool(workers, given.scheduler)


def is_region(given: argparse.Namespace) -> bool:
    """Whether a GeoPackage was named, and not a file of one screening. Errors: UsageError for options of the other kind."""
    region = Path(given.kept).suffix.lower() == ".gpkg"
    wrong = SCREENING_ONLY if region else REGION_ONLY
    for name in wrong:
        if getattr(given, name, None) is not None:
            option = f"--{name.replace('_', '-')}"
            raise UsageError(
                f"{option} was given for {given.kept}",
                "a file of `tunnelsite screen --keep`" if region else "the GeoPackage of `tunnelsite region --keep`",
                "the heights of a region are drawn by the errors with which it was screened"
                if region
                else "leave it out",
            )
    return region


def region_robustness(given: argparse.Namespace) -> int:
    """Draw weights, limits and heights for every parcel of a kept region."""
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.region.kept_region import kept_region
    from tunnelsite.region.sensitivity import checked_plan, sensitivity
    from tunnelsite.scan.firmness.parcel_draws import ParcelPlan

    usual = ParcelPlan()
    plan = ParcelPlan(
        usual.draws if given.draws is None else whole_number(given.draws, "--draws", 1, 100_000),
        usual.seed if given.seed is None else whole_number(given.seed, "--seed", 0, 2**31 - 1),
        usual.concentration if given.concentration is None else number(given.concentration, "--concentration"),
        usual.limit_range if given.limit_range is None else _share(given.limit_range, "--limit-range"),
    )
    pool = pool_of(given)
    checked_plan(plan)
    outputs = {} if given.out is None else {"--out": Path(given.out)}
    for option, path in outputs.items():
        check_ending(option, path, ".gpkg")
    with reserved_outputs(outputs, [given.kept], overwrite=bool(given.overwrite)):
        found = sensitivity(kept_region(given.kept, given.parts), plan, pool, Progress(quiet=False))
        for path in outputs.values():
            found.write(path, overwrite=bool(given.overwrite))
    answer(found.summary, lambda told: found.words(), as_json=given.json)
    if outputs and not given.json:
        say(f"Written to {given.out}.")
    return 0


def rescored_region(given: argparse.Namespace, asked: Settings, top: int | None) -> int:
    """Rank every parcel of a kept region again. Arguments: given; asked, settings with the new weights and curves; top."""
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.region.kept_region import kept_region
    from tunnelsite.region.rescored import rescore_region

    out, pool = Path(given.out), pool_of(given)
    check_ending("--out", out, ".gpkg")
    with reserved_outputs({"--out": out}, [given.kept], overwrite=bool(given.overwrite)):
        region = kept_region(given.kept, given.parts)
        found = rescore_region(region, asked.weight, asked.rubric, top, workers=pool, progress=Progress(quiet=False))
        found.write(out, overwrite=bool(given.overwrite))
    summary = {"written": str(out), **region_summary(found.table("parcels").rows, found.table("candidates").rows)}
    answer(summary, lambda told: "\n".join([*region_lines(told), f"Written to {out}."]), as_json=given.json)
    return 0


def _share(text: str, option: str) -> float:
    """A share such as 10% or 0.1. Errors: UsageError."""
    plain = text.strip()
    return number(plain.removesuffix("%").strip(), option) / (100 if plain.endswith("%") else 1)
