"""Layers and tables as CSV and as Parquet."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.table import KINDS, NULLABLE, Column, Table, values_and_mask
from tunnelsite.io.formats.world import WorldLayer


def sheet_of(table: Table, world: WorldLayer | None, crs: pyproj.CRS | None) -> Table:
    """A table with places in columns, for CSV: points as easting, northing, lon, lat, other shapes as `wkt` (OGC
    06-103r4) in `crs`. A column of the table that has such a name already stays as it is."""
    columns = dict(table.columns)
    if table.geometry is None or crs is None or world is None:
        return Table(columns, title=table.title)
    digits = 9 if crs.is_geographic else 4
    unit = crs.axis_info[0].unit_name
    if table.geometry_kind == "Point":
        places = {
            "easting": ([_coordinate(one, 0, digits) for one in table.geometry], unit),
            "northing": ([_coordinate(one, 1, digits) for one in table.geometry], unit),
            "lon": ([_coordinate(one, 0, 7) for one in world.geometry], "deg"),
            "lat": ([_coordinate(one, 1, 7) for one in world.geometry], "deg"),
        }
        for name, (values, of) in places.items():
            columns.setdefault(name, Column(values, "REAL", name, of))
    else:
        texts = [None if one is None else shapely.to_wkt(one, rounding_precision=digits) for one in table.geometry]
        columns.setdefault("wkt", Column(texts, "TEXT", f"outline, {crs.name}", unit))
    return Table(columns, title=table.title)


def _coordinate(point: shapely.Point | None, axis: int, digits: int) -> float | None:
    if point is None or point.is_empty:
        return None
    return round(float(shapely.get_coordinates(point)[0, axis]), digits) + 0.0


def check_csv(path: Path, table: Table) -> None:
    """Errors: OSError unless the file reads back as a header and as many rows, each of the same width."""
    try:
        with open(path, encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file, strict=True))
    except (csv.Error, UnicodeDecodeError) as error:
        raise OSError(f"read back, the file is damaged ({error})") from error
    if len(rows) != len(table) + 1 or {len(row) for row in rows} != {len(table.columns)}:
        raise OSError(f"read back, {len(rows) - 1} rows, not {len(table)} of {len(table.columns)} cells")


def parquet_bytes(table: Table, crs: pyproj.CRS | None) -> bytes:
    """One layer as GeoParquet 1.1.0 (WKB, bounding box of each row), or a table without places as plain Parquet.

    Errors: UsageError if the library for Parquet is not installed.
    """
    try:
        import pyarrow  # noqa: F401  # optional extra: only Parquet needs it
    except ImportError as error:
        raise UsageError(
            "geoparquet was asked for, but the package pyarrow is not installed", "the optional extra parquet",
            "pip install pyarrow, or leave geoparquet out",
        ) from error  # fmt: skip
    import geopandas
    import pandas

    columns = {}
    for name, column in table.columns.items():
        values, mask = values_and_mask(name, column)
        plain = values.astype(KINDS[column.kind]).astype(object)
        plain[mask] = None
        columns[name] = pandas.array(plain, dtype=NULLABLE[column.kind])
    frame, stream = pandas.DataFrame(columns), io.BytesIO()
    if table.geometry is None:
        frame.to_parquet(stream, index=False, engine="pyarrow")
        return stream.getvalue()
    shapes = np.empty(len(table), object)
    shapes[:] = list(table.geometry)
    frame["geom"] = geopandas.GeoSeries(shapes, crs=crs)
    frame = geopandas.GeoDataFrame(frame, geometry="geom", crs=crs)
    covering = "bbox" not in frame.columns
    frame.to_parquet(stream, index=False, schema_version="1.1.0", write_covering_bbox=covering)
    return stream.getvalue()


def check_parquet(path: Path, table: Table) -> None:
    """Errors: OSError unless the file reads back with as many rows and as many values in each column."""
    import pyarrow.parquet

    try:
        found = pyarrow.parquet.read_table(path)
    except pyarrow.lib.ArrowException as error:
        raise OSError(f"read back, the file cannot be read ({error})") from error
    for name, column in table.columns.items():
        there = int((~values_and_mask(name, column)[1]).sum())
        if len(found) != len(table) or len(found) - found[name].null_count != there:
            raise OSError(f"read back, column {name} holds other values")
