"""What GDAL does not write into a GeoPackage: lineage and cautions, styles, and words and units for each
column.

Sources: OGC 12-128r18 (GeoPackage 1.3.1/1.4), annex F.8 (metadata) and F.9 (schema),
https://www.geopackage.org/spec/ [@geopackage]. `layer_styles` belongs to
no standard: its columns are what desktop programs read and write through GDAL.
"""

from __future__ import annotations

import contextlib
import sqlite3
import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tunnelsite.io.formats.gis_style import gis_style

USER_VERSION = 10301  # GeoPackage 1.3.1 (OGC 12-128r18, requirement 2)
SLD_MEDIA_TYPE = "application/vnd.ogc.sld+xml"
_SLD_URI = "http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd"
_SPEC = "http://www.geopackage.org/spec131/"
_TEXT_URI = "http://purl.org/dc/terms/description"  # Dublin Core, for plain sentences
_EXTENSIONS = (
    ("gpkg_metadata", "gpkg_metadata", "metadata"),
    ("gpkg_metadata_reference", "gpkg_metadata", "metadata"),
    ("gpkg_data_columns", "gpkg_schema", "schema"),
    ("gpkg_data_column_constraints", "gpkg_schema", "schema"),
)
_TABLES = """
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL,
  mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), md_file_id INTEGER NOT NULL,
  md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
  min_is_inclusive BOOLEAN, max NUMERIC,
  max_is_inclusive BOOLEAN, description TEXT, CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type,
  value));
"""
_STYLES_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256),
  f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN,
  description TEXT, owner TEXT(30),
  ui TEXT(30), update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))
"""


def add_extensions(
    path: Path,
    layers: Mapping[str, Any],
    *,
    styles: Mapping[str, str],
    lineage_xml: str,
    cautions: Sequence[str],
    stamp: str,
) -> None:
    """Adds the metadata and schema extensions and the styles to a new GeoPackage and puts `stamp` in place of
    every time in it.

    Arguments: path of a file that no one else has open; layers, tables ready to write, by name; styles, SLD by
    table name; lineage_xml; cautions.
    Errors: sqlite3.Error; ValueError if the lineage is not well-formed XML.
    """
    lineage_uri = xml_namespace(lineage_xml, "the lineage")
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
        # The file is thrown away on any failure and synced before use: neither a rollback journal nor a sync
        # is of use here.
        database.execute("PRAGMA journal_mode=OFF")
        database.execute("PRAGMA synchronous=OFF")
        database.executescript("BEGIN;" + _TABLES)
        database.executemany(
            f"INSERT INTO gpkg_extensions VALUES (?, NULL, ?, '{_SPEC}#extension_' || ?, 'read-write')",
            _EXTENSIONS,
        )
        _add_metadata(database, "dataset", lineage_uri, "text/xml", lineage_xml, None, stamp)
        if cautions:
            _add_metadata(database, "dataset", _TEXT_URI, "text/plain", "\n".join(cautions), None, stamp)
        _add_column_words(database, layers)
        if styles:
            _add_styles(database, layers, styles, stamp)
        database.execute(f"PRAGMA user_version = {USER_VERSION}")
        database.execute("UPDATE gpkg_contents SET last_change = ?", (stamp,))
        database.execute("COMMIT")
        database.execute("VACUUM")  # the bytes then follow from what is stored, not from the way it came in
    _reset_counters(path)


def _reset_counters(path: Path) -> None:
    """Sets SQLite's count of changes, which tells how many transactions GDAL took, to 1
    (https://sqlite.org/fileformat2.html 1.3.7, 1.3.15)."""
    with open(path, "r+b") as file:
        for offset in (24, 92):  # the count, and the count for which the page number in the header is valid
            file.seek(offset)
            file.write((1).to_bytes(4, "big"))


def _add_metadata(
    database: sqlite3.Connection,
    scope: str,
    uri: str,
    media_type: str,
    text: str,
    table: str | None,
    stamp: str,
) -> None:
    cursor = database.execute(
        "INSERT INTO gpkg_metadata (md_scope, md_standard_uri, mime_type, metadata) VALUES (?, ?, ?, ?)",
        (scope, uri, media_type, text),
    )
    database.execute(
        "INSERT INTO gpkg_metadata_reference VALUES (?, ?, NULL, NULL, ?, ?, NULL)",
        ("table" if table else "geopackage", table, stamp, cursor.lastrowid),
    )


def _add_column_words(database: sqlite3.Connection, layers: Mapping[str, Any]) -> None:
    rows = []
    for table, layer in layers.items():
        for name, column in layer.table.columns.items():
            words = [column.description] if column.description else []
            if column.unit:
                words.append(f"Unit: {column.unit}.")
            if layer.names[name] != name:
                words.append(f"Named {name!r} in the source.")
            # `name` stays NULL: readers show it instead of the column's own name, which is the documented one
            rows.append((table, layer.names[name], column.title or name, " ".join(words) or None))
    database.executemany("INSERT INTO gpkg_data_columns VALUES (?, ?, NULL, ?, ?, NULL, NULL)", rows)


def _add_styles(database: sqlite3.Connection, layers: Mapping[str, Any], styles: Mapping[str, str], stamp: str) -> None:
    database.execute(_STYLES_TABLE)
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers, as OGC SLD and in the form that QGIS reads', ?, 0)",
        (stamp,),
    )
    for name in layers:
        if name in styles:
            _add_metadata(database, "style", _SLD_URI, SLD_MEDIA_TYPE, styles[name], name, stamp)
            row = (
                "",
                "",
                name,
                "geom",
                name[:30],
                gis_style(styles[name]),
                styles[name],
                True,
                f"Default style of {name}",
                "",
                None,
                stamp,
            )
            database.execute(f"INSERT INTO layer_styles VALUES (NULL{', ?' * len(row)})", row)


def xml_namespace(document: str, what: str) -> str:
    """The namespace of an XML document, which tells by what standard it is made. Errors: ValueError if it
    is not well-formed."""
    try:
        tag = ElementTree.fromstring(document.encode("utf-8") if isinstance(document, str) else document).tag
    except ElementTree.ParseError as error:
        raise ValueError(f"{what} is not well-formed XML: {error}") from error
    return tag[1:].partition("}")[0] if tag.startswith("{") else "http://www.w3.org/XML/1998/namespace"
