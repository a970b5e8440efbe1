"""Reads every layer of a GeoPackage that this program wrote, with the words, styles and cautions it carries."""

from __future__ import annotations

import contextlib
import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.table import GEOMETRY_TYPES, Column, Table
from tunnelsite.io.plain_names import without_link
from tunnelsite.io.read.files import checked_file
from tunnelsite.io.read.vector_files import VectorFile, opened_vector, read_only, refuse_stored_queries

OPTION = "SITES"
_KINDS = {"i": "INTEGER", "u": "INTEGER", "f": "REAL", "b": "BOOLEAN"}
_UNIT = re.compile(r"(?:^| )Unit: (.*)\.$")
_PROBLEMS = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.GeometryError,
    shapely.errors.ShapelyError,
    sqlite3.Error,
    UnicodeDecodeError,
)


@dataclass(frozen=True)
class StoredLayers:
    """What a GeoPackage holds.

    Attributes:
        tables: layers and tables in the order of the file. crs: of every geometry, None where there is no geometry.
        styles: OGC SLD by layer. cautions: sentences. changed: when it was written (ISO 8601, UTC).
        path: the file. sha256: of it.
    """

    tables: dict[str, Table]
    crs: pyproj.CRS | None
    styles: dict[str, str]
    cautions: tuple[str, ...]
    changed: str
    path: Path
    sha256: str

    @property
    def title(self) -> str:
        """What the file is, with its name."""
        kind = (
            "grading plan" if "lines" in self.tables else "block of houses" if "layout" in self.tables else "screening"
        )
        return f"{self.path.stem}: {kind} by tunnelsite"

    @property
    def places(self) -> dict[str, Table]:
        """The layers with geometry."""
        return {name: table for name, table in self.tables.items() if table.geometry is not None}


def read_layers(path: str) -> StoredLayers:
    """Every layer and table of a GeoPackage.

    Errors: InputRefused for another kind of file, a damaged one, one that changes while it is read, or layers in
    several coordinate systems.
    """
    found = checked_file(path, OPTION)
    where = f"{OPTION}: {found.name!r}"
    with opened_vector(found, OPTION) as file:
        if file.driver != "GPKG":
            raise InputRefused(f"{where} is {file.driver}", "the GeoPackage that tunnelsite wrote", "name that file")
        return _stored(file, where)


def _stored(file: VectorFile, where: str) -> StoredLayers:
    refuse_stored_queries(file, None, where)
    try:
        with contextlib.closing(read_only(file.link)) as database:
            listed = [row[0] for row in database.execute(
                "SELECT table_name FROM gpkg_contents WHERE data_type IN ('features', 'attributes') ORDER BY rowid"
            )]  # fmt: skip
            words, styles = _words(database), _styles(database)
            cautions, changed = _cautions(database), _changed(database, where)
        tables, systems = {}, {}
        for name in listed:
            if name != "layer_styles":
                refuse_stored_queries(file, name, where)
                tables[name], systems[name] = _table(file.target, name, where, words)
    except _PROBLEMS as problem:
        raise InputRefused(
            f"{where} cannot be read ({without_link(str(problem))})",
            "the GeoPackage that tunnelsite wrote",
            "screen again",
        ) from None
    crs, digest = _one_system(systems, where), file.content.sha256
    return StoredLayers(tables, crs, styles, cautions, changed, file.path, digest)


def _there(database: sqlite3.Connection, table: str) -> bool:
    return bool(database.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (table,)).fetchone())


def _words(database: sqlite3.Connection) -> dict[tuple[str, str], tuple[str, str, str]]:
    """{(table, column): (title, unit, description)} and {(table, ""): (description, "", "")} of each table."""
    found = {}
    for name, description in database.execute("SELECT table_name, description FROM gpkg_contents"):
        found[name, ""] = (str(description or ""), "", "")
    if _there(database, "gpkg_data_columns"):
        for table, column, title, description in database.execute(
            "SELECT table_name, column_name, title, description FROM gpkg_data_columns"
        ):
            text = str(description or "")
            unit = _UNIT.search(text)
            found[table, column] = (str(title or ""), unit.group(1) if unit else "", _UNIT.sub("", text))
    return found


def _styles(database: sqlite3.Connection) -> dict[str, str]:
    if not _there(database, "layer_styles"):
        return {}
    rows = database.execute("SELECT f_table_name, styleSLD FROM layer_styles WHERE useAsDefault")
    return {str(name): str(style) for name, style in rows if name and style}


def _cautions(database: sqlite3.Connection) -> tuple[str, ...]:
    if not _there(database, "gpkg_metadata"):
        return ()
    rows = database.execute("SELECT metadata FROM gpkg_metadata WHERE mime_type = 'text/plain' ORDER BY id")
    return tuple(line for (text,) in rows for line in str(text).splitlines() if line.strip())


def _changed(database: sqlite3.Connection, where: str) -> str:
    text = str(database.execute("SELECT max(last_change) FROM gpkg_contents").fetchone()[0] or "")
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise InputRefused(f"{where} was last changed on {text!r}", "a time as ISO 8601", "screen again") from None
    return text


def _table(
    target: str, name: str, where: str, words: Mapping[tuple[str, str], tuple[str, str, str]]
) -> tuple[Table, pyproj.CRS | None]:
    meta, _, blobs, values = pyogrio.raw.read(target, layer=name, read_geometry=True)
    columns: dict[str, Column] = {}
    for title, column in zip(meta["fields"], values, strict=True):
        kind = _KINDS.get(np.dtype(meta["dtypes"][len(columns)]).kind, "TEXT")
        if kind == "REAL" and np.isinf(column).any():
            raise InputRefused(
                f"{where}: layer {name}, column {title} holds an infinite number",
                "numbers, or nothing where it is not known",
                "name the file as tunnelsite wrote it",
            )
        columns[title] = Column(column, kind, *words.get((name, title), ("", "", "")))
    about = words.get((name, ""), ("", "", ""))[0]
    geometry_kind = meta["geometry_type"]
    if geometry_kind is None:
        return Table(columns, title=about), None
    if geometry_kind not in GEOMETRY_TYPES or meta["crs"] is None:
        what = "no coordinate system" if geometry_kind in GEOMETRY_TYPES else f"geometry of the kind {geometry_kind}"
        raise InputRefused(f"{where}: layer {name} has {what}", "the GeoPackage that tunnelsite wrote", "name it")
    geometry = shapely.from_wkb(blobs)
    return Table(columns, geometry, geometry_kind, about), pyproj.CRS.from_user_input(meta["crs"])


def _one_system(systems: dict[str, pyproj.CRS | None], where: str) -> pyproj.CRS | None:
    there = [crs for crs in systems.values() if crs is not None]
    if any(not crs.equals(there[0]) for crs in there):
        raise InputRefused(
            f"{where} has layers in several coordinate systems", "one system, as tunnelsite writes", "name another file"
        )
    return there[0] if there else None
