"""Which driver may open a file: decided here from its first bytes, so that no other driver ever sees it.

GDAL would otherwise try every driver it has, and some run what a file tells them to (VRT pixel functions,
stored pipelines) or fetch from the network.
"""

from __future__ import annotations

import re
from pathlib import Path
from xml.parsers import expat

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.files import head
from tunnelsite.io.read.raw_grids import raw_driver

_HEAD = 65536
_XML_DEPTH = 200
_UNKNOWN = "of no kind that is read here"
_RASTERS = "GeoTIFF (also cloud-optimised), Esri ASCII grid, .bil with .hdr or .sdat with .sgrd"
_VECTORS = "GeoPackage, GeoJSON, Shapefile, FlatGeobuf, GML, KML or GPX"
_TIFF_MARKS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_ASCII_GRID = re.compile(rb"\s*(ncols|nrows|xll(corner|center)|yll(corner|center)|cellsize|dx|dy)\s", re.IGNORECASE)
_XML_DRIVERS = {"kml": "LIBKML", "gpx": "GPX", "featurecollection": "GML"}
_GEOJSON_TYPES = "Feature(Collection)?|(Multi)?(Point|LineString|Polygon)|GeometryCollection"


def is_raster(path: Path, option: str) -> bool:
    """Whether a file begins like a raster that is read here. Errors: InputRefused where it cannot be read."""
    start = head(path, option, _HEAD)
    return start[:4] in _TIFF_MARKS or bool(_ASCII_GRID.match(start)) or bool(raw_driver(path, option))


def raster_driver(path: Path, option: str) -> str:
    """`GTiff`, `AAIGrid`, `EHdr` or `SAGA`. Errors: InputRefused for every other kind of file, saying which it is where
    that is known."""
    start = head(path, option, _HEAD)
    if start[:4] in _TIFF_MARKS:
        return "GTiff"
    if _ASCII_GRID.match(start):
        return "AAIGrid"
    if raw := raw_driver(path, option):
        return raw
    if b"<VRTDataset" in start:
        raise InputRefused(
            f"{option}: {path.name!r} is a VRT, a text that points to other files",
            f"the heights themselves as {_RASTERS}; a VRT can run code, and only lists of local tiles are read, as DEM or surface",
            "write it out once: gdal_translate -of COG in.vrt dem.tif",
        )
    drawn = start.startswith((b"SQLite format 3\0", b"\x00\x00\x27\x0a", b"fgb")) or re.match(
        rb"(\xef\xbb\xbf)?\s*\{", start
    )
    raise InputRefused(
        f"{option}: {path.name!r} is {_kind(start)}",
        _RASTERS,
        "give the raster: the DEM comes first, the parcels second"
        if drawn
        else "gdal_translate -of COG IN dem.tif converts it",
    )


def vector_driver(path: Path, option: str) -> str:
    """The driver of GDAL that may open a vector file.

    Errors: InputRefused for every other kind of file, for XML with a document type, and for a Shapefile
        without its parts.
    """
    start = head(path, option, _HEAD)
    if start.startswith(b"SQLite format 3\0"):
        if start[68:72] not in (b"GPKG", b"GP10", b"GP11") and path.suffix.lower() != ".gpkg":
            raise InputRefused(
                f"{option}: {path.name!r} is an SQLite file but no GeoPackage",
                _VECTORS,
                "export it to a GeoPackage",
            )
        return "GPKG"
    if re.match(rb"(\xef\xbb\xbf)?\s*\{", start):
        _check_geojson(path, option, start)
        return "GeoJSON"
    return _marked_driver(path, option, start)


def _marked_driver(path: Path, option: str, start: bytes) -> str:
    if start[:3] == b"fgb" and start[4:7] == b"fgb":
        return "FlatGeobuf"
    if start.startswith(b"\x00\x00\x27\x0a"):
        _check_shapefile(path, option)
        return "ESRI Shapefile"
    if re.match(rb"(\xef\xbb\xbf)?\s*<", start):
        return _xml_driver(path, option, start)
    if path.suffix.lower() in (".shx", ".dbf", ".prj"):
        raise InputRefused(
            f"{option}: {path.name!r} is a part of a Shapefile",
            "its .shp file",
            f"give {path.with_suffix('.shp').name}",
        )
    raise InputRefused(f"{option}: {path.name!r} is {_kind(start)}", _VECTORS, "export it to a GeoPackage")


