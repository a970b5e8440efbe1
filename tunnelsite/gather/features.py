"""Parcels, buildings, roads, water, wetlands, soils round a place: from an OGC API - Features service, or a file by address."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urljoin

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.record import Entry, entry_of
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.ranged import RangedFile
from tunnelsite.io.fetch.stac_door import parsed
from tunnelsite.io.fetch.window import Area
from tunnelsite.io.formats.geojson import collection_text
from tunnelsite.io.read.vectors import read_features
from tunnelsite.io.write.staging import staged, write_whole

Progress = Callable[[str, float], None]
PAGE, MOST_PAGES, MOST_FEATURES = 1000, 1000, 500_000
MOST_FILE = 4 << 30
_PIECE = 8 << 20


@dataclass(frozen=True)
class FeatureRequest:
    """Features to fetch: name of the file, source, and what they are in words (`parcels`, `buildings` ...)."""

    name: str
    source: DataSource


def gather_features(
    door: Door, wanted: FeatureRequest, area: Area, folder: Path, *, progress: Progress, overwrite: bool
) -> Entry:
    """Fetch features that meet an area, with all their attributes, into `NAME.geojson` (or the file under its own ending).

    Errors: InputRefused, OutputFailed; a service that breaks off leaves no file.
    """
    progress(f"fetching {wanted.name}", 0.0)
    if wanted.source.kind == "features":
        entry = _from_service(door, wanted, area, folder, progress, overwrite)
    else:
        entry = _whole_file(door, wanted, folder, progress, overwrite)
    progress(f"fetching {wanted.name}", 1.0)
    return entry


def _from_service(
    door: Door, wanted: FeatureRequest, area: Area, folder: Path, progress: Progress, overwrite: bool
) -> Entry:
    source = wanted.source
    if not source.collection:
        raise UsageError(
            f"source {source.name!r} names no collection",
            f"one of: {', '.join(collections_of(door, source)) or 'none was found'}",
            "add it, as in SOURCE/COLLECTION or collection = ...",
        )
    query = {"bbox": ",".join(f"{value:.7f}" for value in area.bounds), "limit": str(PAGE), "f": "json"}
    asked = address = f"{source.address.rstrip('/')}/collections/{source.collection}/items?{urlencode(query)}"
    features: list[dict[str, Any]] = []
    seen: set[str] = set()
    matched = None
    for _ in range(MOST_PAGES):
        if address in seen:
            break
        seen.add(address)
        page = parsed(
            door.document(address, accept="application/geo+json", found_in=f"source {source.name!r}"), address
        )
        found = page.get("features")
        if not isinstance(found, list):
            raise InputRefused(
                f"{address[:200]!r} sent no features", "a GeoJSON FeatureCollection", "check the address"
            )
        features += found
        if len(features) > MOST_FEATURES:
            raise InputRefused(
                f"{source.name!r} has more than {MOST_FEATURES:,} features there", "fewer", "take a smaller circle"
            )
        matched = page.get("numberMatched", matched)
        if isinstance(matched, int) and matched:
            progress(f"fetching {wanted.name}", min(1.0, len(features) / matched))
        link = next((one for one in page.get("links", []) if one.get("rel") == "next"), None)
        if link is None or not found:
            break
        address = urljoin(address, str(link.get("href")))
    if isinstance(matched, int) and len(features) < matched:
        raise InputRefused(
            f"{source.name!r} announced {matched} features and sent {len(features)}", "all of them", "try again later"
        )
    path = folder / f"{wanted.name}.geojson"
    write_whole(path, collection_text(features), overwrite=overwrite)
    chosen = f"all {len(features)} features of {source.collection} that meet the area"
    return entry_of(path, wanted.name, source, [asked], chosen, () if features else ("none lies there",))


def collections_of(door: Door, source: DataSource) -> list[str]:
    """Ids of the collections of a service."""
    address = f"{source.address.rstrip('/')}/collections?f=json"
    found = parsed(door.document(address), address).get("collections", [])
    return [str(one.get("id")) for one in found if isinstance(one, dict)]


def _whole_file(door: Door, wanted: FeatureRequest, folder: Path, progress: Progress, overwrite: bool) -> Entry:
    source = wanted.source
    ending = Path(source.address.partition("?")[0]).suffix.lower()
    if ending not in (".gpkg", ".fgb", ".geojson", ".json"):
        raise UsageError(
            f"source {source.name!r} is a file that ends in {ending!r}", ".gpkg, .fgb or .geojson", "name another file"
        )
    path = folder / f"{wanted.name}{ending}"
    with RangedFile(door, source.address) as file:
        if file.size > MOST_FILE:
            raise InputRefused(f"{source.address!r} has {file.size >> 20} MB", "at most 4 GB", "name a smaller file")
        with (
            staged(path, overwrite=overwrite, need_bytes=file.size, verify=_reads_as_features) as temp,
            open(temp, "wb") as out,
        ):
            while piece := file.read(_PIECE):
                out.write(piece)
                progress(f"fetching {wanted.name}", file.tell() / file.size)
    return entry_of(path, wanted.name, source, [source.address], "the whole file")


def _reads_as_features(path: Path) -> None:
    """Errors: InputRefused for a file that this program could not read later; a file of several layers is let through."""
    try:
        read_features(str(path), "the fetched file", kinds=("point", "line", "polygon"), may_be_empty=True)
    except UsageError:
        return
