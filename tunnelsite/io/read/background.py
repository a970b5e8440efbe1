"""Pictures that lie under a map, tile by tile and read-only: raster tiles of an MBTiles file, or cut from a picture in GeoTIFF.

Tiles are those of Web Mercator (EPSG:3857), 256 pixels wide, numbered from the north-west corner of the world.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import rasterio
from rasterio.enums import Resampling
from rasterio.transform import from_bounds
from rasterio.vrt import WarpedVRT
from rasterio.warp import transform_bounds

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.plain_names import plainly_named
from tunnelsite.io.read.files import checked_file
from tunnelsite.io.read.raster_header import RasterHeader, opened, raster_header, reading
from tunnelsite.io.read.vector_files import read_only
from tunnelsite.io.write.picture_png import png_bytes

MBTILES = ".mbtiles"
TILE, MOST_ZOOM = 256, 24
WORLD_M = 40_075_016.6856  # round the equator of the sphere of EPSG:3857, 2 pi 6378137 m
MOST_TILE_BYTES = 4 << 20
MOST_TIMES = (
    16  # as many pixels as a tile has, each way, are read for one where a picture holds no smaller copies of itself
)
MOST_BANDS = 4
# The first bytes of a tile (PNG: W3C PNG, 5.2; JPEG: ISO/IEC 10918-1, B.1.1.3; WebP: RFC 9649, 2.4).
KINDS = ((b"\x89PNG\r\n\x1a\n", "image/png"), (b"\xff\xd8\xff", "image/jpeg"), (b"RIFF", "image/webp"))
OPTION = "background"


@dataclass(frozen=True)
class Background:
    """What a file shows: bounds (west, south, east, north) [deg]; the zooms of its own tiles; credit, in its own words."""

    bounds_deg: tuple[float, float, float, float]
    least_zoom: int
    most_zoom: int
    credit: str = ""


class Tile(NamedTuple):
    """A picture and its media type."""

    content: bytes
    kind: str


def is_picture(header: RasterHeader) -> bool:
    """Whether a raster is a picture in colours, which is no elevation model."""
    return 3 <= len(header.bands) <= MOST_BANDS and all(band.dtype == "uint8" for band in header.bands)


def background_of(path: Path) -> Background:
    """What a file can lie under a map with. Errors: InputRefused for one that cannot."""
    return _tiles_of(path) if path.suffix.lower() == MBTILES else _picture_of(path)


def background_tile(path: Path, zoom: int, column: int, row: int) -> Tile | None:
    """A tile of a file; None where it has none. Errors: InputRefused."""
    if not (0 <= zoom <= MOST_ZOOM and 0 <= column < 2**zoom and 0 <= row < 2**zoom):
        return None
    if path.suffix.lower() == MBTILES:
        return _stored(path, zoom, column, row)
    return _cut(path, zoom, column, row)


@contextmanager
def _database(path: Path) -> Iterator[sqlite3.Connection]:
    """An MBTiles file, open for reading. Errors: InputRefused, also for what goes wrong inside."""
    file = checked_file(path, OPTION)
    try:
        with plainly_named(file, "GPKG") as link:  # SQLite, whatever it is called
            database = read_only(link)
            try:
                yield database
            finally:
                database.close()
    except sqlite3.Error as problem:
        raise _refused(path, f"cannot be read ({problem})") from None


def _tiles_of(path: Path) -> Background:
    """MBTiles 1.3 (2018), Metadata: `format`, `bounds`, `minzoom`, `maxzoom`, `attribution`."""
    with _database(path) as database:
        about = {
            str(name): str(value) for name, value in database.execute("SELECT name, value FROM metadata LIMIT 200")
        }
        zooms = database.execute("SELECT min(zoom_level), max(zoom_level) FROM tiles").fetchone()
    if about.get("format", "png") not in ("png", "jpg", "jpeg", "webp"):
        raise _refused(path, f"holds tiles in {about['format'][:20]!r}")
    if not all(isinstance(zoom, int) and 0 <= zoom <= MOST_ZOOM for zoom in zooms):
        raise _refused(path, "holds no tile")
    try:
        west, south, east, north = (float(part) for part in about.get("bounds", "-180,-85,180,85").split(","))
        known = -180 <= west < east <= 180 and -90 <= south < north <= 90
    except ValueError:
        known = False
    if not known:
        raise _refused(path, f"has bounds {about.get('bounds', '')[:60]!r}")
    return Background((west, south, east, north), zooms[0], zooms[1], about.get("attribution", "")[:200])


def _stored(path: Path, zoom: int, column: int, row: int) -> Tile | None:
    """A tile as it is stored; rows are counted from the south there (OSGeo Tile Map Service)."""
    wanted = "SELECT tile_data FROM tiles WHERE zoom_level = ? AND tile_column = ? AND tile_row = ? AND length(tile_data) <= ? LIMIT 1"
    with _database(path) as database:
        found = database.execute(wanted, (zoom, column, 2**zoom - 1 - row, MOST_TILE_BYTES)).fetchone()
    content = found[0] if found else None
    kind = next((kind for start, kind in KINDS if isinstance(content, bytes) and content.startswith(start)), None)
    return None if content is None or kind is None else Tile(content, kind)


def _picture_of(path: Path) -> Background:
    header = raster_header(str(path), OPTION)
    if not is_picture(header):
        kinds = ", ".join(sorted({band.dtype for band in header.bands}))
        raise _refused(path, f"has {len(header.bands)} band(s) of {kinds}")
    with reading(header.path, OPTION), opened(header.path, header.driver) as source:
        bounds = transform_bounds(source.crs, "EPSG:4326", *source.bounds, densify_pts=21)
        west, _, east, _ = transform_bounds(source.crs, "EPSG:3857", *source.bounds, densify_pts=21)
        smaller = bool(source.overviews(1))
        pixel_m = (east - west) / source.width
    finest = min(MOST_ZOOM, max(0, math.ceil(math.log2(WORLD_M / TILE / pixel_m))))
    least = 0 if smaller else max(0, finest - int(math.log2(MOST_TIMES)))
    return Background((float(bounds[0]), float(bounds[1]), float(bounds[2]), float(bounds[3])), least, finest)


def _cut(path: Path, zoom: int, column: int, row: int) -> Tile | None:
    """A tile warped from a picture; what lies beyond it can be seen through."""
    header = raster_header(str(path), OPTION)
    if not is_picture(header):
        return None
    side = WORLD_M / 2**zoom
    west, north = column * side - WORLD_M / 2, WORLD_M / 2 - row * side
    place = from_bounds(west, north - side, west + side, north, TILE, TILE)
    own_alpha = len(header.bands) == MOST_BANDS
    with reading(header.path, OPTION), opened(header.path, header.driver) as source, rasterio.Env(GDAL_CACHEMAX=64):
        alpha = {} if own_alpha else {"add_alpha": True}
        with WarpedVRT(
            source, crs="EPSG:3857", transform=place, width=TILE, height=TILE, resampling=Resampling.bilinear, **alpha
        ) as warped:
            bands = warped.read(indexes=(1, 2, 3, 4))
    return Tile(png_bytes(np.ascontiguousarray(bands), level=1), "image/png") if bands[3].any() else None


def _refused(path: Path, what: str) -> InputRefused:
    return InputRefused(f"background: {path.name!r} {what}", "raster tiles in MBTiles, or a GeoTIFF picture of 3 or 4 bands of 8 bits",
                        "export it as one of these")  # fmt: skip
