"""Raw grids with a text header beside them: `.bil` with `.hdr` (Esri), `.sdat` with `.sgrd` (SAGA). Nothing in the numbers says what they
are, so the ending and the header decide, and the file must be exactly as long as the header says: GDAL would fill what is missing."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.plain_names import parts_beside

_MOST_HEADER = 65536
_BITS = {
    "BIT": 1, "BYTE_UNSIGNED": 8, "BYTE": 8, "SHORTINT_UNSIGNED": 16, "SHORTINT": 16, "INTEGER_UNSIGNED": 32, "INTEGER": 32,
    "FLOAT": 32, "DOUBLE": 64,
}  # fmt: skip


@dataclass(frozen=True)
class _RawFormat:
    driver: str
    header: str  # ending
    mark: re.Pattern[str]


_KINDS = {
    ".bil": _RawFormat("EHdr", ".hdr", re.compile(r"^\s*(nrows|ncols)\s", re.IGNORECASE | re.MULTILINE)),
    ".sdat": _RawFormat("SAGA", ".sgrd", re.compile(r"^\s*CELLCOUNT_X\s*=", re.IGNORECASE | re.MULTILINE)),
}


def raw_driver(path: Path, option: str) -> str:
    """`EHdr` or `SAGA` for a file of such an ending, else ``. Errors: InputRefused where its header is missing or does not fit it."""
    kind = _KINDS.get(path.suffix.lower())
    if kind is None:
        return ""
    beside = parts_beside(path, kind.driver).get(kind.header)
    if beside is None:
        raise InputRefused(
            f"{option}: {path.name!r} lacks {path.stem}{kind.header} beside it",
            "both files in one folder, for the header says what the numbers are",
            "copy the header too, or convert the grid: gdal_translate -of COG IN dem.tif",
        )
    text = _text(beside, option)
    stated = _bytes_by(text, kind) if kind.mark.search(text) else None
    if stated is None:
        raise InputRefused(
            f"{option}: {beside.name!r} does not say how many rows, columns and bits the grid has",
            "the header that was written with the grid",
            "export it again",
        )
    if path.stat().st_size != stated:
        raise InputRefused(
            f"{option}: {path.name!r} has {path.stat().st_size} bytes, and {beside.name!r} says {stated}",
            "a grid and the header that was written with it",
            "copy both again",
        )
    return kind.driver


def _text(beside: Path, option: str) -> str:
    if beside.stat().st_size > _MOST_HEADER:
        raise InputRefused(f"{option}: {beside.name!r} is longer than 64 kB", "a short text header", "export it again")
    return beside.read_text("latin-1")


def _bytes_by(text: str, kind: _RawFormat) -> int | None:
    """The size of the grid by its header, or None where that does not say it."""
    found = dict(re.findall(r"^\s*(\w+)\s*=?\s*(\S+)", text.upper(), re.MULTILINE))
    try:
        if kind.driver == "SAGA":
            cells = int(found["CELLCOUNT_X"]) * int(found["CELLCOUNT_Y"])
            return int(found.get("DATAFILE_OFFSET", 0)) + cells * _BITS[found["DATAFORMAT"]] // 8
        row = int(found["NCOLS"]) * int(found.get("NBITS", 8)) // 8
        bands, skip = int(found.get("NBANDS", 1)), int(found.get("SKIPBYTES", 0))
        return skip + int(found["NROWS"]) * int(found.get("TOTALROWBYTES", bands * int(found.get("BANDROWBYTES", row))))
    except (KeyError, ValueError):
        return None
