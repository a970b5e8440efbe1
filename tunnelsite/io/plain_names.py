"""Names that no library can parse: whatever a library opens by its name is opened through a link with a name of ours.

GDAL, pyogrio and rasterio take a name for a small language: `:`, `"`, `!`, `;`, `?` or a line break in it may lead to another
file. So they are never handed the name of an input, nor that of an output or of its folder, but a link in a folder of our own.
SQLite follows a link to the real file, and keeps its locks and journals there.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from tunnelsite.core.errors import ResourceShortage
from tunnelsite.io.held_folder import PREFIX, HeldFolder

# by driver, which the first bytes decide: the ending of the user's own name says nothing
_ENDINGS = {
    "GTiff": ".tif", "AAIGrid": ".asc", "EHdr": ".bil", "SAGA": ".sdat", "GPKG": ".gpkg", "GeoJSON": ".geojson", "ESRI Shapefile": ".shp",
    "FlatGeobuf": ".fgb", "GML": ".gml", "LIBKML": ".kml", "GPX": ".gpx",
}  # fmt: skip
# What belongs to a file and lies beside it. Nothing else beside it is ever seen by a library.
_PARTS = {
    "ESRI Shapefile": (".shx", ".dbf", ".prj", ".cpg"),
    "AAIGrid": (".prj",),
    "EHdr": (".hdr", ".prj"),
    "SAGA": (".sgrd", ".prj"),
    "GPKG": ("-wal", "-shm", "-journal"),
}
_KIND = "links"
_ELSEWHERE = ("/tmp", "/var/tmp", "/dev/shm")  # where the folder for temporary files has no plain name itself
_MOST_LETTERS = 60


def plain_word(text: str) -> str:
    """The first 60 letters of `text` with `_` for everything but letters, digits, `.`, `_` and `-`."""
    return "".join(letter if letter.isalnum() or letter in "._-" else "_" for letter in text[:_MOST_LETTERS])


def parts_beside(path: Path, driver: str) -> dict[str, Path]:
    """What belongs to a file and lies beside it, by ending: parts of a Shapefile, the system of an ASCII grid, the journal of
    a database."""
    wanted = _PARTS.get(driver, ())
    if driver == "GPKG":
        beside = {ending: Path(f"{path}{ending}") for ending in wanted}
        return {ending: file for ending, file in beside.items() if file.is_file()}
    found: dict[str, Path] = {}
    for file in sorted(path.parent.iterdir()) if wanted else ():
        ending = file.suffix.lower()
        if ending in wanted and file.stem == path.stem and file.is_file():
            found.setdefault(ending, file)
    return found


@contextlib.contextmanager
def plainly_named(path: Path, driver: str) -> Iterator[Path]:
    """A path without any sign that a library could parse, which leads to the same file and, beside it, to its parts.

    Arguments: path of a file; driver of GDAL that is to open it. Errors: ResourceShortage where no link can be made.
    """
    stem = (
        path.stem if plain_word(path.stem) == path.stem.lstrip(".-") else "data"
    )  # some drivers name the layer after it
    name = f"{stem}{_ENDINGS[driver]}"
    start = name if driver == "GPKG" else stem
    links = {name: path} | {f"{start}{ending}": file for ending, file in parts_beside(path, driver).items()}
    with _links(links) as folder:
        yield folder / name


@contextlib.contextmanager
def plain_folder(folder: Path) -> Iterator[Path]:
    """A path without any sign that a library could parse, which leads to the same folder. Errors: ResourceShortage."""
    with _links({"folder": folder}) as place:
        yield place / "folder"


def without_link(text: str) -> str:
    """Words of a library without the folder of a link in them."""
    return re.sub(rf"[^\s'\"]*/{PREFIX}{_KIND}-\w+/(folder/)?", "", text)


@contextlib.contextmanager
def _links(targets: dict[str, Path]) -> Iterator[Path]:
    with _own_folder().until_done() as folder:
        for name, target in targets.items():
            _link(target.absolute(), folder / name)
        yield folder


def _link(target: Path, link: Path) -> None:
    try:
        os.symlink(target, link)
    except OSError as problem:  # on Windows links ask for a right of their own
        with contextlib.suppress(OSError):
            os.link(target, link)
            return
        raise ResourceShortage(
            f"no link to {target} can be made in {link.parent} ({problem.strerror})",
            "a folder for temporary files in which links can be made",
            "set TMPDIR to a folder on another disk",
        ) from None


def _own_folder() -> HeldFolder:
    tried = []
    for place in temporary_places():
        if not _is_plain(place):
            tried.append(f"{place!r} holds signs that a library would parse")
            continue
        try:
            return HeldFolder(_KIND, place)
        except OSError as problem:
            tried.append(f"{place}: {problem.strerror}")
    raise ResourceShortage(
        f"there is no place for a link ({'; '.join(tried)})",
        "a folder for temporary files whose path holds letters, digits, . _ - and / only",
        "set TMPDIR to such a folder",
    )


def temporary_places() -> Iterable[str]:
    """The folders in which folders of ours may lie, the first choice first."""
    elsewhere = (place for place in _ELSEWHERE if os.path.isdir(place))
    return dict.fromkeys((os.path.abspath(tempfile.gettempdir()), *elsewhere))


def _is_plain(place: str) -> bool:
    path = Path(place)
    return all(letter.isalnum() or letter in "/._- ~" for letter in path.relative_to(path.anchor).as_posix())
