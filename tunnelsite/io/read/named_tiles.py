"""Tiles that a VRT names: read as text, checked, and opened by our own readers; GDAL never sees the VRT itself.

A VRT can run code, warp, scale and fetch. One that only puts local files side by side is a list of tiles, and that is what is
taken from it; anything else is refused.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.files import checked_file, head

MOST_BYTES, MOST_DEPTH = 64 << 20, 12
_TAKEN = {
    "VRTDataset", "SRS", "GeoTransform", "Metadata", "MDI", "OverviewList", "BlockXSize", "BlockYSize",
    "VRTRasterBand", "NoDataValue", "ColorInterp", "Description", "UnitType", "Offset", "Scale", "Histograms", "HideNoDataValue",
    "SimpleSource", "ComplexSource", "SourceFilename", "SourceBand", "SourceProperties", "SrcRect", "DstRect", "NODATA",
    "HistItem", "HistMin", "HistMax", "BucketCount", "IncludeOutOfRange", "Approximate", "HistCounts", "UseMaskBand",
}  # fmt: skip


@dataclass(frozen=True)
class NamedTile:
    """One tile: its file, and where the VRT shows it: (row, col) of its first cell, (rows, cols)."""

    path: Path
    place: tuple[int, int]
    shape: tuple[int, int]


@dataclass
class _Reading:
    """What was read of a VRT so far."""

    where: str
    folder: Path
    tiles: list[NamedTile] = field(default_factory=list)
    stack: list[str] = field(default_factory=list)
    text: str = ""
    bands: int = 0
    source: dict[str, object] = field(default_factory=dict)

    def refuse(self, what: str) -> InputRefused:
        """The error for a VRT that is more than a list of tiles."""
        return InputRefused(
            f"{self.where} {what}",
            "a VRT of one band that only puts local GeoTIFFs side by side, cell on cell",
            "write it out once: gdal_translate -of COG in.vrt dem.tif",
        )

    def enter(self, name: str, given: dict[str, str]) -> None:
        """An element begins."""
        self.stack.append(name)
        self.text = ""
        if name not in _TAKEN or len(self.stack) > MOST_DEPTH:
            raise self.refuse(f"holds {name}")
        if "subClass" in given:
            raise self.refuse(f"is a {given['subClass']}, which computes what it shows")
        if name == "VRTRasterBand":
            self.bands += 1
            if self.bands > 1:
                raise self.refuse("has several bands")
        if name in ("SimpleSource", "ComplexSource"):
            self.source = {}
        if name == "SourceFilename":
            self.source["relative"] = given.get("relativeToVRT") == "1"
        if name in ("SrcRect", "DstRect"):
            self.source[name] = self._rectangle(given)

    def leave(self, name: str) -> None:
        """An element ends."""
        self.stack.pop()
        text = self.text.strip()
        if name == "SourceFilename":
            self.source["path"] = self._file(text)
        if name == "SourceBand" and text not in ("", "1"):
            raise self.refuse(f"takes band {text!r} of a file")
        if name in ("SimpleSource", "ComplexSource"):
            self._keep()
        if name in ("Scale", "Offset") and text not in ("0", "1", "0.0", "1.0"):
            raise self.refuse("scales its numbers")
        self.text = ""

    def _file(self, text: str) -> Path:
        if "://" in text or text.startswith(("/vsi", "<")) or not text.lower().endswith((".tif", ".tiff", ".asc")):
            raise self.refuse(f"names {text[:200]!r}")
        return self.folder / text if self.source["relative"] else Path(text)

    def _rectangle(self, given: dict[str, str]) -> tuple[float, ...]:
        try:
            return tuple(float(given[name]) for name in ("xOff", "yOff", "xSize", "ySize"))
        except (KeyError, ValueError):
            raise self.refuse("holds a rectangle without its numbers") from None

    def _keep(self) -> None:
        path, shown, taken = (self.source.get(name) for name in ("path", "DstRect", "SrcRect"))
        if not isinstance(path, Path) or not isinstance(shown, tuple) or not isinstance(taken, tuple):
            raise self.refuse("holds a source without its file or place")
        if shown[2:] != taken[2:] or taken[:2] != (0, 0) or any(value != round(value) for value in shown):
            raise self.refuse(f"cuts or scales {path.name!r}")
        col, row, cols, rows = (round(value) for value in shown)
        self.tiles.append(NamedTile(path, (row, col), (rows, cols)))


def is_vrt(path: Path) -> bool:
    """Whether a file begins as a VRT of rasters does."""
    return path.is_file() and b"<VRTDataset" in head(path, "DEM", 4096)


def named_tiles(path: Path, option: str) -> list[NamedTile]:
    """The tiles of a VRT. Errors: InputRefused for one that is more than a list of local tiles, or damaged."""
    found = checked_file(str(path), option)
    reading = _Reading(f"{option}: VRT {found.name!r}", found.parent)
    if found.stat().st_size > MOST_BYTES:
        raise reading.refuse(f"is larger than {MOST_BYTES >> 20} MB")
    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = reading.enter, reading.leave
    parser.CharacterDataHandler = lambda text: setattr(reading, "text", reading.text + text)

    def refuse(*_: object) -> None:
        raise reading.refuse("declares a document type")

    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(found.read_bytes(), True)
    except (expat.ExpatError, ValueError, LookupError) as problem:
        raise reading.refuse(f"is damaged ({problem})") from None
    if not reading.tiles:
        raise reading.refuse("names no file")
    return reading.tiles
