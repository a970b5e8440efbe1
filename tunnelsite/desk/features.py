"""What the files of the project hold, as GeoJSON for the map."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.grid import Grid, transformer
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import WGS84, to_grid
from tunnelsite.core.site import Site
from tunnelsite.desk.measures import Units
from tunnelsite.io.read.drawn import DRAWN
from tunnelsite.scan.parcel_names import parcel_names

MOST_POINTS = 20_000
FINEST_M, COARSEST_M = 0.1, 50.0  # how far a simplified line may stray
NAMES = ("name", "parcel", "label", "title")


def site_features(site: Site, grid: Grid, units: Units, fields: bool = True) -> dict[str, Any]:
    """Every feature of a file, with its role; what was drawn is left out.

    Arguments: site; grid, near it; units of the words; fields, whether its parcels are any.
    """
    found = [
        one
        for role, item in _roles(site)
        if fields or role != "parcels"
        for one in _each(role, item, site, grid, units)
    ]
    tolerance = FINEST_M
    shapes = np.array([geometry for geometry, _ in found], object)
    while len(shapes) and tolerance <= COARSEST_M:
        simpler = shapely.simplify(shapes, tolerance)
        if shapely.get_num_coordinates(simpler).sum() <= MOST_POINTS:
            break
        tolerance *= 2
    if not len(shapes):
        return {"type": "FeatureCollection", "features": []}
    lonlat = on_the_map(simpler, grid)
    features = [
        {"type": "Feature", "geometry": geometry, "properties": about}
        for geometry, (_, about) in zip(lonlat, found, strict=True)
        if geometry is not None
    ]
    return {"type": "FeatureCollection", "features": features}


def on_the_map(shapes: np.ndarray, grid: Grid) -> list[dict[str, Any] | None]:
    """GeoJSON geometries [deg, WGS 84] of shapes in along/across metres; None for an empty one."""
    change = transformer(grid.crs_wkt, WGS84)

    def carried(points: np.ndarray) -> np.ndarray:
        return np.column_stack(change.transform(*grid.to_map(points[:, 0], points[:, 1]))).round(8)

    moved = shapely.transform(np.asarray(shapes, object), carried)
    return [None if shapely.is_empty(one) else shapely.geometry.mapping(one) for one in moved]


def _roles(site: Site) -> Iterator[tuple[str, Features]]:
    yield "parcels", site.parcels
    for role in ("soils", "structures", "obstacles", "lamps"):
        item = getattr(site, role)
        if item is not None:
            yield role, item
    for item in site.keep_outs:
        yield "keep_out", item
    for name, item in site.services.items():
        yield f"service:{name}", item


def _each(role: str, item: Features, site: Site, grid: Grid, units: Units) -> Iterator[tuple[Any, dict[str, Any]]]:
    columns = {name.lower(): values for name, values in item.columns.items()}
    titles = (
        parcel_names(site) if role == "parcels" else next((columns[name] for name in NAMES if name in columns), None)
    )
    heights = columns.get("height_m")
    drawn = columns.get(DRAWN)
    for number, shape in enumerate(to_grid(item, grid).geometry):
        if drawn is not None and drawn[number]:
            continue
        name = "" if titles is None or titles[number] is None else str(titles[number])
        about: dict[str, Any] = {"role": role, "file": item.name, "name": name, "words": name or item.name}
        if heights is not None and (height := _number(heights[number])) is not None:
            about |= {"height_m": height, "words": f"{about['words']}, {units.height(height)} tall"}
        if item.distance_m:
            about |= {
                "distance_m": item.distance_m,
                "words": f"{about['words']}, keep {units.away(item.distance_m)} away",
            }
        yield shape, about


def _number(value: Any) -> float | None:
    try:
        found = float(value)
    except (TypeError, ValueError):
        return None
    return found if math.isfinite(found) else None