def _check_geojson(path: Path, option: str, start: bytes) -> None:
    text = start.decode("utf-8", "replace")
    if re.search(r'"type"\s*:\s*"Topology"', text):
        raise InputRefused(
            f"{option}: {path.name!r} is TopoJSON",
            _VECTORS,
            "export it to GeoJSON (RFC 7946) or a GeoPackage",
        )
    if len(start) < _HEAD and not re.search(rf'"type"\s*:\s*"({_GEOJSON_TYPES})"', text):
        raise InputRefused(f"{option}: {path.name!r} is JSON but not GeoJSON", "GeoJSON (RFC 7946)", "export it again")


def _xml_driver(path: Path, option: str, start: bytes) -> str:
    driver = _XML_DRIVERS.get(_checked_root(path, option, start).lower())
    if driver is None:
        raise InputRefused(f"{option}: {path.name!r} is {_kind(start)}", _VECTORS, "export it to a GeoPackage")
    return driver


def _checked_root(path: Path, option: str, start: bytes) -> str:
    """The name of the root element of XML that is whole, not nested without end, and declares no document
    type.

    None of the formats read here has a document type, and entity bombs need one. GDAL would read a
    truncated GML as a file without features and say nothing.
    """
    parser, depth, root = expat.ParserCreate(), 0, ""

    def refuse_document_type(*_: object) -> None:
        raise InputRefused(
            f"{option}: {path.name!r} declares a document type, whose entities can unfold without end",
            _VECTORS,
            "export it again from the program it came from",
        )

    def enter(name: str, _: object) -> None:
        nonlocal depth, root
        depth += 1
        root = root or name.rpartition(":")[2]
        if depth > _XML_DEPTH:
            raise InputRefused(
                f"{option}: {path.name!r} is nested over {_XML_DEPTH} elements deep",
                _VECTORS,
                "export it again",
            )

    def leave(_: object) -> None:
        nonlocal depth
        depth -= 1

    parser.StartDoctypeDeclHandler, parser.StartElementHandler, parser.EndElementHandler = (
        refuse_document_type,
        enter,
        leave,
    )
    try:
        with open(path, "rb") as file:
            parser.ParseFile(file)
    except (expat.ExpatError, LookupError, ValueError) as error:
        what = f"damaged XML ({error})" if (kind := _kind(start)) == _UNKNOWN else kind
        raise InputRefused(f"{option}: {path.name!r} is {what}", _VECTORS, "copy or export it again") from None
    return root


def _check_shapefile(path: Path, option: str) -> None:
    """Refuse a Shapefile without its parts or shorter than it says: GDAL reads what was cut off as
    features without geometry."""
    beside = {found.name.lower(): found for found in path.parent.iterdir()}
    names = {part: path.with_suffix(part).name for part in (".shp", ".shx", ".dbf")}
    missing = [name for name in names.values() if name.lower() not in beside]
    if missing:
        raise InputRefused(
            f"{option}: {path.name!r} lacks {' and '.join(missing)} beside it",
            "all parts of the Shapefile (.shp, .shx, .dbf, .prj) in one folder",
            "copy the missing parts too, or export a GeoPackage, which is one file",
        )
    for part in (".shp", ".shx"):
        found = beside[names[part].lower()]
        stated = 2 * int.from_bytes(head(found, option, 28)[24:28], "big")  # length in 16-bit words, ESRI 1998 table 1
        if found.stat().st_size < stated:
            raise InputRefused(
                f"{option}: {found.name!r} is cut off at {found.stat().st_size} of {stated} bytes",
                "a whole file",
                "copy it again",
            )


def _kind(start: bytes) -> str:
    """A few words for a file of a kind that is not read."""
    marks = {
        b"<OGRVRTDataSource": "an OGR VRT", b"<VRTDataset": "a VRT",
        b"gdal_streamed_alg": "a stored GDAL pipeline",
        b"<osm": "OpenStreetMap XML", b"<html": "a web page (perhaps a failed download)",
    }  # fmt: skip
    lower = start[:4096].lower()
    for mark, words in marks.items():
        if mark.lower() in lower:
            return words
    leading = {
        b"\x89HDF": "HDF5 or netCDF", b"CDF": "netCDF", b"EHFA": "an Erdas image",
        b"\x89PNG": "a PNG picture",
        b"\xff\xd8": "a JPEG picture", b"%PDF": "a PDF", b"\x1f\x8b": "gzip-compressed",
        b"LASF": "a lidar point file",
        b"SQLite": "an SQLite file", b"PMTiles": "PMTiles",
    }  # fmt: skip
    return next((words for mark, words in leading.items() if start.startswith(mark)), "of no kind that is read here")
