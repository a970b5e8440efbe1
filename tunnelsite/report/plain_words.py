"""Names of houses, ridges and files as a client reads them."""

from __future__ import annotations

import re

_SIZE = re.compile(r"^\s*([\d.]+)\s*[x×]\s*([\d.]+)\s*(ft|m)\s*$")
_FILE = re.compile(
    r"\b([\w-]+)\.(?:gpkg|geojson|json|shp|fgb|gml|kml|gpx|tiff?|asc|csv|toml|epw)\b(?:#\w+)?", re.IGNORECASE
)


def house_words(name: str) -> str:
    """`30 x 96 ft` of `30x96ft`; any other name as it is."""
    size = _SIZE.match(name)
    return f"{size[1]} × {size[2]} {size[3]}" if size else name


def file_words(text: str) -> str:
    """A text without the endings of file names: `wetland.gpkg` becomes `wetland`."""
    return _FILE.sub(lambda found: found[1].replace("_", " "), text)
