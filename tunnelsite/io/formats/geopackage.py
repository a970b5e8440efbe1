"""Writes a GeoPackage (OGC 12-128): features and tables through GDAL, then what GDAL does not write
through SQLite."""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import transformer
from tunnelsite.core.moment import run_moment
from tunnelsite.core.table import GEOMETRY_TYPES, Table, values_and_mask
from tunnelsite.io.formats.geopackage_extensions import add_extensions, xml_namespace
from tunnelsite.io.formats.systems import flat_system
from tunnelsite.io.names import column_names
from tunnelsite.io.write.staging import staged

APPLICATION_ID = 0x47504B47  # "GPKG", OGC 12-128r18, requirement 2
_TABLE_NAME = re.compile(r"(?!gpkg_|sqlite_|rtree_|layer_styles$)[a-z][a-z0-9_]*")
_STAMP = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
_DRIVER_ERRORS = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.GeometryError,
    pyogrio.errors.FieldError,
    pyogrio.errors.CRSError,
)
# a spatial table with its index and triggers takes 5 or 6 pages of 4096 bytes; measured, with a margin
_BYTES_OF_EMPTY_TABLE = 40_000


def write_geopackage(
    path: str | os.PathLike[str],
    tables: Mapping[str, Table],
    *,
    crs: pyproj.CRS,
    styles: Mapping[str, str],
    lineage_xml: str,
    cautions: Sequence[str],
    overwrite: bool,
    stamp: str,
) -> None:
    """Writes tables, their styles and their lineage as one GeoPackage, whole or not at all.

    What is None or NaN is NULL. Heights of the geometry are dropped. Columns are renamed as `column_names`
    says; the name given is kept in `gpkg_data_columns`. The same input and stamp give the same bytes (with
    the same versions of GDAL and SQLite).

    Arguments: path, ending in .gpkg; tables by name (lower case), in order; crs of every geometry, any
    system, of which the horizontal part is stored; styles, an OGC SLD document by table name; lineage_xml,
    any well-formed XML document; cautions, sentences kept as metadata of the file; overwrite, whether an
    existing file may be replaced; stamp, from `run_stamp`.
    Errors: OutputFailed if it cannot be written (what was there stays); UsageError for another suffix;
    ValueError for a table or column that breaks its own description.
    """
    _check_given(path, tables, styles, lineage_xml, stamp)
    flat = flat_system(crs)
    prepared = {name: _prepared(name, table) for name, table in tables.items()}

    def verify(temp: Path) -> None:
        _verify(temp, prepared, flat)

    need = sum(layer.bytes_at_most for layer in prepared.values()) + 4 * sum(map(len, styles.values()))
    named = _crs_text(flat)
    with staged(path, overwrite=overwrite, need_bytes=need, verify=verify, driver_errors=_DRIVER_ERRORS) as temp:
        for name, layer in prepared.items():
            _write_layer(temp, name, layer, named)
        add_extensions(temp, prepared, styles=styles, lineage_xml=lineage_xml, cautions=cautions, stamp=stamp)


def run_stamp(environment: Mapping[str, str] | None = None) -> str:
    """The time of the run in the form a GeoPackage asks for, `2026-01-31T12:00:00.000Z`.

    Arguments: environment, by default the process's; `SOURCE_DATE_EPOCH` in it (seconds since 1970,
    reproducible-builds.org) is used instead of the clock. Errors: UsageError if that is not a number of
    seconds.
    """
    moment = run_moment(environment)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z"


