"""The same style once more, in the form that the general-purpose desktop GIS QGIS reads from `layer_styles.styleQML`.

It applies a stored style by itself only in its own form, and that form belongs to no standard: so it is made here from the SLD
document, rule by rule, and says nothing of its own. Only what `sld_parts` writes is understood.
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from xml.sax.saxutils import quoteattr

from tunnelsite.io.formats.sld_parts import OGC, SLD

_OPERATORS = {
    "PropertyIsEqualTo": "=",
    "PropertyIsGreaterThanOrEqualTo": ">=",
    "PropertyIsLessThanOrEqualTo": "<=",
    "PropertyIsLessThan": "<",
}
_MARKS = {"x": "cross2"}  # well-known names that are called otherwise there
_UNIT = "Pixel"  # SLD sizes are pixels
_KINDS = {"PolygonSymbolizer": "fill", "LineSymbolizer": "line", "PointSymbolizer": "marker"}


def gis_style(document: str) -> str:
    """The style of an SLD document as QGIS 3 reads it. Errors: ValueError for an element that `sld_parts` does not write."""
    root = ElementTree.fromstring(document.encode("utf-8"))
    rules, symbols, label = [], [], None
    for number, rule in enumerate(root.iter(f"{{{SLD}}}Rule")):
        title = rule.findtext(f"{{{SLD}}}Title") or ""
        condition = f" filter={quoteattr(_condition(rule))}" if _condition(rule) else ""
        rules.append(f'<rule key="rule{number}" symbol="{number}" label={quoteattr(title)}{condition}/>')
        symbols.append(_symbol(rule, number))
        text = rule.find(f"{{{SLD}}}TextSymbolizer")
        label = label if text is None else text
    return (
        '<qgis version="3.22.0" styleCategories="Symbology|Labeling" labelsEnabled="' + str(int(label is not None)) + '">'
        '<renderer-v2 type="RuleRenderer" symbollevels="0" enableorderby="0" forceraster="0">'
        f'<rules key="root">{"".join(rules)}</rules><symbols>{"".join(symbols)}</symbols></renderer-v2>'
        f"{'' if label is None else _labels(label)}</qgis>\n"
    )  # fmt: skip


def _condition(rule: ElementTree.Element) -> str:
    if rule.find(f"{{{SLD}}}ElseFilter") is not None:
        return "ELSE"
    filters = rule.find(f"{{{OGC}}}Filter")
    return "" if filters is None else " AND ".join(_conditions(filters))


def _conditions(parent: ElementTree.Element) -> Iterator[str]:
    for test in parent:
        name = _local(test)
        if name == "And":
            yield from _conditions(test)
            continue
        column = '"' + (test.findtext(f"{{{OGC}}}PropertyName") or "").replace('"', '""') + '"'
        if name == "PropertyIsNull":
            yield f"{column} IS NULL"
            continue
        if name not in _OPERATORS:
            raise ValueError(f"the filter {name} is not one that this program writes")
        yield f"{column} {_OPERATORS[name]} {_literal(test.findtext(f'{{{OGC}}}Literal') or '')}"


def _literal(text: str) -> str:
    try:
        float(text)
    except ValueError:
        return "'" + text.replace("'", "''") + "'"
    return text


def _symbol(rule: ElementTree.Element, number: int) -> str:
    parts = [part for part in rule if _local(part) in _KINDS]
    kinds = {_KINDS[_local(part)] for part in parts}
    if len(kinds) != 1:
        raise ValueError(f"a rule draws {len(kinds)} kinds of geometry, one is expected")
    kind = kinds.pop()
    layers = {"fill": _fill, "line": _line, "marker": _marker}
    drawn = "".join(map(layers[kind], parts)).replace(
        "@hatch", f"@{number}@"
    )  # how a symbol within a symbol is named there
    return f'<symbol type="{kind}" name="{number}" alpha="1" clip_to_extent="1">{drawn}</symbol>'


def _fill(part: ElementTree.Element) -> str:
    found = part.find(f"{{{SLD}}}Fill")
    graphic = None if found is None else found.find(f"{{{SLD}}}GraphicFill")
    plain = _parameters(found) if graphic is None else {}
    stroke = _parameters(part.find(f"{{{SLD}}}Stroke"))
    filled = bool(plain.get("fill"))
    layer = _layer(
        "SimpleFill",
        color=_rgba(plain.get("fill", "#ffffff"), float(plain.get("fill-opacity", 1.0)) if filled else 0.0),
        style="solid" if filled else "no",
        outline_color=_rgba(stroke.get("stroke", "#000000")),
        outline_width=stroke.get("stroke-width", "1"),
        outline_width_unit=_UNIT,
        outline_style="dash" if "stroke-dasharray" in stroke else "solid",
    )
    return layer if graphic is None else _hatch(graphic) + layer


def _hatch(graphic: ElementTree.Element) -> str:
    """Crossed lines in place of a graphic fill: what the marks are there for is that the ground does not look filled."""
    stroke = _parameters(next(graphic.iter(f"{{{SLD}}}Stroke")))
    size = float(next(graphic.iter(f"{{{SLD}}}Size")).text or "7")
    return "".join(
        f'<layer class="LinePatternFill" enabled="1" locked="0" pass="0">'
        f'{_properties(angle=angle, distance=f"{size:g}", distance_unit=_UNIT)}'
        f'<symbol type="line" name="@hatch{place}" alpha="1">'
        f'{_stroked(stroke)}</symbol></layer>'
        for place, angle in enumerate(("45", "135"))
    )  # fmt: skip


def _line(part: ElementTree.Element) -> str:
    return _stroked(_parameters(part.find(f"{{{SLD}}}Stroke")))


def _stroked(stroke: dict[str, str]) -> str:
    width = stroke.get("stroke-width", "1")
    dashes = stroke.get("stroke-dasharray", "").split()
    own = {"use_custom_dash": "1", "customdash": ";".join(dashes), "customdash_unit": _UNIT} if dashes else {}
    colour = _rgba(stroke.get("stroke", "#000000"))
    return _layer("SimpleLine", line_color=colour, line_width=width, line_width_unit=_UNIT, **own)


def _marker(part: ElementTree.Element) -> str:
    mark = next(part.iter(f"{{{SLD}}}Mark"))
    name = mark.findtext(f"{{{SLD}}}WellKnownName") or "circle"
    stroke, fill = _parameters(mark.find(f"{{{SLD}}}Stroke")), _parameters(mark.find(f"{{{SLD}}}Fill"))
    return _layer(
        "SimpleMarker",
        name=_MARKS.get(name, name),
        color=_rgba(fill.get("fill", "#808080")),
        outline_color=_rgba(stroke.get("stroke", "#000000")),
        outline_width=stroke.get("stroke-width", "1"),
        outline_width_unit=_UNIT,
        size=next(part.iter(f"{{{SLD}}}Size")).text or "8",
        size_unit=_UNIT,
    )


def _labels(text: ElementTree.Element) -> str:
    column = text.findtext(f"{{{SLD}}}Label/{{{OGC}}}PropertyName") or ""
    font, colour = _parameters(text.find(f"{{{SLD}}}Font")), _parameters(text.find(f"{{{SLD}}}Fill"))
    halo = text.find(f"{{{SLD}}}Halo")
    around = "#ffffff" if halo is None else _parameters(halo.find(f"{{{SLD}}}Fill")).get("fill", "#ffffff")
    along = text.find(f"{{{SLD}}}LabelPlacement/{{{SLD}}}LinePlacement") is not None
    placement = "2" if along else "1"  # along the line; over the middle
    return (
        '<labeling type="simple"><settings>'
        f"<text-style fieldName={quoteattr(column)} isExpression=\"0\" fontSize={quoteattr(font.get('font-size', '12'))} "
        f"fontSizeUnit=\"{_UNIT}\" fontWeight=\"75\" textColor={quoteattr(_rgba(colour.get('fill', '#1a1a1a')))}>"
        f'<text-buffer bufferDraw="1" bufferSize="2" bufferSizeUnits="{_UNIT}" bufferColor={quoteattr(_rgba(around))} '
        f'bufferOpacity="1"/></text-style><placement placement="{placement}" centroidInside="1" placementFlags="9"/>'
        "</settings></labeling>"
    )  # fmt: skip


def _layer(kind: str, **properties: str) -> str:
    return f'<layer class="{kind}" enabled="1" locked="0" pass="0">{_properties(**properties)}</layer>'


def _properties(**properties: str) -> str:
    return "".join(f'<prop k="{name}" v={quoteattr(value)}/>' for name, value in properties.items())


def _parameters(parent: ElementTree.Element | None) -> dict[str, str]:
    if parent is None:
        return {}
    return {part.get("name", ""): part.text or "" for part in parent.findall(f"{{{SLD}}}CssParameter")}


def _rgba(colour: str, opacity: float = 1.0) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"{red},{green},{blue},{round(255 * opacity)}"


def _local(part: ElementTree.Element) -> str:
    return part.tag.partition("}")[2]
