"""The main requirements of the GeoPackage standard, checked with nothing but sqlite3 and struct: no GDAL, no
project code.

Source: OGC 12-128r18, https://www.geopackage.org/spec131/ [@geopackage].
"""

from __future__ import annotations

import contextlib
import math
import re
import sqlite3
import struct
from collections.abc import Iterator
from pathlib import Path

_TYPES = re.compile(
    r"BOOLEAN|TINYINT|SMALLINT|MEDIUMINT|INT|INTEGER|FLOAT|DOUBLE|REAL|TEXT(\(\d+\))?|BLOB(\(\d+\))?|DATE|DATETIME|NUMERIC"
    r"|GEOMETRY|POINT|LINESTRING|POLYGON|MULTIPOINT|MULTILINESTRING|MULTIPOLYGON|GEOMETRYCOLLECTION"
)
_WKB = {
    1: "POINT",
    2: "LINESTRING",
    3: "POLYGON",
    4: "MULTIPOINT",
    5: "MULTILINESTRING",
    6: "MULTIPOLYGON",
    7: "GEOMETRYCOLLECTION",
}
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z")
_DEFINITIONS = {
    10: "gpkg_spatial_ref_sys: srs_name srs_id organization organization_coordsys_id definition description",
    13: "gpkg_contents: table_name data_type identifier description last_change min_x min_y max_x max_y srs_id",
    21: "gpkg_geometry_columns: table_name column_name geometry_type_name srs_id z m",
    58: "gpkg_extensions: table_name column_name extension_name definition scope",
    93: "gpkg_metadata: id md_scope md_standard_uri mime_type metadata",
    95: "gpkg_metadata_reference: reference_scope table_name column_name row_id_value timestamp "
    "md_file_id md_parent_id",
    103: "gpkg_data_columns: table_name column_name name title description mime_type constraint_name",
    107: "gpkg_data_column_constraints: constraint_name constraint_type value min min_is_inclusive max "
    "max_is_inclusive description",
}


def broken_requirements(path: str | Path) -> list[str]:
    """What is wrong with a GeoPackage, as sentences that begin with the requirement's number; empty if
    nothing is."""
    path = Path(path)
    found = list(_file(path))
    with contextlib.closing(sqlite3.connect(path)) as database:
        for check in (
            _pragmas,
            _definitions,
            _systems,
            _contents,
            _user_tables,
            _geometry_columns,
            _index,
            _metadata,
            _columns,
        ):
            found += list(check(database))
    return found


def _file(path: Path) -> Iterator[str]:
    head = path.read_bytes()[:100]
    if head[:16] != b"SQLite format 3\0":
        yield "1: not an SQLite 3 file"
    if head[68:72] != b"GPKG":
        yield f"2: application_id is {head[68:72]!r}"
    if struct.unpack(">I", head[60:64])[0] != 10301:  # GeoPackage 1.3.1, as docs/files.md says
        yield f"2: user_version is {struct.unpack('>I', head[60:64])[0]}"
    if path.suffix != ".gpkg":
        yield f"3: file name ends in {path.suffix}"
    for ending in ("-wal", "-journal", "-shm"):
        if Path(f"{path}{ending}").exists():
            yield f"1: {ending} beside the file: not a single file"


def _pragmas(database: sqlite3.Connection) -> Iterator[str]:
    if database.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
        yield "6: integrity_check"
    if database.execute("PRAGMA foreign_key_check").fetchall():
        yield "7: foreign_key_check"
    if database.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        yield "1: journal mode is WAL, which needs more than one file"


def _definitions(database: sqlite3.Connection) -> Iterator[str]:
    for number, definition in _DEFINITIONS.items():
        table, _, wanted = definition.partition(": ")
        found = list(_types(database, table))
        if sorted(found) != sorted(wanted.split()):
            yield f"{number}: columns of {table} are {found}"


def _systems(database: sqlite3.Connection) -> Iterator[str]:
    systems = {
        row[0]: row[1:]
        for row in database.execute("SELECT srs_id, organization, organization_coordsys_id FROM gpkg_spatial_ref_sys")
    }
    for number, organization in ((-1, "none"), (0, "none"), (4326, "epsg")):
        if number not in systems or (systems[number][0].lower(), systems[number][1]) != (
            organization,
            number,
        ):
            yield f"11: reference system {number} is missing or wrong"