class DriverTable:
    """A table as the driver takes it: arrays, masks and column names."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.names = column_names(table.columns)
        pairs = [values_and_mask(name, column) for name, column in table.columns.items()]
        self.values, self.masks = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
        self.geometry = None if table.geometry is None else _well_known_binary(table)

    @property
    def bytes_at_most(self) -> int:
        """A generous estimate of the bytes on disk."""
        texts = sum(len(text) * 4 for values in self.values if values.dtype == object for text in values)
        shapes = 0 if self.geometry is None else sum(len(shape or b"") + 120 for shape in self.geometry)
        return _BYTES_OF_EMPTY_TABLE + len(self.table) * (20 + 9 * len(self.values)) + texts + shapes


def _prepared(name: str, table: Table) -> DriverTable:
    try:
        return DriverTable(table)
    except ValueError as error:
        raise ValueError(f"table {name!r}: {error}") from error


def _check_given(
    path: str | os.PathLike[str],
    tables: Mapping[str, Table],
    styles: Mapping[str, str],
    lineage_xml: str,
    stamp: str,
) -> None:
    if Path(path).suffix.lower() != ".gpkg":
        given = f"the output is {os.fspath(path)!r}"
        raise UsageError(given, "a file name ending in .gpkg", "add .gpkg to the name")
    if not _STAMP.fullmatch(stamp):
        raise ValueError(f"stamp is {stamp!r}, not as run_stamp() gives it")
    for name in tables:
        if not _TABLE_NAME.fullmatch(name):
            raise ValueError(
                f"table {name!r}: a name is lower-case letters, digits and _, none that the standard reserves"
            )
    unknown = set(styles) - {name for name, table in tables.items() if table.geometry is not None}
    if unknown:
        raise ValueError(f"styles for {', '.join(sorted(unknown))}, which are no tables with geometry")
    xml_namespace(lineage_xml, "the lineage")
    for name, style in styles.items():
        xml_namespace(style, f"the style of {name}")


def _write_layer(temp: Path, name: str, layer: DriverTable, crs_text: str) -> None:
    spatial = layer.geometry is not None
    options = {"FID": "fid", "IDENTIFIER": name, "DESCRIPTION": layer.table.description or layer.table.title}
    if spatial:
        options |= {"GEOMETRY_NAME": "geom", "SPATIAL_INDEX": "YES"}
    with warnings.catch_warnings():
        # tables without geometry have no coordinate system
        warnings.filterwarnings("ignore", message=".*CRS.*not provided", category=UserWarning)
        pyogrio.raw.write(
            str(temp),
            layer.geometry,
            layer.values,
            list(layer.names.values()),
            field_mask=layer.masks,
            layer=name,
            driver="GPKG",
            geometry_type=layer.table.geometry_kind if spatial else None,
            crs=crs_text if spatial else None,
            append=temp.exists(),
            # older readers warn of 1.4; the count of features is one that only GDAL reads, outside the standard
            dataset_options={"VERSION": "1.3", "ADD_GPKG_OGR_CONTENTS": "NO"},
            layer_options=options,
        )


def _crs_text(crs: pyproj.CRS) -> str:
    # A code only where it is the very same system: to_epsg() alone takes 70 % alike for equal.
    code = crs.to_authority(min_confidence=100)
    if code and code[0] == "EPSG" and pyproj.CRS.from_authority(*code).equals(crs):
        return ":".join(code)
    return crs.to_wkt()


def _verify(temp: Path, prepared: Mapping[str, DriverTable], crs: pyproj.CRS) -> None:
    with contextlib.closing(sqlite3.connect(temp)) as database:
        database.text_factory = lambda stored: stored.decode(
            "utf-8", "replace"
        )  # of a damaged file checks quote anything
        for check, good in (
            ("integrity_check", [("ok",)]),
            ("foreign_key_check", []),
            ("application_id", [(APPLICATION_ID,)]),
        ):
            found = database.execute(f"PRAGMA {check}").fetchall()
            if found != good:
                raise OSError(f"read back, the file fails {check}: {found[:3]}")
        for name, layer in prepared.items():
            wanted = [len(layer.table)] + [int((~mask).sum()) for mask in layer.masks]
            counts = ", ".join(f"count({quoted(column)})" for column in layer.names.values())
            found = database.execute(f"SELECT count(*), {counts} FROM {quoted(name)}").fetchone()
            if list(found) != wanted:
                raise OSError(f"read back, table {name} holds {found} values, not {tuple(wanted)}")
    for name, layer in prepared.items():
        information = pyogrio.read_info(temp, layer=name, force_feature_count=True, force_total_bounds=True)
        if information["features"] != len(layer.table):
            raise OSError(f"read back, layer {name} has {information['features']} features, not {len(layer.table)}")
        if layer.geometry is not None:
            _verify_crs(name, information, crs)


def _verify_crs(name: str, information: dict[str, Any], crs: pyproj.CRS) -> None:
    """A system stored so that it reads back as another one would put a house in the wrong place."""
    bounds = information["total_bounds"]
    if information["crs"] is None:
        raise OSError(f"read back, layer {name} has no coordinate system")
    if bounds is None or not np.isfinite(bounds).all():
        return
    west, south, east, north = bounds
    given = np.array([[west, east, west, east], [south, south, north, north]])
    back = transformer(pyproj.CRS.from_user_input(information["crs"]).to_wkt(), crs.to_wkt()).transform(*given)
    one_mm = 1e-8 if crs.is_geographic else 1e-3  # degrees or map units
    if not np.abs(np.array(back) - given).max() <= one_mm:
        raise OSError(f"the coordinate system {crs.name!r} cannot be stored in a GeoPackage unchanged")


def quoted(name: str) -> str:
    """A table or column name as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def _well_known_binary(table: Table) -> np.ndarray:
    """The geometry as 2-D well-known binary, None where there is none.

    Errors: ValueError for another kind of geometry than the table's, or a coordinate that is not finite.
    """
    geometry = np.empty(len(table), object)
    geometry[:] = table.shapes
    there = ~shapely.is_missing(geometry)
    kinds = shapely.get_type_id(geometry[there])
    if (kinds != GEOMETRY_TYPES[table.geometry_kind]).any():
        found = {shapely.GeometryType(kind).name for kind in set(kinds.tolist())}
        raise ValueError(f"geometry is {', '.join(sorted(found))}, not {table.geometry_kind}")
    if not np.isfinite(shapely.get_coordinates(geometry[there])).all():
        raise ValueError("geometry holds a coordinate that is not finite")
    return np.asarray(shapely.to_wkb(shapely.force_2d(geometry)))
