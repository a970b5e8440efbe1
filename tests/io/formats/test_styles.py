"""Styles: well-formed, in the order of the SLD 1.0.0 schema, every value in exactly one class, readable by
colour-blind people."""

from __future__ import annotations

import itertools
import math
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.io.formats.plan_styles import areas_sld, lines_sld, trenches_sld
from tunnelsite.io.formats.sld_parts import OGC, SLD
from tunnelsite.io.formats.styles import (  # fmt: skip
    PALETTES,
    STAKE_MARKS,
    candidates_sld,
    colour,
    pads_sld,
    raster_sld,
    rejections_sld,
    score_breaks,
    stakes_sld,
)

# Children in the order the schema asks for, with how often each may come: (name, least, most). OGC 02-070,
# StyledLayerDescriptor.xsd 1.0.0, and OGC 02-059, filter.xsd 1.0.0 [@sld]; only the elements used here.
MANY = 10**6
ORDER = {
    "StyledLayerDescriptor": [("Name", 0, 1), ("Title", 0, 1), ("Abstract", 0, 1), ("NamedLayer", 0, MANY)],
    "NamedLayer": [("Name", 1, 1), ("LayerFeatureConstraints", 0, 1), ("UserStyle", 0, MANY)],
    "UserStyle": [("Name", 0, 1), ("Title", 0, 1), ("Abstract", 0, 1), ("IsDefault", 0, 1),
    ("FeatureTypeStyle", 1, MANY)],
    "FeatureTypeStyle": [("Name", 0, 1), ("Title", 0, 1), ("Abstract", 0, 1), ("FeatureTypeName", 0, 1),
    ("Rule", 1, MANY)],
    "Rule": [
        ("Name", 0, 1), ("Title", 0, 1), ("Abstract", 0, 1), ("LegendGraphic", 0, 1), ("Filter|ElseFilter",
        0, 1), ("MinScaleDenominator", 0, 1),
        ("MaxScaleDenominator", 0, 1),
        ("PolygonSymbolizer|PointSymbolizer|LineSymbolizer|TextSymbolizer|RasterSymbolizer", 1, MANY),
    ],
    "PolygonSymbolizer": [("Geometry", 0, 1), ("Fill", 0, 1), ("Stroke", 0, 1)],
    "PointSymbolizer": [("Geometry", 0, 1), ("Graphic", 0, 1)],
    "LineSymbolizer": [("Geometry", 0, 1), ("Stroke", 0, 1)],
    "LinePlacement": [("PerpendicularOffset", 0, 1)],
    "TextSymbolizer": [
        ("Geometry", 0, 1), ("Label", 0, 1), ("Font", 0, 1), ("LabelPlacement", 0, 1), ("Halo", 0, 1),
        ("Fill", 0, 1),
    ],
    "RasterSymbolizer": [
        ("Geometry", 0, 1), ("Opacity", 0, 1), ("ChannelSelection", 0, 1), ("OverlapBehavior", 0, 1),
        ("ColorMap", 0, 1),
        ("ContrastEnhancement", 0, 1), ("ShadedRelief", 0, 1), ("ImageOutline", 0, 1),
    ],
    "Fill": [("GraphicFill", 0, 1), ("CssParameter", 0, MANY)],
    "Stroke": [("GraphicFill|GraphicStroke", 0, 1), ("CssParameter", 0, MANY)],
    "GraphicFill": [("Graphic", 1, 1)],
    "Graphic": [("ExternalGraphic|Mark", 0, MANY), ("Opacity", 0, 1), ("Size", 0, 1), ("Rotation", 0, 1)],
    "Mark": [("WellKnownName", 0, 1), ("Fill", 0, 1), ("Stroke", 0, 1)],
    "Halo": [("Radius", 0, 1), ("Fill", 0, 1)],
    "Font": [("CssParameter", 0, MANY)],
    "LabelPlacement": [("PointPlacement|LinePlacement", 1, 1)],
    "PointPlacement": [("AnchorPoint", 0, 1), ("Displacement", 0, 1), ("Rotation", 0, 1)],
    "AnchorPoint": [("AnchorPointX", 1, 1), ("AnchorPointY", 1, 1)],
    "ColorMap": [("ColorMapEntry", 0, MANY)],
    "Label": [("PropertyName", 0, MANY)],
    "Filter": [("And|PropertyIsEqualTo|PropertyIsNull", 1, 1)],
    "And": [("PropertyIsGreaterThanOrEqualTo|PropertyIsLessThan|PropertyIsLessThanOrEqualTo", 2, MANY)],
    "PropertyIsNull": [("PropertyName", 1, 1)],
    **{
        f"PropertyIs{comparison}": [("PropertyName", 1, 1), ("Literal", 1, 1)]
        for comparison in ("EqualTo", "GreaterThanOrEqualTo", "LessThan", "LessThanOrEqualTo")
    },
}  # fmt: skip
FILTER = {
    "Filter",
    "And",
    "PropertyName",
    "Literal",
    *(name for name in ORDER if name.startswith("PropertyIs")),
}
LEAVES = {
    "Name", "Title", "IsDefault", "CssParameter", "WellKnownName", "Size", "Radius", "Opacity",
    "AnchorPointX", "AnchorPointY", "ColorMapEntry",
    "PropertyName", "Literal", "ElseFilter", "PerpendicularOffset",
}  # fmt: skip
PARAMETERS = {
    "Fill": {"fill", "fill-opacity"},
    "Stroke": {
        "stroke",
        "stroke-opacity",
        "stroke-width",
        "stroke-linejoin",
        "stroke-linecap",
        "stroke-dasharray",
        "stroke-dashoffset",
    },
    "Font": {"font-family", "font-style", "font-weight", "font-size"},
}
DOCUMENTS = {
    "candidates": candidates_sld([70, 75, 80, 85, 90, 95]),
    "one class": candidates_sld([70, 71]),
    "pads": pads_sld(),
    "stakes": stakes_sld(),
    "rejections": rejections_sld(),
    "layout": candidates_sld([80, 85, 90], "layout"),
    "lines": lines_sld(),
    "areas": areas_sld(),
    "trenches": trenches_sld(),
    "raster": raster_sld("beam_share", "Share of the beam <&>", "1", 0.25, 1.0),
    "raster cividis": raster_sld("ground", "Ground", "m", -3.5, 288, "cividis"),
}


