"""A map of the groups of a region: parcels in the colour of their group's feasible share, one picture a house size."""

from __future__ import annotations

import math
from collections.abc import Sequence
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
from tunnelsite.drawing.svg import Drawing
from tunnelsite.io.formats.styles import PALETTES
from tunnelsite.region.groups import group_labels
from tunnelsite.region.parcel_columns import SCREENED, house_column

WIDE, SIDE, HEAD, FOOT = 560.0, 24.0, 64.0, 76.0
CLASSES = 5
MOST_SPOTS, LINE = 60, 15.0  # spots tried for one name; height of a line


@dataclass(frozen=True)
class _Told:
    """What a map shows: labels, the group of each parcel; shares, feasible share of each group; feasible, the column of a parcel."""

    labels: Sequence[str]
    shares: dict[str, Any]
    feasible: str


def group_map(parcels: Table, groups: Table, column: str) -> str:
    """The map as SVG. Arguments: parcels and groups, layers of one region; column by which they were grouped."""
    there = screened(parcels)
    shapes = on_paper(parcels, there)
    high = max(shapely.total_bounds(shapes)[3], 80.0)
    houses = list(dict.fromkeys(row["house"] for row in groups.rows))
    title = f"Parcels with room for a house, by {column}"
    size = (SIDE + len(houses) * (WIDE + SIDE), HEAD + high + FOOT)
    said = "; ".join(f"{row['group']}, {row['house']}: {_share_words(row['feasible_share'])}" for row in groups.rows)
    drawing = Drawing(*size, title, said)
    drawing.rectangle(0, 0, *size, fill=PAPER)
    drawing.words(SIDE, 26, title, 17, fill=INK, font_weight=600)
    labels = [label for label, here in zip(group_labels(parcels, column), there, strict=True) if here]
    rows = [row for row, here in zip(parcels.rows, there, strict=True) if here]
    for k, house in enumerate(houses):
        shares = {row["group"]: row["feasible_share"] for row in groups.rows if row["house"] == house}
        corner = (SIDE + k * (WIDE + SIDE), HEAD)
        drawing.words(corner[0], HEAD - 12, house, 14, fill=INK)
        _parcels(
            drawing,
            rows,
            shapely.transform(shapes, lambda at, corner=corner: at + corner),
            _Told(labels, shares, house_column("feasible", house)),
            corner[0],
        )
    legend(drawing, HEAD + high + 30, "share of a group's parcels where a place passes every limit")
    beyond(drawing, HEAD + high + 62, parcels, there)
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


def on_paper(parcels: Table, there: np.ndarray) -> np.ndarray:
    """Outlines with north up, in units of the picture from its upper left corner; no finer than can be seen.

    Arguments: parcels; there, bool, which of them are on the map.
    """
    shapes = _projected(parcels, there)
    left, bottom, right, top = shapely.total_bounds(shapes)
    scale = WIDE / max(right - left, (top - bottom) / 1.5, 1e-9)

    def on_picture(at: np.ndarray) -> np.ndarray:
        return np.column_stack([(at[:, 0] - left) * scale, (top - at[:, 1]) * scale])

    return np.asarray(shapely.simplify(shapely.transform(shapes, on_picture), 0.2))


def _projected(parcels: Table, there: np.ndarray) -> np.ndarray:
    """Outlines of some parcels in metres of a system of their own."""
    found = Features(np.array(parcels.shapes, object)[there], {}, parcels.system, "parcels")
    west, south, east, north = lonlat_bounds(found)
    crs = local_crs(parcels.system, (west + east) / 2, (south + north) / 2)
    return np.asarray(reprojected(found, crs).geometry, object)


def _parcels(
    drawing: Drawing,
    rows: Sequence[dict[str, Any]],
    shapes: np.ndarray,
    told: _Told,
    left: float,
) -> None:
    """One map, whose left side is at `left`."""
    labels, shares = told.labels, told.shares
    names = Labels(WIDE, float(shapely.total_bounds(shapes)[3]))  # beside no other map
    for row, shape, label in zip(rows, shapes, labels, strict=True):
        known = row.get(told.feasible) is not None  # then its group has a share
        look = {"fill": colour(shares[label]), "stroke": PAPER, "stroke_width": 0.4} if known else UNKNOWN
        outline(drawing, shape, look)
    for label in sorted(set(labels)):
        spots = _name_spots(shapes[[one == label for one in labels]])
        if len(spots):
            words = f"{label}: {_share_words(shares[label])}"
            x, y = names.place(words, 12, (spots - (left, 0.0)).tolist())
            drawing.words(left + x, y, words, 12, fill=INK, text_anchor="middle", font_weight=600, **halo())


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
    return "not known" if share is None or math.isnan(share) else f"{share:.0%}"


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
