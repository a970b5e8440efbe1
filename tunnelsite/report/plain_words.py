"""Names of houses, ridges and files as a client reads them."""

from __future__ import annotations

import re

_SIZE = re.compile(r"^\s*([\d.]+)\s*[x×]\s*([\d.]+)\s*(ft|m)\s*$")
_FILE = re.compile(
    r"\b([\w-]+)\.(?:gpkg|geojson|json|shp|fgb|gml|kml|gpx|tiff?|asc|csv|toml|epw)\b(?:#\w+)?", re.IGNORECASE
)
WAYS = ("north-south", "northeast-southwest", "east-west", "southeast-northwest")
NEARLY_DEG = 2.5


def house_words(name: str) -> str:
    """`30 x 96 ft` of `30x96ft`; any other name as it is."""
    size = _SIZE.match(name)
    return f"{size[1]} × {size[2]} {size[3]}" if size else name


def ridge_words(bearing_deg: float) -> str:
    """`east-west`; with the bearing where it is no main direction: `63° from true north (northeast-southwest)`."""
    turned = bearing_deg % 180.0
    way = round(turned / 45.0)
    if abs(turned - 45.0 * way) <= NEARLY_DEG and way % 2 == 0:
        return WAYS[way % 4]
    return f"{turned:.0f}° from true north ({WAYS[way % 4]})"


def file_words(text: str) -> str:
    """A text without the endings of file names: `wetland.gpkg` becomes `wetland`."""
    return _FILE.sub(lambda found: found[1].replace("_", " "), text)
