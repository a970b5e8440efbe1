"""Pictures of a region's sensitivity: how far shares and orders move, and where parcels are not settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import shapely

from tunnelsite.core.table import Table
from tunnelsite.drawing.colours import INK, PAPER, SOFT
from tunnelsite.drawing.svg import Drawing
from tunnelsite.region.group_map import FOOT, SIDE, UNKNOWN, beyond, colour, map_foot, on_paper, outline, screened
from tunnelsite.region.group_map import HEAD as MAP_HEAD
from tunnelsite.region.group_map import WIDE as MAP_WIDE

LEFT, WIDE, ROW, HEAD, GAP = 250.0, 300.0, 26.0, 76.0, 60.0
PANELS = (
    ("feasible", "share of the parcels with room for a house"),
    ("rank_correlation", "rank correlation with the order as screened"),
)


def spread_chart(rows: Sequence[Mapping[str, Any]]) -> str:
    """A line from the 10 % to the 90 % quantile and a dot at the median of each row, as SVG. Arguments: rows of `Sensitivity`."""
    high = HEAD + ROW * len(rows) + 62
    size = (LEFT + len(PANELS) * (WIDE + GAP), high)
    title = "How far a region's answer moves when weights, limits and heights are drawn"
    said = "; ".join(f"{row['house']}, {row['drawn']}: {_numbers(row)}" for row in rows)
    drawing = Drawing(*size, title, said)
    drawing.rectangle(0, 0, *size, fill=PAPER)
    drawing.words(20, 28, title, 17, fill=INK, font_weight=600)
    for k, row in enumerate(rows):
        middle = HEAD + ROW * (k + 0.5)
        drawing.words(20, middle + 4, f"{row['house']}: {row['drawn']}", 12, fill=INK)
    for k, (name, words) in enumerate(PANELS):
        _panel(drawing, LEFT + k * (WIDE + GAP), name, words, rows)
    for above, words in (
        (28, "lines: 10 to 90 % of the draws; dots: median; short strokes: as screened"),
        (10, "sun, wind, distances and where water runs stay as measured in every draw"),
    ):
        drawing.words(20, high - above, words, 12, fill=INK)
    return drawing.text


def share_map(parcels: Table, columns: Mapping[str, str]) -> str:
    """A map for each house size, parcels in the colour of their share of the draws, as SVG.

    Arguments: parcels, of `Sensitivity`; columns, by house, that hold the shares."""
    there = screened(parcels)
    paper = on_paper(parcels, there)
    foot = MAP_HEAD + paper.high
    title = "Parcels with room for a house: share of the draws"
    size = (SIDE + len(columns) * (MAP_WIDE + SIDE), foot + FOOT)
    drawing = Drawing(*size, title, f"{len(paper.shapes)} parcels, {', '.join(columns)}")
    drawing.rectangle(0, 0, *size, fill=PAPER)
    drawing.words(SIDE, 26, title, 17, fill=INK, font_weight=600)
    for k, (house, column) in enumerate(columns.items()):
        corner = (SIDE + k * (MAP_WIDE + SIDE), MAP_HEAD)
        drawing.words(corner[0], MAP_HEAD - 12, house, 14, fill=INK)
        placed = shapely.transform(paper.shapes, lambda at, corner=corner: at + corner)
        shares = [share for share, here in zip(parcels.values(column), there, strict=True) if here]
        for share, shape in zip(shares, placed, strict=True):
            look = UNKNOWN if share is None else {"fill": colour(share), "stroke": PAPER, "stroke_width": 0.4}
            outline(drawing, shape, look)
    words = "share of the draws in which a house has room on the drawn ground"
    map_foot(drawing, foot, paper.scale, words, list(columns))
    beyond(drawing, foot + FOOT - 14, parcels, there)
    return drawing.text


def _panel(drawing: Drawing, left: float, name: str, words: str, rows: Sequence[Mapping[str, Any]]) -> None:
    least = min((row[f"{name}_p10"] for row in rows if row.get(f"{name}_p10") is not None), default=0.0)
    start = max(0.0, int(10 * min(least, 0.89)) / 10)
    bottom = HEAD + ROW * len(rows)

    def at(value: float) -> float:
        return left + WIDE * max(value - start, 0.0) / (1 - start)

    drawing.words(left, HEAD - 14, words, 12, fill=INK)
    step = 0.1 if start < 0.65 else 0.05
    for value in (start + step * k for k in range(round((1 - start) / step) + 1)):
        drawing.line(at(value), HEAD, at(value), bottom, stroke=SOFT, stroke_width=0.5)
        drawing.words(at(value), bottom + 16, f"{value:.2f}", 11, fill=INK, text_anchor="middle")
    for k, row in enumerate(rows):
        low = row.get(f"{name}_p10")
        middle = HEAD + ROW * (k + 0.5)
        if low is None:
            drawing.words(left + 4, middle + 4, "not known", 11, fill=INK)
            continue
        half, top = row[f"{name}_p50"], row[f"{name}_p90"]
        drawing.line(at(low), middle, at(top), middle, stroke=INK, stroke_width=3)
        drawing.add("circle", cx=at(half), cy=middle, r=4.5, fill=INK)
        if row.get(name) is not None:
            drawing.line(at(row[name]), middle - 9, at(row[name]), middle + 9, stroke=INK, stroke_width=1.5)


def _numbers(row: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{words} {row[f'{name}_p10']:.2f} to {row[f'{name}_p90']:.2f}"
        for name, words in PANELS
        if row.get(f"{name}_p10") is not None
    )
