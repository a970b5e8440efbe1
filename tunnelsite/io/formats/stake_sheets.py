"""Writes a stake-out sheet for the field: CSV, GPX 1.1, GeoJSON (RFC 7946), DXF (R12) or a page to print, by the
file's ending."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.stake_sheet import CARE, StakePoint, StakeSheet
from tunnelsite.core.table import Column, Table
from tunnelsite.core.units import FOOT_M, also_in_feet
from tunnelsite.io.formats.csv_table import write_csv
from tunnelsite.io.formats.geojson import collection_text, feature
from tunnelsite.io.formats.gpx import Gpx, Mark, Trail, gpx_text
from tunnelsite.io.write.staging import write_whole

PLACES = 9  # decimals of a degree: 0.1 mm


def write_stake_sheet(path: str | os.PathLike[str], sheet: StakeSheet, *, overwrite: bool = False) -> None:
    """Write the sheet in the format of the path's ending: `.csv`, `.gpx`, `.geojson`, `.dxf` or `.html`.

    Errors: UsageError for another ending, or DXF without its extra; OutputFailed (what was there stays whole).
    """
    ending = Path(path).suffix.lower()
    if ending == ".csv":
        write_csv(path, sheet_table(sheet), overwrite=overwrite)
        return
    writers = _writers()
    if ending not in writers:
        raise UsageError(f"stake-out sheet {path}", f"a name that ends in .csv or {', '.join(writers)}", "rename it")
    write_whole(path, writers[ending](sheet), overwrite=overwrite)


def _writers() -> dict[str, Callable[[StakeSheet], str | bytes]]:
    from tunnelsite.io.formats.stake_dxf import stake_dxf
    from tunnelsite.io.formats.stake_page import page_html

    return {".gpx": stake_gpx, ".geojson": stake_geojson, ".dxf": stake_dxf, ".html": page_html}


def sheet_table(sheet: StakeSheet) -> Table:
    """The stakes as a table; heights and cuts also in feet where the user works in feet."""
    points = sheet.points

    def column(name: str, title: str, unit: str, kind: str = "REAL", digits: int = 4, per: float = 1.0) -> Column:
        values = [getattr(point, name) for point in points]
        if kind == "REAL":
            values = [None if value is None else round(value / per, digits) + 0.0 for value in values]
        return Column(values, kind, title, unit)

    unit = sheet.crs.axis_info[0].unit_name if sheet.crs.axis_info else ""
    map_digits = 9 if sheet.crs.is_geographic else 4
    columns = {
        "house": Column([sheet.title] * len(points), "TEXT", "house"),
        "label": column("label", "name of the stake", "", "TEXT"),
        "kind": column("kind", "kind of stake", "", "TEXT"),
        "along_m": column("along_m", "along the ridge from the centre", "m"),
        "across_m": column("across_m", "across the ridge from the centre", "m"),
        "easting": column("easting", f"easting, {sheet.crs.name}", unit, digits=map_digits),
        "northing": column("northing", f"northing, {sheet.crs.name}", unit, digits=map_digits),
        "lon": column("lon_deg", "longitude, WGS 84", "deg", digits=PLACES),
        "lat": column("lat_deg", "latitude, WGS 84", "deg", digits=PLACES),
        "ground_m": column("ground_m", "natural ground", "m"),
        "finish_m": column("finish_m", "finished ground", "m"),
        "cut_m": column("cut_m", "cut (+) or fill (-)", "m"),
    }
    if sheet.feet:
        for name in ("along", "across", "ground", "finish", "cut"):
            old = columns[f"{name}_m"]
            columns[f"{name}_ft"] = column(f"{name}_m", old.title, "ft", digits=3, per=FOOT_M)
    # a sheet is often all that goes to the field, and a table has no room for the cautions in full
    columns["care"] = Column([CARE] * len(points), "TEXT", "before anything is driven or dug")
    return Table(columns, title="Stakes", description=sheet.heights_words)


def stake_gpx(sheet: StakeSheet) -> str:
    """The stakes as GPX 1.1 waypoints, and the house as a route round its corners.

    The height of a stake is the natural ground where it is known, in the height system of the data.
    """
    corners = sheet.of_kind("corner")
    outline = Trail(f"{sheet.title} outline", (_marks([*corners, *corners[:1]], sheet.feet),))
    text = " ".join([f"Stakes of a {sheet.house} house.", *sheet.cautions])
    marks = _marks(sheet.points, sheet.feet)
    return gpx_text(Gpx(sheet.title, text, marks, (outline,), (), PLACES, 3, bounded=True))


def _marks(points: Sequence[StakePoint], feet: bool) -> list[Mark]:
    return [
        Mark(point.lon_deg, point.lat_deg, point.ground_m, point.label, _cut(point.cut_m, feet), point.kind)
        for point in points
    ]


def _cut(cut_m: float | None, feet: bool) -> str:
    if cut_m is None:
        return ""
    metres = f"{abs(cut_m):.3f} m"
    amount = f"{abs(cut_m) / FOOT_M:.2f} ft ({metres})" if feet else metres
    return f"{'cut' if cut_m >= 0 else 'fill'} {amount}"


def stake_geojson(sheet: StakeSheet) -> str:
    """The stakes and the footprint as GeoJSON: WGS 84, the ring counter-clockwise (section 3.1.6 of RFC 7946)."""
    corners = [(point.lon_deg, point.lat_deg) for point in sheet.of_kind("corner")]
    outline = feature(
        shapely.orient_polygons(shapely.Polygon(corners)),
        {
            "kind": "footprint", "label": sheet.title, "house": sheet.house, "length_m": sheet.length_m,
            "width_m": sheet.width_m, "bearing_deg": round(sheet.true_deg, 4), "heights": sheet.heights_words,
        },
        PLACES,
    )  # fmt: skip
    features = [outline] + [_feature(point, sheet.feet) for point in sheet.points]
    return collection_text(features, {"cautions": list(sheet.cautions)})


def _feature(point: StakePoint, feet: bool) -> dict[str, Any]:
    heights = {name: getattr(point, name) for name in ("along_m", "across_m", "ground_m", "finish_m", "cut_m")}
    rounded = {name: None if value is None else round(value, 4) + 0.0 for name, value in heights.items()}
    if feet:
        rounded |= also_in_feet(heights)
    place = shapely.Point(point.lon_deg, point.lat_deg)
    return feature(place, {"kind": point.kind, "label": point.label, **rounded}, PLACES)
