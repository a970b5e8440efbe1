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


# Flags of a candidate as a client reads them.
FLAGS = {
    "pitch uncertain": "the slope is not certain: check it with a level",
    "pitch not resolved by the elevation model": "the elevation model is too coarse to show the slope",
    "within 3/4 in per 12 ft as it lies": "as level as a finished pad already",
    "sun not assessed": "the sun was not looked at",
}


def plain_flags(flags: str) -> str:
    """The flags of a candidate, which are joined by `; `, in a client's words."""
    return "; ".join(FLAGS.get(one, one) for one in flags.split("; "))


def plain_sentence(words: str) -> str:
    """A sentence that names flags, with them in a client's words."""
    for flag, told in FLAGS.items():
        words = words.replace(flag, told)
    return words
