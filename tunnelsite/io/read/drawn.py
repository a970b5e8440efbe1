"""What was drawn on the map: one GeoPackage with the layers `areas`, `lines` and `points`, of which the column `what` says what each is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import PARCEL_NAMES, Features
from tunnelsite.core.reproject import reprojected
from tunnelsite.io.read.vectors import FEATURE_ID, read_features

LAYERS = {"areas": "polygon", "lines": "line", "points": "point"}
FIELD, KEEP_OUT, BUILDING, TREE, TREE_LINE, WALL = "field", "keep_out", "building", "tree", "tree_line", "wall"
SERVICE, ROAD, LAMP = "service", "road", "lamp"
WALL_WIDTH_M = 0.3
DRAWN = "drawn"  # column that is 1 for what was drawn
LENGTHS = ("height_m", "crown_m", "width_m", "distance_m", "lumens")
TEXTS = ("drawn_id", "what", "name", "note", "service", "kind")


@dataclass(frozen=True)
class DrawnOnMap:
    """Features drawn on the map, by what they are to a screening; `source` has the file's name and digest alone."""

    source: Features
    fields: Features | None = None
    obstacles: Features | None = None
    structures: Features | None = None
    lamps: Features | None = None
    keep_outs: tuple[Features, ...] = ()
    services: dict[str, Features] = field(default_factory=dict)


def drawn_features(path: str) -> Features:
    """Everything that was drawn, each with the same columns. Errors: those of `read_features`."""
    parts = [
        read_features(f"{path}#{layer}", "drawn", kinds=(kind,), may_be_empty=True) for layer, kind in LAYERS.items()
    ]
    first = parts[0]
    geometry = np.concatenate([part.geometry for part in parts])
    columns = {
        **{name: np.concatenate([_texts(part, name) for part in parts]) for name in TEXTS},
        **{name: np.concatenate([_lengths(part, name) for part in parts]) for name in LENGTHS},
    }
    return Features(geometry, columns, first.crs, first.name, first.sha256)


def read_drawn(path: str) -> DrawnOnMap:
    """The features of a drawing by their role. Errors: InputRefused for a thing without the height it needs; those of `read_features`."""
    found = drawn_features(path)
    what, distance = found.columns["what"], found.columns["distance_m"]
    standing = np.isin(what, (TREE, TREE_LINE, WALL)) | ((what == BUILDING) & np.isfinite(found.columns["height_m"]))
    if np.isnan(found.columns["height_m"][standing]).any():
        raise InputRefused(
            f"{found.name}: a tree or a wall has no height", "height_m", "fill it in; what stands casts a shade"
        )
    kept = ((what == KEEP_OUT) | (what == ROAD)) & ~((what == ROAD) & np.isnan(distance))
    rooms = np.nan_to_num(distance)
    names = np.where(what == ROAD, ROAD, found.columns["service"])
    served = np.isin(what, (SERVICE, ROAD))
    return DrawnOnMap(
        Features(np.empty(0, object), {}, found.crs, found.name, found.sha256),
        _optional(found, what == FIELD),
        _obstacles(found, standing),
        _optional(found, what == BUILDING),
        _optional(found, what == LAMP),
        tuple(replace(_some(found, kept & (rooms == room)), distance_m=float(room)) for room in np.unique(rooms[kept])),
        {str(name): _some(found, served & (names == name)) for name in np.unique(names[served].astype(str))},
    )


def joined(given: Features | None, more: Features | None) -> Features | None:
    """Features of a file and drawn ones as one layer, in the coordinate system of the first; what one of them lacks is None."""
    return given if more is None else with_more(given, more)


def with_more(given: Features | None, more: Features) -> Features:
    """As `joined`, where there are drawn ones."""
    if given is None:
        return more
    more = more if given.crs is None else reprojected(more, given.crs)
    names = dict.fromkeys([*given.columns, *more.columns])
    columns = {
        name: np.concatenate([_column(part, name) for part in (given, more)]) for name in names if name != FEATURE_ID
    }
    return replace(given, geometry=np.concatenate([given.geometry, more.geometry]), columns=columns,
                   notes=tuple(dict.fromkeys([*given.notes, *more.notes])))  # fmt: skip


def with_fields(land: Features | None, fields: Features, crs: pyproj.CRS | None) -> Features:
    """The parcels of a file, if any, and the fields that were drawn. Arguments: crs, of the fields where there is no file."""
    titles = [name for name in ([] if land is None else land.columns) if name.lower() in PARCEL_NAMES]
    columns = {DRAWN: fields.columns[DRAWN], **dict.fromkeys(titles or ["name"], fields.columns["name"])}
    fields = replace(fields, columns=columns)
    if land is None:
        return fields if crs is None else reprojected(fields, crs)
    return with_more(land, fields)


def _column(part: Features, name: str) -> np.ndarray:
    found = part.columns.get(name)
    return np.full(len(part), None, object) if found is None else np.asarray(found, object)


def _optional(found: Features, chosen: np.ndarray) -> Features | None:
    return _some(found, chosen) if chosen.any() else None


def _some(found: Features, chosen: np.ndarray) -> Features:
    columns = {name: values[chosen] for name, values in found.columns.items() if name != "drawn_id"}
    columns[DRAWN] = np.ones(int(chosen.sum()))
    return replace(found, geometry=found.geometry[chosen], columns=columns)


def _obstacles(found: Features, chosen: np.ndarray) -> Features | None:
    """Trees with the radius of their crown, lines with their width."""
    part = _optional(found, chosen)
    if part is None:
        return None
    what, wide = part.columns["what"], part.columns["width_m"]
    wide = np.where((what == WALL) & np.isnan(wide), WALL_WIDTH_M, wide)
    columns = {"height_m": part.columns["height_m"], "crown_radius_m": part.columns["crown_m"] / 2, "width_m": wide}
    return replace(part, columns=columns | {name: part.columns[name] for name in ("name", "kind", DRAWN)})


def _texts(part: Features, name: str) -> np.ndarray:
    values: Iterable[Any] = part.columns.get(name, ())
    found = ["" if value is None or value != value else str(value) for value in values]
    return np.array(found or [""] * len(part), object)


def _lengths(part: Features, name: str) -> np.ndarray:
    values = part.columns.get(name)
    return (
        np.full(len(part), np.nan)
        if values is None
        else np.array([np.nan if v is None else float(v) for v in values], float)
    )
