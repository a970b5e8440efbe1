"""A screening or plan for a hand-held receiver: centres and corners as waypoints, footprints as routes, lines as tracks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import shapely

from tunnelsite.io.formats.gpx import Gpx, Mark, Trail, gpx_text
from tunnelsite.io.formats.world import WorldLayer, middle

STAKES = ("corner",)  # a receiver knows places to a metre or more: offset, apron and grid stakes are for a tape
FOOTPRINTS = ("candidates", "layout")
_LEFT_OUT = ("contour before", "contour after")
_Row = dict[str, Any]


def layers_gpx(layers: Sequence[WorldLayer], title: str, cautions: Sequence[str]) -> str:
    """One file for all layers. The height of a place is the natural ground where it is known, in the height system of the data."""
    notes = list(dict.fromkeys(note for layer in layers for note in layer.notes))
    by_name = {layer.name: layer for layer in layers}
    footprints = [pair for name in FOOTPRINTS if name in by_name for pair in _with_place(by_name[name])]
    stakes = (
        [pair for pair in _with_place(by_name["stakes"]) if pair[1].get("kind") in STAKES]
        if "stakes" in by_name
        else []
    )
    lines = [
        pair
        for layer in layers
        if layer.table.geometry_kind in ("LineString", "MultiLineString")
        for pair in _with_place(layer)
        if pair[1].get("kind") not in _LEFT_OUT
    ]
    return gpx_text(
        Gpx(
            title,
            " ".join([*notes, *cautions]),
            [*(_centre(*pair) for pair in footprints), *(_stake(*pair) for pair in stakes)],
            [_route(part, row) for shape, row in footprints for part in shapely.get_parts(shape)],
            [_track(*pair) for pair in lines],
        )
    )


def _with_place(layer: WorldLayer) -> Iterator[tuple[shapely.Geometry, _Row]]:
    for shape, row in zip(layer.geometry, layer.table.rows, strict=True):
        if shape is not None:
            yield shape, row


def _centre(shape: shapely.Geometry, row: _Row) -> Mark:
    place = middle(shape)
    return Mark(place.x, place.y, row.get("ground_m"), _label(row), _about(row), "centre")


def _stake(place: shapely.Point, row: _Row) -> Mark:
    name = f"{row.get('rank')} {row.get('label')}"
    return Mark(place.x, place.y, row.get("ground_m"), name, _cut(row), str(row["kind"]))


def _route(part: shapely.Polygon, row: _Row) -> Trail:
    return Trail(f"{_label(row)} outline", (_marks(part.exterior),))


def _track(shape: shapely.Geometry, row: _Row) -> Trail:
    words = [str(row[name]) for name in ("rank", "service", "kind", "label") if row.get(name) is not None]
    return Trail(", ".join(words) or "line", [_marks(part) for part in shapely.get_parts(shape)])


def _marks(line: shapely.LineString) -> list[Mark]:
    return [Mark(lon, lat) for lon, lat in line.coords]


def _label(row: _Row) -> str:
    return " ".join(str(row[name]) for name in ("rank", "parcel") if row.get(name) is not None)


def _about(row: _Row) -> str:
    parts = [f"score {row['score']:.1f}"] if row.get("score") is not None else []
    parts += [str(row["house"])] if row.get("house") is not None else []
    parts += [f"ridge {row['bearing_deg']:.1f} deg from true north"] if row.get("bearing_deg") is not None else []
    return ", ".join(parts)


def _cut(row: _Row) -> str:
    cut = row.get("cut_m")
    return "" if cut is None else f"{'cut' if cut >= 0 else 'fill'} {abs(cut):.2f} m"
