"""Lists that people make by hand: a CSV with places and heights, waypoints of a GPS receiver; read into GeoJSON features."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyogrio
import shapely

from tunnelsite.core.errors import InputRefused, TunnelsiteError, UsageError
from tunnelsite.core.units import FOOT_M, length_m
from tunnelsite.io.read.files import checked_file
from tunnelsite.io.read.vector_files import opened_vector

MOST_ROWS, MOST_BYTES = 100_000, 32 << 20
# Headings as people write them -> (column of ours, metres in one unit); lengths without a unit in the heading may carry one each.
_LAT, _LON = ("lat", "latitude", "lat_deg", "y"), ("lon", "long", "lng", "longitude", "lon_deg", "x")
_LENGTHS = {"height": "height_m", "crown_radius": "crown_radius_m", "crown_base": "crown_base_m"}
_UNITS = {"m": 1.0, "ft": FOOT_M, "feet": FOOT_M, "metres": 1.0, "meters": 1.0}
_HALVED = {
    "crown": "crown_radius_m",
    "crown_width": "crown_radius_m",
    "crown_diameter": "crown_radius_m",
    "spread": "crown_radius_m",
}
_HEIGHT_WORDS = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)\s*(ft|feet|foot|'|m|metres|meters)(?!\w)", re.IGNORECASE)


@dataclass(frozen=True)
class ListedFeatures:
    """A list read: features as a GeoJSON FeatureCollection in longitude and latitude; notes on what was assumed or left out."""

    collection: dict[str, Any]
    notes: tuple[str, ...]


def listed_features(path: str | Path) -> ListedFeatures:
    """A CSV with columns lat and lon (degrees), or the waypoints of a GPX file.

    Heights come from columns such as height_ft, height_m, crown_width_ft, or from a waypoint's name or comment ("maple 40 ft").
    Errors: InputRefused for a file without places, UsageError for another ending.
    """
    file = checked_file(str(path), "list")
    ending = file.suffix.lower()
    if ending == ".csv":
        return _from_csv(file)
    if ending == ".gpx":
        return _from_gpx(file)
    raise UsageError(f"{file.name} ends in {ending!r}", ".csv or .gpx", "export the list as one of these")


def _from_csv(file: Path) -> ListedFeatures:
    text = _text(file)
    try:
        sample = csv.Sniffer().sniff(text[:4096], delimiters=",;\t")
    except csv.Error:
        sample = csv.excel
    rows = list(csv.DictReader(io.StringIO(text), dialect=sample))[: MOST_ROWS + 1]
    names = {str(name).strip().lower().replace(" ", "_"): name for name in (rows[0] if rows else {}) if name}
    lat, lon = (next((names[word] for word in words if word in names), None) for words in (_LAT, _LON))
    if lat is None or lon is None or not rows:
        raise InputRefused(
            f"{file.name} has the columns {', '.join(names) or 'none'}",
            "columns lat and lon in degrees, and rows below them",
            "name the columns so; a map coordinate system is not read from a CSV",
        )
    if len(rows) > MOST_ROWS:
        raise InputRefused(f"{file.name} has more than {MOST_ROWS:,} rows", "a list made by hand", "use a GeoPackage")
    features = [_row(row, (lat, lon), names, f"{file.name}, row {number}") for number, row in enumerate(rows, 2)]
    return _collected(features, [])


def _text(file: Path) -> str:
    if file.stat().st_size > MOST_BYTES:
        raise InputRefused(
            f"{file.name} is larger than {MOST_BYTES >> 20} MB", "a list made by hand", "use a GeoPackage"
        )
    try:
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise InputRefused(
            f"{file.name} is not UTF-8 text ({problem.reason})", "CSV saved as UTF-8", "save it so"
        ) from None


def _row(row: dict[str, Any], places: tuple[str, str], names: dict[str, str], where: str) -> dict[str, Any]:
    lat, lon = (_degrees(row.get(column), column, where) for column in places)
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise InputRefused(
            f"{where} lies at lat {lat:g}, lon {lon:g}", "degrees, lat -90 to 90", "check which column is which"
        )
    words: dict[str, Any] = {}
    for plain, name in names.items():
        value = (row.get(name) or "").strip() if isinstance(row.get(name), str) else ""
        if name in places or not value:
            continue
        column, factor = _column(plain)
        words[column] = value if factor is None else _metres(value, factor, f"{where}, {name}")
    return {"type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, lat]}, "properties": words}


def _column(plain: str) -> tuple[str, float | None]:
    """Our column and metres per unit of a heading; None for a column that is kept as it is."""
    stem, _, unit = plain.rpartition("_")
    stem, factor = (stem, _UNITS[unit]) if unit in _UNITS else (plain, math.nan)
    if stem in _LENGTHS:
        return _LENGTHS[stem], factor
    if stem in _HALVED:
        return _HALVED[stem], factor / 2
    return plain, None


def _metres(value: str, factor: float, where: str) -> float:
    if math.isnan(factor):  # the heading names no unit, so each value has to
        try:
            if value[-1].isdigit():  # a length without a unit would count as metres
                raise ValueError
            return round(length_m(value, where, least_m=0.0, most_m=500.0), 4)
        except (TunnelsiteError, ValueError):
            raise InputRefused(
                f"{where} is {value!r}", "a length with its unit, or a heading such as height_ft", "add the unit"
            ) from None
    try:
        found = float(value.replace(",", ".")) * factor
    except ValueError:
        found = math.nan
    if not 0 <= found <= 500:
        raise InputRefused(f"{where} is {value!r}", "a number of 0 to 500 m", "correct it")
    return round(found, 4)


def _degrees(value: Any, column: str, where: str) -> float:
    try:
        return float(str(value).strip().replace(",", "."))
    except ValueError:
        raise InputRefused(f"{where}: {column} is {value!r}", "decimal degrees such as 43.0125", "correct it") from None


def _from_gpx(file: Path) -> ListedFeatures:
    with opened_vector(file, "list") as opened:
        meta, _, geometry, columns = pyogrio.raw.read(opened.target, layer="waypoints")
    table = dict(zip(meta["fields"], columns, strict=True))
    places = shapely.from_wkb(geometry)
    if not len(places):
        raise InputRefused(f"{file.name} has no waypoints", "waypoints", "export them from the receiver")
    features, without = [], 0
    for k, place in enumerate(places):
        said = {
            name: str(table[name][k]) for name in ("name", "cmt", "desc", "sym") if name in table and table[name][k]
        }
        height = next((_height(said[name]) for name in ("name", "cmt", "desc") if _height(said.get(name, ""))), None)
        without += height is None
        words = said | ({} if height is None else {"height_m": height})
        spot = {"type": "Point", "coordinates": [place.x, place.y]}
        features.append({"type": "Feature", "geometry": spot, "properties": words})
    notes = [f"{without} of {len(features)} waypoints name no height, as in `maple 40 ft`"] if without else []
    return _collected(features, notes)


def _height(text: str) -> float | None:
    found = _HEIGHT_WORDS.search(text)
    if found is None:
        return None
    unit = found[2].lower()
    return round(float(found[1]) * (1.0 if unit.startswith("m") else FOOT_M), 4)


def _collected(features: list[dict[str, Any]], notes: list[str]) -> ListedFeatures:
    return ListedFeatures({"type": "FeatureCollection", "features": features}, tuple(notes))
