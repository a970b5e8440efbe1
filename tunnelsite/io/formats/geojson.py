"""GeoJSON (RFC 7946): a layer, or any features."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely

from tunnelsite.io.formats.world import PLACES, WorldLayer, bounding_box, position


def geojson_text(layer: WorldLayer, cautions: Sequence[str]) -> str:
    """One layer: WGS 84 longitude and latitude to seven decimals, outer rings counter-clockwise, ASCII only.

    What was not assessed is null, and so is a geometry that is not there (section 3.2). Heights stay properties: a
    third coordinate would mean metres above the ellipsoid (section 4). Title, notes, cautions and the words of the
    columns are foreign members (section 6.1).
    """
    head: dict[str, Any] = {"title": layer.title}
    box = bounding_box(layer.geometry)
    if box is not None:
        head["bbox"] = box
    head |= {
        "place_notes": list(layer.notes),
        "cautions": list(cautions),
        "columns": {name: {"title": column.title, "unit": column.unit} for name, column in layer.table.columns.items()},
    }
    features = (feature(shape, row) for shape, row in zip(layer.geometry, layer.table.rows, strict=True))
    return collection_text(features, head)


def collection_text(features: Iterable[Mapping[str, Any]], members: Mapping[str, Any] | None = None) -> str:
    """A file of features, one a line, ASCII only. Arguments: features; members, of the collection beside its type (foreign ones:
    section 6.1). Errors: ValueError for a number that is not finite."""
    start = _json({"type": "FeatureCollection", **(members or {})})[:-1] + ', "features": [\n'
    return start + ",\n".join(_json(one) for one in features) + "\n]}\n"


def feature(shape: shapely.Geometry | None, properties: Mapping[str, Any], places: int = PLACES) -> dict[str, Any]:
    """One feature. Arguments: shape [deg, WGS 84]; properties, as they are; places, decimals of a degree."""
    return {"type": "Feature", "geometry": geometry_member(shape, places), "properties": dict(properties)}


def geometry_member(shape: shapely.Geometry | None, places: int = PLACES) -> dict[str, Any] | None:
    """A geometry as RFC 7946 writes it, coordinates rounded. None stays None."""
    if shape is None:
        return None
    found = json.loads(shapely.to_geojson(shape))
    return {"type": found["type"], "coordinates": _rounded(found["coordinates"], places)}


def check_geojson(path: Path, layer: WorldLayer) -> None:
    """Errors: OSError unless the file reads back, in GDAL, as many features in the same place as were given."""
    found = pyogrio.read_info(f"GEOJSON:{path}", force_feature_count=True, force_total_bounds=True)
    if found["features"] != len(layer.geometry):
        raise OSError(f"read back, {found['features']} features, not {len(layer.geometry)}")
    there = layer.geometry[~shapely.is_missing(layer.geometry)]
    if not len(there):
        return
    given = shapely.total_bounds(there)
    if not np.allclose(found["total_bounds"], given, rtol=0, atol=1e-6):
        raise OSError("read back, the features lie elsewhere")


def _rounded(coordinates: list[Any], places: int) -> list[Any]:
    if coordinates and isinstance(coordinates[0], list):
        return [_rounded(inner, places) for inner in coordinates]
    lon_deg, lat_deg = coordinates[:2]
    return position(lon_deg, lat_deg, places)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=True, allow_nan=False)
