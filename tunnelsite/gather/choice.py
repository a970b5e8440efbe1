"""Which files of a catalogue serve best: they cover the place, in fine cells, of a late date; and the reason."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

import pystac
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.stac_door import catalogue_items, parsed, search_items
from tunnelsite.io.fetch.window import Area
from tunnelsite.io.read.raster_header import DEGREE_M

COVERED = 0.999  # of the area
_GROUND = re.compile(r"dtm|ground|bare|terrain|elevation|(?<![a-z])dem(?![a-z])", re.IGNORECASE)
_SURFACE = re.compile(r"dsm|surface|first[ _-]?return|hh(?![a-z])", re.IGNORECASE)
_RASTER = re.compile(r"image/tiff|geotiff", re.IGNORECASE)


@dataclass(frozen=True)
class ChosenFiles:
    """Files that were chosen: addresses, the best first; covered, share of the area they cover; reason, in words."""

    addresses: tuple[str, ...]
    covered: float
    reason: str


@dataclass(frozen=True)
class _OfferedFile:
    """One file on offer: where, its outline in degrees, cell [m] or None, date (ISO) or ``, what it stands under."""

    address: str
    outline: shapely.Geometry
    cell_m: float | None
    date: str
    name: str

    @property
    def order(self) -> tuple[float, list[int], str]:
        """Fine cells first (sizes within a fifth count as alike), then the latest."""
        size = 99.0 if self.cell_m is None else round(self.cell_m / 0.2) * 0.2
        return size, [-ord(letter) for letter in self.date], self.name


def chosen_items(door: Door, source: DataSource, area: Area, *, surface: bool) -> ChosenFiles:
    """The files of a STAC API or static catalogue for an area. Errors: InputRefused where there are none."""
    root = parsed(door.document(source.address), source.address)
    items = search_items(door, root, area.bounds, source.collection)
    if not items and not any(link.get("rel") == "search" for link in root.get("links", [])):
        items = catalogue_items(door, root, source.address, source.collection)
    box = shapely.box(*area.bounds)
    offers = [offer for item in items for offer in _offers(item, source, surface) if offer.outline.intersects(box)]
    if not offers:
        what = "surface" if surface else "ground"
        raise InputRefused(
            f"source {source.name!r} has no {what} model there ({len(items)} items met the area)",
            "an item with a GeoTIFF of heights",
            "name the asset (asset = ...), another collection or another source",
        )
    return _covering(offers, box)


def _covering(offers: list[_OfferedFile], box: shapely.Geometry) -> ChosenFiles:
    left, taken = box, []
    for offer in sorted(offers, key=lambda one: one.order):
        if left.is_empty or left.area <= (1 - COVERED) * box.area:
            break
        if shapely.area(shapely.intersection(left, offer.outline)) > 1e-6 * box.area:
            taken.append(offer)
            left = shapely.difference(left, offer.outline)
    covered = 1.0 - left.area / box.area
    cells = sorted({f"{one.cell_m:g} m" for one in taken if one.cell_m is not None})
    dates = sorted({one.date[:10] for one in taken if one.date})
    size = f"{' and '.join(cells)} cells" if cells else "cells of a size the catalogue does not state"
    when = f", {dates[0]}" + (f" to {dates[-1]}" if len(dates) > 1 else "") if dates else ""
    reason = f"{len(taken)} of {len(offers)} files that meet the area: {size}{when}; the finest first, then the latest"
    if covered < COVERED:
        reason += f"; they cover {covered:.0%} of the area"
    return ChosenFiles(tuple(one.address for one in taken), covered, reason)


def _offers(item: pystac.Item, source: DataSource, surface: bool) -> list[_OfferedFile]:
    if item.geometry is None:
        return []
    outline = shapely.make_valid(shapely.from_geojson(json.dumps(item.geometry)))
    date = str(item.properties.get("datetime") or item.properties.get("end_datetime") or "")
    found = []
    for key, asset in item.assets.items():
        if not _matches(key, asset, source, surface):
            continue
        address = asset.get_absolute_href() or asset.href
        found.append(_OfferedFile(address, outline, _cell_m(item, asset), date, f"{item.id}/{key}"))
    return found[:1]


def _matches(key: str, asset: pystac.Asset, source: DataSource, surface: bool) -> bool:
    if source.asset:
        return key == source.asset
    if not _RASTER.search(asset.media_type or "") and not asset.href.lower().partition("?")[0].endswith(
        (".tif", ".tiff")
    ):
        return False
    words = f"{key} {asset.title or ''} {asset.href.rpartition('/')[2]}"
    other = _GROUND if surface else _SURFACE
    own = _SURFACE if surface else _GROUND
    if other.search(words) and not own.search(words):
        return False
    return bool(own.search(words)) or "data" in (asset.roles or ())


def _cell_m(item: pystac.Item, asset: pystac.Asset) -> float | None:
    """Size of the cells as the asset or item states it: raster bands, `proj:transform`, or `gsd`."""
    every = asset.extra_fields
    for band in [*every.get("raster:bands", []), *every.get("bands", [])]:
        value = band.get("spatial_resolution") or band.get("raster:spatial_resolution")
        if isinstance(value, int | float):
            return float(value)
    value = every.get("raster:spatial_resolution")
    if isinstance(value, int | float):
        return float(value)
    affine = every.get("proj:transform") or item.properties.get("proj:transform")
    if isinstance(affine, list) and affine and isinstance(affine[0], int | float):
        code = str(every.get("proj:code") or item.properties.get("proj:code") or item.properties.get("proj:epsg") or "")
        degrees = code.endswith("4326") or abs(affine[0]) < 0.01
        return abs(float(affine[0])) * (DEGREE_M if degrees else 1.0)
    value = every.get("gsd") or item.properties.get("gsd")
    return float(value) if isinstance(value, int | float) else None
