"""A map of the groups of a region: parcels in the colour of their group's feasible share, one picture a house size."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.grid import local_crs
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import lonlat_bounds, reprojected
from tunnelsite.core.table import Table
from tunnelsite.drawing.colours import INK, PAPER, SOFT, halo
from tunnelsite.drawing.framing import framed, outside_words
from tunnelsite.drawing.labels import Labels
from tunnelsite.drawing.markup import plain_name
from tunnelsite.drawing.north_and_scale import BarRoom, north_arrow, scale_bars
from tunnelsite.drawing.svg import Drawing
from tunnelsite.io.formats.styles import PALETTES
from tunnelsite.region.groups import group_labels
from tunnelsite.region.parcel_columns import SCREENED, house_column

WIDE, SIDE, HEAD, FOOT = 560.0, 24.0, 64.0, 138.0
CLASSES = 5
MOST_SPOTS, LINE = 60, 15.0  # spots tried for one name; height of a line
LETTERS = 84  # of a line of 12 units under a map


Spot = tuple[float, float]


@dataclass(frozen=True)
class _HouseMap:
    """The map of a house size: labels, the group of each parcel; shares, feasible share of each group; feasible, the column of a parcel;
    names, spots on the map by the words that stand there; unnamed, words of groups without room for them."""

    labels: Sequence[str]
    shares: Mapping[str, Any]
    feasible: str
    names: Mapping[str, Spot]
    unnamed: Sequence[str]


def group_map(parcels: Table, groups: Table, column: str) -> str:
    """The map as SVG. Arguments: parcels and groups, layers of one region; column by which they were grouped."""
    there = screened(parcels)
    paper = on_paper(parcels, there)
    houses = list(dict.fromkeys(row["house"] for row in groups.rows))
    labels = [label for label, here in zip(group_labels(parcels, column), there, strict=True) if here]
    rows = [row for row, here in zip(parcels.rows, there, strict=True) if here]
    maps = []
    for house in houses:
        shares = {row["group"]: row["feasible_share"] for row in groups.rows if row["house"] == house}
        maps.append(_HouseMap(labels, shares, house_column("feasible", house), *_named(paper, labels, shares)))
    left_out = [
        textwrap.wrap(f"Without room for their names: {'; '.join(one.unnamed)}", LETTERS) if one.unnamed else []
        for one in maps
    ]
    title = f"Parcels with room for a house, by {column}"
    most = LINE * max(map(len, left_out), default=0)
    size = (SIDE + len(houses) * (WIDE + SIDE), HEAD + paper.high + FOOT + most)
    said = "; ".join(f"{row['group']}, {row['house']}: {_share_words(row['feasible_share'])}" for row in groups.rows)
    drawing = Drawing(*size, title, said)
    drawing.rectangle(0, 0, *size, fill=PAPER)
    drawing.words(SIDE, 26, title, 17, fill=INK, font_weight=600)
    foot = HEAD + paper.high
    for k, (house, told, lines) in enumerate(zip(houses, maps, left_out, strict=True)):
        left = SIDE + k * (WIDE + SIDE)
        drawing.words(left, HEAD - 12, house, 14, fill=INK)
        _parcels(drawing, rows, paper.shapes, told, (left, HEAD))
        for line, words in enumerate(lines):
            drawing.words(left, foot + FOOT - 14 + LINE * line, words, 12, fill=INK)
    map_foot(drawing, foot, paper.scale, "share of a group's parcels where a place passes every limit", houses)
    beyond(drawing, foot + FOOT - 14 + most, parcels, there)
    return drawing.text


def screened(parcels: Table) -> np.ndarray:
    """Which parcels are on the map, bool [n]: those that were screened and what lies near them."""
    known = np.array([row["state"] == SCREENED for row in parcels.rows], bool)
    return framed(_projected(parcels, np.ones(len(known), bool)), known)


def beyond(drawing: Drawing, y: float, parcels: Table, there: np.ndarray) -> None:
    """Says which parcels are not on the map."""
    names = [plain_name(row["parcel"], 26) for row, here in zip(parcels.rows, there, strict=True) if not here]
    if names:
        drawing.words(SIDE, y, outside_words(names), 12, fill=INK, class_="isolated")


@dataclass(frozen=True)
class OnPaper:
    """Parcels in units of a picture, from its upper left corner: shapes, north up; scale, units a metre."""

    shapes: np.ndarray
    scale: float

    @property
    def high(self) -> float:
        """How tall the map is."""
        return max(float(shapely.total_bounds(self.shapes)[3]), 80.0)


def on_paper(parcels: Table, there: np.ndarray) -> OnPaper:
    """Outlines no finer than can be seen. Arguments: parcels; there, bool, which of them are on the map."""
    shapes = _projected(parcels, there)
    left, bottom, right, top = shapely.total_bounds(shapes)
    scale = WIDE / max(right - left, (top - bottom) / 1.5, 1e-9)

    def on_picture(at: np.ndarray) -> np.ndarray:
        return np.column_stack([(at[:, 0] - left) * scale, (top - at[:, 1]) * scale])

    return OnPaper(np.asarray(shapely.simplify(shapely.transform(shapes, on_picture), 0.2)), float(scale))


def _projected(parcels: Table, there: np.ndarray) -> np.ndarray:
    """Outlines of some parcels in metres of a system of their own."""
    found = Features(np.array(parcels.shapes, object)[there], {}, parcels.system, "parcels")
    west, south, east, north = lonlat_bounds(found)
    crs = local_crs(parcels.system, (west + east) / 2, (south + north) / 2)
    return np.asarray(reprojected(found, crs).geometry, object)


def _named(paper: OnPaper, labels: Sequence[str], shares: Mapping[str, Any]) -> tuple[dict[str, Spot], list[str]]:
    """Where the words of each group stand on the map, and those that would cover others, the largest groups first."""
    names = Labels(WIDE, paper.high)
    mine = {label: paper.shapes[[one == label for one in labels]] for label in sorted(set(labels))}
    spots: dict[str, Spot] = {}
    unnamed = []
    for label in sorted(mine, key=lambda label: -float(shapely.area(mine[label]).sum())):
        words = f"{label}: {_share_words(shares[label])}"
        found = names.free(words, 12, _name_spots(mine[label]).tolist())
        if found is None:
            unnamed.append(words)
        else:
            spots[words] = found
    return spots, sorted(unnamed)


def _parcels(
    drawing: Drawing, rows: Sequence[dict[str, Any]], shapes: np.ndarray, told: _HouseMap, corner: Spot
) -> None:
    """One map, whose upper left corner is at `corner`."""
    placed = shapely.transform(shapes, lambda at: at + corner)
    drawing.open_group("parcels")
    for row, shape, label in zip(rows, placed, told.labels, strict=True):
        known = row.get(told.feasible) is not None  # then its group has a share
        look = {"fill": colour(told.shares[label]), "stroke": PAPER, "stroke_width": 0.4} if known else UNKNOWN
        outline(drawing, shape, look)
    drawing.close_group()
    for words, (x, y) in told.names.items():
        drawing.words(
            corner[0] + x, corner[1] + y, words, 12, fill=INK, text_anchor="middle", font_weight=600, **halo()
        )


def _name_spots(shapes: np.ndarray) -> np.ndarray:
    """Where a group's name may stand, float64 [n, 2]: on its land, in the middle first, then on its largest
    parcels, or a line or two above or below.

    Groups may lie among one another: then one spot each is not enough.
    """
    mine = shapely.make_valid(shapes)
    largest = mine[np.argsort(-shapely.area(mine), kind="stable")[:MOST_SPOTS]]
    at = shapely.get_coordinates(shapely.point_on_surface([_middle_part(shapely.union_all(mine)), *largest]))
    lines = [np.array((0.0, line * LINE)) for line in (-1, 1, -2, 2)]
    return np.concatenate([at, *(at[:4] + line for line in lines)]) if len(at) else at


def _middle_part(land: shapely.Geometry) -> shapely.Geometry:
    """The part of land in many parts, as parcels with ways between, that lies nearest to the middle of them all."""
    parts = shapely.get_parts(land)
    return parts[shapely.distance(parts, shapely.centroid(land)).argmin()] if len(parts) else land


def outline(drawing: Drawing, shape: shapely.Geometry, look: dict[str, object]) -> None:
    """The outer rings of polygons that lie on paper."""
    for ring in (part.exterior for part in shapely.get_parts(shape) if not part.is_empty):
        drawing.ring([tuple(at) for at in shapely.get_coordinates(ring)[:-1]], **look)


UNKNOWN = {"fill": "none", "stroke": SOFT, "stroke_width": 0.7, "stroke_dasharray": "3 2"}


def colour(share: float) -> str:
    """The colour of a share 0..1, in one of five even classes."""
    return PALETTES["cividis"][round(min(int(share * CLASSES), CLASSES - 1) * 10 / (CLASSES - 1))]


def _share_words(share: float | None) -> str:
    return "not known" if share is None or math.isnan(share) else f"{100 * share:.0f} %"


def map_foot(drawing: Drawing, top: float, scale: float, words: str, houses: Sequence[str]) -> None:
    """What stands below maps of one scale: classes, scale bars and north. Arguments: top; scale, units a metre; words on the classes;
    houses, sizes as given."""
    legend(drawing, top + 30, words)
    feet = all(house.strip().endswith("ft") for house in houses)
    drawing.open_group("scale")
    scale_bars(drawing, BarRoom(SIDE, top + 72, 140.0, 300.0), scale, feet=feet)
    drawing.close_group()
    drawing.open_group("true north is up")
    north_arrow(drawing, SIDE + WIDE - 20, top + 80)
    drawing.close_group()


def legend(drawing: Drawing, top: float, words: str) -> None:
    """The classes of `colour` at a height of the picture, under a line of words."""
    drawing.words(SIDE, top - 8, words, 12, fill=INK)
    for k in range(CLASSES):
        left = SIDE + 92 * k
        drawing.rectangle(left, top, 22, 14, fill=colour((k + 0.5) / CLASSES))
        drawing.words(left + 28, top + 12, f"{100 * k // CLASSES}-{100 * (k + 1) // CLASSES} %", 12, fill=INK)
    left = SIDE + 92 * CLASSES
    drawing.rectangle(left, top, 22, 14, **UNKNOWN)
    drawing.words(left + 28, top + 12, "not known", 12, fill=INK)
