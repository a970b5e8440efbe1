"""The elements of an OGC Styled Layer Descriptor 1.0.0 (OGC 02-070), in the order its schema asks for."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

SLD = "http://www.opengis.net/sld"
OGC = "http://www.opengis.net/ogc"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
SCHEMA_LOCATION = f"{SLD} http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd"
DARK, LIGHT, GREY = "#1a1a1a", "#ffffff", "#808080"


def document(name: str, title: str) -> tuple[ElementTree.Element, ElementTree.Element]:
    """An empty document for one layer. Returns: its root and the element that takes rules."""
    root = ElementTree.Element("sld:StyledLayerDescriptor")
    for key, value in (
        ("xmlns:sld", SLD),
        ("xmlns:ogc", OGC),
        ("xmlns:xsi", XSI),
        ("xsi:schemaLocation", SCHEMA_LOCATION),
    ):
        root.set(key, value)
    root.set("version", "1.0.0")
    layer = add(root, "sld:NamedLayer")
    add(layer, "sld:Name", name)
    style = add(layer, "sld:UserStyle")
    add(style, "sld:Name", name)
    add(style, "sld:Title", title)
    add(style, "sld:IsDefault", "1")
    return root, add(style, "sld:FeatureTypeStyle")


def add_rule(style: ElementTree.Element, name: str, title: str) -> ElementTree.Element:
    """A rule, empty but for its name and title."""
    rule = add(style, "sld:Rule")
    add(rule, "sld:Name", name)
    add(rule, "sld:Title", title)
    return rule


def add_comparison(parent: ElementTree.Element, operator: str, column: str, value: str) -> None:
    """`column operator value` inside a filter."""
    comparison = add(parent, f"ogc:{operator}")
    add(comparison, "ogc:PropertyName", column)
    add(comparison, "ogc:Literal", value)


def add_polygon(
    rule: ElementTree.Element,
    *,
    stroke: str,
    width: float,
    fill: str = "",
    fill_opacity: float = 1.0,
    dashes: str = "",
) -> None:
    """A polygon symbolizer."""
    polygon = add(rule, "sld:PolygonSymbolizer")
    if fill:
        add_parameters(add(polygon, "sld:Fill"), ("fill", fill), ("fill-opacity", f"{fill_opacity:g}"))
    add_stroke(polygon, stroke, width, dashes)


def add_stroke(parent: ElementTree.Element, stroke: str, width: float, dashes: str = "") -> None:
    """The stroke of a symbolizer or mark."""
    extra = (("stroke-dasharray", dashes),) if dashes else ()
    add_parameters(add(parent, "sld:Stroke"), ("stroke", stroke), ("stroke-width", f"{width:g}"), *extra)


def add_point(rule: ElementTree.Element, mark: str, size: int, fill: str) -> None:
    """A point symbolizer with a well-known mark."""
    graphic = add(add(rule, "sld:PointSymbolizer"), "sld:Graphic")
    shape = add(graphic, "sld:Mark")
    add(shape, "sld:WellKnownName", mark)
    add_parameters(add(shape, "sld:Fill"), ("fill", fill))
    add_stroke(shape, DARK, 1.0)
    add(graphic, "sld:Size", str(size))


def add_label(rule: ElementTree.Element, column: str, along: bool = False) -> None:
    """A label from a column, with a halo: in the middle, or along a line."""
    text = add(rule, "sld:TextSymbolizer")
    add(add(text, "sld:Label"), "ogc:PropertyName", column)
    add_parameters(add(text, "sld:Font"), ("font-family", "sans-serif"), ("font-size", "12"), ("font-weight", "bold"))
    placement = add(text, "sld:LabelPlacement")
    if along:
        add(add(placement, "sld:LinePlacement"), "sld:PerpendicularOffset", "0")
    else:
        anchor = add(add(placement, "sld:PointPlacement"), "sld:AnchorPoint")
        add(anchor, "sld:AnchorPointX", "0.5")
        add(anchor, "sld:AnchorPointY", "0.5")
    halo = add(text, "sld:Halo")
    add(halo, "sld:Radius", "2")
    add_parameters(add(halo, "sld:Fill"), ("fill", LIGHT))
    add_parameters(add(text, "sld:Fill"), ("fill", DARK))


def add_parameters(parent: ElementTree.Element, *pairs: tuple[str, str]) -> None:
    """CSS parameters, in order."""
    for name, value in pairs:
        add(parent, "sld:CssParameter", value).set("name", name)


def add(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    """A child element."""
    child = ElementTree.SubElement(parent, tag)
    child.text = text
    return child


def text(root: ElementTree.Element) -> str:
    """The document as text, with its declaration."""
    # Prefixes are written out rather than registered: registering is a change to the whole process.
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def add_line(rule: ElementTree.Element, stroke: str, width: float, dashes: str = "") -> None:
    """A line symbolizer."""
    add_stroke(add(rule, "sld:LineSymbolizer"), stroke, width, dashes)
