"""GPX 1.1 for hand-held receivers: waypoints, routes and tracks in WGS 84 (schema http://www.topografix.com/GPX/1/1/gpx.xsd)."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pyogrio

from tunnelsite.io.formats.xml_words import document_text, shown_words

_GPX = "http://www.topografix.com/GPX/1/1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"


@dataclass(frozen=True)
class Mark:
    """One place: degrees in WGS 84; height in metres in the height system of the data, None where it is not known; words, or ""."""

    lon_deg: float
    lat_deg: float
    height_m: float | None = None
    name: str = ""
    text: str = ""
    kind: str = ""


@dataclass(frozen=True)
class Trail:
    """A route, which has one part, or a track, which has any number."""

    name: str
    parts: Sequence[Sequence[Mark]]


@dataclass(frozen=True)
class Gpx:
    """What a file holds. place_digits: decimals of a degree; height_digits: decimals of a metre; bounded: whether its box is stated,
    which the schema has no way to do across the antimeridian."""

    title: str
    text: str
    waypoints: Sequence[Mark] = ()
    routes: Sequence[Trail] = ()
    tracks: Sequence[Trail] = ()
    place_digits: int = 7
    height_digits: int = 2
    bounded: bool = False


def gpx_text(content: Gpx) -> str:
    """The file; the order of its elements is that of the schema's sequences (metadata, wpt, rte, trk)."""
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": "tunnelsite", "xmlns": _GPX, "xmlns:xsi": _XSI})
    root.set("xsi:schemaLocation", f"{_GPX} {_GPX}/gpx.xsd")
    about = _add(root, "metadata")
    _add(about, "name", content.title)
    _add(about, "desc", content.text)
    if content.bounded:
        _bounds(about, content)
    for mark in content.waypoints:
        _point(root, "wpt", mark, content)
    for route in content.routes:
        found = _add(root, "rte")
        _add(found, "name", route.name)
        _points(found, "rtept", (mark for part in route.parts for mark in part), content)
    for track in content.tracks:
        found = _add(root, "trk")
        _add(found, "name", track.name)
        for part in track.parts:
            _points(_add(found, "trkseg"), "trkpt", part, content)
    return document_text(root)


def check_gpx(path: Path, text: str) -> None:
    """Errors: OSError unless GDAL reads as many waypoints, routes and tracks as the text holds."""
    for layer, tag in (("waypoints", "<wpt "), ("routes", "<rte>"), ("tracks", "<trk>")):
        found = pyogrio.read_info(path, layer=layer, force_feature_count=True)["features"]
        if found != text.count(tag):
            raise OSError(f"read back, {found} {layer}, not {text.count(tag)}")


def _bounds(about: ElementTree.Element, content: Gpx) -> None:
    lon = [mark.lon_deg for mark in content.waypoints]
    lat = [mark.lat_deg for mark in content.waypoints]
    if not lon or max(lon) - min(lon) >= 180:
        return
    ends = {"minlat": min(lat), "minlon": min(lon), "maxlat": max(lat), "maxlon": max(lon)}
    _add(about, "bounds").attrib.update({name: f"{value:.{content.place_digits}f}" for name, value in ends.items()})


def _points(parent: ElementTree.Element, tag: str, marks: Iterable[Mark], content: Gpx) -> None:
    for mark in marks:
        _point(parent, tag, mark, content)


def _point(parent: ElementTree.Element, tag: str, mark: Mark, content: Gpx) -> None:
    found = _add(parent, tag)
    # 180 itself is outside the schema's longitudeType, which stops below it.
    lon = mark.lon_deg - 360.0 if mark.lon_deg >= 180.0 else mark.lon_deg
    found.set("lat", f"{mark.lat_deg:.{content.place_digits}f}")
    found.set("lon", f"{lon:.{content.place_digits}f}")
    if mark.height_m is not None:
        _add(found, "ele", f"{mark.height_m:.{content.height_digits}f}")
    for part, words in (("name", mark.name), ("desc", mark.text), ("type", mark.kind)):
        if words:
            _add(found, part, words)


def _add(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    child = ElementTree.SubElement(parent, tag)
    if text is not None:
        child.text = shown_words(text)
    return child
