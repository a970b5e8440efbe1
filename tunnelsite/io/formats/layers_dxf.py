"""A screening or plan as a drawing in the coordinate system of its file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pyproj
import shapely

from tunnelsite.core.table import Table
from tunnelsite.io.formats.dxf import PLAIN, STAKE_COLOURS, DxfDrawing, dxf_bytes, layer_name

_COLOUR = {"candidates": 1, "layout": 1, "pads": 3, "areas": 3, "lines": 5, "trenches": 6, "rejections": 8}
_LINE_COLOUR = {
    "daylight": 2,
    "swale": 5,
    "level spreader": 5,
    "drain": 6,
    "flow path": 4,
    "contour before": 8,
    "contour after": 3,
}
_NOTES_TIMES, _RANK_TIMES = 3, 4  # as high as a label


def layers_dxf(tables: Mapping[str, Table], crs: pyproj.CRS, title: str, cautions: Sequence[str]) -> bytes:
    """Outlines and lines on a layer for each table (and kind), stakes as points with labels, ranks as text.

    Coordinates and heights are in the unit of `crs`; the drawing says so in a text, as release 12 has no unit of its
    own. z is the natural ground of stakes and stations and the level of contours, 0 elsewhere and where nothing is known. Shapes that
    several rows share are drawn once. Errors: UsageError as `dxf_bytes`.
    """

    def draw(drawing: DxfDrawing) -> None:
        for name, table in tables.items():
            drawn: set[bytes] = set()
            for shape, row in zip(table.shapes, table.rows, strict=True):
                if shape is None or shape.is_empty or shape.wkb in drawn:
                    continue
                drawn.add(shape.wkb)
                _draw(drawing, name, shape, row)
        _notes(drawing, tables, crs, title, cautions)

    return dxf_bytes(crs, draw)


def _draw(drawing: DxfDrawing, name: str, shape: shapely.Geometry, row: dict[str, Any]) -> None:
    kind = row.get("kind")
    layer = layer_name(name, kind)
    colour = STAKE_COLOURS.get(kind or "", _LINE_COLOUR.get(kind or "", _COLOUR.get(name, PLAIN)))
    for part in shapely.get_parts(shape):
        if part.geom_type == "Point":
            drawing.point(
                (part.x, part.y), row.get("ground_m") if name in ("stakes", "stations") else None, layer, colour
            )
            words = " ".join(str(row[key]) for key in ("rank", "label") if row.get(key) is not None)
            drawing.label(words, (part.x, part.y), layer, colour)
        elif part.geom_type == "Polygon":
            for ring in (part.exterior, *part.interiors):
                drawing.ring(list(ring.coords)[:-1], layer, colour)
        else:
            level = row.get("level_m") if str(kind).startswith("contour") else None
            drawing.line(part.coords, level, layer, colour)
    if name in ("candidates", "layout"):
        middle = shape.centroid
        words = f"{row.get('rank')} {row.get('parcel') or ''}".strip()
        drawing.text(words, (middle.x, middle.y), layer_name(name, kind, "text"), colour, _RANK_TIMES)


def _notes(
    drawing: DxfDrawing, tables: Mapping[str, Table], crs: pyproj.CRS, title: str, cautions: Sequence[str]
) -> None:
    shapes = [shape for table in tables.values() for shape in table.shapes if shape is not None and not shape.is_empty]
    if not shapes:
        return
    west, south, *_ = shapely.total_bounds(shapes)
    about = f"coordinates and heights in {drawing.unit} of {crs.name}; z = natural ground of stakes, level of contours, else 0"
    drawing.notes([title, about, *cautions], (float(west), float(south)), _NOTES_TIMES)