def name_of(element: ElementTree.Element) -> str:
    namespace, _, name = element.tag[1:].partition("}")
    assert namespace == (OGC if name in FILTER else SLD), element.tag
    return name


def problems(element: ElementTree.Element) -> list[str]:
    """What in an element and below breaks the schema's order."""
    name, children = name_of(element), [name_of(child) for child in element]
    if name not in ORDER:
        return [] if name in LEAVES and not children else [f"{name} is not in the schema, or has children {children}"]
    found, rest = [], list(children)
    for names, least, most in ORDER[name]:
        taken = len(list(itertools.takewhile(lambda child, names=names: child in names.split("|"), rest)))
        if not least <= taken <= most:
            found.append(f"{name}: {taken} of {names}")
        rest = rest[taken:]
    if rest:
        found.append(f"{name}: {rest} out of order")
    for child in element:
        if name_of(child) == "CssParameter" and child.get("name") not in PARAMETERS[name]:
            found.append(f"{name} has no parameter {child.get('name')}")
        found += problems(child)
    return found


@pytest.mark.parametrize("document", DOCUMENTS.values(), ids=DOCUMENTS)
def test_documents_follow_the_schema(document):
    root = ElementTree.fromstring(document.encode())
    assert root.tag == f"{{{SLD}}}StyledLayerDescriptor" and root.get("version") == "1.0.0"
    assert problems(root) == []
    assert document.startswith('<?xml version="1.0" encoding="UTF-8"?>')
    for mark in root.iter(f"{{{SLD}}}WellKnownName"):  # what every renderer has to know
        assert mark.text in ("square", "circle", "triangle", "star", "cross", "x")


def test_the_order_check_notices():
    swapped = (
        pads_sld()
        .replace("sld:Name>", "sld:Other>")
        .replace("sld:Title>", "sld:Name>")
        .replace("sld:Other>", "sld:Title>")
    )
    for wrong in (
        swapped,
        pads_sld().replace("stroke-width", "strokewidth"),
        pads_sld().replace("sld:Rule>", "sld:Rules>"),
        pads_sld().replace("<sld:Rule>", "<sld:Rule><sld:PointSymbolizer/>"),
    ):
        assert problems(ElementTree.fromstring(wrong.encode()))


def classes(document: str) -> list[tuple[float, float, bool]]:
    """(least, most, most included) of each class of scores."""
    found = []
    for both in ElementTree.fromstring(document.encode()).iter(f"{{{OGC}}}And"):
        least, most = both
        assert name_of(least) == "PropertyIsGreaterThanOrEqualTo" and least[0].text == most[0].text == "score"
        found.append((float(least[1].text), float(most[1].text), name_of(most) == "PropertyIsLessThanOrEqualTo"))
    return found


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(0, 100) | st.none(), max_size=30))
def test_every_score_falls_in_exactly_one_class(scores):
    values = [math.nan if score is None else score for score in scores]
    breaks = score_breaks(values)
    assert (
        2 <= len(breaks) <= 6 and all(float(limit).is_integer() for limit in breaks) and sorted(set(breaks)) == breaks
    )
    found = classes(candidates_sld(breaks))
    for score in [score for score in values if not math.isnan(score)]:
        assert sum(least <= score < most or (last and score == most) for least, most, last in found) == 1