def _contents(database: sqlite3.Connection) -> Iterator[str]:
    tables = {row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")}
    systems = {row[0] for row in database.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
    listed = database.execute("SELECT table_name, data_type, last_change, srs_id FROM gpkg_contents").fetchall()
    for name, kind, changed, system in listed:
        if name not in tables:
            yield f"14: {name} is listed but is no table"
        if not _INSTANT.fullmatch(changed):
            yield f"15: last_change of {name} is {changed!r}"
        if system is not None and system not in systems:
            yield f"16: reference system {system} of {name} is not described"
        if kind not in ("features", "attributes"):
            yield f"18: data_type of {name} is {kind!r}"
    known = {name for name, *_ in listed}
    extra = {name for name in tables - known if not name.startswith(("gpkg_", "rtree_", "sqlite_"))}
    if extra:
        yield f"4: tables that nothing describes: {sorted(extra)}"


def _user_tables(database: sqlite3.Connection) -> Iterator[str]:
    for name, kind in database.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall():
        keys = [row for row in database.execute(f'PRAGMA table_info("{name}")') if row[5]]
        if len(keys) != 1 or keys[0][2].upper() != "INTEGER":
            yield f"{29 if kind == 'features' else 119}: {name} has no single INTEGER PRIMARY KEY"
    for (name,) in database.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT GLOB 'sqlite*' AND name NOT GLOB 'rtree*'"
    ):
        for column, declared in _types(database, name).items():
            if not _TYPES.fullmatch(declared.upper()):
                yield f"5: type of {name}.{column} is {declared!r}"


def _geometry_columns(database: sqlite3.Connection) -> Iterator[str]:
    features = {row[0]: row[1:] for row in database.execute(
        "SELECT table_name, srs_id, min_x, min_y, max_x, max_y FROM gpkg_contents "
            "WHERE data_type = 'features'"
    )}  # fmt: skip
    columns = database.execute(
        "SELECT table_name, column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns"
    ).fetchall()
    if sorted(features) != sorted(row[0] for row in columns):
        yield f"22, 23, 30: geometry of {[row[0] for row in columns]}, feature tables are {sorted(features)}"
    for name, column, kind, system, z, m in columns:
        if name not in features:
            continue
        if system != features[name][0]:
            yield f"146: reference system of {name} is {system}, but {features[name][0]} for the table"
        if z not in (0, 1, 2) or m not in (0, 1, 2):
            yield f"27, 28: z and m of {name} are {z}, {m}"
        declared = _types(database, name).get(column)
        if declared is None or declared.upper() != kind.upper():
            yield f"24, 31: {name}.{column} is declared {declared}, not {kind}"
            continue
        boxes = []
        for key, blob in database.execute(f'SELECT rowid, "{column}" FROM "{name}" WHERE "{column}" IS NOT NULL'):
            problem, box = _blob(blob, kind.upper(), system, z)
            boxes += [box] if box else []
            if problem:
                yield f"{problem} ({name}, row {key})"
        if boxes:
            whole = [f(box[i] for box in boxes) for i, f in ((0, min), (1, min), (2, max), (3, max))]
            if not all(math.isclose(a, b, rel_tol=1e-12) for a, b in zip(whole, features[name][1:], strict=True)):
                yield f"13: extent of {name} is {features[name][1:]}, its geometry covers {whole}"


def _blob(blob: bytes, kind: str, system: int, z: int) -> tuple[str, list[float] | None]:
    """(what is wrong, bounding box) of one geometry in the standard's binary format (clause 2.1.3)."""
    if blob[:2] != b"GP" or blob[2] != 0:
        return f"19: geometry begins with {blob[:3]!r}", None
    flags = blob[3]
    order, code, empty, extended = "<" if flags & 1 else ">", flags >> 1 & 7, flags >> 4 & 1, flags >> 5 & 1
    if code > 4 or extended or flags >> 6:
        return f"19: flags are {flags:08b}", None
    if struct.unpack(f"{order}i", blob[4:8])[0] != system:
        return (
            f"33: geometry names reference system {struct.unpack(f'{order}i', blob[4:8])[0]}, not {system}",
            None,
        )
    numbers = (0, 4, 6, 6, 8)[code]
    envelope = struct.unpack(f"{order}{numbers}d", blob[8 : 8 + 8 * numbers])
    shape, points, rest = _wkb(blob, 8 + 8 * numbers)
    if rest != len(blob):
        return f"19: {len(blob) - rest} bytes after the geometry", None
    if shape >= 1000 and z == 0:
        return f"27: a geometry has heights (type {shape})", None
    if kind != "GEOMETRY" and _WKB.get(shape % 1000) != kind:
        return f"32: a geometry is {_WKB.get(shape % 1000)}, not {kind}", None
    if not points:
        return ("" if empty else "19: an empty geometry is not flagged as empty"), None
    box = [f(point[i] for point in points) for f in (min, max) for i in (0, 1)]
    if code and envelope[:4] != (box[0], box[2], box[1], box[3]):
        return f"19: envelope is {envelope[:4]}, the geometry covers {box}", box
    return "", box


def _wkb(blob: bytes, start: int) -> tuple[int, list[tuple[float, ...]], int]:
    """(type, points, end) of well-known binary at `start`."""
    order = "<" if blob[start] else ">"
    shape, start = struct.unpack(f"{order}I", blob[start + 1 : start + 5])[0], start + 5
    width = 8 * (2 + (shape // 1000 in (1, 2)) + 2 * (shape // 1000 == 3))

    def count(at: int) -> int:
        return struct.unpack(f"{order}I", blob[at : at + 4])[0]

    def line(at: int, length: int) -> list[tuple[float, ...]]:
        return [struct.unpack(f"{order}2d", blob[at + i * width : at + i * width + 16]) for i in range(length)]

    if shape % 1000 == 1:
        points = [point for point in line(start, 1) if not math.isnan(point[0])]
        return shape, points, start + width
    parts, start, points = count(start), start + 4, []
    if shape % 1000 == 2:
        return shape, line(start, parts), start + parts * width
    for _ in range(parts):
        if shape % 1000 == 3:
            length = count(start)
            points, start = points + line(start + 4, length), start + 4 + length * width
        else:
            _, more, start = _wkb(blob, start)
            points += more
    return shape, points, start


def _index(database: sqlite3.Connection) -> Iterator[str]:
    for table, column, scope in database.execute(
        "SELECT table_name, column_name, scope FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'"
    ).fetchall():
        name = f"rtree_{table}_{column}"
        if scope != "write-only" or column not in _types(database, table):
            yield f"76: row of the index of {table} is wrong"
        made = database.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()
        if not made or "USING rtree(id, minx, maxx, miny, maxy)" not in made[0]:
            yield f"77: index {name} is missing"
            continue
        triggers = {
            row[0].removeprefix(f"{name}_")[:7]
            for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        }
        if not {"insert", "delete", "update1", "update2", "update3", "update4"} <= triggers:
            yield f"77: triggers of {name} are {sorted(triggers)}"
        system = database.execute(
            "SELECT srs_id, z FROM gpkg_geometry_columns WHERE table_name = ?", (table,)
        ).fetchone()
        if system is None:
            continue  # found above, under 22
        there = {}
        for key, blob in database.execute(f'SELECT rowid, "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL'):
            box = _blob(blob, "GEOMETRY", *system)[1]
            there |= {key: box} if box else {}
        entries = {row[0]: row[1:] for row in database.execute(f'SELECT id, minx, miny, maxx, maxy FROM "{name}"')}
        if sorted(entries) != sorted(there):
            yield f"77: {name} holds {len(entries)} entries for {len(there)} geometries"
            continue
        for key, box in there.items():  # single precision, rounded outwards
            low, high = entries[key][:2], entries[key][2:]
            if not (low[0] <= box[0] and low[1] <= box[1] and high[0] >= box[2] and high[1] >= box[3]):
                yield f"77: entry {key} of {name} does not cover its geometry"


def _metadata(database: sqlite3.Connection) -> Iterator[str]:
    yield from _registered(database, "gpkg_metadata", ("gpkg_metadata", "gpkg_metadata_reference"), 140)
    ids = {row[0] for row in database.execute("SELECT id FROM gpkg_metadata")}
    listed = {row[0] for row in database.execute("SELECT table_name FROM gpkg_contents")}
    seen = set()
    for scope, table, column, row, stamp, file, parent in database.execute(
        "SELECT * FROM gpkg_metadata_reference"
    ).fetchall():
        seen.add(file)
        if scope not in ("geopackage", "table", "column", "row", "row/col"):
            yield f"96: reference_scope is {scope!r}"
        if (scope == "geopackage") != (table is None) or (table is not None and table not in listed):
            yield f"97: table_name is {table!r} in scope {scope}"
        if (column is not None) != (scope in ("column", "row/col")):
            yield f"98: column_name is {column!r} in scope {scope}"
        if (row is not None) != (scope in ("row", "row/col")):
            yield f"99: row_id_value is {row!r} in scope {scope}"
        if not _INSTANT.fullmatch(stamp):
            yield f"100: timestamp is {stamp!r}"
        if file not in ids:
            yield f"101: md_file_id {file} is no metadata"
        if parent is not None and (parent not in ids or parent == file):
            yield f"102: md_parent_id {parent} is wrong"
    if ids - seen:
        yield f"95: metadata {sorted(ids - seen)} is not referenced"


def _columns(database: sqlite3.Connection) -> Iterator[str]:
    yield from _registered(database, "gpkg_schema", ("gpkg_data_columns", "gpkg_data_column_constraints"), 141)
    for table, column, constraint in database.execute(
        "SELECT table_name, column_name, constraint_name FROM gpkg_data_columns"
    ).fetchall():
        if not database.execute("SELECT 1 FROM gpkg_contents WHERE table_name = ?", (table,)).fetchone():
            yield f"104: {table} is not listed"
        if column not in _types(database, table):
            yield f"105: {table} has no column {column!r}"
        if constraint is not None:
            yield f"106: constraint {constraint!r} is not looked at here"


def _registered(database: sqlite3.Connection, extension: str, tables: tuple[str, str], number: int) -> Iterator[str]:
    rows = database.execute(
        "SELECT table_name, column_name, scope FROM gpkg_extensions WHERE extension_name = ?", (extension,)
    ).fetchall()
    if sorted(rows) != [(table, None, "read-write") for table in sorted(tables)]:
        yield f"{number}: rows of {extension} in gpkg_extensions are {rows}"


def _types(database: sqlite3.Connection, table: str) -> dict[str, str]:
    return {row[1]: row[2] for row in database.execute(f'PRAGMA table_info("{table}")')}
