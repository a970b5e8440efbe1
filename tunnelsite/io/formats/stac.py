"""A STAC Item 1.1.0 for one run: where and when, and every file of it with size, checksum and kind."""

from __future__ import annotations

import functools
import json
import math
import os
import urllib.parse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import rasterio
import shapely

from tunnelsite import __version__
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.table import Table
from tunnelsite.io.formats.geojson import geometry_member
from tunnelsite.io.formats.stac_run import COLLECTION, PROCESSING, processing
from tunnelsite.io.formats.world import WorldLayer, bounding_box, world_layer
from tunnelsite.io.names import safe_name
from tunnelsite.io.read.files import sha256
from tunnelsite.io.read.raster_header import opened, safe_environment
from tunnelsite.io.read.stored import StoredLayers

STAC = "1.1.0"
PROJECTION = "https://stac-extensions.github.io/projection/v2.0.0/schema.json"
FILE = "https://stac-extensions.github.io/file/v2.1.0/schema.json"
_MEDIA = {
    ".gpkg": ("application/geopackage+sqlite3", ["data"]),
    ".geojson": ("application/geo+json", ["data"]),
    ".kml": ("application/vnd.google-earth.kml+xml", ["data"]),
    ".gpx": ("application/gpx+xml", ["data"]),
    ".csv": ("text/csv; charset=utf-8", ["data"]),
    ".dxf": ("image/vnd.dxf", ["data"]),
    ".parquet": ("application/vnd.apache.parquet", ["data"]),
    ".sld": ("application/vnd.ogc.sld+xml", ["metadata"]),
    ".tif": ("image/tiff; application=geotiff; profile=cloud-optimized", ["data"]),
    ".html": ("text/html; charset=utf-8", ["overview"]),
    ".svg": ("image/svg+xml", ["overview"]),
    ".png": ("image/png", ["overview"]),
    ".json": ("application/json", ["metadata"]),
}


def item_text(stored: StoredLayers, world: Mapping[str, WorldLayer], folder: Path, assets: Mapping[str, Path]) -> str:
    """The item: footprint of the places and its box in WGS 84, the time of the run, assets with relative links, what made it.

    The geometry is the convex hull of all places, null where there is none (STAC Item 1.1.0, section "Item fields").
    """
    places = [one.geometry for one in world.values()]
    shapes = np.concatenate(places) if places else np.array([], object)
    geometry, box = _whole(stored, shapes)
    properties: dict[str, Any] = {
        "title": f"{stored.title} {__version__}",
        "description": " ".join([*_notes(world), *stored.cautions]) or "Made by tunnelsite.",
        "datetime": stored.changed,
        "created": stored.changed,
    }
    properties |= processing(stored)
    if stored.crs is not None:
        properties |= _projection(stored.crs)
    name = safe_name(stored.path.stem)
    item: dict[str, Any] = {
        "type": "Feature",
        "stac_version": STAC,
        "stac_extensions": [PROJECTION, FILE, PROCESSING],
        "id": f"{name}-{stored.sha256[:12]}",
        "collection": f"{name}-runs",
        "geometry": geometry,
        "properties": properties,
        "links": [
            {"rel": rel, "href": f"./{COLLECTION}", "type": "application/json"}
            for rel in ("root", "parent", "collection")
        ],
        "assets": {
            "geopackage": _asset(stored.path, folder, "All layers and tables of the run"),
            **{safe_name(key): _asset(path, folder, path.name) for key, path in assets.items()},
        },
    }
    if box is not None:
        item["bbox"] = box
    return json.dumps(item, ensure_ascii=True, allow_nan=False, indent=1) + "\n"


def check_item(path: Path) -> None:
    """Errors: OSError unless the item reads back with all that an item needs."""
    item = json.loads(path.read_text("utf-8"))
    missing = {"type", "stac_version", "id", "geometry", "properties", "links", "assets"} - set(item)
    if missing or (item["geometry"] is not None and "bbox" not in item):
        raise OSError(f"read back, the item lacks {', '.join(sorted(missing)) or 'bbox'}")


def _whole(stored: StoredLayers, shapes: np.ndarray) -> tuple[dict[str, Any] | None, list[float] | None]:
    box = bounding_box(shapes)
    if box is None or stored.crs is None:
        return None, None
    given = [one for table in stored.places.values() for one in table.shapes if one is not None and not one.is_empty]
    hull = shapely.convex_hull(shapely.union_all([shapely.convex_hull(one) for one in given]))
    if hull.geom_type != "Polygon":  # one point, or points in a line
        return geometry_member(shapely.box(*box)), box
    layer = world_layer("hull", Table({}, [hull], "Polygon"), stored.crs)
    return geometry_member(layer.geometry[0]), box


def _notes(world: Mapping[str, WorldLayer]) -> list[str]:
    return list(dict.fromkeys(note for layer in world.values() for note in layer.notes))


@functools.lru_cache(maxsize=8)  # all rasters of a run have one system, and a code is looked for among all there are
def _projection(crs: pyproj.CRS) -> dict[str, Any]:
    code = crs.to_authority(min_confidence=100)
    return {"proj:code": ":".join(code)} if code else {"proj:code": None, "proj:wkt2": crs.to_wkt()}


def _asset(path: Path, folder: Path, title: str) -> dict[str, Any]:
    media, roles = _MEDIA.get(path.suffix.lower(), ("application/octet-stream", ["data"]))
    asset: dict[str, Any] = {
        "href": urllib.parse.quote(os.path.relpath(path.resolve(), folder.resolve()).replace(os.sep, "/")),
        "title": title,
        "type": media,
        "roles": roles,
        "file:size": path.stat().st_size,
        "file:checksum": f"1220{sha256(path)}",  # multihash: 12 = SHA-256, 20 = 32 bytes
    }
    return asset | _raster(path) if path.suffix.lower() == ".tif" else asset


def _raster(path: Path) -> dict[str, Any]:
    """Shape, transform, system and band of a GeoTIFF, from its head."""
    try:
        with safe_environment(), opened(path, "GTiff") as file:
            tags, crs = file.tags(1), file.crs
            numbers = {
                name.lower(): tags.get(f"STATISTICS_{name}") for name in ("MINIMUM", "MAXIMUM", "MEAN", "STDDEV")
            }
            band: dict[str, Any] = {"data_type": file.dtypes[0], "description": file.descriptions[0] or path.stem}
            if file.units[0]:
                band["unit"] = file.units[0]
            if file.nodata is not None:
                band["nodata"] = "nan" if math.isnan(file.nodata) else file.nodata
            statistics = {name: float(value) for name, value in numbers.items() if value is not None}
            if statistics:
                band["statistics"] = statistics
            found: dict[str, Any] = {
                "proj:shape": list(file.shape), "proj:transform": list(file.transform), "bands": [band],
            }  # fmt: skip
            return found | (_projection(pyproj.CRS.from_wkt(crs.to_wkt())) if crs else {})
    except rasterio.errors.RasterioIOError as problem:
        raise InputRefused(f"{path} cannot be read ({problem})", "a GeoTIFF", "leave it out") from None
