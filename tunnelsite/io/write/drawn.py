"""Writes what was drawn on the map as one GeoPackage, whole or not at all (`io.read.drawn` reads it)."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.table import REAL, TEXT, Column, Table
from tunnelsite.io.write.plan_files import write_plan

TITLES = {"areas": ("Polygon", "Areas"), "lines": ("LineString", "Lines"), "points": ("Point", "Points")}
COLUMNS = {
    "what": Column(TEXT, "what it is"),
    "name": Column(TEXT, "name"),
    "note": Column(TEXT, "note"),
    "service": Column(TEXT, "which service"),
    "kind": Column(TEXT, "kind of tree"),
    "height_m": Column(REAL, "height above the ground", "m"),
    "crown_m": Column(REAL, "diameter of the crown", "m"),
    "width_m": Column(REAL, "width of the line", "m"),
    "distance_m": Column(REAL, "how far to keep away", "m"),
    "lumens": Column(REAL, "light of the lamp", "lm"),
    "drawn_id": Column(TEXT, "number of the drawing"),
}
STATEMENT = "Drawn by hand on a map of the terrain."


def write_drawn(path: str | os.PathLike, features: Sequence[tuple[Any, Mapping[str, Any]]]) -> None:
    """Write features over what was there.

    Arguments: path; features, (geometry in WGS 84 degrees, values by column), polygons, lines and points.
    Errors: OutputFailed; what was there before stays.
    """
    tables = []
    for layer, (kind, title) in TITLES.items():
        mine = [(shape, about) for shape, about in features if shape.geom_type == kind]
        shapes = np.empty(len(mine), object)
        shapes[:] = [shapely.orient_polygons(shape) if kind == "Polygon" else shape for shape, _ in mine]
        rows = [{name: about.get(name) for name in COLUMNS} for _, about in mine]
        tables.append(Table(layer, f"{title} that were drawn", COLUMNS, rows, shapes, kind, pyproj.CRS("EPSG:4326")))
    write_plan(path, tables, crs=pyproj.CRS("EPSG:4326"), statement=STATEMENT, sources={}, overwrite=True)
