"""Writes what a GeoPackage holds in the formats that were asked for: every file beside its place, opened again, then
put there."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.io.formats import FORMATS
from tunnelsite.io.formats.csv_table import csv_text
from tunnelsite.io.formats.dxf import check_dxf
from tunnelsite.io.formats.geojson import check_geojson, geojson_text
from tunnelsite.io.formats.gpx import check_gpx
from tunnelsite.io.formats.kml import check_kml, kml_text
from tunnelsite.io.formats.layers_dxf import layers_dxf
from tunnelsite.io.formats.layers_gpx import layers_gpx
from tunnelsite.io.formats.sheets import check_csv, check_parquet, parquet_bytes, sheet_of
from tunnelsite.io.formats.stac import check_item, item_text
from tunnelsite.io.formats.stac_run import COLLECTION, check_collection, collection_text
from tunnelsite.io.formats.world import WorldLayer, world_layer
from tunnelsite.io.names import safe_names
from tunnelsite.io.read.stored import StoredLayers
from tunnelsite.io.write.staging import staged

_LAYER_ENDINGS = {"geojson": "geojson", "csv": "csv", "geoparquet": "parquet", "sld": "sld"}  # a file for each layer
_ONE_FILE = {"kml": "kml", "gpx": "gpx", "dxf": "dxf"}  # a file for all of them
ITEM = "item.json"


@dataclass(frozen=True)
class HandoverFile:
    """One file to come: its content and a check that opens it again."""

    content: Callable[[], bytes | str]
    check: Callable[[Path], None]


def handover_files(stored: StoredLayers, folder: Path, formats: Sequence[str]) -> dict[str, Path]:
    """Every file that `write_handover` writes, by what it is."""
    return {what: folder / name for what, (name, _) in named_files(stored, formats).items()}


def write_handover(
    stored: StoredLayers, folder: Path, formats: Sequence[str], assets: Mapping[str, Path], *, overwrite: bool
) -> list[Path]:
    """Write a GeoPackage's layers in other formats into an existing folder.

    Arguments: stored; folder; formats, of `FORMATS`; assets, other files of the run (rasters, pictures, a report) for
    the STAC item, by key; overwrite, whether files that exist may be replaced.
    Returns: the files written. Errors: UsageError for a format that needs what is not installed, or a drawing in
    degrees; OutputFailed (each file is whole or as it was before).
    """
    world = {name: world_layer(name, table, stored.crs) for name, table in stored.places.items()} if stored.crs else {}
    pieces = [
        (folder / name, piece_of(stored, world, what))
        for what, (name, _) in named_files(stored, formats).items()
        if name not in (ITEM, COLLECTION)
    ]
    ready = [(path, piece.content(), piece.check) for path, piece in pieces]  # refusals come before the first file
    written = []
    for path, content, check in ready:
        _put(path, content, check, overwrite=overwrite)
        written.append(path)
    if "stac" in formats:
        path = folder / ITEM
        found = {f"{one.stem}_{one.suffix[1:]}": one for one in written} | dict(assets)
        text = item_text(stored, world, folder, found)
        _put(path, text, check_item, overwrite=overwrite)
        written.append(path)
        path = folder / COLLECTION
        _put(path, collection_text(json.loads(text), stored), check_collection, overwrite=overwrite)
        written.append(path)
    return written


def named_files(stored: StoredLayers, formats: Sequence[str]) -> dict[str, tuple[str, str]]:
    """{what: (file name, format)} of every file to come, in the order of `FORMATS`."""
    found: dict[str, tuple[str, str]] = {}
    for form in (one for one in FORMATS if one in formats):
        if form in _ONE_FILE:
            found[form] = (f"{stored.path.stem}.{_ONE_FILE[form]}", form)
        elif form == "stac":
            found |= {form: (ITEM, form), f"{form} collection": (COLLECTION, form)}
        else:
            named: dict[str, Collection[str]] = {"geojson": stored.places, "sld": stored.styles}
            names = list(named.get(form, stored.tables))
            stems = safe_names(names)  # a layer's name is data too: it may not lead out of the folder
            found |= {
                f"{form} {name}": (f"{stem}.{_LAYER_ENDINGS[form]}", form)
                for name, stem in zip(names, stems, strict=True)
            }
    return found


def piece_of(stored: StoredLayers, world: Mapping[str, WorldLayer], what: str) -> HandoverFile:
    """The content of one file to come, and its check."""
    form, _, name = what.partition(" ")
    layers, title, cautions = list(world.values()), stored.title, stored.cautions
    if form == "geojson":
        return HandoverFile(partial(geojson_text, world[name], cautions), partial(check_geojson, layer=world[name]))
    if form == "kml":
        return HandoverFile(partial(kml_text, layers, title, cautions), partial(check_kml, layers=layers))
    if form == "gpx":
        text = layers_gpx(layers, title, cautions)
        return HandoverFile(lambda: text, partial(check_gpx, text=text))
    if form == "dxf":
        if stored.crs is None:
            raise UsageError(f"dxf of {stored.path.name}, which holds no places", "layers with places", "leave dxf out")
        return HandoverFile(partial(layers_dxf, stored.places, stored.crs, title, cautions), check_dxf)
    if form == "csv":
        sheet = sheet_of(stored.tables[name], world.get(name), stored.crs)
        return HandoverFile(partial(csv_text, sheet), partial(check_csv, table=sheet))
    if form == "geoparquet":
        table = stored.tables[name]
        return HandoverFile(partial(parquet_bytes, table, stored.crs), partial(check_parquet, table=table))
    return HandoverFile(lambda: stored.styles[name], check_sld)


def _put(path: Path, content: bytes | str, check: Callable[[Path], None], *, overwrite: bool) -> None:
    data = content.encode("utf-8") if isinstance(content, str) else content

    def verify(temp: Path) -> None:
        if temp.read_bytes() != data:
            raise OSError("what was read back differs from what was written")
        check(temp)

    from pyogrio.errors import DataLayerError, DataSourceError

    with staged(
        path, overwrite=overwrite, need_bytes=len(data), verify=verify, driver_errors=(DataSourceError, DataLayerError)
    ) as temp:
        temp.write_bytes(data)


def check_sld(path: Path) -> None:
    """Errors: OSError unless the file reads back as XML."""
    try:
        ElementTree.parse(path)
    except ElementTree.ParseError as error:
        raise OSError(f"read back, the style is damaged ({error})") from error
