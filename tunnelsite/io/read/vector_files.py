"""A vector file as it is opened: by one driver, under a name that cannot be parsed, with its parts and nothing else beside it."""

from __future__ import annotations

import contextlib
import hashlib
import re
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.plain_names import parts_beside, plainly_named
from tunnelsite.io.read.drivers import vector_driver
from tunnelsite.io.read.files import FileStamp, file_name, file_stamp, require_memory, same_file, sha256
from tunnelsite.io.read.links import keep_to_the_file, refuse_linked_system

# Memory for reading, in times the file's size: measured with one polygon of 10 million vertices.
_MEMORY = {
    "GPKG": 12,
    "ESRI Shapefile": 12,
    "FlatGeobuf": 12,
    "GeoJSON": 16,
    "GML": 16,
    "LIBKML": 24,
    "GPX": 16,
}
_DRIVER_PREFIX = {"GPKG": "GPKG:", "GeoJSON": "GEOJSON:"}  # where GDAL has one, so that no other driver is tried
_NO_CONTENT = ("-shm", "-journal")  # of a database: an index of its journal, and what was undone
_LOOKING_S = 5.0  # for a look at the tables of a database, which takes a few milliseconds
_STEPS = 100_000  # of SQLite's machine between two looks at the clock


@dataclass(frozen=True)
class FileContent:
    """What a file and its parts held.

    Attributes: parts, each with its stamp, the file itself first; sha256, of the file, or of the list that `sha256sum` prints of
    the parts where there are several.
    """

    parts: tuple[tuple[Path, FileStamp], ...]
    sha256: str

    @property
    def notes(self) -> tuple[str, ...]:
        """The note on the digest."""
        if len(self.parts) == 1:
            return ()
        names = " ".join(file_name(path) for path, _ in self.parts)
        return (f"several files are read, and the SHA-256 is that of the list which `sha256sum {names}` prints",)

    def unchanged(self) -> bool:
        """Whether every part is as it was, or at least holds the same."""
        paths = [path for path, _ in self.parts]
        try:
            return all(same_file(path, stamp) for path, stamp in self.parts) or _digest(paths) == self.sha256
        except OSError:
            return False


@dataclass(frozen=True)
class VectorFile:
    """An open vector file: `path`, the user's; `driver`; `link`, the path to open it by; `target`, the same as GDAL takes it; `content`."""

    path: Path
    driver: str
    link: Path
    content: FileContent

    @property
    def target(self) -> str:
        """What GDAL is asked to open."""
        return f"{_DRIVER_PREFIX.get(self.driver, '')}{self.link}"


@contextlib.contextmanager
def opened_vector(path: Path, option: str) -> Iterator[VectorFile]:
    """A vector file, ready to be read by the only driver that may: it fits into memory, names nothing elsewhere, and is the
    same at the end.

    Arguments: path of a plain file; option [words], where it was given. Errors: InputRefused, also as `vector_driver`; ResourceShortage.
    """
    driver, where = vector_driver(path, option), f"{option}: {path.name!r}"
    content = content_of(path, driver)
    size = sum(stamp.bytes for _, stamp in content.parts)
    require_memory(_MEMORY[driver] * size, f"{where}, {size} bytes of {driver},", "cut it to the farm, or simplify it")
    keep_to_the_file()
    if driver == "GeoJSON":
        refuse_linked_system(path, where)
    with plainly_named(path, driver) as link:
        yield VectorFile(path, driver, link, content)
    if not content.unchanged():
        raise InputRefused(f"{where} has changed while it was read", "a file at rest", "run again once it is written")


def content_of(path: Path, driver: str) -> FileContent:
    """What a file and its parts hold now."""
    beside = parts_beside(path, driver)
    paths = [path, *(file for ending, file in beside.items() if ending not in _NO_CONTENT and file.stat().st_size)]
    return FileContent(tuple((one, file_stamp(one)) for one in paths), _digest(paths))


def _digest(paths: list[Path]) -> str:
    if len(paths) == 1:
        return sha256(paths[0])
    listed = "".join(f"{sha256(path)}  {path.name}\n" for path in paths)
    return hashlib.sha256(listed.encode("utf-8", "surrogateescape")).hexdigest()


def refuse_stored_queries(file: VectorFile, layer: str | None, where: str) -> None:
    """Refuse a database whose catalogue or chosen layer is no plain table: a view or a computed column is a query of a
    stranger, which need not end. Does nothing for other kinds of file.

    Arguments: file; layer, the table that will be read, None to look at the catalogue alone; where [words].
    """
    if file.driver != "GPKG":
        return
    with contextlib.closing(read_only(file.link)) as database:
        try:
            found = database.execute(
                "SELECT name, type, sql FROM sqlite_master WHERE type IN ('table', 'view')"
            ).fetchall()
            computed = layer is not None and _computed(database, layer)
        except sqlite3.Error as problem:
            raise InputRefused(
                f"{where} cannot be read ({problem})", "a whole GeoPackage", "copy or export it again"
            ) from None
    for name, kind, sql in found:
        own = str(name).lower().startswith("gpkg_")
        virtual = re.match(r"\s*CREATE\s+VIRTUAL", str(sql), re.IGNORECASE)
        if (own or name == layer) and (kind == "view" or virtual or (computed and name == layer)):
            what = "a view" if kind == "view" else "a virtual table" if virtual else "a table with computed columns"
            raise InputRefused(
                f"{where}: {name!r} is {what}, a stored query, which need not end",
                "a plain table",
                "save the layer to a new GeoPackage, which stores what the query gives",
            )


def read_only(link: Path) -> sqlite3.Connection:
    """A database for reading; whatever is asked of it ends after some seconds, with an sqlite3.OperationalError."""
    database = sqlite3.connect(f"{link.as_uri()}?mode=ro", uri=True)
    end = time.monotonic() + _LOOKING_S
    database.set_progress_handler(lambda: time.monotonic() > end, _STEPS)
    database.execute("PRAGMA trusted_schema = OFF")  # nothing that a view or a trigger says is run
    return database


def _computed(database: sqlite3.Connection, table: str) -> bool:
    columns = database.execute("SELECT hidden FROM pragma_table_xinfo(?)", (table,))
    return any(hidden in (2, 3) for (hidden,) in columns)  # https://sqlite.org/pragma.html#pragma_table_xinfo
