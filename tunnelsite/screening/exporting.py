"""A finished screening or plan in other open formats."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.errors import UsageError, refuse_other
from tunnelsite.io.formats import FORMATS, USUAL
from tunnelsite.io.read.files import checked_file
from tunnelsite.io.read.stored import StoredLayers, read_layers
from tunnelsite.io.write.handover import handover_files, write_handover
from tunnelsite.io.write.outputs import output_folder, refuse_clashes, reserved_outputs
from tunnelsite.io.write.scratch import temporary_folder
from tunnelsite.screening.result import Result


@dataclass(frozen=True, repr=False)
class Exported:
    """What was written. Attributes: source, the GeoPackage; files; notes, what to know of them."""

    source: Path
    files: tuple[Path, ...]
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        return f"<Exported: {', '.join(path.name for path in self.files)}>"


def export(
    sites: Result | str | os.PathLike[str],
    folder: str | os.PathLike[str],
    formats: Sequence[str] = USUAL,
    *,
    assets: Iterable[str | os.PathLike[str]] = (),
    overwrite: bool = False,
) -> Exported:
    """Write the layers of a GeoPackage in other open formats.

    Args:
        sites: a screening, or the GeoPackage of a screening, a grading plan or a layout.
        folder: for the files, new or old.
        formats: of geojson, kml, gpx, csv, dxf, geoparquet, sld, stac.
        assets: rasters, a report or pictures for the STAC item.
        overwrite: whether files that exist may be replaced.

    Returns:
        Exported, which names the files.

    Raises:
        UsageError: for formats that are not there or need what is not installed.
        InputRefused: for a file that this program did not write.
        OutputFailed: what was there before stays.
    """
    wanted = checked_formats(formats, "formats")
    named = _keys(assets, wanted)
    refuse_other(sites, "sites", Result, str, os.PathLike)
    if not isinstance(sites, Result):
        return _exported(read_layers(os.fspath(sites)), Path(folder), wanted, named, overwrite)
    if "stac" in wanted:
        raise UsageError(
            "a STAC item was asked for of a screening in memory", "the GeoPackage that it names", "write it, then export the file"
        )  # fmt: skip
    with temporary_folder() as place:
        path = sites.write(Path(place) / "sites.gpkg")
        return _exported(read_layers(str(path)), Path(folder), wanted, named, overwrite)


def _exported(
    stored: StoredLayers, folder: Path, formats: list[str], assets: Mapping[str, Path], overwrite: bool
) -> Exported:
    outputs = handover_files(stored, folder, formats)
    inputs = [str(stored.path), *map(str, assets.values())]
    refuse_clashes(outputs, inputs)
    with output_folder(folder), reserved_outputs(outputs, inputs, overwrite=overwrite):
        written = write_handover(stored, folder, formats, assets, overwrite=overwrite)
    return Exported(stored.path, tuple(written), tuple(_notes(stored, formats)))


def checked_formats(given: Sequence[str], what: str) -> list[str]:
    """The formats, each once. Arguments: given; what, their name in messages. Errors: UsageError for an unknown one, or none."""
    words = given.split(",") if isinstance(given, str) else given
    found = [word.strip().lower() for word in words if word.strip()]
    if not found or any(word not in FORMATS for word in found):
        shown = given if isinstance(given, str) else ",".join(given)
        raise UsageError(f"{what} is {shown!r}", f"some of {','.join(FORMATS)}, with commas", "correct it")
    return list(dict.fromkeys(found))


def _keys(assets: Iterable[str | os.PathLike[str]], wanted: Sequence[str]) -> dict[str, Path]:
    """Files for the STAC item, by key. Errors: UsageError, InputRefused."""
    given = [os.fspath(one) for one in assets]
    if given and "stac" not in wanted:
        raise UsageError("--rasters or --asset without stac in --as", "both together", "add stac, or leave them out")
    found = [checked_file(one, "--asset") for one in given]
    keys: dict[str, Path] = {}
    for path in found:
        key, count = path.stem, 1
        while key in keys:
            count += 1
            key = f"{path.stem}-{count}"
        keys[key] = path
    return keys


def _notes(stored: StoredLayers, formats: Sequence[str]) -> list[str]:
    notes = []
    if "gpx" in formats and "stakes" in stored.tables:
        notes.append("GPX holds centres, corners and outlines; all stakes of one candidate: `tunnelsite stakeout`")
    if {"geojson", "kml", "gpx"} & set(formats):
        notes.append("longitude and latitude have 7 decimals (about 1 cm), which says nothing of the data's accuracy")
    return notes
