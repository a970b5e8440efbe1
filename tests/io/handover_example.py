"""A small invented result with everything that is hard to hand over: hostile names, NULLs, empty layers."""

from __future__ import annotations

from pathlib import Path

import pyproj
import shapely

from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.table import Column, Table
from tunnelsite.io.formats.geopackage import write_geopackage
from tunnelsite.io.formats.plan_styles import plan_styles, trenches_sld
from tunnelsite.io.formats.styles import candidates_sld, pads_sld, rejections_sld, stakes_sld

STAMP = "2026-01-31T12:00:00.000Z"
HOSTILE = (
    "<script>alert('x')</script>",
    '=HYPERLINK("http://example.invalid")',
    "]]><!ENTITY a 'b'> & \u202egnol\u202c",
    "two\nlines\tand \x08\x1f bell \x07",
    "Nord ő 农场 \U0001f33f",
    "%%u -3;drop,table\"'",
)
LINEAGE = '<gmd:LI_Lineage xmlns:gmd="http://www.isotc211.org/2005/gmd"><gmd:statement/></gmd:LI_Lineage>'


def example_tables(east: float, north: float, unit: float = 1.0) -> dict[str, Table]:
    """Layers of a screening and of a grading plan with one place each way of going wrong."""
    count = len(HOSTILE)

    def box(west: float, south: float, wide: float, tall: float) -> shapely.Polygon:
        return shapely.box(
            east + west * unit, north + south * unit, east + (west + wide) * unit, north + (south + tall) * unit
        )

    shapes = [box(40 * k, 0, 29.26, 9.14) for k in range(count)]
    hole = box(0, 0, 900, 700) - box(50, 50, 40, 40)
    paths = [[(0, 0), (30, 4), (60, 0)], [(0, 0), (0, 20)]]
    lines = [[(east + a * unit, north + b * unit) for a, b in path] for path in paths]
    return {
        "candidates": Table(
            {
                "rank": Column(range(1, count + 1), "INTEGER", "Rank"),
                "score": Column([None, *(88.25 - k for k in range(count - 1))], "REAL", "Score", "0-100"),
                "parcel": Column(HOSTILE, "TEXT", "Parcel"),
                "house": Column(["30x96ft"] * count, "TEXT"),
                "bearing_deg": Column([90.0] * count, "REAL", "Ridge", "deg"),
                "ground_m": Column([200.125, None] * (count // 2), "REAL", "Ground", "m"),
                "night_lux": Column([None] * count, "REAL", "Light at night", "lx"),
                "tiles": Column([None] * (count - 1) + [2**53 - 1], "INTEGER"),
                "clear": Column([True, None, False] * (count // 3), "BOOLEAN"),
                "geometry": Column(["a column of that name"] * count, "TEXT"),
            },
            shapes,
            "Polygon",
            "Candidates",
        ),
        "pads": Table(
            {"cut_m3": Column([12.5], "REAL", "Cut", "m3")}, [shapes[0].buffer(unit, join_style="mitre")], "Polygon"
        ),
        "stakes": Table(
            {
                "rank": Column([1, 1, 1], "INTEGER"),
                "kind": Column(["corner", "corner", "grid"], "TEXT"),
                "label": Column(["NE", None, HOSTILE[0]], "TEXT"),
                "ground_m": Column([201.5, None, 0.0], "REAL", "Ground", "m"),
                "cut_m": Column([0.1, None, -0.0], "REAL", "Cut (+) or fill (-)", "m"),
            },
            [shapely.Point(east, north), None, shapely.Point(east + 29.26 * unit, north)],
            "Point",
        ),
        "rejections": Table(
            {"rule": Column(["water"] * 2, "TEXT")}, [shapely.MultiPolygon([hole])] * 2, "MultiPolygon", "Rejected"
        ),
        "lines": Table(
            {"kind": Column(["swale", "contour after"], "TEXT"), "level_m": Column([None, 200.5], "REAL", "", "m")},
            [shapely.LineString(line) for line in lines],
            "LineString",
        ),
        "trenches": Table({"service": Column([], "TEXT")}, [], "LineString"),
        "criteria": Table({"id": Column(["pitch", "sun"], "TEXT"), "weight": Column([1.0, None], "REAL")}),
    }


def write_example(
    path: Path, system: str = "EPSG:26917", place: tuple[float, float] = (731_000.0, 4_765_000.0)
) -> Path:
    """The example as a GeoPackage."""
    tables = example_tables(*place, unit=1e-5 if pyproj.CRS(system).is_geographic else 1.0)
    styles = {
        "candidates": candidates_sld([80, 85, 90]),
        "pads": pads_sld(),
        "stakes": stakes_sld(),
        "rejections": rejections_sld(),
        "trenches": trenches_sld(),
        "lines": plan_styles()["lines"],
    }
    write_geopackage(
        path,
        tables,
        crs=pyproj.CRS(system),
        styles=styles,
        lineage_xml=LINEAGE,
        cautions=CAUTIONS,
        overwrite=True,
        stamp=STAMP,
    )
    return path
