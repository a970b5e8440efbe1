"""Hatching of the map's groups: as lines over the whole map, and as tiles for the key."""

from __future__ import annotations

from collections.abc import Iterator

from tunnelsite.drawing.colours import KEEP_OUT
from tunnelsite.drawing.svg import Drawing, number

TILE = 8.0  # units of the map
ACROSS, DOWN, FALLING, RISING = "across", "down", "falling", "rising"
# group: (colour, families of lines as (way, spacing, width, dash)); told apart by direction and by colour
HATCHES = {
    "edge": ("#5b6570", ((ACROSS, TILE, 1.6, "1.6 6.4"),)),
    "keep": (KEEP_OUT, ((FALLING, TILE, 1.1, None),)),
    "stand": ("#1b1f24", ((ACROSS, TILE, 1.1, "4 4"), (DOWN, TILE, 1.1, "4 4"))),
    "water": ("#0b5cad", ((ACROSS, TILE / 2, 1.1, None),)),
    "ground": ("#8a4b08", ((RISING, TILE, 1.1, None),)),
    "other": ("#1b1f24", ((DOWN, TILE / 2, 1.1, None),)),
    "unknown": ("#5b6570", ((FALLING, TILE, 1.1, None), (RISING, TILE, 1.1, None))),
}


def hatching(name: str, width: float, height: float) -> Iterator[tuple[str, dict[str, object]]]:
    """Path data and look of each family of lines of a group, over an area from 0, 0.

    Lines, not a pattern: a browser prints a pattern as a picture of the whole area, lines stay lines.
    """
    shade, families = HATCHES[name]
    for way, spacing, wide, dash in families:
        look = {
            "stroke": shade,
            "stroke_width": wide,
            "stroke_dasharray": dash,
            "stroke_dashoffset": 2 if dash == "4 4" else None,
        }
        yield "".join(_lines(way, spacing, width, height)), look


def _lines(way: str, spacing: float, width: float, height: float) -> Iterator[str]:
    at = spacing / 2
    if way == ACROSS:
        while at < height:
            yield f"M0 {number(at)}H{number(width)}"
            at += spacing
    elif way == DOWN:
        while at < width:
            yield f"M{number(at)} 0V{number(height)}"
            at += spacing
    else:
        start, end = (0.0, height) if way == FALLING else (height, 0.0)
        at -= spacing * (height // spacing + 1)
        while at < width:
            yield f"M{number(at)} {number(start)}L{number(at + height)} {number(end)}"
            at += spacing


def add_patterns(drawing: Drawing) -> None:
    """The same as small tiles, for the swatches of the key: `hatch-NAME`."""
    for name in HATCHES:
        pattern = drawing.add(
            "pattern", drawing.defs, "", id=f"hatch-{name}", width=16, height=16, patternUnits="userSpaceOnUse"
        )
        for path, look in hatching(name, 16.0, 16.0):
            drawing.add("path", pattern, "", d=path, fill="none", **look)
