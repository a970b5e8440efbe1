"""A screening or plan as KML 2.2 (OGC 07-147r2)."""

from __future__ import annotations

import html
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyogrio
import shapely

from tunnelsite.io.formats.looks import Look, looks
from tunnelsite.io.formats.world import PLACES, WorldLayer, middle
from tunnelsite.io.formats.xml_words import document_text, shown_words, xml_words

KML = "http://www.opengis.net/kml/2.2"
SHOWN = (
    "candidates",
    "pads",
    "layout",
    "trenches",
    "lines",
    "areas",
)  # the others are there, but switched off at first
LABELLED = ("candidates", "layout")


def kml_text(layers: Sequence[WorldLayer], title: str, cautions: Sequence[str]) -> str:
    """One document with a folder for each layer; nothing is fetched from anywhere and nothing in it runs.

    A viewer takes a description for HTML, so its words are escaped once for HTML and once for XML; the balloon shows
    the description and nothing else. Every value also stands, as it is, in ExtendedData; what was not assessed is left
    out there, since KML knows no null. A placemark whose geometry is not there has none.
    """
    root = ElementTree.Element("kml", {"xmlns": KML})
    document = _add(root, "Document")
    _add(document, "name", title)
    notes = list(dict.fromkeys(note for layer in layers for note in layer.notes))
    _add(document, "description", _html([*notes, *cautions]))
    styled = [looks(layer) for layer in layers]
    for look in {one.id: one for row in styled for one in row}.values():
        _style(document, look)
    for layer, row_looks in zip(layers, styled, strict=True):
        folder = _add(document, "Folder")
        _add(folder, "name", layer.name)
        _add(folder, "visibility", "1" if layer.name in SHOWN else "0")
        _add(folder, "description", _html([layer.title]))
        for shape, row, look in zip(layer.geometry, layer.table.rows, row_looks, strict=True):
            _placemark(folder, layer, (shape, row, look))
    return document_text(root)


def check_kml(path: Path, layers: Sequence[WorldLayer]) -> None:
    """Errors: OSError unless GDAL reads as many placemarks as were given (it may leave out those without a place)."""
    found = 0
    for name, _ in pyogrio.list_layers(path):
        found += pyogrio.read_info(path, layer=name, force_feature_count=True)["features"]
    most = sum(len(layer.geometry) for layer in layers)
    least = sum(int((~shapely.is_missing(layer.geometry)).sum()) for layer in layers)
    if not least <= found <= most:
        raise OSError(f"read back, {found} placemarks, not {most}")


def _placemark(
    folder: ElementTree.Element, layer: WorldLayer, feature: tuple[shapely.Geometry | None, dict[str, Any], Look]
) -> None:
    shape, row, look = feature
    placemark = _add(folder, "Placemark")
    _add(placemark, "name", _name(layer, row))
    _add(placemark, "visibility", "1" if layer.name in SHOWN else "0")
    _add(placemark, "description", _html(_sentences(layer, row)))
    _add(placemark, "styleUrl", f"#{look.id}")
    there = {name: value for name, value in row.items() if value is not None}
    if there:
        extended = _add(placemark, "ExtendedData")
        for name, value in there.items():
            data = _add(extended, "Data")
            data.set("name", xml_words(name))
            _add(data, "value", _plain(value))
    if shape is not None:
        parts = list(shapely.get_parts(shape))
        if layer.name in LABELLED:
            parts = [middle(shape), *parts]  # viewers write a name beside a point, never beside an area
        parent = placemark if len(parts) == 1 else _add(placemark, "MultiGeometry")
        for part in parts:
            _geometry(parent, part)


def _name(layer: WorldLayer, row: dict[str, Any]) -> str:
    words = [
        str(row[name]) for name in ("rank", "service", "label", "kind", "rule", "parcel") if row.get(name) is not None
    ]
    return " ".join(words[:2]) or layer.name


def _sentences(layer: WorldLayer, row: dict[str, Any]) -> list[str]:
    """What a person reads first; the marks of each criterion stay in ExtendedData."""
    found = []
    for name, column in layer.table.columns.items():
        value = row.get(name)
        if value is None or name.startswith("score_"):
            continue
        unit = "" if column.unit in ("", "1", "0-1", "0-100") else f" {column.unit}"
        digits = f".{PLACES}f" if name.endswith(("lon", "lat")) else ".4g"
        found.append(f"{name}: {value:{digits}}{unit}" if isinstance(value, float) else f"{name}: {value}{unit}")
    return found


def _html(sentences: Sequence[str]) -> str:
    return "<br/>".join(html.escape(shown_words(sentence)) for sentence in sentences)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return xml_words(value) if isinstance(value, str) else repr(value)


def _style(document: ElementTree.Element, look: Look) -> None:
    style = _add(document, "Style")
    style.set("id", look.id)
    icon = _add(style, "IconStyle")
    _add(icon, "color", _colour(look.fill or look.stroke, 1.0))
    _add(icon, "scale", f"{look.icon_scale:g}")
    label = _add(style, "LabelStyle")
    _add(label, "scale", "1" if look.labelled else "0")
    line = _add(style, "LineStyle")
    _add(line, "color", _colour(look.stroke, 1.0))
    _add(line, "width", f"{look.width:g}")
    area = _add(style, "PolyStyle")
    _add(area, "color", _colour(look.fill or look.stroke, look.opacity if look.fill else 0.0))
    _add(area, "fill", "1" if look.fill else "0")
    _add(area, "outline", "1")
    _add(_add(style, "BalloonStyle"), "text", "$[description]")


def _colour(rgb: str, opacity: float) -> str:
    """`#rrggbb` as aabbggrr, the order of KML (clause 16.9, kml:color)."""
    return f"{round(255 * opacity):02x}{rgb[5:7]}{rgb[3:5]}{rgb[1:3]}"


def _geometry(parent: ElementTree.Element, shape: shapely.Geometry) -> None:
    if shape.geom_type == "Point":
        _add(_add(parent, "Point"), "coordinates", _coordinates(shape))
    elif shape.geom_type == "LineString":
        line = _add(parent, "LineString")
        _add(line, "tessellate", "1")
        _add(line, "coordinates", _coordinates(shape))
    else:
        polygon = _add(parent, "Polygon")
        for ring, tag in [
            (shape.exterior, "outerBoundaryIs"),
            *((hole, "innerBoundaryIs") for hole in shape.interiors),
        ]:
            _add(_add(_add(polygon, tag), "LinearRing"), "coordinates", _coordinates(ring))


def _coordinates(shape: shapely.Geometry) -> str:
    return " ".join(f"{lon:.{PLACES}f},{lat:.{PLACES}f}" for lon, lat in shapely.get_coordinates(shape))


def _add(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    child = ElementTree.SubElement(parent, tag)
    if text is not None:
        child.text = text if tag in ("description", "value", "text") else shown_words(text)
    return child
