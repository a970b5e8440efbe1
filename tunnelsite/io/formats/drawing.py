"""A screening or plan as a drawing (text DXF of release 12) in the coordinate system of the file."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyproj
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.io.formats.dxf_layers import with_layer_table
from tunnelsite.io.formats.stake_dxf import COLOURS, TEXT_M, plain
from tunnelsite.io.formats.tables import Table
from tunnelsite.io.formats.world import rows_of

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


def dxf_bytes(tables: dict[str, Table], crs: pyproj.CRS, title: str, cautions: Sequence[str]) -> bytes:
    """Outlines and lines on a layer for each table (and kind), stakes as points with labels, ranks as text.

    Coordinates and heights are in the unit of `crs`; the drawing says so in a text, as release 12 has no unit of its
    own. z is the natural ground of stakes and stations and the level of contours, 0 elsewhere and where nothing is known. Shapes that
    several rows share are drawn once. Errors: UsageError if `crs` is geographic or the library for DXF is not installed.
    """
    try:
        from ezdxf.addons.r12writer import r12writer  # optional extra: only DXF needs it
    except ImportError as error:
        raise UsageError(
            "dxf was asked for, but the package ezdxf is not installed", "the optional extra dxf",
            "pip install ezdxf, or leave dxf out",
        ) from error  # fmt: skip
    if not crs.is_projected:
        raise UsageError(
            f"dxf in {crs.name}, in degrees", "a projected system", "leave dxf out, or reproject the parcels"
        )
    unit_m = crs.axis_info[0].unit_conversion_factor
    height = TEXT_M / unit_m
    stream = io.StringIO()
    with r12writer(stream, fixed_tables=True) as writer:
        for name, table in tables.items():
            drawn: set[bytes] = set()
            for shape, row in zip(table.geometry, rows_of(table), strict=True):
                if shape is None or shape.is_empty or shape.wkb in drawn:
                    continue
                drawn.add(shape.wkb)
                _draw(writer, name, shape, row, (height, unit_m))
        _notes(writer, tables, crs, height, [title, *cautions])
    return with_layer_table(stream.getvalue()).encode("ascii")


def check_dxf(path: Path) -> None:
    """Errors: OSError unless the drawing's own library reads it and finds no fault."""
    import ezdxf

    try:
        audit = ezdxf.readfile(path).audit()
    except (ezdxf.DXFError, ValueError) as error:
        raise OSError(f"read back, the drawing cannot be read ({error})") from error
    if audit.has_errors:
        raise OSError(f"read back, the drawing has faults: {audit.errors[0].message}")


def _draw(writer, name: str, shape: shapely.Geometry, row: dict[str, Any], sizes: tuple[float, float]) -> None:
    height, unit_m = sizes
    kind = row.get("kind")
    layer = "_".join(part.upper().replace(" ", "_") for part in (name, kind) if part)
    layer = "".join(letter if letter.isascii() and (letter.isalnum() or letter == "_") else "_" for letter in layer)[
        :31
    ]
    colour = COLOURS.get(kind or "", _LINE_COLOUR.get(kind or "", _COLOUR.get(name, 7)))
    level = (
        row.get("ground_m")
        if name in ("stakes", "stations")
        else row.get("level_m")
        if str(kind).startswith("contour")
        else None
    )
    z = 0.0 if level is None else level / unit_m
    for part in shapely.get_parts(shape):
        if part.geom_type == "Point":
            writer.add_point((part.x, part.y, z), layer=layer, color=colour)
            words = " ".join(str(row[key]) for key in ("rank", "label") if row.get(key) is not None)
            place = (part.x + height / 2, part.y + height / 2)
            writer.add_text(plain(words), insert=place, height=height, layer=f"{layer}_TEXT"[:31], color=colour)
        elif part.geom_type == "Polygon":
            for ring in (part.exterior, *part.interiors):
                writer.add_polyline_2d(list(ring.coords)[:-1], closed=True, layer=layer, color=colour)
        else:
            points = [(east, north, z) for east, north in part.coords]
            writer.add_polyline(points, layer=layer, color=colour)
    if name in ("candidates", "layout"):
        middle = shape.centroid
        words = plain(f"{row.get('rank')} {row.get('parcel') or ''}".strip())
        writer.add_text(words, insert=(middle.x, middle.y), height=4 * height, layer=f"{layer}_TEXT", color=colour)


def _notes(writer, tables: dict[str, Table], crs: pyproj.CRS, height: float, words: Sequence[str]) -> None:
    shapes = [
        shape for table in tables.values() for shape in table.geometry if shape is not None and not shape.is_empty
    ]
    if not shapes:
        return
    west, south, *_ = shapely.total_bounds(shapes)
    unit = crs.axis_info[0].unit_name
    about = f"coordinates and heights in {unit} of {crs.name}; z = natural ground of stakes, level of contours, else 0"
    for k, line in enumerate([words[0], about, *words[1:]]):
        place = (float(west), float(south) - (k + 2) * 6 * height)
        writer.add_text(plain(line), insert=place, height=3 * height, layer="NOTES", color=7)