def test_score_breaks():
    assert score_breaks([]) == [0, 100] == score_breaks([math.nan])
    assert score_breaks([88.2, 93.9]) == [84, 86, 88, 90, 92, 94]
    assert score_breaks([94.1, 94.9]) == [85, 87, 89, 91, 93, 95]  # a point is one class, not the whole scale
    assert score_breaks([0, 100]) == [0, 20, 40, 60, 80, 100]
    assert score_breaks([100, 100]) == [90, 92, 94, 96, 98, 100] and score_breaks([0.0]) == [0, 2, 4, 6, 8, 10]


def test_the_best_class_is_the_lightest_and_first_and_labelled_with_the_rank():
    root = ElementTree.fromstring(DOCUMENTS["candidates"].encode())
    fills = [fill.find(f"{{{SLD}}}CssParameter").text for fill in root.iter(f"{{{SLD}}}Fill") if len(fill) == 2]
    assert fills[:5] == [colour("cividis", place) for place in (1, 0.75, 0.5, 0.25, 0)]
    labels = [label[0].text for label in root.iter(f"{{{SLD}}}Label")]
    assert labels == ["rank"] * 6


def test_kinds_of_stakes_differ_in_shape_as_well_as_colour():
    marks, _, places = zip(*STAKE_MARKS.values(), strict=True)
    assert len(set(marks)) == len(set(places)) == 4
    literals = [
        element.text for element in ElementTree.fromstring(DOCUMENTS["stakes"].encode()).iter(f"{{{OGC}}}Literal")
    ]
    assert literals == list(STAKE_MARKS)


def test_raster_ramps_rise_from_end_to_end():
    for least, most in ((0.25, 1.0), (-3.5, 288.0), (5.0, 5.0), (0.0, 0.0), (-1e-12, 1e12)):
        entries = list(
            ElementTree.fromstring(raster_sld("a", "A", "m", least, most).encode()).iter(f"{{{SLD}}}ColorMapEntry")
        )
        quantities = [float(entry.get("quantity")) for entry in entries]
        assert sorted(set(quantities)) == quantities and quantities[0] <= least and quantities[-1] >= most
        assert [entry.get("color") for entry in entries] == list(PALETTES["viridis"]) and entries[0].get(
            "label"
        ).endswith(" m")
    for wrong in ((1, 0), (math.nan, 1), (0, math.inf)):
        with pytest.raises(ValueError, match="colour ramp"):
            raster_sld("a", "A", "m", *wrong)


def linear_rgb(hexadecimal: str) -> np.ndarray:
    srgb = np.array([int(hexadecimal[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def lightness(rgb: np.ndarray) -> float:
    """CIE 1976 L* of linear sRGB (IEC 61966-2-1, D65) [@cie-lightness]."""
    luminance = float(rgb @ [0.2126, 0.7152, 0.0722])
    return 116 * luminance ** (1 / 3) - 16 if luminance > 216 / 24389 else luminance * 24389 / 27


# Full protanopia and deuteranopia on linear RGB: Machado, Oliveira and Fernandes 2009,
# doi:10.1109/TVCG.2009.113, table of severity 1.0 [@colour-blind].
BLINDNESS = {
    "none": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}


@pytest.mark.parametrize("palette", PALETTES)
@pytest.mark.parametrize("sight", BLINDNESS)
def test_palettes_rise_evenly_in_lightness_whatever_the_sight(palette, sight):
    steps = np.diff([lightness(np.clip(BLINDNESS[sight] @ linear_rgb(colour), 0, 1)) for colour in PALETTES[palette]])
    assert (steps > 3).all() and steps.max() / steps.mean() < 1.6


def test_palettes_are_those_of_matplotlib():
    colormaps = pytest.importorskip("matplotlib").colormaps
    from matplotlib.colors import to_hex

    for name, steps in PALETTES.items():
        assert tuple(to_hex(colormaps[name](i / 10)) for i in range(11)) == steps


def test_colours_between_the_steps():
    assert (
        colour("viridis", 0.5) == PALETTES["viridis"][5]
        and colour("cividis", 0.05) == "#042a5f"
        and colour("cividis", 2) == "#fee838"
    )
