"""The settings of a finished screening from its own file alone, with its inputs where they lie."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.site import Site
from tunnelsite.io.read.sites_file import FinishedRun, read_run
from tunnelsite.screening.run_table import SETTINGS
from tunnelsite.settings.project_file import anchored


def finished_run(sites: str, folders: Sequence[Path] = ()) -> tuple[FinishedRun, dict[str, Any]]:
    """A finished screening, and its settings by the names of a project file with paths to its inputs.

    Arguments: sites, its GeoPackage; folders where its inputs may lie, after that of the file itself.
    Errors: InputRefused for a file without them; UsageError where the DEM is in none of the folders.
    """
    run = read_run(sites)
    try:
        values = json.loads(run.told[SETTINGS])
    except (KeyError, ValueError):
        raise InputRefused(
            f"{sites} does not hold all its settings", "the GeoPackage of `tunnelsite screen`, of this version or later",
            "screen again, or name the inputs with --project",
        ) from None  # fmt: skip
    tried = [Path(sites).absolute().parent, *folders]
    for folder in tried:
        if (folder / str(values.get("dem"))).is_file():
            return run, anchored(values, folder)
    raise UsageError(
        f"{values.get('dem')}, the DEM of {sites}, is not in {' or '.join(str(folder) for folder in tried)}",
        "the inputs beside the screening, or in the folder where the command is run",
        "put them there, or name them with --project",
    )


def check_same_inputs(run: FinishedRun, site: Site, sites: str) -> None:
    """Errors: UsageError where an input is not the one that was screened, by its SHA-256."""
    for item in site.inputs:
        known = run.inputs.get(item.name)
        if known is not None and known.removeprefix("sha256 ") != item.sha256:
            raise UsageError(
                f"{item.name} is not the file that {sites} was made from: its contents differ",
                "the inputs as they were screened",
                "put that version back, or screen again",
            )
