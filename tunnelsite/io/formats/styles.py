"""OGC Styled Layer Descriptor 1.0.0 (OGC 02-070) documents for the layers this program writes.

Colours are cividis and viridis (even in perceived lightness, readable by colour-blind people), light on top
of dark ground or the other way round; kinds of points differ in shape as well as in colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from xml.etree import ElementTree

import numpy as np

from tunnelsite.io.formats import sld_parts as sld
from tunnelsite.io.formats.sld_parts import DARK, GREY, LIGHT

# Eleven even steps of the maps (BSD/CC0) [@colour-maps].
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
LEAST_WIDTH = 2  # points of a class of scores (ours)
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
    """Class limits of equal width over the scores there are, on whole numbers. Classes are at least `LEAST_WIDTH` points wide, so that
    a point's difference is not the whole scale of colours.

    Arguments: scores [0-100], NaN = not assessed; classes, how many. Returns: increasing limits, one more than classes; [0, 100] if
    there is no score.
    """
    there = np.asarray(scores, float)
    there = there[np.isfinite(there)]
    if not there.size:
        return [0.0, 100.0]
    least, most = math.floor(there.min()), math.ceil(there.max())
    width = max(LEAST_WIDTH, math.ceil((most - least) / classes))
    first = max(0, most - width * classes)
    return [float(first + width * step) for step in range(classes + 1)]


def candidates_sld(breaks: Sequence[float], layer: str = "candidates") -> str:
    """Footprints filled by score in classes, best lightest, each labelled with its rank; grey without a
    score.

    Arguments: breaks, increasing class limits of `score`, from `score_breaks`; layer, its name.
    """
    root, style = sld.document(layer, "Footprints by score")
    for rule, fill in class_rules(style, breaks, "score", ("score", "Score")):
        sld.add_polygon(rule, fill=fill, fill_opacity=0.75, stroke=DARK, width=1.2)
        sld.add_label(rule, "rank")
    rule = null_rule(style, "score", ("no_score", "No score"))
    sld.add_polygon(rule, fill=GREY, fill_opacity=0.3, stroke=DARK, width=1.2)
    sld.add_label(rule, "rank")
    return sld.text(root)


def class_rules(
    style: ElementTree.Element, breaks: Sequence[float], column: str, named: tuple[str, str]
) -> Iterator[tuple[ElementTree.Element, str]]:
    """A rule for each class of a column and its colour, the best class first, as a legend is read.

    Arguments: style, of `sld_parts.document`; breaks, increasing class limits; column; named, how the rules' names and titles begin.
    """
    count = len(breaks) - 1
    for index in reversed(range(count)):
        least, most, last = breaks[index], breaks[index + 1], index == count - 1
        title = f"{named[1]} {least:g} to {'' if last else 'under '}{most:g}"
        rule = sld.add_rule(style, f"{named[0]}_{index + 1}", title)
        both = sld.add(sld.add(rule, "ogc:Filter"), "ogc:And")
        sld.add_comparison(both, "PropertyIsGreaterThanOrEqualTo", column, f"{least:g}")
        sld.add_comparison(both, "PropertyIsLessThanOrEqualTo" if last else "PropertyIsLessThan", column, f"{most:g}")
        yield rule, colour("cividis", index / (count - 1) if count > 1 else 1.0)


def null_rule(style: ElementTree.Element, column: str, named: tuple[str, str]) -> ElementTree.Element:
    """A rule, named (name, title), for what has no value in a column."""
    rule = sld.add_rule(style, *named)
    sld.add(sld.add(sld.add(rule, "ogc:Filter"), "ogc:PropertyIsNull"), "ogc:PropertyName", column)
    return rule


def pads_sld() -> str:
    """Graded pads as an outline: dark over a wider light one, so that it shows on any ground."""
    root, style = sld.document("pads", "Graded pads")
    rule = sld.add_rule(style, "pad", "Edge of the graded pad")
    sld.add_polygon(rule, stroke=LIGHT, width=3.5)
    sld.add_polygon(rule, stroke=colour("cividis", 0.1), width=1.6, dashes="8 3")
    return sld.text(root)


def compromises_sld() -> str:
    """Footprints that break a limit: a broken outline without a fill and the rank, so that nothing looks offered."""
    root, style = sld.document("compromises", "Compromises: a limit is broken")
    rule = sld.add_rule(style, "compromise", "Breaks a limit")
    sld.add_polygon(rule, stroke=LIGHT, width=3.5)
    sld.add_polygon(rule, stroke=DARK, width=1.6, dashes="3 3")
    sld.add_label(rule, "rank")
    return sld.text(root)


def stakes_sld() -> str:
    """Stakes as points, each kind with its own mark and colour."""
    root, style = sld.document("stakes", "Stakes by kind")
    for kind, (mark, size, place) in STAKE_MARKS.items():
        rule = sld.add_rule(style, kind, f"{kind.capitalize()} stake")
        sld.add_comparison(sld.add(rule, "ogc:Filter"), "PropertyIsEqualTo", "kind", kind)
        sld.add_point(rule, mark, size, colour("cividis", place))
    rule = sld.add_rule(style, "other", "Other stake")
    sld.add(rule, "sld:ElseFilter")
    sld.add_point(rule, "x", 8, GREY)
    return sld.text(root)


def rejections_sld() -> str:
    """What was rejected: hatched grey with a broken outline, so that it is not taken for a candidate."""
    root, style = sld.document("rejections", "Rejected")
    rule = sld.add_rule(style, "rejected", "Rejected")
    polygon = sld.add(rule, "sld:PolygonSymbolizer")
    graphic = sld.add(sld.add(sld.add(polygon, "sld:Fill"), "sld:GraphicFill"), "sld:Graphic")
    mark = sld.add(graphic, "sld:Mark")
    sld.add(mark, "sld:WellKnownName", "x")
    sld.add_stroke(mark, GREY, 0.8)
    sld.add(graphic, "sld:Size", "7")
    sld.add_stroke(polygon, GREY, 1.2, "5 4")
    return sld.text(root)


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
    root, style = sld.document(name, f"{title} [{unit}]" if unit not in ("", "1") else title)
    symbolizer = sld.add(sld.add_rule(style, name, title), "sld:RasterSymbolizer")
    sld.add(symbolizer, "sld:Opacity", "1")
    ramp = sld.add(symbolizer, "sld:ColorMap")
    steps = PALETTES[palette]
    for index, step in enumerate(steps):
        value = least + (most - least) * index / (len(steps) - 1)
        entry = sld.add(ramp, "sld:ColorMapEntry")
        words = f"{value:.4g}" if unit in ("", "1") else f"{value:.4g} {unit}"
        for key, text in (("color", step), ("opacity", "1"), ("quantity", f"{value:.9g}"), ("label", words)):
            entry.set(key, text)
    return sld.text(root)
