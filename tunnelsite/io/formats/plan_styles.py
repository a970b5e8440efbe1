"""OGC SLD 1.0.0 styles for the layers of a grading plan (lines, areas) and of a block of houses (layout, trenches)."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunnelsite.io.formats import sld_parts as sld
from tunnelsite.io.formats.sld_parts import DARK, GREY, LIGHT
from tunnelsite.io.formats.styles import candidates_sld, colour, pads_sld, score_breaks

WATER_COLOUR, SERVICE_COLOUR = "#31688e", "#6a3d9a"


@dataclass(frozen=True)
class FeatureLook:
    """How a kind of line or area is drawn: stroke `#rrggbb`, width [pixels], dashes, and for areas fill and opacity."""

    stroke: str
    width: float
    dashes: str = ""
    fill: str = ""
    opacity: float = 0.0
    level_written: bool = False


# Kinds differ in width and dashes too, so that they stay apart on a grey print and to colour-blind people.
LINE_LOOKS = {
    "daylight": FeatureLook(DARK, 1.6, "6 3"),
    "swale": FeatureLook(WATER_COLOUR, 3.0),
    "level spreader": FeatureLook(WATER_COLOUR, 4.5, "9 2"),
    "drain": FeatureLook(WATER_COLOUR, 1.8, "2 3"),
    "flow path": FeatureLook(WATER_COLOUR, 1.2, "8 3 2 3"),
    "contour before": FeatureLook(GREY, 0.7, "4 3", level_written=True),
    "contour after": FeatureLook(colour("cividis", 0.35), 0.9, level_written=True),
}
STATION_MARKS = {
    "swale": ("circle", 7, WATER_COLOUR),
    "level spreader": ("square", 7, WATER_COLOUR),
    "slope stake": ("triangle", 8, DARK),
}
AREA_LOOKS = {
    "disturbed ground": FeatureLook(GREY, 1.0, "4 3", colour("cividis", 0.95), 0.3),
    "pad": FeatureLook(colour("cividis", 0.1), 1.4, "8 3", colour("cividis", 0.75), 0.4),
    "footprint": FeatureLook(DARK, 1.8, "", LIGHT, 0.4),
}


def plan_styles() -> dict[str, str]:
    """The styles of a grading plan's layers by table name."""
    return {"lines": lines_sld(), "areas": areas_sld(), "stations": stations_sld()}


def layout_styles(scores: Sequence[float] | np.ndarray) -> dict[str, str]:
    """The styles of a block's layers by table name. Arguments: scores of its houses, NaN = not assessed."""
    return {"layout": candidates_sld(score_breaks(scores), "layout"), "pads": pads_sld(), "trenches": trenches_sld()}


def lines_sld() -> str:
    """Lines of a grading plan by kind; contours with their level."""
    root, style = sld.document("lines", "Grading and drainage lines")
    for kind, look in LINE_LOOKS.items():
        rule = _rule_of(style, kind)
        if kind == "swale":  # light below, so that it shows on dark ground
            sld.add_line(rule, LIGHT, look.width + 2.0)
        sld.add_line(rule, look.stroke, look.width, look.dashes)
        if look.level_written:
            sld.add_label(rule, "label", along=True)
    _others(style, "Other line")
    return sld.text(root)


def areas_sld() -> str:
    """Footprint, pad and disturbed ground, the largest first, so that none hides another."""
    root, style = sld.document("areas", "Footprint, pad and disturbed ground")
    for kind, look in AREA_LOOKS.items():
        sld.add_polygon(
            _rule_of(style, kind),
            stroke=look.stroke,
            width=look.width,
            fill=look.fill,
            fill_opacity=look.opacity,
            dashes=look.dashes,
        )
    rule = sld.add_rule(style, "other", "Other area")
    sld.add(rule, "sld:ElseFilter")
    sld.add_polygon(rule, stroke=GREY, width=1.0)
    return sld.text(root)


def stations_sld() -> str:
    """Stakes of what is dug round a pad, each kind with its own mark, and their names."""
    root, style = sld.document("stations", "Stakes of swale, level spreaders and side slopes")
    for kind, (mark, size, fill) in STATION_MARKS.items():
        rule = _rule_of(style, kind)
        sld.add_point(rule, mark, size, fill)
        sld.add_label(rule, "label")
    rule = sld.add_rule(style, "other", "Other stake")
    sld.add(rule, "sld:ElseFilter")
    sld.add_point(rule, "x", 8, GREY)
    return sld.text(root)


def trenches_sld() -> str:
    """Trenches: a broken line over a wider light one, labelled with the service."""
    root, style = sld.document("trenches", "Trenches to the services")
    rule = sld.add_rule(style, "trench", "Trench")
    sld.add_line(rule, LIGHT, 4.0)
    sld.add_line(rule, SERVICE_COLOUR, 2.0, "10 3 2 3")
    sld.add_label(rule, "service", along=True)
    return sld.text(root)


def _rule_of(style: ElementTree.Element, kind: str) -> ElementTree.Element:
    rule = sld.add_rule(style, kind.replace(" ", "_"), kind.capitalize())
    sld.add_comparison(sld.add(rule, "ogc:Filter"), "PropertyIsEqualTo", "kind", kind)
    return rule


def _others(style: ElementTree.Element, title: str) -> None:
    rule = sld.add_rule(style, "other", title)
    sld.add(rule, "sld:ElseFilter")
    sld.add_line(rule, GREY, 1.0)
