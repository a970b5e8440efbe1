"""Points of a survey cloud (LAS, LAZ, COPC) in an area, from a local file or one on a server, read piece by piece."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.grid import horizontal, transformer

NOISE = (7, 18)  # LAS 1.4 R15, table 17: low and high noise
GROUND = 2
MOST_POINTS = 80_000_000  # 32 bytes each while they are sorted into cells
MOST_TOUCHED = 2 * MOST_POINTS  # in the nodes of a COPC file that touch the area: those at its rim reach beyond it
MOST_READS = 200_000  # of a COPC file
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
    file: IO[bytes] | io.RawIOBase, name: str, bounds_deg: tuple[float, float, float, float], crs: str | None = None
) -> Cloud:
    """The points of a cloud in a box in degrees (WGS 84), noise left out.

    Arguments: file, open for reading by parts; name, for messages; bounds_deg (west, south, east, north); crs, where the
    file states none. Errors: UsageError without laspy; InputRefused for what is no cloud, has no system or no point there;
    ResourceShortage for too many points.
    """
    laspy, errors = _laspy()
    try:
        copc = _is_copc(file)
        reader = laspy.CopcReader.open(_Bounded(file)) if copc else laspy.open(file, closefd=False)
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


def _is_copc(file: IO[bytes] | io.RawIOBase) -> bool:
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


def _pieces(
    laspy: Any, reader: Any, copc: bool, bounds: tuple[float, float, float, float], name: str
) -> Iterator[tuple[np.ndarray, ...]]:
    west, south, east, north = bounds
    if copc:
        box = laspy.copc.Bounds(
            np.maximum((west, south), reader.header.mins[:2]), np.minimum((east, north), reader.header.maxs[:2])
        )
        chunks = [reader.query(box)] if (box.mins < box.maxs).all() and _held(laspy, reader, box, name) else []
    else:
        chunks = reader.chunk_iterator(_CHUNK)
    count = 0
    for chunk in chunks:
        x, y = np.asarray(chunk.x), np.asarray(chunk.y)
        classes = np.asarray(chunk.classification)
        inside = (x >= west) & (x <= east) & (y >= south) & (y <= north) & ~np.isin(classes, NOISE)
        count += int(inside.sum())
        if count > MOST_POINTS:
            raise _too_many(name)
        yield x[inside], y[inside], np.asarray(chunk.z)[inside], classes[inside]


def _held(laspy: Any, reader: Any, box: Any, name: str) -> bool:
    """Whether the nodes of a COPC file that touch a box hold a point, before any is fetched. Errors: ResourceShortage for too many;
    ValueError where they claim more than a file can hold."""
    whole = box.ensure_3d(reader.header.mins, reader.header.maxs)
    nodes = laspy.copc.load_octree_for_query(reader.source, reader.copc_info, reader.root_page, query_bounds=whole)
    points, size = (sum(getattr(node, part) for node in nodes) for part in ("point_count", "byte_size"))
    if any(node.byte_size < 0 for node in nodes) or size > reader.source.size:
        raise ValueError("its index claims more bytes than it holds")
    if points > MOST_TOUCHED:
        raise _too_many(name)
    return bool(points > 0)


def _too_many(name: str) -> ResourceShortage:
    return ResourceShortage(
        f"{name} has more than {MOST_POINTS:,} points in the area", "fewer points", "take a smaller circle"
    )


class _Bounded(io.RawIOBase):
    """A file whose readers cannot go round in circles: an index of a broken COPC file may lead back to itself."""

    def __init__(self, file: IO[bytes] | io.RawIOBase) -> None:
        super().__init__()
        self._file, self._left = file, MOST_READS
        self.size = file.seek(0, io.SEEK_END)
        file.seek(0)

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._file.tell()

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """As of any file."""
        return self._file.seek(offset, whence)

    def read(self, size: int = -1) -> bytes:
        """As of any file. Errors: OSError after too many reads."""
        self._left -= 1
        if self._left < 0:
            raise OSError("its index leads nowhere")
        return self._file.read(size)

    def readinto(self, buffer: Any) -> int:
        """As of any file."""
        found = self.read(len(buffer))
        buffer[: len(found)] = found
        return len(found)
