"""Files dropped on the page: streamed into the folder under safe names, whole or not at all, lists and zips turned into what is read."""

from __future__ import annotations

import contextlib
import os
import re
import unicodedata
import zipfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import BinaryIO

from python_multipart.multipart import MultipartParser, parse_options_header

from tunnelsite.core.errors import InputRefused, OutputFailed, TunnelsiteError, UsageError
from tunnelsite.desk.gather_files import SOURCES
from tunnelsite.desk.page_words import message_of
from tunnelsite.desk.project import DRAWN, FARM, OPTIONS, Project
from tunnelsite.gather.data_sources import read_sources
from tunnelsite.io.formats.geojson import collection_text
from tunnelsite.io.read.background import MBTILES
from tunnelsite.io.read.file_facts import LISTS, RASTERS, VECTORS, WEATHER
from tunnelsite.io.read.lists import listed_features
from tunnelsite.io.write.staging import staged, write_whole

MOST_BYTES, MOST_FILES, MOST_NAME = 4 << 30, 50, 80
MOST_UNZIPPED, MOST_MEMBERS = 1 << 30, 200
SHAPE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
TAKEN = tuple(
    dict.fromkeys(
        (*(one for one in RASTERS if one != ".vrt"), *VECTORS, *WEATHER, *LISTS, ".zip", ".toml", MBTILES, *SHAPE_PARTS)
    )
)
OWN = (FARM, DRAWN, OPTIONS, "runs", "packet")
UNSAFE = re.compile(r"[^\w.\- ()]+")


def safe_name(given: str) -> str:
    """A plain file name from what a browser says. Errors: UsageError for an ending that is not taken."""
    name = unicodedata.normalize("NFC", given.replace("\\", "/").rpartition("/")[2])
    stem, ending = os.path.splitext(UNSAFE.sub("_", name).strip(" ."))
    if ending.lower() not in TAKEN:
        raise UsageError(f"{given[:80]!r} is no file that is read here", ", ".join(TAKEN), "export it as one of these")
    stem = stem.strip("._ ")[:MOST_NAME] or "file"
    return f"{stem}{ending.lower()}"


def free_path(project: Project, name: str) -> Path:
    """Where a new file of that name goes: nothing that is there is written over."""
    stem, ending = os.path.splitext(name)
    path, count = project.folder / name, 1
    while path.exists() or path.name.lower() in OWN:
        count += 1
        path = project.folder / f"{stem}-{count}{ending}"
    return path


class Upload:
    """Takes a multipart body part by part. Attributes: names of the files that were taken; refused, (name, why) of others."""

    def __init__(self, project: Project, content_type: str) -> None:
        kind, options = parse_options_header(content_type)
        if kind != b"multipart/form-data" or b"boundary" not in options:
            raise UsageError("the body is no upload", "multipart/form-data", "drop the files on the page")
        self.project = project
        self.names: list[str] = []
        self.refused: list[tuple[str, str]] = []
        self._file: BinaryIO | None = None
        self._staged = contextlib.ExitStack()
        self._target = project.folder
        self._name, self._size, self._count = "", 0, 0
        self._field, self._value, self._given = b"", b"", b""
        self._parser = MultipartParser(options[b"boundary"], {
            "on_part_begin": self._begin, "on_header_field": self._on_field, "on_header_value": self._on_value,
            "on_header_end": self._on_header, "on_headers_finished": self._open, "on_part_data": self._data, "on_part_end": self._end,
        })  # fmt: skip

    async def take(self, stream: AsyncIterator[bytes]) -> None:
        """Take the whole body. Errors: UsageError for one that is broken or too large, OutputFailed; nothing half is left."""
        try:
            async for chunk in stream:
                self._parser.write(chunk)
            self._parser.finalize()
            if self._file is not None:
                raise _broke_off()
        except TunnelsiteError:
            raise
        except Exception as problem:  # of the parser, whatever a broken body leads it to
            raise UsageError(
                f"the upload broke off ({type(problem).__name__})", "a whole upload", "drop the file again"
            ) from None
        finally:
            self._drop()

    def _begin(self) -> None:
        self._given, self._size = b"", 0
        self._count += 1
        if self._count > MOST_FILES:
            raise UsageError(
                f"more than {MOST_FILES} files at once", f"at most {MOST_FILES}", "drop them in several goes"
            )

    def _on_field(self, data: bytes, start: int, end: int) -> None:
        self._field += data[start:end]

    def _on_value(self, data: bytes, start: int, end: int) -> None:
        self._value += data[start:end]

    def _on_header(self) -> None:
        if self._field.lower() == b"content-disposition":
            self._given = parse_options_header(self._value)[1].get(b"filename", b"")
        self._field = self._value = b""

    def _open(self) -> None:
        given = self._given.decode("utf-8", "replace")
        if not given:
            return
        try:
            self._name = safe_name(given)
        except UsageError as problem:
            self.refused.append((given[:80], message_of(problem)))
            return
        self._target = free_path(self.project, self._name)
        self._staged = contextlib.ExitStack()
        temp = self._staged.enter_context(staged(self._target, overwrite=False))
        self._file = self._staged.enter_context(open(temp, "wb"))  # noqa: SIM115

    def _data(self, data: bytes, start: int, end: int) -> None:
        if self._file is None:
            return
        self._size += end - start
        if self._size > MOST_BYTES:
            raise UsageError(f"{self._name} is larger than 4 GB", "at most 4 GB", "put it into the folder yourself")
        try:
            self._file.write(data[start:end])
        except OSError as problem:
            raise OutputFailed(f"{self._name} could not be written ({problem.strerror})", "room in the project folder",
                               "make room; nothing else was changed") from None  # fmt: skip

    def _end(self) -> None:
        if self._file is None:
            return
        self._file.close()
        self._file = None
        self._staged.close()  # puts it in its place
        try:
            self.names += taken(self.project, self._target)
        except TunnelsiteError as problem:
            self._target.unlink(missing_ok=True)
            self.refused.append((self._name, message_of(problem)))

    def _drop(self) -> None:
        """Leave nothing of a file that did not come to its end."""
        if self._file is not None:
            self._file.close()
            self._file = None
            self._staged.__exit__(UsageError, _broke_off(), None)


