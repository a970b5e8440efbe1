"""What a finished screening was made from: its settings and its inputs, found again from the GeoPackage alone."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.site import Site
from tunnelsite.core.table import Table
from tunnelsite.io.read.sites_file import digests_of, read_run_table
from tunnelsite.settings.model import Settings, settings_from
from tunnelsite.settings.paths import anchored, files_of, relative, with_paths

PROJECT = "project"  # kind of the row that holds the settings
# Its name: settings of the screening that the file holds, of one from which a block of houses was chosen, of a region's tasks.
SCREENING, BLOCK, REGION = "settings", "settings of the screening", "settings of each task"
OUTPUTS = {"out", "overwrite", "rasters", "keep"}
DETAIL = "the settings as in a project file (JSON); files as seen from this one"
MOST_TOLD = 3  # files in one message
FIX = "put them back, or name the files yourself: with --project, or the ground and the parcels before the options"


@dataclass(frozen=True)
class Origin:
    """What a screening was made from.

    Attributes: settings, by the names of a project file, with paths that can be opened; digests, SHA-256 of the inputs by file
    name; file, name of the GeoPackage; holds, what it is: one SCREENING, so that a screening with these settings has the same
    ranks, a BLOCK of houses or a REGION; run, the rows of its run table.
    """

    settings: dict[str, Any]
    digests: Mapping[str, set[str]]
    file: str
    holds: str = SCREENING
    run: tuple[Mapping[str, str], ...] = ()

    def check_ranks(self) -> None:
        """Errors: UsageError where the ranks of the file are others than those of a screening with its settings."""
        if self.holds == REGION:
            raise UsageError(
                f"{self.file} holds a region: its ranks are not those of one screening",
                "the GeoPackage of a screening",
                "screen one farm; `region --again` repeats the region; grading, stakeout, sunchart and cost go on from this file",
            )
        if self.holds != SCREENING:
            raise UsageError(
                f"{self.file} holds a block of houses: its ranks are not those of one screening",
                "the GeoPackage of a screening",
                "name that file, or screen the farm; grading, stakeout, sunchart and cost go on from this one",
            )

    def check_region(self) -> None:
        """Errors: UsageError where the file holds no region."""
        if self.holds != REGION:
            fix = "`tunnelsite screen --again` repeats one screening"
            raise UsageError(f"{self.file} holds no region", "the GeoPackage of `tunnelsite region`", fix)

    def check(self, site: Site) -> None:
        """Errors: InputRefused where an input is not what was screened."""
        changed = [item.name for item in site.inputs if item.sha256 not in self.digests.get(item.name, {item.sha256})]
        if changed:
            raise InputRefused(
                f"{' and '.join(dict.fromkeys(changed))} changed since {self.file} was made from it (other SHA-256)",
                "the files that were screened",
                f"screen again, or {FIX}",
            )


def origin_of(sites: str | os.PathLike[str]) -> Origin:
    """What a screening was made from, by its GeoPackage. Files are looked for from where that lies, then beside it.

    Errors: InputRefused for a file that no screening wrote, one made from objects in Python, and inputs that are not found.
    """
    path = os.fspath(sites)
    rows, name = read_run_table(path)
    stored = next((row for row in rows if row["kind"] == PROJECT), {})
    settings = _settings(stored.get("value"), name)
    here = anchored(settings, Path(path).absolute().parent)
    moved = [file for file in files_of(here) if not os.path.exists(file)]
    if moved:
        lost = [file for file in moved if not (Path(path).parent / Path(file).name).exists()]
        if lost:
            raise InputRefused(
                f"{name} was made from {_some(lost)}, not found there or beside it",
                "the files that were screened",
                FIX,
            )
        here = anchored(_beside(settings, {Path(file).name for file in moved}), Path(path).absolute().parent)
    return Origin(here, digests_of(rows), name, stored.get("name", ""), rows)


def with_project(run: Table, settings: Settings, folder: Path, name: str = SCREENING) -> Table:
    """The run table with the settings in a form that can be read back. Arguments: folder, where the file will lie; name of the row.

    A screening of objects in Python names no ground: it has no such row.
    """
    if settings.dem is None:
        return run
    told = settings.model_dump(by_alias=True, mode="json", exclude_none=True, exclude=OUTPUTS)
    said = {name: one for name, one in told.items() if one is not False and one != [] and one != {}}
    value = json.dumps(relative(said, folder))
    row = {"kind": PROJECT, "name": name, "value": value, "detail": DETAIL}
    return run.with_rows([*run.rows, row])


def _settings(stored: str | None, name: str) -> dict[str, Any]:
    try:
        found = json.loads(stored) if stored else None
    except ValueError:
        found = None
    if not isinstance(found, dict) or not isinstance(found.get("dem"), str):
        raise InputRefused(
            f"{name} does not say which files it was made from",
            "the GeoPackage of a screening of files",
            "name the files with --project, or the ground and the parcels before the options",
        )
    settings = {key: value for key, value in found.items() if key not in OUTPUTS}
    settings_from(settings)
    return settings


def _some(files: list[str]) -> str:
    shown = ", ".join(map(os.path.normpath, files[:MOST_TOLD]))
    return shown if len(files) <= MOST_TOLD else f"{shown} and {len(files) - MOST_TOLD} more"


def _beside(settings: Mapping[str, Any], names: set[str]) -> dict[str, Any]:
    """The settings with files of these names taken from beside the GeoPackage."""

    def here(text: str) -> str:
        last = Path(text).name
        return last if any(last == one or last.startswith((f"{one}@", f"{one}#")) for one in names) else text

    return with_paths(settings, here, here)
