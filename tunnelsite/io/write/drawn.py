"""Writes what was drawn on the map as one GeoPackage, whole or not at all (`io.read.drawn` reads it)."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.table import REAL, TEXT, Heading, Places, table_of
from tunnelsite.io.write.plan_files import write_plan

TITLES = {"areas": ("Polygon", "Areas"), "lines": ("LineString", "Lines"), "points": ("Point", "Points")}
COLUMNS = {
    "what": Heading(TEXT, "what it is"),
    "name": Heading(TEXT, "name"),
    "note": Heading(TEXT, "note"),
    "service": Heading(TEXT, "which service"),
    "kind": Heading(TEXT, "kind of tree"),
    "height_m": Heading(REAL, "height above the ground", "m"),
    "crown_m": Heading(REAL, "diameter of the crown", "m"),
    "width_m": Heading(REAL, "width of the line", "m"),
    "distance_m": Heading(REAL, "how far to keep away", "m"),
    "lumens": Heading(REAL, "light of the lamp", "lm"),
    "drawn_id": Heading(TEXT, "number of the drawing"),
}
STATEMENT = "Drawn by hand on a map of the terrain."


def write_drawn(path: str | os.PathLike[str], features: Sequence[tuple[Any, Mapping[str, Any]]]) -> None:
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
        tables.append(
            table_of(layer, f"{title} that were drawn", COLUMNS, rows, Places(shapes, kind, pyproj.CRS("EPSG:4326")))
        )
    write_plan(path, tables, crs=pyproj.CRS("EPSG:4326"), statement=STATEMENT, sources={}, overwrite=True)
