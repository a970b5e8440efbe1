"""`export`: a finished screening or plan in other open formats."""

from __future__ import annotations

import argparse
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.streams import answer, say
from tunnelsite.io.write.staging import size_words


def export(given: argparse.Namespace) -> int:
    """Write the layers of a GeoPackage as GeoJSON, KML, GPX, CSV, DXF, GeoParquet, SLD and a STAC item."""
    formats, folder = asked_formats(given.formats), Path(given.to)
    from tunnelsite.io.read.stored import read_layers
    from tunnelsite.io.write.handover import handover_files, write_handover
    from tunnelsite.io.write.outputs import output_folder, refuse_clashes, reserved_outputs

    assets = _assets(given, formats)
    stored = read_layers(given.sites)
    outputs = handover_files(stored, folder, formats)
    inputs = [str(stored.path), *map(str, assets.values())]
    refuse_clashes(outputs, inputs)
    with output_folder(folder), reserved_outputs(outputs, inputs, overwrite=bool(given.overwrite)):
        written = write_handover(stored, folder, formats, assets, overwrite=bool(given.overwrite))
    notes = _left_out(stored, formats)
    summary = {"from": str(stored.path), "files": [str(path) for path in written], "notes": notes}
    if given.json:
        answer(summary, str, as_json=True)
        return 0
    for path in written:
        say(f"{size_words(path.stat().st_size):>10}  {path}")
    for note in notes:
        say(f"note: {note}")
    return 0


def asked_formats(text: str) -> list[str]:
    """The formats in a list with commas. Errors: UsageError for an unknown one, or none."""
    from tunnelsite.io.formats import FORMATS

    found = [word.strip().lower() for word in text.split(",") if word.strip()]
    unknown = [word for word in found if word not in FORMATS]
    if unknown or not found:
        raise UsageError(f"--as is {text!r}", f"some of {','.join(FORMATS)}, with commas", "correct it")
    return list(dict.fromkeys(found))


def _assets(given: argparse.Namespace, formats: list[str]) -> dict[str, Path]:
    """Files for the STAC item, by key. Errors: UsageError, InputRefused."""
    from tunnelsite.io.read.files import checked_file

    if (given.rasters or given.asset) and "stac" not in formats:
        raise UsageError("--rasters or --asset without stac in --as", "both together", "add stac, or leave them out")
    found = [checked_file(text, "--asset") for text in given.asset]
    if given.rasters:
        folder = Path(given.rasters)
        rasters = sorted(folder.glob("*.tif")) if folder.is_dir() else []
        if not rasters:
            raise UsageError(
                f"--rasters is {folder}, which holds no .tif", "the folder of `screen --rasters`", "name that folder"
            )
        found += [checked_file(str(path), "--rasters") for path in rasters]
    keys: dict[str, Path] = {}
    for path in found:
        key, count = path.stem, 1
        while key in keys:
            count += 1
            key = f"{path.stem}-{count}"
        keys[key] = path
    return keys


def _left_out(stored, formats: list[str]) -> list[str]:
    notes = []
    if "gpx" in formats and "stakes" in stored.tables:
        notes.append("GPX holds centres, corners and outlines; all stakes of one candidate: `tunnelsite stakeout`")
    if {"geojson", "kml", "gpx"} & set(formats):
        notes.append("longitude and latitude have 7 decimals (about 1 cm), which says nothing of the data's accuracy")
    return notes
