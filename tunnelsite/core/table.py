"""A table of results: typed columns in which None means not assessed, never 0, with or without geometry."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pyproj
import shapely

REAL, INTEGER, BOOLEAN, TEXT = "REAL", "INTEGER", "BOOLEAN", "TEXT"
KINDS: dict[str, type[np.generic]] = {REAL: np.float64, INTEGER: np.int64, BOOLEAN: np.bool_, TEXT: np.object_}
NULLABLE = {REAL: "Float64", INTEGER: "Int64", BOOLEAN: "boolean", TEXT: "string"}  # the same as data types of pandas
GEOMETRY_TYPES = {
    "Point": shapely.GeometryType.POINT, "LineString": shapely.GeometryType.LINESTRING,
    "Polygon": shapely.GeometryType.POLYGON,
    "MultiPoint": shapely.GeometryType.MULTIPOINT, "MultiLineString": shapely.GeometryType.MULTILINESTRING,
    "MultiPolygon": shapely.GeometryType.MULTIPOLYGON,
}  # fmt: skip


@dataclass(frozen=True)
class Heading:
    """What a column holds; its kind is stated, so that it stays the same when nothing was assessed.

    Attributes:
        kind: `REAL`, `INTEGER`, `BOOLEAN` or `TEXT`.
        title: a few words. unit: as in `m`, `1`, `deg`; `` for words. description: a sentence.
    """

    kind: str
    title: str = ""
    unit: str = ""
    description: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind of column is {self.kind!r}, not one of {', '.join(KINDS)}")


@dataclass(frozen=True)
class Column:
    """One column with its values.

    Attributes:
        values: one per row; None, NaN and NaT mean not assessed. kind, title, unit, description: as in `Heading`.
    """

    values: Sequence[Any] | np.ndarray
    kind: str
    title: str = ""
    unit: str = ""
    description: str = ""

    @property
    def heading(self) -> Heading:
        """The column without its values."""
        return Heading(self.kind, self.title, self.unit, self.description)

    def __post_init__(self) -> None:
        Heading(self.kind)


@dataclass(frozen=True)
class Table:
    """A table of equally long columns, in order.

    Attributes:
        columns: by name. geometry: shapely geometries, one per row (None = none), or None for a table
        without. geometry_kind: `Point`, `LineString`, `Polygon` or `Multi...` of these; `` without geometry.
        title: a few words. description: a sentence. name: of the layer; `` where the place it is kept in names it.
        crs: of the geometry, where the table states it itself.
    """

    columns: Mapping[str, Column]
    geometry: Sequence[Any] | np.ndarray | None = None
    geometry_kind: str = ""
    title: str = ""
    description: str = ""
    name: str = ""
    crs: pyproj.CRS | None = None

    def __post_init__(self) -> None:
        lengths = {name: len(column.values) for name, column in self.columns.items()}
        if self.geometry is not None:
            lengths["geometry"] = len(self.geometry)
            if self.geometry_kind not in GEOMETRY_TYPES:
                raise ValueError(f"kind of geometry is {self.geometry_kind!r}, not one of {', '.join(GEOMETRY_TYPES)}")
        if len(set(lengths.values())) != 1:
            raise ValueError(f"columns of unequal length, or none: {lengths}")

    def __len__(self) -> int:
        if self.columns:
            return len(next(iter(self.columns.values())).values)
        return 0 if self.geometry is None else len(self.geometry)

    @property
    def shapes(self) -> list[Any]:
        """The geometries, one a row. Errors: ValueError for a table without."""
        if self.geometry is None:
            raise ValueError(f"table {self.name or self.title!r} holds no geometry")
        return list(self.geometry)

    @property
    def system(self) -> pyproj.CRS:
        """The coordinate system of the geometry. Errors: ValueError for a table that states none."""
        if self.crs is None:
            raise ValueError(f"table {self.name or self.title!r} states no coordinate system")
        return self.crs

    @property
    def headings(self) -> dict[str, Heading]:
        """The columns without their values."""
        return {name: column.heading for name, column in self.columns.items()}

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """One dict a row: plain Python values, None for what was not assessed."""
        columns = {name: self.values(name) for name in self.columns}
        if not columns:
            return [{} for _ in range(len(self))]
        return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]

    @property
    def places(self) -> Places | None:
        """Where the rows lie, to be given to another table of the same rows; None where it is not known."""
        if self.geometry is None or self.crs is None:
            return None
        return Places(self.geometry, self.geometry_kind, self.crs)

    def values(self, name: str) -> list[Any]:
        """The values of one column, None where there is none, plain Python types."""
        found, missing = values_and_mask(name, self.columns[name])
        return [None if none else value for value, none in zip(found.tolist(), missing, strict=True)]

    def first(self, count: int) -> Table:
        """The first rows, without their geometry."""
        columns = {name: replace(column, values=column.values[:count]) for name, column in self.columns.items()}
        return replace(self, columns=columns, geometry=None, geometry_kind="")

    def with_rows(self, rows: Sequence[Mapping[str, Any]]) -> Table:
        """The same columns with other rows, for a table without geometry."""
        return replace(self, columns=columns_of_rows(self.headings, rows))


@dataclass(frozen=True)
class Places:
    """Where the rows of a table lie: one geometry a row (None = none), what kind they are, and their system."""

    geometry: Sequence[Any] | np.ndarray
    kind: str
    crs: pyproj.CRS


def table_of(
    name: str,
    title: str,
    headings: Mapping[str, Heading],
    rows: Sequence[Mapping[str, Any]],
    places: Places | None = None,
) -> Table:
    """A table from its rows, each a dict by column; what a row does not have was not assessed, what is no column is left out."""
    columns = columns_of_rows(headings, rows)
    if places is None:
        return Table(columns, title=title, name=name)
    return Table(columns, places.geometry, places.kind, title, name=name, crs=places.crs)


def columns_of_rows(headings: Mapping[str, Heading], rows: Sequence[Mapping[str, Any]]) -> dict[str, Column]:
    """Columns with the values of rows."""
    return {
        name: Column(_column(name, one.kind, rows), one.kind, one.title, one.unit, one.description)
        for name, one in headings.items()
    }


def values_and_mask(name: str, column: Column) -> tuple[np.ndarray, np.ndarray]:
    """The column as an array of its kind, and a mask that is True where nothing was assessed.

    Errors: ValueError for an infinite or fractional number, or anything that is not of the column's kind.
    """
    given = np.empty(len(column.values), object)
    given[:] = list(column.values)
    if isinstance(column.values, np.ma.MaskedArray):
        given[np.ma.getmaskarray(column.values)] = None
    mask = np.fromiter(map(_missing, given), bool, len(given))
    values = np.zeros(len(given), KINDS[column.kind])
    if column.kind == TEXT:
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
    if column.kind != REAL and not np.array_equal(values[~mask].astype(np.float64), numbers):
        raise ValueError(f"column {name!r} holds a value that is not {column.kind}")
    if column.kind == REAL:
        values[mask] = np.nan
    return values, mask


def _column(name: str, kind: str, rows: Sequence[Mapping[str, Any]]) -> list[Any]:
    """One column of rows; a number that is not finite was not assessed."""
    values = [row.get(name) for row in rows]
    if kind == TEXT:
        return values
    return [None if value is None or not math.isfinite(value) else value for value in values]


def _missing(value: Any) -> bool:
    """None, NaN, NaT, or the NA of pandas, which compares to nothing."""
    try:
        return value is None or bool(value != value)
    except TypeError:
        return True


def _storable(value: Any) -> str:
    if type(value) is str and value.isascii() and "\0" not in value:
        return value
    # A lone surrogate cannot be stored as UTF-8, and drivers written in C end a text at a null byte.
    return str(value).encode("utf-8", "replace").decode("utf-8").replace("\0", "\N{REPLACEMENT CHARACTER}")
