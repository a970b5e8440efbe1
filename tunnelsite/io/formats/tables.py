"""Tables on their way to a file: typed columns in which None means not assessed, with or without geometry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas
import shapely

KINDS = {"REAL": np.float64, "INTEGER": np.int64, "BOOLEAN": np.bool_, "TEXT": np.object_}
GEOMETRY_TYPES = {
    "Point": shapely.GeometryType.POINT, "LineString": shapely.GeometryType.LINESTRING,
    "Polygon": shapely.GeometryType.POLYGON,
    "MultiPoint": shapely.GeometryType.MULTIPOINT, "MultiLineString": shapely.GeometryType.MULTILINESTRING,
    "MultiPolygon": shapely.GeometryType.MULTIPOLYGON,
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column; its kind is stated, so that it stays the same when nothing was assessed.

    Attributes:
        values: one per row; None, NaN and NaT mean not assessed.
        kind: `REAL`, `INTEGER`, `BOOLEAN` or `TEXT`.
        title: a few words. unit: as in `m`, `1`, `deg`; `` for words. description: a sentence.
    """

    values: Sequence[Any] | np.ndarray
    kind: str
    title: str = ""
    unit: str = ""
    description: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind of column is {self.kind!r}, not one of {', '.join(KINDS)}")


@dataclass(frozen=True)
class Table:
    """A table of equally long columns, in order.

    Attributes:
        columns: by name. geometry: shapely geometries, one per row (None = none), or None for a table
        without. geometry_kind: `Point`, `LineString`, `Polygon` or `Multi...` of these; `` without geometry.
        title: a few words. description: a sentence.
    """

    columns: Mapping[str, Column]
    geometry: Sequence[Any] | np.ndarray | None = None
    geometry_kind: str = ""
    title: str = ""
    description: str = ""

    def __post_init__(self) -> None:
        lengths = {name: len(column.values) for name, column in self.columns.items()}
        if self.geometry is not None:
            lengths["geometry"] = len(self.geometry)
            if self.geometry_kind not in GEOMETRY_TYPES:
                raise ValueError(f"kind of geometry is {self.geometry_kind!r}, not one of {', '.join(GEOMETRY_TYPES)}")
        if len(set(lengths.values())) != 1:
            raise ValueError(f"columns of unequal length, or none: {lengths}")

    def __len__(self) -> int:
        return len(next(iter(self.columns.values())).values) if self.columns else len(self.geometry)


def values_and_mask(name: str, column: Column) -> tuple[np.ndarray, np.ndarray]:
    """The column as an array of its kind, and a mask that is True where nothing was assessed.

    Errors: ValueError for an infinite or fractional number, or anything that is not of the column's kind.
    """
    given = np.empty(len(column.values), object)
    given[:] = list(column.values)
    if np.ma.isMA(column.values):
        given[np.ma.getmaskarray(column.values)] = None
    mask = np.asarray(pandas.isna(given), bool)
    values = np.zeros(len(given), KINDS[column.kind])
    if column.kind == "TEXT":
        values[:] = ""
        values[~mask] = [_storable(value) for value in given[~mask]]
        return values, mask
    try:
        numbers = given[~mask].astype(np.float64)
        values[~mask] = given[~mask].astype(KINDS[column.kind])
    except (TypeError, ValueError, OverflowError) as error:
        raise ValueError(f"column {name!r} holds a value that is not {column.kind}: {error}") from error
    if not np.isfinite(numbers).all():
        raise ValueError(f"column {name!r} holds an infinite value; what was not assessed is None or NaN")
    if column.kind != "REAL" and not np.array_equal(values[~mask].astype(np.float64), numbers):
        raise ValueError(f"column {name!r} holds a value that is not {column.kind}")
    if column.kind == "REAL":
        values[mask] = np.nan
    return values, mask


def well_known_binary(table: Table) -> np.ndarray:
    """The geometry as 2-D well-known binary, None where there is none.

    Errors: ValueError for another kind of geometry than the table's, or a coordinate that is not finite.
    """
    geometry = np.empty(len(table), object)
    geometry[:] = list(table.geometry)
    there = ~shapely.is_missing(geometry)
    kinds = shapely.get_type_id(geometry[there])
    if (kinds != GEOMETRY_TYPES[table.geometry_kind]).any():
        found = {shapely.GeometryType(kind).name for kind in set(kinds.tolist())}
        raise ValueError(f"geometry is {', '.join(sorted(found))}, not {table.geometry_kind}")
    if not np.isfinite(shapely.get_coordinates(geometry[there])).all():
        raise ValueError("geometry holds a coordinate that is not finite")
    return shapely.to_wkb(shapely.force_2d(geometry))


def _storable(value: Any) -> str:
    # A lone surrogate cannot be stored as UTF-8, and drivers written in C end a text at a null byte.
    return str(value).encode("utf-8", "replace").decode("utf-8").replace("\0", "\N{REPLACEMENT CHARACTER}")
