"""Points of a survey cloud (LAS, LAZ, COPC) in an area, from a local file or one on a server, read piece by piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.grid import horizontal, transformer

NOISE = (7, 18)  # LAS 1.4 R15, table 17: low and high noise
GROUND = 2
MOST_POINTS = 80_000_000  # 32 bytes each while they are sorted into cells
_CHUNK = 2_000_000


@dataclass(frozen=True)
class Cloud:
    """Points of an area.

    Attributes:
        easting, northing, height: float64 [points], in units of `crs` and of heights. ground: bool [points], classified as
        ground. crs: horizontal. unit: of heights, `m`, `ft`, `us-ft`, or `` where the file does not say.
        classified: whether any point is classified as ground. name: of the file. notes.
    """

    easting: np.ndarray
    northing: np.ndarray
    height: np.ndarray
    ground: np.ndarray
    crs: pyproj.CRS
    unit: str
    classified: bool
    name: str
    notes: tuple[str, ...] = ()


def read_cloud(
    file: BinaryIO, name: str, bounds_deg: tuple[float, float, float, float], crs: str | None = None
) -> Cloud:
    """The points of a cloud in a box in degrees (WGS 84), noise left out.

    Arguments: file, open for reading by parts; name, for messages; bounds_deg (west, south, east, north); crs, where the
    file states none. Errors: UsageError without laspy; InputRefused for what is no cloud, has no system or no point there;
    ResourceShortage for too many points.
    """
    laspy, errors = _laspy()
    try:
        copc = _is_copc(file)
        reader = laspy.CopcReader.open(file) if copc else laspy.open(file, closefd=False)
        system, unit = _system(reader.header, name, crs)
        bounds = transformer("EPSG:4326", system.to_wkt()).transform_bounds(*bounds_deg, densify_pts=21)
        pieces = list(_pieces(laspy, reader, copc, bounds, name))
    except errors as problem:
        raise InputRefused(
            f"{name} cannot be read as a point cloud ({type(problem).__name__}: {str(problem)[:200]})",
            "a whole LAS, LAZ or COPC file",
            "copy or download it again",
        ) from problem
    columns = [np.concatenate([piece[k] for piece in pieces]) if pieces else np.empty(0) for k in range(4)]
    if not len(columns[0]):
        raise InputRefused(f"{name} has no point in the area", "a cloud that covers it", "name another file")
    ground = columns[3] == GROUND
    return Cloud(columns[0], columns[1], columns[2], ground, system, unit, bool(ground.any()), name)


def _laspy() -> tuple[Any, tuple[type[Exception], ...]]:
    try:
        import laspy
        import lazrs
    except ImportError:
        raise UsageError(
            "point clouds need the packages laspy and lazrs",
            "both installed",
            "pip install requests pystac laspy lazrs",
        ) from None
    return laspy, (laspy.LaspyException, lazrs.LazrsError, ValueError, OSError, EOFError, IndexError, KeyError)


def _is_copc(file: BinaryIO) -> bool:
    """COPC 1.0: the first variable-length record is that of user `copc`."""
    file.seek(0)
    head = file.read(589)
    file.seek(0)
    return head[:4] == b"LASF" and head[377:381] == b"copc"


def _system(header: Any, name: str, stated: str | None) -> tuple[pyproj.CRS, str]:
    found = pyproj.CRS.from_user_input(stated) if stated else header.parse_crs()
    if found is None:
        raise InputRefused(
            f"{name} names no coordinate system", "a cloud that does", "state it with --points-crs EPSG:xxxx"
        )
    flat = horizontal(found)
    if flat.is_geographic:
        raise InputRefused(
            f"{name} lies in degrees ({flat.name})", "a cloud in metres or feet", "reproject it to a map projection"
        )
    vertical = [axis for axis in found.axis_info if axis.direction in ("up", "down")]
    words = {"metre": "m", "foot": "ft", "US survey foot": "us-ft"}
    return flat, words.get(vertical[0].unit_name, "") if vertical else ""


def _pieces(laspy: Any, reader: Any, copc: bool, bounds: tuple, name: str) -> Iterator[tuple[np.ndarray, ...]]:
    west, south, east, north = bounds
    if copc:
        chunks = [reader.query(laspy.copc.Bounds(mins=np.array([west, south]), maxs=np.array([east, north])))]
    else:
        chunks = reader.chunk_iterator(_CHUNK)
    count = 0
    for chunk in chunks:
        x, y = np.asarray(chunk.x), np.asarray(chunk.y)
        classes = np.asarray(chunk.classification)
        inside = (x >= west) & (x <= east) & (y >= south) & (y <= north) & ~np.isin(classes, NOISE)
        count += int(inside.sum())
        if count > MOST_POINTS:
            raise ResourceShortage(
                f"{name} has more than {MOST_POINTS:,} points in the area", "fewer points", "take a smaller circle"
            )
        yield x[inside], y[inside], np.asarray(chunk.z)[inside], classes[inside]
