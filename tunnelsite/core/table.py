"""A table of results: columns with units, geometry or none. What was not assessed is None, never 0."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyproj

REAL, INTEGER, TEXT = KINDS = ("real", "integer", "text")


@dataclass(frozen=True)
class Column:
    """One column: `kind` (real, integer or text) holds even where every value is None. `unit` and `title` are for people."""

    kind: str
    title: str = ""
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """Rows of a result layer.

    Attributes:
        name: layer name. title: a sentence on what it holds.
        columns: description of each column in order. rows: one dict a row; a missing or NaN value becomes None.
        geometry: one shapely geometry a row in `crs`, or None for a table without places.
        geometry_type: `Polygon`, `MultiPolygon` or `Point`.
    """

    name: str
    title: str
    columns: dict[str, Column]
    rows: list[dict[str, Any]]
    geometry: np.ndarray | None = None
    geometry_type: str = ""
    crs: pyproj.CRS | None = None
    keys: tuple[str, ...] = field(default=())

    def values(self, name: str) -> list[Any]:
        """The values of one column, None where there is none, plain Python types."""
        kind = self.columns[name].kind
        return [_plain(row.get(name), kind) for row in self.rows]


def _plain(value: Any, kind: str) -> Any:
    if value is None or (kind != "text" and not np.isfinite(value)):
        return None
    return {"real": float, "integer": int, "text": str}[kind](value)
