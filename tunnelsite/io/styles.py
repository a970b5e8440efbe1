"""OGC Styled Layer Descriptor 1.0.0 (OGC 02-070) documents for the layers this program writes.

Colours are cividis and viridis (even in perceived lightness, readable by colour-blind people), light on top
of dark ground or the other way round; kinds of points differ in shape as well as in colour.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence

import numpy as np

SLD = "http://www.opengis.net/sld"
OGC = "http://www.opengis.net/ogc"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
SCHEMA_LOCATION = f"{SLD} http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd"

# Eleven even steps of the maps (matplotlib 3.11, BSD/CC0: Nunez, Anderton and Renslow 2018,
# doi:10.1371/journal.pone.0199239; van der Walt and Smith 2015), seen in its colour tables.
PALETTES = {
    "cividis": (
        "#00224e", "#083370", "#35456c", "#4f576c", "#666970", "#7d7c78", "#948e77", "#aea371", "#c8b866",
        "#e5cf52", "#fee838",
    ),
    "viridis": (
        "#440154", "#482475", "#414487", "#355f8d", "#2a788e", "#21918c", "#22a884", "#44bf70", "#7ad151",
        "#bddf26", "#fde725",
    ),
}  # fmt: skip
_DARK, _LIGHT, _GREY = "#1a1a1a", "#ffffff", "#808080"
# kind of stake: (mark, size [pixels], position on cividis); marks are the well-known names of SLD 1.0
STAKE_MARKS = {
    "corner": ("square", 10, 0.0),
    "offset": ("triangle", 10, 0.3),
    "apron": ("circle", 8, 0.7),
    "grid": ("cross", 7, 1.0),
}


def colour(palette: str, fraction: float) -> str:
    """The colour `#rrggbb` at a fraction (0 to 1) of a palette, straight lines between its steps."""
    steps = np.array([[int(step[i : i + 2], 16) for i in (1, 3, 5)] for step in PALETTES[palette]])
    place = np.linspace(0.0, 1.0, len(steps))
    return "#" + "".join(f"{round(float(np.interp(fraction, place, steps[:, band]))):02x}" for band in range(3))


def score_breaks(scores: Sequence[float] | np.ndarray, classes: int = 5) -> list[float]:
    """Class limits of equal width over the scores there are, on whole numbers, so that near scores stay apart
    on the map.

    Arguments: scores [0-100], NaN = not assessed; classes, how many at most. Returns: increasing limits, one
    more than classes; [0, 100] if there is no score.
    """
    there = np.asarray(scores, float)
    there = there[np.isfinite(there)]
    if not there.size:
        return [0.0, 100.0]
    least, most = math.floor(there.min()), math.ceil(there.max())
    if least == most:
        least, most = (least - 1, most) if least > 0 else (least, most + 1)
    width = math.ceil((most - least) / classes)
    count = math.ceil((most - least) / width)
    return [float(most - width * (count - step)) for step in range(count + 1)]


def candidates_sld(breaks: Sequence[float]) -> str:
    """Footprints filled by score in classes, best lightest, each labelled with its rank; grey without a
    score.

    Arguments: breaks, increasing class limits of `score`, from `score_breaks`.
    """
    root, style = _document("candidates", "Candidates by score")
    count = len(breaks) - 1
    for index in reversed(range(count)):  # the best class first, as a legend is read
        least, most = breaks[index], breaks[index + 1]
        title = f"{least:g} to {most:g}" if index == count - 1 else f"{least:g} to under {most:g}"
        rule = _rule(style, f"score_{index + 1}", f"Score {title}")
        both = _add(_add(rule, "ogc:Filter"), "ogc:And")
        _comparison(both, "PropertyIsGreaterThanOrEqualTo", "score", f"{least:g}")
        _comparison(
            both,
            "PropertyIsLessThanOrEqualTo" if index == count - 1 else "PropertyIsLessThan",
            "score",
            f"{most:g}",
        )
        place = index / (count - 1) if count > 1 else 1.0
        _polygon(rule, fill=colour("cividis", place), fill_opacity=0.75, stroke=_DARK, width=1.2)
        _label(rule, "rank")
    rule = _rule(style, "no_score", "No score")
    null = _add(_add(rule, "ogc:Filter"), "ogc:PropertyIsNull")
    _add(null, "ogc:PropertyName", "score")
    _polygon(rule, fill=_GREY, fill_opacity=0.3, stroke=_DARK, width=1.2)
    _label(rule, "rank")
    return _text(root)


def pads_sld() -> str:
    """Graded pads as an outline: dark over a wider light one, so that it shows on any ground."""
    root, style = _document("pads", "Graded pads")
    rule = _rule(style, "pad", "Edge of the graded pad")
    _polygon(rule, stroke=_LIGHT, width=3.5)
    _polygon(rule, stroke=colour("cividis", 0.1), width=1.6, dashes="8 3")
    return _text(root)


def stakes_sld() -> str:
    """Stakes as points, each kind with its own mark and colour."""
    root, style = _document("stakes", "Stakes by kind")
    for kind, (mark, size, place) in STAKE_MARKS.items():
        rule = _rule(style, kind, f"{kind.capitalize()} stake")
        _comparison(_add(rule, "ogc:Filter"), "PropertyIsEqualTo", "kind", kind)
        _point(rule, mark, size, colour("cividis", place))
    rule = _rule(style, "other", "Other stake")
    _add(rule, "sld:ElseFilter")
    _point(rule, "x", 8, _GREY)
    return _text(root)


def rejections_sld() -> str:
    """What was rejected: hatched grey with a broken outline, so that nobody takes it for a candidate."""
    root, style = _document("rejections", "Rejected")
    rule = _rule(style, "rejected", "Rejected")
    polygon = _add(rule, "sld:PolygonSymbolizer")
    graphic = _add(_add(_add(polygon, "sld:Fill"), "sld:GraphicFill"), "sld:Graphic")
    mark = _add(graphic, "sld:Mark")
    _add(mark, "sld:WellKnownName", "x")
    _stroke(mark, _GREY, 0.8)
    _add(graphic, "sld:Size", "7")
    _stroke(polygon, _GREY, 1.2, "5 4")
    return _text(root)


def raster_sld(name: str, title: str, unit: str, least: float, most: float, palette: str = "viridis") -> str:
    """A colour ramp for a raster layer from `least` to `most`.

    Arguments: name of the layer; title, a few words; unit, as in `m`, `1` for none; least, most, values at
    the ends; palette, `viridis` or `cividis`. Errors: ValueError unless both ends are finite and least <=
    most.
    """
    if not (math.isfinite(least) and math.isfinite(most) and least <= most):
        raise ValueError(f"ends of the colour ramp are {least} and {most}: finite and in order is needed")
    if least == most:  # a level layer still gets a ramp with rising values, which the standard's readers need
        least, most = least - max(abs(least), 1.0) * 1e-3, most + max(abs(most), 1.0) * 1e-3
    root, style = _document(name, f"{title} [{unit}]" if unit not in ("", "1") else title)
    symbolizer = _add(_rule(style, name, title), "sld:RasterSymbolizer")
    _add(symbolizer, "sld:Opacity", "1")
    ramp = _add(symbolizer, "sld:ColorMap")
    steps = PALETTES[palette]
    for index, step in enumerate(steps):
        value = least + (most - least) * index / (len(steps) - 1)
        entry = _add(ramp, "sld:ColorMapEntry")
        words = f"{value:.4g}" if unit in ("", "1") else f"{value:.4g} {unit}"
        for key, text in (("color", step), ("opacity", "1"), ("quantity", f"{value:.9g}"), ("label", words)):
            entry.set(key, text)
    return _text(root)


def _document(name: str, title: str) -> tuple[ElementTree.Element, ElementTree.Element]:
    root = ElementTree.Element("sld:StyledLayerDescriptor")
    for key, value in (
        ("xmlns:sld", SLD),
        ("xmlns:ogc", OGC),
        ("xmlns:xsi", XSI),
        ("xsi:schemaLocation", SCHEMA_LOCATION),
    ):
        root.set(key, value)
    root.set("version", "1.0.0")
    layer = _add(root, "sld:NamedLayer")
    _add(layer, "sld:Name", name)
    style = _add(layer, "sld:UserStyle")
    _add(style, "sld:Name", name)
    _add(style, "sld:Title", title)
    _add(style, "sld:IsDefault", "1")
    return root, _add(style, "sld:FeatureTypeStyle")


def _rule(style: ElementTree.Element, name: str, title: str) -> ElementTree.Element:
    rule = _add(style, "sld:Rule")
    _add(rule, "sld:Name", name)
    _add(rule, "sld:Title", title)
    return rule


def _comparison(parent: ElementTree.Element, operator: str, column: str, value: str) -> None:
    comparison = _add(parent, f"ogc:{operator}")
    _add(comparison, "ogc:PropertyName", column)
    _add(comparison, "ogc:Literal", value)


def _polygon(
    rule: ElementTree.Element,
    *,
    stroke: str,
    width: float,
    fill: str = "",
    fill_opacity: float = 1.0,
    dashes: str = "",
) -> None:
    polygon = _add(rule, "sld:PolygonSymbolizer")
    if fill:
        _parameters(_add(polygon, "sld:Fill"), ("fill", fill), ("fill-opacity", f"{fill_opacity:g}"))
    _stroke(polygon, stroke, width, dashes)


def _stroke(parent: ElementTree.Element, stroke: str, width: float, dashes: str = "") -> None:
    extra = (("stroke-dasharray", dashes),) if dashes else ()
    _parameters(_add(parent, "sld:Stroke"), ("stroke", stroke), ("stroke-width", f"{width:g}"), *extra)


def _point(rule: ElementTree.Element, mark: str, size: int, fill: str) -> None:
    graphic = _add(_add(rule, "sld:PointSymbolizer"), "sld:Graphic")
    shape = _add(graphic, "sld:Mark")
    _add(shape, "sld:WellKnownName", mark)
    _parameters(_add(shape, "sld:Fill"), ("fill", fill))
    _stroke(shape, _DARK, 1.0)
    _add(graphic, "sld:Size", str(size))


def _label(rule: ElementTree.Element, column: str) -> None:
    text = _add(rule, "sld:TextSymbolizer")
    _add(_add(text, "sld:Label"), "ogc:PropertyName", column)
    _parameters(_add(text, "sld:Font"), ("font-family", "sans-serif"), ("font-size", "12"), ("font-weight", "bold"))
    point = _add(_add(text, "sld:LabelPlacement"), "sld:PointPlacement")
    anchor = _add(point, "sld:AnchorPoint")
    _add(anchor, "sld:AnchorPointX", "0.5")
    _add(anchor, "sld:AnchorPointY", "0.5")
    halo = _add(text, "sld:Halo")
    _add(halo, "sld:Radius", "2")
    _parameters(_add(halo, "sld:Fill"), ("fill", _LIGHT))
    _parameters(_add(text, "sld:Fill"), ("fill", _DARK))


def _parameters(parent: ElementTree.Element, *pairs: tuple[str, str]) -> None:
    for name, value in pairs:
        _add(parent, "sld:CssParameter", value).set("name", name)


def _add(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    child = ElementTree.SubElement(parent, tag)
    child.text = text
    return child


def _text(root: ElementTree.Element) -> str:
    # Prefixes are written out rather than registered: registering is a change to the whole process.
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"