def _broke_off(why: str = "") -> UsageError:
    return UsageError(f"the upload broke off{why}", "a whole upload", "drop the file again")


def taken(project: Project, path: Path) -> list[str]:
    """The names under which a dropped file is read: itself, the shapefile in a zip, the features of a list, a list of sources.

    Errors: InputRefused for a zip or a list that holds nothing, or a TOML file that is no list of sources.
    """
    ending = path.suffix.lower()
    if ending == ".toml":
        _take_sources(project, path)
        return [SOURCES]
    if ending == ".zip":
        names = _unzipped(project, path)
        path.unlink()
        return names
    if ending in (".csv", ".gpx"):
        with (
            contextlib.suppress(InputRefused) if ending == ".gpx" else contextlib.nullcontext()
        ):  # a GPX may hold tracks alone
            found = listed_features(path)
            target = free_path(project, f"{path.stem}.geojson")
            write_whole(target, collection_text(found.collection["features"]), overwrite=False)
            return [target.name]
    return [path.name]


def _take_sources(project: Project, path: Path) -> None:
    """Make a file the folder's list of sources; a list that was there before is kept under a free name.

    Errors: InputRefused where it is no list of sources, and nothing is changed.
    """
    try:
        known = read_sources(path)
    except TunnelsiteError as problem:
        raise InputRefused(f"a .toml file is taken for a list of sources, and this is none: {problem.given}",
                           problem.expected, problem.fix) from None  # fmt: skip
    if not known:
        raise InputRefused("the list names no source", "a table for each source, with its kind and address", "add one")
    place = project.folder / SOURCES
    if path == place:
        return
    if place.exists():
        write_whole(free_path(project, SOURCES), place.read_bytes(), overwrite=False)
    write_whole(place, path.read_bytes(), overwrite=True)
    path.unlink()


def _unzipped(project: Project, path: Path) -> list[str]:
    """The shapefiles of a zip. Errors: InputRefused for another zip, or one that would grow too large."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = [one for one in archive.infolist() if Path(one.filename).suffix.lower() in SHAPE_PARTS]
            stems = sorted(
                {os.path.splitext(one.filename)[0] for one in parts if one.filename.lower().endswith(".shp")}
            )
            if not stems or len(parts) > MOST_MEMBERS or sum(one.file_size for one in parts) > MOST_UNZIPPED:
                raise InputRefused(
                    f"{path.name} holds no shapefile, or too much", "a zipped shapefile below 1 GB", "zip it again"
                )
            names = []
            for stem in stems:
                target = free_path(project, safe_name(Path(stem).name + ".shp"))
                for one in (one for one in parts if os.path.splitext(one.filename)[0] == stem):
                    ending = Path(one.filename).suffix.lower()
                    write_whole(target.with_suffix(ending), _member(archive, one), overwrite=False)
                names.append(target.name)
            return names
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError) as problem:
        raise InputRefused(
            f"{path.name} is no zip that can be read ({problem})", "a zipped shapefile", "zip it again"
        ) from None


def _member(archive: zipfile.ZipFile, one: zipfile.ZipInfo) -> bytes:
    with archive.open(one) as source:
        content = source.read(one.file_size + 1)
    if len(content) > one.file_size:
        raise InputRefused(f"{one.filename[:80]!r} is larger than its zip says", "an honest zip", "zip it again")
    return content
