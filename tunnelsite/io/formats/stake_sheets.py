"""Writes a stake-out sheet for the field: CSV, GPX 1.1, GeoJSON (RFC 7946), DXF (R12) or a page to print, by the
file's ending."""

from __future__ import annotations

import json
import os
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from pathlib import Path

import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.stake_sheet import CARE, StakePoint, StakeSheet
from tunnelsite.core.units import FOOT_M, also_in_feet
from tunnelsite.io.formats.csv_table import write_csv
from tunnelsite.io.formats.tables import Column, Table
from tunnelsite.io.formats.xml_words import xml_words
from tunnelsite.io.write.staging import write_whole

GPX = "http://www.topografix.com/GPX/1/1"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
PLACES = 9  # decimals of a degree: 0.1 mm


def write_stake_sheet(path: str | os.PathLike, sheet: StakeSheet, *, overwrite: bool = False) -> None:
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
    from tunnelsite.io.formats.stake_dxf import dxf_text
    from tunnelsite.io.formats.stake_page import page_html

    return {".gpx": gpx_text, ".geojson": geojson_text, ".dxf": dxf_text, ".html": page_html}


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


def gpx_text(sheet: StakeSheet) -> str:
    """The stakes as GPX 1.1 waypoints, and the house as a route round its corners.

    `ele` is the natural ground where it is known (metres, in the height system of the data). Element order as in the
    schema's sequences (metadata, wpt, rte; in a waypoint ele, name, cmt, desc, type).
    """
    ElementTree.register_namespace("", GPX)
    root = ElementTree.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "tunnelsite"})
    location = f"{GPX} {GPX}/gpx.xsd"
    root.set(f"{{{XSI}}}schemaLocation", location)
    about = _element(root, "metadata")
    _element(about, "name", sheet.title)
    _element(about, "desc", " ".join([f"Stakes of a {sheet.house} house.", *sheet.cautions]))
    lon = [point.lon_deg for point in sheet.points]
    lat = [point.lat_deg for point in sheet.points]
    if max(lon) - min(lon) < 180:
        ends = {"minlat": min(lat), "minlon": min(lon), "maxlat": max(lat), "maxlon": max(lon)}
        _element(about, "bounds").attrib.update({name: f"{value:.{PLACES}f}" for name, value in ends.items()})
    for point in sheet.points:
        _waypoint(root, "wpt", point, sheet.feet)
    route = _element(root, "rte")
    _element(route, "name", f"{sheet.title} outline")
    corners = sheet.of_kind("corner")
    for point in [*corners, *corners[:1]]:
        _waypoint(route, "rtept", point, sheet.feet)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _waypoint(parent: ElementTree.Element, tag: str, point: StakePoint, feet: bool) -> None:
    # 180 itself is outside the schema's longitudeType, which stops below it.
    lon = point.lon_deg - 360.0 if point.lon_deg >= 180.0 else point.lon_deg
    found = _element(parent, tag)
    found.set("lat", f"{point.lat_deg:.{PLACES}f}")
    found.set("lon", f"{lon:.{PLACES}f}")
    if point.ground_m is not None:
        _element(found, "ele", f"{point.ground_m:.3f}")
    _element(found, "name", point.label)
    if point.cut_m is not None:
        also = f" ({abs(point.cut_m) / FOOT_M:.2f} ft)" if feet else ""
        _element(found, "desc", f"{'cut' if point.cut_m >= 0 else 'fill'} {abs(point.cut_m):.3f} m{also}")
    _element(found, "type", point.kind)


def _element(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    found = ElementTree.SubElement(parent, f"{{{GPX}}}{tag}")
    if text is not None:
        found.text = xml_words(text)
    return found


def geojson_text(sheet: StakeSheet) -> str:
    """The stakes and the footprint as GeoJSON (RFC 7946): WGS 84, the ring counter-clockwise (section 3.1.6).

    Heights are properties: a third coordinate would mean metres above the ellipsoid (section 4), which they are not.
    """
    corners = [(point.lon_deg, point.lat_deg) for point in sheet.of_kind("corner")]
    ring = shapely.orient_polygons(shapely.Polygon(corners)).exterior.coords
    outline = {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [[_place(*corner) for corner in ring]]},
        "properties": {
            "kind": "footprint", "label": sheet.title, "house": sheet.house, "length_m": sheet.length_m,
            "width_m": sheet.width_m, "bearing_deg": round(sheet.true_deg, 4), "heights": sheet.heights_words,
        },
    }  # fmt: skip
    features = [outline] + [_feature(point, sheet.feet) for point in sheet.points]
    document = {"type": "FeatureCollection", "features": features, "cautions": list(sheet.cautions)}
    return json.dumps(document, ensure_ascii=True, allow_nan=False, indent=1) + "\n"


def _feature(point: StakePoint, feet: bool) -> dict:
    heights = {name: getattr(point, name) for name in ("along_m", "across_m", "ground_m", "finish_m", "cut_m")}
    rounded = {name: None if value is None else round(value, 4) + 0.0 for name, value in heights.items()}
    if feet:
        rounded |= also_in_feet(heights)
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": _place(point.lon_deg, point.lat_deg)},
        "properties": {"kind": point.kind, "label": point.label, **rounded},
    }


def _place(lon_deg: float, lat_deg: float) -> list[float]:
    return [round(lon_deg, PLACES), round(lat_deg, PLACES)]
