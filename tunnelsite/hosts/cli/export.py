"""`export`: a finished screening or plan in other open formats."""

from __future__ import annotations

import argparse
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.streams import answer, say
from tunnelsite.io.write.staging import size_words


def export(given: argparse.Namespace) -> int:
    """Write the layers of a GeoPackage as GeoJSON, KML, GPX, CSV, DXF, GeoParquet, SLD and a STAC item."""
    from tunnelsite.screening.exporting import checked_formats
    from tunnelsite.screening.exporting import export as exported

    formats = checked_formats(given.formats, "--as")
    assets = [*given.asset, *_rasters(given.rasters, formats)]
    found = exported(given.sites, given.to, formats, assets=assets, overwrite=bool(given.overwrite))
    if given.json:
        summary = {"from": str(found.source), "files": [str(path) for path in found.files], "notes": list(found.notes)}
        answer(summary, str, as_json=True)
        return 0
    for path in found.files:
        say(f"{size_words(path.stat().st_size):>10}  {path}")
    for note in found.notes:
        say(f"note: {note}")
    return 0


def _rasters(folder: str | None, formats: list[str]) -> list[Path]:
    """The rasters of a folder that `screen --rasters` wrote. Errors: UsageError."""
    if not folder:
        return []
    if "stac" not in formats:
        raise UsageError("--rasters or --asset without stac in --as", "both together", "add stac, or leave them out")
    rasters = sorted(Path(folder).glob("*.tif")) if Path(folder).is_dir() else []
    if not rasters:
        raise UsageError(
            f"--rasters is {folder}, which holds no .tif", "the folder of `screen --rasters`", "name that folder"
        )
    return rasters
