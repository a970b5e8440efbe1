"""A screening or plan as GPX 1.1 for a hand-held receiver: centres and corners as waypoints, footprints as routes,
lines as tracks."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pyogrio
import shapely

from tunnelsite.io.formats.stake_sheets import GPX, XSI
from tunnelsite.io.formats.world import PLACES, WorldLayer, middle, rows_of
from tunnelsite.io.formats.xml_words import document_text, shown_words

STAKES = ("corner",)  # a receiver knows places to a metre or more: offset, apron and grid stakes are for a tape
FOOTPRINTS = ("candidates", "layout")
_LEFT_OUT = ("contour before", "contour after")


def gpx_text(layers: Sequence[WorldLayer], title: str, cautions: Sequence[str]) -> str:
    """One file for all layers; element order as in the schema's sequences (metadata, wpt, rte, trk).

    `ele` is the natural ground where it is known, in the height system of the data.
    """
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": "tunnelsite", "xmlns": GPX, "xmlns:xsi": XSI})
    root.set("xsi:schemaLocation", f"{GPX} {GPX}/gpx.xsd")
    about = _add(root, "metadata")
    _add(about, "name", title)
    notes = list(dict.fromkeys(note for layer in layers for note in layer.notes))
    _add(about, "desc", " ".join([*notes, *cautions]))
    by_name = {layer.name: layer for layer in layers}
    for layer in (by_name[name] for name in FOOTPRINTS if name in by_name):
        for shape, row in _placed(layer):
            _point(root, "wpt", middle(shape), row.get("ground_m"), name=_label(row), kind="centre", desc=_about(row))
    for shape, row in _placed(by_name["stakes"]) if "stakes" in by_name else ():
        if row.get("kind") in STAKES:
            name = f"{row.get('rank')} {row.get('label')}"
            _point(root, "wpt", shape, row.get("ground_m"), name=name, kind=str(row["kind"]), desc=_cut(row))
    for layer in (by_name[name] for name in FOOTPRINTS if name in by_name):
        for shape, row in _placed(layer):
            _route(root, shape, _label(row))
    for layer in layers:
        if layer.table.geometry_kind in ("LineString", "MultiLineString"):
            for shape, row in _placed(layer):
                if row.get("kind") not in _LEFT_OUT:
                    _track(root, shape, row)
    return document_text(root)


def check_gpx(path: Path, text: str) -> None:
    """Errors: OSError unless GDAL reads as many waypoints, routes and tracks as the text holds."""
    for layer, tag in (("waypoints", "<wpt "), ("routes", "<rte>"), ("tracks", "<trk>")):
        found = pyogrio.read_info(path, layer=layer, force_feature_count=True)["features"]
        if found != text.count(tag):
            raise OSError(f"read back, {found} {layer}, not {text.count(tag)}")


def _placed(layer: WorldLayer) -> Iterator[tuple[shapely.Geometry, dict[str, Any]]]:
    for shape, row in zip(layer.geometry, rows_of(layer.table), strict=True):
        if shape is not None:
            yield shape, row


def _label(row: dict[str, Any]) -> str:
    return " ".join(str(row[name]) for name in ("rank", "parcel") if row.get(name) is not None)


def _about(row: dict[str, Any]) -> str:
    parts = [f"score {row['score']:.1f}"] if row.get("score") is not None else []
    parts += [str(row["house"])] if row.get("house") is not None else []
    parts += [f"ridge {row['bearing_deg']:.1f} deg from true north"] if row.get("bearing_deg") is not None else []
    return ", ".join(parts)


def _cut(row: dict[str, Any]) -> str:
    cut = row.get("cut_m")
    return "" if cut is None else f"{'cut' if cut >= 0 else 'fill'} {abs(cut):.2f} m"


def _point(parent, tag: str, place: shapely.Point, height: float | None, *, name="", kind="", desc="") -> None:
    found = _add(parent, tag)
    # 180 itself is outside the schema's longitudeType, which stops below it.
    lon = place.x - 360.0 if place.x >= 180.0 else place.x
    found.set("lat", f"{place.y:.{PLACES}f}")
    found.set("lon", f"{lon:.{PLACES}f}")
    if height is not None:
        _add(found, "ele", f"{height:.2f}")
    for part, words in (("name", name), ("desc", desc), ("type", kind)):
        if words:
            _add(found, part, words)


def _route(root, shape: shapely.Geometry, name: str) -> None:
    for part in shapely.get_parts(shape):
        route = _add(root, "rte")
        _add(route, "name", f"{name} outline")
        for corner in part.exterior.coords:
            _point(route, "rtept", shapely.Point(corner), None)


def _track(root, shape: shapely.Geometry, row: dict[str, Any]) -> None:
    words = [str(row[name]) for name in ("rank", "service", "kind", "label") if row.get(name) is not None]
    track = _add(root, "trk")
    _add(track, "name", ", ".join(words) or "line")
    for part in shapely.get_parts(shape):
        segment = _add(track, "trkseg")
        for place in part.coords:
            _point(segment, "trkpt", shapely.Point(place), None)


def _add(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    child = ElementTree.SubElement(parent, tag)
    if text is not None:
        child.text = shown_words(text)
    return child
